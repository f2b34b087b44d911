//! The verdict on a share outside: by its bounds, never by its estimate (`docs/verdicts.md`).

use crate::result::Share;
use crate::warning::percent;
use packdrift_verdict::{Evidence, Standing, Verdict};

/// Trials asked for at the most in what would settle a verdict: more than a night of a machine, but a run can be shared out.
const MOST_SUGGESTED: f64 = 1e12;

/// Whether a share outside is at most `allowed`.
///
/// The bounds are those at three standard errors, so a share that is met or not met by them is so for any seed but one in hundreds. What
/// lies between is too close to tell; a share of which nothing was seen, but which may still be too large, is not shown.
pub fn judge(out: &Share, allowed: f64) -> Verdict {
    let (low, high) = out.bounds;
    let verdict = Evidence::at_most("share outside", allowed).estimate(out.total).bounds(low, high).judge();
    if verdict.standing() != Standing::NotShown || out.total.is_nan() {
        return verdict;
    }
    if out.total > 0.0 {
        let words = format!(
            "share outside: {} to {}, {} allowed: the simulation does not tell on which side it lies",
            percent(low),
            percent(high),
            percent(allowed)
        );
        return Verdict::too_close(words)
            .settled_by("Ask for more accuracy (--until 0.001), or leave the requirement more room.");
    }
    let words = format!(
        "share outside: none was found, but it may be as much as {}, {} allowed",
        percent(high),
        percent(allowed)
    );
    // None outside of so many shows the allowance: 6.6/n at three standard errors, and some to spare.
    let trials = two_digits_up(8.0 / allowed);
    let verdict = Verdict::not_shown(words);
    if trials > MOST_SUGGESTED {
        return verdict
            .settled_by("Leave the requirement more room: no simulation shows so small a share of this pack.");
    }
    verdict.settled_by(format!("Make more trials: --method monte-carlo --trials {trials:.0}."))
}

/// Rounded up to two digits.
pub(crate) fn two_digits_up(value: f64) -> f64 {
    let unit = 10_f64.powi(value.log10().floor() as i32 - 1);
    (value / unit).ceil() * unit
}

#[cfg(test)]
mod tests {
    use super::*;

    fn share(total: f64, bounds: (f64, f64)) -> Share {
        Share { below: total, above: 0.0, total, standard_error: 0.0, ci95: bounds, bounds }
    }

    #[test]
    fn the_bound_decides_and_not_the_estimate() {
        for (total, bounds, standing) in [
            (0.001, (0.0008, 0.0012), Standing::Shown),
            (0.0027, (0.0027, 0.0027), Standing::Shown),
            (0.002, (0.001, 0.003), Standing::TooCloseToTell),
            (0.003, (0.002, 0.004), Standing::TooCloseToTell),
            (0.005, (0.004, 0.006), Standing::Adverse),
            (0.0, (0.0, 0.0028), Standing::NotShown),
            (0.0, (0.0, 0.0026), Standing::Shown),
            (1.0, (1.0, 1.0), Standing::Adverse),
            (f64::NAN, (0.0, 0.001), Standing::NotShown),
            (0.0, (0.0, f64::NAN), Standing::NotShown),
        ] {
            assert_eq!(judge(&share(total, bounds), 0.0027).standing(), standing, "{total} {bounds:?}");
        }
    }

    #[test]
    fn what_would_settle_it_is_said() {
        let open = judge(&share(0.0, (0.0, 1e-5)), 1e-6);
        assert!(open.what_settles_it().is_some_and(|s| s.contains("--trials 8000000.")), "{open:?}");
        let hopeless = judge(&share(0.0, (0.0, 1e-5)), 1e-15);
        assert!(hopeless.what_settles_it().is_some_and(|s| s.contains("more room")), "{hopeless:?}");
    }
}
