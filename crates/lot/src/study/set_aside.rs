//! Readings set aside for a stated reason: both answers are worked out, and the worse one is the verdict.

use super::options::LotOptions;
use super::result::LotStudy;
use crate::LotError;
use crate::readings::Readings;
use packdrift_verdict::Verdict;

/// A reading to be set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// Line of the file.
    pub line: u32,
    /// Why: a chip under the anvil, a slip of the pen.
    pub reason: String,
}

/// A reading that was set aside, and both answers for its lot.
#[derive(Debug, Clone, PartialEq)]
pub struct SetAsideAnswer {
    /// Its lot.
    pub lot: String,
    /// Line of the file.
    pub line: u32,
    /// The reading, mm.
    pub reading: f64,
    /// Why.
    pub reason: String,
    /// The lot's verdict with it; None without limits.
    pub with: Option<Verdict>,
    /// And without it.
    pub without: Option<Verdict>,
}

/// A study of the whole table, and beside it one without the readings set aside. One of a lot may be set aside: two wild readings are a fact about the
/// lot, or about who reads.
///
/// # Errors
/// As [`super::study`]; a line that holds no reading, a reason left empty, two readings of one lot.
///
/// # Examples
/// ```
/// use packdrift_lot::{LotOptions, Readings, SetAside, study_setting_aside};
/// let readings = Readings {
///     lots: vec!["A".into()],
///     parts: (1..=6).map(|p| p.to_string()).collect(),
///     lot: vec![0; 6],
///     part: (0..6).collect(),
///     reading: vec![0.400, 0.402, 0.399, 0.401, 0.463, 0.400],
///     line: (2..8).collect(),
///     ..Readings::default()
/// };
/// let wild = SetAside { line: 6, reason: "burr under the anvil".into() };
/// let result = study_setting_aside(&readings, &LotOptions::default(), &[wild])?;
/// let (with, without) = (result.lots[0].sd.unwrap(), result.without.as_ref().unwrap().lots[0].sd.unwrap());
/// assert!(with > 0.02 && without < 0.002);
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn study_setting_aside(
    readings: &Readings,
    options: &LotOptions,
    set_aside: &[SetAside],
) -> Result<LotStudy, LotError> {
    let mut whole = super::study(readings, options)?;
    if set_aside.is_empty() {
        return Ok(whole);
    }
    let mut rows: Vec<usize> = Vec::with_capacity(set_aside.len());
    for one in set_aside {
        let Some(row) = readings.line.iter().position(|l| *l == one.line) else {
            return Err(LotError::Inconsistent(format!("line {} to be set aside holds no reading", one.line)));
        };
        if one.reason.trim().is_empty() {
            return Err(LotError::Inconsistent(format!("line {} is to be set aside without a reason", one.line)));
        }
        if let Some(other) = rows.iter().find(|r| readings.lot[**r] == readings.lot[row]) {
            return Err(LotError::Inconsistent(format!(
                "lines {} and {} are of one lot, of which one reading may be set aside: two are a fact about the lot",
                readings.line[*other], one.line
            )));
        }
        rows.push(row);
    }
    let without = super::study(&readings.without(&rows), options)?;
    whole.set_aside = set_aside
        .iter()
        .zip(&rows)
        .map(|(one, &row)| {
            let name = &readings.lots[readings.lot[row] as usize];
            let verdict =
                |study: &LotStudy| study.lots.iter().find(|l| l.name == *name).and_then(|l| l.verdict.clone());
            SetAsideAnswer {
                lot: name.clone(),
                line: one.line,
                reading: readings.reading[row],
                reason: one.reason.trim().to_owned(),
                with: verdict(&whole),
                without: verdict(&without),
            }
        })
        .collect();
    whole.without = Some(Box::new(without));
    Ok(whole)
}
