//! What the mechanic should know before trusting a build.

use crate::beliefs::Surprise;

/// Something that bears on the result.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Warning {
    /// The bay has no preload limits.
    NoPreloadLimits {
        /// The bay.
        bay: String,
        /// How far the sum may stray instead, mm.
        tolerance: f64,
    },
    /// Requirements of the bay that the search does not keep.
    RequirementsNotKept {
        /// Their names.
        names: Vec<String>,
    },
    /// Rockers of the bay beyond those the search can hold.
    RockersLeftOut {
        /// Their valves.
        valves: Vec<String>,
    },
    /// The measured offset is not what the drawing makes likely.
    OffsetFarFromDrawing {
        /// The valve.
        valve: String,
        /// How far.
        surprise: Surprise,
    },
    /// The offset has drifted as worn faces would make it, and is taken not to be worn faces.
    DriftTakenAsTheStems {
        /// The valve.
        valve: String,
        /// From the drawing, mm.
        by: f64,
    },
    /// Another rocker of the bay moves with this one.
    OtherRockerMoves {
        /// Its valve.
        valve: String,
        /// By the build advised, mm.
        by: f64,
    },
    /// The search stopped before it had proven its list to be the best.
    NotProven {
        /// Every build with a score of at least this was looked at; infinite: not even the best are known to be all.
        floor: f64,
    },
    /// The search stopped before it had gone through the builds that touch fewer parts.
    FewestNotProven,
    /// No build is good enough.
    NothingFits {
        /// Chance of the best one.
        best: f64,
        /// Wanted.
        enough: f64,
    },
    /// A build rests on pieces that nobody has measured.
    UnmeasuredPieces {
        /// Their labels, of the build advised.
        names: Vec<String>,
    },
    /// The bay is loose now.
    LooseNow {
        /// Expected play, mm.
        play: f64,
    },
}

impl std::fmt::Display for Warning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoPreloadLimits { bay, tolerance } => write!(
                f,
                "the pack file has no preload limits for bay \"{bay}\": the sum of the pieces is held within {tolerance:.2} mm of the \
                 present one instead; add a preload requirement for a sounder answer"
            ),
            Self::RequirementsNotKept { names } => write!(
                f,
                "builds are chosen by offset and preload alone; not looked at: {}. Run `stack` on the pack with the new thicknesses to see them",
                names.join(", ")
            ),
            Self::RockersLeftOut { valves } => {
                write!(f, "the bay has more rockers than one search can hold; not looked after: {}", valves.join(", "))
            }
            Self::OffsetFarFromDrawing { valve, surprise } => write!(
                f,
                "the offset measured at \"{valve}\" is {:.1} standard deviations from the {:.3} mm that the drawing and wear make likely: measure \
                 again, and check that the parts in the bay are those of the pack file",
                surprise.z.abs(),
                surprise.expected
            ),
            Self::DriftTakenAsTheStems { valve, by } => write!(
                f,
                "the rocker of \"{valve}\" stands {by:+.3} mm from where the drawing has it, away from its spring washer; the squeeze is taken to be as drawn. \
                 If faces have worn the spring washer has lost as much squeeze: look at them, and say so with --worn-faces 1"
            ),
            Self::OtherRockerMoves { valve, by } => write!(
                f,
                "the build advised also moves the rocker of \"{valve}\", by {by:+.3} mm: measure its offset too and name it with --also"
            ),
            Self::NotProven { floor } if !floor.is_finite() => write!(
                f,
                "the search stopped before it was through: the builds listed are good ones, but better ones are possible"
            ),
            Self::NotProven { floor } => write!(
                f,
                "the search stopped before it was through: every build with a score of {floor:.3} or more was looked at, a better order \
                 below that is possible"
            ),
            Self::FewestNotProven => write!(
                f,
                "the search stopped before it had gone through all builds that touch fewer parts: a good enough one among them is possible"
            ),
            Self::NothingFits { best, enough } if best >= enough => write!(
                f,
                "no build from this drawer is good enough: those inside their limits push another rocker of the bay out of its own; name it with \
                 --also, with its measured offset, to shim both"
            ),
            Self::NothingFits { best, enough } => write!(
                f,
                "no build from this drawer is good enough: the best has a chance of {:.1} % of being inside its limits, wanted are {:.0} %",
                100.0 * best,
                100.0 * enough
            ),
            Self::UnmeasuredPieces { names } => write!(
                f,
                "the build advised rests on pieces nobody has measured ({}): measure each before it is fitted",
                names.join(", ")
            ),
            Self::LooseNow { play } => {
                write!(
                    f,
                    "by the pack file the bay is loose now, with {play:.3} mm of play: its offset is not one value but a range"
                )
            }
        }
    }
}
