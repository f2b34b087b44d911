//! Numbers on the command line: refused with their range where they lie outside it, and never taken for what they are not.

use std::ops::RangeInclusive;

/// Reads a number that must lie in a range; for clap's `value_parser`.
///
/// A decimal comma is answered with the number as it is to be written; `nan` and infinities are no numbers.
pub(crate) fn within(range: RangeInclusive<f64>) -> impl Fn(&str) -> Result<f64, String> + Clone + Send + Sync {
    move |written: &str| {
        let (low, high) = (range.start(), range.end());
        let words = format!("a number between {low} and {high}");
        let number = parsed(written, &words)?;
        if range.contains(&number) { Ok(number) } else { Err(format!("it must be {words}")) }
    }
}

/// As [`within`], for what must be above 0: a cost that something hangs on.
pub(crate) fn above_zero(high: f64) -> impl Fn(&str) -> Result<f64, String> + Clone + Send + Sync {
    move |written: &str| {
        let words = format!("a number above 0 and at most {high}");
        let number = parsed(written, &words)?;
        if number > 0.0 && number <= high { Ok(number) } else { Err(format!("it must be {words}")) }
    }
}

/// Reads a whole number that must lie in a range.
pub(crate) fn whole<T: TryFrom<u64>>(
    range: RangeInclusive<u64>,
) -> impl Fn(&str) -> Result<T, String> + Clone + Send + Sync {
    move |written: &str| {
        let number = written.trim().parse::<u64>().ok().filter(|number| range.contains(number));
        let refused = || format!("it must be a whole number between {} and {}", range.start(), range.end());
        number.and_then(|number| T::try_from(number).ok()).ok_or_else(refused)
    }
}

fn parsed(written: &str, expected: &str) -> Result<f64, String> {
    match written.trim().parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(number),
        Ok(_) => Err(format!("it must be {expected}")),
        Err(_) => {
            let point = written.replacen(',', ".", 1);
            match point.parse::<f64>() {
                Ok(number) if number.is_finite() => Err(format!("a decimal comma: write {point}")),
                _ => Err(format!("it must be {expected}")),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_number_of_the_range_is_refused_with_it() {
        let share = within(0.0..=1.0);
        assert_eq!(share("0.25"), Ok(0.25));
        for wrong in ["nan", "inf", "-inf", "1.5", "-0.1", "half", ""] {
            assert_eq!(share(wrong), Err("it must be a number between 0 and 1".to_owned()), "{wrong}");
        }
        assert_eq!(share("0,25"), Err("a decimal comma: write 0.25".to_owned()));
        let count = whole::<u16>(1..=1000);
        assert_eq!(count("12"), Ok(12));
        for wrong in ["0", "1001", "-3", "1.5", "nan", "", "99999999999999999999"] {
            assert_eq!(count(wrong), Err("it must be a whole number between 1 and 1000".to_owned()), "{wrong}");
        }
        assert!(above_zero(10.0)("0").is_err() && above_zero(10.0)("1e-3").is_ok());
    }
}
