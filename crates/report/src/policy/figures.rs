//! Cost against ceiling.

use super::tables::tables;
use super::{Answered, places};
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Lettering, Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::{fixed, percent};
use packdrift_policy::Policy;

/// The curve of cost against ceiling; none where it has fewer than two points.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(answered: &Answered<'_>) -> Result<Vec<Figure>, Error> {
    let policy = answered.policy;
    let points = points(policy);
    let Some(table) = tables(answered).into_iter().find(|t| t.name == "curve").filter(|_| points.len() > 1) else {
        return Ok(Vec::new());
    };
    let ends = points.first().zip(points.last());
    let description = ends.map_or_else(String::new, |(first, last)| {
        format!(
            "A build costs {} for a ceiling of {} and {} for one of {}.",
            fixed(first.1, places(policy)),
            percent(first.0),
            fixed(last.1, places(policy)),
            percent(last.0)
        )
    });
    let figure = Figure::draw(
        "curve",
        "Cost of a build against the ceiling of the share outside",
        description,
        "Each point is the cheapest choice found that is shown to keep its ceiling; ceilings that nothing tried is shown to keep are left out. Where the line falls steeply, a little less quality saves much; where it is flat, quality costs nearly nothing. The ring is the ceiling asked for. The scale of the ceilings is logarithmic.",
        table,
        |format| paint(policy, &points, format),
    )?;
    Ok(vec![figure])
}

/// Ceilings that are shown to be kept, with what that costs.
fn points(policy: &Policy) -> Vec<(f64, f64)> {
    let kept = policy.curve.iter().filter_map(|p| p.estimate.as_ref().filter(|e| e.bound <= p.ceiling).map(|e| (p, e)));
    kept.map(|(p, e)| (p.ceiling, e.cost.value)).collect()
}

fn paint(policy: &Policy, points: &[(f64, f64)], format: Format) -> Result<Svg, Error> {
    let (width, height) = (format.pick(960.0, 340.0), format.pick(360.0, 320.0));
    let (left, right, top, bottom) = (60.0, width - 24.0, 30.0, height - 46.0);
    let across = Axis::holding(points.iter().map(|p| p.0.log10()), 0.06, left, right);
    let up = Axis::holding(points.iter().map(|p| p.1), 0.10, bottom, top);
    draw(width, height, |c| {
        up.draw_vertical(c, left, right, "cost of a build")?;
        let small = Lettering::new(Ink::Muted, Lettering::SMALL);
        c.line((left, bottom), (right, bottom), Pen::new(Ink::Muted, 1.0))?;
        for (n, (ceiling, _)) in points.iter().enumerate() {
            let x = across.at(ceiling.log10());
            c.line((x, bottom), (x, bottom + 4.0), Pen::new(Ink::Muted, 1.0))?;
            if format == Format::Wide || n % 2 == 0 {
                c.text(&percent(*ceiling), (x, bottom + 13.0), small.anchored(Anchor::Middle))?;
            }
        }
        c.text("ceiling", (right, bottom + 30.0), small.anchored(Anchor::End))?;
        let at = |p: &(f64, f64)| (across.at(p.0.log10()), up.at(p.1));
        let line: Vec<(f64, f64)> = points.iter().map(at).collect();
        c.polyline(&line, Pen::new(Ink::Main, 1.6))?;
        for p in points {
            c.dot(at(p), 3.5, Ink::Main)?;
            if (p.0 / policy.question.ceiling - 1.0).abs() < 1e-9 {
                c.ring(at(p), 7.0, Pen::new(Ink::Second, 1.8))?;
            }
        }
        Ok(())
    })
}
