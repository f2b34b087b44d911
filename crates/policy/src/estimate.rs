//! What a choice comes to: shares, costs and what they are made of.

use crate::question::{Choice, Question};
use crate::shop::{CeilingFor, Packets};
use crate::simulate::{Ready, Tally, Year};
use packdrift_numerics::special::beta_quantile;
use packdrift_stock::policy::PoissonDemand;

/// A figure and its standard error.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Figure {
    /// The estimate.
    pub value: f64,
    /// Its standard error, of simulation.
    pub standard_error: f64,
}

/// What a build costs, part by part.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Parts {
    /// The tolerances, level by level of each priced dimension.
    pub tolerances: Vec<f64>,
    /// Minutes to read offsets.
    pub reading: f64,
    /// Minutes to open and close.
    pub opening: f64,
    /// Minutes for parts touched.
    pub touching: f64,
    /// Pieces, by size held.
    pub pieces: Vec<f64>,
    /// To measure pieces.
    pub measuring: f64,
    /// What tighter lots cost more.
    pub tighter: f64,
    /// To hold what lies in the drawer.
    pub holding: f64,
    /// To hold the sizes.
    pub sizes: f64,
}

impl Parts {
    /// All of it.
    pub fn total(&self) -> f64 {
        self.tolerances.iter().sum::<f64>() + self.besides()
    }

    /// All but the tolerances.
    pub fn besides(&self) -> f64 {
        let minutes = self.reading + self.opening + self.touching;
        minutes + self.pieces.iter().sum::<f64>() + self.measuring + self.tighter + self.holding + self.sizes
    }
}

/// A size of the drawer.
#[derive(Debug, Clone, PartialEq)]
pub struct HeldSize {
    /// Index into the catalogue.
    pub size: usize,
    /// Pieces taken, a build.
    pub taken: f64,
    /// How many to hold.
    pub level: u32,
}

/// What a choice comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate {
    /// The choice.
    pub choice: Choice,
    /// Builds drawn for it.
    pub builds: u64,
    /// Share outside with nothing but the drawn pieces.
    pub out_drawn: Figure,
    /// Share outside after the first fitting.
    pub out_first: Figure,
    /// Share outside after the last.
    pub out: Figure,
    /// It is not above this, at three standard errors: of what the ceiling holds for.
    pub bound: f64,
    /// What the ceiling holds for: the share, or that of a bad year.
    pub held_to: f64,
    /// Of years that keep their packets: the share that 95 % of them are below.
    pub bad_year: Option<f64>,
    /// Share of builds left loose, where a requirement rests on a spring washer that presses on nothing then; and what it is not above.
    pub loose: (f64, f64),
    /// Share of builds in which a part was touched at the first fitting, and at a second.
    pub fitted: f64,
    /// See [`Estimate::fitted`].
    pub fitted_again: f64,
    /// Readings of offsets, a build.
    pub readings: f64,
    /// Cost of a build.
    pub cost: Figure,
    /// What it is made of.
    pub parts: Parts,
    /// The drawer.
    pub drawer: Vec<HeldSize>,
    /// Share of builds that find their pieces in the drawer, where it was drawn.
    pub service: Option<Figure>,
    /// The share whose pieces are not there is not above this, at three standard errors.
    pub short_at_most: Option<f64>,
}

impl Estimate {
    /// From what happened. `levels`: how many of each size are held; None: as many as a Poisson demand of its mean asks for, each on its own.
    pub(crate) fn new(
        question: &Question,
        choice: &Choice,
        ready: &Ready<'_>,
        tally: &Tally,
        levels: Option<&[u32]>,
    ) -> Self {
        let n = tally.builds.max(1) as f64;
        let share = |count: u64| {
            let p = count as f64 / n;
            Figure { value: p, standard_error: (p * (1.0 - p) / n).sqrt() }
        };
        let drawer = drawer(question, ready, tally, choice, levels);
        let parts = parts(question, choice, ready, tally, &drawer);
        let changing = tally.cost / n;
        let variance = (tally.cost_square / n - changing * changing).max(0.0);
        let years = years(question, tally);
        let (held_to, bound) = match years.as_ref().zip(Some(question.shop.ceiling_for)) {
            Some((years, CeilingFor::BadYear)) => (years.bad, years.bad_bound),
            Some((years, CeilingFor::Mean)) => (tally.out(), years.mean_bound),
            None => (tally.out(), upper_bound(tally.out_last, tally.builds)),
        };
        let [mut out_drawn, mut out_first, mut out] = [tally.out_drawn, tally.out_first, tally.out_last].map(share);
        let mut of_cost = (variance / n).sqrt();
        if let Some(years) = &years {
            // The builds of a year share its packets: only the years are independent.
            [&mut out_drawn, &mut out_first, &mut out].into_iter().zip(years.errors).for_each(|(figure, error)| {
                figure.standard_error = error;
            });
            of_cost = years.of_cost;
        }
        Self {
            choice: choice.clone(),
            builds: tally.builds,
            out_drawn,
            out_first,
            out,
            bound,
            held_to,
            bad_year: years.map(|years| years.bad),
            loose: (tally.loose as f64 / n, upper_bound(tally.loose, tally.builds)),
            fitted: tally.fitted as f64 / n,
            fitted_again: tally.fitted_again as f64 / n,
            readings: tally.readings as f64 / n,
            cost: Figure { value: parts.total(), standard_error: of_cost },
            parts,
            drawer,
            service: None,
            short_at_most: None,
        }
    }

    /// Cost of a year's builds.
    pub fn cost_a_year(&self, builds: f64) -> Figure {
        Figure { value: self.cost.value * builds, standard_error: self.cost.standard_error * builds }
    }
}

fn drawer(
    question: &Question,
    ready: &Ready<'_>,
    tally: &Tally,
    choice: &Choice,
    levels: Option<&[u32]>,
) -> Vec<HeldSize> {
    let n = tally.builds.max(1) as f64;
    let held = choice.held().into_iter().zip(ready.sizes()).enumerate();
    held.map(|(at, (size, data))| {
        let taken = tally.takes.get(at).copied().unwrap_or(0) as f64 / n;
        let mean = taken * question.prices.builds() / DAYS_A_YEAR * data.lead_days;
        let on_its_own = || {
            let demand = PoissonDemand::new(mean).ok().filter(|_| mean > 0.0);
            demand.map_or(u32::from(taken > 0.0), |demand| demand.quantile(question.shop.service) + 1)
        };
        let level = levels.and_then(|levels| levels.get(at).copied()).unwrap_or_else(on_its_own);
        HeldSize { size, taken, level }
    })
    .collect()
}

pub(crate) const DAYS_A_YEAR: f64 = 365.25;

fn parts(question: &Question, choice: &Choice, ready: &Ready<'_>, tally: &Tally, drawer: &[HeldSize]) -> Parts {
    let (prices, n) = (&question.prices, tally.builds.max(1) as f64);
    let a_build = |count: u64, price: f64| count as f64 / n * price;
    let all: u64 = tally.takes.iter().sum();
    let besides = a_build(all, ready.of_a_piece());
    let measured = choice.pieces == crate::question::Pieces::Measured;
    let tighter = choice.pieces == crate::question::Pieces::Tighter;
    let held: f64 = drawer.iter().map(|h| f64::from(h.level)).sum();
    let worth: f64 = drawer.iter().map(|h| f64::from(h.level) * question.catalogue[h.size].cost).sum();
    let builds = prices.builds();
    let mut measuring = if measured { besides } else { 0.0 };
    if ready.measures_the_drawer() {
        measuring += held * prices.measuring.unwrap_or(0.0) / builds;
    }
    if question.shop.drawn_measured && choice.sizes != 0 {
        let pieces: usize = question.bays.iter().map(|bay| bay.drawn().len()).sum();
        measuring += pieces as f64 * prices.measuring.unwrap_or(0.0);
    }
    let tolerance = |(p, &l): (&crate::question::Priced, &u8)| p.levels[usize::from(l)].price;
    Parts {
        tolerances: question.priced.iter().zip(&choice.levels).map(tolerance).collect(),
        reading: a_build(tally.readings, prices.minutes(prices.read_minutes)),
        opening: a_build(tally.openings, prices.minutes(prices.open_minutes)),
        touching: a_build(tally.touched, prices.minutes(prices.piece_minutes)),
        pieces: drawer.iter().map(|h| h.taken * question.catalogue[h.size].cost).collect(),
        measuring,
        tighter: if tighter { besides } else { 0.0 },
        holding: worth * prices.holding() / builds,
        sizes: drawer.len() as f64 * prices.size_a_year.unwrap_or(0.0) / builds,
    }
}

/// How the years differ.
struct Years {
    /// Standard errors of the shares outside as drawn, after the first fitting, after the last.
    errors: [f64; 3],
    /// Standard error of the cost of a build.
    of_cost: f64,
    mean_bound: f64,
    bad: f64,
    bad_bound: f64,
}

/// Standard errors of a bound (docs/verdicts.md, rule 6).
pub(crate) const SURE: f64 = 3.0;
/// The years that a bad year is worse than.
const BAD_YEAR: f64 = 0.95;

fn years(question: &Question, tally: &Tally) -> Option<Years> {
    if question.shop.packets != Packets::Year || tally.years.len() < 2 {
        return None;
    }
    let builds = tally.builds as f64 / tally.years.len() as f64;
    let of_shop = question.builds_of_a_year() as f64;
    let y = tally.years.len() as f64;
    let mean_and_error = |of: &dyn Fn(&Year) -> f64| {
        let mean = tally.years.iter().map(of).sum::<f64>() / y / builds;
        let square: f64 = tally.years.iter().map(|year| (of(year) / builds - mean).powi(2)).sum();
        (mean, (square / (y - 1.0) / y).sqrt())
    };
    let (mean, standard_error) = mean_and_error(&|year| f64::from(year.out_last));
    let error = |of: &dyn Fn(&Year) -> f64| mean_and_error(of).1;
    let errors = [error(&|year| f64::from(year.out_drawn)), error(&|year| f64::from(year.out_first)), standard_error];
    let of_cost = error(&|year| year.cost);
    let mut shares: Vec<f64> = tally.years.iter().map(|year| f64::from(year.out_of_shop) / of_shop).collect();
    shares.sort_by(f64::total_cmp);
    // Without any build outside in any year the scatter of the years says nothing: then as if every build were by itself.
    let alone = upper_bound(tally.out_last, tally.builds);
    let rank = (BAD_YEAR * y + SURE * (y * BAD_YEAR * (1.0 - BAD_YEAR)).sqrt()).ceil() as usize;
    Some(Years {
        errors,
        of_cost,
        mean_bound: (mean + SURE * standard_error).max(alone),
        bad: packdrift_numerics::quantile::of_sorted(&shares, BAD_YEAR),
        bad_bound: shares.get(rank).copied().unwrap_or(1.0),
    })
}

/// The exact upper limit of a share, by C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404–413, at the confidence that three
/// standard errors of a normal have on one side.
pub(crate) fn upper_bound(count: u64, of: u64) -> f64 {
    if count >= of {
        return 1.0;
    }
    let confidence = packdrift_numerics::normal::cdf(SURE);
    beta_quantile(count as f64 + 1.0, (of - count) as f64, confidence).0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// With none outside the limit is 1 − (1 − confidence)^(1/n), in closed form.
    #[test]
    fn none_outside_still_has_a_bound() {
        for n in [10_u64, 1000, 65_536] {
            let tail: f64 = 1.0 - packdrift_numerics::normal::cdf(3.0);
            let exact = 1.0 - tail.powf(1.0 / n as f64);
            assert!((upper_bound(0, n) / exact - 1.0).abs() < 1e-9, "{n}");
        }
        assert_eq!(upper_bound(5, 5), 1.0);
    }
}
