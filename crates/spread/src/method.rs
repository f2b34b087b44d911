//! How a requirement's distribution is computed, and how `auto` chooses.
//!
//! One run answers all requirements together: plain Monte Carlo where that is asked for, else scrambled Sobol' points. It gives mean, standard
//! deviation, quantiles, the joint share outside, the shares that cannot be assembled or are loose, and the histograms. Where `auto` is asked
//! for, each requirement is then offered to the sharper methods (`analyse::refine`), and each replaces the figures it knows better:
//!
//! 1. the exact distribution of a linear requirement replaces all of them;
//! 2. the shares outside of any other requirement come from line sampling, unless the common run knows them well enough already;
//!    what cannot be assembled, and what is loose, is counted exactly where D is a plane of independent dimensions.
//!
//! A method that does not apply leaves what was there; one whose own checks fail says so in a warning. The result names the method of
//! the share outside, the figure that decisions rest on, as `method`, and that of the rest as `moments_method`.

use crate::model::Model;
use crate::monte_carlo::Bounds;
use crate::options::{Options, Progress};
use crate::pack_model::PackModel;
use crate::population::Population;
use crate::requirement_inputs::RequirementInputs;
use std::fmt;

/// How a figure was computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Method {
    /// Plain Monte Carlo, JCGM 101:2008.
    MonteCarlo,
    /// Inversion of the characteristic function of a linear requirement.
    Exact,
    /// Randomised quasi-Monte Carlo on scrambled Sobol' points.
    QuasiMonteCarlo,
    /// Line sampling from the design points.
    LineSampling,
    /// Importance sampling from the design points.
    ImportanceSampling,
    /// Subset simulation.
    SubsetSimulation,
}

impl fmt::Display for Method {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::MonteCarlo => "monte-carlo",
            Self::Exact => "exact",
            Self::QuasiMonteCarlo => "quasi-monte-carlo",
            Self::LineSampling => "line-sampling",
            Self::ImportanceSampling => "importance-sampling",
            Self::SubsetSimulation => "subset-simulation",
        })
    }
}

/// What the user asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[non_exhaustive]
pub enum MethodChoice {
    /// The cheapest sound way for each requirement.
    #[default]
    Auto,
    /// Plain Monte Carlo for all.
    MonteCarlo,
}

impl fmt::Display for MethodChoice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Auto => "auto",
            Self::MonteCarlo => "monte-carlo",
        })
    }
}

/// One requirement, as the sharper methods are asked about it.
#[derive(Clone, Copy)]
pub(crate) struct Question<'a> {
    /// The requirement alone: response 0.
    pub(crate) model: &'a PackModel<'a>,
    /// What it depends on.
    pub(crate) inputs: &'a RequirementInputs,
    pub(crate) bounds: Bounds,
    pub(crate) options: &'a Options,
    pub(crate) progress: &'a dyn Progress,
}

/// The Sobol' coordinate of each coordinate of u: the larger its share of the first-order variances, summed over the responses, the earlier.
pub(crate) fn by_importance(model: &PackModel<'_>, population: &Population) -> Vec<usize> {
    let n = population.coordinates();
    let origin = vec![0.0; n];
    let mut x = vec![0.0; population.inputs()];
    population.to_x(&origin, &mut x);
    let scale = population.standard_uncertainties();
    let mut importance = vec![0.0; n];
    let (mut in_x, mut in_u) = (vec![0.0; x.len()], vec![0.0; n]);
    for response in 0..model.responses() {
        // Where there is no slope at the origin the others decide.
        if model.gradient(response, &x, &scale, &mut in_x).is_err() {
            continue;
        }
        population.gradient_to_u(&origin, &in_x, &mut in_u);
        let total: f64 = in_u.iter().map(|g| g * g).sum();
        if total > 0.0 && total.is_finite() {
            for (sum, g) in importance.iter_mut().zip(&in_u) {
                *sum += g * g / total;
            }
        }
    }
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&i, &j| importance[j].total_cmp(&importance[i]));
    let mut rank = vec![0; n];
    for (place, k) in order.into_iter().enumerate() {
        rank[k] = place;
    }
    rank
}
