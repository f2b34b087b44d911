//! Every number that `shim` and `stock` take: what cannot be is refused at once, with the range of what can.

use crate::program::{demo, run};
use std::time::{Duration, Instant};

/// Option, values that cannot be, what the refusal says.
type Refused = (&'static str, &'static [&'static str], &'static str);

const SHIM: [Refused; 15] = [
    ("--measured", &["nan", "inf", "-inf", "101", "-101", "", "one"], "between -100 and 100"),
    ("--measured", &["1,31"], "write 1.31"),
    ("--u", &["nan", "inf", "-0.01", "11"], "between 0 and 10"),
    ("--u", &["0,02"], "write 0.02"),
    ("--repeatability", &["nan", "inf", "-0.01", "11"], "between 0 and 10"),
    ("--dress", &["nan", "0", "-1", "6"], "between 0.00001 and 5"),
    ("--list", &["0", "-3", "1001", "nan"], "between 1 and 1000"),
    ("--enough", &["nan", "0", "1", "-0.5", "95"], "between 0.01 and 0.9999"),
    ("--per-part", &["nan", "-0.1", "1.1"], "between 0 and 1"),
    ("--drift", &["nan", "-0.1", "11"], "between 0 and 10"),
    ("--worn-faces", &["nan", "-0.1", "1.5"], "between 0 and 1"),
    ("--packet", &["nan", "-0.1", "2"], "between 0 and 1"),
    ("--within", &["nan", "-0.1", "2"], "between 0 and 1"),
    ("--result", &["nan", "inf", "1000"], "between -100 and 100"),
    ("--seed", &["-1", "nan", "1.5"], "invalid"),
];

const STOCK: [Refused; 17] = [
    ("--new-builds", &["nan", "inf", "-1", "2e6"], "between 0 and 1000000"),
    ("--lead-days", &["nan", "-1", "40000"], "between 0 and 36525"),
    ("--sizes", &["0", "-1", "65", "nan"], "between 1 and 64"),
    ("--service", &["nan", "0", "1", "95"], "between 0.01 and 0.9999"),
    ("--chance", &["nan", "0.4", "1", "90"], "between 0.5 and 0.9999"),
    ("--jobs", &["0", "99", "-5", "2000000", "nan"], "between 100 and 1000000"),
    ("--u", &["nan", "-0.01", "11"], "between 0 and 10"),
    ("--packet", &["nan", "-0.1", "2"], "between 0 and 1"),
    ("--within", &["nan", "-0.1", "2"], "between 0 and 1"),
    ("--held", &["0", "13", "-1", "nan"], "between 1 and 12"),
    ("--measuring", &["nan", "inf", "-1"], "between 0 and 1000000000"),
    ("--grade", &["nan", "-1", "11"], "between 0 and 10"),
    ("--premium", &["nan", "inf", "-1"], "between 0 and 1000000000"),
    ("--order", &["nan", "inf", "0", "-1"], "above 0 and at most 1000000000"),
    ("--holding", &["nan", "inf", "0", "-1", "101"], "between 0.000001 and 100"),
    ("--short", &["nan", "inf", "0", "-1"], "above 0 and at most 1000000000"),
    ("--seed", &["-1", "nan", "1.5"], "invalid"),
];

/// Options of a command that take a number, by its help.
fn numbers(command: &str) -> Vec<String> {
    let help = String::from_utf8(run(&[command, "--help"]).stdout).unwrap();
    let takes =
        ["<OFFSET>", "<LENGTH>", "<LENGTH|FILE>", "<N>", "<N|same>", "<P>", "<SHARE>", "<RATE>", "<COST>", "<DAYS>"];
    let mut options: Vec<String> = help
        .lines()
        .filter_map(|line| line.trim_start().strip_prefix("--").map(|rest| format!("--{rest}")))
        .filter(|line| takes.iter().any(|value| line.contains(value)))
        .filter_map(|line| line.split_whitespace().next().map(str::to_owned))
        .collect();
    options.sort();
    options.dedup();
    options
}

fn refuse(command: &str, fixed: &[&str], table: &[Refused], elsewhere: &[&str]) {
    for (option, values, says) in table {
        for value in *values {
            let started = Instant::now();
            let more = [*option, *value];
            let rest: &[&str] = match *option {
                "--order" => &["--short", "1"],
                "--short" | "--holding" => &["--order", "1"],
                _ => &[],
            };
            let arguments: Vec<&str> =
                std::iter::once(command).chain(fixed.iter().copied()).chain(rest.iter().copied()).chain(more).collect();
            let output = run(&arguments);
            let error = String::from_utf8_lossy(&output.stderr);
            assert_eq!(output.status.code(), Some(2), "{command} {option} {value}: {error}");
            assert!(error.contains(says) && error.contains(option), "{command} {option} {value}: {error}");
            assert!(
                output.stdout.is_empty() && started.elapsed() < Duration::from_secs(20),
                "{command} {option} {value}"
            );
        }
    }
    // No number is left out.
    for option in numbers(command) {
        let known = table.iter().any(|(name, ..)| *name == option) || elsewhere.contains(&option.as_str());
        assert!(known, "{command} {option} is in no table of this test");
    }
}

#[test]
fn what_cannot_be_is_refused_with_the_range() {
    let [pack, drawer] = ["pack.toml", "drawer.csv"].map(|file| demo(file).to_str().unwrap().to_owned());
    // The readings of the second rocker and the builds made need others beside them: shims.rs.
    let shim = [pack.as_str(), "--valve", "1 exhaust", "--stock", &drawer];
    refuse("shim", &shim, &SHIM, &["--also-measured", "--also-result", "--built", "--threads"]);
    let stock = [pack.as_str(), "--valve", "1 exhaust", "--catalogue", &drawer];
    refuse("stock", &stock, &STOCK, &["--worn-faces", "--threads"]);
}
