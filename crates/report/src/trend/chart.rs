//! The numbers that a valve's chart is drawn from when it is asked for: its readings, the fit and its bands, the crossing.

use crate::working::short;
use packdrift_trend::{FeatureResult, SeriesPoint, ValveForecast};
use serde::Serialize;

/// Charts of a table's rows; names and units stand in the table, where they are escaped.
#[derive(Serialize)]
pub(crate) struct Charts {
    /// Hours; 0 without a policy.
    pub(crate) horizon: f64,
    /// Lower and upper limit of each feature.
    pub(crate) limits: Vec<(Option<f64>, Option<f64>)>,
    /// In the order of the rows.
    pub(crate) valves: Vec<Option<Chart>>,
}

impl Charts {
    /// The limits of features, in their order.
    pub(crate) fn limits(features: &[FeatureResult]) -> Vec<(Option<f64>, Option<f64>)> {
        let limits = |f: &FeatureResult| f.limits.as_ref().map_or((None, None), |l| (l.lower, l.upper));
        features.iter().map(limits).collect()
    }

    /// Whether any can be drawn.
    pub(crate) fn any(&self) -> bool {
        self.valves.iter().any(Option::is_some)
    }
}

/// What a chart shows of one valve.
#[derive(Serialize)]
pub(crate) struct Chart {
    /// Which of the features: left out for the first, which most tables have alone.
    #[serde(skip_serializing_if = "is_first")]
    of: usize,
    /// Meter at the last reading, h.
    now: Option<i64>,
    /// Meter at the segment's start, h.
    start: Option<i64>,
    /// Meter at which the limit is reached, h: early, middle, late.
    crossing: [Option<i64>; 3],
    /// The limit it drifts to.
    towards: &'static str,
    /// Meter, day, reading, kind (0 of this segment, 1 of an earlier one, 2 of little weight), segment.
    series: Vec<Point>,
    /// Meter, fit, half the band of the true value, half the band of a reading.
    band: Vec<Band>,
}

/// See [`Chart::series`].
type Point = (Option<i64>, Option<i32>, Option<f64>, u8, u32);

/// See [`Chart::band`].
type Band = (Option<i64>, Option<f64>, Option<f64>, Option<f64>);

/// Points of a band that a chart is drawn through, at most: the band bends little.
const BAND: usize = 18;

/// Whole hours: less than a pixel.
fn hour(hours: f64) -> Option<i64> {
    hours.is_finite().then(|| hours.round() as i64)
}

/// Half a band, to three digits.
fn half(from: f64, to: f64) -> Option<f64> {
    let half = 0.5 * (to - from);
    half.is_finite().then(|| format!("{half:.2e}").parse().ok()).flatten()
}

/// See [`Chart::of`].
fn is_first(of: &usize) -> bool {
    *of == 0
}

impl Chart {
    /// None where there is nothing to draw, or something that is no number.
    pub(crate) fn new(of: usize, v: &ValveForecast) -> Option<Self> {
        if v.series.is_empty() || v.band.is_empty() || v.series.iter().any(|p| !(p.value + p.hours).is_finite()) {
            return None;
        }
        let kind = |p: &SeriesPoint| match (p.doubted, p.segment == v.segment) {
            (true, _) => 2,
            (false, true) => 0,
            (false, false) => 1,
        };
        let last = v.band.len().saturating_sub(1);
        let step = v.band.len().div_ceil(BAND);
        let band = v
            .band
            .iter()
            .enumerate()
            .filter(|(k, b)| {
                let finite = (b.hours + b.fit + b.low + b.high + b.reading_low + b.reading_high).is_finite();
                finite && (k % step == 0 || *k == last)
            })
            .map(|(_, b)| (hour(b.hours), short(b.fit), half(b.low, b.high), half(b.reading_low, b.reading_high)))
            .collect();
        let c = v.crossing_hours;
        Some(Self {
            of,
            now: hour(v.hours),
            start: hour(v.segment_start),
            crossing: [c.p05, c.p50, c.p95].map(|h| h.and_then(hour)),
            towards: v.drifting_to.map_or("", packdrift_trend::Limit::name),
            series: v.series.iter().map(|p| (hour(p.hours), p.day, short(p.value), kind(p), p.segment)).collect(),
            band,
        })
    }
}
