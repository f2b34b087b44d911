//! The check of files: what each is, and every mistake in it.

use crate::Lengths;
use crate::envelope::{Document, Envelope};
use crate::figure::Error;
use crate::lengths::FINE;
use crate::number::counted;
use crate::page::{Answer, Page, Section};
use crate::table::{Cell, Column, Standing, Table};
use maud::{Markup, html};
use packdrift_pack::{AsDrawn, OffsetAsDrawn};
use serde::Serialize;

/// One file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct File {
    /// As given.
    pub path: String,
    /// What it is, as `pack file`; None where it is nothing the program reads.
    pub kind: Option<&'static str>,
    /// What it holds, in words; empty where it has mistakes.
    pub holds: String,
    /// Of a pack, each bay as its drawing makes it, in every condition.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub bays: Vec<Bay>,
    /// Mistakes in all.
    pub mistakes: usize,
    /// The mistakes, as far as they were kept.
    pub faults: Vec<Finding>,
}

/// A bay at its nominal dimensions, in one condition.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bay {
    /// Its name.
    pub bay: String,
    /// The condition's name.
    pub condition: String,
    /// The unit of its lengths, the file's: `mm` or `in`.
    pub length_unit: &'static str,
    /// Sum of the parts, spring washers free, less the span; below 0 where the bay is loose.
    pub squeeze: f64,
    /// How far the spring washers can be squeezed.
    pub room: f64,
    /// N; None where the bay cannot be assembled.
    pub preload: Option<f64>,
    /// None where the bay cannot be assembled.
    pub play: Option<f64>,
    /// Contact offsets.
    pub offsets: Vec<Offset>,
    /// The same in one line.
    #[serde(skip)]
    pub in_words: String,
}

/// The contact offset of a valve: a range where the bay is loose.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Offset {
    /// The valve's name.
    pub valve: String,
    /// Pushed to the left; None where the bay cannot be assembled.
    pub lowest: Option<f64>,
    /// Pushed to the right.
    pub highest: Option<f64>,
}

impl Bay {
    /// As drawn, in the unit of its file.
    pub fn new(drawn: &AsDrawn, lengths: Lengths) -> Self {
        let of = |mm: f64| lengths.of(mm);
        let offset = |at: &OffsetAsDrawn| {
            let ends = at.offset.ends();
            Offset {
                valve: at.valve.clone(),
                lowest: ends.map(|ends| of(ends.0)),
                highest: ends.map(|ends| of(ends.1)),
            }
        };
        Self {
            bay: drawn.bay.clone(),
            condition: drawn.condition.clone(),
            length_unit: lengths.unit(),
            squeeze: of(drawn.squeeze),
            room: of(drawn.room),
            preload: drawn.preload,
            play: drawn.preload.map(|_| of(drawn.play)),
            offsets: drawn.offsets.iter().map(offset).collect(),
            in_words: drawn.words(&|mm| lengths.fine(mm), lengths.unit()),
        }
    }
}

/// One mistake.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// The sort of mistake, as `unknown-key`.
    pub code: &'static str,
    /// The file it is in (a pack names samples of its own).
    pub path: String,
    /// Line, or row of a sheet or table, from 1.
    pub line: Option<usize>,
    /// Column, from 1.
    pub column: Option<usize>,
    /// `file:line:column`, or what else tells the place.
    pub location: String,
    /// Key or column; empty where it is the file as a whole.
    pub key: String,
    /// As it stands in the file.
    pub found: String,
    /// What could stand there.
    pub expected: String,
    /// What to do.
    pub help: Option<String>,
}

/// The check as JSON.
pub fn json<'a>(envelope: &'a Envelope, files: &'a [File]) -> Document<'a, impl Serialize + 'a> {
    #[derive(Serialize)]
    struct Check<'a> {
        right: bool,
        files: &'a [File],
    }
    envelope.around(Check { right: files.iter().all(|file| file.mistakes == 0), files })
}

/// One table of the files and one of the mistakes.
pub fn tables(files: &[File]) -> Vec<Table> {
    let mut overview = Table::new(
        "files",
        "The files, what they are, and how many mistakes each has",
        vec![Column::text("file"), Column::text("kind"), Column::text("holds"), Column::number("mistakes")],
    );
    for file in files {
        overview.push(vec![
            Cell::text(&file.path),
            file.kind.map_or(Cell::Empty, Cell::text),
            Cell::text(&file.holds),
            Cell::Count(file.mistakes as u64),
        ]);
    }
    let heads = ["place", "sort", "key", "found", "expected", "what to do"];
    let mut mistakes = Table::new("mistakes", "Every mistake, with its place", heads.map(Column::text).to_vec());
    for fault in files.iter().flat_map(|file| &file.faults) {
        mistakes.push(vec![
            Cell::text(&fault.location),
            Cell::text(fault.code),
            Cell::text(&fault.key),
            Cell::text(&fault.found),
            Cell::text(&fault.expected),
            fault.help.as_ref().map_or(Cell::Empty, Cell::text),
        ]);
    }
    let mut tables = vec![overview];
    tables.extend(bays(files));
    tables.push(mistakes);
    tables
}

/// What each pack is as drawn; None where there is no pack.
fn bays(files: &[File]) -> Option<Table> {
    let columns = vec![
        Column::text("file"),
        Column::text("bay"),
        Column::text("condition"),
        Column::text("unit"),
        Column::number("squeeze"),
        Column::number("it can take"),
        Column::number("preload").unit("N"),
        Column::number("play"),
        Column::text("valve"),
        Column::number("offset, from"),
        Column::number("to"),
    ];
    let mut table = Table::new("as-drawn", "Each bay at its nominal dimensions", columns);
    for file in files {
        for bay in &file.bays {
            let decimals = if bay.length_unit == "in" { FINE } else { 4 };
            let length = |value: Option<f64>| value.map_or(Cell::Empty, |value| Cell::fixed(value, decimals));
            let head = || {
                vec![
                    Cell::text(&file.path),
                    Cell::text(&bay.bay),
                    Cell::text(&bay.condition),
                    Cell::text(bay.length_unit),
                    length(Some(bay.squeeze)),
                    length(Some(bay.room)),
                    bay.preload.map_or(Cell::Empty, |preload| Cell::fixed(preload, 1)),
                    length(bay.play),
                ]
            };
            for offset in &bay.offsets {
                let mut row = head();
                row.extend([Cell::text(&offset.valve), length(offset.lowest), length(offset.highest)]);
                table.push(row);
            }
            if bay.offsets.is_empty() {
                let mut row = head();
                row.extend([Cell::Empty, Cell::Empty, Cell::Empty]);
                table.push(row);
            }
        }
    }
    (!table.rows.is_empty()).then_some(table)
}

/// The page.
///
/// # Errors
/// None today; as the other pages for whoever calls them all alike.
pub fn page(envelope: &Envelope, files: &[File]) -> Result<String, Error> {
    let wrong = files.iter().filter(|file| file.mistakes > 0).count();
    let mistakes: usize = files.iter().map(|file| file.mistakes).sum();
    let answer = if wrong == 0 {
        Answer {
            standing: Standing::Good,
            sentence: format!("{} without a mistake.", counted(files.len(), "file")),
            advice: String::new(),
        }
    } else {
        Answer {
            standing: Standing::Act,
            sentence: format!("{} in {} of {}.", counted(mistakes, "mistake"), wrong, counted(files.len(), "file")),
            advice: "Mend them in the order they are listed; one mistake may hide another.".into(),
        }
    };
    let sections = tables(files)
        .iter()
        .filter(|table| !table.rows.is_empty())
        .map(|table| {
            let heading = match table.name.as_str() {
                "files" => "Files",
                "as-drawn" => "As drawn",
                _ => "Mistakes",
            };
            Section::new(heading, body(table))
        })
        .collect();
    let page = Page {
        title: "Are these files right?".into(),
        kind: "packdrift check".into(),
        lead: None,
        notice: String::new(),
        answer: Some(answer),
        sections,
        cautions: Vec::new(),
    };
    Ok(page.html(envelope))
}

fn body(table: &Table) -> Markup {
    html! { (table.html()) }
}
