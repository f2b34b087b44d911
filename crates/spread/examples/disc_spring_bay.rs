//! The spread of preload and contact offset of one bay with a disc spring, thirteen uncertain dimensions, by plain Monte Carlo.
//!
//! `cargo run --release -p packdrift-spread --example disc_spring_bay -- 10000000` prints mean, standard deviation, 95 % interval and the
//! share outside of both, and how long it took. With `normals` after the number it only makes the thirteen normals of each trial, the
//! limit that no faster model could beat. `benches/numpy_bay.py` is the same bay in numpy.

#![allow(clippy::print_stdout, clippy::unwrap_used, reason = "an example prints, and its bay is known to be right")]

use packdrift_numerics::stream::{BLOCK, Key};
use packdrift_pack::{
    Bay, Condition, Dimension, DimensionId, Elastic, Pack, Part, PartKind, Quantity, SolidKind, SpringLaw,
    SpringWasher, Valve,
};
use packdrift_spread::{Bounds, Distribution, Input, MonteCarlo, PackModel, Population, Requirement, Silent, Stack};
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

/// Path, mean and standard deviation (mm) of each dimension.
const DIMENSIONS: [(&str, f64, f64); 13] = [
    ("middle/span", 52.00, 0.020),
    ("middle/left washer/thickness", 1.20, 0.010),
    ("middle/left shim/thickness", 0.40, 0.010),
    ("middle/rocker/width", 24.00, 0.017),
    ("middle/rocker/adjuster", 11.30, 0.020),
    ("middle/disc/outer_diameter", 30.00, 0.050),
    ("middle/disc/inner_diameter", 18.40, 0.050),
    ("middle/disc/thickness", 0.60, 0.007),
    ("middle/disc/cone_height", 0.60, 0.013),
    ("middle/right shim/thickness", 0.60, 0.010),
    ("middle/right washer/thickness", 1.20, 0.010),
    ("middle/tube/thickness", 23.75, 0.020),
    ("middle/exhaust/stem", 11.90, 0.027),
];

fn bay() -> Stack {
    let id = DimensionId;
    let solid = |name: &str, kind, at| Part {
        name: name.to_owned(),
        kind: PartKind::Solid { kind, thickness: id(at), bedding: None },
        expansion: 11.5e-6,
    };
    let steel = Elastic { youngs_modulus: 206_000.0, poisson: 0.3 };
    let disc = SpringLaw::Disc {
        outer_diameter: id(5),
        inner_diameter: id(6),
        thickness: id(7),
        cone_height: id(8),
        elastic: steel,
    };
    let parts = vec![
        solid("left washer", SolidKind::Washer, 1),
        solid("left shim", SolidKind::Shim, 2),
        Part {
            name: "rocker".to_owned(),
            kind: PartKind::Rocker { width: id(3), adjuster: id(4) },
            expansion: 11.5e-6,
        },
        Part {
            name: "disc".to_owned(),
            kind: PartKind::Spring(SpringWasher { law: disc, friction: None, set: None }),
            expansion: 11.5e-6,
        },
        solid("right shim", SolidKind::Shim, 9),
        solid("right washer", SolidKind::Washer, 10),
        solid("tube", SolidKind::Spacer, 11),
    ];
    let valve = Valve { name: "exhaust".to_owned(), rocker: 2, stem: id(12), contact: None };
    let bay = Bay { name: "middle".to_owned(), span: id(0), expansion: 11.5e-6, parts, valves: vec![valve] };
    let requirement = |name: &str, quantity, lower, upper| Requirement {
        name: name.to_owned(),
        quantity,
        condition: 0,
        lower: Some(lower),
        upper: Some(upper),
        target: None,
        max_out: 0.0027,
    };
    let input = |mean, sd| Input {
        nominal: mean,
        limits: None,
        distribution: Distribution::normal(mean, sd).unwrap(),
        lot: None,
        cost: None,
    };
    Stack {
        pack: Pack {
            title: "A bay with one disc spring".to_owned(),
            reference_temperature: 20.0,
            conditions: vec![Condition { name: "assembly".to_owned(), temperature: 20.0 }],
            bays: vec![bay],
            dimensions: DIMENSIONS
                .iter()
                .map(|(path, ..)| Dimension { path: (*path).to_owned(), unit: "mm" })
                .collect(),
        },
        inputs: DIMENSIONS.iter().map(|&(_, mean, sd)| input(mean, sd)).collect(),
        lots: Vec::new(),
        correlations: Vec::new(),
        requirements: vec![
            requirement("preload", Quantity::Preload { bay: 0 }, 60.0, 400.0),
            requirement("offset", Quantity::Offset { bay: 0, valve: 0 }, 0.88, 1.12),
        ],
    }
}

/// Makes the normals of all trials and nothing else.
fn normals_alone(trials: u64) -> f64 {
    let keys: Vec<Key> = DIMENSIONS.iter().map(|(path, ..)| Key::new(1, path)).collect();
    let next = AtomicU64::new(0);
    let sums = rayon::broadcast(|_| {
        let mut block = vec![0.0; BLOCK];
        let mut sum = 0.0;
        loop {
            let b = next.fetch_add(1, Ordering::Relaxed);
            if b * BLOCK as u64 >= trials {
                return sum;
            }
            for key in &keys {
                key.lanes(b).fill_normal(&mut block);
                // One number of each block is used, so that no block can be left out.
                sum += block[(b % BLOCK as u64) as usize];
            }
        }
    });
    sums.iter().sum()
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let trials = arguments.first().map_or(1_000_000, |text| text.parse().unwrap());
    let start = Instant::now();
    if arguments.get(1).is_some_and(|word| word == "normals") {
        let sum = normals_alone(trials);
        println!("{trials} × {} normals: {:.3} s (checksum {sum:.6})", DIMENSIONS.len(), start.elapsed().as_secs_f64());
        return;
    }
    let stack = bay();
    let population = Population::of_stack(&stack).unwrap();
    let model = PackModel::new(&stack).unwrap();
    let bounds: Vec<Bounds> = stack.requirements.iter().map(|r| Bounds::new(r.lower, r.upper)).collect();
    let run = MonteCarlo::new(&model, &population, &bounds, 1).unwrap();
    let partial = run.run(trials, &Silent).unwrap();
    for (k, requirement) in stack.requirements.iter().enumerate() {
        let spread = partial.spread(k);
        println!(
            "{}: mean {:.5}, sd {:.5}, 95 % {:.5} to {:.5}, outside {:.6}",
            requirement.name,
            spread.mean.unwrap(),
            spread.sd.unwrap(),
            spread.quantiles[1].value,
            spread.quantiles[3].value,
            spread.out.total
        );
    }
    println!("{trials} trials: {:.3} s", start.elapsed().as_secs_f64());
}
