//! `packdrift trend` against lme4, on lme4's own sleepstudy data read as inspections: `mixed_models_lme4.R` freezes both.

use crate::program::json;
use serde_json::Value;
use std::collections::HashMap;
use std::path::{Path, PathBuf};

fn reference(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference").join(name)
}

fn frozen() -> HashMap<String, f64> {
    let text = std::fs::read_to_string(reference("mixed_models_lme4.csv")).unwrap();
    text.lines()
        .skip(1)
        .map(|line| {
            let (name, value) = line.rsplit_once(',').unwrap();
            (name.to_owned(), value.parse().unwrap())
        })
        .collect()
}

/// Relative agreement. lme4's optimiser is good to about 1e-6 of the variances, and its correlation, near 0, to a few 1e-6 absolute.
fn agrees(name: &str, ours: &Value, theirs: f64) {
    let ours = ours.as_f64().unwrap_or_else(|| panic!("{name}: {ours} is no number"));
    assert!((ours - theirs).abs() <= 1e-5 * theirs.abs().max(0.5), "{name}: ours {ours}, lme4 {theirs}");
}

fn compare(method: &str) {
    let frozen = frozen();
    let theirs = |what: &str| frozen[&format!("sleepstudy/{method}/{what}")];
    let data = reference("sleepstudy-as-inspections.csv");
    let estimator = method.to_lowercase();
    let (status, result) = json(&[
        "trend",
        data.to_str().unwrap(),
        "--model",
        "random-slope",
        "--reading-errors",
        "normal",
        "--estimator",
        &estimator,
    ]);
    assert_eq!(status, 0);
    let feature = &result["features"][0];
    assert_eq!(feature["method"], method);
    assert_eq!(feature["rows"], 180, "every reading is used");
    for key in [
        "intercept",
        "slope",
        "intercept_se",
        "slope_se",
        "sd_intercept",
        "sd_slope",
        "corr",
        "sd_reading",
        "log_likelihood",
    ] {
        agrees(&format!("{method} {key}"), &feature["model"][key], theirs(key));
    }
    let valves = feature["valves"].as_array().unwrap();
    assert_eq!(valves.len(), 18);
    for valve in valves {
        let subject = valve["engine"].as_str().unwrap();
        agrees(&format!("{method} level of {subject}"), &valve["level"], theirs(&format!("level/{subject}")));
        agrees(&format!("{method} slope of {subject}"), &valve["slope"], theirs(&format!("slope/{subject}")));
    }
}

#[test]
fn sleepstudy_by_restricted_maximum_likelihood() {
    compare("REML");
}

#[test]
fn sleepstudy_by_maximum_likelihood() {
    compare("ML");
}
