//! Line sampling: the probability of an event, integrated exactly along lines and by scrambled Sobol' points across them.
//!
//! With a unit vector α, u = v + c·α with v orthogonal to α, P(E) = E_v[P(c : v + c·α ∈ E)] (P. S. Koutsourelakis,
//! H. J. Pradlwarter and G. I. Schuëller, "Reliability of structures in high dimensions", Probabilistic Engineering Mechanics 19 (2004)
//! 409–423). Each line is scanned from end to end and every change of sign is located, so what is integrated is the whole event,
//! not the half-space that α suggests, and the estimate is unbiased for any α. A good α, towards the design point, makes it accurate:
//! the closer the limit is to a plane, the less the lines differ.
//!
//! With several design points α₁, α₂, … the space is divided into the cells in which α_j·u − β_j is largest, and each cell is integrated
//! along its own α_j: on a line of α_j the cell is c ≥ max_k (β_j − β_k + α_k·v)/(1 − α_j·α_k).
//!
//! Where the limit curves towards the origin the lines differ most far out; there v is drawn wider, v_k = s_k·z_k in the mirrored frame with
//! s_k² = 1/(1 + β·κ_k) (κ_k < 0 the curvature along axis k at the design point, after K. Breitung, "Asymptotic approximations for multinormal
//! integrals", Journal of Engineering Mechanics 110 (1984) 357–366), and each line counts Π s_k·exp((z_k² − v_k²)/2). Never narrower: that would
//! hide what lies far out.
//!
//! The standard error comes from independent scramblings.

use super::design_point::{DesignPoint, dot};
use super::event::Evaluator;
use packdrift_numerics::normal;
use packdrift_numerics::sobol::Scrambling;

/// Where lines are looked at, relative to the origin and to the design point.
const ABOUT_ORIGIN: [f64; 7] = [-7.0, -4.0, -2.0, 0.0, 2.0, 4.0, 7.0];
const ABOUT_POINT: [f64; 9] = [-3.0, -1.5, -0.6, -0.2, 0.2, 0.6, 1.5, 3.0, 5.0];

/// Largest s².
const WIDEST: f64 = 3.0;

/// The frame of the lines along one design point's direction.
#[derive(Debug, Clone)]
pub(crate) struct Frame {
    point: DesignPoint,
    /// Reflection that takes the axis `pivot` to the direction: e − 2w(w·e).
    mirror: Vec<f64>,
    pivot: usize,
    /// Which Sobol' coordinate each axis gets.
    rank: Vec<usize>,
    /// s of each axis.
    wide: Vec<f64>,
}

impl Frame {
    /// Around a design point of the event, widened by the curvature found there.
    pub(crate) fn new(g: &mut Evaluator<'_>, point: &DesignPoint) -> Self {
        let a = &point.direction;
        let pivot = (0..a.len()).max_by(|&i, &j| a[i].abs().total_cmp(&a[j].abs())).unwrap_or(0);
        // Householder: w ∝ e_pivot − α; where α is the axis itself there is nothing to reflect.
        let mut mirror: Vec<f64> = a.iter().map(|a| -a).collect();
        mirror[pivot] += 1.0;
        let size = dot(&mirror, &mirror).sqrt();
        if size > 1e-12 {
            mirror.iter_mut().for_each(|w| *w /= size);
        } else {
            mirror.fill(0.0);
        }
        // The coordinates that matter most to the limit get the first, best balanced, Sobol' coordinates.
        let mut order: Vec<usize> = (0..a.len()).filter(|k| *k != pivot).collect();
        order.sort_by(|&i, &j| a[j].abs().total_cmp(&a[i].abs()));
        let mut rank = vec![0; a.len()];
        for (place, k) in order.into_iter().enumerate() {
            rank[k] = place;
        }
        let mut frame = Self { point: point.clone(), mirror, pivot, rank, wide: vec![1.0; a.len()] };
        frame.widen(g);
        frame
    }

    /// An axis of the frame, as a direction of u: the mirror image of the unit vector k.
    fn axis(&self, k: usize, out: &mut [f64]) {
        for (value, w) in out.iter_mut().zip(&self.mirror) {
            *value = -2.0 * self.mirror[k] * w;
        }
        out[k] += 1.0;
    }

    /// Along each axis g at ±1 and at the point itself gives the curvature of the limit, 2(½(g₊ + g₋) − g₀)/|∇g|, with the slope along the direction from two
    /// more values. One unit is the length over which it counts.
    fn widen(&mut self, g: &mut Evaluator<'_>) {
        let n = self.point.u.len();
        if n < 2 || self.point.beta <= 0.0 {
            return;
        }
        let u = &self.point.u;
        let direction = &self.point.direction;
        let mut axes = vec![vec![0.0; n]; n];
        for (k, axis) in axes.iter_mut().enumerate() {
            self.axis(k, axis);
        }
        let values = g.values(2 * n + 3, |coordinate, first, column| {
            for (i, value) in column.iter_mut().enumerate() {
                let sign = if (first + i) % 2 == 0 { 1.0 } else { -1.0 };
                *value = u[coordinate]
                    + match (first + i) / 2 {
                        k if k < n => sign * axes[k][coordinate],
                        k if k == n => sign * 1e-2 * direction[coordinate],
                        _ => 0.0,
                    };
            }
        });
        let slope = (values[2 * n + 1] - values[2 * n]) / 2e-2;
        let centre = values[2 * n + 2];
        if !(slope > 0.0 && slope.is_finite() && centre.is_finite()) {
            return;
        }
        for k in (0..n).filter(|k| *k != self.pivot) {
            let curvature = (values[2 * k] + values[2 * k + 1] - 2.0 * centre) / slope;
            if curvature < 0.0 {
                let shrink = 1.0 + self.point.beta * curvature;
                self.wide[k] = if shrink > 1.0 / WIDEST { (1.0 / shrink).sqrt() } else { WIDEST.sqrt() };
            }
        }
    }

    /// Points v orthogonal to the direction, coordinate by coordinate, and what each line counts.
    fn across(&self, points: &Scrambling<'_>) -> (Vec<Vec<f64>>, Vec<f64>) {
        let n = points.points();
        let mut v = vec![vec![0.0; n]; self.rank.len()];
        let mut along = vec![0.0; n];
        let mut exponent = vec![0.0; n];
        let factor: f64 = self.wide.iter().product();
        for (k, column) in v.iter_mut().enumerate() {
            if k == self.pivot {
                continue;
            }
            points.fill_normal(self.rank[k], column);
            let s = self.wide[k];
            if s > 1.0 {
                for (z, exponent) in column.iter_mut().zip(&mut exponent) {
                    *exponent -= 0.5 * (s * s - 1.0) * *z * *z;
                    *z *= s;
                }
            }
            for (sum, z) in along.iter_mut().zip(column.iter()) {
                *sum += 2.0 * self.mirror[k] * z;
            }
        }
        for (k, column) in v.iter_mut().enumerate() {
            for (z, sum) in column.iter_mut().zip(&along) {
                *z -= self.mirror[k] * sum;
            }
        }
        (v, exponent.into_iter().map(|e| factor * libm::exp(e)).collect())
    }
}

/// P(from < Z < to), from the side where it does not cancel.
fn between(from: f64, to: f64) -> f64 {
    if to <= from {
        0.0
    } else if from > 0.0 {
        normal::sf(from) - normal::sf(to)
    } else {
        normal::cdf(to) - normal::cdf(from)
    }
}

/// What one scrambling of lines found.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Found {
    /// The probability.
    pub(crate) share: f64,
    /// Lines on which the event is not one half-line.
    pub(crate) broken: usize,
    /// Lines.
    pub(crate) lines: usize,
}

/// The probability of the event by one scrambling of 2^m lines along each design point's direction. `finer` places further looks
/// between those of the scan, to check it.
pub(crate) fn scrambling(g: &mut Evaluator<'_>, frames: &[Frame], lines: &Scrambling<'_>, finer: bool) -> Found {
    let mut found = Found::default();
    for (j, frame) in frames.iter().enumerate() {
        let purpose = format!("{}/direction {j}", lines.purpose);
        let (v, counts) = frame.across(&Scrambling { purpose: &purpose, ..*lines });
        let from = cells(frames, j, &v);
        let one = along(g, frame, &v, &from, &counts, finer);
        found.share += one.share;
        found.broken += one.broken;
        found.lines += one.lines;
    }
    found
}

/// Where on each line the cell of direction j begins.
fn cells(frames: &[Frame], j: usize, v: &[Vec<f64>]) -> Vec<f64> {
    let points: Vec<&DesignPoint> = frames.iter().map(|f| &f.point).collect();
    let lines = v.first().map_or(0, Vec::len);
    let mut from = vec![f64::NEG_INFINITY; lines];
    for other in points.iter().enumerate().filter(|(k, _)| *k != j).map(|(_, p)| p) {
        let cosine = dot(&points[j].direction, &other.direction);
        for (i, from) in from.iter_mut().enumerate() {
            let across: f64 = other.direction.iter().zip(v).map(|(a, column)| a * column[i]).sum();
            *from = from.max((points[j].beta - other.beta + across) / (1.0 - cosine));
        }
    }
    from
}

fn along(g: &mut Evaluator<'_>, frame: &Frame, v: &[Vec<f64>], from: &[f64], counts: &[f64], finer: bool) -> Found {
    let lines = from.len();
    let direction = &frame.point.direction;
    let looks = looks(frame.point.beta, finer);
    // Look by look, all lines: in one go, as a block of points costs nearly the same however few of them are wanted.
    let mut place = vec![(0, 0.0); looks.len() * lines];
    for (places, &c) in place.chunks_exact_mut(lines.max(1)).zip(&looks) {
        places.iter_mut().enumerate().for_each(|(line, place)| *place = (line, c));
    }
    let at_looks = g.values(place.len(), |k, first, column| {
        for (value, (line, c)) in column.iter_mut().zip(&place[first..]) {
            *value = v[k][*line] + c * direction[k];
        }
    });
    let at_look = |look: usize, line: usize| at_looks[look * lines + line];
    // Every change of sign: (line, index of the look before it).
    let mut brackets: Vec<Bracket> = Vec::with_capacity(lines);
    for line in 0..lines {
        for k in 0..looks.len() - 1 {
            let (a, b) = (at_look(k, line), at_look(k + 1, line));
            if (a < 0.0) != (b < 0.0) {
                brackets.push(Bracket {
                    line,
                    low: looks[k],
                    high: looks[k + 1],
                    at_low: a,
                    at_high: b,
                    last: f64::NAN,
                    kept: None,
                });
            }
        }
    }
    close(g, &mut brackets, v, direction);
    let mut found = Found { lines, ..Found::default() };
    let mut next = brackets.iter().peekable();
    let mut total = 0.0;
    for (line, (&from, count)) in from.iter().zip(counts).enumerate() {
        let mut on_line = 0.0;
        let mut inside = at_look(0, line) < 0.0;
        let begins_inside = inside;
        let mut start = if inside { f64::NEG_INFINITY } else { f64::NAN };
        let mut changes = 0;
        while let Some(bracket) = next.next_if(|b| b.line == line) {
            let c = bracket.last;
            if inside {
                on_line += between(start.max(from), c);
            } else {
                start = c;
            }
            inside = !inside;
            changes += 1;
        }
        if inside {
            on_line += between(start.max(from), f64::INFINITY);
        }
        total += count * on_line;
        if changes > 1 || begins_inside {
            found.broken += 1;
        }
    }
    found.share = total / lines as f64;
    found
}

/// Where to look on a line, rising.
fn looks(beta: f64, finer: bool) -> Vec<f64> {
    let mut looks: Vec<f64> = ABOUT_ORIGIN.into_iter().chain(ABOUT_POINT.iter().map(|d| beta + d)).collect();
    looks.sort_by(f64::total_cmp);
    looks.dedup_by(|b, a| *b - *a < 0.15);
    if finer {
        looks = looks
            .windows(2)
            .flat_map(|w| (0..4).map(move |k| w[0] + 0.25 * f64::from(k) * (w[1] - w[0])))
            .chain(looks.last().copied())
            .collect();
    }
    looks
}

/// A change of sign on a line.
struct Bracket {
    line: usize,
    low: f64,
    high: f64,
    at_low: f64,
    at_high: f64,
    /// The place last tried; at the end, where the sign changes.
    last: f64,
    /// The end that was kept in the last step.
    kept: Option<End>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum End {
    Low,
    High,
}

/// Locates all changes of sign together, by false position with the Illinois rule, by halving where an end has no value. A place is good to 1e-7: a
/// relative error below 1e-6 in the share.
fn close(g: &mut Evaluator<'_>, brackets: &mut [Bracket], v: &[Vec<f64>], direction: &[f64]) {
    let mut open: Vec<usize> = (0..brackets.len()).collect();
    for round in 0..60 {
        if open.is_empty() {
            break;
        }
        let tries: Vec<f64> = open
            .iter()
            .map(|&i| {
                let b = &brackets[i];
                let guess = b.low - b.at_low * (b.high - b.low) / (b.at_high - b.at_low);
                // Now and then a halving, so that no shape of g can hold it up.
                if round % 8 != 7 && guess > b.low && guess < b.high { guess } else { 0.5 * (b.low + b.high) }
            })
            .collect();
        let values = g.values(open.len(), |k, first, column| {
            for ((value, &i), c) in column.iter_mut().zip(&open[first..]).zip(&tries[first..]) {
                *value = v[k][brackets[i].line] + c * direction[k];
            }
        });
        let mut still = Vec::with_capacity(open.len());
        for ((&i, &c), &value) in open.iter().zip(&tries).zip(&values) {
            let b = &mut brackets[i];
            let moved = (c - b.last).abs();
            b.last = c;
            if (value < 0.0) == (b.at_low < 0.0) {
                (b.low, b.at_low) = (c, value);
                if b.kept == Some(End::High) {
                    b.at_high *= 0.5;
                }
                b.kept = Some(End::High);
            } else {
                (b.high, b.at_high) = (c, value);
                if b.kept == Some(End::Low) {
                    b.at_low *= 0.5;
                }
                b.kept = Some(End::Low);
            }
            if !(moved < 1e-7 || b.high - b.low < 1e-8 || value == 0.0) {
                still.push(i);
            }
        }
        open = still;
    }
}
