//! Made fleets with known truth, for tests and the study.

use super::histories::{Effort, History, Question, Reading, ReadingError};
use crate::crossing::Zone;
use packdrift_numerics::stream::{Key, Stream};

/// How the true value moves, and what is wrong with the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Truth {
    Straight,
    /// A power of the hours.
    Bent(f64),
    /// Wear that feeds on itself: e^{1.5 t/T}.
    Exponential,
    /// A line and a Wiener process of this standard deviation after one hour.
    Wandering(f64),
    /// A gamma process: cannot go back.
    Gamma,
    /// All valves move by the same 0.3 to 0.5 mm just before the last look, and stay there.
    LastLookShift,
    /// Straight, and at the last look the instrument reads all valves low by the same 0.1 to 0.3 mm: towards safety.
    LastLookLow,
    /// As that, at so many last looks: an instrument that served for several rounds.
    LastLooksLow(usize),
    /// As at the last look, which was repeated with the same instrument on the two days after, without running between.
    LowLookRepeated,
    /// Straight, and one reading of the fleet is off by a digit.
    SlippedDigit,
    /// Straight, with reading errors that have t-distributed tails, 3 degrees of freedom.
    HeavyTails,
}

pub(crate) const ALL: [Truth; 14] = [
    Truth::Straight,
    Truth::Bent(0.5),
    Truth::Bent(1.5),
    Truth::Exponential,
    Truth::Wandering(0.001),
    Truth::Gamma,
    Truth::LastLookShift,
    Truth::LastLookLow,
    Truth::LastLooksLow(2),
    Truth::LastLooksLow(3),
    Truth::LastLooksLow(4),
    Truth::LowLookRepeated,
    Truth::SlippedDigit,
    Truth::HeavyTails,
];

/// Limits of the damage zone.
pub(crate) const ZONE: Zone = Zone { lower: Some(0.4), upper: Some(1.6) };
/// Hours from first to last reading.
pub(crate) const SPAN: f64 = 6000.0;
/// Standard deviation of a reading.
pub(crate) const READING: f64 = 0.02;
/// Step in which the future is followed, hours, and how far.
const STEP: f64 = 100.0;
const FUTURE: usize = 600;

/// A fleet and what becomes of it.
#[derive(Debug, Clone)]
pub(crate) struct Made {
    pub(crate) histories: Vec<History>,
    /// True value at the last reading.
    pub(crate) level: Vec<f64>,
    /// Hours after the last reading at which the true value has left the limits: 0 where it is out now, infinite beyond 60 000 h.
    pub(crate) leaves: Vec<f64>,
}

impl Made {
    /// With the reading error stated as it is.
    pub(crate) fn question(&self, seed: u64) -> Question<'_> {
        Question {
            histories: &self.histories,
            zone: ZONE,
            error: ReadingError { sd: Some(READING), step: 0.001 },
            seed,
            effort: Effort { fitted: false, ..Effort::default() },
        }
    }
}

/// The true path at given hours, which ascend from 0.
fn path(truth: Truth, hours: &[f64], stream: &mut Stream) -> Vec<f64> {
    let start = 1.0 + 0.05 * stream.normal();
    let rate = 7e-5 + 2e-5 * stream.normal();
    let shape = |t: f64| match truth {
        Truth::Bent(p) => SPAN * (t / SPAN).powf(p),
        Truth::Exponential => SPAN * ((1.5 * t / SPAN).exp() - 1.0) / (1.5_f64.exp() - 1.0),
        _ => t,
    };
    let mut moved = 0.0;
    let mut before = 0.0;
    let mut out = Vec::with_capacity(hours.len());
    for &t in hours {
        match truth {
            Truth::Wandering(sd) => moved += rate * (t - before) + sd * (t - before).sqrt() * stream.normal(),
            Truth::Gamma => moved += gamma(rate.abs() * (t - before) / 0.02, stream) * 0.02,
            _ => moved = rate * shape(t),
        }
        before = t;
        out.push(start + moved);
    }
    out
}

/// A gamma deviate of a shape: G. Marsaglia, W. Tsang, ACM Transactions on Mathematical Software 26 (2000) 363–372.
fn gamma(shape: f64, stream: &mut Stream) -> f64 {
    if shape <= 0.0 {
        return 0.0;
    }
    if shape < 1.0 {
        return gamma(shape + 1.0, stream) * stream.uniform().powf(1.0 / shape);
    }
    let d = shape - 1.0 / 3.0;
    let c = 1.0 / (9.0 * d).sqrt();
    loop {
        let x = stream.normal();
        let v = (1.0 + c * x).powi(3);
        if v > 0.0 && stream.uniform().ln() < 0.5 * x * x + d - d * v + d * v.ln() {
            return d * v;
        }
    }
}

/// Values as a gauge of 0.001 mm shows them.
fn shown(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// A fleet of `valves`, four an engine, each read `readings` times at even hours, rounded to 0.001 mm.
pub(crate) fn fleet(truth: Truth, valves: usize, readings: usize, number: u64) -> Made {
    let label = format!("made/{truth:?}/{valves}/{readings}");
    let mut stream = Key::new(number, &label).stream(0);
    let mut out = Made { histories: Vec::new(), level: Vec::new(), leaves: Vec::new() };
    let shift = 0.3 + 0.2 * stream.uniform();
    for valve in 0..valves {
        let looks: Vec<f64> = (0..readings).map(|k| SPAN * k as f64 / (readings - 1) as f64).collect();
        let mut hours = looks.clone();
        hours.extend((1..=FUTURE).map(|k| SPAN + STEP * k as f64));
        let mut truth_at = path(truth, &hours, &mut stream);
        if truth == Truth::LastLookShift {
            truth_at[readings - 1..].iter_mut().for_each(|x| *x += shift);
        }
        let error = |stream: &mut Stream| match truth {
            Truth::HeavyTails => {
                let chi: f64 = (0..3).map(|_| stream.normal().powi(2)).sum();
                READING * stream.normal() / (chi / 3.0).sqrt()
            }
            _ => READING * stream.normal(),
        };
        let mut read: Vec<Reading> = looks
            .iter()
            .enumerate()
            .map(|(k, hours)| Reading {
                hours: *hours,
                value: shown(truth_at[k] + error(&mut stream)),
                visit: k as u32,
                confirmed: false,
                leapt: false,
            })
            .collect();
        let outside = |x: f64| !(0.4..=1.6).contains(&x);
        let low = match truth {
            Truth::LastLookLow => 1,
            Truth::LastLooksLow(looks) => looks.min(readings - 1),
            Truth::LowLookRepeated => {
                let truth = truth_at[readings - 1];
                for day in 1..3 {
                    let visit = (readings - 1 + day) as u32;
                    let value = shown(truth + error(&mut stream));
                    read.push(Reading { hours: SPAN, value, visit, confirmed: false, leapt: false });
                }
                3
            }
            _ => 0,
        };
        for reading in read.iter_mut().rev().take(low) {
            reading.value = shown(reading.value - (shift - 0.2));
        }
        let level = truth_at[readings - 1];
        let after = truth_at[readings..].iter().position(|x| outside(*x));
        out.leaves.push(if outside(level) { 0.0 } else { after.map_or(f64::INFINITY, |k| STEP * (k as f64 + 0.5)) });
        out.level.push(level);
        out.histories.push(History {
            engine: (valve / 4) as u32,
            parts: valve as u32,
            group: 0,
            current: true,
            age: 0.0,
            until: 0.0,
            readings: read,
        });
    }
    if truth == Truth::SlippedDigit {
        let valve = (stream.uniform() * valves as f64) as usize;
        let reading = (stream.uniform() * readings as f64) as usize;
        let value = &mut out.histories[valve].readings[reading].value;
        *value = match (stream.uniform() * 3.0) as usize {
            0 => *value * 10.0,
            1 => *value / 10.0,
            _ => *value + 0.3_f64.copysign(stream.uniform() - 0.5),
        };
    }
    out
}

/// Three engines of four valves in two groups that drift apart, looked at when it suited: engines differ by a fifth in all their slopes, valves by a fifth
/// more, some are re-shimmed on the way and keep their slopes, some visits read twice.
pub(crate) fn structured(number: u64) -> Made {
    let mut stream = Key::new(number, "made/structured").stream(0);
    let mut out = Made { histories: Vec::new(), level: Vec::new(), leaves: Vec::new() };
    for engine in 0..3_u32 {
        let harsh = 1.0 + 0.2 * stream.normal();
        let looks = 4 + (stream.uniform() * 4.0) as usize;
        let hours: Vec<f64> = (0..looks).map(|k| 900.0 * k as f64 + 700.0 * stream.uniform()).collect();
        for valve in 0..4_u32 {
            let group = valve % 2;
            let rate = [7e-5, -5e-5][group as usize] * harsh * (1.0 + 0.2 * stream.normal());
            let cut = if valve == 3 { looks / 2 } else { 0 };
            let mut segment = |own: &[f64], age: f64, current: bool, stream: &mut Stream| {
                let start = 1.0 + 0.05 * stream.normal();
                let mut readings = Vec::new();
                for (visit, h) in own.iter().enumerate() {
                    let truth = start + rate * (h - own[0]);
                    for _ in 0..=usize::from(visit % 3 == 1) {
                        let value = shown(truth + READING * stream.normal());
                        readings.push(Reading {
                            hours: h - own[0],
                            value,
                            visit: visit as u32,
                            confirmed: false,
                            leapt: false,
                        });
                    }
                }
                let level = start + rate * (own[own.len() - 1] - own[0]);
                out.level.push(level);
                let limit = if rate > 0.0 { 1.6 } else { 0.4 };
                let inside = (0.4..=1.6).contains(&level);
                out.leaves.push(if inside { (limit - level) / rate } else { 0.0 });
                out.histories.push(History {
                    engine,
                    parts: 4 * engine + valve,
                    group,
                    current,
                    age,
                    until: 0.0,
                    readings,
                });
            };
            if cut > 1 {
                segment(&hours[..cut], 0.0, false, &mut stream);
                segment(&hours[cut..], hours[cut - 1] - hours[0], true, &mut stream);
            } else {
                segment(&hours, 0.0, true, &mut stream);
            }
        }
    }
    out
}
