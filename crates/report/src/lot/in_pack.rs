//! A lot in the pack, in words and as a table.

use super::Lots;
use crate::number::{estimated_share, percent, significant};
use crate::table::{Cell, Column, Standing, Table};
use packdrift_lotpack::{Agreement, LotInPack, RequirementInPack};
use packdrift_verdict::Standing as Judged;

/// Whether the pack bears the lot, with the number that decides.
pub(super) fn sentence(pack: &LotInPack) -> String {
    let over = |r: &RequirementInPack| if r.max_out > 0.0 { r.upper_bound / r.max_out } else { f64::INFINITY };
    // Of equals the first.
    let worst = pack.requirements.iter().filter(|r| r.depends).reduce(|a, b| if over(b) > over(a) { b } else { a });
    let confidence = percent(pack.confidence);
    let nothing = || match pack.verdict.reasons().first() {
        Some(reason) => reason.clone(),
        None => "no requirement of the pack depends on it".to_owned(),
    };
    let number = worst.map_or_else(nothing, |r| {
        let (name, condition, limit) = (&r.name, &r.condition, percent(r.max_out));
        match pack.verdict.standing() {
            Judged::Adverse => format!(
                "with it {} of packs are outside {name} ({condition}), with {confidence} confidence at least {}, where {limit} is acceptable",
                estimated_share(r.fitted),
                estimated_share(r.lower_bound)
            ),
            Judged::Shown => format!(
                "every requirement keeps its limit, the nearest {name} ({condition}) with at most {} outside ({confidence} confidence) where {limit} is acceptable",
                estimated_share(r.upper_bound)
            ),
            // What the bound allows another reason forbids.
            _ if r.upper_bound <= r.max_out => nothing(),
            _ => format!(
                "{name} ({condition}) has {} outside, but up to {} is possible ({confidence} confidence) where {limit} is acceptable",
                estimated_share(r.fitted),
                estimated_share(r.upper_bound)
            ),
        }
    });
    let verdict = match pack.verdict.standing() {
        Judged::Shown => "The pack bears",
        Judged::Adverse => "The pack does not bear",
        _ => "The readings do not show whether the pack bears",
    };
    let side = match pack.agreement {
        Agreement::PackBearsIt => " The drawing is tighter than this pack needs.",
        Agreement::DrawingDoesNotProtect => " The drawing's limits do not protect this pack.",
        Agreement::BothAccept | Agreement::BothRefuse | Agreement::Open => "",
    };
    format!("{}{verdict} {} as {}: {number}.{side}", already(pack), pack.lot, pack.stands_for)
}

/// What fails whatever the lot; empty where nothing does.
fn already(pack: &LotInPack) -> String {
    let failing: Vec<String> = pack
        .requirements
        .iter()
        .filter(|r| r.fails_already())
        .map(|r| {
            let (share, limit) = (estimated_share(r.without), percent(r.max_out));
            format!("{} ({}) has {share} outside where {limit} is acceptable", r.name, r.condition)
        })
        .collect();
    if failing.is_empty() {
        return String::new();
    }
    format!("The pack fails already without this lot, even with perfect parts of it: {}. ", failing.join("; "))
}

/// Several lots in the pack in one sentence, with what decides the worst of them.
pub(super) fn summary(lots: &Lots) -> String {
    let left_out = lots
        .left_out
        .iter()
        .map(|l| format!("The readings do not show whether the pack bears {}: {}.", l.lot, l.reason));
    std::iter::once(of_packs(&lots.packs)).chain(left_out).filter(|s| !s.is_empty()).collect::<Vec<_>>().join(" ")
}

fn of_packs(packs: &[LotInPack]) -> String {
    let [first, ..] = packs else { return String::new() };
    if packs.len() == 1 {
        return sentence(first);
    }
    let mut parts = Vec::new();
    for (wanted, one, many) in [
        (Some(Judged::Shown), "is borne", "are borne"),
        (None, "is not shown to be borne", "are not shown to be borne"),
        (Some(Judged::Adverse), "is not borne", "are not borne"),
    ] {
        let here = |standing: Judged| match wanted {
            Some(wanted) => standing == wanted,
            None => !matches!(standing, Judged::Shown | Judged::Adverse),
        };
        let lots: Vec<&str> = packs.iter().filter(|p| here(p.verdict.standing())).map(|p| p.lot.as_str()).collect();
        if !lots.is_empty() {
            parts.push(format!("{} {}", lots.join(", "), if lots.len() == 1 { one } else { many }));
        }
    }
    format!("{}In the pack, as {}: {}.", already(first), first.stands_for, parts.join("; "))
}

/// How far bias and scatter could go.
pub(super) fn room(pack: &LotInPack, unit: &str) -> String {
    let length = |x: f64| format!("{} {unit}", significant(x, 2));
    let mut parts = Vec::new();
    match pack.bias_room {
        None => parts.push("At this scatter the pack bears no bias at all.".to_owned()),
        Some(i) => {
            let end = |x: f64| if x.is_finite() { length(x) } else { "any".to_owned() };
            parts.push(format!(
                "At this scatter the pack bears a bias from {} to {}; measured is {}.",
                end(i.lower),
                end(i.upper),
                length(pack.bias)
            ));
        }
    }
    parts.push(match pack.largest_sd {
        None => "At this bias it bears no scatter at all.".to_owned(),
        Some(s) if s.is_infinite() => "At this bias it bears any scatter.".to_owned(),
        Some(s) => {
            format!("At this bias it bears a standard deviation up to {}; measured is {}.", length(s), length(pack.sd))
        }
    });
    if let Some((thin, thick)) = super::acceptance::sides(pack) {
        parts.push(if thin == thick {
            format!("Either way {thin} gives out first.")
        } else {
            format!("Where such parts run thin {thin} gives out first, where they run thick {thick}.")
        });
    }
    parts.push(format!(
        "Were it normal and its readings right on average, the chance that it keeps every requirement would be {}.",
        crate::number::chance(pack.chance_acceptable)
    ));
    parts.join(" ")
}

/// Requirement by requirement.
pub(super) fn table(pack: &LotInPack) -> Table {
    let mut table = Table::new(
        &format!("in-pack {}", pack.lot),
        &format!(
            "Share of packs outside with {} as {}, estimated and at most ({} confidence)",
            pack.lot,
            pack.stands_for,
            percent(pack.confidence)
        ),
        vec![
            Column::text("requirement"),
            Column::text("condition"),
            Column::text("verdict"),
            Column::number("acceptable"),
            Column::number("today"),
            Column::number("without it"),
            Column::number("this lot"),
            Column::number("at most"),
            Column::number("by its readings"),
        ],
    );
    for r in &pack.requirements {
        let (word, standing) = match r.verdict.standing() {
            _ if r.fails_already() => ("fails without it", Standing::Act),
            Judged::Shown => ("kept", Standing::Good),
            Judged::Adverse => ("not kept", Standing::Act),
            Judged::TooCloseToTell => ("too close to tell", Standing::Attend),
            _ => ("not shown", Standing::Attend),
        };
        table.push(vec![
            Cell::text(r.name.as_str()),
            Cell::text(r.condition.as_str()),
            Cell::verdict(word, standing),
            Cell::share(r.max_out),
            Cell::estimated_share(r.today.total),
            Cell::estimated_share(r.without),
            Cell::estimated_share(r.fitted),
            Cell::estimated_share(r.upper_bound),
            Cell::estimated_share(r.empirical),
        ]);
    }
    table
}
