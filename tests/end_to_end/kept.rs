//! Nothing of the user's is lost: no output is an input, and what is there already is overwritten only where it is the program's own.

use crate::program::{demo, run_in};
use std::fs;
use std::path::Path;

/// A folder with the demo's files.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in ["pack.toml", "inspections.csv", "policy.toml", "drawer.csv", "shims-0.60.csv", "gauge.csv"] {
        fs::copy(demo(name), folder.path().join(name)).unwrap();
    }
    folder
}

/// Runs the program; it must refuse, and leave every file as it was.
fn refused(folder: &Path, arguments: &[&str], says: &str) {
    let before = files(folder);
    let out = run_in(folder, arguments);
    let error = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(2), "{arguments:?}: {error}");
    assert!(error.contains(says), "{arguments:?}: {error}");
    assert!(files(folder) == before, "{arguments:?} changed something");
}

fn allowed(folder: &Path, arguments: &[&str]) {
    let out = run_in(folder, &[arguments, &["--quiet"]].concat());
    let error = String::from_utf8_lossy(&out.stderr);
    assert!(matches!(out.status.code(), Some(0 | 1)), "{arguments:?}: {error}");
}

fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut all = Vec::new();
    for entry in fs::read_dir(folder).unwrap().flatten() {
        let path = entry.path();
        if path.is_dir() {
            all.extend(files(&path));
        } else {
            all.push((path.display().to_string(), fs::read(&path).unwrap()));
        }
    }
    all.sort();
    all
}

#[test]
fn no_workbook_or_calendar_is_written_over_an_input() {
    let folder = folder();
    let at = folder.path();
    fs::hard_link(at.join("inspections.csv"), at.join("hard.csv")).unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink("inspections.csv", at.join("soft.csv")).unwrap();
    for target in ["inspections.csv", "./inspections.csv", "hard.csv", "soft.csv"] {
        let says = "is read by this run";
        refused(at, &["trend", "inspections.csv", "--model", "random-slope", "--xlsx", target], says);
        refused(at, &["trend", "inspections.csv", "--model", "random-slope", "--xlsx", target, "--force"], says);
        refused(
            at,
            &["due", "inspections.csv", "--policy", "policy.toml", "--model", "random-slope", "--ics", target],
            says,
        );
        refused(at, &["check", "pack.toml", "inspections.csv", "--xlsx", target], says);
    }
    refused(
        at,
        &["due", "inspections.csv", "--policy", "policy.toml", "--model", "random-slope", "--ics", "policy.toml"],
        "is read by this run",
    );
    refused(at, &["stack", "pack.toml", "--xlsx", "pack.toml"], "is read by this run");
    refused(
        at,
        &["due", "inspections.csv", "--policy", "policy.toml", "--model", "random-slope", "--ics", "a", "--xlsx", "a"],
        "two outputs",
    );
}

#[test]
fn no_file_that_a_file_names_is_written_over() {
    let folder = folder();
    let at = folder.path();
    let pack = fs::read_to_string(at.join("pack.toml")).unwrap();
    let sample = "thickness = { nominal = 0.40, tol = 0.03, sample = \"shims-0.60.csv\" }";
    let from = pack.find("thickness = { nominal = 0.40").unwrap();
    let to = from + pack[from..].find('}').unwrap() + 1;
    fs::write(at.join("sampled.toml"), format!("{}{sample}{}", &pack[..from], &pack[to..])).unwrap();
    refused(at, &["check", "sampled.toml", "--xlsx", "shims-0.60.csv", "--force"], "is read by this run");
}

#[test]
fn a_report_may_not_take_away_what_it_was_made_from() {
    let folder = folder();
    let at = folder.path();
    let stock = ["stock", "pack.toml", "--valve", "1 exhaust", "--catalogue", "drawer.csv", "--jobs", "200"];
    fs::create_dir_all(at.join("plan")).unwrap();
    allowed(
        at,
        &[
            "due",
            "inspections.csv",
            "--policy",
            "policy.toml",
            "--model",
            "random-slope",
            "--pack",
            "pack.toml",
            "--out",
            "plan",
        ],
    );
    let demand: Vec<_> = fs::read_dir(at.join("plan/tables")).unwrap().flatten().map(|entry| entry.path()).collect();
    let demand = demand.iter().find(|path| path.to_str().unwrap().contains("demand")).expect("a table of demand");
    let demand = demand.to_str().unwrap();
    for force in [&[][..], &["--force"]] {
        let all = [&stock[..], &["--demand", demand, "--out", "plan"], force].concat();
        refused(at, &all, "is read by this run");
    }
    allowed(at, &[&stock[..], &["--demand", demand, "--out", "stock"]].concat());
}

#[test]
fn a_folder_that_is_not_ours_is_refused_and_our_own_needs_no_leave() {
    let folder = folder();
    let at = folder.path();
    refused(at, &["stack", "pack.toml", "--out", "."], "did not write");
    fs::create_dir(at.join("mine")).unwrap();
    fs::write(at.join("mine/report.html"), "mine").unwrap();
    refused(at, &["stack", "pack.toml", "--out", "mine"], "report.html");
    refused(at, &["tour", "mine"], "report.html");
    for command in [
        &["stack", "pack.toml"][..],
        &["trend", "inspections.csv", "--policy", "policy.toml", "--model", "random-slope"],
        &["lot", "shims-0.60.csv", "--nominal", "0.6", "--lower", "0.57", "--upper", "0.63"],
    ] {
        // One's own folder, whatever command wrote it before.
        allowed(at, &[command, &["--out", "report"]].concat());
        allowed(at, &[command, &["--out", "report", "--xlsx", "report/all.xlsx"]].concat());
        let mut names: Vec<_> = fs::read_dir(at).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        names.retain(|name| name.to_str().unwrap().starts_with('.'));
        assert!(names.is_empty(), "left over: {names:?}");
    }
    fs::write(at.join("report/notes.txt"), "mine").unwrap();
    allowed(at, &["stack", "pack.toml", "--out", "report"]);
    assert_eq!(fs::read_to_string(at.join("report/notes.txt")).unwrap(), "mine");
    fs::write(at.join("report/report.html"), "annotated").unwrap();
    refused(at, &["stack", "pack.toml", "--out", "report"], "report.html");
    allowed(at, &["stack", "pack.toml", "--out", "report", "--force"]);
}

#[test]
fn a_workbook_of_the_users_is_not_written_over() {
    let folder = folder();
    let at = folder.path();
    fs::write(at.join("mine.xlsx"), "PK\u{3}\u{4} mine").unwrap();
    refused(at, &["stack", "pack.toml", "--xlsx", "mine.xlsx"], "may be yours");
    allowed(at, &["stack", "pack.toml", "--xlsx", "ours.xlsx"]);
    allowed(at, &["stack", "pack.toml", "--xlsx", "ours.xlsx"]);
    allowed(at, &["stack", "pack.toml", "--xlsx", "mine.xlsx", "--force"]);
    allowed(at, &["due", "inspections.csv", "--policy", "policy.toml", "--model", "random-slope", "--ics", "plan.ics"]);
    allowed(at, &["due", "inspections.csv", "--policy", "policy.toml", "--model", "random-slope", "--ics", "plan.ics"]);
    fs::write(at.join("mine.ics"), "BEGIN:VCALENDAR\r\nPRODID:-//another//EN\r\n").unwrap();
    refused(
        at,
        &["due", "inspections.csv", "--policy", "policy.toml", "--model", "random-slope", "--ics", "mine.ics"],
        "may be yours",
    );
    // A device loses nothing.
    if cfg!(unix) {
        allowed(at, &["stack", "pack.toml", "--xlsx", "/dev/null"]);
    }
}
