//! The list of builds.

use super::{Bench, Build, MeasureFirst, Missing, Warning};
use crate::error::{StockError, within};
use crate::forecast::Forecast;
use crate::objective::{Objective, Weights};
use crate::search::{Free, Problem, Shelf};
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
    /// A build with at least this chance is good enough. Default 0.95.
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
    /// Best first.
    pub builds: Vec<Build>,
    /// Index of the build that touches the fewest parts among those good enough.
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
        let problem = Problem { objective: &objective, fitted, shelf: &shelf, list, free, effort: options.effort };
        let answer = problem.solve();
        let shown = &answer.found[..answer.found.len().min(options.list)];
        let mut builds: Vec<Build> =
            shown.par_iter().filter_map(|found| self.work_out(found, &shelf, dressed)).collect();
        builds.sort_by(|a, b| b.score.total_cmp(&a.score).then(a.touched.cmp(&b.touched)));
        let good = |build: &Build| build.forecast.chance >= options.enough;
        let fewest = (0..builds.len()).filter(|&k| good(&builds[k])).min_by_key(|&k| builds[k].touched);
        let now = self.now()?;
        let mut warnings = self.warnings.clone();
        if !answer.proven {
            warnings.push(Warning::NotProven { floor: answer.floor });
        }
        let play = now.expectations.iter().map(|e| e.wander).fold(0.0, f64::max);
        if play > 0.0 {
            warnings.push(Warning::LooseNow { play });
        }
        if let Some(first) = builds.first() {
            self.warn_of(first, &now, &mut warnings);
        }
        let best = builds.iter().map(|build| build.forecast.chance).fold(0.0, f64::max);
        let missing = if best < options.enough {
            warnings.push(Warning::NothingFits { best, enough: options.enough });
            self.missing(&problem, options)
        } else {
            None
        };
        let measure_first = self.measure_first(&objective, &problem, &answer.found, options.micrometer_u);
        Ok(Proposal { builds, fewest, now, proven: answer.proven, missing, measure_first, warnings })
    }

    fn warn_of(&self, first: &Build, now: &Forecast, warnings: &mut Vec<Warning>) {
        for (before, after) in now.expectations.iter().zip(&first.forecast.expectations) {
            let cold = before.condition == self.pack.conditions[self.condition].name;
            let by = after.mean - before.mean;
            if before.kind == QuantityKind::Offset && !before.named && cold && by.abs() > 0.005 {
                warnings.push(Warning::OtherRockerMoves { valve: before.of.clone(), by });
            }
        }
        let names: Vec<String> =
            first.put_in().filter(|piece| !piece.measured).map(|piece| piece.name.clone()).collect();
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
        let problem = Problem {
            objective: &objective,
            fitted,
            shelf: &shelf,
            list: options.list,
            free: None,
            effort: options.effort,
        };
        let scores = |answer: &crate::search::Answer| answer.found.iter().map(|found| found.judged.score).collect();
        let quick = problem.solve();
        Ok((scores(&quick), scores(&problem.exhaustive()), quick.proven))
    }
}
