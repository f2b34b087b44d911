//! A stack built in a program, by names: no index, no path and no list to keep beside another.
//!
//! [`StackBuilder`] takes bays part by part, what is known of each dimension ([`Known`]), packets, ties and requirements ([`Require`]).
//! [`StackBuilder::build`] checks all of it and tells every mistake at once.

mod bay;
mod known;
mod places;
mod require;
mod spring;
#[cfg(test)]
mod tests;

pub use bay::{BayBuilder, ContactForm};
pub use known::Known;
pub use require::Require;
pub use spring::{SpringForm, SpringPart};

use crate::error::SpreadError;
use crate::population::Population;
use crate::stack::{Correlation, Lot, Requirement, Stack};
use packdrift_pack::{Condition, Pack, PackError, QuantityError, REFERENCE_TEMPERATURE};
use places::Places;

/// One mistake in what a builder was given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BuildError {
    /// A name that leads nowhere, or a thing that cannot be said of a part.
    #[error("{path}: {reason}")]
    Refused {
        /// Of the part, valve, requirement or dimension.
        path: String,
        /// Why.
        reason: String,
    },
    /// What the mechanics cannot mean.
    #[error(transparent)]
    Pack(#[from] PackError),
    /// A requirement of a quantity that the pack does not have.
    #[error("requirement {name:?}: {source}")]
    Quantity {
        /// Of the requirement.
        name: String,
        /// Why.
        source: QuantityError,
    },
    /// Dimensions that cannot scatter as described, or a limit without meaning.
    #[error(transparent)]
    Spread(#[from] SpreadError),
}

/// Every mistake, in the order of the pack.
#[derive(Debug, Clone, PartialEq)]
pub struct BuildErrors(pub Vec<BuildError>);

impl std::fmt::Display for BuildErrors {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let lines: Vec<String> = self.0.iter().map(ToString::to_string).collect();
        f.write_str(&lines.join("\n"))
    }
}

impl std::error::Error for BuildErrors {}

/// A [`Stack`] in the making.
///
/// # Examples
/// A rocker between the left face and a spring washer, one washer behind it:
/// ```
/// use packdrift_spread::{Known, Require, SpringForm, StackBuilder};
///
/// let mm = Known::toleranced;
/// let spring = SpringForm::Linear { rate: Known::normal(150.0, 4.0), free_height: mm(2.70, 0.06) };
/// let stack = StackBuilder::new("one rocker")
///     .bay("bay", mm(27.97, 0.06), |bay| {
///         bay.rocker("rocker", mm(24.0, 0.03), mm(11.0, 0.06))
///             .spring("spring", spring)
///             .washer("outer", mm(1.970, 0.03))
///             .valve("exhaust", "rocker", mm(10.05, 0.06))
///     })
///     .require(Require::offset("exhaust").between(0.75, 1.15))
///     .require(Require::preload("bay").between(75.0, 145.0))
///     .build()?;
/// assert_eq!(stack.inputs.len(), 7);
///
/// // Every mistake is told at once.
/// let wrong = StackBuilder::new("empty").require(Require::offset("exhaust").at_least(0.85)).build();
/// assert_eq!(wrong.unwrap_err().to_string(), "there is no bay\nrequirement \"offset exhaust\": there is no valve named \"exhaust\"");
/// # Ok::<(), packdrift_spread::BuildErrors>(())
/// ```
#[derive(Debug, Clone)]
pub struct StackBuilder {
    title: String,
    reference_temperature: f64,
    conditions: Vec<Condition>,
    lots: Vec<Lot>,
    bays: Vec<BayBuilder>,
    ties: Vec<(String, String, f64)>,
    requirements: Vec<Require>,
}

impl StackBuilder {
    /// A stack with nothing in it. Without a [`condition`](Self::condition) it is looked at in `assembly`, at the reference temperature.
    pub fn new(title: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            reference_temperature: REFERENCE_TEMPERATURE,
            conditions: Vec::new(),
            lots: Vec::new(),
            bays: Vec::new(),
            ties: Vec::new(),
            requirements: Vec::new(),
        }
    }

    /// °C at which the dimensions hold; 20 where it is not given.
    pub fn reference_temperature(mut self, celsius: f64) -> Self {
        self.reference_temperature = celsius;
        self
    }

    /// A condition and its temperature, °C.
    pub fn condition(mut self, name: impl Into<String>, celsius: f64) -> Self {
        self.conditions.push(Condition { name: name.into(), temperature: celsius });
        self
    }

    /// A packet: the mean of packets less the nominal, and the standard deviation of packets' means, both mm.
    pub fn lot(mut self, name: impl Into<String>, bias: f64, between: f64) -> Self {
        self.lots.push(Lot { name: name.into(), bias, between });
        self
    }

    /// A bay: its span in mm, then its parts from the left.
    pub fn bay(
        mut self,
        name: impl Into<String>,
        span: impl Into<Known>,
        build: impl FnOnce(BayBuilder) -> BayBuilder,
    ) -> Self {
        self.bays.push(build(BayBuilder::new(name.into(), span.into())));
        self
    }

    /// Two dimensions that do not scatter independently, by their paths (`bay/part/dimension`), and the coefficient of their Gaussian
    /// copula.
    pub fn tie(mut self, first: impl Into<String>, second: impl Into<String>, coefficient: f64) -> Self {
        self.ties.push((first.into(), second.into(), coefficient));
        self
    }

    /// A requirement.
    pub fn require(mut self, requirement: Require) -> Self {
        self.requirements.push(requirement);
        self
    }

    /// The stack, checked.
    ///
    /// # Errors
    /// Every mistake there is: names that lead nowhere, dimensions that cannot be, a bay that parts within their limits cannot build,
    /// scatter that contradicts itself.
    pub fn build(mut self) -> Result<Stack, BuildErrors> {
        if self.conditions.is_empty() {
            let temperature = self.reference_temperature;
            self.conditions.push(Condition { name: "assembly".to_owned(), temperature });
        }
        let lots = self.lots.iter().map(|lot| lot.name.clone()).collect();
        let mut places = Places { lots, ..Places::default() };
        let bays = self.bays.into_iter().map(|bay| bay.place(&mut places)).collect();
        let Places { dimensions, inputs, mut mistakes, .. } = places;
        let (title, reference_temperature) = (self.title, self.reference_temperature);
        let pack = Pack { title, reference_temperature, conditions: self.conditions, bays, dimensions };
        let requirements = self.requirements.iter().flat_map(|r| resolve(r, &pack, &mut mistakes)).collect();
        let correlations = self.ties.iter().filter_map(|tie| tied(tie, &pack, &mut mistakes)).collect();
        let stack = Stack { pack, inputs, lots: self.lots, correlations, requirements };
        let nominals: Vec<f64> = stack.inputs.iter().map(|input| input.nominal).collect();
        let mut found: Vec<BuildError> = stack.pack.validate(&nominals).into_iter().map(BuildError::Pack).collect();
        found.append(&mut mistakes);
        if found.is_empty() {
            found.extend(Population::of_stack(&stack).err().map(BuildError::Spread));
            found.extend(crate::analyse::check_requirements(&stack).err().map(BuildError::Spread));
        }
        if found.is_empty() {
            found.extend(stack.never_built().into_iter().map(BuildError::Pack));
        }
        if found.is_empty() { Ok(stack) } else { Err(BuildErrors(found)) }
    }
}

/// A requirement in each condition that it holds in.
fn resolve(require: &Require, pack: &Pack, mistakes: &mut Vec<BuildError>) -> Vec<Requirement> {
    let name = require.title();
    if require.lower.is_none() && require.upper.is_none() {
        let reason = "it has no limit: say `between`, `at_least` or `at_most`".to_owned();
        mistakes.push(BuildError::Refused { path: format!("requirement {name:?}"), reason });
    }
    let quantity = match pack.quantity(require.kind, require.subject()) {
        Ok(quantity) => quantity,
        Err(source) => {
            mistakes.push(BuildError::Quantity { name, source });
            return Vec::new();
        }
    };
    let conditions = match &require.condition {
        None => (0..pack.conditions.len()).collect(),
        Some(of) => match pack.find_condition(of) {
            Some(condition) => vec![condition],
            None => {
                let reason = format!("there is no condition named {of:?}");
                mistakes.push(BuildError::Refused { path: format!("requirement {name:?}"), reason });
                Vec::new()
            }
        },
    };
    let &Require { lower, upper, target, max_out, .. } = require;
    let one = |condition| Requirement { name: name.clone(), quantity, condition, lower, upper, target, max_out };
    conditions.into_iter().map(one).collect()
}

/// A tie by the places of its two dimensions.
fn tied(tie: &(String, String, f64), pack: &Pack, mistakes: &mut Vec<BuildError>) -> Option<Correlation> {
    let (first, second, coefficient) = tie;
    let mut find = |path: &String| {
        let found = pack.find_dimension(path);
        if found.is_none() {
            let reason = "a tie names it, and the pack has no such dimension".to_owned();
            mistakes.push(BuildError::Refused { path: path.clone(), reason });
        }
        found
    };
    let (first, second) = (find(first), find(second));
    Some(Correlation { between: (first?.0, second?.0), coefficient: *coefficient })
}
