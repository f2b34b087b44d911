//! From a settled bay to the quantities that requirements bound.

use crate::contact::{beyond_the_flat, contact_modulus, hertz, worn_flat_radius, worn_patch_radius};
use crate::equilibrium::{Equilibrium, settle};
use crate::model::{Contact, Pack, PartKind};
use crate::quantity::{Outcome, Quantity};
use crate::spring::at;
use crate::stress::stress_at_height;

impl Pack {
    /// A quantity in a condition, at one vector of dimension values.
    ///
    /// `x` holds one value per dimension of the pack, at the reference temperature. For several quantities of one bay solve
    /// once by [`Pack::equilibrium`] and ask [`Pack::outcome`]; for many vectors use a [`crate::Plan`].
    ///
    /// # Panics
    ///
    /// If the quantity's indices or `condition` are not of this pack. No value in `x` makes it panic: values without
    /// meaning (NaN, a washer that cannot exist) give [`Outcome::CannotAssemble`].
    pub fn evaluate(&self, quantity: &Quantity, condition: usize, x: &[f64]) -> Outcome {
        let bay = quantity.bay();
        let Ok(settled) = settle(&self.bays[bay], &self.conditions[condition], self.reference_temperature, x) else {
            return Outcome::CannotAssemble;
        };
        let face = |part: usize| self.left_face(bay, part, condition, x, &settled);
        let length = |part: usize| self.length(bay, part, condition, x, &settled);
        self.answer(
            quantity,
            condition,
            x,
            State { load: settled.load, play: settled.play(), face: &face, length: &length },
        )
    }

    /// A quantity of a bay that has been settled with the same `x`.
    ///
    /// # Panics
    ///
    /// If the quantity's indices are not of this pack, or its bay is not the one settled.
    pub fn outcome(&self, quantity: &Quantity, equilibrium: &Equilibrium, x: &[f64]) -> Outcome {
        assert_eq!(quantity.bay(), equilibrium.bay, "the quantity belongs to another bay than the one settled");
        let face = |part: usize| equilibrium.left_faces[part];
        let length = |part: usize| equilibrium.lengths[part];
        let state = State { load: equilibrium.load, play: equilibrium.play, face: &face, length: &length };
        self.answer(quantity, equilibrium.condition, x, state)
    }

    fn answer(&self, quantity: &Quantity, condition: usize, x: &[f64], state: State<'_>) -> Outcome {
        let State { load, play, face, length } = state;
        match *quantity {
            Quantity::Preload { .. } => value(load),
            Quantity::Play { .. } => value(play),
            Quantity::Height { part, .. } => value(length(part)),
            Quantity::Offset { bay, valve } => {
                let low = self.offset_pushed_left(bay, valve, condition, x, face);
                if play > 0.0 { range(low, low + play) } else { value(low) }
            }
            Quantity::EdgeMargin { bay, valve } => {
                let Some(contact) = &self.bays[bay].valves[valve].contact else { return Outcome::CannotAssemble };
                let contact = self.contact_values(contact, condition, x);
                let left = self.offset_pushed_left(bay, valve, condition, x, face);
                let (nearest, farthest) = nearest_and_farthest(left, left + play);
                let at_farthest = contact.edge_margin(farthest);
                if play > 0.0 { range(at_farthest, contact.edge_margin(nearest)) } else { value(at_farthest) }
            }
            Quantity::ContactPressure { bay, valve } => {
                let Some(contact) = &self.bays[bay].valves[valve].contact else { return Outcome::CannotAssemble };
                value(self.contact_values(contact, condition, x).peak_pressure())
            }
            Quantity::Stress { bay, part, point } => {
                let PartKind::Spring(washer) = &self.bays[bay].parts[part].kind else {
                    return Outcome::CannotAssemble;
                };
                value(stress_at_height(washer, point, self.part_growth(bay, part, condition), x, length(part)))
            }
        }
    }

    /// Offset of a valve with a loose bay pushed to the left, mm, from the left faces of the bay's parts.
    pub(crate) fn offset_pushed_left(
        &self,
        bay: usize,
        valve: usize,
        condition: usize,
        x: &[f64],
        face: &dyn Fn(usize) -> f64,
    ) -> f64 {
        let bay = &self.bays[bay];
        let valve = &bay.valves[valve];
        let part = &bay.parts[valve.rocker];
        let adjuster = match part.kind {
            PartKind::Rocker { adjuster, .. } => self.grown(part.expansion, condition, x, adjuster),
            PartKind::Solid { .. } | PartKind::Spring(_) => f64::NAN,
        };
        face(valve.rocker) + adjuster - self.grown(bay.expansion, condition, x, valve.stem)
    }

    pub(crate) fn contact_values(&self, contact: &Contact, condition: usize, x: &[f64]) -> ContactValues {
        let stem = |id| self.grown(contact.stem_expansion, condition, x, id);
        let adjuster = |id| self.grown(contact.adjuster_expansion, condition, x, id);
        ContactValues {
            end_radius: 0.5 * stem(contact.stem_end_diameter),
            chamfer: stem(contact.stem_end_chamfer),
            tip_radius: adjuster(contact.adjuster_tip_radius),
            sweep: adjuster(contact.sweep),
            wear: contact.tip_wear.map_or(0.0, adjuster),
            load: at(x, contact.valve_load),
            modulus: contact_modulus(&contact.adjuster, &contact.stem),
        }
    }
}

/// What a quantity asks of a settled bay.
#[derive(Clone, Copy)]
struct State<'a> {
    load: f64,
    play: f64,
    /// x of a part's left face.
    face: &'a dyn Fn(usize) -> f64,
    /// A part's length along the shaft.
    length: &'a dyn Fn(usize) -> f64,
}

/// A contact's numbers at one temperature.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ContactValues {
    pub(crate) end_radius: f64,
    pub(crate) chamfer: f64,
    pub(crate) tip_radius: f64,
    pub(crate) sweep: f64,
    pub(crate) wear: f64,
    pub(crate) load: f64,
    /// E*, MPa.
    pub(crate) modulus: f64,
}

impl ContactValues {
    /// Radius of the contact patch, wider than a worn flat, mm.
    pub(crate) fn patch_radius(&self) -> f64 {
        let (flat, patch) = self.flat_and_patch();
        worn_patch_radius(patch, flat)
    }

    /// Radius of the worn flat, and of the unworn tip's contact patch, mm.
    pub(crate) fn flat_and_patch(&self) -> (f64, f64) {
        let patch = hertz(self.load, self.tip_radius, f64::INFINITY, self.modulus).radius;
        (worn_flat_radius(self.tip_radius, self.wear), patch)
    }

    /// Distance of the contact's farthest excursion from the stem's axis, mm. (Lengths are ordinary numbers: a plain root
    /// does, and becomes a vector instruction.)
    pub(crate) fn distance(&self, offset: f64) -> f64 {
        (offset * offset + self.sweep * self.sweep).sqrt()
    }

    pub(crate) fn edge_margin(&self, offset: f64) -> f64 {
        self.end_radius - self.chamfer - (self.distance(offset) + self.patch_radius())
    }

    /// Slopes of the patch's radius. From s³ + (3/2)·c²·s = Q with Q = 3FR/(4E*), c·dc = w·dR + (R − w)·dw and a² = c² + s²:
    /// a·da = ((3/2)·c²·c·dc + s·dQ)/(3s² + (3/2)·c²).
    pub(crate) fn patch_slopes(&self) -> PatchSlopes {
        let (flat, patch) = self.flat_and_patch();
        let s = if flat == 0.0 { patch } else { beyond_the_flat(patch, flat) };
        let of_flat = 1.5 * flat * flat;
        let common = (3.0 * s * s + of_flat) * flat.hypot(s);
        let by_cube = s * patch * patch * patch / common;
        PatchSlopes {
            load: by_cube / self.load,
            tip_radius: by_cube / self.tip_radius + of_flat * self.wear / common,
            wear: of_flat * (self.tip_radius - self.wear) / common,
        }
    }

    /// Of the unworn tip: a flat worn onto it carries no less at its rim, see `docs/contact.md`.
    pub(crate) fn peak_pressure(&self) -> f64 {
        peak_pressure(self.load, self.tip_radius, self.modulus)
    }
}

pub(crate) fn peak_pressure(load: f64, tip_radius: f64, modulus: f64) -> f64 {
    hertz(load, tip_radius, f64::INFINITY, modulus).peak_pressure
}

/// Slopes of a contact patch's radius to what makes it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PatchSlopes {
    /// mm/N.
    pub(crate) load: f64,
    /// 1.
    pub(crate) tip_radius: f64,
    /// 1.
    pub(crate) wear: f64,
}

/// The offsets of a range nearest to and farthest from the stem's axis.
pub(crate) fn nearest_and_farthest(left: f64, right: f64) -> (f64, f64) {
    let (near, far) = if left.abs() <= right.abs() { (left, right) } else { (right, left) };
    if left < 0.0 && right > 0.0 { (0.0, far) } else { (near, far) }
}

fn value(value: f64) -> Outcome {
    if value.is_finite() { Outcome::Value(value) } else { Outcome::CannotAssemble }
}

fn range(low: f64, high: f64) -> Outcome {
    if low.is_finite() && high.is_finite() { Outcome::Range { low, high } } else { Outcome::CannotAssemble }
}
