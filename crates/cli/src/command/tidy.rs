//! `tidy IN OUT`: a table as it comes, written once as this program has it.

use crate::args::{Format, TableOptions, TableUnits};
use crate::exit::{Failure, Verdict, say};
use crate::interrupt;
use crate::output::{envelope, in_window, notes, places, table_bytes, to_stdout};
use clap::Args;
use packdrift_records::{self as records, Change, Source, Tidied, write};
use packdrift_visible as visible;
use serde_json::json;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::PathBuf;

/// Options of `tidy`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift tidy shop.csv tidied.csv
  packdrift tidy shop.csv tidied.xlsx --dates dmy --columns date=Inspected")]
#[command(after_help = "\
shop.csv is in docs/examples: semicolons, decimal commas, a column a feature, dates with the day first.")]
pub(crate) struct Tidy {
    /// The table as it comes (CSV, XLSX or Parquet).
    #[arg(value_name = "IN")]
    table: PathBuf,
    /// The table to write: .csv or .xlsx, by its name.
    #[arg(value_name = "OUT")]
    output: PathBuf,
    #[command(flatten)]
    units: TableUnits,
    #[command(flatten)]
    tables: TableOptions,
    /// The report on standard output: text for people, or JSON (and nothing else there) for programs.
    #[arg(long, value_enum, default_value_t = Format::Text, help_heading = "Output")]
    format: Format,
    /// Overwrite OUT, though packdrift did not write it so. Never an input.
    #[arg(long, help_heading = "Output")]
    force: bool,
    /// No notes on standard error; errors still show.
    #[arg(long, help_heading = "Output")]
    quiet: bool,
}

/// Changes that are listed one by one for people; JSON has them all.
const LISTED: usize = 1000;

impl Tidy {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        let source = Source::read(&self.table)?;
        let reading = records::Options { lengths: self.units.lengths(), ..self.tables.reading(None) };
        let tidied = records::tidied(&source, &reading)?;
        let envelope = envelope("tidy", std::slice::from_ref(&tidied.input), None, &tidied.notices, []);
        let bytes = table_bytes(&self.output, tidied.kind.sheet_name(), &tidied.columns, &tidied.rows)?;
        {
            let _writing = interrupt::while_writing();
            places::refuse_taken(&self.output, self.force)?;
            write::file(&self.output, &bytes)?;
        }
        if self.format == Format::Json {
            let changes: Vec<_> = tidied.changes.iter().map(change_as_json).collect();
            let written = json!({
                "path": self.output.display().to_string(),
                "kind": tidied.kind.name(),
                "columns": tidied.columns,
                "rows": tidied.rows.len(),
            });
            let result = envelope.around(json!({ "written": written, "changes": changes }));
            to_stdout(|out| {
                let mut out = visible::Json::new(out);
                serde_json::to_writer(&mut out, &result)?;
                out.write_all(b"\n")
            })?;
        } else {
            if !self.quiet {
                say(&notes(&envelope.warnings));
            }
            let text = in_window(|| self.text(&tidied));
            to_stdout(|out| out.write_all(visible::text(&text).as_bytes()))?;
        }
        Ok(Verdict::Acceptable)
    }

    fn text(&self, tidied: &Tidied) -> String {
        let mut text = String::new();
        let (rows, columns) = (tidied.rows.len(), tidied.columns.join(", "));
        // Writing to a String cannot fail.
        let _ = writeln!(text, "{}: {}, {rows} rows: {columns}", self.output.display(), tidied.kind.name());
        match tidied.changes.len() {
            0 => text.push_str("Every cell stands as it stood.\n"),
            count => {
                let _ = writeln!(
                    text,
                    "{count} cells are written otherwise than they stood (line or row, column, was, is):"
                );
            }
        }
        for Change { line, column, was, now } in tidied.changes.iter().take(LISTED) {
            let shown = |cell: &str| if cell.is_empty() { "an empty cell".to_owned() } else { format!("\"{cell}\"") };
            let _ = writeln!(text, "  {line:>6}  {column}: {} -> {}", shown(was), shown(now));
        }
        if tidied.changes.len() > LISTED {
            let _ = writeln!(text, "  and {} more; --format json has them all", tidied.changes.len() - LISTED);
        }
        text
    }
}

fn change_as_json(change: &Change) -> serde_json::Value {
    json!({ "line": change.line, "column": change.column, "was": change.was, "is": change.now })
}
