//! The list of builds.

use super::{Bench, Build, MeasureFirst, Missing, Warning};
use crate::chance::between;
use crate::error::{StockError, within};
use crate::forecast::Forecast;
use crate::objective::{Objective, Weights};
use crate::search::{Found, Free, Problem, Shelf};
use packdrift_pack::QuantityKind;
use rayon::prelude::*;

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
    fn check(&self) -> Result<(), StockError> {
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
    /// Best first by score; beside the best ones the one that touches the fewest parts, where it is not among them.
    pub builds: Vec<Build>,
    /// Index of the build that touches the fewest parts among all that are good enough: inside with at least the wanted chance, and no
    /// rocker that was not asked for any worse off than it is.
    pub fewest: Option<usize>,
    /// What to expect of the bay as it is; None where it cannot exist by the model.
    pub now: Forecast,
    /// Whether the list is proven to be the best there is.
    pub proven: bool,
    /// Where nothing is good enough: what would be.
    pub missing: Option<Missing>,
    /// Unmeasured pieces by how much their measurement would tell, most first.
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
}

/// Builds kept from the search for the comparison of what to measure first.
const KEPT: usize = 24;
/// A build that touches more parts is not looked for on its own: half the pieces a bay can hold come from elsewhere by then.
const MOST_TOUCHED: usize = 10;
/// The search judges by the linear model, the forecast by the whole one: builds this much short by the one may pass by the other.
const NEARLY: f64 = 0.02;

/// Builds that do the same with like pieces: so many are listed while there are others.
const ALIKE: usize = 2;

/// The first `most` of `found`, but of those that keep, move and add alike, and differ only in which pieces, the best two; where that is not
/// enough the best others.
fn varied(found: &[Found], most: usize) -> Vec<&Found> {
    let shape = |found: &Found| {
        let added: Vec<usize> = found.added.iter().map(Vec::len).collect();
        (found.fates.clone(), added, found.free.map(|free| free.0))
    };
    let mut seen: std::collections::BTreeMap<_, usize> = std::collections::BTreeMap::new();
    let (mut first, mut rest) = (Vec::new(), Vec::new());
    for found in found {
        let alike = seen.entry(shape(found)).or_insert(0);
        *alike += 1;
        if *alike <= ALIKE { first.push(found) } else { rest.push(found) }
    }
    first.truncate(most);
    let more = most - first.len();
    first.extend(rest.into_iter().take(more));
    first
}

/// The chance that the rockers that were not asked for are inside their limits, each on its own.
fn others_inside(forecast: &Forecast) -> f64 {
    let offsets = || forecast.expectations.iter().filter(|e| e.kind == QuantityKind::Offset && !e.named);
    let mut valves: Vec<&str> = offsets().map(|e| e.of.as_str()).collect();
    valves.sort_unstable();
    valves.dedup();
    let inside = |valve: &&str| {
        let limits =
            offsets().filter(|e| e.of == **valve).fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), e| {
                let sd = e.sd.max(1e-9);
                let z = |limit: Option<f64>, open: f64| limit.map_or(open, |limit| (limit - e.mean) / sd);
                (f64::max(low, z(e.lower, f64::NEG_INFINITY)), f64::min(high, z(e.upper, f64::INFINITY)))
            });
        between(limits.0, limits.1)
    };
    valves.iter().map(inside).product()
}

impl Bench {
    /// The best builds from the drawer.
    ///
    /// # Errors
    ///
    /// [`StockError`]: options out of range, a bay that cannot be assembled by the model.
    pub fn propose(&self, options: &Options) -> Result<Proposal, StockError> {
        options.check()?;
        let reduced = self.reduced()?;
        let response = self.response(&reduced)?;
        let objective = Objective::new(&response, &self.layout, &self.beliefs, options.weights, &self.named);
        let shelf = Shelf::new(self.kinds.clone());
        let fitted = self.members_now();
        let dressed = options.micrometer_u * options.micrometer_u;
        let free = options.dress.and_then(|most| {
            let thickness: Vec<f64> = fitted.iter().map(|member| member.thickness).collect();
            Free::thinned(&shelf, &thickness, most, options.micrometer_u)
        });
        let list = options.list.max(KEPT);
        let problem = Problem { free, ..Problem::new(&objective, fitted, &shelf, list, options.effort) };
        let mut answer = problem.solve();
        if answer.found.is_empty() {
            // Whatever the search came to: the bay may be left as it is.
            answer.found.extend(problem.as_it_is());
        }
        let shown = varied(&answer.found, options.list);
        let mut listed: Vec<(Build, &Found)> =
            shown.into_par_iter().filter_map(|found| Some((self.work_out(found, &shelf, dressed)?, found))).collect();
        let now = self.now()?;
        // Good enough, and no other rocker of the bay any worse off than it is.
        let others = others_inside(&now);
        let good = |build: &Build| {
            build.forecast.chance >= options.enough && build.forecast.chance_all >= options.enough * others
        };
        listed.iter_mut().for_each(|(build, _)| build.good_enough = good(build));
        // The score trades parts against chance, and the list is cut: a build that touches fewer may be good enough and not be on it.
        let fewest = listed.iter().filter(|(build, _)| build.good_enough).map(|(build, _)| build.touched).min();
        let most = fewest.map_or(Some(MOST_TOUCHED), |touched| touched.checked_sub(1));
        let rigid = objective.with(Weights { per_part: 0.0, centring: 0.0 });
        let fewer = Problem { objective: &rigid, list: KEPT, ..problem.clone() };
        let scored = |found: &Found| {
            let judged = objective.judge(&fewer.members(found), found.touched)?;
            let build = self.work_out(&Found { judged, ..found.clone() }, &shelf, dressed)?;
            good(&build).then(|| Build { good_enough: true, ..build })
        };
        let best = |found: Vec<Found>| {
            let made: Vec<Option<Build>> = found.par_iter().map(scored).collect();
            let made = made.into_iter().zip(found).filter_map(|(build, found)| Some((build?, found)));
            made.max_by(|a, b| a.0.score.total_cmp(&b.0.score))
        };
        let floor = (options.enough * others - NEARLY).max(0.0);
        let searched = most.map_or(Ok(None), |most| fewer.fewest(most, floor, best));
        if let Ok(Some((build, found))) = &searched {
            listed.push((build.clone(), found));
        }
        listed.sort_by(|(a, _), (b, _)| b.score.total_cmp(&a.score).then(a.touched.cmp(&b.touched)));
        let fewest = (0..listed.len()).filter(|&k| listed[k].0.good_enough).min_by_key(|&k| listed[k].0.touched);
        let advised = fewest.map_or(listed.first(), |k| listed.get(k)).map(|(_, found)| (*found).clone());
        let builds: Vec<Build> = listed.into_iter().map(|(build, _)| build).collect();
        let mut warnings = self.warnings.clone();
        if !answer.proven {
            warnings.push(Warning::NotProven { floor: answer.floor });
        }
        if searched.is_err() {
            warnings.push(Warning::FewestNotProven);
        }
        let play = now.expectations.iter().map(|e| e.wander).fold(0.0, f64::max);
        if play > 0.0 {
            warnings.push(Warning::LooseNow { play });
        }
        if let Some(advised) = fewest.map_or(builds.first(), |k| builds.get(k)) {
            self.warn_of(advised, &now, &mut warnings);
        }
        let missing = if fewest.is_none() {
            let best = builds.iter().map(|build| build.forecast.chance).fold(0.0, f64::max);
            warnings.push(Warning::NothingFits { best, enough: options.enough });
            self.missing(&problem, options)
        } else {
            None
        };
        let measure_first = self.measure_first(&objective, &problem, &answer.found, advised, options.micrometer_u);
        Ok(Proposal { builds, fewest, now, proven: answer.proven, missing, measure_first, warnings })
    }

    fn warn_of(&self, advised: &Build, now: &Forecast, warnings: &mut Vec<Warning>) {
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
    }

    /// The best builds by going through every one of them: what [`Bench::propose`] is held against. Only for small drawers. Returns scores by the
    /// search's own measure, best first, for both.
    #[doc(hidden)]
    pub fn exhaustive_scores(&self, options: &Options) -> Result<(Vec<f64>, Vec<f64>, bool), StockError> {
        let reduced = self.reduced()?;
        let response = self.response(&reduced)?;
        let objective = Objective::new(&response, &self.layout, &self.beliefs, options.weights, &self.named);
        let shelf = Shelf::new(self.kinds.clone());
        let fitted = self.members_now();
        let problem = Problem::new(&objective, fitted, &shelf, options.list, options.effort);
        let scores = |answer: &crate::search::Answer| answer.found.iter().map(|found| found.judged.score).collect();
        let quick = problem.solve();
        Ok((scores(&quick), scores(&problem.exhaustive()), quick.proven))
    }
}
