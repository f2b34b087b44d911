//! `due INSPECTIONS`: when each engine is due for re-shimming, in which service window, with which corrections.

use crate::args::{Delivery, Machine, TableOptions, UnitName, date};
use crate::command::trend::{ModelName, both, strangers};
use crate::exit::{Failure, Verdict};
use crate::output::{Report, deliver, envelope};
use crate::progress::Progress;
use clap::Args;
use packdrift_due::{Built, Comparison, DueOptions, DueResult, Planner, Scenario, StartingOffset};
use packdrift_pack::Quantity;
use packdrift_records as records;
use packdrift_records::{InputFile, Notice, ScenarioTerms};
use packdrift_report::{Envelope, Figure, Table, due as report};
use packdrift_spread::{Requirement, Stack};
use packdrift_trend::{Inspections, Options, Policy, trend};
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// Options of `due`.
#[derive(Debug, Args)]
#[command(before_help = "\
Examples:
  packdrift due inspections.csv --policy policy.toml
  packdrift due inspections.csv --policy policy.toml --pack pack.toml --out plan
  packdrift due inspections.csv --policy policy.toml --scenario busy.toml")]
pub(crate) struct Due {
    /// The inspection records (CSV, Parquet or XLSX).
    inspections: PathBuf,
    /// The policy file (TOML): damage zone, risk, horizon, usage, service windows, costs.
    #[arg(long, help_heading = "The plan", value_name = "FILE")]
    policy: PathBuf,
    /// The pack file (TOML): what a valve's offset starts with after it is built or re-shimmed. Without it: the fleet's own starts.
    #[arg(long, help_heading = "The plan", value_name = "FILE")]
    pack: Option<PathBuf>,
    /// The day the plan is made (ISO 8601). Unless given: the day of the last reading, so that the same files give the same plan.
    #[arg(long, help_heading = "The plan", value_name = "DATE", value_parser = date)]
    today: Option<i32>,
    /// An engine built on a day and not read since; new to the inspections or not. May be given several times.
    #[arg(
        long,
        help_heading = "Work done since the last reading",
        value_name = "ENGINE=DATE",
        value_parser = engine_and_date
    )]
    built: Vec<(String, i32)>,
    /// An engine re-shimmed on a day and not read since: its offsets start anew, other wear goes on. May be given several times.
    #[arg(
        long,
        help_heading = "Work done since the last reading",
        value_name = "ENGINE=DATE",
        value_parser = engine_and_date
    )]
    reshimmed: Vec<(String, i32)>,
    /// The inspections' name of the contact offset, which shims correct.
    #[arg(long, help_heading = "The plan", value_name = "NAME", default_value = "contact_offset")]
    feature: String,
    /// Unit of the inspections' lengths, of --target and of all that is shown, whatever the pack's; the policy's limits in mm or in are brought to it. Unless given,
    /// limits are taken as they stand, and the contact offset is in the unit that its limits have.
    #[arg(long, help_heading = "The plan", value_name = "mm|in", value_enum)]
    units: Option<UnitName>,
    /// The aim of the contact offset. Unless given: the pack's targets, else the middle of the policy's limits.
    #[arg(long, help_heading = "The plan", value_name = "OFFSET", allow_negative_numbers = true)]
    target: Option<f64>,
    /// Other decisions (TOML) to look at beside today's plan, by the same forecasts. May be given several times.
    #[arg(long, help_heading = "Beside the plan", value_name = "FILE")]
    scenario: Vec<PathBuf>,
    /// Engines whose latest date has passed wait for a window and take its first places, instead of being done at once.
    #[arg(long, help_heading = "The plan")]
    late_in_windows: bool,
    /// Months to look ahead if nothing is done.
    #[arg(
        long,
        help_heading = "The plan",
        value_name = "N",
        default_value_t = 24,
        value_parser = clap::value_parser!(u16).range(1..=120)
    )]
    months: u16,
    /// Write the plan as a calendar (iCalendar) to this file; --out writes it to calendar.ics.
    #[arg(long, help_heading = "Output", value_name = "FILE")]
    ics: Option<PathBuf>,
    /// The wear model; `auto` averages over what the readings leave open, a gamma process beside by the weight that its forecasts earn.
    #[arg(long, help_heading = "The model", value_enum, default_value_t = ModelName::Auto)]
    model: ModelName,
    /// Seed of the points over which the variances' own uncertainty is averaged.
    #[arg(long, help_heading = "The model", value_name = "N")]
    seed: Option<u64>,
    #[command(flatten)]
    tables: TableOptions,
    #[command(flatten)]
    delivery: Delivery,
    #[command(flatten)]
    machine: Machine,
}

fn engine_and_date(written: &str) -> Result<(String, i32), String> {
    // The last `=`: an engine's name may have one.
    let (engine, day) = written.rsplit_once('=').ok_or("expected ENGINE=DATE, such as P07=2027-03-01")?;
    if engine.trim().is_empty() {
        return Err("expected the engine's name before `=`".to_owned());
    }
    Ok((engine.trim().to_owned(), date(day)?))
}

/// A fleet and its plan.
struct Planned {
    envelope: Envelope,
    result: DueResult,
    comparison: Option<Comparison>,
    policy: Policy,
    /// What a reading after the work is held against; empty without a pack.
    cold: report::ColdLimits,
    /// Where the calendar is wanted, too.
    ics: Option<PathBuf>,
}

impl Planned {
    fn shown(&self) -> report::Planned<'_> {
        report::Planned { result: &self.result, comparison: self.comparison.as_ref() }
    }
}

impl Due {
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        self.machine.apply()?;
        let progress = Progress::new("reading");
        let lengths = self.units.map(UnitName::unit);
        let policy = records::read_policy_in(&self.policy, lengths);
        let reading = records::Options { lengths, ..self.tables.reading(self.today) };
        let inspections = records::read_inspections(&self.inspections, &reading);
        let (inspections, policy) = both(inspections, policy)?;
        let pack = self.pack.as_deref().map(records::read_stack).transpose()?;
        drop(progress);
        let mut inputs = [inspections.inputs, policy.inputs].concat();
        let mut notices = [inspections.notices, policy.notices].concat();
        let defaults = Options::default();
        let seed = self.seed.unwrap_or(defaults.seed);
        let mut options = DueOptions {
            today: self.today,
            offset_feature: self.feature.clone(),
            target: self.target,
            late_in_windows: self.late_in_windows,
            months: usize::from(self.months),
            ..DueOptions::default()
        };
        let work = |list: &[(String, i32)], shims_only| -> Vec<Built> {
            list.iter().map(|(engine, day)| Built { engine: engine.clone(), day: *day, shims_only }).collect()
        };
        options.built = [work(&self.built, false), work(&self.reshimmed, true)].concat();
        let mut cold = report::ColdLimits::new();
        if let Some(pack) = pack {
            inputs.extend(pack.inputs);
            notices.extend(pack.notices);
            let progress = Progress::new("spreading");
            let fresh = starts(&pack.value, seed, &progress)?.in_unit(self.unit_of_offsets(&policy.value));
            options.starts = fresh.starts;
            cold = fresh.limits;
            if self.target.is_none() {
                options.targets = fresh.targets;
            }
        }
        let scenarios = self.scenarios(&inspections.value, &policy.value, &options, &mut inputs, &mut notices)?;
        let progress = Progress::new("fitting");
        // The due dates need no series for figures. The words of valves are those of `trend` on the same day.
        let today = Some(self.day(&inspections.value));
        let trend_options =
            Options { model: self.model.into(), seed, series_up_to: 0, today, watch: progress.watch(), ..defaults };
        let strangers = strangers(&inspections.value.engines, &inspections.value.features, &policy.value)?;
        let fitted = trend(&inspections.value, Some(&policy.value), &trend_options)?;
        drop(progress);
        let progress = Progress::new("planning");
        let told = |done, total| packdrift_spread::Progress::advance(&progress, done, total);
        let planner = Planner::new(&inspections.value, &fitted, &policy.value, &options, &scenarios, &told)
            .map_err(Failure::refused)?;
        let result = planner.plan();
        let comparison = (!scenarios.is_empty()).then(|| planner.compare());
        drop(progress);
        let warnings = strangers
            .into_iter()
            .chain(fitted.warnings.iter().map(ToString::to_string))
            .chain(result.warnings.iter().map(ToString::to_string))
            .collect::<Vec<_>>();
        let envelope = envelope("due", &inputs, Some(seed), &notices, warnings);
        let acceptable = result.verdict().exit_status() == 0;
        let planned = Planned { envelope, result, comparison, policy: policy.value.clone(), cold, ics: self.ics };
        deliver(&planned, &self.delivery)?;
        Ok(if acceptable { Verdict::Acceptable } else { Verdict::NotAcceptable })
    }
}

impl Due {
    /// The unit that was asked for, else that of the contact offset's limits.
    fn unit_of_offsets(&self, policy: &Policy) -> UnitName {
        let in_inches = policy.features.get(&self.feature).is_some_and(|limits| limits.unit == "in");
        self.units.unwrap_or(if in_inches { UnitName::In } else { UnitName::Mm })
    }

    /// The day of the plan: the day asked for, else that of the last reading or of work named on the command line.
    fn day(&self, table: &Inspections) -> i32 {
        let last = table.day.iter().copied().max().unwrap_or_default();
        let work = self.built.iter().chain(&self.reshimmed).map(|(_, day)| *day);
        self.today.unwrap_or_else(|| work.fold(last, i32::max))
    }

    /// The scenarios, held against the fleet: mistakes of all files in one run.
    fn scenarios(
        &self,
        table: &Inspections,
        policy: &Policy,
        options: &DueOptions,
        inputs: &mut Vec<InputFile>,
        notices: &mut Vec<Notice>,
    ) -> Result<Vec<Scenario>, Failure> {
        let new = options.built.iter().map(|b| &b.engine).filter(|name| !table.engines.contains(name));
        let engines: Vec<String> = table.engines.iter().chain(new).cloned().collect();
        let today = self.day(table);
        let terms = ScenarioTerms { engines: &engines, policy, today };
        let mut scenarios = Ok(Vec::new());
        for path in &self.scenario {
            let read = records::read_scenario(path, Some(terms));
            let (mut before, one) = match (scenarios, read) {
                (Ok(before), Ok(one)) => (before, one),
                (before, one) => {
                    // What both files are is of no use where either has a mistake.
                    scenarios = mistakes(before, one);
                    continue;
                }
            };
            inputs.extend(one.inputs);
            notices.extend(one.notices);
            before.push(one.value);
            scenarios = Ok(before);
        }
        Ok(scenarios?)
    }
}

/// The mistakes of either or both.
fn mistakes<A, B>(a: Result<A, records::Error>, b: Result<B, records::Error>) -> Result<A, records::Error> {
    match (a, b) {
        (Err(records::Error::Input(mut a)), Err(records::Error::Input(b))) => {
            a.merge(b);
            Err(a.into())
        }
        (Err(error), _) | (Ok(_), Err(error)) => Err(error),
        (Ok(a), Ok(_)) => Ok(a),
    }
}

/// What a valve is after it was built or re-shimmed, as it is measured: in the condition nearest to the reference temperature.
struct Fresh {
    starts: Vec<StartingOffset>,
    /// Aims by valve.
    targets: BTreeMap<String, f64>,
    /// The tightest of its limits by valve.
    limits: report::ColdLimits,
}

impl Fresh {
    /// The same in the inspections' unit; it is made in mm.
    fn in_unit(mut self, unit: UnitName) -> Self {
        if unit == UnitName::In {
            let inches = |mm: &mut f64| *mm /= records::MILLIMETRES_PER_INCH;
            self.starts.iter_mut().for_each(|start| [&mut start.mean, &mut start.sd].into_iter().for_each(inches));
            self.targets.values_mut().for_each(inches);
            self.limits.values_mut().flat_map(|(lower, upper)| [lower, upper]).flatten().for_each(inches);
        }
        self
    }
}

/// Each valve's starting offset, its aim and its limits. An aim or a limit that is given for another condition is carried over by the
/// difference of the means.
fn starts(stack: &Stack, seed: u64, progress: &Progress) -> Result<Fresh, Failure> {
    let pack = &stack.pack;
    let from_reference = |c: usize| (pack.conditions[c].temperature - pack.reference_temperature).abs();
    let measured =
        (0..pack.conditions.len()).min_by(|a, b| from_reference(*a).total_cmp(&from_reference(*b))).unwrap_or_default();
    let mut asked = stack.clone();
    asked.requirements.clear();
    for (bay, one) in pack.bays.iter().enumerate() {
        for (valve, v) in one.valves.iter().enumerate() {
            for condition in 0..pack.conditions.len() {
                asked.requirements.push(Requirement {
                    name: v.name.clone(),
                    quantity: Quantity::Offset { bay, valve },
                    condition,
                    lower: None,
                    upper: None,
                    target: None,
                    max_out: 1.0,
                });
            }
        }
    }
    let options = packdrift_spread::Options { seed, ..packdrift_spread::Options::default() };
    let result = packdrift_spread::analyse(&asked, &options, progress)?;
    let mean = |quantity: Quantity, condition: usize| {
        let at = asked.requirements.iter().position(|r| r.quantity == quantity && r.condition == condition)?;
        result.requirements[at].spread.mean
    };
    let mut starts = Vec::new();
    let mut targets = BTreeMap::new();
    let mut limits = report::ColdLimits::new();
    for (asked, found) in asked.requirements.iter().zip(&result.requirements) {
        if asked.condition == measured
            && let (Some(mean), Some(sd)) = (found.spread.mean, found.spread.sd)
        {
            starts.push(StartingOffset { valve: asked.name.clone(), mean, sd });
        }
    }
    for r in &stack.requirements {
        let Quantity::Offset { bay, valve } = r.quantity else { continue };
        let target = r.target.or_else(|| Some(0.5 * (r.lower? + r.upper?)));
        if let (Some(here), Some(there)) = (mean(r.quantity, measured), mean(r.quantity, r.condition)) {
            let name = pack.bays[bay].valves[valve].name.clone();
            let both = limits.entry(name.clone()).or_insert((None, None));
            let carried = |limit: Option<f64>| limit.map(|l| l + here - there);
            both.0 = carried(r.lower).into_iter().chain(both.0).reduce(f64::max);
            both.1 = carried(r.upper).into_iter().chain(both.1).reduce(f64::min);
            let Some(target) = target else { continue };
            let carried = target + here - there;
            // What is asked for in the measured condition itself comes first.
            if r.condition == measured {
                targets.insert(name, carried);
            } else {
                targets.entry(name).or_insert(carried);
            }
        }
    }
    Ok(Fresh { starts, targets, limits })
}

impl Report for Planned {
    fn text(&self) -> String {
        report::text(self.shown())
    }

    fn json(&self) -> impl Serialize + '_ {
        report::json(&self.envelope, self.shown())
    }

    fn tables(&self) -> Vec<Table> {
        report::tables(self.shown())
    }

    fn figures(&self) -> Result<Vec<Figure>, packdrift_report::Error> {
        report::figures(self.shown())
    }

    fn page(&self) -> Result<String, packdrift_report::Error> {
        report::page(&self.envelope, self.shown())
    }

    fn notes(&self) -> &[String] {
        &self.envelope.warnings
    }

    fn lone(&self) -> Vec<(PathBuf, Vec<u8>)> {
        self.ics.iter().map(|path| (path.clone(), report::icalendar(self.shown()).into_bytes())).collect()
    }

    fn extras(&self) -> Vec<(&'static str, String)> {
        let cards = report::job_cards(&self.envelope, self.shown(), &self.policy, &self.cold);
        let cards = cards.into_iter().map(|cards| ("job-cards.html", cards));
        [("calendar.ics", report::icalendar(self.shown()))].into_iter().chain(cards).collect()
    }
}
