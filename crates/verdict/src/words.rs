//! What each command calls its best and its worst answer. The answers in between have one name everywhere.

use crate::Standing;

/// The words of one command.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Words {
    /// The reassuring word, for [`Standing::Shown`].
    pub shown: &'static str,
    /// The word for [`Standing::Adverse`].
    pub adverse: &'static str,
}

impl Words {
    /// The word for a standing.
    pub fn of(&self, standing: Standing) -> &'static str {
        match standing {
            Standing::Shown => self.shown,
            Standing::Watch => "watch",
            Standing::TooCloseToTell => "too close to tell",
            Standing::NotShown => "not shown",
            Standing::ReadAgain => "read again",
            Standing::Adverse => self.adverse,
        }
    }
}

/// `trend`: a valve.
pub const TREND: Words = Words { shown: "in window", adverse: "due" };
/// `due`: an engine.
pub const DUE: Words = Words { shown: "not yet", adverse: "due" };
/// `stack`: a requirement.
pub const STACK: Words = Words { shown: "met", adverse: "not met" };
/// `allocate`: a requirement after allocation.
pub const ALLOCATE: Words = STACK;
/// `lot`: a lot.
pub const LOT: Words = Words { shown: "acceptable", adverse: "not acceptable" };
/// `gauge`: a micrometer.
pub const GAUGE: Words = Words { shown: "good enough", adverse: "not good enough" };
/// `sampling`: a lot under a plan.
pub const SAMPLING: Words = Words { shown: "accept", adverse: "reject" };
/// `shim`: a build.
pub const SHIM: Words = Words { shown: "done", adverse: "not done" };
/// `shim`: a build that nobody has made yet. Done it is when it was read.
pub const SHIM_UNBUILT: Words = Words { shown: "good enough", adverse: "not done" };
/// `stock`: a choice of sizes.
pub const STOCK: Words = Words { shown: "good enough", adverse: "not good enough" };
