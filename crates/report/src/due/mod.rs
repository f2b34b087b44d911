//! The plan of a fleet: who is due when, in which service window, with which corrections and parts, when to look next, and what comes of
//! doing nothing or of other decisions.
//!
//! Every listing puts the overdue first, then the late, then the earliest latest day.

mod again;
mod answer;
mod cards;
mod every;
mod icalendar;
mod interval;
mod json;
mod outlook;
mod page;
mod scenarios;
mod tables;
mod text;
mod timeline;
mod words;

pub use cards::{ColdLimits, job_cards};
pub use icalendar::icalendar;
pub use json::json;
pub use page::page;
pub use tables::tables;
pub use text::text;

use crate::figure::{Error, Figure, unique};
use packdrift_due::{Comparison, DueResult};
use packdrift_trend::TrendResult;

/// A plan, and what it is compared with.
#[derive(Debug, Clone, Copy)]
pub struct Planned<'a> {
    /// Today's plan.
    pub result: &'a DueResult,
    /// The scenarios beside it; None where none was asked for.
    pub comparison: Option<&'a Comparison>,
    /// The forecasts that it stands on, with readings and bands; without them the page draws no valve.
    pub forecasts: Option<&'a TrendResult>,
}

impl<'a> Planned<'a> {
    /// A plan alone.
    pub fn alone(result: &'a DueResult) -> Self {
        Self { result, comparison: None, forecasts: None }
    }
}

/// Everything that is drawn: the timeline, the months to come, and the cost of each interval where costs are given.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(planned: Planned<'_>) -> Result<Vec<Figure>, Error> {
    let result = planned.result;
    let mut figures = Vec::new();
    figures.extend(timeline::figure(result)?);
    figures.extend(outlook::figure(result)?);
    for interval in &result.intervals {
        figures.push(interval::figure(interval, result)?);
    }
    unique(&mut figures.iter_mut().collect::<Vec<_>>());
    Ok(figures)
}
