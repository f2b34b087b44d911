//! Every valve in the page: a table to sort and filter, and the numbers that a valve's chart is drawn from when it is asked for.

use super::{order, text};
use crate::table::Table;
use crate::working::{Charts, Sift, numbers, short};
use maud::{Markup, html};
use packdrift_trend::{FeatureResult, Policy, TrendResult, ValveForecast};
use serde::Serialize;

/// Heading and, as its slug, id of the section.
pub(super) const HEADING: &str = "Every valve";

/// The charts of one feature, in the order of the table's rows.
#[derive(Serialize)]
struct Drawing {
    /// Hours; 0 without a policy.
    horizon: f64,
    lower: Option<f64>,
    upper: Option<f64>,
    valves: Vec<Option<Valve>>,
}

/// What a chart shows of one valve.
#[derive(Serialize)]
struct Valve {
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

/// See [`Valve::series`].
type Point = (Option<i64>, Option<i32>, Option<f64>, u8, u32);

/// See [`Valve::band`].
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

impl Valve {
    /// None where there is nothing to draw, or something that is no number.
    fn new(v: &ValveForecast) -> Option<Self> {
        if v.series.is_empty() || v.band.is_empty() || v.series.iter().any(|p| !(p.value + p.hours).is_finite()) {
            return None;
        }
        let kind = |p: &packdrift_trend::SeriesPoint| match (p.doubted, p.segment == v.segment) {
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
            now: hour(v.hours),
            start: hour(v.segment_start),
            crossing: [c.p05, c.p50, c.p95].map(|h| h.and_then(hour)),
            towards: v.drifting_to.map_or("", packdrift_trend::Limit::name),
            series: v.series.iter().map(|p| (hour(p.hours), p.day, short(p.value), kind(p), p.segment)).collect(),
            band,
        })
    }
}

/// The tables, and the numbers for the charts.
pub(super) fn valves(result: &TrendResult, policy: Option<&Policy>) -> Markup {
    html! {
        p.sifting {
            "Sort by a column's head, choose rows above the table, and press a valve's name to draw its readings: those that no chart above shows are drawn from \
             the numbers in this page. A printed page holds the rows that were chosen."
        }
        @for (k, feature) in result.features.iter().enumerate().filter(|(_, f)| !f.valves.is_empty()) {
            h3 { (order::title(feature)) }
            (one(k, feature, policy))
        }
    }
}

fn one(k: usize, feature: &FeatureResult, policy: Option<&Policy>) -> Markup {
    let ranked = order::ranked(feature);
    let table = Table {
        caption: format!("Every valve, {}, the most urgent first", order::title(feature)),
        name: format!("every-valve-{k}"),
        ..text::valve_table(&ranked, policy)
    };
    let valves: Vec<Option<Valve>> = ranked.iter().map(|r| Valve::new(r.valve)).collect();
    let id = format!("charts-{k}");
    let (title, unit) = (order::title(feature), order::unit(feature));
    let charts = valves.iter().any(Option::is_some).then_some(Charts { id: &id, feature: &title, unit });
    let limits = feature.limits.as_ref();
    let drawing = Drawing {
        horizon: policy.map_or(0.0, |p| p.horizon),
        lower: limits.and_then(|l| l.lower),
        upper: limits.and_then(|l| l.upper),
        valves,
    };
    html! {
        (table.sifted(Sift { choose: &["status", "engine", "valve", "towards"], charts }))
        @if charts.is_some() { (numbers(&id, &drawing)) }
    }
}
