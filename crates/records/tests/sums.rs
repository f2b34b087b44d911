//! The table of sums: read in any order, refused with every mistake in its place; and what `check` says of tables.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed unwrap fails the test")]

use packdrift_records::{Error, FaultKind, FileKind, Options, Source, check, sums_from};

const HEADER: &str = "engine,valve,feature,group,segment,start_hours,last_hours,readings,mean_hours,mean_value,hours_squares,products,value_squares\n";

fn source(rows: &[&str]) -> Source {
    Source::from_bytes("sums.csv", format!("{HEADER}{}\n", rows.join("\n")).into_bytes())
}

const RIGHT: [&str; 4] = [
    "P2,1,contact_offset,intake,1,0,1000,3,500,1.01,500000,10,0.0003",
    "P1,1,contact_offset,,2,2100,2100,1,0,1.0,0,0,0",
    "P1,1,contact_offset,exhaust,1,100,2000,4,800,1.02,2000000,-40,0.001",
    "P1,1,stem_wear,exhaust,1,100,2000,4,800,0.02,2000000,40,0.001",
];

#[test]
fn rows_may_stand_in_any_order_and_a_valves_group_holds_for_all_its_rows() {
    let read = |rows: &[&str]| sums_from(&source(rows), &Options::default()).unwrap().value;
    let sums = read(&RIGHT);
    assert_eq!(sums.engines, ["P1", "P2"]);
    assert_eq!(sums.groups, ["exhaust", "intake"]);
    assert_eq!(sums.group, [2, 1, 1, 1]);
    assert_eq!((sums.segment[1], sums.start_hours[1], sums.readings[2]), (2, 2100.0, 4));
    let mut turned = RIGHT;
    turned.reverse();
    let turned = read(&turned);
    assert_eq!((&turned.engines, &turned.valves, &turned.features), (&sums.engines, &sums.valves, &sums.features));
    assert_eq!(turned.valve.iter().rev().copied().collect::<Vec<_>>(), sums.valve);
}

#[test]
fn sums_that_no_readings_can_have_are_refused_each_in_its_place() {
    let rows = [
        "P1,1,f,,0,0,1000,3,500,1.01,500000,10,0.0003",
        "P1,1,f,,1,500,400,3,0,1.01,500000,10,0.0003",
        "P1,2,f,,1,0,1000,0,500,1.01,500000,10,0.0003",
        "P1,3,f,,1,0,1000,3,1500,1.01,500000,10,0.0003",
        "P1,4,f,,1,0,1000,3,500,1.01,-1,0,0.0003",
        "P1,5,f,,1,0,1000,3,500,1.01,500000,13,0.0003",
        "P1,6,f,,1,0,1000,3,500,1.01,500000,10,0.0003",
        "P1,6,f,,1,0,1000,3,500,1.02,500000,10,0.0003",
        "P1,7,f,a,1,0,1000,3,500,1.02,500000,10,0.0003",
        "P1,7,f,b,2,1000,2000,3,500,1.02,500000,10,0.0003",
    ];
    let Err(Error::Input(error)) = sums_from(&source(&rows), &Options::default()) else { panic!("not refused") };
    let found: Vec<(Option<usize>, &str)> =
        error.faults.iter().map(|fault| (fault.place.line(), fault.key.as_str())).collect();
    let expected = [
        (2, "segment"),
        (3, "last_hours"),
        (4, "readings"),
        (5, "mean_hours"),
        (6, "hours_squares"),
        (7, "products"),
        (9, "segment"),
        (11, "group"),
    ];
    assert_eq!(found, expected.map(|(line, key)| (Some(line), key)));
    assert!(error.faults[6].to_string().contains("line 8"), "{}", error.faults[6]);
}

#[test]
fn check_tells_what_each_table_is() {
    let folder = tempfile::tempdir().unwrap();
    let checked = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        check(&path, &Options::default()).unwrap()
    };
    let sums = checked("sums.csv", &format!("{HEADER}{}\n", RIGHT.join("\n")));
    assert_eq!(sums.kind, Some(FileKind::Sums));
    assert_eq!(sums.holds, "12 readings in 4 segments of 2 valves of 2 engines");
    let demand =
        checked("demand.csv", "name,rate_per_day,correction,sd\n1 exhaust,0.01,-0.4,0.03\n2 intake,0.01,0.2,0.03\n");
    assert_eq!(demand.kind, Some(FileKind::Demand));
    assert_eq!(demand.holds, "2 rows, 7.3 jobs a year");
    let wrong = checked("wrong.csv", "name,rate_per_day,correction,sd\n1 exhaust,-0.01,-40,0.03\n");
    assert_eq!((wrong.kind, wrong.total), (Some(FileKind::Demand), 2));
}

#[test]
fn a_slip_in_a_column_s_name_is_one_mistake() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("readings.csv");
    std::fs::write(&path, "lot,part,Raeding\nA,1,0.4\nA,2,0.401\n").unwrap();
    let checked = check(&path, &Options::default()).unwrap();
    assert_eq!(checked.kind, Some(FileKind::Readings));
    assert_eq!(checked.total, 1, "{:?}", checked.faults);
    assert_eq!(checked.faults[0].kind, FaultKind::UnknownColumn);
    assert!(checked.faults[0].help.as_deref().unwrap().contains("`reading`"));
}

#[test]
fn broken_toml_is_told_even_where_its_keys_are_not_known() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notes.toml");
    std::fs::write(&path, "colour = \"red\"\nheight = = 3\nwidth = 4\ndepth = 2\n").unwrap();
    let checked = check(&path, &Options::default()).unwrap();
    let kinds: Vec<(FaultKind, Option<usize>)> =
        checked.faults.iter().map(|fault| (fault.kind, fault.place.line())).collect();
    assert!(kinds.contains(&(FaultKind::UnknownFormat, None)), "{kinds:?}");
    assert!(kinds.contains(&(FaultKind::Syntax, Some(2))), "{kinds:?}");
}
