//! What comes of builds by the whole model, a block of them at a time.

use super::FittingBay;
use packdrift_pack::{Block, Plan, Quantity, Query};

/// Judges builds of a bay: every requirement in every condition, and the offsets as they would be read.
#[derive(Debug, Clone)]
pub struct Judge {
    plan: Plan,
    /// Limits of the first questions of the plan; the offsets follow.
    limits: Vec<(Option<f64>, Option<f64>)>,
    /// Inputs of the stack.
    inputs: usize,
    zones: usize,
}

/// What came of some builds, and memory for the next ones.
#[derive(Debug)]
pub struct Judged {
    block: Block,
    inside: Vec<bool>,
    requirements: usize,
}

impl FittingBay {
    /// What judges builds of this bay.
    pub fn judge(&self) -> Judge {
        let of_limits = self.requirements.iter().map(|r| Query { quantity: r.quantity, condition: r.condition });
        let offset = |valve: usize| Query { quantity: Quantity::Offset { bay: 0, valve }, condition: self.condition };
        let read = self.layout.targets.iter().map(|target| offset(target.valve));
        let queries: Vec<Query> = of_limits.chain(read).collect();
        Judge {
            plan: self.reduced.pack.plan(&queries),
            limits: self.requirements.iter().map(|r| (r.lower, r.upper)).collect(),
            inputs: self.reduced.first_sum,
            zones: self.layout.zones,
        }
    }
}

impl Judge {
    /// The inputs of the stack whose values matter.
    pub fn inputs(&self) -> impl Iterator<Item = usize> + '_ {
        self.plan.dimensions().iter().map(|id| id.0).filter(|&input| input < self.inputs)
    }

    /// Memory for blocks of up to so many builds.
    pub fn memory(&self, builds: usize) -> Judged {
        Judged { block: self.plan.block(builds), inside: Vec::new(), requirements: self.limits.len() }
    }

    /// Judges builds. `columns`: of each input of the stack its values by build, empty where [`Judge::inputs`] does not name it. `sums`: of
    /// each zone what its pieces sum to, by build, mm.
    pub fn judge(&self, columns: &[Vec<f64>], sums: &[Vec<f64>], builds: usize, judged: &mut Judged) {
        let with_sums: Vec<&[f64]> = columns.iter().chain(sums.iter().take(self.zones)).map(Vec::as_slice).collect();
        self.plan.evaluate(&with_sums, builds, &mut judged.block);
        judged.inside.clear();
        judged.inside.resize(builds, true);
        for (query, &(lower, upper)) in self.limits.iter().enumerate() {
            for (build, inside) in judged.inside.iter_mut().enumerate() {
                *inside &= judged.block.outcome(query, build).meets(lower, upper);
            }
        }
    }
}

impl Judged {
    /// Whether every requirement of the bay is kept, in every condition.
    pub fn inside(&self, build: usize) -> bool {
        self.inside[build]
    }

    /// The true offset of a rocker in the condition in which it is read (of a loose bay the middle of the range), mm; NaN where the bay
    /// cannot be assembled.
    pub fn offset(&self, rocker: usize, build: usize) -> f64 {
        self.block.outcome(self.requirements + rocker, build).middle().unwrap_or(f64::NAN)
    }
}
