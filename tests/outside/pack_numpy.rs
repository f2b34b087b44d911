//! `packdrift stack` against numpy and scipy: the same packs, drawn and solved by `pack_numpy.py`, which shares no code with
//! us. Agreement within five standard errors of the difference, both sides' errors counted.

use crate::program::json;
use serde_json::Value;
use std::path::Path;

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// `allowed` standard errors of the difference, plus the rounding of a frozen share of zero.
fn agrees(what: &str, ours: f64, our_error: f64, theirs: f64, their_error: f64) {
    let error = our_error.hypot(their_error);
    assert!(
        (ours - theirs).abs() <= 5.0 * error,
        "{what}: ours {ours}, numpy {theirs}, standard error of the difference {error}"
    );
}

/// Compares every requirement of every frozen pack, by the given further arguments of `stack`.
fn compare(arguments: &[&str]) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let frozen = std::fs::read_to_string(root.join("tests/reference/pack_numpy.json")).unwrap();
    let frozen: Value = serde_json::from_str(&frozen).unwrap();
    let packs = frozen["values"].as_object().unwrap();
    assert_eq!(packs.len(), 2);
    for (pack, requirements) in packs {
        let path = root.join(pack);
        let all: Vec<&str> =
            ["stack", path.to_str().unwrap()].iter().copied().chain(arguments.iter().copied()).collect();
        let (_, result) = json(&all);
        let ours = result["requirements"].as_array().unwrap();
        let theirs = requirements.as_array().unwrap();
        assert_eq!(ours.len(), theirs.len());
        for theirs in theirs {
            let (name, condition) = (&theirs["name"], &theirs["condition"]);
            let found = ours.iter().find(|r| &r["name"] == name && &r["condition"] == condition);
            let found = &found.unwrap_or_else(|| panic!("no {name} {condition}"))["monte_carlo"];
            let what = format!("{pack}, {name}, {condition} ({})", found["method"]);
            let mean_error = number(&theirs["mean_se"]);
            agrees(
                &format!("{what}: mean"),
                number(&found["mean"]),
                number(&found["standard_error"]),
                number(&theirs["mean"]),
                mean_error,
            );
            // The program prints no standard error of the sd; a sample of numpy's size or more has at most numpy's.
            let sd_error = number(&theirs["sd_se"]);
            agrees(&format!("{what}: sd"), number(&found["sd"]), sd_error, number(&theirs["sd"]), sd_error);
            let out_error = number(&theirs["total_se"]);
            let our_out_error = found["out"]["standard_error"].as_f64().unwrap_or(0.0);
            agrees(
                &format!("{what}: share outside"),
                number(&found["out"]["total"]),
                our_out_error,
                number(&theirs["total"]),
                out_error,
            );
            for side in ["below", "above"] {
                agrees(
                    &format!("{what}: share {side}"),
                    number(&found["out"][side]),
                    our_out_error,
                    number(&theirs[side]),
                    out_error,
                );
            }
        }
    }
}

#[test]
fn plain_monte_carlo_agrees_with_numpy_at_five_standard_errors() {
    compare(&["--method", "monte-carlo", "--trials", "1000000", "--seed", "7"]);
}

#[test]
fn the_default_method_agrees_with_numpy_at_five_standard_errors() {
    compare(&[]);
}
