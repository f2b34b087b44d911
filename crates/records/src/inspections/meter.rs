//! Hour meters that were changed or set back: hours go on.
//!
//! A row whose event is `meter` is the first on a new meter, of all its engine's valves. With o what the old meter showed when it was taken
//! out (column `old_meter`) and n what the new one showed when it was fitted (`new_meter`, 0 unless given), hours read on the old meter are
//!
//!   hours on the new meter = hours on the old one + (n − o).
//!
//! Where o is not known, the hours run between the last reading h₀ on the old meter and the first h₁ on the new one, Δ days later, are
//! estimated from the pace μ at which the engine runs: n − o is then h₁ − h₀ − g with
//!
//!   g = μΔ,   Var g = D·μ·Δ·(1 + Δ/Σ) (hours²),
//!
//! D the index of dispersion of the hours run in stretches of the meter, Σ the days that μ was seen over: the law by which `due` foretells
//! running hours (CoxMiller1965 ch. 5). g is at least what the new meter has counted since it began, and at most 24 hours a day.

use super::Rows;
use crate::error::{FaultKind, Notice};
use crate::kept::Kept;
use crate::limits::METERS;
use crate::table::{Located, Table};
use packdrift_trend::{Inspections, MeterChange};
use std::collections::BTreeMap;

/// An engine's own readings tell its pace once they span this many days.
const SPAN: f64 = 90.0;

/// Readings closer together than this are one visit, days.
const ONE_VISIT: i32 = 7;

/// A day is worked or not: the most that the hours of days can scatter, as an index of dispersion, h.
const MOST_DISPERSED: f64 = 24.0;

/// A change of an engine's meter, as its rows tell it.
struct Change {
    day: i32,
    rows: Vec<usize>,
    /// The lowest and highest hours of its rows, on the new meter.
    hours: (f64, f64),
    /// At the end of the old meter, and the row that says so.
    old: Option<(f64, usize)>,
    /// At the beginning of the new one.
    new: Option<f64>,
}

/// Puts the rows of engines whose meter was changed on the present meter's hours.
pub(super) fn go_on(rows: &mut Rows, table: &Table, mistakes: &mut Kept<Located>) -> Vec<Notice> {
    beside_no_change(rows, mistakes);
    if rows.changed.is_empty() {
        return Vec::new();
    }
    let changes = changes(rows, table, mistakes);
    let too_many = changes.values().filter(|changes| changes.len() > METERS);
    let too_many: Vec<&Change> = too_many.filter_map(|changes| changes.last()).collect();
    for change in &too_many {
        mistakes.add(FaultKind::TooLarge, super::EVENT, || Located {
            row: change.rows[0],
            column: super::EVENT,
            kind: FaultKind::TooLarge,
            found: format!("more than {METERS} new hour meters of engine `{}`", rows.engine_name(change.rows[0])),
            expected: format!("at most {METERS}"),
            help: Some("docs/files.md lists all limits".to_owned()),
        });
    }
    if !too_many.is_empty() {
        return Vec::new();
    }
    let mut of_engine: BTreeMap<u32, Vec<usize>> = changes.keys().map(|&engine| (engine, Vec::new())).collect();
    for (row, &valve) in rows.table.valve.iter().enumerate() {
        if let Some(own) = of_engine.get_mut(&rows.table.valves[valve as usize].0) {
            own.push(row);
        }
    }
    let mut paces = None;
    let mut notices = Notices::default();
    let mut hours = rows.table.hours.clone();
    for (engine, changes) in &changes {
        let own = &of_engine[engine];
        let epoch = epochs(rows, own, changes);
        let mut shifts = Vec::new();
        for (k, change) in changes.iter().enumerate() {
            let last = own.iter().zip(&epoch).filter(|(_, e)| **e == k).map(|(row, _)| *row);
            let Some(last) = last.max_by(|&a, &b| by_time(&rows.table, a, b)) else {
                // Nothing was read on the old meter: there is nothing to count back.
                shifts.push((0.0, 0.0));
                continue;
            };
            let shift = match change.old {
                Some((old, row)) => {
                    if old < rows.table.hours[last] {
                        mistakes
                            .add(FaultKind::FallingHours, super::OLD_METER, || ends_below(rows, table, old, row, last));
                    }
                    Some((change.new.unwrap_or(0.0) - old, 0.0))
                }
                None => {
                    let paces = paces.get_or_insert_with(|| Paces::of(&rows.table, &rows.changed));
                    estimated(rows, table, change, last, paces, *engine, &mut notices)
                }
            };
            let Some(shift) = shift else {
                mistakes.add(FaultKind::MissingKey, super::OLD_METER, || no_pace(rows, table, change, last));
                shifts.push((0.0, 0.0));
                continue;
            };
            shifts.push(shift);
            rows.table.meters.push(MeterChange { engine: *engine, day: change.day, shift: shift.0, shift_sd: shift.1 });
        }
        for (&row, &e) in own.iter().zip(&epoch) {
            hours[row] += shifts[e..].iter().map(|shift| shift.0).sum::<f64>();
        }
    }
    rows.table.read_hours = std::mem::replace(&mut rows.table.hours, hours);
    notices.into_notices(table)
}

fn by_time(table: &Inspections, a: usize, b: usize) -> std::cmp::Ordering {
    table.day[a].cmp(&table.day[b]).then(table.hours[a].total_cmp(&table.hours[b])).then(b.cmp(&a))
}

/// Cells that say what a meter showed, in rows that change none.
fn beside_no_change(rows: &Rows, mistakes: &mut Kept<Located>) {
    for (column, cells) in [(super::OLD_METER, &rows.old_meter), (super::NEW_METER, &rows.new_meter)] {
        for (row, cell) in cells.iter().enumerate() {
            let Some(hours) = *cell else { continue };
            if !rows.changed.get(row).copied().unwrap_or(false) {
                mistakes.add(FaultKind::Contradiction, column, || Located {
                    row,
                    column,
                    kind: FaultKind::Contradiction,
                    found: format!("{hours} h in a row whose event is not `meter`"),
                    expected: "an empty cell, or the event `meter`".to_owned(),
                    help: None,
                });
            } else if hours < 0.0 {
                mistakes.add(FaultKind::OutOfRange, column, || Located {
                    row,
                    column,
                    kind: FaultKind::OutOfRange,
                    found: hours.to_string(),
                    expected: "0 or more".to_owned(),
                    help: None,
                });
            }
        }
    }
}

/// Changes by engine, in order of days. Rows of one engine and day are one change.
fn changes(rows: &Rows, table: &Table, mistakes: &mut Kept<Located>) -> BTreeMap<u32, Vec<Change>> {
    let mut found: BTreeMap<u32, BTreeMap<i32, Change>> = BTreeMap::new();
    for (row, _) in rows.changed.iter().enumerate().filter(|(_, changed)| **changed) {
        let (engine, day, hours) = (rows.engine_of(row), rows.table.day[row], rows.table.hours[row]);
        let change = found.entry(engine).or_default().entry(day).or_insert_with(|| Change {
            day,
            rows: Vec::new(),
            hours: (hours, hours),
            old: None,
            new: None,
        });
        change.rows.push(row);
        change.hours = (change.hours.0.min(hours), change.hours.1.max(hours));
        let cell = |cells: &[Option<f64>]| cells.get(row).copied().flatten();
        let (old, new) = (cell(&rows.old_meter), cell(&rows.new_meter));
        let mut differs = |column: usize, first: f64, now: f64, first_row: usize| {
            mistakes.add(FaultKind::Contradiction, column, || Located {
                row,
                column,
                kind: FaultKind::Contradiction,
                found: format!("{now} h"),
                expected: format!("{first} h as in {}: it is one change of one meter", table.row_in_words(first_row)),
                help: None,
            });
        };
        match (change.old, old) {
            (Some((first, first_row)), Some(now)) if first.total_cmp(&now).is_ne() => {
                differs(super::OLD_METER, first, now, first_row);
            }
            (None, Some(now)) => change.old = Some((now, row)),
            _ => {}
        }
        match (change.new, new) {
            (Some(first), Some(now)) if first.total_cmp(&now).is_ne() => {
                differs(super::NEW_METER, first, now, change.rows[0]);
            }
            (None, Some(now)) => change.new = Some(now),
            _ => {}
        }
    }
    found.into_iter().map(|(engine, changes)| (engine, changes.into_values().collect())).collect()
}

/// For each row of an engine the meter it was read on, from 0.
///
/// On the day of a change a row that does not say `meter` was read on the new one where it shows its hours, else on the old one.
fn epochs(rows: &Rows, own: &[usize], changes: &[Change]) -> Vec<usize> {
    own.iter()
        .map(|&row| {
            let day = rows.table.day[row];
            let before = changes.iter().filter(|change| change.day < day).count();
            let today = changes.get(before).is_some_and(|change| {
                let hours = rows.table.hours[row];
                let shows = || change.rows.iter().any(|&other| rows.table.hours[other].total_cmp(&hours).is_eq());
                change.day == day && (rows.changed[row] || shows())
            });
            before + usize::from(today)
        })
        .collect()
}

fn ends_below(rows: &Rows, table: &Table, old: f64, row: usize, last: usize) -> Located {
    Located {
        row,
        column: super::OLD_METER,
        kind: FaultKind::FallingHours,
        found: format!("{old} h at the old meter's end"),
        expected: format!("at least the {} h read on it in {}", rows.table.hours[last], table.row_in_words(last)),
        help: None,
    }
}

fn no_pace(rows: &Rows, table: &Table, change: &Change, last: usize) -> Located {
    let row = change.rows[0];
    Located {
        row,
        column: super::OLD_METER,
        kind: FaultKind::MissingKey,
        found: format!(
            "a new meter on engine `{}`, nothing of the old one since {}, and no record that tells how much it runs",
            rows.engine_name(row),
            table.row_in_words(last)
        ),
        expected: "what the old meter showed when it was taken out, in a column `old_meter`".to_owned(),
        help: Some("where nobody knows, write the best guess there".to_owned()),
    }
}

/// The shift and its standard uncertainty by the engine's pace; None where no pace is known.
fn estimated(
    rows: &Rows,
    table: &Table,
    change: &Change,
    last: usize,
    paces: &Paces,
    engine: u32,
    notices: &mut Notices,
) -> Option<(f64, f64)> {
    let days = f64::from(change.day - rows.table.day[last]);
    let counted = change.hours.0 - change.new.unwrap_or(0.0);
    let most = 24.0 * (days + 1.0);
    // A meter that did not begin at 0 tells nothing of its own part.
    let least = if (0.0..=most).contains(&counted) { counted } else { 0.0 };
    if change.day == rows.table.day[last] {
        // Read on both meters that day: nothing lies between but what the new one has counted.
        return Some((change.hours.0 - rows.table.hours[last] - least, 0.0));
    }
    let pace = paces.of_engine(engine)?;
    let run = (pace.rate * days).clamp(least, most);
    let variance =
        pace.dispersion * pace.rate * days * (1.0 + days / pace.days.max(1.0)) + (pace.rate_sd * days).powi(2);
    let sd = variance.sqrt();
    notices.add(change.rows[0], || {
        format!(
            "engine `{}`, {}: new hour meter, the old one's last reading is not known; {:.0} ± {:.0} h were taken as run since {} ({}), by its \
             pace of {:.1} h a day",
            rows.engine_name(change.rows[0]),
            table.row_in_words(change.rows[0]),
            run,
            sd,
            super::date(rows.table.day[last]),
            table.row_in_words(last),
            pace.rate
        )
    });
    Some((change.hours.0 - rows.table.hours[last] - run, sd))
}

/// What is to be said of estimated stretches: the first in full, all counted.
#[derive(Default)]
struct Notices {
    first: Vec<String>,
    total: usize,
}

impl Notices {
    const SHOWN: usize = 5;

    fn add(&mut self, _row: usize, text: impl FnOnce() -> String) {
        self.total += 1;
        if self.first.len() < Self::SHOWN {
            self.first.push(text());
        }
    }

    fn into_notices(self, table: &Table) -> Vec<Notice> {
        let more = self.total - self.first.len();
        let last =
            (more > 0).then(|| format!("{more} more hour meters were changed with no last reading of the old one"));
        self.first
            .into_iter()
            .chain(last)
            .map(|text| {
                Notice::new(table.source.path(), format!("{text}. Write it under `old_meter` where it is known"))
            })
            .collect()
    }
}

/// How much an engine runs.
#[derive(Debug, Clone, Copy)]
struct Pace {
    /// h a day.
    rate: f64,
    /// Standard deviation of the rate beside its own record: that among engines, where it is the fleet's.
    rate_sd: f64,
    /// Days over which it was seen.
    days: f64,
    /// Variance of the hours of a stretch over their mean, h.
    dispersion: f64,
}

struct Paces {
    own: Vec<Option<(f64, f64)>>,
    fleet: Option<(f64, f64)>,
    dispersion: f64,
}

impl Paces {
    /// From the stretches between visits, on one meter each.
    fn of(table: &Inspections, changed: &[bool]) -> Self {
        let mut visits: Vec<BTreeMap<i32, (f64, bool)>> = vec![BTreeMap::new(); table.engines.len()];
        for (row, &changed) in changed.iter().enumerate() {
            let engine = table.valves[table.valve[row] as usize].0 as usize;
            let visit = visits[engine].entry(table.day[row]).or_insert((table.hours[row], changed));
            *visit = (visit.0.max(table.hours[row]), visit.1 || changed);
        }
        let stretches: Vec<Vec<(f64, f64)>> = visits.iter().map(stretches).collect();
        let sum = |stretches: &[(f64, f64)]| stretches.iter().fold((0.0, 0.0), |(d, h), s| (d + s.0, h + s.1));
        let own: Vec<Option<(f64, f64)>> = stretches
            .iter()
            .map(|own| Some(sum(own)).filter(|(days, hours)| *days >= SPAN && *hours > 0.0).map(|(d, h)| (h / d, d)))
            .collect();
        let rates: Vec<f64> = own.iter().flatten().map(|(rate, _)| *rate).collect();
        let count = rates.len() as f64;
        let mean = rates.iter().sum::<f64>() / count;
        let between = (rates.iter().map(|rate| (rate - mean).powi(2)).sum::<f64>() / (count - 1.0).max(1.0)).sqrt();
        // One other engine tells a pace and nothing of how engines differ: half of it is said to.
        let fleet = (!rates.is_empty()).then_some((mean, if rates.len() > 2 { between } else { 0.5 * mean }));
        let scatter: (f64, f64) = own
            .iter()
            .zip(&stretches)
            .filter_map(|(own, stretches)| Some(((*own)?.0, stretches)).filter(|(_, stretches)| stretches.len() > 1))
            .map(|(rate, own)| {
                (own.iter().map(|(d, h)| (h - rate * d).powi(2) / d).sum::<f64>() / rate, own.len() as f64 - 1.0)
            })
            .fold((0.0, 0.0), |(s, n), (square, df)| (s + square, n + df));
        let dispersion = if scatter.1 > 0.0 { scatter.0 / scatter.1 } else { MOST_DISPERSED };
        Self { own, fleet, dispersion }
    }

    fn of_engine(&self, engine: u32) -> Option<Pace> {
        let dispersion = self.dispersion;
        if let Some((rate, days)) = self.own[engine as usize] {
            return Some(Pace { rate, rate_sd: 0.0, days, dispersion });
        }
        self.fleet.map(|(rate, rate_sd)| Pace { rate, rate_sd, days: f64::INFINITY, dispersion })
    }
}

/// (days, hours) between visits a week apart or more; a stretch over a change of meter tells nothing, nor does one that cannot be.
fn stretches(visits: &BTreeMap<i32, (f64, bool)>) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    let mut from: Option<(i32, f64)> = None;
    for (&day, &(hours, changed)) in visits {
        if let (Some((day0, hours0)), false) = (from, changed) {
            let (days, gain) = (f64::from(day - day0), hours - hours0);
            let sound = gain >= 0.0 && gain <= 24.0 * (days + 1.0);
            if sound && day - day0 < ONE_VISIT {
                continue;
            }
            if sound {
                out.push((days, gain));
            }
        }
        from = Some((day, hours));
    }
    out
}
