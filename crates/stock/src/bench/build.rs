//! A build as the mechanic needs it: which piece goes where, in order.

use super::Bench;
use crate::forecast::Forecast;
use crate::rebuild::{Piece as NewPiece, Rebuilt, rebuild};
use crate::search::{Fate, Found, Shelf, Source};

/// Where a piece comes from.
#[derive(Debug, Clone, PartialEq)]
pub enum Origin {
    /// It is there already, and stays.
    Stays,
    /// It is in the bay, at another place.
    Moved {
        /// From there.
        from: String,
    },
    /// From the drawer.
    Drawer {
        /// Index of the drawer's row.
        row: usize,
    },
    /// Wished for: not in the drawer.
    Wished,
}

/// A piece at its place.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedPiece {
    /// Its label: the drawer's, or the part's name.
    pub name: String,
    /// Expected thickness as fitted, mm.
    pub thickness: f64,
    /// Standard deviation of what is known of it, mm.
    pub sd: f64,
    /// Whether somebody has measured it.
    pub measured: bool,
    /// Where it comes from.
    pub origin: Origin,
    /// To be thinned by hand: from this thickness, mm.
    pub thinned_from: Option<f64>,
}

/// A place of the bay with its pieces, in order from the left.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Between which neighbours: `left face | rocker 1 exhaust`.
    pub label: String,
    /// In order from the left.
    pub pieces: Vec<PlacedPiece>,
}

/// A piece that comes out.
#[derive(Debug, Clone, PartialEq)]
pub struct TakenOut {
    /// The part's name.
    pub name: String,
    /// What is known of its thickness, mm.
    pub thickness: f64,
    /// Where it was.
    pub place: String,
}

/// A build.
#[derive(Debug, Clone, PartialEq)]
pub struct Build {
    /// Every place that pieces may lie in, from the left.
    pub places: Vec<Place>,
    /// What comes out (what moves within the bay is not among it).
    pub taken_out: Vec<TakenOut>,
    /// Parts touched: taken out, moved, put in; thinning by hand counts as one more.
    pub touched: usize,
    /// Sum of all pieces, mm.
    pub sum: f64,
    /// Sum of the pieces now in the bay, mm.
    pub old_sum: f64,
    /// What to expect.
    pub forecast: Forecast,
    /// What the list is sorted by: see [`crate::Weights`].
    pub score: f64,
    /// Whether it is inside with at least the wanted chance and leaves the other rockers as well off as they are.
    pub good_enough: bool,
    pub(super) gaps: Vec<Vec<NewPiece>>,
    /// Rows of the drawer used, once per piece.
    pub(super) rows: Vec<usize>,
}

impl Build {
    /// Whether it is the state the bay is in now.
    pub fn is_as_now(&self) -> bool {
        self.touched == 0
    }

    /// The pieces that are put in, in order from the left.
    pub fn put_in(&self) -> impl Iterator<Item = &PlacedPiece> {
        self.places.iter().flat_map(|place| &place.pieces).filter(|piece| piece.origin != Origin::Stays)
    }
}

/// A piece on its way to a gap.
struct Coming {
    shown: PlacedPiece,
    as_new: NewPiece,
}

impl Bench {
    /// Works a found build out in full; None where it finds no room or cannot be assembled.
    pub(super) fn work_out(&self, found: &Found, shelf: &Shelf, dressed_variance: f64) -> Option<Build> {
        let stays: Vec<bool> = found.fates.iter().map(|&fate| fate == Fate::Stays).collect();
        let thinned = match found.free {
            Some((_, _, Some(Source::Fitted(f)))) => Some(f),
            _ => None,
        };
        let mean = |f: usize| self.beliefs.mean(self.entry[self.layout.fitted[f].dimension]);
        let sd = |f: usize| {
            let entry = self.entry[self.layout.fitted[f].dimension];
            self.beliefs.covariance(entry, entry).max(0.0).sqrt()
        };
        let shown = |f: usize, origin: Origin| PlacedPiece {
            name: self.layout.fitted[f].name.clone(),
            thickness: mean(f),
            sd: sd(f),
            measured: sd(f) <= MEASURED_SD,
            origin,
            thinned_from: None,
        };
        let mut coming: Vec<Vec<Coming>> = (0..self.layout.gaps.len()).map(|_| Vec::new()).collect();
        let mut rows = Vec::new();
        for zone in 0..self.layout.zones {
            let mut pieces = Vec::new();
            for (f, &fate) in found.fates.iter().enumerate() {
                if fate == Fate::Moves(zone) {
                    let from = self.layout.gaps[self.layout.fitted[f].gap].label.clone();
                    pieces.push(Coming { shown: shown(f, Origin::Moved { from }), as_new: NewPiece::Fitted(f) });
                }
            }
            for &kind in &found.added[zone] {
                rows.push(shelf.kinds[kind].row);
                pieces.push(self.from_drawer(shelf, kind, None, dressed_variance));
            }
            if let Some((_, thickness, source)) = found.free.filter(|free| free.0 == zone) {
                pieces.push(match source {
                    Some(Source::Shelf(kind)) => {
                        rows.push(shelf.kinds[kind].row);
                        self.from_drawer(shelf, kind, Some(thickness), dressed_variance)
                    }
                    Some(Source::Fitted(f)) => {
                        let from = self.layout.gaps[self.layout.fitted[f].gap].label.clone();
                        let piece = PlacedPiece {
                            thickness,
                            sd: dressed_variance.sqrt(),
                            measured: true,
                            thinned_from: Some(mean(f)),
                            ..shown(f, Origin::Moved { from })
                        };
                        let as_new = NewPiece::New {
                            name: format!("{}, thinned", piece.name),
                            entry: None,
                            mean: thickness,
                            variance: dressed_variance,
                        };
                        Coming { shown: piece, as_new }
                    }
                    None => {
                        let name = format!("{thickness:.3} mm (wanted)");
                        let piece = PlacedPiece {
                            name: name.clone(),
                            thickness,
                            sd: dressed_variance.sqrt(),
                            measured: true,
                            origin: Origin::Wished,
                            thinned_from: None,
                        };
                        Coming {
                            shown: piece,
                            as_new: NewPiece::New { name, entry: None, mean: thickness, variance: dressed_variance },
                        }
                    }
                });
            }
            let thickness: Vec<f64> = pieces.iter().map(|piece| piece.shown.thickness).collect();
            let gaps = self.layout.share_out(zone, &thickness, &stays, mean)?;
            for (piece, gap) in pieces.into_iter().zip(gaps) {
                coming[gap].push(piece);
            }
        }
        let mut places = Vec::new();
        let mut gaps = Vec::new();
        for (g, gap) in self.layout.gaps.iter().enumerate() {
            let mut new = std::mem::take(&mut coming[g]);
            // The thickest lies against the spring washer, whose rim would dish a thin one, else against the rocker, which swings. Our rule.
            let rank = |part: Option<usize>| part.map_or(0, |p| self.rank(p));
            let rising = rank(gap.right) >= rank(gap.left);
            new.sort_by(|a, b| {
                let order =
                    a.shown.thickness.total_cmp(&b.shown.thickness).then_with(|| a.shown.name.cmp(&b.shown.name));
                if rising { order } else { order.reverse() }
            });
            let first_out = gap.fitted.iter().position(|&f| !stays[f]);
            let mut line: Vec<Coming> = gap
                .fitted
                .iter()
                .filter(|&&f| stays[f])
                .map(|&f| Coming { shown: shown(f, Origin::Stays), as_new: NewPiece::Fitted(f) })
                .collect();
            // In the place of what came out; else on the side away from the rocker.
            let before = first_out.map(|at| gap.fitted[..at].iter().filter(|&&f| stays[f]).count());
            let at = before.unwrap_or(if rising { 0 } else { line.len() });
            line.splice(at..at, new);
            if gap.open || !line.is_empty() {
                places.push(Place {
                    label: gap.label.clone(),
                    pieces: line.iter().map(|piece| piece.shown.clone()).collect(),
                });
            }
            gaps.push(line.into_iter().map(|piece| piece.as_new).collect());
        }
        let taken_out = found
            .fates
            .iter()
            .enumerate()
            .filter(|&(f, &fate)| fate == Fate::Out && thinned != Some(f))
            .map(|(f, _)| {
                let fitted = &self.layout.fitted[f];
                TakenOut {
                    name: fitted.name.clone(),
                    thickness: mean(f),
                    place: self.layout.gaps[fitted.gap].label.clone(),
                }
            })
            .collect();
        let forecast = self.forecast_of_gaps(&gaps)?;
        let sum = places.iter().flat_map(|place| &place.pieces).map(|piece| piece.thickness).sum();
        let score = found.judged.score - found.judged.chance_all + forecast.chance_all;
        let (touched, old_sum) = (found.touched, self.sum());
        Some(Build { places, taken_out, touched, sum, old_sum, forecast, score, good_enough: false, gaps, rows })
    }

    fn from_drawer(&self, shelf: &Shelf, kind: usize, thinned_to: Option<f64>, dressed_variance: f64) -> Coming {
        let kind = &shelf.kinds[kind];
        let piece = &self.drawer[kind.row];
        let origin = Origin::Drawer { row: kind.row };
        let (thickness, sd, measured) = match thinned_to {
            Some(thickness) => (thickness, dressed_variance.sqrt(), true),
            None => (kind.thickness, self.sd_of(kind), piece.u.is_some()),
        };
        let as_new = match thinned_to {
            Some(mean) => NewPiece::New {
                name: format!("{}, thinned", piece.name),
                entry: None,
                mean,
                variance: dressed_variance,
            },
            None => {
                NewPiece::New { name: piece.name.clone(), entry: kind.entry, mean: kind.thickness, variance: kind.own }
            }
        };
        let thinned_from = thinned_to.map(|_| kind.thickness);
        Coming {
            shown: PlacedPiece { name: piece.name.clone(), thickness, sd, measured, origin, thinned_from },
            as_new,
        }
    }

    pub(super) fn rebuilt(&self, gaps: &[Vec<NewPiece>]) -> Rebuilt {
        rebuild(&self.pack, self.bay, &self.layout, &self.beliefs, &self.entry, gaps)
    }

    fn forecast_of_gaps(&self, gaps: &[Vec<NewPiece>]) -> Option<Forecast> {
        let rebuilt = self.rebuilt(gaps);
        let bay = &rebuilt.pack.bays[self.bay];
        let pieces = crate::layout::Layout::new(bay, &[]).fitted.iter().map(|f| rebuilt.entry[f.dimension]).collect();
        let rule = self.sum_rule(pieces);
        self.forecast_of(&rebuilt.pack, &rebuilt.entry, &rebuilt.beliefs, rule.as_ref())
    }

    fn rank(&self, part: usize) -> u8 {
        match self.pack.bays[self.bay].parts[part].kind {
            packdrift_pack::PartKind::Spring(_) => 2,
            packdrift_pack::PartKind::Rocker { .. } => 1,
            packdrift_pack::PartKind::Solid { .. } => 0,
        }
    }
}

/// A part of the bay known this well counts as measured, mm.
pub(super) const MEASURED_SD: f64 = 0.004;
