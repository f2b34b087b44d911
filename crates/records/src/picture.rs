//! A mistake as a person reads it in a terminal: place, what was found, the line itself with a caret, what to do.

use crate::error::{Fault, Place};
use miette::{
    GraphicalReportHandler, GraphicalTheme, MietteError, MietteSpanContents, SourceCode, SourceSpan, SpanContents,
};
use packdrift_visible as visible;
use std::fmt;

impl Fault {
    /// The mistake in one line, the line of the file with a caret where the text is at hand, and what to do in a last line.
    /// With colours or without.
    pub fn picture(&self, colour: bool) -> String {
        let theme = if colour { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
        // The first line stays one line, so that other programs can take it apart.
        let handler = GraphicalReportHandler::new_themed(theme).with_wrap_lines(false).with_links(false);
        let mut picture = String::new();
        match handler.render_report(&mut picture, &Shown { fault: self, lines: Lines::of(self) }) {
            Ok(()) => picture.trim_start_matches('\n').to_owned(),
            // The drawing failed, the words still stand.
            Err(_) => format!("{self}\n"),
        }
    }
}

/// The part of a fault that the drawing takes.
#[derive(Debug)]
struct Shown<'a> {
    fault: &'a Fault,
    lines: Option<Lines>,
}

impl fmt::Display for Shown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.fault.location(), self.fault.message())
    }
}

impl std::error::Error for Shown<'_> {}

impl miette::Diagnostic for Shown<'_> {
    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.fault.help.as_ref().map(|help| Box::new(visible::line(help)) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.lines.as_ref().map(|lines| lines as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = miette::LabeledSpan> + '_>> {
        let lines = self.lines.as_ref()?;
        let label = miette::LabeledSpan::new_with_span(None, lines.span);
        Some(Box::new(std::iter::once(label)))
    }
}

/// The whole lines that a span touches, as they may be shown.
#[derive(Debug)]
struct Lines {
    text: String,
    span: SourceSpan,
    line: usize,
}

impl Lines {
    fn of(fault: &Fault) -> Option<Self> {
        let Place::Text { span: Some(span), line, .. } = &fault.place else { return None };
        let text = fault.text.as_deref()?;
        let start = text.get(..span.start)?.rfind('\n').map_or(0, |newline| newline + 1);
        let end = text.get(span.end..)?.find('\n').map_or(text.len(), |newline| span.end + newline);
        // Where something is written out the place of the rest moves.
        let [before, within, after] =
            [start..span.start, span.start..span.end, span.end..end].map(|part| text.get(part).map(shown_line));
        let (before, within, after) = (before?, within?, after?);
        let span = (before.len(), within.len()).into();
        Some(Self { text: [before, within, after].concat(), span, line: line.saturating_sub(1) })
    }
}

/// A part of a text of several lines; tabs stay, since the drawing knows them.
fn shown_line(part: &str) -> String {
    visible::markup(part.strip_suffix('\r').unwrap_or(part)).into_owned()
}

impl SourceCode for Lines {
    fn read_span<'a>(
        &'a self,
        _span: &SourceSpan,
        _lines_before: usize,
        _lines_after: usize,
    ) -> Result<Box<dyn SpanContents<'a> + 'a>, MietteError> {
        let count = 1 + self.text.matches('\n').count();
        let all = SourceSpan::from((0, self.text.len()));
        Ok(Box::new(MietteSpanContents::new(self.text.as_bytes(), all, self.line, 0, count)))
    }
}
