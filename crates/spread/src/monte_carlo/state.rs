//! A partial result as plain data, to be written down on one machine and read on another. Floating-point numbers are kept as their
//! bits, so that any format carries them unchanged.

use super::accumulator::Accumulator;
use super::partial::{Cross, Partial};
use crate::error::SpreadError;
use packdrift_numerics::moments::{ExactSum, Moments};
use packdrift_numerics::quantile::QuantileSketch;
use packdrift_numerics::stream::BLOCK;
use serde::{Deserialize, Serialize};

/// A [`Partial`] in a form that any serde format can carry.
///
/// ```
/// # use packdrift_spread::*;
/// # let one = [Variable { label: "x".into(), distribution: Distribution::normal(0.0, 1.0).unwrap(), lot: None }];
/// # let population = Population::new(&one, &[], &[]).unwrap();
/// # let identity = Function::new(1, |x: &[f64]| x[0]);
/// # let run = MonteCarlo::new(&identity, &population, &[Bounds::NONE], 1).unwrap();
/// let mut here = run.part(10_000, 0..4, &Silent).unwrap();
/// let there = run.part(10_000, 4..10, &Silent).unwrap();
/// let letter = serde_json::to_string(&PartialState::from(&there)).unwrap();
/// let state: PartialState = serde_json::from_str(&letter).unwrap();
/// here.merge(&Partial::try_from(&state).unwrap()).unwrap();
/// assert_eq!(here, run.run(10_000, &Silent).unwrap());
/// ```
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartialState {
    /// Of this layout.
    version: u32,
    fingerprint: u64,
    trials: u64,
    covered: Vec<(u64, u64)>,
    responses: Vec<ResponseState>,
    joint: u64,
    cross: Option<CrossState>,
    /// Trial, bits of the input values.
    first_failed: Vec<(u64, Vec<u64>)>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ResponseState {
    /// Bits of centre and scale.
    place: (u64, u64),
    count: u64,
    powers: Vec<SumState>,
    /// Number, count, bits of the smallest and the largest value.
    bins: Vec<(i32, u64, u64, u64)>,
    below: u64,
    above: u64,
    cannot_assemble: u64,
    loose: u64,
    failed: u64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct CrossState {
    count: u64,
    sums: Vec<SumState>,
    products: Vec<SumState>,
}

/// The non-zero pieces from the first on, its number, and the bits of what was not finite.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SumState {
    first: usize,
    pieces: Vec<i64>,
    /// Number of pieces in all.
    of: usize,
    special: u64,
}

const VERSION: u32 = 1;

impl From<&ExactSum> for SumState {
    fn from(sum: &ExactSum) -> Self {
        let (pieces, special) = sum.state();
        let first = pieces.iter().position(|&piece| piece != 0).unwrap_or(pieces.len());
        let last = pieces.iter().rposition(|&piece| piece != 0).map_or(first, |last| last + 1);
        Self { first, pieces: pieces[first..last].to_vec(), of: pieces.len(), special }
    }
}

impl SumState {
    fn read(&self) -> Result<ExactSum, SpreadError> {
        let end = self.first.checked_add(self.pieces.len()).filter(|&end| end <= self.of && self.of <= 1024);
        let whole = end.map(|end| {
            let mut pieces = vec![0; self.of];
            pieces[self.first..end].copy_from_slice(&self.pieces);
            pieces
        });
        whole.and_then(|pieces| ExactSum::from_state(&pieces, self.special)).ok_or_else(|| damaged("a sum"))
    }
}

fn damaged(what: &str) -> SpreadError {
    SpreadError::Merge(format!("{what} in it is damaged"))
}

impl From<&Partial> for PartialState {
    fn from(partial: &Partial) -> Self {
        let sums = |sums: &[ExactSum]| sums.iter().map(SumState::from).collect();
        let response = |accumulator: &Accumulator| {
            let (centre, scale, count, powers) = accumulator.moments.parts();
            let (_, _, bins) = accumulator.sketch.state();
            ResponseState {
                place: (centre.to_bits(), scale.to_bits()),
                count,
                powers: sums(powers),
                bins: bins.into_iter().map(|(k, n, least, most)| (k, n, least.to_bits(), most.to_bits())).collect(),
                below: accumulator.below,
                above: accumulator.above,
                cannot_assemble: accumulator.cannot_assemble,
                loose: accumulator.loose,
                failed: accumulator.failed,
            }
        };
        let bits = |x: &Vec<f64>| x.iter().map(|x| x.to_bits()).collect();
        Self {
            version: VERSION,
            fingerprint: partial.fingerprint,
            trials: partial.trials,
            covered: partial.covered.clone(),
            responses: partial.responses.iter().map(response).collect(),
            joint: partial.joint,
            cross: partial.cross.as_ref().map(|cross| CrossState {
                count: cross.count,
                sums: sums(&cross.sums),
                products: sums(&cross.products),
            }),
            first_failed: partial.first_failed.iter().map(|(trial, x)| (*trial, bits(x))).collect(),
        }
    }
}

impl PartialState {
    /// Whether the counts can be those of a run: no event more often than there are trials, and as many trials as the blocks hold.
    fn can_be(&self) -> Result<(), SpreadError> {
        let rising = self.covered.iter().all(|(from, to)| from < to) && self.covered.is_sorted_by(|a, b| a.1 <= b.0);
        let blocks = self.covered.iter().try_fold(0_u64, |sum, (from, to)| sum.checked_add(to.checked_sub(*from)?));
        let room = blocks.and_then(|blocks| blocks.checked_mul(BLOCK as u64));
        if !rising || room.is_none_or(|room| self.trials > room || self.trials.saturating_add(BLOCK as u64) <= room) {
            return Err(damaged("the list of blocks"));
        }
        let possible = |count: u64| count <= self.trials;
        let response = |r: &ResponseState| {
            let trials = r.count.checked_add(r.cannot_assemble).and_then(|sum| sum.checked_add(r.failed));
            let binned = r.bins.iter().try_fold(0_u64, |sum, bin| sum.checked_add(bin.1));
            let numbers = [r.place.0, r.place.1].into_iter().chain(r.bins.iter().flat_map(|bin| [bin.2, bin.3]));
            [trials, binned, Some(r.below), Some(r.above), Some(r.loose)].iter().all(|n| n.is_some_and(possible))
                && numbers.map(f64::from_bits).all(f64::is_finite)
        };
        let cross = self.cross.as_ref().is_none_or(|cross| possible(cross.count));
        if possible(self.joint) && cross && self.responses.iter().all(response) {
            return Ok(());
        }
        Err(damaged("a count or a value"))
    }
}

impl TryFrom<&PartialState> for Partial {
    type Error = SpreadError;

    fn try_from(state: &PartialState) -> Result<Self, SpreadError> {
        if state.version != VERSION {
            return Err(SpreadError::Merge(format!(
                "it is of version {}, this program reads {VERSION}",
                state.version
            )));
        }
        state.can_be()?;
        let sums = |sums: &[SumState]| sums.iter().map(SumState::read).collect::<Result<Vec<_>, _>>();
        let response = |state: &ResponseState| {
            let (centre, scale) = (f64::from_bits(state.place.0), f64::from_bits(state.place.1));
            let powers = sums(&state.powers)?.try_into().map_err(|_| damaged("a list of sums"))?;
            let bins: Vec<_> = state
                .bins
                .iter()
                .map(|&(k, n, least, most)| (k, n, f64::from_bits(least), f64::from_bits(most)))
                .collect();
            let sketch = QuantileSketch::from_state(centre, scale, &bins).ok_or_else(|| damaged("a bin"))?;
            Ok(Accumulator {
                moments: Moments::from_parts(centre, scale, state.count, powers),
                sketch,
                below: state.below,
                above: state.above,
                cannot_assemble: state.cannot_assemble,
                loose: state.loose,
                failed: state.failed,
            })
        };
        let cross = match &state.cross {
            None => None,
            Some(cross) => {
                let n = state.responses.len();
                if cross.sums.len() != n || cross.products.len() != n * (n + 1) / 2 {
                    return Err(damaged("a list of products"));
                }
                Some(Cross { count: cross.count, sums: sums(&cross.sums)?, products: sums(&cross.products)? })
            }
        };
        let values = |bits: &Vec<u64>| bits.iter().map(|&bits| f64::from_bits(bits)).collect();
        Ok(Self {
            fingerprint: state.fingerprint,
            trials: state.trials,
            covered: state.covered.clone(),
            responses: state.responses.iter().map(response).collect::<Result<_, SpreadError>>()?,
            joint: state.joint,
            cross,
            first_failed: state.first_failed.iter().map(|(trial, x)| (*trial, values(x))).collect(),
        })
    }
}
