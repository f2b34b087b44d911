//! Mistakes in files as text for a terminal: of many alike the first, so that the one that differs is seen.

use packdrift_records::{Fault, InputError};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::io::IsTerminal;
use std::path::Path;

/// So many mistakes of a file are shown in full, shared out among its kinds; `check --format json` lists them all.
const SHOWN: usize = 20;

/// Of a kind that has more, so many places are named.
const PLACES: usize = 8;

/// The mistakes of an input, for standard error.
pub(crate) fn text(error: &InputError) -> String {
    let colour = colour(std::io::stderr().is_terminal());
    let mut text = String::new();
    let mut rest = &error.faults[..];
    while let Some(first) = rest.first() {
        let here = rest.iter().take_while(|fault| fault.path == first.path).count();
        let (faults, others) = rest.split_at(here);
        // The total of the error counts all files; what is not kept belongs to the last of them.
        let total = if others.is_empty() { error.total - (error.faults.len() - here) } else { here };
        text.push_str(&of_file(&first.path, faults, total, colour));
        rest = others;
    }
    text
}

/// The mistakes of one file: each kind's first in full, then a line for each kind of which there are more.
pub(crate) fn of_file(path: &Path, faults: &[Fault], total: usize, colour: bool) -> String {
    let mut kinds: Vec<Vec<&Fault>> = Vec::new();
    let mut known: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for fault in faults {
        let kind = *known.entry((fault.kind.code(), &fault.key)).or_insert_with(|| {
            kinds.push(Vec::new());
            kinds.len() - 1
        });
        kinds[kind].push(fault);
    }
    let each = (SHOWN / kinds.len().max(1)).max(1);
    let mut text = String::new();
    let mut shown = 0;
    for alike in kinds.iter().take(SHOWN) {
        // One more than is shown is shown too: a line about it would take as much room.
        let full = if alike.len() <= each + 1 && kinds.len() < SHOWN { alike.len() } else { each.min(alike.len()) };
        for fault in &alike[..full] {
            text.push_str(&fault.picture(colour));
        }
        shown += full;
        if let Some((first, rest)) = alike[full..].split_first() {
            let at_least = if total == faults.len() { "" } else { "at least " };
            let of =
                if first.key.is_empty() { String::new() } else { format!(", {}", packdrift_visible::line(&first.key)) };
            // Writing to a String cannot fail.
            let _ = writeln!(
                text,
                "  and {at_least}{} more like it ({}{of}){}",
                rest.len() + 1,
                first.kind.code(),
                places(&alike[full..])
            );
        }
    }
    let mistakes = if total == 1 { "1 mistake".to_owned() } else { format!("{total} mistakes") };
    let of = if kinds.len() > 1 && shown < total { format!(" of {} kinds", kinds.len()) } else { String::new() };
    let all = if shown < total { " (`packdrift check --format json` lists all)" } else { "" };
    let path = path.display().to_string();
    let _ = writeln!(text, "{}: {mistakes}{of}{all}", packdrift_visible::line(&path));
    text
}

/// `: lines 3, 5, 9, …`, where they have lines.
fn places(faults: &[&Fault]) -> String {
    let lines: Vec<String> =
        faults.iter().filter_map(|fault| fault.place.line()).take(PLACES).map(|line| line.to_string()).collect();
    if lines.is_empty() {
        return String::new();
    }
    let more = if faults.len() > lines.len() { ", …" } else { "" };
    let noun = if faults.len() == 1 { "line" } else { "lines" };
    format!(": {noun} {}{more}", lines.join(", "))
}

/// Colours where a terminal shows them, unless `NO_COLOR` is set to anything (no-color.org).
pub(crate) fn colour(terminal: bool) -> bool {
    terminal && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}
