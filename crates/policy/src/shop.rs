//! How the shop works: the assumptions that may turn the ranking, each with what stands unless it is said otherwise.

/// For how long the parts of one packet come from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Packets {
    /// Every build draws new ones.
    EachBuild,
    /// A packet lasts a year: all builds of the year share its deviation.
    Year,
}

/// What the ceiling holds for where packets last a year, and the share outside differs from year to year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CeilingFor {
    /// The mean over the years.
    Mean,
    /// The year that 95 % of the years are better than.
    BadYear,
}

/// What the minutes for a part touched are counted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Touched {
    /// Every piece that goes in or comes out.
    Pieces,
    /// Every side of a rocker where anything changes, however many pieces.
    Places,
}

/// Who pays for measuring pieces that are not fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measuring {
    /// Nobody: a piece is measured when it is fitted.
    FittedOnly,
    /// The shop: all that lies in the drawer is measured once a year besides.
    WholeDrawer,
}

/// How the shop works.
#[derive(Debug, Clone, PartialEq)]
pub struct Shop {
    /// Standard uncertainty of a read offset, mm. Default 0.02, as `shim` has it.
    pub u_offset: f64,
    /// The part of it that is new at each reading, mm: its repeatability. The rest is the same at every reading of a build, before and after a fitting, and
    /// of all builds of a year where packets last one. Default 0: nobody has said that repeats take anything away, as for `shim`.
    pub repeatability: f64,
    /// Standard uncertainty of a measured piece, mm. Default 0.002.
    pub u_piece: f64,
    /// A second fitting is made where the first reads outside. Default yes.
    pub second_fitting: bool,
    /// What counts as touched. Default pieces.
    pub touched: Touched,
    /// The shims and washers of the drawing are measured before they go in. Default no.
    pub drawn_measured: bool,
    /// Who pays for measuring what is not fitted. Default nobody.
    pub measuring: Measuring,
    /// For how long a packet lasts. Default each build.
    pub packets: Packets,
    /// What the ceiling holds for. Default the mean.
    pub ceiling_for: CeilingFor,
    /// Wanted share of builds that find their pieces in the drawer. Default 0.95.
    pub service: f64,
}

impl Default for Shop {
    fn default() -> Self {
        Self {
            u_offset: 0.02,
            repeatability: 0.0,
            u_piece: 0.002,
            second_fitting: true,
            touched: Touched::Pieces,
            drawn_measured: false,
            measuring: Measuring::FittedOnly,
            packets: Packets::EachBuild,
            ceiling_for: CeilingFor::Mean,
            service: 0.95,
        }
    }
}

impl Shop {
    /// The part of a read offset's uncertainty that all readings of a build share, mm (JCGM 100:2008, 5.2.2: u² = its square + repeatability²).
    pub fn u_common(&self) -> f64 {
        (self.u_offset * self.u_offset - self.repeatability * self.repeatability).max(0.0).sqrt()
    }
}
