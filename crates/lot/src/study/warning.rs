//! What the reader of a study should know first.

use super::options::{LotOptions, ShapeKnowledge};
use super::result::LotResult;
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
    },
    /// The guard bands of the two limits overlap: no reading can prove conformance.
    NoRoom {
        /// g, mm.
        width: f64,
    },
}

impl std::fmt::Display for LotWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let names = |lots: &[String], count: usize| {
            let listed = lots.iter().map(|l| format!("“{l}”")).collect::<Vec<_>>().join(", ");
            if count > lots.len() { format!("{listed} and {} more", count - lots.len()) } else { listed }
        };
        match self {
            Self::SizesUnknown => write!(
                f,
                "the lots have different sizes and some have none, so scatter between lots was not computed: give each lot its size in a column `nominal`"
            ),
            Self::NoComponents { reason } => write!(f, "over all lots: {reason}"),
            Self::SingleParts { lots, count } => {
                write!(f, "a single part says nothing of scatter: measure more parts of {}", names(lots, *count))
            }
            Self::NoScatter { lots, count } => write!(
                f,
                "all parts read the same in {}: the instrument does not see the scatter, and only the count of readings outside speaks",
                names(lots, *count)
            ),
            Self::GaugeTooCoarse { lots, count, gauge_sd } => write!(
                f,
                "the gauge alone (sd {gauge_sd:.4} mm) accounts for most of the scatter in {}: the parts' own sd is hardly known; average repeat readings or use a better gauge",
                names(lots, *count)
            ),
            Self::StepTooCoarse { lots, count, step } => write!(
                f,
                "the instrument reads in steps of {step} mm, more than the sd of {}: shape and small shares are rough; use a finer instrument",
                names(lots, *count)
            ),
            Self::NoCurve { lots, count } => write!(
                f,
                "{} not normal, and the readings are too few or too coarse for another curve: the estimate is that of a normal lot all the same; the verdict is by the count",
                if *count == 1 {
                    format!("{} is", names(lots, *count))
                } else {
                    format!("{} are", names(lots, *count))
                }
            ),
            Self::NotNormalAsStated { lots, count } => write!(
                f,
                "{} said to be normal, but the readings contradict it: judged as of unknown shape",
                if *count == 1 {
                    format!("{} is", names(lots, *count))
                } else {
                    format!("{} are", names(lots, *count))
                }
            ),
            Self::NeighboursAlike { lots, count } => write!(
                f,
                "neighbouring rows read alike in {}: the parts were not drawn at random from the lot, and the bound allows for that; if the rows stand in the order made, say --order file",
                names(lots, *count)
            ),
            Self::SortedYetOutside { lots, count } => write!(
                f,
                "parts outside were counted in {}, though sorted: was every part sorted, by these limits?",
                names(lots, *count)
            ),
            Self::SortingErrs { u, assumed: true } if u.is_infinite() => write!(
                f,
                "sorting errs: with one limit nothing is known of what slips through until the sorting gauge's standard uncertainty is given (--sorted=MM)"
            ),
            Self::SortingErrs { u, assumed: true } => write!(
                f,
                "sorting errs, and how much slips through depends on the sorting gauge: taken to have a standard uncertainty of {u:.4} mm, six of which are a tenth of the tolerance; give the true one with --sorted=MM"
            ),
            Self::SortingErrs { u, assumed: false } => write!(
                f,
                "sorting errs: parts beyond a limit by about the sorting gauge's standard uncertainty of {u:.4} mm slip through; the bound allows for that, not for parts that were never sorted"
            ),
            Self::NoRoom { width } => write!(
                f,
                "the guard bands of {width:.4} mm at both limits overlap: with this instrument no reading can prove a part good"
            ),
        }
    }
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
        if let Some(limits) = lots.iter().find_map(|l| SpecificationLimits::of(l.drawing)) {
            let (u, assumed) = sorting.u(&options.instrument, limits);
            found.push(LotWarning::SortingErrs { u, assumed });
        }
    }
    found
}
