//! A typed table that becomes aligned text, HTML, or CSV rows. What is shown is rounded; the CSV carries numbers in full.

use crate::number;
use maud::{Markup, html};
use std::borrow::Cow;

/// On which side of its column a cell stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// How good a finding is. Shown by a word and a shape, never by colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Standing {
    /// Nothing to do.
    Good,
    /// Keep an eye on it.
    Attend,
    /// Something must be done.
    Act,
}

impl Standing {
    /// The shape that goes with the word: an open circle, a half-filled diamond, a filled triangle.
    pub fn shape(self) -> &'static str {
        match self {
            Self::Good => "○",
            Self::Attend => "◆",
            Self::Act => "▲",
        }
    }

    /// The class of the style sheet.
    pub(crate) fn class(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Attend => "attend",
            Self::Act => "act",
        }
    }
}

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A word or a name.
    Text(String),
    /// A number as measured or computed, and as shown. The CSV carries the value, people read the text.
    Number {
        /// In full.
        value: f64,
        /// Rounded.
        shown: String,
    },
    /// A count.
    Count(u64),
    /// A verdict: its word and how good it is.
    Verdict {
        /// The word.
        word: String,
        /// Its weight.
        standing: Standing,
    },
    /// No value: an empty CSV field, a dash for the eye.
    Empty,
}

impl Cell {
    /// A word or a name.
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text(text.into())
    }

    /// A number shown with a fixed number of decimal places; empty where it is not finite.
    pub fn fixed(value: f64, decimals: i32) -> Self {
        Self::shown_as(value, number::fixed(value, decimals))
    }

    /// A number rounded to its uncertainty; empty where it is not finite.
    pub fn rounded(value: f64, uncertainty: f64) -> Self {
        Self::shown_as(value, number::to_uncertainty(value, uncertainty))
    }

    /// A number with so many significant digits; empty where it is not finite.
    pub fn significant(value: f64, digits: u8) -> Self {
        Self::shown_as(value, number::significant(value, digits))
    }

    /// A number with its own digits; empty where it is not finite.
    pub fn plain(value: f64) -> Self {
        Self::shown_as(value, number::plain(value))
    }

    /// As [`Cell::plain`]; empty where there is none.
    pub fn plain_or_empty(value: Option<f64>) -> Self {
        value.map_or(Self::Empty, Self::plain)
    }

    /// A share in percent; the CSV carries the share itself (0 to 1).
    pub fn share(share: f64) -> Self {
        Self::shown_as(share, number::percent(share))
    }

    /// A share estimated from a sample, to two digits; the CSV carries it in full.
    pub fn estimated_share(share: f64) -> Self {
        Self::shown_as(share, number::estimated_share(share))
    }

    /// A forecast's chance to a tenth of a percent; the CSV carries it in full.
    pub fn chance(chance: f64) -> Self {
        Self::shown_as(chance, number::chance(chance))
    }

    /// A number and the text that stands for it; empty where the number is not finite.
    pub fn shown_as(value: f64, shown: impl Into<String>) -> Self {
        if value.is_finite() { Self::Number { value, shown: shown.into() } } else { Self::Empty }
    }

    /// A verdict.
    pub fn verdict(word: impl Into<String>, standing: Standing) -> Self {
        Self::Verdict { word: word.into(), standing }
    }

    /// As people read it.
    pub fn shown(&self) -> String {
        match self {
            Self::Text(text) => text.clone(),
            Self::Number { shown, .. } => shown.clone(),
            Self::Count(n) => number::count(*n),
            Self::Verdict { word, .. } => word.clone(),
            Self::Empty => number::NO_VALUE.to_owned(),
        }
    }

    /// As the CSV carries it: numbers in full (the shortest decimal that reads back to the same f64).
    pub fn record(&self) -> String {
        match self {
            Self::Text(text) => text.clone(),
            Self::Number { value, .. } => format!("{value}"),
            Self::Count(n) => n.to_string(),
            Self::Verdict { word, .. } => word.clone(),
            Self::Empty => String::new(),
        }
    }

    /// What a table in a page sorts and filters by, where it is not what is shown.
    pub(crate) fn sorted_by(&self) -> Option<String> {
        match self {
            Self::Number { value, shown } => {
                let short: f64 = format!("{value:.4e}").parse().unwrap_or(*value);
                // A chance of 1e-16 takes fewer characters so than with all its noughts.
                let plain = short.to_string();
                let short = format!("{short:e}");
                let short = if short.len() < plain.len() { short } else { plain };
                (short != *shown).then_some(short)
            }
            // Counts may have their thousands apart.
            Self::Count(n) if *n >= 1000 => Some(n.to_string()),
            Self::Empty => Some(String::new()),
            _ => None,
        }
    }

    /// Short texts stay on one line; a narrow screen scrolls. Dates and the like do so on paper too.
    pub(crate) fn class(&self, column: &Column) -> Option<&'static str> {
        const SHORT: usize = 26;
        match column.align {
            Align::Right => Some("number"),
            Align::Left if is_figure(&self.shown()) => Some("whole"),
            Align::Left => (self.shown().chars().count() > SHORT).then_some("long"),
        }
    }

    pub(crate) fn html(&self) -> Markup {
        html! {
            @match self {
                Self::Verdict { word, standing } => {
                    b class=(standing.class()) { i aria-hidden="true" { (standing.shape()) } " " (word) }
                }
                other => { (whole(&other.shown())) }
            }
        }
    }
}

/// Whether a text is a date, a range or a number with its unit, which stays on one line of a screen.
fn is_figure(text: &str) -> bool {
    let letters = text.chars().filter(|c| c.is_alphabetic()).count();
    text.chars().any(|c| c.is_ascii_digit()) && letters <= 6 && text.chars().count() <= 24
}

/// With spaces that no line breaks at, where a break would part a number from its error, its range or its unit.
fn unbroken(text: &str) -> String {
    let mut out = text.to_owned();
    for joint in [" ± ", " … ", " %", " mm"] {
        if out.contains(joint) {
            out = out.replace(joint, &joint.replace(' ', "\u{a0}"));
        }
    }
    out
}

/// A text in which no line breaks within a number with its unit, a range or a date.
pub(crate) fn whole(text: &str) -> Markup {
    with_whole_dates(&unbroken(text))
}

/// A text whose dates no line breaks in: a browser breaks at a hyphen. A cell that is a date and nothing else is kept whole by its class.
fn with_whole_dates(text: &str) -> Markup {
    let is_date = |at: usize| {
        let form = b"dddd-dd-dd";
        text.as_bytes().get(at..at + form.len()).is_some_and(|bytes| {
            bytes.iter().zip(form).all(|(b, f)| if *f == b'd' { b.is_ascii_digit() } else { b == f })
        })
    };
    let Some(at) = (0..text.len()).find(|at| is_date(*at)).filter(|_| !is_figure(text)) else {
        return html! { (text) };
    };
    let (before, date, after) = (&text[..at], &text[at..at + 10], &text[at + 10..]);
    html! { (before) span.date { (date) } (with_whole_dates(after)) }
}

/// One column.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// For the eye, without unit.
    pub head: String,
    /// For the CSV: lower case, words joined by underscores, the unit at its end.
    pub key: String,
    /// Of its numbers.
    pub unit: Option<String>,
    /// Words left, numbers right.
    pub align: Align,
}

impl Column {
    /// A column of words.
    pub fn text(head: &str) -> Self {
        Self { head: head.to_owned(), key: key_of(head), unit: None, align: Align::Left }
    }

    /// A column of numbers.
    pub fn number(head: &str) -> Self {
        Self { align: Align::Right, ..Self::text(head) }
    }

    /// The unit its numbers are in; it joins the CSV key too.
    #[must_use]
    pub fn unit(mut self, unit: &str) -> Self {
        if !unit.is_empty() && unit != "1" {
            self.key = format!("{}_{}", self.key, key_of(unit));
            self.unit = Some(unit.to_owned());
        }
        self
    }

    /// Another name in the CSV.
    #[must_use]
    pub fn key(mut self, key: &str) -> Self {
        key.clone_into(&mut self.key);
        self
    }

    /// The class of its head.
    pub(crate) fn class(&self) -> Option<&'static str> {
        (self.align == Align::Right).then_some("number")
    }

    /// `thickness, mm`.
    pub fn head_with_unit(&self) -> String {
        match &self.unit {
            Some(unit) => format!("{}, {unit}", self.head),
            None => self.head.clone(),
        }
    }
}

/// A table with a name (the CSV's file name) and a caption.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// The CSV's file name without `.csv`: lower case, hyphens.
    pub name: String,
    /// What it shows, in a sentence.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, each with one cell a column.
    pub rows: Vec<Vec<Cell>>,
    /// Whether another command reads it: its sheet in a workbook then begins with the CSV's header, without a caption above.
    pub read_back: bool,
}

impl Table {
    /// An empty table.
    pub fn new(name: &str, caption: &str, columns: Vec<Column>) -> Self {
        Self { name: slug(name), caption: caption.to_owned(), columns, rows: Vec::new(), read_back: false }
    }

    /// Another command reads it; see [`Table::read_back`].
    #[must_use]
    pub fn to_be_read(mut self) -> Self {
        self.read_back = true;
        self
    }

    /// Adds a row; a short one is filled with empty cells and a long one cut, so that every row fits the heads.
    pub fn push(&mut self, mut row: Vec<Cell>) {
        debug_assert_eq!(row.len(), self.columns.len(), "row of table {}", self.name);
        row.resize(self.columns.len(), Cell::Empty);
        self.rows.push(row);
    }

    /// The same with these columns alone, by their keys, in this order: what fits a page, while the file has all.
    #[must_use]
    pub fn with_columns(&self, keys: &[&str]) -> Self {
        let places: Vec<usize> =
            keys.iter().filter_map(|key| self.columns.iter().position(|c| c.key == *key)).collect();
        Self {
            columns: places.iter().map(|&k| self.columns[k].clone()).collect(),
            rows: self.rows.iter().map(|row| places.iter().map(|&k| row[k].clone()).collect()).collect(),
            ..self.clone()
        }
    }

    /// The same without these columns.
    #[must_use]
    pub fn without_columns(&self, keys: &[&str]) -> Self {
        let kept: Vec<&str> = self.columns.iter().map(|c| c.key.as_str()).filter(|key| !keys.contains(key)).collect();
        self.with_columns(&kept)
    }

    /// The CSV's header.
    pub fn keys(&self) -> Vec<String> {
        self.columns.iter().map(|c| c.key.clone()).collect()
    }

    /// The CSV's rows, without the header.
    pub fn records(&self) -> Vec<Vec<String>> {
        self.rows.iter().map(|row| row.iter().map(Cell::record).collect()).collect()
    }

    /// The table as CSV (RFC 4180, but with line feeds alone): header first. No text in it is a formula to a spreadsheet.
    pub fn csv(&self) -> String {
        let mut out = String::new();
        for row in std::iter::once(self.keys()).chain(self.records()) {
            let fields: Vec<String> = row.iter().map(|field| quoted(&unarmed(field))).collect();
            out.push_str(&fields.join(","));
            out.push('\n');
        }
        out
    }

    /// As aligned text; see [`crate::text::columns`].
    pub fn text(&self, indent: usize) -> String {
        crate::text::columns(self, indent)
    }

    /// The column whose cells name the rows: the valve where there is one, else the first that is not a verdict.
    pub(crate) fn head_column(&self) -> usize {
        let valve = self.columns.iter().position(|c| c.key == "valve");
        let is_verdict = |k: usize| self.rows.iter().any(|row| matches!(row[k], Cell::Verdict { .. }));
        valve.or_else(|| (0..self.columns.len()).find(|&k| !is_verdict(k))).unwrap_or(0)
    }

    /// As HTML, with its caption. On a narrow screen it scrolls inside its own box, so that the page does not.
    pub fn html(&self) -> Markup {
        let head = self.head_column();
        html! {
            div.table tabindex="0" role="group" aria-label=(self.caption) {
                table {
                    caption { span { (self.caption) } }
                    thead { tr { @for column in &self.columns {
                        th scope="col" class=[column.class()] { (column.head_with_unit()) }
                    } } }
                    tbody { @for row in &self.rows {
                        tr { @for (i, (cell, column)) in row.iter().zip(&self.columns).enumerate() {
                            @if i == head { th scope="row" class=[cell.class(column)] { (cell.html()) } }
                            @else { td class=[cell.class(column)] { (cell.html()) } }
                        } }
                    } }
                }
            }
        }
    }
}

/// Bytes of a slug at most: with a number and an extension it stays within the 255 bytes that file systems allow a name.
const LONGEST_SLUG: usize = 120;

/// Lower case letters and digits of any script with hyphens between: fit for a file name and an element's id whatever the text was. A long
/// text is cut, and told from others that begin alike by a checksum at its end. Two different texts may give one slug all the same; where
/// that matters a number is put in front or behind.
pub fn slug(text: &str) -> String {
    let whole = joined(text, '-', char::is_alphanumeric);
    if whole.len() <= LONGEST_SLUG {
        return whole;
    }
    let sum = format!("-{:08x}", checksum(text));
    let most = LONGEST_SLUG - sum.len();
    let end = (0..=most).rev().find(|&at| whole.is_char_boundary(at)).unwrap_or(0);
    format!("{}{sum}", whole[..end].trim_end_matches('-'))
}

/// FNV-1a in 32 bits: tells names apart, guards nothing.
fn checksum(text: &str) -> u32 {
    text.bytes().fold(0x811c_9dc5, |sum, byte| (sum ^ u32::from(byte)).wrapping_mul(0x0100_0193))
}

fn key_of(text: &str) -> String {
    joined(&text.replace('%', "percent"), '_', |c| c.is_ascii_alphanumeric())
}

fn joined(text: &str, glue: char, stays: impl Fn(char) -> bool) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if stays(c) {
            out.extend(c.to_lowercase());
        } else if !out.is_empty() && !out.ends_with(glue) {
            out.push(glue);
        }
    }
    out.trim_end_matches(glue).to_owned()
}

/// A text cell that a spreadsheet would take for a formula, with the apostrophe that makes it text there (what the table's readers of this
/// program take off again). A number is no formula, whatever its sign.
fn unarmed(field: &str) -> Cow<'_, str> {
    let is_formula = field.starts_with(['=', '+', '-', '@', '\t', '\r', '＝', '＋', '－', '＠']);
    if is_formula && field.parse::<f64>().is_err() { Cow::Owned(format!("'{field}")) } else { Cow::Borrowed(field) }
}

fn quoted(field: &str) -> String {
    if field.contains([',', '"', '\n', '\r']) || field.starts_with(' ') || field.ends_with(' ') {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> Table {
        let mut table =
            Table::new("Parts of the bay", "Parts", vec![Column::text("part"), Column::number("thickness").unit("mm")]);
        table.push(vec![Cell::text("shim, \"left\""), Cell::fixed(0.1 + 0.2, 2)]);
        table.push(vec![Cell::text("<script>"), Cell::fixed(f64::NAN, 2)]);
        table
    }

    #[test]
    fn csv_carries_numbers_in_full_and_quotes_names() {
        assert_eq!(sample().csv(), "part,thickness_mm\n\"shim, \"\"left\"\"\",0.30000000000000004\n<script>,\n");
        assert_eq!(sample().name, "parts-of-the-bay");
    }

    #[test]
    fn no_name_is_a_formula_in_a_spreadsheet() {
        let mut table = Table::new("t", "T", vec![Column::text("=1+1"), Column::number("change")]);
        for (name, cell) in
            [("=HYPERLINK(\"x\")", "'=HYPERLINK(\"x\")"), ("-1+2", "'-1+2"), ("@x", "'@x"), ("-5", "-5"), ("'a", "'a")]
        {
            table.rows = vec![vec![Cell::text(name), Cell::fixed(-0.5, 2)]];
            let row = table.csv().lines().nth(1).map(|row| row.replace("\"\"", "\""));
            let row = row.map(|row| row.replace("\"'", "'").replace(")\",", "),"));
            assert_eq!(row, Some(format!("{cell},-0.5")), "{name}");
        }
    }

    #[test]
    fn html_escapes_names_and_shows_a_dash_for_no_value() {
        let html = sample().html().into_string();
        assert!(html.contains("&lt;script&gt;") && !html.contains("<script"), "{html}");
        assert!(html.contains("<td class=\"number\">–</td>"), "{html}");
    }

    #[test]
    fn slugs_are_safe_file_names() {
        assert_eq!(slug("../Offset, 1 exhaust (µm)"), "offset-1-exhaust-µm");
        assert_eq!(slug("零件 4 / حلقة"), "零件-4-حلقة");
        assert_eq!(slug("e\u{202e}01\u{1b}[2J\0"), "e-01-2j");
        let long = |end: &str| slug(&format!("{}{end}", "ß".repeat(300)));
        assert!(long("a").len() <= LONGEST_SLUG && long("a") != long("b"), "{}", long("a"));
    }
}
