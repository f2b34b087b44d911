//! Mistakes of sense beside mistakes of form: hours that fall are told in the same run as a cell that is no number.
//!
//! Where cells are refused, the rows that are sound are looked at by themselves. All that is told of rows together is told of two of them
//! (hours of two visits, one row like another, a valve in two groups), or of one (a day that is yet to come), so no row that was left out
//! could have made it right. One thing could: a new hour meter. Where a row that was left out may tell of one, nothing is added.

use super::{COLUMNS, EVENT, Rows, check};
use crate::error::{Error, Fault, FaultKind, InputError};
use crate::options::Options;
use crate::source::Source;
use crate::table::{any_cell, decoded, read_table, text_of};
use std::collections::BTreeSet;

/// `refused`, with what the sound rows contradict each other in.
pub(super) fn beside(mut refused: InputError, source: &Source, options: &Options) -> InputError {
    let decoded = decoded(source, options);
    let further = sound_rows(&refused, &decoded, options).and_then(|rest| contradictions(&rest, options));
    if let Some(further) = further {
        refused.merge(further);
        refused.faults.sort_by_key(|fault| fault.place.line());
    }
    refused
}

/// The mistakes of a table whose cells are sound.
fn contradictions(source: &Source, options: &Options) -> Option<InputError> {
    let mut table = read_table(source, &super::schema(options.lengths.unwrap_or_default()), options).ok()?;
    let mut rows = Rows::of(&mut table);
    match check(&mut rows, &table, options) {
        Err(Error::Input(further)) => Some(further),
        _ => None,
    }
}

/// The table without the refused rows, where every other row keeps its number. None where rows cannot be told apart, where a row may hang on
/// the one above it, or where one of those left out may tell of a new hour meter.
fn sound_rows(refused: &InputError, source: &Source, options: &Options) -> Option<Source> {
    let of_a_row = |fault: &Fault| {
        let of_the_file = matches!(
            fault.kind,
            FaultKind::UnknownColumn | FaultKind::MissingColumn | FaultKind::DuplicateColumn | FaultKind::EmptyFile
        );
        let may_be_a_meter = fault.key == COLUMNS[EVENT];
        fault.place.line().filter(|_| !of_the_file && !may_be_a_meter)
    };
    if refused.total > refused.faults.len() || options.tables.blanks_above {
        return None;
    }
    let rows = refused.faults.iter().map(of_a_row).collect::<Option<BTreeSet<usize>>>()?;
    match text_of(source).ok()? {
        Some(text) => {
            sound_lines(&rows, text).map(|rest| Source::from_bytes(source.path().as_ref(), rest.into_bytes()))
        }
        None => {
            let rows = rows.into_iter().map(u32::try_from).collect::<Result<BTreeSet<u32>, _>>().ok()?;
            let tells =
                any_cell(source, &super::schema(options.lengths.unwrap_or_default()), &rows, options, &|cell| {
                    cell.to_lowercase().contains(super::METER)
                });
            (!tells.ok()?).then(|| source.without_rows(rows))
        }
    }
}

/// The text with these lines left empty.
fn sound_lines(refused: &BTreeSet<usize>, text: &str) -> Option<String> {
    let mut rest = String::with_capacity(text.len());
    for (number, line) in (1..).zip(text.split_inclusive('\n')) {
        if !refused.contains(&number) {
            rest.push_str(line);
            continue;
        }
        // A field that goes on over the end of its line, or a new hour meter.
        if line.matches('"').count() % 2 == 1 || line.to_lowercase().contains(super::METER) {
            return None;
        }
        rest.extend(line.chars().filter(|sign| matches!(sign, '\r' | '\n')));
    }
    Some(rest)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic, reason = "a failed unwrap fails the test")]
    use crate::{Error, Options, Source, inspections_from};

    fn mistakes(text: &str) -> Vec<(usize, &'static str)> {
        match inspections_from(&Source::from_bytes("i.csv", text.as_bytes()), &Options::default()) {
            Err(Error::Input(error)) => {
                assert_eq!(error.total, error.faults.len());
                error.faults.iter().map(|fault| (fault.place.line().unwrap(), fault.kind.code())).collect()
            }
            other => panic!("{other:?}"),
        }
    }

    const HEAD: &str = "engine,valve,date,hours,feature,value,event\n";

    #[test]
    fn what_rows_contradict_is_told_beside_cells_that_cannot_be_read() {
        let rows = "E01,1 intake,2025-03-04,1210,contact_offset,0.98,\n\
                    E01,1 intake,2025-09-30,1110,contact_offset,1.03,\n\
                    E01,1 intake,2025-10-30,1300,contact_offset,often,\n\
                    E01,1 intake,2025-11-30,1400,contact_offset,1.05,\n\
                    E01,1 intake,2025-12-01,1900,contact_offset,1.06,\n";
        let found = mistakes(&format!("{HEAD}{rows}"));
        assert!(found.contains(&(4, "not-a-number")), "{found:?}");
        assert!(found.iter().any(|(line, code)| [2, 3].contains(line) && *code == "falling-hours"), "{found:?}");
        assert!(found.iter().any(|(line, code)| [5, 6].contains(line) && *code == "impossible-hours"), "{found:?}");
        assert!(found.is_sorted_by_key(|(line, _)| *line), "{found:?}");
        // The same mistakes of sense as without the others.
        let sound = format!("{HEAD}{}", rows.replace("often", "1.04"));
        let alone: Vec<_> = found.iter().copied().filter(|(line, _)| *line != 4).collect();
        assert_eq!(mistakes(&sound), alone);
    }

    #[test]
    fn a_row_left_out_never_makes_another_wrong() {
        // The row that cannot be read tells of a new meter, with which the hours after it are right.
        let meter = "E01,1 intake,2025-03-04,1210,contact_offset,0.98,\n\
                     E01,1 intake,2025-09-30,5,contact_offset,often,meter\n\
                     E01,1 intake,2025-11-30,400,contact_offset,1.05,\n";
        assert_eq!(mistakes(&format!("{HEAD}{meter}")), [(3, "not-a-number")]);
        let sound = "E01,1 intake,2025-03-04,1210,contact_offset,0.98,\n\
                     E01,1 intake,2025-09-30,,contact_offset,1.0,\n\
                     E01,1 intake,2025-11-30,1400,contact_offset,1.05,\n";
        assert!(mistakes(&format!("{HEAD}{sound}")).iter().all(|(line, _)| *line == 3));
    }
}
