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
use packdrift_trend::{ModelChoice, Options, backtest, trend};

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

/// A bin is off where what happened lies beyond 3.5 standard errors. Where fewer than five are expected the share is no normal deviate: then the
/// Poisson law's tail is asked instead, at the same chance of a false alarm.
fn come_true(bins: &Bins) {
    const TAIL: f64 = 2.3e-4;
    for (p, q, z, n) in bins.rows() {
        let (expected, happened) = (p * n as f64, (q * n as f64).round());
        let off = if expected < 5.0 { poisson_at_least(happened, expected) < TAIL } else { z.abs() >= 3.5 };
        assert!(!off, "forecast {p}, happened {q}: {z} standard errors of {n} valves");
    }
}

/// P(X ≥ k) of a Poisson variable.
fn poisson_at_least(k: f64, mean: f64) -> f64 {
    let (mut term, mut below, mut i) = ((-mean).exp(), 0.0, 0.0);
    while i < k {
        below += term;
        i += 1.0;
        term *= mean / i;
    }
    1.0 - below
}

/// 20 fleets of 96 valves, 3 to 10 readings each.
#[test]
fn chances_come_true_without_wander() {
    let (bins, _) = collect(Made::default(), ModelChoice::RandomSlope, &with(ModelChoice::Auto), 20, 3000.0);
    assert!(bins.rows().len() == 9);
    come_true(&bins);
}

/// 8 fleets of 60 valves. Sixteen points of the average are enough for chances told to some percent.
#[test]
fn chances_come_true_with_wander() {
    let m = Made { wander: 1e-3, valves: 60, ..Made::default() };
    let o = Options { average_points: 16, ..with(ModelChoice::Auto) };
    let (bins, _) = collect(m, ModelChoice::Wiener, &o, 8, 3000.0);
    come_true(&bins);
}

/// Coverage of the true value 3000 h ahead. Valves of one fleet share its estimates, so the standard errors allowed are twice the
/// binomial ones. With the fitted variances alone, four valves would be covered 84 % at 95 %.
#[test]
fn coverage_at_four_ten_thirty_and_a_hundred_valves() {
    for (valves, fleets) in [(4, 100), (10, 60), (30, 20), (100, 6)] {
        let m = Made { valves, ..Made::default() };
        let (_, covered) = collect(m, ModelChoice::RandomSlope, &with(ModelChoice::Auto), fleets, 3000.0);
        let n = (valves as u64 * fleets) as f64;
        for (found, nominal) in covered.into_iter().zip([0.5_f64, 0.8, 0.95]) {
            let se = (nominal * (1.0 - nominal) / n).sqrt();
            assert!((found - nominal).abs() < 3.5 * 2.0 * se, "{valves} valves: {found} for {nominal}");
        }
    }
    let plug = Options { average_points: 1, ..with(ModelChoice::Auto) };
    let (_, covered) = collect(Made { valves: 4, ..Made::default() }, ModelChoice::RandomSlope, &plug, 100, 3000.0);
    assert!(covered[2] < 0.9, "the fitted variances alone cover {} of 0.95", covered[2]);
}

/// Hidden readings of a made fleet fall into the intervals as often as promised.
#[test]
fn backtest_of_a_straight_fleet_is_flat() {
    let (t, _) = made(Made { readings: (5, 9), ..Made::default() }, 5, 0.0, 1.0);
    let b = backtest(&t, None, &with(ModelChoice::RandomSlope), 2).unwrap();
    let s = b[0].models[0].scores.as_ref().unwrap();
    for (found, (nominal, se)) in
        [s.coverage50, s.coverage80, s.coverage95].into_iter().zip([0.5, 0.8, 0.95].into_iter().zip(s.coverage_se))
    {
        assert!((found - nominal).abs() < 3.5 * 2.0 * se, "{found} for {nominal}");
    }
    assert_eq!(s.pit.iter().sum::<usize>(), b[0].models[0].forecasts);
    // A reading errs by 0.02, its forecast by somewhat more; a normal forecast's mean CRPS is its sd over the root of π.
    assert!((0.02..0.06).contains(&s.rmse) && (s.crps / (s.rmse / std::f64::consts::PI.sqrt()) - 1.0).abs() < 0.15);
}

/// The wander is a third of a reading's error from look to look, too little for BIC to grant, and one figure in a hundred is misread. A line
/// without wander then states its slopes too sure; `auto` carries the wander and does not.
#[test]
fn a_wander_too_small_to_show_does_not_make_auto_too_sure() {
    let m = Made { wander: 3e-4, valves: 60, readings: (7, 10), interval: 900.0, ..Made::default() };
    let (mut auto, mut line, mut count) = (0.0, 0.0, 0.0);
    for seed in 0..5 {
        let (mut table, futures) = made(m, 300 + seed, 0.0, 1.0);
        let mut s = common::stream(seed, "misread");
        for value in &mut table.value {
            if s.uniform() < 0.01 {
                *value += 0.1 * s.normal();
            }
        }
        let held = |options: &Options| {
            let r = trend(&table, None, &Options { series_up_to: 0, ..options.clone() }).unwrap();
            let inside = |v: &packdrift_trend::ValveForecast| {
                (v.slope - futures[v.valve_index as usize].slope).abs() < 1.96 * v.slope_se
            };
            r.features[0].valves.iter().filter(|v| inside(v)).count() as f64
        };
        auto += held(&Options { average_points: 16, ..with(ModelChoice::Auto) });
        let heavy = packdrift_trend::ReadingErrors::Heavy;
        line += held(&Options { reading_errors: heavy, ..with(ModelChoice::RandomSlope) });
        count += 60.0;
    }
    let (auto, line) = (auto / count, line / count);
    // 300 valves, whose binomial error is 1.3 %.
    assert!((auto - 0.95).abs() < 0.04, "auto holds {auto} of 0.95");
    assert!(line < auto - 0.03, "without wander {line} beside {auto}");
}
