//! Equilibrium of a bay: how far its parts are too long, how the spring washers share that, and the load they reach.

use crate::model::{Bay, Condition, DimensionId, Pack, PartKind};
use crate::spring::{Spring, at};

/// The state a bay settles in.
#[derive(Debug, Clone, PartialEq)]
pub struct Equilibrium {
    /// Index of the bay.
    pub bay: usize,
    /// Index of the condition.
    pub condition: usize,
    /// D = thicknesses and free heights of all parts − span, mm; negative in a loose bay.
    pub interference: f64,
    /// What all spring washers together can take before they are flat, mm.
    pub room: f64,
    /// F, the preload, N; 0 in a loose bay.
    pub load: f64,
    /// −D where the bay is loose, else 0, mm.
    pub play: f64,
    /// Distance between the fixed faces, mm.
    pub span: f64,
    /// The spring washers, in order.
    pub springs: Vec<SpringState>,
    /// x of every part's left face, mm, with a loose bay pushed to the left.
    pub left_faces: Vec<f64>,
    /// Every part's length along the shaft, mm.
    pub lengths: Vec<f64>,
}

/// A spring washer in equilibrium.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpringState {
    /// Index into the bay's parts.
    pub part: usize,
    /// From its free height, mm.
    pub deflection: f64,
    /// Under load, mm.
    pub height: f64,
    /// Pressed flat: it is solid, and carries what the others carry.
    pub flat: bool,
}

/// The parts of a bay are longer than its span even with every spring washer flat (or a washer of these dimensions cannot
/// exist at all).
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "the bay cannot be assembled: its parts are {interference} mm too long, and its spring washers can take {room} mm"
)]
pub struct CannotAssemble {
    /// D, mm.
    pub interference: f64,
    /// What all spring washers together can take, mm; NaN where one of them cannot exist.
    pub room: f64,
}

/// Growth of a length at a condition: 1 + α·(T − Tref).
pub(crate) fn growth(expansion: f64, condition: &Condition, reference: f64) -> f64 {
    1.0 + expansion * (condition.temperature - reference)
}

/// The working state behind [`Equilibrium`], without what a single quantity does not need.
#[derive(Debug)]
pub(crate) struct Settled<'a> {
    pub(crate) springs: Vec<Spring<'a>>,
    pub(crate) deflections: Vec<f64>,
    pub(crate) interference: f64,
    pub(crate) room: f64,
    pub(crate) load: f64,
}

impl Settled<'_> {
    pub(crate) fn play(&self) -> f64 {
        (-self.interference).max(0.0)
    }
}

/// Fills in and settles one bay.
pub(crate) fn settle<'a>(
    bay: &'a Bay,
    condition: &Condition,
    reference: f64,
    x: &[f64],
) -> Result<Settled<'a>, CannotAssemble> {
    let mut springs = Vec::new();
    let mut interference = 0.0;
    let mut room = 0.0;
    let mut sound = true;
    for part in &bay.parts {
        let scale = growth(part.expansion, condition, reference);
        match &part.kind {
            PartKind::Solid { thickness: length, .. } | PartKind::Rocker { width: length, .. } => {
                interference += scale * at(x, *length);
            }
            PartKind::Spring(washer) => {
                if let Some(spring) = Spring::new(washer, scale, x) {
                    interference += spring.free_height();
                    room += spring.room;
                    springs.push(spring);
                } else {
                    sound = false;
                }
            }
        }
    }
    interference -= growth(bay.expansion, condition, reference) * at(x, bay.span);
    // Written so that a NaN cannot be assembled either.
    if !sound || !(interference <= room || interference <= 0.0) {
        return Err(CannotAssemble { interference, room: if sound { room } else { f64::NAN } });
    }
    let mut deflections = vec![0.0; springs.len()];
    let load = if interference > 0.0 { share(&springs, interference, &mut deflections) } else { 0.0 };
    Ok(Settled { springs, deflections, interference, room, load })
}

/// Shares the interference D > 0 among springs in series; returns the load they all carry.
pub(crate) fn share(springs: &[Spring<'_>], interference: f64, deflections: &mut [f64]) -> f64 {
    if let ([spring], [deflection]) = (springs, &mut *deflections) {
        *deflection = interference;
        return spring.load(interference);
    }
    let highest = springs.iter().map(|spring| spring.flat_load).fold(0.0, f64::max);
    let load = packdrift_numerics::root::brent(
        |load| springs.iter().map(|spring| spring.deflection(load)).sum::<f64>() - interference,
        0.0,
        highest,
        0.0,
    )
    .unwrap_or(highest);
    for (deflection, spring) in deflections.iter_mut().zip(springs) {
        *deflection = spring.deflection(load);
    }
    load
}

impl Pack {
    /// The state in which a bay settles: one solution that serves every quantity of the bay (see [`Pack::outcome`]).
    ///
    /// `x` holds one value per dimension of the pack, at the reference temperature.
    ///
    /// # Errors
    ///
    /// [`CannotAssemble`] where the parts are too long even with every spring washer flat.
    ///
    /// # Panics
    ///
    /// If `bay` or `condition` is not an index of this pack.
    pub fn equilibrium(&self, bay: usize, condition: usize, x: &[f64]) -> Result<Equilibrium, CannotAssemble> {
        let (data, at_condition) = (&self.bays[bay], &self.conditions[condition]);
        let settled = settle(data, at_condition, self.reference_temperature, x)?;
        let mut left_faces = Vec::with_capacity(data.parts.len());
        let mut lengths = Vec::with_capacity(data.parts.len());
        let mut states = Vec::with_capacity(settled.springs.len());
        let mut face = 0.0;
        for (index, part) in data.parts.iter().enumerate() {
            let length = match &part.kind {
                PartKind::Solid { thickness: length, .. } | PartKind::Rocker { width: length, .. } => {
                    growth(part.expansion, at_condition, self.reference_temperature) * at(x, *length)
                }
                PartKind::Spring(_) => {
                    let spring = &settled.springs[states.len()];
                    let deflection = settled.deflections[states.len()];
                    let height = spring.free_height() - deflection;
                    let flat = deflection >= spring.room;
                    states.push(SpringState { part: index, deflection, height, flat });
                    height
                }
            };
            left_faces.push(face);
            lengths.push(length);
            face += length;
        }
        Ok(Equilibrium {
            bay,
            condition,
            interference: settled.interference,
            room: settled.room,
            load: settled.load,
            play: settled.play(),
            span: growth(data.expansion, at_condition, self.reference_temperature) * at(x, data.span),
            springs: states,
            left_faces,
            lengths,
        })
    }

    /// A length of the pack at a condition.
    pub(crate) fn grown(&self, expansion: f64, condition: usize, x: &[f64], id: DimensionId) -> f64 {
        growth(expansion, &self.conditions[condition], self.reference_temperature) * at(x, id)
    }
}
