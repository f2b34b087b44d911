//! What a gauge study found, for the commands that need a reading's uncertainty: the JSON that `gauge` writes.

use crate::error::{Error, Fault, FaultKind, InputError, Place};
use crate::loaded::Loaded;
use crate::source::Source;
use serde_json::Value;
use std::path::Path;

/// The standard uncertainty of a single reading by anyone, mm, from the JSON result of `gauge` (`--format json`, or `result.json` of `--out`).
///
/// # Errors
/// [`Error::Input`] where the file is no such result, with the place where it ceases to be JSON; [`Error::Machine`] where it could not be read.
pub fn read_gauge(path: &Path) -> Result<Loaded<f64>, Error> {
    gauge_from(&Source::read(path)?)
}

/// As [`read_gauge`], from bytes at hand.
///
/// # Errors
/// As [`read_gauge`].
///
/// # Examples
/// ```
/// use packdrift_records::{Source, gauge_from};
/// let text = r#"{ "packdrift": "0.1.0", "command": "gauge", "reading_sd": 0.0026 }"#;
/// assert_eq!(gauge_from(&Source::from_bytes("gauge.json", text.as_bytes()))?.value, 0.0026);
/// # Ok::<(), packdrift_records::Error>(())
/// ```
pub fn gauge_from(source: &Source) -> Result<Loaded<f64>, Error> {
    figure(source, "reading_sd", "/reading_sd")
}

/// The standard deviation of repeated readings by one operator, mm, from the same result: what a lot that one person measured has of the gauge in it.
///
/// # Errors
/// As [`read_gauge`].
pub fn read_repeatability(path: &Path) -> Result<Loaded<f64>, Error> {
    repeatability_from(&Source::read(path)?)
}

/// As [`read_repeatability`], from bytes at hand.
///
/// # Errors
/// As [`read_gauge`].
pub fn repeatability_from(source: &Source) -> Result<Loaded<f64>, Error> {
    figure(source, "components.repeatability.sd", "/components/repeatability/sd")
}

fn figure(source: &Source, name: &str, pointer: &str) -> Result<Loaded<f64>, Error> {
    let refuse = |kind, place, key: &str, found: String| {
        let mut fault = Fault::new(kind, source.path().clone(), place, found, "the JSON result of `gauge`");
        key.clone_into(&mut fault.key);
        fault.help = Some(
            "write it with `packdrift gauge READINGS --format json > gauge.json`, or give the number itself".to_owned(),
        );
        Err(Error::Input(InputError::of(vec![fault])))
    };
    let result: Value = match serde_json::from_str(source.text()?) {
        Ok(result) => result,
        Err(error) => {
            let place = Place::Text { line: error.line().max(1), column: error.column().max(1), span: None };
            return refuse(FaultKind::Syntax, place, "", format!("not JSON: {error}"));
        }
    };
    match result.get("command").and_then(Value::as_str) {
        Some("gauge") => {}
        Some(other) => return refuse(FaultKind::OtherKind, Place::File, "", format!("the result of `{other}`")),
        None => return refuse(FaultKind::OtherKind, Place::File, "", "JSON of another kind".to_owned()),
    }
    match result.pointer(pointer).and_then(Value::as_f64) {
        Some(sd) if sd > 0.0 && sd.is_finite() => {
            // Results by older versions are in mm and do not say so.
            let inches = result.get("units").and_then(Value::as_str) == Some("in");
            let mm = if inches { sd * crate::units::MILLIMETRES_PER_INCH } else { sd };
            Ok(Loaded { value: mm, inputs: vec![source.fingerprint()], notices: Vec::new() })
        }
        Some(sd) => refuse(FaultKind::OutOfRange, Place::File, name, sd.to_string()),
        None => refuse(FaultKind::MissingKey, Place::File, name, format!("no `{name}`, or null")),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

    use super::*;

    fn refused(text: &str) -> String {
        let Error::Input(error) = gauge_from(&Source::from_bytes("g.json", text.as_bytes())).unwrap_err() else {
            return "another error".to_owned();
        };
        format!("{}: {}", error.faults[0].location(), error.faults[0].message())
    }

    #[test]
    fn a_study_in_inches_gives_mm() {
        let text = r#"{ "command": "gauge", "units": "in", "reading_sd": 0.0001, "components": { "repeatability": { "sd": 0.00008 } } }"#;
        let source = Source::from_bytes("g.json", text.as_bytes());
        assert!((gauge_from(&source).unwrap().value - 0.00254).abs() < 1e-15);
        assert!((repeatability_from(&source).unwrap().value - 0.002032).abs() < 1e-15);
    }

    #[test]
    fn only_a_gauge_study_s_result_will_do() {
        assert!(refused("{\n \"command\": }").starts_with("g.json:2:"), "{}", refused("{\n \"command\": }"));
        assert!(refused(r#"{ "command": "lot", "reading_sd": 0.1 }"#).contains("the result of `lot`"));
        assert!(refused("[1, 2]").contains("another kind"));
        assert!(refused(r#"{ "command": "gauge" }"#).contains("no `reading_sd`"));
        assert!(refused(r#"{ "command": "gauge", "reading_sd": 0 }"#).contains('0'));
    }
}
