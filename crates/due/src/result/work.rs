//! What is done to a valve, and because of what.

/// One feature's part in a valve's need for work.
#[derive(Debug, Clone, PartialEq)]
pub struct Cause {
    /// Feature name.
    pub feature: String,
    /// Chance that it has entered the damage zone by the following window.
    pub chance: f64,
}

/// How far a rocker has to move, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correction {
    /// Aim less expected offset, in the feature's unit (mm); positive: the offset has to grow.
    pub mean: f64,
    /// Standard deviation, from the forecast and from the hours run until then.
    pub sd: f64,
    /// The offset expected then.
    pub expected: f64,
    /// The aim.
    pub target: f64,
}

/// A valve to be done.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveWork {
    /// Valve name.
    pub valve: String,
    /// Chance of having entered the damage zone, by any feature, when the shaft comes off.
    pub chance_then: f64,
    /// The same by the following window, if it were left alone.
    pub chance_by_following: f64,
    /// The features behind it, most likely first; those with less than a tenth of the chance are left out.
    pub causes: Vec<Cause>,
    /// Features among the causes that no shim mends: what has worn is to be renewed.
    pub renew: Vec<String>,
    /// Of the contact offset, where that is among the causes; None where a worn part alone is the cause, or the offset is not followed.
    pub correction: Option<Correction>,
}

/// How many corrections of a size are to be expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemandStep {
    /// Corrections from here …
    pub from: f64,
    /// … to here, in the feature's unit.
    pub to: f64,
    /// Expected number.
    pub expected: f64,
}
