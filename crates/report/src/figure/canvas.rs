//! Drawing with plotters' SVG backend, made fit for a page.
//!
//! What plotters leaves open is settled here once: its pixels are whole numbers, so we draw in tenths of a CSS pixel; a
//! rectangle may come out with a negative or vanishing width, so ours are ordered and at least one pixel wide; a point
//! that is not finite is drawn on the axis as if it were a real zero, so lines are split there and such points counted;
//! colours are fixed, so each gets a class beside it that a style sheet can turn (see [`super::ink`]).

use super::ink::Ink;
use super::{Error, Svg};
use plotters::coord::Shift;
use plotters::drawing::{DrawingArea, IntoDrawingArea};
use plotters::element::{Circle, PathElement, Polygon, Rectangle};
use plotters::prelude::SVGBackend;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontStyle, IntoFont, ShapeStyle};
use std::cell::Cell;

/// Backend units in a CSS pixel.
const TENTH: f64 = 10.0;
/// plotters' SVG backend divides a font's size by this before it writes it.
const FONT_SIZE_DIVISOR: f64 = 1.24;

/// Where a text stands against its point, horizontally.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// The text begins at the point.
    Start,
    /// The text is centred on the point.
    Middle,
    /// The text ends at the point.
    End,
}

/// How a line is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dash {
    /// Unbroken.
    Solid,
    /// Short dashes.
    Short,
    /// Long dashes.
    Long,
    /// Long and dot, for axes of symmetry (ISO 128).
    Chain,
}

impl Dash {
    /// On and off lengths, px.
    fn pattern(self) -> &'static [f64] {
        match self {
            Self::Solid => &[],
            Self::Short => &[3.0, 3.0],
            Self::Long => &[8.0, 4.0],
            Self::Chain => &[12.0, 3.0, 2.0, 3.0],
        }
    }
}

/// A pen: colour, width in px, dashes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pen {
    ink: Ink,
    width: f64,
    dash: Dash,
}

impl Pen {
    /// A solid pen.
    pub fn new(ink: Ink, width: f64) -> Self {
        Self { ink, width, dash: Dash::Solid }
    }

    /// The same, broken.
    #[must_use]
    pub fn dashed(self, dash: Dash) -> Self {
        Self { dash, ..self }
    }

    fn style(self) -> ShapeStyle {
        ShapeStyle {
            color: self.ink.rgb().to_rgba(),
            filled: false,
            stroke_width: (self.width * TENTH).round().max(1.0) as u32,
        }
    }
}

/// How a text is set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lettering {
    ink: Ink,
    size: f64,
    bold: bool,
    anchor: Anchor,
}

impl Lettering {
    /// Of a figure's axis numbers and notes, px.
    pub const SMALL: f64 = 12.0;
    /// Of a figure's labels, px.
    pub const NORMAL: f64 = 13.0;

    /// Text of `size` px beginning at its point.
    pub fn new(ink: Ink, size: f64) -> Self {
        Self { ink, size, bold: false, anchor: Anchor::Start }
    }

    /// Bold.
    #[must_use]
    pub fn bold(self) -> Self {
        Self { bold: true, ..self }
    }

    /// Anchored otherwise.
    #[must_use]
    pub fn anchored(self, anchor: Anchor) -> Self {
        Self { anchor, ..self }
    }

    /// Estimated width of `text`, px; see [`text_width`].
    pub fn width(self, text: &str) -> f64 {
        text_width(text, self.size) * if self.bold { 1.13 } else { 1.0 }
    }
}

/// Advance widths of the printable ASCII characters, thousandths of the font's size: those of DejaVu Sans, the widest of the
/// usual system fonts, so that a label that fits by them fits in the others too.
const ADVANCE: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636, 636, 636, 636, 636,
    636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632, 575, 775, 752, 295, 295, 656, 557, 863,
    748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685, 611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635,
    615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636,
    337, 636, 838,
];

/// Width of a text in a sans-serif of `size` px, by [`ADVANCE`]: no font is at hand when a figure is drawn, and the reader's
/// own sets it.
pub fn text_width(text: &str, size: f64) -> f64 {
    let thousandths: u32 = text
        .chars()
        .map(|c| {
            let index = (c as usize).wrapping_sub(0x20);
            match ADVANCE.get(index) {
                Some(&w) => u32::from(w),
                None if c == '\u{202f}' || c == '·' => 318,
                None if (c as u32) >= 0x2e80 || c == '…' => 1000,
                None if c == '±' || c == '×' => 838,
                None => 640,
            }
        })
        .sum();
    f64::from(thousandths) * size / 1000.0
}

/// `text` cut to about `width` px with an ellipsis at its end.
pub fn fitted(text: &str, size: f64, width: f64) -> String {
    if text_width(text, size) <= width {
        return text.to_owned();
    }
    let mut out = String::new();
    for c in text.chars() {
        out.push(c);
        if text_width(&out, size) + size > width {
            out.pop();
            break;
        }
    }
    format!("{}…", out.trim_end())
}

/// `text` cut to about `width` px with an ellipsis at its beginning: for paths, whose end tells most.
pub fn fitted_end(text: &str, size: f64, width: f64) -> String {
    if text_width(text, size) <= width {
        return text.to_owned();
    }
    let kept = text.char_indices().map(|(i, _)| &text[i..]).find(|rest| text_width(rest, size) + size <= width);
    format!("…{}", kept.unwrap_or_default().trim_start())
}

/// A surface to draw on; points are in CSS pixels from the upper left corner.
pub struct Canvas<'a> {
    area: DrawingArea<SVGBackend<'a>, Shift>,
    width: f64,
    height: f64,
    dropped: Cell<usize>,
}

/// Draws a figure of `width` × `height` px.
///
/// # Errors
/// [`Error::Drawing`] where plotters' backend refuses, which for an SVG in memory means a defect of this program.
pub fn draw(width: f64, height: f64, paint: impl FnOnce(&Canvas<'_>) -> Result<(), Error>) -> Result<Svg, Error> {
    let mut raw = String::new();
    let dropped = {
        let size = ((width * TENTH).round() as u32, (height * TENTH).round() as u32);
        let canvas = Canvas {
            area: SVGBackend::with_string(&mut raw, size).into_drawing_area(),
            width,
            height,
            dropped: Cell::new(0),
        };
        paint(&canvas)?;
        canvas.area.present().map_err(drawing)?;
        canvas.dropped.get()
    };
    Ok(Svg { width, height, body: finished(&raw), dropped })
}

fn drawing(error: impl std::fmt::Display) -> Error {
    Error::Drawing(error.to_string())
}

fn tenth((x, y): (f64, f64)) -> (i32, i32) {
    ((x * TENTH).round() as i32, (y * TENTH).round() as i32)
}

fn is_finite(point: &(f64, f64)) -> bool {
    point.0.is_finite() && point.1.is_finite()
}

impl Canvas<'_> {
    /// px.
    pub fn width(&self) -> f64 {
        self.width
    }

    /// px.
    pub fn height(&self) -> f64 {
        self.height
    }

    fn drop_points(&self, n: usize) {
        self.dropped.set(self.dropped.get() + n);
    }

    /// A straight line.
    ///
    /// # Errors
    /// As for [`draw`].
    pub fn line(&self, from: (f64, f64), to: (f64, f64), pen: Pen) -> Result<(), Error> {
        self.polyline(&[from, to], pen)
    }

    /// A line through points, split where one is not finite. A single point between two such is drawn as a dot.
    ///
    /// # Errors
    /// As for [`draw`].
    pub fn polyline(&self, points: &[(f64, f64)], pen: Pen) -> Result<(), Error> {
        self.drop_points(points.iter().filter(|p| !is_finite(p)).count());
        for run in points.split(|p| !is_finite(p)) {
            match run {
                [] => {}
                [only] => self.dot(*only, pen.width.max(1.0), pen.ink)?,
                _ if pen.dash == Dash::Solid => self.path(run, pen)?,
                _ => {
                    for stroke in dashes(run, pen.dash.pattern()) {
                        self.path(&stroke, pen)?;
                    }
                }
            }
        }
        Ok(())
    }

    fn path(&self, points: &[(f64, f64)], pen: Pen) -> Result<(), Error> {
        let points: Vec<(i32, i32)> = points.iter().map(|p| tenth(*p)).collect();
        self.area.draw(&PathElement::new(points, pen.style())).map_err(drawing)
    }

    /// A filled polygon; points that are not finite are left out and counted.
    ///
    /// # Errors
    /// As for [`draw`].
    pub fn polygon(&self, points: &[(f64, f64)], fill: Ink) -> Result<(), Error> {
        let kept: Vec<(i32, i32)> = points.iter().filter(|p| is_finite(p)).map(|p| tenth(*p)).collect();
        self.drop_points(points.len() - kept.len());
        if kept.len() < 3 {
            return Ok(());
        }
        self.area.draw(&Polygon::new(kept, fill.rgb().filled())).map_err(drawing)
    }

    /// A filled rectangle between two corners in any order, at least a pixel wide and high.
    ///
    /// # Errors
    /// As for [`draw`].
    pub fn rectangle(&self, a: (f64, f64), b: (f64, f64), fill: Ink) -> Result<(), Error> {
        let Some((a, b)) = self.ordered(a, b) else { return Ok(()) };
        self.area.draw(&Rectangle::new([tenth(a), tenth(b)], fill.rgb().filled())).map_err(drawing)
    }

    /// The outline of a rectangle.
    ///
    /// # Errors
    /// As for [`draw`].
    pub fn outline(&self, a: (f64, f64), b: (f64, f64), pen: Pen) -> Result<(), Error> {
        let Some((a, b)) = self.ordered(a, b) else { return Ok(()) };
        self.polyline(&[a, (b.0, a.1), b, (a.0, b.1), a], pen)
    }

    /// A rectangle hatched at 45° (rising to the right) or, with `falling`, at −45°.
    ///
    /// # Errors
    /// As for [`draw`].
    pub fn hatch(&self, a: (f64, f64), b: (f64, f64), spacing: f64, falling: bool, pen: Pen) -> Result<(), Error> {
        let Some((a, b)) = self.ordered(a, b) else { return Ok(()) };
        let (w, h) = (b.0 - a.0, b.1 - a.1);
        let mut s = spacing;
        while s < w + h {
            // The line u + v = s within the rectangle, u from the left, v from the top (or from the bottom).
            let (u0, u1) = ((s - h).max(0.0), s.min(w));
            let at = |u: f64| {
                let v = s - u;
                (a.0 + u, if falling { b.1 - v } else { a.1 + v })
            };
            self.line(at(u0), at(u1), pen)?;
            s += spacing;
        }
        Ok(())
    }

    fn ordered(&self, a: (f64, f64), b: (f64, f64)) -> Option<((f64, f64), (f64, f64))> {
        if !is_finite(&a) || !is_finite(&b) {
            self.drop_points(1);
            return None;
        }
        let axis = |p: f64, q: f64| {
            let (lo, hi) = (p.min(q), p.max(q));
            if hi - lo < 1.0 { ((lo + hi) / 2.0 - 0.5, (lo + hi) / 2.0 + 0.5) } else { (lo, hi) }
        };
        let ((x0, x1), (y0, y1)) = (axis(a.0, b.0), axis(a.1, b.1));
        Some(((x0, y0), (x1, y1)))
    }

    /// A filled circle.
    ///
    /// # Errors
    /// As for [`draw`].
    pub fn dot(&self, centre: (f64, f64), radius: f64, fill: Ink) -> Result<(), Error> {
        if !is_finite(&centre) || !radius.is_finite() {
            self.drop_points(1);
            return Ok(());
        }
        let radius = (radius * TENTH).round().max(5.0) as u32;
        self.area.draw(&Circle::new(tenth(centre), radius, fill.rgb().filled())).map_err(drawing)
    }

    /// The outline of a circle.
    ///
    /// # Errors
    /// As for [`draw`].
    pub fn ring(&self, centre: (f64, f64), radius: f64, pen: Pen) -> Result<(), Error> {
        if !is_finite(&centre) || !radius.is_finite() {
            self.drop_points(1);
            return Ok(());
        }
        if pen.dash != Dash::Solid {
            let around: Vec<(f64, f64)> = (0..=90)
                .map(|i| {
                    let (sin, cos) = (f64::from(i) * std::f64::consts::TAU / 90.0).sin_cos();
                    (centre.0 + radius * cos, centre.1 + radius * sin)
                })
                .collect();
            return self.polyline(&around, pen);
        }
        let radius = (radius * TENTH).round().max(5.0) as u32;
        self.area.draw(&Circle::new(tenth(centre), radius, pen.style())).map_err(drawing)
    }

    /// A text on one line; the point is at the middle of the letters' height.
    ///
    /// # Errors
    /// As for [`draw`].
    pub fn text(&self, text: &str, at: (f64, f64), lettering: Lettering) -> Result<(), Error> {
        if !is_finite(&at) || text.is_empty() {
            return Ok(());
        }
        let h_pos = match lettering.anchor {
            Anchor::Start => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::End => HPos::Right,
        };
        let mut font = ("sans-serif", lettering.size * TENTH * FONT_SIZE_DIVISOR).into_font();
        if lettering.bold {
            font = font.style(FontStyle::Bold);
        }
        let style = font.color(&lettering.ink.rgb()).pos(Pos::new(h_pos, VPos::Center));
        self.area.draw_text(&crate::text::clean(text), &style, tenth(at)).map_err(drawing)
    }
}

/// The strokes of a broken line through `points`.
fn dashes(points: &[(f64, f64)], pattern: &[f64]) -> Vec<Vec<(f64, f64)>> {
    let mut strokes = Vec::new();
    let mut stroke = vec![points[0]];
    let (mut phase, mut left, mut on) = (0, pattern[0], true);
    for pair in points.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let length = (to.0 - from.0).hypot(to.1 - from.1);
        let mut done = 0.0;
        while length - done > left {
            done += left;
            let t = done / length;
            let turn = (from.0 + t * (to.0 - from.0), from.1 + t * (to.1 - from.1));
            if on {
                stroke.push(turn);
                strokes.push(std::mem::take(&mut stroke));
            } else {
                stroke = vec![turn];
            }
            on = !on;
            phase = (phase + 1) % pattern.len();
            left = pattern[phase];
        }
        left -= length - done;
        if on {
            stroke.push(to);
        }
    }
    if on && stroke.len() > 1 {
        strokes.push(stroke);
    }
    strokes
}

/// plotters' SVG without its root element, with classes beside the colours and without what says nothing. Text from
/// outside cannot be mistaken for an attribute: the backend writes a quotation mark in it as `&quot;`.
fn finished(raw: &str) -> String {
    let inner = raw.split_once(">\n").map_or(raw, |(_, rest)| rest);
    let mut body = inner.trim_end().trim_end_matches("</svg>").to_owned();
    for (needless, instead) in [
        (" opacity=\"1\"", ""),
        (" stroke=\"none\"", ""),
        (" font-family=\"sans-serif\"", ""),
        (" \"/>", "\"/>"),
        (">\n</text>", "></text>"),
        ("\n</text>", "</text>"),
    ] {
        body = body.replace(needless, instead);
    }
    body = joined(&body);
    for ink in Ink::ALL {
        let (name, hex) = (ink.name(), ink.hex());
        for (attribute, class) in [("fill", "f"), ("stroke", "s")] {
            body = body.replace(
                &format!(" {attribute}=\"{hex}\""),
                &format!(" class=\"{class}-{name}\" {attribute}=\"{hex}\""),
            );
        }
    }
    body
}

/// Lines drawn one after the other with one pen as one path: broken lines and hatchings are hundreds of strokes.
fn joined(body: &str) -> String {
    let mut out = String::with_capacity(body.len());
    // Of the run at the end of what was read: its pen, its first line as it came, and all of its strokes as path data.
    let mut run: Option<(&str, &str, String, usize)> = None;
    let close = |out: &mut String, run: Option<(&str, &str, String, usize)>| match run {
        Some((_, alone, _, 1)) => out.extend([alone, "\n"]),
        Some((pen, _, strokes, _)) => out.push_str(&format!("<path{pen} d=\"{strokes}\"/>\n")),
        None => {}
    };
    for line in body.lines() {
        let parts = line.strip_prefix("<polyline").and_then(|rest| rest.strip_suffix("\"/>")?.split_once(" points=\""));
        let Some((pen, points)) = parts else {
            close(&mut out, run.take());
            out.extend([line, "\n"]);
            continue;
        };
        let stroke = format!("M{}", points.trim_end());
        match &mut run {
            Some((same, _, strokes, n)) if *same == pen => {
                strokes.push_str(&stroke);
                *n += 1;
            }
            _ => {
                close(&mut out, run.take());
                run = Some((pen, line, stroke, 1));
            }
        }
    }
    close(&mut out, run);
    out
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a failed drawing is a failed test
mod tests {
    use super::*;

    #[test]
    fn lines_split_at_missing_points_and_count_them() {
        let pen = Pen::new(Ink::Main, 1.5);
        let svg = draw(100.0, 50.0, |c| {
            c.polyline(
                &[
                    (0.0, 0.0),
                    (10.0, 10.0),
                    (f64::NAN, 3.0),
                    (20.0, 5.0),
                    (30.0, f64::INFINITY),
                    (40.0, 1.0),
                    (50.0, 2.0),
                ],
                pen,
            )
        })
        .unwrap();
        assert_eq!(svg.dropped, 2);
        assert_eq!(svg.body.matches("<polyline").count(), 2, "{}", svg.body);
        assert_eq!(svg.body.matches("<circle").count(), 1, "the point alone: {}", svg.body);
        assert!(svg.body.contains("class=\"s-main\" stroke=\"#15607A\""), "{}", svg.body);
    }

    #[test]
    fn rectangles_are_ordered_and_never_thinner_than_a_pixel() {
        let svg = draw(100.0, 50.0, |c| {
            c.rectangle((50.0, 40.0), (20.0, 10.0), Ink::Main)?;
            c.rectangle((60.0, 10.0), (60.0, 10.0), Ink::Limit)
        })
        .unwrap();
        assert!(svg.body.contains("width=\"300\" height=\"300\""), "{}", svg.body);
        assert!(svg.body.contains("width=\"10\" height=\"10\""), "{}", svg.body);
    }

    #[test]
    fn text_cannot_leave_its_element() {
        let svg = draw(100.0, 50.0, |c| {
            c.text("</text><script>\" fill=\"#15607A\"\n", (1.0, 1.0), Lettering::new(Ink::Ink, 12.0))
        })
        .unwrap();
        assert!(!svg.body.contains("<script") && !svg.body.contains("f-main"), "{}", svg.body);
    }

    #[test]
    fn dashes_cover_the_line_by_their_pattern() {
        let strokes = dashes(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0)], &[3.0, 3.0]);
        let drawn: f64 =
            strokes.iter().flat_map(|s| s.windows(2)).map(|p| (p[1].0 - p[0].0).hypot(p[1].1 - p[0].1)).sum();
        // 20 px: strokes at 0–3, 6–9, 12–15, 18–20.
        assert!((drawn - 11.0).abs() < 1e-12, "{strokes:?}");
    }

    #[test]
    fn strokes_of_one_pen_are_one_path() {
        let pen = Pen::new(Ink::Main, 1.0);
        let svg = draw(100.0, 50.0, |c| {
            c.line((0.0, 0.0), (10.0, 0.0), pen.dashed(Dash::Short))?;
            c.line((0.0, 5.0), (10.0, 5.0), Pen::new(Ink::Limit, 1.0))
        })
        .unwrap();
        assert!(svg.body.contains("d=\"M0,0 30,0M60,0 90,0\""), "{}", svg.body);
        assert_eq!((svg.body.matches("<path").count(), svg.body.matches("<polyline").count()), (1, 1), "{}", svg.body);
    }

    #[test]
    fn long_names_are_cut() {
        assert_eq!(fitted("shim", 12.0, 100.0), "shim");
        let cut = fitted("a very long name of a dimension", 12.0, 100.0);
        assert!(cut.ends_with('…') && text_width(&cut, 12.0) <= 100.0, "{cut}");
        let cut = fitted_end("cylinder 1/rocker 1 exhaust/adjuster", 12.0, 100.0);
        assert!(cut.starts_with('…') && cut.ends_with("adjuster") && text_width(&cut, 12.0) <= 100.0, "{cut}");
    }
}
