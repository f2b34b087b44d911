//! Which sizes to hold and how many: the plan as text, JSON, tables, figures and page.

mod figures;
mod json;
mod tables;

pub use figures::figures;
pub use json::json;
pub use tables::tables;

use crate::envelope::Envelope;
use crate::figure::Error;
use crate::number::{counted, percent, plain, share};
use crate::page::{Answer, Page, Section, WORKSHOP_CAUTIONS};
use crate::table::Standing;
use crate::text::wrapped;
use maud::html;
use packdrift_stock::{GradeWorth, Plan, Sorting};

fn size_names(plan: &Plan, sizes: &[usize]) -> String {
    sizes.iter().map(|&k| plan.catalogue[k].name.as_str()).collect::<Vec<_>>().join(", ")
}

fn answer(plan: &Plan) -> Answer {
    let chosen = &plan.chosen;
    let sentence = format!(
        "Hold {}: {}. With them {} of the jobs can be done; {} of all jobs need no piece.",
        counted(chosen.sizes.len(), "size"),
        size_names(plan, &chosen.sizes),
        share(chosen.coverage, chosen.standard_error),
        percent(plan.without)
    );
    let mut advice = match &plan.levels {
        Some(levels) if levels.counts.iter().all(|&n| n == 0) => "No job takes a piece: none need be held.".to_owned(),
        Some(levels) => {
            let each: Vec<String> = plan
                .held
                .iter()
                .map(|held| format!("{} × {}", held.together.unwrap_or(0), plan.catalogue[held.size].name))
                .collect();
            format!(
                "{}: together they cost {} and serve {} of the jobs that take pieces at once.",
                each.join(", "),
                plain(levels.cost),
                share(levels.service.share, levels.service.standard_error)
            )
        }
        None => format!("No quantities tried serve {} of the jobs that take pieces at once.", percent(plan.service)),
    };
    advice.push(' ');
    advice.push_str(&worth(&plan.sorting));
    let standing = match &plan.levels {
        Some(_) if chosen.coverage >= plan.service => Standing::Good,
        Some(_) => Standing::Attend,
        None => Standing::Act,
    };
    Answer { standing, sentence, advice }
}

/// What measuring is worth, in a sentence.
fn worth(sorting: &Sorting) -> String {
    if sorting.take_pieces == 0.0 {
        return String::new();
    }
    let gain = share(sorting.gain_measured.share, sorting.gain_measured.standard_error);
    let gained = format!(
        "Measuring the pieces and picking among them brings {gain} more of those jobs inside at the first fitting"
    );
    match sorting.grade_worth_measuring {
        GradeWorth::NothingGained => {
            "Measuring the pieces brings no more jobs inside at the first fitting than two standard errors would hide; it still tells a wrong piece."
                .to_owned()
        }
        GradeWorth::Grade(grade) => format!("{gained}, as much as pieces with {} of the deviations would.", percent(grade)),
        GradeWorth::BeyondAny => format!("{gained}, more than the tightest grade could."),
    }
}

/// The plan as text.
pub fn text(plan: &Plan) -> String {
    let answer = answer(plan);
    let mut out = format!("{} {}", answer.standing.shape(), wrapped(&answer.sentence, 98, 2).trim_start());
    out.push_str(&wrapped(&answer.advice, 98, 2));
    out.push_str(&wrapped(
        &format!(
            "{} jobs a day; of {} drawn {} need nothing from the drawer, and all sizes of the catalogue together do {}.",
            crate::number::significant(plan.rate_per_day, 3),
            crate::number::count(plan.jobs as u64),
            percent(plan.without),
            percent(plan.all_sizes)
        ),
        98,
        2,
    ));
    for table in tables(plan) {
        out.push('\n');
        out.push_str(&wrapped(&table.caption, 98, 0));
        out.push_str(&table.text(2));
    }
    out
}

fn heading(table: &str) -> &'static str {
    match table {
        "hold" => "What to hold",
        "coverage" => "How many sizes",
        "service" => "How many pieces",
        _ => "Measuring, or a tighter grade",
    }
}

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, plan: &Plan) -> Result<String, Error> {
    let figures = figures(plan)?;
    let mut sections: Vec<Section> =
        tables(plan).iter().map(|t| Section::new(heading(&t.name), html! { (t.html()) })).collect();
    let drawn = html! { @for figure in &figures { (figure.html()) } };
    sections.insert(1.min(sections.len()), Section::new("More sizes, more pieces", drawn));
    let page = Page {
        title: "Which shims to hold, and how many".into(),
        kind: "The drawer of a fleet".into(),
        notice: String::new(),
        answer: Some(answer(plan)),
        sections,
        cautions: WORKSHOP_CAUTIONS.to_vec(),
    };
    Ok(page.html(envelope))
}
