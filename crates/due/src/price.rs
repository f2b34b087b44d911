//! What an engine's place in a window comes to.
//!
//! An engine is best done in the last window in which it is done by its latest date: before that a place is given to one who does not need
//! it yet. Where places lack, some are done earlier, and where that does not do either, those are late whose chance of having entered grows
//! least by the wait. So what is minimised is the expected number of engines that enter because they are late,
//!
//! in time: a trifle for each window that it is done before its last,   late: C̄(t) + 0.1·(years beyond the risk),
//!
//! and with costs the expected cost, with ten failures for each such engine, so that nobody is late to save money. An engine may then be
//! done before its last window too, where waiting costs more: by a tenth of a planned job at least, for a place is for those who need it.

use crate::calendar::Calendar;
use crate::engine::Outlooked;
use packdrift_trend::{Costs, Policy};

/// A year in the damage zone weighs as a tenth of an engine that enters it. It decides between engines that are most likely in the zone
/// already, of which none gains by an early place but in the time it runs on there.
const YEAR: f64 = 0.1;

/// An engine that enters late weighs as this many failures, beside the expected cost.
const LATE: f64 = 10.0;

/// A window earlier than needed weighs as this share of the risk.
const EARLY: f64 = 1e-3;

/// With costs, a window earlier than needed must save at least this share of a planned job: a place is for those who need it.
const TRIFLE: f64 = 0.1;

/// What an engine in a column comes to.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Price {
    /// Days, each weighted with what the chance goes beyond the accepted risk on it.
    pub(crate) beyond: f64,
    /// What is minimised.
    pub(crate) minimised: f64,
}

/// By what places are priced.
#[derive(Clone, Copy)]
pub(crate) struct Pricing<'a> {
    pub(crate) calendar: &'a Calendar,
    pub(crate) policy: &'a Policy,
    /// Costs are counted until this day.
    pub(crate) until: i32,
}

impl Pricing<'_> {
    /// An engine due on `due`, done by `day` in `column`; `rate`: least long-run cost per hour of its kind.
    pub(crate) fn of(&self, engine: &Outlooked, due: Option<i32>, column: usize, rate: f64) -> Price {
        let day = self.calendar.done(column, due);
        let chance = engine.chance(day);
        let beyond = engine.days_beyond(self.policy.risk, self.calendar.today, day);
        let columns = self.calendar.windows.len();
        let late = due.is_some_and(|due| due < day);
        let entered = if late { chance + YEAR * beyond / 365.25 } else { 0.0 };
        let expected = self.expected(engine, day, rate, self.policy.cost);
        let last = self.needed(due);
        let minimised = match self.policy.cost {
            Some(costs) => {
                let early = f64::from(u8::from(column < last));
                expected + LATE * costs.failure * entered + TRIFLE * costs.planned * early
            }
            None => {
                // Of those that must be done early, first the ones due first.
                let wait = due.map_or(1.0, |due| f64::from(due - self.calendar.today).clamp(0.0, 3653.0) / 3653.0);
                let early = last.saturating_sub(column) as f64 * (1.0 + wait) / (columns + 1) as f64;
                entered + EARLY * self.policy.risk * early
            }
        };
        Price { beyond, minimised }
    }

    /// The column in which an engine is best done: the last window in which it is done in time, the first where it is late in all, "later"
    /// where it is due after the plan's end.
    pub(crate) fn needed(&self, due: Option<i32>) -> usize {
        match due {
            Some(due) if due < self.calendar.end => self.calendar.last_in_time(due).unwrap_or(0),
            _ => self.calendar.windows.len(),
        }
    }

    /// The expected cost of a job on `day`, and of the interval that begins with it up to the day to which costs are counted, by its hours.
    /// Until the job, or the failure before it, the engine lives: E[min(T, t)] = ∫R.
    pub(crate) fn expected(&self, engine: &Outlooked, day: i32, rate: f64, costs: Option<Costs>) -> f64 {
        let Some(Costs { planned, failure, .. }) = costs else { return 0.0 };
        let chance = engine.chance(day);
        planned * (1.0 - chance) + failure * chance + self.afterwards(engine, day, rate)
    }

    /// The expected cost if nothing is done.
    pub(crate) fn undone(&self, engine: &Outlooked, rate: f64) -> f64 {
        let failure = self.policy.cost.map_or(0.0, |c| c.failure);
        failure * engine.chance(self.until) + self.afterwards(engine, self.until, rate)
    }

    fn afterwards(&self, engine: &Outlooked, day: i32, rate: f64) -> f64 {
        let today = self.calendar.today;
        let hours_a_day = engine.machine.usage.map_or(0.0, |u| u.hours_a_week / 7.0);
        let lived = engine.integral(today, day, |chance| 1.0 - chance) * hours_a_day;
        let whole = f64::from((self.until - today).max(0)) * hours_a_day;
        rate * (whole - lived)
    }
}
