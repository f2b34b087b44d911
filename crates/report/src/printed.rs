//! Documents for the bench: one HTML file that prints black on white and reads on a telephone. The bench sheet and the job cards.

use crate::envelope::Envelope;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Print: black on white, one A4 or Letter page, boxes wide enough for a pencil. With the widest of the common fonts a tenth of the page stays
/// free: the step `pages` of test.sh prints the demo's sheets on paper that much shorter. A telephone
/// leaves out what is for a pencil (`paper`), so that the rest fits its width.
const STYLE: &str = "\
@page { margin: 12mm; }
body { font-family: sans-serif; line-height: 1.25; color: #000; background: #fff; margin: 0 auto; max-width: 186mm; padding: 4mm; }
h1 { font-size: 1.3em; margin: 0 0 .3em; } h2 { font-size: 1.1em; margin: .7em 0 .2em; } p { margin: .3em 0; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; } th, td { border: .3mm solid #000; padding: .2em .4em; text-align: left; vertical-align: top; }
th { font-weight: 600; } .box { min-width: 20mm; } .n { text-align: right; white-space: nowrap; }
.date { white-space: nowrap; } ul { margin: .2em 0; padding-left: 0; list-style: none; } .caution li { margin: .1em 0; }
.foot { font-size: .8em; margin-top: .7em; overflow-wrap: anywhere; }
svg { display: block; width: 100%; height: auto; } svg.narrow { display: none; }
@media screen { body { font-size: 16px; } }
@media screen and (max-width: 40rem) { body { padding: 12px; } svg.wide { display: none; } svg.narrow { display: block; } .paper { display: none; } .n { white-space: normal; } table { font-size: .9em; } }
@media print { body { padding: 0; } h2, table, ul, svg { break-inside: avoid; } h2 { break-after: avoid; } .scroll { overflow: visible; } }";

/// A document with its title, a style of its own beside that of all, and at its foot the files it was made from.
pub(crate) fn document(envelope: &Envelope, title: &str, style: &str, body: &Markup) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:";
                meta name="viewport" content="width=device-width, initial-scale=1";
                link rel="icon" href="data:,";
                title { (title) }
                style { (PreEscaped(STYLE)) (PreEscaped(style)) }
            }
            body { main {
                (body)
                p.foot {
                    "packdrift " (envelope.version) ". "
                    @for (path, sha256) in &envelope.inputs { (path) " " (sha256.get(..12).unwrap_or(sha256)) "; " }
                    "a calculation from these files, no more than they hold."
                }
            } }
        }
    };
    format!("{}\n", packdrift_visible::markup(&markup.into_string()))
}
