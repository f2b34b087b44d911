//! The stack: how far each required quantity spreads, what makes it spread, and whether the limits are kept.
//!
//! Every listing puts first what is out of its limits, the worst first; then what is met, the one with the least to spare first.

mod advice;
mod contributors;
mod costs;
mod json;
mod moved;
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
        .filter(|(i, _)| !(0..*i).any(|before| are_alike(stack, before, *i)))
        .take(DRAWN_BAYS)
        .map(|(i, bay)| {
            let scene =
                Scene { pack: &stack.pack, bay: i, condition: condition_of(stack, i), values: &values, lengths };
            let alike: Vec<&str> = (i + 1..stack.pack.bays.len())
                .filter(|&other| are_alike(stack, i, other))
                .map(|other| stack.pack.bays[other].name.as_str())
                .collect();
            let and = if alike.is_empty() { String::new() } else { format!(" (alike: {})", alike.join(", ")) };
            let title = format!("Bay {}{and} at its nominal dimensions, {}", bay.name, scene.condition_name());
            bay::figure(&format!("bay-{}", bay.name), &title, &scene)
        })
        .collect()
}

/// The unit of an answer's lengths.
pub(crate) fn lengths_of(result: &StackResult) -> Lengths {
    Lengths::named(result.length_unit)
}

/// Whether two bays have the same parts in the same order, at the same nominal dimensions, and are looked at in the same condition: one picture
/// shows both.
fn are_alike(stack: &Stack, a: usize, b: usize) -> bool {
    let pack = &stack.pack;
    let kinds =
        |bay: usize| -> Vec<_> { pack.bays[bay].parts.iter().map(|part| std::mem::discriminant(&part.kind)).collect() };
    let nominals = |bay: usize| -> Vec<f64> {
        let own = format!("{}/", pack.bays[bay].name);
        let inputs = pack.dimensions.iter().zip(&stack.inputs).filter(|(d, _)| d.path.starts_with(&own));
        inputs.map(|(_, input)| input.nominal).collect()
    };
    let (x, y) = (nominals(a), nominals(b));
    !x.is_empty()
        && x.len() == y.len()
        && x.iter().zip(&y).all(|(x, y)| x.to_bits() == y.to_bits())
        && kinds(a) == kinds(b)
        && pack.bays[a].valves.len() == pack.bays[b].valves.len()
        && condition_of(stack, a) == condition_of(stack, b)
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
    /// Requirements that are the same in another place, and not drawn again.
    twins: Vec<&'a RequirementResult>,
    /// Its distribution, and where there are any its contributors and what they cost.
    figures: Vec<Figure>,
}

/// The requirements that are drawn.
fn views(result: &StackResult) -> Result<Vec<View<'_>>, Error> {
    order::folded(&order::ranked(result))
        .into_iter()
        .take(DRAWN_REQUIREMENTS)
        .enumerate()
        .map(|(k, (r, twins))| {
            let mut figures = vec![spread::figure(r)?];
            figures.extend(contributors::figure(r)?);
            figures.extend(costs::figure(result, r, k == 0)?);
            Ok(View { requirement: r, twins, figures })
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
