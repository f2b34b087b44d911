//! Verdicts: the one type through which every reassuring word passes.
//!
//! A command that calms somebody (in window, met, acceptable, done) does so on evidence, and the evidence is the *bound* on the safe
//! side, never the estimate ([docs/verdicts.md] has the rule in full). The type makes that the only way: a [`Verdict`] is built from
//! [`Evidence`], its fields are private, and what is added to it can only make it worse.
//!
//! ```
//! use packdrift_verdict::{Evidence, Standing, STACK};
//! // A share outside of 0.1 %, not above 0.2 % with 95 % confidence, allowed 0.27 %.
//! let met = Evidence::at_most("share outside", 0.0027).estimate(0.001).bounds(0.0004, 0.002).judge();
//! assert_eq!((met.word(&STACK), met.exit_status()), ("met", 0));
//! // The same estimate from fewer trials: the bound passes the allowance, so the word is another.
//! let open = Evidence::at_most("share outside", 0.0027).estimate(0.001).bounds(0.0, 0.006).judge();
//! assert_eq!((open.word(&STACK), open.exit_status()), ("not shown", 1));
//! assert_eq!(met.and(open).standing(), Standing::NotShown);
//! ```
//!
//! Map: [`Standing`] the six answers, from best to worst · [`Evidence`] a bound against what is allowed · [`Verdict`] the judgement, with
//! its reasons and what would settle it · [`loose_bay`] the rule on a bay that is loose · [`Words`] what each command calls its best and its worst.
//!
//! [docs/verdicts.md]: https://example.invalid/packdrift/docs/verdicts.md

mod evidence;
mod load;
mod loose;
mod words;

pub use evidence::Evidence;
pub use load::load_not_settled;
pub use loose::{LOOSE, loose_bay};
pub use words::{ALLOCATE, DUE, GAUGE, LOT, SAMPLING, SHIM, SHIM_UNBUILT, STACK, STOCK, TREND, Words};

/// How a question stands, from best to worst: of two answers to one question the greater is the verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Standing {
    /// Shown by the bound: the reassuring word may be said.
    Shown,
    /// Nothing is wrong yet, and nothing is shown to be right: look again. Exit 0.
    Watch,
    /// The threshold lies within three standard errors of simulation. Exit 1.
    TooCloseToTell,
    /// The data cannot show it. Exit 1.
    NotShown,
    /// One reading decides it: read again before anything is done. Exit 1.
    ReadAgain,
    /// Shown to be bad, or more likely bad than not: not met, rejected, due, overdue. Exit 1.
    Adverse,
}

impl Standing {
    /// Status of the process: 0 where the user may go on.
    pub fn exit_status(self) -> u8 {
        u8::from(self > Self::Watch)
    }
}

/// The judgement of one question. Only [`Evidence::judge`] builds a reassuring one.
#[derive(Debug, Clone, PartialEq, Eq)]
#[must_use]
pub struct Verdict {
    standing: Standing,
    reasons: Vec<String>,
    settled_by: Option<String>,
}

impl Verdict {
    pub(crate) fn of(standing: Standing, reason: String) -> Self {
        Self { standing, reasons: vec![reason], settled_by: None }
    }

    /// Shown to be bad.
    pub fn adverse(reason: impl Into<String>) -> Self {
        Self::of(Standing::Adverse, reason.into())
    }

    /// Could not be shown: too few data, a fit that failed, a figure that is no number.
    pub fn not_shown(reason: impl Into<String>) -> Self {
        Self::of(Standing::NotShown, reason.into())
    }

    /// A single reading decides it.
    pub fn read_again(reason: impl Into<String>) -> Self {
        Self::of(Standing::ReadAgain, reason.into())
    }

    /// The simulation cannot tell.
    pub fn too_close(reason: impl Into<String>) -> Self {
        Self::of(Standing::TooCloseToTell, reason.into())
    }

    /// Neither shown to be right nor wrong yet, and nothing need be done now.
    pub fn watch(reason: impl Into<String>) -> Self {
        Self::of(Standing::Watch, reason.into())
    }

    /// With what would settle it: a sentence in the imperative ("Measure 40 more parts.").
    pub fn settled_by(mut self, what: impl Into<String>) -> Self {
        self.settled_by = Some(what.into());
        self
    }

    /// The deciding reason in the command's own words; how it stands does not change.
    pub fn in_words(mut self, reason: impl Into<String>) -> Self {
        match self.reasons.first_mut() {
            Some(first) => *first = reason.into(),
            None => self.reasons.push(reason.into()),
        }
        self
    }

    /// Where the reasons of another verdict are among these, its words for `to`'s: the same said in another unit. How it stands does not change.
    pub fn reword(&mut self, from: &Self, to: &Self) {
        for (old, new) in from.reasons.iter().zip(&to.reasons) {
            self.reasons.iter_mut().filter(|reason| *reason == old).for_each(|reason| reason.clone_from(new));
        }
        if self.settled_by.is_some() && self.settled_by == from.settled_by {
            self.settled_by.clone_from(&to.settled_by);
        }
    }

    /// Both answers to one question: the worse stands, its reasons first.
    pub fn and(self, other: Self) -> Self {
        let (mut worse, better) = if other.standing > self.standing { (other, self) } else { (self, other) };
        worse.reasons.extend(better.reasons.into_iter().filter(|_| worse.standing == better.standing));
        worse.reasons.dedup();
        worse.settled_by = worse.settled_by.or(better.settled_by.filter(|_| worse.standing == better.standing));
        worse
    }

    /// The worst of several; `not shown` where there is none, since nothing was asked.
    pub fn worst(all: impl IntoIterator<Item = Self>) -> Self {
        all.into_iter().reduce(Self::and).unwrap_or_else(|| Self::not_shown("nothing was judged"))
    }

    /// How the question stands.
    pub fn standing(&self) -> Standing {
        self.standing
    }

    /// Whether the reassuring word may be said.
    pub fn is_shown(&self) -> bool {
        self.standing == Standing::Shown
    }

    /// Why, the deciding reason first.
    pub fn reasons(&self) -> &[String] {
        &self.reasons
    }

    /// What would settle it, where it is open.
    pub fn what_settles_it(&self) -> Option<&str> {
        self.settled_by.as_deref()
    }

    /// The command's word for it.
    pub fn word(&self, words: &Words) -> &'static str {
        words.of(self.standing)
    }

    /// Status of the process.
    pub fn exit_status(&self) -> u8 {
        self.standing.exit_status()
    }
}

#[cfg(test)]
mod tests;
