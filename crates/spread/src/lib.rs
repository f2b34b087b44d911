//! Uncertainty carried through a pack: worst case, root-sum-square, Monte Carlo, exact, sensitivity, allocation.
//!
//! A [`Stack`] joins the mechanical model of `packdrift-pack` with what is known of each dimension. This crate knows
//! nothing of files and prints nothing.
//!
//! What is computed is carried through a [`Model`] (a function of input values) from a [`Population`] (the joint distribution of the
//! inputs), so the same code serves packs and published examples.

mod allocate;
mod analyse;
mod capability;
mod distribution;
mod error;
mod exact;
mod first_order;
mod interval;
mod method;
mod model;
mod monte_carlo;
mod narrow;
mod options;
mod pack_model;
mod population;
mod questions;
mod rare;
#[cfg(test)]
mod reference;
mod result;
mod sobol_indices;
mod stack;
mod union;
mod warning;
mod worst_case;

pub use allocate::{
    AllocateError, AllocateOptions, Allocated, Allocation, AtBound, Grade, GradeError, Optimum, allocate,
};
pub use analyse::analyse;
pub use capability::capability;
pub use distribution::{Distribution, DistributionError, Limits};
pub use error::SpreadError;
pub use exact::{Exact, NotExact};
pub use first_order::{FirstOrder, first_order};
pub use interval::estimate_interval;
pub use method::{Method, MethodChoice};
pub use model::{Columns, Function, Linear, Margins, Model, ModelError, Plane, Responses, middle};
pub use monte_carlo::{Bounds, DEFAULT_TRIALS, MOST_TRIALS, MonteCarlo, Partial, PartialState, Reached, blocks_of};
pub use options::{Options, Progress, Silent};
pub use pack_model::PackModel;
pub use population::{Population, Sampler, Variable};
pub use rare::FellBack;
pub use result::{
    Answer, Capability, CapabilityForm, Change, Contributor, Estimate, Failed, Histogram, Joint, QUANTILE_ORDERS,
    Quantile, Questions, RequirementResult, RootSumSquare, Run, Share, Source, Spread, StackResult, Together,
    WorstCase,
};
pub use sobol_indices::{Indices, sobol_indices};
pub use stack::{Correlation, Cost, Input, Lot, Requirement, Stack};
pub use warning::Warning;
pub use worst_case::{LimitBox, worst_case};
