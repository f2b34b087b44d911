//! Values that other libraries computed, frozen in the repository's `tests/reference` by the scripts in `tests/outside`, which `./test.sh` runs
//! again and compares. For tests alone.
#![allow(clippy::panic, clippy::unwrap_used, reason = "a reference that cannot be read is a failed test")]

use crate::distribution::Distribution;
use serde_json::Value;

/// The values of `tests/reference/NAME.json`.
pub(crate) fn values(name: &str) -> Value {
    let path = format!("{}/../../tests/reference/{name}.json", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
    let whole: Value = serde_json::from_str(&text).unwrap_or_else(|error| panic!("{path}: {error}"));
    whole["values"].clone()
}

/// A number of a reference.
pub(crate) fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// The numbers of a list.
pub(crate) fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap_or_else(|| panic!("{value} is no list")).iter().map(number).collect()
}

/// A distribution by its kind and parameters.
pub(crate) fn distribution(parameters: &Value) -> Distribution {
    let get = |key: &str| number(&parameters[key]);
    let (lower, upper) = (parameters["lower"].as_f64(), parameters["upper"].as_f64());
    let limits = || (lower.unwrap(), upper.unwrap());
    match parameters["kind"].as_str().unwrap() {
        "normal" => Distribution::Normal { mean: get("mean"), sd: get("sd") },
        "truncated-normal" => {
            Distribution::TruncatedNormal { mean: get("mean"), sd: get("sd"), lower: limits().0, upper: limits().1 }
        }
        "lognormal" => Distribution::LogNormal { mean: get("mean"), sd: get("sd") },
        "rectangular" => Distribution::Rectangular { lower: limits().0, upper: limits().1 },
        "triangular" => Distribution::Triangular { lower: limits().0, upper: limits().1 },
        "trapezoidal" => Distribution::Trapezoidal { lower: limits().0, upper: limits().1, beta: get("beta") },
        "curvilinear-trapezoidal" => Distribution::CurvilinearTrapezoidal {
            lower: limits().0,
            upper: limits().1,
            inexactness: get("inexactness"),
        },
        "arcsine" => Distribution::Arcsine { lower: limits().0, upper: limits().1 },
        "t" => Distribution::ScaledShiftedT {
            degrees_of_freedom: get("degrees_of_freedom"),
            location: get("location"),
            scale: get("scale"),
        },
        "gamma" => Distribution::Gamma { shape: get("shape"), scale: get("scale") },
        "exponential" => Distribution::Exponential { mean: get("mean") },
        other => panic!("the reference has a kind that these tests do not know: {other}"),
    }
}
