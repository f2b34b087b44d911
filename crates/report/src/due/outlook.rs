//! How many valves are in the damage zone as the months go by: nothing done, and by the plan.

use super::tables;
use crate::calendar::iso;
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Dash, Lettering, Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::fixed;
use packdrift_due::{DueResult, Month};

/// The figure; None without months.
pub(super) fn figure(result: &DueResult) -> Result<Option<Figure>, Error> {
    let (Some(first), Some(last)) = (result.months.first(), result.months.last()) else { return Ok(None) };
    if result.months.len() < 2 {
        return Ok(None);
    }
    let description = format!(
        "Expected number of valves in the damage zone: {} on {}; by {}, {} if nothing is done and {} by the plan.",
        fixed(first.valves, 1),
        iso(first.day),
        iso(last.day),
        fixed(last.valves, 1),
        fixed(last.valves_with_plan, 1)
    );
    let caption = "In the zone on a day: entered by then, and not done since. The unbroken line: nothing is done. The dashed line: the plan is kept, and what is done starts anew. The fall of the dashed line at a \
                   window is the work done in it; what rises after it is work of later windows.";
    Figure::draw(
        "months",
        "If nothing is done, and by the plan",
        description,
        caption,
        tables::months(result),
        |format| paint(&result.months, format),
    )
    .map(Some)
}

fn paint(months: &[Month], format: Format) -> Result<Svg, Error> {
    let (width, height) = (format.pick(960.0, 340.0), format.pick(320.0, 300.0));
    let (left, right, top, bottom) = (48.0, width - 16.0, 66.0, height - 30.0);
    draw(width, height, |c| {
        let day = |m: &Month| f64::from(m.day);
        let x = Axis::new(day(&months[0]), day(&months[months.len() - 1]), left, right);
        let most = months.iter().map(|m| m.valves.max(m.valves_with_plan)).fold(0.0, f64::max);
        let y = Axis::new(0.0, (1.08 * most).max(1.0), bottom, top);
        y.draw_vertical(c, left, right, "expected number of valves in the damage zone")?;
        let mut free = f64::NEG_INFINITY;
        for m in months.iter().skip(1) {
            let date = iso(m.day);
            let label = date.get(..7).unwrap_or_default();
            let small = Lettering::new(Ink::Muted, Lettering::SMALL).anchored(Anchor::Middle);
            let half = 0.5 * small.width(label) + 6.0;
            let at = x.at(day(m));
            if at - half > free && at + half < width + 6.0 {
                c.line((at, bottom), (at, bottom + 4.0), Pen::new(Ink::Muted, 1.0))?;
                c.text(label, (at, bottom + 15.0), small)?;
                free = at + half;
            }
        }
        c.line((left, bottom), (right, bottom), Pen::new(Ink::Muted, 1.0))?;
        let line =
            |f: fn(&Month) -> f64| -> Vec<(f64, f64)> { months.iter().map(|m| (x.at(day(m)), y.at(f(m)))).collect() };
        c.polyline(&line(|m| m.valves), Pen::new(Ink::Limit, 2.2))?;
        c.polyline(&line(|m| m.valves_with_plan), Pen::new(Ink::Main, 2.2).dashed(Dash::Long))?;
        // The key, above the plot.
        let lettering = Lettering::new(Ink::Ink, Lettering::SMALL);
        let second = left + format.pick(180.0, 130.0);
        for (at, label, pen) in [
            (left, "nothing done", Pen::new(Ink::Limit, 2.2)),
            (second, "by the plan", Pen::new(Ink::Main, 2.2).dashed(Dash::Long)),
        ] {
            c.line((at, 14.0), (at + 28.0, 14.0), pen)?;
            c.text(label, (at + 34.0, 14.0), lettering)?;
        }
        Ok(())
    })
}
