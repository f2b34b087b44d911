//! A supplier's deliveries in a row, each judged by the standard plan that was in force for it: the switching rules at work.

use super::standard::{self, Level, Severity, StandardPlan, look_up};
use super::switching::{LotOutcome, PERMITS_REDUCED, Reduced, State, follow_from};
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
/// After a stop nothing is judged until inspection begins again ([`judge_again`]).
///
/// # Errors
/// As [`look_up`]; no deliveries; more parts outside than were measured.
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
    judge_again(deliveries, level, limit_percent, reduced, &[])
}

/// Where inspection begins again after a stop, the supplier having mended the cause: with a delivery by its name, or with the next one to come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BeginAgain {
    /// With this delivery.
    With(String),
    /// With the next.
    WithNext,
}

/// As [`judge`], where inspection was stopped and begins again, tightened, from deliveries on.
///
/// # Errors
/// As [`judge`]; a delivery that is not there or comes while inspection goes on.
pub fn judge_again(
    deliveries: &[Delivery],
    level: Level,
    limit_percent: f64,
    reduced: Reduced,
    again: &[BeginAgain],
) -> Result<History, LotError> {
    let Some(last) = deliveries.last() else {
        return Err(LotError::TooFew { what: "a history".into(), found: 0, needed: 1, of: "deliveries" });
    };
    for name in again.iter().filter_map(|a| if let BeginAgain::With(name) = a { Some(name) } else { None }) {
        if !deliveries.iter().any(|d| d.lot == *name) {
            let known = deliveries.iter().map(|d| d.lot.clone()).collect();
            return Err(LotError::Unknown { kind: "delivery", name: name.clone(), known });
        }
    }
    let plan_in = |state: State, lot_size: u64| -> Result<Option<StandardPlan>, LotError> {
        match state {
            State::Inspect(severity) => look_up(lot_size, level, limit_percent, severity).map(Some),
            State::Discontinued => Ok(None),
        }
    };
    let tightened = State::Inspect(Severity::Tightened);
    let not_stopped = |what: &str| {
        Err(LotError::Inconsistent(format!("inspection was not stopped before {what}, so that it cannot begin again")))
    };
    let mut start = State::Inspect(Severity::Normal);
    let mut outcomes: Vec<LotOutcome> = Vec::with_capacity(deliveries.len());
    let mut judged = Vec::with_capacity(deliveries.len());
    for delivery in deliveries {
        if again.contains(&BeginAgain::With(delivery.lot.clone())) {
            if follow_from(start, &outcomes, reduced).next() != State::Discontinued {
                return not_stopped(&delivery.lot);
            }
            start = tightened;
            outcomes.clear();
        }
        let state = follow_from(start, &outcomes, reduced).next();
        let plan = plan_in(state, delivery.lot_size)?;
        let Some(found) = plan else {
            judged.push(Judged { delivery: delivery.clone(), state, plan, accepted: None, score: 0 });
            continue;
        };
        let measured = found.plan.sample_size;
        if delivery.outside > measured {
            return Err(LotError::OutOfRange {
                what: format!("the number outside of {}", delivery.lot),
                value: delivery.outside as f64,
                expected: format!("from 0 to {measured}, the parts that {} inspection measures", word(state)),
            });
        }
        let accepted = delivery.outside <= found.plan.acceptance_number;
        outcomes.push(LotOutcome { accepted, accepted_stricter: stricter(delivery, &found, level, limit_percent) });
        let score = follow_from(start, &outcomes, reduced).scores.last().copied().unwrap_or(0);
        judged.push(Judged { delivery: delivery.clone(), state, plan, accepted: Some(accepted), score });
    }
    let mut next = follow_from(start, &outcomes, reduced).next();
    if again.contains(&BeginAgain::WithNext) {
        if next != State::Discontinued {
            return not_stopped("the next delivery");
        }
        next = tightened;
    }
    let reduced_permitted = next == State::Inspect(Severity::Normal)
        && judged.last().is_some_and(|d| d.accepted.is_some() && d.score >= PERMITS_REDUCED);
    Ok(History { deliveries: judged, next, next_plan: plan_in(next, last.lot_size)?, reduced_permitted })
}

fn word(state: State) -> &'static str {
    match state {
        State::Inspect(Severity::Normal) => "normal",
        State::Inspect(Severity::Tightened) => "tightened",
        State::Inspect(Severity::Reduced) => "reduced",
        State::Discontinued => "no",
    }
}

/// Whether the sample would have passed the next stricter limit. None where the acceptance number is 0 or 1 (a rule of its own). Where the table
/// has no stricter limit, or asks for a larger sample there, the sample does not show it.
fn stricter(delivery: &Delivery, found: &StandardPlan, level: Level, limit_percent: f64) -> Option<bool> {
    if found.plan.acceptance_number <= 1 {
        return None;
    }
    let strict = standard::stricter(delivery.lot_size, level, limit_percent).ok();
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

    /// At 0.65 % with acceptance numbers of 2 and more the next stricter limit is 0.40 %: letter L, 200 parts, 3 accepted; 0.40 %: 2. Ten in a row permit reduced.
    #[test]
    fn the_score_rises_at_the_stricter_limits_too() {
        for (limit, lot_size, outside) in [(0.65, 8000, 2), (0.40, 20_000, 2), (0.10, 400_000, 1)] {
            let lots: Vec<Delivery> = (0..10).map(|k| Delivery { lot: k.to_string(), lot_size, outside }).collect();
            let found = judge(&lots, Level::II, limit, Reduced::NotAgreed).unwrap();
            assert!(found.deliveries[0].plan.unwrap().plan.acceptance_number >= 2, "{limit}");
            assert!(found.reduced_permitted, "{limit}: {:?}", found.deliveries.last());
        }
    }

    #[test]
    fn after_a_stop_inspection_begins_again_tightened() {
        let outside = [3, 3, 2, 2, 2, 2, 2, 0, 1, 1];
        let lots: Vec<Delivery> = outside
            .iter()
            .enumerate()
            .map(|(i, &outside)| Delivery { lot: i.to_string(), lot_size: 1000, outside })
            .collect();
        let again = |again: &[BeginAgain]| judge_again(&lots, Level::II, 1.0, Reduced::NotAgreed, again);
        assert_eq!(again(&[]).unwrap().next, State::Discontinued);
        let found = again(&[BeginAgain::With("8".into())]).unwrap();
        assert_eq!((found.deliveries[7].accepted, found.deliveries[8].accepted), (None, Some(true)));
        assert_eq!(found.deliveries[8].state, State::Inspect(Severity::Tightened));
        assert_eq!(found.next, State::Inspect(Severity::Tightened));
        let next = again(&[BeginAgain::WithNext]).unwrap();
        assert_eq!((next.next, next.next_plan.unwrap().plan.acceptance_number), (tightened(), 1));
        for refused in [BeginAgain::With("2".into()), BeginAgain::With("99".into())] {
            assert!(again(&[refused]).is_err());
        }
    }

    fn tightened() -> State {
        State::Inspect(Severity::Tightened)
    }

    /// Two refusals at letter N tighten inspection there too; more outside than were measured is refused with the range.
    #[test]
    fn large_lots_can_be_tightened_and_impossible_counts_are_refused() {
        let large = |outside| Delivery { lot: "n".into(), lot_size: 100_000, outside };
        let found = judge(&[large(400), large(400)], Level::II, 1.0, Reduced::NotAgreed).unwrap();
        assert_eq!((found.next, found.next_plan.unwrap().plan.acceptance_number), (tightened(), 8));
        let error =
            judge(&[Delivery { lot: "x".into(), lot_size: 1000, outside: 99 }], Level::II, 1.0, Reduced::NotAgreed)
                .unwrap_err()
                .to_string();
        assert!(error.contains("from 0 to 80") && error.contains("99"), "{error}");
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
