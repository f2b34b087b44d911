//! One way of failing, as a function of u: g(u) < 0 where it happens.

use crate::model::{BlockMargins, Columns, Model, Responses};
use crate::population::Population;

/// Trials evaluated at once, and where only a few are left.
const WIDTHS: [usize; 3] = [16, 64, 128];

/// What may happen to a pack. The first three exclude each other, so that their shares add up to the share outside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cause {
    /// The lower limit is passed. A loose bay's range may pass both limits: it counts on the side it exceeds by more.
    Below,
    /// The upper limit is passed.
    Above,
    /// The bay is too long even with every spring washer flat, or one of them cannot exist.
    CannotAssemble,
    /// The bay is loose.
    Loose,
    /// The bay can be assembled, and a disc whose load falls again has passed its largest load.
    PastPeak,
}

/// Which part of an event is meant, where the response may jump at a disc's largest load.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Branch {
    /// All of it.
    Any,
    /// That in which no disc has passed its largest load.
    BeforePeak,
    /// The rest.
    PastPeak,
}

/// An event: a response, its limits, and what happens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Event {
    pub(crate) response: usize,
    pub(crate) cause: Cause,
    pub(crate) lower: Option<f64>,
    pub(crate) upper: Option<f64>,
    pub(crate) branch: Branch,
    /// Unit of the response against 1 mm of squeeze, for events of both: about its standard deviation over that of the squeeze.
    pub(crate) per_mm: f64,
}

impl Event {
    /// Of a limit, wherever it is passed.
    pub(crate) fn of_limits(cause: Cause, lower: Option<f64>, upper: Option<f64>) -> Self {
        Self { response: 0, cause, lower, upper, branch: Branch::Any, per_mm: 1.0 }
    }

    /// Of the bay of the response.
    pub(crate) fn of_bay(cause: Cause) -> Self {
        Self::of_limits(cause, None, None)
    }

    fn needs_response(&self) -> bool {
        matches!(self.cause, Cause::Below | Cause::Above)
    }

    fn needs_margins(&self) -> bool {
        !self.needs_response() || self.branch != Branch::Any
    }

    /// g of a pair of ends: negative outside. What cannot be assembled is not outside in this sense (it is counted by itself): +∞.
    fn distance(&self, low: f64, high: f64) -> f64 {
        if low == f64::NEG_INFINITY && high == f64::INFINITY {
            return f64::INFINITY;
        }
        // How far each limit is passed, negative inside; −∞ where there is no limit.
        let below = self.lower.map_or(f64::NEG_INFINITY, |limit| limit - low);
        let above = self.upper.map_or(f64::NEG_INFINITY, |limit| high - limit);
        let (this, other) = if self.cause == Cause::Below { (below, above) } else { (above, below) };
        (-this).max(other - this)
    }

    /// g of where the bay stands.
    fn of_margins(&self, interference: f64, excess: f64, to_peak: f64) -> f64 {
        match self.cause {
            Cause::CannotAssemble => -excess,
            Cause::Loose => interference,
            Cause::PastPeak => to_peak.max(excess),
            Cause::Below | Cause::Above => f64::NAN,
        }
    }

    /// g on the branch that is meant, from g anywhere.
    fn on_branch(&self, g: f64, to_peak: f64) -> f64 {
        match self.branch {
            Branch::Any => g,
            Branch::BeforePeak => g.max(-to_peak * self.per_mm),
            Branch::PastPeak => g.max(to_peak * self.per_mm),
        }
    }
}

/// Where a block of points is worked out.
struct Room {
    width: usize,
    u: Columns,
    x: Columns,
    responses: Responses,
    margins: BlockMargins,
}

impl Room {
    fn new(model: &dyn Model, population: &Population, width: usize) -> Self {
        Self {
            width,
            u: Columns::new(population.coordinates(), width),
            x: Columns::new(population.inputs(), width),
            responses: Responses::new(model.responses(), width),
            margins: BlockMargins::new(width),
        }
    }

    /// g of the first `length` points of u.
    fn values(&mut self, event: &Event, model: &dyn Model, population: &Population, length: usize, out: &mut Vec<f64>) {
        population.to_x_block(&self.u, &mut self.x);
        let known = event.needs_margins() && model.block_margins(event.response, &self.x, &mut self.margins);
        if event.needs_response() || !known {
            model.respond_block(&self.x, &mut self.responses);
        }
        let (low, high) = self.responses.ends(event.response);
        for trial in 0..length {
            let of_margins = |of: fn(&BlockMargins) -> &Vec<f64>| of(&self.margins)[trial];
            let to_peak = if known { of_margins(|m| &m.to_peak) } else { f64::INFINITY };
            out.push(if event.needs_response() {
                event.on_branch(event.distance(low[trial], high[trial]), to_peak)
            } else if known {
                event.of_margins(of_margins(|m| &m.interference), of_margins(|m| &m.excess), to_peak)
            } else {
                // A model that knows no bay says at most that there is no response.
                let cannot = low[trial] == f64::NEG_INFINITY && high[trial] == f64::INFINITY;
                if cannot && event.cause == Cause::CannotAssemble { -1.0 } else { 1.0 }
            });
        }
    }
}

/// Evaluates g at many points of u. One per thread.
pub(crate) struct Evaluator<'a> {
    pub(crate) population: &'a Population,
    model: &'a dyn Model,
    event: Event,
    rooms: Vec<Room>,
    /// Points evaluated.
    pub(crate) evaluations: u64,
    /// Points at which the model had no response; they count as inside, and the caller tells.
    pub(crate) failed: u64,
}

impl<'a> Evaluator<'a> {
    pub(crate) fn new(model: &'a dyn Model, population: &'a Population, event: Event) -> Self {
        let rooms = WIDTHS.map(|width| Room::new(model, population, width)).into();
        Self { population, model, event, rooms, evaluations: 0, failed: 0 }
    }

    /// Number of coordinates.
    pub(crate) fn coordinates(&self) -> usize {
        self.population.coordinates()
    }

    /// g at `count` points; `fill(k, first, column)` writes coordinate k of the points from `first` on.
    pub(crate) fn values(&mut self, count: usize, mut fill: impl FnMut(usize, usize, &mut [f64])) -> Vec<f64> {
        let mut values = Vec::with_capacity(count);
        while values.len() < count {
            let (first, left) = (values.len(), count - values.len());
            let place = self.rooms.iter().position(|room| left <= room.width).unwrap_or(self.rooms.len() - 1);
            let room = &mut self.rooms[place];
            let length = left.min(room.width);
            for k in 0..self.population.coordinates() {
                fill(k, first, &mut room.u.column_mut(k)[..length]);
            }
            room.values(&self.event, self.model, self.population, length, &mut values);
        }
        for g in &mut values {
            if g.is_nan() {
                self.failed += 1;
                *g = f64::INFINITY;
            }
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
        let event = |cause| Event::of_limits(cause, Some(1.0), Some(2.0));
        let (below, above) = (event(Cause::Below), event(Cause::Above));
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
        let open = Event::of_limits(Cause::Above, None, Some(2.0));
        assert!((open.distance(5.0, 5.0) + 3.0).abs() < 1e-15);
    }
}
