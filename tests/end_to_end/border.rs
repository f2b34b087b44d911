//! What comes from files does not act where it is shown: not on a terminal, not in a page, not in a spreadsheet; and a file shows nothing of
//! files outside its own folder.

use crate::program::{demo, run_in};
use std::fs;
use std::path::Path;

/// Steers a terminal, turns a line around, breaks XML, and is a formula.
const NAME: &str = "=1+1 \u{1b}[2J\u{202e}evil\u{7}\u{9b}31m\u{2066}";

fn is_steering(c: char) -> bool {
    (c.is_control() && c != '\n' && c != '\t')
        || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Nothing that steers in any text the run gives, on either stream or in a file.
fn clean(folder: &Path, arguments: &[&str]) {
    let out = run_in(folder, arguments);
    assert!(out.status.code().is_some(), "{arguments:?} was ended by a signal");
    for stream in [&out.stdout, &out.stderr] {
        let text = String::from_utf8(stream.clone()).unwrap();
        let found = text.find(is_steering).map(|at| text[at..].chars().take(20).collect::<String>());
        assert_eq!(found, None, "{arguments:?}");
    }
    let mut folders = vec![folder.join("report")];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).into_iter().flatten().flatten() {
            let path = entry.path();
            let kind = path.extension().and_then(|kind| kind.to_str()).unwrap_or_default();
            if path.is_dir() {
                folders.push(path);
            } else if matches!(kind, "html" | "svg" | "json" | "ics") {
                // A calendar's lines end in a carriage return.
                let text = fs::read_to_string(&path).unwrap().replace("\r\n", "\n");
                assert_eq!(text.find(is_steering), None, "{arguments:?}: {}", path.display());
            } else if kind == "csv" {
                let text = fs::read_to_string(&path).unwrap();
                let armed = text.lines().skip(1).flat_map(|line| line.split(',')).find(|cell| {
                    let cell = cell.strip_prefix('"').unwrap_or(cell);
                    cell.starts_with(['=', '@']) || (cell.starts_with(['+', '-']) && cell.parse::<f64>().is_err())
                });
                assert_eq!(armed, None, "{arguments:?}: {}", path.display());
            }
        }
    }
}

#[test]
fn names_do_not_act() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let toml = |text: &str| text.chars().map(|c| format!("\\U{:08X}", u32::from(c))).collect::<String>();
    let pack = fs::read_to_string(demo("pack.toml")).unwrap();
    let pack = pack
        .replace("\"cylinder 1\"", &format!("\"{}\"", toml(NAME)))
        .replace("1 exhaust", &toml(&format!("{NAME} x")));
    fs::write(at.join("pack.toml"), pack).unwrap();
    let rename = |file: &str, from: &str| fs::read_to_string(demo(file)).unwrap().replace(from, NAME);
    fs::write(at.join("inspections.csv"), rename("inspections.csv", "P18")).unwrap();
    fs::write(at.join("shims.csv"), rename("shims-0.60.csv", "packet A")).unwrap();
    fs::copy(demo("policy.toml"), at.join("policy.toml")).unwrap();
    fs::copy(demo("drawer.csv"), at.join("drawer.csv")).unwrap();
    for json in [&[][..], &["--format", "json"]] {
        for command in [
            &["check", "pack.toml", "inspections.csv"][..],
            &["stack", "pack.toml"],
            &["trend", "inspections.csv", "--policy", "policy.toml", "--model", "random-slope"],
            &["due", "inspections.csv", "--policy", "policy.toml", "--model", "random-slope"],
            &["lot", "shims.csv", "--nominal", "0.6", "--lower", "0.57", "--upper", "0.63"],
            &["shim", "pack.toml", "--valve", NAME, "--stock", "drawer.csv"],
            &["check", NAME],
            &["stack", NAME],
            &["stack", "pack.toml", "--trials", NAME],
            &[NAME],
        ] {
            clean(at, &[command, &["--out", "report"], json].concat());
        }
    }
    // Mistakes show the line they stand in.
    fs::write(at.join("wrong.toml"), format!("title = \"{NAME}\" x\n{NAME} = 1\n[[bay]]\nname = \"\u{202e}b\" y\n"))
        .unwrap();
    fs::write(at.join("wrong.csv"), format!("lot,part,reading\n{NAME},1,{NAME}\n")).unwrap();
    clean(at, &["check", "wrong.toml", "wrong.csv"]);
    clean(at, &["check", "wrong.toml", "wrong.csv", "--format", "json", "--out", "report"]);
}

#[test]
fn a_file_names_files_below_its_own_folder_only() {
    let folder = tempfile::tempdir().unwrap();
    let packs = folder.path().join("packs");
    fs::create_dir(&packs).unwrap();
    fs::write(folder.path().join("secret"), "hunter2:x:0\nhunter3:x:0\n").unwrap();
    let pack = |sample: &str| {
        let part = format!("name = \"p\"\nkind = \"shim\"\nthickness = {{ sample = \"{sample}\" }}");
        let text = format!(
            "[[bay]]\nname = \"b\"\nspan = 1.0\n[[bay.part]]\n{part}\n[[requirement]]\nname = \"r\"\nquantity = \"play\"\nlower = 0.0\n"
        );
        fs::write(packs.join("pack.toml"), text).unwrap();
    };
    let secret = folder.path().join("secret");
    let mut ways =
        vec!["../secret".to_owned(), secret.display().to_string(), "/dev/zero".to_owned(), "../gone".to_owned()];
    if cfg!(unix) {
        #[cfg(unix)]
        std::os::unix::fs::symlink("../secret", packs.join("link.csv")).unwrap();
        ways.push("link.csv".to_owned());
    }
    for way in ways {
        pack(&way);
        for command in ["check", "stack"] {
            let out = run_in(&packs, &[command, "pack.toml"]);
            let said = String::from_utf8_lossy(&[out.stdout, out.stderr].concat()).into_owned();
            assert_eq!(out.status.code(), Some(2), "{way}: {said}");
            assert!(said.contains("--allow-outside") && !said.contains("hunter2"), "{way}: {said}");
            assert!(!said.contains("no such file"), "{way}: {said}");
        }
    }
    pack("../secret");
    let out = run_in(&packs, &["check", "pack.toml", "--allow-outside"]);
    assert!(String::from_utf8_lossy(&out.stdout).contains("no column `reading`"));
    fs::write(packs.join("lot.csv"), "reading\n0.9\n0.91\n0.92\n").unwrap();
    pack("lot.csv");
    let out = run_in(folder.path(), &["check", "packs/pack.toml"]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stdout));
}
