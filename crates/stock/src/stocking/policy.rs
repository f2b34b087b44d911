//! Textbook stocking of one size on its own: what the joint answer is compared with, and where it starts from.
//!
//! Costs are per unit of time: h to hold a piece, p to be short of one, K to place an order.

use packdrift_numerics::normal;

use crate::error::{StockError, within};

/// Poisson demand with the given mean: its distribution, by recurrence from the mode outward.
///
/// # Examples
/// ```
/// use packdrift_stock::policy::PoissonDemand;
/// let demand = PoissonDemand::new(2.0)?;
/// assert!((demand.at_most(1) - 3.0 * (-2.0_f64).exp()).abs() < 1e-12);
/// // P(D ≤ 3) = 0.857, P(D ≤ 4) = 0.947.
/// assert_eq!(demand.quantile(0.9), 4);
/// # Ok::<(), packdrift_stock::StockError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct PoissonDemand {
    mean: f64,
    /// P(D = k) for k = 0..
    mass: Vec<f64>,
}

impl PoissonDemand {
    /// # Errors
    ///
    /// [`StockError::OutOfRange`] for a mean outside 0–1 000 000.
    pub fn new(mean: f64) -> Result<Self, StockError> {
        within("mean demand", mean, "pieces", 0.0..=1e6, "between 0 and 1000000")?;
        // Beyond 40 standard deviations and 60 pieces the tail is below every double.
        let last = (mean + 40.0 * mean.sqrt() + 60.0) as usize;
        let mode = mean.floor() as usize;
        let mut mass = vec![0.0; last + 1];
        mass[mode] = 1.0;
        for k in mode..last {
            mass[k + 1] = mass[k] * mean / (k + 1) as f64;
        }
        for k in (0..mode).rev() {
            mass[k] = mass[k + 1] * (k + 1) as f64 / mean;
        }
        let total: f64 = mass.iter().sum();
        mass.iter_mut().for_each(|p| *p /= total);
        Ok(Self { mean, mass })
    }

    /// Its mean.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// P(D = k).
    pub fn mass(&self, k: u32) -> f64 {
        self.mass.get(k as usize).copied().unwrap_or(0.0)
    }

    /// P(D ≤ k).
    pub fn at_most(&self, k: i64) -> f64 {
        if k < 0 {
            return 0.0;
        }
        self.mass.iter().take(k as usize + 1).sum::<f64>().min(1.0)
    }

    /// Expected shortage E(D − y)⁺.
    pub fn shortage(&self, y: i64) -> f64 {
        let over = |(k, p): (usize, &f64)| p * (k as f64 - y as f64).max(0.0);
        self.mass.iter().enumerate().map(over).sum()
    }

    /// h·E(y − D)⁺ + p·E(D − y)⁺.
    pub fn cost(&self, y: i64, holding: f64, short: f64) -> f64 {
        let shortage = self.shortage(y);
        holding * (y as f64 - self.mean + shortage) + short * shortage
    }

    /// The smallest y with P(D ≤ y) ≥ `share`.
    pub fn quantile(&self, share: f64) -> u32 {
        let mut sum = 0.0;
        for (k, p) in self.mass.iter().enumerate() {
            sum += p;
            if sum >= share {
                return k as u32;
            }
        }
        self.mass.len() as u32
    }
}

/// Share of demands met from stock at once under base stock S with Poisson demand over the lead time: P(D ≤ S − 1).
///
/// W. J. Hopp and M. L. Spearman, Factory Physics, base stock model.
///
/// ```
/// use packdrift_stock::policy::{PoissonDemand, fill_rate};
/// assert!((fill_rate(&PoissonDemand::new(10.0)?, 15) - 0.9165).abs() < 1e-4);
/// # Ok::<(), packdrift_stock::StockError>(())
/// ```
pub fn fill_rate(lead_time_demand: &PoissonDemand, base_stock: u32) -> f64 {
    lead_time_demand.at_most(i64::from(base_stock) - 1)
}

/// Mean number of demands waiting under base stock S: E(D − S)⁺.
///
/// # Examples
/// ```
/// use packdrift_stock::policy::{PoissonDemand, backorders};
/// // E(D − 1)⁺ = λ − 1 + P(D = 0).
/// assert!((backorders(&PoissonDemand::new(1.0)?, 1) - (-1.0_f64).exp()).abs() < 1e-12);
/// # Ok::<(), packdrift_stock::StockError>(())
/// ```
pub fn backorders(lead_time_demand: &PoissonDemand, base_stock: u32) -> f64 {
    lead_time_demand.shortage(i64::from(base_stock))
}

/// Share of demands lost under base stock S where what is not there is got elsewhere: Erlang's loss formula with the load λL, by its
/// recursion B(0) = 1, B(s) = a·B(s−1)/(s + a·B(s−1)).
///
/// # Examples
/// ```
/// use packdrift_stock::policy::lost_share;
/// // (a²/2)/(1 + a + a²/2) at a = 2.
/// assert!((lost_share(2.0, 2) - 0.4).abs() < 1e-12);
/// ```
pub fn lost_share(lead_time_demand: f64, base_stock: u32) -> f64 {
    (1..=base_stock).fold(1.0, |b, s| lead_time_demand * b / (f64::from(s) + lead_time_demand * b))
}

/// One-time order against normal demand N(mean, sd²): S = mean + sd·Φ⁻¹(p/(p + h)), and its expected cost (h + p)·sd·φ(z).
///
/// # Examples
/// ```
/// use packdrift_stock::policy::newsvendor_normal;
/// // Too many costs as much as too few: order the mean; φ(0) = 1/√(2π).
/// let (order, cost) = newsvendor_normal(100.0, 20.0, 1.0, 1.0);
/// assert!((order - 100.0).abs() < 1e-9 && (cost - 40.0 / (2.0 * std::f64::consts::PI).sqrt()).abs() < 1e-9);
/// ```
pub fn newsvendor_normal(mean: f64, sd: f64, holding: f64, short: f64) -> (f64, f64) {
    let z = normal::quantile(short / (short + holding));
    (mean + sd * z, (holding + short) * sd * normal::pdf(z))
}

/// One-time order against Poisson demand: the smallest S with P(D ≤ S) ≥ p/(p + h), and its expected cost.
///
/// # Examples
/// ```
/// use packdrift_stock::policy::{PoissonDemand, newsvendor_poisson};
/// // The 9/(9 + 1) quantile.
/// assert_eq!(newsvendor_poisson(&PoissonDemand::new(2.0)?, 1.0, 9.0).0, 4);
/// # Ok::<(), packdrift_stock::StockError>(())
/// ```
pub fn newsvendor_poisson(demand: &PoissonDemand, holding: f64, short: f64) -> (u32, f64) {
    let level = demand.quantile(short / (short + holding));
    (level, demand.cost(i64::from(level), holding, short))
}

/// Reorder point r and order quantity Q under continuous review, with their cost per unit of time: minimise
///
/// C(r, Q) = [K·λ + Σ_{y=r+1}^{r+Q} G(y)]/Q, G(y) = h·E(y − D)⁺ + p·E(D − y)⁺, D the demand over the lead time
///
/// by A. Federgruen and Y.-S. Zheng, Operations Research 40 (1992) 808–813: G has one valley, so the best Q levels are those with the
/// smallest G, taken in one by one until the next costs more than the average.
///
/// # Examples
/// ```
/// use packdrift_stock::policy::{PoissonDemand, reorder_point};
/// // Orders that cost nothing are placed one by one: base stock r + 1, the newsvendor's.
/// let (r, q, _) = reorder_point(&PoissonDemand::new(2.0)?, 2.0, 1.0, 9.0, 0.0);
/// assert_eq!((r, q), (3, 1));
/// // Dearer orders come seldom.
/// assert!(reorder_point(&PoissonDemand::new(2.0)?, 2.0, 1.0, 9.0, 50.0).1 > 5);
/// # Ok::<(), packdrift_stock::StockError>(())
/// ```
pub fn reorder_point(
    lead_time_demand: &PoissonDemand,
    rate: f64,
    holding: f64,
    short: f64,
    order: f64,
) -> (i64, u32, f64) {
    let cost = |y: i64| lead_time_demand.cost(y, holding, short);
    let valley = i64::from(lead_time_demand.quantile(short / (short + holding)));
    let (mut below, mut above) = (valley - 1, valley + 1);
    let mut total = order * rate + cost(valley);
    let mut quantity = 1;
    loop {
        let (next, from_below) = {
            let (low, high) = (cost(below), cost(above));
            if low <= high { (low, true) } else { (high, false) }
        };
        if next >= total / f64::from(quantity) || quantity == u32::MAX {
            return (below, quantity, total / f64::from(quantity));
        }
        total += next;
        quantity += 1;
        if from_below {
            below -= 1;
        } else {
            above += 1;
        }
    }
}

/// Order-up-to levels under periodic review without lead time: order up to S whenever the stock is at s or below. Returns (s, S, cost per
/// period).
///
/// Y.-S. Zheng and A. Federgruen, Operations Research 39 (1991) 654–665:
/// c(s, S) = [K + Σ_{j=0}^{S−s−1} m(j)·G(S − j)]/M(S − s), with the renewal densities m(0) = 1/(1 − P(D = 0)),
/// m(j) = Σ_{l=0}^{j} P(D = l)·m(j − l), M(j) = M(j − 1) + m(j − 1).
///
/// # Examples
/// ```
/// use packdrift_stock::policy::{PoissonDemand, order_up_to};
/// // Orders that cost nothing fill up whatever was taken.
/// let (s, upper, _) = order_up_to(&PoissonDemand::new(2.0)?, 1.0, 9.0, 0.0);
/// assert_eq!((s, upper), (3, 4));
/// # Ok::<(), packdrift_stock::StockError>(())
/// ```
pub fn order_up_to(demand: &PoissonDemand, holding: f64, short: f64, order: f64) -> (i64, i64, f64) {
    let g = |y: i64| demand.cost(y, holding, short);
    let none = demand.mass(0);
    let mut m = vec![1.0 / (1.0 - none)];
    let mut sums = vec![0.0, m[0]];
    let mut density = |j: usize| -> (f64, f64) {
        while m.len() <= j {
            let at = m.len();
            let next = (1..=at).map(|l| demand.mass(l as u32) * m[at - l]).sum::<f64>() / (1.0 - none);
            m.push(next);
            sums.push(sums[at] + next);
        }
        (m[j], sums[j])
    };
    let mut cost = |s: i64, upper: i64| {
        let n = (upper - s) as usize;
        let mut total = order;
        for j in 0..n {
            total += density(j).0 * g(upper - j as i64);
        }
        density(n);
        total / density(n).1
    };
    let valley = i64::from(demand.quantile(short / (short + holding)));
    // Step 0: the best s for S at the valley.
    let mut s = valley - 1;
    while cost(s, valley) > g(s) {
        s -= 1;
    }
    let mut best = (s, valley, cost(s, valley));
    let mut upper = valley + 1;
    while g(upper) <= best.2 {
        if cost(best.0, upper) < best.2 {
            let mut s = best.0;
            while cost(s, upper) <= g(s + 1) && s < upper - 1 {
                s += 1;
            }
            best = (s, upper, cost(s, upper));
        }
        upper += 1;
    }
    best
}
