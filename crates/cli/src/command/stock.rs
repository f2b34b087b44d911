//! `stock PACK`: which thicknesses to hold, and how many, for a fleet.

use crate::args::{Delivery, Machine, ReadingUncertainty, TableOptions, UnitName, UnitOptions, Units};
use crate::exit::{Failure, Verdict, of_stock};
use crate::number::{above_zero, whole, within};
use crate::output::{Report, deliver, envelope};
use crate::progress::Progress;
use clap::{Args, ValueEnum};
use packdrift_records as records;
use packdrift_report::stocking::Stocked;
use packdrift_report::{Envelope, Figure, Lengths, Table, stocking as report};
use packdrift_stock::{
    Assumptions, Bench, Corrections, Demand, Measured, Ordering, PacketScatter, Plan, PlanOptions, Shortage, Stream,
    Weights, catalogue_of, plan_watched, question_the_corrections, question_the_unit,
};
use serde::Serialize;
use std::path::PathBuf;

/// Options of `stock`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift stock pack.toml --valve \"1 exhaust\" --catalogue drawer.csv --new-builds 0.05
  packdrift stock pack.toml --valve \"1 exhaust\" --catalogue drawer.csv --new-builds 0.05 --sizes 4")]
pub(crate) struct Stock {
    /// The pack file (TOML).
    pack: PathBuf,
    /// The valve that stands for the fleet's.
    #[arg(long, help_heading = "The job", value_name = "NAME")]
    valve: String,
    /// Sizes that can be bought: a drawer file whose rows with a size (and no u) are the catalogue.
    #[arg(long, help_heading = "The job", value_name = "FILE")]
    catalogue: PathBuf,
    /// New builds a day: their corrections scatter as the pack file says.
    #[arg(
        long,
        help_heading = "Corrections to come",
        value_name = "RATE",
        default_value_t = 0.0,
        value_parser = within(0.0..=1e6)
    )]
    new_builds: f64,
    /// Further corrections to come, of re-shims say: columns rate_per_day, correction, and name, sd, squeeze, squeeze_sd.
    #[arg(long, help_heading = "Corrections to come", value_name = "FILE")]
    demand: Option<PathBuf>,
    /// Unit of the demand's corrections; unless given, that of --units.
    #[arg(long, help_heading = "Corrections to come", value_name = "mm|in", value_enum, requires = "demand")]
    demand_units: Option<UnitName>,
    /// Share of each correction of --demand towards the spring washer that makes up for worn faces: the sum of the pieces grows by it.
    #[arg(
        long,
        help_heading = "Corrections to come",
        value_name = "SHARE",
        default_value_t = 0.0,
        requires = "demand",
        value_parser = within(0.0..=1.0)
    )]
    worn_faces: f64,
    /// Days from order to drawer, of sizes whose row of the catalogue has no lead_days.
    #[arg(long, help_heading = "What to hold", value_name = "DAYS", value_parser = within(0.0..=36525.0))]
    lead_days: Option<f64>,
    /// Sizes to hold. Unless given: as few as do nearly all that the whole catalogue does.
    #[arg(long, help_heading = "What to hold", value_name = "N", value_parser = whole::<u16>(1..=64))]
    sizes: Option<u16>,
    /// Wanted share of jobs whose pieces are there.
    #[arg(
        long,
        help_heading = "What to hold",
        value_name = "P",
        default_value_t = 0.95,
        value_parser = within(0.01..=0.9999)
    )]
    service: f64,
    /// What becomes of a job whose pieces are not there.
    #[arg(long, help_heading = "What to hold", value_enum, default_value_t = ShortageName::Waits)]
    shortage: ShortageName,
    /// A job is done where the chance that offset and preload are inside is at least this.
    #[arg(long, help_heading = "The job", value_name = "P", default_value_t = 0.9, value_parser = within(0.5..=0.9999))]
    chance: f64,
    /// Jobs to draw.
    #[arg(
        long,
        help_heading = "What to hold",
        value_name = "N",
        default_value_t = 10_000,
        value_parser = whole::<u32>(100..=1_000_000)
    )]
    jobs: u32,
    /// Standard uncertainty of a measured offset, or the gauge study's JSON that found it [default: 0.02 mm].
    #[arg(long, help_heading = "The job", value_name = "LENGTH|FILE")]
    u: Option<ReadingUncertainty>,
    /// Standard deviation of a packet's mean, as a share of its size, for sizes the pack file has no lot for.
    #[arg(
        long,
        help_heading = "The pieces",
        value_name = "SHARE",
        default_value_t = 0.03,
        value_parser = within(0.0..=1.0)
    )]
    packet: f64,
    /// Standard deviation within a packet, for sizes the pack file has no lot for [default: 0.006 mm].
    #[arg(long, help_heading = "The pieces", value_name = "LENGTH", value_parser = within(0.0..=1.0))]
    within: Option<f64>,
    /// Measured pieces of each size to pick among, for the worth of measuring.
    #[arg(
        long,
        help_heading = "The pieces",
        value_name = "N",
        default_value_t = 4,
        value_parser = whole::<u16>(1..=12)
    )]
    held: u16,
    /// What it costs to measure a piece.
    #[arg(
        long,
        help_heading = "The pieces",
        value_name = "COST",
        default_value_t = 0.0,
        value_parser = within(0.0..=1e9)
    )]
    measuring: f64,
    /// Scatter of a tighter grade over that of the catalogue.
    #[arg(
        long,
        help_heading = "The pieces",
        value_name = "SHARE",
        default_value_t = 0.5,
        value_parser = within(0.0..=10.0)
    )]
    grade: f64,
    /// What a piece of the tighter grade costs more.
    #[arg(
        long,
        help_heading = "The pieces",
        value_name = "COST",
        default_value_t = 0.0,
        value_parser = within(0.0..=1e9)
    )]
    premium: f64,
    /// What an order costs: adds reorder points and order quantities.
    #[arg(long, help_heading = "Costs", value_name = "COST", requires = "short", value_parser = above_zero(1e9))]
    order: Option<f64>,
    /// What it costs to hold a piece for a year, as a share of its price.
    #[arg(
        long,
        help_heading = "Costs",
        value_name = "SHARE",
        default_value_t = 0.2,
        value_parser = within(1e-6..=100.0)
    )]
    holding: f64,
    /// What a piece short costs a day.
    #[arg(long, help_heading = "Costs", value_name = "COST", value_parser = above_zero(1e9))]
    short: Option<f64>,
    /// Seed of jobs, arrivals and deviations.
    #[arg(long, help_heading = "What to hold", value_name = "N")]
    seed: Option<u64>,
    #[command(flatten)]
    units: UnitOptions,
    #[command(flatten)]
    tables: TableOptions,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum ShortageName {
    /// It waits for them.
    Waits,
    /// Its pieces are got elsewhere.
    Elsewhere,
}

/// A plan and where it came from.
struct Planned {
    envelope: Envelope,
    plan: Plan,
    lengths: Lengths,
}

impl Stock {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let loaded = records::read_pack(&self.pack)?;
        let (mut inputs, mut notices) = (loaded.inputs, loaded.notices);
        let units = self.units.of(loaded.value.units);
        let stack = loaded.value.stack;
        let u = ReadingUncertainty::of_an_offset(self.u.as_ref(), units, &mut inputs, &mut notices)?;
        let drawer = records::read_drawer(&self.catalogue, units.drawer, &self.tables.reading(None))?;
        inputs.extend(drawer.inputs);
        notices.extend(drawer.notices);
        let mut demand = self.demand(units, &mut inputs, &mut notices)?;
        let options = self.options();
        let seed = options.simulation.seed;
        let within = self.within.map_or(PacketScatter::default().within, |within| units.mm(within));
        let scatter = PacketScatter { between_share: self.packet, within };
        let measured = [Measured::unread(self.valve.as_str(), u)];
        let assumptions = Assumptions { packet: scatter, seed, ..Assumptions::default() };
        let lengths = units.lengths();
        let bench = Bench::new(&stack, &measured, &[], assumptions).map_err(of_stock(lengths))?;
        if !units.drawer_is_said {
            question_the_unit(&drawer.value, &bench.thicknesses()).map_err(of_stock(lengths))?;
        }
        let bay = bench.stocking_bay(u, self.chance, Weights::default()).map_err(of_stock(lengths))?;
        if self.demand_units.is_none() {
            question_the_corrections(&demand, &bay).map_err(of_stock(lengths))?;
        }
        if self.new_builds != 0.0 {
            demand.streams.push(Stream {
                name: "new builds".to_owned(),
                rate_per_day: self.new_builds,
                correction: bench.corrections_of_new_builds(&bay)?,
                squeeze: Corrections::Normal { mean: 0.0, sd: 0.0 },
                worn_faces: 0.0,
            });
        }
        let catalogue = catalogue_of(&drawer.value, &stack, scatter, self.lead_days)?;
        let progress = Progress::new("stocking");
        let plan = plan_watched(&bay, &demand, &catalogue, &options, &progress).map_err(of_stock(lengths))?;
        drop(progress);
        let envelope =
            envelope("stock", &inputs, Some(seed), &notices, super::shim::questions(bench.never_binds(), units.shown));
        let acceptable = plan.verdict.exit_status() == 0;
        deliver(&Planned { envelope, plan, lengths }, &self.delivery)?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }

    /// What is asked of the drawer beside new builds.
    fn demand(
        &self,
        units: Units,
        inputs: &mut Vec<records::InputFile>,
        notices: &mut Vec<records::Notice>,
    ) -> Result<Demand, Failure> {
        let Some(path) = &self.demand else {
            if self.new_builds == 0.0 {
                let reason = "nothing is asked of the drawer: give --new-builds, --demand, or both";
                return Err(Failure::Refused(reason.to_owned()));
            }
            return Ok(Demand::default());
        };
        let loaded = records::read_demand(path, &self.tables.reading(None))?;
        inputs.extend(loaded.inputs);
        notices.extend(loaded.notices);
        let mut demand = loaded.value;
        let none = Corrections::Normal { mean: 0.0, sd: 0.0 };
        if self.worn_faces != 0.0 && demand.streams.iter().any(|stream| stream.squeeze != none) {
            let reason = "says itself by how much the sum has to grow (squeeze): leave --worn-faces out";
            return Err(Failure::Refused(format!("{}: {reason}", path.display())));
        }
        demand.streams.iter_mut().for_each(|stream| stream.worn_faces = self.worn_faces);
        if self.demand_units.map_or(units.shown, UnitName::unit) == records::LengthUnit::Inch {
            demand = demand.scaled(records::MILLIMETRES_PER_INCH);
        }
        Ok(demand)
    }

    fn options(&self) -> PlanOptions {
        let sizes = self.sizes.map(usize::from);
        let mut options =
            PlanOptions { sizes, jobs: self.jobs as usize, service: self.service, ..PlanOptions::default() };
        let seed = self.seed.unwrap_or(options.simulation.seed);
        options.simulation.seed = seed;
        options.simulation.shortage = match self.shortage {
            ShortageName::Waits => Shortage::Waits,
            ShortageName::Elsewhere => Shortage::GotElsewhere,
        };
        options.sorting.held = self.held.into();
        options.sorting.cost_of_measuring = self.measuring;
        options.sorting.grade = self.grade;
        options.sorting.premium = self.premium;
        options.sorting.seed = seed;
        options.ordering = self.order.zip(self.short).map(|(order, short)| Ordering {
            order,
            holding_share: self.holding,
            short_per_day: short,
        });
        options
    }
}

impl Planned {
    fn shown(&self) -> Stocked<'_> {
        Stocked { plan: &self.plan, lengths: self.lengths }
    }
}

impl Report for Planned {
    fn text(&self) -> String {
        report::text(&self.shown())
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, &self.shown())
    }

    fn tables(&self) -> Vec<Table> {
        report::tables(&self.shown())
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        report::figures(&self.shown())
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, &self.shown())
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }
}
