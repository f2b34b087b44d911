//! A lot in the pack: the frontier against whole analyses at its own points, bounds against simulated lots, and the four verdicts.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first thing that is not there")]

use packdrift_lot::{Drawing, LotOptions, LotResult, Readings, ShapeKnowledge, study};
use packdrift_lotpack::{Agreement, LotInPack, PackWarning, lot_in_pack};
use packdrift_numerics::normal;
use packdrift_spread::{Distribution, MethodChoice, Options, Silent, analyse};
use packdrift_verdict::Standing;

#[path = "common/bay.rs"]
mod bay;
use bay::bay;

/// A lot whose readings are normal quantiles of the given mean and sd: no luck in it.
fn lot(mean: f64, sd: f64, n: u32, drawing: Drawing) -> LotResult {
    let z: Vec<f64> = (0..n).map(|i| normal::quantile((f64::from(i) + 0.5) / f64::from(n))).collect();
    let own = (z.iter().map(|z| z * z).sum::<f64>() / f64::from(n - 1)).sqrt();
    one(z.iter().map(|z| mean + sd * z / own).collect(), drawing)
}

fn one(reading: Vec<f64>, drawing: Drawing) -> LotResult {
    let n = reading.len() as u32;
    let table = Readings {
        lots: vec!["packet".into()],
        parts: (0..n).map(|p| p.to_string()).collect(),
        lot: vec![0; n as usize],
        part: (0..n).collect(),
        line: (2..n + 2).collect(),
        reading,
        ..Readings::default()
    };
    study(&table, &LotOptions { drawing, shape: ShapeKnowledge::Normal, ..LotOptions::default() })
        .unwrap()
        .lots
        .remove(0)
}

fn drawing(tol: f64) -> Drawing {
    Drawing { nominal: Some(0.40), lower: Some(0.40 - tol), upper: Some(0.40 + tol) }
}

fn options() -> Options {
    Options { method: MethodChoice::MonteCarlo, trials: Some(200_000), ..Options::default() }
}

fn ask(lot: &LotResult) -> LotInPack {
    lot_in_pack(&bay(), "shim 0.40", lot, &known(), &options(), &Silent).unwrap()
}

/// Lots whose shape is known to be normal.
fn known() -> LotOptions {
    LotOptions { shape: ShapeKnowledge::Normal, ..LotOptions::default() }
}

/// Few readings do not tell a normal lot from one with longer tails, in the pack as little as against a drawing; nor is a gauge's common error forgotten, nor a lot
/// that drifts, nor a repeatability that was only stated.
#[test]
fn the_pack_hears_what_the_readings_leave_open() {
    let near = lot(0.406, 0.012, 30, drawing(0.05));
    let in_pack = |options: &LotOptions| {
        lot_in_pack(&bay(), "shim 0.40", &near, options, &self::options(), &Silent).unwrap().requirements
    };
    let (normal, unknown) = (in_pack(&known()), in_pack(&LotOptions::default()));
    for (normal, unknown) in normal.iter().zip(&unknown) {
        assert!(unknown.upper_bound > 1.2 * normal.upper_bound, "{unknown:?} beside {normal:?}");
        assert_eq!((unknown.fitted, unknown.lower_bound), (normal.fitted, normal.lower_bound));
    }
    // k·u = 0.0329 mm, up or down: the offset stands 0.1 mm from its limits.
    let off = |u: f64| {
        let instrument = packdrift_lot::Instrument { uncertainty: Some(u), ..Default::default() };
        in_pack(&LotOptions { instrument, ..known() })
    };
    assert!(off(0.02)[0].upper_bound > 10.0 * normal[0].upper_bound, "{:?}", off(0.02)[0]);
    assert!((off(1e-9)[0].upper_bound / normal[0].upper_bound - 1.0).abs() < 1e-6);
    let drifting: Vec<f64> = (0..60).map(|k| 0.394 + 2e-4 * f64::from(k) + 1e-3 * f64::from(k % 3)).collect();
    let mut drifts = one(drifting, drawing(0.05));
    assert!(ask(&drifts).verdict.is_shown(), "{:?}", ask(&drifts).verdict);
    drifts.neighbours_alike = true;
    assert_eq!(ask(&drifts).verdict.standing(), Standing::NotShown);
}

/// Shares outside by a whole analysis with the lot's shims at this bias and sd.
fn whole(bias: f64, sd: f64) -> Vec<(f64, f64)> {
    let mut stack = bay();
    for k in [1, 6] {
        stack.inputs[k].lot = None;
        stack.inputs[k].distribution = Distribution::normal(0.40 + bias, sd.max(1e-9)).unwrap();
    }
    let result = analyse(&stack, &options(), &Silent).unwrap();
    result.requirements.iter().map(|r| (r.spread.out.total, r.spread.out.standard_error)).collect()
}

/// On the frontier the worst requirement must have exactly its acceptable share outside, by an analysis that shares no code with the map.
#[test]
fn the_frontier_is_where_a_whole_analysis_puts_it() {
    let answer = ask(&lot(0.402, 0.006, 60, drawing(0.03)));
    let frontier = &answer.map.frontier;
    assert!(frontier.len() > 40 && frontier.windows(2).all(|w| w[0].0 < w[1].0), "{frontier:?}");
    let at = |k: usize| frontier[k * (frontier.len() - 1) / 8];
    for (bias, sd) in [0, 2, 4, 6, 8].map(at) {
        let shares = whole(bias, sd);
        let (ratio, error) = shares
            .iter()
            .zip([0.01, 0.02])
            .map(|((s, e), m)| (s / m, e / m))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap();
        assert!((ratio - 1.0).abs() < 0.10 + 4.0 * error, "bias {bias}, sd {sd}: {ratio} ± {error}");
    }
    // The room at the measured sd and bias lies on the same frontier.
    let room = answer.bias_room.unwrap();
    let worst =
        |bias: f64, sd: f64| whole(bias, sd).iter().zip([0.01, 0.02]).map(|((s, _), m)| s / m).fold(0.0, f64::max);
    for end in [room.lower, room.upper] {
        assert!((worst(end, answer.sd) - 1.0).abs() < 0.2, "{end}: {}", worst(end, answer.sd));
    }
    assert!((worst(answer.bias, answer.largest_sd.unwrap()) - 1.0).abs() < 0.2);
    // The map says the same as the frontier.
    let map = &answer.map;
    for (i, &bias) in map.bias.iter().enumerate() {
        for (j, &sd) in map.sd.iter().enumerate() {
            assert!(map.ratio[i][j].is_finite() && map.deciding[i][j] < 2);
            if let Some(w) = frontier.windows(2).find(|w| w[0].0 <= bias && bias < w[1].0) {
                let on = w[0].1 + (w[1].1 - w[0].1) * (bias - w[0].0) / (w[1].0 - w[0].0);
                if (sd - on).abs() > 0.15 * on.max(0.005) {
                    assert_eq!(map.ratio[i][j] <= 1.0, sd < on, "bias {bias}, sd {sd}, frontier {on}");
                }
            }
        }
    }
    // The outline of what the readings leave open surrounds the lot.
    let (low, high) = map.region.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), p| (a.min(p.1), b.max(p.1)));
    assert!(low < answer.sd && answer.sd < high && high < 2.0 * answer.sd && map.region.len() > 20);
}

/// Both figures of the lot itself are those of the whole analysis, and today's is the pack file's.
#[test]
fn today_fitted_and_empirical_are_those_of_the_analysis() {
    let answer = ask(&lot(0.402, 0.006, 400, drawing(0.03)));
    let today = analyse(&bay(), &options(), &Silent).unwrap();
    for (k, r) in answer.requirements.iter().enumerate() {
        assert_eq!(r.today, today.requirements[k].spread.out);
        let (fitted, error) = whole(0.002, 0.006)[k];
        assert!((r.fitted - fitted).abs() < 6.0 * error, "{}: {} against {fitted}", r.name, r.fitted);
        assert!((r.empirical - fitted).abs() < 0.1 * fitted + 6.0 * error);
        assert!(r.lower_bound <= r.upper_bound && r.upper_bound >= r.fitted, "{r:?}");
    }
    assert_eq!(answer.dimensions, ["middle/left shim/thickness", "middle/right shim/thickness"]);
    assert!((answer.assumed_sd - 0.006 * 2_f64.sqrt()).abs() < 1e-12 && answer.assumed_bias.abs() < 1e-15);
}

#[test]
fn drawing_and_pack_may_disagree_both_ways() {
    // A tight drawing refuses a lot the pack bears.
    let tight = lot(0.400, 0.006, 200, drawing(0.012));
    assert_eq!(tight.verdict.as_ref().unwrap().standing(), Standing::Adverse);
    let answer = ask(&tight);
    assert_eq!((answer.verdict.standing(), answer.agreement), (Standing::Shown, Agreement::PackBearsIt));
    assert!(answer.chance_acceptable > 0.999);
    // A wide drawing accepts a lot that is off, which the pack does not bear.
    let off = lot(0.47, 0.006, 200, drawing(0.12));
    assert!(off.verdict.as_ref().unwrap().is_shown());
    let answer = ask(&off);
    assert_eq!((answer.verdict.standing(), answer.agreement), (Standing::Adverse, Agreement::DrawingDoesNotProtect));
    assert!(answer.chance_acceptable < 1e-6 && answer.requirements.iter().any(|r| !r.acceptable));
    assert!(!answer.map.drawing_frontier.is_empty());
    // A handful of readings decides nothing near the frontier.
    let largest = answer.bias_room.unwrap().upper;
    let near = lot(0.40 + 0.97 * largest, 0.006, 6, drawing(0.08));
    let answer = ask(&near);
    assert_eq!((answer.verdict.standing(), answer.agreement), (Standing::NotShown, Agreement::Open));
    assert!(answer.chance_acceptable > 0.05 && answer.chance_acceptable < 0.95);
}

#[test]
fn refusals_and_warnings() {
    let good = lot(0.40, 0.006, 30, drawing(0.03));
    let error = lot_in_pack(&bay(), "shim 0.45", &good, &known(), &options(), &Silent).unwrap_err().to_string();
    assert!(
        error.contains("shim 0.45") && error.contains("shim 0.40") && error.contains("middle/left shim"),
        "{error}"
    );
    let part = lot_in_pack(&bay(), "middle/left shim", &good, &known(), &options(), &Silent).unwrap();
    assert_eq!(part.dimensions, ["middle/left shim/thickness"]);
    let other = lot(0.60, 0.006, 30, Drawing::default());
    assert!(ask(&other).warnings.iter().any(|w| matches!(w, PackWarning::FarFromNominal { .. })));
    let mut none = bay();
    none.requirements.clear();
    assert!(lot_in_pack(&none, "shim 0.40", &good, &known(), &options(), &Silent).is_err());
    let flat = one(vec![0.4; 5], drawing(0.03));
    assert!(lot_in_pack(&bay(), "shim 0.40", &flat, &LotOptions::default(), &options(), &Silent).is_err());
    // Other parts decide: an offset that nothing about the shims can mend.
    let mut hopeless = bay();
    hopeless.inputs[8].distribution = Distribution::normal(10.7, 0.2).unwrap();
    let answer = lot_in_pack(&hopeless, "shim 0.40", &good, &known(), &options(), &Silent).unwrap();
    assert!(
        answer.warnings.iter().any(|w| matches!(w, PackWarning::FailsAlready { .. })) && answer.map.frontier.is_empty()
    );
}
