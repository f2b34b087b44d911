//! The trend as JSON, documented in docs/results.md. It is written valve by valve, in the table's order.

use crate::envelope::{Document, Envelope};
use packdrift_trend::{
    Answer, BacktestModel, Compared, CrossingHours, FaultyDay, FeatureLimits, FeatureResult, LeftOut, Model,
    NewestReading, StepChange, SuspectedReading, TrendResult, ValveForecast, ValveVerdict,
};
use rayon::prelude::{ParallelIterator, ParallelSlice};
use serde::{Serialize, Serializer};
use std::io::{self, Write};

/// The trend under its envelope; serialise it with `serde_json`, which writes null for what is not finite.
pub fn json<'a>(envelope: &'a Envelope, result: &'a TrendResult) -> Document<'a, impl Serialize + 'a> {
    let features = result.features.iter().map(Form::form).collect();
    envelope.around(Trend {
        today: result.today.map(crate::calendar::iso),
        rows: result.rows,
        left_out: List(&result.left_out),
        features,
    })
}

/// Writes what `serde_json` makes of [`json`], to the byte, with the valves rendered on all threads: of a large fleet they are nearly all of
/// the document.
///
/// # Errors
/// Those of `out`.
pub fn write_json(out: &mut dyn Write, envelope: &Envelope, result: &TrendResult) -> io::Result<()> {
    let features = result.features.iter().map(|feature| FeatureForm { valves: List(&[]), ..feature.form() }).collect();
    let rest = envelope.around(Trend {
        today: result.today.map(crate::calendar::iso),
        rows: result.rows,
        left_out: List(&result.left_out),
        features,
    });
    let rest = serde_json::to_string(&rest)?;
    // Quotes within a text are escaped, so that this can be nothing but a feature's list.
    let mut between = rest.split("\"valves\":[]");
    out.write_all(between.next().unwrap_or_default().as_bytes())?;
    for (feature, after) in result.features.iter().zip(between) {
        out.write_all(b"\"valves\":[")?;
        write_valves(out, &feature.valves)?;
        out.write_all(b"]")?;
        out.write_all(after.as_bytes())?;
    }
    Ok(())
}

/// Valves rendered at a time, of half a kilobyte each: the text of a large fleet never stands in memory whole.
const AT_A_TIME: usize = 4096;
/// Valves in a piece of text: more than a buffer before the output holds, so that it is not copied once more.
const PIECE: usize = 256;

/// While some are written, the next are rendered.
fn write_valves(out: &mut dyn Write, valves: &[ValveForecast]) -> io::Result<()> {
    let mut coming = valves.chunks(AT_A_TIME);
    let mut texts: Vec<serde_json::Result<Vec<u8>>> = Vec::new();
    let mut next = coming.next();
    let mut first = true;
    while next.is_some() || !texts.is_empty() {
        let ready = std::mem::take(&mut texts);
        let rendered = &mut texts;
        rayon::in_place_scope(|scope| {
            if let Some(valves) = next {
                scope.spawn(|_| *rendered = valves.par_chunks(PIECE).map(text).collect());
            }
            ready.into_iter().try_for_each(|text| {
                if !std::mem::take(&mut first) {
                    out.write_all(b",")?;
                }
                out.write_all(&text?)
            })
        })?;
        next = coming.next();
    }
    Ok(())
}

/// Valves in a row, with commas between them.
fn text(valves: &[ValveForecast]) -> serde_json::Result<Vec<u8>> {
    let mut text = Vec::with_capacity(512 * valves.len());
    for (k, valve) in valves.iter().enumerate() {
        if k > 0 {
            text.push(b',');
        }
        serde_json::to_writer(&mut text, &valve.form())?;
    }
    Ok(text)
}

/// A slice written through the JSON form of its items.
struct List<'a, T>(&'a [T]);

/// The JSON form of a result type.
trait Form {
    type Shape<'a>: Serialize
    where
        Self: 'a;
    fn form(&self) -> Self::Shape<'_>;
}

impl<T: Form> Serialize for List<'_, T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.0.iter().map(Form::form))
    }
}

#[derive(Serialize)]
struct Trend<'a> {
    /// Null: each valve as of its own last reading.
    today: Option<String>,
    rows: usize,
    left_out: List<'a, LeftOut>,
    features: Vec<FeatureForm<'a>>,
}

#[derive(Serialize)]
struct LeftOutForm<'a> {
    reason: &'a str,
    rows: usize,
    first_lines: &'a [u32],
}

impl Form for LeftOut {
    type Shape<'a> = LeftOutForm<'a>;
    fn form(&self) -> LeftOutForm<'_> {
        LeftOutForm { reason: &self.reason, rows: self.rows, first_lines: &self.first_lines }
    }
}

#[derive(Serialize)]
struct FeatureForm<'a> {
    feature: &'a str,
    unit: Option<&'a str>,
    lower: Option<f64>,
    upper: Option<f64>,
    method: &'static str,
    rows: usize,
    valve_count: usize,
    segments: usize,
    engines: usize,
    fit: FitForm<'a>,
    model: Option<ModelForm<'a>>,
    /// Where forecasts allow for a wander that the model was not granted: its estimate.
    wander_carried: Option<f64>,
    valve_slope_carried: Option<f64>,
    compared: List<'a, Compared>,
    /// Only where a backtest was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    backtest: Option<List<'a, BacktestModel>>,
    suspected: List<'a, SuspectedReading>,
    steps: List<'a, StepChange>,
    faulty_days: List<'a, FaultyDay>,
    valves: List<'a, ValveForecast>,
}

#[derive(Serialize)]
struct FitForm<'a> {
    status: &'static str,
    reason: &'a str,
    evaluations: usize,
    newton_decrement: f64,
    average_points: usize,
    average_effective: f64,
}

impl Form for FeatureResult {
    type Shape<'a> = FeatureForm<'a>;
    fn form(&self) -> FeatureForm<'_> {
        let limits: Option<&FeatureLimits> = self.limits.as_ref();
        FeatureForm {
            feature: &self.feature,
            unit: limits.map(|l| l.unit.as_str()).filter(|u| !u.is_empty()),
            lower: limits.and_then(|l| l.lower),
            upper: limits.and_then(|l| l.upper),
            method: self.method,
            rows: self.rows,
            valve_count: self.valves_count,
            segments: self.segments,
            engines: self.engines,
            fit: FitForm {
                status: self.diagnostics.status.name(),
                reason: &self.diagnostics.reason,
                evaluations: self.diagnostics.evaluations,
                newton_decrement: self.diagnostics.newton_decrement,
                average_points: self.diagnostics.average_points,
                average_effective: self.diagnostics.average_effective,
            },
            model: self.model.as_ref().map(ModelForm::new),
            wander_carried: self.wander_carried,
            valve_slope_carried: self.valve_slope_carried,
            compared: List(&self.compared),
            backtest: (!self.backtest.is_empty()).then_some(List(&self.backtest)),
            suspected: List(&self.suspected),
            steps: List(&self.steps),
            faulty_days: List(&self.faulty_days),
            valves: List(&self.valves),
        }
    }
}

#[derive(Serialize)]
struct ModelForm<'a> {
    kind: &'static str,
    intercept: f64,
    slope: f64,
    intercept_se: f64,
    slope_se: f64,
    sd_intercept: f64,
    sd_slope: f64,
    corr: f64,
    sd_wander: f64,
    sd_reading: f64,
    sd_visit: Option<f64>,
    sd_engine_slope: Option<f64>,
    sd_valve_slope: Option<f64>,
    reading_df: Option<f64>,
    power: Option<f64>,
    power_hours: Option<f64>,
    growth: Option<GrowthForm>,
    gamma: Option<GammaForm>,
    log_likelihood: Option<f64>,
    parameters: usize,
    groups: Vec<GroupForm<'a>>,
}

#[derive(Serialize)]
struct GrowthForm {
    median: f64,
    ci95: [f64; 2],
}

#[derive(Serialize)]
struct GammaForm {
    shape_per_hour: f64,
    scale: f64,
    rate_cv: f64,
}

#[derive(Serialize)]
struct GroupForm<'a> {
    group: &'a str,
    segments: usize,
    intercept: f64,
    intercept_se: f64,
    slope: f64,
    slope_se: f64,
}

impl<'a> ModelForm<'a> {
    fn new(model: &'a Model) -> Self {
        Self {
            kind: model.kind.name(),
            intercept: model.intercept,
            slope: model.slope,
            intercept_se: model.intercept_se,
            slope_se: model.slope_se,
            sd_intercept: model.sd_intercept,
            sd_slope: model.sd_slope,
            corr: model.corr,
            sd_wander: model.sd_wander,
            sd_reading: model.sd_reading,
            sd_visit: model.sd_visit,
            sd_engine_slope: model.sd_engine_slope,
            sd_valve_slope: model.sd_valve_slope,
            reading_df: model.reading_df,
            power: model.power,
            power_hours: model.power_hours,
            growth: model.growth.map(|g| GrowthForm { median: g.median, ci95: [g.low, g.high] }),
            gamma: model.gamma.map(|g| GammaForm {
                shape_per_hour: g.shape_per_hour,
                scale: g.scale,
                rate_cv: g.rate_cv,
            }),
            log_likelihood: model.log_likelihood,
            parameters: model.parameters,
            groups: model
                .groups
                .iter()
                .map(|g| GroupForm {
                    group: &g.group,
                    segments: g.segments,
                    intercept: g.intercept,
                    intercept_se: g.intercept_se,
                    slope: g.slope,
                    slope_se: g.slope_se,
                })
                .collect(),
        }
    }
}

#[derive(Serialize)]
struct ComparedForm<'a> {
    model: &'a str,
    kind: &'static str,
    log_likelihood: Option<f64>,
    parameters: usize,
    bic: Option<f64>,
    chosen: bool,
    weight: f64,
    note: &'a str,
}

impl Form for Compared {
    type Shape<'a> = ComparedForm<'a>;
    fn form(&self) -> ComparedForm<'_> {
        ComparedForm {
            model: &self.model,
            kind: self.kind.name(),
            log_likelihood: self.log_likelihood,
            parameters: self.parameters,
            bic: self.bic,
            chosen: self.chosen,
            weight: self.weight,
            note: &self.note,
        }
    }
}

#[derive(Serialize)]
struct BacktestForm<'a> {
    model: &'a str,
    forecasts: usize,
    /// Share inside the central interval of each nominal share; null without a forecast.
    coverage: Option<CoverageForm>,
    coverage_se: Option<CoverageForm>,
    pit: Option<&'a [usize; 10]>,
    crps: Option<f64>,
    log_score: Option<f64>,
    rmse: Option<f64>,
    note: &'a str,
}

#[derive(Serialize)]
struct CoverageForm {
    #[serde(rename = "0.5")]
    half: f64,
    #[serde(rename = "0.8")]
    most: f64,
    #[serde(rename = "0.95")]
    nearly: f64,
}

impl From<[f64; 3]> for CoverageForm {
    fn from([half, most, nearly]: [f64; 3]) -> Self {
        Self { half, most, nearly }
    }
}

impl Form for BacktestModel {
    type Shape<'a> = BacktestForm<'a>;
    fn form(&self) -> BacktestForm<'_> {
        let scores = self.scores.as_ref();
        BacktestForm {
            model: &self.model,
            forecasts: self.forecasts,
            coverage: scores.map(|s| [s.coverage50, s.coverage80, s.coverage95].into()),
            coverage_se: scores.map(|s| s.coverage_se.into()),
            pit: scores.map(|s| &s.pit),
            crps: scores.map(|s| s.crps),
            log_score: scores.map(|s| s.log_score),
            rmse: scores.map(|s| s.rmse),
            note: &self.note,
        }
    }
}

#[derive(Serialize)]
struct SuspectedForm<'a> {
    engine: &'a str,
    valve: &'a str,
    line: u32,
    date: String,
    hours: f64,
    value: f64,
    expected: f64,
    standardised: f64,
    weight: f64,
    newest: bool,
}

impl Form for SuspectedReading {
    type Shape<'a> = SuspectedForm<'a>;
    fn form(&self) -> SuspectedForm<'_> {
        SuspectedForm {
            engine: &self.engine,
            valve: &self.valve,
            line: self.line,
            date: crate::calendar::iso(self.day),
            hours: self.hours,
            value: self.value,
            expected: self.expected,
            standardised: self.standardised,
            weight: self.weight,
            newest: self.newest,
        }
    }
}

#[derive(Serialize)]
struct StepForm<'a> {
    engine: &'a str,
    valve: &'a str,
    line: u32,
    date: String,
    hours: f64,
    size: f64,
    size_se: f64,
    readings_after: usize,
}

impl Form for StepChange {
    type Shape<'a> = StepForm<'a>;
    fn form(&self) -> StepForm<'_> {
        StepForm {
            engine: &self.engine,
            valve: &self.valve,
            line: self.line,
            date: crate::calendar::iso(self.day),
            hours: self.hours,
            size: self.size,
            size_se: self.size_se,
            readings_after: self.readings_after,
        }
    }
}

#[derive(Serialize)]
struct FaultyDayForm<'a> {
    date: String,
    readings: usize,
    engines: &'a [String],
    shift: f64,
    shift_se: f64,
    set_aside: bool,
}

impl Form for FaultyDay {
    type Shape<'a> = FaultyDayForm<'a>;
    fn form(&self) -> FaultyDayForm<'_> {
        FaultyDayForm {
            date: crate::calendar::iso(self.day),
            readings: self.readings,
            engines: &self.engines,
            shift: self.shift,
            shift_se: self.shift_se,
            set_aside: self.set_aside,
        }
    }
}

#[derive(Serialize)]
struct ValveForm<'a> {
    engine: &'a str,
    valve: &'a str,
    group: Option<&'a str>,
    segment: u32,
    readings: usize,
    hours: f64,
    segment_start: f64,
    level: f64,
    level_se: f64,
    slope: f64,
    slope_se: f64,
    level_slope_cov: f64,
    drifting_to: Option<&'static str>,
    crossing_hours: Crossing,
    chance_now: Option<f64>,
    chance_by_horizon: Option<f64>,
    status: Option<&'static str>,
    verdict: Option<VerdictForm<'a>>,
    newest: Option<NewestForm>,
    since_read: f64,
}

/// Why a valve has its status, what would settle it, and each answer where something is doubted.
#[derive(Serialize)]
struct VerdictForm<'a> {
    reasons: Vec<String>,
    settled_by: Option<&'a str>,
    contradicted: bool,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    answers: Vec<AnswerForm>,
}

#[derive(Serialize)]
struct AnswerForm {
    assuming: String,
    level: f64,
    slope: f64,
    chance_now: f64,
    chance_by_horizon: f64,
    crossing_hours: Crossing,
    status: &'static str,
}

#[derive(Serialize)]
struct NewestForm {
    value: f64,
    date: String,
    hours: f64,
    weight: f64,
    believed: bool,
}

impl<'a> VerdictForm<'a> {
    fn new(of: &'a ValveVerdict) -> Self {
        Self {
            reasons: of.reasons().iter().map(ToString::to_string).collect(),
            settled_by: of.what_settles_it(),
            contradicted: of.is_contradicted(),
            answers: of.answers().iter().map(AnswerForm::new).collect(),
        }
    }
}

impl AnswerForm {
    fn new(of: &Answer) -> Self {
        Self {
            assuming: of.assuming.to_string(),
            level: of.level,
            slope: of.slope,
            chance_now: of.chance_now,
            chance_by_horizon: of.chance_by_horizon,
            crossing_hours: of.crossing_hours.into(),
            status: of.status.name(),
        }
    }
}

impl NewestForm {
    fn new(of: &NewestReading) -> Self {
        Self {
            value: of.value,
            date: crate::calendar::iso(of.day),
            hours: of.hours,
            weight: of.weight,
            believed: of.believed,
        }
    }
}

#[derive(Serialize)]
struct Crossing {
    #[serde(rename = "0.05")]
    p05: Option<f64>,
    #[serde(rename = "0.5")]
    p50: Option<f64>,
    #[serde(rename = "0.95")]
    p95: Option<f64>,
}

impl From<CrossingHours> for Crossing {
    fn from(hours: CrossingHours) -> Self {
        Self { p05: hours.p05, p50: hours.p50, p95: hours.p95 }
    }
}

impl Form for ValveForecast {
    type Shape<'a> = ValveForm<'a>;
    fn form(&self) -> ValveForm<'_> {
        ValveForm {
            engine: &self.engine,
            valve: &self.valve,
            group: (!self.group.is_empty()).then_some(self.group.as_str()),
            segment: self.segment,
            readings: self.readings,
            hours: self.hours,
            segment_start: self.segment_start,
            level: self.level,
            level_se: self.level_se,
            slope: self.slope,
            slope_se: self.slope_se,
            level_slope_cov: self.level_slope_cov,
            drifting_to: self.drifting_to.map(packdrift_trend::Limit::name),
            crossing_hours: self.crossing_hours.into(),
            chance_now: self.chance_now,
            chance_by_horizon: self.chance_by_horizon,
            status: self.status.map(packdrift_trend::Status::name),
            verdict: self.verdict.as_ref().map(VerdictForm::new),
            newest: self.newest.as_ref().map(NewestForm::new),
            since_read: self.since_read,
        }
    }
}
