//! Which piece to measure first: the one whose reading is expected to improve the choice most.
//!
//! Value of information (H. Raiffa and R. Schlaifer, Applied Statistical Decision Theory, 1961: preposterior analysis): with y the reading
//! a piece will give,
//!
//! gain = E_y[ max over builds of score(build | y) ] − max over builds of score(build)
//!
//! y is normal with the piece's present mean and variance; the expectation is by Gauss–Hermite quadrature with 7 points, the builds are the best of
//! the search. Their means and covariances given y follow from the joint normal in closed form.
//!
//! Where no reading can change the choice the pieces of the advised build are listed all the same, by how much of the scatter each takes away: every
//! piece is measured before it is fitted.

use super::Bench;
use super::build::MEASURED_SD;
use crate::objective::Objective;
use crate::search::{Found, Problem};

/// A piece that is worth measuring.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasureFirst {
    /// Its label.
    pub name: String,
    /// Row of the drawer; None: it is in the bay.
    pub row: Option<usize>,
    /// What is known of its thickness: mean, mm.
    pub thickness: f64,
    /// And standard deviation, mm.
    pub sd: f64,
    /// Expected gain of the best build's score; 0: no reading would change the choice.
    pub gain: f64,
    /// The largest share of a quantity's variance in the advised build that its reading would take away.
    pub scatter_removed: f64,
    /// Chance of the best build without the measurement (every rocker of the bay inside).
    pub chance_now: f64,
    /// Expected chance of the best build with it.
    pub chance_then: f64,
}

/// Abscissas and weights for ∫ φ(z) f(z) dz: Abramowitz and Stegun, table 25.10, rescaled.
const HERMITE: [(f64, f64); 7] = [
    (0.0, 0.457_142_857_142_857_1),
    (1.154_405_394_739_968, 0.240_123_178_605_012_6),
    (-1.154_405_394_739_968, 0.240_123_178_605_012_6),
    (2.366_759_410_734_541, 0.030_757_123_967_586_5),
    (-2.366_759_410_734_541, 0.030_757_123_967_586_5),
    (3.750_439_717_725_742, 0.000_548_268_855_972_2),
    (-3.750_439_717_725_742, 0.000_548_268_855_972_2),
];

/// A gain below this is not told, in chance.
const LEAST_GAIN: f64 = 1e-4;

/// A build's moments, once for all candidates.
struct Known {
    members: Vec<crate::objective::Member>,
    mean: Vec<f64>,
    half: Vec<f64>,
    covariance: Vec<f64>,
    touched: usize,
    /// Zone of one piece of each kind it uses.
    uses: Vec<(usize, usize)>,
    stays: Vec<bool>,
}

/// Something that may be measured.
struct Unmeasured {
    name: String,
    row: Option<usize>,
    kind: Option<usize>,
    fitted: Option<usize>,
    entry: usize,
    own: f64,
    thickness: f64,
}

impl Bench {
    pub(super) fn measure_first(
        &self,
        objective: &Objective<'_>,
        problem: &Problem<'_>,
        found: &[Found],
        advised: Option<Found>,
        u: f64,
    ) -> Vec<MeasureFirst> {
        let tracks = &objective.limited;
        let others = found.iter().filter(|&found| advised.as_ref() != Some(found));
        let builds: Vec<Known> = advised
            .iter()
            .chain(others)
            .filter(|found| found.free.is_none())
            .filter_map(|found| {
                let members = problem.members(found);
                let moments = objective.moments(&members, tracks)?;
                let uses = found
                    .added
                    .iter()
                    .enumerate()
                    .flat_map(|(zone, kinds)| kinds.iter().map(move |&kind| (kind, zone)));
                Some(Known {
                    members,
                    mean: moments.mean,
                    half: moments.half,
                    covariance: moments.covariance,
                    touched: found.touched,
                    uses: uses.collect(),
                    stays: found.fates.iter().map(|&fate| fate != crate::search::Fate::Out).collect(),
                })
            })
            .collect();
        let judge = |known: &Known, mean: &[f64], covariance: &[f64]| {
            objective.judge_moments(mean, &known.half, covariance, known.touched)
        };
        let Some(now) = builds
            .iter()
            .map(|known| judge(known, &known.mean, &known.covariance))
            .max_by(|a, b| a.score.total_cmp(&b.score))
        else {
            return Vec::new();
        };
        let mut first: Vec<MeasureFirst> = self
            .unmeasured(problem)
            .into_iter()
            .filter(|piece| {
                builds.iter().any(|known| {
                    piece.kind.is_some_and(|kind| known.uses.iter().any(|&(k, _)| k == kind))
                        || piece.fitted.is_some_and(|f| known.stays[f])
                })
            })
            .filter_map(|piece| {
                let n = tracks.len();
                let variance = self.beliefs.covariance(piece.entry, piece.entry) + piece.own + u * u;
                // Per build: covariance of every track with the reading, and the covariance that is left after it.
                let after: Vec<(Vec<f64>, Vec<f64>)> = builds
                    .iter()
                    .map(|known| {
                        let mut tie =
                            objective.ties(&known.members, tracks, piece.entry).unwrap_or_else(|| vec![0.0; n]);
                        let used = known.uses.iter().find(|&&(kind, _)| Some(kind) == piece.kind);
                        if let Some(levers) = used.and_then(|&(_, zone)| objective.levers(&known.members, tracks, zone))
                        {
                            tie.iter_mut().zip(levers).for_each(|(tie, lever)| *tie += lever * piece.own);
                        }
                        let mut covariance = known.covariance.clone();
                        for j in 0..n {
                            for k in 0..n {
                                covariance[j * n + k] -= tie[j] * tie[k] / variance;
                            }
                        }
                        (tie, covariance)
                    })
                    .collect();
                let (mut score, mut chance) = (0.0, 0.0);
                let mut mean = vec![0.0; n];
                for (z, weight) in HERMITE {
                    let best = builds
                        .iter()
                        .zip(&after)
                        .map(|(known, (tie, covariance))| {
                            for (j, m) in mean.iter_mut().enumerate() {
                                *m = known.mean[j] + z * tie[j] / variance.sqrt();
                            }
                            judge(known, &mean, covariance)
                        })
                        .max_by(|a, b| a.score.total_cmp(&b.score))?;
                    score += weight * best.score;
                    chance += weight * best.chance_all;
                }
                let gain = (score - now.score).max(0.0);
                // The advised build comes first.
                let ((tie, _), advised) = (&after[0], &builds[0]);
                let part = |j: usize| tie[j] * tie[j] / (variance * advised.covariance[j * n + j]).max(1e-30);
                let scatter_removed = (0..n).map(part).fold(0.0, f64::max);
                let is_used = piece.kind.is_some_and(|kind| advised.uses.iter().any(|&(k, _)| k == kind));
                (gain > LEAST_GAIN || is_used).then(|| MeasureFirst {
                    name: piece.name,
                    row: piece.row,
                    thickness: piece.thickness,
                    sd: (variance - u * u).sqrt(),
                    gain: if gain > LEAST_GAIN { gain } else { 0.0 },
                    scatter_removed,
                    chance_now: now.chance_all,
                    chance_then: chance,
                })
            })
            .collect();
        first.sort_by(|a, b| {
            let by_scatter = || b.scatter_removed.total_cmp(&a.scatter_removed);
            b.gain.total_cmp(&a.gain).then_with(by_scatter).then_with(|| a.name.cmp(&b.name))
        });
        first
    }

    fn unmeasured(&self, problem: &Problem<'_>) -> Vec<Unmeasured> {
        let drawer = problem.shelf.kinds.iter().enumerate().filter_map(|(k, kind)| {
            let piece = &self.drawer[kind.row];
            let entry = kind.entry.filter(|_| piece.u.is_none())?;
            Some(Unmeasured {
                name: piece.name.clone(),
                row: Some(kind.row),
                kind: Some(k),
                fitted: None,
                entry,
                own: kind.own,
                thickness: kind.thickness,
            })
        });
        let bay = self.layout.fitted.iter().enumerate().filter_map(|(f, fitted)| {
            let entry = self.entry[fitted.dimension];
            (self.beliefs.covariance(entry, entry) > MEASURED_SD * MEASURED_SD).then(|| Unmeasured {
                name: fitted.name.clone(),
                row: None,
                kind: None,
                fitted: Some(f),
                entry,
                own: 0.0,
                thickness: self.beliefs.mean(entry),
            })
        });
        drawer.chain(bay).collect()
    }
}
