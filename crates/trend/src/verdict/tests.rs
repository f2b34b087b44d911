//! Every rule as one decision.

#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use super::*;
use crate::crossing::{CrossingHours, Prospect, Zone};
use crate::policy::Policy;

fn policy() -> Policy {
    Policy { risk: 0.05, horizon: 2000.0, ..Policy::default() }
}

fn answer(assuming: Assumption, now: f64, within: f64) -> Answer {
    Answer {
        assuming,
        level: 1.0,
        level_se: 0.01,
        slope: 1e-5,
        slope_se: 1e-6,
        level_slope_cov: 0.0,
        chance_now: now,
        chance_by_horizon: within,
        simulation_error: 0.0,
        crossing_hours: CrossingHours::default(),
        status: status_by_chance(now, within, 0.0, &policy()),
        prospect: Prospect::default(),
    }
}

fn believed(within: f64) -> Answer {
    answer(Assumption::AsBelieved, 0.0, within)
}

fn newest(value: f64, weight: f64) -> NewestReading {
    NewestReading { value, day: 20_000, hours: 5000.0, line: 7, weight, believed: weight >= BELIEVED }
}

fn judged(newest: NewestReading, answers: Vec<Answer>, trouble: Option<&str>) -> ValveVerdict {
    let zone = Zone { lower: Some(0.4), upper: Some(1.6) };
    let policy = policy();
    judge(Case {
        policy: &policy,
        zone,
        newest: Some(newest),
        answers,
        trouble,
        cure: Some("Read on."),
        name: "E01, 1 intake",
    })
}

#[test]
fn the_chance_decides_where_nothing_else_speaks() {
    for (within, status) in
        [(0.025, Status::InWindow), (0.026, Status::Watch), (0.05, Status::Watch), (0.051, Status::Due)]
    {
        let v = judged(newest(1.2, 1.0), vec![believed(within)], None);
        assert_eq!((v.status(), v.verdict().standing()), (status, status.standing()), "{within}");
        assert!(v.answers().is_empty() && v.standing_answer().is_none());
    }
    let now = answer(Assumption::AsBelieved, 0.6, 0.9);
    assert_eq!(judged(newest(1.59, 1.0), vec![now], None).status(), Status::Overdue);
}

#[test]
fn a_threshold_within_the_simulation_error_is_too_close_to_tell() {
    let p = policy();
    assert_eq!(status_by_chance(0.0, 0.045, 0.002, &p), Status::TooCloseToTell);
    assert_eq!(status_by_chance(0.0, 0.055, 0.002, &p), Status::TooCloseToTell);
    assert_eq!(status_by_chance(0.0, 0.057, 0.002, &p), Status::Due);
    // Between the two words that exit with 0 the lower is said: no reassurance without three errors to spare.
    assert_eq!(status_by_chance(0.0, 0.0249, 0.001, &p), Status::Watch);
    assert_eq!(status_by_chance(0.0, 0.02, 0.001, &p), Status::InWindow);
    let mut close = believed(0.045);
    (close.simulation_error, close.status) = (0.002, Status::TooCloseToTell);
    let v = judged(newest(1.2, 1.0), vec![close], None);
    assert_eq!((v.status(), v.verdict().exit_status()), (Status::TooCloseToTell, 1));
}

#[test]
fn what_was_measured_goes_before_what_was_fitted() {
    for value in [1.61, 0.39] {
        let v = judged(newest(value, 1.0), vec![believed(0.0)], None);
        assert_eq!(v.status(), Status::Overdue);
        assert!(v.is_contradicted() && v.what_settles_it().unwrap().contains("again"));
        // Where there is no forecast at all, too.
        assert_eq!(judged(newest(value, 1.0), vec![], Some("one reading")).status(), Status::Overdue);
    }
    let agreed = answer(Assumption::AsBelieved, 0.9, 1.0);
    assert!(!judged(newest(1.61, 1.0), vec![agreed], None).is_contradicted());
    // At the limit counts; short of it does not.
    assert_eq!(judged(newest(1.6, 1.0), vec![believed(0.0)], None).status(), Status::Overdue);
    assert_eq!(judged(newest(1.599, 1.0), vec![believed(0.0)], None).status(), Status::InWindow);
}

#[test]
fn a_doubted_reading_in_the_zone_is_read_again() {
    let v = judged(newest(10.87, 0.0), vec![believed(0.0)], None);
    assert_eq!((v.status(), v.verdict().exit_status()), (Status::ReadAgain, 1));
    // But a valve that is due stays due.
    assert_eq!(judged(newest(10.87, 0.0), vec![believed(0.3)], None).status(), Status::Due);
}

#[test]
fn nothing_is_set_aside_towards_safety() {
    let reading = |newest| Assumption::ReadingCounts { line: 7, day: 20_000, value: 1.5, newest };
    // A doubted reading that would make the valve due: read again, the numbers stay.
    let v = judged(newest(1.5, 0.1), vec![believed(0.01), answer(reading(true), 0.1, 0.4)], None);
    assert_eq!(v.status(), Status::ReadAgain);
    assert_eq!(v.standing_answer().unwrap().assuming, Assumption::AsBelieved);
    assert_eq!((v.answers().len(), v.what_settles_it()), (2, Some("Read E01, 1 intake again.")));
    let old = judged(newest(1.2, 1.0), vec![believed(0.01), answer(reading(false), 0.1, 0.4)], None);
    assert_eq!(old.what_settles_it(), Some("Check the record of 2024-10-04."));
    // One that would make it safer changes nothing.
    let v = judged(newest(1.2, 0.1), vec![believed(0.4), answer(reading(true), 0.0, 0.0)], None);
    assert_eq!((v.status(), v.standing_answer().unwrap().chance_by_horizon), (Status::Due, 0.4));
    // Visits left out make it no worse than to be read again, with its numbers, and no valve overdue.
    let looks = || Assumption::LooksLeftOut { from: 20_000, to: 20_100 };
    let v = judged(newest(1.2, 1.0), vec![believed(0.01), answer(looks(), 0.9, 1.0)], None);
    assert_eq!((v.status(), v.standing_answer().unwrap().chance_by_horizon), (Status::ReadAgain, 0.01));
    let again = "Read E01, 1 intake again with another instrument than from 2024-10-04 to 2025-01-12.";
    assert_eq!(v.what_settles_it(), Some(again));
    let v = judged(newest(1.2, 1.0), vec![believed(0.4), answer(looks(), 0.9, 1.0)], None);
    assert_eq!((v.status(), v.standing_answer().unwrap().chance_by_horizon), (Status::Due, 0.4));
    // A day or a jump: the worse stands, with its numbers, whichever it is.
    for other in [Assumption::DayLeftOut { day: 20_000 }, Assumption::NoJump { day: 20_000 }] {
        let v = judged(newest(1.2, 1.0), vec![believed(0.0), answer(other.clone(), 0.0, 0.4)], None);
        assert_eq!((v.status(), v.standing_answer().unwrap().chance_by_horizon), (Status::Due, 0.4));
        let v = judged(newest(1.2, 1.0), vec![believed(0.4), answer(other, 0.0, 0.0)], None);
        assert_eq!((v.status(), v.standing_answer().unwrap().chance_by_horizon), (Status::Due, 0.4));
    }
}

#[test]
fn what_was_not_computed_never_reassures() {
    for answers in [vec![], vec![believed(f64::NAN)], vec![believed(0.0)]] {
        let v = judged(newest(1.2, 1.0), answers, Some("the average collapsed"));
        assert_eq!((v.status(), v.verdict().exit_status()), (Status::NotShown, 1));
        assert!(!v.reasons().is_empty());
    }
    // An adverse forecast stands, trouble or not.
    assert_eq!(judged(newest(1.2, 1.0), vec![believed(0.4)], Some("collapsed")).status(), Status::Due);
}

#[test]
fn words_are_those_of_all_commands() {
    for status in Status::ALL.into_iter().filter(|s| *s != Status::Overdue) {
        assert_eq!(status.name(), packdrift_verdict::TREND.of(status.standing()));
    }
    assert!(Status::ALL.is_sorted_by(|a, b| a > b));
}
