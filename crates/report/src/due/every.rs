//! Every engine in the page: its row, its work and its valves, to sort and to choose from, with the numbers that a valve's chart is drawn from.

use super::Planned;
use super::tables::{self, Of};
use super::words::take_along;
use crate::table::{Cell, Column, Table};
use crate::trend::chart::{Chart, Charts};
use crate::working::{self, Sift, numbers};
use maud::{Markup, html};
use packdrift_due::DueResult;
use packdrift_trend::TrendResult;
use std::collections::HashMap;

/// Heading and, as its slug, id of the section.
pub(super) const HEADING: &str = "Every engine";

/// Id of the numbers that the charts are drawn from.
const CHARTS: &str = "charts";

/// All engines, their work and their valves. Each row says by its place in the result which engine it is about.
pub(super) fn engines(planned: Planned<'_>) -> Markup {
    let result = planned.result;
    let all: Vec<usize> = (0..result.engines.len()).collect();
    let (work, of_work) = work(result);
    let by_window = tables::by_window(result);
    let sift = |table: &Table, choose: &[&str], about: &[usize]| {
        table.sifted(Sift { choose, about: Some(about), ..Sift::default() })
    };
    html! {
        p.sifting {
            "Sort by a column's head, and choose rows above each table. Press a valve's name to draw its readings and its forecast. A printed page holds the rows that were chosen."
        }
        (sift(&tables::engines(result, usize::MAX), &["status", "engine", "work", "window_from", "because"], &all))
        @if !work.rows.is_empty() { (sift(&work, &["window_from", "engine", "valve", "because_of", "work"], &of_work)) }
        (valves(planned))
        @if !by_window.rows.is_empty() { (sift(&by_window, &["engine", "place"], &all)) }
    }
}

/// All work with what to take along for it, and which engine each row is about.
fn work(result: &DueResult) -> (Table, Vec<usize>) {
    let mut table = tables::work(result, Of::All);
    let jobs = tables::in_order_of_time(result, Of::All);
    table.columns.push(Column::text("take along"));
    for (row, (_, work)) in table.rows.iter_mut().zip(&jobs) {
        row.push(Cell::text(take_along(work, &result.unit).join("; ")));
    }
    (table, jobs.iter().map(|(engine, _)| *engine).collect())
}

/// Every valve with its newest readings, and the charts of these features.
fn valves(planned: Planned<'_>) -> Markup {
    let result = planned.result;
    let rows = |e: usize| result.engines[e].today.iter().map(|v| v.readings.len().max(1)).sum::<usize>();
    let about: Vec<usize> = (0..result.engines.len()).flat_map(|e| std::iter::repeat_n(e, rows(e))).collect();
    let drawing = planned.forecasts.map(|forecasts| charts(result, forecasts));
    let features: Vec<(String, String)> = planned.forecasts.map_or_else(Vec::new, |forecasts| {
        let unit = |f: &packdrift_trend::FeatureResult| f.limits.as_ref().map_or_else(String::new, |l| l.unit.clone());
        forecasts.features.iter().map(|f| (super::words::feature(&f.feature), unit(f))).collect()
    });
    let charts = drawing.as_ref().filter(|d| d.any()).map(|_| working::Charts { id: CHARTS, features: &features });
    html! {
        (tables::valves(result).sifted(Sift { choose: &["status", "engine", "valve", "feature"], charts, about: Some(&about) }))
        @if let Some(drawing) = drawing.filter(Charts::any) { (numbers(CHARTS, &drawing)) }
    }
}

/// The charts of the rows of [`tables::valves`].
fn charts(result: &DueResult, forecasts: &TrendResult) -> Charts {
    let mut of = HashMap::new();
    for (k, feature) in forecasts.features.iter().enumerate() {
        for valve in &feature.valves {
            of.insert((valve.engine.as_str(), valve.valve.as_str(), feature.feature.as_str()), (k, valve));
        }
    }
    let mut valves = Vec::new();
    for engine in &result.engines {
        for valve in &engine.today {
            let drawn = valve.readings.iter().map(|reading| {
                let (k, forecast) =
                    of.get(&(engine.engine.as_str(), valve.valve.as_str(), reading.feature.as_str()))?;
                Chart::new(*k, forecast)
            });
            valves.extend(drawn);
            if valve.readings.is_empty() {
                valves.push(None);
            }
        }
    }
    Charts { horizon: result.horizon, limits: Charts::limits(&forecasts.features), valves }
}
