//! Why a lot's verdict is as it is, and what would settle it.

use crate::number::{counted, estimated_share, percent, significant};
use packdrift_lot::{Basis, LotResult, LotStudy, ShapeKnowledge, ShareOutside};
use packdrift_verdict::Standing;

/// What the upper bound rests on, in a few words for a column.
pub(super) fn basis(share: &ShareOutside) -> &'static str {
    match share.basis {
        Basis::Normal => "normal, as stated",
        Basis::Shapes { .. } => "shape not known",
        Basis::Count => "count",
        Basis::Curve => "fitted curve",
        Basis::Order { .. } => "alike neighbours",
        Basis::Sorted { .. } => "sorted",
    }
}

/// The reason in a sentence, for a lot that is not shown to be acceptable.
pub(super) fn reason(lot: &LotResult, unit: &str) -> String {
    let Some(share) = lot.share_outside else {
        return "A single part says nothing of scatter.".to_owned();
    };
    if let Some(doubt) = lot.doubt {
        return sentence(&doubt.reason());
    }
    let bound = estimated_share(share.upper_bound);
    if let Some(chart) = lot.chart.as_ref().filter(|c| !c.is_steady()) {
        let cause = "find the cause, or measure parts drawn at random from the whole lot";
        return format!("It is {}: {cause}.", super::steady::sentence(chart));
    }
    match share.basis {
        Basis::Normal => format!("Up to {bound} may be outside."),
        Basis::Shapes { .. } => format!(
            "Up to {bound} may be outside: {} do not tell a normal lot from one with longer tails.",
            counted(lot.n, "part")
        ),
        Basis::Count => format!(
            "{} decides: {} of {} outside leave up to {bound}.",
            if share.in_doubt { "The lot is not normal, so the count" } else { "The count" },
            share.counted,
            lot.n
        ),
        Basis::Curve => format!("The lot is not normal; by the fitted curve up to {bound} may be outside."),
        Basis::Order { correlation } => format!(
            "Neighbouring parts may be alike (a correlation up to {}), so that {} tell less of the lot: up to {bound} may be outside.",
            significant(correlation, 2),
            counted(lot.n, "part")
        ),
        Basis::Sorted { u, assumed, claimed } => format!(
            "Sorted by a gauge of standard uncertainty {} {unit}{}, up to {bound} may have slipped through.",
            significant(u, 2),
            if assumed && claimed.is_some() {
                " (less is not believed of a sorting gauge)"
            } else if assumed {
                " (taken, not stated)"
            } else if claimed.is_some() {
                " (these readings bear out no smaller one)"
            } else {
                ""
            }
        ),
    }
}

/// A reason as a sentence of its own.
fn sentence(reason: &str) -> String {
    let mut letters = reason.chars();
    let first = letters.next().map(|c| c.to_uppercase().collect::<String>()).unwrap_or_default();
    let end = if reason.ends_with('?') { "" } else { "." };
    format!("{first}{}{end}", letters.as_str())
}

/// What would settle it; empty where nothing can be said.
pub(super) fn remedy(lot: &LotResult, study: &LotStudy) -> String {
    let Some(share) = lot.share_outside else { return "Measure more parts of it.".to_owned() };
    if let Some(doubt) = lot.doubt {
        return doubt.remedy().to_owned();
    }
    let mut found = Vec::new();
    if let Some(n) = lot.parts_needed(&study.options).filter(|n| *n > lot.n) {
        let as_they_are = match share.basis {
            Basis::Count | Basis::Curve if share.counted == 0 => "with none outside",
            Basis::Count | Basis::Curve => "with no more outside",
            _ => "with mean and scatter as they are",
        };
        found.push(format!("About {n} parts in all, {as_they_are}, would show it: measure {} more.", n - lot.n));
    }
    found.extend(if_normal(&share, study));
    if matches!(share.basis, Basis::Sorted { assumed: true, .. }) {
        found.push("Give the sorting gauge's standard uncertainty, from a study of it: --sorted=LENGTH.".to_owned());
    }
    found.join(" ")
}

/// What the knowledge of a normal shape would change.
fn if_normal(share: &ShareOutside, study: &LotStudy) -> Option<String> {
    // A lot that was cut at its limits is not normal, whatever experience says.
    let would = share.normal_upper_bound.filter(|b| *b <= study.options.max_out && study.options.sorting.is_none())?;
    (study.options.shape != ShapeKnowledge::Normal && !share.in_doubt && matches!(share.basis, Basis::Shapes { .. })).then(
        || {
            format!(
                "If long experience shows that such parts scatter normally, say --shape normal: at most {} is then outside.",
                estimated_share(would)
            )
        },
    )
}

/// For several lots that are not shown: what would change it, in one sentence.
pub(super) fn of_several(study: &LotStudy) -> Option<String> {
    let open = || study.lots.iter().filter(|l| study.verdict(l).is_some_and(|v| v.standing() == Standing::NotShown));
    let helped = open().filter(|l| l.share_outside.is_some_and(|s| if_normal(&s, study).is_some())).count();
    if helped == 0 {
        return None;
    }
    Some(format!(
        "{} of those not shown would be acceptable if such parts are known to scatter normally (--shape normal); lots of one process may be taken together with --shape alike. Too few parts tell a normal lot from one with longer tails, and {} outside is a matter of tails.",
        helped,
        percent(study.options.max_out)
    ))
}
