//! `allocate` as an engineer runs it, against optima that scipy and exhaustion found (`tests/outside/allocation.py`).

use crate::program::{demo, json, run, run_in};
use serde_json::Value;
use std::fmt::Write as _;
use std::path::Path;

fn frozen(name: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/allocation.json");
    let text = std::fs::read_to_string(path).unwrap();
    serde_json::from_str::<Value>(&text).unwrap()["values"][name].clone()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

/// A washer with a cost in the file's words.
fn washer(name: &str, tol: f64, cost: &str) -> String {
    format!(
        "[[bay.part]]\nname = \"{name}\"\nkind = \"washer\"\nthickness = {{ nominal = 2.0, tol = {tol}, cost = {{ {cost} }} }}\n"
    )
}

/// Washers left and right of a rocker, a linear spring of 20 N/mm squeezed by 10 mm, a stem whose tolerance of 0.02 is fixed.
fn pack(left: &[String], right: &[String], requirements: &str) -> String {
    let (l, r) = (2.0 * left.len() as f64, 2.0 * right.len() as f64);
    format!(
        "title = \"Washers\"\n[[bay]]\nname = \"b\"\nspan = {:.1}\n{}[[bay.part]]\nname = \"rocker\"\nkind = \"rocker\"\nwidth = 24.0\nadjuster = 11.0\n\
         [[bay.part]]\nname = \"spring\"\nkind = \"spring-washer\"\nlaw = \"linear\"\nrate = 20.0\nfree_height = 20.0\n{}[[bay.valve]]\nname = \"v\"\n\
         rocker = \"rocker\"\nstem = {{ nominal = {:.1}, tol = 0.02 }}\n{requirements}",
        l + r + 24.0 + 10.0,
        left.concat(),
        right.concat(),
        l + 10.0
    )
}

fn offset(half: f64, max_out: f64) -> String {
    format!(
        "[[requirement]]\nname = \"offset\"\nquantity = \"offset\"\nvalve = \"v\"\nlower = {}\nupper = {}\nmax_out = {max_out}\n",
        1.0 - half,
        1.0 + half
    )
}

fn allocate(text: &str, more: &[&str]) -> (i32, Value) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pack.toml");
    std::fs::write(&path, text).unwrap();
    json(&[&["allocate", path.to_str().unwrap()], more].concat())
}

fn tols(result: &Value) -> Vec<f64> {
    result["dimensions"].as_array().unwrap().iter().map(|d| d["tol"].as_f64().unwrap()).collect()
}

/// Two requirements that share a washer, under a ceiling on the share of packs in which either fails: the shadow of the shared washer falls on both.
/// Held to scipy's optimum, and to the conditions of Karush, Kuhn and Tucker as the result states them.
#[test]
fn a_joint_ceiling_is_shared_out_as_scipy_does() {
    let case = frozen("joint");
    let (scale, expected) = (numbers(&case["scale"]), numbers(&case["tol"]));
    let cost = |k: usize| format!("scale = {:.1}", scale[k]);
    let left = [washer("w0", 0.05, &cost(0))];
    let right = [washer("w1", 0.05, &cost(1)), washer("w2", 0.05, &cost(2))];
    // ± 0.12 mm of the sum is ± 2.4 N.
    let preload = "[[requirement]]\nname = \"preload\"\nquantity = \"preload\"\nbay = \"b\"\nlower = 197.6\nupper = 202.4\nmax_out = 0.01\n";
    let text = pack(&left, &right, &(offset(0.07, 0.01) + preload));
    let (status, result) = allocate(&text, &["--max-out", "0.01"]);
    assert_eq!(status, 0);
    for (found, expected) in tols(&result).iter().zip(&expected) {
        assert!((found / expected - 1.0).abs() < 0.01, "{found} for {expected}");
    }
    let (cost, least) = (result["cost"].as_f64().unwrap(), case["cost"].as_f64().unwrap());
    assert!((cost / least - 1.0).abs() < 2e-3, "{cost} for {least}");
    // The ceiling is kept by the bound of what the whole model counts, and hardly any of it is given away.
    let (out, bound) = (result["out"]["total"].as_f64().unwrap(), result["out"]["bound"].as_f64().unwrap());
    assert!(out <= bound && bound <= 0.01 && bound > 0.0099, "{}", result["out"]);
    assert_eq!(result["optimum"]["kind"], "kkt");
    // The conditions are judged by slopes of what dependence takes off, which are sampled and differenced widely; the cost is held to scipy's above.
    assert!(result["optimum"]["residual"].as_f64().unwrap() < 0.01, "{}", result["optimum"]);
}

/// Tables of grades: what costs least of all 3125 choices, proven; and the pack drawn so keeps its requirement when it is asked of `stack`.
#[test]
fn grades_cost_the_least_of_all_choices() {
    let case = frozen("grades");
    let tables: Vec<Vec<Vec<f64>>> = case["grades"]
        .as_array()
        .unwrap()
        .iter()
        .map(|t| t.as_array().unwrap().iter().map(numbers).collect())
        .collect();
    let washers = |tol: &dyn Fn(usize) -> f64| -> Vec<String> {
        let grades = |table: &Vec<Vec<f64>>| {
            let mut text = "grades = [".to_owned();
            for grade in table {
                let _ = write!(text, "{{ tol = {}, price = {} }}, ", grade[0], grade[1]);
            }
            text + "]"
        };
        tables.iter().enumerate().map(|(k, t)| washer(&format!("w{k}"), tol(k), &grades(t))).collect()
    };
    let (status, result) = allocate(&pack(&washers(&|_| 0.06), &[], &offset(0.1, 0.0027)), &[]);
    assert_eq!((status, result["optimum"]["kind"].as_str()), (0, Some("proven")));
    let (cost, least) = (result["cost"].as_f64().unwrap(), case["cost"].as_f64().unwrap());
    assert!((cost - least).abs() < 1e-9, "{cost}, but exhaustion finds {least}");
    let found = tols(&result);
    for (k, d) in result["dimensions"].as_array().unwrap().iter().enumerate() {
        let grade = d["grade"].as_u64().unwrap() as usize;
        assert!((tables[k][grade - 1][0] - found[k]).abs() < 1e-12, "{d}");
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("drawn.toml");
    std::fs::write(&path, pack(&washers(&|k| found[k]), &[], &offset(0.1, 0.0027))).unwrap();
    let (status, drawn) = json(&["stack", path.to_str().unwrap()]);
    assert_eq!(status, 0);
    let out = drawn["requirements"][0]["monte_carlo"]["out"]["total"].as_f64().unwrap();
    assert!((out / result["out"]["total"].as_f64().unwrap() - 1.0).abs() < 1e-6, "{out}");
}

/// A table beside a formula, a dimension that is fixed: every grade of the one with the best of the other, by the closed form of one variable. What is
/// fixed is not in the result.
#[test]
fn tables_and_formulas_mix() {
    let grades = "grades = [{ tol = 0.03, price = 8.0 }, { tol = 0.05, price = 5.0 }, { tol = 0.08, price = 3.0 }]";
    let fixed = "[[bay.part]]\nname = \"f\"\nkind = \"washer\"\nthickness = { nominal = 2.0, tol = 0.02 }\n".to_owned();
    let left = [washer("g", 0.05, grades), washer("p", 0.05, "fixed = 1.0, scale = 0.2"), fixed];
    let (status, result) = allocate(&pack(&left, &[], &offset(0.1, 0.0027)), &[]);
    assert_eq!(status, 0);
    let names: Vec<&str> =
        result["dimensions"].as_array().unwrap().iter().map(|d| d["dimension"].as_str().unwrap()).collect();
    assert_eq!(names, ["b/g/thickness", "b/p/thickness"]);
    // 2Φ(−z) = 0.0027 at z = 2.9999769927; Σ tol² = 9·(0.1/z)².
    let room = 9.0 * (0.1_f64 / 2.999_976_992_703_4).powi(2) - 2.0 * 0.02_f64.powi(2);
    let least = [(0.03, 8.0), (0.05, 5.0), (0.08, 3.0)]
        .into_iter()
        .map(|(t, price): (f64, f64)| price + 1.0 + 0.2 / (room - t * t).sqrt())
        .fold(f64::INFINITY, f64::min);
    let cost = result["cost"].as_f64().unwrap();
    assert!((cost / least - 1.0).abs() < 1e-4, "{cost} for {least}");
}

/// The demo's priced cylinder: what costs least keeps the ceiling, every price is of the file, and the page shows old and new.
#[test]
fn the_demo_is_allocated_and_drawn() {
    let folder = tempfile::tempdir().unwrap();
    let pack = demo("pack-with-prices.toml");
    let arguments = ["allocate", pack.to_str().unwrap(), "--max-out", "0.01", "--out", "out", "--format", "json"];
    let output = run_in(folder.path(), &arguments);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let result: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(result["out"]["total"].as_f64().unwrap() < 0.0105 && result["out_now"].as_f64().unwrap() > 0.02);
    assert_eq!(result["optimum"]["kind"], "proven");
    let costs: f64 = result["dimensions"].as_array().unwrap().iter().map(|d| d["cost"].as_f64().unwrap()).sum();
    assert!((costs - result["cost"].as_f64().unwrap()).abs() < 1e-9);
    for d in result["dimensions"].as_array().unwrap() {
        let shim = d["dimension"].as_str().unwrap().contains("shim");
        assert!(!shim || [0.006, 0.015, 0.03].iter().any(|t| (d["tol"].as_f64().unwrap() - t).abs() < 1e-12), "{d}");
    }
    for file in ["out/report.html", "out/figures/tolerances.svg", "out/tables/tolerances.csv"] {
        assert!(std::fs::metadata(folder.path().join(file)).unwrap().len() > 300, "{file}");
    }
}

/// A laxer ceiling never costs more, and where what is fixed breaks a ceiling alone nothing is allocated.
#[test]
fn laxer_ceilings_of_the_demo_cost_no_more() {
    let pack = demo("pack-with-prices.toml");
    let mut last = f64::INFINITY;
    for (ceiling, possible) in [("0.0005", false), ("0.001", false), ("0.002", true), ("0.005", true), ("0.01", true)] {
        let arguments = ["allocate", pack.to_str().unwrap(), "--max-out", ceiling, "--format", "json"];
        let output = run(&arguments);
        assert_eq!(output.status.code(), Some(if possible { 0 } else { 2 }), "{ceiling}");
        if possible {
            let result: Value = serde_json::from_slice(&output.stdout).unwrap();
            let cost = result["cost"].as_f64().unwrap();
            assert!(cost <= last, "{ceiling}: {cost} after {last}");
            last = cost;
        }
    }
}

#[test]
fn what_cannot_be_done_is_said_in_shares_people_read() {
    let text = pack(&[washer("w", 0.05, "scale = 1.0")], &[], &offset(0.01, 0.0027));
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pack.toml");
    std::fs::write(&path, text).unwrap();
    let output = run(&["allocate", path.to_str().unwrap()]);
    let error = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{error}");
    assert!(error.contains('%') && !error.contains("e-"), "{error}");
    let unpriced = run(&["allocate", demo("pack.toml").to_str().unwrap()]);
    assert_eq!(unpriced.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&unpriced.stderr).contains("cost"), "it says what to add");
}

/// With a drawer: an answer by the bound, beside it what else could be done, and a page; in a short form, and the same twice.
#[test]
fn tolerances_and_drawer_together() {
    let folder = tempfile::tempdir().unwrap();
    let (pack, drawer) = (demo("pack-with-prices.toml"), demo("drawer.csv"));
    let short = ["--builds", "1024", "--choices", "12", "--final-builds", "4096", "--format", "json", "--out", "out"];
    let arguments: Vec<&str> =
        ["allocate", pack.to_str().unwrap(), "--max-out", "0.02", "--fit-from", drawer.to_str().unwrap()]
            .into_iter()
            .chain(short)
            .collect();
    let output = run_in(folder.path(), &arguments);
    let result: Value = serde_json::from_slice(&output.stdout).unwrap();
    let best = &result["best"];
    let number = |value: &Value| value.as_f64().unwrap();
    // The verdict is the bound's, and the exit status the verdict's.
    let kept = number(&best["bound"]) <= 0.02;
    assert_eq!(best["keeps_the_ceiling"], kept);
    assert!(kept || result["acceptable"] == false);
    assert_eq!(output.status.code(), Some(i32::from(result["acceptable"] == false)), "{}", result["verdict"]);
    assert!(number(&best["bound"]) > number(&best["out"]["value"]));
    let parts: f64 = best["parts"].as_object().unwrap().values().map(number).sum();
    assert!((parts - number(&best["cost"]["value"])).abs() < 1e-9);
    assert!(number(&result["optimum"]["at_least"]) < number(&best["cost"]["value"]));
    for beside in ["as_drawn", "tolerances_alone", "drawer_alone"] {
        assert!(number(&result["beside"][beside]["cost"]["value"]) > 0.0, "{beside}");
    }
    assert_eq!(result["assumptions"].as_array().unwrap().len(), 8);
    for file in ["out/report.html", "out/tables/curve.csv", "out/tables/alone.csv"] {
        assert!(std::fs::metadata(folder.path().join(file)).unwrap().len() > 300, "{file}");
    }
    // So short a search shows few ceilings to be kept, and only those are drawn.
    let drawn = result["curve"].as_array().unwrap().iter().filter(|point| point["kept"] == true).count();
    assert_eq!(folder.path().join("out/figures/curve.svg").exists(), drawn > 1, "{drawn} points");
    let threads: Vec<&str> = arguments.iter().copied().chain(["--threads", "1"]).collect();
    let again: Value = serde_json::from_slice(&run_in(folder.path(), &threads).stdout).unwrap();
    assert_eq!(again["best"], result["best"]);
    assert_eq!(again["curve"], result["curve"]);
}

/// What a `[cost]` lacks is listed by `check`; an option of the drawer without a drawer is refused.
#[test]
fn what_a_shop_does_not_say_is_listed() {
    let folder = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(demo("pack-with-prices.toml")).unwrap();
    let silent: Vec<&str> =
        text.lines().filter(|line| !line.starts_with("piece_minutes") && !line.starts_with("measuring")).collect();
    std::fs::write(folder.path().join("pack.toml"), silent.join("\n")).unwrap();
    let output = run_in(folder.path(), &["check", "pack.toml"]);
    let said = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    assert!(
        said.contains("`piece_minutes`") && said.contains("`measuring`") && !said.contains("`open_minutes`"),
        "{said}"
    );
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(run_in(folder.path(), &["allocate", "pack.toml", "--sizes", "3"]).status.code(), Some(2));
    std::fs::write(folder.path().join("wrong.toml"), text.replace("minute = 0.80", "minute = -0.80")).unwrap();
    assert_eq!(run_in(folder.path(), &["check", "wrong.toml"]).status.code(), Some(2));
}
