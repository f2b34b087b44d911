//! Every command × every way to ask the same in a small shop of one bay, whose files are written out by a few rules.

use super::as_mm;
use crate::program::run_in;
use serde_json::Value;
use std::fs;
use std::path::Path;

/// How the shop's files are written.
struct Manner {
    units: &'static str,
    /// Inches as they are written.
    length: fn(f64) -> String,
    /// Names of engines, parts, pieces, operators.
    name: fn(&str) -> String,
    /// Rows of tables, parts of a lot, requirements, from the last to the first.
    turned: bool,
    /// Hours are counted in tens.
    tens: bool,
}

const PLAIN: Manner = Manner { units: "mm", length: as_mm, name: str::to_owned, turned: false, tens: false };

/// A table with its rows in the manner's order.
fn rows(manner: &Manner, header: &str, mut rows: Vec<String>) -> String {
    if manner.turned {
        rows.reverse();
    }
    format!("{header}\n{}\n", rows.join("\n"))
}

/// A number between −1 and 1 that looks like chance and is the same each time.
fn noise(k: u32) -> f64 {
    2.0 * ((f64::from(k) * 0.754_877_666) % 1.0) - 1.0
}

/// A bay of one rocker: its offset is 0.76 mm at the nominals, its preload 50 N.
fn pack(manner: &Manner) -> String {
    let of = |nominal: f64, tol: f64, more: &str| {
        let (nominal, tol) = ((manner.length)(nominal), (manner.length)(tol));
        format!("{{ nominal = {nominal}, tol = {tol}{more} }}")
    };
    // A price by the tolerance in the file's own unit.
    let priced = |grades: [f64; 2]| {
        let [fine, coarse] = grades.map(manner.length);
        format!(", cost = {{ grades = [ {{ tol = {fine}, price = 3.0 }}, {{ tol = {coarse}, price = 1.0 }} ] }}")
    };
    let name = manner.name;
    let part = |part: &str, kind: &str, more: String| {
        format!("[[bay.part]]\nname = \"{}\"\nkind = \"{kind}\"\n{more}\n", name(part))
    };
    let lot = format!(", lot = \"{}\"", name("W"));
    let mut requirements = [
        format!(
            "[[requirement]]\nname = \"offset\"\nquantity = \"offset\"\nvalve = \"{}\"\nlower = {}\nupper = {}\nmax_out = 0.05\n",
            name("v"),
            (manner.length)(0.026),
            (manner.length)(0.034)
        ),
        "[[requirement]]\nname = \"preload\"\nquantity = \"preload\"\nlower = 40.0\nupper = 60.0\nmax_out = 0.05\n"
            .to_owned(),
    ];
    if manner.turned {
        requirements.reverse();
    }
    [
        format!(
            "units = \"{}\"\n[[lot]]\nname = \"{}\"\nbetween = {}\n",
            manner.units,
            name("W"),
            (manner.length)(0.0002)
        ),
        format!("[[bay]]\nname = \"{}\"\nspan = {}\n", name("b"), of(1.9, 0.002, "")),
        part("left", "shim", format!("thickness = {}", of(0.02, 0.001, &lot))),
        part(
            "rocker",
            "rocker",
            format!("width = {}\nadjuster = {}", of(1.0, 0.001, ""), of(0.45, 0.002, &priced([0.001, 0.002]))),
        ),
        part("right", "shim", format!("thickness = {}", of(0.03, 0.001, &lot))),
        part("spring", "spring-washer", format!("law = \"linear\"\nrate = 40.0\nfree_height = {}", of(0.9, 0.001, ""))),
        format!(
            "[[bay.valve]]\nname = \"{}\"\nrocker = \"{}\"\nstem = {}\n",
            name("v"),
            name("rocker"),
            of(0.44, 0.003, &priced([0.0015, 0.003]))
        ),
        requirements.concat(),
        "[cost]\nbuilds_a_year = 100\nminute = 0.5\nread_minutes = 1.0\nopen_minutes = 2.0\npiece_minutes = 1.0\n"
            .to_owned(),
    ]
    .concat()
}

fn drawer(manner: &Manner) -> String {
    let row = |k: u32| {
        let thickness = 0.018 + 0.002 * f64::from(k);
        format!("{},{},4,0.9,10", (manner.name)(&format!("s{k}")), (manner.length)(thickness))
    };
    rows(manner, "size,thickness,count,cost,lead_days", (0..8).map(row).collect())
}

fn lot(manner: &Manner) -> String {
    let row = |k: u32| {
        format!(
            "{},{},{}",
            (manner.name)("L"),
            (manner.name)(&format!("p{k}")),
            (manner.length)(0.02 + 0.0004 * noise(k))
        )
    };
    rows(manner, "lot,part,reading", (0..30).map(row).collect())
}

fn gauge(manner: &Manner) -> String {
    let mut all = Vec::new();
    for part in 0..10 {
        for operator in 0..2 {
            for trial in 0..2 {
                let k = 4 * part + 2 * operator + trial;
                let reading = 0.02 + 0.0006 * noise(part) + 0.00004 * noise(k + 500) + 0.00002 * f64::from(operator);
                let (part, operator) = ((manner.name)(&format!("p{part}")), (manner.name)(&format!("o{operator}")));
                all.push(format!("{part},{operator},{},{}", trial + 1, (manner.length)(reading)));
            }
        }
    }
    rows(manner, "part,operator,trial,reading", all)
}

/// Six valves that drift at rates of their own, each read six times.
fn inspections(manner: &Manner) -> String {
    let mut all = Vec::new();
    for engine in 0..3 {
        for valve in 0..2 {
            for visit in 0..6 {
                let hours = 500 * visit + 100 * (engine + 1);
                let hours = if manner.tens { f64::from(hours) / 10.0 } else { f64::from(hours) };
                let k = 12 * engine + 6 * valve + visit;
                let value =
                    0.04 + 0.0012 * f64::from(visit) * (1.0 + 0.4 * noise(engine + 3 * valve)) + 0.0002 * noise(k);
                all.push(format!(
                    "{},{},202{}-0{}-1{},{hours},offset,{}",
                    (manner.name)(&format!("E{engine}")),
                    (manner.name)(&format!("v{valve}")),
                    1 + visit / 2,
                    3 + 5 * (visit % 2),
                    engine,
                    (manner.length)(value)
                ));
            }
        }
    }
    rows(manner, "engine,valve,date,hours,feature,value", all)
}

fn policy(manner: &Manner) -> String {
    let tens = |hours: f64| if manner.tens { hours / 10.0 } else { hours };
    format!(
        "risk = 0.05\nhorizon = {}\n[feature.offset]\nunit = \"{}\"\nlower = {}\nupper = {}\n[usage]\ndefault = {}\n\
         [[window]]\nstart = 2024-06-01\nend = 2024-06-10\nengines = 2\n",
        tens(1000.0),
        manner.units,
        (manner.length)(0.02),
        (manner.length)(0.055),
        tens(20.0)
    )
}

/// The commands, and how each is asked.
const COMMANDS: [(&str, &str); 13] = [
    ("check", "check p.toml d.csv g.csv i.csv policy.toml"),
    ("stack", "stack p.toml --trials=20000"),
    ("allocate", "allocate p.toml --max-out=0.1"),
    (
        "allocate from a drawer",
        "allocate p.toml --max-out=0.1 --fit-from=d.csv --builds=1024 --choices=30 --final-builds=4096",
    ),
    ("lot", "lot l.csv --nominal=[0.02] --lower=[0.0185] --upper=[0.0215] --max-out=0.05 UNITS"),
    ("lot in the pack", "lot l.csv --nominal=[0.02] --pack=p.toml --as=<W> UNITS"),
    ("gauge", "gauge g.csv --tolerance=[0.002] UNITS"),
    ("sampling", "sampling --by=variables --lower=[0.0185] --upper=[0.0215] UNITS"),
    ("sampling by counts", "sampling --limit=1 --lot-size=400"),
    ("shim", "shim p.toml --valve=<v> --measured=[0.035] --stock=d.csv"),
    ("stock", "stock p.toml --valve=<v> --catalogue=d.csv --new-builds=0.05 --jobs=200"),
    ("trend", "trend i.csv --policy=policy.toml --today=2024-01-01"),
    ("due", "due i.csv --policy=policy.toml --today=2024-01-01"),
];

/// Answers of all commands to the shop written in a manner: exit status, and the result.
fn answers(manner: &Manner, only: &[&str]) -> Vec<(&'static str, Option<i32>, Value)> {
    let folder = tempfile::tempdir().unwrap();
    for (file, text) in [
        ("p.toml", pack(manner)),
        ("d.csv", drawer(manner)),
        ("l.csv", lot(manner)),
        ("g.csv", gauge(manner)),
        ("i.csv", inspections(manner)),
        ("policy.toml", policy(manner)),
    ] {
        fs::write(folder.path().join(file), text).unwrap();
    }
    let asked = COMMANDS.iter().filter(|(name, _)| only.is_empty() || only.contains(name));
    asked.map(|&(name, command)| answer(manner, folder.path(), name, command)).collect()
}

fn answer(manner: &Manner, folder: &Path, name: &'static str, command: &str) -> (&'static str, Option<i32>, Value) {
    // `[0.02]` is a length in inches, `<v>` a name.
    let written = |word: &str| {
        let between = |open: char, close: char| {
            let (before, rest) = word.split_once(open)?;
            let (inside, after) = rest.split_once(close)?;
            Some((before.to_owned(), inside.to_owned(), after.to_owned()))
        };
        let length = between('[', ']').map(|(a, x, b)| a + &(manner.length)(x.parse().unwrap()) + &b);
        length
            .or_else(|| between('<', '>').map(|(a, n, b)| a + &(manner.name)(&n) + &b))
            .unwrap_or_else(|| word.to_owned())
    };
    let units = format!("--units={}", manner.units);
    let words = command.split(' ').map(|word| if word == "UNITS" { units.clone() } else { written(word) });
    let arguments: Vec<String> = words.chain(["--format=json".to_owned(), "--quiet".to_owned()]).collect();
    let out = run_in(folder, &arguments.iter().map(String::as_str).collect::<Vec<_>>());
    let text = String::from_utf8_lossy(&out.stdout);
    let said = String::from_utf8_lossy(&out.stderr);
    let value = serde_json::from_str(&text).unwrap_or_else(|error| panic!("{name}: {error}: {said}"));
    (name, out.status.code(), value)
}

/// Keys that say how it was asked, not what the answer is.
const ASKED: [&str; 8] = ["arguments", "inputs", "files", "packdrift", "run", "length_unit", "units", "paste"];
/// Keys whose number is another in another unit by more than a factor, counts steps of a search, or is nothing but for rounding here.
const OF_THE_WAY: [&str; 5] = ["log_likelihood", "bic", "evaluations", "newton_decrement", "corr"];
/// Keys whose text is a verdict.
const WORDS: [&str; 6] = ["word", "verdict", "fitness", "status", "acceptable", "right"];

/// Walks a result: `visit` gets each value that is no object or list, with its key and path.
fn walk(value: &Value, key: &str, path: &str, visit: &mut dyn FnMut(&str, &str, &Value)) {
    match value {
        Value::Object(of) => {
            for (key, value) in of.iter().filter(|(key, _)| !ASKED.contains(&key.as_str())) {
                walk(value, key, &format!("{path}/{key}"), visit);
            }
        }
        Value::Array(of) => {
            of.iter().enumerate().for_each(|(k, value)| walk(value, key, &format!("{path}/{k}"), visit));
        }
        other => visit(key, path, other),
    }
}

/// Every verdict of a result, in no order.
fn words(result: &Value) -> Vec<String> {
    let mut all = Vec::new();
    walk(result, "", "", &mut |key, _, value| {
        if WORDS.contains(&key) {
            all.push(format!("{key} {value}"));
        }
    });
    all.sort();
    all
}

/// Every number of a result, with its path.
fn numbers(result: &Value) -> Vec<(String, f64)> {
    let mut all = Vec::new();
    walk(result, "", "", &mut |key, path, value| {
        let counts = !OF_THE_WAY.contains(&key);
        all.extend(value.as_f64().filter(|_| counts).map(|x| (path.to_owned(), x)));
    });
    all
}

/// Whether two numbers are one but for rounding, or for where a search ended: forecasts are averages about the best fit, which is found to within a
/// tolerance.
fn near(name: &str, a: f64, b: f64) -> bool {
    // A reading in mm is written to eight decimals.
    let (part, floor) = if matches!(name, "trend" | "due") { (5e-3, 1e-3) } else { (1e-5, 0.1) };
    (a - b).abs() <= part * a.abs().max(b.abs()).max(floor)
}

/// Holds two results to each other, number by number; each may be another by one of the factors.
fn same_numbers(name: &str, a: &Value, b: &Value, factors: &[f64]) {
    let (a, b) = (numbers(a), numbers(b));
    assert_eq!(a.len(), b.len(), "{name}");
    for ((path, a), (_, b)) in a.iter().zip(&b) {
        assert!(factors.iter().any(|factor| near(name, *a, factor * b)), "{name} {path}: {a} and {b}");
    }
}

fn same_verdicts(how: &str, other: &Manner) {
    for ((name, status, a), (_, other_status, b)) in answers(&PLAIN, &[]).iter().zip(&answers(other, &[])) {
        assert_eq!(status, other_status, "{how}: {name}");
        assert_eq!(words(a), words(b), "{how}: {name}");
    }
}

#[test]
fn inches_for_millimetres_in_every_command() {
    let inches = Manner { units: "in", length: |x| format!("{x}"), ..PLAIN };
    for ((name, status, mm), (_, other_status, inch)) in answers(&PLAIN, &[]).iter().zip(&answers(&inches, &[])) {
        assert_eq!(status, other_status, "{name}");
        assert_eq!(words(mm), words(inch), "{name}");
        // A length, a rate a length, a square of one, or neither.
        same_numbers(name, mm, inch, &[1.0, 25.4, 1.0 / 25.4, 25.4 * 25.4]);
    }
}

#[test]
fn the_order_of_rows_and_requirements_in_every_command() {
    let turned = Manner { turned: true, ..PLAIN };
    for ((name, status, a), (_, other_status, b)) in answers(&PLAIN, &[]).iter().zip(&answers(&turned, &[])) {
        assert_eq!(status, other_status, "{name}");
        assert_eq!(words(a), words(b), "{name}");
    }
}

#[test]
fn other_names_in_every_command() {
    same_verdicts("other names", &Manner { name: |name| format!("Ж{name}"), ..PLAIN });
}

#[test]
fn hours_in_tens() {
    let commands = ["trend", "due"];
    let tens = Manner { tens: true, ..PLAIN };
    for ((name, status, a), (_, other_status, b)) in answers(&PLAIN, &commands).iter().zip(&answers(&tens, &commands)) {
        assert_eq!(status, other_status, "{name}");
        assert_eq!(words(a), words(b), "{name}");
        // Hours, a rate an hour, squares of them, roots (a wander's unit is the feature's over the root of hours), or neither.
        same_numbers(name, a, b, &[1.0, 10.0, 0.1, 100.0, 0.01, 10.0_f64.sqrt(), 0.1_f64.sqrt()]);
    }
}
