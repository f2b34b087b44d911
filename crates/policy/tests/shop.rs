//! The whole shop against numpy: tests/outside/whole_shop.py draws, reads and fits every build by trying all pieces, and shares no code with us.
//! Agreement within five standard errors of the difference.

#![allow(clippy::expect_used, clippy::panic, reason = "a failed expectation fails the test")]

use packdrift_policy::{Asked, Choice, Pieces, Prices, Question, Shop, estimate_choice};
use packdrift_spread::{Cost, Known as Given, Require, SpringForm, StackBuilder};
use packdrift_stock::Size;
use std::path::Path;

/// A number after a key, in the frozen JSON.
fn number(text: &str, key: &str) -> f64 {
    let (_, after) = text.split_once(&format!("\"{key}\":")).unwrap_or_else(|| panic!("no {key}"));
    let end = after.find([',', '}', '\n']).unwrap_or(after.len());
    after[..end].trim().parse().unwrap_or_else(|_| panic!("{key} is no number: {}", &after[..end]))
}

fn list(text: &str, key: &str) -> Vec<f64> {
    let (_, after) = text.split_once(&format!("\"{key}\":")).unwrap_or_else(|| panic!("no {key}"));
    let (inside, _) = after.split_once(']').unwrap_or((after, ""));
    inside.trim().trim_start_matches('[').split(',').map(|n| n.trim().parse().expect("a number")).collect()
}

fn compare(frozen: &str) {
    let of = |key: &str| number(frozen, key);
    let toleranced = |nominal: f64, tol: f64| Given::toleranced(nominal, tol).at_cost(Cost::Grades(vec![(tol, 1.0)]));
    let spring = SpringForm::Linear { rate: Given::exact(150.0), free_height: Given::exact(3.0) };
    let (h, preload) = (of("half_width"), list(frozen, "preload"));
    let stack = StackBuilder::new("one rocker")
        .bay("bay", Given::exact(28.0), |bay| {
            bay.shim("shim", toleranced(0.40, of("shim")))
                .rocker("rocker", Given::exact(24.0), toleranced(11.0, of("adjuster")))
                .spring("spring", spring)
                .washer("outer", Given::exact(1.0))
                .valve("exhaust", "rocker", toleranced(10.4, of("stem")))
        })
        .require(Require::offset("exhaust").between(1.0 - h, 1.0 + h))
        .require(Require::preload("bay").between(preload[0], preload[1]))
        .build()
        .expect("a sound stack");
    let sizes = list(frozen, "sizes");
    let size = |&thickness: &f64| Size {
        name: format!("{thickness:.2}"),
        thickness,
        bias: 0.0,
        between: of("between"),
        within: of("within"),
        cost: 1.0,
        lead_days: 10.0,
    };
    let catalogue: Vec<Size> = sizes.iter().map(size).collect();
    // A minute for a part and a price of 1: then the cost of what is touched is their number.
    let prices = Prices { minute: Some(1.0), piece_minutes: Some(1.0), ..Prices::default() };
    let shop = Shop { u_offset: of("u"), repeatability: of("repeats"), ..Shop::default() };
    let question =
        Question::new(&stack, &catalogue, &prices, &shop, &Asked { max_out: None, most_sizes: 4 }).expect("a question");
    let choice = Choice { levels: vec![0; 3], sizes: 0b1111, pieces: Pieces::AsBought };
    let ours = estimate_choice(&question, &choice, 65_536, 11).expect("an estimate");
    let (n, m) = (of("builds"), ours.builds as f64);
    let agrees = |what: &str, ours: f64, theirs: f64, variance: f64| {
        let error = (variance * (1.0 / n + 1.0 / m)).sqrt() + 1e-4;
        assert!((ours - theirs).abs() < 5.0 * error, "{what}: ours {ours}, numpy {theirs}, error {error}");
    };
    let share = |what: &str, ours: f64, theirs: f64| agrees(what, ours, theirs, theirs * (1.0 - theirs));
    share("outside as assembled", ours.out_drawn.value, of("out_drawn"));
    share("outside after the first", ours.out_first.value, of("out_first"));
    share("outside at last", ours.out.value, of("out"));
    share("fitted", ours.fitted, of("fitted"));
    share("fitted again", ours.fitted_again, of("again"));
    agrees("readings", ours.readings, of("readings"), 0.3);
    let touched = ours.parts.touching;
    agrees("parts touched", touched, of("touched"), of("touched_variance"));
    // Where two sets of pieces are as good as each other, which of them is taken is nobody's to say: the cases have hardly any such build.
    assert!(of("tied") < 1e-3, "tied in {} of the builds", of("tied"));
    let variances = list(frozen, "taken_variance");
    assert_eq!(ours.drawer.len(), sizes.len());
    for ((held, theirs), variance) in ours.drawer.iter().zip(list(frozen, "taken")).zip(variances) {
        agrees(&format!("taken of {}", sizes[held.size]), held.taken, theirs, variance);
    }
}

#[test]
fn the_shop_is_numpys_shop() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/whole_shop.json");
    let frozen = std::fs::read_to_string(path).expect("tests/reference/whole_shop.json");
    let (_, cases) = frozen.split_once("\"coarse\":").expect("the case coarse");
    let (coarse, fine) = cases.split_once("\"fine\":").expect("the case fine");
    let (fine, biased) = fine.split_once("\"biased\":").expect("the case biased");
    compare(coarse);
    compare(fine);
    compare(biased);
}
