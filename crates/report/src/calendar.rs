//! Dates as results carry them (days since 1970-01-01) and as people read them (ISO 8601).

/// `2027-03-01`; empty for a day no calendar has.
pub fn iso(day: i32) -> String {
    jiff::Span::new()
        .try_days(day)
        .and_then(|days| jiff::civil::date(1970, 1, 1).checked_add(days))
        .map_or_else(|_| String::new(), |date| date.to_string())
}

/// The day of an ISO 8601 date; None for anything else.
///
/// ```
/// use packdrift_report::calendar::{day, iso};
/// assert_eq!(day("2027-03-01"), Some(20_878));
/// assert_eq!(day("2027-02-29"), None);
/// assert_eq!(day(&iso(-5)), Some(-5));
/// ```
pub fn day(iso: &str) -> Option<i32> {
    let date: jiff::civil::Date = iso.trim().parse().ok()?;
    Some(jiff::civil::date(1970, 1, 1).until(date).ok()?.get_days())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_become_dates() {
        assert_eq!(iso(0), "1970-01-01");
        assert_eq!(iso(20_878), "2027-03-01");
        assert_eq!(iso(-1), "1969-12-31");
        assert_eq!(iso(i32::MAX), "");
    }
}
