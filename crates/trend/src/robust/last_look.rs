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

/// A day of newest readings, or such a day and the visits before it.
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
    /// All readings of a fleet from a day on.
    pub(crate) is_round: bool,
    /// Visits of a valve that it is, at the most.
    visits: usize,
    /// Standard errors beyond which it stands off.
    threshold: f64,
    /// How far off the clearest day before it lies by itself, of those that it would explain too, in standard errors.
    rival: f64,
}

impl LastLook {
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
struct Sums {
    look: LastLook,
    top: f64,
    square: f64,
    mean: DVector<f64>,
}

impl Sums {
    fn new(pattern: Pattern, columns: usize) -> Self {
        let look = LastLook {
            from: i32::MAX,
            date: i32::MIN,
            readings: Vec::new(),
            segments: Vec::new(),
            shift: 0.0,
            shift_se: 0.0,
            is_round: matches!(pattern, Pattern::Round { .. }),
            visits: 0,
            threshold: 0.0,
            rival: 0.0,
        };
        Self { look, top: 0.0, square: 0.0, mean: DVector::zeros(columns) }
    }
}

/// Every day of newest readings of valves that were read before it too, and all days of their last visits, up to five, where two visits or more were
/// before them; and from each such first day on all valves that were read since, for an engine may have missed a round. `weights` are 0 for readings that
/// are set aside.
pub(crate) fn last_looks(
    segments: &Segments,
    law: &FleetLaw,
    weights: &[f64],
    day: &dyn Fn(usize) -> i32,
) -> Vec<LastLook> {
    let p = 2 * law.lines.len();
    let (mut f, mut h) = (DMatrix::zeros(p, p), DVector::zeros(p));
    let mut days: BTreeMap<Pattern, Sums> = BTreeMap::new();
    let visit = visits(segments, day);
    let of_segment =
        |s: usize| if segments.current[s] { looks(segments.range(s), weights, (day, &visit)) } else { Vec::new() };
    let looks: Vec<Vec<Look>> = (0..segments.len()).map(of_segment).collect();
    let rounds: BTreeSet<i32> = looks.iter().flatten().filter(|l| l.visits > 1).map(|l| day(l.first)).collect();
    for s in 0..segments.len() {
        let own = weights.get(segments.range(s)).unwrap_or_default();
        let Some(view) = View::new(segments, law, own, s) else { continue };
        let place = law.place(segments.group[s] as usize);
        let columns = DMatrix::from_fn(view.len(), 2, |k, c| if c == 0 { 1.0 } else { view.lambda[k] });
        let pulled = &view.inverse * &columns;
        let mut block = f.view_mut((place, place), (2, 2));
        block += columns.transpose() * &pulled;
        let mut part = h.rows_mut(place, 2);
        part += pulled.transpose() * &view.residual;
        let residual = &view.inverse * &view.residual;
        let date = day(view.first + view.len() - 1);
        let end = view.first + view.len();
        let own = looks[s].iter().map(|l| (Pattern::Own { date, from: day(l.first) }, l.first..end, l.visits));
        let round = rounds.iter().filter_map(|&from| {
            let l = looks[s].iter().rfind(|l| day(l.first) >= from)?;
            (day(l.first - 1) < from).then_some((Pattern::Round { from }, l.first..end, l.visits))
        });
        let alone = each_day(view.first..end, day).map(|on| (Pattern::Day { date: day(on.start) }, on, 1));
        // Of a history longer than is looked at together, what lies before it is left.
        let held = own.chain(round).filter(|(_, readings, _)| readings.start > view.first);
        for (pattern, readings, visits) in held.chain(alone) {
            let sums = days.entry(pattern).or_insert_with(|| Sums::new(pattern, p));
            sums.look.visits = sums.look.visits.max(visits);
            sums.look.from = sums.look.from.min(day(readings.start));
            sums.look.date = sums.look.date.max(day(readings.end - 1));
            let places = readings.start - view.first..readings.end - view.first;
            for k in places.clone() {
                sums.top += residual[k];
                sums.square += places.clone().map(|j| view.inverse[(k, j)]).sum::<f64>();
                sums.mean[place] += pulled[(k, 0)];
                sums.mean[place + 1] += pulled[(k, 1)];
                sums.look.readings.push(view.first + k);
            }
            sums.look.segments.push(s);
        }
    }
    let Some(f) = f.cholesky() else { return Vec::new() };
    let lines = f.solve(&h);
    let found = |sums: Sums| {
        let square = sums.square - sums.mean.dot(&f.solve(&sums.mean));
        // Where the lines are told by this very look nothing else foretells it.
        let told = square > 1e-6 * sums.square;
        let shift = (sums.top - sums.mean.dot(&lines)) / square;
        told.then(|| LastLook { shift, shift_se: 1.0 / square.sqrt(), ..sums.look })
    };
    let (mut own, mut round, mut alone) = (Vec::new(), Vec::new(), Vec::new());
    for (pattern, sums) in days {
        let kind = match pattern {
            Pattern::Own { .. } => &mut own,
            Pattern::Round { .. } => &mut round,
            Pattern::Day { .. } => &mut alone,
        };
        kind.extend(found(sums));
    }
    // A round that no valve missed is told by the valves' own looks already.
    let told: BTreeSet<&[usize]> = own.iter().map(|look| &look.readings[..]).collect();
    round.retain(|look| !told.contains(&look.readings[..]));
    let many = (round.len() + own.iter().filter(|look| look.visits > 1).count()) as f64;
    let mut out = own;
    out.extend(round);
    for look in &mut out {
        let together = look.is_round || look.visits > 1;
        look.threshold = normal::upper_quantile(FALSE_ALARM / if together { many } else { 1.0 });
        if together {
            let before = alone.iter().filter(|day| day.date < look.from && day.segments.len() >= ON_A_DAY);
            look.rival = before.map(LastLook::distance).fold(0.0, f64::max);
        }
    }
    out
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

/// Readings that are held against all others together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Pattern {
    /// Of valves with the same last day and the same first one of their last visits.
    Own { date: i32, from: i32 },
    /// All from a day on, of valves whose visits since are few enough.
    Round { from: i32 },
    /// A day by itself.
    Day { date: i32 },
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
