//! What the reader of a result should know: each warning says what happened, what it may mean, and what to do.

use crate::analyse::short;
use std::fmt;

/// A remark on a result.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Warning {
    /// Some trials cannot be assembled.
    CannotAssemble {
        /// The bay, and the condition it is in.
        bay: String,
        /// Share of trials.
        share: f64,
    },
    /// Some trials are loose, so that the quantity is a range.
    Loose {
        /// The bay, and the condition it is in.
        bay: String,
        /// Share of trials.
        share: f64,
    },
    /// Few trials were outside.
    FewOutside {
        /// The requirement's name.
        requirement: String,
        /// How many trials were outside.
        outside: u64,
        /// Of how many.
        trials: u64,
    },
    /// None was outside, but the share may be above the largest acceptable one all the same.
    NotShown {
        /// The requirement's name.
        requirement: String,
        /// The share outside is not above this, at three standard errors.
        at_most: f64,
        /// Largest acceptable share.
        max_out: f64,
    },
    /// Stresses are required, which are nominal ones.
    NominalStress,
    /// The largest acceptable share lies within three standard errors of the share outside.
    VerdictUncertain {
        /// The requirement's name.
        requirement: String,
        /// Three standard errors to either side.
        bounds: (f64, f64),
        /// Largest acceptable share.
        max_out: f64,
    },
    /// A dimension's repeatability rests on so few readings that its standard deviation is infinite.
    FewReadings {
        /// The dimension's path.
        dimension: String,
        /// ν of its t distribution.
        degrees_of_freedom: f64,
    },
    /// First-order propagation and the distribution disagree on the standard deviation.
    Nonlinear {
        /// The requirement's name.
        requirement: String,
        /// By first order.
        first_order: f64,
        /// Of the distribution.
        sd: f64,
    },
    /// First-order propagation and the distribution disagree on the standard deviation because few readings of a part may lie close
    /// together by chance.
    WidenedByFewReadings {
        /// The requirement's name.
        requirement: String,
        /// The dimension whose readings matter most.
        dimension: String,
        /// How many it has.
        readings: f64,
        /// By first order.
        first_order: f64,
        /// Of the distribution.
        sd: f64,
    },
    /// The model had no response in some trials.
    Failed {
        /// How many trials.
        trials: u64,
        /// Of how many.
        of: u64,
        /// Why and where, the first.
        first: String,
    },
    /// A method was tried and declined.
    FellBack {
        /// The requirement's name.
        requirement: String,
        /// The method that declined.
        method: crate::Method,
        /// Why.
        reason: String,
    },
    /// The run ended before the accuracy asked for was reached.
    NotReached {
        /// What was asked for.
        asked: String,
        /// What was reached.
        reached: String,
        /// What would reach it, in the imperative.
        cure: String,
    },
    /// A limit that can never bind.
    NeverBinds {
        /// The requirement's name.
        requirement: String,
        /// `lower` or `upper`.
        side: &'static str,
        /// The limit.
        limit: f64,
        /// Nothing in this bay can be larger; None: a limit below what is never negative.
        reach: Option<f64>,
        /// `mm`, `in`, `N` or `MPa`.
        unit: &'static str,
    },
    /// A limit on tension where the stress is compression in its whole range, or the other way round.
    NeverOnThatSide {
        /// The requirement's name.
        requirement: String,
        /// `lower` or `upper`.
        side: &'static str,
        /// The limit, MPa.
        limit: f64,
        /// Of the stress, MPa.
        range: (f64, f64),
        /// What to write instead, in the imperative.
        cure: String,
    },
    /// A requirement that is met by the formula of a spring washer's load, and not with as much more or less load as the sources of it differ by.
    LoadNotSettled {
        /// The requirement's name.
        requirement: String,
        /// Paths of the washers.
        washers: String,
        /// The load with which it is not shown to be met, as a part of the formula's.
        load: f64,
    },
    /// The mechanical model has a remark.
    Pack {
        /// In its words.
        remark: String,
    },
}

impl Warning {
    /// Whether both say the same of the same bay, so that one of them is enough. (The shares of two requirements may come from two methods
    /// and differ in their last digits.)
    pub(crate) fn is_same_matter(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::CannotAssemble { bay: a, .. }, Self::CannotAssemble { bay: b, .. })
            | (Self::Loose { bay: a, .. }, Self::Loose { bay: b, .. }) => a == b,
            _ => self == other,
        }
    }
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CannotAssemble { bay, share } => write!(
                f,
                "{bay}: in {} of builds the parts are longer than the span even with every spring washer flat. Those builds count as \
                 outside every limit of the bay and have no part in mean, sd and quantiles; make the pack shorter or the span longer",
                percent(*share)
            ),
            Self::Loose { bay, share } => write!(
                f,
                "{bay}: in {} of builds the bay is loose, so an offset is a range and counts as inside only where both ends are; mean, \
                 sd and quantiles are of the range's middle. Thicken the pack if looseness is not wanted",
                percent(*share)
            ),
            Self::FewOutside { requirement, outside, trials } => write!(
                f,
                "{requirement}: only {outside} of {trials} trials were outside, so the share outside is known roughly; ask for an accuracy \
                 (--until 0.1) or use --method auto"
            ),
            Self::NotShown { requirement, at_most, max_out } => write!(
                f,
                "{requirement}: no pack was found outside, but their share may be as much as {}, and {} is allowed: that is not shown to be kept; \
                 make more trials, or leave the requirement more room",
                percent(*at_most),
                percent(*max_out)
            ),
            Self::NominalStress => f.write_str(
                "stresses are nominal, by the elastic formula of the washer's law, without the residual stress of setting, and say nothing of fatigue: \
                 compare them with the maker's figures for computed stresses, both ends of the stroke where it is squeezed again and again",
            ),
            Self::VerdictUncertain { requirement, bounds, max_out } => write!(
                f,
                "{requirement}: the largest acceptable share outside, {}, lies within three standard errors of the share found ({} to {}), so the \
                 verdict could fall either way; ask for more accuracy (--until), or leave the requirement more room",
                percent(*max_out),
                percent(bounds.0),
                percent(bounds.1)
            ),
            Self::FewReadings { dimension, degrees_of_freedom } => write!(
                f,
                "{dimension}: with {} readings the repeatability has no finite standard deviation (a t with {degrees_of_freedom} degree{} of \
                 freedom), so what depends on it without bounds has none either, and with two readings no mean; read the quantiles, or take at \
                 least four readings",
                degrees_of_freedom + 1.0,
                if *degrees_of_freedom == 1.0 { "" } else { "s" }
            ),
            Self::Nonlinear { requirement, first_order, sd } => write!(
                f,
                "{requirement}: root-sum-square gives a standard deviation of {}, the distribution {}: the law is bent over the scatter of the \
                 dimensions; rely on the distribution",
                three_digits(*first_order),
                three_digits(*sd)
            ),
            Self::WidenedByFewReadings { requirement, dimension, readings, first_order, sd } => write!(
                f,
                "{requirement}: root-sum-square gives a standard deviation of {}, the distribution {}: the {readings} readings of {dimension} may lie \
                 close together by chance, which root-sum-square does not allow for; rely on the distribution, or take more readings",
                three_digits(*first_order),
                three_digits(*sd)
            ),
            Self::Failed { trials, of, first } => write!(
                f,
                "in {trials} of {of} trials the pack has no answer, and they are left out of every figure; the first: {first}. If the share \
                 matters, extend the load table or correct the dimension named"
            ),
            Self::FellBack { requirement, method, reason } => write!(
                f,
                "{requirement}: the {method} method does not apply ({reason}); the figures are by the method named in the result, which \
                 may need more trials for the same accuracy"
            ),
            Self::NotReached { asked, reached, cure } => {
                write!(f, "{asked} was asked for, and {reached} was reached; {cure}")
            }
            Self::NeverBinds { requirement, side, limit, reach: None, unit } => write!(
                f,
                "{requirement}: its {side} limit of {} {unit} can never bind, since this is never negative: is it a slip of a sign? Correct it, or leave it \
                 out",
                short(*limit)
            ),
            Self::NeverBinds { requirement, side, limit, reach: Some(reach), unit } => write!(
                f,
                "{requirement}: its {side} limit of {} {unit} can never bind, since nothing here reaches {} {unit}: is it a slip of a unit or of a \
                 digit? Correct it, or leave it out",
                short(*limit),
                short(*reach)
            ),
            Self::NeverOnThatSide { requirement, side, limit, range, cure } => write!(
                f,
                "{requirement}: its {side} limit of {} MPa can never be reached, since the stress there lies between {} and {} MPa whatever the parts (tension is \
                 positive). {cure}",
                short(*limit),
                short(range.0),
                short(range.1)
            ),
            Self::LoadNotSettled { requirement, washers, load } => write!(
                f,
                "{requirement}: met by the formula, but the load of {washers} is known no better than to {}, and with {} of it the requirement is not shown to \
                 be met. Measure the load and give it (law = \"table\", or the rate: law = \"linear\"), or leave the requirement more room",
                relative_percent(if *load > 1.0 { load - 1.0 } else { 1.0 / load - 1.0 }),
                relative_percent(*load)
            ),
            Self::Pack { remark } => f.write_str(remark),
        }
    }
}

/// A share in words: `0.27 %`, `12 per million`; three significant digits of what it is away from nothing and from all.
pub(crate) fn percent(share: f64) -> String {
    let small = share > 0.0 && share < 5e-5;
    if share > 0.0 && share < 1e-9 {
        return "less than 0.001 per million".to_owned();
    }
    if share < 1.0 && 1.0 - share < 1e-9 {
        return "more than 99.9999999 %".to_owned();
    }
    let (value, distance, unit) = if small {
        (1e6 * share, 1e6 * share, "per million")
    } else {
        (1e2 * share, 1e2 * share.min(1.0 - share), "%")
    };
    let text = format!("{value:.0$}", decimals(distance, 9));
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    format!("{text} {unit}")
}

/// An accuracy, which is a part of something else than of packs: `0.01 %`.
pub(crate) fn relative_percent(error: f64) -> String {
    let text = three_digits(100.0 * error);
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    format!("{text} %")
}

fn three_digits(value: f64) -> String {
    format!("{value:.0$}", decimals(value.abs(), 9))
}

/// Decimal places that show three significant digits.
fn decimals(value: f64, most: usize) -> usize {
    if !(value > 0.0 && value.is_finite()) {
        return 0;
    }
    (2.0 - value.log10().floor()).clamp(0.0, most as f64) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_have_the_digits_that_are_read() {
        for (share, words) in [
            (0.0, "0 %"),
            (1.0, "100 %"),
            (0.5, "50 %"),
            (0.00144, "0.144 %"),
            (0.99998, "99.998 %"),
            (5.2678e-5, "0.00527 %"),
            (1.234e-6, "1.23 per million"),
            (1e-12, "less than 0.001 per million"),
        ] {
            assert_eq!(percent(share), words);
        }
    }

    #[test]
    fn one_degree_is_no_plural_and_two_are() {
        let of =
            |degrees_of_freedom| Warning::FewReadings { dimension: "b/shim".into(), degrees_of_freedom }.to_string();
        assert!(of(1.0).contains("with 2 readings") && of(1.0).contains("1 degree of"), "{}", of(1.0));
        assert!(of(2.0).contains("with 3 readings") && of(2.0).contains("2 degrees of"), "{}", of(2.0));
    }
}
