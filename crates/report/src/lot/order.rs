//! A lot in the order its parts were made: the readings (or means of consecutive ones) and their scatter, each with the band within which chance keeps
//! a steady process.

use super::steady;
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Canvas, Dash, Lettering, Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::labels::Labels;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::significant;
use crate::table::{Cell, Column, Table};
use packdrift_lot::LotResult;
use packdrift_lot::chart::{Chart, ChartKind, SignalKind, Trace};

fn words(kind: ChartKind) -> (String, &'static str) {
    match kind {
        ChartKind::IndividualsMovingRange => ("reading".to_owned(), "step from the part before"),
        ChartKind::MeanRange(n) => (format!("mean of {n} parts"), "range within them"),
        ChartKind::MeanSd(n) => (format!("mean of {n} parts"), "sd within them"),
    }
}

fn signal(kind: SignalKind) -> &'static str {
    match kind {
        SignalKind::BeyondLimit => "outside the control limits",
        SignalKind::OneSide => "ninth on one side",
        SignalKind::Drift => "sixth step one way",
        SignalKind::NearLimit => "two of three far out",
    }
}

fn table(lot: &LotResult, chart: &Chart, unit: &str) -> Table {
    let (location, scatter) = words(chart.kind);
    let mut table = Table::new(
        &format!("order {}", lot.name),
        &format!("{} in the order made", lot.name),
        vec![
            Column::number("place"),
            Column::number(&location).unit(unit),
            Column::number(scatter).unit(unit),
            Column::text("finding"),
        ],
    );
    // Moving ranges begin with the second reading.
    let lag = chart.location.points.len() - chart.scatter.points.len();
    for (i, value) in chart.location.points.iter().enumerate() {
        let found: Vec<&str> = chart
            .location
            .signals
            .iter()
            .filter(|s| s.point == i)
            .chain(chart.scatter.signals.iter().filter(|s| s.point + lag == i))
            .map(|s| signal(s.kind))
            .collect();
        table.push(vec![
            Cell::Count(i as u64 + 1),
            Cell::significant(*value, 5),
            i.checked_sub(lag)
                .and_then(|k| chart.scatter.points.get(k))
                .map_or(Cell::Empty, |s| Cell::significant(*s, 3)),
            Cell::text(found.join(", ")),
        ]);
    }
    table
}

/// The chart of a lot that has one.
pub(super) fn figure(lot: &LotResult, unit: &str) -> Result<Option<Figure>, Error> {
    let Some(chart) = &lot.chart else { return Ok(None) };
    let (location, scatter) = words(chart.kind);
    Figure::draw(
        &format!("order {}", lot.name),
        format!("{} in the order made: {}", lot.name, steady::sentence(chart)),
        format!(
            "{} points of the {location} around {} {unit}; control limits {} and {} {unit}; {}.",
            chart.location.points.len(),
            significant(chart.location.centre, 4),
            significant(chart.location.lower, 4),
            significant(chart.location.upper, 4),
            steady::signs(chart)
        ),
        format!("Above: {location}; below: {scatter}. The washed band is where chance alone keeps a steady process, three standard errors about the middle; a ring marks a sign of a single rule. A long chart has some without a cause: whether the lot is steady is told by all of them together."),
        table(lot, chart, unit),
        |format| paint(lot, chart, unit, format),
    )
    .map(Some)
}

fn paint(lot: &LotResult, chart: &Chart, unit: &str, format: Format) -> Result<Svg, Error> {
    let (width, height) = (format.pick(520.0, 360.0), format.pick(430.0, 400.0));
    let (location, scatter) = words(chart.kind);
    draw(width, height, |c| {
        let (left, right) = (58.0, width - 12.0);
        let n = chart.location.points.len() as f64;
        let x = Axis::new(0.5, n + 0.5, left, right);
        let split = 0.60 * height;
        let lag = chart.location.points.len() - chart.scatter.points.len();
        trace(c, &chart.location, &x, 0, (46.0, split - 26.0), &format!("{location}, {unit}"), Some(lot))?;
        trace(c, &chart.scatter, &x, lag, (split + 34.0, height - 44.0), &format!("{scatter}, {unit}"), None)?;
        x.draw_horizontal(c, height - 44.0, None, "place in the order made")
    })
}

fn trace(
    c: &Canvas<'_>,
    trace: &Trace,
    x: &Axis,
    lag: usize,
    (top, bottom): (f64, f64),
    title: &str,
    lot: Option<&LotResult>,
) -> Result<(), Error> {
    let (left, right) = (x.at(x.low()), x.at(x.high()));
    let values = trace.points.iter().copied().chain([trace.lower, trace.upper]);
    let own = Axis::holding(values.clone(), 0.06, bottom, top);
    // The drawing's limits where they are near enough to be seen beside the readings.
    let limits: Vec<f64> =
        lot.map_or_else(Vec::new, |l| [l.drawing.lower, l.drawing.upper].into_iter().flatten().collect());
    let span = own.high() - own.low();
    let near: Vec<f64> =
        limits.into_iter().filter(|l| *l > own.low() - 0.5 * span && *l < own.high() + 0.5 * span).collect();
    let y = Axis::holding(values.chain(near.iter().copied()), 0.06, bottom, top);
    c.rectangle((left, y.within(trace.upper)), (right, y.within(trace.lower)), Ink::MainWash)?;
    y.draw_vertical(c, left, right, title)?;
    let labels = Labels::new(c);
    c.line((left, y.at(trace.centre)), (right, y.at(trace.centre)), Pen::new(Ink::Main, 1.2).dashed(Dash::Long))?;
    for limit in &near {
        c.line((left, y.at(*limit)), (right, y.at(*limit)), Pen::new(Ink::Limit, 1.5))?;
    }
    let points: Vec<(f64, f64)> =
        trace.points.iter().enumerate().map(|(i, v)| (x.at((i + lag + 1) as f64), y.at(*v))).collect();
    c.polyline(&points, Pen::new(Ink::Muted, 1.0))?;
    let radius = if points.len() > 120 { 1.4 } else { 2.4 };
    for point in &points {
        c.dot(*point, radius, Ink::Main)?;
        labels.keep_free((point.0 - 3.0, point.1 - 3.0), (point.0 + 3.0, point.1 + 3.0));
    }
    for limit in near {
        let places: Vec<_> = [-8.0, 9.0]
            .into_iter()
            .flat_map(|dy| {
                [((right - 4.0, y.at(limit) + dy), Anchor::End), ((left + 4.0, y.at(limit) + dy), Anchor::Start)]
            })
            .chain([0.25, 0.5, 0.75].map(|way| ((left + way * (right - left), y.at(limit) + 9.0), Anchor::Middle)))
            .collect();
        labels.put("drawing", Lettering::SMALL, Lettering::new(Ink::Limit, Lettering::SMALL), &places)?;
    }
    for s in &trace.signals {
        let Some(&at) = points.get(s.point) else { continue };
        c.ring(at, 6.0, Pen::new(Ink::Limit, 1.8))?;
        let places: Vec<_> = [(0.0, -14.0), (0.0, 14.0), (0.0, -28.0), (0.0, 28.0)]
            .into_iter()
            .flat_map(|(dx, dy)| {
                let p = (at.0 + dx, (at.1 + dy).clamp(top + 6.0, bottom - 6.0));
                [(p, Anchor::Middle), (p, Anchor::End), (p, Anchor::Start)]
            })
            .collect();
        labels.put(signal(s.kind), Lettering::SMALL, Lettering::new(Ink::Limit, Lettering::SMALL).bold(), &places)?;
    }
    Ok(())
}
