//! Text for the terminal: aligned columns, wrapped sentences, headings. A person reads it at a glance or pipes it on;
//! there are no colours and no control characters in it.

use crate::grid::Grid;
use crate::table::{Align, Table};
use std::cell::Cell;

/// How many columns a character takes is not asked of the terminal: every name and number we write is one column a
/// character in practice, and a wide script only spoils the alignment, not the meaning.
pub(crate) fn width(text: &str) -> usize {
    text.chars().count()
}

/// `text` filled up to `columns`, on the side that `align` says.
pub fn pad(text: &str, columns: usize, align: Align) -> String {
    let gap = " ".repeat(columns.saturating_sub(width(text)));
    match align {
        Align::Left => format!("{text}{gap}"),
        Align::Right => format!("{gap}{text}"),
    }
}

/// The table as aligned columns, two blanks apart, heads first, every line indented by `indent` and without trailing
/// blanks. Line breaks and control characters in a name are written out, so that no name can forge a line. In a window
/// ([`fitted`]) no line is wider than it: heads and words are broken, and what is left over stands below.
pub fn columns(table: &Table, indent: usize) -> String {
    let blocks = Grid::new(table).blocks(room(indent));
    blocks.iter().map(|block| indented(block, indent)).collect::<Vec<_>>().join("\n")
}

/// Columns of the window beside an indent.
fn room(indent: usize) -> Option<usize> {
    window().map(|columns| columns.saturating_sub(indent))
}

/// Lines of a table, each indented and without trailing blanks.
fn indented(lines: &[String], indent: usize) -> String {
    let margin = " ".repeat(indent);
    lines.iter().map(|line| format!("{}\n", format!("{margin}{line}").trim_end())).collect()
}

/// As [`columns`], with a paragraph below each row: so that a table of which one column is long fits its window.
pub(crate) fn columns_with_words(table: &Table, words: &[String], indent: usize) -> Option<String> {
    const BELOW: usize = 9;
    let rows = Grid::new(table).rows(room(indent))?;
    let mut out = String::new();
    for (k, row) in rows.iter().enumerate() {
        out.push_str(&indented(row, indent));
        if let Some(words) = k.checked_sub(1).and_then(|row| words.get(row)) {
            out.push_str(&wrapped(words, 98, BELOW));
        }
    }
    Some(out)
}

/// `paragraph` broken between words into lines of at most `columns` characters, each indented by `indent`. A number is not
/// parted from its `%`, `±` or `…`. In a window ([`fitted`]) it is as wide as that instead.
pub fn wrapped(paragraph: &str, columns: usize, indent: usize) -> String {
    let columns = window().map_or(columns, |window| window.min(WIDEST_PROSE));
    let margin = " ".repeat(indent);
    lines(&clean(paragraph), columns.saturating_sub(indent)).iter().map(|line| format!("{margin}{line}\n")).collect()
}

/// `text` broken between words into lines of at most `columns` characters; a word that is longer has a line of its own.
pub(crate) fn lines(text: &str, columns: usize) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut glued = false;
    for word in text.split_whitespace() {
        let joins = matches!(word, "±" | "…");
        match words.last_mut() {
            Some(last) if glued || joins || word.starts_with('%') => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
        glued = joins;
    }
    let mut lines: Vec<String> = Vec::new();
    for word in words {
        match lines.last_mut() {
            Some(line) if width(line) + 1 + width(&word) <= columns => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// Prose is not wider than this, however wide the window: the eye would lose the line.
const WIDEST_PROSE: usize = 120;

thread_local! {
    static WINDOW: Cell<Option<usize>> = const { Cell::new(None) };
}

/// What `render` gives, laid out for a window of so many columns: no line of a table is wider, and prose is as wide as the window.
/// Without a window everything is as wide as it comes to be, for files and pipes.
///
/// # Examples
/// ```
/// use packdrift_report::{Table, table::{Cell, Column}, text};
/// let mut table = Table::new("t", "", vec![Column::text("part"), Column::text("what is said of it")]);
/// table.push(vec![Cell::text("shim"), Cell::text("thinner than the drawing has it")]);
/// assert_eq!(table.text(0).lines().count(), 2);
/// assert!(text::fitted(Some(24), || table.text(0)).lines().all(|line| line.chars().count() <= 24));
/// ```
pub fn fitted<T>(columns: Option<usize>, render: impl FnOnce() -> T) -> T {
    /// Puts the window back, whatever becomes of `render`.
    struct Before(Option<usize>);
    impl Drop for Before {
        fn drop(&mut self) {
            WINDOW.set(self.0);
        }
    }
    let _before = Before(WINDOW.replace(columns));
    render()
}

/// The window that is laid out for.
pub(crate) fn window() -> Option<usize> {
    WINDOW.get()
}

/// `text` whose lines that are wider than `columns` are broken between words, each at its own indent. Lines of commands, which somebody may
/// copy, stay whole.
///
/// # Examples
/// ```
/// use packdrift_report::text::broken;
/// assert_eq!(broken("one line\n  another that is longer\n", 14), "one line\n  another that\n  is longer\n");
/// ```
pub fn broken(text: &str, columns: usize) -> String {
    let is_command = |line: &str| line.trim_start().starts_with("packdrift ");
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let whole = line.trim_end_matches('\n');
        if width(whole) <= columns || is_command(whole) {
            out.push_str(line);
            continue;
        }
        let margin = &whole[..whole.len() - whole.trim_start().len()];
        let pieces = lines(whole, columns.saturating_sub(width(margin)));
        out.extend(pieces.iter().map(|piece| format!("{margin}{piece}\n")));
    }
    out
}

/// A name from a file with what steers a terminal (line breaks, escape sequences, marks of direction) written out.
pub fn clean(name: &str) -> String {
    packdrift_visible::line(name).into_owned()
}

#[cfg(test)]
mod tests {
    use super::{columns, wrapped};
    use crate::Table;
    use crate::table::{Cell, Column};

    #[test]
    fn columns_are_aligned_and_names_cannot_forge_lines() {
        let mut table = Table::new("t", "caption", vec![Column::text("part"), Column::number("thickness").unit("mm")]);
        table.push(vec![Cell::text("shim\n\u{1b}[31m"), Cell::fixed(0.4, 2)]);
        table.push(vec![Cell::text("long washer"), Cell::fixed(11.25, 2)]);
        assert_eq!(
            columns(&table, 2),
            "  part              thickness, mm\n  shim\\n\\u{1b}[31m           0.40\n  long washer               11.25\n"
        );
    }

    #[test]
    fn sentences_wrap_between_words() {
        assert_eq!(wrapped("one two three four", 10, 2), "  one two\n  three\n  four\n");
        assert_eq!(wrapped("", 10, 2), "");
        assert_eq!(wrapped("about 0.31 ± 0.01 % of packs", 12, 0), "about\n0.31 ± 0.01 %\nof packs\n");
    }
}
