//! What repeated readings are worth: their mean, and the part of the gauge's error that no repeat takes away.
//!
//! A reading is offset + s + e: s is the same each time (a zero error, the same wrong clocking), e is another each time. With the standard
//! uncertainty u of a reading and its repeatability r, the standard deviation of e, so that u² = var(s) + r², the mean of n readings has
//!
//! ```text
//! u_n² = u² − r²·(1 − 1/n)
//! ```
//!
//! where
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | u | standard uncertainty of one reading | mm |
//! | r | repeatability: standard deviation of readings of one state | mm |
//! | n | readings of one state | 1 |
//!
//! JCGM 100:2008: r²/n is 4.2.3 (Type A); what is evaluated otherwise (4.3, Type B) does not go with n, since it is common to all n readings: 5.2.2
//! with the covariance var(s) of each two of them. Unless r is stated it is what the readings' own scatter shows of it: the lower 95 % bound
//! Σ(y − ȳ)²/χ²₀.₉₅(n − 1), at most u². Equal readings show nothing. A stated r counts as far as the readings bear it out: not above the upper 95 % bound of
//! their scatter, rounding to 0.01 mm allowed for, and not at all where they scatter more.
//!
//! s is also the same before and after a build. Of pieces that are exchanged the difference of two readings tells without s, and how well it does is
//! not known where r is not: it is learned with u for both, the safe side. But the offset never becomes better known than one mean of all its readings
//! makes it; what learning took away beyond that is given back along the stem's axis, which moves the offset and nothing else.

use super::readings::{Prediction, agree};
use super::{Bench, GAUGE_DOUBT, Measured, Warning};
use crate::beliefs::Beliefs;
use crate::error::StockError;
use packdrift_numerics::special::chi_squared_quantile;

/// What has been read of a valve so far.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct ReadSoFar {
    valve: String,
    /// Readings that were believed, of all states in which the bay was tight.
    count: usize,
    /// Variance of the offset before the first of them, mm²: by what is believed, and by what would be with a worse gauge.
    before: [f64; 2],
    /// Smallest u_n² of a state, mm².
    best: f64,
}

/// The mean of some readings of one state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanReading {
    /// How many.
    pub count: usize,
    /// ȳ, mm.
    pub mean: f64,
    /// What of a reading's variance is shown to differ from one to the next, mm².
    shown: f64,
    /// u_n, mm.
    pub u: f64,
    /// Whether the readings scatter more than the stated uncertainty of one allows, or the stated repeatability; then nothing is averaged, and `u` is
    /// what they scatter by if that is more.
    pub beyond_stated: bool,
}

impl MeanReading {
    /// None where there is no reading.
    pub(super) fn of(readings: &[f64], u: f64, repeatability: Option<f64>) -> Option<Self> {
        let count = readings.len();
        let n = count as f64;
        let mean = readings.iter().sum::<f64>() / n;
        if count == 0 {
            return None;
        }
        let squares: f64 = readings.iter().map(|y| (y - mean).powi(2)).sum();
        let at_least = if count > 1 { squares / chi_squared_quantile(n - 1.0, LOWER) } else { 0.0 };
        let beyond_repeatability = repeatability.is_some_and(|stated| at_least > stated * stated + ROUNDED);
        let beyond_stated = at_least > u * u || beyond_repeatability;
        // Readings that are nearer together than the stated repeatability allows do not bear it out: what is the same each time is not averaged.
        let freedom = (n - 1.0).max(1.0);
        let at_most = (squares + (n - 1.0) * ROUNDED) / chi_squared_quantile(freedom, 1.0 - LOWER);
        let shown = match repeatability {
            _ if beyond_stated => 0.0,
            Some(stated) => (stated * stated).min(u * u).min(at_most),
            None => at_least,
        };
        // A gauge that is clearly worse than stated is as bad as its readings show.
        let clearly = if count > 1 { squares / chi_squared_quantile(freedom, CLEARLY) } else { 0.0 };
        let is_worse = clearly > u * u || repeatability.is_some_and(|stated| clearly > stated * stated + ROUNDED);
        let of_one = if is_worse { (u * u).max(squares / freedom) } else { u * u };
        Some(Self { count, mean, shown, u: (of_one - shown * (1.0 - 1.0 / n)).max(0.0).sqrt(), beyond_stated })
    }
}

/// Variance of rounding to a hundredth of a millimetre, the coarsest that an offset is read to, mm².
const ROUNDED: f64 = 0.01 * 0.01 / 12.0;
/// A repeatability counts as far as the scatter of the readings shows it with this confidence.
const LOWER: f64 = 0.95;
/// A gauge is taken to be worse than stated where sound readings scatter so far once in a thousand times.
const CLEARLY: f64 = 0.999;
/// A bay whose play makes a reading this many times as uncertain as the gauge does is too loose for its readings to count as repeats.
const TIGHT: f64 = 2.0;

impl Bench {
    /// Learns the mean of the readings of a state that are believed, `with` (one for each of them), and no more of the gauge than they show.
    ///
    /// # Errors
    ///
    /// An unknown valve, an uncertainty that cannot be, a bay that cannot be assembled by the model.
    pub(super) fn learn_mean(&mut self, m: &Measured, with: &[bool]) -> Result<(), StockError> {
        let readings: Vec<f64> = m.readings.iter().zip(with).filter(|(_, with)| **with).map(|(&y, _)| y).collect();
        let Some(read) = MeanReading::of(&readings, m.u, m.repeatability) else { return Ok(()) };
        // Readings of one untouched state are held against each other, whenever they were given: where they scatter more than the gauge can, the offset is not
        // known better than a gauge as bad as they show makes it, whatever was learned of it before.
        let all_of_it = [self.before_of(m), readings.clone()].concat();
        let worse =
            MeanReading::of(&all_of_it, m.u, m.repeatability).filter(|all| all.u > m.u).map(|all| all.u * all.u);
        self.keep(&m.valve, &readings);
        let prediction = self.predict(&m.valve, m.u)?;
        let Prediction { expected, gradient, u: u_in_the_bay, .. } = &prediction;
        let gauge = [m.u * m.u, GAUGE_DOUBT * GAUGE_DOUBT * m.u * m.u];
        let play = (u_in_the_bay * u_in_the_bay - gauge[0]).max(0.0);
        // A loose bay's play is not averaged: a rocker that nobody pushes lies where it lay.
        let averaged = read.u * read.u / gauge[0].max(f64::MIN_POSITIVE);
        let of_mean = gauge.map(|variance| variance * averaged + play);
        let before = [&self.beliefs, &self.doubted].map(|beliefs| beliefs.variance_of(gradient));
        let tight = if play <= (TIGHT * TIGHT - 1.0) * gauge[0] { read.count } else { 0 };
        let place = self.read_so_far.iter().position(|one| one.valve == m.valve).unwrap_or_else(|| {
            let (valve, best) = (m.valve.clone(), f64::INFINITY);
            self.read_so_far.push(ReadSoFar { valve, count: 0, before, best });
            self.read_so_far.len() - 1
        });
        let so_far = &mut self.read_so_far[place];
        so_far.count += tight;
        so_far.best = so_far.best.min(of_mean[0]);
        let all = so_far.count.max(1) as f64;
        let best = match m.repeatability {
            Some(_) if !read.beyond_stated => (gauge[0] - read.shown * (1.0 - 1.0 / all)).max(0.0),
            _ => so_far.best,
        };
        let floors = [0, 1].map(|k| {
            let (prior, of_all) = (so_far.before[k], best * gauge[k] / gauge[0].max(f64::MIN_POSITIVE));
            let of_worse = worse.map(|worse| worse * gauge[k] / gauge[0].max(f64::MIN_POSITIVE));
            match of_worse {
                Some(worse) if prior + worse > 0.0 => prior * worse / (prior + worse),
                _ if prior + of_all > 0.0 => (prior * of_all / (prior + of_all)).min(before[k]),
                _ => 0.0,
            }
        });
        let shift = |&(entry, slope): &(usize, f64)| slope * (self.doubted.mean(entry) - self.beliefs.mean(entry));
        let expected_by_doubt = expected + gradient.iter().map(shift).sum::<f64>();
        let stem = self.stem_of(&m.valve);
        self.doubted.observe(gradient, expected_by_doubt, read.mean, of_mean[1].sqrt());
        self.beliefs.observe(gradient, *expected, read.mean, of_mean[0].sqrt());
        for (beliefs, floor) in [(&mut self.beliefs, floors[0]), (&mut self.doubted, floors[1])] {
            give_back(beliefs, gradient, stem, floor);
        }
        self.renew_kinds();
        Ok(())
    }

    /// What is to be known of several readings of one state.
    pub(super) fn warn_of_repeats(&mut self, m: &Measured, with: &[bool]) {
        let now = m.readings.iter().zip(with).filter(|(_, with)| **with).map(|(&y, _)| y);
        let believed = self.before_of(m).into_iter().chain(now).collect();
        let Some(read) = (Measured { readings: believed, ..m.clone() }).mean().filter(|read| read.count > 1) else {
            return;
        };
        let valve = m.valve.clone();
        if read.beyond_stated {
            let u = m.repeatability.map_or(m.u, |r| r.min(m.u));
            self.warnings.push(Warning::ScatterBeyondStated { valve, u });
        } else if m.repeatability.is_none() {
            self.warnings.push(Warning::RepeatsOfOneGauge { valve, count: read.count, u: read.u });
        }
    }

    /// The readings of a valve that were believed since anything in the bay was last changed, and that agree with the latest one.
    pub(super) fn before_of(&self, m: &Measured) -> Vec<f64> {
        let stands_by = |y: &f64| m.readings.last().is_some_and(|latest| agree(*y, *latest, m.u));
        let of_the_valve = self.untouched.iter().filter(|one| one.0 == m.valve);
        of_the_valve.flat_map(|one| &one.1).copied().filter(stands_by).collect()
    }

    fn keep(&mut self, valve: &str, readings: &[f64]) {
        match self.untouched.iter_mut().find(|one| one.0 == valve) {
            Some(one) => one.1.extend(readings),
            None => self.untouched.push((valve.to_owned(), readings.to_vec())),
        }
    }

    /// Entry of the beliefs of a valve's stem.
    fn stem_of(&self, valve: &str) -> Option<usize> {
        let valves = &self.pack.bays[self.bay].valves;
        valves.iter().find(|v| v.name == valve).map(|v| self.entry[v.stem.0])
    }
}

/// Widens what is known of the stem until the offset is no better known than `floor`, mm².
fn give_back(beliefs: &mut Beliefs, gradient: &[(usize, f64)], stem: Option<usize>, floor: f64) {
    let slope = |&&(entry, slope): &&(usize, f64)| Some(entry) == stem && slope != 0.0;
    let Some(&(stem, slope)) = gradient.iter().find(slope) else { return };
    let missing = floor - beliefs.variance_of(gradient);
    // What rounding leaves is none.
    if missing > 1e-9 * floor {
        beliefs.loosen(&[(stem, 1.0)], missing / (slope * slope));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 100:2008, 5.2.2, equation (13), with c = 1/n, u(x_i)² = u² and u(x_i, x_j) = u² − r²: n·u²/n² + n(n − 1)(u² − r²)/n².
    #[test]
    fn the_variance_of_the_mean_is_that_of_correlated_readings() {
        let (u, r) = (0.02_f64, 0.012_f64);
        for n in 1..9_i32 {
            // They scatter by r, as such a gauge's do.
            let readings: Vec<f64> = (0..n).map(|k| if k % 2 == 0 { 1.1 + r } else { 1.1 - r }).collect();
            let n = f64::from(n);
            let expected = (n * u * u + n * (n - 1.0) * (u * u - r * r)) / (n * n);
            let found = MeanReading::of(&readings, u, Some(r)).map_or(f64::NAN, |read| read.u * read.u);
            assert!((found - expected).abs() < 1e-15, "{n}: {found} for {expected}");
        }
    }

    #[test]
    fn unless_said_only_the_readings_own_scatter_averages() {
        let of = |readings: &[f64]| MeanReading::of(readings, 0.02, None).map_or(f64::NAN, |read| read.u);
        assert_eq!((of(&[1.135]), of(&[1.135; 8])), (0.02, 0.02));
        // Eight that scatter by 0.02: r² is at least 7·0.02²/14.07 (χ² of 7 degrees at 95 %, any table).
        let spread: Vec<f64> = (0..8).map(|k| 1.1 + if k % 2 == 0 { 0.018_708 } else { -0.018_708 }).collect();
        let expected = (0.02_f64.powi(2) * (1.0 - 7.0 / 14.067 * 7.0 / 8.0)).sqrt();
        assert!((of(&spread) - expected).abs() < 1e-5, "{} for {expected}", of(&spread));
        // Two tell little of their scatter, and less of the gauge.
        assert!(of(&[1.10, 1.12]) > 0.019);
        // More than the gauge can: nothing is averaged, the gauge is as bad as they show, and it is said.
        let wild = MeanReading::of(&[1.0, 1.08, 0.92, 1.05, 0.95], 0.02, Some(0.02));
        assert!(wild.is_some_and(|read| read.beyond_stated && (read.u - 0.066_71).abs() < 1e-4));
        assert_eq!(MeanReading::of(&[], 0.02, None), None);
    }

    #[test]
    fn a_stated_repeatability_counts_as_far_as_the_readings_bear_it_out() {
        let of = |readings: &[f64], r: f64| {
            MeanReading::of(readings, 0.02, Some(r)).map(|read| (read.u, read.beyond_stated))
        };
        // Eight equal readings of a gauge that is said to repeat to 0.02: hardly anything is averaged.
        assert!(of(&[1.085; 8], 0.02).is_some_and(|(u, _)| u > 0.019));
        // Two may well be equal.
        assert!(of(&[1.085; 2], 0.02).is_some_and(|(u, _)| (u - 0.02 / 2.0_f64.sqrt()).abs() < 1e-9));
        // 0.06 apart with a repeatability of 0.001, or of none: not borne out.
        for r in [0.001, 0.0] {
            assert!(of(&[1.10, 1.04, 1.07], r).is_some_and(|(u, beyond)| beyond && (u - 0.03).abs() < 1e-12));
        }
    }
}
