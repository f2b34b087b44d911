//! The table as it is handed over: its columns fit together, or it is refused.

use crate::error::TrendError;
use crate::inspections::Inspections;

/// Checks lengths, indices and names of the table.
pub(crate) fn validate(table: &Inspections) -> Result<(), TrendError> {
    let rows = table.value.len();
    if rows == 0 {
        return Err(TrendError::Empty);
    }
    let lengths = [
        ("valve", table.valve.len()),
        ("day", table.day.len()),
        ("hours", table.hours.len()),
        ("feature", table.feature.len()),
        ("event", table.event.len()),
        ("group", table.group.len()),
    ];
    for (column, found) in lengths {
        if found != rows {
            return Err(TrendError::Ragged { column, found, expected: rows });
        }
    }
    if !table.confirmed.is_empty() && table.confirmed.len() != rows {
        return Err(TrendError::Ragged { column: "confirmed", found: table.confirmed.len(), expected: rows });
    }
    if !table.line.is_empty() && table.line.len() != rows {
        return Err(TrendError::Ragged { column: "line", found: table.line.len(), expected: rows });
    }
    let index = |column: &'static str, entries: &[u32], names: usize| {
        // The largest first, which vector instructions find; where it is only if it is one too many.
        if entries.iter().copied().max().is_none_or(|largest| (largest as usize) < names) {
            return Ok(());
        }
        let row = entries.iter().position(|&i| i as usize >= names).unwrap_or_default();
        Err(TrendError::Index { row, column, index: entries[row], names })
    };
    index("valve", &table.valve, table.valves.len())?;
    index("feature", &table.feature, table.features.len())?;
    index("event", &table.event, table.events.len() + 1)?;
    index("group", &table.group, table.groups.len() + 1)?;
    for (row, (engine, _)) in table.valves.iter().enumerate() {
        if *engine as usize >= table.engines.len() {
            return Err(TrendError::Index { row, column: "engine", index: *engine, names: table.engines.len() });
        }
    }
    Ok(())
}

/// The line of a row for messages: the file's, or the 1-based row.
pub(crate) fn line_of(table: &Inspections, row: u32) -> u32 {
    table.line.get(row as usize).copied().unwrap_or(row + 1)
}
