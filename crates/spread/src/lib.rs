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
//! use packdrift_spread::{AllocateOptions, Cost, Known, Options, Require, Silent, StackBuilder, allocate, analyse};
//!
//! // Tolerances stand for three standard deviations; half the tolerance costs twice as much.
//! let priced = |nominal, tol| {
//!     Known::toleranced(nominal, tol).at_cost(Cost::Power { fixed: 0.0, scale: 0.05, exponent: 1.0 })
//! };
//! let stack = StackBuilder::new("one washer")
//!     .bay("bay", priced(10.0, 0.08), |bay| bay.washer("washer", priced(9.8, 0.06)))
//!     .require(Require::play("bay").between(0.05, 0.35))
//!     .build()?;
//! let play = &analyse(&stack, &Options::default(), &Silent)?.requirements[0];
//! // √(0.08² + 0.06²)/3, and 0.08 + 0.06 to either side.
//! assert!((play.root_sum_square.unwrap().sd - 0.1 / 3.0).abs() < 1e-9);
//! assert!((play.worst_case.min.unwrap() - 0.06).abs() < 1e-9);
//! // Both cost alike, so both get the same: 0.15 mm of play are 3 sd.
//! let tolerances = allocate(&stack, &AllocateOptions::default(), &Silent)?.dimensions;
//! assert!((tolerances[0].tol - tolerances[1].tol).abs() < 1e-3);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Where things are: [`StackBuilder`] makes a [`Stack`]; [`analyse()`] answers with a [`StackResult`], one [`RequirementResult`] each;
//! [`allocate()`] with an [`Allocation`]; [`MonteCarlo`], [`Exact`], [`first_order()`], [`worst_case()`] and [`sobol_indices()`] are the methods
//! by themselves, over any [`Model`].

#![allow(
    clippy::inline_always,
    reason = "what is to run in wider vector registers must be inlined into the code that asks for them"
)]

mod allocate;
mod analyse;
mod any_outside;
mod build;
mod capability;
mod distribution;
mod error;
mod exact;
mod few_readings;
mod first_order;
mod inches;
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
pub use analyse::{NeverBinds, analyse, analyse_parts, never_binding};
pub use build::{
    BayBuilder, BuildError, BuildErrors, ContactForm, Known, Require, SpringForm, SpringPart, StackBuilder,
};
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
    Accuracy, Answer, Capability, CapabilityForm, Change, Contributor, Estimate, Failed, Histogram, Joint, LimitShare,
    MovedLimits, QUANTILE_ORDERS, Quantile, Questions, RequirementResult, RootSumSquare, Run, Share, Source, Spread,
    StackResult, Together, WorstCase,
};
pub use shard::{Shard, part_of};
pub use sobol_indices::{Indices, sobol_indices};
pub use stack::{Correlation, Cost, Input, Lot, MAX_OUT, Requirement, Stack};
pub use warning::Warning;
pub use worst_case::{LimitBox, worst_case};
