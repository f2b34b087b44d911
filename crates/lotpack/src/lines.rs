//! The lines along which a requirement is looked at: their direction, and where on each of them it holds.

use super::LotPackError;
use super::ends::Holds;
use super::place::Place;
use packdrift_numerics::sobol::Scrambling;
use packdrift_numerics::special::{Inversion, invert_increasing};
use packdrift_pack::Outcome;
use packdrift_spread::{Model, PackModel, Population, Source, Stack};

/// Scores to either side at which a line begins and ends, and points at which it is first looked at.
const FAR: f64 = 10.0;
const COARSE: usize = 29;

/// What the lines of one requirement are drawn from.
pub(crate) struct Lines<'a> {
    pub(crate) model: &'a PackModel<'a>,
    pub(crate) bare: &'a Stack,
    pub(crate) place: &'a Place,
    pub(crate) requirement: usize,
    pub(crate) seed: u64,
    pub(crate) innermost: f64,
}

/// How far the parts may be moved, all together or one by one, everything else at its mean, until a requirement fails, mm.
pub(crate) fn innermost(
    model: &PackModel<'_>,
    stack: &Stack,
    place: &Place,
    smallest: f64,
) -> Result<f64, LotPackError> {
    let means = Population::of_stack(stack)?.means();
    let mut moved: Vec<Vec<usize>> = vec![place.inputs.clone()];
    if place.inputs.len() > 1 {
        moved.extend(place.inputs.iter().map(|&i| vec![i]));
    }
    let mut innermost = f64::INFINITY;
    for (requirement, parts) in (0..stack.requirements.len()).flat_map(|r| moved.iter().map(move |m| (r, m))) {
        for direction in [-1.0, 1.0] {
            let holds = |c: f64| {
                let mut x = means.clone();
                parts.iter().for_each(|&i| x[i] += direction * c);
                margin(model, stack, requirement, &x) > 0.0
            };
            let mut c = 1e-3 * smallest.max(0.05);
            while c < smallest && holds(c) {
                c *= 1.25;
            }
            if c < smallest {
                innermost = innermost.min(c);
            }
        }
    }
    Ok(if innermost.is_finite() { innermost } else { 0.25 * smallest })
}

impl Lines<'_> {
    /// Inputs of the requirement's bay.
    fn is_inside(&self, input: usize) -> bool {
        let bay = &self.bare.pack.bays[self.bare.requirements[self.requirement].quantity.bay()].name;
        let path = &self.bare.pack.dimensions[input].path;
        path.strip_prefix(bay.as_str()).is_some_and(|rest| rest.starts_with('/'))
    }

    /// The lot's parts in the bay.
    pub(crate) fn parts(&self) -> Vec<usize> {
        self.place.inputs.iter().copied().filter(|&k| self.is_inside(k)).collect()
    }

    /// Coordinates of a population that reach the bay.
    pub(crate) fn coordinates(&self, population: &Population) -> Vec<usize> {
        let of_lot = |lot| (0..population.inputs()).any(|k| self.is_inside(k) && population.lot_of(k) == Some(lot));
        population
            .sources()
            .enumerate()
            .filter(|(_, source)| match *source {
                // A tied input's scatter is made of several coordinates.
                Source::Input(k) => self.is_inside(k) || population.is_tied(k),
                Source::Lot(lot) => of_lot(lot),
            })
            .map(|(coordinate, _)| coordinate)
            .collect()
    }

    fn margin(&self, x: &[f64]) -> f64 {
        margin(self.model, self.bare, self.requirement, x)
    }

    /// Whether moving a part changes anything: at the means, and where the others are moved too.
    pub(crate) fn depends(&self, parts: &[usize]) -> bool {
        let Ok(population) = Population::of_stack(self.bare) else { return !parts.is_empty() };
        let means = population.means();
        let differs = |p: usize, shift: f64, step: f64| {
            let mut x = means.clone();
            parts.iter().for_each(|&other| x[other] += shift * self.innermost);
            let here = self.margin(&x);
            x[p] += step * self.innermost;
            let there = self.margin(&x);
            // Minus infinity twice is no difference.
            (here - there).abs() > 1e-9 * (1.0 + here.abs()) || here.is_finite() != there.is_finite()
        };
        let steps = [0.25, -0.25, 0.9, -0.9];
        parts.iter().any(|&p| steps.iter().any(|&s| [0.0, 1.0, -1.0].into_iter().any(|shift| differs(p, shift, s))))
    }

    /// Slopes of the response where the nearer limit is met going up or down from the means; at the means where none is near.
    pub(crate) fn gradient(&self) -> Result<Vec<f64>, LotPackError> {
        let population = Population::of_stack(self.bare)?;
        let (means, mut scale) = (population.means(), population.sds());
        self.place.inputs.iter().for_each(|&p| scale[p] = scale[p].max(0.1 * self.innermost));
        let slopes_at = |x: &[f64]| {
            let mut slopes = vec![0.0; x.len()];
            let finite = self.model.gradient(self.requirement, x, &scale, &mut slopes).is_ok();
            (finite && slopes.iter().all(|s| s.is_finite())).then_some(slopes)
        };
        // Where the pack cannot be assembled at its means, any direction is as good: along the lot's parts.
        let Some(first) = slopes_at(&means) else {
            let mut along = vec![0.0; means.len()];
            self.parts().into_iter().for_each(|p| along[p] = 1.0);
            return Ok(along);
        };
        let size = first.iter().zip(&scale).map(|(g, s)| (g * s).powi(2)).sum::<f64>().sqrt();
        let at = |c: f64| -> Vec<f64> {
            means.iter().zip(&first).zip(&scale).map(|((m, g), s)| m + c * g * s * s / size).collect()
        };
        let edge = (1..=24)
            .map(|k| f64::from(k) * 0.25)
            .flat_map(|c| [c, -c])
            .find(|&c| size > 0.0 && self.margin(&at(c)) < 0.0);
        Ok(edge.and_then(|c| slopes_at(&at(c - 0.25 * c.signum()))).unwrap_or(first))
    }

    /// Where the requirement holds along each line with a lot of this bias and sd, mm, as linear responses; `per_bias` is Σgₚ. Each line with its weight.
    pub(crate) fn at(
        &self,
        bias: f64,
        sd: f64,
        gradient: &[f64],
        per_bias: f64,
        log2_points: u32,
    ) -> Result<Vec<(f64, Holds)>, LotPackError> {
        let population = Population::of_stack(&self.place.written(self.bare, bias, sd))?;
        let origin = vec![0.0; population.coordinates()];
        let mut in_u = origin.clone();
        population.gradient_to_u(&origin, gradient, &mut in_u);
        // The leading Sobol' coordinates are the best balanced: those that matter most.
        let mut order = self.coordinates(&population);
        order.sort_by(|&a, &b| in_u[b].abs().total_cmp(&in_u[a].abs()));
        let spread = order.iter().map(|&k| in_u[k] * in_u[k]).sum::<f64>().sqrt();
        let mut x = vec![0.0; population.inputs()];
        if spread.is_nan() || spread <= 0.0 {
            // Nothing scatters along the gradient: the requirement holds or not.
            population.to_x(&origin, &mut x);
            let holds = if self.margin(&x) >= 0.0 { vec![(f64::NEG_INFINITY, f64::INFINITY)] } else { Vec::new() };
            return Ok(vec![(1.0, holds)]);
        }
        let direction: Vec<f64> = order.iter().map(|&k| in_u[k] / spread).collect();
        let mirror = Mirror::new(&direction);
        let points = Scrambling { seed: self.seed, purpose: "lot in pack", number: 0, log2_points };
        let columns: Vec<Vec<f64>> = (1..order.len())
            .map(|k| {
                let mut column = vec![0.0; points.points()];
                points.fill_normal(k - 1, &mut column);
                column
            })
            .collect();
        let mut u = origin;
        let line = |line: usize| {
            let mut across = vec![0.0; order.len()];
            across.iter_mut().skip(1).zip(&columns).for_each(|(a, column)| *a = column[line]);
            mirror.turn(&mut across);
            let holds = intervals(FAR, |c| {
                for ((&k, a), d) in order.iter().zip(&across).zip(&direction) {
                    u[k] = a + c * d;
                }
                population.to_x(&u, &mut x);
                self.margin(&x)
            });
            let response = |c: f64| per_bias * bias + c * spread;
            (1.0, holds.into_iter().map(|(from, to)| (response(from), response(to))).collect())
        };
        Ok((0..points.points()).map(line).collect())
    }
}

/// How far inside its limits a requirement is, in its own unit; negative outside, and where the pack cannot be assembled.
pub(crate) fn margin(model: &PackModel<'_>, stack: &Stack, requirement: usize, x: &[f64]) -> f64 {
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

/// The reflection that takes the first axis to a direction.
struct Mirror {
    /// Unit normal of the mirror; zeros where there is nothing to reflect.
    normal: Vec<f64>,
}

impl Mirror {
    fn new(direction: &[f64]) -> Self {
        let mut normal: Vec<f64> = direction.iter().map(|a| -a).collect();
        if let Some(first) = normal.first_mut() {
            *first += 1.0;
        }
        let size = normal.iter().map(|w| w * w).sum::<f64>().sqrt();
        if size > 1e-9 {
            normal.iter_mut().for_each(|w| *w /= size);
        } else {
            normal.fill(0.0);
        }
        Self { normal }
    }

    fn turn(&self, z: &mut [f64]) {
        let along: f64 = self.normal.iter().zip(z.iter()).map(|(w, z)| w * z).sum();
        z.iter_mut().zip(&self.normal).for_each(|(z, w)| *z -= 2.0 * along * w);
    }
}

/// The intervals of t within ± range where f is not negative; an interval that reaches the end is taken to go on for ever.
fn intervals(range: f64, mut f: impl FnMut(f64) -> f64) -> Holds {
    let at = |k: usize| range * (2.0 * k as f64 / (COARSE - 1) as f64 - 1.0);
    let values: Vec<f64> = (0..COARSE).map(|k| f(at(k))).collect();
    let mut found = Vec::new();
    let mut start = if values[0] >= 0.0 { Some(f64::NEG_INFINITY) } else { None };
    for k in 1..COARSE {
        let (before, here) = (values[k - 1] >= 0.0, values[k] >= 0.0);
        if before == here {
            continue;
        }
        let rising = here;
        let (low, high) = (at(k - 1), at(k));
        let guess = if values[k - 1].is_finite() && values[k].is_finite() {
            low + (high - low) * values[k - 1] / (values[k - 1] - values[k])
        } else {
            0.5 * (low + high)
        };
        let step = 0.02 * (high - low);
        let crossing = invert_increasing(&Inversion { start: guess, step, lower: low, upper: high }, |c| {
            let v = if rising { f(c) } else { -f(c) };
            // Minus infinity (cannot be assembled) must not upset the interpolation.
            v.clamp(-1e12, 1e12)
        });
        if rising {
            start = Some(crossing);
        } else if let Some(from) = start.take() {
            found.push((from, crossing));
        }
    }
    if let Some(from) = start {
        found.push((from, f64::INFINITY));
    }
    found
}
