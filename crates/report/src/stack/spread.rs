//! How a requirement spreads: its distribution against the limits, and under it, on the same scale, how far the worst case,
//! the root sum square and the distribution say it goes.

use super::order;
use super::text::{interval, mean_sd, quantile};
use crate::Lengths;
use crate::figure::axis::{Axis, extent};
use crate::figure::canvas::{Anchor, Canvas, Dash, Lettering, Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::{self, percent};
use crate::table::{Cell, Column, Table};
use packdrift_spread::{Histogram, RequirementResult};
use serde::Serialize;

/// A share of packs below this is not mentioned in a caption; the tables carry it.
const WORTH_SAYING: f64 = 1e-6;

/// A way of saying how far a quantity goes.
struct Reach {
    name: &'static str,
    low: Option<f64>,
    middle: Option<f64>,
    high: Option<f64>,
}

fn reaches(r: &RequirementResult) -> [Reach; 3] {
    let rss = r.root_sum_square;
    [
        Reach { name: "worst case", low: r.worst_case.min, middle: None, high: r.worst_case.max },
        Reach {
            name: "root sum square",
            low: rss.map(|s| s.mean - 3.0 * s.sd),
            middle: rss.map(|s| s.mean),
            high: rss.map(|s| s.mean + 3.0 * s.sd),
        },
        Reach {
            name: "99.73 % of packs",
            low: quantile(r, 0.00135),
            middle: quantile(r, 0.5),
            high: quantile(r, 0.99865),
        },
    ]
}

/// The figure of one requirement.
pub(super) fn figure(r: &RequirementResult) -> Result<Figure, Error> {
    let places = order::places(r);
    let mut table = Table::new(
        "reach",
        "How far it goes, by three ways",
        vec![
            Column::text("way"),
            Column::number("from").unit(r.unit),
            Column::number("middle").unit(r.unit),
            Column::number("to").unit(r.unit),
        ],
    );
    let cell = |v: Option<f64>| v.map_or(Cell::Empty, |v| Cell::fixed(v, places));
    for reach in reaches(r) {
        table.push(vec![Cell::text(reach.name), cell(reach.low), cell(reach.middle), cell(reach.high)]);
    }
    table.push(vec![Cell::text("limits"), cell(r.lower), cell(r.target), cell(r.upper)]);
    table.push(vec![Cell::text("nominal"), Cell::Empty, cell(r.nominal), Cell::Empty]);
    let (word, _) = order::verdict(r);
    let description = format!(
        "Distribution of {}: mean and standard deviation {} {}, limits {}, outside {}; worst case {}. Verdict: {word}.",
        order::name(r),
        mean_sd(r),
        r.unit,
        Lengths::limits_in(r.unit, r.lower, r.upper),
        order::outside(r),
        interval(r, r.worst_case.min, r.worst_case.max)
    );
    let mut caption = format!("Mean {} {}", mean_sd(r), r.unit);
    if order::has_limits(r) {
        caption.push_str(&format!(
            "; outside the limits {} where {} is allowed: {word}",
            order::outside(r),
            percent(r.max_out)
        ));
    }
    caption.push('.');
    if r.spread.loose > WORTH_SAYING {
        caption.push_str(&format!(
            " In {} of packs the bay is loose; their place in the figure is the middle of the range.",
            percent(r.spread.loose)
        ));
    }
    if r.spread.cannot_assemble > WORTH_SAYING {
        caption.push_str(&format!(
            " {} of packs cannot be assembled and are not in the figure.",
            percent(r.spread.cannot_assemble)
        ));
    }
    if let Some(h) = r.spread.histogram.as_ref().filter(|h| h.below + h.above > 1e-4) {
        caption.push_str(&format!(" {} lie beyond the bins drawn.", percent(h.below + h.above)));
    }
    Figure::draw(
        &format!("spread-{}-{}", r.name, r.condition),
        format!("{}: how it spreads", order::name(r)),
        description,
        caption,
        table,
        |format| paint(r, format),
    )
}

/// The values drawn: everything but a worst case that would squeeze the rest into a corner.
fn range(r: &RequirementResult, from: f64, to: f64) -> Axis {
    let mut core: Vec<f64> = [r.lower, r.upper, r.target, r.nominal].into_iter().flatten().collect();
    let [worst, rss, packs] = reaches(r);
    core.extend([rss.low, rss.high, packs.low, packs.high].into_iter().flatten());
    if let Some(h) = &r.spread.histogram {
        let filled = |k: &usize| h.shares[*k] > 2e-4;
        if let (Some(a), Some(b)) = ((0..h.shares.len()).find(filled), (0..h.shares.len()).rfind(filled)) {
            core.extend([h.lower + h.width * a as f64, h.lower + h.width * (b + 1) as f64]);
        }
    }
    let (low, high) = extent(core.iter().copied());
    let room = 0.8 * (high - low).max(0.0);
    let clipped = [worst.low, worst.high].into_iter().flatten().map(|v| v.clamp(low - room, high + room));
    Axis::holding(core.iter().copied().chain(clipped), 0.04, from, to)
}

/// Width of the figure, and where its values begin and end, in pixels.
fn across(format: Format) -> [f64; 3] {
    let width = format.pick(540.0, 340.0);
    [width, format.pick(128.0, 10.0), width - 12.0]
}

/// Where the values lie in a figure: what a page's script needs to read it under the pointer. Pixels, and the requirement's unit.
#[derive(Debug, Clone, Copy, Serialize)]
pub(super) struct Frame {
    width: f64,
    left: f64,
    right: f64,
    low: f64,
    high: f64,
}

pub(super) fn frame(r: &RequirementResult, format: Format) -> Frame {
    let [width, left, right] = across(format);
    let x = range(r, left, right);
    Frame { width, left, right, low: x.low(), high: x.high() }
}

fn paint(r: &RequirementResult, format: Format) -> Result<Svg, Error> {
    let ([width, left, right], top) = (across(format), 40.0);
    let row = format.pick(24.0, 34.0);
    let base = top + format.pick(170.0, 150.0);
    let rows = base + 14.0;
    let bottom = rows + 3.0 * row + 4.0;
    draw(width, bottom + 36.0, |c| {
        let x = range(r, left, right);
        outside(c, &x, r, top, bottom)?;
        if let Some(h) = &r.spread.histogram {
            bins(c, &x, h, r, top + 14.0, base)?;
        } else {
            let at = ((left + right) / 2.0, (top + base) / 2.0);
            c.text(
                "no histogram: computed without trials",
                at,
                Lettering::new(Ink::Muted, Lettering::SMALL).anchored(Anchor::Middle),
            )?;
        }
        c.line((left, base), (right, base), Pen::new(Ink::Muted, 1.0))?;
        x.draw_horizontal(c, bottom, None, r.unit)?;
        marks(c, &x, r, top, bottom)?;
        for (i, reach) in reaches(r).iter().enumerate() {
            let y = rows + row * (i as f64 + 0.5) + format.pick(0.0, 6.0);
            let lettering = Lettering::new(Ink::Ink, Lettering::SMALL);
            match format {
                Format::Wide => c.text(reach.name, (left - 10.0, y), lettering.anchored(Anchor::End))?,
                Format::Narrow => {
                    // On a ground of its own: limits and hatching would strike it out.
                    let wide = lettering.width(reach.name);
                    c.rectangle((left - 2.0, y - 21.0), (left + wide + 2.0, y - 6.0), Ink::Paper)?;
                    c.text(reach.name, (left, y - 13.0), lettering)?;
                }
            }
            reach_bar(c, &x, reach, y, i)?;
        }
        Ok(())
    })
}

/// The areas outside the limits, hatched, with the share that falls there.
fn outside(c: &Canvas<'_>, x: &Axis, r: &RequirementResult, top: f64, bottom: f64) -> Result<(), Error> {
    for (limit, edge, falling) in [(r.lower, x.low(), true), (r.upper, x.high(), false)] {
        if let Some(limit) = limit.filter(|l| x.holds(*l)) {
            let (a, b) = ((x.at(edge), top), (x.at(limit), bottom));
            c.rectangle(a, b, Ink::LimitWash)?;
            c.hatch(a, b, 11.0, falling, Pen::new(Ink::Limit, 0.4))?;
        }
    }
    let lettering = Lettering::new(Ink::Limit, Lettering::SMALL);
    if r.lower.is_some() {
        c.text(&format!("below {}", short_share(r.spread.out.below)), (x.at(x.low()), 11.0), lettering)?;
    }
    if r.upper.is_some() {
        let text = format!("above {}", short_share(r.spread.out.above));
        c.text(&text, (x.at(x.high()), 11.0), lettering.anchored(Anchor::End))?;
    }
    Ok(())
}

/// Two digits: the caption has the error.
fn short_share(share: f64) -> String {
    if share > 0.0 && share < 5e-5 {
        return format!("{} per million", number::significant(share * 1e6, 2));
    }
    format!("{} %", number::significant(share * 100.0, 2))
}

/// The histogram, its bins joined until each is two pixels wide, cut where a limit runs through one.
fn bins(c: &Canvas<'_>, x: &Axis, h: &Histogram, r: &RequirementResult, top: f64, base: f64) -> Result<(), Error> {
    let pixel = (x.at(h.lower + h.width) - x.at(h.lower)).abs();
    let join = if pixel > 0.0 { (2.5 / pixel).ceil().clamp(1.0, 1e4) as usize } else { 1 };
    let joined: Vec<f64> = h.shares.chunks(join).map(|chunk| chunk.iter().sum::<f64>() / chunk.len() as f64).collect();
    let most = extent(joined.iter().copied()).1;
    if !(most > 0.0 && most.is_finite()) {
        return Ok(());
    }
    for (k, share) in joined.iter().enumerate().filter(|(_, s)| **s > 0.0) {
        let from = h.lower + h.width * (k * join) as f64;
        let to = (from + h.width * join as f64).min(h.lower + h.width * h.shares.len() as f64);
        // A bar that would be lower than a pixel is drawn a pixel high: there is something there.
        let y = (base - (base - top) * share / most).min(base - 1.0);
        let mut cuts = vec![from];
        cuts.extend([r.lower, r.upper].into_iter().flatten().filter(|l| *l > from && *l < to));
        cuts.push(to);
        for piece in cuts.windows(2) {
            let (a, b) = (piece[0].max(x.low()), piece[1].min(x.high()));
            if b <= a {
                continue;
            }
            let middle = (a + b) / 2.0;
            let is_out = r.lower.is_some_and(|l| middle < l) || r.upper.is_some_and(|l| middle > l);
            // A third of a pixel over the edge, so that no seam shows between neighbours.
            c.rectangle((x.at(a), y), (x.at(b) + 0.3, base), if is_out { Ink::Limit } else { Ink::Main })?;
        }
    }
    Ok(())
}

/// Limits, aim and nominal.
fn marks(c: &Canvas<'_>, x: &Axis, r: &RequirementResult, top: f64, bottom: f64) -> Result<(), Error> {
    let mut labels: Vec<(f64, String, Ink)> = Vec::new();
    for limit in [r.lower, r.upper].into_iter().flatten().filter(|l| x.holds(*l)) {
        c.line((x.at(limit), top), (x.at(limit), bottom), Pen::new(Ink::Limit, 1.8))?;
        labels.push((x.at(limit), Lengths::named(r.unit).given_in_it(limit), Ink::Limit));
    }
    if let Some(target) = r.target.filter(|t| x.holds(*t)) {
        c.line((x.at(target), top), (x.at(target), bottom), Pen::new(Ink::Second, 1.4).dashed(Dash::Long))?;
        labels.push((x.at(target), "aim".to_owned(), Ink::Second));
    }
    if let Some(nominal) = r.nominal.filter(|n| x.holds(*n)) {
        let (at, y) = (x.at(nominal), top + 4.0);
        c.polygon(&[(at - 5.0, y - 4.0), (at + 5.0, y - 4.0), (at, y + 5.0)], Ink::Ink)?;
        labels.push((at, "nominal".to_owned(), Ink::Ink));
    }
    labels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let lettering = |ink| Lettering::new(ink, Lettering::SMALL).anchored(Anchor::Middle);
    let widest = labels.iter().map(|l| lettering(l.2).width(&l.1)).fold(0.0, f64::max);
    let wanted: Vec<f64> = labels.iter().map(|l| l.0).collect();
    let places = crate::figure::drafting::spread_out(&wanted, widest + 4.0, x.at(x.low()), c.width() - widest / 2.0);
    for ((_, text, ink), at) in labels.iter().zip(places) {
        c.text(text, (at, 28.0), lettering(*ink))?;
    }
    Ok(())
}

/// A reach as a bar with a mark at its middle; cut with an arrow where it leaves the figure.
fn reach_bar(c: &Canvas<'_>, x: &Axis, reach: &Reach, y: f64, row: usize) -> Result<(), Error> {
    let (Some(low), Some(high)) = (reach.low, reach.high) else {
        return c.text("none", (x.at(x.low()) + 4.0, y), Lettering::new(Ink::Muted, Lettering::SMALL));
    };
    let (a, b) = (x.within(low), x.within(high));
    let pen = Pen::new(Ink::Ink, 1.6);
    // Told apart by form too: a bare line with end strokes, an open bar, a filled bar.
    match row {
        0 => {
            c.line((a, y), (b, y), pen)?;
            c.line((a, y - 5.0), (a, y + 5.0), pen)?;
            c.line((b, y - 5.0), (b, y + 5.0), pen)?;
        }
        1 => {
            c.rectangle((a, y - 4.0), (b, y + 4.0), Ink::Paper)?;
            c.outline((a, y - 4.0), (b, y + 4.0), Pen::new(Ink::Main, 1.6))?;
        }
        _ => c.rectangle((a, y - 4.5), (b, y + 4.5), Ink::Main)?,
    }
    for (value, edge, direction) in [(low, a, -1.0), (high, b, 1.0)] {
        if !x.holds(value) {
            c.polygon(&[(edge, y - 6.0), (edge + direction * 8.0, y), (edge, y + 6.0)], Ink::Ink)?;
        }
    }
    if let Some(middle) = reach.middle.filter(|m| x.holds(*m)) {
        c.dot((x.at(middle), y), 3.4, Ink::Paper)?;
        c.ring((x.at(middle), y), 3.4, Pen::new(Ink::Ink, 1.4))?;
    }
    Ok(())
}
