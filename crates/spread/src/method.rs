//! How a requirement's distribution is computed, and how `auto` chooses.
//!
//! One run answers all requirements together: plain Monte Carlo where that is asked for, else scrambled Sobol' points. It gives mean, standard
//! deviation, quantiles, the joint share outside, the shares that cannot be assembled or are loose, and the histograms. Where `auto` is asked
//! for, each requirement is then offered to the sharper methods ([`sharpen`]), and each replaces the figures it knows better:
//!
//! 1. the exact distribution of a linear requirement replaces all of them;
//! 2. the shares outside of any other requirement come from line sampling, unless the common run knows them well enough already;
//!    what cannot be assembled, and what is loose, is counted exactly where D is a plane of independent dimensions.
//!
//! A method that does not apply leaves what was there; one whose own checks fail says so in a warning. The result names the method of
//! the share outside, the figure that decisions rest on, as `method`, and that of the rest as `moments_method`.

use crate::error::SpreadError;
use crate::exact::Exact;
use crate::interval::{estimate_interval, share_standard_error};
use crate::model::Model;
use crate::monte_carlo::Bounds;
use crate::narrow::Narrow;
use crate::options::{Options, Progress};
use crate::pack_model::PackModel;
use crate::population::Population;
use crate::rare::{self, Crude, Event, Side};
use crate::result::{Histogram, QUANTILE_ORDERS, Quantile, Share, Spread};
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
    /// The requirement alone: response 0.
    pub(crate) model: &'a PackModel<'a>,
    /// What it depends on.
    pub(crate) narrow: &'a Narrow,
    pub(crate) bounds: Bounds,
    pub(crate) options: &'a Options,
    pub(crate) progress: &'a dyn Progress,
}

/// What `auto` knows of a requirement after asking the sharper methods, beginning with what the common run found.
pub(crate) fn sharpen(
    question: &Question<'_>,
    name: &str,
    spread: Spread,
) -> Result<(Spread, Vec<Warning>), SpreadError> {
    if let Some(linear) = question.model.linear(0)
        && let Ok((exact, left_out)) = Exact::of_linear(&question.narrow.population, &linear)
    {
        return Ok((exactly(&exact, left_out, question.bounds, spread), Vec::new()));
    }
    rare_shares(question, name, spread)
}

/// All figures from the distribution itself. `left_out` is what the plane leaves out: below any digit that is printed.
fn exactly(exact: &Exact, left_out: f64, bounds: Bounds, common: Spread) -> Spread {
    let below = if bounds.lower.is_finite() { exact.cdf(bounds.lower) } else { 0.0 };
    let above = if bounds.upper.is_finite() { exact.sf(bounds.upper) } else { 0.0 };
    let total = (below + above).min(1.0);
    // A probability below the error bound is not known to differ from 0.
    let error = exact.error_bound() + left_out;
    let histogram = common.histogram.map(|histogram| {
        let up_to: Vec<f64> =
            (0..=histogram.shares.len()).map(|k| exact.cdf(histogram.lower + k as f64 * histogram.width)).collect();
        Histogram {
            shares: up_to.windows(2).map(|pair| (pair[1] - pair[0]).max(0.0)).collect(),
            below: up_to.first().copied().unwrap_or(0.0),
            above: 1.0 - up_to.last().copied().unwrap_or(1.0),
            ..histogram
        }
    });
    Spread {
        trials: 0,
        mean: Some(exact.mean()),
        sd: Some(exact.sd()),
        standard_error: Some(0.0),
        quantiles: QUANTILE_ORDERS
            .iter()
            .map(|&order| Quantile { order, value: exact.quantile(order), standard_error: Some(0.0) })
            .collect(),
        method: Method::Exact,
        moments_method: Method::Exact,
        out: Share {
            below,
            above,
            total,
            standard_error: 0.0,
            ci95: ((total - error).max(0.0), (total + error).min(1.0)),
        },
        cannot_assemble: 0.0,
        loose: 0.0,
        histogram,
    }
}

/// The shares outside by line sampling from the design points of each limit.
fn rare_shares(question: &Question<'_>, name: &str, mut spread: Spread) -> Result<(Spread, Vec<Warning>), SpreadError> {
    let Question { model, narrow, bounds, options, progress } = *question;
    let population = &narrow.population;
    let trials = spread.trials;
    // What cannot be assembled, and what is loose: probabilities of planes, exact where the dimensions allow it.
    let mut cannot_error = if spread.cannot_assemble > 0.0 {
        share_standard_error((spread.cannot_assemble * trials as f64).round() as u64, trials)
    } else {
        // Seen not once. Where the planes below do not say it exactly, that is what is known.
        0.0
    };
    if let Some([interference, room]) = model.guards(0) {
        if let Ok(interference) = Exact::of_plane(population, &interference) {
            spread.loose = above_noise(&interference, 0.0);
        }
        if let Ok(room) = Exact::of_plane(population, &room) {
            spread.out.total += above_noise(&room, 0.0) - spread.cannot_assemble;
            spread.cannot_assemble = above_noise(&room, 0.0);
            cannot_error = 0.0;
        }
    }
    if bounds == Bounds::NONE || spread.out.standard_error <= options.until.unwrap_or(KNOWN_WELL) * spread.out.total {
        return Ok((spread, Vec::new()));
    }
    let mut warnings = Vec::new();
    let finite = |limit: f64| limit.is_finite().then_some(limit);
    let (lower, upper) = (finite(bounds.lower), finite(bounds.upper));
    let mut variance = cannot_error * cannot_error;
    let mut bound = 0.0;
    let mut total = spread.cannot_assemble;
    let mut methods = Vec::new();
    let mut evaluations = 0;
    let sides = [(Side::Below, lower, spread.out.below), (Side::Above, upper, spread.out.above)];
    for (side, _, counted) in sides.iter().filter(|(_, limit, _)| limit.is_some()) {
        let (side, counted) = (*side, *counted);
        let side_name = if side == Side::Below { "below" } else { "above" };
        let crude = Crude {
            share: counted,
            standard_error: share_standard_error((counted * trials as f64).round() as u64, trials),
            points: trials,
        };
        let rare = rare::share(
            model,
            population,
            &rare::Question {
                event: Event { response: 0, side, lower, upper },
                until: options.until,
                seed: options.seed,
                purpose: &format!("{name}/{side_name}"),
                crude: Some(crude),
            },
            progress,
        )?;
        if let Some(reason) = rare.fell_back {
            let reason = format!("share {side_name}: {reason}; {} is used", rare.method);
            warnings.push(Warning::FellBack { requirement: name.to_owned(), method: Method::LineSampling, reason });
        }
        match side {
            Side::Below => spread.out.below = rare.share.value,
            Side::Above => spread.out.above = rare.share.value,
        }
        total += rare.share.value;
        variance += rare.share.standard_error.powi(2);
        bound += rare.bound;
        evaluations += rare.evaluations;
        methods.push((rare.share.value, rare.method));
    }

    let standard_error = variance.sqrt();
    if let Some(until) = options.until
        && total > 0.0
        && standard_error > until * total
    {
        warnings.push(Warning::NotReached {
            asked: format!("{name}: a relative standard error of {:.2} % of the share outside", 100.0 * until),
            reached: format!("{:.2} % was", 100.0 * standard_error / total),
        });
    }
    spread.out.total = total.min(1.0);
    spread.out.standard_error = standard_error;
    spread.out.ci95 = estimate_interval(spread.out.total, standard_error);
    spread.out.ci95.1 = (spread.out.ci95.1 + bound).min(1.0);
    // The method of the larger share is the one that the total rests on.
    if let Some((_, method)) = methods.into_iter().max_by(|a, b| a.0.total_cmp(&b.0)) {
        spread.method = method;
    }
    spread.trials = trials + evaluations;
    Ok((spread, warnings))
}

/// P(Y ≤ x); 0 where it is not known to differ from 0.
fn above_noise(exact: &Exact, x: f64) -> f64 {
    let share = exact.cdf(x);
    if share <= exact.error_bound() { 0.0 } else { share }
}

/// Relative standard error at which the common run's share outside stands.
const KNOWN_WELL: f64 = 0.003;

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
