//! Bays, their parts and their valves.

use super::dimension::{Sign, Unit};
use super::{Builder, Material};
use crate::document::{At, Item, Section};
use crate::error::FaultKind;
use crate::limits::{BAYS, DIMENSIONS, PARTS};
use packdrift_pack::{Bay, Contact, DimensionId, Elastic, Part, PartKind, SolidKind, Valve};

/// A bay, and what requirements must know beside it.
pub(super) struct BayRead {
    pub(super) bay: Bay,
    /// Per valve: the keys of the contact that the file does not give.
    pub(super) contact_missing: Vec<Vec<&'static str>>,
}

/// Kinds of part, by the words of the file.
#[derive(Debug, Clone, Copy)]
enum Kind {
    Solid(SolidKind),
    Rocker,
    Spring,
}

const KINDS: [(&str, Kind); 5] = [
    ("shim", Kind::Solid(SolidKind::Shim)),
    ("washer", Kind::Solid(SolidKind::Washer)),
    ("rocker", Kind::Rocker),
    ("spring-washer", Kind::Spring),
    ("spacer", Kind::Solid(SolidKind::Spacer)),
];

/// Stands for a dimension that could not be read; the pack is then not built.
pub(super) const UNREAD: DimensionId = DimensionId(usize::MAX);

impl<'d> Builder<'d> {
    pub(super) fn bays(&mut self, root: &Section<'d>) -> Vec<BayRead> {
        let mut bays: Vec<BayRead> = Vec::new();
        let Some(item) = root.require("bay", "at least one [[bay]]") else { return bays };
        let mut valve_names: Vec<String> = Vec::new();
        for mut section in item.sections_at_most(BAYS) {
            if self.dimensions.len() > DIMENSIONS {
                let found = format!("more than {DIMENSIONS} dimensions");
                let report = item.refuse(FaultKind::TooLarge, format!("at most {DIMENSIONS} in all bays together"));
                report.found(found).help("docs/files.md lists all limits").done();
                break;
            }
            let taken: Vec<String> = bays.iter().map(|read| read.bay.name.clone()).collect();
            let name = self.name(&mut section, None, "bay", &taken);
            let path = name.clone().unwrap_or_else(|| format!("bay {}", bays.len() + 1));
            let span = self.dimension(&section, "span", &path, Unit::Length, Sign::Positive).unwrap_or(UNREAD);
            let expansion = self.bay_expansion(&section);
            let parts = self.parts(&section, &path);
            let mut bay = Bay { name: path.clone(), span, expansion, parts, valves: Vec::new() };
            let contact_missing = self.valves(&section, &mut bay, &mut valve_names);
            section.finish();
            bays.push(BayRead { bay, contact_missing });
        }
        bays
    }

    /// The name of a bay, part or valve, which also names its section in messages from here on.
    fn name(&self, section: &mut Section<'d>, within: Option<&str>, what: &str, taken: &[String]) -> Option<String> {
        let name = section.require("name", &format!("the {what}'s name")).and_then(|item| item.text())?;
        section.rename(match within {
            Some(bay) => format!("{bay}/{}", name.value),
            None => name.value.clone(),
        });
        self.refuse_slash(&name);
        self.refuse_repeated(&name, taken.contains(&name.value), what);
        Some(name.value)
    }

    /// The faces' own material decides how far they move apart, so it may be left out only where nothing warms up.
    fn bay_expansion(&self, section: &Section<'d>) -> f64 {
        if let Some(item) = section.get("material") {
            return self.material(&item).map_or(0.0, |material| material.expansion);
        }
        #[allow(clippy::float_cmp, reason = "the same temperature written twice")]
        let warm = self.conditions.iter().any(|condition| condition.temperature != self.reference_temperature);
        if warm {
            let expected =
                "the material that the fixed faces stand on, since a condition is not at the reference temperature";
            section.missing("material", expected).done();
        }
        0.0
    }

    /// A material by its name. `None` where it is unknown (and has been reported).
    fn material(&self, item: &Item<'d>) -> Option<&Material> {
        let name = item.text()?;
        let found = self.materials.iter().find(|material| material.name == name.value);
        if found.is_none() {
            let names: Vec<&str> = self.materials.iter().map(|material| material.name.as_str()).collect();
            self.unknown_name(&name, "material", &names);
        }
        found
    }

    /// What a part without a material is made of: the file's own `steel`, else plain steel.
    fn steel(&self) -> &Material {
        self.materials.iter().find(|material| material.name == "steel").unwrap_or(&self.plain_steel)
    }

    /// Expansion coefficient of a part.
    fn part_expansion(&self, section: &Section<'d>) -> f64 {
        match section.get("material") {
            Some(item) => self.material(&item).map_or(0.0, |material| material.expansion),
            None => self.steel().expansion,
        }
    }

    /// The elastic constants and the expansion coefficient of the material that `key` names.
    pub(super) fn elastic(&self, section: &Section<'d>, key: &'static str) -> Option<(Elastic, f64)> {
        let Some(item) = section.get(key) else {
            let steel = self.steel();
            return Some((steel.elastic.or(self.plain_steel.elastic)?, steel.expansion));
        };
        let material = self.material(&item)?;
        if material.elastic.is_none() {
            let expected = "a material with `youngs_modulus` and `poisson`";
            let help = format!("add them to [material.{}]", material.name);
            item.refuse(FaultKind::MissingKey, expected).help(help).done();
        }
        Some((material.elastic?, material.expansion))
    }

    fn parts(&mut self, bay: &Section<'d>, bay_name: &str) -> Vec<Part> {
        let mut parts: Vec<Part> = Vec::new();
        let Some(item) = bay.require("part", "at least one [[bay.part]]") else { return parts };
        for mut section in item.sections_at_most(PARTS) {
            let taken: Vec<String> = parts.iter().map(|part| part.name.clone()).collect();
            let name = self.name(&mut section, Some(bay_name), "part", &taken);
            let name = name.unwrap_or_else(|| format!("part {}", parts.len() + 1));
            let path = format!("{bay_name}/{name}");
            let expansion = self.part_expansion(&section);
            let expected = "one of `shim`, `washer`, `rocker`, `spring-washer`, `spacer`";
            let kind = section.require("kind", expected).and_then(|item| item.word(&KINDS));
            let Some(At { value: kind, .. }) = kind else {
                // Which keys a part of unknown kind may have cannot be said, but what is wrong in its dimensions can. Its name is kept, so that
                // requirements that use it are not reported as well.
                for key in ["thickness", "width", "adjuster", "cone_height"] {
                    self.dimension_if_given(&section, key, &path, Unit::Length, Sign::Any);
                }
                let kind = if section.has("width") || section.has("adjuster") {
                    PartKind::Rocker { width: UNREAD, adjuster: UNREAD }
                } else {
                    PartKind::Solid { kind: SolidKind::Spacer, thickness: UNREAD, bedding: None }
                };
                parts.push(Part { name, kind, expansion });
                continue;
            };
            let kind = match kind {
                Kind::Solid(kind) => {
                    let thickness = self.dimension(&section, "thickness", &path, Unit::Length, Sign::Positive);
                    let bedding = self.dimension_if_given(&section, "bedding", &path, Unit::Length, Sign::NotNegative);
                    self.check_below(bedding, thickness, section.span(), &path, "a bedding below the thickness");
                    PartKind::Solid { kind, thickness: thickness.unwrap_or(UNREAD), bedding }
                }
                Kind::Rocker => {
                    let width = self.dimension(&section, "width", &path, Unit::Length, Sign::Positive);
                    let adjuster = self.dimension(&section, "adjuster", &path, Unit::Length, Sign::Any);
                    PartKind::Rocker { width: width.unwrap_or(UNREAD), adjuster: adjuster.unwrap_or(UNREAD) }
                }
                Kind::Spring => match self.spring(&section, &path) {
                    Some(spring) => PartKind::Spring(spring),
                    // Keep the name, so that requirements that use it are not reported as well.
                    None => PartKind::Solid { kind: SolidKind::Spacer, thickness: UNREAD, bedding: None },
                },
            };
            section.finish();
            parts.push(Part { name, kind, expansion });
        }
        parts
    }

    fn valves(&mut self, section: &Section<'d>, bay: &mut Bay, names: &mut Vec<String>) -> Vec<Vec<&'static str>> {
        let mut missing = Vec::new();
        let Some(item) = section.get("valve") else { return missing };
        for mut section in item.sections() {
            let name = self.name(&mut section, Some(&bay.name), "valve", names);
            let name = name.unwrap_or_else(|| format!("valve {}", names.len() + 1));
            let path = format!("{}/{name}", bay.name);
            let rocker =
                section.require("rocker", "the name of a rocker of this bay").and_then(|item| self.rocker(&item, bay));
            let stem = self.dimension(&section, "stem", &path, Unit::Length, Sign::Any).unwrap_or(UNREAD);
            let (contact, absent) = self.contact(&section, &path);
            section.finish();
            names.push(name.clone());
            bay.valves.push(Valve { name, rocker: rocker.unwrap_or(usize::MAX), stem, contact });
            missing.push(absent);
        }
        missing
    }

    fn rocker(&self, item: &Item<'d>, bay: &Bay) -> Option<usize> {
        let name = item.text()?;
        let is_rocker = |part: &Part| matches!(part.kind, PartKind::Rocker { .. });
        let found = bay.parts.iter().position(|part| part.name == name.value);
        match found {
            Some(index) if is_rocker(&bay.parts[index]) => Some(index),
            Some(_) => {
                item.refuse(FaultKind::Contradiction, "a part of kind `rocker`").done();
                None
            }
            None => {
                let rockers: Vec<&str> =
                    bay.parts.iter().filter(|part| is_rocker(part)).map(|part| part.name.as_str()).collect();
                self.unknown_name(&name, "rocker", &rockers);
                None
            }
        }
    }

    /// The contact, and which of its keys are absent. The stem end's diameter, the tip's radius and the load belong to every
    /// contact. Chamfer and sweep count as 0 where they are absent, but an edge margin is refused without them.
    fn contact(&mut self, section: &Section<'d>, path: &str) -> (Option<Contact>, Vec<&'static str>) {
        let lengths = [
            ("stem_end_diameter", Unit::Length, Sign::Positive),
            ("stem_end_chamfer", Unit::Length, Sign::NotNegative),
            ("adjuster_tip_radius", Unit::Length, Sign::Positive),
            ("sweep", Unit::Length, Sign::NotNegative),
            ("valve_load", Unit::Load, Sign::Positive),
        ];
        let wear = self.dimension_if_given(section, "tip_wear", path, Unit::Length, Sign::NotNegative);
        let adjuster = self.elastic(section, "adjuster_material");
        let stem = self.elastic(section, "stem_material");
        let absent: Vec<&'static str> =
            lengths.iter().filter(|(key, ..)| !section.has(key)).map(|(key, ..)| *key).collect();
        let given: Vec<Option<DimensionId>> =
            lengths.iter().map(|&(key, unit, sign)| self.dimension_if_given(section, key, path, unit, sign)).collect();
        let needed = |key: &&&str| matches!(**key, "stem_end_diameter" | "adjuster_tip_radius" | "valve_load");
        if absent.iter().any(|key| needed(&key)) {
            let anything = absent.len() < lengths.len() || section.has("tip_wear");
            for key in absent.iter().filter(|key| anything && needed(key)) {
                section
                    .missing(key, "`stem_end_diameter`, `adjuster_tip_radius` and `valve_load`, for the contact")
                    .done();
            }
            return (None, absent);
        }
        let mut ids = Vec::new();
        for (&(key, unit, _), id) in lengths.iter().zip(given) {
            ids.push(match id {
                Some(id) => id,
                None if absent.contains(&key) => self.absent(path, key, unit),
                None => UNREAD,
            });
        }
        let (
            &[stem_end_diameter, stem_end_chamfer, adjuster_tip_radius, sweep, valve_load],
            Some((adjuster, adjuster_expansion)),
            Some((stem, stem_expansion)),
        ) = (&ids[..], adjuster, stem)
        else {
            return (None, absent);
        };
        self.check_edge(stem_end_diameter, stem_end_chamfer, section);
        let contact = Contact {
            stem_end_diameter,
            stem_end_chamfer,
            adjuster_tip_radius,
            sweep,
            valve_load,
            tip_wear: wear,
            adjuster,
            stem,
            adjuster_expansion,
            stem_expansion,
        };
        (Some(contact), absent)
    }

    /// The chamfers leave some flat.
    fn check_edge(&self, diameter: DimensionId, chamfer: DimensionId, section: &Section<'d>) {
        let (smallest, largest) = (self.reach(diameter).0, self.reach(chamfer).1);
        if smallest > 0.0 && 2.0 * largest >= smallest {
            let found = format!("a chamfer up to {largest} mm on a stem end down to {smallest} mm across");
            self.contradiction(section.span(), section.path(), found, "a chamfer that leaves a flat");
        }
    }
}
