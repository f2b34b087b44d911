//! The tour: the whole idea on one page, from the demo's pack and the demo's inspections. Marked as invented.

use crate::envelope::Envelope;
use crate::figure::{Error, Figure, unique};
use crate::page::{PLANNING_CAUTIONS, Page, Section, WORKSHOP_CAUTIONS};
use crate::{stack, trend};
use maud::{Markup, html};
use packdrift_spread::{Stack, StackResult};
use packdrift_trend::{Policy, TrendResult};
use std::fmt::Write as _;

/// What the demo is to be called wherever it shows.
pub const INVENTED: &str = "Invented data: the engines, parts, suppliers and readings on this page do not exist.";

/// What the tour shows.
#[derive(Debug, Clone, Copy)]
pub struct Tour<'a> {
    /// The demo's pack and requirements.
    pub stack: &'a Stack,
    /// What came of it.
    pub stack_result: &'a StackResult,
    /// What came of the demo's inspections.
    pub trend_result: &'a TrendResult,
    /// The demo's policy.
    pub policy: &'a Policy,
    /// Files written: path as the reader can open it from the page's folder, and what it is for.
    pub files: &'a [(String, String)],
    /// Commands to try next, as typed, and what they answer.
    pub next: &'a [(String, String)],
}

/// The tour as text for the terminal.
pub fn text(tour: &Tour<'_>) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", crate::text::wrapped(INVENTED, 200, 0));
    let (stack, trend) = answers(tour);
    for (question, answer) in
        [("How far do preload and contact offset spread?", &stack), ("Which valves are heading for damage?", &trend)]
    {
        out.push_str(&crate::text::wrapped(question, 100, 0));
        let sentence = crate::text::wrapped(&answer.sentence, 100, 4);
        let _ = write!(out, "  {} {}", answer.standing.shape(), sentence.trim_start());
        out.push_str(&crate::text::wrapped(&answer.advice, 100, 4));
        out.push('\n');
    }
    if !tour.next.is_empty() {
        out.push_str("Next, with these files or your own in their place:\n");
        for (command, purpose) in tour.next {
            // A command stays on its line, to be copied.
            let _ = writeln!(out, "  {command}");
            out.push_str(&crate::text::wrapped(purpose, 100, 6));
        }
    }
    out
}

fn answers(tour: &Tour<'_>) -> (crate::page::Answer, crate::page::Answer) {
    (stack::answer(tour.stack, tour.stack_result), trend::answer(tour.trend_result, Some(tour.policy)))
}

/// The figures of the tour: a bay, the requirement that is worst off with its causes, the hours left, the most urgent valve.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(tour: &Tour<'_>) -> Result<Vec<Figure>, Error> {
    let mut figures =
        [stack::highlights(tour.stack, tour.stack_result)?, trend::highlights(tour.trend_result, Some(tour.policy))?]
            .concat();
    unique(&mut figures.iter_mut().collect::<Vec<_>>());
    Ok(figures)
}

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, tour: &Tour<'_>) -> Result<String, Error> {
    let (stack_answer, trend_answer) = answers(tour);
    let mut stack_figures = stack::highlights(tour.stack, tour.stack_result)?;
    let mut trend_figures = trend::highlights(tour.trend_result, Some(tour.policy))?;
    unique(&mut stack_figures.iter_mut().chain(&mut trend_figures).collect::<Vec<_>>());
    let (bay, spread) = stack_figures.split_at(1.min(stack_figures.len()));
    let page = Page {
        title: "From a shim's thickness to the day of the next overhaul".into(),
        kind: "packdrift in a minute".into(),
        lead: None,
        notice: INVENTED.into(),
        answer: None,
        sections: vec![
            Section::new("What it is about", about(bay)),
            Section::new(
                "How far do preload and contact offset spread?",
                html! {
                    (stack_answer.html())
                    p {
                        "Every thickness scatters, parts of one packet together. The pack file says by how much; the result is the share of packs that "
                        "miss a limit, and which dimension is to blame."
                    }
                    div.pair { @for figure in spread { (figure.html()) } }
                },
            ),
            Section::new(
                "Which valves are heading for damage?",
                html! {
                    (trend_answer.html())
                    p {
                        "Faces and tips wear, so the offset drifts hour by hour. From the readings of all valves the program learns how fast, for each "
                        "valve and for the fleet, and says when each is likely to reach its limit, and how sure that is."
                    }
                    @for figure in &trend_figures { (figure.html()) }
                },
            ),
            Section::new("Now with your own engine", own(tour)),
        ],
        cautions: [WORKSHOP_CAUTIONS.as_slice(), PLANNING_CAUTIONS.as_slice()].concat(),
    };
    Ok(page.html(envelope))
}

fn about(bay: &[Figure]) -> Markup {
    html! {
        p {
            "A rocker arm rides on a shaft between two fixed faces, with shims, washers and a spring washer beside it. Where its adjuster meets "
            "the valve stem matters: a millimetre off centre turns the valve a little at every lift, and it seats on a new place each time. At the centre it stops "
            "turning and hammers one place; far out, the contact runs off the edge of the stem and both are ruined."
        }
        p {
            "The shims beside the rocker set that offset. All thicknesses together set how hard the spring washer presses. "
            "So what is changed on one side is paid for on the other, and everything scatters and wears."
        }
        @for figure in bay { (figure.html()) }
    }
}

fn own(tour: &Tour<'_>) -> Markup {
    html! {
        @if !tour.files.is_empty() {
            p { "These files were written beside this page. Put your own numbers in their place; they are plain text." }
            ul { @for (path, purpose) in tour.files { li { a href=(path) { (path) } ": " (purpose) } } }
        }
        @if !tour.next.is_empty() {
            ul { @for (command, purpose) in tour.next { li { code { (command) } br; (purpose) } } }
        }
    }
}
