//! Hours run between a valve's last reading and the day of the answer.
//!
//! The last reading of a valve, then what the engine's meter has gained since (read beside another valve), then what the engine has run by the
//! day of the answer: not read, so its mean and variance are those of [`Usage::hours_in`], and a chance is averaged over them.

use crate::usage::{Meter, Usage};

/// What an engine's meter says, and where it has run to by the day of the answer.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Running {
    pub(crate) usage: Option<Usage>,
    /// Day and hours of the last reading of the meter; None where there is none, or no day is asked for.
    pub(crate) last: Option<(i32, f64)>,
    /// Days from that reading to the day of the answer, 0 or more.
    pub(crate) days: f64,
}

/// Hours that a valve has run since it was read.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Since {
    /// By the meter.
    pub(crate) behind: f64,
    /// And these days more.
    days: f64,
    usage: Option<Usage>,
}

/// Chances nearer to each other are alike: a hundredth of the error of simulation, 0.001 and more, that they have beside it.
const ALIKE: f64 = 1e-5;

impl Running {
    /// Of each engine until `today`; where no day is asked for, each valve stays where it was read.
    pub(crate) fn of(meters: &[Meter], usages: &[Option<Usage>], today: Option<i32>) -> Vec<Self> {
        let of = |(meter, usage): (&Meter, &Option<Usage>)| {
            let last = today.and_then(|_| meter.visits.last().copied());
            let days = today.zip(last).map_or(0.0, |(today, last)| f64::from(today.saturating_sub(last.0).max(0)));
            Self { usage: *usage, last, days }
        };
        meters.iter().zip(usages).map(of).collect()
    }

    /// Since a valve was read, on `day` at `hours`.
    pub(crate) fn since(&self, day: i32, hours: f64) -> Since {
        let behind = self.last.map_or(0.0, |last| hours_behind(last, self.usage, (day, hours)));
        Since { behind, days: self.days, usage: self.usage }
    }
}

/// Hours that an engine's meter, last read on `last`, has gained since a valve's reading `read` (day, hours): by the meter where it has gone on
/// since, else by the days, for the meter was changed.
///
/// ```
/// use packdrift_trend::hours_behind;
/// assert_eq!(hours_behind((20_100, 1500.0), None, (20_000, 900.0)), 600.0);
/// // A new meter, and nothing known of the engine's running.
/// assert_eq!(hours_behind((20_100, 40.0), None, (20_000, 900.0)), 0.0);
/// ```
pub fn hours_behind(last: (i32, f64), usage: Option<Usage>, read: (i32, f64)) -> f64 {
    let by_meter = last.1 - read.1;
    let days = f64::from(last.0.saturating_sub(read.0));
    if (0.0..=24.0 * (days + 1.0)).contains(&by_meter) { by_meter } else { usage.map_or(0.0, |u| u.hours_in(days).0) }
}

impl Since {
    /// Average of a function of the hours since the reading over what they may be.
    #[cfg(test)]
    pub(crate) fn average(&self, f: impl Fn(f64) -> f64) -> f64 {
        match self.usage {
            Some(usage) if self.days > 0.0 => usage.average(self.days, |h| f(self.behind + h)),
            _ => f(self.behind),
        }
    }

    /// Average of a chance, which rises with the hours since the reading, over what these may be: where it is nearly the same at both ends of what they may be, their middle is
    /// within [`ALIKE`] of it.
    pub(crate) fn average_chance(&self, f: impl Fn(f64) -> f64) -> f64 {
        let Some(usage) = self.usage.filter(|_| self.days > 0.0) else { return f(self.behind) };
        let points = usage.points(self.days).map(|(h, w)| (self.behind + h, w));
        let [(first, w), inner @ .., (last, v)] = points;
        let (low, high) = (f(first), f(last));
        if (high - low).abs() < 2.0 * ALIKE {
            return 0.5 * (low + high);
        }
        w * low + v * high + inner.iter().map(|(h, w)| w * f(*h)).sum::<f64>()
    }

    /// Their mean.
    pub(crate) fn mean(&self) -> f64 {
        self.behind + self.usage.map_or(0.0, |u| u.hours_in(self.days).0)
    }

    /// Whether nothing was run that is not read.
    pub(crate) fn is_sure(&self) -> bool {
        self.days <= 0.0 || self.usage.is_none()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::usage::UsageSource;

    #[test]
    fn hours_go_on_by_the_meter_and_then_by_usage() {
        let usage = Usage {
            hours_a_week: 42.0,
            standard_error: 3.0,
            variance_a_day: 20.0,
            source: UsageSource::Meter,
            measured: None,
        };
        let meter = Meter { visits: vec![(20_000, 900.0), (20_100, 1500.0)] };
        let meters = [meter.clone(), meter];
        let at = |today| Running::of(&meters, &[Some(usage), None], today);
        assert_eq!(at(None)[0].since(20_000, 900.0), Since { usage: Some(usage), ..Since::default() });
        // On the day of the meter's last reading: 1500 − 900.
        assert_eq!(at(Some(20_100))[0].since(20_000, 900.0).average(|h| h), 600.0);
        // 70 days later 6 h a day more; what is not linear is averaged: E[h²] = mean² + variance.
        let later = at(Some(20_170))[0].since(20_000, 900.0);
        assert!((later.mean() - 1020.0).abs() < 1e-9 && (later.average(|h| h) - 1020.0).abs() < 1e-6);
        let variance = 20.0 * 70.0 + (3.0_f64 / 7.0 * 70.0).powi(2);
        assert!((later.average(|h| h * h) / (1020.0_f64.powi(2) + variance) - 1.0).abs() < 1e-6);
        assert!(!later.is_sure());
        // A chance that rises where the hours may be, and one that hardly does: the first to the digit, the second within 1e-5.
        for (middle, width, slack) in [(1000.0, 60.0, 1e-12), (9000.0, 700.0, 1e-5), (1000.0, 4e6, 1e-5)] {
            let chance = |h: f64| packdrift_numerics::normal::cdf((h - middle) / width);
            let (quick, whole) = (later.average_chance(chance), later.average(chance));
            assert!((quick - whole).abs() <= slack, "{middle}: {quick} {whole}");
        }
        // Nothing known of its running: it stands still, and a day before the last reading takes nothing back.
        assert_eq!(at(Some(20_170))[1].since(20_000, 900.0).mean(), 600.0);
        assert_eq!(at(Some(20_050))[0].since(20_000, 900.0).mean(), 600.0);
    }
}
