//! Numbers as people read them: rounded to their uncertainty, never more digits than are known, never `NaN`.
//!
//! A value with a standard uncertainty u is shown to the decimal place of u's second significant digit (JCGM 100:2008,
//! 7.2.6: u "to at most two significant digits", and the value "consistent with" it). A number known exactly keeps its
//! own digits. The results in JSON and CSV keep every digit; rounding happens here, at the eye, and nowhere else.

/// What stands where there is no number.
pub const NO_VALUE: &str = "–";

/// Decimal places that show `uncertainty` with two significant digits; negative where it is 100 or more. None where the
/// uncertainty is zero, negative or not finite.
///
/// # Examples
/// ```
/// use packdrift_report::number::decimals;
/// assert_eq!(decimals(26.4), Some(0));
/// assert_eq!(decimals(0.0307), Some(3));
/// assert_eq!(decimals(0.0999), Some(2)); // it rounds up to 0.10
/// assert_eq!(decimals(0.0), None);
/// ```
pub fn decimals(uncertainty: f64) -> Option<i32> {
    if !(uncertainty.is_finite() && uncertainty > 0.0) {
        return None;
    }
    // The decimal formatter rounds correctly, also where the second digit carries into the next decade.
    let scientific = format!("{uncertainty:.1e}");
    let exponent: i32 = scientific.split_once('e')?.1.parse().ok()?;
    Some(1 - exponent)
}

/// `value` with a fixed number of decimal places; a negative number of places rounds to tens, hundreds, ….
pub fn fixed(value: f64, decimals: i32) -> String {
    if !value.is_finite() {
        return NO_VALUE.to_owned();
    }
    let text = if decimals >= 0 {
        format!("{value:.*}", decimals.unsigned_abs().min(15) as usize)
    } else {
        let step = 10f64.powi(-decimals);
        format!("{:.0}", (value / step).round() * step)
    };
    if text.starts_with('-') && text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.')) {
        text[1..].to_owned()
    } else {
        text
    }
}

/// `value` with `digits` significant digits, in plain notation where that stays readable.
pub fn significant(value: f64, digits: u8) -> String {
    if !value.is_finite() {
        return NO_VALUE.to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let places = usize::from(digits.max(1) - 1);
    let scientific = format!("{value:.places$e}");
    let Some((mantissa, exponent)) = scientific.split_once('e') else {
        return scientific;
    };
    match exponent.parse::<i32>() {
        Ok(e) if (-5..=9).contains(&e) => fixed(value, i32::from(digits) - 1 - e),
        _ => format!("{mantissa}×10{}", superscript(exponent)),
    }
}

/// `value` with its own digits: the shortest decimal that stands for it to ten significant digits, so that 0.1 + 0.2
/// reads 0.3.
pub fn plain(value: f64) -> String {
    if !value.is_finite() {
        return NO_VALUE.to_owned();
    }
    let rounded: f64 = format!("{value:.9e}").parse().unwrap_or(value);
    if rounded == 0.0 {
        return "0".to_owned();
    }
    if (1e-6..1e12).contains(&rounded.abs()) {
        return format!("{rounded}");
    }
    let scientific = format!("{rounded:e}");
    match scientific.split_once('e') {
        Some((mantissa, exponent)) => format!("{mantissa}×10{}", superscript(exponent)),
        None => scientific,
    }
}

/// `value` rounded to its uncertainty; with its own digits where the uncertainty is zero or unknown.
///
/// # Examples
/// ```
/// use packdrift_report::number::to_uncertainty;
/// assert_eq!(to_uncertainty(724.2, 26.4), "724");
/// assert_eq!(to_uncertainty(1.00432, 0.0307), "1.004");
/// assert_eq!(to_uncertainty(1.25, 0.0), "1.25");
/// assert_eq!(to_uncertainty(f64::NAN, 0.1), "–");
/// ```
pub fn to_uncertainty(value: f64, uncertainty: f64) -> String {
    match decimals(uncertainty) {
        Some(places) => fixed(value, places),
        None => plain(value),
    }
}

/// `value ± uncertainty`, both to the uncertainty's second digit; the value alone where the uncertainty is unknown.
///
/// # Examples
/// ```
/// use packdrift_report::number::plus_minus;
/// assert_eq!(plus_minus(724.2, 26.4), "724 ± 26");
/// assert_eq!(plus_minus(1.25, 0.0), "1.25 ± 0");
/// ```
pub fn plus_minus(value: f64, uncertainty: f64) -> String {
    if !value.is_finite() || !uncertainty.is_finite() {
        return plain(value);
    }
    match decimals(uncertainty) {
        Some(places) => format!("{} ± {}", fixed(value, places), fixed(uncertainty, places)),
        None => format!("{} ± {}", plain(value), plain(uncertainty)),
    }
}

/// A share (0 to 1) in percent with its standard error, or per million where percent would need many zeros. Where the error is below half a
/// percent of the share (or of what the share is short of one) nobody decides by it: the share stands alone, as [`percent`] shows it.
///
/// # Examples
/// ```
/// use packdrift_report::number::share;
/// assert_eq!(share(0.00312, 0.00011), "0.312 % ± 0.011 %");
/// assert_eq!(share(0.0312, 0.0), "3.12 %");
/// assert_eq!(share(4.2e-6, 1.0e-7), "4.20 ± 0.10 per million");
/// assert_eq!(share(0.0238698, 2.3e-6), "2.39 %");
/// assert_eq!(share(0.9999060343, 9.4e-9), "99.9906 %");
/// assert_eq!(share(1.0 - 3.1e-9, 2.0e-10), "> 99.9999 %");
/// ```
pub fn share(share: f64, standard_error: f64) -> String {
    if !share.is_finite() {
        return NO_VALUE.to_owned();
    }
    let small = share > 0.0 && share < 5e-5;
    let factor = if small { 1e6 } else { 100.0 };
    let value = share * factor;
    let from_end = share.min(1.0 - share);
    if standard_error < UNSEEN * from_end || share < LEAST_SHARE {
        return percent(share);
    }
    if standard_error > 0.0 && 1.0 - share + 3.0 * standard_error < NEARLY_ALL {
        // An error would need as many zeros as there are nines.
        return "> 99.9999 %".to_owned();
    }
    let Some(places) = decimals(standard_error * factor) else {
        return if small { format!("{} per million", significant(value, 3)) } else { percent(share) };
    };
    let (value, error) = (fixed(value, places), fixed(standard_error * factor, places));
    if small { format!("{value} ± {error} per million") } else { format!("{value} % ± {error} %") }
}

/// Part of a share to which its standard error need not be said.
const UNSEEN: f64 = 0.005;

/// One in a thousand million: no assumption about a distribution's tail is good to less.
const LEAST_SHARE: f64 = 1e-9;

/// What a share lacks of all, below which it is only said to be nearly all.
const NEARLY_ALL: f64 = 1e-6;

/// What is left of all (1) beside a share and its standard error, as [`share`] shows it: what differs from all is never shown as all.
///
/// # Examples
/// ```
/// use packdrift_report::number::all_but;
/// assert_eq!(all_but(3e-20, 0.0), "> 99.9999999 %");
/// assert_eq!(all_but(0.00652, 0.00008), "99.3480 % ± 0.0080 %");
/// assert_eq!(all_but(0.0, 0.0), "100 %");
/// ```
pub fn all_but(out: f64, standard_error: f64) -> String {
    if out > 0.0 && out + 3.0 * standard_error < LEAST_SHARE {
        return LEAST_SHORT_OF_ALL.to_owned();
    }
    share((1.0 - out).max(0.0), standard_error)
}

/// As near to one as [`LEAST_SHARE`] is to nought.
const LEAST_SHORT_OF_ALL: &str = "> 99.9999999 %";

/// A share (0 to 1) in percent to three significant digits, without an error; near one, of what it lacks of it.
pub fn percent(share: f64) -> String {
    if !share.is_finite() {
        return NO_VALUE.to_owned();
    }
    if share > 0.0 && share < LEAST_SHARE {
        return "< 0.001 per million".to_owned();
    }
    if share > 0.0 && share < 5e-5 {
        return format!("{} per million", significant(share * 1e6, 3));
    }
    if share < 1.0 && 1.0 - share < LEAST_SHARE {
        return LEAST_SHORT_OF_ALL.to_owned();
    }
    // Near one the distance from one is what is known: 99.998 % must not read 100 %.
    let value = share * 100.0;
    let places = decimals(share.min(1.0 - share).abs() * 100.0).map_or(1, |d| (d + 1).clamp(1, 9));
    let text = fixed(value, places);
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    format!("{text} %")
}

/// A forecast's chance in percent, to a tenth: a forecast knows no more, and near nought and one it says on which side.
///
/// # Examples
/// ```
/// use packdrift_report::number::chance;
/// assert_eq!(chance(0.2214), "22.1 %");
/// assert_eq!(chance(0.99999938), "> 99.9 %");
/// assert_eq!(chance(1.0), "100 %");
/// assert_eq!(chance(1e-9), "< 0.1 %");
/// ```
pub fn chance(chance: f64) -> String {
    if !chance.is_finite() {
        return NO_VALUE.to_owned();
    }
    if chance > 0.9994 && chance < 1.0 {
        return "> 99.9 %".to_owned();
    }
    if chance > 0.0 && chance < 0.0006 {
        return "< 0.1 %".to_owned();
    }
    if chance <= 0.0 || chance >= 1.0 { percent(chance) } else { format!("{} %", fixed(chance * 100.0, 1)) }
}

/// A share estimated from a sample, in percent to two significant digits: it knows no more. What is below one in a million is said to be so.
///
/// # Examples
/// ```
/// use packdrift_report::number::estimated_share;
/// assert_eq!(estimated_share(0.01203), "1.2 %");
/// assert_eq!(estimated_share(4.36e-5), "0.0044 %");
/// assert_eq!(estimated_share(0.98765), "98.8 %");
/// assert_eq!(estimated_share(5.57e-43), "< 0.0001 %");
/// assert_eq!(estimated_share(0.0), "0 %");
/// ```
pub fn estimated_share(share: f64) -> String {
    if !share.is_finite() {
        return NO_VALUE.to_owned();
    }
    if share > 0.0 && share < 1e-6 {
        return "< 0.0001 %".to_owned();
    }
    if share > 1.0 - 1e-6 && share < 1.0 {
        return "> 99.9999 %".to_owned();
    }
    // Near one, the distance from one.
    let places = decimals(share.min(1.0 - share).abs() * 100.0).unwrap_or(0).max(0);
    let text = fixed(share * 100.0, places);
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    format!("{text} %")
}

/// A count with its thousands set apart by a thin space (ISO 80000-1, 7.3.1).
pub fn count(n: u64) -> String {
    let digits = n.to_string();
    let mut out = String::with_capacity(digits.len() * 2);
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push('\u{202f}');
        }
        out.push(c);
    }
    out
}

/// `1 valve`, `3 valves`: a count with its noun; the plural is the singular with an s.
pub fn counted(n: usize, noun: &str) -> String {
    let s = if n == 1 { "" } else { "s" };
    format!("{} {noun}{s}", count(n as u64))
}

/// `lower … upper`, `≥ lower`, `≤ upper`, or no value.
pub fn limits(lower: Option<f64>, upper: Option<f64>) -> String {
    // Both ends with the same number of places: 0.90 … 1.10 and not 0.9 … 1.1.
    let places = |v: f64| plain(v).split_once('.').map_or(0, |(_, fraction)| fraction.len());
    match (lower.filter(|v| v.is_finite()), upper.filter(|v| v.is_finite())) {
        (Some(a), Some(b)) => {
            let d = places(a).max(places(b)).min(9) as i32;
            format!("{} … {}", fixed(a, d), fixed(b, d))
        }
        (Some(a), None) => format!("≥ {}", plain(a)),
        (None, Some(b)) => format!("≤ {}", plain(b)),
        (None, None) => NO_VALUE.to_owned(),
    }
}

fn superscript(exponent: &str) -> String {
    exponent
        .chars()
        .map(|c| match c {
            '-' => '⁻',
            '0' => '⁰',
            '1' => '¹',
            '2' => '²',
            '3' => '³',
            '4' => '⁴',
            '5' => '⁵',
            '6' => '⁶',
            '7' => '⁷',
            '8' => '⁸',
            '9' => '⁹',
            other => other,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn value_is_rounded_to_the_second_digit_of_its_uncertainty() {
        // JCGM 100:2008, 7.2.6: y = 10.057 62 ohm with u = 27 milliohm is given as 10.058 ohm.
        assert_eq!(plus_minus(10.05762, 0.027), "10.058 ± 0.027");
        assert_eq!(plus_minus(724.2, 26.4), "724 ± 26");
        assert_eq!(plus_minus(724.2, 264.0), "720 ± 260");
        assert_eq!(plus_minus(0.12345, 0.00997), "0.123 ± 0.010");
        assert_eq!(plus_minus(-0.0004, 0.03), "0.000 ± 0.030");
    }

    #[test]
    fn exact_numbers_keep_their_digits_and_lose_binary_noise() {
        assert_eq!(plain(0.1 + 0.2), "0.3");
        assert_eq!(plain(52.0), "52");
        assert_eq!(plain(-0.0), "0");
        assert_eq!(plain(2.5e-9), "2.5×10⁻⁹");
        assert_eq!(plain(f64::INFINITY), NO_VALUE);
        assert_eq!(plus_minus(1.25, f64::NAN), "1.25");
    }

    #[test]
    fn shares_near_nought_and_one_do_not_pretend_to_be_them() {
        assert_eq!(percent(0.99998), "99.998 %");
        assert_eq!(percent(1.0), "100 %");
        assert_eq!(percent(0.0), "0 %");
        for lacks in [1e-3, 1e-5, 1e-7, 1e-9, 1e-11, 1e-13, 1e-15] {
            for error in [0.0, 1e-3 * lacks, 0.1 * lacks, lacks] {
                for shown in [percent(1.0 - lacks), share(1.0 - lacks, error), all_but(lacks, error)] {
                    assert!(!shown.starts_with("100") && shown.len() < 24, "{lacks:e} ± {error:e}: {shown}");
                }
            }
        }
        assert_eq!(percent(1.0 - 1.23e-7), "99.9999877 %");
        assert_eq!(share(1.0, 1e-12), "> 99.9999 %");
        assert_eq!(percent(0.0027), "0.27 %");
        assert_eq!(percent(3.17e-9), "0.00317 per million");
        assert_eq!(percent(6.3e-85), "< 0.001 per million");
        assert_eq!(share(6.3e-85, 1e-90), "< 0.001 per million");
        assert_eq!(share(0.02, 0.03), "2.0 % ± 3.0 %");
        assert_eq!(share(0.0, 0.0), "0 %");
        assert_eq!(percent(f64::NAN), NO_VALUE);
    }

    #[test]
    fn limits_show_both_ends_with_the_same_places() {
        assert_eq!(limits(Some(0.9), Some(1.15)), "0.90 … 1.15");
        assert_eq!(limits(None, Some(0.15)), "≤ 0.15");
        assert_eq!(limits(Some(100.0), None), "≥ 100");
        assert_eq!(limits(None, None), NO_VALUE);
    }

    #[test]
    fn counts_are_grouped() {
        assert_eq!(count(1_000_000), "1\u{202f}000\u{202f}000");
        assert_eq!(count(812), "812");
        assert_eq!(counted(1, "valve"), "1 valve");
        assert_eq!(counted(2, "valve"), "2 valves");
    }
}
