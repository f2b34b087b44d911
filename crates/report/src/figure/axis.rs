//! A linear axis: values to pixels, ticks at round numbers, numbers with the decimals the ticks need.

use super::Error;
use super::canvas::{Anchor, Canvas, Lettering, Pen};
use super::ink::Ink;
use crate::number;
use plotters::coord::ranged1d::Ranged;
use plotters::coord::types::RangedCoordf64;

/// A range of values laid on a range of pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
}

impl Axis {
    /// `low` lies at pixel `from`, `high` at pixel `to` (which may be smaller, as for a vertical axis). A range without
    /// width, or one that is not finite, is widened so that it can be drawn.
    pub fn new(low: f64, high: f64, from: f64, to: f64) -> Self {
        let (low, high) = widened(low, high);
        Self { low, high, from, to }
    }

    /// An axis that holds all finite `values` with `margin` (a share of the range) left free at both ends.
    pub fn holding(values: impl IntoIterator<Item = f64>, margin: f64, from: f64, to: f64) -> Self {
        let (low, high) = extent(values);
        let (low, high) = widened(low, high);
        let free = margin * (high - low);
        Self { low: low - free, high: high + free, from, to }
    }

    /// Smallest value.
    pub fn low(&self) -> f64 {
        self.low
    }

    /// Largest value.
    pub fn high(&self) -> f64 {
        self.high
    }

    /// Pixel of a value; also beyond the ends.
    pub fn at(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    /// Pixel of a value, kept within the axis.
    pub fn within(&self, value: f64) -> f64 {
        self.at(value.clamp(self.low, self.high))
    }

    /// Whether a value lies on it.
    pub fn holds(&self, value: f64) -> bool {
        value >= self.low && value <= self.high
    }

    /// At most `most` round values on it.
    pub fn ticks(&self, most: usize) -> Vec<f64> {
        RangedCoordf64::from(self.low..self.high).key_points(most.max(2))
    }

    /// The ticks with their numbers, all with the same number of decimals.
    pub fn labels(&self, most: usize) -> Vec<(f64, String)> {
        let ticks = self.ticks(most);
        let step = ticks.windows(2).map(|p| p[1] - p[0]).fold(f64::INFINITY, f64::min);
        let step = if step.is_finite() { step } else { (self.high - self.low) / 2.0 };
        // The step is 1, 2, 2.5 or 5 times a power of ten: two digits of it always show it in full.
        let places = number::plain(number::significant(step, 2).parse().unwrap_or(step))
            .split_once('.')
            .map_or(0, |(_, fraction)| fraction.len()) as i32;
        ticks.into_iter().map(|v| (v, number::fixed(v, places))).collect()
    }

    /// Draws it as a horizontal axis at height `y`: line, ticks, numbers, `title` under its right end; grid lines up to
    /// `top` where given.
    ///
    /// # Errors
    /// As for [`super::canvas::draw`].
    pub fn draw_horizontal(&self, canvas: &Canvas<'_>, y: f64, top: Option<f64>, title: &str) -> Result<(), Error> {
        let small = Lettering::new(Ink::Muted, Lettering::SMALL).anchored(Anchor::Middle);
        let most = ((self.to - self.from).abs() / 58.0) as usize;
        for (value, label) in self.labels(most) {
            let x = self.at(value);
            if let Some(top) = top {
                canvas.line((x, top), (x, y), Pen::new(Ink::Grid, 1.0))?;
            }
            canvas.line((x, y), (x, y + 4.0), Pen::new(Ink::Muted, 1.0))?;
            // Keep the outermost numbers inside the figure.
            let half = small.width(&label) / 2.0;
            canvas.text(&label, (x.clamp(half, canvas.width() - half), y + 13.0), small)?;
        }
        canvas.line((self.from, y), (self.to, y), Pen::new(Ink::Muted, 1.0))?;
        let right = self.from.max(self.to);
        canvas.text(title, (right, y + 29.0), Lettering::new(Ink::Muted, Lettering::SMALL).anchored(Anchor::End))
    }

    /// Draws it as a vertical axis at `x`: numbers left of it, grid lines to `right`, `title` well above its upper end, so that a line of labels fits between.
    ///
    /// # Errors
    /// As for [`super::canvas::draw`].
    pub fn draw_vertical(&self, canvas: &Canvas<'_>, x: f64, right: f64, title: &str) -> Result<(), Error> {
        let small = Lettering::new(Ink::Muted, Lettering::SMALL).anchored(Anchor::End);
        let most = ((self.to - self.from).abs() / 40.0) as usize;
        for (value, label) in self.labels(most) {
            let y = self.at(value);
            canvas.line((x, y), (right, y), Pen::new(Ink::Grid, 1.0))?;
            canvas.text(&label, (x - 6.0, y), small)?;
        }
        let top = self.from.min(self.to);
        canvas.text(title, (0.0, top - 28.0), Lettering::new(Ink::Muted, Lettering::SMALL))
    }
}

/// Smallest and largest of the finite values; infinities reversed where there is none.
pub fn extent(values: impl IntoIterator<Item = f64>) -> (f64, f64) {
    values
        .into_iter()
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)))
}

fn widened(low: f64, high: f64) -> (f64, f64) {
    if !(low.is_finite() && high.is_finite()) || low > high {
        return (0.0, 1.0);
    }
    // Below this the pixels of one value and the next fall together in f64.
    let least = 1e-9 * low.abs().max(high.abs());
    if high - low > least {
        (low, high)
    } else {
        let half = if low == 0.0 { 0.5 } else { 0.05 * low.abs().max(high.abs()) };
        (low - half, high + half)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_without_width_are_widened() {
        for axis in [
            Axis::new(1.0, 1.0, 0.0, 100.0),
            Axis::new(0.0, 0.0, 0.0, 100.0),
            Axis::new(f64::NAN, 2.0, 0.0, 100.0),
            Axis::holding([], 0.1, 0.0, 100.0),
            Axis::holding([f64::NAN, f64::INFINITY], 0.1, 0.0, 100.0),
        ] {
            assert!(axis.high() > axis.low(), "{axis:?}");
            assert!(axis.at(axis.low()).is_finite() && axis.labels(5).len() >= 2, "{axis:?}");
        }
    }

    #[test]
    fn labels_have_the_decimals_their_step_needs() {
        let labels: Vec<String> = Axis::new(0.87, 1.13, 0.0, 100.0).labels(6).into_iter().map(|l| l.1).collect();
        assert_eq!(labels, ["0.90", "0.95", "1.00", "1.05", "1.10"]);
        let labels: Vec<String> = Axis::new(0.0, 4100.0, 0.0, 100.0).labels(5).into_iter().map(|l| l.1).collect();
        assert_eq!(labels.last().map(String::as_str), Some("4000"));
    }
}
