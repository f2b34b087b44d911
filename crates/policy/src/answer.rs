//! The whole question, from the first draws to the verdict.

use crate::draws::{Drawer, Draws};
use crate::error::PolicyError;
use crate::estimate::{Estimate, Figure};
use crate::neighbours::{Alone, PriceChange, alone, price_changes};
use crate::quantities::quantities;
use crate::question::{Choice, Question};
use crate::search::{Free, Search};
use crate::shop::{CeilingFor, Measuring, Packets, Shop, Touched};
use crate::simulate::{Ready, Tally};
use packdrift_numerics::stream::{BLOCK, DEFAULT_SEED};
use packdrift_spread::Progress;
use packdrift_verdict::{Evidence, Verdict};
use rayon::prelude::*;

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
        /// Every tolerance at its cheapest, and nothing else.
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

/// What would be if the shop worked otherwise.
#[derive(Debug, Clone, PartialEq)]
pub struct Otherwise {
    /// In what.
    pub assumption: &'static str,
    /// As it is taken to be.
    pub stands: String,
    /// Otherwise.
    pub instead: String,
    /// The same choice then.
    pub same: Estimate,
    /// The best near it then.
    pub best: Estimate,
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
/// Choices tried besides for each point of the curve, for the comparisons, for each assumption turned.
const FOR_A_POINT: usize = 40;
const FOR_A_COMPARISON: usize = 150;
const FOR_AN_ASSUMPTION: usize = 40;
/// Candidates drawn afresh before one is taken, and how far beyond the ceiling the draws of the search may put them.
const CANDIDATES: usize = 60;
const MAYBE: f64 = 1.25;
/// Of the ceiling, what the draws that pick must keep: the final ones are others.
const SPARE: f64 = 0.97;

/// Chooses tolerances and drawer together.
///
/// # Errors
/// [`PolicyError`]: a pack that cannot be drawn, or stopped before anything was tried.
pub fn choose_policy(question: &Question, effort: &Effort, progress: &dyn Progress) -> Result<Policy, PolicyError> {
    let draws = Draws::new(question, effort.builds, effort.seed, "search")?;
    let mut search = Search::new(question, &draws, effort.choices, progress);
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
    let finish = Finish { question, effort, aim };
    let walked = if search.stopped { Vec::new() } else { finish.walk_the_curve(&mut search) };
    let chosen = pick(question, &search, aim, effort)?;
    let best = finish.with_drawer(chosen)?;
    let choices = search.tried().count();
    let known = if exhausted {
        Known::Exhausted { choices }
    } else {
        Known::BestFound { choices, at_least: question.at_least() }
    };
    let stopped = search.stopped;
    let (curve, decisions, prices, otherwise) = if stopped {
        (Vec::new(), Vec::new(), Vec::new(), Vec::new())
    } else {
        let curve = finish.curve(walked, &best)?;
        search.allow(10 * question.priced.len() * 10 + 200);
        let decisions = alone(&mut search, &best.choice);
        let prices = price_changes(question, &search, &best.choice, aim);
        (curve, decisions, prices, finish.otherwise(&best, progress)?)
    };
    let fresh = |estimate: Option<Estimate>| estimate.map(|e| finish.fresh(&e.choice, "beside")).transpose();
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

/// What the search aims at: below the ceiling by what fresh draws need to show it.
fn aim(ceiling: f64, builds: usize) -> f64 {
    let se = (ceiling * (1.0 - ceiling) / builds as f64).sqrt();
    (ceiling - crate::estimate::SURE * se).max(0.3 * ceiling)
}

/// Walks from the drawing, from the tightest and from the cheapest tolerances.
fn from_everywhere(search: &mut Search<'_>, aim: f64, choices: usize) {
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

/// The cheapest candidate that fresh draws (not those that found it, nor the final ones) show to keep the ceiling; else the best so far. The
/// draws of the search are few: what they put just beyond the aim may well keep the ceiling, so it is asked too.
fn pick(question: &Question, search: &Search<'_>, aim: f64, effort: &Effort) -> Result<Choice, PolicyError> {
    let candidates = search.cheapest(MAYBE * question.ceiling, CANDIDATES);
    let drawer = Drawer::new(question, effort.seed, "pick")?;
    let asked = |choice: &Choice, builds: usize| {
        let ready = Ready::new(question, choice);
        let tally = run_fresh(&ready, &drawer, builds, false);
        Estimate::new(question, choice, &ready, &tally, None)
    };
    for candidate in &candidates {
        let quick = asked(&candidate.choice, effort.final_builds / 8);
        if quick.held_to - 2.0 * quick.out.standard_error > aim {
            continue;
        }
        let estimate = asked(&candidate.choice, effort.final_builds);
        if estimate.bound <= question.ceiling * SPARE {
            return Ok(without_idle_sizes(question, estimate, &asked, effort.final_builds));
        }
    }
    let tighter = search.cheapest(0.7 * aim, 1).pop();
    let found = tighter.or(candidates.into_iter().next()).or_else(|| search.least_outside());
    found.map(|e| e.choice).ok_or(PolicyError::Stopped)
}

/// Sizes that are hardly ever taken are not held where the ceiling is kept without them at no more than this part of the cost.
const IDLE: f64 = 1e-3;

fn without_idle_sizes(
    question: &Question,
    mut now: Estimate,
    asked: &impl Fn(&Choice, usize) -> Estimate,
    builds: usize,
) -> Choice {
    loop {
        let idle = now.drawer.iter().filter(|h| h.taken < IDLE).min_by(|a, b| a.taken.total_cmp(&b.taken));
        let Some(size) = idle.map(|h| h.size).filter(|_| now.drawer.len() > 1) else { return now.choice };
        let then = asked(&Choice { sizes: now.choice.sizes & !(1 << size), ..now.choice.clone() }, builds);
        if then.bound > question.ceiling * SPARE || then.cost.value > now.cost.value * (1.0 + IDLE) {
            return now.choice;
        }
        now = then;
    }
}

/// Fresh builds, block by block, none of them kept.
pub(crate) fn run_fresh(ready: &Ready<'_>, drawer: &Drawer<'_>, builds: usize, taken: bool) -> Tally {
    let blocks = builds.div_ceil(BLOCK) as u64;
    let tallies: Vec<Tally> =
        (0..blocks).into_par_iter().map(|block| ready.block(&drawer.block(block), taken)).collect();
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
    let drawer = Drawer::new(question, seed, "one choice")?;
    let ready = Ready::new(question, choice);
    let tally = run_fresh(&ready, &drawer, builds, false);
    Ok(Estimate::new(question, choice, &ready, &tally, None))
}

struct Finish<'a> {
    question: &'a Question,
    effort: &'a Effort,
    aim: f64,
}

impl Finish<'_> {
    fn fresh(&self, choice: &Choice, purpose: &str) -> Result<Estimate, PolicyError> {
        let drawer = Drawer::new(self.question, self.effort.seed, purpose)?;
        let ready = Ready::new(self.question, choice);
        let tally = run_fresh(&ready, &drawer, self.effort.final_builds / 4, false);
        Ok(Estimate::new(self.question, choice, &ready, &tally, None))
    }

    /// The final figures, with quantities that serve all sizes together.
    fn with_drawer(&self, choice: Choice) -> Result<Estimate, PolicyError> {
        let (question, effort) = (self.question, self.effort);
        let drawer = Drawer::new(question, effort.seed, "final")?;
        let ready = Ready::new(question, &choice);
        let tally = run_fresh(&ready, &drawer, effort.final_builds, true);
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
    fn walk_the_curve(&self, search: &mut Search<'_>) -> Vec<(f64, Option<Choice>)> {
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
            walked.push((ceiling, search.cheapest(aim, 1).pop().map(|e| e.choice)));
        }
        walked
    }

    /// The curve by fresh draws; at the asked ceiling the choice that was made.
    fn curve(&self, walked: Vec<(f64, Option<Choice>)>, best: &Estimate) -> Result<Vec<CurvePoint>, PolicyError> {
        let point = |(ceiling, choice): (f64, Option<Choice>)| {
            let asked = (ceiling / self.question.ceiling - 1.0).abs() < 1e-9;
            let estimate = match choice {
                _ if asked => Some(best.clone()),
                Some(choice) => Some(self.fresh(&choice, "curve")?),
                None => None,
            };
            Ok(CurvePoint { ceiling, estimate })
        };
        walked.into_iter().map(point).collect()
    }

    /// Every assumption turned, by itself.
    fn otherwise(&self, best: &Estimate, progress: &dyn Progress) -> Result<Vec<Otherwise>, PolicyError> {
        let mut all = Vec::new();
        for (assumption, stands, instead, shop) in turned(&self.question.shop) {
            let question = Question { shop, ..self.question.clone() };
            let draws = Draws::new(&question, self.effort.builds, self.effort.seed, "search")?;
            let mut search = Search::new(&question, &draws, FOR_AN_ASSUMPTION.min(self.effort.choices), progress);
            let Some(same) = search.try_one(&best.choice) else { break };
            let found = search.walk(&best.choice, self.aim, Free::Everything);
            let found = search.cheapest(self.aim, 1).pop().or(found).unwrap_or_else(|| same.clone());
            if search.stopped {
                break;
            }
            all.push(Otherwise { assumption, stands, instead, same, best: found });
        }
        Ok(all)
    }
}

/// The shop with one assumption turned at a time: which, as it stands, instead.
fn turned(shop: &Shop) -> Vec<(&'static str, String, String, Shop)> {
    let words = |shop: &Shop| {
        [
            match shop.packets {
                Packets::EachBuild => "new for each build",
                Packets::Year => "the same for a year",
            },
            if shop.second_fitting { "made where the first reads outside" } else { "not made" },
            match shop.touched {
                Touched::Pieces => "every piece",
                Touched::Places => "every side of a rocker",
            },
            if shop.drawn_measured { "measured" } else { "not measured" },
            match shop.measuring {
                Measuring::FittedOnly => "nobody",
                Measuring::WholeDrawer => "the shop, once a year",
            },
        ]
    };
    let packets = match shop.packets {
        Packets::EachBuild => Packets::Year,
        Packets::Year => Packets::EachBuild,
    };
    let touched = match shop.touched {
        Touched::Pieces => Touched::Places,
        Touched::Places => Touched::Pieces,
    };
    let measuring = match shop.measuring {
        Measuring::FittedOnly => Measuring::WholeDrawer,
        Measuring::WholeDrawer => Measuring::FittedOnly,
    };
    let shops = [
        ("packets", 0, Shop { packets, ..shop.clone() }),
        ("second fitting", 1, Shop { second_fitting: !shop.second_fitting, ..shop.clone() }),
        ("what counts as touched", 2, Shop { touched, ..shop.clone() }),
        ("shims and washers of the drawing", 3, Shop { drawn_measured: !shop.drawn_measured, ..shop.clone() }),
        ("who pays for measuring what is not fitted", 4, Shop { measuring, ..shop.clone() }),
    ];
    let now = words(shop);
    let mut all: Vec<(&'static str, String, String, Shop)> = Vec::new();
    for (what, at, other) in shops {
        let instead = words(&other)[at].to_owned();
        all.push((what, now[at].to_owned(), instead, other));
    }
    let year = Shop { packets: Packets::Year, ceiling_for: CeilingFor::BadYear, ..shop.clone() };
    if shop.ceiling_for == CeilingFor::Mean || shop.packets == Packets::EachBuild {
        let instead = "a bad year's share, packets lasting a year".to_owned();
        all.push(("what the ceiling holds for", "the mean".to_owned(), instead, year));
    }
    all
}

fn verdict(question: &Question, best: &Estimate, stopped: bool) -> Verdict {
    let what = match (question.shop.packets, question.shop.ceiling_for) {
        (Packets::Year, CeilingFor::BadYear) => "share of builds outside after fitting, in a bad year",
        _ => "share of builds outside after fitting",
    };
    let evidence = Evidence::at_most(what, question.ceiling);
    let low = (best.held_to - (best.bound - best.held_to)).max(0.0);
    let kept = evidence.estimate(best.held_to).bounds(low, best.bound).judge();
    let mut all = kept;
    if let Some(Figure { value, standard_error }) = best.service {
        let short = Evidence::at_most("share of builds whose pieces are not there", 1.0 - question.shop.service);
        let short = short.estimate(1.0 - value).bounds(1.0 - value, 1.0 - value);
        all = all.and(short.simulation_error(standard_error).judge());
    }
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
