//! A lot in the pack, in words and as a table.

use crate::number::{percent, significant};
use crate::table::{Cell, Column, Standing, Table};
use packdrift_lot::in_pack::{Agreement, LotInPack, PackVerdict};

/// Whether the pack bears the lot, with the number that decides.
pub(super) fn sentence(pack: &LotInPack) -> String {
    let worst =
        pack.requirements.iter().max_by(|a, b| (a.upper_bound / a.max_out).total_cmp(&(b.upper_bound / b.max_out)));
    let number = worst.map_or_else(String::new, |r| {
        format!(
            "{} ({}): {} outside, at most {}, where {} is acceptable and today's pack has {}",
            r.name,
            r.condition,
            percent(r.fitted.total),
            percent(r.upper_bound),
            percent(r.max_out),
            percent(r.today.total)
        )
    });
    let verdict = match pack.verdict {
        PackVerdict::Acceptable => "The pack bears",
        PackVerdict::NotShown => "The readings do not show whether the pack bears",
        PackVerdict::NotAcceptable => "The pack does not bear",
    };
    let side = match pack.agreement {
        Agreement::PackBearsIt => " The drawing is tighter than this pack needs.",
        Agreement::DrawingDoesNotProtect => " The drawing's limits do not protect this pack.",
        Agreement::BothAccept | Agreement::BothRefuse | Agreement::Open => "",
    };
    format!("{verdict} {} as {}; {number}.{side}", pack.lot, pack.stands_for)
}

/// How far bias and scatter could go.
pub(super) fn room(pack: &LotInPack) -> String {
    let mm = |x: f64| format!("{} mm", significant(x, 2));
    let bias = match pack.bias_room {
        None => "At this scatter the pack bears no bias at all.".to_owned(),
        Some(i) => {
            let end = |x: f64| if x.is_finite() { mm(x) } else { "any".to_owned() };
            format!(
                "At this scatter the pack bears a bias from {} to {} (measured {}).",
                end(i.lower),
                end(i.upper),
                mm(pack.bias)
            )
        }
    };
    let sd = match pack.largest_sd {
        None => "At this bias it bears no scatter at all.".to_owned(),
        Some(s) if s.is_infinite() => "At this bias it bears any scatter.".to_owned(),
        Some(s) => format!("At this bias it bears an sd up to {} (measured {}).", mm(s), mm(pack.sd)),
    };
    format!("{bias} {sd} The chance that the lot keeps every requirement is {}.", percent(pack.chance_acceptable))
}

/// Requirement by requirement.
pub(super) fn table(pack: &LotInPack) -> Table {
    let mut table = Table::new(
        &format!("in-pack {}", pack.lot),
        &format!("Share outside in the pack, {} as {}", pack.lot, pack.stands_for),
        vec![
            Column::text("requirement"),
            Column::text("condition"),
            Column::text("verdict"),
            Column::number("acceptable"),
            Column::number("today"),
            Column::number("with this lot"),
            Column::number("at most"),
            Column::number("from the readings themselves"),
        ],
    );
    for r in &pack.requirements {
        let (word, standing) = if r.upper_bound <= r.max_out {
            ("kept", Standing::Good)
        } else if r.lower_bound > r.max_out {
            ("not kept", Standing::Act)
        } else {
            ("not shown", Standing::Attend)
        };
        table.push(vec![
            Cell::text(r.name.as_str()),
            Cell::text(r.condition.as_str()),
            Cell::verdict(word, standing),
            Cell::share(r.max_out),
            Cell::share(r.today.total),
            Cell::share(r.fitted.total),
            Cell::share(r.upper_bound),
            Cell::share(r.empirical.total),
        ]);
    }
    table
}
