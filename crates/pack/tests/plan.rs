//! A plan's answers are those of the scalar path, to the last bit.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

mod support;

use packdrift_pack::{Outcome, Pack, Query};
use proptest::prelude::*;
use support::random::{BaySpec, bay};

/// Trials around the build: each dimension shaken by a factor that a small generator gives.
fn trials(x: &[f64], count: usize, size: f64, constant: impl Fn(usize) -> bool) -> Vec<Vec<f64>> {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
    };
    x.iter()
        .enumerate()
        .map(
            |(k, value)| {
                if constant(k) { vec![*value] } else { (0..count).map(|_| value * (1.0 + size * next())).collect() }
            },
        )
        .collect()
}

fn same_bits(a: Outcome, b: Outcome) -> bool {
    match (a, b) {
        (Outcome::Value(a), Outcome::Value(b)) => a.to_bits() == b.to_bits(),
        (Outcome::Range { low: a, high: b }, Outcome::Range { low: c, high: d }) => {
            a.to_bits() == c.to_bits() && b.to_bits() == d.to_bits()
        }
        (a, b) => a == b,
    }
}

fn compare(pack: &Pack, queries: &[Query], columns: &[Vec<f64>], count: usize) {
    let plan = pack.plan(queries);
    let mut block = plan.block(count + 7);
    let borrowed: Vec<&[f64]> = columns
        .iter()
        .enumerate()
        .map(|(k, column)| if plan.dimensions().iter().any(|id| id.0 == k) { column.as_slice() } else { &[] })
        .collect();
    plan.evaluate(&borrowed, count, &mut block);
    for trial in 0..count {
        let x: Vec<f64> =
            columns.iter().map(|column| if column.len() == 1 { column[0] } else { column[trial] }).collect();
        for (k, ask) in queries.iter().enumerate() {
            let (got, expected) = (block.outcome(k, trial), pack.evaluate(&ask.quantity, ask.condition, &x));
            assert!(same_bits(got, expected), "{ask:?}, trial {trial}: {got:?} from the plan, {expected:?} alone");
        }
    }
}

fn queries(bench: &support::Bench) -> Vec<Query> {
    (0..2)
        .flat_map(|condition| bench.quantities().into_iter().map(move |quantity| Query { quantity, condition }))
        .collect()
}

proptest! {
    #![proptest_config(support::cases(150))]

    #[test]
    fn any_bay(spec in bay(1.7, -0.3..1.1), size in prop_oneof![Just(1e-4), Just(0.03), Just(3.0)], odd in any::<bool>()) {
        let spec: BaySpec = spec;
        let bench = spec.build();
        let count = if odd { 77 } else { 64 };
        // Some dimensions exact, as diameters usually are.
        let columns = trials(&bench.x, count, size, |k| k % 5 == 2);
        compare(&bench.pack, &queries(&bench), &columns, count);
    }
}

#[test]
fn the_example_with_exact_and_with_scattering_diameters() {
    let bench = support::example();
    for exact in [true, false] {
        for count in [1, 63, 64, 65, 200] {
            let columns = trials(&bench.x, count, 0.02, |k| exact && (3..=4).contains(&k));
            compare(&bench.pack, &queries(&bench), &columns, count);
        }
    }
}

#[test]
fn diameters_far_apart_take_the_other_form_of_k1() {
    let mut bench = support::Bench::new(30.0);
    bench.disc("spring washer", 30.0, 7.4, 0.6, 0.6);
    bench.interfere(0, 0.2);
    let columns = trials(&bench.x, 130, 0.04, |_| false);
    compare(&bench.pack, &queries(&bench), &columns, 130);
}

#[test]
fn what_cannot_be_assembled_and_what_is_loose_shows() {
    let bench = support::example();
    let ask = queries(&bench);
    let plan = bench.pack.plan(&ask);
    let mut block = plan.block(3);
    let mut columns: Vec<Vec<f64>> = bench.x.iter().map(|value| vec![*value]).collect();
    columns[0] = vec![bench.x[0], bench.x[0] - 0.31, bench.x[0] + 0.5];
    let borrowed: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    plan.evaluate(&borrowed, 3, &mut block);
    let preload = ask.iter().position(|ask| ask.quantity.unit() == "N").unwrap();
    assert!(block.low(preload)[0] > 0.0);
    assert!(block.low(preload)[1].is_nan());
    assert_eq!(block.low(preload)[2].to_bits(), 0.0_f64.to_bits());
}
