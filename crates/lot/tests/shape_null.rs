//! False alarms of the shape tests under the exact null hypothesis, with and without an instrument's steps.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first thing that is not there")]

use packdrift_lot::shape::PValueMethod;
use packdrift_lot::{Instrument, LotOptions, LotResult, Readings, study};
use packdrift_numerics::special::beta_tails;
use packdrift_numerics::stream::Key;

const LOTS: usize = 1000;

fn lots(n: usize, step: f64, seed: u64) -> Vec<LotResult> {
    let key = Key::new(seed, "null");
    let mut table = Readings {
        lots: (0..LOTS).map(|l| l.to_string()).collect(),
        parts: (0..n).map(|p| p.to_string()).collect(),
        ..Readings::default()
    };
    for lot in 0..LOTS {
        let mut stream = key.stream(lot as u64);
        // Each lot has its own place on the instrument's scale.
        let mean = 10.0 + stream.uniform();
        for part in 0..n {
            let x = mean + stream.normal();
            table.reading.push(if step > 0.0 { (x / step).round() * step } else { x });
            table.lot.push(lot as u32);
            table.part.push(part as u32);
            table.line.push(1);
        }
    }
    let instrument = Instrument { step: (step > 0.0).then_some(step), ..Instrument::default() };
    study(&table, &LotOptions { instrument, ..LotOptions::default() }).unwrap().lots
}

/// Both tests reject normal parts at the stated level, whatever the step: 1, 5 and 10 % within four binomial standard errors, and
/// never above. From a step of one sd on the estimated sd moves with the statistic and the statistics take few values: the rates then
/// fall short of the level (1.7 % for Shapiro–Wilk at n = 20 and 5 %), which they may; they may not exceed it.
#[test]
fn false_alarms_are_as_stated_for_every_step() {
    for (k, step) in [0.0, 0.02, 0.5, 1.0, 2.0].into_iter().enumerate() {
        for n in [20, 50] {
            let lots = lots(n, step, 100 + k as u64);
            for (name, p_values) in [
                ("Anderson–Darling", lots.iter().map(|l| l.shape.anderson_darling.unwrap()).collect::<Vec<_>>()),
                ("Shapiro–Wilk", lots.iter().map(|l| l.shape.shapiro_wilk.unwrap()).collect::<Vec<_>>()),
            ] {
                assert!(p_values.iter().all(|t| (0.0..=1.0).contains(&t.p_value)));
                let simulated = p_values.iter().all(|t| matches!(t.method, PValueMethod::Simulated { .. }));
                assert_eq!(simulated, step >= 0.5, "{name}, step {step}");
                for level in [0.01, 0.05, 0.10] {
                    let count = p_values.iter().filter(|t| t.p_value <= level).count();
                    // P(at least so many) and P(at most so many) if the level is right, not below 1 in 30 000 (four standard errors).
                    let at_least = if count == 0 {
                        1.0
                    } else {
                        beta_tails(count as f64, (LOTS - count + 1) as f64, level, 1.0 - level).lower
                    };
                    let at_most = beta_tails(count as f64 + 1.0, (LOTS - count) as f64, level, 1.0 - level).upper;
                    assert!(at_least > 3e-5, "{name}, n {n}, step {step}: {count} of {LOTS} at {level}");
                    if step < 1.0 {
                        assert!(at_most > 3e-5, "{name}, n {n}, step {step}: only {count} of {LOTS} at {level}");
                    }
                }
            }
        }
    }
}

/// Ignoring the steps would raise false alarms: the reason for the simulation. And a step is found when it is not stated.
#[test]
fn ties_alone_do_not_make_a_lot_look_odd() {
    let lots = lots(50, 0.5, 200);
    let naive = lots
        .iter()
        .filter(|l| {
            let sorted = l.sorted_values();
            let w = packdrift_lot::shape::ShapiroWilk::new(50).unwrap();
            w.p_value(w.statistic(&sorted)) < 0.05
        })
        .count();
    let ours = lots.iter().filter(|l| l.shape.shapiro_wilk.unwrap().p_value < 0.05).count();
    assert!(naive > 2 * ours, "naive {naive}, with the step {ours}");
    let found = packdrift_lot::shape::Resolution::find(&lots[0].sorted_values());
    assert_eq!(found.step(), Some(0.5));
}

/// Skew and heavy-tailed lots are seen through coarse steps too.
#[test]
fn the_tests_keep_their_power_through_the_steps() {
    let key = Key::new(3, "power");
    let mut table = Readings {
        lots: (0..200).map(|l| l.to_string()).collect(),
        parts: (0..60).map(|p| p.to_string()).collect(),
        ..Readings::default()
    };
    for lot in 0..200_u32 {
        let mut stream = key.stream(u64::from(lot));
        for part in 0..60_u32 {
            let x = 10.0 - stream.uniform().ln();
            table.reading.push((x / 0.5).round() * 0.5);
            table.lot.push(lot);
            table.part.push(part);
            table.line.push(1);
        }
    }
    let result = study(&table, &LotOptions::default()).unwrap();
    let seen = result.lots.iter().filter(|l| l.shape.contradicts_normal()).count();
    assert!(seen > 170, "{seen} of 200");
}
