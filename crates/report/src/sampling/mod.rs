//! Sampling plans: how many parts, when to accept, and how surely.

mod history;

use crate::Lengths;
use crate::envelope::{Document, Envelope};
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Dash, Lettering, Pen, draw};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure};
use crate::number::{counted, estimated_share, percent, significant};
use crate::page::{Answer, Page, Section};
use crate::table::{Cell, Column, Standing, Table};
use maud::html;
use packdrift_lot::sampling::attributes::AttributesPlan;
use packdrift_lot::sampling::history::History;
use packdrift_lot::sampling::standard::StandardPlan;
use packdrift_lot::sampling::switching::State;
use packdrift_lot::sampling::variables::{VariablesPlan, VariablesVerdict};
use packdrift_lot::sampling::{OperatingPoint, OutgoingLimit, RiskPoints};
use packdrift_verdict::Verdict;
use serde::Serialize;
use serde_json::{Value, json};

/// Cautions for who samples.
const CAUTIONS: [&str; 3] = [
    "The contract, the standard it names and a responsible person's judgement come before anything on this page.",
    "A plan is a rule for many lots: it lets some pass that are worse than the limit, and refuses some that are better. Parts that can hurt somebody are not left to a sample.",
    "The promises hold for parts drawn at random from the whole lot, not for those on top of the box.",
];

/// A plan of either kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Plan {
    /// Count parts outside.
    Attributes(AttributesPlan),
    /// Mean and standard deviation.
    Variables(VariablesPlan),
}

/// Verdict on one lot's readings.
#[derive(Debug, Clone, PartialEq)]
pub struct LotVerdict {
    /// Lot.
    pub lot: String,
    /// Parts outside, counted; for a plan by attributes.
    pub outside: Option<u64>,
    /// By variables.
    pub variables: Option<VariablesVerdict>,
    /// Accepted or not.
    pub verdict: Verdict,
}

impl LotVerdict {
    /// Whether the lot is accepted; with parts to be taken out of it, where a plan by variables is met and parts of the sample lie outside.
    pub fn accepted(&self) -> bool {
        self.verdict.exit_status() == 0
    }

    /// Whether it is accepted, and something is to be done with it.
    fn is_accepted_with_parts_out(&self) -> bool {
        self.accepted() && !self.verdict.is_shown()
    }

    /// Whether its readings show neither.
    fn is_open(&self) -> bool {
        self.verdict.standing() == packdrift_verdict::Standing::NotShown
    }
}

/// What `sampling` answers.
#[derive(Debug, Clone, PartialEq)]
pub struct Sampling {
    /// The two points asked for; None for a plan looked up.
    pub risks: Option<RiskPoints>,
    /// Where the plan comes from, in a sentence.
    pub origin: String,
    /// The plan.
    pub plan: Plan,
    /// Its operating characteristic.
    pub curve: Vec<OperatingPoint>,
    /// Verdicts on readings, where given.
    pub verdicts: Vec<LotVerdict>,
    /// The unit that lengths are shown in.
    pub lengths: Lengths,
    /// Deliveries in a row under the switching rules, where given; `plan` is then that of the next lot.
    pub history: Option<History>,
}

impl Sampling {
    /// Whether every lot judged was accepted, and a history's last one, with inspection going on.
    pub fn acceptable(&self) -> bool {
        let history = self.history.as_ref();
        self.verdicts.iter().all(LotVerdict::accepted)
            && history.is_none_or(|h| {
                h.next != State::Discontinued && h.deliveries.last().is_none_or(|d| d.accepted == Some(true))
            })
    }
}

/// Where a standard plan comes from, and of a reduced one what it costs the buyer.
///
/// # Errors
/// None in practice: the chance asked of the plans is a fixed one.
pub fn origin(found: &StandardPlan, limit_percent: f64) -> Result<String, packdrift_lot::LotError> {
    let place = format!(
        "letter {} (row {}), acceptance quality limit {limit_percent} %, {}",
        found.code_letter,
        found.plan_letter,
        if found.printed() {
            "as in ISO 2859-1 and MIL-STD-105E"
        } else {
            "by the rule of the master table's diagonals (no public copy of this cell of ISO 2859-1 and MIL-STD-105E was at hand)"
        }
    );
    // A plan that asks for more parts than there are is no sample: nothing is left to chance, and the curve says little.
    let whole = if found.whole_lot {
        " It asks for at least as many parts as the lot has: every part is measured."
    } else {
        ""
    };
    let Some(normal) = found.normal else { return Ok(format!("Looked up: {place}.{whole}")) };
    let at = limit_percent / 100.0;
    Ok(format!(
        "Computed from the normal plan ({} parts, at most {} outside; {place}): a lot at the limit is accepted with {} instead of {}. \
         It protects you less: one lot in ten passes at {} outside, under the normal plan at {}.",
        normal.sample_size,
        normal.acceptance_number,
        percent(found.plan.accepted(at)),
        percent(normal.accepted(at)),
        percent(found.plan.quality_accepted_with(0.1)?),
        percent(normal.quality_accepted_with(0.1)?),
    ))
}

fn instruction(plan: &Plan, lengths: Lengths) -> String {
    match plan {
        Plan::Attributes(p) => {
            let rule = match p.acceptance_number {
                0 => "only if none is outside the limits".to_owned(),
                1 => "if at most 1 is outside the limits".to_owned(),
                n => format!("if at most {n} are outside the limits"),
            };
            format!("Measure {} drawn at random; accept the lot {rule}.", counted(p.sample_size as usize, "part"))
        }
        Plan::Variables(p) => {
            let sd = match p.sigma {
                packdrift_lot::sampling::variables::Sigma::Unknown => "their own standard deviation s".to_owned(),
                packdrift_lot::sampling::variables::Sigma::Known(sd) => {
                    format!("the known standard deviation {} {}", significant(lengths.of(sd), 3), lengths.unit())
                }
            };
            let rule = match p.largest_share {
                Some(m) => format!("the share outside estimated from mean and s is at most {}", percent(m)),
                None => format!(
                    "the mean keeps at least {} of {sd} from the limit",
                    significant(p.acceptability_constant, 4)
                ),
            };
            format!("Measure {} drawn at random; accept the lot if {rule}.", counted(p.sample_size as usize, "part"))
        }
    }
}

fn answer(s: &Sampling) -> Answer {
    let plan = instruction(&s.plan, s.lengths);
    if let Some(h) = &s.history {
        return history::answer(h, &plan, &s.origin);
    }
    if s.verdicts.is_empty() {
        return Answer { standing: Standing::Good, sentence: plan, advice: s.origin.clone() };
    }
    let named = |wanted: &dyn Fn(&&LotVerdict) -> bool| -> Vec<&str> {
        s.verdicts.iter().filter(wanted).map(|v| v.lot.as_str()).collect()
    };
    let (open, refused) = (named(&|v| v.is_open()), named(&|v| !v.accepted() && !v.is_open()));
    let advice = format!("{plan} {}", s.origin);
    if open.is_empty() && refused.is_empty() {
        let sentence = match s.verdicts.as_slice() {
            [only] => format!("{} is accepted.", only.lot),
            all => format!("All {} lots are accepted.", all.len()),
        };
        let with_parts_out = s.verdicts.iter().filter(|v| v.is_accepted_with_parts_out());
        let out: Vec<String> =
            with_parts_out.map(|v| format!("{}: {}.", v.lot, v.verdict.reasons().join("; "))).collect();
        if out.is_empty() {
            return Answer { standing: Standing::Good, sentence, advice };
        }
        return Answer { standing: Standing::Attend, sentence, advice: format!("{} {advice}", out.join(" ")) };
    }
    let mut parts = Vec::new();
    if !refused.is_empty() {
        parts.push(format!(
            "{} of {} {} not accepted: {}.",
            refused.len(),
            counted(s.verdicts.len(), "lot"),
            if refused.len() == 1 { "is" } else { "are" },
            refused.join(", ")
        ));
    }
    if !open.is_empty() {
        parts.push(format!("The readings do not show that the plan accepts {}: {}", open.join(", "), why_open(s)));
    }
    let standing = if refused.is_empty() { Standing::Attend } else { Standing::Act };
    Answer { standing, sentence: parts.join(" "), advice }
}

/// Why lots are open and what would settle it, each reason once.
fn why_open(s: &Sampling) -> String {
    let mut said: Vec<String> = Vec::new();
    for v in s.verdicts.iter().filter(|v| v.is_open()) {
        let reasons = v.verdict.reasons().join("; ");
        let end = if reasons.ends_with('?') { "" } else { "." };
        let one = format!("{reasons}{end} {}", v.verdict.what_settles_it().unwrap_or_default());
        let one = one.trim_end().to_owned();
        if !said.contains(&one) {
            said.push(one);
        }
    }
    said.join(" ")
}

fn curve(s: &Sampling) -> Table {
    let mut table = Table::new(
        "operating-characteristic",
        "Chance that a lot is accepted",
        vec![
            Column::number("share outside in the lot"),
            Column::number("chance of acceptance"),
            Column::number("at most, by the split between two limits"),
            Column::number("passed on, refused lots sorted"),
        ],
    );
    let two_sided = s.curve.iter().any(|p| p.accepted_at_most - p.accepted > 1e-9);
    for p in &s.curve {
        let at_most = if two_sided { Cell::estimated_share(p.accepted_at_most) } else { Cell::Empty };
        table.push(vec![
            Cell::share(p.quality),
            Cell::estimated_share(p.accepted),
            at_most,
            Cell::estimated_share(p.outgoing),
        ]);
    }
    table
}

fn verdicts(s: &Sampling) -> Table {
    let mut table = Table::new(
        "verdicts",
        "Each lot by the plan",
        vec![
            Column::text("lot"),
            Column::text("verdict"),
            Column::number("outside"),
            s.lengths.column("mean"),
            s.lengths.column("sd"),
            Column::number("sd to the lower limit"),
            Column::number("sd to the upper limit"),
        ],
    );
    for v in &s.verdicts {
        let (word, standing) = if v.accepted() {
            ("accepted", Standing::Good)
        } else if v.is_open() {
            ("not shown", Standing::Attend)
        } else {
            ("not accepted", Standing::Act)
        };
        let number = |x: Option<f64>| x.map_or(Cell::Empty, |x| Cell::significant(x, 4));
        table.push(vec![
            Cell::text(v.lot.as_str()),
            Cell::verdict(word, standing),
            v.outside.map_or(Cell::Empty, Cell::Count),
            number(v.variables.map(|v| s.lengths.of(v.mean))),
            number(v.variables.map(|v| s.lengths.of(v.sd))),
            number(v.variables.and_then(|v| v.lower_quality)),
            number(v.variables.and_then(|v| v.upper_quality)),
        ]);
    }
    table
}

/// All tables.
pub fn tables(s: &Sampling) -> Vec<Table> {
    let mut all = vec![verdicts(s), curve(s)];
    all.extend(s.history.as_ref().map(history::table));
    all.retain(|t| !t.rows.is_empty());
    all
}

/// The plan as text.
pub fn text(s: &Sampling) -> String {
    let answer = answer(s);
    let mut out = format!("{} {}", answer.standing.shape(), crate::text::wrapped(&answer.sentence, 98, 2).trim_start());
    if !answer.advice.is_empty() {
        out.push_str(&crate::text::wrapped(&answer.advice, 98, 2));
    }
    let verdicts = verdicts(s);
    if !verdicts.rows.is_empty() {
        out.push_str(&format!("\n{}", verdicts.text(2)));
    }
    if let Some(h) = &s.history {
        out.push_str(&format!("\n{}", history::table(h).text(2)));
        return out;
    }
    let mut curve = curve(s);
    // A terminal wants every fifth point, and the two that the plan was made for.
    let own = |quality: f64| s.risks.is_some_and(|r| [r.producer_quality, r.consumer_quality].contains(&quality));
    let kept: Vec<bool> = s.curve.iter().enumerate().map(|(k, p)| k % 5 == 0 || own(p.quality)).collect();
    let mut kept = kept.into_iter();
    curve.rows.retain(|_| kept.next().unwrap_or(true));
    if curve.rows.iter().all(|row| row[2] == Cell::Empty) {
        curve =
            curve.with_columns(&["share_outside_in_the_lot", "chance_of_acceptance", "passed_on_refused_lots_sorted"]);
    }
    out.push_str(&format!("\n{}\n{}", curve.caption, curve.text(2)));
    out.push_str(&crate::text::wrapped(&outgoing(s), 98, 2));
    out
}

fn outgoing_limit(s: &Sampling) -> OutgoingLimit {
    match &s.plan {
        Plan::Attributes(plan) => plan.outgoing_limit(),
        Plan::Variables(plan) => plan.outgoing_limit(),
    }
}

/// The average outgoing quality limit in a sentence.
fn outgoing(s: &Sampling) -> String {
    let limit = outgoing_limit(s);
    format!(
        "Where refused lots are sorted piece by piece and made good, at most {} is passed on in the long run, however bad the lots are (the worst is a share of {} as delivered).",
        estimated_share(limit.outgoing),
        estimated_share(limit.quality)
    )
}

/// The operating characteristic.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(s: &Sampling) -> Result<Vec<Figure>, Error> {
    let figure = Figure::draw(
        "operating-characteristic",
        "How surely a lot is accepted",
        "Chance of acceptance over the share outside in the lot, falling from 100 %.",
        match s.risks {
            Some(_) => {
                "Across: the share outside in the lot. Up: the chance that the plan accepts it. Dots: the two points the plan was made for."
            }
            None => "Across: the share outside in the lot. Up: the chance that the plan accepts it.",
        },
        curve(s),
        |format| {
            let (width, height) = (format.pick(900.0, 360.0), format.pick(400.0, 340.0));
            draw(width, height, |c| {
                let (left, right, top, bottom) = (52.0, width - 20.0, 44.0, height - 46.0);
                let most = s.curve.iter().map(|p| 100.0 * p.quality).fold(0.0, f64::max);
                let x = Axis::new(0.0, most, left, right);
                let y = Axis::new(0.0, 100.0, bottom, top);
                x.draw_horizontal(c, bottom, Some(top), "share outside in the lot, %")?;
                y.draw_vertical(c, left, right, "chance of acceptance, %")?;
                let line = |f: fn(&OperatingPoint) -> f64| {
                    s.curve.iter().map(|p| (x.at(100.0 * p.quality), y.at(100.0 * f(p)))).collect::<Vec<_>>()
                };
                if s.curve.iter().any(|p| p.accepted_at_most - p.accepted > 1e-3) {
                    c.polyline(&line(|p| p.accepted_at_most), Pen::new(Ink::Main, 1.5).dashed(Dash::Long))?;
                }
                c.polyline(&line(|p| p.accepted), Pen::new(Ink::Main, 2.5))?;
                if let Some(r) = s.risks {
                    for (quality, chance, name) in [
                        (r.producer_quality, 1.0 - r.producer_risk, "the supplier's point"),
                        (r.consumer_quality, r.consumer_risk, "the buyer's point"),
                    ] {
                        let at = (x.at(100.0 * quality), y.at(100.0 * chance));
                        c.dot(at, 4.0, Ink::Limit)?;
                        let (dx, anchor) = if at.0 > 0.7 * width { (-8.0, Anchor::End) } else { (8.0, Anchor::Start) };
                        c.text(
                            name,
                            (at.0 + dx, at.1 - 8.0),
                            Lettering::new(Ink::Limit, format.pick(Lettering::NORMAL, Lettering::SMALL))
                                .anchored(anchor),
                        )?;
                    }
                }
                Ok(())
            })
        },
    )?;
    Ok(vec![figure])
}

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, s: &Sampling) -> Result<String, Error> {
    let figures = figures(s)?;
    let verdicts = verdicts(s);
    let mut sections = Vec::new();
    if !verdicts.rows.is_empty() {
        sections.push(Section::new("Verdicts", html! { (verdicts.html()) }));
    }
    if let Some(h) = &s.history {
        sections.push(Section::new("Delivery by delivery", html! { (history::table(h).html()) }));
    }
    sections
        .push(Section::new("What the plan promises", html! { @for f in &figures { (f.html()) } p { (outgoing(s)) } }));
    let page = Page {
        title: "How many parts to measure, and when to accept".into(),
        kind: "Sampling plan".into(),
        lead: None,
        notice: String::new(),
        answer: Some(answer(s)),
        sections,
        cautions: CAUTIONS.to_vec(),
    };
    Ok(page.html(envelope))
}

/// The plan as JSON, documented in docs/results.md.
pub fn json<'a>(envelope: &'a Envelope, s: &'a Sampling) -> Document<'a, impl Serialize + 'a> {
    let plan = match &s.plan {
        Plan::Attributes(p) => {
            json!({ "kind": "attributes", "n": p.sample_size, "c": p.acceptance_number, "lot_size": p.lot_size })
        }
        Plan::Variables(p) => json!({
            "kind": "variables", "n": p.sample_size, "k": p.acceptability_constant, "largest_share": p.largest_share,
            "sigma": match p.sigma {
                packdrift_lot::sampling::variables::Sigma::Unknown => Value::Null,
                packdrift_lot::sampling::variables::Sigma::Known(sd) => json!(s.lengths.of(sd)),
            } }),
    };
    envelope.around(Answered {
        units: s.lengths.unit(),
        acceptable: s.acceptable(),
        risks: s.risks.map_or(Value::Null, |r| json!({
            "producer": [r.producer_quality, r.producer_risk], "consumer": [r.consumer_quality, r.consumer_risk] })),
        origin: &s.origin,
        plan,
        operating_characteristic: s.curve.iter().map(|p| json!({ "quality": p.quality, "accepted": p.accepted, "accepted_at_most": p.accepted_at_most, "outgoing": p.outgoing })).collect(),
        outgoing_limit: { let limit = outgoing_limit(s); json!({ "quality": limit.quality, "outgoing": limit.outgoing }) },
        verdicts: s.verdicts.iter().map(|v| json!({
            "lot": v.lot, "accepted": v.accepted(), "verdict": v.verdict.word(&packdrift_verdict::SAMPLING), "reasons": v.verdict.reasons(),
            "settled_by": v.verdict.what_settles_it(), "outside": v.outside,
            "mean": v.variables.map(|v| s.lengths.of(v.mean)), "sd": v.variables.map(|v| s.lengths.of(v.sd)), "lower_quality": v.variables.and_then(|v| v.lower_quality),
            "upper_quality": v.variables.and_then(|v| v.upper_quality), "estimated_share": v.variables.and_then(|v| v.estimated_share) })).collect(),
        history: s.history.as_ref().map_or(Value::Null, history::json),
    })
}

#[derive(Serialize)]
struct Answered<'a> {
    units: &'static str,
    acceptable: bool,
    risks: Value,
    origin: &'a str,
    plan: Value,
    operating_characteristic: Vec<Value>,
    outgoing_limit: Value,
    verdicts: Vec<Value>,
    history: Value,
}
