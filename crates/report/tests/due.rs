//! The plan rendered from hand-made results: names from outside that try to break out, empty fleets, and what each form must hold.
#![allow(clippy::unwrap_used)] // a failed rendering is a failed test

mod common;

use packdrift_due::{
    Cause, Comparison, Correction, CostPoint, Criterion, DemandStep, DueResult, EngineDue, EngineStatus, Interval,
    LastReading, Look, LookFor, Month, NoDate, OrderLine, Ordered, PlaceReason, Plan, PlannedWindow, ScenarioAnswer,
    Usage, UsageSource, ValveToday, ValveWork,
};
use packdrift_report::due::{self, Planned};
use packdrift_trend::Status;
use packdrift_verdict::Verdict;

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
        first_feature: "contact_offset".into(),
        due_hours: due.map(|_| 9000.0),
        due,
        no_date: due.is_none().then_some(NoDate::UsageUnknown),
        status,
        verdict: match status {
            EngineStatus::NotYet | EngineStatus::Watch => Verdict::watch("as made"),
            EngineStatus::ReadAgain => Verdict::read_again("line 7").settled_by("Read 1 exhaust again."),
            _ => Verdict::adverse("as made"),
        },
        today: vec![ValveToday {
            valve: "1 exhaust".into(),
            status: Status::Watch,
            chance_now: 0.02,
            chance_by_horizon: 0.04,
            first: 0.8,
            readings: vec![LastReading {
                feature: "contact_offset".into(),
                day: TODAY - 60,
                hours: 8000.0,
                value: 1.58,
            }],
        }],
        window,
        because: window.map(|_| PlaceReason::Date),
        at_once: false,
        done: if window.is_some() { TODAY + 130 } else { TODAY + 460 },
        days_late: due.map_or(0, |d| (if window.is_some() { TODAY + 130 } else { TODAY + 460 } - d).max(0)),
        chance_by_window: vec![0.3],
        look: Some(Look {
            day: TODAY + 40,
            because: LookFor::Worth,
            after_work: false,
            chance: 0.03,
            worth: Some(31.0),
            best: Some((TODAY + 80, 44.0)),
            valves: vec!["1 exhaust".into()],
        }),
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
        anew: None,
        today: TODAY,
        risk: 0.05,
        horizon: 2000.0,
        offset_feature: "contact_offset".into(),
        unit: "mm".into(),
        cost_unit: "EUR".into(),
        until: Some(Month { day: TODAY + 460, valves: 9.0, engines: 5.0, valves_with_plan: 1.5 }),
        order: vec![
            OrderLine {
                part: Ordered::Shims { from: -0.65, to: -0.6, mean: -0.61, sd: 0.012 },
                at_once: 0.0,
                in_windows: 0.67,
                without_place: 0.2,
                beyond: 0.1,
            },
            OrderLine {
                part: Ordered::NewPart { feature: "stem_wear".into() },
                at_once: 2.0,
                in_windows: 1.0,
                without_place: 0.0,
                beyond: 0.0,
            },
        ],
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
            late: 1,
            expected_late: 4.0,
            expected_late_undone: 16.3,
            expected_cost_undone: Some(43_000.0),
        },
        months: (0..4)
            .map(|k| Month { day: TODAY + 30 * k, valves: 3.0 + f64::from(k), engines: 2.0, valves_with_plan: 1.0 })
            .collect(),
        intervals: vec![Interval {
            valves: "2 exhaust, 2 intake".into(),
            engines: 24,
            cheapest: Some(point(6000.0, 32.0, 0.01)),
            band: (Some(5500.0), Some(6900.0)),
            run_to_failure: Some(258.0),
            at_risk: Some(7270.0),
            curve: (1..=60).map(|k| point(250.0 * f64::from(k), 32.0 + 2e4 / f64::from(k * k), 0.01)).collect(),
        }],
        warnings: Vec::new(),
    }
}

const HOSTILE: &str = "P1;B,\r\nEND:VEVENT\n<script>\"&\u{1b}[31m";

/// The text without its line breaks.
fn unwrapped(result: &DueResult) -> String {
    due::text(Planned::alone(result)).split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn names_from_outside_stay_names() {
    let mut late = engine(HOSTILE, Some(TODAY - 3), EngineStatus::Overdue, Some(0));
    late.work[0].valve = "1 <b>;\nUID:x".into();
    let result = result(vec![late, engine("P02", None, EngineStatus::NotYet, None)]);
    let html = due::page(&common::envelope("due"), Planned::alone(&result)).unwrap();
    // The page's own script, and nothing from a name.
    let without_own = html.replacen("<script>", "", 1);
    assert!(!without_own.contains("<script") && !html.contains("<b>") && html.contains("&lt;script&gt;"));
    assert!(!due::text(Planned::alone(&result)).contains('\u{1b}'));
    let calendar = due::icalendar(Planned::alone(&result));
    let whole = calendar.replace("\r\n ", "");
    // The window, the latest date, and a look at each engine.
    assert_eq!(whole.matches("END:VEVENT\r\n").count(), 4);
    assert_eq!(whole.matches("\r\nUID:").count(), 4);
    assert!(whole.contains(r"P1\;B\,"), "{whole}");
    assert!(calendar.split("\r\n").all(|l| l.len() <= 75 && !l.chars().any(char::is_control)));
    for figure in due::figures(Planned::alone(&result)).unwrap() {
        let svg = figure.standalone();
        let document = roxmltree::Document::parse(&svg).unwrap();
        assert!(!document.descendants().any(|n| n.has_tag_name("script")) && figure.wide.dropped == 0, "{}", figure.id);
    }
}

#[test]
fn the_overdue_come_first_and_what_has_no_date_says_why() {
    let late = engine("P07", Some(TODAY - 3), EngineStatus::Overdue, Some(0));
    let mut never = engine("P09", None, EngineStatus::NotYet, None);
    never.no_date = Some(NoDate::NotWithinReach);
    let fleet = result(vec![late.clone(), engine("P08", None, EngineStatus::NotYet, None), never]);
    let text = due::text(Planned::alone(&fleet));
    // The job goes by its cause.
    assert!(text.starts_with("▲ Overdue: P07 (1 exhaust, contact offset: shims)."), "{text}");
    assert!(
        text.contains("past, 2026-10-26")
            && text.contains("hours a week unknown")
            && text.contains("not within 10 years")
    );
    // Its window comes after its date: in the answer, with the days.
    assert!(text.contains("P07 by 133 days"), "{text}");
    assert!(text.contains("Take care"));
    // Read with the risk reached already: the date lies before that reading, no one knows how far.
    let found_late = EngineDue { due: Some(late.last_day - 1), ..late };
    let found = result(vec![found_late]);
    assert!(due::text(Planned::alone(&found)).contains("past, before 2026-08-30"));
}

#[test]
fn json_says_what_the_documents_say() {
    let result = result(vec![engine("P07", Some(TODAY + 90), EngineStatus::Due, Some(0))]);
    let answer = ScenarioAnswer { name: "busy".into(), changes: vec!["all run more".into()], result: result.clone() };
    let comparison = Comparison { until: TODAY + 460, today: result.clone(), scenarios: vec![answer] };
    let planned = Planned { result: &result, comparison: Some(&comparison), forecasts: None };
    let value = serde_json::to_value(due::json(&common::envelope("due"), planned)).unwrap();
    // An engine is due: what `trend` says by its exit status is said here too.
    assert_eq!(value["acceptable"], false);
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
    let scenarios = &value["scenarios"];
    let objects = [
        &value,
        e,
        &e["usage"],
        &e["valves"][0],
        &e["verdict"],
        &e["valves_today"][0],
        &e["valves_today"][0]["last_readings"][0],
        &e["look"],
        &value["plan"],
        &value["plan"]["windows"][0],
        &value["order"][0],
        &value["intervals"][0],
        scenarios,
        &scenarios["today"],
        &scenarios["scenarios"][0],
    ];
    for object in objects {
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
    // No engine was judged, so none is said to be in order.
    let text = due::text(Planned::alone(&empty));
    assert!(text.contains("Nothing is seen to be overdue") && !text.starts_with('○'), "{text}");
    assert!(due::page(&common::envelope("due"), Planned::alone(&empty)).unwrap().contains("no service window"));
    assert!(due::figures(Planned::alone(&empty)).unwrap().len() == 1);
    assert!(due::icalendar(Planned::alone(&empty)).ends_with("END:VCALENDAR\r\n"));
}

#[test]
fn two_measures_of_lateness_have_two_names() {
    let text = unwrapped(&result(vec![engine("P07", Some(TODAY + 90), EngineStatus::Due, Some(0))]));
    assert!(text.contains("In the damage zone on") && text.contains("Entered before they are done"), "{text}");
    assert!(text.contains("21800 EUR") && text.contains("43000 EUR"), "{text}");
    assert!(text.contains("between 5500 and 6900 h"), "{text}");
}

#[test]
fn the_order_has_four_columns_and_scenarios_stand_side_by_side() {
    let today = result(vec![engine("P07", Some(TODAY + 90), EngineStatus::Due, Some(0))]);
    let mut busy = today.clone();
    busy.plan.expected_cost = Some(30_000.0);
    busy.engines[0].window = None;
    let answer = ScenarioAnswer {
        name: HOSTILE.into(),
        changes: vec!["all engines run 1.3 times as much".into()],
        result: busy,
    };
    let comparison = Comparison { until: TODAY + 460, today: today.clone(), scenarios: vec![answer] };
    let planned = Planned { result: &today, comparison: Some(&comparison), forecasts: None };
    let tables = due::tables(planned);
    let of = |name: &str| tables.iter().find(|t| t.name == name).unwrap();
    let order = of("demand");
    assert!(order.read_back);
    for key in
        ["name", "part", "at_once", "in_windows", "without_a_place", "beyond_the_plan", "rate_per_day", "correction"]
    {
        assert!(order.keys().iter().any(|k| k == key), "{key}");
    }
    // Jobs of the plan's time over its days: (0.67 + 0.2)/460; a new part has no correction.
    let records = order.records();
    let column = |key: &str| order.keys().iter().position(|k| k == key).unwrap();
    assert!((records[0][column("rate_per_day")].parse::<f64>().unwrap() - 0.87 / 460.0).abs() < 1e-12);
    assert!(records[1][column("correction")].is_empty() && records[1][column("part")] == "new part");
    let text = due::text(planned).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("1.3 times as much") && text.contains("It costs 8200 EUR more") && !text.contains('\u{1b}'),
        "{text}"
    );
    assert!(of("scenarios").columns.len() == 3 && of("scenario-engines").rows.len() == 2);
    let html = due::page(&common::envelope("due"), planned).unwrap();
    assert!(html.matches("<script").count() == 1 && html.contains("Scenarios"));
    assert!(due::page(&common::envelope("due"), Planned::alone(&today)).unwrap().contains("Parts to order"));
}

/// Every status has its word, its standing and its place in the tally; only the reassuring one is good.
#[test]
fn every_status_is_said() {
    for status in EngineStatus::ALL {
        let text = due::text(Planned::alone(&result(vec![engine("P07", Some(TODAY + 90), status, None)])));
        assert!(text.contains(status.name()), "{text}");
    }
    let again = unwrapped(&result(vec![engine("P07", Some(TODAY + 90), EngineStatus::ReadAgain, None)]));
    assert!(again.contains("Read again before the plan is kept: P07."), "{again}");
    assert!(again.contains("What would settle it: Read 1 exhaust again."), "{again}");
}
