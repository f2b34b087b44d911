//! Which model the data ask for: cleaned of what no model should explain, compared by BIC.
//!
//! BIC = −2·ln L + k·ln n at the maximum likelihood (G. Schwarz, Annals of Statistics 6 (1978) 461–464), n the readings. A model is tried
//! only where the data could show it; what was not tried is listed with its reason.

use crate::family::{Member, Spec, fit_member};
use crate::fit::{Support, Unfit};
use crate::gamma::{self, GammaFit};
use crate::kernel::Problem;
use crate::kernel::frame::Clock;
use crate::options::{Estimator, ModelChoice, Options, ReadingErrors};
use crate::result::{Compared, ModelKind};
use crate::robust::student::{TOLERANCE, fit_heavy};
use crate::run::spec_of;
use crate::segments::Segments;
use crate::sums::{NO_ENGINE_SLOPE, NO_VALVE_SLOPE};

/// Fleets beyond this many segments are compared on an even choice of engines that holds about as many.
pub(crate) const COMPARE_UP_TO: usize = 2000;

/// The lattice filter is dear: beyond this many readings the gamma process is fitted only when asked for.
const GAMMA_UP_TO: usize = 1500;

/// What the comparison came to.
pub(crate) struct Choice {
    /// The gamma process's fit, where it was taken: too dear to be made again.
    pub(crate) gamma: Option<GammaFit>,
    pub(crate) spec: Spec,
    /// What forecasts are made by, where that is richer than `spec`: see [`RULED_OUT`].
    pub(crate) carrier: Option<Spec>,
    pub(crate) compared: Vec<Compared>,
    pub(crate) sampled: bool,
}

/// A wander counts as ruled out where BIC is worse by more than this with it: odds of 150 to 1, "very strong" in the words of R. Kass and
/// A. Raftery, Journal of the American Statistical Association 90 (1995) 773–795.
///
/// BIC asks which model is the likelier, and wants evidence before it grants a parameter. A forecast has another duty: few readings a
/// valve cannot show a wander of half a reading's error between two looks, yet over years it is what the drift is uncertain by. Forecasts
/// that left it out held the true slope in 75 of 96 intervals of 95 %. So where the data can carry a wander and do not rule it out,
/// forecasts are averaged over its size, 0 included, as they are over the other variances.
const RULED_OUT: f64 = 10.0;

/// The member that forecasts are made by where it is not `spec`, the best itself: with the wander and with the slope that a valve keeps, if
/// the data can carry them and do not rule them out. The same holds of both: a few dozen re-shimmed valves give no evidence that BIC
/// would grant a parameter on, and yet shims are not what wears a valve.
fn carrier(spec: Spec, support: &Support, options: &Options, compared: &[(Spec, Compared)]) -> Option<Spec> {
    if spec.kind == ModelKind::Gamma {
        return None;
    }
    let bic = |spec: Spec| compared.iter().find(|(s, _)| *s == spec).and_then(|(_, line)| line.bic);
    let normal = Spec { heavy: false, ..spec };
    let possible = |with: Spec| bic(with).zip(bic(normal)).is_some_and(|(with, without)| with - without < RULED_OUT);
    let wander = match spec.kind {
        ModelKind::Wiener | ModelKind::Gamma => false,
        // Not compared with a wander of its own.
        ModelKind::RunningIn => support.carries_wander(),
        ModelKind::RandomSlope => possible(Spec { kind: ModelKind::Wiener, ..normal }),
    };
    let valve = !spec.valve && options.valve_slope.is_none() && possible(Spec { valve: true, ..normal });
    (wander || valve).then_some(Spec { carried: wander, valve: spec.valve || valve, ..spec })
}

/// Whole engines, evenly spaced, that hold about `size` segments.
pub(crate) fn sample(segments: &Segments, size: usize) -> Segments {
    let engines: Vec<std::ops::Range<usize>> = segments.blocks(1);
    let stride = segments.len().div_ceil(size).max(1);
    let keep: Vec<usize> = engines.into_iter().step_by(stride).flatten().collect();
    segments.subset(&keep)
}

/// Fits one member, with normal or heavy-tailed errors.
pub(crate) fn fit_any(
    segments: &Segments,
    spec: Spec,
    estimator: Estimator,
    known_sd: Option<f64>,
) -> Result<Member, Unfit> {
    if spec.heavy {
        fit_heavy(segments, spec, estimator, known_sd, TOLERANCE)
    } else {
        fit_member(segments, &[], spec, estimator, known_sd, None)
    }
}

/// The member under which steps and bad days are looked for: the richest that the data can support, with the mean shape (straight, or
/// a power of the hours) that suits them better. Under a straight line a running-in would pass for a jump in every segment.
pub(crate) fn richest(segments: &Segments, options: &Options, known_sd: Option<f64>) -> Spec {
    let support = Support::of(&Problem::of_readings(segments, &[], Clock::PLAIN, false, false));
    let engine = options.engine_slope.unwrap_or(true) && support.carries_engine();
    let wanders = support.carries_wander();
    let straight = if wanders { ModelKind::Wiener } else { ModelKind::RandomSlope };
    let bic = |kind| {
        let spec = Spec::plain(kind);
        fit_any(segments, spec, Estimator::Ml, known_sd).map_or(f64::INFINITY, |m| m.bic())
    };
    let curved = support.longest >= 4 && bic(ModelKind::RunningIn) < bic(straight);
    let kind = if curved { ModelKind::RunningIn } else { straight };
    Spec { engine, heavy: true, carried: wanders, ..Spec::plain(kind) }
}

/// Compares the family by BIC.
pub(crate) fn choose(segments: &Segments, options: &Options, known_sd: Option<f64>) -> Choice {
    let sampled = segments.len() > COMPARE_UP_TO;
    let subset;
    let segments = if sampled {
        subset = sample(segments, COMPARE_UP_TO);
        &subset
    } else {
        segments
    };
    let support = Support::of(&Problem::of_readings(segments, &[], Clock::PLAIN, false, false));
    let mut worn: Vec<(Spec, GammaFit)> = Vec::new();
    let mut compared: Vec<(Spec, Compared)> = Vec::new();
    let mut best: Option<(f64, Spec)> = None;
    let mut offer = |spec: Spec, refusal: Option<&str>, best: &mut Option<(f64, Spec)>| {
        // (log-likelihood, parameters, BIC, remark)
        let fitted = match refusal {
            Some(reason) => Err(Unfit::not_estimable(reason)),
            None if spec.kind == ModelKind::Gamma => gamma::fit(segments, known_sd, spec.heavy).map(|g| {
                let line = (g.log_likelihood, g.parameters, g.bic(segments.readings()), g.reason.clone());
                worn.push((spec, g));
                line
            }),
            None => fit_any(segments, spec, Estimator::Ml, known_sd)
                .map(|m| (m.log_likelihood, m.parameters, m.bic(), m.fitted.reason)),
        };
        let line = match &fitted {
            Ok((log_likelihood, parameters, bic, note)) => Compared {
                model: spec.words(),
                kind: spec.kind,
                log_likelihood: Some(*log_likelihood),
                parameters: *parameters,
                bic: Some(*bic),
                chosen: false,
                note: note.clone(),
            },
            Err(u) => Compared {
                model: spec.words(),
                kind: spec.kind,
                log_likelihood: None,
                parameters: 0,
                bic: None,
                chosen: false,
                note: u.reason.clone(),
            },
        };
        if let Some(bic) = line.bic
            && best.is_none_or(|(b, _)| bic < b)
        {
            *best = Some((bic, spec));
        }
        let fitted = line.bic.is_some();
        compared.push((spec, line));
        fitted
    };
    let engines: &[bool] = match options.engine_slope {
        Some(true) => &[true],
        Some(false) => &[false],
        None => &[false, true],
    };
    let valves: &[bool] = match options.valve_slope {
        Some(true) => &[true],
        Some(false) => &[false],
        None => &[false, true],
    };
    let mut told = false;
    for kind in [ModelKind::RandomSlope, ModelKind::Wiener, ModelKind::RunningIn] {
        for (engine, valve) in engines.iter().flat_map(|e| valves.iter().map(move |v| (*e, *v))) {
            let refusal = if engine && !support.carries_engine() {
                Some(NO_ENGINE_SLOPE)
            } else if valve && !support.carries_valve() {
                Some(NO_VALVE_SLOPE)
            } else if kind == ModelKind::Wiener && !support.carries_wander() {
                Some("a wander needs a segment with four readings, and eight readings beyond lines of their own")
            } else if kind == ModelKind::RunningIn && support.longest < 3 {
                Some("a power of the hours needs a segment with three readings")
            } else {
                None
            };
            // Why a valve slope is not tried is said once.
            if refusal == Some(NO_VALVE_SLOPE) && options.valve_slope.is_none() {
                let first = kind == ModelKind::RandomSlope && engine == engines[0];
                if !first {
                    continue;
                }
            }
            let fitted = offer(Spec { engine, valve, ..Spec::plain(kind) }, refusal, &mut best);
            told |= fitted && kind == ModelKind::Wiener;
        }
    }
    let wear = Spec::plain(ModelKind::Gamma);
    // A Wiener process that could not be fitted is no evidence against increments with a scatter of their own: readings may be so precise
    // beside it that their error is not to be told.
    let wanders = !told || best.is_some_and(|(_, s)| s.kind == ModelKind::Wiener);
    let refusal = if options.engine_slope == Some(true) || options.valve_slope == Some(true) {
        Some("a gamma process has no lines to share or keep a slope")
    } else if sampled || segments.readings() > GAMMA_UP_TO {
        Some("the gamma process is compared up to 1 500 readings; ask for it by name")
    } else if !wanders {
        Some("the increments show no scatter of their own beyond lines and reading errors, which a gamma process has")
    } else if !support.carries_wander() {
        Some("a gamma process needs a segment with four readings, and eight readings beyond lines of their own")
    } else {
        None
    };
    offer(wear, refusal, &mut best);
    if options.reading_errors != ReadingErrors::Normal
        && let Some((normal, spec)) = best
    {
        let few = (support.spare < 8).then_some("heavy tails need eight readings beyond lines of their own");
        offer(Spec { heavy: true, ..spec }, few, &mut best);
        // One bad reading leaves a wear that cannot heal no path: where tails are heavy, its own heavy tails are the fair comparison.
        let heavy = best.is_some_and(|(bic, s)| s.heavy && bic < normal);
        if spec.kind != ModelKind::Gamma && heavy && refusal.is_none() {
            offer(Spec { heavy: true, ..wear }, None, &mut best);
        }
    }
    let spec = best.map_or_else(|| spec_of(ModelChoice::RandomSlope, options), |(_, s)| s);
    Choice {
        carrier: carrier(spec, &support, options, &compared),
        gamma: worn.into_iter().find(|(s, _)| *s == spec).map(|(_, fit)| fit),
        spec,
        compared: compared
            .into_iter()
            .map(|(s, line)| Compared { chosen: s == spec && line.bic.is_some(), ..line })
            .collect(),
        sampled,
    }
}
