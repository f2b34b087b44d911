//! How often the word of the whole of `trend` comes true: made tables through every stage, to each valve's verdict.
//!
//! `cargo test -p packdrift-trend --lib decisions -- --nocapture` runs the short form. With `--release` the whole takes minutes in place of hours:
//! `PACKDRIFT_DECISIONS=whole/N cargo test --release -p packdrift-trend --lib decisions::the_word -- --nocapture` runs all sizes and truths with N valves a
//! cell (one fleet at the least), `PACKDRIFT_DECISIONS=VALVES/READINGS/FLEETS/TRUTH` a cell (`all` for every truth); `PACKDRIFT_STATED=none` leaves the reading
//! error unstated. `PACKDRIFT_STILL=VALVES/READINGS/FLEETS/TRUTH` asks how far another seed, or 0.001 mm in one reading, moves a chance.
//! docs/small-fleets.md has the figures.
#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    reason = "a study prints its table, and stops at the first surprise"
)]

use crate::crossing::CrossingHours;
use crate::inspections::Inspections;
use crate::integrated::made::{ALL, Made, READING, Truth, ZONE, fleet};
use crate::options::Options;
use crate::policy::{FeatureLimits, Policy};
use crate::result::FeatureResult;
use crate::run::trend;
use crate::verdict::{Assumption, Status};

pub(crate) const HORIZON: f64 = 2000.0;
const RISK: f64 = 0.05;
const SIZES: [usize; 6] = [1, 2, 4, 8, 12, 32];
const LOOKS: [usize; 4] = [3, 4, 5, 8];

/// The table that a workshop would have of a made fleet: all engines looked at on the same days.
pub(crate) fn table(made: &Made) -> Inspections {
    let mut t = Inspections { features: vec!["contact_offset".into()], ..Inspections::default() };
    for (v, history) in (0..).zip(&made.histories) {
        if history.engine as usize == t.engines.len() {
            t.engines.push(format!("E{}", history.engine + 1));
        }
        t.valves.push((history.engine, format!("{}", v % 4 + 1)));
        for reading in &history.readings {
            t.valve.push(v);
            // A look repeated without running stands on the days after it.
            let repeats =
                history.readings.iter().filter(|r| r.hours == reading.hours && r.visit < reading.visit).count();
            t.day.push((reading.hours / 6.0).round() as i32 + repeats as i32);
            t.hours.push(reading.hours);
            t.feature.push(0);
            t.value.push(reading.value);
            t.event.push(0);
            t.group.push(0);
        }
    }
    t
}

pub(crate) fn policy() -> Policy {
    let stated = std::env::var("PACKDRIFT_STATED").map_or(Some(READING), |s| s.parse().ok());
    let limits = FeatureLimits { unit: "mm".into(), lower: ZONE.lower, upper: ZONE.upper, reading_sd: stated };
    Policy { risk: RISK, horizon: HORIZON, features: [("contact_offset".into(), limits)].into(), ..Policy::default() }
}

fn judged(made: &Made, options: &Options) -> FeatureResult {
    trend(&table(made), Some(&policy()), options).unwrap().features.remove(0)
}

/// What became of the word over fleets of one kind.
#[derive(Debug, Clone, Copy, Default)]
struct Count {
    fleets: usize,
    valves: f64,
    /// True level within 1.96 standard errors; hours of the crossing within the 50 and the 90 % interval.
    level: f64,
    half: f64,
    ninety: f64,
    /// By the horizon.
    expected: f64,
    crossed: f64,
    /// Truly in the zone at the last look, and called in window.
    in_zone: f64,
    in_zone_safe: f64,
    /// Called in window; crossed by the horizon, and how many by their chances.
    safe: f64,
    safe_crossed: f64,
    safe_expected: f64,
    /// Neither reassured nor told that it is due.
    open: f64,
    /// Called due or overdue, and not crossed by the horizon.
    adverse: f64,
    adverse_crossed: f64,
    seconds: f64,
}

fn one(is: bool) -> f64 {
    f64::from(u8::from(is))
}

impl Count {
    fn of(made: &Made) -> Self {
        let clock = std::time::Instant::now();
        let result = judged(made, &Options::default());
        Self { seconds: clock.elapsed().as_secs_f64(), ..Self::told(made, &result) }
    }

    /// What a result says, against what became of the fleet.
    fn told(made: &Made, result: &FeatureResult) -> Self {
        let mut out = Self { fleets: 1, ..Self::default() };
        for v in &result.valves {
            let (level, leaves) = (made.level[v.valve_index as usize], made.leaves[v.valve_index as usize]);
            let (status, chance) = (v.status.unwrap(), v.chance_by_horizon.unwrap_or(f64::NAN));
            let [early, late] = [0.25, 0.75].map(|p| v.prospect.hours_to(p).unwrap_or(f64::INFINITY));
            let crossed = one(leaves <= HORIZON);
            out.valves += 1.0;
            out.level += one((v.level - level).abs() < 1.96 * v.level_se);
            out.half += one((early <= leaves || leaves == 0.0 && early <= 0.0) && leaves <= late);
            let CrossingHours { p05, p95, .. } = v.crossing_hours;
            let [low, high] = [p05, p95].map(|h| h.map_or(f64::INFINITY, |h| h - v.hours));
            out.ninety += one((low <= leaves || leaves == 0.0 && low <= 1e-6) && leaves <= high);
            out.expected += chance;
            out.crossed += crossed;
            let safe = one(status == Status::InWindow);
            let adverse = one(status >= Status::Due);
            out.safe += safe;
            out.safe_crossed += safe * crossed;
            out.safe_expected += safe * chance;
            out.in_zone += one(leaves == 0.0);
            out.in_zone_safe += safe * one(leaves == 0.0);
            out.adverse += adverse;
            out.adverse_crossed += adverse * crossed;
            out.open += 1.0 - safe - adverse;
        }
        out
    }

    fn add(&mut self, o: &Self) {
        self.fleets += o.fleets;
        for (a, b) in [
            (&mut self.valves, o.valves),
            (&mut self.level, o.level),
            (&mut self.half, o.half),
            (&mut self.ninety, o.ninety),
            (&mut self.expected, o.expected),
            (&mut self.crossed, o.crossed),
            (&mut self.in_zone, o.in_zone),
            (&mut self.in_zone_safe, o.in_zone_safe),
            (&mut self.safe, o.safe),
            (&mut self.safe_crossed, o.safe_crossed),
            (&mut self.safe_expected, o.safe_expected),
            (&mut self.open, o.open),
            (&mut self.adverse, o.adverse),
            (&mut self.adverse_crossed, o.adverse_crossed),
            (&mut self.seconds, o.seconds),
        ] {
            *a += b;
        }
    }

    fn print(&self, title: &str) {
        let p = |x: f64| 100.0 * x / self.valves;
        println!(
            "{title:<26} {:>4} fl {:>5.0} v | level {:>5.1} 50%: {:>5.1} 90%: {:>5.1} | crossed {:>4.0} exp {:>6.1} | in zone {:>4.0} \
             safe {:>2.0} | safe {:>4.0} crossed {:>2.0} exp {:>5.2} | open {:>4.0} | due {:>4.0} crossed {:>4.0} | {:>5.0} ms",
            self.fleets,
            self.valves,
            p(self.level),
            p(self.half),
            p(self.ninety),
            self.crossed,
            self.expected,
            self.in_zone,
            self.in_zone_safe,
            self.safe,
            self.safe_crossed,
            self.safe_expected,
            self.open,
            self.adverse,
            self.adverse_crossed,
            1000.0 * self.seconds / self.fleets as f64,
        );
    }
}

/// Fleets of one size and truth.
fn cell(truth: Truth, valves: usize, looks: usize, fleets: usize) -> Count {
    let mut out = Count::default();
    (0..fleets).for_each(|number| out.add(&Count::of(&fleet(truth, valves, looks, number as u64))));
    out.print(&format!("{truth:?} {valves}×{looks}"));
    out
}

/// Every size and truth with some valves a cell, and sums by size and by truth.
fn whole(valves_a_cell: usize) {
    let mut by_truth = [Count::default(); ALL.len()];
    for looks in LOOKS {
        for valves in SIZES {
            let mut by_size = Count::default();
            for (truth, sum) in ALL.into_iter().zip(&mut by_truth) {
                let count = cell(truth, valves, looks, (valves_a_cell / valves).max(1));
                by_size.add(&count);
                sum.add(&count);
            }
            by_size.print(&format!("all {valves}×{looks}"));
        }
    }
    for (truth, sum) in ALL.into_iter().zip(&by_truth) {
        sum.print(&format!("{truth:?} all sizes"));
    }
}

/// `VALVES/READINGS/FLEETS/TRUTH`.
fn wish(text: &str) -> Option<(usize, usize, usize, Vec<Truth>)> {
    let [valves, looks, fleets, name] = text.split('/').collect::<Vec<_>>()[..] else { return None };
    let truths = ALL.into_iter().filter(|t| name == "all" || format!("{t:?}").starts_with(name)).collect();
    Some((valves.parse().ok()?, looks.parse().ok()?, fleets.parse().ok()?, truths))
}

/// Chance that a Poisson count of this mean is `count` or more.
fn at_least(count: f64, mean: f64) -> f64 {
    let (mut term, mut below) = ((-mean).exp(), 0.0);
    for k in 0..count as usize {
        below += term;
        term *= mean / (k + 1) as f64;
    }
    1.0 - below
}

#[test]
fn the_word_comes_true() {
    let asked = std::env::var("PACKDRIFT_DECISIONS").unwrap_or_default();
    if let Some(valves) = asked.strip_prefix("whole/") {
        return whole(valves.parse().unwrap());
    }
    if let Some((valves, looks, fleets, truths)) = wish(&asked) {
        let mut sum = Count::default();
        truths.into_iter().for_each(|truth| sum.add(&cell(truth, valves, looks, fleets)));
        return sum.print("all");
    }
    let (mut sum, mut read_again) = (Count::default(), Count::default());
    for truth in ALL {
        // Where several looks were wrong the figures stay as believed, and the word is to read again: the word counts, the figures are not vouched for.
        let several = matches!(truth, Truth::LastLooksLow(_) | Truth::LowLookRepeated);
        let into = if several { &mut read_again } else { &mut sum };
        for (valves, looks, fleets) in [(1, 3, 2), (2, 8, 1), (4, 4, 2), (8, 5, 1)] {
            into.add(&cell(truth, valves, looks, fleets));
        }
    }
    sum.print("all");
    assert!(read_again.in_zone_safe <= 0.02 * read_again.in_zone);
    assert!(at_least(read_again.safe_crossed, read_again.safe_expected) > 1e-3);
    // Of valves truly in the zone below 2 % are called in window.
    assert!(sum.in_zone > 20.0 && sum.in_zone_safe <= 0.02 * sum.in_zone);
    // What is called in window crosses no more often than its chances say, as far as so few tell.
    assert!(at_least(sum.safe_crossed, sum.safe_expected) > 1e-3);
    // Some 180 valves of 54 fleets.
    assert!(sum.level > 0.88 * sum.valves && sum.ninety > 0.82 * sum.valves);
    assert!((sum.expected - sum.crossed).abs() < 4.0 * sum.crossed.sqrt());
    // And it does say something.
    assert!(sum.safe > 0.1 * sum.valves && sum.open < 0.5 * sum.valves);
}

/// An instrument that read low twice makes nobody safe, whether the fleet says so as a shift or as a day before that read high.
#[test]
fn two_low_looks_reassure_nobody() {
    let (mut sum, mut said) = (Count::default(), 0);
    let without_both = |v: &&crate::result::ValveForecast| {
        let answers = v.verdict.as_ref().map(crate::verdict::ValveVerdict::answers).unwrap_or_default();
        answers.iter().any(|a| matches!(a.assuming, Assumption::LooksLeftOut { .. }))
    };
    for (valves, looks, fleets) in [(4, 5, 3), (12, 5, 1)] {
        for number in 0..fleets {
            let made = fleet(Truth::LastLooksLow(2), valves, looks, number);
            let result = judged(&made, &Options::default());
            sum.add(&Count::told(&made, &result));
            said += result.valves.iter().filter(without_both).count();
        }
    }
    assert!(said > 0 && sum.crossed > 0.0);
    assert_eq!((sum.safe_crossed, sum.in_zone_safe), (0.0, 0.0));
}

/// Largest move of any chance: with another seed, and with one reading moved by 0.001 mm.
fn moves(truth: Truth, valves: usize, looks: usize, number: usize) -> [f64; 2] {
    let made = fleet(truth, valves, looks, number as u64);
    let chances = |made: &Made, seed: u64| -> Vec<f64> {
        let result = judged(made, &Options { seed, ..Options::default() });
        result.valves.iter().map(|v| v.chance_by_horizon.unwrap()).collect()
    };
    let base = chances(&made, 1);
    let apart = |other: Vec<f64>| base.iter().zip(other).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    let mut nudged = made.clone();
    nudged.histories[number % valves].readings[number / valves % looks].value += 0.001;
    [apart(chances(&made, 2)), apart(chances(&nudged, 1))]
}

/// No chance moves by more than 0.02 in 99 of 100 fleets of twelve valves.
#[test]
fn neither_seed_nor_a_micrometre_moves_a_chance() {
    let asked = std::env::var("PACKDRIFT_STILL").ok().and_then(|text| wish(&text));
    let short = (12, 4, 1, vec![Truth::Straight, Truth::Gamma, Truth::Exponential]);
    let (valves, looks, fleets, truths) = asked.unwrap_or(short);
    let mut beyond = 0;
    let mut all = 0;
    for truth in truths {
        let mut found: Vec<[f64; 2]> = (0..fleets).map(|number| moves(truth, valves, looks, number)).collect();
        beyond += found.iter().filter(|m| m.iter().any(|m| *m > 0.02)).count();
        all += found.len();
        for (k, what) in ["seed", "0.001 mm"].into_iter().enumerate() {
            found.sort_by(|a, b| a[k].total_cmp(&b[k]));
            let at = |share: f64| found[((found.len() - 1) as f64 * share) as usize][k];
            let many = found.iter().filter(|m| m[k] > 0.02).count();
            println!(
                "{truth:?} {valves}×{looks} {what:<9} median {:.4} 90 % {:.4} largest {:.4}, {many} of {} above 0.02",
                at(0.5),
                at(0.9),
                at(1.0),
                found.len()
            );
        }
    }
    assert!(beyond as f64 <= 0.01 * all as f64, "{beyond} of {all} fleets");
}
