//! Lots, gauge studies and sampling plans rendered from invented readings: the text word for word, every figure and page sound, names from outside
//! escaped. The pages are left in cargo's temporary folder for a browser (`tests/browser/check.mjs`).
#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed rendering is a failed test")]

use packdrift_lot::gauge::{GaugeOptions, study as gauge_study};
use packdrift_lot::sampling::RiskPoints;
use packdrift_lot::sampling::attributes;
use packdrift_lot::sampling::history::{Delivery, judge};
use packdrift_lot::sampling::standard::{Level, Severity, look_up};
use packdrift_lot::sampling::switching::Reduced;
use packdrift_lot::{Drawing, LotOptions, LotStudy, Readings, study};
use packdrift_lotpack::{LotInPack, ReadingInPack, lots_in_pack, reading_in_pack};
use packdrift_report::figure::Figure;
use packdrift_report::sampling::{Plan, Sampling};
use packdrift_report::{Lengths, Table, gauge, lot, sampling};
use packdrift_spread::Silent;
use std::fs;
use std::path::PathBuf;

mod common;

/// Deviates of no distribution in particular, always the same, between −1 and 1.
fn wobble(i: u32) -> f64 {
    (f64::from(i) * 12.9898).sin()
}

/// Four packets: one as it should be, one off, one hardly measured whose name tries to break out, one with a slip of the pen.
fn packets() -> Readings {
    let mut table = Readings {
        lots: ["good", "thick", "<script>alert(1)</script>", "slip & Co."].map(str::to_owned).to_vec(),
        parts: (1..=30).map(|p| p.to_string()).collect(),
        ..Readings::default()
    };
    for (lot, (mean, n)) in [(0.601, 30), (0.636, 30), (0.604, 6), (0.600, 30)].into_iter().enumerate() {
        for part in 0..n {
            let mut reading = mean + 0.008 * wobble(lot as u32 * 97 + part) * wobble(part + 3).abs().sqrt();
            if lot == 3 && part == 17 {
                reading += 0.06;
            }
            table.lot.push(lot as u32);
            table.part.push(part);
            table.reading.push((reading * 1000.0).round() / 1000.0);
            table.line.push(table.line.len() as u32 + 2);
        }
    }
    table
}

fn lots(drawing: Drawing) -> LotStudy {
    study(&packets(), &LotOptions { drawing, ..LotOptions::default() }).unwrap()
}

const DRAWING: Drawing = Drawing { nominal: Some(0.60), lower: Some(0.57), upper: Some(0.63) };

fn in_pack(study: &LotStudy) -> Vec<LotInPack> {
    let mut stack = common::stack();
    let name = stack.lots[1].name.clone();
    // Preload and offsets; the rest would only lengthen the texts.
    stack.requirements.truncate(3);
    let chosen: Vec<_> = study.lots.iter().take(2).collect();
    lots_in_pack(&stack, &name, &chosen, &study.options, &packdrift_spread::Options::default(), &Silent).unwrap()
}

fn crossed() -> Readings {
    let mut table = Readings {
        lots: vec!["all".into()],
        parts: (1..=10).map(|p| format!("{p:02}")).collect(),
        operators: ["Ann", "<b>Bo</b>", "Cy"].map(str::to_owned).to_vec(),
        ..Readings::default()
    };
    for operator in 0..3_u32 {
        for part in 0..10_u32 {
            for trial in 1..=3_u32 {
                let size = 0.40 + 0.02 * f64::from(part);
                let own = 0.0015 * (f64::from(operator) - 1.0) + 0.002 * wobble(operator * 131 + part * 17 + trial);
                table.reading.push(((size + own) * 1000.0).round() / 1000.0);
                table.lot.push(0);
                table.part.push(part);
                table.operator.push(operator);
                table.trial.push(trial);
                table.line.push(table.line.len() as u32 + 2);
            }
        }
    }
    table
}

fn gauged(difference: f64) -> packdrift_lot::gauge::GaugeStudy {
    let options = GaugeOptions { tolerance: Some(0.06), difference: Some(difference), ..GaugeOptions::default() };
    gauge_study(&crossed(), &options).unwrap()
}

fn shown(study: LotStudy, packs: Vec<LotInPack>) -> lot::Lots {
    lot::Lots::new(study, packs, Vec::new(), Lengths::Millimetres)
}

fn gauge_shown(difference: f64, pack: Option<ReadingInPack>) -> gauge::Gauged {
    gauge::Gauged::new(gauged(difference), pack, Lengths::Millimetres)
}

fn reading_in() -> ReadingInPack {
    reading_in_pack(&common::stack(), None, 0.0026, 1).unwrap()
}

fn plan() -> Sampling {
    let risks = RiskPoints { producer_quality: 0.01, producer_risk: 0.05, consumer_quality: 0.05, consumer_risk: 0.10 };
    let plan = attributes::find(&risks, None).unwrap();
    Sampling {
        risks: Some(risks),
        origin: "Computed from the two points of risk, exactly.".into(),
        plan: Plan::Attributes(plan),
        curve: plan.curve(&risks),
        verdicts: Vec::new(),
        history: None,
        lengths: Lengths::Millimetres,
    }
}

fn with_history(outside: &[u64], reduced: Reduced) -> Sampling {
    let deliveries: Vec<Delivery> = outside
        .iter()
        .enumerate()
        .map(|(i, &outside)| Delivery { lot: format!("delivery {}", i + 1), lot_size: 1000, outside })
        .collect();
    let history = judge(&deliveries, Level::II, 1.0, reduced).unwrap();
    let found = history.next_plan.unwrap_or(look_up(1000, Level::II, 1.0, Severity::Normal).unwrap());
    Sampling {
        plan: Plan::Attributes(found.plan),
        risks: None,
        origin: packdrift_report::sampling::origin(&found, 1.0).unwrap(),
        history: Some(history),
        ..plan()
    }
}

fn compare(name: &str, text: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/snapshots").join(name);
    if std::env::var_os("PACKDRIFT_ACCEPT").is_some_and(|v| v == "1") {
        fs::write(&path, text).unwrap();
    }
    let expected = fs::read_to_string(&path).unwrap_or_default();
    assert!(expected == text, "{} differs.\n--- expected\n{expected}\n--- found\n{text}", path.display());
    for line in text.lines() {
        assert!(!line.ends_with(' ') && !line.contains("NaN"), "{line:?}");
        // What a person reads has no powers of ten and no plural of one.
        assert!(
            !line.contains("×10") && !line.contains(" 1 of 6 lots are") && !line.contains("at most 1 are"),
            "{line}"
        );
    }
    assert!(!text.contains("\n\n\n"), "two blank lines in {name}");
}

#[test]
fn texts_word_for_word() {
    let four = lots(DRAWING);
    compare("lot.txt", &lot::text(&shown(four.clone(), in_pack(&four))));
    compare("lot-without-limits.txt", &lot::text(&shown(lots(Drawing::default()), Vec::new())));
    compare("gauge.txt", &gauge::text(&gauge_shown(0.05, Some(reading_in()))));
    compare("gauge-cannot-tell.txt", &gauge::text(&gauge_shown(0.003, None)));
    compare("sampling.txt", &sampling::text(&plan()));
    compare("sampling-history.txt", &sampling::text(&with_history(&[0, 4, 1, 3], Reduced::NotAgreed)));
    compare("sampling-permitted.txt", &sampling::text(&with_history(&[1; 10], Reduced::NotAgreed)));
    compare("sampling-reduced.txt", &sampling::text(&with_history(&[1; 11], Reduced::Agreed)));
    compare("sampling-stopped.txt", &sampling::text(&with_history(&[4, 4, 4, 4, 4, 4, 4], Reduced::NotAgreed)));
}

fn assert_sound(figures: &[Figure]) {
    for figure in figures {
        for svg in [&figure.wide, &figure.narrow] {
            let text = format!("<svg xmlns=\"http://www.w3.org/2000/svg\">{}</svg>", svg.body);
            let document = roxmltree::Document::parse(&text).unwrap_or_else(|e| panic!("{}: {e}", figure.id));
            for node in document.descendants().filter(roxmltree::Node::is_element) {
                for attribute in node.attributes() {
                    let value = attribute.value();
                    assert!(!value.contains("NaN") && !value.contains("inf"), "{}: {value}", figure.id);
                }
            }
            assert_eq!(svg.dropped, 0, "{}: values that could not be drawn", figure.id);
        }
        assert!(!figure.table.rows.is_empty() && !figure.description.is_empty(), "{}", figure.id);
    }
}

#[test]
fn figures_and_pages_are_sound() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("pages");
    fs::create_dir_all(&folder).unwrap();
    let envelope = common::envelope("lot");
    let four = lots(DRAWING);
    let packs = in_pack(&four);
    let four = shown(four, packs);
    let gauge_study = gauge_shown(0.05, Some(reading_in()));
    let (plan, history) = (plan(), with_history(&[0, 4, 1, 3], Reduced::NotAgreed));
    let figures = lot::figures(&four).unwrap();
    // All lots on one scale, two maps, and order and shape of each lot.
    assert!(figures.len() >= 1 + 2 + 4, "{:?}", figures.iter().map(|f| &f.id).collect::<Vec<_>>());
    assert_sound(&figures);
    assert_sound(&gauge::figures(&gauge_study).unwrap());
    assert_sound(&gauge::figures(&gauge_shown(0.003, None)).unwrap());
    assert_sound(&sampling::figures(&plan).unwrap());
    for (name, page) in [
        ("lot.html", lot::page(&envelope, &four).unwrap()),
        ("lot-without-limits.html", lot::page(&envelope, &shown(lots(Drawing::default()), Vec::new())).unwrap()),
        ("gauge.html", gauge::page(&envelope, &gauge_study).unwrap()),
        ("gauge-cannot-tell.html", gauge::page(&envelope, &gauge_shown(0.003, None)).unwrap()),
        ("sampling.html", sampling::page(&envelope, &plan).unwrap()),
        ("sampling-history.html", sampling::page(&envelope, &history).unwrap()),
    ] {
        // Our own script where a page is worked with, and none that a name brought.
        let scripts = page.matches("<script>").count();
        assert_eq!(scripts, usize::from(name.starts_with("lot")), "{name}: scripts");
        assert!(!page.contains("<b>Bo"), "{name}: a name broke out");
        assert!(page.contains("class=\"answer"), "{name}: no answer");
        // A caption that repeats its heading says nothing.
        let headings: Vec<&str> =
            page.split("<h2").skip(1).filter_map(|h| h.split_once('>')?.1.split_once("</h2>").map(|h| h.0)).collect();
        for heading in headings {
            assert!(!page.contains(&format!("<caption>{heading}</caption>")), "{name}: caption repeats `{heading}`");
        }
        fs::write(folder.join(name), page).unwrap();
    }
}

/// Every file of a command has a name of its own and columns of their own.
#[test]
fn tables_have_names_and_keys_of_their_own() {
    let four = lots(DRAWING);
    let all: [Vec<Table>; 3] = [
        lot::tables(&shown(four.clone(), in_pack(&four))),
        gauge::tables(&gauge_shown(0.05, Some(reading_in()))),
        sampling::tables(&with_history(&[0, 4], Reduced::NotAgreed)),
    ];
    for tables in all {
        let mut names: Vec<&str> = tables.iter().map(|t| t.name.as_str()).collect();
        names.sort_unstable();
        let before = names.len();
        names.dedup();
        assert_eq!(names.len(), before, "{names:?}");
        for table in tables {
            let mut keys = table.keys();
            keys.sort_unstable();
            keys.dedup();
            assert_eq!(keys.len(), table.columns.len(), "{}", table.name);
        }
    }
}

/// Every number and unit of a JSON, by its path.
fn figures_of(value: &serde_json::Value, path: &str, found: &mut Vec<(String, serde_json::Value)>) {
    match value {
        serde_json::Value::Array(all) => {
            for (k, one) in all.iter().enumerate() {
                figures_of(one, &format!("{path}/{k}"), found);
            }
        }
        serde_json::Value::Object(all) => {
            for (key, one) in all {
                figures_of(one, &format!("{path}/{key}"), found);
            }
        }
        other => found.push((path.to_owned(), other.clone())),
    }
}

/// The same figures but for the last digits. Words may hold them too: they are compared without their digits.
fn alike(a: &serde_json::Value, b: &serde_json::Value) {
    let (mut left, mut right) = (Vec::new(), Vec::new());
    figures_of(a, "", &mut left);
    figures_of(b, "", &mut right);
    assert_eq!(left.len(), right.len());
    for ((path, x), (other, y)) in left.iter().zip(&right) {
        assert_eq!(path, other);
        // Per readings in mm by definition.
        if path.ends_with("log_likelihood") || path == "/paste" || path == "/units" || path.ends_with("unit") {
            continue;
        }
        match (x.as_f64(), y.as_f64()) {
            (Some(x), Some(y)) => {
                assert!((x - y).abs() <= 2e-4 * x.abs().max(y.abs()) + 1e-12, "{path}: {x} and {y}");
            }
            _ => {
                let bare = |v: &serde_json::Value| {
                    v.to_string().chars().filter(|c| c.is_alphabetic()).collect::<String>().replace("mm", "in")
                };
                assert_eq!(bare(x), bare(y), "{path}");
            }
        }
    }
}

/// A study in inches is that of the same numbers taken as mm, with the unit's name: no length is forgotten on its way to the page, and none is turned twice.
#[test]
fn a_study_in_inches_is_that_of_the_same_numbers() {
    let inch = 25.4;
    let drawing = |by: f64| Drawing { nominal: Some(0.60 * by), lower: Some(0.57 * by), upper: Some(0.63 * by) };
    let options = |by: f64| LotOptions {
        drawing: drawing(by),
        order: packdrift_lot::Order::AsListed,
        instrument: packdrift_lot::Instrument { uncertainty: Some(0.002 * by), ..Default::default() },
        ..LotOptions::default()
    };
    let wild = packdrift_lot::SetAside { line: packets().line[83], reason: "slip of the pen".into() };
    let of = |by: f64, lengths: Lengths| {
        let mut table = packets();
        table.reading.iter_mut().for_each(|x| *x *= by);
        let study = packdrift_lot::study_setting_aside(&table, &options(by), std::slice::from_ref(&wild)).unwrap();
        lot::Lots::new(study, Vec::new(), Vec::new(), lengths)
    };
    let envelope = common::envelope("lot");
    let (mm, inches) = (of(1.0, Lengths::Millimetres), of(inch, Lengths::Inches));
    let value = |v: &dyn Fn() -> String| serde_json::from_str::<serde_json::Value>(&v()).unwrap();
    let json = |lots: &lot::Lots| value(&|| serde_json::to_string(&lot::json(&envelope, lots)).unwrap());
    assert_eq!(json(&inches)["units"], "in");
    alike(&json(&mm), &json(&inches));
    let gauged = |by: f64, lengths: Lengths| {
        let mut table = crossed();
        table.reading[31] += 0.05;
        table.reading.iter_mut().for_each(|x| *x *= by);
        let options =
            GaugeOptions { tolerance: Some(0.06 * by), difference: Some(0.05 * by), ..GaugeOptions::default() };
        gauge::Gauged::new(gauge_study(&table, &options).unwrap(), None, lengths)
    };
    let json = |g: &gauge::Gauged| value(&|| serde_json::to_string(&gauge::json(&envelope, g)).unwrap());
    let (of_mm, of_inches) = (gauged(1.0, Lengths::Millimetres), gauged(inch, Lengths::Inches));
    assert!(json(&of_inches)["stands_out"]["line"].is_number());
    alike(&json(&of_mm), &json(&of_inches));
    // Nothing that is shown or written speaks of mm.
    let mut everything = vec![
        lot::text(&inches),
        lot::page(&envelope, &inches).unwrap(),
        gauge::text(&of_inches),
        gauge::page(&envelope, &of_inches).unwrap(),
    ];
    everything.extend(inches.warnings().into_iter().chain(of_inches.warnings()));
    everything.extend(lot::tables(&inches).iter().chain(&gauge::tables(&of_inches)).map(Table::csv));
    let figures = lot::figures(&inches).unwrap().into_iter().chain(gauge::figures(&of_inches).unwrap());
    for figure in figures {
        everything.extend([
            figure.table.csv(),
            figure.description.clone(),
            figure.title.clone(),
            figure.wide.body.clone(),
        ]);
    }
    let page = everything.iter().map(|text| text.split("<script").next().unwrap_or_default().replace("comm", ""));
    for text in page {
        for unit in [" mm", ",mm", "_mm", "µm"] {
            assert!(!text.contains(unit), "{unit} in {}", text.chars().take(3000).collect::<String>());
        }
    }
}
