//! One requirement: its inputs, its shares, and all that follows from them.

use super::bays::{self, BayShares};
use super::contributors::add_sobol;
use super::idle::{self, NeverBinds};
use super::moved::moved_limits;
use super::refine::{Refined, refine_shares, relative};
use super::remarks::remarks_on;
use super::run::Common;
use crate::capability::capability;
use crate::error::SpreadError;
use crate::few_readings;
use crate::first_order::{FirstOrder, first_order};
use crate::judgement::judge;
use crate::method::{MethodChoice, Question};
use crate::model::{Model, middle};
use crate::monte_carlo::Bounds;
use crate::options::{Options, Progress};
use crate::pack_model::PackModel;
use crate::population::Population;
use crate::questions::{Limits, answers, limits};
use crate::requirement_inputs::RequirementInputs;
use crate::result::{Answer, RequirementResult, Spread, WorstCase};
use crate::stack::{Requirement, Stack};
use crate::warning::Warning;
use crate::worst_case::{LimitBox, worst_case};
use packdrift_pack::QuantityKind;
use packdrift_verdict::{Verdict, loose_bay};
use rayon::prelude::*;

/// What every requirement's task works from.
pub(super) struct Setting<'a> {
    pub(super) stack: &'a Stack,
    pub(super) options: &'a Options,
    pub(super) progress: &'a dyn Progress,
    pub(super) population: &'a Population,
    pub(super) model: &'a PackModel<'a>,
    pub(super) bounds: &'a [Bounds],
    pub(super) common: &'a Common,
}

/// What one requirement's task gives.
pub(super) struct Part {
    pub(super) result: RequirementResult,
    pub(super) remarks: Vec<Warning>,
    pub(super) limits: Limits,
    pub(super) answers: Vec<Answer>,
    /// Relative standard error of its share outside.
    pub(super) accuracy: f64,
}

/// `offset, 1 exhaust (running)`.
pub(super) fn title(stack: &Stack, requirement: &Requirement) -> String {
    format!("{} ({})", requirement.name, stack.pack.conditions[requirement.condition].name)
}

impl Setting<'_> {
    fn stopped(&self) -> Result<(), SpreadError> {
        if self.progress.cancelled() { Err(SpreadError::Cancelled) } else { Ok(()) }
    }

    /// What may happen to the bay of each requirement; found once for each bay and condition.
    pub(super) fn bays(&self) -> Result<Vec<BayShares>, SpreadError> {
        let stands_for = bays::representatives(self.stack);
        let place = |k: usize| (self.stack.requirements[k].quantity.bay(), self.stack.requirements[k].condition);
        let found: Vec<Option<BayShares>> = (0..stands_for.len())
            .into_par_iter()
            .map(|k| {
                if stands_for[k] != k {
                    return Ok(None);
                }
                self.stopped()?;
                let single = self.model.only(k);
                let inputs = RequirementInputs::new(self.stack, self.population, &single.uses())?;
                let question = self.question(k, &single, &inputs);
                let of_bay = self.stack.requirements.iter().enumerate().filter(|(j, _)| place(*j) == place(k));
                let allowed = of_bay.map(|(_, r)| r.max_out).fold(1.0, f64::min);
                let bay = &self.stack.pack.bays[self.stack.requirements[k].quantity.bay()].name;
                let condition = &self.stack.pack.conditions[self.stack.requirements[k].condition].name;
                let name = format!("bay/{bay}/{condition}");
                bays::of_requirement(&question, &name, self.common, k, allowed).map(Some)
            })
            .collect::<Result<_, SpreadError>>()?;
        Ok(stands_for.into_iter().map(|k| found[k].unwrap_or_else(|| unreachable!("each stands for itself"))).collect())
    }

    fn question<'q>(&'q self, k: usize, model: &'q PackModel<'q>, inputs: &'q RequirementInputs) -> Question<'q> {
        Question { model, inputs, bounds: self.bounds[k], options: self.options, progress: self.progress }
    }

    fn shares(&self, question: &Question<'_>, k: usize, bay: &BayShares) -> Result<Refined, SpreadError> {
        let spread = self.common.spread(k);
        let requirement = &self.stack.requirements[k];
        match self.options.method {
            MethodChoice::Auto if self.options.digits.is_none() => {
                refine_shares(question, &title(self.stack, requirement), requirement.max_out, spread, bay)
            }
            _ => {
                let accuracy = relative(&spread.out, requirement.max_out);
                Ok(Refined { spread, remarks: Vec::new(), points: [None, None], accuracy })
            }
        }
    }

    /// The shares and limits alone, for allocation.
    pub(super) fn limits(&self, k: usize, bay: &BayShares) -> Result<(Spread, Limits, Vec<Warning>), SpreadError> {
        self.stopped()?;
        let single = self.model.only(k);
        let inputs = RequirementInputs::new(self.stack, self.population, &single.uses())?;
        let question = self.question(k, &single, &inputs);
        let Refined { spread, remarks, points, .. } = self.shares(&question, k, bay)?;
        let limits = limits(&question, &spread, points);
        Ok((spread, limits, remarks))
    }

    /// Everything about one requirement.
    pub(super) fn part(
        &self,
        k: usize,
        bay: &BayShares,
        ranges: &LimitBox,
        nominals: &[f64],
    ) -> Result<Part, SpreadError> {
        self.stopped()?;
        let (stack, model) = (self.stack, self.model);
        let mut first = first_order(model, k, self.population, &stack.lots)?;
        let single = model.only(k);
        let inputs = RequirementInputs::new(stack, self.population, &single.uses())?;
        if let Some(first) = &mut first {
            add_sobol(&single, &inputs.population, self.options, &mut first.contributors)?;
        }
        let question = self.question(k, &single, &inputs);
        let Refined { mut spread, mut remarks, points, accuracy } = self.shares(&question, k, bay)?;
        few_readings::clear_moments(stack, k, &single.uses(), &mut spread);
        let asked = &stack.requirements[k];
        let name = title(stack, asked);
        let nominal = model
            .respond_one(k, nominals)
            .map_err(|source| SpreadError::Model { what: format!("{name} at the nominals"), source })?;
        let worst = worst_case(model, k, &ranges.only(&single.uses()))?;
        let never_binds = idle::limits(stack, k, &worst, nominals);
        let mut result = requirement_result(stack, k, middle(nominal), worst, first.as_ref(), spread, self.bounds[k]);
        let loose = loose_rule(stack, asked, bay);
        result.doubts = loose.into_iter().chain(never_binds.iter().map(NeverBinds::verdict)).collect();
        if self.options.moved_limits && self.bounds[k] != Bounds::NONE {
            let past_peak = bay.past_peak.map_or(0.0, |past| past.at_most());
            result.moved = Some(moved_limits(&question, stack, k, &result.spread.out, past_peak)?);
        }
        result.verdict = result.verdict.map(|verdict| result.doubts.iter().cloned().fold(verdict, Verdict::and));
        result.acceptable = result.verdict.as_ref().is_none_or(Verdict::is_shown);
        remarks.extend(never_binds.iter().map(NeverBinds::warning));
        result.never_binds = never_binds;
        let condition = &stack.pack.conditions[asked.condition].name;
        let bay = format!("{} ({condition})", stack.pack.bays[asked.quantity.bay()].name);
        let widened = first.as_ref().and_then(|first| few_readings::widened(stack, self.population, first));
        remarks.extend(remarks_on(&name, &bay, &result, self.common.partial().outside(k), widened));
        let limits = limits(&question, &result.spread, points);
        let answers = answers(&question, &limits, &result.contributors, &result.spread, result.target, result.max_out);
        Ok(Part { result, remarks, limits, answers, accuracy })
    }
}

/// What a spring washer does is not shown to be right by packs in which it presses on nothing. A limit on play says that play is meant.
pub(super) fn loose_rule(stack: &Stack, asked: &Requirement, bay: &BayShares) -> Option<Verdict> {
    let by_washer =
        matches!(asked.quantity.kind(), QuantityKind::Preload | QuantityKind::Height | QuantityKind::Stress);
    let place = |r: &Requirement| (r.quantity.bay(), r.condition);
    let play_is_meant = stack.requirements.iter().any(|other| {
        place(other) == place(asked)
            && other.quantity.kind() == QuantityKind::Play
            && other.upper.is_some_and(|play| play > 0.0)
    });
    let sprung = stack.pack.bays[asked.quantity.bay()].has_spring();
    if !by_washer || !sprung || play_is_meant {
        return None;
    }
    loose_bay(bay.loose.share.value, bay.loose.at_most(), asked.max_out)
}

fn requirement_result(
    stack: &Stack,
    k: usize,
    nominal: Option<f64>,
    worst_case: WorstCase,
    first: Option<&FirstOrder>,
    spread: Spread,
    bounds: Bounds,
) -> RequirementResult {
    let requirement = &stack.requirements[k];
    let kind = requirement.quantity.kind();
    let middle = requirement.lower.zip(requirement.upper).map(|(lower, upper)| 0.5 * (lower + upper));
    let verdict = (bounds != Bounds::NONE).then(|| judge(&spread.out, requirement.max_out));
    RequirementResult {
        name: requirement.name.clone(),
        quantity: kind,
        point: match requirement.quantity {
            packdrift_pack::Quantity::Stress { point, .. } => Some(point),
            _ => None,
        },
        condition: stack.pack.conditions[requirement.condition].name.clone(),
        unit: kind.unit(),
        lower: requirement.lower,
        upper: requirement.upper,
        target: requirement.target.or(middle),
        max_out: requirement.max_out,
        nominal,
        worst_case,
        root_sum_square: first.map(|first| first.result),
        capability: capability(&spread, bounds, first.map_or(0.0, |first| first.lot_share)),
        contributors: first.map(|first| first.contributors.clone()).unwrap_or_default(),
        acceptable: verdict.as_ref().is_none_or(Verdict::is_shown),
        verdict,
        doubts: Vec::new(),
        never_binds: Vec::new(),
        spread,
        moved: None,
    }
}
