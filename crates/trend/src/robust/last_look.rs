//! Last looks at which valves read off together: nothing was read since that could say whether the instrument was off or the wear.
//!
//! A day of which valves' newest readings are is held against all readings before it, and so are the last two to five visits, for an
//! instrument that is off may serve for several rounds: with V, r and X as in [`super`], and d the pattern of these readings, the common shift is δ = d′Pr/d′Pd with standard error 1/√(d′Pd), P = V⁻¹ − V⁻¹X(X′V⁻¹X)⁻¹X′V⁻¹: mean lines are told anew under the law's
//! variances, so a day that pulls them along is not judged by what it did. Unlike a faulty day ([`super::days`]) a single valve may show it, for
//! nothing is set aside by it: the answer without the look is worked out beside.

use super::View;
use super::visits::visits;
use crate::kernel::FleetLaw;
use crate::segments::Segments;
use nalgebra::{DMatrix, DVector};
use packdrift_numerics::normal;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

/// The chance that a sound look lies farther off to one side than what stands off: one in ten to either. All several visits and rounds of a fleet share it.
const FALSE_ALARM: f64 = 0.05;

/// Visits taken together, from the newest back.
const TOGETHER: usize = 5;

/// Visits before them that must count: two make a line. A single last visit needs one.
const ENOUGH_BEFORE: usize = 2;

/// How many times as likely a day before must make the readings to be believed alone.
const MUCH_BETTER: f64 = 20.0;

/// Valves that must have been read on such a day: of fewer it may be their own.
const ON_A_DAY: usize = 3;

/// A day of newest readings, or such a day and the visits before it; or all readings of a fleet from a day on.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LastLook {
    /// The first day, days since 1970-01-01: of the first of several visits, or the same as `date`.
    pub(crate) from: i32,
    /// The newest day.
    pub(crate) date: i32,
    /// Positions of its readings.
    pub(crate) readings: Vec<usize>,
    /// Segments whose newest readings they are.
    pub(crate) segments: Vec<usize>,
    pub(crate) shift: f64,
    pub(crate) shift_se: f64,
    /// Visits of a valve that it is.
    visits: usize,
    /// Standard errors beyond which it stands off.
    threshold: f64,
    /// How far off the clearest day before it lies by itself, of those that it would explain too, in standard errors.
    rival: f64,
}

impl LastLook {
    fn empty(from: i32, date: i32) -> Self {
        Self {
            from,
            date,
            readings: Vec::new(),
            segments: Vec::new(),
            shift: 0.0,
            shift_se: 0.0,
            visits: 0,
            threshold: 0.0,
            rival: 0.0,
        }
    }

    /// Takes in a segment's readings from a look on.
    fn take(&mut self, segment: usize, look: &Look, end: usize) {
        self.visits = self.visits.max(look.visits);
        self.readings.extend(look.first..end);
        self.segments.push(segment);
    }

    /// Whether it lies farther off than a look with a sound instrument does nine times in ten.
    ///
    /// The threshold is low, for being wrong costs little: an answer more is worked out, and the worse of both is the verdict. Several visits share one
    /// chance of a false alarm in the whole fleet: without so many readings an answer is vague, and a sound valve would have to be read again for it.
    ///
    /// That one day before was off may explain the same readings as several looks; where it does so more than twenty times as well (a difference of
    /// ln likelihood of ln 20, half of that of the squared distances), it is no matter of these looks.
    pub(crate) fn stands_off(&self) -> bool {
        let behind = self.rival.powi(2) - self.distance().powi(2);
        self.distance() > self.threshold && 0.5 * behind < MUCH_BETTER.ln()
    }

    /// Whether it is more than one day.
    pub(crate) fn is_several(&self) -> bool {
        self.from < self.date
    }

    /// Shift in standard errors, without its sign.
    pub(crate) fn distance(&self) -> f64 {
        self.shift.abs() / self.shift_se
    }
}

/// Sums over the segments of one pattern: d′V⁻¹r, d′V⁻¹d and X′V⁻¹d.
#[derive(Debug, Clone)]
struct Sums {
    top: f64,
    square: f64,
    mean: DVector<f64>,
}

/// One segment's part in them, and where its columns stand.
struct Part {
    top: f64,
    square: f64,
    mean: [f64; 2],
    place: usize,
}

impl Sums {
    fn new(columns: usize) -> Self {
        Self { top: 0.0, square: 0.0, mean: DVector::zeros(columns) }
    }

    fn add(&mut self, part: &Part, sign: f64) {
        self.top += sign * part.top;
        self.square += sign * part.square;
        self.mean[part.place] += sign * part.mean[0];
        self.mean[part.place + 1] += sign * part.mean[1];
    }
}

/// Which readings, without a list of them: how many, and a sum over them by which two sets are told apart.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Mark {
    readings: usize,
    sum: u64,
}

impl Mark {
    fn of(readings: Range<usize>) -> Self {
        // An odd factor spreads positions over all 64 bits, so that sums of other sets differ.
        let sum = readings.clone().fold(0_u64, |sum, i| {
            let spread = (i as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
            sum.wrapping_add(spread ^ (spread >> 29))
        });
        Self { readings: readings.len(), sum }
    }

    fn plus(self, other: Self) -> Self {
        Self { readings: self.readings + other.readings, sum: self.sum.wrapping_add(other.sum) }
    }

    fn minus(self, other: Self) -> Self {
        Self { readings: self.readings - other.readings, sum: self.sum.wrapping_sub(other.sum) }
    }
}

/// All readings from a day on, of valves whose visits since are few enough.
struct Round {
    from: i32,
    shift: f64,
    shift_se: f64,
}

/// What was found: every pattern that the fitted lines do not tell by themselves.
pub(crate) struct Found {
    /// By valves with the same last day and the same first one of their last visits.
    pub(crate) own: Vec<LastLook>,
    rounds: Vec<Round>,
    /// Standard errors beyond which a round stands off.
    threshold: f64,
    days: Days,
    looks: Vec<Vec<Look>>,
    /// By reading, in days since 1970-01-01.
    day: Vec<i32>,
    /// By segment: one past its last reading.
    end: Vec<usize>,
}

impl Found {
    /// The clearest round that stands off and is `wanted`. Rounds overlap, and it tells the others.
    pub(crate) fn clearest_round(&self, wanted: impl Fn(&LastLook) -> bool) -> Option<LastLook> {
        let distance = |round: &Round| round.shift.abs() / round.shift_se;
        let mut order: Vec<&Round> = self.rounds.iter().collect();
        order.sort_by(|a, b| distance(b).total_cmp(&distance(a)));
        let beyond = |round: &&Round| distance(round) > self.threshold;
        let mut looks = order.into_iter().take_while(beyond).map(|round| self.look_of(round));
        looks.find(|look| look.stands_off() && wanted(look))
    }

    fn look_of(&self, round: &Round) -> LastLook {
        let Round { shift, shift_se, .. } = *round;
        let mut look = LastLook { shift, shift_se, threshold: self.threshold, ..LastLook::empty(i32::MAX, i32::MIN) };
        for (s, looks) in self.looks.iter().enumerate() {
            let since = |l: &&Look| self.day[l.first] >= round.from && self.day[l.first - 1] < round.from;
            let Some(own) = looks.iter().find(since) else { continue };
            look.from = look.from.min(self.day[own.first]);
            look.date = look.date.max(self.day[self.end[s] - 1]);
            look.take(s, own, self.end[s]);
        }
        look.rival = self.days.clearest_before(look.from);
        look
    }
}

/// How far off single days lie, of those on which valves enough were read.
struct Days {
    /// Rising dates, each with the largest distance up to it, standard errors.
    farthest: Vec<(i32, f64)>,
}

impl Days {
    fn clearest_before(&self, date: i32) -> f64 {
        let before = self.farthest.partition_point(|(day, _)| *day < date);
        before.checked_sub(1).map_or(0.0, |at| self.farthest[at].1)
    }
}

/// One segment as the law sees it: its view, and V⁻¹ times its columns and its residuals.
struct Pulled {
    view: View,
    columns: DMatrix<f64>,
    residual: DVector<f64>,
    place: usize,
}

impl Pulled {
    /// Adds the segment to the equations of the mean lines.
    fn new(view: View, place: usize, (f, h): (&mut DMatrix<f64>, &mut DVector<f64>)) -> Self {
        let columns = DMatrix::from_fn(view.len(), 2, |k, c| if c == 0 { 1.0 } else { view.lambda[k] });
        let pulled = &view.inverse * &columns;
        let mut block = f.view_mut((place, place), (2, 2));
        block += columns.transpose() * &pulled;
        let mut part = h.rows_mut(place, 2);
        part += pulled.transpose() * &view.residual;
        let residual = &view.inverse * &view.residual;
        Self { view, columns: pulled, residual, place }
    }

    /// The segment's readings.
    fn range(&self) -> Range<usize> {
        self.view.first..self.view.first + self.view.len()
    }

    fn part(&self, readings: Range<usize>) -> Part {
        let places = readings.start - self.view.first..readings.end - self.view.first;
        let mut part = Part { top: 0.0, square: 0.0, mean: [0.0; 2], place: self.place };
        for k in places.clone() {
            part.top += self.residual[k];
            part.square += places.clone().map(|j| self.view.inverse[(k, j)]).sum::<f64>();
            part.mean[0] += self.columns[(k, 0)];
            part.mean[1] += self.columns[(k, 1)];
        }
        part
    }
}

/// What comes into the rounds with one of them, and which readings go out before it.
#[derive(Clone)]
struct Change {
    sums: Sums,
    enter: Mark,
    leave: Mark,
}

/// All patterns, summed over the segments.
struct Patterns {
    /// By last day and first day.
    own: BTreeMap<(i32, i32), (Sums, Mark, LastLook)>,
    /// By day: with the valves read on it.
    alone: BTreeMap<i32, (Sums, usize)>,
    /// Rising first days. A valve takes part in all rounds between two of its days: it comes in with the first of them, and goes out behind the last.
    rounds: Vec<i32>,
    changes: Vec<Change>,
}

impl Patterns {
    fn add(&mut self, pulled: &Pulled, s: usize, looks: &[Look], day: &dyn Fn(usize) -> i32) {
        let (end, columns) = (pulled.range().end, self.changes[0].sums.mean.len());
        for l in looks {
            let (part, mark) = (pulled.part(l.first..end), Mark::of(l.first..end));
            let (from, date) = (day(l.first), day(end - 1));
            let fresh = || (Sums::new(columns), Mark::default(), LastLook::empty(from, date));
            let (sums, all, look) = self.own.entry((date, from)).or_insert_with(fresh);
            sums.add(&part, 1.0);
            *all = all.plus(mark);
            look.take(s, l, end);
            let up_to = |date: i32| self.rounds.partition_point(|round| *round <= date);
            let (first, behind) = (up_to(day(l.first - 1)), up_to(from));
            self.changes[first].sums.add(&part, 1.0);
            self.changes[first].enter = self.changes[first].enter.plus(mark);
            self.changes[behind].sums.add(&part, -1.0);
            self.changes[behind].leave = self.changes[behind].leave.plus(mark);
        }
        for readings in each_day(pulled.range(), day) {
            let (sums, valves) = self.alone.entry(day(readings.start)).or_insert_with(|| (Sums::new(columns), 0));
            sums.add(&pulled.part(readings), 1.0);
            *valves += 1;
        }
    }

    /// By the shift of each pattern with its standard error.
    fn days(&self, shift_of: &dyn Fn(&Sums) -> Option<(f64, f64)>) -> Days {
        let enough = self.alone.iter().filter(|(_, (_, valves))| *valves >= ON_A_DAY);
        let mut most = 0.0_f64;
        let farthest = enough.filter_map(|(date, (sums, _))| {
            let (shift, shift_se) = shift_of(sums)?;
            most = most.max(shift.abs() / shift_se);
            Some((*date, most))
        });
        Days { farthest: farthest.collect() }
    }

    /// A round that no valve missed is told by the valves' own looks already.
    fn rounds(&self, shift_of: &dyn Fn(&Sums) -> Option<(f64, f64)>) -> Vec<Round> {
        let told: BTreeSet<Mark> = self.own.values().map(|(_, mark, _)| *mark).collect();
        let (mut now, mut mark) = (Sums::new(self.changes[0].sums.mean.len()), Mark::default());
        let mut found = Vec::new();
        for (from, change) in self.rounds.iter().zip(&self.changes) {
            now.top += change.sums.top;
            now.square += change.sums.square;
            now.mean += &change.sums.mean;
            mark = mark.plus(change.enter).minus(change.leave);
            if mark.readings > 0
                && !told.contains(&mark)
                && let Some((shift, shift_se)) = shift_of(&now)
            {
                found.push(Round { from: *from, shift, shift_se });
            }
        }
        found
    }
}

/// Every day of newest readings of valves that were read before it too, and all days of their last visits, up to five, where two visits or more were
/// before them; and from each such first day on all valves that were read since, for an engine may have missed a round. `weights` are 0 for readings that
/// are set aside. None where the mean lines are not to be told.
pub(crate) fn last_looks(
    segments: &Segments,
    law: &FleetLaw,
    weights: &[f64],
    day: &dyn Fn(usize) -> i32,
) -> Option<Found> {
    let p = 2 * law.lines.len();
    let visit = visits(segments, day);
    let of_segment =
        |s: usize| if segments.current[s] { looks(segments.range(s), weights, (day, &visit)) } else { Vec::new() };
    let mut looks: Vec<Vec<Look>> = (0..segments.len()).map(of_segment).collect();
    let several = looks.iter().flatten().filter(|l| l.visits > 1);
    let rounds: Vec<i32> = several.map(|l| day(l.first)).collect::<BTreeSet<_>>().into_iter().collect();
    let nothing = Change { sums: Sums::new(p), enter: Mark::default(), leave: Mark::default() };
    let changes = vec![nothing; rounds.len() + 1];
    let mut patterns = Patterns { own: BTreeMap::new(), alone: BTreeMap::new(), rounds, changes };
    let (mut f, mut h) = (DMatrix::zeros(p, p), DVector::zeros(p));
    for (s, looks) in looks.iter_mut().enumerate() {
        let own = weights.get(segments.range(s)).unwrap_or_default();
        let Some(view) = View::new(segments, law, own, s) else {
            looks.clear();
            continue;
        };
        // Of a history longer than is looked at together, what lies before it is left.
        looks.retain(|l| l.first > view.first);
        let pulled = Pulled::new(view, law.place(segments.group[s] as usize), (&mut f, &mut h));
        patterns.add(&pulled, s, looks, day);
    }
    let f = f.cholesky()?;
    let lines = f.solve(&h);
    let shift_of = |sums: &Sums| {
        let square = sums.square - sums.mean.dot(&f.solve(&sums.mean));
        // Where the lines are told by this very look nothing else foretells it.
        let told = square > 1e-6 * sums.square;
        told.then(|| ((sums.top - sums.mean.dot(&lines)) / square, 1.0 / square.sqrt()))
    };
    let (days, rounds) = (patterns.days(&shift_of), patterns.rounds(&shift_of));
    let own = patterns.own.into_values();
    let mut own: Vec<LastLook> = own
        .filter_map(|(sums, _, look)| shift_of(&sums).map(|(shift, shift_se)| LastLook { shift, shift_se, ..look }))
        .collect();
    let many = rounds.len() + own.iter().filter(|look| look.visits > 1).count();
    let together = normal::upper_quantile(FALSE_ALARM / many.max(1) as f64);
    for look in &mut own {
        let several = look.visits > 1;
        look.threshold = if several { together } else { normal::upper_quantile(FALSE_ALARM) };
        look.rival = if several { days.clearest_before(look.from) } else { 0.0 };
    }
    let day = (0..segments.readings()).map(day).collect();
    let end = (0..segments.len()).map(|s| segments.range(s).end).collect();
    Some(Found { own, rounds, threshold: together, days, looks, day, end })
}

/// Readings of the same day, day by day.
fn each_day(range: Range<usize>, day: &dyn Fn(usize) -> i32) -> impl Iterator<Item = Range<usize>> {
    let mut rest = range;
    std::iter::from_fn(move || {
        let first = rest.next()?;
        while rest.start < rest.end && day(rest.start) == day(first) {
            rest.start += 1;
        }
        Some(first..rest.start)
    })
}

/// A segment's readings from one of its last visits on.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Look {
    first: usize,
    visits: usize,
}

/// A segment's last day, and its last visits together, from the newest back: where two visits or more were before them (one before a single one), and all
/// of its readings count.
fn looks(range: Range<usize>, weights: &[f64], (day, visit): (&dyn Fn(usize) -> i32, &[i32])) -> Vec<Look> {
    let counts = |i: usize| weights.get(i).is_none_or(|w| *w > 0.0);
    let begins = |date: &dyn Fn(usize) -> i32| -> Vec<usize> {
        range.clone().filter(|i| *i == range.start || date(*i) != date(*i - 1)).collect()
    };
    let all = begins(&|i| visit[i]);
    // An engine that stood was read on several days of one visit, and the last of them may be off alone.
    let last_day = begins(day).last().copied().filter(|first| *first > range.start && counts(*first - 1));
    let last_day = last_day.filter(|first| (*first..range.end).all(counts));
    let mut out: Vec<Look> = last_day.map(|first| Look { first, visits: 1 }).into_iter().collect();
    for (visits, first) in (1..).zip(all.iter().rev().take(TOGETHER)) {
        let before = all.iter().take_while(|i| *i < first).filter(|i| counts(**i)).count();
        if !(*first..range.end).all(counts) || before < visits.min(ENOUGH_BEFORE) {
            break;
        }
        out.push(Look { first: *first, visits });
    }
    out.dedup();
    out
}
