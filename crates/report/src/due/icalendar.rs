//! The plan as a calendar that any calendar program reads: iCalendar, RFC 5545.
//!
//! One all-day event a service window, over all its days, with the engines and what is done to each valve in its description; one a job on a
//! day of its own; one a latest date and one a look, which take no time. The same engine and the same window keep their UID from one plan to the next, so that a calendar which imports a
//! new plan moves its events and does not double them.

use super::Planned;
use super::words::{feature, has_own_day, job, jobs, latest, remedy_of, window_name};
use crate::number::chance;
use packdrift_due::{DueResult, EngineDue, EngineStatus, PlannedWindow};

/// Longest line in octets, without its break (RFC 5545, 3.1).
const LINE: usize = 75;

/// The calendar.
pub fn icalendar(planned: Planned<'_>) -> String {
    let result = planned.result;
    let mut out = String::new();
    for fixed in ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//packdrift//due//EN", "CALSCALE:GREGORIAN"] {
        line(&mut out, fixed);
    }
    windows(&mut out, result);
    for e in &result.engines {
        if has_own_day(result, e) {
            let title = with_jobs(result, e);
            let uid = format!("own-day-{}", hex(&e.engine));
            event(
                &mut out,
                result,
                &Event { uid, days: (e.done, e.done), title, description: work(result, e), busy: true },
            );
        }
        latest_date(&mut out, result, e);
        look(&mut out, result, e);
    }
    line(&mut out, "END:VCALENDAR");
    out
}

/// `P08 (shims 2, new parts 1)`.
fn with_jobs(result: &DueResult, e: &EngineDue) -> String {
    match jobs(result, e) {
        jobs if jobs.is_empty() => e.engine.clone(),
        jobs => format!("{} ({jobs})", e.engine),
    }
}

/// What is done to each valve.
fn work(result: &DueResult, e: &EngineDue) -> String {
    let valves: Vec<String> = e.work.iter().map(|w| job(w, &result.unit)).collect();
    let late = if e.days_late > 0 && !e.at_once {
        format!("; {} days after its latest date", e.days_late)
    } else {
        String::new()
    };
    format!("{}: {}{late}", e.engine, valves.join("; "))
}

fn windows(out: &mut String, result: &DueResult) {
    for (k, window) in result.plan.windows.iter().enumerate() {
        let engines: Vec<&EngineDue> = window.engines.iter().map(|e| &result.engines[*e]).collect();
        let names: Vec<String> = engines.iter().map(|e| with_jobs(result, e)).collect();
        let title = if names.is_empty() {
            format!("Service window: nothing planned (0 of {} places)", window.capacity)
        } else {
            format!("Service window: {} ({} of {} places)", names.join(", "), names.len(), window.capacity)
        };
        let description = engines.iter().map(|e| work(result, e)).collect::<Vec<_>>().join("\n");
        // Two workshops may have windows of the same days.
        let same = |w: &&PlannedWindow| (w.start, w.end) == (window.start, window.end);
        let number = result.plan.windows[..k].iter().filter(same).count() + 1;
        let uid = format!("window-{}-{}-{number}", day(window.start), day(window.end));
        event(out, result, &Event { uid, days: (window.start, window.end), title, description, busy: true });
    }
}

fn latest_date(out: &mut String, result: &DueResult, e: &EngineDue) {
    // What lies beyond the plan is not for a calendar: the next plan knows better.
    let Some(due) = e.due.filter(|d| *d <= result.plan.end) else { return };
    let on = due.max(result.today);
    let with = with_jobs(result, e);
    let was = format!("Latest date: {}. ", latest(result, e));
    let (title, since) = match e.status {
        EngineStatus::Overdue => (format!("OVERDUE: {with}"), was),
        EngineStatus::Late => (format!("Latest date past: {with}"), was),
        _ => (format!("Latest date: {with}"), String::new()),
    };
    let planned = match e.window {
        Some(w) if e.days_late > 0 => format!("window {}, {} days late", window_name(result, w), e.days_late),
        Some(w) => format!("window {}", window_name(result, w)),
        None if e.at_once => format!("at once: {}", work(result, e)),
        None if has_own_day(result, e) => format!("on {}", crate::calendar::iso(e.done)),
        None => "no window".to_owned(),
    };
    let cause = if e.first_feature.is_empty() {
        e.first_valve.clone()
    } else {
        format!("{}, by {}: {}", e.first_valve, feature(&e.first_feature), remedy_of(result, &e.first_feature))
    };
    let description = format!(
        "{since}First to enter its damage zone: {cause}. Chance of having entered now: {}. Planned: {planned}. The maker's manual, local rules and a licensed person's judgement come first.",
        chance(e.chance_now)
    );
    let uid = format!("latest-{}", hex(&e.engine));
    event(out, result, &Event { uid, days: (on, on), title, description, busy: false });
}

fn look(out: &mut String, result: &DueResult, e: &EngineDue) {
    let Some(look) = e.look.as_ref().filter(|l| l.day <= result.plan.end) else { return };
    let after = if look.after_work { " (after the work)" } else { "" };
    let saves =
        look.worth.map_or_else(String::new, |w| format!(" A reading saves about {}.", super::words::cost(result, w)));
    let description = format!(
        "Because {}. Chance of having entered unseen by then: {}.{saves} Valves to read first: {}.",
        super::words::look_for(look.because),
        chance(look.chance),
        look.valves.join(", ")
    );
    let title = format!("Look at {}{after}", e.engine);
    let uid = format!("look-{}", hex(&e.engine));
    event(out, result, &Event { uid, days: (look.day, look.day), title, description, busy: false });
}

/// An entry of the calendar.
struct Event {
    uid: String,
    /// First and last day, since 1970-01-01.
    days: (i32, i32),
    title: String,
    description: String,
    /// Whether it takes the days up.
    busy: bool,
}

fn event(out: &mut String, result: &DueResult, event: &Event) {
    line(out, "BEGIN:VEVENT");
    line(out, &format!("UID:{}@packdrift.invalid", event.uid));
    // The stamp is the plan's day, not the clock's: the same files give the same calendar.
    line(out, &format!("DTSTAMP:{}T000000Z", day(result.today)));
    line(out, &format!("DTSTART;VALUE=DATE:{}", day(event.days.0)));
    // The end is not part of the event (RFC 5545, 3.6.1).
    line(out, &format!("DTEND;VALUE=DATE:{}", day(event.days.1.saturating_add(1))));
    line(out, &format!("SUMMARY:{}", escaped(&event.title)));
    if !event.description.is_empty() {
        line(out, &format!("DESCRIPTION:{}", escaped(&event.description)));
    }
    line(out, "CATEGORIES:MAINTENANCE");
    line(out, if event.busy { "TRANSP:OPAQUE" } else { "TRANSP:TRANSPARENT" });
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
        // What steers a terminal is written out, and its backslash escaped like any other.
        assert_eq!(escaped("a;b,c\\d\ne\u{7}"), "a\\;b\\,c\\\\d\\ne\\\\u{7}");
    }
}
