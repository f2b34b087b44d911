//! Every valve in the page: a table to sort and filter, and the numbers that a valve's chart is drawn from when it is asked for.

use super::chart::{Chart, Charts};
use super::{order, text};
use crate::table::Table;
use crate::working::{self, Sift, numbers};
use maud::{Markup, html};
use packdrift_trend::{FeatureResult, Policy, TrendResult};

/// Heading and, as its slug, id of the section.
pub(super) const HEADING: &str = "Every valve";

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
    let drawing = Charts {
        horizon: policy.map_or(0.0, |p| p.horizon),
        limits: Charts::limits(std::slice::from_ref(feature)),
        valves: ranked.iter().map(|r| Chart::new(0, r.valve)).collect(),
    };
    let id = format!("charts-{k}");
    let features = [(order::title(feature), order::unit(feature).to_owned())];
    let charts = drawing.any().then_some(working::Charts { id: &id, features: &features });
    html! {
        (table.sifted(Sift { choose: &["status", "engine", "valve", "towards"], charts, ..Sift::default() }))
        @if charts.is_some() { (numbers(&id, &drawing)) }
    }
}
