//! What can be wrong with a question to this crate.

/// Why a drawer, a bay or a demand cannot be worked with.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StockError {
    /// A valve's name that the pack does not have.
    #[error("the pack has no valve \"{name}\"; it has {known}")]
    UnknownValve {
        /// As asked for.
        name: String,
        /// The names there are.
        known: String,
    },
    /// Two valves that do not share a bay cannot be shimmed together.
    #[error(
        "valve \"{also}\" is in bay \"{also_bay}\", valve \"{valve}\" in bay \"{bay}\": only rockers of one bay are shimmed together"
    )]
    AnotherBay {
        /// The first valve.
        valve: String,
        /// Its bay.
        bay: String,
        /// The second.
        also: String,
        /// Its bay.
        also_bay: String,
    },
    /// The same valve was named twice.
    #[error("valve \"{name}\" is named twice")]
    NamedTwice {
        /// The valve.
        name: String,
    },
    /// Without limits there is nothing to aim at.
    #[error("the pack file has no offset requirement for valve \"{name}\": add one, with its limits")]
    NoOffsetLimits {
        /// The valve.
        name: String,
    },
    /// A number outside what it can mean.
    #[error("{what} is {}: it must be {expected}", with_unit(*value, unit))]
    OutOfRange {
        /// What the number is.
        what: String,
        /// The number.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// What it may be.
        expected: &'static str,
    },
    /// Nothing that can be bought.
    #[error("the catalogue is empty: it has no row that names a size (a row without `u`)")]
    EmptyCatalogue,
    /// The bay as it is now cannot exist.
    #[error(
        "bay \"{bay}\" cannot be assembled as the pack file has it: the parts are longer than the span even with every spring washer flat"
    )]
    CannotAssemble {
        /// The bay.
        bay: String,
    },
    /// The pack's numbers do not make a pack.
    #[error("bay \"{bay}\": {reason}")]
    Pack {
        /// The bay.
        bay: String,
        /// What the mechanical model says.
        reason: String,
    },
    /// A build was asked for that the list does not have.
    #[error("there is no build {number}: the list has {count}")]
    NoSuchBuild {
        /// From 1.
        number: usize,
        /// How many there are.
        count: usize,
    },
    /// A piece that the bay does not have.
    #[error("there is no shim or washer \"{name}\" in the bay; it has {known}")]
    NoSuchPiece {
        /// As asked for.
        name: String,
        /// The names there are.
        known: String,
    },
    /// Thicknesses that are none of shims, or none of this pack's.
    #[error(
        "the thicknesses of the drawer lie about {middle} mm, which no shim of this pack comes near: is the file in another unit than it was read in? Say \
         which with --drawer-units"
    )]
    OutOfScale {
        /// The middle one, mm.
        middle: f64,
    },
    /// Corrections that no rocker needs.
    #[error(
        "the largest correction of the demand is {largest} mm, which is no re-shim of this valve: is the file in another unit than it was read in? Say which \
         with --demand-units"
    )]
    CorrectionsOutOfScale {
        /// The largest, mm.
        largest: f64,
    },
    /// A further reading of a state that nothing was built in.
    #[error(
        "result {result} is said to read again what was built, and nothing was built yet: give that reading with --measured"
    )]
    NothingBuilt {
        /// From 1.
        result: usize,
    },
    /// A build from a list that there is not.
    #[error(
        "result {result} is said to follow a build, and the result before it asked for none: it is a further reading of the same state"
    )]
    NothingToBuild {
        /// From 1.
        result: usize,
    },
    /// A size that can be bought, with no word on how long it takes.
    #[error(
        "no lead time of {sizes}: say how many days from order to drawer (lead_days), or give one for all that say none (--lead-days)"
    )]
    NoLeadTime {
        /// Their names.
        sizes: String,
    },
    /// A catalogue or an assortment of a size that cannot be worked with.
    #[error("{what}: {count}; it must be {expected}")]
    Count {
        /// What is counted.
        what: &'static str,
        /// How many.
        count: usize,
        /// What it may be.
        expected: &'static str,
    },
}

impl StockError {
    /// In words, with lengths (mm) as `length` writes them, its unit included.
    pub fn words(&self, length: &dyn Fn(f64) -> String) -> String {
        match self {
            Self::OutOfScale { middle } => format!(
                "the thicknesses of the drawer lie about {}, which no shim of this pack comes near: is the file in another unit than it was read in? Say \
                 which with --drawer-units",
                length(*middle)
            ),
            Self::CorrectionsOutOfScale { largest } => format!(
                "the largest correction of the demand is {}, which is no re-shim of this valve: is the file in another unit than it was read in? Say \
                 which with --demand-units",
                length(*largest)
            ),
            Self::OutOfRange { what, value, unit: "mm", expected } => {
                format!("{what} is {}: it must be {expected} mm", length(*value))
            }
            other => other.to_string(),
        }
    }
}

/// `0.3 mm`; a bare number where there is no unit.
fn with_unit(value: f64, unit: &str) -> String {
    if unit.is_empty() { value.to_string() } else { format!("{value} {unit}") }
}

/// Refuses what is not finite or lies outside `[lower, upper]`.
pub(crate) fn within(
    what: impl Into<String>,
    value: f64,
    unit: &'static str,
    range: std::ops::RangeInclusive<f64>,
    expected: &'static str,
) -> Result<f64, StockError> {
    if range.contains(&value) {
        Ok(value)
    } else {
        Err(StockError::OutOfRange { what: what.into(), value, unit, expected })
    }
}
