//! How wide must the forecasts of a small fleet be?
//!
//! What a fleet of four valves tells of how valves differ is next to nothing, and a forecast that takes its fitted variances at their word
//! is too sure. Fleets of 4, 10, 30 and 100 valves are made, 3 to 10 readings a valve; half of them wander about their lines. Three steps:
//!
//! 1. forecast every valve's true offset 3000 hours ahead by the model that made the fleet, with the fitted variances alone and averaged
//!    over what is not known of them;
//! 2. count how many true offsets lie inside the central 50, 80 and 95 % intervals;
//! 3. lay the shares beside what was promised, with the standard error of a share whose valves come in fleets.

use crate::chart::{Chart, Mark, Series};
use crate::many_fleets::Share;
use maud::html;
use packdrift_report::figure::ink::Ink;
use packdrift_report::number;
use packdrift_report::page::{Answer, Page, Section};
use packdrift_report::table::{Cell, Column, Standing, Table};
use packdrift_trend::{Inspections, ModelChoice, Options, trend};
use std::error::Error;

/// Valves of a fleet, and how many such fleets with and without wander each.
const SIZES: [(usize, u64); 4] = [(4, 200), (10, 80), (30, 30), (100, 10)];
/// Hours ahead.
const AHEAD: f64 = 3000.0;
/// Half-widths of central 50, 80 and 95 % intervals of a normal, in standard deviations.
const WIDTHS: [f64; 3] = [0.674_489_75, 1.281_551_57, 1.959_963_98];
const PROMISED: [f64; 3] = [50.0, 80.0, 95.0];

/// True offsets inside the three intervals, of how many valves.
type Inside = ([usize; 3], usize);

pub(crate) fn study() -> Result<Page, Box<dyn Error>> {
    let mut rows = Vec::new();
    for (valves, fleets) in SIZES {
        let mut alone: Vec<Inside> = Vec::new();
        let mut averaged: Vec<Inside> = Vec::new();
        for seed in 0..2 * fleets {
            let (wander, model) =
                if seed % 2 == 0 { (0.0, ModelChoice::RandomSlope) } else { (1e-3, ModelChoice::Wiener) };
            let (inspections, truth) = made(valves, wander, seed);
            for (into, points) in [(&mut alone, 1), (&mut averaged, Options::default().average_points)] {
                let options = Options { model, average_points: points, series_up_to: 0, ..Options::default() };
                into.push(inside(&inspections, &truth, &options)?);
            }
        }
        rows.push((valves, shares(&alone), shares(&averaged)));
    }
    let honest = rows.iter().all(|(_, _, averaged)| {
        averaged.iter().zip(PROMISED).all(|(share, promised)| share.percent > promised - 3.5 * share.error)
    });
    let text =
        |shares: &[Share; 3]| shares.iter().map(|s| number::fixed(s.percent, 0)).collect::<Vec<_>>().join(" / ") + " %";
    let errors =
        |shares: &[Share; 3]| shares.iter().map(|s| number::fixed(s.error, 1)).collect::<Vec<_>>().join(" / ") + " %";
    let (least, _, worst) = rows.first().ok_or("sizes are listed")?;
    let mut table = Table::new(
        "inside",
        "Shares inside the three intervals, with the standard error of the averaged",
        vec![
            Column::number("valves"),
            Column::text("fitted variances alone"),
            Column::text("averaged"),
            Column::text("standard error"),
        ],
    );
    for (valves, alone, averaged) in &rows {
        table.push(vec![
            Cell::Count(*valves as u64),
            Cell::text(text(alone)),
            Cell::text(text(averaged)),
            Cell::text(errors(averaged)),
        ]);
    }
    let figure = figure(&rows)?;
    Ok(Page {
        lead: None,
        title: "Small fleets: how wide must a forecast be?".into(),
        kind: "Study".into(),
        notice: "Invented data: the fleets and their truth are made by this study.".into(),
        answer: Some(Answer {
            standing: if honest { Standing::Good } else { Standing::Attend },
            sentence: format!(
                "Fleets of {least} valves have {} of their true offsets {} h ahead inside the 50, 80 and 95 % intervals.",
                text(worst),
                number::fixed(AHEAD, 0)
            ),
            advice: "Forecasts of few valves are wide on purpose; more valves and more looks narrow them.".into(),
        }),
        sections: vec![Section::new(
            "True offsets inside the 50 / 80 / 95 % intervals",
            html! {
                (table.html())
                (figure.html())
                p { "Half of the fleets wander by 0.001 mm times the root of the hours about their lines, and are forecast by a model that has a wander. What \
                     a choice among models costs beside that, the study of many fleets tells." }
            },
        )],
        cautions: Vec::new(),
    })
}

/// A fleet's size with the shares by the fitted variances alone and averaged.
type Row = (usize, [Share; 3], [Share; 3]);

/// The 95 % intervals against the size of the fleet.
fn figure(rows: &[Row]) -> Result<packdrift_report::Figure, packdrift_report::Error> {
    let of = |share: &dyn Fn(&Row) -> f64| rows.iter().map(|row| (row.0 as f64, share(row))).collect::<Vec<_>>();
    let chart = Chart {
        id: "true offsets held",
        title: "True offsets inside their 95 % interval, by the size of the fleet",
        description: "A line for averaged forecasts near the promised 95 %, and one for the fitted variances alone, far below it for few valves."
            .into(),
        caption: "What the averaging is for: the fewer the valves, the less their fitted variances are to be trusted.",
        x: "valves",
        y: "true offsets inside, %",
        holds: &[100.0],
    };
    chart.figure(&[
        Series { label: "promised".into(), ink: Ink::Muted, mark: Mark::Dashes, points: of(&|_| PROMISED[2]) },
        Series { label: "averaged".into(), ink: Ink::Main, mark: Mark::Line, points: of(&|row| row.2[2].percent) },
        Series {
            label: "fitted variances alone".into(),
            ink: Ink::Second,
            mark: Mark::Line,
            points: of(&|row| row.1[2].percent),
        },
    ])
}

fn shares(fleets: &[Inside]) -> [Share; 3] {
    [0, 1, 2].map(|k| Share::of(fleets.iter().map(move |(inside, valves)| (inside[k], *valves))))
}

/// Readings of a made fleet, four valves an engine, and each valve's true offset 3000 hours after its last reading.
fn made(valves: usize, wander: f64, seed: u64) -> (Inspections, Vec<f64>) {
    let mut stream = packdrift_numerics::stream::Key::new(seed, "small fleets").stream(0);
    let mut t = Inspections { features: vec!["contact_offset".into()], ..Inspections::default() };
    let mut truth = Vec::new();
    for v in 0..valves {
        if v % 4 == 0 {
            t.engines.push(format!("E{}", v / 4 + 1));
        }
        t.valves.push((v as u32 / 4, format!("{}", v % 4 + 1)));
        let mut offset = 1.0 + 0.05 * stream.normal();
        let slope = 4e-5 + 2e-5 * stream.normal();
        let looks = 3 + (8.0 * stream.uniform()) as i32;
        let mut hours = 0.0;
        for look in 0..looks {
            if look > 0 {
                let elapsed = 700.0 * (0.7 + 0.6 * stream.uniform());
                offset += slope * elapsed + wander * elapsed.sqrt() * stream.normal();
                hours += elapsed;
            }
            t.valve.push(v as u32);
            t.day.push(180 * look);
            t.hours.push(hours);
            t.feature.push(0);
            t.value.push(offset + 0.02 * stream.normal());
            t.event.push(0);
            t.group.push(0);
        }
        truth.push(offset + slope * AHEAD + wander * AHEAD.sqrt() * stream.normal());
    }
    (t, truth)
}

fn inside(inspections: &Inspections, truth: &[f64], options: &Options) -> Result<Inside, Box<dyn Error>> {
    let result = trend(inspections, None, options)?;
    let mut out = ([0; 3], 0);
    for v in result.features.iter().flat_map(|f| &f.valves) {
        let (mean, sd) = v.prospect.value_at(AHEAD);
        let z = (truth[v.valve_index as usize] - mean).abs() / sd;
        for (count, width) in out.0.iter_mut().zip(WIDTHS) {
            *count += usize::from(z <= width);
        }
        out.1 += 1;
    }
    Ok(out)
}
