//! Workbooks, texts and other files that demand more than their few bytes promise: refused with the limit's name, in little memory and time.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed unwrap fails the test")]

use packdrift_records::{Error, FaultKind, InputError, LengthUnit, Options, Source, Study, limits};
use packdrift_records::{read_sample, readings_from, stack_from};
use std::io::{Cursor, Write};
use std::time::{Duration, Instant};
use zip::write::SimpleFileOptions;

const WORKBOOK: &str = r#"<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="readings" sheetId="1" r:id="rId1"/></sheets></workbook>"#;
const PACKAGE: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
const RELATIONS: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings" Target="sharedStrings.xml"/></Relationships>"#;
const HEADER: &str = r#"<row r="1"><c r="A1" t="inlineStr"><is><t>lot</t></is></c><c r="B1" t="inlineStr"><is><t>part</t></is></c><c r="C1" t="inlineStr"><is><t>reading</t></is></c></row>"#;
const ROW: &str =
    r#"<row r="2"><c r="A2" t="inlineStr"><is><t>a</t></is></c><c r="B2"><v>1</v></c><c r="C2"><v>0.4</v></c></row>"#;

/// A workbook of one sheet; `texts` are its shared strings' elements.
fn workbook(rows: &str, texts: Option<&str>) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let mut part = |name: &str, text: &str| {
        archive.start_file(name, SimpleFileOptions::default()).unwrap();
        archive.write_all(text.as_bytes()).unwrap();
    };
    part("_rels/.rels", PACKAGE);
    part("xl/workbook.xml", WORKBOOK);
    part("xl/_rels/workbook.xml.rels", RELATIONS);
    part("xl/worksheets/sheet1.xml", &format!("<worksheet><sheetData>{rows}</sheetData></worksheet>"));
    if let Some(texts) = texts {
        part("xl/sharedStrings.xml", texts);
    }
    archive.finish().unwrap().into_inner()
}

fn read(bytes: Vec<u8>) -> Result<usize, InputError> {
    let begin = Instant::now();
    let source = Source::from_bytes("w.xlsx", bytes);
    let read = readings_from(&source, Study::Lots, LengthUnit::Millimetre, &Options::default());
    assert!(begin.elapsed() < Duration::from_secs(60), "took {:?}", begin.elapsed());
    match read {
        Ok(loaded) => Ok(loaded.value.reading.len()),
        Err(Error::Input(error)) => Err(error),
        Err(other) => panic!("{other}"),
    }
}

fn too_large(bytes: Vec<u8>, says: &str) {
    let error = read(bytes).unwrap_err();
    assert_eq!(error.faults[0].kind, FaultKind::TooLarge, "{error}");
    assert!(error.to_string().contains(says), "{error}");
}

#[test]
fn a_plain_workbook_is_read() {
    assert_eq!(read(workbook(&format!("{HEADER}{ROW}"), None)), Ok(1));
}

#[test]
fn a_cell_in_the_last_corner_costs_no_more_than_a_cell() {
    let corner = r#"<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>"#;
    let error = read(workbook(&format!("{HEADER}{ROW}{corner}"), None)).unwrap_err();
    // It stands below no name; the message says where.
    assert!(error.to_string().contains("readings!XFD1"), "{error}");
    // Beyond the corner there is nothing.
    let beyond = r#"<row r="1048577"><c r="A1048577"><v>1</v></c></row>"#;
    too_large(workbook(&format!("{HEADER}{ROW}{beyond}"), None), "at most 1048576 rows");
}

#[test]
fn a_workbook_that_unpacks_to_gigabytes_is_refused() {
    let blank = " ".repeat(1 << 20);
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for name in ["xl/worksheets/sheet1.xml", "xl/media/a.bin", "xl/media/b.bin"] {
        archive.start_file(name, SimpleFileOptions::default()).unwrap();
        for _ in 0..100 {
            archive.write_all(blank.as_bytes()).unwrap();
        }
    }
    too_large(archive.finish().unwrap().into_inner(), "256 MiB unpacked");
}

#[test]
fn lists_of_a_workbook_are_small_and_each_sheet_is_a_part() {
    let written = |name: &str, text: &str| {
        let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
        archive.start_file(name, SimpleFileOptions::default()).unwrap();
        archive.write_all(text.as_bytes()).unwrap();
        archive.start_file("xl/worksheets/sheet1.xml", SimpleFileOptions::default()).unwrap();
        archive.finish().unwrap().into_inner()
    };
    for name in ["xl/styles.xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels"] {
        too_large(written(name, &"<xf/>".repeat(4 << 20)), "16 MiB of styles");
    }
    let sheets = r#"<sheet name="a" sheetId="1" r:id="rId1"/>"#.repeat(30);
    too_large(written("xl/workbook.xml", &sheets), "lists 30 sheets and holds 1");
}

#[test]
fn texts_that_a_workbook_only_claims_to_have_get_no_room() {
    for claim in ["99999999999", "18446744073709551615", "4000001"] {
        let texts = format!(r#"<sst count="1" uniqueCount="{claim}"><si><t>a</t></si></sst>"#);
        too_large(workbook(&format!("{HEADER}{ROW}"), Some(&texts)), "different texts");
    }
}

#[test]
fn a_shared_formula_of_a_vast_number_gets_no_room() {
    let shared = r#"<c r="C2"><f t="shared" ref="C2:C3" si="99999999999">B2</f><v>0.4</v></c>"#;
    let row = ROW.replace(r#"<c r="C2"><v>0.4</v></c>"#, shared);
    assert_eq!(read(workbook(&format!("{HEADER}{row}"), None)), Ok(1));
}

#[test]
fn a_toml_file_of_many_megabytes_or_deep_tables_is_refused() {
    let whole = |text: String| match stack_from(&Source::from_bytes("p.toml", text.into_bytes())) {
        Err(Error::Input(error)) => error,
        _ => panic!("accepted"),
    };
    let error = whole(format!("title = \"{}\"", "x".repeat(limits::TOML_BYTES)));
    assert_eq!(error.faults[0].kind, FaultKind::TooLarge);
    for deep in [
        vec!["a"; 500_000].join("."),
        "[".repeat(500_000),
        format!("a = {}", "[".repeat(500_000)),
        format!("a = {}", "{a=".repeat(500_000)),
    ] {
        whole(format!("{deep} = 1"));
    }
}

#[test]
fn a_sample_of_numbers_beyond_all_lengths_is_refused_not_overflowed() {
    let folder = tempfile::tempdir().unwrap();
    for (name, rows) in [("huge", "-1e155\n-1e155\n2e155\n"), ("negative", "-0.4\n-0.5\n-0.6\n"), ("zero", "0\n0\n0\n")]
    {
        std::fs::write(folder.path().join("lot.csv"), format!("reading\n{rows}")).unwrap();
        let pack = "[[bay]]\nname = \"b\"\nspan = 1.0\n[[bay.part]]\nname = \"p\"\nkind = \"shim\"\nthickness = { sample = \"lot.csv\" }\n\
                    [[requirement]]\nname = \"r\"\nquantity = \"play\"\nlower = 0.0\n";
        std::fs::write(folder.path().join("pack.toml"), pack).unwrap();
        let read = packdrift_records::read_stack(&folder.path().join("pack.toml"));
        let Err(Error::Input(error)) = read else { panic!("{name}: accepted") };
        assert!(error.to_string().contains("thickness"), "{name}: {error}");
        assert!(
            read_sample(&folder.path().join("lot.csv"), "reading", LengthUnit::Millimetre).is_ok() || name == "huge"
        );
    }
}

#[test]
fn the_page_on_files_names_the_limits_that_hold() {
    let page = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/files.md")).unwrap();
    let (_, section) = page.split_once("## Limits").unwrap();
    let (section, _) = section.split_once("\n## ").unwrap();
    let mebibytes = |bytes: u64| format!("{} MiB", bytes >> 20);
    let spaced = |number: usize| {
        let digits = number.to_string();
        let groups: Vec<&str> =
            digits.as_bytes().rchunks(3).rev().map(|group| std::str::from_utf8(group).unwrap()).collect();
        groups.join(" ")
    };
    for (what, limit) in [
        ("a file", mebibytes(limits::FILE_BYTES)),
        ("what a pipe brings, or a file that tells no length", mebibytes(limits::PIPE_BYTES)),
        ("a TOML file", mebibytes(limits::TOML_BYTES as u64)),
        ("signs `. = [ { ,` in a TOML file", spaced(limits::TOML_SIGNS)),
        ("inputs of a result that is replayed", spaced(limits::INPUTS)),
        ("rows of a table", format!("{}; of a Parquet file {},", spaced(limits::ROWS), spaced(limits::PARQUET_ROWS))),
        ("columns of a table", spaced(limits::COLUMNS)),
        ("a name, or another text in a cell or a TOML file", format!("{} letters", spaced(limits::LETTERS))),
        ("cells of a sheet that hold something", spaced(limits::CELLS)),
        ("a workbook unpacked", format!("{}, or {} times", mebibytes(limits::UNPACKED_BYTES), limits::UNPACKED_TIMES)),
        ("different texts in a workbook", spaced(limits::WORKBOOK_TEXTS)),
        ("new hour meters of one engine", spaced(limits::METERS)),
        (
            "styles, list of sheets, and each list of relations of a workbook, unpacked",
            mebibytes(limits::WORKBOOK_LISTS),
        ),
        (
            "a Parquet file unpacked",
            format!("{}, or {} times", mebibytes(limits::UNPACKED_BYTES), limits::UNPACKED_TIMES),
        ),
        ("lots of a table of readings", spaced(limits::LOTS)),
        ("tables of one name in a TOML file (`[[window]]`, `[[lot]]`)", spaced(limits::TABLES)),
        ("bays of a pack", spaced(limits::BAYS)),
        ("parts of a bay", spaced(limits::PARTS)),
        ("dimensions of a pack", spaced(limits::DIMENSIONS)),
        ("requirements of a pack, each condition counted", spaced(limits::REQUIREMENTS)),
        ("correlations of a pack", spaced(limits::CORRELATIONS)),
        ("folders below each other in which `replay` looks for inputs", limits::SEARCH_DEEP.to_string()),
        ("names that it looks at, in each folder and those below it", spaced(limits::SEARCH_NAMES)),
        ("bytes of the files that it looks at", mebibytes(limits::SEARCH_BYTES)),
    ] {
        assert!(section.contains(&format!("| {what} | {limit}")), "{what}: {limit}");
    }
}

#[test]
fn more_lots_than_a_person_can_look_at_are_refused() {
    let text = (0..=limits::LOTS).fold("lot,part,reading\n".to_owned(), |text, k| text + &format!("{k},1,0.6\n"));
    let source = Source::from_bytes("readings.csv", text.into_bytes());
    let refused = readings_from(&source, Study::Lots, LengthUnit::Millimetre, &Options::default()).unwrap_err();
    let words = refused.to_string();
    assert!(words.contains("200001 lots") && words.contains("200000"), "{words}");
}

#[test]
fn a_small_file_of_many_mistakes_is_refused_before_it_is_parsed() {
    let folder = tempfile::tempdir().unwrap();
    for text in ["=\n".repeat(1_900_000), (0..150_000).map(|k| format!("[a{k}.a.a.a.a.a.a]\n")).collect()] {
        let path = folder.path().join("many.toml");
        std::fs::write(&path, text).unwrap();
        let Err(Error::Input(error)) = packdrift_records::read_stack(&path) else { panic!("accepted") };
        assert!(error.to_string().contains("at most 500000"), "{error}");
    }
}
