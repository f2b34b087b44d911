//! The report page: one HTML file that needs nothing else. No network, and no script but our own on pages that are worked with
//! ([`crate::working`]); the policy in its head forbids all others.
//! It follows the reader's light or dark scheme, prints in light, and reads on a telephone as on a wide screen. All text
//! from outside goes through [`maud`], which escapes it.

use crate::envelope::Envelope;
use crate::figure::{FONTS, ink};
use crate::table::{Standing, whole};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// One part of a page, with a heading of the second level.
#[derive(Debug, Clone)]
pub struct Section {
    /// Heading.
    pub heading: String,
    /// The element's id: lower case, hyphens, unique on the page.
    pub id: String,
    /// What is under the heading.
    pub body: Markup,
}

impl Section {
    /// A section whose id is its heading's slug.
    pub fn new(heading: &str, body: Markup) -> Self {
        Self { heading: heading.to_owned(), id: crate::table::slug(heading), body }
    }
}

/// The answer on top of a page: the sentence that decides, and what stands behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// How good it is.
    pub standing: Standing,
    /// The sentence.
    pub sentence: String,
    /// What to do, in a line; may be empty.
    pub advice: String,
}

impl Answer {
    /// A box with the sentence, and the line of advice under it.
    pub fn html(&self) -> Markup {
        html! {
            div class={ "answer " (self.standing.class()) } {
                p.sentence { span.shape aria-hidden="true" { (self.standing.shape()) } " " (whole(&self.sentence)) }
                @if !self.advice.is_empty() { p.advice { (whole(&self.advice)) } }
            }
        }
    }
}

/// A page under construction.
#[derive(Debug, Clone)]
pub struct Page {
    /// Title of the document and heading of the first level.
    pub title: String,
    /// What kind of page it is, in a few words, over the heading.
    pub kind: String,
    /// A note in a box before all else, as that the data are invented; may be empty.
    pub notice: String,
    /// The answer.
    pub answer: Option<Answer>,
    /// What stands before the list of parts: what the reader holds the page in the hand for.
    pub lead: Option<Markup>,
    /// Its parts.
    pub sections: Vec<Section>,
    /// What the reader must take care of.
    pub cautions: Vec<&'static str>,
}

/// Cautions for who works on the pack.
pub const WORKSHOP_CAUTIONS: [&str; 4] = [
    "The engine maker's manual, the rules of your place and trade, and a licensed person's judgement come before anything on this page.",
    "Spring washers, valve springs and a rocker shaft under load store energy: make the engine safe against starting, slacken the adjusters, and release the load evenly before the shaft comes off. Protect your eyes.",
    "After any change of shims turn the engine over by hand, see that every rocker moves freely and is not bound, and set the valve clearance anew before it runs.",
    "These are calculations from the numbers in the input files. A wrong or missing dimension gives a wrong answer that looks like a right one: measure a sample before you rely on it.",
];

/// Cautions for who plans by forecasts.
pub const PLANNING_CAUTIONS: [&str; 3] = [
    "The engine maker's inspection intervals, the rules of your place and trade, and a licensed person's judgement come before anything on this page; a forecast is no reason to inspect later than they say.",
    "A forecast carries past wear forward. A change of oil, load, fuel, parts or instrument makes it void until new readings say so.",
    "An engine that knocks, binds or runs unevenly is to be looked at now, whatever its forecast says.",
];

impl Page {
    /// The page as HTML, with where it came from at its foot.
    pub fn html(&self, envelope: &Envelope) -> String {
        self.rendered(envelope, false)
    }

    /// The same with the script that sorts, filters and draws.
    pub(crate) fn working_html(&self, envelope: &Envelope) -> String {
        self.rendered(envelope, true)
    }

    fn rendered(&self, envelope: &Envelope, works: bool) -> String {
        let scripts = if works { format!("script-src '{}'; ", crate::working::script_hash()) } else { String::new() };
        let markup = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta http-equiv="Content-Security-Policy" content={ "default-src 'none'; " (scripts) "style-src 'unsafe-inline'; img-src data:" };
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    meta name="referrer" content="no-referrer";
                    // Without it a browser asks the page's folder for an icon.
                    link rel="icon" href="data:,";
                    title { (self.title) }
                    style { (PreEscaped(style())) }
                }
                body {
                    header {
                        p.kind { (self.kind) }
                        h1 { (self.title) }
                        @if !self.notice.is_empty() { p.notice role="note" { (self.notice) } }
                        @if let Some(answer) = &self.answer { (answer.html()) }
                        @if self.lead.is_none() { (self.contents()) }
                    }
                    main {
                        @if let Some(lead) = &self.lead { (lead) (self.contents()) }
                        @for section in &self.sections {
                            section aria-labelledby={ (section.id) "-heading" } id=(section.id) {
                                h2 id={ (section.id) "-heading" } { (section.heading) }
                                (section.body)
                            }
                        }
                        @if !envelope.warnings.is_empty() {
                            section.warnings aria-labelledby="warnings-heading" id="warnings" {
                                h2 id="warnings-heading" { "What you should know about these numbers" }
                                ul { @for warning in &envelope.warnings { li { (warning) } } }
                            }
                        }
                        @if !self.cautions.is_empty() {
                            section.cautions aria-labelledby="cautions-heading" id="cautions" {
                                h2 id="cautions-heading" { "Take care" }
                                ul { @for caution in &self.cautions { li { (caution) } } }
                            }
                        }
                    }
                    footer { (provenance(envelope)) }
                    @if works { (crate::working::script()) }
                }
            }
        };
        format!("{}\n", packdrift_visible::markup(&markup.into_string()))
    }

    fn contents(&self) -> Markup {
        html! {
            @if self.sections.len() > 2 {
                nav aria-label="On this page" { ul {
                    @for section in &self.sections { li { a href={ "#" (section.id) } { (section.heading) } } }
                } }
            }
        }
    }
}

fn provenance(envelope: &Envelope) -> Markup {
    html! {
        h2 { "Where this page comes from" }
        p {
            "packdrift " (envelope.version) ", command " code { (envelope.command) }
            @if let Some(seed) = envelope.seed { ", seed " (seed) }
            ". The same files, options and version give the same page."
        }
        @if !envelope.inputs.is_empty() {
            ul.inputs { @for (path, sha256) in &envelope.inputs {
                li { code { (path) } br; span.sum { "SHA-256 " code { (sha256) } } }
            } }
        }
    }
}

fn style() -> String {
    format!(":root{{--fonts:{FONTS}}}\n{}{}", ink::style(), include_str!("page.css"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_from_outside_is_escaped_and_nothing_is_fetched() {
        let page = Page {
            title: "<script>alert(1)</script>".into(),
            kind: "k".into(),
            lead: None,
            notice: "\"><img src=x>".into(),
            answer: Some(Answer { standing: Standing::Act, sentence: "<b>".into(), advice: String::new() }),
            sections: vec![Section::new("<i>", html! { "x" })],
            cautions: WORKSHOP_CAUTIONS.to_vec(),
        };
        let envelope = Envelope {
            warnings: vec!["<script>".into()],
            inputs: vec![("</footer>".into(), "0".into())],
            ..Envelope::default()
        };
        let html = page.html(&envelope);
        for forbidden in ["<script", "<img", "<b>", "<i>", "http:", "https:", "url("] {
            assert!(!html.contains(forbidden), "{forbidden} in {html}");
        }
        assert!(html.contains("default-src 'none'; style-src 'unsafe-inline'; img-src data:"));
        assert_eq!(html.matches("</footer>").count(), 1);
    }
}
