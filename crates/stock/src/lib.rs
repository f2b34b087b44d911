//! Picking shims from the drawer, and which to hold.
//!
//! [`Bench`] is the mechanic's side: the best builds for a rocker from the pieces in the drawer. [`Demand`], [`Coverage`] and
//! [`Replenishment`] are the engineer's: which sizes to hold for a fleet, and how many of each. This crate knows nothing of files and prints
//! nothing.

mod beliefs;
mod bench;
mod chance;
mod drawer;
mod error;
mod forecast;
mod layout;
mod objective;
mod prior;
mod rebuild;
mod response;
mod search;
mod stocking;

pub use beliefs::Surprise;
pub use bench::{
    After, Assembled, Assumptions, Bench, Build, Candidate, Compared, Learned, MeasureFirst, Measured, Missing,
    Options, Origin, Place, PlacedPiece, Proposal, TakenOut, Warning,
};
pub use drawer::{PacketScatter, Piece};
pub use error::StockError;
pub use forecast::{Expectation, Forecast};
pub use layout::MOST_IN_A_PLACE;
pub use objective::Weights;
pub use stocking::{
    Assortment, Corrections, Coverage, Demand, Frame, Held, Job, Levels, MOST_SIZES, Ordering, Plan, PlanOptions,
    Replenishment, Service, Share, Shortage, Side, SimulationOptions, Size, Sorting, SortingOptions, Stream,
    catalogue_of, plan, policy, worth_of_sorting,
};
