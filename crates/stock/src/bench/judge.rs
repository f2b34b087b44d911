//! The verdict on a build, or on the bay as it is: by docs/verdicts.md.
//!
//! - The chance that the named valves' offsets and the preload are inside is held against what is wanted, with its standard error.
//! - No other rocker may be left worse off: P(all inside) is held against wanted × P(the others are inside now). One that stands outside before and after is
//!   said to need a look.
//! - A bay that a spring washer is to keep tight is not left loose ([`packdrift_verdict::loose_bay`]).
//! - A limit that can never bind is a slip: nothing is done by it.
//! - What was measured goes before what was computed: a reading outside the limits is never `done`.

use super::warning::percent;
use super::{Bench, Compared};
use crate::forecast::{Forecast, Wanted};
use crate::load::not_settled;
use packdrift_pack::{Quantity, QuantityKind, UnsettledLoad};
use packdrift_spread::NeverBinds;
use packdrift_verdict::{Evidence, LOOSE, Verdict, loose_bay};

/// What a build is held against.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Yardstick {
    /// The chance that is good enough.
    pub(super) enough: f64,
    /// The chance that every rocker which was not asked for is inside now.
    pub(super) others_now: f64,
    /// Of each of them.
    each_now: Vec<(String, f64)>,
    /// Where each of them stands now, in every condition, mm.
    stands: Vec<(String, String, f64)>,
    /// Whether draws go on until what is decided by them is told apart.
    exacting: bool,
    /// Whether the bay has a spring washer, which is there to keep it tight.
    sprung: bool,
    /// The bay's spring washer whose load its formula settles least.
    unsettled: Option<UnsettledLoad>,
    /// What is said of limits that can never bind.
    never_binds: Vec<Verdict>,
}

impl Yardstick {
    pub(super) fn new(enough: f64, now: &Forecast, sprung: bool) -> Self {
        let each_now: Vec<(String, f64)> = now.others.iter().map(|other| (other.valve.clone(), other.chance)).collect();
        let others_now = each_now.iter().map(|(_, chance)| chance).product();
        Self {
            enough,
            others_now,
            each_now,
            stands: others_stand(now).collect(),
            exacting: true,
            sprung,
            unsettled: None,
            never_binds: Vec::new(),
        }
    }

    /// The same, with what no chance settles of a bay: a load that sources differ on, limits that can never bind.
    pub(super) fn with_doubts_of(self, bench: &Bench) -> Self {
        let never_binds = bench.never_binds.iter().map(NeverBinds::verdict_without_figures).collect();
        Self { unsettled: bench.unsettled_load(), never_binds, ..self }
    }

    /// The same, quick: what lies within the error of one block of draws is not shown.
    pub(super) fn without_more_draws(&self) -> Self {
        Self { exacting: false, ..self.clone() }
    }

    /// The chances that draws have to be told apart from.
    pub(super) fn wanted(&self) -> Option<Wanted> {
        self.exacting.then_some(Wanted { named: self.enough, all: self.least_of_all() })
    }

    /// The chance that all are inside which a build must have.
    pub(super) fn least_of_all(&self) -> f64 {
        self.enough * self.others_now
    }

    /// Whether a build is inside with the wanted chance and leaves the other rockers as well off as they are.
    pub(super) fn is_good(&self, forecast: &Forecast) -> bool {
        let tight = self.left_loose(forecast).is_none();
        tight && self.of_the_named(forecast).is_shown() && self.of_all(forecast).is_shown()
    }

    /// Left loose, a rocker lies anywhere within the play: a reading, however good, says little.
    fn left_loose(&self, forecast: &Forecast) -> Option<Verdict> {
        // No verdict hangs on the draws: three standard errors of their share are added.
        let error = (forecast.loose * (1.0 - forecast.loose) / forecast.draws.max(1) as f64).sqrt();
        let at_most = (forecast.loose + 3.0 * error).min(1.0);
        loose_bay(forecast.loose, at_most, LOOSE).filter(|_| self.sprung)
    }

    /// A load that sources differ on is inside its limits only where it is so with as much more and as much less of it, three standard deviations included.
    fn by_load(&self, forecast: &Forecast) -> Option<Verdict> {
        let load = self.unsettled.as_ref()?;
        let open = forecast.expectations.iter().find(|e| {
            let (low, high) = ((e.mean - 3.0 * e.sd) / load.factor, (e.mean + 3.0 * e.sd) * load.factor);
            e.kind == QuantityKind::Preload && (e.upper.is_some_and(|u| high > u) || e.lower.is_some_and(|l| low < l))
        })?;
        Some(not_settled(load, |range| {
            format!("by its formula the preload is {:.0} N, by other sources {range}", open.mean)
        }))
    }

    /// The verdict on what is to be expected.
    pub(super) fn judge(&self, forecast: &Forecast) -> Verdict {
        let mut verdict = self.of_the_named(forecast).and(self.of_all(forecast));
        let doubts = self.by_load(forecast).into_iter().chain(self.never_binds.iter().cloned());
        verdict = self.left_loose(forecast).into_iter().chain(doubts).fold(verdict, Verdict::and);
        for other in &forecast.others {
            let before = self.each_now.iter().find(|(valve, _)| *valve == other.valve).map_or(f64::NAN, |at| at.1);
            if other.chance < self.enough {
                let reason = format!(
                    "the rocker of \"{}\" is inside its limits with a chance of {} only ({} as the bay is now)",
                    other.valve,
                    percent(other.chance),
                    percent(before)
                );
                let look = format!("Measure the offset of \"{}\" and name it with --also.", other.valve);
                verdict = verdict.and(Verdict::watch(reason).settled_by(look));
            }
        }
        // Nobody has read it: by the drawing it may be inside, and by its wear not.
        for valve in self.moved(forecast) {
            let reason = format!("it moves the rocker of \"{valve}\", which was not read");
            let look = format!("Measure the offset of \"{valve}\" and name it with --also.");
            verdict = verdict.and(Verdict::watch(reason).settled_by(look));
        }
        verdict
    }

    /// The rockers that were not asked for and do not stay where they are.
    fn moved(&self, forecast: &Forecast) -> Vec<String> {
        let mut moved: Vec<String> = others_stand(forecast)
            .filter(|(valve, condition, mean)| {
                let before = self.stands.iter().find(|now| now.0 == *valve && now.1 == *condition);
                before.is_some_and(|now| (now.2 - mean).abs() > MOVED)
            })
            .map(|(valve, ..)| valve)
            .collect();
        moved.dedup();
        moved
    }

    fn of_the_named(&self, forecast: &Forecast) -> Verdict {
        outside("chance of being outside the limits", 1.0 - self.enough, forecast.chance, forecast.chance_se)
    }

    fn of_all(&self, forecast: &Forecast) -> Verdict {
        if forecast.others.is_empty() {
            return self.of_the_named(forecast);
        }
        let allowed = 1.0 - self.least_of_all();
        let what = "chance that another rocker or what was asked for is outside";
        let verdict = outside(what, allowed, forecast.chance_all, forecast.chance_all_se);
        let Some(worst) = self.pushed_out(forecast).filter(|_| !verdict.is_shown()) else { return verdict };
        let reason = format!("it pushes the rocker of \"{worst}\" out of its limits");
        Verdict::adverse(reason).settled_by(format!("Measure the offset of \"{worst}\" and name it with --also."))
    }

    /// The rocker that was not asked for and that a build leaves worst off against now.
    pub(super) fn pushed_out<'a>(&self, forecast: &'a Forecast) -> Option<&'a str> {
        let loss = |valve: &str, chance: f64| {
            self.each_now.iter().find(|(name, _)| name == valve).map_or(0.0, |(_, before)| before - chance)
        };
        let worst =
            forecast.others.iter().max_by(|a, b| loss(&a.valve, a.chance).total_cmp(&loss(&b.valve, b.chance)))?;
        (loss(&worst.valve, worst.chance) > 1.0 - self.enough).then_some(worst.valve.as_str())
    }
}

/// A rocker that moves by less stays where it is, mm: no gauge shows it.
const MOVED: f64 = 0.005;

/// Where the rockers stand that were not asked for: valve, condition, offset.
fn others_stand(forecast: &Forecast) -> impl Iterator<Item = (String, String, f64)> {
    let offsets = forecast.expectations.iter().filter(|e| e.kind == QuantityKind::Offset && !e.named);
    offsets.map(|e| (e.of.clone(), e.condition.clone(), e.mean))
}

/// A chance of being inside, held against the chance of being outside that is allowed.
fn outside(what: &str, allowed: f64, inside: f64, standard_error: f64) -> Verdict {
    let outside = 1.0 - inside;
    // The chance itself is computed, not estimated from data: all that blurs it is the draws.
    let evidence = Evidence::at_most(what, allowed).estimate(outside).bounds(outside, outside);
    evidence.simulation_error(standard_error).judge()
}

/// The verdict on readings that are believed: outside the limits is never done.
pub(super) fn of_readings(compared: &[Compared]) -> Option<Verdict> {
    let latest = |k: usize| compared[k + 1..].iter().all(|later| later.valve != compared[k].valve || !later.believed);
    let outside = compared.iter().enumerate().filter(|&(k, one)| one.believed && latest(k) && one.is_outside());
    let verdicts = outside.map(|(_, one)| {
        let twice = compared.iter().filter(|other| other.valve == one.valve && other.believed).count() > 1;
        let reason = format!("\"{}\" reads outside its limits", one.valve);
        if twice {
            Verdict::adverse(reason)
        } else {
            Verdict::read_again(reason).settled_by(format!("Read the offset of \"{}\" again.", one.valve))
        }
    });
    verdicts.reduce(Verdict::and)
}

impl Bench {
    /// The spring washer of this bay whose load its formula settles least.
    pub(crate) fn unsettled_load(&self) -> Option<UnsettledLoad> {
        let loads = self.pack.unsettled_loads(&self.values()).into_iter().filter(|load| load.bay == self.bay);
        loads.max_by(|a, b| a.factor.total_cmp(&b.factor))
    }

    /// Whether the preload of this bay has a limit.
    pub(crate) fn limits_preload(&self) -> bool {
        let of_preload = |r: &&packdrift_spread::Requirement| {
            r.quantity.bay() == self.bay && r.quantity.kind() == QuantityKind::Preload
        };
        self.requirements.iter().filter(of_preload).any(|r| r.lower.is_some() || r.upper.is_some())
    }

    /// What a valve's offset may read, in the condition in which it is read, for its limits in every condition to be kept, mm.
    ///
    /// From one condition to another the offset of a given bay shifts by what the parts grow: nearly the same for every bay of these parts.
    pub(super) fn read_limits(&self, valve: &str) -> (Option<f64>, Option<f64>) {
        let Some(index) = self.pack.bays[self.bay].valves.iter().position(|v| v.name == valve) else {
            return (None, None);
        };
        let quantity = Quantity::Offset { bay: self.bay, valve: index };
        let x = self.values();
        let middle = |condition: usize| self.pack.evaluate(&quantity, condition, &x).middle();
        let Some(read) = middle(self.condition) else { return (None, None) };
        let (mut lower, mut upper): (Option<f64>, Option<f64>) = (None, None);
        for condition in 0..self.pack.conditions.len() {
            let limits = self.limits(quantity, condition);
            let Some(shift) = middle(condition).map(|there| there - read) else { continue };
            if let Some(limit) = limits.0.map(|limit| limit - shift) {
                lower = Some(lower.map_or(limit, |l| l.max(limit)));
            }
            if let Some(limit) = limits.1.map(|limit| limit - shift) {
                upper = Some(upper.map_or(limit, |u| u.min(limit)));
            }
        }
        (lower, upper)
    }
}
