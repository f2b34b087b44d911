//! The gamma process on a made fleet of known truth.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test stops at the first surprise")]

mod common;

use common::{policy, push, stream, table, with};
use packdrift_numerics::special::chi_squared_quantile;
use packdrift_trend::{Inspections, ModelChoice, ModelKind, Options, ReadingErrors, trend};

/// Stem wear: increments Gamma(shape a·z·h, scale b), z with a coefficient of variation of 0.25, readings ± 0.004 mm. Truth now and
/// after 3000 hours beside it.
fn worn(valves: u32, seed: u64) -> (Inspections, Vec<(f64, f64)>) {
    let (a, b, cv) = (6.0e-3, 0.002, 0.25_f64);
    let mut s = stream(seed, "wear");
    let mut t = table("stem_wear");
    let mut truth = Vec::new();
    for v in 0..valves {
        t.engines.push(format!("E{v}"));
        t.valves.push((v, "1".into()));
        let df = 2.0 / (cv * cv);
        let z = chi_squared_quantile(df, s.uniform()) / df;
        let grow = |hours: f64, u: f64| b / 2.0 * chi_squared_quantile(2.0 * a * z * hours, u);
        let (mut x, mut hours) = (0.0, 0.0);
        for k in 0..8 {
            if k > 0 {
                let dt = 500.0 + 400.0 * s.uniform();
                x += grow(dt, s.uniform());
                hours += dt;
            }
            push(&mut t, v, k * 200, hours, x + 0.004 * s.normal());
        }
        truth.push((x, x + grow(3000.0, s.uniform())));
    }
    (t, truth)
}

#[test]
fn parameters_levels_and_chances() {
    let p = policy("stem_wear", None, Some(0.11), 3000.0);
    let (mut happened, mut forecast, mut variance, mut within, mut count) = (0.0, 0.0, 0.0, 0.0, 0.0);
    {
        let (t, truth) = worn(40, 1);
        let r = trend(&t, Some(&p), &Options { series_up_to: 0, ..with(ModelChoice::Gamma) }).unwrap();
        let f = &r.features[0];
        let m = f.model.as_ref().expect(&f.diagnostics.reason);
        let g = m.gamma.expect("gamma parameters");
        // 40 valves with a 25 % scatter of rates tell the mean to about 4 %.
        assert!((m.slope / 1.2e-5 - 1.0).abs() < 0.15, "{}", m.slope);
        assert!((m.sd_reading / 0.004 - 1.0).abs() < 0.2, "{}", m.sd_reading);
        assert!((0.1..0.4).contains(&g.rate_cv), "{}", g.rate_cv);
        for v in &f.valves {
            let (level, later) = truth[v.valve_index as usize];
            within += f64::from(u8::from((v.level - level).abs() < 1.96 * v.level_se));
            let c = v.chance_by_horizon.unwrap();
            forecast += c;
            variance += c * (1.0 - c);
            happened += f64::from(u8::from(later > 0.11));
            count += 1.0;
            if let (Some(a), Some(b)) = (v.crossing_hours.p05, v.crossing_hours.p95) {
                assert!(a < b && a >= v.hours);
            }
        }
    }
    assert!((happened - forecast).abs() < 3.5 * variance.sqrt(), "{happened} happened, {forecast} forecast");
    // 95 % of 40, less 3 standard errors of 3.4 %.
    assert!(within / count > 0.84, "{}", within / count);
}

#[test]
fn auto_compares_it_and_a_falling_feature_is_turned_over() {
    let (mut t, _) = worn(14, 3);
    t.value.iter_mut().for_each(|v| *v = 12.0 - *v);
    let r = trend(&t, None, &Options { series_up_to: 0, ..with(ModelChoice::Auto) }).unwrap();
    let f = &r.features[0];
    let gamma = f.compared.iter().find(|c| c.kind == ModelKind::Gamma).unwrap();
    assert!(gamma.bic.is_some(), "{}", gamma.note);
    let m = trend(&t, None, &with(ModelChoice::Gamma)).unwrap().features[0].model.clone().unwrap();
    assert!(m.slope < 0.0 && (m.intercept - 12.0).abs() < 0.01);
}

/// Three depths in 320 are misread by ten standard deviations, two of them downwards, which no wear that cannot heal allows.
#[test]
fn misread_depths_do_not_rule_the_gamma_process_out() {
    let (mut t, truth) = worn(40, 5);
    let off = [(20, 0.04), (101, -0.04), (255, -0.04)];
    for (row, by) in off {
        t.value[row] += by;
    }
    let p = policy("stem_wear", None, Some(0.11), 3000.0);
    let f = trend(&t, Some(&p), &Options { series_up_to: 0, ..with(ModelChoice::Auto) }).unwrap().features.remove(0);
    let m = f.model.as_ref().expect(&f.diagnostics.reason);
    assert_eq!(m.kind, ModelKind::Gamma, "{:?}", f.compared);
    // The misread depths are left out, so that the errors of the others are normal.
    assert!(m.reading_df.is_none(), "{:?}", m.reading_df);
    assert!((0.003..0.005).contains(&m.sd_reading) && (m.slope / 1.2e-5 - 1.0).abs() < 0.15, "{m:?}");
    for (row, _) in off {
        let s = f.suspected.iter().find(|s| s.line as usize == row + 1).expect("a misread depth is named");
        assert!(s.weight < 0.2, "{s:?}");
    }
    assert!(f.suspected.len() <= 4 && f.steps.is_empty(), "{:?} {:?}", f.suspected, f.steps);
    // The valves misread are where they were: 20/8 = valve 2 and so on.
    for (row, _) in off {
        let v = &f.valves[row / 8];
        assert!((v.level - truth[row / 8].0).abs() < 3.0 * v.level_se, "{} for {}", v.level, truth[row / 8].0);
    }
    let trusting = Options { reading_errors: ReadingErrors::Normal, series_up_to: 0, ..with(ModelChoice::Gamma) };
    let trusting = trend(&t, Some(&p), &trusting).unwrap().features.remove(0);
    assert!(trusting.model.is_none_or(|m| m.sd_reading > 0.005));
}

/// Increments that scatter as much as their mean are long on one side: normal increments of the same variance would call the longest a part
/// that slipped. A part that truly slipped is named still.
#[test]
fn a_long_increment_is_no_jump_and_a_slip_is() {
    let made = |seed: u64, slipped: bool| {
        let mut s = stream(seed, "long increments");
        let mut t = table("stem_wear");
        for v in 0..24_u32 {
            t.engines.push(format!("E{v}"));
            t.valves.push((v, "1".into()));
            let mut x = 0.0;
            for k in 0..7 {
                if k > 0 {
                    // An exponential, mean 0.008.
                    x += 0.004 * chi_squared_quantile(2.0, s.uniform());
                }
                let slip = if slipped && v == 11 && k >= 4 { 0.12 } else { 0.0 };
                push(&mut t, v, k * 200, 700.0 * f64::from(k), x + slip + 0.002 * s.normal());
            }
        }
        trend(&t, None, &Options { series_up_to: 0, ..with(ModelChoice::Auto) }).unwrap().features.remove(0)
    };
    let f = made(1, false);
    assert_eq!(f.model.as_ref().unwrap().kind, ModelKind::Gamma, "{:?}", f.compared);
    assert!(f.steps.is_empty(), "{:?}", f.steps);
    let f = made(1, true);
    assert_eq!(f.steps.len(), 1, "{:?}", f.steps);
    // Its size takes in the increment of that round, 0.008 ± 0.008.
    assert!(f.steps[0].engine == "E11" && (0.10..0.16).contains(&f.steps[0].size), "{:?}", f.steps);
}
