//! Random bays for property tests: any order of solids, rockers and spring washers of every law, at any interference.

use super::Bench;
use packdrift_pack::SpringLaw;
use proptest::prelude::*;

#[derive(Debug, Clone)]
pub enum PartSpec {
    Solid { thickness: f64, bedding: Option<f64> },
    Rocker { width: f64, adjuster: f64 },
    Spring { law: LawSpec, friction: Option<f64>, set: Option<f64> },
}

#[derive(Debug, Clone)]
pub enum LawSpec {
    Disc { outer: f64, ratio: f64, t: f64, cone: f64 },
    Linear { rate: f64, free: f64, solid: Option<f64> },
    Wave { outer: f64, ratio: f64, t: f64, room: f64, solid: Option<f64> },
    Curved { outer: f64, ratio: f64, t: f64, room: f64, solid: Option<f64> },
    Table { steps: Vec<(f64, f64)>, free: f64, solid: Option<f64> },
}

/// Any law; discs have h0/t up to `steepest`.
pub fn law(steepest: f64) -> impl Strategy<Value = LawSpec> {
    prop_oneof![
        3 => (15.0..50.0, 1.3..3.0, 0.3..1.2, 0.2..steepest)
            .prop_map(|(outer, ratio, t, cone)| LawSpec::Disc { outer, ratio, t, cone }),
        1 => (20.0..3000.0, 0.8..2.5, proptest::option::of(0.1..0.6))
            .prop_map(|(rate, free, solid)| LawSpec::Linear { rate, free, solid }),
        1 => (20.0..60.0, 1.15..1.6, 0.3..1.0, 0.3..1.5, proptest::option::of(1.0..1.5))
            .prop_map(|(outer, ratio, t, room, solid)| LawSpec::Wave { outer, ratio, t, room, solid }),
        1 => (15.0..40.0, 1.3..2.0, 0.3..0.8, 0.3..1.5, proptest::option::of(1.0..1.5))
            .prop_map(|(outer, ratio, t, room, solid)| LawSpec::Curved { outer, ratio, t, room, solid }),
        1 => (proptest::collection::vec((0.05..0.3, 20.0..150.0), 2..6), 1.9..3.0, proptest::option::of(0.05..1.2))
            .prop_map(|(steps, free, solid)| LawSpec::Table { steps, free, solid }),
    ]
}

fn part(steepest: f64) -> impl Strategy<Value = PartSpec> {
    prop_oneof![
        4 => (0.1..2.0, proptest::option::of(0.0..0.05))
            .prop_map(|(thickness, bedding)| PartSpec::Solid { thickness, bedding }),
        2 => (15.0..30.0, 5.0..20.0).prop_map(|(width, adjuster)| PartSpec::Rocker { width, adjuster }),
        3 => (law(steepest), proptest::option::of(0.9..1.1), proptest::option::of(0.85..1.0))
            .prop_map(|(law, friction, set)| PartSpec::Spring { law, friction, set }),
    ]
}

/// A bay of one rocker at least, with a valve and its contact on every rocker, interfering by `share` of its room in the
/// assembly condition (below 0: loose by as many mm).
#[derive(Debug, Clone)]
pub struct BaySpec {
    pub parts: Vec<PartSpec>,
    pub share: f64,
    pub wear: Option<f64>,
    pub stem: f64,
}

pub fn bay(steepest: f64, share: std::ops::Range<f64>) -> impl Strategy<Value = BaySpec> {
    let parts = (proptest::collection::vec(part(steepest), 1..7), 15.0..30.0, 5.0..20.0, 0_usize..8);
    (parts, share, proptest::option::of(0.0..0.05), -2.0..2.0).prop_map(
        |((mut parts, width, adjuster, at), share, wear, stem)| {
            parts.insert(at.min(parts.len()), PartSpec::Rocker { width, adjuster });
            BaySpec { parts, share, wear, stem }
        },
    )
}

impl BaySpec {
    pub fn build(&self) -> Bench {
        let mut bench = Bench::new(50.0);
        let mut rockers = Vec::new();
        for (k, part) in self.parts.iter().enumerate() {
            match part {
                PartSpec::Solid { thickness, bedding } => {
                    match bedding {
                        Some(bedding) => bench.bedded(&format!("shim {k}"), *thickness, *bedding),
                        None => bench.solid(&format!("shim {k}"), *thickness),
                    };
                }
                PartSpec::Rocker { width, adjuster } => {
                    rockers.push(bench.rocker(&format!("rocker {k}"), *width, *adjuster));
                }
                PartSpec::Spring { law, friction, set } => {
                    let name = format!("spring {k}");
                    let law = law.build(&mut bench, &name);
                    let index = bench.spring(&name, law, *friction, *set);
                    // Materials differ, so that temperature moves everything.
                    bench.pack.bays[0].parts[index].expansion = 10.0e-6 + 1.0e-6 * k as f64;
                }
            }
        }
        let equilibrium = bench.loosen();
        for (k, rocker) in rockers.into_iter().enumerate() {
            let axis = equilibrium.left_faces[rocker] + bench.x[0] * 0.0 + 11.0 + self.stem;
            let valve = bench.valve(&format!("valve {k}"), rocker, axis);
            bench.contact(valve, self.wear);
        }
        let interference = if self.share > 0.0 { self.share * equilibrium.room } else { self.share };
        bench.interfere(0, interference);
        bench
    }
}

impl Bench {
    /// Makes the span long enough for any state, and returns it.
    fn loosen(&mut self) -> packdrift_pack::Equilibrium {
        self.x[0] = 1000.0;
        self.pack.equilibrium(0, 0, &self.x).unwrap_or_else(|unable| panic!("{unable}"))
    }
}

impl LawSpec {
    pub fn build(&self, bench: &mut Bench, name: &str) -> SpringLaw {
        match self {
            Self::Disc { outer, ratio, t, cone } => bench.disc_law(name, *outer, outer / ratio, *t, cone * t),
            Self::Linear { rate, free, solid } => bench.linear_law(name, *rate, *free, *solid),
            Self::Wave { outer, ratio, t, room, solid } => {
                bench.wave_law(name, *outer, outer / ratio, *t, solid.unwrap_or(*t) + room, *solid)
            }
            Self::Curved { outer, ratio, t, room, solid } => {
                bench.curved_law(name, *outer, outer / ratio, *t, solid.unwrap_or(*t) + room, *solid)
            }
            Self::Table { steps, free, solid } => {
                let mut points = vec![(0.0, 0.0)];
                for (deflection, load) in steps {
                    let last = points[points.len() - 1];
                    points.push((last.0 + deflection, last.1 + load));
                }
                bench.table_law(name, &points, *free, *solid)
            }
        }
    }
}
