//! Everything the physics cannot mean, found before anything is computed.

use crate::equilibrium::{growth, settle};
use crate::error::PackError;
use crate::model::{Bay, Contact, Dimension, DimensionId, Elastic, Pack, Part, PartKind, SpringLaw, SpringWasher};
use crate::spring::at;
use std::collections::HashSet;

/// 0 K, °C.
const ABSOLUTE_ZERO: f64 = -273.15;
/// No length on a rocker shaft is larger, mm: common practice, no source.
const LONGEST: f64 = 10_000.0;

impl Pack {
    /// Every mistake in the pack and in one vector of dimension values (the drawing's nominals, say): an empty list means
    /// that every quantity of the pack has a meaning at `x`. That a bay cannot be assembled is not a mistake but a result.
    pub fn validate(&self, x: &[f64]) -> Vec<PackError> {
        let mut errors = self.validate_structure();
        if x.len() != self.dimensions.len() {
            errors.push(PackError::WrongNumberOfValues { expected: self.dimensions.len(), got: x.len() });
        }
        if !errors.is_empty() {
            // Values cannot be told apart without their places.
            return errors;
        }
        for (dimension, &value) in self.dimensions.iter().zip(x) {
            if !value.is_finite() {
                errors.push(PackError::NotFinite { path: dimension.path.clone(), value });
            } else if dimension.unit == "mm" && value.abs() > LONGEST {
                errors.push(PackError::TooLong { path: dimension.path.clone(), value });
            }
        }
        self.temperatures(&mut errors);
        let mut checks = Checks { pack: self, x, errors };
        for bay in &self.bays {
            checks.above_zero(bay.span);
            for part in &bay.parts {
                checks.part(bay, part);
            }
            for valve in &bay.valves {
                if let Some(contact) = &valve.contact {
                    checks.contact(&format!("{}/{}", bay.name, valve.name), contact);
                }
            }
        }
        let mut errors = checks.errors;
        if errors.is_empty() {
            self.outside_tables(x, &mut errors);
        }
        errors
    }

    /// The mistakes that need no values: names, places and their units, and what there must be one of.
    pub fn validate_structure(&self) -> Vec<PackError> {
        let mut errors = Vec::new();
        self.structure(&mut errors);
        errors
    }

    fn structure(&self, errors: &mut Vec<PackError>) {
        let mut missing = |what: &str| errors.push(PackError::Missing { what: what.to_owned() });
        if self.conditions.is_empty() {
            missing("condition");
        }
        if self.bays.is_empty() {
            missing("bay");
        }
        for bay in &self.bays {
            if bay.parts.is_empty() {
                missing(&format!("part in bay {:?}", bay.name));
            }
        }
        twice("condition", self.conditions.iter().map(|condition| &condition.name), errors);
        twice("bay", self.bays.iter().map(|bay| &bay.name), errors);
        twice("valve", self.bays.iter().flat_map(|bay| &bay.valves).map(|valve| &valve.name), errors);
        twice("dimension", self.dimensions.iter().map(|dimension| &dimension.path), errors);
        for bay in &self.bays {
            twice("part", bay.parts.iter().map(|part| &part.name), errors);
            let mut place = |path: String, ids: &[(Option<DimensionId>, &'static str)]| {
                for &(id, expected) in ids {
                    let Some(id) = id else { continue };
                    match self.dimensions.get(id.0) {
                        None => errors.push(PackError::NoSuchDimension { path: path.clone(), index: id.0 }),
                        Some(Dimension { path, unit }) if *unit != expected => {
                            errors.push(PackError::WrongUnit { path: path.clone(), found: unit, expected });
                        }
                        Some(_) => {}
                    }
                }
            };
            place(bay.name.clone(), &[(Some(bay.span), "mm")]);
            for part in &bay.parts {
                place(format!("{}/{}", bay.name, part.name), &places_of(&part.kind));
            }
            for valve in &bay.valves {
                let path = format!("{}/{}", bay.name, valve.name);
                place(path.clone(), &[(Some(valve.stem), "mm")]);
                if let Some(contact) = &valve.contact {
                    place(path, &places_of_contact(contact));
                }
            }
            for valve in &bay.valves {
                if !bay.parts.get(valve.rocker).is_some_and(|part| matches!(part.kind, PartKind::Rocker { .. })) {
                    let path = format!("{}/{}", bay.name, valve.name);
                    errors.push(PackError::NotARocker { path, part: valve.rocker });
                }
            }
        }
    }

    fn temperatures(&self, errors: &mut Vec<PackError>) {
        let mut check = |path: &str, value: f64| {
            if !value.is_finite() {
                errors.push(PackError::NotFinite { path: path.to_owned(), value });
            } else if value < ABSOLUTE_ZERO {
                errors.push(PackError::Temperature { path: path.to_owned(), value });
            }
        };
        check("reference_temperature", self.reference_temperature);
        for condition in &self.conditions {
            check(&condition.name, condition.temperature);
        }
        let mut grows = |path: String, expansion: f64| {
            if !expansion.is_finite() {
                errors.push(PackError::NotFinite { path, value: expansion });
                return;
            }
            for condition in &self.conditions {
                if growth(expansion, condition, self.reference_temperature) <= 0.0 {
                    let temperature = condition.temperature;
                    errors.push(PackError::Expansion { path, expansion, temperature });
                    return;
                }
            }
        };
        for bay in &self.bays {
            grows(bay.name.clone(), bay.expansion);
            for part in &bay.parts {
                grows(format!("{}/{}", bay.name, part.name), part.expansion);
            }
            for valve in &bay.valves {
                if let Some(contact) = &valve.contact {
                    let path = format!("{}/{}", bay.name, valve.name);
                    grows(path.clone(), contact.adjuster_expansion);
                    grows(path, contact.stem_expansion);
                }
            }
        }
    }

    /// Bays whose equilibrium needs a load that was never measured: the first condition of each in which it does.
    fn outside_tables(&self, x: &[f64], errors: &mut Vec<PackError>) {
        for bay in &self.bays {
            errors.extend(self.conditions.iter().find_map(|condition| self.outside_table(bay, condition, x)));
        }
    }

    fn outside_table(&self, bay: &Bay, condition: &crate::model::Condition, x: &[f64]) -> Option<PackError> {
        let settled = settle(bay, condition, self.reference_temperature, x);
        let washers = bay.parts.iter().filter(|part| matches!(part.kind, PartKind::Spring(_)));
        for (k, part) in washers.enumerate() {
            let PartKind::Spring(SpringWasher { law, set, .. }) = &part.kind else { continue };
            let SpringLaw::Table { curve, free_height, solid_height: Some(solid_height) } = law else { continue };
            let scale = growth(part.expansion, condition, self.reference_temperature);
            let end = scale * curve.deflection.last()?;
            let to_flat = set.map_or(1.0, |id| at(x, id)) * scale * (at(x, *free_height) - at(x, *solid_height));
            // What a bay with such a washer is short of may be there, beyond what was measured.
            let beyond = match &settled {
                Ok(settled) if settled.deflections[k] < settled.springs[k].room || settled.interference <= 0.0 => {
                    continue;
                }
                Ok(_) => 0.0,
                Err(unable) => unable.interference - unable.room,
            };
            if to_flat > end {
                let path = format!("{}/{}", bay.name, part.name);
                return Some(PackError::OutsideTable { path, deflection: end + beyond, end });
            }
        }
        None
    }
}

fn twice<'a>(what: &'static str, names: impl Iterator<Item = &'a String>, errors: &mut Vec<PackError>) {
    let mut seen = HashSet::new();
    let mut told = HashSet::new();
    for name in names {
        if !seen.insert(name) && told.insert(name) {
            errors.push(PackError::DuplicateName { what, name: name.clone() });
        }
    }
}

/// Each place of a part with the unit that its dimension has.
fn places_of(kind: &PartKind) -> Vec<(Option<DimensionId>, &'static str)> {
    let mm = |id: &DimensionId| (Some(*id), "mm");
    match kind {
        PartKind::Solid { thickness, bedding, .. } => vec![mm(thickness), (*bedding, "mm")],
        PartKind::Rocker { width, adjuster } => vec![mm(width), mm(adjuster)],
        PartKind::Spring(SpringWasher { law, friction, set }) => {
            let mut places = vec![(*friction, "1"), (*set, "1")];
            places.extend(match law {
                SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, .. } => {
                    vec![mm(outer_diameter), mm(inner_diameter), mm(thickness), mm(cone_height)]
                }
                SpringLaw::Wave { outer_diameter, inner_diameter, thickness, free_height, solid_height, .. }
                | SpringLaw::Curved { outer_diameter, inner_diameter, thickness, free_height, solid_height, .. } => {
                    let solid = (*solid_height, "mm");
                    vec![mm(outer_diameter), mm(inner_diameter), mm(thickness), mm(free_height), solid]
                }
                SpringLaw::Linear { rate, free_height, solid_height } => {
                    vec![(Some(*rate), "N/mm"), mm(free_height), (*solid_height, "mm")]
                }
                SpringLaw::Table { free_height, solid_height, .. } => vec![mm(free_height), (*solid_height, "mm")],
            });
            places
        }
    }
}

fn places_of_contact(contact: &Contact) -> [(Option<DimensionId>, &'static str); 6] {
    [
        (Some(contact.stem_end_diameter), "mm"),
        (Some(contact.stem_end_chamfer), "mm"),
        (Some(contact.adjuster_tip_radius), "mm"),
        (Some(contact.sweep), "mm"),
        (Some(contact.valve_load), "N"),
        (contact.tip_wear, "mm"),
    ]
}

/// Checks of values; NaN and infinities have been told already and are passed over.
struct Checks<'a> {
    pack: &'a Pack,
    x: &'a [f64],
    errors: Vec<PackError>,
}

impl Checks<'_> {
    fn value(&self, id: DimensionId) -> f64 {
        at(self.x, id)
    }

    fn path(&self, id: DimensionId) -> (String, &'static str) {
        let dimension = &self.pack.dimensions[id.0];
        (dimension.path.clone(), dimension.unit)
    }

    fn above_zero(&mut self, id: DimensionId) {
        let value = self.value(id);
        if value <= 0.0 {
            let (path, unit) = self.path(id);
            self.errors.push(PackError::NotPositive { path, value, unit });
        }
    }

    fn not_negative(&mut self, id: DimensionId) {
        let value = self.value(id);
        if value < 0.0 {
            let (path, unit) = self.path(id);
            self.errors.push(PackError::Negative { path, value, unit });
        }
    }

    fn below(&mut self, id: DimensionId, bound: DimensionId) {
        self.below_a_share(id, bound, 1.0, "");
    }

    /// The value must be below `share` of the bound's; `words` says so before the bound's name.
    fn below_a_share(&mut self, id: DimensionId, bound: DimensionId, share: f64, words: &str) {
        let (value, limit) = (self.value(id), share * self.value(bound));
        if value >= limit {
            let (path, unit) = self.path(id);
            let bound_path = format!("{words}{}", self.path(bound).0);
            self.errors.push(PackError::NotBelow { path, value, bound_path, bound: limit, unit });
        }
    }

    fn constant_above_zero(&mut self, path: String, value: f64, unit: &'static str) {
        if !value.is_finite() {
            self.errors.push(PackError::NotFinite { path, value });
        } else if value <= 0.0 {
            self.errors.push(PackError::NotPositive { path, value, unit });
        }
    }

    fn elastic(&mut self, path: &str, elastic: &Elastic) {
        self.constant_above_zero(format!("{path}/youngs_modulus"), elastic.youngs_modulus, "MPa");
        if !(elastic.poisson > -1.0 && elastic.poisson < 0.5) {
            self.errors.push(PackError::Poisson { path: path.to_owned(), value: elastic.poisson });
        }
    }

    fn part(&mut self, bay: &Bay, part: &Part) {
        let path = format!("{}/{}", bay.name, part.name);
        match &part.kind {
            PartKind::Solid { thickness, bedding, .. } => {
                self.above_zero(*thickness);
                if let Some(bedding) = bedding {
                    self.not_negative(*bedding);
                    self.below(*bedding, *thickness);
                }
            }
            // The adjuster's axis may lie beyond the boss's faces: some arms are cranked.
            PartKind::Rocker { width, .. } => self.above_zero(*width),
            PartKind::Spring(washer) => {
                for factor in [washer.friction, washer.set].into_iter().flatten() {
                    self.above_zero(factor);
                }
                self.law(&path, &washer.law);
            }
        }
    }

    fn law(&mut self, path: &str, law: &SpringLaw) {
        match law {
            SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, elastic } => {
                self.ring(*outer_diameter, *inner_diameter, *thickness);
                self.above_zero(*cone_height);
                self.elastic(path, elastic);
            }
            SpringLaw::Wave {
                outer_diameter,
                inner_diameter,
                thickness,
                free_height,
                solid_height,
                waves,
                factor,
                elastic,
            } => {
                self.ring(*outer_diameter, *inner_diameter, *thickness);
                self.heights(*free_height, Some(solid_height.unwrap_or(*thickness)));
                self.elastic(path, elastic);
                if *waves < 2 {
                    self.errors.push(PackError::Waves { path: path.to_owned(), waves: *waves });
                }
                self.constant_above_zero(format!("{path}/factor"), *factor, "1");
            }
            SpringLaw::Curved { outer_diameter, inner_diameter, thickness, free_height, solid_height, elastic } => {
                self.ring(*outer_diameter, *inner_diameter, *thickness);
                self.heights(*free_height, Some(solid_height.unwrap_or(*thickness)));
                self.elastic(path, elastic);
            }
            SpringLaw::Linear { rate, free_height, solid_height } => {
                self.above_zero(*rate);
                self.heights(*free_height, *solid_height);
            }
            SpringLaw::Table { curve, free_height, solid_height } => {
                self.heights(*free_height, *solid_height);
                if let Some(error) = curve.check(path) {
                    self.errors.push(error);
                } else if let (None, Some(&end)) = (solid_height, curve.deflection.last())
                    && end > self.value(*free_height)
                {
                    let (bound_path, unit) = self.path(*free_height);
                    let bound = self.value(*free_height);
                    let path = format!("{path}: the table's last deflection");
                    self.errors.push(PackError::NotBelow { path, value: end, bound_path, bound, unit });
                }
            }
        }
    }

    fn ring(&mut self, outer: DimensionId, inner: DimensionId, thickness: DimensionId) {
        for id in [outer, inner, thickness] {
            self.above_zero(id);
        }
        self.below(inner, outer);
    }

    fn heights(&mut self, free: DimensionId, solid: Option<DimensionId>) {
        self.above_zero(free);
        if let Some(solid) = solid {
            self.not_negative(solid);
            self.below(solid, free);
        }
    }

    fn contact(&mut self, path: &str, contact: &Contact) {
        self.above_zero(contact.stem_end_diameter);
        self.not_negative(contact.stem_end_chamfer);
        self.below_a_share(contact.stem_end_chamfer, contact.stem_end_diameter, 0.5, "half of ");
        self.above_zero(contact.adjuster_tip_radius);
        self.not_negative(contact.sweep);
        self.above_zero(contact.valve_load);
        if let Some(wear) = contact.tip_wear {
            self.not_negative(wear);
            self.below(wear, contact.adjuster_tip_radius);
        }
        self.elastic(path, &contact.adjuster);
        self.elastic(path, &contact.stem);
    }
}
