//! Spring washers as a builder takes them: the law with what is known of each of its dimensions.

use super::known::Known;
use super::places::Places;
use packdrift_pack::{Elastic, LoadTable, SpringLaw, SpringWasher};

/// A spring washer. Each law has its fields by name, so that no two numbers can change places; sources and limits of the laws stand at
/// [`SpringLaw`]. Lengths in mm, the rate in N/mm.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum SpringForm {
    /// Constant rate.
    Linear {
        /// N/mm.
        rate: Known,
        /// mm.
        free_height: Known,
    },
    /// Conical disc.
    Disc {
        /// De, mm.
        outer_diameter: Known,
        /// Di, mm.
        inner_diameter: Known,
        /// t, mm.
        thickness: Known,
        /// h0 = free height − t, mm.
        cone_height: Known,
        /// Of its material.
        elastic: Elastic,
    },
    /// Single-turn wave washer.
    Wave {
        /// mm.
        outer_diameter: Known,
        /// mm.
        inner_diameter: Known,
        /// t of the strip, mm.
        thickness: Known,
        /// mm.
        free_height: Known,
        /// N, the number of waves; the factor K follows from it ([`packdrift_pack::wave_factor`]).
        waves: u32,
        /// Of its material.
        elastic: Elastic,
    },
    /// Cylindrically curved washer.
    Curved {
        /// mm.
        outer_diameter: Known,
        /// mm.
        inner_diameter: Known,
        /// t of the strip, mm.
        thickness: Known,
        /// mm.
        free_height: Known,
        /// Of its material.
        elastic: Elastic,
    },
    /// Measured on a load tester.
    Table {
        /// Deflection–load pairs.
        curve: LoadTable,
        /// mm.
        free_height: Known,
    },
}

/// A spring washer with what modifies it.
#[derive(Debug, Clone, PartialEq)]
pub struct SpringPart {
    form: SpringForm,
    solid_height: Option<Known>,
    friction: Option<Known>,
    set: Option<Known>,
}

impl From<SpringForm> for SpringPart {
    fn from(form: SpringForm) -> Self {
        Self { form, solid_height: None, friction: None, set: None }
    }
}

impl SpringForm {
    /// The height at which it is solid, mm, where that is not what its law implies. A disc has none of its own: see
    /// [`SpringLaw::Disc`].
    pub fn solid_at(self, height: impl Into<Known>) -> SpringPart {
        SpringPart { solid_height: Some(height.into()), ..self.into() }
    }

    /// A factor on the load (hysteresis by friction), unit 1.
    pub fn with_friction(self, factor: impl Into<Known>) -> SpringPart {
        SpringPart::from(self).with_friction(factor)
    }

    /// A factor on the free height above flat (set over hours), unit 1.
    pub fn with_set(self, factor: impl Into<Known>) -> SpringPart {
        SpringPart::from(self).with_set(factor)
    }
}

impl SpringPart {
    /// A factor on the load (hysteresis by friction), unit 1.
    pub fn with_friction(self, factor: impl Into<Known>) -> Self {
        Self { friction: Some(factor.into()), ..self }
    }

    /// A factor on the free height above flat (set over hours), unit 1.
    pub fn with_set(self, factor: impl Into<Known>) -> Self {
        Self { set: Some(factor.into()), ..self }
    }

    /// As the pack's model holds it, its dimensions put into their places under `path`.
    pub(super) fn place(self, path: &str, places: &mut Places) -> SpringWasher {
        let Self { form, solid_height, friction, set } = self;
        if matches!(form, SpringForm::Disc { .. }) && solid_height.is_some() {
            places.refuse(path, "a disc is solid where it is flat; it has no solid height of its own");
        }
        let mut mm = |name: &str, known: Known| places.add(path, name, "mm", known);
        let law = match form {
            SpringForm::Linear { rate, free_height } => {
                let (free_height, solid_height) =
                    (mm("free_height", free_height), solid_height.map(|known| mm("solid_height", known)));
                SpringLaw::Linear { rate: places.add(path, "rate", "N/mm", rate), free_height, solid_height }
            }
            SpringForm::Disc { outer_diameter, inner_diameter, thickness, cone_height, elastic } => SpringLaw::Disc {
                outer_diameter: mm("outer_diameter", outer_diameter),
                inner_diameter: mm("inner_diameter", inner_diameter),
                thickness: mm("thickness", thickness),
                cone_height: mm("cone_height", cone_height),
                elastic,
            },
            SpringForm::Wave { outer_diameter, inner_diameter, thickness, free_height, waves, elastic } => {
                SpringLaw::Wave {
                    outer_diameter: mm("outer_diameter", outer_diameter),
                    inner_diameter: mm("inner_diameter", inner_diameter),
                    thickness: mm("thickness", thickness),
                    free_height: mm("free_height", free_height),
                    waves,
                    factor: packdrift_pack::wave_factor(waves),
                    solid_height: solid_height.map(|known| mm("solid_height", known)),
                    elastic,
                }
            }
            SpringForm::Curved { outer_diameter, inner_diameter, thickness, free_height, elastic } => {
                SpringLaw::Curved {
                    outer_diameter: mm("outer_diameter", outer_diameter),
                    inner_diameter: mm("inner_diameter", inner_diameter),
                    thickness: mm("thickness", thickness),
                    free_height: mm("free_height", free_height),
                    solid_height: solid_height.map(|known| mm("solid_height", known)),
                    elastic,
                }
            }
            SpringForm::Table { curve, free_height } => SpringLaw::Table {
                curve,
                free_height: mm("free_height", free_height),
                solid_height: solid_height.map(|known| mm("solid_height", known)),
            },
        };
        let mut factor = |name: &str, known: Option<Known>| known.map(|known| places.add(path, name, "1", known));
        let (friction, set) = (factor("friction", friction), factor("set", set));
        SpringWasher { law, friction, set }
    }
}
