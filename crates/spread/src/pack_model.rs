//! A stack's requirements as a [`Model`]: the inputs are the pack's dimensions, the responses the requirements' quantities in their
//! conditions.

use crate::error::SpreadError;
use crate::model::{BlockMargins, Columns, Linear, Margins, Model, ModelError, Plane, Responses};
use crate::stack::Stack;
use packdrift_pack::{Block, LinearForm, Outcome, Pack, PartKind, Plan, Quantity, Query, SpringLaw, SpringWasher};

/// The requirements of a stack, as responses.
#[derive(Debug, Clone)]
pub struct PackModel<'a> {
    stack: &'a Stack,
    /// Of each response, the requirement that it belongs to.
    which: Vec<usize>,
    plan: Plan,
    /// The same for one response alone, telling where its bay stands too.
    with_margins: Option<Plan>,
}

impl<'a> PackModel<'a> {
    /// One response for each requirement.
    ///
    /// # Errors
    /// A requirement of a condition, bay, valve or part that the pack does not have; inputs other than the pack's dimensions; a pack whose
    /// places or names lead nowhere.
    pub fn new(stack: &'a Stack) -> Result<Self, SpreadError> {
        let pack = &stack.pack;
        if pack.dimensions.len() != stack.inputs.len() {
            let (found, expected) = (stack.inputs.len(), pack.dimensions.len());
            return Err(SpreadError::Length { what: "the list of inputs", found, expected });
        }
        if let Some(mistake) = pack.validate_structure().into_iter().next() {
            return Err(mistake.into());
        }
        for requirement in &stack.requirements {
            check_index("condition", requirement.condition, pack.conditions.len())?;
            check_quantity(pack, &requirement.quantity)?;
        }
        let queries: Vec<Query> = stack
            .requirements
            .iter()
            .map(|requirement| Query { quantity: requirement.quantity, condition: requirement.condition })
            .collect();
        Ok(Self { stack, which: (0..queries.len()).collect(), plan: pack.plan(&queries), with_margins: None })
    }

    /// The stack.
    pub fn stack(&self) -> &'a Stack {
        self.stack
    }

    /// The same for one requirement alone, so that a trial costs no more than its bay.
    pub(crate) fn only(&self, response: usize) -> Self {
        let plan = self.stack.pack.plan(&[self.query(response)]);
        let with_margins = Some(plan.clone().with_margins());
        Self { stack: self.stack, which: vec![self.which[response]], plan, with_margins }
    }

    /// Which inputs' values matter to the responses.
    pub(crate) fn uses(&self) -> Vec<bool> {
        let mut uses = vec![false; self.stack.inputs.len()];
        for dimension in self.plan.dimensions() {
            uses[dimension.0] = true;
        }
        uses
    }

    /// The planes of D and of what the spring washers can still take, of a response's bay: where the first is not above 0 the bay is loose, where the
    /// second is below 0 it cannot be assembled. None where one is no plane.
    pub(crate) fn guards(&self, response: usize) -> [Option<Plane>; 2] {
        let Query { quantity, condition } = self.query(response);
        let pack = &self.stack.pack;
        let forms = [pack.interference_form(quantity.bay(), condition), pack.room_left_form(quantity.bay(), condition)];
        forms.map(|form| form.map(|form| self.plane(&form)))
    }

    fn query(&self, response: usize) -> Query {
        self.plan.queries()[response]
    }

    fn plane(&self, form: &LinearForm) -> Plane {
        let mut coefficients = vec![0.0; self.inputs()];
        for &(dimension, weight) in &form.terms {
            coefficients[dimension.0] += weight;
        }
        Plane { constant: form.constant, coefficients }
    }
}

/// Without a branch or a chain of additions, so that it becomes vector instructions.
fn holds_nan(values: &[f64]) -> bool {
    values.iter().fold(false, |found, value| found | value.is_nan())
}

fn check_index(what: &'static str, index: usize, count: usize) -> Result<(), SpreadError> {
    if index < count { Ok(()) } else { Err(SpreadError::Index { what, index, count }) }
}

fn check_quantity(pack: &Pack, quantity: &Quantity) -> Result<(), SpreadError> {
    let bay = quantity.bay();
    check_index("bay", bay, pack.bays.len())?;
    match *quantity {
        Quantity::Offset { valve, .. }
        | Quantity::EdgeMargin { valve, .. }
        | Quantity::ContactPressure { valve, .. } => check_index("valve", valve, pack.bays[bay].valves.len()),
        Quantity::Height { part, .. } | Quantity::Stress { part, .. } => {
            check_index("part", part, pack.bays[bay].parts.len())
        }
        Quantity::Preload { .. } | Quantity::Play { .. } => Ok(()),
    }
}

impl Model for PackModel<'_> {
    fn inputs(&self) -> usize {
        self.stack.inputs.len()
    }

    fn responses(&self) -> usize {
        self.which.len()
    }

    fn respond(&self, x: &[f64], out: &mut [Outcome]) -> Result<(), ModelError> {
        for (outcome, ask) in out.iter_mut().zip(self.plan.queries()) {
            *outcome = self.stack.pack.evaluate(&ask.quantity, ask.condition, x);
        }
        Ok(())
    }

    fn respond_one(&self, response: usize, x: &[f64]) -> Result<Outcome, ModelError> {
        let ask = self.query(response);
        Ok(self.stack.pack.evaluate(&ask.quantity, ask.condition, x))
    }

    fn margins(&self, response: usize, x: &[f64]) -> Option<Margins> {
        let ask = self.query(response);
        let (interference, room) = match self.stack.pack.equilibrium(ask.quantity.bay(), ask.condition, x) {
            Ok(equilibrium) => (equilibrium.interference, equilibrium.room),
            Err(cannot) => (cannot.interference, cannot.room),
        };
        let excess = interference - room;
        Some(Margins { interference, excess: if excess.is_nan() { f64::INFINITY } else { excess } })
    }

    fn block_margins(&self, response: usize, x: &Columns, out: &mut BlockMargins) -> bool {
        let Some(plan) = &self.with_margins else { return false };
        let columns: Vec<&[f64]> = (0..x.columns()).map(|input| x.compact(input)).collect();
        let trials = x.trials();
        let mut block: Box<Block> = out.take(|| plan.block(trials));
        plan.evaluate(&columns, trials, &mut block);
        let Some(margins) = block.margins(response) else { return false };
        for trial in 0..trials {
            let (left, to_peak) = (margins.room_left[trial], margins.to_peak[trial]);
            out.interference[trial] = margins.interference[trial];
            // A spring washer that cannot exist: no squeeze helps.
            out.excess[trial] = if left.is_nan() { f64::INFINITY } else { -left };
            out.to_peak[trial] = if to_peak.is_nan() { f64::INFINITY } else { to_peak };
        }
        out.keep(block);
        true
    }

    fn may_pass_a_peak(&self, response: usize, lower: &[f64], upper: &[f64]) -> bool {
        let bay = &self.stack.pack.bays[self.query(response).quantity.bay()];
        bay.parts.iter().any(|part| match &part.kind {
            PartKind::Spring(SpringWasher { law: SpringLaw::Disc { thickness, cone_height, .. }, set, .. }) => {
                let steepest = set.map_or(1.0, |id| upper[id.0]) * upper[cone_height.0];
                steepest > std::f64::consts::SQRT_2 * lower[thickness.0]
            }
            _ => false,
        })
    }

    fn relief(&self, response: usize) -> Vec<usize> {
        let bay = &self.stack.pack.bays[self.query(response).quantity.bay()];
        let lengths = bay.parts.iter().flat_map(|part| part.kind.rigid_length()).map(|(id, _)| id.0);
        lengths.chain([bay.span.0]).collect()
    }

    fn alike(&self, response: usize) -> Vec<Vec<(usize, bool)>> {
        let quantity = self.query(response).quantity;
        let bay = &self.stack.pack.bays[quantity.bay()];
        // The solids before the rocker move it; the others, and the span, only change what the spring washers are squeezed by.
        let rocker = match quantity {
            Quantity::Offset { valve, .. } | Quantity::EdgeMargin { valve, .. } => bay.valves[valve].rocker,
            _ => 0,
        };
        let asked = match quantity {
            Quantity::Height { part, .. } => Some(part),
            _ => None,
        };
        let uses = self.stack.pack.uses();
        let (mut left, mut others) = (Vec::new(), vec![(bay.span.0, true)]);
        for (k, part) in bay.parts.iter().enumerate().filter(|(k, _)| Some(*k) != asked) {
            let lengths = part.kind.rigid_length().map(|(id, sign)| (id.0, sign < 0.0));
            if k < rocker { &mut left } else { &mut others }.extend(lengths);
        }
        // A dimension that is something else too acts by more than the sum.
        [left, others].map(|sum| sum.into_iter().filter(|&(input, _)| uses[input] == 1).collect()).into()
    }

    fn respond_block(&self, x: &Columns, out: &mut Responses) {
        let columns: Vec<&[f64]> = (0..x.columns()).map(|input| x.compact(input)).collect();
        let trials = x.trials();
        let mut block: Box<Block> = out.take(|| self.plan.block(trials));
        self.plan.evaluate(&columns, trials, &mut block);
        for response in 0..self.responses() {
            let (low, high) = out.ends_mut(response);
            low.copy_from_slice(block.low(response));
            high.copy_from_slice(block.high(response));
            // NaN here means that the bay cannot be assembled.
            if holds_nan(low) {
                for (low, high) in low.iter_mut().zip(high) {
                    if low.is_nan() {
                        (*low, *high) = (f64::NEG_INFINITY, f64::INFINITY);
                    }
                }
            }
        }
        out.keep(block);
    }

    fn gradient(&self, response: usize, x: &[f64], _scale: &[f64], out: &mut [f64]) -> Result<(), ModelError> {
        let ask = self.query(response);
        match self.stack.pack.gradient(&ask.quantity, ask.condition, x, out) {
            Some(_) => Ok(()),
            None => Err(ModelError::Response(format!(
                "{}: the bay cannot be assembled at these values",
                self.stack.requirements[self.which[response]].name
            ))),
        }
    }

    fn linear(&self, response: usize) -> Option<Linear> {
        let Query { quantity, condition } = self.query(response);
        let pack = &self.stack.pack;
        let form = pack.linear_form(&quantity, condition)?;
        let [interference, room_left] = self.guards(response);
        Some(Linear { plane: self.plane(&form), guards: vec![interference?, room_left?] })
    }
}
