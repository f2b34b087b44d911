//! The invented demo fleet through `trend`: what is doubted of its readings is what was planted in them.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

mod common;

use packdrift_trend::{FeatureLimits, Inspections, Options, Policy, trend};

/// Place of a name in a list, put there if it is new.
fn place<T: PartialEq>(list: &mut Vec<T>, name: T) -> u32 {
    if let Some(k) = list.iter().position(|n| *n == name) {
        return k as u32;
    }
    list.push(name);
    list.len() as u32 - 1
}

fn demo() -> Inspections {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../data/demo/inspections.csv");
    let mut t = Inspections::default();
    for line in std::fs::read_to_string(path).unwrap().lines().skip(2) {
        let [engine, valve, date, hours, feature, value, event, group] = line.split(',').collect::<Vec<_>>()[..] else {
            panic!("{line}")
        };
        let date: jiff::civil::Date = date.parse().unwrap();
        let engine = place(&mut t.engines, engine.to_owned());
        let valve = place(&mut t.valves, (engine, valve.to_owned()));
        t.valve.push(valve);
        t.day.push((date - jiff::civil::date(1970, 1, 1)).get_days());
        t.hours.push(hours.parse().unwrap());
        let feature = place(&mut t.features, feature.to_owned());
        t.feature.push(feature);
        t.value.push(value.parse().unwrap());
        // 0 stands for none.
        let event = if event.is_empty() { 0 } else { 1 + place(&mut t.events, event.to_owned()) };
        t.event.push(event);
        let group = if group.is_empty() { 0 } else { 1 + place(&mut t.groups, group.to_owned()) };
        t.group.push(group);
    }
    t
}

/// The planted jump is found and leaves nothing to check after it; three misread offsets (the generator mistypes a figure now and then) are listed, no stem.
#[test]
fn what_is_doubted_is_what_was_planted() {
    let limits = |lower, upper| FeatureLimits { unit: "mm".into(), lower, upper, reading_sd: None };
    let features =
        [("contact_offset".into(), limits(Some(0.4), Some(1.6))), ("stem_wear".into(), limits(None, Some(0.15)))];
    let policy = Policy { risk: 0.05, horizon: 2000.0, features: features.into(), ..Policy::default() };
    let result = trend(&demo(), Some(&policy), &Options::default()).unwrap();
    for f in &result.features {
        let (steps, doubted) = (f.steps.len(), f.suspected.len());
        let expected = if f.feature == "contact_offset" { (1, 3) } else { (0, 0) };
        assert_eq!((steps, doubted), expected, "{}: {:?} {:?}", f.feature, f.steps, f.suspected);
        for s in &f.steps {
            let after = |x: &&packdrift_trend::SuspectedReading| {
                (&x.engine, &x.valve) == (&s.engine, &s.valve) && x.hours >= s.hours
            };
            assert!(!f.suspected.iter().any(|x| after(&x)), "{:?} after {s:?}", f.suspected);
        }
    }
}
