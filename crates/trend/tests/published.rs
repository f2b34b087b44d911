//! Against published data and the values of well-kept mixed-model libraries.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test stops at the first surprise")]

mod common;

use common::{push, sleepstudy, table, with};
use packdrift_trend::{Estimator, FitStatus, ModelChoice, Options, trend};

fn close(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{found} against {expected}");
}

/// sleepstudy, `Reaction ~ Days + (Days | Subject)`, by REML. Closed forms of the balanced design; lme4 1.1-31 gives the same to the
/// digits it converges to (about 1e-6 on variances).
#[test]
fn sleepstudy_by_reml() {
    let r = trend(&sleepstudy(), None, &with(ModelChoice::RandomSlope)).unwrap();
    let f = &r.features[0];
    assert_eq!((f.method, f.rows, f.valves_count, f.segments), ("REML", 180, 18, 18));
    assert_eq!(f.diagnostics.status, FitStatus::Ok, "{}", f.diagnostics.reason);
    let m = f.model.as_ref().unwrap();
    close(m.intercept, 251.40510485, 1e-10);
    close(m.slope, 10.46728596, 1e-9);
    close(m.intercept_se, 6.82455653206907, 1e-9);
    close(m.slope_se, 1.54578889629472, 1e-9);
    close(m.sd_intercept, 612.08993866252545_f64.sqrt(), 1e-9);
    close(m.sd_slope, 35.07166049831739_f64.sqrt(), 1e-9);
    close(m.corr, 9.60433331674409 / (612.08993866252545_f64 * 35.07166049831739).sqrt(), 1e-8);
    close(m.sd_reading, 654.94102707229882_f64.sqrt(), 1e-9);
    close(m.log_likelihood.unwrap(), -871.81413597924538, 1e-12);
    assert_eq!(m.parameters, 6);
    // Predictions for 308 on day 9: fleet's line plus the deviations 2.25856554981900 and 9.19897187951519.
    let v = &f.valves[0];
    assert_eq!((v.engine.as_str(), v.readings, v.hours), ("308", 10, 9.0));
    close(v.slope, 10.467285959596 + 9.19897187951519, 1e-9);
    close(v.level, 251.405104848485 + 2.258565549819 + 9.0 * (10.467285959596 + 9.19897187951519), 1e-9);
    // Two more subjects from lme4, which is about 2e-5 from the closed form on 308 too.
    assert!((f.valves[1].slope - (10.46728596 - 8.6196806)).abs() < 5e-5);
    assert!((f.valves[2].slope - (10.46728596 - 5.4488565)).abs() < 5e-5);
    assert!(f.valves[1].status.is_none() && f.valves[1].chance_by_horizon.is_none());
}

#[test]
fn sleepstudy_by_ml() {
    let o = Options { estimator: Estimator::Ml, ..with(ModelChoice::RandomSlope) };
    let r = trend(&sleepstudy(), None, &o).unwrap();
    let m = r.features[0].model.clone().unwrap();
    assert_eq!(r.features[0].method, "ML");
    close(m.intercept_se, 6.63227680702450, 1e-9);
    close(m.slope_se, 1.50223678231342, 1e-9);
    close(m.sd_intercept, 565.51536680311880_f64.sqrt(), 1e-9);
    close(m.sd_slope, 32.68219718640932_f64.sqrt(), 1e-9);
    close(m.corr, 11.05542902259860 / (565.51536680311880_f64 * 32.68219718640932).sqrt(), 1e-8);
    close(m.log_likelihood.unwrap(), -875.96967223159881, 1e-12);
}

/// Units must not matter: readings and hours scaled by powers of ten give the same answers, scaled.
#[test]
fn rescaling_changes_nothing_else() {
    let base = trend(&sleepstudy(), None, &with(ModelChoice::RandomSlope)).unwrap();
    let base = base.features[0].model.clone().unwrap();
    for (hours, value) in [(1e6, 1.0), (1e-6, 1.0), (1.0, 1e6), (1.0, 1e-6), (1e3, 1e-3)] {
        let mut t = sleepstudy();
        t.hours.iter_mut().for_each(|h| *h *= hours);
        t.value.iter_mut().for_each(|v| *v *= value);
        let r = trend(&t, None, &with(ModelChoice::RandomSlope)).unwrap();
        assert_eq!(r.features[0].diagnostics.status, FitStatus::Ok);
        let m = r.features[0].model.clone().unwrap();
        close(m.slope, base.slope * value / hours, 1e-8);
        close(m.sd_slope, base.sd_slope * value / hours, 1e-8);
        close(m.sd_intercept, base.sd_intercept * value, 1e-8);
        close(m.corr, base.corr, 1e-7);
        // The readings' mean moves far away: the scatter stays.
        let mut t = sleepstudy();
        t.value.iter_mut().for_each(|v| *v += 1e6);
        let m = trend(&t, None, &with(ModelChoice::RandomSlope)).unwrap().features[0].model.clone().unwrap();
        close(m.sd_slope, base.sd_slope, 1e-6);
    }
}

/// Balanced straight-line data with no scatter between valves: the fixed effects are least squares', the status says Boundary.
#[test]
fn no_scatter_between_valves_is_ordinary_least_squares() {
    let mut t = table("f");
    for v in 0..8_u32 {
        t.engines.push(format!("E{v}"));
        t.valves.push((v, "1".into()));
    }
    // Each valve's errors alternate in sign: their means and slopes nearly vanish.
    for v in 0..8_u32 {
        let d = f64::from(v) - 3.5;
        for (k, c) in [1.0, -2.0, 2.0, -2.0, 1.0].into_iter().enumerate() {
            push(&mut t, v, k as i32, k as f64, 3.0 + 0.5 * k as f64 + 0.1 * c * d);
        }
    }
    let r = trend(&t, None, &with(ModelChoice::RandomSlope)).unwrap();
    let f = &r.features[0];
    assert_eq!(f.diagnostics.status, FitStatus::Boundary);
    assert!(f.diagnostics.reason.contains("estimated as 0"), "{}", f.diagnostics.reason);
    let m = f.model.as_ref().unwrap();
    // Least squares over all readings, by its formula.
    let n = t.value.len() as f64;
    let (mh, mv) = (t.hours.iter().sum::<f64>() / n, t.value.iter().sum::<f64>() / n);
    let sxy: f64 = t.hours.iter().zip(&t.value).map(|(h, v)| (h - mh) * (v - mv)).sum();
    let sxx: f64 = t.hours.iter().map(|h| (h - mh).powi(2)).sum();
    close(m.slope, sxy / sxx, 1e-10);
    close(m.intercept, mv - sxy / sxx * mh, 1e-10);
    assert!(m.sd_slope.abs() < 1e-15 && m.sd_intercept.abs() < 1e-15);
}
