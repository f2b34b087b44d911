//! What an interval costs in the long run, over the interval.

use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Dash, Lettering, Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::{chance, significant};
use crate::table::{Cell, Column, Table};
use packdrift_due::{DueResult, Interval};

/// Every so many points of the curve go into the table.
const THINNED: usize = 12;

/// The figure of one kind of engine.
pub(super) fn figure(interval: &Interval, result: &DueResult) -> Result<Figure, Error> {
    let mut table = Table::new(
        "interval-cost",
        "Long-run cost over the interval",
        vec![
            Column::number("interval").unit("h"),
            Column::number("cost per 1000 h"),
            Column::number("chance within it"),
        ],
    );
    for p in interval.curve.iter().step_by(THINNED) {
        table.push(vec![Cell::fixed(p.hours, 0), Cell::significant(p.cost, 3), Cell::chance(p.chance)]);
    }
    let best = interval.cheapest.map_or_else(
        || "no interval is cheaper than waiting".to_owned(),
        |b| {
            format!(
                "the cheapest is {} h at {} per 1000 h (chance {})",
                significant(b.hours, 3),
                significant(b.cost, 3),
                chance(b.chance)
            )
        },
    );
    let caption = "Short intervals cost planned work, long ones failures. The ring is the cheapest, the bar at the foot its 90 % band; the dashed line is the interval at which the accepted risk is reached.";
    Figure::draw(
        "interval",
        format!("The cheapest interval: engines with {}", crate::text::clean(&interval.valves)),
        format!("Long-run cost per 1000 hours against the interval; {best}."),
        caption,
        table,
        |format| paint(interval, result.risk, &result.cost_unit, format),
    )
}

fn paint(interval: &Interval, risk: f64, result_unit: &str, format: Format) -> Result<Svg, Error> {
    let (width, height) = (format.pick(960.0, 340.0), format.pick(320.0, 300.0));
    let (left, right, top, bottom) = (58.0, width - 16.0, 66.0, height - 42.0);
    let best = interval.cheapest;
    let last = interval.curve.last().map_or(1.0, |p| p.hours);
    // Beyond four times the cheapest, or the hour at which nearly all have entered the damage zone, nothing more is to be seen.
    let gone = interval.curve.iter().find(|p| p.chance > 0.99).map_or(last, |p| p.hours);
    let reach = best.map_or(gone, |b| gone.min(4.0 * b.hours)).min(last).max(1.0);
    let unit = if result_unit.is_empty() { String::new() } else { format!(", {}", crate::text::clean(result_unit)) };
    draw(width, height, |c| {
        let x = Axis::new(0.0, reach, left, right);
        let seen = || interval.curve.iter().filter(|p| p.hours <= reach);
        let least = best.map_or_else(|| seen().map(|p| p.cost).fold(f64::INFINITY, f64::min), |b| b.cost);
        let end = seen().next_back().map_or(least, |p| p.cost);
        let y = Axis::new(0.0, (1.15 * end).max(3.0 * least), bottom, top);
        y.draw_vertical(c, left, right, &format!("cost per 1000 h{unit}"))?;
        x.draw_horizontal(c, bottom, None, "interval, running hours")?;
        if let Some(at) = interval.at_risk.filter(|h| x.holds(*h)) {
            let at = x.at(at);
            c.line((at, top), (at, bottom), Pen::new(Ink::Limit, 1.4).dashed(Dash::Long))?;
            let label = format!("chance {}", crate::number::percent(risk));
            let small = Lettering::new(Ink::Limit, Lettering::SMALL).anchored(Anchor::Middle);
            let half = 0.5 * small.width(&label);
            c.text(&label, (at.clamp(left + half, right - half), top - 8.0), small)?;
        }
        let line: Vec<(f64, f64)> =
            seen().filter(|p| p.cost <= y.high()).map(|p| (x.at(p.hours), y.at(p.cost))).collect();
        c.polyline(&line, Pen::new(Ink::Main, 2.2))?;
        if let (Some(low), high) = (interval.band.0, interval.band.1) {
            // An open end runs off the plot: the readings set it none.
            let (a, b) = (x.within(low), high.map_or(right, |h| x.within(h)));
            c.rectangle((a, bottom - 7.0), (b.max(a + 1.0), bottom - 3.0), Ink::Second)?;
        }
        if let Some(b) = best {
            c.ring((x.at(b.hours), y.at(b.cost)), 5.0, Pen::new(Ink::Ink, 1.8))?;
            let label = format!("{} h", significant(b.hours, 3));
            let small = Lettering::new(Ink::Ink, Lettering::SMALL).anchored(Anchor::Middle);
            let half = 0.5 * small.width(&label);
            c.text(&label, (x.at(b.hours).clamp(left + half, right - half), y.at(b.cost) - 17.0), small)?;
        }
        Ok(())
    })
}
