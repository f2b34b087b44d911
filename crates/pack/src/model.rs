//! What a pack is made of. A part does not hold numbers but the places ([`DimensionId`]) of its numbers in the vector of
//! dimension values, so that the same model serves the drawing's nominal, a measured build and a million random trials.

/// The place of a dimension in the vector of dimension values, and in [`Pack::dimensions`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DimensionId(pub usize);

/// A dimension's name: `bay/part/dimension`, or `bay/dimension` for the bay's own (`middle/span`), or
/// `bay/valve/dimension` for a valve's (`middle/1 exhaust/stem`).
#[derive(Debug, Clone, PartialEq)]
pub struct Dimension {
    /// The path by which files and results name this dimension.
    pub path: String,
    /// Its unit: `mm`, `N`, `N/mm`, or `1` for a factor.
    pub unit: &'static str,
}

/// A state in which the pack is looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    /// `assembly`, `running`, …
    pub name: String,
    /// °C, uniform over the pack.
    pub temperature: f64,
}

/// Elastic constants of an isotropic material.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Elastic {
    /// Young's modulus E, MPa.
    pub youngs_modulus: f64,
    /// Poisson's ratio ν.
    pub poisson: f64,
}

/// °C at which lengths hold unless said otherwise: the standard reference temperature of ISO 1.
pub const REFERENCE_TEMPERATURE: f64 = 20.0;

/// Coefficient of thermal expansion of plain carbon steel, 1/K: of what a part is made where nothing is said. Common practice, no source.
pub const STEEL_EXPANSION: f64 = 11.5e-6;

/// All bays of a shaft, the conditions they are looked at in, and the names of their dimensions.
#[derive(Debug, Clone, PartialEq)]
pub struct Pack {
    /// What the file calls it.
    pub title: String,
    /// °C at which the dimension values hold.
    pub reference_temperature: f64,
    /// At least one.
    pub conditions: Vec<Condition>,
    /// In file order.
    pub bays: Vec<Bay>,
    /// Every dimension of every bay; a [`DimensionId`] indexes it.
    pub dimensions: Vec<Dimension>,
}

/// What sits between two fixed faces of the shaft.
#[derive(Debug, Clone, PartialEq)]
pub struct Bay {
    /// Its name.
    pub name: String,
    /// Distance between the fixed faces, mm.
    pub span: DimensionId,
    /// Expansion coefficient of what the faces stand on (span and stem positions follow it), 1/K.
    pub expansion: f64,
    /// In order from the left fixed face.
    pub parts: Vec<Part>,
    /// The valves its rockers work.
    pub valves: Vec<Valve>,
}

impl Bay {
    /// Whether a spring washer is there to keep it tight.
    pub fn has_spring(&self) -> bool {
        self.parts.iter().any(|part| matches!(part.kind, PartKind::Spring(_)))
    }
}

/// One part of a bay.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Its name, unique in the bay.
    pub name: String,
    /// What it is, and where its dimensions are.
    pub kind: PartKind,
    /// Expansion coefficient, 1/K.
    pub expansion: f64,
}

/// The kinds of part.
#[derive(Debug, Clone, PartialEq)]
pub enum PartKind {
    /// A shim, flat washer or spacer: rigid.
    Solid {
        /// Which of the three.
        kind: SolidKind,
        /// As measured, mm.
        thickness: DimensionId,
        /// By how much a stamped piece is shorter in the squeezed pack than it measures, since its waves and burrs are pressed
        /// flat, mm; see `docs/bedding.md`. None: 0.
        bedding: Option<DimensionId>,
    },
    /// A rocker arm's boss on the shaft: rigid.
    Rocker {
        /// Width of the boss, mm.
        width: DimensionId,
        /// From the rocker's left face to the adjuster's axis, mm.
        adjuster: DimensionId,
    },
    /// A spring washer.
    Spring(SpringWasher),
}

impl PartKind {
    /// The length along the shaft of a part that is not a spring washer, as a sum of dimensions with a sign each: thickness
    /// less bedding, or the width. Empty for a spring washer.
    pub fn rigid_length(&self) -> impl Iterator<Item = (DimensionId, f64)> + use<> {
        let (length, bedding) = match self {
            Self::Solid { thickness, bedding, .. } => (Some(*thickness), *bedding),
            Self::Rocker { width, .. } => (Some(*width), None),
            Self::Spring(_) => (None, None),
        };
        length.map(|id| (id, 1.0)).into_iter().chain(bedding.map(|id| (id, -1.0)))
    }

    /// Whether it is a spring washer.
    pub fn is_spring(&self) -> bool {
        matches!(self, Self::Spring(_))
    }
}

/// Rigid parts that differ in name only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SolidKind {
    /// Thin, chosen at assembly.
    Shim,
    /// A flat washer.
    Washer,
    /// A spacer tube.
    Spacer,
}

/// A spring washer: its law and what modifies it.
#[derive(Debug, Clone, PartialEq)]
pub struct SpringWasher {
    /// Load over deflection.
    pub law: SpringLaw,
    /// A factor on the load (hysteresis by friction), unit 1. None: 1.
    pub friction: Option<DimensionId>,
    /// A factor on the free height above flat (set over hours), unit 1. None: 1.
    pub set: Option<DimensionId>,
}

impl SpringWasher {
    /// Every dimension that its load and its heights depend on.
    pub fn dimensions(&self) -> Vec<DimensionId> {
        let ids = match &self.law {
            SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, .. } => {
                vec![Some(*outer_diameter), Some(*inner_diameter), Some(*thickness), Some(*cone_height)]
            }
            SpringLaw::Wave { outer_diameter, inner_diameter, thickness, free_height, solid_height, .. }
            | SpringLaw::Curved { outer_diameter, inner_diameter, thickness, free_height, solid_height, .. } => {
                vec![Some(*outer_diameter), Some(*inner_diameter), Some(*thickness), Some(*free_height), *solid_height]
            }
            SpringLaw::Linear { rate, free_height, solid_height } => {
                vec![Some(*rate), Some(*free_height), *solid_height]
            }
            SpringLaw::Table { free_height, solid_height, .. } => vec![Some(*free_height), *solid_height],
        };
        ids.into_iter().chain([self.friction, self.set]).flatten().collect()
    }
}

/// The load a spring washer gives over its deflection; see each law's own module for formula and source.
#[derive(Debug, Clone, PartialEq)]
pub enum SpringLaw {
    /// Conical disc, Almen–Laszlo as in EN 16984.
    Disc {
        /// De, mm.
        outer_diameter: DimensionId,
        /// Di, mm.
        inner_diameter: DimensionId,
        /// t, mm.
        thickness: DimensionId,
        /// h0 = free height − t, mm.
        cone_height: DimensionId,
        /// Of its material.
        elastic: Elastic,
    },
    /// Single-turn wave washer, linear.
    Wave {
        /// mm.
        outer_diameter: DimensionId,
        /// mm.
        inner_diameter: DimensionId,
        /// t of the strip, mm.
        thickness: DimensionId,
        /// mm.
        free_height: DimensionId,
        /// N, the number of waves.
        waves: u32,
        /// K of the handbook formula, unit 1.
        factor: f64,
        /// Height at which it is solid, mm. None: the strip's thickness.
        solid_height: Option<DimensionId>,
        /// Of its material.
        elastic: Elastic,
    },
    /// Cylindrically curved washer, linear.
    Curved {
        /// mm.
        outer_diameter: DimensionId,
        /// mm.
        inner_diameter: DimensionId,
        /// t of the strip, mm.
        thickness: DimensionId,
        /// mm.
        free_height: DimensionId,
        /// Height at which it is solid, mm. None: the strip's thickness.
        solid_height: Option<DimensionId>,
        /// Of its material.
        elastic: Elastic,
    },
    /// Constant rate.
    Linear {
        /// N/mm.
        rate: DimensionId,
        /// mm.
        free_height: DimensionId,
        /// Height at which it is solid, mm. None: 0.
        solid_height: Option<DimensionId>,
    },
    /// Measured on a load tester.
    Table {
        /// Deflection–load pairs.
        curve: LoadTable,
        /// mm.
        free_height: DimensionId,
        /// Height at which it is solid, mm. None: free height less the table's last deflection.
        solid_height: Option<DimensionId>,
    },
}

/// Deflection–load pairs from a load tester, both rising from (0, 0).
#[derive(Debug, Clone, PartialEq)]
pub struct LoadTable {
    /// mm, strictly rising.
    pub deflection: Vec<f64>,
    /// N.
    pub load: Vec<f64>,
}

/// A valve stem and the rocker that works it.
#[derive(Debug, Clone, PartialEq)]
pub struct Valve {
    /// Its name, unique in the pack.
    pub name: String,
    /// Index into the bay's parts; a [`PartKind::Rocker`].
    pub rocker: usize,
    /// From the left fixed face to the stem's axis, mm.
    pub stem: DimensionId,
    /// What the contact quantities need; None where the file gives none of it.
    pub contact: Option<Contact>,
}

/// The adjuster's tip on the stem's end.
#[derive(Debug, Clone, PartialEq)]
pub struct Contact {
    /// mm.
    pub stem_end_diameter: DimensionId,
    /// Width of the chamfer, radially, mm.
    pub stem_end_chamfer: DimensionId,
    /// R of the rounded tip, mm.
    pub adjuster_tip_radius: DimensionId,
    /// Largest excursion of the contact across the shaft direction, mm.
    pub sweep: DimensionId,
    /// At the lift considered, N.
    pub valve_load: DimensionId,
    /// Depth w of a worn flat on the tip, mm. None: 0.
    pub tip_wear: Option<DimensionId>,
    /// Of the adjuster.
    pub adjuster: Elastic,
    /// Of the stem.
    pub stem: Elastic,
    /// Expansion coefficient of the adjuster, 1/K: tip radius, tip wear and sweep follow it.
    pub adjuster_expansion: f64,
    /// Expansion coefficient of the stem, 1/K: its end's diameter and chamfer follow it.
    pub stem_expansion: f64,
}
