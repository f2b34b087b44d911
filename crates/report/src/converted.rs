//! Figures in mm brought to the unit that is shown: what the conversions of a lot's study and of a gauge's share. Every figure there is a length, the square of
//! one, or free of units.

use crate::Lengths;
use packdrift_lot::Interval;

/// mm into the unit.
#[derive(Clone, Copy)]
pub(crate) struct Of(pub(crate) Lengths);

impl Of {
    pub(crate) fn length(self, mm: f64) -> f64 {
        self.0.of(mm)
    }

    pub(crate) fn square(self, mm2: f64) -> f64 {
        self.0.of(self.0.of(mm2))
    }

    pub(crate) fn maybe(self, mm: Option<f64>) -> Option<f64> {
        mm.map(|mm| self.length(mm))
    }

    pub(crate) fn interval(self, i: Interval) -> Interval {
        i.map(|mm| self.length(mm))
    }
}
