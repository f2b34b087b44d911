//! Which quantities are weighted sums of dimensions, and with what weights.

use crate::equilibrium::growth;
use crate::model::{DimensionId, Pack, Part, PartKind, SpringLaw};
use crate::quantity::Quantity;

/// A weighted sum of dimensions and a constant.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LinearForm {
    /// Without dimensions.
    pub constant: f64,
    /// Dimension and weight; each dimension once.
    pub terms: Vec<(DimensionId, f64)>,
}

impl LinearForm {
    /// Its value at one vector of dimension values.
    ///
    /// # Panics
    ///
    /// If `x` has no value for one of the dimensions.
    pub fn value(&self, x: &[f64]) -> f64 {
        self.terms.iter().fold(self.constant, |sum, &(id, weight)| sum + weight * x[id.0])
    }

    fn add_rigid(&mut self, part: &Part, weight: f64) {
        for (id, sign) in part.kind.rigid_length() {
            self.add(id, sign * weight);
        }
    }

    fn add(&mut self, id: DimensionId, weight: f64) {
        match self.terms.iter_mut().find(|(known, _)| *known == id) {
            Some((_, sum)) => *sum += weight,
            None => self.terms.push((id, weight)),
        }
    }
}

impl Pack {
    /// The weights of a quantity that is a weighted sum of dimensions *while its bay is under load* (0 < D ≤ room, see
    /// [`Pack::interference_form`] and [`Pack::room_left_form`]); None where it is not one.
    ///
    /// A contact offset is linear where all spring washers of the bay lie on one side of the rocker: with none to its left
    /// its place follows from the left fixed face through solids, with none to its right from the right fixed face back.
    /// The height of a bay's only spring washer is what the solids leave of the span.
    ///
    /// # Panics
    ///
    /// If an index is not of this pack.
    pub fn linear_form(&self, quantity: &Quantity, condition: usize) -> Option<LinearForm> {
        let bay = &self.bays[quantity.bay()];
        let grown = |expansion: f64| growth(expansion, &self.conditions[condition], self.reference_temperature);
        let mut form = LinearForm::default();
        let is_spring = |part: &crate::model::Part| matches!(part.kind, PartKind::Spring(_));
        match *quantity {
            Quantity::Offset { valve, .. } => {
                let valve = &bay.valves[valve];
                let (left, right) = bay.parts.split_at(valve.rocker);
                let PartKind::Rocker { adjuster, .. } = right.first()?.kind else { return None };
                let (solids, sign) = if !left.iter().any(is_spring) {
                    (left, 1.0)
                } else if !right.iter().any(is_spring) {
                    form.add(bay.span, grown(bay.expansion));
                    (right, -1.0)
                } else {
                    return None;
                };
                for part in solids {
                    form.add_rigid(part, sign * grown(part.expansion));
                }
                form.add(adjuster, grown(bay.parts[valve.rocker].expansion));
                form.add(valve.stem, -grown(bay.expansion));
                Some(form)
            }
            Quantity::Height { part, .. } => {
                if !is_spring(&bay.parts[part]) || bay.parts.iter().filter(|part| is_spring(part)).count() != 1 {
                    return None;
                }
                form.add(bay.span, grown(bay.expansion));
                for part in &bay.parts {
                    form.add_rigid(part, -grown(part.expansion));
                }
                Some(form)
            }
            Quantity::Preload { .. }
            | Quantity::Play { .. }
            | Quantity::EdgeMargin { .. }
            | Quantity::ContactPressure { .. }
            | Quantity::Stress { .. } => None,
        }
    }

    /// Whether [`Pack::linear_form`] has an answer.
    ///
    /// # Panics
    ///
    /// If an index is not of this pack.
    pub fn is_linear(&self, quantity: &Quantity, condition: usize) -> bool {
        self.linear_form(quantity, condition).is_some()
    }

    /// D of a bay as a weighted sum; None where a set factor multiplies a free height.
    ///
    /// # Panics
    ///
    /// If an index is not of this pack.
    pub fn interference_form(&self, bay: usize, condition: usize) -> Option<LinearForm> {
        let data = &self.bays[bay];
        let grown = |expansion: f64| growth(expansion, &self.conditions[condition], self.reference_temperature);
        let mut form = LinearForm::default();
        for part in &data.parts {
            let scale = grown(part.expansion);
            match &part.kind {
                PartKind::Solid { .. } | PartKind::Rocker { .. } => form.add_rigid(part, scale),
                PartKind::Spring(washer) => {
                    if washer.set.is_some() {
                        return None;
                    }
                    match &washer.law {
                        SpringLaw::Disc { thickness, cone_height, .. } => {
                            form.add(*thickness, scale);
                            form.add(*cone_height, scale);
                        }
                        SpringLaw::Wave { free_height, .. }
                        | SpringLaw::Curved { free_height, .. }
                        | SpringLaw::Linear { free_height, .. }
                        | SpringLaw::Table { free_height, .. } => form.add(*free_height, scale),
                    }
                }
            }
        }
        form.add(data.span, -grown(data.expansion));
        Some(form)
    }

    /// What the spring washers of a bay can still take, room − D, as a weighted sum: span less solids less flat washers. Free heights and set do not
    /// enter. None where a load table may end before its washer is flat (where it gives a solid height, or has a set factor).
    ///
    /// # Panics
    ///
    /// If an index is not of this pack.
    pub fn room_left_form(&self, bay: usize, condition: usize) -> Option<LinearForm> {
        let data = &self.bays[bay];
        let grown = |expansion: f64| growth(expansion, &self.conditions[condition], self.reference_temperature);
        let mut form = LinearForm::default();
        form.add(data.span, grown(data.expansion));
        for part in &data.parts {
            let scale = grown(part.expansion);
            let PartKind::Spring(washer) = &part.kind else {
                form.add_rigid(part, -scale);
                continue;
            };
            match &washer.law {
                SpringLaw::Disc { thickness, .. } => form.add(*thickness, -scale),
                SpringLaw::Wave { solid_height, thickness, .. } | SpringLaw::Curved { solid_height, thickness, .. } => {
                    form.add(solid_height.unwrap_or(*thickness), -scale);
                }
                SpringLaw::Linear { solid_height, .. } => {
                    if let Some(solid_height) = solid_height {
                        form.add(*solid_height, -scale);
                    }
                }
                SpringLaw::Table { solid_height: Some(_), .. } => return None,
                SpringLaw::Table { .. } if washer.set.is_some() => return None,
                SpringLaw::Table { curve, free_height, .. } => {
                    form.add(*free_height, -scale);
                    form.constant += scale * curve.deflection.last()?;
                }
            }
        }
        Some(form)
    }
}
