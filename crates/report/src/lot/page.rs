//! Lots as a page: the verdict, the lots, the process, the pack.

use super::{CLOSELY, Figures, Lots, in_pack, paste, reader, tables, text};
use crate::envelope::Envelope;
use crate::figure::Error;
use crate::page::{Page, Section, WORKSHOP_CAUTIONS};
use crate::working::Sift;
use maud::html;

/// More lots than these are sorted and chosen from.
const LISTED: usize = 12;

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, lots: &Lots) -> Result<String, Error> {
    let (study, packs, unit) = (&lots.study, &lots.packs, lots.unit());
    let figures = Figures::draw(lots)?;
    let mut sections = Vec::new();
    if !packs.is_empty() {
        sections.push(Section::new(
            "In the pack",
            html! {
                @for (k, (pack, figure)) in packs.iter().zip(&figures.packs).enumerate() {
                    @if packs.len() > 1 { p { (in_pack::sentence(pack)) } }
                    p { (in_pack::room(pack, unit)) }
                    (figure.html())
                    @if let Some(form) = reader::form(pack, figure, k, unit) { (form) }
                    (in_pack::table(pack).html())
                    @for warning in &pack.warnings { p.note { (warning.words(unit, &|mm| lots.lengths.of(mm))) } }
                }
            },
        ));
    }
    let table = tables::lots_in_short(study, unit);
    sections.push(Section::new(
        "Against the drawing",
        html! {
            @if let Some(figure) = &figures.overview { (figure.html()) }
            p.soft {
                "Outside, at most: what the share outside the drawing's limits is not above, with the confidence asked for; the verdict is by it. It is the worst over all \
                 shapes that the readings do not rule out, unless the shape is stated; of a lot that is not normal, no less than the count's. Shape is called normal unless two tests \
                 together contradict it, counting in the instrument's steps."
            }
            @if table.rows.len() > LISTED { (table.sifted(Sift { choose: &["verdict"], ..Sift::default() })) } @else { (table.html()) }
            p.soft { "Intervals of everything, and Pp and Ppk themselves, are in the tables beside this page." }
        },
    ));
    if !figures.closely.is_empty() {
        sections.push(Section::new(
            if figures.closely.len() == 1 { "Order and shape" } else { "Order and shape, lot by lot" },
            html! {
                @if study.lots.len() > figures.closely.len() {
                    p.soft { "The " (CLOSELY) " lots that most need a closer look, in the order of the file." }
                }
                @for (_, pair) in &figures.closely { div.pair { @for figure in pair { (figure.html()) } } }
            },
        ));
    }
    for (heading, table) in [
        ("Set aside", tables::set_aside(study, unit)),
        ("Capability", tables::capability(study)),
        ("Steadiness", tables::steadiness(study)),
        ("What the readings prove", tables::guard_bands(study, unit)),
        ("Measure again", tables::outliers(study, unit)),
    ] {
        if !table.rows.is_empty() {
            sections.push(Section::new(heading, html! { (table.html()) }));
        }
    }
    let processes = tables::processes(study, unit);
    if !processes.is_empty() {
        let captions = processes.len() > 1;
        sections.push(Section::new(
            "The supplier's process",
            html! { @for table in &processes { @if captions { p { (table.caption) } } (table.html()) } },
        ));
    }
    let paste = paste::toml(study, unit);
    if !paste.is_empty() {
        sections.push(Section::new(
            "For a pack file",
            html! { p.soft { "To paste; also in lots.toml beside this page." } pre { (paste.trim_end()) } },
        ));
    }
    let page = Page {
        title: "Is this supplier's scatter acceptable?".into(),
        kind: "Review of measured lots".into(),
        lead: None,
        notice: String::new(),
        answer: Some(text::answer(lots)),
        sections,
        cautions: WORKSHOP_CAUTIONS.to_vec(),
    };
    Ok(page.working_html(envelope))
}
