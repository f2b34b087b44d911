//! Single statistics against published tables, certified data and scipy (`tests/outside/lot_scipy.py` writes the frozen file).

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first thing that is not there")]

use packdrift_lot::capability::{count_lower_bound, count_upper_bound};
use packdrift_lot::chart::constants::{ChartConstants, c4, d2_star};
use packdrift_lot::chart::{Chart, SignalKind};
use packdrift_lot::components::{one_way, variance_components};
use packdrift_lot::outliers::CriticalDeviates;
use packdrift_lot::shape::{ShapiroWilk, anderson_darling, anderson_darling_p};
use packdrift_lot::tolerance::{
    one_sided_factor, order_statistics_one_sided, order_statistics_two_sided, readings_needed, two_sided_factor,
};
use packdrift_lot::{Johnson, Moments};
use serde_json::Value;

fn scipy() -> Value {
    let text =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/lot_scipy.json")).unwrap();
    serde_json::from_str::<Value>(&text).unwrap()["values"].clone()
}

fn close(found: f64, expected: f64, relative: f64, what: &str) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{what}: found {found}, expected {expected}");
}

/// Rows of a data file without its comment and heading.
fn rows(file: &str) -> Vec<Vec<String>> {
    let path = format!("{}/tests/data/{file}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).unwrap();
    text.lines().skip(2).map(|l| l.split(',').map(str::to_string).collect()).collect()
}

/// NIST `StRD`, univariate: certified mean and standard deviation to their 15 digits, less what the readings themselves lose in binary.
#[test]
fn mean_and_sd_of_certified_data() {
    let data = rows("strd_univariate.csv");
    for (name, mean, sd, digits) in [
        ("Lottery", 518.958715596330, 291.699727470969, 1e-14),
        ("Lew", -177.435000000000, 277.332168044316, 1e-14),
        ("Mavro", 2.00185600000000, 0.000429123454003053, 1e-12),
        ("Michelso", 299.852400000000, 0.0790105478190518, 1e-12),
    ] {
        let values: Vec<f64> = data.iter().filter(|r| r[0] == name).map(|r| r[1].parse().unwrap()).collect();
        let m = Moments::of(&values);
        close(m.mean, mean, 2e-15, name);
        close(m.sd(), sd, digits, name);
    }
    // NumAcc 1 to 4: 1 is three numbers, the others one middle value followed by 500 pairs.
    close(Moments::of(&[10000001.0, 10000003.0, 10000002.0]).sd(), 1.0, 1e-15, "NumAcc1");
    for (base, relative) in [(1.0, 1e-14), (1000000.0, 1e-9), (10000000.0, 1e-8)] {
        let mut values = vec![base + 0.2];
        for _ in 0..500 {
            values.extend([base + 0.1, base + 0.3]);
        }
        let m = Moments::of(&values);
        close(m.mean, base + 0.2, 1e-15, "NumAcc");
        // 0.1 itself is off by the rounding of base + 0.1: half a unit in its last place, 1e-9 at 1e7.
        close(m.sd(), 0.1, relative, "NumAcc");
    }
}

/// NIST `StRD`, one-way analysis of variance: certified F, and sums of squares.
#[test]
fn one_way_table_of_certified_data() {
    let data = rows("strd_anova.csv");
    for (name, between, within, f) in [
        ("SiRstv", 5.11462616e-2, 2.1663656e-1, 1.18046237440255),
        ("AtmWtAg", 3.638341875e-9, 1.04951729166667e-8, 15.9467335677930),
    ] {
        let mut groups: Vec<Moments> = Vec::new();
        for treatment in 1..=5 {
            let values: Vec<f64> = data
                .iter()
                .filter(|r| r[0] == name && r[1] == treatment.to_string())
                .map(|r| r[2].parse().unwrap())
                .collect();
            if !values.is_empty() {
                groups.push(Moments::of(&values));
            }
        }
        let table = one_way(&groups).unwrap();
        // AtmWtAg's readings agree in seven digits, so binary costs the squares that many.
        let relative = if name == "AtmWtAg" { 1e-8 } else { 1e-12 };
        close(table.between.sum_of_squares, between, relative, name);
        close(table.within.sum_of_squares, within, relative, name);
        close(table.f, f, relative, name);
    }
    // Simon and Lesage: nine treatments of 21, 201 or 2001, constant leading digits 0, 6 or 12. What remains of 0.1 beside 1e12 is ± 1.2e-4 / 2.
    for (base, relative) in [(1.0, 1e-12), (1e6, 1e-8), (1e12, 1e-2)] {
        for (repeats, f) in [(21, 21.0), (201, 201.0), (2001, 2001.0)] {
            let groups: Vec<Moments> = [0.4, 0.3, 0.5, 0.3, 0.5, 0.3, 0.5, 0.3, 0.5]
                .iter()
                .map(|centre| {
                    let values: Vec<f64> = (0..repeats)
                        .map(|i| {
                            let tenths = (centre * 10.0_f64).round()
                                + if i == 0 {
                                    0.0
                                } else if i % 2 == 1 {
                                    -1.0
                                } else {
                                    1.0
                                };
                            // As the decimal in the file would be read.
                            format!("{}.{}", base as u64, tenths as u64).parse().unwrap()
                        })
                        .collect();
                    Moments::of(&values)
                })
                .collect();
            close(one_way(&groups).unwrap().f, f, relative, &format!("SmLs, {base:e}, {repeats}"));
        }
    }
}

/// Dyestuff (Davies and Goldsmith 1972), balanced: REML by lme4 and exact, and the same by analysis of variance.
#[test]
fn components_of_the_dyestuff_batches() {
    let batches = [
        [1545.0, 1440.0, 1440.0, 1520.0, 1580.0],
        [1540.0, 1555.0, 1490.0, 1560.0, 1495.0],
        [1595.0, 1550.0, 1605.0, 1510.0, 1560.0],
        [1445.0, 1440.0, 1595.0, 1465.0, 1545.0],
        [1595.0, 1630.0, 1515.0, 1635.0, 1625.0],
        [1520.0, 1455.0, 1450.0, 1480.0, 1445.0],
    ]
    .map(|b| Moments::of(&b));
    let c = variance_components(&batches, 0.95).unwrap();
    close(c.reml.estimate.between_sd.powi(2), 1764.05, 1e-10, "between, REML");
    close(c.reml.estimate.within_sd.powi(2), 2451.25, 1e-10, "within, REML");
    close(c.anova.between_sd.powi(2), 1764.05, 1e-12, "between, analysis of variance");
    close(c.reml.log_likelihood, -159.827138421, 1e-11, "restricted log-likelihood");
    close(c.reml.estimate.mean, 1527.5, 1e-14, "mean");
    assert!(c.between_interval.contains(42.0) && c.within_interval.contains(49.51) && !c.reml.at_boundary);
}

/// Batches that differ less than chance: the negative component becomes 0 and is said to be at the boundary; the mean is the pooled one.
#[test]
fn a_component_at_its_boundary_says_so() {
    let groups = [[1.0, 3.0, 5.0], [1.9, 3.8, 5.7], [1.2, 3.1, 4.8]].map(|g| Moments::of(&g));
    let c = variance_components(&groups, 0.95).unwrap();
    assert!(c.anova_between_variance < 0.0 && c.reml.at_boundary && c.between_interval.lower == 0.0);
    assert!(c.reml.estimate.between_sd == 0.0 && c.between_interval.upper > 0.0);
    let pooled = Moments::of(&[1.0, 3.0, 5.0, 1.9, 3.8, 5.7, 1.2, 3.1, 4.8]);
    close(c.reml.estimate.mean, pooled.mean, 1e-14, "mean");
    close(c.reml.estimate.within_sd, pooled.sd(), 1e-12, "sd of the pooled sample");
}

/// Unbalanced batches: the restricted likelihood found must be the largest over a fine grid of ratios, by the direct formula with matrices.
#[test]
fn unbalanced_components_are_where_the_likelihood_is_largest() {
    let raw: [&[f64]; 4] = [&[10.1, 10.4], &[11.3, 11.0, 11.6, 11.2, 11.1], &[9.8], &[10.9, 10.2, 10.6]];
    let c = variance_components(&raw.map(Moments::of), 0.95).unwrap();
    let y: Vec<f64> = raw.concat();
    let group: Vec<usize> = raw.iter().enumerate().flat_map(|(i, g)| std::iter::repeat_n(i, g.len())).collect();
    let n = y.len();
    let likelihood = |within: f64, between: f64| {
        let v = nalgebra::DMatrix::from_fn(n, n, |i, j| {
            f64::from(u8::from(group[i] == group[j])) * between + f64::from(u8::from(i == j)) * within
        });
        let chol = v.cholesky().unwrap();
        let ones = nalgebra::DVector::from_element(n, 1.0);
        let yv = nalgebra::DVector::from_row_slice(&y);
        let (vi1, viy) = (chol.solve(&ones), chol.solve(&yv));
        let xvx = ones.dot(&vi1);
        let mean = ones.dot(&viy) / xvx;
        let r = &yv - &ones * mean;
        let ln_det = 2.0 * chol.l().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        -0.5 * ((n as f64 - 1.0) * (2.0 * std::f64::consts::PI).ln() + ln_det + xvx.ln() + r.dot(&chol.solve(&r)))
    };
    let best = likelihood(c.reml.estimate.within_sd.powi(2), c.reml.estimate.between_sd.powi(2));
    close(best, c.reml.log_likelihood, 1e-12, "log-likelihood");
    for a in [0.8, 0.95, 0.999, 1.001, 1.05, 1.25] {
        assert!(likelihood(a * c.reml.estimate.within_sd.powi(2), c.reml.estimate.between_sd.powi(2)) < best);
        assert!(likelihood(c.reml.estimate.within_sd.powi(2), a * c.reml.estimate.between_sd.powi(2)) < best);
    }
}

/// ISO 16269-6 annex F and public tables print four decimals (rounded up), our values were recomputed to 1e-9 elsewhere.
#[test]
fn tolerance_factors() {
    for (n, p, c, one, two) in [
        (43, 0.90, 0.99, 1.873954, 2.222825),
        (10, 0.95, 0.95, 2.910963, 3.393429),
        (10, 0.90, 0.95, 2.354640, 2.856311),
        (5, 0.90, 0.95, 3.406633, 4.290604),
        (20, 0.95, 0.95, 2.396002, 2.760346),
        (30, 0.99, 0.95, 3.063901, 3.354576),
        (50, 0.95, 0.99, 2.268898, 2.580401),
        (100, 0.99, 0.99, 2.849648, 3.097570),
        (2, 0.95, 0.95, 26.259674, 36.519215),
    ] {
        assert!((one_sided_factor(n, p, c).unwrap() - one).abs() < 6e-7, "one-sided, n {n}");
        assert!(
            (two_sided_factor(n, p, c).unwrap() - two).abs() < 6e-7,
            "two-sided, n {n}: {}",
            two_sided_factor(n, p, c).unwrap()
        );
    }
    // Annex F, rounded up in the fourth decimal.
    for (n, p, c, printed) in
        [(35, 0.90, 0.90, 1.9906), (30, 0.95, 0.90, 2.4166), (100, 0.99, 0.90, 2.8548), (2, 0.90, 0.90, 15.5124)]
    {
        let k = two_sided_factor(n, p, c).unwrap();
        assert!(k <= printed && printed - k < 1.01e-4, "n {n}: {k} against {printed}");
    }
    assert!((one_sided_factor(5, 0.99, 0.99).unwrap() - 8.939).abs() < 6e-4);
    for row in scipy()["k"].as_array().unwrap() {
        let get = |key: &str| row[key].as_f64().unwrap();
        let n = get("n") as usize;
        close(one_sided_factor(n, get("content"), get("confidence")).unwrap(), get("one_sided"), 1e-9, "scipy");
        close(two_sided_factor(n, get("content"), get("confidence")).unwrap(), get("two_sided"), 1e-9, "scipy");
    }
    assert!(
        one_sided_factor(1, 0.9, 0.9).is_err()
            && two_sided_factor(10, 1.0, 0.9).is_err()
            && two_sided_factor(10, 0.9, f64::NAN).is_err()
    );
}

/// Common table of distribution-free sample sizes: 59 and 93 for 95/95, 299 and 473 for 99/95 (Wilks 1941).
#[test]
fn order_statistics() {
    assert_eq!(readings_needed(0.95, 0.95, false).unwrap(), 59);
    assert_eq!(readings_needed(0.95, 0.95, true).unwrap(), 93);
    assert_eq!(readings_needed(0.99, 0.95, false).unwrap(), 299);
    assert_eq!(readings_needed(0.99, 0.95, true).unwrap(), 473);
    assert!(order_statistics_one_sided(58, 0.95, 0.95).unwrap().is_none());
    let deep = order_statistics_two_sided(1000, 0.9, 0.95).unwrap().unwrap();
    assert!(deep.confidence >= 0.95 && deep.lower_rank.unwrap() > 30);
    close(count_upper_bound(0, 20, 0.95), 1.0 - 0.05_f64.powf(1.0 / 20.0), 1e-12, "none of 20");
    close(count_lower_bound(20, 20, 0.95), 0.05_f64.powf(1.0 / 20.0), 1e-12, "all of 20");
}

/// The table of ISO 7870-2 (and of every handbook), three decimals; D₄ for n = 3 is printed 2.574 or 2.575, d₃ rounds.
#[test]
fn control_chart_constants() {
    let table = [
        (2, 1.128, 0.853, 0.7979, 1.880, 0.0, 3.267, 0.0, 3.267),
        (3, 1.693, 0.888, 0.8862, 1.023, 0.0, 2.574, 0.0, 2.568),
        (4, 2.059, 0.880, 0.9213, 0.729, 0.0, 2.282, 0.0, 2.266),
        (5, 2.326, 0.864, 0.9400, 0.577, 0.0, 2.114, 0.0, 2.089),
        (6, 2.534, 0.848, 0.9515, 0.483, 0.0, 2.004, 0.030, 1.970),
        (7, 2.704, 0.833, 0.9594, 0.419, 0.076, 1.924, 0.118, 1.882),
        (8, 2.847, 0.820, 0.9650, 0.373, 0.136, 1.864, 0.185, 1.815),
        (9, 2.970, 0.808, 0.9693, 0.337, 0.184, 1.816, 0.239, 1.761),
        (10, 3.078, 0.797, 0.9727, 0.308, 0.223, 1.777, 0.284, 1.716),
        (25, 3.931, 0.708, 0.9896, 0.153, 0.459, 1.541, 0.565, 1.435),
    ];
    for (n, d2, d3, c4, a2, lower_range, upper_range, lower_sd, upper_sd) in table {
        let c = ChartConstants::new(n).unwrap();
        for (found, printed) in [
            (c.d2, d2),
            (c.d3, d3),
            (c.c4, c4),
            (c.a2, a2),
            (c.lower_range, lower_range),
            (c.upper_range, upper_range),
            (c.lower_sd, lower_sd),
            (c.upper_sd, upper_sd),
        ] {
            assert!((found - printed).abs() < 1.1e-3, "n {n}: {found} against {printed}");
        }
    }
    // Closed forms: d₂(2) = 2/√π, d₂(3) = 3/√π, d₃(2)² = 2 − 4/π, c₄(2) = √(2/π).
    let pi = std::f64::consts::PI;
    let two = ChartConstants::new(2).unwrap();
    close(two.d2, 2.0 / pi.sqrt(), 1e-13, "d2(2)");
    close(two.d3, (2.0 - 4.0 / pi).sqrt(), 1e-11, "d3(2)");
    close(ChartConstants::new(3).unwrap().d2, 3.0 / pi.sqrt(), 1e-13, "d2(3)");
    close(c4(2), (2.0 / pi).sqrt(), 1e-14, "c4(2)");
    // d₂* of a gauge study (the reciprocals are the K of the average-and-range method): 1/d₂*(3, one range) = 0.5231, 1/d₂*(10, one) = 0.3146.
    assert!((1.0 / d2_star(3, 1) - 0.5231).abs() < 1e-4 && (1.0 / d2_star(10, 1) - 0.3146).abs() < 1e-4);
    assert!(ChartConstants::new(1).is_err());
}

/// Ten readings of a published individuals chart (values from memory, recomputed).
#[test]
fn individuals_chart() {
    let values = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
    let chart = Chart::individuals(&values, &ChartConstants::new(2).unwrap()).unwrap();
    assert!((chart.location.centre - 50.81).abs() < 1e-12 && (chart.scatter.centre - 1.8778).abs() < 5e-5);
    assert!((chart.location.lower - 45.81591).abs() < 2e-3 && (chart.location.upper - 55.80409).abs() < 2e-3);
    assert!(chart.is_steady());
}

#[test]
fn charts_signal_what_they_should() {
    let constants = ChartConstants::new(2).unwrap();
    let mut values: Vec<f64> = (0..30).map(|i| if i % 2 == 0 { 1.0 } else { -1.0 }).collect();
    values[20] = 30.0;
    let chart = Chart::individuals(&values, &constants).unwrap();
    assert!(chart.location.signals.iter().any(|s| s.kind == SignalKind::BeyondLimit && s.point == 20));
    assert!(chart.scatter.signals.iter().any(|s| s.point == 19) && chart.scatter.signals.iter().any(|s| s.point == 20));
    let drifting: Vec<f64> = (0..20).map(|i| f64::from(i % 7)).collect();
    let chart = Chart::individuals(&drifting, &constants).unwrap();
    assert!(chart.location.signals.iter().any(|s| s.kind == SignalKind::Drift && s.point == 5));
    let one_side: Vec<f64> =
        (0..24).map(|i| if i < 12 { 1.0 + 0.1 * f64::from(i % 2) } else { -1.0 - 0.1 * f64::from(i % 2) }).collect();
    let chart = Chart::individuals(&one_side, &constants).unwrap();
    assert!(chart.location.signals.iter().any(|s| s.kind == SignalKind::OneSide && s.point == 8));
    let groups = Chart::means_and_ranges(&drifting, &ChartConstants::new(5).unwrap()).unwrap();
    assert_eq!((groups.location.points.len(), groups.left_over), (4, 0));
    assert!(Chart::means_and_sds(&drifting[..7], &ChartConstants::new(5).unwrap()).is_err());
    assert!(Chart::individuals(&drifting[..2], &constants).is_err());
}

/// Rosner's 54 values, three outliers (NIST/SEMATECH e-Handbook 1.3.5.17.3; values from memory).
#[test]
fn outliers_of_rosners_example() {
    let values = [
        -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65, 1.69, 1.70,
        1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40,
        2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
    ];
    let critical = CriticalDeviates::new(54, 0.05).unwrap();
    for (found, printed) in critical.values().iter().zip([3.158, 3.151, 3.143, 3.136, 3.128]) {
        assert!((found - printed).abs() < 1e-3, "{found} against {printed}");
    }
    let found = critical.find(&values, 0.0);
    let named: Vec<f64> = found.named.iter().map(|o| o.value).collect();
    assert_eq!(named, [6.01, 5.42, 5.34]);
    for (o, printed) in found.named.iter().zip([3.118, 2.942, 3.179]) {
        assert!((o.deviate - printed).abs() < 1e-3);
    }
    // Grubbs' test, eight masses (e-Handbook 1.3.5.17.1): G = 2.4687, two-sided 5 % point 2.1266.
    let masses = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57];
    let grubbs = CriticalDeviates::new(8, 0.05).unwrap();
    assert!((grubbs.values()[0] - 2.1266).abs() < 1e-4);
    let found = grubbs.find(&masses, 0.0);
    assert!(
        (found.named[0].deviate - 2.4687).abs() < 1e-4 && found.named[0].index == 7 && found.grubbs_p.unwrap() < 0.001
    );
    assert!(grubbs.find(&[1.0; 8], 0.0).named.is_empty());
}

#[test]
fn shape_statistics_by_scipy() {
    let reference = scipy();
    let samples = reference["samples"].as_object().unwrap();
    assert!(samples.len() >= 8);
    for (name, entry) in samples {
        let mut values: Vec<f64> = entry["values"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
        values.sort_unstable_by(f64::total_cmp);
        let weights = ShapiroWilk::new(values.len()).unwrap();
        let w = weights.statistic(&values);
        close(w, entry["w"].as_f64().unwrap(), 1e-7, &format!("{name}, W"));
        let p = entry["w_p"].as_f64().unwrap();
        assert!((weights.p_value(w) - p).abs() < 1e-4 * p + 1e-7, "{name}: p {} against {p}", weights.p_value(w));
        if let Some(a2) = entry["a2"].as_f64() {
            let m = Moments::of(&values);
            close(anderson_darling(&values, m.mean, m.sd()), a2, 1e-9, &format!("{name}, A²"));
        }
    }
    // Critical values of Stephens' table 4.7 for A*²: 10, 5, 2.5, 1 %.
    for (a, p) in [(0.631, 0.10), (0.752, 0.05), (0.873, 0.025), (1.035, 0.01)] {
        assert!((anderson_darling_p(a, 100_000_000) - p).abs() < 0.05 * p, "{a}");
    }
    assert!(ShapiroWilk::new(2).is_none() && ShapiroWilk::new(5001).is_none());
}

/// Johnson curves by scipy (`johnsonsu`, `johnsonsb`): quantiles of given curves; and a fit of quantiles returns the curve.
#[test]
fn johnson_curves() {
    for row in scipy()["curves"].as_array().unwrap() {
        let get = |key: &str| row[key].as_f64().unwrap();
        let list = |key: &str| row[key].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect::<Vec<f64>>();
        let unbounded =
            Johnson::Unbounded { gamma: get("gamma"), eta: get("eta"), xi: get("xi"), lambda: get("su_lambda") };
        let bounded =
            Johnson::Bounded { gamma: get("gamma"), eta: get("eta"), xi: get("xi"), lambda: get("sb_lambda") };
        for ((p, su), sb) in list("p").iter().zip(list("su")).zip(list("sb")) {
            let z = packdrift_numerics::normal::quantile(*p);
            close(unbounded.value(z), su, 1e-12, "SU");
            close(bounded.value(z), sb, 1e-12, "SB");
            assert!((unbounded.score(su) - z).abs() < 1e-9 && (bounded.score(sb) - z).abs() < 1e-9);
        }
        let lognormal = Johnson::Lognormal { gamma: 4.0, eta: 1.2, xi: 0.38, reversed: false };
        let mirrored = Johnson::Lognormal { gamma: 4.0, eta: 1.2, xi: 0.42, reversed: true };
        for curve in [unbounded, bounded, lognormal, mirrored] {
            let n = 20_000;
            let sorted: Vec<f64> = (0..n)
                .map(|i| curve.value(packdrift_numerics::normal::quantile((f64::from(i) + 0.5) / f64::from(n))))
                .collect();
            let fitted = Johnson::fit(&sorted, None).unwrap();
            // A lognormal may be met by a neighbouring curve; its quantiles must still be those.
            for z in [-3.0, -1.0, 0.0, 1.0, 3.0] {
                let spread = curve.value(1.0) - curve.value(-1.0);
                assert!(
                    (fitted.value(z) - curve.value(z)).abs() < 0.02 * spread * z.abs().max(1.0),
                    "{curve:?} at {z}: {fitted:?}"
                );
            }
        }
    }
    assert!(Johnson::fit(&[1.0; 40], None).is_none());
}
