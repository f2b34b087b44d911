//! Sums that do not depend on the order of their terms, and the moments made of them.
//!
//! Floating-point addition is not associative, so a mean summed by two threads has other last digits than one summed by three. Here each
//! block of values is summed in a fixed order, and the blocks' sums are added *exactly*, in a fixed-point number wide enough for
//! every double (the "small superaccumulator" of R. M. Neal, "Fast exact summation using small and large superaccumulators",
//! arXiv:1505.05571, 2015). Exact addition is associative and commutative: threads, shards and machines may share out blocks as they
//! like, and the merged result has the same bytes.

use fearless_simd::{Level, Simd, SimdBase, dispatch, f64x8};

/// Pieces of 32 bits, from 2⁻¹⁰⁷⁴ up; the last takes carries beyond the largest double.
const PIECES: usize = 68;

/// Additions after which carries are brought up, well before a piece (31 spare bits) could overflow.
const ADDITIONS: u32 = 1 << 28;

/// An exact sum of doubles.
///
/// ```
/// use packdrift_numerics::moments::ExactSum;
/// let mut sum = ExactSum::default();
/// for x in [1e300, 1.0, -1e300, 1e-300] { sum.add(x); }
/// assert_eq!(sum.value(), 1.0);
/// ```
#[derive(Debug, Clone)]
pub struct ExactSum {
    /// Two's complement digits to the base 2³², each with room for carries.
    pieces: Box<[i64; PIECES]>,
    additions: u32,
    /// Sum of what is not finite, in the usual arithmetic: NaN or an infinity once one was added, else 0.
    special: f64,
}

impl Default for ExactSum {
    fn default() -> Self {
        Self { pieces: Box::new([0; PIECES]), additions: 0, special: 0.0 }
    }
}

impl PartialEq for ExactSum {
    fn eq(&self, other: &Self) -> bool {
        let (mut a, mut b) = (self.clone(), other.clone());
        a.carry();
        b.carry();
        a.pieces == b.pieces && a.special.to_bits() == b.special.to_bits()
    }
}

impl ExactSum {
    /// Adds a term.
    pub fn add(&mut self, x: f64) {
        if !x.is_finite() {
            self.special += x;
            return;
        }
        let bits = x.to_bits();
        let exponent = ((bits >> 52) & 0x7FF) as usize;
        let fraction = (bits & 0x000F_FFFF_FFFF_FFFF).cast_signed();
        // Subnormals have exponent 0 but the scale of exponent 1.
        let (mantissa, scale) = if exponent == 0 { (fraction, 0) } else { (fraction | 1 << 52, exponent - 1) };
        let mantissa = if x < 0.0 { -mantissa } else { mantissa };
        let wide = i128::from(mantissa) << (scale & 31);
        let first = scale >> 5;
        self.pieces[first] += (wide & 0xFFFF_FFFF) as i64;
        self.pieces[first + 1] += ((wide >> 32) & 0xFFFF_FFFF) as i64;
        self.pieces[first + 2] += (wide >> 64) as i64;
        self.additions += 1;
        if self.additions >= ADDITIONS {
            self.carry();
        }
    }

    /// Adds another sum.
    pub fn merge(&mut self, other: &Self) {
        let mut other = other.clone();
        other.carry();
        self.carry();
        for (mine, theirs) in self.pieces.iter_mut().zip(other.pieces.iter()) {
            *mine += theirs;
        }
        self.special += other.special;
        self.carry();
    }

    /// Every piece but the last into 0..2³²: one representation for one number.
    fn carry(&mut self) {
        let mut carry = 0;
        for piece in &mut self.pieces[..PIECES - 1] {
            let sum = *piece + carry;
            carry = sum >> 32;
            *piece = sum & 0xFFFF_FFFF;
        }
        self.pieces[PIECES - 1] += carry;
        self.additions = 0;
    }

    /// The sum as a double, within an ulp; the same whatever the order of the terms was.
    pub fn value(&self) -> f64 {
        if self.special != 0.0 {
            return self.special;
        }
        let mut exact = self.clone();
        exact.carry();
        let negative = exact.pieces[PIECES - 1] < 0;
        if negative {
            for piece in exact.pieces.iter_mut() {
                *piece = -*piece;
            }
            exact.carry();
        }
        let value = exact.pieces.iter().enumerate().rev().fold(0.0, |sum, (k, &piece)| {
            if piece == 0 { sum } else { sum + libm::scalbn(piece as f64, 32 * k as i32 - 1074) }
        });
        if negative { -value } else { value }
    }

    /// The state as plain numbers, for writing it down; [`ExactSum::from_state`] reads it.
    pub fn state(&self) -> (Vec<i64>, u64) {
        let mut exact = self.clone();
        exact.carry();
        (exact.pieces.to_vec(), exact.special.to_bits())
    }

    /// The sum with the given state; None where it is no state of a sum.
    pub fn from_state(pieces: &[i64], special: u64) -> Option<Self> {
        let pieces: [i64; PIECES] = pieces.try_into().ok()?;
        let digits = pieces[..PIECES - 1].iter().all(|piece| (0..1 << 32).contains(piece));
        let special = f64::from_bits(special);
        let plain = special == 0.0 || !special.is_finite();
        // Room for further carries at the top too.
        (digits && plain && pieces[PIECES - 1].abs() < 1 << 40).then(|| Self {
            pieces: Box::new(pieces),
            additions: 0,
            special,
        })
    }
}

/// Count, and sums of the first four powers of (x − centre)/scale, of any number of values: mean, standard deviation, skewness and
/// excess kurtosis, whose bytes do not depend on how the values were shared out in blocks' order.
///
/// Centre and scale should be near the values' mean and scatter: they are what keeps the differences from cancelling. They are part of
/// the state; only moments with the same ones merge.
#[derive(Debug, Clone, PartialEq)]
pub struct Moments {
    centre: f64,
    scale: f64,
    count: u64,
    powers: [ExactSum; 4],
}

/// Partial sums kept side by side in a block, so that the loop can run in vector registers; part of the definition of a block's sum.
const LANES: usize = 8;

impl Moments {
    /// No values yet. A scale that is not above 0 is taken as 1.
    pub fn new(centre: f64, scale: f64) -> Self {
        let scale = if scale > 0.0 && scale.is_finite() { scale } else { 1.0 };
        Self { centre, scale, count: 0, powers: Default::default() }
    }

    /// Adds a block of values; where one is NaN or infinite nothing is added and the answer is false.
    pub fn add_block(&mut self, values: &[f64]) -> bool {
        let totals = self.sums_of(values, Level::new());
        if !totals[0].is_finite() || !totals[1].is_finite() {
            return false;
        }
        for (power, total) in self.powers.iter_mut().zip(totals) {
            power.add(total);
        }
        self.count += values.len() as u64;
        true
    }

    /// The block's sums of the first four powers.
    fn sums_of(&self, values: &[f64], level: Level) -> [f64; 4] {
        let (centre, inverse) = (self.centre, 1.0 / self.scale);
        let (whole, rest) = values.as_chunks();
        let mut sums = dispatch!(level, simd => sums_of_lanes(simd, whole, centre, inverse));
        for (lane, &x) in rest.iter().enumerate() {
            let d = (x - centre) * inverse;
            let square = d * d;
            for (sum, power) in sums.iter_mut().zip([d, square, square * d, square * square]) {
                sum[lane] += power;
            }
        }
        sums.map(|lanes| lanes.iter().sum::<f64>())
    }

    /// Adds the values of another; false (and nothing added) where centre or scale differ.
    #[must_use]
    pub fn merge(&mut self, other: &Self) -> bool {
        if self.centre.to_bits() != other.centre.to_bits() || self.scale.to_bits() != other.scale.to_bits() {
            return false;
        }
        self.count += other.count;
        for (mine, theirs) in self.powers.iter_mut().zip(&other.powers) {
            mine.merge(theirs);
        }
        true
    }

    /// How many values.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Arithmetic mean; None of no values.
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.centre + self.scale * self.raw(0))
    }

    /// Standard deviation with the divisor n − 1; None of fewer than two values.
    pub fn sd(&self) -> Option<f64> {
        if self.count < 2 {
            return None;
        }
        let n = self.count as f64;
        Some(self.scale * (self.central(2) * n / (n - 1.0)).max(0.0).sqrt())
    }

    /// Third central moment over the cube of the standard deviation (divisor n); None where there is no scatter.
    pub fn skewness(&self) -> Option<f64> {
        let variance = self.central(2);
        (self.count > 1 && variance > 0.0).then(|| self.central(3) / variance.powf(1.5))
    }

    /// Fourth central moment over the square of the variance, less 3 (divisor n); None where there is no scatter.
    pub fn excess_kurtosis(&self) -> Option<f64> {
        let variance = self.central(2);
        (self.count > 1 && variance > 0.0).then(|| self.central(4) / (variance * variance) - 3.0)
    }

    /// Centre, scale, count and the four sums, for writing them down.
    pub fn parts(&self) -> (f64, f64, u64, &[ExactSum; 4]) {
        (self.centre, self.scale, self.count, &self.powers)
    }

    /// From what [`Moments::parts`] gave.
    pub fn from_parts(centre: f64, scale: f64, count: u64, powers: [ExactSum; 4]) -> Self {
        Self { count, powers, ..Self::new(centre, scale) }
    }

    fn raw(&self, power: usize) -> f64 {
        self.powers[power].value() / self.count as f64
    }

    /// In units of the scale.
    fn central(&self, order: u32) -> f64 {
        let [a, b, c, d] = [0, 1, 2, 3].map(|k| self.raw(k));
        match order {
            2 => b - a * a,
            3 => c - a * (3.0 * b - 2.0 * a * a),
            _ => d - a * (4.0 * c - a * (6.0 * b - 3.0 * a * a)),
        }
    }
}

/// By lane: sums of d, d², d³ and d⁴, d = (x − centre)·inverse.
#[inline(always)]
fn sums_of_lanes<S: Simd>(simd: S, values: &[[f64; LANES]], centre: f64, inverse: f64) -> [[f64; LANES]; 4] {
    let zero = f64x8::splat(simd, 0.0);
    let [mut first, mut second, mut third, mut fourth] = [zero; 4];
    for x in values {
        let d = (f64x8::from_slice(simd, x) - centre) * inverse;
        let square = d * d;
        first += d;
        second += square;
        third += square * d;
        fourth += square * square;
    }
    [first, second, third, fourth].map(|sums| {
        let mut lanes = [0.0; LANES];
        sums.store_slice(&mut lanes);
        lanes
    })
}

#[cfg(test)]
mod tests {
    #![allow(
        clippy::float_cmp,
        clippy::unwrap_used,
        reason = "exact sums are compared bit by bit; a missing moment is a failure"
    )]

    use super::*;
    use crate::stream::{BLOCK, Key};

    #[test]
    fn exact_sum_knows_what_floating_point_forgets() {
        let mut sum = ExactSum::default();
        let terms = [f64::MAX, 1.0, -f64::MAX, f64::MIN_POSITIVE, 5e-324, -1.0, -f64::MIN_POSITIVE];
        for &x in &terms {
            sum.add(x);
        }
        assert_eq!(sum.value(), 5e-324);
        sum.add(-1e-320);
        assert_eq!(sum.value(), 5e-324 - 1e-320);
        sum.add(f64::INFINITY);
        assert_eq!(sum.value(), f64::INFINITY);
        sum.add(f64::NEG_INFINITY);
        assert!(sum.value().is_nan());
    }

    #[test]
    fn order_and_grouping_do_not_matter() {
        let mut terms = vec![0.0; 4096];
        Key::new(3, "terms").stream(0).fill_normal(&mut terms);
        for (k, x) in terms.iter_mut().enumerate() {
            *x *= 10_f64.powi((k % 37) as i32 - 18);
        }
        let mut forward = ExactSum::default();
        for &x in &terms {
            forward.add(x);
        }
        let mut grouped = ExactSum::default();
        for group in terms.rchunks(97) {
            let mut part = ExactSum::default();
            for &x in group.iter().rev() {
                part.add(x);
            }
            grouped.merge(&part);
        }
        assert_eq!(forward, grouped);
        assert_eq!(forward.value().to_bits(), grouped.value().to_bits());
        let (pieces, special) = grouped.state();
        assert_eq!(ExactSum::from_state(&pieces, special).unwrap(), forward);
        // Twice each term, half of them negative: exactly what doubling gives.
        for &x in &terms {
            grouped.add(x);
        }
        assert_eq!(grouped.value(), 2.0 * forward.value());
    }

    #[test]
    fn moments_of_known_sets() {
        // 1, 2, …, 9: mean 5, variance 60/8, skewness 0, kurtosis 3·(3·81 − 7)/(5·80) (discrete uniform).
        let values: Vec<f64> = (1..=9).map(f64::from).collect();
        let mut moments = Moments::new(4.0, 2.0);
        assert!(moments.add_block(&values));
        assert!((moments.mean().unwrap() - 5.0).abs() < 1e-15);
        assert!((moments.sd().unwrap() - 7.5_f64.sqrt()).abs() < 1e-15);
        assert!(moments.skewness().unwrap().abs() < 1e-14);
        assert!((moments.excess_kurtosis().unwrap() + 6.0 / 5.0 * 82.0 / 80.0).abs() < 1e-13);
    }

    #[test]
    fn sums_are_the_same_on_every_processor() {
        let mut values = vec![0.0; 1000];
        Key::new(5, "values").stream(0).fill_normal(&mut values);
        let moments = Moments::new(0.3, 0.7);
        for n in [0, 1, 7, 8, 9, 100, 1000] {
            let wide = moments.sums_of(&values[..n], Level::new());
            assert_eq!(wide.map(f64::to_bits), moments.sums_of(&values[..n], Level::baseline()).map(f64::to_bits));
            // By hand, lane by lane.
            let mut lanes = [0.0; LANES];
            for (k, x) in values[..n].iter().enumerate() {
                let d = (x - 0.3) * (1.0 / 0.7);
                let square = d * d;
                lanes[k % LANES] += square * square;
            }
            assert_eq!(wide[3].to_bits(), lanes.iter().sum::<f64>().to_bits());
        }
    }

    #[test]
    fn few_values_have_fewer_moments() {
        let mut moments = Moments::new(0.0, 0.0);
        assert_eq!((moments.mean(), moments.sd(), moments.skewness()), (None, None, None));
        assert!(moments.add_block(&[3.0]));
        assert_eq!((moments.mean(), moments.sd()), (Some(3.0), None));
        assert!(moments.add_block(&[3.0, 3.0]));
        assert_eq!((moments.sd(), moments.skewness(), moments.excess_kurtosis()), (Some(0.0), None, None));
        assert!(!moments.add_block(&[f64::NAN]) && !moments.add_block(&[f64::INFINITY]) && moments.count() == 3);
    }

    #[test]
    fn blocks_may_be_shared_out_in_any_way() {
        let mut values = vec![0.0; 16 * BLOCK];
        Key::new(4, "values").stream(0).fill_normal(&mut values);
        let mut whole = Moments::new(0.1, 1.3);
        for block in values.chunks(BLOCK) {
            assert!(whole.add_block(block));
        }
        let mut merged = Moments::new(0.1, 1.3);
        for share in [3, 1, 2, 0] {
            let mut part = Moments::new(0.1, 1.3);
            for block in values.chunks(BLOCK).skip(share).step_by(4) {
                assert!(part.add_block(block));
            }
            assert!(merged.merge(&part));
        }
        assert_eq!(whole, merged);
        assert_eq!(whole.sd().unwrap().to_bits(), merged.sd().unwrap().to_bits());
        assert!(!merged.merge(&Moments::new(0.1, 1.4)));
    }
}
