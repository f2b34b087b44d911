//! One history's readings, whitened: the wander and the errors of visits are filtered out of the columns 1, x and y.
//!
//! With the clock x(t) = g((a + t)/T) − g(a/T), g(s) = (e^{κu} − 1)/(e^κ − 1), u = s^p, and visits i of mᵢ kept readings, the visits' means have covariance
//! R = σ_w²·min(xᵢ, xⱼ) + diag(σ_b² + σₑ²/mᵢ). R is the covariance of a random walk read with error, so a Kalman filter gives the innovations of
//! any column, linear in the visits, and running back through them gives R⁻¹ of it and the diagonal of R⁻¹ (J. Durbin, S. J. Koopman, Time Series
//! Analysis by State Space Methods, 2nd ed. 2012, section 4.5, from memory; held against dense matrices in the tests). What depends on the schedule alone is done
//! once for all histories that share it. A visit without a kept reading lets the walk go on.

use super::frame::Schedule;
use super::priors::Theta;
use crate::kernel::frame::Growing;

/// One visit of a schedule at given parameters.
#[derive(Debug, Clone, Copy, Default)]
struct Visit {
    x: f64,
    /// Variance of the walk before the visit.
    before: f64,
    /// Kalman gain; 0 where nothing was kept.
    gain: f64,
    /// 1/variance of the innovation; 0 where nothing was kept.
    precision: f64,
    /// Variance of the visit's mean about the truth: σ_b² + σₑ²/m.
    error: f64,
    /// Innovations of the columns 1 and x.
    one: f64,
    time: f64,
}

/// A schedule at given parameters.
#[derive(Debug, Clone, Default)]
pub(crate) struct Filter {
    visits: Vec<Visit>,
    /// S = Z′R⁻¹Z: 00, 01, 11.
    pub(crate) s: [f64; 3],
    /// ln|R|.
    pub(crate) ln_det: f64,
    /// The walk at the last visit: coefficients of the columns, and variance.
    pub(crate) last: [f64; 2],
    pub(crate) last_var: f64,
}

/// A history's column y through a [`Filter`].
#[derive(Debug, Clone, Default)]
pub(crate) struct Column {
    /// Innovations.
    innovation: Vec<f64>,
    /// The walk's coefficient before each visit.
    walk: Vec<f64>,
    /// r = Z′R⁻¹y.
    pub(crate) r: [f64; 2],
    /// y′R⁻¹y.
    pub(crate) q: f64,
    /// The walk's coefficient at the last visit.
    pub(crate) last: f64,
}

impl Filter {
    pub(crate) fn run(&mut self, schedule: &Schedule, theta: &Theta) {
        self.visits.clear();
        let growing = Growing::new(theta.growth);
        let clock = |ln_hours: f64| growing.at((theta.power * ln_hours).exp());
        // ln 0 gives e^(−∞) = 0.
        let start = clock(schedule.ln_age);
        let (wander, visit, reading) =
            (theta.wander * theta.wander, theta.visit * theta.visit, theta.reading * theta.reading);
        let (mut p, mut a1, mut ax, mut x_before) = (0.0, 0.0, 0.0, 0.0);
        let mut s = [0.0; 3];
        let (mut ln_det, mut product) = (0.0, 1.0_f64);
        for ((ln_hours, m), leap) in schedule.ln_hours.iter().zip(&schedule.readings).zip(&schedule.leap) {
            let x = clock(*ln_hours) - start;
            p += wander * (x - x_before).max(0.0) + leap;
            x_before = x;
            let mut own = Visit { x, before: p, one: 1.0 - a1, time: x - ax, ..Visit::default() };
            if *m > 0.0 {
                let error = visit + reading / m;
                let f = p + error;
                let precision = 1.0 / f;
                let gain = p * precision;
                let (e1, ex) = (own.one, own.time);
                (own.error, own.gain, own.precision) = (error, gain, precision);
                s[0] += e1 * e1 * precision;
                s[1] += e1 * ex * precision;
                s[2] += ex * ex * precision;
                product *= f;
                if !(1e-200..1e200).contains(&product) {
                    ln_det += product.ln();
                    product = 1.0;
                }
                a1 += gain * e1;
                ax += gain * ex;
                p = gain * error;
            }
            self.visits.push(own);
        }
        self.s = s;
        self.ln_det = ln_det + product.ln();
        self.last = [a1, ax];
        self.last_var = p;
    }

    /// x at the last visit; 0 without one.
    pub(crate) fn last_x(&self) -> f64 {
        self.visits.last().map_or(0.0, |v| v.x)
    }

    /// r, q and the walk of a column; keeps no innovations.
    pub(crate) fn sums(&self, y: &[f64]) -> ([f64; 2], f64, f64) {
        let (mut r0, mut r1, mut q, mut a) = (0.0, 0.0, 0.0, 0.0);
        for (y, v) in y.iter().zip(&self.visits) {
            let e = y - a;
            a += v.gain * e;
            let w = e * v.precision;
            r0 += v.one * w;
            r1 += v.time * w;
            q += e * w;
        }
        ([r0, r1], q, a)
    }

    /// The same with the innovations kept for [`Self::back`].
    pub(crate) fn column(&self, y: &[f64], out: &mut Column) {
        out.innovation.clear();
        out.walk.clear();
        let (mut r, mut q, mut a) = ([0.0; 2], 0.0, 0.0);
        for (y, v) in y.iter().zip(&self.visits) {
            let e = y - a;
            out.walk.push(a);
            a += v.gain * e;
            out.innovation.push(e);
            let w = e * v.precision;
            r = [r[0] + v.one * w, r[1] + v.time * w];
            q += e * w;
        }
        (out.r, out.q, out.last) = (r, q, a);
    }

    /// Runs back through a history, given its line's posterior mean m and covariance C (00, 01, 11): at every visit, last first, what all readings
    /// say of it.
    pub(crate) fn back(&self, column: &Column, m: [f64; 2], c: [f64; 3], mut visit: impl FnMut(usize, Seen)) {
        // R⁻¹ of the columns as it runs back, with the walk's smoothing sums.
        let (mut r1, mut rx, mut ry, mut n) = (0.0, 0.0, 0.0, 0.0);
        for (i, own) in self.visits.iter().enumerate().rev() {
            let Visit { x, before, gain, precision, error, one: e1, time: ex } = *own;
            let ey = column.innovation[i];
            // (R⁻¹z)ᵢ and (R⁻¹)ᵢᵢ, 0 where nothing was kept.
            let of = |e: f64, r: f64| e * precision - gain * r;
            let (u1, ux, uy) = (of(e1, r1), of(ex, rx), of(ey, ry));
            let diagonal = precision + gain * gain * n;
            let kept = precision > 0.0;
            let keep = if kept { 1.0 - gain } else { 1.0 };
            r1 = keep * r1 + e1 * precision;
            rx = keep * rx + ex * precision;
            ry = keep * ry + ey * precision;
            n = keep * keep * n + precision;
            // The walk given the line: its coefficients of the columns 1, x and y, and variance.
            let (w1, wx) = (1.0 - e1 + before * r1, x - ex + before * rx);
            let wy = column.walk[i] + before * ry;
            let walk_var = (before - before * before * n).max(0.0);
            let a = [1.0 - w1, x - wx];
            let quadratic = |a: [f64; 2]| a[0] * a[0] * c[0] + 2.0 * a[0] * a[1] * c[1] + a[1] * a[1] * c[2];
            visit(
                i,
                Seen {
                    kept,
                    error,
                    mean: a[0] * m[0] + a[1] * m[1] + wy,
                    var: walk_var + quadratic(a),
                    pull: uy - u1 * m[0] - ux * m[1],
                    precision: diagonal - quadratic([u1, ux]),
                },
            );
        }
    }
}

/// What all readings of a fleet say of one visit of a history.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Seen {
    /// Whether a reading of it is kept.
    pub(crate) kept: bool,
    /// Variance of the mean of its kept readings about the truth.
    pub(crate) error: f64,
    /// The true value: mean and variance.
    pub(crate) mean: f64,
    pub(crate) var: f64,
    /// (Py)ᵢ and Pᵢᵢ with P = V⁻¹ − V⁻¹X(X′V⁻¹X)⁻¹X′V⁻¹ of the whole fleet.
    pub(crate) pull: f64,
    pub(crate) precision: f64,
}
