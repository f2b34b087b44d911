//! What can be asked of a pack: the quantities a requirement may bound, and the forms an answer takes.

use crate::error::QuantityError;
use crate::stress::StressPoint;

/// The kinds of quantity, by the words files use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum QuantityKind {
    /// Adjuster axis minus stem axis, mm, signed.
    Offset,
    /// Load of the bay's spring washers, N.
    Preload,
    /// Height of one spring washer under load, mm.
    Height,
    /// Free axial movement of a loose bay, mm; 0 under preload.
    Play,
    /// From the contact patch to the edge of the stem's flat end, mm.
    EdgeMargin,
    /// Peak Hertz pressure, MPa.
    ContactPressure,
    /// Nominal stress at a point of one spring washer, MPa, tension positive.
    Stress,
}

/// A quantity of one particular bay, valve or spring washer (indices into [`crate::Pack`]).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// [`QuantityKind::Offset`] of a valve.
    Offset {
        /// Index into [`crate::Pack::bays`].
        bay: usize,
        /// Index into [`crate::Bay::valves`].
        valve: usize,
    },
    /// [`QuantityKind::Preload`] of a bay.
    Preload {
        /// Index into [`crate::Pack::bays`].
        bay: usize,
    },
    /// [`QuantityKind::Height`] of a spring washer.
    Height {
        /// Index into [`crate::Pack::bays`].
        bay: usize,
        /// Index into [`crate::Bay::parts`].
        part: usize,
    },
    /// [`QuantityKind::Play`] of a bay.
    Play {
        /// Index into [`crate::Pack::bays`].
        bay: usize,
    },
    /// [`QuantityKind::EdgeMargin`] of a valve.
    EdgeMargin {
        /// Index into [`crate::Pack::bays`].
        bay: usize,
        /// Index into [`crate::Bay::valves`].
        valve: usize,
    },
    /// [`QuantityKind::ContactPressure`] of a valve.
    ContactPressure {
        /// Index into [`crate::Pack::bays`].
        bay: usize,
        /// Index into [`crate::Bay::valves`].
        valve: usize,
    },
    /// [`QuantityKind::Stress`] of a spring washer.
    Stress {
        /// Index into [`crate::Pack::bays`].
        bay: usize,
        /// Index into [`crate::Bay::parts`].
        part: usize,
        /// Where on the washer.
        point: StressPoint,
    },
}

/// The answer to a quantity at one vector of dimension values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outcome {
    /// One value.
    Value(f64),
    /// A loose bay lets the rocker wander between these; a requirement is met only where both ends meet it.
    Range {
        /// Pack pushed to one side, the smaller value.
        low: f64,
        /// Pack pushed to the other side, the larger value.
        high: f64,
    },
    /// The bay's parts are longer than the span even with every spring washer flat.
    CannotAssemble,
}

impl QuantityKind {
    /// Every kind, in the order in which results list them.
    pub const ALL: [Self; 7] =
        [Self::Offset, Self::Preload, Self::Height, Self::Play, Self::EdgeMargin, Self::ContactPressure, Self::Stress];

    /// The word that files and results use.
    pub fn name(self) -> &'static str {
        match self {
            Self::Offset => "offset",
            Self::Preload => "preload",
            Self::Height => "height",
            Self::Play => "play",
            Self::EdgeMargin => "edge-margin",
            Self::ContactPressure => "contact-pressure",
            Self::Stress => "stress",
        }
    }

    /// Words for a person.
    pub fn label(self) -> &'static str {
        match self {
            Self::Offset => "contact offset",
            Self::Preload => "preload",
            Self::Height => "spring washer height",
            Self::Play => "axial play",
            Self::EdgeMargin => "edge margin",
            Self::ContactPressure => "contact pressure",
            Self::Stress => "spring washer stress",
        }
    }

    /// Unit of its values.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Offset | Self::Height | Self::Play | Self::EdgeMargin => "mm",
            Self::Preload => "N",
            Self::ContactPressure | Self::Stress => "MPa",
        }
    }
}

impl std::fmt::Display for QuantityKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.name())
    }
}

impl std::str::FromStr for QuantityKind {
    type Err = QuantityError;

    fn from_str(word: &str) -> Result<Self, QuantityError> {
        Self::ALL
            .into_iter()
            .find(|kind| kind.name() == word)
            .ok_or_else(|| QuantityError::UnknownKind { word: word.to_owned() })
    }
}

impl Quantity {
    /// Its kind.
    pub fn kind(&self) -> QuantityKind {
        match self {
            Self::Offset { .. } => QuantityKind::Offset,
            Self::Preload { .. } => QuantityKind::Preload,
            Self::Height { .. } => QuantityKind::Height,
            Self::Play { .. } => QuantityKind::Play,
            Self::EdgeMargin { .. } => QuantityKind::EdgeMargin,
            Self::ContactPressure { .. } => QuantityKind::ContactPressure,
            Self::Stress { .. } => QuantityKind::Stress,
        }
    }

    /// Index of its bay.
    pub fn bay(&self) -> usize {
        match *self {
            Self::Offset { bay, .. }
            | Self::Preload { bay }
            | Self::Height { bay, .. }
            | Self::Play { bay }
            | Self::EdgeMargin { bay, .. }
            | Self::ContactPressure { bay, .. }
            | Self::Stress { bay, .. } => bay,
        }
    }

    /// Unit of its values.
    pub fn unit(&self) -> &'static str {
        self.kind().unit()
    }
}

impl Outcome {
    /// The value, or the middle of a range; None where the bay cannot be assembled.
    pub fn middle(&self) -> Option<f64> {
        match *self {
            Self::Value(value) => Some(value),
            Self::Range { low, high } => Some(low + 0.5 * (high - low)),
            Self::CannotAssemble => None,
        }
    }

    /// Smallest and largest value; None where the bay cannot be assembled.
    pub fn ends(&self) -> Option<(f64, f64)> {
        match *self {
            Self::Value(value) => Some((value, value)),
            Self::Range { low, high } => Some((low, high)),
            Self::CannotAssemble => None,
        }
    }

    /// Whether a requirement with these limits is met: at both ends of a range, and never by what cannot be assembled.
    pub fn meets(&self, lower: Option<f64>, upper: Option<f64>) -> bool {
        self.ends().is_some_and(|(low, high)| {
            lower.is_none_or(|limit| low >= limit) && upper.is_none_or(|limit| high <= limit)
        })
    }
}
