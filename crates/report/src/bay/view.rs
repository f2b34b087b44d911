//! The main view, along the valve stems: the shaft across, rocker arms down to the stem ends.

use super::{Scene, spring};
use crate::figure::canvas::{Anchor, Canvas, Lettering, Pen, fitted};
use crate::figure::drafting::{axis_line, dimension, ground, item, spread_out};
use crate::figure::ink::Ink;
use crate::figure::{Error, Format};
use packdrift_pack::{Equilibrium, Outcome, PartKind, Quantity, SolidKind};

/// Width on a wide screen, px: on A4 this is printed at seven tenths, which leaves the letters legible.
pub(super) const WIDE: f64 = 960.0;

/// Layout of the main view, px.
pub(super) struct View<'a> {
    scene: Scene<'a>,
    settled: &'a Equilibrium,
    format: Format,
    pub(super) width: f64,
    pub(super) height: f64,
    /// Of the left fixed face.
    origin: f64,
    /// px a mm along the shaft.
    pub(super) scale: f64,
    /// Height of the shaft's axis.
    shaft: f64,
    /// Height of the stems' axes.
    stems: f64,
    /// Largest radius of a stem end.
    stem_radius: f64,
}

/// Half height of a rocker's boss and of the neighbours in the strip, px.
pub(super) fn boss_half(format: Format) -> f64 {
    format.pick(52.0, 39.0)
}

/// Half height of a spring washer, the tallest of the thin parts, px.
pub(super) fn spring_half(format: Format) -> f64 {
    format.pick(46.0, 34.0)
}

/// Half heights across the shaft, px, which are not to scale: what a part is shows in its height too.
pub(super) fn half_height(kind: &PartKind, format: Format) -> f64 {
    match kind {
        PartKind::Rocker { .. } => boss_half(format),
        PartKind::Spring(_) => spring_half(format),
        PartKind::Solid { kind: SolidKind::Washer, .. } => format.pick(42.0, 31.0),
        PartKind::Solid { kind: SolidKind::Shim, .. } => format.pick(38.0, 28.0),
        PartKind::Solid { kind: SolidKind::Spacer, .. } => format.pick(32.0, 24.0),
    }
}

/// Half height of the shaft, px.
pub(super) fn bore(format: Format) -> f64 {
    format.pick(19.0, 14.0)
}

impl<'a> View<'a> {
    pub(super) fn new(scene: &Scene<'a>, settled: &'a Equilibrium, format: Format) -> Self {
        let (width, margin) = (format.pick(WIDE, 340.0), format.pick(44.0, 20.0));
        let scale = (width - 2.0 * margin) / settled.span.max(1e-6);
        let stem_radius = scene.pack.bays[scene.bay]
            .valves
            .iter()
            .filter_map(|v| v.contact.as_ref())
            .map(|contact| scene.value(contact.stem_end_diameter) / 2.0 * scale)
            .fold(format.pick(30.0, 20.0), f64::max)
            .min(format.pick(110.0, 60.0));
        let shaft = format.pick(104.0, 88.0);
        let stems = shaft + boss_half(format) + format.pick(26.0, 22.0) + stem_radius;
        let has_valves = !scene.pack.bays[scene.bay].valves.is_empty();
        let height = if has_valves { stems + stem_radius + format.pick(76.0, 88.0) } else { shaft + 52.0 + 44.0 };
        Self { scene: *scene, settled, format, width, height, origin: margin, scale, shaft, stems, stem_radius }
    }

    /// px of a place along the shaft, mm from the left fixed face.
    fn x(&self, mm: f64) -> f64 {
        self.origin + mm * self.scale
    }

    pub(super) fn paint(&self, c: &Canvas<'_>) -> Result<(), Error> {
        let (left, right) = (self.x(0.0), self.x(self.settled.span));
        let bore = bore(self.format);
        c.rectangle((0.0, self.shaft - bore), (self.width, self.shaft + bore), Ink::Grid)?;
        let tall = boss_half(self.format) + 8.0;
        ground(c, left, 2.0, self.shaft - tall, self.shaft + tall)?;
        ground(c, right, self.width - 2.0, self.shaft - tall, self.shaft + tall)?;
        self.arms(c)?;
        self.parts(c)?;
        axis_line(c, (0.0, self.shaft), (self.width, self.shaft), Ink::Muted)?;
        self.items(c)?;
        self.valves(c)?;
        self.play(c)?;
        let y = self.height - 18.0;
        for x in [left, right] {
            c.line((x, self.shaft + tall), (x, y + 5.0), Pen::new(Ink::Muted, 0.7))?;
        }
        dimension(c, left, right, y, &format!("span {}", self.scene.lengths.with_unit(self.settled.span)), Ink::Muted)
    }

    /// Left and right edge of a part, px.
    fn edges(&self, part: usize) -> (f64, f64) {
        let left = self.settled.left_faces[part];
        (self.x(left), self.x(left + self.settled.lengths[part]))
    }

    fn parts(&self, c: &Canvas<'_>) -> Result<(), Error> {
        let bore = bore(self.format);
        for (i, part) in self.scene.parts().iter().enumerate() {
            let (left, right) = self.edges(i);
            let half = half_height(&part.kind, self.format);
            let (top, bottom) = (self.shaft - half, self.shaft + half);
            match &part.kind {
                PartKind::Spring(washer) => {
                    let place = spring::Place { left, right, middle: self.shaft, half, bore, scale: self.scale };
                    spring::paint(c, &self.scene, washer, place)?;
                }
                PartKind::Rocker { .. } => {
                    c.rectangle((left, top), (right, bottom), Ink::Casting)?;
                    c.outline((left, top), (right, bottom), Pen::new(Ink::Ink, 1.3))?;
                    // Clear of the item's dot and of the axes.
                    let name = fitted(&part.name, Lettering::NORMAL, right - left - 14.0);
                    let at = (left + 8.0, self.shaft + half - 13.0);
                    c.text(&name, at, Lettering::new(Ink::Ink, Lettering::NORMAL))?;
                }
                PartKind::Solid { kind, .. } => solid(c, *kind, (left, top), (right, bottom))?,
            }
        }
        Ok(())
    }

    fn items(&self, c: &Canvas<'_>) -> Result<(), Error> {
        let parts = self.scene.parts();
        let centres: Vec<f64> = (0..parts.len())
            .map(|i| {
                let (left, right) = self.edges(i);
                (left + right) / 2.0
            })
            .collect();
        let places = spread_out(&centres, 24.0, 12.0, self.width - 12.0);
        for (i, part) in parts.iter().enumerate() {
            let on = (centres[i], self.shaft - half_height(&part.kind, self.format) + 5.0);
            item(c, i + 1, (places[i], 14.0), on)?;
        }
        Ok(())
    }

    /// The arms, under the parts: from the boss to a rounded end about the adjuster's axis.
    fn arms(&self, c: &Canvas<'_>) -> Result<(), Error> {
        for (i, valve) in self.scene.pack.bays[self.scene.bay].valves.iter().enumerate() {
            let Some(adjuster) = self.adjuster(i) else { continue };
            let (left, right) = self.edges(valve.rocker);
            let end = self.format.pick(17.0, 9.0);
            let root = (0.28 * (right - left)).max(end);
            let (a, b) = (adjuster - root, adjuster + root);
            let (a, b) = (a.max(left), b.min(right));
            let arm = [(a, self.shaft), (b, self.shaft), (adjuster + end, self.stems), (adjuster - end, self.stems)];
            c.polygon(&arm, Ink::Casting)?;
            c.dot((adjuster, self.stems), end, Ink::Casting)?;
            let pen = Pen::new(Ink::Ink, 1.1);
            c.line(arm[0], arm[3], pen)?;
            c.line(arm[1], arm[2], pen)?;
            let around: Vec<(f64, f64)> = (0..=24)
                .map(|k| {
                    let (sin, cos) = (f64::from(k) * std::f64::consts::PI / 24.0).sin_cos();
                    (adjuster + end * cos, self.stems + end * sin)
                })
                .collect();
            c.polyline(&around, pen)?;
        }
        Ok(())
    }

    /// px of the adjuster's axis of a valve, with the bay as settled (a loose one pushed to the left).
    fn adjuster(&self, valve: usize) -> Option<f64> {
        let v = &self.scene.pack.bays[self.scene.bay].valves[valve];
        let offset = match self.scene.outcome(&Quantity::Offset { bay: self.scene.bay, valve }) {
            Outcome::Value(value) => value,
            Outcome::Range { low, .. } => low,
            Outcome::CannotAssemble => return None,
        };
        // The stem stands on the same ground as the faces and grows with it.
        let stem = self.scene.value(v.stem) * self.growth();
        Some(self.x(stem + offset))
    }

    /// How the ground (span, stem positions) has grown from the reference temperature.
    fn growth(&self) -> f64 {
        let bay = &self.scene.pack.bays[self.scene.bay];
        self.settled.span / self.scene.value(bay.span)
    }

    fn valves(&self, c: &Canvas<'_>) -> Result<(), Error> {
        for (i, valve) in self.scene.pack.bays[self.scene.bay].valves.iter().enumerate() {
            let Some(adjuster) = self.adjuster(i) else { continue };
            let stem = self.x(self.scene.value(valve.stem) * self.growth());
            let y = self.stems;
            self.stem_end(c, i, stem, adjuster)?;
            let r = self.stem_radius;
            axis_line(c, (stem, y - r - 12.0), (stem, y + r + 34.0), Ink::Main)?;
            axis_line(c, (stem - r - 10.0, y), (stem + r + 10.0, y), Ink::Main)?;
            let boss = self.shaft + boss_half(self.format);
            axis_line(c, (adjuster, boss), (adjuster, y + r + 34.0), Ink::Limit)?;
            self.name(c, &valve.name, stem)?;
            let text = match self.scene.outcome(&Quantity::Offset { bay: self.scene.bay, valve: i }) {
                Outcome::Value(offset) => format!("offset {}", self.scene.lengths.with_unit(offset)),
                Outcome::Range { low, high } => {
                    format!("offset {} to {}", self.scene.lengths.fixed(low), self.scene.lengths.with_unit(high))
                }
                Outcome::CannotAssemble => String::new(),
            };
            let text = self.format.pick(text.clone(), text.trim_start_matches("offset ").to_owned());
            dimension(c, stem, adjuster, y + r + 28.0, &text, Ink::Ink)?;
        }
        Ok(())
    }

    /// A valve's name: left of its stem where there is room for it, under it on a narrow screen.
    fn name(&self, c: &Canvas<'_>, name: &str, stem: f64) -> Result<(), Error> {
        let (y, r) = (self.stems, self.stem_radius);
        let lettering = Lettering::new(Ink::Ink, Lettering::NORMAL);
        if self.format == Format::Narrow {
            let valves = self.scene.pack.bays[self.scene.bay].valves.len().max(1);
            let name = fitted(name, Lettering::NORMAL, self.width / valves as f64 - 16.0);
            let half = lettering.width(&name) / 2.0;
            let at = (stem.clamp(half, (self.width - half).max(half)), y + r + 46.0);
            return c.text(&name, at, lettering.anchored(Anchor::Middle));
        }
        let name = fitted(&format!("valve {name}"), Lettering::NORMAL, 190.0);
        let beside = stem - r - 14.0;
        if beside - lettering.width(&name) > 0.0 {
            c.text(&name, (beside, y - r * 0.72), lettering.anchored(Anchor::End))
        } else {
            c.text(&name, (stem + r + 14.0, y - r * 0.72), lettering)
        }
    }

    /// The stem's end with its chamfer and, where the contact is given, the patch's path over one lift.
    fn stem_end(&self, c: &Canvas<'_>, valve: usize, stem: f64, adjuster: f64) -> Result<(), Error> {
        let y = self.stems;
        let Some(contact) = &self.scene.pack.bays[self.scene.bay].valves[valve].contact else {
            return c.ring((stem, y), self.format.pick(8.0, 5.0), Pen::new(Ink::Main, 1.6));
        };
        let mm = |id| self.scene.value(id);
        let radius = mm(contact.stem_end_diameter) / 2.0;
        let flat = radius - mm(contact.stem_end_chamfer);
        c.ring((stem, y), radius * self.scale, Pen::new(Ink::Main, 1.8))?;
        c.ring((stem, y), flat * self.scale, Pen::new(Ink::Main, 0.9))?;
        let sweep = mm(contact.sweep);
        let margin = self.scene.outcome(&Quantity::EdgeMargin { bay: self.scene.bay, valve }).middle();
        if let (Some(margin), Some(offset)) = (margin, self.scene.offset(valve)) {
            // From the margin's own definition, so that patch and margin cannot disagree.
            let patch = (flat - offset.hypot(sweep) - margin).max(0.0) * self.scale;
            let (top, bottom) = (y - sweep * self.scale, y + sweep * self.scale);
            c.rectangle((adjuster - patch, top), (adjuster + patch, bottom), Ink::Limit)?;
            c.dot((adjuster, top), patch, Ink::Limit)?;
            c.dot((adjuster, bottom), patch, Ink::Limit)?;
        }
        Ok(())
    }

    fn play(&self, c: &Canvas<'_>) -> Result<(), Error> {
        if self.settled.play <= 0.0 {
            return Ok(());
        }
        let right = self.x(self.settled.span);
        let left = self.x(self.settled.span - self.settled.play);
        // Below the bosses, where its text stands free.
        let y = self.shaft + boss_half(self.format) + 20.0;
        c.line((left, self.shaft), (left, y + 5.0), Pen::new(Ink::Limit, 0.8))?;
        dimension(c, left, right, y, &format!("play {}", self.scene.lengths.with_unit(self.settled.play)), Ink::Limit)
    }
}

/// A shim is filled dark, a washer light with an outline, a spacer light and hatched.
pub(super) fn solid(c: &Canvas<'_>, kind: SolidKind, a: (f64, f64), b: (f64, f64)) -> Result<(), Error> {
    match kind {
        SolidKind::Shim => {
            c.rectangle(a, b, Ink::Main)?;
            // A bright edge tells two shims that touch apart, where there is room for one.
            if b.0 - a.0 > 4.0 { c.outline(a, b, Pen::new(Ink::Paper, 0.8)) } else { Ok(()) }
        }
        SolidKind::Washer => {
            c.rectangle(a, b, Ink::Metal)?;
            c.outline(a, b, Pen::new(Ink::Ink, 1.0))
        }
        SolidKind::Spacer => {
            c.rectangle(a, b, Ink::Metal)?;
            c.hatch(a, b, 6.0, true, Pen::new(Ink::Muted, 0.8))?;
            c.outline(a, b, Pen::new(Ink::Ink, 1.0))
        }
    }
}
