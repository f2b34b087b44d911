//! Held against published degradation data and against a made fleet.

#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    reason = "a test prints what it found, and stops at the first surprise"
)]

use super::lattice::{Lattice, Params};
use crate::crossing::Zone;
use crate::crossing::wear::WearPoint;
use crate::decisions::{HORIZON, policy, table};
use crate::inspections::Inspections;
use crate::integrated::made::{Made, Truth, fleet};
use crate::options::{ModelChoice, Options};
use crate::policy::Policy;
use crate::run::trend;

/// The lasers, unit by unit.
fn lasers() -> Vec<(Vec<f64>, Vec<f64>)> {
    let mut units: Vec<(String, Vec<f64>, Vec<f64>)> = Vec::new();
    for line in include_str!("../../../tests/data/lasers.csv").lines().skip(2) {
        let cells: Vec<&str> = line.split(',').collect();
        if units.last().map(|u| u.0.as_str()) != Some(cells[0]) {
            units.push((cells[0].into(), vec![], vec![]));
        }
        let unit = units.last_mut().unwrap();
        unit.1.push(cells[1].parse().unwrap());
        unit.2.push(cells[2].parse().unwrap());
    }
    units.into_iter().map(|u| (u.1, u.2)).collect()
}

const SHAPE: f64 = 0.0287835786;
const SCALE: f64 = 0.0708010179;

/// Likelihood of the lasers with a reading error so small that the closed form without one is the limit, start known to be 0.
fn laser_likelihood(shape: f64, scale: f64) -> f64 {
    let sigma = 0.004;
    let p = Params { shape: vec![shape], scale, sigma, df: None, cv: 0.0, start: 0.0, start_sd: 1e-9 };
    let step = super::lattice::step(sigma);
    // The first reading is 0 in every unit: its density is taken off.
    let of = |hours: &[f64], value: &[f64]| Lattice::single(0, hours, value, step, false).log_likelihood(&p);
    let first = of(&[0.0], &[0.0]);
    lasers().iter().map(|(h, y)| of(h, y) - first).sum()
}

/// 240 increments over 250 h, all units pooled: log-likelihood 69.6351774 at the maximum (numpy and scipy, independently).
#[test]
fn laser_likelihood_is_the_closed_form_of_a_small_reading_error() {
    let top = laser_likelihood(SHAPE, SCALE);
    // A reading error of 0.004 beside increments that scatter by 0.19 costs 240·(0.004/0.19)² ≈ 0.1 at the most.
    assert!((top - 69.6351774).abs() < 0.1, "{top}");
    // And these parameters are its maximum: the slopes vanish beside the curvature (se of ln a is about 0.09).
    for (a, b) in [(1.05, 1.0), (1.0 / 1.05, 1.0), (1.0, 1.05), (1.0, 1.0 / 1.05)] {
        assert!(laser_likelihood(SHAPE * a, SCALE * b) < top, "{a} {b}");
    }
}

/// First passage of 10 % by the fitted gamma process: P(T ≤ 4000) and P(T ≤ 5000), scipy.
#[test]
fn laser_first_passage() {
    let w = WearPoint { atoms: vec![(1.0, 0.0, SHAPE)], scale: SCALE, sigma: 0.0, df: None, sign: 1.0, lag: 0.0 };
    let zone = Zone { lower: None, upper: Some(10.0) };
    for (hours, expected) in [(4000.0, 0.01070408), (5000.0, 0.57797313)] {
        assert!((w.chance_within(zone, hours) - expected).abs() < 1e-7);
    }
    // Upside down it is the same.
    let w = WearPoint { sign: -1.0, ..w };
    let zone = Zone { lower: Some(-10.0), upper: None };
    assert!((w.chance_within(zone, 4000.0) - 0.01070408).abs() < 1e-7);
    assert!((w.at(1000.0).0 + 1000.0 * SHAPE * SCALE).abs() < 1e-12);
}

/// Chance of every valve by its name, in the order of the names.
fn chances(t: &Inspections, policy: &Policy, model: ModelChoice) -> Vec<(String, f64)> {
    let options = Options { model, ..Options::default() };
    let mut out: Vec<(String, f64)> = trend(t, Some(policy), &options).unwrap().features[0]
        .valves
        .iter()
        .map(|v| (format!("{}/{}", v.engine, v.valve), v.chance_by_horizon.unwrap()))
        .collect();
    out.sort_by(|a, b| a.0.cmp(&b.0));
    out
}

fn apart(a: &[(String, f64)], b: &[(String, f64)]) -> f64 {
    assert!(a.iter().zip(b).all(|(a, b)| a.0 == b.0));
    a.iter().zip(b).map(|(a, b)| (a.1 - b.1).abs()).fold(0.0, f64::max)
}

/// The rows backwards, names in the order in which they then appear.
fn backwards(t: &Inspections) -> Inspections {
    let mut out = Inspections { features: t.features.clone(), ..Inspections::default() };
    for r in (0..t.value.len()).rev() {
        let (engine, valve) = &t.valves[t.valve[r] as usize];
        let engine = &t.engines[*engine as usize];
        let e = out.engines.iter().position(|n| n == engine).unwrap_or_else(|| {
            out.engines.push(engine.clone());
            out.engines.len() - 1
        }) as u32;
        let v = out.valves.iter().position(|v| *v == (e, valve.clone())).unwrap_or_else(|| {
            out.valves.push((e, valve.clone()));
            out.valves.len() - 1
        });
        out.valve.push(v as u32);
        out.day.push(t.day[r]);
        out.hours.push(t.hours[r]);
        out.feature.push(0);
        out.value.push(t.value[r]);
        out.event.push(0);
        out.group.push(0);
    }
    out
}

/// Units and the order of rows are nothing of the wear's, and a micrometre is nothing of a reading's.
#[test]
fn neither_units_nor_order_nor_a_micrometre_moves_a_chance() {
    for model in [ModelChoice::Gamma, ModelChoice::Auto] {
        for number in 0..2 {
            let made: Made = fleet(Truth::Gamma, 8, 6, number);
            let (t, p) = (table(&made), policy());
            let base = chances(&t, &p, model);
            let order = apart(&base, &chances(&backwards(&t), &p, model));
            let mut scaled = t.clone();
            scaled.hours.iter_mut().for_each(|h| *h *= 1000.0);
            let far = Policy { horizon: 1000.0 * HORIZON, ..p.clone() };
            let hours = apart(&base, &chances(&scaled, &far, model));
            let mut scaled = t.clone();
            scaled.value.iter_mut().for_each(|v| *v *= 1000.0);
            let mut thousandths = p.clone();
            let limits = thousandths.features.get_mut("contact_offset").unwrap();
            for x in [&mut limits.lower, &mut limits.upper, &mut limits.reading_sd].into_iter().flatten() {
                *x *= 1000.0;
            }
            let values = apart(&base, &chances(&scaled, &thousandths, model));
            let mut moved = t.clone();
            moved.value[13] += 0.001;
            let nudged = apart(&base, &chances(&moved, &p, model));
            println!(
                "{model:?} {number}: order {order:.1e}, hours {hours:.1e}, values {values:.1e}, 0.001 mm {nudged:.4}"
            );
            assert!(order < 1e-6 && hours < 0.005 && values < 0.005 && nudged < 0.02);
        }
    }
}
