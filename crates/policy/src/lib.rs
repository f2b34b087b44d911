//! Tolerances and drawer, priced together.
//!
//! In the shop every build is read and shimmed from the drawer. So a wide tolerance costs little where a piece is at hand that makes up
//! for it, and a finer ladder of sizes can stand for a dear grade. Here both are chosen at once: which tolerance to buy of each priced
//! dimension, which sizes to hold and how many of each, and whether their pieces are measured or come from tighter lots, so that builds
//! *after fitting* keep a ceiling of the share outside at the least cost. This crate knows nothing of files and prints nothing.
//!
//! # Examples
//! A rocker against its left face. Two grades of its stem, two of its shim, four sizes that could be held: few enough to try every choice.
//! ```
//! use packdrift_policy::{Asked, Effort, Prices, Question, Shop, choose_policy};
//! use packdrift_spread::{Cost, Known, Require, Silent, SpringForm, StackBuilder};
//! use packdrift_stock::Size;
//!
//! let graded = |nominal, tol, grades| Known::toleranced(nominal, tol).at_cost(Cost::Grades(grades));
//! let spring = SpringForm::Linear { rate: Known::exact(150.0), free_height: Known::exact(3.0) };
//! let stack = StackBuilder::new("one rocker")
//!     .bay("bay", Known::exact(28.0), |bay| {
//!         bay.shim("shim", graded(0.40, 0.015, vec![(0.006, 1.5), (0.015, 0.6)]))
//!             .rocker("rocker", Known::exact(24.0), Known::toleranced(11.0, 0.06))
//!             .spring("spring", spring)
//!             .washer("outer", Known::exact(1.0))
//!             .valve("exhaust", "rocker", graded(10.4, 0.12, vec![(0.05, 30.0), (0.30, 2.0)]))
//!     })
//!     .require(Require::offset("exhaust").between(0.90, 1.10).max_out(0.02))
//!     .require(Require::preload("bay").between(10.0, 176.0).max_out(0.02))
//!     .build()?;
//! let size = |thickness: f64| Size {
//!     name: format!("{thickness:.2}"),
//!     thickness,
//!     bias: 0.0,
//!     between: 0.004,
//!     within: 0.004,
//!     cost: 0.5,
//!     lead_days: 14.0,
//! };
//! let prices = Prices { minute: Some(0.8), read_minutes: Some(1.0), open_minutes: Some(4.0), ..Prices::default() };
//! let question =
//!     Question::new(&stack, &[0.2, 0.3, 0.5, 0.6].map(size), &prices, &Shop::default(), &Asked::default())?;
//! let effort = Effort { builds: 1024, final_builds: 8192, ..Effort::default() };
//! let policy = choose_policy(&question, &effort, &Silent)?;
//! // The dear stem is not bought: builds are fitted instead, and the ceiling is shown to be kept.
//! assert_eq!(policy.best.choice.levels[1], 1);
//! assert!(policy.best.choice.sizes != 0 && policy.best.bound <= 0.02);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
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
mod verdict;

pub use answer::{CurvePoint, Effort, Known, Policy, cheapest_choice, choose_policy, estimate_choice};
pub use assumptions::Otherwise;
pub use error::PolicyError;
pub use estimate::{Estimate, Figure, HeldSize, Parts};
pub use neighbours::{Alone, Decision, PriceChange};
pub use prices::Prices;
pub use question::{Asked, Choice, Level, Pieces, Priced, Question};
pub use shop::{CeilingFor, Measuring, Packets, Shop, Touched};
