//! The whole question, from the first draws to the verdict.

use crate::assumptions::{self, Otherwise, otherwise};
use crate::bound::at_least;
use crate::draws::{Drawer, Draws, Needed};
use crate::error::PolicyError;
use crate::estimate::{Estimate, Figure};
use crate::neighbours::{Alone, PriceChange, alone, price_changes};
use crate::pick::{MAYBE, Picker, aim};
use crate::quantities::quantities;
use crate::question::{Choice, Question};
use crate::search::{Free, Search};
use crate::shop::{CeilingFor, Packets};
use crate::simulate::{Ready, Tally};
use packdrift_numerics::stream::{BLOCK, DEFAULT_SEED};
use packdrift_spread::{NeverBinds, Progress, Silent};
use packdrift_verdict::{Evidence, Verdict};
use rayon::prelude::*;
use std::ops::Range;

/// How much work is put in. The result does not depend on the machine, so it is counted in builds and choices.
#[derive(Debug, Clone, PartialEq)]
pub struct Effort {
    /// Builds on which every choice is tried. Default 4096.
    pub builds: usize,
    /// Choices tried in the search for the best. Default 900.
    pub choices: usize,
    /// Fresh builds for the final figures. Default 65 536.
    pub final_builds: usize,
    /// Of all random numbers.
    pub seed: u64,
}

impl Default for Effort {
    fn default() -> Self {
        Self { builds: 4096, choices: 900, final_builds: 65_536, seed: DEFAULT_SEED }
    }
}

/// What is known of the best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// Every choice was tried, on the draws of the search: none that keeps the ceiling there costs less.
    Exhausted {
        /// How many.
        choices: usize,
    },
    /// It is the best of those tried; how much better another may be is not known, but none costs less than `at_least`.
    BestFound {
        /// How many were tried.
        choices: usize,
        /// No choice that keeps the ceiling costs less (`bound.rs`).
        at_least: f64,
    },
}

/// The cheapest choice for a ceiling.
#[derive(Debug, Clone, PartialEq)]
pub struct CurvePoint {
    /// The ceiling.
    pub ceiling: f64,
    /// What keeps it at least cost among all that was tried, by fresh draws; None: nothing that was tried does.
    pub estimate: Option<Estimate>,
}

/// The answer.
#[derive(Debug, Clone)]
pub struct Policy {
    /// What was asked.
    pub question: Question,
    /// What to buy and hold, by fresh draws.
    pub best: Estimate,
    /// Whether the ceiling is shown to be kept, and the service.
    pub verdict: Verdict,
    /// What is known of the best.
    pub known: Known,
    /// Ctrl-C: the best so far.
    pub stopped: bool,
    /// Tolerances as drawn, every size of the catalogue held.
    pub today: Option<Estimate>,
    /// The best tolerances without any fitting; whether they keep the ceiling is theirs to say.
    pub tolerances_alone: Option<Estimate>,
    /// Tolerances as drawn, the best sizes.
    pub drawer_alone: Option<Estimate>,
    /// Cost against ceiling.
    pub curve: Vec<CurvePoint>,
    /// What each decision is worth, changed alone.
    pub alone: Vec<Alone>,
    /// Prices that change the decision.
    pub prices: Vec<PriceChange>,
    /// The assumptions, each turned.
    pub otherwise: Vec<Otherwise>,
    /// What to know before it is trusted.
    pub warnings: Vec<String>,
    /// Work put in.
    pub effort: Effort,
}

/// Ceilings of the curve, as factors of the asked one.
const CURVE: [f64; 7] = [0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 10.0];
/// Choices tried besides for each point of the curve, and for each comparison.
const FOR_A_POINT: usize = 40;
const FOR_A_COMPARISON: usize = 150;
/// Candidates drawn afresh for a point of the curve before the nearest is taken.
const FOR_A_SHOWN_POINT: usize = 15;

/// Chooses tolerances and drawer together.
///
/// # Errors
/// [`PolicyError`]: a pack that cannot be drawn, or stopped before anything was tried.
pub fn choose_policy(question: &Question, effort: &Effort, progress: &dyn Progress) -> Result<Policy, PolicyError> {
    let draws = Draws::new(question, effort.builds, effort.seed, "search")?;
    let besides = 2 * FOR_A_COMPARISON.min(effort.choices) + CURVE.len() * FOR_A_POINT.min(effort.choices);
    let changes = question.priced.len() * 2 + question.catalogue.len() + 2;
    let expected = (effort.choices + besides + changes + assumptions::choices(effort)) as u64;
    let mut search = Search::new(question, &draws, effort.choices, progress).one_of(0, expected);
    let aim = aim(question.ceiling, effort.final_builds);
    let exhausted = search.all();
    if !exhausted {
        from_everywhere(&mut search, aim, effort.choices);
    }
    let (mut tolerances, mut drawer) = (None, None);
    let drawn = question.as_drawn(0);
    if !exhausted {
        search.allow(FOR_A_COMPARISON.min(effort.choices));
        tolerances = search.walk(&drawn, aim, Free::Tolerances);
        search.allow(FOR_A_COMPARISON.min(effort.choices));
        if let Some(sizes) = search.busiest(&drawn.levels) {
            drawer = search.walk(&question.as_drawn(sizes), aim, Free::Drawer);
        }
    }
    if exhausted || tolerances.is_none() {
        tolerances = best_among(&search, aim, |c| c.sizes == 0).or(tolerances);
    }
    if exhausted || drawer.is_none() {
        drawer = best_among(&search, aim, |c| c.levels == drawn.levels).or(drawer);
    }
    search.allow(1);
    let today = search.try_one(&question.as_drawn(question.all_sizes()));
    let finish = Finish { question, effort };
    let walked = if search.stopped { Vec::new() } else { finish.walk_the_curve(&mut search) };
    let picker = Picker::new(question, effort, "pick")?;
    let chosen = picker.pick(&search, aim, progress)?;
    let best = finish.with_drawer(chosen)?;
    let choices = search.tried().count();
    let known = if exhausted {
        Known::Exhausted { choices }
    } else {
        Known::BestFound { choices, at_least: at_least(question, &draws, progress) }
    };
    let stopped = search.stopped || progress.cancelled();
    let (curve, decisions, prices, otherwise) = if stopped {
        (Vec::new(), Vec::new(), Vec::new(), Vec::new())
    } else {
        let curve = finish.curve(walked, &best)?;
        search.allow(10 * question.priced.len() * 10 + 200);
        let decisions = alone(&mut search, &best.choice);
        let prices = price_changes(question, &search, &best.choice, aim);
        (
            curve,
            decisions,
            prices,
            otherwise(question, effort, &best, (aim, progress), (search.tried().count() as u64, expected))?,
        )
    };
    let fresh = |estimate: Option<Estimate>| estimate.map(|e| finish.fresh(&e.choice, "beside")).transpose();
    // What stands beside the answer is to keep the ceiling as it does, where anything of its kind that was tried can.
    let shown = |may: &dyn Fn(&Choice) -> bool| {
        let candidates = search.cheapest_of(MAYBE * question.ceiling, FOR_A_SHOWN_POINT, may);
        picker.shown(&candidates, question.ceiling, effort.final_builds / 4, progress)
    };
    let tolerances = shown(&|c| c.sizes == 0).or(tolerances);
    let drawer = shown(&|c| c.levels == drawn.levels).or(drawer);
    Ok(Policy {
        verdict: verdict(question, &best, stopped),
        warnings: warnings(question),
        today: fresh(today)?,
        tolerances_alone: fresh(tolerances)?,
        drawer_alone: fresh(drawer)?,
        question: question.clone(),
        best,
        known,
        stopped,
        curve,
        alone: decisions,
        prices,
        otherwise,
        effort: effort.clone(),
    })
}

/// The cheapest choice alone: as [`choose_policy`], without what stands beside it.
///
/// # Errors
/// As for [`choose_policy`].
pub fn cheapest_choice(
    question: &Question,
    effort: &Effort,
    progress: &dyn Progress,
) -> Result<(Estimate, Verdict), PolicyError> {
    let draws = Draws::new(question, effort.builds, effort.seed, "search")?;
    let mut search = Search::new(question, &draws, effort.choices, progress);
    let aim = aim(question.ceiling, effort.final_builds);
    if !search.all() {
        from_everywhere(&mut search, aim, effort.choices);
    }
    let chosen = Picker::new(question, effort, "pick")?.pick(&search, aim, progress)?;
    let best = Finish { question, effort }.with_drawer(chosen)?;
    let verdict = verdict(question, &best, search.stopped || progress.cancelled());
    Ok((best, verdict))
}

/// Walks from the drawing, from the tightest and from the cheapest tolerances.
pub(crate) fn from_everywhere(search: &mut Search<'_>, aim: f64, choices: usize) {
    let priced = &search.question.priced;
    let drawn: Vec<u8> = priced.iter().map(|p| p.now as u8).collect();
    let tight = vec![0; priced.len()];
    let wide: Vec<u8> = priced.iter().map(|p| p.levels.len() as u8 - 1).collect();
    for (n, levels) in [drawn, wide, tight].into_iter().enumerate() {
        // A third of the work each; what one leaves the next may use.
        search.allow_up_to(choices * (n + 1) / 3);
        let Some(sizes) = search.busiest(&levels) else { continue };
        let pieces = search.question.ways[0];
        search.walk(&Choice { levels, sizes, pieces }, aim, Free::Everything);
    }
    // Once more from the best, with what is left.
    search.allow_up_to(choices);
    if let Some(best) = search.cheapest(aim, 1).pop() {
        search.walk(&best.choice, aim, Free::Everything);
    }
}

fn best_among(search: &Search<'_>, aim: f64, may: impl Fn(&Choice) -> bool) -> Option<Estimate> {
    let of = || search.tried().filter(|e| may(&e.choice));
    let cheaper = |a: &&Estimate, b: &&Estimate| a.cost.value.total_cmp(&b.cost.value).then(a.choice.cmp(&b.choice));
    let keeps = of().filter(|e| e.held_to <= aim).min_by(cheaper);
    keeps.or_else(|| of().min_by(|a, b| a.held_to.total_cmp(&b.held_to).then(a.choice.cmp(&b.choice)))).cloned()
}

/// Fresh builds, block by block, none of them kept.
pub(crate) fn run_fresh(
    ready: &Ready<'_>,
    choice: &Choice,
    drawer: &Drawer<'_>,
    blocks: Range<usize>,
    taken: bool,
) -> Tally {
    let needed = Needed::by(choice);
    let tallies: Vec<Tally> =
        blocks.into_par_iter().map(|block| ready.block(&drawer.block(block as u64, needed), taken)).collect();
    Tally::of(tallies)
}

/// What one choice comes to, on so many builds (rounded up to whole blocks of 1024).
///
/// # Errors
/// [`PolicyError`]: a choice that is none of the question's, or a pack that cannot be drawn.
pub fn estimate_choice(
    question: &Question,
    choice: &Choice,
    builds: usize,
    seed: u64,
) -> Result<Estimate, PolicyError> {
    let fits = choice.levels.len() == question.priced.len()
        && choice.levels.iter().zip(&question.priced).all(|(&l, p)| usize::from(l) < p.levels.len())
        && choice.sizes & !question.all_sizes() == 0;
    if !fits {
        let value = choice.levels.len() as f64;
        return Err(PolicyError::Number {
            what: "the number of levels of a choice",
            value,
            expected: "the question's",
        });
    }
    Ok(on_fresh(question, choice, &Drawer::new(question, seed, "one choice")?, builds))
}

/// What a choice comes to on fresh builds.
pub(crate) fn on_fresh(question: &Question, choice: &Choice, drawer: &Drawer<'_>, builds: usize) -> Estimate {
    let ready = Ready::new(question, choice);
    let tally = run_fresh(&ready, choice, drawer, 0..builds.div_ceil(BLOCK), false);
    Estimate::new(question, choice, &ready, &tally, None)
}

/// What is done with a choice once it is made.
pub(crate) struct Finish<'a> {
    pub(crate) question: &'a Question,
    pub(crate) effort: &'a Effort,
}

impl Finish<'_> {
    fn fresh(&self, choice: &Choice, purpose: &str) -> Result<Estimate, PolicyError> {
        let drawer = Drawer::new(self.question, self.effort.seed, purpose)?;
        Ok(on_fresh(self.question, choice, &drawer, self.effort.final_builds / 4))
    }

    /// The final figures, with quantities that serve all sizes together.
    pub(crate) fn with_drawer(&self, choice: Choice) -> Result<Estimate, PolicyError> {
        let (question, effort) = (self.question, self.effort);
        let drawer = Drawer::new(question, effort.seed, "final")?;
        let ready = Ready::new(question, &choice);
        let tally = run_fresh(&ready, &choice, &drawer, 0..effort.final_builds.div_ceil(BLOCK), true);
        let alone = Estimate::new(question, &choice, &ready, &tally, None);
        if choice.sizes == 0 {
            return Ok(alone);
        }
        let start: Vec<u32> = alone.drawer.iter().map(|h| h.level).collect();
        let (service, builds) = (question.shop.service, question.prices.builds());
        let found = quantities(ready.sizes(), &tally.taken, builds, &start, (service, effort.seed))?;
        let mut estimate = Estimate::new(question, &choice, &ready, &tally, Some(&found.levels));
        estimate.service = Some(found.service);
        Ok(estimate)
    }

    /// For each ceiling of the curve the cheapest on the draws of the search.
    fn walk_the_curve(&self, search: &mut Search<'_>) -> Vec<Walked> {
        let mut walked = Vec::new();
        for factor in CURVE {
            let ceiling = factor * self.question.ceiling;
            if ceiling >= 0.5 {
                continue;
            }
            let aim = aim(ceiling, self.effort.final_builds);
            if let Some(start) = search.cheapest(aim, 1).pop().or_else(|| search.least_outside()) {
                search.allow(FOR_A_POINT.min(self.effort.choices));
                search.walk(&start.choice, aim, Free::Everything);
            }
            walked.push(Walked { ceiling, candidates: search.cheapest(MAYBE * ceiling, FOR_A_SHOWN_POINT) });
        }
        walked
    }

    /// The curve by fresh draws; at the asked ceiling the choice that was made.
    fn curve(&self, walked: Vec<Walked>, best: &Estimate) -> Result<Vec<CurvePoint>, PolicyError> {
        let picker = Picker::new(self.question, self.effort, "curve, pick")?;
        let point = |walked: Walked| {
            let Walked { ceiling, candidates } = walked;
            let asked = (ceiling / self.question.ceiling - 1.0).abs() < 1e-9;
            let estimate = if asked {
                Some(best.clone())
            } else {
                let shown = picker.shown(&candidates, ceiling, self.effort.final_builds / 4, &Silent);
                // Where none is shown to keep it, the one that comes nearest stands, and is said not to.
                let least = || candidates.iter().min_by(|a, b| a.held_to.total_cmp(&b.held_to));
                let choice = shown.or_else(|| least().cloned()).map(|e| e.choice);
                choice.map(|choice| self.fresh(&choice, "curve")).transpose()?
            };
            Ok(CurvePoint { ceiling, estimate })
        };
        walked.into_iter().map(point).collect()
    }
}

/// What the search has for a ceiling, cheapest first.
struct Walked {
    ceiling: f64,
    candidates: Vec<Estimate>,
}

pub(crate) fn verdict(question: &Question, best: &Estimate, stopped: bool) -> Verdict {
    let what = match (question.shop.packets, question.shop.ceiling_for) {
        (Packets::Year, CeilingFor::BadYear) => "share of builds outside after fitting, in a bad year",
        _ => "share of builds outside after fitting",
    };
    let evidence = Evidence::at_most(what, question.ceiling);
    let low = (best.held_to - (best.bound - best.held_to)).max(0.0);
    let mut all = evidence.estimate(best.held_to).bounds(low, best.bound).judge();
    if let Some(Figure { value, standard_error }) = best.service {
        let short = Evidence::at_most("share of builds whose pieces are not there", 1.0 - question.shop.service);
        let short = short.estimate(1.0 - value).bounds(1.0 - value, 1.0 - value);
        all = all.and(short.simulation_error(standard_error).judge());
    }
    let never_binds = question.never_binds.iter().map(NeverBinds::verdict_without_figures);
    let loads = question.bays.iter().filter_map(|bay| bay.load_not_settled().cloned());
    all = never_binds.chain(loads).fold(all, Verdict::and);
    if stopped {
        let open = Verdict::not_shown("the search was stopped: this is the best so far");
        all = all.and(open.settled_by("Let it run to its end."));
    }
    all
}

fn warnings(question: &Question) -> Vec<String> {
    let mut all = Vec::new();
    for (key, counts) in question.prices.missing() {
        all.push(format!("[cost] has no `{key}`: {counts} counts"));
    }
    for (key, what) in question.prices.not_looked_at() {
        all.push(format!("[cost] has no `{key}`: {what}"));
    }
    let free: Vec<&str> = question.catalogue.iter().filter(|s| s.cost == 0.0).map(|s| s.name.as_str()).collect();
    if !free.is_empty() {
        all.push(format!("the catalogue has no cost for {}: these pieces count as free", free.join(", ")));
    }
    for p in &question.priced {
        let now = p.levels[p.now].tol;
        if (now / p.tol_now - 1.0).abs() > 1e-6 {
            all.push(format!(
                "{}: the drawn tolerance is none of its grades; the nearest stands for it where the drawing is meant",
                p.dimension
            ));
        }
    }
    all
}
