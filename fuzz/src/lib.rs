//! What is fuzzed: every reader of bytes that may come from anybody, and the option parser. A target takes bytes, reads them as the program
//! would, and holds the answer to what the program promises: no crash, no number that is none, an error with its place and with words, and
//! nothing in the words that steers a terminal.
//!
//! `fuzz/run.sh` runs the targets under the engine; the test in `tests/kept.rs` runs each on every file that was kept for it.

mod wrapped;

use packdrift_cli::readers;
use packdrift_records::{self as records, Error, LengthUnit, Loaded, Options, Source, Study};
use std::borrow::Cow;
use std::ffi::OsString;

/// Something that reads bytes.
#[derive(Debug, Clone, Copy)]
pub struct Target {
    /// Also the name of its folder in `fuzz/corpus`.
    pub name: &'static str,
    /// Reads the bytes; panics where the answer breaks a promise.
    pub read: fn(&[u8]),
    /// Bytes of an input at most: what is longer is read slower and finds no more.
    pub longest: usize,
    /// Whether a demand for more memory than there is ends the trial and is no finding: the program reads such files in a process of its own
    /// first.
    pub is_tried_first: bool,
}

const TEXT: usize = 8 << 10;

/// All of them.
pub const TARGETS: [Target; 19] = [
    target("pack", |bytes| {
        told(&records::stack_from(&toml(bytes)), |_| vec![]);
        told(&records::pack_from(&toml(bytes)), |_| vec![]);
    }),
    target("policy", |bytes| told(&records::policy_from(&toml(bytes)), |policy| vec![policy.risk, policy.horizon])),
    target("scenario", |bytes| told(&records::scenario_from(&toml(bytes), None), |_| vec![])),
    target("drawing", |bytes| told(&records::drawing_from(&toml(bytes)), |_| vec![])),
    target("inspections", |bytes| inspections(&table(bytes))),
    target("readings", |bytes| readings(&table(bytes), Study::Lots)),
    target("gauge-study", |bytes| readings(&table(bytes), Study::Gauge)),
    target("drawer", |bytes| {
        let read = records::drawer_from(&table(bytes), LengthUnit::Inch, &options());
        told(&read, |pieces| {
            pieces.iter().flat_map(|piece| [Some(piece.thickness), piece.u, piece.cost]).flatten().collect()
        });
    }),
    target("demand", |bytes| {
        let read = records::demand_from(&table(bytes), &options());
        told(&read, |demand| demand.streams.iter().map(|stream| stream.rate_per_day).collect());
    }),
    target("deliveries", |bytes| told(&records::history_from(&table(bytes), 1_000, &options()), |_| vec![])),
    target("sums", |bytes| sums(&table(bytes))),
    target("sample", |bytes| sample(&table(bytes))),
    // Which kind of file is it? Then that reader.
    target("check", |bytes| match records::checked(&Source::from_bytes(BESIDE, bytes), &options()) {
        Ok(checked) if checked.is_right() => assert!(checked.kind.is_some() && !checked.holds.is_empty()),
        Ok(checked) => assert!(!checked.faults.is_empty() && checked.total >= checked.faults.len()),
        Err(error) => panic!("bytes at hand: {error}"),
    }),
    Target {
        longest: 32 << 10,
        ..target("workbook", |bytes| every_table(&Source::from_bytes("fuzz.xlsx", wrapped::workbook(bytes))))
    },
    Target {
        longest: 32 << 10,
        is_tried_first: true,
        ..target("parquet", |bytes| every_table(&Source::from_bytes("fuzz.parquet", bytes)))
    },
    target("gauge-result", |bytes| {
        told(&records::gauge_from(&table(bytes)), |sd| vec![*sd]);
        told(&records::repeatability_from(&table(bytes)), |sd| vec![*sd]);
    }),
    // With the checksum that is right, too: the content is to be looked at, not believed.
    target("share", |bytes| {
        for source in [bytes.into(), wrapped::share("share of the trials of stack", bytes)] {
            said(readers::stack_share(&Source::from_bytes("fuzz.json", source)));
        }
        for source in [bytes.into(), wrapped::share("share of the forecasts of trend", bytes)] {
            said(readers::trend_share(&Source::from_bytes("fuzz.json", source)));
        }
    }),
    target("result", |bytes| said(readers::result(&Source::from_bytes("result.json", bytes)))),
    target("arguments", arguments),
];

const fn target(name: &'static str, read: fn(&[u8])) -> Target {
    Target { name, read, longest: TEXT, is_tried_first: false }
}

/// The target of a name.
pub fn named(name: &str) -> Option<Target> {
    TARGETS.into_iter().find(|target| target.name == name)
}

/// A pack file may name the sample that lies there.
const BESIDE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/beside/fuzz.toml");

fn toml(bytes: &[u8]) -> Source {
    Source::from_bytes(BESIDE, bytes)
}

fn table(bytes: &[u8]) -> Source {
    Source::from_bytes("fuzz.csv", bytes)
}

/// A day that counts as today, so that later ones are mistakes.
fn options() -> Options {
    Options { today: Some(20_000), ..Options::default() }
}

fn inspections(source: &Source) {
    told(&records::inspections_from(source, &options()), |table| {
        let rows = table.value.len();
        assert!([table.valve.len(), table.hours.len(), table.feature.len(), table.day.len()] == [rows; 4]);
        table.value.iter().chain(&table.hours).copied().collect()
    });
}

fn readings(source: &Source, study: Study) {
    told(&records::readings_from(source, study, LengthUnit::Inch, &options()), |table| table.reading.clone());
}

fn sums(source: &Source) {
    told(&records::sums_from(source, &options()), |sums| {
        sums.mean_value.iter().chain(&sums.hours_squares).chain(&sums.products).copied().collect()
    });
}

fn sample(source: &Source) {
    told(&records::sample_from(source, "reading", LengthUnit::Inch), Clone::clone);
}

fn every_table(source: &Source) {
    inspections(source);
    readings(source, Study::Lots);
    sums(source);
    sample(source);
}

/// Each line an argument. What a run would record of them must be taken again, and come to the same: `replay` rests on it.
fn arguments(bytes: &[u8]) {
    let own = std::iter::once(OsString::from("packdrift"));
    match readers::arguments(own.chain(bytes.split(|byte| *byte == b'\n').map(wrapped::argument))) {
        // `tour` records its folder, which is none of its inputs, and it is replayed without.
        Ok(recorded) if recorded.first().is_some_and(|command| command != "tour") => {
            let again = readers::arguments(std::iter::once("packdrift".to_owned()).chain(recorded.clone()));
            assert_eq!(again.as_ref(), Ok(&recorded));
        }
        other => said(other.map(drop)),
    }
}

/// An answer has numbers that are numbers; an error has places and words.
fn told<T>(read: &Result<Loaded<T>, Error>, numbers: impl Fn(&T) -> Vec<f64>) {
    match read {
        Ok(loaded) => {
            assert!(numbers(&loaded.value).iter().all(|number| number.is_finite()), "a number that is none");
            assert_eq!(loaded.inputs.first().map(|input| input.sha256.len()), Some(64));
        }
        Err(Error::Input(error)) => {
            assert!(!error.faults.is_empty() && error.total >= error.faults.len(), "{error:?}");
            assert!(error.faults.iter().all(|fault| !fault.message().is_empty()), "{error:?}");
            shown(&readers::mistakes(error));
        }
        Err(error) => panic!("bytes at hand: {error}"),
    }
}

fn said(answer: Result<(), String>) {
    if let Err(why) = answer {
        assert!(!why.is_empty());
    }
}

/// Nothing in it steers a terminal.
fn shown(text: &str) {
    let text = text.replace('\t', " ");
    assert!(matches!(packdrift_visible::text(&text), Cow::Borrowed(_)), "{text:?}");
}
