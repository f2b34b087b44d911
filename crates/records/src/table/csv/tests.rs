//! The fast way and the strict way mean the same, and nothing makes either panic.
#![allow(clippy::type_complexity, clippy::expect_used, reason = "a test stops at the first surprise")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed unwrap fails the test")]

use super::*;
use crate::table::{Column, Kind, Need, Values};
use proptest::prelude::*;

fn schema() -> Schema<'static> {
    let column = |name, kind, need| Column { name, kind, need, meaning: name };
    Schema::new(
        "test",
        vec![
            column("part", Kind::Name, Need::Every),
            column("reading", Kind::Number, Need::Every),
            column("date", Kind::Day, Need::Every),
            column("note", Kind::Name, Need::Some),
            column("u", Kind::Number, Need::Some),
            column("trial", Kind::Count, Need::Some),
        ],
    )
}

/// The columns, or the mistakes, by one way.
fn read_one(text: &str, fast: bool) -> Result<(usize, Vec<Option<Values>>, Vec<u32>), Vec<String>> {
    let source = Source::from_bytes("t.csv", text.as_bytes());
    match read_by(&source, &schema(), &Options::default(), fast) {
        Ok(table) => {
            let lines = table.line_numbers();
            Ok((table.rows, table.columns, lines))
        }
        Err(Error::Input(error)) => Err(error.faults.iter().map(ToString::to_string).collect()),
        Err(other) => panic!("{other}"),
    }
}

/// Whether the fast way takes these rows itself.
fn goes_fast(text: &str) -> bool {
    let schema = schema();
    let source = Source::from_bytes("t.csv", text.as_bytes());
    let head = head(&source, text).unwrap();
    let (places, faults) = header::matched(source.path(), &schema, &head.names, |_| Place::File);
    assert!(faults.is_empty());
    let layout =
        csv_plain::Layout { fields: head.names.len(), separator: head.separator, schema: &schema, places: &places };
    csv_plain::read(&text[head.body..], &layout, &Options::default()).unwrap().is_some()
}

const HEADER: &str = "part,reading,date,note,u,trial\n";

#[test]
fn plain_rows_go_the_fast_way_and_mean_the_same() {
    let text = format!("{HEADER}0012,0.402,2024-02-01,,0.002,1\n12,-1e-3,1969-12-31,slipped,,\nµ7,.5,2099-12-31,,,3\n");
    assert!(goes_fast(&text));
    assert_eq!(read_one(&text, true), read_one(&text, false));
    let (rows, columns, lines) = read_one(&text, true).unwrap();
    assert_eq!((rows, lines), (3, vec![2, 3, 4]));
    let Some(Values::Names(parts)) = &columns[0] else { panic!("{columns:?}") };
    // A name is not a number: its zeros stay.
    assert_eq!(parts.names, ["0012", "12", "µ7"]);
    // So do line ends of either kind, and a last line without one.
    let windows = text.replace('\n', "\r\n");
    assert!(goes_fast(&windows));
    assert_eq!(read_one(&windows, true), read_one(&text, true));
    assert_eq!(read_one(text.trim_end(), true), read_one(&text, true));
    let marked = format!("\u{feff}# a comment, with a comma\n\n{text}");
    assert_eq!(read_one(&marked, true).unwrap().1, columns);
    assert_eq!(read_one(&marked, true).unwrap().2, [4, 5, 6]);
}

/// What a reader made for speed lets pass easily: each must be refused, or read as it stands.
#[test]
fn what_a_fast_reader_forgives_is_not_forgiven() {
    let refused = |row: &str, expected: &str| {
        let text = format!("{HEADER}a,1,2024-01-01,,,\n{row}\nb,2,2024-01-02,,,\n");
        assert!(!goes_fast(&text), "{row}");
        let faults = read_one(&text, true).expect_err(row);
        assert_eq!(faults.len(), 1, "{row}: {faults:?}");
        assert!(faults[0].starts_with("t.csv:3:") && faults[0].contains(expected), "{row}: {faults:?}");
    };
    // A short row would be filled with nulls, where the last columns may be empty without a word.
    refused("c,3,2024-01-03", "found 3 fields, expected 6 fields");
    refused("c,3,2024-01-03,,", "found 5 fields, expected 6 fields");
    // A short and a long row side by side have the right number of separators together.
    let balanced = format!("{HEADER}c,3,2024-01-03,,\nd,4,2024-01-04,,,,\n");
    assert!(!goes_fast(&balanced));
    assert_eq!(read_one(&balanced, true).unwrap_err().len(), 2);
    refused("c,nan,2024-01-03,,,", "found \"nan\", expected a finite number");
    refused("c,1,2024-01-03,,inf,", "found \"inf\", expected a finite number");
    refused("c,\"0,402\",2024-01-03,,,", "write 0.402");
    refused("c,0,402,2024-01-03,,,", "decimal comma");
    refused("c,1,01/02/2024,,,", "read day first it is 2024-02-01, read month first 2024-01-02");
    refused("c,1,2023-02-29,,,", "there is no 2023-02-29");
    refused("c,,2024-01-03,,,", "an empty cell");
    refused(",1,2024-01-03,,,", "an empty cell");
    refused("c,1,2024-01-03,,,1.5", "a whole number");
    refused("c,1x,2024-01-03,,,", "found \"1x\"");
    // Blanks about a value are no part of it, but are no reason to refuse either.
    let blanks = format!("{HEADER} c , 1 ,2024-01-03 ,,,\n");
    assert_eq!(read_one(&blanks, true).unwrap().1, read_one(&format!("{HEADER}c,1,2024-01-03,,,\n"), true).unwrap().1);
}

#[test]
fn a_text_of_several_pieces_is_one_table() {
    let row = |k: usize| {
        format!("p{},{},2024-02-{:02},{},,{}\n", k / 7, k as f64 / 8.0, 1 + k % 28, "x".repeat(k % 3), k % 5)
    };
    let text = format!("{HEADER}{}", (0..120_000).map(row).collect::<String>());
    assert!(text.len() > 3 << 20 && goes_fast(&text));
    let (fast, strict) = (read_one(&text, true).unwrap(), read_one(&text, false).unwrap());
    assert!(fast == strict && fast.0 == 120_000);
    let wrong = text.replace("p15000,", "p15000;");
    assert!(!goes_fast(&wrong));
    let faults = read_one(&wrong, true).unwrap_err();
    assert_eq!(faults.len(), 7);
    assert!(faults[0].starts_with("t.csv:105002:"), "{faults:?}");
}

#[test]
fn lines_are_counted_with_blank_lines_and_quotes() {
    let text = format!("{HEADER}\n\na,1,2024-01-01,\"x, \"\"y\"\"\",,\n\nb,x,2024-01-01,,,\n");
    assert_eq!(
        read_one(&text, true).unwrap_err(),
        ["t.csv:6:3: reading: found \"x\", expected a number with a decimal point, such as 0.402"]
    );
    let good = text.replace("b,x", "b,2");
    assert_eq!(read_one(&good, true).unwrap().2, [4, 6]);
}

#[test]
fn a_quote_that_does_not_close_is_told_where_it_opens() {
    let faults = read_one(&format!("{HEADER}a,1,2024-01-01,\"x,,\nb,2,2024-01-01,,,\n"), true).unwrap_err();
    assert!(faults[0].starts_with("t.csv:2:16: found a quoted field that runs over the end of its line"), "{faults:?}");
}

#[test]
fn headers_are_trimmed_and_their_mistakes_told_with_those_of_the_rows() {
    assert!(read_one("part , reading,date,note,u,trial\na,1,2024-01-01,,,\n", true).is_ok());
    let faults = read_one("part,reading,part,noet\na,x,b,c\n", true).unwrap_err();
    assert_eq!(
        faults,
        [
            "t.csv:1:14: part: found a second column `part`, expected each column once",
            "t.csv:1:19: noet: found the unknown column `noet`, expected a column this table has (did you mean `note`?)",
            "t.csv:1:1: date: found no column `date`, expected date (the file has `part`, `reading`, `part`, `noet`)",
            "t.csv:2:3: reading: found \"x\", expected a number with a decimal point, such as 0.402",
        ]
    );
}

fn field() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => "[a-z0-9]{0,3}",
        4 => (-1_000_000_i64..1_000_000).prop_map(|n| format!("{}", n as f64 / 1000.0)),
        4 => (1890_u16..2110, 0_u8..14, 0_u8..33).prop_map(|(y, m, d)| format!("{y}-{m:02}-{d:02}")),
        1 => any::<f64>().prop_map(|x| format!("{x:e}")),
        1 => prop::sample::select(vec!["", " ", "nan", "-inf", "1,5", "\"a,b\"", "\"", "#", "1e5", "+.5", "5.", "1_0", "0x1", "e", ".", "-", "1 ", "\t", "µ", "12d", "1e400"])
            .prop_map(str::to_owned),
    ]
}

fn table() -> impl Strategy<Value = String> {
    let row = prop::collection::vec(field(), 5..8).prop_map(|fields| fields.join(","));
    let good =
        ("[a-z0-9µ]{1,9}", -1e6..1e6, 1_u8..29, "[a-z]{0,5}", prop::option::of(0.0..1.0), prop::option::of(0_u32..9))
            .prop_map(|(part, reading, day, note, u, trial)| {
                let shown = |x: Option<String>| x.unwrap_or_default();
                format!(
                    "{part},{reading},2024-02-{day:02},{note},{},{}",
                    shown(u.map(|u: f64| u.to_string())),
                    shown(trial.map(|t| t.to_string()))
                )
            });
    let rows = prop::collection::vec(prop_oneof![20 => good, 1 => row], 1..30);
    (rows, prop::sample::select(vec!["\n", "\r\n", "\n\n"]))
        .prop_map(|(rows, end)| format!("{HEADER}{}{end}", rows.join(end)))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn both_ways_give_the_same_table_or_the_same_mistakes(text in table()) {
        prop_assert_eq!(read_one(&text, true).map(|t| (t.0, t.1)), read_one(&text, false).map(|t| (t.0, t.1)));
    }

    #[test]
    fn no_text_makes_it_panic(text in "[a-c,;\"\n\r#\t 0-9.eN\u{0}µ-]{0,200}") {
        let _ = read_one(&text, true);
        let _ = read_one(&format!("{HEADER}{text}"), true);
    }

    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let source = Source::from_bytes("t", bytes);
        let _ = crate::table::read_table(&source, &schema(), &Options::default());
    }
}
