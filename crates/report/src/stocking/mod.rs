//! Which sizes to hold and how many: the plan as text, JSON, tables, figures and page.

mod figures;
mod json;
mod tables;

pub use figures::figures;
pub use json::json;
pub use tables::tables;

use crate::Lengths;
use crate::envelope::Envelope;
use crate::figure::Error;
use crate::number::{percent, plain, share};
use crate::page::{Answer, Page, Section, WORKSHOP_CAUTIONS};
use crate::table::Standing;
use crate::text::wrapped;
use maud::html;
use packdrift_stock::{GradeWorth, Plan, Sorting};
use packdrift_verdict::Standing as Verdict;

/// A plan, and the unit that its lengths are shown in.
#[derive(Debug, Clone, Copy)]
pub struct Stocked<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The unit that lengths are shown in.
    pub lengths: Lengths,
}

fn size_names(plan: &Plan, sizes: &[usize]) -> String {
    sizes.iter().map(|&k| plan.catalogue[k].name.as_str()).collect::<Vec<_>>().join(", ")
}

/// `four`; above twelve `14`.
fn in_words(n: u32) -> String {
    const WORDS: [&str; 13] =
        ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];
    WORDS.get(n as usize).map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

/// `four 0.25 and two 0.40`.
fn to_hold(plan: &Plan) -> String {
    let each: Vec<String> = plan
        .held
        .iter()
        .filter(|held| held.together != Some(0))
        .map(|held| {
            let count = held.together.map_or_else(String::new, |n| format!("{} ", in_words(n)));
            format!("{count}{}", plan.catalogue[held.size].name)
        })
        .collect();
    match each.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => String::new(),
    }
}

fn answer(plan: &Plan) -> Answer {
    let chosen = &plan.chosen;
    let done = share(chosen.coverage, chosen.standard_error);
    let no_piece = plan.levels.as_ref().is_some_and(|levels| levels.counts.iter().all(|&n| n == 0));
    let too_few = chosen.coverage < plan.service && !plan.verdict.is_shown();
    let sentence = if no_piece && too_few {
        format!("No piece of this catalogue helps. Without any {done} of all jobs are done.")
    } else if no_piece {
        format!("Hold none: no job takes a piece from the drawer. That does {done} of all jobs.")
    } else {
        let hold = to_hold(plan);
        let shims =
            if plan.held.iter().map(|held| held.together.unwrap_or(2)).sum::<u32>() == 1 { "shim" } else { "shims" };
        format!("Hold {hold} {shims}. That does {done} of all jobs; {} need no piece.", percent(plan.without))
    };
    let mut advice = match &plan.levels {
        Some(_) if no_piece => String::new(),
        Some(levels) => format!(
            "Together they cost {}, and {} of the jobs that take pieces find them there at once. ",
            plain(levels.cost),
            share(levels.service.share, levels.service.standard_error)
        ),
        None => format!(
            "No quantities that were tried let {} of the jobs that take pieces find them there at once. ",
            percent(plan.service)
        ),
    };
    if !plan.verdict.is_shown() {
        advice.push_str(&format!("Wanted are {}. ", percent(plan.service)));
        if chosen.coverage < plan.service && plan.all_sizes - chosen.coverage < 0.005 {
            advice.push_str("No more sizes of this catalogue would do it. ");
            if no_piece {
                advice.push_str(
                    "Offer other sizes in the catalogue, read with a better gauge (--u), or see by `shim` on one such job what stands in the way. ",
                );
            }
        }
    }
    advice.push_str(&worth(&plan.sorting));
    let standing = match plan.verdict.standing() {
        Verdict::Shown | Verdict::Watch => Standing::Good,
        Verdict::Adverse if plan.levels.is_none() => Standing::Act,
        _ => Standing::Attend,
    };
    Answer { standing, sentence, advice: advice.trim_end().to_owned() }
}

/// What measuring is worth, in a sentence.
fn worth(sorting: &Sorting) -> String {
    if sorting.take_pieces == 0.0 {
        return String::new();
    }
    let gain = share(sorting.gain_measured.share, sorting.gain_measured.standard_error);
    let gained = format!("Measure the pieces and pick among them: {gain} more of those jobs fit at the first try");
    match sorting.grade_worth_measuring {
        GradeWorth::NothingGained => {
            "Measuring shows no clear gain here; still measure, to catch a wrong piece.".to_owned()
        }
        GradeWorth::Grade(grade) => {
            format!("{gained}, as many as with pieces that scatter {} as much.", percent(grade))
        }
        GradeWorth::BeyondAny => format!("{gained}, more than the tightest grade could."),
    }
}

/// The plan as text.
pub fn text(stocked: &Stocked<'_>) -> String {
    let plan = stocked.plan;
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
    for table in tables(stocked) {
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
pub fn page(envelope: &Envelope, stocked: &Stocked<'_>) -> Result<String, Error> {
    let figures = figures(stocked)?;
    let plan = stocked.plan;
    let mut sections: Vec<Section> =
        tables(stocked).iter().map(|t| Section::new(heading(&t.name), html! { (t.html()) })).collect();
    let drawn = html! { @for figure in &figures { (figure.html()) } };
    sections.insert(1.min(sections.len()), Section::new("More sizes, more pieces", drawn));
    let page = Page {
        title: "Which shims to hold, and how many".into(),
        kind: "The drawer of a fleet".into(),
        lead: None,
        notice: String::new(),
        answer: Some(answer(plan)),
        sections,
        cautions: WORKSHOP_CAUTIONS.to_vec(),
    };
    Ok(page.html(envelope))
}
