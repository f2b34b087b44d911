//! Every interval and bound that a study prints must be right as often as it says. Lots are drawn from known truths with fixed seeds;
//! each share of successes is allowed four binomial standard errors.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first thing that is not there")]

use packdrift_lot::components::variance_components;
use packdrift_lot::packets::{DeviationForm, LotDeviation, deviation_model};
use packdrift_lot::{Drawing, Instrument, LotOptions, LotStudy, Moments, Readings, ShapeKnowledge, study};
use packdrift_numerics::normal;
use packdrift_numerics::stream::{Key, Stream};

const TRIALS: usize = 3000;

/// `lots` lots of `n` readings by `draw`.
fn readings(lots: usize, n: usize, mut draw: impl FnMut(&mut Stream, usize) -> f64, seed: u64) -> Readings {
    let key = Key::new(seed, "coverage");
    let mut table = Readings {
        lots: (0..lots).map(|l| format!("lot {l}")).collect(),
        parts: (0..n).map(|p| p.to_string()).collect(),
        ..Readings::default()
    };
    for lot in 0..lots {
        let mut stream = key.stream(lot as u64);
        for part in 0..n {
            table.lot.push(lot as u32);
            table.part.push(part as u32);
            table.reading.push(draw(&mut stream, lot));
            table.line.push((table.line.len() + 2) as u32);
        }
    }
    table
}

fn run(table: &Readings, drawing: Drawing) -> LotStudy {
    study(table, &known_normal(drawing)).unwrap()
}

/// The bounds of a normal lot are exact; those for lots of unknown shape are tried in tests/decisions.rs.
fn known_normal(drawing: Drawing) -> LotOptions {
    LotOptions { drawing, shape: ShapeKnowledge::Normal, ..LotOptions::default() }
}

/// The share of lots for which something held.
fn share(result: &LotStudy, held: impl Fn(&packdrift_lot::LotResult) -> bool) -> f64 {
    result.lots.iter().filter(|l| held(l)).count() as f64 / result.lots.len() as f64
}

fn near(found: f64, expected: f64, trials: usize, what: &str) {
    let allowed = 4.0 * (expected * (1.0 - expected) / trials as f64).sqrt();
    assert!((found - expected).abs() <= allowed, "{what}: {found} instead of {expected} ± {allowed:.4}");
}

const MEAN: f64 = 0.404;
const SD: f64 = 0.006;

#[test]
fn intervals_of_normal_lots_hold_as_often_as_they_say() {
    let table = readings(TRIALS, 30, |s, _| MEAN + SD * s.normal(), 11);
    let drawing = Drawing { nominal: Some(0.4), lower: Some(0.385), upper: Some(0.42) };
    let result = run(&table, drawing);
    near(share(&result, |l| l.mean_interval.unwrap().contains(MEAN)), 0.95, TRIALS, "mean");
    near(
        share(&result, |l| l.deviation.unwrap().percent_interval.unwrap().contains(1.0)),
        0.95,
        TRIALS,
        "deviation in percent",
    );
    near(share(&result, |l| l.sd_interval.unwrap().contains(SD)), 0.95, TRIALS, "sd");
    near(
        share(&result, |l| l.deviation.unwrap().p_value < 0.05),
        power_of_t(0.004 / SD, 30),
        TRIALS,
        "test of the deviation",
    );
    // Content 99.73 %.
    let held = |low: f64, high: f64| normal::cdf((high - MEAN) / SD) - normal::cdf((low - MEAN) / SD) >= 0.9973;
    near(
        share(&result, |l| {
            let t = l.tolerance.unwrap().two_sided;
            held(t.lower, t.upper)
        }),
        0.95,
        TRIALS,
        "two-sided tolerance interval",
    );
    near(
        share(&result, |l| held(f64::NEG_INFINITY, l.tolerance.unwrap().one_sided.to)),
        0.95,
        TRIALS,
        "upper tolerance limit",
    );
    near(
        share(&result, |l| held(l.tolerance.unwrap().one_sided.from, f64::INFINITY)),
        0.95,
        TRIALS,
        "lower tolerance limit",
    );
    // Among lots whose shape is not contradicted the normal form stands; with 5 % called not normal by chance the rest is still near.
    let out = normal::cdf((0.385 - MEAN) / SD) + normal::sf((0.42 - MEAN) / SD);
    let plain = |l: &packdrift_lot::LotResult| !l.shape.contradicts_normal();
    let normal_lots = result.lots.iter().filter(|l| plain(l)).count();
    let among = |held: &dyn Fn(&packdrift_lot::LotResult) -> bool| {
        share(&result, |l| plain(l) && held(l)) * TRIALS as f64 / normal_lots as f64
    };
    near(
        among(&|l| l.share_outside.unwrap().upper_bound >= out),
        0.95,
        normal_lots,
        "upper bound of the share outside",
    );
    // Two limits: at least what they say (see the module), not more than 3 % above.
    let lower = among(&|l| l.share_outside.unwrap().lower_bound <= out);
    assert!((0.934..0.98).contains(&lower), "lower bound of the share outside: {lower}");
    near(among(&|l| l.capability.unwrap().pp_interval.unwrap().contains(0.035 / (6.0 * SD))), 0.95, normal_lots, "Pp");
    let ppk = (0.42 - MEAN) / (3.0 * SD);
    let ppk_held = among(&|l| l.capability.unwrap().ppk_interval.contains(ppk));
    assert!((0.934..0.98).contains(&ppk_held), "Ppk: {ppk_held}");
    near(among(&|l| l.capability.unwrap().ppk_lower <= ppk), 0.95, normal_lots, "lower bound of Ppk");
    // The false-alarm rates.
    near(
        1.0 - normal_lots as f64 / TRIALS as f64,
        0.04,
        TRIALS,
        "normal lots called not normal (Bonferroni makes it a little under 5 %)",
    );
    near(share(&result, |l| !l.outliers.named.is_empty()), 0.05, TRIALS, "normal lots with an outlier");
}

/// Power of the two-sided 5 % t test at a deviation of `d` sd.
fn power_of_t(d: f64, n: usize) -> f64 {
    use packdrift_numerics::special::{noncentral_t_tails, student_t_quantile};
    let nu = (n - 1) as f64;
    let t = student_t_quantile(nu, 0.975);
    let delta = d * (n as f64).sqrt();
    noncentral_t_tails(nu, delta, t).upper + noncentral_t_tails(nu, delta, -t).lower
}

/// A centred mean is the hard case for two limits: both tails matter. The generalised bound may be a little conservative there, never less
/// than it says.
#[test]
fn share_outside_two_limits_is_never_understated() {
    for (k, mean, half) in [(0, 0.400, 0.018), (1, 0.400, 0.009), (2, 0.403, 0.012)] {
        for n in [8, 25] {
            let table = readings(TRIALS, n, |s, _| mean + SD * s.normal(), 20 + k);
            let result = run(&table, Drawing { nominal: None, lower: Some(0.4 - half), upper: Some(0.4 + half) });
            let out = normal::cdf((0.4 - half - mean) / SD) + normal::sf((0.4 + half - mean) / SD);
            let plain = |l: &&packdrift_lot::LotResult| !l.shape.contradicts_normal();
            let lots: Vec<_> = result.lots.iter().filter(plain).collect();
            let held =
                lots.iter().filter(|l| l.share_outside.unwrap().upper_bound >= out).count() as f64 / lots.len() as f64;
            let allowed = 4.0 * (0.95_f64 * 0.05 / lots.len() as f64).sqrt();
            assert!(held >= 0.95 - allowed && held < 0.995, "case {k}, n {n}: {held}");
            let held =
                lots.iter().filter(|l| l.share_outside.unwrap().lower_bound <= out).count() as f64 / lots.len() as f64;
            assert!(held >= 0.95 - allowed, "lower bound, case {k}, n {n}: {held}");
            let ppk = (half - (mean - 0.4_f64).abs()) / (3.0 * SD);
            let held = lots.iter().filter(|l| l.capability.unwrap().ppk_interval.contains(ppk)).count() as f64
                / lots.len() as f64;
            assert!(held >= 0.95 - allowed, "Ppk, case {k}, n {n}: {held}");
        }
    }
}

/// One limit: the bound is exact (it is the noncentral t's), also for very small lots.
#[test]
fn share_outside_one_limit_is_exact() {
    for n in [5, 40] {
        let table = readings(TRIALS, n, |s, _| MEAN + SD * s.normal(), 31);
        let result = run(&table, Drawing { nominal: None, lower: None, upper: Some(0.416) });
        let out = normal::sf((0.416 - MEAN) / SD);
        let lots: Vec<_> = result.lots.iter().filter(|l| !l.shape.contradicts_normal()).collect();
        let held =
            lots.iter().filter(|l| l.share_outside.unwrap().upper_bound >= out).count() as f64 / lots.len() as f64;
        near(held, 0.95, lots.len(), &format!("n {n}"));
    }
}

/// The gauge's share is taken out: intervals then hold for the parts' own sd and share outside.
#[test]
fn intervals_hold_with_the_gauge_taken_out() {
    let gauge = 0.003;
    let table = readings(TRIALS, 40, |s, _| MEAN + SD * s.normal() + gauge * s.normal(), 41);
    let drawing = Drawing { nominal: None, lower: Some(0.385), upper: Some(0.42) };
    let instrument =
        Instrument { repeatability: Some(gauge), uncertainty: Some(0.003), step: None, ..Instrument::default() };
    let result = study(&table, &LotOptions { instrument, ..known_normal(drawing) }).unwrap();
    near(share(&result, |l| l.sd_interval.unwrap().contains(SD)), 0.95, TRIALS, "parts' sd");
    let out = normal::cdf((0.385 - MEAN) / SD) + normal::sf((0.42 - MEAN) / SD);
    let lots: Vec<_> = result.lots.iter().filter(|l| !l.shape.contradicts_normal()).collect();
    let held = lots.iter().filter(|l| l.share_outside.unwrap().upper_bound >= out).count() as f64 / lots.len() as f64;
    near(held, 0.95, lots.len(), "share outside");
    assert!(result.lots.iter().all(|l| l.proofs.unwrap().conforming <= l.n && l.guard.unwrap().width > 0.0049));
}

/// Distribution-free intervals: exponential lots, at least the confidence; the reached confidence is a little above it.
#[test]
fn distribution_free_intervals_hold_for_any_shape() {
    let table = readings(1200, 100, |s, _| -0.01 * s.uniform().ln(), 51);
    let options = LotOptions { content: Some(0.95), ..LotOptions::default() };
    let result = study(&table, &options).unwrap();
    let held = |low: f64, high: f64| (-low.max(0.0) / 0.01).exp() - (-high / 0.01).exp() >= 0.95;
    let expected = packdrift_lot::tolerance::order_statistics_two_sided(100, 0.95, 0.95).unwrap().unwrap().confidence;
    near(
        share(&result, |l| {
            let t = l.tolerance.unwrap().free_two_sided.unwrap();
            held(t.lower, t.upper)
        }),
        expected,
        1200,
        "two-sided",
    );
    assert!(share(&result, |l| l.shape.contradicts_normal()) > 0.99);
}

/// Lots with a clear skew: the estimate is the curve's, nearer to the truth than the normal's; the bound is the worst of several.
#[test]
fn percentile_form_of_skew_lots() {
    let n = 100;
    let trials = 400;
    let (sigma, scale) = (0.45, 0.012);
    let table = readings(trials, n, |s, _| 0.38 + scale * (sigma * s.normal()).exp(), 61);
    let upper = 0.38 + scale * f64::exp(sigma * 2.5);
    let result = run(&table, Drawing { nominal: None, lower: None, upper: Some(upper) });
    let out = normal::sf(2.5);
    let held = share(&result, |l| l.share_outside.unwrap().upper_bound >= out);
    // The worst of curve, count and shapes: never understated.
    assert!(held >= 0.95, "{held}");
    let normal_would_say = normal::sf(
        (upper - 0.38 - scale * f64::exp(sigma * sigma / 2.0))
            / (scale * f64::exp(sigma * sigma / 2.0) * (f64::exp(sigma * sigma) - 1.0).sqrt()),
    );
    let typical: f64 = result.lots.iter().map(|l| l.share_outside.unwrap().total()).sum::<f64>() / trials as f64;
    assert!(
        (typical - out).abs() < (normal_would_say - out).abs(),
        "curve {typical}, truth {out}, normal {normal_would_say}"
    );
}

#[test]
fn variance_component_intervals_hold() {
    for (k, between, sizes) in [(0, 0.006, vec![8; 10]), (1, 0.002, vec![3, 5, 20, 8, 4, 12]), (2, 0.02, vec![5; 4])] {
        let trials = 1500;
        let (mut within_held, mut between_held) = (0, 0);
        let key = Key::new(70 + k, "components");
        for trial in 0..trials {
            let mut s = key.stream(trial);
            let groups: Vec<Moments> = sizes
                .iter()
                .map(|&n| {
                    let mean = between * s.normal();
                    Moments::of(&(0..n).map(|_| mean + SD * s.normal()).collect::<Vec<f64>>())
                })
                .collect();
            let c = variance_components(&groups, 0.95).unwrap();
            within_held += usize::from(c.within_interval.contains(SD));
            between_held += usize::from(c.between_interval.contains(between));
        }
        near(within_held as f64 / trials as f64, 0.95, trials as usize, "within");
        let held = between_held as f64 / trials as f64;
        let allowed = 4.0 * (0.95_f64 * 0.05 / trials as f64).sqrt();
        assert!(held >= 0.95 - allowed && held < 0.99, "between, case {k}: {held}");
    }
}

/// Which form of the deviation fits: each truth is recognised, and a supplier without deviation is seldom accused.
#[test]
fn the_form_of_the_deviation_is_recognised() {
    let sizes = [0.15, 0.25, 0.40, 0.60, 0.80, 1.00, 1.20, 1.50];
    let trials = 600;
    for (k, a, b, form) in [
        (0, 0.0, 0.0, DeviationForm::None),
        (1, 0.020, 0.0, DeviationForm::Constant),
        (2, 0.0, 0.06, DeviationForm::Proportional),
        (3, -0.03, 0.06, DeviationForm::Both),
    ] {
        let key = Key::new(80 + k, "deviation");
        let mut found = 0;
        let mut covered = 0;
        for trial in 0..trials {
            let mut s = key.stream(trial);
            let lots: Vec<LotDeviation> = sizes
                .iter()
                .map(|&nominal| LotDeviation {
                    nominal,
                    deviation: a + b * nominal + 0.005 * s.normal() + 0.001 * s.normal(),
                    standard_error: 0.001,
                })
                .collect();
            let model = deviation_model(&lots, 0.95).unwrap();
            found += usize::from(model.form == form);
            covered += usize::from(model.proportional_beside.unwrap().interval.contains(b));
        }
        let share = found as f64 / trials as f64;
        assert!(
            share
                > if form == DeviationForm::None {
                    0.95 - 4.0 * (0.95_f64 * 0.05 / trials as f64).sqrt()
                } else {
                    0.90
                },
            "{form:?}: {share}"
        );
        let covered = covered as f64 / trials as f64;
        assert!(
            covered > 0.95 - 4.0 * (0.95_f64 * 0.05 / trials as f64).sqrt() && covered < 0.99,
            "{form:?}: {covered}"
        );
    }
}

/// The bound from the count alone, by enumeration of every count that can be found: never less than it says (Clopper and Pearson 1934), and exact at the
/// shares that are bounds themselves.
#[test]
fn the_bound_from_the_count_is_never_understated() {
    let n = 20_usize;
    let drawing = Drawing { nominal: None, lower: None, upper: Some(1.0) };
    let bounds: Vec<f64> = (0..=n)
        .map(|bad| {
            // Distinct readings, so that the lot has scatter.
            let table = readings(
                1,
                n,
                {
                    let mut part = 0;
                    move |_, _| {
                        part += 1;
                        if part <= bad { 2.0 + 1e-3 * part as f64 } else { 0.5 + 1e-3 * part as f64 }
                    }
                },
                1,
            );
            run(&table, drawing).lots[0].share_outside.unwrap().counted_upper_bound
        })
        .collect();
    assert!(bounds.windows(2).all(|w| w[0] < w[1]) && (bounds[n] - 1.0).abs() < 1e-12, "{bounds:?}");
    // No bad part of 20: 1 − 0.05^(1/20).
    assert!((bounds[0] - (1.0 - 0.05_f64.powf(0.05))).abs() < 1e-10, "{}", bounds[0]);
    let coverage = |share: f64| -> f64 {
        let mut chance = (1.0 - share).powi(n as i32);
        (0..=n)
            .map(|bad| {
                let here = chance;
                chance *= (n - bad) as f64 / (bad + 1) as f64 * share / (1.0 - share);
                if bounds[bad] >= share { here } else { 0.0 }
            })
            .sum()
    };
    for k in 1..200 {
        let share = f64::from(k) / 200.0;
        assert!(coverage(share) >= 0.95 - 1e-9, "{share}: {}", coverage(share));
    }
    for bad in 0..6 {
        let just_above = bounds[bad] * (1.0 + 1e-9);
        assert!((coverage(just_above) - 0.95).abs() < 1e-6, "{bad}: {}", coverage(just_above));
    }
}
