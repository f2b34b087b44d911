//! `lot`, `gauge` and `sampling` as a reviewer runs them, on the demo's invented readings.

use crate::program::{demo, json, run, run_in};

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
fn the_demo_gauge_is_judged_by_what_its_study_leaves_open() {
    let readings = demo("gauge.csv");
    let (status, result) = json(&["gauge", readings.to_str().unwrap(), "--tolerance", "0.06", "--difference", "0.05"]);
    // A quarter of the tolerance by the estimate; three operators leave far more open.
    assert_eq!(
        (status, result["fitness"].as_str(), result["verdict"].as_str()),
        (1, Some("not shown"), Some("not shown"))
    );
    assert!(result["deciding_share"].as_f64().unwrap() < 0.3 && result["deciding_interval"][1].as_f64().unwrap() > 0.3);
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

/// What the gauge's scatter does in the pack, and the six packets in it: each figure finite, bounds in order, like bays alike.
#[test]
fn packets_and_gauge_in_the_pack() {
    let (readings, drawing, pack) = (demo("shims-0.60.csv"), demo("drawing-0.60.toml"), demo("pack.toml"));
    let [readings, drawing, pack] = [&readings, &drawing, &pack].map(|p| p.to_str().unwrap());
    let (status, result) = json(&["lot", readings, "--drawing", drawing, "--pack", pack, "--as", "shim 0.60"]);
    assert_eq!(status, 1);
    let lots = result["in_pack"].as_array().unwrap();
    assert_eq!(lots.len(), 6);
    for lot in lots {
        let requirements = lot["requirements"].as_array().unwrap();
        let share = |r: &serde_json::Value, key: &str| r[key].as_f64().unwrap();
        for r in requirements {
            assert!(
                share(r, "lower_bound") <= share(r, "fitted") && share(r, "fitted") <= share(r, "upper_bound"),
                "{r}"
            );
            // The second cylinder is built like the first.
            if let Some(twin) = r["name"].as_str().filter(|n| n.contains('1')).map(|n| n.replace('1', "2")) {
                let twin = requirements
                    .iter()
                    .find(|t| t["name"] == twin.as_str() && t["condition"] == r["condition"])
                    .unwrap();
                for key in ["fitted", "upper_bound", "lower_bound", "empirical"] {
                    assert!((share(r, key) / share(twin, key) - 1.0).abs() < 0.02, "{key}: {r} {twin}");
                }
            }
        }
    }
    let gauge = demo("gauge.csv");
    let (_, result) = json(&["gauge", gauge.to_str().unwrap(), "--tolerance", "0.06", "--pack", pack]);
    let offset = &result["in_pack"]["requirements"][0];
    // One shim beside the rocker, and almost no growth: the offset gets the reading's own scatter.
    let ratio = offset["added_sd"].as_f64().unwrap() / result["reading_sd"].as_f64().unwrap();
    assert!((ratio - 1.0).abs() < 0.002 && offset["read"].as_f64() > offset["known"].as_f64(), "{offset}");
}

#[test]
fn a_history_of_deliveries_tightens_inspection() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("deliveries.csv");
    std::fs::write(&file, "lot,outside\na,0\nb,4\nc,1\nd,3\n").unwrap();
    let (status, result) =
        json(&["sampling", "--limit", "1.0", "--lot-size", "1000", "--history", file.to_str().unwrap()]);
    assert_eq!(status, 1);
    assert_eq!(result["history"]["next"], "tightened");
    assert_eq!((result["plan"]["n"].as_u64(), result["plan"]["c"].as_u64()), (Some(80), Some(1)));
    let refused = run(&["sampling", "--history", file.to_str().unwrap()]);
    assert_eq!(refused.status.code(), Some(2));
}

/// Ten lots in a row with at most one outside permit fewer parts; with --reduced the eleventh is judged by them.
#[test]
fn reduced_inspection_is_permitted_and_with_consent_in_force() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("deliveries.csv");
    let rows: String = (1..=11).map(|k| format!("delivery {k},1\n")).collect();
    std::fs::write(&file, format!("lot,outside\n{rows}")).unwrap();
    let common = ["sampling", "--limit", "1.0", "--lot-size", "1000", "--history", file.to_str().unwrap()];
    let (status, result) = json(&common);
    assert_eq!((status, result["history"]["next"].as_str()), (0, Some("reduced permitted")));
    assert_eq!((result["plan"]["n"].as_u64(), result["plan"]["c"].as_u64()), (Some(80), Some(2)));
    let (status, result) = json(&[&common[..], &["--reduced"]].concat());
    assert_eq!((status, result["history"]["next"].as_str()), (0, Some("reduced")));
    let eleventh = &result["history"]["deliveries"][10];
    assert_eq!(
        (eleventh["inspection"].as_str(), eleventh["n"].as_u64(), eleventh["c"].as_u64()),
        (Some("reduced"), Some(32), Some(1))
    );
    assert_eq!((result["plan"]["n"].as_u64(), result["plan"]["c"].as_u64()), (Some(32), Some(1)));
    assert!(result["origin"].as_str().unwrap().contains("protects you less"));
    // The curve is that of the plan shown: at the limit itself between 90 and 99 %.
    let near = |q: f64| {
        let curve = result["operating_characteristic"].as_array().unwrap();
        let gap = |p: &serde_json::Value| (p["quality"].as_f64().unwrap() - q).abs();
        curve.iter().min_by(|a, b| gap(a).total_cmp(&gap(b))).unwrap()["accepted"].as_f64().unwrap()
    };
    assert!((0.90..0.99).contains(&near(0.01)) && near(0.05) > 0.5, "{} {}", near(0.01), near(0.05));
    assert_eq!(
        run(&["sampling", "--limit", "1.0", "--lot-size", "1000", "--reduced", "--tightened"]).status.code(),
        Some(2)
    );
}

/// What the gauge study found goes on as its own result, recorded among what was read: to `trend` as estimated, and said to be so; to `shim`, `stock` and
/// `allocate --fit-from` as the upper end of its interval, since the demo's study does not show its gauge good enough.
#[test]
fn a_gauge_study_s_result_is_taken_as_the_reading_s_uncertainty() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let gauge = run(&["gauge", demo("gauge.csv").to_str().unwrap(), "--tolerance", "0.06", "--format", "json"]);
    std::fs::write(at("gauge.json"), &gauge.stdout).unwrap();
    let study: serde_json::Value = serde_json::from_slice(&gauge.stdout).unwrap();
    let (sd, end) = (study["reading_sd"].to_string(), study["components"]["gauge"]["interval"][1].to_string());
    assert_eq!(study["fitness"], "not shown");
    let policy = "risk = 0.05\nhorizon = 2000\n[feature.contact_offset]\nlower = 0.4\nupper = 1.6\nreading_sd = ";
    std::fs::write(at("by-number.toml"), format!("{policy}{sd}\n")).unwrap();
    std::fs::write(at("by-file.toml"), format!("{policy}\"gauge.json\"\n")).unwrap();
    let without_inputs = |args: &[&str]| {
        let (_, mut result) = json(args);
        result["arguments"].take();
        let inputs = result["inputs"].take();
        let not_as_estimated =
            |w: &serde_json::Value| w.as_str().unwrap().contains("does not show its gauge good enough");
        let warnings = result["warnings"].as_array_mut().unwrap();
        let before = warnings.len();
        warnings.retain(|w| !not_as_estimated(w));
        // Said wherever the file was read, and nowhere else.
        let of_the_study =
            inputs.as_array().unwrap().iter().any(|i| i["path"].as_str().unwrap().ends_with("gauge.json"));
        assert_eq!(before - warnings.len(), usize::from(of_the_study), "{args:?}");
        (result, inputs)
    };
    let inspections = demo("inspections.csv");
    let trend = |policy: &str| {
        without_inputs(&["trend", inspections.to_str().unwrap(), "--model", "random-slope", "--policy", &at(policy)])
    };
    let ((by_number, _), (by_file, inputs)) = (trend("by-number.toml"), trend("by-file.toml"));
    assert_eq!(by_number, by_file);
    assert_eq!(by_file["features"][0]["model"]["sd_reading"].to_string(), sd);
    assert!(inputs.as_array().unwrap().iter().any(|i| i["path"].as_str().unwrap().ends_with("gauge.json")), "{inputs}");
    let (pack, drawer) = (demo("pack.toml"), demo("drawer.csv"));
    let shim = |u: &str| {
        without_inputs(&[
            "shim",
            pack.to_str().unwrap(),
            "--valve",
            "1 exhaust",
            "--measured",
            "1.1",
            "--stock",
            drawer.to_str().unwrap(),
            "--u",
            u,
        ])
    };
    // The study also says how much of it repeats take away, which one number does not.
    let [by_number, mut by_file] = [end.as_str(), &at("gauge.json")].map(|u| shim(u).0);
    let repeatability = by_file["valves"][0]["repeatability"].take();
    assert!(repeatability.as_f64().is_some_and(|r| r > 0.0), "{repeatability}");
    assert_eq!(by_number, by_file);
    assert_ne!(shim(&sd).0["builds"], by_file["builds"]);
    let catalogue = drawer.to_str().unwrap();
    let job =
        ["stock", pack.to_str().unwrap(), "--valve", "1 exhaust", "--catalogue", catalogue, "--new-builds", "0.05"];
    let stock = |u: &str| without_inputs(&[&job[..], &["--jobs", "100", "--sizes", "2", "--u", u]].concat()).0;
    assert_eq!(stock(&end), stock(&at("gauge.json")));
    let priced = demo("pack-with-prices.toml");
    let ceiling = ["allocate", priced.to_str().unwrap(), "--fit-from", catalogue, "--max-out", "0.02", "--sizes", "2"];
    let short = ["--builds", "1024", "--choices", "10", "--final-builds", "1024"];
    let repeats = study["components"]["repeatability"]["interval"][0].to_string();
    let allocate = |more: &[&str]| without_inputs(&[&ceiling[..], &short, more].concat()).0["best"].take();
    assert_eq!(allocate(&["--u", &end, "--repeatability", &repeats]), allocate(&["--u", &at("gauge.json")]));
    // A wrong file is refused with its reason, in a policy together with the policy's own mistakes.
    std::fs::write(
        at("wrong.toml"),
        "risk = 2\nhorizon = 2000\n[feature.contact_offset]\nlower = 0.4\nreading_sd = \"broken.json\"\n",
    )
    .unwrap();
    std::fs::write(at("broken.json"), "{ \"command\": ").unwrap();
    let refused = run(&["trend", inspections.to_str().unwrap(), "--policy", &at("wrong.toml")]);
    let said = String::from_utf8_lossy(&refused.stderr);
    assert!(refused.status.code() == Some(2) && said.contains("not JSON") && said.contains("risk"), "{said}");
}

#[test]
fn a_table_may_carry_each_lot_s_own_size() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lots.csv");
    let mut text = "lot,part,reading,nominal,lower,upper\n".to_owned();
    for (lot, nominal) in [("a", 0.40), ("b", 0.60)] {
        for part in 1..=20 {
            let reading = nominal + 0.004 * f64::from(part * 7 % 20 - 10) / 10.0;
            text += &format!("{lot},{part},{reading:.4},{nominal},{:.2},{:.2}\n", nominal - 0.03, nominal + 0.03);
        }
    }
    std::fs::write(&file, text).unwrap();
    let (status, result) = json(&["lot", file.to_str().unwrap()]);
    assert_eq!(status, 0, "{result}");
    assert_eq!((result["lots"][0]["nominal"].as_f64(), result["lots"][1]["upper"].as_f64()), (Some(0.40), Some(0.63)));
}

fn table(folder: &std::path::Path, name: &str, rows: &str) -> String {
    let file = folder.join(name);
    std::fs::write(&file, rows).unwrap();
    file.to_str().unwrap().to_owned()
}

/// Readings in inches are answered in inches, and so is everything that such an answer is given on to; a pack in inches shows its lots in inches.
#[test]
fn inches_in_inches_out() {
    let folder = tempfile::tempdir().unwrap();
    let rows: String = (0..40).map(|k| format!("A,{k},{:.5}\n", 0.02362 + 0.00001 * f64::from(k * 7 % 23))).collect();
    let readings = table(folder.path(), "in.csv", &format!("lot,part,reading\n{rows}"));
    let limits = ["--units", "in", "--nominal", "0.0236", "--lower", "0.0224", "--upper", "0.0248"];
    let said = |arguments: &[&str]| String::from_utf8(run(arguments).stdout).unwrap();
    let in_mm = |text: &str| [" mm", "µm"].iter().any(|unit| text.contains(unit));
    let lot = said(&[&["lot", &readings][..], &limits].concat());
    assert!(lot.contains(", in") && !in_mm(&lot), "{lot}");
    let (_, result) = json(&[&["lot", &readings][..], &limits].concat());
    let mean = result["lots"][0]["mean"].as_f64().unwrap();
    assert!(result["units"] == "in" && (mean - 0.0237).abs() < 0.0002, "{mean}");
    let plan = ["sampling", "--by", "variables", "--sigma", "0.0002"];
    let sampled = said(&[&plan[..], &limits[..2], &limits[4..]].concat());
    assert!(sampled.contains("0.000200 in") && !in_mm(&sampled), "{sampled}");
    // A gauge study in inches, given on.
    let mut rows = "part,operator,trial,reading\n".to_owned();
    for (part, operator, trial) in (0..8).flat_map(|p| (0..3).flat_map(move |o| (1..4).map(move |t| (p, o, t)))) {
        let reading =
            0.020 + 0.0004 * f64::from(part) + 0.00002 * f64::from((part * 5 + operator * 3 + trial * 7) % 5 - 2);
        rows += &format!("{part},{operator},{trial},{reading:.5}\n");
    }
    let study = table(folder.path(), "gauge.csv", &rows);
    let arguments = ["gauge", &study, "--units", "in", "--tolerance", "0.0024", "--difference", "0.002"];
    let gauge = said(&arguments);
    assert!(gauge.contains(" in,") && !in_mm(&gauge), "{gauge}");
    let file = table(folder.path(), "gauge.json", &said(&[&arguments[..], &["--format", "json"]].concat()));
    let study: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(&file).unwrap()).unwrap();
    // Of a study that does not show its gauge good enough the upper end goes on, not the estimate.
    let shown = matches!(study["fitness"].as_str(), Some("fit" | "marginal"));
    let sd = if shown { &study["reading_sd"] } else { &study["components"]["gauge"]["interval"][1] }.as_f64().unwrap();
    assert!(sd > 1e-6 && sd < 1e-4, "{sd}");
    let width = |u: &str| {
        let (_, result) = json(&[&["lot", &readings, "--u", u][..], &limits].concat());
        result["lots"][0]["guard_band"]["width"].as_f64().unwrap()
    };
    assert!(
        (width(&file) / width(&sd.to_string()) - 1.0).abs() < 1e-9 && (width(&file) / (1.6449 * sd) - 1.0).abs() < 1e-3
    );
}

/// The pack's units in every answer: readings in mm, a pack in inches.
#[test]
fn a_pack_in_inches_shows_its_lots_in_inches() {
    let folder = tempfile::tempdir().unwrap();
    let run_new = run_in(folder.path(), &["new", "pack", "pack.toml", "--units", "in", "--quiet"]);
    let pack = folder.path().join("pack.toml");
    assert!(pack.exists(), "{}", String::from_utf8_lossy(&run_new.stderr));
    let text = std::fs::read_to_string(&pack).unwrap();
    assert!(text.contains("units = \"in\""), "{text}");
    let readings = demo("gauge.csv");
    let said = run_in(
        folder.path(),
        &["gauge", readings.to_str().unwrap(), "--tolerance", "0.06", "--pack", "pack.toml", "--quiet"],
    );
    let out = String::from_utf8_lossy(&said.stdout);
    assert!(out.contains(" in,") && !out.contains(" mm"), "{out}{}", String::from_utf8_lossy(&said.stderr));
}

/// Equal readings have one answer everywhere: not shown, read finer.
#[test]
fn equal_readings_are_not_shown_with_and_without_a_pack_and_by_a_plan() {
    let folder = tempfile::tempdir().unwrap();
    let rows = |n: u32| (1..=n).map(|k| format!("A,{k},0.600\n")).collect::<String>();
    let five = table(folder.path(), "five.csv", &format!("lot,part,reading\n{}", rows(5)));
    let (drawing, pack) = (demo("drawing-0.60.toml"), demo("pack.toml"));
    let [drawing, pack] = [&drawing, &pack].map(|p| p.to_str().unwrap());
    let alone = ["lot", &five, "--drawing", drawing];
    let in_pack = [&alone[..], &["--pack", pack, "--as", "shim 0.60"]].concat();
    for arguments in [&alone[..], &in_pack] {
        let (status, result) = json(arguments);
        assert_eq!((status, result["lots"][0]["verdict"].as_str()), (1, Some("not shown")), "{arguments:?}");
    }
    let (_, result) = json(&in_pack);
    assert_eq!(result["not_in_pack"][0]["lot"], "A");
    let said = |arguments: &[&str]| {
        let text = String::from_utf8(run(arguments).stdout).unwrap();
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let text = said(&in_pack);
    // Nor does a pack file get parts that do not scatter.
    assert!(text.contains("read it finer") && !text.contains("sd = 0.0"), "{text}");
    let (_, plan) = json(&["sampling", "--by", "variables", "--drawing", drawing]);
    let n = u32::try_from(plan["plan"]["n"].as_u64().unwrap()).unwrap();
    let sample = table(folder.path(), "sample.csv", &format!("lot,part,reading\n{}", rows(n)));
    let arguments = ["sampling", "--by", "variables", "--drawing", drawing, "--readings", &sample];
    let (status, result) = json(&arguments);
    assert_eq!((status, result["verdicts"][0]["verdict"].as_str()), (1, Some("not shown")));
    let text = said(&arguments);
    assert!(text.contains("finer instrument"), "{text}");
}

/// A gauge study that does not show its gauge good enough gives on the upper end of its uncertainty; a sorting gauge's has a range.
#[test]
fn an_uncertainty_that_is_not_shown_is_taken_at_its_upper_end() {
    let folder = tempfile::tempdir().unwrap();
    let readings = demo("shims-0.60.csv");
    let fixed = ["lot", readings.to_str().unwrap(), "--lower", "0.57", "--upper", "0.63"];
    let study = |fitness: &str, interval: &str| {
        let text = format!(
            r#"{{ "command": "gauge", "units": "mm", "fitness": "{fitness}", "reading_sd": 0.002, "components": {{ "gauge": {{ "sd": 0.002{interval} }} }} }}"#
        );
        table(folder.path(), "gauge.json", &text)
    };
    let upper = r#", "interval": [0.001, 0.01]"#;
    for (fitness, u) in [("fit", 0.002), ("marginal", 0.002), ("unfit", 0.01), ("not shown", 0.01)] {
        let file = study(fitness, upper);
        let (_, result) = json(&[&fixed[..], &["--u", &file]].concat());
        let width = result["lots"][0]["guard_band"]["width"].as_f64().unwrap();
        assert!((width / (1.644_854 * u) - 1.0).abs() < 1e-6, "{fitness}: {width}");
    }
    let refused = run(&[&fixed[..], &["--u", &study("unfit", "")]].concat());
    let said = String::from_utf8_lossy(&refused.stderr);
    assert!(refused.status.code() == Some(2) && said.contains("good enough"), "{said}");
    for u in ["--sorted=20", "--sorted=1e6"] {
        let refused = run(&[&fixed[..], &[u]].concat());
        let said = String::from_utf8_lossy(&refused.stderr);
        assert!(refused.status.code() == Some(2) && said.contains("between 0 and 10"), "{said}");
    }
}

/// A claim in an option is held against the readings, and the answer says what was found and what is to be expected.
#[test]
fn what_is_claimed_is_questioned() {
    let gauge = demo("gauge.csv");
    let said = run(&["gauge", gauge.to_str().unwrap(), "--tolerance", "60"]);
    let text = String::from_utf8_lossy(&said.stdout);
    assert!(
        said.status.code() == Some(1) && text.contains("times the largest reading") && text.contains("decimal point"),
        "{text}"
    );
    let readings = demo("shims-0.60.csv");
    let said = run(&["lot", readings.to_str().unwrap(), "--lower", "0", "--upper", "63"]);
    let text = String::from_utf8_lossy(&said.stdout);
    assert!(said.status.code() == Some(1) && !text.contains("acceptable against"), "{text}");
    assert!(String::from_utf8_lossy(&said.stderr).contains("can never bind"));
}

/// By attributes and by variables: nothing is accepted by a limit that parts of this size never reach, and lots that lie nowhere near their limits ask for the unit.
#[test]
fn plans_question_limits_in_another_unit() {
    let folder = tempfile::tempdir().unwrap();
    for by in ["attributes", "variables"] {
        // As many parts as each plan with these limits asks for, of a normal shape.
        let judged = |limits: &[&str]| {
            let risks = ["--producer-quality", "0.01", "--producer-risk", "0.2", "--consumer-quality", "0.11"];
            let plan = [&["sampling", "--by", by][..], &risks, limits].concat();
            let n = json(&plan).1["plan"]["n"].as_u64().unwrap();
            let deviation = |k: u64| {
                let p = (k as f64 - 0.5) / n as f64;
                (p / (1.0 - p)).ln() / 1.7
            };
            let rows: String = (1..=n).map(|k| format!("A,{k},{:.4}\n", 0.6 + 0.005 * deviation(k))).collect();
            let readings = table(folder.path(), "parts.csv", &format!("lot,part,reading\n{rows}"));
            let output = run(&[&plan[..], &["--readings", &readings]].concat());
            let said = String::from_utf8([output.stdout, output.stderr].concat()).unwrap();
            (output.status.code(), said.split_whitespace().collect::<Vec<_>>().join(" "))
        };
        for limits in [&["--upper", "16"][..], &["--lower", "0.57", "--upper", "16"], &["--lower", "0.0224"]] {
            let (status, said) = judged(limits);
            assert!(status == Some(1) && said.contains("can never bind"), "{by} {limits:?}: {said}");
        }
        let (status, said) = judged(&["--lower", "0.57", "--upper", "0.63"]);
        assert!(status == Some(0) && !said.contains("never bind"), "{by}: {said}");
        let (status, said) = judged(&["--lower", "0.0224", "--upper", "0.0248"]);
        assert!(status == Some(1) && said.contains("--units"), "{by}: {said}");
    }
}
