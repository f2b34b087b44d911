//! Which pieces to fit: the advised build, what else is worth a look, what to expect, the bay before and after, and the sheet for the bench.

mod answer;
mod json;
mod picture;
mod sheet;
mod tables;
mod text;
mod words;

pub use json::json;
pub use sheet::sheet;
pub use tables::tables;
pub use text::text;

use crate::Lengths;
use crate::bay;
use crate::envelope::Envelope;
use crate::figure::{Error, Figure, unique};
use crate::page::{Page, Section, WORKSHOP_CAUTIONS};
use answer::{answer, said};
use maud::{Markup, html};
use packdrift_stock::{Assembled, Bench, Build, Expectation, Forecast, Measured, Proposal, Rounds};
use words::{how_read, steps};

/// A question for the bench, and what came of it.
#[derive(Debug)]
pub struct Shimming<'a> {
    /// The pack file's title.
    pub title: &'a str,
    /// The unit that lengths are shown in.
    pub lengths: Lengths,
    /// The bench as the question found it.
    pub bench: &'a Bench,
    /// The readings it was asked with.
    pub measured: &'a [Measured],
    /// The day of each valve's reading, where it comes from inspections: days since 1970-01-01.
    pub read_on: &'a [Option<i32>],
    /// The builds.
    pub proposal: &'a Proposal,
    /// The chance that is good enough.
    pub enough: f64,
    /// What a further part touched must bring in chance.
    pub per_part: f64,
    /// The builds that were made, and what was measured after them.
    pub rounds: Option<&'a Rounds>,
}

/// Where the work stands: the bay as it is now, and what is to be built next.
#[derive(Debug, Clone, Copy)]
struct Current<'a> {
    bench: &'a Bench,
    /// None: nothing is to be built.
    proposal: Option<&'a Proposal>,
}

impl<'a> Shimming<'a> {
    fn valves(&self) -> String {
        self.measured.iter().map(|m| m.valve.as_str()).collect::<Vec<_>>().join(" and ")
    }

    fn current(&self) -> Current<'a> {
        match self.rounds {
            Some(rounds) => Current { bench: &rounds.after.bench, proposal: rounds.after.next.as_ref() },
            None => Current { bench: self.bench, proposal: Some(self.proposal) },
        }
    }

    /// The build to make next, where something is to be changed.
    fn to_make(&self) -> Option<&'a Build> {
        self.current().proposal.and_then(Proposal::advised).filter(|build| !build.is_as_now())
    }
}

/// The advised build, drawn before and after with what goes in and out; then the bay as it is and as it will be, to scale.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(shimming: &Shimming<'_>) -> Result<Vec<Figure>, Error> {
    let bench = shimming.current().bench;
    let mut figures = Vec::new();
    if let Some(build) = shimming.to_make() {
        figures.push(picture::figure(bench, build, shimming.lengths)?);
    }
    figures.push(drawing("bay-before", "The bay as it is", &bench.assembled(), shimming.lengths)?);
    if let Some(build) = shimming.to_make() {
        let after = bench.assembled_with(build);
        figures.push(drawing("bay-after", "The bay after the build", &after, shimming.lengths)?);
    }
    let mut all: Vec<&mut Figure> = figures.iter_mut().collect();
    unique(&mut all);
    Ok(figures)
}

fn drawing(id: &str, title: &str, bay: &Assembled, lengths: Lengths) -> Result<Figure, Error> {
    let scene = bay::Scene { pack: &bay.pack, bay: bay.bay, condition: bay.condition, values: &bay.values, lengths };
    bay::figure(id, title, &scene)
}

fn heading(table: &str) -> &'static str {
    match table {
        "builds" => "Builds",
        "expected" => "What to expect",
        "measure-first" => "What to measure first",
        "readings" => "What was read",
        "learned" => "What the readings taught",
        "made" => "The list that was built from",
        _ => "More",
    }
}

/// The page.
///
/// # Errors
/// As for [`figures`].
pub fn page(envelope: &Envelope, shimming: &Shimming<'_>) -> Result<String, Error> {
    let figures = figures(shimming)?;
    let mut sections = Vec::new();
    let said = said(shimming);
    // The steps stand under the picture, one a line: the answer need not say them too.
    let answer = if shimming.to_make().is_some() { said.beside_its_steps() } else { said.whole() };
    let lead = shimming.to_make().map(|build| {
        let steps = steps(build, shimming.lengths);
        // The picture comes first of the figures.
        html! {
            section aria-labelledby="what-to-do" {
                h2 id="what-to-do" { "What to do" }
                (figures[0].html())
                ol.steps { @for step in steps { li { (step) } } }
                p { (how_read(shimming.bench)) }
            }
        }
    });
    sections.extend(tables(shimming).iter().map(|t| Section::new(heading(&t.name), html! { (t.html()) })));
    let drawn: Markup =
        html! { @for figure in figures.iter().filter(|figure| figure.id != picture::ID) { (figure.html()) } };
    sections.push(Section::new("The bay to scale", drawn));
    let page = Page {
        title: format!("Which shims for {}?", shimming.valves()),
        kind: format!("Shims from the drawer: {}", shimming.title),
        lead,
        notice: String::new(),
        answer: Some(answer),
        sections,
        cautions: WORKSHOP_CAUTIONS.to_vec(),
    };
    Ok(page.html(envelope))
}

/// The expectations of what was asked for, then of the bay's other rockers.
fn in_order(forecast: &Forecast) -> impl Iterator<Item = &Expectation> {
    let named = forecast.expectations.iter().filter(|e| e.named);
    named.chain(forecast.expectations.iter().filter(|e| !e.named))
}
