//! The share outside and its bounds against a bay that can be worked out by hand.

#![allow(clippy::unwrap_used, reason = "a test may stop at the first thing that is not there")]

use super::bounds::Cloud;
use super::place::Place;
use super::surface::Surface;
use packdrift_lot::posterior::{ChiGrid, Posterior};
use packdrift_numerics::normal;
use packdrift_numerics::stream::Key;
use packdrift_pack::{PartKind, SpringLaw, SpringWasher};
use packdrift_spread::Stack;

#[path = "../tests/common/bay.rs"]
mod bay;

fn surface(stack: &Stack) -> Surface {
    let place = Place::find(stack, "shim 0.40").unwrap();
    let bare = place.without(stack);
    Surface::new(&bare, &place, 0.01, 0.012, 5).unwrap()
}

/// Offset = left shim + adjuster − stem, all normal. Preload = rate·D, with D = what the parts have more than the span: normal given the rate,
/// whose own distribution is integrated by the trapezoidal rule.
fn by_hand(bias: f64, sd: f64) -> [f64; 2] {
    let outside =
        |mean: f64, sd: f64, low: f64, high: f64| normal::cdf((low - mean) / sd) + normal::sf((high - mean) / sd);
    let offset = outside(1.0 + bias, (sd * sd + 0.015_f64.powi(2) + 0.020_f64.powi(2)).sqrt(), 0.90, 1.10);
    let d = 0.40 + 24.00 + 3.60 + 0.40 + 24.40 - 52.00 + 2.0 * bias;
    let others = 0.015_f64.powi(2) + 0.012_f64.powi(2) + 0.02_f64.powi(2) + 0.015_f64.powi(2);
    let d_sd = (2.0 * sd * sd + others).sqrt();
    let step = 0.01;
    let preload: f64 = (-800..=800)
        .map(|k| {
            let z = step * f64::from(k);
            let rate = 300.0 + 6.0 * z;
            step * normal::pdf(z) * outside(d, d_sd, 180.0 / rate, 300.0 / rate)
        })
        .sum();
    [offset, preload]
}

#[test]
fn shares_are_those_worked_out_by_hand() {
    let surface = surface(&bay::bay());
    assert!(surface.depends());
    for (bias, sd) in [(0.0, 0.0), (0.0, 0.006), (0.01, 0.006), (-0.03, 0.012), (0.06, 0.02), (0.03, 0.05)] {
        let found = surface.shares(bias, sd);
        let [offset, preload] = by_hand(bias, sd);
        assert!((found[0] / offset - 1.0).abs() < 1e-6, "offset at {bias}, {sd}: {} instead of {offset}", found[0]);
        // 256 lines, joined between levels: within 1 %, of shares below one in a million too.
        assert!((found[1] / preload - 1.0).abs() < 0.01, "preload at {bias}, {sd}: {} instead of {preload}", found[1]);
    }
}

/// The same bay with a second spring washer on the rocker's other side: the parts act each in its own way, the offset depends on both springs
/// and both shims. The share by the drawn parts must agree with plain simulation.
#[test]
fn parts_that_act_each_in_its_own_way() {
    let mut stack = bay::bay();
    let spring = SpringLaw::Linear {
        rate: packdrift_pack::DimensionId(4),
        free_height: packdrift_pack::DimensionId(5),
        solid_height: None,
    };
    stack.pack.bays[0].parts.insert(
        1,
        packdrift_pack::Part {
            name: "left spring".into(),
            kind: PartKind::Spring(SpringWasher { law: spring, friction: None, set: None }),
            expansion: 11.5e-6,
        },
    );
    // Both springs share their dimensions; the span and the stem make room for the second.
    for input in [0, 8] {
        let mean = stack.inputs[input].nominal + 3.60 - 0.80;
        stack.inputs[input].nominal = mean;
        let sd = stack.inputs[input].distribution.sd();
        stack.inputs[input].distribution = packdrift_spread::Distribution::normal(mean, sd).unwrap();
    }
    stack.pack.bays[0].valves[0].rocker = 2;
    let surface = surface(&stack);
    let key = Key::new(3, "split");
    let (bias, sd) = (0.15, 0.03);
    let mut stream = key.stream(0);
    let model = packdrift_spread::PackModel::new(&stack).unwrap();
    let (mut out, trials) = ([0.0; 2], 200_000);
    for _ in 0..trials {
        let x: Vec<f64> = stack
            .inputs
            .iter()
            .enumerate()
            .map(|(k, input)| {
                let (mean, sd) =
                    if k == 1 || k == 6 { (0.40 + bias, sd) } else { (input.nominal, input.distribution.sd()) };
                mean + sd * stream.normal()
            })
            .collect();
        for (requirement, out) in out.iter_mut().enumerate() {
            if super::lines::margin(&model, &stack, requirement, &x) < 0.0 {
                *out += 1.0 / f64::from(trials);
            }
        }
    }
    for (requirement, (found, simulated)) in surface.shares(bias, sd).iter().zip(out).enumerate() {
        let error = (simulated * (1.0 - simulated) / f64::from(trials)).sqrt();
        assert!(simulated > 1e-3 && simulated < 0.9, "{simulated} says nothing");
        assert!(
            (found - simulated).abs() < 5.0 * error + 0.02 * simulated,
            "{requirement}: {found} instead of {simulated} ± {error}"
        );
    }
}

/// Lots drawn from a known truth: the bounds of the share outside in the pack hold as often as they say, within four binomial standard errors
/// (bounds for one quantity under the prior 1/σ; with other parts' scatter beside the lot's own they are not exact, so up to 2 % more is allowed).
#[test]
fn bounds_hold_as_often_as_they_say() {
    let surface = surface(&bay::bay());
    let (bias, sd, n, lots) = (0.012, 0.015, 12_usize, 400_u32);
    let truth = by_hand(bias, sd);
    let grid = ChiGrid::finer(n, 4.0);
    let key = Key::new(21, "coverage in the pack");
    let mut held = [[0.0; 2]; 2];
    for lot in 0..lots {
        let mut stream = key.stream(u64::from(lot));
        let readings: Vec<f64> = (0..n).map(|_| bias + sd * stream.normal()).collect();
        let mean = readings.iter().sum::<f64>() / n as f64;
        let s = (readings.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / (n as f64 - 1.0)).sqrt();
        let cloud = Cloud::new(&surface, &Posterior::new(&grid, mean, s, 0.0).slices(), mean);
        for k in 0..2 {
            held[k][0] += f64::from(u8::from(cloud.quantile(k, 0.95) >= truth[k])) / f64::from(lots);
            held[k][1] += f64::from(u8::from(cloud.quantile(k, 0.05) <= truth[k])) / f64::from(lots);
        }
    }
    let allowed = 4.0 * (0.95 * 0.05 / f64::from(lots)).sqrt();
    for (k, [upper, lower]) in held.iter().enumerate() {
        for (what, found) in [("upper", upper), ("lower", lower)] {
            assert!(*found > 0.95 - allowed && *found < 0.97 + allowed, "{what} bound of requirement {k}: {found}");
        }
    }
}

/// A reading's error in the bay worked out by hand: both shims are measured, the offset knows of the left one.
#[test]
fn a_reading_in_the_pack() {
    let found = super::reading_in_pack(&bay::bay(), None, 0.004, 5).unwrap();
    assert_eq!(found.dimensions, ["middle/left shim/thickness", "middle/right shim/thickness"]);
    let [offset, preload] = found.requirements.as_slice() else { unreachable!("two requirements") };
    assert!((offset.added_sd - 0.004).abs() < 1e-12 && (offset.share_of_width.unwrap() - 0.12).abs() < 1e-9);
    // Two shims, 300 N/mm.
    assert!((preload.added_sd - 300.0 * 0.004 * 2.0_f64.sqrt()).abs() < 1e-9 && preload.unit == "N");
    let ([known, _], [read, _]) = (by_hand(0.0, 0.0), by_hand(0.0, 0.004));
    assert!((offset.known / known - 1.0).abs() < 1e-6 && (offset.read / read - 1.0).abs() < 1e-6);
    assert!(super::reading_in_pack(&bay::bay(), Some("shim 9"), 0.004, 5).is_err());
    assert!(super::reading_in_pack(&bay::bay(), None, 0.0, 5).is_err());
}
