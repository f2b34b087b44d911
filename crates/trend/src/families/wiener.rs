//! Straight lines with a wander: the true value moves about its line as a Wiener process does.

use super::{Family, FamilyFit, FitFailure, FitQuestion, line};
use crate::result::ModelKind;

/// The family by name; see [`line`](mod@line).
pub(crate) struct Wiener;

impl Family for Wiener {
    fn fit(&self, question: &FitQuestion<'_>) -> Result<FamilyFit, FitFailure> {
        line::fit_named(ModelKind::Wiener, question)
    }
}
