//! Tolerances and drawer chosen together: what to buy, what to hold, what it costs, and what would change it.

mod figures;
mod json;
mod tables;

pub use figures::figures;
pub use json::json;
pub use tables::tables;

use crate::Lengths;
use crate::envelope::Envelope;
use crate::figure::Error;
use crate::number::{count, decimals, fixed, percent, share};
use crate::page::{Answer, Page, Section, WORKSHOP_CAUTIONS};
use crate::stack::{rounded_up, weight};
use crate::text::wrapped;
use maud::html;
use packdrift_policy::{Choice, Estimate, Figure as Estimated, Known, Pieces, Policy};

/// An answer, and the unit that its lengths are shown in.
#[derive(Debug, Clone, Copy)]
pub struct Answered<'a> {
    /// The answer.
    pub policy: &'a Policy,
    /// The unit that lengths are shown in.
    pub lengths: Lengths,
}

/// Decimal places of costs, in whatever money they are: three digits of a build's.
fn places(policy: &Policy) -> i32 {
    decimals(policy.best.cost.value / 100.0).unwrap_or(2)
}

/// `27.4 ± 0.03`.
fn cost(policy: &Policy, of: Estimated) -> String {
    let places = places(policy);
    let shown = fixed(of.value, places);
    // An error that rounds away is still an error.
    let error = decimals(of.standard_error).map_or_else(|| "0".to_owned(), |d| fixed(of.standard_error, d.max(places)));
    format!("{shown} ± {error}")
}

fn outside(of: Estimated) -> String {
    share(of.value, of.standard_error)
}

fn way(pieces: Pieces) -> &'static str {
    match pieces {
        Pieces::AsBought => "as bought",
        Pieces::Measured => "measured",
        Pieces::Tighter => "from tighter lots",
    }
}

fn names(policy: &Policy, choice: &Choice) -> String {
    let held = choice.held();
    let name = |k: usize| policy.question.catalogue[k].name.clone();
    if held.is_empty() { "none".to_owned() } else { held.into_iter().map(name).collect::<Vec<_>>().join(", ") }
}

/// How many tolerances of a choice are tighter and wider than drawn.
fn changed(policy: &Policy, choice: &Choice) -> (usize, usize) {
    let against = |tighter: bool| {
        policy
            .question
            .priced
            .iter()
            .zip(&choice.levels)
            .filter(|(p, l)| {
                let tol = p.levels[usize::from(**l)].tol;
                if tighter { tol < p.tol_now * (1.0 - 1e-6) } else { tol > p.tol_now * (1.0 + 1e-6) }
            })
            .count()
    };
    (against(true), against(false))
}

fn tolerances(policy: &Policy, choice: &Choice) -> String {
    let tolerances = |n: usize| if n == 1 { "tolerance" } else { "tolerances" };
    match changed(policy, choice) {
        (0, 0) => "Keep the tolerances as drawn".to_owned(),
        (0, wider) => format!("Open {wider} of {} {}", choice.levels.len(), tolerances(choice.levels.len())),
        (tighter, 0) => format!("Tighten {tighter} of {} {}", choice.levels.len(), tolerances(choice.levels.len())),
        (tighter, wider) => format!("Tighten {tighter} {} and open {wider}", tolerances(tighter)),
    }
}

/// `6 of 0.10 and 3 of 0.30`.
fn drawer(policy: &Policy, estimate: &Estimate) -> String {
    let name = |k: usize| policy.question.catalogue[k].name.as_str();
    let each: Vec<String> = estimate.drawer.iter().map(|h| format!("{} of {}", h.level, name(h.size))).collect();
    match each.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => String::new(),
    }
}

fn measure(policy: &Policy, choice: &Choice) -> &'static str {
    match choice.pieces {
        Pieces::Measured => "measure the pieces",
        Pieces::Tighter => "buy their pieces from tighter lots",
        Pieces::AsBought if policy.question.ways.contains(&Pieces::Measured) => "do not measure the pieces",
        Pieces::AsBought => "take the pieces as they come",
    }
}

fn known(policy: &Policy) -> String {
    match policy.known {
        Known::Exhausted { choices } => {
            let steps = if policy.question.priced.iter().any(|p| p.stepped) {
                " Between the steps of a tolerance whose price is a curve one may."
            } else {
                ""
            };
            format!(
                "All {} choices were tried on the same draws: there none that keeps the ceiling costs less.{steps}",
                count(choices as u64)
            )
        }
        Known::BestFound { choices, at_least } => format!(
            "It is the best of {} choices tried. No choice that keeps the ceiling costs less than {}, so another saves {} at the most.",
            count(choices as u64),
            fixed(at_least, places(policy)),
            percent((1.0 - at_least / policy.best.cost.value).clamp(0.0, 1.0))
        ),
    }
}

fn answer(policy: &Policy) -> Answer {
    let best = &policy.best;
    let year = best.cost_a_year(policy.question.prices.builds());
    let buy = tolerances(policy, &best.choice);
    let hold = if best.choice.sizes == 0 {
        "hold no sizes: builds are not read and not fitted".to_owned()
    } else {
        format!("hold {}, and {}", drawer(policy, best), measure(policy, &best.choice))
    };
    let shares = if best.choice.sizes == 0 {
        format!("{} of builds outside", outside(best.out))
    } else {
        format!("{} of builds outside after the first fitting, {} at last", outside(best.out_first), outside(best.out))
    };
    let sentence = format!(
        "{buy}, {hold}: a build costs {}, a year {}; {shares}, not above {} (ceiling {}).",
        cost(policy, best.cost),
        if year.standard_error > 0.0 {
            crate::number::plus_minus(year.value, year.standard_error)
        } else {
            cost(policy, year)
        },
        rounded_up(best.bound),
        percent(policy.question.ceiling)
    );
    let mut advice = if policy.stopped {
        "Stopped before its end: this is the best so far, and no more than that. ".to_owned()
    } else {
        String::new()
    };
    advice.push_str(&known(policy));
    Answer { standing: weight(&policy.verdict), sentence, advice }
}

/// What the figures rest on, in sentences.
fn rests_on(policy: &Policy) -> Vec<String> {
    let effort = &policy.effort;
    vec![
        format!(
            "Choices were tried on {} builds, the same for all; the figures of the answer are from {} fresh ones, those beside it from {}.",
            count(effort.builds as u64),
            count(policy.best.builds),
            count((effort.final_builds / 4) as u64)
        ),
        "Each build is assembled with the pieces of the drawing, its offsets are read, and the pieces worth most by the scoring of `shim` are fitted; inside is judged by the equilibrium of the pack, every requirement in every condition.".to_owned(),
        "Simpler than on the bench: at most three pieces come to a side, those that come out are not put in on another side, measured pieces are taken as they come and not chosen among, the drawer's packets are other ones than the drawing's, and a tolerance whose price is a curve is looked at in steps, finer about the best.".to_owned(),
        "± are standard errors of the simulation. Prices and assumptions are as good as whoever gave them.".to_owned(),
    ]
}

/// The answer as text.
pub fn text(answered: &Answered<'_>) -> String {
    let policy = answered.policy;
    let answer = answer(policy);
    let mut out = format!("{} {}", answer.standing.shape(), wrapped(&answer.sentence, 98, 2).trim_start());
    out.push_str(&wrapped(&answer.advice, 98, 2));
    for reason in policy.verdict.reasons().iter().filter(|_| !policy.verdict.is_shown()) {
        out.push_str(&wrapped(reason, 98, 2));
    }
    for table in tables(answered) {
        out.push_str(&format!("\n{}\n{}", table.caption, table.text(2)));
    }
    out.push('\n');
    for line in rests_on(policy) {
        out.push_str(&wrapped(&line, 98, 2));
    }
    out
}

/// The report.
///
/// # Errors
/// As for [`figures()`].
pub fn page(envelope: &Envelope, answered: &Answered<'_>) -> Result<String, Error> {
    let policy = answered.policy;
    let figures = figures(answered)?;
    let mut sections = Vec::new();
    for table in tables(answered) {
        let figure = figures.iter().find(|figure| figure.table.name == table.name);
        let heading = table.caption.split([':', ',']).next().unwrap_or_default().to_owned();
        sections
            .push(Section::new(&heading, html! { @if let Some(figure) = figure { (figure.html()) } (table.html()) }));
    }
    let lines = rests_on(policy);
    sections.push(Section::new("What this rests on", html! { @for line in &lines { p { (line) } } }));
    let page = Page {
        title: format!("{}: tolerances and drawer of least cost", policy.question.stack.pack.title),
        kind: "Allocation with a drawer".into(),
        notice: String::new(),
        answer: Some(answer(policy)),
        lead: None,
        sections,
        cautions: WORKSHOP_CAUTIONS.to_vec(),
    };
    Ok(page.html(envelope))
}
