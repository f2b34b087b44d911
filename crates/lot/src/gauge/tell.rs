//! What the gauge tells apart: two sizes, and how many repeat readings help.

use super::{GaugeComponents, GaugeOptions, SdEstimate};
use packdrift_numerics::normal;

/// Whether two parts that differ by a given amount are told apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Discrimination {
    /// The difference, mm.
    pub difference: f64,
    /// Chance that single readings of the two come out in the wrong order: Φ(−Δ/(√2·σ)).
    pub wrong_order: f64,
    /// Chance that a single reading of a part is nearer to a neighbouring size Δ away than to its own: 2Φ(−Δ/(2σ)).
    pub wrong_size: f64,
    /// The smallest difference of two single readings that proves a difference with the confidence: z·√2·σ, mm.
    pub smallest_told: f64,
    /// The same with the upper end of the gauge's interval in place of its sd, mm.
    pub smallest_told_at_most: f64,
    /// Whether the difference is at least that: shown, not only estimated.
    pub can_tell: bool,
    /// How many readings of each part, by one operator and averaged, are shown to do; 1 where single readings do; None where no number is, because
    /// operators differ or too few took part to tell that they do not.
    pub readings_needed: Option<u64>,
}

impl Discrimination {
    pub(super) fn new(difference: f64, components: &GaugeComponents, confidence: f64) -> Self {
        let sd = components.gauge.sd;
        let z = normal::quantile(confidence);
        let smallest_told = z * std::f64::consts::SQRT_2 * sd;
        let chance = |x: f64| if x.is_nan() { 0.0 } else { normal::cdf(-x) };
        let smallest_told_at_most = (z * std::f64::consts::SQRT_2 * components.gauge.interval.upper).max(smallest_told);
        let can_tell = difference >= smallest_told_at_most;
        // Averaging m readings leaves reproducibility untouched: σ² = σ_o² + σ_r²/m, both by the upper ends of their intervals.
        let upper = |sd: &SdEstimate| sd.interval.upper.max(sd.sd).powi(2);
        let allowed = (difference / (z * std::f64::consts::SQRT_2)).powi(2) - upper(&components.reproducibility);
        let readings_needed = if can_tell {
            Some(1)
        } else if allowed > 0.0 {
            Some(((upper(&components.repeatability) / allowed).ceil() as u64).max(2))
        } else {
            None
        };
        Self {
            difference,
            wrong_order: chance(difference / (std::f64::consts::SQRT_2 * sd)),
            wrong_size: (2.0 * chance(difference / (2.0 * sd))).min(1.0),
            smallest_told,
            smallest_told_at_most,
            can_tell,
            readings_needed,
        }
    }
}

/// The number of readings to average for the gauge to be shown to be fit; None where it is by its estimate, or where no number shows it.
///
/// By the upper ends of the intervals of its scatter, and without a tolerance by the lower end of the parts': a gauge is good enough by the bound.
pub(super) fn readings_to_average(components: &GaugeComponents, options: &GaugeOptions) -> Option<u64> {
    let fit = |reproducibility: f64, repeatability: f64, parts: f64, m: f64| {
        let gauge = (reproducibility * reproducibility + repeatability * repeatability / m).sqrt();
        let share = match options.tolerance {
            Some(t) => 6.0 * gauge / t,
            None => gauge / gauge.hypot(parts),
        };
        share <= options.fit_up_to
    };
    let GaugeComponents { reproducibility, repeatability, parts, .. } = components;
    if fit(reproducibility.sd, repeatability.sd, parts.sd, 1.0) {
        return None;
    }
    let upper = |sd: &SdEstimate| sd.interval.upper.max(sd.sd);
    let shown = |m: &u32| fit(upper(reproducibility), upper(repeatability), parts.interval.lower, f64::from(*m));
    (2..=100_u32).find(shown).map(u64::from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::interval::Interval;
    use packdrift_numerics::stream::Key;

    fn gauge(sd: f64, upper: f64) -> GaugeComponents {
        let of = |sd: f64, upper: f64| SdEstimate { sd, interval: Interval::new(0.5 * sd, upper) };
        GaugeComponents {
            repeatability: of(sd, upper),
            operators: None,
            interaction: None,
            reproducibility: of(0.0, 0.0),
            gauge: of(sd, upper),
            parts: of(10.0 * sd, 12.0 * sd),
            total: of(10.05 * sd, 12.0 * sd),
        }
    }

    /// Chances of a wrong order and a wrong size against readings drawn one by one.
    #[test]
    fn chances_are_those_of_readings_drawn() {
        let (sd, difference) = (0.004, 0.009);
        let found = Discrimination::new(difference, &gauge(sd, 0.005), 0.95);
        let mut stream = Key::new(3, "tell").stream(0);
        let n = 200_000;
        let (mut order, mut size) = (0.0, 0.0);
        for _ in 0..n {
            let (a, b) = (sd * stream.normal(), difference + sd * stream.normal());
            order += f64::from(u8::from(a > b)) / f64::from(n);
            // Neighbours on both sides: nearer to either than to its own size.
            size += f64::from(u8::from(a.abs() > 0.5 * difference)) / f64::from(n);
        }
        for (found, drawn) in [(found.wrong_order, order), (found.wrong_size, size)] {
            assert!(drawn > 0.01 && (found - drawn).abs() < 5.0 * (drawn / f64::from(n)).sqrt(), "{found} and {drawn}");
        }
        // z(0.95)·√2·0.004, and with the interval's end: 0.005.
        assert!(
            (found.smallest_told - 0.009_304_7).abs() < 1e-6
                && (found.smallest_told_at_most - 0.011_630_9).abs() < 1e-6
        );
        assert!(!found.can_tell);
        assert!(!Discrimination::new(0.0110, &gauge(sd, 0.005), 0.95).can_tell);
        assert!(Discrimination::new(0.0117, &gauge(sd, 0.005), 0.95).can_tell);
        // A single reading is not enough, so two are: (0.0116/0.0110)² = 1.1. At half the difference (0.0116/0.0055)² = 4.5.
        assert_eq!(Discrimination::new(0.0110, &gauge(sd, 0.005), 0.95).readings_needed, Some(2));
        assert_eq!(Discrimination::new(0.0055, &gauge(sd, 0.005), 0.95).readings_needed, Some(5));
    }
}
