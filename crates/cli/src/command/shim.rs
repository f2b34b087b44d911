//! `shim PACK`: which of the pieces in the drawer to fit to this rocker.

use crate::args::{Delivery, Machine, ReadingUncertainty};
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope};
use clap::Args;
use packdrift_records as records;
use packdrift_report::shim::Shimming;
use packdrift_report::{Envelope, Figure, Table, shim as report};
use packdrift_stock::{After, Assumptions, Bench, Measured, Options, PacketScatter, Proposal};
use packdrift_trend::{Inspections, Latest};
use serde::Serialize;
use std::path::PathBuf;

/// Options of `shim`.
#[derive(Debug, Args)]
pub(crate) struct Shim {
    /// The pack file (TOML).
    pack: PathBuf,
    /// The valve whose rocker is to be shimmed.
    #[arg(long, value_name = "NAME")]
    valve: String,
    /// Its contact offset as measured, mm.
    #[arg(long, value_name = "OFFSET", allow_negative_numbers = true, conflicts_with = "inspections")]
    measured: Option<f64>,
    /// Take the latest offset of the valve from these inspections (with --engine where there are several).
    #[arg(long, value_name = "FILE")]
    inspections: Option<PathBuf>,
    /// The engine, in the inspections.
    #[arg(long, value_name = "NAME", requires = "inspections")]
    engine: Option<String>,
    /// The inspections' name of the contact offset.
    #[arg(long, value_name = "NAME", default_value = "contact_offset")]
    feature: String,
    /// A second rocker of the same bay, shimmed at the same time.
    #[arg(long, value_name = "NAME")]
    also: Option<String>,
    /// The second rocker's contact offset as measured, mm.
    #[arg(
        long,
        value_name = "OFFSET",
        allow_negative_numbers = true,
        requires = "also",
        conflicts_with = "inspections"
    )]
    also_measured: Option<f64>,
    /// Standard uncertainty of a measured offset, mm, or the gauge study's JSON that found it.
    #[arg(long, value_name = "MM|FILE", default_value = "0.02")]
    u: ReadingUncertainty,
    /// The drawer (CSV, Parquet or XLSX): columns piece or size, thickness, u, count, cost, lead_days.
    #[arg(long, value_name = "FILE")]
    stock: PathBuf,
    /// The drawer's thicknesses are in inches.
    #[arg(long)]
    stock_inches: bool,
    /// One piece may be thinned by hand by up to this, mm.
    #[arg(long, value_name = "MM")]
    dress: Option<f64>,
    /// Builds to list.
    #[arg(long, value_name = "N", default_value_t = 10)]
    list: usize,
    /// A build with at least this chance of being inside its limits is good enough.
    #[arg(long, value_name = "P", default_value_t = 0.95)]
    enough: f64,
    /// What a part touched must bring in chance to be worth it.
    #[arg(long, value_name = "P", default_value_t = 0.01)]
    per_part: f64,
    /// How far wear may have moved a measured valve since the drawing, standard deviation, mm; 0 for a new build.
    #[arg(long, value_name = "MM", default_value_t = 0.3)]
    drift: f64,
    /// Share of that wear which has thinned the rocker's face and what it rests on, so that the spring washer has lost as much squeeze.
    #[arg(long, value_name = "SHARE", default_value_t = 0.0)]
    worn_faces: f64,
    /// Standard deviation of a packet's mean, as a share of its size, for sizes the pack file has no lot for.
    #[arg(long, value_name = "SHARE", default_value_t = 0.03)]
    packet: f64,
    /// Standard deviation within a packet, mm, for sizes the pack file has no lot for.
    #[arg(long, value_name = "MM", default_value_t = 0.006)]
    within: f64,
    /// The build was made: the offset measured after it, mm. Once more for every further build: each is taken from the list that the
    /// result before it led to.
    #[arg(long, value_name = "READING", allow_negative_numbers = true)]
    result: Vec<f64>,
    /// The second rocker's offset after the build, mm; once for each build as --result.
    #[arg(long, value_name = "READING", allow_negative_numbers = true, requires = "result", requires = "also")]
    also_result: Vec<f64>,
    /// Which build of the list was made; once for each build as --result. Unless given: the one advised.
    #[arg(long, value_name = "N", requires = "result", value_parser = clap::value_parser!(u16).range(1..))]
    built: Vec<u16>,
    /// Seed of the draws behind the chances.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

/// A bench and what came of it.
struct Shimmed {
    envelope: Envelope,
    title: String,
    bench: Bench,
    measured: Vec<Measured>,
    read_on: Vec<Option<i32>>,
    proposal: Proposal,
    enough: f64,
    per_part: f64,
    after: Option<(usize, After)>,
}

impl Shim {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let stack = records::read_stack(&self.pack)?;
        let (mut inputs, mut notices) = (stack.inputs, stack.notices);
        let u = self.u.mm(&mut inputs)?;
        let units = if self.stock_inches { records::LengthUnit::Inch } else { records::LengthUnit::Millimetre };
        let drawer = records::read_drawer(&self.stock, units, &records::Options::default())?;
        inputs.extend(drawer.inputs);
        notices.extend(drawer.notices);
        let mut offsets = ((self.measured, None), (self.also_measured, None));
        if let Some(path) = &self.inspections {
            let loaded = records::read_inspections(path, &records::Options::default())?;
            inputs.extend(loaded.inputs);
            notices.extend(loaded.notices);
            let latest = |valve: &str| {
                read_of(&loaded.value, self.engine.as_deref(), valve, &self.feature)
                    .map_err(|reason| Failure::Refused(format!("{}: {reason}", path.display())))
            };
            let of = |valve: &str| latest(valve).map(|(value, day)| (Some(value), day));
            offsets.0 = of(&self.valve)?;
            if let Some(also) = &self.also {
                offsets.1 = of(also)?;
            }
        }
        let mut measured = vec![Measured { valve: self.valve.clone(), offset: offsets.0.0, u }];
        if let Some(also) = &self.also {
            measured.push(Measured { valve: also.clone(), offset: offsets.1.0, u });
        }
        let mut read_on = [offsets.0.1, offsets.1.1][..measured.len()].to_vec();
        let seed = self.seed.unwrap_or(Assumptions::default().seed);
        let assumptions = Assumptions {
            packet: PacketScatter { between_share: self.packet, within: self.within },
            drift: self.drift,
            worn_faces: self.worn_faces,
            seed,
            ..Assumptions::default()
        };
        let mut options = Options { list: self.list, dress: self.dress, enough: self.enough, ..Options::default() };
        options.weights.per_part = self.per_part;
        for (option, given) in [("--also-result", self.also_result.len()), ("--built", self.built.len())] {
            if given > self.result.len() {
                let readings = self.result.len();
                return Err(Failure::Refused(format!(
                    "{option} is given {given} times and --result {readings}: once for each build"
                )));
            }
        }
        let mut bench = Bench::new(&stack.value, &measured, &drawer.value, assumptions)?;
        let mut proposal = bench.propose(&options)?;
        let mut after: Option<(usize, After)> = None;
        let mut rounds = Vec::new();
        for (round, &reading) in self.result.iter().enumerate() {
            // A further build starts from the state that the one before it left, with the readings that were taken then.
            if let Some((number, made)) = after.take() {
                let Some(next) = made.next else {
                    return Err(Failure::Refused(format!(
                        "after result {round} the bay was good enough: there is no further build for result {} to belong to",
                        round + 1
                    )));
                };
                rounds.push(format!(
                    "build {number} of list {round} is taken as made and measured: the list is what it led to"
                ));
                for m in &mut measured {
                    m.offset = made.readings.iter().find(|r| r.valve == m.valve).map(|r| r.reading);
                }
                read_on.fill(None);
                (bench, proposal) = (made.bench, next);
            }
            let number = self.built.get(round).map_or(proposal.fewest.unwrap_or(0) + 1, |&number| usize::from(number));
            let build = proposal.build(number)?;
            let mut readings = vec![Measured { valve: self.valve.clone(), offset: Some(reading), u }];
            if let Some(also) = &self.also {
                readings.push(Measured { valve: also.clone(), offset: self.also_result.get(round).copied(), u });
            }
            after = Some((number, bench.after(build, &readings, &options)?));
        }
        let warnings = rounds.into_iter().chain(proposal.warnings.iter().map(ToString::to_string));
        let envelope = envelope("shim", &inputs, Some(seed), &notices, warnings);
        let acceptable = match &after {
            Some((_, after)) => after.done,
            None => proposal.fewest.is_some(),
        };
        let title = stack.value.pack.title.clone();
        deliver(
            &Shimmed {
                envelope,
                title,
                bench,
                measured,
                read_on,
                proposal,
                enough: self.enough,
                per_part: self.per_part,
                after,
            },
            &self.delivery,
        )?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }
}

/// The latest reading, or what is wrong with the question.
fn read_of(
    inspections: &Inspections,
    engine: Option<&str>,
    valve: &str,
    feature: &str,
) -> Result<(f64, Option<i32>), String> {
    let listed = |names: &[String]| {
        let shown = names[..names.len().min(NAMES)].join(", ");
        if names.len() > NAMES { format!("{shown}, … ({} in all)", names.len()) } else { shown }
    };
    match inspections.latest(engine, valve, feature) {
        Latest::Reading { value, day, .. } => Ok((value, Some(day))),
        Latest::UnknownFeature(known) => {
            Err(format!("no feature \"{feature}\"; there are {}: name one with --feature", listed(&known)))
        }
        Latest::UnknownEngine(known) => {
            Err(format!("no engine \"{}\"; there are {}", engine.unwrap_or_default(), listed(&known)))
        }
        Latest::UnknownValve(known) => {
            let of = engine.map_or_else(String::new, |engine| format!(" on engine \"{engine}\""));
            Err(format!("no valve \"{valve}\"{of}; there are {}", listed(&known)))
        }
        Latest::OfEngines(engines) => Err(format!(
            "{} engines have a valve \"{valve}\": name one with --engine ({})",
            engines.len(),
            listed(&engines)
        )),
        _ => Err(format!("{feature} was never read at valve \"{valve}\"")),
    }
}

/// Names listed in a message.
const NAMES: usize = 24;

impl Shimmed {
    fn with<T>(&self, show: impl FnOnce(&Shimming<'_>) -> T) -> T {
        show(&Shimming {
            title: &self.title,
            bench: &self.bench,
            measured: &self.measured,
            read_on: &self.read_on,
            proposal: &self.proposal,
            enough: self.enough,
            per_part: self.per_part,
            after: self.after.as_ref().map(|(number, after)| (*number, after)),
        })
    }
}

impl Report for Shimmed {
    fn text(&self) -> String {
        self.with(report::text)
    }

    fn json(&self) -> impl Serialize + '_ {
        self.with(|shimming| report::json(&self.envelope, shimming))
    }

    fn tables(&self) -> Vec<Table> {
        self.with(report::tables)
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        self.with(report::figures)
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        self.with(|shimming| report::page(&self.envelope, shimming))
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }

    fn extras(&self) -> Vec<(&'static str, String)> {
        let sheet = self.with(|shimming| report::sheet(&self.envelope, shimming));
        sheet.into_iter().map(|sheet| ("bench-sheet.html", sheet)).collect()
    }
}
