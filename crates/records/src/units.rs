//! Inches to millimetres, exactly: 1 in = 25.4 mm by definition, so a decimal in inches is a decimal in millimetres, and the
//! product is rounded once, when it becomes a binary number. (0.004 × 25.4 in binary is 0.10159999999999999 or so; 0.1016 is
//! meant.)

/// The unit lengths are written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LengthUnit {
    /// mm.
    #[default]
    Millimetre,
    /// in, of 25.4 mm.
    Inch,
}

/// mm in an inch, by definition (1959).
pub const MILLIMETRES_PER_INCH: f64 = 25.4;

impl LengthUnit {
    /// The length in mm of a decimal as it is written; `None` where it is no finite decimal.
    ///
    /// ```
    /// use packdrift_records::LengthUnit;
    /// assert_eq!(LengthUnit::Inch.millimetres("0.004"), Some(0.1016));
    /// assert_eq!(LengthUnit::Millimetre.millimetres("0.1016"), Some(0.1016));
    /// ```
    pub fn millimetres(self, written: &str) -> Option<f64> {
        let number = match self {
            Self::Millimetre => written.parse::<f64>().ok()?,
            Self::Inch => match times_25_4(written) {
                Some(decimal) => decimal.parse::<f64>().ok()?,
                None => written.parse::<f64>().ok()? * MILLIMETRES_PER_INCH,
            },
        };
        number.is_finite().then_some(number)
    }
}

/// The decimal `written` times 25.4, as a decimal: its digits times 254, with the exponent one lower. `None` where the digits
/// are too many for 128 bits, or it is no decimal.
fn times_25_4(written: &str) -> Option<String> {
    let (sign, unsigned) = match written.as_bytes().first()? {
        b'-' => ("-", &written[1..]),
        b'+' => ("", &written[1..]),
        _ => ("", written),
    };
    let (mantissa, exponent) = match unsigned.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, exponent.parse::<i32>().ok()?),
        None => (unsigned, 0),
    };
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let all_digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    if !all_digits(whole) || !all_digits(fraction) || (whole.is_empty() && fraction.is_empty()) {
        return None;
    }
    let digits: u128 = format!("{whole}{fraction}").parse().ok()?;
    let scaled = digits.checked_mul(254)?;
    let places = i32::try_from(fraction.len()).ok()?;
    Some(format!("{sign}{scaled}e{}", exponent.checked_sub(places)?.checked_sub(1)?))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::float_cmp, reason = "the conversion is exact, that is the point")]
    use super::LengthUnit;
    use proptest::prelude::*;

    #[test]
    fn one_inch_is_25_4_mm_exactly() {
        // 1 in = 25.4 mm: the international yard and pound agreement of 1959.
        for (inches, mm) in [("1", 25.4), ("0.004", 0.1016), ("-.5", -12.7), ("1e-3", 0.0254), ("0.0157", 0.39878)] {
            assert_eq!(LengthUnit::Inch.millimetres(inches), Some(mm));
        }
        assert_eq!(LengthUnit::Inch.millimetres("nan"), None);
        assert_eq!(LengthUnit::Inch.millimetres("1,5"), None);
    }

    proptest! {
        #[test]
        fn a_decimal_in_inches_is_the_nearest_number_to_the_decimal_in_mm(thousandths in 0_i64..10_000_000) {
            let written = format!("{}.{:03}", thousandths / 1000, thousandths % 1000);
            let exact = thousandths * 254;
            let mm: f64 = format!("{}.{:04}", exact / 10_000, exact % 10_000).parse().unwrap_or(f64::NAN);
            prop_assert_eq!(LengthUnit::Inch.millimetres(&written), Some(mm));
        }
    }
}
