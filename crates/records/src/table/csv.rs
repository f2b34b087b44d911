//! CSV (RFC 4180): the strict way, which says what a row means, and where each mistake is.
//!
//! Lines that begin with `#` before the header are comments. The separator is a comma, or a semicolon or tab where the header
//! has no comma. Blank lines between rows hold nothing and are passed over; lines are counted with them.
//!
//! Rows go [a faster way](super::csv_plain) first, which takes only what it can prove to be sound and then means the same;
//! anything else comes here.

use super::header::{self, Places};
use super::rows::{Cell, Filling, Lines, expected_of, field_start};
use super::{Schema, Table, csv_plain};
use crate::error::{Error, Fault, FaultKind, InputError, Machine, Notice, Place};
use crate::kept::Kept;
use crate::limits::{ROWS, exceeded};
use crate::options::Options;
use crate::source::Source;
use std::io;

/// Where the header is, and what it says.
struct Head {
    names: Vec<String>,
    line: usize,
    /// The header's bytes.
    record: String,
    separator: u8,
    /// Byte at which the rows begin, and the line.
    body: usize,
    body_line: usize,
}

/// Refuses a file that is no text, or has nothing below its header.
pub(super) fn refuse_zero_bytes(source: &Source) -> Result<(), InputError> {
    let text = source.text()?;
    match memchr::memchr(0, text.as_bytes()) {
        Some(at) => Err(InputError::of(vec![zero_byte(source, text, at)])),
        None => head(source, text).map(drop).map_err(|fault| InputError::of(vec![*fault])),
    }
}

pub(super) fn read(source: &Source, schema: &Schema<'_>, options: &Options) -> Result<Table, Error> {
    read_by(source, schema, options, true)
}

/// As [`read`]; `fast` says whether the fast way may be taken (tests compare the two).
pub(super) fn read_by(source: &Source, schema: &Schema<'_>, options: &Options, fast: bool) -> Result<Table, Error> {
    let refuse = |faults: Vec<Fault>| Error::Input(InputError::of(faults));
    let text = source.text()?;
    if let Some(at) = memchr::memchr(0, text.as_bytes()) {
        return Err(refuse(vec![zero_byte(source, text, at)]));
    }
    let head = head(source, text).map_err(|fault| refuse(vec![*fault]))?;
    // Rows are counted by 32 bits elsewhere.
    if memchr::memchr_iter(b'\n', text.as_bytes()).count() > ROWS {
        let limit = format!("at most {ROWS}");
        return Err(exceeded(source.path(), Place::File, format!("more than {ROWS} rows"), limit).into());
    }
    let place = |index: usize| {
        let (line, column) = field_start(head.record.as_bytes(), index, head.separator);
        Place::Text { line: head.line + line, column, span: None }
    };
    let (places, faults) = header::matched(source.path(), schema, &head.names, place);
    if !faults.is_empty() && places.iter().all(Option::is_none) {
        return Err(refuse(faults));
    }
    let mut notices = Vec::new();
    if head.separator != b',' {
        let sign = if head.separator == b';' { "semicolons" } else { "tabs" };
        notices.push(Notice::new(source.path(), format!("fields are separated by {sign}")));
    }
    let body = &text[head.body..];
    if fast && faults.is_empty() {
        let layout = csv_plain::Layout { fields: head.names.len(), separator: head.separator, schema, places: &places };
        if let Some(filled) = csv_plain::read(body, &layout, options)? {
            let lines = Lines::From { first: head.body_line as u32, separator: head.separator };
            return Ok(filled.into_table(source, places, lines, notices));
        }
    }
    strict(source, schema, options, &head, body, places, faults, notices)
}

fn zero_byte(source: &Source, text: &str, at: usize) -> Fault {
    let start = text[..at].rfind('\n').map_or(0, |newline| newline + 1);
    let line = 1 + memchr::memchr_iter(b'\n', &text.as_bytes()[..at]).count();
    let column = 1 + text[start..at].chars().count();
    let place = Place::Text { line, column, span: None };
    Fault::new(FaultKind::WrongEncoding, source.path().clone(), place, "a zero byte", "text in UTF-8")
        .with_help("the file looks like UTF-16 or a binary file: save it as UTF-8 text")
}

/// Passes over comments and blank lines to the header.
fn head(source: &Source, text: &str) -> Result<Head, Box<Fault>> {
    let (mut at, mut line) = (0, 1);
    for candidate in text.split_inclusive('\n') {
        if !(candidate.trim().is_empty() || candidate.starts_with('#')) {
            break;
        }
        at += candidate.len();
        line += 1;
    }
    let rest = &text[at..];
    let first = rest.lines().next().unwrap_or_default();
    let separator = [b',', b';', b'\t'].into_iter().find(|sign| first.as_bytes().contains(sign)).unwrap_or(b',');
    let mut reader = csv_reader(rest.as_bytes(), separator);
    let mut record = ::csv::StringRecord::new();
    let there = reader.read_record(&mut record).unwrap_or(false);
    let end = usize::try_from(reader.position().byte()).unwrap_or(rest.len()).min(rest.len());
    // The reader stops between the two halves of a line's end.
    let end = if rest[..end].ends_with('\r') && rest[end..].starts_with('\n') { end + 1 } else { end };
    let lines = memchr::memchr_iter(b'\n', &rest.as_bytes()[..end]).count();
    let rows_follow = !rest[end..].trim().is_empty();
    if !there || !rows_follow {
        let found = if there { "a header without rows" } else { "comments and nothing else" };
        let place = Place::Text { line, column: 1, span: None };
        return Err(Box::new(Fault::new(
            FaultKind::EmptyFile,
            source.path().clone(),
            place,
            found,
            "a header and rows",
        )));
    }
    Ok(Head {
        names: record.iter().map(|name| name.trim().to_owned()).collect(),
        line,
        record: rest[..end].to_owned(),
        separator,
        body: at + end,
        body_line: line + lines,
    })
}

pub(crate) fn csv_reader(bytes: &[u8], separator: u8) -> ::csv::Reader<&[u8]> {
    ::csv::ReaderBuilder::new().has_headers(false).flexible(true).delimiter(separator).from_reader(bytes)
}

#[allow(clippy::too_many_arguments, reason = "the state of the reading, handed over once")]
fn strict(
    source: &Source,
    schema: &Schema<'_>,
    options: &Options,
    head: &Head,
    body: &str,
    places: Places,
    header_faults: Vec<Fault>,
    notices: Vec<Notice>,
) -> Result<Table, Error> {
    let bytes = body.as_bytes();
    let mut reader = csv_reader(bytes, head.separator);
    let mut record = ::csv::ByteRecord::new();
    let mut filling = Filling::new(&schema.columns);
    let mut faults = Kept::default();
    header_faults.into_iter().for_each(|fault| faults.add(fault.kind, usize::MAX, || fault));
    let mut line_numbers = Vec::new();
    // Lines are counted here, from the bytes: the reader's own count begins before blank lines.
    let (mut counted_to, mut line) = (0, head.body_line);
    loop {
        let from = usize::try_from(reader.position().byte()).unwrap_or(bytes.len());
        match reader.read_byte_record(&mut record) {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) => {
                let error = io::Error::other(error);
                return Err(Machine::new("read", source.path(), error).into());
            }
        }
        let blanks = bytes[from..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
        let start = from + blanks;
        line += memchr::memchr_iter(b'\n', &bytes[counted_to..start]).count();
        counted_to = start;
        if filling.rows().is_multiple_of(4096) {
            options.check()?;
            options.watch.tell(start, bytes.len());
        }
        let place = |field: usize| {
            let (lines, column) = field_start(&bytes[start..], field, head.separator);
            Place::Text { line: line + lines, column, span: None }
        };
        if let Some(fault) = misshapen(&record, head, body, start, source, &place) {
            faults.add(fault.kind, usize::MAX, || fault);
            continue;
        }
        let mut sound = true;
        for (index, column) in schema.columns.iter().enumerate() {
            let Some(field) = places[index] else { continue };
            // The whole text is UTF-8 and fields end at ASCII signs.
            let cell = std::str::from_utf8(&record[field]).unwrap_or_default();
            if let Err(trouble) = filling.push(index, Cell::Text(cell)) {
                sound = false;
                faults.add(trouble.kind, index, || {
                    let (kind, found) = found(trouble.kind, cell);
                    let expected = if trouble.expected.is_empty() { expected_of(*column) } else { trouble.expected };
                    let mut fault = Fault::new(kind, source.path().clone(), place(field), found, expected);
                    fault.help = trouble.help;
                    fault.with_key(column.name)
                });
            }
        }
        if sound && faults.total == 0 {
            filling.end_row();
            line_numbers.push(line as u32);
        }
    }
    if faults.total > 0 {
        return Err(InputError { faults: faults.items, total: faults.total }.into());
    }
    let lines = Lines::Listed { lines: line_numbers, separator: head.separator };
    Ok(filling.into_table(source, places, lines, notices))
}

fn found(kind: FaultKind, cell: &str) -> (FaultKind, String) {
    let cell = cell.trim();
    if cell.is_empty() {
        return (kind, "an empty cell".to_owned());
    }
    let shown: String =
        if cell.chars().count() > 40 { cell.chars().take(37).chain("...".chars()).collect() } else { cell.to_owned() };
    (kind, format!("\"{shown}\""))
}

/// A row that does not fit the header, or whose quotes do not close.
fn misshapen(
    record: &::csv::ByteRecord,
    head: &Head,
    body: &str,
    start: usize,
    source: &Source,
    place: &dyn Fn(usize) -> Place,
) -> Option<Fault> {
    let expected_fields = head.names.len();
    if let Some(field) = record.iter().position(|field| field.contains(&b'\n') || field.contains(&b'\r')) {
        let fault = Fault::new(
            FaultKind::Syntax,
            source.path().clone(),
            place(field),
            "a quoted field that runs over the end of its line",
            "a closing quote on the same line",
        );
        return Some(fault.with_help("is a quote missing, or one too many?"));
    }
    if record.len() == expected_fields {
        return None;
    }
    let fields = |count: usize| if count == 1 { "1 field".to_owned() } else { format!("{count} fields") };
    let mut fault = Fault::new(
        FaultKind::RaggedRow,
        source.path().clone(),
        place(record.len().min(expected_fields).saturating_sub(1)),
        fields(record.len()),
        format!("{}, as in the header", fields(expected_fields)),
    );
    let line = body[start..].lines().next().unwrap_or_default();
    if line.starts_with('#') {
        fault.help = Some("comments stand before the header only".to_owned());
    } else if record.len() > expected_fields && head.separator == b',' {
        fault.help = Some(
            "does a decimal comma split a number in two? the decimal sign is a point, or fields are separated by semicolons; a name with a \
             comma stands in quotes"
                .to_owned(),
        );
    }
    Some(fault)
}

#[cfg(test)]
mod tests;
