//! `shim` as a mechanic runs it. The bay of `support.toml` is invented; what must come out of it every fitter knows: common practice, no
//! source, unless a check says otherwise.

use crate::program::{json, run};
use serde_json::Value;
use std::path::{Path, PathBuf};

fn support() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/end_to_end/support.toml").to_str().unwrap().to_owned()
}

/// A folder with a drawer in it.
struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new(drawer: &str) -> Self {
        let bench = Self { folder: tempfile::tempdir().unwrap() };
        std::fs::write(bench.path("drawer.csv"), drawer).unwrap();
        bench
    }

    /// Pieces that are measured, with a standard uncertainty of 0.002 mm.
    fn measured(pieces: &[(&str, f64)]) -> Self {
        let rows = pieces.iter().map(|(name, thickness)| format!("{name},{thickness},0.002\n"));
        Self::new(&format!("piece,thickness,u\n{}", rows.collect::<String>()))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn arguments(&self, more: &[&str]) -> Vec<String> {
        let drawer = self.path("drawer.csv").to_str().unwrap().to_owned();
        let fixed = ["shim".to_owned(), support(), "--valve".into(), "exhaust".into(), "--stock".into(), drawer];
        fixed.into_iter().chain(more.iter().map(|&s| s.to_owned())).collect()
    }

    fn ask(&self, more: &[&str]) -> (i32, Value) {
        let arguments = self.arguments(more);
        json(&arguments.iter().map(String::as_str).collect::<Vec<_>>())
    }

    fn text(&self, more: &[&str]) -> (i32, String, String) {
        let arguments = self.arguments(more);
        let output = run(&arguments.iter().map(String::as_str).collect::<Vec<_>>());
        let words = |bytes| String::from_utf8(bytes).unwrap();
        (output.status.code().unwrap(), words(output.stdout), words(output.stderr))
    }
}

/// Thin + two thick: sold as 0.381, 0.762, 0.762, all 7.9 % thicker than sold.
fn thick_packets() -> Bench {
    Bench::measured(&[("thin", 0.411), ("thick 1", 0.822), ("thick 2", 0.822)])
}

/// `shim` of the exhaust valve of a pack.
fn of_exhaust<'a>(pack: &'a Path, drawer: &'a Path) -> [&'a str; 6] {
    ["shim", pack.to_str().unwrap(), "--valve", "exhaust", "--stock", drawer.to_str().unwrap()]
}

/// A text without the breaks of its lines.
fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Names of the pieces of each place of a build.
fn pieces(build: &Value) -> Vec<Vec<&str>> {
    let places = build["places"].as_array().unwrap();
    places
        .iter()
        .map(|place| place["pieces"].as_array().unwrap().iter().map(|p| p["piece"].as_str().unwrap()).collect())
        .collect()
}

/// The mean of a quantity cold.
fn cold(forecast: &Value, quantity: &str) -> f64 {
    let all = forecast["quantities"].as_array().unwrap();
    let one = all.iter().find(|q| q["quantity"] == quantity && q["condition"] == "assembly");
    number(&one.expect("the quantity, cold")["mean"])
}

#[test]
fn a_thin_shim_before_the_rocker_and_the_pair_replaced() {
    let (status, result) = thick_packets().ask(&["--measured", "0.55"]);
    assert_eq!((status, result["proven"].as_bool()), (0, Some(true)));
    let best = &result["builds"][0];
    assert_eq!(result["fewest"], 1);
    let places = pieces(best);
    // face | rocker, rocker | spring washer, spring washer | face.
    assert_eq!(places[0], ["thin"]);
    assert!(places[1].len() == 1 && places[2].len() == 1, "{places:?}");
    assert!([&places[1][0], &places[2][0]].iter().all(|name| name.starts_with("thick")), "{places:?}");
    let out: Vec<&str> = best["taken_out"].as_array().unwrap().iter().map(|t| t["piece"].as_str().unwrap()).collect();
    assert_eq!(out, ["inner washer", "outer washer"]);
    assert_eq!(best["touched"], 5);
    // 0.969 + 1.001 = 1.970 before, 0.411 + 0.822 + 0.822 = 2.055 after: 0.085 mm of extra squeeze, at 150 N/mm.
    assert!((number(&best["old_sum"]) - 1.970).abs() < 1e-9 && (number(&best["sum"]) - 2.055).abs() < 1e-9);
    let squeeze = cold(&best["forecast"], "preload") - cold(&result["now"], "preload");
    assert!((squeeze - 0.085 * 150.0).abs() < 1e-6, "{squeeze}");
    // The rocker moves by the thin shim alone: "about 0.4 mm".
    let moved = cold(&best["forecast"], "offset") - cold(&result["now"], "offset");
    assert!((moved - 0.411).abs() < 1e-9, "{moved}");
    assert!(number(&best["forecast"]["chance"]) > 0.95);
}

#[test]
fn the_same_sizes_true_to_their_labels_make_a_smaller_sum() {
    let bench = Bench::measured(&[("thin", 0.381), ("thick 1", 0.762), ("thick 2", 0.762)]);
    let (_, result) = bench.ask(&["--measured", "0.55"]);
    let best = &result["builds"][0];
    assert_eq!(pieces(best)[0], ["thin"]);
    assert!((number(&best["sum"]) - 1.905).abs() < 1e-9, "{best}");
}

#[test]
fn a_pair_is_exchanged_both_at_once_or_not_at_all() {
    let drawer: Vec<(String, f64)> = (0..12).map(|k| (format!("P{k:02}"), 0.30 + 0.07 * f64::from(k))).collect();
    let drawer: Vec<(&str, f64)> = drawer.iter().map(|(name, t)| (name.as_str(), *t)).collect();
    let (_, result) = Bench::measured(&drawer).ask(&["--measured", "0.60", "--list", "60"]);
    let builds = result["builds"].as_array().unwrap();
    // The advised build, and what differs from it in kind.
    assert!(builds.len() >= 2, "{}", builds.len());
    for build in builds {
        let stays = |name: &str| {
            build["places"].as_array().unwrap().iter().any(|place| {
                place["pieces"].as_array().unwrap().iter().any(|p| p["piece"] == name && p["from"] == "stays")
            })
        };
        assert_eq!(stays("inner washer"), stays("outer washer"), "{build}");
        // Something flat lies on either side of the spring washer, and nowhere more than four pieces.
        let places = pieces(build);
        assert!(!places[1].is_empty() && !places[2].is_empty() && places.iter().all(|place| place.len() <= 4));
    }
    // Several shims may be combined in one place.
    assert!(builds.iter().any(|build| pieces(build).iter().any(|place| place.len() > 1)));
}

#[test]
fn one_piece_may_be_thinned_and_is_told_to_what() {
    let bench = Bench::measured(&[("A", 0.47), ("B", 0.80), ("C", 0.81)]);
    let (_, without) = bench.ask(&["--measured", "0.55"]);
    let (_, with) = bench.ask(&["--measured", "0.55", "--dress", "0.10"]);
    let thinned = |build: &Value| -> Vec<Value> {
        let places = build["places"].as_array().unwrap().iter();
        let pieces = places.flat_map(|place| place["pieces"].as_array().unwrap());
        pieces.filter(|piece| !piece["thinned_from"].is_null()).cloned().collect()
    };
    // Thinning counts as a part touched; it is listed for what it makes better.
    let best = with["builds"].as_array().unwrap().iter().find(|build| !thinned(build).is_empty()).unwrap();
    let thinned = thinned(best);
    assert_eq!(thinned.len(), 1, "{best}");
    let (from, to) = (number(&thinned[0]["thinned_from"]), number(&thinned[0]["thickness"]));
    assert!(from - 0.10 - 1e-9 <= to && to < from, "{from} to {to}");
    assert!(number(&best["score"]) > number(&without["builds"][0]["score"]));
    let (_, text, _) = bench.text(&["--measured", "0.55", "--dress", "0.10"]);
    assert!(text.contains("thinned by hand from"), "{text}");
}

#[test]
fn what_is_measured_is_told_apart_from_what_a_label_says() {
    let rows = "A,,0.411,0.002,1\n,0.381,0.381,,4\n,0.762,0.762,,6\n";
    let bench = Bench::new(&format!("piece,size,thickness,u,count\n{rows}"));
    let (_, result) = bench.ask(&["--measured", "0.55"]);
    // The thick ones come twice and their label is off by more: they tell most.
    let first = &result["measure_first"][0];
    assert_eq!(first["piece"], "0.762");
    assert!(number(&first["scatter_removed"]) > 0.5 && number(&first["sd"]) > 0.02, "{first}");
    let warnings: Vec<&str> = result["warnings"].as_array().unwrap().iter().map(|w| w.as_str().unwrap()).collect();
    assert!(warnings.iter().any(|w| w.contains("measure each before it is fitted")), "{warnings:?}");
    let (_, text, _) = bench.text(&["--measured", "0.55"]);
    assert!(text.contains("not measured"), "{text}");
}

#[test]
fn where_nothing_fits_the_missing_piece_is_told_and_the_nearest_that_can_be_had() {
    let rows = "A,,0.15,0.002,1,,\nB,,0.822,0.002,1,,\nC,,0.822,0.002,1,,\n,0.45,0.45,,0,1.2,9\n";
    let bench = Bench::new(&format!("piece,size,thickness,u,count,cost,lead_days\n{rows}"));
    let (status, result) = bench.ask(&["--measured", "0.50"]);
    assert_eq!(status, 1);
    assert!(result["fewest"].is_null());
    let missing = &result["missing"];
    assert!((number(&missing["thickness"]) - 0.45).abs() < 0.08, "{missing}");
    let range: Vec<f64> = missing["good_enough"].as_array().unwrap().iter().map(number).collect();
    assert!(range[0] < number(&missing["thickness"]) && number(&missing["thickness"]) < range[1]);
    assert_eq!(missing["nearest_to_be_had"]["piece"], "0.45");
    assert_eq!(missing["nearest_to_be_had"]["lead_days"], 9.0);
    let (_, text, _) = bench.text(&["--measured", "0.50"]);
    let words = unwrapped(&text);
    assert!(words.contains("What is missing") && words.contains("9 days"), "{text}");
}

/// A preload that its limits hardly hold: no shim makes the spring washer scatter less, and none is advised.
#[test]
fn a_piece_that_brings_nothing_is_not_advised() {
    let bench = Bench::measured(&[("A", 0.30)]);
    let text = std::fs::read_to_string(support()).unwrap();
    let pack = bench.path("narrow.toml");
    std::fs::write(&pack, text.replace("lower = 75.0", "lower = 100.0").replace("upper = 145.0", "upper = 104.0"))
        .unwrap();
    let drawer = bench.path("drawer.csv");
    let ask = [&of_exhaust(&pack, &drawer)[..], &["--measured", "0.95"]].concat();
    let (status, result) = json(&ask);
    assert_eq!((status, &result["fewest"], &result["missing"]), (1, &Value::Null, &Value::Null), "{result}");
    let words = unwrapped(&String::from_utf8(run(&ask).stdout).unwrap());
    assert!(words.contains("No single further piece, of whatever thickness, does better."), "{words}");
    // Not that all is well: nothing is changed since nothing helps, and what to do is said.
    assert!(!words.contains("Nothing is to be changed") && words.contains("No piece in the drawer helps"), "{words}");
    assert!(words.contains("--dress"), "{words}");
}

#[test]
fn after_the_build_the_reading_is_learned_and_what_is_left_to_do_is_told() {
    let bench = Bench::new("size,thickness,count\n0.381,0.381,4\n0.762,0.762,6\n");
    let (_, result) = bench.ask(&["--measured", "0.55"]);
    let expected = cold(&result["builds"][0]["forecast"], "offset");
    // As expected: done.
    let reading = format!("{expected:.3}");
    let (status, done) = bench.ask(&["--measured", "0.55", "--result", &reading]);
    assert_eq!((status, done["after"]["done"].as_bool()), (0, Some(true)), "{}", done["after"]);
    assert!(done["after"]["next"].is_null());
    assert!(number(&done["after"]["readings"][0]["z"]).abs() < 0.1);
    // The packet is 8 % thicker than sold: the reading says so, and the shim left in the packet is now thought thicker.
    let reading = format!("{:.3}", expected + 0.03);
    let (_, result) = bench.ask(&["--measured", "0.55", "--result", &reading]);
    let learned = result["after"]["learned"].as_array().unwrap();
    let thin = learned.iter().find(|l| l["dimension"].as_str().unwrap().contains("0.381")).expect("the thin shim");
    assert!(number(&thin["after"][0]) > number(&thin["before"][0]) + 0.005, "{thin}");
    assert!(number(&thin["after"][1]) < number(&thin["before"][1]), "{thin}");
    // Wildly off: not to be believed without a second reading, and nothing is built before it.
    let reading = format!("{:.3}", expected + 0.5);
    let (status, result) = bench.ask(&["--measured", "0.55", "--result", &reading]);
    assert_eq!(status, 1);
    assert_eq!(result["after"]["readings"][0]["surprising"], true);
    assert_eq!(
        (&result["after"]["verdict"]["word"], &result["after"]["next"]),
        (&Value::from("read again"), &Value::Null)
    );
    let (_, text, _) = bench.text(&["--measured", "0.55", "--result", &reading]);
    let words = unwrapped(&text);
    assert!(words.contains("Read exhaust again") && words.contains("If that is right"), "{text}");
}

#[test]
fn a_second_build_starts_from_what_the_first_one_left() {
    let bench = Bench::new("size,thickness,count\n0.381,0.381,4\n0.762,0.762,6\n0.100,0.100,3\n");
    // 0.78 is surprising once and believed twice; then there is something to build.
    let first = ["--measured", "0.55", "--result", "0.78", "--result", "0.785"];
    let (status, once) = bench.ask(&first);
    assert_eq!((status, &once["after"]["contradicted"][0]), (1, &Value::from("exhaust")), "{}", once["after"]["now"]);
    assert_eq!(once["after"]["results_taken_as"], serde_json::json!([{ "build": 1 }, "read again"]));
    let next = &once["after"]["next"];
    // The list that the third reading belongs to is the one that those before it led to.
    let (_, twice) = bench.ask(&[&first[..], &["--result", "0.93"]].concat());
    assert_eq!(twice["builds"], next["builds"]);
    assert_ne!(twice["builds"], once["builds"]);
    assert_eq!(twice["after"]["readings"][0]["reading"], 0.93);
    assert_eq!(twice["valves"][0]["measured"], 0.785);
    assert!(twice["warnings"].to_string().contains("taken as made"), "{}", twice["warnings"]);
    let (status, _, error) = bench.text(&["--measured", "0.55", "--result", "0.8", "--built", "1", "--built", "2"]);
    assert!(status == 2 && error.contains("--built is given 2 times and --result 1"), "{error}");
    let (status, _, error) = bench.text(&["--measured", "0.55", "--result", "0.8", "--built", "same"]);
    assert!(status == 2 && error.contains("nothing was built yet"), "{error}");
}

#[test]
fn a_reading_outside_the_limits_is_never_done() {
    let bench = thick_packets();
    let (_, asked) = bench.ask(&["--measured", "0.55"]);
    let expected = cold(&asked["builds"][0]["forecast"], "offset");
    let at = |readings: &[f64]| -> (i32, Value) {
        let written: Vec<String> = readings.iter().map(|y| format!("{y:.3}")).collect();
        let results: Vec<&str> = written.iter().flat_map(|y| ["--result", y.as_str()]).collect();
        bench.ask(&[&["--measured", "0.55"][..], &results].concat())
    };
    // Limits 0.85 to 1.05. Whatever was expected, a reading of 1.20 is read again: both answers are given.
    let (status, once) = at(&[1.20]);
    let after = &once["after"];
    assert_eq!(
        (status, &after["done"], &after["verdict"]["word"]),
        (1, &Value::from(false), &Value::from("read again"))
    );
    assert!(number(&after["doubt"]["with"]["chance"]) < 0.1 && number(&after["doubt"]["without"]["chance"]) > 0.95);
    assert!((number(&after["readings"][0]["upper"]) - 1.05).abs() < 0.01, "{after}");
    // Twice the same: believed, and not done. Twice different, the second as expected: the first was a slip.
    let (status, twice) = at(&[1.20, 1.21]);
    assert_eq!((status, &twice["after"]["verdict"]["word"]), (1, &Value::from("not done")));
    assert!(!twice["after"]["next"].is_null());
    let (status, slip) = at(&[1.20, expected]);
    assert_eq!((status, &slip["after"]["done"]), (0, &Value::from(true)), "{}", slip["after"]["verdict"]);
    // Done is not the end: a further reading is taken, and may undo it.
    let (status, undone) = at(&[expected, 1.20]);
    assert_eq!((status, &undone["after"]["done"]), (1, &Value::from(false)));
    // No reading in a row of them that ends outside is done.
    for y in [0.70, 0.80, 0.84, 1.06, 1.10, 1.30, 10.2, -0.9] {
        for readings in [vec![y], vec![expected, y], vec![y, y], vec![expected, expected, y]] {
            let (status, result) = at(&readings);
            assert_eq!((status, &result["after"]["done"]), (1, &Value::from(false)), "{readings:?}");
        }
    }
}

/// A build that nobody has made is good enough, not done: done it is when it was read.
#[test]
fn nothing_is_done_before_it_is_built() {
    let (pack, drawer) = (crate::program::demo("pack-with-prices.toml"), crate::program::demo("drawer.csv"));
    let fixed = ["shim", pack.to_str().unwrap(), "--valve", "1 exhaust", "--stock", drawer.to_str().unwrap()];
    let ask = |more: &[&str]| json(&[&fixed[..], more].concat());
    let (status, before) = ask(&["--measured", "1.10"]);
    assert!(before["builds"][0]["touched"].as_u64().unwrap() > 0);
    assert_eq!((status, &before["verdict"]["word"]), (0, &Value::from("good enough")));
    assert_eq!(before["builds"][0]["verdict"]["word"], "good enough");
    let (status, after) = ask(&["--measured", "1.10", "--result", "1.0"]);
    assert_eq!((status, &after["verdict"]["word"]), (0, &Value::from("done")), "{}", after["after"]["verdict"]);
    // Three readings of one untouched state, 0.13 mm apart by a gauge of 0.02 mm: by their own scatter one in five is beyond the limit of 1.106.
    let (status, apart) = ask(&["--measured", "1.00", "--result", "1.13", "--result", "1.08"]);
    assert_eq!((status, &apart["after"]["done"]), (1, &Value::from(false)), "{}", apart["after"]);
    let chance = apart["after"]["now"]["chance"].as_f64().unwrap();
    assert!((0.5..0.9).contains(&chance), "{chance}");
    // The same three that agree are the end of it.
    let (status, alike) = ask(&["--measured", "1.00", "--result", "1.02", "--result", "1.01"]);
    assert_eq!((status, &alike["after"]["done"]), (0, &Value::from(true)), "{}", alike["after"]["verdict"]);
}

/// No gauge reads an offset to nothing, and no reading is better than its rounding.
#[test]
fn a_gauge_that_cannot_be_is_not_believed() {
    let empty = Bench::new("piece,thickness,u\n");
    for u in ["0", "0.000001"] {
        let (status, _, notes) = empty.text(&["--measured", "0.94", "--measured", "0.95", "--u", u]);
        assert!(status == 2 && notes.contains("--u: found") && notes.contains("gauge"), "{u}: {notes}");
    }
    let (_, rounded) = empty.ask(&["--measured", "0.94", "--measured", "0.95", "--u", "0.001"]);
    let u = rounded["valves"][0]["u"].as_f64().unwrap();
    assert!((u - 0.01 / 12.0_f64.sqrt()).abs() < 1e-9, "{u}");
}

#[test]
fn without_a_reading_it_is_said_that_there_was_none() {
    let bench = thick_packets();
    let (_, text, notes) = bench.text(&[]);
    assert!(text.contains("No reading was used") && text.contains("by the pack file alone"), "{text}");
    assert!(notes.contains("no reading of \"exhaust\" was used"), "{notes}");
    let (_, result) = bench.ask(&[]);
    assert_ne!(result["verdict"]["word"], "done");
    assert!(result["valves"][0]["measured"].is_null());
}

#[test]
fn one_reading_alone_does_not_end_the_job() {
    let empty = Bench::new("piece,thickness,u\n");
    // Inside, and nothing to build: one slipped digit could have made it so.
    let (status, once) = empty.ask(&["--measured", "0.94"]);
    assert_eq!((status, &once["verdict"]["word"]), (0, &Value::from("watch")));
    let (_, text, _) = empty.text(&["--measured", "0.94"]);
    assert!(unwrapped(&text).contains("Read the offset of \"exhaust\" once more"), "{text}");
    let (status, twice) = empty.ask(&["--measured", "0.94", "--measured", "0.95"]);
    assert_eq!((status, &twice["verdict"]["word"]), (0, &Value::from("done")));
    // The chance rests on the gauge: with a worse one it is smaller, and that is said.
    let (_, near) = empty.ask(&["--measured", "1.01", "--measured", "1.02"]);
    let chance = number(&near["builds"][0]["forecast"]["chance"]);
    assert!(number(&near["chance_with_a_gauge_twice_as_bad"]) < chance - 0.02, "{near}");
    let (_, text, _) = empty.text(&["--measured", "1.01", "--measured", "1.02"]);
    assert!(unwrapped(&text).contains("a standard uncertainty of 0.020 mm; with one twice as bad"), "{text}");
}

/// JCGM 100:2008, 4.3 and 5.2.2: what is the same at every reading does not average.
#[test]
fn repeats_take_away_only_what_differs_between_them() {
    let empty = Bench::new("piece,thickness,u\n");
    let gauge = empty.path("gauge.json").to_str().unwrap().to_owned();
    let study = r#"{ "command": "gauge", "fitness": "fit", "reading_sd": 0.02, "components": { "repeatability": { "sd": 0.012 } } }"#;
    std::fs::write(&gauge, study).unwrap();
    let of = |readings: &[&str], more: &[&str]| {
        let readings: Vec<&str> = readings.iter().flat_map(|reading| ["--measured", reading]).collect();
        let (_, result) = empty.ask(&[&readings[..], more].concat());
        number(&result["now"]["chance"])
    };
    let chance = |times: usize, more: &[&str]| of(&["1.025"].repeat(times), more);
    let once = chance(1, &[]);
    // The bay stands 1.25 standard uncertainties inside its limit, as often as that is read.
    assert!((0.85..0.93).contains(&once), "{once}");
    assert!((chance(8, &[]) - once).abs() < 0.01, "{} for {once}", chance(8, &[]));
    // With all of the uncertainty scatter the mean of eight is known to 0.007 mm; with 0.012 mm of it to 0.0166 mm (5.2.2 by hand).
    // The readings scatter as much as that.
    assert!(of(&["1.005", "1.045"].repeat(4), &["--repeatability", "0.02"]) > 0.99);
    let scattered = ["1.013", "1.037"].repeat(4);
    let part = of(&scattered, &["--repeatability", "0.012"]);
    // Eight that are equal do not bear such a repeatability out.
    assert!(chance(8, &["--repeatability", "0.02"]) < part - 0.01);
    assert!(part > once + 0.02 && part < 0.96, "{part} for {once}");
    assert!((of(&scattered, &["--u", &gauge]) - part).abs() < 1e-9);
    assert!((of(&scattered, &["--u", "0.02", "--repeatability", &gauge]) - part).abs() < 1e-9);
    let readings = ["--measured", "1.025"].repeat(8);
    let (_, text, notes) = empty.text(&readings);
    assert!(unwrapped(&notes).contains("the 8 readings of \"exhaust\" guard against a slip"), "{text}{notes}");
    let (status, _, notes) = empty.text(&["--measured", "1.0", "--repeatability", "0.03"]);
    assert!(status == 2 && notes.contains("the repeatability is 0.030 mm, and --u 0.020 mm"), "{notes}");
    // Nor does a reading after the build take away what was wrong before it: nothing was changed, and the same is read again.
    let (_, again) = empty.ask(&["--measured", "1.025", "--result", "1.025", "--result", "1.025"]);
    let after = number(&again["after"]["now"]["chance"]);
    assert!((after - once).abs() < 0.01, "{after} for {once}");
}

#[test]
fn the_advised_build_stands_first_and_the_others_differ_in_kind() {
    let [pack, drawer] = ["pack.toml", "drawer.csv"].map(|f| crate::program::demo(f).to_str().unwrap().to_owned());
    let ask = ["shim", &pack, "--valve", "1 exhaust", "--stock", &drawer, "--measured", "1.30"];
    let (_, result) = json(&ask);
    assert_eq!(result["fewest"], 1);
    let builds = result["builds"].as_array().unwrap();
    let good: Vec<&Value> = builds.iter().filter(|b| b["good_enough"] == true).collect();
    assert!(good.iter().all(|b| b["touched"].as_u64() >= builds[0]["touched"].as_u64()), "{builds:?}");
    let scores: Vec<f64> = builds[1..].iter().map(|b| number(&b["score"])).collect();
    assert!(scores.windows(2).all(|w| w[0] >= w[1]), "{scores:?}");
    // How many pieces stay, come, move and go, place by place: no two alike.
    let kind = |build: &Value| {
        let places = build["places"].as_array().unwrap().iter().map(|place| {
            let mut words: Vec<String> =
                place["pieces"].as_array().unwrap().iter().map(|p| p["from"].to_string()).collect();
            words.sort();
            words.join(" ")
        });
        let mut out: Vec<String> =
            build["taken_out"].as_array().unwrap().iter().map(|t| format!("{:.2}", number(&t["thickness"]))).collect();
        out.sort();
        (places.collect::<Vec<_>>(), out)
    };
    let mut kinds: Vec<_> = builds.iter().map(kind).collect();
    kinds.sort();
    kinds.dedup();
    assert!(builds.len() > 1 && kinds.len() == builds.len(), "{builds:?}");
    // What to measure speaks of the advised build: its chance, its pieces, none that it takes out.
    let used: Vec<&Value> = builds[0]["places"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|p| p["pieces"].as_array().unwrap())
        .map(|p| &p["piece"])
        .collect();
    for piece in result["measure_first"].as_array().unwrap() {
        assert!(used.contains(&&piece["piece"]), "{piece}");
        // No chance of another build: what it rises by, never less than nothing nor more than what is missing.
        let rises = number(&piece["gain_in_chance"]);
        assert!((0.0..=1.0 - number(&builds[0]["forecast"]["chance"]) + 1e-9).contains(&rises), "{piece}");
    }
    // The number that the list is sorted by is on the screen, and no line is wider than a terminal.
    let output = run(&ask);
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("score") && text.contains("±"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

#[test]
fn what_cannot_be_had_is_not_in_the_drawer_and_no_better_piece_is_not_bought() {
    // The size is sold out, and nobody has said how long it takes. Two of 0.15 mm are too thin; three would do what it does.
    let rows = "A,,0.15,0.002,1\nB,,0.822,0.002,1\nC,,0.822,0.002,1\n,0.45,0.45,,0\n,0.15,0.15,,1\n";
    let bench = Bench::new(&format!("piece,size,thickness,u,count\n{rows}"));
    let (_, result) = bench.ask(&["--measured", "0.50"]);
    let near = &result["missing"]["nearest_to_be_had"];
    assert_eq!((&near["piece"], &near["in_drawer"]), (&Value::from("0.45"), &Value::from(false)));
    assert!(number(&near["chance"]) > number(&result["builds"][0]["forecast"]["chance"]));
    let (_, text, _) = bench.text(&["--measured", "0.50"]);
    let words = unwrapped(&text);
    assert!(words.contains("to be ordered") && !words.contains("(in the drawer)"), "{text}");
    // Only what is there already: nothing to buy.
    let bench = Bench::new("piece,size,thickness,u,count\nA,,0.15,0.002,1\n,0.15,0.15,,4\n");
    let (_, result) = bench.ask(&["--measured", "0.50"]);
    assert!(result["missing"]["nearest_to_be_had"].is_null(), "{}", result["missing"]);
}

#[test]
fn a_piece_named_like_a_part_is_told_apart_and_an_empty_drawer_is_one() {
    let bench = Bench::measured(&[("inner washer", 0.411), ("thick 1", 0.822), ("thick 2", 0.822)]);
    let (_, result) = bench.ask(&["--measured", "0.55"]);
    assert_eq!(pieces(&result["builds"][0])[0], ["inner washer (drawer)"]);
    // A piece that is called so already keeps its name.
    let rows = [("inner washer", 0.411), ("inner washer (drawer)", 0.06), ("thick 1", 0.822), ("thick 2", 0.822)];
    let (_, result) = Bench::measured(&rows).ask(&["--measured", "0.55"]);
    assert_eq!(pieces(&result["builds"][0])[0], ["inner washer (drawer) (drawer)"]);
    let empty = Bench::new("piece,thickness,u\n");
    let (status, result) = empty.ask(&["--measured", "0.94"]);
    assert_eq!((status, &result["builds"][0]["touched"]), (0, &Value::from(0)), "{result}");
}

#[test]
fn every_reading_says_where_it_is_taken_and_which_way_is_plus() {
    let bench = thick_packets();
    let out = bench.path("out");
    let (_, text, _) = bench.text(&["--measured", "0.55", "--result", "0.95", "--out", out.to_str().unwrap()]);
    assert!(text.contains("assembly, 20 °C") && text.contains("plus:"), "{text}");
    let sheet = std::fs::read_to_string(out.join("bench-sheet.html")).unwrap();
    assert!(sheet.contains("Done"), "{sheet}");
    let (_, _, _) = bench.text(&["--measured", "0.55", "--quiet", "--out", out.to_str().unwrap()]);
    let sheet = std::fs::read_to_string(out.join("bench-sheet.html")).unwrap();
    for words in ["assembly, 20 °C", "Plus:", "Accept", "one standard deviation", "<main>", "OUT", "IN"] {
        assert!(sheet.contains(words), "{words}");
    }
    // Limits are numbers, each in its column.
    let expected = std::fs::read_to_string(out.join("tables/expected.csv")).unwrap();
    let mut lines = expected.lines();
    let heads: Vec<&str> = lines.next().unwrap().split(',').collect();
    let at = |name: &str| heads.iter().position(|head| *head == name).unwrap();
    let (lower, upper) = (at("lower_limit"), at("upper_limit"));
    assert!(expected.lines().count() > 4 && lower + 1 == upper);
}

#[test]
fn inches_in_and_inches_out() {
    let bench = thick_packets();
    let text = std::fs::read_to_string(support()).unwrap();
    // The same bay in inches: every length divided by 25.4, the spring washer's rate in N/mm as it is.
    let converted = in_inches(&text);
    let pack = bench.path("inches.toml");
    std::fs::write(&pack, converted).unwrap();
    let drawer = bench.path("inches.csv");
    let inch = |mm: f64| mm / 25.4;
    let rows = [("thin", 0.411), ("thick 1", 0.822), ("thick 2", 0.822)]
        .map(|(n, t)| format!("{n},{:.9},{:.9}\n", inch(t), inch(0.002)));
    std::fs::write(&drawer, format!("piece,thickness,u\n{}", rows.concat())).unwrap();
    let measured = format!("{:.9}", inch(0.55));
    let with = |drawer: &Path, more: &[&str]| {
        run(&[&of_exhaust(&pack, drawer)[..], &["--measured", &measured], more].concat())
    };
    let ask = |more: &[&str]| with(&drawer, more);
    let inches: Value = serde_json::from_slice(&ask(&["--format", "json"]).stdout).unwrap();
    let (_, mm) = bench.ask(&["--measured", "0.55"]);
    assert_eq!((&inches["units"], &mm["units"]), (&Value::from("in"), &Value::from("mm")));
    let (a, b) = (&inches["builds"][0], &mm["builds"][0]);
    assert_eq!(pieces(a), pieces(b));
    let off = self::number(&a["sum"]) * 25.4 - self::number(&b["sum"]);
    assert!(off.abs() < 1e-6 && (cold(&a["forecast"], "offset") * 25.4 - cold(&b["forecast"], "offset")).abs() < 1e-6);
    let text = String::from_utf8(ask(&["--quiet"]).stdout).unwrap();
    assert!(text.contains("0.01618") && !text.contains(" mm"), "{text}");
    // A drawer in mm beside it is questioned, and taken where somebody says so.
    let both = |more: &[&str]| with(&bench.path("drawer.csv"), more);
    let error = String::from_utf8(both(&[]).stderr).unwrap();
    assert!(error.contains("--drawer-units") && error.contains("another unit"), "{error}");
    // In the unit of the pack, as it was asked.
    assert!(error.contains("0.8220 in") && !error.contains(" mm"), "{error}");
    assert_eq!(both(&["--drawer-units", "mm"]).status.code(), Some(0));
}

/// `support.toml` in inches.
fn in_inches(text: &str) -> String {
    let lengths = ["span", "width", "adjuster", "thickness", "free_height", "solid_height", "stem"];
    let converted = |line: &str| {
        let key = line.trim_start().split([' ', '=']).next().unwrap_or_default();
        let is_offset =
            ["lower", "upper", "target"].contains(&key) && !line.contains("75.0") && !line.contains("145.0");
        if !lengths.contains(&key) && !is_offset {
            return line.replace("units = \"mm\"", "units = \"in\"");
        }
        let (head, tail) = line.split_once('=').unwrap();
        let mut out = String::new();
        let mut digits = String::new();
        for c in tail.chars().chain(['\n']) {
            if c.is_ascii_digit() || (c == '.' && !digits.is_empty()) {
                digits.push(c);
                continue;
            }
            if let Ok(mm) = digits.parse::<f64>() {
                out.push_str(&format!("{:.12}", mm / 25.4));
            }
            digits.clear();
            out.push(c);
        }
        format!("{head}={}", out.trim_end())
    };
    text.lines().map(converted).collect::<Vec<_>>().join("\n")
}

#[test]
fn readings_come_from_inspections_and_the_latest_date_counts() {
    let bench = thick_packets();
    // The meter was changed between the last two: the latest reading has the lower hours.
    let rows = "engine,valve,date,hours,feature,value,event,old_meter\n\
                A,exhaust,2025-01-10,9000,contact_offset,0.80,,\n\
                A,exhaust,2025-06-10,120,contact_offset,0.55,meter,9400\n\
                B,exhaust,2025-06-10,500,contact_offset,0.90,,\n";
    let file = bench.path("inspections.csv");
    std::fs::write(&file, rows).unwrap();
    let file = file.to_str().unwrap();
    let (_, result) = bench.ask(&["--inspections", file, "--engine", "A"]);
    assert_eq!(result["valves"][0]["measured"], 0.55);
    assert_eq!(result["valves"][0]["date"], "2025-06-10");
    let (status, _, error) = bench.text(&["--inspections", file]);
    assert!(status == 2 && error.contains("--engine") && error.contains("A, B"), "{error}");
    let (status, _, error) = bench.text(&["--inspections", file, "--engine", "C"]);
    assert!(status == 2 && error.contains("\"C\"") && error.contains("A, B"), "{error}");
    let (status, _, error) = bench.text(&["--inspections", file, "--engine", "A", "--feature", "offset"]);
    assert!(status == 2 && error.contains("contact_offset"), "{error}");
}

#[test]
fn two_rockers_of_one_bay_are_shimmed_together() {
    let (pack, drawer) = (crate::program::demo("pack.toml"), crate::program::demo("drawer.csv"));
    let (pack, drawer) = (pack.to_str().unwrap(), drawer.to_str().unwrap());
    let one = ["shim", pack, "--stock", drawer, "--valve", "1 intake", "--measured", "1.20"];
    let both: Vec<&str> = one.iter().chain(&["--also", "1 exhaust", "--also-measured", "0.80"]).copied().collect();
    let (status, result) = json(&both);
    assert_eq!(status, 0, "{result}");
    assert_eq!(result["valves"].as_array().unwrap().len(), 2);
    let best = &result["builds"][0]["forecast"];
    for valve in ["1 intake", "1 exhaust"] {
        let warm = best["quantities"]
            .as_array()
            .unwrap()
            .iter()
            .find(|q| q["quantity"] == "offset" && q["of"] == valve && q["condition"] == "running");
        let warm = warm.unwrap();
        assert_eq!(warm["asked_for"], true);
        assert!(number(&warm["lower"]) < number(&warm["mean"]) && number(&warm["mean"]) < number(&warm["upper"]));
    }
    // Not of one bay: refused, and said why.
    let other: Vec<&str> = one.iter().chain(&["--also", "2 exhaust"]).copied().collect();
    let output = run(&other);
    let error = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2));
    assert!(error.contains("cylinder 2") && error.contains("cylinder 1"), "{error}");
}

#[test]
fn the_build_that_touches_fewest_parts_is_always_listed() {
    // By the score a part touched must bring one percent: with many pieces the list is full of builds that touch more. One
    // that touches fewer and is good enough still has to be on it.
    let drawer: Vec<(String, f64)> = (0..40).map(|k| (format!("P{k:02}"), 0.20 + 0.02 * f64::from(k))).collect();
    let drawer: Vec<(&str, f64)> = drawer.iter().map(|(name, t)| (name.as_str(), *t)).collect();
    let bench = Bench::measured(&drawer);
    let (_, all) = bench.ask(&["--measured", "0.83", "--enough", "0.6", "--per-part", "0.001", "--list", "1000"]);
    let enough = |build: &&Value| number(&build["forecast"]["chance"]) >= 0.6;
    let least = all["builds"].as_array().unwrap().iter().filter(enough).map(|b| b["touched"].as_u64()).min().unwrap();
    let (_, few) = bench.ask(&["--measured", "0.83", "--enough", "0.6", "--per-part", "0.001", "--list", "3"]);
    let fewest = few["fewest"].as_u64().unwrap() as usize;
    assert!(few["builds"][fewest - 1]["touched"].as_u64() <= least, "{}", few["builds"]);
}

#[test]
fn the_folder_holds_the_bench_sheet() {
    let bench = thick_packets();
    let out = bench.path("out");
    let (status, _, _) = bench.text(&["--measured", "0.55", "--quiet", "--out", out.to_str().unwrap()]);
    assert_eq!(status, 0);
    let sheet = std::fs::read_to_string(out.join("bench-sheet.html")).unwrap();
    // The build, boxes for the readings, the cautions.
    for words in
        ["thick 1", "Measured, mm", "Spring-loaded", "isolated", "moves freely", "valve clearance", "local rules"]
    {
        assert!(sheet.contains(words), "{words}");
    }
    for file in ["report.html", "figures/bay-before.svg", "figures/bay-after.svg", "tables/builds.csv"] {
        assert!(out.join(file).exists(), "{file}");
    }
}

#[test]
fn what_cannot_be_is_refused_with_its_reason() {
    let bench = thick_packets();
    for (more, says) in [
        (vec!["--measured", "0.55", "--enough", "2"], "between 0.01 and 0.9999"),
        (vec!["--measured", "0.55", "--dress", "-1"], "between 0.00001 and 5"),
        (vec!["--measured", "900"], "900"),
        (vec!["--measured", "0.55", "--list", "0"], "between 1 and 1000"),
        (vec!["--measured", "0.55", "--result", "0.9", "--built", "200"], "no build 200"),
        (vec!["--measured", "0.55", "--also", "intake"], "exhaust"),
    ] {
        let (status, out, error) = bench.text(&more);
        assert_eq!(status, 2, "{more:?}: {error}");
        assert!(error.contains(says), "{more:?}: {error}");
        // Not "is 2 : it must": a number without a unit has no gap after it.
        assert!(!error.contains(" :") && out.is_empty(), "{error}");
    }
}

/// A valve that the demo's fleet has in its damage zone, from the demo's inspections and drawer: the thick shim goes beside the rocker, the pair of
/// washers gives way to thinner pieces, and the sum stays.
#[test]
fn the_demos_worst_valve_is_brought_back_from_its_drawer() {
    let [pack, drawer, inspections] =
        ["pack.toml", "drawer.csv", "inspections.csv"].map(|f| crate::program::demo(f).to_str().unwrap().to_owned());
    let ask = |more: &[&str]| {
        let fixed = [
            "shim",
            &pack,
            "--valve",
            "1 exhaust",
            "--engine",
            "P18",
            "--inspections",
            &inspections,
            "--stock",
            &drawer,
        ];
        json(&fixed.iter().chain(more).copied().collect::<Vec<_>>())
    };
    let (status, result) = ask(&[]);
    assert_eq!(status, 0, "{result}");
    assert!(number(&result["valves"][0]["measured"]) > 1.6 && result["valves"][0]["date"].is_string());
    let advised = &result["builds"][result["fewest"].as_u64().unwrap() as usize - 1];
    assert!(number(&advised["forecast"]["chance"]) > 0.95);
    assert!((number(&advised["sum"]) - number(&advised["old_sum"])).abs() < 0.1, "{advised}");
    let out: Vec<&str> =
        advised["taken_out"].as_array().unwrap().iter().map(|t| t["piece"].as_str().unwrap()).collect();
    assert_eq!(out, ["left inner washer", "right inner washer"]);
    // Worn faces have taken as much squeeze as the rocker has moved: then the shim is all it needs.
    let (_, worn) = ask(&["--worn-faces", "1"]);
    let worn = &worn["builds"][worn["fewest"].as_u64().unwrap() as usize - 1];
    assert!(worn["touched"].as_u64() < advised["touched"].as_u64(), "{worn}");
    // The reading after it: as expected, done; else the next build.
    let (status, done) = ask(&["--result", "0.99"]);
    assert_eq!((status, done["after"]["done"].as_bool()), (0, Some(true)), "{}", done["after"]);
    let (status, off) = ask(&["--result", "1.20"]);
    assert_eq!((status, &off["after"]["verdict"]["word"]), (1, &Value::from("read again")));
    let (status, off) = ask(&["--result", "1.20", "--result", "1.21"]);
    assert_eq!(status, 1);
    assert!(!off["after"]["next"]["builds"].as_array().unwrap().is_empty());
}

/// A drawer of 200 pieces and two rockers at once: whatever can be proven, there is a build, and it is good.
#[test]
fn a_full_drawer_serves_two_rockers_at_once() {
    let bench = Bench::new("piece,thickness,u\n");
    let mut rows = String::from("piece,thickness,u\n");
    for k in 0..200 {
        rows.push_str(&format!("P{k:03},{:.3},0.002\n", 0.15 + 1.15 * f64::from((k * 89) % 200) / 200.0));
    }
    std::fs::write(bench.path("drawer.csv"), rows).unwrap();
    let (pack, drawer) = (crate::program::demo("pack.toml"), bench.path("drawer.csv"));
    let fixed = ["shim", pack.to_str().unwrap(), "--stock", drawer.to_str().unwrap(), "--valve", "1 exhaust"];
    let more = ["--measured", "1.30", "--also", "1 intake", "--also-measured", "0.70"];
    let (status, result) = json(&fixed.iter().chain(&more).copied().collect::<Vec<_>>());
    assert_eq!(status, 0, "{}", result["warnings"]);
    assert!(number(&result["builds"][0]["forecast"]["chance"]) > 0.98, "{}", result["builds"][0]);
}

#[test]
fn threads_do_not_change_a_byte() {
    let bench = thick_packets();
    let ask = |threads: &str| bench.text(&["--measured", "0.55", "--format", "json", "--threads", threads]).1;
    assert_eq!(ask("1"), ask("2"));
}

/// A gauge that errs by as much as the limits are wide: no build is called done, the answer says how good a gauge would do, and no piece is sent for that
/// would not help. (The search once went on for minutes.)
#[test]
fn a_gauge_that_is_too_coarse_is_said() {
    let demo = |name: &str| crate::program::demo(name).to_str().unwrap().to_owned();
    let (pack, drawer) = (demo("pack.toml"), demo("drawer.csv"));
    let ask = |u: &str| {
        let fixed = ["shim", &pack, "--stock", &drawer, "--valve", "1 exhaust", "--measured", "1.2", "--u", u];
        let output = run(&fixed);
        (output.status.code(), unwrapped(&String::from_utf8_lossy(&output.stderr)))
    };
    for u in ["0.4", "5"] {
        let (status, notes) = ask(u);
        assert_eq!(status, Some(1), "{u}");
        // Half the width of the limits is 0.12 mm, and z(0.975) is 1.96.
        assert!(
            notes.contains("whatever pieces are fitted") && notes.contains("At most 0.061 mm would do"),
            "{u}: {notes}"
        );
    }
    assert!(!ask("0.02").1.contains("whatever pieces are fitted"));
}

/// A limit that can never bind is a slip: no build is done by it, and it is asked about in the pack's unit, as `stack` does; so do `stock`, `lot --pack` and
/// both forms of `allocate`.
#[test]
fn a_limit_that_can_never_bind_is_questioned_everywhere() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let demo = |name: &str| crate::program::demo(name).to_str().unwrap().to_owned();
    let text = std::fs::read_to_string(demo("pack-with-prices.toml")).unwrap();
    // Preloads of the demo are some hundred newtons.
    std::fs::write(at("sound.toml"), &text).unwrap();
    std::fs::write(at("slip.toml"), text.replace("upper = 520.0", "upper = 520000.0")).unwrap();
    assert_ne!(std::fs::read_to_string(at("slip.toml")).unwrap(), text);
    let (drawer, readings) = (demo("drawer.csv"), demo("shims-0.60.csv"));
    let short = ["--builds", "1024", "--choices", "10", "--final-builds", "1024"];
    let fitted = [&["allocate", "PACK", "--fit-from", &drawer, "--max-out", "0.1"][..], &short].concat();
    let commands: [&[&str]; 6] = [
        &["stack", "PACK"],
        &["shim", "PACK", "--stock", &drawer, "--valve", "1 exhaust", "--measured", "1.10"],
        &["stock", "PACK", "--valve", "1 exhaust", "--catalogue", &drawer, "--new-builds", "0.05", "--jobs", "100"],
        &[
            "lot",
            &readings,
            "--nominal",
            "0.6",
            "--lower",
            "0.4",
            "--upper",
            "0.8",
            "--pack",
            "PACK",
            "--as",
            "shim 0.60",
        ],
        &["allocate", "PACK", "--max-out", "0.1"],
        &fitted,
    ];
    for command in commands {
        let said = |pack: &str| {
            let pack = at(pack).to_str().unwrap().to_owned();
            let arguments: Vec<&str> = command.iter().map(|a| if *a == "PACK" { pack.as_str() } else { a }).collect();
            let output = run(&arguments);
            (output.status.code(), unwrapped(&String::from_utf8_lossy(&output.stderr)))
        };
        let (status, notes) = said("slip.toml");
        assert!(status == Some(1) && notes.contains("can never bind"), "{command:?}: {status:?} {notes}");
        assert!(!said("sound.toml").1.contains("never bind"), "{command:?}");
    }
}

/// In inches, with the verdict's own reasons.
#[test]
fn a_slip_is_told_in_the_unit_of_the_pack() {
    let folder = tempfile::tempdir().unwrap();
    let pack = folder.path().join("inches.toml");
    let text = in_inches(&std::fs::read_to_string(support()).unwrap());
    let line = text.lines().find(|line| line.starts_with("upper = 0.04")).unwrap();
    std::fs::write(&pack, text.replace(line, "upper = 41.34")).unwrap();
    let (status, result) = json(&["stack", pack.to_str().unwrap()]);
    assert_eq!(status, 1);
    let warnings = result["warnings"].to_string();
    assert!(warnings.contains("41.34 in can never bind") && !warnings.contains(" mm"), "{warnings}");
    let drawer = folder.path().join("drawer.csv");
    std::fs::write(&drawer, "piece,thickness,u\nthin,0.0162,0.0001\n").unwrap();
    let asked = run(&[&of_exhaust(&pack, &drawer)[..], &["--measured", "0.0374"]].concat());
    let notes = String::from_utf8_lossy(&asked.stderr);
    assert!(asked.status.code() == Some(1) && unwrapped(&notes).contains("41.34 in can never bind"), "{notes}");
}
