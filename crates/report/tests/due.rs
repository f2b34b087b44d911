//! The plan rendered from hand-made results: names from outside that try to break out, empty fleets, and what each form must hold.
#![allow(clippy::unwrap_used)] // a failed rendering is a failed test

mod common;

use packdrift_due::{
    Cause, Correction, CostPoint, Criterion, DemandStep, DueResult, EngineDue, EngineStatus, Interval, Month, NoDate,
    Plan, PlannedWindow, Usage, UsageSource, ValveWork,
};
use packdrift_report::due;

/// 2026-10-29.
const TODAY: i32 = 20_755;

fn valve(name: &str, correction: Option<Correction>) -> ValveWork {
    ValveWork {
        valve: name.into(),
        chance_then: 0.12,
        chance_by_following: 0.76,
        causes: vec![Cause { feature: "contact_offset".into(), chance: 0.7 }],
        renew: if correction.is_none() { vec!["stem_wear".into()] } else { Vec::new() },
        correction,
    }
}

fn engine(name: &str, due: Option<i32>, status: EngineStatus, window: Option<usize>) -> EngineDue {
    let usage = Usage {
        hours_a_week: 42.5,
        standard_error: 1.8,
        variance_a_day: 9.0,
        source: UsageSource::Meter,
        measured: None,
    };
    EngineDue {
        engine: name.into(),
        last_day: TODAY - 60,
        last_hours: 8000.0,
        hours: 8364.0,
        hours_sd: 25.0,
        usage: due.map(|_| usage),
        valves: 4,
        not_read: false,
        chance_now: 0.02,
        chance_by_horizon: 0.4,
        first_valve: "1 exhaust".into(),
        due_hours: due.map(|_| 9000.0),
        due,
        no_date: due.is_none().then_some(NoDate::UsageUnknown),
        status,
        window,
        at_once: false,
        done: TODAY + 130,
        chance_then: 0.3,
        work: vec![
            valve("1 exhaust", Some(Correction { mean: -0.61, sd: 0.023, expected: 1.61, target: 1.0 })),
            valve("2 intake", None),
        ],
        curve: Vec::new(),
    }
}

fn result(engines: Vec<EngineDue>) -> DueResult {
    let inside = (0..engines.len()).filter(|e| engines[*e].window == Some(0)).collect();
    let point = |hours, cost, chance| CostPoint { hours, cost, chance };
    DueResult {
        today: TODAY,
        risk: 0.05,
        horizon: 2000.0,
        offset_feature: "contact_offset".into(),
        unit: "mm".into(),
        valves: engines.iter().map(|e| e.valves).sum(),
        engines,
        plan: Plan {
            criterion: Criterion::Cost,
            windows: vec![PlannedWindow {
                start: TODAY + 123,
                end: TODAY + 134,
                capacity: 6,
                engines: inside,
                worth_of_a_place: 6.1,
                demand: vec![DemandStep { from: -0.65, to: -0.6, expected: 0.67 }],
            }],
            end: TODAY + 460,
            expected_cost: Some(21_800.0),
            days_beyond: 41.0,
            expected_late: 4.0,
            expected_late_undone: 16.3,
        },
        months: (0..4)
            .map(|k| Month { day: TODAY + 30 * k, valves: 3.0 + f64::from(k), engines: 2.0, valves_with_plan: 1.0 })
            .collect(),
        intervals: vec![Interval {
            valves: "2 exhaust, 2 intake".into(),
            engines: 24,
            cheapest: Some(point(6000.0, 32.0, 0.01)),
            run_to_failure: Some(258.0),
            at_risk: Some(7270.0),
            curve: (1..=60).map(|k| point(250.0 * f64::from(k), 32.0 + 2e4 / f64::from(k * k), 0.01)).collect(),
        }],
        warnings: Vec::new(),
    }
}

const HOSTILE: &str = "P1;B,\r\nEND:VEVENT\n<script>\"&\u{1b}[31m";

#[test]
fn names_from_outside_stay_names() {
    let mut late = engine(HOSTILE, Some(TODAY - 3), EngineStatus::Overdue, Some(0));
    late.work[0].valve = "1 <b>;\nUID:x".into();
    let result = result(vec![late, engine("P02", None, EngineStatus::InWindow, None)]);
    let html = due::page(&common::envelope("due"), &result).unwrap();
    assert!(!html.contains("<script") && !html.contains("<b>") && html.contains("&lt;script&gt;"));
    assert!(!due::text(&result).contains('\u{1b}'));
    let calendar = due::icalendar(&result);
    let whole = calendar.replace("\r\n ", "");
    assert_eq!(whole.matches("END:VEVENT\r\n").count(), 2);
    assert_eq!(whole.matches("\r\nUID:").count(), 2);
    assert!(whole.contains(r"P1\;B\,"), "{whole}");
    assert!(calendar.split("\r\n").all(|l| l.len() <= 75 && !l.chars().any(char::is_control)));
    for figure in due::figures(&result).unwrap() {
        let svg = figure.standalone();
        let document = roxmltree::Document::parse(&svg).unwrap();
        assert!(!document.descendants().any(|n| n.has_tag_name("script")) && figure.wide.dropped == 0, "{}", figure.id);
    }
}

#[test]
fn the_overdue_come_first_and_what_has_no_date_says_why() {
    let late = engine("P07", Some(TODAY - 3), EngineStatus::Overdue, Some(0));
    let mut never = engine("P09", None, EngineStatus::InWindow, None);
    never.no_date = Some(NoDate::NotWithinReach);
    let text = due::text(&result(vec![late.clone(), engine("P08", None, EngineStatus::InWindow, None), never]));
    assert!(text.starts_with("Overdue: P07."), "{text}");
    assert!(
        text.contains("2026-10-26") && text.contains("hours a week unknown") && text.contains("not within 10 years")
    );
    assert!(text.contains("Take care"));
    // Read with the risk reached already: the date lies before that reading, no one knows how far.
    let found_late = EngineDue { due: Some(late.last_day - 1), ..late };
    assert!(due::text(&result(vec![found_late])).contains("before 2026-08-30"));
}

#[test]
fn json_says_what_the_documents_say() {
    let result = result(vec![engine("P07", Some(TODAY + 90), EngineStatus::Due, Some(0))]);
    let value = serde_json::to_value(due::json(&common::envelope("due"), &result)).unwrap();
    assert_eq!(value["acceptable"], true);
    let e = &value["engines"][0];
    assert_eq!(
        (e["due"].as_str(), e["status"].as_str(), e["window"].as_u64()),
        (Some("2027-01-27"), Some("due"), Some(0))
    );
    assert_eq!(e["valves"][0]["correction"], -0.61);
    assert!(e["valves"][1]["correction"].is_null());
    assert_eq!(value["plan"]["windows"][0]["engines"][0], "P07");
    // Every key of the result is on the page of results.
    let documented =
        include_str!("../../../docs/results.md").split("\n## `").find(|part| part.starts_with("due`")).unwrap();
    for object in
        [&value, e, &e["usage"], &e["valves"][0], &value["plan"], &value["plan"]["windows"][0], &value["intervals"][0]]
    {
        for key in object.as_object().unwrap().keys() {
            assert!(documented.contains(&format!("\"{key}\"")), "{key} is not documented");
        }
    }
}

#[test]
fn an_empty_fleet_and_a_plan_without_windows_are_shown_too() {
    let mut empty = result(Vec::new());
    empty.plan.windows.clear();
    empty.months.truncate(1);
    empty.intervals[0].cheapest = None;
    assert!(due::text(&empty).starts_with("Nothing is overdue"));
    assert!(due::page(&common::envelope("due"), &empty).unwrap().contains("no service window"));
    assert!(due::figures(&empty).unwrap().len() == 1);
    assert!(due::icalendar(&empty).ends_with("END:VCALENDAR\r\n"));
}
