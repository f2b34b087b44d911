//! If nothing in the drawer is good enough: which piece would be, and what comes nearest to it.

use super::plan::Workshop;
use super::{Bench, Build, Options};
use crate::forecast::Forecast;
use crate::objective::Kind;
use crate::search::{AvailablePieces, Found, Free, Problem};

/// A piece that comes near the one that is missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Its label.
    pub name: String,
    /// Row of the drawer.
    pub row: usize,
    /// Measured, or the size sold, mm.
    pub thickness: f64,
    /// Chance with it in the place of the missing piece, by the whole model.
    pub chance: f64,
    /// Standard error of `chance`.
    pub chance_se: f64,
    /// Whether one lies in the drawer; else it has to be got.
    pub in_drawer: bool,
    /// Days until it is here; None: it lies in the drawer, or nobody has said.
    pub lead_days: Option<f64>,
    /// Each.
    pub cost: Option<f64>,
}

/// The piece that would make the build.
#[derive(Debug, Clone, PartialEq)]
pub struct Missing {
    /// Its thickness, mm.
    pub thickness: f64,
    /// The thicknesses that would be good enough, mm; None where not even the best is.
    pub good_enough: Option<(f64, f64)>,
    /// The build around it.
    pub build: Build,
    /// The nearest piece that lies in the drawer.
    pub nearest_in_drawer: Option<Candidate>,
    /// Of the sizes that can be had (any row that names a size, there or to be ordered) the best in its place, where that is surer than the best
    /// build from the drawer by more than the draws can hide.
    pub nearest_to_be_had: Option<Candidate>,
}

/// Standard errors that may hide a difference of two chances.
const HIDDEN: f64 = 3.0;
/// Whether a build brings more than the best one of the drawer, beyond what the draws can hide: for the rockers asked for and the preload, or for all; and
/// takes nothing from either.
fn brings(build: &Forecast, best: &Forecast) -> bool {
    let gains = [
        (build.chance - best.chance, build.chance_se.hypot(best.chance_se)),
        (build.chance_all - best.chance_all, build.chance_all_se.hypot(best.chance_all_se)),
    ];
    gains.iter().any(|(gain, error)| *gain > HIDDEN * error)
        && gains.iter().all(|(gain, error)| *gain >= -HIDDEN * error)
}

/// Thinnest and thickest piece to wish for, mm.
const WISH: (f64, f64) = (0.05, 4.0);

/// The build around a wished piece, with its place for other ones.
struct Wished<'a> {
    bench: &'a Bench,
    workshop: &'a Workshop<'a>,
    problem: Problem<'a>,
    found: Found,
    zone: usize,
    build: Build,
}

impl Bench {
    pub(super) fn missing(
        &self,
        problem: &Problem<'_>,
        workshop: &Workshop<'_>,
        options: &Options,
        best: &Forecast,
    ) -> Option<Missing> {
        let free = Some(Free::any(WISH.0, WISH.1, options.micrometer_u));
        let problem = Problem { list: 1, free, ..problem.clone() };
        let found = problem.solve().found.into_iter().next()?;
        let (zone, thickness, _) = found.free?;
        let build = self.work_out(&found, workshop)?;
        let wished = Wished { bench: self, workshop, problem, found, zone, build };
        let good_enough =
            wished.build.good_enough.then(|| wished.good_range(thickness, workshop.yardstick.least_of_all()));
        let rows = || (0..self.kinds.len()).map(|k| self.kinds[k].row);
        let here = rows().filter(|&row| wished.is_left(row));
        let nearest_in_drawer = here
            .min_by(|&a, &b| self.off(a, thickness).total_cmp(&self.off(b, thickness)))
            .and_then(|row| Some(wished.candidate(row)?.0));
        // A piece that brings nothing is not worth its price.
        let sizes = rows().filter(|&row| self.drawer[row].u.is_none());
        let to_be_had = sizes
            .filter_map(|row| wished.candidate(row))
            .filter(|(_, build)| brings(&build.forecast, best))
            .max_by(|a, b| a.0.chance.total_cmp(&b.0.chance).then(a.0.in_drawer.cmp(&b.0.in_drawer)));
        let (nearest_to_be_had, with_it) = to_be_had.unzip();
        if good_enough.is_some() || brings(&wished.build.forecast, best) {
            return Some(Missing { thickness, good_enough, nearest_in_drawer, nearest_to_be_had, build: wished.build });
        }
        // Not the thickness that the search would wish for, but a size that is sold.
        let (thickness, build) = (nearest_to_be_had.as_ref()?.thickness, with_it?);
        let good_enough = build.good_enough.then_some((thickness, thickness));
        Some(Missing { thickness, good_enough, nearest_in_drawer, nearest_to_be_had, build })
    }

    /// How far the expected thickness of a row's pieces is from one, mm.
    fn off(&self, row: usize, thickness: f64) -> f64 {
        (self.kinds[row].thickness - thickness).abs()
    }
}

impl Wished<'_> {
    /// Whether a piece of the row lies in the drawer beside those that the build takes.
    fn is_left(&self, row: usize) -> bool {
        let used = self.build.rows.iter().filter(|&&r| r == row).count() as u32;
        self.bench.kinds[row].count > used
    }

    /// The same build with a piece of a row in the place of the wished one; None where it finds no room or cannot be assembled.
    fn candidate(&self, row: usize) -> Option<(Candidate, Build)> {
        let piece = &self.bench.drawer[row];
        let in_drawer = self.is_left(row);
        // The drawer with as many of the row's pieces as the build then takes.
        let with_one_more = |kind: &Kind| {
            let more = u32::from(kind.row == row && !in_drawer);
            Kind { count: (kind.count + more).max(u32::from(kind.row == row)), ..*kind }
        };
        let available = AvailablePieces::new(self.bench.kinds.iter().map(with_one_more).collect());
        let at = |row: usize| available.kinds.iter().position(|kind| kind.row == row);
        let kinds = &self.workshop.available.kinds;
        let mut added: Vec<Vec<usize>> = self
            .found
            .added
            .iter()
            .map(|added| added.iter().map(|&k| at(kinds[k].row)).collect::<Option<Vec<usize>>>())
            .collect::<Option<_>>()?;
        added[self.zone].push(at(row)?);
        added[self.zone].sort_unstable();
        let found = Found { added, free: None, ..self.found.clone() };
        let build = self.bench.work_out(&found, &Workshop { available: &available, ..*self.workshop })?;
        let candidate = Candidate {
            name: piece.name.clone(),
            row,
            thickness: piece.thickness,
            chance: build.forecast.chance,
            chance_se: build.forecast.chance_se,
            in_drawer,
            lead_days: if in_drawer { None } else { piece.lead_days },
            cost: piece.cost,
        };
        Some((candidate, build))
    }

    /// The thicknesses about `thickness` with which the chance of all stays at `wanted`: by the linear model, moved so that it agrees with the
    /// forecast of the build.
    fn good_range(&self, thickness: f64, wanted: f64) -> (f64, f64) {
        let mut members = self.problem.members(&self.found);
        let at = members.len() - 1;
        let mut linear = |x: f64| {
            members[at].thickness = x;
            self.problem.objective.judge(&members, 0).map_or(0.0, |judged| judged.chance_all)
        };
        let moved = self.build.forecast.chance_all - linear(thickness);
        let mut edge = |outward: f64| {
            let (mut inside, mut outside) = (thickness, thickness + outward);
            for _ in 0..30 {
                let half = 0.5 * (inside + outside);
                if linear(half) + moved >= wanted { inside = half } else { outside = half }
            }
            inside
        };
        (edge(-thickness + 1e-3), edge(2.0))
    }
}
