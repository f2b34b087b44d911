//! Lots as JSON, documented in docs/results.md.

use super::Lots;
use crate::envelope::{Document, Envelope};
use packdrift_lot::capability::Form;
use packdrift_lot::chart::{Chart, ChartKind, SignalKind, Trace};
use packdrift_lot::packets::{Coefficient, DeviationForm};
use packdrift_lot::shape::{NormalityTest, PValueMethod};
use packdrift_lot::{Basis, Interval, LotResult, LotStudy, Process, ShareOutside};
use packdrift_lotpack::{Agreement, LotInPack};
use packdrift_verdict::{LOT, Verdict};
use serde::Serialize;
use serde_json::{Value, json};

/// The study under its envelope.
pub fn json<'a>(envelope: &'a Envelope, shown: &'a Lots) -> Document<'a, impl Serialize + 'a> {
    let (study, unit) = (&shown.study, shown.unit());
    envelope.around(Answered {
        units: unit,
        acceptable: shown.acceptable(),
        max_out: study.options.max_out,
        confidence: study.options.confidence,
        gauge_sd: study.gauge_sd,
        lots: study.lots.iter().map(|l| lot(l, study)).collect(),
        components: components(study),
        deviations: study.deviations.as_ref().map_or(Value::Null, deviations),
        process: study.process.map_or(Value::Null, process),
        sizes: study
            .groups
            .iter()
            .map(|g| {
                let lots: Vec<&str> = g.lots.iter().map(|&k| study.lots[k].name.as_str()).collect();
                json!({ "nominal": g.nominal, "lots": lots, "process": g.process.map_or(Value::Null, process) })
            })
            .collect(),
        set_aside: study
            .set_aside
            .iter()
            .map(|s| {
                let word = |v: Option<&Verdict>| v.map(|v| v.word(&LOT));
                json!({ "lot": s.lot, "line": s.line, "reading": s.reading, "reason": s.reason,
                        "with": word(s.with.as_ref()), "without": word(s.without.as_ref()) })
            })
            .collect(),
        without: study.without.as_ref().map_or(Value::Null, |w| json!({
            "lots": w.lots.iter().map(|l| lot(l, w)).collect::<Vec<_>>(), "process": w.process.map_or(Value::Null, process) })),
        paste: super::paste::toml(study, unit),
        in_pack: shown.packs.iter().map(|pack| in_pack(pack, shown)).collect(),
        not_in_pack: shown.left_out.iter().map(|l| json!({ "lot": l.lot, "reason": l.reason })).collect(),
    })
}

#[derive(Serialize)]
struct Answered {
    units: &'static str,
    acceptable: bool,
    max_out: f64,
    confidence: f64,
    gauge_sd: f64,
    lots: Vec<Value>,
    components: Value,
    deviations: Value,
    process: Value,
    sizes: Vec<Value>,
    set_aside: Vec<Value>,
    without: Value,
    paste: String,
    in_pack: Vec<Value>,
    not_in_pack: Vec<Value>,
}

fn ends(interval: Interval) -> Value {
    json!([interval.lower, interval.upper])
}

fn maybe(interval: Option<Interval>) -> Value {
    interval.map_or(Value::Null, ends)
}

fn test(test: Option<NormalityTest>) -> Value {
    test.map_or(Value::Null, |t| match t.method {
        PValueMethod::Continuous => json!({ "statistic": t.statistic, "p_value": t.p_value, "method": "continuous" }),
        PValueMethod::Simulated { samples, standard_error } => {
            json!({ "statistic": t.statistic, "p_value": t.p_value, "method": "simulated", "samples": samples, "standard_error": standard_error })
        }
    })
}

fn form(form: &Form) -> &'static str {
    match form {
        Form::Normal => "normal",
        Form::Percentile(curve) => curve.family(),
    }
}

fn process(p: Process) -> Value {
    json!({ "bias": p.bias, "mean_se": p.mean_se, "between_sd": p.between_sd, "within_sd": p.within_sd, "total_sd": p.total_sd,
            "Cp": p.cp, "Cpk": p.cpk, "Pp": p.pp, "Ppk": p.ppk, "share_outside": p.share_outside })
}

fn verdict(lot: &LotResult, verdict: Option<&Verdict>) -> &'static str {
    match verdict {
        None => "no limits",
        Some(_) if lot.n < 2 => "too few",
        Some(verdict) => verdict.word(&LOT),
    }
}

fn share(s: ShareOutside) -> Value {
    let mut basis = json!({ "kind": super::why::basis(&s) });
    match s.basis {
        Basis::Shapes { deciding, likeliest } => {
            (basis["deciding"], basis["likeliest"]) = (json!(deciding.name()), json!(likeliest.name()));
        }
        Basis::Order { correlation } => basis["correlation"] = json!(correlation),
        Basis::Sorted { u, assumed, claimed } => {
            (basis["u"], basis["assumed"], basis["claimed"]) = (json!(u), json!(assumed), json!(claimed));
        }
        Basis::Normal | Basis::Count | Basis::Curve => {}
    }
    json!({
        "form": form(&s.form), "below": s.below, "above": s.above, "total": s.total(), "upper_bound": s.upper_bound, "lower_bound": s.lower_bound,
        "basis": basis, "normal_upper_bound": s.normal_upper_bound, "in_doubt": s.in_doubt,
        "counted": s.counted, "counted_upper_bound": s.counted_upper_bound, "counted_lower_bound": s.counted_lower_bound })
}

fn lot(lot: &LotResult, study: &LotStudy) -> Value {
    let judged = study.verdict(lot);
    let open = judged.as_ref().is_some_and(|v| !v.is_shown() && v.standing() != packdrift_verdict::Standing::Adverse);
    json!({
        "lot": lot.name,
        "verdict": verdict(lot, judged.as_ref()),
        "reasons": judged.as_ref().map_or(&[][..], |v| v.reasons()),
        "settled_by": open.then(|| super::why::remedy(lot, study)).filter(|s| !s.is_empty()),
        "neighbours_alike": lot.neighbours_alike,
        "parts": lot.n,
        "readings": lot.readings,
        "nominal": lot.drawing.nominal,
        "lower": lot.drawing.lower,
        "upper": lot.drawing.upper,
        "mean": lot.mean,
        "mean_interval": maybe(lot.mean_interval),
        "sd": lot.sd,
        "parts_sd": lot.parts_sd,
        "sd_interval": maybe(lot.sd_interval),
        "minimum": lot.minimum,
        "median": lot.median,
        "maximum": lot.maximum,
        "deviation": lot.deviation.map_or(Value::Null, |d| json!({
            "value": d.value, "interval": ends(d.interval), "percent": d.percent, "percent_interval": maybe(d.percent_interval), "p_value": d.p_value })),
        "share_outside": lot.share_outside.map_or(Value::Null, share),
        "capability": lot.capability.map_or(Value::Null, |c| json!({
            "form": form(&c.form), "Pp": c.pp, "Pp_interval": maybe(c.pp_interval), "Ppk": c.ppk, "Ppk_interval": ends(c.ppk_interval), "Ppk_lower": c.ppk_lower })),
        "tolerance": lot.tolerance.map_or(Value::Null, |t| json!({
            "content": t.content, "confidence": t.confidence, "k_one_sided": t.one_sided_factor, "above": t.one_sided.from, "below": t.one_sided.to,
            "k_two_sided": t.two_sided_factor, "two_sided": ends(t.two_sided), "distribution_free": maybe(t.free_two_sided) })),
        "shape": {
            "normal_contradicted": lot.shape.contradicts_normal(),
            "anderson_darling": test(lot.shape.anderson_darling),
            "shapiro_wilk": test(lot.shape.shapiro_wilk),
            "skewness": lot.shape.skewness,
            "step": lot.shape.resolution.step(),
        },
        "outliers": lot.outliers.named.iter().map(|o| json!({
            "line": lot.parts.get(o.index).map(|p| p.line), "reading": o.value, "deviate": o.deviate, "critical": o.critical })).collect::<Vec<_>>(),
        "chart": lot.chart.as_ref().map_or(Value::Null, chart),
        "guard_band": lot.guard.zip(lot.proofs).map_or(Value::Null, |(g, p)| json!({
            "width": g.width, "accept_from": g.accept_from, "accept_to": g.accept_to,
            "conforming": p.conforming, "not_conforming": p.not_conforming, "neither": p.neither })),
    })
}

fn chart(chart: &Chart) -> Value {
    let (kind, size) = match chart.kind {
        ChartKind::IndividualsMovingRange => ("individuals and moving range", 1),
        ChartKind::MeanRange(n) => ("means and ranges", n),
        ChartKind::MeanSd(n) => ("means and standard deviations", n),
    };
    let trace = |t: &Trace| {
        json!({ "centre": t.centre, "lower": t.lower, "upper": t.upper,
        "signals": t.signals.iter().map(|s| json!({ "point": s.point + 1, "kind": match s.kind {
            SignalKind::BeyondLimit => "beyond limit",
            SignalKind::OneSide => "nine on one side",
            SignalKind::Drift => "six rising or falling",
            SignalKind::NearLimit => "two of three near a limit",
        } })).collect::<Vec<_>>() })
    };
    json!({ "kind": kind, "subgroup": size, "sd_within": chart.sd_within, "steady": chart.is_steady(), "chance": chart.chance, "location": trace(&chart.location), "scatter": trace(&chart.scatter) })
}

fn components(study: &LotStudy) -> Value {
    study.components.map_or(Value::Null, |c| {
        json!({
            "lots": c.lots, "readings": c.readings, "balanced": c.balanced,
            "within_sd": c.reml.estimate.within_sd, "within_interval": ends(c.within_interval),
            "between_sd": c.reml.estimate.between_sd, "between_interval": ends(c.between_interval),
            "mean": c.reml.estimate.mean, "mean_se": c.reml.estimate.mean_se,
            "log_likelihood": c.reml.log_likelihood, "at_boundary": c.reml.at_boundary,
            "anova": { "within_sd": c.anova.within_sd, "between_sd": c.anova.between_sd, "between_variance": c.anova_between_variance,
                       "F": c.table.f, "p_value": c.table.p_value },
        })
    })
}

fn deviations(model: &packdrift_lot::packets::DeviationModel) -> Value {
    let coefficient = |c: Coefficient| json!({ "value": c.value, "standard_error": c.standard_error, "interval": ends(c.interval), "p_value": c.p_value });
    json!({
        "form": match model.form {
            DeviationForm::None => "none",
            DeviationForm::Constant => "constant",
            DeviationForm::Proportional => "proportional",
            DeviationForm::Both => "both",
            DeviationForm::CannotTell => "cannot tell",
        },
        "constant": coefficient(model.constant),
        "proportional": coefficient(model.proportional),
        "constant_beside": model.constant_beside.map_or(Value::Null, coefficient),
        "proportional_beside": model.proportional_beside.map_or(Value::Null, coefficient),
        "lot_to_lot_sd": model.lot_to_lot_sd,
        "lots": model.lots,
    })
}

fn in_pack(pack: &LotInPack, shown: &Lots) -> Value {
    let points = |list: &[(f64, f64)]| list.iter().map(|p| json!([p.0, p.1])).collect::<Vec<_>>();
    json!({
        "lot": pack.lot,
        "stands_for": pack.stands_for,
        "dimensions": pack.dimensions,
        "verdict": pack.verdict.word(&LOT),
        "fails_already": pack.requirements.iter().any(packdrift_lotpack::RequirementInPack::fails_already),
        "agreement": match pack.agreement {
            Agreement::BothAccept => "both accept",
            Agreement::BothRefuse => "both refuse",
            Agreement::PackBearsIt => "the pack bears it",
            Agreement::DrawingDoesNotProtect => "the drawing does not protect",
            Agreement::Open => "open",
        },
        "chance_acceptable": pack.chance_acceptable,
        "bias": pack.bias, "sd": pack.sd, "assumed_bias": pack.assumed_bias, "assumed_sd": pack.assumed_sd,
        "bias_room": maybe(pack.bias_room), "largest_sd": pack.largest_sd,
        "requirements": pack.requirements.iter().map(|r| json!({
            "name": r.name, "condition": r.condition, "max_out": r.max_out, "today": r.today.total, "fitted": r.fitted,
            "fitted_standard_error": r.fitted_standard_error, "without": r.without, "depends": r.depends, "verdict": r.verdict.word(&LOT),
            "upper_bound": r.upper_bound, "lower_bound": r.lower_bound, "empirical": r.empirical,
            "acceptable_today": r.acceptable_today, "acceptable": r.acceptable })).collect::<Vec<_>>(),
        "map": { "bias": pack.map.bias, "sd": pack.map.sd, "ratio": pack.map.ratio, "deciding": pack.map.deciding,
                 "frontier": points(&pack.map.frontier), "drawing_frontier": points(&pack.map.drawing_frontier), "region": points(&pack.map.region) },
        "warnings": pack.warnings.iter().map(|w| w.words(shown.unit(), &|mm| shown.lengths.of(mm))).collect::<Vec<_>>(),
    })
}
