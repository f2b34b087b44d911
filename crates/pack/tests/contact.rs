//! Contact against published problems, and the edge margin against its definition.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

mod support;

use packdrift_pack::{
    Elastic, Outcome, PackWarning, Quantity, contact_modulus, hertz, worn_flat_radius, worn_patch_radius,
};
use support::{Bench, STEEL, STEEL_EXPANSION};

fn near(got: f64, expected: f64, relative: f64) {
    assert!((got / expected - 1.0).abs() < relative, "{got} is not {expected}");
}

#[test]
fn two_balls() {
    // Handbook problem (values from memory, recomputed in 30 digits): steel ball 25 mm (207 GPa, 0.292) on an aluminium ball
    // 40 mm (71.7 GPa, 0.333), 10 N: a = 0.0990 mm, p_max = 487.1 MPa.
    let steel = Elastic { youngs_modulus: 207_000.0, poisson: 0.292 };
    let aluminium = Elastic { youngs_modulus: 71_700.0, poisson: 0.333 };
    let contact = hertz(10.0, 12.5, 20.0, contact_modulus(&steel, &aluminium));
    near(contact.radius, 0.0990, 5e-4);
    near(contact.peak_pressure, 487.1, 1e-4);
    near(contact.radius, 0.099_001_826_408_263_3, 1e-14);
    near(contact.peak_pressure, 487.141_325_046_573, 1e-14);
}

#[test]
fn sphere_on_a_rigid_flat() {
    // Published: R 8 mm, F = 60π N, E 1000 MPa, ν 0.3: a = 1.010 mm; the further digits recomputed.
    let soft = Elastic { youngs_modulus: 1000.0, poisson: 0.3 };
    let rigid = Elastic { youngs_modulus: f64::INFINITY, poisson: 0.3 };
    let contact = hertz(60.0 * std::f64::consts::PI, 8.0, f64::INFINITY, contact_modulus(&soft, &rigid));
    assert!((contact.radius - 1.010).abs() < 5e-4);
    near(contact.radius, 1.009_635_444_5, 5e-11);
    near(contact.peak_pressure, 88.290_369_07, 5e-11);
    near(contact.approach, 0.127_420_466_3, 5e-10);
}

#[test]
fn ball_on_a_flat() {
    // Published: steel ball 50 mm on a steel flat, 500 N, E 200 GPa, ν 0.3.
    let steel = Elastic { youngs_modulus: 200_000.0, poisson: 0.3 };
    let contact = hertz(500.0, 25.0, f64::INFINITY, contact_modulus(&steel, &steel));
    near(contact.radius, 0.440_221_135_4, 5e-11);
    near(contact.peak_pressure, 1_231.883_424, 5e-10);
    near(contact.approach, 0.007_751_785_9, 5e-9);
}

#[test]
fn the_flat_is_the_limit_of_an_ever_larger_ball_and_the_order_does_not_matter() {
    let modulus = contact_modulus(&STEEL, &STEEL);
    let flat = hertz(620.0, 12.0, f64::INFINITY, modulus);
    near(hertz(620.0, 12.0, 1e12, modulus).radius, flat.radius, 1e-10);
    near(hertz(620.0, f64::INFINITY, 12.0, modulus).radius, flat.radius, 1e-15);
    // The load is the integral of the pressure: (2/3)·p0·π·a².
    near(2.0 / 3.0 * flat.peak_pressure * std::f64::consts::PI * flat.radius * flat.radius, 620.0, 1e-13);
    let none = hertz(0.0, 12.0, f64::INFINITY, modulus);
    assert!(none.radius == 0.0 && none.peak_pressure == 0.0 && none.approach == 0.0);
}

#[test]
fn edge_margin_is_what_is_left_of_the_flat_end() {
    let bench = support::example();
    let Outcome::Value(offset) = bench.evaluate(Quantity::Offset { bay: 0, valve: 0 }, 0) else { panic!() };
    let stem = Elastic { youngs_modulus: 200_000.0, poisson: 0.29 };
    let patch = hertz(620.0, 12.0, f64::INFINITY, contact_modulus(&STEEL, &stem));
    let Outcome::Value(margin) = bench.evaluate(Quantity::EdgeMargin { bay: 0, valve: 0 }, 0) else { panic!() };
    assert!((margin - (4.0 - 0.4 - ((offset * offset + 0.81).sqrt() + patch.radius))).abs() < 1e-13);
    let Outcome::Value(pressure) = bench.evaluate(Quantity::ContactPressure { bay: 0, valve: 0 }, 0) else { panic!() };
    near(pressure, patch.peak_pressure, 1e-14);
}

#[test]
fn a_worn_flat_widens_the_patch_and_takes_from_the_margin() {
    // R = 13, w = 1: the flat is the chord of the 5-12-13 triangle.
    assert!((worn_flat_radius(13.0, 1.0) - 5.0).abs() < 1e-15);
    let mut bench = Bench::new(26.0);
    bench.solid("shim", 1.0);
    let rocker = bench.rocker("rocker", 24.0, 11.0);
    bench.linear("spring", 50.0, 1.4, None);
    let valve = bench.valve("exhaust", rocker, 11.0);
    bench.contact(valve, Some(0.0));
    let margin = |bench: &Bench| bench.evaluate(Quantity::EdgeMargin { bay: 0, valve }, 0).ends().unwrap().0;
    let unworn = margin(&bench);
    let patch = hertz(
        620.0,
        12.0,
        f64::INFINITY,
        contact_modulus(&STEEL, &Elastic { youngs_modulus: 200_000.0, poisson: 0.29 }),
    );
    // A flat smaller than the patch of the unworn tip widens it a little too, and is not worth a warning.
    bench.set("middle/exhaust/tip_wear", 0.001);
    let flat = worn_flat_radius(12.0, 0.001);
    assert!(flat < patch.radius && margin(&bench) < unworn);
    assert!((unworn - margin(&bench) - (worn_patch_radius(patch.radius, flat) - patch.radius)).abs() < 1e-12);
    assert!(bench.pack.warnings(&bench.x).is_empty());
    bench.set("middle/exhaust/tip_wear", 0.05);
    let flat = worn_flat_radius(12.0, 0.05);
    assert!((unworn - margin(&bench) - (worn_patch_radius(patch.radius, flat) - patch.radius)).abs() < 1e-12);
    let warnings = bench.pack.warnings(&bench.x);
    assert!(matches!(warnings[0], PackWarning::WornFlat { .. }) && warnings.len() == 2, "{warnings:?}");
}

#[test]
fn a_loose_bay_has_a_range_of_margins() {
    let mut bench = support::example();
    bench.interfere(0, -0.5);
    let offset = bench.evaluate(Quantity::Offset { bay: 0, valve: 0 }, 0).ends().unwrap();
    let margin = bench.evaluate(Quantity::EdgeMargin { bay: 0, valve: 0 }, 0).ends().unwrap();
    assert!((offset.1 - offset.0 - 0.5).abs() < 1e-12);
    let excursion = |offset: f64| (offset * offset + 0.81_f64).sqrt();
    assert!((margin.1 - margin.0 - (excursion(offset.1) - excursion(offset.0))).abs() < 1e-12);
    // A range that spans the stem's axis: the largest margin is on the axis, not at an end.
    let stem = bench.pack.find_dimension("middle/exhaust/stem").unwrap();
    bench.x[stem.0] += offset.0 + 0.2;
    let offset = bench.evaluate(Quantity::Offset { bay: 0, valve: 0 }, 0).ends().unwrap();
    let margin = bench.evaluate(Quantity::EdgeMargin { bay: 0, valve: 0 }, 0).ends().unwrap();
    assert!((offset.0 + 0.2).abs() < 1e-12 && (offset.1 - 0.3).abs() < 1e-12);
    assert!((margin.1 - margin.0 - (excursion(0.3) - 0.9)).abs() < 1e-12);
}

#[test]
fn the_contact_grows_with_temperature_as_its_two_bodies_do() {
    let bench = support::example();
    let offset = bench.evaluate(Quantity::Offset { bay: 0, valve: 0 }, 1).middle().unwrap();
    let margin = bench.evaluate(Quantity::EdgeMargin { bay: 0, valve: 0 }, 1).middle().unwrap();
    let (stem, adjuster) = (1.0 + 12.1e-6 * 75.0, 1.0 + STEEL_EXPANSION * 75.0);
    let modulus = contact_modulus(&STEEL, &Elastic { youngs_modulus: 200_000.0, poisson: 0.29 });
    let patch = hertz(620.0, 12.0 * adjuster, f64::INFINITY, modulus);
    let expected = 3.6 * stem - (offset.hypot(0.9 * adjuster) + patch.radius);
    assert!((margin - expected).abs() < 1e-13);
}

/// The law of a sphere with a flat, F = (2E*/(3R))·(2a² + c²)·√(a² − c²), put back from its root; and its limits: no flat is
/// Hertz, a wide flat under little load is the flat itself.
#[test]
fn the_patch_of_a_worn_tip_carries_the_load() {
    let (radius, modulus) = (12.0, 113_000.0);
    for load in [1.0, 60.0, 620.0, 4_000.0] {
        let unworn = hertz(load, radius, f64::INFINITY, modulus).radius;
        for depth in [0.0, 1e-9, 1e-5, 0.001, 0.02, 0.3] {
            let c = worn_flat_radius(radius, depth);
            let a = worn_patch_radius(unworn, c);
            let carried = 2.0 * modulus / (3.0 * radius) * (2.0 * a * a + c * c) * (a * a - c * c).sqrt();
            // Where the flat is far wider than what Hertz would need, a − c is lost in the last digits of a.
            let tolerance = 1e-12 + 4.0 * f64::EPSILON * a * a / (a * a - c * c);
            assert!((carried / load - 1.0).abs() < tolerance, "{load} N, {depth} mm: {carried}");
            assert!(a >= c && a >= unworn && a <= 1.1431 * c.max(unworn), "{a} {c} {unworn}");
        }
    }
}
