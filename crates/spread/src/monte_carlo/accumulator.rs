//! What is kept of one response: counts, exact sums, bins.

use super::Bounds;
use crate::interval::{share_interval, share_standard_error, sure_interval};
use crate::result::Share;
use fearless_simd::{Level, Simd, SimdBase, SimdMask, dispatch, f64x4};
use packdrift_numerics::moments::Moments;
use packdrift_numerics::quantile::QuantileSketch;
use packdrift_numerics::stream::BLOCK;

/// Trials whose flags share a word.
const WORD: usize = u64::BITS as usize;

/// Words of flags of a block.
pub(super) const FLAGS: usize = BLOCK / WORD;

/// How 64 trials stand to the limits: bit k of each word is the k-th trial's.
#[derive(Debug, Clone, Copy, Default)]
struct Met {
    under: u64,
    over: u64,
    /// A range, not a value.
    loose: u64,
}

/// Middles of the trials' ends, and how they stand to the limits.
fn compare(level: Level, low: &[f64], high: &[f64], bounds: Bounds, middle: &mut [f64], met: &mut [Met; FLAGS]) {
    let (lows, highs) = (low.chunks(WORD), high.chunks(WORD));
    for (((low, high), middle), met) in lows.zip(highs).zip(middle.chunks_mut(WORD)).zip(met) {
        if let (Some(low), Some(high), Some(middle)) = (low.first_chunk(), high.first_chunk(), middle.first_chunk_mut())
        {
            *met = dispatch!(level, simd => compare_word(simd, low, high, bounds, middle));
        } else {
            for (trial, ((&low, &high), middle)) in low.iter().zip(high).zip(middle).enumerate() {
                *middle = 0.5 * (low + high);
                met.under |= u64::from(low < bounds.lower) << trial;
                met.over |= u64::from(high > bounds.upper) << trial;
                met.loose |= u64::from(low < high) << trial;
            }
        }
    }
}

/// [`compare`] for a whole word, four trials at a time.
#[inline(always)]
fn compare_word<S: Simd>(
    simd: S,
    low: &[f64; WORD],
    high: &[f64; WORD],
    bounds: Bounds,
    middle: &mut [f64; WORD],
) -> Met {
    let (lower, upper) = (f64x4::splat(simd, bounds.lower), f64x4::splat(simd, bounds.upper));
    let mut met = Met::default();
    let ends = low.as_chunks::<4>().0.iter().zip(high.as_chunks::<4>().0);
    for (k, ((low, high), middle)) in ends.zip(middle.as_chunks_mut::<4>().0).enumerate() {
        let (low, high) = (f64x4::from_slice(simd, low), f64x4::from_slice(simd, high));
        ((low + high) * 0.5).store_slice(middle);
        met.under |= low.simd_lt(lower).to_bitmask() << (4 * k);
        met.over |= high.simd_gt(upper).to_bitmask() << (4 * k);
        met.loose |= low.simd_lt(high).to_bitmask() << (4 * k);
    }
    met
}

/// Where a response lies, roughly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) centre: f64,
    pub(super) scale: f64,
}

/// Everything kept of one response. Adding is exact, so the order of blocks does not matter.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Accumulator {
    pub(super) moments: Moments,
    pub(super) sketch: QuantileSketch,
    pub(super) below: u64,
    pub(super) above: u64,
    pub(super) cannot_assemble: u64,
    pub(super) loose: u64,
    pub(super) failed: u64,
}

impl Accumulator {
    pub(super) fn new(place: Place) -> Self {
        Self {
            moments: Moments::new(place.centre, place.scale),
            sketch: QuantileSketch::new(place.centre, place.scale),
            below: 0,
            above: 0,
            cannot_assemble: 0,
            loose: 0,
            failed: 0,
        }
    }

    /// Adds the trials of a block; `middle` gets the values (NaN where there is none), `outside` is set where the trial is outside.
    pub(super) fn add_block(
        &mut self,
        low: &[f64],
        high: &[f64],
        bounds: Bounds,
        middle: &mut [f64],
        outside: &mut [u64],
    ) {
        let mut met = [Met::default(); FLAGS];
        compare(Level::new(), low, high, bounds, middle, &mut met);
        if !self.moments.add_block(middle) {
            return self.add_incomplete(low, high, bounds, middle, outside);
        }
        self.sketch.add_block(middle);
        for (k, (met, outside)) in met.iter().zip(outside).enumerate() {
            self.loose += u64::from(met.loose.count_ones());
            *outside |= met.under | met.over;
            // Outside on both sides counts on the side it exceeds by more.
            let (mut both, mut rather_over) = (met.under & met.over, 0);
            while both != 0 {
                let trial = k * WORD + both.trailing_zeros() as usize;
                let under = bounds.lower - low[trial] >= high[trial] - bounds.upper;
                rather_over |= if under { 0 } else { both & both.wrapping_neg() };
                both &= both - 1;
            }
            let below = met.under & !rather_over;
            self.below += u64::from(below.count_ones());
            self.above += u64::from((met.over & !below).count_ones());
        }
    }

    /// The same where some trials have no value.
    fn add_incomplete(&mut self, low: &[f64], high: &[f64], bounds: Bounds, middle: &[f64], outside: &mut [u64]) {
        let whole: Vec<usize> = (0..middle.len()).filter(|&trial| middle[trial].is_finite()).collect();
        for trial in (0..middle.len()).filter(|&trial| !middle[trial].is_finite()) {
            if low[trial] == f64::NEG_INFINITY && high[trial] == f64::INFINITY {
                self.cannot_assemble += 1;
                outside[trial / WORD] |= 1 << (trial % WORD);
            } else {
                self.failed += 1;
            }
        }
        if whole.is_empty() {
            return;
        }
        let pick = |values: &[f64]| -> Vec<f64> { whole.iter().map(|&trial| values[trial]).collect() };
        let (low, high, mut middles) = (pick(low), pick(high), pick(middle));
        let mut flags = [0; FLAGS];
        self.add_block(&low, &high, bounds, &mut middles, &mut flags);
        for (k, trial) in whole.into_iter().enumerate() {
            outside[trial / WORD] |= (flags[k / WORD] >> (k % WORD) & 1) << (trial % WORD);
        }
    }

    /// Adds what another has; false where it is of another place.
    pub(super) fn absorb(&mut self, other: &Self) -> bool {
        self.below += other.below;
        self.above += other.above;
        self.cannot_assemble += other.cannot_assemble;
        self.loose += other.loose;
        self.failed += other.failed;
        self.moments.merge(&other.moments) && self.sketch.merge(&other.sketch)
    }

    /// Trials outside.
    pub(super) fn outside(&self) -> u64 {
        self.below + self.above + self.cannot_assemble
    }

    /// Shares outside.
    pub(super) fn share(&self) -> Share {
        let (outside, answered) = (self.outside(), self.answered());
        let share = |count: u64| if answered == 0 { 0.0 } else { count as f64 / answered as f64 };
        // A trial without an answer may be outside.
        let all = answered + self.failed;
        Share {
            below: share(self.below),
            above: share(self.above),
            total: share(outside),
            standard_error: share_standard_error(outside, answered),
            ci95: share_interval(outside, answered),
            bounds: (sure_interval(outside, all).0, sure_interval(outside + self.failed, all).1),
        }
    }

    /// Trials with an answer, be it that the bay cannot be assembled.
    pub(super) fn answered(&self) -> u64 {
        self.moments.count() + self.cannot_assemble
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use packdrift_numerics::stream::Key;

    /// Trials with values and ranges, inside, below, above, and outside on both sides: counted one by one, and in vector registers of
    /// any processor, in blocks of every length.
    #[test]
    fn trials_are_counted_as_one_by_one() {
        let mut low = vec![0.0; BLOCK];
        Key::new(5, "ends").stream(0).fill_normal(&mut low);
        let mut width = vec![0.0; BLOCK];
        Key::new(5, "widths").stream(0).fill_normal(&mut width);
        let high: Vec<f64> = low.iter().zip(&width).map(|(low, width)| low + 3.0 * width.max(0.0)).collect();
        let bounds = Bounds { lower: -0.8, upper: 1.1 };
        for kept in [1, 63, 64, 65, 700, BLOCK] {
            let (low, high) = (&low[..kept], &high[..kept]);
            let (mut below, mut above, mut loose) = (0, 0, 0);
            for (&low, &high) in low.iter().zip(high) {
                let (under, over) = (bounds.lower - low, high - bounds.upper);
                below += u64::from(under > 0.0 && under >= over);
                above += u64::from(over > 0.0 && over > under);
                loose += u64::from(low < high);
            }
            let mut accumulator = Accumulator::new(Place { centre: 0.0, scale: 1.0 });
            let (mut middle, mut outside) = (vec![0.0; kept], [0; FLAGS]);
            accumulator.add_block(low, high, bounds, &mut middle, &mut outside);
            assert_eq!((accumulator.below, accumulator.above, accumulator.loose), (below, above, loose), "{kept}");
            for trial in 0..BLOCK {
                let out = trial < kept && (low[trial] < bounds.lower || high[trial] > bounds.upper);
                assert_eq!(outside[trial / WORD] >> (trial % WORD) & 1 == 1, out, "{trial} of {kept}");
            }
            let (mut narrow, mut met) = (vec![0.0; kept], [Met::default(); FLAGS]);
            compare(Level::baseline(), low, high, bounds, &mut narrow, &mut met);
            assert_eq!(narrow, middle);
            assert_eq!(met.iter().map(|met| u64::from(met.loose.count_ones())).sum::<u64>(), loose);
        }
    }
}
