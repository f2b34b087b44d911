//! Tolerances and drawer, priced together.
//!
//! In the shop every build is read and shimmed from the drawer. So a wide tolerance costs little where a piece is at hand that makes up
//! for it, and a finer ladder of sizes can stand for a dear grade. Here both are chosen at once: which tolerance to buy of each priced
//! dimension, which sizes to hold and how many of each, and whether their pieces are measured or come from tighter lots, so that builds
//! *after fitting* keep a ceiling of the share outside at the least cost. This crate knows nothing of files and prints nothing.
//!
//! Map: [`Question`] what is given · [`Prices`] and [`Shop`] prices, times and assumptions · [`choose_policy`] the answer, a [`Policy`] of
//! [`Estimate`]s. Each build is fitted by [`packdrift_stock::FittingBay`].

mod answer;
mod assumptions;
mod bound;
#[cfg(test)]
mod decisions;
mod draws;
mod error;
mod estimate;
mod neighbours;
mod pick;
mod prices;
mod quantities;
mod question;
mod search;
mod shop;
mod simulate;

pub use answer::{CurvePoint, Effort, Known, Policy, choose_policy, estimate_choice};
pub use assumptions::Otherwise;
pub use error::PolicyError;
pub use estimate::{Estimate, Figure, HeldSize, Parts};
pub use neighbours::{Alone, Decision, PriceChange};
pub use prices::Prices;
pub use question::{Asked, Choice, Level, Pieces, Priced, Question};
pub use shop::{CeilingFor, Measuring, Packets, Shop, Touched};
