//! What would be if: changes to the policy, to the engines' running, to windows, places and days, over the same readings and forecasts.

use crate::calendar::iso;
use crate::plan::Pin;
use packdrift_trend::{Policy, Usage, UsageSource, Window};
use std::collections::BTreeMap;
use std::fmt;

/// One thing that is other than today.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Change {
    /// Another accepted risk.
    Risk {
        /// Above 0, below 1.
        risk: f64,
    },
    /// So many times as many hours a week as today.
    Running {
        /// Whose; None: all engines that are not named.
        engine: Option<String>,
        /// Above 0.
        times: f64,
    },
    /// Hours a week.
    Usage {
        /// Whose.
        engine: String,
        /// Above 0.
        hours_a_week: f64,
    },
    /// An engine has its place in a window, whatever it costs.
    PinToWindow {
        /// Engine name.
        engine: String,
        /// First day of the window.
        start: i32,
    },
    /// An engine is done on a day outside the windows; it takes no place.
    PinToDay {
        /// Engine name.
        engine: String,
        /// The day.
        day: i32,
    },
    /// One window more.
    AddWindow(Window),
    /// One window less.
    DropWindow {
        /// Its first day.
        start: i32,
    },
    /// A window of other size.
    ResizeWindow {
        /// Its first day.
        start: i32,
        /// Places.
        engines: u32,
    },
    /// Jobs come later than planned: the places are given as without the delay, which nobody foresees.
    Delay {
        /// Whose; None: every job of the plan.
        engine: Option<String>,
        /// By how many days.
        days: i32,
    },
}

/// `1 day`, `2 days`.
pub(crate) fn counted<N: fmt::Display + PartialEq + From<u8>>(count: &N, noun: &str) -> String {
    format!("{count} {noun}{}", if *count == N::from(1) { "" } else { "s" })
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            // To ten digits: 100 · 0.07 is not quite 7.
            Self::Risk { risk } => write!(f, "accepted risk {} %", (1e10 * risk).round() / 1e8),
            Self::Running { engine: None, times } => write!(f, "all engines run {times} times as much"),
            Self::Running { engine: Some(engine), times } => write!(f, "{engine} runs {times} times as much"),
            Self::Usage { engine, hours_a_week } => write!(f, "{engine} runs {hours_a_week} hours a week"),
            Self::PinToWindow { engine, start } => write!(f, "{engine} in the window from {}", iso(*start)),
            Self::PinToDay { engine, day } => write!(f, "{engine} on {}", iso(*day)),
            Self::AddWindow(w) => {
                write!(f, "a window more, {} … {}, {}", iso(w.start), iso(w.end), counted(&w.engines, "engine"))
            }
            Self::DropWindow { start } => write!(f, "without the window from {}", iso(*start)),
            Self::ResizeWindow { start, engines } => {
                write!(f, "the window from {} holds {}", iso(*start), counted(engines, "engine"))
            }
            Self::Delay { engine: None, days } => {
                write!(f, "every job {} later than planned", counted(days, "day"))
            }
            Self::Delay { engine: Some(engine), days } => {
                write!(f, "{engine} {} later than planned", counted(days, "day"))
            }
        }
    }
}

/// A set of changes to look at together.
///
/// ```
/// use packdrift_due::{Change, Scenario};
/// let busy = Scenario { name: "busy".into(), changes: vec![Change::Running { engine: None, times: 1.3 }] };
/// assert_eq!(busy.changes[0].to_string(), "all engines run 1.3 times as much");
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// What it is called.
    pub name: String,
    /// What is other than today.
    pub changes: Vec<Change>,
}

impl Scenario {
    /// How many times as much as today an engine may have to run, at most; 1 or more.
    pub(crate) fn fastest(&self, engine: &str, usage: Option<Usage>) -> f64 {
        usage.map_or(1.0, |today| (self.usage_of(engine, today).hours_a_week / today.hours_a_week).max(1.0))
    }

    /// An engine's usage under the changes.
    pub(crate) fn usage_of(&self, engine: &str, today: Usage) -> Usage {
        let mut times = None;
        let mut hours = None;
        for change in &self.changes {
            match change {
                Change::Running { engine: Some(name), times: t } if name == engine => times = Some(*t),
                Change::Usage { engine: name, hours_a_week } if name == engine => hours = Some(*hours_a_week),
                _ => {}
            }
        }
        if let Some(hours_a_week) = hours {
            let times = hours_a_week / today.hours_a_week;
            let variance_a_day = today.variance_a_day * times;
            let source = UsageSource::PolicyForEngine;
            return Usage { hours_a_week, standard_error: 0.0, variance_a_day, source, ..today };
        }
        let all = self.changes.iter().find_map(|c| match c {
            Change::Running { engine: None, times } => Some(*times),
            _ => None,
        });
        let times = times.or(all).unwrap_or(1.0);
        Usage {
            hours_a_week: today.hours_a_week * times,
            standard_error: today.standard_error * times,
            // Days vary as before about a mean that is so many times larger: the index of dispersion stays.
            variance_a_day: today.variance_a_day * times,
            ..today
        }
    }

    /// Whether valves are to be judged anew, by another risk or another running.
    pub(crate) fn judges_anew(&self) -> bool {
        self.changes.iter().any(|c| matches!(c, Change::Risk { .. } | Change::Running { .. } | Change::Usage { .. }))
    }

    /// The policy under the changes.
    pub(crate) fn policy(&self, today: &Policy) -> Policy {
        let mut policy = today.clone();
        for change in &self.changes {
            match change {
                Change::Risk { risk } => policy.risk = *risk,
                Change::DropWindow { start } => {
                    if let Some(k) = policy.windows.iter().position(|w| w.start == *start) {
                        policy.windows.remove(k);
                    }
                }
                Change::ResizeWindow { start, engines } => {
                    if let Some(w) = policy.windows.iter_mut().find(|w| w.start == *start) {
                        w.engines = *engines;
                    }
                }
                _ => {}
            }
        }
        // Added last, so that a window that is dropped and added again is a moved one.
        policy.windows.extend(self.changes.iter().filter_map(|c| match c {
            Change::AddWindow(w) => Some(w.clone()),
            _ => None,
        }));
        policy.windows.sort_by_key(|w| (w.start, w.end));
        policy
    }

    /// Where each engine is put; `windows` are those to come.
    pub(crate) fn pins(&self, engines: &[&str], windows: &[Window]) -> Vec<Option<Pin>> {
        let mut pins = vec![None; engines.len()];
        let index = |engine: &str| engines.iter().position(|e| *e == engine);
        for change in &self.changes {
            match change {
                Change::PinToWindow { engine, start } => {
                    let window = windows.iter().position(|w| w.start == *start);
                    if let (Some(k), Some(w)) = (index(engine), window) {
                        pins[k] = Some(Pin::Window(w));
                    }
                }
                Change::PinToDay { engine, day } => {
                    if let Some(k) = index(engine) {
                        pins[k] = Some(Pin::Day(*day));
                    }
                }
                _ => {}
            }
        }
        pins
    }

    /// Days by which each engine's job comes later.
    pub(crate) fn delays(&self, engines: &[&str]) -> Vec<i32> {
        let mut own: BTreeMap<&str, i32> = BTreeMap::new();
        let mut all = 0;
        for change in &self.changes {
            match change {
                Change::Delay { engine: None, days } => all = *days,
                Change::Delay { engine: Some(engine), days } => {
                    own.insert(engine, *days);
                }
                _ => {}
            }
        }
        engines.iter().map(|e| own.get(e).copied().unwrap_or(all)).collect()
    }

    /// Why the changes cannot be: an engine or a window that is not there, a day that has passed, more pinned than a window holds. A reader of
    /// files finds these with their lines; this is for those who build scenarios themselves.
    pub(crate) fn refusal(&self, engines: &[&str], policy: &Policy, today: i32) -> Option<String> {
        let changed = self.policy(policy);
        let known = |engine: &str| engines.contains(&engine);
        for change in &self.changes {
            let engine = match change {
                Change::Running { engine, .. } | Change::Delay { engine, .. } => engine.as_deref(),
                Change::Usage { engine, .. } | Change::PinToWindow { engine, .. } | Change::PinToDay { engine, .. } => {
                    Some(engine.as_str())
                }
                _ => None,
            };
            if let Some(engine) = engine.filter(|e| !known(e)) {
                return Some(format!("no engine {engine} is planned; give a name as in the inspections"));
            }
            let bad = match change {
                Change::Risk { risk } if !(*risk > 0.0 && *risk < 1.0) => {
                    format!("risk {risk} is no chance above 0 and below 1")
                }
                Change::Running { times, .. } if !(*times > 0.0 && times.is_finite()) => {
                    format!("{times} times as many hours cannot be, give a number above 0")
                }
                Change::Usage { hours_a_week, .. } if !(*hours_a_week > 0.0 && *hours_a_week <= 168.0) => {
                    format!("{hours_a_week} hours a week cannot be, give a number above 0 and up to 168")
                }
                Change::DropWindow { start } | Change::ResizeWindow { start, .. }
                    if !policy.windows.iter().any(|w| w.start == *start) =>
                {
                    format!("the policy has no window from {}", iso(*start))
                }
                Change::PinToWindow { start, .. }
                    if !changed.windows.iter().any(|w| w.start == *start && w.end >= today) =>
                {
                    format!("no window to come begins on {}", iso(*start))
                }
                Change::PinToDay { day, .. } if *day < today => format!("{} has passed", iso(*day)),
                Change::Delay { days, .. } if *days < 0 => format!("a delay of {days} days is none"),
                _ => continue,
            };
            return Some(bad);
        }
        let pinned = |start: i32| {
            self.changes.iter().filter(|c| matches!(c, Change::PinToWindow { start: s, .. } if *s == start)).count()
        };
        let full = changed.windows.iter().find(|w| pinned(w.start) > w.engines as usize)?;
        Some(format!(
            "{} engines are put into the window from {}, which holds {}",
            pinned(full.start),
            iso(full.start),
            full.engines
        ))
    }
}
