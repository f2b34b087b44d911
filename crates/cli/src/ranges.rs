//! The ranges of all options that are numbers, in one place: a value that no question of the trade has is refused with its range, before
//! anything is read. A price of −1 a day or a share of 5e-324 would otherwise send a search off without an end.
//!
//! What an option must be beside that (a share below another, say) is told by the command that knows why.

use crate::args::ReadingUncertainty;
use clap::Arg;
use clap::builder::TypedValueParser;
use std::any::TypeId;
use std::ops::RangeInclusive;

/// Commands whose options all have ranges of their own (`number.rs`).
pub(crate) const OWN_COMMANDS: [&str; 3] = ["allocate", "shim", "stock"];
/// Options whose own parser says more.
const OWN: [&str; 2] = ["until", "max-out"];
/// Lengths, prices and other numbers: nothing in a shop lies beyond.
const VAST: f64 = 1e9;
/// Shares and chances that are asked for: above 0, below 1.
const SHARE: RangeInclusive<f64> = 1e-9..=1.0 - 1e-9;
/// What cannot be negative.
const AMOUNT: RangeInclusive<f64> = 0.0..=VAST;
/// What divides, or costs by the day: a price of nothing has no best plan.
const POSITIVE: RangeInclusive<f64> = 1e-9..=VAST;

/// The range of an option by its name.
fn numbers(name: &str) -> RangeInclusive<f64> {
    match name {
        "producer-quality" | "producer-risk" | "consumer-quality" | "consumer-risk" | "confidence" => SHARE,
        "nominal" => AMOUNT,
        "step" | "sigma" | "tolerance" | "difference" => POSITIVE,
        _ => -VAST..=VAST,
    }
}

/// The largest count of an option by its name; the least is the command's affair.
fn counts(name: &str) -> u64 {
    match name {
        "subgroup" => 10_000,
        // A seed is any number.
        "seed" => u64::MAX,
        // Days of a fast machine.
        "trials" => 100_000_000_000,
        _ => 1_000_000_000_000,
    }
}

/// Whether an argument is an option whose value is a number: then a value with a hyphen before it is one too, and no other option.
pub(crate) fn is_number(argument: &Arg) -> bool {
    let kind = argument.get_value_parser().type_id();
    let number = kind == TypeId::of::<f64>() || kind == TypeId::of::<ReadingUncertainty>();
    number && argument.get_long().is_some() && argument.get_action().takes_values()
}

/// The argument, with its range where it is a plain number.
pub(crate) fn ranged(argument: Arg) -> Arg {
    let Some(name) = argument.get_long().map(str::to_owned) else { return argument };
    if OWN.contains(&name.as_str()) {
        return argument;
    }
    let kind = argument.get_value_parser().type_id();
    if kind == TypeId::of::<f64>() {
        let range = numbers(&name);
        return argument
            .value_parser(clap::builder::StringValueParser::new().try_map(move |text| number(&text, &range)));
    }
    if kind == TypeId::of::<usize>() {
        let most = counts(&name);
        return argument.value_parser(clap::builder::StringValueParser::new().try_map(move |text| count(&text, most)));
    }
    argument
}

fn number(text: &str, range: &RangeInclusive<f64>) -> Result<f64, String> {
    let (from, to) = (range.start(), range.end());
    match text.trim().parse::<f64>() {
        Ok(number) if range.contains(&number) => Ok(number),
        Ok(_) => Err(format!("expected a number from {} to {}", shown(*from), shown(*to))),
        Err(_) if text.contains(',') => Err(format!("the decimal sign is a point: {}", text.replacen(',', ".", 1))),
        Err(_) => Err("expected a number with a decimal point, such as 0.402".to_owned()),
    }
}

fn count(text: &str, most: u64) -> Result<usize, String> {
    let number = text.trim().parse::<usize>().ok().filter(|&number| number as u64 <= most);
    number.ok_or_else(|| format!("expected a whole number of at most {most}"))
}

fn shown(number: f64) -> String {
    if number == 1.0 - 1e-9 {
        "just below 1".to_owned()
    } else if number != 0.0 && (number.abs() < 1e-3 || number.abs() > 1e6) {
        format!("{number:e}")
    } else {
        number.to_string()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
    use crate::args::Arguments;
    use clap::{CommandFactory, Parser};

    fn refused(arguments: &[&str]) -> String {
        let all = [&["packdrift"], arguments].concat();
        match crate::command_line().try_get_matches_from(all) {
            Ok(_) => "taken".to_owned(),
            Err(refusal) => refusal.to_string(),
        }
    }

    #[test]
    fn numbers_that_no_question_has_are_refused_with_their_range() {
        for (arguments, says) in [
            (&["sampling", "--producer-quality=5e-324"][..], "from 1e-9"),
            (&["sampling", "--producer-quality", "NaN"], "from 1e-9"),
            (&["stock", "p", "--valve", "v", "--catalogue", "c", "--order", "1", "--short", "-1"], "above 0"),
            (&["stock", "p", "--valve", "v", "--catalogue", "c", "--jobs", "99999999999"], "between 100 and 1000000"),
            (&["shim", "p", "--valve", "v", "--stock", "s", "--measured", "1,31"], "write 1.31"),
            (&["shim", "p", "--valve", "v", "--stock", "s", "--measured", "1e300"], "between -100 and 100"),
            (&["lot", "r", "--nominal", "inf"], "from 0 to 1e9"),
            (&["lot", "r", "--nominal", "-inf"], "from 0 to 1e9"),
            (&["shim", "p", "--valve", "v", "--stock", "s", "--measured", "-inf"], "between -100 and 100"),
        ] {
            let said = refused(arguments);
            assert!(said.contains(says), "{arguments:?}: {said}");
        }
        assert_eq!(refused(&["shim", "p", "--valve", "v", "--stock", "s", "--measured", "-1.31"]), "taken");
    }

    #[test]
    fn every_default_is_in_its_range() {
        Arguments::command().debug_assert();
        crate::command_line().debug_assert();
        assert!(Arguments::try_parse_from(["packdrift", "sampling"]).is_ok());
        assert_eq!(refused(&["sampling"]), "taken");
        assert_eq!(refused(&["stock", "p", "--valve", "v", "--catalogue", "c"]), "taken");
    }
}
