//! One choice, build after build: drawn, read, fitted, read again, and judged by the whole model.

use crate::draws::{BUILDS_OF_A_YEAR, Block};
use crate::question::{Choice, Pieces, Question};
use crate::shop::{Measuring, Packets, Touched};
use packdrift_numerics::stream::BLOCK;
use packdrift_stock::{
    AtHand, Chosen, Deviations, Doubts, FittingBay, Knowledge, Scatter, Size, Workspace, ZoneOptions,
};
use rayon::prelude::*;

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
    pieces: Pieces,
}

/// What happened in some builds: sums, to be added up in order.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Tally {
    pub(crate) builds: u64,
    /// Outside as drawn, after the first fitting, after the last.
    pub(crate) out_drawn: u64,
    pub(crate) out_first: u64,
    pub(crate) out_last: u64,
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
    /// Builds outside at last, by year, where packets last one.
    pub(crate) years: Vec<u32>,
    /// Pieces taken by each build, by size held: for the drawer's quantities.
    pub(crate) taken: Vec<Vec<u8>>,
}

impl Tally {
    fn add(&mut self, other: Self) {
        self.builds += other.builds;
        self.out_drawn += other.out_drawn;
        self.out_first += other.out_first;
        self.out_last += other.out_last;
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
    fitted: bool,
    fitted_again: bool,
    readings: u32,
    openings: u32,
    touched: u32,
}

/// Memory of a thread.
#[derive(Default)]
struct Bench {
    x: Vec<f64>,
    true_ones: Vec<f64>,
    seen: Vec<f64>,
    offsets: Vec<f64>,
    counts: Vec<u32>,
    work: Workspace,
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
        let scatter = Scatter { stack, own: &own, u_offset: shop.u_offset, u_drawn };
        let bays = if held.is_empty() {
            Vec::new()
        } else {
            let of = |bay: &FittingBay| (ZoneOptions::new(bay, &sizes, known), Knowledge::new(bay, &scatter));
            question.bays.iter().map(of).collect()
        };
        Self {
            question,
            factor,
            mean: stack.inputs.iter().map(|input| input.distribution.mean()).collect(),
            lot: stack.inputs.iter().map(|input| input.lot).collect(),
            held,
            sizes,
            bays,
            pieces: choice.pieces,
        }
    }

    /// All builds of these blocks. `taken`: note what each takes.
    pub(crate) fn run(&self, blocks: &[Block], taken: bool) -> Tally {
        let tallies: Vec<Tally> = blocks.par_iter().map(|block| self.block(block, taken)).collect();
        Tally::of(tallies)
    }

    /// One block.
    pub(crate) fn block(&self, block: &Block, taken: bool) -> Tally {
        let mut tally = Tally { takes: vec![0; self.held.len()], ..Tally::default() };
        let mut bench = Bench::default();
        let prices = &self.question.prices;
        let (read, open) = (prices.minutes(prices.read_minutes), prices.minutes(prices.open_minutes));
        let touch = prices.minutes(prices.piece_minutes);
        let piece: Vec<f64> = self.sizes.iter().map(|size| size.cost + self.of_a_piece()).collect();
        for b in 0..BLOCK {
            bench.counts.clear();
            bench.counts.resize(self.held.len(), 0);
            let build = self.build(block, b, &mut bench);
            tally.builds += 1;
            tally.out_drawn += u64::from(!build.inside_drawn);
            tally.out_first += u64::from(!build.inside_first);
            tally.out_last += u64::from(!build.inside_last);
            tally.fitted += u64::from(build.fitted);
            tally.fitted_again += u64::from(build.fitted_again);
            tally.readings += u64::from(build.readings);
            tally.openings += u64::from(build.openings);
            tally.touched += u64::from(build.touched);
            let mut cost =
                f64::from(build.readings) * read + f64::from(build.openings) * open + f64::from(build.touched) * touch;
            for ((total, &n), price) in tally.takes.iter_mut().zip(&bench.counts).zip(&piece) {
                *total += u64::from(n);
                cost += f64::from(n) * price;
            }
            tally.cost += cost;
            tally.cost_square += cost * cost;
            if self.question.shop.packets == Packets::Year {
                if b % BUILDS_OF_A_YEAR == 0 {
                    tally.years.push(0);
                }
                if let Some(year) = tally.years.last_mut() {
                    *year += u32::from(!build.inside_last);
                }
            }
            if taken {
                tally.taken.push(bench.counts.iter().map(|&n| n.min(255) as u8).collect());
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

    fn build(&self, block: &Block, b: usize, bench: &mut Bench) -> Build {
        let question = self.question;
        let inputs = self.mean.len();
        bench.x.clear();
        let lots = question.stack.lots.len();
        for i in 0..inputs {
            let own = self.mean[i] + self.factor[i] * block.own[b * inputs + i];
            bench.x.push(own + self.lot[i].map_or(0.0, |lot| block.lots[b * lots + lot]));
        }
        let mut all = Build { inside_drawn: true, inside_first: true, inside_last: true, ..Build::default() };
        for index in 0..question.bays.len() {
            let one = self.bay(block, b, index, bench);
            all.inside_drawn &= one.inside_drawn;
            all.inside_first &= one.inside_first;
            all.inside_last &= one.inside_last;
            all.fitted |= one.fitted;
            all.fitted_again |= one.fitted_again;
            all.readings += one.readings;
            all.openings += one.openings;
            all.touched += one.touched;
        }
        all
    }

    /// Deviations of the drawer's pieces for one bay of one build.
    fn draw_pieces(&self, block: &Block, b: usize, index: usize, bench: &mut Bench) {
        let of_bay = &block.bays[index];
        let catalogue = self.question.catalogue.len();
        let each = of_bay.each / catalogue;
        bench.true_ones.clear();
        bench.seen.clear();
        for (&k, size) in self.held.iter().zip(&self.sizes) {
            let packet = size.between * block.packets[b * catalogue + k];
            let from = b * of_bay.each + k * each;
            for at in from..from + each {
                let deviation = packet + size.within * of_bay.pieces[at];
                bench.true_ones.push(deviation);
                if self.pieces == Pieces::Measured {
                    bench.seen.push(deviation + self.question.shop.u_piece * of_bay.measured[at]);
                }
            }
        }
    }

    fn bay(&self, block: &Block, b: usize, index: usize, bench: &mut Bench) -> Build {
        let (question, shop) = (self.question, &self.question.shop);
        let bay = &question.bays[index];
        let drawn_sums = bay.sums_as_drawn(&bench.x);
        let inside = bay.inside(&mut bench.x, &drawn_sums);
        let mut build = Build { inside_drawn: inside, inside_first: inside, inside_last: inside, ..Build::default() };
        let Some((options, knowledge)) = self.bays.get(index) else { return build };
        self.draw_pieces(block, b, index, bench);
        let seen = (self.pieces == Pieces::Measured).then_some(bench.seen.as_slice());
        let deviations = Deviations { true_ones: &bench.true_ones, seen };
        let at_hand = AtHand { options, knowledge, deviations };
        let of_bay = &block.bays[index];
        let rockers = bay.rockers();
        let noise = |round: usize, r: usize| shop.u_offset * of_bay.readings[(b * 2 + round) * rockers + r];
        bay.offsets(&mut bench.x, &drawn_sums, &mut bench.offsets);
        let expected = bay.expected();
        // A bay that cannot be closed is not read: then there is nothing but the drawing to go by.
        let off = |round: usize, r: usize, offset: f64| {
            if offset.is_nan() { 0.0 } else { offset + noise(round, r) - expected[r] }
        };
        let mut readings: Vec<f64> = (0..rockers).map(|r| off(0, r, bench.offsets[r])).collect();
        if shop.drawn_measured {
            let pieces = bay.drawn().len();
            readings.extend(
                bay.drawn().iter().enumerate().map(|(f, piece)| {
                    bench.x[piece.dimension] - piece.mean + shop.u_piece * of_bay.drawn[b * pieces + f]
                }),
            );
        }
        build.readings += rockers as u32;
        let first = Doubts::First { off: readings };
        let chosen = bay.choose(&at_hand, &first, &mut bench.work);
        if chosen.touched == 0 {
            return build;
        }
        build.fitted = true;
        self.count(&mut build, bay, options, (&chosen, None));
        bay.takes(options, &chosen, None, &mut bench.counts);
        let sums = bay.sums_of(options, &chosen, &bench.x, &deviations);
        build.inside_first = bay.inside(&mut bench.x, &sums);
        build.inside_last = build.inside_first;
        // After a fitting it is read again, by anybody's rules.
        build.readings += rockers as u32;
        if !shop.second_fitting {
            return build;
        }
        bay.offsets(&mut bench.x, &sums, &mut bench.offsets);
        let off: Vec<f64> = (0..rockers).map(|r| off(1, r, bench.offsets[r])).collect();
        let outside = |r: usize| {
            let (low, high) = bay.permitted(r);
            !(low..=high).contains(&(expected[r] + off[r]))
        };
        if !(0..rockers).any(outside) {
            return build;
        }
        let again = bay.learn(&at_hand, &first, &chosen, &off);
        let second = bay.choose(&at_hand, &again, &mut bench.work);
        if second.touched == 0 {
            return build;
        }
        build.fitted_again = true;
        self.count(&mut build, bay, options, (&second, Some(&chosen)));
        bay.takes(options, &second, Some(&chosen), &mut bench.counts);
        let sums = bay.sums_of(options, &second, &bench.x, &deviations);
        build.inside_last = bay.inside(&mut bench.x, &sums);
        build.readings += rockers as u32;
        build
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
