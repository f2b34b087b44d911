//! What each contributor costs in share outside: how much would be left if it alone were perfect, against what is allowed.

use super::order;
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Dash, Lettering, Pen, draw, fitted_end};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::percent;
use crate::table::{Cell, Column, Table};
use packdrift_spread::{Answer, RequirementResult, StackResult};

/// Bars drawn.
const BARS: usize = 8;

/// A share outside below this part of what is allowed costs nothing to speak of.
const NOTHING: f64 = 0.01;

/// The figure of one requirement; None where it is met (unless it is `first`, the one with the least to spare), where hardly anything is outside, or
/// where the question was not asked.
pub(super) fn figure(result: &StackResult, r: &RequirementResult, first: bool) -> Result<Option<Figure>, Error> {
    let met = r.acceptable;
    if met && !first || r.spread.out.total < NOTHING * r.max_out {
        return Ok(None);
    }
    let mut answers: Vec<(&Answer, f64)> = order::answers(result, r)
        .iter()
        .filter_map(|a| Some((a, a.out_if_perfect.filter(|o| o.is_finite())?)))
        .collect();
    answers.sort_by(|a, b| a.1.total_cmp(&b.1));
    answers.truncate(BARS);
    let Some(best) = answers.first() else { return Ok(None) };
    let mut table = Table::new(
        "costs",
        "Share outside if one dimension alone were perfect",
        vec![
            Column::text("dimension"),
            Column::number("left outside").key("out_if_perfect"),
            Column::number("what it costs").key("cost_in_out"),
        ],
    );
    for (a, left) in &answers {
        table.push(vec![
            Cell::text(&a.dimension),
            Cell::share(*left),
            a.share_outside_due_to.map_or(Cell::Empty, Cell::share),
        ]);
    }
    let (now, allowed) = (r.spread.out.total, r.max_out);
    let description = format!(
        "Bars of the share outside that would be left of {} if one dimension alone were perfect. Now {} are outside, {} are allowed; the best is {} \
         with {} left.",
        order::name(r),
        percent(now),
        percent(allowed),
        best.0.dimension,
        percent(best.1)
    );
    Figure::draw(
        &format!("costs-{}-{}", r.name, r.condition),
        format!("{}: what each costs", order::name(r)),
        description,
        "Filled: what would still be outside if this dimension alone never varied; open: what it costs now. A bar whose filled part ends before \
         the line marked \"allowed\" would meet the requirement.",
        table,
        |format| paint(&answers, now, allowed, format),
    )
    .map(Some)
}

fn paint(answers: &[(&Answer, f64)], now: f64, allowed: f64, format: Format) -> Result<Svg, Error> {
    let (width, row) = (format.pick(540.0, 340.0), format.pick(30.0, 40.0));
    let (left, right) = (format.pick(232.0, 8.0), width - format.pick(110.0, 96.0));
    let top = 26.0;
    let bottom = top + row * answers.len() as f64 + 2.0;
    let bay = order::common_bay(answers.iter().map(|(a, _)| (a.source, a.dimension.as_str())));
    draw(width, bottom + 36.0, |c| {
        let most = answers.iter().map(|a| a.1).fold(now.max(allowed), f64::max);
        let x = Axis::new(0.0, 100.0 * most.max(1e-12), left, right);
        x.draw_horizontal(c, bottom, None, "% outside")?;
        let small = Lettering::new(Ink::Limit, Lettering::SMALL);
        let text = format!("allowed {}", percent(allowed));
        let half = small.width(&text) / 2.0;
        let at = x.at(100.0 * allowed);
        c.text(&text, (at.clamp(half, width - half), 9.0), small.anchored(Anchor::Middle))?;
        for (i, (answer, share)) in answers.iter().enumerate() {
            let y0 = top + row * i as f64;
            let y = y0 + format.pick(0.5 * row, 28.0);
            let lettering = Lettering::new(Ink::Ink, Lettering::NORMAL);
            let name = order::without(bay, &answer.dimension);
            match format {
                Format::Wide => {
                    let name = fitted_end(name, Lettering::NORMAL, left - 12.0);
                    c.text(&name, (left - 10.0, y), lettering.anchored(Anchor::End))?;
                }
                Format::Narrow => {
                    let name = fitted_end(name, Lettering::NORMAL, width - 16.0);
                    c.text(&name, (left, y0 + 12.0), lettering)?;
                }
            }
            let (rest, whole) = (x.at(100.0 * share), x.at(100.0 * now.max(*share)));
            c.rectangle((left, y - 7.0), (rest, y + 7.0), Ink::Limit)?;
            if whole > rest + 1.0 {
                c.outline((rest, y - 7.0), (whole, y + 7.0), Pen::new(Ink::Limit, 1.2))?;
            }
            c.text(&percent(*share), (width, y), lettering.anchored(Anchor::End))?;
            if matches!(format, Format::Narrow) {
                // The name stands above its bar: the line keeps clear of it.
                c.line((at, y - 10.0), (at, y + 10.0), Pen::new(Ink::Ink, 1.4))?;
            }
        }
        match format {
            Format::Wide => c.line((at, 18.0), (at, bottom), Pen::new(Ink::Ink, 1.4).dashed(Dash::Long)),
            Format::Narrow => c.line((at, bottom - 4.0), (at, bottom), Pen::new(Ink::Ink, 1.4)),
        }
    })
}
