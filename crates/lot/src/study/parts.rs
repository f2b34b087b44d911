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

impl Readings {
    /// The parts of each lot, in the order of their first readings: a part that was read several times is one part, with the mean of its readings.
    ///
    /// # Examples
    /// ```
    /// use packdrift_lot::Readings;
    /// let readings = Readings {
    ///     lots: vec!["A".into()],
    ///     parts: vec!["1".into(), "2".into()],
    ///     lot: vec![0, 0, 0],
    ///     part: vec![0, 1, 0],
    ///     reading: vec![0.59, 0.60, 0.61],
    ///     line: vec![2, 3, 4],
    ///     ..Readings::default()
    /// };
    /// let lots = readings.measured_parts();
    /// assert_eq!((lots[0].len(), lots[0][0].readings), (2, 2));
    /// assert!((lots[0][0].value - 0.60).abs() < 1e-12);
    /// ```
    pub fn measured_parts(&self) -> Vec<Vec<MeasuredPart>> {
        let mut lots: Vec<Vec<MeasuredPart>> = vec![Vec::new(); self.lots.len()];
        let mut places: HashMap<(u32, u32), usize> = HashMap::with_capacity(self.reading.len());
        for (row, (&lot, &value)) in self.lot.iter().zip(&self.reading).enumerate() {
            let part = self.part[row];
            let parts = &mut lots[lot as usize];
            if let Some(&at) = places.get(&(lot, part)) {
                let known = &mut parts[at];
                known.readings += 1;
                known.value += (value - known.value) / f64::from(known.readings);
            } else {
                places.insert((lot, part), parts.len());
                parts.push(MeasuredPart { part, value, readings: 1, line: self.line[row] });
            }
        }
        lots
    }
}

/// One table a lot, in the order of the lots.
pub(super) fn by_lot(readings: &Readings, order: Order) -> Vec<LotTable> {
    let numbers: Vec<Option<f64>> =
        readings.parts.iter().map(|p| p.trim().parse::<f64>().ok().filter(|x| x.is_finite())).collect();
    readings
        .measured_parts()
        .into_iter()
        .enumerate()
        .filter(|(_, parts)| !parts.is_empty())
        .map(|(lot, mut parts)| {
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
                readings: parts.iter().map(|p| p.readings as usize).sum(),
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
