//! Stocking of one size against textbooks, and the simulation against both.
#![allow(clippy::unwrap_used, reason = "a test")]

use packdrift_stock::policy::{
    PoissonDemand, backorders, fill_rate, lost_share, newsvendor_normal, newsvendor_poisson, order_up_to, reorder_point,
};
use packdrift_stock::{Replenishment, Shortage, SimulationOptions, Size};

fn poisson(mean: f64) -> PoissonDemand {
    PoissonDemand::new(mean).unwrap()
}

/// L. V. Snyder and Z.-J. M. Shen, Fundamentals of Supply Chain Theory: h 0.18, p 0.70, N(50, 8²) and Poisson(50); values as published
/// with the book's software.
#[test]
fn newsvendor() {
    let (level, cost) = newsvendor_normal(50.0, 8.0, 0.18, 0.70);
    assert!((level - 56.603_955_93).abs() < 1e-8 && (cost - 1.997_605_19).abs() < 1e-8, "{level} {cost}");
    let (level, cost) = newsvendor_poisson(&poisson(50.0), 0.18, 0.70);
    assert_eq!(level, 56);
    assert!((cost - 1.797_235_212).abs() < 1e-9, "{cost}");
}

/// (s, S): h 1, p 4, K 5, Poisson(6), of the same source: 4, 10, 8.034111561.
#[test]
fn order_up_to_levels() {
    let (s, upper, cost) = order_up_to(&poisson(6.0), 1.0, 4.0, 5.0);
    assert_eq!((s, upper), (4, 10));
    assert!((cost - 8.034_111_561).abs() < 1e-9, "{cost}");
}

/// (r, Q): h 20, p 150, K 100, rate 1.5, lead time 2, of the same source: 3, 5, 107.9235806.
#[test]
fn reorder_point_and_quantity() {
    let (r, q, cost) = reorder_point(&poisson(3.0), 1.5, 20.0, 150.0, 100.0);
    assert_eq!((r, q), (3, 5));
    assert!((cost - 107.923_580_6).abs() < 1e-6, "{cost}");
}

/// W. J. Hopp and M. L. Spearman, Factory Physics, base stock: Poisson(10): fill 14 → .8645, 15 → .9165, backorders B(15) .1035 (values
/// from memory, recomputed). Poisson(2): S 3: .6766764162, .2180175491; S 4: .8571234605, .0751410096.
#[test]
fn base_stock() {
    let ten = poisson(10.0);
    assert!((fill_rate(&ten, 14) - 0.8645).abs() < 5e-5 && (fill_rate(&ten, 15) - 0.9165).abs() < 5e-5);
    let two = poisson(2.0);
    assert!((fill_rate(&two, 3) - 0.676_676_416_2).abs() < 1e-9);
    assert!((backorders(&two, 3) - 0.218_017_549_1).abs() < 1e-9);
    assert!((fill_rate(&two, 4) - 0.857_123_460_5).abs() < 1e-9);
    assert!((backorders(&two, 4) - 0.075_141_009_6).abs() < 1e-9);
    assert!((backorders(&ten, 15) - 0.1035).abs() < 5e-5, "{}", backorders(&ten, 15));
}

/// Every (s, S) and (r, Q) near the best costs no less: by going through them, with the costs computed from first principles.
#[test]
fn no_neighbour_is_cheaper() {
    let demand = poisson(3.0);
    let g = |y: i64| demand.cost(y, 20.0, 150.0);
    let cost = |r: i64, q: i64| (100.0 * 1.5 + (r + 1..=r + q).map(g).sum::<f64>()) / q as f64;
    let best = reorder_point(&demand, 1.5, 20.0, 150.0, 100.0);
    for r in -3..12 {
        for q in 1..20 {
            assert!(cost(r, q) >= best.2 - 1e-9);
        }
    }
}

fn size(lead_days: f64) -> Size {
    Size { name: "0.40".to_owned(), thickness: 0.4, bias: 0.0, between: 0.0, within: 0.0, cost: 1.0, lead_days }
}

/// One size, one piece a job, Poisson arrivals, fixed lead time: the simulation must give the textbook's fill rate and backorders, and
/// Erlang's loss where short pieces are got elsewhere (Palm: whatever the lead time's distribution). Within 4 standard errors.
#[test]
fn the_simulation_agrees_with_the_textbook() {
    for (mean, level) in [(10.0, 14), (10.0, 15), (2.0, 3), (2.0, 4)] {
        for shortage in [Shortage::Waits, Shortage::GotElsewhere] {
            let options = SimulationOptions { shortage, replications: 40, jobs: 2000, ..SimulationOptions::default() };
            let drawer = Replenishment::single(size(8.0), mean / 8.0, options).unwrap();
            let service = drawer.serve(&[level]).unwrap();
            let exact = match shortage {
                Shortage::Waits => fill_rate(&poisson(mean), level),
                Shortage::GotElsewhere => 1.0 - lost_share(mean, level),
            };
            let off = (service.share - exact) / service.standard_error;
            assert!(off.abs() < 4.0, "{mean} {level} {shortage:?}: {} for {exact}", service.share);
            if shortage == Shortage::Waits {
                let exact = backorders(&poisson(mean), level);
                assert!(
                    ((service.waiting - exact) / service.waiting_se).abs() < 4.0,
                    "{} for {exact}",
                    service.waiting
                );
            }
        }
    }
}

/// Erlang B tables: 10 erlangs on 10 lines lose 21.46 %, 2 on 4 lose 9.52 %.
#[test]
fn erlang() {
    assert!((lost_share(10.0, 10) - 0.2146).abs() < 5e-5);
    assert!((lost_share(2.0, 4) - 0.0952).abs() < 5e-5);
}

#[test]
fn poisson_is_a_distribution_for_small_and_large_means() {
    for mean in [0.0, 1e-6, 0.3, 7.0, 400.0, 50_000.0] {
        let demand = poisson(mean);
        let (mut sum, mut first) = (0.0, 0.0);
        let mut k = 0;
        while f64::from(k) < mean + 12.0 * mean.sqrt() + 30.0 {
            sum += demand.mass(k);
            first += f64::from(k) * demand.mass(k);
            k += 1;
        }
        assert!((sum - 1.0).abs() < 1e-12 && (first - mean).abs() < 1e-9 * mean.max(1.0), "{mean}: {sum} {first}");
    }
    assert!(PoissonDemand::new(f64::NAN).is_err() && PoissonDemand::new(-1.0).is_err());
}
