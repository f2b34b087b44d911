//! Rolling-origin check of forecasts against readings that were hidden.
//!
//! For h = 1, 2, …: the last h readings of every segment that has more are hidden, the model is fitted to the rest of the fleet, and every
//! hidden reading is forecast as a *reading* (true value and reading error). A forecast is a mixture of normals, so its probability
//! integral transform F(y), its density and its continuous ranked probability score are exact (E. Grimit, T. Gneiting, V. Berrocal,
//! N. Johnson, Quarterly Journal of the Royal Meteorological Society 132 (2006) 2925–2942; T. Gneiting, A. Raftery, Journal of the
//! American Statistical Association 102 (2007) 359–378).

use crate::auto::{choose, fit_any};
use crate::average::Average;
use crate::error::TrendError;
use crate::family::{Member, Spec};
use crate::gamma;
use crate::inspections::Inspections;
use crate::kernel::posterior::posteriors;
use crate::options::{ModelChoice, Options};
use crate::policy::Policy;
use crate::result::ModelKind;
use crate::run::{averaged, check_options, check_policy, known_sd_of, spec_of};
use crate::segments::{Segments, cut, validate};
use packdrift_numerics::normal;
use packdrift_numerics::special::chi_squared_quantile;
use rayon::prelude::*;

/// What a backtest found for one feature.
#[derive(Debug, Clone, PartialEq)]
pub struct BacktestFeature {
    /// Feature name.
    pub feature: String,
    /// One per model tried.
    pub models: Vec<BacktestModel>,
}

/// Scores of one model. Without a single forecast the shares and scores are None.
#[derive(Debug, Clone, PartialEq)]
pub struct BacktestModel {
    /// In words.
    pub model: String,
    /// Hidden readings that were forecast.
    pub forecasts: usize,
    /// The scores.
    pub scores: Option<Scores>,
    /// Why a round could not be fitted; empty where all were.
    pub note: String,
}

/// Scores over all hidden readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Scores {
    /// Share inside the 50 % prediction interval.
    pub coverage50: f64,
    /// Share inside the 80 % interval.
    pub coverage80: f64,
    /// Share inside the 95 % interval.
    pub coverage95: f64,
    /// Standard errors of the three shares, were all readings independent.
    pub coverage_se: [f64; 3],
    /// Histogram of the probability integral transform in ten equal bins; flat where forecasts are honest.
    pub pit: [usize; 10],
    /// Mean continuous ranked probability score, in the feature's unit: smaller is better.
    pub crps: f64,
    /// Mean logarithmic score (−ln density): smaller is better.
    pub log_score: f64,
    /// Root mean square error of the forecast's mean.
    pub rmse: f64,
}

/// A forecast of a reading: normals of equal weight, (mean, sd).
pub(crate) type Mixture = Vec<(f64, f64)>;

/// What one hidden reading made of its forecast.
#[derive(Debug, Clone, Copy)]
struct Score {
    pit: f64,
    crps: f64,
    log: f64,
    square: f64,
}

/// Hides the last `1..=rounds` readings of each segment in turn and scores the forecasts of them, per model: the one asked for, or for
/// [`ModelChoice::Auto`] each that the data can support and the one that is chosen by BIC.
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
        let segments = cut(table, feature as u32, &[], &[])?;
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
    for hide in 1..=rounds {
        let (kept, hidden) = segments.without_last(hide);
        if options.model != ModelChoice::Auto {
            let spec = spec_of(options.model, options);
            add(&spec.words(), scores(&kept, &hidden, spec, options, known_sd), None);
            continue;
        }
        // The choice is made without the hidden readings too: it is part of the forecast.
        let choice = choose(&kept, options, known_sd);
        let chosen = choice.carrier.unwrap_or(choice.spec);
        add("auto", scores(&kept, &hidden, chosen, options, known_sd), Some(format!("took {}", chosen.words())));
        for kind in [ModelKind::RandomSlope, ModelKind::Wiener, ModelKind::RunningIn, ModelKind::Gamma] {
            let spec = Spec::plain(kind);
            if choice.compared.iter().any(|c| c.model == spec.words() && c.bic.is_some()) {
                add(&spec.words(), scores(&kept, &hidden, spec, options, known_sd), None);
            }
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

/// Fits to the kept readings and scores the hidden ones.
fn scores(
    kept: &Segments,
    hidden: &[Hidden],
    spec: Spec,
    options: &Options,
    known_sd: Option<f64>,
) -> Result<Vec<Score>, String> {
    if hidden.is_empty() {
        return Ok(Vec::new());
    }
    let forecast: Vec<(Mixture, f64)> = if spec.kind == ModelKind::Gamma {
        let fit = gamma::fit(kept, known_sd, spec.heavy).map_err(|u| u.reason)?;
        let points = fit.points(kept);
        hidden.par_iter().map(|h| (fit.reading(&points[h.segment], h.ahead), h.value)).collect()
    } else {
        let member = fit_any(kept, spec, options.estimator, known_sd).map_err(|u| u.reason)?;
        let average = averaged(&member, options);
        readings(kept, &member, &average, hidden)
    };
    Ok(forecast.par_iter().map(|(mixture, y)| score(mixture, *y)).collect())
}

/// Forecasts of hidden readings by a member of the straight-line family.
fn readings(kept: &Segments, member: &Member, average: &Average, hidden: &[Hidden]) -> Vec<(Mixture, f64)> {
    let lines: Vec<_> =
        average.points.iter().map(|p| posteriors(&member.problem, p.shape, &p.theta, &p.profile)).collect();
    // Heavy tails: the t's precision at the middles of eight equal slices, for the mixture's parts weigh the same.
    let slices: Vec<f64> = match member.df {
        Some(nu) => (0..8).map(|k| chi_squared_quantile(nu, (f64::from(k) + 0.5) / 8.0) / nu).collect(),
        None => vec![1.0],
    };
    hidden
        .iter()
        .map(|h| {
            let last = kept.range(h.segment).last().map_or(0.0, |i| kept.hours[i]);
            let (now, then) = (member.clock.at(last), member.clock.at(last + h.ahead));
            let mut mixture = Vec::with_capacity(lines.len() * slices.len());
            for line in &lines {
                let o = line[h.segment].outlook(&member.problem.frame, member.problem.group[h.segment], now);
                let (mean, var) = o.at(then - now);
                mixture.extend(slices.iter().map(|u| (mean, (var + o.reading_var / u).sqrt())));
            }
            (mixture, h.value)
        })
        .collect()
}

/// A hidden reading: hours after its segment's last kept one.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Hidden {
    pub(crate) segment: usize,
    pub(crate) ahead: f64,
    pub(crate) value: f64,
}

impl Segments {
    /// Without the last `hide` readings of each segment that has more, and those readings.
    fn without_last(&self, hide: usize) -> (Self, Vec<Hidden>) {
        let mut kept = Self { hours: vec![], value: vec![], row: vec![], offset: vec![0], ..self.clone() };
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

fn score(mixture: &Mixture, y: f64) -> Score {
    let k = mixture.len() as f64;
    let pit = mixture.iter().map(|(m, s)| normal::cdf((y - m) / s)).sum::<f64>() / k;
    let density = mixture.iter().map(|(m, s)| normal::pdf((y - m) / s) / s).sum::<f64>() / k;
    let mean = mixture.iter().map(|(m, _)| m).sum::<f64>() / k;
    // Pairs grow as the square: an even choice of at most 64 components stands for more.
    let stride = mixture.len().div_ceil(64).max(1);
    let few: Vec<(f64, f64)> = mixture.iter().copied().step_by(stride).collect();
    let n = few.len() as f64;
    let a = |m: f64, s: f64| 2.0 * s * normal::pdf(m / s) + m * (2.0 * normal::cdf(m / s) - 1.0);
    let to_reading: f64 = few.iter().map(|(m, s)| a(y - m, *s)).sum::<f64>() / n;
    let among: f64 =
        few.iter().map(|(m, s)| few.iter().map(|(p, q)| a(m - p, s.hypot(*q))).sum::<f64>()).sum::<f64>() / (n * n);
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
        let s = score(&vec![(0.0, 1.0)], 0.0);
        assert!((s.crps - (2.0_f64.sqrt() - 1.0) / std::f64::consts::PI.sqrt()).abs() < 1e-15);
        assert!((s.pit - 0.5).abs() < 1e-15);
        assert!((s.log - 0.5 * (2.0 * std::f64::consts::PI).ln()).abs() < 1e-15);
        // A mixture of equal parts is the part.
        let m = score(&vec![(0.3, 2.0); 5], 1.0);
        let one = score(&vec![(0.3, 2.0)], 1.0);
        assert!((m.crps - one.crps).abs() < 1e-14 && (m.log - one.log).abs() < 1e-14);
    }
}
