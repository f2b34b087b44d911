//! Lots as a page: the verdict, the lots, the process, the pack.

use super::{acceptance, in_pack, tables, text};
use crate::envelope::Envelope;
use crate::figure::{Error, unique};
use crate::page::{Page, Section, WORKSHOP_CAUTIONS};
use maud::html;
use packdrift_lot::LotStudy;
use packdrift_lot::in_pack::LotInPack;

/// Lots listed on the page; all are in the tables.
const LISTED: usize = 60;

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, study: &LotStudy, packs: &[LotInPack]) -> Result<String, Error> {
    let mut figures = packs.iter().map(acceptance::figure).collect::<Result<Vec<_>, _>>()?;
    unique(&mut figures.iter_mut().collect::<Vec<_>>());
    let mut sections = Vec::new();
    if !packs.is_empty() {
        sections.push(Section::new(
            "In the pack",
            html! {
                @for (pack, figure) in packs.iter().zip(&figures) {
                    p { (in_pack::sentence(pack)) }
                    p { (in_pack::room(pack)) }
                    (figure.html())
                    (in_pack::table(pack).html())
                    @for warning in &pack.warnings { p.note { (warning.to_string()) } }
                }
            },
        ));
    }
    let mut lots = tables::lots(study);
    let left = lots.rows.len().saturating_sub(LISTED);
    lots.rows.truncate(LISTED);
    sections.push(Section::new(
        "Lot by lot",
        html! {
            p.soft {
                "Outside: estimated share outside the drawing's limits. At most: what it is not above, with the confidence asked for; the verdict rests on it. \
                 Shape is called normal unless two tests together contradict it, counting in the instrument's steps."
            }
            (lots.html())
            @if left > 0 { p.note { (left) " more lots are in tables/lots.csv." } }
        },
    ));
    for (heading, table) in
        [("Readings that stand out", tables::outliers(study)), ("The supplier's process", tables::process(study))]
    {
        if !table.rows.is_empty() {
            sections.push(Section::new(heading, html! { (table.html()) }));
        }
    }
    let page = Page {
        title: "Is this supplier's scatter acceptable?".into(),
        kind: "Review of measured lots".into(),
        notice: String::new(),
        answer: Some(text::answer(study, packs)),
        sections,
        cautions: WORKSHOP_CAUTIONS.to_vec(),
    };
    Ok(page.html(envelope))
}
