//! The size and limits of a dimension, on the command line or in a TOML file: shared by `lot`, `gauge` and `sampling`.

use crate::args::{UnitName, lengths};
use crate::exit::Failure;
use clap::Args;
use packdrift_lot::Drawing;
use packdrift_records::{self as records, InputFile, LengthUnit, Notice};
use packdrift_report::Lengths;
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
    /// Unit of the readings, of the lengths given here and of all that is shown; unless given, mm, and what is shown in the unit of --pack.
    #[arg(long, value_enum, value_name = "mm|in")]
    units: Option<UnitName>,
}

impl DrawingOptions {
    pub(crate) fn units(&self) -> LengthUnit {
        self.units.map_or(LengthUnit::Millimetre, UnitName::unit)
    }

    /// The unit of what is shown, beside a pack in `pack` where there is one.
    pub(crate) fn shown(&self, pack: Option<LengthUnit>) -> Lengths {
        lengths(self.units.map(UnitName::unit).or(pack).unwrap_or_default())
    }

    /// A length given as an option, in mm.
    pub(crate) fn mm(&self, given: f64) -> f64 {
        self.units().millimetres(&given.to_string()).unwrap_or(given)
    }

    /// In mm; the file read is added to the inputs.
    pub(crate) fn read(&self, inputs: &mut Vec<InputFile>, notices: &mut Vec<Notice>) -> Result<Drawing, Failure> {
        if let Some(path) = &self.drawing {
            let loaded = records::read_drawing(path)?;
            inputs.extend(loaded.inputs);
            notices.extend(loaded.notices);
            return Ok(loaded.value);
        }
        let given = Drawing { nominal: self.nominal, lower: self.lower, upper: self.upper };
        if self.units() == LengthUnit::Inch {
            // What is wrong is told in the unit that it was given in.
            given.check().map_err(|error| Failure::Refused(error.to_string().replace(" mm", " in")))?;
        }
        let mm = |length: f64| self.mm(length);
        Ok(Drawing { nominal: self.nominal.map(mm), lower: self.lower.map(mm), upper: self.upper.map(mm) })
    }
}
