//! Tolerances, sizes, measuring: which pays?
//!
//! An engineer sets tolerances and which shims to hold; a shop reads every build and fits it. Each of these keeps builds inside, at its own
//! price. The demo's priced bay is taken, with its drawer's sizes and its invented prices. Three steps:
//!
//! 1. the cheapest way to keep 1 % outside by tolerances alone (`allocate`, builds as drawn), by the drawer alone (tolerances as drawn), and by
//!    both chosen together;
//! 2. the same for other ceilings: where does quality cost much?
//! 3. both together with one, two and more sizes at most, their pieces as bought or measured.

use crate::chart::{Chart, Mark, Series};
use crate::demo;
use maud::html;
use packdrift_policy::{
    Asked, Decision, Effort, Estimate, Pieces, Policy, Question, Shop, cheapest_choice, choose_policy,
};
use packdrift_report::figure::ink::Ink;
use packdrift_report::number;
use packdrift_report::page::{Answer, Page, Section};
use packdrift_report::table::{Cell, Column, Standing, Table};
use packdrift_spread::{AllocateOptions, Silent, allocate};
use packdrift_stock::{PacketScatter, catalogue_of};
use std::error::Error;

/// Share outside after fitting that is asked for.
const CEILING: f64 = 0.01;
/// Ceilings at which tolerances alone are priced beside it.
const CEILINGS: [f64; 4] = [0.005, 0.01, 0.02, 0.04];
/// Work for each point of the figure of sizes; the answers themselves get what `allocate` puts in.
const FOR_A_POINT: Effort = Effort { builds: 4096, choices: 300, final_builds: 65_536, seed: 1 };

type Points = Vec<(f64, f64)>;

pub(crate) fn study() -> Result<Page, Box<dyn Error>> {
    let question = question(5)?;
    let together = choose_policy(&question, &Effort::default(), &Silent)?;
    let drawer = choose_policy(&as_drawn(&question), &Effort::default(), &Silent)?;
    let (mut alone, mut alone_at) = (Vec::new(), None);
    for ceiling in CEILINGS {
        let options = AllocateOptions { max_out: Some(ceiling), ..AllocateOptions::default() };
        let Ok(found) = allocate(&question.stack, &options, &Silent) else { continue };
        if found.bound <= ceiling {
            alone.push((100.0 * ceiling, found.cost));
            if (ceiling / CEILING - 1.0).abs() < 1e-9 {
                alone_at = Some(found.cost);
            }
        }
    }
    let by_sizes = by_sizes()?;
    let best = &together.best;
    let kept = together.verdict.is_shown();
    let sentence = format!(
        "Both together: {} of {} tolerances opened and {} sizes held {} {} outside for {} a build; the drawer alone takes {}, tolerances alone {}.",
        opened(&together),
        question.priced.len(),
        best.choice.sizes.count_ones(),
        if kept { "keep" } else { "are not shown to keep" },
        number::percent(CEILING),
        money(best.cost.value),
        money(drawer.best.cost.value),
        alone_at.map_or_else(|| "more than was found".to_owned(), money),
    );
    let curves = curves(&together, &drawer, alone)?;
    let sizes = sizes_figure(&by_sizes)?;
    Ok(Page {
        lead: None,
        title: "Tolerances, sizes, measuring: which pays?".into(),
        kind: "Study".into(),
        notice: "Invented data: the demo's bay, drawer and prices.".into(),
        answer: Some(Answer {
            standing: if kept { Standing::Good } else { Standing::Attend },
            sentence,
            advice: advice(&together),
        }),
        sections: vec![
            Section::new(
                "What keeps the ceiling",
                html! {
                    p { "A build's cost, part by part. Drawn tolerances that are not fitted are outside in "
                        (number::percent(together.today.as_ref().map_or(f64::NAN, |e| e.out_drawn.value))) " of the builds. Tolerances that are opened leave "
                        (number::percent(best.out_drawn.value)) " outside as assembled; after fitting it is "
                        (number::percent(best.out.value)) ", not above " (number::percent(best.bound)) "." }
                    (costs(&together, &drawer, alone_at).html())
                },
            ),
            Section::new("Other ceilings", html! { (curves.html()) }),
            Section::new(
                "How many sizes, and whether to measure",
                html! {
                    p { "Tolerances are chosen anew for each number of sizes. A measured piece has no packet's deviation left to doubt, so it lands where it was \
                         aimed; it costs its measuring every time one goes in." }
                    (sizes.html())
                },
            ),
            Section::new(
                "Each decision changed alone",
                html! {
                    p { "From the cheapest choice, all else as it is. A change that saves money breaks the ceiling, or is so near it that the bound does not show it kept." }
                    (changes(&together).html())
                },
            ),
        ],
        cautions: vec![
            "Other prices give another answer: the shares of the cost say what they would have to be. The made builds follow the tolerances' own \
             distributions; a process that drifts needs more.",
        ],
    })
}

/// The demo's bay and drawer, with at most so many sizes held.
fn question(most_sizes: usize) -> Result<Question, Box<dyn Error>> {
    let pack = packdrift_records::read_pack(&demo("pack-with-prices.toml"))?.value;
    let units = packdrift_records::LengthUnit::Millimetre;
    let pieces =
        packdrift_records::read_drawer(&demo("drawer.csv"), units, &packdrift_records::Options::default())?.value;
    let catalogue = catalogue_of(&pieces, &pack.stack, PacketScatter::default(), None)?;
    let prices = pack.prices.unwrap_or_default();
    let asked = Asked { max_out: Some(CEILING), most_sizes };
    Ok(Question::new(&pack.stack, &catalogue, &prices, &Shop::default(), &asked)?)
}

/// The same with nothing but the drawn tolerances to be had.
fn as_drawn(question: &Question) -> Question {
    let mut drawn = question.clone();
    for priced in &mut drawn.priced {
        priced.levels = vec![priced.levels[priced.now]];
        priced.now = 0;
    }
    drawn
}

/// What the cheapest choice found costs with so many sizes at most, pieces as bought and measured.
struct BySizes {
    most: usize,
    cost: [f64; 2],
}

/// Sizes that may be held.
const SIZES: [usize; 4] = [1, 2, 3, 5];
const WAYS: [Pieces; 2] = [Pieces::AsBought, Pieces::Measured];

fn by_sizes() -> Result<Vec<BySizes>, Box<dyn Error>> {
    let mut all: Vec<BySizes> = Vec::new();
    for most in SIZES {
        let mut cost = [0.0; 2];
        for (cost, pieces) in cost.iter_mut().zip(WAYS) {
            let mut question = question(most)?;
            question.ways = vec![pieces];
            let (best, verdict) = cheapest_choice(&question, &FOR_A_POINT, &Silent)?;
            *cost = if verdict.is_shown() { best.cost.value } else { f64::INFINITY };
        }
        // What does with fewer sizes does here too.
        if let Some(fewer) = all.last() {
            cost.iter_mut().zip(fewer.cost).for_each(|(cost, fewer)| *cost = cost.min(fewer));
        }
        all.push(BySizes { most, cost });
    }
    Ok(all)
}

fn money(value: f64) -> String {
    number::fixed(value, 2)
}

fn opened(policy: &Policy) -> usize {
    let choice = &policy.best.choice;
    policy.question.priced.iter().zip(&choice.levels).filter(|(p, l)| usize::from(**l) > p.now).count()
}

/// What opening and measuring are worth: measuring by itself, all else as chosen, on the same draws.
fn advice(together: &Policy) -> String {
    let drawn = together.today.as_ref().map_or(f64::NAN, |e| e.cost.value);
    let to_measured = |d: &Decision| matches!(d, Decision::Pieces { to: Pieces::Measured, .. });
    let measured = together.alone.iter().find(|one| to_measured(&one.decision)).map(|one| one.cost);
    format!(
        "Opening tolerances saves {} a build against drawn ones with every size held.{}",
        money(drawn - together.best.cost.value),
        measured.map_or_else(String::new, |more| format!(
            " Measuring the pieces {} {}, all else as it is.",
            if more > 0.0 { "costs" } else { "saves" },
            money(more.abs())
        )),
    )
}

fn costs(together: &Policy, drawer: &Policy, alone: Option<f64>) -> Table {
    let mut table = Table::new(
        "costs",
        "What a build costs, and how many are outside",
        vec![
            Column::text("way"),
            Column::number("a build"),
            Column::number("tolerances"),
            Column::number("bench"),
            Column::number("pieces"),
            Column::number("assembled, % out"),
            Column::number("at last, %"),
            Column::number("not above, %"),
        ],
    );
    let mut row = |name: &str, e: &Estimate| {
        let bench = e.parts.reading + e.parts.opening + e.parts.touching;
        let tolerances = e.parts.tolerances.iter().sum::<f64>();
        table.push(vec![
            Cell::text(name),
            Cell::fixed(e.cost.value, 2),
            Cell::fixed(tolerances, 2),
            Cell::fixed(bench, 2),
            Cell::fixed(e.parts.total() - tolerances - bench, 2),
            Cell::fixed(100.0 * e.out_drawn.value, 2),
            Cell::fixed(100.0 * e.out.value, 2),
            Cell::fixed(100.0 * e.bound, 2),
        ]);
    };
    row("tolerances and drawer together", &together.best);
    row("drawer alone: tolerances as drawn, the best sizes", &drawer.best);
    if let Some(today) = &together.today {
        row("tolerances as drawn, every size", today);
    }
    if let Some(cost) = alone {
        let ceiling = Cell::fixed(100.0 * CEILING, 2);
        table.push(vec![
            Cell::text("tolerances alone, not fitted"),
            Cell::fixed(cost, 2),
            Cell::fixed(cost, 2),
            Cell::fixed(0.0, 2),
            Cell::fixed(0.0, 2),
            ceiling.clone(),
            ceiling.clone(),
            ceiling,
        ]);
    }
    table
}

/// Points of a curve that are shown to keep their ceiling.
fn shown(policy: &Policy) -> Points {
    let kept = policy.curve.iter().filter_map(|p| p.estimate.as_ref().filter(|e| e.bound <= p.ceiling).map(|e| (p, e)));
    // Beyond what tolerances alone are priced for nothing is compared.
    kept.filter(|(p, _)| p.ceiling <= CEILINGS[CEILINGS.len() - 1])
        .map(|(p, e)| (100.0 * p.ceiling, e.cost.value))
        .collect()
}

fn curves(
    together: &Policy,
    drawer: &Policy,
    alone: Points,
) -> Result<packdrift_report::Figure, packdrift_report::Error> {
    let chart = Chart {
        id: "cost by ceiling",
        title: "Cost of a build by the ceiling of the share outside",
        description:
            "Three falling lines: tolerances alone the dearest, the drawer alone below, both together the cheapest."
                .into(),
        caption: "Each point is the cheapest choice that is shown to keep its ceiling. Where a line ends on the left nothing that was tried is shown to keep less.",
        x: "ceiling, % of the builds outside",
        y: "cost of a build",
        holds: &[],
    };
    chart.figure(&[
        Series { label: "tolerances alone, not fitted".into(), ink: Ink::Limit, mark: Mark::Dashes, points: alone },
        Series {
            label: "drawer alone, tolerances as drawn".into(),
            ink: Ink::Second,
            mark: Mark::Line,
            points: shown(drawer),
        },
        Series { label: "both together".into(), ink: Ink::Main, mark: Mark::Line, points: shown(together) },
    ])
}

fn sizes_figure(by_sizes: &[BySizes]) -> Result<packdrift_report::Figure, packdrift_report::Error> {
    let of = |way: usize| -> Points {
        by_sizes.iter().filter(|b| b.cost[way].is_finite()).map(|b| (b.most as f64, b.cost[way])).collect()
    };
    let chart = Chart {
        id: "cost by sizes",
        title: "Cost of a build by how many sizes may be held",
        description: "Two lines that fall with the number of sizes, pieces as bought and measured.".into(),
        caption: "Where a line is level another size is not worth its place. The search finds the cheapest to within some tenths, so where the lines are near each other neither is better.",
        x: "sizes that may be held",
        y: "cost of a build",
        holds: &[],
    };
    chart.figure(&[
        Series { label: "pieces as bought".into(), ink: Ink::Main, mark: Mark::Line, points: of(0) },
        Series { label: "pieces measured".into(), ink: Ink::Second, mark: Mark::Line, points: of(1) },
    ])
}

/// What each decision is worth by itself.
fn changes(policy: &Policy) -> Table {
    let mut table = Table::new(
        "changes",
        "One decision changed",
        vec![
            Column::text("change"),
            Column::number("cost of a build more"),
            Column::number("outside then, %"),
            Column::text("ceiling"),
        ],
    );
    let question = &policy.question;
    for one in &policy.alone {
        let what = match one.decision {
            Decision::Tolerance { dimension, from, to } => {
                let p = &question.priced[dimension];
                let tol = |level: usize| number::significant(p.levels[level].tol, 2);
                format!("{}: ±{} mm for ±{}", p.dimension, tol(to), tol(from))
            }
            Decision::Without { size } => format!("without {}", question.catalogue[size].name),
            Decision::With { size } => format!("{} held besides", question.catalogue[size].name),
            Decision::Pieces { to: Pieces::Measured, .. } => "pieces measured".to_owned(),
            Decision::Pieces { to: Pieces::Tighter, .. } => "pieces from tighter lots".to_owned(),
            Decision::Pieces { to: Pieces::AsBought, .. } => "pieces as bought".to_owned(),
        };
        table.push(vec![
            Cell::text(what),
            Cell::fixed(one.cost, 2),
            Cell::fixed(100.0 * one.out, 2),
            Cell::text(match one.keeps {
                Some(true) => "kept by the estimate",
                Some(false) => "not kept",
                None => "too close to tell",
            }),
        ]);
    }
    table
}
