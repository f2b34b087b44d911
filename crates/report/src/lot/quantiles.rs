//! A lot's shape: each reading against where a normal lot would have it, with how far chance may move it.

use crate::Lengths;
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Lettering, Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::labels::Labels;
use crate::figure::{Error, Figure};
use crate::number::{percent, significant};
use crate::table::{Cell, Column, Table};
use packdrift_lot::LotResult;
use packdrift_lot::shape::{QuantilePoint, quantile_points};

/// Readings drawn one by one; of more, every so many and both ends.
const DRAWN: usize = 400;

fn thinned(points: Vec<QuantilePoint>) -> Vec<QuantilePoint> {
    let n = points.len();
    let every = n.div_ceil(DRAWN).max(1);
    points.into_iter().enumerate().filter(|(i, _)| i % every == 0 || *i < 10 || *i + 10 >= n).map(|(_, p)| p).collect()
}

/// The figure; None where there are too few parts or no scatter.
pub(super) fn figure(lot: &LotResult, confidence: f64, unit: &str) -> Result<Option<Figure>, Error> {
    let points = thinned(quantile_points(lot, confidence));
    let Some(sd) = lot.sd.filter(|_| points.len() > 2) else { return Ok(None) };
    let outside = points.iter().filter(|p| p.reading < p.lower || p.reading > p.upper).count();
    let finding = match lot.shape.combined_p() {
        None => "not tested".to_owned(),
        Some(_) if lot.shape.contradicts_normal() => "not a normal distribution".to_owned(),
        Some(_) => "nothing speaks against a normal distribution".to_owned(),
    };
    let mut table = Table::new(
        &format!("shape {}", lot.name),
        &format!("Readings of {} against a normal lot", lot.name),
        vec![
            Column::number("expected").unit("sd"),
            Column::number("reading").unit(unit),
            Column::number("by chance from").unit(unit),
            Column::number("by chance to").unit(unit),
        ],
    );
    for p in &points {
        table.push(vec![
            Cell::fixed(p.expected, 2),
            Lengths::written_cell(unit, Some(p.reading)),
            Cell::significant(p.lower, 4),
            Cell::significant(p.upper, 4),
        ]);
    }
    Figure::draw(
        &format!("shape {}", lot.name),
        format!("Shape of {}: {finding}", lot.name),
        format!(
            "{} readings in rising order against a normal lot of mean {} and standard deviation {} {unit}; {outside} lie outside the band of chance.",
            lot.n,
            significant(lot.mean, 4),
            significant(sd, 3)
        ),
        format!(
            "Each reading at the place a normal lot would have it, in standard deviations from the mean. A normal lot follows the line; the band is how far chance moves a single reading ({} of the time).",
            percent(confidence)
        ),
        table,
        |format| {
            let (width, height) = (format.pick(520.0, 360.0), format.pick(430.0, 380.0));
            draw(width, height, |c| {
                let (left, right, top, bottom) = (58.0, width - 12.0, 46.0, height - 44.0);
                let reach = points.iter().map(|p| p.expected.abs()).fold(1.0, f64::max) * 1.06;
                let x = Axis::new(-reach, reach, left, right);
                let values = points.iter().flat_map(|p| [p.reading, p.lower, p.upper]);
                let own = Axis::holding(values.clone(), 0.03, bottom, top);
                let span = own.high() - own.low();
                let near: Vec<f64> = [lot.drawing.lower, lot.drawing.upper]
                    .into_iter()
                    .flatten()
                    .filter(|l| *l > own.low() - 0.35 * span && *l < own.high() + 0.35 * span)
                    .collect();
                let y = Axis::holding(values.chain(near.iter().copied()), 0.03, bottom, top);
                let band: Vec<(f64, f64)> = points
                    .iter()
                    .map(|p| (x.at(p.expected), y.at(p.upper)))
                    .chain(points.iter().rev().map(|p| (x.at(p.expected), y.at(p.lower))))
                    .collect();
                c.polygon(&band, Ink::MainWash)?;
                x.draw_horizontal(c, bottom, None, "expected of a normal lot, sd from the mean")?;
                y.draw_vertical(c, left, right, &format!("reading, {unit}"))?;
                let labels = Labels::new(c);
                for limit in near {
                    c.line((left, y.at(limit)), (right, y.at(limit)), Pen::new(Ink::Limit, 1.5))?;
                    let places = [((left + 4.0, y.at(limit) - 8.0), Anchor::Start), ((left + 4.0, y.at(limit) + 9.0), Anchor::Start)];
                    labels.put("drawing", Lettering::SMALL, Lettering::new(Ink::Limit, Lettering::SMALL), &places)?;
                }
                let line = [-reach, reach].map(|z| (x.at(z), y.within(lot.mean + z * sd)));
                c.line(line[0], line[1], Pen::new(Ink::Main, 1.5))?;
                for p in &points {
                    let at = (x.at(p.expected), y.at(p.reading));
                    if p.reading < p.lower || p.reading > p.upper {
                        c.ring(at, 3.4, Pen::new(Ink::Limit, 1.8))?;
                    } else {
                        c.dot(at, 2.4, Ink::Main)?;
                    }
                }
                Ok(())
            })
        },
    )
    .map(Some)
}
