//! Spring washers drawn by their law: a disc as its cut section, a wave and a curved washer as their edge, the others as
//! the zigzag that stands for any spring (ISO 2162-1).

use super::Scene;
use crate::figure::Error;
use crate::figure::canvas::{Canvas, Pen};
use crate::figure::ink::Ink;
use packdrift_pack::{SpringLaw, SpringWasher};

/// Where a washer is drawn: from `left` to `right` along the shaft, `half` px above and below the shaft's axis at `middle`,
/// its bore `bore` px from the axis; `scale` px a mm along the shaft.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) middle: f64,
    pub(super) half: f64,
    pub(super) bore: f64,
    pub(super) scale: f64,
}

pub(super) fn paint(c: &Canvas<'_>, scene: &Scene<'_>, washer: &SpringWasher, p: Place) -> Result<(), Error> {
    match &washer.law {
        SpringLaw::Disc { thickness, .. } => disc(c, p, scene.value(*thickness) * p.scale),
        SpringLaw::Wave { thickness, waves, .. } => {
            // Seen edge on, a half turn lies in front: half the waves.
            edge(c, p, scene.value(*thickness) * p.scale, f64::from(*waves) / 2.0)
        }
        SpringLaw::Curved { thickness, .. } => edge(c, p, scene.value(*thickness) * p.scale, 0.5),
        SpringLaw::Linear { .. } | SpringLaw::Table { .. } => zigzag(c, p),
    }
}

/// Both halves of the section: bars that lean from the bore on one side to the rim on the other.
fn disc(c: &Canvas<'_>, p: Place, thickness: f64) -> Result<(), Error> {
    let t = thickness.clamp(1.0, (p.right - p.left).max(1.0));
    for up in [-1.0, 1.0] {
        let (inner, outer) = (p.middle + up * p.bore, p.middle + up * p.half);
        let bar = [(p.left, inner), (p.left + t, inner), (p.right, outer), (p.right - t, outer)];
        c.polygon(&bar, Ink::SecondWash)?;
        c.polyline(&[bar[0], bar[1], bar[2], bar[3], bar[0]], Pen::new(Ink::Second, 1.4))?;
    }
    Ok(())
}

/// A strip of `thickness` px that goes from side to side `periods` times over its height.
fn edge(c: &Canvas<'_>, p: Place, thickness: f64, periods: f64) -> Result<(), Error> {
    let t = thickness.clamp(1.0, (p.right - p.left).max(1.0));
    let (centre, swing) = ((p.left + p.right) / 2.0, ((p.right - p.left - t) / 2.0).max(0.0));
    let line: Vec<(f64, f64)> = (0..=80)
        .map(|i| {
            let u = f64::from(i) / 80.0;
            let phase = std::f64::consts::TAU * periods * (u - 0.5);
            (centre - swing * phase.cos(), p.middle - p.half + 2.0 * p.half * u)
        })
        .collect();
    c.polyline(&line, Pen::new(Ink::Second, t + 1.4))?;
    c.polyline(&line, Pen::new(Ink::SecondWash, (t - 1.4).max(0.2)))
}

fn zigzag(c: &Canvas<'_>, p: Place) -> Result<(), Error> {
    let pen = Pen::new(Ink::Second, 1.4);
    for up in [-1.0, 1.0] {
        let turns = 6;
        let line: Vec<(f64, f64)> = (0..=turns)
            .map(|i| {
                let x = if i % 2 == 0 { p.left + 0.7 } else { p.right - 0.7 };
                (x, p.middle + up * (p.bore + (p.half - p.bore) * f64::from(i) / f64::from(turns)))
            })
            .collect();
        c.polyline(&line, pen)?;
    }
    Ok(())
}
