//! The mechanical model of a rocker-shaft pack: bays, parts, spring washers, contact.
//!
//! Everything here is deterministic: a [`Pack`] and one vector of dimension values give the preload of a bay, the contact
//! offset of a valve, and the other [`Quantity`]s. This crate knows nothing of randomness (that is `packdrift-spread`) and
//! nothing of files (that is `packdrift-records`).
//!
//! Lengths are in mm, loads in N, stresses in MPa, temperatures in °C, expansion coefficients in 1/K.

mod model;
mod quantity;

pub use model::{
    Bay, Condition, Contact, Dimension, DimensionId, Elastic, LoadTable, Pack, Part, PartKind, SolidKind, SpringLaw,
    SpringWasher, Valve,
};
pub use quantity::{Outcome, Quantity, QuantityKind};
