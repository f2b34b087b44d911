//! Labels that keep out of each other's way: each is put at the first of its places that is free, or left out.

use super::Error;
use super::canvas::{Anchor, Canvas, Lettering};
use super::ink::Ink;
use std::cell::RefCell;

/// The labels of one figure.
pub struct Labels<'a, 'b> {
    canvas: &'a Canvas<'b>,
    /// Left, top, right, bottom of what is taken, px.
    taken: RefCell<Vec<[f64; 4]>>,
    /// Whether labels lie on a ground that is hatched: each then has paper under it.
    on_hatching: bool,
}

impl<'a, 'b> Labels<'a, 'b> {
    /// None yet.
    pub fn new(canvas: &'a Canvas<'b>) -> Self {
        Self { canvas, taken: RefCell::new(Vec::new()), on_hatching: false }
    }

    /// None yet, on a hatched ground: paper is laid under each.
    pub fn on_hatching(canvas: &'a Canvas<'b>) -> Self {
        Self { on_hatching: true, ..Self::new(canvas) }
    }

    /// Keeps a rectangle free of labels.
    pub fn keep_free(&self, a: (f64, f64), b: (f64, f64)) {
        self.taken.borrow_mut().push([a.0.min(b.0), a.1.min(b.1), a.0.max(b.0), a.1.max(b.1)]);
    }

    /// Keeps a line through points free of labels, `apart` px to both sides; points that are not finite part it.
    pub fn keep_line_free(&self, points: &[(f64, f64)], apart: f64) {
        let mut taken = self.taken.borrow_mut();
        for pair in points.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let length = (to.0 - from.0).hypot(to.1 - from.1);
            if !length.is_finite() {
                continue;
            }
            // Boxes of 2 × `apart` a side, close enough that nothing fits between two.
            let steps = (length / apart.max(1.0)).ceil().clamp(1.0, 2000.0);
            for k in 0..=steps as u32 {
                let t = f64::from(k) / steps;
                let (x, y) = (from.0 + t * (to.0 - from.0), from.1 + t * (to.1 - from.1));
                taken.push([x - apart, y - apart, x + apart, y + apart]);
            }
        }
    }

    /// Puts a text of `size` px at the first free one of `places` (point and anchor); says whether there was one.
    ///
    /// # Errors
    /// As for [`super::canvas::draw`].
    pub fn put(
        &self,
        text: &str,
        size: f64,
        lettering: Lettering,
        places: &[((f64, f64), Anchor)],
    ) -> Result<bool, Error> {
        let width = lettering.width(text);
        for &(at, anchor) in places {
            let left = match anchor {
                Anchor::Start => at.0,
                Anchor::Middle => at.0 - width / 2.0,
                Anchor::End => at.0 - width,
            };
            let own = [left - 2.0, at.1 - 0.62 * size, left + width + 2.0, at.1 + 0.62 * size];
            let inside =
                own[0] >= 0.0 && own[2] <= self.canvas.width() && own[1] >= 0.0 && own[3] <= self.canvas.height();
            let free = |t: &[f64; 4]| own[2] < t[0] || own[0] > t[2] || own[3] < t[1] || own[1] > t[3];
            if inside && self.taken.borrow().iter().all(free) {
                self.taken.borrow_mut().push(own);
                if self.on_hatching {
                    self.canvas.rectangle((own[0] - 1.0, own[1]), (own[2] + 1.0, own[3]), Ink::Paper)?;
                }
                self.canvas.text(text, at, lettering.anchored(anchor))?;
                return Ok(true);
            }
        }
        Ok(false)
    }
}

/// Places for a label beside a point: `rows` px below it (negative: above), each tried in the middle, then further and further to both sides.
pub fn beside((x, y): (f64, f64), rows: &[f64]) -> Vec<((f64, f64), Anchor)> {
    const SIDEWAYS: [f64; 9] = [0.0, -30.0, 30.0, -60.0, 60.0, -100.0, 100.0, -150.0, 150.0];
    rows.iter().flat_map(|dy| SIDEWAYS.map(|dx| ((x + dx, y + dy), Anchor::Middle))).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::*;
    use crate::figure::canvas::draw;

    #[test]
    fn a_label_keeps_off_a_line_however_thin() {
        let svg = draw(200.0, 60.0, |c| {
            let labels = Labels::new(c);
            labels.keep_line_free(&[(0.0, 20.0), (200.0, 21.0)], 2.0);
            let places = beside((100.0, 20.0), &[0.0, 25.0]);
            assert!(labels.put("beside", 12.0, Lettering::new(Ink::Ink, 12.0), &places).unwrap());
            Ok(())
        })
        .unwrap();
        // In the row below, at its middle.
        assert!(svg.body.contains("x=\"1000\" y=\"450\""), "{}", svg.body);
    }

    #[test]
    fn a_label_on_hatching_has_paper_under_it() {
        let svg = draw(200.0, 60.0, |c| {
            c.hatch((0.0, 0.0), (200.0, 60.0), 8.0, false, crate::figure::canvas::Pen::new(Ink::Limit, 0.5))?;
            let labels = Labels::on_hatching(c);
            labels.put("here", 12.0, Lettering::new(Ink::Ink, 12.0), &[((100.0, 30.0), Anchor::Middle)])?;
            Ok(())
        })
        .unwrap();
        let (paper, words) = (svg.body.find("f-paper"), svg.body.find("here"));
        assert!(paper.is_some() && paper < words, "{}", svg.body);
    }

    #[test]
    fn a_label_moves_to_a_free_place_or_is_left_out() {
        let svg = draw(200.0, 60.0, |c| {
            let labels = Labels::new(c);
            let lettering = Lettering::new(Ink::Ink, 12.0);
            let put = |text: &str, y: f64| {
                labels.put(text, 12.0, lettering, &[((10.0, 20.0), Anchor::Start), ((10.0, y), Anchor::Start)])
            };
            assert!(put("first", 20.0).unwrap());
            assert!(put("second", 42.0).unwrap());
            assert!(!put("third", 42.0).unwrap());
            assert!(
                !labels
                    .put("too long for this figure, by far", 12.0, lettering, &[((150.0, 8.0), Anchor::Start)])
                    .unwrap()
            );
            Ok(())
        })
        .unwrap();
        assert!(
            svg.body.contains("first") && svg.body.contains("second") && !svg.body.contains("third"),
            "{}",
            svg.body
        );
    }
}
