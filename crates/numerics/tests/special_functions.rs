//! Special functions on grids, held to 30-digit arithmetic (mpmath; `tests/outside/special_mpmath.py`). `docs/special-functions.md` has the
//! largest relative error of each, beside that of the same function of statrs; this test holds that page to what it finds:
//! `cargo test -p packdrift-numerics --test special_functions -- --nocapture` prints the table.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test ends where something is not there"
)]

use packdrift_numerics::{normal, special, special::Tails, transcendental};
use statrs::distribution::{Beta, Binomial, ChiSquared, ContinuousCDF, DiscreteCDF, FisherSnedecor, Normal, StudentsT};
use statrs::function::{beta as statrs_beta, gamma as statrs_gamma};
use std::sync::mpsc;
use std::time::Duration;

/// A function of some arguments, with one value or two.
type Function = fn(&[f64]) -> Vec<f64>;

/// A function of ours, and the same of statrs if it has it.
struct Compared {
    name: &'static str,
    ours: Function,
    theirs: Option<Function>,
}

fn tails(tails: Tails) -> Vec<f64> {
    vec![tails.lower, tails.upper]
}

fn both<D: ContinuousCDF<f64, f64>, E: std::fmt::Debug>(distribution: Result<D, E>, x: f64) -> Vec<f64> {
    let distribution = distribution.unwrap();
    vec![distribution.cdf(x), distribution.sf(x)]
}

fn standard() -> Normal {
    Normal::new(0.0, 1.0).unwrap()
}

fn student(nu: f64) -> StudentsT {
    StudentsT::new(0.0, 1.0, nu).unwrap()
}

const ALL: [Compared; 19] = [
    Compared {
        name: "normal::pdf",
        ours: |a| vec![normal::pdf(a[0])],
        theirs: Some(|a| vec![statrs::distribution::Continuous::pdf(&standard(), a[0])]),
    },
    Compared { name: "normal::cdf", ours: |a| vec![normal::cdf(a[0])], theirs: Some(|a| vec![standard().cdf(a[0])]) },
    Compared { name: "normal::sf", ours: |a| vec![normal::sf(a[0])], theirs: Some(|a| vec![standard().sf(a[0])]) },
    Compared {
        name: "normal::quantile",
        ours: |a| vec![normal::quantile(a[0])],
        theirs: Some(|a| vec![standard().inverse_cdf(a[0])]),
    },
    Compared {
        name: "special::ln_gamma",
        ours: |a| vec![special::ln_gamma(a[0])],
        theirs: Some(|a| vec![statrs_gamma::ln_gamma(a[0])]),
    },
    Compared {
        name: "special::digamma",
        ours: |a| vec![special::digamma(a[0])],
        theirs: Some(|a| vec![statrs_gamma::digamma(a[0])]),
    },
    Compared {
        name: "special::gamma_tails",
        ours: |a| tails(special::gamma_tails(a[0], a[1])),
        theirs: Some(|a| vec![statrs_gamma::gamma_lr(a[0], a[1]), statrs_gamma::gamma_ur(a[0], a[1])]),
    },
    Compared {
        name: "special::chi_squared_tails",
        ours: |a| tails(special::chi_squared_tails(a[0], a[1])),
        theirs: Some(|a| both(ChiSquared::new(a[0]), a[1])),
    },
    Compared {
        name: "special::chi_squared_quantile",
        ours: |a| vec![special::chi_squared_quantile(a[0], a[1])],
        theirs: Some(|a| vec![ChiSquared::new(a[0]).unwrap().inverse_cdf(a[1])]),
    },
    Compared {
        name: "special::beta_tails",
        ours: |a| tails(special::beta_tails(a[0], a[1], a[2], a[3])),
        theirs: Some(|a| vec![statrs_beta::beta_reg(a[0], a[1], a[2]), statrs_beta::beta_reg(a[1], a[0], a[3])]),
    },
    Compared {
        name: "special::beta_quantile",
        ours: |a| vec![special::beta_quantile(a[0], a[1], a[2]).0],
        theirs: Some(|a| vec![Beta::new(a[0], a[1]).unwrap().inverse_cdf(a[2])]),
    },
    Compared {
        name: "special::fisher_tails",
        ours: |a| tails(special::fisher_tails(a[0], a[1], a[2])),
        theirs: Some(|a| both(FisherSnedecor::new(a[0], a[1]), a[2])),
    },
    Compared {
        name: "special::fisher_quantile",
        ours: |a| vec![special::fisher_quantile(a[0], a[1], a[2])],
        theirs: Some(|a| vec![FisherSnedecor::new(a[0], a[1]).unwrap().inverse_cdf(a[2])]),
    },
    Compared {
        name: "special::binomial_tails",
        ours: |a| tails(special::binomial_tails(a[0] as u64, a[1], a[2] as u64)),
        theirs: Some(|a| {
            let binomial = Binomial::new(a[1], a[0] as u64).unwrap();
            vec![binomial.cdf(a[2] as u64), binomial.sf(a[2] as u64)]
        }),
    },
    Compared {
        name: "special::student_t_tails",
        ours: |a| tails(special::student_t_tails(a[0], a[1])),
        theirs: Some(|a| vec![student(a[0]).cdf(a[1]), student(a[0]).sf(a[1])]),
    },
    Compared {
        name: "special::student_t_quantile",
        ours: |a| vec![special::student_t_quantile(a[0], a[1])],
        theirs: Some(|a| vec![student(a[0]).inverse_cdf(a[1])]),
    },
    Compared {
        name: "special::noncentral_t_tails",
        ours: |a| tails(special::noncentral_t_tails(a[0], a[1], a[2])),
        theirs: None,
    },
    Compared {
        name: "special::noncentral_t_quantile",
        ours: |a| vec![special::noncentral_t_quantile(a[0], a[1], a[2])],
        theirs: None,
    },
    Compared {
        name: "special::noncentral_t_noncentrality",
        ours: |a| vec![special::noncentral_t_noncentrality(a[0], a[1], a[2])],
        theirs: None,
    },
];

/// Those that nobody else has.
const OWN: [Compared; 2] = [
    Compared {
        name: "transcendental::sine_integral",
        ours: |a| vec![transcendental::sine_integral(a[0])],
        theirs: None,
    },
    Compared {
        name: "transcendental::student_t_characteristic",
        ours: |a| vec![transcendental::student_t_characteristic(a[0], a[1])],
        theirs: None,
    },
];

/// Arguments, and what comes of them.
type Row = (Vec<f64>, Vec<f64>);

fn grids() -> serde_json::Map<String, serde_json::Value> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/special_mpmath.json");
    let frozen: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    frozen["values"].as_object().unwrap().clone()
}

/// The largest relative error over a grid, and where; absolute where the value is 0.
fn worst(function: Function, rows: &[Row]) -> (f64, Vec<f64>) {
    let mut worst = (0.0, Vec::new());
    for (arguments, values) in rows {
        for (got, value) in function(arguments).into_iter().zip(values) {
            let error = if *value == 0.0 { got.abs() } else { (got - value).abs() / value.abs() };
            if error.is_nan() || error > worst.0 {
                worst = (if error.is_nan() { f64::INFINITY } else { error }, arguments.clone());
            }
        }
    }
    worst
}

/// As [`worst`], of a library that may panic or never return: then there is no figure, but a word.
fn worst_of_theirs(function: Function, rows: Vec<Row>) -> String {
    let (sender, receiver) = mpsc::channel();
    std::thread::spawn(move || {
        let found = std::panic::catch_unwind(|| worst(function, &rows).0);
        sender.send(found.ok())
    });
    match receiver.recv_timeout(Duration::from_secs(20)) {
        Ok(Some(error)) if error.is_finite() => format!("{error:.0e}"),
        Ok(Some(_)) => "no number".to_owned(),
        Ok(None) => "panics".to_owned(),
        Err(_) => "does not return".to_owned(),
    }
}

/// What the page says of a function: ours.
fn said(page: &str, name: &str) -> f64 {
    let line = page
        .lines()
        .find(|line| line.starts_with(&format!("| `{name}` |")))
        .unwrap_or_else(|| panic!("{name} is not on the page"));
    line.split('|').nth(3).unwrap().trim().parse().unwrap()
}

#[test]
fn the_largest_errors_are_as_the_page_says() {
    let page =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/special-functions.md")).unwrap();
    let grids = grids();
    assert_eq!(grids.len(), ALL.len() + OWN.len(), "a grid without a function");
    let mut wrong = Vec::new();
    for Compared { name, ours, theirs } in ALL.into_iter().chain(OWN) {
        let rows: Vec<(Vec<String>, Vec<f64>)> = serde_json::from_value(grids[name].clone()).unwrap();
        let numbers = |texts: Vec<String>| texts.iter().map(|text| text.parse().unwrap()).collect();
        let rows: Vec<Row> = rows.into_iter().map(|(arguments, values)| (numbers(arguments), values)).collect();
        let count = rows.len();
        assert!(count >= 20, "{name}: a grid of {count}");
        let (error, place) = worst(ours, &rows);
        let theirs = theirs.map_or("none".to_owned(), |theirs| worst_of_theirs(theirs, rows));
        println!("| `{name}` | {count} | {error:.1e} | {theirs} | at {place:?}");
        // The last digit of a libm's logarithm may differ from machine to machine.
        if error > 1.5 * said(&page, name) + 2e-16 {
            wrong.push(format!("{name}: {error:e} at {place:?}, the page says {:e}", said(&page, name)));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
