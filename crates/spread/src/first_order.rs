//! Root-sum-square: the law of propagation of uncertainty (GUM, JCGM 100:2008, 5.1 and 5.2) at the means, and what each dimension and each
//! lot contributes to it.
//!
//! With the gradient g at the means µ and standard uncertainties u,
//!
//! y ≈ f(µ),  u²(y) = Σ g²u² + 2 Σ g g cov + Σ over lots (between · Σ of its members' g)².
//!
//! A lot's deviation is one quantity that all its dimensions share, so its sensitivities add before they are squared.

use crate::error::SpreadError;
use crate::model::{Model, ModelError, middle};
use crate::population::Population;
use crate::result::{Contributor, RootSumSquare, Source};
use crate::stack::Lot;

/// First-order mean, standard deviation, and contributions.
#[derive(Debug, Clone, PartialEq)]
pub struct FirstOrder {
    /// Mean and standard deviation.
    pub result: RootSumSquare,
    /// Partial derivatives at the means, one per input.
    pub gradient: Vec<f64>,
    /// Largest share first.
    pub contributors: Vec<Contributor>,
    /// Share of the lots together in the variance.
    pub lot_share: f64,
}

/// Propagates at the means; None where the pack cannot be assembled there.
///
/// # Errors
/// Where the model has no response at the means for another reason.
pub fn first_order(
    model: &dyn Model,
    response: usize,
    population: &Population,
    lots: &[Lot],
) -> Result<Option<FirstOrder>, SpreadError> {
    let means = population.means();
    let fails = |source: ModelError| SpreadError::Model { what: "root-sum-square at the means".to_owned(), source };
    let Some(mean) = middle(model.respond_one(response, &means).map_err(fails)?) else {
        return Ok(None);
    };
    let mut gradient = vec![0.0; population.inputs()];
    model.gradient(response, &means, &population.standard_uncertainties(), &mut gradient).map_err(fails)?;
    // In units of variance, per source.
    let mut parts: Vec<(Source, f64, f64)> = Vec::new();
    let covariances = population.covariances();
    for (k, &slope) in gradient.iter().enumerate() {
        let u = population.own(k).standard_uncertainty();
        if u == 0.0 {
            continue;
        }
        let shared: f64 = covariances
            .iter()
            .filter_map(|&(i, j, c)| {
                if i == k {
                    Some(gradient[j] * c)
                } else if j == k {
                    Some(gradient[i] * c)
                } else {
                    None
                }
            })
            .sum();
        parts.push((Source::Input(k), slope, slope * (slope * u * u + shared)));
    }
    let mut of_lots = 0.0;
    for (j, lot) in lots.iter().enumerate().filter(|(_, lot)| lot.between > 0.0) {
        let members: Vec<usize> = (0..population.inputs()).filter(|&k| population.lot_of(k) == Some(j)).collect();
        if members.is_empty() {
            continue;
        }
        let slope: f64 = members.iter().map(|&k| gradient[k]).sum();
        let part = (slope * lot.between).powi(2);
        of_lots += part;
        parts.push((Source::Lot(j), slope, part));
    }
    let variance: f64 = parts.iter().map(|(_, _, part)| part).sum::<f64>().max(0.0);
    let share = |part: f64| if variance > 0.0 { part / variance } else { 0.0 };
    let mut contributors: Vec<Contributor> = parts
        .into_iter()
        .map(|(source, sensitivity, part)| Contributor {
            dimension: match source {
                Source::Input(k) => population.labels()[k].clone(),
                Source::Lot(j) => format!("lot/{}", lots[j].name),
            },
            source,
            sensitivity,
            variance_share: share(part),
            sobol_first: None,
            sobol_total: None,
        })
        .collect();
    // Stable: equal shares stay in the order of the file.
    contributors.sort_by(|a, b| b.variance_share.total_cmp(&a.variance_share));
    let result = RootSumSquare { mean, sd: variance.sqrt() };
    Ok(Some(FirstOrder { result, gradient, contributors, lot_share: share(of_lots) }))
}
