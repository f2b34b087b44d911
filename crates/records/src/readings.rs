//! Readings of measured parts, for lots and gauge studies.

use crate::check::{FileKind, of_the_kind};
use crate::document::Document;
use crate::error::{Error, FaultKind};
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::Source;
use crate::table::{Column, Kind, Located, Names, Need, Schema, read_table};
use crate::units::LengthUnit;
use hashbrown::HashMap;
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

const READING: usize = 2;
const TRIAL: usize = 4;

/// The lot of readings that name none.
const ONLY_LOT: &str = "all";

fn schema(study: Study) -> Schema<'static> {
    let gauge = study == Study::Gauge;
    let need = |needed| if needed { Need::Every } else { Need::Some };
    let column = |name, kind, need, meaning| Column { name, kind, need, meaning };
    Schema {
        name: "readings",
        columns: vec![
            column("lot", Kind::Name, need(!gauge), "the lot or packet the part is from"),
            column("part", Kind::Name, Need::Every, "the part's number or name"),
            column("reading", Kind::Number, Need::Every, "what was read"),
            column("operator", Kind::Name, need(gauge), "who read it"),
            column("trial", Kind::Count, need(gauge), "the trial, from 1"),
        ],
        others: false,
    }
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
    readings_from(&source, study, units, options).map_err(|error| of_the_kind(&source, FileKind::Readings, error))
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
    let mut table = read_table(source, &schema(study), options)?;
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
            (lots.names, lots.codes)
        }
        None => (vec![ONLY_LOT.to_owned()], vec![0; rows]),
    };
    let mut readings = Readings {
        lots,
        parts: parts.names,
        lot,
        part: parts.codes,
        reading,
        line: table.line_numbers(),
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
    let text = document.text().to_owned();
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
