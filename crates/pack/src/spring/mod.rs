//! Spring washers: one file a law, and what equilibrium needs of any of them.
//!
//! A [`Spring`] is a [`SpringWasher`] with its numbers filled in at one temperature: a load that starts at 0 and rises with
//! deflection, a room (the deflection at which the washer lies flat), and the height at which it is flat.

pub(crate) mod curved;
pub mod disc;
mod partials;
pub(crate) mod table;
pub(crate) mod wave;

use crate::model::{DimensionId, SpringLaw, SpringWasher};
use disc::DiscCurve;
use packdrift_numerics::interpolation::MonotoneCubic;

/// The value of a dimension; NaN for a number the pack does not have, which no law takes for sound.
pub(crate) fn at(x: &[f64], id: DimensionId) -> f64 {
    x.get(id.0).copied().unwrap_or(f64::NAN)
}

/// Load over deflection with its constants filled in.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Curve<'a> {
    /// F = c·δ·((h − δ)(h − δ/2) + t²).
    Disc(DiscCurve),
    /// F = rate·δ.
    Linear {
        /// N/mm.
        rate: f64,
    },
    /// F = factor·curve(δ / stretch).
    Table {
        /// As measured.
        curve: MonotoneCubic<'a>,
        /// Thermal growth of the deflections, unit 1.
        stretch: f64,
        /// Friction, unit 1.
        factor: f64,
    },
}

/// A spring washer with its numbers filled in, at one temperature.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spring<'a> {
    pub(crate) curve: Curve<'a>,
    /// Height when flat, mm.
    pub(crate) flat_height: f64,
    /// Deflection from free to flat, mm; not below 0.
    pub(crate) room: f64,
    /// Load at `room`, N.
    pub(crate) flat_load: f64,
    /// Where the load is largest: `room`, or less where the curve falls again.
    pub(crate) peak: f64,
    /// Load at `peak`, N.
    pub(crate) peak_load: f64,
}

impl<'a> Spring<'a> {
    /// Fills in the numbers; None where no such washer can exist (negative thickness, inner above outer diameter, NaN, a
    /// table that is none).
    pub(crate) fn new(washer: &'a SpringWasher, scale: f64, x: &[f64]) -> Option<Self> {
        let friction = washer.friction.map_or(1.0, |id| at(x, id));
        let set = washer.set.map_or(1.0, |id| at(x, id));
        let length = |id: DimensionId| scale * at(x, id);
        let (curve, flat_height, room) = match &washer.law {
            SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, elastic } => {
                let t = length(*thickness);
                let h = set * length(*cone_height);
                let c = friction * disc::coefficient(length(*outer_diameter), length(*inner_diameter), t, elastic);
                (Curve::Disc(DiscCurve { c, h, t }), t, h)
            }
            SpringLaw::Wave {
                outer_diameter,
                inner_diameter,
                thickness,
                free_height,
                waves,
                factor,
                solid_height,
                elastic,
            } => {
                let t = length(*thickness);
                let rate = friction
                    * wave::rate(length(*outer_diameter), length(*inner_diameter), t, *waves, *factor, elastic);
                let solid = solid_height.map_or(t, length);
                (Curve::Linear { rate }, solid, set * (length(*free_height) - solid))
            }
            SpringLaw::Curved { outer_diameter, inner_diameter, thickness, free_height, solid_height, elastic } => {
                let t = length(*thickness);
                let rate = friction * curved::rate(length(*outer_diameter), length(*inner_diameter), t, elastic);
                let solid = solid_height.map_or(t, length);
                (Curve::Linear { rate }, solid, set * (length(*free_height) - solid))
            }
            SpringLaw::Linear { rate, free_height, solid_height } => {
                let solid = solid_height.map_or(0.0, length);
                (Curve::Linear { rate: friction * at(x, *rate) }, solid, set * (length(*free_height) - solid))
            }
            SpringLaw::Table { curve, free_height, solid_height } => {
                let points = curve.curve().ok()?;
                let free = length(*free_height);
                let measured = scale * points.end();
                let solid = solid_height.map_or(free - measured, length);
                // What lies beyond the table was never measured: the washer counts as solid at its end at the latest.
                let full = set * (free - solid);
                let room = full.min(measured);
                (Curve::Table { curve: points, stretch: scale, factor: friction }, solid + (full - room), room)
            }
        };
        let room = room.max(0.0);
        let sound = match curve {
            Curve::Disc(DiscCurve { c, t, .. }) => c > 0.0 && c <= f64::MAX && t > 0.0,
            Curve::Linear { rate } => rate > 0.0 && rate <= f64::MAX,
            Curve::Table { factor, .. } => factor > 0.0 && factor <= f64::MAX,
        };
        let mut spring = Self { curve, flat_height, room, flat_load: 0.0, peak: room, peak_load: 0.0 };
        if let Curve::Disc(curve) = curve
            && let Some(peak) = curve.peak()
        {
            spring.peak = peak.min(room);
        }
        spring.flat_load = spring.load(room);
        spring.peak_load = spring.load(spring.peak);
        sound.then_some(spring)
    }

    /// Height under no load, mm.
    pub(crate) fn free_height(&self) -> f64 {
        self.flat_height + self.room
    }

    /// Load at a deflection, N.
    pub(crate) fn load(&self, deflection: f64) -> f64 {
        match self.curve {
            Curve::Disc(curve) => curve.load(deflection),
            Curve::Linear { rate } => rate * deflection,
            Curve::Table { curve, stretch, factor } => factor * curve.value(deflection / stretch),
        }
    }

    /// Slope of the load, N/mm.
    pub(crate) fn rate(&self, deflection: f64) -> f64 {
        match self.curve {
            Curve::Disc(curve) => curve.rate(deflection),
            Curve::Linear { rate } => rate,
            Curve::Table { curve, stretch, factor } => factor / stretch * curve.value_and_slope(deflection / stretch).1,
        }
    }

    /// The deflection under a load, on the first, rising branch, and not beyond its end.
    pub(crate) fn deflection(&self, load: f64) -> f64 {
        if load >= self.peak_load {
            return self.peak;
        }
        match self.curve {
            Curve::Disc(curve) => curve.deflection(load, self.peak),
            Curve::Linear { rate } => (load / rate).min(self.room),
            Curve::Table { curve, stretch, factor } => (stretch * curve.inverse(load / factor)).min(self.room),
        }
    }

    /// Whether the load falls again before the washer is flat.
    pub(crate) fn falls(&self) -> bool {
        self.peak < self.room
    }
}
