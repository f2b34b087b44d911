//! The share of a lot outside its limits, as far as its readings tell it, and the verdict.
//!
//! What was counted goes before what was fitted, and a shape that the readings cannot show is not assumed:
//!
//! | known of the lot | upper bound |
//! |---|---|
//! | nothing of its shape | the largest over all shapes that the readings do not rule out ([`crate::bound`]) |
//! | normal, as its user states | the normal lot's, exact |
//! | not normal, by the tests | the largest of that over shapes, of the fitted curve and of the count |
//! | in the order made | no less than over the correlations of neighbours that the readings do not rule out |
//! | sorted piece by piece | that of what slips through sorting, or that of a lot not sorted, if smaller; with a part counted outside no less than the count's |
//! | read with a stated u | the largest with all readings off either way by what of u is the same each time |

use super::SizeConstants;
use super::options::{LotOptions, ShapeKnowledge, SortingError};
use crate::bound::{self, Candidate, OpenShare, Shapes};
use crate::capability::{self, Capability, Form, NormalLot};
use crate::posterior::{Posterior, SpecificationLimits};
use crate::sample::{Moments, spread_ties};
use packdrift_numerics::stream::Key;
use packdrift_verdict::{Evidence, Verdict};

/// What the upper bound of the share outside rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Basis {
    /// A normal lot, as its user states.
    Normal,
    /// The shape that leaves most outside of those that the readings do not rule out, and the one that agrees best with them.
    Shapes {
        /// It sets the bound.
        deciding: Candidate,
        /// It agrees best.
        likeliest: Candidate,
    },
    /// The count of parts outside: the lot is not normal.
    Count,
    /// The fitted curve of a lot that is not normal.
    Curve,
    /// Neighbours in the order made resemble each other.
    Order {
        /// The correlation that sets the bound.
        correlation: f64,
    },
    /// What slips through sorting by a gauge of this standard uncertainty, mm.
    Sorted {
        /// mm.
        u: f64,
        /// Whether it was taken for want of a stated one, or of one that can be believed: no lot is shown by it.
        assumed: bool,
        /// What was stated, mm, where it is smaller than can be believed.
        claimed: Option<f64>,
    },
}

/// The share outside the limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareOutside {
    /// What the estimate rests on.
    pub form: Form,
    /// Estimated share below the lower limit.
    pub below: f64,
    /// Estimated share above the upper limit.
    pub above: f64,
    /// One-sided upper confidence bound of the total: the verdict is by it.
    pub upper_bound: f64,
    /// One-sided lower confidence bound of the total.
    pub lower_bound: f64,
    /// What the upper bound rests on.
    pub basis: Basis,
    /// Upper bound were the lot known to be normal; None without scatter.
    pub normal_upper_bound: Option<f64>,
    /// Whether the readings contradict a normal lot.
    pub in_doubt: bool,
    /// Readings outside, counted.
    pub counted: usize,
    /// Upper confidence bound from the count alone (Clopper and Pearson 1934), valid whatever the shape.
    pub counted_upper_bound: f64,
    /// Lower bound from the count alone.
    pub counted_lower_bound: f64,
}

impl ShareOutside {
    /// below + above.
    pub fn total(&self) -> f64 {
        self.below + self.above
    }

    /// The bounds hold for this share and for `other`, of the same lot with its readings off by some amount.
    pub(super) fn or(self, other: Self) -> Self {
        let mut either = if other.upper_bound > self.upper_bound {
            Self { upper_bound: other.upper_bound, basis: other.basis, ..self }
        } else {
            self
        };
        either.lower_bound = self.lower_bound.min(other.lower_bound);
        either.normal_upper_bound =
            self.normal_upper_bound.zip(other.normal_upper_bound).map(|(own, moved)| own.max(moved));
        either
    }

    /// The verdict by the bounds against the largest acceptable share.
    pub(super) fn judge(&self, max_out: f64) -> Verdict {
        // The estimate is drawn into the bounds: a curve that ends inside the limits says 0 where parts were counted outside.
        let estimate = self.total().clamp(self.lower_bound, self.upper_bound);
        Evidence::at_most("share outside", max_out)
            .estimate(estimate)
            .bounds(self.lower_bound, self.upper_bound)
            .judge()
    }
}

/// All that the share of one lot is computed from.
pub(super) struct Judged<'a> {
    /// In the order of the table.
    pub values: &'a [f64],
    pub sorted: &'a [f64],
    pub moments: Moments,
    /// The gauge's share of the readings' sd, mm.
    pub gauge_sd: f64,
    /// The instrument's step, mm.
    pub step: Option<f64>,
    /// What single readings err by at least, mm: see [`super::one_lot::reading_error`].
    pub reading_error: f64,
    pub limits: SpecificationLimits,
    /// Whether the readings contradict a normal lot.
    pub in_doubt: bool,
    /// Whether the order of the values tells of the order made.
    pub in_order: bool,
    pub constants: &'a SizeConstants,
    /// Agreement of all lots together with each shape, where they are taken to be alike.
    pub pooled: Option<&'a [f64]>,
    pub key: Key,
}

impl Judged<'_> {
    pub(super) fn counted(&self) -> usize {
        self.values.iter().filter(|x| self.limits.is_outside(**x)).count()
    }

    /// The readings as the bounds use them: equal ones spread over the instrument's step.
    fn spread(&self) -> (Vec<f64>, Moments) {
        let values = self.step.map_or_else(|| self.sorted.to_vec(), |step| spread_ties(self.sorted, step));
        let moments = Moments::of(&values);
        (values, moments)
    }

    /// The lot's readings under every shape; None where all are equal.
    pub(super) fn shapes(&self) -> Option<Shapes> {
        let (values, moments) = self.spread();
        let sd = moments.sd();
        (sd > 1e-9 * moments.mean.abs()).then(|| Shapes::new(&values, moments.mean, sd, self.gauge_sd.min(sd)))
    }

    /// Share outside, capability indices, verdict.
    pub(super) fn share(&self, options: &LotOptions) -> (ShareOutside, Option<Capability>) {
        let confidence = options.confidence;
        let n = self.values.len();
        let counted = self.counted();
        let mut share = ShareOutside {
            form: Form::Normal,
            below: 0.0,
            above: 0.0,
            upper_bound: capability::count_upper_bound(counted, n, confidence),
            lower_bound: capability::count_lower_bound(counted, n, confidence),
            basis: Basis::Count,
            normal_upper_bound: None,
            in_doubt: self.in_doubt,
            counted,
            counted_upper_bound: capability::count_upper_bound(counted, n, confidence),
            counted_lower_bound: capability::count_lower_bound(counted, n, confidence),
        };
        let lot = NormalLot {
            grid: &self.constants.grid,
            n,
            mean: self.moments.mean,
            sd: self.moments.sd(),
            gauge_sd: self.gauge_sd,
        };
        // Parts without scatter, or none beyond the gauge's own: only the count speaks.
        if lot.parts_sd() <= 1e-9 * self.moments.mean.abs().max(f64::MIN_POSITIVE) {
            let below = self.values.iter().filter(|&&x| self.limits.lower.is_some_and(|l| x < l)).count();
            share.below = below as f64 / n as f64;
            share.above = (counted - below) as f64 / n as f64;
            return (share, None);
        }
        let curve = self
            .in_doubt
            .then(|| capability::percentile_capability(self.sorted, self.step, self.limits, confidence, self.key));
        let (found, curve_upper) =
            curve.flatten().unwrap_or_else(|| (capability::normal_capability(&lot, self.limits, confidence), 0.0));
        share.form = found.form;
        (share.below, share.above) = match &found.form {
            Form::Normal => capability::normal_shares(self.limits, lot.mean, lot.parts_sd()),
            Form::Percentile(curve) => {
                (curve.share_outside(self.limits.lower, None), curve.share_outside(None, self.limits.upper))
            }
        };
        self.as_drawn(&mut share, curve_upper, options);
        if let Some(sorting) = options.sorting {
            let error = sorting.error(&options.instrument, self.limits, self.reading_error, self.moments.sd());
            self.sorted_lot(&mut share, error, options);
        }
        // Counted parts contradict a fit that has none outside (the gauge's variance taken off is too large, say): the count is believed.
        if share.lower_bound > share.upper_bound {
            (share.upper_bound, share.basis) = (share.counted_upper_bound.max(share.lower_bound), Basis::Count);
        }
        (share, Some(found))
    }

    fn as_drawn(&self, share: &mut ShareOutside, curve_upper: f64, options: &LotOptions) {
        let confidence = options.confidence;
        let normal = self.normal(confidence);
        share.normal_upper_bound = Some(normal.upper);
        let (open, basis) = if options.shape == ShapeKnowledge::Normal && !self.in_doubt {
            (normal, Basis::Normal)
        } else if let Some(shapes) = self.shapes() {
            let own = shapes.agreements();
            let open = shapes.open_share(self.limits, self.pooled.unwrap_or(&own), confidence);
            let basis = Basis::Shapes { deciding: open.deciding, likeliest: open.likeliest };
            (
                OpenShare {
                    estimate: open.estimate,
                    lower: open.lower,
                    upper: open.upper,
                    likeliest: (),
                    deciding: (),
                },
                basis,
            )
        } else {
            return;
        };
        share.basis = basis;
        share.upper_bound = open.upper;
        // A count shows too much outside whatever the shape; of a known one the fit says more, and one bound is enough.
        share.lower_bound = if basis == Basis::Normal { open.lower } else { open.lower.max(share.counted_lower_bound) };
        if self.in_doubt {
            share.lower_bound = share.counted_lower_bound;
            for (upper, basis) in [(curve_upper, Basis::Curve), (share.counted_upper_bound, Basis::Count)] {
                if upper > share.upper_bound {
                    (share.upper_bound, share.basis) = (upper, basis);
                }
            }
        }
        if self.in_order && self.values.len() >= 3 {
            let open = bound::in_order(self.values, &self.constants.grid, self.gauge_sd, self.limits, confidence);
            share.lower_bound = share.lower_bound.min(open.lower);
            if open.upper > share.upper_bound {
                (share.upper_bound, share.basis) = (open.upper, Basis::Order { correlation: open.deciding });
            }
        }
    }

    /// Bounds of a normal lot, with equal readings spread over the instrument's step.
    fn normal(&self, confidence: f64) -> OpenShare<()> {
        let (_, moments) = self.spread();
        let posterior = Posterior::new(&self.constants.grid, moments.mean, moments.sd(), self.gauge_sd);
        OpenShare {
            estimate: f64::NAN,
            lower: posterior.least_share(self.limits, confidence),
            upper: posterior.share_bound(self.limits, confidence),
            likeliest: (),
            deciding: (),
        }
    }

    /// `share` as of a lot that was not sorted, whose bound holds for a sorted one too. Sorting can only make it smaller, so it never falls as u rises.
    fn sorted_lot(&self, share: &mut ShareOutside, error: SortingError, options: &LotOptions) {
        let SortingError { u, assumed, claimed, too_coarse } = error;
        let (values, moments) = self.spread();
        // What a cut lot looks like as if it were not accuses nobody.
        share.lower_bound = share.counted_lower_bound;
        let open = if too_coarse {
            None
        } else {
            bound::sorted_share(&values, moments.sd(), self.limits, u, options.confidence)
        };
        if let Some(open) = open.filter(|o| o.upper.is_finite() && o.upper >= 0.0) {
            // Before sorting the lot had parts outside; what its fit says there is no estimate of the sorted lot.
            let outside = share.total();
            let part = if outside > 0.0 { open.estimate / outside } else { 0.0 };
            (share.below, share.above) = (share.below * part, share.above * part);
            // What is acceptable without its sorting does not rest on an assumed gauge.
            let by_itself = assumed && share.upper_bound <= options.max_out;
            if open.upper < share.upper_bound && !by_itself {
                (share.upper_bound, share.basis) = (open.upper, Basis::Sorted { u, assumed, claimed });
                share.normal_upper_bound = None;
            }
            // Nor does an uncertainty that was assumed, or not believed.
            if !assumed && claimed.is_none() {
                share.lower_bound = share.lower_bound.max(open.lower.min(share.upper_bound));
            }
        }
        if share.counted > 0 && share.counted_upper_bound > share.upper_bound {
            (share.upper_bound, share.basis) = (share.counted_upper_bound, Basis::Count);
        }
    }
}
