//! Names that differ by capitals, blanks, signs or leading zeros alone: `e01` beside `E01`, `1 Intake` beside `1 intake`.
//!
//! They are taken as two, since they are written as two. The one with fewer rows is the one that may be a slip; one row of it that says
//! `yes` under `confirmed` settles it.

use super::Rows;
use crate::error::Notice;
use crate::suggest;
use crate::table::Table;
use hashbrown::HashMap;
use packdrift_trend::{Doubt, Unlikely};

/// Rows whose name is the rarer of two alike.
pub(super) fn doubts(rows: &Rows) -> Vec<Doubt> {
    let t = &rows.table;
    let mut out = Vec::new();
    let engine = |row: usize| t.valves[t.valve[row] as usize].0;
    let engines = alike(t.engines.iter().map(|name| (0, name.as_str())));
    of_column(rows, &engines, &t.engines, engine, &mut out);
    let names: Vec<String> = t.valves.iter().map(|(_, name)| name.clone()).collect();
    let valves = alike(t.valves.iter().map(|(engine, name)| (*engine, name.as_str())));
    of_column(rows, &valves, &names, |row| t.valve[row], &mut out);
    let features = alike(t.features.iter().map(|name| (0, name.as_str())));
    of_column(rows, &features, &t.features, |row| t.feature[row], &mut out);
    let groups = alike(t.groups.iter().map(|name| (0, name.as_str())));
    // A row without a group has none that could be alike.
    of_column(rows, &groups, &t.groups, |row| t.group[row].wrapping_sub(1), &mut out);
    out
}

/// Pairs of names that fold to the same within their scope (an engine, for valves).
fn alike<'a>(names: impl Iterator<Item = (u32, &'a str)>) -> Vec<(u32, u32)> {
    let mut first: HashMap<(u32, String), u32> = HashMap::new();
    let mut pairs = Vec::new();
    for (code, (scope, name)) in (0..).zip(names) {
        let known = *first.entry((scope, folded(name))).or_insert(code);
        if known != code {
            pairs.push((known, code));
        }
    }
    pairs
}

pub(super) fn folded(name: &str) -> String {
    let mut out = String::with_capacity(name.len());
    let mut digits = false;
    for letter in name.chars().flat_map(char::to_lowercase) {
        if letter.is_whitespace() || matches!(letter, '-' | '_' | '.' | '/') {
            digits = false;
            continue;
        }
        if letter == '0' && !digits {
            continue;
        }
        digits = letter.is_ascii_digit();
        out.push(letter);
    }
    out
}

fn of_column(rows: &Rows, pairs: &[(u32, u32)], names: &[String], code: impl Fn(usize) -> u32, out: &mut Vec<Doubt>) {
    if pairs.is_empty() {
        return;
    }
    let mut counts = vec![0_u32; names.len()];
    let mut confirmed = vec![false; names.len()];
    for row in 0..rows.table.value.len() {
        let code = code(row) as usize;
        if let Some(count) = counts.get_mut(code) {
            *count += 1;
            confirmed[code] |= rows.is_confirmed(row);
        }
    }
    let doubted: HashMap<u32, u32> = pairs
        .iter()
        .map(|&(a, b)| if counts[a as usize] < counts[b as usize] { (a, b) } else { (b, a) })
        .filter(|(rarer, _)| !confirmed[*rarer as usize])
        .collect();
    for row in 0..rows.table.value.len() {
        if let Some(&other) = doubted.get(&code(row)) {
            out.push(Doubt { row: row as u32, why: Unlikely::Name(names[other as usize].clone()) });
        }
    }
}

/// Events that are nearly a word with a meaning of its own, and are taken as new parts because they are not.
pub(super) fn events(rows: &Rows, table: &Table) -> Vec<Notice> {
    const WORDS: [&str; 4] = ["inspect", "reshim", "replace", super::METER];
    let t = &rows.table;
    (1..)
        .zip(&t.events)
        .filter(|(_, event)| !WORDS.contains(&event.as_str()))
        .filter_map(|(code, event)| {
            let near = suggest::nearest(event, WORDS)?;
            let own: Vec<usize> = (0..t.event.len()).filter(|&row| t.event[row] == code).collect();
            let text = format!(
                "{}: the event `{event}` is taken as new parts, as any word is but `inspect`, `reshim` and `meter`; is `{near}` meant?",
                table.rows_in_words(&own)
            );
            Some(Notice::new(table.source.path(), text))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::folded;

    #[test]
    fn capitals_blanks_signs_and_leading_zeros_do_not_tell_names_apart() {
        for (a, b) in [("E01", "e1"), ("1 Intake", "1 intake"), ("contact offset", "contact_offset"), ("P-007", "P7")] {
            assert_eq!(folded(a), folded(b));
        }
        for (a, b) in [("E10", "E1"), ("E100", "E10"), ("1 intake", "2 intake"), ("E1", "E2")] {
            assert_ne!(folded(a), folded(b));
        }
    }
}
