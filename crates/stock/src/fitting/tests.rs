//! The search of a fitting beside every option there is.

use super::choose::exhaustive;
use super::{AtHand, Deviations, Doubts, FittingBay, Knowledge, MOST_ADDED, Scatter, Workspace, ZoneOptions};
use crate::objective::Weights;
use crate::stocking::Size;
use packdrift_numerics::stream::Key;
use packdrift_spread::{Known, Require, SpringForm, Stack, StackBuilder};

/// A rocker that rests on a shim: the bay of tests/outside/whole_shop.py.
fn one_rocker(half_width: f64) -> Stack {
    let spring = SpringForm::Linear { rate: Known::exact(150.0), free_height: Known::exact(3.0) };
    StackBuilder::new("one rocker")
        .bay("bay", Known::exact(28.0), |bay| {
            bay.shim("shim", Known::toleranced(0.40, 0.03))
                .rocker("rocker", Known::exact(24.0), Known::toleranced(11.0, 0.12))
                .spring("spring", spring)
                .washer("outer", Known::exact(1.0))
                .valve("exhaust", "rocker", Known::toleranced(10.4, 0.30))
        })
        .require(Require::offset("exhaust").between(1.0 - half_width, 1.0 + half_width))
        .require(Require::preload("bay").between(10.0, 170.0))
        .build()
        .unwrap()
}

fn sizes(thicknesses: &[f64]) -> Vec<Size> {
    let size = |&thickness: &f64| Size {
        name: format!("{thickness:.2}"),
        thickness,
        bias: 0.0,
        between: 0.004,
        within: 0.006,
        cost: 1.0,
        lead_days: 10.0,
    };
    thicknesses.iter().map(size).collect()
}

/// Two rockers against the ends, a spring washer and flat washers between them: whatever is put on the left moves one, on the right the
/// other, and between them neither.
fn two_rockers() -> Stack {
    let spring = SpringForm::Linear { rate: Known::exact(150.0), free_height: Known::exact(3.0) };
    let material = |bay: packdrift_spread::BayBuilder| {
        bay.shim("left shim", Known::toleranced(0.40, 0.03))
            .rocker("rocker 1", Known::toleranced(24.0, 0.03), Known::toleranced(11.0, 0.12))
            .washer("inner", Known::toleranced(1.0, 0.02))
            .spring("spring", spring)
            .rocker("rocker 2", Known::toleranced(24.0, 0.03), Known::toleranced(12.0, 0.12))
            .shim("right shim", Known::toleranced(0.40, 0.03))
            .valve("1", "rocker 1", Known::toleranced(10.4, 0.20))
            .valve("2", "rocker 2", Known::toleranced(39.4, 0.20))
    };
    StackBuilder::new("two rockers")
        .bay("bay", Known::toleranced(52.4, 0.05), material)
        .require(Require::offset("1").between(0.90, 1.10))
        .require(Require::offset("2").between(0.90, 1.10))
        .require(Require::preload("bay").between(10.0, 170.0))
        .build()
        .unwrap()
}

/// How the search ends beside every set of options there is: share of builds in which it misses the best, and the largest loss.
fn beside_everything(stack: &Stack, thicknesses: &[f64], builds: u64) -> (f64, f64) {
    let bay = FittingBay::new(stack, 0, Weights::default()).unwrap().unwrap();
    let sizes = sizes(thicknesses);
    let options = ZoneOptions::new(&bay, &sizes, None);
    let own: Vec<f64> = stack.inputs.iter().map(|i| i.distribution.standard_uncertainty()).collect();
    let knowledge =
        Knowledge::new(&bay, &Scatter { stack, own: &own, u_offset: 0.02, repeatability: 0.01, u_drawn: None });
    let none = vec![0.0; sizes.len() * bay.zones() * MOST_ADDED];
    let deviations = Deviations { true_ones: &none, seen: None };
    let at_hand = AtHand { options: &options, knowledge: &knowledge, deviations };
    let key = Key::new(7, "fitting/tests");
    let mut work = Workspace::default();
    let (mut missed, mut largest) = (0, 0.0_f64);
    for build in 0..builds {
        let mut stream = key.stream(build);
        // Well beyond what the tolerances give: ± 0.35 mm.
        let off: Vec<f64> = (0..bay.rockers()).map(|_| 0.7 * (stream.uniform() - 0.5)).collect();
        let first = Doubts::First { off };
        let (found, best) = (bay.choose(&at_hand, &first, &mut work), exhaustive(&bay, &at_hand, &first));
        assert!(found.score <= best.score, "nothing is better than the best of all: {found:?} {best:?}");
        let loss = best.score - found.score;
        missed += u64::from(loss > 1e-9);
        largest = largest.max(loss);
        // And once more, read again off by chance.
        let again: Vec<f64> = (0..bay.rockers()).map(|_| 0.3 * (stream.uniform() - 0.5)).collect();
        let second = bay.learn(&at_hand, &first, &found, &again);
        let (found, best) = (bay.choose(&at_hand, &second, &mut work), exhaustive(&bay, &at_hand, &second));
        let loss = best.score - found.score;
        missed += u64::from(loss > 1e-9);
        largest = largest.max(loss);
    }
    (missed as f64 / (2 * builds) as f64, largest)
}

/// With one rocker the search is exact: what bounds it is a true bound.
#[test]
fn one_rocker_gets_the_best_pieces_there_are() {
    for sizes in [&[0.2, 0.3, 0.5, 0.6][..], &[0.1, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.7, 0.8]] {
        let (missed, largest) = beside_everything(&one_rocker(0.10), sizes, if sizes.len() > 6 { 10 } else { 300 });
        assert!(missed <= 0.0, "{missed} missed, by {largest}");
    }
}

#[test]
fn two_rockers_get_nearly_the_best() {
    let (missed, largest) = beside_everything(&two_rockers(), &[0.2, 0.3, 0.5, 0.6], 100);
    assert!(missed <= 0.03 && largest < 0.01, "{missed} missed, by {largest}");
}
