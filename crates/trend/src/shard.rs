//! Forecasts shared out among machines: each forecasts the valves of its share of the engines, and all parts together make the result of the
//! whole run, to the byte.
//!
//! Every machine fits on all readings, or on their sums by segment, and so does the one that joins the parts: a fit comes to the same bits
//! everywhere, takes seconds, and a joined result then needs nothing from a part but what is dear, the chances and hours of crossing. A
//! part says which fit it rests on, and is refused by any other. Nothing is drawn at random by valve; what is drawn for the whole fleet
//! (the points over which the variances are averaged) comes from the seed alone.

use crate::error::TrendError;
use crate::forecast::{Chances, ForecastScope};
use crate::inspections::Inspections;
use crate::options::Options;
use crate::policy::Policy;
use crate::result::{FeatureResult, TrendResult, ValveForecast};
use crate::sums::{self, Sums};
use crate::verdict::ValveVerdict;
use crate::{run, segments};
pub use packdrift_numerics::shard::Shard;
use serde::{Deserialize, Serialize};
use std::collections::HashMap;

/// What is fitted.
#[derive(Debug, Clone, Copy)]
pub enum Records<'a> {
    /// Readings, as [`trend`](crate::trend) takes them.
    Readings(&'a Inspections),
    /// Their sums by segment, as [`trend_from_sums`](crate::trend_from_sums) takes them.
    Sums(&'a Sums),
}

impl Records<'_> {
    fn judged(self, scope: ForecastScope<'_>, options: &Options) -> Result<TrendResult, TrendError> {
        match self {
            Self::Readings(table) => run::judged(table, scope, options),
            Self::Sums(sums) => sums::judged(sums, scope, options),
        }
    }

    /// Engines of a feature's valves, in the order of the result.
    fn engines(self, feature: &FeatureResult) -> Vec<u32> {
        let valves = match self {
            Self::Readings(table) => &table.valves,
            Self::Sums(sums) => &sums.valves,
        };
        feature.valves.iter().map(|valve| valves[valve.valve_index as usize].0).collect()
    }
}

/// The forecasts of one share of the valves. It goes from machine to machine in any serde format: floating-point numbers are kept as their
/// bits, so that nothing is rounded on the way.
///
/// ```
/// # use packdrift_trend::{FeatureLimits, ForecastPart, Inspections, Options, Policy, Records, Shard, forecast_part, trend, trend_of_parts};
/// # let mut t = Inspections { features: vec!["f".into()], ..Inspections::default() };
/// # for e in 0..5_u32 { t.engines.push(format!("{e}")); t.valves.push((e, "1".into())); t.valves.push((e, "2".into())); }
/// # for k in 0..50_u32 {
/// #     let (v, i) = (k % 10, k / 10);
/// #     t.valve.push(v); t.day.push(i as i32); t.hours.push(500.0 * f64::from(i)); t.feature.push(0);
/// #     t.value.push(1.0 + 0.1 * f64::from(v % 3) + 0.01 * f64::from(i * (v % 4 + 1)) + 0.003 * f64::from((v * 3 + i * i * 2) % 5));
/// #     t.event.push(0); t.group.push(0);
/// # }
/// # let limits = FeatureLimits { upper: Some(1.6), ..FeatureLimits::default() };
/// # let policy = Policy { risk: 0.05, horizon: 2000.0, features: [("f".to_owned(), limits)].into(), ..Policy::default() };
/// # let options = Options::default();
/// let records = Records::Readings(&t);
/// let mut parts = Vec::new();
/// for k in 1..=3 {
///     let there = forecast_part(records, &policy, &options, Shard::new(k, 3).unwrap())?;
///     let letter = serde_json::to_string(&there).unwrap();
///     parts.push(serde_json::from_str::<ForecastPart>(&letter).unwrap());
/// }
/// let whole = trend(&t, Some(&policy), &options)?;
/// assert!(whole.features[0].valves[3].chance_by_horizon.is_some());
/// assert_eq!(trend_of_parts(records, &policy, &options, &parts)?, whole);
/// // A share that is missing, or made for another policy, is missed.
/// assert!(trend_of_parts(records, &policy, &options, &parts[1..]).is_err());
/// assert!(trend_of_parts(records, &Policy { horizon: 1.0, ..policy }, &options, &parts).is_err());
/// # Ok::<(), packdrift_trend::TrendError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ForecastPart {
    share: u64,
    of: u64,
    features: Vec<FeaturePart>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FeaturePart {
    feature: String,
    /// The fit's numbers and the policy's, as bits.
    rests_on: Vec<u64>,
    /// A valve each, in the order of the result; of it, an answer each: chance now, chance within the horizon, the latter's standard error,
    /// hours of crossing ahead of the last reading, as bits.
    valves: Vec<Vec<[Option<u64>; 6]>>,
}

/// The forecasts of a share of the engines' valves. [`Options::backtest`] and [`Options::series_up_to`] play no part in it.
///
/// # Errors
/// As [`trend`](crate::trend) or [`trend_from_sums`](crate::trend_from_sums).
pub fn forecast_part(
    records: Records<'_>,
    policy: &Policy,
    options: &Options,
    shard: Shard,
) -> Result<ForecastPart, TrendError> {
    let scope = ForecastScope::share(policy, shard);
    let result = records.judged(scope, &Options { backtest: 0, series_up_to: 0, ..options.clone() })?;
    let features = result.features.iter().filter(|f| is_judged(f)).map(|feature| {
        let range = segments::share(&records.engines(feature), shard);
        let valves = feature.valves[range].iter().map(answers).collect();
        FeaturePart { feature: feature.feature.clone(), rests_on: rests_on(feature, policy, options), valves }
    });
    Ok(ForecastPart { share: shard.index(), of: shard.of(), features: features.collect() })
}

/// The chances of a valve's answers, as bits.
fn answers(valve: &ValveForecast) -> Vec<[Option<u64>; 6]> {
    let ahead = |h: Option<f64>| h.map(|h| h - valve.hours);
    let bits = |x: Option<f64>| x.map(f64::to_bits);
    let of = |now: Option<f64>, within: Option<f64>, error: f64, hours: crate::CrossingHours| {
        [now, within, Some(error), ahead(hours.p05), ahead(hours.p50), ahead(hours.p95)].map(bits)
    };
    let verdict = valve.verdict.as_ref();
    match verdict.map(ValveVerdict::answers).filter(|a| !a.is_empty()) {
        Some(all) => all
            .iter()
            .map(|a| of(Some(a.chance_now), Some(a.chance_by_horizon), a.simulation_error, a.crossing_hours))
            .collect(),
        None => {
            let error = verdict.map_or(0.0, ValveVerdict::simulation_error);
            vec![of(valve.chance_now, valve.chance_by_horizon, error, valve.crossing_hours)]
        }
    }
}

/// The numbers again; None where one that must be there is not.
fn chances(bits: &[Option<u64>; 6]) -> Option<Chances> {
    let [now, within, error, p05, p50, p95] = bits.map(|bits| bits.map(f64::from_bits));
    Some(Chances { now: now?, within: within?, error: error?, crossing: [p05, p50, p95] })
}

/// What [`trend`](crate::trend) or [`trend_from_sums`](crate::trend_from_sums) gives, to the bit, with all forecasts taken from the parts.
///
/// # Errors
/// Theirs; [`TrendError::Parts`] with all that is wrong with the parts: a share that is missing or there twice, parts of runs cut otherwise,
/// of another fit or another policy.
pub fn trend_of_parts(
    records: Records<'_>,
    policy: &Policy,
    options: &Options,
    parts: &[ForecastPart],
) -> Result<TrendResult, TrendError> {
    let (shards, mut wrong) = whole(parts);
    let joined = joined(parts, &shards);
    let given = |feature: &str, place: usize, answer: usize| joined.get(feature)?.get(place)?.get(answer).copied();
    let result = records.judged(ForecastScope::given(policy, &given), options)?;
    for feature in result.features.iter().filter(|f| is_judged(f)) {
        let (engines, expected) = (records.engines(feature), rests_on(feature, policy, options));
        for (part, shard) in parts.iter().zip(&shards) {
            let which = format!("share {} of {}, {}", part.share, part.of, feature.feature);
            let range = segments::share(&engines, *shard);
            match part.features.iter().find(|f| f.feature == feature.feature) {
                None => wrong.push(format!("{which}: it is not there")),
                Some(own) if own.rests_on != expected => wrong.push(format!(
                    "{which}: it rests on another fit, another day or other limits (a log-likelihood of {}, here {})",
                    likelihood(&own.rests_on),
                    likelihood(&expected)
                )),
                Some(own) if own.valves.len() != range.len() => {
                    wrong.push(format!("{which}: {} valves, expected {}", own.valves.len(), range.len()));
                }
                Some(_) if feature.valves[range].iter().any(|v| v.verdict.is_none()) => {
                    wrong.push(format!("{which}: a valve without chances"));
                }
                Some(own) => {
                    let mut all = own.valves.iter().flatten().filter_map(chances);
                    if let Some(why) = all.find_map(|c| impossible(&c)) {
                        wrong.push(format!("{which}: {why}"));
                    }
                }
            }
        }
    }
    if wrong.is_empty() { Ok(result) } else { Err(TrendError::Parts(wrong)) }
}

/// Why a valve's forecasts cannot be: a chance is one from 0 to 1, hours are numbers in the order of their quantiles.
fn impossible(c: &Chances) -> Option<String> {
    // Not a number stands for what could not be worked out, and reassures nobody.
    if let Some(x) = [c.now, c.within].into_iter().find(|x| *x < 0.0 || *x > 1.0) {
        return Some(format!("{x} for a chance"));
    }
    let hours: Vec<f64> = c.crossing.into_iter().flatten().collect();
    (hours.iter().any(|h| !h.is_finite()) || !hours.is_sorted()).then(|| format!("{hours:?} for hours of crossing"))
}

/// By feature the chances of all valves, shares in order.
fn joined(parts: &[ForecastPart], shards: &[Shard]) -> HashMap<String, Vec<Vec<Chances>>> {
    let mut order: Vec<(&Shard, &ForecastPart)> = shards.iter().zip(parts).collect();
    order.sort_by_key(|(shard, _)| shard.index());
    let mut out: HashMap<String, Vec<Vec<Chances>>> = HashMap::new();
    for (_, part) in order {
        for feature in &part.features {
            let own = feature.valves.iter().map(|answers| answers.iter().filter_map(chances).collect());
            out.entry(feature.feature.clone()).or_default().extend(own);
        }
    }
    out
}

/// Whether a feature's valves have chances.
fn is_judged(feature: &FeatureResult) -> bool {
    feature.model.is_some() && feature.limits.as_ref().is_some_and(|l| l.lower.is_some() || l.upper.is_some())
}

/// Each part's share, and what keeps them from being a whole.
fn whole(parts: &[ForecastPart]) -> (Vec<Shard>, Vec<String>) {
    let mut wrong = Vec::new();
    let shards: Vec<Shard> = parts.iter().filter_map(|part| Shard::new(part.share, part.of)).collect();
    let Some(first) = shards.first().filter(|_| shards.len() == parts.len()) else {
        return (Vec::new(), vec!["there are no shares, or one of them is of no number".to_owned()]);
    };
    let of = first.of();
    for shard in shards.iter().filter(|shard| shard.of() != of) {
        wrong.push(format!("share {} is of {}, the first of {of}", shard.index(), shard.of()));
    }
    let mut there = vec![0; of as usize];
    for shard in shards.iter().filter(|shard| shard.of() == of) {
        there[shard.index() as usize - 1] += 1;
    }
    let named = |count: &dyn Fn(usize) -> bool| {
        let shares: Vec<String> =
            there.iter().zip(1..).filter(|(n, _)| count(**n)).map(|(_, k): (_, usize)| k.to_string()).collect();
        shares.join(", ")
    };
    if there.contains(&0) {
        wrong.push(format!("of {of} shares these are missing: {}", named(&|n| n == 0)));
    }
    if there.iter().any(|n| *n > 1) {
        wrong.push(format!("of {of} shares these are there more than once: {}", named(&|n| n > 1)));
    }
    (shards, wrong)
}

/// All that the forecasts of a feature depend on beside the readings: the numbers of the fit, log-likelihood first, and the policy's.
fn rests_on(feature: &FeatureResult, policy: &Policy, options: &Options) -> Vec<u64> {
    let limits = feature.limits.as_ref();
    let mut numbers = Vec::new();
    if let Some(m) = &feature.model {
        numbers.extend([m.log_likelihood.unwrap_or(f64::NAN), m.intercept, m.slope, m.intercept_se, m.slope_se]);
        numbers.extend([m.sd_intercept, m.sd_slope, m.corr, m.sd_wander, m.sd_reading]);
        numbers.extend(m.groups.iter().flat_map(|g| [g.intercept, g.slope]));
        let carried = [feature.wander_carried, feature.valve_slope_carried];
        for more in
            [m.sd_engine_slope, m.sd_valve_slope, m.reading_df, m.power, m.power_hours].into_iter().chain(carried)
        {
            numbers.push(more.unwrap_or(f64::NAN));
        }
        if let Some(g) = m.gamma {
            numbers.extend([g.shape_per_hour, g.scale, g.rate_cv]);
        }
    }
    numbers.extend(feature.compared.iter().map(|c| c.weight));
    numbers.extend([feature.diagnostics.average_points as f64, feature.diagnostics.average_effective]);
    numbers.extend([feature.rows as f64, feature.segments as f64, feature.valves.len() as f64]);
    numbers.push(policy.horizon);
    numbers.push(options.today.map_or(f64::NAN, f64::from));
    numbers.extend(policy.usage.values().copied().chain(policy.usage_default));
    for limit in [limits.and_then(|l| l.lower), limits.and_then(|l| l.upper)] {
        numbers.push(limit.unwrap_or(f64::NAN));
    }
    numbers.into_iter().map(f64::to_bits).collect()
}

fn likelihood(rests_on: &[u64]) -> f64 {
    rests_on.first().copied().map_or(f64::NAN, f64::from_bits)
}
