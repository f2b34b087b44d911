//! Where pieces can go in a bay. The parts that stay whatever is fitted (rockers, spring washers, spacers) leave gaps between
//! them; shims and flat washers lie in the gaps, and may be taken out, moved and added to.
//!
//! For the physics the gaps fall into few **zones**: a rocker's position depends on what lies to its left and on the sum of everything
//! (which sets the spring washers' squeeze), so all gaps between the same two rockers act alike. The search works on zones; a
//! zone's pieces are shared out among its gaps afterwards.

use crate::error::StockError;
use packdrift_pack::{Bay, Pack, Part, PartKind, SolidKind};

/// Most pieces in one gap.
pub const MOST_IN_A_PLACE: usize = 4;

/// A place for pieces: between two neighbouring parts that stay, or a face.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Gap {
    pub(crate) zone: usize,
    /// The part that stays to its left; None: the left face.
    pub(crate) left: Option<usize>,
    /// The part that stays to its right; None: the right face.
    pub(crate) right: Option<usize>,
    /// Whether pieces may be added (not between two spring washers that lie on each other).
    pub(crate) open: bool,
    /// The shims and flat washers in it now, in order: indices into [`Layout::fitted`].
    pub(crate) fitted: Vec<usize>,
    /// `left face | rocker 1 exhaust`.
    pub(crate) label: String,
}

/// A shim or flat washer that is in the bay now.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Fitted {
    pub(crate) name: String,
    /// Index into the bay's parts.
    pub(crate) part: usize,
    pub(crate) gap: usize,
    pub(crate) zone: usize,
    /// Index of its thickness in the pack's dimensions.
    pub(crate) dimension: usize,
    /// A flat washer, not a shim.
    pub(crate) washer: bool,
    /// The flat washer on the other side of the same spring washer: both are exchanged, or none.
    pub(crate) partner: Option<usize>,
}

/// A gap that must get a piece for the flat washers that came out of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Seat {
    pub(crate) gap: usize,
    pub(crate) zone: usize,
    /// The thickest piece there must be at least this, mm.
    pub(crate) least: f64,
}

/// A piece in a flat washer's stead is at least this share of its thickness: a stack of thin shims alone curls under a spring washer's rim and
/// frets against a rocker. Common practice, no source; the share is our own.
const STANDS_FOR_A_WASHER: f64 = 0.5;

/// A valve of the bay whose offset counts.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Target {
    /// Index into the bay's valves.
    pub(crate) valve: usize,
    /// The last zone to the left of its rocker.
    pub(crate) boundary: usize,
}

#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Layout {
    pub(crate) gaps: Vec<Gap>,
    pub(crate) zones: usize,
    /// Sorted by boundary.
    pub(crate) targets: Vec<Target>,
    pub(crate) fitted: Vec<Fitted>,
}

/// The thickness of a part that may be exchanged.
fn exchangeable(part: &Part) -> Option<usize> {
    match part.kind {
        PartKind::Solid { kind: SolidKind::Shim | SolidKind::Washer, thickness, .. } => Some(thickness.0),
        _ => None,
    }
}

fn is_washer(part: &Part) -> bool {
    matches!(part.kind, PartKind::Solid { kind: SolidKind::Washer, .. })
}

fn is_spring(part: &Part) -> bool {
    matches!(part.kind, PartKind::Spring(_))
}

impl Layout {
    /// `valves`: indices into the bay's valves whose offsets count.
    pub(crate) fn new(bay: &Bay, valves: &[usize]) -> Self {
        let mut rockers: Vec<usize> = valves.iter().map(|&valve| bay.valves[valve].rocker).collect();
        rockers.sort_unstable();
        rockers.dedup();
        let name =
            |part: Option<usize>, face: &str| part.map_or_else(|| face.to_owned(), |p| bay.parts[p].name.clone());
        let mut gaps = Vec::new();
        let mut fitted: Vec<Fitted> = Vec::new();
        let mut inside = Vec::new();
        let mut left = None;
        let mut zone = 0;
        for index in 0..=bay.parts.len() {
            let part = bay.parts.get(index);
            if let Some(dimension) = part.and_then(exchangeable) {
                inside.push(fitted.len());
                let name = bay.parts[index].name.clone();
                let washer = part.is_some_and(is_washer);
                fitted.push(Fitted { name, part: index, gap: gaps.len(), zone, dimension, washer, partner: None });
                continue;
            }
            let right = part.map(|_| index);
            let stacked = left.is_some_and(|l: usize| is_spring(&bay.parts[l])) && part.is_some_and(is_spring);
            let open = !stacked || !inside.is_empty();
            let label = format!("{} | {}", name(left, "left face"), name(right, "right face"));
            gaps.push(Gap { zone, left, right, open, fitted: std::mem::take(&mut inside), label });
            if rockers.contains(&index) {
                zone += 1;
            }
            left = right;
        }
        // A flat washer next to a spring washer on either side: a pair.
        for index in 0..bay.parts.len() {
            if !is_spring(&bay.parts[index]) {
                continue;
            }
            let washer = |at: Option<usize>| {
                let at = at.filter(|&p| bay.parts.get(p).is_some_and(is_washer))?;
                fitted.iter().position(|f| f.part == at)
            };
            if let (Some(a), Some(b)) = (washer(index.checked_sub(1)), washer(Some(index + 1))) {
                fitted[a].partner = Some(b);
                fitted[b].partner = Some(a);
            }
        }
        let mut targets: Vec<Target> = valves
            .iter()
            .map(|&valve| {
                let rocker = bay.valves[valve].rocker;
                let boundary = rockers.iter().position(|&r| r == rocker).unwrap_or(0);
                Target { valve, boundary }
            })
            .collect();
        targets.sort_by_key(|t| (t.boundary, t.valve));
        Self { gaps, zones: rockers.len() + 1, targets, fitted }
    }

    /// How many pieces the open gaps of a zone can take besides those that stay.
    pub(crate) fn capacity(&self, zone: usize, stays: &[bool]) -> usize {
        let gaps = self.gaps.iter().filter(|gap| gap.zone == zone && gap.open);
        gaps.map(|gap| MOST_IN_A_PLACE.saturating_sub(gap.fitted.iter().filter(|&&f| stays[f]).count())).sum()
    }

    /// The gaps whose flat washers have come out with no piece left there that could stand for them, the most demanding first.
    pub(crate) fn seats(&self, stays: &[bool], thickness: impl Fn(usize) -> f64) -> Vec<Seat> {
        let mut seats: Vec<Seat> = Vec::new();
        for (g, gap) in self.gaps.iter().enumerate() {
            let out = gap.fitted.iter().filter(|&&f| self.fitted[f].washer && !stays[f]);
            let Some(thickest) = out.map(|&f| thickness(f)).reduce(f64::max) else { continue };
            let least = STANDS_FOR_A_WASHER * thickest;
            if !gap.fitted.iter().any(|&f| stays[f] && thickness(f) >= least) {
                seats.push(Seat { gap: g, zone: gap.zone, least });
            }
        }
        seats.sort_by(|a, b| b.least.total_cmp(&a.least).then(a.gap.cmp(&b.gap)));
        seats
    }

    /// Shares a zone's added pieces (thickness, mm) out among its gaps; returns the gap of each. None where they find no room.
    ///
    /// Gaps that lost their flat washers get one each first, thickest first; the rest go where least lies, among the gaps that held
    /// pieces before (else the gap beside the zone's rocker), so that both sides of a spring washer come out nearly equal.
    pub(crate) fn share_out(
        &self,
        zone: usize,
        added: &[f64],
        stays: &[bool],
        thickness: impl Fn(usize) -> f64,
    ) -> Option<Vec<usize>> {
        let gaps: Vec<usize> =
            (0..self.gaps.len()).filter(|&g| self.gaps[g].zone == zone && self.gaps[g].open).collect();
        let mut used: Vec<usize> =
            self.gaps.iter().map(|gap| gap.fitted.iter().filter(|&&f| stays[f]).count()).collect();
        let mut lies: Vec<f64> =
            self.gaps.iter().map(|gap| gap.fitted.iter().filter(|&&f| stays[f]).map(|&f| thickness(f)).sum()).collect();
        let seats = self.seats(stays, &thickness);
        let mut bare: Vec<usize> = seats.iter().map(|seat| seat.gap).filter(|g| gaps.contains(g)).collect();
        let home = |g: usize| !self.gaps[g].fitted.is_empty();
        let any_home = gaps.iter().any(|&g| home(g));
        // Without pieces so far: beside the rocker that bounds the zone on the left, or on the right for the first zone.
        let beside = if zone == 0 { gaps.last() } else { gaps.first() }.copied();
        let mut order: Vec<usize> = (0..added.len()).collect();
        order.sort_by(|&a, &b| added[b].total_cmp(&added[a]).then(a.cmp(&b)));
        let mut place = vec![0; added.len()];
        for piece in order {
            let free = |g: &usize| used[*g] < MOST_IN_A_PLACE;
            let pick = if bare.is_empty() {
                let natural = |g: &&usize| free(g) && if any_home { home(**g) } else { Some(**g) == beside };
                let least = |a: &&usize, b: &&usize| lies[**a].total_cmp(&lies[**b]).then(a.cmp(b));
                gaps.iter()
                    .filter(natural)
                    .min_by(least)
                    .or_else(|| gaps.iter().filter(|g| free(g)).min_by(least))
                    .copied()?
            } else {
                bare.remove(0)
            };
            place[piece] = pick;
            used[pick] += 1;
            lies[pick] += added[piece];
        }
        bare.is_empty().then_some(place)
    }
}

/// The bay alone, with one rigid piece standing for all the pieces of each zone: what the search asks about.
#[derive(Debug, Clone)]
pub(crate) struct Reduced {
    pub(crate) pack: Pack,
    /// Place of the first zone's sum among the pack's dimensions; the others follow.
    pub(crate) first_sum: usize,
    /// Expansion coefficient of the pieces, 1/K.
    pub(crate) expansion: f64,
}

/// Expansion coefficient of the bay's shims and washers, 1/K: of the first one, else of the first rocker.
pub(crate) fn piece_expansion(bay: &Bay) -> f64 {
    let solid = bay.parts.iter().find(|part| exchangeable(part).is_some());
    let rocker = || bay.parts.iter().find(|part| matches!(part.kind, PartKind::Rocker { .. }));
    solid.or_else(rocker).map_or(0.0, |part| part.expansion)
}

/// Builds the [`Reduced`] pack of a bay.
///
/// The pieces of a bay are taken to grow alike (by the coefficient of the first of them): between steels the difference over 75 K
/// on 1 mm is below 0.0005 mm. The forecast of a finished build uses each part's own coefficient.
pub(crate) fn reduce(pack: &Pack, bay_index: usize, layout: &Layout) -> Result<Reduced, StockError> {
    let bay = &pack.bays[bay_index];
    let expansion = piece_expansion(bay);
    let first_sum = pack.dimensions.len();
    let mut dimensions = pack.dimensions.clone();
    let mut parts = Vec::new();
    let mut moved_to = vec![0; bay.parts.len()];
    let mut placed = 0;
    for gap in &layout.gaps {
        if gap.zone == placed && gap.open {
            let path = format!("{}/zone {}/thickness", bay.name, placed + 1);
            parts.push(Part {
                name: format!("zone {}", placed + 1),
                kind: PartKind::Solid {
                    kind: SolidKind::Shim,
                    thickness: packdrift_pack::DimensionId(dimensions.len()),
                    bedding: None,
                },
                expansion,
            });
            dimensions.push(packdrift_pack::Dimension { path, unit: "mm" });
            placed += 1;
        }
        if let Some(part) = gap.right {
            moved_to[part] = parts.len();
            parts.push(bay.parts[part].clone());
        }
    }
    if placed != layout.zones {
        return Err(StockError::Pack {
            bay: bay.name.clone(),
            reason: "there is no place for a piece beside a rocker".to_owned(),
        });
    }
    let mut valves = bay.valves.clone();
    for valve in &mut valves {
        valve.rocker = moved_to[valve.rocker];
    }
    let bay = Bay { parts, valves, ..bay.clone() };
    let pack = Pack { bays: vec![bay], dimensions, ..pack.clone() };
    Ok(Reduced { pack, first_sum, expansion })
}
