//! Equilibrium of a bay: by how much its parts are too long, how the spring washers share that, and the load they reach.
//!
//! Inputs: one bay, a temperature, the dimension values at the reference temperature. Every length L becomes
//! L·(1 + α·(T − Tref)) with its own material's α. D = Σ thicknesses + Σ free heights − span. D ≤ 0: loose. 0 < D ≤ Σ rooms:
//! the washers share D ([`series`]). D beyond that, or a washer that cannot exist: cannot be assembled.

pub(crate) mod series;

use crate::model::{Bay, Condition, DimensionId, Pack, Part, PartKind};
use crate::spring::{Spring, at};

/// The state a bay settles in.
#[derive(Debug, Clone, PartialEq)]
pub struct Equilibrium {
    /// Index of the bay.
    pub bay: usize,
    /// Index of the condition.
    pub condition: usize,
    /// D = thicknesses and free heights of all parts − span, mm; not above 0 in a loose bay.
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
    /// Deflection from free to flat, mm.
    pub room: f64,
    /// Under load, mm.
    pub height: f64,
    /// Pressed flat: it is solid, and carries what the others carry.
    pub flat: bool,
}

/// The parts of a bay are longer than its span even with every spring washer flat, or a washer of these dimensions cannot
/// exist at all.
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

/// What rounding may add to a sum of lengths, mm, with room to spare; a millionth of what any instrument can tell.
const ROUNDING: f64 = 1e-9;

/// D, cut to what the washers can take where it exceeds that by rounding alone: a bay that fits exactly in decimal numbers
/// (0.4 + 1.2 in a span of 1.6) must not fail to assemble in binary ones.
#[inline(always)]
pub(crate) fn without_rounding(interference: f64, room: f64) -> f64 {
    if interference > room && interference <= room + ROUNDING { room } else { interference }
}

/// A settled bay, without what [`Equilibrium`] adds for the reader.
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

    /// Height of the k-th spring washer.
    pub(crate) fn height(&self, k: usize) -> f64 {
        self.springs[k].free_height() - self.deflections[k]
    }
}

/// Fills in and settles one bay.
///
/// The order of additions (solids in order, less the span, plus the free heights in order) is that of [`crate::Plan`], so
/// that both give the same bits.
pub(crate) fn settle<'a>(
    bay: &'a Bay,
    condition: &Condition,
    reference: f64,
    x: &[f64],
) -> Result<Settled<'a>, CannotAssemble> {
    let mut springs = Vec::new();
    let mut solids = 0.0;
    let mut free_heights = 0.0;
    let mut room = 0.0;
    for part in &bay.parts {
        let scale = growth(part.expansion, condition, reference);
        match &part.kind {
            PartKind::Solid { .. } | PartKind::Rocker { .. } => {
                for (length, sign) in part.kind.rigid_length() {
                    solids += sign * scale * at(x, length);
                }
            }
            PartKind::Spring(washer) => match Spring::new(washer, scale, x) {
                Some(spring) => {
                    free_heights += spring.free_height();
                    room += spring.room;
                    springs.push(spring);
                }
                // A NaN goes through every sum below: this bay cannot be assembled.
                None => room = f64::NAN,
            },
        }
    }
    let interference = (solids - growth(bay.expansion, condition, reference) * at(x, bay.span)) + free_heights;
    let interference = without_rounding(interference, room);
    // Written so that a NaN on either side cannot be assembled.
    if interference.partial_cmp(&room).is_none_or(std::cmp::Ordering::is_gt) {
        return Err(CannotAssemble { interference, room });
    }
    let mut deflections = vec![0.0; springs.len()];
    let load = if interference > 0.0 { series::share(&springs, interference, &mut deflections) } else { 0.0 };
    Ok(Settled { springs, deflections, interference, room, load })
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
        let data = &self.bays[bay];
        let settled = settle(data, &self.conditions[condition], self.reference_temperature, x)?;
        let mut left_faces = Vec::with_capacity(data.parts.len());
        let mut lengths = Vec::with_capacity(data.parts.len());
        let mut states: Vec<SpringState> = Vec::with_capacity(settled.springs.len());
        // Solids and springs are added up apart, as in `Plan`.
        let (mut solids, mut heights) = (0.0, 0.0);
        for (part, kind) in data.parts.iter().map(|part| &part.kind).enumerate() {
            left_faces.push(solids + heights);
            let length = if matches!(kind, PartKind::Spring(_)) {
                let (spring, deflection) = (&settled.springs[states.len()], settled.deflections[states.len()]);
                let height = settled.height(states.len());
                let flat = settled.interference > 0.0 && deflection >= spring.room;
                states.push(SpringState { part, deflection, room: spring.room, height, flat });
                heights += height;
                height
            } else {
                self.add_rigid(&data.parts[part], condition, x, &mut solids);
                self.length(bay, part, condition, x, &settled)
            };
            lengths.push(length);
        }
        Ok(Equilibrium {
            bay,
            condition,
            interference: settled.interference,
            room: settled.room,
            load: settled.load,
            play: settled.play(),
            span: self.grown(data.expansion, condition, x, data.span),
            springs: states,
            left_faces,
            lengths,
        })
    }

    /// x of a part's left face, with a loose bay pushed to the left.
    pub(crate) fn left_face(&self, bay: usize, part: usize, condition: usize, x: &[f64], settled: &Settled<'_>) -> f64 {
        // Solids and springs are added up apart, as in `Plan`.
        let (mut solids, mut heights, mut spring) = (0.0, 0.0, 0);
        for part in &self.bays[bay].parts[..part] {
            match &part.kind {
                PartKind::Solid { .. } | PartKind::Rocker { .. } => self.add_rigid(part, condition, x, &mut solids),
                PartKind::Spring(_) => {
                    heights += settled.height(spring);
                    spring += 1;
                }
            }
        }
        solids + heights
    }

    /// A part's length along the shaft.
    pub(crate) fn length(&self, bay: usize, part: usize, condition: usize, x: &[f64], settled: &Settled<'_>) -> f64 {
        let parts = &self.bays[bay].parts;
        match &parts[part].kind {
            PartKind::Solid { .. } | PartKind::Rocker { .. } => {
                let mut length = 0.0;
                self.add_rigid(&parts[part], condition, x, &mut length);
                length
            }
            PartKind::Spring(_) => {
                settled.height(parts[..part].iter().filter(|part| matches!(part.kind, PartKind::Spring(_))).count())
            }
        }
    }

    /// Adds a rigid part's length at a condition to a sum, in the order of additions of [`crate::Plan`].
    fn add_rigid(&self, part: &Part, condition: usize, x: &[f64], sum: &mut f64) {
        let scale = growth(part.expansion, &self.conditions[condition], self.reference_temperature);
        for (id, sign) in part.kind.rigid_length() {
            *sum += sign * scale * at(x, id);
        }
    }

    /// A length of the pack at a condition.
    pub(crate) fn grown(&self, expansion: f64, condition: usize, x: &[f64], id: DimensionId) -> f64 {
        growth(expansion, &self.conditions[condition], self.reference_temperature) * at(x, id)
    }
}
