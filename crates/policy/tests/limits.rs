//! The joint choice in its limits: closed form, `allocate` without a drawer, `stock` with fixed tolerances, and brute force on a small case.

#![allow(clippy::expect_used, reason = "a failed expectation fails the test")]

use packdrift_policy::{Asked, Choice, Effort, Known, Pieces, Prices, Question, Shop, choose_policy, estimate_choice};
use packdrift_spread::{
    AllocateOptions, Cost, Known as Given, Require, Silent, SpringForm, Stack, StackBuilder, allocate,
};
use packdrift_stock::{Assumptions, Bench, Corrections, Coverage, Demand, Measured, Size, Stream, Weights};

fn graded(nominal: f64, tol: f64, grades: &[(f64, f64)]) -> Given {
    Given::toleranced(nominal, tol).at_cost(Cost::Grades(grades.to_vec()))
}

const STEM: [(f64, f64); 3] = [(0.05, 9.0), (0.12, 4.0), (0.30, 2.0)];
const ADJUSTER: [(f64, f64); 3] = [(0.03, 6.0), (0.06, 3.0), (0.12, 1.5)];
const SHIM: [(f64, f64); 3] = [(0.006, 2.0), (0.015, 0.8), (0.03, 0.3)];

/// A rocker against its left face and shim, a spring washer and a washer on its right: the offset is shim + adjuster − stem.
fn one_rocker(half_width: f64, stem: Given, shim: Given) -> Stack {
    let spring = SpringForm::Linear { rate: Given::exact(150.0), free_height: Given::exact(3.0) };
    StackBuilder::new("one rocker")
        .bay("bay", Given::exact(28.0), |bay| {
            bay.shim("shim", shim)
                .rocker("rocker", Given::exact(24.0), graded(11.0, 0.06, &ADJUSTER))
                .spring("spring", spring)
                .washer("outer", Given::exact(1.0))
                .valve("exhaust", "rocker", stem)
        })
        .require(Require::offset("exhaust").between(1.0 - half_width, 1.0 + half_width).max_out(0.01))
        .require(Require::preload("bay").between(10.0, 170.0).max_out(0.01))
        .build()
        .expect("a sound stack")
}

fn sizes(thicknesses: &[f64], between: f64, within: f64) -> Vec<Size> {
    let size = |&thickness: &f64| Size {
        name: format!("{thickness:.2}"),
        thickness,
        bias: 0.0,
        between,
        within,
        cost: 0.9,
        lead_days: 14.0,
    };
    thicknesses.iter().map(size).collect()
}

fn prices() -> Prices {
    Prices {
        minute: Some(0.8),
        read_minutes: Some(1.0),
        open_minutes: Some(2.0),
        piece_minutes: Some(0.5),
        measuring: Some(0.3),
        builds_a_year: Some(250.0),
        ..Prices::default()
    }
}

/// Exact pieces of an even ladder, exact readings: whatever the build, the nearest step leaves a residual that is rectangular over one step
/// (the offset scatters by a step, so what is left of its own shape is 2·e^(−2π²), 5e-9). Limits of ± h leave 1 − 2h/step outside,
/// and none where 2h is a step.
#[test]
fn an_even_ladder_leaves_a_rectangular_residual() {
    let shop = Shop { u_offset: 0.0, second_fitting: false, ..Shop::default() };
    let stem = graded(10.4, 0.3, &[(0.3, 1.0)]);
    let ladder: Vec<f64> = (1..=12).map(|k| 0.1 * f64::from(k)).collect();
    for (half_width, outside) in [(0.040, 0.2), (0.030, 0.4), (0.0501, 0.0)] {
        let stack = one_rocker(half_width, stem.clone(), Given::exact(0.40));
        let question = Question::new(
            &stack,
            &sizes(&ladder, 0.0, 0.0),
            &prices(),
            &shop,
            &Asked { max_out: None, most_sizes: 12 },
        )
        .expect("a question");
        let levels = question.priced.iter().map(|p| p.now as u8).collect();
        let choice = Choice { levels, sizes: (1 << 12) - 1, pieces: Pieces::AsBought };
        let n = 32_768;
        let found = estimate_choice(&question, &choice, n, 5).expect("an estimate").out.value;
        let se = (outside * (1.0 - outside) / n as f64).sqrt();
        // 1e-4 besides: beyond 4 sd the ladder ends.
        assert!((found - outside).abs() < 4.0 * se + 3e-4, "±{half_width}: {found} for {outside}");
    }
}

/// Without a drawer it is `allocate`: of all grades the cheapest whose builds keep the ceiling unfitted are those it finds, with its share
/// outside.
#[test]
fn without_a_drawer_it_is_allocate() {
    let stack = one_rocker(0.12, graded(10.4, 0.12, &STEM), graded(0.40, 0.03, &SHIM));
    let catalogue = sizes(&[0.2, 0.3], 0.004, 0.004);
    let question =
        Question::new(&stack, &catalogue, &prices(), &Shop::default(), &Asked::default()).expect("a question");
    let unfitted = |grades: u8| {
        let levels = vec![grades % 3, grades / 3 % 3, grades / 9];
        let choice = Choice { levels, sizes: 0, pieces: Pieces::AsBought };
        estimate_choice(&question, &choice, 65_536, 3).expect("an estimate")
    };
    let all: Vec<_> = (0..27).map(unfitted).collect();
    // Both lie in wide gaps between the shares of the 27 (1.7e-5 and 3.6e-3; 8.8e-3 and 3.4e-2 are nearest), so simulation tells them apart.
    for ceiling in [0.001, 0.02] {
        let options = AllocateOptions { max_out: Some(ceiling), ..AllocateOptions::default() };
        let plain = allocate(&stack, &options, &Silent).expect("allocated");
        let mut best: Option<&packdrift_policy::Estimate> = None;
        for found in &all {
            let apart = (found.out.value - ceiling).abs();
            assert!(apart > 4.0 * found.out.standard_error, "the ceiling must tell {found:?} apart");
            if found.out.value < ceiling && best.is_none_or(|b| found.cost.value < b.cost.value) {
                best = Some(found);
            }
        }
        let best = best.expect("grades that keep it");
        assert!((best.cost.value - plain.cost).abs() < 1e-9, "{} for {}", best.cost.value, plain.cost);
        let tols: Vec<f64> =
            question.priced.iter().zip(&best.choice.levels).map(|(p, &l)| p.levels[usize::from(l)].tol).collect();
        assert_eq!(tols, plain.dimensions.iter().map(|d| d.tol).collect::<Vec<_>>());
        let off = (best.out.value - plain.out.value).abs();
        assert!(off < 5.0 * best.out.standard_error.max(1e-5), "{:?} for {:?}", best.out, plain.out);
    }
}

/// Three dimensions in three grades, four sizes: every choice is gone through, and none that another look at all of them finds to keep the
/// ceiling is cheaper than the answer.
#[test]
fn brute_force_on_a_small_case() {
    let stack = one_rocker(0.10, graded(10.4, 0.12, &STEM), graded(0.40, 0.03, &SHIM));
    let catalogue = sizes(&[0.2, 0.3, 0.5, 0.6], 0.004, 0.004);
    let question =
        Question::new(&stack, &catalogue, &prices(), &Shop::default(), &Asked { max_out: None, most_sizes: 4 })
            .expect("a question");
    let effort = Effort { builds: 2048, final_builds: 32_768, ..Effort::default() };
    let policy = choose_policy(&question, &effort, &Silent).expect("an answer");
    // 27 sets of grades; no sizes, or 15 sets of sizes bought in two ways.
    assert_eq!(policy.known, Known::Exhausted { choices: policy_choices(&policy) });
    assert!(policy.verdict.is_shown(), "{:?}", policy.verdict);
    let mut cheapest = f64::INFINITY;
    for grades in 0..27_u8 {
        for set in 0..16_u64 {
            for pieces in [Pieces::AsBought, Pieces::Measured] {
                let levels = vec![grades % 3, grades / 3 % 3, grades / 9];
                if set == 0 && pieces == Pieces::Measured {
                    continue;
                }
                let choice = Choice { levels, sizes: set, pieces };
                let quick = estimate_choice(&question, &choice, 1024, 99).expect("an estimate");
                // Only what may be cheaper and keep the ceiling is looked at longer.
                if quick.out.value > 0.025 || quick.cost.value > policy.best.cost.value {
                    continue;
                }
                let long = estimate_choice(&question, &choice, 32_768, 98).expect("an estimate");
                if long.bound <= 0.97 * question.ceiling {
                    cheapest = cheapest.min(long.cost.value);
                }
            }
        }
    }
    assert!(policy.best.cost.value <= cheapest + 0.05, "{} for {cheapest}", policy.best.cost.value);
}

fn policy_choices(policy: &packdrift_policy::Policy) -> usize {
    match policy.known {
        Known::Exhausted { choices } => {
            assert!(choices >= 27 * (1 + 15 * 2), "{choices}");
            choices
        }
        Known::BestFound { .. } => 0,
    }
}

/// With the tolerances fixed, exact pieces and an exact gauge it is `stock`: of every set of sizes the share of builds that ends inside is the
/// share of the jobs of new builds that can be done from it, and the sets that `stock` finds best leave least outside. Nothing of the
/// search is shared: `stock` solves jobs that are drawn from a normal, here whole builds are fitted and judged.
#[test]
fn with_fixed_tolerances_it_is_stock() {
    let (h, spring) = (0.08, SpringForm::Linear { rate: Given::exact(150.0), free_height: Given::exact(3.0) });
    let stack = StackBuilder::new("one rocker")
        .bay("bay", Given::exact(28.0), |bay| {
            bay.shim("shim", Given::exact(0.40))
                .rocker("rocker", Given::exact(24.0), graded(11.0, 0.06, &[(0.06, 1.0)]))
                .spring("spring", spring)
                .washer("outer", Given::exact(1.0))
                .valve("exhaust", "rocker", graded(10.4, 0.25, &[(0.25, 1.0)]))
        })
        .require(Require::offset("exhaust").between(1.0 - h, 1.0 + h).max_out(0.01))
        .require(Require::preload("bay").between(10.0, 176.0).max_out(0.01))
        .build()
        .expect("a sound stack");
    let catalogue = sizes(&[0.2, 0.3, 0.5, 0.55], 0.0, 0.0);
    let shop = Shop { u_offset: 1e-5, ..Shop::default() };
    let asked = Asked { max_out: None, most_sizes: 4 };
    let question = Question::new(&stack, &catalogue, &prices(), &shop, &asked).expect("a question");

    let valve = [Measured::unread("exhaust", 0.0)];
    let bench = Bench::new(&stack, &valve, &[], Assumptions::default()).expect("a bench");
    let bay = bench.stocking_bay(1e-5, 0.5, Weights::default()).expect("a bay to stock for");
    let correction = bench.corrections_of_new_builds(&bay).expect("corrections");
    let squeeze = Corrections::Normal { mean: 0.0, sd: 0.0 };
    let stream = Stream { name: "new builds".into(), rate_per_day: 1.0, correction, squeeze, worn_faces: 0.0 };
    let jobs = Demand { streams: vec![stream] }.jobs(20_000, 4).expect("jobs");
    let coverage = Coverage::new(&bay, &catalogue, &jobs).expect("coverage");

    let builds = 16_384;
    let outside = |set: u64| {
        let levels = question.priced.iter().map(|p| p.now as u8).collect();
        let choice = Choice { levels, sizes: set, pieces: Pieces::AsBought };
        estimate_choice(&question, &choice, builds, 8).expect("an estimate").out.value
    };
    let held = |set: u64| (0..4).filter(|k| set >> k & 1 == 1).collect::<Vec<usize>>();
    let all: Vec<f64> = (0..16).map(outside).collect();
    for (set, &ours) in all.iter().enumerate() {
        let theirs = 1.0 - coverage.share(&held(set as u64));
        let error = (theirs * (1.0 - theirs) * (1.0 / builds as f64 + 1.0 / jobs.len() as f64)).sqrt();
        assert!((ours - theirs).abs() < 4.0 * error + 1e-3, "{:?}: {ours}, by stock {theirs}", held(set as u64));
    }
    for n in 1..=3_u32 {
        let best = coverage.best(n as usize).expect("an assortment").sizes;
        let of_set = |set: &u64| all[*set as usize];
        let least = (0..16_u64).filter(|set| set.count_ones() == n).map(|set| of_set(&set)).fold(1.0, f64::min);
        let theirs = of_set(&best.iter().map(|k| 1_u64 << k).sum());
        assert!(theirs < least + 3e-3, "{n} sizes: {best:?} leaves {theirs}, the best {least}");
    }
    assert!(all[0] > 0.2 && all[15] < 0.01, "sizes matter: {all:?}");
}

/// A ceiling that is kept by a limit which can never bind is not shown to be kept, and which limit is named.
#[test]
fn nothing_is_shown_by_a_limit_that_can_never_bind() {
    let mut stack = one_rocker(0.12, graded(10.4, 0.05, &STEM), graded(0.40, 0.006, &SHIM));
    let catalogue = sizes(&[0.2, 0.3], 0.004, 0.004);
    let effort = Effort { builds: 1024, choices: 20, final_builds: 4096, seed: 2 };
    let verdict = |stack: &Stack| {
        let asked = Asked { max_out: Some(0.2), most_sizes: 2 };
        let question = Question::new(stack, &catalogue, &prices(), &Shop::default(), &asked).expect("a question");
        packdrift_policy::cheapest_choice(&question, &effort, &Silent).expect("a choice").1
    };
    assert!(verdict(&stack).is_shown(), "{:?}", verdict(&stack));
    stack.requirements[1].upper = Some(17_000_000.0);
    let slipped = verdict(&stack);
    assert!(!slipped.is_shown() && slipped.reasons().iter().any(|why| why.contains("never bind")), "{slipped:?}");
}
