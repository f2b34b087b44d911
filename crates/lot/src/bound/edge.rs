//! A lot whose parts begin at a hard edge and thin out from there: the exponential of two parameters, either way.
//!
//! Parts that crowd at a limit may all lie inside it. Every shape of the list with a soft end puts a share beyond such a limit, so the lower bound of the
//! share outside must also be that of an edge: a good lot was refused for it. It takes no part in the upper bound, which its thin side could only lower.
//!
//! Edge θ, scale σ, f = e^(−(x − θ)/σ)/σ from θ up. Under the prior 1/σ, with x₁ the least of n readings and S = Σ(xᵢ − x₁):
//! σ = S/G, G gamma of shape n − 1; θ = x₁ − σ·E/n, E exponential (Lawless, Statistical Models and Methods for Lifetime Data, 2nd ed., 4.4, quoted from
//! memory; the test derives the bound's coverage anew). The agreement of this list's other shapes is here Γ(n − 1)/(n·Sⁿ⁻¹).

use super::limits::{Node, OpenShares, Scaled};
use packdrift_numerics::special::{chi_squared_quantile, ln_gamma};

/// Quantiles of G and of E each.
const STEPS: u32 = 64;

/// Readings as an edge sees them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    /// 1 where the long tail is up, -1 where it is down.
    direction: f64,
    /// The reading at the edge, and the sum of the distances from it, in sds from the mean.
    first: f64,
    sum: f64,
    n: f64,
}

impl Edge {
    /// Of sorted readings with their mean and sd (above 0): (long tail up, long tail down).
    pub(super) fn both(sorted: &[f64], mean: f64, sd: f64) -> [Self; 2] {
        [1.0, -1.0].map(|direction| {
            let scaled = || sorted.iter().map(|x| direction * (x - mean) / sd);
            let first = scaled().fold(f64::INFINITY, f64::min);
            Self { direction, first, sum: scaled().map(|z| z - first).sum(), n: sorted.len() as f64 }
        })
    }

    /// As the other shapes' agreement, which leaves out √(2π) for each reading.
    pub(super) fn ln_agreement(&self) -> f64 {
        let n = self.n;
        ln_gamma(n - 1.0) - n.ln() - (n - 1.0) * self.sum.ln() + 0.5 * n * (2.0 * std::f64::consts::PI).ln()
    }

    /// A part, in sds from the mean, of a normal score.
    pub(super) fn draw(&self, score: f64) -> f64 {
        self.direction * (-packdrift_numerics::normal::sf(self.direction * score).max(f64::MIN_POSITIVE).ln() - 1.0)
    }

    /// Means and sds of the readings that an edge leaves open, in their sds from their mean, by even quantiles of G and E.
    pub(super) fn nodes(&self) -> Vec<Node> {
        const COARSE: u32 = 20;
        let order = |k: u32| (f64::from(k) + 0.5) / f64::from(COARSE);
        let of_sd = |a: u32| {
            let sd = 2.0 * self.sum / chi_squared_quantile(2.0 * (self.n - 1.0), order(a));
            let mean = move |b: u32| self.direction * (self.first + sd * (order(b).ln() / self.n + 1.0));
            (0..COARSE).map(move |b| Node { mean: mean(b), sd, weight: 1.0 })
        };
        (0..COARSE).flat_map(of_sd).collect()
    }

    /// The quantile of order p of the share outside, by even quantiles of G and E.
    pub(super) fn quantile(&self, limits: &Scaled, p: f64) -> f64 {
        let (near, far) =
            if self.direction > 0.0 { (limits.lower, limits.upper) } else { (limits.upper, limits.lower) };
        let [near, far] = [near, far].map(|limit| limit.map(|x| self.direction * x));
        let order = |k: u32| (f64::from(k) + 0.5) / f64::from(STEPS);
        let mut open = OpenShares::default();
        for a in 0..STEPS {
            let sigma = 2.0 * self.sum / chi_squared_quantile(2.0 * (self.n - 1.0), order(a));
            let parts = limits.parts(sigma);
            for b in 0..STEPS {
                // The gauge widens the readings about the mean that parts have too.
                let edge = self.first + sigma * (order(b).ln() / self.n + 1.0) - parts;
                let beyond_near = near.map_or(0.0, |limit| -(-((limit - edge) / parts).max(0.0)).exp_m1());
                let beyond_far = far.map_or(0.0, |limit| (-((limit - edge) / parts).max(0.0)).exp());
                open.push((beyond_near + beyond_far).min(1.0), 1.0);
            }
        }
        open.sort();
        open.quantile(p)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use packdrift_numerics::stream::Key;

    /// The lower bound lies above the true share in one lot of twenty, whatever n: for a far limit, where the bound is smooth.
    #[test]
    fn the_lower_bound_holds_as_often_as_it_says() {
        let lots = 2000_u32;
        for n in [3_usize, 10, 40] {
            let key = Key::new(n as u64, "edge");
            let mut held = 0_u32;
            for lot in 0..lots {
                let mut stream = key.stream(u64::from(lot));
                let mut values: Vec<f64> = (0..n).map(|_| -stream.uniform().ln()).collect();
                values.sort_unstable_by(f64::total_cmp);
                let mean = values.iter().sum::<f64>() / n as f64;
                let [up, _] = Edge::both(&values, mean, 1.0);
                // 1 % of an exponential lies above ln 100.
                let limits = Scaled { lower: None, upper: Some(100.0_f64.ln() - mean), gauge: 0.0 };
                held += u32::from(up.quantile(&limits, 0.05) <= 0.01);
            }
            let share = f64::from(held) / f64::from(lots);
            assert!((share - 0.95).abs() < 4.0 * (0.95 * 0.05 / f64::from(lots)).sqrt(), "n {n}: {share}");
        }
    }

    /// Mirrored readings and limits give the mirrored answer, and the closed form of the agreement is its integral.
    #[test]
    fn either_way_and_the_integral() {
        let values = [-0.8, -0.5, 0.1, 0.3, 0.9];
        let mirrored: Vec<f64> = values.iter().rev().map(|x| -x).collect();
        let [up, down] = Edge::both(&values, 0.0, 1.0);
        let [up_mirrored, down_mirrored] = Edge::both(&mirrored, 0.0, 1.0);
        let limits = Scaled { lower: Some(-1.0), upper: Some(2.0), gauge: 0.1 };
        let other = Scaled { lower: Some(-2.0), upper: Some(1.0), gauge: 0.1 };
        for (a, b) in [(up, down_mirrored), (down, up_mirrored)] {
            assert!((a.quantile(&limits, 0.3) - b.quantile(&other, 0.3)).abs() < 1e-12);
            assert!((a.ln_agreement() - b.ln_agreement()).abs() < 1e-12);
        }
        // ∫∫ σ⁻ⁿ e^(−Σ(xᵢ − θ)/σ) dθ d ln σ by midpoints; θ below the first reading in steps of σ.
        let (h, n) = (0.01, 5.0);
        let total: f64 = values.iter().sum();
        let mut sum = 0.0;
        for k in -600..1000 {
            let sigma = (f64::from(k) * h).exp();
            for j in 0..800 {
                let theta = -0.8 - sigma * (f64::from(j) + 0.5) * h;
                sum += (-n * sigma.ln() - (total - n * theta) / sigma).exp() * sigma * h * h;
            }
        }
        let expected = sum.ln() + 0.5 * n * (2.0 * std::f64::consts::PI).ln();
        assert!((up.ln_agreement() - expected).abs() < 1e-3, "{} and {expected}", up.ln_agreement());
    }
}
