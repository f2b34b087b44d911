//! What few readings of a part do to a result: with n readings their mean is known to a t with n − 1 degrees of freedom (JCGM 101:2008, 6.4.9),
//! which has no standard deviation for n = 3 and no mean for n = 2, and for n = 4 is √3 times as wide as the standard uncertainty s/√n that
//! root-sum-square takes.

use crate::distribution::Distribution;
use crate::first_order::FirstOrder;
use crate::population::Population;
use crate::result::Spread;
use crate::stack::Stack;
use crate::warning::Warning;
use packdrift_pack::QuantityKind;

/// Degrees of freedom of the t in a distribution that scatters by one; of several the fewest.
fn degrees_of_freedom(distribution: &Distribution) -> Option<f64> {
    match distribution {
        Distribution::ScaledShiftedT { degrees_of_freedom, scale, .. } if *scale > 0.0 => Some(*degrees_of_freedom),
        Distribution::Sum { terms } => terms.iter().filter_map(degrees_of_freedom).min_by(f64::total_cmp),
        _ => None,
    }
}

/// Dimensions without a standard deviation.
pub(crate) fn warnings(stack: &Stack) -> Vec<Warning> {
    let dimensions = stack.pack.dimensions.iter().zip(&stack.inputs);
    dimensions
        .filter_map(|(dimension, input)| {
            let degrees_of_freedom = degrees_of_freedom(&input.distribution).filter(|nu| *nu <= 2.0)?;
            Some(Warning::FewReadings { dimension: dimension.path.clone(), degrees_of_freedom })
        })
        .collect()
}

/// Takes away the mean and the standard deviation of a requirement that has none: a sample always has both, but they would be others with every
/// seed. A preload, a height and a stress keep them: they end where the spring is flat.
pub(crate) fn clear_moments(stack: &Stack, requirement: usize, uses: &[bool], spread: &mut Spread) {
    let bounded = matches!(
        stack.requirements[requirement].quantity.kind(),
        QuantityKind::Preload | QuantityKind::Height | QuantityKind::Stress
    );
    let used = stack.inputs.iter().zip(uses).filter(|(_, used)| **used);
    let fewest = used.filter_map(|(input, _)| degrees_of_freedom(&input.distribution)).min_by(f64::total_cmp);
    let Some(fewest) = fewest.filter(|nu| *nu <= 2.0 && !bounded) else { return };
    (spread.sd, spread.standard_error) = (None, None);
    if fewest <= 1.0 {
        spread.mean = None;
    }
}

/// What the standard deviation is by first order with each dimension's own, where that differs from its standard uncertainty.
pub(crate) struct Widened {
    /// By first order.
    pub(crate) sd: f64,
    /// The dimension that adds most.
    pub(crate) dimension: String,
    /// Its readings.
    pub(crate) readings: f64,
}

/// None where no dimension has so few readings that it matters.
pub(crate) fn widened(stack: &Stack, population: &Population, first: &FirstOrder) -> Option<Widened> {
    let added = |k: usize| {
        let own = population.own(k);
        (own.sd().powi(2) - own.standard_uncertainty().powi(2)) * first.gradient[k].powi(2)
    };
    let few: Vec<(usize, f64, f64)> = (0..population.inputs())
        .filter_map(|k| Some((k, added(k), degrees_of_freedom(population.own(k))? + 1.0)))
        .filter(|(_, added, _)| *added > 0.0 && added.is_finite())
        .collect();
    let (most, _, readings) = few.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let variance = first.result.sd.powi(2) + few.iter().map(|(_, added, _)| added).sum::<f64>();
    Some(Widened { sd: variance.sqrt(), dimension: stack.pack.dimensions[*most].path.clone(), readings: *readings })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot build its input should stop")]

    use super::*;
    use crate::allocate::washers_for_tests;
    use crate::options::{Options, Silent};
    use crate::result::CapabilityForm;
    use crate::stack::Cost;
    use crate::{StackResult, analyse};

    /// One washer of 2.0 mm read `n` times with a standard uncertainty of 0.02, the stem's tolerance of 0.02 beside it.
    fn read(n: f64) -> StackResult {
        let cost = Cost::Power { fixed: 0.0, scale: 1.0, exponent: 1.0 };
        let mut stack = washers_for_tests(&[0.06], &[cost]);
        let t = Distribution::ScaledShiftedT { degrees_of_freedom: n - 1.0, location: 2.0, scale: 0.02 };
        let instrument = Distribution::Normal { mean: 0.0, sd: 0.002 };
        (stack.inputs[0].distribution, stack.inputs[0].limits) =
            (Distribution::Sum { terms: vec![t, instrument] }, None);
        analyse(&stack, &Options::default(), &Silent).unwrap()
    }

    #[test]
    fn two_readings_have_no_mean_and_three_no_standard_deviation() {
        for (n, mean) in [(2.0, false), (3.0, true)] {
            let result = read(n);
            let r = &result.requirements[0];
            assert!(r.spread.mean.is_some() == mean && r.spread.sd.is_none() && r.spread.standard_error.is_none());
            assert!(r.spread.quantiles.len() == 5 && r.spread.out.total > 0.01, "shares and quantiles exist");
            assert!(r.capability.ppk.is_some() && r.capability.form == CapabilityForm::Percentile);
            let words: Vec<String> = result.warnings.iter().map(ToString::to_string).collect();
            assert!(words.iter().any(|w| w.contains("readings")), "{words:?}");
            assert!(!words.iter().any(|w| w.contains("bent")), "{words:?}");
        }
    }

    /// With four the standard deviation is √3 times the standard uncertainty, which is no fault of the law.
    #[test]
    fn four_readings_are_told_from_a_bent_law() {
        let result = read(4.0);
        let sd = result.requirements[0].spread.sd.unwrap();
        let rest = (0.02_f64 / 3.0).powi(2) + 0.002_f64.powi(2);
        // A t of three degrees of freedom has no fourth moment, so its sampled standard deviation settles slowly.
        assert!((sd / (3.0 * 0.02_f64.powi(2) + rest).sqrt() - 1.0).abs() < 0.01, "{sd}");
        let told = |w: &Warning| matches!(w, Warning::WidenedByFewReadings { readings, .. } if *readings == 4.0);
        assert!(result.warnings.iter().any(told), "{:?}", result.warnings);
        assert!(!result.warnings.iter().any(|w| matches!(w, Warning::Nonlinear { .. })), "{:?}", result.warnings);
        // Thirty are as good as many.
        assert!(read(30.0).warnings.is_empty());
    }
}
