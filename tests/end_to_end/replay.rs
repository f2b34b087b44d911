//! A result is what its inputs give, wherever they lie and whatever they are called now.

use crate::program::{demo, run_in};
use std::fs;
use std::path::Path;

/// A result in a file, made in `folder`.
fn made(folder: &Path, arguments: &[&str]) -> String {
    let out = run_in(folder, &[arguments, &["--format", "json", "--quiet"]].concat());
    assert!(out.stdout.len() > 100, "{arguments:?}: {}", String::from_utf8_lossy(&out.stderr));
    let name = format!("{}.json", arguments[0]);
    fs::write(folder.join(&name), out.stdout).unwrap();
    name
}

fn replayed(folder: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    let out = run_in(folder, &[&["replay"], arguments].concat());
    (out.status.code(), String::from_utf8_lossy(&[out.stdout, out.stderr].concat()).into_owned())
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("data")).unwrap();
    for name in ["pack.toml", "inspections.csv", "policy.toml", "drawer.csv", "shims-0.60.csv", "gauge.csv"] {
        fs::copy(demo(name), folder.path().join("data").join(name)).unwrap();
    }
    folder
}

#[test]
fn results_of_every_command_are_made_again_to_the_byte() {
    let folder = folder();
    let at = folder.path();
    for arguments in [
        &["check", "data/pack.toml", "data/inspections.csv"][..],
        &["stack", "data/pack.toml", "--trials", "2000", "--method=monte-carlo", "--seed", "9"],
        &["lot", "data/shims-0.60.csv", "--nominal", "0.6", "--lower", "0.57", "--upper=0.63"],
        &["gauge", "data/gauge.csv", "--tolerance", "0.06"],
        &["sampling"],
        &["trend", "data/inspections.csv", "--policy", "data/policy.toml", "--model", "random-slope", "--backtest"],
        &[
            "due",
            "data/inspections.csv",
            "--policy",
            "data/policy.toml",
            "--model",
            "random-slope",
            "--built",
            "P18=2026-12-01",
        ],
        &["shim", "data/pack.toml", "--valve", "1 exhaust", "--stock", "data/drawer.csv", "--measured", "1.1"],
        &[
            "stock",
            "data/pack.toml",
            "--valve",
            "1 exhaust",
            "--catalogue",
            "data/drawer.csv",
            "--new-builds",
            "0.05",
            "--jobs",
            "200",
        ],
    ] {
        let result = made(at, arguments);
        let (status, said) = replayed(at, &[&result]);
        assert_eq!(status, Some(0), "{arguments:?}: {said}");
        assert!(said.contains("the same to the byte"), "{said}");
    }
}

#[test]
fn inputs_are_found_by_their_content() {
    let folder = folder();
    let at = folder.path();
    let stack = made(at, &["stack", "data/pack.toml", "--trials", "2000", "--method=monte-carlo"]);
    let absolute = at.join("data/gauge.csv");
    let gauge = made(at, &["gauge", absolute.to_str().unwrap(), "--tolerance=0.06"]);
    // Elsewhere, and under other names.
    let other = tempfile::tempdir().unwrap();
    fs::rename(at.join("data"), other.path().join("moved")).unwrap();
    fs::rename(other.path().join("moved/pack.toml"), other.path().join("moved/renamed.txt")).unwrap();
    let (status, said) = replayed(at, &[&stack]);
    assert_eq!(status, Some(2), "{said}");
    assert!(said.contains("data/pack.toml (SHA-256") && said.contains("--look-in"), "{said}");
    for result in [&stack, &gauge] {
        let (status, said) = replayed(at, &[result, "--look-in", other.path().to_str().unwrap()]);
        assert_eq!(status, Some(0), "{said}");
    }
}

#[test]
fn a_result_that_was_changed_is_told_and_one_that_was_made_up_does_nothing() {
    let folder = folder();
    let at = folder.path();
    let stack = made(at, &["stack", "data/pack.toml", "--trials", "2000", "--method=monte-carlo"]);
    let text = fs::read_to_string(at.join(&stack)).unwrap();
    let changed = text.replacen("\"acceptable\":false", "\"acceptable\":true", 1);
    assert_ne!(changed, text);
    fs::write(at.join("changed.json"), &changed).unwrap();
    let (status, said) = replayed(at, &["changed.json"]);
    assert_eq!(status, Some(1), "{said}");
    assert!(said.contains("acceptable: true then, false now"), "{said}");
    for (arguments, says) in [
        ("[\"--out=stolen\",\"data/pack.toml\"]", "not such as a result records"),
        ("[\"--xlsx=stolen\",\"data/pack.toml\"]", "not such as a result records"),
        ("[\"--no-such-option\",\"data/pack.toml\"]", "not such as this version takes"),
    ] {
        let from = text.find("\"arguments\":").unwrap() + "\"arguments\":".len();
        let to = from + text[from..].find(']').unwrap() + 1;
        fs::write(at.join("made-up.json"), format!("{}{arguments}{}", &text[..from], &text[to..])).unwrap();
        let (status, said) = replayed(at, &["made-up.json"]);
        assert_eq!(status, Some(2), "{said}");
        assert!(said.contains(says), "{said}");
        assert!(!at.join("stolen").exists());
    }
    for (name, text) in
        [("none.json", "{}"), ("other.json", "{\"packdrift\":\"0.1.0\",\"command\":\"replay\",\"inputs\":[]}")]
    {
        fs::write(at.join(name), text).unwrap();
        assert_eq!(replayed(at, &[name]).0, Some(2));
    }
}
