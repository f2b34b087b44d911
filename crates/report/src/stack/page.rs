//! The stack as a page: the verdict, the requirements, the bays as drawn, then each requirement's spread and its causes.

use super::{DRAWN_BAYS, View, advice, bays, moved, order, tables, text, views};
use crate::envelope::Envelope;
use crate::figure::{Error, Figure, unique};
use crate::number::{NO_VALUE, count, fixed, percent};
use crate::page::{Answer, Page, Section, WORKSHOP_CAUTIONS};
use crate::table::{Cell, Column, Standing, Table};
use maud::{Markup, html};
use packdrift_pack::QuantityKind;
use packdrift_spread::{RequirementResult, Stack, StackResult};

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, stack: &Stack, result: &StackResult) -> Result<String, Error> {
    let page = Page {
        title: if stack.pack.title.is_empty() { "Pack".into() } else { stack.pack.title.clone() },
        kind: "How far preload and contact offset spread".into(),
        lead: None,
        notice: String::new(),
        answer: Some(answer(stack, result)),
        sections: sections(stack, result)?,
        cautions: cautions(result),
    };
    Ok(page.working_html(envelope))
}

/// Those of every page of the workshop, and of stresses where some are required.
fn cautions(result: &StackResult) -> Vec<&'static str> {
    let mut cautions = WORKSHOP_CAUTIONS.to_vec();
    if result.requirements.iter().any(|r| r.quantity == QuantityKind::Stress) {
        cautions.push(
            "Stresses of spring washers are nominal and say nothing of fatigue, setting or corrosion. What a washer bears, once and again and again, is \
             for its maker to say; a broken washer leaves the rocker loose.",
        );
    }
    cautions
}

pub(crate) fn answer(stack: &Stack, result: &StackResult) -> Answer {
    Answer {
        standing: result.verdict().as_ref().map_or(Standing::Attend, order::weight),
        sentence: text::summary(result),
        advice: advice::advice(stack, result),
    }
}

/// The parts of the page.
fn sections(stack: &Stack, result: &StackResult) -> Result<Vec<Section>, Error> {
    let mut drawings = bays(stack, super::lengths_of(result))?;
    let mut views = views(result)?;
    let mut all: Vec<&mut Figure> = drawings.iter_mut().collect();
    all.extend(views.iter_mut().flat_map(|view| &mut view.figures));
    unique(&mut all);
    Ok(vec![
        Section::new("Requirements", requirements(result)),
        Section::new("The bays", bays_body(stack, &drawings, super::lengths_of(result))),
        Section::new("Spread and its causes", spreads(result, &views)),
    ])
}

fn requirements(result: &StackResult) -> Markup {
    let mut table = Table::new(
        "requirements",
        "What is not met first, then by how little there is to spare",
        vec![
            Column::text("requirement"),
            Column::text("verdict"),
            Column::text("limits"),
            Column::number("nominal"),
            Column::number("mean ± sd"),
            Column::number("outside"),
            Column::number("at most"),
            Column::number("allowed"),
            Column::number("worst case"),
            Column::number("Ppk"),
        ],
    );
    for r in order::ranked(result) {
        table.push(requirement(r));
    }
    let methods: std::collections::BTreeSet<String> =
        result.requirements.iter().map(|r| r.spread.method.to_string()).collect();
    let methods: Vec<String> = methods.into_iter().collect();
    let trials = result.requirements.iter().map(|r| r.spread.trials).max().unwrap_or(0);
    html! {
        @if result.requirements.is_empty() {
            p { "The pack file has none." }
        } @else {
            (table.html())
            p.soft {
                "Outside: the share of packs beyond a limit, with its standard error; at most: three standard errors more, and what may be there although none \
                 was seen: the verdict is by this bound. Method: " (methods.join(", ")) @if trials > 0 { ", " (count(trials)) " trials" } ". Worst case: every dimension at the limit that hurts. \
                 Ppk: distance from the middle to the nearer limit over half the spread of 99.73 % of packs (ISO 22514-2)."
            }
            @if let Some(joint) = &result.joint {
                p {
                    "Packs that break at least one limit: " (crate::number::share(joint.out.value, joint.out.standard_error))
                    ", at most " (order::rounded_up(joint.bound)) ". Added up one by one the shares come to " (percent(joint.sum.min(1.0)))
                    @if joint.out.value < 0.95 * joint.sum { ": the same packs tend to break several." } @else { "." }
                }
                @if let Some(table) = tables::together(result).or_else(|| tables::correlation(result)) {
                    details { summary { "How the requirements go together" } (table.html()) }
                }
            }
            @if let Some(table) = tables::changes(result) { (table.html()) }
        }
    }
}

fn requirement(r: &RequirementResult) -> Vec<Cell> {
    let (word, standing) = order::verdict(r);
    let bounds = crate::Lengths::limits_in(r.unit, r.lower, r.upper);
    vec![
        Cell::text(order::name(r)),
        Cell::verdict(word, standing),
        Cell::text(if bounds == NO_VALUE { bounds } else { format!("{bounds}\u{a0}{}", r.unit) }),
        r.nominal.map_or(Cell::Empty, |v| Cell::fixed(v, order::places(r))),
        Cell::text(text::mean_sd(r)),
        Cell::text(order::outside(r)),
        order::at_most(r),
        if order::has_limits(r) { Cell::share(r.max_out) } else { Cell::Empty },
        Cell::text(text::interval(r, r.worst_case.min, r.worst_case.max)),
        r.capability.ppk.map_or(Cell::Empty, |v| Cell::shown_as(v, fixed(v, 2))),
    ]
}

fn bays_body(stack: &Stack, drawings: &[Figure], lengths: crate::Lengths) -> Markup {
    let alike = |i: usize| (0..i).any(|before| super::are_alike(stack, before, i));
    let omitted = (0..stack.pack.bays.len()).filter(|&i| !alike(i)).count().saturating_sub(DRAWN_BAYS);
    html! {
        @for figure in drawings { (figure.html()) }
        @if omitted > 0 { p.note { (omitted) " more bays are not drawn; their figures are in tables/bays.csv." } }
        details { summary { "Every bay at nominal, in every condition" } (tables::bays(stack, lengths).html()) }
    }
}

fn spreads(result: &StackResult, views: &[View<'_>]) -> Markup {
    let shown: usize = views.iter().map(|view| 1 + view.twins.len()).sum();
    let omitted = result.requirements.len().saturating_sub(shown);
    html! {
        p {
            "Left: the distribution of the quantity over packs; hatched is outside the limits, a dark triangle marks the value with every \
             dimension at nominal. Under it, on the same scale: the worst case, the root sum square with three standard deviations to each side, \
             and the interval that holds 99.73 % of packs. Right: which dimensions make it spread, by their share of the \
             variance, to first order; lot/… is what the parts of a packet share."
        }
        @for (k, view) in views.iter().enumerate() {
            @let same = order::same_for(&view.twins);
            @if !same.is_empty() { p.note { b { (order::name(view.requirement)) } ". " (same) } }
            div.pair {
                @if let Some((spread, causes)) = view.figures.split_first() {
                    (spread.html())
                    div { @for figure in causes { (figure.html()) } }
                }
            }
            @if let Some(form) = view.figures.first().and_then(|f| moved::form(view.requirement, k, result.length_unit, f)) { (form) }
            @if let Some(table) = tables::answers(result, view.requirement, 12) {
                details.after { summary { (order::name(view.requirement)) ": what a change of one dimension would bring" } (table.html()) }
            }
        }
        @if omitted > 0 { p.note { (omitted) " more requirements, with more to spare, are in the tables." } }
    }
}
