//! The reviewer's picture: bias across, scatter up. What the pack bears is the washed ground under its frontier, with the requirement that gives out
//! first written at each side; thin lines show how steep the edge is; the drawing's own frontier is the broken line; the lot is the dot, with the
//! outline of what its readings leave open and the way to the frontier.

use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Canvas, Dash, Lettering, Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::labels::{self, Labels};
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::{percent, significant};
use crate::table::{Cell, Column, Table};
use packdrift_lotpack::LotInPack;
use serde::Serialize;

/// The frontier as numbers.
pub(super) fn table(pack: &LotInPack, unit: &str) -> Table {
    let mut table = Table::new(
        &format!("frontier {}", pack.lot),
        "The largest scatter the pack bears at each bias",
        vec![
            Column::number("bias").unit(unit),
            Column::number("largest sd").unit(unit),
            Column::text("gives out first"),
        ],
    );
    for &(bias, sd) in &pack.map.frontier {
        table.push(vec![
            Cell::significant(bias, 4),
            Cell::significant(sd, 4),
            deciding(pack, bias, sd).map_or(Cell::Empty, |k| Cell::text(name(pack, k))),
        ]);
    }
    table
}

/// Index of the requirement that decides at the cell of the map nearest to a point.
fn deciding(pack: &LotInPack, bias: f64, sd: f64) -> Option<usize> {
    let nearest = |values: &[f64], x: f64| {
        (0..values.len()).min_by(|&a, &b| (values[a] - x).abs().total_cmp(&(values[b] - x).abs()))
    };
    let (i, j) = (nearest(&pack.map.bias, bias)?, nearest(&pack.map.sd, sd)?);
    pack.map.deciding.get(i)?.get(j).copied()
}

fn name(pack: &LotInPack, requirement: usize) -> String {
    pack.requirements.get(requirement).map_or_else(String::new, |r| format!("{} ({})", r.name, r.condition))
}

/// What gives out first on either side of the frontier: where the lot runs too thin, and too thick.
pub(super) fn sides(pack: &LotInPack) -> Option<(String, String)> {
    let (first, last) = (pack.map.frontier.first()?, pack.map.frontier.last()?);
    Some((name(pack, deciding(pack, first.0, first.1)?), name(pack, deciding(pack, last.0, last.1)?)))
}

/// The map.
pub(super) fn figure(pack: &LotInPack, unit: &str) -> Result<Figure, Error> {
    let map = &pack.map;
    let borne = match (map.frontier.first(), map.frontier.last()) {
        (Some(first), Some(last)) => format!(
            "The pack bears biases from {} to {} {unit} where there is hardly any scatter, and less the more there is.",
            significant(first.0, 2),
            significant(last.0, 2)
        ),
        _ => "The pack bears nothing here: the other parts alone leave too much outside.".to_owned(),
    };
    let description = format!(
        "Bias of the lot across, standard deviation of its parts up. {borne} The lot lies at a bias of {} and a standard deviation of {} {unit}; the pack file assumes {} and {} {unit}.",
        significant(map.lot.0, 2),
        significant(map.lot.1, 2),
        significant(map.assumed.0, 2),
        significant(map.assumed.1, 2)
    );
    Figure::draw(
        &format!("acceptance {}", pack.lot),
        format!("How far may {} go? What {} is and what the pack bears", pack.stands_for, pack.lot),
        description,
        format!(
            "A lot that lies under the thick line keeps every requirement of the pack; the requirement that gives out first is written at each edge. The dot is the lot, the line around \
             it what its readings leave open ({} confidence), the ring what the pack file assumes.",
            percent(pack.confidence)
        ),
        table(pack, unit),
        |format| paint(pack, unit, format),
    )
}

/// Where the ratio of the map is `level`: a stretch in every cell that the line crosses, by straight lines in the logarithm along the cell's edges.
fn contour(pack: &LotInPack, level: f64) -> Vec<[(f64, f64); 2]> {
    let map = &pack.map;
    let height = |i: usize, j: usize| map.ratio[i][j].clamp(1e-12, 1e12).ln() - level.ln();
    let mut stretches = Vec::new();
    for i in 1..map.bias.len() {
        for j in 1..map.sd.len() {
            let corners = [(i - 1, j - 1), (i, j - 1), (i, j), (i - 1, j)];
            let mut crossings = Vec::new();
            for k in 0..4 {
                let (a, b) = (corners[k], corners[(k + 1) % 4]);
                let (ha, hb) = (height(a.0, a.1), height(b.0, b.1));
                if (ha > 0.0) != (hb > 0.0) {
                    let way = ha / (ha - hb);
                    let between =
                        |values: &[f64], from: usize, to: usize| values[from] + way * (values[to] - values[from]);
                    crossings.push((between(&map.bias, a.0, b.0), between(&map.sd, a.1, b.1)));
                }
            }
            stretches.extend(crossings.chunks_exact(2).map(|pair| [pair[0], pair[1]]));
        }
    }
    stretches
}

struct Frame {
    x: Axis,
    y: Axis,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

impl Frame {
    fn at(&self, p: &(f64, f64)) -> (f64, f64) {
        (self.x.within(p.0), self.y.within(p.1))
    }
}

/// Where the plot lies in the drawing, px.
#[derive(Debug, Clone, Copy, Serialize)]
pub(super) struct Place {
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

pub(super) fn place(format: Format) -> Place {
    let (width, height) = (format.pick(960.0, 360.0), format.pick(560.0, 430.0));
    let (left, top) = (format.pick(64.0, 52.0), format.pick(56.0, 84.0));
    Place { width, height, left, right: width - 16.0, top, bottom: height - 48.0 }
}

fn paint(pack: &LotInPack, unit: &str, format: Format) -> Result<Svg, Error> {
    let map = &pack.map;
    let Place { width, height, left, right, top, bottom } = place(format);
    draw(width, height, |c| {
        let ends = |values: &[f64]| (values.first().copied().unwrap_or(0.0), values.last().copied().unwrap_or(1.0));
        let ((low, high), (_, tall)) = (ends(&map.bias), ends(&map.sd));
        let f = Frame {
            x: Axis::new(low, high, left, right),
            y: Axis::new(0.0, tall, bottom, top),
            left,
            right,
            top,
            bottom,
        };
        ground(c, pack, &f)?;
        f.x.draw_horizontal(c, bottom, None, &format!("bias: mean less nominal, {unit}"))?;
        f.y.draw_vertical(c, left, right, &format!("scatter: standard deviation of the parts, {unit}"))?;
        let labels = Labels::on_hatching(c);
        lines(c, pack, &f, &labels)?;
        let dot = f.at(&map.lot);
        labels.keep_free((dot.0 - 6.0, dot.1 - 6.0), (dot.0 + 6.0, dot.1 + 6.0));
        let ring = f.at(&map.assumed);
        labels.keep_free((ring.0 - 8.0, ring.1 - 8.0), (ring.0 + 8.0, ring.1 + 8.0));
        way(c, (pack, unit), &f, &labels)?;
        c.dot(dot, 5.0, Ink::Ink)?;
        c.ring(ring, 6.5, Pen::new(Ink::Third, 2.0))?;
        names(pack, &f, &labels, format)?;
        key(c, pack, &f, format)
    })
}

/// Refused everywhere, borne under the frontier; where the share outside is half and twice what is acceptable.
fn ground(c: &Canvas<'_>, pack: &LotInPack, f: &Frame) -> Result<(), Error> {
    let map = &pack.map;
    c.rectangle((f.left, f.top), (f.right, f.bottom), Ink::LimitWash)?;
    // Hatched, so that the two grounds differ in grey print too.
    c.hatch((f.left, f.top), (f.right, f.bottom), 12.0, false, Pen::new(Ink::Limit, 0.4))?;
    if map.frontier.len() > 1 {
        let mut area: Vec<(f64, f64)> = map.frontier.iter().map(|p| f.at(p)).collect();
        let (first, last) = (area[0].0, area[area.len() - 1].0);
        area.push((last, f.bottom));
        area.push((first, f.bottom));
        c.polygon(&area, Ink::MainWash)?;
    }
    Ok(())
}

fn lines(c: &Canvas<'_>, pack: &LotInPack, f: &Frame, labels: &Labels<'_, '_>) -> Result<(), Error> {
    let map = &pack.map;
    let draw = |points: &[(f64, f64)], pen: Pen| {
        labels.keep_line_free(points, 3.0);
        c.polyline(points, pen)
    };
    let places = |points: &[(f64, f64)]| points.iter().map(|p| f.at(p)).collect::<Vec<_>>();
    for (level, ink) in [(0.5, Ink::Main), (2.0, Ink::Limit)] {
        for stretch in contour(pack, level) {
            draw(&places(&stretch), Pen::new(ink, 0.8))?;
        }
    }
    if map.drawing_frontier.len() > 1 {
        draw(&places(&map.drawing_frontier), Pen::new(Ink::Second, 2.0).dashed(Dash::Long))?;
    }
    if map.frontier.len() > 1 {
        draw(&places(&map.frontier), Pen::new(Ink::Main, 2.5))?;
        for end in [map.frontier[0], map.frontier[map.frontier.len() - 1]] {
            let at = f.at(&end);
            draw(&[at, (at.0, f.bottom)], Pen::new(Ink::Main, 2.5))?;
        }
    }
    if f.x.holds(0.0) {
        draw(&[(f.x.at(0.0), f.top), (f.x.at(0.0), f.bottom)], Pen::new(Ink::Muted, 1.0).dashed(Dash::Short))?;
    }
    if map.region.len() > 2 {
        let mut outline = places(&map.region);
        outline.push(outline[0]);
        draw(&outline, Pen::new(Ink::Ink, 1.5))?;
    }
    Ok(())
}

/// From the lot to the nearer edge at its own scatter: how far the mean may still move, or would have to.
fn way(c: &Canvas<'_>, (pack, unit): (&LotInPack, &str), f: &Frame, labels: &Labels<'_, '_>) -> Result<(), Error> {
    let Some(room) = pack.bias_room else { return Ok(()) };
    let (bias, sd) = pack.map.lot;
    let edge = if (bias - room.lower).abs() < (room.upper - bias).abs() { room.lower } else { room.upper };
    if !edge.is_finite() || !f.x.holds(edge) {
        return Ok(());
    }
    let inside = bias > room.lower && bias < room.upper;
    let (from, to, y) = (f.x.within(bias), f.x.at(edge), f.y.within(sd));
    let text = format!("{} {unit} {}", significant((edge - bias).abs(), 2), if inside { "to spare" } else { "short" });
    if (to - from).abs() > 14.0 {
        let direction = (to - from).signum();
        let way = [(from + direction * 6.0, y), (to - direction * 6.0, y)];
        labels.keep_line_free(&way, 4.0);
        c.polyline(&way, Pen::new(Ink::Ink, 1.5))?;
        c.polygon(&[(to, y), (to - direction * 8.0, y - 3.5), (to - direction * 8.0, y + 3.5)], Ink::Ink)?;
    }
    let beyond = if to > from { ((to + 6.0, y), Anchor::Start) } else { ((to - 6.0, y), Anchor::End) };
    let mut places = vec![beyond];
    places.extend(labels::beside((0.5 * (from + to), y), &[15.0, -15.0, 30.0, -30.0]));
    labels.put(&text, Lettering::SMALL, Lettering::new(Ink::Ink, Lettering::SMALL), &places)?;
    Ok(())
}

/// The lot, what is assumed, the ground, and what gives out first along the frontier.
fn names(pack: &LotInPack, f: &Frame, labels: &Labels<'_, '_>, format: Format) -> Result<(), Error> {
    let map = &pack.map;
    let beside = |p: (f64, f64)| {
        let mut places = Vec::new();
        for dx in [8.0, 24.0, 48.0, 80.0, 120.0] {
            for dy in [-15.0, 15.0, -30.0, 30.0, 45.0, -45.0] {
                let y = (p.1 + dy).clamp(f.top + 9.0, f.bottom - 9.0);
                places.extend([((p.0 + dx, y), Anchor::Start), ((p.0 - dx, y), Anchor::End)]);
            }
        }
        places
    };
    let bold = |ink| Lettering::new(ink, Lettering::NORMAL).bold();
    labels.put(&pack.lot, Lettering::NORMAL, bold(Ink::Ink), &beside(f.at(&map.lot)))?;
    labels.put(
        "assumed by the pack file",
        Lettering::NORMAL,
        Lettering::new(Ink::Third, Lettering::NORMAL),
        &beside(f.at(&map.assumed)),
    )?;
    let Some(peak) = map.frontier.iter().copied().reduce(|a, b| if b.1 > a.1 { b } else { a }) else {
        let text = "the other parts alone leave too much outside";
        let at = (0.5 * (f.left + f.right), 0.5 * (f.top + f.bottom));
        labels.put(text, Lettering::NORMAL, bold(Ink::Limit), &[(at, Anchor::Middle)])?;
        return Ok(());
    };
    let (first, last) = (map.frontier[0], map.frontier[map.frontier.len() - 1]);
    let middle = 0.5 * (f.at(&first).0 + f.at(&last).0);
    let wide = (f.at(&last).0 - f.at(&first).0).abs();
    let text = if wide > 190.0 { "the pack bears lots in here" } else { "borne" };
    let heights = [f.bottom - 14.0, f.bottom - 34.0, f.bottom - 60.0];
    let places: Vec<_> = heights.iter().flat_map(|&y| labels::beside((middle, y), &[0.0])).collect();
    labels.put(text, Lettering::NORMAL, bold(Ink::Main), &places)?;
    if format == Format::Narrow {
        return Ok(());
    }
    // What gives out along each stretch of the frontier, at the middle of the stretch.
    let mut runs: Vec<(usize, usize, usize)> = Vec::new();
    for (k, p) in map.frontier.iter().enumerate() {
        let Some(which) = deciding(pack, p.0, p.1) else { continue };
        match runs.last_mut() {
            Some(run) if run.0 == which => run.2 = k,
            _ => runs.push((which, k, k)),
        }
    }
    // On either side of the peak the point of the stretch that is about half as high as it.
    for (which, from, to) in runs.into_iter().filter(|r| r.2 - r.1 > 4) {
        for left in [true, false] {
            let side = map.frontier[from..=to].iter().filter(|p| (p.0 <= peak.0) == left);
            let Some(p) = side.min_by(|a, b| (a.1 - 0.6 * peak.1).abs().total_cmp(&(b.1 - 0.6 * peak.1).abs())) else {
                continue;
            };
            let at = f.at(p);
            let text = format!("{} gives out", name(pack, which));
            let place = |dy: f64| {
                if left { ((at.0 - 12.0, at.1 + dy), Anchor::End) } else { ((at.0 + 12.0, at.1 + dy), Anchor::Start) }
            };
            let places: Vec<_> = [-6.0, 14.0, -26.0, 34.0, -46.0, 54.0, -66.0]
                .map(place)
                .into_iter()
                .flat_map(|(at, anchor)| {
                    [0.0, 20.0, 45.0, 80.0].map(|dx| ((at.0 + if left { -dx } else { dx }, at.1), anchor))
                })
                .filter(|p| p.0.1 > f.top + 8.0 && p.0.1 < f.bottom - 8.0)
                .collect();
            labels.put(&text, Lettering::NORMAL, Lettering::new(Ink::Main, Lettering::NORMAL), &places)?;
        }
    }
    Ok(())
}

/// What the lines are, in the open space above the plot.
fn key(c: &Canvas<'_>, pack: &LotInPack, f: &Frame, format: Format) -> Result<(), Error> {
    let map = &pack.map;
    let wide = format == Format::Wide;
    let (mut from, mut y) = (f.left, f.top - format.pick(12.0, 62.0));
    for (name, ink, width, dash, shown) in [
        ("edge of what the pack bears", Ink::Main, 2.5, Dash::Solid, !map.frontier.is_empty()),
        ("edge of what the drawing allows", Ink::Second, 2.0, Dash::Long, !map.drawing_frontier.is_empty()),
        ("half as much outside", Ink::Main, 0.8, Dash::Solid, wide && !contour(pack, 0.5).is_empty()),
        ("twice as much", Ink::Limit, 0.8, Dash::Solid, wide && !contour(pack, 2.0).is_empty()),
    ] {
        if shown {
            let lettering = Lettering::new(Ink::Muted, Lettering::SMALL);
            c.line((from, y), (from + 26.0, y), Pen::new(ink, width).dashed(dash))?;
            c.text(name, (from + 32.0, y), lettering)?;
            if format == Format::Narrow {
                y += 16.0;
            } else {
                from += 32.0 + lettering.width(name) + 22.0;
            }
        }
    }
    Ok(())
}
