//! The cheapest re-shim interval, by the age-replacement argument.
//!
//! An engine is re-shimmed at age T, at cost c_p, or when a valve has entered the damage zone, at cost c_f, whichever comes first; either
//! way it is as new. By renewal reward the long-run cost per hour is
//!
//! g(T) = [c_p R(T) + c_f F(T)] / ∫₀ᵀ R(u) du,   R = 1 − F
//!
//! (R. E. Barlow, L. C. Hunter: Optimum preventive maintenance policies, Operations Research 8 (1960) 90–100). F is the chance that any
//! valve of an engine just re-shimmed has entered the damage zone by age T.

use crate::curve::Curve;
use crate::result::{CostPoint, Interval};
use packdrift_numerics::root;
use packdrift_trend::Costs;

/// Steps of the curve.
const STEPS: usize = 240;

/// The chance below which an engine is taken to have been out of the damage zone long enough: what is left adds nothing to ∫R.
const GONE: f64 = 1e-4;

/// What was found for one kind of engine, with the least long-run cost per hour.
pub(crate) struct Found {
    pub(crate) interval: Interval,
    /// Per hour; the value of an hour of life, for the plan.
    pub(crate) rate: f64,
}

/// The interval of a kind of engines, with its band over the fleets that the readings could be of.
pub(crate) fn of_kind(
    valves: String,
    engines: usize,
    costs: Costs,
    risk: f64,
    curve: &Curve,
    drawn: &[Curve],
) -> Found {
    let mut found = cheapest(valves, engines, costs, risk, curve.reach(), |h| curve.at(h));
    let mut hours: Vec<f64> = drawn
        .iter()
        .map(|c| {
            let one = cheapest(String::new(), 1, costs, risk, c.reach(), |h| c.at(h));
            // Where waiting is cheaper the interval has no end.
            one.interval.cheapest.map_or(f64::INFINITY, |best| best.hours)
        })
        .collect();
    hours.sort_by(f64::total_cmp);
    if let Some(last) = hours.len().checked_sub(1).filter(|last| *last >= FEWEST) {
        let at = |share: f64| Some(hours[(share * last as f64).round() as usize]).filter(|h| h.is_finite());
        found.interval.band = (at(0.05), at(0.95));
    }
    found
}

/// Fewer draws do not tell a band.
const FEWEST: usize = 20;

/// Cost over the age, its least, and the cost of waiting for the damage zone. `chance` is F, `reach` the age up to which it is looked at.
pub(crate) fn cheapest(
    valves: String,
    engines: usize,
    costs: Costs,
    risk: f64,
    reach: f64,
    chance: impl Fn(f64) -> f64,
) -> Found {
    let step = reach / STEPS as f64;
    let mut life = 0.0;
    let mut curve = Vec::with_capacity(STEPS);
    let mut lives = Vec::with_capacity(STEPS);
    let mut before = 1.0 - chance(0.0);
    for i in 1..=STEPS {
        let t = step * i as f64;
        let now = 1.0 - chance(t);
        // Simpson over the step.
        life += step / 6.0 * (before + 4.0 * (1.0 - chance(t - 0.5 * step)) + now);
        before = now;
        lives.push(life);
        curve.push(CostPoint { hours: t, cost: 1e3 * cost_rate(costs, 1.0 - now, life), chance: 1.0 - now });
    }
    let survives = 1.0 - curve.last().map_or(0.0, |c| c.chance);
    let least = (0..STEPS).min_by(|a, b| curve[*a].cost.total_cmp(&curve[*b].cost)).unwrap_or(0);
    let mut rate = curve[least].cost / 1e3;
    // Between the neighbours of the least step, by golden section.
    let mut best = None;
    if least + 1 < STEPS && costs.failure > costs.planned {
        let start = if least == 0 { 0.0 } else { curve[least - 1].hours };
        let base = if least == 0 { 0.0 } else { lives[least - 1] };
        let at = |t: f64| {
            let (mut life, n) = (base, 8);
            let h = (t - start) / f64::from(n);
            for k in 0..n {
                let a = start + h * f64::from(k);
                life += h / 6.0 * (6.0 - chance(a) - 4.0 * chance(a + 0.5 * h) - chance(a + h));
            }
            cost_rate(costs, chance(t), life)
        };
        let t = golden(at, start + 1e-6 * step, curve[least + 1].hours);
        rate = at(t);
        best = Some(CostPoint { hours: t, cost: 1e3 * rate, chance: chance(t) });
    }
    let run_to_failure = (survives < GONE).then(|| 1e3 * costs.failure / life);
    // A least at the far end means that waiting is always cheaper; so does one that waiting for the damage zone undercuts.
    let cheapest = best.filter(|b| run_to_failure.is_none_or(|w| b.cost < w * (1.0 - 1e-9)));
    if let Some(wait) = run_to_failure {
        rate = rate.min(wait / 1e3);
    }
    let at_risk = if chance(0.0) >= risk {
        Some(0.0)
    } else if chance(reach) < risk {
        None
    } else {
        root::brent(|h| chance(h) - risk, 0.0, reach, 1e-9 * reach).ok()
    };
    Found { interval: Interval { valves, engines, cheapest, band: (None, None), run_to_failure, at_risk, curve }, rate }
}

fn cost_rate(costs: Costs, chance: f64, life: f64) -> f64 {
    (costs.planned * (1.0 - chance) + costs.failure * chance) / life
}

/// The least of a function with one dip, to a millionth of the span.
fn golden(f: impl Fn(f64) -> f64, mut a: f64, mut b: f64) -> f64 {
    let ratio = 0.618_033_988_749_894_9;
    let tolerance = 1e-6 * (b - a);
    let (mut c, mut d) = (b - ratio * (b - a), a + ratio * (b - a));
    let (mut fc, mut fd) = (f(c), f(d));
    while b - a > tolerance {
        if fc < fd {
            (b, d, fd) = (d, c, fc);
            c = b - ratio * (b - a);
            fc = f(c);
        } else {
            (a, c, fc) = (c, d, fd);
            d = a + ratio * (b - a);
            fd = f(d);
        }
    }
    0.5 * (a + b)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;

    const COSTS: Costs = Costs { planned: 180.0, failure: 2600.0, inspection: None };

    fn of(reach: f64, chance: impl Fn(f64) -> f64) -> Found {
        cheapest("1".into(), 1, COSTS, 0.05, reach, chance)
    }

    /// Weibull with shape 2 and scale η: R = exp(−(T/η)²), ∫₀ᵀR = η·√π/2·erf(T/η). The optimum solves h(T)·∫R − F = c_p/(c_f − c_p)
    /// with h = 2T/η² (Barlow and Hunter 1960); the cost there is (c_f − c_p)·h(T). Solved below by bisection on that equation, with erf by
    /// its series: another way than the search's.
    #[test]
    fn weibull_wear_out_meets_the_condition_of_barlow_and_hunter() {
        let eta = 9000.0;
        let erf = |x: f64| {
            let (mut term, mut sum) = (x, x);
            for n in 1..60 {
                term *= -x * x / f64::from(n);
                sum += term / f64::from(2 * n + 1);
            }
            2.0 / std::f64::consts::PI.sqrt() * sum
        };
        let condition = |x: f64| {
            2.0 * x * (std::f64::consts::PI.sqrt() / 2.0 * erf(x)) - (1.0 - (-x * x).exp()) - 180.0 / (2600.0 - 180.0)
        };
        let (mut low, mut high) = (0.0, 2.0);
        for _ in 0..80 {
            let mid = 0.5 * (low + high);
            if condition(mid) < 0.0 { low = mid } else { high = mid }
        }
        let found = of(40_000.0, |t| 1.0 - (-(t / eta).powi(2)).exp());
        let best = found.interval.cheapest.unwrap();
        assert!((best.hours / (low * eta) - 1.0).abs() < 1e-4, "{} {}", best.hours, low * eta);
        let cost = 2420.0 * 2.0 * low / eta;
        assert!((found.rate / cost - 1.0).abs() < 1e-6, "{} {cost}", found.rate);
        // Mean life η·√π/2.
        let wait = 1e3 * 2600.0 / (eta * std::f64::consts::PI.sqrt() / 2.0);
        assert!((found.interval.run_to_failure.unwrap() / wait - 1.0).abs() < 1e-6);
        // R(T) = 0.95.
        assert!((found.interval.at_risk.unwrap() / (eta * (-(0.95_f64).ln()).sqrt()) - 1.0).abs() < 1e-6);
    }

    /// An exponential life does not age: no interval is cheaper than waiting (Barlow and Hunter 1960), and waiting costs c_f·λ.
    #[test]
    fn what_does_not_age_is_left_alone() {
        let found = of(60_000.0, |t| 1.0 - (-t / 5000.0).exp());
        assert!(found.interval.cheapest.is_none());
        assert!((found.rate / (2600.0 / 5000.0) - 1.0).abs() < 1e-4, "{}", found.rate);
    }

    /// A life that is the same for all: re-shim just before it ends.
    #[test]
    fn a_sure_life_is_used_up() {
        let found = of(20_000.0, |t| packdrift_numerics::normal::cdf((t - 8000.0) / 10.0));
        let best = found.interval.cheapest.unwrap();
        assert!((7950.0..8000.0).contains(&best.hours) && best.chance < 0.01, "{best:?}");
    }
}
