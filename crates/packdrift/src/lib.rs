//! Shim packs of rocker shafts: how preload and contact offset spread, how they drift, and which shims to fit.
//!
//! A pack, its spread, a trend of readings, a shim picked:
//! ```
//! use packdrift::prelude::*;
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let mm = Known::toleranced;
//! let spring = SpringForm::Linear { rate: Known::normal(150.0, 2.0), free_height: mm(2.70, 0.06) };
//! let pack = StackBuilder::new("one rocker")
//!     .bay("bay", mm(27.97, 0.06), |bay| {
//!         bay.rocker("rocker", mm(24.0, 0.03), mm(11.0, 0.06)).washer("inner", mm(0.97, 0.03)).spring("spring", spring)
//!             .washer("outer", mm(1.0, 0.03)).valve("exhaust", "rocker", mm(10.45, 0.06))
//!     })
//!     .require(Require::offset("exhaust").between(0.45, 0.65))
//!     .require(Require::preload("bay").between(75.0, 145.0))
//!     .build()?;
//! let spread = analyse(&pack, &StackOptions::default(), &Silent)?;
//! let _outside = spread.joint.as_ref().map(|joint| joint.out.value);
//!
//! let mut readings = InspectionsBuilder::new();
//! for (date, hours, value) in [("2024-05-01", 0.0, 0.55), ("2025-05-01", 900.0, 0.57), ("2026-05-01", 1800.0, 0.60)] {
//!     readings.push(Reading::new("P01", "exhaust", date, hours, "contact_offset", value))?;
//! }
//! let policy = Policy::new(0.05, 2000.0).limit("contact_offset", "mm", Some(0.45), Some(0.65));
//! let wear = trend(&readings.finish(), Some(&policy), &TrendOptions::default())?;
//!
//! let drawer = [Piece::measured("A", 0.822, 0.002), Piece::measured("B", 1.148, 0.002)];
//! let bench = Bench::new(&pack, &[Measured::read("exhaust", 0.70, 0.01)], &drawer, Assumptions::default())?;
//! let best = &bench.propose(&PickOptions::default())?.builds[0];
//! # assert!(spread.requirements.len() == 2 && wear.features.len() == 1 && !best.places.is_empty());
//! # Ok(())
//! # }
//! ```
//!
//! Where things are: [`pack`] mechanics, [`spread`] a stack's spread and its tolerances, [`lot`] supplier lots, gauges and sampling plans, [`lot_in_pack`] a lot in the
//! pack, [`trend`](mod@trend) wear and forecasts, [`due`](mod@due) when each engine needs work, [`bench`](mod@bench) shims to fit and to
//! hold, [`verdict`] the words that reassure. [`prelude`] brings what the example above uses, and their like.
//!
//! Lengths are in mm, loads in N, stresses in MPa, temperatures in °C, running hours in h. Nothing here reads files or prints; the program
//! `packdrift` does (`crates/cli`). A word such as *met* or *in window* is given by the rule of `docs/verdicts.md`: the bound, not the
//! estimate. What the results mean for an engine is for the maker's manual and for licensed practice to say.

/// The mechanics of a pack.
pub use packdrift_pack as pack;

/// Uncertainty through a pack: the builder, the spread, the tolerances of least cost.
pub use packdrift_spread as spread;

/// Supplier lots, gauge studies, sampling plans.
pub use packdrift_lot as lot;

/// A measured lot, or a gauge's error, in the pack.
pub use packdrift_lotpack as lot_in_pack;

/// Wear over recorded inspections, and forecasts.
pub use packdrift_trend as trend;

/// When each engine is due for work, in which window, with which parts.
pub use packdrift_due as due;

/// Which shims to fit now, and which to hold.
pub use packdrift_stock as bench;

/// Tolerances and drawer, priced together.
pub use packdrift_policy as policy;

/// The one type through which every reassuring word passes.
pub use packdrift_verdict as verdict;

/// What most programs need.
pub mod prelude {
    pub use packdrift_due::{DueOptions, due};
    pub use packdrift_lot::{Drawing, LotOptions, Readings, study};
    pub use packdrift_pack::{Elastic, LoadTable, Pack, Quantity, StressPoint};
    pub use packdrift_spread::Options as StackOptions;
    pub use packdrift_spread::{
        AllocateOptions, Cost, Distribution, Known, Method, MethodChoice, Progress, Require, Silent, SpringForm, Stack,
        StackBuilder, StackResult, allocate, analyse,
    };
    pub use packdrift_stock::Options as PickOptions;
    pub use packdrift_stock::{Assumptions, Bench, Measured, Piece};
    pub use packdrift_trend::Options as TrendOptions;
    pub use packdrift_trend::{
        FeatureLimits, Inspections, InspectionsBuilder, ModelChoice, Policy, Reading, Status, TrendResult, Window,
        trend,
    };
}
