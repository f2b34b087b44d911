//! The random numbers of builds: drawn once, used for every choice (common random numbers), so that two choices differ by what they are and
//! not by what they drew.
//!
//! A tolerance changes the scale of a dimension's own deviation about its mean: with the deviation δ drawn for the drawn tolerance, a
//! tolerance r times as wide deviates by r·δ, whatever its distribution. Packets' deviations do not change with a tolerance.

use crate::error::PolicyError;
use crate::question::{Choice, Pieces, Question};
use crate::shop::Packets;
use packdrift_numerics::stream::{BLOCK, Key};
use packdrift_spread::{Lot, Population, Stack};
use packdrift_stock::MOST_ADDED;
use rayon::prelude::*;

/// Builds that share their packets where a packet lasts a year: enough for the year's share outside to be told, few enough for many
/// years.
pub(crate) const BUILDS_OF_A_YEAR: usize = 256;

/// The numbers of a block of builds.
#[derive(Debug)]
pub(crate) struct Block {
    /// By input and build: deviation for the drawn tolerance, lots left out.
    pub(crate) own: Vec<f64>,
    /// By build and lot of the pack file: deviation from nominal, bias included, mm.
    pub(crate) lots: Vec<f64>,
    /// By build and size of the catalogue: standard normal of its packet.
    pub(crate) packets: Vec<f64>,
    /// By build: standard normal of what its readings have wrong alike.
    pub(crate) gauge: Vec<f64>,
    /// By bay.
    pub(crate) bays: Vec<OfBay>,
}

/// The numbers of one bay in a block, standard normals.
#[derive(Debug)]
pub(crate) struct OfBay {
    /// By build and reading of an offset: two for each rocker.
    pub(crate) readings: Vec<f64>,
    /// By build and drawn piece: its measurement.
    pub(crate) drawn: Vec<f64>,
    /// By size of the catalogue those of its pieces by build, zone and copy; empty where nobody needs them.
    pub(crate) pieces: Vec<Vec<f64>>,
    /// The same: their measurements.
    pub(crate) measured: Vec<Vec<f64>>,
}

/// All blocks of one purpose.
#[derive(Debug)]
pub(crate) struct Draws {
    pub(crate) blocks: Vec<Block>,
}

impl Draws {
    /// `count` builds, rounded up to whole blocks. `purpose` tells draws apart: other purposes are independent.
    pub(crate) fn new(question: &Question, count: usize, seed: u64, purpose: &str) -> Result<Self, PolicyError> {
        let drawer = Drawer::new(question, seed, purpose)?;
        let measured = question.ways.contains(&Pieces::Measured);
        let all = Needed { sizes: question.all_sizes(), measured };
        let blocks = (0..count.div_ceil(BLOCK) as u64).into_par_iter().map(|block| drawer.block(block, all)).collect();
        Ok(Self { blocks })
    }
}

/// Whose numbers are needed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Needed {
    /// Sizes of the catalogue, one bit each.
    sizes: u64,
    /// Their pieces are measured.
    measured: bool,
}

impl Needed {
    /// By a choice.
    pub(crate) fn by(choice: &Choice) -> Self {
        Self { sizes: choice.sizes, measured: choice.pieces == Pieces::Measured }
    }
}

/// Draws blocks.
pub(crate) struct Drawer<'a> {
    question: &'a Question,
    population: Population,
    means: Vec<f64>,
    seed: u64,
    purpose: String,
}

impl<'a> Drawer<'a> {
    pub(crate) fn new(question: &'a Question, seed: u64, purpose: &str) -> Result<Self, PolicyError> {
        // Lots are drawn apart: they may last a year.
        let mut alone: Stack = question.stack.clone();
        alone.lots = alone.lots.iter().map(|lot| Lot { bias: 0.0, between: 0.0, ..lot.clone() }).collect();
        let population = Population::of_stack(&alone)?;
        let means = population.means();
        // A seed of its own for each purpose: the population's streams know only their dimensions' names.
        let seed = seed ^ Key::new(seed, purpose).stream(0).uniform().to_bits();
        Ok(Self { question, population, means, seed, purpose: purpose.to_owned() })
    }

    fn normals(&self, what: &str, block: u64, count: usize) -> Vec<f64> {
        let mut out = vec![0.0; count];
        Key::new(self.seed, &format!("policy/{}/{what}", self.purpose)).stream(block).fill_normal(&mut out);
        out
    }

    /// Normals that are shared by the builds of a year, or by none.
    fn shared(&self, what: &str, block: u64, each: usize) -> Vec<f64> {
        match self.question.shop.packets {
            Packets::EachBuild => self.normals(what, block, BLOCK * each),
            Packets::Year => {
                let years = self.normals(what, block, BLOCK / BUILDS_OF_A_YEAR * each);
                let of_year = years.chunks(each.max(1));
                of_year.flat_map(|year| year.iter().copied().cycle().take(BUILDS_OF_A_YEAR * each)).collect()
            }
        }
    }

    /// The numbers of a block: of any size the same, whichever others are needed.
    pub(crate) fn block(&self, block: u64, needed: Needed) -> Block {
        let (inputs, lots) = (self.population.inputs(), &self.question.stack.lots);
        let mut sampler = self.population.sampler(self.seed);
        let mut x = sampler.columns();
        sampler.fill(block, &mut x);
        let mut own = vec![0.0; BLOCK * inputs];
        for (input, &mean) in self.means.iter().enumerate() {
            for (own, value) in own[input * BLOCK..].iter_mut().zip(x.column(input)) {
                *own = value - mean;
            }
        }
        let mut of_lots = self.shared("lots", block, lots.len());
        for of_build in of_lots.chunks_mut(lots.len().max(1)) {
            for (value, lot) in of_build.iter_mut().zip(lots) {
                *value = lot.bias + lot.between * *value;
            }
        }
        let sizes = self.question.catalogue.len();
        let bays = self.question.bays.iter().enumerate().map(|(b, bay)| {
            let each = bay.zones() * MOST_ADDED;
            let of_sizes = |what: &str, wanted: bool| -> Vec<Vec<f64>> {
                let normals = |k: usize| {
                    let count = if wanted && needed.sizes >> k & 1 == 1 { BLOCK * each } else { 0 };
                    self.normals(&format!("{b}/{what}/{k}"), block, count)
                };
                (0..sizes).map(normals).collect()
            };
            OfBay {
                readings: self.normals(&format!("{b}/readings"), block, BLOCK * 2 * bay.rockers()),
                drawn: if self.question.shop.drawn_measured {
                    self.normals(&format!("{b}/drawn"), block, BLOCK * bay.drawn().len())
                } else {
                    Vec::new()
                },
                pieces: of_sizes("pieces", true),
                measured: of_sizes("measured", needed.measured),
            }
        });
        Block {
            own,
            lots: of_lots,
            packets: self.shared("packets", block, sizes),
            gauge: self.shared("gauge", block, 1),
            bays: bays.collect(),
        }
    }
}
