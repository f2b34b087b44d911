//! After the build: what was measured against what was expected, what that teaches, whether it is done, and the next build if one is needed.

use super::judge::{Yardstick, of_readings};
use super::readings::{Believed, Prediction, believe};
use super::{Bench, Build, Compared, Measured, Options, Proposal, dimension_path};
use crate::beliefs::Surprise;
use crate::drawer::Piece;
use crate::error::StockError;
use crate::forecast::Forecast;
use crate::layout::Layout;
use crate::objective::Kind;
use packdrift_pack::DimensionId;
use packdrift_verdict::{Standing, Verdict};

/// What a reading taught of one length.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    /// Path of the dimension.
    pub path: String,
    /// Mean and standard deviation before, mm.
    pub before: (f64, f64),
    /// Mean and standard deviation after, mm.
    pub after: (f64, f64),
}

/// A reading that is not to be believed before it is repeated, and both answers.
#[derive(Debug, Clone, PartialEq)]
pub struct Doubt {
    /// The valves that are to be read again.
    pub valves: Vec<String>,
    /// What to expect of the bay if the reading is right.
    pub with: Forecast,
    /// And if it is not.
    pub without: Forecast,
}

/// The state after a build was made and measured.
#[derive(Debug, Clone)]
pub struct After {
    /// One per reading.
    pub readings: Vec<Compared>,
    /// The lengths that the readings say most of.
    pub learned: Vec<Learned>,
    /// What to expect of the bay now; where a reading is doubtful, with it.
    pub now: Forecast,
    /// Whether it is done.
    pub verdict: Verdict,
    /// Whether the verdict is that it is done.
    pub done: bool,
    /// Where a reading is doubtful: both answers.
    pub doubt: Option<Doubt>,
    /// Valves whose readings agree with each other and not with what was expected: a wrong piece was put in, or the reading before the build was
    /// wrong. Their pieces are to be taken out and measured.
    pub contradicted: Vec<String>,
    /// Where it is not done and no reading is doubtful: what to do next.
    pub next: Option<Proposal>,
    /// The bench with the build in it and the readings learned.
    pub bench: Bench,
}

/// Lengths listed as learned.
const LISTED: usize = 8;

/// Readings of one valve after a build.
struct Taken<'a> {
    measured: &'a Measured,
    expected: Prediction,
    believed: Believed,
}

impl Bench {
    /// The bench with a build made: its pieces are in the bay, what came out lies in the drawer.
    pub fn fit(&self, build: &Build) -> Self {
        let rebuilt = self.rebuilt(&build.gaps);
        let valves: Vec<usize> = self.layout.targets.iter().map(|target| target.valve).collect();
        let layout = Layout::new(&rebuilt.pack.bays[self.bay], &valves);
        let put_in = rebuilt.entry[self.entry.len()..].to_vec();
        let mut bench = Self {
            pack: rebuilt.pack,
            layout,
            beliefs: rebuilt.beliefs,
            entry: rebuilt.entry,
            put_in,
            doubted: self.rebuilt_in_doubt(&build.gaps).beliefs,
            // A reading after the build is held against what the one before it makes likely.
            read_once: Vec::new(),
            // Where nothing is built the readings before it are of the same state.
            untouched: if build.is_as_now() { self.untouched.clone() } else { Vec::new() },
            ..self.clone()
        };
        for &row in &build.rows {
            bench.kinds[row].count = bench.kinds[row].count.saturating_sub(1);
            bench.drawer[row].count = bench.drawer[row].count.saturating_sub(1);
        }
        for out in &build.taken_out {
            let Some(fitted) = self.layout.fitted.iter().find(|f| f.name == out.name) else { continue };
            let entry = self.entry[fitted.dimension];
            let sd = self.beliefs.covariance(entry, entry).max(0.0).sqrt();
            let u = (sd <= super::MEASURED_SD).then_some(sd);
            let row = bench.drawer.len();
            let thickness = bench.beliefs.mean(entry);
            bench.drawer.push(Piece {
                name: out.name.clone(),
                thickness,
                u,
                size: None,
                count: 1,
                cost: None,
                lead_days: None,
            });
            bench.kinds.push(Kind { row, thickness, entry: Some(entry), own: 0.0, count: 1 });
        }
        bench
    }

    /// Makes the build, learns from what was measured then, and proposes the next one if it is needed.
    ///
    /// # Errors
    ///
    /// [`StockError`]: a reading that cannot be or belongs to no valve of the bay, options out of range.
    pub fn after(&self, build: &Build, readings: &[Measured], options: &Options) -> Result<After, StockError> {
        options.check()?;
        let yardstick = Yardstick::new(options.enough, &self.now()?, self.has_spring()).with_doubts_of(self);
        let fitted = self.fit(build);
        let mut after = fitted.look(readings, &yardstick)?;
        // A doubtful reading is repeated before anything is built.
        if after.verdict.standing() > Standing::Watch && after.doubt.is_none() {
            // Pieces that have to be measured first make every length unsure and the search long: a good list does there.
            let unsettled = !after.contradicted.is_empty();
            let effort = if unsettled { options.effort / UNSETTLED } else { options.effort };
            after.next = Some(after.bench.propose(&Options { effort, ..options.clone() })?);
        }
        Ok(after)
    }

    /// Reads the bay with a build in it, and judges.
    pub(super) fn look(&self, readings: &[Measured], yardstick: &Yardstick) -> Result<After, StockError> {
        let taken = readings.iter().filter(|m| !m.readings.is_empty()).map(|m| self.taken(m));
        let taken: Vec<Taken<'_>> = taken.collect::<Result<_, _>>()?;
        let mut compared = Vec::new();
        for one in &taken {
            compared.extend(self.compared(one.measured, &one.expected, &one.believed));
        }
        let doubtful: Vec<String> =
            taken.iter().filter(|one| one.believed.doubtful).map(|one| one.measured.valve.clone()).collect();
        let contradicted: Vec<String> = taken
            .iter()
            .filter(|one| one.believed.unexpected && !one.believed.doubtful)
            .map(|one| one.measured.valve.clone())
            .collect();
        let (with, learned, now) = self.if_right(&taken, yardstick)?;
        let mut verdict = yardstick.judge(&now);
        if let Some(outside) = of_readings(&compared) {
            verdict = verdict.and(outside);
        }
        for valve in self.not_read(readings) {
            let cure = format!("Read the offset of \"{valve}\".");
            verdict =
                verdict.and(Verdict::not_shown(format!("\"{valve}\" was not read after the build")).settled_by(cure));
        }
        let mut doubt = None;
        if !doubtful.is_empty() {
            let mut without = self.clone();
            taken.iter().filter(|one| !one.believed.doubtful).try_for_each(|one| without.learn(one))?;
            let without = without.now_deciding(yardstick.wanted())?;
            // Whatever both answers are, one reading decides between them: it is taken before anything else.
            let valves = doubtful.join("\" and \"");
            verdict = Verdict::read_again(format!("\"{valves}\" does not read what was expected"))
                .settled_by(format!("Read the offset of \"{valves}\" again."));
            doubt = Some(Doubt { valves: doubtful, with: now.clone(), without });
        }
        let done = verdict.is_shown();
        Ok(After { readings: compared, learned, now, verdict, done, doubt, contradicted, next: None, bench: with })
    }

    /// The bay if the latest readings are right: the bench, what they taught, and what to expect.
    fn if_right(
        &self,
        taken: &[Taken<'_>],
        yardstick: &Yardstick,
    ) -> Result<(Self, Vec<Learned>, Forecast), StockError> {
        let believing = |pieces: bool| {
            let mut with = self.clone();
            taken.iter().filter(|one| one.believed.unexpected).for_each(|one| with.loosen(one, pieces));
            let before = with.known();
            taken.iter().try_for_each(|one| with.learn(one))?;
            let learned = with.learned(&before);
            let now = with.now_deciding(yardstick.wanted())?;
            Ok((with, learned, now))
        };
        match believing(true) {
            // No wrong piece explains such a reading: the bay would not go together. The reading before the build may.
            Err(StockError::CannotAssemble { .. }) => believing(false),
            found => found,
        }
    }

    fn taken<'a>(&self, measured: &'a Measured) -> Result<Taken<'a>, StockError> {
        measured.check()?;
        let expected = self.predict(&measured.valve, measured.u)?;
        let believed = believe(&measured.readings, expected.expected, expected.sd, expected.u);
        Ok(Taken { measured, expected, believed })
    }

    /// Each reading beside what was expected of it before all of them.
    pub(super) fn compared(&self, measured: &Measured, expected: &Prediction, believed: &Believed) -> Vec<Compared> {
        let limits = self.read_limits(&measured.valve);
        let one = |(&reading, &with): (&f64, &bool)| {
            let off = reading - expected.expected;
            let z = if expected.sd > 0.0 {
                off / expected.sd
            } else if off == 0.0 {
                0.0
            } else {
                off.signum() * f64::INFINITY
            };
            Compared {
                valve: measured.valve.clone(),
                reading,
                surprise: Surprise { expected: expected.expected, sd: expected.sd, z },
                believed: with && !believed.doubtful,
                limits,
            }
        };
        measured.readings.iter().zip(&believed.with_latest).map(one).collect()
    }

    /// The readings that agree with the latest are learned.
    fn learn(&mut self, taken: &Taken<'_>) -> Result<(), StockError> {
        if !self.before_of(taken.measured).is_empty() {
            self.warn_of_repeats(taken.measured, &taken.believed.with_latest);
        }
        self.learn_mean(taken.measured, &taken.believed.with_latest)
    }

    /// Makes room for readings that are not what was expected: the reading before the build may have been wrong, which leaves the pack alone, or
    /// a piece that was put in (`pieces`), which does not. Each is given the deviation as its standard deviation, the pieces together.
    fn loosen(&mut self, taken: &Taken<'_>, pieces: bool) {
        let deviation = taken.measured.readings.last().map_or(0.0, |latest| latest - taken.expected.expected);
        let gradient = &taken.expected.gradient;
        let moves = |entry: &usize| gradient.iter().any(|&(e, slope)| e == *entry && slope.abs() > MOVES);
        let wrong_piece = pieces && deviation.abs() <= SEEN_BY_EYE;
        let pieces: Vec<usize> = self.put_in.iter().copied().filter(|entry| wrong_piece && moves(entry)).collect();
        let variance = deviation * deviation;
        for &piece in &pieces {
            self.make_room(&[(piece, 1.0)], variance / pieces.len() as f64);
        }
        let bay = &self.pack.bays[self.bay];
        if let Some(valve) = bay.valves.iter().find(|v| v.name == taken.measured.valve) {
            let stem = self.entry[valve.stem.0];
            self.make_room(&[(stem, 1.0)], variance);
        }
    }

    /// Named valves without a reading.
    fn not_read(&self, readings: &[Measured]) -> Vec<String> {
        let bay = &self.pack.bays[self.bay];
        let named = self.layout.targets.iter().zip(&self.named).filter(|(_, named)| **named);
        named
            .map(|(target, _)| bay.valves[target.valve].name.clone())
            .filter(|valve| !readings.iter().any(|m| m.valve == *valve && !m.readings.is_empty()))
            .collect()
    }

    fn known(&self) -> Vec<(f64, f64)> {
        let of = |&entry: &usize| (self.beliefs.mean(entry), self.beliefs.covariance(entry, entry).max(0.0).sqrt());
        self.entry.iter().map(of).collect()
    }

    fn learned(&self, before: &[(f64, f64)]) -> Vec<Learned> {
        let after = self.known();
        // By how much the reading says of each: the shift, and the narrowing, against what was known.
        let told = |d: usize| {
            let (b, a) = (before[d], after[d]);
            if b.1 > 0.0 { ((a.0 - b.0) / b.1).abs() + (1.0 - a.1 / b.1) } else { 0.0 }
        };
        let mut order: Vec<usize> = (0..after.len()).filter(|&d| told(d) > 0.1).collect();
        order.sort_by(|&a, &b| told(b).total_cmp(&told(a)).then(a.cmp(&b)));
        order.truncate(LISTED);
        order
            .into_iter()
            .map(|d| Learned {
                path: dimension_path(&self.pack, DimensionId(d)).to_owned(),
                before: before[d],
                after: after[d],
            })
            .collect()
    }
}

/// Part of the search's work that is spent where readings are not settled.
const UNSETTLED: u64 = 20;

/// A piece that is wrong by more than this is seen to be wrong before it is fitted, mm. Our own.
const SEEN_BY_EYE: f64 = 0.5;

/// A piece with a smaller effect on an offset, mm a mm, does not move it.
const MOVES: f64 = 0.05;
