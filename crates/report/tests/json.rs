//! The JSON keys that scripts rely on, and that numbers are carried in full.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a key that is missing is a failed test

mod common;

use packdrift_report::{stack, trend};
use serde_json::Value;

fn keys(value: &Value) -> Vec<&str> {
    value.as_object().unwrap().keys().map(String::as_str).collect()
}

/// Every documented key in the documented order, others between or after.
fn assert_holds(value: &Value, documented: &[&str]) {
    let found = keys(value);
    let mut rest = found.iter();
    for key in documented {
        assert!(rest.any(|k| k == key), "{key} is missing or out of order in {found:?}");
    }
}

#[test]
fn stack_has_every_documented_key() {
    let stack = common::stack();
    let result = common::stack_result(&stack);
    let envelope = common::envelope("stack");
    let document = serde_json::to_value(stack::json(&envelope, &result)).unwrap();
    assert_eq!(keys(&document)[..5], ["packdrift", "command", "inputs", "seed", "warnings"]);
    assert_holds(&document["inputs"][0], &["path", "sha256"]);
    let r = &document["requirements"][0];
    assert_holds(
        r,
        &[
            "name",
            "quantity",
            "condition",
            "unit",
            "lower",
            "upper",
            "nominal",
            "worst_case",
            "root_sum_square",
            "monte_carlo",
            "capability",
            "contributors",
            "acceptable",
        ],
    );
    assert_eq!(r["quantity"], "offset");
    assert_eq!(r["unit"], "mm");
    assert_holds(&r["worst_case"], &["min", "max"]);
    assert_holds(&r["root_sum_square"], &["mean", "sd"]);
    let mc = &r["monte_carlo"];
    assert_holds(mc, &["trials", "mean", "sd", "standard_error", "quantiles", "method", "out", "cannot_assemble"]);
    assert_eq!(keys(&mc["quantiles"]), ["0.00135", "0.025", "0.5", "0.975", "0.99865"]);
    assert_eq!(mc["method"], "monte-carlo");
    assert_holds(&mc["out"], &["below", "above", "total", "standard_error", "ci95"]);
    assert_eq!(mc["out"]["ci95"].as_array().unwrap().len(), 2);
    assert_holds(&r["capability"], &["Cp", "Cpk", "Pp", "Ppk"]);
    assert_holds(&r["contributors"][0], &["dimension", "sensitivity", "variance_share", "sobol_first", "sobol_total"]);
    assert_holds(&document["joint"]["out"], &["total", "standard_error", "ci95"]);
    // In the file's order, not by urgency.
    let names: Vec<&str> =
        document["requirements"].as_array().unwrap().iter().map(|r| r["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["offset, 1 intake", "offset, 1 exhaust", "preload", "edge margin, 1 exhaust", "height"]);
    assert_eq!(document["requirements"][4]["lower"], Value::Null);
    assert_eq!(document["requirements"][4]["capability"]["Cp"], Value::Null);
}

#[test]
fn stack_numbers_are_in_full_and_null_where_there_is_none() {
    let stack = common::stack();
    let mut result = common::stack_result(&stack);
    result.requirements[0].spread.mean = Some(0.1 + 0.2);
    result.requirements[0].spread.sd = Some(f64::NAN);
    result.requirements[0].contributors[0].sensitivity = f64::INFINITY;
    let envelope = common::envelope("stack");
    let text = serde_json::to_string(&stack::json(&envelope, &result)).unwrap();
    assert!(text.contains(r#""mean":0.30000000000000004,"sd":null"#), "{text}");
    assert!(!text.contains("NaN") && !text.contains("inf"));
    // Reads back to the same value.
    let back: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(back["requirements"][0]["monte_carlo"]["mean"].as_f64(), Some(0.1 + 0.2));
    assert_eq!(back["requirements"][0]["contributors"][0]["sensitivity"], Value::Null);
}

#[test]
fn trend_has_every_documented_key() {
    let result = common::trend_result();
    let envelope = common::envelope("trend");
    let document = serde_json::to_value(trend::json(&envelope, &result)).unwrap();
    assert_eq!(keys(&document)[..5], ["packdrift", "command", "inputs", "seed", "warnings"]);
    let f = &document["features"][0];
    assert_holds(f, &["feature", "method", "rows", "model", "valves"]);
    assert_holds(
        &f["model"],
        &[
            "kind",
            "intercept",
            "slope",
            "intercept_se",
            "slope_se",
            "sd_intercept",
            "sd_slope",
            "corr",
            "sd_wander",
            "sd_reading",
            "log_likelihood",
        ],
    );
    assert_eq!(f["model"]["kind"], "random-slope");
    assert_eq!(f["valve_count"], f["valves"].as_array().unwrap().len());
    let v = &f["valves"][0];
    assert_holds(
        v,
        &[
            "engine",
            "valve",
            "segment",
            "readings",
            "hours",
            "level",
            "level_se",
            "slope",
            "slope_se",
            "drifting_to",
            "crossing_hours",
            "chance_by_horizon",
            "status",
        ],
    );
    assert_eq!(keys(&v["crossing_hours"]), ["0.05", "0.5", "0.95"]);
    assert_eq!(v["status"], "overdue");
    assert_eq!(v["drifting_to"], "upper");
    let statuses: std::collections::BTreeSet<&str> =
        f["valves"].as_array().unwrap().iter().map(|v| v["status"].as_str().unwrap()).collect();
    assert_eq!(statuses.into_iter().collect::<Vec<_>>(), ["due", "in window", "overdue", "watch"]);
    assert_eq!(document["features"][0]["faulty_days"][0]["date"], "2025-04-17");
}

#[test]
fn a_valve_that_never_crosses_has_nulls() {
    let mut result = common::trend_result();
    result.features[0].valves[0].crossing_hours =
        packdrift_trend::CrossingHours { p05: Some(7000.0), p50: None, p95: None };
    result.features[0].valves[0].status = None;
    let envelope = common::envelope("trend");
    let text = serde_json::to_string(&trend::json(&envelope, &result)).unwrap();
    assert!(text.contains(r#""crossing_hours":{"0.05":7000.0,"0.5":null,"0.95":null}"#), "{text}");
    assert!(text.contains(r#""status":null"#));
}

#[test]
fn a_fleet_of_any_size_is_written_as_it_is_serialised() {
    let envelope = common::envelope("trend");
    let mut result = common::trend_result();
    // A name that looks like the key of a list.
    result.features[0].valves[0].engine = r#"E"valves":[]"#.to_owned();
    result.features[0].diagnostics.reason = r#"","valves":[],""#.to_owned();
    let some = result.features[0].valves.clone();
    for valves in [0, 1, 255, 256, 257, 4096, 9000] {
        result.features[0].valves = (0..valves)
            .map(|k| packdrift_trend::ValveForecast { segment: k as u32, ..some[k % some.len()].clone() })
            .collect();
        let mut written = Vec::new();
        trend::write_json(&mut written, &envelope, &result).unwrap();
        assert!(written == serde_json::to_vec(&trend::json(&envelope, &result)).unwrap(), "{valves} valves");
    }
    result.features.clear();
    let mut written = Vec::new();
    trend::write_json(&mut written, &envelope, &result).unwrap();
    assert!(written == serde_json::to_vec(&trend::json(&envelope, &result)).unwrap());
}

#[test]
fn an_output_that_fails_is_told() {
    struct Full(usize);
    impl std::io::Write for Full {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            self.0 += bytes.len();
            if self.0 > 200_000 { Err(std::io::ErrorKind::StorageFull.into()) } else { Ok(bytes.len()) }
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    let mut result = common::trend_result();
    let valve = result.features[0].valves[0].clone();
    result.features[0].valves = vec![valve; 5000];
    let error = trend::write_json(&mut Full(0), &common::envelope("trend"), &result).unwrap_err();
    assert_eq!(error.kind(), std::io::ErrorKind::StorageFull);
}

#[test]
fn tables_have_one_cell_a_column_and_unique_names() {
    let stack = common::stack();
    let result = common::stack_result(&stack);
    let mut tables = stack::tables(&stack, &result);
    tables.extend(trend::tables(&common::trend_result(), Some(&common::policy())));
    let mut names = std::collections::HashSet::new();
    for table in &tables {
        assert!(names.insert(table.name.clone()), "{} twice", table.name);
        assert!(!table.rows.is_empty(), "{} is empty", table.name);
        let keys: std::collections::HashSet<String> = table.keys().into_iter().collect();
        assert_eq!(keys.len(), table.columns.len(), "{}: {:?}", table.name, table.keys());
        for row in &table.rows {
            assert_eq!(row.len(), table.columns.len(), "{}", table.name);
        }
        assert!(!table.csv().contains("NaN"), "{}", table.name);
    }
    // The CSV carries what the table only shows rounded.
    let requirements = tables.iter().find(|t| t.name == "requirements").unwrap();
    assert!(requirements.csv().contains("0.9127"), "{}", requirements.csv());
}
