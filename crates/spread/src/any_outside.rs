//! All requirements at once as one response: by how much the limit that is passed most is passed, in standard deviations of its requirement.
//! Above 0 the pack fails. So the engine for rare events finds the joint share outside as it finds any other.

use crate::model::{Columns, Model, ModelError, Responses};
use crate::monte_carlo::Bounds;
use crate::pack_model::PackModel;
use packdrift_pack::Outcome;

/// What a pack that cannot be assembled counts as: outside by so many standard deviations.
const FAR: f64 = 50.0;

/// See the module.
pub(crate) struct AnyOutside<'a> {
    model: &'a PackModel<'a>,
    bounds: &'a [Bounds],
    /// Of each response, about its standard deviation.
    scales: Vec<f64>,
}

impl<'a> AnyOutside<'a> {
    /// `scales`: about the standard deviation of each response; 1 stands for what is not known.
    pub(crate) fn new(
        model: &'a PackModel<'a>,
        bounds: &'a [Bounds],
        scales: impl Iterator<Item = Option<f64>>,
    ) -> Self {
        let scales = scales.map(|sd| sd.filter(|sd| *sd > 0.0 && sd.is_finite()).unwrap_or(1.0)).collect();
        Self { model, bounds, scales }
    }

    fn passed(&self, response: usize, low: f64, high: f64) -> f64 {
        let bounds = self.bounds[response];
        if low.is_nan() || high.is_nan() {
            return f64::NAN;
        }
        if bounds == Bounds::NONE {
            return f64::NEG_INFINITY;
        }
        ((bounds.lower - low).max(high - bounds.upper) / self.scales[response]).min(FAR)
    }
}

impl Model for AnyOutside<'_> {
    fn inputs(&self) -> usize {
        self.model.inputs()
    }

    fn responses(&self) -> usize {
        1
    }

    fn respond(&self, x: &[f64], out: &mut [Outcome]) -> Result<(), ModelError> {
        let mut outcomes = vec![Outcome::CannotAssemble; self.model.responses()];
        self.model.respond(x, &mut outcomes)?;
        let ends = |outcome: &Outcome| outcome.ends().unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
        let passed = outcomes.iter().enumerate().map(|(k, outcome)| self.passed(k, ends(outcome).0, ends(outcome).1));
        out[0] = Outcome::Value(passed.fold(-FAR, f64::max));
        Ok(())
    }

    fn respond_block(&self, x: &Columns, out: &mut Responses) {
        let trials = x.trials();
        let mut inner: Box<Responses> = out.take(|| Responses::new(self.model.responses(), trials));
        self.model.respond_block(x, &mut inner);
        let (low, high) = out.ends_mut(0);
        low.fill(-FAR);
        for response in 0..self.model.responses() {
            let (from, to) = inner.ends(response);
            for ((most, from), to) in low.iter_mut().zip(from).zip(to) {
                let passed = self.passed(response, *from, *to);
                // NaN stays: the caller tells of it.
                *most = if passed.is_nan() || most.is_nan() { f64::NAN } else { most.max(passed) };
            }
        }
        high.copy_from_slice(low);
        out.keep(inner);
    }
}
