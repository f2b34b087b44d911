//! Days of the table (since 1970-01-01) as people write them.

/// `2027-03-01`; `day 99999999` for a day that no calendar has.
pub(crate) fn iso(day: i32) -> String {
    let date = jiff::Span::new().try_days(day).and_then(|days| jiff::civil::date(1970, 1, 1).checked_add(days));
    date.map_or_else(|_| format!("day {day}"), |date| date.to_string())
}
