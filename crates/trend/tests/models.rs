//! Each member of the family on made data of its own kind, and the choice among them.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test stops at the first surprise")]

mod common;

use common::{Made, made, push, stream, table, with};
use packdrift_trend::{FeatureResult, ModelChoice, ModelKind, Options, Sums, trend, trend_from_sums};

fn auto(t: &packdrift_trend::Inspections) -> FeatureResult {
    trend(t, None, &Options { series_up_to: 0, ..with(ModelChoice::Auto) }).unwrap().features.remove(0)
}

#[test]
fn auto_takes_the_straight_line_where_there_is_nothing_else() {
    let t = made(Made::default(), 11, 0.0, 1.0).0;
    let r = auto(&t);
    assert_eq!(r.model.as_ref().unwrap().kind, ModelKind::RandomSlope);
    assert!(r.compared.len() >= 6 && r.compared.iter().filter(|c| c.chosen).count() == 1, "{:?}", r.compared);
    assert!(r.compared.iter().all(|c| c.bic.is_some() || !c.note.is_empty()));
}

#[test]
fn auto_finds_the_wander_and_its_size() {
    let t = made(Made { wander: 1.5e-3, readings: (6, 12), valves: 48, ..Made::default() }, 12, 0.0, 1.0).0;
    let m = auto(&t).model.unwrap();
    assert_eq!(m.kind, ModelKind::Wiener);
    assert!((m.sd_wander / 1.5e-3 - 1.0).abs() < 0.25, "{}", m.sd_wander);
}

#[test]
fn auto_finds_the_slope_that_an_engine_shares() {
    let made_so = Made { engine_slope: 3e-5, slope: (4e-5, 1e-5), valves: 160, ..Made::default() };
    let t = made(made_so, 13, 0.0, 1.0).0;
    let m = auto(&t).model.unwrap();
    let shared = m.sd_engine_slope.expect("an engine slope");
    // 40 engines tell a standard deviation to 11 %.
    assert!((shared / 3e-5 - 1.0).abs() < 0.4, "{shared}");
    assert!((m.sd_slope / 1e-5 - 1.0).abs() < 0.4, "{}", m.sd_slope);
}

/// Intake and exhaust drift to opposite sides, and a harsh engine wears both faster by one factor.
#[test]
fn auto_finds_the_factor_that_an_engine_shares_though_its_groups_drift_apart() {
    let mut s = stream(17, "engine factors");
    let mut t = table("contact_offset");
    t.groups = vec!["intake".into(), "exhaust".into()];
    let means = [-2.6e-5, 4.6e-5];
    for e in 0..60_u32 {
        t.engines.push(format!("E{e}"));
        let factor = 1.0 + 0.3 * s.normal();
        for v in 0..4_u32 {
            let valve = t.valves.len() as u32;
            t.valves.push((e, format!("{v}")));
            let slope = factor * means[v as usize % 2] + 6e-6 * s.normal();
            let start = 1.0 + 0.05 * s.normal();
            for k in 0..8 {
                let hours = 800.0 * f64::from(k);
                push(&mut t, valve, 100 * k, hours, start + slope * hours + 0.02 * s.normal());
                *t.group.last_mut().unwrap() = 1 + v % 2;
            }
        }
    }
    let r = auto(&t);
    let shared = r.model.as_ref().unwrap().sd_engine_slope.expect("an engine slope");
    // 0.3 of the root mean square slope; 60 engines tell a standard deviation to 9 %.
    let truth = 0.3 * (0.5 * (means[0] * means[0] + means[1] * means[1])).sqrt();
    assert!((shared / truth - 1.0).abs() < 0.35, "{shared} for {truth}");
    assert!((r.model.unwrap().sd_slope / 6e-6 - 1.0).abs() < 0.35);
}

#[test]
fn auto_finds_running_in_and_its_power() {
    let mut s = stream(14, "running-in");
    let mut t = table("stem_wear");
    for v in 0..60_u32 {
        t.engines.push(format!("E{v}"));
        t.valves.push((v, "1".into()));
        let rate = 0.05 + 0.008 * s.normal();
        for k in 0..8 {
            let hours = 600.0 * f64::from(k) + 400.0 * s.uniform() * f64::from(k.min(1));
            let wear = rate * (hours / 3000.0).powf(0.5);
            push(&mut t, v, k * 100, hours, wear + 0.002 * s.normal());
        }
    }
    let r = auto(&t);
    let m = r.model.unwrap();
    assert_eq!(m.kind, ModelKind::RunningIn, "{:?}", r.compared);
    assert!((m.power.unwrap() - 0.5).abs() < 0.03, "{:?}", m.power);
    // The slope now is that of the curve: p·rate·(h/3000)^(p − 1)/3000.
    let v = &r.valves[0];
    assert!(v.slope > 0.0 && v.slope < 0.05 / 4000.0, "{}", v.slope);
}

#[test]
fn engine_slope_agrees_with_a_dense_evaluation() {
    // The likelihood with shared slopes, against its definition by a general dense matrix: through the sums too.
    let t = made(Made { engine_slope: 3e-5, valves: 24, ..Made::default() }, 15, 0.0, 1.0).0;
    let o = Options { engine_slope: Some(true), ..with(ModelChoice::RandomSlope) };
    let r = trend(&t, None, &o).unwrap();
    let m = r.features[0].model.clone().unwrap();
    let n = t.value.len();
    let (g00, g11, g01) = (m.sd_intercept.powi(2), m.sd_slope.powi(2), m.corr * m.sd_intercept * m.sd_slope);
    let shared = m.sd_engine_slope.unwrap().powi(2);
    let v = nalgebra::DMatrix::from_fn(n, n, |i, k| {
        let (a, b) = (t.hours[i], t.hours[k]);
        let mut sum = if i == k { m.sd_reading.powi(2) } else { 0.0 };
        if t.valve[i] == t.valve[k] {
            sum += g00 + g01 * (a + b) + g11 * a * b;
        }
        if t.valve[i] / 4 == t.valve[k] / 4 {
            sum += shared * a * b;
        }
        sum
    });
    let chol = v.cholesky().unwrap();
    let x = nalgebra::DMatrix::from_fn(n, 2, |i, k| if k == 0 { 1.0 } else { t.hours[i] });
    let y = nalgebra::DVector::from_column_slice(&t.value);
    let xvx = x.transpose() * chol.solve(&x);
    let beta = xvx.clone().cholesky().unwrap().solve(&(x.transpose() * chol.solve(&y)));
    let e = &y - &x * &beta;
    let log_det = 2.0 * chol.l().diagonal().map(f64::ln).sum();
    let deviance = log_det
        + xvx.determinant().ln()
        + e.dot(&chol.solve(&e))
        + (n as f64 - 2.0) * (2.0 * std::f64::consts::PI).ln();
    assert!((-0.5 * deviance - m.log_likelihood).abs() < 1e-6, "{} against {}", -0.5 * deviance, m.log_likelihood);
    assert!((beta[1] / m.slope - 1.0).abs() < 1e-8);
    // Best linear unbiased prediction of the first valve's line, by the same matrices.
    let hours = r.features[0].valves[0].hours;
    let c = nalgebra::DVector::from_fn(n, |i, _| {
        let a = t.hours[i];
        (if t.valve[i] == 0 { g00 + g01 * (a + hours) + g11 * a * hours } else { 0.0 })
            + if t.valve[i] < 4 { shared * a * hours } else { 0.0 }
    });
    let level = beta[0] + beta[1] * hours + c.dot(&chol.solve(&e));
    let v0 = &r.features[0].valves[0];
    assert!((level - v0.level).abs() < 1e-9, "{level} against {}", v0.level);
    let k = nalgebra::DVector::from_vec(vec![1.0, hours]) - x.transpose() * chol.solve(&c);
    let prior = g00 + 2.0 * g01 * hours + (g11 + shared) * hours * hours;
    let var = prior - c.dot(&chol.solve(&c)) + k.dot(&xvx.cholesky().unwrap().solve(&k));
    assert!((var.sqrt() / v0.level_se - 1.0).abs() < 1e-7, "{} against {}", var.sqrt(), v0.level_se);
}

#[test]
fn sums_give_what_readings_give() {
    let mut t = made(Made { valves: 60, engine_slope: 2e-5, ..Made::default() }, 16, 0.0, 1.0).0;
    // Groups and a re-shim, so that segments and mean lines are several.
    t.groups = vec!["intake".into(), "exhaust".into()];
    t.events = vec!["reshim".into()];
    for r in 0..t.value.len() {
        t.group[r] = 1 + t.valve[r] % 2;
        if t.valve[r] % 5 == 0 && t.day[r] == 360 {
            t.event[r] = 1;
        }
    }
    for engine_slope in [None, Some(true)] {
        let o = Options { engine_slope, ..with(ModelChoice::RandomSlope) };
        let p = common::policy("contact_offset", Some(0.4), Some(1.6), 2000.0);
        let a = trend(&t, Some(&p), &o).unwrap().features.remove(0);
        let b = trend_from_sums(&Sums::of(&t).unwrap(), Some(&p), &o).unwrap().features.remove(0);
        let same = |x: f64, y: f64| assert!((x - y).abs() <= 1e-10 * x.abs().max(1e-12), "{x} against {y}");
        let (ma, mb) = (a.model.unwrap(), b.model.unwrap());
        same(ma.log_likelihood, mb.log_likelihood);
        same(ma.sd_slope, mb.sd_slope);
        same(ma.groups[1].slope, mb.groups[1].slope);
        assert_eq!(ma.groups.len(), 2);
        assert_eq!(a.valves.len(), b.valves.len());
        for (x, y) in a.valves.iter().zip(&b.valves) {
            assert_eq!(
                (x.engine.as_str(), x.valve.as_str(), x.segment),
                (y.engine.as_str(), y.valve.as_str(), y.segment)
            );
            same(x.level, y.level);
            same(x.slope_se, y.slope_se);
            same(x.chance_by_horizon.unwrap(), y.chance_by_horizon.unwrap());
            if let (Some(h), Some(k)) = (x.crossing_hours.p50, y.crossing_hours.p50) {
                assert!((h / k - 1.0).abs() < 1e-8, "{h} against {k}");
            }
        }
    }
}
