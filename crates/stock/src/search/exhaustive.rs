//! Every build there is, one after the other. Slow, and plainly right: what the search is held against.

use super::{Answer, Disposition, Found, Problem};
use crate::objective::ZONES;

impl Problem<'_> {
    /// The best builds, by going through all of them. Free pieces are not looked at.
    pub(crate) fn exhaustive(&self) -> Answer {
        let zones = self.objective.layout.zones;
        let mut found = Vec::new();
        for choice in self.choices.iter() {
            // Zone of each piece in the drawer, counted out: kind by kind, how many go to each zone.
            let mut counts = vec![[0_usize; ZONES]; self.available.kinds.len()];
            self.place(0, &mut counts, &mut |counts| {
                let mut members = choice.kept.clone();
                let mut added = vec![Vec::new(); zones];
                for (kind, counts) in counts.iter().enumerate() {
                    for zone in 0..zones {
                        for _ in 0..counts[zone] {
                            members.push(self.available.kinds[kind].member(zone));
                            added[zone].push(kind);
                        }
                    }
                }
                if (0..zones).any(|z| added[z].len() > choice.room[z] || added[z].len() < choice.fewest[z]) {
                    return;
                }
                if (0..zones).any(|z| self.needed(choice, z, added[z].iter().copied()) != Some(0.0)) {
                    return;
                }
                let touched =
                    choice.dispositions.iter().filter(|&&disposition| disposition != Disposition::Stays).count()
                        + added.iter().map(Vec::len).sum::<usize>();
                if let Some(judged) = self.objective.judge(&members, touched) {
                    found.push(Found { judged, touched, dispositions: choice.dispositions.clone(), added, free: None });
                }
            });
        }
        found.sort_by(Found::order);
        found.truncate(self.list);
        Answer { found, proven: true, floor: f64::NEG_INFINITY }
    }

    fn place(&self, kind: usize, counts: &mut Vec<[usize; ZONES]>, visit: &mut impl FnMut(&[[usize; ZONES]])) {
        let zones = self.objective.layout.zones;
        let Some(at) = self.available.kinds.get(kind) else { return visit(counts) };
        // All splits of 0..=count pieces over the zones, by counting in mixed radix.
        let most = at.count as usize;
        let mut split = [0; ZONES];
        loop {
            if split[..zones].iter().sum::<usize>() <= most {
                counts[kind] = split;
                self.place(kind + 1, counts, visit);
            }
            let mut z = 0;
            while z < zones && split[z] == most {
                split[z] = 0;
                z += 1;
            }
            if z == zones {
                break;
            }
            split[z] += 1;
        }
        counts[kind] = [0; ZONES];
    }
}
