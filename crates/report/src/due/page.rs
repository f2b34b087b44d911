//! The plan as a page: the answer, the year, each window's work, the order, the next looks, what comes of doing nothing, the cheapest
//! interval, scenarios side by side.

use super::tables::{self, Of};
use super::words::{AT_ONCE, NEW_PARTS, renews, window_name};
use super::{Planned, again, answer, every, interval, outlook, scenarios, text, timeline};
use crate::envelope::Envelope;
use crate::figure::{Error, Figure, unique};
use crate::number::count;
use crate::page::{Answer, PLANNING_CAUTIONS, Page, Section};
use crate::working::Sift;
use maud::{Markup, html};
use packdrift_due::{Comparison, DueResult};

/// Engines listed on top of the page; in a larger fleet every engine stands further down.
const LISTED: usize = 40;

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, planned: Planned<'_>) -> Result<String, Error> {
    let result = planned.result;
    let mut figures: Vec<Figure> = timeline::figure(result)?.into_iter().collect();
    let year = figures.len();
    figures.extend(outlook::figure(result)?);
    let months = figures.len();
    for i in &result.intervals {
        figures.push(interval::figure(i, result)?);
    }
    unique(&mut figures.iter_mut().collect::<Vec<_>>());
    let mut sections = vec![Section::new("The year ahead", engines(result, &figures[..year]))];
    if let Some(anew) = &result.anew {
        sections.push(Section::new(again::HEADING, again::form(result, anew, &envelope.inputs)));
    }
    sections.extend([
        Section::new("Window by window", windows(result)),
        Section::new("Parts to order", order(result)),
        Section::new("When to look next", looks(result)),
        Section::new("If nothing is done", undone(result, &figures[year..months])),
    ]);
    if !result.intervals.is_empty() {
        sections.push(Section::new("The cheapest interval", intervals(result, &figures[months..])));
    }
    sections.push(Section::new(every::HEADING, every::engines(planned)));
    if let Some(comparison) = planned.comparison {
        sections.push(Section::new("Scenarios", compared(comparison)));
    }
    let page = Page {
        title: "When each engine is due".into(),
        kind: "Plan from inspection readings and service windows".into(),
        lead: None,
        notice: String::new(),
        answer: Some(Answer {
            standing: answer::standing(result),
            sentence: answer::sentence(result),
            advice: answer::summary(result),
        }),
        sections,
        cautions: PLANNING_CAUTIONS.to_vec(),
    };
    Ok(page.working_html(envelope))
}

fn engines(result: &DueResult, figures: &[Figure]) -> Markup {
    let rest = result.engines.len().saturating_sub(LISTED);
    html! {
        @for figure in figures { (figure.html()) }
        p.soft {
            "Overdue: a valve was read in its damage zone, or is there more likely than not. Late: the latest date is past. Due: the chance exceeds the acceptable risk within the horizon. Watch: half of it. \
             Read again, not shown: readings decide it. Valves of one engine count as independent, which makes the date, if anything, early."
        }
        (tables::engines(result, LISTED).html())
        @if rest > 0 { p.note { (count(rest as u64)) " more are under " a href={ "#" (crate::table::slug(every::HEADING)) } { (every::HEADING) } "." } }
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
    }
}

fn order(result: &DueResult) -> Markup {
    let order = tables::short_order(result);
    html! {
        @if order.rows.is_empty() { p { "No work is planned, so nothing is to be ordered." } }
        @else {
            p.soft {
                "Expected numbers. In windows: for engines with a place. Without a place: for engines that need work before the plan's end and have none. Beyond the plan: for what falls due \
                 after it, before the window after that. The whole table is tables/demand.csv, which stock reads: it says which pieces the corrections take."
            }
            (order.html())
        }
    }
}

fn looks(result: &DueResult) -> Markup {
    let looks = tables::looks(result);
    html! {
        @if looks.rows.is_empty() { p { "Nothing calls for a look within ten years." } }
        @else { (looks.sifted(Sift { choose: &["engine", "because"], ..Sift::default() })) }
    }
}

fn compared(comparison: &Comparison) -> Markup {
    html! {
        p.soft { "The same readings and forecasts in all of them: every difference comes of the changes alone." }
        (scenarios::measures(comparison).html())
        @for line in scenarios::lines(comparison) { p { (line) } }
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
