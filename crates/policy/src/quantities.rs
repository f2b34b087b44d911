//! How many of each size to hold, so that builds find their pieces.
//!
//! Every piece taken is ordered again at once and comes after its lead time (base stock, one for one; a build whose pieces are short waits
//! for them). Then what is on order at a moment is what the builds of the last lead time took, and a build finds its pieces where the
//! levels less that are at least what it takes. Builds come at random times (Poisson), and a Poisson stream looks at the drawer as it is
//! at any moment; so drawing the builds of the last lead time is the whole simulation, with nothing to warm up. All sizes see the same
//! builds, since one build takes of several.

use crate::error::PolicyError;
use crate::estimate::{DAYS_A_YEAR, Figure, upper_bound};
use packdrift_numerics::stream::Key;
use packdrift_stock::Size;

/// Moments that choose levels.
const CHOOSING: usize = 4000;
/// Fresh ones that raise them until the service is shown, and that say so: as many as a share of one short moment in them must be told from what is
/// allowed, within limits.
const SAYING: (usize, usize) = (20_000, 400_000);
/// Moments over the share that may be short: with none short among 14/share the upper limit at three standard errors is half of it.
const OVER_SHORT: f64 = 14.0;
/// How often a piece is added because other moments do not show the service.
const MOST_SAYINGS: u64 = 8;
/// Where even none short would not show the service more moments would be needed than are drawn: no piece helps.
const LEAST_SHORT: f64 = 7.0;
/// Builds in the longest lead time at the most.
const MOST_BUILDS: f64 = 2000.0;
/// Pieces added at the most.
const MOST_STEPS: usize = 200;

/// Levels, and the share of builds that find their pieces.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Quantities {
    pub(crate) levels: Vec<u32>,
    pub(crate) service: Figure,
    /// The share of builds whose pieces are not there is not above this, at three standard errors.
    pub(crate) short_at_most: f64,
}

/// Whether a lead time holds more builds than can be followed.
///
/// # Errors
/// [`PolicyError::Number`]: thousands of builds in the longest lead time.
pub(crate) fn check_lead_time(sizes: &[Size], builds_a_year: f64) -> Result<(), PolicyError> {
    let longest = sizes.iter().map(|size| size.lead_days).fold(0.0, f64::max);
    let in_lead = builds_a_year / DAYS_A_YEAR * longest;
    if in_lead <= MOST_BUILDS {
        return Ok(());
    }
    let what = "the number of builds in the longest lead time";
    Err(PolicyError::Number { what, value: in_lead.round(), expected: "at most 2000" })
}

/// One moment: what is on order of each size, and what the build that comes then takes.
struct Moment {
    on_order: Vec<u32>,
    takes: Vec<u32>,
}

/// Levels for a stream of builds, each of which takes one of `taken`.
///
/// # Errors
/// [`PolicyError::Number`] where a lead time holds thousands of builds.
pub(crate) fn quantities(
    sizes: &[Size],
    taken: &[Vec<u8>],
    builds_a_year: f64,
    start: &[u32],
    (service, seed): (f64, u64),
) -> Result<Quantities, PolicyError> {
    check_lead_time(sizes, builds_a_year)?;
    let draw =
        |purpose: &str, count| moments(sizes, taken, builds_a_year / DAYS_A_YEAR, Key::new(seed, purpose), count);
    let choosing = draw("policy/quantities", CHOOSING);
    // A size that is held has a piece at least.
    let mut levels: Vec<u32> = start.iter().map(|&level| level.max(1)).collect();
    let may_be_short = 1.0 - service;
    raise(&mut levels, sizes, &choosing, |short| short as f64 <= may_be_short * CHOOSING as f64);
    lower(&mut levels, sizes, &choosing, service);
    let count = ((OVER_SHORT / may_be_short.max(1e-12)) as usize).clamp(SAYING.0, SAYING.1);
    let raising = draw("policy/quantities, raising", count);
    let bound = |short: usize| if raising.is_empty() { 0.0 } else { upper_bound(short as u64, count as u64) };
    raise(&mut levels, sizes, &raising, |short| bound(short) <= may_be_short);
    // Those that raised the levels do not say how they serve: others do, and where these do not show it a piece more is held.
    let mut said = (Figure::default(), 1.0);
    for saying in 0..MOST_SAYINGS {
        let fresh = draw(&format!("policy/quantities, saying {saying}"), count);
        let short = short(&levels, &fresh);
        let value = 1.0 - short as f64 / count as f64;
        let standard_error = (value * (1.0 - value) / count as f64).sqrt();
        said = (Figure { value, standard_error }, bound(short));
        if said.1 <= may_be_short || count as f64 * may_be_short < LEAST_SHORT || saying + 1 == MOST_SAYINGS {
            break;
        }
        one_more(&mut levels, sizes, &fresh);
    }
    Ok(Quantities { levels, service: said.0, short_at_most: said.1 })
}

fn moments(sizes: &[Size], taken: &[Vec<u8>], rate: f64, key: Key, count: usize) -> Vec<Moment> {
    let longest = sizes.iter().map(|size| size.lead_days).fold(0.0, f64::max);
    let some: Vec<&Vec<u8>> = taken.iter().filter(|takes| takes.iter().any(|&n| n > 0)).collect();
    if some.is_empty() {
        return Vec::new();
    }
    // Builds that take nothing do not touch the drawer: what is left is a thinned Poisson stream.
    let rate = rate * some.len() as f64 / taken.len() as f64;
    (0..count as u64)
        .map(|moment| {
            let mut stream = key.stream(moment);
            let pick = |u: f64| some[((u * some.len() as f64) as usize).min(some.len() - 1)];
            let takes = pick(stream.uniform()).iter().map(|&n| u32::from(n)).collect();
            let mut on_order = vec![0; sizes.len()];
            let mut age = -stream.uniform().ln() / rate;
            while age < longest {
                for ((on_order, &n), size) in on_order.iter_mut().zip(pick(stream.uniform())).zip(sizes) {
                    *on_order += if age < size.lead_days { u32::from(n) } else { 0 };
                }
                age -= stream.uniform().ln() / rate;
            }
            Moment { on_order, takes }
        })
        .collect()
}

fn finds(levels: &[u32], moment: &Moment) -> bool {
    let of_sizes = levels.iter().zip(&moment.on_order).zip(&moment.takes);
    of_sizes.into_iter().all(|((&level, &out), &n)| n == 0 || level >= out + n)
}

/// Moments in which the build does not find its pieces.
fn short(levels: &[u32], moments: &[Moment]) -> usize {
    moments.iter().filter(|moment| !finds(levels, moment)).count()
}

/// Pieces added one by one where each helps most for its money, until so few moments are short as `enough` asks.
fn raise(levels: &mut [u32], sizes: &[Size], moments: &[Moment], enough: impl Fn(usize) -> bool) {
    for _ in 0..MOST_STEPS {
        if enough(short(levels, moments)) || !one_more(levels, sizes, moments) {
            return;
        }
    }
}

/// One piece more: of the size that helps most of the short moments for its money. Where no single piece helps, of the size that is short in most
/// of them: two are needed together. `false` where no moment is short.
fn one_more(levels: &mut [u32], sizes: &[Size], moments: &[Moment]) -> bool {
    let short: Vec<&Moment> = moments.iter().filter(|moment| !finds(levels, moment)).collect();
    if short.is_empty() {
        return false;
    }
    let helped = |k: usize| {
        let mut with = levels.to_vec();
        with[k] += 1;
        short.iter().filter(|moment| finds(&with, moment)).count() as f64
    };
    let lacking = |k: usize| {
        let lacks = |m: &&&Moment| m.takes[k] > 0 && levels[k] < m.on_order[k] + m.takes[k];
        short.iter().filter(lacks).count() as f64
    };
    let best_by = |of: &dyn Fn(usize) -> f64| {
        let worth = |k: usize| of(k) / sizes[k].cost.max(1e-9);
        (0..levels.len()).filter(|&k| of(k) > 0.0).max_by(|&a, &b| worth(a).total_cmp(&worth(b)).then(b.cmp(&a)))
    };
    let Some(k) = best_by(&helped).or_else(|| best_by(&lacking)) else { return false };
    levels[k] += 1;
    true
}

/// Pieces that are not needed out again, the dearest first.
fn lower(levels: &mut [u32], sizes: &[Size], moments: &[Moment], wanted: f64) {
    let mut order: Vec<usize> = (0..levels.len()).collect();
    order.sort_by(|&a, &b| sizes[b].cost.total_cmp(&sizes[a].cost).then(a.cmp(&b)));
    for k in order {
        while levels[k] > 1 {
            levels[k] -= 1;
            if short(levels, moments) as f64 > (1.0 - wanted) * moments.len() as f64 {
                levels[k] += 1;
                break;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use super::*;
    use packdrift_stock::policy::{PoissonDemand, fill_rate};

    /// One size, one piece a build: the share that finds its piece is the Poisson fill rate, P(on order < level).
    #[test]
    fn one_size_is_the_poisson_fill_rate() {
        let size = Size {
            name: "0.40".to_owned(),
            thickness: 0.4,
            bias: 0.0,
            between: 0.0,
            within: 0.0,
            cost: 1.0,
            lead_days: 20.0,
        };
        let found = quantities(&[size], &[vec![1]], 0.3 * DAYS_A_YEAR, &[1], (0.95, 7)).unwrap();
        let demand = PoissonDemand::new(6.0).unwrap();
        let exact = fill_rate(&demand, found.levels[0]);
        assert!((found.service.value - exact).abs() < 4.0 * found.service.standard_error, "{found:?} {exact}");
        assert!(exact >= 0.95 && fill_rate(&demand, found.levels[0] - 1) < 0.95, "{found:?} {exact}");
    }

    fn size(name: &str, lead_days: f64) -> Size {
        Size { name: name.to_owned(), thickness: 0.4, bias: 0.0, between: 0.0, within: 0.0, cost: 1.0, lead_days }
    }

    /// Of nothing short among the moments the share that may be short all the same is said, and it is below what is allowed.
    #[test]
    fn a_service_near_one_is_shown_by_enough_moments() {
        let demand = PoissonDemand::new(3.0).unwrap();
        for seed in 0..10 {
            let found = quantities(&[size("0.40", 10.0)], &[vec![1]], 0.3 * DAYS_A_YEAR, &[1], (0.9999, seed)).unwrap();
            let exact = 1.0 - fill_rate(&demand, found.levels[0]);
            assert!(found.short_at_most <= 1e-4 && exact <= 1e-4, "{seed}: {found:?} {exact}");
        }
    }

    /// Builds that take two pieces of each of two sizes: no single piece helps, and yet no level runs away.
    #[test]
    fn where_two_pieces_are_needed_together_no_level_runs_away() {
        let sizes = [size("0.30", 30.0), size("0.50", 30.0)];
        let found = quantities(&sizes, &[vec![2, 2]], 20.0, &[1, 1], (0.999, 2)).unwrap();
        assert!(found.short_at_most <= 1e-3 && found.levels.iter().all(|&level| level < 30), "{found:?}");
    }
}
