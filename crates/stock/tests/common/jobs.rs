//! Whole jobs, from drawing the parts to the last reading: how often the program's word came true.
//!
//! The parts of a bay are drawn from what the pack file says of them, worn away from where they were, and lie in a shop that the program sees only through
//! readings. A mechanic reads, builds what the program advises, reads again, and does what it says next, until it says that it is done or that
//! nothing fits. Then the bay is looked at as it truly is, warm and cold. Cases beyond the program's assumptions: a gauge twice as bad as it is
//! said to be, slipped digits in readings, mislabelled pieces, a bay that is loose when it is read, a neighbour's rocker at its limits.
//!
//! `tests/jobs.rs` holds a few against what was said; `examples/jobs.rs` counts many.
#![allow(
    missing_docs,
    unreachable_pub,
    dead_code,
    reason = "shared by a test and an example, each of which needs its own part"
)]
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a job that cannot be worked must fail")]

use crate::common::Shaft;
use packdrift_numerics::stream::{Key, Stream};
use packdrift_pack::SolidKind::{Shim, Washer};
use packdrift_pack::{Pack, Quantity, QuantityKind};
use packdrift_spread::Stack;
use packdrift_stock::{Assumptions, Bench, Build, Measured, Options, Origin, Piece, Proposal, RoundResult, Rounds};
use packdrift_verdict::Standing;

/// Standard uncertainty of a reading, as the program is told, mm.
const U: f64 = 0.02;
/// Of the micrometer, mm.
const MICROMETER: f64 = 0.002;

/// What is wrong in the shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Case {
    AsAssumed,
    /// The gauge is twice as bad as it is said to be.
    WrongGauge,
    /// One of the first two readings of the job has a slipped digit.
    SlippedDigit,
    /// A piece that the first build takes is not what its label says.
    Mislabelled,
    /// The bay is loose when it is first read.
    Loose,
    /// The other rocker of the bay stands at its limits, and nobody has read it.
    Neighbour,
    /// One reading in twenty has a slipped digit, or is taken with a bent or worn stem.
    OneSlipInTwenty,
    /// Every tenth row of the drawer does not hold what its label says.
    WrongDrawer,
    /// The drawer is empty, and the rocker comes right only if the shim changes sides.
    ChangeOfSides,
    /// The gauge is as bad as it is said to be, and the same way at every reading of a job: a zero error, the same wrong clocking.
    ZeroError,
}

impl Case {
    /// In words, for a table.
    pub fn words(self) -> &'static str {
        match self {
            Self::AsAssumed => "as assumed",
            Self::WrongGauge => "gauge twice as bad as said",
            Self::ZeroError => "gauge wrong the same way each time",
            Self::SlippedDigit => "one slipped digit",
            Self::Mislabelled => "a mislabelled piece is built in",
            Self::Loose => "loose when first read",
            Self::Neighbour => "another rocker at its limits",
            Self::OneSlipInTwenty => "one reading in 20 slips",
            Self::WrongDrawer => "a tenth of the drawer mislabelled",
            Self::ChangeOfSides => "only a change of sides helps",
        }
    }
}

pub const CASES: [Case; 10] = [
    Case::AsAssumed,
    Case::WrongGauge,
    Case::ZeroError,
    Case::SlippedDigit,
    Case::OneSlipInTwenty,
    Case::Mislabelled,
    Case::WrongDrawer,
    Case::Loose,
    Case::ChangeOfSides,
    Case::Neighbour,
];

/// One rocker: shims on its left, a pair of washers about a disc on its right.
fn one_rocker(play: f64) -> Stack {
    // 1.2 + 0.4 + 24 + 1.2 + 0.85 (the disc under some 200 N) + 1.2.
    Shaft::new(28.85 + play, 0.015, 95.0)
        .solid_of_lot(Washer, "left washer", 1.20, 0.010, ("washer 1.20", 0.0, 0.008))
        .solid_of_lot(Shim, "left shim", 0.40, 0.010, ("shim 0.40", 0.0, 0.006))
        .rocker("exhaust", 24.0, 11.3, 11.9, 0.02)
        .solid_of_lot(Washer, "inner washer", 1.20, 0.010, ("washer 1.20", 0.0, 0.008))
        .measured_disc_spring("spring washer", 0.013)
        .solid_of_lot(Washer, "outer washer", 1.20, 0.010, ("washer 1.20", 0.0, 0.008))
        .require_offset(0, 0.85, 1.15, 1.0)
        .require_preload(90.0, 240.0)
        .stack()
}

/// Two rockers with the disc between them.
fn two_rockers() -> Stack {
    Shaft::new(54.62, 0.02, 95.0)
        .solid_of_lot(Washer, "left washer", 1.20, 0.010, ("washer 1.20", 0.0, 0.008))
        .solid_of_lot(Shim, "left shim", 0.40, 0.010, ("shim 0.40", 0.002, 0.006))
        .rocker("intake", 24.0, 11.3, 11.9, 0.02)
        .solid_of_lot(Washer, "left inner washer", 1.20, 0.010, ("washer 1.20", 0.0, 0.008))
        .measured_disc_spring("spring washer", 0.013)
        .solid_of_lot(Washer, "right inner washer", 1.20, 0.010, ("washer 1.20", 0.0, 0.008))
        .rocker("exhaust", 24.0, 11.3, 39.1, 0.02)
        .solid_of_lot(Shim, "right shim", 0.60, 0.010, ("shim 0.60", 0.042, 0.009))
        .solid_of_lot(Washer, "right washer", 1.20, 0.010, ("washer 1.20", 0.0, 0.008))
        .require_offset(0, 0.88, 1.12, 1.0)
        .require_offset(1, 0.88, 1.12, 1.0)
        .require_preload(90.0, 240.0)
        .stack()
}

/// What a row of the drawer truly holds.
#[derive(Debug, Clone, Copy)]
enum Row {
    /// One piece of this thickness, mm.
    Piece(f64),
    /// Pieces of a packet: its mean, mm.
    Packet(f64),
}

impl Row {
    fn is_wrong_by(&mut self, by: f64) {
        *self = match *self {
            Self::Piece(truth) => Self::Piece((truth + by).max(0.05)),
            Self::Packet(mean) => Self::Packet((mean + by).max(0.05)),
        };
    }
}

/// The shop as it is.
struct Shop {
    stream: Stream,
    stack: Stack,
    valve: &'static str,
    /// The bay as it is built now, and every dimension's true value.
    pack: Pack,
    truth: Vec<f64>,
    drawer: Vec<Piece>,
    rows: Vec<Row>,
    gauge: f64,
    /// What it has wrong at every reading of the job, mm.
    zero: f64,
    /// Which reading of the job, from 0, has a slipped digit.
    slip_at: Option<usize>,
    /// How often any reading slips.
    slips: f64,
    readings: usize,
}

impl Shop {
    fn open(case: Case, number: u64) -> Self {
        let mut stream = Key::new(20_270_301, "jobs").stream(number * 16 + case as u64);
        let stack = match case {
            Case::Neighbour => two_rockers(),
            Case::Loose => one_rocker(0.70 + 0.3 * stream.uniform()),
            _ => one_rocker(0.0),
        };
        let lots: Vec<f64> = stack.lots.iter().map(|lot| lot.bias + lot.between * stream.normal()).collect();
        let draw = |input: &packdrift_spread::Input, stream: &mut Stream| {
            let own = input.distribution.mean() + input.distribution.standard_uncertainty() * stream.normal();
            own + input.lot.map_or(0.0, |lot| lots[lot])
        };
        let mut truth: Vec<f64> = stack.inputs.iter().map(|input| draw(input, &mut stream)).collect();
        // Worn: the stems' axes have moved against the adjusters.
        for (valve, sd) in stack.pack.bays[0].valves.iter().zip([0.2, 0.08]) {
            truth[valve.stem.0] += if stack.pack.bays[0].valves.len() == 1 { 0.2 } else { sd } * stream.normal();
        }
        let (mut drawer, mut rows) = drawer(&stack, &lots, &mut stream);
        match case {
            Case::ChangeOfSides => {
                (drawer, rows) = (Vec::new(), Vec::new());
                // The shim of 0.40 mm on the other side brings the adjuster back by as much.
                let stem = stack.pack.bays[0].valves[0].stem.0;
                truth[stem] = stack.inputs[stem].distribution.mean() - 0.40 + 0.04 * stream.normal();
            }
            Case::WrongDrawer => {
                for row in &mut rows {
                    if stream.uniform() < 0.1 {
                        row.is_wrong_by(wrong_by(&mut stream));
                    }
                }
            }
            _ => {}
        }
        let slip_at = (case == Case::SlippedDigit).then(|| (stream.uniform() * 2.0) as usize);
        let (gauge, zero) = match case {
            Case::WrongGauge => (2.0 * U, 0.0),
            Case::ZeroError => (0.0, U * stream.normal()),
            _ => (U, 0.0),
        };
        Self {
            pack: stack.pack.clone(),
            stream,
            stack,
            valve: "exhaust",
            truth,
            drawer,
            rows,
            gauge,
            zero,
            slip_at,
            slips: if case == Case::OneSlipInTwenty { 0.05 } else { 0.0 },
            readings: 0,
        }
    }

    /// What the gauge shows of the valve's offset, cold.
    /// None where the bay does not go together: nothing can be read then.
    fn read(&mut self) -> Option<f64> {
        let valve = self.pack.bays[0].valves.iter().position(|v| v.name == self.valve).unwrap();
        let quantity = Quantity::Offset { bay: 0, valve };
        let (low, high) = self.pack.evaluate(&quantity, 0, &self.truth).ends()?;
        // In a loose bay the rocker lies where it happens to.
        let lies = low + (high - low) * self.stream.uniform();
        let mut shown = lies + self.zero + self.gauge * self.stream.normal();
        let slips = self.slips > 0.0 && self.stream.uniform() < self.slips;
        if slips || self.slip_at == Some(self.readings) {
            // 1.03 for 1.30, a tenth read too high or too low, or a whole turn.
            let slips = [0.1, -0.1, 0.2, -0.3, 0.27, -0.27, 1.0, 9.0 * shown];
            shown += slips[(self.stream.uniform() * slips.len() as f64) as usize];
        }
        self.readings += 1;
        Some((1000.0 * shown).round() / 1000.0)
    }

    /// Builds: the pieces that are put in have their true thicknesses, whatever their labels say.
    fn make(&mut self, bench: &Bench, build: &Build) {
        let assembled = bench.assembled_with(build);
        let pieces: Vec<_> = build.places.iter().flat_map(|place| &place.pieces).collect();
        let mut new = Vec::new();
        for piece in pieces.iter().filter(|piece| {
            piece.thinned_from.is_some() || !matches!(piece.origin, Origin::Stays | Origin::Moved { .. })
        }) {
            let Origin::Drawer { row } = piece.origin else { panic!("{piece:?}") };
            new.push(match self.rows[row] {
                Row::Piece(thickness) => thickness,
                Row::Packet(mean) => mean + 0.006 * self.stream.normal(),
            });
        }
        // What comes out lies in the drawer, in the order in which the bench lists it.
        for out in &build.taken_out {
            let path = format!("bay/{}/thickness", out.name);
            let dimension = self.pack.dimensions.iter().rposition(|d| d.path == path).unwrap();
            self.rows.push(Row::Piece(self.truth[dimension]));
        }
        assert_eq!(assembled.pack.dimensions.len(), self.truth.len() + new.len());
        self.truth.extend(new);
        self.pack = assembled.pack;
    }

    /// Takes out what a build has put in and measures it.
    fn measure_what_was_put_in(&mut self, bench: &mut Bench, before: usize) {
        for dimension in before..self.pack.dimensions.len() {
            let path = &self.pack.dimensions[dimension].path;
            let name = path.split('/').nth(1).unwrap().to_owned();
            let read = self.truth[dimension] + MICROMETER * self.stream.normal();
            bench.observe_piece(&name, read, MICROMETER).unwrap();
        }
    }

    /// Whether what was asked for truly is inside its limits, and whether every other rocker is.
    fn inside(&self) -> (bool, bool) {
        let valve = self.pack.bays[0].valves.iter().position(|v| v.name == self.valve).unwrap();
        let (mut asked, mut others) = (true, true);
        for r in &self.stack.requirements {
            let meets = self.pack.evaluate(&r.quantity, r.condition, &self.truth).meets(r.lower, r.upper);
            let other = r.quantity.kind() == QuantityKind::Offset && r.quantity != Quantity::Offset { bay: 0, valve };
            if other { others &= meets } else { asked &= meets }
        }
        (asked, others)
    }
}

/// Single pieces that somebody has measured, and packets that nobody has opened.
fn drawer(stack: &Stack, lots: &[f64], stream: &mut Stream) -> (Vec<Piece>, Vec<Row>) {
    let (mut pieces, mut rows) = (Vec::new(), Vec::new());
    let piece = |name: String, thickness: f64, u: Option<f64>, count: u32| Piece {
        name,
        thickness,
        u,
        size: None,
        count,
        cost: None,
        lead_days: None,
    };
    for (size, measured, count) in [(0.15, 3, 6), (0.25, 4, 6), (0.40, 4, 6), (0.60, 3, 4), (1.00, 2, 4), (1.20, 2, 4)]
    {
        let of_lot = stack.lots.iter().position(|lot| lot.name.ends_with(&format!("{size:.2}")));
        let packet = size + of_lot.map_or_else(|| 0.03 * size * stream.normal(), |lot| lots[lot]);
        for _ in 0..measured {
            let truth = size * (1.0 + 0.03 * stream.normal());
            let read = truth + MICROMETER * stream.normal();
            pieces.push(piece(
                format!("S{:02}", pieces.len() + 1),
                (1000.0 * read).round() / 1000.0,
                Some(MICROMETER),
                1,
            ));
            rows.push(Row::Piece(truth));
        }
        pieces.push(piece(format!("{size:.2}"), size, None, count));
        rows.push(Row::Packet(packet));
    }
    (pieces, rows)
}

/// How a job ended.
#[allow(clippy::struct_excessive_bools, reason = "four things that are counted one by one")]
struct Ended {
    /// What was said: the chance of being inside; None where the program did not say that it is done.
    said: Option<f64>,
    /// With nothing left to look at.
    said_all: bool,
    inside: bool,
    /// A rocker that was not asked for was inside before and is not now.
    pushed_out: bool,
    builds: usize,
    readings: usize,
    nothing_fits: bool,
}

/// A job at the bench, as the program advises.
struct Job {
    shop: Shop,
    bench: Bench,
    proposal: Proposal,
    measured: Vec<Measured>,
    builds: usize,
    /// Whether the other rockers were inside when the job began.
    others_before: bool,
}

const MOST_RESULTS: usize = 12;

fn options() -> Options {
    Options { list: 2, effort: 150_000, ..Options::default() }
}

impl Job {
    fn begin(case: Case, number: u64) -> Self {
        // Parts that do not go together at all are no job.
        let mut drawn = (0_u64..).map(|again| Shop::open(case, number + (again << 32)));
        let (mut shop, first) = drawn.find_map(|mut shop| shop.read().map(|first| (shop, first))).unwrap();
        let mut measured = vec![Measured::read(shop.valve, first, U)];
        let (bench, proposal) = loop {
            let bench = Bench::new(&shop.stack, &measured, &shop.drawer, Assumptions::default()).unwrap();
            let once = measured[0].readings.len() == 1;
            if bench.doubtful().is_empty() || measured[0].readings.len() == MOST_RESULTS {
                let proposal = bench.propose(&options()).unwrap();
                // Where one reading alone says that nothing is to be done the program asks for another.
                let leave_it = proposal.advised().is_some_and(Build::is_as_now);
                if !(once && leave_it && proposal.verdict.standing() == Standing::Watch) {
                    break (bench, proposal);
                }
            }
            let again = shop.read().unwrap();
            measured[0].readings.push(again);
        };
        if case == Case::Mislabelled {
            mislabel(&mut shop, &proposal);
        }
        let others_before = shop.inside().1;
        Self { shop, bench, proposal, measured, builds: 0, others_before }
    }

    fn end(&self, said: Option<f64>, said_all: bool, nothing_fits: bool) -> Ended {
        let ((inside, others), builds, readings) = (self.shop.inside(), self.builds, self.shop.readings);
        let pushed_out = self.others_before && !others;
        Ended { said, said_all, inside, pushed_out, builds, readings, nothing_fits }
    }

    /// Until it is done, or nothing fits.
    fn work(mut self) -> Ended {
        loop {
            let advised = self.proposal.advised().cloned();
            let Some(build) = advised.filter(|_| self.proposal.fewest.is_some() || self.bench.is_loose()) else {
                return self.end(None, false, true);
            };
            if build.is_as_now() {
                let standing = self.proposal.verdict.standing();
                let said = (standing <= Standing::Watch).then_some(build.forecast.chance);
                return self.end(said, standing == Standing::Shown, said.is_none());
            }
            let before = self.shop.pack.dimensions.len();
            self.shop.make(&self.bench, &build);
            self.builds += 1;
            match self.read_until_told(before) {
                Told::Done { said, said_all } => return self.end(Some(said), said_all, false),
                Told::GiveUp => return self.end(None, false, true),
                // The mechanic sees that himself.
                Told::WillNotGoTogether => return self.end(None, false, true),
                Told::Next { bench, proposal } => (self.bench, self.proposal) = (*bench, *proposal),
            }
            if self.builds > 5 {
                return self.end(None, false, true);
            }
        }
    }

    /// Reads the build just made, as often as it is asked for.
    fn read_until_told(&mut self, before: usize) -> Told {
        let mut results: Vec<RoundResult> = Vec::new();
        while results.len() < MOST_RESULTS {
            let Some(reading) = self.shop.read() else { return Told::WillNotGoTogether };
            results.push(RoundResult { readings: vec![Some(reading)], made: None });
            let rounds = self
                .bench
                .follow(&self.measured, &self.proposal, &results, &options(), &packdrift_spread::Silent)
                .unwrap()
                .unwrap();
            if rounds.taken_as.len() > 1 {
                assert!(rounds.taken_as[1..].iter().all(|made| *made == packdrift_stock::Made::ReadAgain));
            }
            let Rounds { after, .. } = rounds;
            match after.verdict.standing() {
                Standing::Shown | Standing::Watch => {
                    return Told::Done { said: after.now.chance, said_all: after.done };
                }
                Standing::ReadAgain => {}
                _ => {
                    let (mut bench, mut next) = (after.bench, after.next.unwrap());
                    if !after.contradicted.is_empty() {
                        self.shop.measure_what_was_put_in(&mut bench, before);
                        // By what is known now the bay would not go together, though it did.
                        let Ok(proposal) = bench.propose(&options()) else { return Told::GiveUp };
                        next = proposal;
                        if next.advised().is_some_and(Build::is_as_now) && next.verdict.is_shown() {
                            return Told::Done { said: next.builds[0].forecast.chance, said_all: true };
                        }
                    }
                    if next.advised().is_none_or(Build::is_as_now) {
                        return Told::GiveUp;
                    }
                    return Told::Next { bench: Box::new(bench), proposal: Box::new(next) };
                }
            }
        }
        Told::GiveUp
    }
}

/// What the program said after a build.
enum Told {
    Done { said: f64, said_all: bool },
    Next { bench: Box<Bench>, proposal: Box<Proposal> },
    GiveUp,
    WillNotGoTogether,
}

/// A piece that the first build takes measures what another one should.
fn mislabel(shop: &mut Shop, proposal: &Proposal) {
    let taken = proposal.advised().into_iter().flat_map(packdrift_stock::Build::put_in);
    let rows: Vec<usize> = taken
        .filter_map(|piece| match piece.origin {
            Origin::Drawer { row } => Some(row),
            _ => None,
        })
        .collect();
    let Some(&row) = rows.get((shop.stream.uniform() * rows.len() as f64) as usize) else { return };
    let by = wrong_by(&mut shop.stream);
    shop.rows[row].is_wrong_by(by);
}

/// By how much a piece is not what its label says, mm.
fn wrong_by(stream: &mut Stream) -> f64 {
    [0.05, 0.10, 0.15, 0.20, -0.05, -0.10][(stream.uniform() * 6.0) as usize]
}

/// What many jobs of a case came to.
pub struct Count {
    pub jobs: usize,
    pub done: usize,
    /// Mean chance that was said of those done.
    pub said: f64,
    pub inside: usize,
    /// Of those that were said to be done with nothing left to look at: another rocker was pushed out.
    pub done_all: usize,
    pub pushed_out: usize,
    pub nothing_fits: usize,
    pub builds: f64,
    pub readings: f64,
}

/// Works many jobs of a case, the same ones each time.
pub fn count(case: Case, jobs: usize) -> Count {
    use rayon::prelude::*;
    let ended: Vec<Ended> = (0..jobs as u64).into_par_iter().map(|number| Job::begin(case, number).work()).collect();
    let done: Vec<&Ended> = ended.iter().filter(|job| job.said.is_some()).collect();
    let all: Vec<&&Ended> = done.iter().filter(|job| job.said_all).collect();
    let mean = |sum: f64, n: usize| sum / n.max(1) as f64;
    Count {
        jobs,
        done: done.len(),
        said: mean(done.iter().filter_map(|job| job.said).sum(), done.len()),
        inside: done.iter().filter(|job| job.inside).count(),
        done_all: all.len(),
        pushed_out: all.iter().filter(|job| job.pushed_out).count(),
        nothing_fits: ended.iter().filter(|job| job.nothing_fits).count(),
        builds: mean(ended.iter().map(|job| job.builds as f64).sum(), jobs),
        readings: mean(ended.iter().map(|job| job.readings as f64).sum(), jobs),
    }
}
