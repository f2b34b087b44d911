//! Lots for the terminal.

use super::{Lots, in_pack, paste, tables, why};
use crate::Lengths;
use crate::number::{self, counted, estimated_share, percent};
use crate::page::Answer;
use crate::table::Standing;
use packdrift_lot::packets::DeviationForm;
use packdrift_lot::{LotResult, LotStudy};
use packdrift_lotpack::RequirementInPack;
use packdrift_verdict::{LOT, Verdict};

/// Lots listed one by one on the terminal; the rest are in the tables.
const LISTED: usize = 30;

/// The word for a verdict, and its weight.
pub(super) fn word(verdict: Option<&Verdict>) -> (&'static str, Standing) {
    let Some(verdict) = verdict else { return ("no limits given", Standing::Good) };
    (verdict.word(&LOT), weight(verdict.standing()))
}

fn weight(standing: packdrift_verdict::Standing) -> Standing {
    use packdrift_verdict::Standing as S;
    match standing {
        S::Shown => Standing::Good,
        S::Watch | S::TooCloseToTell | S::NotShown | S::ReadAgain => Standing::Attend,
        S::Adverse => Standing::Act,
    }
}

/// Of a lot in a study: the worse of with and without a reading set aside.
pub(super) fn word_of(lot: &LotResult, study: &LotStudy) -> (&'static str, Standing) {
    word(study.verdict(lot).as_ref())
}

/// Names in a sentence: all of them up to twenty.
fn names(lots: &[&LotResult]) -> String {
    const NAMED: usize = 20;
    let listed = lots.iter().take(NAMED).map(|l| l.name.as_str()).collect::<Vec<_>>().join(", ");
    if lots.len() > NAMED { format!("{listed} and {} more", lots.len() - NAMED) } else { listed }
}

/// The sentence that decides, and the number behind it.
pub(super) fn answer(lots: &Lots) -> Answer {
    let (study, packs, unit) = (&lots.study, &lots.packs, lots.unit());
    let with = |wanted: Standing| -> Vec<&LotResult> {
        study.lots.iter().filter(|l| study.verdict(l).is_some() && word_of(l, study).1 == wanted).collect()
    };
    let (bad, open) = (with(Standing::Act), with(Standing::Attend));
    let judged = study.lots.iter().filter(|l| l.verdict.is_some()).count();
    let limit = percent(study.options.max_out);
    let confidence = percent(study.options.confidence);
    let (mut standing, mut sentence) = if judged == 0 {
        (Standing::Good, "No drawing limits are given, so the lots are described, not judged.".to_owned())
    } else if let [lot] = study.lots.as_slice() {
        one_lot(lot, study, unit)
    } else if bad.is_empty() && open.is_empty() {
        let all = format!("All {judged} lots are acceptable against the drawing");
        (Standing::Good, format!("{all}: at most {limit} outside, with {confidence} confidence."))
    } else {
        let mut parts = Vec::new();
        if !bad.is_empty() {
            let verb = if bad.len() == 1 { "is" } else { "are" };
            let refused = format!("{} of {judged} lots {verb} not acceptable against the drawing", bad.len());
            parts.push(format!("{refused}: {}.{}", names(&bad), worst(study, &bad)));
        }
        if !open.is_empty() {
            parts.push(format!(
                "{} the readings do not show that at most {limit} is outside: {}.",
                if bad.is_empty() {
                    format!("None of {judged} lots is refused, but for {}", open.len())
                } else {
                    format!("For {}", open.len())
                },
                names(&open)
            ));
        }
        (if bad.is_empty() { Standing::Attend } else { Standing::Act }, parts.join(" "))
    };
    if !packs.is_empty() || !lots.left_out.is_empty() {
        sentence = format!("{sentence} {}", in_pack::summary(lots));
    }
    if !lots.left_out.is_empty() && standing == Standing::Good {
        standing = Standing::Attend;
    }
    for pack in packs {
        let here = if pack.requirements.iter().any(RequirementInPack::fails_already) {
            Standing::Act
        } else {
            weight(pack.verdict.standing())
        };
        standing = match (standing, here) {
            (Standing::Act, _) | (_, Standing::Act) => Standing::Act,
            (Standing::Attend, _) | (_, Standing::Attend) => Standing::Attend,
            _ => Standing::Good,
        };
    }
    Answer { standing, sentence, advice: advice(study, unit) }
}

/// The number behind a refusal: the worst lot's share outside.
fn worst(study: &LotStudy, bad: &[&LotResult]) -> String {
    let share = |l: &LotResult| l.share_outside.map_or(0.0, |s| s.lower_bound);
    bad.iter().filter(|l| l.share_outside.is_some()).max_by(|a, b| share(a).total_cmp(&share(b))).map_or_else(
        String::new,
        |l| {
            let of = if bad.len() == 1 { "Of it".to_owned() } else { format!("Of {}", l.name) };
            format!(" {of} {} (acceptable: {}).", outside(l, study), percent(study.options.max_out))
        },
    )
}

/// How much of a refused lot is outside. Where its own readings do not refuse it, those without the one set aside do.
fn outside(lot: &LotResult, study: &LotStudy) -> String {
    let confidence = percent(study.options.confidence);
    match lot.share_outside {
        Some(s) if s.lower_bound > 0.0 && s.lower_bound < 1e-6 => {
            // "At least < 0.0001 %" is no figure.
            format!("with {confidence} confidence at least {:.1e} % is outside", 100.0 * s.lower_bound)
        }
        Some(s) if s.lower_bound <= study.options.max_out => {
            "without the reading that was set aside too much is outside".to_owned()
        }
        Some(s) => format!("with {confidence} confidence at least {} is outside", estimated_share(s.lower_bound)),
        None => "it cannot be told how much is outside".to_owned(),
    }
}

/// How much a lot needs to be looked at; 0 where nothing speaks against it.
pub(super) fn urgency(lot: &LotResult, study: &LotStudy) -> u32 {
    let verdict = match word_of(lot, study).1 {
        Standing::Act => 8,
        Standing::Attend => 4,
        Standing::Good => 0,
    };
    verdict
        + u32::from(!lot.outliers.named.is_empty())
        + u32::from(lot.shape.contradicts_normal())
        + u32::from(lot.chart.as_ref().is_some_and(|c| !c.is_steady()))
}

fn one_lot(lot: &LotResult, study: &LotStudy, unit: &str) -> (Standing, String) {
    let (_, standing) = word_of(lot, study);
    let confidence = percent(study.options.confidence);
    let limit = percent(study.options.max_out);
    let bound = lot.share_outside.map_or_else(String::new, |s| estimated_share(s.upper_bound));
    let sentence = match standing {
        Standing::Act => {
            format!(
                "Lot {} is not acceptable against the drawing: {} (acceptable: {limit}).",
                lot.name,
                outside(lot, study)
            )
        }
        Standing::Attend => format!(
            "The readings of lot {} do not show that at most {limit} is outside. {} {}",
            lot.name,
            why::reason(lot, unit),
            why::remedy(lot, study)
        )
        .trim_end()
        .to_owned(),
        Standing::Good => format!(
            "Lot {} is acceptable against the drawing: with {confidence} confidence at most {bound} is outside (acceptable: {limit}).",
            lot.name
        ),
    };
    (standing, sentence)
}

/// What else decides: deviation from the packet, scatter between lots.
fn advice(study: &LotStudy, unit: &str) -> String {
    let mut parts = Vec::new();
    if let Some(model) = &study.deviations {
        parts.push(match model.form {
            DeviationForm::None => "On average the packets are not clearly off size.".to_owned(),
            DeviationForm::Constant => format!("The packets are off by a constant {} {unit}.", number::plus_minus(model.constant.value, model.constant.standard_error)),
            DeviationForm::Proportional => format!("The packets are off in proportion, {} %.", number::plus_minus(100.0 * model.proportional.value, 100.0 * model.proportional.standard_error)),
            DeviationForm::Both => "The packets are off by a constant and in proportion.".to_owned(),
            DeviationForm::CannotTell => format!("The packets are off by {} {unit} on average; the sizes are too alike to tell a constant from a percentage.", number::significant(model.constant.value, 3)),
        });
    }
    // The lots that are off by themselves, at the level of the confidence shared among all of them (Bonferroni).
    let level = (1.0 - study.options.confidence) / study.lots.len().max(1) as f64;
    let mut off: Vec<&LotResult> =
        study.lots.iter().filter(|l| l.deviation.is_some_and(|d| d.p_value < level)).collect();
    off.sort_by(|a, b| size_of(b).total_cmp(&size_of(a)));
    if let Some(first) = off.first().and_then(|l| l.deviation.map(|d| (l, d))) {
        let (lot, deviation) = first;
        let percent =
            deviation.percent.map_or_else(String::new, |p| format!(" ({}{} %)", sign(p), number::significant(p, 2)));
        let more = match off.len() - 1 {
            0 => String::new(),
            n => format!("; {} more {} off by less", n, if n == 1 { "is" } else { "are" }),
        };
        parts.push(format!(
            "By itself {} is off by {}{} {unit}{percent}{more}.",
            lot.name,
            sign(deviation.value),
            number::significant(deviation.value, 2)
        ));
    }
    if let Some(process) = &study.process {
        parts.push(format!(
            "Scatter within lots {} {unit}, between lots {} {unit}.",
            number::significant(process.within_sd, 2),
            number::significant(process.between_sd, 2)
        ));
    }
    for one in &study.set_aside {
        let word = |v: Option<&Verdict>| word(v).0;
        parts.push(format!(
            "Line {} of {} ({} {unit}) was set aside: {}. With it the lot is {}, without it {}; the worse stands.",
            one.line,
            one.lot,
            Lengths::named(unit).given_in_it(one.reading),
            one.reason,
            word(one.with.as_ref()),
            word(one.without.as_ref())
        ));
    }
    if study.lots.len() > 1 {
        parts.extend(why::of_several(study));
    }
    let odd = study.lots.iter().filter(|l| l.shape.contradicts_normal()).count();
    if odd > 0 {
        parts.push(format!(
            "{} not look normal.",
            if odd == 1 { "1 lot does".to_owned() } else { format!("{odd} lots do") }
        ));
    }
    let outliers: usize = study.lots.iter().map(|l| l.outliers.named.len()).sum();
    if outliers > 0 {
        parts.push(format!(
            "{} out and should be measured again; none was removed.",
            if outliers == 1 { "1 reading stands".to_owned() } else { format!("{outliers} readings stand") }
        ));
    }
    parts.join(" ")
}

fn size_of(lot: &LotResult) -> f64 {
    lot.deviation.map_or(0.0, |d| d.value.abs())
}

fn sign(x: f64) -> &'static str {
    if x > 0.0 { "+" } else { "" }
}

/// The study as text.
pub fn text(lots: &Lots) -> String {
    let (study, packs, unit) = (&lots.study, &lots.packs, lots.unit());
    let answer = answer(lots);
    let mut out = format!("{} {}", answer.standing.shape(), crate::text::wrapped(&answer.sentence, 98, 2).trim_start());
    if !answer.advice.is_empty() {
        out.push_str(&crate::text::wrapped(&answer.advice, 98, 2));
    }
    out.push('\n');
    let mut table = tables::lots_in_short(study, unit);
    let left = table.rows.len().saturating_sub(LISTED);
    table.rows.truncate(LISTED);
    out.push_str(&table.text(2));
    if left > 0 {
        out.push_str(&format!("  and {} more (all are in tables/lots.csv)\n", counted(left, "lot")));
    }
    for table in tables::beside(study, unit) {
        if !table.rows.is_empty() {
            out.push_str(&format!("\n{}\n", table.caption));
            out.push_str(&table.text(2));
        }
    }
    let paste = paste::toml(study, unit);
    if !paste.is_empty() {
        out.push_str("\nFor a pack file:\n");
        out.extend(
            paste.trim_end().lines().map(|line| if line.is_empty() { "\n".to_owned() } else { format!("  {line}\n") }),
        );
    }
    for pack in packs {
        let table = in_pack::table(pack);
        out.push_str(&format!("\n{}\n", table.caption));
        out.push_str(&table.text(2));
        if packs.len() > 1 {
            out.push_str(&crate::text::wrapped(&in_pack::sentence(pack), 98, 2));
        }
        out.push_str(&crate::text::wrapped(&in_pack::room(pack, unit), 98, 2));
    }
    out
}
