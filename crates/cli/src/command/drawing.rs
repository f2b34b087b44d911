//! The size and limits of a dimension, on the command line or in a TOML file: shared by `lot`, `gauge` and `sampling`.

use crate::exit::Failure;
use clap::{Args, ValueEnum};
use packdrift_lot::Drawing;
use packdrift_records::{self as records, InputFile, LengthUnit, Notice};
use std::path::PathBuf;

/// What the drawing says.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Drawing")]
pub(crate) struct DrawingOptions {
    /// Size on the packet or drawing.
    #[arg(long, value_name = "LENGTH")]
    nominal: Option<f64>,
    /// Lower limit.
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true)]
    lower: Option<f64>,
    /// Upper limit.
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true)]
    upper: Option<f64>,
    /// TOML file with a `[drawing]` table instead.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["nominal", "lower", "upper"])]
    drawing: Option<PathBuf>,
    /// Unit of the readings and of the lengths given here.
    #[arg(long, value_enum, value_name = "mm|in", default_value_t = UnitName::Mm)]
    units: UnitName,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum UnitName {
    Mm,
    In,
}

impl DrawingOptions {
    pub(crate) fn units(&self) -> LengthUnit {
        match self.units {
            UnitName::Mm => LengthUnit::Millimetre,
            UnitName::In => LengthUnit::Inch,
        }
    }

    /// A length given as an option, in mm.
    pub(crate) fn mm(&self, given: f64) -> f64 {
        match self.units {
            UnitName::Mm => given,
            UnitName::In => given * records::MILLIMETRES_PER_INCH,
        }
    }

    /// In mm; the file read is added to the inputs.
    pub(crate) fn read(&self, inputs: &mut Vec<InputFile>, notices: &mut Vec<Notice>) -> Result<Drawing, Failure> {
        if let Some(path) = &self.drawing {
            let loaded = records::read_drawing(path)?;
            inputs.extend(loaded.inputs);
            notices.extend(loaded.notices);
            return Ok(loaded.value);
        }
        let mm = |length: f64| self.mm(length);
        Ok(Drawing { nominal: self.nominal.map(mm), lower: self.lower.map(mm), upper: self.upper.map(mm) })
    }
}
