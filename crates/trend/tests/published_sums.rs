//! The grouped sums against certified values: NIST Statistical Reference Datasets, linear regression, set Norris (public domain;
//! www.itl.nist.gov/div898/strd), its predictor in place of the meter hours of one valve.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod common;

use packdrift_trend::Sums;

/// x, y.
const NORRIS: [(f64, f64); 36] = [
    (0.2, 0.1),
    (337.4, 338.8),
    (118.2, 118.1),
    (884.6, 888.0),
    (10.1, 9.2),
    (226.5, 228.1),
    (666.3, 668.5),
    (996.3, 998.5),
    (448.6, 449.1),
    (777.0, 778.9),
    (558.2, 559.2),
    (0.4, 0.3),
    (0.6, 0.1),
    (775.5, 778.1),
    (666.9, 668.8),
    (338.0, 339.3),
    (447.5, 448.9),
    (11.6, 10.8),
    (556.0, 557.7),
    (228.1, 228.3),
    (995.8, 998.0),
    (887.6, 888.8),
    (120.2, 119.6),
    (0.3, 0.3),
    (0.3, 0.6),
    (556.8, 557.6),
    (339.1, 339.3),
    (887.2, 888.0),
    (999.0, 998.5),
    (779.0, 778.9),
    (11.1, 10.2),
    (118.3, 117.6),
    (229.2, 228.9),
    (669.1, 668.4),
    (448.9, 449.2),
    (0.5, 0.2),
];

#[test]
fn a_certified_line_follows_from_the_sums() {
    let mut t = common::table("contact_offset");
    t.engines.push("E1".into());
    t.valves.push((0, "1".into()));
    let mut points = NORRIS;
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (day, (x, y)) in points.into_iter().enumerate() {
        common::push(&mut t, 0, day as i32, x, y);
    }
    let sums = Sums::of(&t).unwrap();
    assert_eq!((sums.readings[0], sums.readings.len()), (36, 1));
    let slope = sums.products[0] / sums.hours_squares[0];
    let intercept = sums.mean_value[0] - slope * (sums.start_hours[0] + sums.mean_hours[0]);
    let residual = sums.value_squares[0] - sums.products[0] * slope;
    let sd = (residual / 34.0).sqrt();
    // Certified to 15 digits; what is left of the sum of squares is a 160 000th of it, which costs five.
    for (found, certified, relative) in [
        (slope, 1.00211681802045, 1e-14),
        (intercept, -0.262323073774029, 1e-12),
        (sd, 0.884796396144373, 1e-10),
        (sd / sums.hours_squares[0].sqrt(), 0.429796848199937e-3, 1e-10),
    ] {
        assert!((found / certified - 1.0_f64).abs() < relative, "{found} for {certified}");
    }
}
