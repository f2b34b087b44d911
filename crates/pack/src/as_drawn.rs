//! A pack as it was read: squeeze, preload, play and offsets of every bay with every dimension at one value (the drawing's
//! nominals), and the bays that no values within their limits can build.
//!
//! Whoever writes a pack sees by these few figures whether the program understood it: a digit too many in a span, a stem
//! measured from the wrong face or a rate given as a thickness shows at once.

use crate::equilibrium::{growth, settle};
use crate::error::PackError;
use crate::model::{Bay, Condition, Pack, PartKind};
use crate::quantity::{Outcome, Quantity};
use crate::spring::{Spring, at};

/// One bay in one condition, with every dimension at one value.
#[derive(Debug, Clone, PartialEq)]
pub struct AsDrawn {
    /// Its name.
    pub bay: String,
    /// The condition's name.
    pub condition: String,
    /// D: the free length of all parts less the span, mm. Above 0 the bay is squeezed by so much, below 0 it is loose.
    pub squeeze: f64,
    /// What its spring washers can take before all of them are flat, mm; NaN where one of them cannot exist.
    pub room: f64,
    /// Preload, N; None where the bay cannot be assembled.
    pub preload: Option<f64>,
    /// Axial play, mm; 0 under preload.
    pub play: f64,
    /// The contact offset of each of its valves.
    pub offsets: Vec<OffsetAsDrawn>,
}

/// The contact offset of a valve.
#[derive(Debug, Clone, PartialEq)]
pub struct OffsetAsDrawn {
    /// The valve's name.
    pub valve: String,
    /// mm; a range where the bay is loose.
    pub offset: Outcome,
}

impl AsDrawn {
    /// Whether its parts fit between the fixed faces.
    pub fn can_be_assembled(&self) -> bool {
        self.preload.is_some()
    }
}

impl std::fmt::Display for AsDrawn {
    /// `middle, running: squeezed 0.400 of 0.600 mm, preload 312 N; offset 1 exhaust 1.000 mm`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.words(&|mm| format!("{mm:.3}"), "mm"))
    }
}

impl AsDrawn {
    /// In one line, with lengths (mm) as `length` writes them in `unit`.
    pub fn words(&self, length: &dyn Fn(f64) -> String, unit: &str) -> String {
        let place = format!("{}, {}: ", self.bay, self.condition);
        let (squeeze, room) = (length(self.squeeze), length(self.room));
        let mut words = match self.preload {
            None if self.room.is_nan() => {
                return format!("{place}cannot be assembled (a spring washer that cannot exist)");
            }
            None => {
                return format!(
                    "{place}cannot be assembled: the parts are {squeeze} {unit} too long, and the spring washers can take {room} {unit}"
                );
            }
            Some(_) if self.play > 0.0 => format!("{place}loose, play {} {unit}", length(self.play)),
            Some(preload) => format!("{place}squeezed {squeeze} of {room} {unit}, preload {preload:.1} N"),
        };
        for (k, OffsetAsDrawn { valve, offset }) in self.offsets.iter().enumerate() {
            let stands = match *offset {
                Outcome::Value(value) => format!("{} {unit}", length(value)),
                Outcome::Range { low, high } => format!("{} to {} {unit}", length(low), length(high)),
                Outcome::CannotAssemble => "none".to_owned(),
            };
            words += &format!("{} {valve} {stands}", if k == 0 { "; offset" } else { "," });
        }
        words
    }
}

impl Pack {
    /// Every bay in every condition with the dimensions at `x` (mm, at the reference temperature; one value per dimension).
    ///
    /// # Examples
    ///
    /// ```
    /// # use packdrift_pack::*;
    /// # let id = DimensionId;
    /// # let dimension = |path: &str| Dimension { path: path.into(), unit: "mm" };
    /// # let linear = SpringLaw::Linear { rate: id(2), free_height: id(3), solid_height: None };
    /// # let part = |name: &str, kind| Part { name: name.into(), kind, expansion: 11.5e-6 };
    /// # let pack = Pack {
    /// #     title: String::new(),
    /// #     reference_temperature: 20.0,
    /// #     conditions: vec![Condition { name: "assembly".into(), temperature: 20.0 }],
    /// #     bays: vec![Bay {
    /// #         name: "middle".into(),
    /// #         span: id(0),
    /// #         expansion: 23e-6,
    /// #         parts: vec![
    /// #             part("shim", PartKind::Solid { kind: SolidKind::Shim, thickness: id(1), bedding: None }),
    /// #             part("spring washer", PartKind::Spring(SpringWasher { law: linear, friction: None, set: None })),
    /// #         ],
    /// #         valves: vec![],
    /// #     }],
    /// #     dimensions: ["span", "shim/thickness", "spring/rate", "spring/free_height"].map(dimension).into(),
    /// # };
    /// // A shim of 0.4 mm and a spring washer of 50 N/mm and 1.4 mm free height in a span of 1.5 mm.
    /// let read = &pack.as_drawn(&[1.5, 0.4, 50.0, 1.4])[0];
    /// assert_eq!(read.to_string(), "middle, assembly: squeezed 0.300 of 1.400 mm, preload 15.0 N");
    /// // A span of 15 mm by a slip of the pen: loose, and no build within ± 0.1 mm is any better.
    /// let x = [15.0, 0.4, 50.0, 1.4];
    /// assert_eq!(pack.as_drawn(&x)[0].to_string(), "middle, assembly: loose, play 13.200 mm");
    /// assert_eq!(pack.never_built(&x.map(|v| v - 0.1), &x.map(|v| v + 0.1)).len(), 1);
    /// ```
    ///
    /// # Panics
    ///
    /// If the pack's own indices lead nowhere ([`Pack::validate`] finds those).
    pub fn as_drawn(&self, x: &[f64]) -> Vec<AsDrawn> {
        let mut all = Vec::with_capacity(self.bays.len() * self.conditions.len());
        for bay in 0..self.bays.len() {
            for condition in 0..self.conditions.len() {
                all.push(self.bay_as_drawn(bay, condition, x));
            }
        }
        all
    }

    fn bay_as_drawn(&self, bay: usize, condition: usize, x: &[f64]) -> AsDrawn {
        let data = &self.bays[bay];
        let (squeeze, room, preload, play) =
            match settle(data, &self.conditions[condition], self.reference_temperature, x) {
                Ok(settled) => (settled.interference, settled.room, Some(settled.load), settled.play()),
                Err(cannot) => (cannot.interference, cannot.room, None, 0.0),
            };
        let offsets = data.valves.iter().enumerate().map(|(valve, of)| OffsetAsDrawn {
            valve: of.name.clone(),
            offset: self.evaluate(&Quantity::Offset { bay, valve }, condition, x),
        });
        AsDrawn {
            bay: data.name.clone(),
            condition: self.conditions[condition].name.clone(),
            squeeze,
            room,
            preload,
            play,
            offsets: offsets.collect(),
        }
    }

    /// The bays that cannot be built in any condition with any values between `lower` and `upper`: a slip in the file, not
    /// a result. Either the parts are too long wherever in their limits they lie, even with every spring washer flat; or
    /// they fill less than half of the span, so that the bay has more play than parts.
    ///
    /// A bay that is loose by less, or too long in one condition only, is a result that `stack` tells.
    ///
    /// # Panics
    ///
    /// If the pack's own indices lead nowhere ([`Pack::validate`] finds those).
    pub fn never_built(&self, lower: &[f64], upper: &[f64]) -> Vec<PackError> {
        let mut errors = Vec::new();
        for bay in &self.bays {
            let of_conditions = |end: End| {
                self.conditions.iter().map(move |condition| self.lengths_at(bay, condition, lower, upper, end))
            };
            let path = || self.dimensions.get(bay.span.0).map_or_else(|| bay.name.clone(), |span| span.path.clone());
            // NaN (a washer that cannot exist) is told elsewhere and compares as false here.
            if of_conditions(End::Shortest).all(|Lengths { flat, span, .. }| flat > span) {
                let least = of_conditions(End::Shortest).map(|l| l.flat - l.span).fold(f64::INFINITY, f64::min);
                errors.push(PackError::NeverFits { path: path(), excess: least });
            } else if of_conditions(End::Longest).all(|Lengths { free, span, .. }| span > 2.0 * free) {
                let most = of_conditions(End::Longest).map(|l| l.free).fold(0.0, f64::max);
                let span = of_conditions(End::Longest).map(|l| l.span).fold(f64::INFINITY, f64::min);
                errors.push(PackError::SpanUnfilled { path: path(), span, parts: most });
            }
        }
        errors
    }

    /// A bay's lengths with every dimension at the end of its limits that makes the parts longest, or shortest, in the span.
    ///
    /// Each dimension is taken to its end by itself. That is exact but for a set factor whose limits lie on both sides of 1.
    fn lengths_at(&self, bay: &Bay, condition: &Condition, lower: &[f64], upper: &[f64], end: End) -> Lengths {
        let excess = |x: &[f64]| {
            let Lengths { free, flat, span } = self.lengths_of(bay, condition, x);
            if end == End::Longest { free - span } else { span - flat }
        };
        let middle: Vec<f64> = lower.iter().zip(upper).map(|(a, b)| a + 0.5 * (b - a)).collect();
        let mut best = middle.clone();
        let mut x = middle.clone();
        for k in 0..x.len().min(lower.len()).min(upper.len()) {
            x[k] = lower[k];
            let low = excess(&x);
            x[k] = upper[k];
            best[k] = if excess(&x) >= low { upper[k] } else { lower[k] };
            x[k] = middle[k];
        }
        self.lengths_of(bay, condition, &best)
    }

    fn lengths_of(&self, bay: &Bay, condition: &Condition, x: &[f64]) -> Lengths {
        let grown = |expansion: f64| growth(expansion, condition, self.reference_temperature);
        let (mut free, mut flat) = (0.0, 0.0);
        for part in &bay.parts {
            let scale = grown(part.expansion);
            let (longest, shortest) = match &part.kind {
                PartKind::Solid { .. } | PartKind::Rocker { .. } => {
                    let length = part.kind.rigid_length().map(|(id, sign)| sign * scale * at(x, id)).sum::<f64>();
                    (length, length)
                }
                PartKind::Spring(washer) => Spring::new(washer, scale, x)
                    .map_or((f64::NAN, f64::NAN), |spring| (spring.free_height(), spring.flat_height)),
            };
            free += longest;
            flat += shortest;
        }
        Lengths { free, flat, span: grown(bay.expansion) * at(x, bay.span) }
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum End {
    Longest,
    Shortest,
}

/// mm.
struct Lengths {
    /// Of all parts, spring washers free.
    free: f64,
    /// Of all parts, spring washers flat.
    flat: f64,
    span: f64,
}
