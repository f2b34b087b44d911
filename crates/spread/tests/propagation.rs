//! Propagation through the same code as packs: the examples of JCGM 101:2008, shared lots, correlations, threads and shards, degenerate input.

#![allow(clippy::unwrap_used, reason = "a value that is missing is a failed test")]

use packdrift_spread::{
    Bounds, Correlation, Distribution, Function, LimitBox, Lot, Model, ModelError, MonteCarlo, Options, Partial,
    PartialState, Population, Progress, Silent, Spread, SpreadError, Variable, blocks_of, first_order, worst_case,
};

fn variables(distributions: &[Distribution]) -> Vec<Variable> {
    distributions
        .iter()
        .enumerate()
        .map(|(k, distribution)| Variable {
            label: format!("X{}", k + 1),
            distribution: distribution.clone(),
            lot: None,
        })
        .collect()
}

fn population(distributions: &[Distribution]) -> Population {
    Population::new(&variables(distributions), &[], &[]).unwrap()
}

fn sum(inputs: usize) -> Function<impl Fn(&[f64]) -> f64 + Sync> {
    Function::new(inputs, |x: &[f64]| x.iter().sum())
}

fn spread(model: &dyn Model, population: &Population, trials: u64) -> Spread {
    MonteCarlo::new(model, population, &[Bounds::NONE], 7).unwrap().run(trials, &Silent).unwrap().spread(0)
}

/// Mean, standard deviation and an interval of the given spread, each within its tolerance.
fn check(what: &str, got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{what}: {got}, expected {expected} ± {tolerance}");
}

#[test]
fn additive_model_of_the_guide() {
    // JCGM 101:2008, 9.2.2 to 9.2.4; the exact half-widths of 9.2.3 and 9.2.4 recomputed: 2√3(2 − (3/5)^¼), 17.015814100.
    let half = 3_f64.sqrt();
    let normal = Distribution::normal(0.0, 1.0).unwrap();
    let rectangular = Distribution::rectangular(-half, half).unwrap();
    let wide = Distribution::rectangular(-10.0 * half, 10.0 * half).unwrap();
    let cases = [
        (vec![normal; 4], 2.0, 3.919_927_969),
        (vec![rectangular.clone(); 4], 2.0, 3.879_406_741),
        (vec![rectangular.clone(), rectangular.clone(), rectangular, wide], 103_f64.sqrt(), 17.015_814_1),
    ];
    for (inputs, sd, half_width) in cases {
        let population = population(&inputs);
        let result = spread(&sum(4), &population, 1 << 19);
        check("mean", result.mean.unwrap(), 0.0, 5.0 * result.standard_error.unwrap());
        check("u", result.sd.unwrap(), sd, 5.0 * sd / (2.0_f64 * 524_288.0).sqrt());
        for (quantile, expected) in [(&result.quantiles[1], -half_width), (&result.quantiles[3], half_width)] {
            check("interval", quantile.value, expected, 5.0 * quantile.standard_error.unwrap());
        }
        let linear = first_order(&sum(4), 0, &population, &[]).unwrap().unwrap();
        check("first order", linear.result.sd, sd, 1e-8);
    }
}

#[test]
fn mass_calibration_of_the_guide() {
    // JCGM 101:2008, 9.3; Monte Carlo converged: u 0.0754797, symmetric 95 % [1.08440, 1.38358] (recomputed); first order 1.2340, 0.0539.
    let inputs = [
        Distribution::normal(100_000.0, 0.050).unwrap(),
        Distribution::normal(1.234, 0.020).unwrap(),
        Distribution::rectangular(1.10, 1.30).unwrap(),
        Distribution::rectangular(7000.0, 9000.0).unwrap(),
        Distribution::rectangular(7950.0, 8050.0).unwrap(),
    ];
    let law =
        Function::new(5, |x: &[f64]| (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 100_000.0);
    let population = population(&inputs);
    let result = spread(&law, &population, 1 << 19);
    check("mean", result.mean.unwrap(), 1.2341, 5e-4);
    check("u", result.sd.unwrap(), 0.075_479_7, 5e-4);
    check("low", result.quantiles[1].value, 1.084_40, 2e-3);
    check("high", result.quantiles[3].value, 1.383_58, 2e-3);
    let linear = first_order(&law, 0, &population, &[]).unwrap().unwrap().result;
    check("first-order y", linear.mean, 1.234, 1e-9);
    check("first-order u", linear.sd, 0.0539, 5e-5);
}

#[test]
fn gauge_block_of_the_guide() {
    // JCGM 101:2008, 9.5 (nm); converged 837.999, u 35.812 (recomputed); first order u 32.
    let t = |nu, location, scale| Distribution::scaled_shifted_t(nu, location, scale).unwrap();
    let inputs = [
        t(18.0, 50_000_623.0, 25.0),
        t(24.0, 215.0, 6.0),
        t(5.0, 0.0, 4.0),
        t(8.0, 0.0, 7.0),
        Distribution::rectangular(9.5e-6, 13.5e-6).unwrap(),
        Distribution::normal(-0.1, 0.2).unwrap(),
        Distribution::arcsine(-0.5, 0.5).unwrap(),
        Distribution::curvilinear_trapezoidal(-1e-6, 1e-6, 0.1e-6).unwrap(),
        Distribution::curvilinear_trapezoidal(-0.05, 0.05, 0.025).unwrap(),
    ];
    let law = Function::new(9, |x: &[f64]| {
        x[0] + x[1] + x[2] + x[3] - x[0] * (x[7] * (x[5] + x[6]) + x[4] * x[8]) - 50_000_000.0
    });
    let population = population(&inputs);
    let result = spread(&law, &population, 1 << 19);
    check("mean", result.mean.unwrap(), 837.999, 5.0 * result.standard_error.unwrap());
    check("u", result.sd.unwrap(), 35.812, 0.2);
    let linear = first_order(&law, 0, &population, &[]).unwrap().unwrap().result;
    check("first-order u", linear.sd, 32.0, 0.5);
}

#[test]
fn a_packet_is_shared() {
    // Common practice, no source: a shim sold as 0.381 measures 0.411 and two sold as 0.762 measure 0.822, all 7.9 % thick: one packet's
    // deviation. Three shims with a shared deviation spread as 3·between, not √3·between.
    let shims = |lot: bool| -> Vec<Variable> {
        [0.381, 0.762, 0.762]
            .iter()
            .enumerate()
            .map(|(k, &nominal)| Variable {
                label: format!("shim {k}"),
                distribution: Distribution::normal(nominal, 0.002).unwrap(),
                lot: lot.then_some(0),
            })
            .collect()
    };
    let lots = [Lot { name: "packet".to_owned(), bias: 0.05, between: 0.01 }];
    let shared = Population::new(&shims(true), &lots, &[]).unwrap();
    let result = first_order(&sum(3), 0, &shared, &lots).unwrap().unwrap();
    let expected = (9.0 * 1e-4_f64 + 3.0 * 4e-6).sqrt();
    check("first order", result.result.sd, expected, 1e-9);
    check("bias included", result.result.mean, 1.905 + 0.15, 1e-12);
    assert_eq!(result.contributors[0].dimension, "lot/packet");
    check("lot share", result.lot_share, 9e-4 / (9e-4 + 12e-6), 1e-7);
    let monte_carlo = spread(&sum(3), &shared, 1 << 18);
    check("monte carlo", monte_carlo.sd.unwrap(), expected, 5.0 * expected / (2.0_f64 * 262_144.0).sqrt());
    let independent = (3.0 * (1e-4 + 4e-6_f64)).sqrt();
    assert!(monte_carlo.sd.unwrap() > 1.6 * independent);
    let alone = Population::new(&shims(false), &lots, &[]).unwrap();
    check("without", first_order(&sum(3), 0, &alone, &lots).unwrap().unwrap().result.mean, 1.905, 1e-12);
}

#[test]
fn correlations_are_those_asked_for_and_contradictions_are_refused() {
    let normal = Distribution::normal(0.0, 1.0).unwrap();
    let inputs = variables(&[normal.clone(), normal.clone(), normal]);
    let tie = |a, b, coefficient| Correlation { between: (a, b), coefficient };
    let tied = Population::new(&inputs, &[], &[tie(0, 1, 0.6)]).unwrap();
    let difference = Function::new(3, |x: &[f64]| x[0] - x[1]);
    check("sd", spread(&difference, &tied, 1 << 18).sd.unwrap(), 0.8_f64.sqrt(), 0.006);
    check("first order", first_order(&difference, 0, &tied, &[]).unwrap().unwrap().result.sd, 0.8_f64.sqrt(), 1e-8);
    // The same result whether or not an unused dimension is tied elsewhere.
    let before = spread(&difference, &tied, 5000);
    let mut more = inputs.clone();
    more.push(Variable { label: "unused".into(), ..inputs[0].clone() });
    more.push(Variable { label: "unused too".into(), ..inputs[0].clone() });
    let wider = Population::new(&more, &[], &[tie(0, 1, 0.6), tie(3, 4, -0.9)]).unwrap();
    assert_eq!(before, spread(&Function::new(5, |x: &[f64]| x[0] - x[1]), &wider, 5000));
    // Fully tied: no difference is left.
    let same = Population::new(&inputs, &[], &[tie(0, 1, 1.0)]).unwrap();
    assert!(spread(&difference, &same, 2000).sd.unwrap() < 1e-12);
    let refused = Population::new(&inputs, &[], &[tie(0, 1, 0.9), tie(1, 2, 0.9), tie(0, 2, -0.9)]);
    assert!(matches!(refused, Err(SpreadError::NotPositiveSemidefinite { eigenvalue, .. }) if eigenvalue < -0.5));
    assert!(matches!(Population::new(&inputs, &[], &[tie(0, 1, 1.2)]), Err(SpreadError::Coefficient { .. })));
    assert!(matches!(Population::new(&inputs, &[], &[tie(1, 1, 0.2)]), Err(SpreadError::RepeatedPair { .. })));
}

#[test]
fn threads_and_shards_change_no_byte() {
    let population = population(&[
        Distribution::normal(1.0, 0.1).unwrap(),
        Distribution::scaled_shifted_t(3.0, 0.0, 0.1).unwrap(),
        Distribution::rectangular(-1.0, 1.0).unwrap(),
    ]);
    let law = Function::new(3, |x: &[f64]| x[0] * x[0] + x[1] * x[2]);
    let run = MonteCarlo::new(&law, &population, &[Bounds { lower: 0.7, upper: 1.3 }], 3).unwrap();
    let trials = 300_001;
    let by_threads = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| run.run(trials, &Silent).unwrap())
    };
    let whole = by_threads(1);
    assert_eq!(whole.trials(), trials);
    for threads in [2, 3, 8] {
        assert_eq!(whole, by_threads(threads), "{threads} threads");
    }
    // Three machines, out of order, by letter.
    let last = blocks_of(trials);
    let letter = |blocks| {
        let part = run.part(trials, blocks, &Silent).unwrap();
        serde_json::to_string(&PartialState::from(&part)).unwrap()
    };
    let read = |text: &str| Partial::try_from(&serde_json::from_str::<PartialState>(text).unwrap()).unwrap();
    let mut merged = read(&letter(200..last));
    merged.merge(&read(&letter(0..77))).unwrap();
    assert_ne!(whole, merged);
    merged.merge(&read(&letter(77..200))).unwrap();
    assert_eq!(whole, merged);
    assert_eq!(format!("{:?}", whole.spread(0)), format!("{:?}", merged.spread(0)));
    assert!(matches!(merged.merge(&read(&letter(0..1))), Err(SpreadError::Merge(_))));
    let other = MonteCarlo::new(&law, &population, &[Bounds::NONE], 4).unwrap().run(1024, &Silent).unwrap();
    assert!(matches!(merged.merge(&other), Err(SpreadError::Merge(_))));
}

#[test]
fn degenerate_runs_have_defined_answers() {
    let exact = population(&[Distribution::exact(2.0).unwrap()]);
    let limited = |lower, upper, trials| {
        let model = sum(1);
        let run = MonteCarlo::new(&model, &exact, &[Bounds::new(lower, upper)], 1).unwrap();
        run.run(trials, &Silent).unwrap().spread(0)
    };
    let one = limited(None, None, 1);
    assert_eq!((one.mean, one.sd, one.standard_error), (Some(2.0), None, None));
    let inside = limited(Some(1.0), Some(2.0), 1000);
    assert!(inside.out.total == 0.0 && inside.out.standard_error > 0.0 && inside.out.ci95.1 < 0.004);
    assert_eq!((inside.sd, inside.quantiles[2].value), (Some(0.0), 2.0));
    let outside = limited(Some(3.0), None, 1000);
    assert!(outside.out.below >= 1.0 && outside.out.ci95.0 > 0.99 && outside.out.ci95.1 >= 1.0);
    let model = sum(1);
    let run = MonteCarlo::new(&model, &exact, &[Bounds::NONE], 1).unwrap();
    assert!(matches!(run.run(0, &Silent), Err(SpreadError::Value { .. })));
}

#[test]
fn failed_trials_are_counted_and_named() {
    let normal = population(&[Distribution::normal(0.0, 1.0).unwrap()]);
    let root = Function::new(1, |x: &[f64]| x[0].sqrt());
    let run = MonteCarlo::new(&root, &normal, &[Bounds::NONE], 1).unwrap();
    let partial = run.run(10_000, &Silent).unwrap();
    let failed = partial.failed(normal.labels());
    assert!((failed.trials as f64 - 5000.0).abs() < 250.0 && failed.first.len() == 5);
    assert!(failed.first[0].contains("X1 = -"));
    assert_eq!(partial.spread(0).trials + failed.trials, 10_000);
    let mut out = [packdrift_pack::Outcome::CannotAssemble];
    assert!(matches!(root.respond(&[-1.0], &mut out), Err(ModelError::NotFinite { .. })));
}

#[test]
fn accuracy_asked_for_is_reached() {
    let four = population(&vec![Distribution::normal(0.0, 1.0).unwrap(); 4]);
    let model = sum(4);
    // P(|Z| > 2.5) = 0.012419 of N(0, 2²).
    let run = MonteCarlo::new(&model, &four, &[Bounds { lower: -5.0, upper: 5.0 }], 5).unwrap();
    let (partial, reached) = run.until(0.02, 10_000_000, &Silent).unwrap();
    let out = partial.spread(0).out;
    assert!(reached.reached && out.standard_error / out.total <= 0.02);
    check("share", out.total, 0.012_419_330_651_552, 5.0 * out.standard_error);
    let (_, reached) = run.until(0.001, 100_000, &Silent).unwrap();
    assert!(!reached.reached);
    let (partial, reached) = run.digits(2, 10_000_000, &Silent).unwrap();
    assert!(reached.reached && partial.trials() % 10_240 == 0);
    check("digits", partial.spread(0).sd.unwrap(), 2.0, 0.05);
    assert!(matches!(run.digits(9, 1, &Silent), Err(SpreadError::Value { .. })));
    assert!(matches!(run.until(0.0, 1, &Silent), Err(SpreadError::Value { .. })));
}

struct Stop;

impl Progress for Stop {
    fn advance(&self, _done: u64, _total: u64) {}

    fn cancelled(&self) -> bool {
        true
    }
}

#[test]
fn a_run_stops_when_told() {
    let normal = population(&[Distribution::normal(0.0, 1.0).unwrap()]);
    let model = sum(1);
    let run = MonteCarlo::new(&model, &normal, &[Bounds::NONE], 1).unwrap();
    assert_eq!(run.run(1 << 40, &Stop).unwrap_err(), SpreadError::Cancelled);
    assert_eq!(Options::default().trials, None);
}

#[test]
fn extremes_of_laws_that_are_not_monotone() {
    let ranges = |inputs: &[(f64, f64)]| LimitBox {
        inputs: inputs.to_vec(),
        lots: vec![(-0.5, 0.5)],
        lot_of: vec![None; inputs.len()],
    };
    let extremes = |model: &dyn Model, ranges: &LimitBox| {
        let worst = worst_case(model, 0, ranges).unwrap();
        (worst.min.unwrap(), worst.max.unwrap())
    };
    // A bowl with its lowest point inside, its highest at a corner.
    let bowl =
        Function::new(2, |x: &[f64]| (x[0] - 0.3).powi(2) + (x[1] + 0.1).powi(2) + 0.5 * (x[0] - 0.3) * (x[1] + 0.1));
    let (min, max) = extremes(&bowl, &ranges(&[(-1.0, 1.0), (-1.0, 1.0)]));
    // The corner (−1, −1): 1.3² + 0.9² + ½·1.3·0.9.
    assert!(min.abs() < 1e-15 && (max - 3.085).abs() < 1e-12, "{min} {max}");
    // |offset| as in an edge margin: both ends of one sum, and 0 inside.
    let edge = Function::new(6, |x: &[f64]| x.iter().sum::<f64>().abs());
    let (min, max) = extremes(&edge, &ranges(&[(-1.0, 1.2); 6]));
    assert!(min.abs() < 1e-9 && (max - 7.2).abs() < 1e-12, "{min} {max}");
    // A lot moves its members together: x₀ − x₁ does not feel it.
    let difference = Function::new(2, |x: &[f64]| x[0] - x[1]);
    let together = LimitBox { lot_of: vec![Some(0); 2], ..ranges(&[(0.0, 1.0), (0.0, 1.0)]) };
    assert_eq!(extremes(&difference, &together), (-1.0, 1.0));
    let (low, high) = extremes(&sum(2), &together);
    assert!((low + 1.0).abs() < 1e-12 && (high - 3.0).abs() < 1e-12);
}
