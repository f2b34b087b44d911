//! Made fleets whose truth is known: do the forecast chances come true?
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test stops at the first surprise"
)]

mod common;

use common::{Made, made, policy, with};
use packdrift_trend::{ModelChoice, Options, trend};

/// Forecast chances in bins against what happened on the true path.
struct Bins {
    edges: Vec<f64>,
    sum: Vec<(f64, f64, f64, usize)>,
}

impl Bins {
    fn new() -> Self {
        let edges = vec![0.0, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 0.9, 1.000001];
        Self { sum: vec![(0.0, 0.0, 0.0, 0); edges.len() - 1], edges }
    }

    fn add(&mut self, chance: f64, happened: bool) {
        let k = self.edges.windows(2).position(|e| chance >= e[0] && chance < e[1]).unwrap();
        let s = &mut self.sum[k];
        s.0 += chance;
        s.1 += f64::from(u8::from(happened));
        s.2 += chance * (1.0 - chance);
        s.3 += 1;
    }

    /// (mean chance, share that happened, deviation in standard errors, count)
    fn rows(&self) -> Vec<(f64, f64, f64, usize)> {
        self.sum
            .iter()
            .filter(|s| s.3 > 0)
            .map(|s| {
                let n = s.3 as f64;
                (s.0 / n, s.1 / n, (s.1 - s.0) / s.2.max(1e-12).sqrt(), s.3)
            })
            .collect()
    }
}

fn collect(m: Made, model: ModelChoice, options: &Options, fleets: u64, horizon: f64) -> (Bins, [f64; 3]) {
    let mut bins = Bins::new();
    let mut covered = [0.0; 3];
    let mut count = 0.0;
    let policy = policy("contact_offset", Some(0.4), Some(1.3), horizon);
    for seed in 0..fleets {
        let (table, futures) = made(m, 1000 + seed, horizon, horizon / 40.0);
        let r = trend(&table, Some(&policy), &Options { model, series_up_to: 0, ..options.clone() }).unwrap();
        let f = &r.features[0];
        assert!(f.model.is_some(), "{}", f.diagnostics.reason);
        for v in &f.valves {
            let future = &futures[v.valve_index as usize];
            let out = |x: f64| !(0.4..=1.3).contains(&x);
            // Without wander the path is a line; with it, 40 steps miss few excursions between them.
            let happened = future.path.iter().any(|x| out(*x));
            bins.add(v.chance_by_horizon.unwrap(), happened);
            let (mean, sd) = v.prospect.value_at(horizon);
            let z = (future.path.last().unwrap() - mean).abs() / sd;
            for (c, limit) in covered.iter_mut().zip([0.674_49, 1.281_55, 1.959_96]) {
                *c += f64::from(u8::from(z < limit));
            }
            count += 1.0;
        }
    }
    (bins, covered.map(|c| c / count))
}

#[test]
fn chances_come_true_without_wander() {
    let (bins, covered) = collect(Made::default(), ModelChoice::RandomSlope, &with(ModelChoice::Auto), 30, 3000.0);
    for (p, q, z, n) in bins.rows() {
        println!("{p:.4} {q:.4} {z:+.2} {n}");
        assert!(z.abs() < 3.5, "forecast {p}, happened {q}, {z} standard errors of {n}");
    }
    println!("{covered:?}");
}

#[test]
fn chances_come_true_with_wander() {
    let m = Made { wander: 1e-3, ..Made::default() };
    let (bins, covered) = collect(m, ModelChoice::Wiener, &with(ModelChoice::Auto), 12, 3000.0);
    for (p, q, z, n) in bins.rows() {
        println!("{p:.4} {q:.4} {z:+.2} {n}");
        assert!(z.abs() < 3.5, "forecast {p}, happened {q}, {z} standard errors of {n}");
    }
    println!("{covered:?}");
}

#[test]
fn coverage_at_ten_thirty_and_a_hundred_valves() {
    for (valves, fleets) in [(4, 150), (10, 100), (30, 30), (100, 10)] {
        for points in [1, 64] {
            let o = Options { average_points: points, ..with(ModelChoice::Auto) };
            let m = Made { valves, ..Made::default() };
            let (_, covered) = collect(m, ModelChoice::RandomSlope, &o, fleets, 3000.0);
            println!("{valves} valves, {points} points: {covered:?}");
        }
    }
}
