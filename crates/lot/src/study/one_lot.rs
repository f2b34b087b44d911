//! One lot against its drawing.

use super::SizeConstants;
use super::options::{ChartScatter, LotOptions};
use super::parts::LotTable;
use super::result::{Deviation, LotResult, OneSided, ToleranceIntervals, Verdict};
use crate::LotError;
use crate::capability::{self, Form, NormalLot, ShareOutside};
use crate::chart::Chart;
use crate::chart::constants::ChartConstants;
use crate::guard::GuardBand;
use crate::interval::Interval;
use crate::posterior::SpecificationLimits;
use crate::sample::{Moments, quantile_of_sorted, sorted};
use crate::shape::{self, Resolution};
use packdrift_numerics::special::student_t_tails;
use packdrift_numerics::stream::Key;

pub(super) fn judge(
    table: LotTable,
    constants: Option<&SizeConstants>,
    chart_constants: &ChartConstants,
    gauge_sd: f64,
    options: &LotOptions,
) -> Result<LotResult, LotError> {
    let values: Vec<f64> = table.parts.iter().map(|p| p.value).collect();
    let n = values.len();
    let drawing = table.drawing.or(options.drawing);
    drawing.check()?;
    let sorted = sorted(&values);
    let moments = Moments::of(&values);
    // The mean of m readings carries 1/m of the gauge's variance; averaged over parts.
    let gauge_sd = gauge_sd * (table.parts.iter().map(|p| 1.0 / f64::from(p.readings)).sum::<f64>() / n as f64).sqrt();
    let guard = match (options.instrument.uncertainty, drawing.has_limits()) {
        (Some(u), true) => Some(GuardBand::new(drawing.lower, drawing.upper, u, options.conformance_probability)?),
        _ => None,
    };
    let repeated = table.readings > n;
    let resolution = match options.instrument.step {
        _ if repeated => Resolution::Continuous,
        Some(step) => Resolution::Given { step },
        None => Resolution::find(&values),
    };
    let mut result = LotResult {
        name: table.name,
        drawing,
        readings: table.readings,
        n,
        mean: moments.mean,
        sd: (n >= 2).then(|| moments.sd()),
        mean_interval: None,
        sd_interval: None,
        gauge_sd,
        parts_sd: None,
        minimum: sorted[0],
        median: quantile_of_sorted(&sorted, 0.5),
        maximum: sorted[n - 1],
        deviation: None,
        shape: shape::assess(&sorted, moments.mean, 0.0, resolution, None, options.shape_level, || Key::new(0, "")),
        outliers: crate::outliers::Outliers { named: Vec::new(), grubbs_p: None },
        capability: None,
        share_outside: None,
        tolerance: None,
        chart: None,
        guard,
        proofs: guard.map(|g| g.count(values.iter().copied())),
        verdict: if drawing.has_limits() { Verdict::TooFew } else { Verdict::NoLimits },
        ordered: table.ordered,
        parts: table.parts,
    };
    let Some(constants) = constants else {
        return Ok(result);
    };
    let sd = moments.sd();
    let se = sd / (n as f64).sqrt();
    let half = constants.t * se;
    let lot = NormalLot { grid: &constants.grid, n, mean: moments.mean, sd, gauge_sd };
    result.mean_interval = Some(Interval::new(moments.mean - half, moments.mean + half));
    result.sd_interval = Some(lot.sd_interval(options.confidence));
    result.parts_sd = Some(lot.parts_sd());
    result.deviation = drawing.nominal.map(|nominal| {
        let value = moments.mean - nominal;
        let interval = Interval::new(value - half, value + half);
        let p_value = if sd > 0.0 {
            2.0 * student_t_tails((n - 1) as f64, (value / se).abs()).upper
        } else {
            f64::from(value == 0.0)
        };
        let percent = |x: f64| 100.0 * x / nominal;
        let in_percent = (nominal != 0.0).then(|| {
            (
                percent(value),
                if nominal > 0.0 {
                    interval.map(percent)
                } else {
                    Interval::new(percent(interval.upper), percent(interval.lower))
                },
            )
        });
        Deviation {
            value,
            interval,
            percent: in_percent.map(|p| p.0),
            percent_interval: in_percent.map(|p| p.1),
            p_value,
        }
    });
    result.outliers = constants.deviates.find(&values);
    let key = |purpose: &str| Key::new(options.seed, &format!("lot/{}/{purpose}", result.name));
    result.shape =
        shape::assess(&sorted, moments.mean, sd, resolution, constants.weights.as_ref(), options.shape_level, || {
            key("shape")
        });
    result.tolerance = Some(tolerance_intervals(&sorted, moments.mean, sd, constants, options));
    if table.ordered && n >= 3 {
        result.chart = chart(&values, chart_constants, options);
    }
    if !drawing.has_limits() {
        return Ok(result);
    }
    let limits = SpecificationLimits { lower: drawing.lower, upper: drawing.upper };
    let counted = values
        .iter()
        .filter(|&&x| drawing.lower.is_some_and(|l| x < l) || drawing.upper.is_some_and(|u| x > u))
        .count();
    let counted_upper_bound = capability::count_upper_bound(counted, n, options.confidence);
    // Parts without scatter, or none beyond the gauge's own: only the count speaks.
    if lot.parts_sd() <= 1e-9 * moments.mean.abs().max(f64::MIN_POSITIVE) {
        let outside = counted as f64 / n as f64;
        let below = values.iter().filter(|&&x| drawing.lower.is_some_and(|l| x < l)).count() as f64 / n as f64;
        let share = ShareOutside {
            form: Form::Normal,
            below,
            above: outside - below,
            upper_bound: counted_upper_bound,
            lower_bound: capability::count_lower_bound(counted, n, options.confidence),
            counted,
            counted_upper_bound,
        };
        result.verdict = verdict(&share, options.max_out);
        result.share_outside = Some(share);
        return Ok(result);
    }
    let percentile = if result.shape.contradicts_normal() {
        capability::percentile_capability(&sorted, resolution.step(), limits, options.confidence, key("curve"))
    } else {
        None
    };
    let (found, upper_bound, lower_bound) =
        percentile.unwrap_or_else(|| capability::normal_capability(&lot, limits, options.confidence));
    let (below, above) = match &found.form {
        Form::Normal => capability::normal_shares(limits, moments.mean, lot.parts_sd()),
        Form::Percentile(curve) => (curve.share_outside(limits.lower, None), curve.share_outside(None, limits.upper)),
    };
    let share = ShareOutside { form: found.form, below, above, upper_bound, lower_bound, counted, counted_upper_bound };
    result.verdict = verdict(&share, options.max_out);
    result.share_outside = Some(share);
    result.capability = Some(found);
    Ok(result)
}

fn verdict(share: &ShareOutside, max_out: f64) -> Verdict {
    if share.upper_bound <= max_out {
        Verdict::Acceptable
    } else if share.lower_bound > max_out {
        Verdict::NotAcceptable
    } else {
        Verdict::NotShown
    }
}

fn tolerance_intervals(
    sorted: &[f64],
    mean: f64,
    sd: f64,
    constants: &SizeConstants,
    options: &LotOptions,
) -> ToleranceIntervals {
    let n = sorted.len();
    let at = |rank: usize| sorted[rank - 1];
    let one = OneSided { from: mean - constants.one_sided_k * sd, to: mean + constants.one_sided_k * sd };
    ToleranceIntervals {
        content: options.content(),
        confidence: options.confidence,
        one_sided_factor: constants.one_sided_k,
        one_sided: one,
        two_sided_factor: constants.two_sided_k,
        two_sided: Interval::new(mean - constants.two_sided_k * sd, mean + constants.two_sided_k * sd),
        free_one_sided: constants
            .order_one_sided
            .and_then(|o| o.lower_rank)
            .map(|r| OneSided { from: at(r), to: at(n + 1 - r) }),
        free_two_sided: constants
            .order_two_sided
            .and_then(|o| o.lower_rank.zip(o.upper_rank))
            .map(|(l, u)| Interval::new(at(l), at(u))),
    }
}

fn chart(values: &[f64], constants: &ChartConstants, options: &LotOptions) -> Option<Chart> {
    // Too few readings for a chart is no error of the table: the result says that there is none.
    match options.subgroup {
        None => Chart::individuals(values, constants).ok(),
        Some(size) => {
            let by_sd = match options.chart_scatter {
                ChartScatter::Range => false,
                ChartScatter::Sd => true,
                ChartScatter::BySize => size > 10,
            };
            if by_sd {
                Chart::means_and_sds(values, constants).ok()
            } else {
                Chart::means_and_ranges(values, constants).ok()
            }
        }
    }
}
