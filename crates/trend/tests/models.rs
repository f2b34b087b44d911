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
    let m = r.model.as_ref().unwrap();
    // The model that holds all, with a power near 1 and next to no wander: beside 0.02 mm of a reading it adds less than that a year.
    assert_eq!(m.kind, ModelKind::Integrated);
    assert!((m.power.unwrap() - 1.0).abs() < 0.1 && m.sd_wander * 2000.0_f64.sqrt() < 0.02, "{m:?}");
    // Each that was compared says how much it weighs, and of the plain line BIC still thinks best among the plain ones.
    let weights: f64 = r.compared.iter().map(|c| c.weight).sum();
    assert!((weights - 1.0).abs() < 1e-12 && r.compared.iter().filter(|c| c.chosen).count() == 1, "{:?}", r.compared);
    let bic = |kind| r.compared.iter().find(|c| c.kind == kind).and_then(|c| c.bic).unwrap();
    assert!(
        bic(ModelKind::RandomSlope) < bic(ModelKind::Wiener) && bic(ModelKind::RandomSlope) < bic(ModelKind::RunningIn)
    );
    assert!(r.compared.iter().all(|c| c.weight > 0.0 || c.bic.is_some() || !c.note.is_empty()));
}

#[test]
fn auto_finds_the_wander_and_its_size() {
    let t = made(Made { wander: 1.5e-3, readings: (6, 12), valves: 48, ..Made::default() }, 12, 0.0, 1.0).0;
    let m = auto(&t).model.unwrap();
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
    assert!((m.power.unwrap() - 0.5).abs() < 0.05, "{:?}", m.power);
    // The slope now is that of the curve: p·rate·(h/3000)^(p − 1)/3000.
    let v = &r.valves[0];
    assert!(v.slope > 0.0 && v.slope < 0.05 / 4000.0, "{}", v.slope);
}

#[test]
fn shared_and_kept_slopes_agree_with_a_dense_evaluation() {
    // The likelihood with slopes that an engine shares and that a valve keeps through its re-shims, against its definition by a general
    // dense matrix. Every third valve is re-shimmed, every fifth has a part replaced, in its fourth round.
    let made_so = Made { engine_slope: 3e-5, valves: 24, readings: (7, 10), ..Made::default() };
    let mut t = made(made_so, 15, 0.0, 1.0).0;
    t.events = vec!["reshim".into(), "replace".into()];
    let (mut segment, mut kept, mut tau) = (vec![0; t.value.len()], vec![0; t.value.len()], vec![0.0; t.value.len()]);
    let (mut segments, mut parts, mut origin) = (0, 0, 0.0);
    for r in 0..t.value.len() {
        let begins = r == 0 || t.valve[r] != t.valve[r - 1];
        if t.day[r] == 540 && t.valve[r] % 5 == 0 {
            t.event[r] = 2;
        } else if t.day[r] == 540 && t.valve[r] % 3 == 0 {
            t.event[r] = 1;
        }
        if begins || t.event[r] > 0 {
            segments += 1;
            origin = t.hours[r];
        }
        if begins || t.event[r] == 2 {
            parts += 1;
        }
        (segment[r], kept[r], tau[r]) = (segments, parts, t.hours[r] - origin);
    }
    let o = Options {
        engine_slope: Some(true),
        valve_slope: Some(true),
        average_points: 1,
        ..with(ModelChoice::RandomSlope)
    };
    let r = trend(&t, None, &o).unwrap();
    let m = r.features[0].model.clone().unwrap();
    let n = t.value.len();
    let (shared, kept_slope) = (m.sd_engine_slope.unwrap().powi(2), m.sd_valve_slope.unwrap().powi(2));
    assert!(shared > 0.0 && kept_slope > 0.0);
    let (g00, g11, g01) =
        (m.sd_intercept.powi(2), m.sd_slope.powi(2) - kept_slope, m.corr * m.sd_intercept * m.sd_slope);
    // Covariance of the true values at reading i and at `b` hours of the segment of reading k.
    let truth = |i: usize, k: usize, b: f64| {
        let a = tau[i];
        let mut sum = 0.0;
        if segment[i] == segment[k] {
            sum += g00 + g01 * (a + b) + g11 * a * b;
        }
        if kept[i] == kept[k] {
            sum += kept_slope * a * b;
        }
        if t.valve[i] / 4 == t.valve[k] / 4 {
            sum += shared * a * b;
        }
        sum
    };
    let v =
        nalgebra::DMatrix::from_fn(n, n, |i, k| truth(i, k, tau[k]) + if i == k { m.sd_reading.powi(2) } else { 0.0 });
    let chol = v.cholesky().unwrap();
    let x = nalgebra::DMatrix::from_fn(n, 2, |i, k| if k == 0 { 1.0 } else { tau[i] });
    let y = nalgebra::DVector::from_column_slice(&t.value);
    let xvx = x.transpose() * chol.solve(&x);
    let beta = xvx.clone().cholesky().unwrap().solve(&(x.transpose() * chol.solve(&y)));
    let e = &y - &x * &beta;
    let log_det = 2.0 * chol.l().diagonal().map(f64::ln).sum();
    let deviance = log_det
        + xvx.determinant().ln()
        + e.dot(&chol.solve(&e))
        + (n as f64 - 2.0) * (2.0 * std::f64::consts::PI).ln();
    assert!(
        (-0.5 * deviance - m.log_likelihood.unwrap()).abs() < 1e-6,
        "{} against {:?}",
        -0.5 * deviance,
        m.log_likelihood
    );
    assert!((beta[1] / m.slope - 1.0).abs() < 1e-8);
    // Best linear unbiased prediction of every valve's level and slope, by the same matrices: valve 0 has had a part replaced, 3 is
    // re-shimmed, others are neither.
    for valve in 0..24_u32 {
        let last = (0..n).rfind(|i| t.valve[*i] == valve).unwrap();
        let hours = tau[last];
        let found = &r.features[0].valves[valve as usize];
        let c = nalgebra::DVector::from_fn(n, |i, _| truth(i, last, hours));
        // The slope is the difference of the level over an hour.
        let d = nalgebra::DVector::from_fn(n, |i, _| truth(i, last, hours + 1.0) - truth(i, last, hours));
        let level = beta[0] + beta[1] * hours + c.dot(&chol.solve(&e));
        assert!((level - found.level).abs() < 1e-9, "{level} against {}", found.level);
        let slope = beta[1] + d.dot(&chol.solve(&e));
        assert!((slope / found.slope - 1.0).abs() < 1e-6, "{slope} against {}", found.slope);
        let inverse = xvx.clone().cholesky().unwrap();
        let k = nalgebra::DVector::from_vec(vec![1.0, hours]) - x.transpose() * chol.solve(&c);
        let prior = g00 + 2.0 * g01 * hours + (g11 + kept_slope + shared) * hours * hours;
        let var = prior - c.dot(&chol.solve(&c)) + k.dot(&inverse.solve(&k));
        assert!((var.sqrt() / found.level_se - 1.0).abs() < 1e-6, "{} against {}", var.sqrt(), found.level_se);
        let k = nalgebra::DVector::from_vec(vec![0.0, 1.0]) - x.transpose() * chol.solve(&d);
        let var = g11 + kept_slope + shared - d.dot(&chol.solve(&d)) + k.dot(&inverse.solve(&k));
        assert!((var.sqrt() / found.slope_se - 1.0).abs() < 1e-6, "{} against {}", var.sqrt(), found.slope_se);
    }
}

/// Valves that are re-shimmed because they drift fast, with slopes that outlast the re-shim.
#[test]
fn auto_finds_the_slope_that_a_valve_keeps() {
    let mut s = stream(18, "kept slopes");
    let mut t = table("contact_offset");
    t.events = vec!["reshim".into()];
    let mut truth = Vec::new();
    for v in 0..120_u32 {
        if v % 4 == 0 {
            t.engines.push(format!("E{v}"));
        }
        t.valves.push((v / 4, format!("{v}")));
        let slope = 4e-5 + 1.5e-5 * s.normal();
        let mut offset = 1.0 + 0.05 * s.normal();
        for k in 0..10 {
            let reading = offset + 0.02 * s.normal();
            push(&mut t, v, 180 * k, 1200.0 * f64::from(k), reading);
            if reading > 1.35 {
                offset = 1.0 + 0.05 * s.normal();
                push(&mut t, v, 180 * k + 1, 1200.0 * f64::from(k) + 1.0, offset + 0.02 * s.normal());
                *t.event.last_mut().unwrap() = 1;
            }
            offset += 1200.0 * slope;
        }
        truth.push(slope);
    }
    let r = auto(&t);
    let m = r.model.as_ref().unwrap();
    let kept = m.sd_valve_slope.expect("a slope that valves keep");
    // 120 valves tell a standard deviation to 6.5 %; all of it is kept.
    assert!((kept / 1.5e-5 - 1.0).abs() < 0.25 && m.sd_slope - kept < 2e-6, "{kept} of {}", m.sd_slope);
    // Errors of the slopes of re-shimmed valves: root mean square, and the mean in stated standard errors.
    let miss = |r: &FeatureResult| {
        let again: Vec<(f64, f64)> = r
            .valves
            .iter()
            .filter(|v| v.segment > 1)
            .map(|v| (truth[v.valve_index as usize] - v.slope, v.slope_se))
            .collect();
        assert!(again.len() > 20);
        let n = again.len() as f64;
        ((again.iter().map(|e| e.0 * e.0).sum::<f64>() / n).sqrt(), again.iter().map(|e| e.0 / e.1).sum::<f64>() / n)
    };
    let apart = trend(&t, None, &Options { valve_slope: Some(false), series_up_to: 0, ..with(ModelChoice::Auto) });
    let (kept, apart) = (miss(&r), miss(&apart.unwrap().features[0]));
    // The mean of some forty standardised errors scatters by 0.16. The readings before the re-shim tell more of the slope than the few since.
    assert!(kept.1.abs() < 0.56 && kept.0 < 0.7 * apart.0, "kept {kept:?}, apart {apart:?}");
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
    for (engine_slope, valve_slope) in [(None, None), (Some(true), None), (Some(true), Some(true))] {
        let o = Options { engine_slope, valve_slope, ..with(ModelChoice::RandomSlope) };
        let p = common::policy("contact_offset", Some(0.4), Some(1.6), 2000.0);
        let a = trend(&t, Some(&p), &o).unwrap().features.remove(0);
        let b = trend_from_sums(&Sums::of(&t).unwrap(), Some(&p), &o).unwrap().features.remove(0);
        let same = |x: f64, y: f64| assert!((x - y).abs() <= 1e-10 * x.abs().max(1e-12), "{x} against {y}");
        let (ma, mb) = (a.model.unwrap(), b.model.unwrap());
        same(ma.log_likelihood.unwrap(), mb.log_likelihood.unwrap());
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

/// A fresh valve's chance is the same whether the mean line's error is part of every point, or the points are draws of the line; and the draws
/// scatter as much as the lines' errors say.
#[test]
fn draws_of_the_fleet_average_to_its_prospect() {
    let (t, _) = made(Made { valves: 24, readings: (5, 8), ..Made::default() }, 21, 0.0, 1.0);
    let policy = common::policy("contact_offset", Some(0.4), Some(1.6), 2000.0);
    let r = trend(&t, Some(&policy), &with(ModelChoice::RandomSlope)).unwrap().features.remove(0);
    let (fleet, line) = (&r.fleet[0], &r.model.as_ref().unwrap().groups[0]);
    assert!(fleet.drawn.points() >= 64);
    let at = |h: f64| (fleet.prospect.value_at(h), fleet.drawn.value_at(h));
    for h in [0.0, 4000.0, 12_000.0] {
        let ((mean, sd), (drawn, drawn_sd)) = at(h);
        // Four standard errors of a mean of 64 draws of the line.
        let error = 4.0 * (line.intercept_se + line.slope_se * h) / 8.0;
        assert!(
            (mean - drawn).abs() < error && (sd / drawn_sd - 1.0).abs() < 0.15,
            "{h}: {mean} {drawn} {sd} {drawn_sd}"
        );
    }
    for h in [8000.0, 14_000.0] {
        let (whole, drawn) = (fleet.prospect.chance_within(h), fleet.drawn.chance_within(h));
        assert!((whole - drawn).abs() < 0.05, "{h}: {whole} {drawn}");
    }
}
