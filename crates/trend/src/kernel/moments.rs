//! Sums over one segment's readings: all that the straight-line models need of them.
//!
//! Sums of squares are about the segment's own means. Raw sums Σh², Σhy lose the digits that matter when hours are in the thousands.

use super::frame::Clock;

/// Sums of one segment, weighted, about their means. Mergeable.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Moments {
    /// Readings with a positive weight.
    pub(crate) readings: u32,
    /// Sum of weights.
    pub(crate) weight: f64,
    /// Sum of the weights' logarithms.
    pub(crate) log_weight: f64,
    /// Mean of the hours since the segment's start (of Λ of them).
    pub(crate) time: f64,
    /// Mean reading.
    pub(crate) y: f64,
    /// Σw(t − t̄)².
    pub(crate) tt: f64,
    /// Σw(t − t̄)(y − ȳ).
    pub(crate) ty: f64,
    /// Σw(y − ȳ)².
    pub(crate) yy: f64,
}

impl Moments {
    pub(crate) fn of(hours: &[f64], value: &[f64], weight: &[f64], clock: Clock) -> Self {
        let w_of = |i: usize| weight.get(i).copied().unwrap_or(1.0);
        let (mut w, mut lw, mut st, mut sy, mut n) = (0.0, 0.0, 0.0, 0.0, 0);
        for (i, (h, v)) in hours.iter().zip(value).enumerate() {
            let wi = w_of(i);
            // A reading of weight 0 is as if it were not there.
            if wi <= 0.0 {
                continue;
            }
            n += 1;
            w += wi;
            st += wi * clock.at(*h);
            sy += wi * v;
            if !weight.is_empty() {
                lw += wi.ln();
            }
        }
        if n == 0 {
            return Self::default();
        }
        let (time, y) = (st / w, sy / w);
        let (mut tt, mut ty, mut yy, mut dt1, mut dy1) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (i, (h, v)) in hours.iter().zip(value).enumerate() {
            let wi = w_of(i);
            let (dt, dy) = (clock.at(*h) - time, v - y);
            tt += wi * dt * dt;
            ty += wi * dt * dy;
            yy += wi * dy * dy;
            dt1 += wi * dt;
            dy1 += wi * dy;
        }
        // The corrected two-pass form: the means' own rounding is taken out again.
        tt -= dt1 * dt1 / w;
        ty -= dt1 * dy1 / w;
        yy -= dy1 * dy1 / w;
        Self { readings: n, weight: w, log_weight: lw, time, y, tt: tt.max(0.0), ty, yy: yy.max(0.0) }
    }

    /// Sums of two sets together.
    pub(crate) fn merge(&mut self, other: &Self) {
        if other.readings == 0 {
            return;
        }
        if self.readings == 0 {
            *self = *other;
            return;
        }
        let w = self.weight + other.weight;
        let (dt, dy) = (other.time - self.time, other.y - self.y);
        let f = self.weight * other.weight / w;
        self.tt += other.tt + f * dt * dt;
        self.ty += other.ty + f * dt * dy;
        self.yy += other.yy + f * dy * dy;
        self.time += dt * other.weight / w;
        self.y += dy * other.weight / w;
        self.readings += other.readings;
        self.log_weight += other.log_weight;
        self.weight = w;
    }

    /// Intercept (at 0 hours) and slope of the least-squares line; slope 0 where the hours do not differ.
    pub(crate) fn line(&self) -> (f64, f64) {
        let slope = if self.tt > 0.0 { self.ty / self.tt } else { 0.0 };
        (self.y - slope * self.time, slope)
    }

    /// The same sums of (y − a − b·t)/scale over t/time.
    pub(crate) fn framed(&self, a: f64, b: f64, time: f64, scale: f64) -> Self {
        Self {
            readings: self.readings,
            weight: self.weight,
            log_weight: self.log_weight,
            time: self.time / time,
            y: (self.y - a - b * self.time) / scale,
            tt: self.tt / (time * time),
            ty: (self.ty - b * self.tt) / (time * scale),
            yy: (self.yy - 2.0 * b * self.ty + b * b * self.tt).max(0.0) / (scale * scale),
        }
    }
}
