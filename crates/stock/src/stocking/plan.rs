//! The whole stocking question: which sizes, how many of each, and what else would help.

use super::assortment::{Assortment, Coverage};
use super::bay::StockingBay;
use super::catalogue::Size;
use super::demand::{Corrections, Demand, Job};
use super::policy::{PoissonDemand, reorder_point};
use super::replenishment::{Levels, Replenishment, Service, SimulationOptions};
use super::sorting::{Sorting, SortingOptions, worth_of_sorting};
use crate::bench::Bench;
use crate::drawer::{PacketScatter, Piece};
use crate::error::{StockError, within};
use crate::load::sums_not_settled;
use packdrift_numerics::special::beta_quantile;
use packdrift_pack::QuantityKind;
use packdrift_spread::{Progress, Silent, Stack};
use packdrift_verdict::{Evidence, Standing, Verdict};

/// What to plan.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanOptions {
    /// Sizes to hold; None: as few as do 99 % of what the whole catalogue does.
    pub sizes: Option<usize>,
    /// Longest assortment of the coverage curve. Default 8.
    pub most_sizes: usize,
    /// Jobs drawn from the demand, at least: more where these leave the answer open. Default 10 000.
    pub jobs: usize,
    /// Wanted share of jobs served at once. Default 0.95.
    pub service: f64,
    /// The simulation of quantities.
    pub simulation: SimulationOptions,
    /// The comparison of measuring with a tighter grade.
    pub sorting: SortingOptions,
    /// Orders cost something each: reorder points and quantities are worked out too.
    pub ordering: Option<Ordering>,
}

impl Default for PlanOptions {
    fn default() -> Self {
        Self {
            sizes: None,
            most_sizes: 8,
            jobs: 10_000,
            service: 0.95,
            simulation: SimulationOptions::default(),
            sorting: SortingOptions::default(),
            ordering: None,
        }
    }
}

/// What ordering, holding and being short cost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ordering {
    /// An order, whatever its size.
    pub order: f64,
    /// To hold a piece for a year, as a share of its cost.
    pub holding_share: f64,
    /// A piece short for a day.
    pub short_per_day: f64,
}

impl Ordering {
    fn check(&self) -> Result<(), StockError> {
        within("cost of an order", self.order, "", f64::MIN_POSITIVE..=1e9, "above 0 and at most 1e9")?;
        within(
            "cost of holding a piece for a year",
            self.holding_share,
            "of its price",
            1e-6..=100.0,
            "between 0.000001 and 100",
        )?;
        within(
            "cost of a piece short for a day",
            self.short_per_day,
            "",
            f64::MIN_POSITIVE..=1e9,
            "above 0 and at most 1e9",
        )?;
        Ok(())
    }
}

/// A size of the chosen assortment.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// Index into the catalogue.
    pub size: usize,
    /// Mean number taken during its lead time.
    pub lead_time_demand: f64,
    /// Level judged together with the others; None where no levels reach the wanted service.
    pub together: Option<u32>,
    /// Level on its own, by the Poisson fill rate.
    pub on_its_own: u32,
    /// Reorder point, order quantity and cost per day, on its own.
    pub reorder: Option<(i64, u32, f64)>,
}

/// The plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The catalogue.
    pub catalogue: Vec<Size>,
    /// Jobs a day.
    pub rate_per_day: f64,
    /// Jobs drawn: the sizes are chosen by them.
    pub jobs: usize,
    /// Further jobs, by which the sizes chosen are judged: `chosen.coverage` is of these.
    pub fresh_jobs: usize,
    /// Share of the jobs that need nothing from the drawer.
    pub without: f64,
    /// Share that the whole catalogue does.
    pub all_sizes: f64,
    /// The best assortments of 1, 2, … sizes.
    pub curve: Vec<Assortment>,
    /// The one chosen.
    pub chosen: Assortment,
    /// Its sizes.
    pub held: Vec<Held>,
    /// The cheapest levels for the wanted service; None where none reach it.
    pub levels: Option<Levels>,
    /// Levels size by size, and how they serve together.
    pub on_their_own: Levels,
    /// Cost against service.
    pub service_curve: Vec<Levels>,
    /// What measuring and a tighter grade are worth.
    pub sorting: Sorting,
    /// Wanted share of jobs served at once.
    pub service: f64,
    /// Whether the assortment does the wanted share of all jobs, and the levels serve it.
    pub verdict: Verdict,
}

/// The share of what all sizes do that a chosen assortment must do.
const NEARLY_ALL: f64 = 0.99;

/// Works the plan out.
///
/// # Errors
///
/// [`StockError`]: a bay, a demand, a catalogue or options that cannot be.
pub fn plan(bay: &StockingBay, demand: &Demand, catalogue: &[Size], options: &PlanOptions) -> Result<Plan, StockError> {
    plan_watched(bay, demand, catalogue, options, &Silent)
}

/// As [`plan`], telling `progress` how far it is: so many of a hundred parts, by the time that the steps usually take. It is not asked whether to stop.
///
/// # Errors
///
/// As [`plan`].
pub fn plan_watched(
    bay: &StockingBay,
    demand: &Demand,
    catalogue: &[Size],
    options: &PlanOptions,
    progress: &dyn Progress,
) -> Result<Plan, StockError> {
    let told = |parts: u64| progress.advance(parts, 100);
    told(0);
    if !(100..=1_000_000).contains(&options.jobs) {
        return Err(StockError::Count { what: "jobs to draw", count: options.jobs, expected: "100 to 1000000" });
    }
    within("wanted service", options.service, "", 0.01..=0.9999, "between 0.01 and 0.9999")?;
    if let Some(ordering) = &options.ordering {
        ordering.check()?;
    }
    let Choice { jobs, coverage, curve, all_sizes, chosen, fresh } = choice(bay, demand, catalogue, options)?;
    told(30);
    let sizes: Vec<Size> = chosen.sizes.iter().map(|&k| catalogue[k].clone()).collect();
    let drawer = Replenishment::new(bay, &sizes, demand, options.simulation.clone())?;
    let service_curve = drawer.curve(options.service)?;
    told(50);
    let levels = drawer.levels_for(options.service)?.map(|levels| drawer.shown_by_fresh_draws(levels, options.service));
    let on_their_own = drawer.each_on_its_own(options.service)?;
    let mut held = Vec::with_capacity(sizes.len());
    for (k, (&size, mean)) in chosen.sizes.iter().zip(drawer.lead_time_demand()).enumerate() {
        let reorder = match options.ordering {
            Some(costs) if mean > 0.0 && sizes[k].lead_days > 0.0 && sizes[k].cost > 0.0 => {
                let holding = sizes[k].cost * costs.holding_share / 365.25;
                let rate = mean / sizes[k].lead_days;
                Some(reorder_point(&PoissonDemand::new(mean)?, rate, holding, costs.short_per_day, costs.order))
            }
            _ => None,
        };
        let together = levels.as_ref().map(|levels| levels.counts[k]);
        held.push(Held { size, lead_time_demand: mean, together, on_its_own: on_their_own.counts[k], reorder });
    }
    told(65);
    let sorting = worth_of_sorting(bay, &sizes, &jobs, &options.sorting)?;
    told(100);
    let verdict = fresh.verdict.and(served(levels.as_ref(), options.service));
    let doubts = bay.unsettled.iter().map(sums_not_settled).chain(bay.never_binds.iter().cloned());
    let verdict = doubts.fold(verdict, Verdict::and);
    Ok(Plan {
        verdict,
        catalogue: catalogue.to_vec(),
        rate_per_day: demand.rate_per_day(),
        jobs: jobs.len(),
        fresh_jobs: fresh.jobs,
        without: coverage.share_without(),
        all_sizes,
        curve,
        chosen,
        held,
        levels,
        on_their_own,
        service_curve,
        sorting,
        service: options.service,
    })
}

/// The sizes to hold, and what chose them.
struct Choice {
    jobs: Vec<Job>,
    coverage: Coverage,
    curve: Vec<Assortment>,
    all_sizes: f64,
    chosen: Assortment,
    fresh: Fresh,
}

/// The best sizes by so many jobs as were asked for; by twice as many, and so on up to [`CHOOSING`], until fresh jobs show that they do as wanted. Few
/// jobs choose now these sizes, now those: what they cannot do is not shown before as many jobs as usual have chosen.
fn choice(bay: &StockingBay, demand: &Demand, catalogue: &[Size], options: &PlanOptions) -> Result<Choice, StockError> {
    let mut drawn = options.jobs;
    loop {
        let jobs = demand.jobs(drawn, options.simulation.seed)?;
        let coverage = Coverage::new(bay, catalogue, &jobs)?;
        let all: Vec<usize> = (0..catalogue.len()).collect();
        let all_sizes = coverage.share(&all);
        let most = options.sizes.unwrap_or(0).max(options.most_sizes).clamp(1, catalogue.len());
        let curve = coverage.curve(most)?;
        let mut chosen = match options.sizes {
            Some(n) => coverage.best(n)?,
            None => {
                let enough = curve.iter().find(|a| a.coverage >= NEARLY_ALL * all_sizes);
                enough.or(curve.last()).cloned().ok_or(StockError::EmptyCatalogue)?
            }
        };
        let sizes: Vec<Size> = chosen.sizes.iter().map(|&k| catalogue[k].clone()).collect();
        let fresh = Fresh::of(bay, &sizes, demand, drawn, options)?;
        if fresh.verdict.is_shown() || drawn >= CHOOSING {
            (chosen.coverage, chosen.standard_error) = (fresh.share, fresh.standard_error);
            chosen.bound = chosen.bound.max(fresh.share);
            return Ok(Choice { jobs, coverage, curve, all_sizes, chosen, fresh });
        }
        drawn = (2 * drawn).min(CHOOSING);
    }
}

/// Jobs that sizes are chosen by before they are said not to do, where fewer were asked for.
const CHOOSING: usize = 10_000;

/// What jobs that had no part in choosing the sizes say of them.
struct Fresh {
    jobs: usize,
    share: f64,
    standard_error: f64,
    verdict: Verdict,
}

/// Jobs by which sizes are judged at the most; a share within three of its standard errors is too close to tell.
const MOST_FRESH: usize = 160_000;
/// Chance of a normal deviate beyond three standard deviations, on one side.
const BEYOND_THREE: f64 = 0.001_349_898_031_630_094_5;

impl Fresh {
    /// Jobs are drawn until the share that the sizes do is told from what is wanted at three standard errors (Clopper and Pearson, Biometrika 26, 1934).
    fn of(
        bay: &StockingBay,
        sizes: &[Size],
        demand: &Demand,
        at_least: usize,
        options: &PlanOptions,
    ) -> Result<Self, StockError> {
        let mut jobs = at_least;
        loop {
            let drawn = demand.fresh_jobs(jobs, options.simulation.seed)?;
            let (done, of) = Coverage::new(bay, sizes, &drawn)?.done();
            let (n, short) = (of as f64, (of - done) as f64);
            let low = if short > 0.0 { beta_quantile(short, n - short + 1.0, BEYOND_THREE).0 } else { 0.0 };
            let high = if short < n { beta_quantile(short + 1.0, n - short, 1.0 - BEYOND_THREE).0 } else { 1.0 };
            let what = "share of jobs that these sizes cannot do";
            let evidence = Evidence::at_most(what, 1.0 - options.service).estimate(short / n).bounds(low, high);
            let verdict = evidence.judge();
            let open = verdict.standing() == Standing::NotShown;
            if open && jobs < MOST_FRESH {
                jobs = (2 * jobs).min(MOST_FRESH);
                continue;
            }
            let verdict = if open {
                let reason =
                    format!("{what}: {jobs} jobs do not tell it from the {:.3} allowed", 1.0 - options.service);
                Verdict::too_close(reason)
                    .settled_by("Hold a size more (--sizes), or ask for a little less (--service).")
            } else {
                verdict
            };
            // Where all or none are done the formula's error is 0, which would claim certainty: half a job is taken off the end.
            let p = (short / n).clamp(0.5 / (n + 1.0), 1.0 - 0.5 / (n + 1.0));
            return Ok(Self { jobs, share: 1.0 - short / n, standard_error: (p * (1.0 - p) / n).sqrt(), verdict });
        }
    }
}

/// The share served held against what is wanted, with its standard error.
fn served(levels: Option<&Levels>, wanted: f64) -> Verdict {
    let Some(levels) = levels else {
        return Verdict::adverse("no quantities that were tried serve the wanted share of jobs");
    };
    let Service { share, standard_error, .. } = levels.service;
    let evidence = Evidence::at_most("share of jobs whose pieces are not there", 1.0 - wanted);
    evidence.estimate(1.0 - share).bounds(1.0 - share, 1.0 - share).simulation_error(standard_error).judge()
}

/// The catalogue that a drawer's file names: its rows that are sizes (not measured pieces), each with its packet's scatter. `lead_days`: of
/// sizes whose row says none.
///
/// # Errors
///
/// [`StockError::EmptyCatalogue`] where no row names a size; [`StockError::NoLeadTime`] where nobody says how long one takes; a row that cannot be.
pub fn catalogue_of(
    drawer: &[Piece],
    stack: &Stack,
    scatter: PacketScatter,
    lead_days: Option<f64>,
) -> Result<Vec<Size>, StockError> {
    let silent: Vec<&str> = drawer
        .iter()
        .filter(|piece| piece.u.is_none() && piece.lead_days.or(lead_days).is_none())
        .map(|piece| piece.name.as_str())
        .collect();
    if !silent.is_empty() {
        return Err(StockError::NoLeadTime { sizes: silent.join(", ") });
    }
    let mut sizes: Vec<Size> = Vec::new();
    for piece in drawer.iter().filter(|piece| piece.u.is_none()) {
        piece.check()?;
        let (bias, between, within) = crate::prior::scatter_of(stack, piece, piece.thickness, scatter);
        if sizes.iter().any(|size| (size.thickness - piece.thickness).abs() < 1e-9) {
            continue;
        }
        sizes.push(Size {
            name: piece.name.clone(),
            thickness: piece.thickness,
            bias,
            between,
            within,
            cost: piece.cost.unwrap_or(0.0),
            lead_days: piece.lead_days.or(lead_days).unwrap_or(0.0),
        });
    }
    sizes.sort_by(|a, b| a.thickness.total_cmp(&b.thickness));
    if sizes.is_empty() { Err(StockError::EmptyCatalogue) } else { Ok(sizes) }
}

impl Bench {
    /// The corrections that new builds need: the spread of the first named valve's offset about its aim, by the pack file.
    ///
    /// # Errors
    ///
    /// [`StockError::CannotAssemble`].
    pub fn corrections_of_new_builds(&self, bay: &StockingBay) -> Result<Corrections, StockError> {
        let now = self.now()?;
        let cold = now
            .expectations
            .iter()
            .find(|e| e.named && e.kind == QuantityKind::Offset && e.condition == self.measured_in())
            .ok_or_else(|| StockError::CannotAssemble { bay: self.bay().to_owned() })?;
        // The bay's limits stand about the aim as measured cold.
        Ok(Corrections::Normal { mean: bay.aim - cold.mean, sd: cold.sd })
    }
}
