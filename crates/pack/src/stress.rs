//! Stresses of spring washers in the bay: which point of which law, its value at a deflection, and its partial derivatives.
//!
//! They are nominal stresses by the elastic formula of each law ([`crate::disc`], [`crate::wave_stress`],
//! [`crate::curved_stress`]): without the residual stress that setting leaves, without notches, corrosion or fatigue. They
//! compare designs; what a washer bears is for its maker to say (`docs/spring-stress.md`).

use crate::model::{DimensionId, SpringLaw, SpringWasher};
use crate::spring::disc::{Disc, Stresses, stress_shape};
use crate::spring::{Spring, at, wave};

/// Where a stress is asked for. A disc has five such places (EN 16984), a wave or curved washer one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StressPoint {
    /// `σ_OM`: upper surface of a disc at its centre of rotation; compression.
    Om,
    /// `σ_I`: upper inner edge of a disc; compression.
    I,
    /// `σ_II`: lower inner edge of a disc; tension in most.
    Ii,
    /// `σ_III`: lower outer edge of a disc; tension.
    Iii,
    /// `σ_IV`: upper outer edge of a disc; compression.
    Iv,
    /// The bending stress of a wave washer at its crests, or of a curved washer at its crown.
    Bending,
}

impl StressPoint {
    /// The places of a disc.
    pub const OF_A_DISC: [Self; 5] = [Self::Om, Self::I, Self::Ii, Self::Iii, Self::Iv];

    /// The word that files and results use.
    pub fn name(self) -> &'static str {
        match self {
            Self::Om => "OM",
            Self::I => "I",
            Self::Ii => "II",
            Self::Iii => "III",
            Self::Iv => "IV",
            Self::Bending => "bending",
        }
    }
}

impl std::fmt::Display for StressPoint {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.name())
    }
}

impl Stresses {
    /// The stress at a point of a disc, MPa; None where a disc has no such point.
    pub fn at(&self, point: StressPoint) -> Option<f64> {
        Some(match point {
            StressPoint::Om => self.om,
            StressPoint::I => self.i,
            StressPoint::Ii => self.ii,
            StressPoint::Iii => self.iii,
            StressPoint::Iv => self.iv,
            StressPoint::Bending => return None,
        })
    }
}

impl SpringWasher {
    /// The places in which its law knows the stress; empty where a law is but a rate or a table.
    pub fn stress_points(&self) -> &'static [StressPoint] {
        match self.law {
            SpringLaw::Disc { .. } => &StressPoint::OF_A_DISC,
            SpringLaw::Wave { .. } | SpringLaw::Curved { .. } => &[StressPoint::Bending],
            SpringLaw::Linear { .. } | SpringLaw::Table { .. } => &[],
        }
    }
}

/// The stress of a washer of height `height`, MPa; NaN where its law knows none there or the washer cannot exist.
pub(crate) fn stress_at_height(washer: &SpringWasher, point: StressPoint, scale: f64, x: &[f64], height: f64) -> f64 {
    let Some(spring) = Spring::new(washer, scale, x) else { return f64::NAN };
    stress(washer, point, scale, x, (spring.free_height() - height).max(0.0))
}

/// The disc of a washer at its growth by temperature, with its set; None where it is no disc.
pub(crate) fn disc_of(washer: &SpringWasher, scale: f64, x: &[f64]) -> Option<Disc> {
    let SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, elastic } = &washer.law else {
        return None;
    };
    let length = |id: DimensionId| scale * at(x, id);
    Some(Disc {
        outer_diameter: length(*outer_diameter),
        inner_diameter: length(*inner_diameter),
        thickness: length(*thickness),
        cone_height: washer.set.map_or(1.0, |id| at(x, id)) * length(*cone_height),
        elastic: *elastic,
    })
}

/// The stress at a deflection, MPa; NaN where the law knows none.
fn stress(washer: &SpringWasher, point: StressPoint, scale: f64, x: &[f64], deflection: f64) -> f64 {
    if let Some(disc) = disc_of(washer, scale, x) {
        return disc.stresses(deflection).at(point).unwrap_or(f64::NAN);
    }
    if point != StressPoint::Bending {
        return f64::NAN;
    }
    let length = |id: DimensionId| scale * at(x, id);
    match &washer.law {
        SpringLaw::Wave { outer_diameter, inner_diameter, thickness, waves, factor, elastic, .. } => {
            let (outer, inner, t) = (length(*outer_diameter), length(*inner_diameter), length(*thickness));
            // Of the load that bends it: friction at the crests adds to the washer's load, not to its bending.
            let load = wave::rate(outer, inner, t, *waves, *factor, elastic) * deflection;
            wave::stress(load, outer, inner, t, *waves)
        }
        SpringLaw::Curved { outer_diameter, thickness, elastic, .. } => {
            crate::spring::curved::stress(deflection, length(*outer_diameter), length(*thickness), elastic)
        }
        SpringLaw::Disc { .. } | SpringLaw::Linear { .. } | SpringLaw::Table { .. } => f64::NAN,
    }
}

/// Tells `visit` of ∂σ/∂dimension at fixed deflection for every dimension of the washer, and returns σ and ∂σ/∂deflection.
/// None where the law knows no stress there.
pub(crate) fn stress_slopes(
    washer: &SpringWasher,
    point: StressPoint,
    scale: f64,
    x: &[f64],
    deflection: f64,
    visit: &mut dyn FnMut(DimensionId, f64),
) -> Option<(f64, f64)> {
    let value = stress(washer, point, scale, x, deflection);
    if !value.is_finite() {
        return None;
    }
    match &washer.law {
        SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, .. } => {
            let disc = disc_of(washer, scale, x)?;
            let shape = stress_shape(&disc, point)?;
            // σ = −S·(a·k + b), S = c·t·s, k = (h − s/2)/t.
            let (t, h) = (disc.thickness, disc.cone_height);
            let per_deflection = shape.stiffness * t;
            let k = (h - 0.5 * deflection) / t;
            let s = per_deflection * deflection;
            let by_deflection = -per_deflection * (shape.a * k + shape.b) + 0.5 * s * shape.a / t;
            visit(*thickness, -scale * s / t * shape.b);
            let by_cone = -s * shape.a / t;
            let set = washer.set.map_or(1.0, |id| at(x, id));
            visit(*cone_height, set * scale * by_cone);
            if let Some(id) = washer.set {
                visit(id, scale * at(x, *cone_height) * by_cone);
            }
            let along = |log_slope: f64, a: f64, b: f64| scale * (value * log_slope - s * (a * k + b));
            visit(*outer_diameter, along(shape.log_by_outer, shape.a_by_outer, shape.b_by_outer));
            visit(*inner_diameter, along(shape.log_by_inner, shape.a_by_inner, shape.b_by_inner));
            Some((value, by_deflection))
        }
        SpringLaw::Wave { outer_diameter, inner_diameter, thickness, .. } => {
            // σ ∝ t·δ/Dm²·OD/ID.
            let (outer, inner) = (at(x, *outer_diameter), at(x, *inner_diameter));
            visit(*outer_diameter, value * (1.0 / outer - 2.0 / (outer + inner)));
            visit(*inner_diameter, value * (-1.0 / inner - 2.0 / (outer + inner)));
            visit(*thickness, value / at(x, *thickness));
            Some((value, stress(washer, point, scale, x, 1.0)))
        }
        SpringLaw::Curved { outer_diameter, thickness, .. } => {
            visit(*outer_diameter, -2.0 * value / at(x, *outer_diameter));
            visit(*thickness, value / at(x, *thickness));
            Some((value, stress(washer, point, scale, x, 1.0)))
        }
        SpringLaw::Linear { .. } | SpringLaw::Table { .. } => None,
    }
}
