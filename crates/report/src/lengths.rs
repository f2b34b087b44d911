//! Lengths as the pack file has them: in mm or in inches. The models reckon in mm; here, and nowhere else, they become inches for the eye and for
//! what is written.

use crate::number::{NO_VALUE, fixed, limits, plain, plus_minus, significant};
use crate::table::{Cell, Column};
use packdrift_pack::QuantityKind;

/// The unit that lengths are shown and written in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Lengths {
    /// mm, to a micrometre.
    #[default]
    Millimetres,
    /// in, of 25.4 mm, to a ten-thousandth.
    Inches,
}

/// Decimals of an inch that lose nothing of what a micrometer in mm shows.
pub(crate) const FINE: i32 = 5;

impl Lengths {
    /// The unit of an answer that names it.
    pub(crate) fn named(unit: &str) -> Self {
        if unit == "in" { Self::Inches } else { Self::Millimetres }
    }

    /// A length in this unit, in mm.
    pub(crate) fn to_mm(self, length: f64) -> f64 {
        match self {
            Self::Millimetres => length,
            Self::Inches => length * 25.4,
        }
    }

    /// `mm` or `in`.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Millimetres => "mm",
            Self::Inches => "in",
        }
    }

    /// A length of so many mm, in this unit.
    ///
    /// # Examples
    /// ```
    /// use packdrift_report::Lengths;
    /// assert_eq!(Lengths::Inches.of(25.4), 1.0);
    /// assert_eq!(Lengths::Inches.fixed(0.1016), "0.0040");
    /// assert_eq!(Lengths::Millimetres.with_unit(0.1016), "0.102 mm");
    /// assert_eq!(Lengths::Millimetres.signed(0.1016), "+0.102");
    /// ```
    pub fn of(self, mm: f64) -> f64 {
        match self {
            Self::Millimetres => mm,
            Self::Inches => mm / 25.4,
        }
    }

    pub(crate) fn decimals(self) -> i32 {
        match self {
            Self::Millimetres => 3,
            Self::Inches => 4,
        }
    }

    /// To the last decimal that a micrometer of this unit has.
    pub fn fixed(self, mm: f64) -> String {
        fixed(self.of(mm), self.decimals())
    }

    /// To the decimals that tell two drawings apart: mm to a micrometre, inches to a hundred-thousandth (a quarter of a micrometre).
    ///
    /// # Examples
    /// ```
    /// use packdrift_report::Lengths;
    /// assert_eq!(Lengths::Millimetres.fine(0.4), "0.400");
    /// assert_eq!(Lengths::Inches.fine(0.4), "0.01575");
    /// ```
    pub fn fine(self, mm: f64) -> String {
        match self {
            Self::Millimetres => self.fixed(mm),
            Self::Inches => fixed(self.of(mm), FINE),
        }
    }

    /// A cell with a length as [`Lengths::fine`] has it.
    pub(crate) fn fine_cell(self, mm: f64) -> Cell {
        match self {
            Self::Millimetres => self.cell(mm),
            Self::Inches => Cell::fixed(self.of(mm), FINE),
        }
    }

    /// The same with its unit.
    pub fn with_unit(self, mm: f64) -> String {
        format!("{} {}", self.fixed(mm), self.unit())
    }

    /// The same with its sign: an offset says which way.
    pub fn signed(self, mm: f64) -> String {
        if !mm.is_finite() {
            return NO_VALUE.to_owned();
        }
        let text = format!("{:+.*}", self.decimals().unsigned_abs() as usize, self.of(mm));
        // What rounds to nothing has no sign.
        let nothing = text.bytes().all(|b| matches!(b, b'+' | b'-' | b'0' | b'.'));
        if nothing { text[1..].to_owned() } else { text }
    }

    /// `value ± uncertainty`, without unit.
    pub fn plus_minus(self, mm: f64, uncertainty: f64) -> String {
        plus_minus(self.of(mm), self.of(uncertainty))
    }

    /// `lower to upper`, `at least lower`, `at most upper`, or no value; without unit.
    pub fn range(self, lower: Option<f64>, upper: Option<f64>) -> String {
        match (lower, upper) {
            (Some(lower), Some(upper)) => format!("{} to {}", self.fixed(lower), self.fixed(upper)),
            (Some(lower), None) => format!("at least {}", self.fixed(lower)),
            (None, Some(upper)) => format!("at most {}", self.fixed(upper)),
            (None, None) => NO_VALUE.to_owned(),
        }
    }

    /// A cell with a length.
    pub fn cell(self, mm: f64) -> Cell {
        Cell::fixed(self.of(mm), self.decimals())
    }

    /// A length that was given, with its own digits: what was written in inches as it was written, what was written in mm to a hundred-thousandth.
    ///
    /// # Examples
    /// ```
    /// use packdrift_report::Lengths;
    /// assert_eq!(Lengths::Millimetres.given(0.85), "0.85");
    /// assert_eq!(Lengths::Inches.given(0.85), "0.03346");
    /// assert_eq!(Lengths::Inches.given(0.0346 * 25.4), "0.0346");
    /// ```
    pub fn given(self, mm: f64) -> String {
        self.given_in_it(self.of(mm))
    }

    /// As [`Lengths::given`], of a length that is in this unit already.
    pub(crate) fn given_in_it(self, length: f64) -> String {
        let millionths = length * 1e6;
        match self {
            // Millionths of an inch are written; more digits come of 25.4.
            Self::Inches if (millionths - millionths.round()).abs() > 1e-5 => plain((length * 1e5).round() / 1e5),
            _ => plain(length),
        }
    }

    /// `lower … upper` of limits in a unit, each with its own digits and both with as many; lengths in inches as [`Lengths::given`] has them.
    pub(crate) fn limits_in(unit: &str, lower: Option<f64>, upper: Option<f64>) -> String {
        if unit != "in" {
            return limits(lower, upper);
        }
        let short = |v: f64| Self::Inches.given_in_it(v).parse().unwrap_or(v);
        limits(lower.map(short), upper.map(short))
    }

    /// A cell with a number that was given, in its unit.
    pub(crate) fn written_cell(unit: &str, value: Option<f64>) -> Cell {
        value.map_or(Cell::Empty, |v| Cell::shown_as(v, Self::named(unit).given_in_it(v)))
    }

    /// A cell with a length that was given.
    pub(crate) fn given_cell(self, mm: f64) -> Cell {
        Cell::shown_as(self.of(mm), self.given(mm))
    }

    /// A cell with a length that may be missing.
    pub fn cell_or_empty(self, mm: Option<f64>) -> Cell {
        mm.map_or(Cell::Empty, |mm| self.cell(mm))
    }

    /// A cell with a length rounded to its uncertainty.
    pub fn rounded(self, mm: f64, uncertainty: f64) -> Cell {
        Cell::rounded(self.of(mm), self.of(uncertainty))
    }

    /// A cell with a length to two significant digits: a standard deviation.
    pub fn spread(self, mm: f64) -> Cell {
        Cell::shown_as(self.of(mm), significant(self.of(mm), 2))
    }

    /// A column of lengths.
    pub fn column(self, head: &str) -> Column {
        Column::number(head).unit(self.unit())
    }

    /// The unit of a quantity.
    pub fn unit_of(self, kind: QuantityKind) -> &'static str {
        if kind.unit() == "mm" { self.unit() } else { kind.unit() }
    }

    /// A quantity's value in that unit.
    pub fn value_of(self, kind: QuantityKind, value: f64) -> f64 {
        if kind.unit() == "mm" { self.of(value) } else { value }
    }
}
