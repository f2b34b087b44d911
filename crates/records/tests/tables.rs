//! Inspection records in every format, and every mistake in them.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed unwrap fails the test")]

mod support;

use packdrift_records::{
    Error, FaultKind, InputError, LengthUnit, Loaded, Options, Place, Source, Study, demand_from, drawer_from,
    history_from, inspections_from, read_inspections, readings_from, sample_from,
};
use packdrift_trend::Inspections;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use support::{parquet, sheet, workbook};

const HEADER: &str = "engine,valve,date,hours,feature,value,event,group\n";

fn read(rows: &str) -> Result<Inspections, InputError> {
    let source = Source::from_bytes("inspections.csv", format!("{HEADER}{rows}").into_bytes());
    match inspections_from(&source, &Options::default()) {
        Ok(loaded) => Ok(loaded.value),
        Err(Error::Input(error)) => Err(error),
        Err(other) => panic!("{other}"),
    }
}

fn only_fault(rows: &str) -> (FaultKind, String) {
    let error = read(rows).unwrap_err();
    let [fault] = &error.faults[..] else { panic!("{rows}: {error:#?}") };
    (fault.kind, fault.to_string())
}

#[test]
fn three_formats_give_one_table() {
    let folder = tempfile::tempdir().unwrap();
    let rows: Vec<[&str; 8]> = vec![
        ["E01", "0012", "2021-03-04", "1200", "contact_offset", "1.013", "", "intake"],
        ["E01", "0012", "2022-03-04", "3310.5", "contact_offset", "1.071", "inspect", "intake"],
        ["E01", "12", "2022-03-04", "3310.5", "stem_wear", "0.012", "", "exhaust"],
        ["E02", "1 µ", "2023-01-31", "99", "contact_offset", "-0.4", "reshim", ""],
    ];
    let text: String = rows.iter().map(|row| row.join(",") + "\n").collect();
    let (csv, xlsx, parquet_path) =
        (folder.path().join("t.csv"), folder.path().join("t.xlsx"), folder.path().join("t.parquet"));
    std::fs::write(&csv, format!("{HEADER}{text}")).unwrap();
    sheet(&xlsx, HEADER.trim(), &rows);
    parquet(&parquet_path, HEADER.trim(), &rows);
    let [from_csv, from_xlsx, from_parquet] = [&csv, &xlsx, &parquet_path].map(|path| {
        let mut table = read_inspections(path, &Options::default()).unwrap().value;
        table.line = Vec::new();
        table
    });
    assert_eq!(from_csv.valves, [(0, "0012".to_owned()), (0, "12".to_owned()), (1, "1 µ".to_owned())]);
    assert_eq!(from_csv.events, ["reshim"]);
    assert_eq!(from_csv.event, [0, 0, 0, 1]);
    assert_eq!(from_csv.group, [1, 1, 2, 0]);
    assert_eq!(from_csv, from_xlsx);
    assert_eq!(from_csv, from_parquet);
}

#[test]
fn readings_of_a_format_without_lines_are_numbered_by_rows() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("r.parquet");
    support::parquet_of(
        &path,
        &[("lot", &["a", "a", "b"]), ("part", &["1", "2", "1"])],
        ("reading", &[0.4, 0.41, 0.39]),
    );
    let readings = packdrift_records::read_readings(
        &path,
        Study::Lots,
        packdrift_records::LengthUnit::Millimetre,
        &Options::default(),
    );
    let readings = readings.unwrap().value;
    // What `lot`, `gauge` and `sampling` ask of any table before they look at it.
    readings.check().unwrap();
    assert_eq!(readings.line, [1, 2, 3]);
}

#[test]
fn thirty_faults_in_one_file_are_thirty_errors_each_in_its_place() {
    let text = include_str!("fixtures/thirty-faults.csv");
    let source = Source::from_bytes("thirty-faults.csv", text.as_bytes());
    let Err(Error::Input(error)) = inspections_from(&source, &Options::default()) else { panic!("taken as right") };
    assert_eq!(error.total, 30);
    // Each faulty row says in its engine's name which sort it is and in which column.
    let mut wanted: Vec<(usize, &str, usize)> = Vec::new();
    for (line, row) in (1..).zip(text.lines()) {
        if let Some((code, rest)) = row.strip_prefix("wrong ").and_then(|rest| rest.split_once(" at ")) {
            wanted.push((line, code, rest.split([' ', ',']).next().unwrap().parse().unwrap()));
        }
    }
    assert_eq!(wanted.len(), 30);
    let found: Vec<(usize, &str, usize)> = error
        .faults
        .iter()
        .map(|fault| (fault.place.line().unwrap(), fault.kind.code(), fault.place.column().unwrap()))
        .collect();
    for (found, wanted) in found.iter().zip(&wanted) {
        assert_eq!(found, wanted, "{}", text.lines().nth(wanted.0 - 1).unwrap());
    }
}

#[test]
fn a_valve_is_of_one_group_and_rows_need_not_repeat_it() {
    let table = read("E,v,2024-01-01,1,f,1,,\nE,v,2024-01-02,2,f,1,,intake\nE,w,2024-01-02,2,f,1,,\n").unwrap();
    assert_eq!(table.group, [1, 1, 0]);
    let (kind, said) = only_fault("E,v,2024-01-01,1,f,1,,intake\nE,v,2024-01-02,2,f,1,,exhaust\n");
    assert_eq!(kind, FaultKind::Contradiction);
    assert!(said.contains("\"intake\", the group of this valve in line 2"), "{said}");
}

#[test]
fn other_encodings_and_other_formats_are_named() {
    let refused = |bytes: &[u8]| {
        let Err(Error::Input(error)) = inspections_from(&Source::from_bytes("t.csv", bytes), &Options::default())
        else {
            panic!("taken as right")
        };
        (error.faults[0].kind, error.faults[0].to_string())
    };
    let (kind, said) = refused(b"engine,valve\nE,\xB5\n");
    assert_eq!(kind, FaultKind::WrongEncoding);
    assert!(said.contains("t.csv:2:3: found byte 0xB5 (byte 16 of the file)") && said.contains("`µ`"), "{said}");
    let utf16: Vec<u8> = "engine,valve\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert!(refused(&utf16).1.contains("UTF-16"));
    assert_eq!(refused(b"\xD0\xCF\x11\xE0\xA1\xB1").0, FaultKind::UnknownFormat);
    assert!(refused(b"\x1F\x8B\x08").1.contains("unpack"));
    assert_eq!(refused(b"PAR1 and nothing more").0, FaultKind::UnknownFormat);
    assert_eq!(refused(b"PK\x03\x04 and nothing more").0, FaultKind::UnknownFormat);
    assert_eq!(refused(HEADER.as_bytes()).0, FaultKind::EmptyFile);
    assert_eq!(refused(b"# nothing\n\n").0, FaultKind::EmptyFile);
    let (kind, said) =
        refused(b"engine;valve;date;hours;feature;value\nE;v;2024-01-01;1;f;0,402\nE;v;2024-01-01;1;f;0.4\n");
    assert_eq!(kind, FaultKind::DecimalComma);
    assert!(
        said.contains("a number with a decimal point, as in the other cells") || said.contains("decimal comma"),
        "{said}"
    );
}

#[test]
fn a_file_that_is_not_there_is_the_users_to_mend_and_its_neighbour_is_named() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("inspections.csv"), HEADER).unwrap();
    let Err(Error::Input(error)) = read_inspections(&folder.path().join("inspection.csv"), &Options::default()) else {
        panic!("there is no such file")
    };
    assert_eq!(error.faults[0].kind, FaultKind::NoSuchFile);
    assert!(error.faults[0].help.as_deref().unwrap().contains("inspections.csv"));
    let Err(Error::Input(error)) = read_inspections(folder.path(), &Options::default()) else {
        panic!("it is a folder")
    };
    assert_eq!(error.faults[0].kind, FaultKind::NotAFile);
}

#[test]
fn cells_of_a_workbook_are_named_as_it_names_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("t.xlsx");
    workbook(&path);
    let Err(Error::Input(error)) = read_inspections(&path, &Options::default()) else { panic!("taken as right") };
    let said: Vec<(FaultKind, String)> = error.faults.iter().map(|fault| (fault.kind, fault.location())).collect();
    let at = |cell: &str| format!("{}: inspections!{cell}", path.display());
    assert_eq!(
        said,
        [(FaultKind::FormulaCell, at("E4")), (FaultKind::NotANumber, at("G5")), (FaultKind::WrongType, at("B7")),]
    );
}

#[test]
fn nan_and_null_in_parquet_are_told_by_their_rows() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("t.parquet");
    support::parquet_with_gaps(&path);
    let Err(Error::Input(error)) = read_inspections(&path, &Options::default()) else { panic!("taken as right") };
    let said: Vec<_> = error.faults.iter().map(|fault| (fault.kind, fault.place.clone(), fault.key.as_str())).collect();
    assert_eq!(
        said,
        // Nothing was read in row 3, which is no mistake.
        [(FaultKind::NotFinite, Place::Row { row: 2 }, "value")]
    );
}

#[test]
fn reading_ends_when_it_is_called_off() {
    let options = Options { cancel: Some(Arc::new(AtomicBool::new(true))), ..Options::default() };
    let source = Source::from_bytes("t.csv", format!("{HEADER}E,v,2024-01-01,1,f,1,,\n").into_bytes());
    assert!(matches!(inspections_from(&source, &options), Err(Error::Cancelled)));
}

#[test]
fn readings_of_lots_and_gauges() {
    let read = |text: &str, study| {
        readings_from(
            &Source::from_bytes("r.csv", text.as_bytes()),
            study,
            packdrift_records::LengthUnit::Inch,
            &Options::default(),
        )
    };
    let lots = read("lot,part,reading\nA,001,0.004\nB,001,0.016\n", Study::Lots).unwrap().value;
    // 0.004 in is 0.1016 mm, exactly.
    assert_eq!((lots.reading[0].to_string(), lots.parts.clone()), ("0.1016".to_owned(), vec!["001".to_owned()]));
    let gauge = read("part,operator,trial,reading\n1,Ann,1,0.1\n1,Ann,2,0.1\n", Study::Gauge).unwrap().value;
    assert_eq!((gauge.lots, gauge.trial), (vec!["all".to_owned()], vec![1, 2]));
    let Err(Error::Input(error)) = read("part,operator,trial,reading\n1,Ann,1,0.1\n1,Ann,1,0.2\n", Study::Gauge) else {
        panic!("taken as right")
    };
    assert_eq!(error.faults[0].kind, FaultKind::DuplicateReading);
    let Err(Error::Input(error)) = read("part,reading\n1,0.1\n", Study::Lots) else { panic!("taken as right") };
    assert_eq!(error.faults[0].kind, FaultKind::MissingColumn);
}

#[test]
fn a_file_of_another_kind_is_told_once_and_not_line_by_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("inspections.csv");
    std::fs::write(&path, format!("{HEADER}E01,1,2024-01-01,10,offset,1.0,,\n")).unwrap();
    let Err(Error::Input(error)) = packdrift_records::read_stack(&path) else { panic!("it is no pack") };
    assert_eq!((error.total, error.faults[0].kind), (1, FaultKind::OtherKind));
    let path = folder.path().join("pack.toml");
    std::fs::write(&path, "title = \"a pack\"\nunits = \"mm\"\n[[bay]]\nname = \"a\"\n").unwrap();
    let Err(Error::Input(error)) = read_inspections(&path, &Options::default()) else {
        panic!("they are no inspections")
    };
    assert_eq!((error.total, error.faults[0].kind), (1, FaultKind::OtherKind));
    assert!(error.faults[0].found.contains("pack file"), "{:?}", error.faults);
}

const NONE: [(usize, usize, String); 0] = [];

/// Line, column and message of each mistake of a table.
fn told<T>(read: Result<Loaded<T>, Error>) -> Vec<(usize, usize, String)> {
    match read {
        Ok(_) => Vec::new(),
        Err(Error::Input(error)) => error
            .faults
            .iter()
            .map(|fault| (fault.place.line().unwrap_or(0), fault.place.column().unwrap_or(0), fault.to_string()))
            .collect(),
        Err(other) => panic!("{other}"),
    }
}

fn table(text: &str) -> Source {
    Source::from_bytes("t.csv", text.as_bytes().to_vec())
}

#[test]
fn a_row_in_another_unit_than_the_table_is_refused() {
    let inspections = |heading: &str, first: &str, second: &str| {
        let text = format!(
            "engine,valve,date,hours,feature,value,{heading}\n\
             P01,1,2024-03-14,1883,contact_offset,1.02,{first}\n\
             P01,1,2024-09-14,2883,contact_offset,1.04,{second}\n"
        );
        told(inspections_from(&table(&text), &Options::default()))
    };
    for (first, second) in [("mm", "mm"), ("mm", ""), ("", ""), ("MM", "millimetres"), ("N", "N")] {
        assert_eq!(inspections("unit", first, second), NONE, "{first} and {second}");
    }
    for heading in ["unit", "Units", "UNIT", "unit of length"] {
        for other in ["in", "inch", "um", "µm", "h", "furlong", "25.4", "N"] {
            let told = inspections(heading, "mm", other);
            let [(3, 43, message)] = &told[..] else { panic!("{heading}, {other}: {told:?}") };
            assert!(message.contains(other) && message.contains("mm"), "{message}");
        }
    }
    // The whole column, too: nothing else says what is meant.
    assert_eq!(inspections("unit", "in", "in").len(), 2);
    // What is called a unit and is none is passed over, or is said to be none.
    assert_eq!(inspections("unit no", "7", "8"), NONE);
    let mut ignoring = Options::default();
    ignoring.tables.columns = vec![("ignore".to_owned(), "unit".to_owned())];
    let text = "engine,valve,date,hours,feature,value,unit\nP01,1,2024-03-14,1883,contact_offset,1.02,A7\n";
    assert_eq!(told(inspections_from(&table(text), &ignoring)), NONE);

    let (mm, inch) = (LengthUnit::Millimetre, LengthUnit::Inch);
    let lots = "lot,part,reading,unit\nA,1,0.02361,in\nA,2,0.02362,in\n";
    let lot = |units| told(readings_from(&table(lots), Study::Lots, units, &Options::default()));
    assert_eq!((lot(mm).len(), lot(inch)), (2, vec![]));
    assert!(lot(mm)[0].2.contains("--units in"), "{:?}", lot(mm));
    let pieces = "piece,thickness,count,unit\nS1,0.0157,5,in\n";
    let drawer = |units| told(drawer_from(&table(pieces), units, &Options::default()));
    assert_eq!((drawer(mm).len(), drawer(inch)), (1, vec![]));
    let jobs = "name,rate_per_day,correction,unit\na,0.1,0.004,in\n";
    assert_eq!(told(demand_from(&table(jobs), &Options::default())).len(), 1);
    let deliveries = |unit: &str| {
        let text = format!("lot,outside,unit\na,2,{unit}\n");
        told(history_from(&table(&text), 500, &Options::default())).len()
    };
    assert_eq!((deliveries("pcs"), deliveries("%")), (0, 1));
    assert_eq!(told(sample_from(&table(lots), "reading", mm)).len(), 2);
    assert_eq!(told(sample_from(&table(lots), "reading", inch)), NONE);
}

#[test]
fn a_second_column_in_another_unit_is_refused() {
    let text = "engine,valve,date,hours,feature,value,value (in)\nP01,1,2024-03-14,1883,contact_offset,1.02,0.0402\n";
    let said = told(inspections_from(&table(text), &Options::default()));
    let [(1, 39, message)] = &said[..] else { panic!("{said:?}") };
    assert!(message.contains("value (in)") && message.contains("--columns ignore"), "{message}");
    let mut options = Options::default();
    options.tables.columns = vec![("ignore".to_owned(), "value (in)".to_owned())];
    assert_eq!(told(inspections_from(&table(text), &options)), NONE);
}

#[test]
fn a_row_of_totals_is_no_reading_whatever_blanks_mean() {
    let text = |last: &str| {
        format!(
            "engine;valve;date;hours;feature;value\n\
             P01;v;2024-01-01;1500;contact_offset;1,01\n\
             P01;v;2024-02-01;1600;contact_offset;1,02\n{last}\n"
        )
    };
    let mut above = Options::default();
    above.tables.blanks_above = true;
    for last in ["Total;;;;;1,01", "P01;Mittelwert:;;;;1,01", "average;;;;;1,01"] {
        for options in [&above, &Options::default()] {
            let said = told(inspections_from(&table(&text(last)), options));
            assert!(matches!(&said[..], [(4, _, message)] if message.contains("a row of totals")), "{last}: {said:?}");
        }
    }
    assert_eq!(told(inspections_from(&table(&text(";;2024-03-01;1700;;1,03")), &above)), NONE);
}
