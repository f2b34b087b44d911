//! Files that ask for more than they may: an error names the limit at once, whatever a few bytes demand.

use crate::program::{demo, run_in};
use std::fs;
use std::path::Path;
use std::process::Output;
use std::time::{Duration, Instant};

/// Runs a command that must end soon (these builds are slower than a release, and the machine may be busy) with mistakes in the input.
fn refused(folder: &Path, arguments: &[&str], says: &str) -> Output {
    let begin = Instant::now();
    let out = run_in(folder, arguments);
    let said = String::from_utf8_lossy(&[out.stdout.clone(), out.stderr.clone()].concat()).into_owned();
    let head: String = said.chars().take(2000).collect();
    assert_eq!(out.status.code(), Some(2), "{arguments:?}: {head}");
    assert!(said.contains(says), "{arguments:?} does not say \"{says}\": {head}");
    assert!(begin.elapsed() < Duration::from_secs(60), "{arguments:?} took {:?}", begin.elapsed());
    out
}

#[test]
fn a_million_columns_are_refused_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let header: Vec<String> = (0..1_000_000).map(|column| format!("c{column}")).collect();
    let row = vec!["1"; 1_000_000].join(",");
    fs::write(folder.path().join("wide.csv"), format!("{}\n{row}\n", header.join(","))).unwrap();
    refused(folder.path(), &["lot", "wide.csv"], "at most 16384");
    refused(folder.path(), &["check", "wide.csv"], "");
}

#[test]
fn ten_thousand_parts_are_refused_and_five_hundred_read() {
    let folder = tempfile::tempdir().unwrap();
    let pack = |parts: usize| {
        let part = |k: usize| format!("[[bay.part]]\nname = \"p{k}\"\nkind = \"shim\"\nthickness = 0.1\n");
        let parts: String = (0..parts).map(part).collect();
        let end = "[[requirement]]\nname = \"r\"\nquantity = \"play\"\nlower = 0.0\n";
        fs::write(folder.path().join("p.toml"), format!("[[bay]]\nname = \"b\"\nspan = 60.0\n{parts}{end}")).unwrap();
    };
    pack(10_000);
    refused(folder.path(), &["check", "p.toml"], "10000 tables `b.part`");
    pack(500);
    assert_eq!(run_in(folder.path(), &["check", "p.toml"]).status.code(), Some(0));
}

#[test]
fn devices_are_refused_and_a_pipe_is_read() {
    if !cfg!(target_os = "linux") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    refused(folder.path(), &["check", "/dev/zero"], "a device");
    refused(folder.path(), &["stack", "/dev/urandom"], "a device");
    let pipe =
        format!("cat {} | {} check /dev/stdin", demo("inspections.csv").display(), env!("CARGO_BIN_EXE_packdrift"));
    let out = std::process::Command::new("sh").args(["-c", &pipe]).output().unwrap();
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
}

#[test]
fn a_sparse_file_of_a_terabyte_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = fs::File::create(folder.path().join("vast.csv")).unwrap();
    if file.set_len(1 << 40).is_ok() {
        refused(folder.path(), &["check", "vast.csv"], "at most 4096 MiB");
    }
}

#[test]
fn names_of_any_length_and_script_make_files_that_can_be_written() {
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string(demo("inspections.csv")).unwrap();
    for (number, name) in
        ["零件".repeat(150), "x".repeat(999), "حلقة/..".to_owned(), "👩‍🔧".to_owned()].iter().enumerate()
    {
        fs::write(folder.path().join("i.csv"), text.replace("P18", name)).unwrap();
        let out = format!("report-{number}");
        let policy = demo("policy.toml");
        let run = run_in(
            folder.path(),
            &[
                "trend",
                "i.csv",
                "--policy",
                policy.to_str().unwrap(),
                "--model",
                "random-slope",
                "--out",
                &out,
                "--quiet",
            ],
        );
        assert!(matches!(run.status.code(), Some(0 | 1)), "{name}: {}", String::from_utf8_lossy(&run.stderr));
        let listed = fs::read_to_string(folder.path().join(out).join("files.txt")).unwrap();
        assert!(listed.lines().all(|line| line.len() < 64 + 2 + 200), "{listed}");
        if number == 0 {
            assert!(listed.contains("零件"), "{listed}");
        }
    }
    fs::write(folder.path().join("i.csv"), text.replace("P18", &"x".repeat(1001))).unwrap();
    refused(folder.path(), &["check", "i.csv"], "a name of at most 1000 letters");
}

/// Bits of a Parquet file turned, one at a time: an error or a table, never a crash. Some make the library ask for 2⁶¹ bytes, which ends the
/// process that asks; the run itself goes on and says that the file is damaged. All bits with PACKDRIFT_ALL_BITS=1 (a quarter of an hour).
#[test]
fn turned_bits_of_a_parquet_file_never_crash() {
    let folder = tempfile::tempdir().unwrap();
    let fixture = concat!(env!("CARGO_MANIFEST_DIR"), "/../records/tests/fixtures/int32.parquet");
    let whole = fs::read(fixture).unwrap();
    let step = if std::env::var_os("PACKDRIFT_ALL_BITS").is_some() { 1 } else { 41 };
    let (mut read, mut refused) = (0, 0);
    for bit in (0..8 * whole.len()).step_by(step) {
        let mut turned = whole.clone();
        turned[bit / 8] ^= 1 << (bit % 8);
        fs::write(folder.path().join("t.parquet"), turned).unwrap();
        let out = run_in(folder.path(), &["lot", "t.parquet", "--quiet"]);
        match out.status.code() {
            Some(0 | 1) => read += 1,
            Some(2) => refused += 1,
            other => panic!("bit {bit}: status {other:?}: {}", String::from_utf8_lossy(&out.stderr)),
        }
    }
    assert!(read > 0 && refused > 10, "{read} read, {refused} refused");
}
