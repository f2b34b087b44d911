//! Are the stated errors honest, fleet after fleet?
//!
//! One fleet may be luck. The demo's generator makes eighty more, each with its own mishaps: misread figures, a day's faulty instrument, a
//! pack that slipped, a packet that was off, valves re-shimmed early and late. A forecast sees the readings; the generator knows the truth.
//! Three steps:
//!
//! 1. forecast each fleet by `auto`, and by each model asked for by name;
//! 2. count how many true offsets and true mean slopes lie within 1.96 of their stated errors, all valves and the re-shimmed alone;
//! 3. lay the shares beside the 95 % that were promised, with the standard error of a share whose valves come in fleets.

use crate::chart::{Chart, Mark, Series};
use maud::html;
use packdrift_demo::{DemoFile, Fleet, TrueValve};
use packdrift_report::figure::ink::Ink;
use packdrift_report::number;
use packdrift_report::page::{Answer, Page, Section};
use packdrift_report::table::{Cell, Column, Standing, Table};
use packdrift_trend::{Inspections, ModelChoice, Options, trend};
use std::error::Error;

/// Fleets made.
const FLEETS: u64 = 80;
const ASKED: [ModelChoice; 3] = [ModelChoice::Auto, ModelChoice::RandomSlope, ModelChoice::Wiener];

/// Truths held by one fleet's intervals, of how many.
#[derive(Debug, Clone, Copy, Default)]
struct Held {
    valves: usize,
    levels: usize,
    slopes: usize,
    /// Of the valves that were re-shimmed.
    again: usize,
    again_slopes: usize,
}

/// A share over fleets, %, and its standard error.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Share {
    pub(crate) percent: f64,
    pub(crate) error: f64,
}

impl Share {
    /// Of (held, of how many) by fleet. The valves of one fleet share its fitted variances and mean lines, so fleets are what scatters: the
    /// variance of the ratio Σa/Σn is Σ(a − pn)²/(Σn)²·F/(F − 1) (W. Cochran, Sampling Techniques, 1977, section 6.4).
    pub(crate) fn of(fleets: impl Iterator<Item = (usize, usize)> + Clone) -> Self {
        let (held, all) = fleets.clone().fold((0, 0), |(a, n), (x, y)| (a + x, n + y));
        let p = held as f64 / all.max(1) as f64;
        let count = fleets.clone().count() as f64;
        let squares: f64 = fleets.map(|(a, n)| (a as f64 - p * n as f64).powi(2)).sum();
        Self { percent: 100.0 * p, error: 100.0 * (squares * count / (count - 1.0)).sqrt() / all.max(1) as f64 }
    }

    fn text(self) -> String {
        format!("{} ± {}", number::fixed(self.percent, 1), number::fixed(self.error, 1))
    }

    /// Within 3.5 standard errors of what was promised.
    fn honest(self) -> bool {
        (self.percent - 95.0).abs() < 3.5 * self.error
    }
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
    let figure = by_fleet(&fleets)?;
    let share = |model: usize, of: fn(&Held) -> (usize, usize)| Share::of(fleets.iter().map(move |f| of(&f[model])));
    let levels = |model| share(model, |h| (h.levels, h.valves));
    let slopes = |model| share(model, |h| (h.slopes, h.valves));
    let again = |model| share(model, |h| (h.again_slopes, h.again));
    let valves: usize = fleets.iter().map(|f| f[0].valves).sum();
    let mut held = Table::new(
        "held",
        "Shares of truths inside their interval, by the model asked for",
        vec![
            Column::text("model"),
            Column::text("true offset, %"),
            Column::text("true mean slope, %"),
            Column::text("slope of a re-shimmed valve, %"),
        ],
    );
    for (k, model) in ASKED.iter().enumerate() {
        held.push(vec![
            Cell::text(model.name()),
            Cell::text(levels(k).text()),
            Cell::text(slopes(k).text()),
            Cell::text(again(k).text()),
        ]);
    }
    Ok(Page {
        lead: None,
        title: "Eighty fleets: are the stated errors honest?".into(),
        kind: "Study".into(),
        notice: "Invented data: the fleets and their truth are made by packdrift's own generator.".into(),
        answer: Some(Answer {
            standing: if levels(0).honest() && slopes(0).honest() { Standing::Good } else { Standing::Attend },
            sentence: format!(
                "By auto, {} % of the true offsets and {} % of the true slopes of {} lie in their 95 % interval.",
                levels(0).text(),
                slopes(0).text(),
                number::counted(valves, "valve"),
            ),
            advice: "Ask for a model by name only where you know that wear follows it.".into(),
        }),
        sections: vec![Section::new(
            "Truths held by 95 % intervals",
            html! {
                (held.html())
                p { "After ±: the standard error of the share. The valves of a fleet share its fitted variances: where the readings happen to show \
                     too little wander all its slopes are stated too sure, so it is fleets that scatter, and the error is that of fleets." }
                (figure.html())
                p { "The generator's offsets wander by 0.0003 mm times the root of the hours about their line: half a reading's error from one look to \
                     the next, too little to show in one valve's readings and enough to move its slope over years. A straight line without wander \
                     takes that for drift and states too small an error. Auto keeps the wander in its forecasts where the readings do not rule it \
                     out; a model asked for by name is taken at its word, bad readings included. Valves are re-shimmed because they drift fast, and \
                     a re-shim leaves the slope as it was: auto finds that and tells such a valve's slope from all of its readings." }
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
            "A line for auto about the promised 95 % over {} fleets, and dots for random-slope by name, most of them lower.",
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
    fn count(&mut self, result: &packdrift_trend::TrendResult, truths: &[TrueValve]) -> Result<(), Box<dyn Error>> {
        let offset =
            result.features.iter().find(|f| f.feature == "contact_offset").ok_or("the demo has contact offsets")?;
        for v in &offset.valves {
            let truth = truths.iter().find(|t| t.engine == v.engine && t.valve == v.valve);
            let truth = truth.ok_or("every valve has its truth")?;
            let slope = usize::from((truth.slope - v.slope).abs() <= 1.96 * v.slope_se);
            self.valves += 1;
            self.levels += usize::from((truth.level - v.level).abs() <= 1.96 * v.level_se);
            self.slopes += slope;
            if truth.segment > 1 {
                self.again += 1;
                self.again_slopes += slope;
            }
        }
        Ok(())
    }
}
