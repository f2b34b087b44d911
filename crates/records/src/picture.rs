//! A mistake as a person reads it in a terminal: place, what was found, the line itself with a caret, what to do.

use crate::error::{Fault, Place};
use miette::{GraphicalReportHandler, GraphicalTheme};
use std::fmt;

/// How to draw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    /// Colours, where the terminal shows them and `NO_COLOR` is not set.
    pub colour: bool,
    /// Columns of the terminal.
    pub width: usize,
}

impl Fault {
    /// The mistake with its line and a caret where the text is at hand, else in one line and its advice in another.
    pub fn picture(&self, style: Style) -> String {
        let theme = if style.colour { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
        let handler = GraphicalReportHandler::new_themed(theme)
            .with_width(style.width.clamp(60, 160))
            .with_context_lines(0)
            .with_links(false);
        let mut picture = String::new();
        match handler.render_report(&mut picture, &Shown(self)) {
            Ok(()) => picture.trim_start_matches('\n').to_owned(),
            // The drawing failed, the words still stand.
            Err(_) => format!("{self}\n"),
        }
    }
}

/// The part of a fault that the drawing takes.
#[derive(Debug)]
struct Shown<'a>(&'a Fault);

impl fmt::Display for Shown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.0.location(), self.0.message())
    }
}

impl std::error::Error for Shown<'_> {}

impl miette::Diagnostic for Shown<'_> {
    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.0.help.as_ref().map(|help| Box::new(help) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn miette::SourceCode> {
        self.0.text.as_ref().map(|text| text as &dyn miette::SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = miette::LabeledSpan> + '_>> {
        let Place::Text { span: Some(span), .. } = &self.0.place else { return None };
        self.0.text.as_ref()?;
        Some(Box::new(std::iter::once(miette::LabeledSpan::new(None, span.start, span.len()))))
    }
}
