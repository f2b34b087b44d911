//! What technical drawings are made of: dimension lines (ISO 129-1), axes of symmetry (ISO 128-2), numbered item references
//! (ISO 6433) and the hatching of cut ground.

use super::Error;
use super::canvas::{Anchor, Canvas, Dash, Lettering, Pen};
use super::ink::Ink;

/// Length of an arrow's head, px.
const ARROW: f64 = 6.0;

/// A horizontal dimension line between `x1` and `x2` at height `y` with its text. Where the text does not fit between the
/// arrows they stand outside, and the text beyond the right one (or the left one near the figure's right edge).
///
/// # Errors
/// As for [`super::canvas::draw`].
pub fn dimension(c: &Canvas<'_>, x1: f64, x2: f64, y: f64, text: &str, ink: Ink) -> Result<(), Error> {
    let (a, b) = (x1.min(x2), x1.max(x2));
    let pen = Pen::new(ink, 1.0);
    let lettering = Lettering::new(ink, Lettering::SMALL);
    let width = lettering.width(text);
    if b - a >= width + 2.0 * ARROW + 14.0 {
        let (from, to) = ((a + b - width) / 2.0 - 6.0, (a + b + width) / 2.0 + 6.0);
        c.line((a, y), (from, y), pen)?;
        c.line((to, y), (b, y), pen)?;
        arrow(c, (a, y), -1.0, ink)?;
        arrow(c, (b, y), 1.0, ink)?;
        return c.text(text, ((a + b) / 2.0, y), lettering.anchored(Anchor::Middle));
    }
    arrow(c, (a, y), 1.0, ink)?;
    arrow(c, (b, y), -1.0, ink)?;
    c.line((a - 2.5 * ARROW, y), (b + 2.5 * ARROW, y), pen)?;
    let right = b + 2.5 * ARROW + 4.0;
    if right + width <= c.width() {
        c.text(text, (right, y), lettering)
    } else {
        c.text(text, (a - 2.5 * ARROW - 4.0, y), lettering.anchored(Anchor::End))
    }
}

/// A head with its tip at `tip`; `direction` 1 points right, −1 left.
fn arrow(c: &Canvas<'_>, tip: (f64, f64), direction: f64, ink: Ink) -> Result<(), Error> {
    let back = tip.0 - direction * ARROW;
    c.polygon(&[tip, (back, tip.1 - 2.4), (back, tip.1 + 2.4)], ink)
}

/// An axis of symmetry.
///
/// # Errors
/// As for [`super::canvas::draw`].
pub fn axis_line(c: &Canvas<'_>, from: (f64, f64), to: (f64, f64), ink: Ink) -> Result<(), Error> {
    c.line(from, to, Pen::new(ink, 1.0).dashed(Dash::Chain))
}

/// An item reference: the number in a circle, a leader line to the item, a dot on it.
///
/// # Errors
/// As for [`super::canvas::draw`].
pub fn item(c: &Canvas<'_>, number: usize, at: (f64, f64), on: (f64, f64)) -> Result<(), Error> {
    let radius = 9.0;
    let edge = if on.1 > at.1 { at.1 + radius } else { at.1 - radius };
    c.line((at.0, edge), on, Pen::new(Ink::Muted, 0.9))?;
    c.dot(on, 1.8, Ink::Ink)?;
    c.dot(at, radius, Ink::Paper)?;
    c.ring(at, radius, Pen::new(Ink::Muted, 1.0))?;
    c.text(&number.to_string(), at, Lettering::new(Ink::Ink, 11.0).anchored(Anchor::Middle))
}

/// A block of fixed ground: filled, hatched, with its working face on the side of `face_x`.
///
/// # Errors
/// As for [`super::canvas::draw`].
pub fn ground(c: &Canvas<'_>, face_x: f64, back_x: f64, top: f64, bottom: f64) -> Result<(), Error> {
    c.hatch((face_x, top), (back_x, bottom), 7.0, false, Pen::new(Ink::Ground, 1.2))?;
    c.line((face_x, top), (face_x, bottom), Pen::new(Ink::Ink, 2.0))
}

/// Places for labels that want to stand at `wanted` (in rising order) but need `spacing` between them, within `low..high`:
/// each as near to its wish as its neighbours allow.
///
/// # Examples
/// ```
/// use packdrift_report::figure::drafting::spread_out;
/// assert_eq!(spread_out(&[10.0, 11.0, 50.0], 20.0, 0.0, 100.0), vec![0.5, 20.5, 50.0]);
/// ```
pub fn spread_out(wanted: &[f64], spacing: f64, low: f64, high: f64) -> Vec<f64> {
    if wanted.is_empty() {
        return Vec::new();
    }
    let room = (high - low).max(0.0);
    let spacing = if wanted.len() > 1 { spacing.min(room / (wanted.len() - 1) as f64) } else { spacing };
    // Least squares under the order constraint: pool neighbours that collide (isotonic regression of wanted − i·spacing).
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for (i, w) in wanted.iter().enumerate() {
        let mut pool = (w - i as f64 * spacing, 1usize);
        while let Some(&(mean, n)) = pools.last() {
            if mean <= pool.0 {
                break;
            }
            pools.pop();
            pool = ((mean * n as f64 + pool.0 * pool.1 as f64) / (n + pool.1) as f64, n + pool.1);
        }
        pools.push(pool);
    }
    let (first, last) = (low, high - (wanted.len() - 1) as f64 * spacing);
    pools
        .iter()
        .flat_map(|&(mean, n)| std::iter::repeat_n(mean.clamp(first, last.max(first)), n))
        .enumerate()
        .map(|(i, base)| base + i as f64 * spacing)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_keep_their_order_and_distance_inside_the_figure() {
        let places = spread_out(&[5.0, 6.0, 7.0, 98.0, 99.0], 12.0, 9.0, 91.0);
        assert!(places.windows(2).all(|p| p[1] - p[0] >= 12.0 - 1e-9), "{places:?}");
        assert!(places[0] >= 9.0 && places[4] <= 91.0, "{places:?}");
        // Too many to keep the distance: evenly spread, still in order.
        let places = spread_out(&[0.0; 6], 50.0, 0.0, 100.0);
        assert_eq!(places, vec![0.0, 20.0, 40.0, 60.0, 80.0, 100.0]);
    }
}
