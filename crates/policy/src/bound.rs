//! What no choice that keeps the ceiling can cost less than.
//!
//! Of a choice with the tolerances ℓ a share o(ℓ) of the builds is outside as assembled. At most the ceiling may end outside, so at least
//! o(ℓ) − ceiling of them are opened, touched and read again, which costs c each at the least; and every build is read. So what a choice costs is
//! at least
//!
//! v(ℓ) = prices of ℓ + (nothing where o(ℓ) ≤ ceiling, else reading + one size + c·(o(ℓ) − ceiling)).
//!
//! A tolerance whose price is a curve may lie anywhere between its steps: a step stands for all up to the next wider one, and costs no less than that.
//!
//! The smallest v of all tolerances is looked for by branch and bound: a box of levels, from the tightest to the widest of each dimension,
//! costs no less than its cheapest prices with the share of its tightest corner, since a tolerance that is wider puts no fewer builds outside.
//! The box that may be the cheapest is halved, until it is one choice or so many shares have been found as are worth the time; either way
//! the cheapest box is below every choice. Shares are taken three standard errors low.
//!
//! A pack that is off its middle breaks the assumption: where the expected build is outside, a wider tolerance brings builds in. Then at least half of the
//! builds with the tightest tolerances are outside, and nothing is taken but the cheapest prices.

use crate::draws::Draws;
use crate::estimate::{Estimate, Figure, SURE};
use crate::question::{Choice, Pieces, Question};
use crate::shop::{CeilingFor, Packets};
use crate::simulate::Ready;
use packdrift_spread::Progress;
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// Shares outside that are found at the most: each takes all builds of the search once, unfitted.
const MOST_SHARES: usize = 3000;

/// Some tolerances of each dimension.
#[derive(Debug, Clone)]
struct Levels {
    low: Vec<u8>,
    high: Vec<u8>,
    /// What they cost beside the tolerances, at the least.
    besides: f64,
}

/// The bound, in the prices' money a build.
pub(crate) fn at_least(question: &Question, draws: &Draws, progress: &dyn Progress) -> f64 {
    let low = vec![0_u8; question.priced.len()];
    let of_tightest = outside(question, draws, &low);
    if of_tightest.value >= 0.5 {
        return question.at_least();
    }
    let high = question.priced.iter().map(|p| p.levels.len() as u8 - 1).collect();
    let mut shares = 1;
    let mut open: BTreeMap<(Rank, Reverse<usize>), Levels> = BTreeMap::new();
    let besides = besides(question, of_tightest);
    let all = Levels { low, high, besides };
    open.insert((Rank(all.least(question)), Reverse(0)), all);
    loop {
        let Some(((Rank(least), _), cheapest)) = open.pop_first() else { return f64::INFINITY };
        let Some(d) = cheapest.to_halve(question) else { return least };
        if shares >= MOST_SHARES || progress.cancelled() {
            return least;
        }
        let middle = cheapest.low[d] + (cheapest.high[d] - cheapest.low[d]) / 2;
        let (mut tighter, mut wider) = (cheapest.clone(), cheapest);
        tighter.high[d] = middle;
        wider.low[d] = middle + 1;
        wider.besides = wider.besides.max(self::besides(question, outside(question, draws, &wider.low)));
        for (n, half) in [tighter, wider].into_iter().enumerate() {
            open.insert((Rank(half.least(question)), Reverse(2 * shares + n)), half);
        }
        shares += 1;
    }
}

/// Costs in order.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Rank(f64);

impl Eq for Rank {}

impl PartialOrd for Rank {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Rank {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

impl Levels {
    fn prices<'a>(&'a self, question: &'a Question) -> impl Iterator<Item = (f64, f64)> + 'a {
        question.priced.iter().zip(self.low.iter().zip(&self.high)).map(|(p, (&low, &high))| {
            let (low, high) = (usize::from(low), usize::from(high));
            let next_wider = usize::from(p.stepped && high + 1 < p.levels.len());
            let least = p.levels[low..=high + next_wider].iter().map(|l| l.price).fold(f64::INFINITY, f64::min);
            (p.levels[low].price, least)
        })
    }

    /// What any of them costs at the least.
    fn least(&self, question: &Question) -> f64 {
        self.prices(question).map(|(_, least)| least).sum::<f64>() + self.besides
    }

    /// The dimension in which most is open; None where the tightest is the cheapest in each: then the bound is that of one choice.
    fn to_halve(&self, question: &Question) -> Option<usize> {
        let gaps = self.prices(question).map(|(tightest, least)| tightest - least).enumerate();
        gaps.filter(|(d, gap)| *gap > 0.0 && self.low[*d] < self.high[*d])
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
            .map(|(d, _)| d)
    }
}

/// Share outside as assembled with these tolerances.
fn outside(question: &Question, draws: &Draws, levels: &[u8]) -> Figure {
    let choice = Choice { levels: levels.to_vec(), sizes: 0, pieces: Pieces::AsBought };
    let ready = Ready::new(question, &choice);
    Estimate::new(question, &choice, &ready, &ready.run(&draws.blocks, false), None).out
}

/// What choices of which such a share is outside as assembled cost beside the tolerances, at the least.
fn besides(question: &Question, out: Figure) -> f64 {
    let may = match (question.shop.packets, question.shop.ceiling_for) {
        // 95 % of the years keep the ceiling; of the others nothing is asked.
        (Packets::Year, CeilingFor::BadYear) => 0.95 * question.ceiling + 0.05,
        _ => question.ceiling,
    };
    let outside = out.value - SURE * out.standard_error;
    if outside <= may {
        return 0.0;
    }
    let prices = &question.prices;
    let fewest = question.bays.iter().map(packdrift_stock::FittingBay::rockers).min().unwrap_or(0);
    let opened = prices.minutes(prices.open_minutes)
        + prices.minutes(prices.piece_minutes)
        + prices.minutes(prices.read_minutes) * fewest as f64;
    question.always(1) + opened * (outside - may)
}
