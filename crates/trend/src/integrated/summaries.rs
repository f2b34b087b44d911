//! What the draws say of each parameter, and whether one of them lies at an end of its range.

use super::answer::{End, Outcome, Parameter, Summary};
use super::frame::Frame;
use super::priors::{GROWTH_RANGE, POWER_RANGE};
use super::sampler::{Draws, normalised};
use crate::kernel::frame::Clock;

/// Share of the posterior near an end of a range from which a parameter counts as piled up there. The prior has less than 0.001 there.
const PILED: f64 = 0.2;
/// Ratio of rates from which wear counts as clearly faster.
const CLEARLY_FASTER: f64 = 1.1;
/// What counts as near: this share of the range.
const NEAR: f64 = 0.05;

/// Each parameter's values in the frame with their weights.
fn values(frame: &Frame, draws: &Draws, parameter: Parameter) -> Vec<(f64, f64)> {
    let weight = normalised(&draws.ln_weights, 1.0);
    draws.z.chunks(draws.dimensions).zip(weight).map(|(z, w)| (frame.prior.theta(z).of(parameter), w)).collect()
}

/// From the frame's units to the feature's: σₑ, σ_b and σᵤ are lengths, slopes per hour, the wander per √hour.
fn unit(frame: &Frame, parameter: Parameter) -> f64 {
    match parameter {
        Parameter::Reading | Parameter::Visit | Parameter::Start => frame.length,
        Parameter::Slope | Parameter::Engine | Parameter::Kept => frame.length / frame.time,
        Parameter::Wander => frame.length / frame.time.sqrt(),
        Parameter::Correlation | Parameter::Power | Parameter::Growth => 1.0,
    }
}

pub(crate) fn of(frame: &Frame, draws: &Draws) -> Vec<Summary> {
    let mut layout = frame.prior.layout.clone();
    layout.sort_unstable();
    layout
        .into_iter()
        .map(|parameter| {
            let mut own = values(frame, draws, parameter);
            let unit = unit(frame, parameter);
            let mean: f64 = own.iter().map(|(x, w)| x * w).sum();
            let var: f64 = own.iter().map(|(x, w)| w * (x - mean) * (x - mean)).sum();
            own.sort_by(|a, b| a.0.total_cmp(&b.0));
            let quantile = |order: f64| {
                let mut below = 0.0;
                let found = own.iter().find(|(_, w)| {
                    below += w;
                    below >= order
                });
                unit * found.or(own.last()).map_or(f64::NAN, |v| v.0)
            };
            Summary {
                parameter,
                mean: unit * mean,
                sd: unit * var.sqrt(),
                low: quantile(0.025),
                median: quantile(0.5),
                high: quantile(0.975),
            }
        })
        .collect()
}

/// A parameter piled up at an end of its range. The reading error's lower end is the instrument's step, which is no failure.
pub(crate) fn piled(frame: &Frame, draws: &Draws) -> Option<Outcome> {
    let share = |parameter: Parameter, inside: &dyn Fn(f64) -> bool| {
        values(frame, draws, parameter).iter().filter(|(x, _)| inside(*x)).map(|(_, w)| w).sum::<f64>()
    };
    let (low, high) = POWER_RANGE;
    let near = NEAR * (high - low);
    let largest = frame.prior.error_range.1;
    let ends = [
        (Parameter::Power, End::Upper, share(Parameter::Power, &|p| p > high - near)),
        (Parameter::Power, End::Lower, share(Parameter::Power, &|p| p < low + near)),
        (Parameter::Growth, End::Upper, share(Parameter::Growth, &|k| k > 0.5 * GROWTH_RANGE.1)),
        (Parameter::Reading, End::Upper, share(Parameter::Reading, &|s| s > 0.5 * largest)),
    ];
    let found = ends.into_iter().find(|(_, _, share)| share.is_nan() || *share > PILED);
    found.map(|(parameter, end, share)| Outcome::Piled { parameter, end, share })
}

/// How many times the rate at half of T the rate at T is, where nearly all of the posterior says that wear speeds up; None else.
pub(crate) fn speeds_up(frame: &Frame, draws: &Draws) -> Option<f64> {
    let weight = normalised(&draws.ln_weights, 1.0);
    let ratio = |z: &[f64]| {
        let theta = frame.prior.theta(z);
        let clock = Clock { power: theta.power, unit: 1.0, growth: theta.growth };
        clock.rate(1.0) / clock.rate(0.5)
    };
    let mut own: Vec<(f64, f64)> = draws.z.chunks(draws.dimensions).map(ratio).zip(weight).collect();
    let clearly: f64 = own.iter().filter(|(r, _)| *r > CLEARLY_FASTER).map(|(_, w)| w).sum();
    own.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut below = 0.0;
    let middle = own.iter().find(|(_, w)| {
        below += w;
        below >= 0.5
    });
    middle.filter(|_| clearly > 0.975).map(|(r, _)| *r)
}

/// How far the posterior mean of ln σₑ lies from a stated ln s₀, in widths of its prior.
pub(crate) fn surprise(frame: &Frame, draws: &Draws) -> Option<f64> {
    frame.stated.then(|| {
        let mean: f64 = values(frame, draws, Parameter::Reading).iter().map(|(s, w)| w * s.ln()).sum();
        (mean - frame.prior.error.ln()) / frame.prior.width
    })
}
