//! Crossed studies with known truth, for the tests.

use crate::readings::Readings;
use packdrift_numerics::stream::Key;

/// Standard deviations of parts, operators, part by operator, and repeat readings.
pub(super) const TRUTH: [f64; 4] = [1.0, 0.4, 0.3, 0.2];

/// Those readings (part, operator, trial from 1) of a crossed study that `keep` keeps.
pub(super) fn crossed(
    [parts, operators, trials]: [u32; 3],
    seed: u64,
    keep: impl Fn(u32, u32, u32) -> bool,
) -> Readings {
    let [by_part, by_operator, by_cell, repeat] = TRUTH;
    let mut s = Key::new(seed, "crossed").stream(0);
    let effects: Vec<f64> = (0..parts).map(|_| by_part * s.normal()).collect();
    let who: Vec<f64> = (0..operators).map(|_| by_operator * s.normal()).collect();
    let mut table = Readings {
        lots: vec!["a".into()],
        parts: (0..parts).map(|p| p.to_string()).collect(),
        operators: (0..operators).map(|o| o.to_string()).collect(),
        ..Readings::default()
    };
    for p in 0..parts {
        for o in 0..operators {
            let cell = by_cell * s.normal();
            for t in 1..=trials {
                let value = effects[p as usize] + who[o as usize] + cell + repeat * s.normal();
                if keep(p, o, t) {
                    table.lot.push(0);
                    table.part.push(p);
                    table.operator.push(o);
                    table.trial.push(t);
                    table.reading.push(value);
                    table.line.push(1);
                }
            }
        }
    }
    table
}
