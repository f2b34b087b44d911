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
        assert!(above_zero(10.0)("0").is_err() && above_zero(10.0)("1e-3").is_ok());
    }
}
