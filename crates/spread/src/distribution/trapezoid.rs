//! The two trapezoids of JCGM 101:2008, in closed form: the symmetric one of 6.4.4 (with the triangle, β = 0) and the curvilinear one of
//! 6.4.3, a rectangle whose limits are themselves known only to ± d.
//!
//! Both are symmetric, so one function of the distance from the nearer end serves both tails, accurate to the very end of the
//! support, where 1 − F would have lost every digit.

/// A density that is flat in the middle and falls to 0 at both ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Trapezoid {
    /// Straight flanks.
    Straight {
        /// Half the base.
        half: f64,
        /// Top over base.
        beta: f64,
    },
    /// Logarithmic flanks of half-width d about ± w, d > 0.
    Curvilinear {
        /// w.
        half: f64,
        /// d.
        inexactness: f64,
    },
}

impl Trapezoid {
    /// Half the width of the support.
    pub(super) fn reach(self) -> f64 {
        match self {
            Self::Straight { half, .. } => half,
            Self::Curvilinear { half, inexactness } => half + inexactness,
        }
    }

    /// Half the width of the flat top.
    fn flat(self) -> f64 {
        match self {
            Self::Straight { half, beta } => beta * half,
            Self::Curvilinear { half, inexactness } => (half - inexactness).max(0.0),
        }
    }

    /// Height of the flat top.
    fn top(self) -> f64 {
        match self {
            Self::Straight { half, beta } => 1.0 / (half * (1.0 + beta)),
            // ln((w + d)/(w − d))/(4d), which stays accurate for small d.
            Self::Curvilinear { half, inexactness } => (inexactness / half).min(1.0).atanh() / (2.0 * inexactness),
        }
    }

    /// Width of a flank.
    fn flank(self) -> f64 {
        self.reach() - self.flat()
    }

    /// The density at a distance from the nearer end.
    pub(super) fn density(self, gap: f64) -> f64 {
        if gap < 0.0 {
            return 0.0;
        }
        if gap > self.flank() {
            return self.top();
        }
        match self {
            Self::Straight { .. } => {
                if self.flank() > 0.0 {
                    self.top() * gap / self.flank()
                } else {
                    self.top()
                }
            }
            Self::Curvilinear { inexactness, .. } => -(-gap / self.reach()).ln_1p() / (4.0 * inexactness),
        }
    }

    /// The share between the nearer end and a point at this distance from it: from 0 at the end to ½ at the centre.
    pub(super) fn share(self, gap: f64) -> f64 {
        if gap <= 0.0 {
            0.0
        } else if gap > self.flank() {
            0.5 - (self.reach() - gap) * self.top()
        } else {
            self.flank_share(gap)
        }
    }

    fn flank_share(self, gap: f64) -> f64 {
        match self {
            Self::Straight { .. } => {
                if self.flank() > 0.0 {
                    0.5 * self.top() * gap * gap / self.flank()
                } else {
                    0.0
                }
            }
            Self::Curvilinear { inexactness, .. } => {
                let reach = self.reach();
                reach * flank_area(gap / reach) / (4.0 * inexactness)
            }
        }
    }

    /// The distance from the nearer end up to which the share is s, 0 ≤ s ≤ ½.
    pub(super) fn gap(self, s: f64) -> f64 {
        let (flank, reach) = (self.flank(), self.reach());
        if s >= self.flank_share(flank) {
            return (reach - (0.5 - s) / self.top()).clamp(0.0, reach);
        }
        match self {
            Self::Straight { .. } => (2.0 * s * flank / self.top()).sqrt(),
            Self::Curvilinear { inexactness, .. } => {
                // Newton on r + (1 − r) ln(1 − r) = g, convex and rising in r; from √(2g), which lies beyond the root, it descends to it.
                let g = 4.0 * inexactness * s / reach;
                let mut r = (2.0 * g).sqrt().min(1.0 - 1e-9);
                for _ in 0..60 {
                    let next = r + (g - flank_area(r)) / -(-r).ln_1p();
                    if next.is_nan() || (next - r).abs() <= 1e-16 * r {
                        break;
                    }
                    r = next.clamp(0.0, 1.0 - 1e-16);
                }
                reach * r
            }
        }
    }
}

/// r + (1 − r) ln(1 − r) = Σ rᵏ/(k(k − 1)), k ≥ 2, for 0 ≤ r ≤ 1; by the series where the closed form would cancel.
fn flank_area(r: f64) -> f64 {
    if r < 0.1 {
        let mut sum = 0.0;
        for k in (2..=16).rev() {
            sum = sum * r + 1.0 / f64::from(k * (k - 1));
        }
        sum * r * r
    } else if r < 1.0 {
        r + (1.0 - r) * (-r).ln_1p()
    } else {
        1.0
    }
}
