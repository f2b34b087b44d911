//! `gauge READINGS`: can this micrometer see the difference?

use crate::args::{Delivery, Machine, TableOptions};
use crate::command::drawing::DrawingOptions;
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope};
use clap::{Args, ValueEnum};
use packdrift_lot::gauge::{GaugeOptions, Interaction, study};
use packdrift_lotpack::reading_in_pack;
use packdrift_records as records;
use packdrift_report::gauge::{self as report, Gauged};
use packdrift_report::{Envelope, Figure, Table};
use serde::Serialize;
use std::path::PathBuf;

/// Options of `gauge`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift gauge gauge.csv --tolerance 0.06
  packdrift gauge gauge.csv --tolerance 0.06 --difference 0.05 --pack pack.toml")]
pub(crate) struct Gauge {
    /// The readings (CSV, Parquet or XLSX): columns part, operator, trial, reading, and lot where there are several.
    readings: PathBuf,
    #[command(flatten)]
    drawing: DrawingOptions,
    /// Width of the tolerance, where the drawing gives no two limits.
    #[arg(long, help_heading = "The study", value_name = "LENGTH", conflicts_with_all = ["lower", "upper", "drawing"])]
    tolerance: Option<f64>,
    /// The smallest difference between two sizes it must tell (shims 0.05 apart: 0.05).
    #[arg(long, help_heading = "The study", value_name = "LENGTH")]
    difference: Option<f64>,
    /// Whether operators may differ by part.
    #[arg(long, help_heading = "The study", value_enum, default_value_t = InteractionName::Test)]
    interaction: InteractionName,
    /// Confidence of every interval.
    #[arg(long, help_heading = "The study", value_name = "P", default_value_t = 0.95)]
    confidence: f64,
    /// Carry a reading's error through this pack (TOML): what picking shims by such readings does to every requirement.
    #[arg(long, help_heading = "In the pack", value_name = "FILE")]
    pack: Option<PathBuf>,
    /// What is measured in the pack: one of its lots, or a part as bay/part; all shims unless given.
    #[arg(long = "as", help_heading = "In the pack", value_name = "NAME", requires = "pack")]
    stands_for: Option<String>,
    /// Seed of the simulated intervals.
    #[arg(long, help_heading = "The study", value_name = "N")]
    seed: Option<u64>,
    #[command(flatten)]
    tables: TableOptions,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum InteractionName {
    /// Where a test says so.
    Test,
    /// Kept.
    With,
    /// Pooled into repeatability.
    Without,
}

/// A study and what came of it.
struct Studied {
    envelope: Envelope,
    gauged: Gauged,
}

impl Gauge {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let loaded = records::read_readings(
            &self.readings,
            records::Study::Gauge,
            self.drawing.units(),
            &self.tables.reading(None),
        )?;
        let mut inputs = loaded.inputs;
        let mut notices = loaded.notices;
        let drawing = self.drawing.read(&mut inputs, &mut notices)?;
        drawing.check()?;
        let defaults = GaugeOptions::default();
        let options = GaugeOptions {
            tolerance: self
                .tolerance
                .map(|given| self.drawing.mm(given))
                .or(drawing.lower.zip(drawing.upper).map(|(l, u)| u - l)),
            difference: self.difference.map(|given| self.drawing.mm(given)),
            interaction: match self.interaction {
                InteractionName::Test => Interaction::ByTest,
                InteractionName::With => Interaction::With,
                InteractionName::Without => Interaction::Without,
            },
            confidence: self.confidence,
            seed: self.seed.unwrap_or(defaults.seed),
            ..defaults
        };
        let result = study(&loaded.value, &options)?;
        let (mut pack, mut pack_unit) = (None, None);
        if let Some(path) = &self.pack {
            let stack = records::read_pack(path)?;
            inputs.extend(stack.inputs);
            notices.extend(stack.notices);
            pack_unit = Some(stack.value.units);
            let u = result.components.gauge.sd;
            // A study that saw no scatter has no error to carry: its answer says so.
            if u > 0.0 {
                pack = Some(reading_in_pack(&stack.value.stack, self.stands_for.as_deref(), u, options.seed)?);
            }
        }
        let acceptable = result.verdict().exit_status() == 0;
        let gauged = Gauged::new(result, pack, self.drawing.shown(pack_unit));
        let envelope = envelope("gauge", &inputs, Some(options.seed), &notices, gauged.warnings());
        deliver(&Studied { envelope, gauged }, &self.delivery)?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }
}

impl Report for Studied {
    fn text(&self) -> String {
        report::text(&self.gauged)
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, &self.gauged)
    }

    fn tables(&self) -> Vec<Table> {
        report::tables(&self.gauged)
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        report::figures(&self.gauged)
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, &self.gauged)
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }
}
