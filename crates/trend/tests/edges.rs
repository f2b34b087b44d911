//! Tables at the edge of what can be said: every one has a defined answer or a refusal in words.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test stops at the first surprise")]

mod common;

use common::{policy, push, table, with};
use packdrift_trend::{FitStatus, Inspections, ModelChoice, Options, Policy, Status, TrendError, TrendWarning, trend};

fn readings(valves: &[&[(f64, f64)]]) -> Inspections {
    let mut t = table("f");
    t.engines.push("E1".into());
    for (v, readings) in valves.iter().enumerate() {
        t.valves.push((0, format!("{}", v + 1)));
        for (k, (hours, value)) in readings.iter().enumerate() {
            push(&mut t, v as u32, k as i32 * 100, *hours, *value);
        }
    }
    t
}

fn limits() -> Policy {
    policy("f", Some(0.4), Some(1.6), 2000.0)
}

#[test]
fn one_valve_with_two_readings_is_refused_or_answered_by_the_known_error() {
    let t = readings(&[&[(0.0, 1.0), (1000.0, 1.05)]]);
    for model in [ModelChoice::RandomSlope, ModelChoice::Wiener, ModelChoice::RunningIn, ModelChoice::Gamma] {
        let r = trend(&t, Some(&limits()), &with(model)).unwrap();
        let f = &r.features[0];
        assert_eq!(f.diagnostics.status, FitStatus::NotEstimable, "{model:?}");
        // Nothing is forecast, and nobody is calmed.
        assert!(f.model.is_none() && f.valves[0].level.is_nan() && f.valves[0].chance_by_horizon.is_none());
        assert_eq!(f.valves[0].status, Some(Status::NotShown));
        assert_eq!(r.verdict().exit_status(), 1);
        assert!(f.diagnostics.reason.contains("reading_sd"), "{}", f.diagnostics.reason);
        assert!(matches!(r.warnings[0], TrendWarning::NotFitted { .. }));
    }
    // `auto` has a prior for the reading error, from the limits, and is as unsure as that makes it: two readings 0.05 mm apart tell nothing of
    // wear that may wander by as much.
    let r = trend(&t, Some(&limits()), &with(ModelChoice::Auto)).unwrap();
    let v = &r.features[0].valves[0];
    assert!(v.level_se > 0.005 && v.slope_se > 2e-5, "{} {}", v.level_se, v.slope_se);
    let mut p = limits();
    p.features.get_mut("f").unwrap().reading_sd = Some(0.02);
    let r = trend(&t, Some(&p), &with(ModelChoice::RandomSlope)).unwrap();
    let v = &r.features[0].valves[0];
    // The line through both readings; the slope errs by √2·0.02/1000.
    assert!((v.slope - 5e-5).abs() < 1e-12 && (v.slope_se - 0.02 * 2.0_f64.sqrt() / 1000.0).abs() < 1e-12);
    assert!((v.level - 1.05).abs() < 1e-12 && (v.level_se - 0.02).abs() < 1e-12);
    assert_eq!(r.features[0].diagnostics.status, FitStatus::Boundary);
}

#[test]
fn one_valve_with_five_readings_is_its_own_least_squares_line() {
    let t = readings(&[&[(0.0, 1.0), (500.0, 1.03), (1000.0, 1.04), (1500.0, 1.08), (2000.0, 1.09)]]);
    let r = trend(&t, Some(&limits()), &with(ModelChoice::RandomSlope)).unwrap();
    let v = &r.features[0].valves[0];
    // Least squares by hand: Σ(h − 1000)(y − 1.048)/Σ(h − 1000)² = 115/2.5e6.
    assert!((v.slope - 4.6e-5).abs() < 1e-12, "{}", v.slope);
    assert!(v.chance_by_horizon.is_some_and(|c| (0.0..=1.0).contains(&c)));
}

#[test]
fn a_valve_read_once_is_forecast_from_the_fleet() {
    let t = readings(&[
        &[(0.0, 1.0), (800.0, 1.05), (1600.0, 1.07)],
        &[(0.0, 1.1), (800.0, 1.12), (1600.0, 1.18)],
        &[(0.0, 0.95), (800.0, 0.99), (1600.0, 1.05)],
        &[(0.0, 1.04), (800.0, 1.06), (1600.0, 1.11)],
        &[(700.0, 1.3)],
    ]);
    for model in [ModelChoice::RandomSlope, ModelChoice::Auto] {
        let r = trend(&t, Some(&limits()), &with(model)).unwrap();
        let f = &r.features[0];
        let (v, m) = (&f.valves[4], f.model.as_ref().unwrap());
        assert_eq!((v.readings, v.hours), (1, 700.0));
        assert!(v.slope > 0.3 * m.slope && v.slope < 3.0 * m.slope);
        assert!(v.slope_se > 0.0 && v.level_se > 0.0 && v.level_se.is_finite());
        assert!(v.status.is_some());
    }
}

#[test]
fn nobody_read_twice_tells_no_drift() {
    let t = readings(&[&[(100.0, 1.0)], &[(200.0, 1.1)], &[(300.0, 0.9)]]);
    let r = trend(&t, None, &with(ModelChoice::RandomSlope)).unwrap();
    assert_eq!(r.features[0].diagnostics.status, FitStatus::NotEstimable);
    assert!(r.features[0].diagnostics.reason.contains("read again"));
}

#[test]
fn readings_exactly_on_lines_and_all_alike() {
    let exact = readings(&[
        &[(0.0, 1.0), (1000.0, 1.1), (2000.0, 1.2)],
        &[(0.0, 1.1), (1000.0, 1.15), (2000.0, 1.2)],
        &[(0.0, 0.9), (1000.0, 1.05), (2000.0, 1.2)],
        &[(0.0, 1.0), (1000.0, 1.02), (2000.0, 1.04)],
    ]);
    let r = trend(&exact, Some(&limits()), &with(ModelChoice::RandomSlope)).unwrap();
    let f = &r.features[0];
    assert!(f.model.is_some(), "{}", f.diagnostics.reason);
    assert!(f.diagnostics.reason.contains("exactly"));
    for (v, slope) in f.valves.iter().zip([1e-4, 5e-5, 1.5e-4, 2e-5]) {
        assert!((v.slope - slope).abs() < 1e-8, "{} against {slope}", v.slope);
    }
    let constant = readings(&[&[(0.0, 1.0), (500.0, 1.0), (900.0, 1.0)], &[(0.0, 1.0), (700.0, 1.0), (900.0, 1.0)]]);
    for model in [ModelChoice::RandomSlope, ModelChoice::Auto, ModelChoice::Wiener, ModelChoice::Gamma] {
        let r = trend(&constant, Some(&limits()), &with(model)).unwrap();
        for v in &r.features[0].valves {
            if r.features[0].model.is_none() {
                // A gamma process has no drift to find here.
                assert_eq!((model, v.status), (ModelChoice::Gamma, Some(Status::NotShown)));
                continue;
            }
            // `auto` holds wear that has not begun to show and then speeds up, over a horizon of twice the record: some 0.2 %.
            let chance = if model == ModelChoice::Auto { 0.01 } else { 1e-6 };
            let found = v.chance_by_horizon.unwrap();
            assert!((v.level - 1.0).abs() < 1e-6 && v.slope.abs() < 1e-9 && found < chance, "{model:?} {v:?}");
            // By name the average over variances that may all be 0 rests on a few draws, and then nobody is calmed by it.
            let calm = v.status == Some(Status::InWindow);
            let open = v.status == Some(Status::NotShown) && r.features[0].diagnostics.average_effective < 200.0;
            assert!(calm || (model != ModelChoice::Auto && open), "{model:?}: {:?}", v.verdict);
        }
    }
}

#[test]
fn a_valve_outside_is_overdue_now() {
    let t = readings(&[
        &[(0.0, 1.5), (800.0, 1.6), (1600.0, 1.71)],
        &[(0.0, 1.1), (800.0, 1.12), (1600.0, 1.18)],
        &[(0.0, 0.95), (800.0, 0.99), (1600.0, 1.05)],
    ]);
    let r = trend(&t, Some(&limits()), &with(ModelChoice::RandomSlope)).unwrap();
    let v = &r.features[0].valves[0];
    assert_eq!(v.status, Some(Status::Overdue));
    assert_eq!(v.crossing_hours.p50, Some(1600.0));
}

#[test]
fn bad_policies_tables_and_options_are_errors_with_their_values() {
    let t = readings(&[&[(0.0, 1.0), (500.0, 1.1), (900.0, 1.2)]]);
    let bad = |change: fn(&mut Policy)| {
        let mut p = limits();
        change(&mut p);
        trend(&t, Some(&p), &Options::default())
    };
    assert!(matches!(bad(|p| p.risk = 1.5), Err(TrendError::Policy { value, .. }) if value > 1.4));
    assert!(matches!(bad(|p| p.horizon = 0.0), Err(TrendError::Policy { .. })));
    assert!(matches!(bad(|p| p.features.get_mut("f").unwrap().lower = Some(1.7)), Err(TrendError::Policy { .. })));
    assert!(matches!(
        bad(|p| p.features.get_mut("f").unwrap().reading_sd = Some(-1.0)),
        Err(TrendError::Policy { .. })
    ));
    assert!(matches!(trend(&Inspections::default(), None, &Options::default()), Err(TrendError::Empty)));
    let mut ragged = t.clone();
    ragged.day.pop();
    assert!(matches!(trend(&ragged, None, &Options::default()), Err(TrendError::Ragged { column: "day", .. })));
    let mut lost = t.clone();
    lost.valve[1] = 9;
    assert!(matches!(trend(&lost, None, &Options::default()), Err(TrendError::Index { row: 1, .. })));
    let o = Options { engine_slope: Some(true), ..with(ModelChoice::Gamma) };
    assert!(matches!(trend(&t, None, &o), Err(TrendError::Option { .. })));
}

#[test]
fn threads_change_nothing() {
    let t = common::made(common::Made::default(), 3, 0.0, 1.0).0;
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| {
            trend(&t, Some(&policy("contact_offset", Some(0.4), Some(1.6), 2000.0)), &with(ModelChoice::Auto)).unwrap()
        })
    };
    assert_eq!(run(1), run(3));
}
