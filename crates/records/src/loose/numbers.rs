//! Numbers as spreadsheets leave them: decimal commas, thousands set apart, a unit behind them.
//!
//! `1,883` is one number in half of the world and another in the rest. So the sign is not guessed cell by cell: every number of the table
//! is looked at, and those that can mean one thing only (`0,402`, `1.5`, `12.345,6`) tell how all are written.

use crate::cell::{self, Trouble};
use crate::error::FaultKind;

/// What separates whole numbers from fractions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DecimalSign {
    /// `1.5`
    Point,
    /// `1,5`
    Comma,
}

impl DecimalSign {
    fn letter(self) -> char {
        match self {
            Self::Point => '.',
            Self::Comma => ',',
        }
    }

    fn other(self) -> char {
        match self {
            Self::Point => ',',
            Self::Comma => '.',
        }
    }
}

/// What one written number tells of the sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    /// No sign in it: `1883`, `1 883`.
    Whole,
    /// The point is its decimal sign: `0.402`, `1,234.5`.
    Point,
    /// The comma is.
    Comma,
    /// `1,883`: a fraction or thousands.
    EitherComma,
    /// `1.883`.
    EitherPoint,
    /// No number.
    Not,
}

/// Blanks and apostrophes that set thousands apart, beside commas and points.
pub(super) fn sets_apart(letter: char) -> bool {
    matches!(letter, ' ' | '\u{a0}' | '\u{2009}' | '\u{202f}' | '\'' | '’')
}

/// What stands for nothing read, as people write it.
pub(super) fn is_nothing(written: &str) -> bool {
    let written = written.trim();
    written.is_empty()
        || ["-", "--", "–", "—", "n/a", "na", "#n/a", "null", "none"]
            .iter()
            .any(|word| written.eq_ignore_ascii_case(word))
}

/// The text of the number and the unit behind it; the unit is empty where there is none.
pub(super) fn without_unit(written: &str) -> (&str, &str) {
    let number = written.trim_end_matches(|letter: char| letter.is_alphabetic() || letter == 'µ' || letter == '"');
    let unit = &written[number.len()..];
    let number = number.trim_end();
    // `1e` or a word alone is no number with a unit.
    if number.ends_with(|letter: char| letter.is_ascii_digit() || letter == '.' || letter == ',') {
        (number, unit)
    } else {
        (written, "")
    }
}

/// What a cell tells, without its unit.
pub(super) fn form(written: &str) -> Form {
    let Some(Split { mantissa, .. }) = split(written) else { return Form::Not };
    let digits_between = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let points = mantissa.matches('.').count();
    let commas = mantissa.matches(',').count();
    let grouped = |text: &str, sign: char| is_grouped(text, |letter| letter == sign);
    match (points, commas) {
        (0, 0) => {
            if digits_between(&mantissa.replace(sets_apart, "")) && is_grouped_or_plain(&mantissa) {
                Form::Whole
            } else {
                Form::Not
            }
        }
        (1, 0) => one_sign(&mantissa, '.', Form::Point, Form::EitherPoint),
        (0, 1) => one_sign(&mantissa, ',', Form::Comma, Form::EitherComma),
        (0, _) if grouped(&mantissa, ',') => Form::Point,
        (_, 0) if grouped(&mantissa, '.') => Form::Comma,
        (1, _) => match mantissa.split_once('.') {
            Some((whole, fraction)) if grouped(whole, ',') && digits_between(fraction) => Form::Point,
            Some((whole, fraction)) if commas == 1 && digits_between(whole) && fraction.contains(',') => {
                let all =
                    mantissa.split_once(',').is_some_and(|(whole, part)| grouped(whole, '.') && digits_between(part));
                if all { Form::Comma } else { Form::Not }
            }
            _ => Form::Not,
        },
        (_, 1) => match mantissa.split_once(',') {
            Some((whole, fraction)) if grouped(whole, '.') && digits_between(fraction) => Form::Comma,
            _ => Form::Not,
        },
        _ => Form::Not,
    }
}

/// One comma or point: thousands or a fraction, if three digits follow one to three that do not begin with 0.
fn one_sign(mantissa: &str, sign: char, sure: Form, either: Form) -> Form {
    let Some((whole, fraction)) = mantissa.split_once(sign) else { return Form::Not };
    let bare = whole.replace(sets_apart, "");
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(&bare) || !digits(fraction) || (bare.is_empty() && fraction.is_empty()) || !is_grouped_or_plain(whole) {
        return Form::Not;
    }
    // Set apart by blanks already, thousands have no second sign.
    if fraction.len() == 3 && (1..=3).contains(&whole.len()) && !whole.starts_with('0') && bare == whole {
        either
    } else {
        sure
    }
}

/// Groups of three digits after one to three.
fn is_grouped(text: &str, apart: impl Fn(char) -> bool) -> bool {
    let mut groups = text.split(apart);
    let first = groups.next().unwrap_or_default();
    let digits = |group: &str| group.bytes().all(|byte| byte.is_ascii_digit());
    let mut more = false;
    let rest = groups.all(|group| {
        more = true;
        group.len() == 3 && digits(group)
    });
    more && rest && (1..=3).contains(&first.len()) && digits(first)
}

fn is_grouped_or_plain(text: &str) -> bool {
    !text.contains(sets_apart) || is_grouped(text, sets_apart)
}

/// A number taken apart: sign, what stands before the power of ten, and the power.
struct Split {
    sign: &'static str,
    mantissa: String,
    power: String,
}

fn split(written: &str) -> Option<Split> {
    let written = written.trim();
    let (sign, rest) = match written.chars().next()? {
        '-' | '\u{2212}' => ("-", &written[written.chars().next()?.len_utf8()..]),
        '+' => ("", &written[1..]),
        _ => ("", written),
    };
    let (mantissa, power) = match rest.split_once(['e', 'E']) {
        Some((mantissa, power)) if power.parse::<i32>().is_ok() => (mantissa, format!("e{power}")),
        Some(_) => return None,
        None => (rest, String::new()),
    };
    (mantissa.starts_with(|letter: char| letter.is_ascii_digit() || letter == '.' || letter == ',')).then(|| Split {
        sign,
        mantissa: mantissa.trim().to_owned(),
        power,
    })
}

/// The number as this program writes it: digits, a point, no groups. None where it is none under this sign.
pub(super) fn plain(written: &str, sign: DecimalSign) -> Option<String> {
    let allowed = match form(written) {
        Form::Whole | Form::EitherComma | Form::EitherPoint => true,
        Form::Point => sign == DecimalSign::Point,
        Form::Comma => sign == DecimalSign::Comma,
        Form::Not => false,
    };
    if !allowed {
        return None;
    }
    let Split { sign: minus, mantissa, power } = split(written)?;
    let bare: String = mantissa.chars().filter(|&letter| !sets_apart(letter) && letter != sign.other()).collect();
    Some(format!("{minus}{}{power}", bare.replace(sign.letter(), ".")))
}

/// The number under a sign.
pub(super) fn number(written: &str, sign: DecimalSign) -> Result<f64, Trouble> {
    if let Some(plain) = plain(written, sign) {
        return cell::number(&plain);
    }
    let trouble = match (form(written), sign) {
        (Form::Comma, DecimalSign::Point) => {
            Trouble::new(FaultKind::DecimalComma, "a number with a decimal point, as in the other cells").help(format!(
                "write {}: a table has one decimal sign",
                super::numbers::plain(written, DecimalSign::Comma).unwrap_or_default()
            ))
        }
        (Form::Point, DecimalSign::Comma) => {
            Trouble::new(FaultKind::DecimalComma, "a number with a decimal comma, as in the other cells")
                .help("a table has one decimal sign".to_owned())
        }
        _ => match cell::number(written) {
            Err(trouble) => trouble,
            // The strict rule takes what this one does not: there is no such number.
            Ok(number) => return Ok(number),
        },
    };
    Err(trouble)
}

#[cfg(test)]
mod tests {
    #![allow(
        clippy::unwrap_used,
        clippy::float_cmp,
        reason = "a failed unwrap fails the test; what is written is what is read"
    )]
    use super::*;

    #[test]
    fn what_a_number_tells_of_the_decimal_sign() {
        for (written, told) in [
            ("1883", Form::Whole),
            ("1 883", Form::Whole),
            ("12\u{a0}345", Form::Whole),
            ("1'883", Form::Whole),
            ("-12", Form::Whole),
            ("0.402", Form::Point),
            (".5", Form::Point),
            ("5.", Form::Point),
            ("1.5", Form::Point),
            ("1,234.5", Form::Point),
            ("1,234,567", Form::Point),
            ("12,345,678.9", Form::Point),
            ("1 883.5", Form::Point),
            ("2.5e-3", Form::Point),
            ("1234.567", Form::Point),
            ("0,402", Form::Comma),
            ("1,5", Form::Comma),
            ("\u{2212}1,02", Form::Comma),
            ("1.234,5", Form::Comma),
            ("1.234.567", Form::Comma),
            ("1 883,5", Form::Comma),
            ("1 883,500", Form::Comma),
            ("1,883", Form::EitherComma),
            ("123,456", Form::EitherComma),
            ("1.883", Form::EitherPoint),
            ("", Form::Not),
            ("n/a", Form::Not),
            ("1 88", Form::Not),
            ("1,23,456", Form::Not),
            ("1.2.3", Form::Not),
            ("1,2.3,4", Form::Not),
            ("12:30", Form::Not),
            ("2024-01-01", Form::Not),
            ("0x10", Form::Not),
        ] {
            assert_eq!(form(written), told, "{written}");
        }
    }

    #[test]
    fn a_number_is_read_by_the_sign_of_its_table() {
        use DecimalSign::{Comma, Point};
        for (written, sign, value) in [
            ("1,883", Point, 1883.0),
            ("1,883", Comma, 1.883),
            ("1.883", Comma, 1883.0),
            ("1.883", Point, 1.883),
            ("1.234.567,5", Comma, 1_234_567.5),
            ("1 883,5", Comma, 1883.5),
            ("\u{2212}0,4", Comma, -0.4),
            ("12", Comma, 12.0),
        ] {
            assert_eq!(number(written, sign), Ok(value), "{written}");
        }
        assert_eq!(number("0,402", Point).unwrap_err().kind, FaultKind::DecimalComma);
        assert_eq!(number("0.402", Comma).unwrap_err().kind, FaultKind::DecimalComma);
        assert_eq!(number("nan", Point).unwrap_err().kind, FaultKind::NotFinite);
    }

    #[test]
    fn units_stand_apart() {
        assert_eq!(without_unit("1.02 mm"), ("1.02", "mm"));
        assert_eq!(without_unit("1883h"), ("1883", "h"));
        assert_eq!(without_unit("1.02"), ("1.02", ""));
        assert_eq!(without_unit("one"), ("one", ""));
        assert_eq!(without_unit("n/a"), ("n/a", ""));
    }
}
