//! What engineers ask once they have seen the spread: how far a tolerance may be opened, what a perfect part would bring, where a nominal should
//! be moved, what the running temperature changes, how requirements fail together.
//!
//! Each limit is answered for by its plane ([`limit_plane`]): exact for linear requirements, of first order about the design point otherwise
//! (`docs/questions.md` has how good that is). A source is opened by scaling its deviations from its mean: the kind of distribution stays.

mod limit_plane;
mod tied;

#[cfg(test)]
mod tests;

use crate::method::Question;
use crate::model::{Model, Plane, middle};
use crate::population::Population;
use crate::rare::{Cause, DesignPoint, Event, nearest};
use crate::requirement_inputs::RequirementInputs;
use crate::result::{Answer, Change as ConditionChange, Contributor, RequirementResult, Source, Together};
use crate::union::{HalfSpace, both};
pub(crate) use limit_plane::Change as PlaneChange;
pub(crate) use limit_plane::NormalShare;
use limit_plane::{Change, LimitPlane};
use packdrift_numerics::root;

/// Largest factor by which a tolerance is opened in looking for the limit.
const WIDEST: f64 = 1000.0;

/// The limits of one requirement, as planes and as half-spaces.
#[derive(Debug, Clone, Default)]
pub(crate) struct Limits {
    planes: Vec<LimitPlane>,
    /// Of each plane, in u.
    pub(crate) half_spaces: Vec<HalfSpace>,
    /// Which of the half-spaces is "cannot be assembled", which all requirements of a bay in one condition have in common.
    cannot: Option<usize>,
}

impl Limits {
    /// Each limit's share after a change.
    pub(crate) fn shares(&self, change: &Change) -> Vec<f64> {
        self.planes.iter().map(|plane| plane.with(change)).collect()
    }

    /// Each limit's margin, as coefficients of the inputs.
    pub(crate) fn coefficients(&self) -> impl Iterator<Item = &Vec<f64>> {
        self.planes.iter().map(|plane| &plane.coefficients)
    }

    /// See [`LimitPlane::normal_share`], of each limit.
    pub(crate) fn normal_shares(&self, inputs: &[usize]) -> impl Iterator<Item = Option<NormalShare>> {
        self.planes.iter().map(|plane| plane.normal_share(inputs))
    }

    /// The share outside after a change.
    fn with(&self, change: &Change) -> f64 {
        self.planes.iter().map(|plane| plane.with(change)).sum::<f64>().min(1.0)
    }
}

/// The planes of a requirement's limits, with the shares that were found for them.
/// `points` are the design points that are known already.
pub(crate) fn limits(
    question: &Question<'_>,
    result: &crate::result::Spread,
    points: [Option<DesignPoint>; 2],
) -> Limits {
    let Question { model, inputs, bounds, .. } = *question;
    let population = &inputs.population;
    let mut limits = Limits::default();
    let linear = model.linear(0);
    let finite = |limit: f64| limit.is_finite().then_some(limit);
    let (lower, upper) = (finite(bounds.lower), finite(bounds.upper));
    let sides = [(Cause::Below, lower, result.out.below), (Cause::Above, upper, result.out.above)];
    for ((cause, limit, share), known) in sides.into_iter().zip(points) {
        let Some(limit) = limit else { continue };
        // margin = sign·(y − limit).
        let sign = if cause == Cause::Below { 1.0 } else { -1.0 };
        let point = known.or_else(|| nearest(model, population, Event::of_limits(cause, lower, upper)));
        let direction = point.as_ref().map(|p| p.direction.clone());
        let margin = match (&linear, &point) {
            (Some(linear), _) => Some(scaled(&linear.plane, sign, limit)),
            (None, Some(point)) => tangent(model, population, point, sign),
            (None, None) => at_means(model, population, sign, limit),
        };
        let Some(margin) = margin else { continue };
        limits.push(inputs, &margin, share, direction);
    }
    if result.cannot_assemble > 0.0
        && let [_, Some(room)] = model.guards(0)
    {
        let before = limits.half_spaces.len();
        limits.push(inputs, &room, result.cannot_assemble, None);
        limits.cannot = (limits.half_spaces.len() > before).then_some(before);
    }
    limits
}

/// P(both fail). What makes one requirement fail (below, above, cannot be assembled) excludes the others, so pairs of causes add up; of one bay in
/// one condition "cannot be assembled" is one event, which is a cause of both at once.
fn both_fail(a: &Limits, b: &Limits, same_bay: bool) -> f64 {
    let common = a.cannot.zip(b.cannot).filter(|_| same_bay);
    let mut sum = common.map_or(0.0, |(i, j)| 0.5 * (a.half_spaces[i].share + b.half_spaces[j].share));
    let others = |of: &Limits, except: Option<usize>| -> Vec<HalfSpace> {
        of.half_spaces.iter().enumerate().filter(|(k, _)| Some(*k) != except).map(|(_, h)| h.clone()).collect()
    };
    for one in others(a, common.map(|c| c.0)) {
        for other in others(b, common.map(|c| c.1)) {
            sum += both(&one, &other);
        }
    }
    sum
}

impl Limits {
    fn push(&mut self, inputs: &RequirementInputs, margin: &Plane, share: f64, direction: Option<Vec<f64>>) {
        let population = &inputs.population;
        self.planes.push(LimitPlane::new(population, margin, share));
        let direction = direction.unwrap_or_else(|| {
            let origin = vec![0.0; population.coordinates()];
            let mut in_u = vec![0.0; origin.len()];
            population.gradient_to_u(&origin, &margin.coefficients, &mut in_u);
            in_u.iter().map(|g| -g).collect()
        });
        let size = direction.iter().map(|d| d * d).sum::<f64>().sqrt();
        if size > 0.0 && size.is_finite() {
            let direction: Vec<f64> = direction.into_iter().map(|d| d / size).collect();
            let direction = inputs.embed(&direction);
            self.half_spaces.push(HalfSpace { direction, share });
        }
    }
}

fn scaled(plane: &Plane, sign: f64, limit: f64) -> Plane {
    Plane {
        constant: sign * (plane.constant - limit),
        coefficients: plane.coefficients.iter().map(|c| sign * c).collect(),
    }
}

/// The tangent of sign·y at the design point, where the margin is 0.
fn tangent(model: &dyn Model, population: &Population, point: &DesignPoint, sign: f64) -> Option<Plane> {
    let mut x = vec![0.0; population.inputs()];
    population.to_x(&point.u, &mut x);
    let mut coefficients = vec![0.0; x.len()];
    model.gradient(0, &x, &population.standard_uncertainties(), &mut coefficients).ok()?;
    coefficients.iter_mut().for_each(|c| *c *= sign);
    let constant = -coefficients.iter().zip(&x).map(|(c, x)| c * x).sum::<f64>();
    (constant.is_finite() && coefficients.iter().any(|c| *c != 0.0)).then_some(Plane { constant, coefficients })
}

/// The tangent at the means, where no design point was found.
fn at_means(model: &dyn Model, population: &Population, sign: f64, limit: f64) -> Option<Plane> {
    let x = population.means();
    let value = middle(model.respond_one(0, &x).ok()?)?;
    let mut coefficients = vec![0.0; x.len()];
    model.gradient(0, &x, &population.standard_uncertainties(), &mut coefficients).ok()?;
    coefficients.iter_mut().for_each(|c| *c *= sign);
    let constant = sign * (value - limit) - coefficients.iter().zip(&x).map(|(c, x)| c * x).sum::<f64>();
    (constant.is_finite() && coefficients.iter().any(|c| *c != 0.0)).then_some(Plane { constant, coefficients })
}

/// The answers for each contributor, in the order of the contributors.
pub(crate) fn answers(
    question: &Question<'_>,
    limits: &Limits,
    contributors: &[Contributor],
    spread: &crate::result::Spread,
    target: Option<f64>,
    max_out: f64,
) -> Vec<Answer> {
    let Question { model, inputs, .. } = *question;
    let now = spread.out.total;
    let means = inputs.population.means();
    let counted: Vec<Source> = limits.planes.iter().flat_map(LimitPlane::sources).collect();
    contributors
        .iter()
        .map(|contributor| {
            let source = contributor.source;
            if limits.planes.is_empty() || !counted.contains(&source) {
                return Answer::none(contributor.dimension.clone(), source);
            }
            let perfect = limits.with(&Change::scaled(source, 0.0));
            let shift = match (source, target, spread.mean) {
                (Source::Input(input), Some(target), Some(mean)) => {
                    shift_to(model, &means, input, contributor.sensitivity, target - mean)
                }
                _ => None,
            };
            let shifted = shift.and_then(|shift| {
                let Source::Input(input) = source else { return None };
                Some(limits.with(&Change { scale: Vec::new(), shift: vec![(input, shift)] }))
            });
            Answer {
                dimension: contributor.dimension.clone(),
                source,
                may_open: may_open(limits, source, now, perfect, max_out),
                out_if_perfect: Some(perfect),
                share_outside_due_to: Some(now - perfect),
                shift_to_centre: shift,
                out_if_shifted: shifted,
            }
        })
        .collect()
}

/// The factor by which a source's scatter may grow (or must shrink) until the share outside is `max_out`; infinite where it may grow without
/// a limit that matters, None where even a perfect one does not do.
fn may_open(limits: &Limits, source: Source, now: f64, perfect: f64, max_out: f64) -> Option<f64> {
    let out = |factor: f64| limits.with(&Change::scaled(source, factor)) - max_out;
    if now > max_out {
        if perfect > max_out {
            return None;
        }
        return root::brent(out, 0.0, 1.0, 1e-6).ok();
    }
    let (mut low, mut high) = (1.0, 2.0);
    while out(high) <= 0.0 {
        low = high;
        high *= 2.0;
        if high > WIDEST {
            return Some(f64::INFINITY);
        }
    }
    root::brent(out, low, high, 1e-6 * low).ok()
}

/// The shift of one input that moves the response by `wanted`: at the means, so that the mean moves as much (what curvature the mean
/// feels beside that is of higher order).
fn shift_to(model: &dyn Model, means: &[f64], input: usize, sensitivity: f64, wanted: f64) -> Option<f64> {
    if sensitivity == 0.0 || !wanted.is_finite() {
        return None;
    }
    let first = wanted / sensitivity;
    if first == 0.0 {
        return Some(0.0);
    }
    let start = middle(model.respond_one(0, means).ok()?)?;
    let mut x = means.to_vec();
    let mut miss = |shift: f64| -> f64 {
        x[input] = means[input] + shift;
        let value = model.respond_one(0, &x).ok().and_then(middle);
        value.map_or(f64::NAN, |value| value - start - wanted)
    };
    // Between no shift and twice what the slope says; where the response turns round before that there is no such shift.
    for reach in [1.05, 1.5, 2.5] {
        let (a, b) = (0.0_f64.min(reach * first), 0.0_f64.max(reach * first));
        if let Ok(shift) = root::brent(&mut miss, a, b, 1e-9 * first.abs()) {
            return Some(shift);
        }
    }
    None
}

/// What changes between two conditions, for every requirement that is asked in several: each later condition against the first.
pub(crate) fn changes(requirements: &[RequirementResult]) -> Vec<ConditionChange> {
    let mut changes = Vec::new();
    for (k, to) in requirements.iter().enumerate() {
        let same = |from: &&RequirementResult| from.name == to.name && from.quantity == to.quantity;
        if let Some(from) = requirements[..k].iter().find(same) {
            let difference = |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| b - a);
            changes.push(ConditionChange {
                name: to.name.clone(),
                from: from.condition.clone(),
                to: to.condition.clone(),
                nominal: difference(from.nominal, to.nominal),
                mean: difference(from.spread.mean, to.spread.mean),
                sd: difference(from.spread.sd, to.spread.sd),
                out: to.spread.out.total - from.spread.out.total,
            });
        }
    }
    changes
}

/// How pairs of requirements of one condition go together: those that share a contributor, and both have limits.
pub(crate) fn together(
    requirements: &[RequirementResult],
    limits: &[Limits],
    correlation: &[Vec<Option<f64>>],
    rank: &dyn Fn(usize, usize) -> Option<f64>,
    same_bay: &dyn Fn(usize, usize) -> bool,
) -> Vec<Together> {
    let mut pairs = Vec::new();
    for j in 0..requirements.len() {
        for i in 0..j {
            let (a, b) = (&requirements[i], &requirements[j]);
            let unlimited = limits[i].half_spaces.is_empty() || limits[j].half_spaces.is_empty();
            let linear = correlation.get(i).and_then(|row| row.get(j).copied().flatten());
            if a.condition != b.condition || unlimited || linear.is_none_or(|r| r.abs() < 0.02) {
                continue;
            }
            let pair = both_fail(&limits[i], &limits[j], same_bay(i, j));
            let (out_a, out_b) = (a.spread.out.total, b.spread.out.total);
            let both = pair.min(out_a.min(out_b));
            pairs.push(Together {
                first: i,
                second: j,
                correlation: linear,
                rank_correlation: rank(i, j),
                both_out: both,
                either_out: (out_a + out_b - both).min(1.0),
            });
        }
    }
    pairs
}
