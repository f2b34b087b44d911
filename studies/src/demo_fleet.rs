//! How fast does the demo fleet drift, and how close does the forecast come to what its generator knows?
//!
//! The generator of the demo keeps the truth of every valve: where it started, its mean slope, its true offset at the last look. A
//! forecast sees the readings only: with their errors, a faulty instrument's day, a packet that was off, a pack that slipped. Three
//! steps:
//!
//! 1. fit the contact offset, as `packdrift trend` does;
//! 2. lay each valve's predicted slope and level beside the true ones;
//! 3. ask whether the stated standard errors are honest: 95 % of the truths should lie within 1.96 of them.

use crate::chart::{Chart, Mark, Series};
use crate::demo;
use maud::html;
use packdrift_demo::Fleet;
use packdrift_report::figure::ink::Ink;
use packdrift_report::number;
use packdrift_report::page::{Answer, Page, Section};
use packdrift_report::table::{Cell, Column, Standing, Table};
use packdrift_trend::{Options, Status, trend};
use std::error::Error;

pub(crate) fn study() -> Result<Page, Box<dyn Error>> {
    let inspections =
        packdrift_records::read_inspections(&demo("inspections.csv"), &packdrift_records::Options::default())?.value;
    let policy = packdrift_records::read_policy(&demo("policy.toml"))?.value;
    let result = trend(&inspections, Some(&policy), &Options::default())?;
    let offset =
        result.features.iter().find(|f| f.feature == "contact_offset").ok_or("the demo has contact offsets")?;
    let model = offset.model.as_ref().ok_or("the demo's offsets can be fitted")?;
    let fleet = Fleet::generate(packdrift_demo::DEFAULT_SEED);

    // Per valve: (truth, prediction, its standard error), for the slope in µm per 100 h and the level in mm.
    let (mut slopes, mut levels) = (Vec::new(), Vec::new());
    for forecast in &offset.valves {
        let truth = fleet.truth().iter().find(|t| t.engine == forecast.engine && t.valve == forecast.valve);
        let truth = truth.ok_or("every valve has its truth")?;
        slopes.push((truth.slope * 1e5, forecast.slope * 1e5, forecast.slope_se * 1e5));
        levels.push((truth.level, forecast.level, forecast.level_se));
    }
    let figures = [
        against_truth("slope", "true slope, µm per 100 h", "predicted slope, µm per 100 h", &slopes)?,
        against_truth("level", "true offset at the last look, mm", "predicted offset, mm", &levels)?,
    ];
    let urgent = offset.valves.iter().filter(|v| matches!(v.status, Some(Status::Due | Status::Overdue))).count();
    let (slope_cover, level_cover) = (coverage(&slopes), coverage(&levels));
    let n = slopes.len();

    let mut drifts = Table::new(
        "drifts",
        "Mean slopes as fitted, with their standard errors, and the generator's",
        vec![Column::text("group"), Column::text("mean slope, µm per 100 h"), Column::text("the generator's")],
    );
    for line in &model.groups {
        drifts.push(vec![
            Cell::text(line.group.as_str()),
            Cell::text(number::plus_minus(line.slope * 1e5, line.slope_se * 1e5)),
            Cell::text(if line.group == "exhaust" { "4.6" } else { "−2.6" }),
        ]);
    }
    Ok(Page {
        lead: None,
        title: "The demo fleet: forecast against truth".into(),
        kind: "Study".into(),
        notice: "Invented data: the fleet and its truth are made by packdrift's own generator.".into(),
        answer: Some(Answer {
            // An honest 95 % interval misses about one truth in twenty; twice that is worth a look.
            standing: if slope_cover.min(level_cover) * 10 >= n * 9 { Standing::Good } else { Standing::Attend },
            sentence: format!(
                "Of {n} valves, {level_cover} have their true offset and {slope_cover} their true slope inside the stated 95 % interval."
            ),
            advice: format!("{} are due or overdue by the demo's policy.", number::counted(urgent, "valve")),
        }),
        sections: vec![
            Section::new(
                "How fast the fleet drifts",
                html! {
                    p { "Model: " (model.kind.name()) ". A reading scatters by " (number::significant(model.sd_reading, 2))
                        " mm (the generator's inspectors: 0.020 mm, now and then five times that), slopes by "
                        (number::significant(model.sd_slope * 1e5, 2)) " µm per 100 h from valve to valve." }
                    (drifts.html())
                },
            ),
            Section::new(
                "How close the forecast comes",
                html! {
                    p { "Each dot is a valve; on the dashed line the prediction is the truth. Predicted slopes are drawn towards their \
                         group's mean where a valve has few readings since it was last re-shimmed, as they should be. A valve's stated slope is that \
                         of the present; the generator's is the mean about which its wander moves." }
                    @for figure in &figures { (figure.html()) }
                },
            ),
        ],
        cautions: Vec::new(),
    })
}

fn coverage(pairs: &[(f64, f64, f64)]) -> usize {
    pairs.iter().filter(|(truth, predicted, error)| (truth - predicted).abs() <= 1.96 * error).count()
}

fn against_truth(
    what: &str,
    x: &str,
    y: &str,
    pairs: &[(f64, f64, f64)],
) -> Result<packdrift_report::Figure, packdrift_report::Error> {
    let truths = || pairs.iter().map(|p| p.0);
    let (low, high) = (truths().fold(f64::INFINITY, f64::min), truths().fold(f64::NEG_INFINITY, f64::max));
    let chart = Chart {
        id: &format!("{what} against truth"),
        title: &format!("Predicted {what} against the true {what}"),
        description: format!(
            "{} dots along the line of equality; {} of the truths lie inside the stated 95 % interval.",
            pairs.len(),
            coverage(pairs)
        ),
        caption: "The nearer to the dashed line, the better.",
        x,
        y,
        holds: &[],
    };
    chart.figure(&[
        Series { label: "equal".into(), ink: Ink::Muted, mark: Mark::Dashes, points: vec![(low, low), (high, high)] },
        Series {
            label: "one valve".into(),
            ink: Ink::Main,
            mark: Mark::Dots,
            points: pairs.iter().map(|p| (p.0, p.1)).collect(),
        },
    ])
}
