//! The fleet at a glance: how many hours each urgent valve has left, and where all valves stand between the limits.

use super::order::{self, Ranked};
use crate::figure::axis::{Axis, extent};
use crate::figure::canvas::{Anchor, Canvas, Dash, Lettering, Pen, draw, fitted};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::{chance as chance_words, counted, fixed, plain};
use crate::table::{Cell, Column, Table};
use packdrift_trend::{FeatureResult, Policy, Status};

/// Valves listed in the figure of hours left: the flagged ones, but not fewer than the first and not more than the second.
const LISTED: (usize, usize) = (8, 24);
/// Valves marked in the map of the fleet.
const MAPPED: usize = 1500;

/// The overview figures of one feature: none without valves, the map alone without limits.
pub(super) fn figures(feature: &FeatureResult, policy: Option<&Policy>) -> Result<Vec<Figure>, Error> {
    let ranked = order::most_urgent(feature, MAPPED);
    if ranked.is_empty() {
        return Ok(Vec::new());
    }
    let mut figures = Vec::new();
    if feature.limits.is_some() {
        figures.push(hours_left(feature, &ranked, policy)?);
    }
    figures.push(map(feature, &ranked, policy)?);
    Ok(figures)
}

/// Colour of a status; the shape says the same.
fn ink(status: Option<Status>) -> Ink {
    match status {
        Some(Status::Overdue | Status::Due) => Ink::Limit,
        Some(Status::InWindow) | None => Ink::Main,
        Some(_) => Ink::Second,
    }
}

/// Mark of a status: filled triangle overdue, open triangle due, filled diamond watch, open diamond open, ring in window.
fn mark(canvas: &Canvas<'_>, (x, y): (f64, f64), status: Option<Status>) -> Result<(), Error> {
    let r = 4.5;
    let triangle = [(x, y - r), (x + r, y + 0.8 * r), (x - r, y + 0.8 * r), (x, y - r)];
    match status {
        Some(Status::Overdue) => canvas.polygon(&triangle, Ink::Limit),
        Some(Status::Due) => {
            canvas.polygon(&triangle, Ink::Paper)?;
            canvas.polyline(&triangle, Pen::new(Ink::Limit, 1.6))
        }
        Some(Status::Watch) => canvas.polygon(&[(x, y - r), (x + r, y), (x, y + r), (x - r, y)], Ink::Second),
        Some(Status::InWindow) | None => canvas.ring((x, y), 3.0, Pen::new(Ink::Main, 1.3)),
        Some(_) => {
            let diamond = [(x, y - r), (x + r, y), (x, y + r), (x - r, y), (x, y - r)];
            canvas.polygon(&diamond, Ink::Paper)?;
            canvas.polyline(&diamond, Pen::new(Ink::Second, 1.6))
        }
    }
}

fn hours_left(feature: &FeatureResult, ranked: &[Ranked<'_>], policy: Option<&Policy>) -> Result<Figure, Error> {
    let flagged = order::flagged_count(feature);
    let shown = &ranked[..flagged.clamp(LISTED.0, LISTED.1).min(ranked.len())];
    let horizon = policy.map(|p| p.horizon).filter(|h| h.is_finite() && *h > 0.0);
    let left = |r: &Ranked<'_>, h: Option<f64>| h.map(|h| (h - r.valve.hours).max(0.0));
    let mut table = Table::new(
        "hours-left",
        "Hours each valve has left before its limit",
        vec![
            Column::text("status"),
            Column::text("engine"),
            Column::text("valve"),
            Column::number("early (chance 5 %)").unit("h"),
            Column::number("middle (50 %)").unit("h"),
            Column::number("late (95 %)").unit("h"),
            Column::number("chance by horizon"),
        ],
    );
    for r in shown {
        let c = r.valve.crossing_hours;
        let cell = |h: Option<f64>| left(r, h).map_or(Cell::Empty, |h| Cell::fixed(h, 0));
        table.push(vec![
            Cell::verdict(order::word(r.valve.status), order::standing(r.valve.status)),
            Cell::text(&r.valve.engine),
            Cell::text(&r.valve.valve),
            cell(c.p05),
            cell(c.p50),
            cell(c.p95),
            r.valve.chance_by_horizon.map_or(Cell::Empty, Cell::chance),
        ]);
    }
    // Long enough for the horizon and for most middles; what goes on beyond is cut with an arrow.
    let middles = extent(shown.iter().filter_map(|r| left(r, r.valve.crossing_hours.p50)));
    let most = horizon.map_or(middles.1, |h| middles.1.min(4.0 * h).max(1.25 * h));
    let most = if most.is_finite() && most > 0.0 { most } else { 1000.0 };

    let omitted = feature.valves.len() - shown.len();
    let caption = format!(
        "Each bar runs from the hour by which the limit is reached with a chance of 5 % to that of 95 %; the mark is the middle. A bar \
         that ends in an arrow goes on. The shape and the word tell the status.{}",
        if omitted > 0 {
            format!(" The {} most urgent are drawn; {} more are in the table of all valves.", shown.len(), omitted)
        } else {
            String::new()
        }
    );
    let first = shown.first().map_or_else(String::new, |r| format!(" The most urgent is {}.", r.name()));
    let description = format!(
        "Bars of the hours left before the limit for {}, sorted by urgency.{first}",
        counted(shown.len(), "valve")
    );
    Figure::draw(
        &format!("{}-hours-left", feature.feature),
        format!("{}: hours left", order::title(feature)),
        description,
        caption,
        table,
        |format| draw_hours_left(shown, horizon, most, format),
    )
}

fn draw_hours_left(shown: &[Ranked<'_>], horizon: Option<f64>, most: f64, format: Format) -> Result<Svg, Error> {
    let (width, row) = (format.pick(960.0, 340.0), format.pick(22.0, 40.0));
    let (left, right) = (format.pick(250.0, 8.0), width - format.pick(96.0, 66.0));
    let top = 26.0;
    let bottom = top + row * shown.len() as f64 + 6.0;
    draw(width, bottom + 38.0, |c| {
        let x = Axis::new(0.0, most, left, right);
        x.draw_horizontal(c, bottom, Some(top), "hours from now on the engine's own meter")?;
        let heading = Lettering::new(Ink::Muted, Lettering::SMALL);
        c.text(format.pick("chance in horizon", "in horizon"), (width, 11.0), heading.anchored(Anchor::End))?;
        if let Some(h) = horizon.filter(|h| x.holds(*h)) {
            c.line((x.at(h), top - 6.0), (x.at(h), bottom), Pen::new(Ink::Ink, 1.2).dashed(Dash::Long))?;
            c.text(
                &format!("horizon {} h", plain(h)),
                (x.at(h), 11.0),
                Lettering::new(Ink::Ink, Lettering::SMALL).anchored(Anchor::Middle),
            )?;
        }
        for (i, r) in shown.iter().enumerate() {
            let y0 = top + row * i as f64;
            let y = y0 + format.pick(0.5 * row, 28.0);
            let name = format!("{} · {}", r.name(), order::word(r.valve.status));
            let bold = order::standing(r.valve.status) == crate::table::Standing::Act;
            let lettering = Lettering::new(Ink::Ink, Lettering::NORMAL);
            let lettering = if bold { lettering.bold() } else { lettering };
            let (name_at, room) = format.pick(((left - 14.0, y), left - 34.0), ((18.0, y0 + 12.0), width - 40.0));
            let anchored = lettering.anchored(format.pick(Anchor::End, Anchor::Start));
            let name = fitted(&name, Lettering::NORMAL, room);
            if format == Format::Narrow {
                // Names stand over the plot here: the lines behind them would strike them out.
                let width = lettering.width(&name);
                c.rectangle(
                    (name_at.0 - 2.0, name_at.1 - 9.0),
                    (name_at.0 + width + 2.0, name_at.1 + 9.0),
                    Ink::Paper,
                )?;
            }
            c.text(&name, name_at, anchored)?;
            mark(c, format.pick((8.0, y), (8.0, y0 + 12.0)), r.valve.status)?;
            if let Some(chance) = r.valve.chance_by_horizon {
                c.text(&chance_words(chance), (width, y), lettering.anchored(Anchor::End))?;
            }
            bar(c, &x, y, r)?;
        }
        Ok(())
    })
}

fn bar(c: &Canvas<'_>, x: &Axis, y: f64, r: &Ranked<'_>) -> Result<(), Error> {
    let hours = r.valve.crossing_hours;
    let left = |h: f64| (h - r.valve.hours).max(0.0);
    let colour = ink(r.valve.status);
    let Some(early) = hours.p05.map(left) else {
        return c.text(
            "not reached with a chance of 5 %",
            (x.at(0.0) + 4.0, y),
            Lettering::new(Ink::Muted, Lettering::SMALL),
        );
    };
    if early > x.high() {
        return c.text(
            &format!("after {} h", fixed(early, 0)),
            (x.at(x.high()) - 6.0, y),
            Lettering::new(Ink::Muted, Lettering::SMALL).anchored(Anchor::End),
        );
    }
    let late = hours.p95.map_or(f64::INFINITY, left);
    let end = x.at(late.min(x.high()));
    c.rectangle((x.at(early), y - 4.0), (end, y + 4.0), colour)?;
    if late > x.high() {
        c.polygon(&[(end, y - 7.0), (end + 8.0, y), (end, y + 7.0)], colour)?;
    }
    if let Some(middle) = hours.p50.map(left).filter(|m| x.holds(*m)) {
        let m = x.at(middle);
        c.polygon(&[(m, y - 7.0), (m + 6.0, y), (m, y + 7.0), (m - 6.0, y)], Ink::Paper)?;
        c.polyline(&[(m, y - 7.0), (m + 6.0, y), (m, y + 7.0), (m - 6.0, y), (m, y - 7.0)], Pen::new(colour, 1.6))?;
    }
    Ok(())
}

fn map(feature: &FeatureResult, ranked: &[Ranked<'_>], policy: Option<&Policy>) -> Result<Figure, Error> {
    let shown = ranked;
    let unit = order::unit(feature);
    let limits = feature.limits.as_ref();
    let horizon = policy.map(|p| p.horizon).filter(|h| h.is_finite() && *h > 0.0);
    let mut table = Table::new(
        "fleet-map",
        "Level and drift of every valve drawn",
        vec![
            Column::text("engine"),
            Column::text("valve"),
            Column::text("status"),
            Column::number("level").unit(unit),
            Column::number("drift per 1000 h").unit(unit),
        ],
    );
    for r in shown {
        let v = r.valve;
        table.push(vec![
            Cell::text(&v.engine),
            Cell::text(&v.valve),
            Cell::verdict(order::word(v.status), order::standing(v.status)),
            Cell::rounded(v.level, v.level_se),
            Cell::rounded(v.slope * 1e3, v.slope_se * 1e3),
        ]);
    }
    let omitted = feature.valves.len() - shown.len();
    let slanted = if limits.is_some() && horizon.is_some() {
        " A valve beyond a slanted line reaches its limit within the horizon if it goes on at its own drift."
    } else {
        ""
    };
    let caption = format!(
        "Every mark is a valve: to the right a higher level, upwards a faster drift.{slanted}{}",
        if omitted > 0 {
            format!(" The {} most urgent are drawn; {omitted} less urgent ones are left out.", shown.len())
        } else {
            String::new()
        }
    );
    let description = format!(
        "Level against drift of {}; {}",
        counted(shown.len(), "valve"),
        limits.map_or_else(
            || "no limits are given.".to_owned(),
            |l| format!("the limits are {}.", order::with_unit(&crate::number::limits(l.lower, l.upper), unit)),
        )
    );
    Figure::draw(
        &format!("{}-fleet", feature.feature),
        format!("{}: where every valve stands", order::title(feature)),
        description,
        caption,
        table,
        |format| draw_map(feature, shown, horizon, unit, format),
    )
}

fn draw_map(
    feature: &FeatureResult,
    shown: &[Ranked<'_>],
    horizon: Option<f64>,
    unit: &str,
    format: Format,
) -> Result<Svg, Error> {
    let (width, height) = (format.pick(960.0, 340.0), format.pick(420.0, 360.0));
    let keys = legend_places(feature, width, format);
    // A line of the legend more moves the plot down by as much.
    let lower = keys.last().map_or(0.0, |(at, _, _)| at.1 - FIRST_LINE);
    let height = height + lower;
    let (left, right, top) = (58.0, width - 14.0, 66.0 + lower);
    let bottom = height - 42.0;
    let limits = feature.limits.as_ref();
    let ends: Vec<f64> = limits.map_or_else(Vec::new, |l| [l.lower, l.upper].into_iter().flatten().collect());
    draw(width, height, |c| {
        let x = Axis::holding(shown.iter().map(|r| r.valve.level).chain(ends.iter().copied()), 0.08, left, right);
        let y = Axis::holding(shown.iter().map(|r| r.valve.slope * 1e3).chain([0.0]), 0.08, bottom, top);
        for (limit, outer) in [(limits.and_then(|l| l.lower), x.low()), (limits.and_then(|l| l.upper), x.high())] {
            if let Some(limit) = limit.filter(|l| x.holds(*l)) {
                let (a, b) = ((x.at(limit), top), (x.at(outer), bottom));
                c.rectangle(a, b, Ink::LimitWash)?;
                c.hatch(a, b, 12.0, limit > x.low() && outer == x.low(), Pen::new(Ink::Limit, 0.5))?;
            }
        }
        y.draw_vertical(
            c,
            left,
            right,
            &format!("drift, {} per 1000 h", if unit.is_empty() { "units" } else { unit }),
        )?;
        x.draw_horizontal(c, bottom, None, &order::with_comma("level now", unit))?;
        c.line((left, y.at(0.0)), (right, y.at(0.0)), Pen::new(Ink::Muted, 1.0))?;
        for (limit, toward) in
            [(limits.and_then(|l| l.lower), y.low().min(0.0)), (limits.and_then(|l| l.upper), y.high().max(0.0))]
        {
            let Some(limit) = limit else { continue };
            c.line((x.at(limit), top), (x.at(limit), bottom), Pen::new(Ink::Limit, 1.8))?;
            c.text(
                &plain(limit),
                (x.at(limit), top - 9.0),
                Lettering::new(Ink::Limit, Lettering::SMALL).anchored(Anchor::Middle),
            )?;
            if let Some(h) = horizon {
                // level + drift·h = limit, cut where it leaves the plot.
                let level_at = |drift: f64| limit - drift * h / 1e3;
                let edge = if toward < 0.0 { x.high() } else { x.low() };
                let drift_at_edge = (limit - edge) / h * 1e3;
                let drift = if toward < 0.0 { toward.max(drift_at_edge) } else { toward.min(drift_at_edge) };
                c.line(
                    (x.at(limit), y.at(0.0)),
                    (x.at(level_at(drift)), y.at(drift)),
                    Pen::new(Ink::Ink, 1.2).dashed(Dash::Long),
                )?;
            }
        }
        for r in shown.iter().rev() {
            mark(c, (x.at(r.valve.level), y.at(r.valve.slope * 1e3)), r.valve.status)?;
        }
        legend(c, &keys)
    })
}

/// Height of the legend's first line, px.
const FIRST_LINE: f64 = 14.0;

/// Where each status that a valve has stands in the legend, in as many lines as it takes.
fn legend_places(feature: &FeatureResult, width: f64, format: Format) -> Vec<((f64, f64), Status, String)> {
    if feature.limits.is_none() {
        return Vec::new();
    }
    let lettering = Lettering::new(Ink::Ink, Lettering::SMALL);
    let (mut at, mut y) = (10.0, FIRST_LINE);
    let mut places = Vec::new();
    for (status, n) in order::tally(&feature.valves).into_iter().filter(|(_, n)| *n > 0) {
        let label = format!("{} {n}", status.name());
        let end = at + 10.0 + lettering.width(&label);
        if end > width && at > 10.0 {
            (at, y) = (10.0, y + 16.0);
        }
        places.push(((at, y), status, label.clone()));
        at += lettering.width(&label) + format.pick(34.0, 22.0);
    }
    places
}

fn legend(c: &Canvas<'_>, keys: &[((f64, f64), Status, String)]) -> Result<(), Error> {
    for (at, status, label) in keys {
        mark(c, *at, Some(*status))?;
        c.text(label, (at.0 + 10.0, at.1), Lettering::new(Ink::Ink, Lettering::SMALL))?;
    }
    Ok(())
}
