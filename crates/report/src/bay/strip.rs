//! The thin parts once more, enlarged along the shaft: what stands between two rockers, or a rocker and a face, is drawn
//! together, the neighbours broken off.

use super::view::{View, bore, boss_half, half_height, solid, spring_half};
use super::{Scene, spring};
use crate::figure::canvas::{Anchor, Canvas, Lettering, Pen};
use crate::figure::drafting::spread_out;
use crate::figure::ink::Ink;
use crate::figure::{Error, Format};
use crate::number::plain;
use packdrift_pack::{Equilibrium, PartKind};

/// Enlargements that are easy to think in.
const ENLARGEMENTS: [f64; 10] = [20.0, 15.0, 12.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.0];
/// What is shown of a neighbour, px.
const STUB: f64 = 16.0;
/// Between two groups, px.
const GAP: f64 = 22.0;

/// Layout of the strip.
pub(super) struct Strip<'a> {
    scene: Scene<'a>,
    settled: &'a Equilibrium,
    format: Format,
    width: f64,
    pub(super) height: f64,
    enlargement: f64,
    /// px a mm.
    scale: f64,
    /// Runs of thin parts: first index and one past the last.
    groups: Vec<(usize, usize)>,
}

impl<'a> Strip<'a> {
    pub(super) fn new(scene: &Scene<'a>, settled: &'a Equilibrium, view: &View<'_>, format: Format) -> Self {
        let groups = groups(scene);
        let thin: f64 = groups.iter().flat_map(|&(a, b)| &settled.lengths[a..b]).sum();
        let fixed_parts = groups.len() as f64 * (2.0 * STUB + GAP);
        let room = view.width - fixed_parts - 8.0;
        let enlargement =
            ENLARGEMENTS.into_iter().find(|n| n * view.scale * thin <= room).unwrap_or(1.0).min(ENLARGEMENTS[0]);
        let height = if groups.is_empty() { 0.0 } else { format.pick(176.0, 150.0) };
        Self {
            scene: *scene,
            settled,
            format,
            width: view.width,
            height,
            enlargement,
            scale: enlargement * view.scale,
            groups,
        }
    }

    pub(super) fn paint(&self, c: &Canvas<'_>, top: f64) -> Result<(), Error> {
        if self.groups.is_empty() {
            return Ok(());
        }
        let heading = format!("thin parts, {} times enlarged along the shaft", plain(self.enlargement));
        c.text(&heading, (0.0, top + 16.0), Lettering::new(Ink::Muted, Lettering::SMALL))?;
        let tallest = spring_half(self.format);
        let middle = top + 34.0 + tallest;
        let used: f64 =
            self.groups.iter().map(|g| self.group_width(*g)).sum::<f64>() + GAP * (self.groups.len() as f64 - 1.0);
        let mut x = ((self.width - used) / 2.0).max(0.0);
        let mut labels: Vec<(f64, usize)> = Vec::new();
        for &group in &self.groups {
            self.group(c, group, x, middle, &mut labels)?;
            x += self.group_width(group) + GAP;
        }
        self.label(c, &labels, middle + tallest)
    }

    fn group_width(&self, (a, b): (usize, usize)) -> f64 {
        2.0 * STUB + self.settled.lengths[a..b].iter().sum::<f64>() * self.scale
    }

    fn group(
        &self,
        c: &Canvas<'_>,
        (a, b): (usize, usize),
        left: f64,
        middle: f64,
        labels: &mut Vec<(f64, usize)>,
    ) -> Result<(), Error> {
        let parts = self.scene.parts();
        let bore = bore(self.format);
        c.rectangle((left, middle - bore), (left + self.group_width((a, b)), middle + bore), Ink::Grid)?;
        self.neighbour(c, a == 0, left, left + STUB, middle)?;
        let mut x = left + STUB;
        for i in a..b {
            let right = x + self.settled.lengths[i] * self.scale;
            let half = half_height(&parts[i].kind, self.format);
            match &parts[i].kind {
                PartKind::Spring(washer) => {
                    let place = spring::Place { left: x, right, middle, half, bore, scale: self.scale };
                    spring::paint(c, &self.scene, washer, place)?;
                }
                PartKind::Solid { kind, .. } => solid(c, *kind, (x, middle - half), (right, middle + half))?,
                PartKind::Rocker { .. } => {}
            }
            labels.push(((x + right) / 2.0, i));
            x = right;
        }
        // A loose pack leaves its play before the right fixed face.
        self.neighbour(c, b == parts.len(), x + STUB, x, middle)
    }

    /// The broken-off neighbour between its working face at `face` and `far`.
    fn neighbour(&self, c: &Canvas<'_>, is_ground: bool, far: f64, face: f64, middle: f64) -> Result<(), Error> {
        let half = boss_half(self.format);
        let (top, bottom) = (middle - half, middle + half);
        if is_ground {
            return crate::figure::drafting::ground(c, face, far, top, bottom);
        }
        let steps = 8;
        let broken: Vec<(f64, f64)> = (0..=steps)
            .map(|i| {
                let bend = if i % 2 == 0 { 0.0 } else { 0.3 * (face - far) };
                (far + bend, top + (bottom - top) * f64::from(i) / f64::from(steps))
            })
            .collect();
        let mut outline = vec![(face, top)];
        outline.extend(&broken);
        outline.push((face, bottom));
        c.polygon(&outline, Ink::Casting)?;
        c.polyline(&broken, Pen::new(Ink::Muted, 0.9))?;
        c.line((face, top), (face, bottom), Pen::new(Ink::Ink, 1.3))
    }

    /// Item number and length under every part, spread out where parts are close.
    fn label(&self, c: &Canvas<'_>, labels: &[(f64, usize)], bottom: f64) -> Result<(), Error> {
        let lettering = Lettering::new(Ink::Ink, Lettering::SMALL).anchored(Anchor::Middle);
        let texts: Vec<String> =
            labels.iter().map(|&(_, i)| self.scene.lengths.fixed(self.settled.lengths[i])).collect();
        let widest = texts.iter().map(|t| lettering.width(t)).fold(0.0, f64::max);
        let wanted: Vec<f64> = labels.iter().map(|l| l.0).collect();
        let places = spread_out(&wanted, widest + 6.0, widest / 2.0, self.width - widest / 2.0);
        for ((&(x, i), text), place) in labels.iter().zip(&texts).zip(places) {
            let half = half_height(&self.scene.parts()[i].kind, self.format);
            let foot = bottom - spring_half(self.format) + half;
            c.line((x, foot - 3.0), (place, bottom + 12.0), Pen::new(Ink::Muted, 0.8))?;
            c.text(&(i + 1).to_string(), (place, bottom + 21.0), lettering.bold())?;
            c.text(text, (place, bottom + 36.0), lettering)?;
        }
        Ok(())
    }
}

/// Runs of parts that are not rockers.
fn groups(scene: &Scene<'_>) -> Vec<(usize, usize)> {
    let mut groups = Vec::new();
    let mut start = None;
    for (i, part) in scene.parts().iter().enumerate() {
        match (&part.kind, start) {
            (PartKind::Rocker { .. }, Some(a)) => {
                groups.push((a, i));
                start = None;
            }
            (PartKind::Rocker { .. }, None) => {}
            (_, None) => start = Some(i),
            (_, Some(_)) => {}
        }
    }
    if let Some(a) = start {
        groups.push((a, scene.parts().len()));
    }
    groups
}
