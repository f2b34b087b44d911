//! `auto`: models that the readings cannot tell apart are averaged, and it is said how much each weighs.
//!
//! The integrated model holds line, wander, power and growth at once; what it cannot hold is wear that never falls. So a gamma process stands beside
//! it where the readings could be one, and the two are weighted by how well each foretells readings that it has not seen: the last one of
//! each segment is hidden, both are fitted to the rest, and with d_i the difference of the logarithmic scores of hidden reading i
//!
//! ```text
//! Δ = Σ d_i,   s² = n·Var(d),   share of the gamma process = E[1/(1 + e^(−Δ − sZ))],   Z ~ N(0, 1)
//! ```
//!
//! which is pseudo-Bayesian model averaging with the scores' own uncertainty carried through: Y. Yao, A. Vehtari, D. Simpson, A. Gelman,
//! Using stacking to average Bayesian predictive distributions, Bayesian Analysis 13 (2018) 917–1007, section 3.4 (pseudo-BMA+; from memory),
//! with Z normal in place of their bootstrap. Marginal likelihoods would not do: the integrated model's mean lines have a flat prior, and a
//! ratio with a model of another likelihood is then of no meaning. The gamma process's density of a hidden reading is its filter's likelihood:
//! slices of the depth, which forecasts of readings are shown by, end before the long increments that such a process has now and then.

use crate::families::gamma::Process;
use crate::families::integrated::Integrated;
use crate::families::line::{Identifiability, Spec, fit_member};
use crate::families::{Estimate, Family, FamilyFit, FitFailure, FitQuestion, SegmentFit};
use crate::integrated::Effort;
use crate::options::Estimator;
use crate::result::{Compared, Model, ModelKind};
use crate::segments::Segments;
use crate::verdict::BELIEVED;
use packdrift_numerics::normal;

/// The lattice filter is dear: beyond this many readings the gamma process is fitted only when asked for.
const GAMMA_UP_TO: usize = 1500;

/// Every so-manieth parameter set of a gamma process tells how well it foretells.
const FOR_SCORES: usize = 4;

/// A share below this changes no chance visibly, and is not carried.
const LEAST_SHARE: f64 = 0.01;

/// What the readings make of the models.
pub(crate) struct Ensemble {
    pub(crate) fit: FamilyFit,
    pub(crate) compared: Vec<Compared>,
    /// Share of the gamma process.
    pub(crate) gamma_share: f64,
}

/// The integrated model, at full effort.
pub(crate) fn integrated() -> Integrated {
    Integrated { effort: Effort::default() }
}

/// What the gamma process makes of some readings.
pub(crate) struct Told {
    segments: Segments,
    /// By reading: 1, or 0 where it was left out.
    weights: Vec<f64>,
    pub(crate) process: Process,
    /// Its share beside the integrated model.
    pub(crate) share: f64,
}

/// Fits and averages; `integrated` gives the integrated model's fit, `told` is what the gamma process made of these readings or of nearly
/// the same.
pub(crate) fn fit(
    question: &FitQuestion<'_>,
    integrated: &dyn Family,
    told: Option<Told>,
) -> Result<Ensemble, FitFailure> {
    let integrated = integrated.fit(question)?;
    let (lines, gate) = lines(question);
    let refused = |why| Err(FitFailure::not_estimable(why));
    let (gamma, share, note) = match gate.map_or_else(|| gamma(question, &integrated.weights, told), refused) {
        Ok(told) => (Some(told.process), told.share, String::new()),
        Err(failure) => (None, 0.0, failure.reason),
    };
    let share = if share < LEAST_SHARE { 0.0 } else { share };
    let readings = question.segments.readings();
    let reason = &integrated.diagnostics.reason;
    let mut compared = vec![line_of(&integrated.model, reason, 1.0 - share, share <= 0.5, readings)];
    compared.push(match &gamma {
        Some(process) => line_of(&process.model(), process.reason(), share, share > 0.5, readings),
        None => Compared { note, ..unfitted(ModelKind::Gamma) },
    });
    compared.extend(lines);
    let fit = match gamma {
        Some(gamma) if share > 0.0 => mixed(integrated, gamma.answer(question), share),
        _ => integrated,
    };
    Ok(Ensemble { fit, compared, gamma_share: share })
}

/// What the gamma process makes of the readings; None where there is none. Nothing is forecast.
pub(crate) fn told(question: &FitQuestion<'_>, integrated: &dyn Family) -> Option<Told> {
    let (_, gate) = lines(question);
    if gate.is_some() {
        return None;
    }
    gamma(question, &integrated.fit(question).ok()?.weights, None).ok()
}

fn unfitted(kind: ModelKind) -> Compared {
    Compared {
        model: kind.name().to_owned(),
        kind,
        log_likelihood: None,
        parameters: 0,
        bic: None,
        chosen: false,
        weight: 0.0,
        note: String::new(),
    }
}

fn line_of(model: &Model, reason: &str, weight: f64, chosen: bool, readings: usize) -> Compared {
    let log_likelihood = model.log_likelihood;
    Compared {
        log_likelihood,
        bic: log_likelihood.map(|l| -2.0 * l + model.parameters as f64 * (readings as f64).ln()),
        parameters: model.parameters,
        chosen,
        weight,
        note: reason.to_owned(),
        ..unfitted(model.kind)
    }
}

/// The straight-line models one by one, for the reader: all of them are held by the integrated model. With it, why no gamma process need be
/// tried.
fn lines(question: &FitQuestion<'_>) -> (Vec<Compared>, Option<&'static str>) {
    let FitQuestion { segments, weights, known_sd, .. } = *question;
    let identifiability = Identifiability::of_segments(segments);
    let mut bics = [None; 3];
    let kinds = [ModelKind::RandomSlope, ModelKind::Wiener, ModelKind::RunningIn];
    let lines = kinds
        .into_iter()
        .zip(&mut bics)
        .map(|(kind, bic)| {
            let refusal = match kind {
                ModelKind::Wiener if !identifiability.carries_wander() => {
                    Some("a wander needs a segment with four readings, and eight readings beyond lines of their own")
                }
                ModelKind::RunningIn if identifiability.longest < 3 => {
                    Some("a power of the hours needs a segment with three readings")
                }
                _ => None,
            };
            let fitted = match refusal {
                Some(why) => Err(FitFailure::not_estimable(why)),
                None => fit_member(segments, weights, Spec::plain(kind), Estimator::Ml, known_sd, None),
            };
            match fitted {
                Ok(m) => {
                    *bic = Some(m.bic());
                    Compared {
                        log_likelihood: Some(m.log_likelihood),
                        parameters: m.parameters,
                        bic: *bic,
                        note: "held by the integrated model".to_owned(),
                        ..unfitted(kind)
                    }
                }
                Err(failure) => Compared { note: failure.reason, ..unfitted(kind) },
            }
        })
        .collect();
    (lines, gate(question, &identifiability, bics))
}

/// Two fits whose criteria differ by less are one: without a wander the Wiener process is the line, and rounding would say which is better.
const TOLD_APART: f64 = 1e-6;

/// Why a gamma process is not tried.
fn gate(question: &FitQuestion<'_>, told: &Identifiability, bics: [Option<f64>; 3]) -> Option<&'static str> {
    let asked = |slope: Option<bool>| slope == Some(true);
    // A Wiener process that could not be fitted is no evidence against increments with a scatter of their own.
    let wanders = match bics {
        [Some(line), Some(wiener), _] => wiener < line - TOLD_APART,
        _ => true,
    };
    if asked(question.options.engine_slope) || asked(question.options.valve_slope) {
        Some("a gamma process has no lines to share or keep a slope")
    } else if question.segments.readings() > GAMMA_UP_TO {
        Some("the gamma process is compared up to 1 500 readings; ask for it by name")
    } else if !wanders {
        Some("the increments show no scatter of their own beyond lines and reading errors, which a gamma process has")
    } else if !told.carries_wander() {
        Some("a gamma process needs a segment with four readings, and eight readings beyond lines of their own")
    } else {
        None
    }
}

/// The gamma process and its share beside the integrated model; readings that this calls gross errors are left out of both, for one of them
/// leaves wear that cannot heal no path.
fn gamma(question: &FitQuestion<'_>, weights: &[f64], told: Option<Told>) -> Result<Told, FitFailure> {
    let weights: Vec<f64> = weights.iter().map(|w| f64::from(u8::from(*w >= BELIEVED))).collect();
    let near = match told {
        Some(told) if told.weights == weights && told.segments == *question.segments => return Ok(told),
        other => other.map(|told| told.process),
    };
    let process = Process::fit(&FitQuestion { weights: &weights, ..*question }, near.as_ref())?;
    let Hiding { kept, with_last, hidden } = Hiding::of(question.segments, &weights);
    if hidden.is_empty() {
        return Err(FitFailure::not_estimable(
            "no segment has a reading to hide, so nothing tells how well it foretells",
        ));
    }
    let asked = FitQuestion { segments: &kept, weights: &[], confirmed: &[], figures: false, ..*question };
    // Both look for their parameters at once: each alone leaves a processor idle now and then.
    let (ours, theirs) = rayon::join(
        || {
            let process = Process::fit(&asked, Some(&process))?;
            Ok(process.densities_of_last(&with_last, FOR_SCORES))
        },
        || {
            let fit = integrated().fit(&asked)?;
            Ok(hidden.iter().map(|h| density(&fit, h)).collect())
        },
    );
    let (ours, theirs): (Vec<f64>, Vec<f64>) = (ours?, theirs?);
    let ln = |density: f64| density.max(1e-300).ln();
    let differences: Vec<f64> = ours.iter().zip(&theirs).map(|(a, b)| ln(*a) - ln(*b)).collect();
    let share = share(&differences);
    Ok(Told { segments: question.segments.clone(), weights, process, share })
}

/// Share of the first of two models by the differences of their logarithmic scores.
fn share(differences: &[f64]) -> f64 {
    let n = differences.len() as f64;
    let sum: f64 = differences.iter().sum();
    let mean = sum / n;
    let var = differences.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
    let sd = (n * var).sqrt();
    if !sum.is_finite() || !sd.is_finite() {
        return 0.0;
    }
    // The mean of a logistic over a normal, at the middles of 200 equal slices.
    let slices = 200;
    let at = |k: i32| 1.0 / (1.0 + (-sum - sd * normal::quantile((f64::from(k) + 0.5) / f64::from(slices))).exp());
    (0..slices).map(at).sum::<f64>() / f64::from(slices)
}

/// A hidden reading, hours after its segment's last one left.
struct Hidden {
    segment: usize,
    ahead: f64,
    value: f64,
}

/// Segments with their last counting visits hidden.
struct Hiding {
    /// Every segment without it. All are forecast.
    kept: Segments,
    /// The segments of the hidden readings alone, each ending with its own.
    with_last: Segments,
    /// In the order of the segments: of each with three readings or more its last one.
    hidden: Vec<Hidden>,
}

impl Hiding {
    fn of(segments: &Segments, weights: &[f64]) -> Self {
        let (all, _) = segments.counting(weights);
        let mut keep = vec![1.0; all.readings()];
        let mut hidden = Vec::new();
        let mut newest = Vec::new();
        for s in 0..all.len() {
            let range = all.range(s);
            if range.len() < 3 {
                continue;
            }
            let last = range.end - 1;
            // A whole visit is hidden, and its last reading foretold.
            let visit = range.clone().filter(|i| all.hours[*i] >= all.hours[last]);
            let before = range.clone().rfind(|i| all.hours[*i] < all.hours[last]);
            let Some(before) = before else { continue };
            visit.for_each(|i| keep[i] = 0.0);
            newest.push(last);
            hidden.push(Hidden { segment: s, ahead: all.hours[last] - all.hours[before], value: all.value[last] });
        }
        let (mut kept, _) = all.counting(&keep);
        kept.current = vec![true; kept.len()];
        newest.into_iter().for_each(|i| keep[i] = 1.0);
        let of_hidden: Vec<usize> = hidden.iter().map(|h| h.segment).collect();
        Self { kept, with_last: all.counting(&keep).0.subset(&of_hidden), hidden }
    }
}

/// Density of a hidden reading.
fn density(fit: &FamilyFit, hidden: &Hidden) -> f64 {
    let Some(own) = fit.current.iter().find(|c| c.segment == hidden.segment) else { return 0.0 };
    let parts = own.prospect.reading(hidden.ahead);
    parts.iter().map(|p| p.weight * normal::pdf((hidden.value - p.mean) / p.sd) / p.sd).sum()
}

/// Both, the gamma process with its share.
fn mixed(integrated: FamilyFit, gamma: FamilyFit, share: f64) -> FamilyFit {
    let weights = integrated
        .weights
        .iter()
        .enumerate()
        .map(|(i, w)| (1.0 - share) * w + share * gamma.weights.get(i).copied().unwrap_or(1.0))
        .collect();
    let with = |mut prospect: crate::crossing::Prospect, wear: &crate::crossing::Prospect| {
        prospect.wear.clone_from(&wear.wear);
        prospect.wear_share = share;
        prospect
    };
    let current: Vec<SegmentFit> = integrated
        .current
        .into_iter()
        .map(|own| match gamma.current.iter().find(|g| g.segment == own.segment) {
            Some(g) => SegmentFit {
                estimate: estimate(&own.estimate, &g.estimate, share),
                prospect: with(own.prospect, &g.prospect),
                at_their_word: own.at_their_word.map(|(e, p)| (e, with(p, &g.prospect))),
                ..own
            },
            None => own,
        })
        .collect();
    let new_segments = integrated
        .new_segments
        .into_iter()
        .zip(&gamma.new_segments)
        .map(|(own, g)| crate::result::FleetProspect {
            prospect: with(own.prospect, &g.prospect),
            drawn: with(own.drawn, &g.drawn),
            ..own
        })
        .collect();
    let (model, method) = if share > 0.5 { (gamma.model, gamma.method) } else { (integrated.model, integrated.method) };
    FamilyFit { model, method, weights, current, new_segments, ..integrated }
}

/// Moments of a mixture of two.
fn estimate(a: &Estimate, b: &Estimate, share: f64) -> Estimate {
    let mean = |x: f64, y: f64| (1.0 - share) * x + share * y;
    let (level, slope) = (mean(a.level, b.level), mean(a.slope, b.slope));
    let var =
        |x: f64, sx: f64, y: f64, sy: f64, m: f64| mean(sx * sx + (x - m).powi(2), sy * sy + (y - m).powi(2)).sqrt();
    Estimate {
        level,
        level_se: var(a.level, a.level_se, b.level, b.level_se, level),
        slope,
        slope_se: var(a.slope, a.slope_se, b.slope, b.slope_se, slope),
        cov: mean(a.cov + (a.level - level) * (a.slope - slope), b.cov + (b.level - level) * (b.slope - slope)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_follow_the_scores_as_far_as_they_are_told() {
        // Alike: half. Told without scatter: the logistic itself. Told by a few scattered scores: drawn to one half.
        assert!((share(&[0.0; 10]) - 0.5).abs() < 1e-12);
        assert!((share(&[0.3; 10]) - 1.0 / (1.0 + (-3.0_f64).exp())).abs() < 1e-12);
        let scattered = share(&[4.0, -3.0, 2.0, -1.0, 1.0]);
        assert!(scattered > 0.5 && scattered < 0.8, "{scattered}");
        assert!(share(&[-50.0; 4]) < 1e-9 && share(&[f64::NAN; 3]) == 0.0);
    }
}
