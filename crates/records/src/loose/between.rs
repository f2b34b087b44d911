//! What rows tell of one another: rows of totals, events in merged cells, columns that alone tell rows apart.

use super::apart::Telling;
use super::grid::{Raw, Row};
use super::read::{Run, is_repeated, shortened};
use super::totals;
use crate::cell::Trouble;
use crate::error::{Fault, FaultKind};
use crate::table::{Column, Kind, Need, Schema};

/// The columns of a schema that tell what a row is of: those that every row must have, and the labels of a drawer's or a demand's rows.
pub(crate) fn is_label(schema: &Schema<'_>, column: &Column<'_>) -> bool {
    let other = matches!((schema.name, column.name), ("drawer", "piece" | "size") | ("demand", "name"));
    column.kind == Kind::Name && (column.need == Need::Every || other)
}

impl Run<'_> {
    /// Refuses a row of totals, which blanks filled from above would make a reading.
    pub(super) fn is_totals(&mut self, row: &Row<'_, '_>) -> bool {
        let places = &self.plan.layout.places;
        let all = self.schema.columns.iter().zip(places).enumerate();
        let all = all.filter_map(|(index, (column, place))| Some((index, column, (*place)?)));
        let keys: Vec<(usize, usize)> =
            all.clone().filter(|(_, column, _)| is_repeated(column)).map(|(index, _, field)| (field, index)).collect();
        // Rows of inspections have dates, which totals lack.
        let has_dates = self.schema.columns.iter().any(|column| column.kind == Kind::Day);
        let labels: Vec<usize> =
            all.filter(|(_, column, _)| !has_dates && is_label(self.schema, column)).map(|(.., field)| field).collect();
        let (line, source) = (row.line, self.source);
        let shown = |field: usize| row.cells.get(field).map_or_else(String::new, Raw::shown);
        if let Some((field, index)) = totals::found(row.cells, &keys) {
            self.met_totals = true;
            let (name, places) = (self.schema.columns[index].name, &mut self.places);
            self.mistakes.add(FaultKind::EmptyCell, index, || {
                let found = format!("{} beside an empty cell under {name}: a row of totals", shortened(&shown(field)));
                let place = places.of(line, field);
                let fault = Fault::new(FaultKind::EmptyCell, source.path().clone(), place, found, "rows of readings");
                fault.with_key(name).with_help("what is summed up is no reading: take the row out")
            });
            return true;
        }
        let met = self.met_totals;
        // Of a sample nothing but its readings is read; what a row of it is called stands first.
        let first = row.cells.iter().position(|cell| !cell.is_blank()).filter(|_| self.schema.others);
        let labels = labels.into_iter().chain(first);
        let Some(field) = labels.into_iter().find(|field| totals::is_label(&shown(*field), met)) else { return false };
        self.met_totals = true;
        let (heading, places) = (self.plan.headings[field].as_str(), &mut self.places);
        self.mistakes.add(FaultKind::Contradiction, field, || {
            let found = format!("{} under `{heading}`: a row of totals", shortened(&shown(field)));
            let place = places.of(line, field);
            let fault =
                Fault::new(FaultKind::Contradiction, source.path().clone(), place, found, "rows of single things");
            fault.with_key(heading).with_help(
                "what is summed up counts twice: take the row out; where a thing is called so, write more of its name",
            )
        });
        true
    }

    /// An event that stands in the row from which this one has its names: where the cell of the event is merged too, it is this row's as well, and
    /// a table of text does not tell.
    pub(super) fn event_of_above(&mut self, row: &Row<'_, '_>, filled: &[Option<String>]) {
        let event = self.schema.columns.iter().position(|column| column.name == "event");
        let Some((index, field)) = event.and_then(|index| Some((index, self.plan.layout.places[index]?))) else {
            return;
        };
        if !self.plan.blanks_above || self.plan.grid.knows_merged_cells() {
            return;
        }
        let own = row.cells.get(field).filter(|cell| !cell.is_blank()).map(Raw::shown);
        if filled.iter().all(Option::is_none) {
            self.event_above = own.map(|event| (row.line, event));
        } else if own.is_none()
            && let Some((line, event)) = self.event_above.clone()
        {
            let expected =
                format!("what was done before this reading, since `{event}` in line {line} may stand in a merged cell");
            let help = format!("write `{event}` here too where it was done on this one as well, else `inspect`");
            self.refuse(row.line, field, index, Trouble::new(FaultKind::EmptyCell, expected).help(help), "");
        }
    }

    /// Refuses the table where a column that is not read tells rows apart.
    pub(super) fn telling(&mut self) {
        let apart = std::mem::take(&mut self.apart);
        for Telling { field, line, other, cell } in apart.telling() {
            let raw = self.plan.headings[field].clone();
            // What it may be part of the name of: the last label, then the first.
            let columns = self.schema.columns.iter().zip(&self.plan.layout.places);
            let labels = columns.filter(|(column, _)| matches!(column.name, "engine" | "valve" | "lot" | "part"));
            let labels: Vec<(&str, &str)> = labels
                .filter_map(|(column, place)| Some((column.name, self.plan.headings.get((*place)?)?.as_str())))
                .collect();
            let joins: Vec<String> =
                labels.iter().rev().map(|(name, heading)| format!("--columns {name}=\"{raw}+{heading}\"")).collect();
            let place = self.plan.grid.places(self.source).of(line, field);
            let found = format!(
                "\"{cell}\" in the column `{raw}`, which is not read, though it alone tells this row from line {other}"
            );
            let expected = "columns that are read to tell apart what is not the same";
            let fault = Fault::new(FaultKind::UnknownColumn, self.source.path().clone(), place, found, expected);
            let help = format!(
                "where it is part of a name: {}; where both rows are readings of one and the same: --columns ignore=\"{raw}\"",
                joins.join(" or ")
            );
            self.mistakes.add(FaultKind::UnknownColumn, usize::MAX - field, || fault.with_key(raw).with_help(help));
        }
    }
}
