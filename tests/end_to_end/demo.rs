//! The main job on the demo files.

use crate::program::{demo, json, run};

#[test]
fn check_accepts_every_demo_file_it_is_given() {
    let files = ["pack.toml", "pack-with-prices.toml", "inspections.csv", "policy.toml"].map(demo);
    let arguments: Vec<&str> = std::iter::once("check").chain(files.iter().map(|f| f.to_str().unwrap())).collect();
    let output = run(&arguments);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn stack_answers_every_requirement_in_every_condition() {
    let (status, result) = json(&["stack", demo("pack.toml").to_str().unwrap()]);
    assert!(status == 0 || status == 1);
    let requirements = result["requirements"].as_array().unwrap();
    // Four offsets and two edge margins when running; two preloads in both conditions.
    assert_eq!(requirements.len(), 4 + 2 + 2 * 2);
    let any_out = requirements.iter().any(|r| r["acceptable"] == false);
    assert_eq!(status, i32::from(any_out));
}

#[test]
fn trend_forecasts_every_valve_of_the_demo_fleet() {
    let (_, result) =
        json(&["trend", demo("inspections.csv").to_str().unwrap(), "--policy", demo("policy.toml").to_str().unwrap()]);
    for feature in result["features"].as_array().unwrap() {
        assert_eq!(feature["valves"].as_array().unwrap().len(), 96, "{}", feature["feature"]);
    }
}
