//! Job cards: one printed page for each engine that has work, for who opens it. Why, which valves, which work, the parts to take along, what
//! to read and what to accept, what to take care of.

use super::Planned;
use super::words::{NEW_PARTS, because, feature, first, latest, place, remedy, standing, take_along};
use crate::calendar::iso;
use crate::envelope::Envelope;
use crate::number::{NO_VALUE, chance, counted, fixed, limits, percent, plain, plus_minus};
use crate::printed;
use crate::table::whole;
use maud::{Markup, html};
use packdrift_due::{DueResult, EngineDue, EngineStatus, ValveToday, ValveWork};
use packdrift_trend::Policy;
use std::collections::BTreeMap;

/// Limits of the offset by valve name, in the condition it is read in; from the pack file's requirements.
pub type ColdLimits = BTreeMap<String, (Option<f64>, Option<f64>)>;

/// One card a page; beside the style of all printed documents.
const STYLE: &str = "\
.card + .card { border-top: .6mm solid #000; margin-top: 8mm; padding-top: 4mm; }
.card code { overflow-wrap: anywhere; }
nav ul { display: flex; flex-wrap: wrap; gap: 0 1em; } nav a { color: #000; display: inline-block; line-height: 44px; }
@media print { body { font-size: 9pt; } nav { display: none; } .lead { position: absolute; height: 1px; overflow: hidden; clip-path: inset(50%); } .card + .card { border: 0; margin: 0; padding: 0; break-before: page; } }";

/// What to take care of, in the order of the work.
const CAUTIONS: [&str; 7] = [
    "The engine maker's manual, the rules of your place and trade, and a licensed person's judgement come before anything on this card.",
    "Engine isolated against starting, and cold.",
    "Spring washers, valve springs and a shaft under load store energy: slacken the adjusters, release the load evenly, keep hands and face out of line, protect your eyes.",
    "Clean and measure every piece before it is fitted.",
    "Turn the engine over by hand; every rocker moves freely and has its play.",
    "Set the valve clearance afterwards.",
    "Write down the readings: the forecast begins anew from them.",
];

/// The cards of all engines with work, those that come first on top; None where no engine has any.
pub fn job_cards(envelope: &Envelope, planned: Planned<'_>, policy: &Policy, cold: &ColdLimits) -> Option<String> {
    let result = planned.result;
    let mut engines: Vec<&EngineDue> = result.engines.iter().filter(|e| !e.work.is_empty()).collect();
    if engines.is_empty() {
        return None;
    }
    engines.sort_by_key(|e| (!e.at_once, e.window.unwrap_or(usize::MAX)));
    let title = format!("Job cards: {}, as of {}", counted(engines.len(), "engine"), iso(result.today));
    let body = html! {
        h1.lead { (whole(&title)) }
        nav aria-label="Engines" { ul { @for (k, e) in engines.iter().enumerate() { li { a href={ "#card-" (k) } { (e.engine) } } } } }
        @for (k, e) in engines.iter().enumerate() { (card(k, e, result, policy, cold)) }
    };
    Some(printed::document(envelope, &title, STYLE, &body))
}

fn card(k: usize, e: &EngineDue, result: &DueResult, policy: &Policy, cold: &ColdLimits) -> Markup {
    let others: Vec<&ValveToday> = e.today.iter().filter(|v| e.work.iter().all(|w| w.valve != v.valve)).collect();
    html! {
        section.card id={ "card-" (k) } aria-labelledby={ "card-" (k) "-name" } {
            h2 id={ "card-" (k) "-name" } { "Engine " (e.engine) ": " (when(result, e)) }
            table.paper aria-label="To be filled in" { tr { td { "Date" } td.box {} td { "Fitter" } td.box {} td { "Hours" } td.box {} } }
            h3 { "Why" }
            p {
                (standing(e.status).shape()) " " (whole(&sentence_of(result, e))) " Latest date: " (whole(&latest(result, e))) ". Chance that a valve is in its damage zone now: "
                (chance(e.chance_now)) "; by the day it is done: " (chance(e.chance_then)) "."
            }
            h3 { "What to do" }
            (work(e, result))
            h3 { "Take along" }
            ul { @for part in parts(e, result) { li { "☐ " (part) } } }
            h3 { "Read and write down" }
            (readings(e, result, policy, cold))
            @if !others.is_empty() { p { "While it is open, read the other valves too." } (beside(&others, policy)) }
            h3 { "Take care" }
            ul.caution { @for caution in CAUTIONS { li { "☐ " (caution) } } }
        }
    }
}

/// `at once`, `in the window from 2027-03-01`, …
fn when(result: &DueResult, e: &EngineDue) -> String {
    let reason = because(e);
    let reason = if reason.is_empty() { String::new() } else { format!(" ({reason})") };
    match e.window {
        Some(w) => {
            let window = &result.plan.windows[w];
            format!("in the window {} to {}{reason}", iso(window.start), iso(window.end))
        }
        None if e.at_once => "at once, before it runs on".to_owned(),
        None => format!("place: {}", place(result, e)),
    }
}

/// The word and its first reason: where it is the chance, with the valve that comes first.
fn sentence_of(result: &DueResult, e: &EngineDue) -> String {
    let word = e.status.name();
    let word = format!("{}{}", word[..1].to_uppercase(), &word[1..]);
    if matches!(e.status, EngineStatus::Overdue | EngineStatus::Late | EngineStatus::Due)
        && e.chance_by_horizon > result.risk
    {
        let by = first(e);
        let first = if by.is_empty() { String::new() } else { format!("; first to enter: {by}") };
        return format!(
            "{word}: the chance that a valve is in its damage zone within {} h is {}, {} is accepted{first}.",
            plain(result.horizon),
            chance(e.chance_by_horizon),
            percent(result.risk)
        );
    }
    match e.verdict.reasons().first() {
        Some(reason) => format!("{word}: {reason}."),
        None => format!("{word}."),
    }
}

fn work(e: &EngineDue, result: &DueResult) -> Markup {
    html! {
        div.scroll { table aria-label="What to do" {
            tr { th { "Valve" } th.paper { "Because of" } th { "Work" } th.n { "Move it by, " (result.unit) } th.n { "Expected, " (result.unit) } th.n { "Aim, " (result.unit) } th.paper { "Done" } }
            @for w in &e.work {
                @let causes: Vec<String> = w.causes.iter().map(|c| feature(&c.feature)).collect();
                tr {
                    th { (w.valve) }
                    td.paper { (causes.join(", ")) }
                    td { (remedy(w)) }
                    td.n { (moved(w)) }
                    td.n { (w.correction.map_or(NO_VALUE.to_owned(), |c| plus_minus(c.expected, c.sd))) }
                    td.n { (w.correction.map_or(NO_VALUE.to_owned(), |c| fixed(c.target, 3))) }
                    td.paper {}
                }
            }
        } }
        p { "Move it by: how far the rocker has to go; plus: the offset has to grow. ±: one standard deviation. Read the offset before anything is taken apart: what is read counts, not what was expected." }
        @if e.work.iter().any(|w| !w.renew.is_empty()) { p { (NEW_PARTS) } }
        @if e.work.iter().any(|w| w.correction.is_some()) {
            p {
                "Which pieces: " code { "packdrift shim PACK --valve \"" (e.work.iter().find(|w| w.correction.is_some()).map_or("", |w| &w.valve)) "\" --stock DRAWER --inspections READINGS --engine \"" (e.engine) "\"" }
            }
        }
    }
}

fn moved(w: &ValveWork) -> String {
    w.correction.map_or_else(
        || NO_VALUE.to_owned(),
        |c| {
            let text = plus_minus(c.mean, c.sd);
            if c.mean > 0.0 { format!("+{text}") } else { text }
        },
    )
}

/// What to take along: shims by how far they have to reach, new parts.
fn parts(e: &EngineDue, result: &DueResult) -> Vec<String> {
    let mut parts: Vec<String> = Vec::new();
    for w in &e.work {
        parts.extend(take_along(w, &result.unit).into_iter().map(|part| format!("{}: {part}", w.valve)));
    }
    if parts.is_empty() {
        parts.push("nothing but the gauge: look first".to_owned());
    }
    parts.push("the gauge that the readings are taken with".to_owned());
    parts
}

/// What to read before and after, and what to accept.
fn readings(e: &EngineDue, result: &DueResult, policy: &Policy, cold: &ColdLimits) -> Markup {
    let offset = policy.features.get(&result.offset_feature);
    let accepted = |valve: &str| cold.get(valve).copied();
    let zone = offset.map_or_else(|| NO_VALUE.to_owned(), |l| limits(l.lower, l.upper));
    html! {
        div.scroll { table aria-label="Read and write down" {
            tr { th { "Valve" } th { "Last read" } th.n { "Accept, cold, " (result.unit) } th.paper { (feature(&result.offset_feature)) " before" } th.paper { "after" } th.paper { "again" } }
            @for w in &e.work {
                tr {
                    th { (w.valve) }
                    td { (whole(&last(e.today.iter().find(|v| v.valve == w.valve)))) }
                    td.n { (accepted(&w.valve).map_or(NO_VALUE.to_owned(), |(low, high)| limits(low.map(rounded), high.map(rounded)))) }
                    td.box.paper {} td.box.paper {} td.box.paper {}
                }
            }
        } }
        p {
            @if cold.is_empty() { "Accept: a pack file gives the limits (--pack). " }
            @else { "Accept: the pack file's limits, carried to the condition that readings are taken in; a reading nearer to a limit than the gauge can tell is taken again. " }
            "Beyond " (zone) " " (result.unit) " is the damage zone."
        }
    }
}

/// To a thousandth: no gauge at the bench reads finer.
fn rounded(limit: f64) -> f64 {
    (limit * 1e3).round() / 1e3
}

/// The newest readings of a valve.
fn last(valve: Option<&ValveToday>) -> String {
    let read: Vec<String> = valve
        .iter()
        .flat_map(|v| &v.readings)
        .map(|r| format!("{} {} on {}", feature(&r.feature), plain(r.value), iso(r.day)))
        .collect();
    if read.is_empty() { "not since the work".to_owned() } else { read.join("; ") }
}

/// Valves without work: what was read, and room for what is read now.
fn beside(valves: &[&ValveToday], policy: &Policy) -> Markup {
    html! {
        div.scroll { table aria-label="The other valves" {
            tr { th { "Valve" } th { "Last read" } @for name in policy.features.keys() { th.paper { (feature(name)) } } }
            @for v in valves {
                tr { th { (v.valve) } td { (whole(&last(Some(v)))) } @for _ in policy.features.keys() { td.box.paper {} } }
            }
        } }
    }
}
