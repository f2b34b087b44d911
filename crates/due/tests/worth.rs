//! What `due` says of the cheapest interval and of the next reading, held against made fleets whose truth is known: how often the band holds
//! the interval that is cheapest in truth, and what fleets gain by the readings that were said to be worth something.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]
#![allow(clippy::print_stdout, reason = "the figures that docs/due.md has, with --nocapture")]

mod made;

use made::common::{policy, push, stream, with};
use made::{DAY, TODAY, Truth, fleet};
use packdrift_due::{DueOptions, DueResult, due};
use packdrift_numerics::normal;
use packdrift_trend::{Costs, Inspections, ModelChoice, Policy, Window, trend};

const LIMITS: (f64, f64) = (0.4, 1.6);
const COSTS: Costs = Costs { planned: 180.0, failure: 2600.0, inspection: Some(0.0) };

/// Fleets of the short form; `PACKDRIFT_FLEETS` asks for more (docs/due.md has the figures of the whole).
fn fleets(short: u64) -> u64 {
    std::env::var("PACKDRIFT_FLEETS").ok().and_then(|n| n.parse().ok()).unwrap_or(short)
}

fn with_costs(windows: Vec<Window>) -> Policy {
    Policy { cost: Some(COSTS), windows, ..policy("contact_offset", Some(LIMITS.0), Some(LIMITS.1), 2000.0) }
}

/// Chance that an engine as new of the made fleets has a valve in the zone by `hours`: of four independent lines from starts N(1, 0.05) with
/// slopes N(4e-5, 2e-5); a line is outside at some time if it is at the start or at the end.
fn truly_entered(hours: f64) -> f64 {
    let n = 400;
    let stay: f64 = (0..n)
        .map(|k| {
            // The starts at the middles of equal slices: all are inside.
            let start = 1.0 + 0.05 * normal::quantile((f64::from(k) + 0.5) / f64::from(n));
            let z = |limit: f64| ((limit - start) / hours.max(1e-9) - 4e-5) / 2e-5;
            (normal::cdf(z(LIMITS.1)) - normal::cdf(z(LIMITS.0))) / f64::from(n)
        })
        .sum();
    1.0 - stay.powi(4)
}

/// The cheapest interval in truth, by the condition's own sum on a fine grid.
fn truly_cheapest() -> f64 {
    let (step, mut life, mut best, mut before) = (10.0, 0.0, (f64::INFINITY, 0.0), 1.0);
    for k in 1..3000 {
        let hours = step * f64::from(k);
        let chance = truly_entered(hours);
        life += 0.5 * step * (before + 1.0 - chance);
        before = 1.0 - chance;
        let rate = (COSTS.planned * (1.0 - chance) + COSTS.failure * chance) / life;
        if rate < best.0 {
            best = (rate, hours);
        }
    }
    best.1
}

#[test]
fn the_band_of_the_cheapest_interval_holds_the_true_one_as_often_as_it_says() {
    let truth = truly_cheapest();
    let (mut held, mut of, mut misses, mut widths) = (0_u32, 0_u32, Vec::new(), 0.0);
    for seed in 0..fleets(30) {
        let (t, _) = fleet(24, 9000 + seed);
        let policy = with_costs(Vec::new());
        let fitted = trend(&t, Some(&policy), &with(ModelChoice::RandomSlope)).unwrap();
        let result = due(&t, &fitted, &policy, &DueOptions::default()).unwrap();
        let interval = &result.intervals[0];
        let best = interval.cheapest.unwrap().hours;
        let (Some(low), Some(high)) = interval.band else { panic!("fleet {seed} has no band: {:?}", interval.band) };
        assert!(low <= high && low > 0.0);
        of += 1;
        widths += (high - low) / truth;
        if (low..=high).contains(&truth) { held += 1 } else { misses.push((low, best, high)) }
    }
    println!("true {truth} h; held {held} of {of}; mean width {:.3} of it; missed {misses:?}", widths / f64::from(of));
    // Nine in ten, at three standard errors of the count.
    let expected = 0.9 * f64::from(of);
    let error = (0.09 * f64::from(of)).sqrt();
    assert!(f64::from(held) > expected - 3.0 * error, "{held} of {of}");
    // A band that holds the truth because it holds everything says nothing.
    assert!(widths / f64::from(of) < 0.6, "{widths}");
}

/// The fleet read once more, on `day`, by hours run in truth.
fn read_again(t: &Inspections, truths: &[Truth], day: i32, seed: u64) -> Inspections {
    let mut s = stream(seed, "read again");
    let mut t = t.clone();
    for (e, truth) in truths.iter().enumerate() {
        let days = f64::from(day - TODAY);
        let run = (truth.hours_a_day * (days + DAY * days.sqrt() * s.normal())).max(0.0);
        let of_engine = |v: &u32| t.valves[*v as usize].0 as usize == e;
        let meter = (0..t.value.len()).filter(|r| of_engine(&t.valve[*r])).map(|r| t.hours[r]).fold(0.0, f64::max);
        for v in 0..4 {
            let value = truth.level[v] + truth.slope[v] * run + 0.02 * s.normal();
            push(&mut t, (4 * e + v) as u32, day, meter + run, value);
        }
    }
    t
}

/// What an engine's job costs on `done`, its first valve entering on `enters`: an hour of life lived saves the long-run rate.
fn cost(done: i32, enters: Option<i32>, hours_a_day: f64, rate: f64) -> f64 {
    let entered = enters.map(|day| TODAY + day).filter(|day| *day < done);
    let lived = hours_a_day * f64::from(entered.unwrap_or(done) - TODAY);
    (if entered.is_some() { COSTS.failure } else { COSTS.planned }) - rate * lived
}

#[test]
fn a_reading_gains_what_it_was_said_to_be_worth() {
    let day = TODAY + 200;
    let (mut said, mut gains) = (Vec::new(), Vec::new());
    for seed in 0..fleets(8) {
        let (t, truths) = fleet(40, 7000 + seed);
        // Room for everybody in every window: a reading's worth is not to hang on the others' places.
        let windows =
            (0..4).map(|k| Window { start: day + 40 + 120 * k, end: day + 50 + 120 * k, engines: 40 }).collect();
        let policy = with_costs(windows);
        let options = DueOptions { today: Some(day), ..DueOptions::default() };
        let planned = |t: &Inspections| -> DueResult {
            let fitted = trend(t, Some(&policy), &with(ModelChoice::RandomSlope)).unwrap();
            due(t, &fitted, &policy, &options).unwrap()
        };
        let (before, after) = (planned(&t), planned(&read_again(&t, &truths, day, seed)));
        let rate = before.intervals[0].cheapest.unwrap().cost / 1e3;
        let mut s = stream(seed, "what becomes of them");
        for (e, truth) in truths.iter().enumerate() {
            let enters = truth.enters(LIMITS, &mut s);
            let name = format!("E{e:03}");
            let of = |plan: &DueResult| plan.engines.iter().find(|x| x.engine == name).unwrap().clone();
            let (first, then) = (of(&before), of(&after));
            let Some(look) = first.look.as_ref().filter(|l| l.day == day && !l.after_work) else { continue };
            let Some(worth) = look.worth else { continue };
            said.push(worth);
            let cost = |done| cost(done, enters, truth.hours_a_day, rate);
            gains.push(cost(first.done) - cost(then.done));
        }
    }
    let n = gains.len() as f64;
    let mean = |all: &[f64]| all.iter().sum::<f64>() / n;
    let (worth, gain) = (mean(&said), mean(&gains));
    let error = (gains.iter().map(|g| (g - gain).powi(2)).sum::<f64>() / (n * (n - 1.0))).sqrt();
    println!("{n} engines: said {worth:.2} each, gained {gain:.2} ± {error:.2}");
    assert!(n > 50.0 && worth > 0.0, "{n} engines, {worth}");
    // The plan that follows a reading also keeps to the rules of places, so that it may gain a little less than the best choice would.
    assert!((gain - worth).abs() < 3.5 * error, "said {worth}, gained {gain} ± {error}");
}
