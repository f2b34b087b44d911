//! The plan for the terminal: the answer, who is due when, the windows and their work, the order, the next looks, the months to come, the
//! cheapest interval, and scenarios side by side.

use super::answer::{sentence, standing, summary};
use super::tables::{self, Of};
use super::words::{AT_ONCE, NEW_PARTS, cost, renews, window_name};
use super::{Planned, scenarios};
use crate::calendar::iso;
use crate::number::{chance, counted, fixed, significant};
use crate::page::PLANNING_CAUTIONS;
use crate::text::{clean, wrapped};
use packdrift_due::{DueResult, Interval};
use std::fmt::Write as _;

/// Engines listed; the rest is counted.
const SHOWN: usize = 40;

/// Looks listed.
const LOOKS: usize = 12;

/// The plan as text.
pub fn text(planned: Planned<'_>) -> String {
    let result = planned.result;
    let mut out = format!("{} {}", standing(result).shape(), wrapped(&sentence(result), 100, 2).trim_start());
    out.push_str(&wrapped(&summary(result), 100, 2));
    out.push_str("\nEngines by latest date\n");
    out.push_str(&tables::engines(result, SHOWN).with_columns(&tables::NARROW).text(2));
    let rest = result.engines.len().saturating_sub(SHOWN);
    if rest > 0 {
        let _ = writeln!(out, "  and {} more: see the tables or the JSON.", counted(rest, "engine"));
    }
    out.push_str(&work(result));
    let order = tables::short_order(result);
    if !order.rows.is_empty() {
        let _ = writeln!(out, "\nParts to order (expected numbers; tables/demand.csv is what stock reads)");
        out.push_str(&order.text(2));
    }
    let looks = tables::looks(result);
    if !looks.rows.is_empty() {
        let more = looks.rows.len().saturating_sub(LOOKS);
        let mut listed = looks.with_columns(&["look_by", "engine", "because", "valves_first", "chance_then"]);
        listed.rows.truncate(LOOKS);
        let _ = writeln!(out, "\nWhen to look next\n{}", listed.text(2).trim_end());
        if more > 0 {
            let _ = writeln!(out, "  and {} more: see tables/looks.csv.", counted(more, "engine"));
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
    if let Some(comparison) = planned.comparison {
        out.push_str(&scenarios::text(comparison));
    }
    out.push_str("\nTake care\n");
    for caution in PLANNING_CAUTIONS {
        out.push_str(&wrapped(caution, 98, 2));
    }
    out
}

/// What is done at once and in each window.
fn work(result: &DueResult) -> String {
    let mut out = String::new();
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
    out
}

/// What comes of doing nothing, and of the plan. Two measures, each by its own name: valves that are in the zone on a day, and engines that
/// have entered it at some time before they are done.
pub(super) fn outlook_lines(result: &DueResult) -> Vec<String> {
    let plan = &result.plan;
    let mut lines = Vec::new();
    if let (Some(now), Some(then)) = (result.months.first(), result.months.get(12).or(result.months.last())) {
        lines.push(format!(
            "In the damage zone on {}: {} valves are expected if nothing is done, {} by the plan ({} today).",
            iso(then.day),
            fixed(then.valves, 1),
            fixed(then.valves_with_plan, 1),
            fixed(now.valves, 1)
        ));
    }
    lines.push(format!(
        "Entered before they are done, at whatever time: {} engines are expected by the plan; {} if nothing is done until {}.",
        fixed(plan.expected_late, 1),
        fixed(plan.expected_late_undone, 1),
        iso(plan.end)
    ));
    if let (Some(with), Some(without)) = (plan.expected_cost, plan.expected_cost_undone) {
        lines.push(format!(
            "Expected cost until {}: {} by the plan, {} if nothing is done.",
            iso(plan.end),
            cost(result, with),
            cost(result, without)
        ));
    }
    lines
}

/// The cheapest intervals in words.
pub(super) fn interval_lines(result: &DueResult) -> Vec<String> {
    result.intervals.iter().map(|i| interval_line(result, i)).collect()
}

fn interval_line(result: &DueResult, i: &Interval) -> String {
    let who = format!("{} with {}", counted(i.engines, "engine"), clean(&i.valves));
    let Some(best) = i.cheapest else {
        return format!("Cheapest interval, {who}: none within what was looked at; waiting costs less.");
    };
    let mut line = format!("Cheapest interval, {who}: {} h", significant(best.hours, 3));
    match i.band {
        (Some(low), Some(high)) => {
            let _ = write!(
                line,
                ", and with 90 % confidence between {} and {} h",
                significant(low, 2),
                significant(high, 2)
            );
        }
        (Some(low), None) => {
            let _ = write!(
                line,
                ", and with 95 % confidence above {} h; the readings set it no upper end",
                significant(low, 2)
            );
        }
        _ => {}
    }
    let _ = write!(
        line,
        "; {} per 1000 h with a chance of {} to enter the damage zone within it",
        cost(result, best.cost),
        chance(best.chance)
    );
    if let Some(wait) = i.run_to_failure {
        let _ = write!(line, ", while waiting for the damage zone costs {}", cost(result, wait));
    }
    if let Some(at) = i.at_risk {
        let _ = write!(line, ". The accepted risk is reached after {} h", significant(at, 3));
    }
    line.push('.');
    line
}
