//! A chart of lines and points, for the studies.

use packdrift_report::figure::axis::Axis;
use packdrift_report::figure::canvas::{Canvas, Dash, Lettering, Pen, draw};
use packdrift_report::figure::ink::Ink;
use packdrift_report::figure::{Error, Figure};
use packdrift_report::table::{Cell, Column, Table};

/// How a series is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mark {
    /// A full line.
    Line,
    /// A dashed line.
    Dashes,
    /// Dots.
    Dots,
}

/// One series.
pub(crate) struct Series {
    /// What it is, in the legend.
    pub(crate) label: String,
    /// Its colour.
    pub(crate) ink: Ink,
    /// Line or points.
    pub(crate) mark: Mark,
    /// (x, y).
    pub(crate) points: Vec<(f64, f64)>,
}

/// What a chart says besides its series.
pub(crate) struct Chart<'a> {
    /// File name and element id.
    pub(crate) id: &'a str,
    /// What it shows.
    pub(crate) title: &'a str,
    /// For who cannot see it.
    pub(crate) description: String,
    /// How to read it.
    pub(crate) caption: &'a str,
    /// With unit.
    pub(crate) x: &'a str,
    /// With unit.
    pub(crate) y: &'a str,
    /// Values that the vertical axis must hold, as 0.
    pub(crate) holds: &'a [f64],
}

impl Chart<'_> {
    /// Draws the series.
    pub(crate) fn figure(&self, series: &[Series]) -> Result<Figure, Error> {
        Figure::draw(self.id, self.title, self.description.as_str(), self.caption, self.table(series), |format| {
            let (width, height) = format.pick((760.0, 380.0), (350.0, 300.0));
            draw(width, height, |canvas| self.paint(canvas, series))
        })
    }

    fn paint(&self, canvas: &Canvas<'_>, series: &[Series]) -> Result<(), Error> {
        let legend = 18.0 * series.len() as f64;
        let (left, right, top, bottom) = (58.0, canvas.width() - 14.0, legend + 34.0, canvas.height() - 40.0);
        let xs = series.iter().flat_map(|s| s.points.iter().map(|p| p.0));
        let ys = series.iter().flat_map(|s| s.points.iter().map(|p| p.1)).chain(self.holds.iter().copied());
        let x = Axis::holding(xs, 0.02, left, right);
        let y = Axis::holding(ys, 0.05, bottom, top);
        x.draw_horizontal(canvas, bottom, Some(top), self.x)?;
        y.draw_vertical(canvas, left, right, self.y)?;
        for (k, one) in series.iter().enumerate() {
            let at = 9.0 + 18.0 * k as f64;
            draw_marks(canvas, one, &[(4.0, at), (18.0, at), (32.0, at)])?;
            canvas.text(&one.label, (42.0, at), Lettering::new(Ink::Ink, Lettering::SMALL))?;
            let points: Vec<_> = one.points.iter().map(|&(a, b)| (x.at(a), y.at(b))).collect();
            draw_marks(canvas, one, &points)?;
        }
        Ok(())
    }

    fn table(&self, series: &[Series]) -> Table {
        let mut rows = Vec::new();
        for one in series {
            for &(a, b) in &one.points {
                rows.push(vec![Cell::text(one.label.as_str()), Cell::significant(a, 4), Cell::significant(b, 4)]);
            }
        }
        Table {
            name: self.id.to_owned(),
            caption: self.title.to_owned(),
            columns: vec![Column::text("series"), Column::number(self.x), Column::number(self.y)],
            rows,
            read_back: false,
        }
    }
}

fn draw_marks(canvas: &Canvas<'_>, series: &Series, points: &[(f64, f64)]) -> Result<(), Error> {
    match series.mark {
        Mark::Line => canvas.polyline(points, Pen::new(series.ink, 2.0)),
        Mark::Dashes => canvas.polyline(points, Pen::new(series.ink, 2.0).dashed(Dash::Long)),
        Mark::Dots => points.iter().try_for_each(|&p| canvas.dot(p, 3.0, series.ink)),
    }
}
