//! Readings of a contact offset: what was expected of them, which are believed, and how a loose bay blurs them.
//!
//! A reading that surprises is doubtful until it is repeated. Every reading, and what was expected, is a witness; readings agree that differ by
//! no more than 3·√2·u, a reading fits what was expected within 3 standard deviations. The latest reading is believed where at least one other
//! witness stands by it, and more stand by it than by any other value; else it has to be read again.

use super::repeats::MeanReading;
use super::{Bench, unknown};
use crate::beliefs::Surprise;
use crate::error::{StockError, within};
use packdrift_numerics::normal::{cdf, pdf};
use packdrift_pack::Quantity;

/// A valve to be shimmed, and its contact offset as measured.
///
/// # Examples
/// ```
/// use packdrift_stock::Measured;
/// let twice = Measured { readings: vec![1.10, 1.11], ..Measured::unread("1 exhaust", 0.02) };
/// assert_eq!(Measured::read("1 exhaust", 1.10, 0.02).readings, twice.readings[..1]);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// The valve's name.
    pub valve: String,
    /// Its contact offset, mm, one value a reading of the same state, the latest last. None: not measured, the pack file is all there is.
    pub readings: Vec<f64>,
    /// Standard uncertainty of a reading, mm: with what is the same each time, and what is not.
    pub u: f64,
    /// Its repeatability, mm, at most `u`: standard deviation of readings of one state, the only part of `u` that a mean of several makes smaller. None: not
    /// known; then only what the readings' own scatter shows of it does.
    pub repeatability: Option<f64>,
}

impl Measured {
    /// A valve that was not measured.
    pub fn unread(valve: impl Into<String>, u: f64) -> Self {
        Self { valve: valve.into(), readings: Vec::new(), u, repeatability: None }
    }

    /// A valve that was measured once.
    pub fn read(valve: impl Into<String>, reading: f64, u: f64) -> Self {
        Self { readings: vec![reading], ..Self::unread(valve, u) }
    }

    /// The mean of its readings, and what that is worth; None where there is none.
    ///
    /// ```
    /// use packdrift_stock::Measured;
    /// let u = |readings: &[f64], repeatability: Option<f64>| -> Option<f64> {
    ///     let eight = Measured { readings: readings.repeat(4), repeatability, ..Measured::unread("1 exhaust", 0.02) };
    ///     eight.mean().map(|mean| (1000.0 * mean.u).round() / 1000.0)
    /// };
    /// // Equal readings show no scatter that could average, nor do they bear out a repeatability that would.
    /// assert_eq!(u(&[1.135, 1.135], None), Some(0.02));
    /// assert_eq!(u(&[1.135, 1.135], Some(0.02)), Some(0.019));
    /// // Where all of it is scatter, eight are worth √8 times one.
    /// assert_eq!(u(&[1.115, 1.155], Some(0.02)), Some(0.007));
    /// ```
    pub fn mean(&self) -> Option<MeanReading> {
        MeanReading::of(&self.readings, self.u, self.repeatability)
    }

    pub(super) fn check(&self) -> Result<(), StockError> {
        for &reading in &self.readings {
            let what = format!("measured offset of \"{}\"", self.valve);
            within(what, reading, "mm", -100.0..=100.0, "between -100 and 100")?;
        }
        match self.repeatability {
            Some(r) if !(0.0..=self.u).contains(&r) => Err(StockError::OutOfRange {
                what: format!("repeatability of the offset of \"{}\"", self.valve),
                value: r,
                unit: "mm",
                expected: "between 0 and the uncertainty of a reading, of which it is a part",
            }),
            _ => Ok(()),
        }
    }
}

/// A reading beside what was expected of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// The valve.
    pub valve: String,
    /// Its contact offset as measured, mm.
    pub reading: f64,
    /// What was expected of the reading before any reading of the same state.
    pub surprise: Surprise,
    /// Whether it is believed: learned, and decided by.
    pub believed: bool,
    /// What it may be, in the condition in which it was read, for every limit of the valve's offset to be kept, mm.
    pub limits: (Option<f64>, Option<f64>),
}

/// A reading this many standard deviations from what was expected is not believed alone.
pub(super) const SURPRISING: f64 = 3.0;

impl Compared {
    /// Not to be believed without a second one: a wrong piece, dirt, a rocker that hangs, a slipped digit.
    pub fn is_surprising(&self) -> bool {
        self.surprise.z.abs() > SURPRISING
    }

    /// Whether the reading itself lies outside the limits.
    pub fn is_outside(&self) -> bool {
        self.limits.0.is_some_and(|lower| self.reading < lower)
            || self.limits.1.is_some_and(|upper| self.reading > upper)
    }
}

/// Which of several readings of one state are believed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Believed {
    /// One for each reading: it agrees with the latest.
    pub(super) with_latest: Vec<bool>,
    /// The latest stands alone, or others contradict it as strongly: read again.
    pub(super) doubtful: bool,
    /// What the latest agrees on is not what was expected.
    pub(super) unexpected: bool,
}

/// `expected` ± `sd`: of a reading, before any of these was taken. `u`: of one reading.
pub(super) fn believe(readings: &[f64], expected: f64, sd: f64, u: f64) -> Believed {
    let agree = |a: f64, b: f64| agree(a, b, u);
    let fits = |y: f64| (y - expected).abs() <= SURPRISING * sd + ROUNDING;
    let Some(&latest) = readings.last() else {
        return Believed { with_latest: Vec::new(), doubtful: false, unexpected: false };
    };
    let with_latest: Vec<bool> = readings.iter().map(|&y| agree(y, latest)).collect();
    let witnesses = |value: f64, among: &dyn Fn(usize) -> bool| {
        let agreeing = readings.iter().enumerate().filter(|&(k, &y)| among(k) && agree(y, value)).count();
        agreeing + usize::from(fits(value))
    };
    let own = witnesses(latest, &|k| with_latest[k]);
    let against = |k: &usize| !with_latest[*k];
    let rival = (0..readings.len()).filter(against).map(|k| witnesses(readings[k], &|j| !with_latest[j])).max();
    Believed { with_latest, doubtful: own < 2 || rival.is_some_and(|rival| rival >= own), unexpected: !fits(latest) }
}

/// Whether two readings of one state agree.
pub(super) fn agree(a: f64, b: f64, u: f64) -> bool {
    (a - b).abs() <= SURPRISING * std::f64::consts::SQRT_2 * u + ROUNDING
}

/// What rounding may add to a difference of readings, mm.
const ROUNDING: f64 = 1e-9;

/// What is expected of a reading, and how it answers to the lengths.
pub(super) struct Prediction {
    pub(super) expected: f64,
    /// By entry of the beliefs.
    pub(super) gradient: Vec<(usize, f64)>,
    /// Standard uncertainty of a reading about the offset's middle: the gauge's, and a loose bay's, mm.
    pub(super) u: f64,
    /// Standard deviation of the reading about `expected`, mm.
    pub(super) sd: f64,
}

impl Bench {
    /// What a reading of a valve's offset with uncertainty `u` is expected to be now.
    pub(super) fn predict(&self, valve: &str, u: f64) -> Result<Prediction, StockError> {
        within(format!("uncertainty of the offset of \"{valve}\""), u, "mm", 0.0..=10.0, "between 0 and 10")?;
        let bay = &self.pack.bays[self.bay];
        let index = bay.valves.iter().position(|v| v.name == valve).ok_or_else(|| unknown(&self.pack, valve))?;
        let quantity = Quantity::Offset { bay: self.bay, valve: index };
        let mut gradient = vec![0.0; self.pack.dimensions.len()];
        let expected = self
            .pack
            .gradient(&quantity, self.condition, &self.values(), &mut gradient)
            .ok_or_else(|| StockError::CannotAssemble { bay: bay.name.clone() })?;
        let gradient: Vec<(usize, f64)> =
            gradient.iter().enumerate().filter(|&(_, &g)| g != 0.0).map(|(d, &g)| (self.entry[d], g)).collect();
        // In a loose bay a rocker lies anywhere between its ends: a rectangle as wide as the play.
        let u = (u * u + self.looseness().mean_square_play / 12.0).sqrt();
        let sd = (self.beliefs.variance_of(&gradient) + u * u).sqrt();
        Ok(Prediction { expected, gradient, u, sd })
    }

    /// Learns the thickness of a piece of the bay that was taken out and measured, mm, with the micrometer's standard uncertainty `u`.
    ///
    /// # Errors
    ///
    /// A part that the bay does not have, or that is no shim or washer; a thickness or an uncertainty that cannot be.
    pub fn observe_piece(&mut self, name: &str, thickness: f64, u: f64) -> Result<Surprise, StockError> {
        within(format!("thickness of \"{name}\""), thickness, "mm", 0.001..=50.0, "between 0.001 and 50")?;
        within(format!("uncertainty of \"{name}\""), u, "mm", 0.0..=1.0, "between 0 and 1")?;
        let fitted = self.layout.fitted.iter().find(|f| f.name == name).ok_or_else(|| StockError::NoSuchPiece {
            name: name.to_owned(),
            known: self.layout.fitted.iter().map(|f| f.name.as_str()).collect::<Vec<_>>().join(", "),
        })?;
        let entry = self.entry[fitted.dimension];
        self.doubted.observe(&[(entry, 1.0)], self.doubted.mean(entry), thickness, u);
        let surprise = self.beliefs.observe(&[(entry, 1.0)], self.beliefs.mean(entry), thickness, u);
        self.renew_kinds();
        Ok(surprise)
    }

    /// What is now thought of the drawer's pieces.
    pub(super) fn renew_kinds(&mut self) {
        for kind in &mut self.kinds {
            if let Some(entry) = kind.entry {
                kind.thickness = self.beliefs.mean(entry);
            }
        }
    }

    /// How loose the bay may be where its offsets are read.
    pub(super) fn looseness(&self) -> Looseness {
        let x = self.values();
        let interference = |x: &[f64]| match self.pack.equilibrium(self.bay, self.condition, x) {
            Ok(state) => state.interference,
            Err(refused) => refused.interference,
        };
        let mean = interference(&x);
        let mut at = x.clone();
        let mut gradient = Vec::new();
        for (d, &entry) in self.entry.iter().enumerate().filter(|&(_, &e)| self.beliefs.covariance(e, e) > 0.0) {
            at[d] = x[d] + STEP;
            let slope = (interference(&at) - mean) / STEP;
            at[d] = x[d];
            // What is left of rounding in dimensions that do not matter.
            if slope.is_finite() && slope.abs() > 1e-6 {
                gradient.push((entry, slope));
            }
        }
        Looseness::new(mean, self.beliefs.variance_of(&gradient).sqrt())
    }
}

/// D is linear in nearly all lengths: any step does, mm.
const STEP: f64 = 1e-3;

/// Play of a bay whose interference is N(mean, sd²): P(D < 0) and E[max(0, −D)²] = (mean² + sd²)·Φ(−mean/sd) − mean·sd·φ(mean/sd).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Looseness {
    /// The chance that there is play.
    pub(super) chance: f64,
    /// mm².
    pub(super) mean_square_play: f64,
}

impl Looseness {
    fn new(mean: f64, sd: f64) -> Self {
        if !mean.is_finite() {
            return Self { chance: 0.0, mean_square_play: 0.0 };
        }
        if sd <= 0.0 {
            let play = (-mean).max(0.0);
            return Self { chance: f64::from(u8::from(play > 0.0)), mean_square_play: play * play };
        }
        let z = mean / sd;
        let square = (mean * mean + sd * sd) * cdf(-z) - mean * sd * pdf(z);
        Self { chance: cdf(-z), mean_square_play: square.max(0.0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(readings: &[f64]) -> Believed {
        believe(readings, 1.0, 0.03, 0.02)
    }

    #[test]
    fn a_surprise_is_doubtful_until_it_is_repeated() {
        assert!(!of(&[1.05]).doubtful && !of(&[1.05]).unexpected);
        assert!(of(&[1.20]).doubtful);
        // Repeated: believed against what was expected.
        let twice = of(&[1.20, 1.21]);
        assert!(!twice.doubtful && twice.unexpected && twice.with_latest == [true, true]);
        // Not repeated, and the second one is as expected: the first was a slip.
        let slip = of(&[1.20, 1.01]);
        assert!(!slip.doubtful && !slip.unexpected && slip.with_latest == [false, true]);
        // Three values, three ways.
        assert!(of(&[1.20, 1.40]).doubtful);
        // A wild one after a good one is doubtful, too.
        assert!(of(&[1.01, 1.40]).doubtful);
        assert!(!of(&[1.01, 1.40, 1.01]).doubtful);
        // Two against one and what was expected: a tie is read again, a further one decides.
        assert!(of(&[1.20, 1.21, 1.01]).doubtful && !of(&[1.20, 1.21, 1.01, 1.0]).doubtful);
    }

    /// E[max(0, −D)²] against Simpson's rule.
    #[test]
    fn mean_square_play_is_the_integral() {
        for (mean, sd) in [(-0.84, 0.03), (0.0, 0.05), (0.05, 0.04), (0.3, 0.03)] {
            let (n, from, to) = (4000, mean - 9.0 * sd, 0.0_f64.min(mean + 9.0 * sd));
            let h = (to - from) / f64::from(n);
            let f = |d: f64| d * d * pdf((d - mean) / sd) / sd;
            let sum: f64 = (0..=n)
                .map(|k| {
                    let weight = if k == 0 || k == n { 1.0 } else { 2.0 + 2.0 * f64::from(k % 2) };
                    weight * f(from + h * f64::from(k))
                })
                .sum();
            let expected = if to > from { sum * h / 3.0 } else { 0.0 };
            let found = Looseness::new(mean, sd).mean_square_play;
            assert!((found - expected).abs() < 1e-9, "{mean} ± {sd}: {found} for {expected}");
        }
    }
}
