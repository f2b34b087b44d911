//! Properties of the whole room, and its formulas against dense matrices and brute force (tests/outside/integrated.py).
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test stops at the first surprise")]

use super::frame::Frame;
use super::gross::foretold;
use super::histories::{Effort, History, Question, Reading, ReadingError};
use super::likelihood::{Totals, Workspace, solve};
use super::made::{Truth, fleet};
use super::prediction::{new_history, outlooks};
use super::priors::{LEAP, Theta};
use super::sampler::Scratch;
use super::{Answer, End, Forecast, Outcome, Parameter, integrate};
use crate::crossing::Zone;
use nalgebra::DMatrix;
use serde_json::Value;

fn reference() -> Value {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/integrated.json");
    serde_json::from_str::<Value>(&std::fs::read_to_string(path).unwrap()).unwrap()["values"].clone()
}

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap()
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array().unwrap().iter().map(number).collect()
}

/// Relative to the larger, and to `size` where both are small beside it.
fn close(a: f64, b: f64, relative: f64, size: f64) -> bool {
    (a - b).abs() <= relative * a.abs().max(b.abs()).max(size)
}

const BOTH: Zone = Zone { lower: Some(0.4), upper: Some(1.6) };

fn stated(sd: f64, step: f64) -> ReadingError {
    ReadingError { sd: Some(sd), step }
}

fn question(histories: &[History]) -> Question<'_> {
    Question { histories, zone: BOTH, error: stated(0.02, 0.001), seed: 1, effort: Effort::default() }
}

fn history(engine: u32, parts: u32, readings: &[(f64, f64)]) -> History {
    let readings = readings
        .iter()
        .enumerate()
        .map(|(k, (hours, value))| Reading {
            hours: *hours,
            value: *value,
            visit: k as u32,
            confirmed: false,
            leapt: false,
        })
        .collect();
    History { engine, parts, group: 0, current: true, age: 0.0, until: 0.0, readings }
}

fn reference_fleet(kernel: &Value) -> Vec<History> {
    let whole = |v: &Value| v.as_u64().unwrap() as u32;
    let one = |h: &Value| History {
        engine: whole(&h["engine"]),
        parts: whole(&h["parts"]),
        group: whole(&h["group"]),
        current: h["current"].as_bool().unwrap(),
        age: number(&h["age"]),
        until: 0.0,
        readings: h["rows"]
            .as_array()
            .unwrap()
            .iter()
            .map(|r| Reading {
                hours: number(&r[0]),
                value: number(&r[1]),
                visit: whole(&r[2]),
                confirmed: false,
                leapt: false,
            })
            .collect(),
    };
    kernel["histories"].as_array().unwrap().iter().map(one).collect()
}

/// From the feature's units to the frame's.
fn in_frame(t: &Value, frame: &Frame) -> Theta {
    let (a, time) = (frame.length, frame.time);
    let of = |name: &str| number(&t[name]);
    Theta {
        reading: of("reading") / a,
        visit: of("visit") / a,
        start: of("start") / a,
        slope: of("slope") * time / a,
        correlation: of("correlation"),
        wander: of("wander") * time.sqrt() / a,
        power: of("power"),
        growth: of("growth"),
        engine: of("engine") * time / a,
        kept: of("kept") * time / a,
    }
}

/// The likelihood, the mean lines, every valve's level and slope with their covariance, and how the others foretell each reading: a fleet with groups,
/// re-shims, repeats within visits, uneven schedules, a part that had run before, a slipped digit kept and left out, at four settings of all nine
/// parameters, against the covariance of all readings written out and inverted.
#[test]
fn the_kernel_is_the_dense_model() {
    let reference = reference();
    let kernel = &reference["kernel"];
    let histories = reference_fleet(kernel);
    let frame = Frame::of(&question(&histories)).unwrap();
    assert!(close(frame.time, number(&kernel["T"]), 1e-12, 0.0));
    assert!(close(frame.length, number(&kernel["A"]), 1e-12, 0.0));
    assert_eq!(frame.prior.dimensions(), 10);
    for (g, share) in numbers(&kernel["share"]).iter().enumerate() {
        assert!(close(frame.shares[frame.group_of[g]], *share, 1e-12, 0.0));
    }
    let (mut first, mut first_dense) = ([None; 2], [None; 2]);
    for point in kernel["points"].as_array().unwrap() {
        let left_out = usize::try_from(point["left_out"].as_i64().unwrap()).ok();
        // Readings are numbered through the fleet.
        let starts: Vec<usize> =
            histories.iter().scan(0, |n, h| Some(std::mem::replace(n, *n + h.readings.len()))).collect();
        let mut frame = frame.clone();
        for block in &mut frame.blocks {
            let cases = block.cases.clone();
            *block = block.with_kept(|c, _, e| Some(starts[cases[c].history] + e.reading) != left_out);
        }
        let theta = in_frame(&point["theta"], &frame);
        let all: Vec<usize> = (0..frame.blocks.len()).collect();
        let (mut work, mut totals) = (Workspace::default(), Totals::new(frame.groups));
        let lines = solve(&frame, &all, &theta, &mut work, &mut totals).unwrap();
        // Units add a constant to the likelihood, which the first point shows.
        let kind = usize::from(left_out.is_some());
        let dense = number(&point["ln_likelihood"]);
        let (a, b) = (*first[kind].get_or_insert(lines.ln_likelihood), *first_dense[kind].get_or_insert(dense));
        assert!(close(lines.ln_likelihood - a, dense - b, 1e-9, 1.0), "{} {}", lines.ln_likelihood - a, dense - b);
        let prior = number(&point["ln_prior"]);
        let z: Vec<f64> = frame
            .prior
            .layout
            .iter()
            .map(|p| match p {
                Parameter::Correlation => theta.correlation.atanh(),
                Parameter::Power | Parameter::Growth => theta.of(*p),
                Parameter::Reading => theta.reading.ln(),
                other => theta.of(*other).cbrt(),
            })
            .collect();
        // The frozen density is in logarithms: dσ = σ·d ln σ = 3σ^⅔·d∛σ.
        let to_cube_roots = |p: &Parameter| match p {
            Parameter::Correlation | Parameter::Power | Parameter::Growth | Parameter::Reading => 0.0,
            other => (3.0 / theta.of(*other).cbrt()).ln(),
        };
        let prior = prior + frame.prior.layout.iter().map(to_cube_roots).sum::<f64>();
        assert!(close(frame.prior.ln_density(&z), prior, 1e-9, 1.0), "{} {prior}", frame.prior.ln_density(&z));
        let (beta, cov) = (numbers(&point["beta"]), point["beta_cov"].as_array().unwrap());
        let (length, per_hour) = (frame.length, frame.length / frame.time);
        for asked in 0..2 {
            let g = frame.group_of[asked];
            let (mean, var) = lines.of(g);
            assert!(close(frame.centre + length * mean[0], beta[2 * asked], 1e-9, 0.1));
            assert!(close(per_hour * mean[1], beta[2 * asked + 1], 1e-7, 1e-6));
            assert!(close(length * length * var[0], number(&cov[2 * asked][2 * asked]), 1e-7, 0.0));
            assert!(close(length * per_hour * var[1], number(&cov[2 * asked][2 * asked + 1]), 1e-7, 1e-12));
            assert!(close(per_hour * per_hour * var[2], number(&cov[2 * asked + 1][2 * asked + 1]), 1e-7, 0.0));
        }
        for asked in 0..2 {
            let o = new_history(&frame, &theta, &lines, frame.group_of[asked]);
            let dense = numbers(&point["unread"][asked]);
            let found = [o.level, o.slope, o.level_var, o.cov, o.slope_var];
            for (k, (a, b)) in found.into_iter().zip(dense).enumerate() {
                assert!(close(a, b, 1e-7, [1e-2, 1e-6, 0.0, 1e-12, 0.0][k]), "unread {asked} {k}: {a} {b}");
            }
        }
        let mut scratch = Scratch::of(&frame);
        let mut histories_now = Vec::new();
        for block in &frame.blocks {
            let mut own = Vec::new();
            outlooks(block, &frame, &theta, &lines, &mut scratch, None, &mut own);
            histories_now.extend(block.cases.iter().filter(|c| c.current).map(|c| c.history).zip(own));
        }
        histories_now.sort_unstable_by_key(|n| n.0);
        for ((h, o), dense) in histories_now.iter().zip(point["now"].as_array().unwrap()) {
            let found = [o.level, o.slope, o.level_var, o.cov, o.slope_var];
            for (k, (a, b)) in found.into_iter().zip(numbers(dense)).enumerate() {
                assert!(close(a, b, 1e-6, [1e-2, 1e-6, 0.0, 1e-11, 0.0][k]), "history {h} {k}: {a} {b}");
            }
            assert!(close(o.wander_var, number(&point["theta"]["wander"]).powi(2), 1e-12, 0.0));
            let error = number(&point["theta"]["reading"]).powi(2) + number(&point["theta"]["visit"]).powi(2);
            assert!(close(o.reading_var, error, 1e-12, 0.0));
        }
        let mut seen_by = Vec::new();
        let mut foretold_by = vec![(0.0, 0.0); starts.len()];
        foretold_by.resize(histories.iter().map(|h| h.readings.len()).sum(), (0.0, 0.0));
        for block in &frame.blocks {
            work.lines(block, &frame.shares, &theta, &lines, |_, case, filter, line, column| {
                filter.column(&case.mean, column);
                let mut seen = Vec::new();
                filter.back(column, line.mean, line.cov, |_, s| seen.push(s));
                seen.reverse();
                let counts = &block.schedules[case.schedule].readings;
                for e in &case.entries {
                    foretold_by[starts[case.history] + e.reading] =
                        foretold(case, e, counts[e.visit].max(1.0), &seen[e.visit], &theta);
                }
                if case.current {
                    let at = seen.iter().map(|s| (frame.centre + length * s.mean, length * length * s.var));
                    seen_by.push((case.history, at.collect::<Vec<_>>()));
                }
            });
        }
        seen_by.sort_unstable_by_key(|n| n.0);
        for ((h, own), dense) in seen_by.iter().zip(point["seen"].as_array().unwrap()) {
            for ((mean, var), dense) in own.iter().zip(dense.as_array().unwrap()) {
                assert!(close(*mean, number(&dense[0]), 1e-8, 0.1), "history {h}");
                assert!(close(*var, number(&dense[1]), 1e-6, 0.0), "history {h}: {var} {}", dense[1]);
            }
        }
        for (k, ((e, v), dense)) in foretold_by.iter().zip(point["foretold"].as_array().unwrap()).enumerate() {
            let dense = numbers(dense);
            assert!(close(length * e, dense[0], 1e-6, 0.01), "reading {k}: {} against {}", length * e, dense[0]);
            assert!(close(length * length * v, dense[1], 1e-6, 0.0), "reading {k}");
        }
    }
}

/// At power 1 and fixed parameters the model is the family that REML fits: likelihoods differ by the same constant, levels and slopes are its best linear
/// unbiased predictions with their errors.
#[test]
fn at_power_one_it_is_the_kernel_of_the_named_models() {
    use crate::kernel::frame::Clock;
    use crate::kernel::posterior::posteriors;
    use crate::kernel::{Problem, Shape, evaluate};
    use crate::options::Estimator;
    use crate::segments::Segments;
    let mut made = fleet(Truth::Wandering(0.001), 7, 6, 4);
    // A re-shim: the second history goes on with the first one's parts.
    made.histories[1].parts = 0;
    made.histories[0].current = false;
    made.histories[3].readings.truncate(3);
    let frame = Frame::of(&made.question(1)).unwrap();
    let n = made.histories.len() as u32;
    let segments = Segments {
        offset: made.histories.iter().fold(vec![0], |mut o, h| {
            o.push(o.last().unwrap() + h.readings.len());
            o
        }),
        valve: made.histories.iter().map(|h| h.parts).collect(),
        engine: made.histories.iter().map(|h| h.engine).collect(),
        group: vec![0; n as usize],
        number: vec![1; n as usize],
        part: made.histories.iter().map(|h| h.parts).collect(),
        leapt: Vec::new(),
        origin: vec![0.0; n as usize],
        current: made.histories.iter().map(|h| h.current).collect(),
        hours: made.histories.iter().flat_map(|h| &h.readings).map(|r| r.hours).collect(),
        value: made.histories.iter().flat_map(|h| &h.readings).map(|r| r.value).collect(),
        row: (0..made.histories.iter().map(|h| h.readings.len() as u32).sum()).collect(),
        group_names: vec![String::new()],
        not_finite: Vec::new(),
    };
    let problem = Problem::of_readings(&segments, &[], Clock::PLAIN, false, true);
    let mut constant = None;
    for (reading, start, slope, rho, wander, engine, kept) in [
        (0.02, 0.05, 2e-5, 0.3, 8e-4, 6e-6, 4e-6),
        (0.01, 0.08, 1e-5, -0.6, 2e-4, 2e-5, 9e-6),
        (0.04, 0.02, 5e-5, 0.0, 1.5e-3, 1e-6, 3e-5),
    ] {
        let t = problem.frame.time;
        let root = f64::sqrt(1.0 - rho * rho);
        let relative = crate::kernel::Theta {
            l: [start / reading, rho * slope * t / reading, root * slope * t / reading],
            omega2: wander * wander * t / (reading * reading),
            gamma2: f64::powi(engine * t / reading, 2),
            kappa2: f64::powi(kept * t / reading, 2),
        };
        let all = Shape {
            intercept: true,
            corr: true,
            slope: true,
            wander: true,
            engine: true,
            valve: true,
            known_sd: Some(reading),
        };
        let profile = evaluate(&problem, all, &relative, Estimator::Reml).unwrap();
        let theta = Theta {
            reading: reading / frame.length,
            start: start / frame.length,
            slope: slope * frame.time / frame.length,
            correlation: rho,
            wander: wander * frame.time.sqrt() / frame.length,
            power: 1.0,
            growth: 0.0,
            engine: engine * frame.time / frame.length,
            kept: kept * frame.time / frame.length,
            visit: 0.0,
        };
        let blocks: Vec<usize> = (0..frame.blocks.len()).collect();
        let (mut work, mut totals) = (Workspace::default(), Totals::new(1));
        let lines = solve(&frame, &blocks, &theta, &mut work, &mut totals).unwrap();
        let apart = lines.ln_likelihood + 0.5 * profile.deviance;
        assert!(close(apart, *constant.get_or_insert(apart), 1e-9, 1.0), "{apart} {constant:?}");
        let blup = posteriors(&problem, all, &relative, &profile);
        for block in &frame.blocks {
            work.lines(block, &frame.shares, &theta, &lines, |_, case, filter, line, column| {
                filter.column(&case.mean, column);
                let mut last = None;
                filter.back(column, line.mean, line.cov, |_, s| last = last.or(Some(s)));
                let (last, hours) = (last.unwrap(), frame.time * case.last());
                let o = blup[case.history].outlook(&problem.frame, 0, hours);
                let (a, per_hour) = (frame.length, frame.length / frame.time);
                assert!(close(frame.centre + a * last.mean, o.level, 1e-9, 0.0));
                assert!(close(a * a * last.var, o.level_var, 1e-8, 0.0));
                assert!(close(per_hour * line.mean[1], o.slope, 1e-8, 1e-6));
                assert!(close(per_hour * per_hour * line.cov[2], o.slope_var, 1e-8, 0.0));
            });
        }
    }
}

/// A jump is a leap of the walk, anywhere: restricted likelihood and level of one valve against the covariance of its readings written out.
#[test]
fn a_jump_lets_the_value_be_anywhere() {
    let mut one = history(0, 0, &[(0.0, 1.0), (1500.0, 1.1), (3000.0, 1.22), (4500.0, 0.93), (6000.0, 1.06)]);
    one.readings[3].leapt = true;
    let histories = [one];
    let frame = Frame::of(&question(&histories)).unwrap();
    let (mut work, mut totals) = (Workspace::default(), Totals::new(1));
    let values: Vec<f64> = [1.0, 1.1, 1.22, 0.93, 1.06].iter().map(|v| (v - frame.centre) / frame.length).collect();
    let mut found = Vec::new();
    for (wander, reading, growth) in [(0.3, 0.3, 0.4), (1.2, 0.2, -0.6)] {
        let theta = Theta { wander, reading, growth, power: 1.1, ..Theta::default() };
        let lines = solve(&frame, &[0], &theta, &mut work, &mut totals).unwrap();
        let clock = |k: usize| {
            let u = (0.25 * k as f64).powf(1.1);
            (growth * u).exp_m1() / growth.exp_m1()
        };
        let v = DMatrix::from_fn(5, 5, |i, j| {
            let leap = if i.min(j) >= 3 { LEAP * LEAP } else { 0.0 };
            wander * wander * clock(i.min(j)) + leap + if i == j { reading * reading } else { 0.0 }
        });
        let x = DMatrix::from_fn(5, 2, |i, c| if c == 0 { 1.0 } else { clock(i) });
        let y = DMatrix::from_column_slice(5, 1, &values);
        let inverse = v.clone().try_inverse().unwrap();
        let f = x.transpose() * &inverse * &x;
        let beta = f.clone().try_inverse().unwrap() * x.transpose() * &inverse * &y;
        let residual = &y - &x * &beta;
        let q = (residual.transpose() * &inverse * &residual)[(0, 0)];
        let dense = -0.5 * (v.determinant().ln() + f.determinant().ln() + q);
        assert!(close(lines.mean[0], beta[0], 1e-7, 1.0) && close(lines.mean[1], beta[1], 1e-7, 1.0));
        found.push((lines.ln_likelihood, dense));
    }
    // But for a constant.
    let difference = |of: fn(&(f64, f64)) -> f64| of(&found[1]) - of(&found[0]);
    assert!(close(difference(|l| l.0), difference(|l| l.1), 1e-7, 1.0), "{found:?}");
}

/// A look of which nothing is believed tells where the forecast begins.
#[test]
fn a_forecast_begins_where_the_valve_was_last_looked_at() {
    let rows = [(0.0, 1.0), (1500.0, 1.1), (3000.0, 1.22), (4500.0, 1.31)];
    let (plain, mut later) = (history(0, 0, &rows), history(0, 0, &rows));
    later.until = 6000.0;
    let of = |h: History| integrate(&question(&[h])).forecasts.remove(0);
    let (plain, later) = (of(plain), of(later));
    let (mean, sd) = plain.prospect.value_at(1500.0);
    let (own, own_sd) = later.prospect.value_at(0.0);
    assert!((own - mean).abs() < 0.05 * sd && (own_sd / sd - 1.0).abs() < 0.05, "{own} ± {own_sd} for {mean} ± {sd}");
    let (early, late) = (plain.prospect.chance_within(3000.0), later.prospect.chance_within(1500.0));
    // What it would have left and come back to by then is not in the later one.
    assert!(late <= early + 0.01 && late > early - 0.05, "{early} {late}");
}

/// Whole posteriors against an integration over the prior that shares no code and no sampler: levels and slopes to a tenth of their error, chances to
/// 0.01 (the brute force has an effective number of 1 400 to 9 000 draws).
#[test]
fn posteriors_are_those_of_brute_force() {
    for case in reference()["posteriors"].as_array().unwrap() {
        let hours = numbers(&case["hours"]);
        let histories: Vec<History> = case["values"]
            .as_array()
            .unwrap()
            .iter()
            .enumerate()
            .map(|(k, v)| history(0, k as u32, &hours.iter().copied().zip(numbers(v)).collect::<Vec<_>>()))
            .collect();
        let question = Question { error: stated(number(&case["s0"]), number(&case["step"])), ..question(&histories) };
        let answer = integrate(&question);
        // The ends of a level's 95 % rest on the few draws in which the gauge hardly measures, and scatter by 4 % from seed to seed.
        let others: Vec<Answer> = (2..=4).map(|seed| integrate(&Question { seed, ..question })).collect();
        let name = case["name"].as_str().unwrap();
        assert_eq!(answer.outcome, Outcome::Settled, "{name}");
        let power = answer.parameters.iter().find(|p| p.parameter == Parameter::Power).unwrap();
        assert!((power.mean - number(&case["power"])).abs() < 0.05 * power.sd.max(0.3), "{name}: {power:?}");
        let gross: Vec<f64> = answer.gross.iter().flatten().copied().collect();
        for (g, brute) in gross.iter().zip(numbers(&case["gross"])) {
            assert!((g - brute).abs() < 0.01 + 0.05 * brute, "{name}: {g} against {brute}");
        }
        for (v, (f, brute)) in answer.forecasts.iter().zip(case["valves"].as_array().unwrap()).enumerate() {
            let mean = |own: &dyn Fn(&Forecast) -> f64| {
                0.25 * (own(f) + others.iter().map(|a| own(&a.forecasts[v])).sum::<f64>())
            };
            let (level_se, slope_se) = (mean(&|f| f.level_se), mean(&|f| f.slope_se));
            let of = |key: &str| number(&brute[key]);
            let half = |key: &str| (number(&brute[key][1]) - number(&brute[key][0])) / (2.0 * 1.959_964);
            assert!((f.level - of("level")).abs() < 0.1 * f.level_se, "{name}: {} {}", f.level, of("level"));
            assert!((level_se / half("level_95") - 1.0).abs() < 0.05, "{name}: {level_se} {}", half("level_95"));
            assert!((f.slope - of("slope")).abs() < 0.1 * f.slope_se, "{name}: {} {}", f.slope, of("slope"));
            assert!((slope_se / half("slope_95") - 1.0).abs() < 0.05, "{name}: {slope_se} {}", half("slope_95"));
            let chance = f.prospect.chance_within(number(&case["horizon"]));
            assert!((chance - of("chance")).abs() < 0.01, "{name}: {chance} against {}", of("chance"));
        }
    }
}

fn chances(answer: &Answer, hours: f64) -> Vec<f64> {
    answer.forecasts.iter().map(|f| f.prospect.chance_within(hours)).collect()
}

/// Hours in thousands and values in inches: the same answers to rounding.
#[test]
fn units_do_not_matter() {
    let made = fleet(Truth::Wandering(0.001), 5, 4, 3);
    let base = integrate(&made.question(1));
    let (per_hour, inch) = (1e-3, 1.0 / 25.4);
    let mut other = made.histories.clone();
    for r in other.iter_mut().flat_map(|h| &mut h.readings) {
        r.hours *= per_hour;
        r.value *= inch;
    }
    let zone = Zone { lower: BOTH.lower.map(|l| l * inch), upper: BOTH.upper.map(|u| u * inch) };
    let scaled =
        integrate(&Question { histories: &other, zone, error: stated(0.02 * inch, 0.001 * inch), ..made.question(1) });
    for (a, b) in base.forecasts.iter().zip(&scaled.forecasts) {
        assert!(close(a.level * inch, b.level, 1e-9, 0.0) && close(a.level_se * inch, b.level_se, 1e-7, 0.0));
        assert!(close(a.slope * inch / per_hour, b.slope, 1e-7, 0.0));
        let (p, q) = (a.prospect.chance_within(2000.0), b.prospect.chance_within(2000.0 * per_hour));
        assert!((p - q).abs() < 1e-7, "{p} {q}");
    }
}

/// Another order of valves and rows, other numbers of engines: the same bits.
#[test]
fn order_does_not_matter() {
    let mut made = fleet(Truth::SlippedDigit, 9, 4, 5);
    made.histories[3].group = 1;
    made.histories[4].group = 1;
    // Two readings at one visit, to be turned round.
    let twice = Reading { value: made.histories[2].readings[1].value + 0.013, ..made.histories[2].readings[1] };
    made.histories[2].readings.insert(1, twice);
    let base = integrate(&made.question(1));
    let mut other = made.clone();
    other.histories[2].readings.swap(1, 2);
    other.histories.reverse();
    for h in &mut other.histories {
        h.engine = 7 - h.engine;
        h.parts = 20 - h.parts;
        h.group = 1 - h.group;
    }
    let turned = integrate(&other.question(1));
    let last = made.histories.len() - 1;
    for f in &turned.forecasts {
        let same = base.forecasts.iter().find(|b| b.history == last - f.history).unwrap();
        assert_eq!(f.level.to_bits(), same.level.to_bits());
        assert_eq!(f.prospect, same.prospect);
    }
    for (h, own) in base.gross.iter().enumerate() {
        let mut other = turned.gross[last - h].clone();
        if h == 2 {
            other.swap(1, 2);
        }
        assert_eq!(own, &other);
    }
    assert_eq!(base.lines[0], turned.lines[1]);
}

#[test]
fn threads_do_not_matter() {
    let made = fleet(Truth::HeavyTails, 6, 4, 2);
    let with = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| integrate(&made.question(1)))
    };
    assert_eq!(with(1), with(3));
}

/// A decimal point in the wrong place, at any look, is found for what it is; the valve's forecast is then about that of its other readings, and its
/// neighbours' chances stay where they were without the slip.
#[test]
fn a_slipped_digit_is_a_gross_error() {
    let clean = fleet(Truth::Straight, 6, 5, 8);
    let base = chances(&integrate(&clean.question(1)), 2000.0);
    for (valve, look, factor) in [(2, 4, 10.0), (0, 0, 0.1), (5, 2, 1000.0)] {
        let mut slipped = clean.clone();
        slipped.histories[valve].readings[look].value *= factor;
        let answer = integrate(&slipped.question(1));
        assert_eq!(answer.outcome, Outcome::Settled);
        assert!(answer.gross[valve][look] > 0.99, "{}", answer.gross[valve][look]);
        assert_eq!(answer.diagnostics.left_out, 1);
        for (k, (p, q)) in chances(&answer, 2000.0).iter().zip(&base).enumerate() {
            assert!(k == valve || (p - q).abs() < 0.1, "valve {k}: {p} against {q}");
        }
        // At its word the valve is far out, or was.
        let doubted = answer.forecasts.iter().find(|f| f.history == valve).unwrap();
        let at_its_word = doubted.believed.as_ref().unwrap().value_at(0.0).0;
        assert!(look < 4 || at_its_word > 2.0, "{at_its_word}");
        // Confirmed, it stands.
        slipped.histories[valve].readings[look].confirmed = true;
        let answer = integrate(&slipped.question(1));
        assert!(answer.gross[valve][look] == 0.0 && answer.diagnostics.left_out < 4);
    }
}

/// Three slips on three valves: none hides another.
#[test]
fn several_slips_are_all_found() {
    let mut made = fleet(Truth::Straight, 12, 5, 9);
    for (valve, look, by) in [(1, 4, 9.0), (6, 2, 0.5), (10, 0, -0.6)] {
        made.histories[valve].readings[look].value += by;
    }
    let answer = integrate(&made.question(1));
    for (valve, look) in [(1, 4), (6, 2), (10, 0)] {
        assert!(answer.gross[valve][look] > 0.9, "{valve} {look}: {}", answer.gross[valve][look]);
    }
    let others: f64 = answer.gross.iter().flatten().sum::<f64>() - 3.0;
    assert!(others < 0.5, "{others}");
}

/// What cannot be answered has a name.
#[test]
fn what_fails_is_named() {
    // Read once each.
    let once = [history(0, 0, &[(0.0, 1.0)]), history(0, 1, &[(0.0, 1.1)])];
    assert!(matches!(integrate(&question(&once)).outcome, Outcome::NotEstimable(_)));
    assert!(matches!(integrate(&question(&[])).outcome, Outcome::NotEstimable(_)));
    let broken = [history(0, 0, &[(0.0, 1.0), (1000.0, f64::NAN)])];
    let answer = integrate(&question(&broken));
    assert_eq!(answer.outcome, Outcome::NotFinite);
    assert!(answer.forecasts.is_empty() && answer.gross == [vec![0.0; 2]]);
    // Every reading is confirmed, so none of them can be gross.
    let fleet = |readings: &dyn Fn(f64) -> Vec<(f64, f64)>| -> Vec<History> {
        (0..8)
            .map(|k| {
                let mut h = history(k, k, &readings(0.95 + 0.01 * f64::from(k)));
                h.readings.iter_mut().for_each(|r| r.confirmed = true);
                h
            })
            .collect()
    };
    // All at once in the first ten hours, on every valve: no power down to 0.2 bends like that.
    let bedded = fleet(&|a| vec![(0.0, a), (10.0, a + 0.5), (2000.0, a + 0.497), (4000.0, a + 0.503)]);
    let outcome = integrate(&question(&bedded)).outcome;
    assert!(matches!(outcome, Outcome::Piled { .. } | Outcome::TooFewDraws { .. }), "{outcome:?}");
    // A cliff: nothing for long, then all at once, faster than power and growth can bend.
    let cliff =
        fleet(&|a| vec![(0.0, a), (2000.0, a + 0.002), (3600.0, a - 0.003), (3800.0, a + 0.001), (4000.0, a + 0.55)]);
    let outcome = integrate(&question(&cliff)).outcome;
    assert!(matches!(outcome, Outcome::Piled { end: End::Upper, .. }), "{outcome:?}");
}

/// One valve with two readings has a forecast, a wide one.
#[test]
fn two_readings_of_one_valve_are_enough_for_a_wide_forecast() {
    let two = [history(0, 0, &[(0.0, 1.0), (3000.0, 1.3)])];
    let answer = integrate(&question(&two));
    assert_eq!(answer.outcome, Outcome::Settled);
    let f = &answer.forecasts[0];
    assert!(f.level_se > 0.015 && f.level_se < 0.1, "{}", f.level_se);
    let chance = f.prospect.chance_within(2000.0);
    assert!(chance > 0.05 && chance < 0.6, "{chance}");
}

/// Parts of slopes that engines share make no forecast narrower: the same fleet with every valve on an engine of its own has none.
#[test]
fn more_components_do_not_narrow() {
    let (mut with, mut without) = (0.0, 0.0);
    for number in 0..3 {
        let made = fleet(Truth::Straight, 8, 5, number);
        let mut alone = made.clone();
        for (k, h) in alone.histories.iter_mut().enumerate() {
            h.engine = k as u32;
        }
        let (a, b) = (integrate(&made.question(1)), integrate(&alone.question(1)));
        assert!(a.parameters.iter().any(|p| p.parameter == Parameter::Engine));
        assert!(b.parameters.iter().all(|p| p.parameter != Parameter::Engine));
        let width = |a: &Answer| a.forecasts.iter().map(|f| f.prospect.value_at(2000.0).1).sum::<f64>();
        with += width(&a);
        without += width(&b);
    }
    assert!(with > 0.98 * without, "{with} {without}");
}

/// New parts by draws of the fleet, mean line included: together they are the same future as the average, each alone knows its mean line.
#[test]
fn new_parts_by_draws_of_the_mean_line_are_the_same_future() {
    let made = fleet(Truth::Straight, 4, 4, 3);
    let answer = integrate(&made.question(1));
    let (whole, drawn) = &answer.unread[0];
    for hours in [0.0, 4000.0] {
        let (a, b) = (whole.value_at(hours), drawn.value_at(hours));
        // 2 048 draws of a mean line that errs by less than the whole.
        assert!((a.0 - b.0).abs() < 4.0 * a.1 / 2048.0_f64.sqrt() && (b.1 / a.1 - 1.0).abs() < 0.1, "{a:?} {b:?}");
    }
    let own = |p: &crate::crossing::Prospect| p.outlooks.iter().map(|o| o.level_var).sum::<f64>();
    assert!(own(drawn) < 0.9 * own(whole));
}
