//! What the reader must know, in words.

/// What the reader must know of the result as a whole or of one feature.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum TrendWarning {
    /// A feature could not be fitted.
    NotFitted {
        /// Feature name.
        feature: String,
        /// Why, and what would help.
        reason: String,
    },
    /// A variance is 0, or could not be shown by the data.
    Boundary {
        /// Feature name.
        feature: String,
        /// Which, and what it means.
        reason: String,
    },
    /// The policy has no limits for a feature of the table.
    NoLimits {
        /// Feature name.
        feature: String,
    },
    /// The policy has limits for a feature that the table lacks.
    NoReadings {
        /// Feature name.
        feature: String,
    },
    /// Valves that were not read at their engine's last look.
    NotReadLately {
        /// Feature name.
        feature: String,
        /// How many valves.
        valves: usize,
    },
    /// Few valves: the scatter of the fleet is poorly known.
    SmallFleet {
        /// Feature name.
        feature: String,
        /// Segments.
        segments: usize,
    },
    /// Readings that do not fit.
    Suspected {
        /// Feature name.
        feature: String,
        /// How many.
        readings: usize,
    },
    /// Steps.
    Steps {
        /// Feature name.
        feature: String,
        /// How many.
        steps: usize,
    },
    /// Faulty days.
    FaultyDays {
        /// Feature name.
        feature: String,
        /// How many.
        days: usize,
    },
    /// Something a method had to do that changes how the result reads.
    Note {
        /// Feature name.
        feature: String,
        /// In words.
        text: String,
    },
}

/// `1 valve`, `2 valves`.
fn counted(count: usize, noun: &str) -> String {
    format!("{count} {noun}{}", if count == 1 { "" } else { "s" })
}

impl std::fmt::Display for TrendWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotFitted { feature, reason } => write!(f, "{feature}: not fitted: {reason}"),
            Self::Boundary { feature, reason } => write!(f, "{feature}: {reason}"),
            Self::NoLimits { feature } => {
                write!(
                    f,
                    "{feature}: the policy has no limits for it, so there is no status; add [feature.{feature}] with `lower`, `upper` or both"
                )
            }
            Self::NoReadings { feature } => {
                write!(f, "{feature}: the policy has limits for it, but no reading in the inspections")
            }
            Self::NotReadLately { feature, valves } => {
                let (were, their) = if *valves == 1 { ("was", "its") } else { ("were", "their") };
                write!(
                    f,
                    "{feature}: {} {were} not read at {their} engine's last inspection; {their} forecast starts at {their} own last reading, earlier on the meter",
                    counted(*valves, "valve")
                )
            }
            Self::SmallFleet { feature, segments } => {
                let tell = if *segments == 1 { "tells" } else { "tell" };
                write!(
                    f,
                    "{feature}: only {} {tell} how valves differ; forecasts are wide on purpose, more valves narrow them",
                    counted(*segments, "segment")
                )
            }
            Self::Suspected { feature, readings } => {
                let (they, were) =
                    if *readings == 1 { ("One reading does", "it was") } else { ("readings do", "they were") };
                let count = if *readings == 1 { String::new() } else { format!("{readings} ") };
                write!(f, "{feature}: {count}{they} not fit; {were} given little weight: see Readings to check")
            }
            Self::Steps { feature, steps } => {
                let (were, starts) = if *steps == 1 { ("was", "a new start") } else { ("were", "new starts") };
                write!(
                    f,
                    "{feature}: {} that stayed {were} found and taken as {starts}; check whether a part slipped or was changed without a note",
                    counted(*steps, "jump")
                )
            }
            Self::FaultyDays { feature, days } => {
                let days = counted(*days, "day");
                write!(f, "{feature}: on {days} all readings were off together; check the instrument used")
            }
            Self::Note { feature, text } => write!(f, "{feature}: {text}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::TrendWarning;

    #[test]
    fn one_is_one_and_several_are_several() {
        let feature = || "offset".to_owned();
        let said = |n: usize| {
            [
                TrendWarning::NotReadLately { feature: feature(), valves: n },
                TrendWarning::Steps { feature: feature(), steps: n },
                TrendWarning::FaultyDays { feature: feature(), days: n },
            ]
            .map(|w| w.to_string())
        };
        for (text, begins) in said(1).iter().zip(["1 valve was", "1 jump that stayed was", "on 1 day all"]) {
            assert!(text.starts_with(&format!("offset: {begins}")), "{text}");
        }
        for (text, begins) in said(2).iter().zip(["2 valves were", "2 jumps that stayed were", "on 2 days all"]) {
            assert!(text.starts_with(&format!("offset: {begins}")), "{text}");
        }
    }
}
