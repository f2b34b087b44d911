//! The restricted likelihood of the parameters, and the posterior of every line given them.
//!
//! For history j of group g, engine e and parts v, with the clock x of [`super::filter`]:
//!
//! ```text
//! y = (β₀g + b₀) + (β₁g + b₁ + u_v + a_g·c_e)·x + W(x) + ε
//! (b₀, b₁) ~ N(0, D), D = [σᵤ², ρσᵤσᵥ; ·, σᵥ²]    u_v ~ N(0, σ_k²)    c_e ~ N(0, σ_c²)    β flat
//! ```
//!
//! Every history is reduced to S, r, q and ln|R| ([`super::filter`]); b, u_v and c_e are integrated out one after the other, by 2 × 2 and 1 × 1
//! steps, so that what is left of an engine is a quadratic form of β; and β is integrated out of the sum, which gives the restricted
//! likelihood (D. Harville, Biometrika 61 (1974) 383–385):
//!
//! ```text
//! ℓ = −½·[ln|V| + ln|F| + Q − H′F⁻¹H],   F = X′V⁻¹X, H = X′V⁻¹y, Q = y′V⁻¹y
//! ```
//!
//! but for a constant. Nothing is ever as large as a history's readings. Run the other way the steps give the posterior of each line.

use super::filter::{Column, Filter};
use super::frame::{Block, Case, Frame};
use super::priors::Theta;

/// What a history, a valve or an engine says of its mean line: −½·(Q − 2h′m + m′Jm) and ln of the determinants left behind.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Marginal {
    /// J: 00, 01, 11.
    j: [f64; 3],
    h: [f64; 2],
    q: f64,
    ln_det: f64,
}

impl Marginal {
    fn add(&mut self, other: &Self) {
        for (a, b) in self.j.iter_mut().zip(other.j) {
            *a += b;
        }
        for (a, b) in self.h.iter_mut().zip(other.h) {
            *a += b;
        }
        self.q += other.q;
        self.ln_det += other.ln_det;
    }

    /// With a slope of variance `var` integrated out, and the determinant that this leaves behind, which is not in `ln_det` yet.
    fn without_slope(&self, var: f64) -> (Self, f64) {
        let [j00, j01, j11] = self.j;
        let left = 1.0 + var * j11;
        let f = var / left;
        let out = Self {
            j: [j00 - f * j01 * j01, j01 - f * j01 * j11, j11 - f * j11 * j11],
            h: [self.h[0] - f * j01 * self.h[1], self.h[1] - f * j11 * self.h[1]],
            q: self.q - f * self.h[1] * self.h[1],
            ln_det: self.ln_det,
        };
        (out, left)
    }
}

/// ln of a product of many factors by few logarithms.
struct LnProduct {
    product: f64,
    ln: f64,
}

impl LnProduct {
    fn new() -> Self {
        Self { product: 1.0, ln: 0.0 }
    }

    fn times(&mut self, factor: f64) {
        self.product *= factor;
        if !(1e-200..1e200).contains(&self.product) {
            self.ln += self.product.ln();
            self.product = 1.0;
        }
    }

    fn ln(self) -> f64 {
        self.ln + self.product.ln()
    }
}

/// D and what it does to one schedule's S.
#[derive(Debug, Clone, Copy, Default)]
struct Scatter {
    /// W = (D⁻¹ + S)⁻¹: 00, 01, 11.
    w: [f64; 3],
    /// I − W·S, by rows.
    keep: [f64; 4],
    /// J = S·(I − W·S): 00, 01, 11.
    j: [f64; 3],
    ln_det: f64,
}

impl Scatter {
    fn of(theta: &Theta, s: [f64; 3]) -> Self {
        let (d00, d11) = (theta.start * theta.start, theta.slope * theta.slope);
        let d01 = theta.correlation * theta.start * theta.slope;
        // M = I + S·D, by rows.
        let m = [
            1.0 + s[0] * d00 + s[1] * d01,
            s[0] * d01 + s[1] * d11,
            s[1] * d00 + s[2] * d01,
            1.0 + s[1] * d01 + s[2] * d11,
        ];
        let det = m[0] * m[3] - m[1] * m[2];
        let inverse = [m[3] / det, -m[1] / det, -m[2] / det, m[0] / det];
        // W = D·M⁻¹ and I − W·S = (I + D·S)⁻¹ = (M⁻¹)′.
        let w = [
            d00 * inverse[0] + d01 * inverse[2],
            d00 * inverse[1] + d01 * inverse[3],
            d01 * inverse[1] + d11 * inverse[3],
        ];
        let keep = [inverse[0], inverse[2], inverse[1], inverse[3]];
        let j = [s[0] * keep[0] + s[1] * keep[2], s[0] * keep[1] + s[1] * keep[3], s[1] * keep[1] + s[2] * keep[3]];
        Self { w, keep, j, ln_det: det.ln() }
    }

    /// A history's own line integrated out.
    fn marginal(&self, r: [f64; 2], q: f64, ln_det: f64) -> Marginal {
        let [w00, w01, w11] = self.w;
        Marginal {
            j: self.j,
            h: [self.keep[0] * r[0] + self.keep[2] * r[1], self.keep[1] * r[0] + self.keep[3] * r[1]],
            q: q - (w00 * r[0] * r[0] + 2.0 * w01 * r[0] * r[1] + w11 * r[1] * r[1]),
            ln_det: ln_det + self.ln_det,
        }
    }
}

/// F, H, Q and ln|V| of a fleet, or of a part of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Totals {
    /// F by rows, 2 groups each way.
    f: Vec<f64>,
    h: Vec<f64>,
    q: f64,
    ln_det: f64,
}

impl Totals {
    pub(crate) fn new(groups: usize) -> Self {
        Self { f: vec![0.0; 4 * groups * groups], h: vec![0.0; 2 * groups], q: 0.0, ln_det: 0.0 }
    }

    pub(crate) fn clear(&mut self) {
        self.f.fill(0.0);
        self.h.fill(0.0);
        (self.q, self.ln_det) = (0.0, 0.0);
    }

    /// Adds `sign` times another's.
    pub(crate) fn add(&mut self, other: &Self, sign: f64) {
        for (a, b) in self.f.iter_mut().zip(&other.f) {
            *a += sign * b;
        }
        for (a, b) in self.h.iter_mut().zip(&other.h) {
            *a += sign * b;
        }
        self.q += sign * other.q;
        self.ln_det += sign * other.ln_det;
    }

    /// The mean lines and the restricted likelihood; None where F has no inverse.
    pub(crate) fn solve(&self) -> Option<Lines> {
        let n = self.h.len();
        let mut l = self.f.clone();
        let mut ln_det = 0.0;
        for i in 0..n {
            for k in 0..=i {
                let sum: f64 = (0..k).map(|m| l[i * n + m] * l[k * n + m]).sum();
                let rest = l[i * n + k] - sum;
                if i == k {
                    // What is left after the other lines are known, beside what there was: rounding alone leaves 1e-16 of it.
                    if rest.is_nan() || rest <= 1e-13 * self.f[i * n + i] {
                        return None;
                    }
                    l[i * n + i] = rest.sqrt();
                    ln_det += rest.ln();
                } else {
                    l[i * n + k] = rest / l[k * n + k];
                }
            }
        }
        let solve = |b: &mut [f64]| {
            for i in 0..n {
                let sum: f64 = (0..i).map(|k| l[i * n + k] * b[k]).sum();
                b[i] = (b[i] - sum) / l[i * n + i];
            }
            for i in (0..n).rev() {
                let sum: f64 = (i + 1..n).map(|k| l[k * n + i] * b[k]).sum();
                b[i] = (b[i] - sum) / l[i * n + i];
            }
        };
        let mut mean = self.h.clone();
        solve(&mut mean);
        let mut cov = vec![0.0; n * n];
        for (i, column) in cov.chunks_mut(n).enumerate() {
            column[i] = 1.0;
            solve(column);
        }
        let explained: f64 = self.h.iter().zip(&mean).map(|(h, b)| h * b).sum();
        let ln_likelihood = -0.5 * (self.ln_det + ln_det + self.q - explained);
        ln_likelihood.is_finite().then_some(Lines { mean, cov, ln_likelihood })
    }
}

/// Posterior of the groups' mean lines given the parameters, and the restricted likelihood of these.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Lines {
    /// β₀, β₁ of each group.
    pub(crate) mean: Vec<f64>,
    pub(crate) cov: Vec<f64>,
    pub(crate) ln_likelihood: f64,
}

impl Lines {
    /// Mean and covariance (00, 01, 11) of a group's line.
    pub(crate) fn of(&self, group: usize) -> ([f64; 2], [f64; 3]) {
        let (n, g) = (self.mean.len(), 2 * group);
        (
            [self.mean[g], self.mean[g + 1]],
            [self.cov[g * n + g], self.cov[g * n + g + 1], self.cov[(g + 1) * n + g + 1]],
        )
    }
}

/// Posterior of one history's line given the parameters: mean and covariance (00, 01, 11) of (level at its start, slope over the clock).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct OwnLine {
    pub(crate) mean: [f64; 2],
    pub(crate) cov: [f64; 3],
}

/// Memory of one thread.
#[derive(Debug, Clone, Default)]
pub(crate) struct Workspace {
    pub(crate) filters: Vec<Filter>,
    scatter: Vec<Scatter>,
    /// By case of a block.
    columns: Vec<([f64; 2], f64)>,
    /// By parts of a block: with the group.
    valves: Vec<(usize, Marginal)>,
    /// a_g·J of the engine's valves, by group and column.
    pull: Vec<f64>,
    pub(crate) column: Column,
}

impl Workspace {
    /// Filters a block's histories and integrates out their lines; `self.valves` is left with what each valve says.
    pub(super) fn reduce(&mut self, block: &Block, theta: &Theta) {
        self.filters.resize_with(self.filters.len().max(block.schedules.len()), Filter::default);
        self.scatter.clear();
        for (filter, schedule) in self.filters.iter_mut().zip(&block.schedules) {
            filter.run(schedule, theta);
            self.scatter.push(Scatter::of(theta, filter.s));
        }
        self.columns.clear();
        self.valves.clear();
        let reading = theta.reading * theta.reading;
        for case in &block.cases {
            let filter = &self.filters[case.schedule];
            let (r, mut q, _) = filter.sums(&case.mean);
            let mut ln_det = filter.ln_det;
            if case.repeats > 0.0 {
                q += case.within / reading;
                ln_det += case.repeats * reading.ln();
            }
            self.columns.push((r, q));
            let own = self.scatter[case.schedule].marginal(r, q, ln_det);
            if self.valves.len() > case.parts {
                self.valves[case.parts].1.add(&own);
            } else {
                self.valves.push((case.group, own));
            }
        }
    }

    /// The engine's pull: Σa²J₁₁, Σa·h₁, and a_g·J's second column in `self.pull`, of valves without their kept slopes.
    fn engine(&mut self, shares: &[f64], kept: f64) -> (f64, f64) {
        self.pull.clear();
        self.pull.resize(2 * shares.len(), 0.0);
        let (mut t, mut h) = (0.0, 0.0);
        for (group, valve) in &self.valves {
            let (a, (m, _)) = (shares[*group], valve.without_slope(kept));
            t += a * a * m.j[2];
            h += a * m.h[1];
            self.pull[2 * group] += a * m.j[1];
            self.pull[2 * group + 1] += a * m.j[2];
        }
        (t, h)
    }

    /// Adds what a block says of the mean lines.
    pub(crate) fn add(&mut self, block: &Block, shares: &[f64], theta: &Theta, totals: &mut Totals) {
        self.reduce(block, theta);
        let n = totals.h.len();
        let (kept, engine) = (theta.kept * theta.kept, theta.engine * theta.engine);
        let mut left = LnProduct::new();
        for (group, valve) in &self.valves {
            let (m, own) = if kept > 0.0 { valve.without_slope(kept) } else { (*valve, 1.0) };
            left.times(own);
            let g = 2 * group;
            totals.f[g * n + g] += m.j[0];
            totals.f[g * n + g + 1] += m.j[1];
            totals.f[(g + 1) * n + g] += m.j[1];
            totals.f[(g + 1) * n + g + 1] += m.j[2];
            totals.h[g] += m.h[0];
            totals.h[g + 1] += m.h[1];
            totals.q += m.q;
            totals.ln_det += m.ln_det;
        }
        if engine > 0.0 {
            let (t, h) = self.engine(shares, kept);
            let f = engine / (1.0 + engine * t);
            for i in 0..n {
                for k in 0..n {
                    totals.f[i * n + k] -= f * self.pull[i] * self.pull[k];
                }
                totals.h[i] -= f * self.pull[i] * h;
            }
            totals.q -= f * h * h;
            left.times(1.0 + engine * t);
        }
        totals.ln_det += left.ln();
    }

    /// The posterior of every line of a block given the mean lines; `each` gets a case, its filter, its line and a column to work in.
    pub(crate) fn lines(
        &mut self,
        block: &Block,
        shares: &[f64],
        theta: &Theta,
        lines: &Lines,
        each: impl FnMut(usize, &Case, &Filter, &OwnLine, &mut Column),
    ) {
        self.reduce(block, theta);
        self.lines_of_reduced(block, shares, theta, lines, each);
    }

    /// [`Self::lines`] of the block that was reduced last, at the same parameters.
    pub(crate) fn lines_of_reduced(
        &mut self,
        block: &Block,
        shares: &[f64],
        theta: &Theta,
        lines: &Lines,
        mut each: impl FnMut(usize, &Case, &Filter, &OwnLine, &mut Column),
    ) {
        let n = lines.mean.len();
        let (kept, engine) = (theta.kept * theta.kept, theta.engine * theta.engine);
        // c_e given everything, and its covariance with β.
        let (mut c, mut c_var, mut with) = (0.0, 0.0, Vec::new());
        if engine > 0.0 {
            let (t, h) = self.engine(shares, kept);
            let f = engine / (1.0 + engine * t);
            let explained: f64 = self.pull.iter().zip(&lines.mean).map(|(p, b)| p * b).sum();
            c = f * (h - explained);
            let pulled: Vec<f64> = (0..n).map(|i| (0..n).map(|k| lines.cov[i * n + k] * self.pull[k]).sum()).collect();
            c_var = f + f * f * self.pull.iter().zip(&pulled).map(|(p, x)| p * x).sum::<f64>();
            with = pulled.into_iter().map(|x| -f * x).collect();
        }
        for (place, case) in block.cases.iter().enumerate() {
            let (mut m, mut v) = lines.of(case.group);
            let a = shares[case.group];
            if engine > 0.0 {
                let (w0, w1) = (with[2 * case.group], with[2 * case.group + 1]);
                m[1] += a * c;
                v = [v[0], v[1] + a * w0, v[2] + 2.0 * a * w1 + a * a * c_var];
            }
            if kept > 0.0 {
                let valve = &self.valves[case.parts].1;
                let f = kept / (1.0 + kept * valve.j[2]);
                // u_v = f·(h₁ − J₀₁·m₀ − J₁₁·m₁) and an error of variance f.
                let t = [-f * valve.j[1], 1.0 - f * valve.j[2]];
                m[1] = f * valve.h[1] + t[0] * m[0] + t[1] * m[1];
                let v01 = t[0] * v[0] + t[1] * v[1];
                v = [v[0], v01, t[0] * t[0] * v[0] + 2.0 * t[0] * t[1] * v[1] + t[1] * t[1] * v[2] + f];
            }
            let (r, _) = self.columns[place];
            let own = self.scatter[case.schedule].own(r, m, v);
            each(place, case, &self.filters[case.schedule], &own, &mut self.column);
        }
    }
}

impl Scatter {
    /// A history's line, from its own readings and what the others say of its mean line: (I − WS)·m + W·r, W + (I − WS)·V·(I − WS)′.
    fn own(&self, r: [f64; 2], m: [f64; 2], v: [f64; 3]) -> OwnLine {
        let (k, [w00, w01, w11]) = (self.keep, self.w);
        let row = |a: f64, b: f64| [a * v[0] + b * v[1], a * v[1] + b * v[2]];
        let (top, bottom) = (row(k[0], k[1]), row(k[2], k[3]));
        OwnLine {
            mean: [
                k[0] * m[0] + k[1] * m[1] + w00 * r[0] + w01 * r[1],
                k[2] * m[0] + k[3] * m[1] + w01 * r[0] + w11 * r[1],
            ],
            cov: [
                w00 + top[0] * k[0] + top[1] * k[1],
                w01 + top[0] * k[2] + top[1] * k[3],
                w11 + bottom[0] * k[2] + bottom[1] * k[3],
            ],
        }
    }
}

/// The restricted likelihood of the parameters from some of a frame's blocks.
pub(crate) fn solve(
    frame: &Frame,
    blocks: &[usize],
    theta: &Theta,
    work: &mut Workspace,
    totals: &mut Totals,
) -> Option<Lines> {
    totals.clear();
    for &b in blocks {
        work.add(&frame.blocks[b], &frame.shares, theta, totals);
    }
    totals.solve()
}

/// [`solve`] with a workspace for each block, which is left reduced.
pub(crate) fn solve_each(
    frame: &Frame,
    blocks: &[usize],
    theta: &Theta,
    each: &mut Vec<Workspace>,
    totals: &mut Totals,
) -> Option<Lines> {
    totals.clear();
    each.resize_with(each.len().max(blocks.len()), Workspace::default);
    for (&b, work) in blocks.iter().zip(each) {
        work.add(&frame.blocks[b], &frame.shares, theta, totals);
    }
    totals.solve()
}
