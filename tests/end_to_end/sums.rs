//! `trend --sums`: the table of sums in place of the readings, and the query that makes it.

use crate::program::{demo, json, run};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Date, hours, whether a segment begins, reading, group.
type Row = (String, f64, bool, f64, String);

/// The demo's readings summed here, by two passes over each segment and nothing of the program's.
pub(crate) fn sums() -> String {
    let text = std::fs::read_to_string(demo("inspections.csv")).unwrap();
    let mut lines = text.lines().filter(|l| !l.starts_with('#'));
    assert_eq!(lines.next().unwrap(), "engine,valve,date,hours,feature,value,event,group");
    let mut histories: BTreeMap<(String, String, String), Vec<Row>> = BTreeMap::new();
    for line in lines {
        let f: Vec<&str> = line.split(',').collect();
        let begins = !f[6].is_empty() && f[6] != "inspect";
        let row = (f[2].to_owned(), f[3].parse().unwrap(), begins, f[5].parse().unwrap(), f[7].to_owned());
        histories.entry((f[0].to_owned(), f[1].to_owned(), f[4].to_owned())).or_default().push(row);
    }
    let mut rows = Vec::new();
    for ((engine, valve, feature), mut history) in histories {
        history.sort_by(|a, b| (&a.0, a.1, a.2).partial_cmp(&(&b.0, b.1, b.2)).unwrap());
        let mut segments: Vec<Vec<Row>> = Vec::new();
        for row in history {
            if segments.is_empty() || row.2 {
                segments.push(Vec::new());
            }
            segments.last_mut().unwrap().push(row);
        }
        for (k, s) in segments.iter().enumerate() {
            let n = s.len() as f64;
            let (start, last) = (s[0].1, s.last().unwrap().1);
            let t: f64 = s.iter().map(|r| r.1 - start).sum::<f64>() / n;
            let y: f64 = s.iter().map(|r| r.3).sum::<f64>() / n;
            let sum = |f: &dyn Fn(f64, f64) -> f64| s.iter().map(|r| f(r.1 - start - t, r.3 - y)).sum::<f64>();
            let (tt, ty, yy) = (sum(&|t, _| t * t), sum(&|t, y| t * y), sum(&|_, y| y * y));
            rows.push(format!(
                "{engine},{valve},{feature},{},{},{start},{last},{},{t:e},{y:e},{tt:e},{ty:e},{yy:e}",
                s[0].4,
                k + 1,
                s.len()
            ));
        }
    }
    // As a parallel engine leaves them.
    rows.sort_by_key(|row| row.bytes().rev().collect::<Vec<u8>>());
    let mut table = String::from(
        "engine,valve,feature,group,segment,start_hours,last_hours,readings,mean_hours,mean_value,hours_squares,products,value_squares\n",
    );
    for row in rows {
        let _ = writeln!(table, "{row}");
    }
    table
}

fn valves(result: &Value) -> BTreeMap<String, &Value> {
    let mut valves = BTreeMap::new();
    for feature in result["features"].as_array().unwrap() {
        for v in feature["valves"].as_array().unwrap() {
            valves.insert(format!("{}/{}/{}/{}", feature["feature"], v["engine"], v["valve"], v["segment"]), v);
        }
    }
    valves
}

#[test]
fn sums_give_what_the_readings_give() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sums.csv");
    std::fs::write(&path, sums()).unwrap();
    let (policy, inspections) = (demo("policy.toml"), demo("inspections.csv"));
    let [policy, inspections, path] = [&policy, &inspections, &path].map(|p| p.to_str().unwrap());
    let fixed = ["--policy", policy, "--model", "random-slope"];
    let (status, readings) = json(&[&["trend", inspections][..], &fixed].concat());
    let (same, sums) = json(&[&["trend", "--sums", path][..], &fixed].concat());
    assert_eq!(status, same);
    for (a, b) in readings["features"].as_array().unwrap().iter().zip(sums["features"].as_array().unwrap()) {
        assert_eq!(a["rows"], b["rows"]);
        for key in ["slope", "slope_se", "sd_intercept", "sd_slope", "sd_reading", "log_likelihood"] {
            let (a, b) = (a["model"][key].as_f64().unwrap(), b["model"][key].as_f64().unwrap());
            assert!((a - b).abs() <= 1e-10 * a.abs(), "{key}: {a} from readings, {b} from sums");
        }
    }
    let (a, b) = (valves(&readings), valves(&sums));
    let (mut compared, mut both_ways) = (0, 0);
    // 96 valves, two features, no re-shim in the demo.
    assert!(a.len() == 192 && a.keys().eq(b.keys()));
    for (name, valve) in &a {
        // Sums tell no days: chances are as of the last reading, and later than that from readings where the engine has run on since.
        let same_day = valve["since_read"].as_f64() == Some(0.0);
        // Sums tell no days either: a last look that stands off is answered both ways from readings, and only as believed from sums.
        let answers = valve["verdict"]["answers"].as_array();
        let valve =
            answers.and_then(|all| all.iter().find(|x| x["assuming"] == "readings as believed")).unwrap_or(valve);
        both_ways += usize::from(answers.is_some());
        for key in ["hours", "level", "level_se", "slope", "slope_se", "chance_by_horizon"] {
            if key == "chance_by_horizon" && !same_day {
                assert!(valve[key].as_f64() >= b[name][key].as_f64(), "{name}: chances grow");
                continue;
            }
            if valve[key].is_null() && answers.is_some() {
                continue;
            }
            compared += usize::from(key == "chance_by_horizon");
            let (x, y) = (valve[key].as_f64().unwrap(), b[name][key].as_f64().unwrap());
            assert!((x - y).abs() <= 1e-10 * x.abs().max(1e-6), "{name}, {key}: {x} from readings, {y} from sums");
        }
        // Sums hold no newest reading: a valve measured in the zone is overdue by its readings, and by the fit alone from sums.
        let measured_outside = valve["status"] == "overdue" && b[name]["status"] == "due";
        assert!(!same_day || measured_outside || valve["status"] == b[name]["status"], "{name}");
    }
    assert!(compared > 0, "some engine was read on the last day");
    // One sound look in ten stands off by itself, half of them towards safety, and so do two looks together.
    assert!(both_ways < 38, "{both_ways} of 192 valves are answered both ways");
}

#[test]
fn the_query_is_printed_as_it_was_tried_and_alone() {
    let output = run(&["trend", "--sums-sql"]);
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(String::from_utf8(output.stdout).unwrap(), include_str!("../reference/trend_sums.sql"));
    let output = run(&["trend", "--sums-sql", "fleet.readings", "--sql-quote", "backtick"]);
    let query = String::from_utf8(output.stdout).unwrap();
    assert!(query.contains("FROM fleet.readings\n") && query.contains("AS `group`") && !query.contains('"'));
}

#[test]
fn what_sums_cannot_tell_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sums.csv");
    std::fs::write(&path, sums()).unwrap();
    let path = path.to_str().unwrap();
    for (arguments, says) in [
        (vec!["trend"], "<INSPECTIONS>"),
        (vec!["trend", "--sums", path, "--model", "wiener"], "only random-slope"),
        (vec!["trend", "--sums", path, "--reading-errors", "heavy"], "which reading was bad"),
        (vec!["trend", path, "--sums", path], "cannot be used with"),
        (vec!["trend", "--sums", path, "--today", "2027-01-01"], "cannot be used with"),
        (vec!["trend", "--sums-sql", "a table; drop it"], "name of a table"),
        (vec!["trend", "--sql-quote", "double"], "--sums-sql"),
        (vec!["trend", path], "sums of inspections"),
    ] {
        let output = run(&arguments);
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {error}");
        assert!(error.contains(says), "{arguments:?}: {error}");
        assert!(output.stdout.is_empty());
    }
}
