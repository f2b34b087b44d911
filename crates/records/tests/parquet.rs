//! Parquet files that are damaged, or of types that are not read: an error that says so, never a crash.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed unwrap fails the test")]

use packdrift_records::{Error, LengthUnit, Options, Source, Study, readings_from};
use std::path::{Path, PathBuf};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures").join(name)
}

/// The readings, or the first mistake in words.
fn read(bytes: Vec<u8>) -> Result<Vec<f64>, String> {
    let source = Source::from_bytes("readings.parquet", bytes);
    match readings_from(&source, Study::Lots, LengthUnit::Millimetre, &Options::default()) {
        Ok(loaded) => Ok(loaded.value.reading),
        Err(Error::Input(error)) => Err(error.to_string()),
        Err(other) => panic!("{other}"),
    }
}

#[test]
fn a_type_that_is_not_read_is_named() {
    for (name, says) in [
        ("decimal", "DECIMAL"),
        ("decimal-wide", "DECIMAL"),
        ("int8", "INT_8"),
        ("uint8", "UINT_8"),
        ("int16", "INT_16"),
        ("float16", "FLOAT16"),
    ] {
        let error = read(std::fs::read(fixture(&format!("{name}.parquet"))).unwrap()).unwrap_err();
        assert!(error.contains(says) && error.contains("DOUBLE") && !error.contains("damaged"), "{name}: {error}");
    }
    for (name, readings) in
        [("int32", [1.0, 2.0, 3.0]), ("float32", [0.401, 0.402, 0.398].map(|x: f64| f64::from(x as f32)))]
    {
        assert_eq!(read(std::fs::read(fixture(&format!("{name}.parquet"))).unwrap()), Ok(readings.to_vec()), "{name}");
    }
}

/// The bits that are turned: `tests/end_to_end/limits.rs`, by the program, since some of them end a process.
#[test]
fn a_file_cut_anywhere_is_an_error() {
    for name in ["int32", "float32", "decimal"] {
        let whole = std::fs::read(fixture(&format!("{name}.parquet"))).unwrap();
        for length in 0..whole.len() {
            assert!(read(whole[..length].to_vec()).is_err(), "{name} cut at {length}");
        }
    }
}
