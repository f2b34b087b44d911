//! Text for the terminal: aligned columns, wrapped sentences, headings. A person reads it at a glance or pipes it on;
//! there are no colours and no control characters in it.

use crate::table::{Align, Table};

/// How many columns a character takes is not asked of the terminal: every name and number we write is one column a
/// character in practice, and a wide script only spoils the alignment, not the meaning.
fn width(text: &str) -> usize {
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
/// blanks. Line breaks and control characters in a name are written out, so that no name can forge a line.
pub fn columns(table: &Table, indent: usize) -> String {
    let heads: Vec<String> = table.columns.iter().map(|c| clean(&c.head_with_unit())).collect();
    let rows: Vec<Vec<String>> =
        table.rows.iter().map(|row| row.iter().map(|cell| clean(&cell.shown())).collect()).collect();
    let mut widths: Vec<usize> = heads.iter().map(|h| width(h)).collect();
    for row in &rows {
        for (w, cell) in widths.iter_mut().zip(row) {
            *w = (*w).max(width(cell));
        }
    }
    let mut out = String::new();
    for row in std::iter::once(&heads).chain(&rows) {
        let cells: Vec<String> = row
            .iter()
            .zip(&widths)
            .zip(&table.columns)
            .map(|((cell, w), column)| pad(cell, *w, column.align))
            .collect();
        out.push_str(&" ".repeat(indent));
        out.push_str(cells.join("  ").trim_end());
        out.push('\n');
    }
    out
}

/// `paragraph` broken between words into lines of at most `columns` characters, each indented by `indent`. A number is not
/// parted from its `%`, `±` or `…`.
pub fn wrapped(paragraph: &str, columns: usize, indent: usize) -> String {
    let paragraph = clean(paragraph);
    let mut words: Vec<String> = Vec::new();
    let mut glued = false;
    for word in paragraph.split_whitespace() {
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
    let mut out = String::new();
    let mut line = String::new();
    for word in words {
        if !line.is_empty() && indent + width(&line) + 1 + width(&word) > columns {
            out.push_str(&" ".repeat(indent));
            out.push_str(&line);
            out.push('\n');
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(&word);
    }
    if !line.is_empty() {
        out.push_str(&" ".repeat(indent));
        out.push_str(&line);
        out.push('\n');
    }
    out
}

/// A name from a file with what steers a terminal (line breaks, escape sequences, marks of direction) written out.
pub fn clean(name: &str) -> String {
    packdrift_visible::line(name).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
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
