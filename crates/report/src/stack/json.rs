//! The stack as JSON, documented in docs/results.md. Requirements stand in the file's order.

use super::order;
use crate::envelope::{Document, Envelope};
use packdrift_spread::{
    Answer, CapabilityForm, Change, Contributor, Estimate, Joint, Quantile, RequirementResult, Share, Spread,
    StackResult, Together,
};
use packdrift_verdict::{STACK, Verdict};
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

/// The stack under its envelope; serialise it with `serde_json`, which writes null for what is not finite.
pub fn json<'a>(envelope: &'a Envelope, result: &'a StackResult) -> Document<'a, impl Serialize + 'a> {
    envelope.around(StackForm {
        acceptable: result.acceptable(),
        verdict: result.verdict().as_ref().map(VerdictForm::new),
        accuracy: result.accuracy.map(|accuracy| AccuracyForm {
            asked: accuracy.asked,
            reached: accuracy.reached,
            is_reached: accuracy.is_reached(),
        }),
        requirements: result.requirements.iter().map(|r| RequirementForm::new(r, order::answers(result, r))).collect(),
        length_unit: result.length_unit,
        joint: result.joint.as_ref().map(JointForm::new),
        together: result.questions.together.iter().map(|t| TogetherForm::new(result, t)).collect(),
        changes: result.questions.changes.iter().map(ChangeForm::new).collect(),
        run: RunForm {
            algorithm: result.run.algorithm,
            trials: result.run.trials,
            failed: FailedForm { trials: result.run.failed.trials, first: &result.run.failed.first },
        },
    })
}

#[derive(Serialize)]
struct StackForm<'a> {
    acceptable: bool,
    verdict: Option<VerdictForm>,
    accuracy: Option<AccuracyForm>,
    requirements: Vec<RequirementForm<'a>>,
    length_unit: &'static str,
    joint: Option<JointForm<'a>>,
    together: Vec<TogetherForm<'a>>,
    changes: Vec<ChangeForm<'a>>,
    run: RunForm<'a>,
}

/// A verdict: its word, why, and what would settle it.
#[derive(Serialize)]
pub(crate) struct VerdictForm {
    word: &'static str,
    reasons: Vec<String>,
    settled_by: Option<String>,
}

impl VerdictForm {
    pub(crate) fn new(verdict: &Verdict) -> Self {
        Self {
            word: verdict.word(&STACK),
            reasons: verdict.reasons().to_vec(),
            settled_by: verdict.what_settles_it().map(str::to_owned),
        }
    }
}

#[derive(Serialize)]
struct AccuracyForm {
    asked: f64,
    reached: f64,
    is_reached: bool,
}

#[derive(Serialize)]
struct RunForm<'a> {
    algorithm: &'a str,
    trials: u64,
    failed: FailedForm<'a>,
}

#[derive(Serialize)]
struct FailedForm<'a> {
    trials: u64,
    first: &'a [String],
}

#[derive(Serialize)]
struct RequirementForm<'a> {
    name: &'a str,
    quantity: &'static str,
    point: Option<&'static str>,
    condition: &'a str,
    unit: &'static str,
    lower: Option<f64>,
    upper: Option<f64>,
    target: Option<f64>,
    max_out: f64,
    nominal: Option<f64>,
    worst_case: WorstCaseForm,
    root_sum_square: Option<RootSumSquareForm>,
    monte_carlo: SpreadForm<'a>,
    capability: CapabilityIndices,
    contributors: Vec<ContributorForm<'a>>,
    acceptable: bool,
    verdict: Option<VerdictForm>,
}

#[derive(Serialize)]
struct WorstCaseForm {
    min: Option<f64>,
    max: Option<f64>,
    loose: bool,
    cannot_assemble: bool,
}

#[derive(Serialize)]
struct RootSumSquareForm {
    mean: f64,
    sd: f64,
}

#[derive(Serialize)]
struct SpreadForm<'a> {
    trials: u64,
    mean: Option<f64>,
    sd: Option<f64>,
    standard_error: Option<f64>,
    quantiles: Quantiles<'a>,
    quantile_standard_errors: QuantileErrors<'a>,
    method: String,
    moments_method: String,
    out: ShareForm,
    cannot_assemble: f64,
    loose: f64,
}

#[derive(Serialize)]
struct ShareForm {
    below: f64,
    above: f64,
    total: f64,
    standard_error: f64,
    ci95: (f64, f64),
    bounds: (f64, f64),
}

#[derive(Serialize)]
struct CapabilityIndices {
    #[serde(rename = "Cp")]
    cp: Option<f64>,
    #[serde(rename = "Cpk")]
    cpk: Option<f64>,
    #[serde(rename = "Pp")]
    pp: Option<f64>,
    #[serde(rename = "Ppk")]
    ppk: Option<f64>,
    form: &'static str,
}

#[derive(Serialize)]
struct ContributorForm<'a> {
    dimension: &'a str,
    sensitivity: f64,
    variance_share: f64,
    sobol_first: Option<f64>,
    sobol_total: Option<f64>,
    sobol_first_se: Option<f64>,
    sobol_total_se: Option<f64>,
    may_open: Option<f64>,
    does_not_matter: bool,
    out_if_perfect: Option<f64>,
    cost_in_out: Option<f64>,
    shift_to_centre: Option<f64>,
    out_if_shifted: Option<f64>,
}

/// A pair of requirements, named `[name, condition]`.
#[derive(Serialize)]
struct TogetherForm<'a> {
    first: [&'a str; 2],
    second: [&'a str; 2],
    correlation: Option<f64>,
    rank_correlation: Option<f64>,
    both_out: f64,
    either_out: f64,
}

#[derive(Serialize)]
struct ChangeForm<'a> {
    name: &'a str,
    from: &'a str,
    to: &'a str,
    nominal: Option<f64>,
    mean: Option<f64>,
    sd: Option<f64>,
    out: f64,
}

#[derive(Serialize)]
struct JointForm<'a> {
    out: JointOut,
    sum_of_shares: f64,
    correlation: &'a [Vec<Option<f64>>],
}

#[derive(Serialize)]
struct JointOut {
    total: f64,
    standard_error: f64,
    ci95: (f64, f64),
    bound: f64,
}

/// Keyed by the order, as `"0.025"`.
struct Quantiles<'a>(&'a [Quantile]);

impl Serialize for Quantiles<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for quantile in self.0 {
            map.serialize_entry(&quantile.order.to_string(), &quantile.value)?;
        }
        map.end()
    }
}

/// As [`Quantiles`], of the standard errors.
struct QuantileErrors<'a>(&'a [Quantile]);

impl Serialize for QuantileErrors<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for quantile in self.0 {
            map.serialize_entry(&quantile.order.to_string(), &quantile.standard_error)?;
        }
        map.end()
    }
}

impl<'a> RequirementForm<'a> {
    fn new(r: &'a RequirementResult, answers: &'a [Answer]) -> Self {
        Self {
            name: &r.name,
            quantity: r.quantity.name(),
            point: r.point.map(packdrift_pack::StressPoint::name),
            condition: &r.condition,
            unit: r.unit,
            lower: r.lower,
            upper: r.upper,
            target: r.target,
            max_out: r.max_out,
            nominal: r.nominal,
            worst_case: WorstCaseForm {
                min: r.worst_case.min,
                max: r.worst_case.max,
                loose: r.worst_case.loose,
                cannot_assemble: r.worst_case.cannot_assemble,
            },
            root_sum_square: r.root_sum_square.map(|s| RootSumSquareForm { mean: s.mean, sd: s.sd }),
            monte_carlo: SpreadForm::new(&r.spread),
            capability: CapabilityIndices {
                cp: r.capability.cp,
                cpk: r.capability.cpk,
                pp: r.capability.pp,
                ppk: r.capability.ppk,
                form: form_name(r.capability.form),
            },
            contributors: r
                .contributors
                .iter()
                .enumerate()
                .map(|(k, c)| ContributorForm::new(c, answers.get(k)))
                .collect(),
            acceptable: r.acceptable,
            verdict: r.verdict.as_ref().map(VerdictForm::new),
        }
    }
}

/// `normal` or `percentile`.
pub(super) fn form_name(form: CapabilityForm) -> &'static str {
    match form {
        CapabilityForm::Normal => "normal",
        CapabilityForm::Percentile => "percentile",
    }
}

impl<'a> SpreadForm<'a> {
    fn new(s: &'a Spread) -> Self {
        Self {
            trials: s.trials,
            mean: s.mean,
            sd: s.sd,
            standard_error: s.standard_error,
            quantiles: Quantiles(&s.quantiles),
            quantile_standard_errors: QuantileErrors(&s.quantiles),
            method: s.method.to_string(),
            moments_method: s.moments_method.to_string(),
            out: ShareForm::new(&s.out),
            cannot_assemble: s.cannot_assemble,
            loose: s.loose,
        }
    }
}

impl ShareForm {
    fn new(s: &Share) -> Self {
        Self {
            below: s.below,
            above: s.above,
            total: s.total,
            standard_error: s.standard_error,
            ci95: s.ci95,
            bounds: s.bounds,
        }
    }
}

impl<'a> ContributorForm<'a> {
    fn new(c: &'a Contributor, answer: Option<&Answer>) -> Self {
        let value = |e: Option<Estimate>| e.map(|e| e.value);
        let error = |e: Option<Estimate>| e.map(|e| e.standard_error);
        Self {
            dimension: &c.dimension,
            sensitivity: c.sensitivity,
            variance_share: c.variance_share,
            sobol_first: value(c.sobol_first),
            sobol_total: value(c.sobol_total),
            sobol_first_se: error(c.sobol_first),
            sobol_total_se: error(c.sobol_total),
            may_open: answer.and_then(|a| a.may_open),
            does_not_matter: answer.is_some_and(|a| a.may_open.is_some_and(f64::is_infinite)),
            out_if_perfect: answer.and_then(|a| a.out_if_perfect),
            cost_in_out: answer.and_then(|a| a.share_outside_due_to),
            shift_to_centre: answer.and_then(|a| a.shift_to_centre),
            out_if_shifted: answer.and_then(|a| a.out_if_shifted),
        }
    }
}

impl<'a> TogetherForm<'a> {
    fn new(result: &'a StackResult, t: &Together) -> Self {
        let name = |i: usize| result.requirements.get(i).map_or([""; 2], |r| [r.name.as_str(), r.condition.as_str()]);
        Self {
            first: name(t.first),
            second: name(t.second),
            correlation: t.correlation,
            rank_correlation: t.rank_correlation,
            both_out: t.both_out,
            either_out: t.either_out,
        }
    }
}

impl<'a> ChangeForm<'a> {
    fn new(c: &'a Change) -> Self {
        Self { name: &c.name, from: &c.from, to: &c.to, nominal: c.nominal, mean: c.mean, sd: c.sd, out: c.out }
    }
}

impl<'a> JointForm<'a> {
    fn new(j: &'a Joint) -> Self {
        Self {
            out: JointOut { total: j.out.value, standard_error: j.out.standard_error, ci95: j.ci95, bound: j.bound },
            sum_of_shares: j.sum,
            correlation: &j.correlation,
        }
    }
}
