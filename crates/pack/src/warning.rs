//! What is not wrong but should be known: where a law is used near or beyond the reach of its formula.

use crate::model::{DimensionId, Pack, PartKind, SpringLaw};
use crate::spring::Spring;
use crate::spring::disc::Disc;

/// Each says what happened, what it means for the result, and what to do.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum PackWarning {
    /// A disc with h0/t > √2: its load rises to a peak and falls again before it is flat.
    LoadFalls {
        /// Path of the part.
        path: String,
        /// h0/t.
        ratio: f64,
        /// Deflection of the largest load, mm.
        deflection: f64,
        /// The largest load, N.
        load: f64,
    },
    /// The equilibrium lies on the falling branch of such a disc.
    OnFallingBranch {
        /// Path of the part.
        path: String,
        /// Where.
        condition: String,
        /// mm.
        deflection: f64,
        /// Deflection of the largest load, mm.
        peak: f64,
    },
    /// A disc pressed beyond 0.75·h0: real discs roll over their edges and the load exceeds the formula.
    NearFlat {
        /// Path of the part.
        path: String,
        /// Where.
        condition: String,
        /// mm.
        deflection: f64,
        /// h0 (with its set), mm.
        cone_height: f64,
    },
    /// The flat worn onto an adjuster's tip is wider than the contact patch of the unworn tip.
    WornFlat {
        /// Path of the valve.
        path: String,
        /// Where.
        condition: String,
        /// Radius of the flat, mm.
        flat: f64,
        /// Radius of the unworn tip's contact patch, mm.
        patch: f64,
    },
    /// A spring washer pressed flat while others go on.
    PressedFlat {
        /// Path of the part.
        path: String,
        /// Where.
        condition: String,
    },
}

/// Share of h0 up to which EN 16983 states loads, and beyond which the formula is too soft.
const STATED_SHARE: f64 = 0.75;

impl std::fmt::Display for PackWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::LoadFalls { path, ratio, deflection, load } => write!(
                f,
                "{path}: with h0/t = {ratio:.3}, above 1.414, the load stops rising at {deflection:.3} mm ({load:.1} N) and \
                 falls again; with other spring washers in the bay the first, rising branch is used as far as it goes. \
                 Choose a thicker or flatter disc, or keep the bay below that deflection"
            ),
            Self::OnFallingBranch { path, condition, deflection, peak } => write!(
                f,
                "{path}: in condition {condition} the disc is pressed {deflection:.3} mm, past its largest load at \
                 {peak:.3} mm: squeezing the pack further lowers the preload, and a soft partner may let the disc snap flat. \
                 Take thickness out of the bay"
            ),
            Self::NearFlat { path, condition, deflection, cone_height } => write!(
                f,
                "{path}: in condition {condition} the disc is pressed {deflection:.3} mm, more than three quarters of its \
                 cone height of {cone_height:.3} mm: real discs carry more there than the formula says. Take thickness out \
                 of the bay, or measure the disc and give its table"
            ),
            Self::WornFlat { path, condition, flat, patch } => write!(
                f,
                "{path}: in condition {condition} the flat worn onto the adjuster's tip (radius {flat:.3} mm) is wider than the \
                 contact patch of an unworn tip ({patch:.3} mm): the contact pressure shown is that of the unworn tip, and the \
                 rim of the flat may carry more. Dress or replace the adjuster"
            ),
            Self::PressedFlat { path, condition } => write!(
                f,
                "{path}: in condition {condition} the washer is pressed flat and acts as a solid; the others of its bay carry \
                 on alone. A washer kept flat sets: take thickness out of the bay, or use a stiffer washer"
            ),
        }
    }
}

impl Pack {
    /// What should be known of the pack at one vector of dimension values, over all bays and conditions.
    ///
    /// Bays that are loose or cannot be assembled are results, not warnings, and give none of their own.
    pub fn warnings(&self, x: &[f64]) -> Vec<PackWarning> {
        let mut warnings = Vec::new();
        for (index, bay) in self.bays.iter().enumerate() {
            for part in &bay.parts {
                let PartKind::Spring(washer) = &part.kind else { continue };
                let path = format!("{}/{}", bay.name, part.name);
                // At the reference temperature: a disc's proportions do not change with it.
                if let (SpringLaw::Disc { .. }, Some(spring)) = (&washer.law, Spring::new(washer, 1.0, x))
                    && spring.falls()
                {
                    warnings.push(PackWarning::LoadFalls {
                        path,
                        ratio: spring.room / spring.flat_height,
                        deflection: spring.peak,
                        load: spring.peak_load,
                    });
                }
            }
            for (k, condition) in self.conditions.iter().enumerate() {
                for valve in &bay.valves {
                    let Some(contact) = &valve.contact else { continue };
                    let (flat, patch) = self.contact_values(contact, k, x).flat_and_patch();
                    if flat > patch {
                        let path = format!("{}/{}", bay.name, valve.name);
                        warnings.push(PackWarning::WornFlat { path, condition: condition.name.clone(), flat, patch });
                    }
                }
                let Ok(equilibrium) = self.equilibrium(index, k, x) else { continue };
                for state in &equilibrium.springs {
                    let part = &bay.parts[state.part];
                    let PartKind::Spring(washer) = &part.kind else { continue };
                    let path = format!("{}/{}", bay.name, part.name);
                    let condition = condition.name.clone();
                    let peak = Spring::new(washer, self.part_growth(index, state.part, k), x)
                        .filter(Spring::falls)
                        .map(|spring| spring.peak);
                    let deflection = state.deflection;
                    if state.flat {
                        warnings.push(PackWarning::PressedFlat { path, condition });
                    } else if let Some(peak) = peak.filter(|peak| deflection > *peak) {
                        warnings.push(PackWarning::OnFallingBranch { path, condition, deflection, peak });
                    } else if matches!(washer.law, SpringLaw::Disc { .. }) && deflection > STATED_SHARE * state.room {
                        let cone_height = state.room;
                        warnings.push(PackWarning::NearFlat { path, condition, deflection, cone_height });
                    }
                }
            }
        }
        warnings
    }

    /// The disc of a part at a condition's temperature, with its set, for stresses and drawings; None where the part is no
    /// disc. A friction factor acts on the load, not on the stresses.
    ///
    /// # Panics
    ///
    /// If an index is not of this pack.
    pub fn disc(&self, bay: usize, part: usize, condition: usize, x: &[f64]) -> Option<Disc> {
        let PartKind::Spring(washer) = &self.bays[bay].parts[part].kind else { return None };
        let SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, elastic } = &washer.law else {
            return None;
        };
        let scale = self.part_growth(bay, part, condition);
        let length = |id: DimensionId| scale * crate::spring::at(x, id);
        Some(Disc {
            outer_diameter: length(*outer_diameter),
            inner_diameter: length(*inner_diameter),
            thickness: length(*thickness),
            cone_height: washer.set.map_or(1.0, |id| crate::spring::at(x, id)) * length(*cone_height),
            elastic: *elastic,
        })
    }

    fn part_growth(&self, bay: usize, part: usize, condition: usize) -> f64 {
        crate::equilibrium::growth(
            self.bays[bay].parts[part].expansion,
            &self.conditions[condition],
            self.reference_temperature,
        )
    }
}
