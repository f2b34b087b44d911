//! Are the stated errors honest, fleet after fleet?
//!
//! One fleet may be luck. The demo's generator makes twenty more, each with its own mishaps: misread figures, a day's faulty instrument, a
//! pack that slipped, a packet that was off, valves re-shimmed early and late. A forecast sees the readings; the generator knows the truth.
//! Three steps:
//!
//! 1. forecast each fleet by `auto`, and by each model asked for by name;
//! 2. count how many true offsets and true mean slopes lie within 1.96 of their stated errors;
//! 3. lay the counts beside the 95 % that were promised.

use crate::chart::{Chart, Mark, Series};
use maud::html;
use packdrift_demo::{DemoFile, Fleet, TrueValve};
use packdrift_report::figure::ink::Ink;
use packdrift_report::number;
use packdrift_report::page::{Answer, Page, Section};
use packdrift_report::table::Standing;
use packdrift_trend::{Inspections, ModelChoice, Options, trend};
use std::error::Error;

/// Fleets made.
const FLEETS: u64 = 20;
const ASKED: [ModelChoice; 3] = [ModelChoice::Auto, ModelChoice::RandomSlope, ModelChoice::Wiener];

/// Truths held, of how many.
#[derive(Debug, Clone, Copy, Default)]
struct Held {
    valves: usize,
    levels: usize,
    slopes: usize,
}

pub(crate) fn study() -> Result<Page, Box<dyn Error>> {
    let mut fleets = Vec::new();
    for seed in 1..=FLEETS {
        let inspections = made(seed)?;
        let fleet = Fleet::generate(seed);
        let mut held = [Held::default(); ASKED.len()];
        for (held, model) in held.iter_mut().zip(ASKED) {
            let options = Options { model, series_up_to: 0, ..Options::default() };
            held.count(&trend(&inspections, None, &options)?, fleet.truth())?;
        }
        fleets.push(held);
    }
    let mut held = [Held::default(); ASKED.len()];
    for fleet in &fleets {
        held.iter_mut().zip(fleet).for_each(|(all, one)| all.add(one));
    }
    let figure = by_fleet(&fleets)?;
    let share = |part: usize, h: &Held| 100.0 * part as f64 / h.valves as f64;
    let auto = held.first().ok_or("auto is asked for")?;
    // Valves of a fleet share its mean lines: twice the binomial error is allowed.
    let error = 100.0 * (0.95 * 0.05 / auto.valves as f64).sqrt();
    let honest =
        [auto.levels, auto.slopes].into_iter().all(|part| (share(part, auto) - 95.0).abs() < 3.5 * 2.0 * error);
    let percent = |x: f64| number::fixed(x, 1);
    Ok(Page {
        title: "Twenty fleets: are the stated errors honest?".into(),
        kind: "Study".into(),
        notice: "Invented data: the fleets and their truth are made by packdrift's own generator.".into(),
        answer: Some(Answer {
            standing: if honest { Standing::Good } else { Standing::Attend },
            sentence: format!(
                "By auto, {} % of the true offsets and {} % of the true slopes of {} lie in their 95 % interval.",
                percent(share(auto.levels, auto)),
                percent(share(auto.slopes, auto)),
                number::counted(auto.valves, "valve"),
            ),
            advice: "Ask for a model by name only where you know that wear follows it.".into(),
        }),
        sections: vec![Section::new(
            "Truths held by 95 % intervals",
            html! {
                table {
                    thead { tr { th { "model" } th { "true offset, %" } th { "true mean slope, %" } } }
                    tbody {
                        @for (held, model) in held.iter().zip(ASKED) {
                            tr {
                                td { (model.name()) }
                                td { (percent(share(held.levels, held))) }
                                td { (percent(share(held.slopes, held))) }
                            }
                        }
                    }
                }
                (figure.html())
                p { "The generator's offsets wander by 0.0003 mm times the root of the hours about their line: half a reading's error from one look to \
                     the next, too little to show in one valve's readings and enough to move its slope over years. A straight line without wander \
                     takes that for drift and states too small an error. Auto keeps the wander in its forecasts where the readings do not rule it \
                     out; a model asked for by name is taken at its word, bad readings included." }
            },
        )],
        cautions: Vec::new(),
    })
}

/// A fleet's readings of the offset, by way of the file, as a user would have them. Levels and slopes need no policy.
fn made(seed: u64) -> Result<Inspections, Box<dyn Error>> {
    let folder = std::env::temp_dir().join(format!("packdrift-many-fleets-{}-{seed}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    for DemoFile { name, contents, .. } in packdrift_demo::files(seed) {
        let offsets = |line: &&str| !line.contains("stem_wear,");
        if name == "inspections.csv" {
            std::fs::write(folder.join(name), contents.lines().filter(offsets).collect::<Vec<_>>().join("\n"))?;
        }
    }
    let inspections =
        packdrift_records::read_inspections(&folder.join("inspections.csv"), &packdrift_records::Options::default())?
            .value;
    std::fs::remove_dir_all(&folder)?;
    Ok(inspections)
}

/// Slopes held, fleet by fleet.
fn by_fleet(fleets: &[[Held; ASKED.len()]]) -> Result<packdrift_report::Figure, packdrift_report::Error> {
    let of = |model: usize| -> Vec<(f64, f64)> {
        let share = |held: &Held| 100.0 * held.slopes as f64 / held.valves as f64;
        fleets.iter().enumerate().map(|(k, held)| (k as f64 + 1.0, share(&held[model]))).collect()
    };
    let chart = Chart {
        id: "slopes held",
        title: "True slopes inside their 95 % interval, fleet by fleet",
        description: format!(
            "A line for auto near the promised 95 % in all of {} fleets, and dots for random-slope by name, most of them lower.",
            fleets.len()
        ),
        caption: "The nearer to the dashed line, the more honest the stated errors.",
        x: "fleet",
        y: "true slopes inside, %",
        holds: &[100.0],
    };
    let promised = vec![(1.0, 95.0), (fleets.len() as f64, 95.0)];
    chart.figure(&[
        Series { label: "promised".into(), ink: Ink::Muted, mark: Mark::Dashes, points: promised },
        Series { label: ASKED[0].name().into(), ink: Ink::Main, mark: Mark::Line, points: of(0) },
        Series { label: ASKED[1].name().into(), ink: Ink::Second, mark: Mark::Dots, points: of(1) },
    ])
}

impl Held {
    fn add(&mut self, other: &Self) {
        self.valves += other.valves;
        self.levels += other.levels;
        self.slopes += other.slopes;
    }

    fn count(&mut self, result: &packdrift_trend::TrendResult, truths: &[TrueValve]) -> Result<(), Box<dyn Error>> {
        let offset =
            result.features.iter().find(|f| f.feature == "contact_offset").ok_or("the demo has contact offsets")?;
        for v in &offset.valves {
            let truth = truths.iter().find(|t| t.engine == v.engine && t.valve == v.valve);
            let truth = truth.ok_or("every valve has its truth")?;
            self.valves += 1;
            self.levels += usize::from((truth.level - v.level).abs() <= 1.96 * v.level_se);
            self.slopes += usize::from((truth.slope - v.slope).abs() <= 1.96 * v.slope_se);
        }
        Ok(())
    }
}
