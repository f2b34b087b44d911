//! Made fleets whose truth is known, and what becomes of them.
#![allow(
    dead_code,
    unreachable_pub,
    clippy::unwrap_used,
    reason = "each test file uses its part; a test stops at the first surprise"
)]

#[path = "../../../trend/tests/common/mod.rs"]
pub mod common;

use common::{push, stream, table};
use packdrift_numerics::stream::Stream;
use packdrift_trend::Inspections;

/// An engine's valves and running as they go on after the last reading.
#[derive(Debug, Clone)]
pub struct Truth {
    /// True value at the last reading, by valve.
    pub level: Vec<f64>,
    /// Per hour, by valve.
    pub slope: Vec<f64>,
    /// Mean hours a day.
    pub hours_a_day: f64,
}

/// Scatter of a day's hours about the engine's mean, as a share of it times the root of a day.
pub const DAY: f64 = 1.2;

/// Engines with four valves, read every 180 days.
pub fn fleet(engines: usize, seed: u64) -> (Inspections, Vec<Truth>) {
    let mut s = stream(seed, "due fleet");
    let mut t = table("contact_offset");
    let mut truths = Vec::new();
    for e in 0..engines {
        t.engines.push(format!("E{e:03}"));
        let hours_a_day = 4.0 + 4.0 * s.uniform();
        let visits = 4 + (s.uniform() * 5.0) as usize;
        let mut meter = vec![0.0];
        for _ in 1..visits {
            let gain = hours_a_day * (180.0 + DAY * 180f64.sqrt() * s.normal());
            meter.push(meter[meter.len() - 1] + gain.max(0.0));
        }
        let mut truth = Truth { level: Vec::new(), slope: Vec::new(), hours_a_day };
        for v in 0..4 {
            t.valves.push((e as u32, (v + 1).to_string()));
            let (start, slope) = (1.0 + 0.05 * s.normal(), 4e-5 + 2e-5 * s.normal());
            for (k, hours) in meter.iter().enumerate() {
                // The last visit of all engines is on one day.
                let day = 20_000 - 180 * (visits - 1 - k) as i32;
                push(&mut t, (4 * e + v) as u32, day, *hours, start + slope * hours + 0.02 * s.normal());
            }
            truth.level.push(start + slope * meter[visits - 1]);
            truth.slope.push(slope);
        }
        truths.push(truth);
    }
    (t, truths)
}

/// The day of the last reading.
pub const TODAY: i32 = 20_000;

impl Truth {
    /// Days after the last reading by which a first valve has entered, 0 where one has already; None within twenty years.
    pub fn enters(&self, limits: (f64, f64), s: &mut Stream) -> Option<i32> {
        let out = |x: f64| !(limits.0..=limits.1).contains(&x);
        if self.level.iter().any(|x| out(*x)) {
            return Some(0);
        }
        let hours = self
            .level
            .iter()
            .zip(&self.slope)
            .map(|(x, v)| ((if *v > 0.0 { limits.1 } else { limits.0 }) - x) / v)
            .fold(f64::INFINITY, f64::min);
        let mut run = 0.0;
        (1..=7300).find(|_| {
            // Not cut at 0, which would raise the mean: only sums over weeks matter, and they are what the records have too.
            run += self.hours_a_day * (1.0 + DAY * s.normal());
            run >= hours
        })
    }
}
