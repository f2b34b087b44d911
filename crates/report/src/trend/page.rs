//! The trend as a page: what is urgent, where the fleet stands, the urgent valves one by one, which readings to check.

use super::{backtest, every, order, overview, tables, text, valve};
use crate::envelope::Envelope;
use crate::figure::{Error, Figure, unique};
use crate::number::count;
use crate::page::{Answer, PLANNING_CAUTIONS, Page, Section};
use crate::table::{Standing, Table};
use maud::{Markup, html};
use packdrift_trend::{Policy, TrendResult};

/// Valves listed on top of the page; every valve stands further down.
const LISTED: usize = 40;

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, result: &TrendResult, policy: Option<&Policy>) -> Result<String, Error> {
    let page = Page {
        title: "Wear of the fleet, and which valves are heading for damage".into(),
        kind: "Forecast from inspection readings".into(),
        lead: None,
        notice: String::new(),
        answer: Some(answer(result, policy)),
        sections: sections(result, policy)?,
        cautions: PLANNING_CAUTIONS.to_vec(),
    };
    Ok(page.working_html(envelope))
}

pub(crate) fn answer(result: &TrendResult, policy: Option<&Policy>) -> Answer {
    let worst = result.features.iter().flat_map(|f| &f.valves).filter_map(|v| v.status).max();
    // A feature that could not be judged is not well because nothing is said of it.
    let standing = match order::standing(worst) {
        // Nothing was judged, so nothing is said to be well.
        Standing::Good if policy.is_none() => Standing::Attend,
        Standing::Good if result.is_judged() && !result.verdict().is_shown() => Standing::Attend,
        other => other,
    };
    Answer { standing, sentence: text::advice(result, policy), advice: text::summary(result, policy) }
}

/// The parts of the page.
fn sections(result: &TrendResult, policy: Option<&Policy>) -> Result<Vec<Section>, Error> {
    let mut figures = Vec::new();
    for feature in &result.features {
        figures.extend(overview::figures(feature, policy)?);
    }
    let mut tested = Vec::new();
    for feature in &result.features {
        tested.extend(backtest::figures(feature)?);
    }
    let drawn = order::drawn(result);
    let mut valves = Vec::new();
    for ranked in &drawn {
        valves.push(valve::figure(ranked, policy)?);
    }
    let mut all: Vec<&mut Figure> = figures.iter_mut().chain(&mut tested).chain(&mut valves).collect();
    unique(&mut all);

    let flagged = order::flagged(result).len();
    let listed = urgent(result, policy);
    let mut sections =
        vec![Section::new("What is urgent", listed), Section::new("Where the fleet stands", fleet(result, &figures))];
    if let Some(scores) = backtest::table(result) {
        sections.push(Section::new("Would such forecasts have come true", came_true(result, &scores, &tested)));
    }
    sections.extend([
        Section::new("Valve by valve", one_by_one(&valves, flagged)),
        Section::new("Readings to check", to_check(result, policy)),
    ]);
    if result.features.iter().any(|f| !f.valves.is_empty()) {
        sections.push(Section::new(every::HEADING, every::valves(result, policy)));
    }
    Ok(sections)
}

fn came_true(result: &TrendResult, scores: &Table, figures: &[Figure]) -> Markup {
    html! {
        p { "The last readings of every segment were hidden, the fleet was fitted without them, and each was forecast as a reading." }
        @for feature in &result.features {
            @for line in backtest::lines(feature) { p { b { (order::title(feature)) } ". " (line) } }
        }
        (scores.html())
        @for figure in figures { (figure.html()) }
    }
}

fn urgent(result: &TrendResult, policy: Option<&Policy>) -> Markup {
    html! {
        p { (text::tally_sentence(result)) }
        p.soft {
            "Chance: of being in the damage zone now or at some time within the horizon. Overdue: already outside with a chance above one half. Due: the chance is above the acceptable \
             risk. Watch: above half of it. In window: less."
        }
        @for feature in &result.features {
            @let listed = order::listed(feature, LISTED);
            @let rest = feature.valves.len() - listed.len();
            h3 { (order::title(feature)) }
            @if let Some(limits) = &feature.limits {
                p { "Limits " (order::with_unit(&crate::number::limits(limits.lower, limits.upper), &limits.unit)) "; beyond is the damage zone." }
            } @else {
                p { "No limits are given for this feature, so nothing can be called urgent." }
            }
            @if !listed.is_empty() {
                (text::valve_table(&listed, policy).html())
                @if rest > 0 {
                    p.note { (count(rest as u64)) " more are under " a href={ "#" (crate::table::slug(every::HEADING)) } { (every::HEADING) } "." }
                }
            }
        }
    }
}

fn fleet(result: &TrendResult, figures: &[Figure]) -> Markup {
    html! {
        @for feature in &result.features {
            h3 { (order::title(feature)) }
            @if let Some(model) = &feature.model {
                @for line in text::fleet_lines(feature, model) { p { (line) } }
            } @else {
                p { "No forecast: " (feature.diagnostics.reason) }
            }
            @if !feature.compared.is_empty() {
                details { summary { "Models compared" } (tables::models(feature).html()) }
            }
        }
        @for figure in figures { (figure.html()) }
    }
}

fn one_by_one(valves: &[Figure], flagged: usize) -> Markup {
    html! {
        p {
            "Dots are readings of the present segment, rings of earlier ones, crosses were given little weight or none. The line is the fit, the shaded \
             band holds the true value with a chance of 95 %, the dashed lines a reading. Hatched is the damage zone; a short thick stroke at \
             the foot marks that something was done just before. The bar on the limit runs over the hours at which it is reached, with 90 % chance."
        }
        @if flagged == 0 {
            p { "Nothing is flagged; the most urgent valves are drawn." }
        } @else if flagged > valves.len() {
            p { "The " (valves.len()) " most urgent of " (count(flagged as u64)) " flagged valves are drawn. Every other is drawn by a press on its name under " a href={ "#" (crate::table::slug(every::HEADING)) } { (every::HEADING) } "." }
        }
        div.pair { @for figure in valves { (figure.html()) } }
    }
}

fn to_check(result: &TrendResult, policy: Option<&Policy>) -> Markup {
    let found: Vec<_> = tables::tables(result, policy)
        .into_iter()
        .filter(|t| !matches!(t.name.as_str(), "valves" | "fleet" | "models" | "backtest"))
        .collect();
    html! {
        @if found.is_empty() {
            p { "No reading, jump or instrument stands out, and none was left out." }
        }
        @for feature in &result.features {
            @for line in text::trouble(feature) { p { (line) } }
        }
        @for table in &found { (table.html()) }
    }
}
