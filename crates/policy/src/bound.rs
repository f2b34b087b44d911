//! What no choice that keeps the ceiling can cost less than.
//!
//! Of a choice with the tolerances ℓ a share o(ℓ) of the builds is outside as assembled. At most the ceiling may end outside, so at least
//! o(ℓ) − ceiling of them are opened, touched and read again, which costs c each at the least; and every build is read. A tolerance that
//! is wider puts no fewer builds outside, so o(ℓ) is at least that of each tolerance with all others at their tightest. The cheapest
//! tolerances under this for every share t that may be outside as assembled,
//!
//! min over t of Σ_d min{ price of level l of d : o_d(l) ≤ t } + reading + c·(t − ceiling),
//!
//! is below every choice. It is far below where many tolerances are wide together, since each is looked at by itself. Shares are taken
//! three standard errors low.

use crate::draws::Draws;
use crate::estimate::SURE;
use crate::question::{Choice, Pieces, Question};
use crate::shop::{CeilingFor, Packets};
use crate::simulate::Ready;

/// The bound, in the prices' money a build.
pub(crate) fn at_least(question: &Question, draws: &Draws) -> f64 {
    let shares = shares(question, draws);
    let may = match (question.shop.packets, question.shop.ceiling_for) {
        // 95 % of the years keep the ceiling; of the others nothing is asked.
        (Packets::Year, CeilingFor::BadYear) => 0.95 * question.ceiling + 0.05,
        _ => question.ceiling,
    };
    let cheapest = |most: f64| -> f64 {
        let of = |(p, outside): (&crate::question::Priced, &Vec<f64>)| {
            let under = p.levels.iter().zip(outside).filter(|(_, o)| **o <= most);
            under.map(|(level, _)| level.price).fold(f64::INFINITY, f64::min)
        };
        question.priced.iter().zip(&shares).map(of).sum()
    };
    let prices = &question.prices;
    let rockers: usize = question.bays.iter().map(packdrift_stock::FittingBay::rockers).sum();
    let fewest = question.bays.iter().map(packdrift_stock::FittingBay::rockers).min().unwrap_or(0);
    let read = prices.minutes(prices.read_minutes);
    let opened = prices.minutes(prices.open_minutes) + prices.minutes(prices.piece_minutes) + read * fewest as f64;
    let always = read * rockers as f64 + prices.size_a_year.unwrap_or(0.0) / prices.builds();
    let every_share = shares.iter().flatten().copied().chain([may]);
    let fitted = every_share.map(|t| cheapest(t.max(may)) + always + opened * (t - may).max(0.0));
    // Without a drawer all that is outside as assembled stays so.
    fitted.fold(cheapest(may), f64::min)
}

/// By priced dimension and level: the share outside as assembled with all other tolerances at their tightest, three standard errors low.
fn shares(question: &Question, draws: &Draws) -> Vec<Vec<f64>> {
    let tightest = vec![0_u8; question.priced.len()];
    let share = |d: usize, level: usize| {
        let mut levels = tightest.clone();
        levels[d] = level as u8;
        let choice = Choice { levels, sizes: 0, pieces: Pieces::AsBought };
        let tally = Ready::new(question, &choice).run(&draws.blocks, false);
        let (p, n) = (tally.out(), tally.builds.max(1) as f64);
        (p - SURE * (p * (1.0 - p) / n).sqrt()).max(0.0)
    };
    let of = |(d, p): (usize, &crate::question::Priced)| (0..p.levels.len()).map(|level| share(d, level)).collect();
    question.priced.iter().enumerate().map(of).collect()
}
