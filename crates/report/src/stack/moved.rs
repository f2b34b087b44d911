//! Limits that a reader moves: the numbers of the curve that the page draws, and the fields to move them by.

use super::order;
use crate::working::{numbers, short};
use maud::{Markup, html};
use packdrift_spread::RequirementResult;
use serde::Serialize;

/// Dimensions whose nominal may be moved.
const DIMENSIONS: usize = 8;

/// The curve.
#[derive(Serialize)]
struct Curve {
    /// Left edge of the first bin.
    from: f64,
    width: f64,
    shares: Vec<Option<f64>>,
    /// Under the first bin.
    below: f64,
    /// Cannot be assembled: outside whatever the limits.
    lost: f64,
    allowed: f64,
    /// What the program says at its own limits.
    told: f64,
}

/// The fields; None without limits or without a curve.
pub(super) fn form(r: &RequirementResult, k: usize) -> Option<Markup> {
    let h = r.spread.histogram.as_ref().filter(|h| order::has_limits(r) && h.width > 0.0 && !h.shares.is_empty())?;
    let curve = Curve {
        from: h.lower,
        width: h.width,
        shares: h.shares.iter().map(|share| short(*share)).collect(),
        below: h.below,
        lost: r.spread.cannot_assemble,
        allowed: r.max_out,
        told: r.spread.out.total,
    };
    let finite = [curve.from, curve.width, curve.below, curve.lost, curve.told].iter().all(|x| x.is_finite());
    if !finite || curve.shares.iter().any(Option::is_none) {
        return None;
    }
    let step = 10_f64.powi(-order::places(r));
    let field = |name: &str, words: &str, value: Option<f64>| {
        html! { @if let Some(value) = value {
            label { (words) ", " (r.unit) " " input type="number" name=(name) value=(crate::Lengths::named(r.unit).given_in_it(value)) step=(crate::number::plain(step)); }
        } }
    };
    Some(html! {
        form.limits hidden aria-label={ "Move the limits of " (order::name(r)) } {
            (field("lower", "Lower limit", r.lower))
            (field("upper", "Upper limit", r.upper))
            label { "Move the nominal of " select name="dimension" {
                option value="0" { "nothing" }
                @for c in r.contributors.iter().filter(|c| c.sensitivity.is_finite()).take(DIMENSIONS) {
                    option value=(c.sensitivity.to_string()) { (c.dimension) }
                }
            } }
            label { "by, mm " input type="number" name="by" value="0" step="0.001"; }
            button type="reset" { "Back" }
            output {}
            p.soft {
                "Counted from the curve, bin by bin, without a bound: for the verdict put the limits into the pack file and run stack again. A nominal moves the curve by its linear effect."
            }
            (numbers(&format!("curve-{k}"), &curve))
        }
    })
}
