//! The policy file: what the planner has decided, as TOML.

use crate::check::{FileKind, of_the_kind};
use crate::document::{Document, Item, Section};
use crate::error::{Error, FaultKind};
use crate::gauge_result::read_gauge;
use crate::loaded::Loaded;
use crate::options::Options;
use crate::source::{InputFile, Source};
use crate::units::{LengthUnit, MILLIMETRES_PER_INCH};
use packdrift_trend::{Costs, FeatureLimits, Policy, Window};
use std::path::Path;

/// Reads a policy file, and the results of gauge studies that it names (relative to its own folder). Limits are taken to be in the unit of the
/// inspections, whatever they are called.
///
/// # Errors
///
/// [`Error::Input`] with every mistake in the file, each with its line and column; [`Error::Machine`] where it could not be
/// read.
pub fn read_policy(path: &Path) -> Result<Loaded<Policy>, Error> {
    read_policy_in(path, None)
}

/// As [`read_policy`], for inspections whose lengths are in a unit that somebody said: limits in mm and in inches are brought to it, and a feature
/// has to say its unit where that is not mm.
///
/// # Errors
///
/// As [`read_policy`].
pub fn read_policy_in(path: &Path, lengths: Option<LengthUnit>) -> Result<Loaded<Policy>, Error> {
    let source = Source::read(path)?;
    policy_in(&source, lengths).map_err(|error| of_the_kind(&source, FileKind::Policy, &Options::default(), error))
}

/// As [`read_policy`], from bytes at hand.
///
/// # Errors
///
/// As [`read_policy`].
///
/// # Examples
/// ```
/// use packdrift_records::{Source, policy_from};
/// let text = "risk = 0.05\nhorizon = 2000\n[feature.contact_offset]\nunit = \"mm\"\nlower = 0.4\nupper = 1.6\n";
/// let policy = policy_from(&Source::from_bytes("policy.toml", text.as_bytes()))?.value;
/// assert_eq!(policy.features["contact_offset"].upper, Some(1.6));
/// # Ok::<(), packdrift_records::Error>(())
/// ```
pub fn policy_from(source: &Source) -> Result<Loaded<Policy>, Error> {
    policy_in(source, None)
}

fn policy_in(source: &Source, lengths: Option<LengthUnit>) -> Result<Loaded<Policy>, Error> {
    let document = Document::new(source)?;
    let text = document.text_to_parse();
    let tree = document.parse(&text);
    let mut inputs = vec![source.fingerprint()];
    let policy = policy(document.root(&tree), lengths, &mut inputs);
    let policy = document.conclude(Some(policy))?;
    Ok(Loaded { value: policy, inputs, notices: Vec::new() })
}

fn policy(root: Section<'_>, lengths: Option<LengthUnit>, inputs: &mut Vec<InputFile>) -> Policy {
    let risk = root.require("risk", "the largest acceptable chance, such as 0.05").and_then(|item| {
        let risk = item.number()?;
        if risk.value > 0.0 && risk.value < 1.0 {
            return Some(risk.value);
        }
        item.refuse(FaultKind::OutOfRange, "a chance above 0 and below 1").help("0.05 is one in twenty").done();
        None
    });
    let horizon =
        root.require("horizon", "hours to look ahead, such as 2000").and_then(|item| positive(&item, "hours"));
    let mut policy =
        Policy { risk: risk.unwrap_or_default(), horizon: horizon.unwrap_or_default(), ..Policy::default() };
    let features = root.require("feature", "at least one table [feature.NAME]").and_then(|item| item.section());
    for (name, item) in features.map(|features| features.named_entries()).unwrap_or_default() {
        if let Some(limits) = item.section().map(|section| feature(section, lengths, inputs)) {
            policy.features.insert(name, limits);
        }
    }
    let usage = root.get("usage").and_then(|item| item.section());
    for (name, item) in usage.map(|usage| usage.named_entries()).unwrap_or_default() {
        let Some(hours) = item.number() else { continue };
        if !(0.0..=168.0).contains(&hours.value) {
            item.refuse(FaultKind::OutOfRange, "hours a week, from 0 to 168").done();
        } else if name == "default" {
            policy.usage_default = Some(hours.value);
        } else {
            policy.usage.insert(name, hours.value);
        }
    }
    if let Some(windows) = root.get("window") {
        policy.windows = windows.sections().into_iter().filter_map(window).collect();
        policy.windows.sort_by_key(|window| (window.start, window.end));
    }
    if let Some(cost) = root.get("cost").and_then(|item| item.section()) {
        let price = |key| cost.require(key, "a cost above 0").and_then(|item| positive(&item, "a cost"));
        let (planned, failure) = (price("planned"), price("failure"));
        let inspection = cost.get("inspection").and_then(|item| positive(&item, "a cost"));
        if let Some(unit) = cost.get("unit").and_then(|item| item.text()) {
            policy.cost_unit = unit.value;
        }
        cost.finish();
        policy.cost = planned.zip(failure).map(|(planned, failure)| Costs { planned, failure, inspection });
    }
    root.finish();
    policy
}

fn feature(section: Section<'_>, lengths: Option<LengthUnit>, inputs: &mut Vec<InputFile>) -> FeatureLimits {
    let said = section.get("unit").map(|item| item.text().map(|text| text.value).unwrap_or_default());
    if lengths == Some(LengthUnit::Inch) && said.is_none() {
        let help = "with --units in the inspections are in inches; which unit these limits are in has to be said then";
        section.missing("unit", "the unit of its limits, such as unit = \"in\" or unit = \"mm\"").help(help).done();
    }
    let unit = said.unwrap_or_else(|| "mm".to_owned());
    let bring = Bring::of(&unit, lengths);
    let [lower, upper] = ["lower", "upper"].map(|key| section.get(key).map(|item| item.number()));
    match (&lower, &upper) {
        (None, None) => {
            let document = section.document();
            let (found, expected) = ("neither `lower` nor `upper`", "at least one limit");
            document.report(FaultKind::NoLimits, section.span(), section.path(), found, expected).done();
        }
        (Some(Some(low)), Some(Some(high))) if low.value >= high.value => {
            let found = format!("upper = {} with lower = {}", high.value, low.value);
            let expected = "an upper limit above the lower one";
            section
                .document()
                .report(FaultKind::Contradiction, high.span.clone(), high.key.clone(), found, expected)
                .done();
        }
        _ => {}
    }
    let value =
        |limit: Option<Option<crate::document::At<f64>>>| limit.flatten().map(|limit| bring.length(limit.value));
    let reading_sd = section.get("reading_sd").and_then(|item| reading_sd(&item, &unit, bring, inputs));
    let limits = FeatureLimits { unit: bring.unit(unit), lower: value(lower), upper: value(upper), reading_sd };
    section.finish();
    limits
}

/// How a feature's lengths are brought to the unit of the inspections.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Bring {
    /// They are in it, or are no lengths.
    AsTheyAre,
    ToMillimetres,
    ToInches,
}

impl Bring {
    fn of(unit: &str, lengths: Option<LengthUnit>) -> Self {
        match (unit, lengths) {
            ("mm", Some(LengthUnit::Inch)) => Self::ToInches,
            ("in", Some(LengthUnit::Millimetre)) => Self::ToMillimetres,
            _ => Self::AsTheyAre,
        }
    }

    fn length(self, given: f64) -> f64 {
        match self {
            Self::AsTheyAre => given,
            // The decimal is converted, as in a pack file.
            Self::ToMillimetres => LengthUnit::Inch.millimetres(&given.to_string()).unwrap_or(given),
            Self::ToInches => given / MILLIMETRES_PER_INCH,
        }
    }

    fn unit(self, written: String) -> String {
        match self {
            Self::AsTheyAre => written,
            Self::ToMillimetres => "mm".to_owned(),
            Self::ToInches => "in".to_owned(),
        }
    }
}

/// A number in the feature's unit, or the file of a gauge study's result, which is read in millimetres.
fn reading_sd(item: &Item<'_>, unit: &str, bring: Bring, inputs: &mut Vec<InputFile>) -> Option<f64> {
    if !item.is_text() {
        return positive(item, "a standard uncertainty").map(|sd| bring.length(sd));
    }
    let name = item.text()?;
    if !matches!(unit, "mm" | "in") {
        let expected = format!("a number in {unit}: a gauge study's result is a length");
        item.refuse(FaultKind::Contradiction, expected).done();
        return None;
    }
    let gauge = item.named_file(&name.value, read_gauge)?;
    inputs.extend(gauge.inputs.into_iter().filter(|input| !inputs.contains(input)).collect::<Vec<_>>());
    let in_inches = bring.unit(unit.to_owned()) == "in";
    Some(if in_inches { gauge.value / MILLIMETRES_PER_INCH } else { gauge.value })
}

fn window(section: Section<'_>) -> Option<Window> {
    let day = |key| section.require(key, "a date such as 2027-03-01").and_then(|item| item.date());
    let (start, end) = (day("start"), day("end"));
    let engines = section.require("engines", "how many engines can be done in it").and_then(|item| item.count(1));
    if let (Some(start), Some(end)) = (&start, &end)
        && end.value < start.value
    {
        let report = section.document().report(
            FaultKind::Contradiction,
            end.span.clone(),
            end.key.clone(),
            "an end before the start",
            "a window that ends on its first day or later",
        );
        report.done();
    }
    section.finish();
    Some(Window { start: start?.value, end: end?.value, engines: engines?.value })
}

fn positive(item: &Item<'_>, what: &str) -> Option<f64> {
    let number = item.number()?;
    if number.value > 0.0 {
        return Some(number.value);
    }
    item.refuse(FaultKind::OutOfRange, format!("{what}, above 0")).done();
    None
}
