//! What readings say of mean and sd where the shape is known, and how well they agree with that shape.
//!
//! For a shape f with mean 0 and sd 1 the distribution of (μ, σ) given n readings is ∏ f((xᵢ − μ)/σ)/σ under the prior 1/σ, the right Haar measure of the
//! group of shifts and scales: bounds of a quantile μ + q·σ derived from it hold exactly as often as they say, for every n from 2 up, and the integral
//! itself compares shapes free of μ and σ, being the density of what neither moves (Lehmann and Romano, Testing Statistical Hypotheses, 3rd ed., 6.3; Berger,
//! Statistical Decision Theory, 2nd ed., 6.6). Integrated on a grid about the mode, so nothing is random.

use super::candidate::Standard;
use super::limits::Node;

/// Readings standardised by their own mean and sd, in classes where they are many.
#[derive(Debug, Clone)]
pub(super) struct Standardised {
    /// (value, how many).
    classes: Vec<(f64, f64)>,
    n: f64,
}

/// Above so many readings they are put into classes.
const SINGLY: usize = 64;
/// Classes a sd. A class's readings are replaced by their mean; their variance about it, 1/(12·16²) of the whole, is lost.
const CLASSES_PER_SD: f64 = 16.0;

/// ln likelihood below which a reading lies where the shape has no density.
const IMPOSSIBLE: f64 = -1e8;

/// Nodes of less than this part of the heaviest are dropped: a hundred thousand of them would not move a bound of 99 % confidence.
const NEGLIGIBLE: f64 = 1e-6;

impl Standardised {
    /// Of sorted readings with their mean and sd (above 0).
    pub(super) fn new(sorted: &[f64], mean: f64, sd: f64) -> Self {
        let n = sorted.len() as f64;
        let z = sorted.iter().map(|x| (x - mean) / sd);
        if sorted.len() <= SINGLY {
            return Self { classes: z.map(|z| (z, 1.0)).collect(), n };
        }
        let mut classes: Vec<(f64, f64, f64)> = Vec::new();
        for z in z {
            let class = (z * CLASSES_PER_SD).floor();
            match classes.last_mut() {
                Some(last) if last.0.total_cmp(&class).is_eq() => {
                    last.1 += z;
                    last.2 += 1.0;
                }
                _ => classes.push((class, z, 1.0)),
            }
        }
        Self { classes: classes.into_iter().map(|(_, sum, count)| (sum / count, count)).collect(), n }
    }

    fn ln_likelihood(&self, shape: &Standard, mean: f64, ln_sd: f64) -> f64 {
        let per_sd = (-ln_sd).exp();
        let sum: f64 = self.classes.iter().map(|&(z, count)| count * shape.ln_density((z - mean) * per_sd)).sum();
        sum - self.n * ln_sd
    }

    /// (mean, ln sd) where the likelihood is largest, by a search that needs no slopes: shapes with a bounded end have none there.
    fn mode(&self, shape: &Standard) -> (f64, f64, f64) {
        // From an sd at which no reading lies beyond a bounded end: there the likelihood is 0 all around and shows no way.
        let mut best = (0.0, 0.0, self.ln_likelihood(shape, 0.0, 0.0));
        while best.2 < IMPOSSIBLE && best.1 < 20.0 {
            let ln_sd = best.1 + 0.25;
            best = (0.0, ln_sd, self.ln_likelihood(shape, 0.0, ln_sd));
        }
        // Of few readings some may lie so close together that a small sd at one of them is likelier: start there too.
        if self.classes.len() <= 12 {
            for &(z, _) in &self.classes {
                for ln_sd in [-4.0, -3.0, -2.0, -1.0, 0.0] {
                    let here = self.ln_likelihood(shape, z, ln_sd);
                    if here > best.2 {
                        best = (z, ln_sd, here);
                    }
                }
            }
        }
        let mut step = 0.5;
        while step > 1e-3 {
            let mut moved = false;
            for (dm, db) in [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)] {
                let (mean, ln_sd) = (best.0 + dm * best.1.exp(), best.1 + db);
                let here = self.ln_likelihood(shape, mean, ln_sd);
                if here > best.2 {
                    best = (mean, ln_sd, here);
                    moved = true;
                }
            }
            if !moved {
                step *= 0.5;
            }
        }
        best
    }

    /// Integrates over mean and sd: ln of the agreement with the shape, and the means and sds that the readings leave open.
    pub(super) fn integrate(&self, shape: &Standard) -> (f64, Vec<Node>) {
        let (mode, ln_mode, top) = self.mode(shape);
        let root = self.n.sqrt();
        let step_b = (0.6 / root).clamp(0.02, 0.2);
        let step_t = 0.5 / root;
        let mut nodes = Vec::new();
        for direction in [1.0, -1.0] {
            let mut k = if direction > 0.0 { 0.0 } else { 1.0 };
            while k < 400.0 {
                let ln_sd = ln_mode + direction * k * step_b;
                let highest = self.row(shape, (mode, ln_sd, top, step_t), &mut nodes);
                // A wide row counts for its likelihood times σ, the width of the mean's range.
                if highest + ln_sd - ln_mode < -14.0 && k * step_b > 0.5 {
                    break;
                }
                k += 1.0;
            }
        }
        let total: f64 = nodes.iter().map(|n| n.weight).sum();
        let least = NEGLIGIBLE * nodes.iter().map(|n| n.weight).fold(0.0, f64::max);
        nodes.retain(|n| n.weight > least);
        (top + total.ln() + (step_b * step_t).ln(), nodes)
    }

    /// The nodes of one sd; the largest ln likelihood among them, less the mode's.
    fn row(&self, shape: &Standard, (mode, ln_sd, top, step): (f64, f64, f64, f64), nodes: &mut Vec<Node>) -> f64 {
        let sd = ln_sd.exp();
        let mut highest = f64::NEG_INFINITY;
        for direction in [1.0, -1.0] {
            let mut side = f64::NEG_INFINITY;
            let mut j = if direction > 0.0 { 0.0 } else { 1.0 };
            while j < 400.0 {
                let mean = mode + direction * j * step * sd;
                let here = self.ln_likelihood(shape, mean, ln_sd) - top;
                side = side.max(here);
                if here > -16.0 {
                    // dμ = σ·dt, and the prior 1/σ makes dσ/σ = d ln σ.
                    nodes.push(Node { mean, sd, weight: here.exp() * sd });
                }
                if here < side.min(-4.0) - 9.0 && j * step > 1.0 {
                    break;
                }
                j += 1.0;
            }
            highest = highest.max(side);
        }
        highest
    }
}

#[cfg(test)]
mod tests {
    use super::super::candidate::CANDIDATES;
    use super::super::limits::{Scaled, shares};
    use super::*;
    use packdrift_numerics::normal;
    use packdrift_numerics::special::noncentral_t_quantile;
    use packdrift_numerics::stream::Key;

    fn standardised(values: &mut [f64]) -> (Standardised, f64, f64) {
        values.sort_unstable_by(f64::total_cmp);
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let sd = (values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        (Standardised::new(values, mean, sd), mean, sd)
    }

    /// With the normal shape the bound of the share beyond one limit is the exact one of the noncentral t: at a limit of k sample sds it is p where
    /// k is the tolerance factor of content 1 - p.
    #[test]
    fn the_normal_shape_gives_the_exact_tolerance_factor() {
        let mut stream = Key::new(4, "location and scale").stream(0);
        for n in [2_usize, 3, 5, 20, 64, 300] {
            let mut values: Vec<f64> = (0..n).map(|_| stream.normal()).collect();
            let (readings, ..) = standardised(&mut values);
            for p in [0.05, 0.0027] {
                let nf = n as f64;
                let k = noncentral_t_quantile(nf - 1.0, -nf.sqrt() * normal::quantile(p), 0.95) / nf.sqrt();
                let (_, nodes) = readings.integrate(&CANDIDATES[0]);
                let open = shares(&CANDIDATES[0], &nodes, &Scaled { lower: None, upper: Some(k), gauge: 0.0 });
                let z = normal::quantile(open.quantile(0.95));
                let right = normal::quantile(p);
                // Grid and classes: to the safe side at two and three readings, where the bound itself is tens of sds away.
                let allowed = if n < 4 {
                    0.15
                } else if n < 10 {
                    0.05
                } else {
                    0.03
                };
                assert!((z - right).abs() < allowed, "n {n}, p {p}: score {z} instead of {right}");
            }
        }
    }

    /// Readings far beyond where a shape would end at their own mean and sd: the search for its mode finds the way, and what it leaves open is finite. (It
    /// stood where the likelihood is 0, all other shapes were left out against an agreement without end, and a good lot was said to be outside to 100 %.)
    #[test]
    fn every_shape_agrees_to_a_finite_degree() {
        for n in [3_usize, 8, 25, 100] {
            for lot in 0..6 {
                let mut stream = Key::new(n as u64, "finite agreement").stream(lot);
                let mut values: Vec<f64> = (0..n).map(|_| stream.normal()).collect();
                values[0] = -3.5;
                let (readings, ..) = standardised(&mut values);
                for shape in CANDIDATES.iter() {
                    let (agreement, nodes) = readings.integrate(shape);
                    let finite = agreement.is_finite() && nodes.iter().all(|n| n.weight.is_finite());
                    assert!(finite && !nodes.is_empty(), "n {n}, lot {lot}, {:?}: {agreement}", shape.shape);
                }
            }
        }
    }

    /// In every shape the bound of the share beyond a limit holds as often as it says: the group argument, tried for three shapes far from the normal.
    #[test]
    fn bounds_hold_exactly_in_every_shape() {
        let lots = 400_u32;
        for (at, shape) in CANDIDATES.iter().enumerate().filter(|(k, _)| [7, 13, 24].contains(k)) {
            for n in [4_usize, 15] {
                let key = Key::new(at as u64, "coverage by shape");
                // The limit at which 1 % is outside, found in the candidate's own tail.
                let (mut low, mut high) = (0.0, 60.0);
                for _ in 0..60 {
                    let middle = 0.5 * (low + high);
                    if shape.above(middle) > 0.01 { low = middle } else { high = middle }
                }
                let mut held = 0_u32;
                for lot in 0..lots {
                    let mut stream = key.stream(u64::from(lot));
                    let mut values: Vec<f64> = (0..n).map(|_| shape.draw(stream.normal())).collect();
                    let (readings, mean, sd) = standardised(&mut values);
                    let limits = Scaled { lower: None, upper: Some((low - mean) / sd), gauge: 0.0 };
                    let (_, nodes) = readings.integrate(shape);
                    held += u32::from(shares(shape, &nodes, &limits).quantile(0.95) >= 0.01);
                }
                let share = f64::from(held) / f64::from(lots);
                let allowed = 4.0 * (0.95 * 0.05 / f64::from(lots)).sqrt();
                assert!((share - 0.95).abs() < allowed, "{:?}, n {n}: {share}", shape.shape);
            }
        }
    }
}
