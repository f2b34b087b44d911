//! The mechanic's bench: the bay in hand, the drawer, and what is known of both.
//!
//! [`Bench::new`] takes the pack file, the measured offset and the drawer; [`Bench::propose`] lists the best builds; [`Bench::fit`] puts one
//! in; [`Bench::after`] compares what was then measured with what was expected, learns from it, and proposes the next build if
//! one is needed.

mod after;
mod build;
mod measure_first;
mod missing;
mod propose;
mod view;
mod warning;

pub use after::{After, Compared, Learned};
pub use build::{Build, Origin, Place, PlacedPiece, TakenOut};
pub use measure_first::MeasureFirst;
pub use missing::{Candidate, Missing};
pub use propose::{Options, Proposal};
pub use view::Assembled;
pub use warning::Warning;

use crate::beliefs::{Beliefs, Surprise};
use crate::drawer::{PacketScatter, Piece};
use crate::error::{StockError, within};
use crate::forecast::{Ask, Forecast, State, SumRule, forecast};
use crate::layout::{Layout, Reduced, reduce};
use crate::objective::{Kind, Member, ZONES};
use crate::prior::prior;
use crate::response::{Aim, Asked, Follows, Response};
use packdrift_pack::{DimensionId, Pack, Quantity, QuantityKind};
use packdrift_spread::{Requirement, Stack};

/// A valve to be shimmed, and its contact offset as measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// The valve's name.
    pub valve: String,
    /// Its measured contact offset, mm; None: not measured, the pack file is all there is.
    pub offset: Option<f64>,
    /// Standard uncertainty of that reading, mm.
    pub u: f64,
}

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

/// The bay in hand, the drawer, and what is known of both.
#[derive(Debug, Clone)]
pub struct Bench {
    pack: Pack,
    bay: usize,
    layout: Layout,
    /// Which of the layout's targets were asked for.
    named: Vec<bool>,
    requirements: Vec<Requirement>,
    beliefs: Beliefs,
    /// Beliefs' entry of every dimension of the pack.
    entry: Vec<usize>,
    drawer: Vec<Piece>,
    kinds: Vec<Kind>,
    condition: usize,
    assumptions: Assumptions,
    /// How the measured offsets compared with the drawing.
    readings: Vec<(String, Surprise)>,
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
        assumptions.packet.check()?;
        within("drift", assumptions.drift, "mm", 0.0..=10.0, "between 0 and 10")?;
        within("share of the drift that is worn faces", assumptions.worn_faces, "", 0.0..=1.0, "between 0 and 1")?;
        within("sum tolerance", assumptions.sum_tolerance, "mm", 1e-4..=10.0, "between 0.0001 and 10")?;
        for piece in drawer {
            piece.check()?;
        }
        let pack = &stack.pack;
        let (bay, valves) = locate(pack, measured)?;
        let offset_limits = |valve: usize| {
            stack
                .requirements
                .iter()
                .any(|r| r.quantity == (Quantity::Offset { bay, valve }) && (r.lower.is_some() || r.upper.is_some()))
        };
        if let Some(k) = valves.iter().position(|&valve| !offset_limits(valve)) {
            return Err(StockError::NoOffsetLimits { name: measured[k].valve.clone() });
        }
        let mut counted: Vec<usize> = (0..pack.bays[bay].valves.len()).filter(|&valve| offset_limits(valve)).collect();
        counted.sort_by_key(|valve| (!valves.contains(valve), *valve));
        // Rockers beyond what the search can hold are left to themselves, and a warning says so.
        let mut warnings = Vec::new();
        let spare = counted.split_off(counted.len().min(ZONES - 1));
        if !spare.is_empty() {
            let valves = spare.iter().map(|&valve| pack.bays[bay].valves[valve].name.clone()).collect();
            warnings.push(Warning::RockersLeftOut { valves });
        }
        let layout = Layout::new(&pack.bays[bay], &counted);
        let named = layout.targets.iter().map(|target| valves.contains(&target.valve)).collect();
        let requirements: Vec<Requirement> =
            stack.requirements.iter().filter(|r| r.quantity.bay() == bay).cloned().collect();
        let others: Vec<String> = requirements
            .iter()
            .filter(|r| !matches!(r.quantity.kind(), QuantityKind::Offset | QuantityKind::Preload))
            .map(|r| r.name.clone())
            .collect();
        if !others.is_empty() {
            warnings.push(Warning::RequirementsNotKept { names: others });
        }
        let limited =
            |kind| requirements.iter().any(|r| r.quantity.kind() == kind && (r.lower.is_some() || r.upper.is_some()));
        if !limited(QuantityKind::Preload) {
            warnings.push(Warning::NoPreloadLimits {
                bay: pack.bays[bay].name.clone(),
                tolerance: assumptions.sum_tolerance,
            });
        }
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
            beliefs,
            drawer: drawer.to_vec(),
            kinds,
            condition,
            assumptions,
            readings: Vec::new(),
            warnings,
        };
        for (m, &valve) in measured.iter().zip(&valves) {
            if let Some(offset) = m.offset {
                let (direction, away) = bench.drift_of(valve, offset)?;
                let drawn = bench.clone().observe(&m.valve, offset, m.u)?;
                if away && assumptions.worn_faces == 0.0 && assumptions.drift > 0.0 && drawn.z.abs() > 2.0 {
                    let by = offset - drawn.expected;
                    bench.warnings.push(Warning::DriftTakenAsTheStems { valve: m.valve.clone(), by });
                }
                bench.beliefs.loosen(&direction, assumptions.drift * assumptions.drift);
            }
        }
        for m in measured {
            if let Some(offset) = m.offset {
                let surprise = bench.observe(&m.valve, offset, m.u)?;
                if surprise.z.abs() > 3.0 {
                    bench.warnings.push(Warning::OffsetFarFromDrawing { valve: m.valve.clone(), surprise });
                }
                bench.readings.push((m.valve.clone(), surprise));
            }
        }
        Ok(bench)
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

    /// Learns from a contact offset measured in the present state.
    ///
    /// # Errors
    ///
    /// An unknown valve, a reading or uncertainty that cannot be, a bay that cannot be assembled by the model.
    pub fn observe(&mut self, valve: &str, reading: f64, u: f64) -> Result<Surprise, StockError> {
        within(format!("measured offset of \"{valve}\""), reading, "mm", -100.0..=100.0, "between -100 and 100")?;
        within(format!("uncertainty of the offset of \"{valve}\""), u, "mm", 0.0..=10.0, "between 0 and 10")?;
        let bay = &self.pack.bays[self.bay];
        let index = bay.valves.iter().position(|v| v.name == valve).ok_or_else(|| unknown(&self.pack, valve))?;
        let quantity = Quantity::Offset { bay: self.bay, valve: index };
        let x = self.values();
        let mut gradient = vec![0.0; self.pack.dimensions.len()];
        let predicted = self
            .pack
            .gradient(&quantity, self.condition, &x, &mut gradient)
            .ok_or_else(|| StockError::CannotAssemble { bay: bay.name.clone() })?;
        let used: Vec<(usize, f64)> =
            gradient.iter().enumerate().filter(|&(_, &g)| g != 0.0).map(|(d, &g)| (self.entry[d], g)).collect();
        let surprise = self.beliefs.observe(&used, predicted, reading, u);
        for kind in &mut self.kinds {
            if let Some(entry) = kind.entry {
                kind.thickness = self.beliefs.mean(entry);
            }
        }
        Ok(surprise)
    }

    /// What to expect of the bay as it is now.
    ///
    /// # Errors
    ///
    /// [`StockError::CannotAssemble`] where it cannot exist by the model.
    pub fn now(&self) -> Result<Forecast, StockError> {
        let rule = self.sum_rule(self.pieces_now());
        self.forecast_of(&self.pack, &self.entry, &self.beliefs, rule.as_ref())
            .ok_or_else(|| StockError::CannotAssemble { bay: self.pack.bays[self.bay].name.clone() })
    }

    /// Sum of the shims and flat washers now in the bay, mm.
    pub fn sum(&self) -> f64 {
        self.layout.fitted.iter().map(|f| self.beliefs.mean(self.entry[f.dimension])).sum()
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

    /// How the measured offsets compared with the drawing.
    pub fn readings(&self) -> &[(String, Surprise)] {
        &self.readings
    }

    fn values(&self) -> Vec<f64> {
        self.entry.iter().map(|&entry| self.beliefs.mean(entry)).collect()
    }

    /// Entries of the pieces now in the bay.
    fn pieces_now(&self) -> Vec<usize> {
        self.layout.fitted.iter().map(|f| self.entry[f.dimension]).collect()
    }

    fn needs_sum_rule(&self) -> bool {
        self.warnings.iter().any(|warning| matches!(warning, Warning::NoPreloadLimits { .. }))
    }

    fn sum_rule(&self, pieces: Vec<usize>) -> Option<SumRule> {
        let (old, tolerance) = (self.sum(), self.assumptions.sum_tolerance);
        self.needs_sum_rule().then(|| SumRule { pieces, lower: old - tolerance, upper: old + tolerance })
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
    ) -> Option<Forecast> {
        let asks = self.asks();
        forecast(&State { pack, bay: self.bay, entry, beliefs, asks: &asks, sum_rule, seed: self.assumptions.seed })
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
                tracks.push((Follows::Offset(t), condition, Aim::new(lower, upper, aim)));
            }
        }
        for condition in 0..self.pack.conditions.len() {
            let (lower, upper, aim) = self.limits(Quantity::Preload { bay: self.bay }, condition);
            tracks.push((Follows::Preload, condition, Aim::new(lower, upper, aim)));
        }
        // A track without limits is forecast for the builds that are shown, not followed in the search.
        tracks.retain(|track| track.2.is_some());
        if self.needs_sum_rule() {
            let (old, tolerance) = (self.sum(), self.assumptions.sum_tolerance);
            tracks.push((Follows::Sum, 0, Aim::new(Some(old - tolerance), Some(old + tolerance), Some(old))));
        }
        // Whether it can be assembled at all, in the condition that asks most.
        let state = |c: usize| self.pack.equilibrium(self.bay, c, &self.values());
        let excess = |c: usize| state(c).map_or(f64::INFINITY, |s| s.interference - s.room);
        if let Some(condition) = (0..self.pack.conditions.len()).max_by(|&a, &b| excess(a).total_cmp(&excess(b))) {
            tracks.push((Follows::Excess, condition, Aim::new(None, Some(0.0), None)));
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

    /// Standard deviation of what is known of a kind's thickness, mm.
    fn sd_of(&self, kind: &Kind) -> f64 {
        (kind.own + kind.entry.map_or(0.0, |e| self.beliefs.covariance(e, e))).max(0.0).sqrt()
    }
}

fn unknown(pack: &Pack, name: &str) -> StockError {
    let known: Vec<&str> =
        pack.bays.iter().flat_map(|bay| bay.valves.iter().map(|valve| valve.name.as_str())).collect();
    StockError::UnknownValve { name: name.to_owned(), known: known.join(", ") }
}

/// The bay of the named valves, and their indices in it.
fn locate(pack: &Pack, measured: &[Measured]) -> Result<(usize, Vec<usize>), StockError> {
    let Some(first) = measured.first() else {
        return Err(StockError::Count { what: "valves to shim", count: 0, expected: "at least 1" });
    };
    let (bay, _) = pack.find_valve(&first.valve).ok_or_else(|| unknown(pack, &first.valve))?;
    let mut valves = Vec::new();
    for m in measured {
        let (other, valve) = pack.find_valve(&m.valve).ok_or_else(|| unknown(pack, &m.valve))?;
        if other != bay {
            return Err(StockError::AnotherBay {
                valve: first.valve.clone(),
                bay: pack.bays[bay].name.clone(),
                also: m.valve.clone(),
                also_bay: pack.bays[other].name.clone(),
            });
        }
        if valves.contains(&valve) {
            return Err(StockError::NamedTwice { name: m.valve.clone() });
        }
        valves.push(valve);
    }
    Ok((bay, valves))
}

/// The condition nearest to the reference temperature: the engine is cold when it is measured.
fn coldest(pack: &Pack) -> usize {
    let away = |c: usize| (pack.conditions[c].temperature - pack.reference_temperature).abs();
    (0..pack.conditions.len()).min_by(|&a, &b| away(a).total_cmp(&away(b))).unwrap_or(0)
}

/// The name of a dimension's part in the bay, for messages.
fn dimension_path(pack: &Pack, dimension: DimensionId) -> &str {
    &pack.dimensions[dimension.0].path
}
