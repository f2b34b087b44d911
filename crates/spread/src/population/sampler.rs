//! Random blocks of input values: each coordinate from its own stream, so that no coordinate's numbers depend on which others there are.

use super::Population;
use crate::distribution::Distribution;
use crate::model::Columns;
use crate::result::Source;
use packdrift_numerics::stream::{BLOCK, Key};

/// A source of random blocks of a population; each thread has its own.
#[derive(Debug, Clone)]
pub struct Sampler<'a> {
    population: &'a Population,
    plan: Vec<Step<'a>>,
    /// Standard normals of the tied coordinates of one group, and one column for work.
    scratch: Vec<Vec<f64>>,
}

/// What is done for one coordinate of an input, or for one lot.
#[derive(Debug, Clone)]
struct Step<'a> {
    key: Key,
    coordinate: usize,
    work: Work<'a>,
}

#[derive(Debug, Clone)]
enum Work<'a> {
    /// The first uncertain term of an input, written into its column.
    First { input: usize, distribution: &'a Distribution },
    /// A further term, added.
    Further { input: usize, distribution: &'a Distribution },
    /// A standard normal kept for the group's linear combination.
    Tied { slot: usize },
    /// A lot's deviation, added to its members.
    Lot,
}

impl<'a> Sampler<'a> {
    pub(super) fn new(population: &'a Population, seed: u64) -> Self {
        let mut started = vec![false; population.inputs()];
        let mut slots = 0;
        let mut plan = Vec::with_capacity(population.coordinates());
        for (k, coordinate) in population.coordinates.iter().enumerate() {
            let work = match coordinate.source {
                Source::Lot(_) => Work::Lot,
                Source::Input(_) if coordinate.tied.is_some() => {
                    slots += 1;
                    Work::Tied { slot: slots - 1 }
                }
                Source::Input(input) => {
                    let distribution = population.term(k);
                    if std::mem::replace(&mut started[input], true) {
                        Work::Further { input, distribution }
                    } else {
                        Work::First { input, distribution }
                    }
                }
            };
            plan.push(Step { key: Key::new(seed, &coordinate.label), coordinate: k, work });
        }
        Self { population, plan, scratch: vec![vec![0.0; BLOCK]; slots + 1] }
    }

    /// Columns of a block, exact inputs already in place. [`Sampler::fill`] writes only what scatters.
    pub fn columns(&self) -> Columns {
        let mut columns = Columns::new(self.population.inputs(), BLOCK);
        for (input, &fixed) in self.population.fixed.iter().enumerate() {
            columns.set_constant(input, fixed);
        }
        columns
    }

    /// Fills columns made by [`Sampler::columns`] with the trials of a block.
    pub fn fill(&mut self, block: u64, x: &mut Columns) {
        let population = self.population;
        let Some((spare, tied)) = self.scratch.split_last_mut() else { return };
        for step in &self.plan {
            let mut stream = step.key.lanes(block);
            match step.work {
                Work::First { input, distribution } => {
                    let column = x.column_mut(input);
                    distribution.sample(&mut stream, column);
                    let fixed = population.fixed[input];
                    if fixed != 0.0 {
                        for value in column.iter_mut() {
                            *value += fixed;
                        }
                    }
                }
                Work::Further { input, distribution } => {
                    distribution.sample(&mut stream, spare);
                    for (value, part) in x.column_mut(input).iter_mut().zip(&*spare) {
                        *value += part;
                    }
                }
                Work::Tied { slot } => stream.fill_normal(&mut tied[slot]),
                Work::Lot => {}
            }
        }
        if !tied.is_empty() {
            population.untie(tied, spare, x);
        }
        // Lots last: every member's column is in place by now.
        for step in self.plan.iter().filter(|step| matches!(step.work, Work::Lot)) {
            step.key.lanes(block).fill_normal(spare);
            for (input, shared) in population.shared.iter().enumerate() {
                let Some((coordinate, between)) = *shared else { continue };
                if coordinate != step.coordinate {
                    continue;
                }
                let column = x.column_mut(input);
                if population.own[input].is_exact() {
                    column.fill(population.fixed[input]);
                }
                for (value, u) in column.iter_mut().zip(&*spare) {
                    *value += between * u;
                }
            }
        }
    }
}

impl Population {
    /// The distribution of a coordinate of an input.
    fn term(&self, coordinate: usize) -> &Distribution {
        let source = self.coordinates[coordinate].source;
        let Source::Input(input) = source else {
            return &Distribution::Exact { value: 0.0 };
        };
        match &self.own[input] {
            Distribution::Sum { terms } if self.coordinates[coordinate].tied.is_none() => {
                let before = self.coordinates[..coordinate].iter().filter(|c| c.source == source).count();
                terms.iter().filter(|term| !term.is_exact()).nth(before).unwrap_or(&self.own[input])
            }
            own => own,
        }
    }

    /// Columns of the tied inputs from the standard normals of all tied coordinates, which are in the order of the coordinates.
    fn untie(&self, normals: &[Vec<f64>], z: &mut [f64], x: &mut Columns) {
        let tied: Vec<usize> = (0..self.coordinates()).filter(|&k| self.coordinates[k].tied.is_some()).collect();
        for &k in &tied {
            let coordinate = &self.coordinates[k];
            let (Source::Input(input), Some((group, place))) = (coordinate.source, coordinate.tied) else { continue };
            z.fill(0.0);
            for (member, weight) in self.groups[group].row(place) {
                let Ok(slot) = tied.binary_search(&member) else { continue };
                for (z, u) in z.iter_mut().zip(&normals[slot]) {
                    *z += weight * u;
                }
            }
            let column = x.column_mut(input);
            column.fill(self.fixed[input]);
            coordinate.marginal.add(z, column);
        }
    }
}
