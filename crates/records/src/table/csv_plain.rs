//! CSV whose rows are plain, in pieces, in parallel.
//!
//! Most tables hold no quotes, and then a line is a row and a separator ends a field. Such rows are split and put into columns here, by
//! the same rule for each cell as [the strict way](super::csv), a piece of the text on each thread. What is asked of the rows:
//!
//! - no quote anywhere, no carriage return but at a line's end, no blank line but at the end of the file (so row k is line k);
//! - as many fields on every line as in the header;
//! - every cell what its column holds.
//!
//! Where any of this fails the answer is `None`, and the strict reader says what a row means or what is wrong with it. A property test
//! holds the two readers to the same table.

use super::Schema;
use super::rows::{Cell, Filling};
use crate::error::Error;
use crate::options::Options;
use rayon::prelude::{IntoParallelRefIterator, ParallelIterator};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Bytes in a piece: small enough that the threads end together, large enough that joining the pieces' names costs little.
const PIECE: usize = 1 << 20;

/// What the header says of the rows.
pub(super) struct Layout<'a, 's> {
    pub(super) fields: usize,
    pub(super) separator: u8,
    pub(super) schema: &'a Schema<'s>,
    pub(super) places: &'a [Option<usize>],
}

/// The rows, or `None` where they are not plain or not sound.
pub(super) fn read<'s>(body: &str, layout: &Layout<'_, 's>, options: &Options) -> Result<Option<Filling<'s>>, Error> {
    let columns = Columns::of(layout);
    let pieces = pieces(body.trim_ascii_end());
    let done = AtomicUsize::new(0);
    let read: Vec<Result<Option<Filling<'s>>, Error>> = pieces
        .par_iter()
        .map(|piece| {
            options.check()?;
            let filled = filled(piece, layout, &columns);
            options.watch.tell(1 + done.fetch_add(1, Ordering::Relaxed), pieces.len());
            Ok(filled)
        })
        .collect();
    let mut parts = Vec::with_capacity(read.len());
    for part in read {
        let Some(part) = part? else { return Ok(None) };
        parts.push(part);
    }
    let rows: usize = parts.iter().map(Filling::rows).sum();
    let mut parts = parts.into_iter();
    let Some(mut whole) = parts.next() else { return Ok(None) };
    whole.reserve(rows - whole.rows());
    parts.for_each(|part| whole.append(part));
    Ok(Some(whole))
}

/// Whole lines, about [`PIECE`] bytes each.
fn pieces(mut body: &str) -> Vec<&str> {
    let mut pieces = Vec::new();
    while body.len() > PIECE {
        let Some(newline) = memchr::memchr(b'\n', &body.as_bytes()[PIECE..]) else { break };
        let (piece, rest) = body.split_at(PIECE + newline + 1);
        pieces.push(piece);
        body = rest;
    }
    if !body.is_empty() {
        pieces.push(body);
    }
    pieces
}

/// For each field of a line its column of the schema.
struct Columns(Vec<Option<usize>>);

impl Columns {
    fn of(layout: &Layout<'_, '_>) -> Self {
        let mut columns = vec![None; layout.fields];
        for (column, place) in layout.places.iter().enumerate() {
            if let Some(place) = place {
                columns[*place] = Some(column);
            }
        }
        Self(columns)
    }
}

fn filled<'s>(piece: &str, layout: &Layout<'_, 's>, Columns(columns): &Columns) -> Option<Filling<'s>> {
    let bytes = piece.as_bytes();
    if memchr::memchr(b'"', bytes).is_some() {
        return None;
    }
    if memchr::memchr_iter(b'\r', bytes).any(|at| bytes.get(at + 1).is_some_and(|&next| next != b'\n')) {
        return None;
    }
    let mut filling = Filling::new(&layout.schema.columns);
    filling.reserve(1 + memchr::memchr_iter(b'\n', bytes).count());
    let last = (!piece.ends_with('\n')).then_some(bytes.len());
    let (mut field, mut start, mut line) = (0, 0, 0);
    for end in memchr::memchr2_iter(layout.separator, b'\n', bytes).chain(last) {
        // A piece ends like a line: with its newline, or without one where the file ends.
        let ends_line = bytes.get(end).is_none_or(|&sign| sign == b'\n');
        if let Some(column) = columns.get(field)? {
            // A carriage return goes with the blanks about a cell.
            filling.push(*column, Cell::Text(&piece[start..end])).ok()?;
        }
        start = end + 1;
        field += 1;
        if ends_line {
            if field != columns.len() || matches!(&bytes[line..end], b"" | b"\r") {
                return None;
            }
            filling.end_row();
            (field, line) = (0, start);
        }
    }
    Some(filling)
}
