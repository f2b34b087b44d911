//! The terminal's text, word for word, from hand-made results: what a person reads does not change by accident. To see what
//! changed, the test prints both; to accept it, set `PACKDRIFT_ACCEPT=1` and look at the difference in version control.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a text that differs is a failed test

mod common;

use packdrift_report::{stack, tour, trend};
use std::fs;
use std::path::PathBuf;

fn compare(name: &str, text: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/snapshots").join(name);
    if std::env::var_os("PACKDRIFT_ACCEPT").is_some_and(|v| v == "1") {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, text).unwrap();
    }
    let expected = fs::read_to_string(&path).unwrap_or_default();
    assert!(expected == text, "{} differs.\n--- expected\n{expected}\n--- found\n{text}", path.display());
    for line in text.lines() {
        assert!(!line.ends_with(' '), "trailing blank: {line:?}");
        assert!(!line.contains("NaN") && !line.contains("inf "), "{line}");
    }
}

#[test]
fn stack_with_a_requirement_not_met() {
    let stack = common::stack();
    compare("stack.txt", &stack::text(&stack, &common::stack_result(&stack)));
}

#[test]
fn stack_with_all_requirements_met() {
    let stack = common::stack();
    let mut result = common::stack_result(&stack);
    result.requirements[1].max_out = 0.01;
    result.requirements[1].acceptable = true;
    result.requirements[1].verdict = Some(packdrift_spread::judge(&result.requirements[1].spread.out, 0.01));
    compare("stack-met.txt", &stack::text(&stack, &result));
}

#[test]
fn stack_off_its_aim_names_the_shim_that_moves_it() {
    let stack = common::stack();
    let mut result = common::stack_result(&stack);
    result.requirements[1].spread.mean = Some(0.97);
    for answer in &mut result.questions.answers[1] {
        answer.shift_to_centre = Some(0.07);
        answer.out_if_shifted = Some(0.0031);
    }
    // The answer of the right shim points at its own dimension.
    let shim = stack.pack.dimensions.iter().position(|d| d.path == "cylinder 1/right shim/thickness").unwrap();
    result.questions.answers[1][4].source = packdrift_spread::Source::Input(shim);
    result.questions.answers[1][4].out_if_shifted = Some(0.00305);
    let text = stack::text(&stack, &result).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains(
            "0.070 mm above its aim: making the right shim of cylinder 1 0.070 mm thicker would bring it there, and leave 0.31 % outside."
        ),
        "{text}"
    );
}

#[test]
fn stack_that_cannot_be_assembled_says_so_first() {
    let mut b = common::Builder::new();
    let bay = common::usual_bay(&mut b, "cylinder 1", 50.0);
    let mut stack = common::stack();
    stack.pack = common::pack_of(&b, "Too long", vec![bay]);
    let mut result = common::stack_result(&stack);
    for r in &mut result.requirements {
        r.nominal = None;
        r.root_sum_square = None;
        r.spread.mean = None;
        r.spread.sd = None;
        r.spread.quantiles.clear();
        r.spread.cannot_assemble = 1.0;
        r.spread.out.total = 1.0;
        r.spread.out.standard_error = 0.0;
        r.spread.out.bounds = (1.0, 1.0);
        r.verdict = r.verdict.as_ref().map(|_| packdrift_spread::judge(&r.spread.out, r.max_out));
        r.acceptable = false;
    }
    compare("stack-cannot-assemble.txt", &stack::text(&stack, &result));
}

#[test]
fn trend_with_valves_of_every_status() {
    compare("trend.txt", &trend::text(&common::trend_result(), Some(&common::policy())));
}

#[test]
fn trend_without_policy() {
    let mut result = common::trend_result();
    result.features[0].limits = None;
    for v in &mut result.features[0].valves {
        v.status = None;
        v.chance_now = None;
        v.chance_by_horizon = None;
        v.crossing_hours = packdrift_trend::CrossingHours::default();
        v.drifting_to = None;
    }
    compare("trend-without-policy.txt", &trend::text(&result, None));
}

#[test]
fn the_tour_says_that_it_is_invented() {
    let stack = common::stack();
    let stack_result = common::stack_result(&stack);
    let (trend_result, policy) = (common::trend_result(), common::policy());
    let next = vec![("packdrift stack pack.toml".to_owned(), "how far preload and offset spread".to_owned())];
    let tour = tour::Tour {
        stack: &stack,
        stack_result: &stack_result,
        trend_result: &trend_result,
        policy: &policy,
        files: &[],
        next: &next,
    };
    let text = tour::text(&tour);
    assert!(text.starts_with("Invented data"));
    compare("tour.txt", &text);
}
