//! Packs and results made by hand, so that what is rendered does not move with what is computed. Invented numbers.
#![allow(unreachable_pub, reason = "each test file takes what it needs of these")]
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used, clippy::panic)] // each test file takes what it needs; a broken fixture is a failed test

use packdrift_pack::{
    Bay, Condition, Contact, Dimension, DimensionId, Elastic, LoadTable, Pack, Part, PartKind, Quantity, QuantityKind,
    SolidKind, SpringLaw, SpringWasher, Valve,
};
use packdrift_report::Envelope;
use packdrift_spread::{
    Answer, Capability, CapabilityForm, Change, Contributor, Distribution, Estimate, Failed, Histogram, Input, Joint,
    LimitShare, Limits, Lot, Method, MovedLimits, QUANTILE_ORDERS, Quantile, Questions, Requirement, RequirementResult,
    RootSumSquare, Run, Share, Source, Spread, Stack, StackResult, Together, WorstCase, judge,
};
use packdrift_trend::{
    BandPoint, Compared, CrossingHours, Diagnostics, FaultyDay, FeatureLimits, FeatureResult, FitStatus, GroupLine,
    LeftOut, Limit, Model, ModelKind, NewestReading, Policy, SeriesPoint, Status, StepChange, SuspectedReading,
    TrendResult, ValveForecast, ValveVerdict,
};

const STEEL: f64 = 11.5e-6;
const ELASTIC: Elastic = Elastic { youngs_modulus: 206_000.0, poisson: 0.3 };

/// Collects dimensions as parts name them.
pub struct Builder {
    pub dimensions: Vec<Dimension>,
    pub inputs: Vec<Input>,
}

impl Builder {
    pub fn new() -> Self {
        Self { dimensions: Vec::new(), inputs: Vec::new() }
    }

    pub fn add(&mut self, path: &str, unit: &'static str, nominal: f64, tol: f64, lot: Option<usize>) -> DimensionId {
        self.dimensions.push(Dimension { path: path.into(), unit });
        let limits = (tol > 0.0).then_some(Limits { lower: nominal - tol, upper: nominal + tol });
        let distribution = if tol > 0.0 {
            Distribution::Normal { mean: nominal, sd: tol / 3.0 }
        } else {
            Distribution::Exact { value: nominal }
        };
        self.inputs.push(Input { nominal, limits, distribution, lot, cost: None });
        DimensionId(self.dimensions.len() - 1)
    }

    pub fn mm(&mut self, path: &str, nominal: f64, tol: f64) -> DimensionId {
        self.add(path, "mm", nominal, tol, None)
    }

    pub fn solid(&mut self, bay: &str, name: &str, kind: SolidKind, nominal: f64, lot: Option<usize>) -> Part {
        let thickness = self.add(&format!("{bay}/{name}/thickness"), "mm", nominal, 0.03, lot);
        Part { name: name.into(), kind: PartKind::Solid { kind, thickness, bedding: None }, expansion: STEEL }
    }

    pub fn rocker(&mut self, bay: &str, name: &str) -> Part {
        let width = self.mm(&format!("{bay}/{name}/width"), 24.0, 0.05);
        let adjuster = self.mm(&format!("{bay}/{name}/adjuster"), 11.3, 0.06);
        Part { name: name.into(), kind: PartKind::Rocker { width, adjuster }, expansion: STEEL }
    }

    pub fn spring(&mut self, name: &str, law: SpringLaw) -> Part {
        Part {
            name: name.into(),
            kind: PartKind::Spring(SpringWasher { law, friction: None, set: None }),
            expansion: STEEL,
        }
    }

    pub fn disc(&mut self, bay: &str, name: &str) -> Part {
        let law = SpringLaw::Disc {
            outer_diameter: self.mm(&format!("{bay}/{name}/outer_diameter"), 30.0, 0.0),
            inner_diameter: self.mm(&format!("{bay}/{name}/inner_diameter"), 18.4, 0.0),
            thickness: self.mm(&format!("{bay}/{name}/thickness"), 0.6, 0.02),
            cone_height: self.mm(&format!("{bay}/{name}/cone_height"), 0.6, 0.04),
            elastic: ELASTIC,
        };
        self.spring(name, law)
    }

    pub fn valve(&mut self, bay: &str, name: &str, rocker: usize, stem: f64, with_contact: bool) -> Valve {
        let stem_id = self.mm(&format!("{bay}/{name}/stem"), stem, 0.08);
        let contact = with_contact.then(|| Contact {
            stem_end_diameter: self.mm(&format!("{bay}/{name}/stem_end_diameter"), 8.0, 0.05),
            stem_end_chamfer: self.mm(&format!("{bay}/{name}/stem_end_chamfer"), 0.4, 0.1),
            adjuster_tip_radius: self.mm(&format!("{bay}/{name}/adjuster_tip_radius"), 12.0, 0.5),
            sweep: self.mm(&format!("{bay}/{name}/sweep"), 0.9, 0.05),
            valve_load: self.add(&format!("{bay}/{name}/valve_load"), "N", 620.0, 30.0, None),
            tip_wear: None,
            adjuster: ELASTIC,
            adjuster_expansion: STEEL,
            stem: ELASTIC,
            stem_expansion: STEEL,
        });
        Valve { name: name.into(), rocker, stem: stem_id, contact }
    }
}

/// A two-rocker bay like the demo's, with the valves' contacts.
pub fn usual_bay(b: &mut Builder, name: &str, span: f64) -> Bay {
    let span = b.mm(&format!("{name}/span"), span, 0.06);
    let parts = vec![
        b.solid(name, "left washer", SolidKind::Washer, 1.2, None),
        b.solid(name, "left shim", SolidKind::Shim, 0.4, Some(0)),
        b.rocker(name, "rocker 1 intake"),
        b.disc(name, "spring washer"),
        b.rocker(name, "rocker 1 exhaust"),
        b.solid(name, "right shim", SolidKind::Shim, 0.6, Some(1)),
        b.solid(name, "right washer", SolidKind::Washer, 1.2, None),
    ];
    let valves = vec![b.valve(name, "1 intake", 2, 11.9, true), b.valve(name, "1 exhaust", 4, 36.7, true)];
    Bay { name: name.into(), span, expansion: 23e-6, parts, valves }
}

/// One rocker, every kind of part and every law of spring washer, very thin shims, names that try to break out.
pub fn odd_bay(b: &mut Builder, name: &str) -> Bay {
    let span = b.mm(&format!("{name}/span"), 41.0, 0.06);
    let mm = |b: &mut Builder, what: &str, v: f64| b.mm(&format!("{name}/{what}"), v, 0.0);
    let wave = SpringLaw::Wave {
        outer_diameter: mm(b, "wave/od", 30.0),
        inner_diameter: mm(b, "wave/id", 22.0),
        thickness: mm(b, "wave/t", 0.4),
        free_height: mm(b, "wave/h", 2.4),
        waves: 3,
        factor: 3.88,
        solid_height: None,
        elastic: ELASTIC,
    };
    let curved = SpringLaw::Curved {
        outer_diameter: mm(b, "curved/od", 30.0),
        inner_diameter: mm(b, "curved/id", 22.0),
        thickness: mm(b, "curved/t", 0.3),
        free_height: mm(b, "curved/h", 2.0),
        solid_height: None,
        elastic: ELASTIC,
    };
    let linear = SpringLaw::Linear {
        rate: b.add(&format!("{name}/linear/rate"), "N/mm", 100.0, 0.0, None),
        free_height: mm(b, "linear/h", 3.0),
        solid_height: None,
    };
    let table = SpringLaw::Table {
        curve: LoadTable { deflection: vec![0.0, 0.4, 0.8, 1.2], load: vec![0.0, 60.0, 110.0, 180.0] },
        free_height: mm(b, "table/h", 2.6),
        solid_height: None,
    };
    let parts = vec![
        b.solid(name, "shim <b>0.15</b>", SolidKind::Shim, 0.15, None),
        b.solid(name, "shim \"0.25\" & co", SolidKind::Shim, 0.25, None),
        b.solid(name, "spacer", SolidKind::Spacer, 4.0, None),
        b.spring("wave <script>alert(1)</script>", wave),
        b.rocker(name, "rocker with a name that is far too long to fit between two lines"),
        b.spring("curved", curved),
        b.spring("linear", linear),
        b.spring("table", table),
        b.solid(name, "washer", SolidKind::Washer, 3.0, None),
        b.solid(name, "shim 0.15", SolidKind::Shim, 0.15, None),
    ];
    let valves = vec![b.valve(name, "lone & only", 4, 17.2, false)];
    Bay { name: name.into(), span, expansion: 23e-6, parts, valves }
}

pub fn pack_of(b: &Builder, title: &str, bays: Vec<Bay>) -> Pack {
    Pack {
        title: title.into(),
        reference_temperature: 20.0,
        conditions: vec![
            Condition { name: "assembly".into(), temperature: 20.0 },
            Condition { name: "running".into(), temperature: 95.0 },
        ],
        bays,
        dimensions: b.dimensions.clone(),
    }
}

/// The usual bay with its requirements.
pub fn stack() -> Stack {
    let mut b = Builder::new();
    let bay = usual_bay(&mut b, "cylinder 1", 52.2);
    let pack = pack_of(&b, "Two-cylinder pump engine, first bay (invented)", vec![bay]);
    let requirement = |name: &str, quantity, condition, lower, upper, max_out| Requirement {
        name: name.into(),
        quantity,
        condition,
        lower,
        upper,
        target: None,
        max_out,
    };
    Stack {
        pack,
        inputs: b.inputs,
        lots: vec![
            Lot { name: "shim 0.40".into(), bias: 0.002, between: 0.006 },
            Lot { name: "shim 0.60".into(), bias: 0.024, between: 0.009 },
        ],
        correlations: vec![],
        requirements: vec![
            requirement("offset, 1 intake", Quantity::Offset { bay: 0, valve: 0 }, 1, Some(0.85), Some(1.15), 0.0027),
            requirement("offset, 1 exhaust", Quantity::Offset { bay: 0, valve: 1 }, 1, Some(0.75), Some(1.05), 0.0027),
            requirement("preload", Quantity::Preload { bay: 0 }, 0, Some(150.0), None, 0.0027),
            requirement(
                "edge margin, 1 exhaust",
                Quantity::EdgeMargin { bay: 0, valve: 1 },
                1,
                Some(1.5),
                None,
                0.0027,
            ),
            requirement("height", Quantity::Height { bay: 0, part: 3 }, 0, None, None, 0.0027),
        ],
    }
}

/// Density of N(0, 1) without a library: for pictures.
fn phi(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// A result for one requirement as a normal with this mean and sd would give it.
pub fn requirement_result(
    stack: &Stack,
    index: usize,
    (mean, sd): (f64, f64),
    out: Share,
    worst: (Option<f64>, Option<f64>),
    contributors: &[(&str, f64, f64)],
) -> RequirementResult {
    let r = &stack.requirements[index];
    let x: Vec<f64> = stack.inputs.iter().map(|i| i.nominal).collect();
    let kind: QuantityKind = r.quantity.kind();
    let bins = 120;
    let width = 9.0 * sd / f64::from(bins);
    let histogram = Histogram {
        lower: mean - 4.5 * sd,
        width,
        shares: (0..bins).map(|k| phi(-4.5 + 9.0 * (f64::from(k) + 0.5) / f64::from(bins)) * width / sd).collect(),
        below: 3.4e-6,
        above: 3.4e-6,
    };
    let z = [-3.0, -1.959964, 0.0, 1.959964, 3.0];
    RequirementResult {
        name: r.name.clone(),
        quantity: kind,
        point: None,
        condition: stack.pack.conditions[r.condition].name.clone(),
        unit: kind.unit(),
        lower: r.lower,
        upper: r.upper,
        target: r.target.or_else(|| Some((r.lower? + r.upper?) / 2.0)),
        max_out: r.max_out,
        nominal: stack.pack.evaluate(&r.quantity, r.condition, &x).middle(),
        worst_case: WorstCase {
            min: worst.0,
            max: worst.1,
            at_min: vec![],
            at_max: vec![],
            loose: false,
            cannot_assemble: false,
        },
        root_sum_square: Some(RootSumSquare { mean, sd: sd * 1.01 }),
        spread: Spread {
            trials: 1_000_000,
            mean: Some(mean),
            sd: Some(sd),
            standard_error: Some(sd / 1000.0),
            quantiles: QUANTILE_ORDERS
                .iter()
                .zip(z)
                .map(|(&order, z)| Quantile { order, value: mean + z * sd, standard_error: Some(sd / 500.0) })
                .collect(),
            method: Method::MonteCarlo,
            moments_method: Method::MonteCarlo,
            out,
            cannot_assemble: 0.0,
            loose: 0.0,
            histogram: Some(histogram),
        },
        capability: match (r.lower, r.upper) {
            (Some(l), Some(u)) => {
                let (cp, cpk) = ((u - l) / (6.0 * sd), (u - mean).min(mean - l) / (3.0 * sd));
                Capability { cp: Some(cp), cpk: Some(cpk), pp: Some(cp), ppk: Some(cpk), form: CapabilityForm::Normal }
            }
            (Some(l), None) => {
                let cpk = (mean - l) / (3.0 * sd);
                Capability { cp: None, cpk: Some(cpk), pp: None, ppk: Some(cpk), form: CapabilityForm::Percentile }
            }
            _ => Capability { cp: None, cpk: None, pp: None, ppk: None, form: CapabilityForm::Normal },
        },
        contributors: contributors
            .iter()
            .map(|&(dimension, sensitivity, variance_share)| Contributor {
                dimension: dimension.into(),
                source: stack
                    .pack
                    .dimensions
                    .iter()
                    .position(|d| d.path == dimension)
                    .map_or(Source::Lot(0), Source::Input),
                sensitivity,
                variance_share,
                sobol_first: Some(Estimate { value: variance_share, standard_error: 0.002 }),
                sobol_total: None,
            })
            .collect(),
        verdict: (r.lower.is_some() || r.upper.is_some()).then(|| judge(&out, r.max_out)),
        doubts: Vec::new(),
        never_binds: Vec::new(),
        acceptable: out.bounds.1 <= r.max_out,
        moved: Some(MovedLimits {
            lower: [(-4.0, 3.167e-5), (-3.0, 1.35e-3), (-2.0, 0.02275), (0.0, 0.5), (3.0, 0.99865)]
                .map(|(z, share)| LimitShare { limit: mean + z * sd, share })
                .to_vec(),
            upper: [(-3.0, 0.99865), (0.0, 0.5), (2.0, 0.02275), (3.0, 1.35e-3), (4.0, 3.167e-5)]
                .map(|(z, share)| LimitShare { limit: mean + z * sd, share })
                .to_vec(),
        }),
    }
}

pub fn share(below: f64, above: f64, standard_error: f64) -> Share {
    let total = below + above;
    let low = (total - 1.96 * standard_error).max(0.0);
    let bounds = ((total - 3.0 * standard_error).max(0.0), total + 3.0 * standard_error);
    Share { below, above, total, standard_error, ci95: (low, total + 1.96 * standard_error), bounds }
}

pub fn stack_result(stack: &Stack) -> StackResult {
    let intake = [
        ("cylinder 1/1 intake/stem", -1.00173, 0.449),
        ("cylinder 1/rocker 1 intake/adjuster", 1.00086, 0.252),
        ("cylinder 1/left shim/thickness", 1.00086, 0.063),
        ("cylinder 1/left washer/thickness", 1.00086, 0.063),
        ("lot/shim 0.40", 1.00086, 0.023),
        ("cylinder 1/span", 0.0, 0.0),
    ];
    let exhaust = [
        ("cylinder 1/1 exhaust/stem", -1.00173, 0.2497),
        ("cylinder 1/span", 1.00173, 0.1404),
        ("cylinder 1/rocker 1 exhaust/adjuster", 1.00086, 0.1402),
        ("cylinder 1/rocker 1 exhaust/width", -1.00086, 0.0973),
        ("cylinder 1/right shim/thickness", -1.00086, 0.0351),
        ("cylinder 1/right washer/thickness", -1.00086, 0.0350),
        ("lot/shim 0.60", -1.00086, 0.0284),
        ("lot/shim 0.40", 0.01, 0.004),
        ("cylinder 1/spring washer/thickness", 0.2, 0.003),
        ("cylinder 1/spring washer/cone_height", 0.2, 0.002),
        ("cylinder 1/left shim/thickness", 0.001, 0.001),
        ("cylinder 1/left washer/thickness", 0.001, 0.001),
    ];
    let preload = [
        ("cylinder 1/rocker 1 intake/width", 812.3, 0.21),
        ("cylinder 1/rocker 1 exhaust/width", 812.3, 0.21),
        ("cylinder 1/span", -812.3, 0.30),
        ("cylinder 1/spring washer/cone_height", 401.0, 0.13),
        ("cylinder 1/spring washer/thickness", 2200.0, 0.15),
    ];
    StackResult {
        length_unit: "mm",
        requirements: vec![
            requirement_result(
                stack,
                0,
                (0.9983, 0.0398),
                share(0.0001, 0.00007, 0.000013),
                (Some(0.82), Some(1.18)),
                &intake,
            ),
            requirement_result(
                stack,
                1,
                (0.9127, 0.0536),
                share(0.0012, 0.0052, 0.00008),
                (Some(0.68), Some(1.15)),
                &exhaust,
            ),
            requirement_result(stack, 2, (412.0, 61.0), share(0.0, 0.0, 0.0), (Some(0.0), Some(2105.0)), &preload),
            requirement_result(
                stack,
                3,
                (2.10, 0.045),
                Share { ci95: (0.0, 3.0e-6), bounds: (0.0, 3.7e-6), ..share(0.0, 0.0, 0.0) },
                (Some(1.7), Some(2.4)),
                &exhaust[..4],
            ),
            requirement_result(stack, 4, (0.83, 0.028), share(0.0, 0.0, 0.0), (None, None), &[]),
        ],
        questions: questions(&exhaust),
        accuracy: None,
        joint: Some(Joint {
            out: Estimate { value: 0.00652, standard_error: 0.00008 },
            ci95: (0.00636, 0.00668),
            bound: 0.0068,
            sum: 0.00657,
            correlation: vec![
                vec![Some(1.0), Some(-0.13), Some(0.31), Some(0.0), None],
                vec![Some(-0.13), Some(1.0), Some(-0.42), Some(-0.93), None],
                vec![Some(0.31), Some(-0.42), Some(1.0), Some(0.4), None],
                vec![Some(0.0), Some(-0.93), Some(0.4), Some(1.0), None],
                vec![None; 5],
            ],
        }),
        run: Run { seed: 1953, algorithm: "chacha8/ziggurat-1", trials: 1_000_000, failed: Failed::default() },
        warnings: vec![],
    }
}

/// Answers for the second requirement alone; the others were not asked.
fn questions(exhaust: &[(&str, f64, f64)]) -> Questions {
    let answers = exhaust
        .iter()
        .enumerate()
        .map(|(k, &(dimension, sensitivity, share))| Answer {
            dimension: dimension.into(),
            source: Source::Input(k),
            may_open: if share < 0.0015 {
                Some(f64::INFINITY)
            } else if share > 0.1 {
                Some(0.3 + 0.1 * k as f64)
            } else {
                None
            },
            out_if_perfect: Some(0.0064 * (1.0 - share * 2.6)),
            share_outside_due_to: Some(0.0064 * share * 2.6),
            shift_to_centre: Some(-0.0127 / sensitivity),
            out_if_shifted: Some(0.0059),
        })
        .collect();
    Questions {
        answers: vec![vec![], answers, vec![], vec![], vec![]],
        together: vec![Together {
            first: 0,
            second: 1,
            correlation: Some(-0.13),
            rank_correlation: Some(-0.12),
            both_out: 1e-6,
            either_out: 0.00652,
        }],
        changes: vec![Change {
            name: "offset, 1 exhaust".into(),
            from: "assembly".into(),
            to: "running".into(),
            nominal: Some(0.0137),
            mean: Some(0.0135),
            sd: Some(0.00004),
            out: 0.0011,
        }],
    }
}

pub fn envelope(command: &str) -> Envelope {
    Envelope {
        version: "0.1.0".into(),
        command: command.into(),
        arguments: vec![],
        inputs: vec![(
            "demo/pack.toml".into(),
            "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08".into(),
        )],
        seed: Some(1953),
        warnings: vec!["preload · assembly: no trial was outside, so the share is an upper bound <only>.".into()],
    }
}

pub fn policy() -> Policy {
    let mut policy = Policy { risk: 0.05, horizon: 2000.0, usage_default: Some(42.0), ..Policy::default() };
    let limits = FeatureLimits { unit: "mm".into(), lower: Some(0.4), upper: Some(1.6), reading_sd: None };
    policy.features.insert("contact_offset".into(), limits);
    policy
}

fn band(level: f64, slope: f64, now: f64, start: f64, se: f64) -> Vec<BandPoint> {
    (0..=40)
        .map(|k| {
            let hours = start + (now + 3000.0 - start) * f64::from(k) / 40.0;
            let fit = level + slope * (hours - now);
            let half = 1.96 * (se + 4e-6 * (hours - now).max(0.0) + 6e-6 * (now - hours).max(0.0));
            BandPoint {
                hours,
                fit,
                low: fit - half,
                high: fit + half,
                reading_low: fit - half - 0.04,
                reading_high: fit + half + 0.04,
            }
        })
        .collect()
}

/// A valve whose readings wobble about its line by a fixed pattern.
pub fn valve(
    engine: &str,
    name: &str,
    level: f64,
    slope: f64,
    now: f64,
    status: Option<Status>,
    chance: Option<f64>,
) -> ValveForecast {
    let limit = if slope >= 0.0 { 1.6 } else { 0.4 };
    let left = if slope == 0.0 { f64::INFINITY } else { ((limit - level) / slope).max(0.0) };
    let crossing = |factor: f64| Some(now + left * factor).filter(|h| h.is_finite());
    let start = now - 4200.0;
    let wobble = |k: i32| [0.012, -0.02, 0.004, 0.018, -0.011, 0.002, -0.007, 0.009][k.unsigned_abs() as usize % 8];
    let mut series: Vec<SeriesPoint> = (0..4)
        .map(|k| SeriesPoint {
            hours: start - 1500.0 + 400.0 * f64::from(k),
            day: Some(19_500 + 60 * k),
            value: 1.25 + 0.04 * f64::from(k) + wobble(k),
            weight: 1.0,
            doubted: false,
            segment: 1,
            line: 0,
        })
        .collect();
    series.extend((0..8).map(|k| {
        let hours = start + 600.0 * f64::from(k);
        SeriesPoint {
            hours,
            day: Some(19_760 + 85 * k),
            value: level + slope * (hours - now) + wobble(k) + if k == 4 { 0.13 } else { 0.0 },
            weight: if k == 4 { 0.07 } else { 1.0 },
            doubted: k == 4,
            segment: 2,
            line: 0,
        }
    }));
    let newest = NewestReading { value: level, day: 19_760 + 85 * 7, hours: now, line: 0, weight: 1.0, believed: true };
    ValveForecast {
        valve_index: 0,
        engine: engine.into(),
        valve: name.into(),
        group: if name.contains("exhaust") { "exhaust" } else { "intake" }.into(),
        segment: 2,
        readings: 8,
        hours: now,
        // Read on the day of the answer.
        today: Some(newest.day),
        since_read: 0.0,
        // As its readings are dated: 4200 h in 595 days.
        hours_a_week: Some(4200.0 / 595.0 * 7.0),
        segment_start: start,
        level,
        level_se: 0.012,
        slope,
        slope_se: 4.1e-6,
        level_slope_cov: 1e-8,
        drifting_to: Some(if slope >= 0.0 { Limit::Upper } else { Limit::Lower }),
        crossing_hours: CrossingHours {
            p05: crossing(0.85),
            p50: crossing(1.0),
            p95: crossing(1.3).filter(|_| left < 9000.0),
        },
        chance_now: chance.map(|c| if status == Some(Status::Overdue) { c } else { 0.0 }),
        chance_by_horizon: chance,
        status,
        verdict: chance.map(|c| verdict(status, c)),
        newest: Some(newest),
        series,
        prospect: packdrift_trend::Prospect::default(),
        band: band(level, slope, now, start, 0.012),
    }
}

/// What a status and a chance come of, by a risk of 0.05.
fn verdict(status: Option<Status>, chance: f64) -> ValveVerdict {
    let policy = Policy { risk: 0.05, horizon: 2000.0, ..Policy::default() };
    let limits = FeatureLimits { lower: Some(0.4), upper: Some(1.6), ..FeatureLimits::default() };
    let now = if status == Some(Status::Overdue) { chance } else { 0.0 };
    ValveVerdict::of_chances(&policy, &limits, None, now, chance)
}

pub fn model() -> Model {
    let group = |name: &str, slope: f64| GroupLine {
        group: name.into(),
        segments: 48,
        intercept: 1.003,
        intercept_se: 0.011,
        slope,
        slope_se: 2.1e-6,
    };
    Model {
        kind: ModelKind::RandomSlope,
        intercept: 1.003,
        slope: 3.0e-5,
        intercept_se: 0.008,
        slope_se: 1.5e-6,
        sd_intercept: 0.061,
        sd_slope: 1.2e-5,
        corr: -0.12,
        sd_wander: 0.0,
        sd_reading: 0.0203,
        sd_visit: None,
        sd_engine_slope: None,
        sd_valve_slope: None,
        reading_df: Some(4.0),
        power: None,
        power_hours: None,
        growth: None,
        gamma: None,
        log_likelihood: Some(1234.5),
        parameters: 7,
        groups: vec![group("exhaust", 4.1e-5), group("intake", 1.9e-5)],
    }
}

pub fn trend_result() -> TrendResult {
    let mut valves = vec![
        valve("E07", "1 exhaust", 1.63, 5.2e-5, 9120.0, Some(Status::Overdue), Some(0.993)),
        valve("E03", "2 exhaust", 1.54, 4.4e-5, 8030.0, Some(Status::Due), Some(0.71)),
        valve("E12", "1 intake", 0.47, -3.1e-5, 10_400.0, Some(Status::Due), Some(0.22)),
        valve("E05", "2 intake", 1.41, 4.9e-5, 6110.0, Some(Status::Watch), Some(0.031)),
    ];
    for i in 0..44 {
        let f = f64::from(i);
        let engine = format!("E{:02}", i % 24 + 1);
        let name = ["1 intake", "1 exhaust", "2 intake", "2 exhaust"][(i % 4) as usize];
        let level = 0.92 + 0.007 * f + 0.05 * (f * 1.7).sin();
        valves.push(valve(
            &engine,
            name,
            level,
            2.4e-5 + 1.1e-5 * (f * 2.3).cos(),
            5000.0 + 90.0 * f,
            Some(Status::InWindow),
            Some(1e-4 * f),
        ));
    }
    TrendResult {
        today: Some(19_760 + 85 * 7),
        features: vec![FeatureResult {
            feature: "contact_offset".into(),
            limits: policy().features.get("contact_offset").cloned(),
            method: "REML",
            rows: 812,
            valves_count: valves.len(),
            segments: 96,
            engines: 24,
            diagnostics: Diagnostics {
                status: FitStatus::Ok,
                reason: String::new(),
                evaluations: 31,
                newton_decrement: 2e-12,
                average_points: 64,
                average_effective: 58.2,
            },
            model: Some(model()),
            compared: vec![Compared {
                model: "random-slope".into(),
                kind: ModelKind::RandomSlope,
                log_likelihood: Some(1240.0),
                parameters: 7,
                bic: Some(-2433.0),
                chosen: true,
                weight: 1.0,
                note: String::new(),
            }],
            valves,
            wander_carried: None,
            valve_slope_carried: None,
            backtest: vec![],
            fleet: vec![],
            suspected: vec![SuspectedReading {
                engine: "E05".into(),
                valve: "2 intake".into(),
                line: 231,
                day: 20_100,
                hours: 4310.0,
                value: 1.52,
                expected: 1.387,
                standardised: 6.1,
                weight: 0.07,
                newest: false,
            }],
            steps: vec![StepChange {
                engine: "E11".into(),
                valve: "2 exhaust".into(),
                line: 404,
                day: 20_240,
                hours: 7120.0,
                size: -0.163,
                size_se: 0.017,
                readings_after: 4,
            }],
            faulty_days: vec![FaultyDay {
                day: 20_195,
                readings: 24,
                engines: vec!["E01".into(), "E02".into()],
                shift: 0.081,
                shift_se: 0.005,
                set_aside: true,
            }],
        }],
        rows: 836,
        left_out: vec![LeftOut {
            reason: "read on a day when the instrument was off".into(),
            rows: 24,
            first_lines: vec![300, 301],
        }],
        warnings: vec![],
    }
}
