//! Figures of a pack as read, and the bays that nothing within their limits can build.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

mod support;

use packdrift_pack::{Outcome, PackError};
use support::Bench;

/// Shim 0.4, rocker 24 (adjuster 11.3), shim 0.5, disc of 0.6 + 0.6 in a span of 26 in aluminium; a stem at 10.7.
fn bench(span: f64) -> Bench {
    let mut bench = Bench::new(span);
    bench.solid("left", 0.4);
    bench.rocker("rocker", 24.0, 11.3);
    bench.solid("right", 0.5);
    let law = bench.disc_law("disc", 30.0, 18.4, 0.6, 0.6);
    bench.spring("disc", law, None, None);
    bench.valve("1 exhaust", 1, 10.7);
    bench
}

fn within(bench: &Bench, tol: f64) -> Vec<PackError> {
    let ends = |sign: f64| bench.x.iter().map(|v| v + sign * tol).collect::<Vec<_>>();
    bench.pack.never_built(&ends(-1.0), &ends(1.0))
}

/// D = 0.4 + 24 + 0.5 + 1.2 − span by hand; the offset is 0.4 + 11.3 − 10.7.
#[test]
fn figures_by_hand() {
    let squeezed = &bench(25.8).pack.as_drawn(&bench(25.8).x);
    assert_eq!(squeezed.len(), 2, "one bay, two conditions");
    assert!((squeezed[0].squeeze - 0.3).abs() < 1e-12 && (squeezed[0].room - 0.6).abs() < 1e-12);
    assert!(squeezed[0].preload.unwrap() > 0.0 && squeezed[0].play == 0.0);
    let Outcome::Value(offset) = squeezed[0].offsets[0].offset else { panic!("{:?}", squeezed[0].offsets) };
    assert!((offset - 1.0).abs() < 1e-12);
    // Aluminium grows more than the steel pack: less squeeze at running temperature.
    assert!(squeezed[1].squeeze < squeezed[0].squeeze && squeezed[1].condition == "running");

    let loose = &bench(26.3).pack.as_drawn(&bench(26.3).x)[0];
    assert!((loose.play - 0.2).abs() < 1e-12 && loose.preload == Some(0.0));
    let Outcome::Range { low, high } = loose.offsets[0].offset else { panic!("{:?}", loose.offsets) };
    assert!((low - 1.0).abs() < 1e-12 && (high - 1.2).abs() < 1e-12);

    let long = &bench(25.0).pack.as_drawn(&bench(25.0).x)[0];
    assert!(!long.can_be_assembled() && (long.squeeze - 1.1).abs() < 1e-12);
    assert!(long.to_string().contains("1.100 mm too long"), "{long}");
}

/// Flat, the parts are 25.5 mm: a span of 25.0 ± 0.05 never takes them, one of 25.4 does where every limit is on the right
/// side (5 dimensions of ± 0.05), and a span of 4 900 mm is a slip.
#[test]
fn what_can_never_be_built_is_told() {
    for (span, tol, expected) in [
        (25.8, 0.05, 0),
        (26.3, 0.05, 0),
        (25.4, 0.05, 0),
        (25.0, 0.05, 1),
        (25.0, 0.2, 0),
        (60.0, 0.05, 1),
        (4_900.0, 0.05, 1),
    ] {
        let errors = within(&bench(span), tol);
        assert_eq!(errors.len(), expected, "span {span} ± {tol}: {errors:?}");
        assert!(errors.iter().all(|error| error.path() == Some("middle/span")), "the reader finds the line by it");
    }
    let long = within(&bench(25.0), 0.05);
    assert!(matches!(&long[0], PackError::NeverFits { excess, .. } if (excess - 0.25).abs() < 0.03), "{long:?}");
    assert!(matches!(within(&bench(4_900.0), 0.05)[0], PackError::SpanUnfilled { .. }));
}

/// One condition in which it fits is enough: hot, the aluminium makes room.
#[test]
fn a_bay_that_fits_in_one_condition_is_a_result() {
    let mut bench = bench(25.49);
    assert_eq!(within(&bench, 0.0).len(), 0, "at 95 °C the span grows by 0.02 mm more than the parts");
    bench.pack.conditions.truncate(1);
    assert_eq!(within(&bench, 0.0).len(), 1);
}
