//! When to look at an engine next: what a reading is worth (H. Raiffa, R. Schlaifer: Applied Statistical Decision Theory, 1961, the expected
//! value of sample information), and when the risk asks for one.
//!
//! A reading of all valves on day s tells of each part by a standard normal u, with correlation ρ to its true value on a later day t,
//!
//! ρ = Cov(x_s, x_t)/√(Var x_t·(Var x_s + σ²)),   σ the error of a reading,
//!
//! and the part's chance given it follows on the normal scale: p(t | u) = Φ((z + ρu)/√(1 − ρ²)), z = Φ⁻¹(p(t)), whose mean over u is p(t)
//! again. After the reading the cheapest of these days is chosen for the job: s itself, the day planned, the windows with room after it, the
//! plan's end. With K(t | u) the expected cost of each,
//!
//! worth(s) = min_t E_u K(t | u) − E_u min_t K(t | u).
//!
//! That the meter is read too is left out: it is worth a little more than is said.

use crate::engine::Outlooked;
use crate::months::Afterwards;
use crate::price::Pricing;
use crate::result::{EngineDue, Look, LookFor};
use packdrift_numerics::normal;
use packdrift_numerics::sobol::Scrambling;
use packdrift_trend::{Costs, Status};

/// log2 of the points over the readings.
const POINTS: u32 = 6;

/// Days at which the worth is looked at before the day planned, apart from those in between that are then asked for.
const DAYS: i32 = 12;

/// Parts with less than this chance by the last day decide nothing.
const NIL: f64 = 1e-5;

/// Ten years: beyond, nothing calls for a look.
const FAR: i32 = 3653;

/// What looks are planned by.
#[derive(Clone, Copy)]
pub(crate) struct Looking<'a> {
    pub(crate) pricing: Pricing<'a>,
    /// For each window whether it has a place left.
    pub(crate) room: &'a [bool],
    /// What readings may say: normal scores at the points, a column a part.
    pub(crate) readings: &'a [Vec<f64>],
}

/// Columns of normal scores for readings of as many parts.
pub(crate) fn readings(parts: usize) -> Vec<Vec<f64>> {
    let points = Scrambling { seed: 1, purpose: "what a reading tells", number: 0, log2_points: POINTS };
    (0..parts)
        .map(|part| {
            let mut column = vec![0.0; points.points()];
            points.fill_normal(part, &mut column);
            column
        })
        .collect()
}

/// The next look at an engine; `rate`: least long-run cost per hour of its kind, `after`: its valves once the plan has done them.
pub(crate) fn look(
    engine: &Outlooked,
    due: &EngineDue,
    rate: f64,
    after: &Afterwards<'_>,
    looking: Looking<'_>,
) -> Option<Look> {
    let today = looking.pricing.calendar.today;
    let worth = Worth::of(engine, due, rate, looking);
    let open = |v: &&crate::result::ValveToday| {
        matches!(v.status, Status::ReadAgain | Status::NotShown | Status::TooCloseToTell)
    };
    let open: Vec<String> = due.today.iter().filter(open).map(|v| v.valve.clone()).collect();
    let best = worth.as_ref().and_then(Worth::best);
    if !open.is_empty() {
        let worth = worth.as_ref().map(|w| w.on(today));
        let chance = due.chance_now;
        return Some(Look {
            day: today,
            because: LookFor::Verdict,
            after_work: false,
            chance,
            worth,
            best,
            valves: open,
        });
    }
    let by_risk = by_risk(engine, due, after, looking);
    let by_worth = worth.as_ref().and_then(|w| w.first(looking.pricing.policy.cost?.inspection?));
    let (day, because, after_work) = match (by_worth, by_risk) {
        (Some(worth), risk) if risk.is_none_or(|(risk, _)| worth <= risk) => (worth, LookFor::Worth, false),
        (_, Some((risk, after_work))) => (risk, LookFor::Risk, after_work),
        (_, None) => return None,
    };
    let worth = worth.as_ref().filter(|_| !after_work).map(|w| w.on(day));
    Some(Look {
        day,
        because,
        after_work,
        chance: if after_work { after.any(day) } else { engine.chance(day) },
        worth,
        best: best.filter(|_| !after_work),
        valves: likeliest(engine, |v| if after_work { after.valve(v, day) } else { engine.valve_chance(v, day) }),
    })
}

/// The day after which the chance that a valve has entered unseen reaches the risk, and whether that is after the work.
fn by_risk(engine: &Outlooked, due: &EngineDue, after: &Afterwards<'_>, looking: Looking<'_>) -> Option<(i32, bool)> {
    let Pricing { calendar, policy, .. } = looking.pricing;
    engine.machine.usage?;
    let has_job = due.at_once || due.window.is_some() || due.done < calendar.end;
    if !has_job || due.days_late > 0 && !due.at_once {
        return due.due.map(|day| (day.max(calendar.today), false));
    }
    let reached = |day: i32| after.any(day) >= policy.risk;
    let (mut low, mut high) = (due.done + 1, due.done.saturating_add(FAR));
    if reached(low) {
        return Some((low, true));
    }
    if !reached(high) {
        return None;
    }
    while high - low > 1 {
        let mid = i32::midpoint(low, high);
        if reached(mid) {
            high = mid;
        } else {
            low = mid;
        }
    }
    Some((low, true))
}

/// The valves behind a chance, the likeliest first: those with a tenth of the likeliest's or more.
fn likeliest(engine: &Outlooked, chance: impl Fn(usize) -> f64) -> Vec<String> {
    let valves = &engine.machine.valves;
    let mut order: Vec<(usize, f64)> = (0..valves.len()).map(|v| (v, chance(v))).collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let most = order.first().map_or(0.0, |o| o.1);
    order.into_iter().filter(|o| o.1 >= 0.1 * most && o.1 > 0.0).map(|(v, _)| valves[v].name.clone()).collect()
}

/// What a reading of an engine is worth, by its day.
struct Worth<'a> {
    engine: &'a Outlooked,
    costs: Costs,
    rate: f64,
    today: i32,
    /// The day planned for the job.
    done: i32,
    /// Days the job may be put to.
    days: Vec<i32>,
    /// Parts that decide anything.
    parts: Vec<usize>,
    /// Normal scores of the readings, a column a part.
    readings: &'a [Vec<f64>],
}

impl<'a> Worth<'a> {
    /// None without costs, without usage, or where the job is done at once.
    fn of(engine: &'a Outlooked, due: &EngineDue, rate: f64, looking: Looking<'a>) -> Option<Self> {
        let calendar = looking.pricing.calendar;
        let costs = looking.pricing.policy.cost?;
        engine.machine.usage?;
        if due.at_once || due.done <= calendar.today {
            return None;
        }
        let mut days: Vec<i32> = (0..calendar.windows.len())
            .filter(|w| looking.room[*w] || due.window == Some(*w))
            .map(|w| calendar.done(w, due.due))
            .chain([due.done, calendar.end])
            .collect();
        days.sort_unstable();
        days.dedup();
        let end = days.last().copied()?;
        let mut parts: Vec<(usize, f64)> = (0..engine.part.len()).map(|p| (p, engine.part_chance(p, end))).collect();
        parts.retain(|p| p.1 > NIL);
        // The coordinates that matter most first.
        parts.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        let parts = parts.into_iter().map(|p| p.0).collect();
        let today = calendar.today;
        Some(Self { engine, costs, rate, today, done: due.done, days, parts, readings: looking.readings })
    }

    /// The worth of a reading on day `s`, before its own cost.
    fn on(&self, s: i32) -> f64 {
        let mut days = vec![s];
        days.extend(self.days.iter().filter(|d| **d > s));
        // For each part and day the normal score of the chance, and the correlation with the reading.
        let known: Vec<Vec<(f64, f64)>> =
            self.parts.iter().map(|&p| days.iter().map(|t| self.score_and_correlation(p, s, *t)).collect()).collect();
        let n = 1_i32 << POINTS;
        let mut mean = vec![0.0; days.len()];
        let mut best = 0.0;
        for k in 0..n as usize {
            let chances: Vec<f64> = (0..days.len())
                .map(|t| {
                    let stay = known.iter().zip(self.readings).map(|(part, u)| {
                        let (z, r) = part[t];
                        normal::sf((z + r * u[k]) / (1.0 - r * r).sqrt())
                    });
                    1.0 - stay.product::<f64>()
                })
                .collect();
            let costs = self.costs_of(&days, &chances);
            best += costs.iter().copied().fold(f64::INFINITY, f64::min) / f64::from(n);
            for (sum, cost) in mean.iter_mut().zip(costs) {
                *sum += cost / f64::from(n);
            }
        }
        (mean.into_iter().fold(f64::INFINITY, f64::min) - best).max(0.0)
    }

    /// The expected cost of the job on each of the days, but for what is the same in all: hours lived by then count against the rate.
    fn costs_of(&self, days: &[i32], chances: &[f64]) -> Vec<f64> {
        let hours_a_day = self.engine.machine.usage.map_or(0.0, |u| u.hours_a_week / 7.0);
        let mut lived = 0.0;
        (0..days.len())
            .map(|t| {
                if t > 0 {
                    let days = f64::from(days[t] - days[t - 1]);
                    lived += days * hours_a_day * (1.0 - 0.5 * (chances[t] + chances[t - 1]));
                }
                self.costs.planned * (1.0 - chances[t]) + self.costs.failure * chances[t] - self.rate * lived
            })
            .collect()
    }

    fn score_and_correlation(&self, part: usize, s: i32, t: i32) -> (f64, f64) {
        let p = &self.engine.machine.parts[part];
        let chance = self.engine.part_chance(part, t);
        let score = if chance < 0.5 { normal::quantile(chance) } else { normal::upper_quantile(1.0 - chance) };
        let hours = |day: i32| p.behind + self.engine.average(day, |h| h);
        let (a, b) = (hours(s), hours(t));
        let variance = |h: f64| p.prospect.value_at(h).1.powi(2);
        let read = variance(a) + p.prospect.sd_reading().powi(2);
        let r = p.prospect.covariance(a, b) / (variance(b) * read).sqrt();
        (score.clamp(-37.0, 37.0), if r.is_finite() { r.clamp(0.0, 0.9999) } else { 0.0 })
    }

    /// Days looked at before the one planned.
    fn looked_at(&self) -> Vec<i32> {
        let span = self.done - self.today;
        let mut days: Vec<i32> = (0..DAYS).map(|k| self.today + span * k / DAYS).collect();
        days.dedup();
        days
    }

    /// The first day on which a reading is worth more than `price`.
    fn first(&self, price: f64) -> Option<i32> {
        let days = self.looked_at();
        let k = days.iter().position(|d| self.on(*d) > price)?;
        let (mut low, mut high) = (if k == 0 { return Some(days[0]) } else { days[k - 1] }, days[k]);
        while high - low > 1 {
            let mid = i32::midpoint(low, high);
            if self.on(mid) > price {
                high = mid;
            } else {
                low = mid;
            }
        }
        Some(high)
    }

    /// The day, of those looked at, on which a reading saves most, and how much.
    fn best(&self) -> Option<(i32, f64)> {
        self.looked_at().into_iter().map(|d| (d, self.on(d))).max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
    }
}
