//! Roots of a function of one variable that is known to change sign on an interval.
//!
//! Two searches, both with a bracket that only ever shrinks, so that neither can run away or hang: [`newton`] where a
//! derivative is at hand, [`brent`] where it is not.

/// Why no root was found.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RootError {
    /// The function has the same sign at both ends.
    #[error("no sign change between {lower} (value {at_lower}) and {upper} (value {at_upper})")]
    NoSignChange {
        /// Lower end of the interval.
        lower: f64,
        /// Upper end of the interval.
        upper: f64,
        /// Value at the lower end.
        at_lower: f64,
        /// Value at the upper end.
        at_upper: f64,
    },
    /// The function gave a value that is not a number.
    #[error("the function is not a number at {at}")]
    NotANumber {
        /// Where.
        at: f64,
    },
}

/// Halving alone reaches the last bit of any interval of ordinary numbers in about 1 100 steps (the exponent range), and
/// of an interval around one magnitude in about 60; the searches below mix in faster steps. The cap cannot be reached by
/// a function that keeps its word, and is there so that one that does not ends all the same.
const STEPS: usize = 1_200;

/// Finds x in [lower, upper] with f(x) = 0, where `f` returns value and derivative, by Newton's steps kept inside a
/// shrinking bracket: a step that would leave the bracket, or gains too little, is replaced by halving.
///
/// The result is the best double to within a few units in the last place, as far as the values of `f` allow.
///
/// # Errors
///
/// [`RootError::NoSignChange`] where f has one sign at both ends, [`RootError::NotANumber`] where f is NaN.
///
/// # Examples
///
/// ```
/// let x = packdrift_numerics::root::newton(|x| (x * x - 2.0, 2.0 * x), 0.0, 2.0)?;
/// assert!((x - 2.0_f64.sqrt()).abs() < 1e-15);
/// # Ok::<(), packdrift_numerics::root::RootError>(())
/// ```
pub fn newton(mut f: impl FnMut(f64) -> (f64, f64), lower: f64, upper: f64) -> Result<f64, RootError> {
    let (at_lower, _) = f(lower);
    let (at_upper, _) = f(upper);
    let Some(rising) = bracket(lower, upper, at_lower, at_upper)? else {
        return Ok(if at_lower == 0.0 { lower } else { upper });
    };
    // `a` keeps the sign of the lower end, `b` that of the upper. The first guess is the secant's.
    let (mut a, mut b) = (lower, upper);
    let mut x = a - at_lower * (b - a) / (at_upper - at_lower);
    if !(x > a && x < b) {
        x = a + 0.5 * (b - a);
    }
    let mut last_step = b - a;
    for _ in 0..STEPS {
        let (value, slope) = f(x);
        if value.is_nan() {
            return Err(RootError::NotANumber { at: x });
        }
        if value == 0.0 {
            return Ok(x);
        }
        if (value > 0.0) == rising {
            b = x;
        } else {
            a = x;
        }
        let half = 0.5 * (b - a);
        let middle = a + half;
        if middle <= a || middle >= b {
            // Neighbouring doubles: nothing lies between.
            return Ok(x);
        }
        let step = value / slope;
        // Below half the spacing of doubles at x.
        if step.abs() <= 0.5 * f64::EPSILON * x.abs() {
            return Ok(x);
        }
        let next = x - step;
        // A step must stay inside and at least halve the one before it, else the bracket is halved.
        if next > a && next < b && step.abs() <= 0.5 * last_step {
            x = next;
            last_step = step.abs();
        } else {
            x = middle;
            last_step = half;
        }
    }
    Ok(x)
}

/// Finds x in [lower, upper] with f(x) = 0 to within `tolerance` (absolute; 0 for the last bits) by Brent's method:
/// inverse quadratic interpolation and secants, with halving as the fall-back. R. P. Brent, Algorithms for Minimization
/// without Derivatives, 1973, chapter 4.
///
/// # Errors
///
/// [`RootError::NoSignChange`] where f has one sign at both ends, [`RootError::NotANumber`] where f is NaN.
///
/// # Examples
///
/// ```
/// let x = packdrift_numerics::root::brent(|x: f64| x.cos() - x, 0.0, 1.0, 0.0)?;
/// assert!((x - 0.739_085_133_215_160_6).abs() < 1e-15);
/// # Ok::<(), packdrift_numerics::root::RootError>(())
/// ```
pub fn brent(mut f: impl FnMut(f64) -> f64, lower: f64, upper: f64, tolerance: f64) -> Result<f64, RootError> {
    let (mut a, mut b) = (lower, upper);
    let (mut fa, mut fb) = (f(a), f(b));
    if bracket(a, b, fa, fb)?.is_none() {
        return Ok(if fa == 0.0 { a } else { b });
    }
    let (mut c, mut fc) = (a, fa);
    let mut step = b - a;
    let mut before = step;
    for _ in 0..STEPS {
        if (fb > 0.0) == (fc > 0.0) {
            (c, fc) = (a, fa);
            step = b - a;
            before = step;
        }
        if fc.abs() < fb.abs() {
            (a, b, c) = (b, c, b);
            (fa, fb, fc) = (fb, fc, fb);
        }
        let least = 2.0 * f64::EPSILON * b.abs() + 0.5 * tolerance;
        let half = 0.5 * (c - b);
        if half.abs() <= least || fb == 0.0 {
            return Ok(b);
        }
        if before.abs() >= least && fa.abs() > fb.abs() {
            let s = fb / fa;
            #[allow(clippy::float_cmp, reason = "the two are copies of one another or not")]
            let (mut p, mut q) = if a == c {
                (2.0 * half * s, 1.0 - s)
            } else {
                let (q, r) = (fa / fc, fb / fc);
                (s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0)), (q - 1.0) * (r - 1.0) * (s - 1.0))
            };
            if p > 0.0 {
                q = -q;
            } else {
                p = -p;
            }
            if 2.0 * p < (3.0 * half * q - (least * q).abs()).min((before * q).abs()) {
                before = step;
                step = p / q;
            } else {
                step = half;
                before = half;
            }
        } else {
            step = half;
            before = half;
        }
        (a, fa) = (b, fb);
        b += if step.abs() > least { step } else { least.copysign(half) };
        fb = f(b);
        if fb.is_nan() {
            return Err(RootError::NotANumber { at: b });
        }
    }
    Ok(b)
}

/// Whether the function rises over the bracket; None where an end is itself a root.
fn bracket(lower: f64, upper: f64, at_lower: f64, at_upper: f64) -> Result<Option<bool>, RootError> {
    if at_lower.is_nan() {
        return Err(RootError::NotANumber { at: lower });
    }
    if at_upper.is_nan() {
        return Err(RootError::NotANumber { at: upper });
    }
    if at_lower == 0.0 || at_upper == 0.0 {
        return Ok(None);
    }
    if (at_lower > 0.0) == (at_upper > 0.0) {
        return Err(RootError::NoSignChange { lower, upper, at_lower, at_upper });
    }
    Ok(Some(at_upper > 0.0))
}

#[cfg(test)]
mod tests {
    // A test stops at the first surprise.
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn newton_reaches_the_last_bits_on_easy_and_hard_shapes() {
        // exp(x) = 1e300 from far away, a triple root, a root at an end, a falling function.
        let x = newton(|x: f64| (x.exp() - 1e300, x.exp()), 0.0, 700.0).unwrap();
        assert!((x - 1e300_f64.ln()).abs() < 1e-12);
        let x = newton(|x: f64| ((x - 0.3).powi(3), 3.0 * (x - 0.3).powi(2)), -1.0, 2.0).unwrap();
        assert!((x - 0.3).abs() < 1e-6);
        assert!(newton(|x| (x, 1.0), 0.0, 1.0).unwrap().abs() < f64::EPSILON);
        let x = newton(|x| (2.0 - x * x * x, -3.0 * x * x), 0.0, 2.0).unwrap();
        assert!((x - 2.0_f64.cbrt()).abs() < 1e-15);
    }

    #[test]
    fn newton_ends_where_the_derivative_lies() {
        // Slope zero, wrong sign, NaN: the bracket still closes on the root.
        for slope in [0.0, -1.0, f64::NAN, 1e-300] {
            let x = newton(|x| (x - 0.7, slope), 0.0, 1.0).unwrap();
            assert!((x - 0.7).abs() < 1e-15, "slope {slope} gave {x}");
        }
    }

    #[test]
    fn brent_agrees_with_newton() {
        for k in 1..40 {
            let y = f64::from(k) * 0.37;
            let by_newton = newton(|x| (x * x * x + x - y, 3.0 * x * x + 1.0), 0.0, 10.0).unwrap();
            let by_brent = brent(|x| x * x * x + x - y, 0.0, 10.0, 0.0).unwrap();
            assert!((by_newton - by_brent).abs() <= 4.0 * f64::EPSILON * by_newton.abs());
        }
    }

    #[test]
    fn a_missing_sign_change_and_a_nan_are_errors() {
        assert!(matches!(brent(|x| x * x + 1.0, -1.0, 1.0, 0.0), Err(RootError::NoSignChange { .. })));
        assert!(matches!(newton(|_| (f64::NAN, 1.0), -1.0, 1.0), Err(RootError::NotANumber { .. })));
    }
}
