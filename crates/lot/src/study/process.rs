//! All lots as one supplier's process: what the next lot will be like, and what to write into a pack file.

use super::options::LotOptions;
use super::result::LotResult;
use super::warning::LotWarning;
use crate::components::{Components, variance_components};
use crate::packets::{DeviationModel, LotDeviation, deviation_model as fit};
use crate::posterior::SpecificationLimits;
use crate::sample::Moments;

/// A supplier's process from several of its lots.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Process {
    /// Mean of lots minus the size on the packet, mm; None without sizes. A pack file's `bias`.
    pub bias: Option<f64>,
    /// Standard error of the bias (or of the mean of the lots), mm.
    pub mean_se: f64,
    /// sd between lots, mm. A pack file's `between`.
    pub between_sd: f64,
    /// sd within lots, the gauge's share taken out, mm. A pack file's `sd` of the dimension.
    pub within_sd: f64,
    /// √(between² + within²), mm.
    pub total_sd: f64,
    /// (U − L)/(6·within).
    pub cp: Option<f64>,
    /// Nearer limit over 3·within; None without limits that all lots share.
    pub cpk: Option<f64>,
    /// (U − L)/(6·total).
    pub pp: Option<f64>,
    /// Nearer limit over 3·total.
    pub ppk: Option<f64>,
    /// Estimated share outside over many lots.
    pub share_outside: Option<f64>,
}

/// Lots of one size, and the process behind them.
#[derive(Debug, Clone, PartialEq)]
pub struct SizeGroup {
    /// The size on the packets, mm; None where they have none.
    pub nominal: Option<f64>,
    /// Indices into the study's lots.
    pub lots: Vec<usize>,
    /// From two lots on.
    pub components: Option<Components>,
    /// From two lots on.
    pub process: Option<Process>,
}

/// Lots by their size: those of different sizes come off different settings of a machine and are not pooled. Lots without a size are one group where no lot
/// has one; beside lots that have, they are left out, since nobody knows with which they belong.
pub(super) fn by_size(
    lots: &[LotResult],
    gauge_sd: f64,
    options: &LotOptions,
    warnings: &mut Vec<LotWarning>,
) -> Vec<SizeGroup> {
    let mut groups: Vec<(Option<f64>, Vec<usize>)> = Vec::new();
    for (at, lot) in lots.iter().enumerate() {
        let nominal = lot.drawing.nominal;
        match groups.iter_mut().find(|g| g.0 == nominal) {
            Some(group) => group.1.push(at),
            None => groups.push((nominal, vec![at])),
        }
    }
    if groups.len() > 1 && groups.iter().any(|g| g.0.is_none()) {
        warnings.push(LotWarning::SizesUnknown);
        groups.retain(|g| g.0.is_some());
    }
    groups
        .into_iter()
        .map(|(nominal, members)| {
            let here: Vec<&LotResult> = members.iter().map(|&k| &lots[k]).collect();
            let moments: Vec<Moments> = here
                .iter()
                .map(|l| Moments { n: l.n, mean: l.mean - nominal.unwrap_or(0.0), sum_of_squares: l.sum_of_squares() })
                .collect();
            let components = match (here.len() > 1).then(|| variance_components(&moments, options.confidence)) {
                Some(Ok(components)) => Some(components),
                Some(Err(error)) => {
                    warnings.push(LotWarning::NoComponents { reason: error.to_string() });
                    None
                }
                None => None,
            };
            let process = components.as_ref().and_then(|c| describe(&here, c, gauge_sd));
            SizeGroup { nominal, lots: members, components, process }
        })
        .collect()
}

fn describe(lots: &[&LotResult], components: &Components, gauge_sd: f64) -> Option<Process> {
    let estimate = components.reml.estimate;
    let gauge = lots.first().map_or(gauge_sd, |l| l.gauge_sd);
    let within_sd = (estimate.within_sd.powi(2) - gauge * gauge).max(0.0).sqrt();
    let total_sd = within_sd.hypot(estimate.between_sd);
    let first = lots.first()?.drawing;
    let same = lots.iter().all(|l| l.drawing == first) && first.has_limits() && within_sd > 0.0;
    let limits = same.then_some(SpecificationLimits { lower: first.lower, upper: first.upper });
    let mean = estimate.mean + first.nominal.unwrap_or(0.0);
    let width = first.lower.zip(first.upper).map(|(l, u)| u - l).filter(|_| same);
    Some(Process {
        bias: first.nominal.map(|_| estimate.mean),
        mean_se: estimate.mean_se,
        between_sd: estimate.between_sd,
        within_sd,
        total_sd,
        cp: width.map(|w| w / (6.0 * within_sd)),
        cpk: limits.map(|l| l.nearest(mean, within_sd)),
        pp: width.map(|w| w / (6.0 * total_sd)),
        ppk: limits.map(|l| l.nearest(mean, total_sd)),
        share_outside: limits.map(|l| l.share_outside(mean, total_sd)),
    })
}

/// The form of the deviation over all lots with a size and scatter; None with fewer than two.
pub(super) fn deviation_model(
    lots: &[LotResult],
    options: &LotOptions,
    warnings: &mut Vec<LotWarning>,
) -> Option<DeviationModel> {
    let points: Vec<LotDeviation> = lots
        .iter()
        .filter_map(|l| {
            let nominal = l.drawing.nominal.filter(|n| *n > 0.0)?;
            let standard_error = l.sd.filter(|s| *s > 0.0)? / (l.n as f64).sqrt();
            Some(LotDeviation { nominal, deviation: l.mean - nominal, standard_error })
        })
        .collect();
    if points.len() < 2 {
        return None;
    }
    match fit(&points, options.confidence) {
        Ok(model) => Some(model),
        Err(error) => {
            warnings.push(LotWarning::NoComponents { reason: error.to_string() });
            None
        }
    }
}
