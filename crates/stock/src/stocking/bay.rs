//! A bay as a stocking question sees it: the two sides of a rocker, what may become of the pieces on them, and how far offset and sum may be off.
//!
//! The rules are those of the search on the bench, from the same list of choices ([`crate::search::choices`]): a piece stays, comes out, or changes sides;
//! the pair beside a spring washer is exchanged both at once; a flat washer's place keeps a piece that can stand for it; beside that at most four
//! pieces come to a side. Limits of offset and preload in all conditions are brought to limits of the offset and of the sum as
//! measured cold, about the present state.
//!
//! A spring washer presses the rocker away from itself. With the spring washer on the right the pieces on the left move the rocker, and those on the
//! right only fill; with it on the left it is the other way round, and the bay is looked at from behind: sides changed, offsets with
//! the other sign. The side that moves the rocker is the *near* one here. With springs on both sides each piece moves the rocker a little:
//!
//! offset = (1 + lean)·(change of the near sum) + lean·(change of the far sum)

use super::demand::Job;
use crate::bench::Bench;
use crate::error::{StockError, within};
use crate::layout::{Layout, MOST_IN_A_PLACE};
use crate::objective::{Member, Weights};
use crate::response::{Response, TrackKind};
use crate::search::choices::{Choice, Disposition, every_choice};
use packdrift_pack::{Bay, DimensionId, Part, PartKind, SolidKind, SpringLaw, SpringWasher, UnsettledLoad, Valve};
use packdrift_spread::NeverBinds;
use packdrift_verdict::Verdict;

/// What every job has in common.
#[derive(Debug, Clone, PartialEq)]
pub struct StockingBay {
    /// What may become of the pieces in the bay.
    choices: Vec<Choice>,
    /// The pieces now in the bay.
    fitted: Vec<Member>,
    /// Covariance of their thicknesses, row-major, mm².
    covariance: Vec<f64>,
    /// The zone whose pieces move the rocker, and the one on its other side.
    zones: (usize, usize),
    /// Most pieces that may come to the near and to the far side, from the drawer or from the other side.
    pub room: (usize, usize),
    /// The bay is looked at from behind: the rocker rests on what lies to its right.
    pub mirrored: bool,
    /// ∂(offset)/∂(far sum), in [−0.5, 0]; 0 where all spring washers are on one side of the rocker.
    pub lean: f64,
    /// The offset aimed at, as measured, mm.
    pub aim: f64,
    /// Permitted offset minus its aim, mm.
    pub offset: (f64, f64),
    /// Permitted sum of the pieces minus the present one (grown by the job's squeeze), mm.
    pub sum: (f64, f64),
    /// The sum's own aim, minus the present one, mm.
    pub sum_aim: f64,
    /// Standard deviation of the offset that is not the pieces': the reading, mm.
    pub offset_sd: f64,
    /// Standard deviation of the squeeze that is not the pieces': span, rocker, spring washer, mm of the sum.
    pub sum_sd: f64,
    /// A build with at least this chance of being inside both is good enough.
    pub chance: f64,
    /// What a part touched and a distance from the aim are worth.
    pub weights: Weights,
    /// The spring washer whose load, which a limit on preload rests on, its formula does not settle.
    pub(crate) unsettled: Option<UnsettledLoad>,
    /// What is said of limits that can never bind.
    pub(crate) never_binds: Vec<Verdict>,
}

/// What a choice leaves to chance beside the pieces that come, mm².
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Unsure {
    /// Variance of the offset: of the pieces that come out or change sides.
    pub(crate) offset: f64,
    /// Variance of the sum: of the pieces that are kept.
    pub(crate) sum: f64,
    /// Their covariance.
    pub(crate) both: f64,
}

impl StockingBay {
    /// A bay drawn in a few strokes, its pieces known exactly: `near` pieces, a rocker against them, `inner` ones, a spring washer, `outer` ones. Limits of ±0.1 mm
    /// on offset and sum, a reading and a squeeze known to 0.015 mm, a wanted chance of 0.9: set the fields to what they are.
    ///
    /// # Examples
    /// ```
    /// use packdrift_pack::SolidKind::{Shim, Washer};
    /// use packdrift_stock::StockingBay;
    /// let mut bay = StockingBay::sketch(&[(Shim, 0.40)], &[(Washer, 1.0)], &[(Washer, 1.0)]);
    /// bay.offset = (-0.08, 0.08);
    /// assert!(bay.check().is_ok());
    /// ```
    pub fn sketch(near: &[(SolidKind, f64)], inner: &[(SolidKind, f64)], outer: &[(SolidKind, f64)]) -> Self {
        let bay = drawn(near, inner, outer);
        let layout = Layout::new(&bay, &[0]);
        let thickness: Vec<f64> = near.iter().chain(inner).chain(outer).map(|(_, t)| *t).collect();
        let member =
            |(f, &thickness): (&crate::layout::Fitted, &f64)| Member { zone: f.zone, entry: None, thickness, own: 0.0 };
        let fitted: Vec<Member> = layout.fitted.iter().zip(&thickness).map(member).collect();
        Self {
            choices: every_choice(&layout, &fitted, &(0..2)),
            covariance: vec![0.0; fitted.len() * fitted.len()],
            fitted,
            zones: (0, 1),
            room: (MOST_IN_A_PLACE, MOST_IN_A_PLACE),
            mirrored: false,
            lean: 0.0,
            aim: 1.0,
            offset: (-0.1, 0.1),
            sum: (-0.1, 0.1),
            sum_aim: 0.0,
            offset_sd: 0.015,
            sum_sd: 0.015,
            chance: 0.9,
            weights: Weights::default(),
            unsettled: None,
            never_binds: Vec::new(),
        }
    }

    /// # Errors
    ///
    /// [`StockError`] where limits are not in order, a scatter or a chance cannot be, NaN.
    pub fn check(&self) -> Result<(), StockError> {
        for (what, (lower, upper)) in [("offset", self.offset), ("sum", self.sum)] {
            within(
                format!("width of the {what}'s limits"),
                upper - lower,
                "mm",
                1e-6..=100.0,
                "between 0.000001 and 100",
            )?;
        }
        within("lean of the rocker on its springs", self.lean, "", -0.5 - 1e-9..=1e-9, "between -0.5 and 0")?;
        within("scatter of the offset", self.offset_sd, "mm", 0.0..=10.0, "between 0 and 10")?;
        within("scatter of the sum", self.sum_sd, "mm", 0.0..=10.0, "between 0 and 10")?;
        within("wanted chance", self.chance, "", 0.5..=1.0, "between 0.5 and 1")?;
        for member in &self.fitted {
            within("thickness of a piece in the bay", member.thickness, "mm", 0.001..=50.0, "between 0.001 and 50")?;
        }
        let most = self.room.0.max(self.room.1);
        if most > MOST_IN_A_PLACE {
            return Err(StockError::Count {
                what: "pieces that may come to a side",
                count: most,
                expected: "at most 4",
            });
        }
        Ok(())
    }

    /// Sum of the pieces now on both sides, mm.
    pub(crate) fn old_sum(&self) -> f64 {
        self.sum_in(self.zones.0) + self.sum_in(self.zones.1)
    }

    /// Sum of the pieces now on the near side, mm.
    pub(crate) fn old_near(&self) -> f64 {
        self.sum_in(self.zones.0)
    }

    fn sum_in(&self, zone: usize) -> f64 {
        self.fitted.iter().filter(|member| member.zone == zone).map(|member| member.thickness).sum()
    }

    /// Every choice of what stays, with the zones of the near and the far side.
    pub(crate) fn choices(&self) -> (&[Choice], (usize, usize)) {
        (&self.choices, self.zones)
    }

    /// What a choice leaves to chance.
    pub(crate) fn unsure(&self, choice: &Choice) -> Unsure {
        let slope = |zone: usize| match zone {
            z if z == self.zones.0 => 1.0 + self.lean,
            z if z == self.zones.1 => self.lean,
            _ => 0.0,
        };
        // By how much offset and sum change with what a piece really measures.
        let of = |(member, disposition): (&Member, &Disposition)| match *disposition {
            Disposition::Stays => (0.0, 1.0),
            Disposition::Out => (-slope(member.zone), 0.0),
            Disposition::Moves(to) => (slope(to) - slope(member.zone), 1.0),
        };
        let weights: Vec<(f64, f64)> = self.fitted.iter().zip(&choice.dispositions).map(of).collect();
        let n = weights.len();
        let mut unsure = Unsure::default();
        for (i, a) in weights.iter().enumerate() {
            for (j, b) in weights.iter().enumerate() {
                let c = self.covariance[i * n + j];
                unsure.offset += a.0 * b.0 * c;
                unsure.sum += a.1 * b.1 * c;
                unsure.both += a.0 * b.1 * c;
            }
        }
        unsure
    }

    /// A job as this bay sees it: from behind where it is mirrored, and with the squeeze that worn faces have taken.
    pub(crate) fn seen(&self, job: Job) -> Job {
        let correction = if self.mirrored { -job.correction } else { job.correction };
        // Wear moves the rocker away from its spring washer, so only corrections back can stem from it.
        let worn = job.worn_faces * correction.max(0.0);
        Job { correction, squeeze: job.squeeze + worn, worn_faces: 0.0 }
    }
}

/// The parts of a sketch.
fn drawn(near: &[(SolidKind, f64)], inner: &[(SolidKind, f64)], outer: &[(SolidKind, f64)]) -> Bay {
    let id = DimensionId(0);
    let part = |name: String, kind| Part { name, kind, expansion: 0.0 };
    let solids = |name: &str, pieces: &[(SolidKind, f64)]| -> Vec<Part> {
        let solid = |(k, &(kind, _)): (usize, &(SolidKind, f64))| {
            part(format!("{name} {k}"), PartKind::Solid { kind, thickness: id, bedding: None })
        };
        pieces.iter().enumerate().map(solid).collect()
    };
    let law = SpringLaw::Linear { rate: id, free_height: id, solid_height: None };
    let spring = part("spring washer".to_owned(), PartKind::Spring(SpringWasher { law, friction: None, set: None }));
    let mut parts = solids("near", near);
    let rocker = parts.len();
    parts.push(part("rocker".to_owned(), PartKind::Rocker { width: id, adjuster: id }));
    parts.extend(solids("inner", inner));
    parts.push(spring);
    parts.extend(solids("outer", outer));
    let valve = Valve { name: "valve".to_owned(), rocker, stem: id, contact: None };
    Bay { name: "sketch".to_owned(), span: id, expansion: 0.0, parts, valves: vec![valve] }
}

impl Bench {
    /// The bay of jobs on the first named valve, whose offsets are read with uncertainty `u`, mm; a job is done where the chance of offset and
    /// preload both being inside is at least `chance`.
    ///
    /// Pieces beyond the neighbouring rockers stay: they belong to those.
    ///
    /// # Errors
    ///
    /// [`StockError`]: the bay cannot be assembled, or no sum keeps the preload inside its limits.
    pub fn stocking_bay(&self, u: f64, chance: f64, weights: Weights) -> Result<StockingBay, StockError> {
        let reduced = self.reduced()?;
        let response = self.response(&reduced)?;
        let layout = self.layout();
        let target = self.first_named();
        let zone = layout.targets[target].boundary;
        let fitted = self.members_now();
        let present: f64 = fitted.iter().map(|member| member.thickness).sum();
        let place = response.place(present).ok_or_else(|| StockError::CannotAssemble { bay: self.bay().to_owned() })?;
        let near_sum: f64 = fitted.iter().filter(|member| member.zone <= zone).map(|member| member.thickness).sum();
        let offsets = Offsets::new(&response, target, place, near_sum);
        let (low, high, nearest) = sums(&response, present).ok_or_else(|| StockError::Pack {
            bay: self.bay().to_owned(),
            reason: "no sum of pieces keeps the preload inside its limits in every condition".to_owned(),
        })?;
        let mirrored = offsets.lean < -0.5;
        let Offsets { aim, lower, upper, .. } = offsets;
        Ok(StockingBay {
            choices: every_choice(layout, &fitted, &(zone..zone + 2)),
            covariance: self.covariance_of(&fitted),
            zones: if mirrored { (zone + 1, zone) } else { (zone, zone + 1) },
            fitted,
            room: (MOST_IN_A_PLACE, MOST_IN_A_PLACE),
            mirrored,
            lean: if mirrored { -1.0 - offsets.lean } else { offsets.lean },
            // From the first condition with limits to the one in which offsets are measured.
            aim: aim - offsets.base + self.present_offset(target)?,
            offset: if mirrored { (aim - upper, aim - lower) } else { (lower - aim, upper - aim) },
            sum: (low - present, high - present),
            sum_aim: nearest - present,
            offset_sd: u,
            sum_sd: squeeze_sd(&response, place),
            chance,
            weights,
            unsettled: self.unsettled_load().filter(|_| self.limits_preload()),
            never_binds: self.never_binds().iter().map(NeverBinds::verdict_without_figures).collect(),
        })
    }
}

/// The offset's limits and aim, brought to the first condition that has limits, mm.
pub(crate) struct Offsets {
    /// In that condition, now.
    pub(crate) base: f64,
    pub(crate) lower: f64,
    pub(crate) upper: f64,
    pub(crate) aim: f64,
    /// ∂(offset)/∂(sum).
    pub(crate) lean: f64,
}

impl Offsets {
    pub(crate) fn new(response: &Response, target: usize, place: (usize, f64), near_sum: f64) -> Self {
        let tracks: Vec<_> = response.tracks.iter().filter(|track| track.kind == TrackKind::Offset(target)).collect();
        let mean = |track: &crate::response::Track| response.value(track, place).0 + track.growth * near_sum;
        let base = tracks.first().map_or(0.0, |track| mean(track));
        let (mut lower, mut upper, mut aims) = (f64::NEG_INFINITY, f64::INFINITY, Vec::new());
        for track in &tracks {
            if let Some(aim) = track.aim {
                let shift = mean(track) - base;
                lower = lower.max(aim.lower - shift);
                upper = upper.min(aim.upper - shift);
                let middle = if aim.target.is_nan() {
                    if aim.lower.is_finite() { aim.lower + aim.half_width } else { aim.upper - aim.half_width }
                } else {
                    aim.target
                };
                aims.push(middle - shift);
            }
        }
        let lean = tracks.first().map_or(0.0, |track| {
            let (node, _) = Response::coarse_place(place);
            (response.slope(track, node) / track.growth).clamp(-1.0, 0.0)
        });
        Self { base, lower, upper, aim: aims.iter().sum::<f64>() / aims.len().max(1) as f64, lean }
    }
}

/// Steps in which the sums are gone through.
const STEPS: u32 = 4000;

/// The sums with which the preload is inside in every condition, least and largest, and the one nearest to its aims, mm.
pub(crate) fn sums(response: &Response, present: f64) -> Option<(f64, f64, f64)> {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut nearest = (f64::INFINITY, present);
    for k in 0..=STEPS {
        let sum = response.first + (response.last() - response.first) * f64::from(k) / f64::from(STEPS);
        let Some(at) = response.place(sum) else { continue };
        let (mut inside, mut miss) = (true, 0.0);
        for track in response.tracks.iter().filter(|track| track.kind.is_total()) {
            if let Some(aim) = track.aim {
                let value = response.value(track, at).0;
                inside &= value >= aim.lower && value <= aim.upper;
                if track.kind != TrackKind::Excess {
                    miss += aim.miss(value);
                }
            }
        }
        if inside {
            (low, high) = (low.min(sum), high.max(sum));
            if miss < nearest.0 {
                nearest = (miss, sum);
            }
        }
    }
    (low < high).then_some((low, high, nearest.1))
}

/// Standard deviation of the squeeze due to all that stays whatever is fitted, mm of the sum.
fn squeeze_sd(response: &Response, place: (usize, f64)) -> f64 {
    let (node, _) = Response::coarse_place(place);
    let sd = |j: usize| {
        let slope = response.slope(&response.tracks[j], node).abs().max(1e-9);
        response.base(node, j, j).max(0.0).sqrt() / slope
    };
    let total = (0..response.tracks.len()).filter(|&j| response.tracks[j].kind.is_total());
    total.map(sd).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use packdrift_pack::SolidKind::{Shim, Washer};

    /// Wear moves a rocker away from its spring washer, so a correction towards it stems from worn faces: with the spring washer on the right that is a
    /// correction to the right, seen from behind one to the left. The sum then grows, whichever way the bay is looked at.
    #[test]
    fn worn_faces_make_the_sum_grow_for_corrections_towards_the_spring_washer() {
        let bay = StockingBay::sketch(&[(Shim, 0.40)], &[(Washer, 1.0)], &[(Washer, 1.0)]);
        for (mirrored, correction, squeeze) in
            [(false, 0.2, 0.11), (false, -0.2, 0.01), (true, -0.2, 0.11), (true, 0.2, 0.01)]
        {
            let bay = StockingBay { mirrored, ..bay.clone() };
            let seen = bay.seen(Job { correction, squeeze: 0.01, worn_faces: 0.5 });
            assert!((seen.squeeze - squeeze).abs() < 1e-12, "{mirrored} {correction}: {seen:?}");
            let towards = if mirrored { -correction } else { correction };
            assert!((seen.correction - towards).abs() < 1e-12, "{mirrored} {correction}: {seen:?}");
        }
    }
}
