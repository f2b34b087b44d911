//! Headings as people write them: in capitals, with units, in another order of words, by another of the trade's words.
//!
//! A heading is taken for a column if it can mean that one only: the same words but for capitals, signs, units and fillers, or one of a few
//! words that say the same. A mere likeness (`Enigne`) is not enough: that is refused with the option that settles it.

/// A unit that stands in a heading or behind a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Unit {
    Millimetre,
    Micrometre,
    Inch,
    Hour,
    Day,
    Newton,
}

impl Unit {
    pub(super) fn of(text: &str) -> Option<Self> {
        // What a heading or a cell says, by its own word.
        Some(match text.trim().trim_end_matches('.').to_lowercase().as_str() {
            "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => Self::Millimetre,
            "µm" | "μm" | "um" | "micron" | "microns" => Self::Micrometre,
            "in" | "inch" | "inches" | "\"" => Self::Inch,
            "h" | "hr" | "hrs" | "hour" | "hours" => Self::Hour,
            "d" | "day" | "days" => Self::Day,
            "n" | "newton" | "newtons" => Self::Newton,
            _ => return None,
        })
    }

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Micrometre => "µm",
            Self::Inch => "inches",
            Self::Hour => "hours",
            Self::Day => "days",
            Self::Newton => "N",
        }
    }
}

/// A heading taken apart.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Heading {
    /// As it stands, without blanks around it.
    pub(crate) raw: String,
    /// Lower-case words, without unit and fillers.
    pub(super) words: Vec<String>,
    pub(super) unit: Option<Unit>,
}

/// Words that tell nothing of which column it is.
const FILLERS: [&str; 11] = ["no", "nr", "number", "num", "id", "name", "of", "the", "on", "at", "in"];

impl Heading {
    pub(crate) fn of(raw: &str) -> Self {
        let raw = raw.trim();
        let mut text = raw.to_owned();
        let mut unit = None;
        for (open, close) in [('(', ')'), ('[', ']')] {
            if let Some(start) = text.rfind(open).filter(|_| text.trim_end().ends_with(close))
                && let Some(found) = Unit::of(text[start + 1..].trim_end().trim_end_matches(close))
                && start > 0
            {
                unit = Some(found);
                text.truncate(start);
            }
        }
        let mut words = words(&text);
        if unit.is_none()
            && words.len() > 1
            && let Some(found) = words.last().and_then(|word| Unit::of(word)).filter(|unit| !matches!(unit, Unit::Day | Unit::Newton))
            // `running hours` is a name, not a thing in hours.
            && !words.last().is_some_and(|word| word.starts_with("hour"))
        {
            unit = Some(found);
            words.pop();
        }
        if words.iter().any(|word| !FILLERS.contains(&word.as_str())) {
            words.retain(|word| !FILLERS.contains(&word.as_str()));
        }
        Self { raw: raw.to_owned(), words, unit }
    }

    /// As the name of a feature: `Contact offset (mm)` is `contact_offset`. A name that is one already stays as it is.
    pub(super) fn as_name(&self) -> String {
        if self.unit.is_none() && !self.raw.chars().any(|letter| letter.is_whitespace() || letter.is_uppercase()) {
            return self.raw.clone();
        }
        self.words.join("_")
    }

    /// Of a repeated reading its number: `trial 2`, `reading3`.
    pub(super) fn number(&self) -> Option<u32> {
        const REPEATS: [&str; 7] = ["trial", "reading", "value", "measurement", "repeat", "repetition", "round"];
        let stem = self.raw.trim_end_matches(|letter: char| letter.is_ascii_digit());
        let words = words(stem);
        if words.len() != 1 || !REPEATS.contains(&words[0].as_str()) {
            return None;
        }
        let digits = self.raw.len() - self.raw.trim_end_matches(|letter: char| letter.is_ascii_digit()).len();
        self.raw[self.raw.len() - digits..].parse().ok().filter(|number| (1..=100).contains(number))
    }

    /// Whether it names something that is read on a valve: by its unit, or by one of the trade's words.
    pub(super) fn is_a_feature(&self) -> bool {
        matches!(self.unit, Some(Unit::Millimetre | Unit::Micrometre | Unit::Inch | Unit::Newton))
            || self.words.iter().any(|word| FEATURES.contains(&word.as_str()))
    }

    /// How surely the heading is a column's name, lower is surer; None where it is not.
    pub(crate) fn is(&self, table: &str, column: &str) -> Option<u8> {
        if self.raw == column {
            return Some(0);
        }
        // Each phrase is lower-case words already; most differ in their number.
        let same = |phrase: &str| {
            let told = || phrase.split([' ', '_']).filter(|word| !FILLERS.contains(word));
            if told().count() != self.words.len() {
                return false;
            }
            let (mut mine, mut other): (Vec<&str>, Vec<&str>) =
                (self.words.iter().map(String::as_str).collect(), told().collect());
            mine.sort_unstable();
            other.sort_unstable();
            mine == other
        };
        if same(column) {
            return Some(1);
        }
        let also = ALSO.iter().find(|(of, name, _)| *of == table && *name == column);
        also.is_some_and(|(_, _, phrases)| phrases.iter().any(|phrase| same(phrase))).then_some(2)
    }
}

/// Words of the trade that name something read on a valve in a length or a load.
const FEATURES: [&str; 15] = [
    "offset",
    "preload",
    "height",
    "play",
    "wear",
    "lash",
    "clearance",
    "gap",
    "thickness",
    "recession",
    "depth",
    "protrusion",
    "drift",
    "margin",
    "lift",
];

/// Lower-case words: at blanks, signs, and where a capital follows a small letter.
fn words(text: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut before = ' ';
    for letter in text.chars() {
        let joins = letter.is_alphanumeric();
        if (!joins || (letter.is_uppercase() && before.is_lowercase()))
            && words.last().is_some_and(|word| !word.is_empty())
        {
            words.push(String::new());
        }
        if joins && let Some(word) = words.last_mut() {
            word.extend(letter.to_lowercase());
        }
        before = letter;
    }
    words.retain(|word| !word.is_empty());
    words
}

/// Other words for a column, by table and column. Only what means nothing else in that table.
const ALSO: &[(&str, &str, &[&str])] = &[
    (
        "inspections",
        "date",
        &["date read", "date reading", "date inspection", "date measured", "date visit", "inspected"],
    ),
    (
        "inspections",
        "hours",
        &[
            "running hours",
            "engine hours",
            "operating hours",
            "meter hours",
            "hours meter",
            "hour meter",
            "hours run",
            "hrs",
            "hour meter reading",
        ],
    ),
    ("inspections", "feature", &["characteristic", "feature read", "feature measured"]),
    ("inspections", "value", &["reading", "value read", "value measured", "measurement", "measured"]),
    ("inspections", "group", &["kind valve", "valve group", "type valve"]),
    ("readings", "lot", &["packet", "batch", "delivery"]),
    ("readings", "part", &["piece", "specimen"]),
    ("readings", "reading", &["value", "value read", "value measured", "measurement", "measured", "thickness"]),
    ("readings", "operator", &["read by", "measured by"]),
    ("readings", "trial", &["repeat", "repetition", "round"]),
    ("readings", "nominal", &["nominal size"]),
    ("readings", "lower", &["lower limit"]),
    ("readings", "upper", &["upper limit"]),
    ("drawer", "piece", &["label", "piece label"]),
    ("drawer", "size", &["packet size", "nominal size", "nominal"]),
    ("drawer", "thickness", &["measured thickness", "thickness measured"]),
    ("drawer", "u", &["uncertainty", "standard uncertainty"]),
    ("drawer", "count", &["quantity", "qty", "pieces"]),
    ("drawer", "cost", &["price", "unit price", "unit cost", "price each"]),
    ("drawer", "lead_days", &["lead time", "lead time days"]),
    ("history", "lot", &["delivery", "packet", "batch"]),
    ("history", "outside", &["parts outside", "outside parts"]),
    ("history", "lot_size", &["size", "parts in lot"]),
];

/// What a number column of a table is in.
pub(super) fn unit_of(column: &str) -> Option<Unit> {
    Some(match column {
        "hours" | "old_meter" | "new_meter" | "start_hours" | "last_hours" | "mean_hours" => Unit::Hour,
        "lead_days" => Unit::Day,
        "value" | "reading" | "nominal" | "lower" | "upper" | "thickness" | "u" | "correction" | "sd" | "squeeze"
        | "squeeze_sd" => Unit::Millimetre,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_are_read_as_people_write_them() {
        for (raw, table, column, sure) in [
            ("hours", "inspections", "hours", Some(0)),
            ("Hours", "inspections", "hours", Some(1)),
            ("HOURS (h)", "inspections", "hours", Some(1)),
            ("hours [h]", "inspections", "hours", Some(1)),
            ("Running Hours", "inspections", "hours", Some(2)),
            ("Hours, running", "inspections", "hours", Some(2)),
            ("Engine No.", "inspections", "engine", Some(1)),
            ("EngineId", "inspections", "engine", Some(1)),
            ("Date of reading", "inspections", "date", Some(2)),
            ("Value in mm", "inspections", "value", Some(1)),
            ("value_mm", "inspections", "value", Some(1)),
            ("Part number", "readings", "part", Some(1)),
            ("Lead Days", "drawer", "lead_days", Some(1)),
            ("lead time (days)", "drawer", "lead_days", Some(2)),
            ("Enigne", "inspections", "engine", None),
            ("remarks", "inspections", "event", None),
            ("inspector", "readings", "operator", None),
            ("No.", "readings", "part", None),
        ] {
            assert_eq!(Heading::of(raw).is(table, column), sure, "{raw} as {column}");
        }
        assert_eq!(Heading::of("Contact offset (mm)").as_name(), "contact_offset");
        assert_eq!(Heading::of("stem_wear").as_name(), "stem_wear");
        assert_eq!(Heading::of("spring height [mm]").unit, Some(Unit::Millimetre));
        assert_eq!(
            (Heading::of("Trial 2").number(), Heading::of("reading3").number(), Heading::of("T1").number()),
            (Some(2), Some(3), None)
        );
    }
}
