//! A build as the mechanic needs it: which piece goes where, in order.

use crate::forecast::Forecast;
use crate::rebuild::Piece as NewPiece;
use packdrift_verdict::Verdict;

/// Where a piece comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum Origin {
    /// It is there already, and stays.
    Stays,
    /// It is in the bay, at another place.
    Moved {
        /// From there.
        from: String,
    },
    /// From the drawer.
    Drawer {
        /// Index of the drawer's row.
        row: usize,
    },
    /// Wished for: not in the drawer.
    Wished,
}

/// A piece at its place.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedPiece {
    /// Its label: the drawer's, or the part's name.
    pub name: String,
    /// Expected thickness as fitted, mm.
    pub thickness: f64,
    /// Standard deviation of what is known of it, mm.
    pub sd: f64,
    /// Whether somebody has measured it.
    pub measured: bool,
    /// Where it comes from.
    pub origin: Origin,
    /// To be thinned by hand: from this thickness, mm.
    pub thinned_from: Option<f64>,
}

/// A place of the bay with its pieces, in order from the left.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Between which neighbours: `left face | rocker 1 exhaust`.
    pub label: String,
    /// In order from the left.
    pub pieces: Vec<PlacedPiece>,
}

/// A piece that comes out.
#[derive(Debug, Clone, PartialEq)]
pub struct TakenOut {
    /// The part's name.
    pub name: String,
    /// What is known of its thickness, mm.
    pub thickness: f64,
    /// Where it was.
    pub place: String,
}

/// A build.
#[derive(Debug, Clone, PartialEq)]
pub struct Build {
    /// Every place that pieces may lie in, from the left.
    pub places: Vec<Place>,
    /// What comes out (what moves within the bay is not among it).
    pub taken_out: Vec<TakenOut>,
    /// Parts touched: taken out, moved, put in; thinning by hand counts as one more.
    pub touched: usize,
    /// Sum of all pieces, mm.
    pub sum: f64,
    /// Sum of the pieces now in the bay, mm.
    pub old_sum: f64,
    /// What to expect.
    pub forecast: Forecast,
    /// What the builds after the advised one are sorted by: see [`crate::Weights`].
    pub score: f64,
    /// Whether it is inside with at least the wanted chance and leaves the other rockers as well off as they are, by the bound.
    pub good_enough: bool,
    /// The same as a verdict, with its reasons.
    pub verdict: Verdict,
    pub(super) gaps: Vec<Vec<NewPiece>>,
    /// Rows of the drawer used, once per piece.
    pub(super) rows: Vec<usize>,
}

impl Build {
    /// Whether it is the state the bay is in now.
    pub fn is_as_now(&self) -> bool {
        self.touched == 0
    }

    /// The pieces that are put in, in order from the left.
    pub fn put_in(&self) -> impl Iterator<Item = &PlacedPiece> {
        self.places.iter().flat_map(|place| &place.pieces).filter(|piece| piece.origin != Origin::Stays)
    }
}
