//! `trend --backtest`: forecasts of hidden readings, scored, as a planner would read them.

use crate::program::{demo, json, run_in};
use serde_json::Value;

/// The offsets of six of the demo's engines, in a file of its own.
fn six_engines(folder: &std::path::Path) -> String {
    let all = std::fs::read_to_string(demo("inspections.csv")).unwrap();
    let wanted = ["P01", "P02", "P03", "P04", "P05", "P06"];
    let kept: Vec<&str> = all
        .lines()
        .filter(|line| {
            line.starts_with(['#', 'e'])
                || (line.contains(",contact_offset,") && wanted.iter().any(|name| line.starts_with(name)))
        })
        .collect();
    let path = folder.join("six-engines.csv");
    std::fs::write(&path, kept.join("\n")).unwrap();
    path.to_str().unwrap().to_owned()
}

fn share(value: &Value) -> f64 {
    let share = value.as_f64().unwrap();
    assert!((0.0..=1.0).contains(&share), "{share}");
    share
}

#[test]
fn every_model_is_scored_on_the_same_hidden_readings() {
    let folder = tempfile::tempdir().unwrap();
    let file = six_engines(folder.path());
    let (status, result) = json(&["trend", &file, "--backtest"]);
    assert_eq!(status, 0, "without a policy nothing is due");
    let models = result["features"][0]["backtest"].as_array().unwrap();
    let names: Vec<&str> = models.iter().map(|m| m["model"].as_str().unwrap()).collect();
    assert_eq!(names[0], "auto");
    assert!(names.contains(&"random-slope") && names.contains(&"wiener"), "{names:?}");
    // `auto` averages: its note says how much each model weighs.
    assert!(models[0]["note"].as_str().unwrap().starts_with("integrated "), "{}", models[0]["note"]);
    let count = |m: &Value| m["forecasts"].as_u64().unwrap();
    for m in models {
        assert_eq!(count(m), count(&models[0]), "{}", m["model"]);
        let pit: u64 = m["pit"].as_array().unwrap().iter().map(|n| n.as_u64().unwrap()).sum();
        assert_eq!(pit, count(m));
        let [half, most, nearly] = ["0.5", "0.8", "0.95"].map(|p| share(&m["coverage"][p]));
        assert!(half <= most && most <= nearly);
        // Readings err by 0.02 mm, some by five times that.
        assert!((0.01..0.1).contains(&m["rmse"].as_f64().unwrap()), "{m}");
        assert!(m["crps"].as_f64().unwrap() < m["rmse"].as_f64().unwrap());
    }
    // Some 40 readings of correlated valves: 95 % is met to within four times the binomial error.
    let nearly = share(&models[0]["coverage"]["0.95"]);
    let error = models[0]["coverage_se"]["0.95"].as_f64().unwrap();
    assert!((nearly - 0.95).abs() < 4.0 * error, "{nearly} ± {error}");
}

#[test]
fn more_rounds_hide_more_and_the_page_shows_what_came_of_it() {
    let folder = tempfile::tempdir().unwrap();
    let file = six_engines(folder.path());
    let run = |n: &str| {
        let (_, result) = json(&["trend", &file, "--model", "random-slope", n]);
        result["features"][0]["backtest"][0]["forecasts"].as_u64().unwrap()
    };
    assert!(run("--backtest=3") > run("--backtest=1"));
    let output = run_in(folder.path(), &["trend", &file, "--model", "random-slope", "--backtest=1", "--out", "report"]);
    let text = String::from_utf8(output.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("Backtest, ") && text.contains("inside the 50 % interval"), "{text}");
    let page = std::fs::read_to_string(folder.path().join("report/report.html")).unwrap();
    assert!(page.contains("Would such forecasts have come true"));
    let table = std::fs::read_to_string(folder.path().join("report/tables/backtest.csv")).unwrap();
    assert!(table.contains("coverage_0.95") && table.contains("random-slope"), "{table}");
    assert!(folder.path().join("report/figures/contact-offset-backtest.svg").exists());
}

#[test]
fn without_the_option_there_is_none_and_a_round_of_nothing_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = six_engines(folder.path());
    let (_, result) = json(&["trend", &file, "--model", "random-slope"]);
    assert!(result["features"][0].get("backtest").is_none());
    let output = run_in(folder.path(), &["trend", &file, "--backtest=0"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("1..=20"), "{}", String::from_utf8_lossy(&output.stderr));
}
