//! From the names that files and people use to the places in a [`Pack`].

use crate::error::QuantityError;
use crate::model::{Contact, DimensionId, Pack, Part, PartKind};
use crate::quantity::{Quantity, QuantityKind};
use crate::stress::StressPoint;

/// The names a requirement gives: which bay, valve or spring washer a quantity is asked of.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct QuantitySubject<'a> {
    /// For preload and play; for height, where a spring washer's name alone is not unique.
    pub bay: Option<&'a str>,
    /// For offset, edge margin and contact pressure.
    pub valve: Option<&'a str>,
    /// For height and stress.
    pub spring: Option<&'a str>,
    /// For the stress of a disc, which has it at several points.
    pub point: Option<StressPoint>,
}

impl Pack {
    /// The quantity of a kind, of the bay, valve or spring washer named. Where the pack has one bay, its name may be left out.
    ///
    /// # Errors
    ///
    /// [`QuantityError`]: a name is missing, unknown or ambiguous, or the valve lacks the data of its contact.
    pub fn quantity(&self, kind: QuantityKind, of: QuantitySubject<'_>) -> Result<Quantity, QuantityError> {
        let valve = || {
            let name = of.valve.ok_or(QuantityError::NameNeeded { kind: kind.name(), what: "valve" })?;
            self.find_valve(name).ok_or_else(|| QuantityError::UnknownName { what: "valve", name: name.to_owned() })
        };
        let in_contact = || {
            let (bay, valve) = valve()?;
            let data = &self.bays[bay].valves[valve];
            if data.contact.is_none() {
                return Err(QuantityError::NoContact { kind: kind.name(), valve: data.name.clone() });
            }
            Ok((bay, valve))
        };
        Ok(match kind {
            QuantityKind::Offset => {
                let (bay, valve) = valve()?;
                Quantity::Offset { bay, valve }
            }
            QuantityKind::EdgeMargin => {
                let (bay, valve) = in_contact()?;
                Quantity::EdgeMargin { bay, valve }
            }
            QuantityKind::ContactPressure => {
                let (bay, valve) = in_contact()?;
                Quantity::ContactPressure { bay, valve }
            }
            QuantityKind::Preload => Quantity::Preload { bay: self.bay_of(kind, of.bay)? },
            QuantityKind::Play => Quantity::Play { bay: self.bay_of(kind, of.bay)? },
            QuantityKind::Height => {
                let (bay, part) = self.spring_of(kind, of)?;
                Quantity::Height { bay, part }
            }
            QuantityKind::Stress => {
                let (bay, part) = self.spring_of(kind, of)?;
                Quantity::Stress { bay, part, point: self.stress_point(bay, part, of.point)? }
            }
        })
    }

    fn stress_point(&self, bay: usize, part: usize, asked: Option<StressPoint>) -> Result<StressPoint, QuantityError> {
        let data = &self.bays[bay].parts[part];
        let known = match &data.kind {
            PartKind::Spring(washer) => washer.stress_points(),
            PartKind::Solid { .. } | PartKind::Rocker { .. } => &[],
        };
        match (asked, known) {
            (None, [only]) => Ok(*only),
            (Some(point), known) if known.contains(&point) => Ok(point),
            (asked, known) => {
                let words: Vec<&str> = known.iter().map(|point| point.name()).collect();
                Err(QuantityError::NoStress {
                    spring: data.name.clone(),
                    known: if words.is_empty() { "no point, by its law".to_owned() } else { words.join(", ") },
                    asked: asked.map_or("no point", StressPoint::name).to_owned(),
                })
            }
        }
    }

    /// Bay and part of the spring washer named.
    fn spring_of(&self, kind: QuantityKind, of: QuantitySubject<'_>) -> Result<(usize, usize), QuantityError> {
        let name = of.spring.ok_or(QuantityError::NameNeeded { kind: kind.name(), what: "spring washer" })?;
        let within = match of.bay {
            Some(_) => Some(self.bay_of(kind, of.bay)?),
            None => None,
        };
        let mut found = self.spring_washers().filter(|&(bay, part)| {
            within.is_none_or(|wanted| wanted == bay) && self.bays[bay].parts[part].name == name
        });
        let (bay, part) =
            found.next().ok_or_else(|| QuantityError::UnknownName { what: "spring washer", name: name.to_owned() })?;
        if found.next().is_some() {
            return Err(QuantityError::Ambiguous { name: name.to_owned() });
        }
        Ok((bay, part))
    }

    /// Index of the bay of this name.
    pub fn find_bay(&self, name: &str) -> Option<usize> {
        self.bays.iter().position(|bay| bay.name == name)
    }

    /// Index of the condition of this name.
    pub fn find_condition(&self, name: &str) -> Option<usize> {
        self.conditions.iter().position(|condition| condition.name == name)
    }

    /// Bay and index in it of the valve of this name.
    pub fn find_valve(&self, name: &str) -> Option<(usize, usize)> {
        self.bays
            .iter()
            .enumerate()
            .find_map(|(bay, data)| Some((bay, data.valves.iter().position(|valve| valve.name == name)?)))
    }

    /// The dimension of this path.
    pub fn find_dimension(&self, path: &str) -> Option<DimensionId> {
        self.dimensions.iter().position(|dimension| dimension.path == path).map(DimensionId)
    }

    /// In how many places of the pack each dimension is used. Files give every place its own; a pack made in a program may share one.
    pub fn uses(&self) -> Vec<usize> {
        let of_part = |part: &Part| match &part.kind {
            PartKind::Solid { thickness, bedding, .. } => std::iter::once(*thickness).chain(*bedding).collect(),
            PartKind::Rocker { width, adjuster } => vec![*width, *adjuster],
            PartKind::Spring(washer) => washer.dimensions(),
        };
        let of_contact = |contact: &Contact| {
            let lengths = [contact.stem_end_diameter, contact.stem_end_chamfer, contact.adjuster_tip_radius];
            let others = [contact.sweep, contact.valve_load];
            lengths.into_iter().chain(others).chain(contact.tip_wear)
        };
        let mut uses = vec![0; self.dimensions.len()];
        for bay in &self.bays {
            let parts = bay.parts.iter().flat_map(of_part);
            let valves = bay.valves.iter().map(|valve| valve.stem);
            let contacts = bay.valves.iter().filter_map(|valve| valve.contact.as_ref()).flat_map(of_contact);
            for id in parts.chain(valves).chain(contacts).chain([bay.span]) {
                uses[id.0] += 1;
            }
        }
        uses
    }

    /// Bay and part index of every spring washer, in order.
    pub fn spring_washers(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.bays.iter().enumerate().flat_map(|(bay, data)| {
            data.parts
                .iter()
                .enumerate()
                .filter(|(_, part)| matches!(part.kind, PartKind::Spring(_)))
                .map(move |(part, _)| (bay, part))
        })
    }

    /// What a quantity is, in words: `contact offset, 1 exhaust`.
    ///
    /// # Panics
    ///
    /// If the quantity's indices are not of this pack.
    pub fn describe(&self, quantity: &Quantity) -> String {
        let whose = match *quantity {
            Quantity::Offset { bay, valve }
            | Quantity::EdgeMargin { bay, valve }
            | Quantity::ContactPressure { bay, valve } => &self.bays[bay].valves[valve].name,
            Quantity::Preload { bay } | Quantity::Play { bay } => &self.bays[bay].name,
            Quantity::Height { bay, part } => &self.bays[bay].parts[part].name,
            Quantity::Stress { bay, part, point } => {
                let name = &self.bays[bay].parts[part].name;
                return match point {
                    StressPoint::Bending => format!("bending stress, {name}"),
                    point => format!("stress {point}, {name}"),
                };
            }
        };
        format!("{}, {whose}", quantity.kind().label())
    }

    fn bay_of(&self, kind: QuantityKind, name: Option<&str>) -> Result<usize, QuantityError> {
        match name {
            Some(name) => {
                self.find_bay(name).ok_or_else(|| QuantityError::UnknownName { what: "bay", name: name.to_owned() })
            }
            None if self.bays.len() == 1 => Ok(0),
            None => Err(QuantityError::NameNeeded { kind: kind.name(), what: "bay" }),
        }
    }
}
