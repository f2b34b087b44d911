//! If nothing in the drawer is good enough: which piece would be, and what comes nearest to it.

use super::{Bench, Build, Options};
use crate::search::{Free, Problem};

/// A piece that comes near the one that is missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Its label.
    pub name: String,
    /// Row of the drawer.
    pub row: usize,
    /// Measured, or the size sold, mm.
    pub thickness: f64,
    /// Chance with it in the place of the missing piece.
    pub chance: f64,
    /// Days until it is here; None: it lies in the drawer.
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
    /// The nearest size that can be had: any row that names a size, there or to be ordered.
    pub nearest_to_be_had: Option<Candidate>,
}

/// Thinnest and thickest piece to wish for, mm.
const WISH: (f64, f64) = (0.05, 4.0);

impl Bench {
    pub(super) fn missing(&self, problem: &Problem<'_>, options: &Options) -> Option<Missing> {
        let objective = problem.objective;
        let free = Some(Free::any(WISH.0, WISH.1, options.micrometer_u));
        let wished = Problem { list: 1, free, ..problem.clone() };
        let found = wished.solve().found.into_iter().next()?;
        let (zone, thickness, _) = found.free?;
        let mut members = wished.members(&found);
        let at = members.len() - 1;
        let build = self.work_out(&found, problem.shelf, options.micrometer_u * options.micrometer_u)?;
        let mut chance = |x: f64| {
            members[at].thickness = x;
            objective.chance_of_named(&members).unwrap_or(0.0)
        };
        let good_enough = (chance(thickness) >= options.enough).then(|| {
            let mut edge = |outward: f64| {
                let (mut inside, mut outside) = (thickness, thickness + outward);
                for _ in 0..30 {
                    let half = 0.5 * (inside + outside);
                    if chance(half) >= options.enough {
                        inside = half;
                    } else {
                        outside = half;
                    }
                }
                inside
            };
            (edge(-thickness + 1e-3), edge(2.0))
        });
        let used = |row: usize| build.rows.iter().filter(|&&r| r == row).count() as u32;
        let nearest = |wanted: &dyn Fn(usize) -> bool| {
            let kind = self
                .kinds
                .iter()
                .filter(|kind| wanted(kind.row))
                .min_by(|a, b| (a.thickness - thickness).abs().total_cmp(&(b.thickness - thickness).abs()))?;
            let piece = &self.drawer[kind.row];
            let mut members = members.clone();
            members[at] = kind.member(zone);
            let here = kind.count > used(kind.row);
            Some(Candidate {
                name: piece.name.clone(),
                row: kind.row,
                thickness: piece.thickness,
                chance: objective.chance_of_named(&members).unwrap_or(0.0),
                lead_days: if here { None } else { piece.lead_days },
                cost: piece.cost,
            })
        };
        let nearest_in_drawer = nearest(&|row| self.kinds[row].count > used(row));
        let nearest_to_be_had = nearest(&|row| self.drawer[row].u.is_none());
        Some(Missing { thickness, good_enough, nearest_in_drawer, nearest_to_be_had, build })
    }
}
