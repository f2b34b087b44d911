//! Control-chart constants, computed by integration over the normal distribution; ISO 7870-2 prints them to three decimals.

use crate::LotError;
use packdrift_numerics::normal;
use packdrift_numerics::special::ln_gamma;

/// The constants of one subgroup size, in the letters of the standard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartConstants {
    /// Subgroup size.
    pub n: usize,
    /// d₂ = E(R)/σ.
    pub d2: f64,
    /// d₃ = sd(R)/σ.
    pub d3: f64,
    /// c₄ = E(s)/σ.
    pub c4: f64,
    /// A₂ = 3/(d₂√n).
    pub a2: f64,
    /// A₃ = 3/(c₄√n).
    pub a3: f64,
    /// D₃ = max(0, 1 − 3d₃/d₂).
    pub lower_range: f64,
    /// D₄ = 1 + 3d₃/d₂.
    pub upper_range: f64,
    /// B₃ = max(0, 1 − 3√(1 − c₄²)/c₄).
    pub lower_sd: f64,
    /// B₄ = 1 + 3√(1 − c₄²)/c₄.
    pub upper_sd: f64,
}

impl ChartConstants {
    /// For subgroups of 2 to 100.
    ///
    /// # Errors
    /// Another size.
    ///
    /// # Examples
    /// ```
    /// let c = packdrift_lot::chart::constants::ChartConstants::new(5)?;
    /// assert!((c.a2 - 0.577).abs() < 5e-4 && (c.upper_range - 2.114).abs() < 5e-4);
    /// # Ok::<(), packdrift_lot::LotError>(())
    /// ```
    pub fn new(n: usize) -> Result<Self, LotError> {
        if !(2..=100).contains(&n) {
            return Err(LotError::OutOfRange {
                what: "the subgroup size".into(),
                value: n as f64,
                expected: "from 2 to 100".into(),
            });
        }
        let nf = n as f64;
        let (d2, d3) = range_moments(n);
        let c4 = c4(n);
        let b = 3.0 * (1.0 - c4 * c4).sqrt() / c4;
        Ok(Self {
            n,
            d2,
            d3,
            c4,
            a2: 3.0 / (d2 * nf.sqrt()),
            a3: 3.0 / (c4 * nf.sqrt()),
            lower_range: (1.0 - 3.0 * d3 / d2).max(0.0),
            upper_range: 1.0 + 3.0 * d3 / d2,
            lower_sd: (1.0 - b).max(0.0),
            upper_sd: 1.0 + b,
        })
    }
}

/// c₄(n) = √(2/(n − 1))·Γ(n/2)/Γ((n − 1)/2), for n ≥ 2.
pub fn c4(n: usize) -> f64 {
    let half = 0.5 * n as f64;
    (2.0 / (n as f64 - 1.0)).sqrt() * (ln_gamma(half) - ln_gamma(half - 0.5)).exp()
}

/// d₂ = ∫ [1 − Φⁿ − (1 − Φ)ⁿ] dx and d₃ = √(E(R²) − d₂²), E(R²) = 2∫ r·P(R > r) dr, P(R ≤ r) = n∫ φ(x)[Φ(x + r) − Φ(x)]^(n−1) dx.
/// The trapezoidal rule over the line, in ln r for the second: both converge exponentially.
fn range_moments(n: usize) -> (f64, f64) {
    let nf = n as f64;
    let power = i32::try_from(n).unwrap_or(i32::MAX);
    let step = 0.05;
    let d2: f64 = step
        * (-180..=180_i32)
            .map(|k| {
                let x = step * f64::from(k);
                1.0 - normal::cdf(x).powi(power) - normal::sf(x).powi(power)
            })
            .sum::<f64>();
    let nodes: Vec<(f64, f64, f64)> = (-80..=80_i32)
        .map(|k| {
            let x = 0.1 * f64::from(k);
            (x, nf * 0.1 * normal::pdf(x), normal::cdf(x))
        })
        .collect();
    let within = |r: f64| -> f64 {
        nodes.iter().map(|&(x, weight, below)| weight * (normal::cdf(x + r) - below).max(0.0).powi(power - 1)).sum()
    };
    let h = 0.08;
    let second: f64 = 2.0
        * h
        * (-220..=36_i32)
            .map(|k| {
                let r = (h * f64::from(k)).exp();
                r * r * (1.0 - within(r)).max(0.0)
            })
            .sum::<f64>();
    (d2, (second - d2 * d2).sqrt())
}

/// d₂*, for averages of g ranges of n: √(d₂² + d₃²/g), which makes E(R̄²)/σ² right (Duncan 1974; gauge studies by ranges use it).
pub fn d2_star(n: usize, groups: usize) -> f64 {
    let (d2, d3) = range_moments(n);
    (d2 * d2 + d3 * d3 / groups as f64).sqrt()
}
