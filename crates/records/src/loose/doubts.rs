//! Columns that are not read and that may be missed: what they hold changes what the others mean, or counts twice.

use super::headings::{Heading, Unit};
use super::layout::Headings;
use super::scan::First;
use super::work;
use crate::error::{Fault, FaultKind};
use crate::table::{Kind, Schema};

/// Headings of the size of a sample.
const SAMPLE: [&str; 10] =
    ["sample", "samples", "inspected", "measured", "checked", "n", "stichprobe", "geprüft", "tested", "drawn"];

impl Headings<'_> {
    /// Every reason why a column that is not read may be missed.
    pub(super) fn doubtful(&mut self, schema: &Schema<'_>, unread: &[usize], places: &[Option<usize>]) {
        for &field in unread {
            if self.read[field].raw.is_empty() {
                if field > 0 || !self.seen[field].counts_rows() {
                    let found = "a column without a heading".to_owned();
                    let fault = self.fault(FaultKind::UnknownColumn, field, "", found, "a heading");
                    self.faults.push(fault.with_help("name it, or delete it"));
                }
                continue;
            }
            if self.faults.iter().any(|fault| fault.key == self.read[field].raw) {
                continue;
            }
            let _ = self.tells_of_work(schema, field, places)
                || self.does_not_count(schema, field)
                || self.further_readings(schema, field, places)
                || self.how_many(schema, field, places)
                || self.limits(schema, field, places)
                || self.uncertainty(schema, field);
        }
    }

    fn told(&mut self, field: usize, cell: &First, expected: &str, help: String) -> bool {
        let raw = self.read[field].raw.clone();
        let place = (self.place)(Some(cell.line), field);
        let found = format!("\"{}\" in the column `{raw}`, which is not read", cell.text);
        let fault = Fault::new(FaultKind::UnknownColumn, self.path.clone(), place, found, expected);
        self.faults.push(fault.with_key(raw).with_help(help));
        true
    }

    /// Work that begins a new segment, told where no event is.
    fn tells_of_work(&mut self, schema: &Schema<'_>, field: usize, places: &[Option<usize>]) -> bool {
        let Some(event) = schema.columns.iter().position(|column| column.name == "event") else { return false };
        let event = places[event];
        if event.is_some_and(|event| !self.seen[event].is_empty()) {
            return false;
        }
        let raw = self.read[field].raw.clone();
        let headed = work::is_heading(&raw).then(|| self.seen[field].told()).flatten();
        let Some(cell) = self.seen[field].work().or(headed).cloned() else { return false };
        let expected = "work on a valve in a column `event`, since it begins a new segment of its readings";
        let help = if event.is_some() {
            format!(
                "write it under `event` (reshim, replace, …), or give --columns ignore=\"{raw}\" where no work is told"
            )
        } else if self.seen[field].is_numbers() {
            format!(
                "add a column `event` (reshim, replace, …), or give --columns ignore=\"{raw}\" where no work is told"
            )
        } else {
            format!(
                "add a column `event` (reshim, replace, …), or give --columns event=\"{raw}\" where it holds such words only, or \
                 --columns ignore=\"{raw}\""
            )
        };
        self.told(field, &cell, expected, help)
    }

    /// A row that says of itself that it does not count.
    fn does_not_count(&mut self, schema: &Schema<'_>, field: usize) -> bool {
        let Some(cell) = self.seen[field].void().filter(|_| schema.value.is_some()).cloned() else { return false };
        let raw = self.read[field].raw.clone();
        let help = format!("take such rows out, or give --columns ignore=\"{raw}\" where they count");
        self.told(field, &cell, "rows that count", help)
    }

    /// `Reading 2` beside `Reading`.
    fn further_readings(&mut self, schema: &Schema<'_>, field: usize, places: &[Option<usize>]) -> bool {
        let Some(value) = schema.value else { return false };
        let (name, Some(read)) = (schema.columns[value].name, places[value]) else { return false };
        if !self.read[field].repeats(&self.read[read]) || !self.seen[field].has_numbers() {
            return false;
        }
        let (raw, first) = (self.read[field].raw.clone(), self.read[read].raw.clone());
        let found = format!("`{raw}` beside `{first}`: further readings, which are not read");
        let fault = self.fault(FaultKind::UnknownColumn, field, &raw, found, "every column of readings told");
        self.faults.push(fault.with_help(format!(
            "where both are readings: --columns {name}=\"{first}\",{name}=\"{raw}\"; else --columns ignore=\"{raw}\""
        )));
        true
    }

    /// Whole numbers where how many there are is not told, and the size of a sample that is another one than the plan's.
    fn how_many(&mut self, schema: &Schema<'_>, field: usize, places: &[Option<usize>]) -> bool {
        let heading = &self.read[field];
        let raw = heading.raw.clone();
        let (found, expected, help) = match schema.name {
            "drawer" => {
                let count = schema.columns.iter().position(|column| column.name == "count");
                let is_told = count.is_none_or(|count| places[count].is_some());
                if is_told || heading.numbered || !self.seen[field].is_whole_numbers() || self.seen[field].counts_rows()
                {
                    return false;
                }
                (
                    format!("`{raw}`, whole numbers in a column that is not read"),
                    "how many there are of each size, in a column `count`: without it each row counts as one piece",
                    format!("--columns count=\"{raw}\" where it says how many, else --columns ignore=\"{raw}\""),
                )
            }
            "history" => {
                let is_sample = heading.words.iter().any(|word| SAMPLE.contains(&word.as_str()));
                if !is_sample || !self.seen[field].has_numbers() {
                    return false;
                }
                (
                    format!("`{raw}`, the sizes of samples in a column that is not read"),
                    "deliveries whose samples are those of the plan in force",
                    format!(
                        "where they are the plan's: --columns ignore=\"{raw}\"; deliveries judged by other samples are none of this scheme"
                    ),
                )
            }
            _ => return false,
        };
        let fault = self.fault(FaultKind::UnknownColumn, field, &raw, found, expected);
        self.faults.push(fault.with_help(help));
        true
    }

    /// A drawing's tolerance beside readings whose limits are not told.
    fn limits(&mut self, schema: &Schema<'_>, field: usize, places: &[Option<usize>]) -> bool {
        let has = |name: &str| {
            schema.columns.iter().zip(places).any(|(column, place)| column.name == name && place.is_some())
        };
        let is_one =
            self.read[field].words.iter().any(|word| matches!(word.as_str(), "tolerance" | "tol" | "toleranz"));
        if schema.name != "readings" || !is_one || self.seen[field].is_empty() || has("lower") || has("upper") {
            return false;
        }
        let raw = self.read[field].raw.clone();
        let found = format!("`{raw}`, which is not read");
        let fault =
            self.fault(FaultKind::UnknownColumn, field, &raw, found, "limits in the columns `lower` and `upper`");
        self.faults.push(fault.with_help(format!(
            "write the limits under `lower` and `upper`, or give them on the command line and --columns ignore=\"{raw}\""
        )));
        true
    }

    /// `U` and `U (k=2)` are expanded uncertainties, k times the standard one.
    fn uncertainty(&mut self, schema: &Schema<'_>, field: usize) -> bool {
        let heading = &self.read[field];
        let has_u = schema.columns.iter().any(|column| column.name == "u" && column.kind == Kind::Number);
        let words: Vec<&str> = heading.words.iter().map(String::as_str).collect();
        let is_expanded = words.contains(&"expanded") || matches!(words[..], ["u", "k" | "95", ..] | ["u95"]);
        if !has_u || !self.seen[field].has_numbers() || !is_expanded && heading.raw != "U" {
            return false;
        }
        let raw = heading.raw.clone();
        let found = format!("`{raw}`, which may be an expanded uncertainty");
        let fault = self.fault(FaultKind::UnknownColumn, field, &raw, found, "standard uncertainties in a column `u`");
        let help = if is_expanded {
            format!(
                "divide it by its k (mostly 2) and write that under `u`, or leave it out: --columns ignore=\"{raw}\""
            )
        } else {
            format!(
                "certificates write U for twice the standard one: divide it by 2 and write it under `u`; where it is the standard \
                 one: --columns u=\"{raw}\""
            )
        };
        self.faults.push(fault.with_help(help));
        true
    }

    /// What a valve was adjusted from and to, as two columns of one row: two features, and the work between them lost.
    pub(super) fn found_and_left(&mut self, fields: &[usize]) {
        let of = |left: bool| {
            let is_it = move |heading: &Heading| heading.is_of_work() == Some(left);
            fields.iter().copied().find(|field| is_it(&self.read[*field]))
        };
        let (Some(found), Some(left)) = (of(false), of(true)) else { return };
        let (before, after) = (self.read[found].raw.clone(), self.read[left].raw.clone());
        let text = format!("`{before}` and `{after}`: readings before and after work, in one row");
        let expected = "a row for each: the later one has the event (reshim, replace, …)";
        let fault = self.fault(FaultKind::Contradiction, left, &after, text, expected);
        self.faults.push(fault.with_help(format!(
            "write the second reading in a row of its own, with the same date and hours and its `event`; where nothing is ever \
             changed between them: --columns ignore=\"{after}\""
        )));
    }

    /// A heading in a unit that no column is read in.
    pub(super) fn foreign_unit(&mut self, field: usize, column: &str, expected: Option<Unit>) -> bool {
        let Some(unit) = self.read[field].foreign.clone() else { return false };
        let raw = self.read[field].raw.clone();
        let (text, wanted) = (format!("`{raw}`, a column in `{unit}`"), expected.map_or("mm", Unit::name));
        let fault = self.fault(FaultKind::Contradiction, field, column, text, format!("{column} in {wanted}"));
        self.faults.push(fault.with_help(format!(
            "convert the column to {wanted}, and write the unit that it is in then; where `{unit}` is no unit, take it out of the heading"
        )));
        true
    }
}
