//! `new KIND FILE`: a file to begin with, commented, right as it stands, with what the user must answer marked.

mod pack;
mod tables;

use crate::exit::{Failure, Verdict, say};
use crate::interrupt;
use crate::output::{in_window, places, to_stdout};
use clap::{Args, ValueEnum};
use packdrift_records::{self as records, Source, write};
use packdrift_visible as visible;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Options of `new`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift new pack mine.toml
  packdrift new pack wave.toml --rockers 1 --spring wave --units in
  packdrift new inspections inspections.xlsx")]
pub(crate) struct New {
    /// What to begin.
    #[arg(value_enum)]
    kind: Kind,
    /// The file to write: .toml for pack and policy; .csv or .xlsx for the others.
    #[arg(value_name = "FILE")]
    output: PathBuf,
    #[command(flatten)]
    questions: pack::Questions,
    /// Overwrite FILE, though packdrift did not write it so.
    #[arg(long, help_heading = "Output")]
    force: bool,
    /// Ask nothing, and say nothing of what to do next.
    #[arg(long, help_heading = "Output")]
    quiet: bool,
}

/// What a file is to hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// What sits between two faces (TOML).
    Pack,
    /// Readings of valves, for trend and due.
    Inspections,
    /// What the planner has decided (TOML).
    Policy,
    /// Measured parts of a supplier's lots.
    Readings,
    /// A gauge study: parts read by several people, several times.
    Gauge,
    /// Pieces and sizes to pick from.
    Drawer,
    /// Past deliveries and how many parts of each sample were outside.
    Deliveries,
}

impl New {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.refuse_what_does_not_fit()?;
        // Nobody answers questions for a file that may not be written.
        places::refuse_taken(&self.output, self.force)?;
        let (bytes, drawn) = match self.kind {
            Kind::Pack => {
                let pack = self.questions.answered(self.quiet)?;
                (pack.toml().into_bytes(), pack.drawing())
            }
            Kind::Policy => (include_str!("policy.toml").as_bytes().to_vec(), String::new()),
            Kind::Inspections => (tables::INSPECTIONS.bytes(&self.output)?, String::new()),
            Kind::Readings => (tables::READINGS.bytes(&self.output)?, String::new()),
            Kind::Gauge => (tables::GAUGE.bytes(&self.output)?, String::new()),
            Kind::Drawer => (tables::DRAWER.bytes(&self.output)?, String::new()),
            Kind::Deliveries => (tables::DELIVERIES.bytes(&self.output)?, String::new()),
        };
        let understood = understood(&self.output, &bytes)?;
        {
            let _writing = interrupt::while_writing();
            write::file(&self.output, &bytes)?;
        }
        let shown = self.output.display().to_string();
        let mut text = in_window(|| format!("{shown}: {understood}"));
        // The picture stays as it is drawn.
        text.push_str(&drawn);
        to_stdout(|out| out.write_all(visible::text(&text).as_bytes()))?;
        if !self.quiet {
            say(&self.next(&shown));
        }
        Ok(Verdict::Acceptable)
    }

    fn refuse_what_does_not_fit(&self) -> Result<(), Failure> {
        let is_document = matches!(self.kind, Kind::Pack | Kind::Policy);
        let fits = match extension(&self.output).as_str() {
            "toml" => is_document,
            "csv" | "xlsx" => !is_document,
            _ => false,
        };
        if !fits {
            let wanted = if is_document { ".toml" } else { ".csv or .xlsx" };
            let shown = self.output.display();
            return Err(Failure::Refused(format!("{shown}: this file is to end in {wanted}; name it so")));
        }
        if self.kind != Kind::Pack && self.questions.are_answered() {
            return Err(Failure::Refused("--rockers, --spring and --units belong to `new pack`".to_owned()));
        }
        Ok(())
    }

    fn next(&self, shown: &str) -> String {
        let next = match self.kind {
            Kind::Pack => format!("packdrift stack {shown}"),
            Kind::Policy => format!("packdrift trend inspections.csv --policy {shown}"),
            Kind::Inspections => format!("packdrift trend {shown} --policy policy.toml"),
            Kind::Readings => format!("packdrift lot {shown} --lower 0.57 --upper 0.63"),
            Kind::Gauge => format!("packdrift gauge {shown} --lower 0.57 --upper 0.63"),
            Kind::Drawer => format!("packdrift shim mine.toml --stock {shown} --valve \"valve 1\" --measured 1.2"),
            Kind::Deliveries => format!("packdrift sampling --lot-size 1000 --limit 1 --history {shown}"),
        };
        let marked = match self.kind {
            Kind::Pack | Kind::Policy => "Lines that end in `# ?` hold an example: put your own there.",
            _ => "The rows that say EXAMPLE are examples: put your own there.",
        };
        format!("{marked}\nThen: packdrift check {shown}\n      {next}\n")
    }
}

fn extension(path: &Path) -> String {
    path.extension().map(|extension| extension.to_string_lossy().to_lowercase()).unwrap_or_default()
}

/// What `check` says of the file. What is wrong with one of our own is our defect, and is shown rather than written.
fn understood(path: &Path, bytes: &[u8]) -> Result<String, Failure> {
    let checked = records::checked(&Source::from_bytes(path, bytes.to_vec()), &records::Options::default())?;
    if !checked.is_right() {
        return Err(Failure::Input(records::InputError { faults: checked.faults, total: checked.total }));
    }
    let kind = checked.kind.map_or("", records::FileKind::name);
    let mut text = format!("{kind}: {}\n", checked.holds);
    for bay in &checked.bays {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "  as drawn: {bay}");
    }
    Ok(text)
}
