//! `allocate PACK`: which tolerance to tighten, which may be opened, at the least cost; with `--fit-from` together with the drawer that
//! every build is fitted from.

mod fit_from;

use crate::args::{Delivery, Machine, UnitOptions};
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope};
use crate::progress::Progress;
use clap::Args;
use packdrift_records::{self as records, LengthUnit};
use packdrift_report::{Envelope, Figure, Table, allocate as report};
use packdrift_spread::{AllocateOptions, Allocation, allocate};
use serde::Serialize;
use std::path::PathBuf;

/// Options of `allocate`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift allocate pack-with-prices.toml --max-out 0.02
  packdrift allocate pack-with-prices.toml --max-out 0.01 --out cheaper
  packdrift allocate pack-with-prices.toml --max-out 0.02 --fit-from drawer.csv --choices 20")]
pub(crate) struct Allocate {
    /// The pack file (TOML); dimensions whose tolerance may change have a `cost`.
    pack: PathBuf,
    /// Largest acceptable share of packs in which any requirement fails; the smallest `max_out` of the requirements unless given.
    #[arg(long, value_name = "SHARE", value_parser = share)]
    max_out: Option<f64>,
    /// Seed of the random numbers; the same seed gives the same result on every machine.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    #[command(flatten)]
    units: UnitOptions,
    #[command(flatten)]
    fit: fit_from::FitFrom,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

fn share(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(share) if share > 0.0 && share < 1.0 => Ok(share),
        _ => Err("expected a share above 0 and below 1, such as 0.0027".to_owned()),
    }
}

/// A stack and its allocation.
struct Allocated {
    envelope: Envelope,
    stack: packdrift_spread::Stack,
    result: Allocation,
}

impl Allocate {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        if self.fit.catalogue.is_some() {
            return self.fit_from();
        }
        self.refuse_without_a_catalogue()?;
        let loaded = records::read_pack(&self.pack)?;
        let unit = self.units.of(loaded.value.units).shown;
        let loaded = loaded.map(|file| file.stack);
        let defaults = AllocateOptions::default();
        let options = AllocateOptions { max_out: self.max_out, seed: self.seed.unwrap_or(defaults.seed) };
        let progress = Progress::new("allocating");
        let result = allocate(&loaded.value, &options, &progress)?;
        drop(progress);
        let result = if unit == LengthUnit::Inch { result.in_inches(&loaded.value) } else { result };
        let warnings = result.warnings.iter().map(ToString::to_string);
        let envelope = envelope("allocate", &loaded.inputs, Some(options.seed), &loaded.notices, warnings);
        let acceptable = result.acceptable();
        deliver(&Allocated { envelope, stack: loaded.value, result }, &self.delivery)?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }
}

impl Report for Allocated {
    fn text(&self) -> String {
        report::text(&self.stack, &self.result)
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, &self.stack, &self.result)
    }

    fn tables(&self) -> Vec<Table> {
        report::tables(&self.stack, &self.result)
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        report::figures(&self.stack, &self.result)
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, &self.stack, &self.result)
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }
}
