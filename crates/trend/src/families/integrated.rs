//! The integrated family: from segments to the question that [`crate::integrated`] answers, and back.

use super::{Estimate, Family, FamilyFit, FitFailure, FitQuestion, Past, SegmentFit};
use crate::crossing::Prospect;
use crate::integrated::{
    Answer, Effort, Forecast, History, Outcome, Parameter, Question, Reading, ReadingError, integrate,
};
use crate::kernel::FleetLaw;
use crate::kernel::frame::Clock;
use crate::options::ReadingErrors;
use crate::result::{Diagnostics, FitStatus, FleetProspect, GroupLine, Growth, Model, ModelKind};
use crate::segments::Segments;

/// The family.
pub(crate) struct Integrated {
    pub(crate) effort: Effort,
}

impl Family for Integrated {
    fn fit(&self, question: &FitQuestion<'_>) -> Result<FamilyFit, FitFailure> {
        let (segments, stood) = question.segments.counting(question.weights);
        let until = |s: usize| question.segments.range(s).last().map_or(0.0, |i| question.segments.hours[i]);
        let (mut histories, ends) = histories(&segments, until, |k| is_confirmed(question, stood[k]));
        // A component that is not wanted finds nothing to be told by.
        for (history, end) in histories.iter_mut().zip(&ends) {
            if question.options.engine_slope == Some(false) {
                history.engine = segments.valve[end.segment];
            }
            if question.options.valve_slope == Some(false) {
                history.parts = end.segment as u32;
            }
        }
        let asked = Question {
            histories: &histories,
            zone: question.zone.unwrap_or_default(),
            error: ReadingError { sd: question.known_sd, step: step(&segments.value) },
            seed: question.options.seed,
            effort: Effort { fitted: question.figures, ..self.effort },
        };
        let answer = integrate(&asked);
        match &answer.outcome {
            Outcome::NotEstimable(why) => Err(FitFailure::not_estimable(why.clone())),
            Outcome::NotFinite => Err(FitFailure {
                status: FitStatus::NotConverged,
                reason: "a likelihood or a forecast is no number; look for readings or hours that are off by many powers of ten"
                    .to_owned(),
            }),
            _ => Ok(taken(question, &segments, &stood, &ends, answer)),
        }
    }
}

fn is_confirmed(question: &FitQuestion<'_>, at: usize) -> bool {
    question.options.reading_errors == ReadingErrors::Normal || question.confirmed.get(at).copied().unwrap_or(false)
}

/// The last segment of a history.
#[derive(Debug, Clone, Copy)]
struct End {
    segment: usize,
    /// Hours from the history's start to the segment's.
    begun: f64,
}

/// The segments as the integrated model takes them: a jump leaves the parts on their line, so what comes after it is of one history with what was before.
/// `until` gives the hours of a segment's last reading, believed or not. With each history its last segment.
fn histories(
    segments: &Segments,
    until: impl Fn(usize) -> f64,
    confirmed: impl Fn(usize) -> bool,
) -> (Vec<History>, Vec<End>) {
    let mut out: Vec<History> = Vec::with_capacity(segments.len());
    let mut ends: Vec<End> = Vec::with_capacity(segments.len());
    for s in 0..segments.len() {
        let leapt = segments.begins_by_jump(s);
        let of = |begun: f64, visits: u32| {
            let mut visit = visits;
            let mut before = f64::NEG_INFINITY;
            let reading = |(k, i): (usize, usize)| {
                let hours = segments.hours[i];
                visit += u32::from(hours > before && before.is_finite());
                before = hours;
                let (value, confirmed) = (segments.value[i], confirmed(i));
                Reading { hours: begun + hours, value, visit, confirmed, leapt: leapt && k == 0 }
            };
            segments.range(s).enumerate().map(reading).collect::<Vec<_>>()
        };
        if let (true, Some(last), Some(end)) = (leapt, out.last_mut(), ends.last_mut())
            && !last.current
            && (segments.valve[end.segment], segments.group[end.segment]) == (segments.valve[s], segments.group[s])
        {
            end.begun += (segments.origin[s] - segments.origin[end.segment]).max(0.0);
            end.segment = s;
            let visits = last.readings.last().map_or(0, |r| r.visit + 1);
            last.readings.extend(of(end.begun, visits));
            last.current = segments.current[s];
            last.until = end.begun + until(s);
            continue;
        }
        let readings = of(0.0, 0);
        let parts = segments.part.get(s).copied().unwrap_or(s as u32);
        // Shims do not make parts new: the hours of the segments before with the same parts count on.
        let age = match (ends.last(), out.last()) {
            (Some(b), Some(last)) if segments.valve[b.segment] == segments.valve[s] && last.parts == parts => {
                last.age + b.begun + (segments.origin[s] - segments.origin[b.segment]).max(0.0)
            }
            _ => 0.0,
        };
        ends.push(End { segment: s, begun: 0.0 });
        out.push(History {
            engine: segments.engine[s],
            parts,
            group: segments.group[s],
            current: segments.current[s],
            age,
            until: until(s),
            readings,
        });
    }
    (out, ends)
}

/// Different readings from which on their common step is the instrument's and no accident: of n readings to a finer step all are multiples
/// of one twice as coarse with a chance of 2⁻ⁿ.
const TELL_A_STEP: usize = 10;

/// The instrument's step: the largest power of ten, or 2 or 5 of them, of which all readings are multiples. 0 where there is none, or too few
/// different readings tell.
fn step(values: &[f64]) -> f64 {
    let mut different = values.to_vec();
    different.sort_unstable_by(f64::total_cmp);
    different.dedup();
    let largest = values.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
    if different.len() < TELL_A_STEP || largest <= 0.0 {
        return 0.0;
    }
    let top = largest.log10().floor() as i32;
    for exponent in (top - 9..=top).rev() {
        for digit in [5.0, 2.0, 1.0] {
            let step = digit * 10.0_f64.powi(exponent);
            // Decimal figures are known to some 1e-16 of their size.
            let slack = 1e-9 + 4e-16 * largest / step;
            if values.iter().all(|v| (v / step - (v / step).round()).abs() < slack) {
                return step;
            }
        }
    }
    0.0
}

/// Wear that speeds up is foretold this share of the record ahead: what it does next few readings tell, and cracks run away faster than any growth
/// that fits their past (a judgement; docs/small-fleets.md has what happened without).
const SEEN: f64 = 0.5;

/// Where it stands in the common form.
fn taken(question: &FitQuestion<'_>, segments: &Segments, stood: &[usize], ends: &[End], answer: Answer) -> FamilyFit {
    let mut weights = vec![0.0; question.segments.readings()];
    let mut own = stood.iter();
    for chance in answer.gross.iter().flatten() {
        if let Some(&i) = own.next() {
            weights[i] = 1.0 - chance;
        }
    }
    let law = law(&answer);
    let groups = &segments.group_names;
    let diagnostics = Diagnostics {
        status: if answer.outcome.is_settled() { FitStatus::Ok } else { FitStatus::NotConverged },
        reason: if answer.outcome.is_settled() { String::new() } else { answer.outcome.to_string() },
        evaluations: answer.diagnostics.evaluations,
        newton_decrement: 0.0,
        average_points: answer.diagnostics.points,
        average_effective: answer.diagnostics.effective,
    };
    FamilyFit {
        model: model(&answer, segments),
        method: "Bayes",
        diagnostics,
        trouble: (!answer.outcome.is_settled()).then(|| answer.outcome.to_string()),
        reach: answer.speeds_up.map(|_| SEEN * answer.clock_hours),
        new_segments: answer
            .unread
            .iter()
            .enumerate()
            .filter(|(g, _)| *g == 0 || !answer.pooled_groups)
            .map(|(g, (prospect, drawn))| FleetProspect {
                group: if answer.pooled_groups { String::new() } else { groups.get(g).cloned().unwrap_or_default() },
                prospect: prospect.clone(),
                drawn: drawn.clone(),
            })
            .collect(),
        weights,
        law: Some(law),
        notes: notes(&answer),
        current: answer.forecasts.into_iter().map(|f| segment_fit(f, ends)).collect(),
    }
}

fn segment_fit(forecast: Forecast, ends: &[End]) -> SegmentFit {
    let Forecast { history, prospect, believed, level, level_se, slope, slope_se, level_slope_cov, fitted } = forecast;
    let End { segment, begun } = ends[history];
    // Figures draw each segment by itself.
    let past = fitted.into_iter().filter(|f| f.hours >= begun - 1e-9 * begun.abs());
    SegmentFit {
        segment,
        estimate: Estimate { level, level_se, slope, slope_se, cov: level_slope_cov },
        prospect,
        at_their_word: believed.map(|prospect| (rough_estimate(&prospect), prospect)),
        past: past.map(|f| Past { hours: (f.hours - begun).max(0.0), mean: f.mean, sd: f.sd }).collect(),
    }
}

/// Level and slope of a prospect, the slope by the mean over the next hour.
fn rough_estimate(prospect: &Prospect) -> Estimate {
    let ((level, level_se), (next, next_sd)) = (prospect.value_at(0.0), prospect.value_at(1.0));
    let together = prospect.covariance(0.0, 1.0);
    let slope_var = (level_se * level_se + next_sd * next_sd - 2.0 * together).max(0.0);
    Estimate { level, level_se, slope: next - level, slope_se: slope_var.sqrt(), cov: together - level_se * level_se }
}

fn notes(answer: &Answer) -> Vec<String> {
    let mut out = Vec::new();
    if answer.pooled_groups {
        out.push("a group has no valve read at two different hours, so all groups share one mean line".to_owned());
    }
    if let Some(times) = answer.speeds_up {
        out.push(format!(
            "wear speeds up: at {:.0} h its rate is {times:.1} times that at {:.0} h; look more often",
            answer.clock_hours,
            0.5 * answer.clock_hours
        ));
    }
    if let Some(surprise) = answer.reading_surprise.filter(|s| s.abs() > 2.0) {
        out.push(format!(
            "the readings scatter {} than the stated reading error says; check `reading_sd`",
            if surprise > 0.0 { "far more" } else { "far less" }
        ));
    }
    out
}

/// Posterior median of a parameter; 0 where the model has none.
fn median(answer: &Answer, parameter: Parameter) -> f64 {
    answer.parameters.iter().find(|p| p.parameter == parameter).map_or(0.0, |p| p.median)
}

/// The posterior's middle as a law.
fn law(answer: &Answer) -> FleetLaw {
    let of = |parameter| median(answer, parameter);
    let (start, slope) = (of(Parameter::Start), of(Parameter::Slope));
    let shared = of(Parameter::Engine).powi(2) + of(Parameter::Kept).powi(2);
    let p = 2 * answer.lines.len();
    let mut lines_cov = vec![0.0; p * p];
    for (g, line) in answer.lines.iter().enumerate() {
        lines_cov[2 * g * p + 2 * g] = line.intercept_se.powi(2);
        lines_cov[(2 * g + 1) * p + 2 * g + 1] = line.slope_se.powi(2);
    }
    let power = answer.parameters.iter().find(|p| p.parameter == Parameter::Power).map_or(1.0, |p| p.median);
    FleetLaw {
        lines: answer.lines.iter().map(|l| (l.intercept, l.slope)).collect(),
        lines_cov,
        start_var: start * start,
        cov: of(Parameter::Correlation) * start * slope,
        slope_var: slope * slope + shared,
        wander_var: of(Parameter::Wander).powi(2),
        reading: of(Parameter::Reading).hypot(of(Parameter::Visit)),
        clock: Clock { power, unit: answer.clock_hours, growth: of(Parameter::Growth) },
    }
}

/// What the readings say of κ.
fn growth(answer: &Answer) -> Option<Growth> {
    let own = answer.parameters.iter().find(|p| p.parameter == Parameter::Growth)?;
    Some(Growth { median: own.median, low: own.low, high: own.high })
}

/// The reported model: posterior medians of scatters, means of lines.
fn model(answer: &Answer, segments: &Segments) -> Model {
    let of = |parameter| median(answer, parameter);
    let has = |parameter| answer.parameters.iter().any(|p| p.parameter == parameter);
    let mut counts = vec![0; segments.group_names.len()];
    for g in &segments.group {
        counts[*g as usize] += 1;
    }
    let pooled = answer.pooled_groups;
    let kept = if pooled { &answer.lines[..1.min(answer.lines.len())] } else { &answer.lines[..] };
    let groups: Vec<GroupLine> = kept
        .iter()
        .enumerate()
        .map(|(g, line)| GroupLine {
            group: if pooled { String::new() } else { segments.group_names.get(g).cloned().unwrap_or_default() },
            segments: if pooled { segments.len() } else { counts.get(g).copied().unwrap_or(0) },
            intercept: line.intercept,
            intercept_se: line.intercept_se,
            slope: line.slope,
            slope_se: line.slope_se,
        })
        .collect();
    let total = groups.iter().map(|g| g.segments).sum::<usize>().max(1) as f64;
    let mean = |f: &dyn Fn(&GroupLine) -> f64| groups.iter().map(|g| g.segments as f64 / total * f(g)).sum::<f64>();
    let error = |f: &dyn Fn(&GroupLine) -> f64| {
        groups.iter().map(|g| (g.segments as f64 / total * f(g)).powi(2)).sum::<f64>().sqrt()
    };
    Model {
        kind: ModelKind::Integrated,
        intercept: mean(&|g| g.intercept),
        slope: mean(&|g| g.slope),
        intercept_se: error(&|g| g.intercept_se),
        slope_se: error(&|g| g.slope_se),
        sd_intercept: of(Parameter::Start),
        sd_slope: of(Parameter::Slope).hypot(of(Parameter::Kept)),
        corr: of(Parameter::Correlation),
        sd_wander: of(Parameter::Wander),
        sd_reading: of(Parameter::Reading),
        sd_visit: has(Parameter::Visit).then(|| of(Parameter::Visit)),
        sd_engine_slope: has(Parameter::Engine).then(|| of(Parameter::Engine)),
        sd_valve_slope: has(Parameter::Kept).then(|| of(Parameter::Kept)),
        reading_df: None,
        power: Some(of(Parameter::Power)),
        power_hours: Some(answer.clock_hours),
        growth: growth(answer),
        gamma: None,
        log_likelihood: None,
        parameters: answer.parameters.len() + 2 * kept.len(),
        groups,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_step_is_the_coarsest_that_all_readings_are_multiples_of() {
        let multiples = |step: f64| -> Vec<f64> {
            [90, 91, 93, 94, 97, 99, 100, 102, 103, 107, 111].iter().map(|k| f64::from(*k) * step).collect()
        };
        for expected in [0.01, 0.05, 0.02, 1.0, 0.000_05, 500.0] {
            let found = step(&multiples(expected));
            assert!((found - expected).abs() <= 1e-9 * expected, "{found} for {expected}");
        }
        assert!(step(&multiples(std::f64::consts::PI)) == 0.0);
        // Too few to tell: three whole millimetres are no instrument that reads whole millimetres.
        assert!(step(&[1.0, 2.0, 3.0]) == 0.0 && step(&[1.0; 40]) == 0.0 && step(&[]) == 0.0);
    }
}
