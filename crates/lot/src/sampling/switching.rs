//! When to inspect more strictly or less, over a history of lots: the switching rules of ISO 2859-1 (and, but for the score, of MIL-STD-105E).
//!
//! - Normal to tightened: two lots not accepted among five or fewer in a row.
//! - Tightened to normal: five accepted in a row.
//! - Tightened to discontinued: five not accepted while on tightened inspection, in all.
//! - Normal to reduced: the switching score reaches 30. It starts at 0 with normal inspection; a lot that would also have been accepted at the
//!   next stricter acceptance quality limit adds 3 (with acceptance numbers of 0 or 1: a lot accepted adds 2); any other sets it to 0.
//! - Reduced to normal: a lot not accepted.
//!
//! Reduced inspection also needs steady production and the buyer's consent, which no history shows. Unless the buyer says so ([`Reduced::Agreed`])
//! normal inspection goes on, and the score of 30 or more says that reduced would be permitted.

use super::standard::Severity;

/// What happened with a lot on original inspection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LotOutcome {
    /// Whether it was accepted.
    pub accepted: bool,
    /// Whether it would have been accepted at the next stricter limit; None where the acceptance number is 0 or 1, which has a rule of its own.
    pub accepted_stricter: Option<bool>,
}

/// The score that permits reduced inspection.
pub const PERMITS_REDUCED: u32 = 30;

/// Whether the buyer agrees to reduced inspection once the rules permit it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reduced {
    /// Production is steady and the buyer agrees.
    Agreed,
    /// Normal inspection goes on.
    NotAgreed,
}

/// Where inspection stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Goes on.
    Inspect(Severity),
    /// Stopped until the supplier has done something about it; then tightened.
    Discontinued,
}

/// The state before each lot, and after the last.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SwitchingHistory {
    /// `states[i]` was in force for lot i; the last entry is in force for the next lot.
    pub states: Vec<State>,
    /// Switching score after each lot; 0 outside normal inspection.
    pub scores: Vec<u32>,
    /// Lots after the one that stopped inspection; they were not judged.
    pub not_judged: usize,
}

impl SwitchingHistory {
    /// The state in force for the next lot.
    pub fn next(&self) -> State {
        self.states.last().copied().unwrap_or(State::Inspect(Severity::Normal))
    }
}

/// Follows the rules from normal inspection on; [`follow_from`] from another state.
///
/// # Examples
/// ```
/// use packdrift_lot::sampling::standard::Severity;
/// use packdrift_lot::sampling::switching::{LotOutcome, Reduced, State, follow};
/// let lot = |accepted| LotOutcome { accepted, accepted_stricter: Some(accepted) };
/// let history = follow(&[lot(true), lot(false), lot(true), lot(false)], Reduced::NotAgreed);
/// assert_eq!(history.next(), State::Inspect(Severity::Tightened));
/// ```
pub fn follow(lots: &[LotOutcome], reduced: Reduced) -> SwitchingHistory {
    follow_from(State::Inspect(Severity::Normal), lots, reduced)
}

/// Follows the rules from a state on: from tightened inspection where it begins again after a stop.
pub fn follow_from(start: State, lots: &[LotOutcome], reduced: Reduced) -> SwitchingHistory {
    let mut state = start;
    let mut states = vec![state];
    let mut scores = Vec::with_capacity(lots.len());
    let mut score = 0;
    // Outcomes since the present state began.
    let mut since: Vec<bool> = Vec::new();
    let mut refused_while_tightened = 0;
    let mut judged = 0;
    for lot in lots {
        let State::Inspect(severity) = state else { break };
        judged += 1;
        since.push(lot.accepted);
        let next = match severity {
            Severity::Normal => {
                score = match (lot.accepted, lot.accepted_stricter) {
                    (true, Some(true)) => score + 3,
                    (true, None) => score + 2,
                    _ => 0,
                };
                if since.iter().rev().take(5).filter(|a| !**a).count() >= 2 {
                    State::Inspect(Severity::Tightened)
                } else if score >= PERMITS_REDUCED && reduced == Reduced::Agreed {
                    State::Inspect(Severity::Reduced)
                } else {
                    state
                }
            }
            Severity::Tightened => {
                refused_while_tightened += u32::from(!lot.accepted);
                if refused_while_tightened >= 5 {
                    State::Discontinued
                } else if since.len() >= 5 && since.iter().rev().take(5).all(|a| *a) {
                    State::Inspect(Severity::Normal)
                } else {
                    state
                }
            }
            Severity::Reduced if lot.accepted => state,
            Severity::Reduced => State::Inspect(Severity::Normal),
        };
        // The lot that earns reduced inspection shows by what score.
        scores.push(if matches!(next, State::Inspect(Severity::Normal | Severity::Reduced)) { score } else { 0 });
        if next != state {
            since.clear();
            refused_while_tightened = 0;
            score = 0;
            state = next;
        }
        states.push(state);
    }
    SwitchingHistory { states, scores, not_judged: lots.len() - judged }
}
