//! What to expect of a bay: every quantity warm and cold, and the chance that all are inside their limits, by the whole mechanical model.
//!
//! The search judges by a linear model. For the builds that are shown the chance is worked out again: random draws of all unknowns go through the
//! whole model (loose bays, springs pressed flat, curved loads), and the linear model's exact chance serves as control variate:
//!
//! P = P_linear + mean over the draws of (inside by the model − inside by the linear model)
//!
//! Both are inside or outside together in nearly every draw, so that a few hundred suffice; the standard error is stated. All
//! builds see the same draws.

use crate::beliefs::Beliefs;
use crate::chance::{MOST, all_between};
use nalgebra::{DMatrix, SymmetricEigen};
use packdrift_numerics::stream::Key;
use packdrift_pack::{Outcome, Pack, Quantity, QuantityKind};

/// A quantity to forecast.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Ask {
    pub(crate) quantity: Quantity,
    pub(crate) condition: usize,
    pub(crate) lower: Option<f64>,
    pub(crate) upper: Option<f64>,
    pub(crate) target: Option<f64>,
    /// Whether it belongs to what was asked for (a named valve, the preload).
    pub(crate) named: bool,
}

/// Limits of the sum of the pieces, where no preload is required, mm.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SumRule {
    /// Entries of the pieces in the bay.
    pub(crate) pieces: Vec<usize>,
    pub(crate) lower: f64,
    pub(crate) upper: f64,
}

/// What to expect of one quantity in one condition.
#[derive(Debug, Clone, PartialEq)]
pub struct Expectation {
    /// What.
    pub kind: QuantityKind,
    /// Of which valve or bay.
    pub of: String,
    /// In which condition.
    pub condition: String,
    /// Its temperature, °C.
    pub temperature: f64,
    /// Expected value (of a loose bay's range: the middle), mm or N.
    pub mean: f64,
    /// Standard deviation, all readings' uncertainty counted, mm or N.
    pub sd: f64,
    /// How far a loose bay lets it wander, mm; 0 under preload.
    pub wander: f64,
    /// Smallest acceptable value.
    pub lower: Option<f64>,
    /// Largest acceptable value.
    pub upper: Option<f64>,
    /// The aim.
    pub target: Option<f64>,
    /// Whether it belongs to what was asked for; false: another rocker of the same bay.
    pub named: bool,
}

/// What to expect of a bay.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// Offset of every valve of the bay, then preload, in every condition.
    pub expectations: Vec<Expectation>,
    /// The chance that the named valves' offsets and the preload are inside their limits in every condition.
    pub chance: f64,
    /// Standard error of `chance`.
    pub chance_se: f64,
    /// The chance that every rocker of the bay is inside as well. Equal to `chance` where all are named.
    pub chance_all: f64,
    /// Standard error of `chance_all`.
    pub chance_all_se: f64,
    /// Share of the draws in which the bay is loose in some condition.
    pub loose: f64,
    /// Share of the draws in which it cannot be assembled.
    pub cannot_assemble: f64,
}

/// Draws behind a forecast.
const DRAWS: usize = 512;

pub(crate) struct State<'a> {
    pub(crate) pack: &'a Pack,
    pub(crate) bay: usize,
    pub(crate) entry: &'a [usize],
    pub(crate) beliefs: &'a Beliefs,
    pub(crate) asks: &'a [Ask],
    pub(crate) sum_rule: Option<&'a SumRule>,
    pub(crate) seed: u64,
}

/// One line of the linear model: a group's members share it.
struct Line {
    mean: f64,
    sd: f64,
    /// Over the used entries.
    gradient: Vec<f64>,
    /// Which quantity.
    group: usize,
    lower: f64,
    upper: f64,
    half: f64,
    named: bool,
}

/// None where the bay cannot be assembled at its expected dimensions.
pub(crate) fn forecast(state: &State<'_>) -> Option<Forecast> {
    let State { pack, bay, entry, beliefs, asks, sum_rule, seed } = *state;
    let means: Vec<f64> = entry.iter().map(|&e| beliefs.mean(e)).collect();
    let mut gradient = vec![0.0; pack.dimensions.len()];
    let mut values = Vec::with_capacity(asks.len());
    for ask in asks {
        pack.gradient(&ask.quantity, ask.condition, &means, &mut gradient)?;
        values.push((pack.evaluate(&ask.quantity, ask.condition, &means).ends()?, gradient.clone()));
    }
    // The dimensions that matter and scatter.
    let used: Vec<usize> = (0..entry.len())
        .filter(|&d| values.iter().any(|(_, g)| g[d] != 0.0) && beliefs.covariance(entry[d], entry[d]) > 0.0)
        .collect();
    let n = used.len();
    let covariance = DMatrix::from_fn(n, n, |i, j| beliefs.covariance(entry[used[i]], entry[used[j]]));
    let mut lines = Vec::new();
    let mut expectations = Vec::with_capacity(asks.len());
    let mut quantities: Vec<Quantity> = Vec::new();
    for (ask, ((low, high), g)) in asks.iter().zip(&values) {
        let row: Vec<f64> = used.iter().map(|&d| g[d]).collect();
        let sd = variance(&row, &row, &covariance).max(0.0).sqrt();
        let condition = &pack.conditions[ask.condition];
        let of = match ask.quantity {
            Quantity::Offset { bay, valve } => pack.bays[bay].valves[valve].name.clone(),
            _ => pack.bays[bay].name.clone(),
        };
        expectations.push(Expectation {
            kind: ask.quantity.kind(),
            of,
            condition: condition.name.clone(),
            temperature: condition.temperature,
            mean: 0.5 * (low + high),
            sd,
            wander: high - low,
            lower: ask.lower,
            upper: ask.upper,
            target: ask.target,
            named: ask.named,
        });
        if ask.lower.is_some() || ask.upper.is_some() {
            let group = quantities.iter().position(|q| *q == ask.quantity).unwrap_or_else(|| {
                quantities.push(ask.quantity);
                quantities.len() - 1
            });
            lines.push(Line {
                mean: 0.5 * (low + high),
                sd: sd.max(1e-9),
                gradient: row,
                group,
                lower: ask.lower.unwrap_or(f64::NEG_INFINITY),
                upper: ask.upper.unwrap_or(f64::INFINITY),
                half: 0.5 * (high - low),
                named: ask.named,
            });
        }
    }
    if let Some(rule) = sum_rule {
        let row: Vec<f64> = used.iter().map(|&d| if rule.pieces.contains(&entry[d]) { 1.0 } else { 0.0 }).collect();
        let sd = variance(&row, &row, &covariance).max(0.0).sqrt().max(1e-9);
        let mean = rule.pieces.iter().map(|&e| beliefs.mean(e)).sum();
        lines.push(Line {
            mean,
            sd,
            gradient: row,
            group: quantities.len(),
            lower: rule.lower,
            upper: rule.upper,
            half: 0.0,
            named: true,
        });
    }
    let root = root(&covariance);
    let named: Vec<&Line> = lines.iter().filter(|line| line.named).collect();
    let all: Vec<&Line> = lines.iter().collect();
    let (linear, linear_all) = (Linear::new(&named, &covariance), Linear::new(&all, &covariance));
    let mut stream = Key::new(seed, "shim/forecast").stream(0);
    let mut x = means.clone();
    let (mut z, mut shift) = (vec![0.0; n], vec![0.0; n]);
    let mut difference = [Tally::default(), Tally::default()];
    let (mut loose, mut cannot) = (0_usize, 0_usize);
    let conditions: Vec<usize> = {
        let mut c: Vec<usize> = asks.iter().map(|ask| ask.condition).collect();
        c.sort_unstable();
        c.dedup();
        c
    };
    for _ in 0..DRAWS {
        stream.fill_normal(&mut z);
        for (i, s) in shift.iter_mut().enumerate() {
            *s = (0..n).map(|j| root[(i, j)] * z[j]).sum();
            x[used[i]] = means[used[i]] + *s;
        }
        let (mut inside, mut inside_all, mut is_loose, mut fails) = (true, true, false, false);
        for &condition in &conditions {
            let Ok(equilibrium) = pack.equilibrium(bay, condition, &x) else {
                (inside, inside_all, fails) = (false, false, true);
                continue;
            };
            is_loose |= equilibrium.play > 0.0;
            for ask in asks.iter().filter(|ask| ask.condition == condition) {
                let outcome: Outcome = pack.outcome(&ask.quantity, &equilibrium, &x);
                if !outcome.meets(ask.lower, ask.upper) {
                    inside_all = false;
                    inside &= !ask.named;
                }
            }
        }
        if let Some(rule) = sum_rule {
            let change: f64 = (0..n).filter(|&i| rule.pieces.contains(&entry[used[i]])).map(|i| shift[i]).sum();
            let sum = rule.pieces.iter().map(|&e| beliefs.mean(e)).sum::<f64>() + change;
            if sum < rule.lower || sum > rule.upper {
                (inside, inside_all) = (false, false);
            }
        }
        loose += usize::from(is_loose);
        cannot += usize::from(fails);
        difference[0].add(f64::from(u8::from(inside)) - f64::from(u8::from(linear.inside(&shift))));
        difference[1].add(f64::from(u8::from(inside_all)) - f64::from(u8::from(linear_all.inside(&shift))));
    }
    let share = |count: usize| count as f64 / DRAWS as f64;
    Some(Forecast {
        expectations,
        chance: (linear.chance + difference[0].mean()).clamp(0.0, 1.0),
        chance_se: difference[0].standard_error(),
        chance_all: (linear_all.chance + difference[1].mean()).clamp(0.0, 1.0),
        chance_all_se: difference[1].standard_error(),
        loose: share(loose),
        cannot_assemble: share(cannot),
    })
}

fn variance(a: &[f64], b: &[f64], covariance: &DMatrix<f64>) -> f64 {
    let mut sum = 0.0;
    for (i, &x) in a.iter().enumerate() {
        if x != 0.0 {
            for (j, &y) in b.iter().enumerate() {
                sum += x * y * covariance[(i, j)];
            }
        }
    }
    sum
}

/// The symmetric root of a covariance matrix, which may be singular (exact ties between dimensions).
fn root(covariance: &DMatrix<f64>) -> DMatrix<f64> {
    if covariance.nrows() == 0 {
        return covariance.clone();
    }
    let eigen = SymmetricEigen::new(covariance.clone());
    let half = DMatrix::from_diagonal(&eigen.eigenvalues.map(|v| v.max(0.0).sqrt()));
    &eigen.eigenvectors * half * eigen.eigenvectors.transpose()
}

/// The linear model of "all inside": one standard normal per quantity, with the narrowest of its conditions' limits.
struct Linear {
    chance: f64,
    /// Gradient over sd, lower and upper limit.
    quantities: Vec<(Vec<f64>, f64, f64)>,
}

impl Linear {
    fn new(lines: &[&Line], covariance: &DMatrix<f64>) -> Self {
        let mut groups: Vec<usize> = lines.iter().map(|line| line.group).collect();
        groups.sort_unstable();
        groups.dedup();
        groups.truncate(MOST);
        let mut quantities = Vec::new();
        for &group in &groups {
            let mut members = lines.iter().filter(|line| line.group == group);
            let Some(first) = members.clone().next() else { continue };
            let gradient: Vec<f64> = first.gradient.iter().map(|g| g / first.sd).collect();
            let (low, high) = members.by_ref().fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), line| {
                let lower = (line.lower + line.half - line.mean) / line.sd;
                let upper = (line.upper - line.half - line.mean) / line.sd;
                (low.max(lower), high.min(upper))
            });
            quantities.push((gradient, low, high));
        }
        let m = quantities.len();
        let mut correlation = vec![1.0; m * m];
        for i in 0..m {
            for j in 0..m {
                if i != j {
                    correlation[i * m + j] = variance(&quantities[i].0, &quantities[j].0, covariance).clamp(-1.0, 1.0);
                }
            }
        }
        let limits: Vec<(f64, f64)> = quantities.iter().map(|q| (q.1, q.2)).collect();
        Self { chance: all_between(&limits, &correlation), quantities }
    }

    fn inside(&self, shift: &[f64]) -> bool {
        self.quantities.iter().all(|(gradient, low, high)| {
            let z: f64 = gradient.iter().zip(shift).map(|(g, s)| g * s).sum();
            (*low..=*high).contains(&z)
        })
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    n: f64,
    sum: f64,
    squares: f64,
}

impl Tally {
    fn add(&mut self, x: f64) {
        self.n += 1.0;
        self.sum += x;
        self.squares += x * x;
    }

    fn mean(&self) -> f64 {
        self.sum / self.n
    }

    /// With the draws all alike, the standard error of one odd draw: never 0 by luck alone.
    fn standard_error(&self) -> f64 {
        let variance = (self.squares - self.sum * self.sum / self.n) / (self.n - 1.0);
        (variance.max(1.0 / self.n) / self.n).sqrt()
    }
}
