//! What a gauge study found, for the commands that need a reading's uncertainty: the JSON that `gauge` writes.

use crate::error::{Error, Fault, FaultKind, InputError, Notice, Place};
use crate::loaded::Loaded;
use crate::source::Source;
use serde_json::Value;
use std::path::Path;

/// What a gauge study says of a single reading by anyone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GaugeReading {
    /// The standard uncertainty as estimated, mm.
    pub estimate: f64,
    /// The upper end of its interval, mm, by a study that does not show its gauge good enough; None by one that does, or that shows it marginal.
    pub at_most: Option<f64>,
}

impl GaugeReading {
    /// What may be built on, mm: the upper end where the study does not show its gauge good enough (docs/verdicts.md: the bound, not the estimate).
    #[must_use]
    pub fn safe(self) -> f64 {
        self.at_most.map_or(self.estimate, |most| most.max(self.estimate))
    }

    /// What to say where [`safe`](Self::safe) is not the estimate.
    pub fn notice(self, path: &Path) -> Option<Notice> {
        let said = "the study does not show its gauge good enough: its standard uncertainty is taken as the upper end of its interval, not as estimated";
        self.at_most.map(|_| Notice::new(path, said))
    }
}

/// The standard uncertainty of a single reading by anyone, from the JSON result of `gauge` (`--format json`, or `result.json` of `--out`).
///
/// # Errors
/// [`Error::Input`] where the file is no such result, with the place where it ceases to be JSON, or where its study does not show its gauge good enough
/// and has no upper end of the uncertainty; [`Error::Machine`] where it could not be read.
pub fn read_gauge(path: &Path) -> Result<Loaded<GaugeReading>, Error> {
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
/// let text = r#"{ "packdrift": "0.1.0", "command": "gauge", "fitness": "fit", "reading_sd": 0.0026 }"#;
/// assert_eq!(gauge_from(&Source::from_bytes("gauge.json", text.as_bytes()))?.value.safe(), 0.0026);
/// let text = r#"{ "command": "gauge", "fitness": "not shown", "reading_sd": 0.0026, "components": { "gauge": { "interval": [0.001, 0.009] } } }"#;
/// assert_eq!(gauge_from(&Source::from_bytes("gauge.json", text.as_bytes()))?.value.safe(), 0.009);
/// # Ok::<(), packdrift_records::Error>(())
/// ```
pub fn gauge_from(source: &Source) -> Result<Loaded<GaugeReading>, Error> {
    let loaded = figure(source, "reading_sd", "/reading_sd")?;
    let result: Value = serde_json::from_str(source.text()?).unwrap_or_default();
    let estimate = loaded.value;
    if matches!(result.get("fitness").and_then(Value::as_str), Some("fit" | "marginal")) {
        return Ok(loaded.map(|_| GaugeReading { estimate, at_most: None }));
    }
    let end = result.pointer("/components/gauge/interval/1").and_then(Value::as_f64);
    let Some(end) = end.filter(|end| *end > 0.0 && end.is_finite()) else {
        let found =
            "a study that does not show its gauge good enough, without an upper end of its standard uncertainty";
        let expected = "the upper end of the gauge's interval";
        let mut fault =
            Fault::new(FaultKind::MissingKey, source.path().clone(), Place::File, found.to_owned(), expected);
        "components.gauge.interval".clone_into(&mut fault.key);
        fault.help = Some("make the study larger, or give a number".to_owned());
        return Err(Error::Input(InputError::of(vec![fault])));
    };
    let at_most = Some(in_mm(end, &result));
    Ok(loaded.map(|_| GaugeReading { estimate, at_most }))
}

/// The standard deviation of repeated readings by one operator, mm, from the same result: what a lot that one person measured has of the gauge in it. The lower
/// end of its interval, where the result has one: it is taken out of a lot's scatter, or averaged away, and the safe side is to take little.
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
    let loaded = figure(source, "components.repeatability.sd", "/components/repeatability/sd")?;
    let result: Value = serde_json::from_str(source.text()?).unwrap_or_default();
    let end = result.pointer("/components/repeatability/interval/0").and_then(Value::as_f64);
    let at_least = end.filter(|end| *end >= 0.0 && end.is_finite()).map(|end| in_mm(end, &result));
    Ok(loaded.map(|estimate| at_least.map_or(estimate, |least| least.min(estimate))))
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
            Ok(Loaded { value: in_mm(sd, &result), inputs: vec![source.fingerprint()], notices: Vec::new() })
        }
        Some(sd) => refuse(FaultKind::OutOfRange, Place::File, name, sd.to_string()),
        None => refuse(FaultKind::MissingKey, Place::File, name, format!("no `{name}`, or null")),
    }
}

/// A length of the result. Results by older versions are in mm and do not say so.
fn in_mm(length: f64, result: &Value) -> f64 {
    let inches = result.get("units").and_then(Value::as_str) == Some("in");
    if inches { length * crate::units::MILLIMETRES_PER_INCH } else { length }
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
        let text = r#"{ "command": "gauge", "units": "in", "fitness": "fit", "reading_sd": 0.0001, "components": { "repeatability": { "sd": 0.00008 } } }"#;
        let source = Source::from_bytes("g.json", text.as_bytes());
        assert!((gauge_from(&source).unwrap().value.estimate - 0.00254).abs() < 1e-15);
        assert!((repeatability_from(&source).unwrap().value - 0.002032).abs() < 1e-15);
    }

    #[test]
    fn a_study_that_shows_nothing_gives_the_upper_end_or_is_refused() {
        let with = |fitness: &str, rest: &str| {
            let text =
                format!(r#"{{ "command": "gauge", "units": "in", "fitness": {fitness}, "reading_sd": 0.0001{rest} }}"#);
            gauge_from(&Source::from_bytes("g.json", text.as_bytes())).map(|loaded| loaded.value.safe() / 25.4)
        };
        let ends = r#", "components": { "gauge": { "interval": [0.00005, 0.0009] } }"#;
        for (fitness, expected) in [
            ("\"fit\"", 0.0001),
            ("\"marginal\"", 0.0001),
            ("\"not shown\"", 0.0009),
            ("\"unfit\"", 0.0009),
            ("null", 0.0009),
        ] {
            assert!((with(fitness, ends).unwrap() - expected).abs() < 1e-12, "{fitness}");
        }
        assert!(with("\"fit\"", "").is_ok());
        assert!(with("\"not shown\"", "").is_err() && with("null", "").is_err());
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
