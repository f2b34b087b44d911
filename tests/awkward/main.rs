//! Tables as they come out of a shop: which are read right, which are refused with what settles it. None may be read wrong.
//!
//! [`cases`] and [`exports`] have them, each with its outcome. `tidy` writes what was read, so what is compared is the table and not a result of it.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test may fail by panicking")]
#![allow(clippy::print_stdout, reason = "how many tables are read and refused is told")]

mod cases;
mod every_format;
mod exports;
#[path = "../../crates/records/tests/support/parquet_file.rs"]
mod parquet_file;
mod starters;

use cases::{Bytes, Case, Outcome, Sheet};
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};
use std::path::Path;
use std::process::{Command, Output};

/// Runs the program in a folder.
fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_packdrift")).current_dir(folder).args(arguments).output().unwrap()
}

fn workbook(sheets: &[Sheet]) -> Vec<u8> {
    let mut workbook = Workbook::new();
    let moment = Format::new().set_num_format("yyyy-mm-dd hh:mm");
    for sheet in sheets {
        let worksheet = workbook.add_worksheet();
        worksheet.set_name(sheet.name).unwrap().set_hidden(sheet.hidden);
        for (row, line) in (0..).zip(sheet.rows.lines()) {
            let shown = line.strip_prefix('~');
            if shown.is_some() {
                worksheet.set_row_hidden(row).unwrap();
            }
            let line = shown.unwrap_or(line);
            for (column, cell) in (0..).zip(line.split('|')).filter(|(_, cell)| !cell.is_empty()) {
                if let Some(date) = cell.strip_prefix("d:") {
                    let date = ExcelDateTime::parse_from_str(date).unwrap();
                    worksheet.write_datetime_with_format(row, column, date, &moment).unwrap();
                } else if let Some(number) = cell.strip_prefix("n:") {
                    worksheet.write_number(row, column, number.parse::<f64>().unwrap()).unwrap();
                } else {
                    worksheet.write_string(row, column, cell).unwrap();
                }
            }
        }
        if !sheet.hidden {
            worksheet.set_active(true);
        }
    }
    workbook.save_to_buffer().unwrap()
}

fn bytes(case: &Case) -> Vec<u8> {
    match &case.bytes {
        Bytes::Text(text) => text.as_bytes().to_vec(),
        Bytes::Utf16(text) => std::iter::once(0xFEFF).chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect(),
        Bytes::Latin(text) => text.chars().map(|letter| u8::try_from(u32::from(letter)).unwrap()).collect(),
        Bytes::Sheets(sheets) => workbook(sheets),
    }
}

/// What became of a table under some options: the table that was read, or what was said.
fn tidied(folder: &Path, options: &[&str]) -> Result<String, String> {
    let _ = std::fs::remove_file(folder.join("read.csv"));
    let output = run(folder, &[&["tidy", "table", "read.csv", "--quiet"], options].concat());
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    match output.status.code() {
        Some(0) => Ok(std::fs::read_to_string(folder.join("read.csv")).unwrap()),
        Some(2) => Err(said),
        status => panic!("{status:?}: {said}"),
    }
}

/// Where a table fell short of its outcome; empty where it did not.
fn shortfall(case: &Case, folder: &Path) -> String {
    let lacks = |said: &str, words: &[&str]| -> Vec<String> {
        words.iter().filter(|word| !said.contains(**word)).map(|word| (*word).to_owned()).collect()
    };
    let is = |read: Result<String, String>, truth: &str| match read {
        Ok(read) if read == truth => String::new(),
        Ok(read) => format!("READ WRONG:\n{read}instead of\n{truth}"),
        Err(said) => format!("refused:\n{said}"),
    };
    let is_refused = |words: &[&str]| match tidied(folder, &[]) {
        Ok(read) => format!("READ, and should have been refused:\n{read}"),
        Err(said) => match &lacks(&said, words)[..] {
            [] => String::new(),
            lacking => format!("refused without {lacking:?}:\n{said}"),
        },
    };
    match &case.outcome {
        Outcome::Read(truth) => is(tidied(folder, &[]), truth),
        Outcome::Refused(words) => is_refused(words),
        Outcome::Settled(words, options, truth) => match is_refused(words) {
            none if none.is_empty() => is(tidied(folder, options), truth),
            wrong => wrong,
        },
    }
}

/// Goes through the tables; `AWKWARD_DIR` keeps them, so that another build of the program can be tried on them.
fn outcomes(cases: &[Case]) -> (usize, usize) {
    let keep = std::env::var_os("AWKWARD_DIR").map(std::path::PathBuf::from);
    let (mut read, mut refused, mut short) = (0, 0, String::new());
    for case in cases {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("table"), bytes(case)).unwrap();
        if let Some(keep) = &keep {
            std::fs::create_dir_all(keep).unwrap();
            let sort = if matches!(case.outcome, Outcome::Read(_)) { "read" } else { "refused" };
            std::fs::copy(folder.path().join("table"), keep.join(format!("{sort} {}", case.name.replace('/', "-"))))
                .unwrap();
        }
        let wrong = shortfall(case, folder.path());
        if !wrong.is_empty() {
            short.push_str(&format!("--- {}: {wrong}\n", case.name));
        }
        match case.outcome {
            Outcome::Read(_) => read += 1,
            Outcome::Refused(_) | Outcome::Settled(..) => refused += 1,
        }
    }
    assert!(short.is_empty(), "{short}");
    (read, refused)
}

/// The figures of docs/files.md; they change with the cases.
#[test]
fn each_fault_is_read_right_or_refused_with_what_settles_it() {
    let (read, refused) = outcomes(&cases::faults());
    println!("one fault each: {read} read right, {refused} refused with the cure, none read wrong");
    assert_eq!((read, refused), (22, 30));
}

#[test]
fn the_commonest_exports_are_read() {
    assert_eq!(outcomes(&exports::commonest()), (10, 0));
}

#[test]
fn further_exports_are_read_right_or_refused_with_what_to_do() {
    assert_eq!(outcomes(&exports::further()), (8, 7));
}

/// What was read is said: no reading is silent.
#[test]
fn what_was_taken_for_what_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let text = "Engine;Valve;Date;Hours;Contact offset (mm);Stem wear (mm);Remarks\n\
                E1;1 intake;15/01/2024;1210;0,98;0,01;ok\nE1;1 intake;03/07/2024;1883;1,03;;\n";
    std::fs::write(folder.path().join("shop.csv"), text).unwrap();
    let output = run(folder.path(), &["check", "shop.csv"]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{said}");
    for words in [
        "fields are separated by semicolons",
        "`Engine` read as engine",
        "columns 5 to 6 read as features: `contact_offset`, `stem_wear`",
        "decimal commas in 3 numbers",
        "dates read as day/month/year, since 1 of 2 can be nothing else",
        "1 empty cell with nothing read passed over (line 3)",
        "not read: `Remarks`",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
}

#[test]
fn the_order_of_a_date_with_a_named_month_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let text = "engine,valve,date,hours,feature,value\nE1,1 intake,15-Jan-24,1210,contact_offset,0.98\nE1,1 intake,3-Jul-24,1883,contact_offset,1.03\n";
    std::fs::write(folder.path().join("shop.csv"), text).unwrap();
    let output = run(folder.path(), &["check", "shop.csv"]);
    let said = String::from_utf8_lossy(&output.stderr).replace("\n      ", " ");
    assert_eq!(output.status.code(), Some(0), "{said}");
    let words = "dates with a named month read with the day first, since 1 of 2 can be nothing else, and years of two digits as 1970 to 2069";
    assert!(said.contains(words), "{said}");
}

/// What a filter hides is data, and a row that somebody hid may be meant to be gone: neither is decided in silence.
#[test]
fn hidden_rows_and_columns_are_said_and_left_out_where_that_is_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    sheet.set_name("readings").unwrap();
    for (column, heading) in (0..).zip(["lot", "part", "reading", "remarks"]) {
        sheet.write_string(0, column, heading).unwrap();
    }
    for row in 1..=20_u32 {
        sheet.write_string(row, 0, "A").unwrap().write_string(row, 1, format!("{row:03}")).unwrap();
        sheet.write_number(row, 2, 0.6 + 0.001 * f64::from(row)).unwrap();
        sheet.write_string(row, 3, "x").unwrap();
    }
    // Hidden and empty: of no account.
    for row in [4, 6, 30] {
        sheet.set_row_hidden(row).unwrap();
    }
    sheet.set_column_hidden(3).unwrap();
    workbook.save(at.join("t.xlsx")).unwrap();
    let said = |arguments: &[&str]| {
        let output = run(at, arguments);
        let text = String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).replace("\n      ", " ");
        assert_eq!(output.status.code(), Some(0), "{text}");
        text
    };
    let read = said(&["check", "t.xlsx"]);
    assert!(
        read.contains("hidden in sheet `readings`: 2 rows (5, 7) and 1 column (D); read like the others"),
        "{read}"
    );
    assert!(read.contains("--hidden leave-out") && read.contains("20 readings"), "{read}");
    let left = said(&["check", "t.xlsx", "--hidden", "leave-out"]);
    assert!(left.contains("18 readings") && left.contains("left out, as --hidden says"), "{left}");
    said(&["tidy", "t.xlsx", "shown.csv", "--hidden", "leave-out"]);
    let shown = std::fs::read_to_string(at.join("shown.csv")).unwrap();
    assert!(shown.lines().count() == 19 && !shown.contains("A,004,") && shown.contains("A,005,"), "{shown}");
    // Nothing hidden, nothing said.
    said(&["tidy", "shown.csv", "plain.xlsx"]);
    assert!(!said(&["check", "plain.xlsx"]).contains("hidden"));
}

/// The unit of a table is said where it is looked at, as where it is used.
#[test]
fn tables_in_inches_are_checked_and_tidied() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    std::fs::write(at.join("lot.csv"), "lot,part,Reading (in)\nA,001,0.0236\nA,002,0.0235\n").unwrap();
    let wear = "engine,valve,date,hours,feature,value (in)\nE1,1 intake,2024-01-15,1210,contact_offset,0.0386\nE1,1 intake,2024-07-30,1883,contact_offset,0.0405\n";
    std::fs::write(at.join("wear.csv"), wear).unwrap();
    for file in ["lot.csv", "wear.csv"] {
        let refused = run(at, &["check", file]);
        assert_eq!(refused.status.code(), Some(2), "{file}");
        let read = run(at, &["check", file, "--units", "in"]);
        assert_eq!(read.status.code(), Some(0), "{file}: {}", String::from_utf8_lossy(&read.stdout));
        assert_eq!(run(at, &["check", file, "--units", "mm"]).status.code(), Some(2), "{file}");
        // Lengths stay as they are written.
        let tidied = run(at, &["tidy", file, "tidy.csv", "--units", "in", "--force"]);
        assert_eq!(tidied.status.code(), Some(0), "{file}: {}", String::from_utf8_lossy(&tidied.stderr));
        let text = std::fs::read_to_string(at.join("tidy.csv")).unwrap();
        assert!(text.contains("0.0236") || text.contains("0.0386"), "{text}");
    }
    // A pack is told in the unit that is asked for.
    assert_eq!(run(at, &["new", "pack", "mine.toml"]).status.code(), Some(0));
    let told = run(at, &["check", "mine.toml", "--units", "in", "--quiet"]);
    assert!(String::from_utf8_lossy(&told.stdout).contains(" in"), "{}", String::from_utf8_lossy(&told.stdout));
}

#[test]
fn tidy_reports_every_change_and_writes_over_nobodys_file() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    std::fs::write(at.join("shop.csv"), "lot;part;reading\n=A;001;0,601\n=A;002;0,598\n").unwrap();
    let output = run(at, &["tidy", "shop.csv", "clean.csv"]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(text.contains("2  reading: \"0,601\" -> \"0.601\"") && text.contains("2 cells"), "{text}");
    // A spreadsheet takes no name for a formula, and the name is the same when it is read again.
    assert_eq!(
        std::fs::read_to_string(at.join("clean.csv")).unwrap(),
        "lot,part,reading\n'=A,001,0.601\n'=A,002,0.598\n"
    );
    let again = run(at, &["tidy", "clean.csv", "again.xlsx", "--format", "json"]);
    let json: serde_json::Value = serde_json::from_slice(&again.stdout).unwrap();
    assert_eq!(json["changes"].as_array().unwrap().len(), 0, "{json}");
    assert_eq!(json["written"]["rows"], 2);
    for (arguments, says) in [
        (&["tidy", "shop.csv", "shop.csv", "--force"][..], "is read by this run"),
        (&["tidy", "shop.csv", "clean.csv"], "may be yours"),
        (&["tidy", "shop.csv", "clean.txt"], ".csv or .xlsx"),
        (&["tidy", "shop.csv", "x.csv", "--columns", "vlaue=reading"], "`vlaue` is no column"),
        (&["tidy", "shop.csv", "x.csv", "--columns", "reading=found"], "no column `found`"),
    ] {
        let output = run(at, arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.code() == Some(2) && said.contains(says), "{arguments:?}: {said}");
    }
    assert!(!at.join("x.csv").exists());
}
