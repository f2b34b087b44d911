//! Reading a file only to see whether it is right: what it is, and every mistake in it.

use crate::demand::demand_from;
use crate::document::Document;
use crate::drawer::drawer_from;
use crate::error::{Error, Fault, FaultKind, InputError, Notice, Place};
use crate::inspections::inspections_from;
use crate::loaded::Loaded;
use crate::loose::{self, Heading};
use crate::options::Options;
use crate::pack_file::{PackFile, pack_from};
use crate::policy_file::policy_from;
use crate::readings::{Study, drawing_from, history_from, readings_from};
use crate::scenario_file::scenario_from;
use crate::source::{InputFile, Source};
use crate::suggest;
use crate::sums::sums_from;
use crate::table::{self, Schema};
use crate::units::LengthUnit;
use packdrift_pack::AsDrawn;
use std::path::Path;

/// What a file is, told by its keys or columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum FileKind {
    /// Bays, parts, requirements (TOML).
    Pack,
    /// What the planner has decided (TOML).
    Policy,
    /// What a planner would have otherwise (TOML).
    Scenario,
    /// What the drawing says of a measured dimension (TOML).
    Drawing,
    /// Inspection records (a table).
    Inspections,
    /// Readings of measured parts (a table).
    Readings,
    /// Readings of a gauge study (a table).
    GaugeReadings,
    /// Pieces and sizes in the drawer (a table).
    Drawer,
    /// Corrections to come (a table).
    Demand,
    /// Sums of inspections by segment (a table).
    Sums,
    /// Past deliveries (a table).
    Deliveries,
}

impl FileKind {
    /// Whether a file of this kind may be read as `wanted`: lots and gauge studies share their columns.
    fn is_read_as(self, wanted: Self) -> bool {
        let readings = |kind| matches!(kind, Self::Readings | Self::GaugeReadings);
        self == wanted || readings(self) && readings(wanted)
    }

    /// What the sheet of a workbook is called that holds such a table; empty for a document.
    pub fn sheet_name(self) -> &'static str {
        schema_of(self, LengthUnit::default()).map_or("", |schema| schema.name)
    }

    /// In words: `pack file`, `inspection records`, …
    pub fn name(self) -> &'static str {
        match self {
            Self::Pack => "pack file",
            Self::Policy => "policy file",
            Self::Scenario => "scenario file",
            Self::Drawing => "drawing file",
            Self::Inspections => "inspection records",
            Self::Readings => "readings of parts",
            Self::GaugeReadings => "readings of a gauge study",
            Self::Drawer => "the drawer",
            Self::Demand => "demand",
            Self::Sums => "sums of inspections",
            Self::Deliveries => "past deliveries",
        }
    }
}

/// The keys or columns by which each kind is known.
const DOCUMENTS: [(FileKind, &[&str]); 4] = [
    (
        FileKind::Pack,
        &[
            "bay",
            "requirement",
            "lot",
            "condition",
            "material",
            "correlation",
            "reference_temperature",
            "title",
            "units",
        ],
    ),
    (FileKind::Scenario, &["scenario", "risk", "running", "usage", "pin", "add", "drop", "resize", "delay"]),
    (FileKind::Policy, &["risk", "horizon", "feature", "usage", "window", "cost"]),
    (FileKind::Drawing, &["drawing"]),
];
const TABLES: [(FileKind, &[&str]); 7] = [
    (FileKind::Inspections, &crate::inspections::COLUMNS),
    (FileKind::GaugeReadings, &["part", "reading", "operator", "trial"]),
    (FileKind::Readings, &["lot", "part", "reading"]),
    (FileKind::Drawer, &["piece", "size", "thickness", "u", "count", "cost", "lead_days"]),
    (FileKind::Demand, &crate::demand::COLUMNS),
    (FileKind::Sums, &crate::sums::COLUMNS),
    (FileKind::Deliveries, &["lot", "outside", "lot_size"]),
];

/// The columns of a kind of table; None of a document.
pub(crate) fn schema_of(kind: FileKind, units: LengthUnit) -> Option<Schema<'static>> {
    Some(match kind {
        FileKind::Inspections => crate::inspections::schema(units),
        FileKind::Readings => crate::readings::schema(Study::Lots, units),
        FileKind::GaugeReadings => crate::readings::schema(Study::Gauge, units),
        FileKind::Drawer => crate::drawer::schema(units),
        FileKind::Demand => crate::demand::schema(),
        FileKind::Sums => crate::sums::schema(),
        FileKind::Deliveries => crate::readings::history_schema(),
        FileKind::Pack | FileKind::Policy | FileKind::Scenario | FileKind::Drawing => return None,
    })
}

/// The columns of all tables, and `ignore`: what a heading can be said to stand for.
pub fn column_names() -> Vec<&'static str> {
    let mut names: Vec<&str> = Vec::new();
    for (kind, _) in TABLES.iter().filter(|(kind, _)| !matches!(kind, FileKind::Sums | FileKind::Demand)) {
        let schema = schema_of(*kind, LengthUnit::default());
        let columns = schema.iter().flat_map(|schema| schema.columns.iter().map(|column| column.name));
        names.extend(columns);
    }
    names.push(loose::IGNORE);
    let mut seen = std::collections::HashSet::new();
    names.retain(|name| seen.insert(*name));
    names
}

/// What a check found.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// What the file is; None where it is nothing this program reads.
    pub kind: Option<FileKind>,
    /// What it holds, in words: `2 bays, 8 requirements`; empty where it has mistakes.
    pub holds: String,
    /// Of a pack, each bay as its drawing makes it, in every condition.
    pub bays: Vec<AsDrawn>,
    /// The unit that a pack is told in: [`Options::lengths`], else the one it is written in.
    pub unit: LengthUnit,
    /// The file, and those it names.
    pub inputs: Vec<InputFile>,
    /// Every mistake.
    pub faults: Vec<Fault>,
    /// How many there are in all; more than `faults` holds where a table has very many.
    pub total: usize,
    /// What is no mistake but may surprise.
    pub notices: Vec<Notice>,
}

/// Checks one file.
///
/// # Errors
///
/// [`Error::Machine`] where the file could not be read, [`Error::Cancelled`] where the caller called it off. Mistakes are no
/// error here but the answer.
pub fn check(path: &Path, options: &Options) -> Result<Checked, Error> {
    let source = match Source::read(path) {
        Ok(source) => source,
        Err(Error::Input(error)) => return Ok(Checked::wrong(None, Vec::new(), error)),
        Err(other) => return Err(other),
    };
    checked(&source, options)
}

/// As [`check`], of a file whose bytes are at hand.
///
/// # Errors
///
/// As [`check`].
pub fn checked(source: &Source, options: &Options) -> Result<Checked, Error> {
    let kind = match kind_of(source, options) {
        Ok(kind) => kind,
        Err(error) => return Ok(Checked::wrong(None, vec![source.fingerprint()], error)),
    };
    let mut as_drawn = Vec::new();
    let mut unit = LengthUnit::default();
    let lengths = options.lengths.unwrap_or_default();
    let plural = |count: usize, noun: &str| format!("{count} {noun}{}", if count == 1 { "" } else { "s" });
    let holds = match kind {
        FileKind::Pack => pack_from(source).map(|loaded| {
            loaded.map(|PackFile { stack, units, .. }| {
                unit = options.lengths.unwrap_or(units);
                as_drawn = stack.as_drawn();
                let (bays, dimensions) = (stack.pack.bays.len(), stack.inputs.len());
                let requirements = stack.requirements.len();
                [plural(bays, "bay"), plural(dimensions, "dimension"), plural(requirements, "requirement")].join(", ")
            })
        }),
        FileKind::Policy => policy_from(source).map(|loaded| {
            loaded.map(|policy| {
                [plural(policy.features.len(), "feature"), plural(policy.windows.len(), "service window")].join(", ")
            })
        }),
        FileKind::Scenario => {
            scenario_from(source, None).map(|loaded| loaded.map(|scenario| plural(scenario.changes.len(), "change")))
        }
        FileKind::Drawing => drawing_from(source).map(|loaded| loaded.map(|_| "limits of a dimension".to_owned())),
        FileKind::Inspections => inspections_from(source, options).map(|loaded| {
            loaded.map(|table| {
                let (readings, valves) = (plural(table.value.len(), "reading"), plural(table.valves.len(), "valve"));
                format!("{readings} of {valves} of {}", plural(table.engines.len(), "engine"))
            })
        }),
        FileKind::Drawer => drawer_from(source, lengths, options).map(|loaded| {
            loaded.map(|drawer| {
                let pieces: u64 = drawer.iter().map(|piece| u64::from(piece.count)).sum();
                format!("{} in {}", plural(pieces as usize, "piece"), plural(drawer.len(), "row"))
            })
        }),
        FileKind::Demand => demand_from(source, options).map(|loaded| {
            loaded.map(|demand| {
                let rate: f64 = demand.streams.iter().map(|stream| stream.rate_per_day).sum();
                let rows = plural(demand.streams.len(), "row");
                format!("{rows}, {} jobs a year", (rate * 365.25 * 10.0).round() / 10.0)
            })
        }),
        FileKind::Sums => sums_from(source, options).map(|loaded| {
            loaded.map(|sums| {
                let readings: u64 = sums.readings.iter().map(|count| u64::from(*count)).sum();
                let (segments, valves) = (plural(sums.valve.len(), "segment"), plural(sums.valves.len(), "valve"));
                let readings = plural(readings as usize, "reading");
                format!("{readings} in {segments} of {valves} of {}", plural(sums.engines.len(), "engine"))
            })
        }),
        FileKind::Deliveries => history_from(source, LOT_SIZE, options).map(|loaded| {
            loaded.map(|deliveries| {
                if deliveries.len() == 1 { "1 delivery".to_owned() } else { format!("{} deliveries", deliveries.len()) }
            })
        }),
        FileKind::Readings | FileKind::GaugeReadings => {
            let study = if kind == FileKind::Readings { Study::Lots } else { Study::Gauge };
            readings_from(source, study, lengths, options).map(|loaded| {
                loaded.map(|table| {
                    let (readings, parts) = (plural(table.reading.len(), "reading"), plural(table.parts.len(), "part"));
                    format!("{readings} of {parts}")
                })
            })
        }
    };
    match holds {
        Ok(Loaded { value, inputs, notices }) => {
            let bays = as_drawn;
            Ok(Checked { kind: Some(kind), holds: value, bays, unit, inputs, faults: Vec::new(), total: 0, notices })
        }
        Err(Error::Input(error)) => Ok(Checked::wrong(Some(kind), vec![source.fingerprint()], error)),
        Err(other) => Err(other),
    }
}

impl Checked {
    fn wrong(kind: Option<FileKind>, inputs: Vec<InputFile>, error: InputError) -> Self {
        Self {
            kind,
            holds: String::new(),
            bays: Vec::new(),
            unit: LengthUnit::default(),
            inputs,
            faults: error.faults,
            total: error.total,
            notices: Vec::new(),
        }
    }

    /// Whether there is no mistake.
    pub fn is_right(&self) -> bool {
        self.total == 0
    }
}

/// The mistakes of a file that was read as `wanted`; where it is a file of another kind altogether, that alone, in place of every
/// line that does not fit.
pub(crate) fn of_the_kind(source: &Source, wanted: FileKind, options: &Options, error: Error) -> Error {
    let Error::Input(mistakes) = error else { return error };
    // What is too large was not looked at, so its kind is a guess.
    if mistakes.faults.iter().any(|fault| fault.kind == FaultKind::TooLarge) {
        return Error::Input(mistakes);
    }
    match kind_of(source, options) {
        Ok(kind) if !kind.is_read_as(wanted) => {
            let expected = format!("a file of the kind \"{}\"", wanted.name());
            let fault = Fault::new(
                FaultKind::OtherKind,
                source.path().clone(),
                Place::File,
                format!("a file of the kind \"{}\"", kind.name()),
                expected,
            );
            InputError::of(vec![fault.with_help("docs/files.md tells what each kind of file holds")]).into()
        }
        _ => Error::Input(mistakes),
    }
}

/// Keys or columns by which a file is told.
const NAMES: usize = 1_000;

/// Parts of a lot of which nothing is said; what is only looked at does not hang on it.
const LOT_SIZE: u64 = 1000;

/// Tells a file by its keys or columns; of several kinds the one that knows most of them.
pub(crate) fn kind_of(source: &Source, options: &Options) -> Result<FileKind, InputError> {
    let (found, broken) = if is_document(source) {
        let document = Document::new(source)?;
        let text = document.text_to_parse();
        let tree = document.parse(&text);
        let names: Vec<String> = document.root(&tree).named_entries().into_iter().map(|(name, _)| name).collect();
        let broken = document.conclude(None::<()>).err();
        let known = |known: &[&str]| {
            let is_known = |name: &&String| suggest::nearest(name, known.iter().copied()).is_some();
            names.iter().take(NAMES).filter(is_known).count()
        };
        let best = DOCUMENTS.iter().rev().map(|(kind, names)| (known(names), *kind)).max_by_key(|(count, _)| *count);
        if let Some((count, kind)) = best
            && count > 0
            && 2 * count >= names.len().min(NAMES)
        {
            return Ok(kind);
        }
        (names, broken)
    } else {
        let all = table::possible_headings(source, options)?;
        if let Some(kind) = kind_of_table(&all, options) {
            return Ok(kind);
        }
        (all.into_iter().max_by_key(Vec::len).unwrap_or_default(), None)
    };
    let names: Vec<&str> = found.iter().map(String::as_str).filter(|name| !name.is_empty()).take(8).collect();
    let kinds = DOCUMENTS.iter().chain(&TABLES).map(|(kind, _)| kind.name()).collect::<Vec<_>>().join(", ");
    let found = if names.is_empty() { "no keys".to_owned() } else { suggest::listed(&names) };
    let fault =
        Fault::new(FaultKind::UnknownFormat, source.path().clone(), Place::File, found, format!("one of: {kinds}"));
    let mut error = InputError::of(vec![fault.with_help("docs/files.md tells what each kind of file holds")]);
    // What is no TOML may be why the keys are not known.
    if let Some(Error::Input(syntax)) = broken {
        error.merge(syntax);
    }
    Err(error)
}

/// The kind of table that one of these rows of headings names most of.
fn kind_of_table(all: &[Vec<String>], options: &Options) -> Option<FileKind> {
    let given = &options.tables.columns;
    let mut best: Option<((bool, usize), FileKind)> = None;
    for headings in all {
        // Below a row that is a header there is none.
        if best.is_some_and(|((fits, _), _)| fits) {
            break;
        }
        // The first names tell; a file may have thousands.
        let headings = &headings[..headings.len().min(NAMES)];
        let read: Vec<Heading> = headings.iter().map(|heading| Heading::of(heading)).collect();
        for (kind, names) in TABLES {
            let Some(schema) = schema_of(kind, LengthUnit::default()) else { continue };
            let is_known = |heading: &&Heading| {
                !heading.raw.is_empty()
                    && (suggest::nearest(&heading.raw, names.iter().copied()).is_some()
                        || names.iter().any(|name| heading.is(schema.name, name).is_some())
                        || given.iter().any(|(name, raw)| names.contains(&name.as_str()) && *raw == heading.raw))
            };
            let count = read.iter().filter(is_known).count();
            let fits = loose::fits(headings, &schema, given);
            let enough = count > 0 && (2 * count >= read.len() || (fits && count > 1));
            if enough && best.is_none_or(|(before, _)| (fits, count) > before) {
                best = Some(((fits, count), kind));
            }
        }
    }
    best.map(|(_, kind)| kind)
}

/// TOML by its name, or by a first line that no table has.
fn is_document(source: &Source) -> bool {
    let extension = source.path().extension().and_then(|extension| extension.to_str()).unwrap_or_default();
    if extension.eq_ignore_ascii_case("toml") {
        return true;
    }
    let Ok(text) = source.text() else { return false };
    let first = text.lines().map(str::trim).find(|line| !line.is_empty() && !line.starts_with('#')).unwrap_or_default();
    // What some spreadsheet programs put above a table: `sep=;`. And what no reader of ours takes, which the tables' reader names.
    if first.starts_with("sep=") || first.starts_with(['{', '<']) || first.starts_with("[{") {
        return false;
    }
    first.starts_with('[') || first.split_once('=').is_some_and(|(key, _)| !key.contains([',', ';', '\t']))
}
