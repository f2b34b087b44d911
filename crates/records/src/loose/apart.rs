//! Columns that are not read and that alone tell rows apart: `Cylinder` beside `Valve`, `Box` beside `Part`. Left out, two things become one
//! that was read twice.

use super::dates::{self, Written};
use super::grid::Raw;
use super::headings::{Heading, words};
use super::numbers::{self, Form};
use crate::table::{Kind, Schema};
use hashbrown::{HashMap, HashSet};
use std::hash::{DefaultHasher, Hash, Hasher};

/// Words of headings that may differ between repeated readings of one thing: who, when, by what, in which order, and what was thought of it.
const OF_THE_READING: [&str; 48] = [
    "inspector",
    "operator",
    "by",
    "mechanic",
    "technician",
    "prüfer",
    "checker",
    "reader",
    "user",
    "remark",
    "remarks",
    "comment",
    "comments",
    "note",
    "notes",
    "bemerkung",
    "bemerkungen",
    "kommentar",
    "time",
    "uhrzeit",
    "zeit",
    "timestamp",
    "date",
    "datum",
    "order",
    "auftrag",
    "reading",
    "measurement",
    "trial",
    "repeat",
    "repetition",
    "run",
    "round",
    "messung",
    "wiederholung",
    "status",
    "judged",
    "judgement",
    "ok",
    "result",
    "verdict",
    "bewertung",
    "mail",
    "instrument",
    "gauge",
    "device",
    "micrometer",
    "temperature",
];

/// Words of headings that name a thing, however few rows a table has.
const THINGS: [&str; 24] = [
    "cylinder", "cyl", "zylinder", "cylindre", "bank", "bay", "box", "plant", "site", "werk", "standort", "line",
    "linie", "station", "position", "pos", "rocker", "side", "seite", "engine", "motor", "row", "cavity", "ship",
];

/// Different values of a column that names a few things.
const FEW: usize = 100;
/// Rows whose keys are kept, so that a large table costs no more memory than this.
const KEPT: usize = 4_000_000;

/// A column that is not read.
struct Watched {
    field: usize,
    /// Whether its heading names a thing.
    is_thing: bool,
    values: HashSet<u64>,
    filled: usize,
    /// Whether its cells may be names of few things.
    may_be: bool,
    /// The first row that differs in it from an earlier one that is the same in all that is read: their lines, and the cell.
    differs: Option<(u32, u32, String)>,
}

/// What was seen of the rows.
#[derive(Default)]
pub(super) struct Apart {
    /// Fields that tell what was read, and when.
    keys: Vec<(usize, bool)>,
    watched: Vec<Watched>,
    /// By key the line of the first row and its cells under the watched columns.
    first: HashMap<u64, (u32, Vec<u64>)>,
}

/// A column that tells rows apart.
pub(super) struct Telling {
    pub(super) field: usize,
    pub(super) line: u32,
    pub(super) other: u32,
    pub(super) cell: String,
}

impl Apart {
    /// `keys` are the fields that are read as names, days or hours, those first that are days; `unread` are the fields that are not read.
    pub(super) fn of(schema: &Schema<'_>, keys: Vec<(usize, Kind)>, unread: &[usize], headings: &[String]) -> Self {
        let watched = unread.iter().filter(|_| schema.value.is_some() && !schema.others).filter_map(|&field| {
            let raw = headings.get(field)?;
            let heading = Heading::of(raw);
            let words = words(raw);
            let is_of_the_reading = words.iter().any(|word| OF_THE_READING.contains(&word.as_str()));
            // `No.` alone counts the rows.
            let counts = raw.is_empty()
                || heading.words.iter().all(|word| matches!(word.as_str(), "no" | "nr" | "number" | "num" | "id"));
            let is_thing = words.iter().any(|word| THINGS.contains(&word.as_str()));
            (!counts && (is_thing || !is_of_the_reading)).then(|| Watched {
                field,
                is_thing,
                values: HashSet::new(),
                filled: 0,
                may_be: true,
                differs: None,
            })
        });
        let keys = keys.into_iter().map(|(field, kind)| (field, kind == Kind::Day)).collect();
        Self { keys, watched: watched.collect(), first: HashMap::new() }
    }

    /// Looks at a row that is read; `cell` gives a field of it as it is read.
    pub(super) fn row<'r>(&mut self, line: u32, cell: impl Fn(usize) -> std::borrow::Cow<'r, Raw<'r>>) {
        if self.watched.is_empty() {
            return;
        }
        let mut hasher = DefaultHasher::new();
        for (field, is_day) in &self.keys {
            match cell(*field).as_ref() {
                Raw::Text(text) if *is_day => dates::without_time(text).0.hash(&mut hasher),
                Raw::Text(text) => text.trim().hash(&mut hasher),
                Raw::Number(number) => number.to_bits().hash(&mut hasher),
                other => other.shown().hash(&mut hasher),
            }
        }
        let key = hasher.finish();
        let values: Vec<u64> =
            self.watched.iter_mut().map(|watched| watched.see(cell(watched.field).as_ref())).collect();
        let Some((other, before)) = self.first.get(&key) else {
            if self.first.len() < KEPT {
                self.first.insert(key, (line, values));
            }
            return;
        };
        for ((watched, now), before) in self.watched.iter_mut().zip(values).zip(before) {
            if now != *before && now != 0 && *before != 0 && watched.differs.is_none() {
                watched.differs = Some((line, *other, cell(watched.field).shown()));
            }
        }
    }

    /// The columns that tell rows apart which nothing that is read does.
    pub(super) fn telling(self) -> Vec<Telling> {
        let tells = self.watched.into_iter().filter(|watched| {
            let recurs = 2 * watched.values.len() <= watched.filled;
            watched.may_be && (watched.is_thing || recurs)
        });
        let telling = tells.filter_map(|Watched { field, differs, .. }| {
            let (line, other, cell) = differs?;
            Some(Telling { field, line, other, cell })
        });
        telling.collect()
    }
}

impl Watched {
    /// Adds a cell and gives what stands for it; 0 for nothing.
    fn see(&mut self, cell: &Raw<'_>) -> u64 {
        let mut hasher = DefaultHasher::new();
        match cell {
            Raw::Empty => return 0,
            Raw::Text(text) if numbers::is_nothing(text) => return 0,
            Raw::Text(text) => {
                let text = text.trim();
                let is_fraction = !matches!(numbers::form(text), Form::Whole | Form::Not);
                self.may_be &=
                    text.chars().count() <= 30 && !is_fraction && matches!(dates::written(text), Written::Not);
                text.hash(&mut hasher);
            }
            Raw::Number(number) => {
                self.may_be &= number.fract() == 0.0;
                number.to_bits().hash(&mut hasher);
            }
            Raw::Day(..) | Raw::Wrong(..) => {
                self.may_be = false;
                return 0;
            }
            Raw::Truth(truth) => truth.hash(&mut hasher),
        }
        self.filled += 1;
        let value = hasher.finish() | 1;
        if self.may_be && self.values.insert(value) && self.values.len() > FEW {
            self.may_be = false;
            self.values = HashSet::new();
        }
        value
    }
}
