//! Many trials at once: a [`Plan`] answers the same questions of a [`Pack`] for a block of vectors of dimension values.
//!
//! Trials lie as a structure of arrays, one slice per dimension, and are worked off in lanes of [`LANES`] that stay in the
//! first-level cache. Every step is a loop over one lane without branches, which the compiler turns into vector
//! instructions on any target: sums of solids, the load of a bay's only disc or linear spring washer (D is known, so the load
//! is a direct formula), offsets. Washers in series and load tables go trial by trial through the scalar solver.
//!
//! The loops run in the processor's wider registers where it has them ([`widest`](packdrift_numerics::vector::widest)); what they call is
//! inlined by force, or they would stay at two trials at a time.
//!
//! Both ways do the same operations in the same order, so a plan's answers are those of [`Pack::evaluate`] to the last bit;
//! a test holds them to it.

mod lane;
mod work;

use crate::equilibrium::growth;
use crate::model::{Contact, DimensionId, Pack, PartKind, SpringWasher};
use crate::quantity::{Outcome, Quantity, QuantityKind};
use crate::stress::StressPoint;
pub(crate) use lane::LANES;
use lane::Lane;

/// A quantity in a condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Query {
    /// What.
    pub quantity: Quantity,
    /// Index into [`Pack::conditions`].
    pub condition: usize,
}

/// A pack compiled for a list of questions, to be asked of millions of trials. It holds no trial and can be shared by
/// threads.
///
/// # Examples
///
/// ```
/// # use packdrift_pack::*;
/// # let id = DimensionId;
/// # let dimension = |path: &str| Dimension { path: path.into(), unit: "mm" };
/// # let linear = SpringLaw::Linear { rate: id(2), free_height: id(3), solid_height: None };
/// # let part = |name: &str, kind| Part { name: name.into(), kind, expansion: 11.5e-6 };
/// # let pack = Pack {
/// #     title: String::new(),
/// #     reference_temperature: 20.0,
/// #     conditions: vec![Condition { name: "assembly".into(), temperature: 20.0 }],
/// #     bays: vec![Bay {
/// #         name: "middle".into(),
/// #         span: id(0),
/// #         expansion: 23e-6,
/// #         parts: vec![
/// #             part("shim", PartKind::Solid { kind: SolidKind::Shim, thickness: id(1), bedding: None }),
/// #             part("spring washer", PartKind::Spring(SpringWasher { law: linear, friction: None, set: None })),
/// #         ],
/// #         valves: vec![],
/// #     }],
/// #     dimensions: ["span", "shim/thickness", "spring/rate", "spring/free_height"].map(dimension).into(),
/// # };
/// // A pack of one shim and one linear spring washer; three trials in which only the shim differs.
/// let plan = pack.plan(&[Query { quantity: Quantity::Preload { bay: 0 }, condition: 0 }]);
/// let mut block = plan.block(3);
/// let (span, shims, rate, free_height) = ([1.5], [0.4, 0.5, 1.6], [50.0], [1.4]);
/// plan.evaluate(&[&span, &shims, &rate, &free_height], 3, &mut block);
/// assert!((block.low(0)[0] - 15.0).abs() < 1e-12);
/// assert!((block.low(0)[1] - 20.0).abs() < 1e-12);
/// assert!(block.low(0)[2].is_nan()); // cannot be assembled
/// ```
#[derive(Debug, Clone)]
pub struct Plan {
    queries: Vec<Query>,
    ranges: Vec<bool>,
    used: Vec<DimensionId>,
    dimensions: usize,
    bays: Vec<BayPlan>,
    /// Of each query, its place among the bays.
    bay_of: Vec<usize>,
    margins: bool,
}

/// Answers to every question of a [`Plan`] for one block of trials, and the working memory. One per thread.
#[derive(Debug, Clone)]
pub struct Block {
    low: Vec<Vec<f64>>,
    /// Empty where the question has no ranges.
    high: Vec<Vec<f64>>,
    /// Of each bay of the plan; empty where the plan has none.
    margins: Vec<Margins>,
    trials: usize,
    capacity: usize,
    bay_of: Vec<usize>,
    work: work::Work,
}

/// Where a bay stands in each trial of a block; see [`Plan::with_margins`].
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Margins {
    /// D, mm: the bay is loose where it is not above 0.
    pub interference: Vec<f64>,
    /// What the spring washers can still take, mm: the bay cannot be assembled where it is below 0. NaN where a washer cannot
    /// exist.
    pub room_left: Vec<f64>,
    /// By how much the bay could be squeezed further before the load of one of its discs stops rising, mm: where it is below 0 a
    /// disc of h0/t > √2 has passed its largest load, and may have snapped. Where no disc falls, the room left.
    pub to_peak: Vec<f64>,
}

/// A length: a column and its growth by temperature.
#[derive(Debug, Clone, Copy)]
struct Term {
    column: usize,
    scale: f64,
}

/// One step of adding up a bay's solids from the left, and taking off the span at the end.
#[derive(Debug, Clone, Copy)]
enum Step {
    Add(Term),
    /// Keep the sum so far as the place of a rocker.
    Mark(usize),
}

/// One bay in one condition.
#[derive(Debug, Clone)]
struct BayPlan {
    steps: Vec<Step>,
    /// For each mark, how many spring washers lie to its left.
    marks: Vec<usize>,
    springs: Vec<SpringPlan>,
    answers: Vec<Answer>,
}

#[derive(Debug, Clone)]
struct SpringPlan {
    washer: SpringWasher,
    scale: f64,
    /// Columns that the washer reads.
    columns: Vec<usize>,
}

/// One question of a bay.
#[derive(Debug, Clone)]
struct Answer {
    query: usize,
    what: What,
}

#[derive(Debug, Clone)]
enum What {
    Preload,
    Play,
    /// Of the n-th spring washer.
    Height(usize),
    /// Height asked of a solid part.
    Length(Vec<Term>),
    Offset(OffsetPlan),
    EdgeMargin(OffsetPlan, ContactPlan),
    ContactPressure(ContactPlan),
    /// Of the n-th spring washer, at a point.
    Stress(usize, StressPoint),
    /// The valve has no contact data.
    Nothing,
}

#[derive(Debug, Clone, Copy)]
struct OffsetPlan {
    mark: usize,
    adjuster: Term,
    stem: Term,
}

#[derive(Debug, Clone, Copy)]
struct ContactPlan {
    diameter: Term,
    chamfer: Term,
    tip_radius: Term,
    sweep: Term,
    wear: Option<Term>,
    load: usize,
    /// E*, MPa.
    modulus: f64,
}

impl Pack {
    /// Compiles the pack for a list of questions.
    ///
    /// # Panics
    ///
    /// If an index in a question is not of this pack.
    pub fn plan(&self, queries: &[Query]) -> Plan {
        let mut plan = Plan {
            queries: queries.to_vec(),
            ranges: queries
                .iter()
                .map(|query| matches!(query.quantity.kind(), QuantityKind::Offset | QuantityKind::EdgeMargin))
                .collect(),
            used: Vec::new(),
            dimensions: self.dimensions.len(),
            bays: Vec::new(),
            bay_of: Vec::new(),
            margins: false,
        };
        let mut places: Vec<(usize, usize)> = Vec::new();
        for (index, query) in queries.iter().enumerate() {
            let place = (query.quantity.bay(), query.condition);
            let at = places.iter().position(|known| *known == place).unwrap_or_else(|| {
                places.push(place);
                plan.bays.push(self.bay_plan(place.0, place.1));
                places.len() - 1
            });
            let what = self.what(&query.quantity, query.condition, &mut plan.bays[at]);
            plan.bay_of.push(at);
            plan.bays[at].answers.push(Answer { query: index, what });
        }
        plan.used = plan.bays.iter().flat_map(BayPlan::columns).map(DimensionId).collect();
        plan.used.sort_unstable();
        plan.used.dedup();
        plan
    }

    fn bay_plan(&self, bay: usize, condition: usize) -> BayPlan {
        let data = &self.bays[bay];
        let mut steps = Vec::new();
        let mut springs = Vec::new();
        for part in &data.parts {
            let scale = growth(part.expansion, &self.conditions[condition], self.reference_temperature);
            match &part.kind {
                PartKind::Solid { .. } | PartKind::Rocker { .. } => {
                    let terms = part.kind.rigid_length().map(|(id, sign)| Term { column: id.0, scale: sign * scale });
                    steps.extend(terms.map(Step::Add));
                }
                PartKind::Spring(washer) => {
                    springs.push(SpringPlan {
                        columns: washer.dimensions().iter().map(|id| id.0).collect(),
                        washer: washer.clone(),
                        scale,
                    });
                }
            }
        }
        // The span is one more term of the sum, taken off.
        let scale = -growth(data.expansion, &self.conditions[condition], self.reference_temperature);
        steps.push(Step::Add(Term { column: data.span.0, scale }));
        BayPlan { steps, marks: Vec::new(), springs, answers: Vec::new() }
    }

    fn what(&self, quantity: &Quantity, condition: usize, plan: &mut BayPlan) -> What {
        let bay = &self.bays[quantity.bay()];
        let term = |id: DimensionId, expansion: f64| Term {
            column: id.0,
            scale: growth(expansion, &self.conditions[condition], self.reference_temperature),
        };
        let contact = |contact: &Contact| ContactPlan {
            diameter: term(contact.stem_end_diameter, contact.stem_expansion),
            chamfer: term(contact.stem_end_chamfer, contact.stem_expansion),
            tip_radius: term(contact.adjuster_tip_radius, contact.adjuster_expansion),
            sweep: term(contact.sweep, contact.adjuster_expansion),
            wear: contact.tip_wear.map(|id| term(id, contact.adjuster_expansion)),
            load: contact.valve_load.0,
            modulus: crate::contact::contact_modulus(&contact.adjuster, &contact.stem),
        };
        let offset = |valve: usize, plan: &mut BayPlan| {
            let valve = &bay.valves[valve];
            let rocker = &bay.parts[valve.rocker];
            let PartKind::Rocker { adjuster, .. } = rocker.kind else { return None };
            Some(OffsetPlan {
                mark: plan.mark(bay.parts[..valve.rocker].iter().map(|part| &part.kind)),
                adjuster: term(adjuster, rocker.expansion),
                stem: term(valve.stem, bay.expansion),
            })
        };
        match *quantity {
            Quantity::Preload { .. } => What::Preload,
            Quantity::Play { .. } => What::Play,
            Quantity::Height { part, .. } => match &bay.parts[part].kind {
                kind @ (PartKind::Solid { .. } | PartKind::Rocker { .. }) => {
                    let signed = |(id, sign): (DimensionId, f64)| {
                        let term = term(id, bay.parts[part].expansion);
                        Term { scale: sign * term.scale, ..term }
                    };
                    What::Length(kind.rigid_length().map(signed).collect())
                }
                PartKind::Spring(_) => What::Height(
                    bay.parts[..part].iter().filter(|part| matches!(part.kind, PartKind::Spring(_))).count(),
                ),
            },
            Quantity::Offset { valve, .. } => offset(valve, plan).map_or(What::Nothing, What::Offset),
            Quantity::EdgeMargin { valve, .. } => match (offset(valve, plan), &bay.valves[valve].contact) {
                (Some(offset), Some(data)) => What::EdgeMargin(offset, contact(data)),
                _ => What::Nothing,
            },
            Quantity::ContactPressure { valve, .. } => match &bay.valves[valve].contact {
                Some(data) => What::ContactPressure(contact(data)),
                None => What::Nothing,
            },
            Quantity::Stress { part, point, .. } if bay.parts[part].kind.is_spring() => {
                What::Stress(bay.parts[..part].iter().filter(|part| part.kind.is_spring()).count(), point)
            }
            Quantity::Stress { .. } => What::Nothing,
        }
    }
}

impl BayPlan {
    /// Index of the mark before which these parts lie, made if there is none yet.
    fn mark<'a>(&mut self, before: impl Iterator<Item = &'a PartKind>) -> usize {
        // Terms of solids, of which a bedded piece has two.
        let (mut solids, mut springs) = (0, 0);
        for kind in before {
            if kind.is_spring() { springs += 1 } else { solids += kind.rigid_length().count() }
        }
        let mut passed = 0;
        let mut at = self.steps.len();
        for (index, step) in self.steps.iter().enumerate() {
            match step {
                Step::Mark(mark) if passed == solids && self.marks[*mark] == springs => return *mark,
                Step::Mark(_) => {}
                Step::Add(_) if passed == solids => {
                    at = index;
                    break;
                }
                Step::Add(_) => passed += 1,
            }
        }
        self.marks.push(springs);
        self.steps.insert(at, Step::Mark(self.marks.len() - 1));
        self.marks.len() - 1
    }

    /// The columns it reads.
    fn columns(&self) -> Vec<usize> {
        let terms = self.steps.iter().filter_map(|step| match step {
            Step::Add(term) => Some(term.column),
            Step::Mark(_) => None,
        });
        let mut columns: Vec<usize> = terms.collect();
        columns.extend(self.springs.iter().flat_map(|spring| &spring.columns));
        for answer in &self.answers {
            match &answer.what {
                What::Preload | What::Play | What::Height(_) | What::Stress(..) | What::Nothing => {}
                What::Length(terms) => columns.extend(terms.iter().map(|term| term.column)),
                What::Offset(offset) => columns.extend([offset.adjuster.column, offset.stem.column]),
                What::EdgeMargin(offset, contact) => {
                    columns.extend([offset.adjuster.column, offset.stem.column]);
                    columns.extend([contact.diameter, contact.chamfer, contact.sweep].map(|term| term.column));
                    columns.extend(contact.patch_columns());
                }
                What::ContactPressure(contact) => columns.extend([contact.tip_radius.column, contact.load]),
            }
        }
        columns
    }
}

impl ContactPlan {
    /// The columns that the contact patch depends on.
    fn patch_columns(&self) -> impl Iterator<Item = usize> + use<> {
        [Some(self.tip_radius.column), Some(self.load), self.wear.map(|term| term.column)].into_iter().flatten()
    }
}

impl Plan {
    /// The same plan, whose blocks also tell where each bay stands ([`Block::margins`]).
    pub fn with_margins(mut self) -> Self {
        self.margins = true;
        self
    }

    /// The dimensions whose values matter to the answers; the columns of all others may be empty.
    pub fn dimensions(&self) -> &[DimensionId] {
        &self.used
    }

    /// The questions, in the order of the answers.
    pub fn queries(&self) -> &[Query] {
        &self.queries
    }

    /// Whether a question's answer can be a range in a loose bay, so that [`Block::high`] may differ from [`Block::low`].
    ///
    /// # Panics
    ///
    /// If there is no such question.
    pub fn ranges(&self, query: usize) -> bool {
        self.ranges[query]
    }

    /// Room for the answers of blocks of up to `capacity` trials.
    pub fn block(&self, capacity: usize) -> Block {
        let rows = |query: usize| vec![0.0; if self.ranges[query] { capacity } else { 0 }];
        Block {
            low: vec![vec![0.0; capacity]; self.queries.len()],
            high: (0..self.queries.len()).map(rows).collect(),
            margins: (0..if self.margins { self.bays.len() } else { 0 })
                .map(|_| {
                    let lane = || vec![0.0; capacity];
                    Margins { interference: lane(), room_left: lane(), to_peak: lane() }
                })
                .collect(),
            bay_of: self.bay_of.clone(),
            trials: 0,
            capacity,
            work: work::Work::new(self),
        }
    }

    /// Answers every question for trials 0..`trials`.
    ///
    /// `columns` has one slice per dimension of the pack: of at least `trials` values, or of one value that holds for every
    /// trial (an exact dimension costs next to nothing), or empty where [`Plan::dimensions`] does not name it.
    ///
    /// # Panics
    ///
    /// If there are more trials than the block has room for, the block was made by another plan, or a column is missing or
    /// too short.
    pub fn evaluate(&self, columns: &[&[f64]], trials: usize, block: &mut Block) {
        assert!(trials <= block.capacity, "{trials} trials in a block with room for {}", block.capacity);
        assert_eq!(columns.len(), self.dimensions, "one column per dimension");
        for id in &self.used {
            let length = columns[id.0].len();
            assert!(length == 1 || length >= trials, "column {} has {length} values for {trials} trials", id.0);
        }
        block.trials = trials;
        for (bay, plan) in self.bays.iter().enumerate() {
            let mut start = 0;
            while start < trials {
                let count = LANES.min(trials - start);
                plan.lane(columns, start, count, block);
                if let Some(margins) = block.margins.get_mut(bay) {
                    plan.margins(columns, start, count, &mut block.work, margins);
                }
                start += count;
            }
        }
    }
}

impl Block {
    /// The value of question `query` in every trial, or the smaller end of its range in a loose bay; NaN where the bay cannot
    /// be assembled.
    ///
    /// # Panics
    ///
    /// If there is no such question.
    pub fn low(&self, query: usize) -> &[f64] {
        &self.low[query][..self.trials]
    }

    /// The value of question `query` in every trial, or the larger end of its range in a loose bay; NaN where the bay cannot
    /// be assembled. For quantities that are never ranges ([`Plan::ranges`]) this is the same slice as [`Block::low`].
    ///
    /// # Panics
    ///
    /// If there is no such question.
    pub fn high(&self, query: usize) -> &[f64] {
        if self.high[query].is_empty() { self.low(query) } else { &self.high[query][..self.trials] }
    }

    /// Where the bay of question `query` stands in every trial, those that cannot be assembled too; the lists may be longer than
    /// there are trials. None where the plan was not made [`with_margins`](Plan::with_margins).
    ///
    /// # Panics
    ///
    /// If there is no such question.
    pub fn margins(&self, query: usize) -> Option<&Margins> {
        self.margins.get(self.bay_of[query])
    }

    /// The answer to question `query` in one trial, as [`Pack::evaluate`] would give it.
    ///
    /// # Panics
    ///
    /// If there is no such question or trial.
    pub fn outcome(&self, query: usize, trial: usize) -> Outcome {
        let (low, high) = (self.low(query)[trial], self.high(query)[trial]);
        if low.is_nan() {
            Outcome::CannotAssemble
        } else if high > low {
            Outcome::Range { low, high }
        } else {
            Outcome::Value(low)
        }
    }
}

/// A column's values of one lane: a borrowed piece of it, or copied to `copy` where it is one value or short of a lane.
#[inline(always)]
fn fetch<'c>(columns: &[&'c [f64]], column: usize, start: usize, count: usize, copy: &'c mut Lane) -> &'c Lane {
    let values = columns[column];
    if let [constant] = values {
        copy.fill(*constant);
        return copy;
    }
    if count == LANES
        && let Some(lane) = values.get(start..).and_then(<[f64]>::first_chunk::<LANES>)
    {
        return lane;
    }
    // The places beyond the last trial repeat the first: they are computed and thrown away.
    copy.fill(values[start]);
    copy[..count].copy_from_slice(&values[start..start + count]);
    copy
}
