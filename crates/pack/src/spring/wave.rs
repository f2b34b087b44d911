//! Wave washer, single turn.

use crate::model::Elastic;

/// The factor K of the deflection formula where a file gives none, by the number of waves, unit 1: 3.88 up to 4 waves, 2.90
/// for 5 and 6, 2.30 for 7 to 9, 2.13 for 10 and more.
///
/// Source: the table of a public design page for single-turn washers (WaveFactor in `docs/bibliography.md`). Other sources
/// imply other values ([`WAVE_FACTOR_ELSEWHERE`]), so it is an input; see `docs/wave-washer.md`.
///
/// # Examples
///
/// ```
/// // Eight waves: 69 % more load than the factor of three waves would give.
/// assert!((packdrift_pack::wave_factor(3) / packdrift_pack::wave_factor(8) - 1.69).abs() < 0.01);
/// ```
pub fn wave_factor(waves: u32) -> f64 {
    match waves {
        0..=4 => 3.88,
        5..=6 => 2.90,
        7..=9 => 2.30,
        _ => 2.13,
    }
}

/// The factor that another printed form implies for any number of waves: S = 0.3π·E·f·t·N²/D² with
/// S = 3πF·D/(4b·t²·N²) gives F = 0.4·E·b·t³·N⁴·f/D³, so K = 2.5.
pub const WAVE_FACTOR_ELSEWHERE: f64 = 2.5;

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
/// use packdrift_pack::{Elastic, wave_factor, wave_rate};
/// let steel = Elastic { youngs_modulus: 206_000.0, poisson: 0.3 };
/// let k = wave_rate(75.0, 65.0, 0.8, 3, wave_factor(3), &steel);
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
