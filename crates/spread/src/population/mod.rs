//! All dimensions together: what scatters on its own, what a lot shares, what a correlation ties, and the map from independent standard
//! normals u to the dimensions x.
//!
//! There is one coordinate u for each uncertain term of a dimension (a measured part may have three: repeatability, instrument, resolution)
//! and one for each lot. A dimension is
//!
//! x = Σ over its terms F⁻¹(Φ(z)) + bias + between·u(lot),
//!
//! with z = u, or z = L·u among dimensions tied by correlations (Gaussian copula, L Lᵀ = R; Lebrun and Dutfoy, "An innovating analysis of the
//! Nataf transformation from the copula viewpoint", Probabilistic Engineering Mechanics 24, 2009). Only the dimensions of one connected
//! group of ties enter one matrix R, so a tie elsewhere, or a dimension that nothing uses, changes no result. A tie concerns a
//! dimension's own scatter (within the lot, where it comes from one).

mod correlation;
mod marginal;
mod sampler;

use crate::distribution::Distribution;
use crate::error::SpreadError;
use crate::model::Columns;
use crate::result::Source;
use crate::stack::{Correlation, Lot, Stack};
use correlation::Group;
pub(crate) use marginal::Marginal;
pub use sampler::Sampler;

/// One uncertain quantity, by itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Variable {
    /// Its name; its random numbers depend on it.
    pub label: String,
    /// Its own scatter.
    pub distribution: Distribution,
    /// Index of the lot whose deviation is added.
    pub lot: Option<usize>,
}

/// The joint distribution of all inputs; see the module.
#[derive(Debug, Clone)]
pub struct Population {
    labels: Vec<String>,
    /// Per input: its own distribution.
    own: Vec<Distribution>,
    /// Per input: what does not scatter, the exact terms and the lot's bias.
    fixed: Vec<f64>,
    /// Per input: the coordinate of its lot and that lot's `between`, where it has one that scatters.
    shared: Vec<Option<(usize, f64)>>,
    /// Per input: index of its lot, scattering or not.
    lot_of: Vec<Option<usize>>,
    coordinates: Vec<Coordinate>,
    groups: Vec<Group>,
}

/// One of the independent standard normals.
#[derive(Debug, Clone)]
pub(crate) struct Coordinate {
    /// What its random numbers are for.
    pub(crate) label: String,
    pub(crate) source: Source,
    /// How z becomes the term of the input; for a lot, its deviation without the bias.
    pub(crate) marginal: Marginal,
    /// The group of ties it is in, and its place there.
    pub(crate) tied: Option<(usize, usize)>,
}

impl Population {
    /// Joins variables, the lots they come from, and the correlations that tie them.
    ///
    /// # Errors
    /// Parameters without meaning, indices that point nowhere, correlations that no random quantities can have.
    pub fn new(variables: &[Variable], lots: &[Lot], correlations: &[Correlation]) -> Result<Self, SpreadError> {
        for lot in lots {
            for (what, value, good) in [
                ("bias", lot.bias, lot.bias.is_finite()),
                ("between", lot.between, lot.between.is_finite() && lot.between >= 0.0),
            ] {
                if !good {
                    return Err(SpreadError::Lot { lot: lot.name.clone(), what, value });
                }
            }
        }
        let mut population = Self {
            labels: variables.iter().map(|v| v.label.clone()).collect(),
            own: variables.iter().map(|v| v.distribution.clone()).collect(),
            fixed: vec![0.0; variables.len()],
            shared: vec![None; variables.len()],
            lot_of: variables.iter().map(|v| v.lot).collect(),
            coordinates: Vec::new(),
            groups: Vec::new(),
        };
        correlation::check_pairs(&population.labels, &population.own, correlations)?;
        for (k, variable) in variables.iter().enumerate() {
            let bad = |source| SpreadError::Distribution { input: variable.label.clone(), source };
            variable.distribution.validate().map_err(bad)?;
            let tied = correlations.iter().any(|c| c.coefficient != 0.0 && (c.between.0 == k || c.between.1 == k));
            population.add_terms(k, variable, tied);
            if let Some(lot) = variable.lot {
                let Some(lot) = lots.get(lot) else {
                    return Err(SpreadError::Index { what: "lot", index: lot, count: lots.len() });
                };
                population.fixed[k] += lot.bias;
            }
        }
        for (j, lot) in lots.iter().enumerate().filter(|(_, lot)| lot.between > 0.0) {
            let members: Vec<usize> = (0..variables.len()).filter(|&k| variables[k].lot == Some(j)).collect();
            if members.is_empty() {
                continue;
            }
            for k in members {
                population.shared[k] = Some((population.coordinates.len(), lot.between));
            }
            population.coordinates.push(Coordinate {
                label: format!("lot/{}", lot.name),
                source: Source::Lot(j),
                marginal: Marginal::Normal { mean: 0.0, sd: lot.between },
                tied: None,
            });
        }
        population.groups = correlation::groups(&population.labels, &mut population.coordinates, correlations)?;
        Ok(population)
    }

    /// The population of a stack's dimensions.
    ///
    /// # Errors
    /// As [`Population::new`]; a number of inputs other than the pack's dimensions.
    pub fn of_stack(stack: &Stack) -> Result<Self, SpreadError> {
        let dimensions = &stack.pack.dimensions;
        if dimensions.len() != stack.inputs.len() {
            let (found, expected) = (stack.inputs.len(), dimensions.len());
            return Err(SpreadError::Length { what: "the list of inputs", found, expected });
        }
        let variables: Vec<Variable> = dimensions
            .iter()
            .zip(&stack.inputs)
            .map(|(d, input)| Variable {
                label: d.path.clone(),
                distribution: input.distribution.clone(),
                lot: input.lot,
            })
            .collect();
        Self::new(&variables, &stack.lots, &stack.correlations)
    }

    fn add_terms(&mut self, input: usize, variable: &Variable, tied: bool) {
        let whole = std::slice::from_ref(&variable.distribution);
        // A tied dimension is one coordinate even where it is a sum: the copula ties the dimension, not one of its terms.
        let terms = match &variable.distribution {
            Distribution::Sum { terms } if !tied => terms,
            _ => whole,
        };
        for (t, term) in terms.iter().enumerate() {
            if term.is_exact() {
                self.fixed[input] += term.mean();
                continue;
            }
            let label = if t == 0 { variable.label.clone() } else { format!("{}#{}", variable.label, t + 1) };
            let marginal = Marginal::new(term);
            self.coordinates.push(Coordinate { label, source: Source::Input(input), marginal, tied: None });
        }
    }

    /// Number of inputs.
    pub fn inputs(&self) -> usize {
        self.labels.len()
    }

    /// The inputs' names.
    pub fn labels(&self) -> &[String] {
        &self.labels
    }

    /// Number of independent standard normals.
    pub fn coordinates(&self) -> usize {
        self.coordinates.len()
    }

    /// What each coordinate's random numbers are for: unique.
    pub(crate) fn coordinate_labels(&self) -> Vec<&str> {
        self.coordinates.iter().map(|c| c.label.as_str()).collect()
    }

    /// Where each coordinate comes from.
    pub fn sources(&self) -> impl ExactSizeIterator<Item = Source> + '_ {
        self.coordinates.iter().map(|c| c.source)
    }

    /// The own distribution of an input (within its lot).
    pub fn own(&self, input: usize) -> &Distribution {
        &self.own[input]
    }

    /// The lot of an input, whether or not it scatters.
    pub fn lot_of(&self, input: usize) -> Option<usize> {
        self.lot_of[input]
    }

    /// What a lot adds to an input: the coordinate of the lot and its `between`; None where it comes from none, or from one without scatter.
    pub fn shared(&self, input: usize) -> Option<(usize, f64)> {
        self.shared[input]
    }

    /// What of an input does not scatter: its exact terms and its lot's bias.
    pub fn fixed(&self, input: usize) -> f64 {
        self.fixed[input]
    }

    /// Whether an input is in a group of correlated ones.
    pub fn is_tied(&self, input: usize) -> bool {
        self.group_of(input).is_some()
    }

    /// The group of correlated inputs that an input is in.
    pub(crate) fn group_of(&self, input: usize) -> Option<usize> {
        let own = self.coordinates.iter().filter(|c| c.source == Source::Input(input));
        own.filter_map(|c| c.tied).map(|(group, _)| group).next()
    }

    /// The terms whose sum is an input's own scatter: of each the coordinates with their weights that make its z, and its way from z to the value.
    pub(crate) fn terms_of(&self, input: usize) -> impl Iterator<Item = (Vec<(usize, f64)>, &Marginal)> {
        let own = self.coordinates.iter().enumerate().filter(move |(_, c)| c.source == Source::Input(input));
        own.map(|(k, coordinate)| {
            let row = match coordinate.tied {
                Some((group, place)) => self.groups[group].row(place).collect(),
                None => vec![(k, 1.0)],
            };
            (row, &coordinate.marginal)
        })
    }

    /// Means of all inputs, lots' bias included.
    pub fn means(&self) -> Vec<f64> {
        let mut means = self.fixed.clone();
        for coordinate in &self.coordinates {
            if let Source::Input(k) = coordinate.source {
                means[k] += coordinate.marginal.mean();
            }
        }
        means
    }

    /// Standard deviations of all inputs, lots included; infinite where a term has none.
    pub fn sds(&self) -> Vec<f64> {
        self.total(Distribution::sd)
    }

    /// Standard uncertainties of all inputs in the sense of the GUM ([`Distribution::standard_uncertainty`]), lots included.
    pub fn standard_uncertainties(&self) -> Vec<f64> {
        self.total(Distribution::standard_uncertainty)
    }

    fn total(&self, own: impl Fn(&Distribution) -> f64) -> Vec<f64> {
        let shared = self.shared.iter().map(|s| s.map_or(0.0, |(_, between)| between));
        self.own.iter().zip(shared).map(|(d, between)| own(d).hypot(between)).collect()
    }

    /// The inputs' values at u (one number per coordinate).
    pub fn to_x(&self, u: &[f64], x: &mut [f64]) {
        x.copy_from_slice(&self.fixed);
        for (k, coordinate) in self.coordinates.iter().enumerate() {
            if let Source::Input(input) = coordinate.source {
                let z = match coordinate.tied {
                    Some((group, place)) => self.groups[group].z(place, u),
                    None => u[k],
                };
                x[input] += coordinate.marginal.at(z);
            }
        }
        for (value, shared) in x.iter_mut().zip(&self.shared) {
            if let Some((k, between)) = *shared {
                *value += between * u[k];
            }
        }
    }

    /// [`Population::to_x`] for a block of points: one column per coordinate in, one per input out.
    pub fn to_x_block(&self, u: &Columns, x: &mut Columns) {
        self.to_x_part(u, 0, x, |_| true);
    }

    /// [`Population::to_x_block`] of the points of `u` from `first` on, as many as `x` has, and only of the inputs that are `wanted`; the columns of
    /// the others stay as they are.
    pub(crate) fn to_x_part(&self, u: &Columns, first: usize, x: &mut Columns, wanted: impl Fn(usize) -> bool) {
        let points = first..first + x.trials();
        let mut written = vec![false; self.inputs()];
        let mut z = Vec::new();
        for (k, coordinate) in self.coordinates.iter().enumerate() {
            let Source::Input(input) = coordinate.source else { continue };
            if !wanted(input) {
                continue;
            }
            let column = x.column_mut(input);
            let normals = match coordinate.tied {
                None => &u.column(k)[points.clone()],
                Some((group, place)) => {
                    self.groups[group].z_block(place, u, points.clone(), &mut z);
                    z.as_slice()
                }
            };
            if std::mem::replace(&mut written[input], true) {
                coordinate.marginal.add(normals, column);
            } else {
                coordinate.marginal.write(self.fixed[input], normals, column);
            }
        }
        for (input, shared) in self.shared.iter().enumerate().filter(|(input, _)| wanted(*input)) {
            if !written[input] {
                x.set_constant(input, self.fixed[input]);
            }
            if let Some((k, between)) = *shared {
                for (value, u) in x.column_mut(input).iter_mut().zip(&u.column(k)[points.clone()]) {
                    *value += between * u;
                }
            }
        }
    }

    /// The gradient in u from the gradient in x at the same point, by the chain rule.
    pub fn gradient_to_u(&self, u: &[f64], in_x: &[f64], in_u: &mut [f64]) {
        in_u.fill(0.0);
        for (k, coordinate) in self.coordinates.iter().enumerate() {
            let Source::Input(input) = coordinate.source else { continue };
            match coordinate.tied {
                None => in_u[k] += in_x[input] * coordinate.marginal.slope(u[k]),
                Some((group, place)) => {
                    let slope = in_x[input] * coordinate.marginal.slope(self.groups[group].z(place, u));
                    self.groups[group].spread_slope(place, slope, in_u);
                }
            }
        }
        for (input, shared) in self.shared.iter().enumerate() {
            if let Some((k, between)) = *shared {
                in_u[k] += in_x[input] * between;
            }
        }
    }

    /// Covariances of the inputs' own scatter that are not 0, off the diagonal: (i, j, covariance), i < j. For tied normals ρ·sᵢ·sⱼ;
    /// for others Pearson's coefficient follows from the copula's (Mehler's expansion). Standard uncertainties in the sense of the GUM.
    pub fn covariances(&self) -> Vec<(usize, usize, f64)> {
        self.groups.iter().flat_map(|group| group.covariances(&self.coordinates, &self.own)).collect()
    }

    /// A source of random blocks.
    pub fn sampler(&self, seed: u64) -> Sampler<'_> {
        Sampler::new(self, seed)
    }
}
