//! What is required of the pack.

use super::Builder;
use super::bay::BayRead;
use crate::document::{At, Section};
use crate::error::FaultKind;
use crate::limits::REQUIREMENTS;
use packdrift_pack::{PartKind, Quantity, QuantityKind, StressPoint};
use packdrift_spread::{MAX_OUT, Requirement};

const QUANTITIES: [(&str, QuantityKind); 7] = [
    ("offset", QuantityKind::Offset),
    ("preload", QuantityKind::Preload),
    ("height", QuantityKind::Height),
    ("play", QuantityKind::Play),
    ("edge-margin", QuantityKind::EdgeMargin),
    ("contact-pressure", QuantityKind::ContactPressure),
    ("stress", QuantityKind::Stress),
];

/// Where on a disc a stress is required, by the standard's names.
const POINTS: [(&str, StressPoint); 6] = [
    ("OM", StressPoint::Om),
    ("I", StressPoint::I),
    ("II", StressPoint::Ii),
    ("III", StressPoint::Iii),
    ("IV", StressPoint::Iv),
    ("bending", StressPoint::Bending),
];

impl<'d> Builder<'d> {
    pub(super) fn requirements(&mut self, root: &Section<'d>, bays: &[BayRead]) -> Vec<Requirement> {
        let mut requirements: Vec<Requirement> = Vec::new();
        let Some(item) = root.require("requirement", "at least one [[requirement]]") else { return requirements };
        let mut names: Vec<String> = Vec::new();
        for mut section in item.sections_at_most(REQUIREMENTS) {
            if requirements.len() > REQUIREMENTS {
                let found = format!("more than {REQUIREMENTS} requirements, each condition counted");
                let report = item.refuse(FaultKind::TooLarge, format!("at most {REQUIREMENTS}"));
                report.found(found).help("docs/files.md lists all limits").done();
                break;
            }
            let name = section.require("name", "the requirement's name").and_then(|item| item.text());
            if let Some(name) = &name {
                self.refuse_repeated(name, names.contains(&name.value), "requirement");
                names.push(name.value.clone());
                section.rename(format!("requirement {}", name.value));
            }
            let words = "one of `offset`, `preload`, `height`, `play`, `edge-margin`, `contact-pressure`, `stress`";
            let kind = section.require("quantity", words).and_then(|item| item.word(&QUANTITIES));
            let quantity = kind.as_ref().and_then(|kind| self.quantity_of(&section, kind, bays));
            if kind.is_none() {
                // Which of them the quantity needs is not known: take them all as known.
                for key in ["valve", "bay", "spring", "point"] {
                    section.get(key);
                }
            }
            let conditions = self.conditions_of(&section);
            let limits = self.limits_of(&section, kind.as_ref().map(|kind| kind.value));
            if let (Some(quantity), Some((None, Some(upper), _))) = (&quantity, &limits) {
                refuse_limit_on_tension(&section, quantity, *upper);
            }
            let max_out = max_out(&section);
            section.finish();
            let (Some(name), Some(quantity), Some(conditions), Some((lower, upper, target)), Some(max_out)) =
                (name, quantity, conditions, limits, max_out)
            else {
                continue;
            };
            for condition in conditions {
                let name = name.value.clone();
                requirements.push(Requirement { name, quantity, condition, lower, upper, target, max_out });
            }
        }
        requirements
    }

    /// Which condition, or all of them.
    fn conditions_of(&self, section: &Section<'d>) -> Option<Vec<usize>> {
        let Some(item) = section.get("condition") else { return Some((0..self.conditions.len()).collect()) };
        let name = item.text()?;
        let found = self.conditions.iter().position(|condition| condition.name == name.value);
        if found.is_none() {
            let names: Vec<&str> = self.conditions.iter().map(|condition| condition.name.as_str()).collect();
            self.unknown_name(&name, "condition", &names);
        }
        Some(vec![found?])
    }

    fn limits_of(
        &self,
        section: &Section<'d>,
        kind: Option<QuantityKind>,
    ) -> Option<(Option<f64>, Option<f64>, Option<f64>)> {
        let is_length =
            !matches!(kind, Some(QuantityKind::Preload | QuantityKind::ContactPressure | QuantityKind::Stress));
        let mut sound = true;
        let [lower, upper, target] = ["lower", "upper", "target"].map(|key| {
            let item = section.get(key)?;
            let number = if is_length { self.length(&item) } else { item.number() };
            sound &= number.is_some();
            number
        });
        if lower.is_none() && upper.is_none() && sound {
            let (found, expected) = ("neither `lower` nor `upper`", "at least one limit");
            self.document.report(FaultKind::NoLimits, section.span(), section.path(), found, expected).done();
            return None;
        }
        let value = |number: &Option<At<f64>>| number.as_ref().map(|number| number.value);
        let (low, high, aim) = (value(&lower), value(&upper), value(&target));
        if let (Some(low), Some(high), Some(upper)) = (low, high, &upper)
            && low >= high
        {
            let found = format!("upper = {high} with lower = {low}");
            self.contradiction(upper.span.clone(), &upper.key, found, "an upper limit above the lower one");
            return None;
        }
        if let (Some(aim), Some(target)) = (aim, &target)
            && (low.is_some_and(|low| aim < low) || high.is_some_and(|high| aim > high))
        {
            let found = format!("target = {aim}");
            self.contradiction(target.span.clone(), &target.key, found, "a target inside the limits");
            return None;
        }
        sound.then_some((low, high, aim))
    }

    /// Which bay, valve or spring washer the quantity is of.
    fn quantity_of(&self, section: &Section<'d>, kind: &At<QuantityKind>, bays: &[BayRead]) -> Option<Quantity> {
        match kind.value {
            QuantityKind::Offset => {
                let (bay, valve) = self.valve(section, bays)?;
                Some(Quantity::Offset { bay, valve })
            }
            QuantityKind::EdgeMargin => {
                let (bay, valve) = self.valve_in_contact(section, kind, bays, true)?;
                Some(Quantity::EdgeMargin { bay, valve })
            }
            QuantityKind::ContactPressure => {
                let (bay, valve) = self.valve_in_contact(section, kind, bays, false)?;
                Some(Quantity::ContactPressure { bay, valve })
            }
            QuantityKind::Preload => Some(Quantity::Preload { bay: self.bay(section, bays, true)? }),
            QuantityKind::Play => Some(Quantity::Play { bay: self.bay(section, bays, true)? }),
            QuantityKind::Height => {
                let (bay, part) = self.spring_of(section, bays)?;
                Some(Quantity::Height { bay, part })
            }
            QuantityKind::Stress => {
                let item = section.get("point");
                let (bay, part) = self.spring_of(section, bays)?;
                let point = item.map(|item| item.word(&POINTS));
                self.stress(section, bays, (bay, part), kind, point)
            }
        }
    }

    /// The stress at a point that the washer's law knows; where it knows one only, that need not be named.
    #[allow(clippy::option_option, reason = "absent, and there but not readable, are two things")]
    fn stress(
        &self,
        section: &Section<'d>,
        bays: &[BayRead],
        (bay, part): (usize, usize),
        kind: &At<QuantityKind>,
        point: Option<Option<At<StressPoint>>>,
    ) -> Option<Quantity> {
        let data = bays.get(bay)?.bay.parts.get(part)?;
        let PartKind::Spring(washer) = &data.kind else { return None };
        let known = washer.stress_points();
        let words: Vec<&str> = known.iter().map(|point| point.name()).collect();
        let refuse = |span, key: String, found: String, expected: String| {
            self.document.report(FaultKind::Contradiction, span, key, found, expected).done();
            None
        };
        let listed = crate::suggest::listed(&words);
        match (point, known) {
            (Some(point), known) => {
                let point = point?;
                if known.contains(&point.value) {
                    return Some(Quantity::Stress { bay, part, point: point.value });
                }
                let found = format!("the stress {} of `{}`", point.value, data.name);
                let expected = if known.is_empty() {
                    "a disc, wave or curved washer: a rate or a load table says nothing of stress".to_owned()
                } else {
                    format!("a point where the law of this washer has a stress: {listed}")
                };
                refuse(point.span, point.key, found, expected)
            }
            (None, [only]) => Some(Quantity::Stress { bay, part, point: *only }),
            (None, []) => {
                let found = format!("a stress of `{}`", data.name);
                let expected =
                    "a disc, wave or curved washer: a rate or a load table says nothing of stress".to_owned();
                refuse(kind.span.clone(), kind.key.clone(), found, expected)
            }
            (None, _) => {
                section.missing("point", &format!("where on the disc: {listed}")).done();
                None
            }
        }
    }

    fn valve(&self, section: &Section<'d>, bays: &[BayRead]) -> Option<(usize, usize)> {
        let name = section.require("valve", "the name of a valve")?.text()?;
        let valves = || {
            bays.iter().enumerate().flat_map(|(bay, read)| {
                read.bay.valves.iter().enumerate().map(move |(valve, data)| (bay, valve, data.name.as_str()))
            })
        };
        let found = valves().find(|(_, _, valve)| *valve == name.value);
        if found.is_none() {
            self.unknown_name(&name, "valve", &valves().map(|(_, _, name)| name).collect::<Vec<_>>());
        }
        found.map(|(bay, valve, _)| (bay, valve))
    }

    fn valve_in_contact(
        &self,
        section: &Section<'d>,
        kind: &At<QuantityKind>,
        bays: &[BayRead],
        whole: bool,
    ) -> Option<(usize, usize)> {
        let (bay, valve) = self.valve(section, bays)?;
        let absent = bays[bay].contact_missing.get(valve)?;
        let needed: Vec<&str> =
            absent.iter().copied().filter(|key| whole || !matches!(*key, "stem_end_chamfer" | "sweep")).collect();
        if needed.is_empty() {
            return Some((bay, valve));
        }
        let name = &bays[bay].bay.valves[valve].name;
        let found = format!("no {} on valve `{name}`", crate::suggest::listed(&needed));
        let expected = "the contact's data, which this quantity is computed from";
        self.document.report(FaultKind::MissingKey, kind.span.clone(), kind.key.clone(), found, expected).done();
        None
    }

    /// A bay by its name; where there is one bay it need not be named.
    fn bay(&self, section: &Section<'d>, bays: &[BayRead], needed: bool) -> Option<usize> {
        let Some(item) = section.get("bay") else {
            if bays.len() > 1 && needed {
                section.missing("bay", "the name of a bay").done();
                return None;
            }
            return (bays.len() == 1).then_some(0);
        };
        let name = item.text()?;
        let found = bays.iter().position(|read| read.bay.name == name.value);
        if found.is_none() {
            let names: Vec<&str> = bays.iter().map(|read| read.bay.name.as_str()).collect();
            self.unknown_name(&name, "bay", &names);
        }
        found
    }

    /// A spring washer by its name and, where several bays have one of that name, its bay.
    fn spring_of(&self, section: &Section<'d>, bays: &[BayRead]) -> Option<(usize, usize)> {
        let bay = self.bay(section, bays, false);
        let item = section.require("spring", "the name of a spring washer")?;
        let name = item.text()?;
        let named: Vec<(usize, usize)> = bays
            .iter()
            .enumerate()
            .filter(|(index, _)| bay.is_none_or(|bay| bay == *index))
            .filter_map(|(index, read)| Some((index, read.bay.parts.iter().position(|part| part.name == name.value)?)))
            .collect();
        match named[..] {
            [] => {
                let springs: Vec<&str> = bays
                    .iter()
                    .flat_map(|read| &read.bay.parts)
                    .filter(|part| matches!(part.kind, PartKind::Spring(_)))
                    .map(|part| part.name.as_str())
                    .collect();
                self.unknown_name(&name, "spring washer", &springs);
                None
            }
            [(bay, part)] => {
                let is_spring = matches!(bays[bay].bay.parts[part].kind, PartKind::Spring(_));
                if !is_spring && self.document.is_sound() {
                    item.refuse(FaultKind::Contradiction, "a part of kind `spring-washer`").done();
                    return None;
                }
                Some((bay, part))
            }
            _ => {
                section.missing("bay", "the bay too, since several have a spring washer of this name").done();
                None
            }
        }
    }
}

/// At OM and I a disc is compressed at every deflection (EN 16984): an upper limit above 0, alone, is kept by whatever is built.
fn refuse_limit_on_tension(section: &Section<'_>, quantity: &Quantity, upper: f64) {
    let Quantity::Stress { point: point @ (StressPoint::Om | StressPoint::I), .. } = quantity else { return };
    let Some(item) = section.get("upper").filter(|_| upper >= 0.0) else { return };
    let expected =
        format!("a limit that the stress {point} can reach: it is compression, negative, at every deflection");
    let limit = if upper > 0.0 { format!("-{upper}") } else { "with a minus sign".to_owned() };
    let help = format!("tension is positive: for the largest compression write `lower = {limit}`");
    item.refuse(FaultKind::Contradiction, expected).help(help).done();
}

fn max_out(section: &Section<'_>) -> Option<f64> {
    let Some(item) = section.get("max_out") else { return Some(MAX_OUT) };
    let share = item.number()?;
    if share.value > 0.0 && share.value < 1.0 {
        return Some(share.value);
    }
    let help = "it is a share: 0.01 is one in a hundred";
    item.refuse(FaultKind::OutOfRange, "a share above 0 and below 1").help(help).done();
    None
}
