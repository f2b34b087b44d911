//! What the gauge tells apart: two sizes, and how many repeat readings help.

use super::{GaugeComponents, GaugeOptions};
use packdrift_numerics::normal;

/// Whether two parts that differ by a given amount are told apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Discrimination {
    /// The difference, mm.
    pub difference: f64,
    /// Chance that single readings of the two come out in the wrong order: Φ(−Δ/(√2·σ)).
    pub wrong_order: f64,
    /// Chance that a single reading of a part is nearer to a neighbouring size Δ away than to its own: 2Φ(−Δ/(2σ)).
    pub wrong_size: f64,
    /// The smallest difference of two single readings that proves a difference with the confidence: z·√2·σ, mm.
    pub smallest_told: f64,
    /// Whether the difference is at least that.
    pub can_tell: bool,
    /// How many readings of each part, by one operator and averaged, would do; 1 where single readings do; None where no number does,
    /// because operators differ.
    pub readings_needed: Option<u64>,
}

impl Discrimination {
    pub(super) fn new(difference: f64, components: &GaugeComponents, confidence: f64) -> Self {
        let sd = components.gauge.sd;
        let z = normal::quantile(confidence);
        let smallest_told = z * std::f64::consts::SQRT_2 * sd;
        let chance = |x: f64| if x.is_nan() { 0.0 } else { normal::cdf(-x) };
        let can_tell = difference >= smallest_told;
        // Averaging m readings leaves reproducibility untouched: σ² = σ_o² + σ_r²/m.
        let allowed = (difference / (z * std::f64::consts::SQRT_2)).powi(2) - components.reproducibility.sd.powi(2);
        let readings_needed = if can_tell {
            Some(1)
        } else if allowed > 0.0 {
            Some((components.repeatability.sd.powi(2) / allowed).ceil() as u64)
        } else {
            None
        };
        Self {
            difference,
            wrong_order: chance(difference / (std::f64::consts::SQRT_2 * sd)),
            wrong_size: (2.0 * chance(difference / (2.0 * sd))).min(1.0),
            smallest_told,
            can_tell,
            readings_needed,
        }
    }
}

/// The number of readings to average for the gauge to be fit; None where it is, or where no number makes it so.
pub(super) fn readings_to_average(components: &GaugeComponents, options: &GaugeOptions) -> Option<u64> {
    let fit = |m: f64| {
        let gauge = (components.reproducibility.sd.powi(2) + components.repeatability.sd.powi(2) / m).sqrt();
        let share = match options.tolerance {
            Some(t) => 6.0 * gauge / t,
            None => gauge / gauge.hypot(components.parts.sd),
        };
        share <= options.fit_up_to
    };
    if fit(1.0) { None } else { (2..=100_u32).find(|m| fit(f64::from(*m))).map(u64::from) }
}
