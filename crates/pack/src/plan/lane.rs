//! One bay in one condition for a lane of trials.

use super::work::Work;
use super::{Answer, BayPlan, Block, ContactPlan, Margins, OffsetPlan, SpringPlan, Step, Term, What, fetch};
use crate::equilibrium::{series, without_rounding};
use crate::evaluate::{ContactValues, nearest_and_farthest};
use crate::model::{DimensionId, Elastic, SpringLaw, SpringWasher};
use crate::spring::{Spring, curved, disc, wave};
use crate::stress::stress_at_height;
use packdrift_numerics::vector::widest;

/// Trials worked off together: a few dozen lanes of 64 doubles (512 bytes each) fit the first-level cache, and the loops'
/// overhead is spread over enough trials.
pub(crate) const LANES: usize = 64;

/// One number of each trial.
pub(super) type Lane = [f64; LANES];

impl BayPlan {
    /// Answers the bay's questions for trials `start..start + count`.
    pub(super) fn lane(&self, columns: &[&[f64]], start: usize, count: usize, block: &mut Block) {
        let source = Source { columns, start, count };
        self.solids(&source, &mut block.work);
        self.settle(&source, &mut block.work);
        for answer in &self.answers {
            answer.give(self, &source, block);
        }
    }

    /// Writes where the bay stands in trials `start..start + count`, after [`BayPlan::lane`].
    pub(super) fn margins(
        &self,
        columns: &[&[f64]],
        start: usize,
        count: usize,
        work: &mut Work,
        margins: &mut Margins,
    ) {
        let source = Source { columns, start, count };
        for trial in 0..count {
            let (interference, room) = (work.interference[trial], work.room[trial]);
            margins.interference[start + trial] = interference;
            margins.room_left[start + trial] = room - interference;
            margins.to_peak[start + trial] = self.peak(&source, trial, work).unwrap_or(room) - interference;
        }
    }

    /// Deflection of all spring washers together under the least of the largest loads of those discs that fall again, mm; None
    /// where no disc falls.
    fn peak(&self, source: &Source<'_, '_>, trial: usize, work: &mut Work) -> Option<f64> {
        if !self.springs.iter().any(|plan| matches!(plan.washer.law, SpringLaw::Disc { .. })) {
            return None;
        }
        let mut springs: Vec<Spring<'_>> = Vec::with_capacity(self.springs.len());
        for plan in &self.springs {
            for &column in &plan.columns {
                work.x[column] = source.value(column, trial);
            }
            springs.push(Spring::new(&plan.washer, plan.scale, &work.x)?);
        }
        let least = springs.iter().filter(|spring| spring.falls()).map(|spring| spring.peak_load).reduce(f64::min)?;
        Some(springs.iter().map(|spring| spring.deflection(least)).sum())
    }

    /// Adds the solids up, keeping the sum at each mark, and takes the span off. Four columns at a time, so that the sum is
    /// read and written a quarter as often; the order of additions stays.
    fn solids(&self, source: &Source<'_, '_>, work: &mut Work) {
        let Work { solids, copies, marks, .. } = work;
        widest(
            #[inline(always)]
            || self.add_up(source, solids, copies, marks),
        );
    }

    #[inline(always)]
    fn add_up(&self, source: &Source<'_, '_>, sum: &mut Lane, copies: &mut [Lane; 4], marks: &mut [Lane]) {
        sum.fill(0.0);
        let mut steps = self.steps.as_slice();
        loop {
            let [copy0, copy1, copy2, copy3] = &mut *copies;
            match steps {
                [Step::Add(a), Step::Add(b), Step::Add(c), Step::Add(d), rest @ ..] => {
                    let (va, vb) = (source.column(a.column, copy0), source.column(b.column, copy1));
                    let (vc, vd) = (source.column(c.column, copy2), source.column(d.column, copy3));
                    for i in 0..LANES {
                        sum[i] = sum[i] + a.scale * va[i] + b.scale * vb[i] + c.scale * vc[i] + d.scale * vd[i];
                    }
                    steps = rest;
                }
                [Step::Add(a), Step::Add(b), rest @ ..] => {
                    let (va, vb) = (source.column(a.column, copy0), source.column(b.column, copy1));
                    for i in 0..LANES {
                        sum[i] = sum[i] + a.scale * va[i] + b.scale * vb[i];
                    }
                    steps = rest;
                }
                [Step::Add(a), rest @ ..] => {
                    let va = source.column(a.column, copy0);
                    for i in 0..LANES {
                        sum[i] += a.scale * va[i];
                    }
                    steps = rest;
                }
                [Step::Mark(mark), rest @ ..] => {
                    marks[*mark] = *sum;
                    steps = rest;
                }
                [] => break,
            }
        }
    }

    /// Fills interference, room, load and heights.
    fn settle(&self, source: &Source<'_, '_>, work: &mut Work) {
        match self.springs.as_slice() {
            [] => {
                for (interference, solids) in work.interference.iter_mut().zip(&work.solids) {
                    *interference = without_rounding(*solids, 0.0);
                }
                work.room.fill(0.0);
                work.load.fill(0.0);
            }
            [spring] => match &spring.washer.law {
                SpringLaw::Disc { .. } => one_disc(spring, source, work),
                SpringLaw::Wave { .. } | SpringLaw::Curved { .. } | SpringLaw::Linear { .. } => {
                    one_linear(spring, source, work);
                }
                SpringLaw::Table { .. } => several(&self.springs, source, work),
            },
            springs => several(springs, source, work),
        }
    }
}

/// Where a lane's trials come from.
struct Source<'c, 'd> {
    columns: &'c [&'d [f64]],
    start: usize,
    count: usize,
}

impl Source<'_, '_> {
    #[inline(always)]
    fn column<'l>(&'l self, column: usize, copy: &'l mut Lane) -> &'l Lane {
        fetch(self.columns, column, self.start, self.count, copy)
    }

    fn dimension<'l>(&'l self, id: DimensionId, copy: &'l mut Lane) -> &'l Lane {
        self.column(id.0, copy)
    }

    /// The value of a column that is the same in every trial.
    fn constant(&self, column: usize) -> Option<f64> {
        match self.columns[column] {
            [constant] => Some(*constant),
            _ => None,
        }
    }

    fn all_constant(&self, columns: impl IntoIterator<Item = usize>) -> bool {
        columns.into_iter().all(|column| self.constant(column).is_some())
    }

    fn value(&self, column: usize, trial: usize) -> f64 {
        match self.columns[column] {
            [constant] => *constant,
            values => values[self.start + trial],
        }
    }
}

/// A bay's only spring washer, a disc: D is known, so the load is a direct formula.
fn one_disc(spring: &SpringPlan, source: &Source<'_, '_>, work: &mut Work) {
    let SpringPlan { washer: SpringWasher { law, friction, set }, scale, .. } = spring;
    let SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, elastic } = law else { return };
    let scale = *scale;
    let mut ones = [[1.0; LANES]; 2];
    let [ones_friction, ones_set] = &mut ones;
    let friction: &Lane = match friction {
        Some(id) => source.dimension(*id, ones_friction),
        None => ones_friction,
    };
    let set: &Lane = match set {
        Some(id) => source.dimension(*id, ones_set),
        None => ones_set,
    };
    // 1/(K1·De²), once for all trials where the diameters are exact.
    let mut shape = [0.0; LANES];
    if let (Some(outer), Some(inner)) = (source.constant(outer_diameter.0), source.constant(inner_diameter.0)) {
        shape.fill(disc::shape(scale * outer, scale * inner));
    } else {
        let [copy_outer, copy_inner, ..] = &mut work.copies;
        let outer = source.dimension(*outer_diameter, copy_outer);
        let inner = source.dimension(*inner_diameter, copy_inner);
        let large = widest(
            #[inline(always)]
            || shapes_of_small_ratio(scale, outer, inner, &mut shape),
        );
        if large {
            for i in 0..LANES {
                shape[i] = disc::shape(scale * outer[i], scale * inner[i]);
            }
        }
    }
    let stiffness = disc::stiffness(elastic);
    let Work { copies: [copy_thickness, copy_cone, ..], heights, solids, load, room, interference, .. } = work;
    let thickness = source.dimension(*thickness, copy_thickness);
    let cone_height = source.dimension(*cone_height, copy_cone);
    widest(
        #[inline(always)]
        || {
            let strip = Strip { thickness, cone_height, scale, shape: &shape, stiffness, friction, set };
            strip.settle(solids, [interference, room, load, &mut heights[0]]);
        },
    );
}

/// 1/(K1·De²) of each trial, without a branch; whether the ratio of a trial is beyond what it is good for.
#[inline(always)]
fn shapes_of_small_ratio(scale: f64, outer: &Lane, inner: &Lane, shape: &mut Lane) -> bool {
    let mut signs = 0;
    for i in 0..LANES {
        let (outer, inner) = (scale * outer[i], scale * inner[i]);
        shape[i] = disc::shape_of_small_ratio(outer, inner);
        // As whole numbers: counted comparisons would not become vector instructions.
        signs |= (disc::SMALL_RATIO * inner - outer).to_bits();
    }
    f64::from_bits(signs).is_sign_negative()
}

/// A lane of discs.
struct Strip<'l> {
    thickness: &'l Lane,
    cone_height: &'l Lane,
    scale: f64,
    shape: &'l Lane,
    stiffness: f64,
    friction: &'l Lane,
    set: &'l Lane,
}

impl Strip<'_> {
    /// Interference, room, load and height of each trial, from the length of its solids less the span.
    #[inline(always)]
    fn settle(self, solids: &Lane, [interference, room, load, height]: [&mut Lane; 4]) {
        let Self { thickness, cone_height, scale, shape, stiffness, friction, set } = self;
        for i in 0..LANES {
            let t = scale * thickness[i];
            let h = set[i] * (scale * cone_height[i]);
            let c = friction[i] * (stiffness * t * shape[i]);
            let full = h.max(0.0);
            let free = t + full;
            let d = without_rounding(solids[i] + free, full);
            let deflection = d.max(0.0);
            let sound = c > 0.0 && c <= f64::MAX && t > 0.0;
            load[i] = c * deflection * ((h - deflection) * (h - 0.5 * deflection) + t * t);
            room[i] = if sound { full } else { f64::NAN };
            interference[i] = d;
            height[i] = free - deflection;
        }
    }
}

/// A bay's only spring washer, of constant rate.
fn one_linear(spring: &SpringPlan, source: &Source<'_, '_>, work: &mut Work) {
    let SpringPlan { washer: SpringWasher { law, friction, set }, scale, .. } = spring;
    let scale = *scale;
    let mut rates = [0.0; LANES];
    let mut solid = [0.0; LANES];
    let [copy0, copy1, copy2, copy3] = &mut work.copies;
    let mut strip =
        |outer: DimensionId, inner: DimensionId, thickness: DimensionId, rate: &dyn Fn(f64, f64, f64) -> f64| {
            let outer = source.dimension(outer, copy0);
            let inner = source.dimension(inner, copy1);
            let thickness = source.dimension(thickness, copy2);
            for i in 0..LANES {
                let t = scale * thickness[i];
                rates[i] = rate(scale * outer[i], scale * inner[i], t);
                solid[i] = t;
            }
        };
    let (free_height, solid_height) = match law {
        SpringLaw::Wave {
            outer_diameter,
            inner_diameter,
            thickness,
            free_height,
            waves,
            factor,
            solid_height,
            elastic,
        } => {
            let rate = |outer: f64, inner: f64, t: f64| wave::rate(outer, inner, t, *waves, *factor, elastic);
            strip(*outer_diameter, *inner_diameter, *thickness, &rate);
            (free_height, solid_height)
        }
        SpringLaw::Curved { outer_diameter, inner_diameter, thickness, free_height, solid_height, elastic } => {
            let elastic: &Elastic = elastic;
            strip(*outer_diameter, *inner_diameter, *thickness, &|outer, inner, t| {
                curved::rate(outer, inner, t, elastic)
            });
            (free_height, solid_height)
        }
        SpringLaw::Linear { rate, free_height, solid_height } => {
            rates = *source.dimension(*rate, copy0);
            (free_height, solid_height)
        }
        SpringLaw::Disc { .. } | SpringLaw::Table { .. } => return,
    };
    if let Some(id) = solid_height {
        for (solid, value) in solid.iter_mut().zip(source.dimension(*id, copy0)) {
            *solid = scale * value;
        }
    }
    copy1.fill(1.0);
    copy2.fill(1.0);
    let friction: &Lane = match friction {
        Some(id) => source.dimension(*id, copy1),
        None => copy1,
    };
    let set: &Lane = match set {
        Some(id) => source.dimension(*id, copy2),
        None => copy2,
    };
    let free_height = source.dimension(*free_height, copy3);
    let heights = &mut work.heights[0];
    for i in 0..LANES {
        let rate = friction[i] * rates[i];
        let room = (set[i] * (scale * free_height[i] - solid[i])).max(0.0);
        let free = solid[i] + room;
        let interference = without_rounding(work.solids[i] + free, room);
        let deflection = interference.max(0.0);
        let sound = rate > 0.0 && rate <= f64::MAX;
        work.load[i] = rate * deflection;
        work.room[i] = if sound { room } else { f64::NAN };
        work.interference[i] = interference;
        heights[i] = free - deflection;
    }
}

/// Several spring washers, or one with a load table: trial by trial.
fn several(plans: &[SpringPlan], source: &Source<'_, '_>, work: &mut Work) {
    let mut springs: Vec<Spring<'_>> = Vec::with_capacity(plans.len());
    let deflections = &mut work.deflections[..plans.len()];
    for trial in 0..source.count {
        springs.clear();
        let mut free_heights = 0.0;
        let mut room = 0.0;
        for plan in plans {
            for &column in &plan.columns {
                work.x[column] = source.value(column, trial);
            }
            match Spring::new(&plan.washer, plan.scale, &work.x) {
                Some(spring) => {
                    free_heights += spring.free_height();
                    room += spring.room;
                    springs.push(spring);
                }
                None => room = f64::NAN,
            }
        }
        let interference = without_rounding(work.solids[trial] + free_heights, room);
        work.interference[trial] = interference;
        work.room[trial] = room;
        deflections.fill(0.0);
        work.load[trial] = if interference <= room && interference > 0.0 {
            series::share(&springs, interference, deflections)
        } else {
            0.0
        };
        for ((lane, spring), deflection) in work.heights.iter_mut().zip(&springs).zip(&*deflections) {
            lane[trial] = spring.free_height() - deflection;
        }
    }
}

impl Answer {
    fn give(&self, plan: &BayPlan, source: &Source<'_, '_>, block: &mut Block) {
        let places = source.start..source.start + source.count;
        let work = &mut block.work;
        let low = &mut block.low[self.query][places.clone()];
        match &self.what {
            What::Preload => keep(&work.load, work, low),
            What::Height(spring) => keep(&work.heights[*spring], work, low),
            What::Play => {
                let Work { interference, room, .. } = work;
                write(low, |low| {
                    for ((low, interference), room) in low.iter_mut().zip(interference).zip(room) {
                        *low = kept(*interference, *room, play(*interference));
                    }
                });
            }
            What::Length(terms) => {
                let Work { copies: [copy, ..], interference, room, .. } = work;
                let mut length = [0.0; LANES];
                for term in terms {
                    let values = source.column(term.column, copy);
                    length.iter_mut().zip(values).for_each(|(sum, value)| *sum += term.scale * value);
                }
                write(low, |low| {
                    for i in 0..LANES {
                        low[i] = kept(interference[i], room[i], length[i]);
                    }
                });
            }
            What::Offset(offset) => {
                offset.pushed_left(plan, source, work, low);
                // NaN where the bay cannot be assembled, and so on the right.
                for ((high, low), interference) in
                    block.high[self.query][places].iter_mut().zip(low).zip(&work.interference)
                {
                    *high = *low + play(*interference);
                }
            }
            What::EdgeMargin(offset, contact) => {
                offset.pushed_left(plan, source, work, low);
                contact.edge_margins(source, work, low, &mut block.high[self.query][places]);
            }
            What::ContactPressure(contact) => keep(&contact.peak_pressures(source), work, low),
            What::Stress(spring, point) => {
                let mut stresses = [0.0; LANES];
                let plan = &plan.springs[*spring];
                for (trial, stress) in stresses[..source.count].iter_mut().enumerate() {
                    for &column in &plan.columns {
                        work.x[column] = source.value(column, trial);
                    }
                    let height = work.heights[*spring][trial];
                    *stress = stress_at_height(&plan.washer, *point, plan.scale, &work.x, height);
                }
                keep(&stresses, work, low);
            }
            What::Nothing => low.fill(f64::NAN),
        }
    }
}

fn play(interference: f64) -> f64 {
    (-interference).max(0.0)
}

impl OffsetPlan {
    #[inline(always)]
    fn offsets(&self, face: &Lane, adjuster: &Lane, stem: &Lane, fits: [&Lane; 2], out: &mut Lane) {
        let (adjuster_scale, stem_scale) = (self.adjuster.scale, self.stem.scale);
        let [interference, room] = fits;
        for i in 0..LANES {
            let offset = face[i] + adjuster_scale * adjuster[i] - stem_scale * stem[i];
            out[i] = kept(interference[i], room[i], offset);
        }
    }

    /// Offsets with a loose bay pushed to the left; NaN where the bay cannot be assembled.
    fn pushed_left(&self, plan: &BayPlan, source: &Source<'_, '_>, work: &mut Work, out: &mut [f64]) {
        let Work { copies: [copy0, copy1, ..], marks, heights, interference, room, .. } = work;
        let (adjuster, stem) = (source.column(self.adjuster.column, copy0), source.column(self.stem.column, copy1));
        let mut face = &marks[self.mark];
        let mut with_springs = [0.0; LANES];
        let left_of = plan.marks[self.mark];
        if left_of > 0 {
            for lane in &heights[..left_of] {
                for (sum, height) in with_springs.iter_mut().zip(lane) {
                    *sum += height;
                }
            }
            for (sum, solids) in with_springs.iter_mut().zip(face) {
                *sum += solids;
            }
            face = &with_springs;
        }
        write(out, |out| {
            widest(
                #[inline(always)]
                || self.offsets(face, adjuster, stem, [interference, room], out),
            );
        });
    }
}

impl ContactPlan {
    fn values(&self, source: &Source<'_, '_>, trial: usize) -> ContactValues {
        let length = |term: Term| term.scale * source.value(term.column, trial);
        ContactValues {
            end_radius: 0.5 * length(self.diameter),
            chamfer: length(self.chamfer),
            tip_radius: length(self.tip_radius),
            sweep: length(self.sweep),
            wear: self.wear.map_or(0.0, length),
            load: source.value(self.load, trial),
            modulus: self.modulus,
        }
    }

    /// Smaller and larger margins; `low` holds the offsets pushed left when called.
    fn edge_margins(&self, source: &Source<'_, '_>, work: &mut Work, low: &mut [f64], high: &mut [f64]) {
        let mut radius = [0.0; LANES];
        if source.all_constant(self.patch_columns()) {
            radius.fill(self.values(source, 0).patch_radius());
        } else {
            for (trial, radius) in radius[..source.count].iter_mut().enumerate() {
                *radius = self.values(source, trial).patch_radius();
            }
        }
        let Work { copies: [copy0, copy1, copy2, _], interference, .. } = work;
        let (diameter, chamfer) =
            (source.column(self.diameter.column, copy0), source.column(self.chamfer.column, copy1));
        let sweep = source.column(self.sweep.column, copy2);
        for (i, (low, high)) in low.iter_mut().zip(high).enumerate() {
            let edge = 0.5 * (self.diameter.scale * diameter[i]) - self.chamfer.scale * chamfer[i];
            let sweep = self.sweep.scale * sweep[i];
            let play = play(interference[i]);
            let (nearest, farthest) = nearest_and_farthest(*low, *low + play);
            let margin = |offset: f64| edge - ((offset * offset + sweep * sweep).sqrt() + radius[i]);
            let smallest = margin(farthest);
            *high = finite(if play > 0.0 { margin(nearest) } else { smallest });
            *low = finite(smallest);
        }
    }

    fn peak_pressures(&self, source: &Source<'_, '_>) -> Lane {
        let mut pressures = [0.0; LANES];
        if source.all_constant([self.tip_radius.column, self.load]) {
            pressures.fill(self.pressure(source, 0));
        } else {
            for (trial, pressure) in pressures[..source.count].iter_mut().enumerate() {
                *pressure = self.pressure(source, trial);
            }
        }
        pressures
    }

    fn pressure(&self, source: &Source<'_, '_>, trial: usize) -> f64 {
        let tip_radius = self.tip_radius.scale * source.value(self.tip_radius.column, trial);
        crate::evaluate::peak_pressure(source.value(self.load, trial), tip_radius, self.modulus)
    }
}

/// Copies values of trials that can be assembled; NaN elsewhere.
fn keep(values: &Lane, work: &Work, out: &mut [f64]) {
    write(out, |out| {
        widest(
            #[inline(always)]
            || keep_all(values, &work.interference, &work.room, out),
        );
    });
}

#[inline(always)]
fn keep_all(values: &Lane, interference: &Lane, room: &Lane, out: &mut Lane) {
    for i in 0..LANES {
        out[i] = kept(interference[i], room[i], values[i]);
    }
}

/// Two choices, one after the other: a lane of them becomes vector instructions, a lane of `&&` does not.
#[inline(always)]
fn kept(interference: f64, room: f64, value: f64) -> f64 {
    finite(if interference <= room { value } else { f64::NAN })
}

#[inline(always)]
fn finite(value: f64) -> f64 {
    if value.abs() <= f64::MAX { value } else { f64::NAN }
}

/// Lets `fill` write a whole lane to `out`, by way of a copy where `out` is the last, shorter one.
fn write(out: &mut [f64], fill: impl FnOnce(&mut Lane)) {
    if let Some(lane) = out.first_chunk_mut::<LANES>() {
        fill(lane);
    } else {
        let mut lane = [0.0; LANES];
        fill(&mut lane);
        out.copy_from_slice(&lane[..out.len()]);
    }
}
