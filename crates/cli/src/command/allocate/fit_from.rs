//! `allocate PACK --fit-from CATALOGUE`: tolerances and drawer, priced together.

use super::Allocate;
use crate::args::{ReadingUncertainty, TableOptions};
use crate::command::shim::questions;
use crate::exit::{Failure, Verdict};
use crate::interrupt::Gently;
use crate::number::{above_zero, whole, within};
use crate::output::{Report, deliver, envelope};
use crate::progress::Progress;
use clap::{Args, ValueEnum};
use packdrift_policy::{
    Asked, CeilingFor, Effort, Measuring, Packets, Policy, PolicyError, Prices, Question, Shop, Touched, choose_policy,
};
use packdrift_records as records;
use packdrift_report::policy::Answered;
use packdrift_report::{Envelope, Figure, Lengths, Table, policy as report};
use packdrift_stock::{PacketScatter, catalogue_of, question_the_unit};
use serde::Serialize;
use std::path::PathBuf;

/// Options that go with `--fit-from`.
#[derive(Debug, Args)]
#[command(next_help_heading = "Tolerances and drawer together")]
pub(crate) struct FitFrom {
    /// Fit every build from a drawer, and choose tolerances and drawer together: a drawer file whose rows with a size (and no u) are
    /// the sizes that can be held. Prices and times are in `[cost]` of the pack file.
    #[arg(long = "fit-from", value_name = "CATALOGUE")]
    pub(super) catalogue: Option<PathBuf>,
    /// Sizes to hold at most.
    #[arg(long, value_name = "N", default_value_t = 5, requires = "catalogue", value_parser = whole::<u16>(1..=64))]
    sizes: u16,
    /// Builds a year, instead of the pack file's `builds_a_year`.
    #[arg(long, value_name = "N", requires = "catalogue", value_parser = above_zero(1e9))]
    builds_a_year: Option<f64>,
    /// Wanted share of builds that find their pieces in the drawer.
    #[arg(long, value_name = "P", default_value_t = 0.95, requires = "catalogue", value_parser = within(0.01..=0.9999))]
    service: f64,
    /// Days from order to drawer, of sizes whose row of the catalogue has no lead_days.
    #[arg(long, value_name = "DAYS", requires = "catalogue", value_parser = within(0.0..=36525.0))]
    lead_days: Option<f64>,
    /// Standard uncertainty of a read offset, or the gauge study's JSON that found it [default: 0.02 mm].
    #[arg(long, value_name = "LENGTH|FILE", requires = "catalogue")]
    u: Option<ReadingUncertainty>,
    /// Its repeatability, a part of --u: what is new at each reading; the rest every reading of a build has wrong alike [default: that of the file given
    /// with --u, else 0].
    #[arg(long, value_name = "LENGTH|FILE", requires = "catalogue")]
    repeatability: Option<ReadingUncertainty>,
    /// Standard uncertainty of a measured piece [default: 0.002 mm].
    #[arg(long, value_name = "LENGTH", requires = "catalogue", value_parser = within(0.0..=1.0))]
    piece_u: Option<f64>,
    /// A packet (of the drawer's sizes, of the pack file's lots) is new for each build, or lasts a year.
    #[arg(long, value_enum, default_value_t = PacketsName::Build, requires = "catalogue")]
    packets: PacketsName,
    /// With packets that last a year: what the ceiling holds for, the mean of the years or the year that 95 % are better than.
    #[arg(long, value_enum, default_value_t = CeilingName::Mean, requires = "catalogue")]
    ceiling_for: CeilingName,
    /// Make no second fitting where the first reads outside.
    #[arg(long, requires = "catalogue")]
    one_fitting: bool,
    /// What the minutes for a part touched are counted by: every piece, or every side of a rocker.
    #[arg(long, value_enum, default_value_t = TouchedName::Pieces, requires = "catalogue")]
    touched: TouchedName,
    /// The shims and flat washers of the drawing are measured before they go in.
    #[arg(long, requires = "catalogue")]
    drawn_measured: bool,
    /// Measured pieces: all that lies in the drawer is measured once a year besides those that are fitted.
    #[arg(long, requires = "catalogue")]
    measure_the_drawer: bool,
    /// Standard deviation of a packet's mean, as a share of its size, for sizes the pack file has no lot for.
    #[arg(long, value_name = "SHARE", default_value_t = 0.03, requires = "catalogue", value_parser = within(0.0..=1.0))]
    packet: f64,
    /// Standard deviation within a packet, for sizes the pack file has no lot for [default: 0.006 mm].
    #[arg(long, value_name = "LENGTH", requires = "catalogue", value_parser = within(0.0..=1.0))]
    within: Option<f64>,
    /// Builds that every choice is tried on.
    #[arg(long, value_name = "N", default_value_t = 4096, requires = "catalogue", value_parser = whole::<u32>(1024..=1_000_000))]
    builds: u32,
    /// Choices to try in the search for the best.
    #[arg(long, value_name = "N", default_value_t = 900, requires = "catalogue", value_parser = whole::<u32>(10..=1_000_000))]
    choices: u32,
    /// Fresh builds for the final figures.
    #[arg(long, value_name = "N", default_value_t = 65_536, requires = "catalogue", value_parser = whole::<u32>(1024..=10_000_000))]
    final_builds: u32,
    #[command(flatten)]
    tables: TableOptions,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum PacketsName {
    /// New for each build.
    Build,
    /// The same for a year.
    Year,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum CeilingName {
    /// The mean of the years.
    Mean,
    /// The year that 95 % of the years are better than.
    BadYear,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum TouchedName {
    /// Every piece.
    Pieces,
    /// Every side of a rocker, however many pieces.
    Sides,
}

/// An answer and where it came from.
struct Chosen {
    envelope: Envelope,
    policy: Policy,
    lengths: Lengths,
}

impl From<PolicyError> for Failure {
    fn from(error: PolicyError) -> Self {
        match error {
            PolicyError::Stopped => Self::Interrupted,
            error => Self::refused(error),
        }
    }
}

impl Allocate {
    /// Refuses what says how to read a catalogue where there is none to read.
    pub(super) fn refuse_without_a_catalogue(&self) -> Result<(), Failure> {
        if self.units.says_the_drawers() || self.fit.tables.is_given() {
            let reason = "--drawer-units and options of tables are for the catalogue of --fit-from: without one they change nothing";
            return Err(Failure::Refused(reason.to_owned()));
        }
        Ok(())
    }

    /// With a drawer.
    pub(super) fn fit_from(&self) -> Result<Verdict, Failure> {
        let fit = &self.fit;
        let Some(path) = &fit.catalogue else { return Err(Failure::Refused("--fit-from names no file".to_owned())) };
        let loaded = records::read_pack(&self.pack)?;
        let (mut inputs, mut notices) = (loaded.inputs, loaded.notices);
        // What [cost] lacks is among the answer's own warnings.
        notices.retain(|notice| notice.subject != records::Subject::Prices);
        let units = self.units.of(loaded.value.units);
        let stack = loaded.value.stack;
        let (u, repeats) = (fit.u.as_ref(), fit.repeatability.as_ref());
        let (u_offset, repeatability) =
            ReadingUncertainty::of_an_offset_and_its_repeats(u, repeats, units, &mut inputs, &mut notices)?;
        let drawer = records::read_drawer(path, units.drawer, &fit.tables.reading(None))?;
        inputs.extend(drawer.inputs);
        notices.extend(drawer.notices);
        let within = fit.within.map_or(PacketScatter::default().within, |within| units.mm(within));
        let scatter = PacketScatter { between_share: fit.packet, within };
        let catalogue = catalogue_of(&drawer.value, &stack, scatter, fit.lead_days)?;
        let mut prices: Prices = loaded.value.prices.unwrap_or_default();
        prices.builds_a_year = fit.builds_a_year.or(prices.builds_a_year);
        let defaults = Shop::default();
        let shop = Shop {
            u_offset,
            repeatability: repeatability.unwrap_or(defaults.repeatability),
            u_piece: fit.piece_u.map_or(defaults.u_piece, |u| units.mm(u)),
            second_fitting: !fit.one_fitting,
            touched: match fit.touched {
                TouchedName::Pieces => Touched::Pieces,
                TouchedName::Sides => Touched::Places,
            },
            drawn_measured: fit.drawn_measured,
            measuring: if fit.measure_the_drawer { Measuring::WholeDrawer } else { Measuring::FittedOnly },
            packets: match fit.packets {
                PacketsName::Build => Packets::EachBuild,
                PacketsName::Year => Packets::Year,
            },
            ceiling_for: match fit.ceiling_for {
                CeilingName::Mean => CeilingFor::Mean,
                CeilingName::BadYear => CeilingFor::BadYear,
            },
            service: fit.service,
        };
        let asked = Asked { max_out: self.max_out, most_sizes: fit.sizes.into() };
        let question = Question::new(&stack, &catalogue, &prices, &shop, &asked)?;
        if !units.drawer_is_said {
            let drawn = question.bays.iter().flat_map(|bay| bay.drawn().iter().map(|piece| piece.mean));
            question_the_unit(&drawer.value, &drawn.collect::<Vec<_>>())?;
        }
        let seed = self.seed.unwrap_or(Effort::default().seed);
        let (builds, choices, final_builds) = (fit.builds as usize, fit.choices as usize, fit.final_builds as usize);
        let effort = Effort { builds, choices, final_builds, seed };
        let progress = Progress::new("choosing tolerances and drawer; Ctrl-C: the best so far");
        let policy = {
            let _gently = Gently::new();
            choose_policy(&question, &effort, &progress)?
        };
        drop(progress);
        let asks = questions(&policy.question.never_binds, units.shown);
        let envelope = envelope("allocate", &inputs, Some(seed), &notices, policy.warnings.iter().cloned().chain(asks));
        let acceptable = policy.verdict.exit_status() == 0;
        deliver(&Chosen { envelope, policy, lengths: units.lengths() }, &self.delivery)?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }
}

impl Chosen {
    fn shown(&self) -> Answered<'_> {
        Answered { policy: &self.policy, lengths: self.lengths }
    }
}

impl Report for Chosen {
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
