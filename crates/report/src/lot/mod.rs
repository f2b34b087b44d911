//! Supplier lots: the verdict first, in words, with the one number behind it; then each lot, the supplier's process, and the lot in the pack.

mod acceptance;
mod in_pack;
mod json;
mod page;
mod tables;
mod text;

pub use json::json;
pub use page::page;
pub use tables::tables;
pub use text::text;

use crate::figure::{Error, Figure, unique};
use packdrift_lot::LotStudy;
use packdrift_lot::in_pack::LotInPack;

/// What is drawn: with a pack the map of bias and scatter of each lot; otherwise nothing that the tables do not say better.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(_study: &LotStudy, packs: &[LotInPack]) -> Result<Vec<Figure>, Error> {
    let mut figures = packs.iter().map(acceptance::figure).collect::<Result<Vec<_>, _>>()?;
    unique(&mut figures.iter_mut().collect::<Vec<_>>());
    Ok(figures)
}
