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
    /// Nothing in the drawer.
    #[error("the drawer is empty")]
    EmptyDrawer,
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
