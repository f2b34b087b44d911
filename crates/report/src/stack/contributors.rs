//! What makes a requirement spread: bars of variance shares, with the sense in which each dimension works.

use super::order;
use super::text::signed;
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Lettering, Pen, draw, fitted_end};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::{fixed, percent};
use crate::table::{Cell, Column, Table};
use packdrift_spread::{Contributor, RequirementResult};

/// Bars drawn; the rest are added up in one.
const BARS: usize = 9;

/// A bar: name, share, sensitivity (None for the rest added up).
struct Bar {
    name: String,
    share: f64,
    sensitivity: Option<f64>,
}

/// The figure of one requirement; None where nothing scatters.
pub(super) fn figure(r: &RequirementResult) -> Result<Option<Figure>, Error> {
    let scattering: Vec<&Contributor> =
        r.contributors.iter().filter(|c| c.variance_share.is_finite() && c.variance_share != 0.0).collect();
    if scattering.is_empty() {
        return Ok(None);
    }
    let drawn = if scattering.len() <= BARS + 1 { scattering.len() } else { BARS };
    let bay = order::common_bay(scattering.iter().map(|c| (c.source, c.dimension.as_str())));
    let mut bars: Vec<Bar> = scattering[..drawn]
        .iter()
        .map(|c| Bar {
            name: order::without(bay, &c.dimension).to_owned(),
            share: c.variance_share,
            sensitivity: Some(c.sensitivity),
        })
        .collect();
    let rest: f64 = scattering[drawn..].iter().map(|c| c.variance_share).sum();
    if drawn < scattering.len() {
        bars.push(Bar {
            name: format!("{} others together", scattering.len() - drawn),
            share: rest,
            sensitivity: None,
        });
    }
    let mut table = Table::new(
        "contributors",
        "Share of the variance, and change of the result per unit of the dimension",
        vec![Column::text("dimension"), Column::number("share of variance"), Column::number("sensitivity")],
    );
    for c in &scattering {
        table.push(vec![Cell::text(&c.dimension), Cell::share(c.variance_share), Cell::significant(c.sensitivity, 4)]);
    }
    let first = scattering[0];
    let description = format!(
        "Bars of the shares of variance of {}. The largest is {} with {}.",
        order::name(r),
        first.dimension,
        percent(rounded(first.variance_share))
    );
    let caption = format!(
        "Share of the variance. Filled: more of it raises the result; hatched: lowers it; the signed number is the change of the result, {}, \
         per unit of it.",
        r.unit
    );
    Figure::draw(
        &format!("contributors-{}-{}", r.name, r.condition),
        format!("{}: what makes it spread", order::name(r)),
        description,
        caption,
        table,
        |format| paint(&bars, format),
    )
    .map(Some)
}

/// To 0.1 %.
fn rounded(share: f64) -> f64 {
    (share * 1e3).round() / 1e3
}

fn paint(bars: &[Bar], format: Format) -> Result<Svg, Error> {
    let (width, row) = (format.pick(540.0, 340.0), format.pick(30.0, 40.0));
    let (left, right) = (format.pick(232.0, 8.0), width - format.pick(112.0, 108.0));
    let top = 6.0;
    draw(width, top + row * bars.len() as f64 + 6.0, |c| {
        let most = bars.iter().map(|b| b.share).fold(0.0, f64::max);
        let least = bars.iter().map(|b| b.share).fold(0.0, f64::min);
        let x = Axis::new(least, most.max(1e-12), left, right);
        for (i, bar) in bars.iter().enumerate() {
            let y0 = top + row * i as f64;
            let y = y0 + format.pick(0.5 * row, 28.0);
            let lettering = Lettering::new(Ink::Ink, Lettering::NORMAL);
            match format {
                Format::Wide => {
                    let name = fitted_end(&bar.name, Lettering::NORMAL, left - 12.0);
                    c.text(&name, (left - 10.0, y), lettering.anchored(Anchor::End))?;
                }
                Format::Narrow => {
                    let name = fitted_end(&bar.name, Lettering::NORMAL, width - 16.0);
                    c.text(&name, (left, y0 + 12.0), lettering)?;
                }
            }
            let (a, b) = ((x.at(0.0), y - 7.0), (x.at(bar.share), y + 7.0));
            match bar.sensitivity {
                Some(s) if s > 0.0 => c.rectangle(a, b, Ink::Main)?,
                Some(_) => {
                    c.rectangle(a, b, Ink::SecondWash)?;
                    c.hatch(a, b, 5.0, false, Pen::new(Ink::Second, 1.2))?;
                    c.outline(a, b, Pen::new(Ink::Second, 1.2))?;
                }
                None => c.outline(a, b, Pen::new(Ink::Muted, 1.2))?,
            }
            let at = x.at(bar.share.max(0.0)) + 6.0;
            let share = format!("{} %", fixed(bar.share * 100.0, 1));
            c.text(&share, (at, y), lettering)?;
            if let Some(s) = bar.sensitivity {
                c.text(&signed(s), (width, y), Lettering::new(Ink::Muted, Lettering::SMALL).anchored(Anchor::End))?;
            }
        }
        c.line((x.at(0.0), top), (x.at(0.0), top + row * bars.len() as f64), Pen::new(Ink::Muted, 1.0))
    })
}
