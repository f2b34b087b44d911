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

/// A result of `command` with these arguments and inputs, as a stranger may make one up.
fn made_up(at: &Path, name: &str, command: &str, arguments: &[&str], inputs: &[(&str, &str)]) {
    let inputs: Vec<_> =
        inputs.iter().map(|(path, sha256)| serde_json::json!({ "path": path, "sha256": sha256 })).collect();
    let result = serde_json::json!({
        "packdrift": env!("CARGO_PKG_VERSION"), "command": command, "arguments": arguments, "inputs": inputs,
    });
    fs::write(at.join(name), result.to_string()).unwrap();
}

#[test]
fn a_stranger_s_result_shows_no_file_of_the_machine() {
    let folder = folder();
    let at = folder.path();
    let elsewhere = tempfile::tempdir().unwrap();
    let secret = elsewhere.path().join("secret.csv");
    fs::write(&secret, "hunter2\nhunter3\n").unwrap();
    let secret = secret.to_str().unwrap();
    let up = format!("{}{secret}", "..".to_owned() + &"/..".repeat(30));
    let twice = format!("/{secret}");
    let option = format!("--policy={secret}");
    let readings = "data/inspections.csv";
    let sha256 = packdrift_records::sha256_of_file(&at.join(readings)).unwrap();
    for (command, arguments, inputs) in [
        ("check", vec![secret], vec![]),
        ("check", vec![up.as_str()], vec![]),
        ("trend", vec![option.as_str(), readings], vec![(readings, sha256.as_str())]),
        // The same file by other letters, with the hash of another one.
        ("check", vec![twice.as_str()], vec![(secret, sha256.as_str())]),
    ] {
        made_up(at, "made-up.json", command, &arguments, &inputs);
        let (status, said) = replayed(at, &["made-up.json"]);
        assert_eq!(status, Some(2), "{arguments:?}: {said}");
        assert!(said.contains("none of the inputs") && !said.contains("hunter"), "{arguments:?}: {said}");
    }
    // Nor does a file that is an input, and names another.
    let part = format!("name = \"p\"\nkind = \"shim\"\nthickness = {{ sample = \"{secret}\" }}");
    let named = format!(
        "[[bay]]\nname = \"b\"\nspan = 1.0\n[[bay.part]]\n{part}\n[[requirement]]\nname = \"r\"\nquantity = \"play\"\nlower = 0.0\n"
    );
    fs::write(at.join("named.toml"), &named).unwrap();
    let sha256 = packdrift_records::sha256_of_bytes(named.as_bytes());
    made_up(at, "made-up.json", "check", &["named.toml"], &[("named.toml", &sha256)]);
    let (status, said) = replayed(at, &["made-up.json"]);
    assert_ne!(status, Some(0), "{said}");
    assert!(!said.contains("hunter"), "{said}");
}

#[cfg(target_os = "linux")]
#[test]
fn a_search_ends_where_files_have_no_end() {
    let folder = folder();
    let at = folder.path();
    made_up(at, "made-up.json", "check", &["gone.csv"], &[("gone.csv", &"0".repeat(64))]);
    std::os::unix::fs::symlink("/", at.join("root")).unwrap();
    let (status, said) = replayed(at, &["made-up.json", "--look-in", "/proc"]);
    assert_eq!(status, Some(2), "{said}");
    assert!(said.contains("were not found"), "{said}");
    // Very many names: the answer says that not all was looked at.
    let many = at.join("many");
    fs::create_dir(&many).unwrap();
    for name in 0..10_001 {
        fs::write(many.join(name.to_string()), "").unwrap();
    }
    let (status, said) = replayed(at, &["made-up.json", "--look-in", "many"]);
    assert_eq!(status, Some(2), "{said}");
    assert!(said.contains("Not all was looked at") && said.contains("10000 names"), "{said}");
}

#[test]
fn a_file_named_like_an_option_is_replayed() {
    let folder = folder();
    let at = folder.path();
    fs::copy(demo("gauge.csv"), at.join("-x.csv")).unwrap();
    for command in [&["gauge", "--tolerance=0.06"][..], &["check"]] {
        let out = run_in(at, &[command, &["--format", "json", "--quiet", "--", "-x.csv"]].concat());
        fs::write(at.join("result.json"), &out.stdout).unwrap();
        let (status, said) = replayed(at, &["result.json"]);
        assert_eq!(status, Some(0), "{command:?}: {said}");
    }
}

#[test]
fn what_a_made_up_result_names_as_inputs_is_bounded() {
    let folder = folder();
    let at = folder.path();
    let sha256 = packdrift_records::sha256_of_file(&at.join("data/gauge.csv")).unwrap();
    let named: Vec<String> = (0..10_001).map(|k| format!("c{k}")).collect();
    let gauge = ("data/gauge.csv", sha256.as_str());
    let many: Vec<(&str, &str)> = named.iter().map(|name| (name.as_str(), sha256.as_str())).chain([gauge]).collect();
    made_up(at, "many.json", "gauge", &["data/gauge.csv"], &many);
    let (status, said) = replayed(at, &["many.json"]);
    assert!(status == Some(2) && said.contains("at most 10000"), "{said}");
    for path in ["", "data/gauge.csv/x", &"n".repeat(300), &"../".repeat(10_000)] {
        made_up(at, "odd.json", "gauge", &["data/gauge.csv"], &[("data/gauge.csv", &sha256), (path, &sha256)]);
        let (status, said) = replayed(at, &["odd.json"]);
        assert_eq!(status, Some(2), "{path:.20}: {said}");
    }
}
