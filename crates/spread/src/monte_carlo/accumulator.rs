//! What is kept of one response: counts, exact sums, bins.

use super::Bounds;
use packdrift_numerics::moments::Moments;
use packdrift_numerics::quantile::QuantileSketch;

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
        outside: &mut [bool],
    ) {
        let mut loose = 0;
        for ((middle, low), high) in middle.iter_mut().zip(low).zip(high) {
            *middle = 0.5 * (low + high);
            loose += u64::from(low < high);
        }
        if !self.moments.add_block(middle) {
            return self.add_incomplete(low, high, bounds, middle, outside);
        }
        self.loose += loose;
        self.sketch.add_block(middle);
        if bounds == Bounds::NONE {
            return;
        }
        let (mut below, mut above) = (0, 0);
        for ((outside, &low), &high) in outside.iter_mut().zip(low).zip(high) {
            let (under, over) = (low < bounds.lower, high > bounds.upper);
            // Outside on both sides counts on the side it exceeds by more.
            let both_under = bounds.lower - low >= high - bounds.upper;
            below += u64::from(under & (!over | both_under));
            above += u64::from(over & (!under | !both_under));
            *outside |= under | over;
        }
        self.below += below;
        self.above += above;
    }

    /// The same where some trials have no value.
    fn add_incomplete(&mut self, low: &[f64], high: &[f64], bounds: Bounds, middle: &[f64], outside: &mut [bool]) {
        let whole: Vec<usize> = (0..middle.len()).filter(|&trial| middle[trial].is_finite()).collect();
        for trial in (0..middle.len()).filter(|&trial| !middle[trial].is_finite()) {
            if low[trial] == f64::NEG_INFINITY && high[trial] == f64::INFINITY {
                self.cannot_assemble += 1;
                outside[trial] = true;
            } else {
                self.failed += 1;
            }
        }
        if whole.is_empty() {
            return;
        }
        let pick = |values: &[f64]| -> Vec<f64> { whole.iter().map(|&trial| values[trial]).collect() };
        let (low, high, mut middles) = (pick(low), pick(high), pick(middle));
        let mut flags = vec![false; whole.len()];
        self.add_block(&low, &high, bounds, &mut middles, &mut flags);
        for (&trial, flag) in whole.iter().zip(flags) {
            outside[trial] |= flag;
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

    /// Trials with an answer, be it that the bay cannot be assembled.
    pub(super) fn answered(&self) -> u64 {
        self.moments.count() + self.cannot_assemble
    }
}
