//! Packs for the tests, invented.
#![allow(dead_code, unreachable_pub, missing_docs, reason = "shared by test files, each of which uses its part")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test that cannot build its pack must fail")]

use packdrift_pack::{
    Bay, Condition, Dimension, DimensionId, Pack, Part, PartKind, Quantity, SolidKind, SpringLaw, SpringWasher, Valve,
};
use packdrift_spread::{Distribution, Input, Lot, Requirement, Stack};
use packdrift_stock::Piece;

/// Thermal expansion of steel and aluminium, 1/K (those of the demo pack).
pub const STEEL: f64 = 11.5e-6;
pub const ALUMINIUM: f64 = 23.0e-6;

/// Builds a stack of one bay part by part.
pub struct Shaft {
    dimensions: Vec<Dimension>,
    inputs: Vec<Input>,
    parts: Vec<Part>,
    valves: Vec<Valve>,
    lots: Vec<Lot>,
    requirements: Vec<Requirement>,
    span: DimensionId,
    running: f64,
}

impl Shaft {
    /// A bay with the given span and its standard deviation; warm at `running` °C.
    pub fn new(span: f64, sd: f64, running: f64) -> Self {
        let mut shaft = Self {
            dimensions: Vec::new(),
            inputs: Vec::new(),
            parts: Vec::new(),
            valves: Vec::new(),
            lots: Vec::new(),
            requirements: Vec::new(),
            span: DimensionId(0),
            running,
        };
        shaft.span = shaft.dimension("bay/span", "mm", span, sd, None);
        shaft
    }

    fn dimension(&mut self, path: &str, unit: &'static str, nominal: f64, sd: f64, lot: Option<usize>) -> DimensionId {
        let distribution =
            if sd > 0.0 { Distribution::Normal { mean: nominal, sd } } else { Distribution::Exact { value: nominal } };
        self.dimensions.push(Dimension { path: path.to_owned(), unit });
        self.inputs.push(Input { nominal, limits: None, distribution, lot, cost: None });
        DimensionId(self.dimensions.len() - 1)
    }

    pub fn lot(&mut self, name: &str, bias: f64, between: f64) -> usize {
        self.lots.push(Lot { name: name.to_owned(), bias, between });
        self.lots.len() - 1
    }

    pub fn solid(mut self, kind: SolidKind, name: &str, thickness: f64, sd: f64) -> Self {
        let thickness = self.dimension(&format!("bay/{name}/thickness"), "mm", thickness, sd, None);
        self.parts.push(Part {
            name: name.to_owned(),
            kind: PartKind::Solid { kind, thickness, bedding: None },
            expansion: STEEL,
        });
        self
    }

    pub fn solid_of_lot(mut self, kind: SolidKind, name: &str, thickness: f64, sd: f64, lot: (&str, f64, f64)) -> Self {
        let index = self.lots.iter().position(|l| l.name == lot.0).unwrap_or_else(|| self.lot(lot.0, lot.1, lot.2));
        let thickness = self.dimension(&format!("bay/{name}/thickness"), "mm", thickness, sd, Some(index));
        self.parts.push(Part {
            name: name.to_owned(),
            kind: PartKind::Solid { kind, thickness, bedding: None },
            expansion: STEEL,
        });
        self
    }

    /// A rocker with its valve.
    pub fn rocker(mut self, valve: &str, width: f64, adjuster: f64, stem: f64, sd: f64) -> Self {
        let name = format!("rocker {valve}");
        let width = self.dimension(&format!("bay/{name}/width"), "mm", width, sd, None);
        let adjuster = self.dimension(&format!("bay/{name}/adjuster"), "mm", adjuster, sd, None);
        let stem = self.dimension(&format!("bay/{valve}/stem"), "mm", stem, sd, None);
        let rocker = self.parts.len();
        self.parts.push(Part { name, kind: PartKind::Rocker { width, adjuster }, expansion: STEEL });
        self.valves.push(Valve { name: valve.to_owned(), rocker, stem, contact: None });
        self
    }

    pub fn linear_spring(mut self, name: &str, rate: f64, free_height: f64, solid: f64, sd: f64) -> Self {
        let rate = self.dimension(&format!("bay/{name}/rate"), "N/mm", rate, sd * rate, None);
        let free_height = self.dimension(&format!("bay/{name}/free_height"), "mm", free_height, sd, None);
        let solid_height = Some(self.dimension(&format!("bay/{name}/solid_height"), "mm", solid, 0.0, None));
        let law = SpringLaw::Linear { rate, free_height, solid_height };
        let spring = SpringWasher { law, friction: None, set: None };
        self.parts.push(Part { name: name.to_owned(), kind: PartKind::Spring(spring), expansion: STEEL });
        self
    }

    /// The demo pack's disc: 30 × 18.4 × 0.6, cone height 0.6.
    pub fn disc_spring(mut self, name: &str, sd: f64) -> Self {
        let mut of =
            |what: &str, value: f64, sd: f64| self.dimension(&format!("bay/{name}/{what}"), "mm", value, sd, None);
        let law = SpringLaw::Disc {
            outer_diameter: of("outer_diameter", 30.0, 0.0),
            inner_diameter: of("inner_diameter", 18.4, 0.0),
            thickness: of("thickness", 0.6, 0.4 * sd),
            cone_height: of("cone_height", 0.6, sd),
            elastic: packdrift_pack::Elastic { youngs_modulus: 206_000.0, poisson: 0.3 },
        };
        let spring = SpringWasher { law, friction: None, set: None };
        self.parts.push(Part { name: name.to_owned(), kind: PartKind::Spring(spring), expansion: STEEL });
        self
    }

    /// The same disc with its load measured: outside the tested proportions the formula does not settle it, and no build is vouched for.
    pub fn measured_disc_spring(mut self, name: &str, sd: f64) -> Self {
        let disc = packdrift_pack::disc::Disc {
            outer_diameter: 30.0,
            inner_diameter: 18.4,
            thickness: 0.6,
            cone_height: 0.6,
            elastic: packdrift_pack::Elastic { youngs_modulus: 206_000.0, poisson: 0.3 },
        };
        let deflection: Vec<f64> = (0..=12).map(|k| 0.05 * f64::from(k)).collect();
        let load = deflection.iter().map(|s| disc.load(*s)).collect();
        let free_height = self.dimension(&format!("bay/{name}/free_height"), "mm", 1.2, sd.hypot(0.4 * sd), None);
        let solid_height = Some(self.dimension(&format!("bay/{name}/solid_height"), "mm", 0.6, 0.0, None));
        let curve = packdrift_pack::LoadTable { deflection, load };
        let law = SpringLaw::Table { curve, free_height, solid_height };
        let spring = SpringWasher { law, friction: None, set: None };
        self.parts.push(Part { name: name.to_owned(), kind: PartKind::Spring(spring), expansion: STEEL });
        self
    }

    pub fn require_offset(mut self, valve: usize, lower: f64, upper: f64, target: f64) -> Self {
        for condition in 0..2 {
            self.requirements.push(Requirement {
                name: format!("offset {valve}"),
                quantity: Quantity::Offset { bay: 0, valve },
                condition,
                lower: Some(lower),
                upper: Some(upper),
                target: Some(target),
                max_out: 0.01,
            });
        }
        self
    }

    pub fn require_preload(mut self, lower: f64, upper: f64) -> Self {
        for condition in 0..2 {
            self.requirements.push(Requirement {
                name: "preload".to_owned(),
                quantity: Quantity::Preload { bay: 0 },
                condition,
                lower: Some(lower),
                upper: Some(upper),
                target: None,
                max_out: 0.01,
            });
        }
        self
    }

    pub fn stack(self) -> Stack {
        let pack = Pack {
            title: "invented".to_owned(),
            reference_temperature: 20.0,
            conditions: vec![
                Condition { name: "assembly".to_owned(), temperature: 20.0 },
                Condition { name: "running".to_owned(), temperature: self.running },
            ],
            bays: vec![Bay {
                name: "bay".to_owned(),
                span: self.span,
                expansion: ALUMINIUM,
                parts: self.parts,
                valves: self.valves,
            }],
            dimensions: self.dimensions,
        };
        Stack { pack, inputs: self.inputs, lots: self.lots, correlations: Vec::new(), requirements: self.requirements }
    }
}

pub fn measured(name: &str, thickness: f64) -> Piece {
    Piece { name: name.to_owned(), thickness, u: Some(0.002), size: None, count: 1, cost: None, lead_days: None }
}

pub fn size(name: &str, thickness: f64, count: u32) -> Piece {
    Piece { name: name.to_owned(), thickness, u: None, size: None, count, cost: Some(0.9), lead_days: Some(14.0) }
}

/// face | rocker | washer 0.969 | spring washer | washer 1.001 | face: the two washers measured, the rocker against the support.
pub fn trade_pack() -> Stack {
    // Span: 24 (rocker) + 0.969 + 1.001 + 2.00 (spring washer under load: 150 N/mm from 2.70 free: 105 N).
    Shaft::new(27.97, 0.0, 60.0)
        .rocker("exhaust", 24.0, 11.0, 10.45, 0.02)
        .solid(SolidKind::Washer, "inner washer", 0.969, 0.002)
        .linear_spring("spring washer", 150.0, 2.70, 0.9, 0.01)
        .solid(SolidKind::Washer, "outer washer", 1.001, 0.002)
        .require_offset(0, 0.85, 1.05, 0.95)
        .require_preload(75.0, 145.0)
        .stack()
}

/// The spring washer to the left of the rocker: the offset is then set from the right.
pub fn spring_on_the_left() -> Stack {
    Shaft::new(28.4, 0.01, 95.0)
        .solid(SolidKind::Washer, "outer washer", 1.2, 0.01)
        .disc_spring("spring washer", 0.01)
        .solid(SolidKind::Washer, "inner washer", 1.2, 0.01)
        .rocker("exhaust", 24.0, 11.0, 13.4, 0.02)
        .solid(SolidKind::Shim, "shim", 1.1, 0.01)
        .require_offset(0, 0.75, 1.05, 0.9)
        .require_preload(80.0, 260.0)
        .stack()
}
