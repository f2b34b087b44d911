//! What no engine can do: run backwards, run more than 24 hours a day, be visited tomorrow or decades apart from all others.
//!
//! All valves and features of an engine share its meter, so they are looked at together. Dates have no time of day, so that between two
//! visits Δ days apart up to 24·(Δ + 1) hours can lie. Of visits that contradict each other those are named that the fewest
//! rows speak for: the longest row of visits that agree, by weight of rows, is taken to be right.

use super::{Rows, date};
use crate::error::FaultKind;
use crate::kept::Kept;
use crate::options::Options;
use crate::table::{Located, Table};
use rayon::prelude::{IntoParallelIterator, ParallelIterator};

/// Hours that a meter may gain between two visits.
fn can_gain(days: i32) -> f64 {
    24.0 * (f64::from(days) + 1.0)
}

/// Rows of one engine on one day and hour.
#[derive(Debug, Clone, Copy)]
struct Visit {
    day: i32,
    /// As the present meter counts.
    hours: f64,
    /// The first of its rows.
    row: usize,
    rows: u32,
}

/// A stretch of an engine's visits that lies far from the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Far {
    pub(super) engine: u32,
    /// First and last day.
    pub(super) days: (i32, i32),
    /// Days to the nearest of the others.
    pub(super) gap: i32,
}

/// Adds every mistake between an engine's visits; those far from the others come back.
pub(super) fn check(rows: &Rows, table: &Table, mistakes: &mut Kept<Located>) -> Vec<Far> {
    let by_engine = ByEngine::of(rows);
    let looked: Vec<(Vec<(Visit, Visit)>, Gaps)> = (0..rows.table.engines.len())
        .into_par_iter()
        .map(|engine| {
            let visits = by_engine.visits(rows, engine);
            (contradicted(&visits), Gaps::of(&visits))
        })
        .collect();
    for (visit, other) in looked.iter().flat_map(|(wrong, _)| wrong) {
        let rises = (visit.hours < other.hours) == (visit.day < other.day) || visit.day == other.day;
        let kind = if rises { FaultKind::ImpossibleHours } else { FaultKind::FallingHours };
        mistakes.add(kind, super::HOURS, || impossible(rows, table, kind, *visit, *other));
    }
    let mut usual: Vec<i32> = looked.iter().filter_map(|(_, gaps)| gaps.usual).collect();
    usual.sort_unstable();
    let usual = usual.get(usual.len() / 2).copied().filter(|_| usual.len() >= FEW_DAYS);
    (0..).zip(&looked).flat_map(|(engine, (_, gaps))| gaps.far(engine, usual)).collect()
}

/// What lies between an engine's visits, days.
#[derive(Debug, Clone)]
struct Gaps {
    days: Vec<i32>,
    /// The middle one; None with fewer than three visits.
    usual: Option<i32>,
}

/// A visit this far from the others, in days and in times the longest of the other gaps, is unlikely.
const FAR: (i32, i32) = (2 * 365, 4);

impl Gaps {
    fn of(visits: &[Visit]) -> Self {
        let mut days: Vec<i32> = visits.iter().map(|visit| visit.day).collect();
        days.dedup();
        let mut gaps: Vec<i32> = days.windows(2).map(|pair| pair[1] - pair[0]).collect();
        gaps.sort_unstable();
        let usual = if gaps.len() < 2 { None } else { gaps.get(gaps.len() / 2).copied() };
        // Only a long gap will be looked at again.
        if gaps.last().is_none_or(|longest| *longest <= FAR.0) {
            days.clear();
        }
        Self { days, usual }
    }

    /// The first or the last visit, where it is far from the others; `usual` is the middle gap of the fleet's engines.
    fn far(&self, engine: u32, usual: Option<i32>) -> Vec<Far> {
        let days = &self.days;
        let gap = |k: usize| days[k + 1] - days[k];
        let last = days.len().saturating_sub(2);
        let is_far = |k: usize| {
            let others = (0..=last).filter(|&other| other != k).map(gap).max();
            // An engine of two visits has no other gap.
            let Some(longest) = others.max(usual) else { return false };
            gap(k) > FAR.0 && gap(k) > FAR.1 * longest
        };
        let mut out = Vec::new();
        if days.len() >= 2 && is_far(last) {
            out.push(Far { engine, days: (days[last + 1], days[last + 1]), gap: gap(last) });
        }
        if days.len() >= 3 && is_far(0) {
            out.push(Far { engine, days: (days[0], days[0]), gap: gap(0) });
        }
        out
    }
}

/// Rows of each engine: rows of engine k are `rows[starts[k]..starts[k + 1]]`, in the order of the file.
struct ByEngine {
    starts: Vec<u32>,
    rows: Vec<u32>,
}

impl ByEngine {
    /// A counting sort.
    fn of(rows: &Rows) -> Self {
        let mut starts = vec![0_u32; rows.table.engines.len() + 1];
        for &valve in &rows.table.valve {
            starts[rows.table.valves[valve as usize].0 as usize + 1] += 1;
        }
        for index in 1..starts.len() {
            starts[index] += starts[index - 1];
        }
        let mut next = starts.clone();
        let mut sorted = vec![0_u32; rows.table.valve.len()];
        for (row, &valve) in rows.table.valve.iter().enumerate() {
            let at = &mut next[rows.table.valves[valve as usize].0 as usize];
            sorted[*at as usize] = row as u32;
            *at += 1;
        }
        Self { starts, rows: sorted }
    }

    /// An engine's visits in order of time.
    fn visits(&self, rows: &Rows, engine: usize) -> Vec<Visit> {
        let own = &self.rows[self.starts[engine] as usize..self.starts[engine + 1] as usize];
        let mut visits: Vec<Visit> = Vec::new();
        for &row in own {
            let (day, hours) = (rows.table.day[row as usize], rows.table.hours[row as usize]);
            match visits.last_mut() {
                Some(last) if last.day == day && last.hours.total_cmp(&hours).is_eq() => last.rows += 1,
                _ => visits.push(Visit { day, hours, row: row as usize, rows: 1 }),
            }
        }
        visits.sort_by(|a, b| a.day.cmp(&b.day).then(a.hours.total_cmp(&b.hours)).then(a.row.cmp(&b.row)));
        visits.dedup_by(|later, first| {
            let same = later.day == first.day && later.hours.total_cmp(&first.hours).is_eq();
            first.rows += if same { later.rows } else { 0 };
            same
        });
        visits
    }
}

/// Visits that cannot be, each with one that it contradicts. `visits` are in order of time.
fn contradicted(visits: &[Visit]) -> Vec<(Visit, Visit)> {
    if agree(visits) {
        return Vec::new();
    }
    let keep = believed(visits);
    let kept: Vec<&Visit> = visits.iter().zip(&keep).filter(|(_, keep)| **keep).map(|(visit, _)| visit).collect();
    let mut out = Vec::new();
    for visit in visits.iter().zip(&keep).filter(|(_, keep)| !**keep).map(|(visit, _)| visit) {
        let later = kept.partition_point(|other| (other.day, other.hours) < (visit.day, visit.hours));
        // The nearest before it that it contradicts, else the nearest after it.
        let before = kept[..later].iter().rev().take(REACH).find(|other| !fit(other, visit));
        let other = before
            .or_else(|| kept[later..].iter().take(REACH).find(|other| !fit(visit, other)))
            .or_else(|| kept[..later].last())
            .or_else(|| kept.get(later));
        if let Some(other) = other {
            out.push((*visit, **other));
        }
    }
    out
}

/// Whether one visit can follow another.
fn fit(before: &Visit, after: &Visit) -> bool {
    after.hours >= before.hours && after.hours - before.hours <= can_gain(after.day - before.day)
}

/// Whether no pair of visits contradicts: no meter below the highest before, none more than 24 hours a day above any before.
fn agree(visits: &[Visit]) -> bool {
    let (mut highest, mut slowest) = (f64::NEG_INFINITY, f64::INFINITY);
    visits.iter().all(|visit| {
        // Hours less 24 a day: a pair gains too much where this rises by more than a day's hours.
        let ahead = visit.hours - 24.0 * f64::from(visit.day);
        let sound = visit.hours >= highest && ahead - slowest <= 24.0;
        highest = highest.max(visit.hours);
        slowest = slowest.min(ahead);
        sound
    })
}

/// Engines have been visited less often than this; of longer records neighbours this far apart are compared.
const REACH: usize = 400;

/// The visits of the heaviest chain in which each can follow those before it; of equal ones the earlier.
///
/// Visit k took place at some hour t of its day, and running hours are no more than hours: t_k − t_j ≥ h_k − h_j. `earliest` is the earliest
/// t that the chain to a visit allows.
fn believed(visits: &[Visit]) -> Vec<bool> {
    let morning = |k: usize| 24.0 * f64::from(visits[k].day);
    let mut weight = vec![0_u64; visits.len()];
    let mut earliest = vec![0.0_f64; visits.len()];
    let mut before: Vec<Option<usize>> = vec![None; visits.len()];
    for k in 0..visits.len() {
        let reached = |j: usize| earliest[j] + visits[k].hours - visits[j].hours;
        let best = (k.saturating_sub(REACH)..k)
            .filter(|&j| visits[k].hours >= visits[j].hours && reached(j) <= morning(k) + 24.0)
            .max_by(|&a, &b| weight[a].cmp(&weight[b]).then(b.cmp(&a)));
        weight[k] = u64::from(visits[k].rows) + best.map_or(0, |j| weight[j]);
        earliest[k] = best.map_or(morning(k), |j| morning(k).max(reached(j)));
        before[k] = best;
    }
    let mut keep = vec![false; visits.len()];
    let mut at = (0..visits.len()).max_by(|&a, &b| weight[a].cmp(&weight[b]).then(b.cmp(&a)));
    while let Some(k) = at {
        keep[k] = true;
        at = before[k];
    }
    keep
}

fn impossible(rows: &Rows, table: &Table, kind: FaultKind, visit: Visit, other: Visit) -> Located {
    let read = |row: usize| rows.table.read_hours.get(row).copied().unwrap_or(rows.table.hours[row]);
    let (hours, before) = (read(visit.row), read(other.row));
    let days = (visit.day - other.day).abs();
    let there = format!("{before} h on {} ({})", date(other.day), table.row_in_words(other.row));
    let beside = if visit.rows > 1 { format!(", in {} rows", visit.rows) } else { String::new() };
    let side = if visit.day < other.day { "before" } else { "after" };
    let (found, expected) = if kind == FaultKind::FallingHours {
        (
            format!("{hours} h on {}{beside}, {side} {there}", date(visit.day)),
            "hours that do not fall while dates rise".to_owned(),
        )
    } else {
        let gain = (visit.hours - other.hours).abs();
        (
            format!("{hours} h on {}{beside}, {days} days {side} {there}: {gain:.0} h between them", date(visit.day)),
            format!("at most {:.0} h, 24 a day", can_gain(days)),
        )
    };
    let slip = slip(visit, other).map_or_else(String::new, |fits| format!("; is {fits} h meant?"));
    Located {
        row: visit.row,
        column: super::HOURS,
        kind,
        found,
        expected,
        help: Some(format!(
            "engine `{}`: correct the hours or the date{slip}; if the hour meter was changed or set back, write `meter` under `event` of the first reading on the new one",
            rows.engine_name(visit.row)
        )),
    }
}

/// The hours with their point elsewhere, if that makes a stretch in which the engine ran, and not round the clock.
fn slip(visit: Visit, other: Visit) -> Option<f64> {
    let days = f64::from((visit.day - other.day).abs());
    let moved = [0.1, 10.0, 0.01, 100.0, 0.001].map(|factor| visit.hours * factor);
    let gained = |hours: &f64| if visit.day < other.day { other.hours - hours } else { hours - other.hours };
    let fitting = moved.into_iter().find(|hours| gained(hours) > days && gained(hours) < 16.0 * days)?;
    Some((fitting * 1e6).round() / 1e6)
}

/// Fewer days than this tell nothing of which years a file is of.
const FEW_DAYS: usize = 5;

/// A gap that makes a date a leap: days, and times the longest gap between the other dates.
const LEAP: (i32, i32) = (5 * 365, 4);

/// Of the rows at most one in so many may lie beyond a leap.
const RARE: u64 = 20;

/// Days that cannot be: after today, or years from all others of the file.
pub(super) fn check_days(rows: &Rows, options: &Options, mistakes: &mut Kept<Located>) {
    if let Some(today) = options.today {
        let days = &rows.table.day;
        let later = || days.iter().enumerate().filter(move |(_, day)| **day > today);
        let (count, last) = (later().count(), days.iter().copied().max());
        // Where so many are later, and of several days, it is today that is wrong, not the records.
        let several = later().any(|(_, day)| Some(*day) != last);
        let wrong_today = several && count as u64 * RARE > days.len() as u64;
        for (row, &day) in later().take(if wrong_today { 1 } else { usize::MAX }) {
            let help = match last.filter(|_| wrong_today) {
                Some(last) => Some(format!(
                    "{count} of {} records are of later days: give a day from {} on, or leave the later records out to look back",
                    days.len(),
                    date(last)
                )),
                None => meant_day(day, today - 3650, today),
            };
            mistakes.add(FaultKind::FutureDate, super::DATE, || Located {
                row,
                column: super::DATE,
                kind: FaultKind::FutureDate,
                found: date(day),
                expected: format!("a day up to today, {}", date(today)),
                help,
            });
        }
    }
    let Some((first, last)) = bulk(&rows.table.day) else { return };
    for (row, &day) in rows.table.day.iter().enumerate().filter(|(_, day)| !(first..=last).contains(*day)) {
        let told = options.today.is_some_and(|today| day > today);
        if told || rows.confirmed.get(row).copied().unwrap_or(false) {
            continue;
        }
        mistakes.add(FaultKind::LeapingDate, super::DATE, || Located {
            row,
            column: super::DATE,
            kind: FaultKind::LeapingDate,
            found: date(day),
            expected: format!("a day among the others of the file, {} to {}", date(first), date(last)),
            help: Some(match meant_day(day, first, last) {
                Some(meant) => format!("{meant}; if the date is right, write `yes` under `confirmed`"),
                None => "correct the date; if it is right, write `yes` under `confirmed`".to_owned(),
            }),
        });
    }
}

/// First and last day of the file without those that leap out of it; None where none does.
fn bulk(days: &[i32]) -> Option<(i32, i32)> {
    let (low, high) = (days.iter().copied().min()?, days.iter().copied().max()?);
    if high - low <= LEAP.0 {
        return None;
    }
    let mut counts = vec![0_u64; usize::try_from(high - low).ok()? + 1];
    for day in days {
        counts[(day - low) as usize] += 1;
    }
    let there: Vec<(i32, u64)> =
        counts.iter().enumerate().filter(|(_, count)| **count > 0).map(|(k, count)| (low + k as i32, *count)).collect();
    let total = days.len() as u64;
    let (mut from, mut to) = (0, there.len() - 1);
    // The longest gap that is no leap itself: a date that leaps forward does not hide one that leaps back.
    let ordinary = |inner: &[(i32, u64)]| {
        inner.windows(2).map(|pair| pair[1].0 - pair[0].0).filter(|gap| *gap <= LEAP.0).max().unwrap_or(0)
    };
    let leaps = |cut: usize, inner: &[(i32, u64)], beyond: &[(i32, u64)]| {
        let gap = there[cut].0 - there[cut - 1].0;
        gap > LEAP.0
            && inner.len() >= FEW_DAYS
            && beyond.iter().map(|(_, count)| count).sum::<u64>() * RARE <= total
            && gap > LEAP.1 * ordinary(inner)
    };
    if let Some(cut) = (1..there.len()).find(|&cut| leaps(cut, &there[..cut], &there[cut..])) {
        to = cut - 1;
    }
    if let Some(cut) = (1..=to).rev().find(|&cut| leaps(cut, &there[cut..=to], &there[..cut])) {
        from = cut;
    }
    ((from, to) != (0, there.len() - 1)).then(|| (there[from].0, there[to].0))
}

/// "is … meant?": the date with two digits of its year swapped or one of them changed, if that lies between two days.
fn meant_day(day: i32, first: i32, last: i32) -> Option<String> {
    let written = crate::cell::date_of_day(day)?;
    let digits: Vec<u8> = format!("{:04}", written.year()).into_bytes();
    let with_year = |digits: &[u8]| {
        let year: i16 = std::str::from_utf8(digits).ok()?.parse().ok()?;
        let date = jiff::civil::Date::new(year, written.month(), written.day()).ok()?;
        (first..=last).contains(&crate::cell::days_since_1970(date)).then_some(date)
    };
    let swapped = (0..3).map(|k| {
        let mut digits = digits.clone();
        digits.swap(k, k + 1);
        digits
    });
    let changed = (0..4).rev().flat_map(|k| {
        let digits = digits.clone();
        (b'0'..=b'9').rev().map(move |digit| {
            let mut digits = digits.clone();
            digits[k] = digit;
            digits
        })
    });
    let meant = swapped.chain(changed).find_map(|digits| with_year(&digits))?;
    Some(format!("is {meant} meant?"))
}
