//! The drawer: pieces that somebody has measured, and sizes nobody has opened.

use crate::check::{FileKind, of_the_kind};
use crate::error::{Error, Fault, FaultKind, InputError};
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::Source;
use crate::table::{Column, Kind, Located, Names, Need, Schema, Table, Values, read_table};
use crate::units::LengthUnit;
use packdrift_stock::Piece;
use std::path::Path;

const PIECE: usize = 0;
const SIZE: usize = 1;
const THICKNESS: usize = 2;
const U: usize = 3;
const COUNT: usize = 4;
const COST: usize = 5;
const LEAD: usize = 6;

pub(crate) fn schema(units: LengthUnit) -> Schema<'static> {
    let column = |name, kind, need, meaning| Column { name, kind, need, meaning };
    Schema::new(
        "drawer",
        vec![
            column("piece", Kind::Name, Need::Some, "the label of a single piece"),
            column("size", Kind::Name, Need::Some, "the size on the packet"),
            column("thickness", Kind::Number, Need::Every, "measured, or the size sold"),
            column("u", Kind::Number, Need::Some, "standard uncertainty of a measured thickness"),
            column("count", Kind::Count, Need::Some, "how many; 0 for a size that can be ordered"),
            column("cost", Kind::Number, Need::Some, "of one piece"),
            column("lead_days", Kind::Number, Need::Some, "days from order to drawer"),
        ],
    )
    .lengths_in(units)
}

/// Reads the drawer (CSV, Parquet or XLSX): columns `thickness`, and `piece` or `size` (or both: a measured piece of a known
/// packet), `u`, `count` (1 where left out), `cost`, `lead_days`; lengths in inches become mm.
///
/// # Errors
///
/// [`Error::Input`] with every mistake: rows with neither piece nor size, two rows of one piece, thicknesses of 0 or less, negative
/// uncertainties, costs or lead times. [`Error::Machine`] where the file could not be read.
pub fn read_drawer(path: &Path, units: LengthUnit, options: &Options) -> Result<Loaded<Vec<Piece>>, Error> {
    let source = Source::read(path)?;
    drawer_from(&source, units, options).map_err(|error| of_the_kind(&source, FileKind::Drawer, options, error))
}

/// As [`read_drawer`], from bytes at hand.
///
/// # Errors
///
/// As [`read_drawer`].
///
/// # Examples
/// ```
/// use packdrift_records::{LengthUnit, Options, Source, drawer_from};
/// let text = "piece,size,thickness,u,count\n7,0.381,0.411,0.002,1\n,0.762,0.762,,4\n";
/// let source = Source::from_bytes("drawer.csv", text.as_bytes());
/// let pieces = drawer_from(&source, LengthUnit::Millimetre, &Options::default())?.value;
/// assert_eq!((pieces[0].u, pieces[1].count), (Some(0.002), 4));
/// # Ok::<(), packdrift_records::Error>(())
/// ```
pub fn drawer_from(source: &Source, units: LengthUnit, options: &Options) -> Result<Loaded<Vec<Piece>>, Error> {
    let mut table = match read_table(source, &schema(units), options) {
        Err(error) if is_a_header_alone(&error) => {
            // A drawer may be empty: the bay's own pieces can still change places.
            return Ok(Loaded { value: Vec::new(), inputs: vec![source.fingerprint()], notices: Vec::new() });
        }
        table => table?,
    };
    let rows = table.rows;
    let (pieces, sizes) = (table.names(PIECE), table.names(SIZE));
    let length = |value: f64| match units {
        LengthUnit::Millimetre => value,
        LengthUnit::Inch => units.millimetres(&value.to_string()).unwrap_or(value * crate::units::MILLIMETRES_PER_INCH),
    };
    let thickness = table.numbers(THICKNESS).unwrap_or_default();
    let [u, cost, lead] = [U, COST, LEAD].map(|column| some_numbers(&mut table, column));
    let counts = table.counts(COUNT);
    let name = |names: &Option<Names>, row: usize| -> Option<String> {
        let names = names.as_ref()?;
        let code = names.codes[row];
        (code != Names::EMPTY).then(|| names.names[code as usize].clone())
    };
    let at = |numbers: &Option<Vec<Option<f64>>>, row: usize| numbers.as_ref().and_then(|numbers| numbers[row]);
    let mut mistakes = Vec::new();
    let mut drawer: Vec<Piece> = Vec::with_capacity(rows);
    let mut seen: std::collections::BTreeMap<String, usize> = std::collections::BTreeMap::new();
    for row in 0..rows {
        let (piece, size) = (name(&pieces, row), name(&sizes, row));
        let mut wrong = |column: usize, kind: FaultKind, found: String, expected: &str| {
            mistakes.push(Located { row, column, kind, found, expected: expected.to_owned(), help: None });
        };
        let t = length(thickness[row]);
        if !(0.001..=50.0).contains(&t) {
            wrong(THICKNESS, FaultKind::OutOfRange, format!("{t} mm"), "a thickness between 0.001 and 50 mm");
        }
        let u = at(&u, row).map(length);
        if let Some(u) = u.filter(|u| !(0.0..=1.0).contains(u)) {
            wrong(U, FaultKind::OutOfRange, format!("{u} mm"), "a standard uncertainty between 0 and 1 mm");
        }
        for (column, value, what) in
            [(COST, at(&cost, row), "a cost of 0 or more"), (LEAD, at(&lead, row), "days, 0 or more")]
        {
            if let Some(value) = value.filter(|value| *value < 0.0) {
                wrong(column, FaultKind::OutOfRange, value.to_string(), what);
            }
        }
        if piece.is_none() && size.is_none() {
            wrong(PIECE, FaultKind::EmptyCell, "neither a piece nor a size".to_owned(), "a label in one of them");
        }
        if let Some(label) = &piece {
            if let Some(first) = seen.get(label) {
                let expected = format!("one row a piece; the other is in {}", table.row_in_words(*first));
                wrong(PIECE, FaultKind::DuplicateReading, format!("a second row of piece `{label}`"), &expected);
            } else {
                seen.insert(label.clone(), row);
            }
        }
        // A packet's label often says its size: `0.40`, `shim 0.40`.
        let size_sold = size.as_deref().and_then(trailing_number).map(length).filter(|_| u.is_some());
        drawer.push(Piece {
            name: piece.or(size).unwrap_or_default(),
            thickness: t,
            u,
            size: size_sold,
            count: counts.as_ref().and_then(|counts| counts[row]).unwrap_or(1),
            cost: at(&cost, row),
            lead_days: at(&lead, row),
        });
    }
    if !mistakes.is_empty() {
        let total = mistakes.len();
        return Err(table.refuse(mistakes, total));
    }
    Ok(Loaded { value: drawer, inputs: vec![source.fingerprint()], notices: std::mem::take(&mut table.notices) })
}

/// Whether all that a table lacks is rows.
fn is_a_header_alone(error: &Error) -> bool {
    let alone = |fault: &Fault| fault.kind == FaultKind::EmptyFile && fault.found.ends_with("without rows");
    matches!(error, Error::Input(InputError { faults, .. }) if faults.len() == 1 && faults.iter().all(alone))
}

fn some_numbers(table: &mut Table, column: usize) -> Option<Vec<Option<f64>>> {
    match table.columns[column].take() {
        Some(Values::SomeNumbers(numbers)) => Some(numbers),
        _ => None,
    }
}

/// The last word of a label, where it is a number.
fn trailing_number(label: &str) -> Option<f64> {
    let number: f64 = label.split_whitespace().last()?.parse().ok()?;
    (number.is_finite() && number > 0.0).then_some(number)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic, clippy::float_cmp, reason = "a test")]

    use super::*;

    fn read(text: &str) -> Result<Vec<Piece>, Error> {
        let source = Source::from_bytes("drawer.csv", text.as_bytes().to_vec());
        drawer_from(&source, LengthUnit::Millimetre, &Options::default()).map(|loaded| loaded.value)
    }

    #[test]
    fn pieces_sizes_and_pieces_of_a_packet() {
        let drawer = read(
            "piece,size,thickness,u,count,cost,lead_days\nS01,,0.411,0.002,1,0.9,14\n,shim 0.40,0.40,,8,,\nS02,shim 0.40,0.412,0.002,,,\n",
        )
        .unwrap();
        assert_eq!(drawer.len(), 3);
        assert_eq!((drawer[0].name.as_str(), drawer[0].u, drawer[0].size), ("S01", Some(0.002), None));
        assert_eq!((drawer[1].name.as_str(), drawer[1].u, drawer[1].count), ("shim 0.40", None, 8));
        assert_eq!((drawer[2].name.as_str(), drawer[2].size, drawer[2].count), ("S02", Some(0.4), 1));
    }

    #[test]
    fn a_header_without_rows_is_an_empty_drawer() {
        assert!(read("piece,size,thickness,u\n").unwrap().is_empty());
        assert!(read("").is_err() && read("# a drawer\n").is_err());
    }

    #[test]
    fn every_mistake_is_told_with_its_place() {
        let error = read("piece,size,thickness,u\nA,,0.4,0.002\nA,,-0.4,0.002\n,,0.3,-1\n").unwrap_err();
        let Error::Input(error) = error else { panic!("{error:?}") };
        assert_eq!(error.faults.len(), 4, "{error:?}");
    }
}
