//! The reviewer's whole question about readings of one or many lots: each lot on its own against its drawing, and all of them as the
//! supplier's process.

mod allowance;
mod needed;
mod one_lot;
mod options;
mod parts;
mod process;
mod result;
mod set_aside;
mod share;
mod warning;

pub use allowance::bound_over_shapes;
pub use options::{ChartScatter, Instrument, LotOptions, Order, ShapeKnowledge, Sorting};
pub use parts::MeasuredPart;
pub use process::{Process, SizeGroup};
pub use result::{Deviation, Doubt, LotResult, LotStudy, OneSided, ToleranceIntervals};
pub use set_aside::{SetAside, SetAsideAnswer, study_setting_aside};
pub use share::{Basis, ShareOutside};
pub use warning::LotWarning;

use crate::LotError;
use crate::chart::constants::ChartConstants;
use crate::chart::steady::SteadyCharts;
use crate::outliers::CriticalDeviates;
use crate::posterior::ChiGrid;
use crate::readings::Readings;
use crate::shape::ShapiroWilk;
use crate::tolerance;
use one_lot::Shared;
use packdrift_numerics::special::student_t_quantile;
use packdrift_numerics::stream::Key;
use rayon::prelude::*;
use std::collections::BTreeMap;

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
    /// Charts of steady lots; None where no lot of this size is in a known order.
    steady: Option<SteadyCharts>,
}

impl SizeConstants {
    fn new(n: usize, ordered: bool, chart: &ChartConstants, options: &LotOptions) -> Result<Self, LotError> {
        let content = options.content();
        let key = || Key::new(options.seed, &format!("steady charts/{n}"));
        Ok(Self {
            t: student_t_quantile((n - 1) as f64, 0.5 + 0.5 * options.confidence),
            grid: ChiGrid::new(n),
            one_sided_k: tolerance::one_sided_factor(n, content, options.confidence)?,
            two_sided_k: tolerance::two_sided_factor(n, content, options.confidence)?,
            order_two_sided: tolerance::order_statistics_two_sided(n, content, options.confidence)?,
            order_one_sided: tolerance::order_statistics_one_sided(n, content, options.confidence)?,
            weights: ShapiroWilk::new(n),
            deviates: CriticalDeviates::new(n, options.outlier_level)?,
            steady: ordered
                .then(|| SteadyCharts::new(n, &key(), |values| one_lot::chart(values, chart, options)))
                .flatten(),
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
/// use packdrift_lot::{Drawing, LotOptions, Readings, study};
/// let n = 60_u32;
/// let readings = Readings {
///     lots: vec!["packet A".into()],
///     parts: (0..n).map(|i| i.to_string()).collect(),
///     lot: vec![0; n as usize],
///     part: (0..n).collect(),
///     reading: (0..n).map(|i| 0.4 + 0.002 * (f64::from(i) * 2.4).sin()).collect(),
///     line: (2..n + 2).collect(),
///     ..Readings::default()
/// };
/// let drawing = Drawing { nominal: Some(0.4), lower: Some(0.37), upper: Some(0.43) };
/// let result = study(&readings, &LotOptions { drawing, max_out: 0.05, ..LotOptions::default() })?;
/// assert!(result.lots[0].verdict.as_ref().is_some_and(|v| v.is_shown()));
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn study(readings: &Readings, options: &LotOptions) -> Result<LotStudy, LotError> {
    readings.check()?;
    options.check()?;
    let tables = parts::by_lot(readings, options.order);
    let repeatability = parts::repeatability(readings);
    // A repeat reading of the same part is averaged; the mean of m readings carries 1/m of the gauge's variance.
    let gauge_sd = options.instrument.repeatability.or(repeatability.map(|m| m.0)).unwrap_or(0.0);
    let shown_gauge_sd = if options.instrument.repeatability_shown {
        gauge_sd
    } else {
        gauge_sd.min(repeatability.map_or(0.0, |measured| measured.0))
    };
    let mut sizes: BTreeMap<usize, bool> = BTreeMap::new();
    for table in tables.iter().filter(|t| t.parts.len() >= 2) {
        *sizes.entry(table.parts.len()).or_default() |= table.ordered;
    }
    let chart_constants = ChartConstants::new(options.subgroup.unwrap_or(2))?;
    let sizes: Vec<(usize, bool)> = sizes.into_iter().collect();
    let constants: BTreeMap<usize, SizeConstants> = sizes
        .into_par_iter()
        .map(|(n, ordered)| Ok((n, SizeConstants::new(n, ordered, &chart_constants, options)?)))
        .collect::<Result<_, LotError>>()?;
    let shared = |table: &parts::LotTable| Shared {
        constants: constants.get(&table.parts.len()),
        chart_constants: &chart_constants,
        gauge_sd,
        shown_gauge_sd,
        options,
        pooled: None,
    };
    let pooled = (options.shape == ShapeKnowledge::Alike).then(|| pooled_agreements(&tables, shared));
    let lots: Vec<LotResult> = tables
        .into_par_iter()
        .map(|table| {
            let shared = Shared { pooled: pooled.as_deref(), ..shared(&table) };
            one_lot::judge(table, &shared)
        })
        .collect::<Result<_, LotError>>()?;
    let mut warnings = Vec::new();
    let deviations = process::deviation_model(&lots, options, &mut warnings);
    let groups = process::by_size(&lots, gauge_sd, options, &mut warnings);
    // One process, where all lots are of one size.
    let one = match groups.as_slice() {
        [group] => Some(group),
        _ => None,
    };
    let (components, process) = (one.and_then(|g| g.components), one.and_then(|g| g.process));
    warnings.extend(warning::of_lots(&lots, options, gauge_sd));
    Ok(LotStudy {
        lots,
        components,
        deviations,
        process,
        groups,
        repeatability,
        gauge_sd,
        options: *options,
        set_aside: Vec::new(),
        without: None,
        warnings,
    })
}

/// ln of the agreement of all lots together with each shape, in the order of the lots, so that threads do not change the last digits.
fn pooled_agreements<'a>(
    tables: &[parts::LotTable],
    shared: impl Fn(&parts::LotTable) -> Shared<'a> + Sync,
) -> Vec<f64> {
    let each: Vec<Option<Vec<f64>>> =
        tables.par_iter().map(|table| one_lot::agreements(table, &shared(table))).collect();
    let mut sums: Vec<f64> = Vec::new();
    for agreements in each.into_iter().flatten() {
        sums.resize(agreements.len(), 0.0);
        sums.iter_mut().zip(agreements).for_each(|(sum, a)| *sum += a);
    }
    sums
}
