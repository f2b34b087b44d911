//! Limits that a reader moves: the share beyond each limit, tabulated by the program, and the fields to move them by.

use super::order;
use super::spread::{self, Frame};
use crate::figure::{Figure, Format};
use crate::working::numbers;
use maud::{Markup, html};
use packdrift_spread::{LimitShare, RequirementResult};
use serde::Serialize;

/// Dimensions whose nominal or scatter may be moved.
const DIMENSIONS: usize = 8;

/// The curve.
#[derive(Serialize)]
struct Curve {
    /// Lower limits and the shares below them, both rising.
    lower: Points,
    /// Upper limits, rising, and the shares above them.
    upper: Points,
    /// Where the distribution is stretched about when a scatter is moved.
    mean: f64,
    /// Cannot be assembled: outside whatever the limits.
    lost: f64,
    allowed: f64,
    /// What the program says at its own limits.
    told: f64,
    /// Where the figure's values lie, in its wide and its narrow form.
    frames: [Frame; 2],
    unit: &'static str,
    /// Decimals of a value that is read under the pointer.
    places: i32,
}

/// Limits in full: a digit less would move a share in the tails. Logarithms of the shares.
#[derive(Serialize)]
struct Points {
    at: Vec<f64>,
    log: Vec<f64>,
}

impl Points {
    fn of(points: &[LimitShare]) -> Self {
        let usable = || points.iter().filter(|p| p.limit.is_finite() && p.share > 0.0);
        Self {
            at: usable().map(|p| p.limit).collect(),
            log: usable().map(|p| format!("{:.7}", p.share.ln()).parse().unwrap_or(0.0)).collect(),
        }
    }
}

/// The fields; `length_unit` is that of the dimensions. None without limits or without a curve.
pub(super) fn form(r: &RequirementResult, k: usize, length_unit: &str, figure: &Figure) -> Option<Markup> {
    let moved = r.moved.as_ref().filter(|_| order::has_limits(r))?;
    let curve = Curve {
        lower: Points::of(&moved.lower),
        upper: Points::of(&moved.upper),
        mean: r.spread.mean.filter(|m| m.is_finite())?,
        lost: r.spread.cannot_assemble,
        allowed: r.max_out,
        told: r.spread.out.total,
        frames: [spread::frame(r, Format::Wide), spread::frame(r, Format::Narrow)],
        unit: r.unit,
        places: order::places(r),
    };
    let enough = |points: &Points, limit: Option<f64>| limit.is_none() || points.at.len() > 2;
    let finite = [curve.lost, curve.told, curve.allowed].iter().all(|x| x.is_finite());
    if !finite || !enough(&curve.lower, r.lower) || !enough(&curve.upper, r.upper) {
        return None;
    }
    let step = 10_f64.powi(-order::places(r));
    let field = |name: &str, words: &str, value: Option<f64>| {
        html! { @if let Some(value) = value {
            label { (words) ", " (r.unit) " " input type="number" name=(name) value=(crate::Lengths::named(r.unit).given_in_it(value)) step=(crate::number::plain(step)); }
        } }
    };
    let dimensions = || r.contributors.iter().filter(|c| c.sensitivity.is_finite()).take(DIMENSIONS);
    Some(html! {
        form.limits hidden data-figure=(figure.id) aria-label={ "Move the limits of " (order::name(r)) } {
            (field("lower", "Lower limit", r.lower))
            (field("upper", "Upper limit", r.upper))
            label { "Allowed outside, % " input type="number" name="allowed" value=(crate::number::plain(100.0 * r.max_out)) step="any" min="0" max="100"; }
            label { "Move the nominal of " select name="dimension" {
                option value="0" { "nothing" }
                @for c in dimensions() { option value=(c.sensitivity.to_string()) { (c.dimension) } }
            } }
            label { "by, " (length_unit) " " input type="number" name="by" value="0" step="0.001"; }
            label { "Scatter of " select name="scatter" {
                option value="0" { "nothing" }
                @for c in dimensions().filter(|c| c.variance_share > 0.0) { option value=(c.variance_share.to_string()) { (c.dimension) } }
            } }
            label { "times " input type="number" name="times" value="1" step="0.05" min="0"; }
            button type="reset" { "Back" }
            output.outside {}
            label.reading { "Read the shares at, " (r.unit) " " input type="number" name="at" step=(crate::number::plain(step)); }
            output.at {}
            p.soft {
                "Point at the figure to read the shares on either side of a value, as it was computed. \
                 Limits are read from a table that the program made; it has no bound: for the verdict put them into the pack file and run stack again. \
                 A nominal moves the distribution by its linear effect, a scatter stretches it about its mean by its linear effect: good for small changes."
            }
            (numbers(&format!("curve-{k}"), &curve))
        }
    })
}
