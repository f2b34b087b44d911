//! Shims and stock rendered: the text word for word, every figure and page sound, names from outside escaped, the bench sheet for a printer. The pages
//! are left in cargo's temporary folder for a browser (`tests/browser/check.mjs`).
#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed rendering is a failed test")]

use packdrift_report::Lengths;
use packdrift_report::shim::Shimming;
use packdrift_report::stocking::Stocked;
use packdrift_report::{shim, stocking};
use packdrift_spread::Stack;
use packdrift_stock::{
    Assortment, Assumptions, Bench, GradeWorth, Held, Levels, Measured, Options, Piece, Plan, Proposal, RoundResult,
    Rounds, Service, Share, Size, Sorting,
};
use packdrift_verdict::Evidence;
use std::fs;
use std::path::PathBuf;

mod common;

fn piece(name: &str, thickness: f64, u: Option<f64>, count: u32) -> Piece {
    Piece { name: name.into(), thickness, u, size: None, count, cost: Some(0.9), lead_days: Some(14.0) }
}

/// A few measured pieces, one whose name tries to break out, two sizes nobody has measured, one of them not there.
fn drawer() -> Vec<Piece> {
    vec![
        piece("S01", 0.147, Some(0.002), 1),
        piece("S02", 0.251, Some(0.002), 1),
        piece("<script>alert(1)</script>", 0.398, Some(0.002), 1),
        piece("S04", 0.803, Some(0.002), 1),
        piece("0.25", 0.25, None, 4),
        piece("1.20", 1.20, None, 0),
    ]
}

fn stack() -> Stack {
    let mut stack = common::stack();
    // Preload with both limits; what the bench does not look at would only lengthen the texts.
    stack.requirements.truncate(3);
    stack.requirements[2].lower = Some(90.0);
    stack.requirements[2].upper = Some(260.0);
    stack
}

struct Asked {
    stack: Stack,
    bench: Bench,
    measured: Vec<Measured>,
    proposal: Proposal,
    options: Options,
}

fn asked(offset: f64, drawer: &[Piece]) -> Asked {
    let stack = stack();
    let measured = vec![Measured::read("1 exhaust", offset, 0.02)];
    let options = Options { list: 4, ..Options::default() };
    let bench = Bench::new(&stack, &measured, drawer, Assumptions::default()).unwrap();
    let proposal = bench.propose(&options).unwrap();
    Asked { stack, bench, measured, proposal, options }
}

fn shimming<'a>(asked: &'a Asked, rounds: Option<&'a Rounds>) -> Shimming<'a> {
    Shimming {
        lengths: Lengths::Millimetres,
        title: &asked.stack.pack.title,
        bench: &asked.bench,
        measured: &asked.measured,
        read_on: &[None],
        proposal: &asked.proposal,
        enough: asked.options.enough,
        per_part: asked.options.weights.per_part,
        rounds,
    }
}

/// The advised build made and read so often.
fn rounds(asked: &Asked, readings: &[f64]) -> Rounds {
    let results: Vec<RoundResult> =
        readings.iter().map(|&reading| RoundResult { readings: vec![Some(reading)], made: None }).collect();
    asked
        .bench
        .follow(&asked.measured, &asked.proposal, &results, &asked.options, &packdrift_spread::Silent)
        .unwrap()
        .unwrap()
}

/// Two sizes of three, by hand.
fn plan() -> Plan {
    let size = |name: &str, thickness: f64, bias: f64| Size {
        name: name.into(),
        thickness,
        bias,
        between: 0.006,
        within: 0.006,
        cost: 0.9,
        lead_days: 14.0,
    };
    let assortment = |sizes: &[usize], coverage: f64, standard_error: f64| Assortment {
        sizes: sizes.to_vec(),
        coverage,
        standard_error,
        bound: coverage,
        proven: true,
    };
    let levels = |counts: &[u32], cost: f64, share: f64| Levels {
        counts: counts.to_vec(),
        cost,
        service: Service { share, standard_error: 0.004, waiting: 0.1, waiting_se: 0.01 },
        proven: true,
    };
    let share = |share: f64, standard_error: f64| Share { share, standard_error };
    let held = |size: usize, mean: f64, together: u32, alone: u32| Held {
        size,
        lead_time_demand: mean,
        together: Some(together),
        on_its_own: alone,
        reorder: Some((i64::from(together) - 1, 6, 0.12)),
    };
    Plan {
        catalogue: vec![size("0.15 & less", 0.15, 0.0), size("0.381", 0.381, 0.030), size("0.60", 0.60, 0.0)],
        rate_per_day: 0.12,
        jobs: 10_000,
        fresh_jobs: 10_000,
        without: 0.31,
        all_sizes: 0.942,
        curve: vec![
            assortment(&[1], 0.71, 0.0045),
            assortment(&[0, 1], 0.936, 0.0024),
            assortment(&[0, 1, 2], 0.942, 0.0023),
        ],
        chosen: assortment(&[0, 1], 0.936, 0.0024),
        held: vec![held(0, 1.4, 4, 3), held(1, 2.6, 6, 5)],
        levels: Some(levels(&[4, 6], 9.0, 0.957)),
        on_their_own: levels(&[3, 5], 7.2, 0.921),
        service_curve: vec![
            levels(&[0, 0], 0.0, 0.0),
            levels(&[2, 2], 3.6, 0.52),
            levels(&[3, 5], 7.2, 0.921),
            levels(&[4, 6], 9.0, 0.957),
        ],
        sorting: Sorting {
            as_bought: share(0.88, 0.007),
            measured: share(0.95, 0.005),
            graded: share(0.93, 0.006),
            gain_measured: share(0.07, 0.006),
            gain_graded: share(0.05, 0.006),
            pieces_per_job: 2.2,
            cost_measured: (0.4, Some(5.7)),
            cost_graded: (1.3, Some(26.4)),
            grade_worth_measuring: GradeWorth::Grade(0.35),
            take_pieces: 0.63,
            cannot: 0.06,
            compared: 4_000,
        },
        service: 0.95,
        verdict: Evidence::at_most("share of jobs that these sizes cannot do", 0.05).exact(0.064).judge(),
    }
}

fn stocked(plan: &Plan) -> Stocked<'_> {
    Stocked { plan, lengths: Lengths::Millimetres }
}

fn compare(name: &str, text: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/snapshots").join(name);
    if std::env::var_os("PACKDRIFT_ACCEPT").is_some_and(|v| v == "1") {
        fs::write(&path, text).unwrap();
    }
    let expected = fs::read_to_string(&path).unwrap_or_default();
    assert!(expected == text, "{} differs.\n--- expected\n{expected}\n--- found\n{text}", path.display());
    for line in text.lines() {
        assert!(!line.ends_with(' ') && !line.contains("NaN") && !line.contains("inf "), "{line:?}");
    }
}

#[test]
fn the_builds_word_for_word() {
    let asked = asked(1.25, &drawer());
    compare("shim.txt", &shim::text(&shimming(&asked, None)));
}

#[test]
fn what_is_missing_and_where_it_goes_word_for_word() {
    let asked = asked(1.25, &drawer()[..1]);
    let text = shim::text(&shimming(&asked, None));
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("No single further piece would be enough") && words.contains("With it, a chance of"),
        "{text}"
    );
    compare("shim-missing.txt", &text);
}

#[test]
fn what_the_reading_taught_word_for_word() {
    let asked = asked(1.25, &drawer());
    compare("shim-after.txt", &shim::text(&shimming(&asked, Some(&rounds(&asked, &[1.06])))));
}

#[test]
fn a_surprise_and_its_repetition_word_for_word() {
    let asked = asked(1.25, &drawer());
    compare("shim-read-again.txt", &shim::text(&shimming(&asked, Some(&rounds(&asked, &[1.40])))));
    compare("shim-contradicted.txt", &shim::text(&shimming(&asked, Some(&rounds(&asked, &[1.40, 1.41])))));
}

#[test]
fn inches_word_for_word() {
    let asked = asked(1.25, &drawer());
    let inches = Shimming { lengths: Lengths::Inches, ..shimming(&asked, None) };
    let text = shim::text(&inches);
    assert!(text.contains("S02 0.00988") && !text.contains(" mm"), "{text}");
    compare("shim-inches.txt", &text);
    let planned = plan();
    let stocked = stocking::text(&Stocked { plan: &planned, lengths: Lengths::Inches });
    assert!(stocked.contains("thickness, in") && !stocked.contains(" mm"), "{stocked}");
}

#[test]
fn the_stock_word_for_word() {
    compare("stock.txt", &stocking::text(&stocked(&plan())));
}

#[test]
fn pages_and_sheet_are_whole_and_names_never_become_markup() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("pages");
    fs::create_dir_all(&folder).unwrap();
    // A sheet is for a build that is good enough.
    let asked = asked(1.12, &drawer());
    let shimming = shimming(&asked, None);
    let (shim_envelope, stock_envelope) = (common::envelope("shim"), common::envelope("stock"));
    let sheet = shim::sheet(&shim_envelope, &shimming).unwrap();
    let pages = [
        ("shim.html", shim::page(&shim_envelope, &shimming).unwrap()),
        ("stock.html", stocking::page(&stock_envelope, &stocked(&plan())).unwrap()),
        ("bench-sheet.html", sheet),
    ];
    for (name, html) in &pages {
        fs::write(folder.join(name), html).unwrap();
        for forbidden in ["<script", "src=", "@import", "url(", "NaN", ">inf<", "http://", "https://"] {
            assert!(!html.contains(forbidden), "{name}: {forbidden}");
        }
        assert!(html.contains("Content-Security-Policy") && html.contains("Take care"), "{name}");
    }
    assert!(pages[0].1.contains("prefers-color-scheme") && pages[1].1.contains("prefers-color-scheme"));
    for figure in shim::figures(&shimming).unwrap().iter().chain(&stocking::figures(&stocked(&plan())).unwrap()) {
        roxmltree::Document::parse(&figure.standalone()).unwrap_or_else(|e| panic!("{}: {e}", figure.id));
        assert!(figure.narrow.width <= 360.0 && figure.wide.width <= 1080.0, "{}", figure.id);
        assert!(figure.html().into_string().contains("<details>"), "{}: no table of its numbers", figure.id);
    }
    // The sheet has a box for every piece, and tells the cautions before the build.
    let sheet = &pages[2].1;
    assert!(sheet.contains("isolated") && sheet.find("Take care") < sheet.find("The build"));
    assert!(sheet.contains("<main>") && sheet.contains("OUT") && sheet.contains("Accept"));
    assert!(sheet.matches("class=\"box").count() > 8);
}
