//! What is to be ordered.

/// A part that the plan asks for.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Ordered {
    /// Shims for corrections of a size.
    Shims {
        /// Corrections from here …
        from: f64,
        /// … to here, in the offset's unit.
        to: f64,
        /// Their mean, and …
        mean: f64,
        /// … standard deviation.
        sd: f64,
    },
    /// A new part for one whose feature has worn.
    NewPart {
        /// Feature name.
        feature: String,
    },
}

/// A line of the order: expected numbers, by when they are needed.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderLine {
    /// What.
    pub part: Ordered,
    /// For work that does not wait for a window.
    pub at_once: f64,
    /// For work in the plan's windows, or on a day of its own.
    pub in_windows: f64,
    /// For engines that need work before the plan's end and have no place.
    pub without_place: f64,
    /// For work that falls due after the plan's end, before the window after that.
    pub beyond: f64,
}

impl OrderLine {
    /// All of them.
    pub fn total(&self) -> f64 {
        self.at_once + self.in_windows + self.without_place + self.beyond
    }
}
