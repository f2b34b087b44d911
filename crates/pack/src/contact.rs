//! Contact of the adjuster's rounded tip on the valve stem's flat end: Hertz.

use crate::model::Elastic;
use std::f64::consts::PI;

/// Contact of two elastic spheres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hertz {
    /// a, mm.
    pub radius: f64,
    /// p0, MPa.
    pub peak_pressure: f64,
    /// Approach of the two bodies, mm.
    pub approach: f64,
}

/// E* of two bodies, MPa: 1/E* = (1 − ν1²)/E1 + (1 − ν2²)/E2.
pub fn contact_modulus(first: &Elastic, second: &Elastic) -> f64 {
    let compliance = |body: &Elastic| (1.0 - body.poisson * body.poisson) / body.youngs_modulus;
    1.0 / (compliance(first) + compliance(second))
}

/// Two spheres of radii R1, R2 (mm) pressed together by F (N); an infinite radius is a flat.
///
/// 1/R = 1/R1 + 1/R2; a = (3FR/(4E*))^(1/3); p0 = 3F/(2πa²); approach = a²/R.
///
/// Source: H. Hertz 1881; K. L. Johnson, Contact Mechanics, 1985, chapter 4.
///
/// # Examples
///
/// ```
/// use packdrift_pack::{Elastic, contact_modulus, hertz};
/// let steel = Elastic { youngs_modulus: 200_000.0, poisson: 0.3 };
/// let contact = hertz(500.0, 25.0, f64::INFINITY, contact_modulus(&steel, &steel));
/// assert!((contact.radius - 0.440_221).abs() < 1e-6);
/// assert!((contact.peak_pressure - 1_231.883).abs() < 1e-3);
/// ```
pub fn hertz(load: f64, radius1: f64, radius2: f64, modulus: f64) -> Hertz {
    let r = 1.0 / (1.0 / radius1 + 1.0 / radius2);
    let a = (0.75 * load * r / modulus).cbrt();
    Hertz { radius: a, peak_pressure: if load == 0.0 { 0.0 } else { 1.5 * load / (PI * a * a) }, approach: a * a / r }
}

/// Radius of the contact patch of a sphere with a flat worn onto it, pressed on a flat, mm: `unworn` is the patch of the sphere
/// without the flat ([`hertz`]), `flat` the flat's radius ([`worn_flat_radius`]).
///
/// With c the flat's radius, F = (2E*/(3R))·(2a² + c²)·√(a² − c²) (I. N. Sneddon, Int. J. Engineering Science 3 (1965)
/// 47–57; Sneddon1965 in `docs/bibliography.md`). With s² = a² − c² and the unworn patch aₕ that is s³ + (3/2)·c²·s = aₕ³, whose one root is taken in a
/// form without cancellation: u³ = aₕ³/2 + √(aₕ⁶/4 + c⁶/8), v = c²/(2u), s = aₕ³/(u² + c²/2 + v²).
///
/// # Examples
///
/// ```
/// // Never narrower than either; widest against both where they are equal: by a seventh.
/// let a = packdrift_pack::worn_patch_radius(0.2, 0.2);
/// assert!((a / 0.2 - 1.1430).abs() < 1e-4);
/// assert_eq!(packdrift_pack::worn_patch_radius(0.2, 0.0), 0.2);
/// ```
pub fn worn_patch_radius(unworn: f64, flat: f64) -> f64 {
    if flat == 0.0 { unworn } else { flat.hypot(beyond_the_flat(unworn, flat)) }
}

/// s = √(a² − c²) of [`worn_patch_radius`], mm.
pub(crate) fn beyond_the_flat(unworn: f64, flat: f64) -> f64 {
    let (cube, half) = (unworn * unworn * unworn, 0.5 * flat * flat);
    let u = (0.5 * cube + (0.25 * cube * cube + half * half * half).sqrt()).cbrt();
    let v = half / u;
    cube / (u * u + half + v * v)
}

/// Radius of the flat that wear of depth w (mm) leaves on a sphere of radius R (mm): √(2Rw − w²).
///
/// # Examples
///
/// ```
/// assert_eq!(packdrift_pack::worn_flat_radius(13.0, 1.0), 5.0);
/// ```
pub fn worn_flat_radius(tip_radius: f64, depth: f64) -> f64 {
    (depth * (2.0 * tip_radius - depth)).max(0.0).sqrt()
}
