//! Coverage over the number of sizes, and service over cost.

use super::tables;
use crate::figure::axis::{Axis, extent};
use crate::figure::canvas::{Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg, unique};
use crate::number::percent;
use packdrift_stock::Plan;

/// A point with its standard error.
#[derive(Clone, Copy)]
struct Point {
    x: f64,
    y: f64,
    se: f64,
}

/// Both figures.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(plan: &Plan) -> Result<Vec<Figure>, Error> {
    let coverage: Vec<Point> =
        plan.curve.iter().map(|a| Point { x: a.sizes.len() as f64, y: a.coverage, se: a.standard_error }).collect();
    let service: Vec<Point> = plan
        .service_curve
        .iter()
        .map(|l| Point { x: l.cost, y: l.service.share, se: l.service.standard_error })
        .filter(|p| p.y.is_finite())
        .collect();
    let mut figures = Vec::new();
    let all = tables(plan);
    for (id, title, x, y, points, mark) in [
        (
            "coverage",
            "Share of the jobs that can be done, by number of sizes",
            "sizes held",
            "jobs that can be done",
            coverage,
            Some(plan.chosen.sizes.len() as f64),
        ),
        (
            "service",
            "Service against cost",
            "cost of the drawer",
            "served at once",
            service,
            plan.levels.as_ref().map(|l| l.cost),
        ),
    ] {
        let Some(table) = all.iter().find(|table| table.name == id).filter(|_| !points.is_empty()) else { continue };
        let last = points[points.len() - 1];
        figures.push(Figure::draw(
            id,
            title,
            format!("A curve of {} points, rising to {}.", points.len(), percent(last.y)),
            "Bars are two standard errors either way. The dashed line marks what is advised.",
            table.clone(),
            |format| curve(&points, (x, y), mark, format),
        )?);
    }
    let mut refs: Vec<&mut Figure> = figures.iter_mut().collect();
    unique(&mut refs);
    Ok(figures)
}

fn curve(points: &[Point], (x, y): (&str, &str), mark: Option<f64>, format: Format) -> Result<Svg, Error> {
    let (width, height) = (format.pick(960.0, 340.0), format.pick(360.0, 300.0));
    let (left, right) = (format.pick(72.0, 56.0), width - 16.0);
    let (top, bottom) = (30.0, height - 52.0);
    let (low, high) = extent(points.iter().map(|p| p.x).chain(mark));
    let across = Axis::holding([low, high.max(low + 1e-9)], 0.04, left, right);
    let (floor, ceiling) = extent(points.iter().flat_map(|p| [p.y - 2.0 * p.se, p.y + 2.0 * p.se]));
    let up = Axis::holding([floor.max(0.0), ceiling.min(1.0).max(floor.max(0.0) + 1e-3)], 0.04, bottom, top);
    draw(width, height, |c| {
        across.draw_horizontal(c, bottom, Some(top), x)?;
        up.draw_vertical(c, left, right, y)?;
        if let Some(mark) = mark {
            let at = across.within(mark);
            c.line((at, top), (at, bottom), Pen::new(Ink::Second, 1.2).dashed(crate::figure::canvas::Dash::Long))?;
        }
        let line: Vec<(f64, f64)> = points.iter().map(|p| (across.at(p.x), up.within(p.y))).collect();
        c.polyline(&line, Pen::new(Ink::Main, 1.6))?;
        for p in points {
            let at = across.at(p.x);
            c.line((at, up.within(p.y - 2.0 * p.se)), (at, up.within(p.y + 2.0 * p.se)), Pen::new(Ink::Main, 1.0))?;
            c.dot((at, up.within(p.y)), 3.0, Ink::Main)?;
        }
        Ok(())
    })
}
