//! Which method `auto` picks for each requirement of a two-bay shaft (36 uncertain dimensions, three lots, two conditions), and how long each step takes.
//!
//! `cargo run --release -p packdrift-spread --example what_auto_picks` prints one line a requirement: the method of the share outside and of the rest, the share
//! with its standard error, and the time. With `allocate` after it: tolerances of least cost for its contact offsets. With `rare`: the one share of about 1e-5 that `benches/README.md` speaks of.

#![allow(clippy::print_stdout, clippy::unwrap_used, reason = "an example prints, and its pack is known to be right")]

use packdrift_pack::{
    Bay, Condition, Contact, Dimension, DimensionId, Elastic, Pack, Part, PartKind, Quantity, SolidKind, SpringLaw,
    SpringWasher, Valve,
};
use packdrift_spread::{
    AllocateOptions, Cost, Distribution, Input, Limits, Lot, Options, Requirement, Silent, Stack, allocate, analyse,
};
use std::time::Instant;

const STEEL: Elastic = Elastic { youngs_modulus: 206_000.0, poisson: 0.3 };

/// Dimensions as they are added.
#[derive(Default)]
struct Drawing {
    dimensions: Vec<Dimension>,
    inputs: Vec<Input>,
}

impl Drawing {
    fn add(&mut self, path: String, nominal: f64, tol: f64, lot: Option<usize>) -> DimensionId {
        let unit = if path.ends_with("/rate") { "N/mm" } else { "mm" };
        self.dimensions.push(Dimension { path, unit });
        let distribution = Distribution::normal(nominal, tol / 3.0).unwrap();
        self.inputs.push(Input { nominal, limits: None, distribution, lot, cost: None });
        DimensionId(self.inputs.len() - 1)
    }
}

fn bay(d: &mut Drawing, name: &str) -> Bay {
    let mut part = |part: &str, dimension: &str, nominal: f64, tol: f64, lot: Option<usize>| {
        d.add(format!("{name}/{part}/{dimension}"), nominal, tol, lot)
    };
    let mut solid = |label: &str, kind, nominal, lot| Part {
        name: label.to_owned(),
        kind: PartKind::Solid { kind, thickness: part(label, "thickness", nominal, 0.03, Some(lot)), bedding: None },
        expansion: 11.5e-6,
    };
    let left = vec![solid("left washer", SolidKind::Washer, 1.20, 0), solid("left shim", SolidKind::Shim, 0.40, 1)];
    let right = vec![solid("right shim", SolidKind::Shim, 0.60, 2), solid("right washer", SolidKind::Washer, 1.20, 0)];
    let mut rocker = |label: &str| Part {
        name: label.to_owned(),
        kind: PartKind::Rocker {
            width: part(label, "width", 24.0, 0.05, None),
            adjuster: part(label, "adjuster", 11.3, 0.06, None),
        },
        expansion: 11.5e-6,
    };
    let (intake, exhaust) = (rocker("intake"), rocker("exhaust"));
    let law = SpringLaw::Disc {
        outer_diameter: part("disc", "outer_diameter", 30.0, 0.0, None),
        inner_diameter: part("disc", "inner_diameter", 18.4, 0.0, None),
        thickness: part("disc", "thickness", 0.60, 0.02, None),
        cone_height: part("disc", "cone_height", 0.60, 0.04, None),
        elastic: STEEL,
    };
    let disc = Part {
        name: "disc".to_owned(),
        kind: PartKind::Spring(SpringWasher { law, friction: None, set: None }),
        expansion: 11.5e-6,
    };
    let mut valve = |label: &str, rocker, stem: f64, load: f64| Valve {
        name: format!("{name} {label}"),
        rocker,
        stem: part(label, "stem", stem, 0.08, None),
        contact: Some(Contact {
            stem_end_diameter: part(label, "stem_end_diameter", 8.0, 0.05, None),
            stem_end_chamfer: part(label, "stem_end_chamfer", 0.4, 0.10, None),
            adjuster_tip_radius: part(label, "adjuster_tip_radius", 12.0, 0.5, None),
            sweep: part(label, "sweep", 0.9, 0.05, None),
            valve_load: part(label, "valve_load", load, 30.0, None),
            tip_wear: None,
            adjuster: STEEL,
            stem: STEEL,
            adjuster_expansion: 11.5e-6,
            stem_expansion: 11.5e-6,
        }),
    };
    let valves = vec![valve("intake", 2, 11.9, 540.0), valve("exhaust", 4, 36.7, 620.0)];
    let span = part("", "span", 52.20, 0.06, None);
    let mut parts = left;
    parts.extend([intake, disc, exhaust]);
    parts.extend(right);
    Bay { name: name.to_owned(), span, expansion: 23.0e-6, parts, valves }
}

fn shaft() -> Stack {
    let mut drawing = Drawing::default();
    let bays = vec![bay(&mut drawing, "one"), bay(&mut drawing, "two")];
    let lot = |name: &str, bias, between| Lot { name: name.to_owned(), bias, between };
    let mut requirements = Vec::new();
    for bay in 0..2 {
        for condition in 0..2 {
            let mut require = |name: &str, quantity, lower, upper| {
                let name = format!("{name}, bay {bay}");
                requirements.push(Requirement {
                    name,
                    quantity,
                    condition,
                    lower,
                    upper,
                    target: None,
                    max_out: 0.0027,
                });
            };
            require("preload", Quantity::Preload { bay }, Some(60.0), Some(340.0));
            require("play", Quantity::Play { bay }, None, Some(0.05));
            for valve in 0..2 {
                require("offset", Quantity::Offset { bay, valve }, Some(0.88), Some(1.12));
                require("edge margin", Quantity::EdgeMargin { bay, valve }, Some(1.7), None);
                require("contact pressure", Quantity::ContactPressure { bay, valve }, None, Some(2300.0));
            }
        }
    }
    Stack {
        pack: Pack {
            title: "A shaft of two bays".to_owned(),
            reference_temperature: 20.0,
            conditions: vec![
                Condition { name: "assembly".to_owned(), temperature: 20.0 },
                Condition { name: "running".to_owned(), temperature: 95.0 },
            ],
            bays,
            dimensions: drawing.dimensions,
        },
        inputs: drawing.inputs,
        lots: vec![lot("washer", 0.0, 0.008), lot("shim 0.40", 0.002, 0.006), lot("shim 0.60", 0.042, 0.009)],
        correlations: Vec::new(),
        requirements,
    }
}

/// Spans and stems by a + b/tol, rocker widths by grades.
fn least_cost(mut stack: Stack) {
    for (dimension, input) in stack.pack.dimensions.iter().zip(&mut stack.inputs) {
        let sd = input.distribution.sd();
        let grades = Cost::Grades(vec![(0.03, 9.0), (0.05, 6.0), (0.08, 4.0)]);
        let power = Cost::Power { fixed: 0.0, scale: 0.4, exponent: 1.0 };
        input.cost = match dimension.path.rsplit('/').next() {
            Some("width") => Some(grades),
            Some("span" | "stem") => Some(power),
            _ => continue,
        };
        input.limits = Some(Limits { lower: input.nominal - 3.0 * sd, upper: input.nominal + 3.0 * sd });
    }
    let start = Instant::now();
    let options = AllocateOptions { max_out: Some(0.08), ..AllocateOptions::default() };
    let result = allocate(&stack, &options, &Silent).unwrap();
    for d in &result.dimensions {
        println!(
            "{:<24} {:.4} -> {:.4}  cost {:.3} {:?} {:?}",
            d.dimension, d.tol_now, d.tol, d.cost, d.grade, d.at_bound
        );
    }
    println!(
        "out {:.4e} ± {:.1e} (now {:.4e}), cost {:.4} (now {:?}), {:?}, {} rounds, {:.3} s",
        result.out.value,
        result.out.standard_error,
        result.out_now.value,
        result.cost,
        result.cost_now,
        result.optimum,
        result.rounds,
        start.elapsed().as_secs_f64()
    );
}

fn main() {
    let rare = std::env::args().nth(1).is_some_and(|word| word == "rare");
    let mut stack = shaft();
    if rare {
        stack.requirements.truncate(1);
        stack.requirements[0].lower = Some(128.0);
        stack.requirements[0].upper = None;
    }
    if std::env::args().nth(1).is_some_and(|word| word == "allocate") {
        least_cost(stack);
        return;
    }
    let start = Instant::now();
    let options = Options { until: rare.then_some(0.01), ..Options::default() };
    let result = analyse(&stack, &options, &Silent).unwrap();
    let seconds = start.elapsed().as_secs_f64();
    for r in &result.requirements {
        let s = &r.spread;
        println!(
            "{:<28} {:<9} {:<18} {:<18} mean {:9.4} sd {:8.5} out {:.4e} ± {:.1e} (below {:.2e} above {:.2e} cannot {:.1e} loose {:.1e})",
            r.name,
            r.condition,
            s.method.to_string(),
            s.moments_method.to_string(),
            s.mean.unwrap_or(f64::NAN),
            s.sd.unwrap_or(f64::NAN),
            s.out.total,
            s.out.standard_error,
            s.out.below,
            s.out.above,
            s.cannot_assemble,
            s.loose,
        );
    }
    if let Some(joint) = &result.joint {
        println!("joint {:.4e} ± {:.1e}, sum {:.4e}", joint.out.value, joint.out.standard_error, joint.sum);
    }
    for answer in result.questions.answers.first().into_iter().flatten().filter(|a| a.may_open.is_some()) {
        println!(
            "  {:<34} may open ×{:?}, perfect {:?}, shift {:?} -> {:?}",
            answer.dimension, answer.may_open, answer.out_if_perfect, answer.shift_to_centre, answer.out_if_shifted
        );
    }
    for warning in &result.warnings {
        println!("warning: {warning}");
    }
    println!("{seconds:.4} s");
}
