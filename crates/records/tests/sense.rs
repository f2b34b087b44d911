//! Records that make sense: what cannot be is refused with its line, what is unlikely is named and carried along, and hours go on over a
//! changed meter.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::float_cmp,
    reason = "a failed unwrap fails the test; hours are copied"
)]

use packdrift_records::{Error, FaultKind, InputError, Loaded, Options, Source, inspections_from};
use packdrift_trend::{Inspections, Unlikely};

const HEADER: &str = "engine,valve,date,hours,feature,value,event,group,old_meter,new_meter,confirmed\n";

fn read_on(rows: &str, today: Option<i32>) -> Result<Loaded<Inspections>, InputError> {
    let padded: String =
        rows.lines().map(|row| format!("{row}{}\n", ",".repeat(10 - row.matches(',').count()))).collect();
    let source = Source::from_bytes("inspections.csv", format!("{HEADER}{padded}").into_bytes());
    match inspections_from(&source, &Options { today, ..Options::default() }) {
        Ok(loaded) => Ok(loaded),
        Err(Error::Input(error)) => Err(error),
        Err(other) => panic!("{other}"),
    }
}

fn read(rows: &str) -> Loaded<Inspections> {
    read_on(rows, None).unwrap_or_else(|error| panic!("{error:#?}"))
}

fn faults(rows: &str) -> Vec<(FaultKind, String)> {
    read_on(rows, None).unwrap_err().faults.iter().map(|fault| (fault.kind, fault.to_string())).collect()
}

fn only_fault(rows: &str) -> (FaultKind, String) {
    let mut all = faults(rows);
    assert_eq!(all.len(), 1, "{all:#?}");
    all.remove(0)
}

fn said(loaded: &Loaded<Inspections>) -> String {
    loaded.notices.iter().map(|notice| format!("{}\n", notice.text)).collect()
}

// --- What cannot be ---

#[test]
fn an_engine_s_meter_does_not_fall_whatever_valve_is_read() {
    let (kind, said) = only_fault("E,v,2024-01-01,500,f,1\nE,v,2024-02-01,400,f,1\n");
    assert_eq!(kind, FaultKind::FallingHours);
    assert!(
        said.starts_with("inspections.csv:3:16: hours: found 400 h on 2024-02-01, after 500 h on 2024-01-01 (line 2)"),
        "{said}"
    );
    // All valves and features of an engine share its meter, and an event that is not `meter` changes no meter.
    assert_eq!(only_fault("E,v,2024-01-01,500,f,1\nE,w,2024-03-01,300,g,1\n").0, FaultKind::FallingHours);
    assert_eq!(only_fault("E,v,2024-01-01,500,f,1\nE,v,2024-03-01,300,f,1,replace\n").0, FaultKind::FallingHours);
    assert_eq!(only_fault("E,v,2024-01-01,500,f,1\nE,v,2024-03-01,300,f,1,inspect\n").0, FaultKind::FallingHours);
    // The order of the rows does not matter, and other engines have other meters.
    assert!(read_on("E,v,2024-02-01,500,f,1\nE,v,2024-01-01,400,f,1\n", None).is_ok());
    assert!(read_on("E,v,2024-01-01,500,f,1\nF,v,2024-02-01,400,f,1\n", None).is_ok());
    assert_eq!(only_fault("E,v,2024-01-01,-1,f,1\n").0, FaultKind::OutOfRange);
}

#[test]
fn a_day_has_24_hours() {
    // 24 hours a day from the morning of the one date to the night of the other: 24 * 32.
    assert!(read_on("E,v,2024-01-01,500,f,1\nE,v,2024-02-01,1268,f,1\n", None).is_ok());
    let (kind, said) = only_fault("E,v,2024-01-01,500,f,1\nE,w,2024-02-01,1268.5,f,1\n");
    assert_eq!(kind, FaultKind::ImpossibleHours);
    assert!(
        said.contains(":3:16: hours: found 1268.5 h on 2024-02-01, 31 days after 500 h on 2024-01-01 (line 2)"),
        "{said}"
    );
    assert!(said.contains("at most 768 h"), "{said}");
    // Daily visits cannot make up 48 hours a day among them.
    let rows: String = (1..=9).map(|day| format!("E,v,2024-01-0{day},{},f,1\n", 40 * day)).collect();
    assert!(faults(&rows).iter().all(|(kind, _)| *kind == FaultKind::ImpossibleHours));
}

#[test]
fn the_visit_that_contradicts_the_others_is_the_one_that_is_named() {
    let rows = "E,v,2024-01-01,1200,f,1\nE,v,2024-08-26,110848,f,1\nE,v,2025-01-01,3300,f,1\nE,v,2025-07-01,4400,f,1\n";
    let (kind, said) = only_fault(rows);
    assert_eq!(kind, FaultKind::ImpossibleHours);
    assert!(said.contains(":3:16: hours: found 110848 h") && said.contains("238 days after 1200 h"), "{said}");
    // The first of four: of the later ones none is wrong.
    let rows = "E,v,2024-01-01,12000,f,1\nE,v,2024-08-26,2100,f,1\nE,v,2025-01-01,3300,f,1\nE,v,2025-07-01,4400,f,1\n";
    let (kind, said) = only_fault(rows);
    assert_eq!(kind, FaultKind::FallingHours);
    assert!(said.contains(":2:16:") && said.contains("is 1200 h meant?"), "{said}");
    // Many rows of one visit are one mistake.
    let rows = "E,v,2024-01-01,500,f,1\nE,w,2024-01-01,500,f,1\nE,v,2024-02-01,400,f,1\nE,w,2024-02-01,400,f,1\n";
    assert!(only_fault(rows).1.contains("in 2 rows"), "{:?}", only_fault(rows));
}

#[test]
fn very_many_visits_that_contradict_each_other_are_told_in_no_time() {
    // 200 000 visits of one engine on one day: all but the first day's hours are too many.
    let rows: String = (0..200_000).map(|k| format!("E,v,2024-01-01,{k},f,1\n")).collect();
    let began = std::time::Instant::now();
    let error = read_on(&rows, None).unwrap_err();
    assert_eq!((error.total, error.faults[0].kind), (200_000 - 25, FaultKind::ImpossibleHours));
    assert!(began.elapsed().as_secs() < 60, "{:?}", began.elapsed());
}

/// Twelve visits of an engine half a year apart, at 500 h each.
fn twelve(engine: &str) -> String {
    (0..12)
        .map(|k| {
            format!(
                "{engine},v,{}-{:02}-15,{},f,{}\n",
                2018 + k / 2,
                1 + 6 * (k % 2),
                500 * (k + 1),
                1.0 + 0.02 * f64::from(k)
            )
        })
        .collect()
}

#[test]
fn a_date_that_leaps_out_of_its_neighbours_is_a_mistake_unless_it_is_confirmed() {
    let rows = twelve("E") + &twelve("F") + "E,v,2062-03-04,6600,f,1.3\n";
    let (kind, said) = only_fault(&rows);
    assert_eq!(kind, FaultKind::LeapingDate);
    assert!(said.contains(":26:5: date: found 2062-03-04"), "{said}");
    // A year of the others with one digit of it changed is no proof and may help.
    assert!(said.contains("2022-03-04 meant"), "{said}");
    let confirmed = twelve("E") + &twelve("F") + "E,v,2062-03-04,6600,f,1.3,,,,,yes\n";
    assert!(read_on(&confirmed, None).is_ok());
    // Back in time, and both ways at once.
    let rows = twelve("E") + &twelve("F") + "G,v,1924-03-04,0,f,1.0\nE,v,2062-03-04,6600,f,1.3\n";
    assert_eq!(faults(&rows).iter().map(|(kind, _)| *kind).collect::<Vec<_>>(), [FaultKind::LeapingDate; 2]);
}

#[test]
fn a_day_after_today_is_a_mistake_where_today_is_given() {
    let rows = twelve("E");
    // 2023-07-15 is day 19553.
    assert!(read_on(&rows, Some(19_553)).is_ok());
    let error = read_on(&rows, Some(19_552)).unwrap_err();
    assert_eq!((error.total, error.faults[0].kind), (1, FaultKind::FutureDate));
    assert!(error.faults[0].to_string().contains("expected a day up to today, 2023-07-14"), "{}", error.faults[0]);
    // Half of the file lies after it: one mistake, and no guess at another year of the records.
    let error = read_on(&rows, Some(19_300)).unwrap_err();
    let help = error.faults[0].help.clone().unwrap();
    assert_eq!((error.total, error.faults[0].kind), (1, FaultKind::FutureDate));
    assert!(help.contains("of 12 records are of later days: give a day from 2023-07-15 on"), "{help}");
}

// --- Several readings of one visit ---

#[test]
fn two_readings_of_one_visit_are_data_and_a_row_twice_is_a_slip() {
    let table = read("E,v,2024-01-01,500,f,1.01\nE,w,2024-01-01,500,f,1\nE,v,2024-01-01,500,f,1.02\n").value;
    assert_eq!(table.value, [1.01, 1.0, 1.02]);
    assert_eq!(table.visits(), [0, 0, 0]);
    let (kind, said) = only_fault("E,v,2024-01-01,500,f,1\nE,w,2024-01-01,500,f,1\nE,v,2024-01-01,500,f,1.00\n");
    assert_eq!(kind, FaultKind::DuplicateReading);
    assert!(said.contains(":4:16: hours: found the same row as line 2"), "{said}");
    // Read twice with the same result: the user says so, as often as it was.
    let rows = "E,v,2024-01-01,500,f,1\nE,v,2024-01-01,500,f,1,,,,,yes\nE,v,2024-01-01,500,f,1,,,,,yes\n";
    assert_eq!(read(rows).value.value.len(), 3);
    // As found and after the work; the after-work reading twice.
    let rows = "E,v,2024-01-01,500,f,1.4\nE,v,2024-01-01,500,f,1.4,reshim\nE,v,2024-01-01,500,f,1.01,reshim\n";
    assert!(read_on(rows, None).is_ok());
}

#[test]
fn a_reading_below_an_event_of_its_hour_is_taken_as_found_and_that_is_said() {
    let loaded = read("E,v,2024-01-01,500,f,1.4\nE,v,2024-01-01,500,f,1.0,reshim\nE,v,2024-01-01,500,f,1.02\n");
    assert!(said(&loaded).contains("line 4: read at the hour of an event that stands above"), "{}", said(&loaded));
}

// --- Meters ---

#[test]
fn hours_go_on_over_a_new_meter_whose_predecessor_s_last_reading_is_known() {
    let rows = "E,v,2024-01-01,8000,f,1.0\nE,w,2024-01-01,8000,f,1.0\n\
                E,v,2024-07-01,150,f,1.1,meter,,8900\nE,w,2024-07-01,150,f,1.1\nE,v,2025-01-01,1150,f,1.2\n";
    let loaded = read(rows);
    let table = &loaded.value;
    // 900 h on the old meter and 150 on the new lie between the first two visits.
    assert_eq!(table.hours, [-900.0, -900.0, 150.0, 150.0, 1150.0]);
    assert_eq!(table.read_hours, [8000.0, 8000.0, 150.0, 150.0, 1150.0]);
    assert_eq!((table.events.len(), table.event.as_slice()), (0, &[0; 5][..]));
    assert_eq!((table.meters[0].shift, table.meters[0].shift_sd), (-8900.0, 0.0));
    assert_eq!(said(&loaded), "");
    // A second-hand meter did not begin at 0.
    let rows = "E,v,2024-01-01,8000,f,1.0\nE,v,2024-07-01,5150,f,1.1,meter,,8900,5000\n";
    assert_eq!(read(rows).value.hours, [4100.0, 5150.0]);
    // Read on the old meter the same day, before it went out; two changes in a row; an event beside it.
    let rows = "E,v,2024-01-01,8000,f,1.0\nE,v,2024-07-01,8900,f,1.1\nE,v,2024-07-01,0,f,1.0,reshim + meter\n\
                E,v,2025-01-01,1000,f,1.2\nE,v,2025-01-01,3,f,1.2,meter,,1000,3\nE,v,2025-07-01,903,f,1.3\n";
    let table = read(rows).value;
    assert_eq!(table.hours, [-1897.0, -997.0, -997.0, 3.0, 3.0, 903.0]);
    assert_eq!(
        (table.events.as_slice(), table.event.as_slice()),
        (&["reshim".to_owned()][..], &[0, 0, 1, 0, 0, 0][..])
    );
}

#[test]
fn where_the_old_meter_s_last_reading_is_not_known_the_stretch_is_estimated_and_said() {
    // 5 h a day over 600 days, then 100 days unread.
    let rows = "E,v,2022-01-01,1000,f,1.0\nE,v,2022-07-20,2000,f,1.1\nE,v,2023-02-05,3000,f,1.2\nE,v,2023-08-24,4000,f,1.3\n\
                E,v,2023-12-02,120,f,1.4,meter\nE,v,2024-06-19,1120,f,1.5\n";
    let loaded = read(rows);
    let table = &loaded.value;
    let run = table.hours[4] - table.hours[3];
    assert!((run - 500.0).abs() < 1e-9, "{run}");
    assert_eq!(table.hours[4..], [120.0, 1120.0]);
    assert!(said(&loaded).contains("line 6: new hour meter") && said(&loaded).contains("500 ± "), "{}", said(&loaded));
    let sd = table.meters[0].shift_sd;
    // Equal stretches do not scatter; a changed one still has.
    assert!((0.0..500.0).contains(&sd), "{sd}");
    // Nothing tells how much the engine runs.
    let (kind, said) = only_fault("E,v,2023-08-24,4000,f,1.3\nE,v,2023-12-02,120,f,1.4,meter\n");
    assert_eq!(kind, FaultKind::MissingKey);
    assert!(said.contains("old_meter"), "{said}");
}

#[test]
fn what_is_said_of_a_meter_must_hold_together() {
    let (kind, said) = only_fault("E,v,2024-01-01,8000,f,1.0\nE,v,2024-07-01,150,f,1.1,meter,,7000\n");
    assert_eq!(kind, FaultKind::FallingHours);
    assert!(
        said.contains(
            "old_meter: found 7000 h at the old meter's end, expected at least the 8000 h read on it in line 2"
        ),
        "{said}"
    );
    let (kind, _) = only_fault("E,v,2024-01-01,8000,f,1.0\nE,v,2024-07-01,8150,f,1.1,,,8100\n");
    assert_eq!(kind, FaultKind::Contradiction);
    let rows =
        "E,v,2024-01-01,8000,f,1.0\nE,v,2024-07-01,150,f,1.1,meter,,8900\nE,w,2024-07-01,150,f,1.1,meter,,8800\n";
    assert_eq!(only_fault(rows).0, FaultKind::Contradiction);
    // 24 hours a day hold on both meters together: 3000 h on the old one and 2000 on the new in 182 days.
    let (kind, _) = only_fault("E,v,2024-01-01,8000,f,1.0\nE,v,2024-07-01,2000,f,1.1,meter,,11000\n");
    assert_eq!(kind, FaultKind::ImpossibleHours);
}

// --- What is merely unlikely ---

/// A fleet of steady valves, with one row of it changed.
fn fleet(change: impl Fn(&mut Vec<String>)) -> String {
    let mut rows = Vec::new();
    for engine in 0..6 {
        for k in 0..8 {
            let wobble = f64::from((engine * 7 + k * 5) % 9) * 0.005;
            let date = format!("{}-0{}-10", 2019 + k / 2, 1 + 6 * (k % 2));
            rows.push(format!(
                "E{engine},1 intake,{date},{},offset,{:.3},,intake",
                400 * (k + 1),
                0.9 + 0.03 * f64::from(k) + wobble
            ));
            rows.push(format!(
                "E{engine},1 intake,{date},{},wear,{:.3},,intake",
                400 * (k + 1),
                0.002 * f64::from(k * k) + wobble
            ));
        }
    }
    change(&mut rows);
    rows.join("\n")
}

fn doubts(rows: &str) -> Vec<(u32, Unlikely)> {
    read(rows).value.doubts.into_iter().map(|doubt| (doubt.row, doubt.why)).collect()
}

#[test]
fn a_sound_fleet_has_no_doubts() {
    let loaded = read(&fleet(|_| ()));
    assert_eq!((said(&loaded).as_str(), loaded.value.doubts.len()), ("", 0));
}

#[test]
fn a_slipped_point_inches_and_a_lost_sign_are_named_with_what_they_may_be() {
    for (row, value, why, meant) in [
        (14, "11.1", Unlikely::Times(10.0), "is 1.11 meant?"),
        (0, "0.0909", Unlikely::Times(0.1), "is 0.909 meant?"),
        (6, "985", Unlikely::Times(1000.0), "is 0.985 meant?"),
        (6, "0.0388", Unlikely::Times(1.0 / 25.4), "is 0.98552 meant?"),
        (6, "-0.985", Unlikely::Sign, "is 0.985 meant?"),
    ] {
        let rows = fleet(|rows| {
            let mut cells: Vec<&str> = rows[row].split(',').collect();
            cells[5] = value;
            rows[row] = cells.join(",");
        });
        assert_eq!(doubts(&rows), [(row as u32, why)], "{value}");
        let said = said(&read(&rows));
        assert!(
            said.contains(&format!("line {}: offset of engine `E0`, valve `1 intake`: {value} ", row + 2)),
            "{said}"
        );
        assert!(said.contains(meant), "{said}");
        // Confirmed, it stands.
        let confirmed = rows
            .lines()
            .enumerate()
            .map(|(k, line)| if k == row { format!("{line},,,yes\n") } else { format!("{line}\n") });
        assert_eq!(doubts(&confirmed.collect::<String>()), []);
    }
}

#[test]
fn names_that_differ_by_capitals_alone_are_named() {
    let rows = fleet(|rows| {
        rows[2] = rows[2].replacen("E0", "e0", 1);
        rows[20] = rows[20].replacen("1 intake", "1 Intake", 1);
    });
    let table = read(&rows).value;
    assert_eq!(table.engines.len(), 7);
    let named: Vec<_> = table.doubts.iter().map(|doubt| (doubt.row, doubt.why.clone())).collect();
    assert_eq!(named, [(2, Unlikely::Name("E0".to_owned())), (20, Unlikely::Name("1 intake".to_owned()))]);
    let said = said(&read(&rows));
    assert!(said.contains("line 4: engine `e0` stands beside `E0`"), "{said}");
    assert!(said.contains("line 22: valve `1 Intake` of engine `E1` stands beside `1 intake`"), "{said}");
}

#[test]
fn a_visit_long_after_the_others_is_named() {
    let rows = twelve("E") + &twelve("F") + "F,v,2027-07-15,6600,f,1.3\n";
    let table = read(&rows).value;
    assert_eq!(table.doubts.len(), 1);
    assert!(matches!(table.doubts[0].why, Unlikely::FarVisit(days) if days == 4 * 365 + 1), "{:?}", table.doubts);
    assert!(said(&read(&rows)).contains("visited on 2027-07-15, 4.0 years from its other visits"));
}

#[test]
fn a_slip_in_an_event_is_named_because_it_makes_new_parts() {
    // Taken at its word it would be new parts; so it is refused, and the word that is meant is named.
    let (kind, said) = only_fault("E,v,2024-01-01,500,f,1.4\nE,v,2024-01-01,500,f,1.0,re-shim\n");
    assert_eq!(kind, FaultKind::UnknownName);
    assert!(said.contains("\"re-shim\""), "{said}");
    let loaded = read("E,v,2024-01-01,500,f,1.4\nE,v,2024-02-01,600,f,1.0,overhaul\n");
    assert_eq!(loaded.notices, []);
}

#[test]
fn only_yes_and_no_confirm() {
    let (kind, said) = only_fault("E,v,2024-01-01,500,f,1.4,,,,,checked\n");
    assert_eq!(kind, FaultKind::UnknownName);
    assert!(said.contains("\"checked\""), "{said}");
}
