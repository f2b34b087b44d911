//! How many of each size to hold, so that builds find their pieces.
//!
//! Every piece taken is ordered again at once and comes after its lead time (base stock, one for one; a build whose pieces are short waits
//! for them). Then what is on order at a moment is what the builds of the last lead time took, and a build finds its pieces where the
//! levels less that are at least what it takes. Builds come at random times (Poisson), and a Poisson stream looks at the drawer as it is
//! at any moment; so drawing the builds of the last lead time is the whole simulation, with nothing to warm up. All sizes see the same
//! builds, since one build takes of several.

use crate::error::PolicyError;
use crate::estimate::{DAYS_A_YEAR, Figure, SURE};
use packdrift_numerics::stream::Key;
use packdrift_stock::Size;

/// Moments that choose levels, and fresh ones that say how they serve.
const CHOOSING: usize = 4000;
const SAYING: usize = 20_000;
/// Builds in the longest lead time at the most.
const MOST_BUILDS: f64 = 2000.0;
/// Pieces added at the most.
const MOST_STEPS: usize = 200;

/// Levels, and the share of builds that find their pieces.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Quantities {
    pub(crate) levels: Vec<u32>,
    pub(crate) service: Figure,
    /// The wanted service is shown, at three standard errors.
    pub(crate) shown: bool,
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
    let longest = sizes.iter().map(|size| size.lead_days).fold(0.0, f64::max);
    let in_lead = builds_a_year / DAYS_A_YEAR * longest;
    if in_lead > MOST_BUILDS {
        return Err(PolicyError::Number {
            what: "the number of builds in the longest lead time",
            value: in_lead,
            expected: "at most 2000",
        });
    }
    let draw =
        |purpose: &str, count| moments(sizes, taken, builds_a_year / DAYS_A_YEAR, Key::new(seed, purpose), count);
    let choosing = draw("policy/quantities", CHOOSING);
    // A size that is held has a piece at least.
    let mut levels: Vec<u32> = start.iter().map(|&level| level.max(1)).collect();
    raise(&mut levels, sizes, &choosing, service, 0.0);
    lower(&mut levels, sizes, &choosing, service);
    let saying = draw("policy/quantities, fresh", SAYING);
    raise(&mut levels, sizes, &saying, service, SURE);
    let figure = served(&levels, &saying);
    let shown = figure.value - SURE * figure.standard_error >= service;
    Ok(Quantities { levels, service: figure, shown })
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

fn served(levels: &[u32], moments: &[Moment]) -> Figure {
    if moments.is_empty() {
        return Figure { value: 1.0, standard_error: 0.0 };
    }
    let found = |m: &&Moment| {
        levels.iter().zip(&m.on_order).zip(&m.takes).all(|((&level, &out), &n)| n == 0 || level >= out + n)
    };
    let n = moments.len() as f64;
    let value = moments.iter().filter(found).count() as f64 / n;
    Figure { value, standard_error: (value * (1.0 - value) / n).sqrt() }
}

/// One piece more where it helps most for its money, until the service is reached.
fn raise(levels: &mut [u32], sizes: &[Size], moments: &[Moment], wanted: f64, sure: f64) {
    for _ in 0..MOST_STEPS {
        let now = served(levels, moments);
        if now.value - sure * now.standard_error >= wanted {
            return;
        }
        let mut best: Option<(f64, usize)> = None;
        for k in 0..levels.len() {
            levels[k] += 1;
            let gain = (served(levels, moments).value - now.value) / sizes[k].cost.max(1e-9);
            levels[k] -= 1;
            if best.is_none_or(|(most, _)| gain > most) {
                best = Some((gain, k));
            }
        }
        let Some((_, k)) = best else { return };
        levels[k] += 1;
    }
}

/// Pieces that are not needed out again, the dearest first.
fn lower(levels: &mut [u32], sizes: &[Size], moments: &[Moment], wanted: f64) {
    let mut order: Vec<usize> = (0..levels.len()).collect();
    order.sort_by(|&a, &b| sizes[b].cost.total_cmp(&sizes[a].cost).then(a.cmp(&b)));
    for k in order {
        while levels[k] > 1 {
            levels[k] -= 1;
            if served(levels, moments).value < wanted {
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
}
