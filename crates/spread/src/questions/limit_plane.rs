//! A limit of a requirement as a plane through its design point, so that "what if" can be answered in microseconds.
//!
//! A requirement that is linear is this plane; there the answers are exact. Otherwise margin(x) ≈ Σ c·(x − x*) near the design point
//! x*, where the outside begins to be likely, and the plane's share is scaled to the share that was computed with the whole model:
//! P(what if) ≈ P·P_plane(what if)/P_plane(as it is).

use crate::distribution::Distribution;
use crate::exact::Exact;
use crate::model::Plane;
use crate::population::Population;
use crate::questions::tied::TiedSum;
use crate::result::Source;
use packdrift_numerics::normal;

/// A change to the population: each source's scatter times a factor, each input's values shifted.
#[derive(Debug, Clone, Default)]
pub(crate) struct Change {
    /// Factors other than 1.
    pub(crate) scale: Vec<(Source, f64)>,
    /// Shifts other than 0, by input.
    pub(crate) shift: Vec<(usize, f64)>,
}

impl Change {
    pub(crate) fn scaled(source: Source, factor: f64) -> Self {
        Self { scale: vec![(source, factor)], shift: Vec::new() }
    }

    fn factor(&self, source: Source) -> f64 {
        self.scale.iter().find(|(s, _)| *s == source).map_or(1.0, |(_, factor)| *factor)
    }
}

/// One limit: outside where constant + Σ c·x < 0.
#[derive(Debug, Clone)]
pub(crate) struct LimitPlane {
    /// Of the margin, one per input.
    pub(crate) coefficients: Vec<f64>,
    /// Margin with every input at its mean.
    margin_at_means: f64,
    /// Input, coefficient, own distribution without its mean, its mean and its standard uncertainty.
    terms: Vec<Term>,
    /// Lot and the sum of coefficient·between.
    lots: Vec<(Source, f64)>,
    /// Of tied inputs: places among the terms, and coefficient·coefficient·covariance.
    covariances: Vec<(usize, usize, f64)>,
    /// Where dimensions are tied and not all normal: the terms that are taken together, and their sum.
    tied: Option<(Vec<usize>, TiedSum)>,
    /// Share by the model over share by the plane.
    ratio: f64,
}

#[derive(Debug, Clone)]
struct Term {
    input: usize,
    coefficient: f64,
    own: Distribution,
    mean: f64,
    sd: f64,
    normal: bool,
}

/// A limit whose terms are all normal: its share is r·Φ(−m/√s) with the variance s = s₀ + Σ v·q, q the square of the factor on each input's
/// scatter. While m/√s > √3, that is for shares below 0.04·r, it is convex in the squares.
#[derive(Debug, Clone)]
pub(crate) struct NormalShare {
    /// r.
    ratio: f64,
    /// m.
    margin: f64,
    /// s₀.
    fixed: f64,
    /// v of each of the inputs.
    pub(crate) parts: Vec<f64>,
}

impl NormalShare {
    /// Σ v·q that must not be exceeded for the share to stay at or below `share`; None where that is not among its tails.
    pub(crate) fn room(&self, share: f64) -> Option<f64> {
        let by_plane = share / self.ratio;
        let tail = by_plane > 0.0 && by_plane < 0.5;
        tail.then(|| (self.margin / normal::quantile(by_plane)).powi(2) - self.fixed)
    }

    /// Whether it is convex in the squares wherever it is at most `share`.
    pub(crate) fn convex_up_to(&self, share: f64) -> bool {
        share / self.ratio < 0.04
    }

    /// The share at the squares, and its derivative by the variance.
    pub(crate) fn at(&self, squares: &[f64]) -> (f64, f64) {
        let s = self.fixed + self.parts.iter().zip(squares).map(|(v, q)| v * q).sum::<f64>();
        if s <= 0.0 {
            return (0.0, 0.0);
        }
        let z = self.margin / s.sqrt();
        (self.ratio * normal::cdf(-z), self.ratio * normal::pdf(z) * z / (2.0 * s))
    }
}

impl LimitPlane {
    pub(crate) fn new(population: &Population, margin: &Plane, share: f64) -> Self {
        let means = population.means();
        let mut terms = Vec::new();
        let mut lots: Vec<(Source, f64)> = Vec::new();
        let sources: Vec<Source> = population.sources().collect();
        for (input, &coefficient) in margin.coefficients.iter().enumerate().filter(|(_, c)| **c != 0.0) {
            if let Some((coordinate, between)) = population.shared(input) {
                let lot = sources[coordinate];
                match lots.iter_mut().find(|(source, _)| *source == lot) {
                    Some((_, sum)) => *sum += coefficient * between,
                    None => lots.push((lot, coefficient * between)),
                }
            }
            let own = population.own(input);
            if own.is_exact() {
                continue;
            }
            let normal = matches!(own, Distribution::Normal { .. });
            let (mean, sd) = (own.mean(), own.standard_uncertainty());
            terms.push(Term { input, coefficient, own: own.clone(), mean, sd, normal });
        }
        let place = |input: usize| terms.iter().position(|t| t.input == input);
        let mut covariances: Vec<(usize, usize, f64)> = population
            .covariances()
            .into_iter()
            .filter_map(|(i, j, covariance)| {
                let (a, b) = (place(i)?, place(j)?);
                Some((a, b, terms[a].coefficient * terms[b].coefficient * covariance))
            })
            .collect();
        let tied = tied_sum(population, &terms);
        if let Some((places, _)) = &tied {
            covariances.retain(|(a, _, _)| !places.contains(a));
        }
        let mut plane = Self {
            coefficients: margin.coefficients.clone(),
            margin_at_means: margin.at(&means),
            terms,
            lots,
            covariances,
            tied,
            ratio: 1.0,
        };
        let by_plane = plane.by_plane(&Change::default());
        if by_plane > 0.0 && share > 0.0 {
            plane.ratio = share / by_plane;
        }
        plane
    }

    /// The share after the change.
    pub(crate) fn with(&self, change: &Change) -> f64 {
        (self.ratio * self.by_plane(change)).min(1.0)
    }

    /// The share as a function of the scatter of the given inputs. None where not all terms are normal and independent, or the margin is on the
    /// wrong side already.
    pub(crate) fn normal_share(&self, inputs: &[usize]) -> Option<NormalShare> {
        let usable = self.covariances.is_empty() && self.tied.is_none() && self.terms.iter().all(|t| t.normal);
        if !usable || self.margin_at_means <= 0.0 {
            return None;
        }
        let mut fixed = self.lots.iter().map(|(_, c)| c * c).sum::<f64>();
        let mut parts = vec![0.0; inputs.len()];
        for term in &self.terms {
            let part = (term.coefficient * term.sd).powi(2);
            match inputs.iter().position(|k| *k == term.input) {
                Some(place) => parts[place] += part,
                None => fixed += part,
            }
        }
        Some(NormalShare { ratio: self.ratio, margin: self.margin_at_means, fixed, parts })
    }

    /// Sources and their part of the plane's variance, as it is.
    pub(crate) fn sources(&self) -> Vec<Source> {
        self.terms.iter().map(|t| Source::Input(t.input)).chain(self.lots.iter().map(|(lot, _)| *lot)).collect()
    }

    fn by_plane(&self, change: &Change) -> f64 {
        let mut margin = self.margin_at_means;
        for (input, shift) in &change.shift {
            if let Some(term) = self.terms.iter().find(|t| t.input == *input) {
                margin += term.coefficient * shift;
            }
        }
        let factors: Vec<f64> = self.terms.iter().map(|t| change.factor(Source::Input(t.input))).collect();
        let mut variance: f64 = self.lots.iter().map(|(lot, c)| (c * change.factor(*lot)).powi(2)).sum();
        for (a, b, product) in &self.covariances {
            variance += 2.0 * factors[*a] * factors[*b] * product;
        }
        let mut others = Vec::new();
        let together = self.tied.as_ref().map_or(&[][..], |(places, _)| places);
        for (k, (term, factor)) in self.terms.iter().zip(&factors).enumerate() {
            let c = term.coefficient * factor;
            if together.contains(&k) {
                continue;
            }
            if term.normal {
                variance += (c * term.sd).powi(2);
            } else if c != 0.0 {
                others.push((c, &term.own));
                margin -= c * term.mean;
            }
        }
        let variance = variance.max(0.0);
        if let Some((places, sum)) = &self.tied {
            let coefficients: Vec<f64> = places.iter().map(|&k| self.terms[k].coefficient * factors[k]).collect();
            return sum.below(margin, &coefficients, variance);
        }
        if others.is_empty() {
            return tail(margin, variance);
        }
        match Exact::new(margin, &others, variance) {
            Ok(exact) => exact.cdf(0.0),
            // Few slow terms: by their standard deviations.
            Err(_) => {
                let rest: f64 = self
                    .terms
                    .iter()
                    .zip(&factors)
                    .filter(|(t, _)| !t.normal)
                    .map(|(t, factor)| (t.coefficient * factor * t.sd).powi(2))
                    .sum();
                let mean = margin + others.iter().map(|(c, d)| c * d.mean()).sum::<f64>();
                tail(mean, variance + rest)
            }
        }
    }
}

/// The terms that are tied and not all normal, with every other that is not normal: None where no such terms are tied to each other in this plane.
fn tied_sum(population: &Population, terms: &[Term]) -> Option<(Vec<usize>, TiedSum)> {
    let group = |k: usize| population.group_of(terms[k].input);
    let members = |of: Option<usize>| (0..terms.len()).filter(move |&k| of.is_some() && group(k) == of);
    let bent = |of: Option<usize>| members(of).count() > 1 && members(of).any(|k| !terms[k].normal);
    let is_bent: Vec<bool> = (0..terms.len()).map(|k| bent(group(k))).collect();
    if !is_bent.contains(&true) {
        return None;
    }
    let places: Vec<usize> = (0..terms.len()).filter(|&k| is_bent[k] || !terms[k].normal).collect();
    let of = |&k: &usize| (terms[k].input, terms[k].coefficient * terms[k].sd);
    let dimensions: Vec<(usize, f64)> = places.iter().map(of).collect();
    let sum = TiedSum::new(population, &dimensions);
    Some((places, sum))
}

/// P(N(margin, variance) < 0).
fn tail(margin: f64, variance: f64) -> f64 {
    if variance > 0.0 { normal::cdf(-margin / variance.sqrt()) } else { f64::from(u8::from(margin < 0.0)) }
}
