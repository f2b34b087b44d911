//! Cylindrically curved washer.

use crate::model::Elastic;

/// Rate of a cylindrically curved washer, N/mm:
///
/// k = F/f = 4·E·(OD − ID)·t³ / OD³
///
/// with OD and ID the diameters and t the thickness (mm), E Young's modulus (MPa). The washer rests on the two ends of its
/// arc and is loaded across its crown: a simply supported strip of span OD and width OD − ID (the two legs at the crown),
/// F = 48·E·I/OD³·f with I = (OD − ID)·t³/12. Derived, with its limits, in `docs/curved-washer.md`.
///
/// # Examples
///
/// ```
/// use packdrift_pack::{Elastic, curved_rate};
/// let steel = Elastic { youngs_modulus: 206_000.0, poisson: 0.3 };
/// assert!((curved_rate(30.0, 20.0, 0.5, &steel) - 4.0 * 206_000.0 * 10.0 * 0.125 / 27_000.0).abs() < 1e-10);
/// ```
#[inline]
pub fn rate(outer: f64, inner: f64, t: f64, elastic: &Elastic) -> f64 {
    4.0 * elastic.youngs_modulus * (outer - inner) * (t * t * t) / (outer * outer * outer)
}

/// Bending stress at the crown of a cylindrically curved washer deflected by `deflection` mm, MPa: S = 6·E·t·f / OD²,
/// symbols as in [`rate`].
///
/// # Examples
///
/// ```
/// use packdrift_pack::{Elastic, curved_stress};
/// let steel = Elastic { youngs_modulus: 200_000.0, poisson: 0.3 };
/// assert!((curved_stress(0.5, 20.0, 0.4, &steel) - 600.0).abs() < 1e-10);
/// ```
pub fn stress(deflection: f64, outer: f64, t: f64, elastic: &Elastic) -> f64 {
    6.0 * elastic.youngs_modulus * t * deflection / (outer * outer)
}
