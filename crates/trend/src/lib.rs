//! Wear models over recorded inspections, forecasts, due dates.
//!
//! The input is a columnar [`Inspections`] table and a [`Policy`]; files are read by `packdrift-records`.

mod inspections;
mod policy;

pub use inspections::Inspections;
pub use policy::{Costs, FeatureLimits, Policy, Window};
