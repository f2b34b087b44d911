//! Runs the `packdrift` that cargo has just built.
#![allow(unreachable_pub, dead_code, reason = "two test programs take what they need of these")]

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The demo files in the repository.
pub fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data/demo").join(name)
}

/// Runs the program in `folder`.
pub fn run_in(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_packdrift"))
        .args(arguments)
        .current_dir(folder)
        .env("NO_COLOR", "1")
        .output()
        .expect("the program starts")
}

/// Runs the program in a folder of its own, gone afterwards.
pub fn run(arguments: &[&str]) -> Output {
    run_in(tempfile::tempdir().unwrap().path(), arguments)
}

/// Runs with `--format json` and parses standard output, which must hold JSON alone.
pub fn json(arguments: &[&str]) -> (i32, Value) {
    let all: Vec<&str> = arguments.iter().copied().chain(["--format", "json"]).collect();
    let output = run(&all);
    let text = String::from_utf8(output.stdout).unwrap();
    let status = output.status.code().expect("an exit status");
    match serde_json::from_str(&text) {
        Ok(value) => (status, value),
        Err(error) => {
            panic!("standard output is not JSON ({error}):\n{text}\n{}", String::from_utf8_lossy(&output.stderr))
        }
    }
}
