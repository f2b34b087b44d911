//! Prices and times, in whatever money the pack file's tolerances are priced in.

/// What a shop pays for. Prices have no unit but must all be in one money.
///
/// # Examples
/// ```
/// use packdrift_policy::Prices;
/// let prices = Prices { minute: Some(0.8), piece_minutes: Some(2.0), ..Prices::default() };
/// // What nobody gave counts as nothing, and is told.
/// assert_eq!(prices.missing().len(), 4);
/// ```
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Prices {
    /// A minute at the bench.
    pub minute: Option<f64>,
    /// Minutes to read one offset.
    pub read_minutes: Option<f64>,
    /// Minutes to open a bay and close it again, whatever is changed in it.
    pub open_minutes: Option<f64>,
    /// Minutes for each part touched.
    pub piece_minutes: Option<f64>,
    /// To measure a piece.
    pub measuring: Option<f64>,
    /// What a piece of a tighter lot costs more.
    pub tighter: Option<f64>,
    /// Scatter of a tighter lot over that of the catalogue's.
    pub tighter_share: Option<f64>,
    /// To hold a piece for a year, as a share of its price.
    pub holding: Option<f64>,
    /// To hold a size for a year, whatever its pieces cost: a place, a label, a line in the books.
    pub size_a_year: Option<f64>,
    /// Builds a year.
    pub builds_a_year: Option<f64>,
}

/// Scatter of a tighter lot over that of the catalogue's, unless given.
const TIGHTER_SHARE: f64 = 0.5;
/// To hold a piece for a year, as a share of its price, unless given: as `stock` has it.
const HOLDING: f64 = 0.2;
/// Builds a year, unless given.
const BUILDS_A_YEAR: f64 = 250.0;

impl Prices {
    /// The keys without a value, each with what then counts.
    pub fn missing(&self) -> Vec<(&'static str, String)> {
        let keys = [
            ("minute", self.minute, 0.0),
            ("read_minutes", self.read_minutes, 0.0),
            ("open_minutes", self.open_minutes, 0.0),
            ("piece_minutes", self.piece_minutes, 0.0),
            ("holding", self.holding, HOLDING),
            ("builds_a_year", self.builds_a_year, BUILDS_A_YEAR),
        ];
        let silent = keys.into_iter().filter(|(_, value, _)| value.is_none());
        silent.map(|(key, _, counts)| (key, counts.to_string())).collect()
    }

    /// The ways to buy and know pieces that cannot be looked at, since nobody said what they cost.
    pub fn not_looked_at(&self) -> Vec<(&'static str, &'static str)> {
        let ways = [
            ("measuring", self.measuring, "measured pieces are not looked at"),
            ("tighter", self.tighter, "tighter or sorted lots are not looked at"),
        ];
        ways.into_iter().filter(|(_, value, _)| value.is_none()).map(|(key, _, what)| (key, what)).collect()
    }

    pub(crate) fn minutes(&self, minutes: Option<f64>) -> f64 {
        self.minute.unwrap_or(0.0) * minutes.unwrap_or(0.0)
    }

    pub(crate) fn scatter_of_tighter(&self) -> f64 {
        self.tighter_share.unwrap_or(TIGHTER_SHARE)
    }

    pub(crate) fn holding(&self) -> f64 {
        self.holding.unwrap_or(HOLDING)
    }

    /// Builds a year.
    pub fn builds(&self) -> f64 {
        self.builds_a_year.unwrap_or(BUILDS_A_YEAR)
    }
}
