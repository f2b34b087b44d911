//! CSV by polars: typed columns, in pieces, in parallel.
//!
//! polars reads fast but forgives what must not be forgiven: it fills short rows with nulls, reads `nan` as a number, and
//! names no lines. So it is given only what has been proved sound beforehand, and what it returns is checked:
//!
//! - no quote anywhere in the rows, no bare carriage return, no blank line but at the end;
//! - every line has exactly as many separators as the header (so no row is short or long, and row k is line k);
//! - the types are declared, never inferred: names and dates stay text, so `0012` stays `0012` and `01/02/2024` stays as it is;
//! - afterwards no number is null where one is needed, none is NaN or infinite, every date is ISO 8601, and no name has blanks
//!   at its ends.
//!
//! Where any of this fails the answer is `None`, and the strict reader says what a row means or what is wrong with it. A
//! property test holds the two readers to the same table.

use super::csv::is_text;
use super::names::Names;
use super::rows::Filling;
use super::{Column, Need, Schema, Values};
use crate::cell;
use crate::error::Error;
use crate::guard::guarded;
use crate::options::Options;
use polars::prelude::{CsvParseOptions, CsvReadOptions, DataFrame, DataType, Field, SerReader};
use rayon::prelude::{IntoParallelRefIterator, ParallelIterator};
use std::borrow::Cow;
use std::io::Cursor;
use std::sync::Arc;

/// Bytes in a piece: large enough that polars' own start-up does not count, small enough that a few in flight are little.
const PIECE: usize = 8 << 20;

/// What the header says of the rows.
pub(super) struct Layout<'a, 's> {
    pub(super) fields: usize,
    pub(super) separator: u8,
    pub(super) schema: &'a Schema<'s>,
    pub(super) places: &'a [Option<usize>],
}

/// The rows, or `None` where they are not plainly sound.
pub(super) fn read<'s>(body: &[u8], layout: &Layout<'_, 's>, options: &Options) -> Result<Option<Filling<'s>>, Error> {
    let body = body.trim_ascii_end();
    let pieces = pieces(body);
    let read: Vec<Result<Option<Vec<Values>>, Error>> = pieces
        .par_iter()
        .map(|piece| {
            options.check()?;
            if !is_plain(piece, layout) {
                return Ok(None);
            }
            let piece = without_returns(piece);
            Ok(guarded(|| columns(&piece, layout)).flatten())
        })
        .collect();
    let mut filling: Option<Filling<'s>> = None;
    for (piece, columns) in pieces.iter().zip(read) {
        let Some(columns) = columns? else { return Ok(None) };
        let rows = memchr::memchr_iter(b'\n', piece).count() + usize::from(!piece.ends_with(b"\n"));
        match &mut filling {
            None => filling = Some(Filling::of(&layout.schema.columns, columns, rows)),
            Some(filling) => filling.append(columns, rows),
        }
    }
    Ok(filling)
}

/// Whole lines, about [`PIECE`] bytes each.
fn pieces(mut body: &[u8]) -> Vec<&[u8]> {
    let mut pieces = Vec::new();
    while body.len() > PIECE {
        let Some(newline) = memchr::memchr(b'\n', &body[PIECE..]) else { break };
        let (piece, rest) = body.split_at(PIECE + newline + 1);
        pieces.push(piece);
        body = rest;
    }
    if !body.is_empty() {
        pieces.push(body);
    }
    pieces
}

/// Whether every line has the header's number of fields, and nothing needs a closer look.
fn is_plain(piece: &[u8], layout: &Layout<'_, '_>) -> bool {
    if memchr::memchr(b'"', piece).is_some() {
        return false;
    }
    if memchr::memchr_iter(b'\r', piece).any(|at| piece.get(at + 1).is_some_and(|&next| next != b'\n')) {
        return false;
    }
    let (mut separators, mut start) = (0, 0);
    for at in memchr::memchr2_iter(layout.separator, b'\n', piece) {
        if piece[at] == layout.separator {
            separators += 1;
        } else {
            if separators != layout.fields - 1 || at == start {
                return false;
            }
            (separators, start) = (0, at + 1);
        }
    }
    start == piece.len() || separators == layout.fields - 1
}

/// Line feeds alone: polars keeps a carriage return as part of the last field.
fn without_returns(piece: &[u8]) -> Cow<'_, [u8]> {
    match memchr::memchr(b'\r', piece) {
        None => Cow::Borrowed(piece),
        Some(_) => Cow::Owned(piece.iter().copied().filter(|&byte| byte != b'\r').collect()),
    }
}

fn columns(piece: &[u8], layout: &Layout<'_, '_>) -> Option<Vec<Values>> {
    let frame = frame(piece, layout)?;
    let mut columns = Vec::with_capacity(layout.places.len());
    for (column, place) in layout.schema.columns.iter().zip(layout.places) {
        columns.push(match place {
            None => Values::empty(*column),
            Some(place) => values(&frame, *place, *column)?,
        });
    }
    Some(columns)
}

fn field_name(index: usize) -> String {
    format!("{index}")
}

fn frame(piece: &[u8], layout: &Layout<'_, '_>) -> Option<DataFrame> {
    let mut types = vec![DataType::String; layout.fields];
    let mut wanted: Vec<usize> = Vec::new();
    for (column, place) in layout.schema.columns.iter().zip(layout.places) {
        let Some(place) = *place else { continue };
        wanted.push(place);
        if !is_text(column.kind) {
            types[place] = DataType::Float64;
        }
    }
    wanted.sort_unstable();
    wanted.dedup();
    let schema =
        types.into_iter().enumerate().map(|(index, kind)| Field::new(field_name(index).into(), kind)).collect();
    let parsing = CsvParseOptions::default().with_separator(layout.separator).with_quote_char(None);
    CsvReadOptions::default()
        .with_has_header(false)
        .with_schema(Some(Arc::new(schema)))
        .with_projection(Some(Arc::new(wanted)))
        .with_rechunk(true)
        .with_parse_options(parsing)
        .into_reader_with_file_handle(Cursor::new(piece))
        .finish()
        .ok()
}

fn values(frame: &DataFrame, place: usize, column: Column<'_>) -> Option<Values> {
    let cells = frame.column(&field_name(place)).ok()?.as_materialized_series();
    let needed = column.need == Need::Every;
    if needed && cells.null_count() > 0 {
        return None;
    }
    Some(match Values::empty(column) {
        Values::Names(_) => {
            let mut names = Names::default();
            for cell in cells.str().ok()?.iter() {
                match cell {
                    Some(name) => names.push(name),
                    None => names.push_empty(),
                }
            }
            if !names.are_trimmed() {
                return None;
            }
            Values::Names(names)
        }
        Values::Numbers(_) => {
            let numbers: Vec<f64> = cells.f64().ok()?.into_no_null_iter().collect();
            if !numbers.iter().all(|number| number.is_finite()) {
                return None;
            }
            Values::Numbers(numbers)
        }
        Values::SomeNumbers(_) => {
            let numbers: Vec<Option<f64>> = cells.f64().ok()?.iter().collect();
            if !numbers.iter().flatten().all(|number| number.is_finite()) {
                return None;
            }
            Values::SomeNumbers(numbers)
        }
        Values::Counts(_) => Values::Counts(parsed(cells.str().ok()?.iter(), |text| cell::count(text).ok())?),
        Values::Days(_) => {
            let days = parsed(cells.str().ok()?.iter(), |text| cell::iso_day(text.as_bytes()))?;
            Values::Days(days.into_iter().collect::<Option<_>>()?)
        }
        Values::SomeDays(_) => {
            Values::SomeDays(parsed(cells.str().ok()?.iter(), |text| cell::iso_day(text.as_bytes()))?)
        }
    })
}

/// Every cell that is there parsed; `None` where one cannot be.
fn parsed<'a, T>(
    cells: impl Iterator<Item = Option<&'a str>>,
    parse: impl Fn(&str) -> Option<T>,
) -> Option<Vec<Option<T>>> {
    cells.map(|cell| cell.map_or(Some(None), |text| parse(text).map(Some))).collect()
}
