//! Which column of the file is which of the table: by the user's word, by the headings, and, in a wide layout, by what stands below them.

use super::dates::{self, Written};
use super::headings::{Heading, Unit, unit_of};
use super::scan::Seen;
use super::unit_column::is_unit_heading;
use crate::error::{Fault, FaultKind, Place};
use crate::suggest;
use crate::table::{Kind, Need, Schema, Wide, WideNames};
use std::path::Path;
use std::sync::Arc;

/// What to do with a cross-table.
const A_DATE_EACH: &str = "the file has a column for each date: write a row for each date instead, with the columns `date`, `hours` and `value`";

/// In place of a column's name: a heading that is to be passed over.
pub(crate) const IGNORE: &str = "ignore";

/// Where the cells of each column are.
#[derive(Debug, Clone)]
pub(super) struct Layout {
    /// For each column of the schema its field in the file.
    pub(super) places: Vec<Option<usize>>,
    /// A column for each value of one of the schema's columns.
    pub(super) wide: Option<WideFields>,
    /// Fields that no column is read from, by their headings.
    pub(super) unread: Vec<String>,
    /// Fields that name the unit of each row.
    pub(super) units: Vec<usize>,
    /// Headings that were taken for a column they do not name to the letter: heading, column.
    pub(super) taken: Vec<(String, String)>,
}

/// The wide part of a layout.
#[derive(Debug, Clone)]
pub(super) struct WideFields {
    /// The column that each heading is a value of; None where the fields are repeats alone.
    pub(super) name: Option<usize>,
    /// The column that the cells are values of.
    pub(super) value: usize,
    /// Fields and their names.
    pub(super) fields: Vec<(usize, String)>,
    pub(super) what: &'static str,
}

/// A file's headings on their way to a layout.
pub(super) struct Headings<'h> {
    pub(super) path: &'h Arc<Path>,
    pub(super) read: Vec<Heading>,
    pub(super) seen: &'h [Seen],
    /// What the user says: this program's name, the heading.
    pub(super) given: &'h [(String, String)],
    /// The place of a heading, and of a cell.
    pub(super) place: &'h mut dyn FnMut(Option<u32>, usize) -> Place,
    faults: Vec<Fault>,
}

impl<'h> Headings<'h> {
    pub(super) fn of(
        path: &'h Arc<Path>,
        headings: &[String],
        seen: &'h [Seen],
        given: &'h [(String, String)],
        place: &'h mut dyn FnMut(Option<u32>, usize) -> Place,
    ) -> Self {
        let read = headings.iter().map(|heading| Heading::of(heading)).collect();
        Self { path, read, seen, given, place, faults: Vec::new() }
    }

    /// The columns, or every reason why they cannot be told.
    pub(super) fn layout(mut self, schema: &Schema<'_>) -> Result<Layout, Vec<Fault>> {
        let ignored = self.ignored();
        let mut places = vec![None; schema.columns.len()];
        let mut taken = Vec::new();
        let asked = self.asked_wide(schema);
        self.by_the_users_word(schema, &asked, &mut places);
        self.by_headings(schema, &ignored, &asked, &mut places, &mut taken);
        let unused: Vec<usize> = (0..self.read.len())
            .filter(|field| !places.contains(&Some(*field)) && !ignored.contains(field) && !self.is_nothing(*field))
            .collect();
        let wide = schema.wide.iter().find_map(|wide| self.wide_fields(wide, &asked, &places, &unused));
        let is_wide =
            |field: &usize| wide.as_ref().is_some_and(|wide| wide.fields.iter().any(|(other, _)| other == field));
        let (units, unread): (Vec<usize>, Vec<usize>) = unused
            .into_iter()
            .filter(|field| !is_wide(field))
            .partition(|field| is_unit_heading(&self.read[*field].raw));
        let filled = |index: usize| {
            places[index].is_some() || wide.as_ref().is_some_and(|wide| wide.name == Some(index) || wide.value == index)
        };
        self.missing(schema, &unread, &filled);
        self.units(schema, &places, wide.as_ref());
        self.second_units(schema, &unread, &places);
        if !schema.others {
            self.doubtful(schema, &unread, &places);
        }
        if !self.faults.is_empty() {
            return Err(self.faults);
        }
        let unread = unread.into_iter().chain(ignored).map(|field| self.name_of(field)).collect();
        Ok(Layout { places, wide, unread, units, taken })
    }

    /// A field without a heading in which nothing stands.
    fn is_nothing(&self, field: usize) -> bool {
        self.read[field].raw.is_empty() && self.seen[field].is_empty()
    }

    fn name_of(&self, field: usize) -> String {
        match &self.read[field].raw {
            none if none.is_empty() => "the column without a heading that counts the rows".to_owned(),
            raw => format!("`{raw}`"),
        }
    }

    fn fault(&mut self, kind: FaultKind, field: usize, key: &str, found: String, expected: impl Into<String>) -> Fault {
        let place = (self.place)(None, field);
        Fault::new(kind, self.path.clone(), place, found, expected).with_key(key)
    }

    /// The field of a heading that the user names; refused where there is none.
    fn named(&mut self, name: &str, heading: &str) -> Option<usize> {
        let exactly = self.read.iter().position(|found| found.raw == *heading);
        let same = |found: &Heading| found.raw.eq_ignore_ascii_case(heading);
        if let Some(field) = exactly.or_else(|| self.read.iter().position(same)) {
            return Some(field);
        }
        let raw: Vec<String> = self.read.iter().map(|heading| heading.raw.clone()).collect();
        let raw: Vec<&str> = raw.iter().map(String::as_str).filter(|raw| !raw.is_empty()).collect();
        let near = suggest::did_you_mean(heading, &raw, "the file has").unwrap_or_default();
        let found = format!("no column `{heading}`");
        let fault = self.fault(
            FaultKind::MissingColumn,
            0,
            name,
            found,
            format!("the heading that --columns gives for `{name}`"),
        );
        self.faults.push(fault.with_help(near));
        None
    }

    fn ignored(&mut self) -> Vec<usize> {
        let all = self.given.iter().filter(|(name, _)| name == IGNORE);
        all.filter_map(|(name, heading)| self.named(name, heading)).collect()
    }

    /// Fields that the user says are values of a wide layout: several headings for its column of names, or one with numbers below it.
    fn asked_wide(&mut self, schema: &Schema<'_>) -> Vec<usize> {
        let names: Vec<usize> = schema.wide.iter().filter_map(|wide| wide.name).collect();
        let mut asked = Vec::new();
        for (name, heading) in self.given {
            let is_name = names.iter().any(|index| schema.columns[*index].name == name);
            let several = self.given.iter().filter(|(other, _)| other == name).count() > 1;
            let field = self.read.iter().position(|found| found.raw.eq_ignore_ascii_case(heading));
            if let Some(field) = field.filter(|_| is_name)
                && (several || self.seen[field].is_numbers())
            {
                asked.push(field);
            }
        }
        asked
    }

    fn by_the_users_word(&mut self, schema: &Schema<'_>, asked: &[usize], places: &mut [Option<usize>]) {
        for (name, heading) in self.given {
            let Some(column) = schema.columns.iter().position(|column| column.name == name) else { continue };
            let field = self.named(name, heading);
            if field.is_none_or(|field| !asked.contains(&field)) {
                places[column] = field;
            }
        }
    }

    fn by_headings(
        &mut self,
        schema: &Schema<'_>,
        ignored: &[usize],
        asked: &[usize],
        places: &mut [Option<usize>],
        taken: &mut Vec<(String, String)>,
    ) {
        for (index, column) in schema.columns.iter().enumerate() {
            if places[index].is_some() || self.given.iter().any(|(name, _)| name == column.name) {
                continue;
            }
            let free =
                |field: &usize| !places.contains(&Some(*field)) && !ignored.contains(field) && !asked.contains(field);
            let sure = |field: usize| self.read[field].is(schema.name, column.name).map(|sure| (sure, field));
            let mut found: Vec<(u8, usize)> = (0..self.read.len()).filter(free).filter_map(sure).collect();
            found.sort_unstable();
            match found[..] {
                [] => {}
                // Beside a column that bears the very name, another that may be it is in doubt only if it bears it too.
                [(first, a), (second, b), ..] if first == second => self.two_headings(column.name, a, b),
                [(first, field), ..] => {
                    places[index] = Some(field);
                    if first > 0 {
                        taken.push((self.read[field].raw.clone(), column.name.to_owned()));
                    }
                }
            }
        }
    }

    fn two_headings(&mut self, column: &str, a: usize, b: usize) {
        let (first, second) = (self.read[a].raw.clone(), self.read[b].raw.clone());
        let found = format!("`{first}` and `{second}`, which may both be `{column}`");
        let fault = self.fault(FaultKind::DuplicateColumn, b, column, found, "one column of each kind");
        self.faults.push(fault.with_help(if first == second {
            "give one of them another name".to_owned()
        } else {
            format!("say which: --columns {column}=\"{first}\"")
        }));
    }

    /// The wide layout, if these columns have one: neither the names nor the values have a column of their own, and columns of numbers are left
    /// that bear what the layout asks of a heading.
    fn wide_fields(
        &self,
        wide: &Wide,
        asked: &[usize],
        places: &[Option<usize>],
        unused: &[usize],
    ) -> Option<WideFields> {
        if places[wide.value].is_some() || wide.name.is_some_and(|name| places[name].is_some()) {
            return None;
        }
        let name = |field: usize| match wide.names {
            WideNames::Words => {
                let heading = &self.read[field];
                (heading.is_a_feature() || asked.contains(&field)).then(|| heading.as_name())
            }
            WideNames::Text => asked.contains(&field).then(|| self.read[field].raw.clone()),
            WideNames::Numbers => self.read[field].number().map(|number| number.to_string()),
        };
        let fields: Vec<(usize, String)> = unused
            .iter()
            .filter(|&&field| self.seen[field].is_numbers() && !self.read[field].raw.is_empty())
            .filter(|field| asked.is_empty() || asked.contains(field))
            .filter_map(|&field| Some((field, name(field)?)))
            .collect();
        let mut names: Vec<&String> = fields.iter().map(|(_, name)| name).collect();
        names.sort();
        let twice = names.windows(2).any(|pair| pair[0] == pair[1]);
        // Repeats without a name of their own are several, or they would be the value.
        let enough = fields.len() >= if wide.name.is_none() { 2 } else { 1 };
        (enough && !twice).then_some(WideFields { name: wide.name, value: wide.value, fields, what: wide.what })
    }

    /// Columns that must be there and are not; and headings that may be a slip in the name of one that is not.
    fn missing(&mut self, schema: &Schema<'_>, unread: &[usize], filled: &dyn Fn(usize) -> bool) {
        let absent: Vec<&str> =
            (0..schema.columns.len()).filter(|&index| !filled(index)).map(|index| schema.columns[index].name).collect();
        let mut meant: Vec<&str> = Vec::new();
        for &field in unread.iter().filter(|_| !schema.others) {
            let raw = self.read[field].raw.clone();
            let near = suggest::nearest_slip(&raw, absent.iter().copied()).filter(|near| !meant.contains(near));
            let Some(near) = near else { continue };
            meant.push(near);
            let found = format!("the unknown column `{raw}`");
            let fault = self.fault(FaultKind::UnknownColumn, field, &raw, found, "a column this table has");
            let help = format!(
                "did you mean `{near}`? Rename it, or give --columns {near}=\"{raw}\", or --columns ignore=\"{raw}\""
            );
            self.faults.push(fault.with_help(help));
        }
        let known: Vec<String> = self.read.iter().map(|heading| heading.raw.clone()).collect();
        if let [only] = &known[..]
            && only.contains("  ")
        {
            let found = format!("a heading of several names apart by blanks, `{only}`");
            let fault = self.fault(FaultKind::Syntax, 0, "", found, "fields apart by commas, semicolons or tabs");
            self.faults.push(fault.with_help("write the table with one of these between its fields (CSV)"));
            return;
        }
        let is_a_date =
            |raw: &&String| matches!(dates::written(dates::without_time(raw).0), Written::Day(_) | Written::Parts(..));
        let a_date_each = known.iter().filter(is_a_date).count() > 1;
        let shown: Vec<&str> = known.iter().map(String::as_str).filter(|raw| !raw.is_empty()).take(12).collect();
        for (index, column) in schema.columns.iter().enumerate() {
            let told = self.faults.iter().any(|fault| fault.key == column.name);
            if column.need != Need::Every || filled(index) || meant.contains(&column.name) || told {
                continue;
            }
            let found = format!("no column `{}`", column.name);
            let fault = self.fault(FaultKind::MissingColumn, 0, column.name, found, column.meaning);
            let (name, listed) = (column.name, suggest::listed(&shown));
            let mut help = format!("the file has {listed}; where one of them is it, give --columns {name}=HEADING");
            if schema.wide.iter().any(|wide| wide.name == Some(index) || wide.value == index) {
                help.push_str("; a column for each is read too where its heading says what it holds");
            }
            self.faults.push(fault.with_help(if a_date_each { A_DATE_EACH.to_owned() } else { help }));
        }
    }

    /// Units in headings that are not the column's.
    fn units(&mut self, schema: &Schema<'_>, places: &[Option<usize>], wide: Option<&WideFields>) {
        let columns = schema.columns.iter().zip(places).filter_map(|(column, place)| Some((*column, (*place)?)));
        let wide =
            wide.iter().flat_map(|wide| wide.fields.iter().map(|(field, _)| (schema.columns[wide.value], *field)));
        let all: Vec<_> = columns.chain(wide).filter(|(column, _)| column.kind == Kind::Number).collect();
        for (column, field) in all {
            let Some(found) = self.read[field].unit else { continue };
            // What was read may be a load.
            let is_load = found == Unit::Newton && column.name == "value";
            let expected = expected_unit(schema, column.name).filter(|expected| *expected != found && !is_load);
            let Some(expected) = expected else { continue };
            let text = format!("`{}`, a column in {}", self.read[field].raw, found.name());
            let expects = format!("{} in {}", column.name, expected.name());
            let fault = self.fault(FaultKind::Contradiction, field, column.name, text, expects);
            self.faults.push(fault.with_help(match (expected, found) {
                (Unit::Millimetre, Unit::Inch) => "convert the column to mm, or read the table in inches: --units in",
                (Unit::Inch, Unit::Millimetre) => "leave --units in out",
                _ => "convert the column, and write the unit that it is in then",
            }));
        }
    }

    /// Columns beside the one that is read which bear its name in another unit: one of the two may be the other converted, or not.
    fn second_units(&mut self, schema: &Schema<'_>, unread: &[usize], places: &[Option<usize>]) {
        for &field in unread {
            let Some(found) = self.read[field].unit else { continue };
            let doubled = schema.columns.iter().zip(places).find_map(|(column, place)| {
                let told = self.given.iter().any(|(name, _)| name == column.name);
                let same = !told && self.read[field].is(schema.name, column.name).is_some();
                let expected = expected_unit(schema, column.name).filter(|expected| *expected != found)?;
                let is_load = found == Unit::Newton && column.name == "value";
                (same && !is_load).then_some((column.name, expected, (*place)?))
            });
            let Some((column, expected, place)) = doubled else { continue };
            let (raw, read) = (self.read[field].raw.clone(), self.read[place].raw.clone());
            let text = format!("`{raw}`, a column in {}, beside `{read}`", found.name());
            let expects = format!("{column} once, in {}", expected.name());
            let fault = self.fault(FaultKind::Contradiction, field, &raw, text, expects);
            self.faults.push(fault.with_help(format!(
                "where `{read}` is in {}, take the other column out or give --columns ignore=\"{raw}\"; else convert it",
                expected.name()
            )));
        }
    }

    /// Columns that are not read and that may be missed: without a heading, or telling of work that begins a new segment.
    fn doubtful(&mut self, schema: &Schema<'_>, unread: &[usize], places: &[Option<usize>]) {
        for &field in unread {
            if self.read[field].raw.is_empty() {
                if field > 0 || !self.seen[field].counts_rows() {
                    let found = "a column without a heading".to_owned();
                    let fault = self.fault(FaultKind::UnknownColumn, field, "", found, "a heading");
                    self.faults.push(fault.with_help("name it, or delete it"));
                }
                continue;
            }
            let event = schema.columns.iter().position(|column| column.name == "event");
            let has_event = event.is_none_or(|event| places[event].is_some());
            let Some(work) = self.seen[field].work().filter(|_| !has_event).cloned() else { continue };
            let raw = self.read[field].raw.clone();
            let place = (self.place)(Some(work.line), field);
            let found = format!("\"{}\" in a column that is not read", work.text);
            let expected = "work on a valve in a column `event`, since it begins a new segment of its readings";
            let help = format!(
                "add a column `event` (reshim, replace, …), or give --columns event=\"{raw}\" where it holds such words only, or --columns ignore=\"{raw}\""
            );
            let fault = Fault::new(FaultKind::UnknownColumn, self.path.clone(), place, found, expected);
            self.faults.push(fault.with_key(raw).with_help(help));
        }
    }
}

/// The unit in which a column of a table is read.
pub(super) fn expected_unit(schema: &Schema<'_>, column: &str) -> Option<Unit> {
    match unit_of(column) {
        Some(Unit::Millimetre) => schema.length,
        other => other,
    }
}
