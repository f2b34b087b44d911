//! What the reader must know beside the plan. Like notes are one.

use crate::scenario::counted;

/// An engine whose meter does not bear the policy's hours a week out.
#[derive(Debug, Clone, PartialEq)]
pub struct UsageDifference {
    /// Engine name.
    pub engine: String,
    /// Policy's hours a week.
    pub policy: f64,
    /// Meter's.
    pub meter: f64,
    /// Standard error of the meter's.
    pub standard_error: f64,
}

/// What the reader must know.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum DueWarning {
    /// A feature with limits has no model: the dates know nothing of it.
    NotForecast {
        /// Feature name.
        feature: String,
    },
    /// Engines whose usage is not known.
    UsageUnknown {
        /// Their names.
        engines: Vec<String>,
    },
    /// Engines that run as the mean of the fleet, since neither their meter nor the policy tells their own hours a week.
    FleetUsage {
        /// Their names.
        engines: Vec<String>,
        /// Mean hours a week.
        hours_a_week: f64,
        /// How far one engine may be off it.
        standard_error: f64,
    },
    /// `[usage] default` stands for no engine.
    DefaultUnused {
        /// Hours a week.
        hours_a_week: f64,
    },
    /// The policy's hours a week are not what the meter says.
    UsageDiffers {
        /// Whose.
        engines: Vec<UsageDifference>,
    },
    /// Windows that were over before the day the plan is made.
    WindowsPast {
        /// First and last days.
        windows: Vec<(i32, i32)>,
    },
    /// Windows of the same days.
    WindowsRepeat {
        /// First and last days, once each.
        windows: Vec<(i32, i32)>,
    },
    /// Windows that share days with another.
    WindowsOverlap {
        /// First and last days of both.
        pairs: Vec<[(i32, i32); 2]>,
    },
    /// The policy has no windows that are still to come.
    NoWindows,
    /// Engines whose latest day comes before any window does.
    BeforeWindows {
        /// Their names.
        engines: Vec<String>,
    },
    /// Engines that found no place by their latest day.
    PlacesLacking {
        /// Their names.
        engines: Vec<String>,
    },
    /// Engines whose latest day has passed and that wait for a window all the same.
    LateInWindows {
        /// Their names.
        engines: Vec<String>,
    },
    /// The last reading lies far back.
    ReadLongAgo {
        /// Engine names and days since, the longest first.
        engines: Vec<(String, i32)>,
        /// Days beyond which that is far.
        days: i32,
    },
    /// A failure costs no more than a planned job: there is no interval to choose.
    NoIncentive,
}

/// Names, cut after twelve.
fn some(names: &[String]) -> String {
    const MOST: usize = 12;
    match names.len().checked_sub(MOST) {
        None | Some(0) => names.join(", "),
        Some(more) => format!("{} and {more} more", names[..MOST].join(", ")),
    }
}

/// `2027-03-01 … 2027-03-12`.
fn days(&(start, end): &(i32, i32)) -> String {
    format!("{} … {}", crate::calendar::iso(start), crate::calendar::iso(end))
}

fn all_days(windows: &[(i32, i32)]) -> String {
    some(&windows.iter().map(days).collect::<Vec<_>>())
}

impl std::fmt::Display for DueWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotForecast { feature } => {
                write!(
                    f,
                    "{feature}: could not be forecast, so no date knows of it and no engine that has it is shown to be fit"
                )
            }
            Self::UsageUnknown { engines } => write!(
                f,
                "{}: hours a week unknown, so there is no date; give [usage] in the policy, or meter readings over a quarter of a year",
                some(engines)
            ),
            Self::FleetUsage { engines, hours_a_week, standard_error } => write!(
                f,
                "{}: neither the meter (less than a quarter of a year of it) nor the policy tells the hours a week; taken is the mean of the fleet, {hours_a_week:.0} ± {standard_error:.0}",
                some(engines)
            ),
            Self::DefaultUnused { hours_a_week } => write!(
                f,
                "[usage] default = {hours_a_week} changes nothing: every engine's hours a week are its own, by its meter or by name in the policy"
            ),
            Self::UsageDiffers { engines } => {
                let one = |d: &UsageDifference| {
                    format!("{} ({:.0} against {:.0} ± {:.0})", d.engine, d.policy, d.meter, d.standard_error)
                };
                let engines: Vec<String> = engines.iter().map(one).collect();
                write!(f, "the policy's hours a week are not the meter's: {}; the policy's are used", some(&engines))
            }
            Self::WindowsPast { windows } => write!(
                f,
                "left out, since over before the day of the plan: {}, {}",
                counted(&windows.len(), "service window"),
                all_days(windows)
            ),
            Self::WindowsRepeat { windows } => write!(
                f,
                "service windows of the same days stand more than once: {}; their places are added, as for two workshops. Drop one if it is a slip",
                all_days(windows)
            ),
            Self::WindowsOverlap { pairs } => {
                let pairs: Vec<String> = pairs.iter().map(|[a, b]| format!("{} and {}", days(a), days(b))).collect();
                write!(
                    f,
                    "service windows overlap: {}; each keeps its places, as for two workshops. Mend the dates if it is a slip",
                    some(&pairs)
                )
            }
            Self::NoWindows => write!(f, "the policy has no service window to come; engines have dates but no place"),
            Self::BeforeWindows { engines } => write!(
                f,
                "{}: due before the first service window begins; do them before it, or open one earlier",
                some(engines)
            ),
            Self::PlacesLacking { engines } => write!(
                f,
                "{}: no place by the latest day, the windows hold too few or lie too far apart; the table of windows says what a place more is worth",
                some(engines)
            ),
            Self::LateInWindows { engines } => write!(
                f,
                "{}: the latest day has passed, and by the plan they run on until a window; places they take are lacking for others",
                some(engines)
            ),
            Self::ReadLongAgo { engines, days } => match engines.as_slice() {
                [(engine, since)] => write!(
                    f,
                    "{engine}: last read {since} days before the day of the plan; read it before you rely on its date"
                ),
                [(longest, since), ..] => write!(
                    f,
                    "{} engines were last read more than {days} days before the day of the plan ({longest} {since} days, the longest); read them before you rely on their dates",
                    engines.len()
                ),
                [] => Ok(()),
            },
            Self::NoIncentive => write!(
                f,
                "a failure costs no more than a planned job, so no interval is cheaper than waiting; check [cost] in the policy"
            ),
        }
    }
}
