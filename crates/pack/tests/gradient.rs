//! Partial derivatives against difference quotients, over random bays.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

mod support;

use packdrift_pack::{Outcome, Quantity};
use proptest::prelude::*;
use support::Bench;
use support::random::bay;

/// Central difference quotient by Richardson's extrapolation from two steps; None near a corner, where the two disagree.
fn quotient(bench: &Bench, quantity: &Quantity, condition: usize, k: usize) -> Option<(f64, f64)> {
    let value = |x: f64| {
        let mut moved = bench.x.clone();
        moved[k] = x;
        bench.pack.evaluate(quantity, condition, &moved).middle()
    };
    let at = bench.x[k];
    let half = |step: f64| Some((value(at + step)? - value(at - step)?) / (2.0 * step));
    // Well above the rounding of a sum of 50 mm, well below the scale of any curve.
    let step = 1e-6 * at.abs() + 5e-6;
    let (coarse, fine) = (half(2.0 * step)?, half(step)?);
    let (extrapolated, error) = (fine + (fine - coarse) / 3.0, (fine - coarse).abs());
    Some((extrapolated, error))
}

/// Whether the state of the bay (loose, loaded, which washers are flat, the branch of each) is the same on both sides.
fn far_from_corners(bench: &Bench, condition: usize) -> bool {
    let Ok(equilibrium) = bench.pack.equilibrium(0, condition, &bench.x) else { return false };
    let room = equilibrium.springs.iter().map(|spring| spring.room).sum::<f64>();
    equilibrium.interference.abs() > 0.02
        && (equilibrium.springs.is_empty() || equilibrium.interference < room - 0.02)
        && equilibrium.springs.iter().all(|spring| spring.flat || spring.deflection < spring.room - 0.02)
}

proptest! {
    #![proptest_config(support::cases(300))]

    #[test]
    fn partial_derivatives_are_the_slopes(spec in bay(1.3, -0.3..0.97), condition in 0_usize..2) {
        let bench = spec.build();
        prop_assume!(far_from_corners(&bench, condition));
        for quantity in bench.quantities() {
            let mut gradient = vec![f64::NAN; bench.x.len()];
            let value = bench.pack.gradient(&quantity, condition, &bench.x, &mut gradient);
            let expected = bench.pack.evaluate(&quantity, condition, &bench.x).middle();
            prop_assert_eq!(value.is_some(), expected.is_some());
            let (Some(value), Some(expected)) = (value, expected) else { continue };
            prop_assert!((value - expected).abs() <= 1e-12 * expected.abs().max(1.0), "{:?}: {} is not {}", quantity, value, expected);
            // What the slopes are measured by: the largest share of the value that a dimension's own size stands for.
            let scale = gradient.iter().zip(&bench.x).map(|(slope, x)| (slope * x).abs()).fold(0.0, f64::max).max(1e-3);
            for (k, slope) in gradient.iter().enumerate() {
                let Some((quotient, error)) = quotient(&bench, &quantity, condition, k) else { continue };
                // A difference quotient that does not settle straddles a corner of the curve (a washer going flat).
                let size = bench.x[k].abs().max(0.05);
                if error * size > 1e-4 * scale {
                    continue;
                }
                prop_assert!(
                    (slope - quotient).abs() * size <= 1e-5 * scale + error * size,
                    "{:?} to {}: {} is not {} (error {})", quantity, bench.pack.dimensions[k].path, slope, quotient, error
                );
            }
        }
    }
}

/// The property above, with the random part taken out: so that it cannot pass by skipping.
#[test]
fn every_slope_of_a_bay_with_three_laws_in_series() {
    let mut bench = Bench::new(30.0);
    bench.solid("left shim", 0.4);
    let law = bench.disc_law("disc", 25.0, 12.2, 0.9, 0.7);
    bench.spring("disc", law, Some(1.03), Some(0.96));
    let rocker = bench.rocker("rocker", 24.0, 11.3);
    let law = bench.wave_law("wave", 28.0, 20.0, 0.5, 1.6, None);
    bench.spring("wave", law, Some(0.98), None);
    let law = bench.table_law("table", &[(0.0, 0.0), (0.1, 60.0), (0.3, 260.0), (0.6, 700.0)], 1.4, None);
    bench.spring("table", law, None, Some(0.95));
    bench.bedded("right shim", 0.6, 0.015);
    let valve = bench.valve("exhaust", rocker, 12.0);
    bench.contact(valve, Some(0.02));
    bench.interfere(1, 1.0);
    let state = bench.pack.equilibrium(0, 1, &bench.x).unwrap();
    assert!(state.load > 100.0 && state.springs.iter().all(|spring| !spring.flat), "{state:?}");
    let mut checked = 0;
    for quantity in bench.quantities() {
        let mut gradient = vec![0.0; bench.x.len()];
        bench.pack.gradient(&quantity, 1, &bench.x, &mut gradient).unwrap();
        for (k, slope) in gradient.iter().enumerate() {
            let (quotient, _) = quotient(&bench, &quantity, 1, k).unwrap();
            let scale = quotient.abs().max(1e-3);
            assert!((slope - quotient).abs() < 2e-5 * scale, "{quantity:?} {k}: {slope} {quotient}");
            checked += 1;
        }
    }
    assert_eq!(checked, bench.quantities().len() * bench.x.len());
}

#[test]
fn a_flat_washer_is_a_solid() {
    let mut bench = Bench::new(30.0);
    bench.linear("soft", 20.0, 2.0, Some(1.5));
    bench.linear("stiff", 400.0, 2.0, Some(1.0));
    // The soft washer is flat at 10 N; the stiff one alone gives D − 0.5.
    bench.interfere(0, 0.8);
    let mut gradient = vec![0.0; bench.x.len()];
    let load = bench.pack.gradient(&Quantity::Preload { bay: 0 }, 0, &bench.x, &mut gradient).unwrap();
    assert!((load - 120.0).abs() < 1e-9);
    let of = |path: &str| gradient[bench.pack.find_dimension(path).unwrap().0];
    for (path, slope) in [
        ("middle/span", -400.0),
        ("middle/soft/rate", 0.0),
        ("middle/soft/free_height", 0.0),
        ("middle/soft/solid_height", 400.0),
        ("middle/stiff/rate", 0.3),
        ("middle/stiff/free_height", 400.0),
        ("middle/stiff/solid_height", 0.0),
    ] {
        assert!((of(path) - slope).abs() < 1e-9, "{path}: {} is not {slope}", of(path));
    }
}

#[test]
fn a_loose_bay_has_the_slopes_of_the_middle() {
    let mut bench = Bench::new(25.0);
    bench.solid("left shim", 0.4);
    let rocker = bench.rocker("rocker", 24.0, 11.0);
    bench.linear("spring washer", 50.0, 1.0, None);
    bench.valve("exhaust", rocker, 10.4);
    bench.interfere(0, -0.2);
    let quantity = Quantity::Offset { bay: 0, valve: 0 };
    let Outcome::Range { low, high } = bench.evaluate(quantity, 0) else { panic!("not loose") };
    assert!((low - 1.0).abs() < 1e-12 && (high - 1.2).abs() < 1e-12);
    let mut gradient = vec![0.0; bench.x.len()];
    assert!((bench.pack.gradient(&quantity, 0, &bench.x, &mut gradient).unwrap() - 1.1).abs() < 1e-12);
    let of = |path: &str| gradient[bench.pack.find_dimension(path).unwrap().0];
    // A thicker left shim moves the rocker by all of it pushed left, by nothing pushed right.
    for (path, slope) in [
        ("middle/left shim/thickness", 0.5),
        ("middle/span", 0.5),
        ("middle/rocker/width", -0.5),
        ("middle/rocker/adjuster", 1.0),
        ("middle/spring washer/free_height", -0.5),
        ("middle/spring washer/rate", 0.0),
        ("middle/exhaust/stem", -1.0),
    ] {
        assert!((of(path) - slope).abs() < 1e-12, "{path}: {} is not {slope}", of(path));
    }
}

#[test]
fn on_the_falling_branch_of_a_steep_disc() {
    let mut bench = Bench::new(30.0);
    bench.disc("steep", 30.0, 15.0, 0.5, 1.0);
    bench.interfere(0, 0.8);
    let disc = bench.pack.disc(0, 0, 0, &bench.x).unwrap();
    assert!(disc.peak().unwrap().deflection < 0.8);
    let mut gradient = vec![0.0; bench.x.len()];
    let load = bench.pack.gradient(&Quantity::Preload { bay: 0 }, 0, &bench.x, &mut gradient).unwrap();
    assert!((load - disc.load(0.8)).abs() < 1e-9 * load);
    let span = gradient[0];
    assert!(span > 0.0 && (span + disc.rate(0.8)).abs() < 1e-9 * span, "squeezing further lowers the load");
}

#[test]
fn there_is_no_derivative_where_the_bay_cannot_be_assembled() {
    let mut bench = support::example();
    bench.set("middle/span", 20.0);
    let mut gradient = vec![0.0; bench.x.len()];
    for quantity in bench.quantities() {
        assert_eq!(bench.pack.gradient(&quantity, 0, &bench.x, &mut gradient), None);
    }
}
