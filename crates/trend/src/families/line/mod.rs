//! The straight-line families: one kernel, fitted by (restricted) maximum likelihood.
//!
//! ```text
//! Spec ─ what is asked for          Identifiability ─ what the readings can tell
//!   └─ search ─ the variances         └─ member ─ the fit    ├─ gross, heavy ─ readings that are not normal
//!                                                            ├─ average ─ what is not known of the variances
//!                                                            └─ answer ─ levels, slopes, futures
//! ```
//!
//! `model`, `level` and `slope` are restricted maximum likelihood and best linear unbiased predictions, as any mixed-model library gives
//! them; chances are averaged over the variances.

pub(crate) mod answer;
pub(crate) mod average;
pub(crate) mod gross;
pub(crate) mod heavy;
pub(crate) mod identifiability;
pub(crate) mod member;
pub(crate) mod search;
mod spec;

pub(crate) use identifiability::Identifiability;
pub(crate) use member::{Member, fit_member};
pub(crate) use spec::Spec;

use super::{FamilyFit, FitFailure, FitQuestion};
use crate::options::{Options, ReadingErrors};
use crate::result::ModelKind;
use average::{Average, average, plug_in};

/// The member of a kind that the options ask for.
pub(crate) fn spec_of(kind: ModelKind, options: &Options) -> Spec {
    Spec {
        engine: options.engine_slope == Some(true),
        valve: options.valve_slope == Some(true),
        heavy: options.reading_errors == ReadingErrors::Heavy,
        ..Spec::plain(kind)
    }
}

/// Fits the member of a kind that is asked for by name, and answers.
pub(crate) fn fit_named(kind: ModelKind, question: &FitQuestion<'_>) -> Result<FamilyFit, FitFailure> {
    let FitQuestion { segments, weights, known_sd, options, .. } = *question;
    let spec = spec_of(kind, options);
    let identifiability = Identifiability::of_segments(segments);
    if spec.engine && !identifiability.carries_engine() {
        return Err(FitFailure::not_estimable(NO_ENGINE_SLOPE));
    }
    if spec.valve && !identifiability.carries_valve() {
        return Err(FitFailure::not_estimable(NO_VALVE_SLOPE));
    }
    let (member, doubted) = match options.reading_errors {
        ReadingErrors::Heavy => {
            (heavy::fit_heavy(segments, weights, spec, options.estimator, known_sd, heavy::TOLERANCE)?, Vec::new())
        }
        ReadingErrors::Normal => (fit_member(segments, weights, spec, options.estimator, known_sd, None)?, Vec::new()),
        ReadingErrors::ByModel => gross::fit_gross(question, spec)?,
    };
    let average = averaged(&member, options);
    Ok(answer::answer(question, &member, &average, &doubted))
}

/// The average over a member's variances that the options ask for.
pub(crate) fn averaged(member: &Member, options: &Options) -> Average {
    if member.problem.segments() > options.average_up_to {
        return plug_in(&member.fitted);
    }
    let sigma_free = member.sigma_estimated || member.fitted.shape.known_sd.is_none();
    average(&member.problem, &member.fitted, member.full, sigma_free, options.average_points, options.seed)
}

/// Why a slope that a valve keeps is not fitted.
pub(crate) const NO_VALVE_SLOPE: &str =
    "a slope that a valve keeps needs three valves read at two different hours or more on either side of a re-shim";

/// Why an engine slope is not fitted.
pub(crate) const NO_ENGINE_SLOPE: &str =
    "a slope shared by an engine's valves needs at least four engines, three of them with two valves or more";
