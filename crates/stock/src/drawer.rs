//! What lies in the drawer.

/// A piece, or several alike.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Its label: a piece's number, or a size's name.
    pub name: String,
    /// Measured, or the size on the packet, mm.
    pub thickness: f64,
    /// Standard uncertainty of the measured thickness, mm; None: not measured, `thickness` is the size sold.
    pub u: Option<f64>,
    /// How many.
    pub count: u32,
    /// Each.
    pub cost: Option<f64>,
    /// Days from order to drawer.
    pub lead_days: Option<f64>,
}
