//! How the time of a fit grows with the fleet: made fleets of 1 000 valves and more, 7.5 readings each, fitted and forecast.
//!
//! `cargo run --release -p packdrift-trend --example fleet_scale -- 1000 10000 100000 1000000`
//!
//! Prints one line per fleet: valves, readings, seconds of the whole trend (segments cut, REML fit, forecasts with crossing hours and
//! status), the mean slope found. Time should grow as the fleet does.

#![allow(clippy::print_stdout, clippy::unwrap_used, reason = "an example prints, and stops at the first surprise")]

use packdrift_numerics::stream::Key;
use packdrift_trend::{FeatureLimits, Inspections, ModelChoice, Options, Policy, trend};
use std::time::Instant;

fn fleet(valves: u32) -> Inspections {
    let mut s = Key::new(1, "fleet scale").stream(0);
    let mut t = Inspections { features: vec!["contact_offset".into()], ..Inspections::default() };
    for v in 0..valves {
        if v % 4 == 0 {
            t.engines.push(format!("E{}", v / 4));
        }
        t.valves.push((v / 4, format!("{}", v % 4 + 1)));
        let (start, slope) = (1.0 + 0.05 * s.normal(), 4e-5 + 2e-5 * s.normal());
        let mut hours = 0.0;
        for k in 0..5 + v % 6 {
            t.valve.push(v);
            t.day.push(180 * k as i32);
            t.hours.push(hours);
            t.feature.push(0);
            t.value.push(start + slope * hours + 0.02 * s.normal());
            t.event.push(0);
            t.group.push(0);
            hours += 500.0 + 400.0 * s.uniform();
        }
    }
    t
}

fn main() {
    let limits = FeatureLimits { lower: Some(0.4), upper: Some(1.6), ..FeatureLimits::default() };
    let policy = Policy {
        risk: 0.05,
        horizon: 2000.0,
        features: [("contact_offset".to_owned(), limits)].into(),
        ..Policy::default()
    };
    let model = if std::env::args().any(|a| a == "auto") { ModelChoice::Auto } else { ModelChoice::RandomSlope };
    for valves in std::env::args().skip(1).filter_map(|a| a.parse().ok()) {
        let table = fleet(valves);
        let start = Instant::now();
        let r = trend(&table, Some(&policy), &Options { model, ..Options::default() }).unwrap();
        let seconds = start.elapsed().as_secs_f64();
        let slope = r.features[0].model.as_ref().unwrap().slope;
        println!("{valves:>8} valves {:>9} readings {seconds:8.3} s   slope {slope:.4e} per hour", table.value.len());
    }
}
