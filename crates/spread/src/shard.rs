//! A run shared out among machines: each makes its blocks of trials, and the parts answer together as the whole run does, to the byte.

use crate::error::SpreadError;
use crate::monte_carlo::{Bounds, MonteCarlo, Partial, blocks_of};
use crate::options::{Options, Progress};
use crate::pack_model::PackModel;
use crate::population::Population;
use crate::stack::Stack;
pub use packdrift_numerics::shard::Shard;

/// One share of the trials that [`analyse`](crate::analyse()) makes with the same stack and options; [`Partial::merge`] joins the shares,
/// and [`analyse_parts`](crate::analyse_parts) goes on from them.
///
/// # Errors
/// As [`analyse`](crate::analyse()); options without a number of trials, since shares of an open end cannot be cut.
pub fn part_of(
    stack: &Stack,
    options: &Options,
    shard: Shard,
    progress: &dyn Progress,
) -> Result<Partial, SpreadError> {
    let trials = fixed_trials(options)?;
    let population = Population::of_stack(stack)?;
    let model = PackModel::new(stack)?;
    let bounds: Vec<Bounds> = stack.requirements.iter().map(|r| Bounds::new(r.lower, r.upper)).collect();
    MonteCarlo::new(&model, &population, &bounds, options.seed)?.part(trials, shard.cut(blocks_of(trials)), progress)
}

/// The parts of a run joined, if they are all of it and of this run.
pub(crate) fn whole(run: &MonteCarlo<'_>, options: &Options, parts: &[Partial]) -> Result<Partial, SpreadError> {
    let trials = fixed_trials(options)?;
    let mut whole = run.part(trials, 0..0, &crate::Silent)?;
    for part in parts {
        whole.merge(part)?;
    }
    let blocks = blocks_of(trials);
    if whole.covered() != [(0, blocks)] || whole.trials() != trials {
        let held: u64 = whole.covered().iter().map(|(from, to)| to - from).sum();
        return Err(SpreadError::Merge(format!(
            "they hold {held} of the {blocks} blocks of a run of {trials} trials: a share is missing, or was made for another number of trials"
        )));
    }
    Ok(whole)
}

fn fixed_trials(options: &Options) -> Result<u64, SpreadError> {
    match options {
        Options { trials: Some(trials), until: None, digits: None, .. } => Ok(*trials),
        _ => Err(SpreadError::Merge("shares are cut of a run with a fixed number of trials only".to_owned())),
    }
}
