//! The pack with other pieces in its bay.

use crate::beliefs::Beliefs;
use crate::layout::{Layout, piece_expansion};
use packdrift_pack::{Bay, Dimension, DimensionId, Pack, Part, PartKind, SolidKind};

/// What a piece put into a gap is.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Piece {
    /// One that was in the bay (index into [`Layout::fitted`]).
    Fitted(usize),
    /// A new one, by name: what is known of it is an old entry's value plus scatter of its own, or a value of its own.
    New { name: String, entry: Option<usize>, mean: f64, variance: f64 },
}

/// A rebuilt pack, with what is known of it.
#[derive(Debug, Clone)]
pub(crate) struct Rebuilt {
    pub(crate) pack: Pack,
    pub(crate) beliefs: Beliefs,
    /// Beliefs' entry of each dimension.
    pub(crate) entry: Vec<usize>,
}

/// Puts `gaps[g]` (in order) into the g-th gap of the layout.
pub(crate) fn rebuild(
    pack: &Pack,
    bay_index: usize,
    layout: &Layout,
    beliefs: &Beliefs,
    entry: &[usize],
    gaps: &[Vec<Piece>],
) -> Rebuilt {
    let bay = &pack.bays[bay_index];
    let expansion = piece_expansion(bay);
    let (mut pack_dimensions, mut beliefs, mut entry) = (pack.dimensions.clone(), beliefs.clone(), entry.to_vec());
    let mut parts: Vec<Part> = Vec::new();
    let mut moved_to = vec![0; bay.parts.len()];
    let stands = stands_for_washers(layout, &beliefs, &entry, gaps);
    for ((gap, pieces), stands) in layout.gaps.iter().zip(gaps).zip(stands) {
        for (k, piece) in pieces.iter().enumerate() {
            let kind = if stands == Some(k) { SolidKind::Washer } else { SolidKind::Shim };
            match piece {
                Piece::Fitted(f) => {
                    let mut part = bay.parts[layout.fitted[*f].part].clone();
                    if let PartKind::Solid { kind: of, .. } = &mut part.kind {
                        if stands == Some(k) {
                            *of = kind;
                        }
                    }
                    parts.push(part);
                }
                Piece::New { name, entry: like, mean, variance } => {
                    let name = unused(name, &parts, bay);
                    let at = match like {
                        Some(like) => beliefs.push_like(*like, *variance),
                        None => beliefs.push_alone(*mean, *variance),
                    };
                    let thickness = DimensionId(pack_dimensions.len());
                    pack_dimensions.push(Dimension { path: format!("{}/{name}/thickness", bay.name), unit: "mm" });
                    entry.push(at);
                    parts.push(Part { name, kind: PartKind::Solid { kind, thickness, bedding: None }, expansion });
                }
            }
        }
        if let Some(part) = gap.right {
            moved_to[part] = parts.len();
            parts.push(bay.parts[part].clone());
        }
    }
    let mut valves = bay.valves.clone();
    for valve in &mut valves {
        valve.rocker = moved_to[valve.rocker];
    }
    let mut pack = Pack { dimensions: pack_dimensions, ..pack.clone() };
    pack.bays[bay_index] = Bay { parts, valves, ..bay.clone() };
    Rebuilt { pack, beliefs, entry }
}

/// Of each gap the piece that comes in a flat washer's stead: from then on it is a flat washer, of a pair exchanged with its partner.
fn stands_for_washers(layout: &Layout, beliefs: &Beliefs, entry: &[usize], gaps: &[Vec<Piece>]) -> Vec<Option<usize>> {
    let fitted = |f: usize| beliefs.mean(entry[layout.fitted[f].dimension]);
    let mut stays = vec![false; layout.fitted.len()];
    for (gap, pieces) in layout.gaps.iter().zip(gaps) {
        for &f in gap.fitted.iter().filter(|&&f| pieces.contains(&Piece::Fitted(f))) {
            stays[f] = true;
        }
    }
    let mut stands = vec![None; gaps.len()];
    for seat in layout.seats(&stays, fitted) {
        let coming = gaps[seat.gap].iter().enumerate().filter_map(|(k, piece)| match piece {
            Piece::Fitted(f) => (!stays[*f]).then(|| (k, fitted(*f))),
            Piece::New { mean, .. } => Some((k, *mean)),
        });
        let thickest = coming.max_by(|a, b| a.1.total_cmp(&b.1));
        stands[seat.gap] = thickest.filter(|&(_, t)| t >= seat.least).map(|(k, _)| k);
    }
    stands
}

/// A name that no part of the bay bears: `0.40`, `0.40 (2)`, …
fn unused(name: &str, parts: &[Part], bay: &Bay) -> String {
    let taken = |candidate: &str| parts.iter().chain(&bay.parts).any(|part| part.name == candidate);
    let mut candidate = name.to_owned();
    let mut number = 2;
    while taken(&candidate) {
        candidate = format!("{name} ({number})");
        number += 1;
    }
    candidate
}
