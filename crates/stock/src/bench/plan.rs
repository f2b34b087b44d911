//! From what the search found to a build in full: which piece lies where, in which order, and what to expect of it.

use super::build::{Build, Origin, Place, PlacedPiece, TakenOut};
use super::judge::Yardstick;
use super::{Bench, MEASURED_SD};
use crate::forecast::{Forecast, Wanted};
use crate::layout::{Gap, Layout};
use crate::objective::Kind;
use crate::rebuild::{Piece as NewPiece, Rebuilt, rebuild};
use crate::search::{AvailablePieces, Disposition, Found, Source};

/// A piece on its way to a gap.
struct PlannedPiece {
    shown: PlacedPiece,
    as_new: NewPiece,
}

/// What builds are worked out from and held against.
#[derive(Debug, Clone, Copy)]
pub(super) struct Workshop<'a> {
    pub(super) available: &'a AvailablePieces,
    /// Variance of a piece that is measured when it is ready, mm².
    pub(super) dressed_variance: f64,
    pub(super) yardstick: &'a Yardstick,
}

impl Bench {
    /// Works a found build out in full; None where it finds no room or cannot be assembled.
    pub(super) fn work_out(&self, found: &Found, workshop: &Workshop<'_>) -> Option<Build> {
        let stays: Vec<bool> = found.dispositions.iter().map(|&d| d == Disposition::Stays).collect();
        let (mut planned, mut rows) = ((0..self.layout.gaps.len()).map(|_| Vec::new()).collect::<Vec<_>>(), Vec::new());
        for zone in 0..self.layout.zones {
            let pieces = self.pieces_for(zone, found, workshop, &mut rows);
            let thickness: Vec<f64> = pieces.iter().map(|piece| piece.shown.thickness).collect();
            let gaps = self.layout.share_out(zone, &thickness, &stays, |f| self.thickness_of(f))?;
            for (piece, gap) in pieces.into_iter().zip(gaps) {
                planned[gap].push(piece);
            }
        }
        let (mut places, mut gaps) = (Vec::new(), Vec::new());
        for (gap, new) in self.layout.gaps.iter().zip(planned) {
            let line = self.in_line(gap, new, &stays);
            if gap.open || !line.is_empty() {
                let pieces = line.iter().map(|piece| piece.shown.clone()).collect();
                places.push(Place { label: gap.label.clone(), pieces });
            }
            gaps.push(line.into_iter().map(|piece| piece.as_new).collect::<Vec<_>>());
        }
        let forecast = self.forecast_of_gaps(&gaps, workshop.yardstick.wanted())?;
        let sum = places.iter().flat_map(|place| &place.pieces).map(|piece| piece.thickness).sum();
        Some(Build {
            taken_out: self.taken_out(found),
            touched: found.touched,
            sum,
            old_sum: self.sum(),
            score: found.judged.score - found.judged.chance_all + forecast.chance_all,
            good_enough: workshop.yardstick.is_good(&forecast),
            verdict: workshop.yardstick.judge(&forecast),
            places,
            forecast,
            gaps,
            rows,
        })
    }

    /// The pieces that come to a zone; rows of the drawer that they are taken from are added to `rows`.
    fn pieces_for(
        &self,
        zone: usize,
        found: &Found,
        workshop: &Workshop<'_>,
        rows: &mut Vec<usize>,
    ) -> Vec<PlannedPiece> {
        let from = |f: usize| Origin::Moved { from: self.layout.gaps[self.layout.fitted[f].gap].label.clone() };
        let moved = (0..found.dispositions.len()).filter(|&f| found.dispositions[f] == Disposition::Moves(zone));
        let mut pieces: Vec<PlannedPiece> =
            moved.map(|f| PlannedPiece { shown: self.shown(f, from(f)), as_new: NewPiece::Fitted(f) }).collect();
        for &kind in &found.added[zone] {
            rows.push(workshop.available.kinds[kind].row);
            pieces.push(self.from_drawer(&workshop.available.kinds[kind]));
        }
        if let Some((_, thickness, source)) = found.free.filter(|free| free.0 == zone) {
            let variance = workshop.dressed_variance;
            pieces.push(match source {
                Some(Source::Drawer(kind)) => {
                    let kind = &workshop.available.kinds[kind];
                    rows.push(kind.row);
                    let name = self.drawer[kind.row].name.clone();
                    thinned(name, Origin::Drawer { row: kind.row }, kind.thickness, thickness, variance)
                }
                Some(Source::Fitted(f)) => {
                    let name = self.layout.fitted[f].name.clone();
                    thinned(name, from(f), self.thickness_of(f), thickness, variance)
                }
                None => wished(thickness, variance),
            });
        }
        pieces
    }

    /// The pieces of a gap in order from the left.
    fn in_line(&self, gap: &Gap, mut new: Vec<PlannedPiece>, stays: &[bool]) -> Vec<PlannedPiece> {
        // The thickest lies against the spring washer, whose rim would dish a thin one, else against the rocker, which swings. Our rule.
        let rank = |part: Option<usize>| part.map_or(0, |p| self.rank(p));
        let rising = rank(gap.right) >= rank(gap.left);
        new.sort_by(|a, b| {
            let order = a.shown.thickness.total_cmp(&b.shown.thickness).then_with(|| a.shown.name.cmp(&b.shown.name));
            if rising { order } else { order.reverse() }
        });
        let first_out = gap.fitted.iter().position(|&f| !stays[f]);
        let mut line: Vec<PlannedPiece> = gap
            .fitted
            .iter()
            .filter(|&&f| stays[f])
            .map(|&f| PlannedPiece { shown: self.shown(f, Origin::Stays), as_new: NewPiece::Fitted(f) })
            .collect();
        // In the place of what came out; else on the side away from the rocker.
        let before = first_out.map(|at| gap.fitted[..at].iter().filter(|&&f| stays[f]).count());
        let at = before.unwrap_or(if rising { 0 } else { line.len() });
        line.splice(at..at, new);
        line
    }

    fn taken_out(&self, found: &Found) -> Vec<TakenOut> {
        let thinned = match found.free {
            Some((_, _, Some(Source::Fitted(f)))) => Some(f),
            _ => None,
        };
        let out = |f: &usize| found.dispositions[*f] == Disposition::Out && thinned != Some(*f);
        (0..found.dispositions.len())
            .filter(out)
            .map(|f| {
                let fitted = &self.layout.fitted[f];
                let place = self.layout.gaps[fitted.gap].label.clone();
                TakenOut { name: fitted.name.clone(), thickness: self.thickness_of(f), place }
            })
            .collect()
    }

    /// A piece that is in the bay now.
    fn shown(&self, f: usize, origin: Origin) -> PlacedPiece {
        let entry = self.entry[self.layout.fitted[f].dimension];
        let sd = self.beliefs.covariance(entry, entry).max(0.0).sqrt();
        PlacedPiece {
            name: self.layout.fitted[f].name.clone(),
            thickness: self.beliefs.mean(entry),
            sd,
            measured: sd <= MEASURED_SD,
            origin,
            thinned_from: None,
        }
    }

    fn from_drawer(&self, kind: &Kind) -> PlannedPiece {
        let piece = &self.drawer[kind.row];
        let name = piece.name.clone();
        // One of several alike: the bay's piece is told apart from those that are left.
        let in_bay = if piece.u.is_none() { format!("fitted {name}") } else { name.clone() };
        PlannedPiece {
            as_new: NewPiece::New { name: in_bay, entry: kind.entry, mean: kind.thickness, variance: kind.own },
            shown: PlacedPiece {
                name,
                thickness: kind.thickness,
                sd: self.sd_of(kind),
                measured: piece.u.is_some(),
                origin: Origin::Drawer { row: kind.row },
                thinned_from: None,
            },
        }
    }

    pub(super) fn rebuilt(&self, gaps: &[Vec<NewPiece>]) -> Rebuilt {
        rebuild(&self.pack, self.bay, &self.layout, &self.beliefs, &self.entry, gaps)
    }

    /// The same, had the gauge been worse than stated.
    pub(super) fn rebuilt_in_doubt(&self, gaps: &[Vec<NewPiece>]) -> Rebuilt {
        rebuild(&self.pack, self.bay, &self.layout, &self.doubted, &self.entry, gaps)
    }

    /// The chance of a build, had the gauge [`super::GAUGE_DOUBT`] times the uncertainty that was stated. None where no reading was learned.
    pub fn chance_with_a_worse_gauge(&self, build: &Build) -> Option<f64> {
        let read = self.doubted != self.beliefs;
        let forecast = read.then(|| self.forecast_with(&self.rebuilt_in_doubt(&build.gaps), None)).flatten();
        forecast.map(|forecast| forecast.chance)
    }

    fn forecast_of_gaps(&self, gaps: &[Vec<NewPiece>], wanted: Option<Wanted>) -> Option<Forecast> {
        self.forecast_with(&self.rebuilt(gaps), wanted)
    }

    fn forecast_with(&self, rebuilt: &Rebuilt, wanted: Option<Wanted>) -> Option<Forecast> {
        let bay = &rebuilt.pack.bays[self.bay];
        let pieces = Layout::new(bay, &[]).fitted.iter().map(|f| rebuilt.entry[f.dimension]).collect();
        let rule = self.sum_rule(pieces);
        self.forecast_of(&rebuilt.pack, &rebuilt.entry, &rebuilt.beliefs, rule.as_ref(), wanted)
    }

    fn rank(&self, part: usize) -> u8 {
        match self.pack.bays[self.bay].parts[part].kind {
            packdrift_pack::PartKind::Spring(_) => 2,
            packdrift_pack::PartKind::Rocker { .. } => 1,
            packdrift_pack::PartKind::Solid { .. } => 0,
        }
    }
}

/// A piece thinned by hand, and measured then.
fn thinned(name: String, origin: Origin, from: f64, thickness: f64, variance: f64) -> PlannedPiece {
    PlannedPiece {
        as_new: NewPiece::New { name: format!("{name}, thinned"), entry: None, mean: thickness, variance },
        shown: PlacedPiece { name, thickness, sd: variance.sqrt(), measured: true, origin, thinned_from: Some(from) },
    }
}

fn wished(thickness: f64, variance: f64) -> PlannedPiece {
    let name = "wanted piece".to_owned();
    PlannedPiece {
        as_new: NewPiece::New { name: name.clone(), entry: None, mean: thickness, variance },
        shown: PlacedPiece {
            name,
            thickness,
            sd: variance.sqrt(),
            measured: true,
            origin: Origin::Wished,
            thinned_from: None,
        },
    }
}
