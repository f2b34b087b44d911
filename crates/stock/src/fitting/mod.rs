//! How a shop fits new builds, over and over: the bay of a build as the mechanic knows it, the best pieces for what was read, and what
//! comes of them by the whole model.
//!
//! The scoring is that of [`crate::Bench`] (chance that all is inside, less what a part touched and a distance from the aims are worth), brought to
//! limits of each offset and of the sum of the pieces as measured cold, as [`crate::StockingBay`] does for one rocker. Here all rockers
//! of a bay are fitted at once. Three things are simpler than on the bench, so that millions of builds can be fitted: pieces that come
//! out are not put in on another side; the chance of all is the product of the chances of each; at most three pieces come to a side.
//! What a fitting leaves outside is not judged by any of this, but by the equilibrium of the pack ([`Judge`]).

mod choose;
mod fast_normal;
mod judge;
mod knowledge;
#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
mod tests;
mod zone_options;

pub use choose::{AtHand, Chosen, Deviations, Doubts, Workspace};
pub use judge::{Judge, Judged};
pub use knowledge::{Knowledge, Scatter};
pub use zone_options::{MOST_ADDED, ZoneOptions};

use crate::bench::{Assumptions, Bench, Measured};
use crate::error::StockError;
use crate::layout::{Layout, Reduced};
use crate::objective::{Weights, ZONES};
use crate::prior::expected_inputs;
use crate::response::TrackKind;
use crate::stocking::{Offsets, sums};
use packdrift_pack::Quantity;
use packdrift_spread::{Requirement, Stack};

/// Most quantities: an offset for each of four rockers, and the sum.
pub(crate) const MOST_QUANTITIES: usize = ZONES;

/// A shim or flat washer that the drawing puts into the bay.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnPiece {
    /// Index into [`Stack::inputs`].
    pub dimension: usize,
    /// Expected thickness, mm.
    pub mean: f64,
    pub(crate) zone: usize,
}

/// A bay of new builds.
#[derive(Debug, Clone)]
pub struct FittingBay {
    bay: usize,
    condition: usize,
    layout: Layout,
    reduced: Reduced,
    /// Every requirement of the bay, of the reduced pack.
    requirements: Vec<Requirement>,
    /// The pieces that the drawing has, as of [`Layout::fitted`].
    drawn: Vec<DrawnPiece>,
    /// Expected sum of the drawn pieces, by zone, mm.
    now: [f64; ZONES],
    /// By quantity (the offsets, then the sum) and zone: how it answers to a thickness there.
    levers: Vec<[f64; ZONES]>,
    /// By quantity and input of the stack: its slopes at the means.
    slopes: Vec<Vec<f64>>,
    /// Permitted change of each quantity from where it is expected as drawn, mm.
    limits: Vec<(f64, f64)>,
    /// Change of each that is aimed at, mm.
    aims: Vec<f64>,
    /// Distance from the aim that counts as 1, mm.
    halves: Vec<f64>,
    /// Expected offsets as drawn, as read, mm.
    expected: Vec<f64>,
    weights: Weights,
    /// The zones in the order in which they are filled, each with the quantity that decides there; the sum's last.
    order: Vec<(usize, usize)>,
    /// By place in that order: no other zone moves the quantity.
    alone: Vec<bool>,
}

impl FittingBay {
    /// The bay of new builds with every rocker that has limits; None where no offset of the bay has limits: nothing is fitted there.
    ///
    /// # Errors
    ///
    /// [`StockError`]: a bay that cannot be assembled as drawn, or in which no sum of pieces keeps the preload inside its limits.
    pub fn new(stack: &Stack, bay: usize, weights: Weights) -> Result<Option<Self>, StockError> {
        let limited = |valve: &usize| {
            let of = Quantity::Offset { bay, valve: *valve };
            stack.requirements.iter().any(|r| r.quantity == of && (r.lower.is_some() || r.upper.is_some()))
        };
        let data = &stack.pack.bays[bay];
        let Some(first) = (0..data.valves.len()).find(limited) else { return Ok(None) };
        let measured = [Measured::unread(data.valves[first].name.as_str(), 0.0)];
        let bench = Bench::new(stack, &measured, &[], Assumptions::default())?;
        let reduced = bench.reduced()?;
        let response = bench.response(&reduced)?;
        let layout = bench.layout().clone();
        let cannot = || StockError::CannotAssemble { bay: data.name.clone() };
        let fitted = bench.members_now();
        let mut now = [0.0; ZONES];
        fitted.iter().for_each(|member| now[member.zone] += member.thickness);
        let present: f64 = now.iter().sum();
        let place = response.place(present).ok_or_else(cannot)?;
        let (low, high, nearest) = sums(&response, present).ok_or_else(|| StockError::Pack {
            bay: data.name.clone(),
            reason: "no sum of pieces keeps the preload inside its limits in every condition".to_owned(),
        })?;
        let (mut levers, mut limits, mut aims, mut halves, mut expected) =
            (Vec::new(), Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for (t, target) in layout.targets.iter().enumerate() {
            let near: f64 = now[..=target.boundary].iter().sum();
            let of = Offsets::new(&response, t, place, near);
            let mut lever = [0.0; ZONES];
            for (z, lever) in lever.iter_mut().enumerate().take(layout.zones) {
                *lever = of.lean + if z <= target.boundary { 1.0 } else { 0.0 };
            }
            levers.push(lever);
            limits.push((of.lower - of.base, of.upper - of.base));
            aims.push(of.aim - of.base);
            let tracks = response.tracks.iter().filter(|track| track.kind == TrackKind::Offset(t));
            halves.push(tracks.filter_map(|track| track.aim).map(|aim| aim.half_width).fold(f64::INFINITY, f64::min));
            expected.push(bench.present_offset(t)?);
        }
        let mut of_sum = [0.0; ZONES];
        of_sum[..layout.zones].fill(1.0);
        levers.push(of_sum);
        limits.push((low - present, high - present));
        aims.push(nearest - present);
        halves.push(0.5 * (high - low));
        let condition = bench.reading_condition();
        let slopes = slopes(stack, bay, condition, &layout).ok_or_else(cannot)?;
        let drawn = layout.fitted.iter().zip(&fitted);
        let drawn: Vec<DrawnPiece> =
            drawn.map(|(f, m)| DrawnPiece { dimension: f.dimension, mean: m.thickness, zone: f.zone }).collect();
        let requirements = requirements_of(stack, bay, &reduced);
        let order = order(&levers, layout.zones);
        let moved_by_another = |&(zone, j): &(usize, usize)| {
            levers[j].iter().take(layout.zones).enumerate().any(|(z, lever)| z != zone && lever.abs() > LEAST_LEVER)
        };
        let alone = order.iter().map(|at| !moved_by_another(at)).collect();
        Ok(Some(Self {
            bay,
            condition,
            layout,
            reduced,
            requirements,
            drawn,
            now,
            levers,
            slopes,
            limits,
            aims,
            halves,
            expected,
            weights,
            order,
            alone,
        }))
    }

    /// Index of the bay in the pack.
    pub fn bay(&self) -> usize {
        self.bay
    }

    /// How many offsets are read.
    pub fn rockers(&self) -> usize {
        self.expected.len()
    }

    /// How many places for pieces count apart.
    pub fn zones(&self) -> usize {
        self.layout.zones
    }

    /// The shims and flat washers of the drawing.
    pub fn drawn(&self) -> &[DrawnPiece] {
        &self.drawn
    }

    /// Expected offsets as drawn, in the condition in which they are read, mm.
    pub fn expected(&self) -> &[f64] {
        &self.expected
    }

    /// Permitted offset of a rocker as read, brought there from the conditions that its limits are for, mm.
    pub fn permitted(&self, rocker: usize) -> (f64, f64) {
        let (low, high) = self.limits[rocker];
        (self.expected[rocker] + low, self.expected[rocker] + high)
    }

    /// The sums of the zones with the drawn pieces measuring what `x` says of each of the stack's inputs, mm.
    pub fn sums_as_drawn(&self, x: impl Fn(usize) -> f64) -> [f64; ZONES] {
        let mut sums = [0.0; ZONES];
        self.drawn.iter().for_each(|piece| sums[piece.zone] += x(piece.dimension));
        sums
    }
}

/// Slopes of the offsets in the condition they are read in, and of the squeeze as mm of the sum, to every input at its mean.
fn slopes(stack: &Stack, bay: usize, condition: usize, layout: &Layout) -> Option<Vec<Vec<f64>>> {
    let pack = &stack.pack;
    let x = expected_inputs(stack);
    let mut rows = Vec::new();
    for target in &layout.targets {
        let mut row = vec![0.0; x.len()];
        pack.gradient(&Quantity::Offset { bay, valve: target.valve }, condition, &x, &mut row)?;
        rows.push(row);
    }
    let mut row = vec![0.0; x.len()];
    pack.gradient(&Quantity::Preload { bay }, condition, &x, &mut row)?;
    // Per mm of a piece: of any, since all of them only add up.
    let piece = layout.fitted.first().map(|f| row[f.dimension]).filter(|slope| slope.abs() > LEAST_RATE);
    match piece {
        Some(rate) => row.iter_mut().for_each(|slope| *slope /= rate),
        None => {
            // Loose as drawn, or nothing but a gap: the lengths alone.
            row.fill(0.0);
            let form = pack.interference_form(bay, condition)?;
            form.terms.iter().for_each(|&(id, slope)| row[id.0] = slope);
        }
    }
    rows.push(row);
    Some(rows)
}

/// A preload that answers to a piece by less than this is taken as none, N/mm.
const LEAST_RATE: f64 = 1e-6;

/// The requirements of a bay, as of its reduced pack.
fn requirements_of(stack: &Stack, bay: usize, reduced: &Reduced) -> Vec<Requirement> {
    let moved = |part: usize| {
        let name = &stack.pack.bays[bay].parts[part].name;
        reduced.pack.bays[0].parts.iter().position(|p| p.name == *name).unwrap_or(0)
    };
    let of_reduced = |quantity: &Quantity| match *quantity {
        Quantity::Offset { valve, .. } => Quantity::Offset { bay: 0, valve },
        Quantity::Preload { .. } => Quantity::Preload { bay: 0 },
        Quantity::Height { part, .. } => Quantity::Height { bay: 0, part: moved(part) },
        Quantity::Play { .. } => Quantity::Play { bay: 0 },
        Quantity::EdgeMargin { valve, .. } => Quantity::EdgeMargin { bay: 0, valve },
        Quantity::ContactPressure { valve, .. } => Quantity::ContactPressure { bay: 0, valve },
        Quantity::Stress { part, point, .. } => Quantity::Stress { bay: 0, part: moved(part), point },
    };
    let limited = |r: &&Requirement| r.quantity.bay() == bay && (r.lower.is_some() || r.upper.is_some());
    stack
        .requirements
        .iter()
        .filter(limited)
        .map(|r| Requirement { quantity: of_reduced(&r.quantity), ..r.clone() })
        .collect()
}

/// Zones with the quantity that each of them decides: rocker after rocker the zone that moves it most, and last the one that is left
/// over, which makes up the sum.
fn order(levers: &[[f64; ZONES]], zones: usize) -> Vec<(usize, usize)> {
    let sum = levers.len() - 1;
    let mut free: Vec<usize> = (0..zones).collect();
    let mut order = Vec::new();
    // A rocker that few zones move has no other choice: it comes first.
    let mut rockers: Vec<usize> = (0..sum).collect();
    rockers.sort_by_key(|&t| (levers[t].iter().filter(|lever| lever.abs() > MOVES).count(), t));
    for t in rockers {
        let most = |a: &&usize, b: &&usize| levers[t][**a].abs().total_cmp(&levers[t][**b].abs()).then(b.cmp(a));
        let Some(&zone) = free.iter().max_by(most) else { continue };
        free.retain(|&z| z != zone);
        order.push((zone, t));
    }
    order.extend(free.first().map(|&zone| (zone, sum)));
    order
}

/// A quantity answers to a zone where it moves by more than this for each mm.
const LEAST_LEVER: f64 = 1e-6;

/// A zone moves a rocker where its offset answers to a piece there by more than this.
const MOVES: f64 = 0.25;
