//! From rows of readings to parts of lots: repeat readings of a part are averaged, and parts put in the order of their numbers.

use super::options::Order;
use crate::readings::{Drawing, Readings};
use std::collections::HashMap;

/// A part as measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredPart {
    /// Index into [`Readings::parts`].
    pub part: u32,
    /// Reading, or mean of its readings, mm.
    pub value: f64,
    /// How many readings.
    pub readings: u32,
    /// Line of the first of them.
    pub line: u32,
}

/// One lot's parts.
pub(super) struct LotTable {
    pub(super) name: String,
    pub(super) drawing: Drawing,
    pub(super) readings: usize,
    /// In order of manufacture where that is known.
    pub(super) parts: Vec<MeasuredPart>,
    pub(super) ordered: bool,
}

/// One table a lot, in the order of the lots.
pub(super) fn by_lot(readings: &Readings, order: Order) -> Vec<LotTable> {
    let mut rows: Vec<Vec<u32>> = vec![Vec::new(); readings.lots.len()];
    for (i, &lot) in readings.lot.iter().enumerate() {
        rows[lot as usize].push(i as u32);
    }
    let numbers: Vec<Option<f64>> =
        readings.parts.iter().map(|p| p.trim().parse::<f64>().ok().filter(|x| x.is_finite())).collect();
    rows.into_iter()
        .enumerate()
        .filter(|(_, rows)| !rows.is_empty())
        .map(|(lot, rows)| {
            let mut parts: Vec<MeasuredPart> = Vec::with_capacity(rows.len());
            let mut places: HashMap<u32, usize> = HashMap::with_capacity(rows.len());
            for &row in &rows {
                let row = row as usize;
                let (part, value) = (readings.part[row], readings.reading[row]);
                if let Some(&at) = places.get(&part) {
                    let known = &mut parts[at];
                    known.readings += 1;
                    known.value += (value - known.value) / f64::from(known.readings);
                } else {
                    places.insert(part, parts.len());
                    parts.push(MeasuredPart { part, value, readings: 1, line: readings.line[row] });
                }
            }
            let number = |p: &MeasuredPart| numbers[p.part as usize];
            let ordered = match order {
                Order::ByNumber => parts.iter().all(|p| number(p).is_some()),
                Order::AsListed => true,
                Order::Unknown => false,
            };
            if ordered && order == Order::ByNumber {
                parts.sort_by(|a, b| number(a).unwrap_or(0.0).total_cmp(&number(b).unwrap_or(0.0)));
            }
            LotTable {
                name: readings.lots[lot].clone(),
                drawing: readings.drawings.get(lot).copied().unwrap_or_default(),
                readings: rows.len(),
                parts,
                ordered,
            }
        })
        .collect()
}

/// Pooled sd of repeat readings of the same part (of the same lot), and its degrees of freedom; None without repeats.
pub(super) fn repeatability(readings: &Readings) -> Option<(f64, f64)> {
    let mut sums: HashMap<(u32, u32), (f64, f64, f64)> = HashMap::new();
    let mut keys = Vec::new();
    for (i, &value) in readings.reading.iter().enumerate() {
        let key = (readings.lot[i], readings.part[i]);
        // n, mean, sum of squares (Welford).
        let entry = sums.entry(key).or_insert_with(|| {
            keys.push(key);
            (0.0, 0.0, 0.0)
        });
        entry.0 += 1.0;
        let d = value - entry.1;
        entry.1 += d / entry.0;
        entry.2 += d * (value - entry.1);
    }
    // In the order of the file: a hash map's own order would change the last digits from run to run.
    let (nu, squares) =
        keys.iter().filter_map(|k| sums.get(k)).fold((0.0, 0.0), |(nu, ss), s| (nu + s.0 - 1.0, ss + s.2));
    (nu > 0.0).then(|| ((squares / nu).sqrt(), nu))
}
