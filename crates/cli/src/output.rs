//! Where results go: standard output, a folder, a workbook.
//!
//! Everything is rendered first and written then, each file whole or not at all. Files come before standard output, so that a
//! reader who closes the pipe early loses none.

use crate::args::{Delivery, Format};
use crate::exit::{Failure, say};
use crate::interrupt;
use packdrift_records::{InputFile, Notice, write};
use packdrift_report::table::{self, Table};
use packdrift_report::{Envelope, Figure};
use serde::Serialize;
use std::collections::BTreeMap;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// A result that can be shown in all ways.
pub(crate) trait Report {
    /// For people, on a terminal.
    fn text(&self) -> String;
    /// For programs.
    fn json(&self) -> impl Serialize + '_;
    /// The same, written out.
    fn write_json(&self, out: &mut dyn Write) -> io::Result<()> {
        serde_json::to_writer(out, &self.json())?;
        Ok(())
    }
    /// For spreadsheets.
    fn tables(&self) -> Vec<Table>;
    /// As SVG.
    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error>;
    /// The report.
    fn page(&self) -> Result<String, packdrift_report::Error>;
    /// What the reader must know.
    fn notes(&self) -> &[String];
    /// Further files of the folder, by name.
    fn extras(&self) -> Vec<(&'static str, String)> {
        Vec::new()
    }
}

/// The head of a result.
pub(crate) fn envelope(
    command: &str,
    inputs: &[InputFile],
    seed: Option<u64>,
    notices: &[Notice],
    warnings: impl IntoIterator<Item = String>,
) -> Envelope {
    Envelope {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        command: command.to_owned(),
        inputs: inputs.iter().map(|input| (input.path.display().to_string(), input.sha256.clone())).collect(),
        seed,
        warnings: notices.iter().map(ToString::to_string).chain(warnings).collect(),
    }
}

/// Delivers a result as the options say.
pub(crate) fn deliver(result: &impl Report, delivery: &Delivery) -> Result<(), Failure> {
    let folder = match &delivery.out {
        Some(folder) => Some(Folder::render(folder, result)?),
        None => None,
    };
    let workbook = delivery.xlsx.as_ref().map(|path| (path, result.tables()));
    let text = (delivery.format == Format::Text).then(|| result.text());
    let _writing = interrupt::while_writing();
    if let Some(folder) = folder {
        folder.write(result)?;
    }
    if let Some((path, tables)) = workbook {
        write::workbook(path, &tables.iter().map(sheet).collect::<Vec<_>>())?;
    }
    if delivery.format == Format::Text && !delivery.quiet {
        say(&result.notes().iter().map(|note| format!("note: {note}\n")).collect::<String>());
    }
    match delivery.format {
        Format::Json => to_stdout(|out| {
            result.write_json(out)?;
            out.write_all(b"\n")
        }),
        Format::Text => to_stdout(|out| out.write_all(text.unwrap_or_default().as_bytes())),
    }
}

/// Writes to standard output; a reader that has gone is no failure.
pub(crate) fn to_stdout(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), Failure> {
    let mut out = BufWriter::with_capacity(1 << 16, io::stdout().lock());
    let written = write(&mut out).and_then(|()| out.flush());
    // What is left in the buffer of a closed pipe must not be tried again when it is dropped.
    let (_, _) = out.into_parts();
    match written {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure::machine("write to standard output", error))
        }
        _ => Ok(()),
    }
}

/// The files of `--out`, rendered.
pub(crate) struct Folder {
    folder: PathBuf,
    files: BTreeMap<PathBuf, Vec<u8>>,
}

impl Folder {
    /// Renders report, tables and figures.
    pub(crate) fn render(folder: &Path, result: &impl Report) -> Result<Self, Failure> {
        let mut files = BTreeMap::from([(PathBuf::from("report.html"), result.page()?.into_bytes())]);
        for (name, contents) in result.extras() {
            files.insert(PathBuf::from(name), contents.into_bytes());
        }
        for table in result.tables() {
            files.insert(unused(&files, "tables", &table.name, "csv"), table.csv().into_bytes());
        }
        for figure in result.figures()? {
            files.insert(unused(&files, "figures", &figure.id, "svg"), figure.standalone().into_bytes());
        }
        Ok(Self { folder: folder.to_path_buf(), files })
    }

    /// Writes them, and takes away those of an earlier run that this one does not have.
    pub(crate) fn write(self, result: &impl Report) -> Result<(), Failure> {
        for (name, contents) in &self.files {
            write::file(&self.folder.join(name), contents)?;
        }
        write::file_with(&self.folder.join("result.json"), |out| {
            result.write_json(out)?;
            out.write_all(b"\n")
        })?;
        for earlier in listed(&self.folder).iter().filter(|earlier| !self.files.contains_key(*earlier)) {
            // It may have been taken away already.
            let _ = std::fs::remove_file(self.folder.join(earlier));
        }
        let list: String = self.files.keys().map(|name| format!("{}\n", name.display())).collect();
        write::file(&self.folder.join(LIST), list.as_bytes())?;
        Ok(())
    }
}

/// Names what was written into a folder, so that a later run can take away what it does not replace.
const LIST: &str = "files.txt";

/// The tables and figures that an earlier run wrote into the folder. Whatever else the list may name is left alone.
fn listed(folder: &Path) -> Vec<PathBuf> {
    let list = std::fs::read_to_string(folder.join(LIST)).unwrap_or_default();
    let ours = |line: &&str| match line.split_once('/') {
        Some(("tables", name)) => name.ends_with(".csv") && !name.contains(['/', '\\']),
        Some(("figures", name)) => name.ends_with(".svg") && !name.contains(['/', '\\']),
        _ => false,
    };
    list.lines().filter(ours).map(PathBuf::from).collect()
}

/// `folder/name.extension`, with a number where another file has that name already.
fn unused(files: &BTreeMap<PathBuf, Vec<u8>>, folder: &str, name: &str, extension: &str) -> PathBuf {
    let name = if name.is_empty() { "unnamed" } else { name };
    let numbered = |number: u32| match number {
        1 => PathBuf::from(folder).join(format!("{name}.{extension}")),
        more => PathBuf::from(folder).join(format!("{name}-{more}.{extension}")),
    };
    (1..).map(numbered).find(|path| !files.contains_key(path)).unwrap_or_else(|| numbered(u32::MAX))
}

/// A table as the sheet of a workbook.
fn sheet(table: &Table) -> write::Sheet {
    write::Sheet {
        name: table.name.replace('-', " "),
        caption: table.caption.clone(),
        columns: table
            .columns
            .iter()
            .map(|column| write::Column { head: column.head.clone(), unit: column.unit.clone() })
            .collect(),
        rows: table.rows.iter().map(|row| row.iter().map(cell).collect()).collect(),
    }
}

fn cell(cell: &table::Cell) -> write::Cell {
    match cell {
        table::Cell::Text(text) | table::Cell::Verdict { word: text, .. } => write::Cell::Text(text.clone()),
        table::Cell::Number { value, .. } => write::Cell::Number(*value),
        table::Cell::Count(count) => write::Cell::Number(*count as f64),
        table::Cell::Empty => write::Cell::Empty,
    }
}
