//! The options that commands share. Each command has only those that it heeds; any other is refused.

use clap::{Args, Parser, ValueEnum};
use packdrift_records::{self as records, InputFile, LengthUnit, read_gauge, read_repeatability};
use packdrift_report::{Lengths, calendar};
use std::path::PathBuf;
use std::str::FromStr;

use crate::command::Command;
use crate::exit::Failure;

/// Keeps the rockers of a shaft where they belong: shim packs, their tolerances, their wear.
///
/// Lengths are in mm, loads in N, temperatures in °C, time in running hours.
///
/// Cautions: what this program prints is arithmetic on the numbers it was given. The engine maker's manual, local rules and
/// licensed practice come first.
#[derive(Debug, Parser)]
#[command(name = "packdrift", version, max_term_width = 100, arg_required_else_help = true)]
#[command(before_help = "\
Examples:
  packdrift tour
  packdrift check pack.toml
  packdrift stack pack.toml --out report

The examples of every command run in the folder that `packdrift tour` makes.")]
#[command(after_help = "\
Exit status: 0 done and acceptable; 1 done, and something is out of limits, due or overdue;
2 the input or the options are wrong; 3 the machine failed.

Begin with `packdrift tour`. `packdrift COMMAND --help` has each command's examples and options.")]
pub(crate) struct Arguments {
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// How a result is delivered.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Output")]
pub(crate) struct Delivery {
    /// On standard output: text for people, or JSON (and nothing else there) for programs.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub(crate) format: Format,
    /// Write report.html, result.json, tables/*.csv and figures/*.svg to this folder.
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
    /// Write all tables to this workbook.
    #[arg(long, value_name = "FILE")]
    pub(crate) xlsx: Option<PathBuf>,
    /// Overwrite what is in the way of --out, --xlsx and the like, though packdrift did not write it so. Never an input.
    #[arg(long)]
    pub(crate) force: bool,
    /// No progress and no notes on standard error; errors still show.
    #[arg(long)]
    pub(crate) quiet: bool,
}

/// Text or JSON.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For people.
    Text,
    /// For programs.
    Json,
}

/// How much of the machine is used, and what files may lead to.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Machine")]
pub(crate) struct Machine {
    /// Let the files that are read name files outside their own folders. Say it only for files whose maker you trust: what is wrong with
    /// such a file is shown with what stands in it.
    #[arg(long)]
    pub(crate) allow_outside: bool,
    /// Threads to compute with; all of the machine's unless given. Results do not depend on it.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub(crate) threads: Option<u16>,
}

impl Machine {
    /// Fixes the number of threads before anything uses them, and what may be read before anything is.
    pub(crate) fn apply(&self) -> Result<(), Failure> {
        if self.allow_outside {
            packdrift_records::allow_files_outside();
        }
        let Some(threads) = self.threads else { return Ok(()) };
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads.into())
            .build_global()
            .map_err(|error| Failure::machine("start the threads", error))
    }
}

/// How tables are written that can mean two things, or are called otherwise than docs/files.md has it.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Tables as they come")]
pub(crate) struct TableOptions {
    /// Which part of a date such as 03/04/2024 comes first, where the table does not tell.
    #[arg(long, value_enum, value_name = "dmy|mdy|ymd")]
    dates: Option<DateName>,
    /// What separates whole numbers from fractions, where the table does not tell (1,883).
    #[arg(long, value_enum, value_name = "point|comma")]
    decimal: Option<DecimalName>,
    /// Which heading stands for which column: value=offset,hours="run hours". A heading that is to be passed over: ignore=remarks. In a
    /// table with a column a feature: feature=sink,feature=lash.
    #[arg(long, value_name = "COLUMN=HEADING,…", value_parser = headings, action = clap::ArgAction::Append)]
    columns: Vec<Headings>,
    /// The sheet of a workbook; hidden ones too.
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
    /// Hidden rows and columns of a workbook's sheet, a filter's too: a note names them, and they are read unless they are to be left out.
    #[arg(long, value_enum, value_name = "read|leave-out")]
    hidden: Option<HiddenName>,
    /// What an empty name, date or hours means: with `above`, the same as in the row above (as merged cells leave it).
    #[arg(long, value_enum, value_name = "above")]
    blanks: Option<BlanksName>,
    /// How the text is encoded, where it is not UTF-8 or UTF-16.
    #[arg(long, value_enum, value_name = "windows-1252")]
    encoding: Option<EncodingName>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum DateName {
    /// 31/12/2024
    Dmy,
    /// 12/31/2024
    Mdy,
    /// 24/12/31
    Ymd,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum DecimalName {
    /// 1.5
    Point,
    /// 1,5
    Comma,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum HiddenName {
    /// Like the others.
    Read,
    /// As if they were not there.
    LeaveOut,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum BlanksName {
    /// The same as above.
    Above,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum EncodingName {
    /// Latin letters in one byte each, as Windows has them.
    #[value(name = "windows-1252")]
    Windows1252,
}

/// Columns with their headings, of one option.
#[derive(Debug, Clone)]
struct Headings(Vec<(String, String)>);

/// `value=offset,hours=run hours`: a comma begins a new pair only where a known column follows.
fn headings(written: &str) -> Result<Headings, String> {
    let known = packdrift_records::column_names();
    let mut pairs: Vec<(String, String)> = Vec::new();
    for piece in written.split(',') {
        match piece.split_once('=').map(|(name, heading)| (name.trim(), heading)) {
            Some((name, heading)) if known.contains(&name) => pairs.push((name.to_owned(), heading.to_owned())),
            _ => match pairs.last_mut() {
                Some((_, heading)) if !piece.contains('=') => {
                    heading.push(',');
                    heading.push_str(piece);
                }
                _ => {
                    let name = piece.split('=').next().unwrap_or_default();
                    return Err(format!("`{name}` is no column; the columns are {}", known.join(", ")));
                }
            },
        }
    }
    let pairs = pairs.into_iter().map(|(name, heading)| (name, heading.trim().trim_matches('"').to_owned()));
    let pairs: Vec<_> = pairs.collect();
    if pairs.iter().any(|(_, heading)| heading.is_empty()) {
        return Err("expected COLUMN=HEADING, such as value=offset".to_owned());
    }
    Ok(Headings(pairs))
}

impl TableOptions {
    /// Whether any of them was given.
    pub(crate) fn is_given(&self) -> bool {
        let tells = self.dates.is_some() || self.decimal.is_some() || !self.columns.is_empty();
        tells || self.sheet.is_some() || self.hidden.is_some() || self.blanks.is_some() || self.encoding.is_some()
    }

    /// For a reader; `today` is the day that counts as such.
    pub(crate) fn reading(&self, today: Option<i32>) -> records::Options {
        let tables = records::TableOptions {
            dates: self.dates.map(|dates| match dates {
                DateName::Dmy => records::DateOrder::DayMonthYear,
                DateName::Mdy => records::DateOrder::MonthDayYear,
                DateName::Ymd => records::DateOrder::YearMonthDay,
            }),
            decimal: self.decimal.map(|decimal| match decimal {
                DecimalName::Point => records::DecimalSign::Point,
                DecimalName::Comma => records::DecimalSign::Comma,
            }),
            columns: self.columns.iter().flat_map(|headings| headings.0.clone()).collect(),
            sheet: self.sheet.clone(),
            hidden_left_out: self.hidden == Some(HiddenName::LeaveOut),
            blanks_above: self.blanks.is_some(),
            windows_1252: self.encoding.is_some(),
        };
        records::Options { today, tables, watch: crate::progress::reading(), ..records::Options::default() }
    }
}

/// A day as ISO 8601 writes it, in days since 1970-01-01.
pub(crate) fn date(written: &str) -> Result<i32, String> {
    calendar::day(written).ok_or_else(|| "expected a date such as 2027-03-01".to_owned())
}

/// mm or in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum UnitName {
    /// Millimetres.
    Mm,
    /// Inches of 25.4 mm.
    In,
}

impl UnitName {
    pub(crate) fn unit(self) -> LengthUnit {
        match self {
            Self::Mm => LengthUnit::Millimetre,
            Self::In => LengthUnit::Inch,
        }
    }
}

/// A unit, for the report.
pub(crate) fn lengths(unit: LengthUnit) -> Lengths {
    match unit {
        LengthUnit::Millimetre => Lengths::Millimetres,
        LengthUnit::Inch => Lengths::Inches,
    }
}

/// The unit of a table's lengths, for the commands that look at any file.
#[derive(Debug, Clone, Copy, Default, Args)]
#[command(next_help_heading = "Units")]
pub(crate) struct TableUnits {
    /// Unit of the lengths in tables, and of what is told of a pack; unless given, mm, and a pack's own.
    #[arg(long, value_name = "mm|in", value_enum)]
    units: Option<UnitName>,
}

impl TableUnits {
    pub(crate) fn lengths(self) -> Option<LengthUnit> {
        self.units.map(UnitName::unit)
    }
}

/// The unit of an answer on a pack file: its own, unless said otherwise.
#[derive(Debug, Clone, Copy, Args)]
#[command(next_help_heading = "Units")]
pub(crate) struct ShownUnits {
    /// Unit of the lengths shown and written; unless given, the pack file's.
    #[arg(long, value_name = "mm|in", value_enum)]
    units: Option<UnitName>,
}

impl ShownUnits {
    /// What it comes to for a file in `pack`.
    pub(crate) fn of(self, pack: LengthUnit) -> LengthUnit {
        self.units.map_or(pack, UnitName::unit)
    }
}

/// The units of a question to the bench or the stock: those of the pack file, unless said otherwise.
#[derive(Debug, Clone, Copy, Args)]
#[command(next_help_heading = "Units")]
pub(crate) struct UnitOptions {
    /// Unit of the lengths given here and shown; unless given, the pack file's.
    #[arg(long, value_name = "mm|in", value_enum)]
    pub(crate) units: Option<UnitName>,
    /// Unit of the drawer's or catalogue's thicknesses; unless given, that of --units.
    #[arg(long, value_name = "mm|in", value_enum)]
    pub(crate) drawer_units: Option<UnitName>,
    /// As --drawer-units in.
    #[arg(long, hide = true, conflicts_with = "drawer_units")]
    pub(crate) stock_inches: bool,
}

impl UnitOptions {
    /// Whether the drawer's were said: of no meaning where no drawer is read.
    pub(crate) fn says_the_drawers(self) -> bool {
        self.drawer_units.is_some() || self.stock_inches
    }

    /// What they come to for a pack file in `pack`.
    pub(crate) fn of(&self, pack: LengthUnit) -> Units {
        let shown = self.units.map_or(pack, UnitName::unit);
        let said = if self.stock_inches { Some(UnitName::In) } else { self.drawer_units };
        Units { shown, drawer: said.map_or(shown, UnitName::unit), drawer_is_said: said.is_some() }
    }
}

/// Units in use.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Units {
    /// Of lengths given as options and of all that is shown.
    pub(crate) shown: LengthUnit,
    /// Of the drawer's thicknesses.
    pub(crate) drawer: LengthUnit,
    /// Whether somebody said so: then it is not questioned.
    pub(crate) drawer_is_said: bool,
}

impl Units {
    /// A length given as an option, in mm.
    pub(crate) fn mm(self, given: f64) -> f64 {
        self.shown.millimetres(&given.to_string()).unwrap_or(given)
    }

    /// For the report.
    pub(crate) fn lengths(self) -> Lengths {
        lengths(self.shown)
    }
}

/// Standard uncertainty of a measured offset unless it is said, mm.
const READING_U: f64 = 0.02;

/// A reading's standard uncertainty: a number in the unit of its command, or the result of a gauge study that found it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum ReadingUncertainty {
    /// In the unit of the command.
    Given(f64),
    /// JSON, as `gauge` writes it.
    Gauge(PathBuf),
}

impl FromStr for ReadingUncertainty {
    type Err = String;

    fn from_str(written: &str) -> Result<Self, String> {
        // What begins like a file's name is one; all else is to be a number.
        let number = crate::number::within(0.0..=10.0);
        let is_number = written.parse::<f64>().is_ok();
        if is_number || written.bytes().all(|b| b.is_ascii_digit() || b == b',') {
            return number(written).map(Self::Given);
        }
        Ok(Self::Gauge(written.into()))
    }
}

impl ReadingUncertainty {
    /// Of an offset, mm: what was given in `units`, or found by a gauge study; 0.02 mm unless said.
    pub(crate) fn of_an_offset(
        given: Option<&Self>,
        units: Units,
        inputs: &mut Vec<InputFile>,
    ) -> Result<f64, Failure> {
        match given {
            None => Ok(READING_U),
            Some(Self::Given(number)) => Ok(units.mm(*number)),
            Some(file) => file.mm(&|given| given, inputs),
        }
    }

    /// Of an offset, and the part of it that repeated readings average away, mm: what was given in `units`, or found by a gauge study, which knows both. None:
    /// nobody has said how large that part is.
    ///
    /// # Errors
    /// A file that is no gauge study's result; a repeatability beyond the uncertainty that it is a part of.
    pub(crate) fn of_an_offset_and_its_repeats(
        u: Option<&Self>,
        repeatability: Option<&Self>,
        units: Units,
        inputs: &mut Vec<InputFile>,
    ) -> Result<(f64, Option<f64>), Failure> {
        let of_a_reading = Self::of_an_offset(u, units, inputs)?;
        let Some(said) = repeatability.or(u.filter(|u| matches!(u, Self::Gauge(_)))) else {
            return Ok((of_a_reading, None));
        };
        let same_file = repeatability.is_none() || repeatability == u;
        let mut read = Vec::new();
        let part = said.repeatability_mm(&|given| units.mm(given), &mut read)?;
        if same_file {
            // Two figures of one study: rounding may carry the part over the whole.
            return Ok((of_a_reading, Some(part.min(of_a_reading))));
        }
        inputs.append(&mut read);
        if part > of_a_reading {
            let [part, whole] = [part, of_a_reading].map(|mm| units.lengths().with_unit(mm));
            return Err(Failure::Refused(format!(
                "the repeatability is {part}, and --u {whole}: the uncertainty of a reading has its repeatability in it, with what is the same each time"
            )));
        }
        Ok((of_a_reading, Some(part)))
    }

    /// The repeatability, mm: the number, which `mm` turns into mm, or what the gauge study found for one operator; a file that was read for it
    /// joins the inputs.
    pub(crate) fn repeatability_mm(
        &self,
        mm: &impl Fn(f64) -> f64,
        inputs: &mut Vec<InputFile>,
    ) -> Result<f64, Failure> {
        match self {
            Self::Given(number) => Ok(mm(*number)),
            Self::Gauge(path) => {
                let gauge = read_repeatability(path)?;
                inputs.extend(gauge.inputs);
                Ok(gauge.value)
            }
        }
    }

    /// The number, which `mm` turns into mm; a file that was read for it joins the inputs.
    pub(crate) fn mm(&self, mm: &impl Fn(f64) -> f64, inputs: &mut Vec<InputFile>) -> Result<f64, Failure> {
        match self {
            Self::Given(number) => Ok(mm(*number)),
            Self::Gauge(path) => {
                let gauge = read_gauge(path)?;
                inputs.extend(gauge.inputs);
                Ok(gauge.value)
            }
        }
    }
}
