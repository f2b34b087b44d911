//! A requirement as a function of what the lot's own parts add up to, for lots of any shape.
//!
//! Of a lot with mean b and sd σ the parts of the pack add b·Σgₚ + σ·|g|·T to the response, T = Σ(gₚ/|g|)·Xₚ, each Xₚ a part in sds from the mean. Given that
//! sum, all else is as for a normal lot, so the share outside is the mean over T of the share at that sum: T in classes, the share in a table.

use packdrift_numerics::normal;

/// Classes and steps of the table, in asinh of sds: about a fiftieth of an sd in the middle, a fiftieth of the distance far out.
const STEP: f64 = 0.02;
/// Half as many steps of the table: to 120 sds.
const TABLE: i32 = 275;
/// Half as many classes of a sum: to 1000 sds.
const CLASSES: i32 = 380;
/// Normal scores of a part: to either side, and how many to one where it stands alone, or is added to others.
const SCORES: f64 = 7.0;
const ALONE: i32 = 700;
const ADDED: i32 = 140;

/// How a bias and a sum stand in the table.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Scale {
    /// What a bias of 1 mm moves.
    pub(crate) per_bias: f64,
    /// What a sum T of 1 moves at an sd of 1 mm.
    pub(crate) per_sum: f64,
    /// Where the lot itself stands.
    pub(crate) centre: f64,
    /// What one of its sds moves.
    pub(crate) unit: f64,
}

/// One requirement, about one lot.
pub(crate) struct Response {
    scale: Scale,
    parts: Parts,
    shares: Vec<f64>,
}

/// The parts of the lot that a requirement leans on.
#[derive(Debug, Clone)]
pub(crate) struct Parts {
    /// gₚ/|g|; of parts that are tied, one that stands for all: what is added up of such has no lighter tails.
    pub(crate) slopes: Vec<f64>,
    /// How many there are.
    pub(crate) count: usize,
    /// Where they pull both ways: what a deviation of 1 mm moves at most.
    pub(crate) either_way: Option<f64>,
}

/// A sum T: (value, weight), weights adding to 1.
pub(crate) struct Sum(Vec<(f64, f64)>);

impl Response {
    pub(crate) fn new(scale: Scale, parts: Parts, share: impl Fn(f64) -> f64) -> Self {
        let at = |k: i32| scale.centre + scale.unit * (STEP * f64::from(k)).sinh();
        let shares = (-TABLE..=TABLE).map(|k| share(at(k))).collect();
        Self { scale, parts, shares }
    }

    /// Linear in the table; beyond it as at its end.
    fn at(&self, place: f64) -> f64 {
        let at = ((place - self.scale.centre) / self.scale.unit).asinh() / STEP + f64::from(TABLE);
        let at = at.clamp(0.0, f64::from(2 * TABLE));
        let k = (at as usize).min(self.shares.len() - 2);
        self.shares[k] + (at - k as f64) * (self.shares[k + 1] - self.shares[k])
    }

    /// The share outside of a lot with this bias and sd, mm.
    pub(crate) fn share(&self, bias: f64, sd: f64, sum: &Sum) -> f64 {
        let Scale { per_bias, per_sum, .. } = self.scale;
        let (from, per_sum) = (per_bias * bias, per_sum * sd);
        sum.0.iter().map(|(value, weight)| weight * self.at(from + per_sum * value)).sum()
    }

    /// The sum of parts of a shape, given by a part's value, in sds from the mean, for a normal score.
    pub(crate) fn sum(&self, part: impl Fn(f64) -> f64) -> Sum {
        let scores = |half: i32| {
            let each = move |k: i32| SCORES * f64::from(k) / f64::from(half);
            (-half..=half).map(move |k| (each(k), normal::pdf(each(k))))
        };
        let many = |slope: f64, half: i32| -> Vec<(f64, f64)> {
            scores(half).map(|(score, weight)| (slope * part(score), weight)).collect()
        };
        let Some((first, others)) = self.parts.slopes.split_first() else { return Sum(vec![(0.0, 1.0)]) };
        let mut found = classes(many(*first, ALONE).into_iter());
        for slope in others {
            let added = many(*slope, ADDED);
            found = classes(
                found
                    .iter()
                    .flat_map(|a| added.iter().map(move |b| (a.0 + b.0, a.1 * b.1)))
                    .collect::<Vec<_>>()
                    .into_iter(),
            );
        }
        Sum(found)
    }

    /// With how many parts' own deviations a pack is more often outside than not, were all its parts of the lot such, and how many parts it has; None where
    /// no part within ten sds of the lot does that. A deviation is from the lot's mean, mm.
    pub(crate) fn failing(&self, bias: f64, sd: f64, deviations: &[f64]) -> Option<(usize, usize)> {
        let Scale { per_bias, .. } = self.scale;
        let fails = |deviation: f64| match self.parts.either_way {
            None => self.at(per_bias * (bias + deviation)) > 0.5,
            Some(most) => [most, -most].iter().any(|m| self.at(per_bias * bias + m * deviation) > 0.5),
        };
        let reached = (1..=40).map(|k| 0.25 * f64::from(k) * sd).any(|d| fails(d) || fails(-d));
        reached.then(|| (deviations.iter().filter(|d| fails(**d)).count(), self.parts.count))
    }
}

/// Values with their weights in classes, each by its mean.
fn classes(values: impl Iterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    let mut sums = vec![(0.0, 0.0); 2 * CLASSES as usize + 1];
    let mut total = 0.0;
    for (value, weight) in values {
        let class = (value.asinh() / STEP).round().clamp(-f64::from(CLASSES), f64::from(CLASSES)) + f64::from(CLASSES);
        let into: &mut (f64, f64) = &mut sums[class as usize];
        into.0 += weight * value;
        into.1 += weight;
        total += weight;
    }
    sums.into_iter().filter(|s| s.1 > 0.0).map(|(value, weight)| (value / weight, weight / total)).collect()
}
