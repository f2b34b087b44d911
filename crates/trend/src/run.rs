//! The whole job over a table: every feature passes the stages, table → segments → believed readings → fits → weights of models →
//! forecasts → verdicts.

use crate::backtest::backtest_of;
use crate::believe::{Alternative, Believed};
use crate::checks::{check_options, check_policy};
use crate::crossing::{Prospect, Zone};
use crate::ensemble::{self, Ensemble, Told};
use crate::error::TrendError;
use crate::families::gamma::{self, Gamma};
use crate::families::random_slope::RandomSlope;
use crate::families::running_in::RunningIn;
use crate::families::wiener::Wiener;
use crate::families::{Estimate, Family, FamilyFit, FitFailure, FitQuestion, SegmentFit};
use crate::forecast::{Basis, ForecastScope, Names, Others, SegmentIndex, figures};
use crate::inspections::Inspections;
use crate::notices::{left_out, no_readings, warnings_of};
use crate::options::{ModelChoice, Options, ReadingErrors};
use crate::policy::Policy;
use crate::remembered::Remembered;
use crate::result::{
    Compared, Diagnostics, FaultyDay, FeatureResult, FitStatus, LeftOut, StepChange, SuspectedReading, TrendResult,
    TrendWarning,
};
use crate::robust::days::Finding;
use crate::robust::last_look::{LastLook, last_looks};
use crate::segments::{Segments, line_of, validate};
use crate::since::Running;
use crate::usage::{meters, usages};
use crate::verdict::BELIEVED;
use crate::watch::Share;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// Fits a wear model to every feature and forecasts every valve.
///
/// Without a policy there are fits, levels and slopes, but no chances and no status. The result depends on the table, the policy and the
/// options alone, never on the number of threads.
///
/// # Errors
/// [`TrendError`] where the table or the policy cannot be used at all; what concerns one feature is a [`FitStatus`] of its result.
///
/// # Examples
///
/// ```
/// use packdrift_trend::{Inspections, ModelChoice, Options, trend};
/// // Three valves of one engine, read four times: 1.00, 1.01, 1.02 mm at first, drifting 0.02 mm in 1000 h.
/// let mut t = Inspections {
///     engines: vec!["P1".into()],
///     valves: vec![(0, "1 intake".into()), (0, "1 exhaust".into()), (0, "2 intake".into())],
///     features: vec!["contact_offset".into()],
///     ..Inspections::default()
/// };
/// let error = [0.001, -0.002, 0.002, -0.001, 0.0, 0.001, -0.001, 0.002, -0.002, 0.001, 0.0, -0.001];
/// for k in 0..12_u32 {
///     let (valve, visit) = (k % 3, k / 3);
///     t.valve.push(valve);
///     t.day.push(180 * visit as i32);
///     t.hours.push(1000.0 * f64::from(visit));
///     t.feature.push(0);
///     t.value.push(1.0 + 0.01 * f64::from(valve) + 0.02 * f64::from(visit) + error[k as usize]);
///     t.event.push(0);
///     t.group.push(0);
/// }
/// let options = Options { model: ModelChoice::RandomSlope, ..Options::default() };
/// let result = trend(&t, None, &options)?;
/// let model = result.features[0].model.as_ref().unwrap();
/// assert!((model.slope - 2e-5).abs() < 2e-6);
/// assert!((result.features[0].valves[2].level - 1.08).abs() < 0.005);
/// # Ok::<(), packdrift_trend::TrendError>(())
/// ```
pub fn trend(table: &Inspections, policy: Option<&Policy>, options: &Options) -> Result<TrendResult, TrendError> {
    judged(table, ForecastScope::all(policy), options)
}

/// [`trend`], with some valves' chances left out.
pub(crate) fn judged(
    table: &Inspections,
    scope: ForecastScope<'_>,
    options: &Options,
) -> Result<TrendResult, TrendError> {
    validate(table)?;
    check_options(options)?;
    if let Some(policy) = scope.policy {
        check_policy(policy)?;
    }
    let last = table.day.iter().copied().max().unwrap_or_default();
    if let Some(today) = options.today.filter(|today| *today < last) {
        return Err(TrendError::BeforeReadings { today, last });
    }
    let mut out = TrendResult {
        features: Vec::new(),
        rows: table.value.len(),
        today: options.today,
        left_out: Vec::new(),
        warnings: Vec::new(),
    };
    let no_policy = Policy::default();
    let meters = meters(table);
    let usages = usages(&table.engines, &meters, scope.policy.unwrap_or(&no_policy));
    let running = Running::of(&meters, &usages, options.today);
    options.watch.expect(table.features.len());
    // Features know nothing of each other.
    let features: Vec<Result<OneFeature, TrendError>> = (0..table.features.len() as u32)
        .into_par_iter()
        .map(|feature| OneFeature::of(table, feature, scope, options, &running))
        .collect();
    for one in features {
        let one = one?;
        out.left_out.extend(one.left_out);
        out.warnings.extend(one.warnings);
        out.features.extend(one.result);
    }
    no_readings(scope.policy, &out.features, &mut out.warnings);
    Ok(out)
}

/// What comes of one feature.
#[derive(Default)]
struct OneFeature {
    /// None where nothing was read of it.
    result: Option<FeatureResult>,
    left_out: Vec<LeftOut>,
    warnings: Vec<TrendWarning>,
}

impl OneFeature {
    fn of(
        table: &Inspections,
        feature: u32,
        scope: ForecastScope<'_>,
        options: &Options,
        running: &[Running],
    ) -> Result<Self, TrendError> {
        let share = options.watch.feature();
        let mut out = Self::default();
        let believed = Believed::all(table, feature)?;
        if !believed.segments.not_finite.is_empty() {
            let rows = &believed.segments.not_finite;
            out.left_out.push(left_out(table, "the reading or its hours is not a finite number", rows));
        }
        if believed.segments.readings() == 0 {
            return Ok(out);
        }
        let job = Job::new(table, feature, scope, options, (running, &share));
        let tested = match options.backtest {
            0 => Vec::new(),
            rounds => backtest_of(&believed.segments, job.known_sd, options, rounds),
        };
        let mut one = job.result(believed, &mut out.left_out, &mut out.warnings)?;
        one.backtest = tested;
        warnings_of(&one, scope.policy, table, &mut out.warnings);
        out.result = Some(one);
        Ok(out)
    }
}

/// The reading error that the policy gives for a feature.
pub(crate) fn known_sd_of(policy: Option<&Policy>, table: &Inspections, feature: u32) -> Option<f64> {
    policy?.features.get(table.features.get(feature as usize)?)?.reading_sd
}

/// An empty result of a feature, to be filled.
pub(crate) fn blank(feature: &str, index: &SegmentIndex, policy: Option<&Policy>, options: &Options) -> FeatureResult {
    FeatureResult {
        feature: feature.to_owned(),
        limits: policy.and_then(|p| p.features.get(feature)).cloned(),
        method: options.estimator.name(),
        rows: index.readings.iter().map(|n| *n as usize).sum(),
        valves_count: index.current.iter().filter(|c| **c).count(),
        segments: index.valve.len(),
        engines: index.engine.chunk_by(|a, b| a == b).count(),
        diagnostics: Diagnostics {
            status: FitStatus::Ok,
            reason: String::new(),
            evaluations: 0,
            newton_decrement: 0.0,
            average_points: 1,
            average_effective: 1.0,
        },
        model: None,
        compared: Vec::new(),
        valves: Vec::new(),
        wander_carried: None,
        valve_slope_carried: None,
        backtest: Vec::new(),
        fleet: Vec::new(),
        suspected: Vec::new(),
        steps: Vec::new(),
        faulty_days: Vec::new(),
    }
}

/// Enters a fit, and forecasts by it.
pub(crate) fn fill(out: &mut FeatureResult, basis: &Basis<'_>, mut fit: FamilyFit, others: &Others) {
    out.method = fit.method;
    out.diagnostics = fit.diagnostics.clone();
    out.valves = basis.forecasts(&mut fit, others);
    out.model = Some(fit.model);
    out.fleet = fit.new_segments;
}

/// Enters that there is no fit. Where the policy has limits the valves are judged by what was read alone.
pub(crate) fn refused(out: &mut FeatureResult, basis: &Basis<'_>, failure: FitFailure) {
    if out.has_limits() {
        out.valves = basis.without_forecast(&failure.reason);
    }
    out.diagnostics.status = failure.status;
    out.diagnostics.reason = failure.reason;
}

/// The family of a choice by name; None for `auto`.
pub(crate) fn family_of(choice: ModelChoice) -> Option<&'static dyn Family> {
    match choice {
        ModelChoice::Auto => None,
        ModelChoice::RandomSlope => Some(&RandomSlope),
        ModelChoice::Wiener => Some(&Wiener),
        ModelChoice::RunningIn => Some(&RunningIn),
        ModelChoice::Gamma => Some(&Gamma),
    }
}

/// One feature of a table.
struct Job<'a> {
    table: &'a Inspections,
    feature: u32,
    name: &'a str,
    scope: ForecastScope<'a>,
    options: &'a Options,
    zone: Option<Zone>,
    known_sd: Option<f64>,
    running: &'a [Running],
    share: &'a Share<'a>,
}

impl<'a> Job<'a> {
    fn new(
        table: &'a Inspections,
        feature: u32,
        scope: ForecastScope<'a>,
        options: &'a Options,
        (running, share): (&'a [Running], &'a Share<'a>),
    ) -> Self {
        let name = &table.features[feature as usize];
        let limits = scope.policy.and_then(|p| p.features.get(name));
        let zone = limits.and_then(Zone::of);
        Self { table, feature, name, scope, options, zone, known_sd: limits.and_then(|l| l.reading_sd), running, share }
    }

    fn question<'b>(&'b self, believed: &'b Believed, figures: bool) -> FitQuestion<'b> {
        FitQuestion {
            segments: &believed.segments,
            weights: &believed.weights,
            confirmed: &believed.confirmed,
            zone: self.zone,
            known_sd: self.known_sd,
            options: self.options,
            figures,
        }
    }

    /// All stages after the segments.
    fn result(
        &self,
        believed: Believed,
        left: &mut Vec<LeftOut>,
        warnings: &mut Vec<TrendWarning>,
    ) -> Result<FeatureResult, TrendError> {
        let few = believed.segments.current.iter().filter(|c| **c).count() <= self.options.series_up_to;
        let integrated = ensemble::integrated();
        let fits = Remembered::new(&integrated, few).watched(self.share);
        let (believed, fitted) = match family_of(self.options.model) {
            None => self.auto(believed, few, &fits)?,
            Some(family) => self.named(believed, family, few)?,
        };
        let others = match &fitted {
            Ok(e) => self.others(&believed, family_of(self.options.model).unwrap_or(&fits), &e.fit)?,
            Err(_) => Others::new(),
        };
        drop(fits);
        let (weights, law) = match &fitted {
            Ok(e) => (e.fit.weights.clone(), e.fit.law.clone()),
            Err(_) => (believed.weights.clone(), None),
        };
        let law = law.or_else(|| self.line_law(&believed, &weights));
        let heavy = fitted.as_ref().is_ok_and(|e| e.fit.model.reading_df.is_some());
        let doubted = doubted(&believed, &weights, law.as_ref(), heavy);
        let index = SegmentIndex::of(self.table, &believed.segments, &weights, &doubted, &|i| believed.is_aside(i));
        let basis = Basis {
            feature: self.name,
            names: Names { engines: &self.table.engines, valves: &self.table.valves },
            index: &index,
            zone: self.zone,
            scope: self.scope,
            running: self.running,
            today: self.options.today,
        };
        let mut out = blank(self.name, &index, self.scope.policy, self.options);
        out.steps = self.steps(&believed);
        out.faulty_days = self.days(&believed, left);
        match fitted {
            Ok(Ensemble { fit, compared, .. }) => {
                out.compared = compared;
                warnings.extend(fit.notes.iter().map(|text| self.note(text)));
                let pasts: Vec<_> = fit.current.iter().map(|own| own.past.clone()).collect();
                out.suspected = self.suspected(&believed, &weights, &doubted, law.as_ref());
                fill(&mut out, &basis, fit, &others);
                self.add_figures(&mut out, &believed.segments, (&weights, &doubted), &pasts, few);
            }
            Err(failure) => refused(&mut out, &basis, failure),
        }
        Ok(out)
    }

    fn note(&self, text: &str) -> TrendWarning {
        TrendWarning::Note { feature: self.name.to_owned(), text: text.to_owned() }
    }

    /// Integrated model and gamma process, weighted; days and jumps looked for.
    fn auto(
        &self,
        mut believed: Believed,
        figures: bool,
        fits: &dyn Family,
    ) -> Result<(Believed, Result<Ensemble, FitFailure>), TrendError> {
        if self.options.reading_errors != ReadingErrors::Normal {
            let known = (self.zone, self.known_sd);
            believed.search(self.table, self.feature, known, self.options, fits)?;
        }
        let mut told = None;
        if !believed.jumps.is_empty() {
            (believed, told) = self.without_long_increments(believed, fits)?;
        }
        let fitted = ensemble::fit(&self.question(&believed, figures), fits, told);
        Ok((believed, fitted))
    }

    /// Takes back jumps that are no more than long increments of a gamma process, where the readings without a jump look like one. With what
    /// that process made of the readings without a jump.
    fn without_long_increments(
        &self,
        mut believed: Believed,
        fits: &dyn Family,
    ) -> Result<(Believed, Option<Told>), TrendError> {
        let whole = believed.without_jumps(self.table, self.feature)?;
        let told = ensemble::told(&self.question(&whole, false), fits);
        if let Some(told) = told.as_ref().filter(|told| told.share > 0.5) {
            let rows: Vec<usize> = believed.jumps.iter().map(|j| j.row).collect();
            let heavy = self.options.reading_errors == ReadingErrors::Heavy;
            let near = Some(&told.process);
            let stand = gamma::jump::stand(&whole.segments, &whole.weights, self.known_sd, heavy, &rows, near);
            believed.keep_jumps(self.table, self.feature, |j| stand.contains(&j.row))?;
        }
        Ok((believed, told))
    }

    /// A family by name. Days and jumps are looked for where heavy-tailed errors are asked for.
    fn named(
        &self,
        mut believed: Believed,
        family: &'static dyn Family,
        figures: bool,
    ) -> Result<(Believed, Result<Ensemble, FitFailure>), TrendError> {
        if self.options.reading_errors == ReadingErrors::Heavy {
            // The law is wanted, not the average over the variances.
            let plain = Options { average_points: 1, ..self.options.clone() };
            let gamma = self.options.model == ModelChoice::Gamma;
            // What a valve may do by itself, wander included, must not be taken for a jump.
            let wanders = || Wiener.fit(&FitQuestion { options: &plain, ..self.question(&believed, false) }).is_ok();
            let bent = self.options.model == ModelChoice::RunningIn;
            let searcher: &dyn Family = if !bent && wanders() { &Wiener } else { family };
            believed.search(self.table, self.feature, (self.zone, self.known_sd), &plain, searcher)?;
            if gamma && !believed.jumps.is_empty() {
                let whole = believed.without_jumps(self.table, self.feature)?;
                let rows: Vec<usize> = believed.jumps.iter().map(|j| j.row).collect();
                let stand = gamma::jump::stand(&whole.segments, &whole.weights, self.known_sd, true, &rows, None);
                believed.keep_jumps(self.table, self.feature, |j| stand.contains(&j.row))?;
            }
        }
        let fitted = family.fit(&self.question(&believed, figures));
        let fitted = fitted.map(|fit| Ensemble { fit, compared: Vec::<Compared>::new(), gamma_share: 0.0 });
        Ok((believed, fitted))
    }

    /// Answers under other assumptions of days and jumps, by valve.
    fn others(&self, believed: &Believed, family: &dyn Family, fit: &FamilyFit) -> Result<Others, TrendError> {
        let mut out = Others::new();
        let mut alternatives = believed.alternatives(self.table, self.feature)?;
        alternatives.extend(self.without_looks_that_stand_off(believed, fit)?);
        for other in alternatives {
            let question = self.question(&other.believed, false);
            let fit = family.fit(&question);
            for (valve, assuming) in other.concerned {
                let own = fit.as_ref().ok().and_then(|fit| {
                    fit.current.iter().find(|c| other.believed.segments.valve[c.segment] == valve).cloned()
                });
                // What could not be worked out must not reassure.
                out.entry(valve).or_default().push((assuming, own.unwrap_or_else(nothing_known)));
            }
        }
        Ok(out)
    }

    /// The readings without the last looks that stand off what all others foretell, towards safety: the last day alone and several visits together are an
    /// answer each, and share one fit where they concern different valves.
    ///
    /// A day that later visits did not agree with was set aside; where these are taken for the wrong ones, it counts.
    fn without_looks_that_stand_off(
        &self,
        believed: &Believed,
        fit: &FamilyFit,
    ) -> Result<Vec<Alternative>, TrendError> {
        let law = fit.law.clone().or_else(|| self.line_law(believed, &believed.weights));
        let Some(law) = law else { return Ok(Vec::new()) };
        let slopes: BTreeMap<u32, f64> =
            fit.current.iter().map(|own| (believed.segments.valve[own.segment], own.estimate.slope)).collect();
        let standing_off = |of: &Believed| {
            let day = |i: usize| self.table.day[of.segments.row[i] as usize];
            let slope = |s: &usize| slopes.get(&of.segments.valve[*s]).copied().unwrap_or(0.0);
            // A look that pulls its valves the way they wear is on the side of caution as it stands.
            let reassures = |l: &LastLook| l.segments.iter().any(|s| slope(s) * l.shift <= 0.0);
            // The answer without a day that is known to be off stands already.
            let known = |l: &LastLook| !l.is_several() && believed.days.iter().any(|d| d.date == l.date);
            let Some(found) = last_looks(&of.segments, &law, &of.weights, &day) else { return Vec::new() };
            let round = found.clearest_round(|l| reassures(l) && !known(l));
            let mut out = found.own;
            out.retain(|l| l.stands_off() && reassures(l) && !known(l));
            // Several visits of a valve overlap: the clearest tells the others.
            keep_clearest(&mut out);
            out.extend(round);
            out
        };
        let mut looks = standing_off(believed);
        let Some(counted) = believed.with_returned_days(self.table, self.feature)? else {
            return self.without_looks(believed, looks);
        };
        looks.retain(|l| !l.is_several());
        let mut out = self.without_looks(believed, looks)?;
        let several = standing_off(&counted).into_iter().filter(LastLook::is_several).collect();
        out.extend(self.without_looks(&counted, several)?);
        Ok(out)
    }

    /// An answer for every look: as few fits as leave each valve one look in each.
    fn without_looks(&self, believed: &Believed, mut looks: Vec<LastLook>) -> Result<Vec<Alternative>, TrendError> {
        looks.sort_by(|a, b| b.distance().total_cmp(&a.distance()));
        let mut out = Vec::new();
        while !looks.is_empty() {
            let mut taken = BTreeSet::new();
            let (now, later) = looks.into_iter().partition::<Vec<_>, _>(|l| {
                let apart = l.segments.iter().all(|s| !taken.contains(s));
                if apart {
                    taken.extend(l.segments.iter().copied());
                }
                apart
            });
            out.push(believed.without_looks(self.table, self.feature, &now)?);
            looks = later;
        }
        Ok(out)
    }

    /// The law of straight lines, where the fit has none of its own.
    fn line_law(&self, believed: &Believed, weights: &[f64]) -> Option<crate::kernel::FleetLaw> {
        let kept: Vec<f64> = weights.iter().map(|w| f64::from(u8::from(*w >= BELIEVED))).collect();
        let question = FitQuestion { weights: &kept, ..self.question(believed, false) };
        let plain = Options { average_points: 1, reading_errors: ReadingErrors::Normal, ..self.options.clone() };
        RandomSlope.fit(&FitQuestion { options: &plain, ..question }).ok()?.law
    }

    fn steps(&self, believed: &Believed) -> Vec<StepChange> {
        let of = |j: &crate::believe::FoundJump| {
            let (engine, valve) = &self.table.valves[j.valve as usize];
            StepChange {
                engine: self.table.engines[*engine as usize].clone(),
                valve: valve.clone(),
                line: line_of(self.table, j.row as u32),
                day: self.table.day[j.row],
                hours: self.table.hours[j.row],
                size: j.size,
                size_se: j.size_se,
                readings_after: j.readings_after,
            }
        };
        believed.jumps.iter().map(of).collect()
    }

    fn days(&self, believed: &Believed, left: &mut Vec<LeftOut>) -> Vec<FaultyDay> {
        let mut out = Vec::new();
        for day in &believed.days {
            let set_aside = day.finding == Finding::Returned;
            if set_aside {
                let why = format!("{}: read on a day on which all readings were off together", self.name);
                left.push(left_out(self.table, &why, &day.rows));
            }
            out.push(FaultyDay {
                day: day.date,
                readings: day.rows.len(),
                engines: day.engines.iter().map(|e| self.table.engines[*e as usize].clone()).collect(),
                shift: day.shift,
                shift_se: day.shift_se,
                set_aside,
            });
        }
        out
    }

    /// Every doubted reading, but for those of days set aside.
    fn suspected(
        &self,
        believed: &Believed,
        weights: &[f64],
        doubted: &[bool],
        law: Option<&crate::kernel::FleetLaw>,
    ) -> Vec<SuspectedReading> {
        let segments = &believed.segments;
        let doubted = |i: usize| doubted[i] && !believed.is_aside(i);
        let mut out = Vec::new();
        for s in (0..segments.len()).filter(|s| segments.range(*s).any(doubted)) {
            let misses = law.map(|law| law.misses(segments, s, weights));
            for (k, i) in segments.range(s).enumerate().filter(|(_, i)| doubted(*i)) {
                let row = segments.row[i] as usize;
                let (engine, valve) = &self.table.valves[segments.valve[s] as usize];
                let miss = misses.as_ref().and_then(|m| m.get(k));
                out.push(SuspectedReading {
                    engine: self.table.engines[*engine as usize].clone(),
                    valve: valve.clone(),
                    line: line_of(self.table, row as u32),
                    day: self.table.day[row],
                    hours: self.table.hours[row],
                    value: self.table.value[row],
                    expected: miss.map_or(f64::NAN, |m| m.expected),
                    standardised: miss.map_or(f64::NAN, |m| m.standardised),
                    weight: weights[i],
                    newest: i + 1 == segments.range(s).end && segments.current[s],
                });
            }
        }
        out
    }

    /// Readings and bands, for figures: of all valves where they are few, else of the most urgent.
    fn add_figures(
        &self,
        out: &mut FeatureResult,
        segments: &Segments,
        (weights, doubted): (&[f64], &[bool]),
        pasts: &[Vec<crate::families::Past>],
        few: bool,
    ) {
        let horizon = self.scope.policy.map(|p| p.horizon);
        let shown: Vec<bool> = if few {
            vec![true; out.valves.len()]
        } else {
            most_urgent(out, self.options.series_up_to.min(DRAWN_OF_MANY))
        };
        let mut from = 0;
        for (k, valve) in out.valves.iter_mut().enumerate().filter(|(k, _)| shown[*k]) {
            from = figures::add_readings(valve, self.table, segments, weights, doubted, from);
            let last = segments.range(from).last().map_or(0.0, |i| segments.hours[i]);
            let past = pasts.get(k).map_or(&[][..], Vec::as_slice);
            valve.band = figures::band(past, &valve.prospect, segments.origin[from], last, horizon);
        }
    }
}

/// By reading whether it is doubted: it counts for less than half, and where tails are heavy, so that many readings do, it also lies farther
/// from what the others foretell than one reading of a sound table would.
fn doubted(believed: &Believed, weights: &[f64], law: Option<&crate::kernel::FleetLaw>, heavy: bool) -> Vec<bool> {
    let segments = &believed.segments;
    let limit = crate::robust::threshold(segments.readings());
    let mut out: Vec<bool> = weights.iter().map(|w| *w < BELIEVED).collect();
    out.resize(segments.readings(), false);
    let Some(law) = law.filter(|_| heavy) else { return out };
    for s in (0..segments.len()).filter(|s| segments.range(*s).any(|i| out[i])).collect::<Vec<_>>() {
        for miss in law.misses(segments, s, weights) {
            out[miss.at] &= miss.standardised.abs() > limit || believed.is_aside(miss.at);
        }
    }
    out
}

/// Of a fleet too large to keep every valve's readings for figures, this many of the most urgent.
const DRAWN_OF_MANY: usize = 200;

/// Marks the most urgent valves.
fn most_urgent(result: &FeatureResult, count: usize) -> Vec<bool> {
    let mut order: Vec<usize> = (0..result.valves.len()).collect();
    let chance = |k: usize| result.valves[k].chance_by_horizon.unwrap_or(-1.0);
    order.sort_by(|a, b| {
        let (a_status, b_status) = (result.valves[*a].status, result.valves[*b].status);
        b_status.cmp(&a_status).then(chance(*b).total_cmp(&chance(*a))).then(a.cmp(b))
    });
    let mut out = vec![false; order.len()];
    for k in order.into_iter().take(count) {
        out[k] = true;
    }
    out
}

/// Of looks over several visits those that are the clearest for one of their valves.
fn keep_clearest(looks: &mut Vec<LastLook>) {
    looks.sort_by(|a, b| b.distance().total_cmp(&a.distance()));
    let mut told = BTreeSet::new();
    looks.retain(|l| !l.is_several() || l.segments.iter().filter(|s| told.insert(**s)).count() > 0);
}

/// An answer of which nothing could be worked out.
fn nothing_known() -> SegmentFit {
    let nothing = f64::NAN;
    SegmentFit {
        segment: 0,
        estimate: Estimate { level: nothing, level_se: nothing, slope: nothing, slope_se: nothing, cov: nothing },
        prospect: Prospect::default(),
        at_their_word: None,
        past: Vec::new(),
    }
}
