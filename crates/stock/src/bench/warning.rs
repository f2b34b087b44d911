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
        /// How far the latest reading is.
        surprise: Surprise,
        /// A second reading agrees with it.
        repeated: bool,
    },
    /// Several readings of one state, and nothing said of the gauge's repeatability.
    RepeatsOfOneGauge {
        /// The valve.
        valve: String,
        /// Readings that are believed.
        count: usize,
        /// What their mean is worth: a standard uncertainty, mm.
        u: f64,
    },
    /// Readings of one state scatter more than their stated uncertainty allows.
    ScatterBeyondStated {
        /// The valve.
        valve: String,
        /// The stated standard deviation of one, mm: its repeatability where that is said, else its uncertainty.
        u: f64,
    },
    /// A valve was not measured.
    NotMeasured {
        /// The valve.
        valve: String,
    },
    /// The bay may be loose where its offsets were read.
    ReadLoose {
        /// The chance of that.
        chance: f64,
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
        /// The rocker that was not asked for and that the best one pushes out of its limits.
        pushed_out: Option<String>,
    },
    /// What a reading leaves open is too much for any build.
    ReadingTooCoarse {
        /// The valve.
        valve: String,
        /// What is left open of its offset whatever the pieces: a standard deviation, mm.
        sd: f64,
        /// The largest chance that any build can have.
        most: f64,
        /// The standard deviation that a well centred build would need, mm.
        wanted: f64,
        /// Wanted chance.
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

impl Warning {
    /// In words, with lengths (mm) as `length` writes them, its unit included; `signed` writes a displacement with its sign.
    pub fn words(&self, length: &dyn Fn(f64) -> String, signed: &dyn Fn(f64) -> String) -> String {
        match self {
            Self::NoPreloadLimits { bay, tolerance } => format!(
                "the pack file has no preload limits for bay \"{bay}\": the sum of the pieces is held within {} of the present one instead; add a \
                 preload requirement for a sounder answer",
                length(*tolerance)
            ),
            Self::RequirementsNotKept { names } => format!(
                "builds are chosen by offset and preload alone; not looked at: {}. Run `stack` on the pack with the new thicknesses to see them",
                names.join(", ")
            ),
            Self::RockersLeftOut { valves } => {
                format!("the bay has more rockers than one search can hold; not looked after: {}", valves.join(", "))
            }
            Self::OffsetFarFromDrawing { valve, surprise, repeated } => format!(
                "the offset measured at \"{valve}\" is {:.1} standard deviations from the {} that the drawing and wear make likely: {}check that \
                 the parts in the bay are those of the pack file",
                surprise.z.abs(),
                length(surprise.expected),
                if *repeated { "two readings agree; " } else { "read it again, and " }
            ),
            Self::RepeatsOfOneGauge { valve, count, u } => format!(
                "the {count} readings of \"{valve}\" guard against a slip, but their mean is taken to be known no better than to {} (a standard deviation): what \
                 the gauge has wrong the same way each time does not average. Say with --repeatability how far its readings of one state scatter",
                length(*u)
            ),
            Self::ScatterBeyondStated { valve, u } => format!(
                "the readings of \"{valve}\" lie farther apart than a standard deviation of {} allows: the gauge is worse than stated (--u, --repeatability), or something \
                 moves between readings. Each counts for what they scatter by, and none of it is averaged away",
                length(*u)
            ),
            Self::NotMeasured { valve } => {
                format!("no reading of \"{valve}\" was used: what is said of it is by the pack file alone")
            }
            Self::ReadLoose { chance } => format!(
                "by the pack file the bay is loose with a chance of {} where its offsets are read: a reading says little there. Make the \
                 build, which takes up the play, and read again",
                percent(*chance)
            ),
            Self::DriftTakenAsTheStems { valve, by } => format!(
                "the rocker of \"{valve}\" stands {} from where the drawing has it, away from its spring washer; the squeeze is taken to be as \
                 drawn. If faces have worn the spring washer has lost as much squeeze: look at them, and say so with --worn-faces 1",
                signed(*by)
            ),
            Self::OtherRockerMoves { valve, by } => format!(
                "the build advised also moves the rocker of \"{valve}\", by {}: measure its offset too and name it with --also",
                signed(*by)
            ),
            Self::UnmeasuredPieces { names } => format!(
                "the build advised rests on pieces nobody has measured ({}): measure each before it is fitted",
                names.join(", ")
            ),
            Self::LooseNow { play } => format!(
                "by the pack file the bay is loose now, with {} of play: its offset is not one value but a range",
                length(*play)
            ),
            Self::ReadingTooCoarse { valve, sd, most, wanted, enough } => format!(
                "the reading of \"{valve}\" leaves its offset open by {} (a standard deviation), whatever pieces are fitted: no build can be inside with \
                 more than {}, so the search was kept short. At most {} would do for {}; what it can tell is whether the rocker is far off",
                length(*sd),
                percent(*most),
                length(*wanted),
                percent(*enough)
            ),
            Self::NotProven { .. } | Self::FewestNotProven | Self::NothingFits { .. } => self.of_the_search(),
        }
    }

    /// Those that the search has.
    fn of_the_search(&self) -> String {
        match self {
            Self::NotProven { floor } if floor.is_finite() => format!(
                "the search stopped before it was through: every build with a score of {floor:.3} or more was looked at, a better order below \
                 that is possible"
            ),
            Self::FewestNotProven => "the search stopped before it had gone through all builds that touch fewer parts: a good enough one among \
                 them is possible"
                .to_owned(),
            Self::NothingFits { pushed_out: Some(valve), .. } => format!(
                "no build from this drawer is good enough: the best pushes the rocker of \"{valve}\" out of its limits; name it with --also, with \
                 its measured offset, to shim both"
            ),
            // The best one's chance stands with its error in the answer: one number, in one place.
            Self::NothingFits { enough, .. } => format!(
                "no build from this drawer is good enough: wanted is a chance of {} of being inside its limits",
                percent(*enough)
            ),
            _ => "the search stopped before it was through: the builds listed are good ones, but better ones are possible".to_owned(),
        }
    }
}

/// A chance in whole percent; with as many decimals as keep it from 0 and 100 where it is neither.
pub(super) fn percent(chance: f64) -> String {
    let end = 100.0 * chance.min(1.0 - chance);
    let decimals = if end > 0.0 && end < 1.0 { ((-end.log10() - 1e-9).ceil() as usize).min(9) } else { 0 };
    format!("{:.decimals$} %", 100.0 * chance)
}

impl std::fmt::Display for Warning {
    /// With lengths in mm.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.words(&|mm| format!("{mm:.3} mm"), &|mm| format!("{mm:+.3} mm")))
    }
}

#[cfg(test)]
mod tests {
    use super::percent;

    #[test]
    fn a_chance_is_never_rounded_to_none_or_all() {
        assert_eq!(
            [0.95, 0.996, 0.9999, 1.0, 0.0, 0.0004].map(percent),
            ["95 %", "99.6 %", "99.99 %", "100 %", "0 %", "0.04 %"]
        );
    }
}
