//! The reviewer's whole question about readings of one or many lots: each lot on its own against its drawing, and all of them as the
//! supplier's process.

mod one_lot;
mod options;
mod parts;
mod process;
mod result;

pub use options::{ChartScatter, Instrument, LotOptions, Order};
pub use parts::MeasuredPart;
pub use process::Process;
pub use result::{Deviation, LotResult, LotStudy, LotWarning, OneSided, ToleranceIntervals, Verdict};

use crate::LotError;
use crate::chart::constants::ChartConstants;
use crate::components::variance_components;
use crate::outliers::CriticalDeviates;
use crate::posterior::ChiGrid;
use crate::readings::Readings;
use crate::sample::Moments;
use crate::shape::ShapiroWilk;
use crate::tolerance;
use packdrift_numerics::special::student_t_quantile;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// All that depends on the number of parts alone, computed once for each number that occurs.
struct SizeConstants {
    t: f64,
    grid: ChiGrid,
    one_sided_k: f64,
    two_sided_k: f64,
    order_two_sided: Option<tolerance::OrderStatistics>,
    order_one_sided: Option<tolerance::OrderStatistics>,
    weights: Option<ShapiroWilk>,
    deviates: CriticalDeviates,
}

impl SizeConstants {
    fn new(n: usize, options: &LotOptions) -> Result<Self, LotError> {
        let content = options.content();
        Ok(Self {
            t: student_t_quantile((n - 1) as f64, 0.5 + 0.5 * options.confidence),
            grid: ChiGrid::new(n),
            one_sided_k: tolerance::one_sided_factor(n, content, options.confidence)?,
            two_sided_k: tolerance::two_sided_factor(n, content, options.confidence)?,
            order_two_sided: tolerance::order_statistics_two_sided(n, content, options.confidence)?,
            order_one_sided: tolerance::order_statistics_one_sided(n, content, options.confidence)?,
            weights: ShapiroWilk::new(n),
            deviates: CriticalDeviates::new(n, options.outlier_level)?,
        })
    }
}

/// Answers for every lot of the table and, from two lots on, for the process behind them.
///
/// Lots are judged in parallel; each one's random numbers (for shapes and curves of coarse or skew readings) are keyed by the seed and the
/// lot's name, so neither the number of threads nor the other lots change an answer.
///
/// # Errors
/// A table that does not hold together ([`Readings::check`]), options without sense.
///
/// # Examples
/// ```
/// use packdrift_lot::{Drawing, LotOptions, Readings, Verdict, study};
/// let n = 60_u32;
/// let readings = Readings {
///     lots: vec!["packet A".into()],
///     parts: (0..n).map(|i| i.to_string()).collect(),
///     lot: vec![0; n as usize],
///     part: (0..n).collect(),
///     reading: (0..n).map(|i| 0.4 + 0.004 * (f64::from(i) * 2.4).sin()).collect(),
///     line: (2..n + 2).collect(),
///     ..Readings::default()
/// };
/// let drawing = Drawing { nominal: Some(0.4), lower: Some(0.37), upper: Some(0.43) };
/// let result = study(&readings, &LotOptions { drawing, ..LotOptions::default() })?;
/// assert_eq!(result.lots[0].verdict, Verdict::Acceptable);
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn study(readings: &Readings, options: &LotOptions) -> Result<LotStudy, LotError> {
    readings.check()?;
    options.check()?;
    let tables = parts::by_lot(readings, options.order);
    let repeatability = parts::repeatability(readings);
    // A repeat reading of the same part is averaged; the mean of m readings carries 1/m of the gauge's variance.
    let gauge_sd = options.instrument.repeatability.or(repeatability.map(|m| m.0)).unwrap_or(0.0);
    let sizes: BTreeSet<usize> = tables.iter().map(|t| t.parts.len()).filter(|n| *n >= 2).collect();
    let sizes: Vec<usize> = sizes.into_iter().collect();
    let constants: BTreeMap<usize, SizeConstants> =
        sizes.into_par_iter().map(|n| Ok((n, SizeConstants::new(n, options)?))).collect::<Result<_, LotError>>()?;
    let chart_constants = ChartConstants::new(options.subgroup.unwrap_or(2))?;
    let lots: Vec<LotResult> = tables
        .into_par_iter()
        .map(|table| {
            let n = table.parts.len();
            one_lot::judge(table, constants.get(&n), &chart_constants, gauge_sd, options)
        })
        .collect::<Result<_, LotError>>()?;
    let mut warnings = Vec::new();
    let deviations = process::deviation_model(&lots, options, &mut warnings);
    // Lots of different sizes are compared by their deviations from the packet's size.
    let sized = lots.iter().all(|l| l.drawing.nominal.is_some());
    let one_size = lots.windows(2).all(|w| w[0].drawing.nominal == w[1].drawing.nominal);
    let components = if lots.len() < 2 {
        None
    } else if !sized && !one_size {
        warnings.push(LotWarning::SizesUnknown);
        None
    } else {
        let groups: Vec<Moments> = lots
            .iter()
            .map(|l| Moments {
                n: l.n,
                mean: l.mean - if sized { l.drawing.nominal.unwrap_or(0.0) } else { 0.0 },
                sum_of_squares: l.sum_of_squares(),
            })
            .collect();
        match variance_components(&groups, options.confidence) {
            Ok(components) => Some(components),
            Err(error) => {
                warnings.push(LotWarning::NoComponents { reason: error.to_string() });
                None
            }
        }
    };
    let process = components.as_ref().and_then(|c| process::describe(&lots, c, gauge_sd, sized));
    warnings.extend(result::warnings(&lots, options, gauge_sd));
    Ok(LotStudy { lots, components, deviations, process, repeatability, gauge_sd, options: *options, warnings })
}
