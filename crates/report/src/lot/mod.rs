//! Supplier lots: the verdict first, in words, with the one number behind it; then the lots on one scale, each lot that needs a closer look, the
//! supplier's process, and the lot in the pack.

mod acceptance;
mod in_pack;
mod json;
mod order;
mod overview;
mod page;
mod paste;
mod quantiles;
mod reader;
mod steady;
mod tables;
mod text;
mod why;

pub use json::json;
pub use page::page;
pub use tables::tables;
pub use text::text;

/// The lots as TOML for a pack file, to paste: `[[lot]]` and the dimension of its parts. Empty where no lot has a size.
pub fn paste(study: &LotStudy) -> String {
    paste::toml(study)
}

use crate::figure::{Error, Figure, unique};
use packdrift_lot::{LotResult, LotStudy};
use packdrift_lotpack::LotInPack;

/// Lots looked at closely: order and shape.
const CLOSELY: usize = 6;

/// Everything that is drawn.
struct Figures<'a> {
    /// Of each lot in the pack.
    packs: Vec<Figure>,
    /// All lots on one scale.
    overview: Option<Figure>,
    /// Order and shape of the lots that need a closer look.
    closely: Vec<(&'a LotResult, Vec<Figure>)>,
}

impl<'a> Figures<'a> {
    fn draw(study: &'a LotStudy, packs: &[LotInPack]) -> Result<Self, Error> {
        let mut figures = Self {
            packs: packs.iter().map(acceptance::figure).collect::<Result<_, _>>()?,
            overview: overview::figure(study)?,
            closely: Vec::new(),
        };
        for lot in overview::chosen(study, CLOSELY) {
            let both = [order::figure(lot)?, quantiles::figure(lot, study.options.confidence)?];
            let drawn: Vec<Figure> = both.into_iter().flatten().collect();
            if !drawn.is_empty() {
                figures.closely.push((lot, drawn));
            }
        }
        unique(&mut figures.all_mut());
        Ok(figures)
    }

    fn all_mut(&mut self) -> Vec<&mut Figure> {
        let closely = self.closely.iter_mut().flat_map(|(_, figures)| figures);
        self.packs.iter_mut().chain(&mut self.overview).chain(closely).collect()
    }

    fn into_all(self) -> Vec<Figure> {
        let closely = self.closely.into_iter().flat_map(|(_, figures)| figures);
        self.packs.into_iter().chain(self.overview).chain(closely).collect()
    }
}

/// What is drawn: the lots on one scale, order and shape of those that need a closer look, and with a pack the map of bias and scatter.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(study: &LotStudy, packs: &[LotInPack]) -> Result<Vec<Figure>, Error> {
    Ok(Figures::draw(study, packs)?.into_all())
}
