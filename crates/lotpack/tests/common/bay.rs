//! A bay small enough to be worked out by hand.

use packdrift_pack::{
    Bay, Condition, Dimension, DimensionId, Pack, Part, PartKind, Quantity, SolidKind, SpringLaw, SpringWasher, Valve,
};
use packdrift_spread::{Distribution, Input, Lot, Requirement, Stack};

const DIMENSIONS: [(&str, f64, f64); 9] = [
    ("middle/span", 52.00, 0.015),
    ("middle/left shim/thickness", 0.40, 0.006),
    ("middle/rocker/width", 24.00, 0.012),
    ("middle/rocker/adjuster", 11.30, 0.015),
    ("middle/spring/rate", 300.0, 6.0),
    ("middle/spring/free_height", 3.60, 0.02),
    ("middle/right shim/thickness", 0.40, 0.006),
    ("middle/tube/thickness", 24.40, 0.015),
    ("middle/exhaust/stem", 10.70, 0.020),
];

/// A bay with a linear spring; both shims come from the packet "shim 0.40".
pub(super) fn bay() -> Stack {
    let id = DimensionId;
    let solid = |name: &str, kind, at| Part {
        name: name.to_owned(),
        kind: PartKind::Solid { kind, thickness: id(at), bedding: None },
        expansion: 11.5e-6,
    };
    let spring = SpringLaw::Linear { rate: id(4), free_height: id(5), solid_height: None };
    let parts = vec![
        solid("left shim", SolidKind::Shim, 1),
        Part { name: "rocker".into(), kind: PartKind::Rocker { width: id(2), adjuster: id(3) }, expansion: 11.5e-6 },
        Part {
            name: "spring".into(),
            kind: PartKind::Spring(SpringWasher { law: spring, friction: None, set: None }),
            expansion: 11.5e-6,
        },
        solid("right shim", SolidKind::Shim, 6),
        solid("tube", SolidKind::Spacer, 7),
    ];
    let valve = Valve { name: "exhaust".into(), rocker: 1, stem: id(8), contact: None };
    let requirement = |name: &str, quantity, lower, upper, max_out| Requirement {
        name: name.to_owned(),
        quantity,
        condition: 0,
        lower: Some(lower),
        upper: Some(upper),
        target: None,
        max_out,
    };
    let shim = |k: usize| k == 1 || k == 6;
    Stack {
        pack: Pack {
            title: "A bay".into(),
            reference_temperature: 20.0,
            conditions: vec![Condition { name: "assembly".into(), temperature: 20.0 }],
            bays: vec![Bay { name: "middle".into(), span: id(0), expansion: 11.5e-6, parts, valves: vec![valve] }],
            dimensions: DIMENSIONS
                .iter()
                .map(|(path, ..)| Dimension {
                    path: (*path).into(),
                    unit: if path.ends_with("rate") { "N/mm" } else { "mm" },
                })
                .collect(),
        },
        inputs: DIMENSIONS
            .iter()
            .enumerate()
            .map(|(k, &(_, mean, sd))| Input {
                nominal: mean,
                limits: None,
                distribution: Distribution::normal(mean, sd).unwrap(),
                lot: shim(k).then_some(0),
                cost: None,
            })
            .collect(),
        lots: vec![Lot { name: "shim 0.40".into(), bias: 0.0, between: 0.006 }],
        correlations: Vec::new(),
        requirements: vec![
            requirement("offset", Quantity::Offset { bay: 0, valve: 0 }, 0.90, 1.10, 0.01),
            requirement("preload", Quantity::Preload { bay: 0 }, 180.0, 300.0, 0.02),
        ],
    }
}
