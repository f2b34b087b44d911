//! The fields by which a reader moves day, risk, horizon, running and places, and the numbers that the page plans again from.

use crate::calendar::iso;
use crate::number::plain;
use crate::working::numbers;
use maud::{Markup, html};
use packdrift_due::{Anew, DueResult, EngineAnew, Table};
use serde::Serialize;
use std::collections::HashMap;

/// Without names: these stand in the table, where they are escaped.
#[derive(Serialize)]
struct Fleet<'a> {
    today: i32,
    first: i32,
    risk: f64,
    horizon: f64,
    windows: &'a [(i32, i32, u32)],
    gap: i32,
    costs: Option<(f64, f64)>,
    late: bool,
    engines: Vec<Engine>,
}

#[derive(Serialize)]
struct Engine {
    last: i32,
    /// Hours a week, their standard error, variance a day.
    usage: Option<(f64, f64, f64)>,
    forecast: bool,
    rate: f64,
    overdue: bool,
    #[serde(flatten)]
    chance: Scores,
    valves: Vec<Valve>,
}

#[derive(Serialize)]
struct Valve {
    said: bool,
    #[serde(flatten)]
    chance: Scores,
}

#[derive(Serialize)]
struct Scores {
    reach: f64,
    /// In hundred-thousandths: the first, the first step, then by how much each step differs from the one before. A third of the characters of the
    /// scores themselves, which are most of a large fleet's page.
    scores: Vec<i64>,
}

/// Beyond this score a chance is below 1e-17, or above 1 less that.
const FARTHEST: f64 = 8.5;

impl Scores {
    /// Five decimals of the score: a chance to a ten-thousandth of itself, and at a risk that somebody accepts to a fiftieth of that.
    fn of(table: &Table) -> Self {
        let (mut before, mut step) = (0, 0);
        let scores = table.scores.iter().enumerate().map(|(k, score)| {
            let now = (score.clamp(-FARTHEST, FARTHEST) * 1e5).round() as i64;
            let difference = now - before - step;
            (before, step) = (now, if k == 0 { 0 } else { now - before });
            difference
        });
        Self { reach: nine_digits(table.reach), scores: scores.collect() }
    }
}

/// Rounded to what can be read of it.
fn nine_digits(x: f64) -> f64 {
    format!("{x:.8e}").parse().unwrap_or(x)
}

fn engine(e: &EngineAnew) -> Engine {
    Engine {
        last: e.last_day,
        usage: e
            .usage
            .map(|u| (nine_digits(u.hours_a_week), nine_digits(u.standard_error), nine_digits(u.variance_a_day))),
        forecast: e.forecast,
        rate: e.rate,
        overdue: e.overdue,
        chance: Scores::of(&e.chance),
        valves: e.valves.iter().map(|v| Valve { said: v.said, chance: Scores::of(&v.chance) }).collect(),
    }
}

/// Heading and, as its slug, id of the section.
pub(super) const HEADING: &str = "Work with the plan";

/// The fields, the engine that is picked, and all engines. Hidden until the page's script fills it: on paper the plan itself stands.
pub(super) fn form(result: &DueResult, anew: &Anew, asked: &[(String, String)]) -> Markup {
    let fleet = Fleet {
        today: result.today,
        first: anew.first_day,
        risk: result.risk,
        horizon: result.horizon,
        windows: &anew.windows,
        gap: anew.gap,
        costs: anew.costs,
        late: anew.late_in_windows,
        engines: anew.engines.iter().map(engine).collect(),
    };
    html! {
        noscript { p { "A browser that runs the page's script plans the fleet again here at other settings, and shows one engine at a time. The tables below hold all of it without." } }
        form.again hidden aria-label="Plan at other settings" data-cost=(result.cost_unit) data-asked=(files(asked)) {
            p.soft {
                "Pick an engine to see its job, its valves, their readings and forecasts. Move a setting: dates, chances, places and costs are reckoned again from the chances in \
                 this page, by the program's own rules. What was first said stands in brackets. The page does not know how the readings would be judged at another setting \
                 (watch, read again, not shown), nor the work and the parts: for these run the command below."
            }
            (fields(result, anew))
            output {}
            div.engine {}
            (table(result, anew))
            p.soft { "To have all of it from the program:" }
            pre {}
            (numbers("fleet-again", &fleet))
        }
    }
}

fn fields(result: &DueResult, anew: &Anew) -> Markup {
    html! {
        div.settings {
            label { "Engine " select name="engine" {} }
            label { "Day of the plan " input type="date" name="day" value=(iso(result.today)) min=(iso(anew.first_day)); }
            label { "Accepted risk, % " input type="number" name="risk" value=(plain(100.0 * result.risk)) min="0" max="100" step="any"; }
            label { "Horizon, h " input type="number" name="horizon" value=(plain(result.horizon)) min="1" step="any"; }
            label { "All engines run, times today's " input type="number" name="times" value="1" min="0.1" max="4" step="any"; }
            @for (k, (start, end, engines)) in anew.windows.iter().enumerate().filter(|(_, w)| w.1 >= anew.first_day) {
                label { "Places " (iso(*start)) " \u{2026} " (iso(*end)) " " input type="number" name={ "places-" (k) } value=(engines) min="1" step="1"; }
            }
            button type="reset" { "Back" }
        }
    }
}

/// One row an engine, in the order of the numbers, with its place in the result; the script fills it.
fn table(result: &DueResult, anew: &Anew) -> Markup {
    let places: HashMap<&str, usize> = result.engines.iter().enumerate().map(|(k, e)| (e.engine.as_str(), k)).collect();
    html! {
        div.table tabindex="0" role="group" aria-label="Engines at these settings" {
            table {
                caption { span { "Engines at these settings" } }
                thead { tr {
                    th scope="col" { "engine" } th scope="col" { "latest date" } th scope="col" { "chance within the horizon" } th scope="col" { "place" }
                } }
                tbody { @for e in &anew.engines {
                    tr data-about=[places.get(e.engine.as_str())] { th scope="row" { (crate::text::clean(&e.engine)) } td {} td {} td {} }
                } }
            }
        }
    }
}

/// The command's files, the first as it is, the second with its option: `inspections.csv --policy policy.toml`.
fn files(asked: &[(String, String)]) -> String {
    let option = |path: &str| if path.ends_with(".toml") { format!("--policy {path}") } else { path.to_owned() };
    asked.iter().take(2).map(|(path, _)| option(path)).collect::<Vec<_>>().join(" ")
}
