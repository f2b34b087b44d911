//! Tables for the tests: open data sets, and made fleets whose truth is known.

#![allow(
    dead_code,
    unreachable_pub,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "each test file uses its part; a test stops at the first surprise"
)]

use packdrift_numerics::stream::{Key, Stream};
use packdrift_trend::{Costs, FeatureLimits, Inspections, ModelChoice, Options, Policy};

/// An empty table with one feature.
pub fn table(feature: &str) -> Inspections {
    Inspections { features: vec![feature.into()], ..Inspections::default() }
}

/// Adds a reading.
pub fn push(t: &mut Inspections, valve: u32, day: i32, hours: f64, value: f64) {
    t.valve.push(valve);
    t.day.push(day);
    t.hours.push(hours);
    t.feature.push(0);
    t.value.push(value);
    t.event.push(0);
    t.group.push(0);
}

/// sleepstudy: a subject stands for an engine with one valve, a day for an hour.
pub fn sleepstudy() -> Inspections {
    let mut t = table("reaction");
    for line in include_str!("../data/sleepstudy.csv").lines().skip(2) {
        let cells: Vec<&str> = line.split(',').collect();
        if t.engines.last().map(String::as_str) != Some(cells[2]) {
            t.valves.push((t.engines.len() as u32, "1".into()));
            t.engines.push(cells[2].into());
        }
        let day: f64 = cells[1].parse().unwrap();
        let valve = t.valves.len() as u32 - 1;
        push(&mut t, valve, day as i32, day, cells[0].parse().unwrap());
    }
    t
}

/// A policy with one feature.
pub fn policy(feature: &str, lower: Option<f64>, upper: Option<f64>, horizon: f64) -> Policy {
    let limits = FeatureLimits { unit: "mm".into(), lower, upper, reading_sd: None };
    Policy {
        risk: 0.05,
        horizon,
        features: [(feature.to_owned(), limits)].into(),
        cost: Some(Costs { planned: 180.0, failure: 2600.0, inspection: None }),
        ..Policy::default()
    }
}

/// Options with a model by name.
pub fn with(model: ModelChoice) -> Options {
    Options { model, ..Options::default() }
}

/// Truth of a made fleet.
#[derive(Clone, Copy)]
pub struct Made {
    pub valves: usize,
    pub readings: (usize, usize),
    pub interval: f64,
    pub start: (f64, f64),
    pub slope: (f64, f64),
    pub engine_slope: f64,
    pub valves_per_engine: usize,
    pub wander: f64,
    pub reading: f64,
}

impl Default for Made {
    fn default() -> Self {
        Self {
            valves: 96,
            readings: (3, 10),
            interval: 700.0,
            start: (1.0, 0.05),
            slope: (4e-5, 2e-5),
            engine_slope: 0.0,
            valves_per_engine: 4,
            wander: 0.0,
            reading: 0.02,
        }
    }
}

/// What happened to a valve after its last reading: the true path, by steps.
pub struct Future {
    pub level: f64,
    pub slope: f64,
    /// True value at every `step` hours after the last reading.
    pub path: Vec<f64>,
}

/// A made fleet, and what happened after.
pub fn made(m: Made, seed: u64, horizon: f64, step: f64) -> (Inspections, Vec<Future>) {
    let mut s = Key::new(seed, "made fleet").stream(0);
    let mut t = table("contact_offset");
    let mut futures = Vec::new();
    let mut shared = 0.0;
    for v in 0..m.valves {
        if v % m.valves_per_engine == 0 {
            shared = m.engine_slope * s.normal();
            t.engines.push(format!("E{:03}", t.engines.len() + 1));
        }
        t.valves.push((t.engines.len() as u32 - 1, format!("{}", v % m.valves_per_engine + 1)));
        let mut x = m.start.0 + m.start.1 * s.normal();
        let slope = m.slope.0 + m.slope.1 * s.normal() + shared;
        let n = m.readings.0 + (s.uniform() * (m.readings.1 - m.readings.0 + 1) as f64) as usize;
        let mut hours = 0.0;
        for i in 0..n {
            if i > 0 {
                let dt = m.interval * (0.7 + 0.6 * s.uniform());
                x += slope * dt + m.wander * dt.sqrt() * s.normal();
                hours += dt;
            }
            push(&mut t, v as u32, i as i32 * 180, hours, x + m.reading * s.normal());
        }
        let mut path = vec![x];
        let level = x;
        for _ in 0..(horizon / step) as usize {
            x += slope * step + m.wander * step.sqrt() * s.normal();
            path.push(x);
        }
        futures.push(Future { level, slope, path });
    }
    (t, futures)
}

/// A stream for a test.
pub fn stream(seed: u64, purpose: &str) -> Stream {
    Key::new(seed, purpose).stream(0)
}
