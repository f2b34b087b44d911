//! A valve's status in one word, for lists, colours and the exit status.

use packdrift_verdict::{Standing, TREND};

/// How a valve stands by the policy; ordered, the most urgent last.
///
/// `InWindow` is the one reassuring word, and only evidence gives it (docs/verdicts.md). `Overdue` is the worse half of
/// [`Standing::Adverse`]: already in the damage zone, where `Due` is on the way there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Status {
    /// Chance within the horizon at most half the risk, and nothing speaks against it.
    InWindow,
    /// Above half the risk.
    Watch,
    /// The risk lies within three standard errors of the simulation behind the chance.
    TooCloseToTell,
    /// The readings, or the fit, cannot show it.
    NotShown,
    /// One doubted reading decides it.
    ReadAgain,
    /// Above the risk.
    Due,
    /// Already outside: measured there, or with a chance above one half.
    Overdue,
}

impl Status {
    /// All of them, the most urgent first.
    pub const ALL: [Self; 7] =
        [Self::Overdue, Self::Due, Self::ReadAgain, Self::NotShown, Self::TooCloseToTell, Self::Watch, Self::InWindow];

    /// `in window`, `watch`, `too close to tell`, `not shown`, `read again`, `due`, `overdue`.
    ///
    /// ```
    /// use packdrift_trend::Status;
    /// assert_eq!(Status::ReadAgain.name(), "read again");
    /// assert!(Status::Overdue > Status::NotShown && Status::NotShown > Status::Watch);
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::Overdue => "overdue",
            other => TREND.of(other.standing()),
        }
    }

    /// Where it stands among the answers that every command gives.
    pub fn standing(self) -> Standing {
        match self {
            Self::InWindow => Standing::Shown,
            Self::Watch => Standing::Watch,
            Self::TooCloseToTell => Standing::TooCloseToTell,
            Self::NotShown => Standing::NotShown,
            Self::ReadAgain => Standing::ReadAgain,
            Self::Due | Self::Overdue => Standing::Adverse,
        }
    }

    /// Of an open or adverse standing. A reassuring status comes of evidence alone: [`Standing::Shown`] gives `Watch` here.
    pub(crate) fn of(standing: Standing) -> Self {
        match standing {
            Standing::Shown | Standing::Watch => Self::Watch,
            Standing::TooCloseToTell => Self::TooCloseToTell,
            Standing::NotShown => Self::NotShown,
            Standing::ReadAgain => Self::ReadAgain,
            Standing::Adverse => Self::Due,
        }
    }
}
