//! Limits that can never bind: a slipped unit or digit, or a stand-in for "no limit". What is kept by such a limit is not shown to be right.

use crate::result::WorstCase;
use crate::stack::{Requirement, Stack};
use crate::warning::Warning;
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
    /// Nothing in this bay can be larger.
    reach: f64,
    unit: &'static str,
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
    let sides = [("lower", asked.lower), ("upper", asked.upper)];
    sides
        .into_iter()
        .filter_map(|(side, limit)| limit.map(|limit| Idle { side, limit, reach, unit }))
        .filter(|idle| idle.limit.abs() > idle.reach)
        // A lower limit far above all, or an upper one far below, binds always: it is not met, and the share says so.
        .filter(|idle| (idle.side == "upper") == (idle.limit > 0.0))
        .collect()
}

impl Idle {
    pub(super) fn verdict(&self) -> Verdict {
        let Self { side, limit, reach, unit } = self;
        let reason = format!(
            "the {side} limit of {} {unit} can never bind: nothing here reaches {} {unit}",
            short(*limit),
            short(*reach)
        );
        Verdict::not_shown(reason).settled_by(format!("Correct the {side} limit, or leave it out."))
    }

    pub(super) fn warning(self, requirement: &str) -> Warning {
        let Self { side, limit, reach, unit } = self;
        Warning::NeverBinds { requirement: requirement.to_owned(), side, limit, reach, unit }
    }
}

/// A number of any size in few characters.
pub(crate) fn short(value: f64) -> String {
    if value.abs() < 1e6 { format!("{}", (value * 1e3).round() / 1e3) } else { format!("{value:.3e}") }
}
