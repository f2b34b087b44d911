//! Unbalanced studies: restricted maximum likelihood with crossed random parts, operators and their interaction, by Fisher scoring.
//!
//! V = `σ_e²·I` + Σ `σ_k²·Z_k·Z_kᵀ`. With P = V⁻¹ − V⁻¹1(1ᵀV⁻¹1)⁻¹1ᵀV⁻¹ the score of `σ_k²` is −½[`tr(Z_kᵀPZ_k)` − ‖`Z_kᵀPy‖²`] and the expected information
//! of `σ_k²` and `σ_l²` is `½‖Z_kᵀPZ_l‖²` (Searle, Casella and `McCulloch`, Variance Components, 1992, ch. 6). Everything is computed in the space
//! of the effects, so a thousand readings of ten parts cost no more than a hundred: with ZᵀZ = CCᵀ and Q = ZC(CᵀC)⁻¹, whose columns are orthonormal,
//! V = σ_e²(I + Q(M − I)Qᵀ), M = I + CᵀDC, D = diag(σ_k²/σ_e²). V is positive definite exactly where M is, also with a negative `σ_k²`.

use super::generalised::Intervals;
use super::table::Table;
use super::{GaugeComponents, GaugeMethod, GaugeOptions, Interaction, SdEstimate};
use crate::LotError;
use nalgebra::{DMatrix, DVector};
use packdrift_numerics::normal;
use std::f64::consts::PI;

/// The sums that the likelihood needs.
pub(super) struct Problem {
    /// Readings.
    pub(super) n: f64,
    /// C, effects × rank.
    root: DMatrix<f64>,
    /// Qᵀ1 and Qᵀy.
    ones: DVector<f64>,
    y: DVector<f64>,
    /// Σy and Σy², y less the grand mean.
    sum: f64,
    squares: f64,
    /// Columns of each factor: parts, operators, cells.
    pub(super) blocks: Vec<std::ops::Range<usize>>,
}

impl Problem {
    pub(super) fn new(table: &Table, interaction: bool) -> Self {
        let grand = table.mean();
        let with_operators = table.operators > 1;
        let mut blocks = Vec::new();
        blocks.push(0..table.parts);
        let mut columns = table.parts;
        if with_operators {
            blocks.push(columns..columns + table.operators);
            columns += table.operators;
        }
        let first_cell = columns;
        // Only cells with readings have an effect of their own.
        let mut cell = vec![vec![usize::MAX; table.operators]; table.parts];
        if with_operators && interaction {
            for (p, row) in table.cells.iter().enumerate() {
                for (o, readings) in row.iter().enumerate() {
                    if !readings.is_empty() {
                        cell[p][o] = columns;
                        columns += 1;
                    }
                }
            }
            blocks.push(first_cell..columns);
        }
        let mut cross = DMatrix::<f64>::zeros(columns, columns);
        let (mut ones, mut zy) = (DVector::<f64>::zeros(columns), DVector::<f64>::zeros(columns));
        let (mut n, mut sum, mut squares) = (0.0, 0.0, 0.0);
        for (p, o, x) in table.rows() {
            let y = x - grand;
            let mut places = vec![p];
            if with_operators {
                places.push(table.parts + o);
                if interaction {
                    places.push(cell[p][o]);
                }
            }
            for &a in &places {
                ones[a] += 1.0;
                zy[a] += y;
                for &b in &places {
                    cross[(a, b)] += 1.0;
                }
            }
            n += 1.0;
            sum += y;
            squares += y * y;
        }
        // The factors overlap (parts and operators both add up to all readings): directions without weight are left out.
        let eigen = cross.symmetric_eigen();
        let least = 1e-10 * eigen.eigenvalues.amax();
        let kept: Vec<usize> = (0..columns).filter(|&i| eigen.eigenvalues[i] > least).collect();
        let vectors = eigen.eigenvectors.select_columns(&kept);
        let weights = DVector::from_iterator(kept.len(), kept.iter().map(|&i| eigen.eigenvalues[i].sqrt()));
        let root = &vectors * DMatrix::from_diagonal(&weights);
        let within = |sums: &DVector<f64>| (vectors.transpose() * sums).component_div(&weights);
        Self { n, ones: within(&ones), y: within(&zy), root, sum, squares, blocks }
    }

    /// Everything at variances (`σ_1²`, …, `σ_e²`); None where V is not positive definite.
    pub(super) fn at(&self, variances: &[f64]) -> Option<Point> {
        let k = self.blocks.len();
        let residual = variances[k];
        if residual.is_nan() || residual <= 0.0 {
            return None;
        }
        let rank = self.root.ncols();
        let mut scaled = self.root.clone();
        for (block, v) in self.blocks.iter().zip(variances) {
            scaled.rows_mut(block.start, block.len()).scale_mut(v / residual);
        }
        let chol = (DMatrix::identity(rank, rank) + self.root.tr_mul(&scaled)).cholesky()?;
        let ln_det = 2.0 * chol.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let (m_ones, m_y) = (chol.solve(&self.ones), chol.solve(&self.y));
        let product = |sum: f64, left: &DVector<f64>, right: &DVector<f64>, m_right: &DVector<f64>| {
            (sum - left.dot(right) + left.dot(m_right)) / residual
        };
        let ones_ones = product(self.n, &self.ones, &self.ones, &m_ones);
        let ones_y = product(self.sum, &self.ones, &self.y, &m_y);
        let y_y = product(self.squares, &self.y, &self.y, &m_y);
        let mean = ones_y / ones_ones;
        let y_p_y = y_y - mean * ones_y;
        let log_likelihood =
            -0.5 * ((self.n - 1.0) * (2.0 * PI).ln() + self.n * residual.ln() + ln_det + ones_ones.ln() + y_p_y);
        // Zᵀ V⁻¹ [Z, 1, y]
        let mut half = self.root.transpose();
        chol.l_dirty().solve_lower_triangular_mut(&mut half);
        let z_z = half.tr_mul(&half) / residual;
        let z_ones = &self.root * m_ones / residual;
        let z_y = &self.root * m_y / residual;
        let zpz = z_z - &z_ones * z_ones.transpose() / ones_ones;
        let zpy = z_y - z_ones * mean;
        Some(Point { log_likelihood, zpz, zpy, y_p_y })
    }
}

pub(super) struct Point {
    pub(super) log_likelihood: f64,
    zpz: DMatrix<f64>,
    zpy: DVector<f64>,
    y_p_y: f64,
}

impl Point {
    /// Score and expected information of all variances, the residual's last. What the residual needs follows from PVP = P.
    pub(super) fn score(&self, problem: &Problem, variances: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        let k = problem.blocks.len();
        let residual = variances[k];
        let mut information = DMatrix::zeros(k + 1, k + 1);
        let mut score = DVector::zeros(k + 1);
        let mut traces = vec![0.0; k];
        let mut fits = vec![0.0; k];
        for (a, left) in problem.blocks.iter().enumerate() {
            traces[a] = left.clone().map(|i| self.zpz[(i, i)]).sum();
            fits[a] = left.clone().map(|i| self.zpy[i].powi(2)).sum();
            score[a] = -0.5 * (traces[a] - fits[a]);
            for (b, right) in problem.blocks.iter().enumerate() {
                let squares: f64 =
                    left.clone().flat_map(|i| right.clone().map(move |j| (i, j))).map(|at| self.zpz[at].powi(2)).sum();
                information[(a, b)] = 0.5 * squares;
            }
        }
        // tr(P) = (n − 1 − Σσ_k²·tr_k)/σ_e²;  yᵀPPy = (yᵀPy − Σσ_k²·‖Z_kᵀPy‖²)/σ_e².
        let trace = (problem.n - 1.0 - (0..k).map(|a| variances[a] * traces[a]).sum::<f64>()) / residual;
        let fit = (self.y_p_y - (0..k).map(|a| variances[a] * fits[a]).sum::<f64>()) / residual;
        score[k] = -0.5 * (trace - fit);
        let mut last = trace;
        for a in 0..k {
            // tr(Z_kᵀPPZ_k) = (tr_k − Σσ_l²·‖Z_kᵀPZ_l‖²)/σ_e².
            let across = (traces[a] - (0..k).map(|b| variances[b] * 2.0 * information[(a, b)]).sum::<f64>()) / residual;
            information[(a, k)] = 0.5 * across;
            information[(k, a)] = 0.5 * across;
            last -= variances[a] * across;
        }
        information[(k, k)] = 0.5 * last / residual;
        (score, information)
    }
}

pub(super) struct Solution {
    pub(super) variances: Vec<f64>,
    log_likelihood: f64,
    pub(super) converged: bool,
}

/// Fisher scoring with the variances that would turn negative held at 0, the step halved until the likelihood rises.
pub(super) fn solve(problem: &Problem) -> Option<Solution> {
    let k = problem.blocks.len();
    let total = problem.squares / (problem.n - 1.0);
    if total.is_nan() || total <= 0.0 {
        return None;
    }
    let mut variances = vec![total / (k + 1) as f64; k + 1];
    let mut point = problem.at(&variances)?;
    let mut converged = false;
    for _ in 0..200 {
        let (score, info) = point.score(problem, &variances);
        // Held at 0: those at 0 whose score would push them below.
        let free: Vec<usize> = (0..=k).filter(|&a| variances[a] > 0.0 || score[a] > 0.0).collect();
        let m = free.len();
        let sub = DMatrix::from_fn(m, m, |i, j| info[(free[i], free[j])]);
        let gradient = DVector::from_fn(m, |i, _| score[free[i]]);
        let step = sub.cholesky()?.solve(&gradient);
        // Rise that the step promises, in log-likelihood: the scaled criterion of convergence.
        let promise = step.dot(&gradient);
        if promise.abs() < 1e-14 {
            converged = true;
            break;
        }
        let mut scale = 1.0;
        let mut moved = false;
        for _ in 0..40 {
            let mut next = variances.clone();
            for (i, &a) in free.iter().enumerate() {
                let floor = if a == k { 1e-3 * variances[k] } else { 0.0 };
                next[a] = (variances[a] + scale * step[i]).max(floor);
            }
            if let Some(candidate) = problem.at(&next)
                && candidate.log_likelihood >= point.log_likelihood - 1e-12 * point.log_likelihood.abs()
            {
                moved = next != variances;
                variances = next;
                point = candidate;
                break;
            }
            scale *= 0.5;
        }
        if !moved {
            // No rise left to be had at this precision.
            converged = promise.abs() < 1e-8;
            break;
        }
    }
    Some(Solution { variances, log_likelihood: point.log_likelihood, converged })
}

pub(super) fn fit(table: &Table, options: &GaugeOptions) -> Result<(GaugeComponents, GaugeMethod), LotError> {
    let failed = || {
        LotError::Inconsistent(
            "the restricted likelihood of this study has no maximum: too few repeat readings, or all alike".into(),
        )
    };
    let with = options.interaction != Interaction::Without && table.operators > 1;
    let mut interaction = with;
    let mut problem = Problem::new(table, interaction);
    let mut solution = solve(&problem).ok_or_else(failed)?;
    if with && options.interaction == Interaction::ByTest {
        let without = Problem::new(table, false);
        let plain = solve(&without).ok_or_else(failed)?;
        // Likelihood ratio of a variance against its boundary: half a χ²₁ (Self and Liang 1987), at the same 25 % as the F test.
        let ratio = 2.0 * (solution.log_likelihood - plain.log_likelihood);
        let p = if ratio > 0.0 { normal::sf(ratio.sqrt()) } else { 1.0 };
        if p >= 0.25 {
            interaction = false;
            problem = without;
            solution = plain;
        }
    }
    let intervals = Intervals::of(&problem, table, &solution, options).ok_or_else(|| {
        LotError::Inconsistent(
            "this study is too sparse to tell its sources apart: let every operator measure more of the parts".into(),
        )
    })?;
    let v = &solution.variances;
    let k = problem.blocks.len();
    let sd = |variance: f64, interval| SdEstimate { sd: variance.sqrt(), interval };
    let between = v[1..k].iter().sum::<f64>();
    let components = GaugeComponents {
        repeatability: sd(v[k], intervals.repeatability),
        operators: (table.operators > 1).then(|| sd(v[1], intervals.operators)),
        interaction: interaction.then(|| sd(v[2], intervals.interaction)),
        reproducibility: sd(between, intervals.reproducibility),
        gauge: sd(between + v[k], intervals.gauge),
        parts: sd(v[0], intervals.parts),
        total: sd(between + v[k] + v[0], intervals.total),
    };
    Ok((
        components,
        GaugeMethod::Reml { interaction, converged: solution.converged, log_likelihood: solution.log_likelihood },
    ))
}

/// The components of a table by restricted likelihood, balanced or not (for checks against the analysis of variance).
#[cfg(test)]
pub(super) fn variances(table: &Table, interaction: bool) -> Option<(Vec<f64>, f64)> {
    solve(&Problem::new(table, interaction)).map(|s| (s.variances, s.log_likelihood))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::super::made::crossed;
    use super::*;

    #[test]
    fn equals_the_analysis_of_variance_where_balanced() {
        let table = Table::new(&crossed([8, 3, 3], 4, |_, _, _| true));
        let (v, _) = variances(&table, true).unwrap();
        let anova = super::super::anova::AnovaTable::new(&table, 3);
        let c = anova.components(true, 3, &GaugeOptions::default());
        for (found, expected) in [
            (v[0], c.parts.sd),
            (v[1], c.operators.unwrap().sd),
            (v[2], c.interaction.unwrap().sd),
            (v[3], c.repeatability.sd),
        ] {
            assert!((found.sqrt() - expected).abs() < 1e-8 * expected, "{} against {expected}", found.sqrt());
        }
    }

    #[test]
    fn unbalanced_optimum_is_the_largest_by_the_direct_formula() {
        let readings = crossed([6, 3, 3], 4, |p, o, t| (p + 2 * o + t) % 5 != 0);
        let table = Table::new(&readings);
        let (best, log_likelihood) = variances(&table, true).unwrap();
        let rows: Vec<_> = table.rows().collect();
        let n = rows.len();
        let direct = |v: &[f64]| {
            let matrix = DMatrix::from_fn(n, n, |i, j| {
                let (a, b) = (rows[i], rows[j]);
                let same = |x: bool| f64::from(u8::from(x));
                v[0] * same(a.0 == b.0)
                    + v[1] * same(a.1 == b.1)
                    + v[2] * same(a.0 == b.0 && a.1 == b.1)
                    + v[3] * same(i == j)
            });
            let chol = matrix.cholesky().unwrap();
            let y = DVector::from_iterator(n, rows.iter().map(|r| r.2));
            let ones = DVector::from_element(n, 1.0);
            let (vy, vo) = (chol.solve(&y), chol.solve(&ones));
            let xx = ones.dot(&vo);
            let mean = ones.dot(&vy) / xx;
            let r = y - ones * mean;
            let ln_det = 2.0 * chol.l().diagonal().iter().map(|d| d.ln()).sum::<f64>();
            -0.5 * ((n as f64 - 1.0) * (2.0 * PI).ln() + ln_det + xx.ln() + r.dot(&chol.solve(&r)))
        };
        assert!((direct(&best) - log_likelihood).abs() < 1e-9);
        for a in 0..4 {
            for factor in [0.9, 0.999, 1.001, 1.1] {
                let mut other = best.clone();
                other[a] *= factor;
                assert!(direct(&other) <= log_likelihood + 1e-10, "component {a}");
            }
        }
    }
}
