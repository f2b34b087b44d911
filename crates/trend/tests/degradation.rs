//! Published degradation data through the whole of `trend`: what was measured past its limit is overdue, no day is thrown away, and what is called in
//! window while the last readings are hidden does not turn out to have been past its limit.
//!
//! W. Meeker, L. Escobar, Statistical Methods for Reliability Data, 1998; the tables' numbers are from memory. None of these is valve wear: cracks that
//! grow with themselves, lasers, scars that flatten out, devices that fall.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test prints what it found, and stops at the first surprise"
)]

mod common;

use common::{policy, push, table};
use packdrift_trend::{FeatureResult, Inspections, Options, Policy, Status, trend};

/// Unit, time, value, group in place of its columns; every unit is the only valve of an engine.
fn read(text: &str, grouped: bool) -> Inspections {
    let mut t = table("f");
    let mut times: Vec<f64> = text.lines().skip(2).map(|l| l.split(',').nth(1).unwrap().parse().unwrap()).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    for line in text.lines().skip(2) {
        let cells: Vec<&str> = line.split(',').collect();
        if t.engines.last().map(String::as_str) != Some(cells[0]) {
            t.valves.push((t.engines.len() as u32, "1".into()));
            t.engines.push(cells[0].into());
        }
        let time: f64 = cells[1].parse().unwrap();
        let day = times.iter().position(|x| *x >= time).unwrap() as i32;
        let valve = t.valves.len() as u32 - 1;
        push(&mut t, valve, 30 * day, time, cells[2].parse().unwrap());
        if grouped {
            let name = cells[3].to_owned();
            let place = t.groups.iter().position(|g| *g == name).unwrap_or_else(|| {
                t.groups.push(name);
                t.groups.len() - 1
            });
            *t.group.last_mut().unwrap() = 1 + place as u32;
        }
    }
    t
}

/// The readings up to a time.
fn until(t: &Inspections, last: f64) -> Inspections {
    let mut out =
        Inspections { engines: t.engines.clone(), valves: t.valves.clone(), groups: t.groups.clone(), ..table("f") };
    for r in (0..t.value.len()).filter(|r| t.hours[*r] <= last) {
        push(&mut out, t.valve[r], t.day[r], t.hours[r], t.value[r]);
        *out.group.last_mut().unwrap() = t.group[r];
    }
    out
}

struct Set {
    name: &'static str,
    readings: Inspections,
    lower: Option<f64>,
    upper: Option<f64>,
    /// Readings after this are hidden, for the second question.
    known_until: f64,
}

fn sets() -> Vec<Set> {
    let cracks = read(include_str!("data/cracks.csv"), false);
    let lasers = read(include_str!("data/lasers.csv"), false);
    let scars = read(include_str!("data/scars.csv"), true);
    let devices = read(include_str!("data/devices.csv"), true);
    vec![
        Set { name: "cracks", readings: cracks, lower: None, upper: Some(1.6), known_until: 0.06 },
        Set { name: "lasers", readings: lasers, lower: None, upper: Some(10.0), known_until: 2500.0 },
        // No limit is published: a scar of 20 um is ours.
        Set { name: "scars", readings: scars, lower: None, upper: Some(20.0), known_until: 100.0 },
        Set { name: "devices", readings: devices, lower: Some(-0.5), upper: None, known_until: 1500.0 },
    ]
}

fn fitted(t: &Inspections, p: &Policy) -> FeatureResult {
    let result = trend(t, Some(p), &Options::default()).unwrap();
    // No reading is set aside, no first and no last day.
    assert!(result.left_out.is_empty(), "{:?}", result.left_out);
    let out = result.features.into_iter().next().unwrap();
    assert!(out.faulty_days.iter().all(|d| !d.set_aside), "{:?}", out.faulty_days);
    assert_eq!(out.rows, t.value.len());
    out
}

#[test]
fn what_was_measured_past_its_limit_is_overdue() {
    for set in sets() {
        let t = &set.readings;
        let passed = |v: f64| set.upper.is_some_and(|u| v >= u) || set.lower.is_some_and(|l| v <= l);
        let last = t.hours.iter().copied().fold(0.0, f64::max);
        let out = fitted(t, &policy("f", set.lower, set.upper, 0.1 * last));
        let mut past = 0;
        for v in &out.valves {
            let newest = (0..t.value.len()).rfind(|r| t.valve[*r] == v.valve_index).unwrap();
            if passed(t.value[newest]) {
                past += 1;
                assert_eq!(v.status, Some(Status::Overdue), "{} {}: {}", set.name, v.engine, t.value[newest]);
            }
        }
        println!("{}: {past} of {} measured past the limit, all of them overdue", set.name, out.valves.len());
        assert!(past > 0, "{}", set.name);
    }
}

#[test]
fn what_is_called_in_window_was_not_past_its_limit_when_the_hidden_readings_came() {
    let (mut safe, mut safe_passed, mut expected) = (0, 0, 0.0);
    for set in sets() {
        let t = &set.readings;
        let passed = |v: f64| set.upper.is_some_and(|u| v >= u) || set.lower.is_some_and(|l| v <= l);
        let last = t.hours.iter().copied().fold(0.0, f64::max);
        let out = fitted(&until(t, set.known_until), &policy("f", set.lower, set.upper, last - set.known_until));
        let (mut own, mut crossed, mut chance) = (0, 0, 0.0);
        for v in &out.valves {
            let came = (0..t.value.len()).any(|r| t.valve[r] == v.valve_index && passed(t.value[r]));
            crossed += usize::from(came);
            chance += v.chance_by_horizon.unwrap();
            if v.status == Some(Status::InWindow) {
                own += 1;
                safe_passed += usize::from(came);
                expected += v.chance_by_horizon.unwrap();
            }
        }
        safe += own;
        println!("{}: {crossed} of {} crossed, {chance:.1} expected; {own} in window", set.name, out.valves.len());
    }
    println!("in window {safe}, of them past the limit {safe_passed}, expected {expected:.2}");
    assert_eq!(safe_passed, 0);
}
