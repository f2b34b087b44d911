//! The table of sums: all that straight-line models need of a segment, so that a grouped sum by any engine can stand in for the readings.
//!
//! A fleet too large for one machine is summed where its readings lie ([`sums_sql`] is the query), and only one row per segment comes
//! here. Sums of squares are about the segment's own means, so nothing is lost to cancellation, and [`trend_from_sums`] gives the numbers
//! that [`trend`](crate::trend) gives from the readings, to 1e-10.

use crate::checks::{check_options, check_policy};
use crate::crossing::Zone;
use crate::error::TrendError;
use crate::families::FitFailure;
use crate::families::line::answer::of_segments;
use crate::families::line::member::{Member, fit_problem};
use crate::families::line::{Identifiability, NO_ENGINE_SLOPE, NO_VALVE_SLOPE, Spec, averaged, spec_of};
use crate::forecast::{Basis, ForecastScope, Names, Others, SegmentIndex};
use crate::inspections::Inspections;
use crate::kernel::frame::Clock;
use crate::kernel::{Moments, Problem};
use crate::notices::{no_readings, warnings_of};
use crate::options::{Estimator, ModelChoice, Options, ReadingErrors};
use crate::policy::Policy;
use crate::result::{Compared, FeatureResult, ModelKind, TrendResult, TrendWarning};
use crate::run::{blank, fill, refused};
use crate::segments::{cut, validate};
use std::fmt::Write as _;

/// One row per segment, by columns; names stand once. Rows may come in any order.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sums {
    /// Engine names.
    pub engines: Vec<String>,
    /// Valves: index into `engines`, and name.
    pub valves: Vec<(u32, String)>,
    /// Feature names.
    pub features: Vec<String>,
    /// Group names; `group` is 0 for none, else 1 + index here.
    pub groups: Vec<String>,
    /// Index into `valves`.
    pub valve: Vec<u32>,
    /// Index into `features`.
    pub feature: Vec<u32>,
    /// The segment's group.
    pub group: Vec<u32>,
    /// Segment of the valve and feature, from 1.
    pub segment: Vec<u32>,
    /// Meter hours at its first reading.
    pub start_hours: Vec<f64>,
    /// Meter hours at its last reading.
    pub last_hours: Vec<f64>,
    /// Readings.
    pub readings: Vec<u32>,
    /// Mean of the hours since the segment's start, t̄.
    pub mean_hours: Vec<f64>,
    /// Mean reading, ȳ.
    pub mean_value: Vec<f64>,
    /// Σ(t − t̄)².
    pub hours_squares: Vec<f64>,
    /// Σ(t − t̄)(y − ȳ).
    pub products: Vec<f64>,
    /// Σ(y − ȳ)².
    pub value_squares: Vec<f64>,
}

impl Sums {
    /// Sums of a table of readings.
    ///
    /// # Errors
    /// As [`trend`](crate::trend) for an unusable table.
    pub fn of(table: &Inspections) -> Result<Self, TrendError> {
        validate(table)?;
        let mut out = Self {
            engines: table.engines.clone(),
            valves: table.valves.clone(),
            features: table.features.clone(),
            groups: table.groups.clone(),
            ..Self::default()
        };
        for feature in 0..table.features.len() as u32 {
            let segments = cut(table, feature, &|_| false)?;
            let group: Vec<u32> = segments
                .group_names
                .iter()
                .map(|name| table.groups.iter().position(|g| g == name).map_or(0, |g| g as u32 + 1))
                .collect();
            let moments = Problem::moments_of(&segments, &[], Clock::PLAIN);
            for (s, m) in moments.iter().enumerate() {
                let last = segments.range(s).last().map_or(0.0, |i| segments.hours[i]);
                out.valve.push(segments.valve[s]);
                out.feature.push(feature);
                out.group.push(group[segments.group[s] as usize]);
                out.segment.push(segments.number[s]);
                out.start_hours.push(segments.origin[s]);
                out.last_hours.push(segments.origin[s] + last);
                out.readings.push(m.readings);
                out.mean_hours.push(m.time);
                out.mean_value.push(m.y);
                out.hours_squares.push(m.tt);
                out.products.push(m.ty);
                out.value_squares.push(m.yy);
            }
        }
        Ok(out)
    }

    fn validate(&self) -> Result<(), TrendError> {
        let rows = self.valve.len();
        if rows == 0 {
            return Err(TrendError::Empty);
        }
        let lengths = [
            ("feature", self.feature.len()),
            ("group", self.group.len()),
            ("segment", self.segment.len()),
            ("start_hours", self.start_hours.len()),
            ("last_hours", self.last_hours.len()),
            ("readings", self.readings.len()),
            ("mean_hours", self.mean_hours.len()),
            ("mean_value", self.mean_value.len()),
            ("hours_squares", self.hours_squares.len()),
            ("products", self.products.len()),
            ("value_squares", self.value_squares.len()),
        ];
        for (column, found) in lengths {
            if found != rows {
                return Err(TrendError::Ragged { column, found, expected: rows });
            }
        }
        for (column, entries, names) in [
            ("valve", &self.valve, self.valves.len()),
            ("feature", &self.feature, self.features.len()),
            ("group", &self.group, self.groups.len() + 1),
        ] {
            if let Some(row) = entries.iter().position(|i| *i as usize >= names) {
                return Err(TrendError::Index { row, column, index: entries[row], names });
            }
        }
        if let Some(row) = self.valves.iter().position(|(e, _)| *e as usize >= self.engines.len()) {
            return Err(TrendError::Index {
                row,
                column: "engine",
                index: self.valves[row].0,
                names: self.engines.len(),
            });
        }
        for row in 0..rows {
            let check = |what: &'static str, value: f64, ok: bool, expected: &'static str| {
                if ok && value.is_finite() { Ok(()) } else { Err(TrendError::Sums { row, what, value, expected }) }
            };
            let n = f64::from(self.readings[row]);
            let (tt, ty, yy) = (self.hours_squares[row], self.products[row], self.value_squares[row]);
            check("readings", n, n >= 1.0, "at least 1")?;
            check("start_hours", self.start_hours[row], true, "a finite number")?;
            let length = self.last_hours[row] - self.start_hours[row];
            check("last_hours", self.last_hours[row], length >= 0.0, "no less than start_hours")?;
            let mean = self.mean_hours[row];
            check(
                "mean_hours",
                mean,
                mean >= 0.0 && mean <= length * (1.0 + 1e-12),
                "hours since the segment's start",
            )?;
            check("mean_value", self.mean_value[row], true, "a finite number")?;
            check("hours_squares", tt, tt >= 0.0, "a sum of squares")?;
            check("value_squares", yy, yy >= 0.0, "a sum of squares")?;
            // Cauchy and Schwarz.
            check(
                "products",
                ty,
                ty * ty <= tt * yy * (1.0 + 1e-6) + 1e-300,
                "at most √(hours_squares·value_squares)",
            )?;
        }
        Ok(())
    }
}

/// As [`trend`](crate::trend), from sums in place of readings.
///
/// Straight-line models only ([`ModelChoice::RandomSlope`], or [`ModelChoice::Auto`], which then compares with and without a slope that an
/// engine's valves share): the sums do not tell in which order readings wandered, nor which of them was bad.
///
/// # Errors
/// [`TrendError`] for unusable sums, policy or options.
///
/// # Examples
///
/// ```
/// # use packdrift_trend::{Inspections, ModelChoice, Options, Sums, trend, trend_from_sums};
/// # let mut t = Inspections { engines: vec!["P1".into()], features: vec!["f".into()], ..Inspections::default() };
/// # for v in 0..4_u32 { t.valves.push((0, format!("{v}"))); }
/// # for k in 0..20_u32 {
/// #     let (v, i) = (k % 4, k / 4);
/// #     t.valve.push(v); t.day.push(i as i32); t.hours.push(500.0 * f64::from(i)); t.feature.push(0);
/// #     t.value.push(1.0 + 0.1 * f64::from(v) + 0.01 * f64::from(i * (v + 1)) + 0.003 * f64::from((k * 7) % 5));
/// #     t.event.push(0); t.group.push(0);
/// # }
/// let options = Options { model: ModelChoice::RandomSlope, ..Options::default() };
/// let from_readings = trend(&t, None, &options)?;
/// let from_sums = trend_from_sums(&Sums::of(&t)?, None, &options)?;
/// let slope = |r: &packdrift_trend::TrendResult| r.features[0].valves[1].slope;
/// assert!((slope(&from_sums) / slope(&from_readings) - 1.0).abs() < 1e-10);
/// # Ok::<(), packdrift_trend::TrendError>(())
/// ```
pub fn trend_from_sums(sums: &Sums, policy: Option<&Policy>, options: &Options) -> Result<TrendResult, TrendError> {
    judged(sums, ForecastScope::all(policy), options)
}

/// [`trend_from_sums`], with some valves' chances left out.
pub(crate) fn judged(sums: &Sums, scope: ForecastScope<'_>, options: &Options) -> Result<TrendResult, TrendError> {
    let policy = scope.policy;
    sums.validate()?;
    check_options(options)?;
    if let Some(policy) = policy {
        check_policy(policy)?;
    }
    let refuse =
        |option: &'static str, reason: &'static str| TrendError::Option { option, model: "a table of sums", reason };
    if !matches!(options.model, ModelChoice::Auto | ModelChoice::RandomSlope) {
        return Err(refuse(
            "this model",
            "sums do not tell in which order the readings came; only random-slope can be fitted",
        ));
    }
    if options.reading_errors == ReadingErrors::Heavy {
        return Err(refuse("heavy-tailed reading errors", "sums do not tell which reading was bad"));
    }
    let rows = sums.readings.iter().map(|n| *n as usize).sum();
    let mut out = TrendResult { features: Vec::new(), rows, today: None, left_out: Vec::new(), warnings: Vec::new() };
    let names = Inspections { engines: sums.engines.clone(), valves: sums.valves.clone(), ..Inspections::default() };
    for feature in 0..sums.features.len() as u32 {
        let mut order: Vec<usize> = (0..sums.valve.len()).filter(|r| sums.feature[*r] == feature).collect();
        if order.is_empty() {
            continue;
        }
        order.sort_by_key(|&r| {
            let v = sums.valve[r];
            (sums.valves[v as usize].0, v, sums.segment[r])
        });
        let one = feature_result(sums, feature, &order, scope, options);
        warnings_of(&one, policy, &names, &mut out.warnings);
        if options.model == ModelChoice::Auto {
            out.warnings.push(TrendWarning::Note {
                feature: one.feature.clone(),
                text:
                    "from sums only straight lines were compared; wander, running-in and bad readings need the readings"
                        .into(),
            });
        }
        out.features.push(one);
    }
    no_readings(policy, &out.features, &mut out.warnings);
    Ok(out)
}

fn feature_result(
    sums: &Sums,
    feature: u32,
    order: &[usize],
    scope: ForecastScope<'_>,
    options: &Options,
) -> FeatureResult {
    let mut index = SegmentIndex::default();
    let mut moments = Vec::with_capacity(order.len());
    let mut group_index = vec![u32::MAX; sums.groups.len() + 1];
    for (i, &r) in order.iter().enumerate() {
        let g = sums.group[r] as usize;
        if group_index[g] == u32::MAX {
            group_index[g] = index.group_names.len() as u32;
            index.group_names.push(if g == 0 { String::new() } else { sums.groups[g - 1].clone() });
        }
        let valve = sums.valve[r];
        index.valve.push(valve);
        index.engine.push(sums.valves[valve as usize].0);
        index.group.push(group_index[g]);
        index.number.push(sums.segment[r]);
        index.origin.push(sums.start_hours[r]);
        index.current.push(order.get(i + 1).is_none_or(|n| sums.valve[*n] != valve));
        index.readings.push(sums.readings[r]);
        index.last.push(sums.last_hours[r] - sums.start_hours[r]);
        moments.push(Moments {
            readings: sums.readings[r],
            weight: f64::from(sums.readings[r]),
            log_weight: 0.0,
            time: sums.mean_hours[r],
            y: sums.mean_value[r],
            tt: sums.hours_squares[r],
            ty: sums.products[r],
            yy: sums.value_squares[r],
        });
    }
    let mut out = blank(&sums.features[feature as usize], &index, scope.policy, options);
    let known_sd = out.limits.as_ref().and_then(|l| l.reading_sd);
    let fit = |spec: Spec, estimator: Estimator| {
        // Sums do not tell a re-shim from a part's replacement: all segments of a valve count as one set of parts.
        let framed = |pool| Problem {
            part: index.valve.clone(),
            ..Problem::of_moments(&moments, &index.engine, &index.group, Clock::PLAIN, pool)
        };
        let mut problem = framed(false);
        let mut support = Identifiability::of(&problem);
        let pooled = support.poor_groups > 0 && problem.groups > 1;
        if pooled {
            problem = framed(true);
            support = Identifiability::of(&problem);
        }
        if spec.engine && !support.carries_engine() {
            return Err(FitFailure::not_estimable(NO_ENGINE_SLOPE));
        }
        if spec.valve && !support.carries_valve() {
            return Err(FitFailure::not_estimable(NO_VALVE_SLOPE));
        }
        fit_problem(problem, support, pooled, spec, estimator, known_sd, Clock::PLAIN, &[], None)
    };
    let mut spec = spec_of(ModelKind::RandomSlope, options);
    if options.model == ModelChoice::Auto {
        let either = |asked: Option<bool>| asked.map_or(vec![false, true], |a| vec![a]);
        let specs: Vec<Spec> = either(options.engine_slope)
            .into_iter()
            .flat_map(|engine| either(options.valve_slope).into_iter().map(move |valve| (engine, valve)))
            .map(|(engine, valve)| Spec { engine, valve, ..Spec::plain(ModelKind::RandomSlope) })
            .collect();
        let tried: Vec<Result<Member, FitFailure>> = specs.iter().map(|s| fit(*s, Estimator::Ml)).collect();
        let bic = |t: &Result<Member, FitFailure>| t.as_ref().map_or(f64::INFINITY, Member::bic);
        let best = specs.iter().zip(&tried).min_by(|a, b| bic(a.1).total_cmp(&bic(b.1)));
        if let Some((best, _)) = best {
            spec = *best;
        }
        out.compared = specs
            .iter()
            .zip(&tried)
            .map(|(s, t)| Compared {
                model: s.words(),
                kind: ModelKind::RandomSlope,
                log_likelihood: t.as_ref().ok().map(|m| m.log_likelihood),
                parameters: t.as_ref().map_or(0, |m| m.parameters),
                bic: t.as_ref().ok().map(Member::bic),
                chosen: *s == spec && t.is_ok(),
                weight: f64::from(u8::from(*s == spec && t.is_ok())),
                note: t.as_ref().err().map(|u| u.reason.clone()).unwrap_or_default(),
            })
            .collect();
    }
    let basis = Basis {
        feature: &sums.features[feature as usize],
        names: Names { engines: &sums.engines, valves: &sums.valves },
        index: &index,
        zone: out.limits.as_ref().and_then(Zone::of),
        scope,
        running: &[],
        today: None,
    };
    match fit(spec, options.estimator) {
        Ok(member) => {
            let average = averaged(&member, options);
            let current: Vec<(usize, f64)> = index.current_segments().map(|s| (s, index.last[s])).collect();
            let fit = of_segments(&member, &average, &current, basis.zone, &index.group_names);
            fill(&mut out, &basis, fit, &Others::new());
        }
        Err(failure) => refused(&mut out, &basis, failure),
    }
    out
}

/// The query that makes the table of sums from a table of inspections with the columns of the inspections file, in standard SQL.
///
/// `quote` is the character that the engine takes for quoting names: `"` by the standard, a backtick for some. Date and hours must be of
/// types that sort as they run. A new hour meter (`meter`) begins no segment; a segment in which it was changed gets no `start_hours`, so that
/// the table is refused at its line: the hours of such a segment have to go on before they are summed.
///
/// ```
/// let sql = packdrift_trend::sums_sql("inspections", '"');
/// assert!(sql.starts_with("WITH flagged AS") && sql.contains("AS value_squares"));
/// ```
pub fn sums_sql(table: &str, quote: char) -> String {
    let q = |name: &str| format!("{quote}{name}{quote}");
    let (group, value, date, hours) = (q("group"), q("value"), q("date"), q("hours"));
    let names = "engine, valve, feature";
    let mut sql = String::new();
    let _ = write!(
        sql,
        "WITH flagged AS (
  SELECT {names}, {date} AS read_on, {hours} AS meter, {value} AS reading, NULLIF({group}, '') AS kind,
    CASE WHEN event IS NULL OR event IN ('', 'inspect', 'meter') THEN 0 ELSE 1 END AS begins,
    CASE WHEN event = 'meter' OR event LIKE '%+meter' OR event LIKE 'meter+%' THEN 1 ELSE 0 END AS changed
  FROM {table}
), numbered AS (
  SELECT {names}, meter, reading, kind,
    SUM(begins) OVER (PARTITION BY {names} ORDER BY read_on, changed, meter, begins ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)
      - FIRST_VALUE(begins) OVER (PARTITION BY {names} ORDER BY read_on, changed, meter, begins ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)
      + 1 AS segment,
    SUM(changed) OVER (PARTITION BY engine ORDER BY read_on) AS on_meter
  FROM flagged
), placed AS (
  SELECT {names}, segment, kind, meter, on_meter, reading,
    MIN(meter) OVER (PARTITION BY {names}, segment) AS start_hours,
    AVG(meter) OVER (PARTITION BY {names}, segment) AS mean_meter,
    AVG(reading) OVER (PARTITION BY {names}, segment) AS mean_reading
  FROM numbered
)
SELECT {names}, MAX(kind) AS {group}, segment,
  CASE WHEN MIN(on_meter) = MAX(on_meter) THEN MIN(meter) END AS start_hours, MAX(meter) AS last_hours, COUNT(*) AS readings,
  AVG(meter - start_hours) AS mean_hours, AVG(reading) AS mean_value,
  SUM((meter - mean_meter) * (meter - mean_meter)) AS hours_squares,
  SUM((meter - mean_meter) * (reading - mean_reading)) AS products,
  SUM((reading - mean_reading) * (reading - mean_reading)) AS value_squares
FROM placed
GROUP BY {names}, segment
"
    );
    sql
}
