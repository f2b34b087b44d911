//! `shim PACK`: which of the pieces in the drawer to fit to this rocker.

use crate::args::{Delivery, Machine, ReadingUncertainty, TableOptions, UnitOptions, Units, rounding};
use crate::exit::{Failure, Verdict, of_stock};
use crate::number::{whole, within};
use crate::output::{Report, deliver, envelope};
use crate::progress::Progress;
use clap::Args;
use packdrift_records as records;
use packdrift_report::shim::Shimming;
use packdrift_report::{Envelope, Figure, Lengths, Table, shim as report};
use packdrift_spread::NeverBinds;
use packdrift_stock::{
    Assumptions, Bench, Made, Measured, Options, PacketScatter, Proposal, RoundResult, Rounds, question_the_unit,
};
use packdrift_trend::{Inspections, Latest};
use serde::Serialize;
use std::path::PathBuf;

/// Options of `shim`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift shim pack.toml --valve \"1 exhaust\" --stock drawer.csv --measured 1.10
  packdrift shim pack.toml --valve \"1 exhaust\" --stock drawer.csv --measured 1.10 --result 1.14
  packdrift shim pack.toml --valve \"1 intake\" --stock drawer.csv --measured 1.10 --dress 0.05")]
#[command(after_help = "\
Offsets are read cold, in the condition nearest to the reference temperature; plus where the adjuster stands to the
right of the stem's axis, with the bay's left face on your left. Lengths are in the pack file's unit.")]
pub(crate) struct Shim {
    /// The pack file (TOML).
    pack: PathBuf,
    /// The valve whose rocker is to be shimmed.
    #[arg(long, help_heading = "The valve and its reading", value_name = "NAME")]
    valve: String,
    /// Its contact offset as measured, cold; once more for each further reading of the same state.
    #[arg(
        long,
        help_heading = "The valve and its reading",
        value_name = "OFFSET",
        conflicts_with = "inspections",
        value_parser = within(-100.0..=100.0)
    )]
    measured: Vec<f64>,
    /// Take the latest offset of the valve from these inspections (with --engine where there are several).
    #[arg(long, help_heading = "The valve and its reading", value_name = "FILE")]
    inspections: Option<PathBuf>,
    /// The engine, in the inspections.
    #[arg(long, help_heading = "The valve and its reading", value_name = "NAME", requires = "inspections")]
    engine: Option<String>,
    /// The inspections' name of the contact offset.
    #[arg(long, help_heading = "The valve and its reading", value_name = "NAME", default_value = "contact_offset")]
    feature: String,
    /// A second rocker of the same bay, shimmed at the same time.
    #[arg(long, help_heading = "The valve and its reading", value_name = "NAME")]
    also: Option<String>,
    /// The second rocker's contact offset as measured; once more for each further reading.
    #[arg(
        long,
        help_heading = "The valve and its reading",
        value_name = "OFFSET",
        requires = "also",
        conflicts_with = "inspections",
        value_parser = within(-100.0..=100.0)
    )]
    also_measured: Vec<f64>,
    /// Standard uncertainty of a measured offset, or the gauge study's JSON that found it [default: 0.02 mm].
    #[arg(long, help_heading = "The valve and its reading", value_name = "LENGTH|FILE")]
    u: Option<ReadingUncertainty>,
    /// Its repeatability, a part of --u: standard deviation of readings of one state, or the gauge study's JSON. Repeats average this part only, and none
    /// of what is the same each time [default: that of the file given with --u, else what the readings' own scatter shows].
    #[arg(long, help_heading = "The valve and its reading", value_name = "LENGTH|FILE")]
    repeatability: Option<ReadingUncertainty>,
    /// The drawer (CSV, Parquet or XLSX): columns piece or size, thickness, u, count, cost, lead_days.
    #[arg(long, help_heading = "The drawer", value_name = "FILE")]
    stock: PathBuf,
    /// One piece may be thinned by hand by up to this.
    #[arg(long, help_heading = "The drawer", value_name = "LENGTH", value_parser = within(1e-5..=5.0))]
    dress: Option<f64>,
    /// Builds to list.
    #[arg(
        long,
        help_heading = "What is good enough",
        value_name = "N",
        default_value_t = 10,
        value_parser = whole::<u16>(1..=1000)
    )]
    list: u16,
    /// A build with at least this chance of being inside its limits is good enough.
    #[arg(
        long,
        help_heading = "What is good enough",
        value_name = "P",
        default_value_t = 0.95,
        value_parser = within(0.01..=0.9999)
    )]
    enough: f64,
    /// What a part touched must bring in chance to be worth it.
    #[arg(
        long,
        help_heading = "What is good enough",
        value_name = "P",
        default_value_t = 0.01,
        value_parser = within(0.0..=1.0)
    )]
    per_part: f64,
    /// How far wear may have moved a measured valve since the drawing, standard deviation; 0 for a new build [default: 0.3 mm].
    #[arg(long, help_heading = "What is taken to be so", value_name = "LENGTH", value_parser = within(0.0..=10.0))]
    drift: Option<f64>,
    /// Share of that wear which has thinned the rocker's face and what it rests on, so that the spring washer has lost as much squeeze.
    #[arg(
        long,
        help_heading = "What is taken to be so",
        value_name = "SHARE",
        default_value_t = 0.0,
        value_parser = within(0.0..=1.0)
    )]
    worn_faces: f64,
    /// Standard deviation of a packet's mean, as a share of its size, for sizes the pack file has no lot for.
    #[arg(
        long,
        help_heading = "What is taken to be so",
        value_name = "SHARE",
        default_value_t = 0.03,
        value_parser = within(0.0..=1.0)
    )]
    packet: f64,
    /// Standard deviation within a packet, for sizes the pack file has no lot for [default: 0.006 mm].
    #[arg(long, help_heading = "What is taken to be so", value_name = "LENGTH", value_parser = within(0.0..=1.0))]
    within: Option<f64>,
    /// The offset measured after the build, cold. Once more for whatever was read then: a further reading where the program asked for one
    /// or had said that it is done, else the reading after the next build it advised.
    #[arg(long, help_heading = "After the build", value_name = "OFFSET", value_parser = within(-100.0..=100.0))]
    result: Vec<f64>,
    /// The second rocker's offset after the build; once for each --result.
    #[arg(
        long,
        help_heading = "After the build",
        value_name = "OFFSET",
        requires = "result",
        requires = "also",
        value_parser = within(-100.0..=100.0)
    )]
    also_result: Vec<f64>,
    /// What was built before each --result: the number of the build on the list, or `same` where nothing was built and the same build was read
    /// again. Once for each --result; unless given, what the program had asked for.
    #[arg(long, help_heading = "After the build", value_name = "N|same", requires = "result", value_parser = built)]
    built: Vec<Made>,
    /// Seed of the draws behind the chances.
    #[arg(long, help_heading = "What is taken to be so", value_name = "N")]
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

/// A number of the list, or `same`.
fn built(written: &str) -> Result<Made, String> {
    if written == "same" {
        return Ok(Made::ReadAgain);
    }
    match written.parse::<u16>() {
        Ok(number) if number >= 1 => Ok(Made::Build(number.into())),
        _ => Err("it must be the number of a build on the list, from 1, or `same`".to_owned()),
    }
}

/// A bench and what came of it.
struct Shimmed {
    envelope: Envelope,
    title: String,
    lengths: Lengths,
    bench: Bench,
    measured: Vec<Measured>,
    read_on: Vec<Option<i32>>,
    proposal: Proposal,
    enough: f64,
    per_part: f64,
    rounds: Option<Rounds>,
}

/// The readings that the question comes with, and their days.
type Readings = (Vec<Measured>, Vec<Option<i32>>);

impl Shim {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let loaded = records::read_pack(&self.pack)?;
        let (mut inputs, mut notices) = (loaded.inputs, loaded.notices);
        let units = self.units.of(loaded.value.units);
        let stack = loaded.value.stack;
        let (u, repeats) = (self.u.as_ref(), self.repeatability.as_ref());
        let gauge = ReadingUncertainty::of_an_offset_and_its_repeats(u, repeats, units, &mut inputs, &mut notices)?;
        let drawer = records::read_drawer(&self.stock, units.drawer, &self.tables.reading(None))?;
        inputs.extend(drawer.inputs);
        notices.extend(drawer.notices);
        let (measured, read_on) = self.readings(units, gauge, &mut inputs, &mut notices)?;
        let (assumptions, options) = (self.assumptions(units), self.options(units));
        let lengths = units.lengths();
        let bench = Bench::new(&stack, &measured, &drawer.value, assumptions).map_err(of_stock(lengths))?;
        if !units.drawer_is_said {
            question_the_unit(&drawer.value, &bench.thicknesses()).map_err(of_stock(lengths))?;
        }
        let results = self.results(units)?;
        let progress = Progress::new("picking");
        let proposal = bench.propose_watched(&options, &progress).map_err(of_stock(lengths))?;
        let rounds = bench.follow(&measured, &proposal, &results, &options, &progress).map_err(of_stock(lengths))?;
        drop(progress);
        let mut warnings = warnings(&proposal, rounds.as_ref(), lengths);
        warnings.extend(questions(bench.never_binds(), units.shown));
        let envelope = envelope("shim", &inputs, Some(assumptions.seed), &notices, warnings);
        let verdict = rounds.as_ref().map_or(&proposal.verdict, |rounds| &rounds.after.verdict);
        let acceptable = verdict.exit_status() == 0;
        let title = stack.pack.title.clone();
        let (enough, per_part) = (self.enough, self.per_part);
        let shimmed =
            Shimmed { envelope, title, lengths, bench, measured, read_on, proposal, enough, per_part, rounds };
        deliver(&shimmed, &self.delivery)?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }

    fn assumptions(&self, units: Units) -> Assumptions {
        let usual = Assumptions::default();
        Assumptions {
            packet: PacketScatter {
                between_share: self.packet,
                within: self.within.map_or(usual.packet.within, |within| units.mm(within)),
            },
            drift: self.drift.map_or(usual.drift, |drift| units.mm(drift)),
            worn_faces: self.worn_faces,
            seed: self.seed.unwrap_or(usual.seed),
            ..usual
        }
    }

    fn options(&self, units: Units) -> Options {
        let dress = self.dress.map(|most| units.mm(most));
        let mut options = Options { list: self.list.into(), dress, enough: self.enough, ..Options::default() };
        options.weights.per_part = self.per_part;
        options
    }

    fn readings(
        &self,
        units: Units,
        (u, repeatability): (f64, Option<f64>),
        inputs: &mut Vec<records::InputFile>,
        notices: &mut Vec<records::Notice>,
    ) -> Result<Readings, Failure> {
        let valves: Vec<&str> = std::iter::once(self.valve.as_str()).chain(self.also.as_deref()).collect();
        if let Some(path) = &self.inspections {
            let loaded = records::read_inspections(path, &self.tables.reading(None))?;
            inputs.extend(loaded.inputs);
            notices.extend(loaded.notices);
            let (mut measured, mut read_on) = (Vec::new(), Vec::new());
            for valve in valves {
                let (value, day) = read_of(&loaded.value, self.engine.as_deref(), valve, &self.feature)
                    .map_err(|reason| Failure::Refused(format!("{}: {reason}", path.display())))?;
                measured.push(Measured { repeatability, ..Measured::read(valve, units.mm(value), u) });
                read_on.push(day);
            }
            return Ok((measured, read_on));
        }
        let given = [&self.measured, &self.also_measured];
        // No reading is better than its rounding, whatever is claimed.
        let all: Vec<f64> = given.iter().copied().chain([&self.result, &self.also_result]).flatten().copied().collect();
        let u = u.max(rounding(&all, units.mm(1.0)));
        let of = |(valve, readings): (&&str, &&Vec<f64>)| Measured {
            readings: readings.iter().map(|&reading| units.mm(reading)).collect(),
            repeatability,
            ..Measured::unread(*valve, u)
        };
        Ok((valves.iter().zip(&given).map(of).collect(), vec![None; valves.len()]))
    }

    fn results(&self, units: Units) -> Result<Vec<RoundResult>, Failure> {
        for (option, given) in [("--also-result", self.also_result.len()), ("--built", self.built.len())] {
            if given > self.result.len() {
                let readings = self.result.len();
                return Err(Failure::Refused(format!(
                    "{option} is given {given} times and --result {readings}: once for each result"
                )));
            }
        }
        let of = |(k, &reading): (usize, &f64)| {
            let mut readings = vec![Some(units.mm(reading))];
            if self.also.is_some() {
                readings.push(self.also_result.get(k).map(|&reading| units.mm(reading)));
            }
            RoundResult { readings, made: self.built.get(k).copied() }
        };
        Ok(self.result.iter().enumerate().map(of).collect())
    }
}

/// What is to be asked of limits that can never bind, in the unit of the answer.
pub(super) fn questions(never_bind: &[NeverBinds], unit: records::LengthUnit) -> impl Iterator<Item = String> {
    let inches = unit == records::LengthUnit::Inch;
    let in_unit = move |limit: &NeverBinds| if inches { limit.clone().in_inches() } else { limit.clone() };
    never_bind.iter().map(move |limit| in_unit(limit).warning().to_string())
}

/// What bears on what is to be done now, and how the results were taken.
fn warnings(proposal: &Proposal, rounds: Option<&Rounds>, lengths: Lengths) -> Vec<String> {
    let taken_as = rounds.map_or(&[][..], |rounds| &rounds.taken_as).iter().enumerate().map(|(k, made)| match made {
        Made::Build(number) => {
            format!("result {}: build {number} of the list before it is taken as made, and then read", k + 1)
        }
        Made::ReadAgain => format!("result {} is taken as a further reading of the same build", k + 1),
    });
    let now = rounds.map_or(Some(proposal), |rounds| rounds.after.next.as_ref());
    let length = |mm: f64| lengths.with_unit(mm);
    let signed = |mm: f64| format!("{} {}", lengths.signed(mm), lengths.unit());
    let of_now = now.into_iter().flat_map(|now| &now.warnings).map(|warning| warning.words(&length, &signed));
    taken_as.chain(of_now).collect()
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
            lengths: self.lengths,
            bench: &self.bench,
            measured: &self.measured,
            read_on: &self.read_on,
            proposal: &self.proposal,
            enough: self.enough,
            per_part: self.per_part,
            rounds: self.rounds.as_ref(),
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
