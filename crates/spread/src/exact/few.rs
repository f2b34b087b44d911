//! Convolution of few terms by quadrature.
//!
//! With one, two or three terms and no normal of any size the characteristic function falls like 1/t to 1/t³, and its
//! inversion would take millions of steps. But then F is an integral of one dimension, or the few-fold mean of a piecewise polynomial:
//! F_{X+Y}(x) = ∫ F_X(x − y) f_Y(y) dy, split at every kink of F_X and f_Y, each piece by 16 Gauss–Legendre nodes.

use super::term::{Collected, Term};
use packdrift_numerics::legendre::integrate16;
use packdrift_numerics::normal;

/// Most rectangular parts convolved (a trapezoid or triangle is two).
const RECTANGLES: usize = 5;

#[derive(Debug, Clone)]
pub(super) struct Few {
    constant: f64,
    smooth: Smooth,
    /// The other part, integrated over; None: none.
    over: Option<Over>,
    range: (f64, f64),
}

/// The part whose distribution function is evaluated.
#[derive(Debug, Clone)]
enum Smooth {
    One(Term),
    /// Half widths, falling.
    Rectangles(Vec<f64>),
}

#[derive(Debug, Clone)]
enum Over {
    Normal(f64),
    Term(Term),
}

impl Few {
    /// None where there are too many terms for it.
    pub(super) fn new(sum: &Collected) -> Option<Self> {
        let mut halves = Vec::new();
        let mut others = Vec::new();
        for term in &sum.terms {
            match term {
                Term::Rectangular { half } => halves.push(*half),
                Term::Trapezoidal { wide, narrow } => halves.extend([*wide, *narrow]),
                other => others.push(other.clone()),
            }
        }
        if halves.len() > RECTANGLES {
            return None;
        }
        halves.sort_by(|a, b| b.total_cmp(a));
        let sd = sum.normal_variance.sqrt();
        let (smooth, over) = match (halves.is_empty(), others.len(), sd > 0.0) {
            (false, 0, false) => (Smooth::Rectangles(halves), None),
            (false, 0, true) => (Smooth::Rectangles(halves), Some(Over::Normal(sd))),
            (false, 1, false) => (Smooth::Rectangles(halves), Some(Over::Term(others.remove(0)))),
            (true, 1, false) => (Smooth::One(others.remove(0)), None),
            (true, 1, true) => (Smooth::One(others.remove(0)), Some(Over::Normal(sd))),
            (true, 2, false) => {
                // The one whose ends are steepest is integrated over in its own variable, which resolves them.
                let steep = |t: &Term| matches!(t, Term::Arcsine { .. } | Term::Mass { .. });
                let second = others.remove(1);
                let first = others.remove(0);
                if steep(&first) {
                    (Smooth::One(second), Some(Over::Term(first)))
                } else {
                    (Smooth::One(first), Some(Over::Term(second)))
                }
            }
            _ => return None,
        };
        let mut range = (sum.constant - 8.3 * sd, sum.constant + 8.3 * sd);
        for term in &sum.terms {
            let (a, b) = term.range(1e-15);
            range = (range.0 + a, range.1 + b);
        }
        Some(Self { constant: sum.constant, smooth, over, range })
    }

    /// Whether no integral is needed.
    pub(super) fn is_closed_form(&self) -> bool {
        self.over.is_none() && !matches!(&self.smooth, Smooth::Rectangles(halves) if halves.len() > 2)
    }

    pub(super) fn range(&self) -> (f64, f64) {
        self.range
    }

    pub(super) fn error_bound(&self) -> f64 {
        if self.is_closed_form() { 1e-15 } else { 1e-12 }
    }

    pub(super) fn cdf(&self, x: f64) -> f64 {
        self.below(x - self.constant)
    }

    pub(super) fn sf(&self, x: f64) -> f64 {
        match (&self.smooth, &self.over) {
            (Smooth::One(term), None) => term.tails(x - self.constant).upper,
            // Sums of rectangulars are symmetric.
            (Smooth::Rectangles(halves), None) => rectangles(halves, self.constant - x),
            _ => 1.0 - self.cdf(x),
        }
    }

    fn below(&self, x: f64) -> f64 {
        let cdf = |x: f64| match &self.smooth {
            Smooth::One(term) => term.tails(x).lower,
            Smooth::Rectangles(halves) => rectangles(halves, x),
        };
        let kinks = || match &self.smooth {
            Smooth::One(term) => term.kinks(),
            Smooth::Rectangles(halves) => sums(halves),
        };
        // Where F_X rises with a vertical or unbounded slope the pieces beside the kink shrink towards it.
        let graded = match &self.smooth {
            Smooth::One(Term::Arcsine { .. } | Term::Curvilinear { .. }) => true,
            Smooth::One(Term::Gamma { shape, .. }) => *shape < 8.0,
            _ => false,
        };
        match &self.over {
            None => cdf(x),
            Some(Over::Term(Term::Mass { values })) => {
                values.iter().map(|v| cdf(x - v)).sum::<f64>() / values.len() as f64
            }
            Some(Over::Normal(sd)) => {
                let splits: Vec<f64> = kinks().iter().map(|k| (x - k) / sd).collect();
                pieces((-8.3, 8.3), 1.0, splits, graded, |z| cdf(x - sd * z) * normal::pdf(z))
            }
            Some(Over::Term(term)) => {
                let Some(parameter) = term.parameter() else { return f64::NAN };
                let mut splits: Vec<f64> = kinks().iter().filter_map(|k| term.parameter_of(x - k)).collect();
                splits.extend(term.kinks().iter().filter_map(|k| term.parameter_of(*k)));
                pieces(parameter.range, parameter.panel, splits, graded, |y| {
                    let (value, density) = term.at(y);
                    cdf(x - value) * density
                })
            }
        }
    }
}

/// ∫ f over the range in pieces no longer than `panel`, split at `splits`.
fn pieces(range: (f64, f64), panel: f64, mut splits: Vec<f64>, graded: bool, f: impl Fn(f64) -> f64) -> f64 {
    splits.retain(|s| *s > range.0 && *s < range.1);
    splits.extend([range.0, range.1]);
    splits.sort_by(f64::total_cmp);
    splits.dedup();
    let mut total = 0.0;
    for pair in splits.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let parts = ((b - a) / panel).ceil().clamp(1.0, 1e4);
        let width = (b - a) / parts;
        for k in 0..parts as usize {
            let (low, high) = (a + k as f64 * width, a + (k as f64 + 1.0) * width);
            if graded {
                // Quarter by quarter towards both ends.
                let middle = 0.5 * (low + high);
                let mut reach = middle - low;
                for _ in 0..18 {
                    let next = 0.25 * reach;
                    total += integrate16(low + next, low + reach, &f) + integrate16(high - reach, high - next, &f);
                    reach = next;
                }
                total += integrate16(low, low + reach, &f) + integrate16(high - reach, high, &f);
            } else {
                total += integrate16(low, high, &f);
            }
        }
    }
    total
}

/// Where the distribution function of a sum of rectangulars has its kinks.
fn sums(halves: &[f64]) -> Vec<f64> {
    let mut kinks = vec![0.0];
    for h in halves {
        kinks = kinks.iter().flat_map(|k| [k - h, k + h]).collect();
    }
    kinks
}

/// P(sum of rectangulars on ±half ≤ x), half widths falling: closed for two, from there the mean of the one before over the
/// narrowest, F_n(x) = ∫ F_{n−1} over x ± h_n, divided by 2h_n. Each piece is a polynomial of lower degree than the rule is exact for, and
/// only means of numbers between 0 and 1 are taken, so nothing cancels as in the Irwin–Hall formula.
fn rectangles(halves: &[f64], x: f64) -> f64 {
    match halves {
        [] => f64::from(u8::from(x >= 0.0)),
        [half] => Term::Rectangular { half: *half }.tails(x).lower,
        [wide, narrow] => Term::Trapezoidal { wide: *wide, narrow: *narrow }.tails(x).lower,
        [wider @ .., half] => {
            let total: f64 = halves.iter().sum();
            if x <= -total {
                return 0.0;
            }
            if x >= total {
                return 1.0;
            }
            // Over the offset, not over x ± half: that would round away the narrow width.
            let splits = sums(wider).iter().map(|k| x - k).collect();
            pieces((-half, *half), f64::INFINITY, splits, false, |y| rectangles(wider, x - y)) / (2.0 * half)
        }
    }
}
