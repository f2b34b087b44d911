//! First passage for averages over hundreds of points: the same chance as [`chance_from`], by a few evaluations a point.
//!
//! The chance of having crossed a limit L by h is that of ending beyond it, which is a normal's tail, and that of having crossed and come
//! back. The second is a smooth function of the level a while a is well inside: e^{2db/σ_w²}·Φ(−(bh + d)/σ_w√h), d = L − a, averaged over the slope b given a in
//! closed form ([`Motion`]), and over a by the Gauss–Hermite rule with seven nodes. Two limits are taken one by one, less the chance of meeting
//! both. Where the level may well be beyond a limit already, the full quadrature is used. A point is good to some 1e-4, an average of points to better (tests).

use super::Zone;
use super::line::{chance_ever, chance_from, tails};
use super::passage::Motion;
use crate::kernel::Outlook;

/// Nodes and weights for the standard normal, zero and the positive ones (M. Abramowitz, I. Stegun, table 25.10, scaled by √2; recomputed by numpy's
/// `hermegauss(7)`).
const HERMITE: [(f64, f64); 4] = [
    (0.0, 0.457_142_857_142_857_1),
    (1.154_405_394_739_968_2, 0.240_123_178_605_012_7),
    (2.366_759_410_734_541_3, 0.030_757_123_967_586_5),
    (3.750_439_717_725_742, 0.000_548_268_855_972_218),
];

/// A level nearer to a limit than this many of its standard deviations is beyond it with a chance that the quick rule does not see.
const CLEAR: f64 = 3.3;

/// Chances of meeting the farther limit above which the two are not taken one by one.
const BOTH: f64 = 2e-4;

/// [`chance_from`].
pub(super) fn chance_within(o: &Outlook, zone: Zone, now: (f64, f64), ahead: f64) -> f64 {
    if ahead <= 0.0 {
        return (now.0 + now.1).min(1.0);
    }
    let sd = o.level_var.sqrt();
    let near = |distance: f64| distance < CLEAR * sd;
    if zone.upper.is_some_and(|u| near(u - o.level)) || zone.lower.is_some_and(|l| near(o.level - l)) {
        return chance_from(o, zone, now, ahead);
    }
    let (mean, var) = o.at(ahead);
    let then = tails(mean, var, zone);
    let up = zone.upper.map_or(0.0, |u| now.1.max(then.1 + back(o, u, 1.0, ahead)));
    let down = zone.lower.map_or(0.0, |l| now.0.max(then.0 + back(o, l, -1.0, ahead)));
    let both = match (zone.lower, zone.upper) {
        (Some(l), Some(u)) if up.min(down) > BOTH => met_both(o, l, u, ahead),
        _ => 0.0,
    };
    (up + down - both).clamp(up.max(down).min(1.0), 1.0)
}

/// Chance of meeting both limits by `time`: those of meeting each, less that of leaving the room between them.
fn met_both(o: &Outlook, lower: f64, upper: f64, time: f64) -> f64 {
    // A line meets one of them only; to meet both the wander must carry at least as far as the nearer is away.
    let nearer = (o.level - lower).min(upper - o.level);
    if nearer > 4.0 * (o.wander_var * time).sqrt() {
        return 0.0;
    }
    over_level(o, |level| {
        let m = motion(o, level, 1.0, time);
        if level <= lower || level >= upper {
            return 0.0;
        }
        (m.above(upper - level) + m.below(level - lower) - m.outside(level - lower, upper - lower)).max(0.0)
    })
}

/// The slope given a level, as motion towards the side of a limit.
fn motion(o: &Outlook, level: f64, side: f64, time: f64) -> Motion {
    let pull = if o.level_var > 0.0 { o.cov / o.level_var } else { 0.0 };
    Motion {
        mean: side * (o.slope + pull * (level - o.level)),
        var: (o.slope_var - pull * o.cov).max(0.0),
        wander: o.wander_var,
        time,
    }
}

/// Average of a function of the level over its distribution, by the rule.
fn over_level(o: &Outlook, f: impl Fn(f64) -> f64) -> f64 {
    let sd = o.level_var.sqrt();
    let pair =
        |(z, w): (f64, f64)| if z > 0.0 { w * (f(o.level - z * sd) + f(o.level + z * sd)) } else { w * f(o.level) };
    if sd > 0.0 { HERMITE.into_iter().map(pair).sum() } else { f(o.level) }
}

/// Chance of having crossed the limit and come back by `time`.
fn back(o: &Outlook, limit: f64, side: f64, time: f64) -> f64 {
    // Beyond some ten standard deviations of the path nothing is seen.
    let reach = o.wander_var * time;
    if reach <= 0.0 {
        return 0.0;
    }
    over_level(o, |level| {
        let d = side * (limit - level);
        if d <= 0.0 { 0.0 } else { motion(o, level, side, time).returned(d) }
    })
}

/// [`chance_ever`].
pub(super) fn chance_ever_met(o: &Outlook, zone: Zone) -> f64 {
    let (limit, side) = match (zone.lower, zone.upper) {
        (None, Some(u)) => (u, 1.0),
        (Some(l), None) => (l, -1.0),
        _ => return chance_ever(o, zone),
    };
    if o.wander_var <= 0.0 || side * (limit - o.level) < CLEAR * o.level_var.sqrt() {
        return chance_ever(o, zone);
    }
    over_level(o, |level| motion(o, level, side, 0.0).ever_above(side * (limit - level))).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use packdrift_numerics::stream::Key;

    /// Settings as a fleet's posterior has them, against the full quadrature: single points to 1e-3, their average to 1e-4.
    #[test]
    fn quick_chances_are_the_full_ones() {
        let mut stream = Key::new(5, "quick").stream(0);
        for zone in [
            Zone { lower: Some(0.4), upper: Some(1.6) },
            Zone { lower: None, upper: Some(1.6) },
            Zone { lower: Some(0.9), upper: None },
        ] {
            for hours in [300.0, 2000.0, 20_000.0] {
                let (mut sum, mut exact, mut worst) = (0.0, 0.0, 0.0_f64);
                let n = 400;
                for _ in 0..n {
                    let sd = 0.02 * (0.8 * stream.normal()).exp();
                    let slope_sd = 2e-5 * (0.8 * stream.normal()).exp();
                    let o = Outlook {
                        level: 1.2 + 0.12 * stream.normal(),
                        slope: 3e-5 + 6e-5 * stream.normal(),
                        level_var: sd * sd,
                        slope_var: slope_sd * slope_sd,
                        cov: (1.6 * stream.uniform() - 0.8) * sd * slope_sd,
                        wander_var: 1e-6 * (2.0 * stream.normal() - 1.0).exp(),
                        reading_var: 0.0,
                        now: 0.0,
                    };
                    let now = tails(o.level, o.level_var, zone);
                    let (a, b) = (chance_within(&o, zone, now, hours), chance_from(&o, zone, now, hours));
                    worst = worst.max((a - b).abs());
                    sum += a;
                    exact += b;
                    assert!((chance_ever_met(&o, zone) - chance_ever(&o, zone)).abs() < 5e-3);
                }
                assert!(worst < 2e-3, "{zone:?} {hours}: {worst}");
                assert!((sum - exact).abs() / f64::from(n) < 1e-4, "{zone:?} {hours}: {sum} against {exact}");
            }
        }
    }
}
