//! One bay, part by part from its left face.

use super::known::Known;
use super::places::Places;
use super::spring::SpringPart;
use packdrift_pack::{Bay, Contact, Elastic, Part, PartKind, STEEL_EXPANSION, SolidKind, Valve};

/// A bay being built: parts in their order from the left fixed face, and the valves its rockers work.
#[derive(Debug, Clone)]
pub struct BayBuilder {
    name: String,
    span: Known,
    expansion: f64,
    parts: Vec<(String, f64, PartForm)>,
    valves: Vec<ValveForm>,
}

#[derive(Debug, Clone)]
enum PartForm {
    Solid { kind: SolidKind, thickness: Known, bedding: Option<Known> },
    Rocker { width: Known, adjuster: Known },
    Spring(Box<SpringPart>),
}

#[derive(Debug, Clone)]
struct ValveForm {
    name: String,
    rocker: String,
    stem: Known,
    contact: Option<ContactForm>,
}

/// The adjuster's tip on the stem's end; what each length is stands at [`Contact`].
#[derive(Debug, Clone, PartialEq)]
pub struct ContactForm {
    /// mm.
    pub stem_end_diameter: Known,
    /// Width of the chamfer, radially, mm.
    pub stem_end_chamfer: Known,
    /// R of the rounded tip, mm.
    pub adjuster_tip_radius: Known,
    /// Largest excursion of the contact across the shaft direction, mm.
    pub sweep: Known,
    /// At the lift considered, N.
    pub valve_load: Known,
    /// Depth w of a worn flat on the tip, mm. None: 0.
    pub tip_wear: Option<Known>,
    /// Of the adjuster and the stem.
    pub elastic: [Elastic; 2],
    /// Expansion coefficients of the adjuster and the stem, 1/K.
    pub expansion: [f64; 2],
}

impl BayBuilder {
    pub(super) fn new(name: String, span: Known) -> Self {
        Self { name, span, expansion: STEEL_EXPANSION, parts: Vec::new(), valves: Vec::new() }
    }

    /// Expansion coefficient of what the faces stand on, 1/K; plain steel's 11.5e-6 where it is not given.
    pub fn expansion(mut self, coefficient: f64) -> Self {
        self.expansion = coefficient;
        self
    }

    fn part(mut self, name: impl Into<String>, form: PartForm) -> Self {
        self.parts.push((name.into(), STEEL_EXPANSION, form));
        self
    }

    fn solid(self, name: impl Into<String>, kind: SolidKind, thickness: Known) -> Self {
        self.part(name, PartForm::Solid { kind, thickness, bedding: None })
    }

    /// A shim, its thickness in mm.
    pub fn shim(self, name: impl Into<String>, thickness: impl Into<Known>) -> Self {
        self.solid(name, SolidKind::Shim, thickness.into())
    }

    /// A flat washer, its thickness in mm.
    pub fn washer(self, name: impl Into<String>, thickness: impl Into<Known>) -> Self {
        self.solid(name, SolidKind::Washer, thickness.into())
    }

    /// A spacer tube, its length in mm.
    pub fn spacer(self, name: impl Into<String>, length: impl Into<Known>) -> Self {
        self.solid(name, SolidKind::Spacer, length.into())
    }

    /// A rocker: the width of its boss, and from its left face to the adjuster's axis, both mm.
    pub fn rocker(self, name: impl Into<String>, width: impl Into<Known>, adjuster: impl Into<Known>) -> Self {
        self.part(name, PartForm::Rocker { width: width.into(), adjuster: adjuster.into() })
    }

    /// A spring washer.
    pub fn spring(self, name: impl Into<String>, spring: impl Into<SpringPart>) -> Self {
        self.part(name, PartForm::Spring(Box::new(spring.into())))
    }

    /// Of the part named last: by how much a stamped piece is shorter when squeezed than it measures, mm. Nothing where that part is no
    /// shim, washer or spacer.
    pub fn bedding(mut self, depth: impl Into<Known>) -> Self {
        if let Some((_, _, PartForm::Solid { bedding, .. })) = self.parts.last_mut() {
            *bedding = Some(depth.into());
        }
        self
    }

    /// Of the part named last: its expansion coefficient, 1/K.
    pub fn of_expansion(mut self, coefficient: f64) -> Self {
        if let Some((_, expansion, _)) = self.parts.last_mut() {
            *expansion = coefficient;
        }
        self
    }

    /// A valve: the rocker that works it, by name, and from the left fixed face to the stem's axis, mm.
    pub fn valve(mut self, name: impl Into<String>, rocker: impl Into<String>, stem: impl Into<Known>) -> Self {
        let (name, rocker, stem) = (name.into(), rocker.into(), stem.into());
        self.valves.push(ValveForm { name, rocker, stem, contact: None });
        self
    }

    /// Of the valve named last: what edge margin and contact pressure need.
    pub fn contact(mut self, contact: ContactForm) -> Self {
        if let Some(valve) = self.valves.last_mut() {
            valve.contact = Some(contact);
        }
        self
    }

    /// As the pack's model holds it.
    pub(super) fn place(self, places: &mut Places) -> Bay {
        let span = places.add(&self.name, "span", "mm", self.span);
        let bay = self.name;
        let parts: Vec<Part> = self
            .parts
            .into_iter()
            .map(|(name, expansion, form)| {
                let path = format!("{bay}/{name}");
                Part { kind: form.place(&path, places), name, expansion }
            })
            .collect();
        let valves = self.valves.into_iter().map(|valve| valve.place(&bay, &parts, places)).collect();
        Bay { name: bay, span, expansion: self.expansion, parts, valves }
    }
}

impl PartForm {
    fn place(self, path: &str, places: &mut Places) -> PartKind {
        let mut mm = |name: &str, known: Known| places.add(path, name, "mm", known);
        match self {
            Self::Solid { kind, thickness, bedding } => PartKind::Solid {
                kind,
                thickness: mm("thickness", thickness),
                bedding: bedding.map(|known| mm("bedding", known)),
            },
            Self::Rocker { width, adjuster } => {
                PartKind::Rocker { width: mm("width", width), adjuster: mm("adjuster", adjuster) }
            }
            Self::Spring(spring) => PartKind::Spring(spring.place(path, places)),
        }
    }
}

impl ValveForm {
    fn place(self, bay: &str, parts: &[Part], places: &mut Places) -> Valve {
        let path = format!("{bay}/{}", self.name);
        let rocker = parts.iter().position(|part| part.name == self.rocker);
        if rocker.is_none() {
            places.refuse(&path, &format!("it is worked by {:?}, which the bay does not have", self.rocker));
        }
        let stem = places.add(&path, "stem", "mm", self.stem);
        let contact = self.contact.map(|contact| contact.place(&path, places));
        Valve { name: self.name, rocker: rocker.unwrap_or_default(), stem, contact }
    }
}

impl ContactForm {
    fn place(self, path: &str, places: &mut Places) -> Contact {
        let [adjuster, stem] = self.elastic;
        let [adjuster_expansion, stem_expansion] = self.expansion;
        let mut mm = |name: &str, known: Known| places.add(path, name, "mm", known);
        let stem_end_diameter = mm("stem_end_diameter", self.stem_end_diameter);
        let stem_end_chamfer = mm("stem_end_chamfer", self.stem_end_chamfer);
        let adjuster_tip_radius = mm("adjuster_tip_radius", self.adjuster_tip_radius);
        let sweep = mm("sweep", self.sweep);
        let tip_wear = self.tip_wear.map(|known| mm("tip_wear", known));
        let valve_load = places.add(path, "valve_load", "N", self.valve_load);
        Contact {
            stem_end_diameter,
            stem_end_chamfer,
            adjuster_tip_radius,
            sweep,
            valve_load,
            tip_wear,
            adjuster,
            stem,
            adjuster_expansion,
            stem_expansion,
        }
    }
}
