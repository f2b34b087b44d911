//! The distribution functions against mpmath (50-digit arithmetic, adaptive quadrature of the defining integrals; the numbers
//! are frozen here), against closed forms, and over the whole legal domain.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

use packdrift_numerics::normal;
use packdrift_numerics::special::{
    Tails, beta_quantile, beta_tails, binomial_tails, chi_squared_quantile, chi_squared_tails, fisher_quantile,
    fisher_tails, gamma_tails, noncentral_t_noncentrality, noncentral_t_quantile, noncentral_t_tails,
    student_t_quantile, student_t_tails,
};

fn close(found: f64, expected: f64, relative: f64, what: &str) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{what}: found {found:e}, expected {expected:e}");
}

fn both(found: Tails, lower: f64, upper: f64, relative: f64, what: &str) {
    close(found.lower, lower, relative, &format!("{what}, lower tail"));
    close(found.upper, upper, relative, &format!("{what}, upper tail"));
}

/// mpmath: quadrature of ∫ Φ(±(t·x − δ)) f_ν(x) dx in 40 digits.
#[test]
fn noncentral_t_has_both_tails_to_1e_minus_10() {
    for (nu, delta, t, lower, upper) in [
        (1.0, 0.5, 3.0, 0.8231218864004207, 0.1768781135995046),
        (1.0, 40.0, 60.0, 0.5050442216354018, 0.4949557783645235),
        (2.0, -3.0, 1.0, 0.9998468036371749, 0.0001531963628251281),
        (4.0, 2.5, 3.0, 0.5788055350924714, 0.4211944649075286),
        (9.0, 4.0, 6.3, 0.887042989767912, 0.112957010232088),
        (9.0, 4.0, 1.0, 0.001614099447100639, 0.9983859005528994),
        (9.0, 4.0, -2.0, 2.118085137067255e-8, 0.9999999788191486),
        (49.0, 20.0, 15.0, 0.003077200635638418, 0.9969227993643616),
        (49.0, 20.0, 30.0, 0.9994091253245751, 0.0005908746754249278),
        (19.0, -10.0, -4.0, 0.9999996929412302, 3.070587697528004e-7),
        (999.0, 40.0, 38.0, 0.06303982458631709, 0.9369601754136829),
        (999.0, 40.0, 45.0, 0.9997932690427946, 0.0002067309572053846),
        (9999.0, 40.0, 39.0, 0.1672839451976667, 0.8327160548023333),
        (9999.0, 233.0, 236.0, 0.9382197541487602, 0.06178024585123982),
        (3.0, 40.0, 10.0, 4.103233562281548e-10, 0.9999999995896766),
        (3.0, 40.0, 2000.0, 0.9999889274616955, 1.107253830451983e-5),
        (7.0, 0.0, -30.0, 5.89423444036657e-9, 0.9999999941057656),
        (29.0, 10.0, -1.0, 5.491569631202898e-28, 1.0),
    ] {
        both(noncentral_t_tails(nu, delta, t), lower, upper, 1e-10, &format!("ν {nu}, δ {delta}, t {t}"));
    }
}

/// Values of scipy 1.17 `nct`, recomputed independently.
#[test]
fn noncentral_t_agrees_with_published_values() {
    for (t, nu, delta, expected) in [
        (1.0, 5.0, 0.0, 0.818391266175438),
        (2.0, 5.0, 1.0, 0.778074662616215),
        (3.0, 4.0, 2.5, 0.578805535092471),
        (6.3, 9.0, 4.0, 0.887042989767912),
        (0.0, 3.0, 1.0, 0.158655253931457),
    ] {
        close(noncentral_t_tails(nu, delta, t).lower, expected, 1e-10, "F");
    }
    let z90 = normal::quantile(0.9);
    close(noncentral_t_quantile(9.0, 10f64.sqrt() * z90, 0.95), 7.446025886618962, 1e-10, "quantile");
    let z99 = normal::quantile(0.99);
    close(noncentral_t_quantile(19.0, 20f64.sqrt() * z99, 0.99), 17.135248231063393, 1e-10, "quantile");
}

/// The other road to the same value: with whole, even ν the distribution function is a finite sum (D. B. Owen, "A special case of a
/// bivariate non-central t-distribution", Biometrika 52, 1965). It shares nothing with the quadrature.
#[test]
fn quadrature_agrees_with_owens_finite_sum() {
    fn owen(nu: u32, delta: f64, t: f64) -> f64 {
        // M₀ = a√b φ(δ√b) Φ(δa√b), a = t/√ν, b = ν/(ν + t²)
        let n = f64::from(nu);
        let (a, b) = (t / n.sqrt(), n / (n + t * t));
        let sb = b.sqrt();
        let mut m = vec![a * sb * normal::pdf(delta * sb) * normal::cdf(delta * a * sb)];
        m.push(b * (delta * a * m[0] + a * normal::pdf(delta) / (2.0 * std::f64::consts::PI).sqrt()));
        let mut weight = 1.0;
        for k in 2..nu.max(3) - 1 {
            let kf = f64::from(k);
            if k > 2 {
                weight = 1.0 / ((kf - 2.0) * weight);
            }
            let next = (kf - 1.0) / kf * b * (weight * delta * a * m[k as usize - 1] + m[k as usize - 2]);
            m.push(next);
        }
        let sum: f64 = m.iter().step_by(2).take(nu as usize / 2).sum();
        normal::cdf(-delta) + (2.0 * std::f64::consts::PI).sqrt() * sum
    }
    for nu in [2, 4, 8, 20, 60] {
        for delta in [-1.0, 0.5, 2.0, 6.0] {
            for t in [0.3, 1.0, 3.0, 8.0] {
                let ours = noncentral_t_tails(f64::from(nu), delta, t).lower;
                let sum = owen(nu, delta, t);
                assert!((ours - sum).abs() < 1e-12, "ν {nu}, δ {delta}, t {t}: {ours} and {sum}");
            }
        }
    }
}

#[test]
fn noncentral_t_is_inverted_over_the_whole_domain() {
    for nu in [1.0, 2.0, 4.0, 29.0, 199.0, 9999.0] {
        for delta in [-40.0, -3.0, 0.0, 1.0, 12.0, 40.0] {
            for p in [1e-9, 1e-4, 0.05, 0.5, 0.95, 0.9999] {
                let t = noncentral_t_quantile(nu, delta, p);
                let tails = noncentral_t_tails(nu, delta, t);
                close(tails.lower.min(tails.upper), f64::min(p, 1.0 - p), 1e-9, &format!("ν {nu}, δ {delta}, p {p}"));
                if t.abs() < 1e6 {
                    let back = noncentral_t_noncentrality(nu, t, p);
                    assert!((back - delta).abs() < 1e-6 * (1.0 + delta.abs()), "ν {nu}, δ {delta}, p {p}: {back}");
                }
            }
        }
    }
}

/// mpmath `betainc(regularized=True)`.
#[test]
fn incomplete_beta_has_both_tails() {
    for (a, b, x, lower, upper) in [
        (0.5000, 0.5, 0.001, 0.02013504163337749, 0.9798649583666225),
        (200.0000, 2.0, 0.5, 6.285245430639753e-59, 1.0),
        (5000.0000, 0.5, 0.999, 0.001561579160289291, 0.9984384208397107),
        (5000.0000, 5000.0, 0.49, 0.02274203232457464, 0.9772579676754254),
        (25.0000, 475.0, 0.02, 3.630945168938982e-5, 0.9999636905483106),
        (3.0000, 1998.0, 0.004, 0.9863746204520093, 0.01362537954799075),
    ] {
        both(beta_tails(a, b, x, 1.0 - x), lower, upper, 1e-11, &format!("I_{x}({a}, {b})"));
    }
}

/// mpmath `gammainc(regularized=True)`.
#[test]
fn incomplete_gamma_has_both_tails() {
    for (a, x, lower, upper) in [
        (0.5, 1e-12, 1.128379167095136e-6, 0.9999988716208329),
        (0.5, 30.0, 0.9999999999999905, 9.485737571073848e-15),
        (4999.5, 5200.0, 0.99747082852181, 0.002529171478189963),
        (4999.5, 4800.0, 0.002150519199737775, 0.9978494808002622),
        (24.5, 60.0, 0.9999999312303857, 6.876961427062865e-8),
        (24.5, 5.0, 3.611079861403645e-10, 0.999999999638892),
        (2500.0, 2499.0, 0.4946799774545661, 0.5053200225454339),
    ] {
        both(gamma_tails(a, x), lower, upper, 1e-11, &format!("P({a}, {x})"));
    }
}

/// Where the general-purpose library we use elsewhere returns a wrong value, panics, or never returns (closed forms on the right).
#[test]
fn far_tails_that_a_library_gets_wrong() {
    // χ²₁ near 0: P ≈ √(2x/π).
    close(chi_squared_quantile(1.0, 1e-9), std::f64::consts::PI / 2.0 * 1e-18, 1e-9, "χ²₁");
    close(student_t_quantile(1.0, 1e-9), -1.0 / (std::f64::consts::PI * 1e-9).tan(), 1e-12, "Cauchy");
    // Beta(200, 2) near 0: I_x = 201 x^200 − 200 x^201.
    for p in [1e-170, 1e-60] {
        let (x, y) = beta_quantile(200.0, 2.0, p);
        close(201.0 * x.powi(200) - 200.0 * x.powi(201), p, 1e-10, "Beta(200, 2)");
        close(x + y, 1.0, 1e-15, "x + y");
    }
    for f in [1e-8, 0.3, 2.0, 500.0] {
        let t = fisher_tails(0.001, 1000.0, f);
        close(t.lower + t.upper, 1.0, 1e-12, "F(0.001, 1000)");
    }
    // Γ(151), rate 4.5: the median by Wilson–Hilferty is good to 1e-6.
    close(chi_squared_quantile(302.0, 0.5), 302.0 * (1.0_f64 - 2.0 / (9.0 * 302.0)).powi(3), 1e-5, "median of χ²₃₀₂");
}

#[test]
fn quantiles_undo_distribution_functions() {
    let orders = [1e-250, 1e-60, 1e-12, 1e-4, 0.03, 0.5, 0.9, 0.999, 1.0 - 1e-9];
    for a in [0.05, 0.5, 1.0, 3.0, 80.0, 4000.0] {
        for p in orders {
            let x = chi_squared_quantile(2.0 * a, p);
            if x > 1e-300 {
                let t = chi_squared_tails(2.0 * a, x);
                close(t.lower.min(t.upper), f64::min(p, 1.0 - p), 1e-9, &format!("χ², ν {}, p {p:e}", 2.0 * a));
            }
            let x = student_t_quantile(2.0 * a, p);
            if x.is_finite() && p != 0.5 && x.abs() < 1e290 {
                let t = student_t_tails(2.0 * a, x);
                close(t.lower.min(t.upper), f64::min(p, 1.0 - p), 1e-9, &format!("t, ν {}, p {p:e}", 2.0 * a));
            }
            for b in [0.5, 2.0, 900.0] {
                let (x, y) = beta_quantile(a, b, p);
                if x > 1e-300 && y > 1e-300 {
                    let t = beta_tails(a, b, x, y);
                    close(t.lower.min(t.upper), f64::min(p, 1.0 - p), 1e-9, &format!("Beta({a}, {b}), p {p:e}"));
                }
                assert!(fisher_quantile(2.0 * a, 2.0 * b, p) >= 0.0);
            }
        }
    }
    assert_eq!(student_t_quantile(5.0, 0.5), 0.0);
    assert!(
        student_t_quantile(5.0, -0.1).is_nan()
            && chi_squared_quantile(0.0, 0.5).is_nan()
            && beta_quantile(1.0, f64::NAN, 0.5).0.is_nan()
    );
    assert!(
        noncentral_t_quantile(5.0, 1.0, 1.0).is_nan() && noncentral_t_tails(5.0, f64::INFINITY, 1.0).lower.is_nan()
    );
}

/// The sum itself, term by term.
#[test]
fn binomial_tail_is_the_sum_of_its_terms() {
    let (n, p) = (80_u32, 0.0103_f64);
    let mut term = (1.0 - p).powi(80);
    let mut sum = 0.0;
    for k in 0..=6_u32 {
        sum += term;
        close(binomial_tails(80, p, u64::from(k)).lower, sum, 1e-12, "binomial");
        term *= f64::from(n - k) / f64::from(k + 1) * p / (1.0 - p);
    }
}
