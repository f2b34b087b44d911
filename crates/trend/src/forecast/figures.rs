//! What figures draw of a valve: all its readings, and the fitted value with its bands.

use crate::crossing::Prospect;
use crate::families::Past;
use crate::inspections::Inspections;
use crate::result::{BandPoint, SeriesPoint, ValveForecast};
use crate::segments::{Segments, line_of};

/// Half-width of a 95 % band in standard deviations.
const BAND: f64 = 1.959_963_984_540_054;
/// Points of a band beyond the last reading.
const AHEAD: i32 = 16;

/// Fills in the valve's readings, each with its weight; returns its current segment. `from` is a segment not after the valve's first.
pub(crate) fn add_readings(
    valve: &mut ValveForecast,
    table: &Inspections,
    segments: &Segments,
    weights: &[f64],
    doubted: &[bool],
    from: usize,
) -> usize {
    // Segments of a valve stand together and the current one is last.
    let mut s = from;
    while segments.valve[s] != valve.valve_index {
        s += 1;
    }
    loop {
        for i in segments.range(s) {
            valve.series.push(SeriesPoint {
                hours: segments.origin[s] + segments.hours[i],
                day: Some(table.day[segments.row[i] as usize]),
                value: segments.value[i],
                weight: weights.get(i).copied().unwrap_or(1.0),
                doubted: doubted.get(i).copied().unwrap_or(false),
                segment: segments.number[s],
                line: line_of(table, segments.row[i]),
            });
        }
        if segments.current[s] {
            return s;
        }
        s += 1;
    }
}

/// The band over the current segment and on to past the horizon.
pub(crate) fn band(past: &[Past], prospect: &Prospect, origin: f64, last: f64, horizon: Option<f64>) -> Vec<BandPoint> {
    let reading = prospect.sd_reading();
    let mut out: Vec<BandPoint> = past.iter().map(|p| point(origin + p.hours, p.mean, p.sd, reading)).collect();
    let reach = horizon.map_or(0.5 * last, |h| 1.25 * h).max(1.0);
    for i in 1..=AHEAD {
        let ahead = reach * f64::from(i) / f64::from(AHEAD);
        let (mean, sd) = prospect.value_at(ahead);
        out.push(point(origin + last + ahead, mean, sd, reading));
    }
    out
}

/// A normal true value, and a reading's error beside it.
fn point(hours: f64, mean: f64, sd: f64, reading: f64) -> BandPoint {
    let wide = sd.hypot(reading);
    BandPoint {
        hours,
        fit: mean,
        low: mean - BAND * sd,
        high: mean + BAND * sd,
        reading_low: mean - BAND * wide,
        reading_high: mean + BAND * wide,
    }
}
