//! Parts that stand out from the other parts: of another size, or foreign to the study. Without a tolerance a gauge is held against all scatter seen, and such a
//! part makes any gauge small beside it.
//!
//! The mean of each part's readings by Grubbs' rule at [`LEVEL`], as readings that stand out are named ([`crate::outliers`]); again without the part that was
//! found, up to a third of the parts. Parts that hide each other are not found.

use crate::outliers::CriticalDeviates;
use crate::readings::Readings;
use std::collections::BTreeMap;

/// Chance that a study of parts of one kind has one named.
const LEVEL: f64 = 0.01;

/// Parts that stand out.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Foreign {
    /// Their rows in the table.
    pub(super) rows: Vec<usize>,
    /// Their names.
    parts: Vec<String>,
}

impl Foreign {
    /// Why nothing is shown, in words that end a sentence.
    pub(super) fn question(&self) -> String {
        let names = self.parts.join(", ");
        let asked = "of the kind that the gauge is to measure, and what is its tolerance (--tolerance)?";
        if self.parts.len() == 1 {
            format!("part {names} stands out from the other parts, and without it less is shown: is it {asked}")
        } else {
            format!("parts {names} stand out from the other parts, and without them less is shown: are they {asked}")
        }
    }
}

/// The parts that stand out; None where none does, or there are too few to tell.
pub(super) fn find(readings: &Readings) -> Option<Foreign> {
    let mut rows_of: BTreeMap<(u32, u32), Vec<usize>> = BTreeMap::new();
    for (row, part) in readings.part.iter().enumerate() {
        rows_of.entry((readings.lot[row], *part)).or_default().push(row);
    }
    let most = rows_of.len() / 3;
    let mut found = Foreign { rows: Vec::new(), parts: Vec::new() };
    let mut left: Vec<((u32, u32), Vec<usize>)> = rows_of.into_iter().collect();
    while found.parts.len() < most {
        let means: Vec<f64> = left
            .iter()
            .map(|(_, rows)| rows.iter().map(|row| readings.reading[*row]).sum::<f64>() / rows.len() as f64)
            .collect();
        let Ok(deviates) = CriticalDeviates::new(means.len(), LEVEL) else { break };
        let Some(index) = deviates.find(&means, 0.0).named.first().map(|outlier| outlier.index) else { break };
        let ((_, part), rows) = left.remove(index);
        found.parts.push(readings.parts.get(part as usize).cloned().unwrap_or_default());
        found.rows.extend(rows);
    }
    (!found.parts.is_empty()).then_some(found)
}
