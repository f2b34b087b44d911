//! Allocation: which tolerance to tighten, which may be opened, and what that costs.

use crate::envelope::{Document, Envelope};
use crate::figure::axis::Axis;
use crate::figure::canvas::{Anchor, Dash, Lettering, Pen, draw, fitted_end};
use crate::figure::ink::Ink;
use crate::figure::{Error, Figure, Format, Svg};
use crate::number::{decimals, fixed, percent, significant};
use crate::page::{Answer, Page, Section, WORKSHOP_CAUTIONS};
use crate::table::{Cell, Column, Standing, Table};
use maud::html;
use packdrift_spread::{Allocated, Allocation, AtBound, Optimum, Stack};
use serde_json::{Value, json};

/// Tolerances drawn; the rest are in the table.
const DRAWN: usize = 24;

/// By less than this part a tolerance is as it was.
const SAME: f64 = 1e-6;

fn verdict(d: &Allocated) -> (&'static str, Standing) {
    if d.tol < d.tol_now * (1.0 - SAME) {
        ("tighten", Standing::Act)
    } else if d.tol > d.tol_now * (1.0 + SAME) {
        ("open", Standing::Good)
    } else {
        ("keep", Standing::Good)
    }
}

fn count(result: &Allocation, word: &str) -> usize {
    result.dimensions.iter().filter(|d| verdict(d).0 == word).count()
}

fn optimum(result: &Allocation) -> String {
    match result.optimum {
        Optimum::Proven { branches } => {
            format!("No choice of grades costs less: proved by branch and bound, {branches} branches.")
        }
        Optimum::Best { branches, at_least } => {
            let places = places_of_costs(result);
            format!(
                "The search ended after {branches} branches without a proof: a cheaper choice of grades may exist, but none that costs less than {} ({} less).",
                fixed(at_least, places),
                percent((1.0 - at_least / result.cost).max(0.0))
            )
        }
        Optimum::Kkt { residual } if residual.is_finite() => {
            format!("By the slopes at these tolerances {} of the cost is still to be saved.", percent(residual))
        }
        Optimum::Kkt { .. } => "The search for least cost did not settle: take the result as a good start.".to_owned(),
    }
}

fn answer(result: &Allocation) -> Answer {
    let (tighten, open) = (count(result, "tighten"), count(result, "open"));
    let change = match (tighten, open) {
        (0, 0) => "Keep the tolerances as drawn".to_owned(),
        (0, open) => format!("Open {open} of {} tolerances", result.dimensions.len()),
        (tighten, 0) => format!("Tighten {tighten} of {} tolerances", result.dimensions.len()),
        (tighten, open) => format!("Tighten {tighten} tolerances, open {open}"),
    };
    let places = places_of_costs(result);
    let money = match result.cost_now {
        Some(now) => format!("cost {} instead of {}", fixed(result.cost, places), fixed(now, places)),
        None => format!("cost {}", fixed(result.cost, places)),
    };
    Answer {
        standing: crate::stack::weight(&result.verdict()),
        sentence: format!(
            "{change}: {money}, {} of packs outside, at most {} (ceiling {}; as drawn {}).",
            crate::number::share(result.out.value, result.out.standard_error),
            crate::stack::rounded_up(result.bound),
            percent(result.ceiling),
            percent(result.out_now.value)
        ),
        advice: optimum(result),
    }
}

/// Decimal places of costs, in whatever money they are: two digits of a hundredth of the whole.
fn places_of_costs(result: &Allocation) -> i32 {
    decimals(result.cost / 100.0).unwrap_or(2)
}

fn bound(d: &Allocated) -> &'static str {
    match d.at_bound {
        Some(AtBound::Tightest) => "tightest looked at",
        Some(AtBound::Widest) => "widest looked at: it hardly matters",
        None => "",
    }
}

/// The unit of a tolerance: a rate or a temperature is in its own.
fn unit(stack: &Stack, result: &Allocation, d: &Allocated) -> &'static str {
    match stack.pack.dimensions[d.input].unit {
        "mm" => result.length_unit,
        other => other,
    }
}

fn tolerances(stack: &Stack, result: &Allocation) -> Table {
    let mut table = Table::new(
        "tolerances",
        "Tolerances of least cost: limits are at plus and minus these about their middle",
        vec![
            Column::text("dimension"),
            Column::text("verdict"),
            Column::text("unit"),
            Column::number("as drawn").key("tol_now"),
            Column::number("least cost").key("tol"),
            Column::number("cost"),
            Column::number("grade, from the tightest").key("grade"),
            Column::text("remark"),
        ],
    );
    let places = places_of_costs(result);
    for d in &result.dimensions {
        let (word, standing) = verdict(d);
        table.push(vec![
            Cell::text(&d.dimension),
            Cell::verdict(word, standing),
            Cell::text(unit(stack, result, d)),
            Cell::significant(d.tol_now, 3),
            Cell::significant(d.tol, 3),
            Cell::fixed(d.cost, places),
            d.grade.map_or(Cell::Empty, |grade| Cell::Count(grade as u64 + 1)),
            Cell::text(bound(d)),
        ]);
    }
    table
}

fn requirements(stack: &Stack, result: &Allocation) -> Table {
    let mut table = Table::new(
        "requirements",
        "What is left outside of each requirement",
        vec![
            Column::text("requirement"),
            Column::text("condition"),
            Column::text("verdict"),
            Column::number("outside").key("out"),
            Column::number("allowed").key("max_out"),
        ],
    );
    for (requirement, out) in stack.requirements.iter().zip(&result.requirements) {
        let met = out.bounds.1 <= requirement.max_out;
        let (word, standing) = if met { ("met", Standing::Good) } else { ("not met", Standing::Act) };
        let condition = stack.pack.conditions.get(requirement.condition).map_or("", |c| c.name.as_str());
        table.push(vec![
            Cell::text(&requirement.name),
            Cell::text(condition),
            Cell::verdict(word, standing),
            Cell::share(out.total),
            Cell::share(requirement.max_out),
        ]);
    }
    table
}

/// All tables.
pub fn tables(stack: &Stack, result: &Allocation) -> Vec<Table> {
    vec![tolerances(stack, result), requirements(stack, result)]
}

/// The allocation as text.
pub fn text(stack: &Stack, result: &Allocation) -> String {
    let answer = answer(result);
    let sentence = crate::text::wrapped(&answer.sentence, 98, 2);
    let mut out = format!("{} {}", answer.standing.shape(), sentence.trim_start());
    if !answer.advice.is_empty() {
        out.push_str(&crate::text::wrapped(&answer.advice, 98, 2));
    }
    for table in tables(stack, result) {
        out.push_str(&format!("\n{}\n{}", table.caption, table.text(2)));
    }
    out
}

/// The tolerances as drawn and as they cost least.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn figures(stack: &Stack, result: &Allocation) -> Result<Vec<Figure>, Error> {
    let description = format!(
        "For each tolerance the width as drawn and the width that costs least: {} to tighten, {} to open.",
        count(result, "tighten"),
        count(result, "open")
    );
    let figure = Figure::draw(
        "tolerances",
        "Tolerances as drawn, and as they cost least",
        description,
        "Ring: as drawn. Dot: least cost; to the left of its ring a tolerance is tightened, to the right it is opened. The scale is \
         logarithmic: equal distances are equal ratios.",
        tolerances(stack, result),
        |format| paint(result, format),
    )?;
    Ok(vec![figure])
}

fn paint(result: &Allocation, format: Format) -> Result<Svg, Error> {
    let shown = &result.dimensions[..result.dimensions.len().min(DRAWN)];
    let (width, row) = (format.pick(900.0, 360.0), format.pick(26.0, 40.0));
    let (left, right, top) = (format.pick(300.0, 12.0), width - 20.0, 16.0);
    let bottom = top + row * shown.len() as f64;
    let logs = shown.iter().flat_map(|d| [d.tol_now.log10(), d.tol.log10()]);
    let (low, high) = logs.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    draw(width, bottom + 46.0, |c| {
        let x = Axis::new(low - 0.1, high + 0.1, left, right);
        let pen = Pen::new(Ink::Ink, 0.8);
        c.line((left, bottom), (right, bottom), pen)?;
        let small = Lettering::new(Ink::Ink, Lettering::SMALL).anchored(Anchor::Middle);
        for exponent in -6..=3 {
            for step in [1.0, 2.0, 5.0] {
                let value = step * 10.0_f64.powi(exponent);
                if x.holds(value.log10()) {
                    let at = x.at(value.log10());
                    c.line((at, bottom), (at, bottom + 5.0), pen)?;
                    c.text(&significant(value, 1), (at, bottom + 14.0), small)?;
                }
            }
        }
        c.text(&format!("tolerance, {}", result.length_unit), (0.5 * (left + right), bottom + 36.0), small)?;
        for (i, d) in shown.iter().enumerate() {
            let y0 = top + row * i as f64;
            let y = y0 + format.pick(0.5 * row, 28.0);
            let lettering = Lettering::new(Ink::Ink, Lettering::NORMAL);
            match format {
                Format::Wide => {
                    let name = fitted_end(&d.dimension, Lettering::NORMAL, left - 14.0);
                    c.text(&name, (left - 12.0, y), lettering.anchored(Anchor::End))?;
                }
                Format::Narrow => {
                    let name = fitted_end(&d.dimension, Lettering::NORMAL, width - 24.0);
                    c.text(&name, (left, y0 + 10.0), lettering)?;
                }
            }
            let (now, then) = (x.at(d.tol_now.log10()), x.at(d.tol.log10()));
            c.line((left, y), (right, y), Pen::new(Ink::Ink, 0.3).dashed(Dash::Long))?;
            c.line((now, y), (then, y), Pen::new(Ink::Main, 2.0))?;
            c.ring((now, y), 4.5, Pen::new(Ink::Ink, 1.4))?;
            c.dot((then, y), 4.5, Ink::Main)?;
        }
        Ok(())
    })
}

/// The allocation as JSON: see `docs/results.md`.
pub fn json<'a>(envelope: &'a Envelope, stack: &Stack, result: &Allocation) -> Document<'a, Value> {
    let (kind, branches, residual, at_least) = match result.optimum {
        Optimum::Proven { branches } => ("proven", Some(branches), None, Some(result.cost)),
        Optimum::Best { branches, at_least } => ("best found", Some(branches), None, Some(at_least.min(result.cost))),
        Optimum::Kkt { residual } => ("kkt", None, residual.is_finite().then_some(residual), None),
    };
    let dimensions: Vec<Value> = result
        .dimensions
        .iter()
        .map(|d| {
            json!({
                "dimension": d.dimension,
                "unit": unit(stack, result, d),
                "verdict": verdict(d).0,
                "tol_now": d.tol_now,
                "tol": d.tol,
                "cost": d.cost,
                "grade": d.grade.map(|g| g + 1),
                "at_bound": match d.at_bound {
                    Some(AtBound::Tightest) => Some("tightest"),
                    Some(AtBound::Widest) => Some("widest"),
                    None => None,
                },
            })
        })
        .collect();
    let requirements: Vec<Value> = stack
        .requirements
        .iter()
        .zip(&result.requirements)
        .map(|(r, out)| {
            json!({
                "name": r.name,
                "quantity": r.quantity.kind().name(),
                "condition": stack.pack.conditions.get(r.condition).map(|c| c.name.as_str()),
                "out": out.total,
                "standard_error": out.standard_error,
                "max_out": r.max_out,
                "acceptable": out.bounds.1 <= r.max_out,
            })
        })
        .collect();
    envelope.around(json!({
        "ceiling": result.ceiling,
        "out": { "total": result.out.value, "standard_error": result.out.standard_error, "ci95": [result.ci95.0, result.ci95.1], "bound": result.bound },
        "out_now": result.out_now.value,
        "cost": result.cost,
        "cost_now": result.cost_now,
        "optimum": { "kind": kind, "branches": branches, "residual": residual, "at_least": at_least },
        "rounds": result.rounds,
        "dimensions": dimensions,
        "requirements": requirements,
        "acceptable": result.acceptable(),
        "verdict": crate::stack::VerdictForm::new(&result.verdict()),
    }))
}

/// The report.
///
/// # Errors
/// As for [`figures`].
pub fn page(envelope: &Envelope, stack: &Stack, result: &Allocation) -> Result<String, Error> {
    let figures = figures(stack, result)?;
    let mut sections = vec![Section::new(
        "Tolerances",
        html! { @for figure in &figures { (figure.html()) } (tolerances(stack, result).html()) },
    )];
    sections.push(Section::new("Requirements", html! { (requirements(stack, result).html()) }));
    let page = Page {
        title: format!("{}: tolerances of least cost", stack.pack.title),
        kind: "Allocation".into(),
        lead: None,
        notice: String::new(),
        answer: Some(answer(result)),
        sections,
        cautions: WORKSHOP_CAUTIONS.to_vec(),
    };
    Ok(page.html(envelope))
}
