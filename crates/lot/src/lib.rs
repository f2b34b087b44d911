//! Supplier lots, gauge studies, sampling plans: is this scatter acceptable, against the drawing and in the pack?
//!
//! [`study()`] answers for readings of one or many lots. The statistics it rests on are modules of their own, each usable alone.
//! Nothing here reads files or prints. Lengths are in mm.

pub mod bound;
pub mod capability;
pub mod chart;
pub mod components;
mod error;
pub mod gauge;
pub mod guard;
mod interval;
mod johnson;
mod least_squares;
pub mod outliers;
pub mod packets;
pub mod posterior;
mod readings;
mod sample;
pub mod sampling;
pub mod shape;
mod study;
mod tails;
pub mod tolerance;

pub use error::LotError;
pub use interval::Interval;
pub use johnson::Johnson;
pub use readings::{Drawing, Readings};
pub use sample::{Moments, quantile_of_sorted};
pub use study::{
    Basis, ChartScatter, Deviation, Doubt, Instrument, LotOptions, LotResult, LotStudy, LotWarning, MeasuredPart,
    OneSided, Order, Process, SetAside, SetAsideAnswer, ShapeKnowledge, ShareOutside, SizeGroup, Sorting,
    ToleranceIntervals, bound_over_shapes, study, study_setting_aside,
};
