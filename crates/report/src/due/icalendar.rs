//! The plan as a calendar that any calendar program reads: iCalendar, RFC 5545.
//!
//! One all-day event a service window, over all its days, with the engines and the corrections in its description; and one a latest date,
//! which takes no time. The same engine and the same window keep their UID from one plan to the next, so that a calendar which imports a
//! new plan moves its events and does not double them.

use super::latest;
use crate::number::{chance, plus_minus};
use packdrift_due::{DueResult, EngineDue, EngineStatus, PlannedWindow, ValveWork};
use std::fmt::Write as _;

/// Longest line in octets, without its break (RFC 5545, 3.1).
const LINE: usize = 75;

/// The calendar.
pub fn icalendar(result: &DueResult) -> String {
    let mut out = String::new();
    for fixed in ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//packdrift//due//EN", "CALSCALE:GREGORIAN"] {
        line(&mut out, fixed);
    }
    for (k, window) in result.plan.windows.iter().enumerate() {
        let engines: Vec<&EngineDue> = window.engines.iter().map(|e| &result.engines[*e]).collect();
        let names: Vec<&str> = engines.iter().map(|e| e.engine.as_str()).collect();
        let title = if names.is_empty() {
            format!("Service window: nothing planned (0 of {} places)", window.capacity)
        } else {
            format!("Re-shim {} ({} of {} places)", names.join(", "), names.len(), window.capacity)
        };
        let mut description = String::new();
        for e in &engines {
            let valves: Vec<String> = e.work.iter().map(|w| job(w, &result.unit)).collect();
            let _ = writeln!(description, "{}: {}", e.engine, valves.join("; "));
        }
        // Two workshops may have windows of the same days.
        let same = |w: &&PlannedWindow| (w.start, w.end) == (window.start, window.end);
        let number = result.plan.windows[..k].iter().filter(same).count() + 1;
        let uid = format!("window-{}-{}-{number}", day(window.start), day(window.end));
        event(&mut out, result, &uid, (window.start, window.end), &title, description.trim_end(), false);
    }
    for e in &result.engines {
        // What lies beyond the plan is not for a calendar: the next plan knows better.
        let Some(due) = e.due.filter(|d| *d <= result.plan.end) else { continue };
        let on = due.max(result.today);
        let (title, since) = match e.status {
            EngineStatus::Overdue => {
                (format!("OVERDUE for re-shimming: {}", e.engine), format!("Latest date was {}. ", latest(e)))
            }
            EngineStatus::Late => {
                (format!("LATE for re-shimming: {}", e.engine), format!("Latest date was {}. ", latest(e)))
            }
            _ => (format!("Latest date for re-shimming: {}", e.engine), String::new()),
        };
        let planned = match e.window {
            Some(w) => format!("window {}", super::window_name(result, w)),
            None if e.at_once => "at once".to_owned(),
            None => "no window".to_owned(),
        };
        let jobs: Vec<String> = e.work.iter().filter(|_| e.at_once).map(|w| job(w, &result.unit)).collect();
        let jobs = if jobs.is_empty() { String::new() } else { format!(": {}", jobs.join("; ")) };
        let description = format!(
            "{since}First valve: {}. Chance of having entered the damage zone now: {}. Planned: {planned}{jobs}. The maker's manual, local rules and a licensed person's judgement come first.",
            e.first_valve,
            chance(e.chance_now)
        );
        event(&mut out, result, &format!("latest-{}", hex(&e.engine)), (on, on), &title, &description, true);
    }
    line(&mut out, "END:VCALENDAR");
    out
}

/// `1 exhaust −0.41 ± 0.03 mm`.
fn job(w: &ValveWork, unit: &str) -> String {
    match w.correction {
        Some(c) => format!("{} {} {unit}", w.valve, plus_minus(c.mean, c.sd)),
        None => format!("{}: {}", w.valve, super::remedy(w)),
    }
}

fn event(
    out: &mut String,
    result: &DueResult,
    uid: &str,
    (first, last): (i32, i32),
    title: &str,
    description: &str,
    transparent: bool,
) {
    line(out, "BEGIN:VEVENT");
    line(out, &format!("UID:{uid}@packdrift.invalid"));
    // The stamp is the plan's day, not the clock's: the same files give the same calendar.
    line(out, &format!("DTSTAMP:{}T000000Z", day(result.today)));
    line(out, &format!("DTSTART;VALUE=DATE:{}", day(first)));
    // The end is not part of the event (RFC 5545, 3.6.1).
    line(out, &format!("DTEND;VALUE=DATE:{}", day(last.saturating_add(1))));
    line(out, &format!("SUMMARY:{}", escaped(title)));
    if !description.is_empty() {
        line(out, &format!("DESCRIPTION:{}", escaped(description)));
    }
    line(out, "CATEGORIES:MAINTENANCE");
    line(out, if transparent { "TRANSP:TRANSPARENT" } else { "TRANSP:OPAQUE" });
    line(out, "END:VEVENT");
}

/// `20270301`.
fn day(day: i32) -> String {
    crate::calendar::iso(day).replace('-', "")
}

fn hex(name: &str) -> String {
    name.bytes().map(|b| format!("{b:02x}")).collect()
}

/// TEXT (RFC 5545, 3.3.11): backslash, semicolon, comma and line breaks escaped; other control characters have no place in it and are written out.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in packdrift_visible::text(text).chars() {
        match c {
            '\\' => out.push_str("\\\\"),
            ';' => out.push_str("\\;"),
            ',' => out.push_str("\\,"),
            '\n' => out.push_str("\\n"),
            c => out.push(c),
        }
    }
    out
}

/// A content line, folded: no line longer than 75 octets, broken between characters, each continuation led by a blank.
fn line(out: &mut String, content: &str) {
    let mut used = 0;
    for c in content.chars() {
        if used + c.len_utf8() > LINE {
            out.push_str("\r\n ");
            used = 1;
        }
        out.push(c);
        used += c.len_utf8();
    }
    out.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_fold_at_75_octets_between_characters() {
        let mut out = String::new();
        let content = format!("SUMMARY:{}", "Zündung − größer ".repeat(12));
        line(&mut out, &content);
        assert!(out.ends_with("\r\n"));
        assert!(out.trim_end_matches("\r\n").split("\r\n").all(|l| l.len() <= 75));
        assert_eq!(out.trim_end_matches("\r\n").replace("\r\n ", ""), content);
    }

    #[test]
    fn text_is_escaped() {
        assert_eq!(escaped("a;b,c\\d\ne\u{7}"), "a\\;b\\,c\\\\d\\ne ");
    }
}
