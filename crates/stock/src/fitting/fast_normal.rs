//! Φ from a table, for the inner loop: builds are fitted by the million, and what is chosen does not hang on the seventh digit.
//! (A lot's tails have a table of their own, good to 3e-10: `packdrift-lot`, `tails.rs`. A straight line between nodes is quicker.)

use packdrift_numerics::normal::cdf;
use std::sync::OnceLock;

/// Beyond this Φ is 0 or 1 to the table's accuracy.
const END: f64 = 6.0;
/// Steps in one standard deviation.
const STEPS: f64 = 256.0;

fn table() -> &'static [f64] {
    static TABLE: OnceLock<Vec<f64>> = OnceLock::new();
    TABLE.get_or_init(|| (0..=(2.0 * END * STEPS) as usize).map(|k| cdf(k as f64 / STEPS - END)).collect())
}

/// Φ(z) to 5e-7, by linear interpolation: the largest error is max |φ'|·h²/8 with h = 1/256.
fn phi(table: &[f64], z: f64) -> f64 {
    let at = ((z + END) * STEPS).clamp(0.0, 2.0 * END * STEPS);
    let node = (at as usize).min(table.len() - 2);
    table[node] + (at - node as f64) * (table[node + 1] - table[node])
}

/// The chance that a normal of this mean and standard deviation is between the limits, to 1e-6.
#[derive(Debug, Clone, Copy)]
pub(super) struct FastNormal(&'static [f64]);

impl FastNormal {
    pub(super) fn new() -> Self {
        Self(table())
    }

    pub(super) fn between(self, (lower, upper): (f64, f64), mean: f64, sd: f64) -> f64 {
        (phi(self.0, (upper - mean) / sd) - phi(self.0, (lower - mean) / sd)).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::between;

    #[test]
    fn the_table_agrees_with_the_function() {
        let fast = FastNormal::new();
        for k in 0..4000_i32 {
            let mean = f64::from(k - 2000) * 0.0037;
            let exact = between((-0.7 - mean) / 0.9, (1.1 - mean) / 0.9);
            assert!((fast.between((-0.7, 1.1), mean, 0.9) - exact).abs() < 1e-6, "{mean}");
        }
        assert!((fast.between((f64::NEG_INFINITY, f64::INFINITY), 0.0, 1.0) - 1.0).abs() < 1e-6);
    }
}
