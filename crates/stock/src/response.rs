//! How offsets and preload answer to the pieces: tables over the sum of all pieces' thicknesses, made once per question.
//!
//! With P the sum of the pieces left of a rocker and S the sum of all pieces of the bay, a rocker's offset is
//! γ·P + f(S) (γ: thermal growth of the pieces; f: what the spring washers' squeeze does to the rocker's position, a constant where
//! they all lie to its right), and the preload is g(S). f and g are tabulated with their slopes and read back by cubic Hermite
//! interpolation; the sensitivity to every other dimension goes into the scatter and is read by linear interpolation of variances,
//! which keeps every covariance matrix positive semidefinite and gives the search sound bounds.

use crate::beliefs::Beliefs;
use crate::error::StockError;
use crate::layout::{Layout, Reduced};
use packdrift_pack::{Pack, Quantity};

/// What a track is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum TrackKind {
    /// The offset of a target (index into [`Layout::targets`]).
    Offset(usize),
    /// The preload.
    Preload,
    /// The sum of the pieces, where no preload is required.
    Sum,
    /// How much too long the parts are for the bay with every spring washer flat, mm: below 0 it can be assembled.
    Excess,
}

impl TrackKind {
    /// Whether it depends on the sum of the pieces alone.
    pub(crate) fn is_total(self) -> bool {
        !matches!(self, Self::Offset(_))
    }
}

/// Limits and aim of a quantity in a condition.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Aim {
    pub(crate) lower: f64,
    pub(crate) upper: f64,
    pub(crate) target: f64,
    /// The distance from the target that counts as 1.
    pub(crate) half_width: f64,
}

impl Aim {
    /// From what a requirement says; None where it bounds nothing.
    pub(crate) fn new(lower: Option<f64>, upper: Option<f64>, target: Option<f64>) -> Option<Self> {
        let (low, high) = (lower.unwrap_or(f64::NEG_INFINITY), upper.unwrap_or(f64::INFINITY));
        let (target, half_width) = match (lower, upper) {
            (Some(l), Some(u)) => {
                let target = target.unwrap_or(0.5 * (l + u));
                (target, (0.5 * (u - l)).max(f64::MIN_POSITIVE))
            }
            // One limit only: the aim is the target where there is one, else any place inside; a tenth of the limit counts as 1.
            (Some(limit), None) | (None, Some(limit)) => (target.unwrap_or(f64::NAN), (0.1 * limit.abs()).max(1e-3)),
            (None, None) => return None,
        };
        Some(Self { lower: low, upper: high, target, half_width })
    }

    /// Squared distance from the aim, in half-widths.
    pub(crate) fn miss(&self, value: f64) -> f64 {
        let distance = if self.target.is_nan() {
            (self.lower - value).max(value - self.upper).max(0.0)
        } else {
            value - self.target
        };
        (distance / self.half_width).powi(2)
    }
}

/// One quantity in one condition.
#[derive(Debug, Clone)]
pub(crate) struct Track {
    pub(crate) kind: TrackKind,
    pub(crate) condition: usize,
    pub(crate) aim: Option<Aim>,
    /// γ for an offset, 0 else.
    pub(crate) growth: f64,
    /// f or g at the fine nodes.
    value: Vec<f64>,
    slope: Vec<f64>,
    /// Half the range of a loose bay.
    half_range: Vec<f64>,
}

impl Track {
    /// ∂/∂(thickness of a piece in `zone`) where the slope of f or g is `slope`.
    pub(crate) fn lever(&self, zone: usize, slope: f64, layout: &Layout) -> f64 {
        match self.kind {
            TrackKind::Offset(t) if zone <= layout.targets[t].boundary => self.growth + slope,
            _ => slope,
        }
    }
}

/// Fine nodes between two coarse ones: the scatter varies slowly.
const FINE_PER_COARSE: usize = 8;

/// The tables.
#[derive(Debug, Clone)]
pub(crate) struct Response {
    pub(crate) tracks: Vec<Track>,
    /// Sum at the first node, and between nodes, mm.
    pub(crate) first: f64,
    pub(crate) step: f64,
    fine: usize,
    pub(crate) coarse: usize,
    /// Per coarse node, track and track: covariance due to all that stays.
    base: Vec<f64>,
    /// Per coarse node, track and entry of the beliefs: covariance of the entry with what stays.
    tie: Vec<f64>,
    entries: usize,
}

/// A bay that looser than this is not looked at further, mm.
const LOOSE: f64 = 0.3;
/// Nor is a sum this far above the present one, mm, where nothing becomes solid before.
const FAR: f64 = 3.0;

pub(crate) struct Asked<'a> {
    pub(crate) reduced: &'a Reduced,
    pub(crate) layout: &'a Layout,
    /// What to follow, in which condition, with which aim.
    pub(crate) tracks: Vec<(TrackKind, usize, Option<Aim>)>,
    /// Beliefs' entry of each dimension of the whole pack.
    pub(crate) entry: &'a [usize],
    pub(crate) beliefs: &'a Beliefs,
    /// Sums of the pieces now in each zone, mm.
    pub(crate) now: Vec<f64>,
}

/// Dimension values of the reduced pack with the given sums of the zones.
fn values(asked: &Asked<'_>, sums: &[f64]) -> Vec<f64> {
    let mut x: Vec<f64> = asked.entry.iter().map(|&entry| asked.beliefs.mean(entry)).collect();
    x.extend_from_slice(sums);
    x
}

fn quantity(kind: TrackKind, layout: &Layout) -> Option<Quantity> {
    match kind {
        TrackKind::Offset(t) => Some(Quantity::Offset { bay: 0, valve: layout.targets[t].valve }),
        TrackKind::Preload => Some(Quantity::Preload { bay: 0 }),
        TrackKind::Sum | TrackKind::Excess => None,
    }
}

/// Interference less room, mm, whether the bay can be assembled or not.
fn excess(pack: &Pack, condition: usize, x: &[f64]) -> f64 {
    match pack.equilibrium(0, condition, x) {
        Ok(state) => state.interference - state.room,
        Err(refused) => refused.interference - refused.room,
    }
}

/// Its derivatives to the first `dimensions` dimensions: it is linear in nearly all of them, so central differences do.
fn excess_gradient(pack: &Pack, condition: usize, x: &[f64], dimensions: usize) -> Vec<f64> {
    let mut at = x.to_vec();
    (0..dimensions)
        .map(|d| {
            let step = 1e-5 * x[d].abs().max(1e-2);
            at[d] = x[d] + step;
            let up = excess(pack, condition, &at);
            at[d] = x[d] - step;
            let down = excess(pack, condition, &at);
            at[d] = x[d];
            let slope = (up - down) / (2.0 * step);
            // What is left of rounding in dimensions that do not matter.
            if slope.is_finite() && slope.abs() > 1e-7 { slope } else { 0.0 }
        })
        .collect()
}

/// Thermal growth of the pieces in a condition.
fn growth(pack: &Pack, condition: usize, expansion: f64) -> f64 {
    1.0 + expansion * (pack.conditions[condition].temperature - pack.reference_temperature)
}

impl Response {
    /// # Errors
    ///
    /// [`StockError::CannotAssemble`] where the bay as it is now cannot exist by the model.
    pub(crate) fn new(asked: &Asked<'_>) -> Result<Self, StockError> {
        let pack = &asked.reduced.pack;
        let now: f64 = asked.now.iter().sum();
        let fails = || StockError::CannotAssemble { bay: pack.bays[0].name.clone() };
        let spread_out = |sum: f64| -> Vec<f64> {
            let zones = asked.now.len();
            if now > 0.0 { asked.now.iter().map(|s| s / now * sum).collect() } else { vec![sum / zones as f64; zones] }
        };
        let (mut low, mut high) = (now - LOOSE, now + FAR);
        for condition in 0..pack.conditions.len() {
            let state = pack.equilibrium(0, condition, &values(asked, &spread_out(now))).map_err(|_| fails())?;
            let growth = growth(pack, condition, asked.reduced.expansion);
            low = low.min(now - state.interference / growth - LOOSE);
            high = high.min(now + (state.room - state.interference) / growth);
        }
        // The last node lies just inside what can be assembled.
        let (low, high) = (low.max(now - FAR).max(0.0), (high - 1e-9).max(now));
        let coarse = (((high - low) / 0.032).ceil() as usize).clamp(4, 48);
        let fine = coarse * FINE_PER_COARSE;
        let step = ((high - low) / fine as f64).max(1e-9);
        let entries = asked.beliefs.len();
        let n = asked.tracks.len();
        let mut tracks: Vec<Track> = asked
            .tracks
            .iter()
            .map(|&(kind, condition, aim)| Track {
                kind,
                condition,
                aim,
                growth: if matches!(kind, TrackKind::Offset(_)) {
                    growth(pack, condition, asked.reduced.expansion)
                } else {
                    0.0
                },
                value: Vec::with_capacity(fine + 1),
                slope: Vec::with_capacity(fine + 1),
                half_range: Vec::with_capacity(fine + 1),
            })
            .collect();
        let mut base = vec![0.0; (coarse + 1) * n * n];
        let mut tie = vec![0.0; (coarse + 1) * n * entries];
        let mut gradient = vec![0.0; pack.dimensions.len()];
        let last_sum = asked.reduced.first_sum + asked.layout.zones - 1;
        let present = values(asked, &spread_out(now));
        let excess_gradients: Vec<Vec<f64>> = tracks
            .iter()
            .map(|track| match track.kind {
                TrackKind::Excess => excess_gradient(pack, track.condition, &present, asked.reduced.first_sum),
                _ => Vec::new(),
            })
            .collect();
        for node in 0..=fine {
            let sum = low + step * node as f64;
            let sums = spread_out(sum);
            let x = values(asked, &sums);
            let mut gradients: Vec<Vec<(usize, f64)>> = Vec::with_capacity(n);
            for (track, excess_gradient) in tracks.iter_mut().zip(&excess_gradients) {
                if track.kind == TrackKind::Excess {
                    track.value.push(excess(pack, track.condition, &x));
                    track.slope.push(growth(pack, track.condition, asked.reduced.expansion));
                    track.half_range.push(0.0);
                    let used = excess_gradient.iter().enumerate().filter(|&(_, &g)| g != 0.0);
                    gradients.push(used.map(|(d, &g)| (asked.entry[d], g)).collect());
                    continue;
                }
                let Some(quantity) = quantity(track.kind, asked.layout) else {
                    track.value.push(sum);
                    track.slope.push(1.0);
                    track.half_range.push(0.0);
                    gradients.push(Vec::new());
                    continue;
                };
                let value = pack.gradient(&quantity, track.condition, &x, &mut gradient).ok_or_else(fails)?;
                let prefix = match track.kind {
                    TrackKind::Offset(t) => {
                        sums[..=asked.layout.targets[t].boundary].iter().sum::<f64>() * track.growth
                    }
                    _ => 0.0,
                };
                track.value.push(value - prefix);
                track.slope.push(gradient[last_sum]);
                let ends = pack.evaluate(&quantity, track.condition, &x).ends().ok_or_else(fails)?;
                track.half_range.push(0.5 * (ends.1 - ends.0));
                if node % FINE_PER_COARSE == 0 {
                    let used = gradient[..asked.reduced.first_sum].iter().enumerate().filter(|&(_, &g)| g != 0.0);
                    gradients.push(used.map(|(d, &g)| (asked.entry[d], g)).collect());
                }
            }
            if node % FINE_PER_COARSE == 0 {
                let c = node / FINE_PER_COARSE;
                for (j, g) in gradients.iter().enumerate() {
                    let row = &mut tie[(c * n + j) * entries..][..entries];
                    for &(entry, weight) in g {
                        for (e, t) in row.iter_mut().enumerate() {
                            *t += weight * asked.beliefs.covariance(entry, e);
                        }
                    }
                    for (k, h) in gradients.iter().enumerate() {
                        base[(c * n + j) * n + k] = h.iter().map(|&(entry, weight)| weight * row[entry]).sum();
                    }
                }
            }
        }
        Ok(Self { tracks, first: low, step, fine, coarse, base, tie, entries })
    }

    /// Largest sum that can be assembled, mm.
    pub(crate) fn last(&self) -> f64 {
        self.first + self.step * self.fine as f64
    }

    /// Node below a sum and the share of the way to the next; None outside the tables.
    pub(crate) fn place(&self, sum: f64) -> Option<(usize, f64)> {
        let at = (sum - self.first) / self.step;
        if !(0.0..=self.fine as f64).contains(&at) {
            return None;
        }
        let node = (at as usize).min(self.fine - 1);
        Some((node, at - node as f64))
    }

    /// f or g at a place, and half the range of a loose bay there.
    pub(crate) fn value(&self, track: &Track, (node, u): (usize, f64)) -> (f64, f64) {
        let (y0, y1) = (track.value[node], track.value[node + 1]);
        let (r0, r1) = (track.half_range[node], track.half_range[node + 1]);
        if r0 > 0.0 || r1 > 0.0 {
            // The bay becomes loose hereabouts: the curve has a kink, and a cubic would overshoot it.
            return (y0 + u * (y1 - y0), r0 + u * (r1 - r0));
        }
        let (m0, m1) = (track.slope[node] * self.step, track.slope[node + 1] * self.step);
        let rise = y1 - y0;
        let (c2, c3) = (3.0 * rise - 2.0 * m0 - m1, m0 + m1 - 2.0 * rise);
        (y0 + u * (m0 + u * (c2 + u * c3)), 0.0)
    }

    /// f or g at every fine node, with the sums they belong to.
    pub(crate) fn nodes<'a>(&'a self, track: &'a Track) -> impl Iterator<Item = (f64, f64)> + 'a {
        track.value.iter().enumerate().map(|(node, &value)| (self.first + self.step * node as f64, value))
    }

    /// f or g at the fine nodes whose sums lie in a window, and one node beyond it on either side, with the sums they belong to.
    pub(crate) fn nodes_about<'a>(
        &'a self,
        track: &'a Track,
        (low, high): (f64, f64),
    ) -> impl Iterator<Item = (f64, f64)> + 'a {
        let at = |sum: f64| ((sum - self.first) / self.step).clamp(-1.0, self.fine as f64 + 1.0);
        let from = ((at(low) - 1.0).floor().max(0.0) as usize).min(self.fine);
        let to = ((at(high) + 1.0).ceil().max(0.0) as usize).min(self.fine);
        (from..=to.max(from)).map(|node| (self.first + self.step * node as f64, track.value[node]))
    }

    /// The coarse node below a place and the share of the way to the next.
    pub(crate) fn coarse_place((node, u): (usize, f64)) -> (usize, f64) {
        (node / FINE_PER_COARSE, ((node % FINE_PER_COARSE) as f64 + u) / FINE_PER_COARSE as f64)
    }

    /// The coarse nodes between which the scatter at the sums of a window is interpolated.
    pub(crate) fn coarse_nodes(&self, (low, high): (f64, f64)) -> std::ops::RangeInclusive<usize> {
        let at = |sum: f64| (sum - self.first) / (self.step * FINE_PER_COARSE as f64);
        let last = self.coarse as f64;
        at(low).floor().clamp(0.0, last) as usize..=at(high).ceil().clamp(0.0, last) as usize
    }

    /// Slope of f or g at a coarse node.
    pub(crate) fn slope(&self, track: &Track, coarse: usize) -> f64 {
        track.slope[coarse * FINE_PER_COARSE]
    }

    pub(crate) fn base(&self, coarse: usize, j: usize, k: usize) -> f64 {
        let n = self.tracks.len();
        self.base[(coarse * n + j) * n + k]
    }

    pub(crate) fn tie(&self, coarse: usize, j: usize, entry: usize) -> f64 {
        self.tie[(coarse * self.tracks.len() + j) * self.entries + entry]
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]

    use super::Aim;

    /// Two limits: half their distance counts as 1. One limit: a tenth of it does, on either side, and nothing inside it is a miss.
    #[test]
    fn what_counts_as_one_half_width() {
        let both = Aim::new(Some(200.0), Some(520.0), None).unwrap();
        assert!((both.target, both.half_width) == (360.0, 160.0) && (both.miss(520.0) - 1.0).abs() < 1e-12);
        for (lower, upper, inside, outside) in [(Some(200.0), None, 900.0, 180.0), (None, Some(200.0), 10.0, 220.0)] {
            let one = Aim::new(lower, upper, None).unwrap();
            assert!((one.half_width - 20.0).abs() < 1e-12 && one.miss(inside) == 0.0, "{one:?}");
            assert!((one.miss(outside) - 1.0).abs() < 1e-12, "{one:?}");
            assert!((Aim::new(lower, upper, Some(300.0)).unwrap().miss(340.0) - 4.0).abs() < 1e-12);
        }
        // A limit of 0 has a width all the same.
        assert!((Aim::new(Some(0.0), None, None).unwrap().half_width - 1e-3).abs() < 1e-15);
        assert!(Aim::new(None, None, Some(1.0)).is_none());
    }
}
