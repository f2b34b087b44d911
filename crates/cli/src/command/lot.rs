//! `lot READINGS`: is this supplier's scatter acceptable, against the drawing and in the pack.

use crate::args::{Delivery, Machine, ReadingUncertainty, TableOptions};
use crate::command::drawing::DrawingOptions;
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope};
use crate::progress::Progress;
use clap::{Args, ValueEnum};
use packdrift_lot::{Instrument, LotOptions, Order, SetAside, ShapeKnowledge, Sorting, study_setting_aside};
use packdrift_lotpack::{lots_in_pack, scatter_unseen};
use packdrift_records as records;
use packdrift_report::lot::{self as report, LeftOut, Lots};
use packdrift_report::{Envelope, Figure, Table};
use serde::Serialize;
use std::path::PathBuf;
use std::str::FromStr;

/// Options of `lot`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift lot shims-0.60.csv --drawing drawing-0.60.toml
  packdrift lot shims-0.60.csv --nominal 0.60 --lower 0.57 --upper 0.63 --u 0.002
  packdrift lot shims-0.60.csv --drawing drawing-0.60.toml --pack pack.toml --as \"shim 0.60\"")]
pub(crate) struct Lot {
    /// The readings (CSV, Parquet or XLSX): columns lot, part, reading.
    readings: PathBuf,
    #[command(flatten)]
    drawing: DrawingOptions,
    /// Largest acceptable share outside the limits.
    #[arg(long, help_heading = "The verdict", value_name = "SHARE", default_value_t = 0.0027)]
    max_out: f64,
    /// Confidence of every interval and bound.
    #[arg(long, help_heading = "The verdict", value_name = "P", default_value_t = 0.95)]
    confidence: f64,
    /// Standard uncertainty of one reading, or the gauge study's JSON that found it. Readings near a limit then prove nothing (ISO 14253-1), and the
    /// bound holds with all readings off by what of it is the same each time: all but --repeatability.
    #[arg(long, help_heading = "The instrument", value_name = "LENGTH|FILE")]
    u: Option<ReadingUncertainty>,
    /// Standard deviation of repeated readings of one part, or the gauge study's JSON that found it. It is taken out of the scatter.
    #[arg(long, help_heading = "The instrument", value_name = "LENGTH|FILE")]
    repeatability: Option<ReadingUncertainty>,
    /// Step in which the instrument reads. Unless given: found from the readings.
    #[arg(long, help_heading = "The instrument", value_name = "LENGTH")]
    step: Option<f64>,
    /// In which order the parts were made. Where it is known charts are drawn, and steadiness enters the verdict. Numbers given at a bench are
    /// not the order made.
    #[arg(long, help_heading = "The verdict", value_enum, default_value_t = OrderName::Unknown)]
    order: OrderName,
    /// What is known of the shape of the scatter. Unknown: the verdict allows for every shape that the readings do not rule out.
    #[arg(long, help_heading = "The verdict", value_enum, default_value_t = ShapeName::Unknown)]
    shape: ShapeName,
    /// Every part was sorted through the drawing's limits before delivery. LENGTH: the sorting gauge's standard uncertainty, from a study of it. Unless
    /// given, or below 1/120 of the tolerance, no lot is acceptable by its sorting alone; above a quarter of the tolerance the sorting counts for nothing.
    #[arg(long, help_heading = "The verdict", value_name = "LENGTH", num_args = 0..=1, require_equals = true)]
    #[allow(clippy::option_option, reason = "not given, given, given with a number")]
    sorted: Option<Option<f64>>,
    /// Set one wild reading of a lot aside, for a reason. Both answers are shown, and the worse is the verdict. May be given for several lots.
    #[arg(long, help_heading = "The verdict", value_name = "LINE=REASON")]
    set_aside: Vec<AsideName>,
    /// Chart means of this many consecutive parts instead of single ones.
    #[arg(long, help_heading = "The verdict", value_name = "N")]
    subgroup: Option<usize>,
    /// Judge the lot in this pack too (TOML).
    #[arg(long, help_heading = "In the pack", value_name = "FILE", requires = "stands_for")]
    pack: Option<PathBuf>,
    /// What the lot is in the pack: the name of one of its lots, or a part as bay/part.
    #[arg(long = "as", help_heading = "In the pack", value_name = "NAME", requires = "pack")]
    stands_for: Option<String>,
    /// Which lots to put into the pack; all of the readings' unless given.
    #[arg(long = "lot", help_heading = "In the pack", value_name = "NAME", requires = "pack")]
    only: Vec<String>,
    /// Seed of the random numbers.
    #[arg(long, help_heading = "The verdict", value_name = "N")]
    seed: Option<u64>,
    #[command(flatten)]
    tables: TableOptions,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum OrderName {
    /// By the parts' numbers.
    Number,
    /// As the rows stand in the file.
    File,
    /// Not known: no charts.
    Unknown,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum ShapeName {
    /// Not known.
    Unknown,
    /// All lots of the table scatter alike: their readings together tell the shape.
    Alike,
    /// Normal, from long experience with such parts.
    Normal,
}

/// `LINE=REASON`.
#[derive(Debug, Clone)]
struct AsideName(SetAside);

impl FromStr for AsideName {
    type Err = String;

    fn from_str(written: &str) -> Result<Self, String> {
        let parts = written.split_once('=').map(|(line, reason)| (line.trim().parse::<u32>(), reason.trim()));
        match parts {
            Some((Ok(line), reason)) if !reason.is_empty() => Ok(Self(SetAside { line, reason: reason.to_owned() })),
            _ => Err("expected a line of the file and the reason, such as 17=\"burr under the anvil\"".to_owned()),
        }
    }
}

/// Lots and what came of them, as they are shown.
struct Judged {
    envelope: Envelope,
    lots: Lots,
}

/// Most lots put into a pack in one run: each needs analyses of its own.
const MOST_IN_PACK: usize = 12;

/// Largest standard uncertainty of a sorting gauge, as of --u.
const MOST_SORTING: f64 = 10.0;

impl Lot {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let progress = Progress::new("judging");
        let loaded = records::read_readings(
            &self.readings,
            records::Study::Lots,
            self.drawing.units(),
            &self.tables.reading(None),
        )?;
        let mut inputs = loaded.inputs;
        let mut notices = loaded.notices;
        let drawing = self.drawing.read(&mut inputs, &mut notices)?;
        let mm = &|given: f64| self.drawing.mm(given);
        if let Some(sorted) = self.sorted.flatten().filter(|u| !(0.0..=MOST_SORTING).contains(u)) {
            return Err(Failure::Refused(format!(
                "--sorted={sorted}: it must be a number between 0 and {MOST_SORTING}"
            )));
        }
        let u = self.u.as_ref().map(|u| u.mm(mm, &mut inputs, &mut notices)).transpose()?;
        let repeatability = self.repeatability.as_ref().map(|r| r.repeatability_mm(mm, &mut inputs)).transpose()?;
        let defaults = LotOptions::default();
        let options = LotOptions {
            drawing,
            max_out: self.max_out,
            confidence: self.confidence,
            instrument: Instrument {
                uncertainty: u,
                repeatability,
                repeatability_shown: matches!(self.repeatability, Some(ReadingUncertainty::Gauge(_))),
                step: self.step.map(mm),
            },
            order: match self.order {
                OrderName::Number => Order::ByNumber,
                OrderName::File => Order::AsListed,
                OrderName::Unknown => Order::Unknown,
            },
            shape: match self.shape {
                ShapeName::Unknown => ShapeKnowledge::Unknown,
                ShapeName::Alike => ShapeKnowledge::Alike,
                ShapeName::Normal => ShapeKnowledge::Normal,
            },
            sorting: self.sorted.map(|uncertainty| Sorting { uncertainty: uncertainty.map(mm) }),
            subgroup: self.subgroup,
            seed: self.seed.unwrap_or(defaults.seed),
            ..defaults
        };
        let set_aside: Vec<SetAside> = self.set_aside.iter().map(|s| s.0.clone()).collect();
        let result = study_setting_aside(&loaded.value, &options, &set_aside)?;
        let (mut packs, mut left_out, mut pack_unit) = (Vec::new(), Vec::new(), None);
        if let (Some(path), Some(stands_for)) = (&self.pack, &self.stands_for) {
            let stack = records::read_pack(path)?;
            inputs.extend(stack.inputs);
            notices.extend(stack.notices);
            pack_unit = Some(stack.value.units);
            for name in &self.only {
                loaded.value.lot_named(name)?;
            }
            let chosen: Vec<_> =
                result.lots.iter().filter(|l| self.only.is_empty() || self.only.contains(&l.name)).collect();
            if chosen.len() > MOST_IN_PACK {
                return Err(Failure::Refused(format!(
                    "{} lots at once are too many for the pack: choose at most {MOST_IN_PACK} with --lot NAME",
                    chosen.len()
                )));
            }
            let seen: Vec<_> = chosen.iter().copied().filter(|l| scatter_unseen(l).is_none()).collect();
            left_out = chosen
                .iter()
                .filter_map(|l| Some(LeftOut { lot: l.name.clone(), reason: scatter_unseen(l)?.to_owned() }))
                .collect();
            let spread = packdrift_spread::Options { seed: options.seed, ..packdrift_spread::Options::default() };
            if !seen.is_empty() {
                packs = lots_in_pack(&stack.value.stack, stands_for, &seen, &options, &spread, &progress)?;
            }
        }
        drop(progress);
        let lots = Lots::new(result, packs, left_out, self.drawing.shown(pack_unit));
        let envelope = envelope("lot", &inputs, Some(options.seed), &notices, lots.warnings());
        let acceptable = lots.acceptable();
        deliver(&Judged { envelope, lots }, &self.delivery)?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }
}

impl Report for Judged {
    fn text(&self) -> String {
        report::text(&self.lots)
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, &self.lots)
    }

    fn tables(&self) -> Vec<Table> {
        report::tables(&self.lots)
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        report::figures(&self.lots)
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, &self.lots)
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }

    fn extras(&self) -> Vec<(&'static str, String)> {
        let paste = report::paste(&self.lots);
        if paste.is_empty() { Vec::new() } else { vec![("lots.toml", paste)] }
    }
}
