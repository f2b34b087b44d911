//! What the reader of a study should know first.

use super::options::{LotOptions, ShapeKnowledge};
use super::result::{Doubt, LotResult};
use crate::capability::Form;
use crate::posterior::SpecificationLimits;

/// What the reader should know before relying on the figures. Each says what was found, what it means, and what to do.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum LotWarning {
    /// Lots of different sizes, and some without a size: scatter between lots cannot be split from difference of size.
    SizesUnknown,
    /// Something over all lots could not be computed.
    NoComponents {
        /// Why.
        reason: String,
    },
    /// Some lots have a single part.
    SingleParts {
        /// Their names, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
    },
    /// All parts of some lots read the same.
    NoScatter {
        /// Their names, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
    },
    /// The gauge scatters as much as the parts, or more.
    GaugeTooCoarse {
        /// Names of the lots, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
        /// The gauge's sd, mm.
        gauge_sd: f64,
    },
    /// The instrument's step is larger than the lot's sd: shape and small shares are guesses.
    StepTooCoarse {
        /// Names of the lots, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
        /// mm.
        step: f64,
    },
    /// Some lots are not normal and no curve could be fitted.
    NoCurve {
        /// Their names, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
    },
    /// Lots that were said to be normal are not.
    NotNormalAsStated {
        /// Their names, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
    },
    /// Lots that were said to scatter alike do not: each is judged by its own readings.
    NotAlikeAsStated {
        /// Lots whose readings rule out the shape that all together agree with best.
        count: usize,
        /// Of how many lots with scatter.
        of: usize,
    },
    /// Rows of lots in no known order resemble their neighbours.
    NeighboursAlike {
        /// Names of the lots, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
    },
    /// Parts outside were found in lots that were sorted through their limits.
    SortedYetOutside {
        /// Names of the lots, at most five.
        lots: Vec<String>,
        /// How many lots.
        count: usize,
    },
    /// Sorting errs: how well the sorting gauge reads decides what slips through.
    SortingErrs {
        /// Standard uncertainty of the sorting gauge, mm.
        u: f64,
        /// Whether it was taken for want of a stated one.
        assumed: bool,
        /// What was stated, mm, where it is smaller than can be believed.
        claimed: Option<f64>,
    },
    /// The sorting gauge errs by so much that its sorting counts for nothing.
    SortingTooCoarse {
        /// Its standard uncertainty, mm.
        u: f64,
    },
    /// By so much all readings may be off alike; the bounds hold with that.
    AllOff {
        /// mm.
        by: f64,
    },
    /// A limit of some lots is so far away that it can never bind.
    LimitNeverBinds {
        /// Names of the lots, at most five.
        lots: Vec<String>,
        /// How many.
        count: usize,
        /// Whether it is the upper limit.
        upper: bool,
    },
    /// The guard bands of the two limits overlap: no reading can prove conformance.
    NoRoom {
        /// g, mm.
        width: f64,
    },
}

impl std::fmt::Display for LotWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.words("mm", &|mm| mm))
    }
}

impl LotWarning {
    /// In words, with lengths in a unit that `of` turns mm into.
    ///
    /// # Examples
    /// ```
    /// use packdrift_lot::LotWarning;
    /// let overlap = LotWarning::NoRoom { width: 0.0254 };
    /// assert!(overlap.words("in", &|mm| mm / 25.4).starts_with("the guard bands of 0.0010 in at both limits overlap"));
    /// ```
    pub fn words(&self, unit: &str, of: &dyn Fn(f64) -> f64) -> String {
        let names = |lots: &[String], count: usize| {
            let listed = lots.iter().map(|l| format!("“{l}”")).collect::<Vec<_>>().join(", ");
            if count > lots.len() { format!("{listed} and {} more", count - lots.len()) } else { listed }
        };
        let are =
            |lots: &[String], count: usize| format!("{} {}", names(lots, count), if count == 1 { "is" } else { "are" });
        let length = |mm: f64| format!("{} {unit}", two_digits(of(mm)));
        match self {
            Self::SizesUnknown => "the lots have different sizes and some have none, so scatter between lots was not computed: give each lot its size in a column `nominal`".to_owned(),
            Self::NoComponents { reason } => format!("over all lots: {reason}"),
            Self::SingleParts { lots, count } => {
                format!("a single part says nothing of scatter: measure more parts of {}", names(lots, *count))
            }
            Self::NoScatter { lots, count } => format!(
                "all parts read the same in {}: the instrument does not see the scatter, and only the count of readings outside speaks; read finer",
                names(lots, *count)
            ),
            Self::GaugeTooCoarse { lots, count, gauge_sd } => format!(
                "the gauge alone (sd {}) accounts for most of the scatter in {}: the parts' own sd is hardly known, and nothing is shown by it; average repeat readings or use a better gauge",
                length(*gauge_sd),
                names(lots, *count)
            ),
            Self::StepTooCoarse { lots, count, step } => format!(
                "the instrument reads in steps of {}, more than the sd of {}: shape and small shares are rough; use a finer instrument",
                length(*step),
                names(lots, *count)
            ),
            Self::NoCurve { lots, count } => format!(
                "{} not normal, and the readings are too few or too coarse for another curve: the estimate is that of a normal lot all the same; the verdict is by the count",
                are(lots, *count)
            ),
            Self::NotAlikeAsStated { count, of } => format!(
                "the lots are said to scatter alike, but the readings of {count} of {of} rule out the shape that all together agree with best, more than chance gives: \
                 each lot is judged by its own readings"
            ),
            Self::NotNormalAsStated { lots, count } => {
                format!("{} said to be normal, but the readings contradict it: judged as of unknown shape", are(lots, *count))
            }
            Self::NeighboursAlike { lots, count } => format!(
                "neighbouring rows read alike in {}: the parts were not drawn at random from the lot, and the bound allows for that; if the rows stand in the order made, say --order file",
                names(lots, *count)
            ),
            Self::SortedYetOutside { lots, count } => format!(
                "parts outside were counted in {}, though sorted: was every part sorted, by these limits?",
                names(lots, *count)
            ),
            Self::SortingErrs { u, assumed: true, .. } if u.is_infinite() => "sorting errs: with one limit nothing is known of what slips through until the sorting gauge's standard uncertainty is given (--sorted=LENGTH); judged as if not sorted".to_owned(),
            Self::SortingErrs { u, assumed: true, claimed: Some(claimed) } => format!(
                "sorting errs: a standard uncertainty of {} was stated for the sorting gauge, finer than sorting gauges are; judged with {}, and no lot is acceptable by that alone; give what a study of the gauge found with --sorted=LENGTH",
                length(*claimed),
                length(*u)
            ),
            Self::SortingErrs { u, assumed: true, .. } => format!(
                "sorting errs, and how much slips through depends on the sorting gauge: taken to have a standard uncertainty of {}; no lot is acceptable by that alone; give what a study of the gauge found with --sorted=LENGTH",
                length(*u)
            ),
            Self::SortingErrs { u, claimed: Some(claimed), .. } => format!(
                "sorting errs: a standard uncertainty of {} was stated for the sorting gauge, but these readings could not show parts that slipped through by less than about {}; judged with that",
                length(*claimed),
                length(*u)
            ),
            Self::SortingErrs { u, .. } => format!(
                "sorting errs: parts beyond a limit by about the sorting gauge's standard uncertainty of {} slip through; the bound allows for that, not for parts that were never sorted",
                length(*u)
            ),
            Self::SortingTooCoarse { u } => format!(
                "a sorting gauge with a standard uncertainty of {} sorts hardly at all between these limits: judged as if not sorted",
                length(*u)
            ),
            Self::AllOff { by } => format!(
                "all readings may be off alike by up to {} (what of --u is the same each time): the bounds hold with that, either way",
                length(*by)
            ),
            Self::LimitNeverBinds { lots, count, upper } => format!(
                "the {} limit of {} can never bind, a hundred standard deviations and more away and nowhere near the parts' size: was another unit or decimal point meant? Nothing is shown by it; correct it, or leave it out if there is none",
                if *upper { "upper" } else { "lower" },
                names(lots, *count)
            ),
            Self::NoRoom { width } => format!(
                "the guard bands of {} at both limits overlap: with this instrument no reading can prove a part good",
                length(*width)
            ),
        }
    }
}

/// Two significant digits.
fn two_digits(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return format!("{x}");
    }
    let places = 1 - x.abs().log10().floor() as i32;
    if places > 8 { format!("{x:.0e}") } else { format!("{x:.*}", places.max(0).unsigned_abs() as usize) }
}

pub(super) fn of_lots(lots: &[LotResult], options: &LotOptions, gauge_sd: f64) -> Vec<LotWarning> {
    let pick = |wanted: &dyn Fn(&LotResult) -> bool| {
        let chosen: Vec<&LotResult> = lots.iter().filter(|l| wanted(l)).collect();
        (chosen.iter().take(5).map(|l| l.name.clone()).collect::<Vec<_>>(), chosen.len())
    };
    let mut found = Vec::new();
    let (names, count) = pick(&|l| l.n < 2);
    if count > 0 {
        found.push(LotWarning::SingleParts { lots: names, count });
    }
    let (names, count) = pick(&|l| l.sd == Some(0.0));
    if count > 0 {
        found.push(LotWarning::NoScatter { lots: names, count });
    }
    let (names, count) =
        pick(&|l| l.gauge_sd > 0.0 && l.sd.is_some_and(|s| s > 0.0 && l.gauge_sd * l.gauge_sd > 0.5 * s * s));
    if count > 0 {
        found.push(LotWarning::GaugeTooCoarse { lots: names, count, gauge_sd });
    }
    let coarse = |l: &LotResult| l.shape.resolution.step().filter(|step| l.sd.is_some_and(|s| s > 0.0 && *step > s));
    let (names, count) = pick(&|l| coarse(l).is_some());
    if let Some(step) = lots.iter().find_map(coarse) {
        found.push(LotWarning::StepTooCoarse { lots: names, count, step });
    }
    let (names, count) =
        pick(&|l| l.shape.contradicts_normal() && l.capability.is_some_and(|c| c.form == Form::Normal));
    if count > 0 {
        found.push(LotWarning::NoCurve { lots: names, count });
    }
    for upper in [false, true] {
        let (names, count) = pick(&|l| matches!(l.doubt, Some(Doubt::NeverBinds { upper: u, .. }) if u == upper));
        if count > 0 {
            found.push(LotWarning::LimitNeverBinds { lots: names, count, upper });
        }
    }
    if let Some(guard) = lots.iter().find_map(|l| l.guard.filter(|g| !g.leaves_room())) {
        found.push(LotWarning::NoRoom { width: guard.width });
    }
    if options.shape == ShapeKnowledge::Normal {
        let (names, count) = pick(&|l| l.shape.contradicts_normal());
        if count > 0 {
            found.push(LotWarning::NotNormalAsStated { lots: names, count });
        }
    }
    let (names, count) = pick(&|l| l.neighbours_alike);
    if count > 0 {
        found.push(LotWarning::NeighboursAlike { lots: names, count });
    }
    if let Some(sorting) = options.sorting {
        let (names, count) = pick(&|l| l.share_outside.is_some_and(|s| s.counted > 0));
        if count > 0 {
            found.push(LotWarning::SortedYetOutside { lots: names, count });
        }
        // Of several lots the largest figure: what is said of one holds for all.
        let errors = lots.iter().filter_map(|l| {
            let limits = SpecificationLimits::of(l.drawing)?;
            let values: Vec<f64> = l.parts.iter().map(|p| p.value).collect();
            let seen = super::one_lot::reading_error(&values, l.shape.resolution, gauge_sd);
            Some(sorting.error(&options.instrument, limits, seen, l.sd?))
        });
        if let Some(error) = errors.reduce(|a, b| if b.u > a.u { b } else { a }) {
            found.push(if error.too_coarse && error.u.is_finite() {
                LotWarning::SortingTooCoarse { u: error.u }
            } else {
                LotWarning::SortingErrs { u: error.u, assumed: error.assumed, claimed: error.claimed }
            });
        }
    }
    let off = options.instrument.common_error(gauge_sd, options.confidence);
    if off > 0.0 && lots.iter().any(|l| l.share_outside.is_some()) {
        found.push(LotWarning::AllOff { by: off });
    }
    found
}
