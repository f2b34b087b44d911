//! `stock PACK`: which thicknesses to hold, and how many, for a fleet.

use crate::args::{Delivery, Machine, ReadingUncertainty};
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope};
use clap::{Args, ValueEnum};
use packdrift_records as records;
use packdrift_report::{Envelope, Figure, Table, stocking as report};
use packdrift_stock::{
    Assumptions, Bench, Corrections, Demand, Measured, Ordering, PacketScatter, Plan, PlanOptions, Shortage, Stream,
    Weights, catalogue_of, plan,
};
use serde::Serialize;
use std::path::PathBuf;

/// Options of `stock`.
#[derive(Debug, Args)]
pub(crate) struct Stock {
    /// The pack file (TOML).
    pack: PathBuf,
    /// The valve that stands for the fleet's.
    #[arg(long, value_name = "NAME")]
    valve: String,
    /// Sizes that can be bought: a drawer file whose rows with a size (and no u) are the catalogue.
    #[arg(long, value_name = "FILE")]
    catalogue: PathBuf,
    /// New builds a day: their corrections scatter as the pack file says.
    #[arg(long, value_name = "RATE", default_value_t = 0.0)]
    new_builds: f64,
    /// Further corrections to come, of re-shims say: columns rate_per_day, correction, and name, sd, squeeze, squeeze_sd.
    #[arg(long, value_name = "FILE")]
    demand: Option<PathBuf>,
    /// Share of each correction of --demand towards the spring washer that makes up for worn faces: the sum of the pieces grows by it.
    #[arg(long, value_name = "SHARE", default_value_t = 0.0, requires = "demand")]
    worn_faces: f64,
    /// Sizes to hold. Unless given: as few as do nearly all that the whole catalogue does.
    #[arg(long, value_name = "N")]
    sizes: Option<usize>,
    /// Wanted share of jobs whose pieces are there.
    #[arg(long, value_name = "P", default_value_t = 0.95)]
    service: f64,
    /// What becomes of a job whose pieces are not there.
    #[arg(long, value_enum, default_value_t = ShortageName::Waits)]
    shortage: ShortageName,
    /// A job is done where the chance that offset and preload are inside is at least this.
    #[arg(long, value_name = "P", default_value_t = 0.9)]
    chance: f64,
    /// Jobs to draw.
    #[arg(long, value_name = "N", default_value_t = 10_000)]
    jobs: usize,
    /// Standard uncertainty of a measured offset, mm, or the gauge study's JSON that found it.
    #[arg(long, value_name = "MM|FILE", default_value = "0.02")]
    u: ReadingUncertainty,
    /// Standard deviation of a packet's mean, as a share of its size, for sizes the pack file has no lot for.
    #[arg(long, value_name = "SHARE", default_value_t = 0.03)]
    packet: f64,
    /// Standard deviation within a packet, mm, for sizes the pack file has no lot for.
    #[arg(long, value_name = "MM", default_value_t = 0.006)]
    within: f64,
    /// Measured pieces of each size to pick among, for the worth of measuring.
    #[arg(long, value_name = "N", default_value_t = 4)]
    held: usize,
    /// What it costs to measure a piece.
    #[arg(long, value_name = "COST", default_value_t = 0.0)]
    measuring: f64,
    /// Scatter of a tighter grade over that of the catalogue.
    #[arg(long, value_name = "SHARE", default_value_t = 0.5)]
    grade: f64,
    /// What a piece of the tighter grade costs more.
    #[arg(long, value_name = "COST", default_value_t = 0.0)]
    premium: f64,
    /// What an order costs: adds reorder points and order quantities.
    #[arg(long, value_name = "COST", requires = "short")]
    order: Option<f64>,
    /// What it costs to hold a piece for a year, as a share of its price.
    #[arg(long, value_name = "SHARE", default_value_t = 0.2)]
    holding: f64,
    /// What a piece short costs a day.
    #[arg(long, value_name = "COST")]
    short: Option<f64>,
    /// Seed of jobs, arrivals and deviations.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
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
}

impl Stock {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let stack = records::read_stack(&self.pack)?;
        let (mut inputs, mut notices) = (stack.inputs, stack.notices);
        let u = self.u.mm(&mut inputs)?;
        let read = records::Options::default();
        let drawer = records::read_drawer(&self.catalogue, records::LengthUnit::Millimetre, &read)?;
        inputs.extend(drawer.inputs);
        notices.extend(drawer.notices);
        let mut demand = Demand::default();
        if let Some(path) = &self.demand {
            let loaded = records::read_demand(path, &read)?;
            inputs.extend(loaded.inputs);
            notices.extend(loaded.notices);
            demand = loaded.value;
            let none = Corrections::Normal { mean: 0.0, sd: 0.0 };
            if self.worn_faces != 0.0 && demand.streams.iter().any(|stream| stream.squeeze != none) {
                let reason = "says itself by how much the sum has to grow (squeeze): leave --worn-faces out";
                return Err(Failure::Refused(format!("{}: {reason}", path.display())));
            }
            demand.streams.iter_mut().for_each(|stream| stream.worn_faces = self.worn_faces);
        }
        if self.demand.is_none() && self.new_builds == 0.0 {
            return Err(Failure::Refused(
                "nothing is asked of the drawer: give --new-builds, --demand, or both".to_owned(),
            ));
        }
        let defaults = PlanOptions::default();
        let seed = self.seed.unwrap_or(defaults.simulation.seed);
        let scatter = PacketScatter { between_share: self.packet, within: self.within };
        scatter.check()?;
        let measured = [Measured { valve: self.valve.clone(), offset: None, u }];
        let assumptions = Assumptions { packet: scatter, seed, ..Assumptions::default() };
        let bench = Bench::new(&stack.value, &measured, &[], assumptions)?;
        let frame = bench.frame(u, self.chance, Weights::default())?;
        if self.new_builds != 0.0 {
            demand.streams.push(Stream {
                name: "new builds".to_owned(),
                rate_per_day: self.new_builds,
                correction: bench.corrections_of_new_builds(&frame)?,
                squeeze: Corrections::Normal { mean: 0.0, sd: 0.0 },
                worn_faces: 0.0,
            });
        }
        let catalogue = catalogue_of(&drawer.value, &stack.value, scatter)?;
        let mut options = PlanOptions { sizes: self.sizes, jobs: self.jobs, service: self.service, ..defaults };
        options.simulation.seed = seed;
        options.simulation.shortage = match self.shortage {
            ShortageName::Waits => Shortage::Waits,
            ShortageName::Elsewhere => Shortage::GotElsewhere,
        };
        options.sorting.held = self.held;
        options.sorting.cost_of_measuring = self.measuring;
        options.sorting.grade = self.grade;
        options.sorting.premium = self.premium;
        options.sorting.seed = seed;
        options.ordering = self.order.zip(self.short).map(|(order, short)| Ordering {
            order,
            holding_share: self.holding,
            short_per_day: short,
        });
        let plan = plan(&frame, &demand, &catalogue, &options)?;
        let envelope = envelope("stock", &inputs, Some(seed), &notices, Vec::new());
        let acceptable = plan.levels.is_some() && plan.chosen.coverage >= self.service;
        deliver(&Planned { envelope, plan }, &self.delivery)?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }
}

impl Report for Planned {
    fn text(&self) -> String {
        report::text(&self.plan)
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, &self.plan)
    }

    fn tables(&self) -> Vec<Table> {
        report::tables(&self.plan)
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        report::figures(&self.plan)
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, &self.plan)
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }
}
