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
//! Listed are the pieces of the advised build alone, also where no reading can change the choice, by how much of the scatter each takes away: every
//! piece is measured before it is fitted. What comes out of the bay is not measured for this.

use super::{Bench, Build, MEASURED_SD};
use crate::objective::{Judged, Member, Moments, Objective};
use crate::search::{Disposition, Found, Problem};

/// A piece of the advised build that is worth measuring before it is fitted.
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
    /// By how much the chance of the best build by score is expected to rise, since its reading may choose another one; 0 where it would not. (No build's own
    /// chance rises: the mean over the readings to come of what it is then is what it is now.)
    pub gain_in_chance: f64,
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
    members: Vec<Member>,
    moments: Moments,
    touched: usize,
    /// Kind and zone of each piece it takes from the drawer.
    uses: Vec<(usize, usize)>,
}

/// Something that may be measured.
struct Unmeasured {
    name: String,
    row: Option<usize>,
    kind: Option<usize>,
    entry: usize,
    own: f64,
    thickness: f64,
}

/// The builds that a reading may choose among, the advised one first.
struct Choosing<'a> {
    objective: &'a Objective<'a>,
    builds: Vec<Known>,
}

impl Choosing<'_> {
    fn judge(&self, known: &Known, mean: &[f64], covariance: &[f64]) -> Judged {
        self.objective.judge_moments(mean, &known.moments.half, covariance, known.touched)
    }

    /// The best by score without any further reading.
    fn now(&self) -> Option<Judged> {
        let of = |known: &Known| self.judge(known, &known.moments.mean, &known.moments.covariance);
        self.builds.iter().map(of).max_by(|a, b| a.score.total_cmp(&b.score))
    }

    /// Of a build: covariance of every track with the reading of a piece, and the covariance that is left after it.
    fn after(&self, known: &Known, piece: &Unmeasured, variance: f64) -> (Vec<f64>, Vec<f64>) {
        let tracks = &self.objective.limited;
        let n = tracks.len();
        let mut tie = self.objective.ties(&known.members, tracks, piece.entry).unwrap_or_else(|| vec![0.0; n]);
        let used = known.uses.iter().find(|&&(kind, _)| Some(kind) == piece.kind);
        if let Some(levers) = used.and_then(|&(_, zone)| self.objective.levers(&known.members, tracks, zone)) {
            tie.iter_mut().zip(levers).for_each(|(tie, lever)| *tie += lever * piece.own);
        }
        let mut covariance = known.moments.covariance.clone();
        for j in 0..n {
            for k in 0..n {
                covariance[j * n + k] -= tie[j] * tie[k] / variance;
            }
        }
        (tie, covariance)
    }

    /// What the reading of a piece is worth; `variance` of the reading. None where nothing can be judged.
    fn worth(&self, piece: &Unmeasured, variance: f64) -> Option<Worth> {
        let n = self.objective.limited.len();
        let after: Vec<_> = self.builds.iter().map(|known| self.after(known, piece, variance)).collect();
        let (mut score, mut chance) = (0.0, 0.0);
        let mut mean = vec![0.0; n];
        for (z, weight) in HERMITE {
            let best = self
                .builds
                .iter()
                .zip(&after)
                .map(|(known, (tie, covariance))| {
                    for (j, m) in mean.iter_mut().enumerate() {
                        *m = known.moments.mean[j] + z * tie[j] / variance.sqrt();
                    }
                    self.judge(known, &mean, covariance)
                })
                .max_by(|a, b| a.score.total_cmp(&b.score))?;
            score += weight * best.score;
            chance += weight * best.chance_all;
        }
        let ((tie, _), advised) = (after.first()?, &self.builds[0].moments.covariance);
        let part = |j: usize| tie[j] * tie[j] / (variance * advised[j * n + j]).max(1e-30);
        Some(Worth { score, chance, scatter_removed: (0..n).map(part).fold(0.0, f64::max) })
    }
}

/// What a reading is worth.
struct Worth {
    /// Expected score of the best build.
    score: f64,
    /// Its expected chance.
    chance: f64,
    scatter_removed: f64,
}

impl Bench {
    /// The unmeasured pieces of the advised build, by what their readings are worth. `u`: of the micrometer, mm.
    pub(super) fn measure_first(
        &self,
        problem: &Problem<'_>,
        found: &[Found],
        advised: &Found,
        build: &Build,
        u: f64,
    ) -> Vec<MeasureFirst> {
        if build.is_as_now() {
            // Nothing is taken out, so nothing can be measured.
            return Vec::new();
        }
        let others = found.iter().filter(|&other| other != advised);
        let builds: Vec<Known> = std::iter::once(advised)
            .chain(others)
            .filter(|found| found.free.is_none())
            .filter_map(|found| known(problem, found))
            .collect();
        if advised.free.is_some() || builds.is_empty() {
            return Vec::new();
        }
        let choosing = Choosing { objective: problem.objective, builds };
        let Some(now) = choosing.now() else { return Vec::new() };
        let mut first: Vec<MeasureFirst> = self
            .unmeasured(problem, advised)
            .into_iter()
            .filter_map(|piece| {
                let variance = self.beliefs.covariance(piece.entry, piece.entry) + piece.own + u * u;
                let worth = choosing.worth(&piece, variance)?;
                let gain = Some(worth.score - now.score).filter(|&gain| gain > LEAST_GAIN).unwrap_or(0.0);
                let gain_in_chance = if gain > 0.0 { (worth.chance - now.chance_all).max(0.0) } else { 0.0 };
                Some(MeasureFirst {
                    name: piece.name,
                    row: piece.row,
                    thickness: piece.thickness,
                    sd: (variance - u * u).sqrt(),
                    gain,
                    scatter_removed: worth.scatter_removed,
                    gain_in_chance,
                })
            })
            .collect();
        first.sort_by(|a, b| {
            let by_scatter = || b.scatter_removed.total_cmp(&a.scatter_removed);
            b.gain.total_cmp(&a.gain).then_with(by_scatter).then_with(|| a.name.cmp(&b.name))
        });
        first
    }

    /// What the advised build takes from the drawer, moves or leaves in a bay that is open, and nobody has measured.
    fn unmeasured(&self, problem: &Problem<'_>, advised: &Found) -> Vec<Unmeasured> {
        let taken = |kind: usize| advised.added.iter().flatten().any(|&k| k == kind);
        let drawer = problem.available.kinds.iter().enumerate().filter_map(|(k, kind)| {
            let piece = &self.drawer[kind.row];
            let entry = kind.entry.filter(|_| piece.u.is_none() && taken(k))?;
            Some(Unmeasured {
                name: piece.name.clone(),
                row: Some(kind.row),
                kind: Some(k),
                entry,
                own: kind.own,
                thickness: kind.thickness,
            })
        });
        let bay = self.layout.fitted.iter().zip(&advised.dispositions).filter_map(|(fitted, &disposition)| {
            let entry = self.entry[fitted.dimension];
            let unknown = self.beliefs.covariance(entry, entry) > MEASURED_SD * MEASURED_SD;
            (unknown && disposition != Disposition::Out).then(|| Unmeasured {
                name: fitted.name.clone(),
                row: None,
                kind: None,
                entry,
                own: 0.0,
                thickness: self.beliefs.mean(entry),
            })
        });
        drawer.chain(bay).collect()
    }
}

fn known(problem: &Problem<'_>, found: &Found) -> Option<Known> {
    let members = problem.members(found);
    let moments = problem.objective.moments(&members, &problem.objective.limited)?;
    let zones = found.added.iter().enumerate();
    let uses = zones.flat_map(|(zone, kinds)| kinds.iter().map(move |&kind| (kind, zone))).collect();
    Some(Known { members, moments, touched: found.touched, uses })
}
