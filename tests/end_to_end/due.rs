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
        assert!(e["chance_now"].as_f64().unwrap() < 0.05 || past, "{e}");
        // The word means what it means in `trend`: a valve is overdue.
        let valves = e["valves_today"].as_array().unwrap();
        assert_eq!(valves.iter().any(|v| v["status"] == "overdue"), rank(e) == 0, "{e}");
        let late = e["days_late"].as_i64().unwrap();
        assert_eq!(late > 0, e["due"].as_str().is_some_and(|d| d < e["done"].as_str().unwrap()), "{e}");
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
    let looked = engines(&result).iter().filter(|e| e["look"]["by"].as_str().is_some_and(|d| d <= end)).count();
    assert_eq!(uids.len(), windows.len() + dated + looked);
    order_is_read_back(folder.path(), &result);
    for file in ["plan/report.html", "plan/figures/timeline.svg", "plan/tables/engines.csv", "plan/tables/windows.csv"]
    {
        assert!(!read(file).is_empty(), "{file}");
    }
    assert!(std::fs::metadata(folder.path().join("plan.xlsx")).unwrap().len() > 2000);
}

/// Every correction and every part of the plan is in the order, each in one of four columns, and `stock` reads the table and the sheet alike.
fn order_is_read_back(folder: &std::path::Path, result: &Value) {
    let work = || engines(result).iter().flat_map(|e| e["valves"].as_array().unwrap());
    let corrections = work().filter(|v| !v["correction"].is_null()).count() as f64;
    let parts = work().map(|v| v["renew"].as_array().unwrap().len()).sum::<usize>() as f64;
    let columns = ["at_once", "in_windows", "without_a_place", "beyond_the_plan"];
    let ordered = |part: &str| -> f64 {
        let lines = result["order"].as_array().unwrap().iter().filter(|l| l["part"] == part);
        lines.flat_map(|l| columns.map(|c| l[c].as_f64().unwrap())).sum()
    };
    // Sizes of which fewer than a thousandth is expected are left out.
    assert!((ordered("shims") - corrections).abs() < 0.05, "{} {corrections}", ordered("shims"));
    assert_eq!(ordered("new part"), parts);
    let demand = std::fs::read_to_string(folder.join("plan/tables/demand.csv")).unwrap();
    assert!(
        demand
            .starts_with("name,part,at_once,in_windows,without_a_place,beyond_the_plan,total,rate_per_day,correction")
    );
    let (pack, drawer) = (demo("pack.toml"), demo("drawer.csv"));
    let stocked = |demand: &str| {
        let arguments =
            ["stock", pack.to_str().unwrap(), "--valve", "1 exhaust", "--catalogue", drawer.to_str().unwrap()];
        let output =
            run_in(folder, &[&arguments[..], &["--demand", demand, "--jobs", "400", "--format", "json"]].concat());
        let told: Value = serde_json::from_slice(&output.stdout).unwrap_or_else(|e| {
            panic!("{demand}: {e}: {}", String::from_utf8_lossy(&output.stderr));
        });
        let of = |key: &str| {
            assert!(!told[key].is_null(), "{key} is not in what stock says");
            told[key].clone()
        };
        ([of("chosen"), of("hold"), of("rate_per_day"), of("whole_catalogue")], told["warnings"].to_string())
    };
    let (by_csv, said) = stocked("plan/tables/demand.csv");
    let (by_sheet, _) = stocked("plan.xlsx");
    assert_eq!(by_csv, by_sheet, "the sheet is the table");
    assert!(said.contains("new parts, which take no shims"), "{said}");
    let checked = run_in(folder, &["check", "plan/tables/demand.csv"]);
    assert_eq!(checked.status.code(), Some(0), "{}", String::from_utf8_lossy(&checked.stdout));
}

/// The policy of the demo with other windows, and without costs where asked.
fn policy_with(folder: &std::path::Path, windows: &[(&str, &str, u32)], costs: bool) -> String {
    let text = std::fs::read_to_string(demo("policy.toml")).unwrap();
    let (head, rest) = text.split_once("[[window]]").unwrap();
    let cost = rest.split_once("[cost]").unwrap().1;
    let mut made = head.to_owned();
    for (start, end, engines) in windows {
        made.push_str(&format!("[[window]]\nstart = {start}\nend = {end}\nengines = {engines}\n"));
    }
    if costs {
        made.push_str(&format!("[cost]{cost}"));
    }
    let path = folder.join("policy.toml");
    std::fs::write(&path, made).unwrap();
    path.to_str().unwrap().to_owned()
}

fn plan_by(policy: &str, more: &[&str]) -> (i32, Value) {
    let readings = demo("inspections.csv");
    let fixed = ["due", readings.to_str().unwrap(), "--policy", policy, "--model", "random-slope"];
    json(&[&fixed, more].concat())
}

#[test]
fn nobody_has_a_place_before_the_following_window_needs_it() {
    let folder = tempfile::tempdir().unwrap();
    let windows =
        [("2027-03-01", "2027-03-12", 12), ("2027-06-14", "2027-06-25", 12), ("2027-10-04", "2027-10-15", 12)];
    for costs in [false, true] {
        let policy = policy_with(folder.path(), &windows, costs);
        let (_, result) = plan_by(&policy, &[]);
        let end = result["plan"]["end"].as_str().unwrap();
        let starts: Vec<&str> = windows.iter().skip(1).map(|w| w.0).chain([end]).collect();
        for e in engines(&result).iter().filter(|e| !e["window"].is_null()) {
            let following = starts[e["window"].as_u64().unwrap() as usize];
            let due = e["due"].as_str().unwrap();
            // There is room everywhere: only costs may put anybody earlier, and say so.
            assert!(due < following || (costs && e["because"] == "cost"), "{costs}: {e}");
        }
        // Who is due within the plan's time has a place, and in time where a window comes in time.
        for e in engines(&result).iter().filter(|e| e["at_once"] == false) {
            let Some(due) = e["due"].as_str() else { continue };
            // With costs one that is due later may have a place too, where waiting costs more.
            let placed = !e["window"].is_null();
            assert!(placed == (due < end) || (costs && placed && e["because"] == "cost"), "{costs}: {e}");
            assert!(e["days_late"] == 0 || due < windows[0].0, "{e}");
        }
    }
}

#[test]
fn windows_that_repeat_overlap_or_are_over_are_said() {
    let folder = tempfile::tempdir().unwrap();
    let windows = [
        ("2026-01-05", "2026-01-16", 6),
        ("2027-03-01", "2027-03-12", 4),
        ("2027-03-01", "2027-03-12", 4),
        ("2027-03-10", "2027-03-20", 2),
    ];
    let (_, result) = plan_by(&policy_with(folder.path(), &windows, true), &[]);
    let said = result["warnings"].to_string();
    assert!(said.contains("over before the day of the plan") && said.contains("2026-01-05"), "{said}");
    assert!(said.contains("stand more than once") && said.contains("overlap"), "{said}");
    assert!(said.contains("[usage] default = 42 changes nothing"), "{said}");
}

#[test]
fn the_answer_has_the_late_with_their_days_and_the_job_by_its_cause() {
    let arguments = arguments(&[]);
    let output = run(&arguments.iter().map(String::as_str).collect::<Vec<_>>());
    let text = String::from_utf8(output.stdout).unwrap();
    let answer: String =
        text.split("Engines by latest date").next().unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    let (_, result) = plan(&[]);
    assert_eq!(output.status.code(), Some(1));
    let late: Vec<&Value> =
        engines(&result).iter().filter(|e| !e["window"].is_null() && e["days_late"].as_i64().unwrap() > 0).collect();
    assert!(
        late.len() > 2 && answer.contains(&format!("{} engines have their places after their latest date", late.len()))
    );
    for e in late.iter().take(3) {
        assert!(answer.contains(e["engine"].as_str().unwrap()), "{answer}");
    }
    assert_eq!(result["plan"]["engines_late"].as_u64().unwrap() as usize, late.len());
    for e in engines(&result).iter().filter(|e| e["status"] == "overdue") {
        let remedy = if e["first_feature"] == "contact_offset" { "shims" } else { "a new part" };
        let named = format!("{} ({}", e["engine"].as_str().unwrap(), e["first_valve"].as_str().unwrap());
        let at = answer.find(&named).unwrap_or_else(|| panic!("{named}: {answer}"));
        assert!(answer[at..].split(')').next().unwrap().ends_with(remedy), "{answer}");
    }
}

/// What is said today under the policy's own numbers is what an empty change says; every kind of change moves what it should.
#[test]
fn scenarios_stand_beside_today_s_plan() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let nothing = write("nothing.toml", "scenario = \"as it is\"\n[running]\nall = 1\n");
    let busy = write("busy.toml", "scenario = \"busy\"\n[running]\nall = 1.5\nP13 = 0.5\n");
    let windows = write(
        "windows.toml",
        "scenario = \"windows\"\nrisk = 0.03\n[[drop]]\nstart = 2027-06-14\n[[resize]]\nstart = 2027-03-01\nengines = 9\n\
         [[add]]\nstart = 2027-01-11\nend = 2027-01-15\nengines = 4\n[[pin]]\nengine = \"P17\"\nwindow = 2027-01-11\n\
         [[pin]]\nengine = \"P20\"\ndate = 2026-12-01\n[[delay]]\nengine = \"P17\"\ndays = 20\n",
    );
    let (_, result) = plan(&["--scenario", &nothing, "--scenario", &busy, "--scenario", &windows]);
    let compared = &result["scenarios"];
    let (today, answers) = (&compared["today"], compared["scenarios"].as_array().unwrap());
    assert_eq!(answers.len(), 3);
    let of = |answer: &Value, name: &str| -> Value {
        answer["engines"].as_array().unwrap().iter().find(|e| e["engine"] == name).unwrap().clone()
    };
    // The same forecasts: nothing changed is nothing changed, to the last digit.
    assert_eq!(answers[0]["plan"], today["plan"]);
    assert_eq!(answers[0]["order"], today["order"]);
    for e in today["engines"].as_array().unwrap() {
        let name = e["engine"].as_str().unwrap();
        let (then, now) = (of(&answers[1], name), e);
        let sooner = then["due"].as_str() <= now["due"].as_str();
        assert!(now["due"].is_null() || if name == "P13" { !sooner } else { sooner }, "{name}: {now} {then}");
    }
    let cost = |answer: &Value, key: &str| answer["plan"][key].as_f64().unwrap();
    assert!(cost(&answers[1], "expected_cost") > cost(today, "expected_cost"));
    assert!(cost(today, "expected_cost_if_nothing_is_done") > cost(today, "expected_cost"));
    let third = &answers[2];
    let places: Vec<&str> =
        third["plan"]["windows"].as_array().unwrap().iter().map(|w| w["start"].as_str().unwrap()).collect();
    assert_eq!(places, ["2027-01-11", "2027-03-01", "2027-10-04"]);
    assert_eq!(third["plan"]["windows"][1]["capacity"], 9);
    assert_eq!((of(third, "P17")["window"].as_u64(), of(third, "P17")["done"].as_str()), (Some(0), Some("2027-02-04")));
    assert_eq!((of(third, "P20")["window"].is_null(), of(third, "P20")["done"].as_str()), (true, Some("2026-12-01")));
    assert!(of(third, "P05")["due"].as_str() < of(today, "P05")["due"].as_str(), "a smaller risk is reached sooner");
    assert!(of(third, "P05")["chance_by_window"].as_array().unwrap().len() == 3);
}

#[test]
fn every_mistake_of_a_scenario_is_named_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("wrong.toml");
    let text = "scenario = \"wrong\"\nrisk = 2\n[running]\nP99 = 1.2\nP01 = -1\n[usage]\nP02 = 900\n[[pin]]\nengine = \"P03\"\n\
                window = 2027-03-02\n[[drop]]\nstart = 2030-01-01\n[[add]]\nstart = 2027-05-01\nend = 2027-04-01\nengines = 0\n\
                [[delay]]\ndays = 0\n[[pin]]\nengine = \"P03\"\ndate = 2020-01-01\nwidow = 3\n";
    std::fs::write(&path, text).unwrap();
    let arguments = arguments(&["--scenario", path.to_str().unwrap(), "--quiet"]);
    let output = run(&arguments.iter().map(String::as_str).collect::<Vec<_>>());
    let error = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{error}");
    for line in [2, 4, 5, 7, 10, 12, 16, 18, 22] {
        assert!(error.contains(&format!("wrong.toml:{line}:")), "line {line}: {error}");
    }
    let checked = run(&["check", path.to_str().unwrap()]);
    assert_eq!(checked.status.code(), Some(2));
}

#[test]
fn what_cannot_be_is_refused_with_its_reason() {
    for (more, says) in [
        (vec!["--today", "2026-01-01"], "expected a day up to today, 2026-01-01"),
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

/// Overdue first.
const WORDS: [&str; 7] = ["overdue", "due", "read again", "not shown", "too close to tell", "watch", "in window"];

/// A valve's word, and the feature and date of each last reading.
type Said = (String, Vec<(String, String)>);

/// By engine and valve the worst of its features' words by `trend`.
fn by_trend(day: &str) -> std::collections::BTreeMap<(String, String), Said> {
    let files = ["inspections.csv", "policy.toml"].map(|f| demo(f).to_str().unwrap().to_owned());
    let (_, result) = json(&["trend", &files[0], "--policy", &files[1], "--model", "random-slope", "--today", day]);
    assert_eq!(result["today"], day);
    let mut out = std::collections::BTreeMap::new();
    let text = |v: &Value, key: &str| v[key].as_str().unwrap().to_owned();
    for feature in result["features"].as_array().unwrap() {
        for v in feature["valves"].as_array().unwrap() {
            let entry = out
                .entry((text(v, "engine"), text(v, "valve")))
                .or_insert_with(|| ("in window".to_owned(), Vec::new()));
            let rank = |word: &str| WORDS.iter().position(|w| *w == word).unwrap();
            let word = text(v, "status");
            if rank(&word) < rank(&entry.0) {
                entry.0 = word;
            }
            entry.1.push((text(feature, "feature"), text(&v["newest"], "date")));
        }
    }
    out
}

/// `trend` and `due` are two looks at one fleet: on the same day they say the same word of every valve, by the same last readings.
#[test]
fn trend_and_due_say_the_same_of_every_valve_on_the_same_day() {
    let mut overdue = Vec::new();
    for day in ["2026-10-29", "2027-01-15", "2027-06-30"] {
        let (_, plan) = plan(&["--today", day]);
        let trend = by_trend(day);
        assert_eq!(plan["today"], day);
        let mut valves = 0;
        for e in engines(&plan) {
            for v in e["valves_today"].as_array().unwrap() {
                let name = (e["engine"].as_str().unwrap().to_owned(), v["valve"].as_str().unwrap().to_owned());
                let (word, readings) = &trend[&name];
                assert_eq!(v["status"].as_str().unwrap(), word, "{day}: {name:?}");
                let read = v["last_readings"].as_array().unwrap();
                let mut read: Vec<(String, String)> = read
                    .iter()
                    .map(|r| (r["feature"].as_str().unwrap().to_owned(), r["date"].as_str().unwrap().to_owned()))
                    .collect();
                read.sort();
                let mut expected = readings.clone();
                expected.sort();
                assert_eq!(read, expected, "{day}: {name:?}");
                valves += 1;
            }
        }
        assert_eq!(valves, trend.len(), "{day}");
        let engines_overdue: std::collections::BTreeSet<&String> =
            trend.iter().filter(|(_, v)| v.0 == "overdue").map(|((engine, _), _)| engine).collect();
        let by_plan = engines(&plan).iter().filter(|e| e["status"] == "overdue").count();
        assert_eq!(engines_overdue.len(), by_plan, "{day}");
        overdue.push(by_plan);
    }
    assert!(overdue.is_sorted() && overdue[0] > 0 && overdue[2] > overdue[0], "wear goes on: {overdue:?}");
}
