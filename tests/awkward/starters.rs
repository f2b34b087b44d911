//! What `new` writes is right as it stands.

use crate::run;

fn said(output: &std::process::Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

#[test]
fn every_starter_has_no_mistake() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    for (kind, extensions) in [
        ("pack", &["toml"][..]),
        ("policy", &["toml"]),
        ("inspections", &["csv", "xlsx"]),
        ("readings", &["csv", "xlsx"]),
        ("gauge", &["csv", "xlsx"]),
        ("drawer", &["csv", "xlsx"]),
        ("deliveries", &["csv", "xlsx"]),
    ] {
        for extension in extensions {
            let file = format!("{kind}.{extension}");
            let made = run(at, &["new", kind, &file]);
            assert_eq!(made.status.code(), Some(0), "{file}: {}", said(&made));
            let checked = run(at, &["check", &file, "--quiet"]);
            let text = said(&checked);
            assert!(checked.status.code() == Some(0) && text.contains("no mistake"), "{file}: {text}");
            // It is the user's from then on.
            if *extension != "xlsx" {
                let again = run(at, &["new", kind, &file]);
                assert!(again.status.code() == Some(2) && said(&again).contains("--force"), "{}", said(&again));
            }
        }
    }
    // The questions a user must answer are marked.
    for file in ["pack.toml", "policy.toml"] {
        assert!(
            std::fs::read_to_string(at.join(file)).unwrap().lines().filter(|line| line.contains("# ?")).count() > 5
        );
    }
    // A gauge study is told from readings of lots, and what `new` says to do next works.
    for file in ["gauge.csv", "gauge.xlsx"] {
        let checked = run(at, &["check", file, "--quiet"]);
        assert!(said(&checked).contains("readings of a gauge study"), "{}", said(&checked));
        let study = run(at, &["gauge", file, "--lower", "0.57", "--upper", "0.63", "--quiet"]);
        assert!(matches!(study.status.code(), Some(0 | 1)), "{}", said(&study));
    }
    let comments = std::fs::read_to_string(at.join("gauge.csv")).unwrap();
    assert!(comments.starts_with("# A gauge study") && comments.contains("EXAMPLE"), "{comments}");
    let trend = run(at, &["trend", "inspections.csv", "--policy", "policy.toml", "--quiet"]);
    assert!(matches!(trend.status.code(), Some(0 | 1)), "{}", said(&trend));
}

#[test]
fn every_answer_makes_a_bay_that_can_be_assembled() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    for rockers in ["1", "2"] {
        for spring in ["disc", "wave", "curved", "linear"] {
            for units in ["mm", "in"] {
                let options = ["--rockers", rockers, "--spring", spring, "--units", units, "--force"];
                let made = run(at, &[&["new", "pack", "mine.toml"][..], &options].concat());
                let text = said(&made);
                assert_eq!(made.status.code(), Some(0), "{options:?}: {text}");
                assert_eq!(text.matches("[== rocker").count().to_string(), rockers, "{text}");
                let checked = run(at, &["check", "mine.toml", "--format", "json"]);
                let json: serde_json::Value = serde_json::from_slice(&checked.stdout).unwrap();
                for bay in json["files"][0]["bays"].as_array().unwrap() {
                    let preload = bay["preload"].as_f64().unwrap_or_default();
                    assert!((20.0..2000.0).contains(&preload), "{options:?}: {bay}");
                    // Offsets are told in the pack's unit.
                    let mm = if units == "in" { 25.4 } else { 1.0 };
                    for offset in bay["offsets"].as_array().unwrap() {
                        let lowest = mm * offset["lowest"].as_f64().unwrap();
                        assert!((0.8..1.2).contains(&lowest), "{options:?}: {offset}");
                    }
                }
            }
        }
    }
    for (arguments, says) in [
        (&["new", "pack", "mine.csv"][..], "is to end in .toml"),
        (&["new", "drawer", "mine.toml", "--force"], "is to end in .csv or .xlsx"),
        (&["new", "drawer", "d.csv", "--spring", "disc"], "belong to `new pack`"),
    ] {
        let refused = run(at, arguments);
        assert!(refused.status.code() == Some(2) && said(&refused).contains(says), "{arguments:?}: {}", said(&refused));
    }
}
