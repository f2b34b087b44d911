//! What may become of each zone of a bay: which of the drawn pieces stay, and what comes from the drawer.

use super::FittingBay;
use crate::layout::MOST_IN_A_PLACE;
use crate::objective::ZONES;
use crate::stocking::Size;

/// Most pieces that come to one side of a rocker in one fitting.
pub const MOST_ADDED: usize = 3;

const NONE: u8 = u8::MAX;

/// One thing that may become of a zone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ZoneOption {
    /// Expected sum of its pieces, mm.
    pub(super) sum: f64,
    /// Of the bay's drawn pieces those of this zone that stay, one bit each.
    pub(super) kept: u16,
    /// Sizes that come, rising, [`NONE`] beyond.
    pub(super) added: [u8; MOST_ADDED],
    /// Pieces out and in.
    pub(super) touched: u8,
    /// Variance of what comes, mm².
    pub(super) variance: f64,
}

impl ZoneOption {
    pub(super) fn pieces(&self) -> impl Iterator<Item = usize> + '_ {
        self.added.iter().take_while(|&&k| k != NONE).map(|&k| usize::from(k))
    }

    /// Each piece with its number among those of its size here: the first of a size is the same piece whatever else comes.
    pub(super) fn copies(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.pieces().enumerate().map(|(at, k)| (k, self.added[..at].iter().filter(|&&l| usize::from(l) == k).count()))
    }

    /// The sizes of the pieces from the drawer that it has and another has not.
    pub(super) fn beyond<'a>(&'a self, other: &'a Self) -> impl Iterator<Item = usize> + 'a {
        let there = |k: usize| other.pieces().filter(|&l| l == k).count();
        self.copies().filter(move |&(k, copy)| copy >= there(k)).map(|(k, _)| k)
    }

    /// Pieces that one has and the other has not.
    pub(super) fn changed(&self, other: &Self) -> usize {
        let kept = (self.kept ^ other.kept).count_ones() as usize;
        kept + self.beyond(other).count() + other.beyond(self).count()
    }
}

/// Options of a zone that keep the same drawn pieces and touch as many parts, by rising sum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Group {
    /// Where they stand among the zone's options.
    pub(super) from: u32,
    pub(super) to: u32,
    /// See [`ZoneOption::kept`].
    pub(super) kept: u16,
    /// How many pieces come.
    pub(super) added: u8,
    /// Pieces out and in.
    pub(super) touched: u8,
}

impl Group {
    pub(super) fn of<'a>(&self, options: &'a [ZoneOption]) -> &'a [ZoneOption] {
        &options[self.from as usize..self.to as usize]
    }
}

/// All options of a bay with the sizes that are held.
#[derive(Debug, Clone)]
pub struct ZoneOptions {
    /// By zone: group after group, the fewest parts touched first.
    pub(super) zones: Vec<Vec<ZoneOption>>,
    /// By zone.
    pub(super) groups: Vec<Vec<Group>>,
    /// By zone: the option that leaves everything as drawn.
    pub(super) as_drawn: [u32; ZONES],
    /// Variance of a piece of each size, mm².
    pub(super) of_size: Vec<f64>,
}

impl ZoneOptions {
    /// `sizes`: those that are held; `known`: their pieces were measured with this standard uncertainty, mm.
    pub fn new(bay: &FittingBay, sizes: &[Size], known: Option<f64>) -> Self {
        let of_size: Vec<f64> = sizes
            .iter()
            .map(|size| known.map_or(size.between * size.between + size.within * size.within, |u| u * u))
            .collect();
        let sets = sets(sizes.len());
        let mut zones = Vec::with_capacity(bay.layout.zones);
        let mut groups = Vec::with_capacity(bay.layout.zones);
        let mut as_drawn = [0; ZONES];
        for zone in 0..bay.layout.zones {
            let mut options = Vec::new();
            for mask in kept_masks(bay, zone) {
                of_mask(bay, zone, mask, &Bought { sizes, sets: &sets, of_size: &of_size, known }, &mut options);
            }
            let price = |o: &ZoneOption| o.pieces().map(|k| sizes[k].cost).sum::<f64>();
            options.sort_by(|a, b| {
                steps(a.sum)
                    .cmp(&steps(b.sum))
                    .then(a.kept.cmp(&b.kept))
                    .then(a.touched.cmp(&b.touched))
                    .then(price(a).total_cmp(&price(b)))
                    .then(a.added.cmp(&b.added))
            });
            options.dedup_by(|b, a| steps(a.sum) == steps(b.sum) && a.kept == b.kept);
            options.sort_by(|a, b| {
                a.touched.cmp(&b.touched).then(a.kept.cmp(&b.kept)).then(steps(a.sum).cmp(&steps(b.sum)))
            });
            groups.push(grouped(&options));
            let drawn = |o: &ZoneOption| o.touched == 0;
            as_drawn[zone] = options.iter().position(drawn).unwrap_or(0) as u32;
            zones.push(options);
        }
        Self { zones, groups, as_drawn, of_size }
    }

    /// How many there are in all zones.
    pub fn count(&self) -> usize {
        self.zones.iter().map(Vec::len).sum()
    }
}

fn grouped(options: &[ZoneOption]) -> Vec<Group> {
    let mut from = 0;
    let alike = options.chunk_by(|a, b| a.touched == b.touched && a.kept == b.kept);
    alike
        .filter_map(|alike| {
            let first = alike.first()?;
            let to = from + alike.len() as u32;
            let group =
                Group { from, to, kept: first.kept, added: first.pieces().count() as u8, touched: first.touched };
            from = to;
            Some(group)
        })
        .collect()
}

/// A sum in steps of 1e-9 mm: 0.2 + 0.7 is 0.9, although it is one bit less, and the fewer pieces are to stand first.
fn steps(sum: f64) -> i64 {
    (sum * 1e9).round() as i64
}

/// What can be had.
struct Bought<'a> {
    sizes: &'a [Size],
    sets: &'a [[u8; MOST_ADDED]],
    of_size: &'a [f64],
    known: Option<f64>,
}

/// Every set of up to [`MOST_ADDED`] pieces, sizes rising.
fn sets(sizes: usize) -> Vec<[u8; MOST_ADDED]> {
    let mut all = vec![[NONE; MOST_ADDED]];
    let mut from = 0;
    for place in 0..MOST_ADDED {
        let to = all.len();
        for at in from..to {
            let set = all[at];
            let least = if place == 0 { 0 } else { set[place - 1] };
            for k in least..sizes as u8 {
                let mut next = set;
                next[place] = k;
                all.push(next);
            }
        }
        from = to;
    }
    all
}

/// Which of a zone's drawn pieces may stay: the two washers beside a spring washer both or not at all.
fn kept_masks(bay: &FittingBay, zone: usize) -> Vec<u16> {
    let of_zone: Vec<usize> = (0..bay.drawn.len()).filter(|&f| bay.drawn[f].zone == zone).collect();
    let mask_of = |bits: usize| -> u16 {
        let kept = of_zone.iter().enumerate().filter(|(k, _)| bits >> k & 1 == 1);
        kept.map(|(_, &f)| 1_u16 << f).sum()
    };
    let pairs = |mask: u16| {
        of_zone
            .iter()
            .all(|&f| bay.layout.fitted[f].partner.is_none_or(|partner| (mask >> f & 1) == (mask >> partner & 1)))
    };
    (0..1_usize << of_zone.len()).map(mask_of).filter(|&mask| pairs(mask)).collect()
}

fn of_mask(bay: &FittingBay, zone: usize, mask: u16, bought: &Bought<'_>, options: &mut Vec<ZoneOption>) {
    let stays: Vec<bool> =
        bay.drawn.iter().enumerate().map(|(f, piece)| piece.zone != zone || mask >> f & 1 == 1).collect();
    let room = bay.layout.capacity(zone, &stays).min(MOST_IN_A_PLACE);
    let seats = bay.layout.seats(&stays, |f| bay.drawn[f].mean);
    let needs: Vec<f64> = seats.iter().filter(|seat| seat.zone == zone).map(|seat| seat.least).collect();
    let of_zone = || bay.drawn.iter().enumerate().filter(|(_, piece)| piece.zone == zone);
    let kept: f64 = of_zone().filter(|(f, _)| stays[*f]).map(|(_, piece)| piece.mean).sum();
    let out = of_zone().filter(|(f, _)| !stays[*f]).count();
    for set in bought.sets {
        let mut option = ZoneOption { sum: kept, kept: mask, added: *set, touched: 0, variance: 0.0 };
        let count = option.pieces().count();
        // What stands for flat washers that came out: the thickest pieces, one each.
        let stands = needs
            .iter()
            .enumerate()
            .all(|(k, &least)| count > k && bought.sizes[usize::from(set[count - 1 - k])].expected() >= least);
        if count > room || !stands {
            continue;
        }
        option.touched = (out + count) as u8;
        option.sum += option.pieces().map(|k| bought.sizes[k].expected()).sum::<f64>();
        option.variance = option.pieces().map(|k| bought.of_size[k]).sum();
        if bought.known.is_none() {
            // Of two pieces from one packet the packet's deviation comes twice.
            let twins: f64 = option.copies().map(|(k, copy)| copy as f64 * bought.sizes[k].between.powi(2)).sum();
            option.variance += 2.0 * twins;
        }
        options.push(option);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_of_up_to_three() {
        // C(n + 3, 3) sets of at most three of n sizes.
        for (n, count) in [(0, 1), (1, 4), (2, 10), (5, 56), (12, 455)] {
            assert_eq!(sets(n).len(), count, "{n}");
        }
    }

    #[test]
    fn what_two_options_have_apart() {
        let option =
            |kept: u16, added: [u8; MOST_ADDED]| ZoneOption { sum: 0.0, kept, added, touched: 0, variance: 0.0 };
        let a = option(0b11, [NONE; 3]);
        let b = option(0b01, [2, 2, NONE]);
        let c = option(0b01, [1, 2, NONE]);
        assert_eq!((a.changed(&a), a.changed(&b), b.changed(&c)), (0, 3, 2));
        assert_eq!(b.copies().collect::<Vec<_>>(), [(2, 0), (2, 1)]);
    }
}
