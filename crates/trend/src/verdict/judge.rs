//! The rules themselves. Nothing but evidence gives the reassuring word; what comes after it can only make it worse.

use super::{Answer, Assumption, NewestReading, Reason, Status, ValveVerdict};
use crate::crossing::Zone;
use crate::policy::Policy;
use packdrift_verdict::{Evidence, Standing, Verdict};

/// All that a valve is judged by.
pub(crate) struct Case<'a> {
    pub(crate) policy: &'a Policy,
    pub(crate) zone: Zone,
    /// None where readings are not at hand (a table of sums).
    pub(crate) newest: Option<NewestReading>,
    /// The answer by the readings as believed first; empty where there is no forecast.
    pub(crate) answers: Vec<Answer>,
    /// Why there is no forecast, or why it is not to be relied on.
    pub(crate) trouble: Option<&'a str>,
    /// What would cure the trouble, in the imperative.
    pub(crate) cure: Option<&'a str>,
    /// What the valve is called in advice.
    pub(crate) name: &'a str,
}

/// What one forecast alone says: the chance now, the chance within the horizon and the latter's standard error of simulation.
///
/// ```
/// use packdrift_trend::{Policy, Status, status_by_chance};
/// let policy = Policy { risk: 0.05, ..Policy::default() };
/// assert_eq!(status_by_chance(0.0, 0.02, 0.0, &policy), Status::InWindow);
/// // The same chance by a simulation that errs by 0.002 may be above half of the risk.
/// assert_eq!(status_by_chance(0.0, 0.02, 0.002, &policy), Status::Watch);
/// assert_eq!(status_by_chance(0.0, f64::NAN, 0.0, &policy), Status::NotShown);
/// ```
pub fn status_by_chance(now: f64, within: f64, error: f64, policy: &Policy) -> Status {
    if now.is_nan() || within.is_nan() {
        return Status::NotShown;
    }
    if now > 0.5 {
        return Status::Overdue;
    }
    match evidence(within, error, policy.risk).standing() {
        Standing::Shown if evidence(within, error, 0.5 * policy.risk).standing() == Standing::Shown => Status::InWindow,
        other => Status::of(other),
    }
}

/// The chance already holds what is not known of the valve: it is its own bound.
fn evidence(within: f64, error: f64, allowed: f64) -> Evidence {
    Evidence::at_most("chance of being in the damage zone within the horizon", allowed)
        .exact(within)
        .simulation_error(error)
}

/// The valve's verdict in the words of all commands; `why` in the deciding reason's place.
pub(super) fn as_verdict(of: &ValveVerdict, why: String) -> Verdict {
    match of.status {
        Status::Overdue | Status::Due => Verdict::adverse(why),
        Status::ReadAgain => Verdict::read_again(why),
        Status::NotShown => Verdict::not_shown(why),
        Status::TooCloseToTell => Verdict::too_close(why),
        Status::Watch => Verdict::watch(why),
        Status::InWindow => match of.reasons.first() {
            Some(Reason::Chance { within, risk, .. }) => evidence(*within, 0.0, 0.5 * risk).judge().in_words(why),
            // No other reason makes a valve in window.
            _ => Verdict::not_shown(why),
        },
    }
}

/// Judges a valve.
pub(crate) fn judge(case: Case<'_>) -> ValveVerdict {
    let Case { policy, zone, newest, mut answers, trouble, cure, name } = case;
    let mut status = Status::InWindow;
    let mut reasons = Vec::new();
    let mut settled_by = None;
    let mut stands = 0;
    match answers.first() {
        None => {
            status = Status::NotShown;
            reasons.push(Reason::NoForecast(trouble.unwrap_or("nothing could be fitted").to_owned()));
            settled_by = cure.map(str::to_owned);
        }
        Some(first) => {
            status = status.max(first.status);
            reasons.push(chance_reason(first, policy));
            if status == Status::TooCloseToTell {
                settled_by = Some("Average over more points.".to_owned());
            }
        }
    }
    for (k, other) in answers.iter().enumerate().skip(1) {
        let Some(worse) = worse_of(status, other) else { continue };
        status = worse;
        // Neither answer stands until the reading is repeated; the numbers stay those by the readings as believed.
        if worse != Status::ReadAgain {
            stands = k;
        }
        reasons.insert(0, Reason::OtherAnswer { assuming: other.assuming.clone(), within: other.chance_by_horizon });
        settled_by = other.assuming.settled_by(name).or(settled_by);
    }
    if let (Some(why), false) = (trouble, answers.is_empty())
        && status < Status::NotShown
    {
        status = Status::NotShown;
        reasons.insert(0, Reason::NotReliable(why.to_owned()));
        settled_by = cure.map(str::to_owned);
    }
    if let Some(reading) = newest
        && let Some(limit) = zone.passed_by(reading.value)
    {
        let (value, day) = (reading.value, reading.day);
        if reading.believed {
            let now = answers.get(stands).map(|a| a.chance_now);
            let contradicts = now.filter(|now| *now <= 0.5);
            status = Status::Overdue;
            reasons.insert(0, Reason::MeasuredInZone { value, day, limit, contradicts });
            if contradicts.is_some() {
                settled_by = Some(format!("Read {name} again."));
            }
        } else if status < Status::ReadAgain {
            status = Status::ReadAgain;
            reasons.insert(0, Reason::DoubtedInZone { value, day });
            settled_by = Some(format!("Read {name} again."));
        }
    }
    let simulation_error = answers.first().map_or(0.0, |a| a.simulation_error);
    if answers.len() == 1 {
        answers.clear();
    }
    ValveVerdict { status, reasons, settled_by, answers, stands, simulation_error }
}

fn chance_reason(answer: &Answer, policy: &Policy) -> Reason {
    let (within, now) = (answer.chance_by_horizon, answer.chance_now);
    match answer.status {
        Status::NotShown => Reason::NotReliable("its chance could not be computed".to_owned()),
        Status::TooCloseToTell => Reason::TooClose { within, error: answer.simulation_error, risk: policy.risk },
        _ => Reason::Chance { within, now, horizon: policy.horizon, risk: policy.risk },
    }
}

/// The status once another answer is heard; None where it is no worse. A single doubted reading that would make the valve due, or visits that
/// are taken for wrong, do not make it so: it is to be read again.
fn worse_of(status: Status, other: &Answer) -> Option<Status> {
    if other.status <= status {
        return None;
    }
    // Good visits left out would make a valve overdue that was just read inside its limits.
    if matches!(other.assuming, Assumption::LooksLeftOut { .. }) && status.standing() == Standing::Adverse {
        return None;
    }
    let doubted = matches!(
        other.assuming,
        Assumption::ReadingCounts { .. } | Assumption::ReadingLeftOut { .. } | Assumption::LooksLeftOut { .. }
    );
    if doubted && other.status.standing() == Standing::Adverse && status.standing() != Standing::Adverse {
        return (status < Status::ReadAgain).then_some(Status::ReadAgain);
    }
    Some(other.status)
}
