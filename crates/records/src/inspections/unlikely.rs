//! Readings that may be slips: 10, 100, 1000 or 25.4 times what their neighbours say, or of the other sign; visits far from the others.
//!
//! Nothing is changed or left out here. A reading is named if three things hold:
//!
//! - it is about such a multiple of the middle of up to [`NEAR`] readings around it, of the same valve, feature and segment;
//! - it lies further from them, and from the line through the two next to it, than [`BEYOND`] times the scatter of that feature about such
//!   lines;
//! - it lies further from them than the other readings step from one to the next, several times over: wear that grows from nothing has
//!   ratios of any size.
//!
//! A reading alone in its segment is held against the feature's readings of the whole file.

use super::Rows;
use super::histories::Histories;
use super::visits::Far;
use crate::error::Notice;
use crate::table::Table;
use hashbrown::HashMap;
use packdrift_trend::{Doubt, Unlikely};
use rayon::prelude::{IntoParallelRefIterator, ParallelIterator};

/// A moved point, a moved point twice and thrice (mm for µm), inches for millimetres.
const FACTORS: [f64; 4] = [10.0, 25.4, 100.0, 1000.0];

/// So far a multiple may be off and still be taken for one: the quantity moves between readings.
const ABOUT: f64 = 1.35;

/// Readings around one that tell what it should be.
const NEAR: usize = 6;

/// Standard deviations from its neighbours.
const BEYOND: f64 = 8.0;

/// Largest steps between the other readings of the segment.
const STEPS: f64 = 3.0;

/// Steps that are usual for the feature: three quarters of them are smaller.
const USUAL_STEPS: f64 = 5.0;

/// Fewer than this tell nothing of what is usual.
const FEW_STEPS: usize = 10;

/// Fewer neighbours in threes than this tell no scatter: a single slip would make it.
const FEW_BENDS: usize = 5;

/// Values of a feature that are looked at for its scatter and range.
const SAMPLE: usize = 20_000;

/// Fewer readings than this of a feature tell no range.
const FEW: usize = 20;

/// Values that may be slips.
pub(super) fn values(rows: &Rows, histories: &Histories) -> Vec<Doubt> {
    let features: Vec<Feature> = Feature::all(rows, histories);
    let all: Vec<&[u32]> = histories.iter().filter(|history| !history.is_empty()).collect();
    all.par_iter()
        .flat_map_iter(|history| {
            let feature = features[rows.table.feature[history[0] as usize] as usize];
            segments(rows, history).flat_map(move |segment| of_segment(rows, segment, feature))
        })
        .collect()
}

/// The history between events.
fn segments<'h>(rows: &'h Rows, history: &'h [u32]) -> impl Iterator<Item = &'h [u32]> {
    history.chunk_by(|_, &row| rows.table.event[row as usize] == 0)
}

/// What the readings of a feature tell of one.
#[derive(Debug, Clone, Copy)]
struct Feature {
    /// Scatter about the line through neighbours; 0 where too few follow each other.
    sd: f64,
    /// The usual step from one reading to the next; 0 where there are few.
    step: f64,
    /// Quantiles 0.01, 0.05, 0.95 and 0.99 of the values' sizes; None with few readings.
    range: Option<[f64; 4]>,
}

impl Feature {
    fn all(rows: &Rows, histories: &Histories) -> Vec<Self> {
        let t = &rows.table;
        let count = t.features.len();
        let mut looked: Vec<[Vec<f64>; 3]> = vec![Default::default(); count];
        // An even choice of histories.
        let stride = (t.value.len() / (SAMPLE * count.max(1))).max(1);
        for history in histories.each_nth(stride) {
            let Some(&first) = history.first() else { continue };
            let [sizes, bends, steps] = &mut looked[t.feature[first as usize] as usize];
            sizes.extend(history.iter().map(|&row| t.value[row as usize].abs()));
            for segment in segments(rows, history) {
                let step = |two: &[u32]| (t.value[two[1] as usize] - t.value[two[0] as usize]).abs();
                bends.extend(segment.windows(3).map(|three| bend(rows, three)));
                steps.extend(segment.windows(2).map(step));
            }
        }
        let quantile = |sorted: &[f64], p: f64| sorted[((sorted.len() - 1) as f64 * p).floor() as usize];
        looked
            .into_iter()
            .map(|mut looked| {
                looked.iter_mut().for_each(|values| values.sort_by(f64::total_cmp));
                let [sizes, bends, steps] = looked;
                Self {
                    // Quantile 0.35 of |N(0, 1)| is 0.4538; the lower it is, the more slips it bears.
                    sd: if bends.len() < FEW_BENDS { 0.0 } else { quantile(&bends, 0.35) / 0.4538 },
                    step: if steps.len() < FEW_STEPS { 0.0 } else { quantile(&steps, 0.75) },
                    range: (sizes.len() >= FEW).then(|| [0.01, 0.05, 0.95, 0.99].map(|p| quantile(&sizes, p))),
                }
            })
            .collect()
    }
}

/// How far the middle of three readings lies from the line through the others, in units of a reading's scatter.
fn bend(rows: &Rows, three: &[u32]) -> f64 {
    let t = &rows.table;
    let [a, b, c] = [three[0] as usize, three[1] as usize, three[2] as usize];
    let whole = t.hours[c] - t.hours[a];
    let share = if whole > 0.0 { (t.hours[b] - t.hours[a]) / whole } else { 0.5 };
    let off = t.value[b] - (1.0 - share) * t.value[a] - share * t.value[c];
    off.abs() / (1.0 + share * share + (1.0 - share) * (1.0 - share)).sqrt()
}

fn of_segment(rows: &Rows, segment: &[u32], feature: Feature) -> Vec<Doubt> {
    let value = |k: usize| rows.table.value[segment[k] as usize];
    let doubt = |k: usize, why: Unlikely| Doubt { row: segment[k], why };
    if segment.len() == 1 {
        return alone(value(0), feature).map(|factor| doubt(0, Unlikely::Times(factor))).into_iter().collect();
    }
    let sizes = || (0..segment.len()).map(|k| value(k).abs());
    let (least, most) = sizes().fold((f64::INFINITY, 0.0_f64), |(low, high), size| (low.min(size), high.max(size)));
    let both_signs = (1..segment.len()).any(|k| value(k) * value(0) < 0.0);
    if most < FACTORS[0] / ABOUT * least && !both_signs {
        return Vec::new();
    }
    let on_line = |k: usize| on_line(rows, segment, k).is_some_and(|(off, errors)| off <= BEYOND * errors * feature.sd);
    (0..segment.len())
        .filter_map(|k| Some(doubt(k, of_reading(&value, k, segment.len(), feature)?)))
        .filter(|doubt| segment.iter().position(|row| *row == doubt.row).is_none_or(|k| !on_line(k)))
        .collect()
}

/// How far the k-th reading lies from the line through the two next to it, and the standard error of that distance in units of a reading's
/// scatter. None where there are no such two.
fn on_line(rows: &Rows, segment: &[u32], k: usize) -> Option<(f64, f64)> {
    let n = segment.len();
    let [a, b] = match k {
        0 => [1, 2],
        k if k + 1 == n => [k.checked_sub(2)?, k - 1],
        k => [k - 1, k + 1],
    };
    let at = |k: usize| segment.get(k).map(|&row| (rows.table.hours[row as usize], rows.table.value[row as usize]));
    let ((t, y), (ta, ya), (tb, yb)) = (at(k)?, at(a)?, at(b)?);
    let share = (t - ta) / (tb - ta);
    let line = ya + share * (yb - ya);
    line.is_finite().then(|| ((y - line).abs(), (1.0 + share * share + (1.0 - share) * (1.0 - share)).sqrt()))
}

/// What may have slipped in the k-th of n readings.
fn of_reading(value: &impl Fn(usize) -> f64, k: usize, n: usize, feature: Feature) -> Option<Unlikely> {
    let from = k.saturating_sub(NEAR / 2).min(n.saturating_sub(NEAR + 1));
    let mut near: Vec<f64> = (from..n).filter(|&other| other != k).take(NEAR).map(value).collect();
    near.sort_by(f64::total_cmp);
    let middle = 0.5 * (near[(near.len() - 1) / 2] + near[near.len() / 2]);
    let own = value(k);
    let others = (from..n).filter(|&other| other != k).take(NEAR);
    let steps = others.clone().zip(others.skip(1)).map(|(a, b)| (value(b) - value(a)).abs());
    let largest = steps.fold(0.0, f64::max);
    if (own - middle).abs() <= (BEYOND * feature.sd).max(STEPS * largest).max(USUAL_STEPS * feature.step) {
        return None;
    }
    let one_sign = near[0] * near[near.len() - 1] > 0.0;
    if near.len() >= 3 && one_sign && own * middle < 0.0 && about(-own / middle, 1.0) {
        return Some(Unlikely::Sign);
    }
    let ratio = own / middle;
    let factor = multiple(ratio)?;
    // Of two readings either may be the one: the file's other readings tell.
    let lonely = near.len() < 3 && feature.range.is_some_and(|[_, low, high, _]| (low..=high).contains(&own.abs()));
    (!lonely).then_some(Unlikely::Times(factor))
}

/// For a reading alone in its segment.
fn alone(own: f64, feature: Feature) -> Option<f64> {
    let [lowest, low, high, highest] = feature.range?;
    let size = own.abs();
    let far = |gap: f64| gap > BEYOND * feature.sd;
    let usual = |size: f64| (low..=high).contains(&size);
    if size > 5.0 * highest && far(size - highest) {
        return FACTORS.into_iter().find(|factor| usual(size / factor));
    }
    if size > 0.0 && size < lowest / 5.0 && far(lowest - size) {
        return FACTORS.into_iter().map(|factor| 1.0 / factor).find(|factor| usual(size / factor));
    }
    None
}

fn about_within(ratio: f64, factor: f64) -> bool {
    ratio >= 1.0 / factor && ratio <= factor
}

fn about(ratio: f64, factor: f64) -> bool {
    about_within(ratio / factor, ABOUT)
}

/// The factor that a ratio is about.
fn multiple(ratio: f64) -> Option<f64> {
    FACTORS.into_iter().flat_map(|factor| [factor, 1.0 / factor]).find(|&factor| about(ratio, factor))
}

/// Rows of visits far from their engine's others.
pub(super) fn far_visits(rows: &Rows, far: &[Far]) -> Vec<Doubt> {
    if far.is_empty() {
        return Vec::new();
    }
    let mut of_engine: HashMap<u32, Vec<Far>> = HashMap::new();
    for far in far {
        of_engine.entry(far.engine).or_default().push(*far);
    }
    let mut out = Vec::new();
    for row in 0..rows.table.value.len() {
        for far in of_engine.get(&rows.engine_of(row)).into_iter().flatten() {
            if (far.days.0..=far.days.1).contains(&rows.table.day[row]) {
                out.push(Doubt { row: row as u32, why: Unlikely::FarVisit(far.gap) });
            }
        }
    }
    out
}

/// What is said of doubts: a notice for each sort, with the first of them.
pub(super) fn notices(rows: &Rows, doubts: &[Doubt], table: &Table) -> Vec<Notice> {
    const SHOWN: usize = 3;
    let sort = |doubt: &&Doubt| match doubt.why {
        Unlikely::Times(_) | Unlikely::Sign => 0,
        Unlikely::FarVisit(_) => 1,
        _ => 2,
    };
    let mut out = Vec::new();
    for which in 0..3 {
        let own: Vec<&Doubt> = doubts.iter().filter(|doubt| sort(doubt) == which).collect();
        if own.is_empty() {
            continue;
        }
        // Rows of one visit, or of one name, say the same.
        let mut said: Vec<String> = Vec::new();
        let mut more = 0;
        for doubt in &own {
            let text = in_words(rows, doubt);
            if said.iter().any(|before| before.ends_with(&text)) {
                continue;
            }
            if said.len() == SHOWN {
                more += 1;
                continue;
            }
            said.push(format!("{}: {text}", table.row_in_words(doubt.row as usize)));
        }
        let rest = if more > 0 { format!("; and {more} more") } else { String::new() };
        let readings = if own.len() == 1 { "1 reading".to_owned() } else { format!("{} readings", own.len()) };
        let text = format!(
            "{readings} may be a slip: {}{rest}. Correct it, or write `yes` under `confirmed` where it stands",
            said.join("; ")
        );
        out.push(Notice::new(table.source.path(), text));
    }
    out
}

/// One doubt, without its line.
fn in_words(rows: &Rows, doubt: &Doubt) -> String {
    let row = doubt.row as usize;
    let value = rows.table.value[row];
    match &doubt.why {
        Unlikely::Times(factor) => {
            let meant = rounded(value / factor);
            let times = if *factor >= 1.0 {
                format!("about {factor} times")
            } else {
                format!("about 1/{} of", (10.0 / *factor).round() / 10.0)
            };
            format!("{}: {value} is {times} what its neighbours say; is {meant} meant?", rows.whose(row))
        }
        Unlikely::Sign => {
            format!("{}: {value} where its neighbours have the other sign; is {} meant?", rows.whose(row), -value)
        }
        Unlikely::Name(other) => name_in_words(rows, row, other),
        Unlikely::FarVisit(days) => format!(
            "engine `{}` was visited on {}, {:.1} years from its other visits",
            rows.engine_name(row),
            super::date(rows.table.day[row]),
            f64::from(*days) / 365.25
        ),
        _ => String::new(),
    }
}

fn name_in_words(rows: &Rows, row: usize, other: &str) -> String {
    let t = &rows.table;
    let (engine, valve) = (rows.engine_name(row), &t.valves[t.valve[row] as usize].1);
    let feature = &t.features[t.feature[row] as usize];
    let folded = super::alike::folded;
    let what = if folded(engine) == folded(other) && engine != other {
        format!("engine `{engine}`")
    } else if folded(valve) == folded(other) && valve != other {
        format!("valve `{valve}` of engine `{engine}`")
    } else if folded(feature) == folded(other) && feature != other {
        format!("feature `{feature}`")
    } else {
        "a group".to_owned()
    };
    format!("{what} stands beside `{other}`; are they one?")
}

/// To six significant digits, as a person would write it.
fn rounded(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}
