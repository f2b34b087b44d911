//! A supplier's deliveries in a row, each judged by the standard plan that was in force for it: the switching rules at work.

use super::standard::{LIMITS, Level, Severity, StandardPlan, look_up};
use super::switching::{LotOutcome, PERMITS_REDUCED, Reduced, State, follow};
use crate::LotError;

/// One delivery, as inspected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// Its name.
    pub lot: String,
    /// Parts in it.
    pub lot_size: u64,
    /// Parts of the sample that were outside.
    pub outside: u64,
}

/// One delivery, as judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// The delivery.
    pub delivery: Delivery,
    /// What was in force.
    pub state: State,
    /// The plan in force; None after inspection was stopped.
    pub plan: Option<StandardPlan>,
    /// Whether it was accepted; None after inspection was stopped.
    pub accepted: Option<bool>,
    /// The switching score after it; 30 permits reduced inspection.
    pub score: u32,
}

/// A history, and what it says of the next lot.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    /// In order.
    pub deliveries: Vec<Judged>,
    /// In force for the next lot.
    pub next: State,
    /// Its plan, for a lot as large as the last; None where inspection is stopped.
    pub next_plan: Option<StandardPlan>,
    /// Whether reduced inspection is permitted for it, though not agreed to: normal inspection with a score of 30 or more.
    pub reduced_permitted: bool,
}

/// Judges deliveries in order under the switching rules (module [`super::switching`]). Reduced inspection, where agreed to, is by the computed plan of
/// [`Severity::Reduced`]; a delivery's `outside` is of the sample that the plan in force asks for.
///
/// # Errors
/// As [`look_up`]; no deliveries.
///
/// # Examples
/// ```
/// use packdrift_lot::sampling::history::{Delivery, judge};
/// use packdrift_lot::sampling::standard::{Level, Severity};
/// use packdrift_lot::sampling::switching::{Reduced, State};
/// let lots = [0, 4, 1, 3].map(|outside| Delivery { lot: "a".into(), lot_size: 1000, outside });
/// let history = judge(&lots, Level::II, 1.0, Reduced::NotAgreed)?;
/// assert_eq!(history.next, State::Inspect(Severity::Tightened));
/// assert_eq!(history.next_plan.map(|p| p.plan.acceptance_number), Some(1));
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn judge(deliveries: &[Delivery], level: Level, limit_percent: f64, reduced: Reduced) -> Result<History, LotError> {
    let Some(last) = deliveries.last() else {
        return Err(LotError::TooFew { what: "a history".into(), found: 0, needed: 1, of: "deliveries" });
    };
    let plan_in = |state: State, lot_size: u64| -> Result<Option<StandardPlan>, LotError> {
        match state {
            State::Inspect(severity) => look_up(lot_size, level, limit_percent, severity).map(Some),
            State::Discontinued => Ok(None),
        }
    };
    let mut outcomes: Vec<LotOutcome> = Vec::with_capacity(deliveries.len());
    let mut judged = Vec::with_capacity(deliveries.len());
    for delivery in deliveries {
        let state = follow(&outcomes, reduced).next();
        let plan = plan_in(state, delivery.lot_size)?;
        let Some(found) = plan else {
            judged.push(Judged { delivery: delivery.clone(), state, plan, accepted: None, score: 0 });
            continue;
        };
        let accepted = delivery.outside <= found.plan.acceptance_number;
        outcomes.push(LotOutcome { accepted, accepted_stricter: stricter(delivery, &found, level, limit_percent) });
        let score = follow(&outcomes, reduced).scores.last().copied().unwrap_or(0);
        judged.push(Judged { delivery: delivery.clone(), state, plan, accepted: Some(accepted), score });
    }
    let next = follow(&outcomes, reduced).next();
    let reduced_permitted = next == State::Inspect(Severity::Normal)
        && judged.last().is_some_and(|d| d.accepted.is_some() && d.score >= PERMITS_REDUCED);
    Ok(History { deliveries: judged, next, next_plan: plan_in(next, last.lot_size)?, reduced_permitted })
}

/// Whether the sample would have passed the next stricter limit. None where the acceptance number is 0 or 1 (a rule of its own). Where the table
/// has no stricter limit, or asks for a larger sample there, the sample does not show it.
fn stricter(delivery: &Delivery, found: &StandardPlan, level: Level, limit_percent: f64) -> Option<bool> {
    if found.plan.acceptance_number <= 1 {
        return None;
    }
    let column = LIMITS.iter().position(|l| (l - limit_percent).abs() < 1e-9)?;
    let strict =
        column.checked_sub(1).and_then(|c| look_up(delivery.lot_size, level, LIMITS[c], Severity::Normal).ok());
    Some(
        strict.is_some_and(|s| {
            s.plan.sample_size <= found.plan.sample_size && delivery.outside <= s.plan.acceptance_number
        }),
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::*;

    fn history(outside: &[u64]) -> History {
        history_where(outside, Reduced::NotAgreed)
    }

    fn history_where(outside: &[u64], reduced: Reduced) -> History {
        let lots: Vec<Delivery> = outside
            .iter()
            .enumerate()
            .map(|(i, &outside)| Delivery { lot: i.to_string(), lot_size: 1000, outside })
            .collect();
        judge(&lots, Level::II, 1.0, reduced).unwrap()
    }

    /// Letter J, limit 1 %: 80 parts, 2 accepted; tightened 1. Under 0.65 %: 80 parts, 1.
    #[test]
    fn each_lot_is_judged_by_the_plan_in_force_for_it() {
        // Two of three refused: from the fourth on 2 outside are too many, until five in a row pass.
        let found = history(&[3, 0, 3, 2, 1, 1, 1, 1, 1, 2]);
        let accepted: Vec<bool> = found.deliveries.iter().map(|d| d.accepted.unwrap()).collect();
        assert_eq!(accepted, [false, true, false, false, true, true, true, true, true, true]);
        assert_eq!(found.deliveries[3].state, State::Inspect(Severity::Tightened));
        assert_eq!(found.deliveries[9].state, State::Inspect(Severity::Normal));
        // Five refused under tightened inspection stop it; what comes after is not judged.
        let found = history(&[3, 3, 2, 2, 2, 2, 2, 0]);
        assert_eq!((found.next, found.next_plan), (State::Discontinued, None));
        assert_eq!(found.deliveries[7].accepted, None);
    }

    /// Ten lots in a row that also pass 0.65 % (at most 1 outside) make a score of 30.
    #[test]
    fn a_long_good_run_permits_reduced_inspection() {
        let found = history(&[1; 10]);
        assert!(found.reduced_permitted);
        assert_eq!(found.next, State::Inspect(Severity::Normal));
        assert_eq!((found.deliveries[8].score, found.deliveries[9].score), (27, 30));
        assert!(!history(&[1; 9]).reduced_permitted);
        // 2 outside are accepted, but would not be at the next stricter limit: the score begins again.
        assert_eq!(history(&[1, 1, 2, 1]).deliveries.iter().map(|d| d.score).collect::<Vec<_>>(), [3, 6, 0, 3]);
    }

    /// Without the buyer's consent normal inspection goes on, and a refusal after the long run still counts among five.
    #[test]
    fn a_permission_that_is_not_used_forgets_no_refusal() {
        let found = history(&[1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 3, 1, 3]);
        assert_eq!(found.next, State::Inspect(Severity::Tightened));
    }

    /// Agreed: 32 parts with at most 1 outside, until a lot is refused; then 80 with at most 2.
    #[test]
    fn reduced_inspection_that_is_agreed_to_is_judged_by_its_own_plan() {
        let outside = [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 2, 2];
        let found = history_where(&outside, Reduced::Agreed);
        let plans: Vec<(u64, u64)> = found.deliveries[9..]
            .iter()
            .map(|d| d.plan.map(|p| (p.plan.sample_size, p.plan.acceptance_number)).unwrap())
            .collect();
        assert_eq!(plans, [(80, 2), (32, 1), (32, 1), (80, 2)]);
        assert_eq!(found.deliveries[11].accepted, Some(false));
        assert_eq!(found.deliveries[12].accepted, Some(true));
        assert_eq!(found.next, State::Inspect(Severity::Normal));
        let found = history_where(&[1; 10], Reduced::Agreed);
        assert_eq!((found.next, found.reduced_permitted), (State::Inspect(Severity::Reduced), false));
    }
}
