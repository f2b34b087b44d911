//! Headings as people write them: in capitals, with units, in another order of words, by another of the trade's words.
//!
//! A heading is taken for a column if it can mean that one only: the same words but for capitals, signs, units and fillers, or one of a few
//! words that say the same. A mere likeness (`Enigne`) is not enough: that is refused with the option that settles it.

use super::dates::DateOrder;

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
    pub(crate) fn of(text: &str) -> Option<Self> {
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

    pub(crate) fn name(self) -> &'static str {
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
    /// Whether it says that numbers or names count something: `Reading No.`
    pub(super) numbered: bool,
    /// A unit behind it that no column is read in: `thou`, `1/100 mm`.
    pub(super) foreign: Option<String>,
    /// The order that it says dates have: `Date (dd/mm/yyyy)`.
    pub(super) dates: Option<DateOrder>,
}

/// The order of dates that a pattern of letters says.
fn order_of(pattern: &str) -> Option<DateOrder> {
    let letters: String =
        pattern.chars().filter(|letter| letter.is_alphabetic()).flat_map(char::to_lowercase).collect();
    match letters.as_str() {
        "ddmmyyyy" | "ddmmyy" | "dmy" | "dmyyyy" | "ttmmjjjj" | "ttmmjj" => Some(DateOrder::DayMonthYear),
        "mmddyyyy" | "mmddyy" | "mdy" | "mdyyyy" => Some(DateOrder::MonthDayYear),
        "yyyymmdd" | "yymmdd" | "ymd" | "jjjjmmtt" => Some(DateOrder::YearMonthDay),
        _ => None,
    }
}

/// Words that tell nothing of which column it is.
const FILLERS: [&str; 11] = ["no", "nr", "number", "num", "id", "name", "of", "the", "on", "at", "in"];

/// Those of them that make a count of what stands beside them.
const NUMBERED: [&str; 5] = ["no", "nr", "number", "num", "id"];

/// Units that no column is read in.
const FOREIGN: [&str; 22] = [
    "thou", "thous", "mil", "mils", "cm", "dm", "m", "km", "nm", "ft", "feet", "kn", "dan", "lb", "lbs", "lbf", "kgf",
    "kg", "min", "mins", "minutes", "sec",
];

/// Whether what stands in brackets at a heading's end is a unit that no column is read in; `left` or `cold` is none.
pub(crate) fn is_foreign(text: &str) -> bool {
    let lower = text.trim().to_lowercase();
    let mut parts = lower.split(|letter: char| !letter.is_alphabetic()).filter(|part| !part.is_empty());
    let counts = lower.bytes().any(|byte| byte.is_ascii_digit());
    let is_fraction = counts && lower.contains('/') && !lower.chars().any(char::is_alphabetic);
    let is_unit = |part: &str| FOREIGN.contains(&part) || (counts && Unit::of(part).is_some_and(|u| u != Unit::Day));
    is_fraction || parts.any(is_unit)
}

impl Heading {
    pub(crate) fn of(raw: &str) -> Self {
        let raw = raw.trim();
        let mut text = raw.to_owned();
        let (mut unit, mut foreign, mut dates) = (None, None, None);
        for (open, close) in [('(', ')'), ('[', ']')] {
            if let Some(start) = text.rfind(open).filter(|_| text.trim_end().ends_with(close))
                && start > 0
            {
                let inside = text[start + 1..].trim_end().trim_end_matches(close).trim().to_owned();
                unit = Unit::of(&inside);
                dates = order_of(&inside);
                foreign = Some(inside).filter(|inside| unit.is_none() && is_foreign(inside));
                if unit.is_some() || foreign.is_some() || dates.is_some() {
                    text.truncate(start);
                }
            }
        }
        let mut words = words(&text);
        if unit.is_none()
            && foreign.is_none()
            && words.len() > 1
            && let Some(last) = words.pop_if(|word| word.len() > 1 && FOREIGN.contains(&word.as_str()))
        {
            foreign = Some(last);
        }
        if unit.is_none()
            && foreign.is_none()
            && words.len() > 1
            && let Some(found) = words.last().and_then(|word| Unit::of(word)).filter(|unit| !matches!(unit, Unit::Day | Unit::Newton))
            // `running hours` is a name, not a thing in hours.
            && !words.last().is_some_and(|word| word.starts_with("hour"))
        {
            unit = Some(found);
            words.pop();
        }
        let mut numbered = false;
        if words.iter().any(|word| !FILLERS.contains(&word.as_str())) {
            numbered = words.iter().any(|word| NUMBERED.contains(&word.as_str()));
            words.retain(|word| !FILLERS.contains(&word.as_str()));
        }
        Self { raw: raw.to_owned(), words, unit, numbered, foreign, dates }
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
        let told = self.words.join(" ");
        let stem = told.trim_end_matches(|letter: char| letter.is_ascii_digit());
        let number = told[stem.len()..].parse().ok().filter(|number| (1..=100).contains(number));
        number.filter(|_| REPEATS.contains(&stem.trim_end()))
    }

    /// The unit of length that it says, and its word; a unit that no column is read in has the word alone.
    pub(crate) fn said_length(&self) -> Option<(Option<Unit>, String)> {
        if let Some(foreign) = &self.foreign {
            return Some((None, foreign.clone()));
        }
        let unit = self.unit.filter(|unit| matches!(unit, Unit::Millimetre | Unit::Micrometre | Unit::Inch))?;
        Some((Some(unit), unit.name().to_owned()))
    }

    /// Whether it is a further reading of what another column holds: `Reading 2` beside `Reading`.
    pub(super) fn repeats(&self, other: &Self) -> bool {
        let stem =
            |words: &[String]| words.join(" ").trim_end_matches(|l: char| l.is_ascii_digit()).trim_end().to_owned();
        let counts = self.words.last().is_some_and(|word| word.ends_with(|letter: char| letter.is_ascii_digit()));
        counts && !self.words.is_empty() && stem(&self.words) == stem(&other.words)
    }

    /// Whether it names something that is read on a valve: by its unit, or by one of the trade's words.
    pub(super) fn is_a_feature(&self) -> bool {
        let has = |words: &[&str]| self.words.iter().any(|word| words.contains(&word.as_str()));
        let measured = matches!(self.unit, Some(Unit::Millimetre | Unit::Micrometre | Unit::Inch | Unit::Newton));
        (measured || has(&FEATURES)) && !has(&SAID)
    }

    /// Whether it names what a valve was adjusted from, or to: `as found`, `as left`.
    pub(super) fn is_of_work(&self) -> Option<bool> {
        let words: Vec<&str> = self.words.iter().map(String::as_str).collect();
        let has = |pairs: &[&[&str]]| pairs.iter().any(|pair| words.windows(pair.len()).any(|found| found == *pair));
        if has(&[&["as", "left"], &["after"], &["afterwards"], &["nachher"]]) {
            return Some(true);
        }
        has(&[&["as", "found"], &["before"], &["vorher"]]).then_some(false)
    }

    /// How surely the heading is a column's name, lower is surer; None where it is not.
    pub(crate) fn is(&self, table: &str, column: &str) -> Option<u8> {
        if self.raw == column {
            return Some(0);
        }
        // `Reading No.` counts readings and is none.
        if self.numbered && unit_of(column).is_some() {
            return None;
        }
        // Each phrase is lower-case words already; most differ in their number.
        let same = |phrase: &str| {
            let all_fillers = phrase.split([' ', '_']).all(|word| FILLERS.contains(&word));
            let told = || phrase.split([' ', '_']).filter(move |word| all_fillers || !FILLERS.contains(word));
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

/// Words for what a drawing or a packet says, which is no reading of a valve; a piece that was put in is none either.
const SAID: [&str; 10] =
    ["limit", "limits", "nominal", "tolerance", "target", "spec", "specification", "shim", "shims", "sollwert"];

/// Lower-case words: at blanks, signs, and where a capital follows a small letter.
pub(super) fn words(text: &str) -> Vec<String> {
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
    ("readings", "lower", &["lower limit", "lsl", "lower spec limit", "lower specification limit"]),
    ("readings", "upper", &["upper limit", "usl", "upper spec limit", "upper specification limit"]),
    ("drawer", "piece", &["label", "piece label"]),
    ("drawer", "size", &["packet size", "nominal size", "nominal"]),
    ("drawer", "thickness", &["measured thickness", "thickness measured"]),
    ("drawer", "u", &["uncertainty", "standard uncertainty"]),
    (
        "drawer",
        "count",
        &[
            "quantity",
            "qty",
            "pieces",
            "stock",
            "in stock",
            "on hand",
            "qty on hand",
            "quantity on hand",
            "bestand",
            "stk",
            "pcs",
        ],
    ),
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
            ("Reading No.", "readings", "reading", None),
            ("Trial No.", "readings", "trial", Some(1)),
            ("Name", "demand", "name", Some(1)),
            ("On hand", "drawer", "count", Some(2)),
        ] {
            assert_eq!(Heading::of(raw).is(table, column), sure, "{raw} as {column}");
        }
        assert_eq!(Heading::of("Contact offset (mm)").as_name(), "contact_offset");
        assert_eq!(Heading::of("stem_wear").as_name(), "stem_wear");
        assert_eq!(Heading::of("spring height [mm]").unit, Some(Unit::Millimetre));
        assert_eq!(Heading::of("Reading 2 (mm)").number(), Some(2));
        for (raw, foreign) in [
            ("Contact offset (thou)", Some("thou")),
            ("Contact offset [0.01 mm]", Some("0.01 mm")),
            ("Contact offset (1/100)", Some("1/100")),
            ("offset_cm", Some("cm")),
            ("Contact offset (left)", None),
            ("Contact offset (mm)", None),
            ("U (k=2)", None),
        ] {
            assert_eq!(Heading::of(raw).foreign.as_deref(), foreign, "{raw}");
        }
        assert!(!Heading::of("Limit (mm)").is_a_feature() && Heading::of("Offset as found (mm)").is_a_feature());
        assert_eq!(
            (Heading::of("Trial 2").number(), Heading::of("reading3").number(), Heading::of("T1").number()),
            (Some(2), Some(3), None)
        );
    }
}
