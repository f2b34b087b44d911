//! One way of being outside, as a function of u: g(u) < 0 where the response is outside on that side.

use crate::model::{Columns, Model, Responses};
use crate::population::Population;

/// Trials evaluated at once, and where only a few are left.
const WIDTH: usize = 128;
const NARROW: usize = 16;

/// Which limit is passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    Below,
    Above,
}

/// A response and its limits, of which one is passed. A loose bay's range may pass both: it counts on the side it exceeds by more, so the
/// two events exclude each other and their shares add up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Event {
    pub(crate) response: usize,
    pub(crate) side: Side,
    pub(crate) lower: Option<f64>,
    pub(crate) upper: Option<f64>,
}

impl Event {
    /// g of a pair of ends: negative outside. What cannot be assembled is not outside in this sense (it is counted by itself): +∞.
    fn distance(&self, low: f64, high: f64) -> f64 {
        if low == f64::NEG_INFINITY && high == f64::INFINITY {
            return f64::INFINITY;
        }
        // How far each limit is passed, negative inside; −∞ where there is no limit.
        let below = self.lower.map_or(f64::NEG_INFINITY, |limit| limit - low);
        let above = self.upper.map_or(f64::NEG_INFINITY, |limit| high - limit);
        let (this, other) = match self.side {
            Side::Below => (below, above),
            Side::Above => (above, below),
        };
        (-this).max(other - this)
    }
}

/// Where a block of points is worked out.
struct Room {
    u: Columns,
    x: Columns,
    responses: Responses,
}

impl Room {
    fn new(model: &dyn Model, population: &Population, width: usize) -> Self {
        Self {
            u: Columns::new(population.coordinates(), width),
            x: Columns::new(population.inputs(), width),
            responses: Responses::new(model.responses(), width),
        }
    }
}

/// Evaluates g at many points of u. One per thread.
pub(crate) struct Evaluator<'a> {
    pub(crate) population: &'a Population,
    model: &'a dyn Model,
    event: Event,
    wide: Room,
    narrow: Room,
    /// Points evaluated.
    pub(crate) evaluations: u64,
    /// Points at which the model had no response; they count as inside, and the caller tells.
    pub(crate) failed: u64,
}

impl<'a> Evaluator<'a> {
    pub(crate) fn new(model: &'a dyn Model, population: &'a Population, event: Event) -> Self {
        Self {
            population,
            model,
            event,
            wide: Room::new(model, population, WIDTH),
            narrow: Room::new(model, population, NARROW),
            evaluations: 0,
            failed: 0,
        }
    }

    /// Number of coordinates.
    pub(crate) fn coordinates(&self) -> usize {
        self.population.coordinates()
    }

    /// g at `count` points; `fill(k, first, column)` writes coordinate k of the points from `first` on.
    pub(crate) fn values(&mut self, count: usize, mut fill: impl FnMut(usize, usize, &mut [f64])) -> Vec<f64> {
        let mut values = Vec::with_capacity(count);
        let mut first = 0;
        while first < count {
            let left = count - first;
            let (room, length) =
                if left <= NARROW { (&mut self.narrow, left) } else { (&mut self.wide, left.min(WIDTH)) };
            for k in 0..self.population.coordinates() {
                fill(k, first, &mut room.u.column_mut(k)[..length]);
            }
            self.population.to_x_block(&room.u, &mut room.x);
            self.model.respond_block(&room.x, &mut room.responses);
            let (low, high) = room.responses.ends(self.event.response);
            for (&low, &high) in low.iter().zip(high).take(length) {
                let g = self.event.distance(low, high);
                if g.is_nan() {
                    self.failed += 1;
                }
                values.push(if g.is_nan() { f64::INFINITY } else { g });
            }
            first += length;
        }
        self.evaluations += count as u64;
        values
    }

    /// g at points given one after the other.
    pub(crate) fn at(&mut self, points: &[Vec<f64>]) -> Vec<f64> {
        self.values(points.len(), |k, first, column| {
            for (value, point) in column.iter_mut().zip(&points[first..]) {
                *value = point[k];
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_counts_on_the_side_it_exceeds_by_more() {
        let event = |side| Event { response: 0, side, lower: Some(1.0), upper: Some(2.0) };
        let (below, above) = (event(Side::Below), event(Side::Above));
        for (low, high, b, a) in [
            (1.2, 1.8, false, false),
            (0.9, 1.5, true, false),
            (1.5, 2.1, false, true),
            (0.7, 2.1, true, false),
            (0.9, 2.3, false, true),
        ] {
            assert_eq!(below.distance(low, high) < 0.0, b, "{low} {high}");
            assert_eq!(above.distance(low, high) < 0.0, a, "{low} {high}");
        }
        assert!(below.distance(f64::NEG_INFINITY, f64::INFINITY) > 0.0);
        let open = Event { response: 0, side: Side::Above, lower: None, upper: Some(2.0) };
        assert!((open.distance(5.0, 5.0) + 3.0).abs() < 1e-15);
    }
}
