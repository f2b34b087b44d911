//! The map read at a place: under the pointer, or by two sliders.

use super::acceptance;
use crate::figure::{Figure, Format};
use crate::working::{numbers, short};
use maud::{Markup, html};
use packdrift_lotpack::LotInPack;
use serde::Serialize;

#[derive(Serialize)]
struct Map {
    /// Of bias and scatter.
    unit: &'static str,
    bias: Vec<Option<f64>>,
    sd: Vec<Option<f64>>,
    ratio: Vec<Vec<Option<f64>>>,
    deciding: Vec<Vec<usize>>,
    /// Where the plot lies in the wide and in the narrow drawing, px.
    frames: [acceptance::Place; 2],
}

/// The fields and the answer; None where the map holds what is no number.
pub(super) fn form(pack: &LotInPack, figure: &Figure, k: usize, unit: &'static str) -> Option<Markup> {
    let map = &pack.map;
    let ends = |values: &[f64]| Some((*values.first()?, *values.last()?)).filter(|(a, b)| a.is_finite() && b > a);
    let ((left, right), (low, high)) = (ends(&map.bias)?, ends(&map.sd)?);
    let numbers_of = |values: &[f64]| values.iter().map(|x| short(*x)).collect::<Vec<_>>();
    // Beyond a thousand times what is acceptable nobody reads on.
    let ratio: Vec<Vec<Option<f64>>> = map
        .ratio
        .iter()
        .map(|column| column.iter().map(|r| short(r.clamp(0.0, 1000.0)).or(Some(1000.0))).collect())
        .collect();
    let data = Map {
        unit,
        bias: numbers_of(&map.bias),
        sd: numbers_of(&map.sd),
        ratio,
        deciding: map.deciding.clone(),
        frames: [Format::Wide, Format::Narrow].map(acceptance::place),
    };
    let slider = |name: &str, words: &str, (from, to): (f64, f64), at: f64| {
        html! { label { (words) " " input type="range" name=(name) min=(from.to_string()) max=(to.to_string()) step=(((to - from) / 200.0).to_string()) value=(at.clamp(from, to).to_string()); } }
    };
    Some(html! {
        form.map hidden data-map=(figure.id) aria-label={ "Read the map of " (pack.lot) } {
            (slider("bias", "Bias", (left, right), map.lot.0))
            (slider("scatter", "Scatter", (low, high), map.lot.1))
            output {}
            ul hidden { @for r in &pack.requirements { li { (r.name) " (" (r.condition) ")" } } }
            (numbers(&format!("map-{k}"), &data))
        }
    })
}
