//! The advised build as a picture: the parts of the bay in order, before and after, with what goes out, comes in or changes its place marked by a word
//! and a shape. Not to scale: a shim that is to be found by eye is drawn as wide as it needs.

use crate::Lengths;
use crate::figure::canvas::{Anchor, Canvas, Lettering, Pen, draw, fitted};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::table::{Cell, Column, Table};
use packdrift_pack::{PartKind, SolidKind};
use packdrift_stock::{Assembled, Bench, Build, Origin};

/// The figure's id.
pub(super) const ID: &str = "build";

/// What becomes of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mark {
    Stays,
    Out,
    In,
    Moves,
}

impl Mark {
    fn word(self) -> &'static str {
        match self {
            Self::Stays => "",
            Self::Out => "OUT",
            Self::In => "IN",
            Self::Moves => "MOVES",
        }
    }

    fn ink(self) -> Ink {
        match self {
            Self::Stays => Ink::Muted,
            Self::Out => Ink::Limit,
            Self::In => Ink::Main,
            Self::Moves => Ink::Second,
        }
    }
}

/// A part in its row.
struct Shown {
    name: String,
    kind: PartKind,
    /// mm; None for rockers and spring washers, which nobody changes.
    thickness: Option<f64>,
    mark: Mark,
}

struct Picture {
    before: Vec<Shown>,
    after: Vec<Shown>,
    lengths: Lengths,
}

impl Picture {
    fn new(bench: &Bench, build: &Build, lengths: Lengths) -> Self {
        let out: Vec<&str> = build.taken_out.iter().map(|out| out.name.as_str()).collect();
        // Of what lies in the places, in order from the left, what comes from where.
        let placed: Vec<(&Origin, &str)> = build
            .places
            .iter()
            .flat_map(|place| &place.pieces)
            .map(|piece| (&piece.origin, piece.name.as_str()))
            .collect();
        let moves: Vec<&str> =
            placed.iter().filter(|(origin, _)| matches!(origin, Origin::Moved { .. })).map(|(_, name)| *name).collect();
        let before = row(&bench.assembled(), |_, name| match () {
            () if out.contains(&name) => (Mark::Out, name.to_owned()),
            () if moves.contains(&name) => (Mark::Moves, name.to_owned()),
            () => (Mark::Stays, name.to_owned()),
        });
        let after = row(&bench.assembled_with(build), |k, name| match placed.get(k) {
            Some((Origin::Stays, _)) | None => (Mark::Stays, name.to_owned()),
            Some((Origin::Moved { .. }, name)) => (Mark::Moves, (*name).to_owned()),
            Some((_, name)) => (Mark::In, (*name).to_owned()),
        });
        Self { before, after, lengths }
    }

    fn rows(&self) -> [(&'static str, &[Shown]); 2] {
        [("before", &self.before), ("after", &self.after)]
    }

    fn thickness(&self, part: &Shown) -> String {
        part.thickness.map_or_else(String::new, |mm| self.lengths.fine(mm))
    }
}

/// The parts of a bay; `mark` is asked for every shim and washer, counted from the left.
fn row(bay: &Assembled, mark: impl Fn(usize, &str) -> (Mark, String)) -> Vec<Shown> {
    let mut pieces = 0;
    let parts = &bay.pack.bays[bay.bay].parts;
    parts
        .iter()
        .map(|part| {
            let thickness = match &part.kind {
                PartKind::Solid { kind: SolidKind::Shim | SolidKind::Washer, thickness, .. } => {
                    Some(bay.values[thickness.0])
                }
                _ => None,
            };
            let (mark, name) = match thickness {
                Some(_) => {
                    pieces += 1;
                    mark(pieces - 1, &part.name)
                }
                None => (Mark::Stays, part.name.clone()),
            };
            Shown { name, kind: part.kind.clone(), thickness, mark }
        })
        .collect()
}

/// The picture of a build.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub(super) fn figure(bench: &Bench, build: &Build, lengths: Lengths) -> Result<Figure, Error> {
    let picture = Picture::new(bench, build, lengths);
    let named = |mark: Mark| -> String {
        let rows = picture.before.iter().chain(picture.after.iter().filter(|part| part.mark == Mark::In));
        let names: Vec<&str> = rows.filter(|part| part.mark == mark).map(|part| part.name.as_str()).collect();
        if names.is_empty() { "nothing".to_owned() } else { names.join(", ") }
    };
    let description = format!(
        "The parts of bay {} in order from the left face. Goes out: {}. Comes in: {}. Changes its place: {}.",
        bench.bay(),
        named(Mark::Out),
        named(Mark::In),
        named(Mark::Moves)
    );
    Figure::draw(
        ID,
        "What goes out and what comes in",
        description,
        "From the left face to the right one. Crossed out: goes out. Framed twice: comes in, or changes its place. Not to scale.",
        table(&picture),
        |format| match format {
            Format::Wide => across(&picture),
            Format::Narrow => down(&picture),
        },
    )
}

fn table(picture: &Picture) -> Table {
    let heads = vec![
        Column::text("when"),
        Column::number("place from the left"),
        Column::text("part"),
        picture.lengths.column("thickness"),
        Column::text("what becomes of it"),
    ];
    let mut table = Table::new("build-parts", "Parts from the left face, before and after", heads);
    for (when, parts) in picture.rows() {
        for (k, part) in parts.iter().enumerate() {
            table.push(vec![
                Cell::text(when),
                Cell::Count(k as u64 + 1),
                Cell::text(part.name.as_str()),
                picture.lengths.cell_or_empty(part.thickness),
                Cell::text(match part.mark {
                    Mark::Stays => "stays",
                    Mark::Out => "goes out",
                    Mark::In => "comes in",
                    Mark::Moves => "changes its place",
                }),
            ]);
        }
    }
    table
}

/// Half height of a part's box, px, by its kind.
fn half(kind: &PartKind) -> f64 {
    match kind {
        PartKind::Rocker { .. } => 27.0,
        PartKind::Spring(_) => 24.0,
        PartKind::Solid { .. } => 20.0,
    }
}

/// The box of a part, with its mark.
fn part(c: &Canvas<'_>, part: &Shown, a: (f64, f64), b: (f64, f64)) -> Result<(), Error> {
    let fill = match &part.kind {
        PartKind::Rocker { .. } => Ink::Casting,
        PartKind::Spring(_) => Ink::Paper,
        PartKind::Solid { kind: SolidKind::Shim, .. } => Ink::MainWash,
        PartKind::Solid { .. } => Ink::Metal,
    };
    c.rectangle(a, b, fill)?;
    c.outline(a, b, Pen::new(Ink::Ink, 1.0))?;
    let pen = Pen::new(part.mark.ink(), 2.2);
    match part.mark {
        Mark::Stays => {
            if matches!(part.kind, PartKind::Spring(_)) {
                // A disc's cut section, in a stroke.
                return c.line((a.0, b.1), (b.0, a.1), Pen::new(Ink::Ink, 1.2));
            }
            Ok(())
        }
        Mark::Out => {
            c.line(a, b, pen)?;
            c.line((a.0, b.1), (b.0, a.1), pen)
        }
        Mark::In | Mark::Moves => c.outline((a.0 - 3.0, a.1 - 3.0), (b.0 + 3.0, b.1 + 3.0), pen),
    }
}

const WIDTH: f64 = 960.0;
/// From the top of one row to that of the next, px.
const ROW: f64 = 132.0;
/// Left of the rows: their names.
const HEADS: f64 = 58.0;

/// Two rows along the shaft, for a wide screen and for paper.
fn across(picture: &Picture) -> Result<Svg, Error> {
    draw(WIDTH, 2.0 * ROW, |c| {
        for (k, (when, parts)) in picture.rows().into_iter().enumerate() {
            let (top, middle) = (ROW * k as f64, ROW * k as f64 + 50.0);
            let (first, last) = (HEADS + 12.0, WIDTH - 14.0);
            c.text(when, (0.0, middle), Lettering::new(Ink::Ink, Lettering::NORMAL).bold())?;
            crate::figure::drafting::ground(c, first, first - 10.0, top + 20.0, top + 80.0)?;
            crate::figure::drafting::ground(c, last, last + 10.0, top + 20.0, top + 80.0)?;
            let slot = (last - first) / parts.len().max(1) as f64;
            for (i, shown) in parts.iter().enumerate() {
                let centre = first + slot * (i as f64 + 0.5);
                let wide = match &shown.kind {
                    PartKind::Rocker { .. } => 0.8 * slot,
                    _ => (0.36 * slot).min(26.0),
                };
                let half = half(&shown.kind);
                part(c, shown, (centre - 0.5 * wide, middle - half), (centre + 0.5 * wide, middle + half))?;
                label(c, picture, shown, (centre, top), slot)?;
            }
        }
        Ok(())
    })
}

/// The mark over a part, its name in two lines and its thickness under it.
fn label(c: &Canvas<'_>, picture: &Picture, shown: &Shown, (x, top): (f64, f64), slot: f64) -> Result<(), Error> {
    let small = Lettering::new(Ink::Ink, Lettering::SMALL).anchored(Anchor::Middle);
    let mark = Lettering::new(shown.mark.ink(), Lettering::SMALL).bold().anchored(Anchor::Middle);
    c.text(shown.mark.word(), (x, top + 10.0), mark)?;
    let (first, second) = two_lines(&shown.name, slot - 6.0);
    c.text(&first, (x, top + 92.0), small)?;
    c.text(&second, (x, top + 105.0), small)?;
    c.text(&picture.thickness(shown), (x, top + 119.0), small.bold())
}

/// A name in one line or two, cut where it must be.
fn two_lines(name: &str, width: f64) -> (String, String) {
    let lettering = Lettering::new(Ink::Ink, Lettering::SMALL);
    if lettering.width(name) <= width {
        return (name.to_owned(), String::new());
    }
    let mut breaks = name.match_indices(' ').map(|(at, _)| at).filter(|&at| lettering.width(&name[..at]) <= width);
    match breaks.next_back() {
        Some(at) => (name[..at].to_owned(), fitted(&name[at + 1..], Lettering::SMALL, width)),
        None => (fitted(name, Lettering::SMALL, width), String::new()),
    }
}

const NARROW: f64 = 340.0;
const LINE: f64 = 30.0;

/// Two columns, from the left face downwards, for a telephone.
fn down(picture: &Picture) -> Result<Svg, Error> {
    let most = picture.before.len().max(picture.after.len()) as f64;
    draw(NARROW, 62.0 + LINE * most, |c| {
        let small = Lettering::new(Ink::Ink, Lettering::SMALL);
        for (k, (when, parts)) in picture.rows().into_iter().enumerate() {
            let left = 172.0 * k as f64;
            c.text(when, (left, 10.0), Lettering::new(Ink::Ink, Lettering::NORMAL).bold())?;
            c.text("left face", (left, 30.0), Lettering::new(Ink::Muted, Lettering::SMALL))?;
            for (i, shown) in parts.iter().enumerate() {
                let y = 52.0 + LINE * i as f64;
                let (wide, high) = match &shown.kind {
                    PartKind::Rocker { .. } => (24.0, 11.0),
                    PartKind::Spring(_) => (24.0, 7.0),
                    PartKind::Solid { .. } => (20.0, 5.0),
                };
                part(c, shown, (left + 14.0 - 0.5 * wide, y - high), (left + 14.0 + 0.5 * wide, y + high))?;
                let text = left + 34.0;
                c.text(&fitted(&shown.name, Lettering::SMALL, 128.0), (text, y - 6.0), small)?;
                let thickness = picture.thickness(shown);
                c.text(&thickness, (text, y + 7.0), small.bold())?;
                let mark = Lettering::new(shown.mark.ink(), Lettering::SMALL).bold();
                c.text(shown.mark.word(), (text + 50.0, y + 7.0), mark)?;
            }
            let end = 52.0 + LINE * parts.len() as f64;
            c.text("right face", (left, end - 6.0), Lettering::new(Ink::Muted, Lettering::SMALL))?;
        }
        Ok(())
    })
}
