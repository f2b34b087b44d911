//! Which sizes to hold, and how many of each, for a fleet.

mod assortment;
mod bay;
mod catalogue;
mod demand;
mod job;
mod plan;
pub mod policy;
mod replenishment;
mod sorting;

pub use assortment::{Assortment, Coverage};
pub use bay::StockingBay;
pub(crate) use bay::{Offsets, sums};
pub use catalogue::{MOST_SIZES, Size};
pub use demand::{Corrections, Demand, Job, Stream, question_the_corrections};
pub use plan::{Held, Ordering, Plan, PlanOptions, catalogue_of, plan, plan_watched};
pub use replenishment::{Levels, Replenishment, Service, Shortage, SimulationOptions};
pub use sorting::{GradeWorth, Share, Sorting, SortingOptions, worth_of_sorting};
