//! Facts of the trade and of materials, as a mechanic would check them by hand.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

mod support;

use packdrift_pack::{CannotAssemble, Outcome, Quantity};
use support::Bench;

/// A rocker between shims, with a linear spring washer of 2 mm free height: 24.00 + 2.00 + shims in a span of 27.70.
fn bay(left: &[f64], right: &[f64]) -> Bench {
    let mut bench = Bench::new(27.70);
    for (k, thickness) in left.iter().enumerate() {
        bench.solid(&format!("left {k}"), *thickness);
    }
    let rocker = bench.rocker("rocker", 24.0, 11.3);
    for (k, thickness) in right.iter().enumerate() {
        bench.solid(&format!("right {k}"), *thickness);
    }
    bench.linear("spring washer", 60.0, 2.0, Some(0.5));
    bench.valve("exhaust", rocker, 11.3);
    bench
}

fn offset(bench: &Bench) -> f64 {
    match bench.evaluate(Quantity::Offset { bay: 0, valve: 0 }, 0) {
        Outcome::Value(offset) => offset,
        other => panic!("{other:?}"),
    }
}

#[test]
fn the_sum_of_thicknesses_is_what_the_preload_sees() {
    // Common practice, no source: a pair of flat washers of nominal 1.00 mm measured 0.969 and 1.001, sum 1.970.
    let drawn = bay(&[1.00], &[1.00]);
    let measured = bay(&[0.969], &[1.001]);
    let sums = |bench: &Bench| bench.pack.equilibrium(0, 0, &bench.x).unwrap().interference;
    assert!((sums(&drawn) - sums(&measured) - (2.000 - 1.970)).abs() < 1e-12);
    assert!((drawn.preload() - measured.preload() - 60.0 * 0.030).abs() < 1e-9);
}

#[test]
fn shims_thicker_than_sold_add_up() {
    // Common practice, no source: a shim sold as 0.381 measured 0.411, two sold as 0.762 measured 0.822 each: a planned 1.905
    // becomes 2.055; all three are 7.9 % thick.
    let planned = bay(&[0.381, 0.762], &[0.762]);
    let measured = bay(&[0.411, 0.822], &[0.822]);
    let sum = |values: &[f64]| values.iter().sum::<f64>();
    assert!((sum(&[0.381, 0.762, 0.762]) - 1.905).abs() < 1e-12 && (sum(&[0.411, 0.822, 0.822]) - 2.055).abs() < 1e-12);
    assert!((0.411_f64 / 0.381 - 1.079).abs() < 5e-4 && (0.822_f64 / 0.762 - 1.079).abs() < 5e-4);
    assert!((measured.preload() - planned.preload() - 60.0 * 0.150).abs() < 1e-9);
    // The rocker moves by what is left of it: 0.030 + 0.060.
    assert!((offset(&measured) - offset(&planned) - 0.090).abs() < 1e-12);
}

#[test]
fn the_thin_shim_beside_the_rocker_moves_it_by_its_thickness() {
    // Common practice, no source: moving a shim from one side of the rocker to the other keeps the sum, and so the preload,
    // and shifts the rocker by the shim; the aim is a sum near 2.00.
    let (one, other) = (bay(&[0.8, 0.15], &[1.05]), bay(&[0.8], &[1.05, 0.15]));
    assert!((one.preload() - other.preload()).abs() < 1e-9);
    assert!((offset(&one) - offset(&other) - 0.15).abs() < 1e-12);
}

#[test]
fn a_sum_within_a_tenth_keeps_the_preload_of_a_soft_washer() {
    // Common practice, no source: a sum within about 0.1 mm of the old one keeps the preload; with a washer of 60 N/mm that
    // is 6 N, and a stiff disc spring would not be so kind.
    let old = bay(&[1.0], &[1.0]).preload();
    let new = bay(&[1.05], &[1.05]).preload();
    assert!((new - old).abs() < 6.0 + 1e-9 && new > old);
}

#[test]
fn an_aluminium_head_outgrows_a_steel_pack() {
    // By hand: span 27.70·23e-6·75 = 0.04778 mm more, pack (24 + 2 + 2)·11.5e-6·75 = 0.02415 mm more: 0.02363 mm less
    // interference, 1.418 N less of 60 N/mm; the stem moves out by 11.3·23e-6·75 = 0.01949, the adjuster's axis by
    // (1 + 11.3)·11.5e-6·75 = 0.01061 mm.
    let bench = bay(&[1.0], &[1.0]);
    let load = |condition| bench.evaluate(Quantity::Preload { bay: 0 }, condition).middle().unwrap();
    assert!((load(0) - 18.0).abs() < 1e-9);
    assert!((load(0) - load(1) - 60.0 * (0.047_782_5 - 0.024_15)).abs() < 1e-9);
    let offset = |condition| bench.evaluate(Quantity::Offset { bay: 0, valve: 0 }, condition).middle().unwrap();
    assert!((offset(1) - offset(0) - (0.010_608_75 - 0.019_492_5)).abs() < 1e-12);
}

#[test]
fn expansion_coefficients_of_a_textbook() {
    // Callister, table B.6 (seen in print), 1e-6/K: Al 356.0 21.5, steel 1040 11.3, gray iron 11.4. The growth of a 52 mm span
    // over 75 K relative to a steel pack of the same length, recomputed by hand: 52·75·(21.5 − 11.3)e-6 = 0.03978 mm for
    // aluminium, 52·75·0.1e-6 = 0.00039 mm for iron.
    for (bay_expansion, opens) in [(21.5e-6, 0.039_78), (11.4e-6, 0.000_39)] {
        let mut bench = Bench::new(52.0);
        bench.solid("spacer", 51.0);
        bench.linear("spring washer", 60.0, 1.0, None);
        bench.pack.bays[0].expansion = bay_expansion;
        for part in &mut bench.pack.bays[0].parts {
            part.expansion = 11.3e-6;
        }
        let Outcome::Value(play) = bench.evaluate(Quantity::Play { bay: 0 }, 1) else { panic!() };
        assert!((play - opens).abs() < 1e-12, "{play}");
    }
}

#[test]
fn loose_tight_flat_and_too_long() {
    let mut bench = bay(&[1.0], &[1.0]);
    // D = 0.30; shorten or lengthen the span.
    bench.x[0] = 28.00;
    assert_eq!(bench.evaluate(Quantity::Play { bay: 0 }, 0), Outcome::Value(0.0));
    bench.x[0] = 28.25;
    assert!((bench.evaluate(Quantity::Play { bay: 0 }, 0).middle().unwrap() - 0.25).abs() < 1e-12);
    assert_eq!(bench.evaluate(Quantity::Preload { bay: 0 }, 0), Outcome::Value(0.0));
    let Outcome::Range { low, high } = bench.evaluate(Quantity::Offset { bay: 0, valve: 0 }, 0) else { panic!() };
    assert!((low - 1.0).abs() < 1e-12 && (high - 1.25).abs() < 1e-12);
    // A requirement is met only where both ends meet it.
    let wandering = Outcome::Range { low, high };
    assert!(
        wandering.meets(Some(0.9), Some(1.3))
            && !wandering.meets(Some(0.9), Some(1.2))
            && !wandering.meets(Some(1.1), None)
    );
    // Pressed flat in decimal numbers: 26.50 is 24 + 2 + 0.5 exactly.
    bench.x[0] = 26.50;
    let flat = bench.pack.equilibrium(0, 0, &bench.x).unwrap();
    assert!(flat.springs[0].flat && (flat.load - 90.0).abs() < 1e-9 && (flat.springs[0].height - 0.5).abs() < 1e-12);
    bench.x[0] = 26.49;
    let Err(CannotAssemble { interference, room }) = bench.pack.equilibrium(0, 0, &bench.x) else { panic!() };
    assert!((interference - 1.51).abs() < 1e-12 && (room - 1.5).abs() < 1e-12);
    for quantity in bench.quantities() {
        assert_eq!(bench.evaluate(quantity, 0), Outcome::CannotAssemble);
    }
    assert!(!Outcome::CannotAssemble.meets(None, None));
}

#[test]
fn without_a_spring_washer_a_bay_fits_or_does_not() {
    let mut bench = Bench::new(26.0);
    bench.solid("shim", 0.4);
    let rocker = bench.rocker("rocker", 24.0, 11.0);
    bench.solid("washer", 1.6);
    bench.valve("exhaust", rocker, 10.0);
    // 0.4 + 24.0 + 1.6 is 26.0, though not in binary.
    assert_eq!(bench.evaluate(Quantity::Play { bay: 0 }, 0), Outcome::Value(0.0));
    bench.x[0] = 26.1;
    assert!((bench.evaluate(Quantity::Play { bay: 0 }, 0).middle().unwrap() - 0.1).abs() < 1e-12);
    bench.x[0] = 25.99;
    assert_eq!(bench.evaluate(Quantity::Play { bay: 0 }, 0), Outcome::CannotAssemble);
}

#[test]
fn springs_on_both_sides_center_the_rocker() {
    // Two equal washers, one on each side: what the span loses is lost half on each.
    let mut bench = Bench::new(26.5);
    bench.linear("left", 60.0, 2.0, Some(0.5));
    let rocker = bench.rocker("rocker", 24.0, 11.0);
    bench.linear("right", 60.0, 2.0, Some(0.5));
    bench.valve("exhaust", rocker, 11.0);
    assert!((offset(&bench) - 1.25).abs() < 1e-12 && (bench.preload() - 45.0).abs() < 1e-9);
    bench.x[0] = 26.7;
    assert!((offset(&bench) - 1.35).abs() < 1e-12 && (bench.preload() - 39.0).abs() < 1e-9);
    assert!(!bench.pack.is_linear(&Quantity::Offset { bay: 0, valve: 0 }, 0));
}
