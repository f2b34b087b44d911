//! The list of builds: the advised one first, then what else is worth a look.

use super::coarse::TooCoarse;
use super::judge::Yardstick;
use super::plan::Workshop;
use super::{Bench, Build, MeasureFirst, Missing, Warning};
use crate::error::{StockError, within};
use crate::forecast::Forecast;
use crate::layout::Layout;
use crate::objective::{Objective, Weights};
use crate::search::{AvailablePieces, Disposition, Found, Free, OutOfWork, Problem};
use packdrift_pack::QuantityKind;
use packdrift_spread::{Progress, Silent};
use packdrift_verdict::Verdict;
use rayon::prelude::*;
use std::cmp::Ordering;

/// How to search.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Builds to list. Default 10.
    pub list: usize,
    /// What a part touched and a distance from the aim are worth.
    pub weights: Weights,
    /// One piece may be thinned by hand by up to this, mm.
    pub dress: Option<f64>,
    /// Standard uncertainty of measuring a piece on the bench, mm. Default 0.002.
    pub micrometer_u: f64,
    /// A build with at least this chance is good enough, if it leaves the other rockers as well off as they are. Default 0.95.
    pub enough: f64,
    /// Sets of pieces to look at before the search gives up proving. Default 1.5 million.
    pub effort: u64,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            list: 10,
            weights: Weights::default(),
            dress: None,
            micrometer_u: 0.002,
            enough: 0.95,
            effort: 1_500_000,
        }
    }
}

impl Options {
    pub(super) fn check(&self) -> Result<(), StockError> {
        if self.list == 0 || self.list > 1000 {
            return Err(StockError::Count { what: "builds to list", count: self.list, expected: "1 to 1000" });
        }
        within("micrometer's uncertainty", self.micrometer_u, "mm", 0.0..=1.0, "between 0 and 1")?;
        within("wanted chance", self.enough, "", 0.0..=1.0, "between 0 and 1")?;
        within("weight of a part touched", self.weights.per_part, "", 0.0..=1.0, "between 0 and 1")?;
        within("weight of a distance from the aim", self.weights.centring, "", 0.0..=1.0, "between 0 and 1")?;
        if let Some(most) = self.dress {
            within("thinning by hand", most, "mm", 0.001..=5.0, "between 0.001 and 5")?;
        }
        Ok(())
    }
}

/// What to do, in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// The advised build first, then others that are worth a look, best score first: each keeps, moves and adds in another way than
    /// those before it.
    pub builds: Vec<Build>,
    /// Index of the advised build where it is good enough: the first. It touches the fewest parts of all that are inside with at least the wanted
    /// chance and leave no rocker that was not asked for any worse off than it is. None: nothing is good enough, and the first is the one with
    /// the best chance.
    pub fewest: Option<usize>,
    /// The verdict on the advised build, and on the readings that it rests on.
    pub verdict: Verdict,
    /// What to expect of the bay as it is; None where it cannot exist by the model.
    pub now: Forecast,
    /// Whether no build with a better score than those listed, but of their kinds, was left out.
    pub proven: bool,
    /// Where nothing is good enough: the piece that would be, or that would bring most. None where no single piece does better than the drawer.
    pub missing: Option<Missing>,
    /// Unmeasured pieces of the advised build by how much their measurement would tell, most first.
    pub measure_first: Vec<MeasureFirst>,
    /// What to know before trusting it.
    pub warnings: Vec<Warning>,
}

impl Proposal {
    /// A build by its number on the list, from 1.
    ///
    /// # Errors
    ///
    /// [`StockError::NoSuchBuild`].
    pub fn build(&self, number: usize) -> Result<&Build, StockError> {
        let count = self.builds.len();
        number.checked_sub(1).and_then(|k| self.builds.get(k)).ok_or(StockError::NoSuchBuild { number, count })
    }

    /// The build to make: the first. None where nothing can be assembled.
    pub fn advised(&self) -> Option<&Build> {
        self.builds.first()
    }
}

/// Builds kept from the search, for the kinds among them and for the comparison of what to measure first.
const KEPT: usize = 48;
/// A build that touches more parts is not looked for on its own: half the pieces a bay can hold come from elsewhere by then.
const MOST_TOUCHED: usize = 10;
/// The search judges by the linear model, the forecast by the whole one: builds this much short by the one may pass by the other.
const NEARLY: f64 = 0.02;
/// Pieces of the bay no farther apart than this are twins: which of them is taken makes no other kind of build, mm.
const TWINS: f64 = 0.02;

/// In what builds of one kind are alike: how many pieces of each class stay, come out or go where, and how many come to which zone.
type BuildKind = (Vec<(bool, i64, Disposition)>, Vec<usize>, Option<usize>);

fn kind_of(found: &Found, layout: &Layout, thickness: &[f64]) -> BuildKind {
    let class = |t: f64| (t / TWINS).round() as i64;
    let mut of_the_bay: Vec<(bool, i64, Disposition)> = found
        .dispositions
        .iter()
        .enumerate()
        .map(|(f, &disposition)| (layout.fitted[f].washer, class(thickness[f]), disposition))
        // What stays says nothing beside what does not.
        .filter(|at| at.2 != Disposition::Stays)
        .collect();
    of_the_bay.sort_unstable();
    (of_the_bay, found.added.iter().map(Vec::len).collect(), found.free.map(|free| free.0))
}

/// A question on its way to a proposal.
struct Search<'a> {
    bench: &'a Bench,
    options: &'a Options,
    problem: Problem<'a>,
    workshop: Workshop<'a>,
    /// Thicknesses of the pieces in the bay, mm.
    thickness: Vec<f64>,
    /// The reading tells too little for any build to be good enough.
    coarse: Option<TooCoarse>,
    progress: &'a dyn Progress,
}

/// A build, with what the search knows of it.
type Worked = (Build, Found);

impl Bench {
    /// The best builds from the drawer.
    ///
    /// # Errors
    ///
    /// [`StockError`]: options out of range, a bay that cannot be assembled by the model.
    pub fn propose(&self, options: &Options) -> Result<Proposal, StockError> {
        self.propose_watched(options, &Silent)
    }

    /// As [`Bench::propose`], telling `progress` how far it is: so many of a hundred parts, by the time that the steps usually take. It is not asked
    /// whether to stop.
    ///
    /// # Errors
    ///
    /// As [`Bench::propose`].
    pub fn propose_watched(&self, options: &Options, progress: &dyn Progress) -> Result<Proposal, StockError> {
        options.check()?;
        let reduced = self.reduced()?;
        let response = self.response(&reduced)?;
        let objective = Objective::new(&response, &self.layout, &self.beliefs, options.weights);
        let available = AvailablePieces::new(self.kinds.clone());
        let fitted = self.members_now();
        let thickness: Vec<f64> = fitted.iter().map(|member| member.thickness).collect();
        let free = options.dress.and_then(|most| Free::thinned(&available, &thickness, most, options.micrometer_u));
        let list = options.list.max(KEPT);
        let now = self.now()?;
        let coarse = self.too_coarse(options.enough);
        // What no build can reach is not searched for: a good list does.
        let effort = if coarse.is_some() { options.effort / SHORT } else { options.effort };
        let problem = Problem { free, ..Problem::new(&objective, fitted, &available, list, effort) };
        let yardstick = Yardstick::new(options.enough, &now, self.has_spring()).with_doubts_of(self);
        let dressed_variance = options.micrometer_u * options.micrometer_u;
        let workshop = Workshop { available: &available, dressed_variance, yardstick: &yardstick };
        Search { bench: self, options, problem, workshop, thickness, coarse, progress }.propose(now)
    }

    /// The best builds by going through every one of them: what [`Bench::propose`] is held against. Only for small drawers. Returns scores by the
    /// search's own measure, best first, for both.
    #[doc(hidden)]
    pub fn exhaustive_scores(&self, options: &Options) -> Result<(Vec<f64>, Vec<f64>, bool), StockError> {
        let reduced = self.reduced()?;
        let response = self.response(&reduced)?;
        let objective = Objective::new(&response, &self.layout, &self.beliefs, options.weights);
        let available = AvailablePieces::new(self.kinds.clone());
        let fitted = self.members_now();
        let problem = Problem::new(&objective, fitted, &available, options.list, options.effort);
        let scores = |answer: &crate::search::Answer| answer.found.iter().map(|found| found.judged.score).collect();
        let quick = problem.solve();
        Ok((scores(&quick), scores(&problem.exhaustive()), quick.proven))
    }
}

impl Search<'_> {
    #[allow(clippy::unnecessary_wraps, reason = "the steps of a proposal all return alike")]
    fn propose(self, now: Forecast) -> Result<Proposal, StockError> {
        let told = |parts: u64| self.progress.advance(parts, 100);
        told(0);
        let mut answer = self.problem.solve();
        told(35);
        if answer.found.is_empty() {
            // Whatever the search came to: the bay may be left as it is.
            answer.found.extend(self.problem.as_it_is());
        }
        let mut listed = self.of_different_kinds(&answer.found);
        told(50);
        let fewer = if self.coarse.is_some() { Ok(None) } else { self.fewer(&listed) };
        told(75);
        let fewest_is_proven = fewer.is_ok();
        listed.extend(fewer.ok().flatten());
        let advised = advised(&listed);
        let good = advised.is_some_and(|k| listed[k].0.good_enough);
        let first = advised.map(|k| listed.swap_remove(k));
        listed.sort_by(|(a, _), (b, _)| b.score.total_cmp(&a.score).then(a.touched.cmp(&b.touched)));
        if let Some((_, found)) = &first {
            let kind = |found: &Found| kind_of(found, &self.bench.layout, &self.thickness);
            listed.retain(|(_, other)| kind(other) != kind(found));
        }
        listed.truncate(self.options.list.saturating_sub(usize::from(first.is_some())));
        let advised_found = first.as_ref().map(|(_, found)| found.clone());
        let builds: Vec<Build> = first.into_iter().chain(listed).map(|(build, _)| build).collect();
        let mut warnings = self.bench.warnings.clone();
        if !answer.proven {
            warnings.push(Warning::NotProven { floor: answer.floor });
        }
        if !fewest_is_proven {
            warnings.push(Warning::FewestNotProven);
        }
        // Nor does a piece that nobody has help then.
        let missing = if good || self.coarse.is_some() { None } else { self.missing(&now, builds.first()) };
        told(90);
        self.bench.warn_of(builds.first(), good, &now, self.options.enough, &mut warnings);
        let measure_first = match (&advised_found, builds.first()) {
            (Some(found), Some(build)) => {
                let u = self.options.micrometer_u;
                self.bench.measure_first(&self.problem, &answer.found, found, build, u)
            }
            _ => Vec::new(),
        };
        let mut verdict = self.bench.verdict_on(builds.first());
        if let Some(TooCoarse { valve, sd, most, wanted }) = self.coarse {
            let reason = format!("what the reading of \"{valve}\" leaves open is too much for any build");
            let cure = format!("Read the offset of \"{valve}\" with a better gauge.");
            verdict = verdict.and(Verdict::not_shown(reason).settled_by(cure));
            let enough = self.options.enough;
            warnings.push(Warning::ReadingTooCoarse { valve, sd, most, wanted, enough });
        }
        let fewest = good.then_some(0);
        Ok(Proposal { builds, fewest, verdict, now, proven: answer.proven, missing, measure_first, warnings })
    }

    /// The best of each kind among those found, worked out. The search judges by the linear model, so the first few of a kind are looked at.
    fn of_different_kinds(&self, found: &[Found]) -> Vec<Worked> {
        let mut kinds: Vec<(BuildKind, Vec<&Found>)> = Vec::new();
        for found in found {
            let kind = kind_of(found, &self.bench.layout, &self.thickness);
            match kinds.iter().position(|(known, _)| *known == kind) {
                Some(at) if kinds[at].1.len() < ALIKE => kinds[at].1.push(found),
                None if kinds.len() < self.options.list => kinds.push((kind, vec![found])),
                _ => {}
            }
        }
        let work_out = |found: &Found| Some((self.bench.work_out(found, &self.workshop)?, found.clone()));
        let best = |(_, alike): (BuildKind, Vec<&Found>)| {
            alike.into_iter().filter_map(work_out).min_by(|(a, _), (b, _)| by_preference(a, b))
        };
        kinds.into_par_iter().filter_map(best).collect()
    }

    /// The score trades parts against chance, and the list is cut: a build that touches fewer parts than those listed may be good enough.
    fn fewer(&self, listed: &[Worked]) -> Result<Option<Worked>, OutOfWork> {
        let fewest = listed.iter().filter(|(build, _)| build.good_enough).map(|(build, _)| build.touched).min();
        let most = fewest.map_or(Some(MOST_TOUCHED), |touched| touched.checked_sub(1));
        let rigid = self.problem.objective.with(Weights { per_part: 0.0, centring: 0.0 });
        let fewer = Problem { objective: &rigid, list: FEW, ..self.problem.clone() };
        let scored = |found: &Found| {
            let judged = self.problem.objective.judge(&fewer.members(found), found.touched)?;
            let found = Found { judged, ..found.clone() };
            let build = self.bench.work_out(&found, &self.workshop)?;
            build.good_enough.then_some((build, found))
        };
        let best = |found: Vec<Found>| {
            let made: Vec<Option<Worked>> = found.par_iter().map(scored).collect();
            made.into_iter().flatten().min_by(|a, b| by_preference(&a.0, &b.0))
        };
        let floor = (self.workshop.yardstick.least_of_all() - NEARLY).max(0.0);
        most.map_or(Ok(None), |most| fewer.fewest(most, floor, best))
    }

    fn missing(&self, now: &Forecast, best: Option<&Build>) -> Option<Missing> {
        let best = best.map_or(now, |build| &build.forecast);
        self.bench.missing(&self.problem, &self.workshop, self.options, best)
    }
}

/// The share of the search's work that is done where no build can be good enough: one part in this.
const SHORT: u64 = 20;
/// Builds tried for each number of parts touched.
const FEW: usize = 24;

/// Builds of a kind that are worked out.
const ALIKE: usize = 3;

/// What a mechanic would rather build: what is good enough; of that, fewer parts touched, then fewer pieces that nobody has measured, then the better
/// score. What is not good enough, by its chance.
fn by_preference(a: &Build, b: &Build) -> Ordering {
    let unmeasured = |build: &Build| build.put_in().filter(|piece| !piece.measured).count();
    let by_score = || b.score.total_cmp(&a.score);
    match (a.good_enough, b.good_enough) {
        (true, true) => a.touched.cmp(&b.touched).then_with(|| unmeasured(a).cmp(&unmeasured(b))).then_with(by_score),
        (false, false) => b.forecast.chance_all.total_cmp(&a.forecast.chance_all).then_with(by_score),
        (a, b) => b.cmp(&a),
    }
}

/// The build to make.
fn advised(listed: &[Worked]) -> Option<usize> {
    (0..listed.len()).min_by(|&a, &b| by_preference(&listed[a].0, &listed[b].0))
}

impl Bench {
    /// Whether a spring washer is meant to keep the bay tight.
    pub(super) fn has_spring(&self) -> bool {
        self.pack.bays[self.bay].has_spring()
    }

    /// The verdict on a build and on the readings that it rests on.
    fn verdict_on(&self, build: Option<&Build>) -> Verdict {
        let mut verdict = match build {
            Some(build) => build.verdict.clone(),
            None => Verdict::not_shown("nothing can be assembled from these pieces"),
        };
        for valve in &self.doubtful {
            let reason = format!("the reading of \"{valve}\" is not what the drawing and wear make likely");
            verdict =
                verdict.and(Verdict::read_again(reason).settled_by(format!("Read the offset of \"{valve}\" again.")));
        }
        for valve in &self.unread {
            let reason = format!("no reading of \"{valve}\" was given: this is by the pack file alone");
            let cure = format!("Measure the offset of \"{valve}\" and give it.");
            verdict = verdict.and(Verdict::watch(reason).settled_by(cure));
        }
        // Where something is built a second reading follows. Here one alone would end the job: a slipped digit, and it is wrong.
        for valve in self.read_once.iter().filter(|_| build.is_some_and(Build::is_as_now)) {
            let reason = format!("a single reading of \"{valve}\" is all that says so");
            let cure = format!("Read the offset of \"{valve}\" once more, and give both readings.");
            verdict = verdict.and(Verdict::watch(reason).settled_by(cure));
        }
        verdict
    }

    fn warn_of(&self, advised: Option<&Build>, good: bool, now: &Forecast, enough: f64, warnings: &mut Vec<Warning>) {
        let play = now.expectations.iter().map(|e| e.wander).fold(0.0, f64::max);
        if play > 0.0 {
            warnings.push(Warning::LooseNow { play });
        }
        let Some(advised) = advised else { return };
        for (before, after) in now.expectations.iter().zip(&advised.forecast.expectations) {
            let cold = before.condition == self.pack.conditions[self.condition].name;
            let by = after.mean - before.mean;
            if before.kind == QuantityKind::Offset && !before.named && cold && by.abs() > 0.005 {
                warnings.push(Warning::OtherRockerMoves { valve: before.of.clone(), by });
            }
        }
        let names: Vec<String> =
            advised.put_in().filter(|piece| !piece.measured).map(|piece| piece.name.clone()).collect();
        if !names.is_empty() {
            warnings.push(Warning::UnmeasuredPieces { names });
        }
        if !good {
            let pushed_out =
                Yardstick::new(enough, now, self.has_spring()).pushed_out(&advised.forecast).map(str::to_owned);
            warnings.push(Warning::NothingFits { best: advised.forecast.chance, enough, pushed_out });
        }
    }
}
