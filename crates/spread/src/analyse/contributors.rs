//! Sobol' indices of the contributors.

use crate::error::SpreadError;
use crate::exact::Exact;
use crate::method::MethodChoice;
use crate::model::Model;
use crate::options::Options;
use crate::pack_model::PackModel;
use crate::population::Population;
use crate::result::{Contributor, Estimate, Source};
use crate::sobol_indices::sobol_indices_of;

/// Puts Sobol' indices to the contributors. Where a response is linear they are its shares of the variance; otherwise they are sampled, with more points
/// where the user asked for them.
pub(super) fn add_sobol(
    model: &PackModel<'_>,
    population: &Population,
    options: &Options,
    contributors: &mut [Contributor],
) -> Result<(), SpreadError> {
    if !options.sobol && options.method != MethodChoice::Auto {
        return Ok(());
    }
    let tied = contributors.iter().any(|c| matches!(c.source, Source::Input(k) if population.is_tied(k)));
    let plane = model.linear(0).filter(|_| !tied);
    if plane.is_some_and(|linear| Exact::of_linear(population, &linear).is_ok()) {
        for contributor in contributors {
            let exact = Some(Estimate { value: contributor.variance_share, standard_error: 0.0 });
            (contributor.sobol_first, contributor.sobol_total) = (exact, exact);
        }
        return Ok(());
    }
    let uses = model.uses();
    let matters = |source: Source| match source {
        Source::Input(k) => uses[k],
        Source::Lot(j) => (0..uses.len()).any(|k| uses[k] && population.lot_of(k) == Some(j)),
    };
    let sources: Vec<Source> = contributors.iter().map(|c| c.source).filter(|s| matters(*s)).collect();
    for contributor in contributors.iter_mut().filter(|c| !matters(c.source)) {
        let nothing = Some(Estimate { value: 0.0, standard_error: 0.0 });
        (contributor.sobol_first, contributor.sobol_total) = (nothing, nothing);
    }
    let log2_points = if options.sobol { SOBOL_POINTS_ASKED } else { SOBOL_POINTS };
    let (indices, left_out) = sobol_indices_of(model, 0, population, &sources, options.seed, log2_points)?;
    if left_out > 0.01 {
        return Ok(());
    }
    for index in indices {
        if let Some(contributor) = contributors.iter_mut().find(|c| c.source == index.source) {
            (contributor.sobol_first, contributor.sobol_total) = (Some(index.first), Some(index.total));
        }
    }
    Ok(())
}

/// log₂ of the points of each scrambling for Sobol' indices.
const SOBOL_POINTS: u32 = 6;
const SOBOL_POINTS_ASKED: u32 = 10;
