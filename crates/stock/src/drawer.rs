//! What lies in the drawer, and what may be said of a thickness nobody has measured.

use crate::error::{StockError, within};

/// A piece, or several alike.
///
/// # Examples
/// ```
/// use packdrift_stock::Piece;
/// // Sold as 0.381 mm, measured 0.411 with a micrometer of u = 0.002 mm.
/// let piece = Piece { size: Some(0.381), ..Piece::measured("7", 0.411, 0.002) };
/// assert!(piece.check().is_ok());
/// assert!(Piece { thickness: -0.411, ..piece }.check().is_err());
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Its label: a piece's number, or a size's name.
    pub name: String,
    /// Measured, or the size on the packet, mm.
    pub thickness: f64,
    /// Standard uncertainty of the measured thickness, mm; None: not measured, `thickness` is the size sold.
    pub u: Option<f64>,
    /// The size sold, mm, of a measured piece whose packet is known: its reading then tells of the others of that packet too.
    /// None: not known, or not measured (`thickness` is the size then).
    pub size: Option<f64>,
    /// How many. 0: none here, but it can be had (see `lead_days`).
    pub count: u32,
    /// Each.
    pub cost: Option<f64>,
    /// Days from order to drawer.
    pub lead_days: Option<f64>,
}

impl Piece {
    /// One piece of a size as sold, not measured, mm.
    pub fn sold_as(name: impl Into<String>, size: f64) -> Self {
        Self { name: name.into(), thickness: size, u: None, size: None, count: 1, cost: None, lead_days: None }
    }

    /// One piece measured, with the standard uncertainty of that reading, both mm.
    pub fn measured(name: impl Into<String>, thickness: f64, u: f64) -> Self {
        Self { u: Some(u), ..Self::sold_as(name, thickness) }
    }

    /// Refuses what a piece cannot be.
    ///
    /// # Errors
    ///
    /// [`StockError::OutOfRange`] for a thickness outside 0.001–50 mm, an uncertainty outside 0–1 mm, a negative cost or lead
    /// time, and NaN in any of them.
    pub fn check(&self) -> Result<(), StockError> {
        let of = |what: &str| format!("{what} of \"{}\"", self.name);
        within(of("thickness"), self.thickness, "mm", 0.001..=50.0, "between 0.001 and 50")?;
        if let Some(u) = self.u {
            within(of("u"), u, "mm", 0.0..=1.0, "between 0 and 1")?;
        }
        if let Some(size) = self.size {
            within(of("size"), size, "mm", 0.001..=50.0, "between 0.001 and 50")?;
        }
        if let Some(cost) = self.cost {
            within(of("cost"), cost, "", 0.0..=f64::MAX, "0 or more")?;
        }
        if let Some(days) = self.lead_days {
            within(of("lead_days"), days, "days", 0.0..=36_525.0, "between 0 and 36525")?;
        }
        Ok(())
    }
}

/// Shims and flat washers are between these, mm: common practice, no source.
const THICKNESSES: (f64, f64) = (0.03, 4.0);
/// The middle of a drawer is not this many times thicker or thinner than the nearest piece of the pack.
const FAR_OFF: f64 = 12.0;

/// Questions a drawer whose thicknesses cannot be in the unit that they were read in.
///
/// # Errors
///
/// [`StockError::OutOfScale`] where the middle of the drawer is no shim's thickness, or twelve times as thick or thin as any shim or washer of the pack.
///
/// # Examples
/// ```
/// use packdrift_stock::{Piece, question_the_unit};
/// // Inches taken for mm: 0.015 in is 0.381 mm.
/// let piece = Piece { name: "7".into(), thickness: 0.015, u: None, size: None, count: 1, cost: None, lead_days: None };
/// assert!(question_the_unit(&[piece.clone()], &[1.0, 0.4]).is_err());
/// assert!(question_the_unit(&[Piece { thickness: 0.381, ..piece }], &[1.0, 0.4]).is_ok());
/// ```
pub fn question_the_unit(drawer: &[Piece], in_the_pack: &[f64]) -> Result<(), StockError> {
    let mut thickness: Vec<f64> = drawer.iter().map(|piece| piece.thickness).collect();
    if thickness.is_empty() {
        return Ok(());
    }
    thickness.sort_by(f64::total_cmp);
    let middle = thickness[thickness.len() / 2];
    let ratio = |other: &f64| (middle / other).max(other / middle);
    let nearest = in_the_pack.iter().map(ratio).reduce(f64::min);
    if (THICKNESSES.0..=THICKNESSES.1).contains(&middle) && nearest.is_none_or(|ratio| ratio < FAR_OFF) {
        return Ok(());
    }
    Err(StockError::OutOfScale { middle })
}

/// How far a packet nobody has described may be off: used for sizes that no `[[lot]]` of the pack file speaks of.
///
/// The thickness of a piece is size + d + e, with d ~ N(0, (`between_share`·size)²) common to the packet and e ~ N(0, `within`²) its own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PacketScatter {
    /// Standard deviation of the packet's mean, as a share of the size.
    pub between_share: f64,
    /// Standard deviation within the packet, mm.
    pub within: f64,
}

impl Default for PacketScatter {
    /// 3 % and 0.006 mm. Common practice, no source: the size on a packet can be off by several percent, and the pieces of one packet
    /// are much alike.
    fn default() -> Self {
        Self { between_share: 0.03, within: 0.006 }
    }
}

impl PacketScatter {
    /// # Errors
    ///
    /// [`StockError::OutOfRange`] where a value is negative or not finite.
    pub fn check(&self) -> Result<(), StockError> {
        within("scatter between packets", self.between_share, "of the size", 0.0..=1.0, "a share between 0 and 1")?;
        within("scatter within a packet", self.within, "mm", 0.0..=1.0, "between 0 and 1")?;
        Ok(())
    }
}
