//! `lot`, `gauge` and `sampling` as a reviewer runs them, on the demo's invented readings.

use crate::program::{demo, json, run};

#[test]
fn the_packet_that_is_off_is_refused_and_named() {
    let (readings, drawing) = (demo("shims-0.60.csv"), demo("drawing-0.60.toml"));
    let arguments = ["lot", readings.to_str().unwrap(), "--drawing", drawing.to_str().unwrap()];
    let (status, result) = json(&arguments);
    assert_eq!(status, 1);
    let lots = result["lots"].as_array().unwrap();
    assert_eq!(lots.len(), 6);
    for lot in lots {
        let refused = lot["verdict"] == "not acceptable";
        assert_eq!(refused, lot["lot"] == "packet D", "{lot}");
        assert!(
            lot["share_outside"]["upper_bound"].as_f64().unwrap() >= lot["share_outside"]["total"].as_f64().unwrap()
        );
    }
    assert_eq!(result["acceptable"], false);
    // Truth of the demo: packets scatter 0.006 within, read with 0.002.
    let within = result["components"]["within_interval"].as_array().unwrap();
    assert!(within[0].as_f64().unwrap() < 0.0063 && within[1].as_f64().unwrap() > 0.0063);
}

#[test]
fn threads_do_not_change_a_byte() {
    let readings = demo("shims-0.60.csv");
    let ask = |threads: &str| {
        run(&[
            "lot",
            readings.to_str().unwrap(),
            "--nominal",
            "0.6",
            "--lower",
            "0.57",
            "--format",
            "json",
            "--threads",
            threads,
        ])
        .stdout
    };
    assert_eq!(ask("1"), ask("2"));
}

#[test]
fn the_demo_gauge_is_told_fit_with_care() {
    let readings = demo("gauge.csv");
    let (status, result) = json(&["gauge", readings.to_str().unwrap(), "--tolerance", "0.06", "--difference", "0.05"]);
    assert_eq!((status, result["fitness"].as_str()), (0, Some("fit with care")));
    // Truth of the demo: 0.002 repeatability, 0.0015 between fitters.
    let interval = result["components"]["repeatability"]["interval"].as_array().unwrap();
    assert!(interval[0].as_f64().unwrap() < 0.0021 && interval[1].as_f64().unwrap() > 0.002);
    assert_eq!(result["discrimination"]["can_tell"], true);
}

#[test]
fn plans_are_computed_and_looked_up() {
    let (status, result) = json(&["sampling", "--limit", "1.0", "--lot-size", "1000"]);
    assert_eq!(status, 0);
    assert_eq!((result["plan"]["n"].as_u64(), result["plan"]["c"].as_u64()), (Some(80), Some(2)));
    let (_, result) = json(&["sampling", "--by", "variables"]);
    assert!(result["plan"]["n"].as_u64().unwrap() < 80 && result["plan"]["k"].as_f64().unwrap() > 1.5);
}

#[test]
fn what_has_no_meaning_is_refused() {
    for arguments in [
        vec!["sampling", "--sigma", "0.01"],
        vec!["sampling", "--by", "variables", "--lot-size", "100"],
        vec!["sampling", "--producer-quality", "0.1", "--consumer-quality", "0.05"],
        vec!["lot", "no-such-file.csv"],
    ] {
        let output = run(&arguments);
        assert!(matches!(output.status.code(), Some(2 | 3)), "{arguments:?}");
        assert!(String::from_utf8_lossy(&output.stderr).len() > 20);
    }
}
