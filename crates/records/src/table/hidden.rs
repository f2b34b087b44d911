//! Rows and columns of a sheet that whoever looks at it does not see. A filter hides rows that are readings all the same, and a person who hides a
//! row may mean it to be gone: so they are read and said, or left out where the user says so.

use super::grid::Grid;
use crate::error::column_letters;
use crate::source::Source;
use quick_xml::Reader;
use quick_xml::XmlVersion::Implicit1_0;
use quick_xml::events::{BytesStart, Event};
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Cursor, Read};
use std::ops::RangeInclusive;
use std::sync::Arc;

type Archive = zip::ZipArchive<Cursor<Arc<[u8]>>>;

/// What of a sheet is hidden.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Hidden {
    /// From 0.
    rows: BTreeSet<u32>,
    /// From 0.
    columns: Vec<RangeInclusive<u32>>,
    /// Whether a filter is set, which hides the rows that do not pass it.
    is_filtered: bool,
}

impl Hidden {
    /// Of a sheet; nothing where its part cannot be told or read, which the sheet's own reader says.
    pub(super) fn of(source: &Source, sheet: &str) -> Self {
        let read = || {
            let mut archive = zip::ZipArchive::new(Cursor::new(source.bytes().clone())).ok()?;
            let part = part_of(&mut archive, sheet)?;
            // Most sheets hide nothing: the word is looked for before the sheet is gone through.
            if !holds(archive.by_name(&part).ok()?, b"hidden") {
                return None;
            }
            Some(Self::in_part(BufReader::new(archive.by_name(&part).ok()?)))
        };
        read().unwrap_or_default()
    }

    fn in_part(part: impl BufRead) -> Self {
        let mut hidden = Self::default();
        let mut next_row = 0;
        each_element(part, |element| {
            let number = |name: &str| attribute(element, name)?.parse::<u32>().ok()?.checked_sub(1);
            let is_hidden = attribute(element, "hidden").is_some_and(|value| matches!(value.as_str(), "1" | "true"));
            match element.local_name().as_ref() {
                "row" => {
                    let row = number("r").unwrap_or(next_row);
                    next_row = row.saturating_add(1);
                    if is_hidden {
                        hidden.rows.insert(row);
                    }
                }
                "col" if is_hidden => {
                    if let (Some(first), Some(last)) = (number("min"), number("max")) {
                        hidden.columns.push(first..=last);
                    }
                }
                "filterColumn" => hidden.is_filtered = true,
                _ => {}
            }
        });
        hidden
    }

    pub(super) fn has_row(&self, row: u32) -> bool {
        self.rows.contains(&row)
    }

    pub(super) fn has_column(&self, column: u32) -> bool {
        self.columns.iter().any(|columns| columns.contains(&column))
    }

    /// What a reader is to know: how many rows and which, which columns; None where nothing that holds anything is hidden.
    pub(super) fn said(&self, sheet: &str, grid: &Grid, left_out: bool) -> Option<String> {
        const SHOWN: usize = 10;
        let listed = |all: &[String], noun: &str| {
            let shown = all[..all.len().min(SHOWN)].join(", ");
            let more = if all.len() > SHOWN { format!(" and {} more", all.len() - SHOWN) } else { String::new() };
            format!("{} {noun}{} ({shown}{more})", all.len(), if all.len() == 1 { "" } else { "s" })
        };
        let rows: Vec<String> = grid
            .rows()
            .filter(|row| !row.is_blank() && self.has_row(row.number))
            .map(|row| (row.number + 1).to_string())
            .collect();
        let columns: BTreeSet<u32> =
            grid.rows().flat_map(|row| row.columns()).filter(|column| self.has_column(*column)).collect();
        let columns: Vec<String> = columns.into_iter().map(|column| column_letters(column as usize + 1)).collect();
        let mut said = Vec::new();
        if !rows.is_empty() {
            said.push(listed(&rows, "row"));
        }
        if !columns.is_empty() {
            said.push(listed(&columns, "column"));
        }
        let filter = if self.is_filtered && !rows.is_empty() { "; a filter is set" } else { "" };
        let then = if left_out {
            "left out, as --hidden says"
        } else {
            "read like the others: --hidden leave-out reads what is shown alone"
        };
        (!said.is_empty()).then(|| format!("hidden in sheet `{sheet}`{filter}: {}; {then}", said.join(" and ")))
    }
}

/// Whether a word stands in a part, looked for piece by piece.
fn holds(mut part: impl Read, word: &[u8]) -> bool {
    let mut piece = vec![0; 1 << 16];
    let mut seen: Vec<u8> = Vec::new();
    while let Ok(more @ 1..) = part.read(&mut piece) {
        seen.extend_from_slice(&piece[..more]);
        if memchr::memmem::find(&seen, word).is_some() {
            return true;
        }
        let cut = seen.len().saturating_sub(word.len());
        seen.drain(..cut);
    }
    false
}

/// Calls `see` for every element that begins; ends where the XML does, whole or not.
fn each_element(part: impl BufRead, mut see: impl FnMut(&BytesStart<'_>)) {
    let mut reader = Reader::from_reader(part);
    let mut buffer = Vec::new();
    loop {
        buffer.clear();
        match reader.read_event_into(&mut buffer) {
            Ok(Event::Start(element) | Event::Empty(element)) => see(&element),
            Ok(Event::Eof) | Err(_) => return,
            Ok(_) => {}
        }
    }
}

/// The value of an attribute, by its name without a prefix.
fn attribute(element: &BytesStart<'_>, name: &str) -> Option<String> {
    let found = element.attributes().flatten().find(|attribute| attribute.key.local_name().as_ref() == name)?;
    found.normalized_value(Implicit1_0).ok().map(std::borrow::Cow::into_owned)
}

/// The part of an archive that holds a sheet.
fn part_of(archive: &mut Archive, sheet: &str) -> Option<String> {
    let names: Vec<String> = archive.file_names().flatten().map(std::borrow::Cow::into_owned).collect();
    let named = |wanted: &str| names.iter().find(|name| name.eq_ignore_ascii_case(wanted)).cloned();
    let workbook =
        named("xl/workbook.xml").or_else(|| names.iter().find(|name| name.ends_with("/workbook.xml")).cloned())?;
    let (folder, file) = workbook.rsplit_once('/')?;
    let (folder, relations) = (folder.to_owned(), named(&format!("{folder}/_rels/{file}.rels"))?);
    let mut id = None;
    each_element(BufReader::new(archive.by_name(&workbook).ok()?), |element| {
        if element.local_name().as_ref() == "sheet" && attribute(element, "name").as_deref() == Some(sheet) {
            id = attribute(element, "id");
        }
    });
    let (id, mut target) = (id?, None);
    each_element(BufReader::new(archive.by_name(&relations).ok()?), |element| {
        if element.local_name().as_ref() == "Relationship" && attribute(element, "Id").as_ref() == Some(&id) {
            target = attribute(element, "Target");
        }
    });
    let target = target?;
    named(&target.strip_prefix('/').map_or_else(|| format!("{folder}/{target}"), str::to_owned))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hidden_rows_and_columns_are_found() {
        let part = br#"<x:worksheet><x:cols><x:col min="3" max="4" hidden="1"/><x:col min="5" max="5" hidden="0"/></x:cols><x:sheetData>
            <x:row r="1"/><x:row hidden="true"/><x:row r="7" hidden="1"><x:c r="A7"/></x:row><x:row/></x:sheetData>
            <x:autoFilter ref="A1:F9"><x:filterColumn colId="0"/></x:autoFilter></x:worksheet>"#;
        let hidden = Hidden::in_part(&part[..]);
        let expected = Hidden { rows: [1, 6].into(), columns: vec![2..=3], is_filtered: true };
        assert_eq!(hidden, expected);
        assert!(hidden.has_column(3) && !hidden.has_column(4) && hidden.has_row(6) && !hidden.has_row(7));
        // A word is found though it is cut by the end of a piece.
        assert!(holds(Cursor::new([vec![b'x'; (1 << 16) - 3], b"hidden".to_vec()].concat()), b"hidden"));
        assert!(!holds(Cursor::new(vec![b'x'; 1 << 17]), b"hidden"));
    }
}
