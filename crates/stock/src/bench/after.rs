//! After the build: what was measured against what was expected, what that teaches, and the next build if one is needed.

use super::{Bench, Build, Measured, Options, Proposal, dimension_path};
use crate::beliefs::Surprise;
use crate::drawer::Piece;
use crate::error::StockError;
use crate::forecast::Forecast;
use crate::layout::Layout;
use crate::objective::Kind;
use packdrift_pack::DimensionId;

/// A reading after the build beside what was expected of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// The valve.
    pub valve: String,
    /// Its contact offset as measured, mm.
    pub reading: f64,
    /// What was expected of the reading, before any reading after the build.
    pub surprise: Surprise,
}

impl Compared {
    /// Beyond 3 standard deviations a reading is not to be believed without a second one: a wrong piece, dirt, a rocker that hangs.
    pub fn is_surprising(&self) -> bool {
        self.surprise.z.abs() > 3.0
    }
}

/// What a reading taught of one length.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    /// Path of the dimension.
    pub path: String,
    /// Mean and standard deviation before, mm.
    pub before: (f64, f64),
    /// Mean and standard deviation after, mm.
    pub after: (f64, f64),
}

/// The state after a build was made and measured.
#[derive(Debug, Clone)]
pub struct After {
    /// One per reading.
    pub readings: Vec<Compared>,
    /// The lengths that the readings say most of.
    pub learned: Vec<Learned>,
    /// What to expect of the bay now.
    pub now: Forecast,
    /// Whether that is good enough.
    pub done: bool,
    /// Where it is not: what to do next.
    pub next: Option<Proposal>,
    /// The bench with the build in it and the readings learned.
    pub bench: Bench,
}

/// Lengths listed as learned.
const LISTED: usize = 8;

impl Bench {
    /// The bench with a build made: its pieces are in the bay, what came out lies in the drawer.
    pub fn fit(&self, build: &Build) -> Self {
        let rebuilt = self.rebuilt(&build.gaps);
        let valves: Vec<usize> = self.layout.targets.iter().map(|target| target.valve).collect();
        let layout = Layout::new(&rebuilt.pack.bays[self.bay], &valves);
        let mut bench =
            Self { pack: rebuilt.pack, layout, beliefs: rebuilt.beliefs, entry: rebuilt.entry, ..self.clone() };
        for &row in &build.rows {
            bench.kinds[row].count = bench.kinds[row].count.saturating_sub(1);
            bench.drawer[row].count = bench.drawer[row].count.saturating_sub(1);
        }
        for out in &build.taken_out {
            let Some(fitted) = self.layout.fitted.iter().find(|f| f.name == out.name) else { continue };
            let entry = self.entry[fitted.dimension];
            let sd = self.beliefs.covariance(entry, entry).max(0.0).sqrt();
            let u = (sd <= super::build::MEASURED_SD).then_some(sd);
            let row = bench.drawer.len();
            let thickness = bench.beliefs.mean(entry);
            bench.drawer.push(Piece {
                name: out.name.clone(),
                thickness,
                u,
                size: None,
                count: 1,
                cost: None,
                lead_days: None,
            });
            bench.kinds.push(Kind { row, thickness, entry: Some(entry), own: 0.0, count: 1 });
        }
        bench
    }

    /// Makes the build, learns from what was measured then, and proposes the next one if it is needed.
    ///
    /// # Errors
    ///
    /// [`StockError`]: a reading that cannot be or belongs to no valve of the bay, options out of range.
    pub fn after(&self, build: &Build, readings: &[Measured], options: &Options) -> Result<After, StockError> {
        let mut bench = self.fit(build);
        let mut compared = Vec::new();
        for m in readings {
            if let Some(reading) = m.offset {
                // Each is compared with what was expected before all of them.
                let surprise = bench.clone().observe(&m.valve, reading, m.u)?;
                compared.push(Compared { valve: m.valve.clone(), reading, surprise });
            }
        }
        let before: Vec<(f64, f64)> = bench.known();
        for m in readings {
            if let Some(reading) = m.offset {
                bench.observe(&m.valve, reading, m.u)?;
            }
        }
        let learned = bench.learned(&before);
        let now = bench.now()?;
        let done = now.chance >= options.enough;
        let next = if done { None } else { Some(bench.propose(options)?) };
        Ok(After { readings: compared, learned, now, done, next, bench })
    }

    fn known(&self) -> Vec<(f64, f64)> {
        let of = |&entry: &usize| (self.beliefs.mean(entry), self.beliefs.covariance(entry, entry).max(0.0).sqrt());
        self.entry.iter().map(of).collect()
    }

    fn learned(&self, before: &[(f64, f64)]) -> Vec<Learned> {
        let after = self.known();
        // By how much the reading says of each: the shift, and the narrowing, against what was known.
        let told = |d: usize| {
            let (b, a) = (before[d], after[d]);
            if b.1 > 0.0 { ((a.0 - b.0) / b.1).abs() + (1.0 - a.1 / b.1) } else { 0.0 }
        };
        let mut order: Vec<usize> = (0..after.len()).filter(|&d| told(d) > 0.1).collect();
        order.sort_by(|&a, &b| told(b).total_cmp(&told(a)).then(a.cmp(&b)));
        order.truncate(LISTED);
        order
            .into_iter()
            .map(|d| Learned {
                path: dimension_path(&self.pack, DimensionId(d)).to_owned(),
                before: before[d],
                after: after[d],
            })
            .collect()
    }
}
