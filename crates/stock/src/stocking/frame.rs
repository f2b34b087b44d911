//! A bay as a stocking question sees it: two sides of a rocker, the pieces on them, and how far offset and sum may be off.
//!
//! The rules are those of the search on the bench: what lies between the rocker and the face it rests on moves it, the sum of everything sets the
//! preload, a pair beside a spring washer is exchanged both at once, at most four pieces are added on a side. Limits of offset and preload in
//! all conditions are brought to limits of the offset and of the sum as measured cold, about the present state.
//!
//! A spring washer presses the rocker away from itself. With the spring washer on the right the pieces on the left move the rocker, and those on the
//! right only fill; with it on the left it is the other way round, and the frame looks at the bay from behind: sides changed, offsets with
//! the other sign. With springs on both sides each piece moves the rocker a little:
//!
//! offset = (1 + lean)·(change of the left sum) + lean·(change of the right sum)

use super::demand::Job;
use crate::bench::Bench;
use crate::error::{StockError, within};
use crate::layout::MOST_IN_A_PLACE;
use crate::objective::Weights;
use crate::response::Follows;

/// A place that must get a piece where its flat washers come out.
#[derive(Debug, Clone, PartialEq)]
pub struct SideSeat {
    /// The flat washers there: indices into [`Side::fitted`].
    pub washers: Vec<usize>,
    /// All pieces there thick enough to stand for them.
    pub stand_ins: Vec<usize>,
    /// The piece that comes is at least this thick, mm.
    pub least: f64,
}

/// One side of the rocker.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// Thicknesses of the pieces there now, mm.
    pub fitted: Vec<f64>,
    /// They come out together or not at all (a pair beside a spring washer).
    pub together: bool,
    /// Places of flat washers.
    pub seats: Vec<SideSeat>,
    /// Most pieces that may be added.
    pub room: usize,
}

/// What every job has in common.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// The side that moves the rocker: left of it, unless [`Frame::mirrored`].
    pub left: Side,
    /// The other.
    pub right: Side,
    /// The bay is looked at from behind: the rocker rests on what lies to its right.
    pub mirrored: bool,
    /// ∂(offset)/∂(right sum), in [−0.5, 0]; 0 where all spring washers are on one side of the rocker.
    pub lean: f64,
    /// The offset aimed at, as measured, mm.
    pub aim: f64,
    /// Permitted offset minus its aim, mm.
    pub offset: (f64, f64),
    /// Permitted sum of the pieces minus the present one (grown by the job's squeeze), mm.
    pub sum: (f64, f64),
    /// The sum's own aim, minus the present one, mm.
    pub sum_aim: f64,
    /// Standard deviation of the offset that is not the new pieces': the reading, mm.
    pub offset_sd: f64,
    /// Standard deviation of the squeeze that is not the pieces': span, rocker, spring washer, mm of the sum.
    pub sum_sd: f64,
    /// A build with at least this chance of being inside both is good enough.
    pub chance: f64,
    /// What a part touched and a distance from the aim are worth.
    pub weights: Weights,
}

impl Frame {
    /// # Errors
    ///
    /// [`StockError`] where limits are not in order, a scatter or a chance cannot be, NaN.
    pub fn check(&self) -> Result<(), StockError> {
        for (what, (lower, upper)) in [("offset", self.offset), ("sum", self.sum)] {
            within(format!("width of the {what}'s limits"), upper - lower, "mm", 1e-6..=100.0, "above 0")?;
        }
        within("lean of the rocker on its springs", self.lean, "", -0.5 - 1e-9..=1e-9, "between -0.5 and 0")?;
        within("scatter of the offset", self.offset_sd, "mm", 0.0..=10.0, "between 0 and 10")?;
        within("scatter of the sum", self.sum_sd, "mm", 0.0..=10.0, "between 0 and 10")?;
        within("wanted chance", self.chance, "", 0.5..=1.0, "between 0.5 and 1")?;
        for side in [&self.left, &self.right] {
            if side.fitted.len() > 6 || side.room > MOST_IN_A_PLACE {
                let count = side.fitted.len().max(side.room);
                return Err(StockError::Count { what: "pieces on a side", count, expected: "at most 6 now, 4 added" });
            }
            for &t in &side.fitted {
                within("thickness of a piece in the bay", t, "mm", 0.001..=50.0, "between 0.001 and 50")?;
            }
        }
        Ok(())
    }

    /// Sum of all pieces now in the bay, mm.
    pub(crate) fn old_sum(&self) -> f64 {
        self.left.fitted.iter().chain(&self.right.fitted).sum()
    }

    pub(crate) fn old_left(&self) -> f64 {
        self.left.fitted.iter().sum()
    }

    /// A job as this frame sees it: from behind where it is mirrored, and with the squeeze that worn faces have taken.
    pub(crate) fn seen(&self, job: Job) -> Job {
        let correction = if self.mirrored { -job.correction } else { job.correction };
        // Wear moves the rocker away from its spring washer, so only corrections back can stem from it.
        let worn = job.worn_faces * correction.max(0.0);
        Job { correction, squeeze: job.squeeze + worn, worn_faces: 0.0 }
    }
}

impl Bench {
    /// The frame of jobs on the first named valve, whose offsets are read with uncertainty `u`, mm; a job is done where the chance of both
    /// being inside is at least `chance`.
    ///
    /// Pieces beyond the neighbouring rockers stay: they belong to those.
    ///
    /// # Errors
    ///
    /// [`StockError`]: the bay cannot be assembled, or no sum keeps the preload inside its limits.
    pub fn frame(&self, u: f64, chance: f64, weights: Weights) -> Result<Frame, StockError> {
        let reduced = self.reduced()?;
        let response = self.response(&reduced)?;
        let layout = self.layout();
        let target = self.first_named();
        let zone = layout.targets[target].boundary;
        let side = |zone: usize| {
            let fitted: Vec<usize> = (0..layout.fitted.len()).filter(|&f| layout.fitted[f].zone == zone).collect();
            let together = fitted.iter().any(|&f| layout.fitted[f].partner.is_some());
            let out = vec![false; layout.fitted.len()];
            let seats = layout.seats(&out, |f| self.thickness_of(f)).into_iter().filter(|seat| seat.zone == zone);
            let seats = seats.map(|seat| {
                let there = |wanted: &dyn Fn(usize) -> bool| -> Vec<usize> {
                    let at = |&(_, &f): &(usize, &usize)| layout.fitted[f].gap == seat.gap && wanted(f);
                    fitted.iter().enumerate().filter(at).map(|(k, _)| k).collect()
                };
                SideSeat {
                    washers: there(&|f| layout.fitted[f].washer),
                    stand_ins: there(&|f| self.thickness_of(f) >= seat.least),
                    least: seat.least,
                }
            });
            Side {
                fitted: fitted.iter().map(|&f| self.thickness_of(f)).collect(),
                together,
                seats: seats.collect(),
                room: layout.capacity(zone, &out).min(MOST_IN_A_PLACE),
            }
        };
        let members = self.members_now();
        let present: f64 = members.iter().map(|member| member.thickness).sum();
        let place = response.place(present).ok_or_else(|| StockError::CannotAssemble { bay: self.bay().to_owned() })?;
        let prefix: f64 = members.iter().filter(|member| member.zone <= zone).map(|member| member.thickness).sum();
        // Offsets: every condition's limits, brought to the first condition that has limits.
        let offsets: Vec<_> = response.tracks.iter().filter(|track| track.follows == Follows::Offset(target)).collect();
        let mean = |track: &crate::response::Track| response.value(track, place).0 + track.growth * prefix;
        let base = offsets.first().map_or(0.0, |track| mean(track));
        let (mut lower, mut upper, mut aims) = (f64::NEG_INFINITY, f64::INFINITY, Vec::new());
        for track in &offsets {
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
        let aim = aims.iter().sum::<f64>() / aims.len().max(1) as f64;
        // Sums: where the preload is inside in every condition, and where it is nearest to its aims.
        let total: Vec<usize> = (0..response.tracks.len()).filter(|&j| response.tracks[j].follows.is_total()).collect();
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        let mut nearest = (f64::INFINITY, present);
        let steps = 4000;
        for k in 0..=steps {
            let sum = response.first + (response.last() - response.first) * f64::from(k) / f64::from(steps);
            let Some(at) = response.place(sum) else { continue };
            let (mut inside, mut miss) = (true, 0.0);
            for &j in &total {
                let track = &response.tracks[j];
                if let Some(aim) = track.aim {
                    let value = response.value(track, at).0;
                    inside &= value >= aim.lower && value <= aim.upper;
                    if track.follows != Follows::Excess {
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
        if low >= high {
            let reason = "no sum of pieces keeps the preload inside its limits in every condition".to_owned();
            return Err(StockError::Pack { bay: self.bay().to_owned(), reason });
        }
        let sum_sd = total
            .iter()
            .map(|&j| {
                let (node, _) = crate::response::Response::coarse_place(place);
                let slope = response.slope(&response.tracks[j], node).abs().max(1e-9);
                response.base(node, j, j).max(0.0).sqrt() / slope
            })
            .fold(0.0, f64::max);
        let lean = offsets.first().map_or(0.0, |track| {
            let (node, _) = crate::response::Response::coarse_place(place);
            (response.slope(track, node) / track.growth).clamp(-1.0, 0.0)
        });
        let mirrored = lean < -0.5;
        let (left, right) = if mirrored { (side(zone + 1), side(zone)) } else { (side(zone), side(zone + 1)) };
        Ok(Frame {
            left,
            right,
            mirrored,
            lean: if mirrored { -1.0 - lean } else { lean },
            // From the first condition with limits to the one in which offsets are measured.
            aim: aim - base + self.present_offset(target)?,
            offset: if mirrored { (aim - upper, aim - lower) } else { (lower - aim, upper - aim) },
            sum: (low - present, high - present),
            sum_aim: nearest.1 - present,
            offset_sd: u,
            sum_sd,
            chance,
            weights,
        })
    }
}
