//! What a workbook shows of a number beside its digits: the unit in its number format, and a line through it. A reader sees `980 µm` or a
//! struck-out 0.98 where the cell holds 980 and 0.98.

use crate::loose::{Unit, is_foreign};
use calamine::{Style, Xlsx, XlsxError};
use hashbrown::HashMap;
use std::io::{Read, Seek};

/// What stands behind a number that has a line through it.
pub(crate) const STRUCK_OUT: &str = "(struck out)";

/// Per cell (row and column from 0) what is shown behind its number.
pub(super) type Dressing = HashMap<(u32, u32), String>;

/// The dressing of a sheet's cells; none where no format of the workbook says anything, which costs nothing.
pub(super) fn of<R: Read + Seek>(workbook: &mut Xlsx<R>, sheet: &str) -> Result<Dressing, XlsxError> {
    let mut dressing = Dressing::new();
    let mut reader = workbook.worksheet_cells_reader(sheet)?;
    let says: Vec<Option<String>> = reader.styles().iter().map(said).collect();
    if says.iter().all(Option::is_none) {
        return Ok(dressing);
    }
    while let Some((row, column, style)) = reader.next_style_id()? {
        if let Some(Some(text)) = says.get(style) {
            dressing.insert((row, column), text.clone());
        }
    }
    Ok(dressing)
}

/// A number with what is shown behind it. Three decimals have one more, so that nobody takes them for thousands.
pub(super) fn dressed(number: f64, behind: &str) -> String {
    let digits = number.to_string();
    let decimals = digits.split_once('.').map_or(0, |(_, fraction)| fraction.len());
    format!("{digits}{} {behind}", if decimals == 3 { "0" } else { "" })
}

/// What a style shows behind a number.
fn said(style: &Style) -> Option<String> {
    if style.font.as_ref().is_some_and(calamine::Font::has_strikethrough) {
        return Some(STRUCK_OUT.to_owned());
    }
    let literal = literal_of(&style.number_format.as_ref()?.format_code);
    (Unit::of(&literal).is_some() || is_foreign(&literal)).then_some(literal)
}

/// The text of the first section of a number format: in quotes, or behind backslashes.
fn literal_of(format: &str) -> String {
    let mut literal = String::new();
    let (mut quoted, mut bracketed) = (false, false);
    let mut letters = format.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '"' => quoted = !quoted,
            _ if quoted => literal.push(letter),
            '\\' => literal.extend(letters.next()),
            '[' => bracketed = true,
            ']' => bracketed = false,
            ';' if !bracketed => break,
            _ => {}
        }
    }
    literal.trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::{dressed, literal_of};

    #[test]
    fn a_number_format_says_its_unit() {
        for (format, literal) in [
            ("0\" µm\"", "µm"),
            ("0.0000\" in\"", "in"),
            ("0.00\\ \\m\\m", "mm"),
            ("General", ""),
            ("[$-409]d/m/yyyy", ""),
            ("0.00;\"minus \"0.00", ""),
        ] {
            assert_eq!(literal_of(format), literal, "{format}");
        }
        assert_eq!((dressed(980.0, "µm"), dressed(1.234, "mm")), ("980 µm".to_owned(), "1.2340 mm".to_owned()));
    }
}
