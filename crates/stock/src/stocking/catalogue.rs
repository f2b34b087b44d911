//! Sizes that can be bought.

use crate::error::{StockError, within};

/// Most sizes in a catalogue: a set of them is one machine word.
pub const MOST_SIZES: usize = 64;

/// A size of shim that can be bought.
#[derive(Debug, Clone, PartialEq)]
pub struct Size {
    /// As sold.
    pub name: String,
    /// As sold, mm.
    pub thickness: f64,
    /// How much thicker than sold its packets are known to be in the mean, mm.
    pub bias: f64,
    /// Standard deviation of a packet's mean about the size, mm.
    pub between: f64,
    /// Standard deviation within a packet, mm.
    pub within: f64,
    /// A piece.
    pub cost: f64,
    /// From order to drawer.
    pub lead_days: f64,
}

impl Size {
    /// What a piece of it is expected to measure: as sold, plus the known bias, mm.
    pub fn expected(&self) -> f64 {
        self.thickness + self.bias
    }

    pub(crate) fn check(&self) -> Result<(), StockError> {
        let of = |what: &str| format!("{what} of \"{}\"", self.name);
        within(of("thickness"), self.thickness, "mm", 0.001..=50.0, "between 0.001 and 50")?;
        within(of("bias"), self.bias, "mm", -5.0..=5.0, "between -5 and 5")?;
        within(of("expected thickness"), self.expected(), "mm", 0.001..=50.0, "between 0.001 and 50")?;
        within(of("scatter between packets"), self.between, "mm", 0.0..=5.0, "between 0 and 5")?;
        within(of("scatter within a packet"), self.within, "mm", 0.0..=5.0, "between 0 and 5")?;
        within(of("cost"), self.cost, "", 0.0..=1e9, "0 or more")?;
        within(of("lead time"), self.lead_days, "days", 0.0..=36_525.0, "between 0 and 36525")?;
        Ok(())
    }
}

pub(crate) fn check_catalogue(sizes: &[Size]) -> Result<(), StockError> {
    if sizes.is_empty() || sizes.len() > MOST_SIZES {
        return Err(StockError::Count { what: "sizes in the catalogue", count: sizes.len(), expected: "1 to 64" });
    }
    sizes.iter().try_for_each(Size::check)
}
