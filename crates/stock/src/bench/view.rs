//! The bay as a drawing needs it: every part with its place along the shaft.

use super::{Bench, Build, Origin};
use packdrift_pack::{Pack, PartKind, SolidKind};

/// A part along the shaft.
#[derive(Debug, Clone, PartialEq)]
pub struct PartView {
    /// Its name.
    pub name: String,
    /// `shim`, `washer`, `spacer`, `rocker` or `spring-washer`.
    pub kind: &'static str,
    /// x of its left face, mm.
    pub left: f64,
    /// Its length along the shaft, mm.
    pub length: f64,
    /// Whether the build puts it there.
    pub new: bool,
}

/// A valve's axis and its adjuster's.
#[derive(Debug, Clone, PartialEq)]
pub struct ValveView {
    /// Its name.
    pub name: String,
    /// x of the stem's axis, mm.
    pub stem: f64,
    /// x of the adjuster's axis, mm.
    pub adjuster: f64,
}

/// A bay at its expected dimensions.
#[derive(Debug, Clone, PartialEq)]
pub struct BayView {
    /// Its name.
    pub name: String,
    /// In which condition.
    pub condition: String,
    /// Between the faces, mm.
    pub span: f64,
    /// From the left.
    pub parts: Vec<PartView>,
    /// In the pack file's order.
    pub valves: Vec<ValveView>,
}

impl Bench {
    /// The bay as it is; None where it cannot be assembled by the model.
    pub fn view(&self) -> Option<BayView> {
        self.view_of(&self.pack, &self.values(), &[])
    }

    /// The bay with a build in it.
    pub fn view_with(&self, build: &Build) -> Option<BayView> {
        let rebuilt = self.rebuilt(&build.gaps);
        let x: Vec<f64> = rebuilt.entry.iter().map(|&entry| rebuilt.beliefs.mean(entry)).collect();
        // The pieces of the build in order, as the solid parts of the rebuilt bay come.
        let new: Vec<bool> =
            build.places.iter().flat_map(|place| &place.pieces).map(|piece| piece.origin != Origin::Stays).collect();
        self.view_of(&rebuilt.pack, &x, &new)
    }

    fn view_of(&self, pack: &Pack, x: &[f64], new: &[bool]) -> Option<BayView> {
        let state = pack.equilibrium(self.bay, self.condition, x).ok()?;
        let bay = &pack.bays[self.bay];
        let condition = &pack.conditions[self.condition];
        let grown = |expansion: f64, length: f64| {
            length * (1.0 + expansion * (condition.temperature - pack.reference_temperature))
        };
        let mut piece = 0;
        let parts = bay
            .parts
            .iter()
            .enumerate()
            .map(|(p, part)| {
                let (kind, exchangeable) = match part.kind {
                    PartKind::Solid { kind: SolidKind::Shim, .. } => ("shim", true),
                    PartKind::Solid { kind: SolidKind::Washer, .. } => ("washer", true),
                    PartKind::Solid { kind: SolidKind::Spacer, .. } => ("spacer", false),
                    PartKind::Rocker { .. } => ("rocker", false),
                    PartKind::Spring(_) => ("spring-washer", false),
                };
                let is_new = exchangeable && new.get(piece).copied().unwrap_or(false);
                piece += usize::from(exchangeable);
                PartView {
                    name: part.name.clone(),
                    kind,
                    left: state.left_faces[p],
                    length: state.lengths[p],
                    new: is_new,
                }
            })
            .collect();
        let valves = bay
            .valves
            .iter()
            .map(|valve| {
                let rocker = &bay.parts[valve.rocker];
                let adjuster = match rocker.kind {
                    PartKind::Rocker { adjuster, .. } => grown(rocker.expansion, x[adjuster.0]),
                    _ => f64::NAN,
                };
                ValveView {
                    name: valve.name.clone(),
                    stem: grown(bay.expansion, x[valve.stem.0]),
                    adjuster: state.left_faces[valve.rocker] + adjuster,
                }
            })
            .collect();
        Some(BayView { name: bay.name.clone(), condition: condition.name.clone(), span: state.span, parts, valves })
    }
}
