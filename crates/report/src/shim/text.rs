//! The builds as text for the terminal.

use super::{Shimming, answer, tables};
use crate::page::WORKSHOP_CAUTIONS;
use crate::text::wrapped;

/// The answer, the tables, the cautions.
pub fn text(shimming: &Shimming<'_>) -> String {
    let answer = answer(shimming);
    let mut out = format!("{} {}", answer.standing.shape(), wrapped(&answer.sentence, 98, 2).trim_start());
    out.push_str(&wrapped(&answer.advice, 98, 2));
    for table in tables(shimming) {
        out.push_str(&format!("\n{}\n{}", table.caption, table.text(2)));
    }
    out.push_str("\nTake care\n");
    for caution in WORKSHOP_CAUTIONS {
        out.push_str(&wrapped(caution, 98, 2));
    }
    out
}
