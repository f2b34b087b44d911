//! Gil-Pelaez' integral on graded panels: F(x) = ½ − (1/π) ∫₀^∞ Im(φ(t)·exp(−itx))/t dt (J. Gil-Pelaez, "Note on the inversion theorem",
//! Biometrika 38 (1951) 481–482).
//!
//! For sums with a heavy-tailed term: few readings make a t of few degrees of freedom, whose range at 1e-13 is so long that a lattice
//! would need millions of points, while its characteristic function is not smooth at 0. Panels that halve towards 0 take care of
//! that; each is short enough for 16 Gauss–Legendre nodes at every x asked for.

use super::lattice::tail;
use super::term::{Collected, Term};
use packdrift_numerics::legendre::rule16;
use std::f64::consts::PI;

/// Most nodes kept.
const NODES: usize = 40_000;

/// Phase a panel may run through, rad: the 16-point rule's error is then below 1e-18.
const PHASE: f64 = 4.0;

#[derive(Debug, Clone)]
pub(super) struct Panels {
    sum: Collected,
    largest: f64,
    /// Half width of x − constant that the kept nodes are good for.
    reach: f64,
    /// t, weight·φ/(πt).
    nodes: Vec<(f64, f64, f64)>,
}

impl Panels {
    /// None where no term is heavy-tailed (another way is better) or too many nodes would be needed.
    pub(super) fn new(sum: &Collected) -> Option<Self> {
        if !sum.terms.iter().any(|t| matches!(t, Term::StudentT { .. })) {
            return None;
        }
        let sd = sum.normal_variance.sqrt();
        let typical = sum.terms.iter().fold(sd, |scale, term| {
            let (a, b) = term.range(0.05);
            scale.max(0.5 * (b - a))
        });
        let mut largest = 1.0 / typical;
        while tail(sum, largest, 1e6) > 1e-13 {
            largest *= 1.1;
            if largest * typical > 1e7 {
                return None;
            }
        }
        let reach = 7.8 * sd
            + sum
                .terms
                .iter()
                .map(|term| {
                    let (a, b) = term.range(2e-4 / sum.terms.len() as f64);
                    a.abs().max(b.abs())
                })
                .sum::<f64>();
        let nodes = nodes(sum, largest, reach)?;
        Some(Self { sum: sum.clone(), largest, reach, nodes })
    }

    pub(super) fn cdf(&self, x: f64) -> f64 {
        let x = x - self.sum.constant;
        let fresh;
        let nodes = if x.abs() <= self.reach {
            &self.nodes
        } else {
            let Some(nodes) = nodes(&self.sum, self.largest, x.abs()) else {
                // So far out that only the heavy tails count: the sum of theirs is the probability to far below its own size.
                let beyond: f64 =
                    self.sum.terms.iter().map(|t| if x > 0.0 { t.tails(x).upper } else { t.tails(x).lower }).sum();
                return if x > 0.0 { 1.0 - beyond } else { beyond };
            };
            fresh = nodes;
            &fresh
        };
        let mut sum = 0.0;
        for (t, re, im) in nodes {
            let (sin, cos) = libm::sincos(-t * x);
            sum += re * sin + im * cos;
        }
        0.5 - sum
    }

    /// Ends between which the quantile of order p lies.
    pub(super) fn range(&self, p: f64) -> (f64, f64) {
        let share = p.min(1.0 - p) * 0.5 / (self.sum.terms.len() as f64 + 1.0);
        let normal = 8.3 * self.sum.normal_variance.sqrt();
        let (mut low, mut high) = (self.sum.constant - normal, self.sum.constant + normal);
        for term in &self.sum.terms {
            let (a, b) = term.range(share);
            low += a;
            high += b;
        }
        (low, high)
    }

    pub(super) fn error_bound(&self) -> f64 {
        // The cut-off tail, twice, and rounding.
        4e-13
    }
}

fn nodes(sum: &Collected, largest: f64, reach: f64) -> Option<Vec<(f64, f64, f64)>> {
    // The phase of φ itself runs no faster than the terms are wide.
    let rate = reach + sum.terms.iter().filter_map(Term::half_width).sum::<f64>();
    let mut nodes = Vec::new();
    let mut high = largest;
    for _ in 0..70 {
        let low = 0.5 * high;
        let parts = ((high - low) * rate / PHASE).ceil().max(1.0);
        if nodes.len() as f64 + 16.0 * parts > NODES as f64 {
            return None;
        }
        let width = (high - low) / parts;
        for k in 0..parts as usize {
            let middle = low + (k as f64 + 0.5) * width;
            for (x, w) in rule16() {
                let t = middle + 0.5 * width * x;
                let weight = 0.5 * width * w * libm::exp(-0.5 * sum.normal_variance * t * t) / (PI * t);
                let (mut re, mut im) = (weight, 0.0);
                for term in &sum.terms {
                    let (c, s) = term.characteristic(t);
                    (re, im) = (re * c - im * s, re * s + im * c);
                }
                nodes.push((t, re, im));
            }
        }
        high = low;
    }
    Some(nodes)
}
