//! The rules of docs/verdicts.md, each as one decision.

use crate::{Evidence, STACK, Standing, Verdict};

fn share() -> Evidence {
    Evidence::at_most("share", 0.01)
}

#[test]
fn an_estimate_alone_shows_nothing() {
    assert_eq!(share().estimate(0.0).judge().standing(), Standing::NotShown);
}

#[test]
fn the_bound_decides_not_the_estimate() {
    assert_eq!(share().estimate(0.0).bounds(0.0, 0.01).judge().standing(), Standing::Shown);
    assert_eq!(share().estimate(0.0).bounds(0.0, 0.011).judge().standing(), Standing::NotShown);
    assert_eq!(share().estimate(0.02).bounds(0.011, 0.03).judge().standing(), Standing::Adverse);
}

#[test]
fn what_is_not_a_number_is_not_met() {
    for bad in [f64::NAN, f64::INFINITY] {
        let v = share().exact(bad).judge();
        assert_ne!(v.standing(), Standing::Shown);
        assert_eq!(v.exit_status(), 1);
    }
    assert_eq!(share().estimate(0.5).bounds(0.0, 0.001).judge().standing(), Standing::NotShown);
}

#[test]
fn a_threshold_within_the_simulation_error_is_too_close() {
    let v = share().estimate(0.009).bounds(0.008, 0.0095).simulation_error(0.0005).judge();
    assert_eq!((v.standing(), v.word(&STACK), v.exit_status()), (Standing::TooCloseToTell, "too close to tell", 1));
}

#[test]
fn of_two_answers_the_worse_stands_whichever_comes_first() {
    let good = || share().exact(0.0).judge();
    for bad in [Verdict::watch("a"), Verdict::not_shown("a"), Verdict::read_again("a"), Verdict::adverse("a")] {
        assert_eq!(good().and(bad.clone()), bad.clone());
        assert_eq!(bad.clone().and(good()), bad);
    }
    assert_eq!(Verdict::worst([]).standing(), Standing::NotShown);
    assert_eq!(Verdict::watch("a").exit_status(), 0);
}

#[test]
fn what_would_settle_it_survives_the_joining() {
    let v = share().exact(0.0).judge().and(Verdict::read_again("line 7").settled_by("Read valve 2 again."));
    assert_eq!((v.reasons(), v.what_settles_it()), (&["line 7".to_owned()][..], Some("Read valve 2 again.")));
}
