//! The plan for the terminal: what is overdue, who is due when, the windows and their work, the months to come, the cheapest interval.

use super::tables::{self, Of};
use super::{AT_ONCE, NEW_PARTS, having, latest, listed, renews, window_name};
use crate::calendar::iso;
use crate::number::{chance, counted, fixed, percent, significant};
use crate::page::PLANNING_CAUTIONS;
use crate::text::{clean, wrapped};
use packdrift_due::{DueResult, EngineDue, EngineStatus};
use std::fmt::Write as _;

/// Engines listed; the rest is counted.
const SHOWN: usize = 40;

/// The plan as text.
pub fn text(result: &DueResult) -> String {
    let mut out = wrapped(&sentence(result), 100, 0);
    out.push_str(&wrapped(&summary(result), 100, 0));
    out.push_str("\nEngines by latest date\n");
    out.push_str(&tables::engines(result, SHOWN).text(2));
    let rest = result.engines.len().saturating_sub(SHOWN);
    if rest > 0 {
        let _ = writeln!(out, "  and {} more: see the tables or the JSON.", counted(rest, "engine"));
    }
    let at_once = tables::work(result, Of::AtOnce);
    if !at_once.rows.is_empty() {
        let _ = writeln!(out, "\nAt once, outside the windows\n{}", at_once.text(2).trim_end());
        out.push_str(&wrapped(
            &format!("{AT_ONCE} (With --late-in-windows they do, and take the first places.)"),
            98,
            2,
        ));
    }
    for (k, window) in result.plan.windows.iter().enumerate() {
        let _ = writeln!(
            out,
            "\nWindow {}: {} of {} places taken",
            window_name(result, k),
            window.engines.len(),
            window.capacity
        );
        if !window.engines.is_empty() {
            out.push_str(&tables::work(result, Of::Window(k)).text(2));
        }
    }
    if renews(result) {
        out.push('\n');
        out.push_str(&wrapped(NEW_PARTS, 100, 0));
    }
    for line in outlook_lines(result).into_iter().chain(interval_lines(result)) {
        out.push('\n');
        out.push_str(&wrapped(&line, 100, 0));
    }
    out.push_str("\nTake care\n");
    for caution in PLANNING_CAUTIONS {
        out.push_str(&wrapped(caution, 98, 2));
    }
    out
}

fn names<'a>(engines: &[&'a EngineDue]) -> Vec<&'a str> {
    engines.iter().map(|e| e.engine.as_str()).collect()
}

/// What to do first.
pub(super) fn sentence(result: &DueResult) -> String {
    let (overdue, late) = (having(result, EngineStatus::Overdue), having(result, EngineStatus::Late));
    let mut said = Vec::new();
    if !overdue.is_empty() {
        let them = if overdue.len() == 1 { "it" } else { "them" };
        said.push(format!(
            "Overdue: {}. Do {them} before running on, or look at {them} now.",
            listed(&names(&overdue))
        ));
    }
    if !late.is_empty() {
        said.push(format!("The latest date of {} has passed: next in turn.", listed(&names(&late))));
    }
    if !said.is_empty() {
        return said.join(" ");
    }
    match result.engines.iter().find(|e| e.due.is_some()) {
        Some(first) => {
            format!("Nothing is overdue. First comes {}, by {} at the latest.", clean(&first.engine), latest(first))
        }
        None => "Nothing is overdue, and no engine has a date within ten years.".to_owned(),
    }
}

/// How it was judged, in a line or two.
pub(super) fn summary(result: &DueResult) -> String {
    let mut out = format!(
        "{} on {}, as of {}. Latest date: the last day on which the chance that any valve of the engine has entered its damage zone is \
         below {}.",
        counted(result.valves, "valve"),
        counted(result.engines.len(), "engine"),
        iso(result.today),
        percent(result.risk)
    );
    let n = |s| having(result, s).len();
    let _ = write!(
        out,
        " Overdue (a valve is in its damage zone more likely than not) {}, late (the date has passed) {}, due within {} h {}, watch {}, \
         not yet {}.",
        n(EngineStatus::Overdue),
        n(EngineStatus::Late),
        fixed(result.horizon, 0),
        n(EngineStatus::Due),
        n(EngineStatus::Watch),
        n(EngineStatus::InWindow)
    );
    out
}

/// What comes of doing nothing, and of the plan.
pub(super) fn outlook_lines(result: &DueResult) -> Vec<String> {
    let plan = &result.plan;
    let mut lines = Vec::new();
    if let (Some(now), Some(then)) = (result.months.first(), result.months.get(12).or(result.months.last())) {
        lines.push(format!(
            "If nothing is done, {} valves are expected in the damage zone by {} ({} now); by the plan {}.",
            fixed(then.valves, 1),
            iso(then.day),
            fixed(now.valves, 1),
            fixed(then.valves_with_plan, 1)
        ));
    }
    lines.push(format!(
        "By the plan {} engines are expected to have entered the damage zone before they are done; if nothing is done until {}, {}.",
        fixed(plan.expected_late, 1),
        iso(plan.end),
        fixed(plan.expected_late_undone, 1)
    ));
    lines
}

/// The cheapest intervals in words.
pub(super) fn interval_lines(result: &DueResult) -> Vec<String> {
    result
        .intervals
        .iter()
        .map(|i| {
            let who = format!("{} with {}", counted(i.engines, "engine"), clean(&i.valves));
            match (i.cheapest, i.run_to_failure) {
                (Some(best), wait) => {
                    let mut line = format!(
                        "Cheapest interval, {who}: {} h, at {} per 1000 h with a chance of {} to enter the damage zone within it",
                        significant(best.hours, 3),
                        significant(best.cost, 3),
                        chance(best.chance)
                    );
                    if let Some(wait) = wait {
                        let _ = write!(line, "; waiting for the damage zone costs {}", significant(wait, 3));
                    }
                    if let Some(at) = i.at_risk {
                        let _ = write!(line, ". The accepted risk is reached after {} h", significant(at, 3));
                    }
                    line.push('.');
                    line
                }
                (None, _) => format!("Cheapest interval, {who}: none within what was looked at; waiting costs less."),
            }
        })
        .collect()
}
