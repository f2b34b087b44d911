//! Held against brute simulation, and against closed forms that the code does not use.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use super::line::{chance_from, tails};
use super::*;
use crate::kernel::Outlook;
use packdrift_numerics::stream::Key;

fn chance_within(o: &Outlook, zone: Zone, hours: f64) -> f64 {
    chance_from(o, zone, tails(o.level, o.level_var, zone), hours)
}

fn outlook(level: f64, slope: f64, sds: (f64, f64), corr: f64, wander: f64) -> Outlook {
    Outlook {
        level,
        slope,
        level_var: sds.0 * sds.0,
        slope_var: sds.1 * sds.1,
        cov: corr * sds.0 * sds.1,
        wander_var: wander * wander,
        reading_var: 0.0,
        now: 0.0,
    }
}

/// Paths drawn one by one. Between steps the chance of a hidden excursion past a limit is a Brownian bridge's, e^{−2ab/σ²Δ}.
fn simulate(o: &Outlook, zone: Zone, hours: f64, paths: usize) -> (f64, f64) {
    let mut stream = Key::new(7, "crossing test").stream(0);
    let mut normal = || packdrift_numerics::normal::quantile(stream.uniform());
    let steps = 60;
    let dt = hours / f64::from(steps);
    let (s0, s1) = (o.level_var.sqrt(), o.slope_var.sqrt());
    let r = if s0 > 0.0 && s1 > 0.0 { o.cov / (s0 * s1) } else { 0.0 };
    let mut hits = 0.0;
    for _ in 0..paths {
        let (a, b) = (normal(), normal());
        let mut x = o.level + s0 * a;
        let v = o.slope + s1 * (r * a + (1.0 - r * r).sqrt() * b);
        let out = |x: f64| zone.lower.is_some_and(|l| x < l) || zone.upper.is_some_and(|u| x > u);
        let mut stay = if out(x) { 0.0 } else { 1.0 };
        for _ in 0..steps {
            if stay <= 0.0 {
                break;
            }
            let next = x + v * dt + (o.wander_var * dt).sqrt() * normal();
            if out(next) {
                stay = 0.0;
            } else if o.wander_var > 0.0 {
                for (limit, side) in [(zone.lower, 1.0), (zone.upper, -1.0)] {
                    if let Some(l) = limit {
                        stay *= 1.0 - (-2.0 * side * (x - l) * side * (next - l) / (o.wander_var * dt)).exp();
                    }
                }
            }
            x = next;
        }
        hits += 1.0 - stay;
    }
    let p = hits / paths as f64;
    (p, (p * (1.0 - p) / paths as f64).sqrt())
}

#[test]
fn chances_agree_with_simulated_paths() {
    let both = Zone { lower: Some(0.4), upper: Some(1.6) };
    let upper = Zone { lower: None, upper: Some(1.6) };
    let lower = Zone { lower: Some(0.4), upper: None };
    let cases = [
        (outlook(1.3, 1e-4, (0.05, 3e-5), 0.5, 0.0), both, 2500.0),
        (outlook(1.45, 5e-5, (0.1, 8e-5), -0.6, 0.0), both, 2000.0),
        (outlook(1.0, 0.0, (0.3, 3e-4), 0.3, 0.0), both, 2000.0),
        (outlook(0.6, -5e-5, (0.1, 5e-5), 0.2, 0.0), lower, 2000.0),
        (outlook(1.3, 1e-4, (0.05, 3e-5), 0.5, 3e-3), both, 2500.0),
        (outlook(1.0, 0.0, (0.05, 1e-4), 0.0, 1.5e-2), both, 2000.0),
        (outlook(1.5, -2e-5, (0.05, 3e-5), -0.3, 4e-3), upper, 1500.0),
        (outlook(0.5, 1e-5, (0.02, 1e-5), 0.0, 2e-3), lower, 1500.0),
        (outlook(1.3, 1e-4, (0.0, 0.0), 0.0, 5e-3), both, 2000.0),
    ];
    for (i, (o, zone, hours)) in cases.into_iter().enumerate() {
        let p = chance_within(&o, zone, hours);
        let (q, se) = simulate(&o, zone, hours, 20_000);
        assert!((p - q).abs() < 4.0 * se + 1e-4, "case {i}: {p} against {q} ± {se}");
    }
}

#[test]
fn a_vanishing_wander_is_the_straight_line() {
    let zone = Zone { lower: Some(0.4), upper: Some(1.6) };
    for (level, slope) in [(1.3, 1e-4), (1.0, -2e-4), (1.58, -1e-5)] {
        let line = outlook(level, slope, (0.05, 4e-5), 0.4, 0.0);
        let nearly = outlook(level, slope, (0.05, 4e-5), 0.4, 1e-6);
        let (p, q) = (chance_within(&line, zone, 2500.0), chance_within(&nearly, zone, 2500.0));
        // The wander is 5e-5 mm over the horizon beside a scatter of 0.1 mm.
        assert!((p - q).abs() < 1e-3, "{p} against {q}");
    }
}

#[test]
fn quantiles_undo_the_chance_and_none_means_never() {
    let both = Zone { lower: Some(0.4), upper: Some(1.6) };
    for wander in [0.0, 2e-3] {
        let p = Prospect {
            outlooks: vec![outlook(1.2, 6e-5, (0.02, 1e-5), 0.3, wander)],
            zone: both,
            ..Prospect::default()
        };
        for q in [0.05, 0.5, 0.95] {
            let h = p.hours_to(q).unwrap();
            assert!((p.chance_within(h) - q).abs() < 1e-7, "{q} at {h}");
        }
        let away = Prospect {
            outlooks: vec![outlook(1.2, -6e-5, (0.02, 1e-5), 0.3, wander)],
            zone: Zone { lower: None, upper: Some(1.6) },
            ..Prospect::default()
        };
        assert_eq!(away.hours_to(0.5), None);
        assert!(away.chance_ever() < 0.05);
    }
}

#[test]
fn already_outside_is_zero_hours_ahead() {
    let p = Prospect {
        outlooks: vec![outlook(1.7, 6e-5, (0.02, 1e-5), 0.0, 0.0)],
        zone: Zone { lower: None, upper: Some(1.6) },
        ..Prospect::default()
    };
    assert_eq!(p.hours_to(0.5), Some(0.0));
    assert!(p.chance_now() > 0.999);
}

#[test]
fn inverse_gaussian_quantiles_with_a_known_drift() {
    // scipy's invgauss for (distance 0.35, drift 0.01, sd 0.02).
    let p = Prospect {
        outlooks: vec![outlook(0.0, 0.01, (0.0, 0.0), 0.0, 0.02)],
        zone: Zone { lower: None, upper: Some(0.35) },
        ..Prospect::default()
    };
    for (q, hours) in [(0.1, 21.7088185), (0.5, 33.1231635), (0.9, 50.6953396)] {
        assert!((p.hours_to(q).unwrap() - hours).abs() < 1e-6);
    }
}

#[test]
fn laser_lifetimes_by_the_wiener_process() {
    // GaAs lasers (W. Meeker, L. Escobar, Statistical Methods for Reliability Data, 1998, table C.17), Wiener process with a common
    // drift fitted to the 240 increments: first passage of 10 %.
    let p = Prospect {
        outlooks: vec![outlook(0.0, 0.002037906667, (0.0, 0.0), 0.0, 0.000160267294_f64.sqrt())],
        zone: Zone { lower: None, upper: Some(10.0) },
        ..Prospect::default()
    };
    for (q, hours) in [(0.1, 4363.487), (0.5, 4887.789), (0.9, 5475.181)] {
        assert!((p.hours_to(q).unwrap() - hours).abs() < 2e-3);
    }
    assert!((p.chance_within(4000.0) - 0.01170737).abs() < 1e-8);
    assert!((p.chance_within(5000.0) - 0.60110299).abs() < 1e-8);
}

/// At one hour the covariance is the variance; between two it is that of simulated paths, lines and gamma processes alike.
#[test]
fn covariances_are_those_of_simulated_paths() {
    let mut s = Key::new(9, "covariance").stream(0);
    let o = outlook(1.1, 4e-5, (0.04, 8e-6), -0.3, 6e-4);
    let other = outlook(1.2, 2e-5, (0.03, 8e-6), 0.2, 2e-4);
    let lines = Prospect { outlooks: vec![o, other], ..Prospect::default() };
    let (a, b) = (900.0, 2600.0);
    for h in [0.0, a, b] {
        assert!((lines.covariance(h, h) / lines.value_at(h).1.powi(2) - 1.0).abs() < 1e-9);
    }
    assert_eq!(lines.covariance(a, b).to_bits(), lines.covariance(b, a).to_bits());
    let paths = 40_000;
    let pairs: Vec<(f64, f64)> = (0..paths)
        .map(|k| {
            let o = lines.outlooks[k % 2];
            let (u, v) = (s.normal(), s.normal());
            let r = o.cov / (o.level_var * o.slope_var).sqrt();
            let slope = o.slope + o.slope_var.sqrt() * (r * u + (1.0 - r * r).sqrt() * v);
            let start = o.level + o.level_var.sqrt() * u;
            let first = (o.wander_var * a).sqrt() * s.normal();
            let then = first + (o.wander_var * (b - a)).sqrt() * s.normal();
            (start + slope * a + first, start + slope * b + then)
        })
        .collect();
    held(&pairs, lines.covariance(a, b));
    let wear = crate::crossing::wear::WearPoint {
        atoms: vec![(0.4, 0.1, 2e-3), (0.6, 0.2, 4e-3)],
        scale: 0.02,
        sigma: 0.01,
        df: None,
        sign: -1.0,
        lag: 0.0,
    };
    let gamma = Prospect { wear: vec![wear], ..Prospect::default() };
    assert!((gamma.covariance(b, b) / gamma.value_at(b).1.powi(2) - 1.0).abs() < 1e-9);
    // A gamma variate with a whole shape is a sum of exponentials: shapes 2·a and 4·a per 1000 h are 2, 4 at a = 1000 h.
    let mut exponential = |n: usize| (0..n).map(|_| -0.02 * (1.0 - s.uniform()).ln()).sum::<f64>();
    let pairs: Vec<(f64, f64)> = (0..paths)
        .map(|k| {
            let (depth, n) = if k % 5 < 2 { (0.1, 2) } else { (0.2, 4) };
            let first = depth + exponential(n);
            (-first, -(first + exponential(n)))
        })
        .collect();
    held(&pairs, gamma.covariance(1000.0, 2000.0));
}

/// The sample covariance within four of its standard errors.
fn held(pairs: &[(f64, f64)], covariance: f64) {
    let n = pairs.len() as f64;
    let (a, b) = (pairs.iter().map(|p| p.0).sum::<f64>() / n, pairs.iter().map(|p| p.1).sum::<f64>() / n);
    let products: Vec<f64> = pairs.iter().map(|p| (p.0 - a) * (p.1 - b)).collect();
    let found = products.iter().sum::<f64>() / n;
    let error = (products.iter().map(|p| (p - found).powi(2)).sum::<f64>() / n / n).sqrt();
    assert!((found - covariance).abs() < 4.0 * error, "{found} ± {error}, {covariance}");
}

/// A prospect of nothing computed has no chance to tell: not a number, which no verdict takes for safe.
#[test]
fn an_empty_prospect_is_no_number() {
    let empty = Prospect { zone: Zone { lower: None, upper: Some(1.0) }, scramblings: 8, ..Prospect::default() };
    assert!(empty.chance_within(100.0).is_nan() && empty.chance_with_error(100.0).0.is_nan());
}
