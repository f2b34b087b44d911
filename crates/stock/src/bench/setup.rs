//! Which bay, which rockers, which condition: what a question comes to before anything is learned.

use super::{Measured, Warning};
use crate::drawer::Piece;
use crate::error::StockError;
use crate::objective::ZONES;
use packdrift_pack::{Pack, Quantity, QuantityKind};
use packdrift_spread::{NeverBinds, Requirement, SpreadError, Stack, never_binding};

pub(super) fn unknown(pack: &Pack, name: &str) -> StockError {
    let known: Vec<&str> =
        pack.bays.iter().flat_map(|bay| bay.valves.iter().map(|valve| valve.name.as_str())).collect();
    StockError::UnknownValve { name: name.to_owned(), known: known.join(", ") }
}

/// The bay of the named valves, and their indices in it.
pub(super) fn locate(pack: &Pack, measured: &[Measured]) -> Result<(usize, Vec<usize>), StockError> {
    let Some(first) = measured.first() else {
        return Err(StockError::Count { what: "valves to shim", count: 0, expected: "at least 1" });
    };
    let (bay, _) = pack.find_valve(&first.valve).ok_or_else(|| unknown(pack, &first.valve))?;
    let mut valves = Vec::new();
    for m in measured {
        let (other, valve) = pack.find_valve(&m.valve).ok_or_else(|| unknown(pack, &m.valve))?;
        if other != bay {
            return Err(StockError::AnotherBay {
                valve: first.valve.clone(),
                bay: pack.bays[bay].name.clone(),
                also: m.valve.clone(),
                also_bay: pack.bays[other].name.clone(),
            });
        }
        if valves.contains(&valve) {
            return Err(StockError::NamedTwice { name: m.valve.clone() });
        }
        valves.push(valve);
    }
    Ok((bay, valves))
}

/// The valves whose offsets count, the named ones first, and those that one search cannot hold besides.
pub(super) fn rockers(
    stack: &Stack,
    bay: usize,
    named: &[usize],
    measured: &[Measured],
) -> Result<(Vec<usize>, Vec<usize>), StockError> {
    let offset_limits = |valve: usize| {
        stack
            .requirements
            .iter()
            .any(|r| r.quantity == (Quantity::Offset { bay, valve }) && (r.lower.is_some() || r.upper.is_some()))
    };
    if let Some(k) = named.iter().position(|&valve| !offset_limits(valve)) {
        return Err(StockError::NoOffsetLimits { name: measured[k].valve.clone() });
    }
    let mut counted: Vec<usize> =
        (0..stack.pack.bays[bay].valves.len()).filter(|&valve| offset_limits(valve)).collect();
    counted.sort_by_key(|valve| (!named.contains(valve), *valve));
    let spare = counted.split_off(counted.len().min(ZONES - 1));
    Ok((counted, spare))
}

/// Of the requirements that builds are held against, the limits that can never bind.
///
/// # Errors
/// A bay that has no value anywhere within the limits of its dimensions.
pub(super) fn slips(stack: &Stack, requirements: &[Requirement]) -> Result<Vec<NeverBinds>, SpreadError> {
    let held = requirements.iter().filter(followed).cloned().collect();
    never_binding(&Stack { requirements: held, ..stack.clone() })
}

/// Whether builds are held against a requirement.
fn followed(r: &&Requirement) -> bool {
    matches!(r.quantity.kind(), QuantityKind::Offset | QuantityKind::Preload)
}

/// What bears on every answer for this bay.
pub(super) fn warnings(
    pack: &Pack,
    bay: usize,
    requirements: &[Requirement],
    spare: &[usize],
    sum_tolerance: Option<f64>,
) -> Vec<Warning> {
    let mut warnings = Vec::new();
    if !spare.is_empty() {
        let valves = spare.iter().map(|&valve| pack.bays[bay].valves[valve].name.clone()).collect();
        warnings.push(Warning::RockersLeftOut { valves });
    }
    let names: Vec<String> = requirements.iter().filter(|r| !followed(r)).map(|r| r.name.clone()).collect();
    if !names.is_empty() {
        warnings.push(Warning::RequirementsNotKept { names });
    }
    if let Some(tolerance) = sum_tolerance {
        warnings.push(Warning::NoPreloadLimits { bay: pack.bays[bay].name.clone(), tolerance });
    }
    warnings
}

/// The pieces of the drawer, each by a name that no part of the bay bears, nor another piece.
pub(super) fn told_apart(drawer: &[Piece], bay: &packdrift_pack::Bay) -> Vec<Piece> {
    let in_the_bay = |name: &str| bay.parts.iter().any(|part| part.name == name);
    let in_the_drawer = |name: &str| drawer.iter().any(|piece| piece.name == name);
    let of = |piece: &Piece| {
        let mut name = piece.name.clone();
        while in_the_bay(&name) || (name != piece.name && in_the_drawer(&name)) {
            name.push_str(" (drawer)");
        }
        Piece { name, ..piece.clone() }
    };
    drawer.iter().map(of).collect()
}

/// The condition nearest to the reference temperature: the engine is cold when it is measured.
pub(super) fn coldest(pack: &Pack) -> usize {
    let away = |c: usize| (pack.conditions[c].temperature - pack.reference_temperature).abs();
    (0..pack.conditions.len()).min_by(|&a, &b| away(a).total_cmp(&away(b))).unwrap_or(0)
}
