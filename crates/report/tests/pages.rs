//! Every page and every figure, made from hand-made results: well-formed, without what a browser would silently not draw,
//! and with every name from outside escaped. The pages are left in cargo's temporary folder, so that a browser can open them
//! (`tests/browser/check.mjs`).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a failed rendering is a failed test

mod common;

use packdrift_report::figure::{Figure, Format};
use packdrift_report::{bay, stack, tour, trend};
use std::fs;
use std::path::PathBuf;

fn folder() -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("pages");
    fs::create_dir_all(&folder).unwrap();
    folder
}

fn write(name: &str, text: &str) {
    fs::write(folder().join(name), text).unwrap();
}

fn odd_figure() -> Figure {
    let mut b = common::Builder::new();
    let odd = common::odd_bay(&mut b, "odd <bay>");
    let pack = common::pack_of(&b, "odd", vec![odd]);
    let values: Vec<f64> = b.inputs.iter().map(|i| i.nominal).collect();
    bay::figure(
        "odd",
        "Every kind of part",
        &bay::Scene {
            pack: &pack,
            bay: 0,
            condition: 0,
            values: &values,
            lengths: packdrift_report::Lengths::default(),
        },
    )
    .unwrap()
}

fn bay_with_span(id: &str, span: f64) -> Figure {
    let mut b = common::Builder::new();
    let usual = common::usual_bay(&mut b, "cylinder 1", span);
    let pack = common::pack_of(&b, "", vec![usual]);
    let values: Vec<f64> = b.inputs.iter().map(|i| i.nominal).collect();
    bay::figure(
        id,
        "Bay",
        &bay::Scene {
            pack: &pack,
            bay: 0,
            condition: 1,
            values: &values,
            lengths: packdrift_report::Lengths::default(),
        },
    )
    .unwrap()
}

fn all_figures() -> Vec<Figure> {
    let stack = common::stack();
    let mut figures = stack::figures(&stack, &common::stack_result(&stack)).unwrap();
    figures.extend(trend::figures(&common::trend_result(), Some(&common::policy())).unwrap());
    figures.push(odd_figure());
    figures.push(bay_with_span("loose", 54.0));
    figures.push(bay_with_span("too-long", 50.0));
    figures
}

/// Well-formed; numbers finite; no rectangle or circle without an extent; text alternatives there.
fn assert_sound(name: &str, svg: &str) {
    let document = roxmltree::Document::parse(svg).unwrap_or_else(|e| panic!("{name}: {e}\n{svg}"));
    let root = document.root_element();
    let has = |tag: &str| {
        root.children()
            .any(|n| n.has_tag_name(("http://www.w3.org/2000/svg", tag)) && n.text().is_some_and(|t| !t.is_empty()))
    };
    assert!(has("title") && has("desc") && root.attribute("role") == Some("img"), "{name}: no text alternative");
    for node in document.descendants().filter(roxmltree::Node::is_element) {
        assert!(!node.has_tag_name("script"), "{name}: a script");
        for attribute in node.attributes() {
            let value = attribute.value();
            match attribute.name() {
                "width" | "height" | "r" | "font-size" | "stroke-width" => {
                    let number: f64 = value.parse().unwrap_or_else(|_| panic!("{name}: {}={value}", attribute.name()));
                    assert!(number.is_finite() && number > 0.0, "{name}: {}={value}", attribute.name());
                }
                "x" | "y" | "x1" | "x2" | "y1" | "y2" | "cx" | "cy" => {
                    assert!(value.parse::<f64>().is_ok_and(f64::is_finite), "{name}: {}={value}", attribute.name());
                }
                "points" => {
                    for number in value.split([' ', ',']).filter(|t| !t.is_empty()) {
                        assert!(number.parse::<f64>().is_ok_and(f64::is_finite), "{name}: points {value}");
                    }
                }
                _ => {}
            }
        }
        if node.has_tag_name(("http://www.w3.org/2000/svg", "text")) {
            let text = node.text().unwrap_or_default();
            assert!(!text.contains("NaN") && !text.contains("inf"), "{name}: text {text}");
        }
    }
}

#[test]
fn every_figure_is_sound_alone_and_in_a_page() {
    let figures = all_figures();
    assert!(figures.len() > 15, "{}", figures.len());
    for figure in &figures {
        let svg = figure.standalone();
        assert_sound(&figure.id, &svg);
        write(&format!("{}.svg", figure.id), &svg);
        let html = figure.html().into_string();
        assert!(html.contains("<details>") && html.contains("<table>"), "{}: no table of its numbers", figure.id);
        assert_eq!(html.matches("<svg").count(), 2, "{}: both formats", figure.id);
    }
}

#[test]
fn narrow_figures_fit_a_telephone_and_wide_ones_the_page() {
    for figure in all_figures() {
        assert!(figure.narrow.width <= 360.0, "{}", figure.id);
        assert!(figure.wide.width <= 1080.0, "{}", figure.id);
    }
    assert_eq!(Format::Wide.pick(1, 2), 1);
}

#[test]
fn ids_and_file_names_are_unique() {
    let stack = common::stack();
    let mut result = common::stack_result(&stack);
    // Two requirements whose names differ in punctuation alone.
    result.requirements[1].name = "offset  1 intake".into();
    let figures = stack::figures(&stack, &result).unwrap();
    let ids: std::collections::HashSet<&str> = figures.iter().map(|f| f.id.as_str()).collect();
    assert_eq!(ids.len(), figures.len());
    let html = stack::page(&common::envelope("stack"), &stack, &result).unwrap();
    let mut seen = std::collections::HashSet::new();
    for piece in html.split(" id=\"").skip(1) {
        let id = piece.split('"').next().unwrap();
        assert!(seen.insert(id.to_owned()), "id {id} twice");
    }
}

#[test]
fn pages_are_whole_and_fetch_nothing() {
    let stack = common::stack();
    let stack_result = common::stack_result(&stack);
    let (trend_result, policy) = (common::trend_result(), common::policy());
    let files = vec![("pack.toml".to_owned(), "the rocker shaft".to_owned())];
    let next = vec![("packdrift stack pack.toml".to_owned(), "spread of preload and offset".to_owned())];
    let tour = tour::Tour {
        stack: &stack,
        stack_result: &stack_result,
        trend_result: &trend_result,
        policy: &policy,
        files: &files,
        next: &next,
    };
    let pages = [
        ("stack.html", stack::page(&common::envelope("stack"), &stack, &stack_result).unwrap()),
        ("trend.html", trend::page(&common::envelope("trend"), &trend_result, Some(&policy)).unwrap()),
        ("trend-without-policy.html", trend::page(&common::envelope("trend"), &trend_result, None).unwrap()),
        ("tour.html", tour::page(&common::envelope("tour"), &tour).unwrap()),
    ];
    for (name, html) in &pages {
        write(name, html);
        for forbidden in [" src=", "@import", "url(", "NaN", ">inf<"] {
            assert!(!html.contains(forbidden), "{name}: {forbidden}");
        }
        // Our own script where the page is worked with, and none elsewhere. That its sum is right is for a browser to say.
        let works = !name.starts_with("tour");
        assert_eq!(html.matches("<script>").count(), usize::from(works), "{name}");
        assert_eq!(html.contains("script-src 'sha256-"), works, "{name}");
        // Addresses: only the name of the SVG language may look like one, and inside a page not even that.
        assert!(!html.contains("http://") && !html.contains("https://"), "{name}");
        assert!(html.contains("Content-Security-Policy") && html.contains("prefers-color-scheme"), "{name}");
        assert!(html.contains("Take care"), "{name}: no cautions");
    }
    assert!(pages[3].1.contains("Invented data"), "the tour must say that it is invented");
}

#[test]
fn names_from_outside_never_become_markup() {
    let mut stack = common::stack();
    let evil = "<script>alert(1)</script><img src=x onerror=alert(1)>\"'&";
    stack.pack.title = evil.into();
    stack.pack.bays[0].name = evil.into();
    stack.pack.bays[0].parts[1].name = evil.into();
    stack.pack.bays[0].valves[0].name = evil.into();
    stack.pack.conditions[1].name = evil.into();
    stack.lots[0].name = evil.into();
    for d in &mut stack.pack.dimensions {
        d.path = evil.into();
    }
    let mut result = common::stack_result(&stack);
    for r in &mut result.requirements {
        r.name = evil.into();
        for c in &mut r.contributors {
            c.dimension = evil.into();
        }
    }
    let mut envelope = common::envelope(evil);
    envelope.warnings = vec![evil.into()];
    envelope.inputs = vec![(evil.into(), evil.into())];
    let stack_page = stack::page(&envelope, &stack, &result).unwrap();

    let mut trend_result = common::trend_result();
    let feature = &mut trend_result.features[0];
    feature.feature = evil.into();
    feature.limits.as_mut().unwrap().unit = evil.into();
    feature.diagnostics.reason = evil.into();
    for v in &mut feature.valves {
        (v.engine, v.valve, v.group) = (evil.into(), evil.into(), evil.into());
    }
    let trend_page = trend::page(&envelope, &trend_result, Some(&common::policy())).unwrap();
    for page in [&stack_page, &trend_page] {
        assert!(!page.contains("<script>alert") && !page.contains("<img") && !page.contains("onerror=alert(1)>\""));
        assert!(page.contains("&lt;script&gt;"));
    }
    for figure in stack::figures(&stack, &result).unwrap().iter().chain(&trend::figures(&trend_result, None).unwrap()) {
        assert_sound("evil", &figure.standalone());
    }
}

#[test]
fn what_is_not_finite_is_not_drawn_but_counted() {
    let mut trend_result = common::trend_result();
    let v = &mut trend_result.features[0].valves[0];
    v.series[5].value = f64::NAN;
    v.band[7].reading_high = f64::INFINITY;
    v.slope_se = f64::NAN;
    v.crossing_hours.p50 = Some(f64::NAN);
    let figures = trend::figures(&trend_result, Some(&common::policy())).unwrap();
    for figure in &figures {
        assert_sound(&figure.id, &figure.standalone());
        assert!(!figure.html().into_string().contains("NaN"), "{}", figure.id);
    }
    assert!(figures.iter().any(|f| f.wide.dropped > 0 && f.html().into_string().contains("could not be drawn")));

    let stack = common::stack();
    let mut result = common::stack_result(&stack);
    let r = &mut result.requirements[0];
    r.spread.mean = Some(f64::NAN);
    r.spread.sd = None;
    r.nominal = Some(f64::INFINITY);
    r.worst_case.max = Some(f64::NAN);
    r.spread.histogram.as_mut().unwrap().shares[3] = f64::NAN;
    r.contributors[0].variance_share = f64::NAN;
    for figure in stack::figures(&stack, &result).unwrap() {
        assert_sound(&figure.id, &figure.standalone());
    }
    let page = stack::page(&common::envelope("stack"), &stack, &result).unwrap();
    assert!(!page.contains("NaN") && !page.contains(">inf"), "page");
}

#[test]
fn empty_results_have_pages_too() {
    let mut stack = common::stack();
    stack.requirements.clear();
    let mut result = common::stack_result(&stack_with_requirements());
    result.requirements.clear();
    result.joint = None;
    let page = stack::page(&common::envelope("stack"), &stack, &result).unwrap();
    assert!(page.contains("no requirement"));

    let mut trend_result = common::trend_result();
    let feature = &mut trend_result.features[0];
    feature.model = None;
    feature.valves.clear();
    feature.diagnostics.reason = "every valve has one reading".into();
    let page = trend::page(&common::envelope("trend"), &trend_result, Some(&common::policy())).unwrap();
    assert!(page.contains("every valve has one reading"));
    trend_result.features.clear();
    trend::page(&common::envelope("trend"), &trend_result, None).unwrap();
}

fn stack_with_requirements() -> packdrift_spread::Stack {
    common::stack()
}

#[test]
fn a_large_fleet_is_whole_in_a_page_that_can_be_mailed() {
    let mut trend_result = common::trend_result();
    let feature = &mut trend_result.features[0];
    let template = feature.valves[3].clone();
    for i in feature.valves.len()..1000 {
        let mut v = template.clone();
        v.engine = format!("X{:03}", i / 4);
        v.valve = ["1 intake", "1 exhaust", "2 intake", "2 exhaust"][i % 4].to_owned();
        v.status = Some(packdrift_trend::Status::ALL[i % 7]);
        feature.valves.push(v);
    }
    let page = trend::page(&common::envelope("trend"), &trend_result, Some(&common::policy())).unwrap();
    write("trend-large.html", &page);
    assert!(page.len() < 3_000_000, "{} bytes", page.len());
    let (_, every) = page.split_once("id=\"every-valve\"").unwrap();
    assert_eq!(every.matches("<tr data-chart").count(), 1000);
    for last in [">X249<", ">X013<"] {
        assert!(every.contains(last), "{last}");
    }
    let numbers = every.split_once("id=\"charts-0\">").unwrap().1.split_once("</script>").unwrap().0;
    let drawn: serde_json::Value = serde_json::from_str(numbers).unwrap();
    let valves = drawn["valves"].as_array().unwrap();
    assert!(valves.len() == 1000 && valves.iter().all(|v| v["series"].as_array().is_some_and(|s| !s.is_empty())));

    // Beyond what carries readings the rows are all there still.
    let feature = &mut trend_result.features[0];
    for i in 0..4000 {
        let mut v = template.clone();
        v.engine = format!("Y{i:04}");
        v.band.clear();
        v.series.clear();
        feature.valves.push(v);
    }
    let page = trend::page(&common::envelope("trend"), &trend_result, Some(&common::policy())).unwrap();
    assert!(page.len() < 12_000_000 && page.contains(">Y3999<"), "{} bytes", page.len());
    assert!(page.contains("less urgent ones are left out"));
}
