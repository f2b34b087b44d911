//! One choice on many builds: drawn, read, fitted, read again, and judged by the whole model. Builds go through each of these together, some
//! hundred at a time, since the model is much quicker for many at once.

use crate::draws::{BUILDS_OF_A_YEAR, Block};
use crate::question::{Choice, Pieces, Question};
use crate::shop::{Measuring, Packets, Touched};
use packdrift_numerics::stream::BLOCK;
use packdrift_stock::{
    AtHand, Chosen, Deviations, Doubts, FittingBay, Judge, Knowledge, MOST_ADDED, Scatter, Size, Workspace, ZoneOptions,
};
use rayon::prelude::*;
use std::ops::Range;

/// A choice made ready to be simulated.
pub(crate) struct Ready<'a> {
    question: &'a Question,
    /// Factor on each input's own deviation.
    factor: Vec<f64>,
    mean: Vec<f64>,
    lot: Vec<Option<usize>>,
    held: Vec<usize>,
    sizes: Vec<Size>,
    bays: Vec<(ZoneOptions, Knowledge)>,
    judges: Vec<Judge>,
    /// Inputs whose values matter.
    used: Vec<usize>,
    pieces: Pieces,
}

/// Builds that go through the shop together: a part of a block, and whole years where packets last one.
pub(crate) const TOGETHER: usize = BUILDS_OF_A_YEAR;

/// What happened in the builds of a year with its packets.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Year {
    /// Outside as drawn, after the first fitting, after the last.
    pub(crate) out_drawn: u32,
    pub(crate) out_first: u32,
    pub(crate) out_last: u32,
    /// Sum of what changes from build to build of the cost.
    pub(crate) cost: f64,
    /// Outside after the last among the first builds, as many as the shop makes in a year where these are fewer.
    pub(crate) out_of_shop: u32,
}

/// What happened in some builds: sums, to be added up in order.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Tally {
    pub(crate) builds: u64,
    /// Outside as drawn, after the first fitting, after the last.
    pub(crate) out_drawn: u64,
    pub(crate) out_first: u64,
    pub(crate) out_last: u64,
    /// Left loose at last, where a spring washer is to keep the bay tight.
    pub(crate) loose: u64,
    /// Builds in which a part was touched, and in which a second fitting touched one.
    pub(crate) fitted: u64,
    pub(crate) fitted_again: u64,
    pub(crate) readings: u64,
    pub(crate) openings: u64,
    pub(crate) touched: u64,
    /// Pieces taken, by size held.
    pub(crate) takes: Vec<u64>,
    /// Of what changes from build to build: sum of the cost and of its square.
    pub(crate) cost: f64,
    pub(crate) cost_square: f64,
    /// Year by year, where packets last one.
    pub(crate) years: Vec<Year>,
    /// Pieces taken by each build, by size held: for the drawer's quantities.
    pub(crate) taken: Vec<Vec<u8>>,
}

impl Tally {
    fn add(&mut self, other: Self) {
        self.builds += other.builds;
        self.out_drawn += other.out_drawn;
        self.out_first += other.out_first;
        self.out_last += other.out_last;
        self.loose += other.loose;
        self.fitted += other.fitted;
        self.fitted_again += other.fitted_again;
        self.readings += other.readings;
        self.openings += other.openings;
        self.touched += other.touched;
        self.takes.resize(self.takes.len().max(other.takes.len()), 0);
        self.takes.iter_mut().zip(&other.takes).for_each(|(a, b)| *a += b);
        self.cost += other.cost;
        self.cost_square += other.cost_square;
        self.years.extend(other.years);
        self.taken.extend(other.taken);
    }

    /// Added up in order.
    pub(crate) fn of(tallies: Vec<Self>) -> Self {
        let mut all = Self::default();
        tallies.into_iter().for_each(|tally| all.add(tally));
        all
    }

    /// Share outside at last.
    pub(crate) fn out(&self) -> f64 {
        self.out_last as f64 / self.builds.max(1) as f64
    }
}

/// What one build comes to.
#[allow(clippy::struct_excessive_bools, reason = "each is a plain fact of the build, counted by itself")]
#[derive(Debug, Clone, Copy, Default)]
struct Build {
    inside_drawn: bool,
    inside_first: bool,
    inside_last: bool,
    loose: bool,
    fitted: bool,
    fitted_again: bool,
    readings: u32,
    openings: u32,
    touched: u32,
}

/// Memory of a thread.
#[derive(Default)]
struct Bench {
    /// By input and build of the part: true values.
    columns: Vec<Vec<f64>>,
    /// By zone and build: what its pieces sum to.
    sums: Vec<Vec<f64>>,
    /// The drawer's pieces of one build.
    true_ones: Vec<f64>,
    seen: Vec<f64>,
    work: Workspace,
}

/// Builds of one bay on which something was fitted.
struct Fittings {
    /// Which, as of the part; what was known, and what was taken.
    builds: Vec<(usize, Doubts, Chosen)>,
    /// By zone and fitting: what its pieces sum to then.
    sums: Vec<Vec<f64>>,
}

impl Fittings {
    fn none(zones: usize) -> Self {
        Self { builds: Vec::new(), sums: vec![Vec::new(); zones] }
    }

    fn push(&mut self, build: usize, doubts: Doubts, chosen: Chosen, sums: &[f64]) {
        self.builds.push((build, doubts, chosen));
        self.sums.iter_mut().zip(sums).for_each(|(column, sum)| column.push(*sum));
    }

    /// Of all columns the values of these builds.
    fn columns(&self, of: &[Vec<f64>]) -> Vec<Vec<f64>> {
        // A column that nobody reads is empty.
        let some = |column: &Vec<f64>| -> Vec<f64> {
            self.builds.iter().filter_map(|(build, _, _)| column.get(*build).copied()).collect()
        };
        of.iter().map(some).collect()
    }
}

/// One bay of a part of a block.
struct Station<'s> {
    block: &'s Block,
    /// Builds of the block.
    range: Range<usize>,
    index: usize,
    bay: &'s FittingBay,
    options: &'s ZoneOptions,
    knowledge: &'s Knowledge,
}

impl<'a> Ready<'a> {
    pub(crate) fn new(question: &'a Question, choice: &Choice) -> Self {
        let stack = &question.stack;
        let mut factor = vec![1.0; stack.inputs.len()];
        for (priced, &level) in question.priced.iter().zip(&choice.levels) {
            factor[priced.input] = priced.levels[usize::from(level)].tol / priced.tol_now;
        }
        let own: Vec<f64> = stack
            .inputs
            .iter()
            .zip(&factor)
            .map(|(input, factor)| factor * input.distribution.standard_uncertainty())
            .collect();
        let held = choice.held();
        let narrow = if choice.pieces == Pieces::Tighter { question.prices.scatter_of_tighter() } else { 1.0 };
        let sizes: Vec<Size> = held
            .iter()
            .map(|&k| {
                let size = &question.catalogue[k];
                Size { between: size.between * narrow, within: size.within * narrow, ..size.clone() }
            })
            .collect();
        let shop = &question.shop;
        let known = (choice.pieces == Pieces::Measured).then_some(shop.u_piece);
        let u_drawn = shop.drawn_measured.then_some(shop.u_piece);
        let scatter = Scatter { stack, own: &own, u_offset: shop.u_offset, repeatability: shop.repeatability, u_drawn };
        let bays = if held.is_empty() {
            Vec::new()
        } else {
            let of = |bay: &FittingBay| (ZoneOptions::new(bay, &sizes, known), Knowledge::new(bay, &scatter));
            question.bays.iter().map(of).collect()
        };
        let judges: Vec<Judge> = question.bays.iter().map(FittingBay::judge).collect();
        let drawn = question.bays.iter().flat_map(|bay| bay.drawn().iter().map(|piece| piece.dimension));
        let mut used: Vec<usize> = judges.iter().flat_map(Judge::inputs).chain(drawn).collect();
        used.sort_unstable();
        used.dedup();
        Self {
            question,
            factor,
            mean: stack.inputs.iter().map(|input| input.distribution.mean()).collect(),
            lot: stack.inputs.iter().map(|input| input.lot).collect(),
            held,
            sizes,
            bays,
            judges,
            used,
            pieces: choice.pieces,
        }
    }

    /// The same, its builds judged with other loads of spring washers: bay by bay the names of the parts, and how many times as hard they
    /// press. The mechanic goes by the drawing all the same.
    pub(crate) fn with_loads(mut self, washers: &[(usize, &str, f64)]) -> Self {
        let of = |bay: &FittingBay| {
            let here = washers.iter().filter(|(at, _, _)| *at == bay.bay()).map(|&(_, name, times)| (name, times));
            bay.judge_with_loads(&here.collect::<Vec<_>>())
        };
        self.judges = self.question.bays.iter().map(of).collect();
        self
    }

    /// All builds of these blocks. `taken`: note what each takes.
    pub(crate) fn run(&self, blocks: &[Block], taken: bool) -> Tally {
        let parts = blocks.par_iter().flat_map_iter(|block| parts().map(move |part| (block, part)));
        let tallies: Vec<Tally> = parts.map(|(block, part)| self.part(block, part, taken)).collect();
        Tally::of(tallies)
    }

    /// One block.
    pub(crate) fn block(&self, block: &Block, taken: bool) -> Tally {
        Tally::of(parts().map(|part| self.part(block, part, taken)).collect())
    }

    /// Some builds of a block, whole years of them.
    pub(crate) fn part(&self, block: &Block, range: Range<usize>, taken: bool) -> Tally {
        let held = self.held.len();
        let mut tally = Tally { takes: vec![0; held], ..Tally::default() };
        let mut bench = Bench::default();
        let all_inside = Build { inside_drawn: true, inside_first: true, inside_last: true, ..Build::default() };
        let mut builds = vec![all_inside; range.len()];
        let mut counts = vec![0_u32; range.len() * held];
        self.values(block, &range, &mut bench.columns);
        for index in 0..self.question.bays.len() {
            self.bay(block, &range, index, &mut bench, (&mut builds, &mut counts));
        }
        let prices = &self.question.prices;
        let (read, open) = (prices.minutes(prices.read_minutes), prices.minutes(prices.open_minutes));
        let touch = prices.minutes(prices.piece_minutes);
        let piece: Vec<f64> = self.sizes.iter().map(|size| size.cost + self.of_a_piece()).collect();
        for (b, build) in builds.iter().enumerate() {
            let counts = &counts[b * held..(b + 1) * held];
            tally.builds += 1;
            tally.out_drawn += u64::from(!build.inside_drawn);
            tally.out_first += u64::from(!build.inside_first);
            tally.out_last += u64::from(!build.inside_last);
            tally.loose += u64::from(build.loose);
            tally.fitted += u64::from(build.fitted);
            tally.fitted_again += u64::from(build.fitted_again);
            tally.readings += u64::from(build.readings);
            tally.openings += u64::from(build.openings);
            tally.touched += u64::from(build.touched);
            let mut cost =
                f64::from(build.readings) * read + f64::from(build.openings) * open + f64::from(build.touched) * touch;
            for ((total, &n), price) in tally.takes.iter_mut().zip(counts).zip(&piece) {
                *total += u64::from(n);
                cost += f64::from(n) * price;
            }
            tally.cost += cost;
            tally.cost_square += cost * cost;
            if self.question.shop.packets == Packets::Year {
                if b % BUILDS_OF_A_YEAR == 0 {
                    tally.years.push(Year::default());
                }
                if let Some(year) = tally.years.last_mut() {
                    year.out_drawn += u32::from(!build.inside_drawn);
                    year.out_first += u32::from(!build.inside_first);
                    year.out_last += u32::from(!build.inside_last);
                    year.cost += cost;
                    let of_shop = b % BUILDS_OF_A_YEAR < self.question.builds_of_a_year();
                    year.out_of_shop += u32::from(of_shop && !build.inside_last);
                }
            }
            if taken {
                tally.taken.push(counts.iter().map(|&n| n.min(255) as u8).collect());
            }
        }
        tally
    }

    /// What a fitted piece costs beside its price.
    pub(crate) fn of_a_piece(&self) -> f64 {
        let prices = &self.question.prices;
        match self.pieces {
            Pieces::AsBought => 0.0,
            Pieces::Measured => prices.measuring.unwrap_or(0.0),
            Pieces::Tighter => prices.tighter.unwrap_or(0.0),
        }
    }

    /// True values of the inputs that matter, by build.
    fn values(&self, block: &Block, range: &Range<usize>, columns: &mut Vec<Vec<f64>>) {
        columns.resize(self.mean.len(), Vec::new());
        let lots = self.question.stack.lots.len();
        for &i in &self.used {
            let own = &block.own[i * BLOCK..(i + 1) * BLOCK][range.clone()];
            let (mean, factor) = (self.mean[i], self.factor[i]);
            columns[i] = match self.lot[i] {
                None => own.iter().map(|own| mean + factor * own).collect(),
                Some(lot) => {
                    let of_lot = block.lots[range.start * lots..].iter().skip(lot).step_by(lots);
                    own.iter().zip(of_lot).map(|(own, of_lot)| mean + factor * own + of_lot).collect()
                }
            };
        }
    }

    /// Deviations of the drawer's pieces for one bay of one build.
    fn draw_pieces(&self, block: &Block, b: usize, index: usize, bench: &mut Bench) {
        let of_bay = &block.bays[index];
        let catalogue = self.question.catalogue.len();
        let each = self.question.bays[index].zones() * MOST_ADDED;
        bench.true_ones.clear();
        bench.seen.clear();
        for (&k, size) in self.held.iter().zip(&self.sizes) {
            let packet = size.between * block.packets[b * catalogue + k];
            let of_build = b * each..(b + 1) * each;
            let deviation = |piece: &f64| packet + size.within * piece;
            bench.true_ones.extend(of_bay.pieces[k][of_build.clone()].iter().map(deviation));
            if self.pieces == Pieces::Measured {
                let measured = of_bay.measured[k][of_build.clone()].iter();
                let pieces = of_bay.pieces[k][of_build].iter().map(deviation);
                bench.seen.extend(pieces.zip(measured).map(|(piece, m)| piece + self.question.shop.u_piece * m));
            }
        }
    }

    /// One bay of all builds of a part, and what comes of it.
    fn bay(
        &self,
        block: &Block,
        range: &Range<usize>,
        index: usize,
        bench: &mut Bench,
        (builds, counts): (&mut [Build], &mut [u32]),
    ) {
        let (bay, judge, n) = (&self.question.bays[index], &self.judges[index], range.len());
        bench.sums.clear();
        bench.sums.resize(bay.zones(), Vec::new());
        for b in 0..n {
            let sums = bay.sums_as_drawn(|input| bench.columns[input][b]);
            bench.sums.iter_mut().zip(sums).for_each(|(column, sum)| column.push(sum));
        }
        let mut judged = judge.memory(n);
        judge.judge(&bench.columns, &bench.sums, n, &mut judged);
        let drawn: Vec<bool> = (0..n).map(|b| judged.inside(b)).collect();
        let (mut first_inside, mut last_inside) = (drawn.clone(), drawn.clone());
        let mut loose: Vec<bool> = (0..n).map(|b| judged.loose(b)).collect();
        if let Some((options, knowledge)) = self.bays.get(index) {
            let station = Station { block, range: range.clone(), index, bay, options, knowledge };
            let offsets = |r: usize, b: usize| judged.offset(r, b);
            let first = self.first_fittings(&station, &offsets, bench, builds);
            self.note(&station, &first, None, (builds, counts));
            judge.judge(&first.columns(&bench.columns), &first.sums, first.builds.len(), &mut judged);
            for (at, (b, _, _)) in first.builds.iter().enumerate() {
                first_inside[*b] = judged.inside(at);
                last_inside[*b] = judged.inside(at);
                loose[*b] = judged.loose(at);
                // After a fitting it is read again, by anybody's rules.
                builds[*b].readings += bay.rockers() as u32;
            }
            if self.question.shop.second_fitting {
                let offsets = |r: usize, at: usize| judged.offset(r, at);
                let second = self.second_fittings(&station, &first, &offsets, bench);
                self.note(&station, &second, Some(&first), (builds, counts));
                judge.judge(&second.columns(&bench.columns), &second.sums, second.builds.len(), &mut judged);
                for (at, (b, _, _)) in second.builds.iter().enumerate() {
                    last_inside[*b] = judged.inside(at);
                    loose[*b] = judged.loose(at);
                    builds[*b].readings += bay.rockers() as u32;
                }
            }
        }
        for (b, build) in builds.iter_mut().enumerate() {
            build.inside_drawn &= drawn[b];
            build.inside_first &= first_inside[b];
            build.inside_last &= last_inside[b];
            build.loose |= loose[b];
        }
    }

    /// How far a reading is from what the drawing expects, mm. A bay that cannot be closed is not read: then there is nothing but the
    /// drawing to go by.
    fn off(&self, station: &Station<'_>, b: usize, (round, r): (usize, usize), offset: f64) -> f64 {
        let Station { block, range, index, bay, .. } = station;
        let reading = ((range.start + b) * 2 + round) * bay.rockers() + r;
        let shop = &self.question.shop;
        let noise =
            shop.repeatability * block.bays[*index].readings[reading] + shop.u_common() * block.gauge[range.start + b];
        if offset.is_nan() { 0.0 } else { offset + noise - bay.expected()[r] }
    }

    fn first_fittings(
        &self,
        station: &Station<'_>,
        offset: &dyn Fn(usize, usize) -> f64,
        bench: &mut Bench,
        builds: &mut [Build],
    ) -> Fittings {
        let Station { block, range, index, bay, options, knowledge } = station;
        let shop = &self.question.shop;
        let (rockers, pieces) = (bay.rockers(), bay.drawn().len());
        let mut fittings = Fittings::none(bay.zones());
        for (b, build) in builds.iter_mut().enumerate() {
            let at = range.start + b;
            self.draw_pieces(block, at, *index, bench);
            let mut readings: Vec<f64> = (0..rockers).map(|r| self.off(station, b, (0, r), offset(r, b))).collect();
            if shop.drawn_measured {
                let measured = &block.bays[*index].drawn[at * pieces..(at + 1) * pieces];
                let off = bay.drawn().iter().zip(measured);
                readings.extend(
                    off.map(|(piece, measured)| {
                        bench.columns[piece.dimension][b] - piece.mean + shop.u_piece * measured
                    }),
                );
            }
            build.readings += rockers as u32;
            let deviations = self.deviations(&bench.true_ones, &bench.seen);
            let first = Doubts::First { off: readings };
            let chosen = bay.choose(&AtHand { options, knowledge, deviations }, &first, &mut bench.work);
            if chosen.touched > 0 {
                let sums = bay.sums_of(options, &chosen, |input| bench.columns[input][b], &deviations);
                fittings.push(b, first, chosen, &sums);
            }
        }
        fittings
    }

    /// Of the builds that were fitted those that read outside are fitted once more.
    fn second_fittings(
        &self,
        station: &Station<'_>,
        first: &Fittings,
        offset: &dyn Fn(usize, usize) -> f64,
        bench: &mut Bench,
    ) -> Fittings {
        let Station { block, range, index, bay, options, knowledge } = station;
        let mut fittings = Fittings::none(bay.zones());
        for (at, (b, doubts, chosen)) in first.builds.iter().enumerate() {
            let off: Vec<f64> = (0..bay.rockers()).map(|r| self.off(station, *b, (1, r), offset(r, at))).collect();
            let outside = |r: usize| {
                let (low, high) = bay.permitted(r);
                !(low..=high).contains(&(bay.expected()[r] + off[r]))
            };
            if !(0..bay.rockers()).any(outside) {
                continue;
            }
            self.draw_pieces(block, range.start + b, *index, bench);
            let deviations = self.deviations(&bench.true_ones, &bench.seen);
            let at_hand = AtHand { options, knowledge, deviations };
            let again = bay.learn(&at_hand, doubts, chosen, &off);
            let second = bay.choose(&at_hand, &again, &mut bench.work);
            if second.touched > 0 {
                let sums = bay.sums_of(options, &second, |input| bench.columns[input][*b], &deviations);
                fittings.push(*b, again, second, &sums);
            }
        }
        fittings
    }

    fn deviations<'d>(&self, true_ones: &'d [f64], seen: &'d [f64]) -> Deviations<'d> {
        Deviations { true_ones, seen: (self.pieces == Pieces::Measured).then_some(seen) }
    }

    /// Writes down what fittings took.
    fn note(
        &self,
        station: &Station<'_>,
        fittings: &Fittings,
        first: Option<&Fittings>,
        (builds, counts): (&mut [Build], &mut [u32]),
    ) {
        let (bay, options, held) = (station.bay, station.options, self.held.len());
        // Both by rising build, and every second fitting had a first.
        let mut had = first.into_iter().flat_map(|first| &first.builds);
        for (b, _, chosen) in &fittings.builds {
            let before = had.find(|(had, _, _)| had == b).map(|(_, _, before)| before);
            let build = &mut builds[*b];
            if before.is_some() {
                build.fitted_again = true;
            } else {
                build.fitted = true;
            }
            self.count(build, bay, options, (chosen, before));
            bay.takes(options, chosen, before, &mut counts[b * held..(b + 1) * held]);
        }
    }

    fn count(
        &self,
        build: &mut Build,
        bay: &FittingBay,
        options: &ZoneOptions,
        (chosen, before): (&Chosen, Option<&Chosen>),
    ) {
        build.openings += 1;
        build.touched += match self.question.shop.touched {
            Touched::Pieces => chosen.touched as u32,
            Touched::Places => bay.places_changed(chosen, before, options) as u32,
        };
    }

    /// Whether all that lies in the drawer is measured once a year.
    pub(crate) fn measures_the_drawer(&self) -> bool {
        self.pieces == Pieces::Measured && self.question.shop.measuring == Measuring::WholeDrawer
    }

    pub(crate) fn sizes(&self) -> &[Size] {
        &self.sizes
    }
}

/// The parts of a block.
pub(crate) fn parts() -> impl Iterator<Item = Range<usize>> + Clone {
    (0..BLOCK / TOGETHER).map(|part| part * TOGETHER..(part + 1) * TOGETHER)
}
