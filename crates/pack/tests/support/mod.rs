//! Packs for the tests, built part by part together with their dimension values.
#![allow(dead_code, unreachable_pub, reason = "each test file includes this and uses its own part")]
#![allow(clippy::panic, reason = "a test stops at the first surprise")]

pub mod random;

use packdrift_pack::{
    Bay, Condition, Contact, Dimension, DimensionId, Elastic, LoadTable, Outcome, Pack, Part, PartKind, Quantity,
    SolidKind, SpringLaw, SpringWasher, Valve,
};

pub const STEEL: Elastic = Elastic { youngs_modulus: 206_000.0, poisson: 0.3 };
pub const STEEL_EXPANSION: f64 = 11.5e-6;
pub const ALUMINIUM_EXPANSION: f64 = 23.0e-6;

/// Property tests draw the same cases in every run, so that a build cannot fail by the luck of the draw; with
/// `PROPTEST_RNG_SEED` or `PROPTEST_CASES` set they draw others, or more.
pub fn cases(cases: u32) -> proptest::test_runner::Config {
    let drawn = proptest::test_runner::Config::default();
    let set = |name: &str| std::env::var_os(name).is_some();
    proptest::test_runner::Config {
        cases: if set("PROPTEST_CASES") { drawn.cases } else { cases },
        rng_seed: if set("PROPTEST_RNG_SEED") {
            drawn.rng_seed
        } else {
            proptest::test_runner::RngSeed::Fixed(20_270_301)
        },
        failure_persistence: None,
        max_global_rejects: 1_000_000,
        ..drawn
    }
}

/// A pack of one bay under construction.
#[derive(Debug, Clone)]
pub struct Bench {
    pub pack: Pack,
    pub x: Vec<f64>,
}

impl Bench {
    /// An empty bay `middle` in aluminium, at 20 °C (condition 0) and 95 °C (condition 1).
    pub fn new(span: f64) -> Self {
        let condition = |name: &str, temperature| Condition { name: name.into(), temperature };
        let mut bench = Self {
            pack: Pack {
                title: "test".into(),
                reference_temperature: 20.0,
                conditions: vec![condition("assembly", 20.0), condition("running", 95.0)],
                bays: vec![],
                dimensions: vec![],
            },
            x: vec![],
        };
        let span = bench.dimension("middle/span", "mm", span);
        bench.pack.bays.push(Bay {
            name: "middle".into(),
            span,
            expansion: ALUMINIUM_EXPANSION,
            parts: vec![],
            valves: vec![],
        });
        bench
    }

    pub fn dimension(&mut self, path: &str, unit: &'static str, value: f64) -> DimensionId {
        self.pack.dimensions.push(Dimension { path: path.into(), unit });
        self.x.push(value);
        DimensionId(self.x.len() - 1)
    }

    /// A dimension of the part to be added next.
    fn of(&mut self, part: &str, name: &str, unit: &'static str, value: f64) -> DimensionId {
        self.dimension(&format!("middle/{part}/{name}"), unit, value)
    }

    pub fn push(&mut self, name: &str, kind: PartKind) -> usize {
        self.pack.bays[0].parts.push(Part { name: name.into(), kind, expansion: STEEL_EXPANSION });
        self.pack.bays[0].parts.len() - 1
    }

    pub fn solid(&mut self, name: &str, thickness: f64) -> usize {
        let thickness = self.of(name, "thickness", "mm", thickness);
        self.push(name, PartKind::Solid { kind: SolidKind::Shim, thickness, bedding: None })
    }

    /// A stamped piece that gives `bedding` mm under load.
    pub fn bedded(&mut self, name: &str, thickness: f64, bedding: f64) -> usize {
        let thickness = self.of(name, "thickness", "mm", thickness);
        let bedding = Some(self.of(name, "bedding", "mm", bedding));
        self.push(name, PartKind::Solid { kind: SolidKind::Shim, thickness, bedding })
    }

    pub fn rocker(&mut self, name: &str, width: f64, adjuster: f64) -> usize {
        let width = self.of(name, "width", "mm", width);
        let adjuster = self.of(name, "adjuster", "mm", adjuster);
        self.push(name, PartKind::Rocker { width, adjuster })
    }

    pub fn spring(&mut self, name: &str, law: SpringLaw, friction: Option<f64>, set: Option<f64>) -> usize {
        let friction = friction.map(|value| self.of(name, "friction", "1", value));
        let set = set.map(|value| self.of(name, "set", "1", value));
        self.push(name, PartKind::Spring(SpringWasher { law, friction, set }))
    }

    pub fn disc_law(&mut self, name: &str, outer: f64, inner: f64, t: f64, h0: f64) -> SpringLaw {
        SpringLaw::Disc {
            outer_diameter: self.of(name, "outer_diameter", "mm", outer),
            inner_diameter: self.of(name, "inner_diameter", "mm", inner),
            thickness: self.of(name, "thickness", "mm", t),
            cone_height: self.of(name, "cone_height", "mm", h0),
            elastic: STEEL,
        }
    }

    pub fn linear_law(&mut self, name: &str, rate: f64, free_height: f64, solid_height: Option<f64>) -> SpringLaw {
        SpringLaw::Linear {
            rate: self.of(name, "rate", "N/mm", rate),
            free_height: self.of(name, "free_height", "mm", free_height),
            solid_height: solid_height.map(|value| self.of(name, "solid_height", "mm", value)),
        }
    }

    pub fn wave_law(&mut self, name: &str, outer: f64, inner: f64, t: f64, free: f64, solid: Option<f64>) -> SpringLaw {
        SpringLaw::Wave {
            outer_diameter: self.of(name, "outer_diameter", "mm", outer),
            inner_diameter: self.of(name, "inner_diameter", "mm", inner),
            thickness: self.of(name, "thickness", "mm", t),
            free_height: self.of(name, "free_height", "mm", free),
            waves: 3,
            factor: packdrift_pack::wave_factor(3),
            solid_height: solid.map(|value| self.of(name, "solid_height", "mm", value)),
            elastic: STEEL,
        }
    }

    pub fn curved_law(
        &mut self,
        name: &str,
        outer: f64,
        inner: f64,
        t: f64,
        free: f64,
        solid: Option<f64>,
    ) -> SpringLaw {
        SpringLaw::Curved {
            outer_diameter: self.of(name, "outer_diameter", "mm", outer),
            inner_diameter: self.of(name, "inner_diameter", "mm", inner),
            thickness: self.of(name, "thickness", "mm", t),
            free_height: self.of(name, "free_height", "mm", free),
            solid_height: solid.map(|value| self.of(name, "solid_height", "mm", value)),
            elastic: STEEL,
        }
    }

    pub fn table_law(&mut self, name: &str, points: &[(f64, f64)], free: f64, solid: Option<f64>) -> SpringLaw {
        SpringLaw::Table {
            curve: LoadTable {
                deflection: points.iter().map(|point| point.0).collect(),
                load: points.iter().map(|point| point.1).collect(),
            },
            free_height: self.of(name, "free_height", "mm", free),
            solid_height: solid.map(|value| self.of(name, "solid_height", "mm", value)),
        }
    }

    pub fn disc(&mut self, name: &str, outer: f64, inner: f64, t: f64, h0: f64) -> usize {
        let law = self.disc_law(name, outer, inner, t, h0);
        self.spring(name, law, None, None)
    }

    pub fn linear(&mut self, name: &str, rate: f64, free_height: f64, solid_height: Option<f64>) -> usize {
        let law = self.linear_law(name, rate, free_height, solid_height);
        self.spring(name, law, None, None)
    }

    pub fn valve(&mut self, name: &str, rocker: usize, stem: f64) -> usize {
        let stem = self.of(name, "stem", "mm", stem);
        self.pack.bays[0].valves.push(Valve { name: name.into(), rocker, stem, contact: None });
        self.pack.bays[0].valves.len() - 1
    }

    pub fn contact(&mut self, valve: usize, wear: Option<f64>) {
        let name = self.pack.bays[0].valves[valve].name.clone();
        let contact = Contact {
            stem_end_diameter: self.of(&name, "stem_end_diameter", "mm", 8.0),
            stem_end_chamfer: self.of(&name, "stem_end_chamfer", "mm", 0.4),
            adjuster_tip_radius: self.of(&name, "adjuster_tip_radius", "mm", 12.0),
            sweep: self.of(&name, "sweep", "mm", 0.9),
            valve_load: self.of(&name, "valve_load", "N", 620.0),
            tip_wear: wear.map(|value| self.of(&name, "tip_wear", "mm", value)),
            adjuster: STEEL,
            stem: Elastic { youngs_modulus: 200_000.0, poisson: 0.29 },
            adjuster_expansion: STEEL_EXPANSION,
            stem_expansion: 12.1e-6,
        };
        self.pack.bays[0].valves[valve].contact = Some(contact);
    }

    /// Sets the value of the dimension of this path.
    pub fn set(&mut self, path: &str, value: f64) {
        let id = self.pack.find_dimension(path).unwrap_or_else(|| panic!("no dimension {path}"));
        self.x[id.0] = value;
    }

    /// Shifts the span so that D has this value in a condition.
    pub fn interfere(&mut self, condition: usize, interference: f64) {
        let span = self.pack.bays[0].span.0;
        for _ in 0..3 {
            let now = match self.pack.equilibrium(0, condition, &self.x) {
                Ok(equilibrium) => equilibrium.interference,
                Err(unable) => unable.interference,
            };
            let growth = 1.0
                + self.pack.bays[0].expansion
                    * (self.pack.conditions[condition].temperature - self.pack.reference_temperature);
            self.x[span] += (now - interference) / growth;
        }
    }

    pub fn evaluate(&self, quantity: Quantity, condition: usize) -> Outcome {
        self.pack.evaluate(&quantity, condition, &self.x)
    }

    pub fn preload(&self) -> f64 {
        match self.evaluate(Quantity::Preload { bay: 0 }, 0) {
            Outcome::Value(load) => load,
            other => panic!("preload is {other:?}"),
        }
    }

    /// Every quantity of the bay.
    pub fn quantities(&self) -> Vec<Quantity> {
        let bay = &self.pack.bays[0];
        let mut quantities = vec![Quantity::Preload { bay: 0 }, Quantity::Play { bay: 0 }];
        for (part, data) in bay.parts.iter().enumerate() {
            if matches!(data.kind, PartKind::Spring(_)) {
                quantities.push(Quantity::Height { bay: 0, part });
            }
            if let PartKind::Spring(washer) = &data.kind {
                let points = washer.stress_points().iter();
                quantities.extend(points.map(|point| Quantity::Stress { bay: 0, part, point: *point }));
            }
        }
        for (valve, data) in bay.valves.iter().enumerate() {
            quantities.push(Quantity::Offset { bay: 0, valve });
            if data.contact.is_some() {
                quantities.push(Quantity::EdgeMargin { bay: 0, valve });
                quantities.push(Quantity::ContactPressure { bay: 0, valve });
            }
        }
        quantities
    }
}

/// The bay of the design's example: shim, rocker, disc spring, shim.
pub fn example() -> Bench {
    let mut bench = Bench::new(26.00);
    bench.solid("left shim", 0.40);
    let rocker = bench.rocker("rocker", 24.00, 11.30);
    bench.disc("spring washer", 30.0, 18.4, 0.60, 0.60);
    bench.solid("right shim", 0.60);
    let valve = bench.valve("exhaust", rocker, 10.70);
    bench.contact(valve, None);
    bench.interfere(0, 0.30);
    bench
}
