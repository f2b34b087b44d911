//! A gauge study: fit or not, by the share that decides; what it can tell apart; where its scatter comes from; who reads differently.

use crate::envelope::{Document, Envelope};
use crate::figure::{Error, Figure};
use crate::number::{percent, significant};
use crate::page::{Answer, Page, Section, WORKSHOP_CAUTIONS};
use crate::table::{Cell, Column, Standing, Table};
use maud::html;
use packdrift_lot::gauge::{Fitness, GaugeMethod, GaugeStudy, SdEstimate};
use serde::Serialize;
use serde_json::{Value, json};

fn answer(study: &GaugeStudy) -> Answer {
    let of = if study.options.tolerance.is_some() { "of the tolerance" } else { "of all scatter seen" };
    let share = percent(study.deciding_share);
    let gauge = significant(study.components.gauge.sd, 2);
    let (standing, sentence) = match study.fitness {
        Fitness::Fit => {
            (Standing::Good, format!("The gauge is fit: its own scatter, sd {gauge} mm, takes {share} {of}."))
        }
        Fitness::FitWithCare => (
            Standing::Attend,
            format!("The gauge is fit with care: its own scatter, sd {gauge} mm, takes {share} {of}."),
        ),
        Fitness::Unfit => {
            (Standing::Act, format!("The gauge is not fit: its own scatter, sd {gauge} mm, takes {share} {of}."))
        }
    };
    let mut advice = Vec::new();
    if let Some(d) = study.discrimination {
        advice.push(if d.can_tell {
            format!(
                "It tells {} mm apart: two such parts are read in the wrong order with a chance of {}.",
                significant(d.difference, 3),
                percent(d.wrong_order)
            )
        } else {
            let more = match d.readings_needed {
                Some(n) => format!("; the mean of {n} readings by one operator would"),
                None => "; no number of repeat readings would, since operators differ".to_owned(),
            };
            format!(
                "Single readings do not tell {} mm apart (the smallest difference told is {} mm){more}.",
                significant(d.difference, 3),
                significant(d.smallest_told, 2)
            )
        });
    }
    if let Some(n) = study.readings_to_average {
        advice.push(format!("Averaging {n} readings of a part would make it fit."));
    }
    let who: Vec<&str> =
        study.by_operator.iter().filter(|o| o.reads_differently).map(|o| o.operator.as_str()).collect();
    if !who.is_empty() {
        advice.push(format!("Reading differently from the mean of all: {}.", who.join(", ")));
    }
    Answer { standing, sentence, advice: advice.join(" ") }
}

fn components(study: &GaugeStudy) -> Table {
    let mut table = Table::new(
        "components",
        "Where the scatter comes from",
        vec![
            Column::text("source"),
            Column::number("sd").unit("mm"),
            Column::number("from").unit("mm"),
            Column::number("to").unit("mm"),
            Column::number("of total"),
            Column::number("of tolerance"),
        ],
    );
    let c = &study.components;
    let mut push = |what: &str, e: SdEstimate| {
        table.push(vec![
            Cell::text(what),
            Cell::significant(e.sd, 3),
            Cell::significant(e.interval.lower, 3),
            Cell::significant(e.interval.upper, 3),
            Cell::share(e.sd / c.total.sd),
            study.options.tolerance.map_or(Cell::Empty, |t| Cell::share(6.0 * e.sd / t)),
        ]);
    };
    push("same operator, same part again", c.repeatability);
    if let Some(o) = c.operators {
        push("between operators", o);
    }
    if let Some(i) = c.interaction {
        push("operators differing by part", i);
    }
    push("the gauge: a single reading by anyone", c.gauge);
    push("between parts", c.parts);
    push("all", c.total);
    table
}

fn operators(study: &GaugeStudy) -> Table {
    let mut table = Table::new(
        "operators",
        "Who reads how",
        vec![
            Column::text("operator"),
            Column::number("readings"),
            Column::number("from the mean of all").unit("mm"),
            Column::number("own repeatability").unit("mm"),
            Column::text("finding"),
        ],
    );
    for o in &study.by_operator {
        let (word, standing) = if o.reads_differently {
            ("reads differently", Standing::Attend)
        } else {
            ("as the others", Standing::Good)
        };
        table.push(vec![
            Cell::text(o.operator.as_str()),
            Cell::Count(o.readings as u64),
            Cell::significant(o.difference, 2),
            o.repeatability.map_or(Cell::Empty, |r| Cell::significant(r, 2)),
            Cell::verdict(word, standing),
        ]);
    }
    table
}

fn variance_table(study: &GaugeStudy) -> Table {
    let mut table = Table::new(
        "variance-table",
        "Analysis of variance (squares in mm²)",
        vec![
            Column::text("source"),
            Column::number("degrees of freedom"),
            Column::number("sum of squares"),
            Column::number("mean square"),
            Column::number("F"),
            Column::number("p"),
        ],
    );
    if let Some(t) = &study.table {
        let test = |f: f64, p: f64| [Cell::significant(f, 4), Cell::significant(p, 2)];
        for (what, row, [f, p]) in [
            ("operators", t.operators, test(t.operators_f, t.operators_p)),
            ("parts", t.parts, test(t.parts_f, t.parts_p)),
            ("operators by parts", t.interaction, test(t.interaction_f, t.interaction_p)),
            ("repeat readings", t.repeatability, [Cell::Empty, Cell::Empty]),
            ("all", t.total, [Cell::Empty, Cell::Empty]),
        ] {
            table.push(vec![
                Cell::text(what),
                Cell::significant(row.degrees_of_freedom, 6),
                Cell::significant(row.sum_of_squares, 6),
                Cell::significant(row.mean_square(), 4),
                f,
                p,
            ]);
        }
    }
    table
}

/// All tables.
pub fn tables(study: &GaugeStudy) -> Vec<Table> {
    let mut all = vec![components(study), operators(study), variance_table(study)];
    let mut odd = Table::new(
        "odd-cells",
        "Repeat readings that differ more than they should: check for a slip",
        vec![
            Column::text("part"),
            Column::text("operator"),
            Column::number("range").unit("mm"),
            Column::number("limit").unit("mm"),
        ],
    );
    for cell in &study.odd_cells {
        odd.push(vec![
            Cell::text(cell.part.as_str()),
            Cell::text(cell.operator.as_str()),
            Cell::significant(cell.range, 3),
            Cell::significant(cell.limit, 3),
        ]);
    }
    all.push(odd);
    all.retain(|t| !t.rows.is_empty());
    all
}

/// Nothing is drawn that the tables do not say better.
///
/// # Errors
/// None.
pub fn figures(_study: &GaugeStudy) -> Result<Vec<Figure>, Error> {
    Ok(Vec::new())
}

/// The study as text.
pub fn text(study: &GaugeStudy) -> String {
    let answer = answer(study);
    let mut out =
        format!("{} {}\n", answer.standing.shape(), crate::text::wrapped(&answer.sentence, 98, 2).trim_start());
    if !answer.advice.is_empty() {
        out.push_str(&crate::text::wrapped(&answer.advice, 98, 2));
        out.push('\n');
    }
    if let Some(n) = study.components.distinct_categories() {
        out.push_str(&format!("  {n} groups of these parts can be told apart. A reading's sd for `trend`, a piece's u for `shim`: {} mm.\n", significant(study.components.gauge.sd, 3)));
    }
    for table in tables(study) {
        out.push_str(&format!("\n{}\n{}", table.caption, table.text(2)));
    }
    out
}

/// The page.
///
/// # Errors
/// None.
pub fn page(envelope: &Envelope, study: &GaugeStudy) -> Result<String, Error> {
    let sections = tables(study).iter().map(|t| Section::new(&t.caption, html! { (t.html()) })).collect();
    let page = Page {
        title: "Can this gauge see the difference?".into(),
        kind: "Gauge study".into(),
        notice: String::new(),
        answer: Some(answer(study)),
        sections,
        cautions: WORKSHOP_CAUTIONS.to_vec(),
    };
    Ok(page.html(envelope))
}

/// The study as JSON, documented in docs/results.md.
pub fn json<'a>(envelope: &'a Envelope, study: &'a GaugeStudy) -> Document<'a, impl Serialize + 'a> {
    let estimate = |e: SdEstimate| json!({ "sd": e.sd, "interval": [e.interval.lower, e.interval.upper] });
    let maybe = |e: Option<SdEstimate>| e.map_or(Value::Null, estimate);
    let c = &study.components;
    let (method, interaction) = match study.method {
        GaugeMethod::AnovaWithInteraction => ("ANOVA", true),
        GaugeMethod::AnovaPooled => ("ANOVA", false),
        GaugeMethod::Reml { interaction, .. } => ("REML", interaction),
    };
    envelope.around(Answered {
        fitness: match study.fitness {
            Fitness::Fit => "fit",
            Fitness::FitWithCare => "fit with care",
            Fitness::Unfit => "unfit",
        },
        deciding_share: study.deciding_share,
        method,
        interaction,
        parts: study.parts,
        operators: study.operators,
        readings: study.readings,
        trials: study.trials,
        components: json!({
            "repeatability": estimate(c.repeatability), "operators": maybe(c.operators), "interaction": maybe(c.interaction),
            "reproducibility": estimate(c.reproducibility), "gauge": estimate(c.gauge), "parts": estimate(c.parts), "total": estimate(c.total) }),
        reading_sd: c.gauge.sd,
        share_of_total: c.share_of_total(),
        share_of_tolerance: study.options.tolerance.map(|t| c.share_of_tolerance(t)),
        distinct_categories: c.distinct_categories(),
        readings_to_average: study.readings_to_average,
        discrimination: study.discrimination.map_or(Value::Null, |d| json!({
            "difference": d.difference, "wrong_order": d.wrong_order, "wrong_size": d.wrong_size, "smallest_told": d.smallest_told,
            "can_tell": d.can_tell, "readings_needed": d.readings_needed })),
        table: study.table.map_or(Value::Null, |t| {
            let row = |r: packdrift_lot::gauge::MeanSquareRow| json!({ "df": r.degrees_of_freedom, "sum_of_squares": r.sum_of_squares, "mean_square": r.mean_square() });
            json!({ "operators": row(t.operators), "parts": row(t.parts), "interaction": row(t.interaction), "repeatability": row(t.repeatability),
                    "total": row(t.total), "interaction_F": t.interaction_f, "interaction_p": t.interaction_p, "operators_F": t.operators_f, "parts_F": t.parts_f })
        }),
        average_and_range: study.average_and_range.map_or(Value::Null, |a| json!({
            "repeatability": a.repeatability, "reproducibility": a.reproducibility, "gauge": a.gauge, "parts": a.parts, "total": a.total })),
        by_operator: study.by_operator.iter().map(|o| json!({
            "operator": o.operator, "readings": o.readings, "difference": o.difference, "interval": o.interval.map(|i| [i.lower, i.upper]),
            "repeatability": o.repeatability, "reads_differently": o.reads_differently })).collect(),
        odd_cells: study.odd_cells.iter().map(|o| json!({ "part": o.part, "operator": o.operator, "range": o.range, "limit": o.limit })).collect(),
    })
}

#[derive(Serialize)]
struct Answered {
    fitness: &'static str,
    deciding_share: f64,
    method: &'static str,
    interaction: bool,
    parts: usize,
    operators: usize,
    readings: usize,
    trials: Option<usize>,
    components: Value,
    reading_sd: f64,
    share_of_total: f64,
    share_of_tolerance: Option<f64>,
    distinct_categories: Option<u64>,
    readings_to_average: Option<u64>,
    discrimination: Value,
    table: Value,
    average_and_range: Value,
    by_operator: Vec<Value>,
    odd_cells: Vec<Value>,
}
