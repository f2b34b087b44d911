//! Shape-preserving cubic interpolation: the curve through rising points rises, without the overshoot of a spline.

/// Why points cannot carry a curve.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum InterpolationError {
    /// Fewer than two points.
    #[error("a curve needs at least 2 points, got {points}")]
    TooFewPoints {
        /// How many there are.
        points: usize,
    },
    /// The two coordinates do not pair up.
    #[error("{x} abscissas do not pair with {y} ordinates")]
    LengthsDiffer {
        /// Number of abscissas.
        x: usize,
        /// Number of ordinates.
        y: usize,
    },
    /// A coordinate is NaN or infinite.
    #[error("point {index} is not finite: ({x}, {y})")]
    NotFinite {
        /// From 0.
        index: usize,
        /// Abscissa.
        x: f64,
        /// Ordinate.
        y: f64,
    },
    /// Abscissas must rise strictly.
    #[error("abscissa {value} of point {index} is not above the one before it, {before}")]
    NotRising {
        /// From 0.
        index: usize,
        /// The abscissa.
        value: f64,
        /// The one before.
        before: f64,
    },
}

/// Piecewise cubic Hermite interpolant that keeps the shape of its points.
///
/// Between neighbours the curve is the cubic with given slopes at both ends. The slopes are zero where the data turn, and
/// elsewhere a weighted harmonic mean of the two secants, so that the curve is monotone wherever the data are:
/// F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17 (1980) 238–246 (the condition); F. N. Fritsch and J. Butland,
/// SIAM J. Sci. Stat. Comput. 5 (1984) 300–304 (the slopes). The end slopes are the three-point formula, limited likewise.
/// These are the slopes of `scipy.interpolate.PchipInterpolator`, against which it is tested.
///
/// The curve borrows its points and keeps no slopes: a slope costs a handful of operations, and a model that is rebuilt for
/// each of a million trials must not allocate.
///
/// # Examples
///
/// ```
/// use packdrift_numerics::interpolation::MonotoneCubic;
/// let curve = MonotoneCubic::new(&[0.0, 1.0, 2.0], &[0.0, 1.0, 4.0])?;
/// assert_eq!(curve.value(1.0), 1.0);
/// assert!(curve.value(1.5) > 1.0 && curve.value(1.5) < 4.0);
/// # Ok::<(), packdrift_numerics::interpolation::InterpolationError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonotoneCubic<'a> {
    x: &'a [f64],
    y: &'a [f64],
}

impl<'a> MonotoneCubic<'a> {
    /// The curve through (x, y).
    ///
    /// # Errors
    ///
    /// See [`InterpolationError`]: too few points, unpaired, not finite, abscissas not strictly rising.
    pub fn new(x: &'a [f64], y: &'a [f64]) -> Result<Self, InterpolationError> {
        if x.len() != y.len() {
            return Err(InterpolationError::LengthsDiffer { x: x.len(), y: y.len() });
        }
        if x.len() < 2 {
            return Err(InterpolationError::TooFewPoints { points: x.len() });
        }
        for (index, (&x, &y)) in x.iter().zip(y).enumerate() {
            if !(x.is_finite() && y.is_finite()) {
                return Err(InterpolationError::NotFinite { index, x, y });
            }
        }
        for (index, pair) in x.windows(2).enumerate() {
            if pair[1] <= pair[0] {
                return Err(InterpolationError::NotRising { index: index + 1, value: pair[1], before: pair[0] });
            }
        }
        Ok(Self { x, y })
    }

    /// The last abscissa.
    pub fn end(&self) -> f64 {
        self.x[self.x.len() - 1]
    }

    /// The value at `x`. Outside the points the outermost cubic goes on; ask [`Self::contains`] first.
    pub fn value(&self, x: f64) -> f64 {
        self.value_and_slope(x).0
    }

    /// Whether `x` lies within the points.
    pub fn contains(&self, x: f64) -> bool {
        self.x[0] <= x && x <= self.end()
    }

    /// The value and the derivative at `x`.
    pub fn value_and_slope(&self, x: f64) -> (f64, f64) {
        self.on_segment(self.segment(x), x)
    }

    /// The abscissa at which a rising curve reaches `y`; the first or last abscissa where `y` lies beyond.
    ///
    /// Meaningful for points that rise strictly in both coordinates.
    pub fn inverse(&self, y: f64) -> f64 {
        let last = self.y.len() - 1;
        if y <= self.y[0] {
            return self.x[0];
        }
        if y >= self.y[last] {
            return self.x[last];
        }
        let k = self.y.partition_point(|&knot| knot <= y).clamp(1, last) - 1;
        crate::root::newton(
            |x| {
                let (value, slope) = self.on_segment(k, x);
                (value - y, slope)
            },
            self.x[k],
            self.x[k + 1],
        )
        // A sign change is certain by the choice of k except for NaN, for which any answer is as good.
        .unwrap_or(self.x[k])
    }

    /// Index of the segment whose cubic serves `x`.
    fn segment(&self, x: f64) -> usize {
        self.x.partition_point(|&knot| knot <= x).clamp(1, self.x.len() - 1) - 1
    }

    fn on_segment(&self, k: usize, x: f64) -> (f64, f64) {
        let h = self.x[k + 1] - self.x[k];
        let rise = self.y[k + 1] - self.y[k];
        let s = (x - self.x[k]) / h;
        let (m0, m1) = (self.slope_at(k) * h, self.slope_at(k + 1) * h);
        // y0 + s·(m0 + s·(c2 + s·c3)): the Hermite cubic in powers of s, exact at s = 0.
        let c2 = 3.0 * rise - 2.0 * m0 - m1;
        let c3 = m0 + m1 - 2.0 * rise;
        // The knot's own ordinate, to the last bit, at either end.
        #[allow(clippy::float_cmp, reason = "exactly at the knot")]
        let value = if x == self.x[k + 1] { self.y[k + 1] } else { self.y[k] + s * (m0 + s * (c2 + s * c3)) };
        (value, (m0 + s * (2.0 * c2 + s * 3.0 * c3)) / h)
    }

    fn secant(&self, k: usize) -> f64 {
        (self.y[k + 1] - self.y[k]) / (self.x[k + 1] - self.x[k])
    }

    /// Slope of the curve at knot k.
    fn slope_at(&self, k: usize) -> f64 {
        let last = self.x.len() - 1;
        if last == 1 {
            return self.secant(0);
        }
        if k == 0 {
            return end_slope(self.x[1] - self.x[0], self.x[2] - self.x[1], self.secant(0), self.secant(1));
        }
        if k == last {
            return end_slope(
                self.x[last] - self.x[last - 1],
                self.x[last - 1] - self.x[last - 2],
                self.secant(last - 1),
                self.secant(last - 2),
            );
        }
        let (left, right) = (self.secant(k - 1), self.secant(k));
        if left * right <= 0.0 {
            return 0.0;
        }
        let (h_left, h_right) = (self.x[k] - self.x[k - 1], self.x[k + 1] - self.x[k]);
        let (w_left, w_right) = (2.0 * h_right + h_left, h_right + 2.0 * h_left);
        (w_left + w_right) / (w_left / left + w_right / right)
    }
}

/// Three-point slope at an end, limited so that the first cubic does not turn.
fn end_slope(h0: f64, h1: f64, secant0: f64, secant1: f64) -> f64 {
    let slope = ((2.0 * h0 + h1) * secant0 - h0 * secant1) / (h0 + h1);
    if slope * secant0 <= 0.0 {
        0.0
    } else if secant0 * secant1 <= 0.0 && slope.abs() > 3.0 * secant0.abs() {
        3.0 * secant0
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::float_cmp, reason = "a test stops at the first surprise; knots are exact")]
    use super::*;

    const X: [f64; 6] = [0.0, 0.08, 0.2, 0.33, 0.5, 0.7];
    const Y: [f64; 6] = [0.0, 31.5, 92.0, 140.0, 233.0, 260.0];

    #[test]
    fn values_and_slopes_are_those_of_scipy() {
        // scipy 1.17.1, PchipInterpolator and its derivative. Slopes at knots are one-sided limits there too.
        let rising = MonotoneCubic::new(&X, &Y).unwrap();
        for (x, value, slope) in [
            (0.0, 0.0, 349.583_333_333_333_4),
            (0.03, 10.979_753_483_142_837, 382.492_662_546_665_6),
            (0.08, 31.5, 438.573_949_064_130_1),
            (0.11, 45.951_312_712_059_13, 515.934_133_316_298_2),
            (0.2, 92.0, 427.155_142_826_323_5),
            (0.27, 117.528_872_446_926_87, 338.719_283_441_291_2),
            (0.4, 181.173_888_197_710_77, 665.211_045_261_978_4),
            (0.5, 233.0, 220.153_550_863_723_67),
            (0.61, 253.422_170_345_489_46, 136.080_086_372_360_85),
            (0.7, 260.0, 0.0),
        ] {
            let got = rising.value_and_slope(x);
            assert!((got.0 - value).abs() < 1e-12 * 260.0, "value at {x}: {} is not {value}", got.0);
            assert!((got.1 - slope).abs() < 1e-10 * 700.0, "slope at {x}: {} is not {slope}", got.1);
        }
        // Points that turn and stay level: no overshoot.
        let turning = MonotoneCubic::new(&[0.0, 1.0, 2.0, 4.0, 5.0], &[0.0, 1.0, 1.0, 0.0, 3.0]).unwrap();
        for (x, value, slope) in [
            (0.5, 0.6875, 1.125),
            (1.5, 1.0, 0.0),
            (3.0, 0.5, -0.75),
            (4.0, 0.0, 0.0),
            (4.5, 0.979_166_666_666_666_6, 3.458_333_333_333_333),
            (5.0, 3.0, 4.166_666_666_666_667),
        ] {
            let got = turning.value_and_slope(x);
            assert!((got.0 - value).abs() < 1e-14 && (got.1 - slope).abs() < 1e-13, "{x}: {got:?}");
        }
    }

    #[test]
    fn the_inverse_comes_back() {
        let curve = MonotoneCubic::new(&X, &Y).unwrap();
        for k in 0..=1000 {
            let x = 0.7 * f64::from(k) / 1000.0;
            let back = curve.inverse(curve.value(x));
            // Near the level end a value says little about the abscissa.
            let allowed = if x < 0.65 { 1e-14 } else { 1e-8 };
            assert!((back - x).abs() < allowed, "{x} came back as {back}");
        }
        assert_eq!(curve.inverse(-1.0), 0.0);
        assert_eq!(curve.inverse(1e9), 0.7);
    }

    #[test]
    fn two_points_are_a_line_and_knots_are_exact() {
        let line = MonotoneCubic::new(&[1.0, 3.0], &[10.0, 20.0]).unwrap();
        assert_eq!(line.value_and_slope(2.0), (15.0, 5.0));
        let curve = MonotoneCubic::new(&X, &Y).unwrap();
        for (x, y) in X.iter().zip(&Y) {
            assert_eq!(curve.value(*x), *y);
        }
        assert!(curve.contains(0.7) && !curve.contains(0.7001) && !curve.contains(-1e-9));
    }

    #[test]
    fn points_that_carry_no_curve_are_refused() {
        type E = InterpolationError;
        assert_eq!(MonotoneCubic::new(&[1.0], &[1.0]), Err(E::TooFewPoints { points: 1 }));
        assert_eq!(MonotoneCubic::new(&[1.0, 2.0], &[1.0]), Err(E::LengthsDiffer { x: 2, y: 1 }));
        assert!(matches!(MonotoneCubic::new(&[1.0, f64::NAN], &[1.0, 2.0]), Err(E::NotFinite { index: 1, .. })));
        let fold = MonotoneCubic::new(&[1.0, 1.0], &[1.0, 2.0]);
        assert_eq!(fold, Err(E::NotRising { index: 1, value: 1.0, before: 1.0 }));
    }
}
