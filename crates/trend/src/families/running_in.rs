//! A power of the hours in place of the hours: fast at first, slower later, or the reverse.

use super::{Family, FamilyFit, FitFailure, FitQuestion, line};
use crate::result::ModelKind;

/// The family by name; see [`line`](mod@line).
pub(crate) struct RunningIn;

impl Family for RunningIn {
    fn fit(&self, question: &FitQuestion<'_>) -> Result<FamilyFit, FitFailure> {
        line::fit_named(ModelKind::RunningIn, question)
    }
}
