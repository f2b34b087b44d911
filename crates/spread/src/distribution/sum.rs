//! The distribution of a sum of independent terms, by quadrature: a measured part is repeatability (t) + instrument (normal) + resolution
//! (rectangular). Sampling and the standard-normal space treat the terms one by one and need none of this; it serves the quantiles of a
//! measured dimension that is tied to another by a correlation, and whoever asks for a density.
//!
//! Normals and exact terms are folded into one. Of the others the widest smooth one (or the folded normal) is kept in closed form, and
//! the rest are integrated over: `F(x) = ∫ F_smooth(x − Q(Φ(z))) φ(z) dz`, adaptively, to a relative error of about 1e-10.

use super::Distribution;
use packdrift_numerics::normal;
use packdrift_numerics::special::{Inversion, Tails, invert_increasing};

/// A sum made ready for evaluation.
#[derive(Debug, Clone)]
pub(crate) struct SumTable {
    /// The term in closed form, last to be added.
    smooth: Distribution,
    /// The others.
    rest: Vec<Distribution>,
}

impl SumTable {
    pub(crate) fn new(terms: &[Distribution]) -> Self {
        let (mut mean, mut variance) = (0.0, 0.0);
        let mut rest = Vec::new();
        collect(terms, &mut mean, &mut variance, &mut rest);
        if variance > 0.0 {
            return Self { smooth: Distribution::Normal { mean, sd: variance.sqrt() }, rest };
        }
        // The continuous term of the largest scale goes last; the shift of the exact terms becomes an exact one.
        let widest = (0..rest.len())
            .filter(|&k| !matches!(rest[k], Distribution::Empirical { .. }))
            .max_by(|&a, &b| rest[a].standard_uncertainty().total_cmp(&rest[b].standard_uncertainty()));
        match widest {
            Some(k) => {
                let smooth = rest.swap_remove(k);
                if mean != 0.0 {
                    rest.push(Distribution::Exact { value: mean });
                }
                Self { smooth, rest }
            }
            None => Self { smooth: Distribution::Exact { value: mean }, rest },
        }
    }

    pub(crate) fn tails(&self, x: f64) -> Tails {
        let lower = integrate(&self.rest, x, &|x| self.smooth.tails(x).lower);
        let upper = integrate(&self.rest, x, &|x| self.smooth.tails(x).upper);
        Tails { lower: lower.min(1.0), upper: upper.min(1.0) }
    }

    pub(crate) fn pdf(&self, x: f64) -> f64 {
        integrate(&self.rest, x, &|x| self.smooth.pdf(x))
    }

    pub(crate) fn quantile_of(&self, p: f64, q: f64) -> f64 {
        let terms = || self.rest.iter().chain([&self.smooth]);
        let (lower, upper) = terms().map(Distribution::support).fold((0.0, 0.0), |(l, u), (a, b)| (l + a, u + b));
        if p <= 0.0 || lower >= upper {
            return lower;
        }
        if q <= 0.0 {
            return upper;
        }
        let scale = terms().map(|t| t.standard_uncertainty().powi(2)).sum::<f64>().sqrt();
        let centre: f64 = terms().map(Distribution::mean).sum();
        let z = if p < 0.5 { normal::quantile(p) } else { normal::upper_quantile(q) };
        let search = Inversion { start: centre + z * scale, step: 0.25 * scale, lower, upper };
        invert_increasing(&search, |x| {
            let tails = self.tails(x);
            let excess = if p < 0.5 { (tails.lower / p).ln() } else { (q / tails.upper).ln() };
            excess.clamp(-1e6, 1e6)
        })
    }
}

fn collect(terms: &[Distribution], mean: &mut f64, variance: &mut f64, rest: &mut Vec<Distribution>) {
    for term in terms {
        match term {
            Distribution::Normal { mean: m, sd } => {
                *mean += m;
                *variance += sd * sd;
            }
            Distribution::Sum { terms } => collect(terms, mean, variance, rest),
            term if term.is_exact() => *mean += term.mean(),
            term => rest.push(term.clone()),
        }
    }
}

/// E f(x − ΣX) over the given terms.
fn integrate(terms: &[Distribution], x: f64, f: &dyn Fn(f64) -> f64) -> f64 {
    let Some((first, others)) = terms.split_first() else {
        return f(x);
    };
    match first {
        Distribution::Exact { value } => integrate(others, x - value, f),
        Distribution::Empirical { readings } => {
            readings.iter().map(|r| integrate(others, x - r, f)).sum::<f64>() / readings.len() as f64
        }
        term => {
            let integrand = |z: f64| normal::pdf(z) * integrate(others, x - term.at_normal(z), f);
            // Beyond 9 the weight is 1e-19; panels of 1 so that no feature of the density's own scale is overlooked.
            (-9..9).map(|k| adaptive(&integrand, f64::from(k), f64::from(k + 1), 0)).sum()
        }
    }
}

/// Gauss–Kronrod 7–15 with bisection.
fn adaptive(f: &dyn Fn(f64) -> f64, a: f64, b: f64, depth: u32) -> f64 {
    let (centre, half) = (0.5 * (a + b), 0.5 * (b - a));
    let at_centre = f(centre);
    let (mut kronrod, mut gauss) = (at_centre * KRONROD[7].1, at_centre * GAUSS[3]);
    for (k, (node, weight)) in KRONROD[..7].iter().enumerate() {
        let pair = f(centre - half * node) + f(centre + half * node);
        kronrod += pair * weight;
        if k % 2 == 1 {
            gauss += pair * GAUSS[k / 2];
        }
    }
    let (kronrod, gauss) = (kronrod * half, gauss * half);
    if depth >= 12 || (kronrod - gauss).abs() <= 1e-10 * kronrod.abs() + 1e-300 {
        return kronrod;
    }
    adaptive(f, a, centre, depth + 1) + adaptive(f, centre, b, depth + 1)
}

/// Nodes (positive half, from the end inwards) and weights.
const KRONROD: [(f64, f64); 8] = [
    (0.991_455_371_120_812_6, 0.022_935_322_010_529_224),
    (0.949_107_912_342_758_5, 0.063_092_092_629_978_55),
    (0.864_864_423_359_769_1, 0.104_790_010_322_250_18),
    (0.741_531_185_599_394_4, 0.140_653_259_715_525_92),
    (0.586_087_235_467_691_1, 0.169_004_726_639_267_9),
    (0.405_845_151_377_397_2, 0.190_350_578_064_785_4),
    (0.207_784_955_007_898_47, 0.204_432_940_075_298_89),
    (0.0, 0.209_482_141_084_727_82),
];

/// Weights of the 7-point rule, on every second node.
const GAUSS: [f64; 4] =
    [0.129_484_966_168_869_7, 0.279_705_391_489_276_64, 0.381_830_050_505_118_94, 0.417_959_183_673_469_4];
