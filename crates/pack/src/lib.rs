//! The mechanical model of a rocker-shaft pack: bays, parts, spring washers, contact.
//!
//! Everything here is deterministic: a [`Pack`] and one vector of dimension values give the preload of a bay, the contact
//! offset of a valve, and the other [`Quantity`]s. This crate knows nothing of randomness (that is `packdrift-spread`) and
//! nothing of files (that is `packdrift-records`).
//!
//! Lengths are in mm, loads in N, stresses in MPa, temperatures in °C, expansion coefficients in 1/K.

#![allow(
    clippy::inline_always,
    reason = "what is to run in wider vector registers must be inlined into the code that asks for them"
)]

mod as_drawn;
mod contact;
mod equilibrium;
mod error;
mod evaluate;
mod gradient;
mod linear;
mod lookup;
mod model;
mod monotone;
mod plan;
mod quantity;
mod spring;
mod stress;
mod unsettled;
mod validate;
mod warning;

pub use as_drawn::{AsDrawn, OffsetAsDrawn};
pub use contact::{Hertz, contact_modulus, hertz, worn_flat_radius, worn_patch_radius};
pub use equilibrium::{CannotAssemble, Equilibrium, SpringState};
pub use error::{PackError, QuantityError};
pub use linear::LinearForm;
pub use lookup::QuantitySubject;
pub use model::{
    Bay, Condition, Contact, Dimension, DimensionId, Elastic, LoadTable, Pack, Part, PartKind, REFERENCE_TEMPERATURE,
    STEEL_EXPANSION, SolidKind, SpringLaw, SpringWasher, Valve,
};
pub use monotone::Monotone;
pub use plan::{Block, Margins, Plan, Query};
pub use quantity::{Outcome, Quantity, QuantityKind};
pub use spring::curved::{rate as curved_rate, stress as curved_stress};
pub use spring::disc;
pub use spring::wave::{WAVE_FACTOR_ELSEWHERE, rate as wave_rate, stress as wave_stress, wave_factor};
pub use stress::StressPoint;
pub use unsettled::UnsettledLoad;
pub use warning::PackWarning;
