//! The check of files: what each is, and every mistake in it.

use crate::envelope::{Document, Envelope};
use crate::figure::Error;
use crate::number::counted;
use crate::page::{Answer, Page, Section};
use crate::table::{Cell, Column, Standing, Table};
use maud::{Markup, html};
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
    /// Mistakes in all.
    pub mistakes: usize,
    /// The mistakes, as far as they were kept.
    pub faults: Vec<Finding>,
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
    vec![overview, mistakes]
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
        .map(|table| Section::new(if table.name == "files" { "Files" } else { "Mistakes" }, body(table)))
        .collect();
    let page = Page {
        title: "Are these files right?".into(),
        kind: "packdrift check".into(),
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
