//! The rule on a bay that is loose although a spring washer is there to keep it tight. One rule, for packs (`stack`) and for builds (`shim`).

use crate::{Evidence, Verdict};

/// A build that is loose with more than this chance is not called done: common practice, no source. A pack has its own `max_out`.
pub const LOOSE: f64 = 0.05;

/// The verdict that a bay with a spring washer adds to every reassuring word on it; None where it is not more often loose than `allowed`.
///
/// Left loose, the washer presses on nothing and the rocker knocks: a largest preload, a largest stress is then kept by a pack that rattles.
/// `chance` is the share of packs in which the bay is loose, `at_most` what it is not above.
///
/// ```
/// use packdrift_verdict::{Standing, loose_bay};
/// assert_eq!(loose_bay(1e-6, 1e-5, 0.0027), None);
/// assert_eq!(loose_bay(1.0, 1.0, 0.0027).map(|v| v.standing()), Some(Standing::NotShown));
/// ```
pub fn loose_bay(chance: f64, at_most: f64, allowed: f64) -> Option<Verdict> {
    if Evidence::at_most("chance of a loose bay", allowed).estimate(chance).bounds(chance, at_most).judge().is_shown() {
        return None;
    }
    let reason = if chance > allowed {
        format!(
            "by the pack file the bay is loose with a chance of {}: its spring washer presses on nothing",
            percent(chance)
        )
    } else {
        format!("by the pack file the bay may be loose with a chance of up to {}", percent(at_most))
    };
    let cure = "Take up the play with a thicker pack, or correct the pack file.";
    Some(Verdict::not_shown(reason).settled_by(cure))
}

fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    // What is not all is not 100 %.
    if share < 1.0 && percent > 99.5 {
        "more than 99 %".to_owned()
    } else {
        format!("{percent:.*} %", usize::from(percent < 10.0))
    }
}
