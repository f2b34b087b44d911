//! Spring washers in series: they carry one load, and their deflections add to the interference.
//!
//! The state is the one that is reached by squeezing the pack from loose. While every load curve rises, that is the only
//! equilibrium there is: total deflection rises with load, and each washer pressed flat drops out as a solid. A disc with
//! h0/t > √2 stops rising at its peak. From there, squeezed further, that disc (the one with the lowest peak; of equals the
//! first in the bay) follows its falling branch while the others give back a little, until it lies flat and the load rises
//! again on what is left. Where the others are so soft that they push it through all at once, the state is the first one
//! along this path that has the interference asked for: what was jumped over is skipped. See `docs/equilibrium.md`.

use crate::spring::Spring;
use packdrift_numerics::root;

/// Steps in which a falling branch is searched for its first state with the interference asked for. A snap that starts
/// and ends within one step is taken a step too late; the branch is a smooth cubic, so that concerns interferences within
/// about 1/64² of the branch's length of the snap.
const STEPS_DOWN: u32 = 64;

/// Shares the interference D (0 < D ≤ sum of rooms) among the springs of a bay, one deflection each; returns the load that
/// they all carry, N.
pub(crate) fn share(springs: &[Spring<'_>], interference: f64, deflections: &mut [f64]) -> f64 {
    if let ([spring], [deflection]) = (springs, &mut *deflections) {
        *deflection = interference;
        return spring.load(interference);
    }
    let series = Series { springs, interference };
    let load = series.joint_steps(deflections).unwrap_or_else(|| series.solve(deflections));
    // The load is known to the last bit, but where a curve is nearly level that leaves the deflection open: give what is
    // missing to the softest washer, so that the deflections add up.
    let missing = interference - deflections.iter().sum::<f64>();
    if missing != 0.0 {
        let softest = (0..springs.len())
            .filter(|&k| deflections[k] < springs[k].room)
            .min_by(|&a, &b| springs[a].rate(deflections[a]).abs().total_cmp(&springs[b].rate(deflections[b]).abs()));
        if let Some(k) = softest {
            deflections[k] = (deflections[k] + missing).clamp(0.0, springs[k].room);
        }
    }
    load
}

/// A disc that stops rising, by the order in which their peaks are reached.
type PeakOrder = (f64, usize);

struct Series<'s, 'a> {
    springs: &'s [Spring<'a>],
    interference: f64,
}

/// Most washers that [`Series::joint_steps`] takes on; more than any shaft has room for.
const FEW: usize = 8;

impl Series<'_, '_> {
    /// Newton's steps on all deflections at once, for the ordinary case: every washer on its first branch, none flat. A
    /// step solves Fᵢ + kᵢ·Δδᵢ = F, Σ(δᵢ + Δδᵢ) = D, so the deflections add to D after every one. None where a washer
    /// leaves its first branch on the way or the steps do not settle; [`Series::solve`] then searches with brackets. While all are on
    /// their first branches there is one solution only, so the way to it does not matter.
    fn joint_steps(&self, deflections: &mut [f64]) -> Option<f64> {
        if self.springs.len() > FEW {
            return None;
        }
        let (mut loads, mut compliances) = ([0.0; FEW], [0.0; FEW]);
        deflections.fill(0.0);
        for _ in 0..24 {
            let (mut compliance, mut offset) = (0.0, self.interference);
            for (k, spring) in self.springs.iter().enumerate() {
                loads[k] = spring.load(deflections[k]);
                compliances[k] = 1.0 / spring.rate(deflections[k]);
                compliance += compliances[k];
                offset += loads[k] * compliances[k] - deflections[k];
            }
            let load = offset / compliance;
            let mut settled = true;
            for (k, spring) in self.springs.iter().enumerate() {
                let step = (load - loads[k]) * compliances[k];
                deflections[k] += step;
                // A NaN is outside too.
                if !(deflections[k] > 0.0 && deflections[k] < spring.peak) {
                    return None;
                }
                settled &= step.abs() <= 4.0 * f64::EPSILON * deflections[k];
            }
            if settled {
                return Some(load);
            }
        }
        None
    }

    fn solve(&self, deflections: &mut [f64]) -> f64 {
        let mut passed: PeakOrder = (f64::NEG_INFINITY, 0);
        let mut from = 0.0;
        loop {
            let next = self.next_peak(passed);
            let to = next.map_or_else(|| self.highest_flat_load().max(from), |(load, _)| load);
            if next.is_none() || self.total(to, passed) >= self.interference {
                let load = self.rising(from, to, passed);
                self.fill(load, passed, deflections);
                return load;
            }
            let Some((_, falling)) = next else { return to };
            if let Some(deflection) = self.falling(falling, passed) {
                let load = self.springs[falling].load(deflection);
                self.fill(load, passed, deflections);
                deflections[falling] = deflection;
                return load;
            }
            passed = (to, falling);
            from = self.springs[falling].flat_load;
        }
    }

    /// The next disc to reach its peak after those passed.
    fn next_peak(&self, passed: PeakOrder) -> Option<PeakOrder> {
        self.springs
            .iter()
            .enumerate()
            .filter(|(_, spring)| spring.falls())
            .map(|(k, spring)| (spring.peak_load, k))
            .filter(|order| after(*order, passed))
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
    }

    /// The load at which the last of the washers whose load never falls lies flat.
    fn highest_flat_load(&self) -> f64 {
        self.springs.iter().filter(|spring| !spring.falls()).map(|spring| spring.flat_load).fold(0.0, f64::max)
    }

    /// Whether a disc has been pressed through its peak to flat.
    fn is_passed(&self, k: usize, passed: PeakOrder) -> bool {
        self.springs[k].falls() && !after((self.springs[k].peak_load, k), passed)
    }

    /// Deflection of one washer under a load.
    fn deflection(&self, k: usize, load: f64, passed: PeakOrder) -> f64 {
        if self.is_passed(k, passed) { self.springs[k].room } else { self.springs[k].deflection(load) }
    }

    /// Deflection of all washers under a load.
    fn total(&self, load: f64, passed: PeakOrder) -> f64 {
        (0..self.springs.len()).map(|k| self.deflection(k, load, passed)).sum()
    }

    /// The load in [lower, upper] under which the deflections, rising with load, add to the interference.
    fn rising(&self, mut lower: f64, mut upper: f64, passed: PeakOrder) -> f64 {
        // Where a washer goes flat the sum has a corner: search between corners, where it is smooth.
        for spring in self.springs.iter().filter(|spring| !spring.falls()) {
            let corner = spring.flat_load;
            if lower < corner && corner < upper {
                if self.total(corner, passed) >= self.interference {
                    upper = corner;
                } else {
                    lower = corner;
                }
            }
        }
        let excess = |load: f64| {
            let mut total = 0.0;
            let mut compliance = 0.0;
            for (k, spring) in self.springs.iter().enumerate() {
                let deflection = self.deflection(k, load, passed);
                total += deflection;
                // At the upper corner itself the washer that goes flat there still gives.
                if deflection < spring.room || (spring.flat_load >= upper && !self.is_passed(k, passed)) {
                    compliance += 1.0 / spring.rate(deflection);
                }
            }
            (total - self.interference, compliance)
        };
        // No sign change means that the interference is that of an end, up to rounding; the larger load has the larger sum.
        root::newton(excess, lower, upper).unwrap_or_else(|_| {
            if (self.total(lower, passed) - self.interference).abs()
                < (self.total(upper, passed) - self.interference).abs()
            {
                lower
            } else {
                upper
            }
        })
    }

    /// The first deflection of `falling` on its falling branch at which all deflections add to the interference.
    fn falling(&self, falling: usize, passed: PeakOrder) -> Option<f64> {
        let spring = &self.springs[falling];
        let excess = |deflection: f64| {
            let load = spring.load(deflection);
            let others: f64 =
                (0..self.springs.len()).filter(|&k| k != falling).map(|k| self.deflection(k, load, passed)).sum();
            deflection + others - self.interference
        };
        let length = spring.room - spring.peak;
        let mut start = spring.peak;
        for step in 1..=STEPS_DOWN {
            let end = if step == STEPS_DOWN {
                spring.room
            } else {
                spring.peak + length * f64::from(step) / f64::from(STEPS_DOWN)
            };
            if excess(end) >= 0.0 {
                return Some(root::brent(excess, start, end, 0.0).unwrap_or(end));
            }
            start = end;
        }
        None
    }

    fn fill(&self, load: f64, passed: PeakOrder, deflections: &mut [f64]) {
        for (k, deflection) in deflections.iter_mut().enumerate() {
            *deflection = self.deflection(k, load, passed);
        }
    }
}

fn after(order: PeakOrder, passed: PeakOrder) -> bool {
    order.0.total_cmp(&passed.0).then(order.1.cmp(&passed.1)).is_gt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spring::Curve;
    use crate::spring::disc::DiscCurve;

    fn disc(c: f64, h: f64, t: f64) -> Spring<'static> {
        let curve = DiscCurve { c, h, t };
        let peak = curve.peak().unwrap_or(h);
        let curve_load = |deflection| curve.load(deflection);
        Spring {
            curve: Curve::Disc(curve),
            flat_height: t,
            room: h,
            flat_load: curve_load(h),
            peak,
            peak_load: curve_load(peak),
        }
    }

    fn linear(rate: f64, room: f64) -> Spring<'static> {
        let flat_load = rate * room;
        Spring { curve: Curve::Linear { rate }, flat_height: 1.0, room, flat_load, peak: room, peak_load: flat_load }
    }

    #[test]
    fn both_ways_find_one_state() {
        let bays = [
            vec![disc(900.0, 0.6, 0.6), disc(900.0, 0.6, 0.6)],
            vec![disc(900.0, 0.6, 0.5), linear(300.0, 0.8), disc(400.0, 0.9, 0.8)],
            vec![disc(900.0, 1.0, 0.5), linear(40.0, 2.0)],
            vec![linear(40.0, 2.0), linear(400.0, 0.5), linear(90.0, 1.0)],
        ];
        let mut by_steps = 0;
        for springs in &bays {
            let room: f64 = springs.iter().map(|spring| spring.room).sum();
            for k in 1..100 {
                let series = Series { springs, interference: room * f64::from(k) / 100.0 };
                let (mut quick, mut careful) = (vec![0.0; springs.len()], vec![0.0; springs.len()]);
                let load = series.solve(&mut careful);
                if let Some(other) = series.joint_steps(&mut quick) {
                    by_steps += 1;
                    assert!((load - other).abs() < 1e-11 * load, "{load} N and {other} N at step {k}");
                    for (a, b) in quick.iter().zip(&careful) {
                        assert!((a - b).abs() < 1e-9);
                    }
                }
            }
        }
        assert!(by_steps > 150, "the quick way served {by_steps} of 396");
    }
}
