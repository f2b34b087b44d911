//! Picking shims from the drawer, and which to hold.
//!
//! [`Bench`] is the mechanic's side: the best builds for a rocker from the pieces in the drawer. [`Demand`], [`Coverage`] and
//! [`Replenishment`] are the engineer's: which sizes to hold for a fleet, and how many of each. This crate knows nothing of files and prints
//! nothing.
//!
//! # Examples
//! A rocker against its left face, two washers beside its spring washer; its adjuster has to move by 0.4 mm. The thin piece goes to its
//! left, the pair is replaced by thinner ones:
//! ```
//! use packdrift_spread::{Known, Require, SpringForm, StackBuilder};
//! use packdrift_stock::{Assumptions, Bench, Measured, Options, Piece};
//!
//! // A micrometer read every part: each is known to 0.002 mm.
//! let read = |value| Known::normal(value, 0.002);
//! let spring = SpringForm::Linear { rate: read(150.0), free_height: read(2.70) };
//! let stack = StackBuilder::new("one rocker")
//!     .bay("bay", read(27.97), |bay| {
//!         bay.rocker("rocker", read(24.0), read(11.0))
//!             .washer("inner", read(0.969))
//!             .spring("spring", spring)
//!             .washer("outer", read(1.001))
//!             .valve("exhaust", "rocker", read(10.45))
//!     })
//!     .require(Require::offset("exhaust").between(0.85, 1.05).max_out(0.01))
//!     .require(Require::preload("bay").between(75.0, 145.0).max_out(0.01))
//!     .build()?;
//! let measured = [Measured::read("exhaust", 0.55, 0.01)];
//! let drawer = [("A", 0.411), ("B", 0.822), ("C", 0.822)].map(|(name, mm)| Piece::measured(name, mm, 0.002));
//! let best = &Bench::new(&stack, &measured, &drawer, Assumptions::default())?.propose(&Options::default())?.builds[0];
//! assert_eq!(best.places[0].pieces[0].name, "A");
//! assert!((best.sum - 2.055).abs() < 1e-9 && (best.old_sum - 1.970).abs() < 1e-9);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Where things are: [`Bench::propose`] answers with a [`Proposal`] of [`Build`]s; after the build [`Bench`] takes its [`Measured`]
//! readings and says how far it came ([`RoundResult`]). [`plan()`] and the module [`policy`] say which [`Size`]s to hold.

mod beliefs;
mod bench;
mod chance;
mod drawer;
mod error;
mod fitting;
mod forecast;
mod layout;
mod load;
mod objective;
mod prior;
mod rebuild;
mod response;
mod search;
mod stocking;

pub use beliefs::Surprise;
pub use bench::{
    Acceptance, After, Assembled, Assumptions, Bench, Build, Candidate, Compared, Doubt, GAUGE_DOUBT, Learned, Made,
    MeanReading, MeasureFirst, Measured, Missing, Options, Origin, Place, PlacedPiece, Proposal, RoundResult, Rounds,
    TakenOut, Warning,
};
pub use drawer::{PacketScatter, Piece, question_the_unit};
pub use error::StockError;
pub use fitting::{
    AtHand, Chosen, Deviations, Doubts, DrawnPiece, FittingBay, Judge, Judged, Knowledge, MOST_ADDED, Scatter,
    Workspace, ZoneOptions,
};
pub use forecast::{Expectation, Forecast, OtherRocker};
pub use layout::MOST_IN_A_PLACE;
pub use objective::Weights;
pub use stocking::{
    Assortment, Corrections, Coverage, Demand, GradeWorth, Held, Job, Levels, MOST_SIZES, Ordering, Plan, PlanOptions,
    Replenishment, Service, Share, Shortage, SimulationOptions, Size, Sorting, SortingOptions, StockingBay, Stream,
    catalogue_of, plan, plan_watched, policy, question_the_corrections, worth_of_sorting,
};
