//! Is a supplier off by a constant or by a percentage? All sizes of one supplier, each lot's mean deviation from the size on its packet.
//!
//! dᵢ = ȳᵢ − Nᵢ = a + b·Nᵢ + uᵢ + ēᵢ with uᵢ ~ N(0, τ²) from lot to lot and Var(ēᵢ) = `σ_w²/nᵢ`: a meta-regression. τ² by restricted likelihood,
//! standard errors by Knapp and Hartung (Statistics in Medicine 22, 2003), which in a balanced table is ordinary regression of the lots'
//! deviations on their sizes, exactly.

use crate::LotError;
use crate::interval::Interval;
use crate::least_squares::{LeastSquares, least_squares};
use packdrift_numerics::special::{Inversion, fisher_tails, invert_increasing, student_t_quantile, student_t_tails};

/// The deviation of one lot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LotDeviation {
    /// N, the size on the packet, mm.
    pub nominal: f64,
    /// d, mean of the readings less N, mm.
    pub deviation: f64,
    /// Standard error of d from the scatter within the lot, mm.
    pub standard_error: f64,
}

/// Which description of the deviations the lots support.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum DeviationForm {
    /// No deviation is shown: 0 fits.
    None,
    /// The same number of mm at every size.
    Constant,
    /// The same percentage at every size.
    Proportional,
    /// A constant and a percentage; neither alone fits.
    Both,
    /// The sizes are too alike (or too few) to tell a constant from a percentage, but there is a deviation.
    CannotTell,
}

/// An estimate with its interval and test against 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coefficient {
    /// Estimate.
    pub value: f64,
    /// Standard error.
    pub standard_error: f64,
    /// Two-sided interval.
    pub interval: Interval,
    /// Two-sided p-value against 0.
    pub p_value: f64,
}

/// The answer over all lots of a supplier.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeviationModel {
    /// What fits.
    pub form: DeviationForm,
    /// a of the model d = a, mm.
    pub constant: Coefficient,
    /// b of the model d = b·N (1 = 100 %).
    pub proportional: Coefficient,
    /// a of the model d = a + b·N, mm; None where the sizes are all alike or there are fewer than 3 lots.
    pub constant_beside: Option<Coefficient>,
    /// b of the model d = a + b·N.
    pub proportional_beside: Option<Coefficient>,
    /// τ of the chosen form: scatter of the lots about it, mm.
    pub lot_to_lot_sd: f64,
    /// Lots.
    pub lots: usize,
    /// The level at which a coefficient counts as different from 0.
    pub level: f64,
}

/// Tests which form fits.
///
/// First whether there is any deviation at all (a = b = 0, an F test), so that a supplier without one is accused with the stated chance and
/// no more; then the proportional form is refused where the constant beside it differs from 0, and the other way round.
///
/// # Errors
/// Fewer than 2 lots; a nominal not above 0; a standard error not above 0.
pub fn deviation_model(lots: &[LotDeviation], confidence: f64) -> Result<DeviationModel, LotError> {
    crate::error::share("the confidence", confidence)?;
    if lots.len() < 2 {
        return Err(LotError::TooFew {
            what: "the form of the deviation".into(),
            found: lots.len(),
            needed: 2,
            of: "lots with a size on the packet",
        });
    }
    for lot in lots {
        crate::error::finite("a lot's deviation", lot.deviation)?;
        if !(lot.nominal > 0.0 && lot.nominal.is_finite()) {
            return Err(LotError::OutOfRange {
                what: "the size on a packet".into(),
                value: lot.nominal,
                expected: "above 0 mm".into(),
            });
        }
        if !(lot.standard_error > 0.0 && lot.standard_error.is_finite()) {
            return Err(LotError::OutOfRange {
                what: "a lot's standard error".into(),
                value: lot.standard_error,
                expected: "above 0 mm".into(),
            });
        }
    }
    let level = 1.0 - confidence;
    let unusable = || LotError::Inconsistent("the lots' standard errors differ by more than arithmetic holds".into());
    let constant = fit(lots, &[|_| 1.0], confidence).ok_or_else(unusable)?;
    let proportional = fit(lots, &[|n| n], confidence).ok_or_else(unusable)?;
    let sizes = lots.iter().map(|l| l.nominal);
    let (low, high) = sizes.fold((f64::INFINITY, 0.0_f64), |(a, b), n| (a.min(n), b.max(n)));
    let both = if lots.len() >= 3 && high > low * 1.001 { fit(lots, &[|_| 1.0, |n| n], confidence) } else { None };
    let a_alone = constant.coefficients[0];
    let b_alone = proportional.coefficients[0];
    let (form, lot_to_lot_sd) = match &both {
        Some(both) => {
            let (a, b) = (both.coefficients[0], both.coefficients[1]);
            if both.any_p >= level {
                (DeviationForm::None, constant.tau)
            } else {
                match (a.p_value < level, b.p_value < level) {
                    (true, true) => (DeviationForm::Both, both.tau),
                    (false, true) => (DeviationForm::Proportional, proportional.tau),
                    (true, false) => (DeviationForm::Constant, constant.tau),
                    // A deviation there is, but either form alone describes it.
                    (false, false) => (DeviationForm::CannotTell, constant.tau.min(proportional.tau)),
                }
            }
        }
        None if a_alone.p_value < level || b_alone.p_value < level => (DeviationForm::CannotTell, constant.tau),
        None => (DeviationForm::None, constant.tau),
    };
    Ok(DeviationModel {
        form,
        constant: a_alone,
        proportional: b_alone,
        constant_beside: both.as_ref().map(|f| f.coefficients[0]),
        proportional_beside: both.as_ref().map(|f| f.coefficients[1]),
        lot_to_lot_sd,
        lots: lots.len(),
        level,
    })
}

struct Fit {
    coefficients: Vec<Coefficient>,
    tau: f64,
    /// Of all coefficients being 0.
    any_p: f64,
}

/// Weighted least squares on one or two regressors, with τ² by restricted likelihood. None where the regressors cannot be told apart.
fn fit(lots: &[LotDeviation], regressors: &[fn(f64) -> f64], confidence: f64) -> Option<Fit> {
    let k = lots.len() as f64;
    let p = regressors.len();
    let nu = k - p as f64;
    let rows: Vec<(Vec<f64>, f64, f64)> = lots
        .iter()
        .map(|l| (regressors.iter().map(|f| f(l.nominal)).collect(), l.deviation, l.standard_error.powi(2)))
        .collect();
    // Coefficients and the inverse of X'WX at τ²: rows times the roots of their weights.
    let solve = |tau2: f64| {
        let root = |v: f64| (v + tau2).sqrt().recip();
        let columns: Vec<Vec<f64>> = (0..p).map(|j| rows.iter().map(|(x, _, v)| x[j] * root(*v)).collect()).collect();
        let y: Vec<f64> = rows.iter().map(|(_, d, v)| d * root(*v)).collect();
        least_squares(&columns, &y)
    };
    solve(0.0)?;
    let line = |beta: &[f64], x: &[f64]| beta.iter().zip(x).map(|(b, x)| b * x).sum::<f64>();
    // d(−2 ln restricted likelihood)/dτ² = Σw − tr((X'WX)⁻¹X'W²X) − Σw²r²
    let slope = |tau2: f64| {
        let Some(LeastSquares { coefficients, inverse, .. }) = solve(tau2) else { return f64::NAN };
        let mut sum = 0.0;
        for (x, d, v) in &rows {
            let w = 1.0 / (v + tau2);
            let r = d - line(&coefficients, x);
            let leverage = w * inverse.iter().zip(x).map(|(row, xi)| xi * line(row, x)).sum::<f64>();
            sum += w - w * leverage - w * w * r * r;
        }
        sum
    };
    let typical = rows.iter().map(|r| r.2).sum::<f64>() / k;
    let tau2 = if nu < 1.0 || slope(0.0) >= 0.0 {
        0.0
    } else {
        invert_increasing(
            &Inversion { start: typical.ln(), step: 0.5, lower: typical.ln() - 40.0, upper: typical.ln() + 80.0 },
            |y| slope(y.exp()),
        )
        .exp()
    };
    let LeastSquares { coefficients: beta, inverse, .. } = solve(tau2)?;
    // Knapp and Hartung: the scatter about the line itself scales the standard errors. Never below 1, so that a lucky fit does not
    // make the interval narrower than the readings' own scatter allows.
    let q: f64 = rows.iter().map(|(x, d, v)| (d - line(&beta, x)).powi(2) / (v + tau2)).sum();
    let scale = if nu >= 1.0 { (q / nu).max(1.0) } else { 1.0 };
    let t = if nu >= 1.0 { student_t_quantile(nu, 0.5 + 0.5 * confidence) } else { f64::INFINITY };
    let coefficients = (0..p)
        .map(|j| {
            let standard_error = (scale * inverse[j][j]).sqrt();
            let value = beta[j];
            let p_value = if nu >= 1.0 { 2.0 * student_t_tails(nu, (value / standard_error).abs()).upper } else { 1.0 };
            Coefficient {
                value,
                standard_error,
                interval: Interval::new(value - t * standard_error, value + t * standard_error),
                p_value,
            }
        })
        .collect();
    let explained: f64 = rows.iter().map(|(x, _, v)| line(&beta, x).powi(2) / (v + tau2)).sum();
    let any_p = if nu >= 1.0 { fisher_tails(p as f64, nu, explained / (p as f64 * scale)).upper } else { 1.0 };
    Some(Fit { coefficients, tau: tau2.sqrt(), any_p })
}
