//! Where results go: standard output, a folder, a workbook, a calendar.
//!
//! Everything is rendered first and written then: a folder as a whole or not at all, each other file likewise. Files come before standard
//! output, so that a reader who closes the pipe early loses none. What may be overwritten, and what not: [`places`].

mod asked;
mod cells;
pub(crate) mod kinds;
pub(crate) mod places;

pub(crate) use asked::{canonical_arguments, note_arguments};

use crate::args::{Delivery, Format};
use crate::exit::{Failure, say};
use crate::interrupt;
use packdrift_records::write::{self, FolderWriter};
use packdrift_records::{InputFile, Notice};
use packdrift_report::table::{Column, Table};
use packdrift_report::{Envelope, Figure, text};
use packdrift_visible as visible;
use serde::Serialize;
use std::collections::BTreeMap;
use std::io::{self, BufWriter, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// A result that can be shown in all ways.
pub(crate) trait Report {
    /// For people, on a terminal.
    fn text(&self) -> String;
    /// [`Report::text`] without characters that steer the terminal; to be overridden where the text itself takes care of that.
    fn terminal(&self) -> String {
        visible::text(&self.text()).into_owned()
    }
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
    /// Files of the folder that are the user's from then on, by name.
    fn given(&self) -> Vec<(&str, &str)> {
        Vec::new()
    }
    /// Further files that an option asks for, with their contents.
    fn lone(&self) -> Vec<(PathBuf, Vec<u8>)> {
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
    places::note_read(inputs);
    Envelope {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        command: command.to_owned(),
        arguments: asked::arguments_of(command),
        inputs: inputs.iter().map(|input| (input.path.display().to_string(), input.sha256.clone())).collect(),
        seed,
        warnings: notices.iter().map(ToString::to_string).chain(warnings).collect(),
    }
}

/// Delivers a result as the options say.
pub(crate) fn deliver(result: &impl Report, delivery: &Delivery) -> Result<(), Failure> {
    let mut lone = result.lone();
    if let Some(path) = &delivery.xlsx {
        let tables = result.tables();
        let sheets: Vec<_> = tables.iter().map(cells::sheet).collect();
        lone.push((path.clone(), write::workbook_bytes(path, &sheets)?));
    }
    let folder = match &delivery.out {
        Some(folder) => Some(Folder::render(folder, result, &mut lone)?),
        None => None,
    };
    let text = (delivery.format == Format::Text).then(|| in_window(|| result.terminal()));
    {
        let _writing = interrupt::while_writing();
        for (path, _) in &lone {
            places::refuse_taken(path, delivery.force)?;
        }
        if let Some(folder) = folder {
            folder.write(result, delivery.force)?;
        }
        for (path, contents) in &lone {
            write::file(path, contents)?;
        }
    }
    if delivery.format == Format::Text && !delivery.quiet {
        say(&notes(result.notes()));
    }
    match delivery.format {
        Format::Json => to_stdout(|out| json_to(result, out)),
        Format::Text => to_stdout(|out| out.write_all(text.unwrap_or_default().as_bytes())),
    }
}

/// Notes as they stand on standard error: each begins with `note:`, and stays on one line where there is no window.
pub(crate) fn notes(notes: &[String]) -> String {
    let window = window(&io::stderr());
    let one = |note: &String| match window {
        Some(columns) => format!("note: {}", text::wrapped(note, columns, 6).trim_start()),
        None => format!("note: {note}\n"),
    };
    text::fitted(window, || notes.iter().map(one).collect())
}

/// Text for standard output, laid out for the window where there is one.
pub(crate) fn in_window(render: impl FnOnce() -> String) -> String {
    let window = window(&io::stdout());
    let text = text::fitted(window, render);
    match window {
        Some(columns) => text::broken(&text, columns),
        None => text,
    }
}

/// No window is taken to be narrower: a table needs some room.
const NARROWEST: usize = 40;

/// The columns of the window that a stream is shown in: as the variable COLUMNS has it (POSIX), else the terminal's own. None where the
/// stream goes into a file or a pipe.
fn window(stream: &impl IsTerminal) -> Option<usize> {
    let told = std::env::var("COLUMNS").ok().and_then(|columns| columns.trim().parse::<usize>().ok());
    let seen = || {
        let size = stream.is_terminal().then(terminal_size::terminal_size).flatten();
        size.map(|(terminal_size::Width(columns), _)| usize::from(columns))
    };
    told.filter(|&columns| columns > 0).or_else(seen).map(|columns| columns.max(NARROWEST))
}

/// A table that another command reads, as a sheet.
pub(crate) fn table_sheet(name: &str, columns: &[&str], rows: &[Vec<write::Cell>]) -> write::Sheet {
    let head = |key: &&str| write::Column { head: (*key).to_owned(), unit: None };
    write::Sheet {
        name: name.to_owned(),
        caption: String::new(),
        columns: columns.iter().map(head).collect(),
        rows: rows.to_vec(),
    }
}

/// A table that another command reads, as a file of the kind that its name says: .csv or .xlsx.
pub(crate) fn table_bytes(
    path: &Path,
    name: &str,
    columns: &[&str],
    rows: &[Vec<write::Cell>],
) -> Result<Vec<u8>, Failure> {
    let extension = path.extension().map(|extension| extension.to_string_lossy().to_lowercase());
    match extension.as_deref() {
        Some("csv") => {
            let columns = columns.iter().map(|key| Column::text(key).key(key)).collect();
            let mut table = Table::new(name, "", columns);
            table.rows = rows.iter().map(|row| row.iter().map(cells::in_csv).collect()).collect();
            Ok(table.csv().into_bytes())
        }
        Some("xlsx") => Ok(write::workbook_bytes(path, &[table_sheet(name, columns, rows)])?),
        _ => Err(Failure::Refused(format!("{}: a table is written as .csv or .xlsx; name it so", path.display()))),
    }
}

/// The result as JSON on a line.
fn json_to(result: &impl Report, out: &mut dyn Write) -> io::Result<()> {
    let mut out = visible::Json::new(out);
    result.write_json(&mut out)?;
    out.write_all(b"\n")?;
    out.flush()
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
struct Folder {
    folder: PathBuf,
    files: BTreeMap<PathBuf, Vec<u8>>,
}

impl Folder {
    /// Renders report, tables and figures. Lone files that belong in the folder are taken over.
    fn render(folder: &Path, result: &impl Report, lone: &mut Vec<(PathBuf, Vec<u8>)>) -> Result<Self, Failure> {
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
        for (path, contents) in std::mem::take(lone) {
            match places::name_in(folder, &path) {
                Some(name) => drop(files.insert(name, contents)),
                None => lone.push((path, contents)),
            }
        }
        Ok(Self { folder: folder.to_path_buf(), files })
    }

    /// Puts all of them in place, or none.
    fn write(self, result: &impl Report, force: bool) -> Result<(), Failure> {
        let mut writer = FolderWriter::new(&self.folder)?;
        for (name, contents) in result.given() {
            writer.give(name, contents.as_bytes())?;
        }
        for (name, contents) in &self.files {
            writer.file(name, |out| out.write_all(contents))?;
        }
        writer.file("result.json", |out| json_to(result, out))?;
        writer.commit(&places::read(), force)?;
        Ok(())
    }
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
