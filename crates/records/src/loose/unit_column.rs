//! A column that names the unit of each row. It is no column of any table, and a row in another unit than the table's is no reading of it: a
//! wrong unit is wrong by a factor of 25 or 1000, which nothing after the reading finds.

use super::headings::{Heading, Unit};
use crate::cell::Trouble;
use crate::error::FaultKind;
use crate::table::{Kind, Schema};
use hashbrown::HashMap;

/// Headings that mean the unit of what stands in a row.
const UNIT: [&str; 17] = [
    "unit",
    "units",
    "uom",
    "einheit",
    "einheiten",
    "maßeinheit",
    "masseinheit",
    "unité",
    "unités",
    "unite",
    "unidad",
    "unidades",
    "unità",
    "eenheid",
    "enhet",
    "jednostka",
    "enhed",
];

/// Words beside it that say of what.
const OF_WHAT: [&str; 14] = [
    "length",
    "lengths",
    "measure",
    "measurement",
    "value",
    "values",
    "reading",
    "readings",
    "thickness",
    "dimension",
    "dimensions",
    "size",
    "result",
    "feature",
];

/// Words for the unit of a table of counts.
const PIECES: [&str; 12] =
    ["pcs", "pc", "piece", "pieces", "part", "parts", "each", "ea", "stk", "stück", "st", "count"];

/// Whether a heading means the unit of each row: `unit`, `Units`, `unit of length`. `Unit No.` is an engine's, `unit price` a price.
pub(crate) fn is_unit_heading(raw: &str) -> bool {
    let lower = raw.to_lowercase();
    let names_a_thing = lower
        .split(|letter: char| !letter.is_alphanumeric())
        .any(|word| matches!(word, "no" | "nr" | "number" | "num" | "id" | "name"));
    let words = Heading::of(raw).words;
    let unit = |word: &String| UNIT.contains(&word.as_str());
    let of_what = |word: &String| OF_WHAT.contains(&word.as_str());
    // One word, whatever its letters.
    let short = lower.trim() == "uom";
    short
        || !names_a_thing
            && words.iter().filter(|word| unit(word)).count() == 1
            && words.iter().all(|w| unit(w) || of_what(w))
}

/// What the rows of a table say of their unit.
pub(super) struct UnitColumn {
    table: &'static str,
    /// None for a table of counts.
    wanted: Option<Unit>,
    /// Whether a feature may be a load: nothing but the rows themselves says which.
    may_be_loads: bool,
    /// By feature the first unit that a row of it says, and that row.
    of_feature: HashMap<String, (Unit, u32)>,
}

impl UnitColumn {
    /// `heading` is the unit in the heading of the values, where it has one.
    pub(super) fn of(schema: &Schema<'_>, heading: Option<Unit>) -> Self {
        let has = |name: &str| schema.columns.iter().any(|column| column.name == name);
        let counts = schema.columns.iter().all(|column| column.kind != Kind::Number);
        let length = schema.length.unwrap_or(Unit::Millimetre);
        let loads = heading == Some(Unit::Newton);
        let wanted = if loads { Unit::Newton } else { length };
        Self {
            table: schema.name,
            wanted: (!counts).then_some(wanted),
            may_be_loads: heading.is_none() && has("feature"),
            of_feature: HashMap::new(),
        }
    }

    /// Why a row cannot be in the unit that it says, if it cannot.
    pub(super) fn trouble(&mut self, said: &str, heading: &str, feature: Option<&str>, line: u32) -> Option<Trouble> {
        let contradiction =
            |expected: String, help: String| Some(Trouble::new(FaultKind::Contradiction, expected).help(help));
        let Some(wanted) = self.wanted else {
            let is_pieces = PIECES.contains(&said.trim_end_matches('.').to_lowercase().as_str());
            return if is_pieces {
                None
            } else {
                contradiction(
                    "a count of pieces: this table has no other unit".to_owned(),
                    format!(
                        "write pieces; where the column names no unit of measure, give --columns ignore=\"{heading}\""
                    ),
                )
            };
        };
        let found = Unit::of(said);
        let may_be = found.filter(|unit| *unit == wanted || *unit == Unit::Newton);
        if let (true, Some(feature), Some(unit)) = (self.may_be_loads, feature, may_be) {
            let (first, before) = *self.of_feature.entry(feature.to_owned()).or_insert((unit, line));
            return if first == unit {
                None
            } else {
                let expected = format!("{}, as line {before} says of {feature}", first.name());
                contradiction(expected, "write all readings of one feature in one unit".to_owned())
            };
        }
        if found == Some(wanted) {
            return None;
        }
        let takes_inches = matches!(self.table, "readings" | "drawer");
        let help = match (wanted, found) {
            (_, None) => format!(
                "write the value in {0}, and {0} here; where the column names no unit of measure, give --columns ignore=\"{heading}\"",
                wanted.name()
            ),
            (Unit::Millimetre, Some(Unit::Inch)) if takes_inches => {
                "convert the value to mm (1 in = 25.4 mm); where the whole table is in inches, give --units in"
                    .to_owned()
            }
            (Unit::Millimetre, Some(Unit::Inch)) => "convert the value to mm (1 in = 25.4 mm), and write mm".to_owned(),
            (Unit::Inch, Some(Unit::Millimetre)) => {
                "where the whole table is in mm, leave --units in out; else convert the value to inches".to_owned()
            }
            _ => format!("convert the value to {0}, and write {0}", wanted.name()),
        };
        contradiction(format!("{}, the unit of this table", wanted.name()), help)
    }
}

#[cfg(test)]
mod tests {
    use super::is_unit_heading;

    #[test]
    fn headings_that_mean_the_unit_are_told_from_things_called_unit() {
        for raw in ["unit", "Units", "UNIT", "unit of length", "Unit of measure", "value_unit", "UoM", "Einheit"] {
            assert!(is_unit_heading(raw), "{raw}");
        }
        for raw in ["Unit No.", "unit id", "unit price", "unit cost", "remarks", "", "value", "u"] {
            assert!(!is_unit_heading(raw), "{raw}");
        }
    }
}
