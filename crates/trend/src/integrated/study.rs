//! How often the word of the integrated model comes true, on made fleets of every size and kind.
//!
//! `cargo test -p packdrift-trend --lib integrated::study -- --nocapture` runs the short form; `PACKDRIFT_STUDY=whole` all of it,
//! `PACKDRIFT_STUDY=valves/readings/fleets/truth` a cell.
#![allow(clippy::print_stdout, clippy::unwrap_used, reason = "a study prints its table")]

use super::histories::ReadingError;
use super::made::{ALL, Made, READING, Truth, fleet, structured};
use super::{Answer, integrate};

/// Counts over fleets of one kind.
#[derive(Debug, Clone, Default)]
pub(crate) struct Count {
    pub(crate) fleets: usize,
    pub(crate) valves: f64,
    pub(crate) level: f64,
    pub(crate) half: f64,
    pub(crate) ninety: f64,
    pub(crate) expected: f64,
    pub(crate) crossed: f64,
    /// Valves truly in the zone now, and how many of them got a chance below half the risk from an answer that may reassure.
    pub(crate) outside: f64,
    pub(crate) called_safe: f64,
    /// All valves called safe, and those of them that crossed within the horizon, with the chances stated for them.
    pub(crate) safe: f64,
    pub(crate) safe_crossed: f64,
    pub(crate) safe_expected: f64,
    pub(crate) unsettled: usize,
    pub(crate) seconds: f64,
}

pub(crate) const HORIZON: f64 = 2000.0;
/// Half of the usual risk of 0.05.
const SAFE: f64 = 0.025;

impl Count {
    /// `stated` is the reading error that is stated, over the true one; None: none is.
    pub(crate) fn add(&mut self, made: &Made, stated: Option<f64>) {
        let mut question = made.question(1);
        question.error = match stated {
            Some(factor) => ReadingError { sd: Some(factor * READING), ..question.error },
            None => ReadingError { sd: None, ..question.error },
        };
        let clock = std::time::Instant::now();
        let answer: Answer = integrate(&question);
        self.seconds += clock.elapsed().as_secs_f64();
        self.fleets += 1;
        self.unsettled += usize::from(!answer.outcome.is_settled());
        for f in &answer.forecasts {
            let (level, leaves) = (made.level[f.history], made.leaves[f.history]);
            self.valves += 1.0;
            self.level += f64::from(u8::from((f.level - level).abs() < 1.96 * f.level_se));
            let inside = |low: f64, high: f64| {
                let low = f.prospect.hours_to(low).unwrap_or(f64::INFINITY);
                let high = f.prospect.hours_to(high).unwrap_or(f64::INFINITY);
                f64::from(u8::from((low <= leaves || leaves == 0.0 && low <= 0.0) && leaves <= high))
            };
            self.half += inside(0.25, 0.75);
            self.ninety += inside(0.05, 0.95);
            let chance = f.prospect.chance_within(HORIZON);
            self.expected += chance;
            let crossed = f64::from(u8::from(leaves <= HORIZON));
            self.crossed += crossed;
            let safe = chance < SAFE && answer.outcome.is_settled();
            if safe {
                self.safe += 1.0;
                self.safe_crossed += crossed;
                self.safe_expected += chance;
            }
            if leaves == 0.0 {
                self.outside += 1.0;
                self.called_safe += f64::from(u8::from(safe));
            }
        }
    }

    pub(crate) fn merge(&mut self, o: &Self) {
        self.fleets += o.fleets;
        self.unsettled += o.unsettled;
        for (a, b) in [
            (&mut self.valves, o.valves),
            (&mut self.level, o.level),
            (&mut self.half, o.half),
            (&mut self.ninety, o.ninety),
            (&mut self.expected, o.expected),
            (&mut self.crossed, o.crossed),
            (&mut self.outside, o.outside),
            (&mut self.called_safe, o.called_safe),
            (&mut self.safe, o.safe),
            (&mut self.safe_crossed, o.safe_crossed),
            (&mut self.safe_expected, o.safe_expected),
            (&mut self.seconds, o.seconds),
        ] {
            *a += b;
        }
    }

    pub(crate) fn print(&self, title: &str) {
        let p = |x: f64| 100.0 * x / self.valves;
        println!(
            "{title:<28} {:>4} fl {:>5.0} v | level {:>5.1} | 50%: {:>5.1} 90%: {:>5.1} | crossed {:>5.0} expected {:>7.1} | in zone {:>4.0} called safe {:>3.0} | safe {:>5.0} crossed {:>3.0} exp {:>5.2} | unsettled {:>3} | {:>6.1} ms",
            self.fleets,
            self.valves,
            p(self.level),
            p(self.half),
            p(self.ninety),
            self.crossed,
            self.expected,
            self.outside,
            self.called_safe,
            self.safe,
            self.safe_crossed,
            self.safe_expected,
            self.unsettled,
            1000.0 * self.seconds / self.fleets as f64,
        );
    }
}

/// What `PACKDRIFT_STATED` says of the stated reading error: `none`, or a factor on the true one; the true one where it says nothing.
fn stated() -> Option<f64> {
    match std::env::var("PACKDRIFT_STATED").as_deref() {
        Ok("none") => None,
        Ok(factor) => factor.parse().ok(),
        Err(_) => Some(1.0),
    }
}

fn cell(truths: &[Truth], valves: usize, readings: usize, fleets: usize) -> Count {
    let mut all = Count::default();
    for truth in truths {
        let mut count = Count::default();
        (0..fleets).for_each(|number| count.add(&fleet(*truth, valves, readings, number as u64), stated()));
        count.print(&format!("{truth:?} {valves}×{readings}"));
        all.merge(&count);
    }
    all
}

#[test]
fn the_word_comes_true() {
    let wish = std::env::var("PACKDRIFT_STUDY").unwrap_or_default();
    if wish == "whole" {
        for readings in [3, 4, 5, 8] {
            for valves in [1, 2, 4, 8, 12, 32] {
                cell(&ALL, valves, readings, (48 / valves).max(4)).print(&format!("all {valves}×{readings}"));
            }
        }
        return;
    }
    if let [valves, readings, fleets, truth] = wish.split('/').collect::<Vec<_>>()[..] {
        let truths: Vec<Truth> =
            ALL.into_iter().filter(|t| truth == "all" || format!("{t:?}").starts_with(truth)).collect();
        let (v, r, f) = (valves.parse().unwrap(), readings.parse().unwrap(), fleets.parse().unwrap());
        cell(&truths, v, r, f).print(&format!("all {v}×{r}"));
        return;
    }
    let count = cell(&[Truth::Straight], 4, 4, 2);
    assert!(count.valves > 0.0);
}

/// Groups, engines' shared slopes, kept slopes, uneven looks and repeats: `PACKDRIFT_STRUCTURED=fleets`.
#[test]
fn structured_fleets_are_held() {
    let fleets = std::env::var("PACKDRIFT_STRUCTURED").map_or(5, |f| f.parse().unwrap());
    let mut count = Count::default();
    (0..fleets).for_each(|number| count.add(&structured(number), stated()));
    count.print("structured");
    // 60 valves, clustered by fleet: a share of 0.95 has a standard error of some 0.04.
    assert!(count.level / count.valves > 0.83 && count.ninety / count.valves > 0.75);
    assert!((count.expected - count.crossed).abs() < 8.0 + 0.2 * count.crossed);
}

/// Time of a fleet, and that every valve has a chance: `PACKDRIFT_SPEED=valves/readings`.
#[test]
fn every_valve_of_a_large_fleet_has_a_chance() {
    let wish = std::env::var("PACKDRIFT_SPEED").unwrap_or_else(|_| "600/3".into());
    let [valves, readings] = wish.split('/').collect::<Vec<_>>()[..] else { return };
    let made = fleet(Truth::Straight, valves.parse().unwrap(), readings.parse().unwrap(), 0);
    let clock = std::time::Instant::now();
    let answer = integrate(&made.question(1));
    let fitted = clock.elapsed().as_secs_f64();
    assert!(answer.outcome.is_settled(), "{:?}", answer.outcome);
    assert_eq!(answer.forecasts.len(), made.histories.len());
    let chances: Vec<f64> = answer.forecasts.iter().map(|f| f.prospect.chance_within(HORIZON)).collect();
    assert!(chances.iter().all(|c| (0.0..=1.0).contains(c)));
    let chanced = clock.elapsed().as_secs_f64();
    let some = answer.forecasts.iter().step_by(answer.forecasts.len().div_ceil(100));
    let hours: usize = some.map(|f| [0.05, 0.5, 0.95].iter().filter_map(|p| f.prospect.hours_to(*p)).count()).sum();
    let all = clock.elapsed().as_secs_f64();
    println!(
        "{wish}: integrated {fitted:.2} s, chances {:.2} s, hours of at most 100 valves {:.2} s ({hours}); {:?}",
        chanced - fitted,
        all - chanced,
        answer.diagnostics
    );
    let expected: f64 = chances.iter().sum();
    let crossed = made.leaves.iter().filter(|h| **h <= HORIZON).count() as f64;
    assert!((expected - crossed).abs() < 0.2 * crossed + 10.0, "{expected} expected, {crossed} came");
}
