//! What a gauge's own scatter does in the pack: parts that are picked by their readings keep the reading's error.

use super::place::Place;
use super::surface::Surface;
use crate::LotPackError;
use packdrift_lot::LotError;
use packdrift_spread::{Model, PackModel, Population, Stack};

/// One requirement.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingInRequirement {
    /// Name.
    pub name: String,
    /// Condition's name.
    pub condition: String,
    /// Unit of the quantity.
    pub unit: &'static str,
    /// Standard deviation that the readings' error adds: √Σ(∂y/∂xᵢ·u)² over the measured parts, in the quantity's unit.
    pub added_sd: f64,
    /// Six of them over the width of the limits; None where there is one limit only.
    pub share_of_width: Option<f64>,
    /// Largest acceptable share outside.
    pub max_out: f64,
    /// Share outside with the measured parts known exactly, at their nominals.
    pub known: f64,
    /// Share outside with the measured parts off their nominals by the readings' error.
    pub read: f64,
}

/// A gauge in a pack.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingInPack {
    /// Standard uncertainty of a reading, mm.
    pub u: f64,
    /// Paths of the dimensions that are measured.
    pub dimensions: Vec<String>,
    /// Those that depend on them, in the order of the pack.
    pub requirements: Vec<ReadingInRequirement>,
}

/// Carries the standard uncertainty of a reading, mm, through a pack whose shims (or what `stands_for` names: a lot of the pack, a part) are picked by
/// such readings: each is its nominal plus an error of its own, N(0, u²).
///
/// # Errors
/// A name the pack does not have, or a pack without shims; a pack without requirements; an uncertainty that is not above 0; what the pack's spread
/// refuses.
pub fn reading_in_pack(
    stack: &Stack,
    stands_for: Option<&str>,
    u: f64,
    seed: u64,
) -> Result<ReadingInPack, LotPackError> {
    if !(u > 0.0 && u.is_finite()) {
        let expected = "above 0 mm".to_owned();
        return Err(
            LotError::OutOfRange { what: "the standard uncertainty of a reading".into(), value: u, expected }.into()
        );
    }
    if stack.requirements.is_empty() {
        return Err(LotError::TooFew {
            what: "a gauge in the pack".into(),
            found: 0,
            needed: 1,
            of: "requirements in the pack",
        }
        .into());
    }
    let place = match stands_for {
        Some(name) => Place::find(stack, name)?,
        None => Place::shims(stack)?,
    }
    .untied();
    let bare = place.without(stack);
    let surface = Surface::new(&bare, &place, 0.0, u, seed)?;
    let (known, read) = (surface.shares(0.0, 0.0), surface.shares(0.0, u));
    let model = PackModel::new(&bare)?;
    let population = Population::of_stack(&bare)?;
    let (means, sds) = (population.means(), population.sds());
    let mut slopes = vec![0.0; bare.inputs.len()];
    let mut requirements = Vec::new();
    for (k, requirement) in stack.requirements.iter().enumerate() {
        model.gradient(k, &means, &sds, &mut slopes).map_err(|e| LotPackError::Spread(e.to_string()))?;
        let added_sd = place.inputs.iter().map(|&i| (slopes[i] * u).powi(2)).sum::<f64>().sqrt();
        if added_sd == 0.0 {
            continue;
        }
        requirements.push(ReadingInRequirement {
            name: requirement.name.clone(),
            condition: stack.pack.conditions[requirement.condition].name.clone(),
            unit: requirement.quantity.unit(),
            added_sd,
            share_of_width: requirement.lower.zip(requirement.upper).map(|(l, h)| 6.0 * added_sd / (h - l)),
            max_out: requirement.max_out,
            known: known[k],
            read: read[k],
        });
    }
    Ok(ReadingInPack {
        u,
        dimensions: place.inputs.iter().map(|&i| stack.pack.dimensions[i].path.clone()).collect(),
        requirements,
    })
}
