//! The gamma family's answer: levels and futures of every valve from a fitted process.

use super::lattice::State;
use super::{ALONE, GammaFit, fit};
use crate::crossing::Prospect;
use crate::crossing::wear::WearPoint;
use crate::families::line::{Spec, gross};
use crate::families::{Estimate, Family, FamilyFit, FitFailure, FitQuestion, Past, SegmentFit};
use crate::options::ReadingErrors;
use crate::result::{Diagnostics, FleetProspect, Model, ModelKind};
use crate::segments::Segments;

/// The family, as it is asked for by name: where the readings show no scatter of increments the integrated model stands in.
pub(crate) struct Gamma;

/// The process, or a refusal.
pub(crate) struct GammaAlone;

impl Family for Gamma {
    fn fit(&self, question: &FitQuestion<'_>) -> Result<FamilyFit, FitFailure> {
        match process(question, None)? {
            Some(process) => Ok(process.answer(question)),
            None => {
                let mut fit = crate::ensemble::integrated().fit(question)?;
                fit.notes.push(format!("{STRAIGHT}; the forecasts are those of the integrated model"));
                Ok(fit)
            }
        }
    }
}

impl Family for GammaAlone {
    fn fit(&self, question: &FitQuestion<'_>) -> Result<FamilyFit, FitFailure> {
        Ok(Process::fit(question, None)?.answer(question))
    }
}

/// A fitted process with the segments that it was fitted to, before anything is forecast by it.
pub(crate) struct Process {
    pub(super) fit: GammaFit,
    segments: Segments,
    /// Where these segments' readings stood among the question's.
    stood: Vec<usize>,
}

impl Process {
    /// The process, or a refusal. `near`: a fit of nearly the same readings, from which the search begins.
    pub(crate) fn fit(question: &FitQuestion<'_>, near: Option<&Self>) -> Result<Self, FitFailure> {
        process(question, near)?.ok_or_else(|| FitFailure::not_estimable(STRAIGHT))
    }

    pub(crate) fn model(&self) -> Model {
        self.fit.model(&self.segments.group_names)
    }

    pub(crate) fn reason(&self) -> &str {
        &self.fit.reason
    }

    /// All that the later stages need of it; `question` is the one that it was fitted for, whatever its weights.
    pub(crate) fn answer(&self, question: &FitQuestion<'_>) -> FamilyFit {
        let Self { fit, segments, stood } = self;
        let zone = question.zone.unwrap_or_default();
        let prospect = |wear: Vec<WearPoint>| Prospect { wear, zone, ..Prospect::default() };
        let group_names = &segments.group_names;
        let at = |state: &State| WearPoint::of(state, &fit.params, fit.sign, ALONE);
        // By segment, after each reading, or after the last alone.
        let histories = if question.figures { fit.histories(segments) } else { fit.last_states(segments) };
        let points = fit.points(segments);
        let of_segment = |segment: usize| {
            // Level and slope at the fitted parameters; chances averaged over them.
            // Hours count from the segment's start, so that one without a believed reading stands as the fleet's new parts do, from its start on.
            let last = |of: &Segments| of.range(segment).last().map_or(0.0, |i| of.hours[i]);
            let lag = last(question.segments) - last(segments);
            let unread = || WearPoint::new_segment(&fit.params, segments.group[segment] as usize, fit.sign);
            let here = WearPoint { lag, ..histories[segment].last().map_or_else(unread, at) };
            let ((level, level_var), (slope, slope_var, cov)) = (here.at(0.0), here.rate());
            // As known at each reading, not in hindsight: the filter's own figures.
            let seen = segments.range(segment).zip(&histories[segment]).filter(|_| question.figures);
            let past = seen.map(|(i, then)| {
                let (mean, var) = at(then).at(0.0);
                Past { hours: segments.hours[i], mean, sd: var.sqrt() }
            });
            SegmentFit {
                segment,
                estimate: Estimate { level, level_se: level_var.sqrt(), slope, slope_se: slope_var.sqrt(), cov },
                prospect: prospect(points[segment].iter().map(|w| WearPoint { lag, ..w.clone() }).collect()),
                at_their_word: None,
                past: past.collect(),
            }
        };
        let weights = fit.weights(segments);
        let mut all = vec![0.0; question.segments.readings()];
        for (k, i) in stood.iter().enumerate() {
            all[*i] = weights.get(k).copied().unwrap_or(1.0).min(1.0);
        }
        FamilyFit {
            model: fit.model(group_names),
            method: "ML",
            diagnostics: Diagnostics {
                status: fit.status,
                reason: fit.reason.clone(),
                evaluations: fit.evaluations,
                newton_decrement: fit.decrement,
                average_points: fit.draws.len(),
                average_effective: fit.draws.len() as f64,
            },
            trouble: None,
            reach: None,
            current: (0..segments.len()).filter(|s| segments.current[*s]).map(of_segment).collect(),
            weights: all,
            new_segments: (0..fit.params.shape.len())
                .map(|g| {
                    let prospect = prospect(fit.draws.iter().map(|p| WearPoint::new_segment(p, g, fit.sign)).collect());
                    FleetProspect { group: group_names[g].clone(), drawn: prospect.clone(), prospect }
                })
                .collect(),
            law: None,
            notes: Vec::new(),
        }
    }

    /// Density of the last reading of each segment of `segments` given those before it, averaged over every `stride`-th parameter set.
    pub(crate) fn densities_of_last(&self, segments: &Segments, stride: usize) -> Vec<f64> {
        self.fit.densities_of_last(segments, stride)
    }
}

/// What is said of a process that ran out into straight lines.
const STRAIGHT: &str =
    "the increments show no scatter of their own, so the gamma process has run out into straight lines";

/// None where the increments show no scatter of their own.
fn process(question: &FitQuestion<'_>, near: Option<&Process>) -> Result<Option<Process>, FitFailure> {
    let heavy = match question.options.reading_errors {
        ReadingErrors::Heavy => true,
        ReadingErrors::Normal => false,
        // One gross error leaves a wear that cannot heal no path.
        ReadingErrors::ByModel => has_gross_errors(question),
    };
    let (segments, stood) = question.segments.counting(question.weights);
    let fit = fit(&segments, question.known_sd, heavy, near.map(|n| &n.fit))?;
    Ok(fit.scatters(&segments).then_some(Process { fit, segments, stood }))
}

/// Whether straight lines find a gross error.
fn has_gross_errors(question: &FitQuestion<'_>) -> bool {
    gross::fit_gross(question, Spec::plain(ModelKind::RandomSlope)).is_ok_and(|(_, found)| !found.is_empty())
}
