//! Which dimensions act on a requirement just as the lot's parts do.
//!
//! A shim 0.01 mm thicker squeezes the spring washer as much as a span 0.01 mm shorter: the preload knows of both only by the sum. All
//! dimensions of that kind, the lot's own and the others', are integrated together as one normal shift T = Σ κⱼ·(xⱼ − mean of xⱼ), with
//! κ = 1 for a part of the lot. Only what acts in another way (a spring washer's thickness, a sweep) is left to be drawn; often nothing is,
//! and the share is exact.
//!
//! κ is the ratio of the slopes at the means. That a dimension does act through the sum alone is not taken for granted: it is tried at
//! draws of everything else, out to where requirements fail.

use super::place::Place;
use packdrift_numerics::sobol::Scrambling;
use packdrift_pack::Outcome;
use packdrift_spread::{Distribution, Model, PackModel, Population, Source, Stack};

/// 2^7 draws at which it is tried whether dimensions act alike.
const LOG2_TRIALS: u32 = 7;

/// How far the lot's parts are moved in turn, in parts of the way to where a requirement fails.
const MOVES: [f64; 5] = [0.0, 0.25, -0.25, 0.5, -0.5];

/// How the dimensions of one requirement's bay enter it.
#[derive(Debug, Clone)]
pub(super) struct Direction {
    /// The lot's parts in the bay.
    pub parts: Vec<usize>,
    /// κ of each part that acts through the sum; 0 for one that has no effect at all. Empty where the parts act each in its own way.
    pub kappa: Vec<f64>,
    /// Of the others in the sum: their variance in it, mm².
    pub variance: f64,
    /// The input that is moved to find where the requirement holds, and how far for a unit of the sum. None: all parts together.
    pub carrier: Option<(usize, f64)>,
    /// Coordinates of the population that are left to draw, the most important first.
    pub drawn: Vec<usize>,
    /// How the requirement leans on each of them, as a unit vector: slope times scatter.
    pub lean: Vec<f64>,
}

impl Direction {
    /// Of one requirement; `scale` is how far the lot's parts may be moved before some requirement fails, mm.
    pub(super) fn find(question: &Question<'_>, requirement: usize, scale: f64) -> Self {
        let Question { model, population, stack, .. } = *question;
        let bay = &stack.pack.bays[stack.requirements[requirement].quantity.bay()].name;
        let inside =
            |k: usize| stack.pack.dimensions[k].path.strip_prefix(bay.as_str()).is_some_and(|r| r.starts_with('/'));
        let members: Vec<usize> = (0..stack.inputs.len()).filter(|&k| inside(k)).collect();
        let parts: Vec<usize> = question.place.inputs.iter().copied().filter(|&k| inside(k)).collect();
        let means = population.means();
        let sds = population.sds();
        let mut slopes = vec![0.0; stack.inputs.len()];
        if model.gradient(requirement, &means, &sds, &mut slopes).is_err() {
            slopes.fill(0.0);
        }
        let trials = question.trials(&parts, scale);
        // A loose bay obeys other laws. Where no draw around the nominals is loose it is left out of account, since a requirement of the preload
        // fails long before looseness counts; otherwise it is tried like the rest.
        let loose = |x: &[f64]| model.margins(requirement, x).is_some_and(|m| m.interference <= 0.0);
        let never_loose = !trials.iter().step_by(MOVES.len()).any(|x| loose(x));
        let counts = |x: &[f64]| !(never_loose && loose(x));
        let known = margin(model, stack, requirement, &means).abs();
        let same = |a: f64, b: f64| (a < 0.0 && b < 0.0) || (a - b).abs() <= 1e-6 * known.max(a.abs()).max(1e-9);
        let at = |x: &[f64]| margin(model, stack, requirement, x);
        // Whether an input changes nothing, wherever it is put.
        let idle = |k: usize| {
            let step = if sds[k] > 0.0 { 3.0 * sds[k] } else { scale };
            trials.iter().all(|x| {
                let here = at(x);
                [step, -step].into_iter().all(|step| {
                    let mut y = x.clone();
                    y[k] += step;
                    !(counts(x) && counts(&y)) || same(here, at(&y))
                })
            })
        };
        let largest = |of: &[usize]| {
            of.iter()
                .copied()
                .filter(|&k| slopes[k] != 0.0 && slopes[k].is_finite())
                .max_by(|&a, &b| slopes[a].abs().total_cmp(&slopes[b].abs()))
        };
        let reference = largest(&parts).or_else(|| {
            largest(&members.iter().copied().filter(|&k| is_free(population, stack, k)).collect::<Vec<_>>())
        });
        // Whether moving k by δ/κ is as good as moving the reference by δ.
        let alike = |reference: usize, k: usize| {
            let kappa = slopes[k] / slopes[reference];
            kappa != 0.0
                && kappa.is_finite()
                && trials.iter().enumerate().all(|(trial, x)| {
                    let step = scale * [0.25, -0.25, 0.5, -0.5][trial % 4];
                    let (mut y, mut z) = (x.clone(), x.clone());
                    y[reference] += step;
                    z[k] += step / kappa;
                    !(counts(&y) && counts(&z)) || same(at(&y), at(&z))
                })
        };
        let mut joined: Vec<(usize, f64)> = Vec::new();
        let mut without: Vec<usize> = Vec::new();
        if let Some(reference) = reference {
            for &k in &members {
                if parts.contains(&k) || is_free(population, stack, k) {
                    if k == reference || alike(reference, k) {
                        joined.push((k, slopes[k] / slopes[reference]));
                        continue;
                    }
                }
                if idle(k) {
                    without.push(k);
                }
            }
        } else {
            without.extend(members.iter().copied().filter(|&k| idle(k)));
        }
        let settled = parts.iter().all(|p| joined.iter().any(|j| j.0 == *p) || without.contains(p));
        if !settled {
            joined.clear();
        }
        let of = |k: usize| joined.iter().find(|j| j.0 == k).map(|j| j.1);
        let kappa = if settled { parts.iter().map(|&p| of(p).unwrap_or(0.0)).collect() } else { Vec::new() };
        let others: Vec<(usize, f64)> = joined.iter().copied().filter(|(k, _)| !parts.contains(k)).collect();
        let mut variance: f64 = others.iter().map(|&(k, kappa)| (kappa * population.own(k).sd()).powi(2)).sum();
        // A lot whose members here all act through the sum, or not at all, is integrated with them.
        let mut integrated = Vec::new();
        for (coordinate, source) in population.sources().enumerate() {
            let Source::Lot(lot) = source else { continue };
            let here: Vec<usize> = members.iter().copied().filter(|&k| population.lot_of(k) == Some(lot)).collect();
            if here.iter().all(|k| others.iter().any(|o| o.0 == *k) || without.contains(k)) {
                let sum: f64 = here.iter().filter_map(|&k| Some(of(k)? * population.shared(k)?.1)).sum();
                variance += sum * sum;
                integrated.push(coordinate);
            }
        }
        let mut drawn: Vec<(f64, usize)> = Vec::new();
        for (coordinate, source) in population.sources().enumerate() {
            let weight = match source {
                Source::Input(k) if population.is_tied(k) => slopes[k] * sds[k],
                Source::Input(k) if members.contains(&k) && of(k).is_none() && !without.contains(&k) => {
                    slopes[k] * sds[k]
                }
                Source::Lot(lot) if !integrated.contains(&coordinate) => {
                    let here = members.iter().filter(|&&k| population.lot_of(k) == Some(lot));
                    let sum: f64 = here.filter_map(|&k| Some(slopes[k] * population.shared(k)?.1)).sum();
                    sum
                }
                _ => continue,
            };
            drawn.push((weight, coordinate));
        }
        // The leading Sobol' coordinates are the best balanced; equal weights keep the order of the file, so that like bays are drawn alike.
        drawn.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
        let size = drawn.iter().map(|d| d.0 * d.0).sum::<f64>().sqrt();
        let long = |k: usize| stack.inputs[k].nominal.abs();
        let carrier = joined.iter().copied().max_by(|a, b| (long(a.0) * a.1.abs()).total_cmp(&(long(b.0) * b.1.abs())));
        Self {
            parts,
            kappa,
            variance,
            carrier: carrier.map(|(k, kappa)| (k, 1.0 / kappa)),
            lean: drawn.iter().map(|d| if size > 0.0 { d.0 / size } else { 0.0 }).collect(),
            drawn: drawn.into_iter().map(|d| d.1).collect(),
        }
    }

    /// Whether the parts act each in its own way, so that their scatter about their mean must be drawn.
    pub(super) fn is_split(&self) -> bool {
        self.kappa.is_empty() && self.parts.len() > 1
    }
}

/// What directions are looked for in.
pub(super) struct Question<'a> {
    pub model: &'a PackModel<'a>,
    pub population: &'a Population,
    pub stack: &'a Stack,
    pub place: &'a Place,
    pub seed: u64,
}

impl Question<'_> {
    /// Draws of everything, the lot's parts moved together by up to `scale` either way.
    fn trials(&self, parts: &[usize], scale: f64) -> Vec<Vec<f64>> {
        let points = Scrambling { seed: self.seed, purpose: "acts alike", number: 0, log2_points: LOG2_TRIALS };
        let columns: Vec<Vec<f64>> = (0..self.population.coordinates())
            .map(|k| {
                let mut column = vec![0.0; points.points()];
                points.fill_normal(k, &mut column);
                column
            })
            .collect();
        (0..points.points())
            .map(|d| {
                let u: Vec<f64> = columns.iter().map(|c| c[d]).collect();
                let mut x = vec![0.0; self.population.inputs()];
                self.population.to_x(&u, &mut x);
                parts.iter().for_each(|&p| x[p] += scale * MOVES[d % MOVES.len()]);
                x
            })
            .collect()
    }
}

/// Scatters normally by itself, so that it can be part of a normal sum; or does not scatter.
fn is_free(population: &Population, stack: &Stack, k: usize) -> bool {
    !population.is_tied(k)
        && matches!(stack.inputs[k].distribution, Distribution::Normal { .. } | Distribution::Exact { .. })
}

/// How far inside its limits a requirement is, in its own unit; negative outside, and where the pack cannot be assembled.
pub(super) fn margin(model: &PackModel<'_>, stack: &Stack, requirement: usize, x: &[f64]) -> f64 {
    let r = &stack.requirements[requirement];
    let room = |low: f64, high: f64| {
        let above = r.lower.map_or(f64::INFINITY, |l| low - l);
        let below = r.upper.map_or(f64::INFINITY, |u| u - high);
        above.min(below)
    };
    match model.respond_one(requirement, x) {
        Ok(Outcome::Value(v)) => room(v, v),
        Ok(Outcome::Range { low, high }) => room(low, high),
        // Outside every limit; so is a draw the model refuses (a table of loads left behind).
        Ok(Outcome::CannotAssemble) | Err(_) => f64::NEG_INFINITY,
    }
}
