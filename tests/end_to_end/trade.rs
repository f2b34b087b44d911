//! What every fitter of such a shaft knows (common practice, no source), asked of `stack`.

use crate::program::json;
use serde_json::Value;
use std::fmt::Write as _;

/// Face, shim place, rocker, washer, spring washer (100 N/mm), washer, face: thicknesses as they are given, all else exact.
fn pack(beside_the_rocker: &[&str], pair: [&str; 2]) -> String {
    let mut text = String::from(
        "title = \"one rocker\"\nunits = \"mm\"\n[material.steel]\nexpansion = 11.5e-6\n[[lot]]\nname = \"packet\"\nbetween = 0.03\n\
         [[bay]]\nname = \"front\"\nspan = 30.0\nmaterial = \"steel\"\n",
    );
    for (k, thickness) in beside_the_rocker.iter().enumerate() {
        let _ = write!(
            text,
            "[[bay.part]]\nname = \"shim {k}\"\nkind = \"shim\"\nthickness = {thickness}\nmaterial = \"steel\"\n"
        );
    }
    text += "[[bay.part]]\nname = \"rocker\"\nkind = \"rocker\"\nwidth = 24.0\nadjuster = 11.3\nmaterial = \"steel\"\n";
    let spring = "[[bay.part]]\nname = \"spring\"\nkind = \"spring-washer\"\nlaw = \"linear\"\nrate = 100.0\nfree_height = 4.8\nmaterial = \"steel\"\n";
    for (k, thickness) in pair.iter().enumerate() {
        let _ = write!(
            text,
            "[[bay.part]]\nname = \"washer {k}\"\nkind = \"washer\"\nthickness = {thickness}\nmaterial = \"steel\"\n"
        );
        if k == 0 {
            text += spring;
        }
    }
    text += "[[bay.valve]]\nname = \"exhaust\"\nrocker = \"rocker\"\nstem = 10.7\n";
    text +=
        "[[requirement]]\nname = \"offset\"\nquantity = \"offset\"\nvalve = \"exhaust\"\nlower = 0.0\nupper = 2.0\n";
    text +=
        "[[requirement]]\nname = \"preload\"\nquantity = \"preload\"\nbay = \"front\"\nlower = 20.0\nupper = 200.0\n";
    text
}

/// Offset and preload of `stack`.
fn stacked(text: &str) -> [Value; 2] {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("pack.toml");
    std::fs::write(&path, text).unwrap();
    let (status, result) = json(&["stack", path.to_str().unwrap()]);
    assert_eq!(status, 0, "{result}");
    let named = |name: &str| {
        let all = result["requirements"].as_array().unwrap();
        all.iter().find(|r| r["name"] == name).unwrap().clone()
    };
    [named("offset"), named("preload")]
}

fn nominal(result: &Value) -> f64 {
    result["nominal"].as_f64().unwrap()
}

fn sd(result: &Value) -> f64 {
    result["monte_carlo"]["sd"].as_f64().unwrap()
}

#[test]
fn thickness_added_on_one_side_is_taken_out_on_the_other() {
    // The pair sold as 1.00 mm, measured; then a thin shim beside the rocker and the pair replaced by thinner pieces, all 7.9 % thick: a
    // shim sold as 0.381 measured 0.411 and two sold as 0.762 measured 0.822.
    let before = stacked(&pack(&[], ["0.969", "1.001"]));
    let after = stacked(&pack(&["0.411"], ["0.822", "0.822"]));
    let planned = stacked(&pack(&["0.381"], ["0.762", "0.762"]));
    // Sums 1.970, 2.055 and the planned 1.905; 100 N/mm turns them into preload.
    let change = |to: &[Value; 2], k: usize| nominal(&to[k]) - nominal(&before[k]);
    assert!((change(&after, 0) - 0.411).abs() < 1e-9, "the rocker moves by the thickness of the shim beside it");
    assert!((change(&after, 1) - 100.0 * (2.055 - 1.970)).abs() < 1e-6);
    assert!((change(&planned, 1) - 100.0 * (1.905 - 1.970)).abs() < 1e-6);
    // A sum within about 0.1 mm of the old one keeps the preload inside its limits.
    for result in [&after, &planned] {
        assert_eq!(result[1]["acceptable"], true);
        assert!(change(result, 1).abs() < 10.0);
    }
}

#[test]
fn one_packet_s_deviation_is_shared_and_widens_the_preload() {
    // Three shims of one packet whose lots differ by 0.03 mm (sd, 7.9 % of 0.381), against three that err independently by as much.
    let shared = "{ mean = 0.6, sd = 0.001, lot = \"packet\" }";
    let alone = "{ mean = 0.6, sd = 0.030016662039607 }";
    let together = stacked(&pack(&[shared], [shared, shared]));
    let independent = stacked(&pack(&[alone], [alone, alone]));
    // Offset: one shim either way. Preload: the sum of three, 3·0.03 against √3·0.03.
    assert!((sd(&together[0]) / sd(&independent[0]) - 1.0).abs() < 1e-6);
    let ratio = (9.0 * 0.03_f64.powi(2) + 3.0 * 0.001_f64.powi(2)).sqrt()
        / (3.0 * (0.03_f64.powi(2) + 0.001_f64.powi(2))).sqrt();
    // The preload is sampled, since a pack may come loose: its sd is good to some 1e-4.
    assert!(
        (sd(&together[1]) / sd(&independent[1]) / ratio - 1.0).abs() < 1e-3,
        "{} {}",
        sd(&together[1]),
        sd(&independent[1])
    );
    let lot = together[1]["contributors"].as_array().unwrap().iter().find(|c| c["dimension"] == "lot/packet").unwrap();
    assert!(lot["variance_share"].as_f64().unwrap() > 0.99, "{lot}");
}
