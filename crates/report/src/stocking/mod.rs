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
use packdrift_stock::Plan;

fn size_names(plan: &Plan, sizes: &[usize]) -> String {
    sizes.iter().map(|&k| plan.catalogue[k].name.as_str()).collect::<Vec<_>>().join(", ")
}

fn answer(plan: &Plan) -> Answer {
    let chosen = &plan.chosen;
    let sentence = format!(
        "Hold {}: {}. From them {} of the jobs can be done.",
        counted(chosen.sizes.len(), "size"),
        size_names(plan, &chosen.sizes),
        share(chosen.coverage, chosen.standard_error)
    );
    let mut advice = match &plan.levels {
        Some(levels) => {
            let each: Vec<String> = plan
                .held
                .iter()
                .map(|held| format!("{} × {}", held.together.unwrap_or(0), plan.catalogue[held.size].name))
                .collect();
            format!(
                "{}: together they cost {} and serve {} of those jobs at once.",
                each.join(", "),
                plain(levels.cost),
                share(levels.service.share, levels.service.standard_error)
            )
        }
        None => format!("No quantities tried serve {} of the jobs at once.", percent(plan.service)),
    };
    let sorting = &plan.sorting;
    if sorting.gain_measured.share > 2.0 * sorting.gain_measured.standard_error {
        let gain = share(sorting.gain_measured.share, sorting.gain_measured.standard_error);
        advice.push_str(&format!(
            " Measuring the pieces and picking among them brings {gain} more jobs inside at the first fitting"
        ));
        match sorting.grade_worth_measuring {
            Some(grade) if grade < 0.995 => {
                advice.push_str(&format!(", as much as a grade with {} of the scatter would.", percent(grade)));
            }
            Some(_) => advice.push('.'),
            None => advice.push_str(", more than the tightest grade could."),
        }
    }
    let standing = match &plan.levels {
        Some(_) if chosen.coverage >= plan.service => Standing::Good,
        Some(_) => Standing::Attend,
        None => Standing::Act,
    };
    Answer { standing, sentence, advice }
}

/// The plan as text.
pub fn text(plan: &Plan) -> String {
    let answer = answer(plan);
    let mut out = format!("{} {}", answer.standing.shape(), wrapped(&answer.sentence, 98, 2).trim_start());
    out.push_str(&wrapped(&answer.advice, 98, 2));
    out.push_str(&wrapped(
        &format!(
            "{} a day, {} of them drawn; {} need nothing from the drawer; all sizes of the catalogue together do {}.",
            crate::number::significant(plan.rate_per_day, 3),
            counted(plan.jobs, "job"),
            percent(plan.without),
            percent(plan.all_sizes)
        ),
        98,
        2,
    ));
    for table in tables(plan) {
        out.push_str(&format!("\n{}\n{}", table.caption, table.text(2)));
    }
    out
}

/// The page.
///
/// # Errors
/// As for [`crate::figure::canvas::draw`].
pub fn page(envelope: &Envelope, plan: &Plan) -> Result<String, Error> {
    let figures = figures(plan)?;
    let mut sections: Vec<Section> =
        tables(plan).iter().map(|t| Section::new(&t.caption, html! { (t.html()) })).collect();
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
