//! What may happen to a bay whatever is required of it: it cannot be assembled, it is loose, a disc has passed its largest load. Found once
//! for each bay and condition, for all of their requirements.

use super::run::Common;
use crate::error::SpreadError;
use crate::exact::Exact;
use crate::interval::share_standard_error;
use crate::method::{MethodChoice, Question};
use crate::model::{Model, Plane};
use crate::population::Population;
use crate::rare::{self, Cause, Event, SampledShare};
use crate::result::Estimate;
use crate::stack::Stack;

/// The share of packs to which something happens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Happening {
    pub(crate) share: Estimate,
    /// Where it was seen nowhere: it is at most this, at three standard errors; else 0.
    pub(crate) unseen: f64,
}

impl Happening {
    const NEVER: Self = Self { share: Estimate { value: 0.0, standard_error: 0.0 }, unseen: 0.0 };

    /// Not above this, at three standard errors.
    pub(crate) fn at_most(&self) -> f64 {
        crate::interval::sure_estimate_interval(self.share.value, self.share.standard_error).1 + self.unseen
    }
}

/// What may happen to the bay of a requirement, in its condition.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct BayShares {
    pub(crate) cannot_assemble: Happening,
    pub(crate) loose: Happening,
    /// A disc has passed its largest load; None where none can.
    pub(crate) past_peak: Option<Happening>,
}

/// A share of this part of what is allowed decides nothing.
pub(super) const NEGLIGIBLE: f64 = 1e-3;
/// Standard deviations from the mean within which a disc is looked at for whether its load falls.
const REACH: f64 = 8.0;

/// Of the bay of one requirement.
///
/// # Errors
/// Cancelled.
pub(super) fn of_requirement(
    question: &Question<'_>,
    name: &str,
    common: &Common,
    k: usize,
    allowed: f64,
) -> Result<BayShares, SpreadError> {
    let Question { model, inputs, options, progress, .. } = *question;
    let population = &inputs.population;
    let spread = common.spread(k);
    let counted = |share: f64| SampledShare {
        share,
        standard_error: share_standard_error((share * spread.trials as f64).round() as u64, spread.trials),
        points: spread.trials,
    };
    let happens = |cause: Cause, sampled: Option<SampledShare>| -> Result<Happening, SpreadError> {
        let rare = rare::share(
            model,
            population,
            &rare::Question {
                event: Event::of_bay(cause),
                until: None,
                floor: NEGLIGIBLE * allowed,
                seed: options.seed,
                purpose: &format!("{name}/{cause:?}"),
                sampled,
                starts: &[],
            },
            progress,
        )?;
        Ok(Happening { share: rare.share, unseen: rare.bound })
    };
    let planes = model.guards(0);
    let by_plane = |which: usize| planes[which].as_ref().and_then(|plane| of_plane(population, plane));
    if options.method == MethodChoice::MonteCarlo {
        let of_counts = |share: f64| {
            let SampledShare { share: value, standard_error, .. } = counted(share);
            Happening { share: Estimate { value, standard_error }, unseen: 0.0 }
        };
        let cannot_assemble = of_counts(spread.cannot_assemble);
        // Only a range tells a loose bay among the trials; a preload of 0 does not. Where none was counted it is looked for as by the default.
        let loose = match by_plane(0) {
            _ if spread.loose > 0.0 => of_counts(spread.loose),
            Some(exact) => exact,
            None => happens(Cause::Loose, None)?,
        };
        return Ok(BayShares { cannot_assemble, loose, past_peak: None });
    }
    let cannot_counted = counted(spread.cannot_assemble);
    let cannot_assemble = match by_plane(1).filter(|exact| agrees(exact.share.value, &cannot_counted)) {
        Some(exact) => exact,
        None => happens(Cause::CannotAssemble, Some(cannot_counted))?,
    };
    let loose = match by_plane(0) {
        Some(exact) => exact,
        None => happens(Cause::Loose, None)?,
    };
    let (means, sds) = (population.means(), population.standard_uncertainties());
    let ends = |sign: f64| -> Vec<f64> { means.iter().zip(&sds).map(|(mean, sd)| mean + sign * REACH * sd).collect() };
    let may_fall = model.may_pass_a_peak(0, &ends(-1.0), &ends(1.0));
    let past_peak = if may_fall { Some(happens(Cause::PastPeak, None)?) } else { None };
    Ok(BayShares { cannot_assemble, loose, past_peak })
}

/// Whether a count is what this share gives, but for chance: what was counted goes before what a formula says.
pub(super) fn agrees(share: f64, counted: &SampledShare) -> bool {
    let n = counted.points as f64;
    let by_chance = (share.max(1.0 / n) / n).sqrt();
    (counted.share - share).abs() <= 4.5 * by_chance
}

/// P(plane < 0), exactly; None where there is no exact way.
fn of_plane(population: &Population, plane: &Plane) -> Option<Happening> {
    let exact = Exact::of_plane(population, plane).ok()?;
    let share = exact.cdf(0.0);
    // Below the error bound it is not known to differ from 0.
    if share <= exact.error_bound() {
        return Some(Happening { unseen: exact.error_bound(), ..Happening::NEVER });
    }
    Some(Happening { share: Estimate { value: share, standard_error: 0.0 }, unseen: exact.error_bound() })
}

/// Which requirement stands for each requirement's bay and condition: the first of them with limits, or the first.
pub(super) fn representatives(stack: &Stack) -> Vec<usize> {
    let place = |k: usize| (stack.requirements[k].quantity.bay(), stack.requirements[k].condition);
    (0..stack.requirements.len()).map(|k| (0..=k).find(|&first| place(first) == place(k)).unwrap_or(k)).collect()
}
