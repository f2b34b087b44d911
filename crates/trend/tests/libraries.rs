//! Against general-purpose libraries: values that `tests/outside/trend_libraries.py` computed by dense matrices with scipy, by
//! statsmodels and by `SQLite`, frozen in `tests/reference/trend_libraries.json`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test stops at the first surprise")]

mod common;

use common::with;
use packdrift_trend::{
    FeatureLimits, Inspections, ModelChoice, Options, Prospect, Sums, sums_sql, trend, trend_from_sums,
};
use serde_json::Value;

fn frozen() -> Value {
    let text = include_str!("../../../tests/reference/trend_libraries.json");
    serde_json::from_str::<Value>(text).unwrap()["values"].take()
}

fn index(names: &mut Vec<String>, name: &str) -> u32 {
    if let Some(i) = names.iter().position(|n| n == name) {
        return i as u32;
    }
    names.push(name.to_owned());
    names.len() as u32 - 1
}

/// The made fleet of the script.
fn fleet(values: &Value) -> Inspections {
    let mut t = common::table("contact_offset");
    for row in values["fleet"].as_array().unwrap() {
        let text = |k: usize| row[k].as_str().unwrap();
        let engine = index(&mut t.engines, text(0));
        let valve = (engine, text(1).to_owned());
        if !t.valves.contains(&valve) {
            t.valves.push(valve.clone());
        }
        t.valve.push(t.valves.iter().position(|v| *v == valve).unwrap() as u32);
        // Days only have to rise: the month serves.
        t.day.push(30 * text(2)[5..7].parse::<i32>().unwrap());
        t.hours.push(row[3].as_f64().unwrap());
        t.feature.push(0);
        t.value.push(row[5].as_f64().unwrap());
        t.event.push(if text(6).is_empty() { 0 } else { 1 + index(&mut t.events, text(6)) });
        t.group.push(1 + index(&mut t.groups, text(7)));
    }
    t
}

fn close(what: &str, found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{what}: {found} against {expected}");
}

/// The script's simplex search ends some 1e-6 from the optimum, in units of the parameters; the likelihood is flat there.
#[test]
fn random_slope_and_wiener_against_dense_matrices() {
    let values = frozen();
    let t = fleet(&values);
    for (key, choice) in [("random_slope", ModelChoice::RandomSlope), ("wiener", ModelChoice::Wiener)] {
        let r = trend(&t, None, &with(choice)).unwrap();
        let f = &r.features[0];
        let m = f.model.as_ref().expect(&f.diagnostics.reason);
        let v = &values[key];
        let get = |k: &str| v[k].as_f64().unwrap();
        close("log-likelihood", m.log_likelihood.unwrap(), get("log_likelihood"), 1e-7);
        close("sd_intercept", m.sd_intercept, get("sd_intercept"), 1e-3);
        close("sd_slope", m.sd_slope, get("sd_slope"), 1e-3);
        close("sd_reading", m.sd_reading, get("sd_reading"), 1e-3);
        if choice == ModelChoice::Wiener {
            close("sd_wander", m.sd_wander, get("sd_wander"), 2e-3);
        }
        for (k, name) in ["exhaust", "intake"].into_iter().enumerate() {
            let g = m.groups.iter().find(|g| g.group == name).unwrap();
            close("intercept", g.intercept, v["beta"][2 * k].as_f64().unwrap(), 1e-4);
            close("slope", g.slope, v["beta"][2 * k + 1].as_f64().unwrap(), 1e-4);
            close("slope_se", g.slope_se, v["beta_se"][2 * k + 1].as_f64().unwrap(), 1e-3);
        }
        close("level", f.valves[0].level, get("level"), 1e-4);
        close("level_se", f.valves[0].level_se, get("level_se"), 1e-3);
    }
}

#[test]
fn random_slope_against_statsmodels() {
    let values = frozen();
    let r = trend(&fleet(&values), None, &with(ModelChoice::RandomSlope)).unwrap();
    let m = r.features[0].model.as_ref().unwrap();
    let v = &values["mixedlm"];
    let g = m.groups.iter().find(|g| g.group == "exhaust").unwrap();
    // MixedLM's default search stops when the likelihood changes by 1e-4 or so.
    close("intercept", g.intercept, v["intercept_exhaust"].as_f64().unwrap(), 1e-3);
    close("slope", g.slope, v["slope_exhaust"].as_f64().unwrap(), 5e-3);
    close("sd_reading", m.sd_reading, v["sd_reading"].as_f64().unwrap(), 2e-2);
    close("sd_intercept", m.sd_intercept, v["sd_intercept"].as_f64().unwrap(), 2e-2);
}

#[test]
fn first_passage_against_scipy() {
    for row in frozen()["inverse_gaussian"].as_array().unwrap() {
        let x: Vec<f64> = row.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
        let limits = FeatureLimits { upper: Some(x[0]), ..FeatureLimits::default() };
        let p = Prospect::new((0.0, 0.0), (x[1], 0.0), x[2], &limits);
        assert!((p.chance_within(x[3]) - x[4]).abs() < 1e-12, "{x:?}");
    }
}

/// The query's text as printed, run by `SQLite` on the same readings, against our own sums.
#[test]
fn the_query_gives_our_sums() {
    assert_eq!(sums_sql("inspections", '"'), include_str!("../../../tests/reference/trend_sums.sql"));
    let values = frozen();
    let s = Sums::of(&fleet(&values)).unwrap();
    let rows = values["sums"].as_array().unwrap();
    assert_eq!(rows.len(), s.valve.len());
    for row in rows {
        let text = |k: usize| row[k].as_str().unwrap();
        let number = |k: usize| row[k].as_f64().unwrap();
        let i = (0..s.valve.len())
            .find(|i| {
                let (engine, valve) = &s.valves[s.valve[*i] as usize];
                s.engines[*engine as usize] == text(0) && valve == text(1) && f64::from(s.segment[*i]) == number(3)
            })
            .unwrap();
        assert_eq!(s.groups[s.group[i] as usize - 1], text(2));
        for (k, ours) in [
            s.start_hours[i],
            s.last_hours[i],
            f64::from(s.readings[i]),
            s.mean_hours[i],
            s.mean_value[i],
            s.hours_squares[i],
            s.products[i],
            s.value_squares[i],
        ]
        .into_iter()
        .enumerate()
        {
            assert!((ours - number(4 + k)).abs() <= 1e-10 * ours.abs() + 1e-13, "column {k}: {ours}");
        }
    }
}

/// A valve that keeps part of its slope through its re-shims, against lme4 with a random slope by valve beside start and slope by segment:
/// `tests/outside/mixed_models_lme4.R`, which makes the fleet. lme4's search is good to about 1e-6 of the variances.
#[test]
fn a_slope_kept_through_reshims_against_lme4() {
    let frozen: Vec<(&str, f64)> = include_str!("../../../tests/reference/mixed_models_lme4.csv")
        .lines()
        .filter_map(|line| line.strip_prefix("kept/")?.split_once(','))
        .map(|(name, value)| (name, value.parse().unwrap()))
        .collect();
    let get = |name: &str| frozen.iter().find(|(n, _)| *n == name).expect(name).1;
    let mut t = common::table("contact_offset");
    t.events = vec!["reshim".into()];
    for line in include_str!("../../../tests/reference/kept-slopes-as-inspections.csv").lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        if t.engines.last().map(String::as_str) != Some(cells[0]) {
            t.valves.push((t.engines.len() as u32, "only".into()));
            t.engines.push(cells[0].into());
        }
        let (valve, hours): (u32, f64) = (t.valves.len() as u32 - 1, cells[3].parse().unwrap());
        common::push(&mut t, valve, (hours / 10.0) as i32, hours, cells[5].parse().unwrap());
        *t.event.last_mut().unwrap() = u32::from(cells[6] == "reshim");
    }
    let o = Options { valve_slope: Some(true), average_points: 1, ..with(ModelChoice::RandomSlope) };
    let by_readings = trend(&t, None, &o).unwrap();
    let by_sums = trend_from_sums(&Sums::of(&t).unwrap(), None, &o).unwrap();
    for r in [by_readings, by_sums] {
        let f = &r.features[0];
        let m = f.model.as_ref().expect(&f.diagnostics.reason);
        close("intercept", m.intercept, get("intercept"), 1e-6);
        close("slope", m.slope, get("slope"), 1e-5);
        close("slope_se", m.slope_se, get("slope_se"), 1e-4);
        close("sd_intercept", m.sd_intercept, get("sd_intercept"), 1e-4);
        close("sd_valve_slope", m.sd_valve_slope.unwrap(), get("sd_valve_slope"), 1e-3);
        close("sd_slope", m.sd_slope, get("sd_slope"), 1e-4);
        close("sd_reading", m.sd_reading, get("sd_reading"), 1e-4);
        close("log-likelihood", m.log_likelihood.unwrap(), get("log_likelihood"), 1e-8);
        assert_eq!(f.valves.len(), 40);
        for v in &f.valves {
            close("slope of a valve", v.slope, get(&format!("slope/{}", v.engine)), 1e-3);
            close("level of a valve", v.level, get(&format!("level/{}", v.engine)), 1e-5);
        }
    }
}
