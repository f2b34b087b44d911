//! Bad readings, jumps and faulty days in made fleets: found where planted, and nowhere else.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test stops at the first surprise")]

mod common;

use common::{Made, made, policy};
use packdrift_trend::{FeatureResult, Inspections, ModelChoice, Options, ReadingErrors, trend};

fn fleet(seed: u64) -> Inspections {
    made(Made { valves: 48, readings: (6, 9), ..Made::default() }, seed, 0.0, 1.0).0
}

fn fit(t: &Inspections, errors: ReadingErrors) -> FeatureResult {
    let o = Options { model: ModelChoice::RandomSlope, reading_errors: errors, ..Options::default() };
    let p = policy("contact_offset", Some(0.4), Some(1.6), 2000.0);
    trend(t, Some(&p), &o).unwrap().features.remove(0)
}

/// Row of a valve's k-th reading.
fn row(t: &Inspections, valve: u32, k: usize) -> usize {
    (0..t.valve.len()).filter(|r| t.valve[*r] == valve).nth(k).unwrap()
}

fn last(t: &Inspections, valve: u32) -> usize {
    (0..t.valve.len()).rfind(|r| t.valve[*r] == valve).unwrap()
}

#[test]
fn one_bad_reading_does_not_condemn_a_valve() {
    let mut t = fleet(1);
    let clean = fit(&t, ReadingErrors::Normal);
    // The last reading of one valve is mistyped by half a millimetre: 25 standard deviations.
    let bad = last(&t, 7);
    t.value[bad] += 0.5;
    let trusting = fit(&t, ReadingErrors::Normal);
    let robust = fit(&t, ReadingErrors::Heavy);
    let truth = clean.valves[7].level;
    let (fooled, held) = ((trusting.valves[7].level - truth).abs(), (robust.valves[7].level - truth).abs());
    assert!(fooled > 0.08, "a normal error moves the level by {fooled}");
    assert!(held < 0.02, "heavy tails still move it by {held}");
    assert_eq!(robust.suspected.len(), 1, "{:?}", robust.suspected);
    let s = &robust.suspected[0];
    assert_eq!((s.line as usize, s.valve.as_str()), (bad + 1, "4"));
    assert!(s.weight < 0.05 && s.standardised > 10.0 && (s.expected - truth).abs() < 0.06);
    assert!(robust.steps.is_empty() && robust.faulty_days.is_empty(), "{:?} {:?}", robust.steps, robust.faulty_days);
    // The reading error of the rest is not inflated either.
    let m = robust.model.unwrap();
    assert!((m.sd_reading / 0.02 - 1.0).abs() < 0.25 && trusting.model.unwrap().sd_reading > 0.025, "{}", m.sd_reading);
}

#[test]
fn a_jump_that_stays_is_told_from_drift_and_from_a_bad_reading() {
    let mut t = fleet(2);
    let at = row(&t, 20, 3);
    for r in at..t.value.len() {
        if t.valve[r] == 20 {
            t.value[r] += 0.18;
        }
    }
    let r = fit(&t, ReadingErrors::Heavy);
    assert_eq!(r.steps.len(), 1, "{:?}", r.steps);
    let s = &r.steps[0];
    assert_eq!(s.line as usize, at + 1);
    assert!((s.size - 0.18).abs() < 4.0 * s.size_se, "{} ± {}", s.size, s.size_se);
    assert!(r.suspected.is_empty() && r.faulty_days.is_empty());
    // The valve goes on from the new level as a new segment.
    assert_eq!((r.valves[20].segment, r.segments), (2, 49));
}

#[test]
fn a_faulty_instrument_is_named_by_its_day() {
    let mut t = fleet(3);
    // Engines 3 to 5 (valves 8..20) were read on day 540 with an instrument 0.11 mm off; all other engines on other days.
    for r in 0..t.value.len() {
        let (valve, visit) = (t.valve[r], t.day[r] / 180);
        t.day[r] += (valve / 4) as i32;
        if visit == 3 && (8..20).contains(&valve) {
            t.day[r] = 540;
            t.value[r] += 0.11;
        }
    }
    // Engine 1 was read on that day too unless moved.
    for r in 0..t.value.len() {
        if t.valve[r] < 4 && t.day[r] == 540 {
            t.day[r] = 539;
        }
    }
    let r = fit(&t, ReadingErrors::Heavy);
    assert_eq!(r.faulty_days.len(), 1, "{:?}", r.faulty_days);
    let d = &r.faulty_days[0];
    assert_eq!((d.day, d.readings), (540, 12));
    assert_eq!(d.engines, ["E003", "E004", "E005"]);
    assert!((d.shift - 0.11).abs() < 4.0 * d.shift_se, "{} ± {}", d.shift, d.shift_se);
    assert!(r.steps.is_empty(), "{:?}", r.steps);
}

/// The thresholds promise one false finding in a hundred sound tables of each kind.
#[test]
fn a_sound_fleet_raises_no_alarm() {
    let mut alarms = 0;
    for seed in 100..140 {
        let wander = if seed % 2 == 0 { 0.0 } else { 5e-4 };
        let t = made(Made { valves: 24, readings: (4, 9), wander, ..Made::default() }, seed, 0.0, 1.0).0;
        let r = fit(&t, ReadingErrors::Heavy);
        alarms += r.suspected.len() + r.steps.len() + r.faulty_days.len();
    }
    // 40 tables, expected 0.8 findings; more than 4 would happen once in a thousand such studies.
    assert!(alarms <= 4, "{alarms} false findings");
}
