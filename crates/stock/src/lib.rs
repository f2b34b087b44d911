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
//! use packdrift_pack::{
//!     Bay, Condition, Dimension, DimensionId, Pack, Part, PartKind, Quantity, SolidKind, SpringLaw, SpringWasher, Valve,
//! };
//! use packdrift_spread::{Distribution, Input, Requirement, Stack};
//! use packdrift_stock::{Assumptions, Bench, Measured, Options, Piece};
//!
//! let values = [
//!     ("bay/span", "mm", 27.97),
//!     ("bay/rocker/width", "mm", 24.0),
//!     ("bay/rocker/adjuster", "mm", 11.0),
//!     ("bay/exhaust/stem", "mm", 10.45),
//!     ("bay/inner/thickness", "mm", 0.969),
//!     ("bay/outer/thickness", "mm", 1.001),
//!     ("bay/spring/rate", "N/mm", 150.0),
//!     ("bay/spring/free_height", "mm", 2.70),
//! ];
//! let input = |nominal: f64| Input {
//!     nominal,
//!     limits: None,
//!     distribution: Distribution::Normal { mean: nominal, sd: 0.002 },
//!     lot: None,
//!     cost: None,
//! };
//! let part = |name: &str, kind| Part { name: name.into(), kind, expansion: 11.5e-6 };
//! let washer = |k| PartKind::Solid { kind: SolidKind::Washer, thickness: DimensionId(k), bedding: None };
//! let law = SpringLaw::Linear { rate: DimensionId(6), free_height: DimensionId(7), solid_height: None };
//! let limits = |name: &str, quantity, lower, upper| Requirement {
//!     name: name.into(),
//!     quantity,
//!     condition: 0,
//!     lower: Some(lower),
//!     upper: Some(upper),
//!     target: None,
//!     max_out: 0.01,
//! };
//! let stack = Stack {
//!     pack: Pack {
//!         title: "one rocker".into(),
//!         reference_temperature: 20.0,
//!         conditions: vec![Condition { name: "assembly".into(), temperature: 20.0 }],
//!         bays: vec![Bay {
//!             name: "bay".into(),
//!             span: DimensionId(0),
//!             expansion: 11.5e-6,
//!             parts: vec![
//!                 part("rocker", PartKind::Rocker { width: DimensionId(1), adjuster: DimensionId(2) }),
//!                 part("inner", washer(4)),
//!                 part("spring", PartKind::Spring(SpringWasher { law, friction: None, set: None })),
//!                 part("outer", washer(5)),
//!             ],
//!             valves: vec![Valve { name: "exhaust".into(), rocker: 0, stem: DimensionId(3), contact: None }],
//!         }],
//!         dimensions: values.iter().map(|(path, unit, _)| Dimension { path: (*path).into(), unit }).collect(),
//!     },
//!     inputs: values.iter().map(|(_, _, value)| input(*value)).collect(),
//!     lots: vec![],
//!     correlations: vec![],
//!     requirements: vec![
//!         limits("offset", Quantity::Offset { bay: 0, valve: 0 }, 0.85, 1.05),
//!         limits("preload", Quantity::Preload { bay: 0 }, 75.0, 145.0),
//!     ],
//! };
//! let piece = |name: &str, thickness: f64| Piece {
//!     name: name.into(),
//!     thickness,
//!     u: Some(0.002),
//!     size: None,
//!     count: 1,
//!     cost: None,
//!     lead_days: None,
//! };
//! let measured = [Measured::read("exhaust", 0.55, 0.01)];
//! let drawer = [piece("A", 0.411), piece("B", 0.822), piece("C", 0.822)];
//! let best = &Bench::new(&stack, &measured, &drawer, Assumptions::default())?.propose(&Options::default())?.builds[0];
//! assert_eq!(best.places[0].pieces[0].name, "A");
//! assert!((best.sum - 2.055).abs() < 1e-9 && (best.old_sum - 1.970).abs() < 1e-9);
//! # Ok::<(), packdrift_stock::StockError>(())
//! ```

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
    Acceptance, After, Assembled, Assumptions, Bench, Build, Candidate, Compared, Doubt, GAUGE_DOUBT, Learned, Made,
    MeasureFirst, Measured, Missing, Options, Origin, Place, PlacedPiece, Proposal, RoundResult, Rounds, TakenOut,
    Warning,
};
pub use drawer::{PacketScatter, Piece, question_the_unit};
pub use error::StockError;
pub use forecast::{Expectation, Forecast, OtherRocker};
pub use layout::MOST_IN_A_PLACE;
pub use objective::Weights;
pub use stocking::{
    Assortment, Corrections, Coverage, Demand, GradeWorth, Held, Job, Levels, MOST_SIZES, Ordering, Plan, PlanOptions,
    Replenishment, Service, Share, Shortage, SimulationOptions, Size, Sorting, SortingOptions, StockingBay, Stream,
    catalogue_of, plan, policy, question_the_corrections, worth_of_sorting,
};
