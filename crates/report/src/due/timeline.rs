//! The plan's time at a glance: a row an engine, the day it must be done by, the window it has its place in.

use super::words::{has_own_day, latest, place, standing};
use crate::calendar::iso;
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Canvas, Dash, Lettering, Pen, draw, fitted};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::counted;
use crate::table::{Cell, Column, Standing, Table};
use crate::text::clean;
use packdrift_due::{DueResult, EngineDue, EngineStatus};

/// Rows drawn.
const DRAWN: usize = 40;
/// The timeline shows a year at least, days.
const YEAR: i32 = 365;

/// The figure; None without engines that have a date or a chance.
pub(super) fn figure(result: &DueResult) -> Result<Option<Figure>, Error> {
    let shown = &result.engines[..result.engines.len().min(DRAWN)];
    if shown.is_empty() {
        return Ok(None);
    }
    let mut table = Table::new(
        "timeline",
        "Latest date and place of every engine drawn",
        vec![
            Column::text("status"),
            Column::text("engine"),
            Column::text("latest date"),
            Column::text("place"),
            Column::number("days late"),
        ],
    );
    for e in shown {
        table.push(vec![
            Cell::verdict(e.status.name(), standing(e.status)),
            Cell::text(&e.engine),
            Cell::text(latest(result, e)),
            Cell::text(place(result, e)),
            if e.days_late > 0 { Cell::Count(e.days_late.unsigned_abs().into()) } else { Cell::Empty },
        ]);
    }
    let rest = result.engines.len() - shown.len();
    let caption = format!(
        "A row an engine, the most urgent on top. The bar runs from today to its latest date, the upright stroke; a triangle at the left says that the date is \
         past, an arrow at the right that it lies beyond. Shaded are the service windows, the diamond is the engine's place in one, or at the left if it is done at once. A dashed line from the stroke to \
         the diamond says that the place comes after the date, and by how many days.{}",
        if rest > 0 {
            format!(" {} more are in the table of engines.", counted(rest, "engine"))
        } else {
            String::new()
        }
    );
    let first = &shown[0];
    let description = format!(
        "Latest dates of {} against {}; the first is {}, {}.",
        counted(shown.len(), "engine"),
        counted(result.plan.windows.len(), "service window"),
        clean(&first.engine),
        latest(result, first)
    );
    Figure::draw("timeline", "The year ahead", description, caption, table, |format| paint(result, shown, format))
        .map(Some)
}

/// Month names of the first letters, by ISO month.
const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// `Mar`, or `2027` in January.
fn month_label(day: i32) -> String {
    let date = iso(day);
    let month = date.get(5..7).and_then(|m| m.parse::<usize>().ok()).unwrap_or(1);
    if month == 1 { date.get(..4).unwrap_or_default().to_owned() } else { MONTHS[(month - 1) % 12].to_owned() }
}

fn paint(result: &DueResult, shown: &[EngineDue], format: Format) -> Result<Svg, Error> {
    let (width, row) = (format.pick(960.0, 340.0), format.pick(20.0, 36.0));
    let (left, right) = (format.pick(150.0, 12.0), width - 14.0);
    let top = 40.0;
    let bottom = top + row * shown.len() as f64 + 4.0;
    let end = result.plan.end.max(result.today + YEAR);
    draw(width, bottom + 30.0, |c| {
        let x = Axis::new(f64::from(result.today), f64::from(end), left, right);
        for w in &result.plan.windows {
            let (a, b) = (x.within(f64::from(w.start)), x.within(f64::from(w.end + 1)));
            c.rectangle((a, top - 6.0), (b, bottom), Ink::SecondWash)?;
            let label = format.pick(
                format!("{} of {} places", w.engines.len(), w.capacity),
                format!("{}/{}", w.engines.len(), w.capacity),
            );
            let small = Lettering::new(Ink::Ink, Lettering::SMALL);
            let half = 0.5 * small.width(&label);
            let at = (0.5 * (a + b)).clamp(left + half, right - half);
            c.text(&label, (at, top - 16.0), small.anchored(Anchor::Middle))?;
        }
        let mut free = f64::NEG_INFINITY;
        for m in result.months.iter().skip(1).map(|m| f64::from(m.day)).filter(|d| x.holds(*d)) {
            let at = x.at(m);
            c.line((at, top - 2.0), (at, bottom), Pen::new(Ink::Grid, 1.0))?;
            let label = month_label(m as i32);
            let small = Lettering::new(Ink::Muted, Lettering::SMALL).anchored(Anchor::Middle);
            let half = 0.5 * small.width(&label) + 3.0;
            if at - half > free && at + half < width {
                c.text(&label, (at, bottom + 14.0), small)?;
                free = at + half;
            }
        }
        c.line((left, bottom), (right, bottom), Pen::new(Ink::Muted, 1.0))?;
        for (i, e) in shown.iter().enumerate() {
            engine(c, &x, result, e, top + row * i as f64, row, format)?;
        }
        Ok(())
    })
}

fn engine(
    c: &Canvas<'_>,
    x: &Axis,
    result: &DueResult,
    e: &EngineDue,
    y0: f64,
    row: f64,
    format: Format,
) -> Result<(), Error> {
    let y = y0 + format.pick(0.5 * row, 26.0);
    let (left, right) = (x.at(x.low()), x.at(x.high()));
    let colour = match e.status {
        EngineStatus::Overdue | EngineStatus::Late | EngineStatus::Due => Ink::Limit,
        EngineStatus::NotYet => Ink::Main,
        _ => Ink::Second,
    };
    let lettering = Lettering::new(Ink::Ink, Lettering::NORMAL);
    let lettering = if standing(e.status) == Standing::Act { lettering.bold() } else { lettering };
    let name = format!("{} · {}", clean(&e.engine), e.status.name());
    match format {
        Format::Wide => {
            let name = fitted(&name, Lettering::NORMAL, left - 24.0);
            c.text(&name, (left - 14.0, y), lettering.anchored(Anchor::End))?;
        }
        Format::Narrow => {
            let name = fitted(&name, Lettering::NORMAL, right - left);
            let name_y = y0 + 10.0;
            // Names stand over the plot here: the lines behind them would strike them out.
            c.rectangle((left - 2.0, name_y - 8.0), (left + lettering.width(&name) + 2.0, name_y + 8.0), Ink::Paper)?;
            c.text(&name, (left, name_y), lettering)?;
        }
    }
    match e.due {
        Some(due) if due < result.today => {
            c.polygon(&[(left - 9.0, y), (left, y - 6.0), (left, y + 6.0)], Ink::Limit)?;
        }
        Some(due) if x.holds(f64::from(due)) => {
            let at = x.at(f64::from(due));
            c.rectangle((left, y - 2.5), (at, y + 2.5), colour)?;
            c.line((at, y - 7.0), (at, y + 7.0), Pen::new(colour, 2.2))?;
        }
        Some(_) => {
            c.rectangle((left, y - 2.5), (right - 7.0, y + 2.5), colour)?;
            c.polygon(&[(right - 8.0, y - 6.0), (right, y), (right - 8.0, y + 6.0)], colour)?;
        }
        None => c.line((left, y), (right, y), Pen::new(Ink::Muted, 1.0).dashed(Dash::Short))?,
    }
    if e.at_once {
        diamond(c, left + 7.0, y)?;
    }
    let middle = |w: usize| {
        let w = &result.plan.windows[w];
        0.5 * f64::from(w.start + w.end + 1)
    };
    let at = e.window.map(middle).or_else(|| has_own_day(result, e).then(|| f64::from(e.done)));
    if let Some(at) = at.map(|day| x.within(day)) {
        if e.days_late > 0 {
            late(c, (x.within(f64::from(e.due.unwrap_or(result.today))), at), right, y, e.days_late)?;
        }
        diamond(c, at, y)?;
    }
    Ok(())
}

/// From the latest date to the place that comes after it, with the days between: on the line where they have room, else behind the place.
fn late(c: &Canvas<'_>, (due, place): (f64, f64), right: f64, y: f64, days: i32) -> Result<(), Error> {
    if place - due >= 8.0 {
        c.line((due, y), (place - 6.0, y), Pen::new(Ink::Limit, 1.4).dashed(Dash::Short))?;
    }
    let label = format!("{days} d late");
    let small = Lettering::new(Ink::Limit, Lettering::SMALL);
    let width = small.width(&label);
    if place - due > width + 22.0 {
        let middle = 0.5 * (due + place);
        c.rectangle((middle - 0.5 * width - 3.0, y - 7.0), (middle + 0.5 * width + 3.0, y + 7.0), Ink::Paper)?;
        c.text(&label, (middle, y), small.anchored(Anchor::Middle))?;
    } else if place + 10.0 + width < right {
        c.rectangle((place + 8.0, y - 7.0), (place + 12.0 + width, y + 7.0), Ink::Paper)?;
        c.text(&label, (place + 10.0, y), small)?;
    }
    Ok(())
}

/// Where the work has its place.
fn diamond(c: &Canvas<'_>, at: f64, y: f64) -> Result<(), Error> {
    let corners = [(at, y - 6.5), (at + 6.0, y), (at, y + 6.5), (at - 6.0, y)];
    c.polygon(&corners, Ink::Paper)?;
    c.polyline(&[corners[0], corners[1], corners[2], corners[3], corners[0]], Pen::new(Ink::Ink, 1.6))
}
