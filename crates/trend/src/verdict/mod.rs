//! The last stage: from a valve's answers and its newest reading to a verdict, by the rules of docs/verdicts.md.
//!
//! ```text
//! newest believed reading in the damage zone      overdue, whatever the fit says
//! no forecast, or one that is not to be relied on never in window
//! several answers                                 the worst; `read again` where one doubted reading decides
//! chance by the horizon                           above the risk: due; above half of it: watch; else in window
//! ```

mod answer;
mod judge;
mod status;

pub use answer::{Answer, Assumption};
pub use judge::status_by_chance;
pub(crate) use judge::{Case, judge};
pub use status::Status;

use crate::crossing::{CrossingHours, Prospect, Zone};
use crate::policy::{FeatureLimits, Policy};
use packdrift_verdict::Verdict;

/// A valve's newest reading: what was measured goes before what was fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NewestReading {
    /// The reading, in the feature's unit; the mean where a visit has several.
    pub value: f64,
    /// Days since 1970-01-01.
    pub day: i32,
    /// Meter hours.
    pub hours: f64,
    /// Line of the file, or 1-based row.
    pub line: u32,
    /// Weight it has in the fit: 1 in full, near 0 left out.
    pub weight: f64,
    /// Whether it counts as it was read; else it is listed among the readings to check.
    pub believed: bool,
}

/// Weight from which on a reading counts as believed: more likely sound than not.
pub(crate) const BELIEVED: f64 = 0.5;

/// Why a valve has the status that it has.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Reason {
    /// The newest reading lies in the damage zone.
    MeasuredInZone {
        /// The reading.
        value: f64,
        /// Days since 1970-01-01.
        day: i32,
        /// The limit it has passed.
        limit: f64,
        /// Chance of being in the zone now by the fit where that says otherwise: the fit is contradicted.
        contradicts: Option<f64>,
    },
    /// The newest reading lies in the damage zone, but does not fit the valve.
    DoubtedInZone {
        /// The reading.
        value: f64,
        /// Days since 1970-01-01.
        day: i32,
    },
    /// The chance within the horizon against what is allowed for the word.
    Chance {
        /// Chance within the horizon.
        within: f64,
        /// Chance now.
        now: f64,
        /// Hours ahead.
        horizon: f64,
        /// Largest acceptable chance.
        risk: f64,
    },
    /// That chance, where the risk lies within three standard errors of its simulation.
    TooClose {
        /// Chance within the horizon.
        within: f64,
        /// Its standard error.
        error: f64,
        /// Largest acceptable chance.
        risk: f64,
    },
    /// Another answer to the same question is worse, or as bad.
    OtherAnswer {
        /// What it takes for granted.
        assuming: Assumption,
        /// Its chance within the horizon.
        within: f64,
    },
    /// The forecast is not to be relied on.
    NotReliable(String),
    /// There is no forecast.
    NoForecast(String),
}

impl std::fmt::Display for Reason {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::MeasuredInZone { value, day, limit, contradicts } => {
                write!(f, "read {value} on {}, past the limit {limit}", crate::day::iso(*day))?;
                match contradicts {
                    Some(now) => {
                        write!(f, "; the fit, which gives that a chance of {}, is contradicted", percent(*now))
                    }
                    None => Ok(()),
                }
            }
            Self::DoubtedInZone { value, day } => {
                write!(f, "read {value} on {}, in the damage zone, which does not fit the valve", crate::day::iso(*day))
            }
            Self::Chance { now, .. } if *now > 0.5 => {
                write!(f, "in the damage zone now with a chance of {}", percent(*now))
            }
            Self::Chance { within, horizon, risk, .. } => {
                let against = if *within > *risk {
                    "above the risk"
                } else if *within > 0.5 * risk {
                    "above half of the risk"
                } else {
                    "at most half of the risk"
                };
                write!(f, "chance within {horizon} h {}, {against} of {}", percent(*within), percent(*risk))
            }
            Self::TooClose { within, error, risk } => write!(
                f,
                "chance {} against a risk of {}, within three standard errors ({}) of the simulation",
                percent(*within),
                percent(*risk),
                percent(*error)
            ),
            Self::OtherAnswer { assuming, within } => write!(f, "{assuming}: chance {}", percent(*within)),
            Self::NotReliable(why) => write!(f, "the forecast is not to be relied on: {why}"),
            Self::NoForecast(why) => write!(f, "no forecast: {why}"),
        }
    }
}

/// `4.2 %`, `0.31 %`, `below 0.01 %`, `above 99.9 %`.
fn percent(chance: f64) -> String {
    let percent = 100.0 * chance;
    if percent < 0.01 {
        "below 0.01 %".to_owned()
    } else if percent > 99.94 && percent < 100.0 {
        "above 99.9 %".to_owned()
    } else if percent < 1.0 {
        format!("{percent:.2} %")
    } else {
        format!("{percent:.1} %")
    }
}

/// A valve's verdict, with why, and each answer where there is more than one.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveVerdict {
    status: Status,
    reasons: Vec<Reason>,
    settled_by: Option<String>,
    answers: Vec<Answer>,
    stands: usize,
    /// Of the answer by the readings as believed.
    simulation_error: f64,
}

impl ValveVerdict {
    /// The verdict on chances of your own: by the policy's risk, and by the newest reading where there is one.
    ///
    /// `now` is the chance of being in the damage zone, `within` that of being there now or at some time within the horizon.
    ///
    /// ```
    /// use packdrift_trend::{FeatureLimits, Policy, Status, ValveVerdict};
    /// let policy = Policy { risk: 0.05, horizon: 2000.0, ..Policy::default() };
    /// let limits = FeatureLimits { upper: Some(1.6), ..FeatureLimits::default() };
    /// assert_eq!(ValveVerdict::of_chances(&policy, &limits, None, 0.0, 0.01).status(), Status::InWindow);
    /// assert_eq!(ValveVerdict::of_chances(&policy, &limits, None, 0.0, f64::NAN).status(), Status::NotShown);
    /// ```
    pub fn of_chances(
        policy: &Policy,
        limits: &FeatureLimits,
        newest: Option<NewestReading>,
        now: f64,
        within: f64,
    ) -> Self {
        let zone = Zone::of(limits).unwrap_or_default();
        let nothing = f64::NAN;
        let answer = Answer {
            assuming: Assumption::AsBelieved,
            level: nothing,
            level_se: nothing,
            slope: nothing,
            slope_se: nothing,
            level_slope_cov: nothing,
            chance_now: now,
            chance_by_horizon: within,
            simulation_error: 0.0,
            crossing_hours: CrossingHours::default(),
            status: status_by_chance(now, within, 0.0, policy),
            prospect: Prospect::default(),
        };
        judge(Case { policy, zone, newest, answers: vec![answer], trouble: None, cure: None, name: "the valve" })
    }

    /// The word.
    pub fn status(&self) -> Status {
        self.status
    }

    /// Why, the deciding reason first.
    pub fn reasons(&self) -> &[Reason] {
        &self.reasons
    }

    /// What would settle it, in the imperative, where it is open or rests on a doubt.
    pub fn what_settles_it(&self) -> Option<&str> {
        self.settled_by.as_deref()
    }

    /// All answers where a reading, a day or a jump is doubted, the one by the readings as believed first; empty where nothing is.
    pub fn answers(&self) -> &[Answer] {
        &self.answers
    }

    /// The answer whose numbers stand beside the status; None where there is only one, or none.
    pub fn standing_answer(&self) -> Option<&Answer> {
        self.answers.get(self.stands)
    }

    /// Standard error of the simulation behind the chance within the horizon; 0 where it is integrated.
    pub fn simulation_error(&self) -> f64 {
        self.simulation_error
    }

    /// Whether the newest reading says that the fit is wrong.
    pub fn is_contradicted(&self) -> bool {
        self.reasons.iter().any(|r| matches!(r, Reason::MeasuredInZone { contradicts: Some(_), .. }))
    }

    /// For the exit status and for joining with others, as every command gives it.
    pub fn verdict(&self) -> Verdict {
        let why = self.reasons.first().map(ToString::to_string).unwrap_or_default();
        let verdict = judge::as_verdict(self, why);
        match &self.settled_by {
            Some(what) => verdict.settled_by(what.clone()),
            None => verdict,
        }
    }
}

#[cfg(test)]
mod tests;
