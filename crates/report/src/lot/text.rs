//! Lots for the terminal.

use super::{in_pack, tables};
use crate::number::{self, counted, estimated_share, percent};
use crate::page::Answer;
use crate::table::Standing;
use packdrift_lotpack::{LotInPack, PackVerdict};
use packdrift_lot::packets::DeviationForm;
use packdrift_lot::{LotResult, LotStudy, Verdict};

/// Lots listed one by one on the terminal; the rest are in the tables.
const LISTED: usize = 30;

/// The word for a verdict, and its weight.
pub(super) fn word(verdict: Verdict) -> (&'static str, Standing) {
    match verdict {
        Verdict::Acceptable => ("acceptable", Standing::Good),
        Verdict::NotShown => ("not shown", Standing::Attend),
        Verdict::NotAcceptable => ("not acceptable", Standing::Act),
        Verdict::TooFew => ("too few parts", Standing::Attend),
        Verdict::NoLimits => ("no limits given", Standing::Good),
    }
}

/// The sentence that decides, and the number behind it.
pub(super) fn answer(study: &LotStudy, packs: &[LotInPack]) -> Answer {
    let count = |wanted: Verdict| study.lots.iter().filter(|l| l.verdict == wanted).count();
    let bad = count(Verdict::NotAcceptable);
    let open = count(Verdict::NotShown) + count(Verdict::TooFew);
    let judged = study.lots.len() - count(Verdict::NoLimits);
    let (mut standing, mut sentence) = if judged == 0 {
        (Standing::Good, "No drawing limits are given, so the lots are described, not judged.".to_owned())
    } else if let [lot] = study.lots.as_slice() {
        one_lot(lot, study)
    } else if bad > 0 {
        let names: Vec<&str> = study
            .lots
            .iter()
            .filter(|l| l.verdict == Verdict::NotAcceptable)
            .map(|l| l.name.as_str())
            .take(4)
            .collect();
        let more = if bad > names.len() { format!(" and {} more", bad - names.len()) } else { String::new() };
        (
            Standing::Act,
            format!(
                "{bad} of {judged} lots {} not acceptable against the drawing: {}{more}.{}",
                if bad == 1 { "is" } else { "are" },
                names.join(", "),
                worst(study)
            ),
        )
    } else if open > 0 {
        (
            Standing::Attend,
            format!(
                "None of {judged} lots is refused, but for {open} the readings do not show that at most {} is outside.",
                percent(study.options.max_out)
            ),
        )
    } else {
        (
            Standing::Good,
            format!(
                "All {judged} lots are acceptable against the drawing: at most {} outside, with {} confidence.",
                percent(study.options.max_out),
                percent(study.options.confidence)
            ),
        )
    };
    if !packs.is_empty() {
        sentence = format!("{sentence} {}", in_pack::summary(packs));
    }
    for pack in packs {
        standing = match (standing, pack.verdict) {
            (Standing::Act, _) | (_, PackVerdict::NotAcceptable) => Standing::Act,
            (Standing::Attend, _) | (_, PackVerdict::NotShown) => Standing::Attend,
            (Standing::Good, PackVerdict::Acceptable) => Standing::Good,
        };
    }
    Answer { standing, sentence, advice: advice(study) }
}

/// The number behind a refusal: the worst lot's share outside.
fn worst(study: &LotStudy) -> String {
    let share = |l: &LotResult| l.share_outside.map_or(0.0, |s| s.lower_bound);
    study
        .lots
        .iter()
        .filter(|l| l.verdict == Verdict::NotAcceptable && l.share_outside.is_some())
        .max_by(|a, b| share(a).total_cmp(&share(b)))
        .map_or_else(String::new, |l| {
            let all = study.lots.iter().filter(|l| l.verdict == Verdict::NotAcceptable).count();
            format!(
                " {}at least {} is outside with {} confidence (acceptable: {}).",
                if all == 1 { "Of it ".to_owned() } else { format!("Of {} ", l.name) },
                estimated_share(share(l)),
                percent(study.options.confidence),
                percent(study.options.max_out)
            )
        })
}

/// How much a lot needs to be looked at; 0 where nothing speaks against it.
pub(super) fn urgency(lot: &LotResult) -> u32 {
    let verdict = match lot.verdict {
        Verdict::NotAcceptable => 8,
        Verdict::NotShown => 4,
        Verdict::TooFew => 2,
        Verdict::Acceptable | Verdict::NoLimits => 0,
    };
    verdict
        + u32::from(!lot.outliers.named.is_empty())
        + u32::from(lot.shape.contradicts_normal())
        + u32::from(lot.chart.as_ref().is_some_and(|c| !c.is_steady()))
}

fn one_lot(lot: &LotResult, study: &LotStudy) -> (Standing, String) {
    let (_, standing) = word(lot.verdict);
    let bound = lot.share_outside.map_or_else(String::new, |s| estimated_share(s.upper_bound));
    let confidence = percent(study.options.confidence);
    let limit = percent(study.options.max_out);
    let sentence = match lot.verdict {
        Verdict::Acceptable => format!(
            "Lot {} is acceptable against the drawing: with {confidence} confidence at most {bound} is outside (acceptable: {limit}).",
            lot.name
        ),
        Verdict::NotAcceptable => {
            let least = lot.share_outside.map_or_else(String::new, |s| estimated_share(s.lower_bound));
            format!(
                "Lot {} is not acceptable against the drawing: with {confidence} confidence at least {least} is outside (acceptable: {limit}).",
                lot.name
            )
        }
        Verdict::NotShown => {
            let more = match lot.parts_needed(&study.options) {
                Ok(Some(n)) => format!(" With mean and scatter as they are, about {n} parts would show it."),
                _ => String::new(),
            };
            format!(
                "The readings of lot {} do not decide: up to {bound} may be outside (acceptable: {limit}).{more}",
                lot.name
            )
        }
        Verdict::TooFew | Verdict::NoLimits => format!("Lot {} has too few parts to be judged.", lot.name),
    };
    (standing, sentence)
}

/// What else decides: deviation from the packet, scatter between lots.
fn advice(study: &LotStudy) -> String {
    let mut parts = Vec::new();
    if let Some(model) = &study.deviations {
        parts.push(match model.form {
            DeviationForm::None => "As a whole the packets are not shown to be off their sizes.".to_owned(),
            DeviationForm::Constant => format!("The packets are off by a constant {} mm.", number::plus_minus(model.constant.value, model.constant.standard_error)),
            DeviationForm::Proportional => format!("The packets are off in proportion, {} %.", number::plus_minus(100.0 * model.proportional.value, 100.0 * model.proportional.standard_error)),
            DeviationForm::Both => "The packets are off by a constant and in proportion.".to_owned(),
            DeviationForm::CannotTell => format!("The packets are off by {} mm on average; the sizes are too alike to tell a constant from a percentage.", number::significant(model.constant.value, 3)),
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
            "By itself {} is off by {}{} mm{percent}{more}.",
            lot.name,
            sign(deviation.value),
            number::significant(deviation.value, 2)
        ));
    }
    if let Some(process) = &study.process {
        parts.push(format!(
            "Scatter within lots {} mm, between lots {} mm.",
            number::significant(process.within_sd, 2),
            number::significant(process.between_sd, 2)
        ));
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
            "{} out and should be measured again; nothing was removed.",
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
pub fn text(study: &LotStudy, packs: &[LotInPack]) -> String {
    let answer = answer(study, packs);
    let mut out = format!("{} {}", answer.standing.shape(), crate::text::wrapped(&answer.sentence, 98, 2).trim_start());
    if !answer.advice.is_empty() {
        out.push_str(&crate::text::wrapped(&answer.advice, 98, 2));
    }
    out.push('\n');
    let mut table = tables::lots_in_short(study);
    let left = table.rows.len().saturating_sub(LISTED);
    table.rows.truncate(LISTED);
    out.push_str(&table.text(2));
    if left > 0 {
        out.push_str(&format!("  and {} more (all are in tables/lots.csv)\n", counted(left, "lot")));
    }
    for table in [tables::outliers(study), tables::process(study)] {
        if !table.rows.is_empty() {
            out.push_str(&format!("\n{}\n", table.caption));
            out.push_str(&table.text(2));
        }
    }
    for pack in packs {
        let table = in_pack::table(pack);
        out.push_str(&format!("\n{}\n", table.caption));
        out.push_str(&table.text(2));
        if packs.len() > 1 {
            out.push_str(&crate::text::wrapped(&in_pack::sentence(pack), 98, 2));
        }
        out.push_str(&crate::text::wrapped(&in_pack::room(pack), 98, 2));
    }
    out
}
