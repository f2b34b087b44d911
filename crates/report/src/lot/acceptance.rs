//! The reviewer's picture: bias across, scatter up. What the pack bears is the washed ground under its frontier; the drawing's own frontier is
//! the broken line; the lot is the dot, with the outline of what its readings leave open.

use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Dash, Lettering, Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format};
use crate::number::{percent, significant};
use crate::table::{Cell, Column, Table};
use packdrift_lot::in_pack::LotInPack;

/// The frontier as numbers.
pub(super) fn table(pack: &LotInPack) -> Table {
    let mut table = Table::new(
        &format!("frontier {}", pack.lot),
        "The largest scatter the pack bears at each bias",
        vec![Column::number("bias").unit("mm"), Column::number("largest sd").unit("mm")],
    );
    for &(bias, sd) in &pack.map.frontier {
        table.push(vec![Cell::significant(bias, 4), Cell::significant(sd, 4)]);
    }
    table
}

/// The map.
pub(super) fn figure(pack: &LotInPack) -> Result<Figure, Error> {
    let map = &pack.map;
    let description = format!(
        "Bias of the lot across, standard deviation of its parts up. The lot lies at {} and {} mm; the pack file assumes {} and {} mm. The pack bears what is under the solid frontier.",
        significant(map.lot.0, 2),
        significant(map.lot.1, 2),
        significant(map.assumed.0, 2),
        significant(map.assumed.1, 2)
    );
    Figure::draw(
        &format!("acceptance {}", pack.lot),
        format!("How far may {} go? Bias and scatter the pack bears", pack.stands_for),
        description,
        format!(
            "Under the solid line every requirement keeps its acceptable share outside; the broken line is what the drawing's limits would allow. \
             The dot is the lot, its outline what the readings leave open ({} confidence), the ring what the pack file assumes today.",
            percent(pack.confidence)
        ),
        table(pack),
        |format| paint(pack, format),
    )
}

fn paint(pack: &LotInPack, format: Format) -> Result<crate::figure::Svg, Error> {
    let map = &pack.map;
    let (width, height) = (format.pick(1040.0, 360.0), format.pick(520.0, 400.0));
    draw(width, height, |c| {
        let (left, right, top, bottom) = (format.pick(64.0, 52.0), width - 16.0, 54.0, height - 48.0);
        let ends = |values: &[f64]| (values.first().copied().unwrap_or(0.0), values.last().copied().unwrap_or(1.0));
        let (low, high) = ends(&map.bias);
        let (_, tall) = ends(&map.sd);
        let x = Axis::new(low, high, left, right);
        let y = Axis::new(0.0, tall, bottom, top);
        let at = |&(b, s): &(f64, f64)| (x.within(b), y.within(s));
        // The ground: refused everywhere, borne under the frontier.
        c.rectangle((left, top), (right, bottom), Ink::LimitWash)?;
        if map.frontier.len() > 1 {
            let mut area: Vec<(f64, f64)> = map.frontier.iter().map(at).collect();
            let (first, last) = (area[0].0, area[area.len() - 1].0);
            area.push((last, bottom));
            area.push((first, bottom));
            c.polygon(&area, Ink::MainWash)?;
        }
        x.draw_horizontal(c, bottom, None, "bias: mean less nominal, mm")?;
        y.draw_vertical(c, left, right, "scatter: standard deviation of the parts, mm")?;
        if map.drawing_frontier.len() > 1 {
            c.polyline(
                &map.drawing_frontier.iter().map(at).collect::<Vec<_>>(),
                Pen::new(Ink::Second, 2.0).dashed(Dash::Long),
            )?;
        }
        if map.frontier.len() > 1 {
            c.polyline(&map.frontier.iter().map(at).collect::<Vec<_>>(), Pen::new(Ink::Main, 2.5))?;
        }
        // No bias.
        if x.holds(0.0) {
            c.line((x.at(0.0), top), (x.at(0.0), bottom), Pen::new(Ink::Muted, 1.0).dashed(Dash::Short))?;
        }
        if map.region.len() > 2 {
            let mut outline: Vec<(f64, f64)> = map.region.iter().map(at).collect();
            outline.push(outline[0]);
            c.polyline(&outline, Pen::new(Ink::Ink, 1.5))?;
        }
        c.dot(at(&map.lot), 4.5, Ink::Ink)?;
        c.ring(at(&map.assumed), 6.0, Pen::new(Ink::Third, 2.0))?;
        let label = |text: &str, point: &(f64, f64), ink: Ink, dy: f64| {
            let (px, py) = at(point);
            let anchor = if px > 0.7 * width { Anchor::End } else { Anchor::Start };
            let dx = if px > 0.7 * width { -10.0 } else { 10.0 };
            c.text(
                text,
                (px + dx, (py + dy).clamp(top + 8.0, bottom - 8.0)),
                Lettering::new(ink, Lettering::NORMAL).bold().anchored(anchor),
            )
        };
        label(&pack.lot, &map.lot, Ink::Ink, -12.0)?;
        label("assumed today", &map.assumed, Ink::Third, 14.0)?;
        // What the lines are, in the open space above the plot.
        let mut from = left;
        for (name, ink, dash, shown) in [
            ("the pack bears what is under this", Ink::Main, Dash::Solid, !map.frontier.is_empty()),
            (
                "the drawing allows what is under this",
                Ink::Second,
                Dash::Long,
                !map.drawing_frontier.is_empty() && format == Format::Wide,
            ),
        ] {
            if shown {
                let lettering = Lettering::new(ink, Lettering::SMALL);
                c.line((from, top - 10.0), (from + 22.0, top - 10.0), Pen::new(ink, 2.0).dashed(dash))?;
                c.text(name, (from + 28.0, top - 10.0), lettering)?;
                from += 28.0 + lettering.width(name) + 24.0;
            }
        }
        Ok(())
    })
}
