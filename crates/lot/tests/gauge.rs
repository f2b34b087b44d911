//! The published gauge example with every stated number, and the coverage of the intervals.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first thing that is not there")]

use packdrift_lot::Readings;
use packdrift_lot::gauge::{Fitness, GaugeMethod, GaugeOptions, GaugeWarning, Interaction, study};
use packdrift_numerics::stream::Key;

/// 10 parts × 3 operators × 3 trials of the AIAG measurement-systems-analysis manual (data from memory; its table agrees).
fn published() -> Readings {
    let data = [
        [
            [0.29, -0.56, 1.34, 0.47, -0.80, 0.02, 0.59, -0.31, 2.26, -1.36],
            [0.41, -0.68, 1.17, 0.50, -0.92, -0.11, 0.75, -0.20, 1.99, -1.25],
            [0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31],
        ],
        [
            [0.08, -0.47, 1.19, 0.01, -0.56, -0.20, 0.47, -0.63, 1.80, -1.68],
            [0.25, -1.22, 0.94, 1.03, -1.20, 0.22, 0.55, 0.08, 2.12, -1.62],
            [0.07, -0.68, 1.34, 0.20, -1.28, 0.06, 0.83, -0.34, 2.19, -1.50],
        ],
        [
            [0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49],
            [-0.11, -1.13, 1.09, 0.20, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77],
            [-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16],
        ],
    ];
    let mut table = Readings {
        lots: vec!["study".into()],
        parts: (1..=10).map(|p| p.to_string()).collect(),
        operators: ["A", "B", "C"].map(String::from).to_vec(),
        ..Readings::default()
    };
    for (o, trials) in data.iter().enumerate() {
        for (t, parts) in trials.iter().enumerate() {
            for (p, &x) in parts.iter().enumerate() {
                table.lot.push(0);
                table.part.push(p as u32);
                table.operator.push(o as u32);
                table.trial.push(t as u32 + 1);
                table.reading.push(x);
                table.line.push(table.line.len() as u32 + 2);
            }
        }
    }
    table
}

fn near(found: f64, printed: f64, unit: f64, what: &str) {
    assert!((found - printed).abs() <= 0.5001 * unit, "{what}: {found} against {printed}");
}

/// A step so coarse that every repeat falls in the same one is no gauge without scatter.
#[test]
fn repeats_without_scatter_show_nothing_of_the_gauge() {
    let mut table = published();
    table.reading = table.part.iter().map(|part| 0.5 + 0.01 * f64::from(*part)).collect();
    let options = GaugeOptions { tolerance: Some(0.6), difference: Some(0.05), ..GaugeOptions::default() };
    let result = study(&table, &options).unwrap();
    // Nothing but the rounding of doubles.
    assert!(result.components.gauge.sd < 1e-15 && result.fitness == Fitness::NotShown);
    assert!(!result.verdict().is_shown() && result.unseen.is_some());
}

/// Readings that one operator copied from another leave nothing between operators: that vouches for no gauge.
#[test]
fn operators_who_copied_each_other_vouch_for_nothing() {
    let honest = published();
    let options = GaugeOptions { tolerance: Some(60.0), ..GaugeOptions::default() };
    assert!(study(&honest, &options).unwrap().unseen.is_none());
    let mut copied = honest.clone();
    for k in 0..copied.reading.len() {
        let first = |j: &usize| {
            honest.operator[*j] == 0 && honest.part[*j] == honest.part[k] && honest.trial[*j] == honest.trial[k]
        };
        if honest.operator[k] == 1 {
            copied.reading[k] = honest.reading[(0..honest.reading.len()).find(first).unwrap()];
        }
    }
    let result = study(&copied, &options).unwrap();
    assert!(!result.verdict().is_shown() && result.unseen.is_some_and(|why| why.contains("copied")));
}

/// At one half a bound is the estimate; below it lies on the wrong side.
#[test]
fn a_confidence_by_which_nothing_is_shown_is_refused() {
    for confidence in [0.01, 0.500_001, 0.7, 0.999_999_9] {
        let options = GaugeOptions { tolerance: Some(6.0), confidence, ..GaugeOptions::default() };
        assert!(study(&published(), &options).is_err(), "{confidence}");
    }
}

/// The published readings as those of shims of 0.6 mm, read to a micrometre.
fn shims() -> Readings {
    let mut table = published();
    table.reading.iter_mut().for_each(|x| *x = 1e-3 * (600.0 + 5.0 * *x).round());
    table
}

/// Without a tolerance one part of another size makes any gauge small beside all scatter seen: ten parts alike within the gauge's own scatter, one of them 1 mm
/// larger.
#[test]
fn one_foreign_part_makes_no_gauge_good_enough() {
    let part_of = |p: u32, own: f64| if p == 4 { 1.0 } else { own * f64::from(p % 3) };
    let made = |own: f64| {
        let mut table = shims();
        let mut scatter = Key::new(3, "foreign").stream(0);
        for k in 0..table.reading.len() {
            let size = 0.6 + part_of(table.part[k], own);
            table.reading[k] = 1e-4 * (1e4 * (size + 0.003 * scatter.normal())).round();
        }
        study(&table, &GaugeOptions::default()).unwrap()
    };
    let foreign = made(0.001);
    assert!(foreign.deciding_share < 0.10, "it would pass: {}", foreign.deciding_share);
    assert!(foreign.fitness == Fitness::NotShown && !foreign.verdict().is_shown(), "{:?}", foreign.fitness);
    let why = foreign.unseen.unwrap();
    assert!(why.contains("part 5") && why.ends_with('?'), "{why}");
    // Where the others show as much there is nothing to ask.
    assert!(made(0.3).unseen.is_none());
}

/// A tolerance in other units, or with a slipped decimal point, makes any gauge fit.
#[test]
fn a_tolerance_that_is_none_of_such_parts_is_questioned() {
    let with = |tolerance: f64| {
        study(&shims(), &GaugeOptions { tolerance: Some(tolerance), ..GaugeOptions::default() }).unwrap()
    };
    // A quarter of the size begins at 0.15.
    for tolerance in [60.0, 1.524, 0.61, 0.59, 0.3, 0.16] {
        let result = with(tolerance);
        assert!(result.fitness == Fitness::NotShown && !result.verdict().is_shown(), "{tolerance}");
        assert!(
            result.unseen.as_ref().is_some_and(|why| why.ends_with('?') && why.contains("whole size")),
            "{:?}",
            result.unseen
        );
    }
    assert!(with(0.06).unseen.is_none() && with(0.14).unseen.is_none());
    // Parts of sizes from 0.1 to 0.6.
    let mut sizes = shims();
    for k in 0..sizes.reading.len() {
        sizes.reading[k] += 0.055 * f64::from(sizes.part[k]) - 0.5;
    }
    let of_sizes = |tolerance: f64| {
        study(&sizes, &GaugeOptions { tolerance: Some(tolerance), ..GaugeOptions::default() }).unwrap().unseen
    };
    assert!(of_sizes(1.524).is_some_and(|why| why.contains("largest reading")) && of_sizes(0.06).is_none());
    // Deviations about 0 have no size.
    let of_deviations = |tolerance: f64| {
        study(&published(), &GaugeOptions { tolerance: Some(tolerance), ..GaugeOptions::default() }).unwrap().unseen
    };
    assert!(of_deviations(60.0).is_none() && of_deviations(200.0).is_some_and(|why| why.contains("largest reading")));
}

/// One slip of the pen is named by part, operator, trial and line, both answers are there, and the worse is the verdict.
#[test]
fn a_reading_that_stands_out_is_named_and_both_answers_shown() {
    let options = GaugeOptions { tolerance: Some(0.14), ..GaugeOptions::default() };
    let sound = study(&shims(), &options).unwrap();
    assert!(sound.wild.is_none());
    let mut slipped = shims();
    let row = 40;
    slipped.reading[row] += 0.1;
    let result = study(&slipped, &options).unwrap();
    let wild = result.wild.clone().unwrap();
    assert_eq!(wild.line, slipped.line[row]);
    assert_eq!(wild.part, slipped.parts[slipped.part[row] as usize]);
    assert_eq!(wild.operator, slipped.operators[slipped.operator[row] as usize]);
    assert_eq!((wild.trial, wild.reading), (slipped.trial[row], slipped.reading[row]));
    assert!((wild.expected - (slipped.reading[row] - 0.1)).abs() < 0.005 && wild.p_value < 1e-6, "{wild:?}");
    let (with, without) = (result.deciding_share, wild.deciding_share.unwrap());
    assert!(with > 1.5 * without && (without / sound.deciding_share - 1.0).abs() < 0.1, "{with} {without}");
    assert!(result.fitness >= wild.fitness.unwrap());
    assert!(result.verdict().standing() >= wild.without.unwrap().standing());
    assert_eq!(result.verdict().standing(), wild.with.unwrap().standing());
}

/// Operators who differ by part are part of the gauge, whatever the model is told to leave out.
#[test]
fn an_interaction_that_is_there_is_not_left_out_by_an_option() {
    let mut table = shims();
    for k in 0..table.reading.len() {
        let sign = if (table.part[k] + table.operator[k]) % 2 == 0 { 1.0 } else { -1.0 };
        table.reading[k] += 0.004 * sign;
    }
    let with = |interaction: Interaction| {
        study(&table, &GaugeOptions { interaction, tolerance: Some(0.14), ..GaugeOptions::default() }).unwrap()
    };
    assert!(with(Interaction::Without).unseen.is_some_and(|why| why.contains("--interaction")));
    assert!(with(Interaction::ByTest).unseen.is_none());
}

#[test]
fn the_published_example_by_analysis_of_variance() {
    let result = study(&published(), &GaugeOptions::default()).unwrap();
    let t = result.table.unwrap();
    for (found, printed, what) in [
        (t.operators.sum_of_squares, 3.16726, "operators"),
        (t.parts.sum_of_squares, 88.36193, "parts"),
        (t.interaction.sum_of_squares, 0.35898, "interaction"),
        (t.repeatability.sum_of_squares, 2.75893, "repeatability"),
        (t.total.sum_of_squares, 94.64711, "total"),
    ] {
        near(found, printed, 1e-5, what);
    }
    near(t.interaction_f, 0.434, 1e-3, "F of the interaction");
    near(t.operators_f, 79.406, 1e-3, "F of operators against the interaction");
    near(t.parts_f, 492.291, 1e-3, "F of parts against the interaction");
    near(t.operators_f_pooled, 39.617, 1e-3, "F of operators, pooled");
    near(t.parts_f_pooled, 245.614, 1e-3, "F of parts, pooled");
    near(t.operators.mean_square() / t.repeatability.mean_square(), 34.440, 1e-3, "F against repeatability");
    near(t.parts.mean_square() / t.repeatability.mean_square(), 213.517, 1e-3, "F against repeatability");
    assert_eq!(result.method, GaugeMethod::AnovaPooled);
    let c = result.components;
    near(c.repeatability.sd, 0.199933, 1e-6, "repeatability");
    near(c.reproducibility.sd, 0.226838, 1e-6, "reproducibility");
    // The print adds the two above after rounding them.
    near(c.gauge.sd, 0.302373, 4e-6, "gauge");
    near(c.parts.sd, 1.042327, 1e-6, "parts");
    near(c.total.sd, 1.085300, 1e-6, "total");
    assert_eq!((c.distinct_categories(), result.fitness), (Some(4), Fitness::NotShown));
    for sd in [c.repeatability, c.reproducibility, c.gauge, c.parts, c.total] {
        assert!(sd.interval.contains(sd.sd) && sd.interval.lower > 0.0, "{sd:?}");
    }
    // Operator means 0.19033, 0.06833 and −0.25433 about the grand mean 0.00144.
    for (o, difference) in result.by_operator.iter().zip([0.18889, 0.06689, -0.25578]) {
        near(o.difference, difference, 1e-5, &o.operator);
        assert!(o.reads_differently);
    }
}

#[test]
fn the_published_example_with_its_interaction() {
    let options = GaugeOptions {
        interaction: Interaction::With,
        tolerance: Some(8.0),
        difference: Some(1.0),
        ..GaugeOptions::default()
    };
    let result = study(&published(), &options).unwrap();
    assert_eq!(result.method, GaugeMethod::AnovaWithInteraction);
    // The interaction's component is negative, −0.00868, and counts as 0.
    let t = result.table.unwrap();
    near((t.interaction.mean_square() - t.repeatability.mean_square()) / 3.0, -0.00868, 1e-5, "interaction");
    assert!(result.components.interaction.unwrap().sd == 0.0);
    let share = 6.0 * result.components.gauge.sd / 8.0;
    assert!((result.deciding_share - share).abs() < 1e-12);
    let d = result.discrimination.unwrap();
    // By the estimate 1 mm is told; what three operators say of all operators leaves that open, however often each of them reads.
    assert!(d.wrong_order < 0.02 && d.smallest_told < 1.0, "{d:?}");
    assert!(!d.can_tell && d.smallest_told_at_most > 1.0 && d.readings_needed.is_none(), "{d:?}");
}

#[test]
fn the_published_example_by_averages_and_ranges() {
    let ar = study(&published(), &GaugeOptions::default()).unwrap().average_and_range.unwrap();
    // K1, K2, K3 are printed to four decimals: 2e-4 of each.
    for (found, printed, what) in [
        (ar.repeatability, 0.201857, "repeatability"),
        (ar.reproducibility, 0.229667, "reproducibility"),
        (ar.gauge, 0.305766, "gauge"),
        (ar.parts, 1.104596, "parts"),
        (ar.total, 1.146135, "total"),
    ] {
        assert!((found - printed).abs() < 2e-4 * printed, "{what}: {found} against {printed}");
    }
    near(100.0 * ar.gauge / ar.total, 26.68, 0.02, "share of total");
    near((1.41 * ar.parts / ar.gauge).floor(), 5.0, 0.1, "distinct categories");
}

/// NIST's pooling of twelve check-standard sds, 5 degrees of freedom each (e-Handbook 2.4): what repeatability by one operator must give.
#[test]
fn pooled_repeatability() {
    let sds = [0.1024, 0.0943, 0.0622, 0.0702, 0.0627, 0.0622, 0.0996, 0.0533, 0.0364, 0.0768, 0.1042, 0.0868];
    let mut table = Readings {
        lots: vec!["wafers".into()],
        parts: (0..12).map(|p| p.to_string()).collect(),
        operators: vec!["one".into()],
        ..Readings::default()
    };
    // Six readings with exactly this sd: ± a, three times, with a²·6/5 = sd².
    for (p, sd) in sds.iter().enumerate() {
        for t in 0..6_u32 {
            let a = sd * (5.0_f64 / 6.0).sqrt();
            table.reading.push(97.0 + p as f64 + if t % 2 == 0 { a } else { -a });
            table.lot.push(0);
            table.part.push(p as u32);
            table.operator.push(0);
            table.trial.push(t + 1);
            table.line.push(1);
        }
    }
    let result = study(&table, &GaugeOptions::default()).unwrap();
    near(result.components.repeatability.sd, 0.0787143517, 1e-9, "pooled sd");
    assert!(result.warnings.contains(&GaugeWarning::OneOperator) && result.components.operators.is_none());
}

#[test]
fn refusals_say_what_is_missing() {
    let mut table = published();
    table.operator.clear();
    assert!(study(&table, &GaugeOptions::default()).unwrap_err().to_string().contains("operator"));
    let mut table = published();
    let keep: Vec<usize> = (0..90).filter(|i| table.trial[*i] == 1).collect();
    for column in [&mut table.lot, &mut table.part, &mut table.operator, &mut table.trial, &mut table.line] {
        *column = keep.iter().map(|&i| column[i]).collect();
    }
    table.reading = keep.iter().map(|&i| table.reading[i]).collect();
    assert!(study(&table, &GaugeOptions::default()).unwrap_err().to_string().contains("repeatability"));
    assert!(study(&published(), &GaugeOptions { tolerance: Some(0.0), ..GaugeOptions::default() }).is_err());
}

fn simulated(parts: u32, operators: u32, trials: u32, seed: u64, keep: impl Fn(u32, u32, u32) -> bool) -> Readings {
    let mut s = Key::new(seed, "gauge study").stream(0);
    let part: Vec<f64> = (0..parts).map(|_| s.normal()).collect();
    let operator: Vec<f64> = (0..operators).map(|_| 0.2 * s.normal()).collect();
    let mut table = Readings {
        lots: vec!["s".into()],
        parts: (0..parts).map(|p| p.to_string()).collect(),
        operators: (0..operators).map(|o| o.to_string()).collect(),
        ..Readings::default()
    };
    for p in 0..parts {
        for o in 0..operators {
            let cell = 0.15 * s.normal();
            for t in 1..=trials {
                let x = part[p as usize] + operator[o as usize] + cell + 0.25 * s.normal();
                if keep(p, o, t) {
                    table.lot.push(0);
                    table.part.push(p);
                    table.operator.push(o);
                    table.trial.push(t);
                    table.reading.push(x);
                    table.line.push(1);
                }
            }
        }
    }
    table
}

/// Generalised intervals hold at least as often as they say, within four binomial standard errors.
#[test]
fn intervals_of_balanced_studies_hold() {
    let trials = 200;
    let truth = [0.25, 0.2, 0.15, (0.25_f64.powi(2) + 0.2_f64.powi(2) + 0.15_f64.powi(2)).sqrt(), 1.0];
    let mut held = [0_u32; 5];
    for seed in 0..trials {
        let options = GaugeOptions { interaction: Interaction::With, ..GaugeOptions::default() };
        let c = study(&simulated(10, 4, 2, seed, |_, _, _| true), &options).unwrap().components;
        for (held, (found, truth)) in held
            .iter_mut()
            .zip([c.repeatability, c.operators.unwrap(), c.interaction.unwrap(), c.gauge, c.parts].iter().zip(truth))
        {
            *held += u32::from(found.interval.contains(truth));
        }
    }
    let allowed = 4.0 * (0.95_f64 * 0.05 / trials as f64).sqrt();
    for (held, what) in held.iter().zip(["repeatability", "operators", "interaction", "gauge", "parts"]) {
        let share = f64::from(*held) / trials as f64;
        assert!(share >= 0.95 - allowed, "{what}: {share}");
    }
}

/// Each operator's interval holds his or her difference from the mean of the operators at hand as often as it says: the scatter over the parts is normal.
#[test]
fn intervals_of_operators_hold() {
    let trials = 400_u64;
    let mut held = 0.0;
    for seed in 0..trials {
        let mut s = Key::new(seed, "gauge study").stream(0);
        // The parts come first in the stream, then the operators.
        let normals: Vec<f64> = (0..14).map(|_| s.normal()).collect();
        let operators: Vec<f64> = normals[10..].iter().map(|z| 0.2 * z).collect();
        let mean = operators.iter().sum::<f64>() / 4.0;
        let result = study(&simulated(10, 4, 2, seed, |_, _, _| true), &GaugeOptions::default()).unwrap();
        for (found, truth) in result.by_operator.iter().zip(&operators) {
            held += f64::from(u8::from(found.interval.unwrap().contains(truth - mean))) / (4 * trials) as f64;
        }
    }
    // The four of a study are not independent: the allowance is that of the studies alone.
    let allowed = 4.0 * (0.95_f64 * 0.05 / trials as f64).sqrt();
    assert!((held - 0.95).abs() < allowed, "{held}");
}

/// A gauge that truly takes 40 % of the tolerance (limits of use: 10 and 30 %), studied 200 times with 10 parts, 3 operators and 3 trials: hardly ever let pass. And one
/// that takes 4 %: hardly ever refused.
#[test]
fn a_gauge_is_let_pass_only_where_it_may_be() {
    let studies = 200_u64;
    let judge = |repeatability: f64, between: f64, seed: u64| {
        let mut s = packdrift_numerics::stream::Key::new(seed, "gauges judged").stream(0);
        let mut table = packdrift_lot::Readings {
            lots: vec!["all".into()],
            parts: (0..10).map(|p| p.to_string()).collect(),
            operators: (0..3).map(|o| o.to_string()).collect(),
            ..packdrift_lot::Readings::default()
        };
        let operators: Vec<f64> = (0..3).map(|_| between * s.normal()).collect();
        for part in 0..10_u32 {
            let size = 0.6 + 0.02 * s.normal();
            for operator in 0..3_u32 {
                for trial in 1..=3_u32 {
                    table.reading.push(size + operators[operator as usize] + repeatability * s.normal());
                    table.lot.push(0);
                    table.part.push(part);
                    table.operator.push(operator);
                    table.trial.push(trial);
                    table.line.push(table.line.len() as u32 + 2);
                }
            }
        }
        let options = GaugeOptions { tolerance: Some(0.06), ..GaugeOptions::default() };
        study(&table, &options).unwrap().verdict().exit_status()
    };
    let passed =
        |repeatability: f64, between: f64| (0..studies).filter(|k| judge(repeatability, between, *k) == 0).count();
    // 40 % of 0.06 is six times 0.004: 0.0032 and 0.0024.
    let let_pass = passed(0.0032, 0.0024);
    assert!(let_pass <= 22, "{let_pass} of {studies}");
    let good = passed(0.0003, 0.000_26);
    assert!(good >= 180, "{good} of {studies}");
}
