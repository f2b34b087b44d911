//! All of a file's mistakes in one run, one message for each, whatever its format; and what is told of words that hide what they mean.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed unwrap fails the test")]

#[path = "support/parquet_file.rs"]
mod parquet_file;

use packdrift_records::{Error, InputError, Options, Source, history_from, inspections_from, stack_from};
use parquet::data_type::{ByteArray, ByteArrayType};
use parquet_file::{Cells, write_parquet};
use rust_xlsxwriter::Workbook;
use std::sync::Arc;

const HEADINGS: [&str; 7] = ["engine", "valve", "date", "hours", "feature", "value", "event"];

/// Rows of an engine that differ in hours, value and event.
fn rows(of: &[(&str, &str, &str)]) -> Vec<[String; 7]> {
    (1..)
        .zip(of)
        .map(|(month, (hours, value, event))| {
            ["E1", "1 intake", &format!("2025-{month:02}-15"), hours, "contact_offset", value, event].map(str::to_owned)
        })
        .collect()
}

fn csv(rows: &[[String; 7]]) -> Source {
    let lines: Vec<String> = rows.iter().map(|row| row.join(",")).collect();
    Source::from_bytes("t.csv", format!("{}\n{}\n", HEADINGS.join(","), lines.join("\n")).into_bytes())
}

fn xlsx(rows: &[[String; 7]]) -> Source {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet();
    for (column, heading) in (0..).zip(HEADINGS) {
        sheet.write_string(0, column, heading).unwrap();
    }
    for (row, cells) in (1..).zip(rows) {
        for (column, cell) in (0..).zip(cells) {
            match cell.as_str() {
                "" => {}
                "true" | "false" => {
                    sheet.write_boolean(row, column, cell == "true").unwrap();
                }
                text => {
                    sheet.write_string(row, column, text).unwrap();
                }
            }
        }
    }
    Source::from_bytes("t.xlsx", workbook.save_to_buffer().unwrap())
}

fn parquet(rows: &[[String; 7]]) -> Source {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("t.parquet");
    let cells = |k: usize, name: &str| match name {
        "hours" => Cells::Numbers(rows.iter().map(|row| Some(row[k].parse().unwrap())).collect()),
        _ => Cells::Texts(rows.iter().map(|row| Some(row[k].clone())).collect()),
    };
    let columns: Vec<(String, Cells)> =
        HEADINGS.iter().enumerate().map(|(k, name)| ((*name).to_owned(), cells(k, name))).collect();
    write_parquet(&path, &columns);
    Source::from_bytes("t.parquet", std::fs::read(&path).unwrap())
}

fn refused<T>(read: Result<T, Error>) -> InputError {
    match read {
        Err(Error::Input(error)) => {
            assert_eq!(error.total, error.faults.len());
            error
        }
        Err(other) => panic!("{other}"),
        Ok(_) => panic!("it was read"),
    }
}

/// Codes of the mistakes, each with the row of its reading, from 1.
fn mistakes(source: &Source, header: usize) -> Vec<(usize, &'static str)> {
    let error = refused(inspections_from(source, &Options::default()));
    error.faults.iter().map(|fault| (fault.place.line().unwrap() - header, fault.kind.code())).collect()
}

fn in_every_format(of: &[(&str, &str, &str)], expected: &[(usize, &'static str)]) {
    let rows = rows(of);
    assert_eq!(mistakes(&csv(&rows), 1), expected, "CSV");
    assert_eq!(mistakes(&xlsx(&rows), 1), expected, "XLSX");
    assert_eq!(mistakes(&parquet(&rows), 0), expected, "Parquet");
}

#[test]
fn what_rows_contradict_is_told_beside_cells_that_cannot_be_read() {
    in_every_format(
        &[("10", "0.98", ""), ("600", "1.0", ""), ("500", "1.01", ""), ("900", "often", ""), ("950", "1.02", "")],
        &[(3, "falling-hours"), (4, "not-a-number")],
    );
}

#[test]
fn a_row_left_out_that_may_tell_of_a_new_meter_accuses_no_other() {
    let only = [(2, "not-a-number")];
    in_every_format(&[("600", "0.98", ""), ("5", "often", "reshim+meter"), ("300", "1.01", "")], &only);
    // What stands under `event` cannot be read, and could have been one.
    in_every_format(&[("600", "0.98", ""), ("5", "1.0", "none"), ("300", "1.01", "")], &[(2, "unknown-name")]);
}

#[test]
fn a_truth_under_event_does_not_say_what_was_done() {
    in_every_format(
        &[("10", "0.98", "false"), ("600", "1.0", "true"), ("700", "1.01", "")],
        &[(1, "unknown-name"), (2, "unknown-name")],
    );
    let error = refused(inspections_from(&parquet(&rows(&[("10", "0.98", "true")])), &Options::default()));
    assert!(error.faults[0].help.as_ref().unwrap().contains("say what was done"), "{error:#?}");
}

#[test]
fn text_in_another_encoding_is_no_damage() {
    use parquet::basic::{Repetition, Type};
    use parquet::schema::types::Type as Field;
    let field = |name| {
        let field = Field::primitive_type_builder(name, Type::BYTE_ARRAY).with_repetition(Repetition::REQUIRED);
        Arc::new(field.build().unwrap())
    };
    let schema = Field::group_type_builder("table").with_fields(HEADINGS.map(field).to_vec()).build().unwrap();
    let mut writer =
        parquet::file::writer::SerializedFileWriter::new(Vec::new(), Arc::new(schema), Arc::default()).unwrap();
    let mut group = writer.next_row_group().unwrap();
    for cell in [&b"Pumpe S\xFCd"[..], b"1", b"2025-01-15", b"10", b"contact_offset", b"1.0", b""] {
        let mut column = group.next_column().unwrap().unwrap();
        column.typed::<ByteArrayType>().write_batch(&[ByteArray::from(cell.to_vec())], None, None).unwrap();
        column.close().unwrap();
    }
    group.close().unwrap();
    let source = Source::from_bytes("t.parquet", writer.into_inner().unwrap());
    let error = refused(inspections_from(&source, &Options::default()));
    let said = format!("{} {}", error.faults[0], error.faults[0].help.as_ref().unwrap());
    assert!(said.contains("engine: found text that is not UTF-8 (byte 0xFC)") && said.contains("`ü`"), "{said}");
    assert!(!said.contains("damaged"), "{said}");
}

#[test]
fn a_delivery_counts_once() {
    let read = |text: &str| history_from(&Source::from_bytes("h.csv", text.as_bytes()), 400, &Options::default());
    let error = refused(read("lot,outside\nA,0\nB,1\nA,0\n"));
    assert_eq!(error.faults[0].kind.code(), "duplicate-reading");
    assert!(error.to_string().contains("h.csv:4:1: lot: found delivery `A` again, to the letter"), "{error}");
    // Another finding under one name may be another delivery: it is read, and named.
    let loaded = read("lot,outside\nA,0\nB,1\nA,1\n").unwrap();
    assert_eq!(loaded.value.len(), 3);
    assert!(loaded.notices[0].text.contains("`A`"), "{:?}", loaded.notices);
}

#[test]
fn every_decimal_comma_of_a_document_is_told_once_and_the_rest_is_read_as_it_is_meant() {
    let text = "[material.steel]\nexpansion = 11,5e-6\n[[bay]]\nname = \"b\"\nspan = { nominal = 52,00, tol = 0,06 }\n\
                width = 1,883\n";
    let error = refused(stack_from(&Source::from_bytes("pack.toml", text.as_bytes())));
    let on = |line: usize| -> Vec<String> {
        let of_line = error.faults.iter().filter(|fault| fault.place.line() == Some(line));
        of_line.map(|fault| format!("{} {:?}", fault.message(), fault.help)).collect()
    };
    assert_eq!(on(5).len(), 2, "{error:#?}");
    assert!(on(5)[0].contains("found 52,00") && on(5)[1].contains("found 0,06"), "{error:#?}");
    // A key that nobody reads stays a mistake of its own.
    let width = on(6).join("\n");
    assert!(width.contains("1883 if it sets thousands apart") && width.contains("unknown key `width`"), "{width}");
}
