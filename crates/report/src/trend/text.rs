//! The trend for the terminal: what to do, how many valves need what, then the urgent ones of each feature.

use super::order::{self, Ranked};
use super::{backtest, usage};
use crate::number::{self, counted, fixed, percent, plus_minus};
use crate::table::{Cell, Column, Table};
use crate::text::{clean, wrapped};
use packdrift_trend::{FeatureResult, FitStatus, Model, Policy, Status, TrendResult, ValveForecast};
use std::fmt::Write as _;

/// Rows of a feature that the terminal shows; the rest is counted, and stands in the tables and the JSON.
const SHOWN: usize = 30;

/// The trend as text.
pub fn text(result: &TrendResult, policy: Option<&Policy>) -> String {
    let answer = super::answer(result, policy);
    let mut out = format!("{} {}", answer.standing.shape(), wrapped(&answer.sentence, 100, 2).trim_start());
    out.push_str(&wrapped(&answer.advice, 100, 2));
    for left_out in &result.left_out {
        out.push_str(&wrapped(
            &format!("Left out: {}, {}.", counted(left_out.rows, "reading"), left_out.reason),
            100,
            2,
        ));
    }
    let mut features: Vec<&FeatureResult> = result.features.iter().collect();
    features.sort_by_key(|f| std::cmp::Reverse(f.valves.iter().map(|v| v.status).max()));
    for feature in features {
        out.push('\n');
        out.push_str(&feature_text(feature, policy));
    }
    out
}

/// How many valves of how many engines, and how they stand.
pub(super) fn summary(result: &TrendResult, policy: Option<&Policy>) -> String {
    let engines = result.features.iter().map(|f| f.engines).max().unwrap_or(0);
    let valves = result.features.iter().map(|f| f.valves_count).max().unwrap_or(0);
    let mut out = format!(
        "{}, {} of {} on {}.",
        counted(result.rows, "reading"),
        counted(result.features.len(), "feature"),
        counted(valves, "valve"),
        counted(engines, "engine")
    );
    if let Some(policy) = policy {
        let _ = match result.today {
            Some(day) => {
                write!(out, " As of {}, every engine run on by then at its own pace.", crate::calendar::iso(day))
            }
            None => write!(out, " Each valve as of its own last reading."),
        };
        let _ = write!(
            out,
            " Acceptable chance of damage within {} h: {}.",
            number::plain(policy.horizon),
            percent(policy.risk)
        );
        let _ = write!(out, " {}", tally_sentence(result));
    }
    out
}

/// `Overdue 2, due 3, watch 5, in window 38.`
pub(super) fn tally_sentence(result: &TrendResult) -> String {
    let tally = order::tally(result.features.iter().flat_map(|f| &f.valves));
    let parts: Vec<String> = tally
        .iter()
        .filter(|(status, n)| *n > 0 || always_told(*status))
        .map(|(status, n)| format!("{} {}", status.name(), number::count(*n as u64)))
        .collect();
    let mut sentence = parts.join(", ");
    if let Some(first) = sentence.get_mut(0..1) {
        first.make_ascii_uppercase();
    }
    format!("{sentence}.")
}

/// The words between due and watch are told only where a valve has them.
fn always_told(status: Status) -> bool {
    matches!(status, Status::Overdue | Status::Due | Status::Watch | Status::InWindow)
}

fn feature_text(feature: &FeatureResult, policy: Option<&Policy>) -> String {
    let unit = order::unit(feature);
    let limits = feature.limits.as_ref().map_or_else(
        || "no limits given".to_owned(),
        |l| format!("limits {}", order::with_unit(&number::limits(l.lower, l.upper), unit)),
    );
    let mut out = wrapped(&format!("{} · {limits}", order::title(feature)), 200, 0);
    match &feature.model {
        Some(model) => {
            for line in fleet_lines(feature, model) {
                out.push_str(&wrapped(&line, 100, 2));
            }
        }
        None => out.push_str(&wrapped(&format!("No forecast: {}", feature.diagnostics.reason), 100, 2)),
    }
    for line in trouble(feature).iter().chain(&backtest::lines(feature)) {
        out.push_str(&wrapped(line, 100, 2));
    }
    if feature.valves.is_empty() {
        return out;
    }
    let listed = order::listed(feature, SHOWN);
    out.push('\n');
    out.push_str(&valve_table(&listed, policy).without_columns(&["towards"]).text(2));
    let rest = feature.valves.len() - listed.len();
    if rest > 0 {
        let hidden = order::flagged_count(feature).saturating_sub(listed.len());
        let what =
            if hidden > 0 { format!(" ({} of them flagged)", number::count(hidden as u64)) } else { String::new() };
        let _ = writeln!(out, "  and {} more{what}: see the tables or the JSON.", number::count(rest as u64));
    }
    out
}

/// The fitted means, in words.
pub(super) fn fleet_lines(feature: &FeatureResult, model: &Model) -> Vec<String> {
    let unit = order::unit(feature);
    let mut lines: Vec<String> = model
        .groups
        .iter()
        .map(|g| {
            let who = if g.group.is_empty() { "The fleet".to_owned() } else { format!("Group {}", g.group) };
            format!(
                "{who} starts at {} and drifts by {} per 1000 h ({}).",
                order::with_unit(&plus_minus(g.intercept, g.intercept_se), unit),
                order::with_unit(&plus_minus(g.slope * 1e3, g.slope_se * 1e3), unit),
                counted(g.segments, "segment"),
            )
        })
        .collect();
    let reading = order::with_unit(&number::significant(model.sd_reading, 2), unit);
    let mut scatter = if feature.segments < 2 {
        // Where the model has no such figure it is 0, which would read as if valves were all alike.
        format!("One segment tells nothing of how valves scatter about that; a reading scatters by {reading} (sd).")
    } else {
        format!(
            "Valves scatter about that by {} at the start and {} per 1000 h in drift (sd); a reading by {reading}.",
            order::with_unit(&number::significant(model.sd_intercept, 2), unit),
            order::with_unit(&number::significant(model.sd_slope * 1e3, 2), unit),
        )
    };
    let carried: Vec<String> = feature
        .compared
        .iter()
        .filter(|c| c.weight > 0.0 && c.weight < 1.0)
        .map(|c| format!("{} {}", c.model, percent(c.weight)))
        .collect();
    if carried.is_empty() {
        let _ = write!(scatter, " Model {}, {}", model.kind.name(), feature.method);
    } else {
        let _ = write!(scatter, " Forecasts are averaged over models: {}", carried.join(", "));
    }
    match feature.diagnostics.status {
        FitStatus::Ok => scatter.push('.'),
        _ => {
            let _ = write!(scatter, "; {}: {}", feature.diagnostics.status.name(), feature.diagnostics.reason);
        }
    }
    lines.push(scatter);
    if let Some(kept) = model.sd_valve_slope.filter(|kept| *kept > 0.0) {
        lines.push(format!(
            "Of the scatter in drift, {} per 1000 h (sd) stays with a valve through its re-shims.",
            order::with_unit(&number::significant(kept * 1e3, 2), unit),
        ));
    }
    if let Some(kept) = feature.valve_slope_carried {
        lines.push(format!(
            "Forecasts allow for a drift that a valve keeps through its re-shims, scattering by {} per 1000 h (sd) by the best estimate, which \
             these readings neither show nor rule out.",
            order::with_unit(&number::significant(kept * 1e3, 2), unit),
        ));
    }
    if let Some(wander) = feature.wander_carried {
        lines.push(format!(
            "Forecasts allow for a wander about the mean line, {} after 1000 h (sd) by the best estimate, which these readings neither show \
             nor rule out.",
            order::with_unit(&number::significant(wander * 1000.0_f64.sqrt(), 2), unit),
        ));
    }
    lines
}

/// What is wrong with readings, in words: at most three of a kind.
pub(super) fn trouble(feature: &FeatureResult) -> Vec<String> {
    let mut lines = Vec::new();
    for day in feature.faulty_days.iter().take(3) {
        let off = format!(
            "On {} all {} were off by {}",
            crate::calendar::iso(day.day),
            counted(day.readings, "reading"),
            plus_minus(day.shift, day.shift_se),
        );
        lines.push(if day.set_aside {
            format!("{off}, and later readings returned: check the instrument used. They were left out.")
        } else {
            format!(
                "{off}, and nothing was read since that says whether it was the instrument: read again with another one. They count; \
                 the answers without them are given beside, and the worse stands."
            )
        });
    }
    for step in feature.steps.iter().take(3) {
        lines.push(format!(
            "{}, {} jumped by {} before {} h (line {}) and stayed there: look whether a part slipped or was changed.",
            step.engine,
            step.valve,
            plus_minus(step.size, step.size_se),
            fixed(step.hours, 0),
            step.line,
        ));
    }
    for reading in feature.suspected.iter().take(3) {
        let expected = if reading.expected.is_finite() {
            format!(" where {} was expected", number::significant(reading.expected, 3))
        } else {
            String::new()
        };
        let what_to_do = if reading.newest {
            "read it again".to_owned()
        } else {
            format!("check the record of {}", crate::calendar::iso(reading.day))
        };
        lines.push(format!(
            "{}, {} read {} at {} h (line {}){expected}: {what_to_do}.",
            reading.engine,
            reading.valve,
            number::plain(reading.value),
            fixed(reading.hours, 0),
            reading.line,
        ));
    }
    let more = [
        (feature.faulty_days.len(), "faulty day"),
        (feature.steps.len(), "jump"),
        (feature.suspected.len(), "reading to check"),
    ];
    for (n, what) in more {
        if n > 3 {
            lines.push(format!("{} more of the kind \"{what}\" in the tables.", n - 3));
        }
    }
    lines
}

/// The urgent valves as people read them; without limits only what is known without them.
pub(super) fn valve_table(ranked: &[Ranked<'_>], policy: Option<&Policy>) -> Table {
    let unit = ranked.first().map_or("", |r| order::unit(r.feature));
    let judged = ranked.iter().any(|r| r.valve.status.is_some());
    let mut columns = vec![
        Column::text("engine"),
        Column::text("valve"),
        Column::number("level").unit(unit),
        Column::number("drift/1000 h"),
        Column::number("meter").unit("h"),
    ];
    if judged {
        columns.insert(0, Column::text("status"));
        columns.extend([
            Column::text("last read"),
            Column::text("towards"),
            Column::number("chance"),
            Column::number("limit reached (5 … 95 %)").unit("h"),
            Column::text("date"),
        ]);
    }
    let mut table = Table::new("urgent-valves", "Valves by urgency", columns);
    for r in ranked {
        let v = r.valve;
        let mut row = vec![
            Cell::text(&v.engine),
            Cell::text(&v.valve),
            Cell::shown_as(v.level, plus_minus(v.level, v.level_se)),
            Cell::shown_as(v.slope, plus_minus(v.slope * 1e3, v.slope_se * 1e3)),
            Cell::fixed(v.hours, 0),
        ];
        if judged {
            row.insert(0, v.status.map_or(Cell::Empty, |s| Cell::verdict(s.name(), order::standing(v.status))));
            let date = v.crossing_hours.p50.filter(|h| *h > v.hours).and_then(|h| usage::when(v, h, policy));
            row.extend([
                v.newest.map_or(Cell::Empty, |n| Cell::text(last_read(n.value, n.day))),
                v.drifting_to.map_or(Cell::Empty, |l| Cell::text(l.name())),
                v.chance_by_horizon.map_or(Cell::Empty, Cell::chance),
                Cell::text(reached(v)),
                date.map_or(Cell::Empty, Cell::text),
            ]);
        }
        table.push(row);
    }
    table
}

/// `1.643 on 2026-07-14`; the mean of a visit's repeats to five digits.
fn last_read(value: f64, day: i32) -> String {
    let value = format!("{value:.4e}").parse().unwrap_or(value);
    format!("{} on {}", number::plain(value), crate::calendar::iso(day))
}

/// `9394 (9189 … 9803)`, `now`, `after 15163`, or no value.
fn reached(v: &ValveForecast) -> String {
    let hours = v.crossing_hours;
    let finite = |h: Option<f64>| h.filter(|h| h.is_finite());
    match (finite(hours.p05), finite(hours.p50), finite(hours.p95)) {
        (_, Some(middle), _) if middle <= v.hours => "now".to_owned(),
        (Some(early), Some(middle), Some(late)) => {
            format!("{} ({} … {})", fixed(middle, 0), fixed(early, 0), fixed(late, 0))
        }
        (Some(early), Some(middle), None) => format!("{} ({} … )", fixed(middle, 0), fixed(early, 0)),
        (Some(early), None, _) => format!("after {}", fixed(early, 0)),
        _ => number::NO_VALUE.to_owned(),
    }
}

/// One line of plain advice.
pub(super) fn advice(result: &TrendResult, policy: Option<&Policy>) -> String {
    let flagged = order::flagged(result);
    let engines_at = |wanted: Status| {
        let mut engines: Vec<&str> = Vec::new();
        for r in flagged.iter().filter(|r| r.valve.status == Some(wanted)) {
            if !engines.contains(&r.valve.engine.as_str()) {
                engines.push(&r.valve.engine);
            }
        }
        engines
    };
    let Some(policy) = policy else {
        return "Give a policy with limits to learn which valves are heading for the damage zone, and when.".to_owned();
    };
    let within = format!("within {} h", number::plain(policy.horizon));
    let (overdue, due, watch) = (engines_at(Status::Overdue), engines_at(Status::Due), engines_at(Status::Watch));
    let due: Vec<&str> = due.into_iter().filter(|e| !overdue.contains(e)).collect();
    let mut advice = Vec::new();
    if !overdue.is_empty() {
        advice.push(format!(
            "Re-shim {} before running on: a valve there is probably in its damage zone already.",
            listed(&overdue)
        ));
    }
    if !due.is_empty() {
        advice.push(if overdue.is_empty() {
            format!("Plan re-shimming {within} for {}.", listed(&due))
        } else {
            format!("Then plan {} {within}.", listed(&due))
        });
    }
    let again = engines_at(Status::ReadAgain);
    if !again.is_empty() {
        advice.push(format!("Read {} again: one reading decides it.", listed(&again)));
    }
    let open: Vec<&str> = [Status::NotShown, Status::TooCloseToTell]
        .into_iter()
        .flat_map(engines_at)
        .filter(|e| !again.contains(e))
        .collect();
    if !open.is_empty() {
        advice.push(format!(
            "It is not shown that {} {} safe {within}.",
            listed(&open),
            if open.len() == 1 { "is" } else { "are" }
        ));
    }
    if !advice.is_empty() {
        return advice.join(" ");
    }
    if !result.is_judged() {
        return "No valve could be judged: the policy has no limits for these features.".to_owned();
    }
    if result.verdict().exit_status() != 0 {
        return "Not every feature with limits could be judged: nothing is shown to be safe.".to_owned();
    }
    // Good words are about what has limits, and about nothing else.
    let unjudged = match names(result, false) {
        none if none.is_empty() => none,
        some => format!(" Of {some} nothing is said: the policy gives no limits."),
    };
    if watch.is_empty() {
        let judged = names(result, true);
        let limits = if unjudged.is_empty() { "its limits".to_owned() } else { format!("its limits of {judged}") };
        return format!("No valve is likely to reach {limits} {within}: go on inspecting as planned.{unjudged}");
    }
    format!("Nothing is due {within}; measure {} again at the next stop.{unjudged}", listed(&watch))
}

/// The features that have limits, or those that have none.
fn names(result: &TrendResult, limited: bool) -> String {
    let has = |f: &&FeatureResult| f.has_limits() == limited;
    let names: Vec<&str> = result.features.iter().filter(has).map(|f| f.feature.as_str()).collect();
    listed(&names)
}

/// `E01, E07 and E12`, cut after eight names.
fn listed(names: &[&str]) -> String {
    const MOST: usize = 8;
    let names: Vec<String> = names.iter().map(|n| clean(n)).collect();
    match names.as_slice() {
        [] => String::new(),
        [only] => only.clone(),
        many if many.len() > MOST => format!("{} and {} more", many[..MOST].join(", "), many.len() - MOST),
        [init @ .., last] => format!("{} and {last}", init.join(", ")),
    }
}
