//! A gauge study: fit or not, by the share that decides; what it can tell apart; where its scatter comes from; who reads differently.

mod figures;
mod in_pack;
mod units;

pub use figures::figures;

use crate::Lengths;
use crate::envelope::{Document, Envelope};
use crate::figure::{Error, Figure};
use crate::number::{estimated_share, significant};
use crate::page::{Answer, Page, Section, WORKSHOP_CAUTIONS};
use crate::table::{Cell, Column, Standing, Table};
use maud::html;
use packdrift_lot::gauge::{Fitness, GaugeMethod, GaugeStudy, SdEstimate, WildReading};
use packdrift_lotpack::ReadingInPack;
use packdrift_verdict::Verdict;
use serde::Serialize;
use serde_json::{Value, json};

/// A gauge study as it is shown: with its lengths in one unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Gauged {
    study: GaugeStudy,
    pack: Option<ReadingInPack>,
    lengths: Lengths,
}

impl Gauged {
    /// A study and what its readings' error does in a pack; all lengths in mm, to be shown in `lengths`.
    pub fn new(study: GaugeStudy, pack: Option<ReadingInPack>, lengths: Lengths) -> Self {
        Self { study: units::study(study, lengths), pack: pack.map(|pack| units::pack(pack, lengths)), lengths }
    }

    /// What the reader should know first, in words.
    pub fn warnings(&self) -> Vec<String> {
        self.study.warnings.iter().map(|w| w.words(self.unit(), &|mm| self.lengths.of(mm))).collect()
    }

    fn unit(&self) -> &'static str {
        self.lengths.unit()
    }
}

fn answer(gauged: &Gauged) -> Answer {
    let (study, unit) = (&gauged.study, gauged.unit());
    let of = if study.options.tolerance.is_some() { "of the tolerance" } else { "of all scatter seen" };
    let share = estimated_share(study.deciding_share);
    let gauge = significant(study.components.gauge.sd, 2);
    let takes = format!("its own scatter, sd {gauge} {unit}, takes {share} {of}");
    let most = estimated_share(study.deciding_interval.upper);
    let (standing, sentence) = match (study.fitness, &study.unseen) {
        (Fitness::Fit, _) => (Standing::Good, format!("The gauge is good enough: {takes}, at most {most}.")),
        (Fitness::Marginal, _) => (Standing::Attend, format!("The gauge is marginal: {takes}, at most {most}.")),
        (Fitness::NotShown, Some(unseen)) => (
            Standing::Attend,
            // A question is settled by its answer.
            if unseen.ends_with('?') {
                format!("The gauge is not shown to be good enough: {takes}, but {unseen}")
            } else {
                format!(
                    "The gauge is not shown to be good enough: {takes}, but {unseen}. More operators, parts or trials would tell."
                )
            },
        ),
        (Fitness::NotShown, None) => (
            Standing::Attend,
            format!(
                "The gauge is not shown to be good enough: {takes}, but it may be up to {most}, where {} is the most that may be. More operators, parts or trials would tell.",
                estimated_share(study.options.unfit_above)
            ),
        ),
        (Fitness::Unfit, _) => (Standing::Act, format!("The gauge is not good enough: {takes}.")),
    };
    let mut advice: Vec<String> = study.wild.iter().map(|wild| stands_out(wild, unit)).collect();
    let (mut standing, mut sentence) = (standing, sentence);
    if let Some(d) = study.discrimination {
        let difference = significant(d.difference, 2);
        let told = if d.can_tell {
            let chance = if d.wrong_order < 1e-6 {
                "practically never come out in the wrong order".to_owned()
            } else {
                format!("come out in the wrong order with a chance of {}", estimated_share(d.wrong_order))
            };
            format!("It tells sizes {difference} {unit} apart: single readings of two such parts {chance}.")
        } else {
            let estimated = d.difference >= d.smallest_told;
            standing = if estimated && standing != Standing::Act { Standing::Attend } else { Standing::Act };
            let more = match d.readings_needed {
                _ if estimated => String::new(),
                Some(n) => format!("; the mean of {n} readings by one operator would"),
                None => "; no number of repeat readings is shown to, since operators differ".to_owned(),
            };
            format!(
                "Single readings {} sizes {difference} {unit} apart (the smallest difference told is {} {unit}, and may be up to {} {unit}){more}.",
                if estimated { "are not shown to tell" } else { "do not tell" },
                significant(d.smallest_told, 2),
                significant(d.smallest_told_at_most, 2)
            )
        };
        if d.can_tell {
            advice.push(told);
        } else {
            // What it cannot do comes before what it can.
            sentence = format!("{told} {sentence}");
        }
    }
    if let Some(n) = study.readings_to_average {
        advice.push(format!("Averaging {n} readings of a part would make it good enough."));
    }
    let who: Vec<&str> =
        study.by_operator.iter().filter(|o| o.reads_differently).map(|o| o.operator.as_str()).collect();
    if !who.is_empty() {
        advice.push(format!("Reading differently from the mean of all: {}.", who.join(", ")));
    }
    Answer { standing, sentence, advice: advice.join(" ") }
}

/// The word for how a study answers.
fn word(verdict: Option<&Verdict>) -> &'static str {
    match verdict {
        None => "not studied",
        Some(v) if v.standing() == packdrift_verdict::Standing::Watch => "marginal",
        Some(v) => v.word(&packdrift_verdict::GAUGE),
    }
}

/// A reading that stands out, both answers, and what to do.
fn stands_out(wild: &WildReading, unit: &str) -> String {
    let without = wild.deciding_share.map_or_else(String::new, |s| format!(" ({})", estimated_share(s)));
    format!(
        "The reading of part {} by {}, trial {} (line {}) stands out: {} {unit}, where the others say {} {unit}. With it the gauge is {}, without it {}{without}; the worse stands. Read it again.",
        wild.part,
        wild.operator,
        wild.trial,
        wild.line,
        Lengths::named(unit).given_in_it(wild.reading),
        significant(wild.expected, 4),
        word(wild.with.as_ref()),
        word(wild.without.as_ref()),
    )
}

fn wild(study: &GaugeStudy, unit: &str) -> Table {
    let mut table = Table::new(
        "stands-out",
        "A reading that stands out from all others: both answers; the worse is the verdict",
        vec![
            Column::number("line"),
            Column::text("part"),
            Column::text("operator"),
            Column::number("trial"),
            Column::number("reading").unit(unit),
            Column::number("by the others").unit(unit),
            Column::text("with it"),
            Column::text("without it"),
            Column::number("share without it"),
            Column::number("at most"),
        ],
    );
    if let Some(one) = &study.wild {
        let cell = |verdict: Option<&Verdict>| match verdict {
            Some(v) if v.is_shown() => Cell::verdict(word(Some(v)), Standing::Good),
            Some(v) if v.standing() == packdrift_verdict::Standing::Adverse => {
                Cell::verdict(word(Some(v)), Standing::Act)
            }
            other => Cell::verdict(word(other), Standing::Attend),
        };
        table.push(vec![
            Cell::Count(u64::from(one.line)),
            Cell::text(one.part.as_str()),
            Cell::text(one.operator.as_str()),
            Cell::Count(u64::from(one.trial)),
            Lengths::written_cell(unit, Some(one.reading)),
            Cell::significant(one.expected, 4),
            cell(one.with.as_ref()),
            cell(one.without.as_ref()),
            one.deciding_share.map_or(Cell::Empty, Cell::estimated_share),
            one.deciding_interval.map_or(Cell::Empty, |i| Cell::estimated_share(i.upper)),
        ]);
    }
    table
}

fn components(study: &GaugeStudy, unit: &str) -> Table {
    let mut table = Table::new(
        "components",
        "Standard deviation of each source, with its interval, and six of them over the tolerance",
        vec![
            Column::text("source"),
            Column::number("sd").unit(unit),
            Column::number("from").unit(unit),
            Column::number("to").unit(unit),
            Column::number("of total"),
            Column::number("of tolerance"),
        ],
    );
    let c = &study.components;
    let mut push = |what: &str, e: SdEstimate, of_gauge: bool| {
        table.push(vec![
            Cell::text(what),
            Cell::significant(e.sd, 3),
            Cell::significant(e.interval.lower, 3),
            Cell::significant(e.interval.upper, 3),
            Cell::estimated_share(e.sd / c.total.sd),
            // The parts' own scatter says nothing against the gauge, whatever the tolerance.
            study.options.tolerance.filter(|_| of_gauge).map_or(Cell::Empty, |t| Cell::estimated_share(6.0 * e.sd / t)),
        ]);
    };
    push("same operator, same part again", c.repeatability, true);
    if let Some(o) = c.operators {
        push("between operators", o, true);
    }
    if let Some(i) = c.interaction {
        push("operators differing by part", i, true);
    }
    push("the gauge: a single reading by anyone", c.gauge, true);
    push("between parts", c.parts, false);
    push("all", c.total, false);
    table
}

fn operators(study: &GaugeStudy, unit: &str) -> Table {
    let mut table = Table::new(
        "operators",
        "Each operator on the same parts as the others",
        vec![
            Column::text("operator"),
            Column::number("readings"),
            Column::number("from the mean of all").unit(unit),
            Column::number("own repeatability").unit(unit),
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

fn variance_table(study: &GaugeStudy, lengths: Lengths) -> Table {
    // In squares of the finest usual unit, so that the figures are no row of zeros.
    let (unit, key) = match lengths {
        Lengths::Millimetres => ("µm²", "um2"),
        Lengths::Inches => ("µin²", "uin2"),
    };
    let times = match lengths {
        Lengths::Millimetres => 1e6,
        Lengths::Inches => 1e12,
    };
    let mut table = Table::new(
        "variance-table",
        "Sums and means of squares; operators and parts against the interaction",
        vec![
            Column::text("source"),
            Column::number("degrees of freedom"),
            Column::number("sum of squares").unit(unit).key(&format!("sum_of_squares_{key}")),
            Column::number("mean square").unit(unit).key(&format!("mean_square_{key}")),
            Column::number("F"),
            Column::number("p"),
        ],
    );
    if let Some(t) = &study.table {
        let p_value = |p: f64| if p < 1e-4 { Cell::shown_as(p, "< 0.0001") } else { Cell::significant(p, 2) };
        let test = |f: f64, p: f64| [Cell::significant(f, 4), p_value(p)];
        for (what, row, [f, p]) in [
            ("operators", t.operators, test(t.operators_f, t.operators_p)),
            ("parts", t.parts, test(t.parts_f, t.parts_p)),
            ("operators by parts", t.interaction, test(t.interaction_f, t.interaction_p)),
            ("repeat readings", t.repeatability, [Cell::Empty, Cell::Empty]),
            ("all", t.total, [Cell::Empty, Cell::Empty]),
        ] {
            table.push(vec![
                Cell::text(what),
                Cell::plain(row.degrees_of_freedom),
                Cell::significant(times * row.sum_of_squares, 5),
                Cell::significant(times * row.mean_square(), 4),
                f,
                p,
            ]);
        }
    }
    table
}

/// What the study is good for elsewhere.
fn given_on(study: &GaugeStudy, unit: &str) -> String {
    let groups = study
        .components
        .distinct_categories()
        .map_or_else(String::new, |n| format!("Parts like these can be told apart in {n} groups. "));
    // What is not shown is not passed on as if it were: the upper end is.
    if matches!(study.fitness, Fitness::NotShown | Fitness::Unfit) {
        let most = study.components.gauge.interval.upper;
        let most = if most.is_finite() && most > 0.0 {
            format!("may be up to {} {unit}", significant(most, 2))
        } else {
            "is not known".to_owned()
        };
        return format!(
            "{groups}For the other commands: a single reading's standard uncertainty {most} by this study, without calibration. Make the study larger \
             before its estimate is used."
        );
    }
    format!(
        "{groups}For the other commands: a single reading's standard uncertainty is {} {unit}, without calibration (this result as JSON, or the number: in a policy reading_sd of a feature, for trend and due; --u of shim, stock and lot; the number also in a drawer, u of a measured piece).",
        significant(study.components.gauge.sd, 3)
    )
}

/// All tables.
pub fn tables(gauged: &Gauged) -> Vec<Table> {
    let (study, unit) = (&gauged.study, gauged.unit());
    let mut all = vec![
        wild(study, unit),
        components(study, unit),
        operators(study, unit),
        variance_table(study, gauged.lengths),
        odd_cells(study, unit),
    ];
    all.extend(gauged.pack.as_ref().map(in_pack::table));
    all.retain(|t| !t.rows.is_empty());
    all
}

fn odd_cells(study: &GaugeStudy, unit: &str) -> Table {
    let mut odd = Table::new(
        "odd-cells",
        "Parts one operator read with a range beyond the limit",
        vec![
            Column::text("part"),
            Column::text("operator"),
            Column::number("range").unit(unit),
            Column::number("limit").unit(unit),
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
    odd
}

/// The study as text.
pub fn text(gauged: &Gauged) -> String {
    let answer = answer(gauged);
    let mut out = format!("{} {}", answer.standing.shape(), crate::text::wrapped(&answer.sentence, 98, 2).trim_start());
    if !answer.advice.is_empty() {
        out.push_str(&crate::text::wrapped(&answer.advice, 98, 2));
    }
    if let Some(pack) = &gauged.pack {
        out.push_str(&crate::text::wrapped(&in_pack::sentence(pack), 98, 2));
    }
    out.push_str(&crate::text::wrapped(&given_on(&gauged.study, gauged.unit()), 98, 2));
    for table in tables(gauged) {
        out.push_str(&format!("\n{}\n{}", table.caption, table.text(2)));
    }
    out
}

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, gauged: &Gauged) -> Result<String, Error> {
    let (study, unit) = (&gauged.study, gauged.unit());
    let drawn: Vec<Figure> = figures(gauged)?;
    let figure = |id: &str| drawn.iter().find(|f| f.id == id).map(Figure::html);
    let mut sections = vec![Section::new(
        "Where the scatter comes from",
        html! {
            @if let Some(sources) = figure("sources") { (sources) }
            (components(study, unit).html())
            p { (given_on(study, unit)) }
        },
    )];
    if let Some(two) = figure("two-sizes") {
        sections.push(Section::new("What it tells apart", html! { (two) }));
    }
    if let Some(pack) = &gauged.pack {
        sections
            .push(Section::new("In the pack", html! { p { (in_pack::sentence(pack)) } (in_pack::table(pack).html()) }));
    }
    if study.by_operator.len() > 1 {
        sections.push(Section::new(
            "Who reads how",
            html! { @if let Some(people) = figure("operators") { (people) } (operators(study, unit).html()) },
        ));
    }
    for (heading, table) in [
        ("Read again", wild(study, unit)),
        ("Check for a slip", odd_cells(study, unit)),
        ("Analysis of variance", variance_table(study, gauged.lengths)),
    ] {
        if !table.rows.is_empty() {
            sections.push(Section::new(heading, html! { (table.html()) }));
        }
    }
    let page = Page {
        title: "Can this gauge see the difference?".into(),
        kind: "Gauge study".into(),
        lead: None,
        notice: String::new(),
        answer: Some(answer(gauged)),
        sections,
        cautions: WORKSHOP_CAUTIONS.to_vec(),
    };
    Ok(page.html(envelope))
}

/// The study as JSON, documented in docs/results.md.
pub fn json<'a>(envelope: &'a Envelope, gauged: &'a Gauged) -> Document<'a, impl Serialize + 'a> {
    let study = &gauged.study;
    let estimate = |e: SdEstimate| json!({ "sd": e.sd, "interval": [e.interval.lower, e.interval.upper] });
    let maybe = |e: Option<SdEstimate>| e.map_or(Value::Null, estimate);
    let c = &study.components;
    let (method, interaction) = match study.method {
        GaugeMethod::AnovaWithInteraction => ("ANOVA", true),
        GaugeMethod::AnovaPooled => ("ANOVA", false),
        GaugeMethod::Reml { interaction, .. } => ("REML", interaction),
    };
    let fitness = |fitness: Fitness| match fitness {
        Fitness::Fit => "fit",
        Fitness::Marginal => "marginal",
        Fitness::NotShown => "not shown",
        Fitness::Unfit => "unfit",
    };
    let verdict = study.verdict();
    envelope.around(Answered {
        units: gauged.unit(),
        fitness: fitness(study.fitness),
        verdict: verdict.word(&packdrift_verdict::GAUGE),
        reasons: verdict.reasons().to_vec(),
        stands_out: study.wild.as_ref().map_or(Value::Null, |w| json!({
            "line": w.line, "part": w.part, "operator": w.operator, "trial": w.trial, "reading": w.reading, "expected": w.expected,
            "p_value": w.p_value, "with": word(w.with.as_ref()), "without": w.without.as_ref().map(|v| word(Some(v))),
            "without_fitness": w.fitness.map(fitness), "without_reading_sd": w.gauge_sd, "without_deciding_share": w.deciding_share,
            "without_deciding_interval": w.deciding_interval.map(|i| [i.lower, i.upper]) })),
        deciding_interval: [study.deciding_interval.lower, study.deciding_interval.upper],
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
            "difference": d.difference, "wrong_order": d.wrong_order, "wrong_size": d.wrong_size, "smallest_told": d.smallest_told, "smallest_told_at_most": d.smallest_told_at_most,
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
        in_pack: gauged.pack.as_ref().map_or(Value::Null, in_pack::json),
    })
}

#[derive(Serialize)]
struct Answered {
    units: &'static str,
    fitness: &'static str,
    deciding_share: f64,
    verdict: &'static str,
    reasons: Vec<String>,
    stands_out: Value,
    deciding_interval: [f64; 2],
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
    in_pack: Value,
}
