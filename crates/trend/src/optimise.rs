//! Minimising a deviance of a few well-scaled parameters whose exact gradient is at hand.
//!
//! Quasi-Newton steps (BFGS; J. Nocedal, S. Wright, Numerical Optimization, 2006, section 6.1) to the neighbourhood, then Newton's with a
//! Hessian differenced from the gradient, which also says whether the point is a minimum. The criterion is scaled: the fall of the
//! deviance that one more Newton step promises, g′H⁻¹g, below [`DECREMENT`]; it does not change with the units of hours or readings.
//! Why not the well-kept optimiser crate: DESIGN.md.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

/// Largest promised fall of the deviance at which the search has converged. A change of 1e-8 in −2 ln L moves no estimate by more
/// than 1e-4 of its standard error.
pub(crate) const DECREMENT: f64 = 1e-8;

const CAP: usize = 400;

/// Where the search ended.
#[derive(Debug, Clone)]
pub(crate) struct Optimum {
    pub(crate) x: Vec<f64>,
    pub(crate) value: f64,
    pub(crate) hessian: DMatrix<f64>,
    pub(crate) evaluations: usize,
    pub(crate) decrement: f64,
}

impl Optimum {
    pub(crate) fn converged(&self) -> bool {
        self.decrement <= DECREMENT
    }
}

/// Value and gradient at a point; None outside the domain.
pub(crate) type Objective<'a> = dyn FnMut(&[f64]) -> Option<(f64, Vec<f64>)> + 'a;

/// Minimises `f`. Without `curvature` the quasi-Newton search stands alone and no Hessian is given. None where the start is outside the
/// domain.
pub(crate) fn minimise(f: &mut Objective<'_>, start: &[f64], curvature: bool) -> Option<Optimum> {
    minimise_in(f, start, None, curvature)
}

/// The same with a first guess of the inverse Hessian.
pub(crate) fn minimise_in(
    f: &mut Objective<'_>,
    start: &[f64],
    metric: Option<DMatrix<f64>>,
    curvature: bool,
) -> Option<Optimum> {
    let n = start.len();
    let mut evaluations = 1;
    let (mut value, gradient) = f(start)?;
    let mut x = DVector::from_column_slice(start);
    if n == 0 {
        return Some(Optimum { x: vec![], value, hessian: DMatrix::zeros(0, 0), evaluations, decrement: 0.0 });
    }
    let mut g = DVector::from_vec(gradient);
    let mut fresh = metric.is_none();
    let mut inverse = metric.unwrap_or_else(|| DMatrix::identity(n, n) * (0.3 / g.norm().max(1e-300)).min(1.0));
    let mut small = 0;
    while evaluations < CAP {
        let mut step = -(&inverse * &g);
        let mut slope = g.dot(&step);
        if slope.is_nan() || slope >= 0.0 {
            inverse = DMatrix::identity(n, n) * (0.3 / g.norm().max(1e-300)).min(1.0);
            step = -(&inverse * &g);
            slope = g.dot(&step);
            fresh = true;
        }
        if -slope < 0.01 * DECREMENT {
            small += 1;
            if small >= 2 || fresh {
                break;
            }
        } else {
            small = 0;
        }
        // No step beyond 3 in any parameter, all of which are of size 1.
        let longest = step.amax();
        let mut t = if longest > 3.0 { 3.0 / longest } else { 1.0 };
        let mut taken = None;
        for _ in 0..30 {
            let trial = &x + &step * t;
            evaluations += 1;
            if let Some((v, grad)) = f(trial.as_slice()) {
                if v <= value + 1e-4 * t * slope {
                    taken = Some((trial, v, DVector::from_vec(grad)));
                    break;
                }
                // The minimum of the parabola through value, slope and the trial, kept within a tenth and a half.
                let fit = -slope * t * t / (2.0 * (v - value - slope * t));
                t = fit.clamp(0.1 * t, 0.5 * t);
            } else {
                t *= 0.25;
            }
        }
        let Some((next, v, grad)) = taken else {
            if fresh {
                break;
            }
            inverse = DMatrix::identity(n, n) * (0.3 / g.norm().max(1e-300)).min(1.0);
            fresh = true;
            continue;
        };
        let (s, y) = (&next - &x, &grad - &g);
        let sy = s.dot(&y);
        if sy > 1e-12 * s.norm() * y.norm() {
            if fresh {
                inverse = DMatrix::identity(n, n) * (sy / y.norm_squared());
            }
            let rho = 1.0 / sy;
            let left = DMatrix::identity(n, n) - &s * y.transpose() * rho;
            inverse = &left * &inverse * left.transpose() + &s * s.transpose() * rho;
            fresh = false;
        }
        (x, value, g) = (next, v, grad);
    }
    let mut out = Optimum {
        x: x.as_slice().to_vec(),
        value,
        hessian: DMatrix::zeros(n, n),
        evaluations,
        decrement: g.dot(&(&inverse * &g)).abs(),
    };
    if !curvature {
        return Some(out);
    }
    // Newton's steps; where the Hessian shows a saddle, walk down its steepest curve first.
    for round in 0..8 {
        let hessian = difference(f, &x, &g, &mut out.evaluations)?;
        let eigen = SymmetricEigen::new(hessian.clone());
        let top = eigen.eigenvalues.amax().max(1e-300);
        out.hessian = hessian;
        let (low, least) = eigen
            .eigenvalues
            .iter()
            .copied()
            .enumerate()
            .fold((0, f64::INFINITY), |a, b| if b.1 < a.1 { b } else { a });
        let mut step = DVector::zeros(n);
        for k in 0..n {
            let axis = eigen.eigenvectors.column(k);
            // A direction without curvature (a deviance even about 0, at 0) promises nothing.
            let h = eigen.eigenvalues[k].abs().max(1e-9 * top);
            step -= axis * (axis.dot(&g) / h);
        }
        out.decrement = -g.dot(&step);
        if least < -1e-6 * top && round < 6 {
            let axis = eigen.eigenvectors.column(low).into_owned();
            let along = if axis.dot(&g) > 0.0 { -1.0 } else { 1.0 };
            let mut t = 0.5;
            let mut moved = false;
            for _ in 0..12 {
                let trial = &x + &axis * (along * t);
                out.evaluations += 1;
                if let Some((v, grad)) = f(trial.as_slice())
                    && v < value - 1e-9 * value.abs().max(1.0)
                {
                    (x, value, g) = (trial, v, DVector::from_vec(grad));
                    moved = true;
                    break;
                }
                t *= 0.4;
            }
            if moved {
                let again = minimise(f, x.as_slice(), false)?;
                out.evaluations += again.evaluations;
                x = DVector::from_vec(again.x);
                let (v, grad) = f(x.as_slice())?;
                (value, g) = (v, DVector::from_vec(grad));
                continue;
            }
        }
        if out.decrement < 1e-11 * DECREMENT {
            break;
        }
        let last = out.decrement < 0.1 * DECREMENT;
        let longest = step.amax();
        let mut t = if longest > 1.0 { 1.0 / longest } else { 1.0 };
        let mut better = false;
        for _ in 0..6 {
            let trial = &x + &step * t;
            out.evaluations += 1;
            if let Some((v, grad)) = f(trial.as_slice())
                && v <= value + 1e-12 * value.abs().max(1.0)
            {
                (x, value, g) = (trial, v, DVector::from_vec(grad));
                better = true;
                break;
            }
            t *= 0.3;
        }
        if !better {
            break;
        }
        // Steps with the Hessian kept cost one evaluation each and gain several digits each.
        for _ in 0..3 {
            let mut chord = DVector::zeros(n);
            for k in 0..n {
                let axis = eigen.eigenvectors.column(k);
                chord -= axis * (axis.dot(&g) / eigen.eigenvalues[k].abs().max(1e-9 * top));
            }
            let promise = -g.dot(&chord);
            if promise < 1e-11 * DECREMENT || promise > 0.01 * out.decrement {
                break;
            }
            let trial = &x + &chord;
            out.evaluations += 1;
            match f(trial.as_slice()) {
                Some((v, grad)) if v <= value + 1e-12 * value.abs().max(1.0) => {
                    out.decrement = promise;
                    (x, value, g) = (trial, v, DVector::from_vec(grad));
                }
                _ => break,
            }
        }
        if last {
            break;
        }
    }
    out.x = x.as_slice().to_vec();
    out.value = value;
    Some(out)
}

/// Hessian by central differences of the gradient.
fn difference(
    f: &mut Objective<'_>,
    x: &DVector<f64>,
    g: &DVector<f64>,
    evaluations: &mut usize,
) -> Option<DMatrix<f64>> {
    let n = x.len();
    let mut h = DMatrix::zeros(n, n);
    for k in 0..n {
        let step = 1e-4 * x[k].abs().max(0.1);
        let mut up = x.clone();
        up[k] += step;
        let mut down = x.clone();
        down[k] -= step;
        *evaluations += 2;
        let column = match (f(up.as_slice()), f(down.as_slice())) {
            (Some((_, a)), Some((_, b))) => (DVector::from_vec(a) - DVector::from_vec(b)) / (2.0 * step),
            (Some((_, a)), None) => (DVector::from_vec(a) - g) / step,
            (None, Some((_, b))) => (g - DVector::from_vec(b)) / step,
            (None, None) => return None,
        };
        h.set_column(k, &column);
    }
    Some((&h + h.transpose()) * 0.5)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;

    #[test]
    fn a_curved_valley_and_a_saddle() {
        // Rosenbrock's function: minimum 0 at (1, 1).
        let mut f = |x: &[f64]| {
            let (a, b) = (1.0 - x[0], x[1] - x[0] * x[0]);
            Some((a * a + 100.0 * b * b, vec![-2.0 * a - 400.0 * b * x[0], 200.0 * b]))
        };
        let o = minimise(&mut f, &[-1.2, 1.0], true).unwrap();
        assert!(o.converged() && (o.x[0] - 1.0).abs() < 1e-7 && (o.x[1] - 1.0).abs() < 1e-7, "{o:?}");
        // Even about 0 in x, with the minimum elsewhere; the search is started on the ridge.
        let mut f = |x: &[f64]| {
            Some(((x[0] * x[0] - 1.0).powi(2) + x[1] * x[1], vec![4.0 * x[0] * (x[0] * x[0] - 1.0), 2.0 * x[1]]))
        };
        let o = minimise(&mut f, &[0.0, 0.7], true).unwrap();
        assert!(o.converged() && (o.x[0].abs() - 1.0).abs() < 1e-7, "{o:?}");
    }

    #[test]
    fn the_edge_of_the_domain_is_not_crossed() {
        let mut f = |x: &[f64]| (x[0] > 0.0).then(|| (x[0] - x[0].ln(), vec![1.0 - 1.0 / x[0]]));
        let o = minimise(&mut f, &[8.0], true).unwrap();
        assert!(o.converged() && (o.x[0] - 1.0).abs() < 1e-6);
        assert!(minimise(&mut f, &[-1.0], true).is_none());
    }
}
