//! The whole question, from the first draws to the verdict.

use crate::assumptions::{self, Otherwise, otherwise};
use crate::bound::at_least;
use crate::draws::{BUILDS_OF_A_YEAR, Drawer, Draws, Needed};
use crate::error::PolicyError;
use crate::estimate::Estimate;
use crate::neighbours::{Alone, PriceChange, alone, price_changes};
use crate::pick::{MAYBE, Picker, SPARE, aim};
use crate::quantities::quantities;
use crate::question::{Choice, Pieces, Priced, Question};
use crate::search::{Free, Search};
use crate::shop::{Measuring, Packets};
use crate::simulate::{Ready, Tally};
use crate::verdict::verdict;
use packdrift_numerics::stream::{BLOCK, DEFAULT_SEED};
use packdrift_spread::{AllocateOptions, Progress, Silent, allocate};
use packdrift_verdict::Verdict;
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

/// Builds over the ceiling: with none outside among so many the limit at three standard errors is half of the ceiling.
const OVER_CEILING: f64 = 14.0;
/// Final builds are not raised beyond this, whatever the ceiling.
const MOST_FINAL: usize = 1 << 20;
/// Final builds are doubled this often where the ceiling lies between the estimate and its bound.
const DOUBLED: u32 = 4;

impl Effort {
    /// With final builds that can show a ceiling to be kept at all.
    pub(crate) fn for_ceiling(&self, ceiling: f64) -> Self {
        let needed = ((OVER_CEILING / ceiling) as usize).min(MOST_FINAL);
        Self { final_builds: self.final_builds.max(needed), ..self.clone() }
    }
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
    /// The answer on the draws of the search, to compare `alone` with.
    pub on_search: Option<Estimate>,
    /// What each decision is worth, changed alone; on the draws of the search.
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
    let effort = &effort.for_ceiling(question.ceiling);
    let draws = Draws::new(question, effort.builds, effort.seed, "search")?;
    let besides = 2 * FOR_A_COMPARISON.min(effort.choices) + CURVE.len() * FOR_A_POINT.min(effort.choices);
    let changes = question.priced.len() * 2 + question.catalogue.len() + 2;
    let expected = (effort.choices + besides + changes + assumptions::choices(effort)) as u64;
    let aim = aim(question.ceiling, effort.final_builds);
    let coarse = Search::new(question, &draws, effort.choices, progress).one_of(0, expected);
    let refined = refine(coarse, effort, aim);
    let question = &refined.question;
    let mut search = Search::new(question, &draws, effort.choices, progress).one_of(0, expected);
    let exhausted = refined.go_on(&mut search, effort, aim);
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
    // The same choice is told once.
    let fresh = |estimate: Option<Estimate>| {
        let told = |e: Estimate| if e.choice == best.choice { Ok(best.clone()) } else { finish.fresh(&e.choice) };
        estimate.map(told).transpose()
    };
    // What stands beside the answer is to keep the ceiling as it does, where anything of its kind that was tried can.
    // Builds that nobody fits are soon drawn: all of them show what a quarter would not.
    let shown = |may: &dyn Fn(&Choice) -> bool, builds: usize| {
        let candidates = search.cheapest_of(MAYBE * question.ceiling, FOR_A_SHOWN_POINT, may);
        picker.shown(&candidates, question.ceiling, builds, progress)
    };
    let tolerances = shown(&|c| c.sizes == 0, effort.final_builds).or(tolerances);
    let drawer = shown(&|c| c.levels == drawn.levels, effort.final_builds / 4).or(drawer);
    let on_search = search.try_one(&best.choice);
    let (today, tolerances_alone, drawer_alone) = (fresh(today)?, fresh(tolerances)?, fresh(drawer)?);
    Ok(Policy {
        verdict: verdict(question, &best, effort, stopped)?,
        warnings: warnings(question),
        today,
        tolerances_alone,
        drawer_alone,
        question: question.clone(),
        best,
        known,
        stopped,
        curve,
        on_search,
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
    let effort = &effort.for_ceiling(question.ceiling);
    let draws = Draws::new(question, effort.builds, effort.seed, "search")?;
    let aim = aim(question.ceiling, effort.final_builds);
    let refined = refine(Search::new(question, &draws, effort.choices, progress), effort, aim);
    let question = &refined.question;
    let mut search = Search::new(question, &draws, effort.choices, progress);
    refined.go_on(&mut search, effort, aim);
    let chosen = Picker::new(question, effort, "pick")?.pick(&search, aim, progress)?;
    let best = Finish { question, effort }.with_drawer(chosen)?;
    let verdict = verdict(question, &best, effort, search.stopped || progress.cancelled())?;
    Ok((best, verdict))
}

/// A question with finer steps about what a first search found, and what that search knows.
struct Refined<'a> {
    question: Question,
    places: Vec<Vec<u8>>,
    /// The tolerances that the plain allocation finds, without any fitting.
    alone: Option<Vec<f64>>,
    search: Search<'a>,
    exhausted: bool,
}

/// Searches the steps as they are, and lays finer ones about the best. Where nothing is fitted the tolerances of [`packdrift_spread::allocate`],
/// which knows no steps, are among them.
fn refine<'a>(mut search: Search<'a>, effort: &Effort, aim: f64) -> Refined<'a> {
    let question = search.question;
    let exhausted = search.all();
    if !exhausted {
        from_everywhere(&mut search, aim, effort.choices);
    }
    let stepped = question.priced.iter().any(|p| p.stepped);
    let best = search.cheapest(aim, 1).pop().or_else(|| search.least_outside());
    let Some(best) = best.filter(|_| stepped && !search.stopped) else {
        let places = question.priced.iter().map(|p| (0..p.levels.len() as u8).collect()).collect();
        return Refined { question: question.clone(), places, alone: None, search, exhausted };
    };
    // So far below the ceiling that draws can show it to be kept.
    let scatter = (question.ceiling * (1.0 - question.ceiling) / effort.final_builds as f64).sqrt();
    let wanted = (SPARE * question.ceiling - 4.0 * scatter).max(0.3 * question.ceiling);
    let options = AllocateOptions { max_out: Some(wanted), seed: effort.seed };
    // A ceiling that no tolerances keep by themselves is an answer too: then nothing is laid.
    let alone = allocate(&question.stack, &options, &Silent).ok();
    let tol_of = |p: &Priced| {
        let found = alone.as_ref()?.dimensions.iter().find(|of| of.dimension == p.dimension);
        found.map(|of| of.tol)
    };
    let alone: Option<Vec<f64>> = question.priced.iter().map(tol_of).collect();
    let besides: Vec<(usize, f64)> = alone.iter().flatten().copied().enumerate().collect();
    let (question, places) = question.refined(&best.choice, &besides);
    Refined { question, places, alone, search, exhausted }
}

impl Refined<'_> {
    /// Goes on with the finer steps; whether all choices were tried.
    fn go_on(&self, search: &mut Search<'_>, effort: &Effort, aim: f64) -> bool {
        search.adopt(&self.search, &self.places);
        let same = self.places.iter().zip(&self.question.priced).all(|(old, p)| old.len() == p.levels.len());
        if same || search.stopped {
            return self.exhausted;
        }
        if self.exhausted && search.all() {
            return true;
        }
        if let Some(tols) = &self.alone {
            let nearest = |(p, tol): (&Priced, &f64)| {
                let off = |l: usize| (p.levels[l].tol / tol).ln().abs();
                (0..p.levels.len()).min_by(|&a, &b| off(a).total_cmp(&off(b))).unwrap_or(0) as u8
            };
            let levels = self.question.priced.iter().zip(tols).map(nearest).collect();
            search.allow(1);
            search.try_one(&Choice { levels, sizes: 0, pieces: Pieces::AsBought });
        }
        search.allow(effort.choices / 3);
        if let Some(best) = search.cheapest(aim, 1).pop() {
            search.walk(&best.choice, aim, Free::Everything);
        }
        false
    }
}

/// Walks from the drawing, from the tightest and from the cheapest tolerances.
pub(crate) fn from_everywhere(search: &mut Search<'_>, aim: f64, choices: usize) {
    search.see_what_a_ceiling_is_worth();
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
    /// A part of the builds that give the answer's figures: what stands side by side differs by what it is, not by what it drew.
    fn fresh(&self, choice: &Choice) -> Result<Estimate, PolicyError> {
        let drawer = Drawer::new(self.question, self.effort.seed, "final")?;
        let part = if choice.sizes == 0 { 1 } else { 4 };
        Ok(on_fresh(self.question, choice, &drawer, self.effort.final_builds / part))
    }

    /// The final figures, with quantities that serve all sizes together.
    pub(crate) fn with_drawer(&self, choice: Choice) -> Result<Estimate, PolicyError> {
        let (question, effort) = (self.question, self.effort);
        let drawer = Drawer::new(question, effort.seed, "final")?;
        let ready = Ready::new(question, &choice);
        let mut blocks = effort.final_builds.div_ceil(BLOCK);
        let mut tally = run_fresh(&ready, &choice, &drawer, 0..blocks, true);
        let mut alone = Estimate::new(question, &choice, &ready, &tally, None);
        // A ceiling between the estimate and its bound is not told by these builds: more of them tell it, or say that it is close.
        for _ in 0..DOUBLED {
            if alone.held_to > question.ceiling || alone.bound <= question.ceiling {
                break;
            }
            let more = run_fresh(&ready, &choice, &drawer, blocks..2 * blocks, false);
            tally = Tally::of(vec![tally, more]);
            blocks *= 2;
            alone = Estimate::new(question, &choice, &ready, &tally, None);
        }
        if choice.sizes == 0 {
            return Ok(alone);
        }
        let start: Vec<u32> = alone.drawer.iter().map(|h| h.level).collect();
        let (service, builds) = (question.shop.service, question.prices.builds());
        let found = quantities(ready.sizes(), &tally.taken, builds, &start, (service, effort.seed))?;
        let mut estimate = Estimate::new(question, &choice, &ready, &tally, Some(&found.levels));
        (estimate.service, estimate.short_at_most) = (Some(found.service), Some(found.short_at_most));
        Ok(estimate)
    }

    /// For each ceiling of the curve the cheapest on the draws of the search.
    fn walk_the_curve(&self, search: &mut Search<'_>) -> Vec<Walked> {
        let mut walked = Vec::new();
        for factor in CURVE {
            let ceiling = factor * self.question.ceiling;
            if ceiling >= 0.5 && factor > 1.0 {
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
                let told = |choice| if choice == best.choice { Ok(best.clone()) } else { self.fresh(&choice) };
                choice.map(told).transpose()?
            };
            Ok(CurvePoint { ceiling, estimate })
        };
        let mut curve = walked.into_iter().map(point).collect::<Result<Vec<CurvePoint>, PolicyError>>()?;
        what_keeps_less_keeps_more(&mut curve);
        Ok(curve)
    }
}

/// What keeps a stricter ceiling keeps a laxer one: no point costs more than one before it, and none is open where one before it is not.
fn what_keeps_less_keeps_more(curve: &mut [CurvePoint]) {
    let mut kept: Option<Estimate> = None;
    for point in curve {
        let own = point.estimate.as_ref().filter(|own| own.bound <= point.ceiling).map(|own| own.cost.value);
        if let Some(before) = kept.as_ref().filter(|before| own.is_none_or(|own| before.cost.value < own)) {
            point.estimate = Some(before.clone());
        } else if own.is_some() {
            kept.clone_from(&point.estimate);
        }
    }
}

/// What the search has for a ceiling, cheapest first.
struct Walked {
    ceiling: f64,
    candidates: Vec<Estimate>,
}

fn warnings(question: &Question) -> Vec<String> {
    let mut all = Vec::new();
    for (key, counts) in question.prices.missing() {
        all.push(format!("[cost] has no `{key}`: {counts} counts"));
    }
    for (key, what) in question.prices.not_looked_at() {
        all.push(format!("[cost] has no `{key}`: {what}"));
    }
    let shop = &question.shop;
    if shop.drawn_measured && question.prices.measuring.is_none() {
        all.push("[cost] has no `measuring`: measuring the pieces of the drawing counts as free".to_owned());
    }
    if shop.measuring == Measuring::WholeDrawer && question.prices.measuring.is_none() {
        all.push(
            "[cost] has no `measuring`: no piece of the drawer is measured, so who pays for it changes nothing"
                .to_owned(),
        );
    }
    if shop.packets == Packets::Year && question.prices.builds() > BUILDS_OF_A_YEAR as f64 {
        all.push(format!(
            "a year is counted by {BUILDS_OF_A_YEAR} of its {} builds: a bad year is told somewhat worse than it is",
            question.prices.builds()
        ));
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
