//! Rows that sum up others, as spreadsheets have them below or between the readings.

use super::grid::Raw;

/// How such a row is headed.
const WORDS: [&str; 46] = [
    "total",
    "totals",
    "subtotal",
    "sub-total",
    "grand total",
    "sum",
    "average",
    "avg",
    "mean",
    "median",
    "min",
    "max",
    "minimum",
    "maximum",
    "range",
    "count",
    "std",
    "stdev",
    "std dev",
    "standard deviation",
    "summe",
    "gesamt",
    "gesamtsumme",
    "zwischensumme",
    "mittel",
    "mittelwert",
    "durchschnitt",
    "schnitt",
    "somme",
    "moyenne",
    "suma",
    "promedio",
    "media",
    "somma",
    "totale",
    "totaal",
    "gemiddelde",
    "summa",
    "medel",
    "medelvärde",
    "średnia",
    "soma",
    "média",
    "gennemsnit",
    "ø",
    "∑",
];

/// The field of the word and the column of the first empty cell behind it, if a row is one of totals: the first cell that holds something, or one of
/// `keys` (field and column of what tells a row's reading from others), is such a word, and the keys behind it are empty.
pub(super) fn found(cells: &[Raw<'_>], keys: &[(usize, usize)]) -> Option<(usize, usize)> {
    let is_blank = |field: usize| cells.get(field).is_none_or(Raw::is_blank);
    let first = cells.iter().position(|cell| !cell.is_blank())?;
    let candidates = keys.iter().map(|(field, _)| *field).filter(|field| *field > first);
    std::iter::once(first).chain(candidates).find_map(|field| {
        let Some(Raw::Text(text)) = cells.get(field) else { return None };
        let word = text.trim().trim_end_matches([':', '.', '=']).trim_end().to_lowercase();
        if !WORDS.contains(&word.as_str()) {
            return None;
        }
        let mut behind: Vec<(usize, usize)> = keys.iter().copied().filter(|(key, _)| *key > field).collect();
        behind.sort_unstable();
        let (_, column) = *behind.first()?;
        behind.iter().all(|(key, _)| is_blank(*key)).then_some((field, column))
    })
}

#[cfg(test)]
mod tests {
    use super::{Raw, found};
    use std::borrow::Cow;

    #[test]
    fn a_word_of_totals_beside_empty_keys_is_one() {
        let cells = |texts: &[&'static str]| -> Vec<Raw<'static>> {
            texts.iter().map(|text| Raw::Text(Cow::Borrowed(*text))).collect()
        };
        let keys = [(0, 0), (1, 1), (2, 2)];
        assert_eq!(found(&cells(&["Total", "", "", "1.01"]), &keys), Some((0, 1)));
        assert_eq!(found(&cells(&["P01", "Mittelwert:", "", "1.01"]), &keys), Some((1, 2)));
        assert_eq!(found(&cells(&["", "Sum", "", "1.01"]), &keys), Some((1, 2)));
        // Merged cells, and a thing of that name whose row is whole.
        assert_eq!(found(&cells(&["", "", "2024-01-01", "1.01"]), &keys), None);
        assert_eq!(found(&cells(&["Total", "1", "", "1.01"]), &keys), None);
        assert_eq!(found(&cells(&["P01", "", "", "1.01"]), &keys), None);
    }
}
