//! A piece that need not be taken as it is: one thinned by hand, or one that is only wished for.

use super::{AvailablePieces, Disposition};
use crate::objective::{Increments, Judged, Member, Objective, Range, ZONES};

/// What the one free piece may be.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Wish {
    /// A piece of the drawer, thinner by up to this, mm.
    Thinned(f64),
    /// Any thickness of the span.
    Any,
}

/// What a thinned piece is made from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Source {
    /// A kind of the drawer.
    Drawer(usize),
    /// A piece that is in the bay now.
    Fitted(usize),
}

/// One piece beside those of the drawer.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Free {
    pub(crate) wish: Wish,
    /// Variance of its thickness: it is measured when it is ready, mm².
    pub(crate) own: f64,
    /// Parts touched beyond the piece itself: thinning by hand counts as one.
    pub(crate) extra_touched: usize,
    /// Thinnest and thickest it can become, mm.
    span: (f64, f64),
    /// Thicknesses of the pieces in the bay, which may be thinned too, mm.
    fitted: Vec<f64>,
}

/// The build around a free piece.
pub(crate) struct Making<'a> {
    /// What the free piece may be, mm.
    pub(crate) span: (f64, f64),
    pub(crate) available: &'a AvailablePieces,
    pub(crate) zone: usize,
    pub(crate) touched: usize,
    pub(crate) added: &'a [Vec<usize>],
    pub(crate) dispositions: &'a [Disposition],
}

/// No piece is thinned below this, mm: common practice, no source; thinner foil buckles on the paper.
const THINNEST: f64 = 0.05;
/// Thinning by less is not worth the dirt, mm: a micrometer hardly sees it.
const LEAST_DRESSING: f64 = 0.001;

impl Free {
    /// One piece of the drawer or of the bay may be thinned by up to `most`, and is measured afterwards with uncertainty `u`.
    pub(crate) fn thinned(available: &AvailablePieces, fitted: &[f64], most: f64, u: f64) -> Option<Self> {
        let all = || available.kinds.iter().map(|kind| kind.thickness).chain(fitted.iter().copied());
        let first = all().fold(f64::INFINITY, f64::min);
        let last = all().fold(f64::NEG_INFINITY, f64::max);
        let span = ((first - most).max(THINNEST), last - LEAST_DRESSING);
        let wish = Wish::Thinned(most);
        (span.0 < span.1).then(|| Self { wish, own: u * u, extra_touched: 1, span, fitted: fitted.to_vec() })
    }

    /// A measured piece of any thickness.
    pub(crate) fn any(lower: f64, upper: f64, u: f64) -> Self {
        Self { wish: Wish::Any, own: u * u, extra_touched: 0, span: (lower, upper), fitted: Vec::new() }
    }

    /// Whether it is only wished for: then builds without it are not looked at.
    pub(crate) fn is_wish(&self) -> bool {
        self.wish == Wish::Any
    }

    pub(crate) fn span(&self) -> (f64, f64) {
        self.span
    }

    /// Bounds of the scatter where the free piece joins `counts` ordinary ones.
    pub(crate) fn range(
        objective: &Objective<'_>,
        kept: &[Member],
        counts: &[usize],
        increments: &Increments,
        free: Option<&Self>,
        window: (f64, f64),
    ) -> Range {
        let mut range = objective.range(kept, counts, increments, window);
        let own = free.map_or(0.0, |free| free.own);
        for (bounds, lever) in range.iter_mut().zip(objective.largest_levers()) {
            // Its scatter is independent of all else, so it only adds.
            bounds.1 = (bounds.1 * bounds.1 + own * lever * lever).sqrt();
        }
        range
    }

    /// The best that the free piece makes of a build with `members`: worth, thickness and what it is made from. None where that stays
    /// below the floor.
    pub(crate) fn best(
        &self,
        objective: &Objective<'_>,
        members: &mut Vec<Member>,
        making: &Making<'_>,
        floor: f64,
    ) -> Option<(Judged, f64, Option<Source>)> {
        let others: f64 = members.iter().map(|member| member.thickness).sum();
        let response = objective.response;
        let lower = making.span.0.max(response.first - others);
        let upper = making.span.1.min(response.last() - others);
        if lower > upper {
            return None;
        }
        let at = members.len();
        members.push(Member { zone: making.zone, entry: None, thickness: lower, own: self.own });
        let mut judge = |x: f64| {
            members[at].thickness = x;
            objective.judge(members, making.touched)
        };
        let best = maximise(lower, upper, |x| judge(x).map_or(f64::NEG_INFINITY, |judged| judged.score));
        let made = match self.wish {
            Wish::Any => Some((best, None)),
            Wish::Thinned(most) => self.made_from(best, most, making).map(|(x, source)| (x, Some(source))),
        };
        let made = made.and_then(|(x, source)| Some((judge(x)?, x, source)));
        members.truncate(at);
        made.filter(|(judged, ..)| judged.score >= floor)
    }

    /// The piece that needs least work to become `best`; where none can become thin enough, the one that comes nearest.
    fn made_from(&self, best: f64, most: f64, making: &Making<'_>) -> Option<(f64, Source)> {
        let taken = |kind: usize| making.added.iter().flatten().filter(|&&k| k == kind).count() as u32;
        let kinds = &making.available.kinds;
        let available =
            (0..kinds.len()).filter(|&k| kinds[k].count > taken(k)).map(|k| (kinds[k].thickness, Source::Drawer(k)));
        let out = (0..self.fitted.len())
            .filter(|&f| making.dispositions[f] == Disposition::Out)
            .map(|f| (self.fitted[f], Source::Fitted(f)));
        available
            .chain(out)
            .map(|(t, source)| (t, best.max((t - most).max(THINNEST)), source))
            .filter(|&(t, becomes, _)| t - LEAST_DRESSING >= becomes)
            .min_by(|a, b| (a.1 - best).total_cmp(&(b.1 - best)).then(a.0.total_cmp(&b.0)))
            .map(|(_, becomes, source)| (becomes, source))
    }
}

/// The least Σ miss² that a piece of the span, added to `zone`, leaves: by ternary section, the miss being a bowl.
pub(crate) fn least_miss(objective: &Objective<'_>, sums: &[f64], zone: usize, span: (f64, f64)) -> f64 {
    let mut at = [0.0; ZONES];
    at[..sums.len()].copy_from_slice(sums);
    let mut miss = |x: f64| {
        at[zone] = sums[zone] + x;
        objective.miss(&at[..sums.len()]).unwrap_or(f64::INFINITY)
    };
    let last = objective.response.last() - sums.iter().sum::<f64>();
    let (mut low, mut high) = (span.0, span.1.min(last));
    if low > high {
        return f64::INFINITY;
    }
    let mut least = f64::INFINITY;
    for _ in 0..24 {
        let (x, y) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        let (a, b) = (miss(x), miss(y));
        least = least.min(a).min(b);
        // Too loose to be in the tables: thicker is nearer.
        if a > b || a == f64::INFINITY {
            low = x;
        } else {
            high = y;
        }
    }
    // What the section has not closed in on is less than a part in 10⁴ of the span.
    least * 0.999 - 1e-9
}

/// Maximiser of a function with one hump on `[a, b]`: a scan, so that a flat tail does not mislead, then golden section.
fn maximise(a: f64, b: f64, mut f: impl FnMut(f64) -> f64) -> f64 {
    const SCAN: usize = 16;
    let h = (b - a) / SCAN as f64;
    if h <= 0.0 {
        return a;
    }
    let (mut best, mut value) = (0, f64::NEG_INFINITY);
    for k in 0..=SCAN {
        let y = f(a + h * k as f64);
        if y > value {
            (best, value) = (k, y);
        }
    }
    let (mut low, mut high) = (a + h * best.saturating_sub(1) as f64, (a + h * (best + 1) as f64).min(b));
    let ratio = 0.5 * (5_f64.sqrt() - 1.0);
    let (mut x, mut y) = (high - ratio * (high - low), low + ratio * (high - low));
    let (mut fx, mut fy) = (f(x), f(y));
    while high - low > 1e-4 {
        if fx >= fy {
            (high, y, fy) = (y, x, fx);
            x = high - ratio * (high - low);
            fx = f(x);
        } else {
            (low, x, fx) = (x, y, fy);
            y = low + ratio * (high - low);
            fy = f(y);
        }
    }
    0.5 * (low + high)
}
