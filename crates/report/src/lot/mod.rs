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
mod units;
mod why;

pub use json::json;
pub use page::page;
pub use tables::tables;
pub use text::text;

/// The lots as TOML for a pack file, to paste: `[[lot]]` and the dimension of its parts. Empty where no lot has a size.
pub fn paste(lots: &Lots) -> String {
    paste::toml(&lots.study, lots.unit())
}

/// A lot that was to be judged in the pack and could not be put into it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// Its name.
    pub lot: String,
    /// Why, and what to do, in words that end a sentence.
    pub reason: String,
}

/// A study of lots as it is shown: with its lengths in one unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Lots {
    study: LotStudy,
    packs: Vec<LotInPack>,
    left_out: Vec<LeftOut>,
    lengths: Lengths,
}

impl Lots {
    /// A study, its lots in the pack, and those that could not be put into it; all lengths in mm, to be shown in `lengths`.
    pub fn new(study: LotStudy, packs: Vec<LotInPack>, left_out: Vec<LeftOut>, lengths: Lengths) -> Self {
        let packs = packs.into_iter().map(|pack| units::pack(pack, lengths)).collect();
        Self { study: units::study(study, lengths), packs, left_out, lengths }
    }

    /// Whether every lot is acceptable, and borne by the pack where there is one.
    pub fn acceptable(&self) -> bool {
        self.study.acceptable() && self.left_out.is_empty() && self.packs.iter().all(LotInPack::acceptable)
    }

    /// What the reader should know first, in words.
    pub fn warnings(&self) -> Vec<String> {
        let of = |mm: f64| self.lengths.of(mm);
        let of_lots = self.study.warnings.iter().map(|w| w.words(self.unit(), &of));
        let of_packs = self.packs.iter().flat_map(|p| &p.warnings).map(|w| w.words(self.unit(), &of));
        let left_out = self.left_out.iter().map(|l| format!("{} was not put into the pack: {}", l.lot, l.reason));
        of_lots.chain(of_packs).chain(left_out).collect()
    }

    fn unit(&self) -> &'static str {
        self.lengths.unit()
    }
}

use crate::Lengths;
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
    fn draw(lots: &'a Lots) -> Result<Self, Error> {
        let (study, unit) = (&lots.study, lots.unit());
        let mut figures = Self {
            packs: lots.packs.iter().map(|pack| acceptance::figure(pack, unit)).collect::<Result<_, _>>()?,
            overview: overview::figure(study, unit)?,
            closely: Vec::new(),
        };
        for lot in overview::chosen(study, CLOSELY) {
            let both = [order::figure(lot, unit)?, quantiles::figure(lot, study.options.confidence, unit)?];
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
pub fn figures(lots: &Lots) -> Result<Vec<Figure>, Error> {
    Ok(Figures::draw(lots)?.into_all())
}
