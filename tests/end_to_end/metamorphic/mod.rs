//! The same question asked in another way has the same answer: inches for mm, a bay seen from its other side, rows in another order, other names,
//! hours counted in another unit, other numbers of threads. [`table`] asks it of every command in a small shop; the tests here look at single
//! relations more closely, on the demo. That a run in shares is the whole run stands in `shards.rs` and `sums.rs`.

mod table;

use crate::program::{demo, run_in};
use serde_json::Value;
use std::fs;
use std::path::Path;

fn json(folder: &Path, arguments: &[&str]) -> Value {
    let out = run_in(folder, &[arguments, &["--format", "json", "--quiet"]].concat());
    serde_json::from_slice(&out.stdout)
        .unwrap_or_else(|error| panic!("{arguments:?}: {error}: {}", String::from_utf8_lossy(&out.stderr)))
}

/// Two numbers alike to a part in 10⁹ of their size, or both none.
fn alike(a: &Value, b: &Value, what: &str) {
    match (a.as_f64(), b.as_f64()) {
        (Some(a), Some(b)) => assert!((a - b).abs() <= 1e-9 * a.abs().max(b.abs()).max(1e-3), "{what}: {a} and {b}"),
        _ => assert_eq!(a, b, "{what}"),
    }
}

/// A pack of one rocker; lengths by `mm`, which is given them in inches.
fn pack(units: &str, length: &dyn Fn(f64) -> String) -> String {
    let dimension = |nominal: f64, tol: f64| format!("{{ nominal = {}, tol = {} }}", length(nominal), length(tol));
    let part =
        |name: &str, kind: &str, more: String| format!("[[bay.part]]\nname = \"{name}\"\nkind = \"{kind}\"\n{more}\n");
    [
        format!("units = \"{units}\"\n[[bay]]\nname = \"b\"\nspan = {}\n", dimension(1.9, 0.002)),
        part("left", "shim", format!("thickness = {}", dimension(0.02, 0.001))),
        part("rocker", "rocker", format!("width = {}\nadjuster = {}", dimension(1.0, 0.002), dimension(0.45, 0.002))),
        part("right", "shim", format!("thickness = {}", dimension(0.03, 0.001))),
        part(
            "spring",
            "spring-washer",
            format!("law = \"linear\"\nrate = 40.0\nfree_height = {}", dimension(0.9, 0.002)),
        ),
        format!("[[bay.valve]]\nname = \"v\"\nrocker = \"rocker\"\nstem = {}\n", dimension(0.44, 0.003)),
        format!(
            "[[requirement]]\nname = \"offset\"\nquantity = \"offset\"\nvalve = \"v\"\nlower = {}\nupper = {}\n",
            length(0.026),
            length(0.034)
        ),
        "[[requirement]]\nname = \"preload\"\nquantity = \"preload\"\nlower = 45.0\nupper = 56.0\n".to_owned(),
    ]
    .concat()
}

/// A decimal in inches as mm, exactly.
fn as_mm(inches: f64) -> String {
    format!("{:.8}", inches * 25.4)
}

#[test]
fn inches_and_millimetres_give_one_answer() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("in.toml"), pack("in", &|x| x.to_string())).unwrap();
    fs::write(folder.path().join("mm.toml"), pack("mm", &as_mm)).unwrap();
    let inches = json(folder.path(), &["stack", "in.toml", "--units=mm"]);
    let mm = json(folder.path(), &["stack", "mm.toml"]);
    // A pack in inches is answered in inches unless another unit is asked for.
    let own = json(folder.path(), &["stack", "in.toml"]);
    assert_eq!((&own["length_unit"], &inches["length_unit"]), (&"in".into(), &"mm".into()));
    let in_mm = own["requirements"][0]["nominal"].as_f64().unwrap() * 25.4;
    alike(&in_mm.into(), &mm["requirements"][0]["nominal"], "nominal in inches");
    let both = inches["requirements"].as_array().unwrap().iter().zip(mm["requirements"].as_array().unwrap());
    for (a, b) in both {
        for path in [
            "/nominal",
            "/worst_case/min",
            "/root_sum_square/sd",
            "/monte_carlo/mean",
            "/monte_carlo/sd",
            "/monte_carlo/out/total",
        ] {
            alike(a.pointer(path).unwrap(), b.pointer(path).unwrap(), path);
        }
    }
    let readings = |scale: &dyn Fn(f64) -> String| {
        let rows: String =
            (0..40).map(|k| format!("a,{k},{}\n", scale(0.02 + 0.0001 * f64::from(k * 7 % 11)))).collect();
        format!("lot,part,reading\n{rows}")
    };
    fs::write(folder.path().join("in.csv"), readings(&|x| format!("{x:.4}"))).unwrap();
    fs::write(folder.path().join("mm.csv"), readings(&as_mm)).unwrap();
    let inches =
        json(folder.path(), &["lot", "in.csv", "--units=in", "--nominal=0.02", "--lower=0.019", "--upper=0.022"]);
    let mm = json(folder.path(), &["lot", "mm.csv", "--nominal=0.508", "--lower=0.4826", "--upper=0.5588"]);
    // Readings in inches are answered in inches.
    assert_eq!((&inches["units"], &mm["units"]), (&"in".into(), &"mm".into()));
    for path in ["/lots/0/mean", "/lots/0/sd"] {
        let in_mm = inches.pointer(path).and_then(serde_json::Value::as_f64).unwrap() * 25.4;
        alike(&in_mm.into(), mm.pointer(path).unwrap(), path);
    }
    assert_eq!(inches["acceptable"], mm["acceptable"]);
}

#[test]
fn a_bay_seen_from_its_other_side_has_the_offsets_of_the_other_sign() {
    let folder = tempfile::tempdir().unwrap();
    let here = pack("mm", &as_mm);
    fs::write(folder.path().join("here.toml"), &here).unwrap();
    // Parts in the other order; adjuster and stem measured from the other side; their scatter is exact here, so that the sides are.
    let exact = here.replace(
        &format!("adjuster = {{ nominal = {}, tol = {} }}", as_mm(0.45), as_mm(0.002)),
        &format!("adjuster = {}", as_mm(0.45)),
    );
    let exact = exact.replace(
        &format!("width = {{ nominal = {}, tol = {} }}", as_mm(1.0), as_mm(0.002)),
        &format!("width = {}", as_mm(1.0)),
    );
    let exact = exact.replace(
        &format!("span = {{ nominal = {}, tol = {} }}", as_mm(1.9), as_mm(0.002)),
        &format!("span = {}", as_mm(1.9)),
    );
    fs::write(folder.path().join("here.toml"), &exact).unwrap();
    let parts: Vec<&str> = exact.split("[[bay.part]]").collect();
    let (last, rest) = parts[4].split_once("[[bay.valve]]").unwrap();
    let there = format!(
        "{}[[bay.part]]{last}[[bay.part]]{}[[bay.part]]{}[[bay.part]]{}[[bay.valve]]{rest}",
        parts[0], parts[3], parts[2], parts[1]
    );
    let there = there.replace(&format!("adjuster = {}", as_mm(0.45)), &format!("adjuster = {}", as_mm(1.0 - 0.45)));
    let there = there.replace(
        &format!("stem = {{ nominal = {}", as_mm(0.44)),
        &format!("stem = {{ nominal = {}", as_mm(1.9 - 0.44)),
    );
    let there = there.replace(
        &format!("lower = {}\nupper = {}", as_mm(0.026), as_mm(0.034)),
        &format!("lower = -{}\nupper = -{}", as_mm(0.034), as_mm(0.026)),
    );
    fs::write(folder.path().join("there.toml"), &there).unwrap();
    let (a, b) = (json(folder.path(), &["stack", "here.toml"]), json(folder.path(), &["stack", "there.toml"]));
    let at = |result: &Value, path: &str| result.pointer(&format!("/requirements/0{path}")).unwrap().as_f64().unwrap();
    assert!(
        (at(&a, "/nominal") + at(&b, "/nominal")).abs() < 1e-9,
        "{} and {}",
        at(&a, "/nominal"),
        at(&b, "/nominal")
    );
    assert!((at(&a, "/monte_carlo/mean") + at(&b, "/monte_carlo/mean")).abs() < 1e-9);
    for path in ["/monte_carlo/sd", "/monte_carlo/out/total", "/root_sum_square/sd"] {
        assert!((at(&a, path) - at(&b, path)).abs() < 1e-6, "{path}: {} and {}", at(&a, path), at(&b, path));
    }
    alike(
        a.pointer("/requirements/1/monte_carlo/mean").unwrap(),
        b.pointer("/requirements/1/monte_carlo/mean").unwrap(),
        "preload",
    );
}

/// The rows of a table of the demo after its comments, in another order, with a change to each.
fn rewritten(name: &str, change: impl Fn(&str) -> String, turn: bool) -> String {
    let text = fs::read_to_string(demo(name)).unwrap();
    let mut lines: Vec<&str> = text.lines().filter(|line| !line.starts_with('#')).collect();
    let header = lines.remove(0);
    if turn {
        // Every third, then the next of every three, …: no neighbours stay neighbours.
        lines = (0..3).flat_map(|from| lines.iter().copied().skip(from).step_by(3)).rev().collect();
    }
    let rows: String = lines.into_iter().map(|line| format!("{}\n", change(line))).collect();
    format!("{header}\n{rows}")
}

/// Each valve's numbers, by its name.
fn valves(result: &Value) -> Vec<(String, Value)> {
    let features = result["features"].as_array().unwrap();
    let mut all: Vec<(String, Value)> = features
        .iter()
        .flat_map(|feature| {
            feature["valves"].as_array().unwrap().iter().map(move |valve| {
                (
                    format!("{} {} {} {}", feature["feature"], valve["engine"], valve["valve"], valve["segment"]),
                    valve.clone(),
                )
            })
        })
        .collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all
}

#[test]
fn neither_the_order_of_rows_nor_names_nor_the_unit_of_hours_change_a_forecast() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::copy(demo("policy.toml"), at.join("policy.toml")).unwrap();
    let ask = |table: String, policy: &str| {
        fs::write(at.join("i.csv"), table).unwrap();
        json(at, &["trend", "i.csv", "--policy", policy, "--model", "random-slope"])
    };
    let plain = valves(&ask(rewritten("inspections.csv", str::to_owned, false), "policy.toml"));
    assert!(plain.len() > 90);
    let turned = valves(&ask(rewritten("inspections.csv", str::to_owned, true), "policy.toml"));
    // Names in the same order, each with a letter before it; the policy's hours a week follow their engine.
    let policy = fs::read_to_string(at.join("policy.toml")).unwrap();
    let known = |line: &str| line.split_once(" = ").is_some_and(|(name, _)| name.starts_with('P') && name.len() == 3);
    let lines = policy.lines().map(|line| if known(line) { format!("X{line}\n") } else { format!("{line}\n") });
    fs::write(at.join("renamed.toml"), lines.collect::<String>()).unwrap();
    let renamed = valves(&ask(rewritten("inspections.csv", |line| format!("X{line}"), false), "renamed.toml"));
    for (how, other) in [("rows in another order", &turned), ("other names", &renamed)] {
        assert_eq!(plain.len(), other.len(), "{how}");
        for ((name, a), (_, b)) in plain.iter().zip(other) {
            for key in ["level", "slope", "chance_by_horizon", "status"] {
                let what = format!("{how}, {name}, {key}");
                match (a[key].as_f64(), b[key].as_f64()) {
                    (Some(a), Some(b)) => assert!((a - b).abs() <= 1e-6 * a.abs().max(1e-3), "{what}: {a} and {b}"),
                    _ => assert_eq!(a[key], b[key], "{what}"),
                }
            }
        }
    }
}

/// A row of inspections with its reading in inches.
fn in_inches(line: &str) -> String {
    let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
    cells[5] = format!("{:.12}", cells[5].parse::<f64>().unwrap() / 25.4);
    cells.join(",")
}

/// Numbers alike to a part in 10⁵, what is no number the same.
fn near(a: &Value, b: &Value, scale: f64, what: &str) {
    match (a.as_f64(), b.as_f64()) {
        (Some(a), Some(b)) => assert!((scale * a - b).abs() <= 1e-5 * b.abs().max(1e-2), "{what}: {a} and {b}"),
        _ => assert_eq!(a, b, "{what}"),
    }
}

#[test]
fn inspections_in_inches_are_judged_and_planned_like_those_in_mm() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("mm.csv"), rewritten("inspections.csv", str::to_owned, false)).unwrap();
    fs::write(at.join("in.csv"), rewritten("inspections.csv", in_inches, false)).unwrap();
    let policy = fs::read_to_string(demo("policy.toml")).unwrap();
    fs::write(at.join("mm.toml"), &policy).unwrap();
    // 0.40, 1.60 and 0.15 mm, to the last digit that a number holds.
    let length = |text: String, mm: f64, written: &str| text.replace(written, &format!("{}", mm / 25.4));
    let inches = policy.replace("unit = \"mm\"", "unit = \"in\"");
    let inches = length(length(length(inches, 0.4, "0.40"), 1.6, "1.60"), 0.15, "0.15");
    fs::write(at.join("in.toml"), inches).unwrap();
    let trend = |table: &str, policy: &str, units: &[&str]| {
        json(at, &[&["trend", table, "--policy", policy, "--model", "random-slope"], units].concat())
    };
    let mm = trend("mm.csv", "mm.toml", &[]);
    // Limits in either unit are brought to the one that is asked for.
    for (table, limits, units, scale, unit) in [
        ("in.csv", "in.toml", "--units=in", 25.4, "in"),
        ("in.csv", "mm.toml", "--units=in", 25.4, "in"),
        ("mm.csv", "in.toml", "--units=mm", 1.0, "mm"),
    ] {
        let other = trend(table, limits, &[units]);
        assert_eq!(other["features"][0]["unit"], unit);
        let (a, b) = (valves(&other), valves(&mm));
        assert!(a.len() == b.len() && a.len() > 90);
        for ((name, a), (_, b)) in a.iter().zip(&b) {
            for (key, scale) in [("level", scale), ("slope", scale), ("chance_by_horizon", 1.0), ("status", 1.0)] {
                near(&a[key], &b[key], scale, &format!("{table}, {limits}: {name}, {key}"));
            }
        }
    }
    // Who says inches has to say what the limits are in.
    fs::write(at.join("unsaid.toml"), policy.replace("unit = \"mm\"\n", "")).unwrap();
    let refused = run_in(at, &["trend", "in.csv", "--policy", "unsaid.toml", "--units", "in"]);
    let said = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(refused.status.code() == Some(2) && said.contains("unit = \"in\""), "{said}");
    let as_ever = ["trend", "mm.csv", "--policy", "unsaid.toml", "--model", "random-slope", "--quiet"];
    assert_eq!(run_in(at, &as_ever).status.code(), Some(1));
}

#[test]
fn a_plan_in_inches_is_the_plan_in_mm() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("in.csv"), rewritten("inspections.csv", in_inches, false)).unwrap();
    fs::write(at.join("mm.csv"), rewritten("inspections.csv", str::to_owned, false)).unwrap();
    fs::copy(demo("policy.toml"), at.join("policy.toml")).unwrap();
    fs::copy(demo("pack.toml"), at.join("pack.toml")).unwrap();
    let due = |table: &str, units: &str| {
        let options = ["--policy", "policy.toml", "--pack", "pack.toml", "--model", "random-slope", units];
        json(at, &[&["due", table], &options[..]].concat())
    };
    let (inches, mm) = (due("in.csv", "--units=in"), due("mm.csv", "--units=mm"));
    assert_eq!(inches["verdict"]["word"], mm["verdict"]["word"]);
    let (a, b) = (inches["engines"].as_array().unwrap(), mm["engines"].as_array().unwrap());
    assert!(a.len() == b.len() && a.len() > 20);
    let mut corrections = 0;
    for (a, b) in a.iter().zip(b) {
        for key in ["engine", "status", "due", "chance_by_horizon", "window", "done", "chance_then"] {
            near(&a[key], &b[key], 1.0, &format!("{}, {key}", b["engine"]));
        }
        let works = a["valves"].as_array().unwrap().iter().zip(b["valves"].as_array().unwrap());
        for (a, b) in works {
            near(&a["correction"], &b["correction"], 25.4, "correction");
            corrections += usize::from(b["correction"].is_number());
        }
    }
    assert!(corrections > 5, "{corrections}");
    // As many shims, in steps of the unit: 0.002 in and 0.05 mm.
    let shims = |plan: &Value| -> f64 {
        let lines = plan["order"].as_array().unwrap().iter().filter(|line| line["part"] == "shims");
        lines.map(|line| line["at_once"].as_f64().unwrap() + line["in_windows"].as_f64().unwrap()).sum()
    };
    assert!((shims(&inches) - shims(&mm)).abs() < 0.05, "{} and {}", shims(&inches), shims(&mm));
    let width = |plan: &Value| {
        let line = &plan["order"][0];
        line["correction_to"].as_f64().unwrap() - line["correction_from"].as_f64().unwrap()
    };
    assert!((width(&inches) - 0.002).abs() < 1e-9 && (width(&mm) - 0.05).abs() < 1e-9);
}

#[test]
fn the_order_of_readings_and_pieces_does_not_matter() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::copy(demo("pack.toml"), at.join("pack.toml")).unwrap();
    for (name, command) in [
        ("shims-0.60.csv", &["lot", "t.csv", "--order=unknown", "--nominal=0.6", "--lower=0.57", "--upper=0.63"][..]),
        ("gauge.csv", &["gauge", "t.csv", "--tolerance=0.06"]),
        ("drawer.csv", &["shim", "pack.toml", "--valve=1 exhaust", "--measured=1.1", "--stock=t.csv"]),
    ] {
        let verdict = |turn: bool| {
            fs::write(at.join("t.csv"), rewritten(name, str::to_owned, turn)).unwrap();
            run_in(at, command).status.code()
        };
        assert_eq!(verdict(false), verdict(true), "{name}");
    }
}

#[test]
fn no_number_of_threads_changes_a_byte() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| demo(name).display().to_string();
    let (pack, readings, gauge, drawer) =
        (file("pack.toml"), file("shims-0.60.csv"), file("gauge.csv"), file("drawer.csv"));
    let (inspections, policy) = (file("inspections.csv"), file("policy.toml"));
    let prices = file("pack-with-prices.toml");
    for command in [
        &["check", &pack, &inspections][..],
        &["stack", &pack, "--method=monte-carlo", "--trials=20000"],
        &["lot", &readings, "--nominal=0.6", "--lower=0.57", "--upper=0.63"],
        &["lot", &readings, "--nominal=0.6", "--lower=0.57", "--upper=0.63", "--pack", &pack, "--as=shim 0.60"],
        &["gauge", &gauge, "--tolerance=0.06"],
        &["sampling", "--by=variables", "--lower=0.57", "--upper=0.63"],
        &["allocate", &prices, "--max-out=0.01"],
        &[
            "allocate",
            &prices,
            "--max-out=0.1",
            "--fit-from",
            &drawer,
            "--builds=1024",
            "--choices=20",
            "--final-builds=4096",
        ],
        &["trend", &inspections, "--policy", &policy, "--model=random-slope"],
        &["due", &inspections, "--policy", &policy, "--pack", &pack, "--model=random-slope"],
        &["shim", &pack, "--valve=1 exhaust", "--measured=1.1", "--stock", &drawer],
        &["stock", &pack, "--valve=1 exhaust", "--catalogue", &drawer, "--new-builds=0.05", "--jobs=300"],
    ] {
        let bytes = |threads: &str| {
            run_in(folder.path(), &[command, &["--format=json", "--quiet", "--threads", threads]].concat()).stdout
        };
        let one = bytes("1");
        assert!(one.len() > 100, "{command:?}");
        for threads in ["2", "5"] {
            assert!(bytes(threads) == one, "{command:?} with {threads} threads");
        }
    }
}
