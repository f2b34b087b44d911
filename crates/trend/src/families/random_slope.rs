//! Straight lines: each segment has a start and a slope of its own, which scatter over the fleet.

use super::{Family, FamilyFit, FitFailure, FitQuestion, line};
use crate::result::ModelKind;

/// The family by name; see [`line`](mod@line).
pub(crate) struct RandomSlope;

impl Family for RandomSlope {
    fn fit(&self, question: &FitQuestion<'_>) -> Result<FamilyFit, FitFailure> {
        line::fit_named(ModelKind::RandomSlope, question)
    }
}
