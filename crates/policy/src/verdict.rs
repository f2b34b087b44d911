//! Whether the ceiling is shown to be kept, and the service: the count's bound, and what no count can settle.
//!
//! Three doubts are those of [`packdrift_spread::allocate`], for the same packs must not be told in two ways: a limit that can never bind, a bay
//! that is left loose, a load that sources of its formula differ on. They are looked at only where the rest is shown.

use crate::answer::{Effort, run_fresh};
use crate::draws::Drawer;
use crate::error::PolicyError;
use crate::estimate::Estimate;
use crate::question::Question;
use crate::shop::{CeilingFor, Packets};
use crate::simulate::Ready;
use packdrift_numerics::stream::BLOCK;
use packdrift_pack::UnsettledLoad;
use packdrift_spread::NeverBinds;
use packdrift_verdict::{Evidence, Verdict, loose_bay};

pub(crate) fn verdict(
    question: &Question,
    best: &Estimate,
    effort: &Effort,
    stopped: bool,
) -> Result<Verdict, PolicyError> {
    let mut all = of_shares(question, best);
    if all.is_shown() {
        all = doubts(question, best, effort)?.into_iter().fold(all, Verdict::and);
    }
    if stopped {
        let open = Verdict::not_shown("the search was stopped: this is the best so far");
        all = all.and(open.settled_by("Let it run to its end."));
    }
    Ok(all)
}

fn of_shares(question: &Question, best: &Estimate) -> Verdict {
    let what = match (question.shop.packets, question.shop.ceiling_for) {
        (Packets::Year, CeilingFor::BadYear) => "share of builds outside after fitting, in a bad year",
        _ => "share of builds outside after fitting",
    };
    let evidence = Evidence::at_most(what, question.ceiling);
    let low = (best.held_to - (best.bound - best.held_to)).max(0.0);
    let mut all = evidence.estimate(best.held_to).bounds(low, best.bound).judge();
    if best.held_to <= question.ceiling && !all.is_shown() {
        all = all.settled_by(match question.shop.packets {
            Packets::Year => "Draw more years: --final-builds, 256 builds each.",
            Packets::EachBuild => "Draw more builds: --final-builds.",
        });
    }
    let Some((found, at_most)) = best.service.zip(best.short_at_most) else { return all };
    let estimate = 1.0 - found.value;
    // As it was asked: 0.05 for a service of 0.95.
    let allowed = ((1.0 - question.shop.service) * 1e12).round() / 1e12;
    let short = Evidence::at_most("share of builds whose pieces are not there", allowed);
    let low = (2.0 * estimate - at_most).max(0.0);
    all.and(short.estimate(estimate).bounds(low, at_most).judge())
}

fn doubts(question: &Question, best: &Estimate, effort: &Effort) -> Result<Vec<Verdict>, PolicyError> {
    let mut all: Vec<Verdict> = question.never_binds.iter().map(NeverBinds::verdict_without_figures).collect();
    all.extend(loose_bay(best.loose.0, best.loose.1, question.ceiling));
    all.extend(load_not_settled(question, best, effort)?);
    Ok(all)
}

/// The same builds with every unsettled load larger, and smaller, by what its sources differ by; the mechanic goes by the drawing.
fn load_not_settled(question: &Question, best: &Estimate, effort: &Effort) -> Result<Option<Verdict>, PolicyError> {
    let (stack, nominals): (_, Vec<f64>) =
        (&question.stack, question.stack.inputs.iter().map(|input| input.nominal).collect());
    let unsettled = stack.pack.unsettled_loads(&nominals);
    let Some(first) = unsettled.first() else { return Ok(None) };
    let drawer = Drawer::new(question, effort.seed, "other loads")?;
    let name = |load: &UnsettledLoad| stack.pack.bays[load.bay].parts[load.part].name.as_str();
    for more in [true, false] {
        let times = |load: &UnsettledLoad| if more { load.factor } else { 1.0 / load.factor };
        let loads: Vec<(usize, &str, f64)> = unsettled.iter().map(|load| (load.bay, name(load), times(load))).collect();
        let ready = Ready::new(question, &best.choice).with_loads(&loads);
        let tally = run_fresh(&ready, &best.choice, &drawer, 0..effort.final_builds.div_ceil(4 * BLOCK), false);
        let with = Estimate::new(question, &best.choice, &ready, &tally, None);
        if with.bound > question.ceiling {
            let by = 100.0 * (times(first) - 1.0);
            let reason = format!(
                "kept by the formula, but not shown to be with {by:+.0} % of load of {}, which its sources leave open",
                first.path
            );
            return Ok(Some(Verdict::not_shown(reason).settled_by(
                "Measure the load of the spring washer and give it (law = \"table\", or the rate: law = \"linear\").",
            )));
        }
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;
    use crate::answer::cheapest_choice;
    use crate::prices::Prices;
    use crate::question::Asked;
    use crate::shop::Shop;
    use packdrift_spread::{Cost, Known, Require, Silent, SpringForm, StackBuilder};
    use packdrift_stock::Size;
    use packdrift_verdict::Standing;

    /// One rocker between a shim and a spring washer in a span; the verdict on what is advised.
    fn advised(span: f64, spring: SpringForm, preload: Require) -> Verdict {
        let graded = |nominal, tol, grades| Known::toleranced(nominal, tol).at_cost(Cost::Grades(grades));
        let stack = StackBuilder::new("one rocker")
            .bay("bay", Known::exact(span), |bay| {
                bay.shim("shim", graded(0.40, 0.015, vec![(0.006, 1.5), (0.015, 0.6)]))
                    .rocker("rocker", Known::exact(24.0), Known::toleranced(11.0, 0.06))
                    .spring("spring", spring)
                    .washer("outer", Known::exact(1.0))
                    .valve("exhaust", "rocker", graded(10.4, 0.12, vec![(0.05, 30.0), (0.30, 2.0)]))
            })
            .require(Require::offset("exhaust").between(0.90, 1.10))
            .require(preload)
            .build()
            .unwrap();
        let size = |thickness: f64| Size {
            name: format!("{thickness:.2}"),
            thickness,
            bias: 0.0,
            between: 0.004,
            within: 0.004,
            cost: 0.5,
            lead_days: 14.0,
        };
        let prices = Prices { minute: Some(0.8), read_minutes: Some(1.0), ..Prices::default() };
        let sizes = [0.2, 0.3, 0.5, 0.6].map(size);
        let asked = Asked { max_out: Some(0.02), ..Asked::default() };
        let question = Question::new(&stack, &sizes, &prices, &Shop::default(), &asked).unwrap();
        let effort = Effort { builds: 1024, final_builds: 8192, ..Effort::default() };
        cheapest_choice(&question, &effort, &Silent).unwrap().1
    }

    fn linear() -> SpringForm {
        SpringForm::Linear { rate: Known::exact(150.0), free_height: Known::exact(3.0) }
    }

    #[test]
    fn a_sound_shop_is_vouched_for() {
        let verdict = advised(28.0, linear(), Require::preload("bay").between(10.0, 176.0));
        assert_eq!(verdict.standing(), Standing::Shown, "{verdict:?}");
    }

    #[test]
    fn a_limit_that_never_binds_is_asked_about() {
        let verdict = advised(28.0, linear(), Require::preload("bay").between(10.0, 90_000.0));
        assert_eq!(verdict.standing(), Standing::NotShown, "{verdict:?}");
    }

    #[test]
    fn a_bay_that_rattles_is_not_vouched_for() {
        // 0.5 mm of play: the largest preload is kept by a washer that presses on nothing.
        let verdict = advised(28.9, linear(), Require::preload("bay").at_most(176.0));
        assert_ne!(verdict.standing(), Standing::Shown, "{verdict:?}");
    }
}
