//! The answer: what to do first, what comes too late, what is not known, and how it was judged.

use super::words::{feature, having, latest, listed, remedy_of};
use crate::calendar::iso;
use crate::number::{counted, fixed, percent};
use crate::table::Standing;
use crate::text::clean;
use packdrift_due::{DueResult, EngineDue, EngineStatus};
use packdrift_verdict::Standing as Verdicts;
use std::fmt::Write as _;

/// Engines named in a sentence.
const NAMED: usize = 8;

/// How good the whole is.
pub(super) fn standing(result: &DueResult) -> Standing {
    let worst = result.engines.iter().map(|e| e.status).min();
    match worst {
        Some(EngineStatus::NotYet) => Standing::Good,
        // No engine was judged, so none is in order.
        None => Standing::Attend,
        Some(status) if status.is_past() => Standing::Act,
        Some(_) => Standing::Attend,
    }
}

/// What to do first, in sentences.
pub(super) fn sentence(result: &DueResult) -> String {
    let mut said = Vec::new();
    let overdue = having(result, EngineStatus::Overdue);
    if !overdue.is_empty() {
        let them = if overdue.len() == 1 { "it" } else { "them" };
        let names: Vec<String> = overdue.iter().map(|e| with_cause(result, e)).collect();
        said.push(format!("Overdue: {}. Do {them} before running on, or look at {them} now.", listed(&names, NAMED)));
    }
    let late = having(result, EngineStatus::Late);
    if !late.is_empty() {
        let names: Vec<String> = late.iter().map(|e| clean(&e.engine)).collect();
        said.push(format!("The latest date of {} is past: next in turn.", listed(&names, NAMED)));
    }
    let open = having(result, EngineStatus::ReadAgain);
    if !open.is_empty() {
        let names: Vec<String> = open.iter().map(|e| clean(&e.engine)).collect();
        said.push(format!("Read again before the plan is kept: {}.", listed(&names, NAMED)));
    }
    if overdue.is_empty() && late.is_empty() {
        said.push(match result.engines.iter().find(|e| e.due.is_some()) {
            Some(first) => format!(
                "Nothing is overdue. First comes {}, by {} at the latest.",
                with_cause(result, first),
                latest(result, first)
            ),
            None if result.verdict().is_shown() => {
                "Nothing is overdue, and no engine has a date within ten years.".to_owned()
            }
            None => "Nothing is seen to be overdue, and no engine has a date.".to_owned(),
        });
    }
    said.extend(too_late(result));
    said.join(" ")
}

/// `P09 (2 exhaust, stem wear: a new part for stem wear)`.
fn with_cause(result: &DueResult, engine: &EngineDue) -> String {
    let name = clean(&engine.engine);
    if engine.first_valve.is_empty() || engine.first_feature.is_empty() {
        return name;
    }
    let remedy = remedy_of(result, &engine.first_feature);
    format!("{name} ({}, {}: {remedy})", clean(&engine.first_valve), feature(&engine.first_feature))
}

/// Engines whose place comes after their latest date.
fn too_late(result: &DueResult) -> Option<String> {
    let late: Vec<&EngineDue> = result.late().into_iter().filter(|e| e.window.is_some()).collect();
    let first = result.plan.windows.first()?;
    if late.is_empty() {
        return None;
    }
    let names: Vec<String> =
        late.iter().map(|e| format!("{} by {}", clean(&e.engine), counted(e.days_late as usize, "day"))).collect();
    let before = late.iter().filter(|e| e.due.is_some_and(|d| d < first.start)).count();
    let cure = if before == late.len() {
        "do them before it, or open a window earlier"
    } else {
        "do them before it, or give the windows more places"
    };
    let (has, its) = if late.len() == 1 { ("has its place", "its") } else { ("have their places", "their") };
    Some(format!(
        "{} {has} after {its} latest date ({}): {cure}.",
        counted(late.len(), "engine"),
        listed(&names, NAMED)
    ))
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
    let told: Vec<String> = EngineStatus::ALL
        .into_iter()
        .filter_map(|status| {
            let n = having(result, status).len();
            let always =
                !matches!(status, EngineStatus::ReadAgain | EngineStatus::NotShown | EngineStatus::TooCloseToTell);
            let explained = match status {
                EngineStatus::Overdue => {
                    "overdue (a valve was read in its damage zone, or is there more likely than not)".to_owned()
                }
                EngineStatus::Late => "late (the latest date is past)".to_owned(),
                EngineStatus::Due => format!("due within {} h", fixed(result.horizon, 0)),
                other => other.name().to_owned(),
            };
            (n > 0 || always).then(|| format!("{explained} {n}"))
        })
        .collect();
    let mut tally = told.join(", ");
    if let Some(first) = tally.get_mut(0..1) {
        first.make_ascii_uppercase();
    }
    let _ = write!(out, " {tally}.");
    let verdict = result.verdict();
    let open = verdict.exit_status() != 0 && verdict.standing() != Verdicts::Adverse;
    if let (true, Some(what)) = (open, verdict.what_settles_it()) {
        let _ = write!(out, " What would settle it: {}", clean(what));
    }
    out
}
