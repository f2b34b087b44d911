//! Uncertainty carried through a pack: worst case, root-sum-square, Monte Carlo, exact, sensitivity, allocation.
//!
//! A [`Stack`] joins the mechanical model of `packdrift-pack` with what is known of each dimension. This crate knows
//! nothing of files and prints nothing.
//!
//! What is computed is carried through a [`Model`] (a function of input values) from a [`Population`] (the joint distribution of the
//! inputs), so the same code serves packs and published examples.

mod distribution;
mod error;
mod exact;
mod method;
mod model;
mod options;
mod population;
mod result;
mod stack;
mod warning;

pub use distribution::{Distribution, DistributionError, Limits};
pub use error::SpreadError;
pub use exact::{Exact, NotExact};
pub use method::{Method, MethodChoice};
pub use model::{Columns, Function, Linear, Model, ModelError, Plane, Responses, middle};
pub use options::{Options, Progress, Silent};
pub use population::{Population, Sampler, Variable};
pub use result::{
    Capability, CapabilityForm, Contributor, Estimate, Failed, Histogram, Joint, QUANTILE_ORDERS, Quantile,
    RequirementResult, RootSumSquare, Run, Share, Source, Spread, StackResult, WorstCase,
};
pub use stack::{Correlation, Cost, Input, Lot, Requirement, Stack};
pub use warning::Warning;
