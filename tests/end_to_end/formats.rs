//! One table of tests: the same data in every format, by every command that reads a table. The answer is the same but for the file's digest;
//! what is no table, or a table where a document is wanted, is refused by a message that names the format.

use crate::parquet_file::{Cells, write_parquet};
use crate::program::{demo, run_in};
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook};
use serde_json::Value;
use std::path::Path;

/// A table as text rows, and which of its columns are numbers or dates; the rest are names, which stay text (`001`).
struct Data {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
    numbers: &'static [&'static str],
}

impl Data {
    /// From CSV without quotes.
    fn of(csv: &str, numbers: &'static [&'static str]) -> Self {
        let mut lines = csv.lines().filter(|l| !l.starts_with('#') && !l.is_empty());
        let cells = |line: &str| -> Vec<String> { line.split(',').map(str::to_owned).collect() };
        let header = cells(lines.next().unwrap());
        assert!(numbers.iter().all(|n| header.iter().any(|h| h == n)), "{header:?}");
        Self { header, rows: lines.map(cells).collect(), numbers }
    }

    fn demo(name: &str, numbers: &'static [&'static str]) -> Self {
        Self::of(&std::fs::read_to_string(demo(name)).unwrap(), numbers)
    }

    fn is_number(&self, column: usize) -> bool {
        self.numbers.contains(&self.header[column].as_str())
    }

    fn text(&self, separator: &str) -> Vec<u8> {
        let lines = std::iter::once(&self.header).chain(&self.rows).map(|row| row.join(separator) + "\n");
        lines.collect::<String>().into_bytes()
    }

    fn xlsx(&self, path: &Path) {
        let mut workbook = Workbook::new();
        let day = Format::new().set_num_format("yyyy-mm-dd");
        let sheet = workbook.add_worksheet();
        for (k, name) in self.header.iter().enumerate() {
            sheet.write_string(0, k as u16, name).unwrap();
        }
        for (row, cells) in (1..).zip(&self.rows) {
            for (k, cell) in cells.iter().enumerate().filter(|(_, cell)| !cell.is_empty()) {
                if self.is_number(k) {
                    sheet.write_number(row, k as u16, cell.parse::<f64>().unwrap()).unwrap();
                } else if self.header[k] == "date" {
                    let moment = ExcelDateTime::parse_from_str(cell).unwrap();
                    sheet.write_datetime_with_format(row, k as u16, moment, &day).unwrap();
                } else {
                    sheet.write_string(row, k as u16, cell).unwrap();
                }
            }
        }
        workbook.save(path).unwrap();
    }

    fn parquet(&self, path: &Path) {
        let column = |k: usize| {
            let cells = self.rows.iter().map(|row| Some(row[k].clone()).filter(|cell| !cell.is_empty()));
            let cells = if self.is_number(k) {
                Cells::Numbers(cells.map(|cell| cell.map(|c| c.parse().unwrap())).collect())
            } else {
                Cells::Texts(cells.collect())
            };
            (self.header[k].clone(), cells)
        };
        write_parquet(path, &(0..self.header.len()).map(column).collect::<Vec<_>>());
    }

    /// The file `table` in a folder of each format: formats are told by what is in a file, not by its name.
    fn written(&self) -> Vec<(&'static str, tempfile::TempDir)> {
        let folder = |write: &dyn Fn(&Path)| {
            let folder = tempfile::tempdir().unwrap();
            write(&folder.path().join("table"));
            folder
        };
        vec![
            ("CSV", folder(&|path| std::fs::write(path, self.text(",")).unwrap())),
            ("TSV", folder(&|path| std::fs::write(path, self.text("\t")).unwrap())),
            ("semicolons", folder(&|path| std::fs::write(path, self.text(";")).unwrap())),
            ("XLSX", folder(&|path| self.xlsx(path))),
            ("Parquet", folder(&|path| self.parquet(path))),
        ]
    }
}

/// What a command says, but for digests and for how a file's cells were found (separators, dates of a sheet).
fn answer(folder: &Path, arguments: &[&str]) -> (i32, Value) {
    let output = run_in(folder, &[arguments, &["--format", "json", "--quiet"]].concat());
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let status = output.status.code().unwrap();
    assert!(status < 2, "{arguments:?}: {said}");
    let mut value: Value =
        serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{arguments:?}: {e}: {said}"));
    for key in ["inputs", "warnings"] {
        value.as_object_mut().unwrap().remove(key);
    }
    without(&mut value, &["line", "lines", "first_lines", "sha256", "notices"]);
    (status, value)
}

/// Lines of a sheet or of a Parquet file are counted otherwise than those of a text.
fn without(value: &mut Value, keys: &[&str]) {
    match value {
        Value::Object(map) => {
            for key in keys {
                map.remove(*key);
            }
            map.values_mut().for_each(|v| without(v, keys));
        }
        Value::Array(all) => all.iter_mut().for_each(|v| without(v, keys)),
        _ => {}
    }
}

/// The same answer from every format.
fn alike(data: &Data, commands: &[&[&str]]) {
    let files = data.written();
    for arguments in commands {
        let (status, by_csv) = answer(files[0].1.path(), arguments);
        for (format, folder) in &files[1..] {
            let (other, found) = answer(folder.path(), arguments);
            assert_eq!(status, other, "{format}: {arguments:?}");
            assert!(by_csv == found, "{format}: {arguments:?}\n{by_csv}\n{found}");
        }
    }
}

/// A demo file's path.
fn at(name: &str) -> String {
    demo(name).canonicalize().unwrap().to_str().unwrap().to_owned()
}

#[test]
fn inspections_of_every_format_give_the_same_answer() {
    let data = Data::demo("inspections.csv", &["hours", "value"]);
    let (policy, pack, drawer) = (at("policy.toml"), at("pack.toml"), at("drawer.csv"));
    alike(
        &data,
        &[
            &["trend", "table", "--policy", &policy, "--model", "random-slope"],
            &["due", "table", "--policy", &policy, "--model", "random-slope"],
            &["check", "table"],
            &["shim", &pack, "--valve", "1 exhaust", "--stock", &drawer, "--inspections", "table", "--engine", "P18"],
        ],
    );
}

#[test]
fn readings_of_every_format_give_the_same_answer() {
    let lots = Data::demo("shims-0.60.csv", &["reading"]);
    let drawing = at("drawing-0.60.toml");
    alike(&lots, &[&["lot", "table", "--drawing", &drawing], &["check", "table"]]);
    // As many as the plan asks for.
    let sample: String = (0..57).map(|k| format!("A,{k:03},{:.3}\n", 0.6 + 0.001 * f64::from(k % 5))).collect();
    let sample = Data::of(&format!("lot,part,reading\n{sample}"), &["reading"]);
    alike(&sample, &[&["sampling", "--by", "variables", "--readings", "table", "--drawing", &drawing]]);
    let gauge = Data::demo("gauge.csv", &["reading"]);
    alike(&gauge, &[&["gauge", "table", "--tolerance", "0.06"], &["check", "table"]]);
}

#[test]
fn deliveries_of_every_format_give_the_same_answer() {
    let data = Data::of("lot,outside\nL1,0\nL2,1\nL3,3\nL4,0\nL5,2\nL6,0\n", &["outside"]);
    alike(&data, &[&["sampling", "--limit", "1.0", "--lot-size", "500", "--history", "table"]]);
}

#[test]
fn drawers_and_orders_of_every_format_give_the_same_answer() {
    let pack = at("pack.toml");
    let drawer = Data::demo("drawer.csv", &["thickness", "u", "count", "cost", "lead_days"]);
    alike(
        &drawer,
        &[
            &["shim", &pack, "--valve", "1 exhaust", "--stock", "table", "--measured", "1.30"],
            &["stock", &pack, "--valve", "1 exhaust", "--catalogue", "table", "--new-builds", "0.05", "--jobs", "200"],
            &["check", "table"],
        ],
    );
    let demand = Data::of(
        "name,rate_per_day,correction,sd\n1 exhaust,0.02,-0.35,0.08\n2 intake,0.01,0.2,0.05\n",
        &["rate_per_day", "correction", "sd"],
    );
    let drawer = at("drawer.csv");
    alike(
        &demand,
        &[
            &["stock", &pack, "--valve", "1 exhaust", "--catalogue", &drawer, "--demand", "table", "--jobs", "200"],
            &["check", "table"],
        ],
    );
}

#[test]
fn sums_of_every_format_give_the_same_answer() {
    let data = Data::of(
        &crate::sums::sums(),
        &[
            "segment",
            "start_hours",
            "last_hours",
            "readings",
            "mean_hours",
            "mean_value",
            "hours_squares",
            "products",
            "value_squares",
        ],
    );
    let policy = at("policy.toml");
    alike(&data, &[&["trend", "--sums", "table", "--policy", &policy, "--model", "random-slope"], &["check", "table"]]);
}

/// A dimension's sample, read by `stack` beside the pack.
#[test]
fn samples_of_every_format_give_the_same_answer() {
    let data = Data::demo("shims-0.60.csv", &["reading"]);
    let pack = std::fs::read_to_string(demo("pack.toml")).unwrap();
    let files = data.written();
    let mut answers = Vec::new();
    for (format, folder) in &files {
        // The first shim of the pack is what was measured.
        let from = pack.find("thickness = {").unwrap();
        let to = from + pack[from..].find('}').unwrap() + 1;
        let sample = "thickness = { sample = \"table\", column = \"reading\" }";
        std::fs::write(folder.path().join("pack.toml"), format!("{}{sample}{}", &pack[..from], &pack[to..])).unwrap();
        answers.push((format, answer(folder.path(), &["stack", "pack.toml"])));
    }
    for (format, found) in &answers[1..] {
        assert!(*found == answers[0].1, "{format}");
    }
}

/// What no command can read is refused by the name of its format: a document for a table, a table for a document, another program's file.
#[test]
fn another_format_is_refused_by_its_name() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| std::fs::write(folder.path().join(name), bytes).unwrap();
    write("policy.toml", &std::fs::read(demo("policy.toml")).unwrap());
    write("table.csv", &Data::demo("shims-0.60.csv", &["reading"]).text(","));
    write("arrow", b"ARROW1\0\0rest");
    write("report.pdf", b"%PDF-1.7 rest");
    let data = Data::demo("shims-0.60.csv", &["reading"]);
    data.parquet(&folder.path().join("table.parquet"));
    data.xlsx(&folder.path().join("table.xlsx"));
    let table: [&[&str]; 5] = [
        &["trend"],
        &["due", "--policy", "policy.toml"],
        &["lot", "--nominal", "0.6", "--lower", "0.58", "--upper", "0.62"],
        &["gauge"],
        &["check"],
    ];
    for command in table {
        for (file, says) in [("arrow", "Arrow"), ("report.pdf", "PDF")] {
            let output = run_in(folder.path(), &[&command[..1], &[file], &command[1..]].concat());
            let error = String::from_utf8_lossy(&output.stderr).into_owned() + &String::from_utf8_lossy(&output.stdout);
            assert_eq!(output.status.code(), Some(2), "{command:?} {file}: {error}");
            assert!(error.contains(says), "{command:?} {file}: {error}");
        }
    }
    // Between semicolons a comma can only be a decimal one: it is read so, and said.
    write("comma.csv", b"lot;part;reading\nA;1;0,600\nA;2;0,599\n");
    let output = run_in(folder.path(), &["lot", "comma.csv", "--nominal", "0.6", "--lower", "0.58", "--upper", "0.62"]);
    let error = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.code() != Some(2) && error.contains("decimal commas in 2 numbers"), "{error}");
    // Three digits behind the comma of a whole number may be thousands: not guessed at.
    write("thousands.csv", b"lot;part;reading\nA;1;1,883\nA;2;2,014\n");
    let arguments = ["lot", "thousands.csv", "--nominal", "2", "--lower", "1", "--upper", "3"];
    let output = run_in(folder.path(), &arguments);
    let error = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.code() == Some(2) || error.contains("decimal commas in 2 numbers"), "{error}");
    // TOML where a table is wanted, and the other way round.
    let refused = |arguments: &[&str], says: &[&str]| {
        let output = run_in(folder.path(), arguments);
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {error}");
        assert!(says.iter().any(|says| error.contains(says)), "{arguments:?}: {error}");
    };
    refused(&["trend", "policy.toml"], &["TOML", "policy"]);
    refused(&["lot", "policy.toml", "--nominal", "0.6", "--lower", "0.58", "--upper", "0.62"], &["TOML", "policy"]);
    for file in ["table.csv", "table.xlsx", "table.parquet"] {
        refused(&["stack", file], &["TOML", "pack file"]);
        refused(&["trend", "table.csv", "--policy", file], &["TOML", "policy"]);
    }
}
