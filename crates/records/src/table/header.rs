//! Matching a file's header against the columns a reader knows.

use super::{Need, Schema};
use crate::error::{Fault, FaultKind, Place};
use crate::limits::{COLUMNS, exceeded};
use crate::suggest;
use std::collections::HashSet;
use std::path::Path;
use std::sync::Arc;

/// For each column of the schema its place among the file's columns.
pub(crate) type Places = Vec<Option<usize>>;

/// Matches names (trimmed, exactly); what could not be matched comes back as faults beside what could. `place` gives the place in the file of the header's k-th cell.
pub(crate) fn matched(
    path: &Arc<Path>,
    schema: &Schema<'_>,
    header: &[String],
    place: impl Fn(usize) -> Place,
) -> (Places, Vec<Fault>) {
    if header.len() > COLUMNS {
        let found = format!("{} columns", header.len());
        let limit = format!("at most {COLUMNS}");
        return (vec![None; schema.columns.len()], exceeded(path, place(0), found, limit).faults);
    }
    let mut faults = Vec::new();
    let mut seen = HashSet::with_capacity(header.len());
    // A slip in a name is one mistake, not an unknown column and a missing one.
    let mut meant: Vec<&str> = Vec::new();
    let known: Vec<&str> = schema.columns.iter().map(|column| column.name).collect();
    let names: Vec<&str> = header.iter().map(|name| name.trim()).collect();
    for (index, name) in names.iter().enumerate() {
        let fault = |kind, found: String, expected: &str| {
            Fault::new(kind, path.clone(), place(index), found, expected).with_key(*name)
        };
        let again = !seen.insert(*name);
        if again && (!schema.others || known.contains(name)) {
            faults.push(fault(FaultKind::DuplicateColumn, format!("a second column `{name}`"), "each column once"));
        } else if !known.contains(name) && (!schema.others || crate::loose::is_unit_heading(name)) {
            let absent: Vec<&str> = known.iter().copied().filter(|known| !names.contains(known)).collect();
            let found = if name.is_empty() {
                "a column without a name".to_owned()
            } else {
                format!("the unknown column `{name}`")
            };
            let mut fault = fault(FaultKind::UnknownColumn, found, "a column this table has");
            fault.help = Some(match suggest::nearest(name, absent) {
                Some(near) => {
                    meant.push(near);
                    format!("did you mean `{near}`?")
                }
                None => format!("known: {}", suggest::listed(&known)),
            });
            faults.push(fault);
        }
    }
    let places: Places =
        schema.columns.iter().map(|column| names.iter().position(|name| *name == column.name)).collect();
    for (column, found) in schema.columns.iter().zip(&places) {
        if found.is_none() && column.need == Need::Every && !meant.contains(&column.name) {
            let fault = Fault::new(
                FaultKind::MissingColumn,
                path.clone(),
                place(0),
                format!("no column `{}`", column.name),
                column.meaning,
            );
            let mut fault = fault.with_key(column.name);
            fault.help = suggest::nearest(column.name, names.iter().copied().filter(|name| !known.contains(name)))
                .map(|near| format!("is it the column `{near}`?"))
                .or_else(|| Some(format!("the file has {}", suggest::listed(&names))));
            faults.push(fault);
        }
    }
    (places, faults)
}
