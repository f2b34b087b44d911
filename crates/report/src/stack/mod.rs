//! The stack: how far each required quantity spreads, what makes it spread, and whether the limits are kept.
//!
//! Every listing puts first what is out of its limits, the worst first; then what is met, the one with the least to spare first.

mod advice;
mod contributors;
mod costs;
mod json;
mod order;
mod page;
mod spread;
mod tables;
mod text;

pub use json::json;
pub use page::page;
pub use tables::tables;
pub use text::text;

pub(crate) use json::VerdictForm;
pub(crate) use order::{rounded_up, weight};
pub(crate) use page::answer;

use crate::Lengths;
use crate::bay::{self, Scene};
use crate::figure::{Error, Figure, unique};
use packdrift_spread::{RequirementResult, Stack, StackResult};

/// Bays drawn; the rest are in the tables.
pub const DRAWN_BAYS: usize = 6;
/// Requirements drawn one by one, most urgent first; the rest are in the tables.
pub const DRAWN_REQUIREMENTS: usize = 16;

/// Everything that is drawn: the bays, then for each requirement its distribution and its contributors.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(stack: &Stack, result: &StackResult) -> Result<Vec<Figure>, Error> {
    let mut figures = bays(stack, lengths_of(result))?;
    figures.extend(views(result)?.into_iter().flat_map(|view| view.figures));
    unique(&mut figures.iter_mut().collect::<Vec<_>>());
    Ok(figures)
}

/// The bays at their nominal dimensions, in the condition in which most is required of them.
fn bays(stack: &Stack, lengths: Lengths) -> Result<Vec<Figure>, Error> {
    let values: Vec<f64> = stack.inputs.iter().map(|i| i.nominal).collect();
    stack
        .pack
        .bays
        .iter()
        .enumerate()
        .take(DRAWN_BAYS)
        .map(|(i, bay)| {
            let scene =
                Scene { pack: &stack.pack, bay: i, condition: condition_of(stack, i), values: &values, lengths };
            let title = format!("Bay {} at its nominal dimensions, {}", bay.name, scene.condition_name());
            bay::figure(&format!("bay-{}", bay.name), &title, &scene)
        })
        .collect()
}

/// The unit of an answer's lengths.
pub(crate) fn lengths_of(result: &StackResult) -> Lengths {
    Lengths::named(result.length_unit)
}

/// The condition most requirements of a bay are made in; the first where none is.
fn condition_of(stack: &Stack, bay: usize) -> usize {
    let count = |condition: usize| {
        stack.requirements.iter().filter(|r| r.quantity.bay() == bay && r.condition == condition).count()
    };
    // Of equals the later one: files list assembly before running, and running is what lasts.
    (0..stack.pack.conditions.len()).max_by_key(|&c| count(c)).unwrap_or(0)
}

/// A requirement that is drawn.
struct View<'a> {
    requirement: &'a RequirementResult,
    /// Its distribution, and where there are any its contributors and what they cost.
    figures: Vec<Figure>,
}

/// The requirements that are drawn.
fn views(result: &StackResult) -> Result<Vec<View<'_>>, Error> {
    order::ranked(result)
        .into_iter()
        .take(DRAWN_REQUIREMENTS)
        .enumerate()
        .map(|(k, r)| {
            let mut figures = vec![spread::figure(r)?];
            figures.extend(contributors::figure(r)?);
            figures.extend(costs::figure(result, r, k == 0)?);
            Ok(View { requirement: r, figures })
        })
        .collect()
}

/// The first bay and the requirement that is worst off, for the tour.
pub(crate) fn highlights(stack: &Stack, result: &StackResult) -> Result<Vec<Figure>, Error> {
    let mut figures: Vec<Figure> = bays(stack, lengths_of(result))?.into_iter().take(1).collect();
    if let Some(r) = order::ranked(result).first() {
        figures.push(spread::figure(r)?);
        figures.extend(contributors::figure(r)?);
    }
    Ok(figures)
}
