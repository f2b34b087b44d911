//! One normal state, a line with or without a wander, against the limits.
//!
//! Without wander the path is a line, whose extremes are at its ends: the chance is that of a rectangle of a bivariate normal
//! ([`super::bivariate`]). With wander it is the first passage of a Wiener process ([`super::passage`]), integrated over the level.

use super::passage::{Motion, gauss};
use super::{Zone, bivariate};
use crate::kernel::Outlook;
use packdrift_numerics::normal;

/// Chances below this are as good as 0 beside the rounding of the rest.
const NIL: f64 = 1e-15;

/// Chances of a normal value to lie below and above the zone's limits.
pub(super) fn tails(mean: f64, var: f64, zone: Zone) -> (f64, f64) {
    if var <= 0.0 {
        let below = zone.lower.is_some_and(|l| mean < l);
        let above = zone.upper.is_some_and(|u| mean > u);
        return (f64::from(u8::from(below)), f64::from(u8::from(above)));
    }
    let sd = var.sqrt();
    (zone.lower.map_or(0.0, |l| normal::cdf((l - mean) / sd)), zone.upper.map_or(0.0, |u| normal::sf((u - mean) / sd)))
}

/// Chance of being in the zone now.
pub(crate) fn chance_now(o: &Outlook, zone: Zone) -> f64 {
    let (below, above) = tails(o.level, o.level_var, zone);
    (below + above).min(1.0)
}

/// Chance of being in the zone now or at some time in the next `ahead` hours of Λ, with the chances of being below and above the limits now
/// at hand.
pub(super) fn chance_from(o: &Outlook, zone: Zone, now: (f64, f64), ahead: f64) -> f64 {
    if ahead <= 0.0 {
        return (now.0 + now.1).min(1.0);
    }
    if o.wander_var * ahead <= 1e-12 * (o.level_var + o.slope_var * ahead * ahead) {
        return line_chance(o, zone, now, ahead);
    }
    wander_chance(
        o,
        zone,
        |m, y0| match (zone.lower, zone.upper) {
            (Some(l), Some(u)) => Motion { time: ahead, ..m }.outside(y0 - l, u - l),
            (None, Some(u)) => Motion { time: ahead, ..m }.above(u - y0),
            (Some(l), None) => Motion { time: ahead, ..m }.below(y0 - l),
            (None, None) => 0.0,
        },
        ahead,
    )
}

fn line_chance(o: &Outlook, zone: Zone, now: (f64, f64), ahead: f64) -> f64 {
    let (m1, v1) = o.at(ahead);
    let then = tails(m1, v1, zone);
    let (p0, p1) = (now.0 + now.1, then.0 + then.1);
    // The chance of both cannot exceed either.
    if p0 < NIL {
        return p1.min(1.0);
    }
    if p1 < NIL || p0 > 1.0 - NIL {
        return p0.min(1.0);
    }
    let (s0, s1) = (o.level_var.sqrt(), v1.sqrt());
    if s0 <= 0.0 || s1 <= 0.0 {
        return if p0 > 0.5 { 1.0 } else { p1.min(1.0) };
    }
    let r = ((o.level_var + ahead * o.cov) / (s0 * s1)).clamp(-1.0, 1.0);
    // Both outside, by the four combinations of sides.
    let mut both = 0.0;
    for (side0, part0) in [(-1.0, now.0), (1.0, now.1)] {
        for (side1, part1) in [(-1.0, then.0), (1.0, then.1)] {
            if part0 < NIL || part1 < NIL {
                continue;
            }
            let bound = |side: f64| if side < 0.0 { zone.lower } else { zone.upper };
            if let (Some(b0), Some(b1)) = (bound(side0), bound(side1)) {
                both += bivariate::upper(side0 * (b0 - o.level) / s0, side1 * (b1 - m1) / s1, side0 * side1 * r);
            }
        }
    }
    (p0 + p1 - both).clamp(p0.max(p1).min(1.0), 1.0)
}

/// Averages a first-passage chance over the level inside the zone's limits and the slope given the level; outside counts whole.
fn wander_chance(o: &Outlook, zone: Zone, given: impl Fn(Motion, f64) -> f64, ahead: f64) -> f64 {
    let now = chance_now(o, zone);
    let sd = o.level_var.sqrt();
    let still = Motion { mean: o.slope, var: o.slope_var, wander: o.wander_var, time: 0.0 };
    if sd <= 1e-9 * (o.wander_var * ahead).sqrt() {
        return if now > 0.5 { 1.0 } else { given(still, o.level).clamp(0.0, 1.0) };
    }
    let pull = o.cov / o.level_var;
    let var = (o.slope_var - pull * o.cov).max(0.0);
    let low = zone.lower.unwrap_or(f64::NEG_INFINITY).max(o.level - 7.0 * sd);
    let high = zone.upper.unwrap_or(f64::INFINITY).min(o.level + 7.0 * sd);
    if low >= high {
        return now;
    }
    // Two panels serve the density; more where the boundary layer of a limit is thinner than they resolve.
    let layer = 5.0 * (o.wander_var * ahead).sqrt();
    let mut cuts = [low, o.level, f64::NAN, f64::NAN, high];
    if layer < 4.0 * sd {
        cuts[2] = zone.upper.map_or(f64::NAN, |u| u - layer);
        cuts[3] = zone.lower.map_or(f64::NAN, |l| l + layer);
    }
    for c in &mut cuts {
        *c = if c.is_nan() { low } else { c.clamp(low, high) };
    }
    cuts.sort_unstable_by(f64::total_cmp);
    let inside: f64 = cuts
        .windows(2)
        .filter(|w| w[1] - w[0] > 1e-12 * sd)
        .map(|w| {
            gauss(w[0], w[1], |y0| {
                let z = (y0 - o.level) / sd;
                let m = Motion { mean: o.slope + pull * (y0 - o.level), var, ..still };
                normal::pdf(z) / sd * given(m, y0)
            })
        })
        .sum();
    (now + inside).clamp(now, 1.0)
}

/// Chance of ever being in the zone if nothing is done.
pub(crate) fn chance_ever(o: &Outlook, zone: Zone) -> f64 {
    let now = chance_now(o, zone);
    match (zone.lower, zone.upper) {
        (None, None) => 0.0,
        (Some(_), Some(_)) => {
            if o.wander_var > 0.0 || o.slope_var > 0.0 || o.slope.abs() > 0.0 {
                1.0
            } else {
                now
            }
        }
        (lower, upper) => {
            if o.wander_var > 0.0 {
                let given = |m: Motion, y0: f64| match upper {
                    Some(u) => m.ever_above(u - y0),
                    None => Motion { mean: -m.mean, ..m }.ever_above(y0 - lower.unwrap_or(y0)),
                };
                // The layer in which the chance varies is as wide as the wander carries while the slope turns it away.
                let reach = o.wander_var / (o.slope.abs() + o.slope_var.sqrt()).max(1e-300);
                return wander_chance(o, zone, given, (reach * reach / o.wander_var).min(1e15));
            }
            // A line crosses unless it starts inside and does not rise (towards the one limit).
            let (side, bound) = match upper {
                Some(u) => (1.0, u),
                None => (-1.0, lower.unwrap_or(0.0)),
            };
            let (s0, s1) = (o.level_var.sqrt(), o.slope_var.sqrt());
            if s1 <= 0.0 {
                return if side * o.slope > 0.0 { 1.0 } else { now };
            }
            if s0 <= 0.0 {
                return if now > 0.5 { 1.0 } else { normal::cdf(side * o.slope / s1) };
            }
            // P(start inside, slope away) = P(−x₀′ > −d, −v′ > 0).
            let d = side * (bound - o.level) / s0;
            1.0 - bivariate::upper(-d, side * o.slope / s1, (o.cov / (s0 * s1)).clamp(-1.0, 1.0))
        }
    }
}
