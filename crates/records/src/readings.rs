//! Readings of measured parts, for lots and gauge studies.

use crate::check::{FileKind, of_the_kind};
use crate::document::Document;
use crate::error::{Error, FaultKind, Notice, Place};
use crate::limits::{LOTS, exceeded};
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::Source;
use crate::table::{Column, Kind, Located, Names, Need, Schema, Values, Wide, WideNames, read_table};
use crate::units::LengthUnit;
use hashbrown::HashMap;
use packdrift_lot::sampling::history::Delivery;
use packdrift_lot::{Drawing, Readings};
use std::path::Path;

/// What the readings are for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Study {
    /// Parts of one or more lots: columns `lot`, `part`, `reading`.
    Lots,
    /// A crossed gauge study: columns `part`, `operator`, `trial`, `reading`, and `lot` where there are several.
    Gauge,
}

const NOMINAL: usize = 5;
const LOWER: usize = 6;
const UPPER: usize = 7;

/// The lot of readings that name none.
const ONLY_LOT: &str = "all";

/// Past deliveries: how many parts of each lot's sample were outside.
pub(crate) fn history_schema() -> Schema<'static> {
    let column = |name, kind, need, meaning| Column { name, kind, need, meaning };
    Schema::new(
        "history",
        vec![
            column("lot", Kind::Name, Need::Every, "the lot or delivery"),
            column("outside", Kind::Count, Need::Every, "how many parts of its sample were outside"),
            column("lot_size", Kind::Count, Need::Some, "parts in the lot"),
        ],
    )
}

/// A column a repeated reading, or, where the user says so, a column an operator.
const WIDE: [Wide; 2] = [
    Wide { name: Some(TRIAL), value: READING, names: WideNames::Numbers, what: "trials" },
    Wide { name: Some(OPERATOR), value: READING, names: WideNames::Text, what: "operators" },
];
const READING: usize = 2;
const OPERATOR: usize = 3;
const TRIAL: usize = 4;

pub(crate) fn schema(study: Study, units: LengthUnit) -> Schema<'static> {
    let gauge = study == Study::Gauge;
    let need = |needed| if needed { Need::Every } else { Need::Some };
    let column = |name, kind, need, meaning| Column { name, kind, need, meaning };
    Schema::new(
        "readings",
        vec![
            column("lot", Kind::Name, need(!gauge), "the lot or packet the part is from"),
            column("part", Kind::Name, Need::Every, "the part's number or name"),
            column("reading", Kind::Number, Need::Every, "what was read"),
            column("operator", Kind::Name, need(gauge), "who read it"),
            column("trial", Kind::Count, need(gauge), "the trial, from 1"),
            column("nominal", Kind::Number, Need::Some, "the size on the lot's packet"),
            column("lower", Kind::Number, Need::Some, "the lot's lower limit"),
            column("upper", Kind::Number, Need::Some, "the lot's upper limit"),
        ],
    )
    .reading(READING, &WIDE)
    .lengths_in(units)
}

/// Reads measured parts (CSV, Parquet or XLSX); readings in inches become mm.
///
/// # Errors
///
/// [`Error::Input`] with every mistake: cells that are no names or numbers, a trial of 0, in a gauge study two readings of one
/// part by one operator in one trial. [`Error::Machine`] where the file could not be read.
pub fn read_readings(
    path: &Path,
    study: Study,
    units: LengthUnit,
    options: &Options,
) -> Result<Loaded<Readings>, Error> {
    let source = Source::read(path)?;
    readings_from(&source, study, units, options)
        .map_err(|error| of_the_kind(&source, FileKind::Readings, options, error))
}

/// As [`read_readings`], from bytes at hand.
///
/// # Errors
///
/// As [`read_readings`].
///
/// # Examples
/// ```
/// use packdrift_records::{LengthUnit, Options, Source, Study, readings_from};
/// let text = "lot,part,reading\nA,1,0.601\nA,2,0.598\n";
/// let source = Source::from_bytes("readings.csv", text.as_bytes());
/// let readings = readings_from(&source, Study::Lots, LengthUnit::Millimetre, &Options::default())?.value;
/// assert_eq!(readings.reading, [0.601, 0.598]);
/// # Ok::<(), packdrift_records::Error>(())
/// ```
pub fn readings_from(
    source: &Source,
    study: Study,
    units: LengthUnit,
    options: &Options,
) -> Result<Loaded<Readings>, Error> {
    let mut table = read_table(source, &schema(study, units), options)?;
    let rows = table.rows;
    let lots = table.names(0);
    let parts = table.names(1).unwrap_or_default();
    let mut reading = table.numbers(READING).unwrap_or_default();
    let operators = table.names(3);
    let trials = table.counts(TRIAL);
    let mut mistakes = Vec::new();
    if units == LengthUnit::Inch {
        for reading in &mut reading {
            *reading = units.millimetres(&reading.to_string()).unwrap_or(*reading * crate::units::MILLIMETRES_PER_INCH);
        }
    }
    let (lots, lot) = match lots {
        Some(lots) => {
            for (row, _) in lots.codes.iter().enumerate().filter(|(_, code)| **code == Names::EMPTY) {
                mistakes.push(empty_lot(row));
            }
            if lots.names.len() > LOTS {
                let found = format!("{} lots", lots.names.len());
                return Err(exceeded(source.path(), Place::File, found, format!("at most {LOTS}")).into());
            }
            (lots.names, lots.codes)
        }
        None => (vec![ONLY_LOT.to_owned()], vec![0; rows]),
    };
    let sizes = [NOMINAL, LOWER, UPPER].map(|column| match table.columns[column].take() {
        Some(Values::SomeNumbers(numbers)) => Some(numbers),
        _ => None,
    });
    let drawings = drawings_of(&lots, &lot, &sizes, units, &mut mistakes);
    let mut readings = Readings {
        drawings,
        lots,
        parts: parts.names,
        lot,
        part: parts.codes,
        reading,
        line: table.row_numbers(),
        ..Readings::default()
    };
    if study == Study::Gauge {
        let operators = operators.unwrap_or_default();
        (readings.operators, readings.operator) = (operators.names, operators.codes);
        readings.trial = trials.unwrap_or_default().into_iter().map(Option::unwrap_or_default).collect();
        check_trials(&readings, &mut mistakes, |row| table.row_in_words(row));
    }
    if !mistakes.is_empty() {
        let total = mistakes.len();
        return Err(table.refuse(mistakes, total));
    }
    Ok(Loaded { value: readings, inputs: vec![source.fingerprint()], notices: std::mem::take(&mut table.notices) })
}

/// What the columns `nominal`, `lower` and `upper` say of each lot; empty where the table has none of them. A lot's rows may leave cells empty but
/// not contradict each other.
fn drawings_of(
    names: &[String],
    lot: &[u32],
    sizes: &[Option<Vec<Option<f64>>>; 3],
    units: LengthUnit,
    mistakes: &mut Vec<Located>,
) -> Vec<Drawing> {
    if sizes.iter().all(Option::is_none) {
        return Vec::new();
    }
    let mm = |value: f64| match units {
        LengthUnit::Millimetre => value,
        LengthUnit::Inch => units.millimetres(&value.to_string()).unwrap_or(value * crate::units::MILLIMETRES_PER_INCH),
    };
    let mut found = vec![[None::<f64>; 3]; names.len()];
    for (which, values) in sizes.iter().enumerate() {
        for (row, value) in values.iter().flatten().enumerate().filter_map(|(row, value)| Some((row, (*value)?))) {
            let Some(own) = found.get_mut(lot[row] as usize).map(|own| &mut own[which]) else { continue };
            match *own {
                Some(first) if first.total_cmp(&value).is_ne() => mistakes.push(Located {
                    row,
                    column: NOMINAL + which,
                    kind: FaultKind::Contradiction,
                    found: format!("{value} for lot `{}`", names[lot[row] as usize]),
                    expected: format!("{first} as in an earlier row: a lot has one size and one pair of limits"),
                    help: None,
                }),
                _ => *own = Some(value),
            }
        }
    }
    for (code, [_, lower, upper]) in found.iter().enumerate() {
        if let (Some(low), Some(high)) = (*lower, *upper)
            && low >= high
        {
            mistakes.push(Located {
                row: lot.iter().position(|l| *l as usize == code).unwrap_or(0),
                column: LOWER,
                kind: FaultKind::Contradiction,
                found: format!("lower = {low}, upper = {high} for lot `{}`", names[code]),
                expected: "`lower` below `upper`".to_owned(),
                help: None,
            });
        }
    }
    found
        .into_iter()
        .map(|[nominal, lower, upper]| Drawing { nominal: nominal.map(mm), lower: lower.map(mm), upper: upper.map(mm) })
        .collect()
}

fn empty_lot(row: usize) -> Located {
    Located {
        row,
        column: 0,
        kind: FaultKind::EmptyCell,
        found: "an empty cell".to_owned(),
        expected: "the lot, since other rows name theirs".to_owned(),
        help: None,
    }
}

fn check_trials(readings: &Readings, mistakes: &mut Vec<Located>, line: impl Fn(usize) -> String) {
    let mut seen: HashMap<(u32, u32, u32, u32), usize> = HashMap::new();
    for (row, &trial) in readings.trial.iter().enumerate() {
        if trial == 0 {
            mistakes.push(Located {
                row,
                column: TRIAL,
                kind: FaultKind::OutOfRange,
                found: "trial 0".to_owned(),
                expected: "a trial from 1 up".to_owned(),
                help: None,
            });
        }
        let key = (readings.lot[row], readings.part[row], readings.operator[row], trial);
        if let Some(first) = seen.get(&key) {
            mistakes.push(Located {
                row,
                column: READING,
                kind: FaultKind::DuplicateReading,
                found: format!(
                    "a second reading of part `{}` by `{}` in trial {trial}",
                    readings.parts[readings.part[row] as usize], readings.operators[readings.operator[row] as usize]
                ),
                expected: format!("one; the other is in {}", line(*first)),
                help: None,
            });
        } else {
            seen.insert(key, row);
        }
    }
}

/// Reads a supplier's deliveries in a row (CSV, Parquet or XLSX): columns `lot`, `outside` (parts of the sample that were outside) and, where it
/// differs from `lot_size`, `lot_size`.
///
/// # Errors
///
/// [`Error::Input`] with every mistake: cells that are no names or counts, a lot of fewer than 2 parts, a row that repeats another to the letter (it
/// would count twice); [`Error::Machine`] where the file could not be read.
pub fn read_history(path: &Path, lot_size: u64, options: &Options) -> Result<Loaded<Vec<Delivery>>, Error> {
    history_from(&Source::read(path)?, lot_size, options)
}

/// As [`read_history`], from bytes at hand.
///
/// # Errors
///
/// As [`read_history`].
pub fn history_from(source: &Source, lot_size: u64, options: &Options) -> Result<Loaded<Vec<Delivery>>, Error> {
    const SIZE: usize = 2;
    let schema = history_schema();
    let mut table = read_table(source, &schema, options)?;
    let names = table.names(0).unwrap_or_default();
    let outside = table.counts(1).unwrap_or_default();
    let sizes = table.counts(SIZE);
    let mut mistakes = Vec::new();
    let mut lots_twice: Vec<&str> = Vec::new();
    let mut first_rows: HashMap<u32, Vec<usize>> = HashMap::new();
    for row in 0..table.rows {
        let of_the_lot = first_rows.entry(names.codes[row]).or_default();
        let size = |row: usize| sizes.as_ref().and_then(|sizes| sizes[row]);
        let lot = names.names[names.codes[row] as usize].as_str();
        match of_the_lot.iter().find(|&&other| (outside[other], size(other)) == (outside[row], size(row))) {
            Some(&other) => mistakes.push(Located {
                row,
                column: 0,
                kind: FaultKind::DuplicateReading,
                found: format!("delivery `{lot}` again, to the letter"),
                expected: format!("each delivery once; the other is in {}", table.row_in_words(other)),
                help: Some("leave one out; a second delivery of that name needs a name of its own".to_owned()),
            }),
            None if of_the_lot.is_empty() => {}
            None => lots_twice.push(lot),
        }
        of_the_lot.push(row);
    }
    let deliveries: Vec<Delivery> = (0..table.rows)
        .map(|row| {
            let size = sizes.as_ref().and_then(|s| s[row]).map_or(lot_size, u64::from);
            if size < 2 {
                mistakes.push(Located {
                    row,
                    column: SIZE,
                    kind: FaultKind::OutOfRange,
                    found: size.to_string(),
                    expected: "a lot of 2 parts or more".to_owned(),
                    help: None,
                });
            }
            Delivery {
                lot: names.names[names.codes[row] as usize].clone(),
                lot_size: size,
                outside: outside[row].map_or(0, u64::from),
            }
        })
        .collect();
    if !mistakes.is_empty() {
        let total = mistakes.len();
        return Err(table.refuse(mistakes, total));
    }
    let mut notices = std::mem::take(&mut table.notices);
    if !lots_twice.is_empty() {
        lots_twice.dedup();
        let listed = crate::suggest::listed(&lots_twice[..lots_twice.len().min(8)]);
        let text = format!("named twice, with other figures, and taken for two deliveries: {listed}");
        notices.push(Notice::new(source.path(), text));
    }
    Ok(Loaded { value: deliveries, inputs: vec![source.fingerprint()], notices })
}

/// Reads the `[drawing]` table of a TOML file: `nominal`, and `lower` and `upper` or `tol`; `units` as in a pack file.
///
/// # Errors
///
/// [`Error::Input`] with every mistake in the file; [`Error::Machine`] where it could not be read.
pub fn read_drawing(path: &Path) -> Result<Loaded<Drawing>, Error> {
    drawing_from(&Source::read(path)?)
}

/// As [`read_drawing`], from bytes at hand.
///
/// # Errors
///
/// As [`read_drawing`].
pub fn drawing_from(source: &Source) -> Result<Loaded<Drawing>, Error> {
    let document = Document::new(source)?;
    let text = document.text_to_parse();
    let tree = document.parse(&text);
    let drawing = drawing(&document, &tree);
    let drawing = document.conclude(drawing)?;
    Ok(Loaded { value: drawing, inputs: vec![source.fingerprint()], notices: Vec::new() })
}

fn drawing<'d>(document: &'d Document, tree: &'d toml::Spanned<toml::de::DeTable<'d>>) -> Option<Drawing> {
    let root = document.root(tree);
    let top_units = root.get("units");
    let section = root.require("drawing", "a [drawing] table").and_then(|item| item.section());
    root.finish();
    let section = section?;
    let words = [("mm", LengthUnit::Millimetre), ("in", LengthUnit::Inch)];
    let units = section
        .get("units")
        .or(top_units)
        .map_or(Some(LengthUnit::default()), |item| item.word(&words).map(|units| units.value));
    let mut sound = units.is_some();
    let units = units.unwrap_or_default();
    let [nominal, lower, upper, tol] = ["nominal", "lower", "upper", "tol"].map(|key| {
        let item = section.get(key)?;
        let literal = item.literal();
        let number = literal.and_then(|literal| {
            let number = units.millimetres(&literal.value);
            number.map(|number| literal.map(|_| number))
        });
        sound &= number.is_some();
        number
    });
    let (span, path) = (section.span(), section.path().to_owned());
    let mut drawing = Drawing {
        nominal: nominal.as_ref().map(|number| number.value),
        lower: lower.as_ref().map(|number| number.value),
        upper: upper.as_ref().map(|number| number.value),
    };
    let report =
        |kind, found: String, expected: &str| document.report(kind, span.clone(), path.clone(), found, expected).done();
    if let Some(tol) = tol {
        if tol.value < 0.0 {
            document.report(FaultKind::OutOfRange, tol.span, tol.key, tol.value.to_string(), "0 or more").done();
        } else if lower.is_some() || upper.is_some() {
            report(
                FaultKind::Contradiction,
                "limits given in more than one way".to_owned(),
                "`tol`, or `lower` and `upper`",
            );
        } else if let Some(nominal) = drawing.nominal {
            (drawing.lower, drawing.upper) = (Some(nominal - tol.value), Some(nominal + tol.value));
        } else if sound {
            section.missing("nominal", "the size that `tol` is about").done();
        }
    } else if sound && lower.is_none() && upper.is_none() {
        report(
            FaultKind::NoLimits,
            "neither limits nor `tol`".to_owned(),
            "`nominal` and `tol`, or at least one of `lower` and `upper`",
        );
    }
    if let (Some(low), Some(high)) = (drawing.lower, drawing.upper)
        && low > high
    {
        report(FaultKind::Contradiction, format!("lower = {low} above upper = {high}"), "`lower` at or below `upper`");
    }
    section.finish();
    Some(drawing)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::*;

    fn read(text: &str, units: LengthUnit) -> Result<Loaded<Readings>, Error> {
        readings_from(&Source::from_bytes("r.csv", text.as_bytes().to_vec()), Study::Lots, units, &Options::default())
    }

    #[test]
    fn sizes_and_limits_of_each_lot_come_from_its_rows() {
        let text =
            "lot,part,reading,nominal,lower,upper\na,1,0.401,0.40,0.37,0.43\na,2,0.402,,,\nb,1,0.61,0.60,,0.63\n";
        let drawings = read(text, LengthUnit::Millimetre).unwrap().value.drawings;
        assert_eq!(drawings[0], Drawing { nominal: Some(0.40), lower: Some(0.37), upper: Some(0.43) });
        assert_eq!(drawings[1], Drawing { nominal: Some(0.60), lower: None, upper: Some(0.63) });
        let inches = read("lot,part,reading,nominal\na,1,0.0161,0.016\n", LengthUnit::Inch).unwrap().value;
        assert_eq!(inches.drawings[0].nominal, Some(0.4064));
        assert!(read("lot,part,reading\na,1,0.4\n", LengthUnit::Millimetre).unwrap().value.drawings.is_empty());
    }

    #[test]
    fn a_lot_of_two_sizes_is_refused_with_the_line() {
        let text = "lot,part,reading,nominal,lower,upper\na,1,0.4,0.40,,\na,2,0.4,0.60,,\nb,1,0.4,0.4,0.5,0.3\n";
        let Err(Error::Input(error)) = read(text, LengthUnit::Millimetre) else { unreachable!("it must be refused") };
        assert_eq!(error.faults.len(), 2);
        assert!(error.faults[0].found.contains("0.6 for lot `a`"), "{:?}", error.faults);
    }

    #[test]
    fn a_history_is_read_in_order() {
        let source = Source::from_bytes("h.csv", b"lot,outside,lot_size\nx,0,\ny,3,500\n".to_vec());
        let history = history_from(&source, 1000, &Options::default()).unwrap().value;
        assert_eq!(history[0], Delivery { lot: "x".into(), lot_size: 1000, outside: 0 });
        assert_eq!(history[1], Delivery { lot: "y".into(), lot_size: 500, outside: 3 });
    }
}
