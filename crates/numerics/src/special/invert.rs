//! Where a rising function crosses zero, from a guess: the bracket is found first, then kept until the end.

/// Where to start looking, and between what.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inversion {
    /// A guess.
    pub start: f64,
    /// The first step away from it; doubled until the root is bracketed. Above 0.
    pub step: f64,
    /// Nothing is looked for below.
    pub lower: f64,
    /// Nothing is looked for above.
    pub upper: f64,
}

/// The root of a function that rises from negative to positive, to the last few bits: bracketing by doubled steps, then
/// Chandrupatla's method (bisection and inverse quadratic interpolation; Advances in Engineering Software 28, 1997).
/// Where the function does not change sign between `lower` and `upper` the end it points to is returned; NaN where it is NaN.
/// It never takes more than some 200 evaluations.
pub fn invert_increasing(search: &Inversion, mut f: impl FnMut(f64) -> f64) -> f64 {
    let start = search.start.clamp(search.lower, search.upper);
    let at_start = f(start);
    if at_start.is_nan() || search.step.is_nan() {
        return f64::NAN;
    }
    if at_start == 0.0 {
        return start;
    }
    let (mut low, mut at_low, mut high, mut at_high) = (start, at_start, start, at_start);
    let mut step = search.step.abs().max(1e-300);
    while at_low > 0.0 {
        if low <= search.lower {
            return search.lower;
        }
        (high, at_high) = (low, at_low);
        low = (low - step).max(search.lower);
        at_low = f(low);
        step *= 2.0;
    }
    while at_high < 0.0 {
        if high >= search.upper {
            return search.upper;
        }
        (low, at_low) = (high, at_high);
        high = (high + step).min(search.upper);
        at_high = f(high);
        step *= 2.0;
    }
    if at_low.is_nan() || at_high.is_nan() {
        return f64::NAN;
    }
    chandrupatla(low, at_low, high, at_high, f)
}

fn chandrupatla(low: f64, at_low: f64, high: f64, at_high: f64, mut f: impl FnMut(f64) -> f64) -> f64 {
    // b is the last point, a the other end of the bracket, c the point before.
    let (mut a, mut fa, mut b, mut fb) = (low, at_low, high, at_high);
    let mut t = if (fa - fb).is_finite() { (fa / (fa - fb)).clamp(0.05, 0.95) } else { 0.5 };
    for _ in 0..120 {
        let x = a + t * (b - a);
        let fx = f(x);
        if fx.is_nan() {
            return f64::NAN;
        }
        let (c, fc);
        if (fx > 0.0) == (fa > 0.0) {
            (c, fc) = (a, fa);
        } else {
            (c, fc) = (b, fb);
            (b, fb) = (a, fa);
        }
        (a, fa) = (x, fx);
        let (best, at_best) = if fa.abs() < fb.abs() { (a, fa) } else { (b, fb) };
        let width = (b - a).abs();
        let tolerance = 2.0 * f64::EPSILON * best.abs() + 1e-305;
        if at_best == 0.0 || width <= 2.0 * tolerance {
            return best;
        }
        let smallest = tolerance / width;
        let xi = (a - b) / (c - b);
        let phi = (fa - fb) / (fc - fb);
        t = if phi * phi < xi && (1.0 - phi).powi(2) < 1.0 - xi {
            fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
        } else {
            0.5
        };
        t = if t.is_finite() { t.clamp(smallest, 1.0 - smallest) } else { 0.5 };
    }
    if fa.abs() < fb.abs() { a } else { b }
}
