//! The plan as a page: what is overdue, the year, each window's work, what comes of doing nothing, the cheapest interval.

use super::tables::{self, Of};
use super::{AT_ONCE, NEW_PARTS, having, interval, outlook, renews, text, timeline, window_name};
use crate::envelope::Envelope;
use crate::figure::{Error, Figure, unique};
use crate::number::count;
use crate::page::{Answer, PLANNING_CAUTIONS, Page, Section};
use crate::table::Standing;
use maud::{Markup, html};
use packdrift_due::{DueResult, EngineStatus};

/// Engines listed in the page's own table; all are in `tables/engines.csv`.
const LISTED: usize = 60;

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, result: &DueResult) -> Result<String, Error> {
    let mut figures: Vec<Figure> = timeline::figure(result)?.into_iter().collect();
    let year = figures.len();
    figures.extend(outlook::figure(result)?);
    let months = figures.len();
    for i in &result.intervals {
        figures.push(interval::figure(i, result)?);
    }
    unique(&mut figures.iter_mut().collect::<Vec<_>>());
    let mut sections = vec![
        Section::new("The year ahead", engines(result, &figures[..year])),
        Section::new("Window by window", windows(result)),
        Section::new("If nothing is done", undone(result, &figures[year..months])),
    ];
    if !result.intervals.is_empty() {
        sections.push(Section::new("The cheapest interval", intervals(result, &figures[months..])));
    }
    let page = Page {
        title: "When each engine is due for re-shimming".into(),
        kind: "Plan from inspection readings and service windows".into(),
        notice: String::new(),
        answer: Some(answer(result)),
        sections,
        cautions: PLANNING_CAUTIONS.to_vec(),
    };
    Ok(page.html(envelope))
}

fn answer(result: &DueResult) -> Answer {
    let n = |s| having(result, s).len();
    let standing = if n(EngineStatus::Overdue) + n(EngineStatus::Late) > 0 {
        Standing::Act
    } else if n(EngineStatus::Due) + n(EngineStatus::Watch) > 0 {
        Standing::Attend
    } else {
        Standing::Good
    };
    Answer { standing, sentence: text::sentence(result), advice: text::summary(result) }
}

fn engines(result: &DueResult, figures: &[Figure]) -> Markup {
    let rest = result.engines.len().saturating_sub(LISTED);
    html! {
        @for figure in figures { (figure.html()) }
        p.soft {
            "Overdue: more likely than not a valve is in its damage zone. Late: the latest date has passed. Due: the chance exceeds the acceptable risk within the horizon. Watch: half of it. Valves of one engine \
             count as independent, which makes the date, if anything, early."
        }
        (tables::engines(result, LISTED).html())
        @if rest > 0 { p.note { (count(rest as u64)) " more engines are in the table of engines (tables/engines.csv)." } }
    }
}

fn windows(result: &DueResult) -> Markup {
    html! {
        @if result.plan.windows.is_empty() { p { "The policy has no service window to come." } }
        @else {
            (tables::windows(result).html())
            p.soft {
                "The whole shaft comes off, so all valves are done together that would otherwise keep the engine's chance above the acceptable risk before the \
                 following window. Correction: how far the rocker has to move to its aim; positive: the offset has to grow."
                @if renews(result) { " " (NEW_PARTS) }
            }
        }
        @let at_once = tables::work(result, Of::AtOnce);
        @if !at_once.rows.is_empty() { h3 { "At once, outside the windows" } p { (AT_ONCE) } (at_once.html()) }
        @for (k, window) in result.plan.windows.iter().enumerate() {
            @if !window.engines.is_empty() {
                h3 { (window_name(result, k)) }
                (tables::work(result, Of::Window(k)).html())
            }
        }
        @let corrections = tables::corrections(result);
        @if !corrections.rows.is_empty() {
            details { summary { "Corrections to be expected, by size" } (corrections.html()) }
        }
    }
}

fn undone(result: &DueResult, figures: &[Figure]) -> Markup {
    html! {
        @for line in text::outlook_lines(result) { p { (line) } }
        @for figure in figures { (figure.html()) }
    }
}

fn intervals(result: &DueResult, figures: &[Figure]) -> Markup {
    html! {
        @for line in text::interval_lines(result) { p { (line) } }
        @for figure in figures { (figure.html()) }
        (tables::intervals(result).html())
    }
}
