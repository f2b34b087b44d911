//! The trend of a fleet: which valves drift to the damage zone, how fast, and when they get there.
//!
//! Every listing puts the most urgent first: by status, then by the chance within the horizon, then by the hour at which
//! the limit is reached with a chance of one half.

mod backtest;
pub(crate) mod chart;
mod every;
mod json;
mod order;
mod overview;
mod page;
mod tables;
mod text;
mod usage;
mod valve;

pub use json::{json, write_json};
pub use page::page;
pub use tables::tables;
pub use text::text;

pub(crate) use page::answer;

use crate::figure::{Error, Figure, unique};
use packdrift_trend::{Policy, TrendResult};

/// Valves drawn one by one; the rest are in the tables.
pub const DRAWN_VALVES: usize = 12;

/// Everything that is drawn: for each feature an overview of its valves, then the most urgent valves' readings, at most
/// [`DRAWN_VALVES`] of them.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(result: &TrendResult, policy: Option<&Policy>) -> Result<Vec<Figure>, Error> {
    let mut figures = Vec::new();
    for feature in &result.features {
        figures.extend(overview::figures(feature, policy)?);
        figures.extend(backtest::figures(feature)?);
    }
    for ranked in order::drawn(result) {
        figures.push(valve::figure(&ranked, policy)?);
    }
    unique(&mut figures.iter_mut().collect::<Vec<_>>());
    Ok(figures)
}

/// The hours left of the most urgent feature and its most urgent valve, for the tour.
pub(crate) fn highlights(result: &TrendResult, policy: Option<&Policy>) -> Result<Vec<Figure>, Error> {
    let mut figures = Vec::new();
    if let Some(first) = order::drawn(result).first() {
        figures.extend(overview::figures(first.feature, policy)?.into_iter().take(1));
        figures.push(valve::figure(first, policy)?);
    }
    Ok(figures)
}
