//! One lot against its drawing.

use super::SizeConstants;
use super::options::{ChartScatter, LotOptions, Order};
use super::parts::LotTable;
use super::result::{Deviation, Doubt, LotResult, OneSided, ToleranceIntervals};
use super::share::{Basis, Judged, ShareOutside};
use crate::LotError;
use crate::bound;
use crate::capability::NormalLot;
use crate::chart::Chart;
use crate::chart::constants::ChartConstants;
use crate::guard::GuardBand;
use crate::interval::Interval;
use crate::posterior::SpecificationLimits;
use crate::readings::Drawing;
use crate::sample::{Moments, quantile_of_sorted, sorted};
use crate::shape::{self, Resolution};
use packdrift_numerics::normal;
use packdrift_numerics::special::student_t_tails;
use packdrift_numerics::stream::Key;
use packdrift_verdict::Verdict;

/// What lots of one size of sample share.
pub(super) struct Shared<'a> {
    pub constants: Option<&'a SizeConstants>,
    pub chart_constants: &'a ChartConstants,
    pub gauge_sd: f64,
    /// As much of it as repeated readings or a study of the gauge show, mm.
    pub shown_gauge_sd: f64,
    pub options: &'a LotOptions,
    /// Agreement of all lots together with each shape, where they are taken to be alike.
    pub pooled: Option<&'a [f64]>,
}

/// ln of a lot's agreement with each shape; None without scatter.
pub(super) fn agreements(table: &LotTable, shared: &Shared<'_>) -> Option<Vec<f64>> {
    let constants = shared.constants?;
    let lot = Lot::new(table, shared);
    lot.judged(constants, shared, SpecificationLimits { lower: None, upper: None }, false, false)
        .shapes()
        .map(|s| s.agreements())
}

pub(super) fn judge(table: LotTable, shared: &Shared<'_>) -> Result<LotResult, LotError> {
    let options = shared.options;
    let drawing = table.drawing.or(options.drawing);
    drawing.check()?;
    let lot = Lot::new(&table, shared);
    let mut result = lot.described(&table, drawing, shared)?;
    let Some(constants) = shared.constants else {
        result.parts = table.parts;
        return Ok(result);
    };
    let sd = lot.moments.sd();
    let key = |purpose: &str| lot.key(options, purpose);
    result.outliers = constants.deviates.find(&lot.values, lot.resolution.step().unwrap_or(0.0));
    let weights = constants.weights.as_ref();
    result.shape =
        shape::assess(&lot.sorted, lot.moments.mean, sd, lot.resolution, weights, options.shape_level, || key("shape"));
    result.tolerance = Some(tolerance_intervals(&lot.sorted, lot.moments.mean, sd, constants, options));
    if table.ordered && lot.values.len() >= 3 {
        result.chart = chart(&lot.values, shared.chart_constants, options).map(|mut chart| {
            chart.chance = constants.steady.as_ref().map_or(1.0, |s| s.chance(&chart));
            chart
        });
    }
    result.neighbours_alike =
        !table.ordered && options.order == Order::Unknown && neighbours_alike(&lot.values, constants);
    if let Some(limits) = SpecificationLimits::of(drawing) {
        let in_order = table.ordered || result.neighbours_alike;
        let in_doubt = result.shape.contradicts_normal();
        // Readings that are all off by some amount are those of sound readings against limits moved by as much.
        let found = |lot: &Lot, gauge_sd: f64| {
            let judge = |limits| lot.judged(constants, shared, limits, in_doubt, in_order).share(options);
            let (own, capability) = judge(limits);
            let off = options.instrument.common_error(gauge_sd, options.confidence);
            let moved = [off, -off].into_iter().filter(|_| off > 0.0);
            (own, moved.fold(own, |share, by| share.or(judge(limits.shifted(by)).0)), capability)
        };
        let (own, share, capability) = found(&lot, shared.gauge_sd);
        let keeps = |share: &ShareOutside| share.upper_bound <= options.max_out;
        // What a stated repeatability alone makes acceptable.
        let only_stated = || {
            let shown = Shared { gauge_sd: shared.shown_gauge_sd, ..*shared };
            shared.gauge_sd > shown.gauge_sd && !keeps(&found(&Lot::new(&table, &shown), shown.gauge_sd).1)
        };
        let mut verdict = share.judge(options.max_out);
        verdict = result.not_steady().into_iter().fold(verdict, Verdict::and);
        let of_the_bound = || {
            if keeps(&own) && !keeps(&share) {
                Some(Doubt::AllOff)
            } else if keeps(&share) && share.counted_lower_bound > options.max_out {
                Some(Doubt::CountedMore)
            } else if keeps(&share) && only_stated() {
                Some(Doubt::RepeatabilityNotShown)
            } else {
                let assumed = matches!(own.basis, Basis::Sorted { assumed: true, .. })
                    || matches!(share.basis, Basis::Sorted { assumed: true, .. });
                (assumed && keeps(&share)).then_some(Doubt::SortingNotKnown)
            }
        };
        result.doubt = lot.doubt(limits, options).or_else(of_the_bound);
        verdict = result.doubt.iter().fold(verdict, |verdict, doubt| verdict.and(doubt.verdict()));
        result.verdict = Some(verdict);
        (result.share_outside, result.capability) = (Some(share), capability);
    }
    result.parts = table.parts;
    Ok(result)
}

/// A lot's readings, looked at.
struct Lot {
    name: String,
    values: Vec<f64>,
    sorted: Vec<f64>,
    moments: Moments,
    /// The gauge's share of the readings' sd, mm.
    gauge_sd: f64,
    resolution: Resolution,
    /// See [`reading_error`].
    reading_error: f64,
}

/// What single readings err by at least, mm: the sd of their step's rounding, of the step that their digits leave open where none was found; and their
/// repeatability.
pub(super) fn reading_error(values: &[f64], resolution: Resolution, repeatability: f64) -> f64 {
    let step = resolution.step().or_else(|| Resolution::written_step(values)).unwrap_or(0.0);
    (step / 12.0_f64.sqrt()).max(repeatability)
}

impl Lot {
    fn new(table: &LotTable, shared: &Shared<'_>) -> Self {
        let values: Vec<f64> = table.parts.iter().map(|p| p.value).collect();
        let n = values.len();
        // The mean of m readings carries 1/m of the gauge's variance; averaged over parts.
        let averaged = (table.parts.iter().map(|p| 1.0 / f64::from(p.readings)).sum::<f64>() / n as f64).sqrt();
        let resolution = match shared.options.instrument.step {
            _ if table.readings > n => Resolution::Continuous,
            // A finer step than the one that all readings are multiples of is a claim that they contradict.
            Some(step) => match Resolution::find(&values) {
                found @ Resolution::Found { step: coarser } if coarser > 1.001 * step => found,
                _ => Resolution::Given { step },
            },
            None => Resolution::find(&values),
        };
        Self {
            name: table.name.clone(),
            sorted: sorted(&values),
            moments: Moments::of(&values),
            gauge_sd: shared.gauge_sd * averaged,
            reading_error: reading_error(&values, resolution, shared.gauge_sd),
            resolution,
            values,
        }
    }

    fn key(&self, options: &LotOptions, purpose: &str) -> Key {
        Key::new(options.seed, &format!("lot/{}/{purpose}", self.name))
    }

    fn judged<'a>(
        &'a self,
        constants: &'a SizeConstants,
        shared: &'a Shared<'_>,
        limits: SpecificationLimits,
        in_doubt: bool,
        in_order: bool,
    ) -> Judged<'a> {
        Judged {
            values: &self.values,
            sorted: &self.sorted,
            moments: self.moments,
            gauge_sd: self.gauge_sd,
            step: self.resolution.step(),
            reading_error: self.reading_error,
            limits,
            in_doubt,
            in_order,
            constants,
            pooled: shared.pooled,
            key: self.key(shared.options, "curve"),
        }
    }

    /// Why the readings show nothing whatever the bound says; None where they may.
    fn doubt(&self, limits: SpecificationLimits, options: &LotOptions) -> Option<Doubt> {
        let (mean, sd) = (self.moments.mean, self.moments.sd());
        // A step that is not known may be as coarse as the digits leave open.
        let step = self.resolution.step().or_else(|| Resolution::written_step(&self.values)).unwrap_or(0.0);
        if sd <= 1e-12 * mean.abs() {
            let u = options.instrument.uncertainty.unwrap_or(0.0);
            let reach = 0.5 * step + normal::quantile(options.conformance_probability) * u;
            let open = limits.is_outside(mean - reach) || limits.is_outside(mean + reach);
            return open.then_some(Doubt::Alike { step });
        }
        if let Some((upper, sds)) = limits.never_binds(mean, sd) {
            return Some(Doubt::NeverBinds { upper, sds });
        }
        (self.gauge_sd.powi(2) > 0.5 * sd * sd).then_some(Doubt::GaugeTooCoarse)
    }

    /// What needs neither limits nor a test.
    fn described(&self, table: &LotTable, drawing: Drawing, shared: &Shared<'_>) -> Result<LotResult, LotError> {
        let options = shared.options;
        let n = self.values.len();
        let guard = match (options.instrument.uncertainty, drawing.has_limits()) {
            (Some(u), true) => Some(GuardBand::new(drawing.lower, drawing.upper, u, options.conformance_probability)?),
            _ => None,
        };
        let few = || Verdict::not_shown("fewer than two parts").settled_by("Measure more parts of it.");
        let level = options.shape_level;
        let mut result = LotResult {
            name: table.name.clone(),
            drawing,
            readings: table.readings,
            n,
            mean: self.moments.mean,
            sd: (n >= 2).then(|| self.moments.sd()),
            mean_interval: None,
            sd_interval: None,
            gauge_sd: self.gauge_sd,
            shown_gauge_sd: if shared.gauge_sd > 0.0 {
                self.gauge_sd * shared.shown_gauge_sd / shared.gauge_sd
            } else {
                0.0
            },
            parts_sd: None,
            minimum: self.sorted[0],
            median: quantile_of_sorted(&self.sorted, 0.5),
            maximum: self.sorted[n - 1],
            deviation: None,
            shape: shape::assess(&self.sorted, self.moments.mean, 0.0, self.resolution, None, level, || {
                Key::new(0, "")
            }),
            outliers: crate::outliers::Outliers { named: Vec::new(), grubbs_p: None },
            capability: None,
            share_outside: None,
            tolerance: None,
            chart: None,
            guard,
            proofs: guard.map(|g| g.count(self.values.iter().copied())),
            doubt: None,
            common_error: options.instrument.common_error(shared.gauge_sd, options.confidence),
            agreements_of_all: shared.pooled.map(<[f64]>::to_vec),
            verdict: drawing.has_limits().then(few),
            ordered: table.ordered,
            neighbours_alike: false,
            parts: Vec::new(),
        };
        if let Some(constants) = shared.constants {
            let sd = self.moments.sd();
            let half = constants.t * sd / (n as f64).sqrt();
            let lot = NormalLot { grid: &constants.grid, n, mean: self.moments.mean, sd, gauge_sd: self.gauge_sd };
            result.mean_interval = Some(Interval::new(self.moments.mean - half, self.moments.mean + half));
            result.sd_interval = Some(lot.sd_interval(options.confidence));
            result.parts_sd = Some(lot.parts_sd());
            result.deviation = drawing.nominal.map(|nominal| deviation(self.moments, nominal, half));
        }
        Ok(result)
    }
}

/// Mean less nominal; `half` is half the width of the mean's interval.
fn deviation(moments: Moments, nominal: f64, half: f64) -> Deviation {
    let value = moments.mean - nominal;
    let interval = Interval::new(value - half, value + half);
    let n = moments.n as f64;
    let se = moments.sd() / n.sqrt();
    let p_value =
        if se > 0.0 { 2.0 * student_t_tails(n - 1.0, (value / se).abs()).upper } else { f64::from(value == 0.0) };
    let percent = |x: f64| 100.0 * x / nominal;
    let of_nominal = || {
        if nominal > 0.0 {
            interval.map(percent)
        } else {
            Interval::new(percent(interval.upper), percent(interval.lower))
        }
    };
    Deviation {
        value,
        interval,
        percent: (nominal != 0.0).then(|| percent(value)),
        percent_interval: (nominal != 0.0).then(of_nominal),
        p_value,
    }
}

/// Whether the rows, in whatever order they stand, resemble their neighbours more than chance gives in one table of a hundred. Rows in order of size
/// were put so, and tell nothing.
fn neighbours_alike(values: &[f64], constants: &SizeConstants) -> bool {
    // exp(−z²/2) at the normal quantile of 99 %: what the likelihood of independence over the largest is then.
    const UNLIKELY: f64 = 0.0668;
    let by_size = |rising: bool| values.windows(2).all(|w| if rising { w[0] <= w[1] } else { w[0] >= w[1] });
    values.len() >= 8 && !by_size(true) && !by_size(false) && bound::independence(values, &constants.grid) < UNLIKELY
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
            .map(|(low, high)| Interval::new(at(low), at(high))),
    }
}

/// Too few readings for a chart is no error of the table: the result says that there is none.
pub(super) fn chart(values: &[f64], constants: &ChartConstants, options: &LotOptions) -> Option<Chart> {
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
