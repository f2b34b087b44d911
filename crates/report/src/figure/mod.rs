//! Figures: drawn by plotters as SVG, once for a wide and once for a narrow screen, each with a title, a description and
//! the table of its numbers.

pub mod axis;
pub mod canvas;
pub mod drafting;
pub mod ink;
pub mod labels;

use crate::table::{Table, slug};
use maud::{Markup, PreEscaped, html};

/// Why a report could not be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The drawing backend refused; for an SVG in memory that is a defect of this program.
    #[error("a figure could not be drawn: {0}")]
    Drawing(String),
}

/// What a drawing came to: the inside of an `svg` element.
#[derive(Debug, Clone, PartialEq)]
pub struct Svg {
    /// CSS px.
    pub width: f64,
    /// CSS px.
    pub height: f64,
    /// The elements, in tenths of a px.
    pub body: String,
    /// Points that were not finite and so not drawn.
    pub dropped: usize,
}

/// For which width of screen a figure is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// A page of about 1100 px, and paper.
    Wide,
    /// A telephone, 390 px and less.
    Narrow,
}

impl Format {
    /// One of two values.
    pub fn pick<T>(self, wide: T, narrow: T) -> T {
        match self {
            Self::Wide => wide,
            Self::Narrow => narrow,
        }
    }
}

/// A figure with its text alternatives.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// File name without `.svg`, and the element's id: lower case, hyphens.
    pub id: String,
    /// What it shows, in a few words.
    pub title: String,
    /// What is to be seen in it, in a sentence or two, for who cannot see it.
    pub description: String,
    /// How to read it.
    pub caption: String,
    /// The numbers in it.
    pub table: Table,
    /// For a wide screen and paper.
    pub wide: Svg,
    /// For a narrow screen.
    pub narrow: Svg,
}

impl Figure {
    /// Draws a figure in both formats.
    ///
    /// # Errors
    /// As for [`canvas::draw`].
    pub fn draw(
        id: &str,
        title: impl Into<String>,
        description: impl Into<String>,
        caption: impl Into<String>,
        table: Table,
        mut paint: impl FnMut(Format) -> Result<Svg, Error>,
    ) -> Result<Self, Error> {
        Ok(Self {
            id: slug(id),
            title: title.into(),
            description: description.into(),
            caption: caption.into(),
            table,
            wide: paint(Format::Wide)?,
            narrow: paint(Format::Narrow)?,
        })
    }

    /// The figure as a file of its own: the wide form on its own ground, with the style that makes it follow the reader's
    /// scheme.
    pub fn standalone(&self) -> String {
        let svg = &self.wide;
        let (w, h) = (tenths(svg.width), tenths(svg.height));
        let markup = html! {
            svg xmlns="http://www.w3.org/2000/svg" width=(svg.width.round()) height=(svg.height.round()) viewBox={ "0 0 " (w) " " (h) }
                role="img" aria-labelledby="title description" font-family=(FONTS) {
                title id="title" { (self.title) }
                desc id="description" { (self.description) }
                style { (PreEscaped(ink::style())) }
                // maud writes `rect` as an open and a closed tag: SVG is content with that.
                rect class="f-paper" fill=(ink::Ink::Paper.hex()) width=(w) height=(h) {}
                (PreEscaped(&svg.body))
            }
        };
        format!("{}\n", packdrift_visible::markup(&markup.into_string()))
    }

    /// The figure in a page: heading, how to read it, both forms (the style sheet shows one), the numbers to unfold.
    pub fn html(&self) -> Markup {
        let dropped = self.wide.dropped;
        html! {
            figure id=(self.id) {
                figcaption {
                    h3 { (self.title) }
                    @if !self.caption.is_empty() { p { (self.caption) } }
                }
                (self.inline(Format::Wide))
                (self.inline(Format::Narrow))
                @if dropped > 0 {
                    p.note { (crate::number::counted(dropped, "value")) " without a finite number could not be drawn." }
                }
                details {
                    summary { "The numbers in this figure" }
                    (self.table.html())
                }
            }
        }
    }

    fn inline(&self, format: Format) -> Markup {
        let svg = format.pick(&self.wide, &self.narrow);
        let suffix = format.pick("w", "n");
        let (title, desc) = (format!("{}-{suffix}-title", self.id), format!("{}-{suffix}-desc", self.id));
        html! {
            svg class=(format.pick("wide", "narrow")) viewBox={ "0 0 " (tenths(svg.width)) " " (tenths(svg.height)) }
                width=(svg.width.round()) height=(svg.height.round()) role="img" aria-labelledby=(title) aria-describedby=(desc) {
                title id=(title) { (self.title) }
                desc id=(desc) { (self.description) }
                // A listener has the description and the table; loose numbers from the axes tell nothing.
                g aria-hidden="true" { (PreEscaped(&svg.body)) }
            }
        }
    }
}

/// Gives figures whose names fall together numbers, so that each has an id and a file of its own.
pub fn unique(figures: &mut [&mut Figure]) {
    let mut seen = std::collections::HashSet::new();
    for figure in figures {
        let base = if figure.id.is_empty() { "figure".to_owned() } else { figure.id.clone() };
        let mut id = base.clone();
        let mut n = 1;
        while !seen.insert(id.clone()) {
            n += 1;
            id = format!("{base}-{n}");
        }
        figure.id = id;
    }
}

/// The reader's own fonts.
pub(crate) const FONTS: &str = "system-ui, -apple-system, 'Segoe UI', 'Noto Sans', 'DejaVu Sans', sans-serif";

fn tenths(px: f64) -> u32 {
    (px * 10.0).round() as u32
}
