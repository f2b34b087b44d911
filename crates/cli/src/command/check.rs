//! `check FILE…`: are these files right?

use crate::args::{Delivery, Machine, TableOptions, TableUnits, date, lengths};
use crate::exit::{Failure, Verdict};
use crate::findings;
use crate::output::{Report, deliver, envelope};
use crate::progress::Progress;
use clap::Args;
use packdrift_records::{self as records, Checked, Fault};
use packdrift_report::check::{self as report, File, Finding};
use packdrift_report::number::counted;
use packdrift_report::table::Standing;
use packdrift_report::{Envelope, Figure, Table};
use packdrift_visible as visible;
use serde::Serialize;
use std::fmt::Write;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};

/// Options of `check`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift check pack.toml inspections.csv policy.toml
  packdrift check inspections.csv --today 2027-01-31
  packdrift check pack.toml --format json")]
pub(crate) struct Check {
    /// Pack, policy or drawing files (TOML); inspections or readings (CSV, Parquet, XLSX).
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// The day that counts as today (ISO 8601): records of later days are mistakes. Unless given, no day is too late.
    #[arg(long, value_name = "DATE", value_parser = date)]
    today: Option<i32>,
    #[command(flatten)]
    units: TableUnits,
    #[command(flatten)]
    tables: TableOptions,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

/// What was checked.
pub(crate) struct Findings {
    envelope: Envelope,
    files: Vec<File>,
    checked: Vec<(PathBuf, Checked)>,
}

impl Check {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let progress = Progress::new("checking");
        let reading = records::Options { lengths: self.units.lengths(), ..self.tables.reading(self.today) };
        let findings = Findings::of(&self.files, &reading)?;
        drop(progress);
        let right = findings.are_none();
        deliver(&findings, &self.delivery)?;
        Ok(if right { Verdict::Acceptable } else { Verdict::Mistakes })
    }
}

impl Findings {
    /// Checks files.
    pub(crate) fn of(files: &[PathBuf], options: &records::Options) -> Result<Self, Failure> {
        let check = |path: &PathBuf| Ok((path.clone(), records::check(path, options)?));
        files.iter().map(check).collect::<Result<_, Failure>>().map(Self::new)
    }

    /// Checks files whose bytes are at hand.
    pub(crate) fn of_sources(files: &[records::Source]) -> Result<Self, Failure> {
        let options = records::Options::default();
        let check = |source: &records::Source| Ok((source.path().to_path_buf(), records::checked(source, &options)?));
        files.iter().map(check).collect::<Result<_, Failure>>().map(Self::new)
    }

    fn new(checked: Vec<(PathBuf, Checked)>) -> Self {
        let inputs: Vec<_> = checked.iter().flat_map(|(_, checked)| checked.inputs.clone()).collect();
        let notices: Vec<_> = checked.iter().flat_map(|(_, checked)| checked.notices.clone()).collect();
        let envelope = envelope("check", &inputs, None, &notices, []);
        let files = checked.iter().map(|(path, checked)| file(path, checked)).collect();
        Self { envelope, files, checked }
    }

    /// The answer in a line, with its mark.
    fn answer(&self) -> String {
        let wrong = self.checked.iter().filter(|(_, checked)| !checked.is_right()).count();
        let mistakes: usize = self.checked.iter().map(|(_, checked)| checked.total).sum();
        let (all, mistakes) = (self.checked.len(), counted(mistakes, "mistake"));
        match wrong {
            0 => format!("{} No mistake in {}.\n", Standing::Good.shape(), counted(all, "file")),
            _ if all == 1 => format!("{} {mistakes}.\n", Standing::Act.shape()),
            _ => format!("{} {mistakes} in {wrong} of {}.\n", Standing::Act.shape(), counted(all, "file")),
        }
    }

    pub(crate) fn are_none(&self) -> bool {
        self.checked.iter().all(|(_, checked)| checked.is_right())
    }
}

fn file(path: &Path, checked: &Checked) -> File {
    let lengths = lengths(checked.unit);
    File {
        path: path.display().to_string(),
        kind: checked.kind.map(records::FileKind::name),
        holds: checked.holds.clone(),
        bays: checked.bays.iter().map(|drawn| report::Bay::new(drawn, lengths)).collect(),
        mistakes: checked.total,
        faults: checked.faults.iter().map(finding).collect(),
    }
}

fn finding(fault: &Fault) -> Finding {
    Finding {
        code: fault.kind.code(),
        path: fault.path.display().to_string(),
        line: fault.place.line(),
        column: fault.place.column(),
        location: fault.location(),
        key: fault.key.clone(),
        found: fault.found.clone(),
        expected: fault.expected.clone(),
        help: fault.help.clone(),
    }
}

impl Report for Findings {
    fn text(&self) -> String {
        let colour = findings::colour(std::io::stdout().is_terminal());
        let mut text = self.answer();
        for ((path, checked), file) in self.checked.iter().zip(&self.files) {
            if checked.is_right() {
                let kind = checked.kind.map_or("", records::FileKind::name);
                // Writing to a String cannot fail.
                let path = path.display().to_string();
                let _ =
                    writeln!(text, "{}: {kind}, no mistake: {}", visible::line(&path), visible::line(&checked.holds));
                for bay in &file.bays {
                    let _ = writeln!(text, "  as drawn: {}", visible::line(&bay.in_words));
                }
            } else {
                text.push_str(&findings::of_file(path, &checked.faults, checked.total, colour));
            }
        }
        text
    }

    /// Its pictures may be coloured; what comes from files in them is made visible piece by piece.
    fn terminal(&self) -> String {
        self.text()
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, &self.files)
    }

    fn tables(&self) -> Vec<Table> {
        report::tables(&self.files)
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        Ok(Vec::new())
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, &self.files)
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }
}
