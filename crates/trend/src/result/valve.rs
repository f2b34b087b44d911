//! Forecasts: of each valve, and of a valve that begins now.

use crate::crossing::{CrossingHours, Prospect};
use crate::verdict::{NewestReading, Status, ValveVerdict};

/// Which limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Limit {
    /// Below it is the damage zone.
    Lower,
    /// Above it is the damage zone.
    Upper,
}

impl Limit {
    /// `lower` or `upper`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Lower => "lower",
            Self::Upper => "upper",
        }
    }
}

/// A reading as the figures show it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeriesPoint {
    /// Meter hours.
    pub hours: f64,
    /// Days since 1970-01-01; None where the source has no dates.
    pub day: Option<i32>,
    /// The reading.
    pub value: f64,
    /// Weight of the reading: 1 at its word, near 0 suspected. 0: left out (faulty day).
    pub weight: f64,
    /// Listed among the readings to check, and crossed out in figures: it does not fit its valve, or its whole day was set aside.
    pub doubted: bool,
    /// Segment it belongs to, 1-based.
    pub segment: u32,
    /// Line of the file, or 1-based row.
    pub line: u32,
}

/// Fitted line and bands at one meter hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandPoint {
    /// Meter hours.
    pub hours: f64,
    /// Best linear unbiased prediction of the true value.
    pub fit: f64,
    /// 95 % band of the true value.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// 95 % band of a reading.
    pub reading_low: f64,
    /// Its upper end.
    pub reading_high: f64,
}

/// The future of a valve of a group that begins a segment now and has not been read.
#[derive(Debug, Clone, PartialEq)]
pub struct FleetProspect {
    /// Group name; empty where there are none, or where all share one line.
    pub group: String,
    /// Its future from 0 hours of the segment.
    pub prospect: Prospect,
    /// The same future by points that are each one draw of the fleet's parameters, mean line included, where [`Self::prospect`] averages over
    /// the mean line's error: what differs between its points is what the readings do not tell of the fleet. The draws of one feature's groups
    /// go together.
    pub drawn: Prospect,
}

/// Forecast of one valve, from its current (last) segment.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveForecast {
    /// Index into the inspections' `valves`.
    pub valve_index: u32,
    /// Engine name.
    pub engine: String,
    /// Valve name.
    pub valve: String,
    /// Group name; empty for none.
    pub group: String,
    /// Current segment, 1-based.
    pub segment: u32,
    /// Readings in the current segment.
    pub readings: usize,
    /// Meter hours at the last reading, at which [`Self::level`] and [`Self::slope`] hold.
    pub hours: f64,
    /// The day of the answer, since 1970-01-01: "now" of the chances and of the status. None: they are as of the last reading.
    pub today: Option<i32>,
    /// Hours that its engine is expected to have run since that reading, by the day of the answer.
    pub since_read: f64,
    /// Hours a week that its engine runs: by the policy for this engine, by its meter, or by the policy's default, in this order; None where
    /// none of them tells.
    pub hours_a_week: Option<f64>,
    /// Meter hours at which the segment began.
    pub segment_start: f64,
    /// True value at the last reading, best linear unbiased prediction; not a number where nothing could be fitted.
    pub level: f64,
    /// Its standard error, mean line's uncertainty included, fitted variances taken at their word.
    pub level_se: f64,
    /// Slope there, per hour.
    pub slope: f64,
    /// Its standard error.
    pub slope_se: f64,
    /// Covariance of the errors of level and slope.
    pub level_slope_cov: f64,
    /// The limit its slope points at; None without such a limit.
    pub drifting_to: Option<Limit>,
    /// When it enters the damage zone. All None without limits.
    pub crossing_hours: CrossingHours,
    /// Chance of being in the damage zone now; None without limits.
    pub chance_now: Option<f64>,
    /// Chance of being in the damage zone now or at some time within the horizon; None without limits.
    pub chance_by_horizon: Option<f64>,
    /// By the policy; None without limits. [`Self::verdict`] says why.
    pub status: Option<Status>,
    /// The status with its reasons, and each answer where something is doubted; None without limits.
    pub verdict: Option<ValveVerdict>,
    /// The newest reading; None where readings are not at hand (a table of sums).
    pub newest: Option<NewestReading>,
    /// The same future at any hour ahead, for planning.
    pub prospect: Prospect,
    /// All readings of the valve, earlier segments included; empty for large fleets.
    pub series: Vec<SeriesPoint>,
    /// Current segment's line and bands, from its start to past the horizon; empty for large fleets.
    pub band: Vec<BandPoint>,
}
