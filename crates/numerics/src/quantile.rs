//! Quantiles of any number of values in bounded memory.
//!
//! Values are counted in bins whose width grows with the distance from the centre: with y = 1 + |x − centre|/scale each octave of y has
//! [`PER_OCTAVE`] bins, so a bin is (scale + |x − centre|)/[`PER_OCTAVE`] wide, or less. Each bin also keeps its smallest and largest value. A quantile is
//! found among the counts, and between two values of one bin by even spacing over what the bin holds. So
//!
//! - a bin with one or two values, and any number of equal ones, gives the sample's quantile exactly (small samples, atoms);
//! - else the error is below the bin's own range, and for a smooth density far below: about w²·|f′|/(8f) for bins of width w, which at
//!   the 0.00135 quantile of a normal is 2·10⁻⁵ standard deviations, against a standard error of 2.6·10⁻⁴ at 10⁹ trials.
//!
//! Counts, minima and maxima merge exactly, in any order. The bins come from the bits of y, without a logarithm.

use crate::vector::widest;

/// Bins in each octave of y.
pub const PER_OCTAVE: usize = 512;

const SHIFT: u32 = 52 - PER_OCTAVE.trailing_zeros();

/// Octaves that are told apart; what is farther from the centre than 2⁶⁴ scales shares the last bins.
const OCTAVES: usize = 64;

/// Where the last bin ends: the largest number below 2⁶⁴.
const FARTHEST: f64 = 18_446_744_073_709_549_568.0;

/// Values whose bins are found together, in vector registers, before they are counted one by one.
const PIECE: usize = 256;

/// The values of one bin.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bin {
    count: u64,
    least: f64,
    largest: f64,
}

const EMPTY: Bin = Bin { count: 0, least: f64::INFINITY, largest: f64::NEG_INFINITY };

/// Values sorted into bins; see the module.
#[derive(Debug, Clone, PartialEq)]
pub struct QuantileSketch {
    centre: f64,
    scale: f64,
    /// By distance from the centre, the bins above it at even places and those below at odd ones (one array, so that a value's side
    /// costs no branch); as long as the farthest value needs, in whole octaves.
    bins: Vec<Bin>,
}

/// A bin with its values, as written down: signed number (negative below the centre), count, smallest, largest.
pub type BinState = (i32, u64, f64, f64);

impl QuantileSketch {
    /// No values yet. A scale that is not above 0 is taken as 1.
    pub fn new(centre: f64, scale: f64) -> Self {
        let scale = if scale > 0.0 && scale.is_finite() { scale } else { 1.0 };
        Self { centre, scale, bins: vec![EMPTY; 4 * PER_OCTAVE] }
    }

    /// Adds a value; NaN is ignored.
    pub fn add(&mut self, x: f64) {
        self.add_block(&[x]);
    }

    /// Adds values; NaN is ignored.
    pub fn add_block(&mut self, values: &[f64]) {
        let mut places = [0; PIECE];
        for piece in values.chunks(PIECE) {
            let places = &mut places[..piece.len()];
            widest(
                #[inline(always)]
                || self.places(piece, places),
            );
            for (&x, &mut place) in piece.iter().zip(places) {
                let place = place as usize;
                if place >= self.bins.len() {
                    if place >= 2 * OCTAVES * PER_OCTAVE {
                        continue;
                    }
                    self.grow(place);
                }
                let bin = &mut self.bins[place];
                bin.count += 1;
                // Almost never, once a bin has a few values: a branch that is foreseen is cheaper than two stores.
                if x < bin.least {
                    bin.least = x;
                }
                if x > bin.largest {
                    bin.largest = x;
                }
            }
        }
    }

    /// Each value's bin; beyond all of them for NaN.
    #[inline(always)]
    fn places(&self, values: &[f64], places: &mut [u64]) {
        let inverse = 1.0 / self.scale;
        for (&x, place) in values.iter().zip(places) {
            let d = x - self.centre;
            let y = 1.0 + d.abs() * inverse;
            // No further than the last bin. (A NaN's bits exceed those of any number.)
            let y = if y > FARTHEST { FARTHEST } else { y };
            let bin = (y.to_bits() >> SHIFT).wrapping_sub(0x3FF << PER_OCTAVE.trailing_zeros());
            *place = 2 * bin + u64::from(d < 0.0);
        }
    }

    /// Adds the values of another; false (and nothing added) where centre or scale differ.
    #[must_use]
    pub fn merge(&mut self, other: &Self) -> bool {
        if self.centre.to_bits() != other.centre.to_bits() || self.scale.to_bits() != other.scale.to_bits() {
            return false;
        }
        if other.bins.len() > self.bins.len() {
            self.grow(other.bins.len() - 1);
        }
        for (mine, theirs) in self.bins.iter_mut().zip(&other.bins) {
            mine.count += theirs.count;
            mine.least = mine.least.min(theirs.least);
            mine.largest = mine.largest.max(theirs.largest);
        }
        true
    }

    /// How many values.
    pub fn count(&self) -> u64 {
        self.bins.iter().map(|bin| bin.count).sum()
    }

    /// Smallest and largest value; None of no values.
    pub fn range(&self) -> Option<(f64, f64)> {
        let mut bins = self.occupied();
        let first = bins.next()?;
        let last = bins.last().unwrap_or(first);
        Some((first.least, last.largest))
    }

    /// [`Ranking::quantile`]; for more than one question ask [`QuantileSketch::ranking`] first.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        self.ranking().quantile(p)
    }

    /// [`Ranking::share_up_to`]; for more than one question ask [`QuantileSketch::ranking`] first.
    pub fn share_up_to(&self, x: f64) -> f64 {
        self.ranking().share_up_to(x)
    }

    /// The bins in the order of their values, added up once, for many questions.
    pub fn ranking(&self) -> Ranking {
        let mut count = 0;
        let bins = self
            .occupied()
            .map(|bin| {
                let before = count;
                count += bin.count;
                (before, *bin)
            })
            .collect();
        Ranking { bins, count }
    }

    /// Bins with values, in the order of their values.
    fn occupied(&self) -> impl Iterator<Item = &Bin> {
        let below = self.bins.iter().skip(1).step_by(2).rev();
        below.chain(self.bins.iter().step_by(2)).filter(|bin| bin.count > 0)
    }

    /// Whole octaves, so that equal contents have equal lengths whatever came first.
    #[cold]
    fn grow(&mut self, place: usize) {
        self.bins.resize((place / (2 * PER_OCTAVE) + 1) * 2 * PER_OCTAVE, EMPTY);
    }

    /// Centre, scale, and the bins with values, for writing them down.
    pub fn state(&self) -> (f64, f64, Vec<BinState>) {
        let occupied = self.bins.iter().enumerate().filter(|(_, bin)| bin.count > 0);
        let number = |place: usize| if place % 2 == 1 { -1 - (place / 2) as i32 } else { (place / 2) as i32 };
        let mut bins: Vec<BinState> =
            occupied.map(|(place, bin)| (number(place), bin.count, bin.least, bin.largest)).collect();
        bins.sort_by_key(|bin| bin.0);
        (self.centre, self.scale, bins)
    }

    /// From what [`QuantileSketch::state`] gave; None where it is no such state.
    pub fn from_state(centre: f64, scale: f64, bins: &[BinState]) -> Option<Self> {
        let mut sketch = Self::new(centre, scale);
        for &(number, count, least, largest) in bins {
            let (k, side) = if number < 0 { ((-1 - i64::from(number)) as usize, 1) } else { (number as usize, 0) };
            if k >= OCTAVES * PER_OCTAVE || count == 0 || least.is_nan() || largest.is_nan() || least > largest {
                return None;
            }
            if 2 * k + side >= sketch.bins.len() {
                sketch.grow(2 * k + side);
            }
            sketch.bins[2 * k + side] = Bin { count, least, largest };
        }
        Some(sketch)
    }
}

/// The values of a [`QuantileSketch`] in order.
///
/// ```
/// use packdrift_numerics::quantile::QuantileSketch;
/// let mut sketch = QuantileSketch::new(0.0, 1.0);
/// sketch.add_block(&[3.0, 1.0, 2.0]);
/// let ranking = sketch.ranking();
/// assert_eq!((ranking.quantile(0.5), ranking.share_up_to(2.5)), (Some(2.0), 2.0 / 3.0));
/// ```
#[derive(Debug, Clone)]
pub struct Ranking {
    /// How many values lie in the bins before, and the bin; none is empty.
    bins: Vec<(u64, Bin)>,
    count: u64,
}

impl Ranking {
    /// How many values.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// The quantile of order p (clamped to 0..1): the value at position (n − 1)p among the sorted values, between two of them in
    /// proportion (type 7 of Hyndman and Fan, The American Statistician 50, 1996). None of no values.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        if self.count == 0 || p.is_nan() {
            return None;
        }
        let position = (self.count - 1) as f64 * p.clamp(0.0, 1.0);
        let rank = position.floor();
        let low = self.ranked(rank as u64)?;
        let part = position - rank;
        if part == 0.0 {
            return Some(low);
        }
        let high = self.ranked(rank as u64 + 1).unwrap_or(low);
        Some(low + part * (high - low))
    }

    /// The share of values that are at most x, by the same spacing within a bin; 0 of no values.
    pub fn share_up_to(&self, x: f64) -> f64 {
        if self.count == 0 {
            return 0.0;
        }
        let whole = self.bins.partition_point(|(_, bin)| x >= bin.largest);
        let up_to = match self.bins.get(whole) {
            Some((before, bin)) if x > bin.least => {
                *before as f64 + bin.count as f64 * (x - bin.least) / (bin.largest - bin.least)
            }
            Some((before, _)) => *before as f64,
            None => self.count as f64,
        };
        up_to / self.count as f64
    }

    /// The value of the given rank (0 is the smallest).
    fn ranked(&self, rank: u64) -> Option<f64> {
        if rank >= self.count {
            return None;
        }
        let (before, bin) = &self.bins[self.bins.partition_point(|(before, _)| *before <= rank) - 1];
        let place = rank - before;
        Some(if place == 0 {
            bin.least
        } else if place == bin.count - 1 {
            bin.largest
        } else {
            bin.least + (bin.largest - bin.least) * place as f64 / (bin.count - 1) as f64
        })
    }
}

/// The quantile of order p of values that are already sorted (type 7, as above); NaN of no values.
///
/// ```
/// use packdrift_numerics::quantile::of_sorted;
/// assert_eq!(of_sorted(&[1.0, 2.0, 2.5, 3.0], 0.5), 2.25);
/// ```
pub fn of_sorted(sorted: &[f64], p: f64) -> f64 {
    if sorted.is_empty() || p.is_nan() {
        return f64::NAN;
    }
    let position = (sorted.len() - 1) as f64 * p.clamp(0.0, 1.0);
    let rank = position.floor() as usize;
    let high = sorted[(rank + 1).min(sorted.len() - 1)];
    sorted[rank] + (position - rank as f64) * (high - sorted[rank])
}

#[cfg(test)]
mod tests {
    #![allow(
        clippy::float_cmp,
        clippy::unwrap_used,
        reason = "atoms and merges are exact; a missing quantile is a failure"
    )]

    use super::*;
    use crate::normal;
    use crate::stream::{BLOCK, Key};

    fn normals(n: usize) -> Vec<f64> {
        let mut values = vec![0.0; n];
        Key::new(8, "quantiles").stream(0).fill_normal(&mut values);
        values
    }

    #[test]
    fn agrees_with_the_sorted_sample() {
        for n in [1, 2, 3, 10, 1000, 200_000] {
            let mut values = normals(n);
            let mut sketch = QuantileSketch::new(0.3, 0.8);
            sketch.add_block(&values);
            values.sort_by(f64::total_cmp);
            assert_eq!(sketch.range(), Some((values[0], values[n - 1])));
            for p in [0.0, 0.00135, 0.025, 0.31, 0.5, 0.975, 0.99865, 1.0] {
                let exact = of_sorted(&values, p);
                let error = (sketch.quantile(p).unwrap() - exact).abs();
                // The bound promised, and a twentieth of the standard error √(p(1 − p)/n)/f.
                assert!(error <= (0.8 + (exact - 0.3).abs()) / PER_OCTAVE as f64, "{n}, {p}: {error}");
                let standard_error = (p * (1.0 - p) / n as f64).sqrt() / normal::pdf(exact);
                assert!(n <= 3 || error <= 0.05 * standard_error + 1e-15, "{n}, {p}: {error} of {standard_error}");
            }
        }
    }

    #[test]
    fn atoms_are_exact() {
        let mut sketch = QuantileSketch::new(1.0, 0.01);
        for x in [0.0, 0.0, 0.0, 0.4, 7e9] {
            for _ in 0..1000 {
                sketch.add(x);
            }
        }
        assert_eq!([0.1, 0.5, 0.7, 0.9].map(|p| sketch.quantile(p).unwrap()), [0.0, 0.0, 0.4, 7e9]);
        assert_eq!(sketch.share_up_to(0.0), 0.6);
        assert_eq!(sketch.share_up_to(-0.1), 0.0);
    }

    #[test]
    fn merges_in_any_order_and_survives_writing_down() {
        let values = normals(20 * BLOCK);
        let mut whole = QuantileSketch::new(0.0, 1.0);
        whole.add_block(&values);
        whole.add(1e12);
        let mut merged = QuantileSketch::new(0.0, 1.0);
        for share in [2, 0, 1] {
            let mut part = QuantileSketch::new(0.0, 1.0);
            for block in values.chunks(BLOCK).skip(share).step_by(3) {
                part.add_block(block);
            }
            if share == 0 {
                part.add(1e12);
            }
            assert!(merged.merge(&part));
        }
        assert_eq!(whole, merged);
        let (centre, scale, bins) = merged.state();
        assert_eq!(QuantileSketch::from_state(centre, scale, &bins).unwrap(), whole);
        assert!(!merged.merge(&QuantileSketch::new(0.0, 1.1)));
    }

    #[test]
    fn nothing_and_nonsense() {
        let mut sketch = QuantileSketch::new(0.0, f64::NAN);
        assert_eq!((sketch.quantile(0.5), sketch.range(), sketch.count()), (None, None, 0));
        sketch.add(f64::NAN);
        sketch.add(f64::INFINITY);
        sketch.add(-1e300);
        assert_eq!((sketch.count(), sketch.quantile(0.0)), (2, Some(-1e300)));
        assert!(of_sorted(&[], 0.5).is_nan());
        assert!(QuantileSketch::from_state(0.0, 1.0, &[(i32::MIN, 1, 0.0, 0.0)]).is_none());
    }
}
