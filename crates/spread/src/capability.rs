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
    let quantile = |order: f64| spread.quantiles.iter().find(|q| (q.order - order).abs() < 1e-12);
    let (Some(low), Some(median), Some(high)) = (quantile(0.00135), quantile(0.5), quantile(0.99865)) else {
        return none;
    };
    // A distribution without a mean or a standard deviation (two or three readings of a part) has its quantiles all the same.
    let moments = spread.mean.zip(spread.sd).filter(|(mean, sd)| mean.is_finite() && sd.is_finite());
    let normal = moments.filter(|(mean, sd)| {
        [(low, -2.999_976_992_703), (median, 0.0), (high, 2.999_976_992_703)].iter().all(|(q, z)| {
            let error = 4.0 * q.standard_error.unwrap_or(if q.order == 0.5 { 0.0 } else { sd / 3.0 });
            (q.value - mean - z * sd).abs() <= TOLERATED * sd + error
        })
    });
    let within = (1.0 - lot_share).clamp(0.0, 1.0).sqrt();
    // Distances from the centre that stand for 3σ downwards and upwards.
    let (form, centre, down, up) = match normal {
        Some((mean, sd)) => (CapabilityForm::Normal, mean, 3.0 * sd, 3.0 * sd),
        None => (CapabilityForm::Percentile, median.value, median.value - low.value, high.value - median.value),
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "an index that is missing is a failed test")]

    use super::*;
    use crate::method::Method;
    use crate::result::{Quantile, Share};

    fn spread(mean: Option<f64>, sd: Option<f64>, quantiles: [f64; 3]) -> Spread {
        let quantiles = [0.00135, 0.5, 0.99865]
            .into_iter()
            .zip(quantiles)
            .map(|(order, value)| Quantile { order, value, standard_error: Some(0.0) })
            .collect();
        Spread {
            trials: 0,
            mean,
            sd,
            standard_error: Some(0.0),
            quantiles,
            method: Method::Exact,
            moments_method: Method::Exact,
            out: Share {
                below: 0.0,
                above: 0.0,
                total: 0.0,
                standard_error: 0.0,
                ci95: (0.0, 0.0),
                bounds: (0.0, 0.0),
            },
            cannot_assemble: 0.0,
            loose: 0.0,
            histogram: None,
        }
    }

    fn close(found: Option<f64>, expected: f64) {
        assert!((found.unwrap() - expected).abs() < 1e-9, "{found:?} for {expected}");
    }

    /// A handbook example of process capability (NIST/SEMATECH e-Handbook, 6.1.6; value from memory, recomputed): limits 8 and 20, mean 16, sd 2: Cp 1, Cpk 0.6667. A lot share of 0.36 of the
    /// variance leaves 0.8 of the standard deviation within lots.
    #[test]
    fn the_handbooks_example() {
        let of = spread(Some(16.0), Some(2.0), [10.0, 16.0, 22.0]);
        let found = capability(&of, Bounds::new(Some(8.0), Some(20.0)), 0.36);
        assert_eq!(found.form, CapabilityForm::Normal);
        close(found.pp, 1.0);
        close(found.ppk, 2.0 / 3.0);
        close(found.cp, 1.0 / 0.8);
        close(found.cpk, 2.0 / 3.0 / 0.8);
    }

    #[test]
    fn one_limit_has_no_width() {
        let of = spread(Some(16.0), Some(2.0), [10.0, 16.0, 22.0]);
        let found = capability(&of, Bounds::new(Some(8.0), None), 0.0);
        assert!(found.cp.is_none() && found.pp.is_none());
        close(found.ppk, 8.0 / 6.0);
        let none = capability(&of, Bounds::NONE, 0.0);
        assert!(none.cp.is_none() && none.cpk.is_none() && none.ppk.is_none());
    }

    /// An exponential of mean 1, percentile form of ISO 22514-2: quantiles −ln(1 − p).
    #[test]
    fn a_skew_distribution_by_its_percentiles() {
        let [low, median, high] = [0.00135, 0.5, 0.99865].map(|p: f64| -(-p).ln_1p());
        let found =
            capability(&spread(Some(1.0), Some(1.0), [low, median, high]), Bounds::new(Some(0.0), Some(8.0)), 0.0);
        assert_eq!(found.form, CapabilityForm::Percentile);
        close(found.pp, 8.0 / (high - low));
        close(found.ppk, ((8.0 - median) / (high - median)).min(median / (median - low)));
    }

    /// Few readings leave quantiles without moments.
    #[test]
    fn without_moments_by_percentiles() {
        let found = capability(&spread(None, None, [0.9, 1.0, 1.2]), Bounds::new(Some(0.8), Some(1.3)), 0.0);
        assert_eq!(found.form, CapabilityForm::Percentile);
        close(found.pp, 0.5 / 0.3);
        close(found.ppk, 1.5);
        let nothing = Spread { quantiles: Vec::new(), ..spread(None, None, [0.0; 3]) };
        assert!(capability(&nothing, Bounds::new(Some(0.8), Some(1.3)), 0.0).ppk.is_none());
    }

    /// Nothing scatters: no index is infinite.
    #[test]
    fn an_exact_value_has_no_index() {
        let found = capability(&spread(Some(1.0), Some(0.0), [1.0; 3]), Bounds::new(Some(0.8), Some(1.3)), 0.0);
        assert!(found.pp.is_none() && found.ppk.is_none() && found.cp.is_none() && found.cpk.is_none());
    }
}
