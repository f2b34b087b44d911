//! No reassuring word hangs on a claim alone: a sorting gauge without error, a limit that can never bind, a gauge that explains all scatter, equal readings.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first thing that is not there")]

use packdrift_lot::sampling::RiskPoints;
use packdrift_lot::sampling::variables::{SampleDoubt, Sides, Sigma, VariablesPlan, find};
use packdrift_lot::{
    Basis, Doubt, Drawing, Instrument, LotOptions, LotResult, LotWarning, Readings, ShapeKnowledge, Sorting, study,
};
use packdrift_numerics::normal;
use packdrift_verdict::Standing;

const DRAWING: Drawing = Drawing { nominal: None, lower: Some(0.57), upper: Some(0.63) };

fn readings(values: &[f64]) -> Readings {
    let n = values.len() as u32;
    Readings {
        lots: vec!["A".into()],
        parts: (0..n).map(|p| p.to_string()).collect(),
        lot: vec![0; n as usize],
        part: (0..n).collect(),
        reading: values.to_vec(),
        line: (2..n + 2).collect(),
        ..Readings::default()
    }
}

fn judged(values: &[f64], options: &LotOptions) -> LotResult {
    study(&readings(values), options).unwrap().lots.remove(0)
}

fn standing(lot: &LotResult) -> Standing {
    lot.verdict.as_ref().unwrap().standing()
}

/// n readings of a normal lot without luck, in steps of a micrometre.
fn even(mean: f64, sd: f64, n: u32) -> Vec<f64> {
    let score = |i: u32| normal::quantile((f64::from(i) + 0.5) / f64::from(n));
    (0..n).map(|i| 1e-3 * (1e3 * (mean + sd * score(i))).round()).collect()
}

/// Parts of a flat lot, cut at its limits: with a perfect sorting gauge nothing is outside, whatever the readings.
#[test]
fn a_sorting_gauge_without_error_is_not_believed() {
    let values: Vec<f64> = (0..60).map(|i| 1e-3 * f64::from(570 + i)).collect();
    let sorted = |u: f64, instrument: Instrument| {
        let sorting = Some(Sorting { uncertainty: Some(u) });
        judged(&values, &LotOptions { drawing: DRAWING, sorting, instrument, ..LotOptions::default() })
    };
    let plain = Instrument::default();
    let (claimed, none) = (sorted(1e-9, plain), sorted(0.0, plain));
    assert_eq!(standing(&claimed), Standing::NotShown, "{:?}", claimed.share_outside);
    assert_eq!(claimed.share_outside.unwrap().upper_bound, none.share_outside.unwrap().upper_bound);
    // Half a sixtieth of the tolerance, and treated as if nothing had been stated.
    let floor = 0.06 / 120.0;
    let basis = claimed.share_outside.unwrap().basis;
    assert!(
        matches!(basis, Basis::Sorted { u, assumed: true, claimed: Some(c) } if (u - floor).abs() < 1e-12 && c == 1e-9),
        "{basis:?}"
    );
    // What is credible of a gauge is believed as it stands.
    for u in [5e-4, 6e-4] {
        let basis = sorted(u, plain).share_outside.unwrap().basis;
        assert!(
            matches!(basis, Basis::Sorted { u: used, assumed: false, claimed: None } if (used - u).abs() < 1e-12),
            "{basis:?}"
        );
    }
    // The readings' repeatability counts for more than their step.
    let basis = sorted(1e-9, Instrument { repeatability: Some(2e-3), ..plain }).share_outside.unwrap().basis;
    assert!(matches!(basis, Basis::Sorted { u, .. } if u == 2e-3), "{basis:?}");
    // Nor does a fine step, or an instrument without error, make it better.
    let instrument = Instrument { step: Some(1e-9), uncertainty: Some(0.0), ..plain };
    let basis = sorted(1e-9, instrument).share_outside.unwrap().basis;
    assert!(matches!(basis, Basis::Sorted { u, .. } if (u - floor).abs() < 1e-12), "{basis:?}");
    // Said in words.
    let sorting = Some(Sorting { uncertainty: Some(1e-9) });
    let options = LotOptions { drawing: DRAWING, sorting, ..LotOptions::default() };
    let warnings = study(&readings(&values), &options).unwrap().warnings;
    assert!(warnings.iter().any(|w| matches!(w, LotWarning::SortingErrs { claimed: Some(_), .. })), "{warnings:?}");
}

/// Readings without a step and without a u bear out no more than half of what is assumed of a good gauge.
#[test]
fn fine_digits_do_not_make_a_perfect_sorting_gauge() {
    let values: Vec<f64> = (0..60).map(|i| 0.570_5 + 0.059 * ((f64::from(i) + 0.5) / 60.0).powf(1.000_1)).collect();
    let sorting = Some(Sorting { uncertainty: Some(1e-9) });
    let lot = judged(&values, &LotOptions { drawing: DRAWING, sorting, ..LotOptions::default() });
    let basis = lot.share_outside.unwrap().basis;
    assert!(matches!(basis, Basis::Sorted { u, assumed: true, .. } if (u - 5e-4).abs() < 1e-12), "{basis:?}");
}

/// A lot of N(0.600, 0.012²) cut at 2.5 sd, where the limits are: 400 parts without luck.
fn cut() -> Vec<f64> {
    let (from, to) = (normal::cdf(-2.5), normal::cdf(2.5));
    (0..400).map(|i| 0.6 + 0.012 * normal::quantile(from + (to - from) * (f64::from(i) + 0.5) / 400.0)).collect()
}

/// Four of 200 parts outside are too many for 0.27 %, and no stated repeatability talks them away: a count is before a claim, and a claim that nothing shows makes
/// no lot acceptable that is not without it. (A study of the gauge, or repeated readings, may.)
#[test]
fn a_stated_repeatability_alone_makes_nothing_acceptable() {
    let limits = Drawing { nominal: None, lower: Some(4.974_24), upper: Some(5.025_76) };
    let with = |values: &[f64], repeatability: Option<f64>, shown: bool, max_out: f64| {
        let instrument = Instrument { repeatability, repeatability_shown: shown, ..Instrument::default() };
        let shape = packdrift_lot::ShapeKnowledge::Normal;
        let lot = judged(values, &LotOptions { drawing: limits, max_out, shape, instrument, ..LotOptions::default() });
        (standing(&lot), lot.doubt, lot.share_outside.unwrap().upper_bound)
    };
    // Even quantiles of N(5, 0.01²): about 1 % outside, 2 of 200.
    let lot = even(5.0, 0.01, 200);
    let (bare, _, bound) = with(&lot, None, false, 0.0027);
    assert!(bare != Standing::Shown && bound > 0.005, "{bare:?} {bound}");
    let (stated, doubt, bound) = with(&lot, Some(0.007), false, 0.0027);
    assert!(bound < 0.0027, "the claim decides here: {bound}");
    assert_eq!((stated, doubt), (Standing::NotShown, Some(Doubt::RepeatabilityNotShown)));
    assert_eq!(with(&lot, Some(0.007), true, 0.0027).0, Standing::Shown);
    // What is acceptable anyhow rests on no claim.
    assert_eq!(with(&lot, Some(0.003), false, 0.05).0, Standing::Shown);
    // Four more outside, counted: whoever found the repeatability.
    let mut counted = lot;
    counted[..2].fill(4.974);
    counted[198..].fill(5.026);
    let (found, doubt, _) = with(&counted, Some(0.007), true, 0.0027);
    assert_ne!(found, Standing::Shown, "{doubt:?}");
}

/// The worse the sorting gauge the more slips through, until its sorting counts for nothing: the lot is then judged as one that was not sorted.
#[test]
fn the_bound_never_falls_as_the_sorting_gauge_errs_more() {
    let flat: Vec<f64> = (0..60).map(|i| 1e-3 * f64::from(570 + i)).collect();
    for values in [flat, cut()] {
        let bound = |sorting: Option<Sorting>| {
            let lot = judged(&values, &LotOptions { drawing: DRAWING, sorting, ..LotOptions::default() });
            (lot.share_outside.unwrap().upper_bound, standing(&lot))
        };
        let (unsorted, _) = bound(None);
        let mut last = 0.0;
        for u in [5e-4, 1e-3, 2e-3, 5e-3, 0.01, 0.014, 0.016, 0.1, 1.0, 20.0, 1e6] {
            let (here, standing) = bound(Some(Sorting { uncertainty: Some(u) }));
            assert!(here >= last * (1.0 - 1e-6) && here <= unsorted, "{u}: {here} after {last}, {unsorted} unsorted");
            assert!(u < 0.015 || (here == unsorted && standing != Standing::Shown), "{u}: {here} {standing:?}");
            last = here;
        }
    }
}

/// A sorting gauge of which nothing credible was said carries no reassuring word, though the bound by what is assumed of it would do.
#[test]
fn an_assumed_sorting_gauge_shows_no_lot() {
    let with = |uncertainty: Option<f64>| {
        let sorting = Some(Sorting { uncertainty });
        judged(&cut(), &LotOptions { drawing: DRAWING, sorting, ..LotOptions::default() })
    };
    for unknown in [None, Some(1e-9), Some(4e-4)] {
        let lot = with(unknown);
        assert!(lot.share_outside.unwrap().upper_bound <= 0.0027, "{:?}", lot.share_outside);
        assert_eq!((standing(&lot), lot.doubt), (Standing::NotShown, Some(Doubt::SortingNotKnown)), "{unknown:?}");
        assert!(lot.verdict.as_ref().unwrap().what_settles_it().is_some());
    }
    // By a study of the gauge it is shown, and by one of a poor gauge it is not.
    assert_eq!((standing(&with(Some(1e-3))), with(Some(1e-3)).doubt), (Standing::Shown, None));
    assert_ne!(standing(&with(Some(4e-3))), Standing::Shown);
    // A lot that is acceptable whether sorted or not needs no sorting gauge.
    let narrow = even(0.600, 0.003, 400);
    let sorting = Some(Sorting { uncertainty: None });
    let lot = judged(&narrow, &LotOptions { drawing: DRAWING, sorting, ..LotOptions::default() });
    assert_eq!(standing(&lot), Standing::Shown, "{:?} {:?}", lot.doubt, lot.share_outside);
}

/// What of the instrument's u is the same each time moves the mean of the lot, however little its readings scatter (JCGM 100, 4.3).
#[test]
fn an_error_that_all_readings_share_is_in_the_bound() {
    let values = even(0.600, 0.006, 100);
    let with = |uncertainty: Option<f64>| {
        let instrument = Instrument { uncertainty, ..Instrument::default() };
        let shape = packdrift_lot::ShapeKnowledge::Normal;
        judged(&values, &LotOptions { drawing: DRAWING, instrument, shape, ..LotOptions::default() })
    };
    let bound = |u: f64| with(Some(u)).share_outside.unwrap().upper_bound;
    assert_eq!(standing(&with(None)), Standing::Shown);
    assert_eq!(standing(&with(Some(0.001))), Standing::Shown);
    assert!(with(Some(0.0)).share_outside == with(None).share_outside);
    assert!(bound(0.0) < bound(0.001) && bound(0.001) < bound(0.01) && bound(0.01) < bound(0.05));
    for u in [0.01, 0.05] {
        let lot = with(Some(u));
        assert_eq!((standing(&lot), lot.doubt), (Standing::NotShown, Some(Doubt::AllOff)), "{u}");
    }
    // 0.6 moved by 1.645 u, to 0.61645: what is then above 0.63 is at least N(0.61645, 0.006²)'s 1.2 %.
    assert!(bound(0.01) > normal::sf((0.63 - 0.616_45) / 0.006));
}

#[test]
fn a_limit_that_can_never_bind_shows_nothing() {
    let values = even(0.600, 0.005, 400);
    let with = |lower: f64, upper: f64| {
        let drawing = Drawing { nominal: None, lower: Some(lower), upper: Some(upper) };
        judged(&values, &LotOptions { drawing, ..LotOptions::default() })
    };
    assert!(with(0.55, 0.65).doubt.is_none() && standing(&with(0.55, 0.65)) == Standing::Shown);
    // 25.4 times too wide, a decimal point, a limit of nothing.
    for (lower, upper, which) in [(0.55, 16.0, true), (0.55, 6.3, true), (0.0, 0.65, false), (-1.0, 0.65, false)] {
        let lot = with(lower, upper);
        assert_eq!(standing(&lot), Standing::NotShown, "{lower} {upper}");
        assert!(matches!(lot.doubt, Some(Doubt::NeverBinds { upper, .. }) if upper == which), "{:?}", lot.doubt);
    }
    // A run-out is no size: a limit at 25 times the mean is one.
    let run_out: Vec<f64> = even(0.004, 0.001, 400);
    let drawing = Drawing { nominal: None, lower: None, upper: Some(0.1) };
    assert!(judged(&run_out, &LotOptions { drawing, ..LotOptions::default() }).doubt.is_none());
}

/// A repeatability just short of the scatter leaves parts that hardly scatter at all.
#[test]
fn a_gauge_that_explains_all_scatter_shows_nothing() {
    let judge = |sd: f64, repeatability: f64| {
        let instrument = Instrument { repeatability: Some(repeatability), ..Instrument::default() };
        judged(&even(0.600, sd, 400), &LotOptions { drawing: DRAWING, instrument, ..LotOptions::default() })
    };
    let with = |repeatability: f64| judge(0.0095, repeatability);
    let claimed = with(0.0094);
    assert!(claimed.share_outside.unwrap().upper_bound < 0.0027, "{:?}", claimed.share_outside);
    assert_eq!((standing(&claimed), claimed.doubt), (Standing::NotShown, Some(Doubt::GaugeTooCoarse)));
    assert!(with(0.002).doubt.is_none());
    // Parts that were counted outside are not explained away, and no panic comes of the contradiction.
    let outside = judge(0.012, 0.0119);
    let share = outside.share_outside.unwrap();
    assert!(share.counted > 0 && share.lower_bound <= share.upper_bound, "{share:?}");
    assert_ne!(standing(&outside), Standing::Shown);
}

/// Equal readings say no more than that the scatter is below the step, and within half a step lies a limit.
#[test]
fn equal_readings_are_not_taken_as_exact() {
    let options = |step: Option<f64>, max_out: f64| LotOptions {
        drawing: DRAWING,
        max_out,
        instrument: Instrument { step, ..Instrument::default() },
        ..LotOptions::default()
    };
    // By the count alone 1200 parts show 0.27 %, and 5 parts 46 %.
    for (n, max_out) in [(1200, 0.0027), (5, 0.46)] {
        let alike = vec![0.6; n];
        let unsaid = judged(&alike, &options(None, max_out));
        assert!(unsaid.share_outside.unwrap().upper_bound <= max_out);
        assert_eq!(standing(&unsaid), Standing::NotShown, "{n}");
        assert!(matches!(unsaid.doubt, Some(Doubt::Alike { step }) if step == 0.2), "{:?}", unsaid.doubt);
        assert_eq!(standing(&judged(&alike, &options(Some(0.001), max_out))), Standing::Shown, "{n}");
        assert_eq!(standing(&judged(&alike, &options(Some(0.07), max_out))), Standing::NotShown, "{n}");
    }
    assert_eq!(standing(&judged(&[0.6; 5], &options(Some(0.001), 0.0027))), Standing::NotShown);
    assert_eq!(standing(&judged(&[0.7; 5], &options(Some(0.001), 0.0027))), Standing::Adverse);
}

#[test]
fn a_confidence_or_a_share_that_makes_any_lot_acceptable_is_refused() {
    let values = even(0.600, 0.012, 40);
    for options in [
        LotOptions { confidence: 0.500_001, ..LotOptions::default() },
        LotOptions { confidence: 0.01, ..LotOptions::default() },
        LotOptions { max_out: 0.99, ..LotOptions::default() },
    ] {
        assert!(study(&readings(&values), &options).is_err(), "{} {}", options.confidence, options.max_out);
    }
    let nobody = |quality: f64, risk: f64| RiskPoints {
        producer_quality: 0.01,
        producer_risk: 0.01,
        consumer_quality: quality,
        consumer_risk: risk,
    };
    for (quality, risk) in [(0.9, 0.1), (0.05, 0.98)] {
        assert!(find(&nobody(quality, risk), Sigma::Unknown, Sides::One).is_err(), "{quality} {risk}");
    }
}

fn plan(sigma: Sigma, n: u64) -> VariablesPlan {
    let sides = Sides::Two { lower: 0.57, upper: 0.63 };
    let largest_share = (sigma == Sigma::Unknown).then_some(0.02);
    VariablesPlan { sample_size: n, acceptability_constant: 1.8, largest_share, sigma, sides }
}

#[test]
fn a_sample_of_equal_readings_is_not_shown() {
    for sigma in [Sigma::Unknown, Sigma::Known(0.005)] {
        let plan = plan(sigma, 20);
        let found = plan.judge(&[0.6; 20], Some(0.57), Some(0.63)).unwrap();
        assert_eq!(found.doubt, Some(SampleDoubt::Alike));
        let verdict = plan.verdict(&found);
        assert_eq!(verdict.standing(), Standing::NotShown, "{sigma:?}");
        assert!(verdict.reasons().iter().any(|r| r.contains("alike")) && verdict.what_settles_it().is_some());
    }
}

#[test]
fn a_known_sd_that_the_readings_contradict_is_not_believed() {
    let sample = even(0.600, 0.012, 30);
    let judged = |sigma: f64| {
        let plan = plan(Sigma::Known(sigma), 30);
        let found = plan.judge(&sample, Some(0.57), Some(0.63)).unwrap();
        assert!(found.accepted || sigma > 0.01);
        (found.doubt, plan.verdict(&found).standing())
    };
    assert_eq!(judged(1e-9), (Some(SampleDoubt::ScatterMore), Standing::NotShown));
    assert_eq!(judged(0.007), (Some(SampleDoubt::ScatterMore), Standing::NotShown));
    // chi-squared of 29 degrees of freedom, 99 %: 49.59 (tables); 29*0.012^2/49.59 is 0.00918^2.
    assert_eq!(judged(0.0095).0, None);
    let far = plan(Sigma::Unknown, 30).judge(&sample, Some(0.57), Some(16.0)).unwrap();
    assert_eq!(far.doubt, Some(SampleDoubt::NeverBinds { upper: true }));
}

/// Lots that are said to scatter alike and do not: the table contradicts it, and each is judged by its own readings. Lots that do are not contradicted.
#[test]
fn lots_that_do_not_scatter_alike_are_not_judged_together() {
    let mut stream = packdrift_numerics::stream::Key::new(5, "alike").stream(0);
    let mut table = |skewed: bool| {
        let mut table = Readings::default();
        for lot in 0..24_u32 {
            let exponential = skewed && lot >= 12;
            table.lots.push(format!("L{lot}"));
            for part in 0..if exponential { 30 } else { 100 } {
                let x = if exponential { -stream.uniform().ln() - 1.0 } else { stream.normal() };
                table.lot.push(lot);
                table.part.push(table.parts.len() as u32);
                table.parts.push(format!("{lot}/{part}"));
                table.line.push(table.line.len() as u32 + 2);
                table.reading.push(0.6 + 0.005 * x);
            }
        }
        table
    };
    let shape = |shape: ShapeKnowledge| LotOptions { drawing: DRAWING, shape, max_out: 0.01, ..LotOptions::default() };
    let contradicted = |readings: &Readings| {
        let together = study(readings, &shape(ShapeKnowledge::Alike)).unwrap();
        let said = together.warnings.iter().any(|w| matches!(w, LotWarning::NotAlikeAsStated { .. }));
        let singly = study(readings, &shape(ShapeKnowledge::Unknown)).unwrap();
        let bounds = |s: &packdrift_lot::LotStudy| -> Vec<f64> {
            s.lots.iter().map(|l| l.share_outside.unwrap().upper_bound).collect()
        };
        (said, bounds(&together) == bounds(&singly))
    };
    assert_eq!(contradicted(&table(true)), (true, true));
    assert_eq!(contradicted(&table(false)), (false, false));
}
