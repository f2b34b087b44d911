//! The mechanic's bench: the bay in hand, the drawer, and what is known of both.
//!
//! [`Bench::new`] takes the pack file, the measured offset and the drawer; [`Bench::propose`] lists the best builds; [`Bench::fit`] puts one
//! in; [`Bench::after`] compares what was then measured with what was expected, learns from it, and proposes the next build if
//! one is needed; [`Bench::follow`] does so for one build after the other.

mod accept;
mod after;
mod build;
mod coarse;
mod judge;
mod measure_first;
mod missing;
mod plan;
mod propose;
mod readings;
mod repeats;
mod rounds;
mod setup;
mod view;
mod warning;

pub use accept::Acceptance;
pub use after::{After, Doubt, Learned};
pub use build::{Build, Origin, Place, PlacedPiece, TakenOut};
pub use measure_first::MeasureFirst;
pub use missing::{Candidate, Missing};
pub use propose::{Options, Proposal};
pub use readings::{Compared, Measured};
pub use repeats::MeanReading;
pub use rounds::{Made, RoundResult, Rounds};
pub use view::Assembled;
pub use warning::Warning;

use crate::beliefs::Beliefs;
use crate::drawer::{PacketScatter, Piece};
use crate::error::{StockError, within};
use crate::forecast::{Ask, Forecast, State, SumRule, Wanted, forecast};
use crate::layout::{Layout, Reduced, reduce};
use crate::objective::{Kind, Member};
use crate::prior::prior;
use crate::response::{Aim, Asked, Response, TrackKind};
use packdrift_pack::{DimensionId, Pack, Quantity, QuantityKind};
use packdrift_spread::{NeverBinds, Requirement, Stack};
use packdrift_verdict::LOOSE;
use readings::believe;
use repeats::ReadSoFar;
use setup::{coldest, locate, rockers, slips, told_apart, unknown, warnings};

/// What is taken to be known beyond the pack file and the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Assumptions {
    /// Of sizes that the pack file has no lot for.
    pub packet: PacketScatter,
    /// How far a measured valve's offset may have drifted since the drawing, standard deviation, mm. Large against the drawing's own
    /// scatter, so that the reading is believed; 0 for a new build. Default 0.3.
    pub drift: f64,
    /// Share of the drift that is wear of the rocker's face and of what it rests on: it thins the pack, so the spring washer has lost as
    /// much squeeze. Only where the rocker has moved away from its spring washer, as wear moves it. The rest moves the stem's axis
    /// against the adjuster and leaves the pack alone. Default 0.
    pub worn_faces: f64,
    /// Index of the condition in which offsets are measured; None: the one nearest to the reference temperature.
    pub condition: Option<usize>,
    /// Without a preload requirement: how far the sum may stray from the present one, mm. Common practice, no source: 0.10.
    pub sum_tolerance: f64,
    /// Seed of the draws behind the forecasts.
    pub seed: u64,
}

impl Default for Assumptions {
    fn default() -> Self {
        Self {
            packet: PacketScatter::default(),
            drift: 0.3,
            worn_faces: 0.0,
            condition: None,
            sum_tolerance: 0.10,
            seed: packdrift_numerics::stream::DEFAULT_SEED,
        }
    }
}

impl Assumptions {
    fn check(&self) -> Result<(), StockError> {
        self.packet.check()?;
        within("drift", self.drift, "mm", 0.0..=10.0, "between 0 and 10")?;
        within("share of the drift that is worn faces", self.worn_faces, "", 0.0..=1.0, "between 0 and 1")?;
        within("sum tolerance", self.sum_tolerance, "mm", 1e-4..=10.0, "between 0.0001 and 10")?;
        Ok(())
    }
}

/// The bay in hand, the drawer, and what is known of both.
#[derive(Debug, Clone)]
pub struct Bench {
    pack: Pack,
    bay: usize,
    layout: Layout,
    /// Which of the layout's targets were asked for.
    named: Vec<bool>,
    requirements: Vec<Requirement>,
    /// Limits of those that builds are held against which can never bind.
    never_binds: Vec<NeverBinds>,
    beliefs: Beliefs,
    /// The same, had every offset been read with [`GAUGE_DOUBT`] times the stated uncertainty: only to say what rests on the gauge.
    doubted: Beliefs,
    /// Beliefs' entry of every dimension of the pack.
    entry: Vec<usize>,
    drawer: Vec<Piece>,
    kinds: Vec<Kind>,
    condition: usize,
    assumptions: Assumptions,
    /// Without preload limits: how far the sum of the pieces may stray from the present one, mm.
    sum_tolerance: Option<f64>,
    /// Entries of the pieces that the last build put in.
    put_in: Vec<usize>,
    /// How the measured offsets compared with the drawing.
    readings: Vec<Compared>,
    /// Valves whose reading is not to be believed before it is repeated.
    doubtful: Vec<String>,
    /// Named valves that were not measured.
    unread: Vec<String>,
    /// Named valves that were read once and no more.
    read_once: Vec<String>,
    /// What has been learned of each valve's offset by reading it.
    read_so_far: Vec<ReadSoFar>,
    /// Believed readings of each valve since anything in the bay was last changed, mm.
    untouched: Vec<(String, Vec<f64>)>,
    warnings: Vec<Warning>,
}

impl Bench {
    /// Lays out the bay of the named valves. All of them must be in one bay; the first is the one asked for, the others (`--also`) are
    /// shimmed with it. Rockers of the bay that are not named, but have offset limits, are kept in their limits too.
    ///
    /// # Errors
    ///
    /// [`StockError`]: an unknown valve, valves of two bays, no offset limits, a drawer or a reading that cannot be, a bay that cannot be
    /// assembled by the model.
    pub fn new(
        stack: &Stack,
        measured: &[Measured],
        drawer: &[Piece],
        assumptions: Assumptions,
    ) -> Result<Self, StockError> {
        assumptions.check()?;
        for piece in drawer {
            piece.check()?;
        }
        let pack = &stack.pack;
        let (bay, valves) = locate(pack, measured)?;
        let (counted, spare) = rockers(stack, bay, &valves, measured)?;
        let layout = Layout::new(&pack.bays[bay], &counted);
        let named = layout.targets.iter().map(|target| valves.contains(&target.valve)).collect();
        let requirements: Vec<Requirement> =
            stack.requirements.iter().filter(|r| r.quantity.bay() == bay).cloned().collect();
        let never_binds =
            slips(stack, &requirements).map_err(|_| StockError::CannotAssemble { bay: pack.bays[bay].name.clone() })?;
        let limited = |r: &Requirement| r.lower.is_some() || r.upper.is_some();
        let preload = requirements.iter().any(|r| r.quantity.kind() == QuantityKind::Preload && limited(r));
        let sum_tolerance = (!preload).then_some(assumptions.sum_tolerance);
        let warnings = warnings(pack, bay, &requirements, &spare, sum_tolerance);
        let (beliefs, kinds) = prior(stack, drawer, assumptions.packet);
        let condition =
            assumptions.condition.unwrap_or_else(|| coldest(pack)).min(pack.conditions.len().saturating_sub(1));
        let mut bench = Self {
            entry: (0..pack.dimensions.len()).collect(),
            pack: pack.clone(),
            bay,
            layout,
            named,
            requirements,
            never_binds,
            doubted: beliefs.clone(),
            beliefs,
            drawer: told_apart(drawer, &pack.bays[bay]),
            kinds,
            condition,
            assumptions,
            sum_tolerance,
            put_in: Vec::new(),
            readings: Vec::new(),
            doubtful: Vec::new(),
            unread: Vec::new(),
            read_once: Vec::new(),
            read_so_far: Vec::new(),
            untouched: Vec::new(),
            warnings,
        };
        bench.take_up(measured, &valves)?;
        Ok(bench)
    }

    /// Learns from the readings that the question came with.
    fn take_up(&mut self, measured: &[Measured], valves: &[usize]) -> Result<(), StockError> {
        let drift = self.assumptions.drift;
        for (m, &valve) in measured.iter().zip(valves) {
            m.check()?;
            let Some(&latest) = m.readings.last() else { continue };
            let (direction, away) = self.drift_of(valve, latest)?;
            let drawn = self.predict(&m.valve, m.u)?;
            let by = latest - drawn.expected;
            if away && self.assumptions.worn_faces == 0.0 && drift > 0.0 && by.abs() > 2.0 * drawn.sd {
                self.warnings.push(Warning::DriftTakenAsTheStems { valve: m.valve.clone(), by });
            }
            self.make_room(&direction, drift * drift);
        }
        let expected: Vec<_> = measured.iter().map(|m| self.predict(&m.valve, m.u)).collect::<Result<_, _>>()?;
        let loose = self.looseness().chance;
        for (m, expected) in measured.iter().zip(&expected) {
            let believed = believe(&m.readings, expected.expected, expected.sd, expected.u);
            let compared = self.compared(m, expected, &believed);
            if m.readings.is_empty() {
                self.unread.push(m.valve.clone());
                self.warnings.push(Warning::NotMeasured { valve: m.valve.clone() });
            }
            // The one that surprises, which need not be the latest.
            let farthest = compared.iter().max_by(|a, b| a.surprise.z.abs().total_cmp(&b.surprise.z.abs()));
            let wanted = believed.doubtful || believed.unexpected;
            if let Some(farthest) = farthest.filter(|farthest| wanted && farthest.is_surprising()) {
                let (valve, surprise) = (m.valve.clone(), farthest.surprise);
                self.warnings.push(Warning::OffsetFarFromDrawing { valve, surprise, repeated: !believed.doubtful });
            }
            if believed.doubtful {
                self.doubtful.push(m.valve.clone());
            }
            if m.readings.len() == 1 {
                self.read_once.push(m.valve.clone());
            }
            self.warn_of_repeats(m, &believed.with_latest);
            self.learn_mean(m, &believed.with_latest)?;
            self.readings.extend(compared);
        }
        if loose > LOOSE && measured.iter().any(|m| !m.readings.is_empty()) {
            self.warnings.push(Warning::ReadLoose { chance: loose });
        }
        Ok(())
    }

    /// What changes by how much with every mm that a valve's offset has drifted, by entry of the beliefs: the stem's axis, and as far as
    /// faces have worn the rocker's width, which stands for the pair of faces that the rocker rests on; and whether it has drifted away
    /// from its spring washer, as wear moves it.
    fn drift_of(&self, valve: usize, offset: f64) -> Result<(Vec<(usize, f64)>, bool), StockError> {
        let bay = &self.pack.bays[self.bay];
        let stem = self.entry[bay.valves[valve].stem.0];
        let packdrift_pack::PartKind::Rocker { width, adjuster } = bay.parts[bay.valves[valve].rocker].kind else {
            return Ok((vec![(stem, -1.0)], false));
        };
        let mut gradient = vec![0.0; self.pack.dimensions.len()];
        let quantity = Quantity::Offset { bay: self.bay, valve };
        let expected = self
            .pack
            .gradient(&quantity, self.condition, &self.values(), &mut gradient)
            .ok_or_else(|| StockError::CannotAssemble { bay: bay.name.clone() })?;
        // Resting on what lies to its right, a rocker moves right as the faces there wear; else left, and its left face, from which the
        // adjuster is measured, is the one that wears.
        let rests_right = gradient[width.0] < -0.5;
        let away = if rests_right { offset > expected } else { offset < expected };
        let share = if away { self.assumptions.worn_faces } else { 0.0 };
        let mut direction = vec![(stem, share - 1.0)];
        if share > 0.0 {
            let sign = if rests_right { -share } else { share };
            direction.push((self.entry[width.0], sign));
            if !rests_right {
                direction.push((self.entry[adjuster.0], sign));
            }
        }
        Ok((direction, away))
    }

    /// What to expect of the bay as it is now.
    ///
    /// # Errors
    ///
    /// [`StockError::CannotAssemble`] where it cannot exist by the model.
    pub fn now(&self) -> Result<Forecast, StockError> {
        self.now_deciding(None)
    }

    /// As [`Bench::now`], with draws until the chances are told apart from those that something is decided by.
    fn now_deciding(&self, wanted: Option<Wanted>) -> Result<Forecast, StockError> {
        let rule = self.sum_rule(self.pieces_now());
        self.forecast_of(&self.pack, &self.entry, &self.beliefs, rule.as_ref(), wanted)
            .ok_or_else(|| StockError::CannotAssemble { bay: self.pack.bays[self.bay].name.clone() })
    }

    /// The chance of [`Bench::now`], had the gauge [`GAUGE_DOUBT`] times the uncertainty that was stated. The readings that are believed
    /// are the same. None where no reading was learned.
    pub fn now_with_a_worse_gauge(&self) -> Option<f64> {
        let rule = self.sum_rule(self.pieces_now());
        let read = self.doubted != self.beliefs;
        let doubted = || self.forecast_of(&self.pack, &self.entry, &self.doubted, rule.as_ref(), None);
        read.then(doubted).flatten().map(|forecast| forecast.chance)
    }

    /// Adds an independent change of a variance, mm², along a direction of the beliefs.
    fn make_room(&mut self, direction: &[(usize, f64)], variance: f64) {
        self.beliefs.loosen(direction, variance);
        self.doubted.loosen(direction, variance);
    }

    /// Sum of the shims and flat washers now in the bay, mm.
    pub fn sum(&self) -> f64 {
        self.layout.fitted.iter().map(|f| self.beliefs.mean(self.entry[f.dimension])).sum()
    }

    /// Expected thicknesses of the shims and flat washers now in the bay, mm.
    pub fn thicknesses(&self) -> Vec<f64> {
        (0..self.layout.fitted.len()).map(|f| self.thickness_of(f)).collect()
    }

    /// Limits on an offset or the preload of this bay that can never bind: no build is shown to be right by them, and whoever wrote them is to be asked.
    pub fn never_binds(&self) -> &[NeverBinds] {
        &self.never_binds
    }

    /// The name of the bay.
    pub fn bay(&self) -> &str {
        &self.pack.bays[self.bay].name
    }

    /// What is in the drawer.
    pub fn drawer(&self) -> &[Piece] {
        &self.drawer
    }

    /// The condition in which offsets are measured.
    pub fn measured_in(&self) -> &str {
        &self.pack.conditions[self.condition].name
    }

    /// Its temperature, °C.
    pub fn measured_at(&self) -> f64 {
        self.pack.conditions[self.condition].temperature
    }

    /// How the measured offsets compared with the drawing, one entry a reading.
    pub fn readings(&self) -> &[Compared] {
        &self.readings
    }

    /// Whether the bay may be loose where its offsets are read, with a chance above one in twenty: then a reading says little.
    pub fn is_loose(&self) -> bool {
        self.looseness().chance > LOOSE
    }

    /// Valves whose reading is not to be believed before it is repeated.
    pub fn doubtful(&self) -> &[String] {
        &self.doubtful
    }

    /// Named valves that were not measured: what is said of them is by the pack file alone.
    pub fn unread(&self) -> &[String] {
        &self.unread
    }

    fn values(&self) -> Vec<f64> {
        self.entry.iter().map(|&entry| self.beliefs.mean(entry)).collect()
    }

    /// Entries of the pieces now in the bay.
    fn pieces_now(&self) -> Vec<usize> {
        self.layout.fitted.iter().map(|f| self.entry[f.dimension]).collect()
    }

    fn sum_rule(&self, pieces: Vec<usize>) -> Option<SumRule> {
        let old = self.sum();
        self.sum_tolerance.map(|tolerance| SumRule { pieces, lower: old - tolerance, upper: old + tolerance })
    }

    /// The tightest limits that the requirements set for a quantity in a condition.
    fn limits(&self, quantity: Quantity, condition: usize) -> (Option<f64>, Option<f64>, Option<f64>) {
        let (mut lower, mut upper, mut target): (Option<f64>, Option<f64>, Option<f64>) = (None, None, None);
        for r in self.requirements.iter().filter(|r| r.quantity == quantity && r.condition == condition) {
            lower = match (lower, r.lower) {
                (Some(a), Some(b)) => Some(a.max(b)),
                (a, b) => a.or(b),
            };
            upper = match (upper, r.upper) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (a, b) => a.or(b),
            };
            target = target.or(r.target);
        }
        (lower, upper, target)
    }

    fn asks(&self) -> Vec<Ask> {
        let mut asks = Vec::new();
        for (target, &named) in self.layout.targets.iter().zip(&self.named) {
            let quantity = Quantity::Offset { bay: self.bay, valve: target.valve };
            for condition in 0..self.pack.conditions.len() {
                let (lower, upper, target) = self.limits(quantity, condition);
                asks.push(Ask { quantity, condition, lower, upper, target, named });
            }
        }
        let quantity = Quantity::Preload { bay: self.bay };
        for condition in 0..self.pack.conditions.len() {
            let (lower, upper, target) = self.limits(quantity, condition);
            asks.push(Ask { quantity, condition, lower, upper, target, named: true });
        }
        asks
    }

    fn forecast_of(
        &self,
        pack: &Pack,
        entry: &[usize],
        beliefs: &Beliefs,
        sum_rule: Option<&SumRule>,
        wanted: Option<Wanted>,
    ) -> Option<Forecast> {
        let (asks, seed) = (self.asks(), self.assumptions.seed);
        forecast(&State { pack, bay: self.bay, entry, beliefs, asks: &asks, sum_rule, seed, wanted })
    }

    /// Index of the condition in which offsets are measured.
    pub(crate) fn reading_condition(&self) -> usize {
        self.condition
    }

    pub(crate) fn layout(&self) -> &Layout {
        &self.layout
    }

    /// Index of the first target that was asked for.
    pub(crate) fn first_named(&self) -> usize {
        self.named.iter().position(|&named| named).unwrap_or(0)
    }

    /// Expected offset of a target now, as measured, mm.
    pub(crate) fn present_offset(&self, target: usize) -> Result<f64, StockError> {
        let quantity = Quantity::Offset { bay: self.bay, valve: self.layout.targets[target].valve };
        let outcome = self.pack.evaluate(&quantity, self.condition, &self.values());
        outcome.middle().ok_or_else(|| StockError::CannotAssemble { bay: self.bay().to_owned() })
    }

    /// Expected thickness of a piece in the bay, mm.
    pub(crate) fn thickness_of(&self, fitted: usize) -> f64 {
        self.beliefs.mean(self.entry[self.layout.fitted[fitted].dimension])
    }

    pub(crate) fn reduced(&self) -> Result<Reduced, StockError> {
        reduce(&self.pack, self.bay, &self.layout)
    }

    pub(crate) fn response(&self, reduced: &Reduced) -> Result<Response, StockError> {
        let mut tracks = Vec::new();
        for (t, target) in self.layout.targets.iter().enumerate() {
            for condition in 0..self.pack.conditions.len() {
                let (lower, upper, aim) =
                    self.limits(Quantity::Offset { bay: self.bay, valve: target.valve }, condition);
                tracks.push((TrackKind::Offset(t), condition, Aim::new(lower, upper, aim)));
            }
        }
        for condition in 0..self.pack.conditions.len() {
            let (lower, upper, aim) = self.limits(Quantity::Preload { bay: self.bay }, condition);
            tracks.push((TrackKind::Preload, condition, Aim::new(lower, upper, aim)));
        }
        // A track without limits is forecast for the builds that are shown, not followed in the search.
        tracks.retain(|track| track.2.is_some());
        if let Some(tolerance) = self.sum_tolerance {
            let old = self.sum();
            tracks.push((TrackKind::Sum, 0, Aim::new(Some(old - tolerance), Some(old + tolerance), Some(old))));
        }
        // Whether it can be assembled at all, in the condition that asks most.
        let state = |c: usize| self.pack.equilibrium(self.bay, c, &self.values());
        let excess = |c: usize| state(c).map_or(f64::INFINITY, |s| s.interference - s.room);
        if let Some(condition) = (0..self.pack.conditions.len()).max_by(|&a, &b| excess(a).total_cmp(&excess(b))) {
            tracks.push((TrackKind::Excess, condition, Aim::new(None, Some(0.0), None)));
        }
        let mut now = vec![0.0; self.layout.zones];
        for member in self.members_now() {
            now[member.zone] += member.thickness;
        }
        Response::new(&Asked { reduced, layout: &self.layout, tracks, entry: &self.entry, beliefs: &self.beliefs, now })
    }

    pub(crate) fn members_now(&self) -> Vec<Member> {
        self.layout
            .fitted
            .iter()
            .map(|f| {
                let entry = self.entry[f.dimension];
                Member { zone: f.zone, entry: Some(entry), thickness: self.beliefs.mean(entry), own: 0.0 }
            })
            .collect()
    }

    /// Covariance of what is known of the pieces' thicknesses, row-major, mm².
    pub(crate) fn covariance_of(&self, members: &[Member]) -> Vec<f64> {
        let of = |a: &Member, b: &Member| match (a.entry, b.entry) {
            (Some(a), Some(b)) => self.beliefs.covariance(a, b),
            _ => 0.0,
        };
        members.iter().flat_map(|a| members.iter().map(move |b| of(a, b))).collect()
    }

    /// Standard deviation of what is known of a kind's thickness, mm.
    fn sd_of(&self, kind: &Kind) -> f64 {
        (kind.own + kind.entry.map_or(0.0, |e| self.beliefs.covariance(e, e))).max(0.0).sqrt()
    }
}

/// A part of the bay known this well counts as measured, mm.
const MEASURED_SD: f64 = 0.004;

/// A gauge twice as bad as stated is what an answer is held against: about what separates a gauge study from a guess. Our own.
pub const GAUGE_DOUBT: f64 = 2.0;

/// The name of a dimension's part in the bay, for messages.
fn dimension_path(pack: &Pack, dimension: DimensionId) -> &str {
    &pack.dimensions[dimension.0].path
}
