//! Dates as spreadsheets leave them: day, month and year in any order, month names, a time of day behind them.
//!
//! `01/02/2024` is one day in most of the world and another in some of it. All dates of the table are looked at: a number above 12 is no month.

use crate::cell::{self, Trouble, days_since_1970};
use crate::error::FaultKind;
use jiff::civil::Date;

/// In which order the numbers of a date stand that does not begin with the year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateOrder {
    /// `31/12/2024`
    DayMonthYear,
    /// `12/31/2024`
    MonthDayYear,
    /// `24/12/31`: of dates whose year has two digits; those of four are read without being told.
    YearMonthDay,
}

impl DateOrder {
    pub(super) fn in_words(self) -> &'static str {
        match self {
            Self::DayMonthYear => "day/month/year",
            Self::MonthDayYear => "month/day/year",
            Self::YearMonthDay => "year/month/day",
        }
    }
}

/// What one written date tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Written {
    /// The year first, or the month by its name: one meaning.
    Day(i32),
    /// Two numbers and the year.
    Parts(u8, u8, i16),
    /// Two numbers and a year of two digits, which may be another part.
    Short(u8, u8, u8),
    /// The month by its name between two numbers of two digits at most, `3-Mar-24`: the day it is with the year last, and with the year first.
    Named(Option<i32>, Option<i32>),
    Not,
}

impl Written {
    /// The order that this date has, if it can have one only.
    pub(super) fn order(self) -> Option<DateOrder> {
        match self {
            Self::Parts(a, b, _) if a > 12 && b <= 12 => Some(DateOrder::DayMonthYear),
            Self::Parts(a, b, _) if b > 12 && a <= 12 => Some(DateOrder::MonthDayYear),
            Self::Named(Some(_), None) => Some(DateOrder::DayMonthYear),
            Self::Named(None, Some(_)) => Some(DateOrder::YearMonthDay),
            _ => None,
        }
    }

    /// Whether the order decides which day it is.
    pub(super) fn is_open(self) -> bool {
        match self {
            Self::Parts(a, b, _) => a <= 12 && b <= 12 && a != b,
            Self::Named(Some(year_last), Some(year_first)) => year_last != year_first,
            _ => false,
        }
    }
}

/// The date and the time behind it; the time is empty where there is none. A moment in universal time stays whole: which day it was where it was
/// written is not told.
pub(super) fn without_time(written: &str) -> (&str, &str) {
    let written = written.trim();
    let Some(colon) = written.find(':') else {
        // A date made by a program that has no times: midnight by the letter alone.
        return (written, "");
    };
    let cut = written[..colon].rfind([' ', 'T']);
    match cut {
        Some(cut) if is_time(&written[cut + 1..]) && !cell::is_universal(&written[cut + 1..]) => {
            (written[..cut].trim_end(), &written[cut + 1..])
        }
        _ => (written, ""),
    }
}

/// `9:05`, `09:05:30.5`, `09:05Z`, `9:05 PM`, `09:05:00+01:00`
fn is_time(text: &str) -> bool {
    let text = text.trim().trim_end_matches('Z');
    let lower = text.to_ascii_lowercase();
    let text = lower.strip_suffix("am").or_else(|| lower.strip_suffix("pm")).unwrap_or(&lower).trim();
    let clock = text.split(['+', '-']).next().unwrap_or_default();
    let parts: Vec<&str> = clock.split(':').collect();
    let number = |part: &str, most: f64| part.parse::<f64>().is_ok_and(|value| (0.0..most).contains(&value));
    let zone = &text[clock.len()..];
    (2..=3).contains(&parts.len())
        && number(parts[0], 25.0)
        && number(parts[1], 60.0)
        && parts.get(2).is_none_or(|part| number(part, 61.0))
        && zone.chars().all(|letter| letter.is_ascii_digit() || matches!(letter, '+' | '-' | ':'))
}

/// What a date tells; without its time.
pub(super) fn written(text: &str) -> Written {
    let text = text.trim();
    if let Some(day) = cell::iso_day(text.as_bytes()) {
        return Written::Day(day);
    }
    let parts = text.split(['-', '/', '.', ' ', ',']).filter(|part| !part.is_empty());
    // As in `15 de marzo de 2024`.
    let whole: Vec<&str> = parts.filter(|part| !part.eq_ignore_ascii_case("de")).collect();
    let day = |year: i16, month: u8, day: u8| {
        let date = Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()?;
        cell::YEARS.contains(&year).then(|| days_since_1970(date))
    };
    if let [digits] = whole[..] {
        // ISO 8601's basic format.
        let number = |range: std::ops::Range<usize>| digits.get(range)?.parse().ok();
        let parts = (digits.len() == 8 && digits.bytes().all(|byte| byte.is_ascii_digit()))
            .then(|| Some((digits[..4].parse().ok()?, number(4..6)?, number(6..8)?)))
            .flatten();
        return parts.and_then(|(year, month, d)| day(year, month, d)).map_or(Written::Not, Written::Day);
    }
    let [a, b, c] = whole[..] else { return Written::Not };
    let is_year = |part: &str| part.len() == 4 && part.bytes().all(|byte| byte.is_ascii_digit());
    let small = |part: &str| if part.len() <= 2 { part.parse::<u8>().ok() } else { None };
    let of = |year: Option<i16>, month: Option<u8>, d: Option<u8>| {
        year.zip(month).zip(d).and_then(|((year, month), d)| day(year, month, d)).map_or(Written::Not, Written::Day)
    };
    if is_year(a) {
        let month = small(b).or_else(|| month_named(b));
        return of(a.parse().ok(), month, small(c));
    }
    match (month_named(a), month_named(b)) {
        (None, Some(month)) if is_year(c) => return of(c.parse().ok(), Some(month), small(a)),
        (Some(month), None) if is_year(c) => return of(c.parse().ok(), Some(month), small(b)),
        (None, Some(month)) => {
            // A year of two digits is written with both.
            let year = |part: &str| if part.len() == 2 { small(part).map(century) } else { None };
            let told = |of_year: &str, of_day: &str| day(year(of_year)?, month, small(of_day)?);
            return match (told(c, a), told(a, c)) {
                (None, None) => Written::Not,
                (year_last, year_first) => Written::Named(year_last, year_first),
            };
        }
        // `Mar 3, 24`: where the month comes first, the year comes last.
        (Some(month), None) if c.len() == 2 => return of(small(c).map(century), Some(month), small(b)),
        (Some(_), _) => return Written::Not,
        (None, None) => {}
    }
    match (small(a), small(b)) {
        (Some(a), Some(b)) if is_year(c) => c.parse().map_or(Written::Not, |year| Written::Parts(a, b, year)),
        (Some(a), Some(b)) => small(c).map_or(Written::Not, |c| Written::Short(a, b, c)),
        _ => Written::Not,
    }
}

/// Two digits of a year: 00 to 69 are of this century, 70 to 99 of the last (as POSIX's `%y` has it, nearly).
fn century(year: u8) -> i16 {
    i16::from(year) + if year < 70 { 2000 } else { 1900 }
}

/// What the months are called in English, German, Dutch, the Scandinavian languages, French, Spanish, Portuguese, Italian and Polish; without accents.
/// Each name stands for its beginnings too, from three letters on.
const MONTHS: [&[&str]; 12] = [
    &["january", "januar", "januari", "janner", "janvier", "enero", "janeiro", "gennaio", "styczen", "stycznia"],
    &["february", "februar", "februari", "feber", "fevrier", "febrero", "fevereiro", "febbraio", "luty", "lutego"],
    &["march", "marz", "maerz", "mrz", "maart", "mrt", "mars", "marts", "marzo", "marco", "marzec", "marca"],
    &["april", "avril", "abril", "aprile", "kwiecien", "kwietnia"],
    &["may", "mai", "mei", "maj", "mayo", "maio", "maggio", "maja"],
    &["june", "juni", "juin", "junio", "junho", "giugno", "czerwiec", "czerwca"],
    &["july", "juli", "juillet", "julio", "julho", "luglio", "lipiec", "lipca"],
    &["august", "augustus", "augusti", "aout", "agosto", "sierpien", "sierpnia"],
    &["september", "septembre", "septiembre", "setiembre", "setembro", "settembre", "wrzesien", "wrzesnia"],
    &["october", "oktober", "octobre", "octubre", "outubro", "ottobre", "pazdziernik", "pazdziernika"],
    &["november", "novembre", "noviembre", "novembro", "listopad", "listopada"],
    &["december", "dezember", "desember", "decembre", "diciembre", "dezembro", "dicembre", "grudzien", "grudnia"],
];

/// A letter without its accent.
fn plain_letter(letter: char) -> char {
    match letter {
        'ä' | 'á' | 'à' | 'ã' => 'a',
        'é' | 'è' | 'ê' => 'e',
        'û' | 'ù' | 'ü' => 'u',
        'ç' => 'c',
        'ń' => 'n',
        'ś' => 's',
        'ź' => 'z',
        other => other,
    }
}

/// Of a month's name, or its first three letters or more. What begins the names of two months (`jui` in French) is neither.
fn month_named(part: &str) -> Option<u8> {
    let part: String = part.to_lowercase().chars().map(plain_letter).collect();
    if part.chars().count() < 3 {
        return None;
    }
    let begins = |names: &[&str]| names.iter().any(|name| name.starts_with(&part));
    let mut months = (1..).zip(MONTHS).filter(|(_, names)| begins(names)).map(|(month, _)| month);
    months.next().filter(|_| months.next().is_none())
}

/// Whether a date has a named month and a year of two digits.
pub(super) fn is_named(text: &str) -> bool {
    matches!(written(text), Written::Named(..))
}

/// The day of a date under an order; `given` says whether the user gave the order, which then also reads years of two digits.
pub(super) fn day(text: &str, order: Option<DateOrder>, given: bool) -> Result<i32, Trouble> {
    let found = written(text);
    let (a, b, year) = match found {
        Written::Day(day) => return Ok(day),
        Written::Parts(..) if order == Some(DateOrder::YearMonthDay) => {
            return Err(Trouble::new(FaultKind::BadDate, "a date that begins with the year, as --dates says"));
        }
        Written::Parts(a, b, year) => (a, b, year),
        Written::Short(year, month, day) if given && order == Some(DateOrder::YearMonthDay) => {
            (month, day, century(year))
        }
        Written::Short(a, b, year) if given => (a, b, century(year)),
        Written::Named(year_last, year_first) => return named_day(year_last, year_first, order),
        Written::Short(..) => {
            let help = "write the year in four digits, or give --dates dmy, --dates mdy or --dates ymd";
            return Err(Trouble::new(FaultKind::AmbiguousDate, "a date whose year can be told").help(help));
        }
        Written::Not => return cell::day(text),
    };
    let Some(order) = order else { return cell::day(text) };
    let (day, month) = match order {
        DateOrder::DayMonthYear => (a, b),
        DateOrder::MonthDayYear | DateOrder::YearMonthDay => (b, a),
    };
    let date = i8::try_from(month).ok().zip(i8::try_from(day).ok()).and_then(|(m, d)| Date::new(year, m, d).ok());
    match date {
        Some(date) if cell::YEARS.contains(&year) => Ok(days_since_1970(date)),
        _ => Err(Trouble::new(FaultKind::BadDate, format!("a day that exists, as {}", order.in_words()))),
    }
}

/// Of a date whose month is named and whose year has two digits. Who says that month or day comes first says that the year comes last.
fn named_day(year_last: Option<i32>, year_first: Option<i32>, order: Option<DateOrder>) -> Result<i32, Trouble> {
    let day = match order {
        Some(DateOrder::YearMonthDay) => year_first,
        Some(_) => year_last,
        None if year_last == year_first => year_last,
        None => {
            let iso =
                |day: Option<i32>| day.and_then(cell::date_of_day).map_or_else(String::new, |date| date.to_string());
            let help = format!(
                "with the day first it is {}, with the year first {}: write the year in four digits, or give --dates dmy or --dates ymd",
                iso(year_last),
                iso(year_first)
            );
            return Err(Trouble::new(FaultKind::AmbiguousDate, "a date whose year can be told").help(help));
        }
    };
    let first = if order == Some(DateOrder::YearMonthDay) { "year" } else { "day" };
    day.ok_or_else(|| Trouble::new(FaultKind::BadDate, format!("a day that exists, with the {first} first")))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;

    #[test]
    fn what_a_date_tells() {
        let day_of = |text: &str| cell::day(text).ok();
        let iso = |text: &str| Written::Day(cell::day(text).unwrap());
        for (text, told) in [
            ("2024-02-01", iso("2024-02-01")),
            ("2024/2/1", iso("2024-02-01")),
            ("2024.02.01", iso("2024-02-01")),
            ("20240201", iso("2024-02-01")),
            ("1 Feb 2024", iso("2024-02-01")),
            ("Feb 1, 2024", iso("2024-02-01")),
            ("01-Feb-2024", iso("2024-02-01")),
            ("1. February 2024", iso("2024-02-01")),
            ("Mar 3, 24", iso("2024-03-03")),
            ("15. März 2024", iso("2024-03-15")),
            ("15-Okt-2024", iso("2024-10-15")),
            ("1 févr. 2024", iso("2024-02-01")),
            ("15 de agosto de 2024", iso("2024-08-15")),
            ("1 giu 2024", iso("2024-06-01")),
            ("3 paź 2024", iso("2024-10-03")),
            // June or July.
            ("1 jui 2024", Written::Not),
            ("3-Mar-24", Written::Named(day_of("2024-03-03"), None)),
            ("31-Dec-99", Written::Named(day_of("1999-12-31"), None)),
            ("05-Jan-24", Written::Named(day_of("2024-01-05"), day_of("2005-01-24"))),
            ("99-Dec-31", Written::Named(None, day_of("1999-12-31"))),
            ("30-Feb-24", Written::Named(None, day_of("2030-02-24"))),
            ("3-Mar-4", Written::Not),
            ("13/02/2024", Written::Parts(13, 2, 2024)),
            ("1.2.2024", Written::Parts(1, 2, 2024)),
            ("01/02/24", Written::Short(1, 2, 24)),
            ("2024-13-01", Written::Not),
            ("45321", Written::Not),
            ("yesterday", Written::Not),
            ("1/2", Written::Not),
            ("2023-02-29", Written::Not),
        ] {
            assert_eq!(written(text), told, "{text}");
        }
        assert_eq!(Written::Parts(13, 2, 2024).order(), Some(DateOrder::DayMonthYear));
        assert_eq!(Written::Parts(2, 13, 2024).order(), Some(DateOrder::MonthDayYear));
        assert!(Written::Parts(1, 2, 2024).is_open() && !Written::Parts(2, 2, 2024).is_open());
    }

    #[test]
    fn a_time_of_day_stands_apart() {
        for (text, date, time) in [
            ("2024-02-01T10:00", "2024-02-01", "10:00"),
            ("2024-02-01 10:00:30.5", "2024-02-01", "10:00:30.5"),
            ("2024-02-01T10:00:00+01:00", "2024-02-01", "10:00:00+01:00"),
            ("2024-02-01T10:00+01:00", "2024-02-01", "10:00+01:00"),
            ("2024-02-01T00:00:00Z", "2024-02-01", "00:00:00Z"),
            // Which day it was there is not told.
            ("2024-02-01T23:30Z", "2024-02-01T23:30Z", ""),
            ("2/1/2024 9:05", "2/1/2024", "9:05"),
            ("2024-02-01", "2024-02-01", ""),
            ("2024-02-01 10:75", "2024-02-01 10:75", ""),
        ] {
            assert_eq!(without_time(text), (date, time), "{text}");
        }
    }

    #[test]
    fn a_date_is_read_by_the_order_of_its_table() {
        let on = |text: &str| cell::day(text).unwrap();
        assert_eq!(day("01/02/2024", Some(DateOrder::DayMonthYear), false), Ok(on("2024-02-01")));
        assert_eq!(day("01/02/2024", Some(DateOrder::MonthDayYear), false), Ok(on("2024-01-02")));
        assert_eq!(day("13/02/2024", Some(DateOrder::MonthDayYear), false).unwrap_err().kind, FaultKind::BadDate);
        assert_eq!(day("01/02/2024", None, false).unwrap_err().kind, FaultKind::AmbiguousDate);
        assert_eq!(day("01/02/24", Some(DateOrder::DayMonthYear), false).unwrap_err().kind, FaultKind::AmbiguousDate);
        assert_eq!(day("01/02/24", Some(DateOrder::DayMonthYear), true), Ok(on("2024-02-01")));
        assert_eq!(day("05-Jan-24", Some(DateOrder::DayMonthYear), false), Ok(on("2024-01-05")));
        assert_eq!(day("05-Jan-24", Some(DateOrder::YearMonthDay), false), Ok(on("2005-01-24")));
        assert_eq!(day("05-Jan-24", None, false).unwrap_err().kind, FaultKind::AmbiguousDate);
        assert_eq!(day("24-Jan-24", None, false), Ok(on("2024-01-24")));
        assert_eq!(day("3-Jan-24", Some(DateOrder::YearMonthDay), false).unwrap_err().kind, FaultKind::BadDate);
    }

    /// No beginning of a month's name in one language may be another month's in another.
    #[test]
    fn a_months_usual_short_name_is_one_month() {
        for (month, names) in (1..).zip(MONTHS) {
            for name in names {
                assert_eq!(month_named(name), Some(month), "{name}");
                // French writes four letters of June and July, since three do not tell.
                let short = if name.starts_with("jui") { 4 } else { 3 };
                assert_eq!(month_named(&name[..short]), Some(month), "{name}");
            }
        }
    }
}
