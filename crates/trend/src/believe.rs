//! The second stage: what is believed of each reading. Nothing is deleted: a reading counts, or it is set aside and says why.
//!
//! A day on which all readings were off together is set aside where later readings returned; at the end of the record it stays, and the
//! answer without it is worked out beside ([`Believed::alternatives`]). A jump that stayed begins a new segment, and the answer without it
//! is worked out too. Single gross errors are the families' own: every one of them has such a component.

use crate::error::TrendError;
use crate::families::{Family, FitQuestion};
use crate::inspections::{Inspections, Unlikely};
use crate::options::Options;
use crate::robust::days::{self, Finding};
use crate::robust::jumps;
use crate::robust::last_look::LastLook;
use crate::segments::{Segments, cut, line_of};
use crate::verdict::Assumption;
use std::collections::BTreeSet;

/// Rounds of looking for days and jumps: each changes the fit under which the next are looked for.
const ROUNDS: usize = 8;

/// A jump that stayed, by the row that begins it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FoundJump {
    pub(crate) row: usize,
    pub(crate) valve: u32,
    pub(crate) size: f64,
    pub(crate) size_se: f64,
    pub(crate) readings_after: usize,
}

/// A day that lies off.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FoundDay {
    pub(crate) date: i32,
    pub(crate) finding: Finding,
    pub(crate) rows: Vec<u32>,
    pub(crate) engines: Vec<u32>,
    pub(crate) shift: f64,
    pub(crate) shift_se: f64,
}

/// The readings of one feature with what is believed of each.
#[derive(Debug, Clone)]
pub(crate) struct Believed {
    pub(crate) segments: Segments,
    /// By reading: 1, or 0 where it is set aside.
    pub(crate) weights: Vec<f64>,
    /// By reading: never taken for a gross error.
    pub(crate) confirmed: Vec<bool>,
    pub(crate) jumps: Vec<FoundJump>,
    pub(crate) days: Vec<FoundDay>,
    /// Rows at which segments begin though no event says so.
    cuts: BTreeSet<u32>,
    /// Rows set aside.
    aside: BTreeSet<u32>,
    /// Rows that are no gross errors: somebody confirmed them, or others moved with them.
    vouched: BTreeSet<u32>,
}

/// The same readings believed otherwise, and the valves that this is for.
pub(crate) struct Alternative {
    pub(crate) believed: Believed,
    /// Valve and what is taken for granted of it.
    pub(crate) concerned: Vec<(u32, Assumption)>,
}

impl Believed {
    /// Every reading at its word.
    pub(crate) fn all(table: &Inspections, feature: u32) -> Result<Self, TrendError> {
        let mut out = Self {
            segments: Segments::default(),
            weights: Vec::new(),
            confirmed: Vec::new(),
            jumps: Vec::new(),
            days: Vec::new(),
            cuts: BTreeSet::new(),
            aside: BTreeSet::new(),
            vouched: BTreeSet::new(),
        };
        let confirmed = (0..).zip(&table.confirmed).filter(|(_, confirmed)| **confirmed);
        out.vouched.extend(confirmed.map(|(row, _): (u32, _)| row));
        out.cut(table, feature)?;
        Ok(out)
    }

    /// Cuts the table again, with what is known by now.
    fn cut(&mut self, table: &Inspections, feature: u32) -> Result<(), TrendError> {
        self.segments = cut(table, feature, &|row| self.cuts.contains(&row))?;
        let segments = &self.segments;
        self.weights = segments.row.iter().map(|row| f64::from(u8::from(!self.aside.contains(row)))).collect();
        self.confirmed = segments.row.iter().map(|row| self.vouched.contains(row)).collect();
        // Every segment keeps a reading that counts.
        for s in 0..segments.len() {
            if segments.range(s).all(|i| self.weights[i] <= 0.0) {
                for i in segments.range(s) {
                    self.weights[i] = 1.0;
                }
            }
        }
        Ok(())
    }

    /// Whether the reading at a position is set aside.
    pub(crate) fn is_aside(&self, at: usize) -> bool {
        self.weights.get(at).is_some_and(|w| *w <= 0.0)
    }

    /// Looks for days and jumps under the law of a family's fits.
    pub(crate) fn search(
        &mut self,
        table: &Inspections,
        feature: u32,
        zone_and_errors: (Option<crate::crossing::Zone>, Option<f64>),
        options: &Options,
        family: &dyn Family,
    ) -> Result<(), TrendError> {
        for _ in 0..ROUNDS {
            let like = FitQuestion {
                segments: &self.segments,
                weights: &self.weights,
                confirmed: &self.confirmed,
                zone: zone_and_errors.0,
                known_sd: zone_and_errors.1,
                options,
                figures: false,
            };
            let Ok(fit) = family.fit(&like) else { break };
            let Some(law) = fit.law else { break };
            let day_of = |i: usize| table.day[self.segments.row[i] as usize];
            let known: Vec<i32> = self.days.iter().map(|d| d.date).collect();
            let day = days::worst(&self.segments, &law, &self.weights, &day_of, &known);
            // What is off with its whole day is no jump. What a family calls gross may be one: several readings after a slip are off too.
            let mut weights = self.weights.clone();
            for &i in day.iter().flat_map(|d| &d.readings) {
                weights[i] = 0.0;
            }
            let jumps = jumps::find(&self.segments, &law, &weights);
            if day.is_none() && jumps.is_empty() {
                break;
            }
            if let Some(day) = day {
                self.enter_day(day);
            }
            for jump in jumps {
                let row = self.segments.row[jump.at];
                self.cuts.insert(row);
                self.jumps.push(FoundJump {
                    row: row as usize,
                    valve: self.segments.valve[jump.segment],
                    size: jump.size,
                    size_se: jump.size_se,
                    readings_after: jump.readings_after,
                });
            }
            self.cut(table, feature)?;
        }
        Ok(())
    }

    fn enter_day(&mut self, day: days::Day) {
        let rows: Vec<u32> = day.readings.iter().map(|i| self.segments.row[*i]).collect();
        match day.finding {
            Finding::Returned => self.aside.extend(&rows),
            // Several valves that moved together are no slips of the pen.
            Finding::Open => self.vouched.extend(&rows),
        }
        let days::Day { date, finding, engines, shift, shift_se, .. } = day;
        self.days.push(FoundDay { date, finding, rows, engines, shift, shift_se });
    }

    /// Takes back jumps that another model explains.
    pub(crate) fn keep_jumps(
        &mut self,
        table: &Inspections,
        feature: u32,
        keep: impl Fn(&FoundJump) -> bool,
    ) -> Result<(), TrendError> {
        self.jumps.retain(keep);
        self.cuts = self.jumps.iter().map(|j| j.row as u32).collect();
        self.cut(table, feature)
    }

    /// The same readings without a jump.
    pub(crate) fn without_jumps(&self, table: &Inspections, feature: u32) -> Result<Self, TrendError> {
        let mut out = self.clone();
        out.keep_jumps(table, feature, |_| false)?;
        Ok(out)
    }

    /// The same readings with every day in full that was set aside; None where none was.
    pub(crate) fn with_returned_days(&self, table: &Inspections, feature: u32) -> Result<Option<Self>, TrendError> {
        let returned = self.days.iter().filter(|d| d.finding == Finding::Returned);
        let rows: BTreeSet<u32> = returned.flat_map(|d| d.rows.iter().copied()).collect();
        if rows.is_empty() {
            return Ok(None);
        }
        let mut out = self.clone();
        out.count_in_full(&rows);
        out.cut(table, feature)?;
        Ok(Some(out))
    }

    /// Readings that were set aside with their whole day count, and none of them is a gross error.
    fn count_in_full(&mut self, rows: &BTreeSet<u32>) {
        self.aside.retain(|row| !rows.contains(row));
        self.vouched.extend(rows);
    }

    /// Valves whose newest reading is one of these rows.
    fn newest_of<'a>(&'a self, rows: &'a BTreeSet<u32>) -> impl Iterator<Item = u32> + 'a {
        (0..self.segments.len())
            .filter(|s| self.segments.current[*s])
            .filter(|s| self.segments.range(*s).last().is_some_and(|i| rows.contains(&self.segments.row[i])))
            .map(|s| self.segments.valve[s])
    }

    /// The readings without those that the records name as likely slips, for valves that one of them may decide: at an end of its segment.
    /// They count as they stand, and nobody has confirmed them.
    fn without_slips(&self, table: &Inspections, feature: u32) -> Result<Option<Alternative>, TrendError> {
        let slips: BTreeSet<u32> = table
            .doubts
            .iter()
            .filter(|d| matches!(d.why, Unlikely::Times(_) | Unlikely::Sign))
            .map(|d| d.row)
            .filter(|row| table.feature[*row as usize] == feature && !self.aside.contains(row))
            .collect();
        let mut concerned = Vec::new();
        for s in (0..self.segments.len()).filter(|s| self.segments.current[*s]) {
            let range = self.segments.range(s);
            let ends = [(range.end - 1, true), (range.start, false)];
            let found = ends.into_iter().find(|(i, _)| slips.contains(&self.segments.row[*i]));
            if let Some((i, newest)) = found.filter(|_| range.len() > 1) {
                let row = self.segments.row[i];
                let (line, day, value) = (line_of(table, row), table.day[row as usize], self.segments.value[i]);
                concerned.push((self.segments.valve[s], Assumption::ReadingLeftOut { line, day, value, newest }));
            }
        }
        if concerned.is_empty() {
            return Ok(None);
        }
        let mut believed = self.clone();
        believed.aside.extend(&slips);
        believed.cut(table, feature)?;
        Ok(Some(Alternative { believed, concerned }))
    }

    /// The readings without last looks that stand off, for the valves that were read then.
    pub(crate) fn without_looks(
        &self,
        table: &Inspections,
        feature: u32,
        looks: &[LastLook],
    ) -> Result<Alternative, TrendError> {
        let segments = &self.segments;
        let mut concerned = Vec::new();
        for look in looks {
            for &s in &look.segments {
                let assuming = match look.readings[..] {
                    _ if look.from < look.date => Assumption::LooksLeftOut { from: look.from, to: look.date },
                    [only] => {
                        let (row, day, value) = (segments.row[only], look.date, segments.value[only]);
                        Assumption::ReadingLeftOut { line: line_of(table, row), day, value, newest: true }
                    }
                    _ => Assumption::DayLeftOut { day: look.date },
                };
                concerned.push((segments.valve[s], assuming));
            }
        }
        let mut believed = self.clone();
        believed.aside.extend(looks.iter().flat_map(|l| &l.readings).map(|i| segments.row[*i]));
        believed.cut(table, feature)?;
        Ok(Alternative { believed, concerned })
    }

    /// What else could be believed, with the valves that it is for: one for all jumps, one for every day that concerns newest readings.
    pub(crate) fn alternatives(&self, table: &Inspections, feature: u32) -> Result<Vec<Alternative>, TrendError> {
        let mut out = Vec::new();
        if !self.jumps.is_empty() {
            let concerned =
                self.jumps.iter().map(|j| (j.valve, Assumption::NoJump { day: table.day[j.row] })).collect();
            out.push(Alternative { believed: self.without_jumps(table, feature)?, concerned });
        }
        out.extend(self.without_slips(table, feature)?);
        for day in &self.days {
            let rows: BTreeSet<u32> = day.rows.iter().copied().collect();
            let mut believed = self.clone();
            let assume = match day.finding {
                Finding::Open => {
                    believed.aside.extend(&rows);
                    |day| Assumption::DayLeftOut { day }
                }
                Finding::Returned => {
                    believed.count_in_full(&rows);
                    |day| Assumption::DayCounts { day }
                }
            };
            let concerned: Vec<(u32, Assumption)> =
                self.newest_of(&rows).map(|valve| (valve, assume(day.date))).collect();
            if concerned.is_empty() {
                continue;
            }
            believed.cut(table, feature)?;
            out.push(Alternative { believed, concerned });
        }
        Ok(out)
    }
}
