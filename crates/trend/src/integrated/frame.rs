//! The histories as the arithmetic sees them: in an order that depends on nothing but their content, lengths in A, hours in T, visits with
//! the mean of their readings.
//!
//! A is the length by which priors are scaled: a tenth of half the distance between the limits (of the distance from the median first reading to the
//! limit, where there is one), and never less than the stated reading error. T is the median length of the histories. Both scale with
//! the units, so answers do not depend on them. Medians and the canonical order make answers independent of the order of rows.

use super::answer::Parameter;
use super::histories::{History, Question};
use super::priors::{LARGEST_ERROR, LEAP, NOT_STATED, Prior, STATED};
use std::cmp::Ordering;

/// A gauge that is just good enough: six standard deviations of its readings are a tenth of the distance between the limits (common practice of
/// gauge studies). Half the distance over this is the reading error that is expected where nothing states it.
const GAUGE: f64 = 30.0;
/// Half the distance between the limits over A.
const TENTH: f64 = 10.0;

/// One reading inside a case.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Entry {
    /// Its place in the question's history.
    pub(crate) reading: usize,
    /// Its visit's place in the case.
    pub(crate) visit: usize,
    /// In A, less the centre.
    pub(crate) value: f64,
    pub(crate) confirmed: bool,
    /// Whether the value may have leapt since the visit before.
    pub(crate) leapt: bool,
    /// Whether the likelihood uses it; else it is taken for a gross error.
    pub(crate) kept: bool,
}

/// When a history was read: all that its covariance depends on.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Schedule {
    /// Hours of its visits on the parts' own clock, in T; ascending.
    pub(crate) hours: Vec<f64>,
    /// Hours at its start, in T.
    pub(crate) age: f64,
    /// Logarithms of both; −∞ up to 0.
    pub(crate) ln_hours: Vec<f64>,
    pub(crate) ln_age: f64,
    /// Kept readings of each visit; 0 where none is kept.
    pub(crate) readings: Vec<f64>,
    /// Variance of the leap before each visit, in A²: 0 but after a jump.
    pub(crate) leap: Vec<f64>,
}

/// One history.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Case {
    /// Its place in the question.
    pub(crate) history: usize,
    pub(crate) group: usize,
    /// Cases of a block with the same number wear the same parts; they stand together.
    pub(crate) parts: usize,
    pub(crate) current: bool,
    /// Place of its schedule in the block.
    pub(crate) schedule: usize,
    /// Mean of each visit's kept readings; 0 where there are none.
    pub(crate) mean: Vec<f64>,
    /// Sum of squares of the kept readings about their visits' means.
    pub(crate) within: f64,
    /// Kept readings less visits that have any.
    pub(crate) repeats: f64,
    /// By visit, then value.
    pub(crate) entries: Vec<Entry>,
    hours: Vec<f64>,
    age: f64,
}

/// The histories of one engine.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Block {
    pub(crate) schedules: Vec<Schedule>,
    pub(crate) cases: Vec<Case>,
}

/// The fleet in its frame.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Frame {
    /// A, in the feature's unit.
    pub(crate) length: f64,
    /// T, in hours.
    pub(crate) time: f64,
    /// What is taken off every value, in the feature's unit.
    pub(crate) centre: f64,
    pub(crate) groups: usize,
    /// By group: how far an engine's shared slope moves it, in proportion to the group's own slope (see [`shares`]).
    pub(crate) shares: Vec<f64>,
    /// Group of the frame by group of the question.
    pub(crate) group_of: Vec<usize>,
    pub(crate) pooled: bool,
    pub(crate) blocks: Vec<Block>,
    pub(crate) prior: Prior,
    pub(crate) stated: bool,
}

/// Why there is no frame.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum NoFrame {
    NotFinite,
    NotEstimable(String),
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let n = values.len();
    (n > 0).then(|| 0.5 * (values[(n - 1) / 2] + values[n / 2]))
}

/// First and last reading with their hours; None of an empty history.
fn ends(history: &History) -> Option<((f64, f64), (f64, f64))> {
    let (first, last) = (history.readings.first()?, history.readings.last()?);
    Some(((first.hours, first.value), (last.hours, last.value)))
}

/// Whether it was read at two different hours.
fn tells_slope(history: &History) -> bool {
    ends(history).is_some_and(|((a, _), (b, _))| b > a)
}

/// Slopes of the groups over their root mean square by histories; 1 for a single group. The slope of a group is the median of its histories' from
/// first to last reading, which a slipped digit does not move.
///
/// What an engine's valves share, oil and load, makes all of them wear faster or slower by the same factor, each in its own direction.
fn shares(histories: &[History], group_of: &[usize], groups: usize) -> Vec<f64> {
    if groups < 2 {
        return vec![1.0; groups];
    }
    let mut slopes = vec![Vec::new(); groups];
    for h in histories.iter().filter(|h| tells_slope(h)) {
        if let Some(((t0, y0), (t1, y1))) = ends(h) {
            slopes[group_of[h.group as usize]].push((y1 - y0) / (t1 - t0));
        }
    }
    let counts: Vec<f64> = slopes.iter().map(|s| s.len() as f64).collect();
    let middles: Vec<f64> = slopes.iter_mut().map(|s| median(s).unwrap_or(0.0)).collect();
    let squares: f64 = middles.iter().zip(&counts).map(|(m, n)| n * m * m).sum();
    let size = (squares / counts.iter().sum::<f64>().max(1.0)).sqrt();
    middles.iter().map(|m| if size > 0.0 { m / size } else { 1.0 }).collect()
}

/// Scales of the priors, in the feature's unit: (A, s₀).
fn scales(question: &Question<'_>, firsts: &mut [f64]) -> (f64, f64) {
    let middle = median(firsts).unwrap_or(0.0);
    let mut off: Vec<f64> = firsts.iter().map(|f| (f - middle).abs()).collect();
    // 1.4826 × the median deviation is a normal's standard deviation.
    let spread = 1.4826 * median(&mut off).unwrap_or(0.0);
    let half = match (question.zone.lower, question.zone.upper) {
        (Some(l), Some(u)) => Some(0.5 * (u - l).abs()),
        (Some(b), None) | (None, Some(b)) => Some((b - middle).abs()),
        (None, None) => None,
    };
    let mut travels: Vec<f64> = question
        .histories
        .iter()
        .filter(|h| tells_slope(h))
        .filter_map(ends)
        .map(|(first, last)| (last.1 - first.1).abs())
        .collect();
    let travel = median(&mut travels).unwrap_or(0.0);
    // Without limits the wear that was seen stands for the distance to them.
    let half = half.unwrap_or(4.0 * travel).max(spread);
    let floor = question.error.step.max(1e-12 * middle.abs());
    let error = question.error.sd.filter(|s| *s > 0.0 && s.is_finite()).unwrap_or(half / GAUGE).max(floor);
    let length = (half / TENTH).max(0.5 * spread).max(error);
    if length > 0.0 { (length, error) } else { (1.0, 1.0) }
}

/// What orders histories: hours and values.
fn key(case: &Case) -> impl Iterator<Item = f64> + '_ {
    let read = case.entries.iter().flat_map(|e| [case.hours[e.visit], e.value]);
    std::iter::once(case.age).chain(read).chain(std::iter::once(case.last()))
}

fn compare(a: impl Iterator<Item = f64>, mut b: impl Iterator<Item = f64>) -> Ordering {
    for x in a {
        match b.next() {
            None => return Ordering::Greater,
            Some(y) => match x.total_cmp(&y) {
                Ordering::Equal => {}
                other => return other,
            },
        }
    }
    if b.next().is_some() { Ordering::Less } else { Ordering::Equal }
}

impl Case {
    fn of(place: usize, history: &History, group: usize, centre: f64, length: f64, time: f64) -> Self {
        let mut order: Vec<usize> = (0..history.readings.len()).collect();
        // Visits by their hours; of one hour, by their values.
        let least = |visit: u32| {
            let own = history.readings.iter().filter(|r| r.visit == visit).map(|r| r.value);
            own.fold(f64::INFINITY, f64::min)
        };
        order.sort_by(|&i, &j| {
            let (a, b) = (&history.readings[i], &history.readings[j]);
            let visits = if a.visit == b.visit { Ordering::Equal } else { least(a.visit).total_cmp(&least(b.visit)) };
            a.hours.total_cmp(&b.hours).then(visits).then(a.visit.cmp(&b.visit)).then(a.value.total_cmp(&b.value))
        });
        let mut case = Self {
            history: place,
            group,
            parts: history.parts as usize,
            current: history.current,
            age: history.age / time,
            ..Self::default()
        };
        let mut before = None;
        for i in order {
            let r = &history.readings[i];
            if before != Some((r.visit, r.hours)) {
                case.hours.push((history.age + r.hours) / time);
                before = Some((r.visit, r.hours));
            }
            case.entries.push(Entry {
                reading: i,
                visit: case.hours.len() - 1,
                value: (r.value - centre) / length,
                confirmed: r.confirmed,
                leapt: r.leapt,
                kept: true,
            });
        }
        // A look of which nothing is believed still tells where the forecast begins.
        let until = (history.age + history.until) / time;
        if case.hours.last().is_some_and(|last| until > last * (1.0 + 1e-12)) {
            case.hours.push(until);
        }
        case
    }

    /// Hours at which the history begins and at which its last visit was, on the parts' clock, in T.
    pub(crate) fn last(&self) -> f64 {
        self.hours.last().copied().unwrap_or(self.age)
    }

    /// Hours of its visits since its start, in T.
    pub(crate) fn since_start(&self) -> impl Iterator<Item = f64> + '_ {
        self.hours.iter().map(|h| h - self.age)
    }

    /// Means and sums of the kept readings, and the schedule that they make.
    fn summarise(&mut self) -> Schedule {
        let n = self.hours.len();
        let (mut sum, mut count) = (vec![0.0; n], vec![0.0; n]);
        for e in self.entries.iter().filter(|e| e.kept) {
            sum[e.visit] += e.value;
            count[e.visit] += 1.0;
        }
        self.mean = sum.iter().zip(&count).map(|(s, c)| if *c > 0.0 { s / c } else { 0.0 }).collect();
        self.within = self
            .entries
            .iter()
            .filter(|e| e.kept && count[e.visit] > 1.0)
            .map(|e| (e.value - self.mean[e.visit]).powi(2))
            .sum();
        self.repeats = count.iter().map(|c| (c - 1.0).max(0.0)).sum();
        let mut leap = vec![0.0; n];
        for e in self.entries.iter().filter(|e| e.leapt) {
            leap[e.visit] = LEAP * LEAP;
        }
        // Before 0 hours parts are new.
        let ln = |hours: f64| if hours > 0.0 { hours.ln() } else { f64::NEG_INFINITY };
        let ln_hours = self.hours.iter().map(|h| ln(*h)).collect();
        Schedule { hours: self.hours.clone(), age: self.age, ln_hours, ln_age: ln(self.age), readings: count, leap }
    }
}

impl Block {
    fn of(mut cases: Vec<Case>) -> Self {
        // Parts by their first history's content, histories of the same parts by age.
        cases.sort_by(|a, b| a.parts.cmp(&b.parts).then_with(|| compare(key(a), key(b))));
        let mut valves: Vec<Vec<Case>> = Vec::new();
        for case in cases {
            match valves.last_mut() {
                Some(valve) if valve[0].parts == case.parts && valve[0].group == case.group => valve.push(case),
                _ => valves.push(vec![case]),
            }
        }
        valves.sort_by(|a, b| compare(a.iter().flat_map(key), b.iter().flat_map(key)));
        let mut block = Self::default();
        for (number, valve) in valves.into_iter().enumerate() {
            block.cases.extend(valve.into_iter().map(|case| Case { parts: number, ..case }));
        }
        block.reschedule();
        block
    }

    fn reschedule(&mut self) {
        self.schedules.clear();
        for case in &mut self.cases {
            let own = case.summarise();
            let place = self.schedules.iter().position(|s| *s == own);
            case.schedule = place.unwrap_or(self.schedules.len());
            if place.is_none() {
                self.schedules.push(own);
            }
        }
    }

    /// The same block with other readings kept: `kept` says of a case's place and an entry's place whether it is.
    pub(crate) fn with_kept(&self, kept: impl Fn(usize, usize, &Entry) -> bool) -> Self {
        let mut out = self.clone();
        for (c, case) in out.cases.iter_mut().enumerate() {
            for (k, entry) in case.entries.iter_mut().enumerate() {
                entry.kept = kept(c, k, entry);
            }
        }
        out.reschedule();
        out
    }
}

impl Frame {
    pub(crate) fn of(question: &Question<'_>) -> Result<Self, NoFrame> {
        let histories = question.histories;
        let finite =
            |h: &History| h.age.is_finite() && h.readings.iter().all(|r| r.hours.is_finite() && r.value.is_finite());
        if !histories.iter().all(finite) {
            return Err(NoFrame::NotFinite);
        }
        let asked = histories.iter().map(|h| h.group as usize + 1).max().unwrap_or(1);
        let mut firsts: Vec<f64> = histories.iter().filter_map(ends).map(|(first, _)| first.1).collect();
        let mut lengths: Vec<f64> = histories
            .iter()
            .filter(|h| tells_slope(h))
            .filter_map(ends)
            .map(|(first, last)| last.0 - first.0)
            .collect();
        let Some(time) = median(&mut lengths) else {
            return Err(NoFrame::NotEstimable("no valve was read at two different hours".into()));
        };
        let (length, error) = scales(question, &mut firsts);
        let centre = median(&mut firsts).unwrap_or(0.0);

        // Groups in an order of their content; all in one where one of them has no slope to tell.
        let mut tells = vec![false; asked];
        let mut seen = vec![false; asked];
        for h in histories.iter().filter(|h| !h.readings.is_empty()) {
            seen[h.group as usize] = true;
            tells[h.group as usize] |= tells_slope(h);
        }
        let pooled = seen.iter().zip(&tells).any(|(seen, tells)| *seen && !tells);
        let mut cases: Vec<(u32, Case)> = histories
            .iter()
            .enumerate()
            .filter(|(_, h)| !h.readings.is_empty())
            .map(|(i, h)| (h.engine, Case::of(i, h, h.group as usize, centre, length, time)))
            .collect();
        let group_of = canonical_groups(&cases, asked, pooled);
        let groups = group_of.iter().max().map_or(1, |g| g + 1);
        for (_, case) in &mut cases {
            case.group = group_of[case.group];
        }
        cases.sort_by_key(|(engine, _)| *engine);
        let mut blocks: Vec<Block> = Vec::new();
        let mut own: Vec<Case> = Vec::new();
        let mut engine = None;
        for (e, case) in cases {
            if engine.is_some_and(|before| before != e) {
                blocks.push(Block::of(std::mem::take(&mut own)));
            }
            engine = Some(e);
            own.push(case);
        }
        blocks.push(Block::of(own));
        blocks.sort_by(|a, b| compare(a.cases.iter().flat_map(key), b.cases.iter().flat_map(key)));
        let stated = question.error.sd.is_some_and(|s| s > 0.0);
        let least = (question.error.step / length / 12.0_f64.sqrt()).max(1e-4 * error / length);
        let prior = Prior {
            layout: layout(&blocks, groups),
            error: error / length,
            width: if stated { STATED } else { NOT_STATED },
            error_range: (least.min(0.5 * error / length), LARGEST_ERROR.max(2.0 * error / length)),
        };
        let shares = shares(histories, &group_of, groups);
        Ok(Self { length, time, centre, groups, shares, group_of, pooled, blocks, prior, stated })
    }

    /// Places of an even choice of blocks that hold about `size` histories.
    pub(crate) fn choice(&self, size: usize) -> Vec<usize> {
        let all: usize = self.blocks.iter().map(|b| b.cases.len()).sum();
        let stride = all.div_ceil(size.max(1)).max(1);
        (0..self.blocks.len()).step_by(stride).collect()
    }
}

/// By group of the question, the group of the frame.
fn canonical_groups(cases: &[(u32, Case)], asked: usize, pooled: bool) -> Vec<usize> {
    if pooled {
        return vec![0; asked];
    }
    let mut least: Vec<Option<&Case>> = vec![None; asked];
    for (_, case) in cases {
        let slot = &mut least[case.group];
        if slot.is_none_or(|before| compare(key(case), key(before)) == Ordering::Less) {
            *slot = Some(case);
        }
    }
    let mut order: Vec<usize> = (0..asked).filter(|g| least[*g].is_some()).collect();
    order.sort_by(|a, b| match (least[*a], least[*b]) {
        (Some(a), Some(b)) => compare(key(a), key(b)),
        _ => Ordering::Equal,
    });
    let mut out = vec![0; asked];
    for (place, group) in order.into_iter().enumerate() {
        out[group] = place;
    }
    out
}

/// The components that the fleet's layout can have at all. How much the data say of each is left to the posterior.
fn layout(blocks: &[Block], groups: usize) -> Vec<Parameter> {
    let cases = || blocks.iter().flat_map(|b| &b.cases);
    let mut by_group = vec![0; groups];
    for case in cases() {
        by_group[case.group] += 1;
    }
    let mut out = vec![Parameter::Power, Parameter::Growth, Parameter::Wander, Parameter::Reading];
    if by_group.iter().any(|n| *n > 1) {
        out.extend([Parameter::Slope, Parameter::Start, Parameter::Correlation]);
        let parts = |b: &Block| b.cases.last().map_or(0, |c| c.parts + 1);
        if blocks.len() > 1 && blocks.iter().any(|b| parts(b) > 1) {
            out.push(Parameter::Engine);
        }
        let reads = |c: &Case| c.hours.first() < c.hours.last();
        let goes_on = |b: &Block| b.cases.windows(2).any(|w| w[0].parts == w[1].parts && reads(&w[0]) && reads(&w[1]));
        if blocks.iter().map(parts).sum::<usize>() > 1 && blocks.iter().any(goes_on) {
            out.push(Parameter::Kept);
        }
    }
    if cases().any(|c| c.repeats > 0.0) {
        out.push(Parameter::Visit);
    }
    out
}
