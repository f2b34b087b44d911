//! What picking parts by this gauge's readings does in the pack.

use crate::number::{estimated_share, significant};
use crate::table::{Cell, Column, Table};
use packdrift_lotpack::{ReadingInPack, ReadingInRequirement};
use serde_json::{Value, json};

/// The requirement that a reading's error takes most of.
fn most(pack: &ReadingInPack) -> Option<&ReadingInRequirement> {
    let share = |r: &ReadingInRequirement| r.share_of_width.unwrap_or(0.0);
    // Of equals the first.
    pack.requirements.iter().reduce(|a, b| if share(b) > share(a) { b } else { a })
}

pub(super) fn sentence(pack: &ReadingInPack) -> String {
    let parts = match pack.dimensions.len() {
        1 => pack.dimensions[0].clone(),
        n => format!("{n} parts"),
    };
    let Some(r) = most(pack) else {
        return format!("In the pack nothing depends on the reading of {parts}.");
    };
    let width = r.share_of_width.map_or_else(String::new, |s| {
        format!(", {} of the width of its limits as six standard deviations", estimated_share(s))
    });
    format!(
        "In the pack, with {parts} picked by single readings, the readings' error adds most to {} ({}): sd {} {}{width}. Of such packs {} are outside; with those parts known exactly, {}.",
        r.name,
        r.condition,
        significant(r.added_sd, 2),
        r.unit,
        estimated_share(r.read),
        estimated_share(r.known)
    )
}

pub(super) fn table(pack: &ReadingInPack) -> Table {
    let mut table = Table::new(
        "in-pack",
        "Scatter added and share of packs outside where the parts are picked by single readings",
        vec![
            Column::text("requirement"),
            Column::text("condition"),
            Column::number("sd added"),
            Column::text("unit"),
            Column::number("of the limits' width"),
            Column::number("acceptable"),
            Column::number("outside, parts known"),
            Column::number("outside, parts read"),
        ],
    );
    for r in &pack.requirements {
        table.push(vec![
            Cell::text(r.name.as_str()),
            Cell::text(r.condition.as_str()),
            Cell::significant(r.added_sd, 2),
            Cell::text(r.unit),
            r.share_of_width.map_or(Cell::Empty, Cell::estimated_share),
            Cell::share(r.max_out),
            Cell::estimated_share(r.known),
            Cell::estimated_share(r.read),
        ]);
    }
    table
}

pub(super) fn json(pack: &ReadingInPack) -> Value {
    json!({
        "u": pack.u,
        "dimensions": pack.dimensions,
        "requirements": pack.requirements.iter().map(|r| json!({
            "name": r.name, "condition": r.condition, "unit": r.unit, "added_sd": r.added_sd, "share_of_width": r.share_of_width,
            "max_out": r.max_out, "known": r.known, "read": r.read })).collect::<Vec<_>>(),
    })
}
