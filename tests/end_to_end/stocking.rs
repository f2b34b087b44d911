//! `stock` as an engineer runs it, on the demo's invented pack and drawer.

use crate::program::{demo, json, run, run_in};
use serde_json::Value;

fn arguments(valve: &str, more: &[&str]) -> Vec<String> {
    let (pack, drawer) = (demo("pack.toml"), demo("drawer.csv"));
    let fixed = ["stock", pack.to_str().unwrap(), "--valve", valve, "--catalogue", drawer.to_str().unwrap()];
    fixed.iter().chain(more).map(|&s| s.to_owned()).collect()
}

fn plan(valve: &str, more: &[&str]) -> (i32, Value) {
    let arguments = arguments(valve, more);
    json(&arguments.iter().map(String::as_str).collect::<Vec<_>>())
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

#[test]
fn new_builds_are_served_from_a_few_pieces() {
    let (status, result) = plan("1 exhaust", &["--new-builds", "0.05"]);
    assert_eq!((status, result["service_wanted"].as_f64()), (0, Some(0.95)));
    assert!(number(&result["levels"]["served"]) >= 0.95);
    let coverage = result["coverage"].as_array().unwrap();
    // More sizes do no less, the best is proven, and none does more than the whole catalogue.
    assert!(coverage.windows(2).all(|w| number(&w[1]["coverage"]) >= number(&w[0]["coverage"])));
    assert!(coverage.iter().all(|a| a["proven"] == true && a["bound"] == a["coverage"]));
    assert!(coverage.iter().all(|a| number(&a["coverage"]) <= number(&result["whole_catalogue"]) + 1e-12));
    let curve = result["service_curve"].as_array().unwrap();
    assert!(number(&curve[0]["cost"]) == 0.0 && number(&curve[0]["served"]) == 0.0, "{}", curve[0]);
    assert!(curve.windows(2).all(|w| number(&w[1]["served"]) > number(&w[0]["served"])));
    // Jobs that fit as they are take nothing: pieces taken in a lead time are few.
    let taken: f64 = result["hold"].as_array().unwrap().iter().map(|h| number(&h["lead_time_demand"])).sum();
    let share = 1.0 - number(&result["needs_nothing"]);
    assert!(taken > 0.0 && taken < 6.0 * 0.05 * 14.0 * share, "{taken}");
    // A known bias of a lot is not forgotten: the 0.60 of the demo is 7 % thick.
    for held in result["hold"].as_array().unwrap() {
        let expected = if held["size"] == "0.60" { 0.642 } else { number(&held["thickness"]) };
        assert!((number(&held["expected"]) - expected).abs() < 0.003, "{held}");
    }
}

/// Few jobs choose now these sizes, now those, and count their own share high: the word is by as many jobs as it needs, whatever the seed.
#[test]
fn the_word_does_not_hang_on_the_seed_of_a_few_jobs() {
    let folder = tempfile::tempdir().unwrap();
    let demand = folder.path().join("demand.csv");
    std::fs::write(&demand, "rate_per_day,correction,sd\n0.05,0.1,0.15\n0.02,-0.3,0.2\n").unwrap();
    let demand = demand.to_str().unwrap();
    let words = |jobs: &str, more: &[&str]| -> Vec<(i32, String)> {
        let of = |seed: &&str| {
            let fixed = ["--demand", demand, "--jobs", jobs, "--seed", seed];
            let (status, result) = plan("1 exhaust", &[&fixed, more].concat());
            assert!(number(&result["fresh_jobs"]) >= 100.0 && number(&result["chosen"]["standard_error"]) > 0.0);
            (status, result["verdict"]["word"].as_str().unwrap().to_owned())
        };
        ["1", "2", "3", "4", "5", "6"].iter().map(of).collect()
    };
    // 98 % are done, 95 wanted: by the count of 100 jobs it was said of three seeds and not of the other three.
    let few = words("100", &["--sizes", "2", "--chance", "0.95"]);
    assert_eq!(few, vec![(0, "good enough".to_owned()); 6]);
    // 73 % are done.
    let poor = words("100", &["--sizes", "1"]);
    assert_eq!(poor, vec![(1, "not good enough".to_owned()); 6]);
}

#[test]
fn a_forecast_of_reshims_is_served_and_worn_faces_ask_for_other_sizes() {
    let folder = tempfile::tempdir().unwrap();
    let files = ["inspections.csv", "policy.toml", "pack.toml"].map(|f| demo(f).to_str().unwrap().to_owned());
    let due = ["due", &files[0], "--policy", &files[1], "--pack", &files[2], "--model", "random-slope"];
    let due: Vec<&str> = due.iter().copied().chain(["--out", "plan", "--quiet"]).collect();
    assert_eq!(run_in(folder.path(), &due).status.code(), Some(1));
    let demand = folder.path().join("plan/tables/demand.csv");
    let demand = demand.to_str().unwrap();
    let ask = |more: &[&str]| {
        let all: Vec<&str> = ["--demand", demand, "--chance", "0.8"].iter().chain(more).copied().collect();
        plan("1 exhaust", &all).1
    };
    let kept = ask(&[]);
    assert!(number(&kept["rate_per_day"]) > 0.0 && number(&kept["whole_catalogue"]) > 0.3, "{}", kept["coverage"]);
    let served = &kept["levels"]["served"];
    assert!(served.is_null() || number(served) >= 0.95);
    let worn = ask(&["--worn-faces", "1"]);
    assert_ne!(kept["coverage"], worn["coverage"]);
}

#[test]
fn measuring_is_told_with_its_error_and_no_figure_where_nothing_is_gained() {
    let (_, result) = plan("1 exhaust", &["--new-builds", "0.05", "--measuring", "0.4", "--premium", "0.6"]);
    let sorting = &result["sorting"];
    let gain = &sorting["gain_measured"];
    let told = number(&gain["share"]) > 2.0 * number(&gain["standard_error"]);
    assert!(told || sorting["grade_worth_measuring"].is_null(), "{sorting}");
    assert!(number(&sorting["take_pieces"]) > 0.0 && number(&sorting["take_pieces"]) < 0.5);
}

#[test]
fn reorder_points_come_with_costs() {
    let more = ["--new-builds", "0.5", "--order", "8", "--short", "3", "--sizes", "2"];
    let (_, result) = plan("1 intake", &more);
    let hold = result["hold"].as_array().unwrap();
    assert_eq!(hold.len(), 2);
    for held in hold.iter().filter(|held| number(&held["lead_time_demand"]) > 0.0) {
        let reorder = &held["reorder"];
        assert!(number(&reorder["quantity"]) >= 1.0 && number(&reorder["cost_per_day"]) > 0.0, "{held}");
    }
}

#[test]
fn the_folder_holds_page_tables_and_figures() {
    let folder = tempfile::tempdir().unwrap();
    let arguments =
        arguments("1 exhaust", &["--new-builds", "0.05", "--out", "plan", "--xlsx", "plan.xlsx", "--quiet"]);
    let output = run_in(folder.path(), &arguments.iter().map(String::as_str).collect::<Vec<_>>());
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    for file in [
        "report.html",
        "result.json",
        "tables/coverage.csv",
        "tables/hold.csv",
        "figures/coverage.svg",
        "figures/service.svg",
    ] {
        assert!(std::fs::metadata(folder.path().join("plan").join(file)).unwrap().len() > 50, "{file}");
    }
    for figure in ["coverage", "service"] {
        let svg = std::fs::read_to_string(folder.path().join(format!("plan/figures/{figure}.svg"))).unwrap();
        assert!(svg.contains("<title") && svg.contains("100") && !svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

#[test]
fn what_cannot_be_is_refused_with_its_reason() {
    let folder = tempfile::tempdir().unwrap();
    let demand = folder.path().join("demand.csv");
    std::fs::write(&demand, "name,rate_per_day,correction,squeeze\nA,0.1,0.2,0.1\n").unwrap();
    let demand = demand.to_str().unwrap();
    for (more, says) in [
        (vec![], "--new-builds"),
        (vec!["--new-builds", "-1"], "-1"),
        (vec!["--new-builds", "0.1", "--sizes", "40"], "40"),
        (vec!["--new-builds", "0.1", "--service", "1"], "0.9999"),
        (vec!["--demand", demand, "--worn-faces", "0.5"], "squeeze"),
        (vec!["--new-builds", "0.1", "--worn-faces", "0.5"], "--demand"),
    ] {
        let arguments = arguments("1 exhaust", &more);
        let output = run(&arguments.iter().map(String::as_str).collect::<Vec<_>>());
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{more:?}: {error}");
        assert!(error.contains(says), "{more:?}: {error}");
    }
    let unknown = arguments("3 exhaust", &["--new-builds", "0.1"]);
    let output = run(&unknown.iter().map(String::as_str).collect::<Vec<_>>());
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(error.contains("2 intake") && output.status.code() == Some(2), "{error}");
}

#[test]
fn threads_do_not_change_a_byte() {
    let ask = |threads: &str| {
        let more = ["--new-builds", "0.05", "--jobs", "2000", "--format", "json", "--threads", threads];
        let arguments = arguments("1 exhaust", &more);
        run(&arguments.iter().map(String::as_str).collect::<Vec<_>>()).stdout
    };
    assert_eq!(ask("1"), ask("2"));
}

/// A size with no word on how long it takes is not here at once: it is asked for.
#[test]
fn no_lead_time_is_not_none() {
    let folder = tempfile::tempdir().unwrap();
    let catalogue = folder.path().join("catalogue.csv");
    std::fs::write(&catalogue, "size,thickness,cost\n0.15,0.15,1\n0.25,0.25,1\n").unwrap();
    let pack = demo("pack.toml");
    let fixed = ["stock", pack.to_str().unwrap(), "--valve", "1 exhaust", "--catalogue", catalogue.to_str().unwrap()];
    let ask =
        |more: &[&str]| run(&fixed.iter().chain(&["--new-builds", "0.05"]).chain(more).copied().collect::<Vec<_>>());
    let output = ask(&[]);
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.code() == Some(2) && error.contains("0.15, 0.25") && error.contains("lead_days"), "{error}");
    assert!(ask(&["--lead-days", "14"]).status.code().is_some_and(|code| code < 2));
    // A header alone is an empty catalogue, and said to be one.
    std::fs::write(&catalogue, "size,thickness,cost\n").unwrap();
    let output = ask(&[]);
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.code() == Some(2) && error.contains("the catalogue is empty"), "{error}");
}

/// Who measures pieces and picks among them does not end up worse than who believes the label. (It did, by 4 ± 2 %: builds were picked that came nearest
/// to both aims, whatever the chance of being inside. Now 1.2 ± 0.2 % better.)
#[test]
fn measuring_and_picking_is_no_worse() {
    for seed in ["1", "2", "3"] {
        let (_, result) = plan("1 exhaust", &["--new-builds", "0.05", "--jobs", "20000", "--seed", seed]);
        let gain = &result["sorting"]["gain_measured"];
        let (share, error) = (number(&gain["share"]), number(&gain["standard_error"]));
        assert!(error < 0.006 && share > -2.0 * error, "seed {seed}: {gain}");
    }
}
