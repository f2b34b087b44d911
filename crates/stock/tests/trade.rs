//! The bench work of the trade: what every fitter knows must come out of the search. Common practice, no source.
#![allow(clippy::items_after_statements, clippy::expect_used, reason = "a test stops at the first surprise")]
#![allow(clippy::unwrap_used, clippy::float_cmp, reason = "a test")]

mod common;

use common::{measured, size, trade_pack};
use packdrift_stock::{Assumptions, Bench, Measured, Options, Origin};

fn reading(offset: f64) -> Vec<Measured> {
    vec![Measured::read("exhaust", offset, 0.01)]
}

/// Two 1.00 mm washers beside the spring washer, measured 0.969 and 1.001; the rocker is to move by about 0.4 mm: a thin shim goes between
/// rocker and support and the pair is replaced by thinner ones. Pieces 0.381 and 0.762 that are 7.9 % thicker than sold: 0.411, 0.822,
/// 0.822: the build thin + two thick, 2.055 against 1.970, 0.085 mm of extra squeeze.
#[test]
fn thin_before_the_rocker_and_the_pair_replaced() {
    let drawer = [measured("A", 0.411), measured("B", 0.822), measured("C", 0.822)];
    let bench = Bench::new(&trade_pack(), &reading(0.55), &drawer, Assumptions::default()).unwrap();
    let proposal = bench.propose(&Options::default()).unwrap();
    assert!(proposal.proven);
    let best = &proposal.builds[0];
    let names: Vec<Vec<&str>> =
        best.places.iter().map(|place| place.pieces.iter().map(|piece| piece.name.as_str()).collect()).collect();
    // Left face | rocker: the thin one. Rocker | spring washer, spring washer | right face: a thick one each.
    assert_eq!(names[0], ["A"]);
    assert_eq!(names[1].len() + names[2].len(), 2);
    assert!(names[1] != names[2] && [names[1][0], names[2][0]].iter().all(|name| ["B", "C"].contains(name)));
    assert!((best.old_sum - 1.970).abs() < 1e-9 && (best.sum - 2.055).abs() < 1e-9);
    assert_eq!(best.touched, 5);
    assert!(best.forecast.chance > 0.95, "{}", best.forecast.chance);
    // The squeeze grows by 0.085 mm at 150 N/mm; the rocker moves by 0.411 mm.
    let cold = |forecast: &packdrift_stock::Forecast, kind| {
        let found = forecast.expectations.iter().find(|e| e.kind == kind && e.condition == "assembly").unwrap();
        found.mean
    };
    use packdrift_pack::QuantityKind::{Offset, Preload};
    let now = &proposal.now;
    assert!((cold(&best.forecast, Preload) - cold(now, Preload) - 0.085 * 150.0).abs() < 1e-6);
    assert!((cold(&best.forecast, Offset) - cold(now, Offset) - 0.411).abs() < 1e-9);
}

/// Had they been true to size the sum would be 1.905.
#[test]
fn true_to_size_the_sum_would_be_smaller() {
    let drawer = [measured("A", 0.381), measured("B", 0.762), measured("C", 0.762)];
    let bench = Bench::new(&trade_pack(), &reading(0.55), &drawer, Assumptions::default()).unwrap();
    let best = &bench.propose(&Options::default()).unwrap().builds[0];
    assert!((best.sum - 1.905).abs() < 1e-9);
}

/// Flat washers in the pair are exchanged both at once, in every build of the list.
#[test]
fn a_pair_is_exchanged_both_at_once() {
    let drawer: Vec<_> = (0..12).map(|k| measured(&format!("P{k}"), 0.30 + 0.07 * f64::from(k))).collect();
    let bench = Bench::new(&trade_pack(), &reading(0.60), &drawer, Assumptions::default()).unwrap();
    let proposal = bench.propose(&Options { list: 100, ..Options::default() }).unwrap();
    assert!(proposal.builds.len() > 2, "{}", proposal.builds.len());
    for build in &proposal.builds {
        let stays = |name: &str| {
            build.places.iter().flat_map(|p| &p.pieces).any(|p| p.name == name && p.origin == Origin::Stays)
        };
        assert_eq!(stays("inner washer"), stays("outer washer"));
        // Beside the spring washer there is a flat piece on either side.
        assert!(!build.places[1].pieces.is_empty() && !build.places[2].pieces.is_empty());
        assert!(build.places.iter().all(|place| place.pieces.len() <= 4));
    }
}

/// Several shims may be combined; one may be thinned on fine abrasive paper, and is told to what thickness.
#[test]
fn one_piece_may_be_thinned() {
    let drawer = [measured("A", 0.47), measured("B", 0.80), measured("C", 0.81)];
    let bench = Bench::new(&trade_pack(), &reading(0.55), &drawer, Assumptions::default()).unwrap();
    let without = bench.propose(&Options::default()).unwrap();
    let with = bench.propose(&Options { dress: Some(0.10), ..Options::default() }).unwrap();
    // Thinning counts as a part touched: it is advised where it makes the difference, and listed for what it makes better.
    let thinned = |build: &packdrift_stock::Build| build.put_in().any(|piece| piece.thinned_from.is_some());
    let best = with.builds.iter().find(|build| thinned(build)).unwrap();
    let thinned: Vec<_> = best.put_in().filter(|piece| piece.thinned_from.is_some()).collect();
    assert_eq!(thinned.len(), 1, "{best:?}");
    assert!(thinned[0].thickness >= thinned[0].thinned_from.unwrap() - 0.10 - 1e-9);
    assert!(thinned[0].thickness < thinned[0].thinned_from.unwrap());
    assert!(best.score > without.builds[0].score);
    assert!(with.builds.iter().all(|build| build.score <= best.score));
}

/// Sizes nobody has measured: the list says which to measure first, and warns that the build rests on them.
#[test]
fn unmeasured_sizes_are_told_and_ranked() {
    let drawer = [size("0.381", 0.381, 4), size("0.762", 0.762, 6), measured("A", 0.411)];
    let bench = Bench::new(&trade_pack(), &reading(0.55), &drawer, Assumptions::default()).unwrap();
    let proposal = bench.propose(&Options::default()).unwrap();
    assert!(!proposal.measure_first.is_empty());
    // The thick ones come twice and their size is off by more: they tell most.
    let first = &proposal.measure_first[0];
    assert_eq!(first.name, "0.762");
    assert!(first.gain >= 0.0 && (0.0..=1.0).contains(&first.gain_in_chance), "{first:?}");
    assert!(first.scatter_removed > 0.5 && first.scatter_removed <= 1.0 + 1e-9, "{first:?}");
    // What is measured already is not on the list.
    assert!(proposal.measure_first.iter().all(|m| m.name != "A"));
    assert!(proposal.warnings.iter().any(|w| w.to_string().contains("measure each before it is fitted")));
}

/// If nothing fits: what piece would, and the nearest that can be had.
#[test]
fn what_is_missing_is_told() {
    let mut order = size("0.45", 0.45, 0);
    order.lead_days = Some(9.0);
    let drawer = [measured("A", 0.15), measured("B", 0.82), measured("C", 0.82), order];
    let bench = Bench::new(&trade_pack(), &reading(0.50), &drawer, Assumptions::default()).unwrap();
    let proposal = bench.propose(&Options::default()).unwrap();
    let missing = proposal.missing.expect("nothing here is 0.45 mm thick");
    assert!((missing.thickness - 0.45).abs() < 0.08, "{}", missing.thickness);
    assert!(missing.build.forecast.chance > proposal.builds[0].forecast.chance);
    let order = missing.nearest_to_be_had.unwrap();
    assert_eq!((order.name.as_str(), order.lead_days), ("0.45", Some(9.0)));
    let (low, high) = missing.good_enough.unwrap();
    assert!(low < missing.thickness && missing.thickness < high);
}

/// After the build the offset is read again: what was expected, and what that teaches.
#[test]
fn a_reading_after_the_build_teaches() {
    let drawer = [size("0.381", 0.381, 4), size("0.762", 0.762, 6)];
    let bench = Bench::new(&trade_pack(), &reading(0.55), &drawer, Assumptions::default()).unwrap();
    let options = Options::default();
    let proposal = bench.propose(&options).unwrap();
    let first = proposal.builds.iter().find(|b| b.put_in().any(|p| p.name == "0.381")).unwrap();
    let expected = first.forecast.expectations.iter().find(|e| e.named && e.condition == "assembly").unwrap().clone();
    // The thin shim turns out 8 % thicker than sold.
    let read = expected.mean + 0.030;
    let after = bench.after(first, &reading(read), &options).unwrap();
    assert!((after.readings[0].surprise.expected - expected.mean).abs() < 1e-9);
    assert!(!after.readings[0].is_surprising());
    let now = after.now.expectations.iter().find(|e| e.named && e.condition == "assembly").unwrap();
    assert!(now.mean > expected.mean + 0.015 && now.sd < expected.sd, "{} {}", now.mean, now.sd);
    assert!(after.learned.iter().any(|l| l.path.contains("0.381") && l.after.0 > l.before.0));
    // Those left in the packet are now thought thicker, too.
    assert!(after.bench.drawer().iter().any(|piece| piece.name == "0.381" && piece.count < 4));
    let wild = bench.after(first, &reading(expected.mean + 0.5), &options).unwrap();
    assert!(wild.readings[0].is_surprising() && !wild.done && wild.doubt.is_some());
}

#[test]
fn nonsense_is_refused_with_its_value() {
    let stack = trade_pack();
    let bad = |offset: f64| Bench::new(&stack, &reading(offset), &[], Assumptions::default()).unwrap_err().to_string();
    assert!(bad(f64::NAN).contains("NaN"));
    assert!(bad(1e9).contains("1000000000"));
    let mut nobody = reading(0.5);
    nobody[0].valve = "inlet".to_owned();
    let error = Bench::new(&stack, &nobody, &[], Assumptions::default()).unwrap_err().to_string();
    assert!(error.contains("inlet") && error.contains("exhaust"), "{error}");
    let mut piece = measured("A", 0.4);
    piece.thickness = -0.4;
    let error = Bench::new(&stack, &reading(0.5), &[piece], Assumptions::default()).unwrap_err().to_string();
    assert!(error.contains("-0.4") && error.contains("\"A\""), "{error}");
}

/// An empty drawer still answers: leave it, or swap what is there.
#[test]
fn an_empty_drawer_leaves_the_bay_as_it_is() {
    let bench = Bench::new(&trade_pack(), &reading(0.94), &[], Assumptions::default()).unwrap();
    let proposal = bench.propose(&Options::default()).unwrap();
    assert!(proposal.builds[0].is_as_now());
    assert_eq!(proposal.fewest, Some(0));
    assert!(proposal.builds[0].forecast.chance > 0.95);
}

/// A flat washer is not replaced by a stack of thin shims: whatever comes in its stead holds a piece at least half as thick.
#[test]
fn a_washer_is_not_replaced_by_thin_shims_alone() {
    let drawer: Vec<_> = (0..30).map(|k| measured(&format!("P{k}"), 0.16 + 0.01 * f64::from(k))).collect();
    // Only pieces up to 0.45: the pair of 1.0 washers stays, however many of them would add up to it.
    let bench = Bench::new(&trade_pack(), &reading(0.60), &drawer, Assumptions::default()).unwrap();
    let stays = |build: &packdrift_stock::Build| {
        build.places.iter().flat_map(|p| &p.pieces).filter(|p| p.name.ends_with("washer")).count() == 2
    };
    let proposal = bench.propose(&Options { list: 60, ..Options::default() }).unwrap();
    assert!(!proposal.builds.is_empty());
    for build in &proposal.builds {
        assert!(stays(build), "{:?}", build.places);
    }
    let mut drawer = drawer;
    drawer.extend([measured("Q1", 0.62), measured("Q2", 0.63)]);
    let bench = Bench::new(&trade_pack(), &reading(0.60), &drawer, Assumptions::default()).unwrap();
    let proposal = bench.propose(&Options { list: 60, ..Options::default() }).unwrap();
    let mut exchanged = 0;
    for build in proposal.builds.iter().filter(|build| !stays(build)) {
        exchanged += 1;
        for place in &build.places[1..] {
            let thickest = place.pieces.iter().map(|piece| piece.thickness).fold(0.0, f64::max);
            assert!(thickest >= 0.5 * 0.969, "{place:?}");
        }
    }
    assert!(exchanged > 0, "with thicker pieces the pair is exchanged");
}

/// After a build the pieces in the washers' stead are a pair like them: the next build exchanges both or none.
#[test]
fn what_stands_for_the_pair_is_a_pair() {
    let drawer =
        [measured("A", 0.411), measured("B", 0.822), measured("C", 0.822), measured("D", 0.70), measured("E", 0.71)];
    let options = Options { list: 40, ..Options::default() };
    let bench = Bench::new(&trade_pack(), &reading(0.55), &drawer, Assumptions::default()).unwrap();
    let proposal = bench.propose(&options).unwrap();
    let first = proposal.builds.iter().find(|b| b.put_in().any(|p| p.name == "B") && b.put_in().any(|p| p.name == "C"));
    // Read twice: believed.
    let twice = [Measured { readings: vec![1.12, 1.12], ..Measured::unread("exhaust", 0.01) }];
    let after = bench.after(first.unwrap(), &twice, &options).unwrap();
    let next = after.next.expect("1.12 is out of its limits");
    assert!(!next.builds.is_empty());
    for build in &next.builds {
        let stays = |name: &str| {
            build.places.iter().flat_map(|p| &p.pieces).any(|p| p.name == name && p.origin == Origin::Stays)
        };
        assert_eq!(stays("B"), stays("C"), "{build:?}");
    }
}

/// Where faces wore, the rocker moved away from its spring washer and the squeeze went with it; with the stem's axis moved it did not.
#[test]
fn worn_faces_have_taken_squeeze() {
    use packdrift_pack::QuantityKind::{Offset, Preload};
    let cold = |forecast: &packdrift_stock::Forecast, kind| {
        forecast.expectations.iter().find(|e| e.kind == kind && e.condition == "assembly").unwrap().mean
    };
    let bench = |offset, worn_faces| {
        let assumptions = Assumptions { worn_faces, ..Assumptions::default() };
        Bench::new(&trade_pack(), &reading(offset), &[], assumptions).unwrap().now().unwrap()
    };
    let drawn = bench(0.55, 0.0);
    // The spring washer is on the right: wear moves the rocker left, the offset falls. 0.2 mm at 150 N/mm are 30 N.
    let worn = bench(0.35, 1.0);
    assert!((cold(&worn, Offset) - 0.35).abs() < 0.01 && (cold(&drawn, Offset) - 0.55).abs() < 0.01);
    assert!((cold(&drawn, Preload) - cold(&worn, Preload) - 30.0).abs() < 1.0, "{}", cold(&worn, Preload));
    let half = bench(0.35, 0.5);
    assert!((cold(&drawn, Preload) - cold(&half, Preload) - 15.0).abs() < 1.0, "{}", cold(&half, Preload));
    // The other way it cannot be wear of faces.
    assert!((cold(&bench(0.75, 1.0), Preload) - cold(&drawn, Preload)).abs() < 1.0);
}

/// A slipped decimal after the build stops nothing: whatever it says, it is to be read again, and the repetition decides.
#[test]
fn a_slipped_decimal_is_read_again_and_forgotten() {
    let drawer = [measured("A", 0.411), measured("B", 0.822), measured("C", 0.822)];
    let bench = Bench::new(&trade_pack(), &reading(0.55), &drawer, Assumptions::default()).unwrap();
    let options = Options::default();
    let build = &bench.propose(&options).unwrap().builds[0];
    let expected = build.forecast.expectations[0].mean;
    for slipped in [10.0 * expected, 0.1 * expected, -expected, 99.0, -99.0] {
        let once = [Measured { readings: vec![slipped], ..Measured::unread("exhaust", 0.01) }];
        let after = bench.after(build, &once, &options).unwrap();
        assert!(!after.done && after.doubt.is_some(), "{slipped}: {:?}", after.verdict);
        let twice = [Measured { readings: vec![slipped, expected], ..Measured::unread("exhaust", 0.01) }];
        let after = bench.after(build, &twice, &options).unwrap();
        assert!(after.done && after.doubt.is_none(), "{slipped}: {:?}", after.verdict);
        let believed: Vec<bool> = after.readings.iter().map(|one| one.believed).collect();
        assert_eq!(believed, [false, true]);
    }
}
