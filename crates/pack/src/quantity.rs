//! What can be asked of a pack: the quantities a requirement may bound, and the forms an answer takes.

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
