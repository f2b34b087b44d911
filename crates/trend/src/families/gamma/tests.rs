//! Held against published degradation data and against a made fleet.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use super::lattice::{Lattice, Params};
use crate::crossing::Zone;
use crate::crossing::wear::WearPoint;

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
