//! Limits that can never bind: a slipped unit or digit, a stand-in for "no limit", a limit on tension where the stress is compression. What is kept by
//! such a limit is not shown to be right.

use crate::result::WorstCase;
use crate::stack::{Requirement, Stack};
use crate::warning::Warning;
use packdrift_pack::QuantityKind;
use packdrift_verdict::Verdict;

/// Loads and stresses this many times the largest that the pack reaches are no limits: common practice, no source. (A length has an own reach: the
/// span.)
const BEYOND: f64 = 100.0;
/// A pack that carries next to nothing says little of what a limit may be: loads and stresses are reckoned from here, N or MPa.
const LEAST: f64 = 10.0;

/// A limit that can never bind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Idle {
    /// `lower` or `upper`.
    side: &'static str,
    limit: f64,
    reach: Reach,
    unit: &'static str,
}

/// Why a limit never binds.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Reach {
    /// Nothing in this bay can be larger.
    Beyond(f64),
    /// A stress of the other sign in its whole range, which is this.
    OtherSign(f64, f64),
    /// A limit below what is never negative.
    Negative,
}

/// The limits of a requirement that can never bind.
pub(super) fn limits(stack: &Stack, asked: &Requirement, worst: &WorstCase, nominals: &[f64]) -> Vec<Idle> {
    let unit = asked.quantity.kind().unit();
    let span = nominals[stack.pack.bays[asked.quantity.bay()].span.0].abs();
    let reach = match unit {
        "mm" => Some(span),
        // What cannot be assembled anywhere says nothing of loads.
        _ => worst.min.zip(worst.max).map(|(min, max)| BEYOND * min.abs().max(max.abs()).max(LEAST)),
    };
    let Some(reach) = reach else { return Vec::new() };
    if asked.quantity.kind() == QuantityKind::Stress
        && let Some(idle) = of_other_sign(asked, worst)
    {
        return vec![idle];
    }
    if let Some(idle) = below_nothing(asked) {
        return vec![idle];
    }
    let sides = [("lower", asked.lower), ("upper", asked.upper)];
    sides
        .into_iter()
        .filter_map(|(side, limit)| limit.map(|limit| Idle { side, limit, reach: Reach::Beyond(reach), unit }))
        .filter(|idle| idle.limit.abs() > reach)
        // A lower limit far above all, or an upper one far below, binds always: it is not met, and the share says so.
        .filter(|idle| (idle.side == "upper") == (idle.limit > 0.0))
        .collect()
}

/// The only limit of a stress, on the side to which it never goes: an upper one above 0 where all of it is compression, a lower one below 0 where all is
/// tension.
fn of_other_sign(asked: &Requirement, worst: &WorstCase) -> Option<Idle> {
    let (min, max) = worst.min.zip(worst.max)?;
    let idle = |side, limit| Some(Idle { side, limit, reach: Reach::OtherSign(min, max), unit: "MPa" });
    match (asked.lower, asked.upper) {
        (None, Some(upper)) if upper >= 0.0 && max <= 0.0 && min < 0.0 => idle("upper", upper),
        (Some(lower), None) if lower <= 0.0 && min >= 0.0 && max > 0.0 => idle("lower", lower),
        _ => None,
    }
}

/// A lower limit below 0 of what is never negative, or one of 0 alone: a slipped sign.
fn below_nothing(asked: &Requirement) -> Option<Idle> {
    let kind = asked.quantity.kind();
    let never_negative = matches!(
        kind,
        QuantityKind::Preload | QuantityKind::Height | QuantityKind::Play | QuantityKind::ContactPressure
    );
    let lower = asked.lower.filter(|_| never_negative)?;
    let idles = lower < 0.0 || (lower == 0.0 && asked.upper.is_none());
    idles.then_some(Idle { side: "lower", limit: lower, reach: Reach::Negative, unit: kind.unit() })
}

impl Idle {
    pub(super) fn verdict(&self) -> Verdict {
        let Self { side, limit, reach, unit } = self;
        match reach {
            Reach::Beyond(reach) => {
                let reason = format!(
                    "the {side} limit of {} {unit} can never bind: nothing here reaches {} {unit}",
                    short(*limit),
                    short(*reach)
                );
                Verdict::not_shown(reason).settled_by(format!("Correct the {side} limit, or leave it out."))
            }
            Reach::OtherSign(min, max) => {
                let reason = format!(
                    "the {side} limit of {} {unit} can never be reached: the stress there is {} in its whole range, {} to {} {unit}",
                    short(*limit),
                    if *side == "upper" { "compression, negative," } else { "tension, positive," },
                    short(*min),
                    short(*max)
                );
                Verdict::not_shown(reason).settled_by(self.on_the_other_side())
            }
            Reach::Negative => {
                let reason =
                    format!("the {side} limit of {} {unit} can never bind: this is never negative", short(*limit));
                Verdict::not_shown(reason).settled_by(format!("Correct the {side} limit, or leave it out."))
            }
        }
    }

    /// `Give the largest compression as lower = -1100.`
    fn on_the_other_side(&self) -> String {
        let (what, key) = if self.side == "upper" { ("compression", "lower") } else { ("tension", "upper") };
        let limit = if self.limit == 0.0 { "a number".to_owned() } else { short(-self.limit) };
        format!("Give the largest {what} as {key} = {limit}.")
    }

    pub(super) fn warning(self, requirement: &str) -> Warning {
        let requirement = requirement.to_owned();
        let Self { side, limit, reach, unit } = self;
        match reach {
            Reach::Beyond(reach) => Warning::NeverBinds { requirement, side, limit, reach, unit },
            Reach::Negative => Warning::NeverBinds { requirement, side, limit, reach: 0.0, unit },
            Reach::OtherSign(min, max) => {
                Warning::NeverOnThatSide { requirement, side, limit, range: (min, max), cure: self.on_the_other_side() }
            }
        }
    }
}

/// A number of any size in few characters.
pub(crate) fn short(value: f64) -> String {
    if value.abs() < 1e6 { format!("{}", (value * 1e3).round() / 1e3) } else { format!("{value:.3e}") }
}
