//! The order of urgency, and which valves are drawn.

use crate::table::Standing;
use packdrift_trend::{FeatureResult, Limit, Status, TrendResult, ValveForecast};
use std::cmp::Ordering;

/// A valve's forecast with the feature it is about.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ranked<'a> {
    pub(super) feature: &'a FeatureResult,
    pub(super) valve: &'a ValveForecast,
}

impl Ranked<'_> {
    /// Anything but in window.
    pub(super) fn is_flagged(&self) -> bool {
        self.valve.status.is_some_and(|s| s >= Status::Watch)
    }

    /// `E07, 1 intake`.
    pub(super) fn name(&self) -> String {
        format!("{}, {}", self.valve.engine, self.valve.valve)
    }

    /// The limit it is heading for, or has passed.
    pub(super) fn limit(&self) -> Option<f64> {
        let limits = self.feature.limits.as_ref()?;
        let value = match self.valve.drifting_to {
            Some(Limit::Lower) => limits.lower,
            Some(Limit::Upper) => limits.upper,
            None => limits.upper.or(limits.lower),
        };
        value.or(limits.upper).or(limits.lower)
    }
}

/// More urgent first.
pub(super) fn by_urgency(a: &ValveForecast, b: &ValveForecast) -> Ordering {
    let chance = |v: &ValveForecast| v.chance_by_horizon.filter(|c| c.is_finite()).unwrap_or(-1.0);
    let left = |v: &ValveForecast| v.crossing_hours.p50.or(v.crossing_hours.p05).map_or(f64::INFINITY, |h| h - v.hours);
    b.status
        .cmp(&a.status)
        .then(chance(b).total_cmp(&chance(a)))
        .then(left(a).total_cmp(&left(b)))
        .then_with(|| a.engine.cmp(&b.engine))
        .then_with(|| a.valve.cmp(&b.valve))
}

/// The `n` most urgent valves of one feature, most urgent first; a large fleet is not sorted for the few that are shown.
pub(super) fn most_urgent(feature: &FeatureResult, n: usize) -> Vec<Ranked<'_>> {
    let mut all: Vec<Ranked<'_>> = feature.valves.iter().map(|valve| Ranked { feature, valve }).collect();
    if n < all.len() {
        all.select_nth_unstable_by(n, |a, b| by_urgency(a.valve, b.valve));
        all.truncate(n);
    }
    all.sort_by(|a, b| by_urgency(a.valve, b.valve));
    all
}

/// How many valves of a feature are flagged.
pub(super) fn flagged_count(feature: &FeatureResult) -> usize {
    feature.valves.iter().filter(|valve| Ranked { feature, valve }.is_flagged()).count()
}

/// The valves a list shows: the flagged ones, at most `most`; with nothing flagged a few all the same, so that it shows where
/// the fleet stands.
pub(super) fn listed(feature: &FeatureResult, most: usize) -> Vec<Ranked<'_>> {
    const UNFLAGGED: usize = 5;
    let n = match flagged_count(feature) {
        0 => UNFLAGGED,
        flagged => flagged.min(most),
    };
    most_urgent(feature, n)
}

/// The valves of one feature, most urgent first.
pub(super) fn ranked(feature: &FeatureResult) -> Vec<Ranked<'_>> {
    most_urgent(feature, usize::MAX)
}

/// Flagged valves of all features, most urgent first.
pub(super) fn flagged(result: &TrendResult) -> Vec<Ranked<'_>> {
    let mut all: Vec<Ranked<'_>> = result
        .features
        .iter()
        .flat_map(|feature| feature.valves.iter().map(move |valve| Ranked { feature, valve }))
        .filter(Ranked::is_flagged)
        .collect();
    all.sort_by(|a, b| by_urgency(a.valve, b.valve));
    all
}

/// The valves that are drawn one by one: the flagged ones that carry readings, or where nothing is flagged the three most
/// urgent, so that a page without trouble still shows what it rests on.
pub(super) fn drawn(result: &TrendResult) -> Vec<Ranked<'_>> {
    let has_series = |r: &Ranked<'_>| !r.valve.series.is_empty();
    let mut chosen: Vec<Ranked<'_>> =
        flagged(result).into_iter().filter(has_series).take(super::DRAWN_VALVES).collect();
    if chosen.is_empty() {
        let mut all: Vec<Ranked<'_>> = result.features.iter().flat_map(ranked).filter(has_series).collect();
        all.sort_by(|a, b| by_urgency(a.valve, b.valve));
        all.truncate(3);
        chosen = all;
    }
    chosen
}

/// How many valves have each status, most urgent first.
pub(super) fn tally<'a>(valves: impl IntoIterator<Item = &'a ValveForecast>) -> [(Status, usize); Status::ALL.len()] {
    let mut counts = Status::ALL.map(|status| (status, 0));
    for status in valves.into_iter().filter_map(|v| v.status) {
        for (kind, n) in &mut counts {
            if *kind == status {
                *n += 1;
            }
        }
    }
    counts
}

/// How much a status weighs: only the reassuring one is good.
pub(super) fn standing(status: Option<Status>) -> Standing {
    match status {
        Some(Status::Due | Status::Overdue) => Standing::Act,
        Some(Status::InWindow) | None => Standing::Good,
        Some(_) => Standing::Attend,
    }
}

/// A feature's name for people: `contact offset`.
pub(super) fn title(feature: &FeatureResult) -> String {
    feature.feature.replace('_', " ")
}

/// The word of a status; empty without limits.
pub(super) fn word(status: Option<Status>) -> &'static str {
    status.map_or("", Status::name)
}

/// The unit of a feature, from the policy; empty where that says nothing.
pub(super) fn unit(feature: &FeatureResult) -> &str {
    feature.limits.as_ref().map_or("", |l| l.unit.as_str())
}

/// `1.21 mm`, or `1.21` where no unit is known.
pub(super) fn with_unit(text: &str, unit: &str) -> String {
    if unit.is_empty() { text.to_owned() } else { format!("{text} {unit}") }
}

/// `level, mm`, or `level` where no unit is known.
pub(super) fn with_comma(text: &str, unit: &str) -> String {
    if unit.is_empty() { text.to_owned() } else { format!("{text}, {unit}") }
}
