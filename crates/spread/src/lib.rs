//! Uncertainty carried through a pack: worst case, root-sum-square, Monte Carlo, exact, sensitivity, allocation.
//!
//! A [`Stack`] joins the mechanical model of `packdrift-pack` with what is known of each dimension. This crate knows
//! nothing of files and prints nothing.

mod distribution;
mod stack;

pub use distribution::{Distribution, Limits};
pub use stack::{Correlation, Cost, Input, Lot, Requirement, Stack};
