//! Partial derivatives of a spring washer's load, room and flat height to its dimensions.

use super::disc::{DiscCurve, log_k1_slope};
use super::{Curve, Spring, at};
use crate::model::{DimensionId, SpringLaw, SpringWasher};

/// How one dimension moves a spring washer, at a given deflection.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Partial {
    /// ∂load/∂dimension at fixed deflection.
    pub(crate) load: f64,
    /// ∂room/∂dimension.
    pub(crate) room: f64,
    /// ∂(flat height)/∂dimension.
    pub(crate) flat_height: f64,
}

impl Partial {
    fn of_load(load: f64) -> Self {
        Self { load, ..Self::default() }
    }
}

impl Spring<'_> {
    /// Tells `visit` of every dimension of the washer this spring was filled in from, at a deflection. A dimension that
    /// serves twice is told twice; the contributions add.
    pub(crate) fn partials(
        &self,
        washer: &SpringWasher,
        scale: f64,
        x: &[f64],
        deflection: f64,
        visit: &mut dyn FnMut(DimensionId, Partial),
    ) {
        let load = self.load(deflection);
        let set = washer.set.map_or(1.0, |id| at(x, id));
        if let Some(id) = washer.friction {
            visit(id, Partial::of_load(load / at(x, id)));
        }
        match &washer.law {
            SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, .. } => {
                let Curve::Disc(DiscCurve { c, h, t }) = self.curve else { return };
                let (outer, inner) = (scale * at(x, *outer_diameter), scale * at(x, *inner_diameter));
                let by_ratio = load * log_k1_slope(outer / inner);
                visit(*outer_diameter, Partial::of_load(-scale * (2.0 * load / outer + by_ratio / inner)));
                visit(*inner_diameter, Partial::of_load(scale * by_ratio * outer / (inner * inner)));
                let by_thickness = load / t + 2.0 * c * deflection * t;
                visit(*thickness, Partial { load: scale * by_thickness, room: 0.0, flat_height: scale });
                // A washer with no cone left has no room to lose.
                let open = if h > 0.0 { 1.0 } else { 0.0 };
                let by_cone = c * deflection * (2.0 * h - 1.5 * deflection);
                let along = set * scale;
                visit(*cone_height, Partial { load: along * by_cone, room: open * along, flat_height: 0.0 });
                if let Some(id) = washer.set {
                    let along = scale * at(x, *cone_height);
                    visit(id, Partial { load: along * by_cone, room: open * along, flat_height: 0.0 });
                }
            }
            SpringLaw::Wave { outer_diameter, inner_diameter, thickness, free_height, solid_height, .. } => {
                let (outer, inner) = (at(x, *outer_diameter), at(x, *inner_diameter));
                // ln k = ln(OD − ID) − 3·ln(OD + ID) + ln OD − ln ID + 3·ln t + …; the growth by temperature is in `load`.
                let (width, mean) = (outer - inner, outer + inner);
                visit(*outer_diameter, Partial::of_load(load * (1.0 / width - 3.0 / mean + 1.0 / outer)));
                visit(*inner_diameter, Partial::of_load(load * (-1.0 / width - 3.0 / mean - 1.0 / inner)));
                visit(*thickness, Partial::of_load(load * 3.0 / at(x, *thickness)));
                self.heights(washer, scale, x, *free_height, Some(solid_height.unwrap_or(*thickness)), visit);
            }
            SpringLaw::Curved { outer_diameter, inner_diameter, thickness, free_height, solid_height, .. } => {
                let (outer, inner) = (at(x, *outer_diameter), at(x, *inner_diameter));
                visit(*outer_diameter, Partial::of_load(load * (1.0 / (outer - inner) - 3.0 / outer)));
                visit(*inner_diameter, Partial::of_load(-load / (outer - inner)));
                visit(*thickness, Partial::of_load(load * 3.0 / at(x, *thickness)));
                self.heights(washer, scale, x, *free_height, Some(solid_height.unwrap_or(*thickness)), visit);
            }
            SpringLaw::Linear { rate, free_height, solid_height } => {
                visit(*rate, Partial::of_load(load / at(x, *rate)));
                self.heights(washer, scale, x, *free_height, *solid_height, visit);
            }
            SpringLaw::Table { free_height, solid_height, curve } => {
                let measured = curve.deflection.last().map_or(f64::NAN, |end| scale * end);
                let to_flat = solid_height.map_or(measured, |solid| scale * (at(x, *free_height) - at(x, solid)));
                if set * to_flat <= measured && solid_height.is_some() {
                    self.heights(washer, scale, x, *free_height, *solid_height, visit);
                } else {
                    end_of_table(washer, scale, *free_height, *solid_height, to_flat, set, measured, visit);
                }
            }
        }
    }

    /// Of a law whose room is set·(free height − solid height).
    fn heights(
        &self,
        washer: &SpringWasher,
        scale: f64,
        x: &[f64],
        free: DimensionId,
        solid: Option<DimensionId>,
        visit: &mut dyn FnMut(DimensionId, Partial),
    ) {
        // A washer without room has none to lose.
        let open = if self.room > 0.0 { scale } else { 0.0 };
        let set = washer.set.map_or(1.0, |id| at(x, id));
        visit(free, Partial { room: open * set, ..Partial::default() });
        if let Some(solid) = solid {
            visit(solid, Partial { load: 0.0, room: -open * set, flat_height: scale });
        }
        if let Some(id) = washer.set {
            let full = at(x, free) - solid.map_or(0.0, |solid| at(x, solid));
            visit(id, Partial { room: open * full, ..Partial::default() });
        }
    }
}

/// Of a table washer that counts as solid at its table's end, or at the share of it that its set leaves.
#[allow(clippy::too_many_arguments, reason = "the numbers of one formula")]
fn end_of_table(
    washer: &SpringWasher,
    scale: f64,
    free: DimensionId,
    solid: Option<DimensionId>,
    to_flat: f64,
    set: f64,
    measured: f64,
    visit: &mut dyn FnMut(DimensionId, Partial),
) {
    // Without a solid height the washer is flat at free − measured, and a set below 1 takes from the room; with one, the
    // room is the table's, and what the heights add goes into the height at its end.
    let height = |flat_height: f64| Partial { flat_height, ..Partial::default() };
    match solid {
        Some(solid) => {
            visit(free, height(set * scale));
            visit(solid, height((1.0 - set) * scale));
        }
        None => visit(free, height(scale)),
    }
    if let Some(id) = washer.set {
        let room_shrinks = set * to_flat <= measured;
        visit(id, if room_shrinks { Partial { room: to_flat, ..Partial::default() } } else { height(to_flat) });
    }
}
