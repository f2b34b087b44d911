//! Readings not to be believed, before the models are compared: faulty days are left out, segments cut at jumps that stayed, single bad
//! readings named.

use crate::auto::richest;
use crate::error::TrendError;
use crate::family::Spec;
use crate::gamma::{self, GammaFit};
use crate::inspections::Inspections;
use crate::options::Options;
use crate::result::{FaultyDay, LeftOut, ModelKind, StepChange};
use crate::robust::detect::{Outlier, jumps, worst_day};
use crate::robust::student::{COARSE, fit_heavy};
use crate::run::left_out;
use crate::segments::{Segments, cut, line_of};

/// Rounds of looking for bad days and jumps: each changes the fit under which the next are looked for.
const CLEANING_ROUNDS: usize = 12;

/// Fleets beyond this many segments are not searched for bad readings unless asked to.
pub(crate) const CLEAN_UP_TO: usize = 5000;

/// What was found while cleaning.
#[derive(Default)]
pub(crate) struct Cleaned {
    pub(crate) steps: Vec<StepChange>,
    /// Rows of the table at which the steps begin.
    step_rows: Vec<usize>,
    pub(crate) days: Vec<FaultyDay>,
    pub(crate) outliers: Vec<Outlier>,
    /// By row of the table: left out. Empty for none.
    skip: Vec<bool>,
}

/// Leaves out the readings of faulty days, cuts segments at jumps that stayed, and names single bad readings.
pub(crate) fn clean(
    table: &Inspections,
    feature: u32,
    segments: &mut Segments,
    options: &Options,
    known_sd: Option<f64>,
    left: &mut Vec<LeftOut>,
) -> Result<Cleaned, TrendError> {
    let mut out = Cleaned::default();
    let (mut skip, mut cuts) = (Vec::new(), Vec::new());
    let name = |e: u32| table.engines[e as usize].clone();
    let valve_of = |segments: &Segments, s: usize| {
        let (engine, valve) = &table.valves[segments.valve[s] as usize];
        (name(*engine), valve.clone())
    };
    let spec = richest(segments, options, known_sd);
    for _ in 0..CLEANING_ROUNDS {
        // A fleet too poor for the richest member may carry a plainer one.
        let plain = Spec { heavy: true, ..Spec::plain(ModelKind::RandomSlope) };
        let Ok(member) = fit_heavy(segments, spec, options.estimator, known_sd, COARSE)
            .or_else(|_| fit_heavy(segments, plain, options.estimator, known_sd, COARSE))
        else {
            break;
        };
        let day_of = |i: usize| table.day[segments.row[i] as usize];
        if let Some(day) = worst_day(segments, &member, day_of) {
            skip.resize(table.value.len(), false);
            let rows: Vec<u32> = day.readings.iter().map(|i| segments.row[*i]).collect();
            for &row in &rows {
                skip[row as usize] = true;
            }
            out.days.push(FaultyDay {
                day: day.date,
                readings: rows.len(),
                engines: day.engines.iter().map(|e| name(*e)).collect(),
                shift: day.shift,
                shift_se: day.shift_se,
            });
            left.push(left_out(
                table,
                &format!("{}: read on a day on which all readings were off together", table.features[feature as usize]),
                &rows,
            ));
            *segments = cut(table, feature, &skip, &cuts)?;
            continue;
        }
        let (steps, outliers) = jumps(segments, &member);
        if steps.is_empty() {
            out.outliers = outliers;
            break;
        }
        cuts.resize(table.value.len(), false);
        for step in steps {
            let row = segments.row[step.at] as usize;
            cuts[row] = true;
            out.step_rows.push(row);
            let (engine, valve) = valve_of(segments, step.segment);
            out.steps.push(StepChange {
                engine,
                valve,
                line: line_of(table, row as u32),
                day: table.day[row],
                hours: table.hours[row],
                size: step.size,
                size_se: step.size_se,
                readings_after: step.readings_after,
            });
        }
        *segments = cut(table, feature, &skip, &cuts)?;
    }
    out.skip = skip;
    Ok(out)
}

/// A gamma process that may be the right model, and what the jumps must pay to be believed beside it.
pub(crate) struct Whole {
    pub(crate) fit: GammaFit,
    /// Whether the process without a jump is preferred to the model with all of them.
    pub(crate) preferred: bool,
}

impl Cleaned {
    /// Judges the jumps by a gamma process, whose increments are long on one side: those that it explains are taken back.
    ///
    /// The process is fitted to the segments without a jump. Jumps that it does not explain are cut again and it is refitted, which makes it
    /// the stricter, until all others are explained. None where jumps stand as they are: there are none, no gamma process fits, or it is not
    /// preferred.
    pub(crate) fn judge(
        &mut self,
        table: &Inspections,
        feature: u32,
        known_sd: Option<f64>,
        whole: impl FnOnce(&Segments) -> Option<Whole>,
    ) -> Result<Option<(Segments, GammaFit)>, TrendError> {
        if self.steps.is_empty() {
            return Ok(None);
        }
        let mut segments = cut(table, feature, &self.skip, &[])?;
        let Some(Whole { mut fit, preferred: true }) = whole(&segments) else { return Ok(None) };
        let mut stands = vec![false; self.steps.len()];
        let mut cuts = vec![false; table.value.len()];
        loop {
            let increments = segments.readings() - segments.len();
            let doubted: Vec<usize> = (0..stands.len())
                .filter(|k| !stands[*k])
                .filter(|k| !fit.explains(&segments, self.step_rows[*k], increments))
                .collect();
            if doubted.is_empty() {
                break;
            }
            for k in doubted {
                stands[k] = true;
                cuts[self.step_rows[k]] = true;
            }
            segments = cut(table, feature, &self.skip, &cuts)?;
            let Ok(stricter) = gamma::fit(&segments, known_sd, fit.params.df.is_some()) else { return Ok(None) };
            fit = stricter;
        }
        let mut keep = stands.iter();
        self.steps.retain(|_| keep.next().copied().unwrap_or(true));
        self.step_rows.retain(|row| cuts[*row]);
        // Readings stand where they stood, in other segments.
        for o in &mut self.outliers {
            o.segment = segments.offset.partition_point(|start| *start <= o.at).saturating_sub(1);
        }
        Ok(Some((segments, fit)))
    }
}
