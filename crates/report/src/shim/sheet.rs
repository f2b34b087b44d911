//! The bench sheet: one printed page with the build and its picture, boxes for the readings with what to accept, and the cautions. Read on a
//! telephone too, which has no printer beside it.

use super::words::{SIGN, chance_of, condition};
use super::{Current, Shimming, picture};
use crate::Lengths;
use crate::envelope::Envelope;
use crate::figure::{FONTS, Figure, Format};
use crate::number::{counted, percent};
use crate::printed;
use maud::{Markup, PreEscaped, html};
use packdrift_stock::{Acceptance, Build, Origin, PlacedPiece, Rounds};

/// Rows that fit at the usual size of letters; more make them smaller.
const ROWS: usize = 13;

/// Size of the letters on paper, pt.
fn size(rows: usize) -> f64 {
    (8.5 * ROWS as f64 / rows.max(ROWS) as f64).max(5.5)
}

/// What to take care of at the bench, in the order of the work.
const CAUTIONS: [&str; 6] = [
    "The engine maker's figures, local rules and a licensed person's judgement come before anything on this sheet.",
    "Engine isolated against starting, and cold.",
    "Spring-loaded parts: release the load evenly, keep hands and face out of line, protect your eyes.",
    "Clean every piece, deburr it, and measure it before it is fitted.",
    "Check that every rocker moves freely and has its play; turn the engine over by hand.",
    "Set the valve clearance afterwards.",
];

fn origin(piece: &PlacedPiece) -> String {
    match &piece.origin {
        Origin::Stays => "stays".to_owned(),
        Origin::Moved { from } => format!("from {from}"),
        Origin::Drawer { .. } if piece.thinned_from.is_some() => "drawer, thin by hand".to_owned(),
        Origin::Drawer { .. } => "drawer".to_owned(),
        Origin::Wished => "to be got".to_owned(),
    }
}

fn pieces(build: &Build, lengths: Lengths) -> Markup {
    let unit = lengths.unit();
    let out: Vec<String> = build
        .taken_out
        .iter()
        .map(|t| format!("{} ({} {unit}, {})", t.name, lengths.fine(t.thickness), t.place))
        .collect();
    html! {
        div.scroll { table {
            tr { th { "Place, from the left" } th { "Piece, in order" } th { "From" } th.n { "Thickness, " (unit) } th.paper { "Measured, " (unit) } th.paper { "Fitted" } }
            @for place in &build.places {
                @for (k, piece) in place.pieces.iter().enumerate() {
                    tr {
                        td { @if k == 0 { (place.label) } }
                        td { (piece.name) }
                        td { (origin(piece)) }
                        td.n {
                            @if let Some(from) = piece.thinned_from { (lengths.fine(from)) " → " }
                            (lengths.fine(piece.thickness))
                            @if !piece.measured { " (not measured)" }
                        }
                        td.box.paper {}
                        td.paper {}
                    }
                }
            }
        } }
        @if !out.is_empty() { p { "Taken out: " (out.join("; ")) "." } }
        p { "Sum " (lengths.fixed(build.sum)) " " (unit) " against " (lengths.fixed(build.old_sum)) " before: "
            (lengths.signed(build.sum - build.old_sum)) ". Chance that offset and preload are inside their limits: " (chance_of(build)) "." }
    }
}

/// What to read: offsets, where they are measured. Nobody reads a preload, or a warm engine's offsets.
fn readings(acceptance: &[Acceptance], shimming: &Shimming<'_>) -> Markup {
    let lengths = shimming.lengths;
    html! {
        div.scroll { table {
            tr { th { "Offset, " (lengths.unit()) } th.n { "Expected" } th.n { "Limits" } th.n { "Accept" } th.paper { "Reading" } th.paper { "Read again" } }
            @for one in acceptance {
                tr {
                    td { (one.valve) @if !one.named { " (not to be moved)" } }
                    td.n { (lengths.plus_minus(one.expected, one.sd)) }
                    td.n { (lengths.range(one.limits.0, one.limits.1)) }
                    td.n { @if let Some((low, high)) = one.accepted { (lengths.range(Some(low), Some(high))) } @else { "–" } }
                    td.box.paper {}
                    td.box.paper {}
                }
            }
        } }
        p {
            "Read at " (condition(shimming.bench)) ". " (capital(SIGN)) ". ±: one standard deviation of the reading, of parts and gauge; two readings of three fall \
             within it. Limits: for the reading, so that the offset keeps its own warm and cold. Accept: it is done then, with at least " (percent(shimming.enough))
            "; a reading outside is taken again, and given to the program with --result."
            @if acceptance.iter().any(|one| !one.named) { " One not to be moved that reads outside: stop and look." }
        }
    }
}

/// The first letter as a capital.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn before(shimming: &Shimming<'_>) -> Markup {
    let lengths = shimming.lengths;
    let read: Vec<(String, String)> = match shimming.rounds {
        Some(rounds) => {
            let of = |one: &packdrift_stock::Compared| (one.valve.clone(), lengths.signed(one.reading));
            rounds.after.readings.iter().map(of).collect()
        }
        None => shimming
            .measured
            .iter()
            .map(|m| (m.valve.clone(), m.readings.iter().map(|&y| lengths.signed(y)).collect::<Vec<_>>().join(", ")))
            .collect(),
    };
    html! {
        table {
            tr { th { "Valve" } th.n { "Offset read, " (lengths.unit()) } th.paper { "Read again" } }
            @for (valve, readings) in &read { tr { td { (valve) } td.n { (readings) } td.box.paper {} } }
        }
    }
}

/// The picture, as the sheet draws it: in ink alone.
fn drawn(figure: &Figure) -> Markup {
    let svg = |format: Format, class: &str| {
        let svg = format.pick(&figure.wide, &figure.narrow);
        let (w, h) = ((svg.width * 10.0).round(), (svg.height * 10.0).round());
        html! {
            svg class=(class) viewBox={ "0 0 " (w) " " (h) } width=(svg.width.round()) height=(svg.height.round()) role="img"
                aria-label=(figure.description) font-family=(FONTS) { (PreEscaped(&svg.body)) }
        }
    };
    html! { (svg(Format::Wide, "wide")) (svg(Format::Narrow, "narrow")) }
}

/// What is done, where nothing more is to be built.
fn finished(shimming: &Shimming<'_>, rounds: &Rounds) -> Markup {
    let answer = super::answer::answer(shimming);
    html! {
        h2 { @if rounds.after.done { "Done" } @else { "Where it stands" } }
        p { (answer.sentence) }
        @if !answer.advice.is_empty() { p { (answer.advice) } }
    }
}

/// The sheet for what is to be built next, or for what is done; None where there is nothing that is good enough to be built, and nothing was.
pub fn sheet(envelope: &Envelope, shimming: &Shimming<'_>) -> Option<String> {
    let Current { bench, proposal } = shimming.current();
    let build = proposal.filter(|proposal| proposal.fewest.is_some() || bench.is_loose()).and(shimming.to_make());
    if build.is_none() && shimming.rounds.is_none() {
        return None;
    }
    let title = format!("Bench sheet: {}, bay {}", shimming.valves(), bench.bay());
    let rows = build.map_or(0, |build| build.places.iter().map(|place| place.pieces.len()).sum());
    let figure = build.and_then(|build| picture::figure(bench, build, shimming.lengths).ok());
    let acceptance = build.and_then(|build| bench.acceptance(build, shimming.measured, shimming.enough).ok());
    let body = html! {
        h1 { (title) }
        p { (shimming.title) }
        table.paper { tr { td { "Engine" } td.box {} td { "Date" } td.box {} td { "Fitter" } td.box {} td { "Hours" } td.box {} } }
        h2 { "Take care" }
        ul.caution { @for caution in CAUTIONS { li { "☐ " (caution) } } }
        h2 { "Before" }
        (before(shimming))
        @if let Some(build) = build {
            h2 { "The build: " (counted(build.touched, "part")) " touched" }
            @if let Some(figure) = &figure { (drawn(figure)) }
            (pieces(build, shimming.lengths))
            h2 { "After" }
            @if let Some(acceptance) = &acceptance { (readings(acceptance, shimming)) }
        } @else if let Some(rounds) = shimming.rounds {
            (finished(shimming, rounds))
        }
    };
    Some(printed::document(
        envelope,
        &title,
        &format!("@media print {{ body {{ font-size: {}pt; }} }}", size(rows)),
        &body,
    ))
}
