//! What can be wrong with a pack or with the values of its dimensions. Every error names the place, the value and the unit.

/// Something the physics cannot mean.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PackError {
    /// The vector of values does not belong to this pack.
    #[error("the pack has {expected} dimensions, but {got} values were given")]
    WrongNumberOfValues {
        /// Number of dimensions.
        expected: usize,
        /// Number of values.
        got: usize,
    },
    /// NaN or an infinity.
    #[error("{path}: {value} is not a finite number")]
    NotFinite {
        /// Path of the dimension or constant.
        path: String,
        /// The value.
        value: f64,
    },
    /// A length beyond anything of a rocker's shaft.
    #[error("{path} is longer than anything on a rocker shaft (10 m): a slip of a digit or of a unit")]
    TooLong {
        /// Path of the dimension.
        path: String,
        /// The value, mm.
        value: f64,
    },
    /// A length, rate, load or factor that must be above zero.
    #[error("{path} must be above 0 {unit}, got {value} {unit}")]
    NotPositive {
        /// Path of the dimension or constant.
        path: String,
        /// The value.
        value: f64,
        /// Its unit.
        unit: &'static str,
    },
    /// A length that may be zero but not below.
    #[error("{path} must not be negative, got {value} {unit}")]
    Negative {
        /// Path of the dimension.
        path: String,
        /// The value.
        value: f64,
        /// Its unit.
        unit: &'static str,
    },
    /// A value that must stay below another one.
    #[error("{path} = {value} {unit} must be below {bound_path} = {bound} {unit}")]
    NotBelow {
        /// Path of the dimension.
        path: String,
        /// The value.
        value: f64,
        /// Path (or description) of what bounds it.
        bound_path: String,
        /// The bound.
        bound: f64,
        /// The unit of both.
        unit: &'static str,
    },
    /// Poisson's ratio outside (−1, 0.5).
    #[error("{path}: Poisson's ratio must lie between -1 and 0.5, got {value}")]
    Poisson {
        /// Path of the part.
        path: String,
        /// The value.
        value: f64,
    },
    /// Below absolute zero.
    #[error("{path}: {value} °C is below absolute zero")]
    Temperature {
        /// The condition, or `reference_temperature`.
        path: String,
        /// °C.
        value: f64,
    },
    /// An expansion coefficient that shrinks a length to nothing at a condition's temperature.
    #[error("{path}: with {expansion} 1/K nothing is left of the part at {temperature} °C")]
    Expansion {
        /// Path of the part or bay.
        path: String,
        /// 1/K.
        expansion: f64,
        /// °C.
        temperature: f64,
    },
    /// A wave washer with fewer than two waves.
    #[error("{path}: a wave washer has at least 2 waves, got {waves}")]
    Waves {
        /// Path of the part.
        path: String,
        /// The number given.
        waves: u32,
    },
    /// A deflection–load table that is no curve from (0, 0) upwards.
    #[error("{path}: deflection-load table, point {point}: {reason} (got {deflection} mm, {load} N)")]
    Table {
        /// Path of the part.
        path: String,
        /// From 1.
        point: usize,
        /// mm; NaN where the point has none.
        deflection: f64,
        /// N; NaN where the point has none.
        load: f64,
        /// What is expected.
        reason: &'static str,
    },
    /// A deflection beyond the last point of a deflection–load table: the load there was never measured.
    #[error("{path}: a deflection of {deflection} mm lies outside the deflection-load table, which ends at {end} mm")]
    OutsideTable {
        /// Path of the part.
        path: String,
        /// mm.
        deflection: f64,
        /// mm.
        end: f64,
    },
    /// A valve's rocker is no rocker.
    #[error("{path}: part {part} of the bay is not a rocker")]
    NotARocker {
        /// Path of the valve.
        path: String,
        /// Index into the bay's parts.
        part: usize,
    },
    /// A dimension that the pack does not have.
    #[error("{path}: there is no dimension number {index}")]
    NoSuchDimension {
        /// Path of the part, bay or valve.
        path: String,
        /// The number.
        index: usize,
    },
    /// A dimension that stands where another unit belongs, as a rate where a thickness is needed.
    #[error("{path}: its unit is {found}, where {expected} is needed")]
    WrongUnit {
        /// Path of the dimension.
        path: String,
        /// Its unit.
        found: &'static str,
        /// The unit of its place.
        expected: &'static str,
    },
    /// Two things of one kind with one name.
    #[error("{what} {name:?} is there twice")]
    DuplicateName {
        /// `bay`, `part`, `valve` or `condition`.
        what: &'static str,
        /// The name.
        name: String,
    },
    /// Parts that are longer than the span wherever in their limits they lie, in every condition.
    #[error(
        "{path}: the bay can never be built: even with every spring washer flat and every dimension at its better limit its \
         parts are {excess:.3} mm longer than the span; correct the span or the parts"
    )]
    NeverFits {
        /// Path of the bay's span.
        path: String,
        /// What is too much at best, mm.
        excess: f64,
    },
    /// Parts that fill less than half of the span.
    #[error(
        "{path}: the bay can never be built: the span is {span:.3} mm and all its parts together are {parts:.3} mm long at \
         most, so that it has more play than parts; correct the span or add the parts that are missing"
    )]
    SpanUnfilled {
        /// Path of the bay's span.
        path: String,
        /// At its shorter limit, mm.
        span: f64,
        /// All parts at their longer limits, spring washers free, mm.
        parts: f64,
    },
    /// Nothing of a kind of which there must be one.
    #[error("there is no {what}")]
    Missing {
        /// `bay`, `part` or `condition`.
        what: String,
    },
}

impl PackError {
    /// The path of the dimension, part, bay, valve or condition the error is about, by which a reader of files finds the
    /// line; None where it concerns the pack as a whole.
    pub fn path(&self) -> Option<&str> {
        match self {
            Self::NotFinite { path, .. }
            | Self::TooLong { path, .. }
            | Self::NotPositive { path, .. }
            | Self::Negative { path, .. }
            | Self::NotBelow { path, .. }
            | Self::Poisson { path, .. }
            | Self::Temperature { path, .. }
            | Self::Expansion { path, .. }
            | Self::Waves { path, .. }
            | Self::Table { path, .. }
            | Self::OutsideTable { path, .. }
            | Self::NotARocker { path, .. }
            | Self::NeverFits { path, .. }
            | Self::SpanUnfilled { path, .. }
            | Self::WrongUnit { path, .. }
            | Self::NoSuchDimension { path, .. } => Some(path),
            Self::WrongNumberOfValues { .. } | Self::DuplicateName { .. } | Self::Missing { .. } => None,
        }
    }
}

/// A name that leads to no quantity of the pack.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum QuantityError {
    /// Not one of the words of [`crate::QuantityKind`].
    #[error(
        "{word:?} is not a quantity; expected one of offset, preload, height, play, edge-margin, contact-pressure, stress"
    )]
    UnknownKind {
        /// The word given.
        word: String,
    },
    /// No such bay, valve or spring washer.
    #[error("there is no {what} named {name:?}")]
    UnknownName {
        /// `bay`, `valve` or `spring washer`.
        what: &'static str,
        /// The name given.
        name: String,
    },
    /// The name is missing.
    #[error("{kind} needs the name of a {what}")]
    NameNeeded {
        /// The quantity.
        kind: &'static str,
        /// `bay`, `valve` or `spring washer`.
        what: &'static str,
    },
    /// Several bays have a spring washer of this name.
    #[error("{name:?} names a spring washer in more than one bay; give the bay too")]
    Ambiguous {
        /// The name given.
        name: String,
    },
    /// The law of the spring washer has no such stress.
    #[error("the stress of spring washer {spring:?} is known at {known}; it was asked for at {asked}")]
    NoStress {
        /// The washer's name.
        spring: String,
        /// The points of its law, in words.
        known: String,
        /// The point asked for, in words.
        asked: String,
    },
    /// The valve has no data for the contact.
    #[error(
        "{kind} needs the contact data of valve {valve:?} (stem end diameter and chamfer, tip radius, sweep, valve load)"
    )]
    NoContact {
        /// The quantity.
        kind: &'static str,
        /// Its name.
        valve: String,
    },
}
