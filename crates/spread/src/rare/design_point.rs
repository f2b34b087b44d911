//! Design points: the points of {g ≤ 0} nearest to the origin of u, where most of a rare event's probability lies.
//!
//! min |u| subject to g(u) = 0, by the iteration of Hasofer, Lind, Rackwitz and Fiessler with the step control of Y. Zhang and
//! A. Der Kiureghian ("Two improved algorithms for reliability analysis", IFIP WG 7.5, 1995): from u to u + λd,
//!
//! d = (α·u + g/|∇g|)·α − u, α = −∇g/|∇g|,
//!
//! with the first λ of 1, ½, ¼ … that lowers the merit ½|u|² + c|g|, c > |u|/|∇g|. It tells where to sample, never how large a
//! probability is: the first-order approximation Φ(−β) is not printed anywhere.

use super::event::Evaluator;
use packdrift_numerics::sobol::Scrambling;

/// A point where the event begins.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct DesignPoint {
    pub(crate) u: Vec<f64>,
    /// Unit vector towards the event.
    pub(crate) direction: Vec<f64>,
    /// direction·u: negative where the origin itself is in the event.
    pub(crate) beta: f64,
}

const ITERATIONS: usize = 60;
/// Farthest from the origin that is looked: the share beyond is below 1e-300.
const FARTHEST: f64 = 37.0;
/// Most design points kept.
pub(super) const MOST: usize = 8;
/// Points of exploration at each scale, a power of 2.
const EXPLORED: u32 = 9;
/// The scales: standard deviations of the exploring points.
const SCALES: [f64; 2] = [1.7, 3.2];

pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

pub(super) fn norm(a: &[f64]) -> f64 {
    dot(a, a).sqrt()
}

/// g and ∇g at u, by central differences; None where there is no slope to follow.
fn slope(g: &mut Evaluator<'_>, u: &[f64]) -> Option<(f64, Vec<f64>)> {
    const STEP: f64 = 1e-4;
    let n = u.len();
    let values = g.values(2 * n + 1, |k, first, column| {
        for (i, value) in column.iter_mut().enumerate() {
            let point = first + i;
            *value = u[k];
            if point < 2 * n && point / 2 == k {
                *value += if point % 2 == 0 { STEP } else { -STEP };
            }
        }
    });
    let centre = values[2 * n];
    if !centre.is_finite() {
        return None;
    }
    let gradient: Vec<f64> = values[..2 * n]
        .chunks_exact(2)
        .map(|pair| match (pair[0].is_finite(), pair[1].is_finite()) {
            (true, true) => (pair[0] - pair[1]) / (2.0 * STEP),
            (true, false) => (pair[0] - centre) / STEP,
            (false, true) => (centre - pair[1]) / STEP,
            (false, false) => 0.0,
        })
        .collect();
    Some((centre, gradient))
}

/// The design point that the iteration from `start` leads to; None where it leads to none.
pub(crate) fn search(g: &mut Evaluator<'_>, start: &[f64]) -> Option<DesignPoint> {
    let mut u = start.to_vec();
    let mut last: Option<DesignPoint> = None;
    for _ in 0..ITERATIONS {
        let Some((value, gradient)) = slope(g, &u) else { return last };
        let size = norm(&gradient);
        if !(size.is_finite() && size > 0.0) {
            return last;
        }
        let direction: Vec<f64> = gradient.iter().map(|s| -s / size).collect();
        let along = dot(&direction, &u);
        let distance = value / size;
        let off = u.iter().zip(&direction).map(|(u, a)| (u - along * a).powi(2)).sum::<f64>().sqrt();
        let radius = norm(&u);
        if distance.abs() < 1e-4 {
            let here = DesignPoint { u: u.clone(), direction: direction.clone(), beta: along };
            if off < 2e-3 * radius.max(1.0) {
                return Some(here);
            }
            // On the limit but not its nearest point: good enough as a direction to sample along if nothing better comes.
            last = Some(here);
        }
        let step: Vec<f64> = u.iter().zip(&direction).map(|(u, a)| (along + distance) * a - u).collect();
        let weight = (2.0 * radius + 1.0) / size;
        let merit = |u: &[f64], value: f64| 0.5 * dot(u, u) + weight * value.abs();
        let here = merit(&u, value);
        let trials: Vec<Vec<f64>> = (0..8)
            .map(|k| {
                let lambda = 0.5_f64.powi(k);
                u.iter().zip(&step).map(|(u, d)| u + lambda * d).collect()
            })
            .collect();
        let values = g.at(&trials);
        let better = trials
            .into_iter()
            .zip(values)
            .find(|(u, value)| value.is_finite() && norm(u) < FARTHEST && merit(u, *value) < here - 1e-12 * here.abs());
        match better {
            Some((next, _)) => u = next,
            None => return last,
        }
    }
    last
}

/// All design points that are found, nearest first: from the origin, and from those points of two wide samples that lie in the
/// event without lying behind a design point already known. Empty where the event was not met at all.
pub(crate) fn search_all(g: &mut Evaluator<'_>, seed: u64, purpose: &str) -> Vec<DesignPoint> {
    let n = g.coordinates();
    let mut found: Vec<DesignPoint> = search(g, &vec![0.0; n]).into_iter().collect();
    let mut inside: Vec<Vec<f64>> = Vec::new();
    for (scale, number) in SCALES.iter().zip(0..) {
        let points = Scrambling { seed, purpose, number, log2_points: EXPLORED };
        let mut coordinates = vec![vec![0.0; points.points()]; n];
        for (k, column) in coordinates.iter_mut().enumerate() {
            points.fill_normal(k, column);
        }
        let values = g.values(points.points(), |k, first, column| {
            for (value, z) in column.iter_mut().zip(&coordinates[k][first..]) {
                *value = scale * z;
            }
        });
        for (i, _) in values.iter().enumerate().filter(|(_, g)| **g < 0.0) {
            inside.push(coordinates.iter().map(|column| scale * column[i]).collect());
        }
    }
    inside.sort_by(|a, b| norm(a).total_cmp(&norm(b)));
    let mut tries = 0;
    for point in &inside {
        if found.len() >= MOST || tries >= MOST + 4 {
            break;
        }
        if explained(&found, point) {
            continue;
        }
        tries += 1;
        if let Some(next) = search(g, point) {
            add(&mut found, next);
        }
    }
    found.sort_by(|a, b| a.beta.total_cmp(&b.beta));
    // Far beyond the nearest a region adds nothing that the lines of the others would not see.
    if let Some(nearest) = found.first().map(|d| d.beta) {
        found.retain(|d| d.beta < nearest + 3.0 + 0.2 * nearest.abs());
    }
    found
}

/// Whether a point lies behind a design point that is known: past its tangent plane, or so little short of it that curvature explains it.
pub(super) fn explained(found: &[DesignPoint], point: &[f64]) -> bool {
    found.iter().any(|d| dot(&d.direction, point) >= d.beta - 0.35 * d.beta.abs().max(1.0))
}

/// Where the straight way from the origin to a point in the event enters it for good: a direction to sample along where no slope leads to a
/// nearest point. None where the origin itself is in the event.
pub(super) fn on_the_way_to(g: &mut Evaluator<'_>, point: &[f64]) -> Option<DesignPoint> {
    let at = |share: f64| -> Vec<f64> { point.iter().map(|u| share * u).collect() };
    let size = norm(point);
    // A size that is not a number is no direction either.
    if size.is_nan() || size <= 0.0 || g.at(&[vec![0.0; point.len()]])[0] < 0.0 {
        return None;
    }
    let (mut outside, mut inside) = (0.0, 1.0);
    for _ in 0..40 {
        let middle = 0.5 * (outside + inside);
        if g.at(&[at(middle)])[0] < 0.0 { inside = middle } else { outside = middle }
    }
    let direction = point.iter().map(|u| u / size).collect();
    Some(DesignPoint { u: at(inside), direction, beta: inside * size })
}

/// Adds a point unless it has nearly the direction of one that is there; then the nearer of the two stays.
pub(super) fn add(found: &mut Vec<DesignPoint>, next: DesignPoint) {
    if let Some(same) = found.iter_mut().find(|d| dot(&d.direction, &next.direction) > 0.9) {
        if next.beta < same.beta {
            *same = next;
        }
    } else {
        found.push(next);
    }
}
