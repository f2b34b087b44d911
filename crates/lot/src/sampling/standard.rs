//! Standard single plans by attributes, looked up by lot size, inspection level and acceptance quality limit.
//!
//! Held against a table in the public domain: MIL-STD-105E (1989; US government work), whose single plans ISO 2859-1 shares, tables I, II-A and II-B for
//! limits of 0.65 to 15 %, letters A to Q normal and A to L tightened, as reprinted by a US agency. The master tables are made of diagonals: a step down to
//! the next larger sample and a column to the left give the same acceptance number. By that rule, which every printed cell keeps (a test holds it), the limits of
//! 0.10 to 0.40 % and the tightened plans of letters M to Q follow; no public copy of those cells could be read. Everything else is computed from points of risk
//! ([`super::attributes::find`]). ISO 3951-1's tables are not public; plans by variables are always computed.
//!
//! No public copy of the table of reduced inspection could be read cell by cell, so those plans are computed from the normal plan by the purpose that
//! reduced inspection has: fewer parts for a supplier who has earned it, without making it harder for a good lot ([`Severity::Reduced`]).

use super::attributes::AttributesPlan;
use crate::LotError;

/// How much is inspected for a given lot size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Level {
    /// Special levels S-1 to S-4.
    Special(u8),
    /// General level I.
    I,
    /// General level II, the usual one.
    II,
    /// General level III.
    III,
}

/// How strict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Severity {
    /// While nothing speaks against the supplier.
    Normal,
    /// After rejections.
    Tightened,
    /// After a long good run, where the buyer agrees. Computed: the sample of the row two above the normal plan's (two fifths of its sample in this
    /// row of sizes; 2 in the first rows), and the smallest acceptance number c with which a lot at the limit is accepted at least as surely:
    /// P(X ≤ c; n', AQL) ≥ P(X ≤ Ac; n, AQL), X binomial. The buyer is protected less; [`StandardPlan::normal`] allows saying how much.
    Reduced,
}

/// Acceptance quality limits, percent outside.
pub const LIMITS: [f64; 12] = [0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0, 15.0];
/// Place among them of the first column that is printed below.
const FIRST_PRINTED: isize = 4;

/// Letters in order; I and O are not used.
const LETTERS: [char; 15] = ['A', 'B', 'C', 'D', 'E', 'F', 'G', 'H', 'J', 'K', 'L', 'M', 'N', 'P', 'Q'];
const SIZES: [u64; 15] = [2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250];

/// Table I: largest lot of each row, and the letters of S-1 to S-4, I, II, III.
const CODE_LETTERS: [(u64, &str); 15] = [
    (8, "AAAAAAB"),
    (15, "AAAAABC"),
    (25, "AABBBCD"),
    (50, "ABBCCDE"),
    (90, "BBCCCEF"),
    (150, "BBCDDFG"),
    (280, "BCDEEGH"),
    (500, "BCDEFHJ"),
    (1200, "CCEFGJK"),
    (3200, "CDEGHKL"),
    (10_000, "CDFGJLM"),
    (35_000, "CDFHKMN"),
    (150_000, "DEGJLNP"),
    (500_000, "DEGJMPQ"),
    (u64::MAX, "DEHKNQR"),
];

/// A cell of the master tables: an acceptance number, or where to look instead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cell {
    Accept(u64),
    Below,
    Above,
}

/// Rejection numbers as the table prints them, one row a letter; `v` and `^` are arrows down and up.
const NORMAL: [&str; 15] = [
    "v v v v v 1 ^ v",
    "v v v v 1 ^ v 2",
    "v v v 1 ^ v 2 3",
    "v v 1 ^ v 2 3 4",
    "v 1 ^ v 2 3 4 6",
    "1 ^ v 2 3 4 6 8",
    "^ v 2 3 4 6 8 11",
    "v 2 3 4 6 8 11 15",
    "2 3 4 6 8 11 15 22",
    "3 4 6 8 11 15 22 ^",
    "4 6 8 11 15 22 ^ ^",
    "6 8 11 15 22 ^ ^ ^",
    "8 11 15 22 ^ ^ ^ ^",
    "11 15 22 ^ ^ ^ ^ ^",
    "15 22 ^ ^ ^ ^ ^ ^",
];
const TIGHTENED: [&str; 11] = [
    "v v v v v v v v",
    "v v v v v 1 v v",
    "v v v v 1 v v 2",
    "v v v 1 v v 2 3",
    "v v 1 v v 2 3 4",
    "v 1 v v 2 3 4 6",
    "1 v v 2 3 4 6 9",
    "v v 2 3 4 6 9 13",
    "v 2 3 4 6 9 13 19",
    "2 3 4 6 9 13 19 ^",
    "3 4 6 9 13 19 ^ ^",
];

/// A cell by its row and column (0: the first printed column; negative: to the left of it), along the diagonal where it is not printed. None beyond letter Q.
fn cell(table: &[&str], row: usize, column: isize) -> Option<Cell> {
    if row >= LETTERS.len() {
        return None;
    }
    // So many steps up the diagonal: to the first printed column, and to the last printed row.
    let to_column = usize::try_from(-column).unwrap_or(0);
    let to_row = row.saturating_sub(table.len() - 1);
    let steps = to_column.max(to_row);
    let Some(row) = row.checked_sub(steps) else { return Some(Cell::Below) };
    let column = usize::try_from(column + steps as isize).ok()?;
    match table.get(row)?.split(' ').nth(column) {
        // To the right of the last printed column of a row that is not printed: the number would be larger than any, so a smaller sample is used.
        None if steps > 0 => Some(Cell::Above),
        None => None,
        Some("v") => Some(Cell::Below),
        Some("^") => Some(Cell::Above),
        Some(number) => number.parse::<u64>().ok().map(|re| Cell::Accept(re - 1)),
    }
}

/// A standard plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StandardPlan {
    /// Letter of lot size and level.
    pub code_letter: char,
    /// Letter whose row holds the plan, where an arrow leads to another.
    pub plan_letter: char,
    /// The plan; the sample is the whole lot where the table's sample is larger.
    pub plan: AttributesPlan,
    /// Whether the whole lot is to be inspected.
    pub whole_lot: bool,
    /// How strict it is.
    pub severity: Severity,
    /// The normal plan that a reduced one is computed from; None for those of the table.
    pub normal: Option<AttributesPlan>,
    /// Whether the cell was held against a public copy of the table; otherwise it follows by the table's diagonals.
    printed: bool,
}

impl StandardPlan {
    /// Whether the plan was held against a public copy of the table; otherwise it follows by the table's diagonals.
    pub fn printed(&self) -> bool {
        self.printed
    }
}

/// Looks a plan up.
///
/// # Errors
/// A lot of fewer than 2 parts; a level or limit that is not in the table, or an entry that is not among those held against the public
/// table: compute a plan from two points of risk instead.
///
/// # Examples
/// ```
/// use packdrift_lot::sampling::standard::{Level, Severity, look_up};
/// let plan = look_up(1000, Level::II, 1.0, Severity::Normal)?;
/// assert_eq!((plan.code_letter, plan.plan.sample_size, plan.plan.acceptance_number), ('J', 80, 2));
/// let fewer = look_up(1000, Level::II, 1.0, Severity::Reduced)?;
/// assert_eq!((fewer.plan.sample_size, fewer.plan.acceptance_number), (32, 1));
/// # Ok::<(), packdrift_lot::LotError>(())
/// ```
pub fn look_up(lot_size: u64, level: Level, limit_percent: f64, severity: Severity) -> Result<StandardPlan, LotError> {
    let not_here = |what: String, expected: &str| LotError::OutOfRange {
        what,
        value: limit_percent,
        expected: expected.to_string(),
    };
    if lot_size < 2 {
        return Err(LotError::TooFew {
            what: "a standard plan".into(),
            found: lot_size as usize,
            needed: 2,
            of: "parts in the lot",
        });
    }
    let Some(place) = LIMITS.iter().position(|l| (l - limit_percent).abs() < 1e-9) else {
        return Err(not_here(
            "the acceptance quality limit (percent)".into(),
            "one of 0.1, 0.15, 0.25, 0.4, 0.65, 1, 1.5, 2.5, 4, 6.5, 10, 15; or give two points of risk",
        ));
    };
    in_column(lot_size, level, (place as isize - FIRST_PRINTED, limit_percent), severity)
}

/// The plan at the next stricter limit, normal inspection: what the switching score asks for. To the left of 0.10 % along the diagonal too.
pub(super) fn stricter(lot_size: u64, level: Level, limit_percent: f64) -> Result<StandardPlan, LotError> {
    let place = LIMITS.iter().position(|l| (l - limit_percent).abs() < 1e-9).unwrap_or(0) as isize;
    let limit = usize::try_from(place - 1).ok().and_then(|k| LIMITS.get(k).copied()).unwrap_or(0.065);
    in_column(lot_size, level, (place - 1 - FIRST_PRINTED, limit), Severity::Normal)
}

fn in_column(
    lot_size: u64,
    level: Level,
    (column, limit_percent): (isize, f64),
    severity: Severity,
) -> Result<StandardPlan, LotError> {
    let not_here = |what: String, expected: &str| LotError::OutOfRange {
        what,
        value: limit_percent,
        expected: expected.to_string(),
    };
    let place = match level {
        Level::Special(s @ 1..=4) => usize::from(s) - 1,
        Level::Special(s) => {
            return Err(LotError::OutOfRange {
                what: "the special inspection level".into(),
                value: f64::from(s),
                expected: "from 1 to 4".into(),
            });
        }
        Level::I => 4,
        Level::II => 5,
        Level::III => 6,
    };
    let code_letter = CODE_LETTERS
        .iter()
        .find(|(most, _)| lot_size <= *most)
        .and_then(|(_, letters)| letters.chars().nth(place))
        .unwrap_or('R');
    let table: &[&str] = match severity {
        Severity::Normal | Severity::Reduced => &NORMAL,
        Severity::Tightened => &TIGHTENED,
    };
    let missing = || {
        not_here(
            format!("the entry for letter {code_letter} and the acceptance quality limit (percent)"),
            "one that the tables up to letter Q have; give two points of risk instead",
        )
    };
    let mut row = LETTERS.iter().position(|l| *l == code_letter).ok_or_else(missing)?;
    let direction = cell(table, row, column).ok_or_else(missing)?;
    let acceptance_number = loop {
        match cell(table, row, column).ok_or_else(missing)? {
            Cell::Accept(c) => break c,
            Cell::Below if direction == Cell::Below => row += 1,
            Cell::Above if direction == Cell::Above && row > 0 => row -= 1,
            // An arrow out of the table, or one that points back.
            Cell::Below | Cell::Above => return Err(missing()),
        }
    };
    let plan_of = |sample: u64, acceptance_number| AttributesPlan {
        sample_size: sample.min(lot_size),
        acceptance_number,
        lot_size: None,
    };
    let (sample, tabulated) = (SIZES[row], plan_of(SIZES[row], acceptance_number));
    let (sample, plan, normal) = if severity == Severity::Reduced {
        let fewer = SIZES[row.saturating_sub(2)];
        let at_limit = limit_percent / 100.0;
        let as_sure = tabulated.accepted(at_limit);
        // With the normal plan's own number a smaller sample is accepted more surely still, so the search ends.
        let c = (0..acceptance_number).find(|c| plan_of(fewer, *c).accepted(at_limit) >= as_sure);
        (fewer, plan_of(fewer, c.unwrap_or(acceptance_number)), Some(tabulated))
    } else {
        (sample, tabulated, None)
    };
    Ok(StandardPlan {
        code_letter,
        plan_letter: LETTERS[row],
        plan,
        whole_lot: sample >= lot_size,
        severity,
        normal,
        printed: column >= 0 && row < table.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The rule that the cells that are not printed follow by, at every pair of printed cells. Row A of the tightened table has arrows only, and no cell follows from it.
    #[test]
    fn the_printed_tables_are_made_of_diagonals() {
        for (table, first) in [(NORMAL.as_slice(), 0), (TIGHTENED.as_slice(), 1)] {
            for row in first..table.len() - 1 {
                for column in 1..8 {
                    let (here, along) = (cell(table, row, column), cell(table, row + 1, column - 1));
                    assert_eq!(here, along, "row {row}, column {column}");
                }
            }
        }
    }

    /// Cells that are not printed here, from memory of the standard: 0.40 %, K: 125 parts, 1; 0.10 %, Q: 1250, 3; tightened, M at 1 %: 315, 5.
    #[test]
    fn further_limits_and_letters_follow() {
        for (lot, limit, severity, n, c) in [
            (3000, 0.40, Severity::Normal, 125, 1),
            (600_000, 0.10, Severity::Normal, 1250, 3),
            (20_000, 1.0, Severity::Tightened, 315, 5),
            (200, 0.40, Severity::Normal, 32, 0),
        ] {
            let found = look_up(lot, Level::II, limit, severity);
            let plan = found.map(|p| (p.plan.sample_size, p.plan.acceptance_number, p.printed()));
            assert_eq!(plan, Ok((n, c, false)), "{limit}");
        }
    }
}
