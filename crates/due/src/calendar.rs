//! The days that count: windows still to come, the plan's end, and how days are written.

use packdrift_trend::{Policy, Window};

/// ISO 8601; the bare number of days for a day that no calendar has.
pub(crate) fn iso(day: i32) -> String {
    let date = jiff::Span::new().try_days(day).and_then(|days| jiff::civil::date(1970, 1, 1).checked_add(days));
    date.map_or_else(|_| format!("day {day}"), |date| date.to_string())
}

/// Distance of windows where there is one or none, days.
const YEAR: i32 = 365;

/// The plan's time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Calendar {
    pub(crate) today: i32,
    pub(crate) windows: Vec<Window>,
    /// Windows that were over before.
    pub(crate) past: Vec<Window>,
    /// A following window is taken to come as long after the last as the windows are apart (their mean distance; a year where there is one
    /// window or none).
    pub(crate) end: i32,
    pub(crate) gap: i32,
}

impl Calendar {
    /// Of the policy's windows; `at_least` keeps the end where it is though the last windows are dropped.
    pub(crate) fn of(policy: &Policy, today: i32, at_least: Option<i32>) -> Self {
        let mut all = policy.windows.clone();
        all.sort_by_key(|w| (w.start, w.end));
        let gap = mean_distance(&all).unwrap_or(YEAR);
        let (windows, past): (Vec<Window>, Vec<Window>) = all.into_iter().partition(|w| w.end >= today);
        let last = windows.iter().map(|w| w.end).max();
        let end = (last.unwrap_or(today) + gap).max(at_least.unwrap_or(i32::MIN));
        Self { today, windows, past, end, gap }
    }

    /// The last window in which an engine can be done by `due`; None where it is due before any begins.
    pub(crate) fn last_in_time(&self, due: i32) -> Option<usize> {
        self.windows.iter().rposition(|w| w.start.max(self.today) <= due)
    }

    /// The day by which an engine of a column is done: its latest day where that lies in the window (the urgent come first), else the
    /// window's last; without a window the plan's end.
    pub(crate) fn done(&self, column: usize, due: Option<i32>) -> i32 {
        let Some(window) = self.windows.get(column) else { return self.end };
        due.filter(|d| (window.start.max(self.today)..window.end).contains(d)).unwrap_or(window.end)
    }

    /// The day by which the window after that is over: the first that begins once this one has ended, else the plan's end.
    pub(crate) fn following(&self, column: usize) -> i32 {
        match self.windows.get(column) {
            None => self.end + self.gap,
            Some(this) => self.after(this.end),
        }
    }

    /// The day by which the next window that begins after `day` is over; the plan's end where there is none.
    pub(crate) fn after(&self, day: i32) -> i32 {
        self.windows.iter().filter(|w| w.start > day).map(|w| w.end).min().unwrap_or(self.end)
    }

    /// Windows that stand more than once, once each.
    pub(crate) fn repeated(&self) -> Vec<(i32, i32)> {
        let mut out: Vec<(i32, i32)> =
            self.windows.windows(2).filter(|w| same(&w[0], &w[1])).map(|w| days(&w[0])).collect();
        out.dedup();
        out
    }

    /// Pairs that share days without being the same.
    pub(crate) fn overlapping(&self) -> Vec<[(i32, i32); 2]> {
        let mut out = Vec::new();
        for (k, a) in self.windows.iter().enumerate() {
            for b in self.windows[k + 1..].iter().take_while(|b| b.start <= a.end) {
                let pair = [days(a), days(b)];
                if !same(a, b) && !out.contains(&pair) {
                    out.push(pair);
                }
            }
        }
        out
    }
}

fn days(window: &Window) -> (i32, i32) {
    (window.start, window.end)
}

fn same(a: &Window, b: &Window) -> bool {
    days(a) == days(b)
}

/// Mean distance of the ends of windows, those that share days taken as one; None where fewer than two are left.
fn mean_distance(windows: &[Window]) -> Option<i32> {
    let mut apart: Vec<(i32, i32)> = Vec::new();
    for w in windows {
        match apart.last_mut() {
            Some(last) if w.start <= last.1 => last.1 = last.1.max(w.end),
            _ => apart.push(days(w)),
        }
    }
    match apart.as_slice() {
        [first, .., last] => Some(((last.1 - first.1) / (apart.len() as i32 - 1)).max(1)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn calendar(windows: &[(i32, i32)], today: i32) -> Calendar {
        let windows = windows.iter().map(|&(start, end)| Window { start, end, engines: 2 }).collect();
        Calendar::of(&Policy { windows, ..Policy::default() }, today, None)
    }

    #[test]
    fn past_windows_fall_out_and_the_plan_ends_one_distance_after_the_last() {
        let c = calendar(&[(10, 20), (110, 120), (210, 220)], 50);
        assert_eq!((c.past.len(), c.windows.len(), c.gap, c.end), (1, 2, 100, 320));
        assert_eq!([0, 1, 2].map(|w| c.done(w, None)), [120, 220, 320]);
        // Its latest day where that lies in the window.
        assert_eq!([0, 1, 2].map(|w| c.done(w, Some(115))), [115, 220, 320]);
        assert_eq!([50, 109, 130].map(|due| c.done(0, Some(due))), [120, 120, 120]);
        assert_eq!([c.following(0), c.following(1), c.following(2)], [220, 320, 420]);
        assert_eq!([109, 110, 209, 500].map(|due| c.last_in_time(due)), [None, Some(0), Some(0), Some(1)]);
        assert_eq!(calendar(&[], 50).end, 415);
    }

    #[test]
    fn windows_of_the_same_days_are_one_time_and_are_found() {
        let c = calendar(&[(110, 120), (110, 120), (115, 130), (310, 320)], 50);
        assert_eq!((c.gap, c.end), (190, 510));
        assert_eq!(c.repeated(), [(110, 120)]);
        assert_eq!(c.overlapping(), [[(110, 120), (115, 130)]]);
        // What follows a window is not its twin.
        assert_eq!([0, 1, 2, 3].map(|w| c.following(w)), [320, 320, 320, 510]);
        let apart = calendar(&[(110, 120), (121, 130)], 50);
        assert!(apart.repeated().is_empty() && apart.overlapping().is_empty());
    }

    #[test]
    fn a_dropped_window_does_not_move_the_end() {
        let policy = Policy { windows: vec![Window { start: 110, end: 120, engines: 2 }], ..Policy::default() };
        assert_eq!(Calendar::of(&policy, 50, Some(900)).end, 900);
    }
}
