//! `sampling`: how many parts to measure, and when to accept.

use crate::args::{Delivery, Machine, TableOptions};
use crate::command::drawing::DrawingOptions;
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope};
use clap::{Args, ValueEnum};
use packdrift_lot::posterior::SpecificationLimits;
use packdrift_lot::sampling::attributes;
use packdrift_lot::sampling::history::{self, BeginAgain};
use packdrift_lot::sampling::standard::{self, Level, Severity, StandardPlan};
use packdrift_lot::sampling::switching::Reduced;
use packdrift_lot::sampling::variables::{self, Sides, Sigma};
use packdrift_lot::sampling::{OperatingPoint, RiskPoints, all_far_outside, never_binding};
use packdrift_lot::{Drawing, Readings};
use packdrift_records as records;
use packdrift_report::number::counted;
use packdrift_report::sampling::{self as report, LotVerdict, Plan};
use packdrift_report::{Envelope, Figure, Lengths, Table};
use packdrift_verdict::{Evidence, Verdict as Judged};
use serde::Serialize;
use std::path::PathBuf;

/// Options of `sampling`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift sampling --producer-quality 0.005 --consumer-quality 0.03 --lot-size 400
  packdrift sampling --by variables --lower 0.57 --upper 0.63
  packdrift sampling --limit 1 --lot-size 400 --history deliveries.csv")]
pub(crate) struct Sampling {
    /// Count parts outside, or use mean and standard deviation.
    #[arg(long, help_heading = "A plan by two points of risk", value_enum, default_value_t = KindName::Attributes)]
    by: KindName,
    /// Share outside of a lot that the supplier may rely on being accepted.
    #[arg(long, help_heading = "A plan by two points of risk", value_name = "SHARE", default_value_t = 0.01)]
    producer_quality: f64,
    /// Chance of refusing it all the same.
    #[arg(long, help_heading = "A plan by two points of risk", value_name = "P", default_value_t = 0.05)]
    producer_risk: f64,
    /// Share outside of a lot that the buyer wants to be kept from.
    #[arg(long, help_heading = "A plan by two points of risk", value_name = "SHARE", default_value_t = 0.05)]
    consumer_quality: f64,
    /// Chance of accepting it all the same.
    #[arg(long, help_heading = "A plan by two points of risk", value_name = "P", default_value_t = 0.10)]
    consumer_risk: f64,
    /// Parts in the lot; without it, a process or a large lot.
    #[arg(long, help_heading = "A plan by two points of risk", value_name = "N")]
    lot_size: Option<u64>,
    /// By variables: the standard deviation known from long experience.
    #[arg(long, help_heading = "A plan by two points of risk", value_name = "LENGTH")]
    sigma: Option<f64>,
    /// Look a standard plan up by lot size instead: the acceptance quality limit in percent.
    #[arg(
        long,
        help_heading = "A standard plan by lot size",
        value_name = "PERCENT",
        requires = "lot_size",
        conflicts_with_all = ["producer_quality", "producer_risk", "consumer_quality", "consumer_risk"]
    )]
    limit: Option<f64>,
    /// Inspection level of the standard plan: 1, 2, 3, or S-1 to S-4.
    #[arg(
        long,
        help_heading = "A standard plan by lot size",
        value_name = "LEVEL",
        default_value = "2",
        requires = "limit"
    )]
    level: String,
    /// Tightened inspection.
    #[arg(long, help_heading = "A standard plan by lot size", requires = "limit")]
    tightened: bool,
    /// Reduced inspection; with --history: production is steady and you agree to it once the rules permit it.
    #[arg(long, help_heading = "A standard plan by lot size", requires = "limit", conflicts_with = "tightened")]
    reduced: bool,
    /// Readings to judge by the plan (CSV, Parquet or XLSX).
    #[arg(long, help_heading = "Lots to judge", value_name = "FILE")]
    readings: Option<PathBuf>,
    /// Deliveries in a row (CSV, Parquet or XLSX: columns lot, outside, and lot_size where it differs), under the switching rules: what holds next.
    #[arg(
        long,
        help_heading = "Lots to judge",
        value_name = "FILE",
        requires = "limit",
        conflicts_with_all = ["tightened", "readings"]
    )]
    history: Option<PathBuf>,
    /// With --history, after a stop: inspection begins again, tightened, with this delivery; `next`: with the next to come. The supplier has mended
    /// the cause.
    #[arg(long, help_heading = "Lots to judge", value_name = "LOT|next", requires = "history")]
    begin_again: Vec<String>,
    #[command(flatten)]
    drawing: DrawingOptions,
    #[command(flatten)]
    tables: TableOptions,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum KindName {
    Attributes,
    Variables,
}

/// A plan and what came of it.
struct Planned {
    envelope: Envelope,
    result: report::Sampling,
}

impl Sampling {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let mut inputs = Vec::new();
        let mut notices = Vec::new();
        let mut questions = Vec::new();
        let drawing = self.drawing.read(&mut inputs, &mut notices)?;
        drawing.check()?;
        let risks = RiskPoints {
            producer_quality: self.producer_quality,
            producer_risk: self.producer_risk,
            consumer_quality: self.consumer_quality,
            consumer_risk: self.consumer_risk,
        };
        let mut result = self.plan(&risks, &drawing)?;
        result.lengths = self.drawing.shown(None);
        if let Some(path) = &self.readings {
            let loaded =
                records::read_readings(path, records::Study::Lots, self.drawing.units(), &self.tables.reading(None))?;
            inputs.extend(loaded.inputs);
            notices.extend(loaded.notices);
            result.verdicts = verdicts(&loaded.value, &result.plan, &drawing)?;
            questions.extend(another_unit(&loaded.value, &drawing));
        }
        if let (Some(path), Some(limit), Some(lot_size)) = (&self.history, self.limit, self.lot_size) {
            let loaded = records::read_history(path, lot_size, &self.tables.reading(None))?;
            inputs.extend(loaded.inputs);
            notices.extend(loaded.notices);
            let reduced = if self.reduced { Reduced::Agreed } else { Reduced::NotAgreed };
            let again: Vec<BeginAgain> = self
                .begin_again
                .iter()
                .map(|lot| if lot == "next" { BeginAgain::WithNext } else { BeginAgain::With(lot.clone()) })
                .collect();
            let history = history::judge_again(&loaded.value, level(&self.level)?, limit, reduced, &again)?;
            if let Some(next) = &history.next_plan {
                result = report::Sampling { lengths: result.lengths, ..standard_result(next, limit, &risks)? };
            }
            result.history = Some(history);
        }
        let envelope = envelope("sampling", &inputs, None, &notices, questions);
        let acceptable = result.acceptable();
        deliver(&Planned { envelope, result }, &self.delivery)?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }

    fn plan(&self, risks: &RiskPoints, drawing: &Drawing) -> Result<report::Sampling, Failure> {
        if let (Some(limit), Some(lot_size)) = (self.limit, self.lot_size) {
            if self.by == KindName::Variables {
                return Err(Failure::Refused(
                    "standard plans by variables are not tabulated here: give two points of risk instead of --limit"
                        .into(),
                ));
            }
            let severity = match (self.tightened, self.reduced && self.history.is_none()) {
                (true, _) => Severity::Tightened,
                (_, true) => Severity::Reduced,
                _ => Severity::Normal,
            };
            return standard_result(&standard::look_up(lot_size, level(&self.level)?, limit, severity)?, limit, risks);
        }
        let origin = "Computed from the two points of risk, exactly.".to_owned();
        match self.by {
            KindName::Attributes => {
                if self.sigma.is_some() {
                    return Err(Failure::Refused(
                        "--sigma has no meaning for a plan by attributes; add --by variables".into(),
                    ));
                }
                let plan = attributes::find(risks, self.lot_size)?;
                Ok(answer(Some(*risks), origin, Plan::Attributes(plan), plan.curve(risks)))
            }
            KindName::Variables => {
                if self.lot_size.is_some() {
                    return Err(Failure::Refused(
                        "--lot-size has no meaning for a plan by variables, which judges the process behind the lot"
                            .into(),
                    ));
                }
                let sides = match (drawing.lower, drawing.upper) {
                    (Some(lower), Some(upper)) => Sides::Two { lower, upper },
                    _ => Sides::One,
                };
                let plan = variables::find(
                    risks,
                    self.sigma.map_or(Sigma::Unknown, |sigma| Sigma::Known(self.drawing.mm(sigma))),
                    sides,
                )?;
                Ok(answer(Some(*risks), origin, Plan::Variables(plan), plan.curve(risks)))
            }
        }
    }
}

fn answer(risks: Option<RiskPoints>, origin: String, plan: Plan, curve: Vec<OperatingPoint>) -> report::Sampling {
    report::Sampling { risks, origin, plan, curve, verdicts: Vec::new(), history: None, lengths: Lengths::default() }
}

/// A standard plan as the result, its curve drawn from a tenth of the limit to well beyond it.
fn standard_result(found: &StandardPlan, limit: f64, risks: &RiskPoints) -> Result<report::Sampling, Failure> {
    let scale = RiskPoints { producer_quality: limit / 100.0, consumer_quality: limit / 20.0, ..*risks };
    Ok(answer(None, report::origin(found, limit)?, Plan::Attributes(found.plan), found.plan.curve(&scale)))
}

fn level(text: &str) -> Result<Level, Failure> {
    match text.to_ascii_uppercase().as_str() {
        "1" | "I" => Ok(Level::I),
        "2" | "II" => Ok(Level::II),
        "3" | "III" => Ok(Level::III),
        "S-1" | "S1" => Ok(Level::Special(1)),
        "S-2" | "S2" => Ok(Level::Special(2)),
        "S-3" | "S3" => Ok(Level::Special(3)),
        "S-4" | "S4" => Ok(Level::Special(4)),
        other => Err(Failure::Refused(format!("`{other}` is no inspection level: give 1, 2, 3, or S-1 to S-4"))),
    }
}

/// The question that lots ask whose every part lies far outside.
fn another_unit(readings: &Readings, drawing: &Drawing) -> Option<String> {
    let limits = SpecificationLimits::of(*drawing)?;
    let sizes = readings.measured_parts().into_iter().map(|parts| parts.iter().map(|part| part.value).collect());
    let far = |sizes: &Vec<f64>| all_far_outside(sizes, limits);
    let lots: Vec<&str> =
        readings.lots.iter().zip(sizes).filter(|(_, sizes)| far(sizes)).map(|(name, _)| name.as_str()).collect();
    (!lots.is_empty()).then(|| {
        format!(
            "every part of {} lies outside, at a fifth of a limit or less, or at five times and more: are the limits in the unit of the readings (--units), and the \
             decimal points right?",
            lots.join(", ")
        )
    })
}

/// Each lot's parts by the plan; their number must be the plan's.
fn verdicts(readings: &Readings, plan: &Plan, drawing: &Drawing) -> Result<Vec<LotVerdict>, Failure> {
    let limits = SpecificationLimits::of(*drawing).ok_or_else(|| {
        Failure::Refused("readings can only be judged against limits: give --lower, --upper or --drawing".into())
    })?;
    readings.check()?;
    let mut found = Vec::new();
    for (name, parts) in readings.lots.iter().zip(readings.measured_parts()) {
        let values: Vec<f64> = parts.iter().map(|part| part.value).collect();
        found.push(match plan {
            Plan::Attributes(plan) => {
                if values.len() as u64 != plan.sample_size {
                    return Err(Failure::Refused(format!(
                        "lot `{name}` has readings of {}, but the plan asks for {}",
                        counted(values.len(), "part"),
                        plan.sample_size
                    )));
                }
                let outside = values.iter().filter(|x| limits.is_outside(**x)).count() as u64;
                let counted = Evidence::at_most("parts outside", plan.acceptance_number as f64);
                let verdict = counted.exact(outside as f64).judge();
                // Inside a limit that can never bind is no part shown to be good.
                let slip = never_binding(&values, limits);
                let verdict = slip.into_iter().fold(verdict, |verdict, slip| {
                    verdict.and(Judged::not_shown(slip.reason()).settled_by(slip.remedy()))
                });
                LotVerdict { lot: name.clone(), outside: Some(outside), variables: None, verdict }
            }
            Plan::Variables(plan) => {
                let found = plan.judge(&values, limits.lower, limits.upper)?;
                let (outside, verdict) = (Some(found.outside), plan.verdict(&found));
                LotVerdict { lot: name.clone(), outside, variables: Some(found), verdict }
            }
        });
    }
    Ok(found)
}

impl Report for Planned {
    fn text(&self) -> String {
        report::text(&self.result)
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, &self.result)
    }

    fn tables(&self) -> Vec<Table> {
        report::tables(&self.result)
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        report::figures(&self.result)
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, &self.result)
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }
}
