//! Builds of one choice, timed: the shop "coarse" of tests/outside/whole_shop.py, for benches/policy.py to lay beside it.
//!
//! `whole_shop BUILDS` prints the share outside at last, the share fitted, and the seconds it took.

#![allow(clippy::print_stdout, reason = "a bench says what it found")]

use packdrift_policy::{Asked, Choice, Pieces, Prices, Question, Shop, estimate_choice};
use packdrift_spread::{Cost, Known, Require, SpringForm, StackBuilder};
use packdrift_stock::Size;
use std::error::Error;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let builds: usize = std::env::args().nth(1).ok_or("how many builds?")?.parse()?;
    let toleranced = |nominal: f64, tol: f64| Known::toleranced(nominal, tol).at_cost(Cost::Grades(vec![(tol, 1.0)]));
    let spring = SpringForm::Linear { rate: Known::exact(150.0), free_height: Known::exact(3.0) };
    let stack = StackBuilder::new("one rocker")
        .bay("bay", Known::exact(28.0), |bay| {
            bay.shim("shim", toleranced(0.40, 0.03))
                .rocker("rocker", Known::exact(24.0), toleranced(11.0, 0.12))
                .spring("spring", spring)
                .washer("outer", Known::exact(1.0))
                .valve("exhaust", "rocker", toleranced(10.4, 0.30))
        })
        .require(Require::offset("exhaust").between(0.90, 1.10))
        .require(Require::preload("bay").between(10.0, 176.0))
        .build()?;
    let size = |thickness: f64| Size {
        name: format!("{thickness:.2}"),
        thickness,
        bias: 0.0,
        between: 0.004,
        within: 0.006,
        cost: 1.0,
        lead_days: 10.0,
    };
    let catalogue = [0.2, 0.3, 0.5, 0.6].map(size);
    let asked = Asked { max_out: Some(0.01), most_sizes: 4 };
    let question = Question::new(&stack, &catalogue, &Prices::default(), &Shop::default(), &asked)?;
    let choice = Choice { levels: vec![0; 3], sizes: 0b1111, pieces: Pieces::AsBought };
    let start = Instant::now();
    let found = estimate_choice(&question, &choice, builds, 11)?;
    let seconds = start.elapsed().as_secs_f64();
    println!("{} {} {seconds}", found.out.value, found.fitted);
    Ok(())
}
