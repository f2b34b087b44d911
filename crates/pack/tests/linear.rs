//! Linear forms and monotonicity say of a whole region what the gradient says of a point.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

mod support;

use packdrift_pack::{LinearForm, Monotone, Outcome, Quantity};
use proptest::prelude::*;
use support::Bench;
use support::random::bay;

fn weights(form: &LinearForm, dimensions: usize) -> Vec<f64> {
    let mut weights = vec![0.0; dimensions];
    for (id, weight) in &form.terms {
        weights[id.0] += weight;
    }
    weights
}

proptest! {
    #![proptest_config(support::cases(300))]

    /// Under load a linear quantity is its form, and the form's weights are the gradient.
    #[test]
    fn forms_are_the_quantity_and_its_gradient(spec in bay(1.8, 0.01..0.95)) {
        let bench = spec.build();
        for condition in 0..2 {
            let Ok(state) = bench.pack.equilibrium(0, condition, &bench.x) else { continue };
            if let Some(form) = bench.pack.interference_form(0, condition) {
                prop_assert!((form.value(&bench.x) - state.interference).abs() < 1e-11);
            }
            if let Some(form) = bench.pack.room_left_form(0, condition) {
                prop_assert!((form.value(&bench.x) - (state.room - state.interference)).abs() < 1e-11);
            }
            if state.load == 0.0 { continue; }
            for quantity in bench.quantities() {
                let Some(form) = bench.pack.linear_form(&quantity, condition) else { continue };
                let value = bench.evaluate(quantity, condition).middle().unwrap();
                prop_assert!((form.value(&bench.x) - value).abs() < 1e-11, "{:?}", quantity);
                let mut gradient = vec![0.0; bench.x.len()];
                let weights = weights(&form, bench.x.len());
                if bench.pack.gradient(&quantity, condition, &bench.x, &mut gradient).is_some() {
                    for (slope, weight) in gradient.iter().zip(&weights) {
                        prop_assert!((slope - weight).abs() < 1e-12, "{:?}: {} {}", quantity, slope, weight);
                    }
                }
            }
        }
    }

    /// What is said to rise with a dimension rises with it anywhere in the box, loose or loaded.
    #[test]
    fn monotone_means_monotone(
        spec in bay(1.3, -0.1..0.9), shake in proptest::collection::vec(-1.0..1.0, 60), up in 0.0..1.0, width in 0.001..0.03,
    ) {
        let bench = spec.build();
        let lower: Vec<f64> = bench.x.iter().map(|x| x - width * x.abs()).collect();
        let upper: Vec<f64> = bench.x.iter().map(|x| x + width * x.abs()).collect();
        let x: Vec<f64> = bench.x.iter().zip(&shake).map(|(x, shake)| x + width * x.abs() * shake).collect();
        for quantity in bench.quantities() {
            for condition in 0..2 {
                let signs = bench.pack.monotone(&quantity, condition, &lower, &upper);
                prop_assert_eq!(signs.len(), x.len());
                for (k, sign) in signs.iter().enumerate() {
                    let mut higher = x.clone();
                    higher[k] += up * (upper[k] - x[k]);
                    let (Some(a), Some(b)) = (
                        bench.pack.evaluate(&quantity, condition, &x).ends(),
                        bench.pack.evaluate(&quantity, condition, &higher).ends(),
                    ) else { continue };
                    let slack = 1e-9 * a.0.abs().max(1.0);
                    let holds = match sign {
                        Monotone::Rising => b.0 >= a.0 - slack && b.1 >= a.1 - slack,
                        Monotone::Falling => b.0 <= a.0 + slack && b.1 <= a.1 + slack,
                        Monotone::Without => (b.0 - a.0).abs() <= slack && (b.1 - a.1).abs() <= slack,
                        Monotone::Unknown => true,
                    };
                    prop_assert!(holds, "{:?} is not {:?} in {}", quantity, sign, bench.pack.dimensions[k].path);
                }
            }
        }
    }
}

#[test]
fn where_a_rocker_lies_decides_whether_its_offset_is_linear() {
    let offset = Quantity::Offset { bay: 0, valve: 0 };
    let build = |left: bool, right: bool| {
        let mut bench = Bench::new(28.0);
        if left {
            bench.linear("left", 60.0, 2.0, None);
        }
        let rocker = bench.rocker("rocker", 24.0, 11.0);
        bench.solid("shim", 0.5);
        if right {
            bench.linear("right", 60.0, 2.0, None);
        }
        bench.valve("exhaust", rocker, 11.0);
        bench
    };
    for (left, right, linear) in [(false, true, true), (true, false, true), (true, true, false), (false, false, true)] {
        assert_eq!(build(left, right).pack.is_linear(&offset, 0), linear, "left {left}, right {right}");
    }
    // From the right face back: span, shim, width, adjuster and stem, and nothing of the washer.
    let bench = build(true, false);
    let form = bench.pack.linear_form(&offset, 0).unwrap();
    let of = |path: &str| weights(&form, bench.x.len())[bench.pack.find_dimension(path).unwrap().0];
    for (path, weight) in [
        ("middle/span", 1.0),
        ("middle/shim/thickness", -1.0),
        ("middle/rocker/width", -1.0),
        ("middle/rocker/adjuster", 1.0),
        ("middle/exhaust/stem", -1.0),
        ("middle/left/free_height", 0.0),
        ("middle/left/rate", 0.0),
    ] {
        assert!((of(path) - weight).abs() < 1e-15, "{path}: {}", of(path));
    }
    assert!(
        !bench.pack.is_linear(&Quantity::Preload { bay: 0 }, 0) && !bench.pack.is_linear(&Quantity::Play { bay: 0 }, 0)
    );
    assert!(bench.pack.is_linear(&Quantity::Height { bay: 0, part: 0 }, 0));
}

#[test]
fn signs_of_the_example() {
    let bench = support::example();
    let (lower, upper): (Vec<f64>, Vec<f64>) = bench.x.iter().map(|x| (x * 0.99, x * 1.01)).unzip();
    let sign = |quantity: Quantity, path: &str| {
        bench.pack.monotone(&quantity, 0, &lower, &upper)[bench.pack.find_dimension(path).unwrap().0]
    };
    let preload = Quantity::Preload { bay: 0 };
    assert_eq!(sign(preload, "middle/left shim/thickness"), Monotone::Rising);
    assert_eq!(sign(preload, "middle/span"), Monotone::Falling);
    assert_eq!(sign(preload, "middle/rocker/adjuster"), Monotone::Without);
    assert_eq!(sign(Quantity::Play { bay: 0 }, "middle/span"), Monotone::Rising);
    let offset = Quantity::Offset { bay: 0, valve: 0 };
    assert_eq!(sign(offset, "middle/left shim/thickness"), Monotone::Rising);
    assert_eq!(sign(offset, "middle/exhaust/stem"), Monotone::Falling);
    let margin = Quantity::EdgeMargin { bay: 0, valve: 0 };
    assert_eq!(sign(margin, "middle/exhaust/stem_end_diameter"), Monotone::Rising);
    assert_eq!(sign(margin, "middle/exhaust/sweep"), Monotone::Falling);
    assert_eq!(sign(Quantity::ContactPressure { bay: 0, valve: 0 }, "middle/exhaust/valve_load"), Monotone::Rising);
    // A box in which the disc may be steeper than √2 says nothing of the preload.
    let (wide_lower, wide_upper): (Vec<f64>, Vec<f64>) = bench.x.iter().map(|x| (x * 0.7, x * 1.3)).unzip();
    let signs = bench.pack.monotone(&preload, 0, &wide_lower, &wide_upper);
    assert!(signs[bench.pack.find_dimension("middle/span").unwrap().0] == Monotone::Unknown);
    let Outcome::Value(_) = bench.evaluate(preload, 0) else { panic!() };
}
