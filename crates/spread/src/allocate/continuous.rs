//! Tolerances with the cost a + b/tol^k: least cost under the ceiling, along the ceiling.
//!
//! With x = ln tol the cost is convex and separable, and at the optimum k·b/tol^k = λ·∂ln P/∂x for every tolerance between its bounds
//! (Karush, Kuhn and Tucker). Every iterate lies on the ceiling P = c: from any x a common factor on all tolerances leads there, since P
//! rises with each of them. A step goes towards the least cost of a convex model, in which P is a function of a weighted sum of squares,
//! Σ w·(tol/tol₀)² with w ∝ ∂ln P/∂x (which is what it is for root-sum-square); there, for a multiplier μ,
//!
//! x = (ln(k·b/(2μw)) + 2·ln tol₀)/(2 + k)
//!
//! in closed form. The model has the slopes of P at the present point, so its step goes downhill; it is halved until the cost, taken where
//! the step meets the ceiling again, is really less. So the cost falls from step to step, whatever P is like. (A step that is always taken
//! whole swings for ever where P bends unlike a sum of squares: bounded distributions, several requirements. It did.)
//!
//! The best of several starts is the answer: where P is not convex the ceiling may have more than one valley.

use super::share::JointShare;
use packdrift_numerics::root;
use packdrift_numerics::stream::Key;

/// One tolerance.
#[derive(Debug, Clone, Copy)]
pub(super) struct Variable {
    /// The tolerance at factor 1, mm.
    pub(super) tol: f64,
    /// b of the cost.
    pub(super) scale: f64,
    /// k of the cost.
    pub(super) exponent: f64,
    /// Smallest and largest factor.
    pub(super) bounds: (f64, f64),
}

impl Variable {
    /// The part of the cost that varies.
    pub(super) fn cost(&self, factor: f64) -> f64 {
        self.scale / (factor * self.tol).powf(self.exponent)
    }

    /// min over the factor f of cost(f) + w·f², within the bounds.
    pub(super) fn least_with(&self, w: f64) -> f64 {
        let of = |f: f64| self.cost(f) + w * f * f;
        if w <= 0.0 {
            return of(self.bounds.1);
        }
        let k = self.exponent;
        let free = (k * self.scale / (2.0 * w * self.tol.powf(k))).powf(1.0 / (k + 2.0));
        of(free.clamp(self.bounds.0, self.bounds.1))
    }
}

/// The factors, and how well the conditions hold.
#[derive(Debug, Clone)]
pub(super) struct Solution {
    pub(super) factors: Vec<f64>,
    /// Part of the cost that is still to be saved, by the convex model at this point; 0 where the ceiling does not bind.
    pub(super) to_save: f64,
    /// Whether it converged.
    pub(super) converged: bool,
}

/// Steps from one start, at the most.
const STEPS: usize = 60;
/// Relative fall of the cost in a step below which a start has settled.
const SETTLED: f64 = 1e-7;
/// Change of ln(P/Σ P_j) up to which its slopes are followed.
const FAR: f64 = 0.1;
/// What dependence takes off the sum is sampled: to about this part of itself, and so are its slopes. A fall of the cost below that is noise.
const SAMPLED_TO: f64 = 1e-3;
/// Part of the cost still to be saved, by fresh slopes, up to which the conditions are said to hold.
const HOLDS: f64 = 1e-3;
/// Curvature of the model by a tolerance whose opening makes fewer packs fail, as a part of the steepest slope.
const BENT: f64 = 0.05;
/// Starts beside the present point and equal tolerances, and the standard deviation of their logarithms about equal ones.
const STARTS: u64 = 3;
const START_SD: f64 = 0.8;

/// Least cost of the variables at places `free` of the factors, the other factors held; None where even the smallest factors are not
/// within the ceiling. `thorough`: from several starts.
pub(super) fn solve(
    joint: &JointShare<'_>,
    ceiling: f64,
    variables: &[(usize, Variable)],
    held: &[f64],
    thorough: bool,
) -> Option<Solution> {
    let search = Search { joint, ceiling, variables, held };
    let ends = |end: fn((f64, f64)) -> f64| -> Vec<f64> { variables.iter().map(|(_, v)| end(v.bounds)).collect() };
    let (lowest, highest) = (ends(|b| b.0), ends(|b| b.1));
    if !joint.within(&search.with(&lowest)) {
        return None;
    }
    if joint.within(&search.with(&highest)) {
        return Some(Solution { factors: search.with(&highest), to_save: 0.0, converged: true });
    }
    let present: Vec<f64> = variables.iter().map(|(place, v)| held[*place].clamp(v.bounds.0, v.bounds.1)).collect();
    let mut starts = vec![present];
    if thorough {
        // Equal tolerances, and some about them.
        let equal: Vec<f64> = variables.iter().map(|(_, v)| (1.0 / v.tol).clamp(v.bounds.0, v.bounds.1)).collect();
        let mut stream = Key::new(0, "allocate/starts").stream(0);
        for _ in 0..STARTS {
            let mut z = vec![0.0; variables.len()];
            stream.fill_normal(&mut z);
            let about = equal.iter().zip(&z).zip(variables);
            starts
                .push(about.map(|((f, z), (_, v))| (f * (START_SD * z).exp()).clamp(v.bounds.0, v.bounds.1)).collect());
        }
        starts.push(equal);
    }
    let best = starts
        .into_iter()
        .filter_map(|start| search.descend(start))
        .min_by(|a, b| search.cost(&a.0).total_cmp(&search.cost(&b.0)))?;
    let (values, to_save) = best;
    let values = search.inside(values);
    Some(Solution { factors: search.with(&values), to_save, converged: to_save < HOLDS })
}

/// What dependence leaves of the sum of the single shares about some values: P/Σ P_j, and its slopes by the logarithms of the values.
struct Overlap {
    at: Vec<f64>,
    left: f64,
    slopes: Vec<f64>,
}

impl Overlap {
    fn none(values: &[f64]) -> Self {
        Self { at: values.to_vec(), left: 1.0, slopes: vec![0.0; values.len()] }
    }

    /// ln(P/Σ P_j) at other values; far off the slopes say nothing, and it is never above 0.
    fn ln_left(&self, values: &[f64]) -> f64 {
        let moved = values.iter().zip(&self.at).zip(&self.slopes).map(|((f, at), slope)| slope * (f / at).ln());
        let left = self.left.max(1e-300).ln();
        (left + moved.sum::<f64>().clamp(-FAR, FAR)).min(left.max(0.0))
    }
}

/// A variable with its part (w, c) of the model, and its value.
type WithPart<'a> = ((&'a (usize, Variable), &'a (f64, f64)), &'a f64);

struct Search<'a> {
    joint: &'a JointShare<'a>,
    ceiling: f64,
    variables: &'a [(usize, Variable)],
    held: &'a [f64],
}

impl Search<'_> {
    fn with(&self, values: &[f64]) -> Vec<f64> {
        let mut factors = self.held.to_vec();
        for ((place, _), value) in self.variables.iter().zip(values) {
            factors[*place] = *value;
        }
        factors
    }

    fn cost(&self, values: &[f64]) -> f64 {
        self.variables.iter().zip(values).map(|((_, v), f)| v.cost(*f)).sum()
    }

    fn places(&self) -> Vec<usize> {
        self.variables.iter().map(|(place, _)| *place).collect()
    }

    /// The point of the ceiling that a common factor on all tolerances leads to, each kept between its bounds, with P as the overlap makes it of
    /// the sum of the single shares.
    fn to_the_ceiling(&self, values: &[f64], overlap: &Overlap) -> Option<Vec<f64>> {
        let at = |log_factor: f64| -> Vec<f64> {
            let factor = log_factor.exp();
            values.iter().zip(self.variables).map(|(f, (_, v))| (f * factor).clamp(v.bounds.0, v.bounds.1)).collect()
        };
        let miss = |log_factor: f64| {
            let there = at(log_factor);
            overlap.ln_left(&there) + (self.joint.sum(&self.with(&there)).max(1e-300) / self.ceiling).ln()
        };
        let (mut low, mut high) = (-0.05, 0.05);
        while miss(low) > 0.0 {
            low *= 2.0;
            if low < -12.0 {
                return None;
            }
        }
        while miss(high) < 0.0 {
            high *= 2.0;
            if high > 12.0 {
                return Some(at(high));
            }
        }
        let log_factor = root::brent(miss, low, high, 1e-9).ok()?;
        Some(at(log_factor))
    }

    /// ∂ln P/∂x of each variable.
    fn slopes(&self, values: &[f64], of_overlap: &[f64]) -> Vec<f64> {
        let of_sum = self.joint.slopes_of_sum(&self.with(values), &self.places());
        of_sum.iter().zip(of_overlap).map(|(a, b)| a + b).collect()
    }

    /// P as a part of the sum of single shares about the values, with slopes of its own.
    fn overlap(&self, values: &[f64]) -> Overlap {
        let slopes = self.joint.slopes_of_overlap(&self.with(values), &self.places());
        Overlap { at: values.to_vec(), left: self.left(values), slopes }
    }

    /// P/Σ P_j at the values.
    fn left(&self, values: &[f64]) -> f64 {
        let factors = self.with(values);
        self.joint.joint(&factors) / self.joint.sum(&factors).max(1e-300)
    }

    /// Where the cost settles from one start: the values, and what is still to save there.
    fn descend(&self, start: Vec<f64>) -> Option<(Vec<f64>, f64)> {
        let mut values = self.to_the_ceiling(&start, &Overlap::none(&start))?;
        let mut overlap = self.overlap(&values);
        values = self.to_the_ceiling(&values, &overlap)?;
        let mut cost = self.cost(&values);
        let mut settled = false;
        // Steps since the overlap's slopes were taken: a start has settled only by fresh ones.
        let mut age = 0;
        for _ in 0..STEPS {
            if self.joint.stopped() {
                break;
            }
            if age == 8 || (settled && age > 0) {
                // What dependence takes off the sum changes slowly.
                overlap = self.overlap(&values);
                values = self.to_the_ceiling(&values, &overlap)?;
                (cost, age) = (self.cost(&values), 0);
            } else if age % 4 == 3 {
                overlap = Overlap { at: values.clone(), left: self.left(&values), ..overlap };
                values = self.to_the_ceiling(&values, &overlap)?;
                cost = self.cost(&values);
            }
            age += 1;
            let next = self.step(&values, &overlap);
            let enough = SETTLED.max(SAMPLED_TO * (1.0 - overlap.left));
            settled = next.as_ref().is_none_or(|next| 1.0 - self.cost(next) / cost < enough);
            if let Some(next) = next {
                cost = self.cost(&next);
                values = next;
            }
            if settled && age == 1 {
                break;
            }
        }
        overlap = self.overlap(&values);
        values = self.to_the_ceiling(&values, &overlap)?;
        let to_save = self.still_to_save(&values, &self.slopes(&values, &overlap.slopes));
        Some((values, to_save))
    }

    /// A point of the ceiling towards the model's least cost that really costs less; None where there is none.
    fn step(&self, values: &[f64], overlap: &Overlap) -> Option<Vec<f64>> {
        let cost = self.cost(values);
        let wanted = self.of_the_model(values, &self.slopes(values, &overlap.slopes));
        let mut share = 1.0;
        while share > 1e-3 {
            let towards: Vec<f64> = values.iter().zip(&wanted).map(|(f, w)| f * (share * (w / f).ln()).exp()).collect();
            let tried = self.to_the_ceiling(&towards, overlap);
            if let Some(tried) = tried.filter(|tried| self.cost(tried) < cost) {
                return Some(tried);
            }
            share *= 0.5;
        }
        None
    }

    /// The least cost of the convex model with these slopes at the values; its multiplier by the ceiling of the model itself.
    ///
    /// In the model ln P moves by Σ w·((tol/tol₀)² − 1) + c·ln(tol/tol₀), where w = slope/2 and c = 0. A slope may be negative where dimensions tied to
    /// each other make up for each other: then w is a part of the largest, and c the rest, so that the model is convex all the same.
    fn of_the_model(&self, values: &[f64], slopes: &[f64]) -> Vec<f64> {
        let steepest = slopes.iter().copied().fold(1e-9, f64::max);
        let parts: Vec<(f64, f64)> = slopes
            .iter()
            .map(|&slope| {
                let w = if slope > 0.0 { 0.5 * slope.max(1e-12) } else { BENT * steepest };
                (w, if slope > 0.0 { 0.0 } else { slope - 2.0 * w })
            })
            .collect();
        let at = |log_mu: f64| -> Vec<f64> {
            let of = |(((_, v), (w, c)), now): WithPart<'_>| {
                let by_cost = v.exponent * v.cost(*now) / log_mu.exp();
                least_of_model(v.exponent, by_cost, *w, *c)
                    .map_or(v.bounds.1, |x| now * x.exp())
                    .clamp(v.bounds.0, v.bounds.1)
            };
            self.variables.iter().zip(&parts).zip(values).map(of).collect()
        };
        let miss = |log_mu: f64| {
            let there = at(log_mu);
            let moved = there.iter().zip(values).zip(&parts).map(|((f, now), (w, c))| {
                let x = (f / now).ln();
                w * libm::expm1(2.0 * x) + c * x
            });
            moved.sum::<f64>()
        };
        let of_start = |(((_, v), (w, _)), now): WithPart<'_>| (v.exponent * v.cost(*now) / (2.0 * w)).ln();
        let start = self.variables.iter().zip(&parts).zip(values).map(of_start).fold(f64::NEG_INFINITY, f64::max);
        let (mut low, mut high) = (start - 1.0, start + 1.0);
        while miss(high) > 0.0 && high < start + 400.0 {
            high += 4.0;
        }
        while miss(low) < 0.0 && low > start - 400.0 {
            low -= 4.0;
        }
        at(root::brent(miss, low, high, 1e-9).unwrap_or(high))
    }

    /// The part of the cost that the convex model with these slopes still promises to save. It is 0 where k·b/tol^k is one multiple of ∂ln P/∂x, and
    /// of second order in how far it is from that: a tolerance that hardly costs anything, whose slope is known worst, weighs as little as it costs.
    fn still_to_save(&self, values: &[f64], slopes: &[f64]) -> f64 {
        (1.0 - self.cost(&self.of_the_model(values, slopes)) / self.cost(values)).max(0.0)
    }

    /// On the safe side of the ceiling, whatever the last root left.
    fn inside(&self, values: Vec<f64>) -> Vec<f64> {
        let shrunk = |shrink: f64| -> Vec<f64> {
            values.iter().zip(self.variables).map(|(f, (_, v))| (f * (1.0 - shrink)).max(v.bounds.0)).collect()
        };
        let mut shrink = 0.0;
        while !self.joint.within(&self.with(&shrunk(shrink))) && shrink < 0.1 {
            shrink = if shrink == 0.0 { 1e-8 } else { 4.0 * shrink };
        }
        shrunk(shrink)
    }
}

/// x where q·e^(−k·x) = 2w·e^(2x) + c: the model's least cost by one tolerance, q = k·cost/μ. None where it is farther than any bound.
fn least_of_model(k: f64, q: f64, w: f64, c: f64) -> Option<f64> {
    if c >= 0.0 {
        return Some((q / (2.0 * w)).ln() / (2.0 + k));
    }
    root::brent(|x| 2.0 * w * (2.0 * x).exp() + c - q * (-k * x).exp(), -30.0, 30.0, 1e-10).ok()
}
