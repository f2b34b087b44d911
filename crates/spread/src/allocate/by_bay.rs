//! What bays need one by one: a bound on the cost of a shaft whose bays have nothing priced in common.
//!
//! Whatever keeps the ceiling for all requirements keeps it for those of each bay. So no choice costs less than the least cost of each bay by
//! itself under the same ceiling, added up. It is near where bays fail together (lots in common, as packets of shims), and misses at most what
//! sharing the ceiling out among bays costs where they do not.

use super::{AllocateError, AllocateOptions, GIVEN_AWAY, Item, Optimum, WIDEST, allocate, price};
use crate::options::Progress;
use crate::stack::{Cost, Stack};
use packdrift_pack::Query;

/// The bound; None where there is one bay with limits, one that tells nothing, or a priced dimension that two bays share.
///
/// # Errors
/// What the analysis of a bay refuses, and a search that was stopped.
pub(super) fn at_least(
    stack: &Stack,
    items: &[Item],
    options: &AllocateOptions,
    ceiling: f64,
    progress: &dyn Progress,
) -> Result<Option<f64>, AllocateError> {
    let limited = || stack.requirements.iter().filter(|r| r.lower.is_some() || r.upper.is_some());
    let mut bays: Vec<usize> = limited().map(|r| r.quantity.bay()).collect();
    bays.sort_unstable();
    bays.dedup();
    if bays.len() < 2 {
        return Ok(None);
    }
    let mut bay_of: Vec<Option<usize>> = vec![None; stack.inputs.len()];
    for &bay in &bays {
        let of_bay = limited().filter(|r| r.quantity.bay() == bay);
        let queries: Vec<Query> = of_bay.map(|r| Query { quantity: r.quantity, condition: r.condition }).collect();
        for id in stack.pack.plan(&queries).dimensions() {
            let shared = bay_of[id.0].is_some() && items.iter().any(|item| item.input == id.0);
            if shared {
                return Ok(None);
            }
            bay_of[id.0] = Some(bay);
        }
    }
    // What no limit asks for is bought as cheap as it can be.
    let idle = items.iter().filter(|item| bay_of[item.input].is_none());
    let mut sum: f64 = idle.map(cheapest).sum();
    for bay in bays {
        let mut alone = stack.clone();
        alone.requirements.retain(|r| r.quantity.bay() == bay);
        for (input, of) in alone.inputs.iter_mut().zip(&bay_of) {
            if *of != Some(bay) {
                input.cost = None;
            }
        }
        let found = match allocate(&alone, &AllocateOptions { max_out: Some(ceiling), ..*options }, progress) {
            // Nothing of this bay is priced.
            Err(AllocateError::NoCosts) => continue,
            found => found?,
        };
        sum += match found.optimum {
            // Of the ceiling a part is given away, which a tenth of that is worth at the most.
            Optimum::Proven { .. } => found.cost * (1.0 - 0.1 * GIVEN_AWAY),
            Optimum::Best { at_least, .. } => at_least,
            Optimum::Kkt { residual } if residual.is_finite() => found.cost * (1.0 - residual - 0.1 * GIVEN_AWAY),
            Optimum::Kkt { .. } => return Ok(None),
        };
    }
    Ok(Some(sum))
}

fn cheapest(item: &Item) -> f64 {
    match &item.cost {
        Cost::Power { .. } => price(&item.cost, WIDEST * item.tol).unwrap_or(0.0),
        Cost::Grades(grades) => grades.iter().map(|grade| grade.1).fold(f64::INFINITY, f64::min),
    }
}
