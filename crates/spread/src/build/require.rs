//! What is required, by the names of the pack.

use crate::stack::MAX_OUT;
use packdrift_pack::{QuantityKind, QuantitySubject, StressPoint};

/// One quantity and its limits. Lengths in mm, preload in N, pressure and stress in MPa.
///
/// Without a condition named it holds in each of the pack's.
///
/// # Examples
/// ```
/// use packdrift_spread::Require;
/// let offset = Require::offset("1 exhaust").between(0.85, 1.05).max_out(0.001);
/// let preload = Require::preload("middle").at_least(75.0).when("running").named("holds the rocker");
/// # let _ = (offset, preload);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Require {
    pub(super) kind: QuantityKind,
    pub(super) of: String,
    pub(super) point: Option<StressPoint>,
    pub(super) name: Option<String>,
    pub(super) condition: Option<String>,
    pub(super) lower: Option<f64>,
    pub(super) upper: Option<f64>,
    pub(super) target: Option<f64>,
    pub(super) max_out: f64,
}

impl Require {
    fn new(kind: QuantityKind, of: impl Into<String>) -> Self {
        Self {
            kind,
            of: of.into(),
            point: None,
            name: None,
            condition: None,
            lower: None,
            upper: None,
            target: None,
            max_out: MAX_OUT,
        }
    }

    /// The contact offset of a valve.
    pub fn offset(valve: impl Into<String>) -> Self {
        Self::new(QuantityKind::Offset, valve)
    }

    /// The preload of a bay.
    pub fn preload(bay: impl Into<String>) -> Self {
        Self::new(QuantityKind::Preload, bay)
    }

    /// The play of a bay.
    pub fn play(bay: impl Into<String>) -> Self {
        Self::new(QuantityKind::Play, bay)
    }

    /// The height of a spring washer in its bay.
    pub fn height(spring: impl Into<String>) -> Self {
        Self::new(QuantityKind::Height, spring)
    }

    /// The distance of a valve's contact from the edge of its stem's end.
    pub fn edge_margin(valve: impl Into<String>) -> Self {
        Self::new(QuantityKind::EdgeMargin, valve)
    }

    /// The largest pressure of a valve's contact.
    pub fn contact_pressure(valve: impl Into<String>) -> Self {
        Self::new(QuantityKind::ContactPressure, valve)
    }

    /// The stress of a spring washer at a point.
    pub fn stress(spring: impl Into<String>, point: StressPoint) -> Self {
        Self { point: Some(point), ..Self::new(QuantityKind::Stress, spring) }
    }

    /// Both limits.
    pub fn between(mut self, lower: f64, upper: f64) -> Self {
        (self.lower, self.upper) = (Some(lower), Some(upper));
        self
    }

    /// A lower limit.
    pub fn at_least(mut self, lower: f64) -> Self {
        self.lower = Some(lower);
        self
    }

    /// An upper limit.
    pub fn at_most(mut self, upper: f64) -> Self {
        self.upper = Some(upper);
        self
    }

    /// The aim, where it is not the middle of the limits.
    pub fn aiming_at(mut self, target: f64) -> Self {
        self.target = Some(target);
        self
    }

    /// The largest acceptable share outside; 0.0027 where it is not given.
    pub fn max_out(mut self, share: f64) -> Self {
        self.max_out = share;
        self
    }

    /// In this condition alone.
    pub fn when(mut self, condition: impl Into<String>) -> Self {
        self.condition = Some(condition.into());
        self
    }

    /// Its name in results; `offset 1 exhaust` and the like where it is not given.
    pub fn named(mut self, name: impl Into<String>) -> Self {
        self.name = Some(name.into());
        self
    }

    pub(super) fn title(&self) -> String {
        self.name.clone().unwrap_or_else(|| format!("{} {}", self.kind.name(), self.of))
    }

    /// Its subject: the kind says of what.
    pub(super) fn subject(&self) -> QuantitySubject<'_> {
        let of = Some(self.of.as_str());
        let none = QuantitySubject { point: self.point, ..QuantitySubject::default() };
        match self.kind {
            QuantityKind::Offset | QuantityKind::EdgeMargin | QuantityKind::ContactPressure => {
                QuantitySubject { valve: of, ..none }
            }
            QuantityKind::Preload | QuantityKind::Play => QuantitySubject { bay: of, ..none },
            QuantityKind::Height | QuantityKind::Stress => QuantitySubject { spring: of, ..none },
        }
    }
}
