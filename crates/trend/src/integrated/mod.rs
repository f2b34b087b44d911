//! The integrated wear model: a line, a wander, a power of the hours and wear that grows with itself at once, averaged over everything that the readings leave open.
//!
//! Few readings cannot tell a bent path from a straight one with a wander, nor either from reading errors. So no model is chosen: one model
//! holds them all ([`likelihood`]), and forecasts are averaged over its parameters with the weight prior × likelihood ([`priors`], [`sampler`]),
//! and over which readings are gross errors ([`gross`]). docs/integrated.md has the formulas, docs/small-fleets.md how often its word came true.
//!
//! A room of its own: [`Question`] in, [`Answer`] out. What is not [`Outcome::Settled`] must not reassure.

mod anchor;
mod answer;
mod diagnostics;
mod filter;
mod frame;
mod gross;
mod histories;
mod likelihood;
#[cfg(test)]
pub(crate) mod made;
mod prediction;
mod priors;
mod proposal;
mod sampler;
#[cfg(test)]
mod study;
mod summaries;
#[cfg(test)]
mod tests;

pub(crate) use answer::{Answer, End, Fitted, Forecast, MeanLine, Outcome, Parameter, Summary};
pub(crate) use diagnostics::Diagnostics;
pub(crate) use histories::{Effort, History, Question, Reading, ReadingError};

use crate::kernel::frame::grown;
use anchor::{Judges, revise};
use diagnostics::shape_limit;
use frame::{Frame, NoFrame};
use prediction::{Points, predict};
use priors::Theta;
use proposal::Component;
use sampler::{Draws, Plan, Target, adapt, finish};

/// Effective draws below which an average is refused. A chance whose value differs from draw to draw by as much as ±¼ (one standard deviation) then has
/// a standard error of 0.018, beside the 0.05 that decides.
const NEEDED: f64 = 200.0;

/// Up to this many histories single changes of the anchor are summed over in every stage; beyond, in the last: one reading of many
/// moves the parameters too little to mislead the proposals.
const CHANGES_ALWAYS: usize = 64;

/// Draws that judge which readings are left out.
const JUDGES: usize = 16;

/// What the readings say of every valve.
pub(crate) fn integrate(question: &Question<'_>) -> Answer {
    let mut frame = match Frame::of(question) {
        Ok(frame) => frame,
        Err(NoFrame::NotFinite) => return Answer::none(question, Outcome::NotFinite),
        Err(NoFrame::NotEstimable(why)) => return Answer::none(question, Outcome::NotEstimable(why)),
    };
    let chosen = frame.choice(question.effort.histories);
    let cases: usize = chosen.iter().map(|&b| frame.blocks[b].cases.len()).sum();
    let Some((draws, evaluations, stages)) = sample(&mut frame, &chosen, cases, question.seed) else {
        return Answer::none(question, Outcome::NotFinite);
    };
    let count = question.effort.points.unwrap_or_else(|| points_for(frame.blocks.iter().map(|b| b.cases.len()).sum()));
    let thetas = equal_thetas(&frame, &draws, count);
    anchor_the_rest(&mut frame, &chosen, &thetas);
    let readings: Vec<usize> = question.histories.iter().map(|h| h.readings.len()).collect();
    let points = Points { thetas, scramblings: draws.scramblings, seed: question.seed };
    let fitted = question.effort.fitted;
    let Some(predicted) = predict(&frame, &points, question.zone, question.histories.len(), &readings, fitted) else {
        return Answer::none(question, Outcome::NotFinite);
    };
    let left_out = frame.blocks.iter().flat_map(|b| &b.cases).flat_map(|c| &c.entries).filter(|e| !e.kept).count();
    let diagnostics = Diagnostics {
        effective: draws.effective,
        pareto_shape: draws.pareto_shape,
        evaluations,
        stages,
        points: points.thetas.len(),
        left_out,
    };
    let parameters = summaries::of(&frame, &draws);
    let by_group = |g: &usize| (predicted.lines[*g], predicted.unread[*g].clone());
    let (lines, unread) = frame.group_of.iter().map(by_group).unzip();
    let finite =
        predicted.forecasts.iter().all(|f| f.level.is_finite() && f.level_se.is_finite() && f.slope_se.is_finite());
    let outcome = if finite { outcome(&frame, &draws) } else { Outcome::NotFinite };
    Answer {
        outcome,
        forecasts: predicted.forecasts,
        gross: predicted.gross,
        reading_surprise: summaries::surprise(&frame, &draws),
        speeds_up: summaries::speeds_up(&frame, &draws),
        parameters,
        lines,
        unread,
        clock_hours: frame.time,
        reading_prior: frame.prior.error * frame.length,
        pooled_groups: frame.pooled,
        histories_used: cases,
        diagnostics,
    }
}

/// Points of every prospect by the number of histories: the more of them, the less their parameters are in doubt.
fn points_for(histories: usize) -> usize {
    match histories {
        0..=16 => 2048,
        17..=64 => 512,
        65..=400 => 256,
        401..=2000 => 128,
        2001..=20_000 => 64,
        _ => 32,
    }
}

/// Draws of the parameters, with the anchor settled; and how many evaluations and stages it took.
fn sample(frame: &mut Frame, chosen: &[usize], cases: usize, seed: u64) -> Option<(Draws, usize, usize)> {
    // In a small fleet the parameters are in doubt and draws are cheap.
    let last = if cases <= 16 { 11 } else { 8 };
    let plan = Plan { stage: 9, stages: 9, scramblings: 8, last, enough: NEEDED };
    let always = cases <= CHANGES_ALWAYS;
    let (mut evaluations, mut stages) = (0, 0);
    let mut start: Option<Vec<(f64, Component)>> = None;
    // Proposals that served for the anchor before: with single changes of it summed over, a revised one hardly moves the target.
    let mut serving: Option<Vec<(f64, Component)>> = None;
    let mut draws: Option<Draws> = None;
    // Each round with the anchor as the round before left it; as a rule there is one.
    for round in 0..8 {
        let proposals = match serving.take() {
            Some(proposals) => proposals,
            None => {
                let adapted = adapt(&Target { frame, blocks: chosen, changes: always }, &plan, seed, start.as_deref())?;
                evaluations += adapted.stages << plan.stage;
                stages += adapted.stages;
                let thetas = judges(frame, &adapted.z, &adapted.weight);
                if revise(frame, chosen, &Judges { thetas: &thetas, lines_from: chosen }) && round < 6 {
                    start = Some(adapted.mixture);
                    continue;
                }
                adapted.mixture
            }
        };
        let last = finish(&Target { frame, blocks: chosen, changes: true }, &plan, seed, &proposals);
        evaluations += plan.scramblings << plan.last;
        stages += 1;
        let sound = last.effective >= NEEDED && last.pareto_shape <= shape_limit(last.ln_weights.len());
        let thetas = equal_thetas(frame, &last, JUDGES);
        draws = Some(last);
        let revised = revise(frame, chosen, &Judges { thetas: &thetas, lines_from: chosen });
        if sound && !revised {
            break;
        }
        start = Some(proposals.clone());
        serving = Some(proposals).filter(|_| sound);
    }
    draws.map(|d| (d, evaluations, stages))
}

/// The parameters of draws of equal weight.
fn equal_thetas(frame: &Frame, draws: &Draws, count: usize) -> Vec<Theta> {
    let d = draws.dimensions;
    // Forecasts hang most on how far the clock runs ahead: here over a third of the record.
    let ahead = |z: &[f64]| {
        let theta = frame.prior.theta(z);
        grown((4.0_f64 / 3.0).powf(theta.power), theta.growth)
    };
    draws.equal(count, ahead).into_iter().map(|i| frame.prior.theta(&draws.z[i * d..(i + 1) * d])).collect()
}

/// Parameters at evenly spread shares of the weight.
fn judges(frame: &Frame, z: &[f64], weight: &[f64]) -> Vec<Theta> {
    let d = frame.prior.dimensions();
    let mut out = Vec::with_capacity(JUDGES);
    let mut below = 0.0;
    for (z, w) in z.chunks(d).zip(weight) {
        below += w;
        while out.len() < JUDGES && (out.len() as f64 + 0.5) / (JUDGES as f64) < below {
            out.push(frame.prior.theta(z));
        }
    }
    out
}

/// The anchor of the blocks that did not enter the posterior.
fn anchor_the_rest(frame: &mut Frame, chosen: &[usize], thetas: &[Theta]) {
    let rest: Vec<usize> = (0..frame.blocks.len()).filter(|b| chosen.binary_search(b).is_err()).collect();
    if rest.is_empty() {
        return;
    }
    let stride = thetas.len().div_ceil(8).max(1);
    let some: Vec<Theta> = thetas.iter().copied().step_by(stride).collect();
    revise(frame, &rest, &Judges { thetas: &some, lines_from: chosen });
}

/// Whether the draws may be relied on.
fn outcome(frame: &Frame, draws: &Draws) -> Outcome {
    let limit = shape_limit(draws.ln_weights.len());
    if draws.effective.is_nan() || draws.effective < NEEDED {
        return Outcome::TooFewDraws { effective: draws.effective, needed: NEEDED };
    }
    if draws.pareto_shape.is_nan() || draws.pareto_shape > limit {
        return Outcome::HeavyWeights { shape: draws.pareto_shape, limit };
    }
    summaries::piled(frame, draws).unwrap_or(Outcome::Settled)
}

impl Answer {
    /// An answer without forecasts.
    fn none(question: &Question<'_>, outcome: Outcome) -> Self {
        Self {
            outcome,
            forecasts: Vec::new(),
            gross: question.histories.iter().map(|h| vec![0.0; h.readings.len()]).collect(),
            parameters: Vec::new(),
            lines: Vec::new(),
            unread: Vec::new(),
            clock_hours: 0.0,
            reading_prior: question.error.sd.unwrap_or(0.0),
            reading_surprise: None,
            speeds_up: None,
            pooled_groups: false,
            histories_used: 0,
            diagnostics: Diagnostics::default(),
        }
    }
}
