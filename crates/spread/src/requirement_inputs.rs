//! A population cut down to what one requirement depends on: with fewer coordinates the same points reach further, and a trial costs less.

use crate::distribution::Distribution;
use crate::error::SpreadError;
use crate::population::{Population, Variable};
use crate::stack::Stack;

/// The inputs that matter scatter as before; all others are held at their means.
#[derive(Debug, Clone)]
pub(crate) struct RequirementInputs {
    pub(crate) population: Population,
    /// Of each coordinate, its place among those of the whole population.
    embed: Vec<usize>,
    whole: usize,
}

impl RequirementInputs {
    /// Of a stack whose whole population is known; `uses` marks the inputs that matter.
    pub(crate) fn new(stack: &Stack, whole: &Population, uses: &[bool]) -> Result<Self, SpreadError> {
        // Inputs tied to one that matters stay: a tie to an input that does not scatter has no meaning.
        let mut keeps = uses.to_vec();
        loop {
            let mut grown = false;
            for tie in stack.correlations.iter().filter(|tie| tie.coefficient != 0.0) {
                let (i, j) = tie.between;
                if keeps[i] != keeps[j] {
                    (keeps[i], keeps[j], grown) = (true, true, true);
                }
            }
            if !grown {
                break;
            }
        }
        let means = whole.means();
        let variables: Vec<Variable> = stack
            .inputs
            .iter()
            .enumerate()
            .map(|(k, input)| {
                let label = stack.pack.dimensions[k].path.clone();
                if keeps[k] {
                    Variable { label, distribution: input.distribution.clone(), lot: input.lot }
                } else {
                    Variable { label, distribution: Distribution::Exact { value: means[k] }, lot: None }
                }
            })
            .collect();
        let ties: Vec<_> = stack.correlations.iter().filter(|tie| keeps[tie.between.0]).copied().collect();
        let population = Population::new(&variables, &stack.lots, &ties)?;
        let places = whole.coordinate_labels();
        let embed = population
            .coordinate_labels()
            .into_iter()
            .map(|label| places.iter().position(|place| *place == label).unwrap_or(usize::MAX))
            .collect();
        Ok(Self { population, embed, whole: whole.coordinates() })
    }

    /// A vector of its coordinates as one of the whole population's.
    pub(crate) fn embed(&self, u: &[f64]) -> Vec<f64> {
        let mut whole = vec![0.0; self.whole];
        for (value, &place) in u.iter().zip(&self.embed) {
            if let Some(slot) = whole.get_mut(place) {
                *slot = *value;
            }
        }
        whole
    }
}
