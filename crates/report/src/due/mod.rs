//! The plan of a fleet: who is due when, in which service window, with which corrections, and what comes of doing nothing.
//!
//! Every listing puts the overdue first, then the late, then the earliest latest day.

mod icalendar;
mod interval;
mod json;
mod outlook;
mod page;
mod tables;
mod text;
mod timeline;

pub use icalendar::icalendar;
pub use json::{acceptable, json};
pub use page::page;
pub use tables::tables;
pub use text::text;

use crate::calendar;
use crate::figure::{Error, Figure, unique};
use crate::table::Standing;
use packdrift_due::{DueResult, EngineDue, EngineStatus, NoDate, ValveWork};

/// Everything that is drawn: the timeline, the months to come, and the cost of each interval where costs are given.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(result: &DueResult) -> Result<Vec<Figure>, Error> {
    let mut figures = Vec::new();
    figures.extend(timeline::figure(result)?);
    figures.extend(outlook::figure(result)?);
    for interval in &result.intervals {
        figures.push(interval::figure(interval, result)?);
    }
    unique(&mut figures.iter_mut().collect::<Vec<_>>());
    Ok(figures)
}

/// How much a status weighs.
fn standing(status: EngineStatus) -> Standing {
    match status {
        EngineStatus::Overdue | EngineStatus::Late | EngineStatus::Due => Standing::Act,
        EngineStatus::Watch => Standing::Attend,
        EngineStatus::InWindow => Standing::Good,
    }
}

/// The word of a status: of an engine's date, not of a valve's level.
fn word(status: EngineStatus) -> &'static str {
    match status {
        EngineStatus::InWindow => "not yet",
        other => other.name(),
    }
}

/// The latest day, or why there is none.
fn latest(engine: &EngineDue) -> String {
    match (engine.due, engine.no_date) {
        (Some(day), _) if day < engine.last_day => format!("before {}", calendar::iso(engine.last_day)),
        (Some(day), _) => calendar::iso(day),
        (None, Some(NoDate::UsageUnknown)) => "hours a week unknown".to_owned(),
        (None, _) => "not within 10 years".to_owned(),
    }
}

/// `window 1, 2027-03-01 … 2027-03-12`.
fn window_name(result: &DueResult, index: usize) -> String {
    let window = &result.plan.windows[index];
    format!("{} … {}", calendar::iso(window.start), calendar::iso(window.end))
}

/// Where an engine's work has its place: the window's first day, at once, or none.
fn place(result: &DueResult, engine: &EngineDue) -> String {
    match engine.window {
        Some(w) => calendar::iso(result.plan.windows[w].start),
        None if engine.at_once => "at once".to_owned(),
        None => "none".to_owned(),
    }
}

/// What is done to a valve: shims, new parts, or both.
fn remedy(work: &ValveWork) -> String {
    let renewed: Vec<String> = work.renew.iter().map(|f| f.replace('_', " ")).collect();
    match (work.correction.is_some(), renewed.is_empty()) {
        (true, true) => "shims".to_owned(),
        (true, false) => format!("shims, and a new part for {}", renewed.join(" and ")),
        (false, false) => format!("a new part for {}", renewed.join(" and ")),
        (false, true) => "look at it".to_owned(),
    }
}

/// Why engines are done at once, and what the shims of a worn part are: said beside the work.
const AT_ONCE: &str = "Their latest date has passed: by the policy's own risk they do not wait for a window.";

/// Beside work on worn parts.
const NEW_PARTS: &str = "A worn stem or adjuster is not mended by shims: the part is renewed, and the offset measured and shimmed once the new one is in.";

/// Whether anything is worn and not merely out of place.
fn renews(result: &DueResult) -> bool {
    result.engines.iter().any(|e| e.work.iter().any(|w| !w.renew.is_empty()))
}

/// Engines of a status.
fn having(result: &DueResult, status: EngineStatus) -> Vec<&EngineDue> {
    result.engines.iter().filter(|e| e.status == status).collect()
}

/// `E01, E07 and E12`, cut after eight names.
fn listed(names: &[&str]) -> String {
    const MOST: usize = 8;
    let names: Vec<String> = names.iter().map(|n| crate::text::clean(n)).collect();
    match names.as_slice() {
        [] => String::new(),
        [only] => only.clone(),
        many if many.len() > MOST => format!("{} and {} more", many[..MOST].join(", "), many.len() - MOST),
        [init @ .., last] => format!("{} and {last}", init.join(", ")),
    }
}
