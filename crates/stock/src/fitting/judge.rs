//! What comes of builds by the whole model, a block of them at a time.

use super::FittingBay;
use packdrift_pack::{Block, Pack, Plan, Quantity, QuantityKind, Query};
use packdrift_spread::Requirement;

/// Judges builds of a bay: every requirement in every condition, and the offsets as they would be read.
#[derive(Debug, Clone)]
pub struct Judge {
    plan: Plan,
    /// Limits of the first questions of the plan; the offsets follow.
    limits: Vec<(Option<f64>, Option<f64>)>,
    /// Offsets that are read.
    rockers: usize,
    /// Questions on the bay's play: the last of the plan.
    plays: usize,
    /// Inputs of the stack.
    inputs: usize,
    zones: usize,
}

/// What came of some builds, and memory for the next ones.
#[derive(Debug)]
pub struct Judged {
    block: Block,
    inside: Vec<bool>,
    loose: Vec<bool>,
    requirements: usize,
}

impl FittingBay {
    /// What judges builds of this bay.
    pub fn judge(&self) -> Judge {
        self.judge_by(&self.reduced.pack)
    }

    /// What judges builds whose spring washers, by the names of their parts, press so many times as hard as their formula says: for loads that
    /// it does not settle ([`packdrift_pack::Pack::unsettled_loads`]).
    pub fn judge_with_loads(&self, washers: &[(&str, f64)]) -> Judge {
        let with = |pack: Pack, &(name, times): &(&str, f64)| {
            let part = pack.bays[0].parts.iter().position(|part| part.name == name);
            part.map_or_else(|| pack.clone(), |part| pack.clone().with_load_times(0, part, times))
        };
        self.judge_by(&washers.iter().fold(self.reduced.pack.clone(), with))
    }

    fn judge_by(&self, pack: &Pack) -> Judge {
        let of_limits = self.requirements.iter().map(|r| Query { quantity: r.quantity, condition: r.condition });
        let offset = |valve: usize| Query { quantity: Quantity::Offset { bay: 0, valve }, condition: self.condition };
        let read = self.layout.targets.iter().map(|target| offset(target.valve));
        let tight = self.kept_tight(pack);
        let plays = tight.iter().map(|&condition| Query { quantity: Quantity::Play { bay: 0 }, condition });
        let queries: Vec<Query> = of_limits.chain(read).chain(plays).collect();
        Judge {
            plan: pack.plan(&queries),
            limits: self.requirements.iter().map(|r| (r.lower, r.upper)).collect(),
            rockers: self.layout.targets.len(),
            plays: tight.len(),
            inputs: self.reduced.first_sum,
            zones: self.layout.zones,
        }
    }

    /// Conditions in which a requirement rests on a spring washer: left loose, it presses on nothing. A limit on play says that play is meant.
    fn kept_tight(&self, pack: &Pack) -> Vec<usize> {
        let by_washer = |kind| matches!(kind, QuantityKind::Preload | QuantityKind::Height | QuantityKind::Stress);
        let means_play = |condition: usize| {
            let of_play = |r: &&Requirement| r.condition == condition && r.quantity.kind() == QuantityKind::Play;
            self.requirements.iter().filter(of_play).any(|r| r.upper.is_some_and(|play| play > 0.0))
        };
        if !pack.bays[0].has_spring() {
            return Vec::new();
        }
        let resting = self.requirements.iter().filter(|r| by_washer(r.quantity.kind())).map(|r| r.condition);
        let mut conditions: Vec<usize> = resting.filter(|&condition| !means_play(condition)).collect();
        conditions.sort_unstable();
        conditions.dedup();
        conditions
    }
}

impl Judge {
    /// The inputs of the stack whose values matter.
    pub fn inputs(&self) -> impl Iterator<Item = usize> + '_ {
        self.plan.dimensions().iter().map(|id| id.0).filter(|&input| input < self.inputs)
    }

    /// Memory for blocks of up to so many builds.
    pub fn memory(&self, builds: usize) -> Judged {
        Judged {
            block: self.plan.block(builds),
            inside: Vec::new(),
            loose: Vec::new(),
            requirements: self.limits.len(),
        }
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
        judged.loose.clear();
        judged.loose.resize(builds, false);
        for query in (self.limits.len() + self.rockers..).take(self.plays) {
            for (build, loose) in judged.loose.iter_mut().enumerate() {
                *loose |= judged.block.outcome(query, build).middle().is_some_and(|play| play > 0.0);
            }
        }
    }
}

impl Judged {
    /// Whether every requirement of the bay is kept, in every condition.
    pub fn inside(&self, build: usize) -> bool {
        self.inside[build]
    }

    /// Whether the bay is loose in a condition in which a requirement rests on its spring washer.
    pub fn loose(&self, build: usize) -> bool {
        self.loose[build]
    }

    /// The true offset of a rocker in the condition in which it is read (of a loose bay the middle of the range), mm; NaN where the bay
    /// cannot be assembled.
    pub fn offset(&self, rocker: usize, build: usize) -> f64 {
        self.block.outcome(self.requirements + rocker, build).middle().unwrap_or(f64::NAN)
    }
}
