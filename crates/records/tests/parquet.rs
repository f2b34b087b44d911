//! Parquet files of every type and encoding that writers use, and damaged ones: read right, or an error that says what is there; never a crash.
//!
//! The files are by another library: `tests/outside/parquet_types.py`.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed unwrap fails the test")]

use packdrift_records::{Error, LengthUnit, Options, Source, Study, inspections_from, readings_from};
use std::path::{Path, PathBuf};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures").join(format!("{name}.parquet"))
}

fn words(error: Error) -> String {
    match error {
        Error::Input(error) => error.to_string(),
        other => panic!("{other}"),
    }
}

/// The readings, or the first mistake in words.
fn read(bytes: Vec<u8>) -> Result<Vec<f64>, String> {
    let source = Source::from_bytes("readings.parquet", bytes);
    let read = readings_from(&source, Study::Lots, LengthUnit::Millimetre, &Options::default());
    read.map(|loaded| loaded.value.reading).map_err(words)
}

#[test]
fn numbers_are_read_however_they_are_stored() {
    let decimals = [0.401, 0.402, 0.398];
    let halves = [0.401_f64, 0.402, 0.398].map(|x| (x * 4096.0).round() / 4096.0);
    for (name, readings) in [
        ("decimal", decimals),
        ("decimal-4-bytes", decimals),
        ("decimal-wide", decimals),
        ("words", decimals),
        ("bytes", decimals),
        ("snappy-v2", decimals),
        ("lz4", decimals),
        ("brotli", decimals),
        ("split", decimals),
        ("float16", halves),
        ("float32", decimals),
        ("int8", [1.0, 2.0, 3.0]),
        ("uint8", [1.0, 2.0, 255.0]),
        ("int16", [1.0, 2.0, 3.0]),
        ("int32", [1.0, 2.0, 3.0]),
        ("uint64", [1.0, 2.0, 2.0_f64.powi(63)]),
    ] {
        assert_eq!(read(std::fs::read(fixture(name)).unwrap()), Ok(readings.to_vec()), "{name}");
    }
}

#[test]
fn a_type_that_is_not_read_is_named() {
    for (name, says) in [
        ("decimal-too-wide", "DECIMAL of 50 digits"),
        ("time", "TIME"),
        ("list", "LIST, MAP or group"),
        ("group", "LIST, MAP or group"),
        // A truth is a word, and no number.
        ("truth", "\"true\""),
    ] {
        let error = read(std::fs::read(fixture(name)).unwrap()).unwrap_err();
        assert!(error.contains(says) && !error.contains("damaged"), "{name}: {error}");
    }
}

#[test]
fn days_are_read_however_they_are_stored() {
    let days = |name: &str| {
        let source = Source::from_bytes("inspections.parquet", std::fs::read(fixture(name)).unwrap());
        inspections_from(&source, &Options::default()).map(|loaded| loaded.value.day).map_err(words)
    };
    for name in ["date", "date-ms", "date-ns", "date-utc", "date-int96"] {
        assert_eq!(days(name), Ok(vec![20_000, 20_001, 20_002]), "{name}");
    }
    assert!(days("date-null").unwrap_err().contains("empty"));
    // Midnight in a zone east of Greenwich is the day before in universal time: not guessed at.
    assert!(days("date-zone").unwrap_err().contains("universal time"));
    // A time of day that its writer's own clock showed is left off.
    assert_eq!(days("date-times"), Ok(vec![20_000, 20_001, 20_002]));
}

/// The bits that are turned: `tests/end_to_end/limits.rs`, by the program, since some of them may end a process.
#[test]
fn a_file_cut_anywhere_is_an_error() {
    for name in ["int32", "float32", "decimal", "words"] {
        let whole = std::fs::read(fixture(name)).unwrap();
        for length in 0..whole.len() {
            assert!(read(whole[..length].to_vec()).is_err(), "{name} cut at {length}");
        }
    }
}
