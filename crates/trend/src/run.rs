//! The whole job over a table: every feature cut, fitted, forecast and judged.

use crate::auto::{Choice, choose, fit_any};
use crate::average::{Average, average, plug_in};
use crate::backtest::backtest_of;
use crate::clean::{CLEAN_UP_TO, Cleaned, Whole, clean};
use crate::crossing::Zone;
use crate::error::TrendError;
use crate::family::{Member, Spec};
use crate::fit::Unfit;
use crate::forecast::{Cases, Judging, Names, add_series, fleet, forecasts, without_forecast};
use crate::gamma::{self, wear};
use crate::inspections::Inspections;
use crate::options::{ModelChoice, Options, ReadingErrors};
use crate::policy::Policy;
use crate::result::{
    Diagnostics, FeatureResult, FitStatus, LeftOut, ModelKind, SuspectedReading, TrendResult, TrendWarning,
    ValveForecast,
};
use crate::robust::detect::Outlier;
use crate::segments::{Segments, cut, line_of, validate};

/// Fits a wear model to every feature and forecasts every valve.
///
/// Without a policy there are fits, levels and slopes, but no chances and no status. The result depends on the table, the policy and the
/// options alone, never on the number of threads.
///
/// # Errors
/// [`TrendError`] where the table or the policy cannot be used at all; what concerns one feature is a [`FitStatus`] of its result.
///
/// # Examples
///
/// ```
/// use packdrift_trend::{Inspections, ModelChoice, Options, trend};
/// // Three valves of one engine, read four times: 1.00, 1.01, 1.02 mm at first, drifting 0.02 mm in 1000 h.
/// let mut t = Inspections {
///     engines: vec!["P1".into()],
///     valves: vec![(0, "1 intake".into()), (0, "1 exhaust".into()), (0, "2 intake".into())],
///     features: vec!["contact_offset".into()],
///     ..Inspections::default()
/// };
/// let error = [0.001, -0.002, 0.002, -0.001, 0.0, 0.001, -0.001, 0.002, -0.002, 0.001, 0.0, -0.001];
/// for k in 0..12_u32 {
///     let (valve, visit) = (k % 3, k / 3);
///     t.valve.push(valve);
///     t.day.push(180 * visit as i32);
///     t.hours.push(1000.0 * f64::from(visit));
///     t.feature.push(0);
///     t.value.push(1.0 + 0.01 * f64::from(valve) + 0.02 * f64::from(visit) + error[k as usize]);
///     t.event.push(0);
///     t.group.push(0);
/// }
/// let options = Options { model: ModelChoice::RandomSlope, ..Options::default() };
/// let result = trend(&t, None, &options)?;
/// let model = result.features[0].model.as_ref().unwrap();
/// assert!((model.slope - 2e-5).abs() < 2e-6);
/// assert!((result.features[0].valves[2].level - 1.08).abs() < 0.005);
/// # Ok::<(), packdrift_trend::TrendError>(())
/// ```
pub fn trend(table: &Inspections, policy: Option<&Policy>, options: &Options) -> Result<TrendResult, TrendError> {
    judged(table, Judging::all(policy), options)
}

/// [`trend`], with some valves' chances left out.
pub(crate) fn judged(table: &Inspections, judging: Judging<'_>, options: &Options) -> Result<TrendResult, TrendError> {
    let policy = judging.policy;
    validate(table)?;
    check_options(options)?;
    if let Some(policy) = policy {
        check_policy(policy)?;
    }
    let mut out =
        TrendResult { features: Vec::new(), rows: table.value.len(), left_out: Vec::new(), warnings: Vec::new() };
    for feature in 0..table.features.len() as u32 {
        let segments = cut(table, feature, &[], &[])?;
        if !segments.not_finite.is_empty() {
            out.left_out.push(left_out(table, "the reading or its hours is not a finite number", &segments.not_finite));
        }
        if segments.readings() == 0 {
            continue;
        }
        let tested = if options.backtest > 0 {
            backtest_of(&segments, known_sd_of(policy, table, feature), options, options.backtest)
        } else {
            Vec::new()
        };
        let mut one = feature_result(table, feature, segments, judging, options, &mut out.left_out, &mut out.warnings)?;
        one.backtest = tested;
        warnings_of(&one, policy, table, &mut out.warnings);
        out.features.push(one);
    }
    no_readings(policy, &out.features, &mut out.warnings);
    Ok(out)
}

/// The reading error that the policy gives for a feature.
pub(crate) fn known_sd_of(policy: Option<&Policy>, table: &Inspections, feature: u32) -> Option<f64> {
    policy?.features.get(table.features.get(feature as usize)?)?.reading_sd
}

/// Warnings of limits that meet no reading.
pub(crate) fn no_readings(policy: Option<&Policy>, features: &[FeatureResult], warnings: &mut Vec<TrendWarning>) {
    for name in policy.iter().flat_map(|p| p.features.keys()) {
        if !features.iter().any(|f| &f.feature == name) {
            warnings.push(TrendWarning::NoReadings { feature: name.clone() });
        }
    }
}

pub(crate) fn left_out(table: &Inspections, reason: &str, rows: &[u32]) -> LeftOut {
    LeftOut {
        reason: reason.to_owned(),
        rows: rows.len(),
        first_lines: rows.iter().take(5).map(|r| line_of(table, *r)).collect(),
    }
}

pub(crate) fn check_policy(policy: &Policy) -> Result<(), TrendError> {
    let bad = |what: String, value: f64, expected: &'static str| Err(TrendError::Policy { what, value, expected });
    if !(policy.risk > 0.0 && policy.risk < 1.0) {
        return bad("risk".into(), policy.risk, "a chance between 0 and 1");
    }
    if !(policy.horizon > 0.0 && policy.horizon.is_finite()) {
        return bad("horizon".into(), policy.horizon, "hours above 0");
    }
    for (name, limits) in &policy.features {
        for (key, value) in [("lower", limits.lower), ("upper", limits.upper)] {
            if let Some(v) = value
                && !v.is_finite()
            {
                return bad(format!("feature.{name}.{key}"), v, "a finite number");
            }
        }
        if let (Some(l), Some(u)) = (limits.lower, limits.upper)
            && l >= u
        {
            return bad(format!("feature.{name}.lower"), l, "a limit below `upper`");
        }
        if let Some(sd) = limits.reading_sd
            && !(sd > 0.0 && sd.is_finite())
        {
            return bad(format!("feature.{name}.reading_sd"), sd, "a standard deviation above 0");
        }
    }
    Ok(())
}

pub(crate) fn check_options(options: &Options) -> Result<(), TrendError> {
    if options.model == ModelChoice::Gamma {
        if options.engine_slope == Some(true) {
            return Err(TrendError::Option {
                option: "an engine slope",
                model: "gamma",
                reason: "a gamma process has no lines to share a slope",
            });
        }
        if options.valve_slope == Some(true) {
            return Err(TrendError::Option {
                option: "a valve slope",
                model: "gamma",
                reason: "a gamma process has no lines to keep a slope",
            });
        }
    }
    Ok(())
}

/// What a fit of one feature comes to before forecasts.
pub(crate) struct Fit {
    pub(crate) member: Member,
    pub(crate) average: Average,
    /// Levels and slopes and their errors are the average's too, not the fitted point's alone.
    pub(crate) averaged_errors: bool,
}

/// The member that a choice by name means.
pub(crate) fn spec_of(choice: ModelChoice, options: &Options) -> Spec {
    let kind = match choice {
        ModelChoice::Wiener => ModelKind::Wiener,
        ModelChoice::RunningIn => ModelKind::RunningIn,
        ModelChoice::Gamma => ModelKind::Gamma,
        ModelChoice::Auto | ModelChoice::RandomSlope => ModelKind::RandomSlope,
    };
    Spec {
        engine: options.engine_slope == Some(true),
        valve: options.valve_slope == Some(true),
        heavy: options.reading_errors == ReadingErrors::Heavy,
        ..Spec::plain(kind)
    }
}

/// Averages over the variances where the fleet is small enough for it to matter.
pub(crate) fn averaged(member: &Member, options: &Options) -> Average {
    if member.problem.segments() > options.average_up_to {
        return plug_in(&member.fitted);
    }
    let sigma_free = member.sigma_estimated || member.fitted.shape.known_sd.is_none();
    average(&member.problem, &member.fitted, member.full, sigma_free, options.average_points, options.seed)
}

/// Enters that there is no fit. Where the policy has limits its valves are judged by what was read alone.
pub(crate) fn refused(
    feature: &mut FeatureResult,
    names: Names<'_>,
    cases: &Cases,
    policy: Option<&Policy>,
    unfit: Unfit,
) {
    if feature.has_limits() {
        let zone = feature.limits.as_ref().and_then(Zone::of);
        feature.valves = without_forecast(names, cases, zone, policy, &unfit.reason);
    }
    feature.diagnostics.status = unfit.status;
    feature.diagnostics.reason = unfit.reason;
}

/// An empty result of a feature, to be filled.
pub(crate) fn blank(feature: &str, cases: &Cases, policy: Option<&Policy>, options: &Options) -> FeatureResult {
    FeatureResult {
        feature: feature.to_owned(),
        limits: policy.and_then(|p| p.features.get(feature)).cloned(),
        method: options.estimator.name(),
        rows: cases.readings.iter().map(|n| *n as usize).sum(),
        valves_count: cases.current.iter().filter(|c| **c).count(),
        segments: cases.valve.len(),
        engines: cases.engine.chunk_by(|a, b| a == b).count(),
        diagnostics: Diagnostics {
            status: FitStatus::Ok,
            reason: String::new(),
            evaluations: 0,
            newton_decrement: 0.0,
            average_points: 1,
            average_effective: 1.0,
        },
        model: None,
        compared: Vec::new(),
        valves: Vec::new(),
        wander_carried: None,
        valve_slope_carried: None,
        backtest: Vec::new(),
        fleet: Vec::new(),
        suspected: Vec::new(),
        steps: Vec::new(),
        faulty_days: Vec::new(),
    }
}

/// Fills in model, forecasts and fleet prospects of a fit.
pub(crate) fn fill(out: &mut FeatureResult, names: Names<'_>, cases: &Cases, fit: &Fit, judging: Judging<'_>) {
    let Fit { member, average, .. } = fit;
    out.diagnostics = Diagnostics {
        status: member.fitted.status,
        reason: member.fitted.reason.clone(),
        evaluations: member.fitted.evaluations,
        newton_decrement: member.fitted.decrement,
        average_points: average.points.len(),
        average_effective: average.effective,
    };
    out.model = Some(member.model(&cases.group_names));
    let zone = out.limits.as_ref().and_then(Zone::of);
    out.valves = forecasts(names, cases, fit, zone, judging);
    out.fleet = fleet(cases, member, average, zone);
}

fn feature_result(
    table: &Inspections,
    feature: u32,
    mut segments: Segments,
    judging: Judging<'_>,
    options: &Options,
    left: &mut Vec<LeftOut>,
    warnings: &mut Vec<TrendWarning>,
) -> Result<FeatureResult, TrendError> {
    let policy = judging.policy;
    let name = &table.features[feature as usize];
    let names = Names { engines: &table.engines, valves: &table.valves };
    let limits = policy.and_then(|p| p.features.get(name));
    let known_sd = limits.and_then(|l| l.reading_sd);
    let note = |text: &str| TrendWarning::Note { feature: name.clone(), text: text.to_owned() };

    let auto = options.model == ModelChoice::Auto;
    let asked = options.reading_errors == ReadingErrors::Heavy;
    let mut cleaned = Cleaned::default();
    if asked || (auto && options.reading_errors == ReadingErrors::ByModel) {
        if asked || segments.len() <= CLEAN_UP_TO {
            cleaned = clean(table, feature, &mut segments, options, known_sd, left)?;
        } else {
            warnings.push(note(
                "the fleet is large, so bad readings, jumps and faulty days were not looked for; ask for heavy-tailed reading errors to do so",
            ));
        }
    }
    let (spec, carrier, compared, worn) = if auto {
        let choice = choose(&segments, options, known_sd);
        let bic = |c: &Choice| c.compared.iter().find(|line| line.chosen).and_then(|line| line.bic);
        let cut_at_jumps = bic(&choice);
        // A jump costs two parameters: where it was and how large.
        let price = 2.0 * cleaned.steps.len() as f64 * (segments.readings() as f64).ln();
        let mut uncut = None;
        let whole = |whole: &Segments| {
            let other = choose(whole, options, known_sd);
            let preferred = bic(&other).zip(cut_at_jumps).is_none_or(|(without, with)| without < with + price);
            let fit = other.gamma.clone();
            uncut = Some(other);
            fit.map(|fit| Whole { fit, preferred })
        };
        let choice = match cleaned.judge(table, feature, known_sd, whole)? {
            Some((judged, _)) => {
                segments = judged;
                // Where no jump stands the segments are those compared just now.
                uncut.filter(|_| cleaned.steps.is_empty()).unwrap_or_else(|| choose(&segments, options, known_sd))
            }
            None => choice,
        };
        if choice.sampled {
            warnings
                .push(note("the models were compared on an even choice of engines; the one chosen was fitted to all"));
        }
        let spec = Spec { heavy: choice.spec.heavy || asked, ..choice.spec };
        // Asked for, heavy tails stand even where BIC would do without.
        let carrier = choice.carrier.map(|c| Spec { heavy: spec.heavy, ..c });
        (spec, carrier, choice.compared, choice.gamma.filter(|_| spec == choice.spec))
    } else {
        (spec_of(options.model, options), None, Vec::new(), None)
    };

    let mut worn = worn;
    if !auto && spec.kind == ModelKind::Gamma {
        let whole =
            |whole: &Segments| gamma::fit(whole, known_sd, spec.heavy).ok().map(|fit| Whole { fit, preferred: true });
        if let Some((judged, fit)) = cleaned.judge(table, feature, known_sd, whole)? {
            (segments, worn) = (judged, Some(fit));
        }
    }

    let mut cases = Cases::of(&segments);
    cases.read(table, &segments, &[]);
    let mut out = blank(name, &cases, policy, options);
    out.compared = compared;
    out.steps = std::mem::take(&mut cleaned.steps);
    out.faulty_days = cleaned.days;
    if spec.kind == ModelKind::Gamma {
        match worn.map_or_else(|| gamma::fit(&segments, known_sd, spec.heavy), Ok) {
            Ok(fit) => {
                cases.read(table, &segments, &fit.weights(&segments));
                wear::fill(&mut out, table, names, &cases, &segments, &fit, judging, options);
                // Found under another model: those count that this one doubts too.
                let weights = fit.weights(&segments);
                cleaned.outliers.retain(|o| weights.get(o.at).is_some_and(|w| *w < 0.5));
                out.suspected = suspected(table, &segments, &weights, &cleaned.outliers);
            }
            Err(unfit) => refused(&mut out, names, &cases, policy, unfit),
        }
        return Ok(out);
    }
    match fit_any(&segments, spec, options.estimator, known_sd) {
        Ok(member) => {
            let reported = member.model(&cases.group_names);
            let carrier = carrier.and_then(|c| fit_any(&segments, c, options.estimator, known_sd).ok());
            let diagnostics = carrier.is_some().then(|| member.fitted.clone());
            let member = carrier.unwrap_or(member);
            let carried = member.spec;
            let average = averaged(&member, options);
            cases.read(table, &segments, &member.weight);
            let fit = Fit { member, average, averaged_errors: auto };
            fill(&mut out, names, &cases, &fit, judging);
            if let Some(fitted) = diagnostics {
                let model = out.model.as_ref();
                out.wander_carried = model.filter(|_| carried.carried).map(|m| m.sd_wander);
                out.valve_slope_carried = model.filter(|_| carried.valve && !spec.valve).and_then(|m| m.sd_valve_slope);
                out.diagnostics.status = fitted.status;
                out.diagnostics.reason = fitted.reason;
                out.diagnostics.evaluations = fitted.evaluations;
                out.diagnostics.newton_decrement = fitted.decrement;
                out.model = Some(reported);
            }
            out.suspected = suspected(table, &segments, &fit.member.weight, &cleaned.outliers);
            if out.valves.len() <= options.series_up_to {
                let horizon = policy.map(|p| p.horizon);
                add_series(&mut out.valves, table, &segments, &fit.member.weight, &fit.member, &fit.average, horizon);
            }
        }
        Err(unfit) => refused(&mut out, names, &cases, policy, unfit),
    }
    Ok(out)
}

fn suspected(table: &Inspections, segments: &Segments, weights: &[f64], found: &[Outlier]) -> Vec<SuspectedReading> {
    found
        .iter()
        .map(|o| {
            let row = segments.row[o.at] as usize;
            let (engine, valve) = &table.valves[segments.valve[o.segment] as usize];
            SuspectedReading {
                engine: table.engines[*engine as usize].clone(),
                valve: valve.clone(),
                line: line_of(table, row as u32),
                day: table.day[row],
                hours: table.hours[row],
                value: table.value[row],
                expected: o.expected,
                standardised: o.standardised,
                weight: weights.get(o.at).copied().unwrap_or(1.0),
            }
        })
        .collect()
}

/// What the reader must know of one feature's result.
pub(crate) fn warnings_of(
    result: &FeatureResult,
    policy: Option<&Policy>,
    table: &Inspections,
    warnings: &mut Vec<TrendWarning>,
) {
    let feature = || result.feature.clone();
    if result.model.is_none() {
        warnings.push(TrendWarning::NotFitted { feature: feature(), reason: result.diagnostics.reason.clone() });
        return;
    }
    if result.diagnostics.status == FitStatus::Boundary {
        warnings.push(TrendWarning::Boundary { feature: feature(), reason: result.diagnostics.reason.clone() });
    } else if !result.diagnostics.reason.is_empty() {
        warnings.push(TrendWarning::Note { feature: feature(), text: result.diagnostics.reason.clone() });
    }
    if policy.is_some() && result.limits.is_none() {
        warnings.push(TrendWarning::NoLimits { feature: feature() });
    }
    if result.segments < 10 {
        warnings.push(TrendWarning::SmallFleet { feature: feature(), segments: result.segments });
    }
    if !result.suspected.is_empty() {
        warnings.push(TrendWarning::Suspected { feature: feature(), readings: result.suspected.len() });
    }
    if !result.steps.is_empty() {
        warnings.push(TrendWarning::Steps { feature: feature(), steps: result.steps.len() });
    }
    if !result.faulty_days.is_empty() {
        warnings.push(TrendWarning::FaultyDays { feature: feature(), days: result.faulty_days.len() });
    }
    let valves = stale(&result.valves, table);
    if valves > 0 {
        warnings.push(TrendWarning::NotReadLately { feature: feature(), valves });
    }
}

/// Valves whose last reading is earlier on the meter than their engine's last, of the same feature.
fn stale(valves: &[ValveForecast], table: &Inspections) -> usize {
    let engine = |v: &ValveForecast| table.valves.get(v.valve_index as usize).map(|v| v.0);
    valves
        .chunk_by(|a, b| engine(a) == engine(b))
        .map(|run| {
            let latest = run.iter().map(|v| v.hours).fold(f64::NEG_INFINITY, f64::max);
            // A reading after the work of the same visit may stand some hours later.
            run.iter().filter(|v| v.hours < latest - 24.0).count()
        })
        .sum()
}
