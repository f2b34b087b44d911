//! One word for one thing: statuses, dates, places, and what is done to a valve.

use crate::calendar;
use crate::number::{counted, plus_minus};
use crate::table::Standing;
use crate::text::clean;
use packdrift_due::{DueResult, EngineDue, EngineStatus, LookFor, NoDate, Ordered, PlaceReason, ValveWork};
use packdrift_trend::Status;

/// How much a status weighs.
pub(super) fn standing(status: EngineStatus) -> Standing {
    match status {
        EngineStatus::Overdue | EngineStatus::Late | EngineStatus::Due => Standing::Act,
        EngineStatus::NotYet => Standing::Good,
        _ => Standing::Attend,
    }
}

/// The same of a valve.
pub(super) fn valve_standing(status: Status) -> Standing {
    match status {
        Status::Overdue | Status::Due => Standing::Act,
        Status::InWindow => Standing::Good,
        _ => Standing::Attend,
    }
}

/// A valve's word beside service windows: what `trend` calls `in window` is `not yet` here, as of an engine, so that one word is one thing.
pub(super) fn valve_word(status: Status) -> &'static str {
    match status {
        Status::InWindow => EngineStatus::NotYet.name(),
        other => other.name(),
    }
}

/// The latest date, called past where it is, or why there is none.
pub(super) fn latest(result: &DueResult, engine: &EngineDue) -> String {
    match (engine.due, engine.no_date) {
        (Some(day), _) if day < engine.last_day => format!("past, before {}", calendar::iso(engine.last_day)),
        (Some(day), _) if day < result.today => format!("past, {}", calendar::iso(day)),
        (Some(day), _) => calendar::iso(day),
        (None, Some(NoDate::UsageUnknown)) => "hours a week unknown".to_owned(),
        (None, Some(NoDate::NotForecast)) => "no forecast".to_owned(),
        (None, _) => "not within 10 years".to_owned(),
    }
}

/// `2027-03-01 … 2027-03-12`.
pub(super) fn window_name(result: &DueResult, index: usize) -> String {
    let window = &result.plan.windows[index];
    format!("{} … {}", calendar::iso(window.start), calendar::iso(window.end))
}

/// Where an engine's work has its place: the window's first day, at once, a day of its own, or none.
pub(super) fn place(result: &DueResult, engine: &EngineDue) -> String {
    match engine.window {
        Some(w) => calendar::iso(result.plan.windows[w].start),
        None if engine.at_once => "at once".to_owned(),
        None if has_own_day(result, engine) => format!("on {}", calendar::iso(engine.done)),
        None => "none".to_owned(),
    }
}

/// Pinned to a day outside the windows.
pub(super) fn has_own_day(result: &DueResult, engine: &EngineDue) -> bool {
    engine.window.is_none() && !engine.at_once && engine.done < result.plan.end
}

/// `stem_wear` as people read it.
pub(super) fn feature(name: &str) -> String {
    clean(&name.replace('_', " "))
}

/// What mends a feature that has drifted out: shims the offset, a new part what has worn.
pub(super) fn remedy_of(result: &DueResult, name: &str) -> &'static str {
    if name == result.offset_feature { "shims" } else { "a new part" }
}

/// What is done to a valve, in a word or two: the causes stand beside it.
pub(super) fn remedy_in_short(work: &ValveWork) -> &'static str {
    match (work.correction.is_some(), work.renew.is_empty()) {
        (true, true) => "shims",
        (true, false) => "shims, new part",
        (false, false) => "new part",
        (false, true) => "look at it",
    }
}

/// Why an engine has its place where it has it.
pub(super) fn because(engine: &EngineDue) -> &'static str {
    match engine.because {
        None => "",
        Some(PlaceReason::Date) if engine.days_late > 0 => "first to be had",
        Some(PlaceReason::Date) => "its date",
        Some(PlaceReason::Cost) => "cheaper than to wait",
        Some(PlaceReason::Room) => "later ones are full",
        Some(PlaceReason::Pinned) => "by the scenario",
    }
}

/// What is done to a valve: shims, new parts, or both.
pub(super) fn remedy(work: &ValveWork) -> String {
    let renewed: Vec<String> = work.renew.iter().map(|f| feature(f)).collect();
    match (work.correction.is_some(), renewed.is_empty()) {
        (true, true) => "shims".to_owned(),
        (true, false) => format!("shims, and a new part for {}", renewed.join(" and ")),
        (false, false) => format!("a new part for {}", renewed.join(" and ")),
        (false, true) => "look at it".to_owned(),
    }
}

/// `1 exhaust: shims, −0.41 ± 0.03 mm`.
pub(super) fn job(work: &ValveWork, unit: &str) -> String {
    let by = work.correction.map_or_else(String::new, |c| format!(", {} {unit}", plus_minus(c.mean, c.sd)));
    format!("{}: {}{by}", clean(&work.valve), remedy(work))
}

/// What an engine's work comes to: `2 shims, 1 new part`; by the first valve's cause where nothing is planned yet.
pub(super) fn jobs(result: &DueResult, engine: &EngineDue) -> String {
    if engine.work.is_empty() {
        return match engine.first_feature.as_str() {
            "" => String::new(),
            name if name == result.offset_feature => "shims".to_owned(),
            _ => "new part".to_owned(),
        };
    }
    let shims = engine.work.iter().filter(|w| w.correction.is_some()).count();
    let parts: usize = engine.work.iter().map(|w| w.renew.len()).sum();
    let mut said = Vec::new();
    if shims > 0 {
        said.push(format!("shims {shims}"));
    }
    if parts > 0 {
        said.push(format!("new parts {parts}"));
    }
    if said.is_empty() {
        said.push(format!("look at {}", counted(engine.work.len(), "valve")));
    }
    said.join(", ")
}

/// The first valve to enter and by what: `2 exhaust, stem wear`.
pub(super) fn first(engine: &EngineDue) -> String {
    match (engine.first_valve.as_str(), engine.first_feature.as_str()) {
        ("", _) => String::new(),
        (valve, "") => clean(valve),
        (valve, by) => format!("{}, {}", clean(valve), feature(by)),
    }
}

/// A part to be ordered.
pub(super) fn ordered(part: &Ordered) -> String {
    match part {
        Ordered::Shims { from, to, .. } => {
            let [from, to] = [*from, *to].map(|at| crate::number::fixed(at, digits(to - from)));
            format!("shims, correction {from} to {to}")
        }
        Ordered::NewPart { feature: name } => format!("new part, {}", feature(name)),
        _ => String::new(),
    }
}

/// Decimal places of sizes that lie so far apart: two in steps of 0.05 mm, three in those of 0.002 in.
pub(super) fn digits(step: f64) -> i32 {
    if step < 0.01 { 3 } else { 2 }
}

/// Why an engine is to be looked at.
pub(super) fn look_for(because: LookFor) -> &'static str {
    match because {
        LookFor::Verdict => "its verdict is open",
        LookFor::Worth => "a reading is worth more than it costs",
        LookFor::Risk => "the risk would be passed unseen",
        _ => "",
    }
}

/// A sum of money, or of whatever the policy counts in.
pub(super) fn cost(result: &DueResult, cost: f64) -> String {
    let number = crate::number::significant(cost, 3);
    if result.cost_unit.is_empty() { number } else { format!("{number} {}", clean(&result.cost_unit)) }
}

/// Why engines are done at once: said beside the work.
pub(super) const AT_ONCE: &str = "Their latest date is past: by the policy's own risk they do not wait for a window.";

/// Beside work on worn parts.
pub(super) const NEW_PARTS: &str = "A worn stem or adjuster is not mended by shims: the part is renewed, and the offset measured and shimmed once the new one is in.";

/// Whether anything is worn and not merely out of place.
pub(super) fn renews(result: &DueResult) -> bool {
    result.engines.iter().any(|e| e.work.iter().any(|w| !w.renew.is_empty()))
}

/// Engines of a status.
pub(super) fn having(result: &DueResult, status: EngineStatus) -> Vec<&EngineDue> {
    result.engines.iter().filter(|e| e.status == status).collect()
}

/// Names joined, cut after so many.
pub(super) fn listed(names: &[String], most: usize) -> String {
    match names {
        [] => String::new(),
        [only] => only.clone(),
        many if many.len() > most => format!("{} and {} more", many[..most].join(", "), many.len() - most),
        [init @ .., last] => format!("{} and {last}", init.join(", ")),
    }
}
