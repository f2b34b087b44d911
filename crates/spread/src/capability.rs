//! Capability and performance indices of a requirement (ISO 22514-2, ISO 22514-4), from the computed spread.
//!
//! *Performance* (Pp, Ppk) is of everything: parts, lots, all there is. *Capability* (Cp, Cpk) is of the short term: packs built from the same
//! lots, so the lots' deviations stand still and only the scatter within them is left. Its standard deviation is
//! σ(within) = σ·√(1 − share of the lots in the first-order variance).
//!
//! Normal form: P = (U − L)/6σ, Ppk = min(U − µ, µ − L)/3σ. Where the distribution is not normal, the percentile form (ISO 22514-2: the reference
//! interval between the 0.135 % and 99.865 % quantiles takes the place of 6σ, the median that of the mean):
//! P = (U − L)/(X₉₉.₈₆₅ − X₀.₁₃₅), Ppk = min((U − X₅₀)/(X₉₉.₈₆₅ − X₅₀), (X₅₀ − L)/(X₅₀ − X₀.₁₃₅)); for Cp and Cpk the two halves of the
//! interval are drawn in by σ(within)/σ.

use crate::monte_carlo::Bounds;
use crate::result::{Capability, CapabilityForm, Spread};

/// A quantile may differ from the normal's by this part of σ and the normal form still be used: it moves an index by less than 2 %.
const TOLERATED: f64 = 0.05;

/// The indices; `lot_share` is the lots' share of the variance.
pub fn capability(spread: &Spread, bounds: Bounds, lot_share: f64) -> Capability {
    let none = Capability { cp: None, cpk: None, pp: None, ppk: None, form: CapabilityForm::Normal };
    let (Some(mean), Some(sd)) = (spread.mean, spread.sd) else { return none };
    let quantile = |order: f64| spread.quantiles.iter().find(|q| (q.order - order).abs() < 1e-12);
    let (Some(low), Some(median), Some(high)) = (quantile(0.00135), quantile(0.5), quantile(0.99865)) else {
        return none;
    };
    let normal = [(low, -2.999_976_992_703), (median, 0.0), (high, 2.999_976_992_703)].iter().all(|(q, z)| {
        let error = 4.0 * q.standard_error.unwrap_or(if q.order == 0.5 { 0.0 } else { sd / 3.0 });
        (q.value - mean - z * sd).abs() <= TOLERATED * sd + error
    });
    let within = (1.0 - lot_share).clamp(0.0, 1.0).sqrt();
    // Distances from the centre that stand for 3σ downwards and upwards.
    let (form, centre, down, up) = if normal || !sd.is_finite() {
        (CapabilityForm::Normal, mean, 3.0 * sd, 3.0 * sd)
    } else {
        (CapabilityForm::Percentile, median.value, median.value - low.value, high.value - median.value)
    };
    let ratio = |distance: f64, spread: f64| {
        (spread > 0.0 && spread.is_finite() && distance.is_finite()).then(|| distance / spread)
    };
    let both = |factor: f64| ratio(bounds.upper - bounds.lower, factor * (down + up));
    let nearer = |factor: f64| {
        let sides = [ratio(bounds.upper - centre, factor * up), ratio(centre - bounds.lower, factor * down)];
        sides.into_iter().flatten().reduce(f64::min)
    };
    Capability { cp: both(within), cpk: nearer(within), pp: both(1.0), ppk: nearer(1.0), form }
}
