//! One build after the other: each result belongs to the build that the word before it asked for, or is a further reading of the same state.
//!
//! Nothing is kept between runs: the whole history is given again each time, and followed from the start.

use super::{After, Bench, Build, Measured, Options, Proposal};
use crate::error::StockError;
use packdrift_spread::Progress;
use packdrift_verdict::Standing;

/// How a result came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Made {
    /// This build of the list (from 1) was made, then read.
    Build(usize),
    /// Nothing was made: the same state was read again.
    ReadAgain,
}

/// A result: readings after a build.
#[derive(Debug, Clone, PartialEq)]
pub struct RoundResult {
    /// One reading for each valve asked for, in their order; None: that one was not read.
    pub readings: Vec<Option<f64>>,
    /// How it came about. None: as the word before it asked: the advised build, or a further reading where the bay was done or was to be read again.
    pub made: Option<Made>,
}

/// What all results come to.
#[derive(Debug, Clone)]
pub struct Rounds {
    /// The bench that the last build was made from.
    pub bench: Bench,
    /// The readings it was asked with.
    pub measured: Vec<Measured>,
    /// The list that the last build was taken from.
    pub proposal: Proposal,
    /// Its number on that list, from 1.
    pub number: usize,
    /// The build.
    pub build: Build,
    /// What came of it.
    pub after: After,
    /// How each result was taken, in order.
    pub taken_as: Vec<Made>,
}

impl Bench {
    /// Follows the results one after the other, from this bench and its proposal; `measured`: the valves asked for, with their readings. None
    /// where there are no results. `progress` hears how many of the results are followed; it is not asked whether to stop.
    ///
    /// # Errors
    ///
    /// [`StockError`]: a build that is not on its list, a reading that cannot be, a result that says it reads again what was never built.
    pub fn follow(
        &self,
        measured: &[Measured],
        proposal: &Proposal,
        results: &[RoundResult],
        options: &Options,
        progress: &dyn Progress,
    ) -> Result<Option<Rounds>, StockError> {
        let mut rounds: Option<Rounds> = None;
        for (k, result) in results.iter().enumerate() {
            progress.advance(k as u64, results.len() as u64);
            rounds = Some(match rounds.take() {
                None => self.first_round(measured, proposal, result, options)?,
                Some(before) => before.next(k, result, options)?,
            });
        }
        Ok(rounds)
    }

    fn first_round(
        &self,
        measured: &[Measured],
        proposal: &Proposal,
        result: &RoundResult,
        options: &Options,
    ) -> Result<Rounds, StockError> {
        let number = match result.made {
            Some(Made::ReadAgain) => return Err(StockError::NothingBuilt { result: 1 }),
            Some(Made::Build(number)) => number,
            None => 1,
        };
        Rounds::of(self.clone(), measured.to_vec(), proposal.clone(), number, result, options, Vec::new())
    }
}

impl Rounds {
    fn of(
        bench: Bench,
        measured: Vec<Measured>,
        proposal: Proposal,
        number: usize,
        result: &RoundResult,
        options: &Options,
        mut taken_as: Vec<Made>,
    ) -> Result<Self, StockError> {
        let build = proposal.build(number)?.clone();
        let read = |(m, reading): (&Measured, &Option<f64>)| Measured {
            readings: reading.iter().copied().collect(),
            ..m.clone()
        };
        let read: Vec<Measured> = measured.iter().zip(&result.readings).map(read).collect();
        let after = bench.after(&build, &read, options)?;
        taken_as.push(Made::Build(number));
        Ok(Self { bench, measured, proposal, number, build, after, taken_as })
    }

    /// Where the word was to make another build: the list.
    fn asked_for(&self) -> Option<&Proposal> {
        let asked = self.after.verdict.standing() == Standing::Adverse
            || self.after.verdict.standing() == Standing::NotShown
            || self.after.verdict.standing() == Standing::TooCloseToTell;
        let next = self.after.next.as_ref()?;
        (asked && next.advised().is_some_and(|build| !build.is_as_now())).then_some(next)
    }

    fn next(self, k: usize, result: &RoundResult, options: &Options) -> Result<Self, StockError> {
        let number = match (result.made, self.asked_for()) {
            (Some(Made::ReadAgain), _) | (None, None) => None,
            (Some(Made::Build(number)), _) => Some(number),
            (None, Some(_)) => Some(1),
        };
        let Some(number) = number else { return self.read_again(result, options) };
        let After { readings, next, bench, .. } = self.after;
        let Some(next) = next else {
            return Err(StockError::NothingToBuild { result: k + 1 });
        };
        let believed = |m: &Measured| {
            let of = readings.iter().filter(|one| one.valve == m.valve);
            Measured { readings: of.map(|one| one.reading).collect(), ..m.clone() }
        };
        let measured = self.measured.iter().map(believed).collect();
        Self::of(bench, measured, next, number, result, options, self.taken_as)
    }

    /// A further reading of the same build.
    fn read_again(mut self, result: &RoundResult, options: &Options) -> Result<Self, StockError> {
        let further = |(m, reading): (&Measured, &Option<f64>)| {
            let before = self.after.readings.iter().filter(|one| one.valve == m.valve).map(|one| one.reading);
            Measured { readings: before.chain(*reading).collect(), ..m.clone() }
        };
        let read: Vec<Measured> = self.measured.iter().zip(&result.readings).map(further).collect();
        self.after = self.bench.after(&self.build, &read, options)?;
        self.taken_as.push(Made::ReadAgain);
        Ok(self)
    }
}
