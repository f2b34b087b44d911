//! A file where a folder is to be written, a folder where a file is, and a place below a file.

use crate::program::run_in;
use std::fs;
use std::path::Path;

/// Runs the program; it must refuse, say so, and leave what it found.
fn refused(folder: &Path, arguments: &[&str], says: &str) {
    let out = run_in(folder, arguments);
    let error = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(2), "{arguments:?}: {error}");
    assert!(error.contains(says), "{arguments:?}: {error}");
    assert_eq!(fs::read(folder.join("policy.toml")).unwrap(), b"mine", "{arguments:?}");
    assert_eq!(fs::read_dir(folder.join("folder")).unwrap().count(), 0, "{arguments:?}");
}

/// Before anything is read: the inputs that these runs name are nowhere, and the refusal is not of them.
#[test]
fn a_place_of_another_kind_is_refused_before_anything_is_computed() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::write(at.join("policy.toml"), "mine").unwrap();
    fs::create_dir(at.join("folder")).unwrap();
    let commands: [&[&str]; 11] = [
        &["stack", "nowhere.toml"],
        &["allocate", "nowhere.toml", "--max-out", "0.01"],
        &["lot", "nowhere.csv", "--lower", "0.5"],
        &["gauge", "nowhere.csv", "--tolerance", "0.06"],
        &["sampling", "--limit", "1", "--lot-size", "400", "--history", "nowhere.csv"],
        &["shim", "nowhere.toml", "--valve", "1 intake", "--stock", "drawer.csv", "--measured", "1.2"],
        &["stock", "nowhere.toml", "--valve", "1 intake", "--catalogue", "drawer.csv", "--new-builds", "0.05"],
        &["trend", "nowhere.csv"],
        &["due", "nowhere.csv", "--policy", "policy.toml"],
        &["check", "nowhere.toml"],
        &["tour"],
    ];
    for command in commands {
        let with = |option: &[&'static str]| [command, option].concat();
        refused(at, &with(&["--out", "policy.toml"]), "policy.toml is a file, and a folder is to be written there");
        refused(at, &with(&["--out", "policy.toml/report", "--force"]), "nothing can be written to policy.toml/report");
        refused(at, &with(&["--xlsx", "folder"]), "folder is a folder, and a file is to be written there");
        refused(at, &with(&["--xlsx", "policy.toml/all.xlsx"]), "nothing can be written to policy.toml/all.xlsx");
    }
    refused(at, &["due", "nowhere.csv", "--policy", "policy.toml", "--ics", "folder"], "folder is a folder");
    refused(at, &["tidy", "nowhere.csv", "folder"], "folder is a folder");
    refused(at, &["new", "drawer", "policy.toml/d.csv"], "nothing can be written to policy.toml/d.csv");
    refused(at, &["tour", "policy.toml"], "policy.toml is a file");
    refused(at, &["manual", "policy.toml"], "policy.toml is a file");
    // The folder that a tour would write to, had --out not named another.
    fs::write(at.join("packdrift-tour"), "mine").unwrap();
    refused(at, &["tour"], "packdrift-tour is a file");
}
