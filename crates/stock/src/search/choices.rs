//! What may become of the pieces that are in the bay: the rules of the bench, one list for the search of a build and for the jobs of a fleet.
//!
//! A piece stays, comes out, or moves to another zone. The two flat washers beside a spring washer are exchanged both or not at all; where a flat
//! washer comes out, some piece in its place must be able to stand for it ([`crate::layout::Seat`]); no place holds more pieces than it has
//! room for. What the drawer adds to a choice is not looked at here.

use crate::layout::Layout;
use crate::objective::{Member, ZONES};
use std::ops::Range;

/// What becomes of a piece that is in the bay now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Disposition {
    Stays,
    Out,
    /// To another zone.
    Moves(usize),
}

/// A choice of what stays, with all that follows from it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Choice {
    pub(crate) dispositions: Vec<Disposition>,
    /// The pieces that stay or move.
    pub(crate) kept: Vec<Member>,
    /// Sums of the kept pieces, by zone, mm.
    pub(crate) sums: [f64; ZONES],
    pub(crate) touched: usize,
    /// Room for added pieces, by zone.
    pub(crate) room: [usize; ZONES],
    /// Fewest added pieces, by zone: gaps that lost their flat washers less the pieces moved there.
    pub(crate) fewest: [usize; ZONES],
    /// What the thickest pieces added to each zone must be at least, falling, mm: see [`crate::layout::Seat`].
    pub(crate) needs: [Vec<f64>; ZONES],
    /// Thicknesses of the pieces moved to each zone, mm.
    pub(crate) moved: [Vec<f64>; ZONES],
}

/// More pieces than this in a bay are taken out or left, but not moved: the choices would be too many.
const MOST_MOVABLE: usize = 6;

/// Every choice that the rules allow for the pieces of the given zones, fewest parts touched first; pieces of other zones stay, and none moves
/// there. `fitted`: one member for each piece of the layout.
pub(crate) fn every_choice(layout: &Layout, fitted: &[Member], zones: &Range<usize>) -> Vec<Choice> {
    let free: Vec<usize> = (0..fitted.len()).filter(|&f| zones.contains(&layout.fitted[f].zone)).collect();
    let mut dispositions = vec![Disposition::Stays; fitted.len()];
    let mut choices = Vec::new();
    loop {
        choices.extend(choice(layout, fitted, &dispositions));
        // Count up: stays, out, each other zone.
        let mut at = 0;
        loop {
            let Some(&f) = free.get(at) else {
                choices.sort_by_key(|choice| choice.touched);
                return choices;
            };
            let own = layout.fitted[f].zone;
            let first_from = |zone: usize| (zone..zones.end).find(|&z| z != own).map(Disposition::Moves);
            let next = match dispositions[f] {
                Disposition::Stays => Some(Disposition::Out),
                Disposition::Out if free.len() > MOST_MOVABLE => None,
                Disposition::Out => first_from(zones.start),
                Disposition::Moves(z) => first_from(z + 1),
            };
            if let Some(next) = next {
                dispositions[f] = next;
                break;
            }
            dispositions[f] = Disposition::Stays;
            at += 1;
        }
    }
}

/// What follows from these dispositions; None where the rules forbid them.
pub(crate) fn choice(layout: &Layout, fitted: &[Member], dispositions: &[Disposition]) -> Option<Choice> {
    let stays: Vec<bool> = dispositions.iter().map(|&d| d == Disposition::Stays).collect();
    // Both washers of a pair are exchanged, or none.
    if layout.fitted.iter().enumerate().any(|(f, fitted)| fitted.partner.is_some_and(|p| stays[p] != stays[f])) {
        return None;
    }
    let mut kept = Vec::new();
    let mut sums = [0.0; ZONES];
    let mut moved: [Vec<f64>; ZONES] = std::array::from_fn(|_| Vec::new());
    for (member, &disposition) in fitted.iter().zip(dispositions) {
        let zone = match disposition {
            Disposition::Stays => member.zone,
            Disposition::Out => continue,
            Disposition::Moves(zone) => {
                moved[zone].push(member.thickness);
                zone
            }
        };
        sums[zone] += member.thickness;
        kept.push(Member { zone, ..*member });
    }
    let (mut room, mut fewest) = ([0; ZONES], [0; ZONES]);
    let mut needs: [Vec<f64>; ZONES] = std::array::from_fn(|_| Vec::new());
    for seat in layout.seats(&stays, |f| fitted[f].thickness) {
        needs[seat.zone].push(seat.least);
    }
    for zone in 0..layout.zones {
        room[zone] = layout.capacity(zone, &stays).checked_sub(moved[zone].len())?;
        fewest[zone] = needs[zone].len().saturating_sub(moved[zone].len());
    }
    let touched = stays.iter().filter(|&&stays| !stays).count();
    Some(Choice { dispositions: dispositions.to_vec(), kept, sums, touched, room, fewest, needs, moved })
}

impl Choice {
    /// What a further piece in the zone must be at least for the zone's gaps to have a piece each in their flat washers' stead, beside
    /// the moved pieces and the `added` ones (thicknesses, mm); 0 where it need not be at all, None where one is not enough.
    pub(crate) fn needed(&self, zone: usize, added: impl Iterator<Item = f64>) -> Option<f64> {
        let needs = &self.needs[zone];
        if needs.is_empty() {
            return Some(0.0);
        }
        let mut thickness: Vec<f64> = added.chain(self.moved[zone].iter().copied()).collect();
        thickness.sort_by(|a, b| b.total_cmp(a));
        let at = |k: usize| thickness.get(k).copied().unwrap_or(0.0);
        let Some(first) = (0..needs.len()).find(|&k| at(k) < needs[k]) else { return Some(0.0) };
        (first + 1..needs.len()).all(|k| at(k - 1) >= needs[k]).then_some(needs[first])
    }
}
