//! Which pieces to fit: the builds in order, what to expect of each, the bay before and after, and the sheet for the bench.

mod json;
mod sheet;
mod tables;
mod text;

pub use json::json;
pub use sheet::sheet;
pub use tables::tables;
pub use text::text;

use crate::bay;
use crate::envelope::Envelope;
use crate::figure::{Error, Figure, unique};
use crate::number::{chance, fixed, plus_minus};
use crate::page::{Answer, Page, Section, WORKSHOP_CAUTIONS};
use crate::table::Standing;
use maud::{Markup, html};
use packdrift_pack::QuantityKind;
use packdrift_stock::{After, Assembled, Bench, Build, Expectation, Forecast, Measured, Origin, PlacedPiece, Proposal};

/// A question for the bench, and what came of it.
#[derive(Debug)]
pub struct Shimming<'a> {
    /// The pack file's title.
    pub title: &'a str,
    /// The bench as the question found it.
    pub bench: &'a Bench,
    /// The readings it was asked with.
    pub measured: &'a [Measured],
    /// The day of each reading, where it comes from inspections: days since 1970-01-01.
    pub read_on: &'a [Option<i32>],
    /// The builds.
    pub proposal: &'a Proposal,
    /// The chance that is good enough.
    pub enough: f64,
    /// What a further part touched must bring in chance.
    pub per_part: f64,
    /// The build that was made (from 1) and what was measured after it.
    pub after: Option<(usize, &'a After)>,
}

impl Shimming<'_> {
    fn valves(&self) -> String {
        self.measured.iter().map(|m| m.valve.as_str()).collect::<Vec<_>>().join(" and ")
    }

    /// The build to make: the one that touches fewest parts of those good enough, else the first.
    fn advised(&self) -> Option<usize> {
        self.proposal.fewest.or_else(|| (!self.proposal.builds.is_empty()).then_some(0))
    }
}

/// How good a chance is.
fn standing(share: f64, enough: f64) -> Standing {
    if share >= enough {
        Standing::Good
    } else if share >= 0.5 {
        Standing::Attend
    } else {
        Standing::Act
    }
}

/// What to do, in sentences: what comes out, and what goes where in which order.
fn instructions(build: &Build) -> String {
    let mut sentences = Vec::new();
    if !build.taken_out.is_empty() {
        let out: Vec<String> =
            build.taken_out.iter().map(|out| format!("{} ({})", out.name, fixed(out.thickness, 3))).collect();
        sentences.push(format!("Take out {}.", out.join(" and ")));
    }
    for place in build.places.iter().filter(|place| place.pieces.iter().any(|piece| piece.origin != Origin::Stays)) {
        let pieces: Vec<String> = place.pieces.iter().map(piece_words).collect();
        let between = place.label.replacen(" | ", " and ", 1);
        sentences.push(if pieces.len() == 1 {
            format!("Between {between} put {}.", pieces[0])
        } else {
            format!("Between {between}, from the left: {}.", pieces.join(", then "))
        });
    }
    if sentences.is_empty() { "Nothing is to be changed.".to_owned() } else { sentences.join(" ") }
}

/// `left face | rocker 1: S03 0.411; …`, the places that change only.
fn changes(build: &Build) -> String {
    let mut words: Vec<String> = build
        .places
        .iter()
        .filter(|place| place.pieces.iter().any(|piece| piece.origin != Origin::Stays))
        .map(|place| {
            let pieces: Vec<String> = place.pieces.iter().map(piece_words).collect();
            format!("{}: {}", place.label, pieces.join(" + "))
        })
        .collect();
    if !build.taken_out.is_empty() {
        let out: Vec<&str> = build.taken_out.iter().map(|out| out.name.as_str()).collect();
        words.push(format!("out: {}", out.join(", ")));
    }
    if words.is_empty() { "leave it as it is".to_owned() } else { words.join("; ") }
}

fn piece_words(piece: &PlacedPiece) -> String {
    let thickness = fixed(piece.thickness, 3);
    let mut words = match &piece.origin {
        Origin::Stays => format!("{} {thickness} (stays)", piece.name),
        Origin::Moved { .. } => format!("{} {thickness} (moved)", piece.name),
        Origin::Drawer { .. } => format!("{} {thickness}", piece.name),
        Origin::Wished => piece.name.clone(),
    };
    if let Some(from) = piece.thinned_from {
        words = format!("{} thinned by hand from {} to {thickness}", piece.name, fixed(from, 3));
    } else if !piece.measured && matches!(piece.origin, Origin::Drawer { .. }) {
        words = format!("{} (not measured, {thickness} expected)", piece.name);
    } else if !piece.measured && piece.origin != Origin::Stays {
        words.push_str(" (not measured)");
    }
    words
}

/// `contact offset, 1 intake, running`.
fn expectation_words(e: &Expectation) -> String {
    format!("{}, {}, {}", e.kind.label(), e.of, e.condition)
}

fn unit(kind: QuantityKind) -> &'static str {
    kind.unit()
}

fn answer(shimming: &Shimming<'_>) -> Answer {
    if let Some((number, after)) = shimming.after {
        return answer_after(shimming, number, after);
    }
    let Some(best) = shimming.advised().map(|k| &shimming.proposal.builds[k]) else {
        return Answer {
            standing: Standing::Act,
            sentence: "No build can be assembled from these pieces.".into(),
            advice: String::new(),
        };
    };
    let share = best.forecast.chance;
    let sentence = if best.is_as_now() {
        format!(
            "Leave {} as it is: offset and preload are inside their limits with a chance of {}.",
            shimming.valves(),
            chance(share)
        )
    } else {
        let parts = crate::number::counted(best.touched, "part");
        format!(
            "For {}: {parts} touched, and offset and preload are inside their limits with a chance of {}.",
            shimming.valves(),
            chance(share)
        )
    };
    let mut advice = instructions(best);
    if let Some(missing) = &shimming.proposal.missing {
        let thickness = fixed(missing.thickness, 3);
        match missing.good_enough {
            Some((low, high)) => advice.push_str(&format!(
                " What is missing is a piece of {thickness} mm (anything from {} to {})",
                fixed(low, 3),
                fixed(high, 3)
            )),
            None => advice.push_str(&format!(
                " No single further piece would be enough; the one that brings most is of {thickness} mm"
            )),
        }
        if let Some(near) = &missing.nearest_to_be_had {
            let days = near.lead_days.map_or_else(|| "in the drawer".to_owned(), |d| format!("{} days", fixed(d, 0)));
            advice.push_str(&format!(
                "; the nearest that can be had is {} ({days}), chance {}",
                near.name,
                chance(near.chance)
            ));
        }
        advice.push_str(&format!(
            ". With it, a chance of {}: {}",
            chance(missing.build.forecast.chance),
            instructions(&missing.build)
        ));
    }
    Answer { standing: standing(share, shimming.enough), sentence, advice }
}

fn answer_after(shimming: &Shimming<'_>, number: usize, after: &After) -> Answer {
    let read: Vec<String> = after
        .readings
        .iter()
        .map(|r| {
            format!(
                "{} reads {} where {} mm was expected",
                r.valve,
                fixed(r.reading, 3),
                plus_minus(r.surprise.expected, r.surprise.sd)
            )
        })
        .collect();
    let verdict = if after.done { "it is done" } else { "it is not good enough yet" };
    let sentence = format!(
        "After build {number}: {}; {verdict}: inside the limits with a chance of {}.",
        read.join("; "),
        chance(after.now.chance)
    );
    let mut advice = String::new();
    if after.readings.iter().any(packdrift_stock::Compared::is_surprising) {
        advice.push_str("That is more than three standard deviations off: look for dirt, a wrong piece or a rocker that hangs, and measure again. ");
    }
    let next = after.next.as_ref().and_then(|next| next.builds.get(next.fewest.unwrap_or(0)));
    if let Some(next) = next {
        advice.push_str(&format!(
            "Next: {} That comes inside with a chance of {}.",
            instructions(next),
            chance(next.forecast.chance)
        ));
    }
    Answer { standing: standing(after.now.chance, shimming.enough), sentence, advice }
}

/// The bay before, and after the first build.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(shimming: &Shimming<'_>) -> Result<Vec<Figure>, Error> {
    let mut figures = vec![drawing("bay-before", "The bay before", &shimming.bench.assembled())?];
    if let Some(build) = shimming.advised().map(|k| &shimming.proposal.builds[k]).filter(|build| !build.is_as_now()) {
        figures.push(drawing("bay-after", "The bay after the build", &shimming.bench.assembled_with(build))?);
    }
    let mut all: Vec<&mut Figure> = figures.iter_mut().collect();
    unique(&mut all);
    Ok(figures)
}

fn drawing(id: &str, title: &str, bay: &Assembled) -> Result<Figure, Error> {
    let scene = bay::Scene { pack: &bay.pack, bay: bay.bay, condition: bay.condition, values: &bay.values };
    bay::figure(id, title, &scene)
}

fn heading(table: &str) -> &'static str {
    match table {
        "builds" => "Builds",
        "expected" => "What to expect",
        "measure-first" => "What to measure first",
        "after" => "After the build",
        "learned" => "What the reading taught",
        _ => "What to do next",
    }
}

/// The page.
///
/// # Errors
/// As for [`figures`].
pub fn page(envelope: &Envelope, shimming: &Shimming<'_>) -> Result<String, Error> {
    let figures = figures(shimming)?;
    let drawn: Markup = html! { @for figure in &figures { (figure.html()) } };
    let mut sections: Vec<Section> =
        tables(shimming).iter().map(|t| Section::new(heading(&t.name), html! { (t.html()) })).collect();
    sections.insert(0, Section::new("The bay before and after", drawn));
    let page = Page {
        title: format!("Which shims for {}?", shimming.valves()),
        kind: format!("Shims from the drawer: {}", shimming.title),
        notice: String::new(),
        answer: Some(answer(shimming)),
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
