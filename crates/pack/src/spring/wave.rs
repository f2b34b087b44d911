//! Wave washer, single turn.

use crate::model::Elastic;

/// The factor K of the deflection formula when a file gives none, unit 1, for 2 to 4 waves.
///
/// Handbooks disagree on it (2.4 to 3.88), so it is an input; see `docs/wave-washer.md`.
pub const WAVE_FACTOR: f64 = 3.88;

/// Rate of a single-turn wave washer, N/mm:
///
/// k = F/f = E·b·t³·N⁴ / (K·Dm³) · OD/ID
///
/// with b = (OD − ID)/2 the radial width and Dm = (OD + ID)/2 the mean diameter (mm), t the thickness (mm), N the number of
/// waves, K `factor` (unit 1), E Young's modulus (MPa).
///
/// Source: the deflection formula of spring handbooks, f = F·K·Dm³/(E·b·t³·N⁴)·(ID/OD); see `docs/wave-washer.md`.
///
/// # Examples
///
/// ```
/// use packdrift_pack::{Elastic, WAVE_FACTOR, wave_rate};
/// let steel = Elastic { youngs_modulus: 206_000.0, poisson: 0.3 };
/// let k = wave_rate(75.0, 65.0, 0.8, 3, WAVE_FACTOR, &steel);
/// assert!((100.0 / k - 2.700_136_6).abs() < 1e-6); // mm under 100 N
/// ```
#[inline]
pub fn rate(outer: f64, inner: f64, t: f64, waves: u32, factor: f64, elastic: &Elastic) -> f64 {
    let width = 0.5 * (outer - inner);
    let mean = 0.5 * (outer + inner);
    let n2 = f64::from(waves) * f64::from(waves);
    let n4 = n2 * n2;
    elastic.youngs_modulus * width * (t * t * t) * n4 / (factor * (mean * mean * mean)) * (outer / inner)
}

/// Bending stress of a single-turn wave washer under `load` N, MPa: S = 3π·F·Dm / (4·b·t²·N²), symbols as in [`rate`].
///
/// # Examples
///
/// ```
/// let s = packdrift_pack::wave_stress(100.0, 75.0, 65.0, 0.8, 3);
/// assert!((s - 572.686_160_8).abs() < 1e-6);
/// ```
pub fn stress(load: f64, outer: f64, inner: f64, t: f64, waves: u32) -> f64 {
    let width = 0.5 * (outer - inner);
    let mean = 0.5 * (outer + inner);
    0.75 * std::f64::consts::PI * load * mean / (width * t * t * f64::from(waves).powi(2))
}
