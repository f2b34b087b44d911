//! Figures, text, JSON and the HTML report: all rendering of results, and no computing of them.
//!
//! One folder a subject ([`stack`], [`trend`], …), each giving `text` for the terminal, `json` for programs, `tables` for
//! CSV and spreadsheets, `figures` as SVG and `page` as one self-contained HTML file, over shared pieces: [`number`] rounds
//! to the uncertainty, [`table`] and [`text`] lay out, [`figure`] draws, [`page`] joins. Every function is pure: results in,
//! strings out; the command line decides where they go.
//!
//! This crate computes no statistic: a number that is not in a result is not shown.

pub mod allocate;
pub mod bay;
pub mod calendar;
pub mod check;
mod converted;
pub mod due;
pub mod envelope;
pub mod figure;
pub mod gauge;
mod grid;
mod lengths;
pub mod lot;
pub mod number;
pub mod page;
pub mod policy;
mod printed;
pub mod sampling;
pub mod shim;
pub mod stack;
pub mod stocking;
pub mod table;
pub mod text;
pub mod tour;
pub mod trend;
mod working;

pub use envelope::Envelope;
pub use figure::{Error, Figure};
pub use lengths::Lengths;
pub use table::Table;
