//! The table `[cost]`: prices and times of the shop that fits the builds.

use super::Builder;
use crate::document::{Item, Section};
use crate::error::{FaultKind, Notice, Subject};
use packdrift_policy::Prices;

/// No price, time or number of builds is above this.
const MOST: f64 = 1e9;

impl<'d> Builder<'d> {
    pub(super) fn prices(&mut self, root: &Section<'d>) {
        let Some(item) = root.get("cost") else {
            if self.inputs.iter().any(|input| input.cost.is_some()) {
                let text = "dimensions have a cost and there is no [cost]: `allocate --fit-from` then counts no minutes at the bench, no measuring and no \
                            holding, and takes 250 builds a year";
                self.notices.push(Notice::new(&self.path, text).of(Subject::Prices));
            }
            return;
        };
        let Some(section) = item.section() else { return };
        let from_0 = |key: &'static str| section.get(key).and_then(|item| number(&item, 0.0, "0 or more"));
        let above_0 = |key: &'static str| section.get(key).and_then(|item| number(&item, f64::MIN_POSITIVE, "above 0"));
        let prices = Prices {
            minute: from_0("minute"),
            read_minutes: from_0("read_minutes"),
            open_minutes: from_0("open_minutes"),
            piece_minutes: from_0("piece_minutes"),
            measuring: from_0("measuring"),
            tighter: from_0("tighter"),
            tighter_share: section.get("tighter_share").and_then(|item| {
                let share = item.number()?.value;
                if (0.0..=1.0).contains(&share) {
                    return Some(share);
                }
                item.refuse(FaultKind::OutOfRange, "a share from 0 to 1 of the catalogue's scatter").done();
                None
            }),
            holding: from_0("holding"),
            size_a_year: from_0("size_a_year"),
            builds_a_year: above_0("builds_a_year"),
        };
        section.finish();
        for (key, counts) in prices.missing() {
            let text = format!("[cost] has no `{key}`: for `allocate --fit-from` {counts} counts");
            self.notices.push(Notice::new(&self.path, text).of(Subject::Prices));
        }
        for (key, what) in prices.not_looked_at() {
            let text = format!("[cost] has no `{key}`: by `allocate --fit-from` {what}");
            self.notices.push(Notice::new(&self.path, text).of(Subject::Prices));
        }
        self.prices = Some(prices);
    }
}

fn number(item: &Item<'_>, least: f64, expected: &str) -> Option<f64> {
    let value = item.number()?.value;
    if value >= least && value <= MOST {
        return Some(value);
    }
    item.refuse(FaultKind::OutOfRange, format!("a number {expected}, at most 1e9")).done();
    None
}
