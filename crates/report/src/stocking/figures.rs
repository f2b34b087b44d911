//! Coverage over the number of sizes, and service over cost.

use super::{Stocked, tables};
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Canvas, Dash, Lettering, Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg, unique};
use crate::number::{percent, plain};
use crate::table::Table;
use packdrift_stock::{Assortment, Levels, Plan};

/// Both figures; one without points is left out.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(stocked: &Stocked<'_>) -> Result<Vec<Figure>, Error> {
    let plan = stocked.plan;
    let all = tables(stocked);
    let table = |name: &str| all.iter().find(|table| table.name == name).cloned();
    let mut figures = Vec::new();
    if let Some(table) = table("coverage").filter(|_| !plan.curve.is_empty()) {
        figures.push(coverage(plan, table)?);
    }
    let steps: Vec<&Levels> = plan.service_curve.iter().filter(|l| l.service.share.is_finite()).collect();
    if let Some(table) = table("service").filter(|_| steps.len() > 1) {
        figures.push(service(plan, &steps, table)?);
    }
    let mut refs: Vec<&mut Figure> = figures.iter_mut().collect();
    unique(&mut refs);
    Ok(figures)
}

/// The frame of a figure: where its axes lie.
struct Room {
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

impl Room {
    fn of(format: Format) -> Self {
        let (width, height) = (format.pick(960.0, 340.0), format.pick(360.0, 320.0));
        Self { width, height, left: 56.0, right: width - 18.0, top: 46.0, bottom: height - 46.0 }
    }

    /// Shares in percent, with room for the bars of the errors, never beyond 0 and 100.
    fn up(&self, low: f64, high: f64) -> Axis {
        let free = (0.06 * (high - low)).max(0.02);
        Axis::new((low - free).max(0.0), (high + free).min(100.0), self.bottom, self.top)
    }
}

/// A level across the figure, with its name over its left end, where the rising curve is low.
fn level(c: &Canvas<'_>, room: &Room, y: f64, name: &str, ink: Ink) -> Result<(), Error> {
    c.line((room.left, y), (room.right, y), Pen::new(ink, 1.2).dashed(Dash::Long))?;
    c.text(name, (room.left + 8.0, y - 9.0), Lettering::new(Ink::Ink, Lettering::SMALL))
}

/// A point with two standard errors either way.
fn point(c: &Canvas<'_>, up: &Axis, x: f64, share: f64, error: f64, ink: Ink) -> Result<(), Error> {
    let y = |share: f64| up.within(100.0 * share);
    if error > 0.0 {
        c.line((x, y(share - 2.0 * error)), (x, y(share + 2.0 * error)), Pen::new(Ink::Main, 1.0))?;
    }
    c.dot((x, y(share)), 3.5, ink)
}

fn coverage(plan: &Plan, table: Table) -> Result<Figure, Error> {
    let last = plan.curve.last().map_or(0.0, |a| a.coverage);
    Figure::draw(
        "coverage",
        "Share of the jobs that can be done, by number of sizes",
        format!(
            "From {} without any piece, over {} numbers of sizes, to {}; all sizes of the catalogue do {}.",
            percent(plan.without),
            plan.curve.len(),
            percent(last),
            percent(plan.all_sizes)
        ),
        "Each point is the best assortment of so many sizes; 0 sizes: jobs that need no piece. Bars are two standard errors either way. The ring is the assortment advised.",
        table,
        |format| paint_coverage(plan, format),
    )
}

fn paint_coverage(plan: &Plan, format: Format) -> Result<Svg, Error> {
    let room = Room::of(format);
    let most = plan.curve.iter().map(|a| a.sizes.len()).max().unwrap_or(1).max(plan.chosen.sizes.len());
    let across = Axis::new(-0.4, most as f64 + 0.4, room.left, room.right);
    let lows = plan.curve.iter().map(|a| a.coverage - 2.0 * a.standard_error).fold(plan.without, f64::min);
    let up = room.up(100.0 * lows, 100.0 * plan.all_sizes.max(plan.chosen.coverage));
    draw(room.width, room.height, |c| {
        up.draw_vertical(c, room.left, room.right, "jobs that can be done, %")?;
        // Whole numbers only: half a size is not held.
        let small = Lettering::new(Ink::Muted, Lettering::SMALL);
        for n in 0..=most {
            let x = across.at(n as f64);
            c.line((x, room.bottom), (x, room.bottom + 4.0), Pen::new(Ink::Muted, 1.0))?;
            c.text(&n.to_string(), (x, room.bottom + 13.0), small.anchored(Anchor::Middle))?;
        }
        c.line((room.left, room.bottom), (room.right, room.bottom), Pen::new(Ink::Muted, 1.0))?;
        c.text("sizes held", (room.right, room.bottom + 30.0), small.anchored(Anchor::End))?;
        level(c, &room, up.within(100.0 * plan.all_sizes), "all sizes of the catalogue", Ink::Second)?;
        let at = |n: usize, share: f64| (across.at(n as f64), up.within(100.0 * share));
        let line: Vec<(f64, f64)> = std::iter::once(at(0, plan.without))
            .chain(plan.curve.iter().map(|a: &Assortment| at(a.sizes.len(), a.coverage)))
            .collect();
        c.polyline(&line, Pen::new(Ink::Main, 1.6))?;
        point(c, &up, across.at(0.0), plan.without, 0.0, Ink::Muted)?;
        for a in &plan.curve {
            point(c, &up, across.at(a.sizes.len() as f64), a.coverage, a.standard_error, Ink::Main)?;
        }
        c.ring(at(plan.chosen.sizes.len(), plan.chosen.coverage), 7.0, Pen::new(Ink::Second, 1.8))
    })
}

fn service(plan: &Plan, steps: &[&Levels], table: Table) -> Result<Figure, Error> {
    let last = steps.last().map_or(0.0, |l| l.service.share);
    Figure::draw(
        "service",
        "Service against what the drawer costs",
        format!(
            "{} steps from an empty drawer; the last serves {} of the jobs that take pieces.",
            steps.len(),
            percent(last)
        ),
        "Each point is a drawer with a piece, or what a job takes, more than the one before. Bars are two standard errors either way. The ring is the drawer advised: the cheapest that serves as wanted.",
        table,
        |format| paint_service(plan, steps, format),
    )
}

fn paint_service(plan: &Plan, steps: &[&Levels], format: Format) -> Result<Svg, Error> {
    let room = Room::of(format);
    let dearest = steps.iter().map(|l| l.cost).chain(plan.levels.as_ref().map(|l| l.cost)).fold(0.0, f64::max);
    let across = Axis::new(-0.03 * dearest, 1.04 * dearest, room.left, room.right);
    let lows = steps.iter().map(|l| l.service.share - 2.0 * l.service.standard_error).fold(plan.service, f64::min);
    let highs = steps.iter().map(|l| l.service.share + 2.0 * l.service.standard_error).fold(plan.service, f64::max);
    let up = room.up(100.0 * lows, (100.0 * highs).min(100.0));
    let priced = plan.held.iter().any(|held| plan.catalogue[held.size].cost > 0.0);
    draw(room.width, room.height, |c| {
        up.draw_vertical(c, room.left, room.right, "jobs served at once, %")?;
        across.draw_horizontal(
            c,
            room.bottom,
            None,
            if priced { "cost of the drawer" } else { "pieces in the drawer" },
        )?;
        level(
            c,
            &room,
            up.within(100.0 * plan.service),
            &format!("wanted: {} %", plain(100.0 * plan.service)),
            Ink::Second,
        )?;
        let at = |l: &Levels| (across.at(l.cost), up.within(100.0 * l.service.share));
        let line: Vec<(f64, f64)> = steps.iter().map(|l| at(l)).collect();
        c.polyline(&line, Pen::new(Ink::Main, 1.6))?;
        for l in steps {
            point(c, &up, across.at(l.cost), l.service.share, l.service.standard_error, Ink::Main)?;
        }
        match &plan.levels {
            Some(levels) => c.ring(at(levels), 7.0, Pen::new(Ink::Second, 1.8)),
            None => Ok(()),
        }
    })
}
