//! What a cell of a table may hold, and how it is written: numbers with a decimal point, ISO 8601 dates, names.
//!
//! Every format comes down to these few functions in the end, so that a table means the same in all of them.

use crate::error::FaultKind;
use jiff::civil::Date;

/// Why a cell is not what it should be; the caller knows where it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Trouble {
    pub(crate) kind: FaultKind,
    pub(crate) expected: String,
    pub(crate) help: Option<String>,
}

impl Trouble {
    pub(crate) fn new(kind: FaultKind, expected: impl Into<String>) -> Self {
        Self { kind, expected: expected.into(), help: None }
    }

    pub(crate) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}

/// A finite number: digits, at most one point, an optional sign and an optional power of ten. Nothing else: no thousands
/// separators, no units, no NaN.
pub(crate) fn number(written: &str) -> Result<f64, Trouble> {
    let expected = "a number with a decimal point, such as 0.402";
    if written.is_empty() {
        return Err(Trouble::new(FaultKind::EmptyCell, expected));
    }
    // Rust's parser takes these and the words inf, infinity and nan; the words are refused below.
    if written.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'.' | b'-' | b'+' | b'e' | b'E')) {
        return match written.parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(number),
            Ok(_) => Err(Trouble::new(FaultKind::NotFinite, "a number that is not beyond 1.8e308")),
            Err(_) => {
                let trouble = Trouble::new(FaultKind::NotANumber, expected);
                Err(if written.bytes().any(|byte| byte.is_ascii_digit()) {
                    trouble
                } else {
                    trouble.help("leave the row out where nothing was read")
                })
            }
        };
    }
    let bare = written.trim_start_matches(['-', '+']);
    if ["nan", "inf", "infinity"].iter().any(|word| bare.eq_ignore_ascii_case(word)) {
        return Err(
            Trouble::new(FaultKind::NotFinite, "a finite number").help("leave the row out where nothing was read")
        );
    }
    if ["na", "n/a", "null", "none", "-", "--", "?", "#n/a"].iter().any(|word| written.eq_ignore_ascii_case(word)) {
        return Err(Trouble::new(FaultKind::NotANumber, expected).help("leave the row out where nothing was read"));
    }
    if let Some(point) = decimal_comma(written) {
        return Err(Trouble::new(FaultKind::DecimalComma, expected).help(comma_meant(written, &point)));
    }
    let unit = written.trim_end_matches(|letter: char| !letter.is_ascii_digit());
    let trouble = Trouble::new(FaultKind::NotANumber, expected);
    if ["mm", "in", "inch", "µm", "um", "h", "hr", "hrs", "hours", "n"]
        .iter()
        .any(|word| written.eq_ignore_ascii_case(word))
    {
        let help = "a row of units under the headings: delete it; a unit can stand in its heading, as `value (mm)`";
        return Err(trouble.help(help));
    }
    if !unit.is_empty() && unit.parse::<f64>().is_ok() && !written.ends_with(crate::table::STRUCK_OUT) {
        let behind = written[unit.len()..].trim();
        let what = if behind.contains(char::is_alphabetic) || behind.contains('"') {
            "the unit"
        } else {
            "what stands behind it"
        };
        return Err(trouble.help(format!("write {unit}: {what} does not belong in the cell")));
    }
    match what_it_may_be(written) {
        Some(help) => Err(trouble.help(help)),
        None => Err(trouble),
    }
}

/// What to do with a cell that holds more or less than one number.
fn what_it_may_be(written: &str) -> Option<String> {
    if written.ends_with(crate::table::STRUCK_OUT) {
        return Some("take the row out where it does not count, else take the line through the cell off".to_owned());
    }
    let is_number = |text: &str| text.trim().parse::<f64>().is_ok();
    if let Some(rest) = written.strip_prefix(['<', '>', '≤', '≥']).filter(|rest| is_number(rest)) {
        return Some(format!(
            "a bound is no reading: write what was read, or leave it out; {} alone would be one",
            rest.trim()
        ));
    }
    if let Some(rest) = written.strip_prefix(['~', '≈']).filter(|rest| is_number(rest)) {
        return Some(format!("write {}, or leave it out where it was not read", rest.trim()));
    }
    if let Some((hours, minutes)) = written.split_once(':') {
        let clock = hours.parse::<u32>().ok().zip(minutes.parse::<u32>().ok()).filter(|(_, minutes)| *minutes < 60);
        return clock.map(|(hours, minutes)| {
            let exact = f64::from(hours) + f64::from(minutes) / 60.0;
            format!(
                "where these are hours and minutes, write hours with a fraction: {}",
                (exact * 100.0).round() / 100.0
            )
        });
    }
    if ["ok", "nok", "n.m.", "n.a.", "nm", "not measured", "not read"]
        .iter()
        .any(|word| written.eq_ignore_ascii_case(word))
    {
        return Some("where nothing was read, leave the row out".to_owned());
    }
    let several = written.split(['/', ';', ' ']).filter(|part| !part.is_empty());
    (several.clone().count() > 1 && several.into_iter().all(is_number))
        .then(|| "several numbers in one cell: write a row, or a column, for each".to_owned())
}

/// The number with a point for its comma, if that is all that is wrong with it.
fn decimal_comma(written: &str) -> Option<String> {
    let (whole, fraction) = written.split_once(',')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    (digits(whole.trim_start_matches(['-', '+'])) && digits(fraction)).then(|| format!("{whole}.{fraction}"))
}

/// What to write for a number with a comma: three digits behind it may be thousands.
pub(crate) fn comma_meant(written: &str, point: &str) -> String {
    let (whole, behind) = written.split_once(',').unwrap_or((written, ""));
    let bare = whole.trim_start_matches(['-', '+']);
    if behind.len() == 3 && bare.len() <= 3 && !bare.starts_with('0') {
        return format!("write {point} if the comma is a decimal sign, {whole}{behind} if it sets thousands apart");
    }
    format!("the comma is a decimal sign: write {point}")
}

/// A whole number, 0 or more.
pub(crate) fn count(written: &str) -> Result<u32, Trouble> {
    let expected = "a whole number, such as 3";
    if written.is_empty() {
        return Err(Trouble::new(FaultKind::EmptyCell, expected));
    }
    written.parse().map_err(|_| Trouble::new(FaultKind::NotANumber, expected))
}

/// The first and last years a date may lie in: before the first there were no such records, and a year beyond the last is a
/// slip (2204 for 2024). The clock is not asked, so that a file means the same on every machine.
pub(crate) const YEARS: std::ops::RangeInclusive<i16> = 1900..=2099;

/// Days from 1970-01-01 to a date written as ISO 8601's calendar date, `YYYY-MM-DD`.
pub(crate) fn day(written: &str) -> Result<i32, Trouble> {
    if let Some(day) = iso_day(written.as_bytes()) {
        return Ok(day);
    }
    Err(why_not_a_day(written))
}

/// The fast way for dates that are right.
pub(crate) fn iso_day(written: &[u8]) -> Option<i32> {
    let &[y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2] = written else { return None };
    let digits = [y1, y2, y3, y4, m1, m2, d1, d2];
    if !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let [y1, y2, y3, y4, m1, m2, d1, d2] = digits.map(|digit| i16::from(digit - b'0'));
    let year = 1000 * y1 + 100 * y2 + 10 * y3 + y4;
    let month = i8::try_from(10 * m1 + m2).ok()?;
    let day = i8::try_from(10 * d1 + d2).ok()?;
    if !YEARS.contains(&year) {
        return None;
    }
    Some(days_since_1970(Date::new(year, month, day).ok()?))
}

/// Days from 1970-01-01 to a date.
pub(crate) fn days_since_1970(date: Date) -> i32 {
    let epoch = Date::constant(1970, 1, 1);
    // Whole days between two dates of the years 1900 to 2099 fit many times over.
    epoch.duration_until(date).as_hours() as i32 / 24
}

/// The ISO date of a day counted from 1970-01-01; `None` outside the calendar.
pub(crate) fn date_of_day(day: i32) -> Option<Date> {
    Date::constant(1970, 1, 1).checked_add(jiff::Span::new().try_days(day).ok()?).ok()
}

/// The days of [`YEARS`]: 1900-01-01 to 2099-12-31.
const DAYS: std::ops::RangeInclusive<i32> = -25_567..=47_481;

/// Whether a day counted from 1970-01-01 lies in the years a record can be of.
pub(crate) fn day_in_range(day: i32) -> bool {
    DAYS.contains(&day)
}

/// Whether a time of day is told in universal time and is no midnight: `T23:30:00Z`.
pub(crate) fn is_universal(time: &str) -> bool {
    let time = time.trim_start_matches(['T', 't', ' ']).trim_end();
    let zones = ["Z", "z", "+00:00", "+0000", "+00"];
    let Some(clock) = zones.iter().find_map(|zone| time.strip_suffix(zone)) else { return false };
    clock.bytes().any(|byte| matches!(byte, b'1'..=b'9'))
}

fn why_not_a_day(written: &str) -> Trouble {
    let expected = "a date as YYYY-MM-DD, such as 2024-02-01";
    if written.is_empty() {
        return Trouble::new(FaultKind::EmptyCell, expected);
    }
    let parts: Vec<&str> = written.split(['-', '/', '.']).map(str::trim).collect();
    if let [a, b, c] = parts[..]
        && let (Ok(first), Ok(second), Ok(third)) = (a.parse::<i16>(), b.parse::<i8>(), c.parse::<i16>())
    {
        if a.len() == 4 {
            return day_of_parts(first, second, third, written, expected);
        }
        if c.len() == 4 {
            return two_readings(first, i16::from(second), third, expected);
        }
    }
    if written.get(..10).and_then(|head| iso_day(head.as_bytes())).is_some() && is_universal(&written[10..]) {
        let help = "a moment in universal time does not tell which day it was there: write the date alone";
        return Trouble::new(FaultKind::BadDate, expected).help(help);
    }
    if written.len() == 5 && written.bytes().all(|byte| byte.is_ascii_digit()) {
        let help = "where a spreadsheet counts its days so: give the column a date's format there, YYYY-MM-DD, and save it again";
        return Trouble::new(FaultKind::BadDate, expected).help(help);
    }
    if written.len() > 10 && written.get(..10).and_then(|head| iso_day(head.as_bytes())).is_some() {
        return Trouble::new(FaultKind::BadDate, expected).help("leave the time of day off");
    }
    let trouble = Trouble::new(FaultKind::BadDate, expected);
    let digits = |text: &str, count: usize| text.len() == count && text.bytes().all(|byte| byte.is_ascii_digit());
    if written
        .split_once(['-', '/', '.'])
        .is_some_and(|(a, b)| (digits(a, 4) && digits(b, 2)) || (digits(a, 2) && digits(b, 4)))
    {
        return trouble.help("which day of the month it was is not told: write the day it was read");
    }
    if written.contains(char::is_alphabetic) {
        return trouble.help("write the month as a number (English names are read), and leave a time of day off");
    }
    trouble
}

/// Year first: the day may not exist, or be written with other signs or too few digits.
fn day_of_parts(year: i16, month: i8, day: i16, written: &str, expected: &str) -> Trouble {
    let date = i8::try_from(day).ok().and_then(|day| Date::new(year, month, day).ok());
    match date {
        None => {
            Trouble::new(FaultKind::BadDate, "a day that exists, as YYYY-MM-DD").help(format!("there is no {written}"))
        }
        Some(date) if !YEARS.contains(&date.year()) => {
            Trouble::new(FaultKind::BadDate, format!("a year from {} to {}", YEARS.start(), YEARS.end()))
        }
        Some(date) => Trouble::new(FaultKind::BadDate, expected).help(format!("write {date}")),
    }
}

/// Year last: day first in most of the world, month first in some of it. Nobody guesses here.
fn two_readings(first: i16, second: i16, year: i16, expected: &str) -> Trouble {
    let date = |month: i16, day: i16| Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok();
    match (date(second, first), date(first, second)) {
        (Some(day_first), Some(month_first)) if day_first != month_first => {
            Trouble::new(FaultKind::AmbiguousDate, expected).help(format!(
                "read day first it is {day_first}, read month first {month_first}: write the one that is meant, or, where all are \
                 written alike, say which comes first: --dates dmy or --dates mdy"
            ))
        }
        (Some(date), _) | (None, Some(date)) => {
            Trouble::new(FaultKind::BadDate, expected).help(format!("write {date}"))
        }
        (None, None) => Trouble::new(FaultKind::BadDate, "a day that exists, as YYYY-MM-DD"),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    #![allow(clippy::float_cmp, reason = "what is written is what is read")]
    use super::*;

    #[test]
    fn numbers_are_digits_with_a_point() {
        for (written, value) in [("0.402", 0.402), ("-1", -1.0), ("+2.5e-3", 0.0025), (".5", 0.5), ("5.", 5.0)] {
            assert_eq!(number(written), Ok(value));
        }
        for (written, kind) in [
            ("", FaultKind::EmptyCell),
            ("nan", FaultKind::NotFinite),
            ("-Infinity", FaultKind::NotFinite),
            ("1e999", FaultKind::NotFinite),
            ("0,402", FaultKind::DecimalComma),
            ("1,234.5", FaultKind::NotANumber),
            ("1 234", FaultKind::NotANumber),
            ("0.4 mm", FaultKind::NotANumber),
            ("n/a", FaultKind::NotANumber),
            ("0x10", FaultKind::NotANumber),
            ("--5", FaultKind::NotANumber),
            ("e5", FaultKind::NotANumber),
            ("٣", FaultKind::NotANumber),
        ] {
            assert_eq!(number(written).unwrap_err().kind, kind, "{written}");
        }
        assert_eq!(number("0,402").unwrap_err().help.unwrap(), "the comma is a decimal sign: write 0.402");
        assert_eq!(number("-1,5").unwrap_err().help.unwrap(), "the comma is a decimal sign: write -1.5");
        assert_eq!(
            number("1,883").unwrap_err().help.unwrap(),
            "write 1.883 if the comma is a decimal sign, 1883 if it sets thousands apart"
        );
        assert_eq!(number("0.4 mm").unwrap_err().help.unwrap(), "write 0.4: the unit does not belong in the cell");
    }

    #[test]
    fn dates_are_iso_8601_and_exist() {
        assert_eq!(day("1970-01-01"), Ok(0));
        assert_eq!(day("2024-02-29"), Ok(19_782));
        assert_eq!(day("1969-12-31"), Ok(-1));
        for (written, kind) in [
            ("", FaultKind::EmptyCell),
            ("2023-02-29", FaultKind::BadDate),
            ("2024-13-01", FaultKind::BadDate),
            ("2204-01-01", FaultKind::BadDate),
            ("01/02/2024", FaultKind::AmbiguousDate),
            ("13/02/2024", FaultKind::BadDate),
            ("2024/02/01", FaultKind::BadDate),
            ("2024-2-1", FaultKind::BadDate),
            ("2024-02-01T10:00", FaultKind::BadDate),
            ("45321", FaultKind::BadDate),
        ] {
            assert_eq!(day(written).unwrap_err().kind, kind, "{written}");
        }
        let both = day("01/02/2024").unwrap_err().help.unwrap();
        assert!(both.contains("2024-02-01") && both.contains("2024-01-02"), "{both}");
        assert_eq!(day("13/02/2024").unwrap_err().help.unwrap(), "write 2024-02-13");
    }

    #[test]
    fn the_days_are_those_of_the_years() {
        assert_eq!(day("1900-01-01"), Ok(*DAYS.start()));
        assert_eq!(day("2099-12-31"), Ok(*DAYS.end()));
    }

    #[test]
    fn days_and_dates_are_each_others_inverse() {
        for day in (-25_000..47_000).step_by(7) {
            assert_eq!(days_since_1970(date_of_day(day).unwrap()), day);
        }
    }
}
