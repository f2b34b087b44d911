//! Mean, standard deviation and order statistics, summed so that readings which differ in their last digits only keep them.

/// n, mean and sum of squared deviations of some values, in the order-independent form variance components need.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    /// How many.
    pub n: usize,
    /// Arithmetic mean; NaN of none.
    pub mean: f64,
    /// Σ (x − mean)².
    pub sum_of_squares: f64,
}

impl Moments {
    /// Two passes over the values less the first of them (an exact difference for readings of one size), compensated, with
    /// the second-order correction of Chan, Golub and `LeVeque` (The American Statistician 37, 1983).
    pub fn of(values: &[f64]) -> Self {
        let n = values.len();
        let Some(&origin) = values.first() else {
            return Self { n, mean: f64::NAN, sum_of_squares: f64::NAN };
        };
        let shift = compensated_sum(values.iter().map(|x| x - origin)) / n as f64;
        let first = compensated_sum(values.iter().map(|x| (x - origin) - shift));
        let squares = compensated_sum(values.iter().map(|x| ((x - origin) - shift).powi(2)));
        let sum_of_squares = (squares - first * first / n as f64).max(0.0);
        Self { n, mean: origin + (shift + first / n as f64), sum_of_squares }
    }

    /// s² = Σ(x − x̄)²/(n − 1); NaN below two values.
    pub fn variance(&self) -> f64 {
        if self.n < 2 { f64::NAN } else { self.sum_of_squares / (self.n - 1) as f64 }
    }

    /// s.
    pub fn sd(&self) -> f64 {
        self.variance().sqrt()
    }
}

/// Neumaier's sum (Zeitschrift für angewandte Mathematik und Mechanik 54, 1974).
pub(crate) fn compensated_sum(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut lost) = (0.0_f64, 0.0);
    for x in values {
        let next = sum + x;
        lost += if sum.abs() >= x.abs() { (sum - next) + x } else { (x - next) + sum };
        sum = next;
    }
    sum + lost
}

/// The quantile of order p of sorted values, linear between order statistics (type 7 of Hyndman and Fan 1996); NaN of none.
pub fn quantile_of_sorted(sorted: &[f64], p: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else {
        return f64::NAN;
    };
    let at = p.clamp(0.0, 1.0) * last as f64;
    let low = at.floor() as usize;
    let high = (low + 1).min(last);
    sorted[low] + (at - low as f64) * (sorted[high] - sorted[low])
}

/// Sorted copy; the values must be finite.
pub(crate) fn sorted(values: &[f64]) -> Vec<f64> {
    let mut copy = values.to_vec();
    copy.sort_unstable_by(f64::total_cmp);
    copy
}

/// Equal readings of a step spread evenly over it, in sorted order: where the parts would lie if the instrument read finely.
pub(crate) fn spread_ties(sorted: &[f64], step: f64) -> Vec<f64> {
    let mut out = Vec::with_capacity(sorted.len());
    for run in sorted.chunk_by(|a, b| (a - b).abs() < 0.5 * step) {
        let k = run.len() as f64;
        out.extend(run.iter().enumerate().map(|(j, x)| x + step * ((j as f64 + 0.5) / k - 0.5)));
    }
    out
}
