//! Uncertainty carried through a pack: worst case, root-sum-square, Monte Carlo, exact, sensitivity, allocation.
//!
//! A [`Stack`] joins the mechanical model of `packdrift-pack` with what is known of each dimension. This crate knows
//! nothing of files and prints nothing.
//!
//! What is computed is carried through a [`Model`] (a function of input values) from a [`Population`] (the joint distribution of the
//! inputs), so the same code serves packs and published examples.
//!
//! # Examples
//! A washer with play between two faces: how far the play spreads, and the tolerances that keep it at the least cost.
//! ```
//! use packdrift_pack::{Bay, Condition, Dimension, DimensionId, Pack, Part, PartKind, Quantity, SolidKind};
//! use packdrift_spread::{AllocateOptions, Cost, Distribution, Input, Limits, Options, Requirement, Silent, Stack, allocate, analyse};
//!
//! let dimension = |path: &str| Dimension { path: path.into(), unit: "mm" };
//! let kind = PartKind::Solid { kind: SolidKind::Washer, thickness: DimensionId(1), bedding: None };
//! let pack = Pack {
//!     title: "one washer".into(),
//!     reference_temperature: 20.0,
//!     conditions: vec![Condition { name: "assembly".into(), temperature: 20.0 }],
//!     bays: vec![Bay {
//!         name: "bay".into(),
//!         span: DimensionId(0),
//!         expansion: 11.5e-6,
//!         parts: vec![Part { name: "washer".into(), kind, expansion: 11.5e-6 }],
//!         valves: vec![],
//!     }],
//!     dimensions: vec![dimension("bay/span"), dimension("bay/washer/thickness")],
//! };
//! // Tolerances stand for three standard deviations; half the tolerance costs twice as much.
//! let input = |nominal: f64, tol: f64| Input {
//!     nominal,
//!     limits: Some(Limits { lower: nominal - tol, upper: nominal + tol }),
//!     distribution: Distribution::Normal { mean: nominal, sd: tol / 3.0 },
//!     lot: None,
//!     cost: Some(Cost::Power { fixed: 0.0, scale: 0.05, exponent: 1.0 }),
//! };
//! let stack = Stack {
//!     pack,
//!     inputs: vec![input(10.0, 0.08), input(9.8, 0.06)],
//!     lots: vec![],
//!     correlations: vec![],
//!     requirements: vec![Requirement {
//!         name: "play".into(),
//!         quantity: Quantity::Play { bay: 0 },
//!         condition: 0,
//!         lower: Some(0.05),
//!         upper: Some(0.35),
//!         target: None,
//!         max_out: 0.0027,
//!     }],
//! };
//! let play = &analyse(&stack, &Options::default(), &Silent)?.requirements[0];
//! // √(0.08² + 0.06²)/3, and 0.08 + 0.06 to either side.
//! assert!((play.root_sum_square.unwrap().sd - 0.1 / 3.0).abs() < 1e-9);
//! assert!((play.worst_case.min.unwrap() - 0.06).abs() < 1e-9);
//! // Both cost alike, so both get the same: 0.15 mm of play are 3 sd.
//! let tolerances = allocate(&stack, &AllocateOptions::default(), &Silent)?.dimensions;
//! assert!((tolerances[0].tol - tolerances[1].tol).abs() < 1e-3);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![allow(
    clippy::inline_always,
    reason = "what is to run in wider vector registers must be inlined into the code that asks for them"
)]

mod allocate;
mod analyse;
mod any_outside;
mod capability;
mod distribution;
mod error;
mod exact;
mod few_readings;
mod first_order;
mod interval;
mod judgement;
mod method;
mod model;
mod monte_carlo;
mod options;
mod pack_model;
mod population;
mod questions;
mod rare;
#[cfg(test)]
mod reference;
mod requirement_inputs;
mod result;
mod shard;
mod sobol_indices;
mod stack;
mod union;
mod warning;
mod worst_case;

pub use allocate::{
    AllocateError, AllocateOptions, Allocated, Allocation, AtBound, Grade, GradeError, Optimum, allocate,
};
pub use analyse::{analyse, analyse_parts};
pub use capability::capability;
pub use distribution::{Distribution, DistributionError, Limits};
pub use error::SpreadError;
pub use exact::{Exact, NotExact};
pub use first_order::{FirstOrder, first_order};
pub use interval::estimate_interval;
pub use judgement::judge;
pub use method::{Method, MethodChoice};
pub use model::{BlockMargins, Columns, Function, Linear, Margins, Model, ModelError, Plane, Responses, middle};
pub use monte_carlo::{Bounds, DEFAULT_TRIALS, MOST_TRIALS, MonteCarlo, Partial, PartialState, Reached, blocks_of};
pub use options::{Options, Progress, Silent};
pub use pack_model::PackModel;
pub use population::{Population, Sampler, Variable};
pub use rare::FellBack;
pub use result::{
    Accuracy, Answer, Capability, CapabilityForm, Change, Contributor, Estimate, Failed, Histogram, Joint,
    QUANTILE_ORDERS, Quantile, Questions, RequirementResult, RootSumSquare, Run, Share, Source, Spread, StackResult,
    Together, WorstCase,
};
pub use shard::{Shard, part_of};
pub use sobol_indices::{Indices, sobol_indices};
pub use stack::{Correlation, Cost, Input, Lot, Requirement, Stack};
pub use warning::Warning;
pub use worst_case::{LimitBox, worst_case};
