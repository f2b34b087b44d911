//! All lots on one scale: each lot's readings as columns, what nearly all of it is within, and the limits.

use super::text;
use crate::Lengths;
use crate::figure::axis::{Axis, extent};
use crate::figure::canvas::{Anchor, Canvas, Dash, Lettering, Pen, draw, fitted};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::table::{Cell, Column, Table};
use packdrift_lot::{LotResult, LotStudy};

/// Lots drawn; those that need attention come first.
const DRAWN: usize = 16;
/// Classes of readings across the figure, at most.
const CLASSES: f64 = 70.0;

/// The lots that are drawn: what needs attention before what does not, else in the order of the table.
pub(super) fn chosen(study: &LotStudy, most: usize) -> Vec<&LotResult> {
    let mut lots: Vec<&LotResult> = study.lots.iter().collect();
    lots.sort_by_key(|lot| std::cmp::Reverse(text::urgency(lot, study)));
    lots.truncate(most);
    // Back in the order of the table, so that neighbours can be found again.
    lots.sort_by_key(|lot| study.lots.iter().position(|l| std::ptr::eq(l, *lot)));
    lots
}

/// The bound that the verdict is by, drawn: the limits brought in (or out) about the mean until the lot is just acceptable. None where something else decides.
fn bar(lot: &LotResult, study: &LotStudy) -> Option<(Option<f64>, Option<f64>)> {
    let factor = lot.margin_factor(study)?;
    let accepted = study.verdict(lot).is_some_and(|v| v.is_shown());
    let end = |limit: Option<f64>| limit.map(|l| lot.mean + factor * (l - lot.mean));
    // A bar far beyond the limits would leave the readings a line: it ends at three times their distance.
    let shown = factor.min(3.0);
    let near = |limit: Option<f64>| limit.map(|l| lot.mean + shown * (l - lot.mean));
    if accepted != (factor <= 1.0) {
        return None;
    }
    Some(if factor > 3.0 {
        (near(lot.drawing.lower), near(lot.drawing.upper))
    } else {
        (end(lot.drawing.lower), end(lot.drawing.upper))
    })
}

/// Whether lots can share one scale: those of one size.
fn of_one_size(study: &LotStudy) -> bool {
    let first = study.lots.first().map(|l| l.drawing);
    study.lots.iter().all(|l| Some(l.drawing) == first)
}

/// The figure; None for lots of different sizes.
pub(super) fn figure(study: &LotStudy, unit: &str) -> Result<Option<Figure>, Error> {
    if !of_one_size(study) || study.lots.is_empty() {
        return Ok(None);
    }
    let lots = chosen(study, DRAWN);
    let left_out = study.lots.len() - lots.len();
    let more = if left_out > 0 {
        format!(" {left_out} lots are not drawn; those that need attention are.")
    } else {
        String::new()
    };
    let description = lots
        .iter()
        .map(|l| {
            format!(
                "{}: {} parts from {} to {} {unit}, {}",
                l.name,
                l.n,
                Lengths::named(unit).given_in_it(l.minimum),
                Lengths::named(unit).given_in_it(l.maximum),
                text::word_of(l, study).0
            )
        })
        .collect::<Vec<_>>()
        .join("; ");
    let mut table = Table::new(
        "readings-drawn",
        "The lots as drawn",
        vec![
            Column::text("lot"),
            Column::number("smallest").unit(unit),
            Column::number("mean").unit(unit),
            Column::number("largest").unit(unit),
            Column::number("bar from").unit(unit),
            Column::number("bar to").unit(unit),
        ],
    );
    for lot in &lots {
        let ends = bar(lot, study);
        table.push(vec![
            Cell::text(lot.name.as_str()),
            Lengths::written_cell(unit, Some(lot.minimum)),
            Cell::significant(lot.mean, 5),
            Lengths::written_cell(unit, Some(lot.maximum)),
            ends.and_then(|i| i.0).map_or(Cell::Empty, |x| Cell::significant(x, 4)),
            ends.and_then(|i| i.1).map_or(Cell::Empty, |x| Cell::significant(x, 4)),
        ]);
    }
    let content = if lots.iter().any(|l| bar(l, study).is_some()) {
        " The bar under them is how near the limits could be for the lot to be just acceptable: it is acceptable where its bar ends inside them. Where another \
         reason decides (a count, the order made) there is no bar."
    } else {
        ""
    };
    Figure::draw(
        "readings",
        "The readings of each lot",
        description,
        format!("Columns: parts with that reading. The dark stroke is their mean.{content}{more}"),
        table,
        |format| paint(study, &lots, unit, format),
    )
    .map(Some)
}

fn paint(study: &LotStudy, lots: &[&LotResult], unit: &str, format: Format) -> Result<Svg, Error> {
    let row = format.pick(52.0, 66.0);
    let (width, top) = (format.pick(960.0, 360.0), 40.0);
    let height = top + row * lots.len() as f64 + 46.0;
    let drawing = study.lots[0].drawing;
    let values = lots
        .iter()
        .flat_map(|l| {
            [Some(l.minimum), Some(l.maximum), bar(l, study).and_then(|b| b.0), bar(l, study).and_then(|b| b.1)]
        })
        .chain([drawing.lower, drawing.upper, drawing.nominal])
        .flatten();
    let (low, high) = extent(values);
    let step = study.lots.iter().find_map(|l| l.shape.resolution.step()).unwrap_or(0.0);
    let class = ((high - low) / CLASSES).max(step);
    // A whole number of the instrument's steps, so that no class has more of them than its neighbour.
    let class = if step > 0.0 { (class / step).ceil() * step } else { class };
    draw(width, height, |c| {
        let (left, right, bottom) = (format.pick(190.0, 14.0), width - 16.0, height - 46.0);
        let pad = 0.02 * (high - low).max(class);
        let x = Axis::new(low - pad - class, high + pad + class, left, right);
        for (limit, side) in [(drawing.lower, left), (drawing.upper, right)] {
            if let Some(limit) = limit {
                c.rectangle((x.at(limit), top - 6.0), (side, bottom), Ink::LimitWash)?;
            }
        }
        x.draw_horizontal(c, bottom, None, &format!("reading, {unit}"))?;
        for (k, lot) in lots.iter().enumerate() {
            one(c, (lot, study), &x, top + row * (k as f64 + 1.0) - 10.0, row, class, format)?;
        }
        let heading = Lettering::new(Ink::Limit, Lettering::SMALL).bold();
        for (limit, name, anchor, dx) in
            [(drawing.lower, "lower limit", Anchor::End, -5.0), (drawing.upper, "upper limit", Anchor::Start, 5.0)]
        {
            if let Some(limit) = limit {
                let at = x.at(limit);
                c.line((at, top - 6.0), (at, bottom), Pen::new(Ink::Limit, 1.5))?;
                let needed = heading.width(name);
                let fits = if anchor == Anchor::End { at + dx - needed > 0.0 } else { at + dx + needed < width };
                let (dx, anchor) = match (fits, anchor) {
                    (true, anchor) => (dx, anchor),
                    (false, Anchor::End) => (5.0, Anchor::Start),
                    (false, _) => (-5.0, Anchor::End),
                };
                c.text(name, (at + dx, top - 16.0), heading.anchored(anchor))?;
            }
        }
        if let Some(nominal) = drawing.nominal {
            c.line((x.at(nominal), top - 6.0), (x.at(nominal), bottom), Pen::new(Ink::Muted, 1.0).dashed(Dash::Short))?;
        }
        Ok(())
    })
}

/// One lot on its base line.
fn one(
    c: &Canvas<'_>,
    (lot, study): (&LotResult, &LotStudy),
    x: &Axis,
    base: f64,
    row: f64,
    class: f64,
    format: Format,
) -> Result<(), Error> {
    let (word, standing) = text::word_of(lot, study);
    let name = Lettering::new(Ink::Ink, Lettering::NORMAL).bold();
    let ink = if standing == crate::table::Standing::Act { Ink::Limit } else { Ink::Muted };
    let verdict = format!("{} {word}", standing.shape());
    let tall = row - format.pick(22.0, 38.0);
    match format {
        Format::Wide => {
            c.text(&fitted(&lot.name, Lettering::NORMAL, 165.0), (0.0, base - 22.0), name)?;
            c.text(&verdict, (0.0, base - 5.0), Lettering::new(ink, Lettering::SMALL))?;
        }
        Format::Narrow => {
            let shown = fitted(&lot.name, Lettering::NORMAL, 170.0);
            c.text(&shown, (14.0, base - row + 22.0), name)?;
            c.text(
                &verdict,
                (c.width() - 16.0, base - row + 22.0),
                Lettering::new(ink, Lettering::SMALL).anchored(Anchor::End),
            )?;
        }
    }
    if let Some((lower, upper)) = bar(lot, study) {
        // A side without a limit is open: the bar begins at the mean.
        let (from, to) = (x.within(lower.unwrap_or(lot.mean)), x.within(upper.unwrap_or(lot.mean)));
        c.rectangle((from, base + 2.0), (to, base + 6.0), Ink::MainWash)?;
        c.outline((from, base + 2.0), (to, base + 6.0), Pen::new(Ink::Main, 0.8))?;
    }
    // Columns of equal classes, counted from the first.
    let first = lot.minimum;
    let mut counts: Vec<usize> = Vec::new();
    for part in &lot.parts {
        let k = if class > 0.0 { ((part.value - first) / class + 1e-6).max(0.0) as usize } else { 0 };
        if counts.len() <= k {
            counts.resize(k + 1, 0);
        }
        counts[k] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(1).max(1) as f64;
    let unit = (tall / most).min(7.0);
    let half = (0.5 * class * (x.at(1.0) - x.at(0.0))).min(9.0);
    for (k, count) in counts.iter().enumerate().filter(|(_, n)| **n > 0) {
        let at = x.at(first + k as f64 * class);
        c.rectangle((at - half + 0.7, base), (at + half - 0.7, base - unit * *count as f64), Ink::Main)?;
    }
    c.line((x.at(lot.mean), base + 8.0), (x.at(lot.mean), base - tall), Pen::new(Ink::Ink, 1.6))
}
