//! Text from files as it may be shown.
//!
//! A name in a table may hold an escape sequence that repaints a terminal, a mark that turns the rest of the line around, or a control
//! character that no XML may hold. Wherever text leaves the program, such characters are written out (`\u{1b}`, `\u{202e}`), so that
//! everybody sees what is there and nothing acts. Letters of every script stay as they are, joiners and combining marks too.
//!
//! | border | function |
//! |---|---|
//! | a name or value within a line of ours | [`line()`] |
//! | a whole text for a terminal | [`text`] |
//! | a whole page or figure | [`markup`] |
//! | JSON as it is written | [`Json`] |
//!
//! ```
//! assert_eq!(packdrift_visible::line("E01\u{1b}[2J"), r"E01\u{1b}[2J");
//! assert_eq!(packdrift_visible::line("Größe 4 · حلقة"), "Größe 4 · حلقة");
//! ```

mod json;

pub use json::Json;

use std::borrow::Cow;
use std::fmt::Write;

/// Whether a character steers instead of showing: control characters, marks and overrides of direction (Unicode Standard Annex 9), separators
/// of lines and paragraphs, the byte-order mark, and the two code points that no XML may hold.
pub fn is_steering(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
        || matches!(c, '\u{feff}' | '\u{fffe}' | '\u{ffff}')
}

/// A name or value within a line: line breaks and tabs are written out too.
pub fn line(name: &str) -> Cow<'_, str> {
    escaped(name, |_| false)
}

/// A text of several lines for a terminal.
///
/// ```
/// assert_eq!(packdrift_visible::text("two\nlines\r"), "two\nlines\\r");
/// ```
pub fn text(text: &str) -> Cow<'_, str> {
    escaped(text, |c| c == '\n')
}

/// A page or a figure: line breaks and tabs stay.
pub fn markup(markup: &str) -> Cow<'_, str> {
    escaped(markup, |c| matches!(c, '\n' | '\t'))
}

fn escaped(text: &str, stays: impl Fn(char) -> bool) -> Cow<'_, str> {
    let acts = |c: char| is_steering(c) && !stays(c);
    let Some(first) = text.find(acts) else { return Cow::Borrowed(text) };
    let mut shown = String::with_capacity(text.len() + 16);
    shown.push_str(&text[..first]);
    for c in text[first..].chars() {
        match c {
            c if !acts(c) => shown.push(c),
            '\n' => shown.push_str("\\n"),
            '\r' => shown.push_str("\\r"),
            '\t' => shown.push_str("\\t"),
            // Writing to a String cannot fail.
            c => drop(write!(shown, "\\u{{{:x}}}", u32::from(c))),
        }
    }
    Cow::Owned(shown)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_steers_is_left_and_nothing_else_is_touched() {
        for c in (0..=0x10_ffff).filter_map(char::from_u32) {
            let name = format!("a{c}b");
            let shown = line(&name);
            assert_eq!(shown == name, !is_steering(c), "U+{:04X}", u32::from(c));
            assert!(!shown.contains(is_steering), "U+{:04X}", u32::from(c));
        }
    }

    #[test]
    fn marks_that_scripts_need_stay() {
        for name in ["क्षमता", "می‌خواهم", "👩‍🔧", "e\u{301}", "零件 4", "valve\u{a0}1"] {
            assert_eq!(line(name), name);
        }
    }

    #[test]
    fn each_border_keeps_its_own_line_breaks() {
        let all = "a\n\tb\r\u{9b}";
        assert_eq!(line(all), "a\\n\\tb\\r\\u{9b}");
        assert_eq!(text(all), "a\n\\tb\\r\\u{9b}");
        assert_eq!(markup(all), "a\n\tb\\r\\u{9b}");
    }
}
