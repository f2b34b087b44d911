//! From the first look to a plan, and by the plan to the table.

use super::apart::Apart;
use super::dates;
use super::grid::{Grid, Places, Raw, Row};
use super::headings::{Heading, Unit, unit_of};
use super::layout::{Headings, Layout, expected_unit};
use super::notes::{self, Tally, counted};
use super::numbers::{self, DecimalSign};
use super::scan::{self, First, Order, Signs, decimal_sign};
use super::unit_column::UnitColumn;
use crate::cell::Trouble;
use crate::error::{Error, Fault, FaultKind, InputError, Notice, Place};
use crate::kept::Kept;
use crate::limits::{COLUMNS, LETTERS, ROWS, exceeded};
use crate::options::Options;
use crate::source::Source;
use crate::table::{Cell, Column, Filling, Kind, Need, Schema, Table, expected_of};
use std::borrow::Cow;

/// How a table is to be read.
pub(crate) struct Plan<'a> {
    pub(super) grid: Grid<'a>,
    pub(super) headings: Vec<String>,
    pub(super) layout: Layout,
    signs: Signs,
    /// By field.
    orders: Vec<Option<Order>>,
    dates_given: bool,
    decimal_given: bool,
    pub(super) blanks_above: bool,
    /// What can mean two things as a whole. The rows are read all the same, so that their mistakes are told too.
    doubts: Vec<Fault>,
}

/// A cell that is not written as this program writes it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Change {
    /// Line, row of the sheet, or row from 1.
    pub(crate) line: u32,
    /// The schema's column.
    pub(crate) column: usize,
    pub(crate) was: String,
    pub(crate) now: String,
}

/// Looks at a table as a whole and says how it is to be read; or everything that can mean two things.
pub(crate) fn plan<'a>(
    source: &Source,
    text: Option<&'a str>,
    schema: &Schema<'_>,
    options: &Options,
) -> Result<Plan<'a>, Error> {
    let asked = &options.tables;
    let grid = Grid::of(source, text, schema, options)?;
    let headings = grid.headings();
    if headings.len() > COLUMNS {
        let found = format!("{} columns", headings.len());
        return Err(exceeded(source.path(), grid.places(source).heading(0), found, format!("at most {COLUMNS}")).into());
    }
    let long = |heading: &String| heading.chars().nth(LETTERS).is_some();
    if let Some(at) = headings.iter().position(long) {
        let found = format!("a heading of {} letters", headings[at].chars().count());
        let place = grid.places(source).heading(at);
        return Err(exceeded(source.path(), place, found, format!("at most {LETTERS}")).into());
    }
    let seen = scan::scan(&grid, source, headings.len(), options)?;
    let mut place = |line: Option<u32>, field: usize| {
        let mut places = grid.places(source);
        line.map_or_else(|| grid.places(source).heading(field), |line| places.of(line, field))
    };
    let layout = Headings::of(source.path(), &headings, &seen, &asked.columns, &mut place).layout(schema);
    let layout = layout.map_err(InputError::of)?;
    let of_kind = |kind: Kind| {
        let columns = schema.columns.iter().zip(&layout.places).filter(move |(column, _)| column.kind == kind);
        columns.filter_map(|(column, place)| Some((column.name, (*place)?)))
    };
    let mut of_numbers: Vec<(usize, Option<Unit>)> =
        of_kind(Kind::Number).map(|(name, field)| (field, expected_unit(schema, name))).collect();
    of_numbers.extend(of_kind(Kind::Count).map(|(_, field)| (field, None)));
    let wide = layout.wide.iter().flat_map(|wide| wide.fields.iter().map(|(field, _)| *field));
    of_numbers.extend(wide.map(|field| (field, Some(Unit::Millimetre))));
    let signs = decimal_sign(&seen, &of_numbers, asked.decimal, grid.separator());
    let mut orders: Vec<Option<Order>> = vec![None; headings.len()];
    for (_, field) in of_kind(Kind::Day) {
        let said = Heading::of(&headings[field]).dates;
        let mut order = scan::date_order(&seen[field], asked.dates.or(said));
        order.by_heading = asked.dates.is_none() && said.is_some();
        orders[field] = Some(order);
    }
    let mut doubts = Vec::new();
    for (field, first, why) in &signs.open {
        let fault = open_number(first, why, source, grid.places(source).of(first.line, *field));
        doubts.push(fault.with_key(headings[*field].clone()));
    }
    for (field, order) in orders.iter().enumerate() {
        let Some(order) = order else { continue };
        let Some(turned) = &order.turned else { continue };
        let fault = turned_dates(turned, order, source, grid.places(source).of(turned.line, field));
        doubts.push(fault.with_key(headings[field].clone()));
    }
    let (dates_given, blanks_above) = (asked.dates.is_some(), asked.blanks_above);
    let decimal_given = asked.decimal.is_some();
    Ok(Plan { grid, headings, layout, signs, orders, dates_given, decimal_given, blanks_above, doubts })
}

fn open_number(open: &First, why: &str, source: &Source, place: Place) -> Fault {
    let bare = numbers::without_unit(&open.text).0;
    let both = [DecimalSign::Point, DecimalSign::Comma].map(|sign| numbers::plain(bare, sign).unwrap_or_default());
    let found = if both[0] == both[1] {
        format!("\"{}\", {} with its thousands set apart: {why}", open.text, both[0])
    } else {
        format!("\"{}\", which is {} or {}: {why}", open.text, both[0], both[1])
    };
    Fault::new(FaultKind::DecimalComma, source.path().clone(), place, found, "numbers that can be read in one way")
        .with_help("say what the decimal sign is: --decimal comma or --decimal point; or mend the cells")
}

fn turned_dates(own: &First, order: &Order, source: &Source, place: Place) -> Fault {
    let found = format!(
        "{} and {} like it, none after the twelfth of a month, beside {} as text that can be read in one order only",
        own.text,
        counted(own.count - 1, "further date"),
        counted(order.sure, "date"),
    );
    let expected = "dates of one kind: a spreadsheet that takes days for months turns the dates it can and leaves the others as text";
    Fault::new(FaultKind::AmbiguousDate, source.path().clone(), place, found, expected)
        .with_help("go back to the file the spreadsheet opened; where the dates are right as they stand, give --dates dmy or --dates mdy for those in text")
}

/// Reads a table as it comes.
pub(crate) fn read(
    source: &Source,
    text: Option<&str>,
    schema: &Schema<'_>,
    options: &Options,
) -> Result<Table, Error> {
    let plan = plan(source, text, schema, options)?;
    let mut filling = Filling::new(&schema.columns);
    let mut lines = Vec::new();
    let mut fields = Vec::new();
    let notices = plan.each_row(
        source,
        schema,
        options,
        &mut |line, cells, field| {
            for (index, cell) in cells.iter().enumerate() {
                filling.push(index, *cell).map_err(|trouble| (index, trouble))?;
            }
            filling.end_row();
            lines.push(line);
            fields.push(field);
            Ok(())
        },
        &mut |_| (),
    )?;
    let mut places = plan.layout.places.clone();
    if let Some(wide) = &plan.layout.wide {
        // The heading stands for the name, the cell for the value: each row's own field.
        places[wide.value] = places[wide.value].or_else(|| wide.fields.first().map(|(field, _)| *field));
        if let Some(name) = wide.name {
            places[name] = places[wide.value];
        }
    }
    let wide = plan.layout.wide.as_ref().map(|wide| (wide.value, fields));
    Ok(filling.into_table(source, places, plan.grid.lines(lines), notices).with_fields(wide))
}

type Refused = (usize, Trouble);
/// What takes the rows: line, a cell for each column, and the field of the value.
type Sink<'s> = dyn FnMut(u32, &[Cell<'_>], u32) -> Result<(), Refused> + 's;

impl Plan<'_> {
    /// What can mean two things as a whole.
    pub(super) fn doubts(&self) -> &[Fault] {
        &self.doubts
    }

    /// The columns of the schema that the table has.
    pub(crate) fn has(&self, column: usize) -> bool {
        let wide = self.layout.wide.as_ref();
        self.layout.places[column].is_some()
            || wide.is_some_and(|wide| wide.name == Some(column) || wide.value == column)
    }

    /// Reads every row. Mistakes refuse the table, all of them; notices say what was taken for what.
    pub(crate) fn each_row(
        &self,
        source: &Source,
        schema: &Schema<'_>,
        options: &Options,
        sink: &mut Sink<'_>,
        changed: &mut dyn FnMut(Change),
    ) -> Result<Vec<Notice>, Error> {
        let mut run = Run {
            plan: self,
            source,
            schema,
            mistakes: Kept::default(),
            places: self.grid.places(source),
            tally: Tally::default(),
            above: vec![(0, String::new()); self.headings.len()],
            event_above: None,
            apart: self.apart(schema),
            met_totals: false,
            told: Vec::new(),
            units: self.unit_column(schema),
            rows: 0,
        };
        self.grid.each_row(source, options, |row| run.row(row, sink, changed))?;
        run.telling();
        let Run { mistakes, tally, rows, .. } = run;
        if !mistakes.is_empty() || !self.doubts.is_empty() {
            let total = mistakes.total + self.doubts.len();
            let mut faults = [self.doubts.clone(), mistakes.items].concat();
            faults.sort_by_key(|fault| (fault.place.line(), fault.place.column()));
            return Err(InputError { faults, total }.into());
        }
        let place = || self.grid.places(source).heading(0);
        if rows == tally.nothing.len() {
            let (found, expected) = ("a header without rows", "a header and rows");
            let fault = Fault::new(FaultKind::EmptyFile, source.path().clone(), place(), found, expected);
            return Err(InputError::of(vec![fault]).into());
        }
        if rows > ROWS {
            let found = format!("more than {ROWS} rows");
            return Err(exceeded(source.path(), place(), found, format!("at most {ROWS}")).into());
        }
        Ok(self.notices(source, schema, &tally))
    }

    /// What to hold the columns against that are not read.
    fn apart(&self, schema: &Schema<'_>) -> Apart {
        let is_key = |column: &Column<'_>| is_repeated(column) || matches!(column.name, "operator" | "trial" | "event");
        let keys = schema.columns.iter().zip(&self.layout.places).filter(|(column, _)| is_key(column));
        let mut keys: Vec<(usize, Kind)> = keys.filter_map(|(column, place)| Some(((*place)?, column.kind))).collect();
        for (_, fields) in &self.layout.joined {
            keys.extend(fields.iter().skip(1).map(|field| (*field, Kind::Name)));
        }
        Apart::of(schema, keys, &self.layout.unread_fields, &self.headings)
    }

    /// What the rows' units are held against: the table's, or that in the heading of what was read.
    fn unit_column(&self, schema: &Schema<'_>) -> UnitColumn {
        let value = schema.value.and_then(|value| self.layout.places[value]);
        let heading = value.and_then(|field| self.headings.get(field)).and_then(|raw| Heading::of(raw).unit);
        UnitColumn::of(schema, heading)
    }

    fn repeats_header(&self, row: &Row<'_, '_>) -> bool {
        let same = row.cells.iter().zip(&self.headings).all(|(cell, heading)| cell.shown() == *heading);
        same && row.cells.len() >= self.headings.len()
    }

    /// Fields whose empty cells repeat the cell above, as asked for: the text of each field of the row.
    fn from_above(
        &self,
        schema: &Schema<'_>,
        row: &Row<'_, '_>,
        above: &mut [(u32, String)],
        tally: &mut Tally,
    ) -> Vec<Option<String>> {
        if !self.blanks_above {
            return Vec::new();
        }
        let mut filled = vec![None; above.len()];
        let joined = self.layout.joined.iter().flat_map(|(_, fields)| fields.iter().skip(1).copied());
        let read = schema.columns.iter().zip(&self.layout.places).filter(|(column, _)| is_repeated(column));
        for field in read.filter_map(|(_, place)| *place).chain(joined) {
            match row.cells.get(field) {
                Some(cell) if !cell.is_blank() => above[field] = (row.line, cell.shown()),
                _ if !above[field].1.is_empty() => {
                    tally.filled += 1;
                    filled[field] = Some(above[field].1.clone());
                }
                _ => {}
            }
        }
        // What was done stands for several rows only where its cell is merged over them.
        let tells = schema.columns.iter().zip(&self.layout.places).filter(|(column, _)| TELLS.contains(&column.name));
        for field in tells.filter_map(|(_, place)| *place) {
            match row.cells.get(field) {
                Some(cell) if !cell.is_blank() => above[field] = (row.line, cell.shown()),
                _ if self.grid.merged_from(row.line, field).is_some_and(|top| top == above[field].0) => {
                    tally.filled += 1;
                    filled[field] = Some(above[field].1.clone());
                }
                _ => {}
            }
        }
        filled
    }

    /// The rows of the table that a row of the file makes: one, or one for each field of a wide layout.
    fn parts<'r>(&'r self, row: &'r Row<'_, '_>, filled: &'r [Option<String>]) -> Vec<Part<'r>> {
        let cell = |field: usize| -> (usize, Cow<'r, Raw<'r>>) {
            if let Some(Some(text)) = filled.get(field) {
                return (field, Cow::Owned(Raw::Text(Cow::Borrowed(text.as_str()))));
            }
            (field, row.cells.get(field).map_or(Cow::Owned(Raw::Empty), Cow::Borrowed))
        };
        let mut base: Vec<Option<(usize, Cow<'r, Raw<'r>>)>> =
            self.layout.places.iter().map(|place| place.map(cell)).collect();
        for (column, fields) in &self.layout.joined {
            let parts: Vec<String> = fields.iter().map(|field| cell(*field).1.shown()).collect();
            let whole = if parts.iter().any(String::is_empty) { Raw::Empty } else { Raw::Text(parts.join(" ").into()) };
            base[*column] = Some((fields[0], Cow::Owned(whole)));
        }
        let Some(wide) = &self.layout.wide else {
            let value = None;
            return vec![Part { cells: base, value }];
        };
        wide.fields
            .iter()
            .map(|(field, name)| {
                let mut cells = base.clone();
                cells[wide.value] = Some(cell(*field));
                if let Some(column) = wide.name {
                    cells[column] = Some((*field, Cow::Owned(Raw::Text(Cow::Borrowed(name.as_str())))));
                }
                Part { cells, value: Some(*field) }
            })
            .collect()
    }

    /// Whether nothing was read in a row: its reading is empty, or a sign for that, and nothing else in the row hangs on it.
    fn is_nothing(&self, schema: &Schema<'_>, part: &Part<'_>) -> bool {
        let Some(value) = schema.value else { return false };
        let is_nothing = |index: usize| match part.cells[index].as_ref().map(|(_, raw)| raw.as_ref()) {
            Some(Raw::Empty) | None => true,
            Some(Raw::Text(text)) => numbers::is_nothing(text),
            _ => false,
        };
        let tells = schema.columns.iter().enumerate().filter(|(_, column)| TELLS.contains(&column.name));
        // In a wide layout another cell of the row carries them.
        is_nothing(value) && (part.value.is_some() || tells.into_iter().all(|(index, _)| is_nothing(index)))
    }

    fn cell<'c>(
        &self,
        schema: &Schema<'_>,
        index: usize,
        field: usize,
        raw: &'c Raw<'_>,
        tally: &mut Tally,
    ) -> Result<Cell<'c>, Trouble> {
        let column = schema.columns[index];
        let may_be_empty = column.need == Need::Some;
        Ok(match (raw, column.kind) {
            (Raw::Empty, _) => Cell::Empty,
            (Raw::Truth(truth), Kind::Name) if may_be_empty => Cell::Text(if *truth { "true" } else { "false" }),
            (Raw::Truth(_), _) => return Err(Trouble::new(FaultKind::WrongType, "text, a number or a date")),
            (Raw::Wrong(kind, _, expected), _) => return Err(Trouble::new(*kind, *expected)),
            (Raw::Number(number), kind) => {
                if kind == Kind::Name {
                    Self::note_number_name(index, tally);
                }
                Cell::Number(*number)
            }
            (Raw::Day(day, with_time), _) => {
                tally.times += usize::from(*with_time);
                Cell::Day(*day)
            }
            (Raw::Text(text), _) if text.trim().is_empty() || (may_be_empty && numbers::is_nothing(text)) => {
                Cell::Empty
            }
            (Raw::Text(text), Kind::Name) => Cell::Text(text.trim()),
            (Raw::Text(text), Kind::Number) => {
                let number = self.number(schema, column.name, text.trim(), tally).map_err(|trouble| {
                    let help =
                        "--decimal says another sign than this number has: leave it out, or say the one of all numbers";
                    if self.decimal_given && trouble.kind == FaultKind::DecimalComma {
                        trouble.help(help)
                    } else {
                        trouble
                    }
                });
                Cell::Number(number?)
            }
            (Raw::Text(text), Kind::Count) => match numbers::plain(text, self.signs.sign) {
                Some(plain) if !plain.contains('.') => Cell::Number(crate::cell::number(&plain)?),
                _ if matches!(numbers::form(text), numbers::Form::EitherPoint | numbers::Form::EitherComma) => {
                    let help = "where it sets thousands apart, say which sign is the decimal one: --decimal comma or --decimal point";
                    return Err(Trouble::new(FaultKind::NotANumber, "a whole number, such as 3").help(help));
                }
                _ => Cell::Text(text.trim()),
            },
            (Raw::Text(text), Kind::Day) => {
                let (date, time) = dates::without_time(text);
                let order = self.orders[field].as_ref();
                let given = self.dates_given || order.is_some_and(|order| order.by_heading);
                let order = order.and_then(|order| if dates::is_named(date) { order.named } else { order.is });
                let day = dates::day(date, order, given).map_err(|trouble| {
                    let help =
                        "--dates says another order than this date has: leave it out, or say the one of all dates";
                    if self.dates_given && trouble.help.is_none() { trouble.help(help) } else { trouble }
                })?;
                tally.times += usize::from(!time.is_empty());
                Cell::Day(day)
            }
        })
    }

    fn note_number_name(column: usize, tally: &mut Tally) {
        if !tally.number_names.contains(&column) {
            tally.number_names.push(column);
        }
    }

    fn number(&self, schema: &Schema<'_>, column: &str, text: &str, tally: &mut Tally) -> Result<f64, Trouble> {
        let (bare, unit) = numbers::without_unit(text);
        if unit.is_empty() || numbers::form(bare) == numbers::Form::Not {
            return numbers::number(text, self.signs.sign);
        }
        let expected = expected_unit(schema, column);
        if Unit::of(unit).is_none() || Unit::of(unit) != expected {
            let expected =
                expected.map_or_else(|| "a number".to_owned(), |unit| format!("a number in {}", unit.name()));
            let trouble = Trouble::new(FaultKind::NotANumber, expected);
            let inches = Unit::of(unit) == Some(Unit::Inch) && matches!(schema.name, "readings" | "drawer");
            let whole = if inches { "; where the whole table is in inches: --units in" } else { "" };
            return Err(trouble.help(format!(
                "the unit does not belong in the cell, and it is another one than the column's: convert the value{whole}"
            )));
        }
        tally.units += 1;
        numbers::number(bare, self.signs.sign)
    }

    fn notices(&self, source: &Source, schema: &Schema<'_>, tally: &Tally) -> Vec<Notice> {
        let said =
            notes::said((&self.grid, schema), &self.layout, &self.signs, (&self.orders, self.dates_given), tally);
        let mut notices = self.grid.notices();
        if !said.is_empty() {
            let text =
                format!("read as it came: {}. `packdrift tidy` writes the table once as it is read", said.join("; "));
            notices.push(Notice::new(source.path(), text));
        }
        notices
    }
}

/// A reading of all rows.
pub(super) struct Run<'r> {
    pub(super) plan: &'r Plan<'r>,
    pub(super) source: &'r Source,
    pub(super) schema: &'r Schema<'r>,
    pub(super) mistakes: Kept<Fault>,
    pub(super) places: Places<'r, 'r>,
    tally: Tally,
    /// Of each field the last cell that held something, with its line.
    above: Vec<(u32, String)>,
    /// The last row whose names are its own, where it has an event.
    pub(super) event_above: Option<(u32, String)>,
    pub(super) apart: Apart,
    /// Whether a row of totals was met.
    pub(super) met_totals: bool,
    /// Fields of this row that were refused or changed already: a wide layout reads some for each of its columns.
    told: Vec<usize>,
    units: UnitColumn,
    rows: usize,
}

impl Run<'_> {
    fn row(&mut self, row: Row<'_, '_>, sink: &mut Sink<'_>, changed: &mut dyn FnMut(Change)) {
        if let Some(fault) = row.misshapen {
            self.mistakes.add(fault.kind, usize::MAX, || fault);
            return;
        }
        let plan = self.plan;
        if plan.repeats_header(&row) {
            self.tally.headers += 1;
            return;
        }
        if self.is_totals(&row) {
            return;
        }
        let filled = plan.from_above(self.schema, &row, &mut self.above, &mut self.tally);
        let parts = plan.parts(&row, &filled);
        self.told.clear();
        if !parts.iter().all(|part| plan.is_nothing(self.schema, part)) {
            self.apart.row(row.line, |field| match filled.get(field) {
                Some(Some(text)) => Cow::Owned(Raw::Text(Cow::Borrowed(text.as_str()))),
                _ => row.cells.get(field).map_or(Cow::Owned(Raw::Empty), Cow::Borrowed),
            });
        }
        self.event_of_above(&row, &filled);
        self.event_without_reading(&row, &parts);
        self.unit_of_row(&row, &parts);
        for part in parts {
            self.rows += 1;
            if plan.is_nothing(self.schema, &part) {
                self.tally.nothing.push(row.line);
                continue;
            }
            self.part(&row, &part, sink, changed);
        }
    }

    /// Holds the unit that a row says against the table's.
    fn unit_of_row(&mut self, row: &Row<'_, '_>, parts: &[Part<'_>]) {
        let plan = self.plan;
        if plan.layout.units.is_empty() || parts.iter().all(|part| plan.is_nothing(self.schema, part)) {
            return;
        }
        let feature = self.schema.columns.iter().position(|column| column.name == "feature");
        let feature = feature.filter(|_| plan.layout.wide.is_none());
        let feature = feature.and_then(|index| parts.first()?.cells[index].as_ref()).map(|(_, raw)| raw.shown());
        for &field in &plan.layout.units {
            let shown = row.cells.get(field).map_or_else(String::new, Raw::shown);
            if numbers::is_nothing(&shown) {
                continue;
            }
            let heading = plan.headings[field].as_str();
            let Some(trouble) = self.units.trouble(&shown, heading, feature.as_deref(), row.line) else {
                self.tally.said_units += 1;
                continue;
            };
            let (line, source, places) = (row.line, self.source, &mut self.places);
            self.mistakes.add(trouble.kind, self.schema.columns.len() + field, || {
                let place = places.of(line, field);
                let found = format!("{} under `{heading}`", shortened(&shown));
                let mut fault = Fault::new(trouble.kind, source.path().clone(), place, found, trouble.expected);
                fault.help = trouble.help;
                fault.with_key(heading)
            });
        }
    }

    /// Of a wide layout, a row in which nothing was read but something is told that hangs on a reading.
    fn event_without_reading(&mut self, row: &Row<'_, '_>, parts: &[Part<'_>]) {
        let plan = self.plan;
        if plan.layout.wide.is_none() || !parts.iter().all(|part| plan.is_nothing(self.schema, part)) {
            return;
        }
        let told =
            self.schema.columns.iter().zip(&plan.layout.places).enumerate().find_map(|(index, (column, field))| {
                let cell = row.cells.get((*field)?)?;
                let tells = TELLS.contains(&column.name) && !cell.is_blank();
                tells.then(|| ((*field).unwrap_or_default(), index, cell.shown()))
            });
        if let Some((field, index, shown)) = told {
            let trouble =
                Trouble::new(FaultKind::EmptyCell, "a reading in the same row, since it stands for the reading's row");
            self.refuse(row.line, field, index, trouble, &shown);
        }
    }

    pub(super) fn refuse(&mut self, line: u32, field: usize, column: usize, trouble: Trouble, shown: &str) {
        let wide = self.plan.layout.wide.as_ref();
        let is_feature = wide.is_some_and(|wide| wide.fields.iter().any(|(other, _)| *other == field));
        let heading = self.plan.headings[field].as_str();
        let (known, source, places) = (self.schema.columns[column], self.source, &mut self.places);
        self.mistakes.add(trouble.kind, column, || {
            let expected = if trouble.expected.is_empty() { expected_of(known) } else { trouble.expected };
            let found = if shown.is_empty() { "an empty cell".to_owned() } else { shortened(shown) };
            let mut fault = Fault::new(trouble.kind, source.path().clone(), places.of(line, field), found, expected);
            let repeats = is_repeated(&known) && shown.is_empty();
            let blanks = if self.plan.blanks_above {
                "nothing stands above it: write it here"
            } else {
                "where merged cells left it empty, it is that of the row above: --blanks above"
            };
            let ignore = || {
                format!("where nothing was read leave the cell empty; where the column holds no readings: --columns ignore=\"{heading}\"")
            };
            let help = trouble.help.or_else(|| repeats.then(|| blanks.to_owned()));
            let is_words = is_feature && !shown.is_empty() && !shown.bytes().any(|byte| byte.is_ascii_digit());
            let is_units = help.as_ref().is_some_and(|help| help.starts_with("a row of units"));
            fault.help = help.filter(|_| !is_words || is_units).or_else(|| is_feature.then(ignore));
            fault.with_key(known.name)
        });
    }

    fn part(&mut self, row: &Row<'_, '_>, part: &Part<'_>, sink: &mut Sink<'_>, changed: &mut dyn FnMut(Change)) {
        let mut cells = vec![Cell::Empty; self.schema.columns.len()];
        let mut sound = true;
        for (index, raw) in part.cells.iter().enumerate() {
            let Some((field, raw)) = raw else { continue };
            match self.plan.cell(self.schema, index, *field, raw, &mut self.tally) {
                Ok(cell) => cells[index] = cell,
                Err(trouble) => {
                    sound = false;
                    if self.told.contains(field) {
                        continue;
                    }
                    self.told.push(*field);
                    self.refuse(row.line, *field, index, trouble, &raw.shown());
                }
            }
        }
        if !sound {
            return;
        }
        if let Err((index, trouble)) = sink(row.line, &cells, part.value.unwrap_or(0) as u32) {
            let (field, shown) = part.cells[index].as_ref().map_or((0, String::new()), |(f, raw)| (*f, raw.shown()));
            if self.told.contains(&field) {
                return;
            }
            self.told.push(field);
            self.refuse(row.line, field, index, trouble, &shown);
            return;
        }
        let value = part.value.and(self.schema.value);
        for (index, raw) in part.cells.iter().enumerate() {
            let Some((field, raw)) = raw else { continue };
            let (was, now) = (raw.shown(), written(&cells[index]));
            let from_above = row.cells.get(*field).is_some_and(Raw::is_blank) && !now.is_empty();
            // What all columns of a wide layout share is told once.
            if (was != now || from_above) && !(self.told.contains(field) && Some(index) != value) {
                self.told.push(*field);
                let was = if from_above { String::new() } else { was };
                changed(Change { line: row.line, column: index, was, now });
            }
        }
    }
}

/// Whether an empty cell of a column may stand for the one above: names, dates and hours that must be there.
pub(super) fn is_repeated(column: &Column<'_>) -> bool {
    let must = column.need == Need::Every && matches!(column.kind, Kind::Name | Kind::Day);
    must || unit_of(column.name) == Some(Unit::Hour)
}

/// What a row may tell that hangs on its reading.
pub(super) const TELLS: [&str; 4] = ["event", "old_meter", "new_meter", "confirmed"];

/// The cells of a row of the table, before they are values: field and raw cell by column.
struct Part<'r> {
    cells: Vec<Option<(usize, Cow<'r, Raw<'r>>)>>,
    /// Of a wide layout, the field of the value.
    value: Option<usize>,
}

pub(super) fn shortened(text: &str) -> String {
    let text: String =
        if text.chars().count() > 40 { text.chars().take(37).chain("...".chars()).collect() } else { text.to_owned() };
    format!("\"{text}\"")
}

/// A cell as this program writes it.
pub(crate) fn written(cell: &Cell<'_>) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => (*text).to_owned(),
        Cell::Number(number) => number.to_string(),
        Cell::Day(day) => crate::cell::date_of_day(*day).map_or_else(String::new, |date| date.to_string()),
    }
}
