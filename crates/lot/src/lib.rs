//! Supplier lots, gauge studies, sampling plans.

mod readings;

pub use readings::{Drawing, Readings};
