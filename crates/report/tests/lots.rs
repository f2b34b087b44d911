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
use packdrift_report::{Table, gauge, lot, sampling};
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
    compare("lot.txt", &lot::text(&four, &in_pack(&four)));
    compare("lot-without-limits.txt", &lot::text(&lots(Drawing::default()), &[]));
    compare("gauge.txt", &gauge::text(&gauged(0.05), Some(&reading_in())));
    compare("gauge-cannot-tell.txt", &gauge::text(&gauged(0.003), None));
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
    let (gauge_study, pack) = (gauged(0.05), reading_in());
    let (plan, history) = (plan(), with_history(&[0, 4, 1, 3], Reduced::NotAgreed));
    let figures = lot::figures(&four, &packs).unwrap();
    // All lots on one scale, two maps, and order and shape of each lot.
    assert!(figures.len() >= 1 + 2 + 4, "{:?}", figures.iter().map(|f| &f.id).collect::<Vec<_>>());
    assert_sound(&figures);
    assert_sound(&gauge::figures(&gauge_study).unwrap());
    assert_sound(&gauge::figures(&gauged(0.003)).unwrap());
    assert_sound(&sampling::figures(&plan).unwrap());
    for (name, page) in [
        ("lot.html", lot::page(&envelope, &four, &packs).unwrap()),
        ("lot-without-limits.html", lot::page(&envelope, &lots(Drawing::default()), &[]).unwrap()),
        ("gauge.html", gauge::page(&envelope, &gauge_study, Some(&pack)).unwrap()),
        ("gauge-cannot-tell.html", gauge::page(&envelope, &gauged(0.003), None).unwrap()),
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
        lot::tables(&four, &in_pack(&four)),
        gauge::tables(&gauged(0.05), Some(&reading_in())),
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
