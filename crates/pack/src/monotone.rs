//! In which direction each dimension moves a quantity, over a whole box of dimension values: what a search for the true
//! extremes of a quantity need not search.
//!
//! While no disc of the bay can reach h0/t > √2 inside the box, every washer's load rises with its deflection. Then whatever
//! makes the pack longer or a washer stiffer raises the load, and a rocker moves right with everything to its left that
//! does so, left with everything to its right. Loose bays keep the same directions (weakly: equality is allowed).

use crate::model::{Contact, DimensionId, Pack, PartKind, SpringLaw, SpringWasher};
use crate::quantity::Quantity;
use crate::spring::at;
use crate::spring::disc::log_k1_slope;

/// The direction in which a dimension moves a quantity, both ends of a range alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Monotone {
    /// The quantity does not fall when the dimension rises.
    Rising,
    /// The quantity does not rise when the dimension rises.
    Falling,
    /// The dimension has no effect.
    Without,
    /// It may be either, or both in turn.
    Unknown,
}

impl Monotone {
    fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::Without, sign) | (sign, Self::Without) => sign,
            (one, two) if one == two => one,
            _ => Self::Unknown,
        }
    }

    fn reversed(self) -> Self {
        match self {
            Self::Rising => Self::Falling,
            Self::Falling => Self::Rising,
            same => same,
        }
    }
}

/// How a washer's dimension acts: on the load it gives in the bay, and on its free height.
#[derive(Debug, Clone, Copy)]
struct Effect {
    dimension: DimensionId,
    load: Monotone,
    free_height: Monotone,
}

impl Pack {
    /// For each dimension of the pack, the direction in which it moves a quantity while all dimensions stay between `lower`
    /// and `upper`, as far as the bay can be assembled.
    ///
    /// # Panics
    ///
    /// If `lower` or `upper` has not one value per dimension, or an index is not of this pack.
    pub fn monotone(&self, quantity: &Quantity, condition: usize, lower: &[f64], upper: &[f64]) -> Vec<Monotone> {
        assert!(lower.len() == self.dimensions.len() && upper.len() == lower.len(), "two ends per dimension");
        let mut signs = Signs(vec![Monotone::Without; self.dimensions.len()]);
        let bay = &self.bays[quantity.bay()];
        let rises = bay.parts.iter().all(|part| match &part.kind {
            PartKind::Spring(washer) => always_rises(washer, lower, upper),
            PartKind::Solid { .. } | PartKind::Rocker { .. } => true,
        });
        match *quantity {
            Quantity::Preload { bay } => {
                for effect in self.lengths(bay, lower, upper) {
                    signs.add(effect.dimension, if rises { effect.load } else { unknown_if_any(effect) });
                }
                signs.add(self.bays[bay].span, if rises { Monotone::Falling } else { Monotone::Unknown });
            }
            Quantity::Play { bay } => {
                for effect in self.lengths(bay, lower, upper) {
                    signs.add(effect.dimension, effect.free_height.reversed());
                }
                signs.add(self.bays[bay].span, Monotone::Rising);
            }
            Quantity::Height { bay, part } => self.height_signs(bay, part, rises, lower, upper, &mut signs),
            Quantity::Offset { bay, valve } => self.offset_signs(bay, valve, rises, lower, upper, &mut signs),
            Quantity::EdgeMargin { bay, valve } => {
                self.offset_signs(bay, valve, rises, lower, upper, &mut signs);
                let side = self.side_of_the_stem(Quantity::Offset { bay, valve }, condition, &signs.0, lower, upper);
                for sign in &mut signs.0 {
                    *sign = match side {
                        Some(true) => sign.reversed(),
                        Some(false) => *sign,
                        None if *sign == Monotone::Without => Monotone::Without,
                        None => Monotone::Unknown,
                    };
                }
                if let Some(contact) = &self.bays[bay].valves[valve].contact {
                    signs.add(contact.stem_end_diameter, Monotone::Rising);
                    for id in narrowing(contact) {
                        signs.add(id, Monotone::Falling);
                    }
                }
            }
            Quantity::ContactPressure { bay, valve } => {
                if let Some(contact) = &self.bays[bay].valves[valve].contact {
                    signs.add(contact.valve_load, Monotone::Rising);
                    signs.add(contact.adjuster_tip_radius, Monotone::Falling);
                }
            }
            Quantity::Stress { bay, .. } => {
                // A disc's stresses turn round on the way to flat.
                for effect in self.lengths(bay, lower, upper) {
                    signs.add(effect.dimension, unknown_if_any(effect));
                }
                signs.add(self.bays[bay].span, Monotone::Unknown);
            }
        }
        signs.0
    }

    /// Every dimension of a bay's parts, from the left.
    fn lengths(&self, bay: usize, lower: &[f64], upper: &[f64]) -> Vec<Effect> {
        let parts = 0..self.bays[bay].parts.len();
        parts.flat_map(|part| self.effects(bay, part, lower, upper)).collect()
    }

    /// The dimensions that act through one part's length or load.
    fn effects(&self, bay: usize, part: usize, lower: &[f64], upper: &[f64]) -> Vec<Effect> {
        match &self.bays[bay].parts[part].kind {
            kind @ (PartKind::Solid { .. } | PartKind::Rocker { .. }) => kind
                .rigid_length()
                .map(|(dimension, sign)| {
                    let direction = if sign > 0.0 { Monotone::Rising } else { Monotone::Falling };
                    Effect { dimension, load: direction, free_height: direction }
                })
                .collect(),
            PartKind::Spring(washer) => effects_of_washer(washer, lower, upper),
        }
    }

    fn height_signs(&self, bay: usize, part: usize, rises: bool, lower: &[f64], upper: &[f64], signs: &mut Signs) {
        let data = &self.bays[bay];
        let springs = data.parts.iter().filter(|part| matches!(part.kind, PartKind::Spring(_))).count();
        if !matches!(data.parts[part].kind, PartKind::Spring(_)) {
            for effect in self.effects(bay, part, lower, upper) {
                signs.add(effect.dimension, effect.free_height);
            }
            return;
        }
        // Alone, a washer is as high as the solids leave it, or free: its load does not matter. With others it follows the
        // load, but its own dimensions act on both sides.
        let alone = springs == 1;
        for index in 0..data.parts.len() {
            for effect in self.effects(bay, index, lower, upper) {
                let sign = match (index == part, alone) {
                    (true, true) => effect.free_height,
                    (false, _) if alone || rises => effect.load.reversed(),
                    _ => unknown_if_any(effect),
                };
                signs.add(effect.dimension, sign);
            }
        }
        signs.add(data.span, if alone || rises { Monotone::Rising } else { Monotone::Unknown });
    }

    fn offset_signs(&self, bay: usize, valve: usize, rises: bool, lower: &[f64], upper: &[f64], signs: &mut Signs) {
        let data = &self.bays[bay];
        let valve = &data.valves[valve];
        let spring = |part: usize| matches!(data.parts[part].kind, PartKind::Spring(_));
        let one_sided = !(0..valve.rocker).any(spring) || !(valve.rocker..data.parts.len()).any(spring);
        for index in 0..data.parts.len() {
            for effect in self.effects(bay, index, lower, upper) {
                // With washers on one side only, their load moves nothing.
                let sign = if one_sided {
                    effect.free_height
                } else if rises {
                    effect.load
                } else {
                    unknown_if_any(effect)
                };
                signs.add(effect.dimension, if index < valve.rocker { sign } else { sign.reversed() });
            }
        }
        signs.add(data.span, if one_sided || rises { Monotone::Rising } else { Monotone::Unknown });
        if let Some(PartKind::Rocker { adjuster, .. }) = data.parts.get(valve.rocker).map(|part| &part.kind) {
            signs.add(*adjuster, Monotone::Rising);
        }
        signs.add(valve.stem, Monotone::Falling);
    }

    /// Whether the offset is above zero (true) or below (false) all over the box; None where it may be either.
    fn side_of_the_stem(
        &self,
        offset: Quantity,
        condition: usize,
        signs: &[Monotone],
        lower: &[f64],
        upper: &[f64],
    ) -> Option<bool> {
        if signs.contains(&Monotone::Unknown) {
            return None;
        }
        let corner = |rising: &[f64], falling: &[f64]| {
            let x: Vec<f64> = signs
                .iter()
                .enumerate()
                .map(|(k, sign)| if *sign == Monotone::Falling { falling[k] } else { rising[k] })
                .collect();
            self.evaluate(&offset, condition, &x).ends()
        };
        let (smallest, largest) = (corner(lower, upper)?.0, corner(upper, lower)?.1);
        if smallest > 0.0 {
            Some(true)
        } else if largest < 0.0 {
            Some(false)
        } else {
            None
        }
    }
}

struct Signs(Vec<Monotone>);

impl Signs {
    fn add(&mut self, id: DimensionId, sign: Monotone) {
        if let Some(known) = self.0.get_mut(id.0) {
            *known = known.and(sign);
        }
    }
}

fn unknown_if_any(effect: Effect) -> Monotone {
    match (effect.load, effect.free_height) {
        (Monotone::Without, Monotone::Without) => Monotone::Without,
        _ => Monotone::Unknown,
    }
}

/// What widens the patch or its excursion, or narrows the flat end.
fn narrowing(contact: &Contact) -> impl Iterator<Item = DimensionId> {
    [
        Some(contact.stem_end_chamfer),
        Some(contact.sweep),
        Some(contact.adjuster_tip_radius),
        Some(contact.valve_load),
        contact.tip_wear,
    ]
    .into_iter()
    .flatten()
}

/// Whether a washer can exist all over the box, with a load that rises all the way to flat.
fn always_rises(washer: &SpringWasher, lower: &[f64], upper: &[f64]) -> bool {
    let factors = [washer.friction, washer.set].into_iter().flatten().all(|id| at(lower, id) > 0.0);
    let ring = |outer: DimensionId, inner: DimensionId, thickness: DimensionId| {
        at(lower, inner) > 0.0 && at(upper, inner) < at(lower, outer) && at(lower, thickness) > 0.0
    };
    factors
        && match &washer.law {
            SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, .. } => {
                let steepest = washer.set.map_or(1.0, |id| at(upper, id)) * at(upper, *cone_height);
                ring(*outer_diameter, *inner_diameter, *thickness)
                    && steepest <= std::f64::consts::SQRT_2 * at(lower, *thickness)
            }
            SpringLaw::Wave { outer_diameter, inner_diameter, thickness, .. }
            | SpringLaw::Curved { outer_diameter, inner_diameter, thickness, .. } => {
                ring(*outer_diameter, *inner_diameter, *thickness)
            }
            SpringLaw::Linear { rate, .. } => at(lower, *rate) > 0.0,
            SpringLaw::Table { .. } => true,
        }
}

fn effects_of_washer(washer: &SpringWasher, lower: &[f64], upper: &[f64]) -> Vec<Effect> {
    use Monotone::{Falling, Rising, Unknown, Without};
    let mut effects = Vec::new();
    let mut add = |dimension: DimensionId, load: Monotone, free_height: Monotone| {
        effects.push(Effect { dimension, load, free_height });
    };
    if let Some(id) = washer.friction {
        add(id, Rising, Without);
    }
    if let Some(id) = washer.set {
        add(id, Rising, Rising);
    }
    // free height = solid + set·(free − solid): a set factor that may pass 1 turns the solid height's effect round.
    let of_solid = match washer.set {
        None => (Rising, Without),
        Some(set) if at(upper, set) <= 1.0 => (Rising, Rising),
        Some(_) => (Unknown, Unknown),
    };
    match &washer.law {
        SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, .. } => {
            // De²·K1 rises with De at any ratio; K1 rises with De/Di up to about 3.8.
            add(*outer_diameter, Falling, Without);
            let steepest = log_k1_slope(at(upper, *outer_diameter) / at(lower, *inner_diameter));
            add(*inner_diameter, if steepest > 0.0 { Rising } else { Unknown }, Without);
            add(*thickness, Rising, Rising);
            add(*cone_height, Rising, Rising);
        }
        SpringLaw::Wave { outer_diameter, inner_diameter, thickness, free_height, solid_height, .. }
        | SpringLaw::Curved { outer_diameter, inner_diameter, thickness, free_height, solid_height, .. } => {
            // A larger washer is wider and longer at once.
            add(*outer_diameter, Unknown, Without);
            add(*inner_diameter, Falling, Without);
            add(*thickness, Rising, Without);
            add(*free_height, Rising, Rising);
            add(solid_height.unwrap_or(*thickness), of_solid.0, of_solid.1);
        }
        SpringLaw::Linear { rate, free_height, solid_height } => {
            add(*rate, Rising, Without);
            add(*free_height, Rising, Rising);
            if let Some(solid) = solid_height {
                add(*solid, of_solid.0, of_solid.1);
            }
        }
        SpringLaw::Table { free_height, solid_height, .. } => {
            add(*free_height, Rising, Rising);
            if let Some(solid) = solid_height {
                // It may act, or the table's end.
                add(*solid, of_solid.0, of_solid.1);
            }
        }
    }
    effects
}
