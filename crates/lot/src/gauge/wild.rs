//! One reading that stands out from all others: a slip of the pen, a chip under the anvil. It is named, and the study answers without it too.
//!
//! Each reading against what all others say of it by part and operator, x_ijk = μ + part_i + operator_j + e: with residual r, leverage h and s the residual
//! sd without this reading, t = r/(s·√(1 − h)) is Student's with N − p − o degrees of freedom (externally studentised residual; Cook and Weisberg, Residuals
//! and Influence in Regression, 1982, section 2.2, quoted from memory). Of N readings the farthest one is named where N·P(|t| > …) is below [`LEVEL`]
//! (Bonferroni). A difference within one step of the instrument is none.
//!
//! Operators who differ by part widen s: fewer are named then. h = 1/n_part + 1/n_operator − 1/N holds for a balanced study and nearly for others.

use super::{Fitness, GaugeStudy};
use crate::interval::Interval;
use crate::readings::Readings;
use crate::shape::Resolution;
use packdrift_numerics::special::student_t_tails;
use packdrift_verdict::Verdict;
use std::collections::HashMap;

/// Chance that a study without a wild reading has one named.
const LEVEL: f64 = 0.01;
/// Rounds of fitting parts and operators in turn; a balanced study needs two.
const ROUNDS: usize = 200;

/// A reading that stands out, and the answer without it.
#[derive(Debug, Clone, PartialEq)]
pub struct WildReading {
    /// Line of the file.
    pub line: u32,
    /// Part.
    pub part: String,
    /// Operator.
    pub operator: String,
    /// Trial.
    pub trial: u32,
    /// The reading, mm.
    pub reading: f64,
    /// What the others say that it should be, mm.
    pub expected: f64,
    /// Chance of a reading that far off among as many sound ones (at most).
    pub p_value: f64,
    /// The gauge's sd without it, mm; None where nothing is left to study.
    pub gauge_sd: Option<f64>,
    /// The share that decides, without it.
    pub deciding_share: Option<f64>,
    /// And its interval.
    pub deciding_interval: Option<Interval>,
    /// Whether the gauge can be used, without it.
    pub fitness: Option<Fitness>,
    /// The verdict with it.
    pub with: Option<Verdict>,
    /// And without.
    pub without: Option<Verdict>,
}

/// Where it stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Found {
    pub(super) row: usize,
    expected: f64,
    p_value: f64,
}

impl WildReading {
    pub(super) fn new(readings: &Readings, found: &Found, with: &GaugeStudy, without: Option<&GaugeStudy>) -> Self {
        let name = |names: &[String], code: u32| names.get(code as usize).cloned().unwrap_or_default();
        let row = found.row;
        Self {
            line: readings.line[row],
            part: name(&readings.parts, readings.part[row]),
            operator: name(&readings.operators, readings.operator[row]),
            trial: readings.trial.get(row).copied().unwrap_or_default(),
            reading: readings.reading[row],
            expected: found.expected,
            p_value: found.p_value,
            gauge_sd: without.map(|w| w.components.gauge.sd),
            deciding_share: without.map(|w| w.deciding_share),
            deciding_interval: without.map(|w| w.deciding_interval),
            fitness: without.map(|w| w.fitness),
            with: Some(with.verdict()),
            without: without.map(GaugeStudy::verdict),
        }
    }
}

/// Codes from 0 of whatever tells rows apart, and how many there are of each.
fn groups<K: std::hash::Hash + Eq>(keys: impl Iterator<Item = K>) -> (Vec<usize>, Vec<f64>) {
    let mut places: HashMap<K, usize> = HashMap::new();
    let mut counts: Vec<f64> = Vec::new();
    let codes = keys
        .map(|key| {
            let next = places.len();
            let code = *places.entry(key).or_insert(next);
            if code == counts.len() {
                counts.push(0.0);
            }
            counts[code] += 1.0;
            code
        })
        .collect();
    (codes, counts)
}

/// The reading that stands out most; None where none does, or too few readings are left to tell.
pub(super) fn find(readings: &Readings) -> Option<Found> {
    let n = readings.reading.len();
    let (part, parts) = groups(readings.lot.iter().zip(&readings.part));
    let (operator, operators) = groups(readings.operator.iter());
    let nu = n.checked_sub(parts.len() + operators.len())? as f64;
    if nu < 3.0 {
        return None;
    }
    let step = Resolution::find(&readings.reading).step().unwrap_or(0.0);
    let mut residual: Vec<f64> = readings.reading.clone();
    for _ in 0..ROUNDS {
        let moved = take_means(&mut residual, &part, &parts).max(take_means(&mut residual, &operator, &operators));
        if moved <= 1e-13 * readings.reading[0].abs() {
            break;
        }
    }
    let squares: f64 = residual.iter().map(|r| r * r).sum();
    let room = |row: usize| 1.0 - (1.0 / parts[part[row]] + 1.0 / operators[operator[row]] - 1.0 / n as f64);
    // The residual in sds of its own; a part that one operator read once has no room.
    let far = |row: usize| residual[row].abs() / room(row).max(1e-9).sqrt();
    let row = (0..n).filter(|row| room(*row) > 1e-6).max_by(|a, b| far(*a).total_cmp(&far(*b)))?;
    let off = residual[row] / room(row);
    let beyond = (off.abs() - step).max(0.0);
    let sd = ((squares - residual[row] * off).max(0.0) / nu).sqrt();
    let t = beyond * room(row).sqrt() / sd.max(1e-12 * readings.reading[row].abs());
    let p_value = (2.0 * n as f64 * student_t_tails(nu, t).upper).min(1.0);
    (beyond > 0.0 && p_value < LEVEL).then(|| Found { row, expected: readings.reading[row] - off, p_value })
}

/// Takes each group's mean off its values; the largest mean taken.
fn take_means(values: &mut [f64], group: &[usize], counts: &[f64]) -> f64 {
    let mut means = vec![0.0; counts.len()];
    for (value, &g) in values.iter().zip(group) {
        means[g] += value / counts[g];
    }
    for (value, &g) in values.iter_mut().zip(group) {
        *value -= means[g];
    }
    means.iter().fold(0.0, |most, mean| most.max(mean.abs()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gauge::made::crossed;

    /// Sound studies without an interaction have a reading named about as often as the level says (Bonferroni: not more).
    #[test]
    fn sound_studies_have_none_named_but_for_one_in_a_hundred() {
        let studies = 1500_u32;
        let mut named = 0_u32;
        for seed in 0..studies {
            let mut readings = crossed([10, 3, 3], u64::from(seed), |_, _, _| true);
            take_cells(&mut readings);
            named += u32::from(find(&readings).is_some());
        }
        let share = f64::from(named) / f64::from(studies);
        let error = (LEVEL * (1.0 - LEVEL) / f64::from(studies)).sqrt();
        assert!(share < LEVEL + 3.0 * error && share > LEVEL - 4.0 * error, "{share}");
    }

    /// Without what operators have of their own in each part, so that the model holds: cells keep their own scatter about part and operator.
    fn take_cells(readings: &mut Readings) {
        let mut cells: HashMap<(u32, u32), (f64, f64)> = HashMap::new();
        for k in 0..readings.reading.len() {
            let sum = cells.entry((readings.part[k], readings.operator[k])).or_default();
            *sum = (sum.0 + readings.reading[k], sum.1 + 1.0);
        }
        let mut stream = packdrift_numerics::stream::Key::new(7, "cells").stream(readings.reading[0].to_bits());
        let error: HashMap<(u32, u32), f64> = {
            let mut keys: Vec<_> = cells.keys().copied().collect();
            keys.sort_unstable();
            // The mean of three repeats scatters by the repeats' own sd over the root of three.
            keys.into_iter().map(|key| (key, crate::gauge::made::TRUTH[3] / 3.0_f64.sqrt() * stream.normal())).collect()
        };
        for k in 0..readings.reading.len() {
            let key = (readings.part[k], readings.operator[k]);
            let (sum, n) = cells[&key];
            readings.reading[k] += error[&key] - sum / n;
        }
    }

    /// A slip is found wherever it is, in balanced studies and in others, and is said to be what it should be.
    #[test]
    fn a_slip_is_found_wherever_it_is() {
        for (seed, keep_all) in [(1, true), (2, false), (3, true), (4, false)] {
            let whole = crossed([8, 3, 2], seed, |p, o, t| keep_all || (p + o + t) % 7 != 0);
            for row in [0, 5, whole.reading.len() - 1] {
                let mut readings = whole.clone();
                readings.reading[row] += 6.0;
                let found = find(&readings).map(|f| (f.row, f.expected));
                let (named, expected) = found.unwrap_or((usize::MAX, f64::NAN));
                assert!(named == row && (expected - whole.reading[row]).abs() < 1.5, "{seed} {row}: {found:?}");
            }
        }
    }

    /// r, h and s by the definitions, from a regression without the reading: the t of its difference from what that predicts.
    #[test]
    fn the_formula_is_that_of_a_regression_without_the_reading() {
        let mut readings = crossed([4, 3, 2], 9, |_, _, _| true);
        readings.reading[7] += 3.0;
        let Some(found) = find(&readings) else { unreachable!("it stands out") };
        let rest = readings.without(&[found.row]);
        let mut fit = rest.reading.clone();
        let (part, parts) = groups(rest.lot.iter().zip(&rest.part));
        let (operator, operators) = groups(rest.operator.iter());
        for _ in 0..500 {
            take_means(&mut fit, &part, &parts);
            take_means(&mut fit, &operator, &operators);
        }
        // What the others' fit has for the part by that operator: any reading of that cell less its residual.
        let same =
            |k: &usize| rest.part[*k] == readings.part[found.row] && rest.operator[*k] == readings.operator[found.row];
        let Some(k) = (0..rest.reading.len()).find(same) else { unreachable!("two trials") };
        assert!((rest.reading[k] - fit[k] - found.expected).abs() < 1e-9, "{found:?}");
    }
}
