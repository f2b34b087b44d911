//! The bay drawn to scale: fixed faces, parts, rockers with their adjusters, valve stems, and the thin parts once more,
//! enlarged. One view along the valve stems, since there the contact offset is what it is: the distance between two axes.

mod spring;
mod strip;
mod view;

use crate::Lengths;
use crate::figure::canvas::draw;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::{fixed, plain};
use crate::table::{Cell, Column, Table};
use packdrift_pack::{CannotAssemble, Equilibrium, Outcome, Pack, Part, PartKind, Quantity, SolidKind, SpringLaw};

/// A bay in one condition at one vector of dimension values.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// The pack it belongs to.
    pub pack: &'a Pack,
    /// Index of the bay.
    pub bay: usize,
    /// Index of the condition.
    pub condition: usize,
    /// One value per dimension of the pack.
    pub values: &'a [f64],
    /// The unit that lengths are written in.
    pub lengths: Lengths,
}

impl Scene<'_> {
    fn parts(&self) -> &[Part] {
        &self.pack.bays[self.bay].parts
    }

    /// A dimension's value; NaN where the vector is too short.
    fn value(&self, id: packdrift_pack::DimensionId) -> f64 {
        self.values.get(id.0).copied().unwrap_or(f64::NAN)
    }

    fn outcome(&self, quantity: &Quantity) -> Outcome {
        self.pack.evaluate(quantity, self.condition, self.values)
    }

    /// The offset of a valve, mm; of a loose bay the middle of its range.
    fn offset(&self, valve: usize) -> Option<f64> {
        self.outcome(&Quantity::Offset { bay: self.bay, valve }).middle()
    }

    /// `running, 95 °C`.
    pub fn condition_name(&self) -> String {
        let condition = &self.pack.conditions[self.condition];
        format!("{}, {} °C", condition.name, plain(condition.temperature))
    }
}

/// What a part is, in a word.
pub fn kind_word(part: &Part) -> &'static str {
    match &part.kind {
        PartKind::Solid { kind: SolidKind::Shim, .. } => "shim",
        PartKind::Solid { kind: SolidKind::Washer, .. } => "washer",
        PartKind::Solid { kind: SolidKind::Spacer, .. } => "spacer",
        PartKind::Rocker { .. } => "rocker",
        PartKind::Spring(washer) => match washer.law {
            SpringLaw::Disc { .. } => "spring washer, disc",
            SpringLaw::Wave { .. } => "spring washer, wave",
            SpringLaw::Curved { .. } => "spring washer, curved",
            SpringLaw::Linear { .. } => "spring washer, linear",
            SpringLaw::Table { .. } => "spring washer, measured",
        },
    }
}

/// The parts of a bay with their places along the shaft.
fn parts_table(scene: &Scene<'_>, settled: Option<&Equilibrium>) -> Table {
    let mut table = Table::new(
        "parts",
        "Parts from the left fixed face; the numbers are those in the drawing",
        vec![
            Column::number("item"),
            Column::text("part"),
            Column::text("kind"),
            scene.lengths.column("length"),
            scene.lengths.column("left face at"),
        ],
    );
    for (i, part) in scene.parts().iter().enumerate() {
        let at = |list: fn(&Equilibrium) -> &Vec<f64>| {
            settled.and_then(|e| list(e).get(i).copied()).map_or(Cell::Empty, |v| scene.lengths.cell(v))
        };
        table.push(vec![
            Cell::Count(i as u64 + 1),
            Cell::text(&part.name),
            Cell::text(kind_word(part)),
            at(|e| &e.lengths),
            at(|e| &e.left_faces),
        ]);
    }
    table
}

/// The drawing of a bay.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figure(id: &str, title: &str, scene: &Scene<'_>) -> Result<Figure, Error> {
    let bay = &scene.pack.bays[scene.bay];
    let settled = scene.pack.equilibrium(scene.bay, scene.condition, scene.values);
    let table = parts_table(scene, settled.as_ref().ok());
    let names: Vec<&str> = bay.parts.iter().map(|p| p.name.as_str()).collect();
    let (description, caption) = match &settled {
        Ok(e) => {
            let state = if e.play > 0.0 {
                format!(
                    "The pack is loose with a play of {}, drawn pushed to the left.",
                    scene.lengths.with_unit(e.play)
                )
            } else {
                format!("The spring washers carry {} N.", fixed(e.load, 0))
            };
            (
                format!(
                    "Bay {} seen along the valve stems, {}. From left to right between the fixed faces: {}. {state}",
                    bay.name,
                    scene.condition_name(),
                    names.join(", ")
                ),
                format!(
                    "To scale along the shaft, and the stem ends in full; heights of parts and arms are not. {state} Below, the thin parts \
                     enlarged along the shaft, with their lengths in {}.",
                    scene.lengths.unit()
                ),
            )
        }
        Err(e) => (
            format!("Bay {}: it cannot be assembled with these dimensions.", bay.name),
            format!("Not drawn: {}.", too_long(e, scene.lengths)),
        ),
    };
    Figure::draw(id, title, description, caption, table, |format| match &settled {
        Ok(e) => paint(scene, e, format),
        Err(e) => message(&too_long(e, scene.lengths), format),
    })
}

fn paint(scene: &Scene<'_>, settled: &Equilibrium, format: Format) -> Result<Svg, Error> {
    let view = view::View::new(scene, settled, format);
    let strip = strip::Strip::new(scene, settled, &view, format);
    draw(view.width, view.height + strip.height, |c| {
        view.paint(c)?;
        strip.paint(c, view.height)
    })
}

/// By how much, to a micrometre.
fn too_long(e: &CannotAssemble, lengths: Lengths) -> String {
    format!(
        "the parts are {} longer than the span, and the spring washers can take {} of that before they are flat",
        lengths.with_unit(e.interference),
        lengths.with_unit(e.room)
    )
}

fn message(text: &str, format: Format) -> Result<Svg, Error> {
    use crate::figure::canvas::Lettering;
    use crate::figure::ink::Ink;
    let width = format.pick(view::WIDE, 340.0);
    let lettering = Lettering::new(Ink::Limit, Lettering::NORMAL);
    let columns = (width / (Lettering::NORMAL * 0.58)) as usize;
    let lines = crate::text::wrapped(text, columns, 0);
    draw(width, 24.0 + 20.0 * lines.lines().count() as f64, |c| {
        for (i, line) in lines.lines().enumerate() {
            c.text(line, (8.0, 22.0 + 20.0 * i as f64), lettering)?;
        }
        Ok(())
    })
}
