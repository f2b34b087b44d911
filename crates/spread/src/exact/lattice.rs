//! Inversion of the characteristic function on a lattice.
//!
//! F(x) = ½ − Σ_{k=0}^{K−1} Im(φ(t_k)·exp(−i·t_k·x))/(π(k + ½)), t_k = (k + ½)Δ.
//!
//! The lattice's error is exactly an alternating sum of tail probabilities at distance 2π/Δ and its multiples, so at most
//! max(P(Y < x − 2π/Δ), P(Y > x + 2π/Δ)) (R. B. Davies, "Numerical inversion of a characteristic function", Biometrika 60 (1973)
//! 415–417). With 2π/Δ as long as the whole range that is what was cut off the range. The sum from K on is bounded by the product of
//! bounds of each term's |φ| that never rise: Σ_{k≥K} B(t_k)/(π(k+½)) ≤ Σ_j B(2ʲ·t_K)·(ln 2 + 1/K)/π.

use super::term::{Collected, Term};
use super::{CUT, NotExact};
use packdrift_numerics::root;
use std::f64::consts::{LN_2, PI};

/// Largest error by cutting off the sum.
const CUT_SUM: f64 = 1e-13;

/// Largest number of lattice terms times the costs of the random terms (points, for those given by points): some tens of milliseconds.
const WORK: f64 = 4e6;

/// The phase is taken from a sine and a cosine again after this many rotations, so that rounding does not add up.
const ROTATIONS: usize = 64;

#[derive(Debug, Clone)]
pub(super) struct Lattice {
    constant: f64,
    range: (f64, f64),
    step: f64,
    /// φ(t_k)/(π(k + ½)).
    re: Vec<f64>,
    im: Vec<f64>,
}

/// Ends of the range outside which at most [`CUT`] lies in all, of the sum less its constant.
fn range(sum: &Collected) -> (f64, f64) {
    let unbounded = sum.terms.iter().filter(|t| t.half_width().is_none()).count();
    let share = CUT / (2.0 * unbounded as f64 + 4.0);
    let sd = sum.normal_variance.sqrt();
    let normal = 7.8 * sd;
    let (mut low, mut high) = (-normal, normal);
    let (mut widths, mut squares) = (0.0, 0.0);
    for term in &sum.terms {
        if let Some(half) = term.half_width() {
            widths += half;
            squares += half * half;
        } else {
            let (a, b) = term.range(share);
            low += a;
            high += b;
        }
    }
    // Hoeffding: P(|S| > r) ≤ 2 exp(−r²/(2 Σ half²)) for the bounded ones together.
    let bounded = widths.min((2.0 * squares * libm::log(2.0 / share)).sqrt());
    (low - bounded, high + bounded)
}

/// The bound of |φ(t)|, never rising.
pub(super) fn envelope(sum: &Collected, t: f64) -> f64 {
    let mut bound = libm::exp(-0.5 * sum.normal_variance * t * t);
    for term in &sum.terms {
        if bound < 1e-40 {
            break;
        }
        bound *= term.envelope(t);
    }
    bound
}

/// The bound of the sum from t on, `already` terms having been taken.
pub(super) fn tail(sum: &Collected, t: f64, already: f64) -> f64 {
    let (mut total, mut t) = (0.0, t);
    for _ in 0..80 {
        let bound = envelope(sum, t) * (LN_2 + 1.0 / already) / PI;
        total += bound;
        if bound < 1e-3 * CUT_SUM {
            return total;
        }
        t *= 2.0;
    }
    f64::INFINITY
}

impl Lattice {
    pub(super) fn new(sum: &Collected) -> Result<Self, NotExact> {
        let (low, high) = range(sum);
        let step = 2.0 * PI / (high - low);
        let cost: f64 = sum.terms.iter().filter(|t| !t.by_points()).map(Term::cost).sum();
        let refused = |terms: f64| NotExact::Work { work: terms * cost.max(1.0), limit: WORK };
        if !(step.is_finite() && step > 0.0) {
            return Err(refused(f64::INFINITY));
        }
        let enough = |k: f64| tail(sum, (k + 0.5) * step, k) <= CUT_SUM;
        let mut high_count = 16.0;
        while !enough(high_count) {
            high_count *= 2.0;
            if high_count * cost.max(1.0) > 2.0 * WORK {
                return Err(refused(high_count));
            }
        }
        let mut low_count = 0.5 * high_count;
        while high_count - low_count > 0.02 * high_count + 1.0 {
            let middle = (0.5 * (low_count + high_count)).ceil();
            if enough(middle) {
                high_count = middle;
            } else {
                low_count = middle;
            }
        }
        let count = high_count as usize;
        let largest = (count as f64 + 0.5) * step;
        let points: f64 = sum.terms.iter().filter(|t| t.by_points()).map(|t| t.point_count(largest)).sum();
        let work = high_count * (cost + points);
        if work > WORK {
            return Err(NotExact::Work { work, limit: WORK });
        }

        let mut re = vec![0.0; count];
        let mut im = vec![0.0; count];
        for (k, (re, im)) in re.iter_mut().zip(&mut im).enumerate() {
            let t = (k as f64 + 0.5) * step;
            let size = libm::exp(-0.5 * sum.normal_variance * t * t) / (PI * (k as f64 + 0.5));
            (*re, *im) = (size, 0.0);
            for term in sum.terms.iter().filter(|t| !t.by_points()) {
                let (c, s) = term.characteristic(t);
                (*re, *im) = if s == 0.0 { (*re * c, *im * c) } else { (*re * c - *im * s, *re * s + *im * c) };
            }
        }
        for term in sum.terms.iter().filter(|t| t.by_points()) {
            multiply_by_points(&mut re, &mut im, step, &term.points(largest), term);
        }
        Ok(Self { constant: sum.constant, range: (sum.constant + low, sum.constant + high), step, re, im })
    }

    /// F(x) and the density there.
    pub(super) fn cdf_pdf(&self, x: f64) -> (f64, f64) {
        if x <= self.range.0 {
            return (0.0, 0.0);
        }
        if x >= self.range.1 {
            return (1.0, 0.0);
        }
        let angle = (x - self.constant) * self.step;
        let (turn_sin, turn_cos) = libm::sincos(-angle);
        let (mut f, mut d) = (0.0, 0.0);
        for (block, (re, im)) in self.re.chunks(ROTATIONS).zip(self.im.chunks(ROTATIONS)).enumerate() {
            let first = (block * ROTATIONS) as f64 + 0.5;
            let (mut sin, mut cos) = libm::sincos(-angle * first);
            let mut k = first;
            for (re, im) in re.iter().zip(im) {
                f += re * sin + im * cos;
                d += k * (re * cos - im * sin);
                (cos, sin) = (cos * turn_cos - sin * turn_sin, cos * turn_sin + sin * turn_cos);
                k += 1.0;
            }
        }
        (0.5 - f, d * self.step)
    }

    pub(super) fn quantile(&self, p: f64) -> f64 {
        let search = |x: f64| {
            let (f, d) = self.cdf_pdf(x);
            (f - p, d)
        };
        root::newton(search, self.range.0, self.range.1).unwrap_or(if p < 0.5 { self.range.0 } else { self.range.1 })
    }

    pub(super) fn error_bound(&self) -> f64 {
        // What was cut off the range and the sum, and rounding: phases of up to π·K are known to that many units of 2⁻⁵³, weighted with
        // |φ|/k; 1e-13 covers what was seen with every kind of term.
        CUT + CUT_SUM + 1e-13
    }
}

/// Multiplies by Σ w·exp(i·t_k·x), each point's phase turned from one k to the next.
fn multiply_by_points(re: &mut [f64], im: &mut [f64], step: f64, points: &[(f64, f64)], term: &Term) {
    debug_assert!(term.by_points());
    let mut phases = vec![(0.0, 0.0); points.len()];
    let turns: Vec<(f64, f64)> = points.iter().map(|(x, _)| libm::sincos(x * step)).collect();
    for (k, (re, im)) in re.iter_mut().zip(im).enumerate() {
        if k % ROTATIONS == 0 {
            let t = (k as f64 + 0.5) * step;
            for (phase, (x, w)) in phases.iter_mut().zip(points) {
                let (sin, cos) = libm::sincos(x * t);
                *phase = (w * sin, w * cos);
            }
        }
        let (mut s, mut c) = (0.0, 0.0);
        for (phase, turn) in phases.iter_mut().zip(&turns) {
            s += phase.0;
            c += phase.1;
            *phase = (phase.0 * turn.1 + phase.1 * turn.0, phase.1 * turn.1 - phase.0 * turn.0);
        }
        (*re, *im) = (*re * c - *im * s, *re * s + *im * c);
    }
}
