//! `due` as a planner runs it, on the demo's invented fleet. The plain model is asked for by name: these tests are of the plan.

use crate::program::{demo, json, run, run_in};
use serde_json::Value;

fn arguments(more: &[&str]) -> Vec<String> {
    let files = ["inspections.csv", "policy.toml", "pack.toml"].map(|f| demo(f).to_str().unwrap().to_owned());
    let fixed = ["due", &files[0], "--policy", &files[1], "--pack", &files[2], "--model", "random-slope"];
    fixed.iter().chain(more).map(|s| (*s).to_owned()).collect()
}

fn plan(more: &[&str]) -> (i32, Value) {
    let arguments = arguments(more);
    json(&arguments.iter().map(String::as_str).collect::<Vec<_>>())
}

fn engines(result: &Value) -> &Vec<Value> {
    result["engines"].as_array().unwrap()
}

fn engine<'a>(result: &'a Value, name: &str) -> &'a Value {
    engines(result).iter().find(|e| e["engine"] == name).unwrap()
}

#[test]
fn every_engine_has_a_date_and_the_windows_hold_what_they_can() {
    let (status, result) = plan(&[]);
    assert_eq!(status, 1, "the demo fleet has overdue engines");
    assert_eq!(result["acceptable"], false);
    assert_eq!(engines(&result).len(), 24);
    // The day of the last reading, not the clock's.
    assert_eq!(result["today"], "2026-10-29");
    let rank = |e: &Value| match e["status"].as_str().unwrap() {
        "overdue" => 0,
        "late" => 1,
        _ => 2,
    };
    let order: Vec<(i32, &str)> =
        engines(&result).iter().map(|e| (rank(e), e["due"].as_str().unwrap_or("9999"))).collect();
    assert!(order.is_sorted() && order[0].0 == 0, "{order:?}");
    let mut parts_alone = 0;
    for e in engines(&result) {
        let past = e["due"].as_str().is_some_and(|d| d < "2026-10-29");
        assert_eq!(rank(e) < 2, past, "{e}");
        assert_eq!(e["chance_now"].as_f64().unwrap() >= 0.05, past, "{e}");
        // The word means what it means in `trend`: in the zone already, more likely than not.
        assert_eq!(e["chance_now"].as_f64().unwrap() > 0.5, rank(e) == 0, "{e}");
        // What must not wait does not.
        assert_eq!(e["at_once"].as_bool().unwrap(), past);
        for v in e["valves"].as_array().unwrap() {
            assert!(v["chance_by_following"].as_f64() >= v["chance_then"].as_f64(), "{v}");
            let causes: Vec<&str> =
                v["causes"].as_array().unwrap().iter().map(|c| c["feature"].as_str().unwrap()).collect();
            // A worn stem is renewed; shims are for the offset alone.
            assert_eq!(v["renew"] == serde_json::json!(["stem_wear"]), causes.contains(&"stem_wear"), "{v}");
            assert_eq!(v["correction"].is_null(), !causes.contains(&"contact_offset"), "{v}");
            if v["correction"].is_null() {
                parts_alone += 1;
                continue;
            }
            let (offset, target) = (v["expected_offset"].as_f64().unwrap(), v["target"].as_f64().unwrap());
            assert!((v["correction"].as_f64().unwrap() - (target - offset)).abs() < 1e-12);
            assert!(v["correction_sd"].as_f64().unwrap() > 0.0);
        }
    }
    assert!(parts_alone > 3, "the demo has valves whose stems are worn");
    let mut placed = 0;
    for (k, w) in result["plan"]["windows"].as_array().unwrap().iter().enumerate() {
        let names = w["engines"].as_array().unwrap();
        assert!(names.len() as u64 <= w["capacity"].as_u64().unwrap());
        let mut valves = 0;
        for name in names {
            let e = engine(&result, name.as_str().unwrap());
            assert_eq!(e["window"], k as u64);
            assert!(e["done"].as_str() <= w["end"].as_str() && e["done"].as_str() >= w["start"].as_str());
            valves += e["valves"].as_array().unwrap().iter().filter(|v| !v["correction"].is_null()).count();
            placed += 1;
        }
        let expected: f64 = w["corrections"].as_array().unwrap().iter().map(|c| c["expected"].as_f64().unwrap()).sum();
        assert!((expected - valves as f64).abs() < 1e-9, "every correction of the window is counted once");
    }
    assert_eq!(placed, engines(&result).iter().filter(|e| !e["window"].is_null()).count());
    let months = result["months"].as_array().unwrap();
    let undone: Vec<f64> = months.iter().map(|m| m["valves_if_nothing_is_done"].as_f64().unwrap()).collect();
    assert!(months.len() == 25 && undone.is_sorted(), "nothing heals by itself");
    assert!(months[24]["valves_with_plan"].as_f64().unwrap() < 0.5 * undone[24]);
    let interval = &result["intervals"][0];
    let (best, wait) = (&interval["cheapest"], interval["run_to_failure_cost_per_1000_hours"].as_f64().unwrap());
    assert!(best["cost_per_1000_hours"].as_f64().unwrap() < wait && interval["engines"] == 24);
}

#[test]
fn engines_done_at_once_leave_their_places_to_others() {
    let (_, result) = plan(&[]);
    let mut at_once = 0;
    for e in engines(&result) {
        assert_eq!(e["at_once"] == true, e["status"] == "overdue" || e["status"] == "late");
        if e["at_once"] == true {
            at_once += 1;
            assert!(e["window"].is_null() && e["done"] == "2026-10-29" && !e["valves"].as_array().unwrap().is_empty());
        }
    }
    assert!(at_once > 0);
    let (_, waiting) = plan(&["--late-in-windows"]);
    assert!(engines(&waiting).iter().all(|e| e["at_once"] == false));
    let warnings = waiting["warnings"].to_string();
    assert!(warnings.contains("run on until a window") && warnings.contains("P09"), "{warnings}");
    assert!(result["plan"]["days_beyond"].as_f64() < waiting["plan"]["days_beyond"].as_f64());
}

#[test]
fn an_engine_just_built_or_reshimmed_starts_from_the_stack() {
    let (_, result) = plan(&["--built", "Q01=2026-10-01", "--reshimmed", "P18=2026-10-10"]);
    let (_, before) = plan(&[]);
    let new = engine(&result, "Q01");
    assert_eq!((new["not_read"].as_bool(), new["usage"]["source"].as_str()), (Some(true), Some("fleet")));
    assert!(new["chance_now"].as_f64().unwrap() < 1e-3 && new["due"].as_str().unwrap() > "2028");
    // Only the shims were changed: its offsets start anew, its stems do not.
    let (then, now) = (engine(&before, "P18"), engine(&result, "P18"));
    assert_eq!(now["not_read"], true);
    assert!(now["chance_now"].as_f64() < then["chance_now"].as_f64());
    assert!(now["due"].as_str() > then["due"].as_str());
}

#[test]
fn threads_do_not_change_a_byte() {
    let ask = |threads: &str| {
        let arguments = arguments(&["--format", "json", "--threads", threads]);
        run(&arguments.iter().map(String::as_str).collect::<Vec<_>>()).stdout
    };
    assert_eq!(ask("1"), ask("2"));
}

/// A content line of RFC 5545 unfolded, cut at its first colon: the check reads the file by the standard's grammar, not by our writer.
fn properties(calendar: &str) -> Vec<(String, String)> {
    assert!(calendar.ends_with("\r\n") && !calendar.replace("\r\n", "").contains(['\r', '\n']));
    assert!(calendar.split("\r\n").all(|l| l.len() <= 75), "no line is longer than 75 octets");
    let whole = calendar.replace("\r\n ", "").replace("\r\n\t", "");
    whole
        .split_terminator("\r\n")
        .map(|l| l.split_once(':').expect("a name and a value"))
        .map(|(n, v)| (n.to_owned(), v.to_owned()))
        .collect()
}

#[test]
fn the_folder_and_the_calendar_hold_the_plan() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = arguments(&["--out", "plan", "--xlsx", "plan.xlsx", "--ics", "plan.ics", "--quiet"]);
    let output = run_in(folder.path(), &arguments.iter().map(String::as_str).collect::<Vec<_>>());
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    let result: Value = serde_json::from_str(&read("plan/result.json")).unwrap();
    assert_eq!(read("plan/calendar.ics"), read("plan.ics"));
    let properties = properties(&read("plan.ics"));
    let values =
        |name: &str| -> Vec<&str> { properties.iter().filter(|(n, _)| n == name).map(|(_, v)| v.as_str()).collect() };
    let (uids, starts, ends) = (values("UID"), values("DTSTART;VALUE=DATE"), values("DTEND;VALUE=DATE"));
    assert_eq!(values("BEGIN").len(), values("END").len());
    assert_eq!(values("DTSTAMP").len(), uids.len());
    assert!(starts.iter().zip(&ends).all(|(s, e)| s < e), "an end is the day after");
    let mut distinct = uids.clone();
    distinct.sort_unstable();
    distinct.dedup();
    assert_eq!(distinct.len(), uids.len());
    let windows = result["plan"]["windows"].as_array().unwrap();
    for w in windows {
        let start = w["start"].as_str().unwrap().replace('-', "");
        assert!(starts.contains(&start.as_str()));
    }
    let end = result["plan"]["end"].as_str().unwrap();
    let dated = engines(&result).iter().filter(|e| e["due"].as_str().is_some_and(|d| d <= end)).count();
    assert_eq!(uids.len(), windows.len() + dated);
    // The demand is what `stock` reads: one row a valve to do.
    let valves = engines(&result).iter().flat_map(|e| e["valves"].as_array().unwrap());
    let jobs = valves.filter(|v| !v["correction"].is_null()).count();
    let demand = read("plan/tables/demand.csv");
    assert!(demand.starts_with("name,rate_per_day,correction,sd,squeeze,squeeze_sd\n"), "{demand}");
    assert_eq!(demand.lines().count(), jobs + 1);
    let checked = run_in(folder.path(), &["check", "plan/tables/demand.csv"]);
    assert_eq!(checked.status.code(), Some(0));
    let said = String::from_utf8(checked.stdout).unwrap();
    assert!(said.contains(&format!("demand, no mistake: {jobs} rows")), "{said}");
    for file in ["plan/report.html", "plan/figures/timeline.svg", "plan/tables/engines.csv", "plan/tables/windows.csv"]
    {
        assert!(!read(file).is_empty(), "{file}");
    }
    assert!(std::fs::metadata(folder.path().join("plan.xlsx")).unwrap().len() > 2000);
}

#[test]
fn what_cannot_be_is_refused_with_its_reason() {
    for (more, says) in [
        (vec!["--today", "2026-01-01"], "before the last reading"),
        (vec!["--today", "soon"], "2027-03-01"),
        (vec!["--reshimmed", "X99=2026-10-01"], "X99"),
        (vec!["--reshimmed", "P01=2026-01-01"], "event"),
        (vec!["--built", "Q01=2099-01-01", "--today", "2026-11-01"], "after the day of the plan"),
        (vec!["--built", "Q01"], "ENGINE=DATE"),
    ] {
        let arguments = arguments(&more);
        let output = run(&arguments.iter().map(String::as_str).collect::<Vec<_>>());
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{more:?}: {error}");
        assert!(error.contains(says), "{more:?}: {error}");
        assert!(output.stdout.is_empty());
    }
}
