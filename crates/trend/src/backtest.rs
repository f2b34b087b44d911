//! Rolling-origin check of forecasts against readings that were hidden.
//!
//! For h = 1, 2, …: the last h readings of every segment that has more are hidden, the model is fitted to the rest of the fleet, and every
//! hidden reading is forecast as a *reading* (true value and reading error). A forecast is a mixture of normals, so its probability
//! integral transform F(y), its density and its continuous ranked probability score are exact (E. Grimit, T. Gneiting, V. Berrocal,
//! N. Johnson, Quarterly Journal of the Royal Meteorological Society 132 (2006) 2925–2942; T. Gneiting, A. Raftery, Journal of the
//! American Statistical Association 102 (2007) 359–378).

use crate::checks::{check_options, check_policy};
use crate::crossing::Part;
use crate::ensemble;
use crate::error::TrendError;
use crate::families::gamma::GammaAlone;
use crate::families::random_slope::RandomSlope;
use crate::families::running_in::RunningIn;
use crate::families::wiener::Wiener;
use crate::families::{Family, FamilyFit, FitFailure, FitQuestion, SegmentFit};
use crate::inspections::Inspections;
use crate::options::Options;
use crate::policy::Policy;
use crate::result::{BacktestFeature, BacktestModel, Compared, Scores};
use crate::run::{family_of, known_sd_of};
use crate::segments::{Segments, cut, validate};
use packdrift_numerics::normal;
use rayon::prelude::*;
use std::collections::HashMap;

/// What one hidden reading made of its forecast.
#[derive(Debug, Clone, Copy)]
struct Score {
    pit: f64,
    crps: f64,
    log: f64,
    square: f64,
}

/// Hides the last `1..=rounds` readings of each segment in turn and scores the forecasts of them, per model: the one asked for, or for
/// [`ModelChoice::Auto`](crate::ModelChoice::Auto) the average of models that it takes, and each of these alone.
///
/// # Errors
/// As [`trend`](crate::trend).
///
/// # Examples
///
/// ```
/// # use packdrift_trend::{Inspections, ModelChoice, Options, backtest};
/// # let mut t = Inspections { engines: vec!["P1".into()], features: vec!["f".into()], ..Inspections::default() };
/// # for v in 0..6_u32 { t.valves.push((0, format!("{v}"))); }
/// # for k in 0..36_u32 {
/// #     let (v, i) = (k % 6, k / 6);
/// #     t.valve.push(v); t.day.push(i as i32); t.hours.push(500.0 * f64::from(i)); t.feature.push(0);
/// #     t.value.push(1.0 + 0.1 * f64::from(v) + 0.01 * f64::from(i * (v + 1)) + 0.003 * f64::from((k * 7) % 5));
/// #     t.event.push(0); t.group.push(0);
/// # }
/// let options = Options { model: ModelChoice::RandomSlope, ..Options::default() };
/// let b = backtest(&t, None, &options, 2)?;
/// // Six segments: one reading hidden in the first round, two in the second.
/// assert_eq!(b[0].models[0].forecasts, 18);
/// # Ok::<(), packdrift_trend::TrendError>(())
/// ```
pub fn backtest(
    table: &Inspections,
    policy: Option<&Policy>,
    options: &Options,
    rounds: usize,
) -> Result<Vec<BacktestFeature>, TrendError> {
    validate(table)?;
    check_options(options)?;
    if let Some(policy) = policy {
        check_policy(policy)?;
    }
    let mut out = Vec::new();
    for (feature, name) in table.features.iter().enumerate() {
        let segments = cut(table, feature as u32, &|_| false)?;
        if segments.readings() == 0 {
            continue;
        }
        let known_sd = known_sd_of(policy, table, feature as u32);
        out.push(BacktestFeature { feature: name.clone(), models: backtest_of(&segments, known_sd, options, rounds) });
    }
    Ok(out)
}

/// The backtest of one feature.
pub(crate) fn backtest_of(
    segments: &Segments,
    known_sd: Option<f64>,
    options: &Options,
    rounds: usize,
) -> Vec<BacktestModel> {
    // By model, in the order of the first round in which it stood.
    let mut found: Vec<(String, Vec<Score>, Vec<String>)> = Vec::new();
    let mut add = |model: &str, scores: Result<Vec<Score>, String>, note: Option<String>| {
        if !found.iter().any(|(name, ..)| name == model) {
            found.push((model.to_owned(), Vec::new(), Vec::new()));
        }
        let Some(entry) = found.iter_mut().find(|(name, ..)| name == model) else { return };
        let reason = match scores {
            Ok(scores) => {
                entry.1.extend(scores);
                note
            }
            Err(reason) => Some(reason),
        };
        if let Some(reason) = reason.filter(|r| !entry.2.contains(r)) {
            entry.2.push(reason);
        }
    };
    let asked = |kept: &Segments| -> Vec<(&'static str, Result<FamilyFit, FitFailure>, String)> {
        let question =
            FitQuestion { segments: kept, weights: &[], confirmed: &[], zone: None, known_sd, options, figures: false };
        match family_of(options.model) {
            Some(family) => vec![(options.model.name(), family.fit(&question), String::new())],
            // The choice of weights is made without the hidden readings too: it is part of the forecast.
            None => {
                let auto = ensemble::fit(&question, &ensemble::integrated(), None);
                let note = auto.as_ref().map_or_else(|_| String::new(), |e| shares(&e.compared));
                let gamma = auto.as_ref().is_ok_and(|e| e.gamma_share > 0.0);
                let mut all = vec![("auto", auto.map(|e| e.fit), note)];
                let alone = |name, family: &dyn Family| (name, family.fit(&question), String::new());
                all.push(alone("random-slope", &RandomSlope));
                all.push(alone("wiener", &Wiener));
                all.push(alone("running-in", &RunningIn));
                if gamma {
                    all.push(alone("integrated", &ensemble::integrated()));
                    all.push(alone("gamma", &GammaAlone));
                }
                all
            }
        }
    };
    for hide in 1..=rounds {
        let (kept, hidden) = segments.without_last(hide);
        if hidden.is_empty() {
            continue;
        }
        for (name, fit, note) in asked(&kept) {
            let scores = fit.map(|fit| scores(&fit, &hidden)).map_err(|failure| failure.reason);
            add(name, scores, Some(note).filter(|n| !n.is_empty()));
        }
    }
    found
        .into_iter()
        .map(|(model, scores, notes)| BacktestModel {
            model,
            forecasts: scores.len(),
            scores: summary(&scores),
            note: notes.join("; "),
        })
        .collect()
}

/// `integrated 0.93, gamma 0.07`.
fn shares(compared: &[Compared]) -> String {
    let carried = compared.iter().filter(|c| c.weight > 0.0);
    carried.map(|c| format!("{} {:.2}", c.model, c.weight)).collect::<Vec<_>>().join(", ")
}

/// Scores of the hidden readings by a fit to the others.
fn scores(fit: &FamilyFit, hidden: &[Hidden]) -> Vec<Score> {
    let by_segment: HashMap<usize, &SegmentFit> = fit.current.iter().map(|own| (own.segment, own)).collect();
    hidden
        .par_iter()
        .filter_map(|h| {
            let own = by_segment.get(&h.segment)?;
            Some(score(&own.prospect.reading(h.ahead), h.value))
        })
        .collect()
}

/// A hidden reading: hours after its segment's last kept one.
#[derive(Debug, Clone, Copy)]
struct Hidden {
    segment: usize,
    ahead: f64,
    value: f64,
}

impl Segments {
    /// Without the last `hide` readings of each segment that has more, and those readings.
    fn without_last(&self, hide: usize) -> (Self, Vec<Hidden>) {
        let mut kept = Self { hours: vec![], value: vec![], row: vec![], offset: vec![0], ..self.clone() };
        // Every segment is forecast, not only each valve's last.
        kept.current = vec![true; self.len()];
        let mut hidden = Vec::new();
        for s in 0..self.len() {
            let r = self.range(s);
            let end = if r.len() > hide { r.end - hide } else { r.end };
            kept.hours.extend_from_slice(&self.hours[r.start..end]);
            kept.value.extend_from_slice(&self.value[r.start..end]);
            kept.row.extend_from_slice(&self.row[r.start..end]);
            kept.offset.push(kept.value.len());
            hidden.extend((end..r.end).map(|i| Hidden {
                segment: s,
                ahead: self.hours[i] - self.hours[end - 1],
                value: self.value[i],
            }));
        }
        (kept, hidden)
    }
}

fn score(mixture: &[Part], y: f64) -> Score {
    let sum = |f: &dyn Fn(&Part) -> f64| mixture.iter().map(|p| p.weight * f(p)).sum::<f64>();
    let pit = sum(&|p| normal::cdf((y - p.mean) / p.sd));
    let density = sum(&|p| normal::pdf((y - p.mean) / p.sd) / p.sd);
    let mean = sum(&|p| p.mean);
    // Pairs grow as the square: an even choice of at most 64 components stands for more.
    let stride = mixture.len().div_ceil(64).max(1);
    let few: Vec<Part> = mixture.iter().copied().step_by(stride).collect();
    let total: f64 = few.iter().map(|p| p.weight).sum();
    let a = |m: f64, s: f64| 2.0 * s * normal::pdf(m / s) + m * (2.0 * normal::cdf(m / s) - 1.0);
    let to_reading: f64 = few.iter().map(|p| p.weight * a(y - p.mean, p.sd)).sum::<f64>() / total;
    let pair = |p: &Part, q: &Part| p.weight * q.weight * a(p.mean - q.mean, p.sd.hypot(q.sd));
    let among: f64 = few.iter().map(|p| few.iter().map(|q| pair(p, q)).sum::<f64>()).sum::<f64>() / (total * total);
    Score { pit, crps: to_reading - 0.5 * among, log: -density.max(1e-300).ln(), square: (y - mean).powi(2) }
}

fn summary(scores: &[Score]) -> Option<Scores> {
    if scores.is_empty() {
        return None;
    }
    let n = scores.len() as f64;
    let inside = |p: f64| {
        let tail = 0.5 * (1.0 - p);
        scores.iter().filter(|s| s.pit >= tail && s.pit <= 1.0 - tail).count() as f64 / n
    };
    let mut pit = [0; 10];
    for s in scores {
        pit[((s.pit * 10.0) as usize).min(9)] += 1;
    }
    let mean = |f: fn(&Score) -> f64| scores.iter().map(f).sum::<f64>() / n;
    Some(Scores {
        coverage50: inside(0.5),
        coverage80: inside(0.8),
        coverage95: inside(0.95),
        coverage_se: [0.5, 0.8, 0.95].map(|p: f64| (p * (1.0 - p) / n).sqrt()),
        pit,
        crps: mean(|s| s.crps),
        log_score: mean(|s| s.log),
        rmse: mean(|s| s.square).sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scores_of_one_normal_have_their_closed_form() {
        // CRPS of N(0, 1) at 0 is (√2 − 1)/√π (Gneiting and Raftery 2007, equation 21).
        let part = |weight, mean, sd| Part { weight, mean, sd };
        let s = score(&[part(1.0, 0.0, 1.0)], 0.0);
        assert!((s.crps - (2.0_f64.sqrt() - 1.0) / std::f64::consts::PI.sqrt()).abs() < 1e-15);
        assert!((s.pit - 0.5).abs() < 1e-15);
        assert!((s.log - 0.5 * (2.0 * std::f64::consts::PI).ln()).abs() < 1e-15);
        // A mixture of equal parts is the part.
        let m = score(&[part(0.2, 0.3, 2.0); 5], 1.0);
        let one = score(&[part(1.0, 0.3, 2.0)], 1.0);
        assert!((m.crps - one.crps).abs() < 1e-14 && (m.log - one.log).abs() < 1e-14);
    }
}
