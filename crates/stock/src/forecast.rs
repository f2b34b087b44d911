//! What to expect of a bay: every quantity warm and cold, and the chance that all are inside their limits, by the whole mechanical model.
//!
//! The search judges by a linear model. For the builds that are shown the chance is worked out again: random draws of all unknowns go through the
//! whole model (loose bays, springs pressed flat, curved loads), and the linear model's exact chance serves as control variate:
//!
//! P = P_linear + mean over the draws of (inside by the model − inside by the linear model)
//!
//! Both are inside or outside together in nearly every draw, so that a few hundred suffice; the standard error is stated, and draws go on
//! where what is decided by the chance lies within three of it. All builds see the same draws.

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

/// Another rocker of the bay: one that has offset limits and was not asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherRocker {
    /// Its valve.
    pub valve: String,
    /// The chance that its offset is inside its limits in every condition.
    pub chance: f64,
    /// Standard error of `chance`.
    pub chance_se: f64,
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
    /// Each rocker that was not asked for.
    pub others: Vec<OtherRocker>,
    /// Share of the draws in which the bay is loose in some condition.
    pub loose: f64,
    /// Share of the draws in which it cannot be assembled.
    pub cannot_assemble: f64,
    /// Draws behind the chances.
    pub draws: usize,
}

/// Draws between two looks at whether they are enough.
const BLOCK: usize = 512;
/// Most blocks: their standard error is below a thousandth wherever the linear model is a fair guide.
const MOST_BLOCKS: u64 = 24;
/// A chance this many standard errors from what is wanted of it is told apart from it (docs/verdicts.md, rule 6).
const TOLD_APART: f64 = 3.0;

pub(crate) struct State<'a> {
    pub(crate) pack: &'a Pack,
    pub(crate) bay: usize,
    pub(crate) entry: &'a [usize],
    pub(crate) beliefs: &'a Beliefs,
    pub(crate) asks: &'a [Ask],
    pub(crate) sum_rule: Option<&'a SumRule>,
    pub(crate) seed: u64,
    /// The chances that something is decided by, of the named ones and of all: draws go on until they are told apart from them. None: one
    /// block does.
    pub(crate) wanted: Option<Wanted>,
}

/// Chances that something is decided by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Wanted {
    /// Of the named valves and the preload.
    pub(crate) named: f64,
    /// Of all rockers and the preload.
    pub(crate) all: f64,
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
}

/// A quantity that has limits in some condition; None: the sum of the pieces.
struct Group {
    quantity: Option<Quantity>,
    named: bool,
}

/// The linear model about the expected dimensions.
#[allow(clippy::struct_field_names, reason = "the lines are what the type holds, beside what they are drawn from")]
struct Lines {
    means: Vec<f64>,
    /// The dimensions that matter and scatter.
    used: Vec<usize>,
    covariance: DMatrix<f64>,
    lines: Vec<Line>,
    groups: Vec<Group>,
    expectations: Vec<Expectation>,
}

/// A chance under way: that all of some groups are inside.
struct Question {
    groups: Vec<usize>,
    linear: Linear,
    /// Of inside by the model less inside by the linear model.
    difference: Tally,
}

impl Question {
    fn new(lines: &Lines, wanted: impl Fn(&Group) -> bool) -> Self {
        let groups: Vec<usize> = (0..lines.groups.len()).filter(|&g| wanted(&lines.groups[g])).collect();
        let of: Vec<&Line> = lines.lines.iter().filter(|line| groups.contains(&line.group)).collect();
        Self { linear: Linear::new(&of, &lines.covariance), groups, difference: Tally::default() }
    }

    fn add(&mut self, inside: &[bool], shift: &[f64]) {
        let by_model = self.groups.iter().all(|&g| inside[g]);
        self.difference.add(f64::from(u8::from(by_model)) - f64::from(u8::from(self.linear.inside(shift))));
    }

    /// Chance and standard error.
    fn chance(&self) -> (f64, f64) {
        let chance = (self.linear.chance + self.difference.mean()).clamp(0.0, 1.0);
        (chance, self.difference.standard_error())
    }

    fn is_told_apart_from(&self, wanted: f64) -> bool {
        let (chance, standard_error) = self.chance();
        (chance - wanted).abs() > TOLD_APART * standard_error
    }
}

/// None where the bay cannot be assembled at its expected dimensions.
pub(crate) fn forecast(state: &State<'_>) -> Option<Forecast> {
    let lines = Lines::new(state)?;
    let mut named = Question::new(&lines, |group| group.named);
    let mut all = Question::new(&lines, |_| true);
    let other = |group: &&Group| !group.named;
    let quantities: Vec<Quantity> = lines.groups.iter().filter(other).filter_map(|group| group.quantity).collect();
    let mut others: Vec<Question> =
        quantities.iter().map(|&q| Question::new(&lines, |group| group.quantity == Some(q))).collect();
    let mut draws = Draws::new(state, &lines);
    for block in 0..MOST_BLOCKS {
        draws.block(block, |inside, shift| {
            for question in [&mut named, &mut all].into_iter().chain(&mut others) {
                question.add(inside, shift);
            }
        });
        let decided = |wanted: Wanted| named.is_told_apart_from(wanted.named) && all.is_told_apart_from(wanted.all);
        if state.wanted.is_none_or(decided) {
            break;
        }
    }
    let (chance, chance_se) = named.chance();
    let (chance_all, chance_all_se) = all.chance();
    let others = quantities.iter().zip(&others).map(|(quantity, question)| {
        let (chance, chance_se) = question.chance();
        OtherRocker { valve: name_of(state.pack, *quantity), chance, chance_se }
    });
    let share = |count: usize| count as f64 / draws.count.max(1) as f64;
    Some(Forecast {
        chance,
        chance_se,
        chance_all,
        chance_all_se,
        others: others.collect(),
        loose: share(draws.loose),
        cannot_assemble: share(draws.cannot_assemble),
        draws: draws.count,
        expectations: lines.expectations,
    })
}

/// The valve's name of an offset, else the bay's.
fn name_of(pack: &Pack, quantity: Quantity) -> String {
    match quantity {
        Quantity::Offset { bay, valve } => pack.bays[bay].valves[valve].name.clone(),
        other => pack.bays[other.bay()].name.clone(),
    }
}

impl Lines {
    fn new(state: &State<'_>) -> Option<Self> {
        let State { pack, entry, beliefs, asks, .. } = *state;
        let means: Vec<f64> = entry.iter().map(|&e| beliefs.mean(e)).collect();
        let mut gradient = vec![0.0; pack.dimensions.len()];
        let mut values = Vec::with_capacity(asks.len());
        for ask in asks {
            pack.gradient(&ask.quantity, ask.condition, &means, &mut gradient)?;
            values.push((pack.evaluate(&ask.quantity, ask.condition, &means).ends()?, gradient.clone()));
        }
        let used: Vec<usize> = (0..entry.len())
            .filter(|&d| values.iter().any(|(_, g)| g[d] != 0.0) && beliefs.covariance(entry[d], entry[d]) > 0.0)
            .collect();
        let n = used.len();
        let covariance = DMatrix::from_fn(n, n, |i, j| beliefs.covariance(entry[used[i]], entry[used[j]]));
        let (lines, groups, expectations) = (Vec::new(), Vec::new(), Vec::with_capacity(asks.len()));
        let mut all = Self { means, used, covariance, lines, groups, expectations };
        for (ask, (ends, g)) in asks.iter().zip(&values) {
            all.add(pack, ask, *ends, g);
        }
        if let Some(rule) = state.sum_rule {
            all.add_sum(entry, beliefs, rule);
        }
        Some(all)
    }

    fn add(&mut self, pack: &Pack, ask: &Ask, (low, high): (f64, f64), gradient: &[f64]) {
        let row: Vec<f64> = self.used.iter().map(|&d| gradient[d]).collect();
        let sd = variance(&row, &row, &self.covariance).max(0.0).sqrt();
        let condition = &pack.conditions[ask.condition];
        self.expectations.push(Expectation {
            kind: ask.quantity.kind(),
            of: name_of(pack, ask.quantity),
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
        if ask.lower.is_none() && ask.upper.is_none() {
            return;
        }
        let of = Some(ask.quantity);
        let group = self.groups.iter().position(|group| group.quantity == of).unwrap_or_else(|| {
            self.groups.push(Group { quantity: of, named: ask.named });
            self.groups.len() - 1
        });
        self.lines.push(Line {
            mean: 0.5 * (low + high),
            sd: sd.max(1e-9),
            gradient: row,
            group,
            lower: ask.lower.unwrap_or(f64::NEG_INFINITY),
            upper: ask.upper.unwrap_or(f64::INFINITY),
            half: 0.5 * (high - low),
        });
    }

    fn add_sum(&mut self, entry: &[usize], beliefs: &Beliefs, rule: &SumRule) {
        let row: Vec<f64> =
            self.used.iter().map(|&d| if rule.pieces.contains(&entry[d]) { 1.0 } else { 0.0 }).collect();
        let sd = variance(&row, &row, &self.covariance).max(0.0).sqrt().max(1e-9);
        let mean = rule.pieces.iter().map(|&e| beliefs.mean(e)).sum();
        let group = self.groups.len();
        self.groups.push(Group { quantity: None, named: true });
        self.lines.push(Line { mean, sd, gradient: row, group, lower: rule.lower, upper: rule.upper, half: 0.0 });
    }
}

/// Random draws of all unknowns through the whole model, the same for every build of one seed.
struct Draws<'a> {
    state: &'a State<'a>,
    lines: &'a Lines,
    root: DMatrix<f64>,
    /// The conditions that something is asked in.
    conditions: Vec<usize>,
    key: Key,
    count: usize,
    loose: usize,
    cannot_assemble: usize,
}

impl<'a> Draws<'a> {
    fn new(state: &'a State<'a>, lines: &'a Lines) -> Self {
        let mut conditions: Vec<usize> = state.asks.iter().map(|ask| ask.condition).collect();
        conditions.sort_unstable();
        conditions.dedup();
        let key = Key::new(state.seed, "shim/forecast");
        let root = root(&lines.covariance);
        Self { state, lines, root, conditions, key, count: 0, loose: 0, cannot_assemble: 0 }
    }

    /// Hands every draw of a block on: which groups are inside their limits, and the shifts of the used dimensions, mm.
    fn block(&mut self, block: u64, mut each: impl FnMut(&[bool], &[f64])) {
        let n = self.lines.used.len();
        let mut stream = self.key.stream(block);
        let mut x = self.lines.means.clone();
        let (mut z, mut shift) = (vec![0.0; n], vec![0.0; n]);
        let mut inside = vec![true; self.lines.groups.len()];
        for _ in 0..BLOCK {
            stream.fill_normal(&mut z);
            for (i, s) in shift.iter_mut().enumerate() {
                *s = (0..n).map(|j| self.root[(i, j)] * z[j]).sum();
                x[self.lines.used[i]] = self.lines.means[self.lines.used[i]] + *s;
            }
            self.look(&x, &mut inside);
            each(&inside, &shift);
        }
    }

    /// Which groups are inside at one vector of dimension values.
    fn look(&mut self, x: &[f64], inside: &mut [bool]) {
        let State { pack, bay, entry, asks, sum_rule, .. } = *self.state;
        inside.fill(true);
        let (mut is_loose, mut fails) = (false, false);
        for &condition in &self.conditions {
            let Ok(equilibrium) = pack.equilibrium(bay, condition, x) else {
                fails = true;
                break;
            };
            is_loose |= equilibrium.play > 0.0;
            for ask in asks.iter().filter(|ask| ask.condition == condition) {
                let Some(group) = self.lines.groups.iter().position(|g| g.quantity == Some(ask.quantity)) else {
                    continue;
                };
                let outcome: Outcome = pack.outcome(&ask.quantity, &equilibrium, x);
                inside[group] &= outcome.meets(ask.lower, ask.upper);
            }
        }
        if let Some(rule) = sum_rule {
            let pieces = (0..entry.len()).filter(|&d| rule.pieces.contains(&entry[d]));
            let sum: f64 = pieces.map(|d| x[d]).sum();
            if let Some(last) = inside.last_mut() {
                *last = (rule.lower..=rule.upper).contains(&sum);
            }
        }
        if fails {
            inside.fill(false);
        }
        self.count += 1;
        self.loose += usize::from(is_loose);
        self.cannot_assemble += usize::from(fails);
    }
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
