//! Assortments and quantities: against going through all of them, and against the bench search.
#![allow(clippy::print_stdout, reason = "shows what it measured")]
#![allow(clippy::unwrap_used, clippy::float_cmp, reason = "a test")]

mod common;

use common::{Shaft, measured, spring_on_the_left, trade_pack};
use packdrift_pack::SolidKind::{Shim, Washer};
use packdrift_stock::{
    Assumptions, Bench, Corrections, Coverage, Demand, GradeWorth, Job, Measured, Options, Replenishment, Shortage,
    SimulationOptions, Size, SortingOptions, StockingBay, Stream, Weights, worth_of_sorting,
};
use std::time::{Duration, Instant};

fn size(thickness: f64, cost: f64) -> Size {
    Size { name: format!("{thickness:.2}"), thickness, bias: 0.0, between: 0.004, within: 0.004, cost, lead_days: 14.0 }
}

fn catalogue(n: usize) -> Vec<Size> {
    let thickness = [0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50, 0.60, 0.80, 1.00, 1.20, 1.50, 0.35, 0.45];
    thickness[..n].iter().map(|&t| size(t, 0.5 + t)).collect()
}

/// One shim left, a pair of washers right.
fn bay() -> StockingBay {
    let mut bay = StockingBay::sketch(&[(Shim, 0.4)], &[(Washer, 1.0)], &[(Washer, 1.0)]);
    (bay.offset, bay.sum) = ((-0.08, 0.08), (-0.10, 0.12));
    (bay.offset_sd, bay.sum_sd) = (0.015, 0.02);
    bay
}

fn demand() -> Demand {
    let normal = |mean, sd| Corrections::Normal { mean, sd };
    Demand {
        streams: vec![
            Stream {
                name: "new builds".to_owned(),
                rate_per_day: 0.2,
                correction: normal(0.0, 0.15),
                squeeze: normal(0.0, 0.03),
                worn_faces: 0.0,
            },
            Stream {
                name: "re-shims".to_owned(),
                rate_per_day: 0.1,
                correction: normal(0.35, 0.10),
                squeeze: normal(0.02, 0.02),
                worn_faces: 0.0,
            },
            Stream {
                name: "listed".to_owned(),
                rate_per_day: 0.02,
                correction: Corrections::List(vec![-0.3, 0.5]),
                squeeze: normal(0.0, 0.0),
                worn_faces: 0.0,
            },
        ],
    }
}

#[test]
fn the_best_assortment_is_the_best_of_all() {
    let jobs = demand().jobs(400, 1).unwrap();
    let coverage = Coverage::new(&bay(), &catalogue(10), &jobs).unwrap();
    let mut before = 0.0;
    for n in 1..=10 {
        let best = coverage.best(n).unwrap();
        let (share, _) = coverage.best_by_exhaustion(n);
        assert!(best.proven && best.bound == best.coverage, "{n}");
        assert_eq!(best.coverage, share, "{n}: {:?}", best.sizes);
        assert_eq!(coverage.share(&best.sizes), best.coverage);
        assert!(best.sizes.len() == n && best.coverage >= before);
        before = best.coverage;
    }
    assert!(before > 0.8, "{before}");
}

/// The smallest sets are held against plain trial: for every set of sizes, is there any way with chance enough?
#[test]
fn coverage_of_any_assortment_is_what_its_own_jobs_say() {
    let jobs = demand().jobs(120, 2).unwrap();
    let sizes = catalogue(7);
    let coverage = Coverage::new(&bay(), &sizes, &jobs).unwrap();
    for set in [vec![0, 3], vec![1, 5, 6], vec![2, 4], vec![0, 1, 2, 3, 4, 5, 6]] {
        let chosen: Vec<Size> = set.iter().map(|&k| sizes[k].clone()).collect();
        let alone = Coverage::new(&bay(), &chosen, &jobs).unwrap();
        let all: Vec<usize> = (0..chosen.len()).collect();
        assert_eq!(coverage.share(&set), alone.share(&all), "{set:?}");
    }
}

/// The stocking question and the bench search are one: from the same sizes, measured and plenty, a correction can be done by one exactly
/// where it can by the other, whichever side of the rocker its spring washer is on.
#[test]
fn jobs_are_done_where_the_bench_search_does_them() {
    agrees(&trade_pack(), 0.95, false, 0.06);
}

#[test]
fn so_they_are_with_the_spring_washer_on_the_left() {
    agrees(&spring_on_the_left(), 0.90, true, 0.12);
}

fn agrees(stack: &packdrift_spread::Stack, aim: f64, mirrored: bool, step: f64) {
    let weights = Weights::default();
    let u = 0.01;
    let sizes: Vec<Size> = [0.2, 0.3, 0.4, 0.7, 0.8]
        .iter()
        .map(|&t| Size { thickness: t, between: 0.0, within: 0.002, cost: 1.0, lead_days: 7.0, ..size(t, 1.0) })
        .collect();
    let mut drawer = Vec::new();
    for size in &sizes {
        for k in 0..4 {
            drawer.push(measured(&format!("{} {k}", size.name), size.thickness));
        }
    }
    let (mut done, mut agree, mut near) = (0, 0, 0);
    for k in -6..12 {
        let correction = step * f64::from(k) + 0.013;
        let reading = vec![Measured::read("exhaust", aim - correction, u)];
        let bench = Bench::new(stack, &reading, &drawer, Assumptions::default()).unwrap();
        let bay = bench.stocking_bay(u, 0.95, weights).unwrap();
        assert_eq!(bay.mirrored, mirrored);
        assert!(bay.lean.abs() < 0.01, "{}", bay.lean);
        // Beliefs move the present offset a little off the reading.
        let now = bench.now().unwrap().expectations[0].mean;
        let job = Job { correction: bay.aim - now, squeeze: 0.0, worn_faces: 0.0 };
        let coverage = Coverage::new(&bay, &sizes, &[job]).unwrap();
        let by_stock = coverage.share(&[0, 1, 2, 3, 4]) == 1.0;
        let proposal = bench
            .propose(&Options { list: 3, weights: Weights { per_part: 0.0, centring: 0.0 }, ..Options::default() })
            .unwrap();
        let best = proposal.builds.iter().map(|b| b.forecast.chance).fold(0.0, f64::max);
        let by_bench = best >= 0.95;
        done += i32::from(by_bench);
        agree += i32::from(by_stock == by_bench);
        // Chances within 0.02 of the threshold may fall either way: the stocking bay is linear, the forecast is not.
        near += i32::from(by_stock != by_bench && (best - 0.95).abs() < 0.02);
    }
    assert!((4..18).contains(&done), "{done}");
    assert_eq!(agree + near, 18, "{agree} agree, {near} near the threshold");
    assert!(agree >= 16);
}

/// A shim that changes sides moves its rocker by its own thickness and leaves the sum: the commonest re-shim takes nothing from the drawer,
/// whatever the catalogue has (common practice, no source). `shim` and `stock` say the same.
#[test]
fn a_shim_that_changes_sides_is_a_way_for_both() {
    let stack = Shaft::new(26.4, 0.005, 60.0)
        .solid(Shim, "left shim", 0.30, 0.002)
        .rocker("exhaust", 24.0, 11.0, 10.3, 0.02)
        .solid(Shim, "right shim", 0.30, 0.002)
        .linear_spring("spring washer", 150.0, 2.50, 0.9, 0.01)
        .require_offset(0, 0.85, 1.15, 1.0)
        .require_preload(75.0, 145.0)
        .stack();
    let useless = Size { thickness: 2.5, ..size(2.5, 1.0) };
    for (correction, possible) in [(0.30, true), (-0.30, true), (0.60, false), (0.0, true)] {
        let reading = [Measured::read("exhaust", 1.0 - correction, 0.01)];
        let bench = Bench::new(&stack, &reading, &[], Assumptions::default()).unwrap();
        let proposal = bench.propose(&Options::default()).unwrap();
        assert_eq!(proposal.fewest.is_some(), possible, "{correction}: {:?}", proposal.verdict);
        let bay = bench.stocking_bay(0.01, 0.95, Weights::default()).unwrap();
        let now = bench.now().unwrap().expectations[0].mean;
        let job = Job { correction: bay.aim - now, squeeze: 0.0, worn_faces: 0.0 };
        let share = Coverage::new(&bay, std::slice::from_ref(&useless), &[job]).unwrap().share_without();
        assert_eq!(share == 1.0, possible, "{correction}");
    }
}

/// Offset and sum err together: the piece that comes to the near side is thick or thin for both. With nothing else to err the chance that both are
/// inside is that of one alone, 2Φ(1) − 1 = 0.683; were they apart it would be 0.466.
#[test]
fn offset_and_sum_err_together() {
    let mut bay = StockingBay::sketch(&[], &[(Shim, 0.4)], &[]);
    (bay.offset, bay.sum) = ((-0.03, 0.03), (-0.03, 0.03));
    (bay.offset_sd, bay.sum_sd) = (1e-6, 1e-6);
    let sizes = [Size { between: 0.0, within: 0.03, ..size(0.5, 1.0) }];
    // The rocker moves by 0.5, and the sum grows by as much, as it should.
    let job = Job { correction: 0.5, squeeze: 0.5, worn_faces: 0.0 };
    let does = |bay: &StockingBay, chance: f64| {
        let mut bay = bay.clone();
        bay.chance = chance;
        Coverage::new(&bay, &sizes, &[job]).unwrap().share(&[0]) == 1.0
    };
    assert!(does(&bay, 0.67) && !does(&bay, 0.69));
    // Limits of the sum that the offset's deviation leaves: both inside where the piece is thick, never where they lie apart.
    bay.sum = (0.0, 0.03);
    bay.offset = (-0.03, 0.06);
    // 0 ≤ d ≤ 0.03: Φ(1) − Φ(0) = 0.341 is too little to ask for; with the offset's limits on the other side it would be less still.
    assert!(!does(&bay, 0.5));
    bay.sum = (-0.09, 0.03);
    bay.offset = (-0.03, 0.09);
    // −0.03 ≤ d ≤ 0.03 again, each limit from another quantity: 0.683 together, 0.708 apart, 0.841 if they erred against each other.
    assert!(does(&bay, 0.67) && !does(&bay, 0.69));
}

/// Faces that wore let the rocker move away from its spring washer: what brings it back is added to the sum, and a correction the other
/// way is not (common practice, no source). From behind the signs change.
#[test]
fn worn_faces_ask_for_a_larger_sum() {
    let sizes = catalogue(6);
    // Only one side may change: bringing the rocker back by 0.3 is possible where the sum may grow by as much.
    let mut front = bay();
    front.room.1 = 0;
    let job = |correction, worn_faces| Job { correction, squeeze: 0.0, worn_faces };
    let all: Vec<usize> = (0..6).collect();
    let does = |bay: &StockingBay, job| Coverage::new(bay, &sizes, &[job]).unwrap().share(&all) == 1.0;
    assert!(!does(&front, job(0.3, 0.0)) && does(&front, job(0.3, 1.0)));
    assert!(!does(&front, job(-0.3, 1.0)));
    let mut behind = front.clone();
    behind.mirrored = true;
    assert!(does(&behind, job(-0.3, 1.0)) && !does(&behind, job(0.3, 1.0)));
}

/// A job that takes three pieces is served by none of two: the levels are found all the same, and jobs that take nothing flatter no figure.
#[test]
fn jobs_that_take_several_pieces_are_served_from_nothing() {
    let sizes = [size(0.15, 1.0)];
    let options = SimulationOptions { replications: 6, jobs: 200, pool: 4000, ..SimulationOptions::default() };
    let mut open = bay();
    open.sum = (-1.0, 1.0);
    let normal = |mean, sd| Corrections::Normal { mean, sd };
    let stream = |name: &str, rate, correction| Stream {
        name: name.to_owned(),
        rate_per_day: rate,
        correction,
        squeeze: normal(0.0, 0.0),
        worn_faces: 0.0,
    };
    let kit = Demand {
        streams: vec![stream("fits as it is", 0.9, normal(0.0, 0.0)), stream("three at once", 0.1, normal(0.45, 0.0))],
    };
    let drawer = Replenishment::new(&open, &sizes, &kit, options).unwrap();
    assert_eq!(drawer.serve(&[2]).unwrap().share, 0.0);
    let levels = drawer.levels_for(0.95).unwrap().unwrap();
    assert!(levels.counts[0] >= 3 && levels.service.share >= 0.95, "{levels:?}");
    // 0.1 jobs a day, 14 days, 3 pieces each.
    assert!((drawer.lead_time_demand()[0] - 4.2).abs() < 0.7, "{:?}", drawer.lead_time_demand());
}

/// 10 000 jobs, 12 sizes, the best 5: at most 10 s on a quiet machine in a release build.
#[test]
fn a_fleet_is_quick() {
    let started = Instant::now();
    let jobs = demand().jobs(10_000, 3).unwrap();
    let coverage = Coverage::new(&bay(), &catalogue(12), &jobs).unwrap();
    let best = coverage.best(5).unwrap();
    println!("{:?} {} ± {} in {:?}", best.sizes, best.coverage, best.standard_error, started.elapsed());
    assert!(best.proven && best.coverage > 0.5);
    assert!(started.elapsed() < Duration::from_secs(40), "{:?}", started.elapsed());
}

/// The cheapest levels for two sizes, against going through all of them with the same jobs.
#[test]
fn the_cheapest_levels_are_the_cheapest_of_all() {
    let sizes = [size(0.6, 1.0), size(0.8, 1.7)];
    let options = SimulationOptions { replications: 8, jobs: 250, pool: 300, ..SimulationOptions::default() };
    let narrow = Demand {
        streams: vec![Stream {
            name: "re-shims".to_owned(),
            rate_per_day: 0.15,
            correction: Corrections::Normal { mean: 0.3, sd: 0.15 },
            squeeze: Corrections::Normal { mean: -0.1, sd: 0.15 },
            worn_faces: 0.0,
        }],
    };
    let mut wide = bay();
    (wide.offset, wide.sum) = ((-0.25, 0.25), (-0.3, 0.3));
    let drawer = Replenishment::new(&wide, &sizes, &narrow, options).unwrap();
    assert!(drawer.coverage() > 0.3, "{}", drawer.coverage());
    for wanted in [0.6, 0.9, 0.97] {
        let found = drawer.levels_for(wanted).unwrap().unwrap();
        let mut best = f64::INFINITY;
        for a in 0..=14 {
            for b in 0..=14 {
                let service = drawer.serve(&[a, b]).unwrap();
                if service.share >= wanted {
                    best = best.min(f64::from(a) * 1.0 + f64::from(b) * 1.7);
                }
            }
        }
        assert!(found.service.share >= wanted);
        assert!(found.proven);
        assert!((found.cost - best).abs() < 1e-9, "{wanted}: {} {:?} for {best}", found.cost, found.counts);
    }
}

/// One size standing in for another, and pieces shared by jobs: size by size the wanted service is missed, or costs more than together.
#[test]
fn sizes_are_judged_together() {
    let sizes = catalogue(7)[2..].to_vec();
    let options = SimulationOptions { replications: 10, jobs: 400, pool: 500, ..SimulationOptions::default() };
    let drawer = Replenishment::new(&bay(), &sizes, &demand(), options.clone()).unwrap();
    let apart = drawer.each_on_its_own(0.95).unwrap();
    let together = drawer.levels_for(0.95).unwrap().unwrap();
    // Size by size, a job that takes three sizes finds all three with the product of their chances: too few, or dearer.
    assert!(together.service.share >= 0.95, "{together:?}");
    assert!(apart.service.share < 0.95 || together.cost < apart.cost, "{together:?} {apart:?}");
    let curve = drawer.curve(0.95).unwrap();
    assert!(curve.windows(2).all(|w| w[1].cost > w[0].cost && w[1].service.share > w[0].service.share));
    // The same seed gives the same; elsewhere-supplied shortages load the drawer less than waiting ones.
    assert_eq!(drawer.levels_for(0.95).unwrap().unwrap(), together);
    let lost = SimulationOptions { shortage: Shortage::GotElsewhere, ..options };
    let lost = Replenishment::new(&bay(), &sizes, &demand(), lost).unwrap().serve(&together.counts).unwrap();
    assert!(lost.share >= together.service.share - 3.0 * lost.standard_error);
}

/// Measuring makes use of scatter: worth nothing for exact pieces, much for wild ones; a grade with no scatter cannot be worse than as bought.
#[test]
fn measuring_is_worth_what_the_scatter_is() {
    let jobs = demand().jobs(600, 4).unwrap();
    let options = SortingOptions { cost_of_measuring: 0.1, premium: 0.3, ..SortingOptions::default() };
    let exact: Vec<Size> = catalogue(8).into_iter().map(|s| Size { between: 0.0, within: 0.0, ..s }).collect();
    let tidy = worth_of_sorting(&bay(), &exact, &jobs, &options).unwrap();
    assert_eq!(tidy.as_bought, tidy.graded);
    let wild: Vec<Size> = catalogue(8).into_iter().map(|s| Size { between: 0.04, within: 0.02, ..s }).collect();
    let wild = worth_of_sorting(&bay(), &wild, &jobs, &options).unwrap();
    assert!(wild.gain_measured.share > 5.0 * wild.gain_measured.standard_error, "{wild:?}");
    assert!(wild.gain_graded.share > 3.0 * wild.gain_graded.standard_error, "{wild:?}");
    assert!(wild.gain_measured.share > tidy.gain_measured.share);
    assert!(wild.cost_measured.1.unwrap() > 0.0 && !matches!(wild.grade_worth_measuring, GradeWorth::NothingGained));
    assert!(!matches!(wild.grade_worth_measuring, GradeWorth::Grade(grade) if grade > 0.9), "{wild:?}");
    // Exact pieces: nothing to gain, and no figure that says otherwise.
    assert_eq!(tidy.grade_worth_measuring, GradeWorth::NothingGained);
    // Paired differences are known better than the shares they are taken of.
    let apart = wild.measured.standard_error.hypot(wild.as_bought.standard_error);
    assert!(wild.gain_measured.standard_error < apart);
}

/// The first jobs of a long list are the short list, and nonsense is refused with its value.
#[test]
fn jobs_are_a_prefix_and_checked() {
    let long = demand().jobs(3000, 9).unwrap();
    assert_eq!(long[..700], demand().jobs(700, 9).unwrap()[..]);
    let mut bad = demand();
    bad.streams[0].rate_per_day = f64::NAN;
    assert!(bad.jobs(10, 1).unwrap_err().to_string().contains("NaN"));
    bad.streams[0].rate_per_day = 1.0;
    bad.streams[0].correction = Corrections::List(Vec::new());
    assert!(bad.jobs(10, 1).is_err());
    assert!(Demand::default().jobs(10, 1).is_err());
    let mut bad = bay();
    bad.offset = (0.1, -0.1);
    assert!(Coverage::new(&bad, &catalogue(3), &long).unwrap_err().to_string().contains("-0.2"));
}
