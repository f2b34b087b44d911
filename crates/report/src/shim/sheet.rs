//! The bench sheet: one printed page with the build, boxes for the readings, and the cautions.

use super::{Shimming, in_order, unit};
use crate::envelope::Envelope;
use crate::number::{chance, fixed, limits, plus_minus};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use packdrift_pack::QuantityKind;
use packdrift_stock::{Build, Origin, PlacedPiece};

/// Print: black on white, one A4 or Letter page, boxes wide enough for a pencil. With the widest of the common fonts a tenth of the page stays
/// free: the step `pages` of test.sh prints the demo's sheets on paper that much shorter.
const STYLE: &str = "\
@page { margin: 12mm; }
body { font: 9pt/1.25 sans-serif; color: #000; background: #fff; margin: 0 auto; max-width: 186mm; padding: 4mm; }
h1 { font-size: 12pt; margin: 0 0 .5mm; } h2 { font-size: 10pt; margin: 2.5mm 0 .8mm; } p { margin: 1mm 0; }
table { border-collapse: collapse; width: 100%; } th, td { border: .3mm solid #000; padding: .6mm 1.2mm; text-align: left; vertical-align: top; }
th { font-weight: 600; } .box { min-width: 22mm; } .n { text-align: right; white-space: nowrap; }
ul { margin: .5mm 0; padding-left: 0; list-style: none; } .caution li { margin: .2mm 0; } .foot { font-size: 7pt; margin-top: 2mm; overflow-wrap: anywhere; }
@media print { body { padding: 0; } h2, table, ul { break-inside: avoid; } }";

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

fn pieces(build: &Build) -> Markup {
    html! {
        table {
            tr { th { "Place, from the left" } th { "Piece, in order" } th { "From" } th.n { "Thickness, mm" } th { "Measured, mm" } th { "Fitted" } }
            @for place in &build.places {
                @for (k, piece) in place.pieces.iter().enumerate() {
                    tr {
                        td { @if k == 0 { (place.label) } }
                        td { (piece.name) }
                        td { (origin(piece)) }
                        td.n {
                            @if let Some(from) = piece.thinned_from { (fixed(from, 3)) " → " }
                            (fixed(piece.thickness, 3))
                            @if !piece.measured { " (not measured)" }
                        }
                        td.box {}
                        td {}
                    }
                }
            }
        }
        @if !build.taken_out.is_empty() {
            p { "Taken out: " (build.taken_out.iter().map(|t| format!("{} ({} mm, {})", t.name, fixed(t.thickness, 3), t.place)).collect::<Vec<_>>().join("; ")) "." }
        }
        p { "Sum " (fixed(build.sum, 3)) " mm against " (fixed(build.old_sum, 3)) " mm before: "
            @if build.sum > build.old_sum { "+" } (fixed(build.sum - build.old_sum, 3)) " mm. Chance that offset and preload are inside their limits: " (chance(build.forecast.chance)) "." }
    }
}

/// What can be read at the bench: offsets, in the condition in which they are measured. Nobody reads a preload, or a warm engine's offsets.
fn readings(build: &Build, measured_in: &str) -> Markup {
    let read = in_order(&build.forecast).filter(|e| e.kind == QuantityKind::Offset && e.condition == measured_in);
    html! {
        table {
            tr { th { "Contact offset, " (measured_in) } th.n { "Expected" } th.n { "Limits" } th { "Reading" } }
            @for e in read {
                tr {
                    td { (e.of) ", " (unit(e.kind)) }
                    td.n { (plus_minus(e.mean, e.sd)) }
                    td.n { (limits(e.lower, e.upper)) }
                    td.box {}
                }
            }
        }
    }
}

/// The sheet for the advised build; None where there is no build.
pub fn sheet(envelope: &Envelope, shimming: &Shimming<'_>) -> Option<String> {
    let number = shimming.advised()?;
    let build = &shimming.proposal.builds[number];
    let title = format!("Bench sheet: {}, bay {}", shimming.valves(), shimming.bench.bay());
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:";
                meta name="viewport" content="width=device-width, initial-scale=1";
                link rel="icon" href="data:,";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { (title) }
                p { (shimming.title) }
                table { tr { td { "Engine" } td.box {} td { "Date" } td.box {} td { "Fitter" } td.box {} td { "Hours" } td.box {} } }
                h2 { "Take care" }
                ul.caution { @for caution in CAUTIONS { li { "☐ " (caution) } } }
                h2 { "Before" }
                table {
                    tr { th { "Valve" } th.n { "Offset measured, mm" } th { "Offset measured again, mm" } }
                    @for m in shimming.measured {
                        tr { td { (m.valve) } td.n { @if let Some(offset) = m.offset { (fixed(offset, 3)) } } td.box {} }
                    }
                }
                h2 { "Build " (number + 1) " of the list" }
                (pieces(build))
                h2 { "After" }
                (readings(build, shimming.bench.measured_in()))
                p { "If the offset reads outside what is expected, run the program again with the reading." }
                p.foot {
                    "packdrift " (envelope.version) ". "
                    @for (path, sha256) in &envelope.inputs { (path) " " (sha256.get(..12).unwrap_or(sha256)) "; " }
                    "a calculation from these files, no more than they hold."
                }
            }
        }
    };
    Some(format!("{}\n", packdrift_visible::markup(&markup.into_string())))
}
