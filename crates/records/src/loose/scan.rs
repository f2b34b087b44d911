//! The first look at a table: for each field how its cells are written, and what all of them together tell.

use super::dates::{self, DateOrder, Written};
use super::grid::{Grid, Raw};
use super::headings::Unit;
use super::numbers::{self, DecimalSign, Form};
use super::work;
use crate::error::Error;
use crate::options::Options;
use crate::source::Source;
use hashbrown::HashSet;
use std::hash::{DefaultHasher, Hash, Hasher};

/// How the cells of a field are written: how many of each sort, and where the first is.
#[derive(Debug, Clone, Default)]
pub(super) struct Seen {
    /// Cells that hold something.
    filled: usize,
    /// Numbers, as numbers or as text.
    numbers: usize,
    /// Cells of text whose decimal sign is a point, a comma, or open.
    points: usize,
    commas: usize,
    open_commas: First,
    open_points: First,
    /// Whole numbers of four digits or more whose thousands are not set apart; and those set apart by blanks.
    plain_thousands: First,
    blanks: First,
    /// Dates whose day comes first, whose month does, and whose order is open.
    day_first: usize,
    month_first: usize,
    open_dates: First,
    /// Dates with a named month and a year of two digits: those whose year can only come last, only first, and the others.
    named_last: usize,
    named_first: usize,
    named_open: usize,
    /// Dates that have one meaning by themselves; and those of them whose day is above 12.
    own_dates: First,
    own_late: usize,
    /// Whether the numbers count the rows: 0, 1, 2, …
    counts_rows: bool,
    last: Option<f64>,
    /// A cell that tells of work on the valve; one that says more than no; one that says that its row does not count.
    work: First,
    told: First,
    void: First,
    /// Texts that were looked at for these, by their hashes.
    known: HashSet<u64>,
    /// Numbers without a fraction.
    whole: usize,
    /// Of all cells that hold something, with their lines: two columns that hold the same have the same.
    digest: u64,
}

/// Texts of a field that are known again.
const KNOWN: usize = 10_000;

/// How many, and the first of them.
#[derive(Debug, Clone, Default)]
pub(super) struct First {
    pub(super) count: usize,
    pub(super) line: u32,
    pub(super) text: String,
}

impl First {
    fn add(&mut self, line: u32, text: &str) {
        if self.count == 0 {
            (self.line, self.text) = (line, text.chars().take(60).collect());
        }
        self.count += 1;
    }

    fn if_any(&self) -> Option<&Self> {
        (self.count > 0).then_some(self)
    }
}

impl Seen {
    pub(super) fn is_empty(&self) -> bool {
        self.filled == 0
    }

    /// Whether all that stands here is numbers.
    pub(super) fn is_numbers(&self) -> bool {
        self.filled > 0 && self.numbers == self.filled
    }

    pub(super) fn has_numbers(&self) -> bool {
        self.numbers > 0
    }

    pub(super) fn is_whole_numbers(&self) -> bool {
        self.is_numbers() && self.whole == self.numbers
    }

    /// Whether there are dates, in whatever order.
    pub(super) fn has_dates(&self) -> bool {
        self.day_first + self.month_first + self.open_dates.count + self.own_dates.count > 0
    }

    /// Whether two fields hold the same.
    pub(super) fn is_same(&self, other: &Self) -> bool {
        self.digest == other.digest
    }

    /// Whether the field only counts the rows, as the index of a data frame does.
    pub(super) fn counts_rows(&self) -> bool {
        self.counts_rows && self.is_numbers()
    }

    /// The first cell that tells of work on the valve.
    pub(super) fn work(&self) -> Option<&First> {
        self.work.if_any()
    }

    /// The first cell that says more than that nothing was done.
    pub(super) fn told(&self) -> Option<&First> {
        self.told.if_any()
    }

    /// The first cell that says that its row does not count.
    pub(super) fn void(&self) -> Option<&First> {
        self.void.if_any()
    }

    fn digested(&mut self, line: u32, cell: &Raw<'_>) {
        let mut hasher = DefaultHasher::new();
        (self.digest, line).hash(&mut hasher);
        match cell {
            Raw::Text(text) => text.trim().hash(&mut hasher),
            Raw::Number(number) => number.to_bits().hash(&mut hasher),
            other => other.shown().hash(&mut hasher),
        }
        self.digest = hasher.finish();
    }

    fn add(&mut self, line: u32, cell: &Raw<'_>) {
        if !cell.is_blank() {
            self.digested(line, cell);
        }
        match cell {
            Raw::Empty => {}
            Raw::Number(number) => {
                self.filled += 1;
                self.numbers += 1;
                self.whole += usize::from(number.fract() == 0.0);
                if *number != 0.0 {
                    self.told.add(line, &number.to_string());
                }
                self.follow(*number);
                if *number >= 1000.0 && number.fract() == 0.0 {
                    self.plain_thousands.add(line, &number.to_string());
                }
            }
            Raw::Day(day, _) => {
                self.filled += 1;
                self.own_date(line, *day);
            }
            Raw::Truth(truth) => {
                self.filled += 1;
                if *truth {
                    self.told.add(line, "true");
                }
            }
            Raw::Wrong(..) => self.filled += 1,
            Raw::Text(text) if numbers::is_nothing(text) => {}
            Raw::Text(text) => {
                self.filled += 1;
                self.text(line, text.trim());
            }
        }
    }

    fn own_date(&mut self, line: u32, day: i32) {
        let date = crate::cell::date_of_day(day);
        self.own_dates.add(line, &date.map_or_else(String::new, |date| date.to_string()));
        self.own_late += usize::from(date.is_some_and(|date| date.day() > 12));
    }

    fn follow(&mut self, number: f64) {
        self.counts_rows = match self.last {
            None => number == 0.0 || number == 1.0,
            Some(last) => self.counts_rows && number == last + 1.0,
        };
        self.last = Some(number);
    }

    fn text(&mut self, line: u32, text: &str) {
        let (number, _) = numbers::without_unit(text);
        let form = numbers::form(number);
        if !work::is_no(text) {
            self.told.add(line, text);
        }
        self.whole += usize::from(form == Form::Whole);
        self.numbers += usize::from(form != Form::Not);
        match form {
            Form::Point => self.points += 1,
            Form::Comma => self.commas += 1,
            Form::EitherComma => self.open_commas.add(line, text),
            Form::EitherPoint => self.open_points.add(line, text),
            Form::Whole => {
                let plain = number.bytes().all(|byte| byte.is_ascii_digit());
                if plain && number.len() > 3 {
                    self.plain_thousands.add(line, text);
                }
                if number.chars().any(numbers::sets_apart) {
                    self.blanks.add(line, text);
                }
                self.follow(if plain { number.parse().unwrap_or(f64::NAN) } else { f64::NAN });
            }
            Form::Not => self.words(line, text),
        }
    }

    fn words(&mut self, line: u32, text: &str) {
        let date = dates::written(dates::without_time(text).0);
        match date {
            Written::Day(day) => self.own_date(line, day),
            Written::Named(year_last, year_first) => {
                // Such dates come out of spreadsheets, which may have turned them.
                if let Some(day) = year_last.or(year_first) {
                    self.own_date(line, day);
                }
                match date.order() {
                    Some(DateOrder::YearMonthDay) => self.named_first += 1,
                    Some(_) => self.named_last += 1,
                    None => self.named_open += 1,
                }
            }
            _ => match date.order() {
                Some(DateOrder::MonthDayYear) => self.month_first += 1,
                Some(_) => self.day_first += 1,
                None if date.is_open() => self.open_dates.add(line, text),
                None => {}
            },
        }
        // Names repeat.
        let mut hasher = DefaultHasher::new();
        text.hash(&mut hasher);
        if self.known.contains(&hasher.finish()) {
            return;
        }
        if self.known.len() < KNOWN {
            self.known.insert(hasher.finish());
        }
        if work::tells(text) {
            self.work.add(line, text);
        }
        if work::is_void(text) {
            self.void.add(line, text);
        }
    }
}

/// What was seen of every field. `fields` is how many headings there are.
pub(super) fn scan(grid: &Grid<'_>, source: &Source, fields: usize, options: &Options) -> Result<Vec<Seen>, Error> {
    let mut seen = vec![Seen::default(); fields];
    grid.each_row(source, options, |row| {
        for (seen, cell) in seen.iter_mut().zip(row.cells) {
            seen.add(row.line, cell);
        }
    })?;
    Ok(seen)
}

/// How the numbers of a table are written, from the fields that hold some.
#[derive(Debug, Clone)]
pub(super) struct Signs {
    pub(super) sign: DecimalSign,
    /// Cells that were decimal commas, and cells whose thousands are set apart by the other sign.
    pub(super) decimal_commas: usize,
    pub(super) apart: usize,
    /// Numbers that may be two, where nothing tells which: field, the first, and why it is not told.
    pub(super) open: Vec<(usize, First, &'static str)>,
}

/// The decimal sign of the fields in `of`, each with its unit. Numbers that can be nothing else tell the sign of all; what is still open then
/// is left open, since a wrong reading is worse than a question.
pub(super) fn decimal_sign(
    seen: &[Seen],
    of: &[(usize, Option<Unit>)],
    given: Option<DecimalSign>,
    separator: Option<u8>,
) -> Signs {
    let sum = |count: fn(&Seen) -> usize| of.iter().map(|&(field, _)| count(&seen[field])).sum::<usize>();
    let (points, commas) = (sum(|seen| seen.points), sum(|seen| seen.commas));
    let sign = given.unwrap_or(if commas > points { DecimalSign::Comma } else { DecimalSign::Point });
    let mut open = Vec::new();
    for &(field, unit) in of.iter().filter(|_| given.is_none()) {
        let seen = &seen[field];
        let why = if points + commas == 0 { untold(seen, unit, separator) } else { still_open(seen, unit, sign) };
        open.extend(why.map(|(first, why)| (field, first.clone(), why)));
    }
    let (decimal_commas, apart) = match sign {
        DecimalSign::Point => (0, sum(|seen| seen.open_commas.count)),
        DecimalSign::Comma => (commas + sum(|seen| seen.open_commas.count), sum(|seen| seen.open_points.count)),
    };
    Signs { sign, decimal_commas, apart, open }
}

/// A number of a table in which no number tells the decimal sign. Points are decimal signs then, as docs/files.md has it, except in hours
/// between semicolons, or as text in a workbook or a Parquet file: such tables come from where points set thousands apart.
fn untold(seen: &Seen, unit: Option<Unit>, separator: Option<u8>) -> Option<(&First, &'static str)> {
    let why = "no number of the table tells which";
    if seen.open_commas.count > 0 {
        return Some((&seen.open_commas, why));
    }
    let suspect = unit == Some(Unit::Hour) && matches!(separator, None | Some(b';' | b'\t'));
    (suspect && seen.open_points.count > 0).then_some((&seen.open_points, why))
}

/// A number that is in doubt though the table's sign is known.
fn still_open(seen: &Seen, unit: Option<Unit>, sign: DecimalSign) -> Option<(&First, &'static str)> {
    let (fractions, thousands, sure) = match sign {
        DecimalSign::Point => (&seen.open_points, &seen.open_commas, seen.points),
        DecimalSign::Comma => (&seen.open_commas, &seen.open_points, seen.commas),
    };
    if thousands.count > 0 {
        if unit == Some(Unit::Millimetre) || unit == Some(Unit::Inch) {
            return Some((thousands, "a length of thousands would be a surprise"));
        }
        if seen.plain_thousands.count > 0 {
            return Some((thousands, "other thousands of the column are not set apart"));
        }
    }
    if seen.blanks.count > 0 && unit == Some(Unit::Millimetre) {
        return Some((&seen.blanks, "a length of thousands would be a surprise"));
    }
    // Hours are rarely written to three decimals: 1,883 beside readings with decimal commas may have come from another program.
    let odd = sign == DecimalSign::Comma && unit == Some(Unit::Hour) && sure == 0;
    (odd && fractions.count > 0).then_some((fractions, "hours with three decimals would be a surprise"))
}

/// In which order the dates of a field stand.
#[derive(Debug, Clone)]
pub(super) struct Order {
    pub(super) is: Option<DateOrder>,
    /// Dates that can be nothing else, and dates that do not begin with the year.
    pub(super) sure: usize,
    pub(super) all: usize,
    /// The same of dates with a named month and a year of two digits.
    pub(super) named: Option<DateOrder>,
    pub(super) named_sure: usize,
    pub(super) named_all: usize,
    /// A date that a spreadsheet may have turned: beside dates in text that can be read in one order only stand dates of its own, none of them
    /// after the twelfth of a month.
    pub(super) turned: Option<First>,
    /// Whether the heading says it: `Date (dd/mm/yyyy)`.
    pub(super) by_heading: bool,
}

pub(super) fn date_order(seen: &Seen, given: Option<DateOrder>) -> Order {
    let (day, month) = (seen.day_first, seen.month_first);
    let all = day + month + seen.open_dates.count;
    let told = match (day, month) {
        (0, 0) => None,
        (day, month) if day >= month => Some(DateOrder::DayMonthYear),
        _ => Some(DateOrder::MonthDayYear),
    };
    let order = given.or(told);
    let is_mixed = day + month > 0 && seen.own_dates.count > 0 && seen.own_late == 0;
    let turned = (given.is_none() && is_mixed).then(|| seen.own_dates.clone());
    let (last, first) = (seen.named_last, seen.named_first);
    let named_told = match (last, first) {
        (0, 0) => None,
        (last, first) if last >= first => Some(DateOrder::DayMonthYear),
        _ => Some(DateOrder::YearMonthDay),
    };
    Order {
        is: order,
        sure: day.max(month),
        all,
        named: given.or(named_told),
        named_sure: last.max(first),
        named_all: last + first + seen.named_open,
        turned,
        by_heading: false,
    }
}
