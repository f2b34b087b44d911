//! Limits that can never bind: a slipped unit or digit, a stand-in for "no limit", a limit on tension where the stress is compression. What is kept by
//! such a limit is not shown to be right.

use super::requirement::title;
use crate::error::SpreadError;
use crate::pack_model::PackModel;
use crate::result::WorstCase;
use crate::stack::{Requirement, Stack};
use crate::warning::Warning;
use crate::worst_case::{LimitBox, worst_case};
use packdrift_pack::QuantityKind;
use packdrift_verdict::Verdict;
use rayon::prelude::*;

/// Loads and stresses this many times the largest that the pack reaches are no limits: common practice, no source. (A length has an own reach: the
/// span.)
const BEYOND: f64 = 100.0;
/// A pack that carries next to nothing says little of what a limit may be: loads and stresses are reckoned from here, N or MPa.
const LEAST: f64 = 10.0;

/// A limit that can never bind ([`never_binding`]): what is kept by it is not shown to be right.
#[derive(Debug, Clone, PartialEq)]
pub struct NeverBinds {
    /// Index of its requirement in the stack.
    pub requirement: usize,
    /// The requirement's name, with its condition.
    pub title: String,
    /// `lower` or `upper`.
    pub side: &'static str,
    limit: f64,
    reach: Reach,
    unit: &'static str,
}

/// The limits of a stack's requirements that can never bind; lengths in mm.
///
/// # Errors
/// A requirement that has no value anywhere within the limits of the dimensions, for another reason than that its bay cannot be assembled.
pub fn never_binding(stack: &Stack) -> Result<Vec<NeverBinds>, SpreadError> {
    let model = PackModel::new(stack)?;
    let ranges = LimitBox::of_stack(stack);
    let nominals: Vec<f64> = stack.inputs.iter().map(|input| input.nominal).collect();
    let limited = |r: &Requirement| r.lower.is_some() || r.upper.is_some();
    let of = |k: usize| {
        let uses = model.only(k).uses();
        let worst = worst_case(&model, k, &ranges.only(&uses))?;
        Ok(limits(stack, k, &worst, &nominals))
    };
    let all: Vec<usize> = (0..stack.requirements.len()).filter(|&k| limited(&stack.requirements[k])).collect();
    let found: Result<Vec<Vec<NeverBinds>>, SpreadError> = all.into_par_iter().map(of).collect();
    Ok(found?.into_iter().flatten().collect())
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
pub(super) fn limits(stack: &Stack, requirement: usize, worst: &WorstCase, nominals: &[f64]) -> Vec<NeverBinds> {
    let asked = &stack.requirements[requirement];
    let unit = asked.quantity.kind().unit();
    let span = nominals[stack.pack.bays[asked.quantity.bay()].span.0].abs();
    let reach = match unit {
        "mm" => Some(span),
        // What cannot be assembled anywhere says nothing of loads.
        _ => worst.min.zip(worst.max).map(|(min, max)| BEYOND * min.abs().max(max.abs()).max(LEAST)),
    };
    let Some(reach) = reach else { return Vec::new() };
    let of = |(side, limit, reach)| {
        let title = title(stack, asked);
        NeverBinds { requirement, title, side, limit, reach, unit }
    };
    let alone = (asked.quantity.kind() == QuantityKind::Stress).then(|| of_other_sign(asked, worst)).flatten();
    if let Some(alone) = alone.or_else(|| below_nothing(asked)) {
        return vec![of(alone)];
    }
    let sides = [("lower", asked.lower), ("upper", asked.upper)];
    sides
        .into_iter()
        .filter_map(|(side, limit)| limit.map(|limit| (side, limit, Reach::Beyond(reach))))
        .filter(|(_, limit, _)| limit.abs() > reach)
        // A lower limit far above all, or an upper one far below, binds always: it is not met, and the share says so.
        .filter(|(side, limit, _)| (*side == "upper") == (*limit > 0.0))
        .map(of)
        .collect()
}

/// Which limit never binds, and why.
type Why = (&'static str, f64, Reach);

/// The only limit of a stress, on the side to which it never goes: an upper one above 0 where all of it is compression, a lower one below 0 where all is
/// tension.
fn of_other_sign(asked: &Requirement, worst: &WorstCase) -> Option<Why> {
    let (min, max) = worst.min.zip(worst.max)?;
    let idle = |side, limit| Some((side, limit, Reach::OtherSign(min, max)));
    match (asked.lower, asked.upper) {
        (None, Some(upper)) if upper >= 0.0 && max <= 0.0 && min < 0.0 => idle("upper", upper),
        (Some(lower), None) if lower <= 0.0 && min >= 0.0 && max > 0.0 => idle("lower", lower),
        _ => None,
    }
}

/// A lower limit below 0 of what is never negative, or one of 0 alone: a slipped sign.
fn below_nothing(asked: &Requirement) -> Option<Why> {
    let kind = asked.quantity.kind();
    let never_negative = matches!(
        kind,
        QuantityKind::Preload | QuantityKind::Height | QuantityKind::Play | QuantityKind::ContactPressure
    );
    let lower = asked.lower.filter(|_| never_negative)?;
    let idles = lower < 0.0 || (lower == 0.0 && asked.upper.is_none());
    idles.then_some(("lower", lower, Reach::Negative))
}

impl NeverBinds {
    /// Not shown, and why.
    pub fn verdict(&self) -> Verdict {
        let Self { side, limit, reach, unit, .. } = self;
        match reach {
            Reach::Beyond(reach) => {
                let reason = format!(
                    "the {side} limit of {} {unit} can never bind: nothing here reaches {} {unit}",
                    short(*limit),
                    short(*reach)
                );
                Verdict::not_shown(reason).settled_by(self.cure())
            }
            Reach::OtherSign(min, max) => {
                let reason = format!(
                    "the {side} limit of {} {unit} can never be reached: the stress there is {} in its whole range, {} to {} {unit}",
                    short(*limit),
                    if *side == "upper" { "compression, negative," } else { "tension, positive," },
                    short(*min),
                    short(*max)
                );
                Verdict::not_shown(reason).settled_by(self.cure())
            }
            Reach::Negative => {
                let reason =
                    format!("the {side} limit of {} {unit} can never bind: this is never negative", short(*limit));
                Verdict::not_shown(reason).settled_by(self.cure())
            }
        }
    }

    /// The same without figures, for answers in whatever unit.
    pub fn verdict_without_figures(&self) -> Verdict {
        let why = match self.reach {
            Reach::Beyond(_) => "nothing here reaches it",
            Reach::OtherSign(..) => "the stress there never has that sign",
            Reach::Negative => "this is never negative",
        };
        let reason = format!("the {} limit of {} can never bind: {why}", self.side, self.title);
        Verdict::not_shown(reason).settled_by(self.cure())
    }

    fn cure(&self) -> String {
        match self.reach {
            Reach::OtherSign(..) => self.on_the_other_side(),
            Reach::Beyond(_) | Reach::Negative => format!("Correct the {} limit, or leave it out.", self.side),
        }
    }

    /// `Give the largest compression as lower = -1100.`
    fn on_the_other_side(&self) -> String {
        let (what, key) = if self.side == "upper" { ("compression", "lower") } else { ("tension", "upper") };
        let limit = if self.limit == 0.0 { "a number".to_owned() } else { short(-self.limit) };
        format!("Give the largest {what} as {key} = {limit}.")
    }

    /// The question to whoever wrote the limit.
    pub fn warning(&self) -> Warning {
        let requirement = self.title.clone();
        let Self { side, limit, reach, unit, .. } = *self;
        match reach {
            Reach::Beyond(reach) => Warning::NeverBinds { requirement, side, limit, reach: Some(reach), unit },
            Reach::Negative => Warning::NeverBinds { requirement, side, limit, reach: None, unit },
            Reach::OtherSign(min, max) => {
                Warning::NeverOnThatSide { requirement, side, limit, range: (min, max), cure: self.on_the_other_side() }
            }
        }
    }

    /// The same with its lengths in inches of 25.4 mm.
    #[must_use]
    pub fn in_inches(mut self) -> Self {
        if self.unit == "mm" {
            self.unit = "in";
            self.limit /= 25.4;
            if let Reach::Beyond(reach) = &mut self.reach {
                *reach /= 25.4;
            }
        }
        self
    }
}

/// A number of any size in few characters: three decimals, of a small one three digits.
pub(crate) fn short(value: f64) -> String {
    let size = value.abs();
    match size {
        _ if size >= 1e6 => format!("{value:.3e}"),
        // A thousandth of an inch is 0.001: its limits have more digits than that.
        _ if size < 1.0 => format!("{}", (value * 1e5).round() / 1e5),
        _ => format!("{}", (value * 1e3).round() / 1e3),
    }
}
