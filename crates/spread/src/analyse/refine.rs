//! The shares outside of one requirement, as well as its verdict needs them.
//!
//! 1. The exact distribution of a linear requirement replaces all figures of the common run, unless the counts of that run speak against it.
//! 2. The shares of any other requirement come from the engine for rare events, each limit by itself, unless the common run knows them well
//!    enough already.
//! 3. Where the verdict is still open, more lines, and then more trials, until it is not or nothing more is to be had.

use super::bays::{BayShares, NEGLIGIBLE, agrees};
use crate::error::SpreadError;
use crate::exact::Exact;
use crate::interval::{SURE_OF_FEW, estimate_interval, share_standard_error, sure_estimate_interval};
use crate::judgement::{judge, two_digits_up};
use crate::method::{Method, Question};
use crate::model::Model;
use crate::monte_carlo::{Bounds, MOST_TRIALS, MonteCarlo};
use crate::rare::{self, Branch, Cause, DesignPoint, Event, SampledShare};
use crate::result::{Histogram, QUANTILE_ORDERS, Quantile, Share, Spread};
use crate::warning::{Warning, relative_percent};
use packdrift_verdict::Standing;

/// What is known of a requirement after asking the sharper methods.
pub(crate) struct Refined {
    pub(crate) spread: Spread,
    pub(crate) remarks: Vec<Warning>,
    /// The nearest design points of the lower and of the upper limit, where they were found.
    pub(crate) points: [Option<DesignPoint>; 2],
    /// Relative standard error of the share outside.
    pub(crate) accuracy: f64,
}

/// Relative standard error at which the common run's share outside stands.
const KNOWN_WELL: f64 = 0.003;
/// A share below this is none, whatever is allowed: it is what the exact distribution's own error amounts to.
const SMALLEST: f64 = 1e-12;
/// Rounds of asking for more accuracy where a verdict is open.
const ROUNDS: usize = 4;
/// Trials that are made at the most where only counting settles a verdict.
const COUNTED_MOST: u64 = 8_000_000;

/// Beginning with what the common run found.
pub(crate) fn refine_shares(
    question: &Question<'_>,
    name: &str,
    allowed: f64,
    common: Spread,
    bay: &BayShares,
) -> Result<Refined, SpreadError> {
    let mut remarks = Vec::new();
    if let Some(linear) = question.model.linear(0)
        && let Ok((exact, left_out)) = Exact::of_linear(&question.inputs.population, &linear)
    {
        let counted = sampled(common.out.total, common.trials);
        let total = exact_shares(&exact, question.bounds).2;
        if agrees(total, &counted) {
            let spread = exactly(&exact, left_out, question.bounds, common);
            let accuracy = relative(&spread.out, allowed);
            return Ok(Refined { spread, remarks, points: [None, None], accuracy });
        }
        let reason = format!("counting gave {:.3e} where it gave {total:.3e}", counted.share);
        remarks.push(Warning::FellBack { requirement: name.to_owned(), method: Method::Exact, reason });
    }
    let mut refining =
        Refining { question, name, allowed, bay, spread: with_bay(common, bay), remarks, points: [None, None] };
    if question.bounds != Bounds::NONE {
        refining.until_the_verdict_is_clear()?;
    }
    let Refining { spread, remarks, points, .. } = refining;
    let accuracy = relative(&spread.out, allowed);
    Ok(Refined { spread, remarks, points, accuracy })
}

fn sampled(share: f64, trials: u64) -> SampledShare {
    let standard_error = share_standard_error((share * trials as f64).round() as u64, trials);
    SampledShare { share, standard_error, points: trials }
}

/// Relative standard error of a share outside. 0 where it is shown to be so small a part of what is allowed that none matters; infinite where
/// nothing was found outside and that is not shown: none of n says nothing of how well the share is known.
pub(super) fn relative(out: &Share, allowed: f64) -> f64 {
    if out.bounds.1 <= NEGLIGIBLE * allowed || out.bounds.1 < SMALLEST {
        0.0
    } else if out.total > 0.0 {
        out.standard_error / out.total
    } else {
        f64::INFINITY
    }
}

/// The common run's figures with the shares of the bay in the place of what it counted of them.
fn with_bay(mut spread: Spread, bay: &BayShares) -> Spread {
    let cannot = bay.cannot_assemble.share.value;
    spread.out.total = (spread.out.total + cannot - spread.cannot_assemble).clamp(0.0, 1.0);
    spread.cannot_assemble = cannot;
    spread.loose = bay.loose.share.value;
    spread
}

/// Below, above and in all.
fn exact_shares(exact: &Exact, bounds: Bounds) -> (f64, f64, f64) {
    let below = if bounds.lower.is_finite() { exact.cdf(bounds.lower) } else { 0.0 };
    let above = if bounds.upper.is_finite() { exact.sf(bounds.upper) } else { 0.0 };
    (below, above, (below + above).min(1.0))
}

/// All figures from the distribution itself. `left_out` is what the plane leaves out: below any digit that is printed.
fn exactly(exact: &Exact, left_out: f64, bounds: Bounds, common: Spread) -> Spread {
    let (below, above, total) = exact_shares(exact, bounds);
    // A probability below the error bound is not known to differ from 0.
    let error = exact.error_bound() + left_out;
    let about = ((total - error).max(0.0), (total + error).min(1.0));
    let histogram = common.histogram.map(|histogram| {
        let up_to: Vec<f64> =
            (0..=histogram.shares.len()).map(|k| exact.cdf(histogram.lower + k as f64 * histogram.width)).collect();
        Histogram {
            shares: up_to.windows(2).map(|pair| (pair[1] - pair[0]).max(0.0)).collect(),
            below: up_to.first().copied().unwrap_or(0.0),
            above: 1.0 - up_to.last().copied().unwrap_or(1.0),
            ..histogram
        }
    });
    Spread {
        trials: 0,
        mean: Some(exact.mean()),
        sd: Some(exact.sd()),
        standard_error: Some(0.0),
        quantiles: QUANTILE_ORDERS
            .iter()
            .map(|&order| Quantile { order, value: exact.quantile(order), standard_error: Some(0.0) })
            .collect(),
        method: Method::Exact,
        moments_method: Method::Exact,
        out: Share { below, above, total, standard_error: 0.0, ci95: about, bounds: about },
        cannot_assemble: 0.0,
        loose: 0.0,
        histogram,
    }
}

struct Refining<'a> {
    question: &'a Question<'a>,
    name: &'a str,
    allowed: f64,
    bay: &'a BayShares,
    spread: Spread,
    remarks: Vec<Warning>,
    points: [Option<DesignPoint>; 2],
}

impl Refining<'_> {
    fn is_open(&self) -> bool {
        matches!(judge(&self.spread.out, self.allowed).standing(), Standing::NotShown | Standing::TooCloseToTell)
    }

    fn until_the_verdict_is_clear(&mut self) -> Result<(), SpreadError> {
        let asked = self.question.options.until;
        let common = self.spread.clone();
        let known_well = match asked {
            Some(asked) => relative(&common.out, self.allowed) <= asked,
            None => self.spread.out.standard_error <= KNOWN_WELL * self.spread.out.total,
        };
        if known_well && !self.is_open() {
            return Ok(());
        }
        let mut until = asked;
        let mut reached = true;
        for _ in 0..ROUNDS {
            reached = self.by_rare_events(&common, until)?;
            if !self.is_open() || !reached || self.spread.out.total == 0.0 {
                break;
            }
            // So that the allowance lies outside the bounds, and some to spare.
            let out = &self.spread.out;
            let wanted = (out.total - self.allowed).abs() / (1.3 * SURE_OF_FEW * out.total);
            until = Some(wanted.min(0.5 * relative(out, self.allowed)).max(1.5 * rare::FLOOR));
            if relative(out, self.allowed) <= 1.6 * rare::FLOOR {
                break;
            }
        }
        if self.is_open() && (!reached || self.spread.out.total == 0.0) {
            self.count_on()?;
        }
        let accuracy = relative(&self.spread.out, self.allowed);
        if let Some(asked) = asked.filter(|asked| accuracy > *asked) {
            self.remarks.push(Warning::NotReached {
                asked: format!(
                    "{}: a relative standard error of {} of the share outside",
                    self.name,
                    relative_percent(asked)
                ),
                reached: if accuracy.is_finite() { relative_percent(accuracy) } else { NONE_OUTSIDE.to_owned() },
                cure: cure(&self.spread.out, asked),
            });
        }
        Ok(())
    }

    /// Each limit by itself, on either side of a disc's largest load where it may be passed. Whether the accuracy wanted was reached.
    fn by_rare_events(&mut self, common: &Spread, until: Option<f64>) -> Result<bool, SpreadError> {
        let Question { bounds, .. } = *self.question;
        let finite = |limit: f64| limit.is_finite().then_some(limit);
        let (lower, upper) = (finite(bounds.lower), finite(bounds.upper));
        let sides = [(Cause::Below, lower, common.out.below), (Cause::Above, upper, common.out.above)];
        self.remarks.retain(|said| !matches!(said, Warning::FellBack { method: Method::LineSampling, .. }));
        let mut all = Shares::of_bay(self.bay);
        for (side, (cause, _, counted)) in sides.into_iter().enumerate().filter(|(_, (_, limit, _))| limit.is_some()) {
            let (parts, found) =
                self.limit(Event::of_limits(cause, lower, upper), sampled(counted, common.trials), until)?;
            let share: f64 = parts.iter().map(|part| part.share.value).sum();
            if side == 0 {
                self.spread.out.below = share;
            } else {
                self.spread.out.above = share;
            }
            self.points[side] = found;
            parts.iter().for_each(|part| all.add(part));
        }
        self.spread.out = Share { below: self.spread.out.below, above: self.spread.out.above, ..all.share() };
        if let Some(method) = all.method {
            self.spread.method = method;
        }
        self.spread.trials = common.trials + all.evaluations;
        Ok(all.reached)
    }

    /// One limit: its parts, and its nearest design point.
    fn limit(
        &mut self,
        event: Event,
        counted: SampledShare,
        until: Option<f64>,
    ) -> Result<(Vec<rare::Rare>, Option<DesignPoint>), SpreadError> {
        let past_peak = self.bay.past_peak.filter(|past| past.at_most() > NEGLIGIBLE * self.allowed);
        let branches: &[(Branch, Option<SampledShare>)] = if past_peak.is_some() {
            &[(Branch::BeforePeak, None), (Branch::PastPeak, None)]
        } else {
            &[(Branch::Any, Some(counted))]
        };
        // For the comparison of a limit with a squeeze: a standard deviation of the one is worth about one of the other.
        let per_mm = self.spread.sd.filter(|sd| *sd > 0.0).map_or(1.0, |sd| sd / 0.03);
        let mut parts = Vec::new();
        for (branch, sampled) in branches {
            let found = self.ask(Event { branch: *branch, per_mm, ..event }, *sampled, until)?;
            parts.push(found);
        }
        let nearest = parts
            .iter()
            .filter(|part| part.share.value > 0.0)
            .filter_map(|part| part.design_points.first())
            .min_by(|a, b| a.beta.total_cmp(&b.beta))
            .cloned();
        if past_peak.is_none()
            && let (Some(past), Some(first)) = (self.bay.past_peak, parts.first_mut())
        {
            // Not looked at apart, since it is so rare: all of it may be outside.
            first.bound += past.at_most();
        }
        Ok((parts, nearest))
    }

    fn ask(
        &mut self,
        event: Event,
        sampled: Option<SampledShare>,
        until: Option<f64>,
    ) -> Result<rare::Rare, SpreadError> {
        let Question { model, inputs, options, progress, .. } = *self.question;
        let side = if event.cause == Cause::Below { "below" } else { "above" };
        let branch = match event.branch {
            Branch::Any => "",
            Branch::BeforePeak => "/before",
            Branch::PastPeak => "/past",
        };
        let found = rare::share(
            model,
            &inputs.population,
            &rare::Question {
                event,
                until,
                floor: NEGLIGIBLE * self.allowed,
                seed: options.seed,
                purpose: &format!("{}/{side}{branch}", self.name),
                sampled,
                starts: &[],
            },
            progress,
        )?;
        if let Some(reason) = found.fell_back {
            let reason = format!("share {side}: {reason}; {} is used", found.method);
            let requirement = self.name.to_owned();
            self.remarks.push(Warning::FellBack { requirement, method: Method::LineSampling, reason });
        }
        Ok(found)
    }

    /// Counts, where nothing else settles the verdict and counting may.
    fn count_on(&mut self) -> Result<(), SpreadError> {
        let Question { model, inputs, bounds, options, progress, .. } = *self.question;
        let out = self.spread.out;
        let gap = (out.total - self.allowed).abs();
        let needed =
            if out.total > 0.0 { 13.0 * self.allowed.max(out.total) / (gap * gap) } else { 10.0 / self.allowed };
        if needed > COUNTED_MOST as f64 {
            return Ok(());
        }
        let run = MonteCarlo::new(model, &inputs.population, &[bounds], options.seed)?;
        let mut trials = (needed.ceil() as u64).clamp(100_000, COUNTED_MOST);
        loop {
            let counted = run.run(trials, progress)?.spread(0);
            let clear =
                !matches!(judge(&counted.out, self.allowed).standing(), Standing::NotShown | Standing::TooCloseToTell);
            if clear {
                self.spread.out = counted.out;
                self.spread.cannot_assemble = counted.cannot_assemble;
                self.spread.method = Method::MonteCarlo;
                self.spread.trials += trials;
                return Ok(());
            }
            if trials >= COUNTED_MOST {
                return Ok(());
            }
            trials = (2 * trials).min(COUNTED_MOST);
        }
    }
}

/// What is said of an accuracy of which nothing is known.
pub(super) const NONE_OUTSIDE: &str = "none (no pack was found outside)";

/// What would reach an accuracy that was asked for: so many trials, if so many can be made.
pub(super) fn cure(out: &Share, asked: f64) -> String {
    // (1 − p)/(p·n) = asked²; of a share of which nothing was found, what it is not above is the most it can be.
    let share = if out.total > 0.0 { out.total } else { out.bounds.1 };
    let trials = (1.0 - share) / (share * asked * asked);
    if out.total > 0.0 && trials <= MOST_TRIALS as f64 {
        return format!(
            "count instead (--method monte-carlo --trials {:.0}), or accept this accuracy",
            two_digits_up(trials)
        );
    }
    "no number of trials that can be made is known to reach it: accept less accuracy, and go by the bound of the share"
        .to_owned()
}

/// The shares that make up the share outside.
struct Shares {
    total: f64,
    variance: f64,
    /// What may be there although it was seen nowhere.
    unseen: f64,
    evaluations: u64,
    reached: bool,
    /// Of the largest.
    method: Option<Method>,
    largest: f64,
}

impl Shares {
    fn of_bay(bay: &BayShares) -> Self {
        let cannot = bay.cannot_assemble;
        Self {
            total: cannot.share.value,
            variance: cannot.share.standard_error.powi(2),
            unseen: cannot.unseen,
            evaluations: 0,
            reached: true,
            method: None,
            largest: -1.0,
        }
    }

    fn add(&mut self, part: &rare::Rare) {
        self.total += part.share.value;
        self.variance += part.share.standard_error.powi(2);
        self.unseen += part.bound;
        self.evaluations += part.evaluations;
        self.reached &= part.reached;
        // The method of the larger share is the one that the total rests on.
        if part.share.value > self.largest {
            (self.largest, self.method) = (part.share.value, Some(part.method));
        }
    }

    fn share(&self) -> Share {
        let total = self.total.min(1.0);
        let standard_error = self.variance.sqrt();
        let widen = |(low, high): (f64, f64)| (low, (high + self.unseen).min(1.0));
        Share {
            below: 0.0,
            above: 0.0,
            total,
            standard_error,
            ci95: widen(estimate_interval(total, standard_error)),
            bounds: widen(sure_estimate_interval(total, standard_error)),
        }
    }
}
