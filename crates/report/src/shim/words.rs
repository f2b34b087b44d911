//! Builds in words: what comes out, what goes where, how sure it is.

use crate::Lengths;
use crate::number::{NO_VALUE, fixed};
use crate::table::Standing;
use packdrift_pack::QuantityKind;
use packdrift_stock::{Bench, Build, Expectation, Origin, PlacedPiece};
use packdrift_verdict::Standing as Verdict;

/// Which way an offset is positive.
pub(super) const SIGN: &str =
    "plus: the adjuster stands to the right of the stem's axis, with the bay's left face on your left";

/// The same in few words, where it has been said.
pub(super) const SIGN_IN_SHORT: &str = "plus: adjuster right of the stem";

/// `read at assembly, 20 °C; plus: …`.
pub(super) fn how_read(bench: &Bench) -> String {
    format!("Offsets are read at {}; {SIGN}.", condition(bench))
}

/// `assembly, 20 °C`.
pub(super) fn condition(bench: &Bench) -> String {
    format!("{}, {} °C", bench.measured_in(), crate::number::plain(bench.measured_at()))
}

/// How a verdict looks.
pub(super) fn standing(verdict: Verdict) -> Standing {
    match verdict {
        Verdict::Shown => Standing::Good,
        Verdict::Adverse => Standing::Act,
        _ => Standing::Attend,
    }
}

/// `99.6 ± 0.2 %`: a chance with the standard error of its simulation; `99.8 % or more` where the error would carry it to 100 % as it is rounded.
pub(super) fn chance(chance: f64, standard_error: f64) -> String {
    if !chance.is_finite() {
        return NO_VALUE.to_owned();
    }
    let (value, error) = (100.0 * chance, 100.0 * standard_error);
    if error <= 0.0 {
        return crate::number::chance(chance);
    }
    let decimals = if error >= 0.05 { 1 } else { 2 };
    let half_a_step = 0.5 * 0.1_f64.powi(decimals);
    if value + error > 100.0 - half_a_step {
        return format!("{} % or more", rounded_down(value - error, decimals));
    }
    if value - error < half_a_step {
        return format!("{} % or less", fixed(100.0 - down(100.0 - value - error, decimals), decimals));
    }
    format!("{} ± {} %", fixed(value, decimals), fixed(error, decimals))
}

/// A chance in percent that is at least so much, with so many decimals; not below 0.
pub(super) fn rounded_down(percent: f64, decimals: i32) -> String {
    fixed(down(percent.max(0.0), decimals), decimals)
}

fn down(value: f64, decimals: i32) -> f64 {
    let step = 0.1_f64.powi(decimals);
    // What is a whole step but for the last bit stays one.
    (value / step + 1e-6).floor() * step
}

/// The chance of a build.
pub(super) fn chance_of(build: &Build) -> String {
    chance(build.forecast.chance, build.forecast.chance_se)
}

/// What to do, step by step: what comes out, and what goes where in which order.
pub(super) fn steps(build: &Build, lengths: Lengths) -> Vec<String> {
    let mut steps = Vec::new();
    if !build.taken_out.is_empty() {
        let out: Vec<String> =
            build.taken_out.iter().map(|out| format!("{} ({})", out.name, lengths.fine(out.thickness))).collect();
        steps.push(format!("Take out {}.", out.join(" and ")));
    }
    for place in build.places.iter().filter(|place| place.pieces.iter().any(|piece| piece.origin != Origin::Stays)) {
        let pieces: Vec<String> = place.pieces.iter().map(|piece| piece_words(piece, lengths)).collect();
        let between = place.label.replacen(" | ", " and ", 1);
        steps.push(if pieces.len() == 1 {
            format!("Between {between} put {}.", pieces[0])
        } else {
            format!("Between {between}, from the left: {}.", pieces.join(", then "))
        });
    }
    if steps.is_empty() {
        // What is not good enough is not left alone for being right.
        let words = if build.good_enough { "Nothing is to be changed." } else { NO_PIECE_HELPS };
        steps.push(words.to_owned());
    }
    steps
}

/// Where the bay as it is stands better than with any piece, and not well enough.
const NO_PIECE_HELPS: &str = "No piece in the drawer helps: leave the bay as it is until there is one that does.";

/// `left face | rocker 1: S03 0.411; …`, the places that change only.
pub(super) fn changes(build: &Build, lengths: Lengths) -> String {
    let mut words: Vec<String> = build
        .places
        .iter()
        .filter(|place| place.pieces.iter().any(|piece| piece.origin != Origin::Stays))
        .map(|place| {
            let pieces: Vec<String> = place.pieces.iter().map(|piece| piece_words(piece, lengths)).collect();
            format!("{}: {}", place.label, pieces.join(" + "))
        })
        .collect();
    if !build.taken_out.is_empty() {
        let out: Vec<&str> = build.taken_out.iter().map(|out| out.name.as_str()).collect();
        words.push(format!("out: {}", out.join(", ")));
    }
    if words.is_empty() { "leave it as it is".to_owned() } else { words.join("; ") }
}

fn piece_words(piece: &PlacedPiece, lengths: Lengths) -> String {
    let thickness = lengths.fine(piece.thickness);
    let mut words = match &piece.origin {
        Origin::Stays => format!("{} {thickness} (stays)", piece.name),
        Origin::Moved { .. } => format!("{} {thickness} (moved)", piece.name),
        Origin::Drawer { .. } => format!("{} {thickness}", piece.name),
        Origin::Wished => format!("a piece of {thickness}"),
    };
    if let Some(from) = piece.thinned_from {
        words = format!("{} thinned by hand from {} to {thickness}", piece.name, lengths.fine(from));
    } else if !piece.measured && matches!(piece.origin, Origin::Drawer { .. }) {
        words = format!("{} (not measured, {thickness} expected)", piece.name);
    } else if !piece.measured && piece.origin != Origin::Stays {
        words.push_str(" (not measured)");
    }
    words
}

/// `contact offset, 1 intake, running`.
pub(super) fn expectation_words(e: &Expectation) -> String {
    format!("{}, {}, {}", e.kind.label(), e.of, e.condition)
}

/// A quantity's unit.
pub(super) fn unit(kind: QuantityKind, lengths: Lengths) -> &'static str {
    lengths.unit_of(kind)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chance_is_never_above_one_within_its_error() {
        assert_eq!(chance(0.996, 0.002), "99.6 ± 0.2 %");
        assert_eq!(chance(1.0, 1.0 / 512.0), "99.8 % or more");
        assert_eq!(chance(0.9999, 0.000_4), "99.95 % or more");
        assert_eq!(chance(0.0, 1.0 / 512.0), "0.2 % or less");
        assert_eq!(chance(f64::NAN, 0.1), NO_VALUE);
    }
}
