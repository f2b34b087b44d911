//! The answer for a pack that is written in inches. The models reckon in mm; here, and nowhere else, an answer's lengths become inches.
//!
//! Only lengths are converted: loads stay N, stresses MPa, rates N/mm, as in the file.

use crate::allocate::Allocation;
use crate::analyse::NeverBinds;
use crate::result::{Contributor, RequirementResult, Source, StackResult};
use crate::stack::Stack;
use crate::warning::Warning;

/// in a mm.
const INCHES: f64 = 1.0 / 25.4;

impl StackResult {
    /// The same answer with its lengths in inches of 25.4 mm; one that is in inches already stays as it is.
    #[must_use]
    pub fn in_inches(mut self, stack: &Stack) -> Self {
        if self.length_unit != "mm" {
            return self;
        }
        self.length_unit = "in";
        let titles: Vec<(String, f64)> =
            self.requirements.iter().map(|r| (format!("{} ({})", r.name, r.condition), factor(r.unit))).collect();
        for change in &mut self.questions.changes {
            let by = self.requirements.iter().find(|r| r.name == change.name).map_or(1.0, |r| factor(r.unit));
            scale([&mut change.nominal, &mut change.mean, &mut change.sd], by);
        }
        for answer in self.questions.answers.iter_mut().flatten() {
            let by = of_source(stack, answer.source);
            scale([&mut answer.shift_to_centre], by);
        }
        self.requirements.iter_mut().for_each(|r| requirement(stack, r));
        for warning in &mut self.warnings {
            of_warning(warning, &titles);
        }
        self
    }
}

impl Allocation {
    /// The same answer with its tolerances in inches of 25.4 mm; one that is in inches already stays as it is. What they cost is in the money of the file.
    #[must_use]
    pub fn in_inches(mut self, stack: &Stack) -> Self {
        if self.length_unit != "mm" {
            return self;
        }
        self.length_unit = "in";
        self.never_binds = self.never_binds.into_iter().map(NeverBinds::in_inches).collect();
        for allocated in &mut self.dimensions {
            let by = factor(stack.pack.dimensions[allocated.input].unit);
            allocated.tol_now *= by;
            allocated.tol *= by;
        }
        let unit = |r: &crate::stack::Requirement| factor(r.quantity.kind().unit());
        let condition = |r: &crate::stack::Requirement| stack.pack.conditions.get(r.condition).map_or("", |c| &c.name);
        let titles: Vec<(String, f64)> =
            stack.requirements.iter().map(|r| (format!("{} ({})", r.name, condition(r)), unit(r))).collect();
        for warning in &mut self.warnings {
            of_warning(warning, &titles);
        }
        self
    }
}

/// By what a value in this unit is multiplied.
fn factor(unit: &str) -> f64 {
    if unit == "mm" { INCHES } else { 1.0 }
}

fn of_source(stack: &Stack, source: Source) -> f64 {
    match source {
        Source::Input(input) => factor(stack.pack.dimensions[input].unit),
        // What a packet's pieces have in common is a length.
        Source::Lot(_) => INCHES,
    }
}

fn scale<const N: usize>(values: [&mut Option<f64>; N], by: f64) {
    values.into_iter().flatten().for_each(|value| *value *= by);
}

fn requirement(stack: &Stack, r: &mut RequirementResult) {
    let by = factor(r.unit);
    for at in [&mut r.worst_case.at_min, &mut r.worst_case.at_max] {
        at.iter_mut().zip(&stack.pack.dimensions).for_each(|(value, dimension)| *value *= factor(dimension.unit));
    }
    for Contributor { source, sensitivity, .. } in &mut r.contributors {
        *sensitivity *= by / of_source(stack, *source);
    }
    if r.unit != "mm" {
        return;
    }
    r.unit = "in";
    let in_mm: Vec<NeverBinds> = std::mem::take(&mut r.never_binds);
    r.never_binds = in_mm.iter().cloned().map(NeverBinds::in_inches).collect();
    for (from, to) in in_mm.iter().zip(&r.never_binds) {
        let (from, to) = (from.verdict(), to.verdict());
        r.doubts.iter_mut().chain(&mut r.verdict).for_each(|verdict| verdict.reword(&from, &to));
    }
    // What was written in inches stands there as it was written, not 0.03460000000000001.
    for given in [&mut r.lower, &mut r.upper, &mut r.target].into_iter().flatten() {
        *given = (*given * by * 1e12).round() / 1e12;
    }
    scale([&mut r.nominal, &mut r.worst_case.min, &mut r.worst_case.max], by);
    let spread = &mut r.spread;
    scale([&mut spread.mean, &mut spread.sd, &mut spread.standard_error], by);
    if let Some(first) = &mut r.root_sum_square {
        first.mean *= by;
        first.sd *= by;
    }
    for quantile in &mut spread.quantiles {
        quantile.value *= by;
        scale([&mut quantile.standard_error], by);
    }
    if let Some(histogram) = &mut spread.histogram {
        histogram.lower *= by;
        histogram.width *= by;
    }
    for point in r.moved.iter_mut().flat_map(|moved| moved.lower.iter_mut().chain(&mut moved.upper)) {
        point.limit *= by;
    }
}

fn of_warning(warning: &mut Warning, titles: &[(String, f64)]) {
    let by = |requirement: &str| titles.iter().find(|(title, _)| title == requirement).map_or(1.0, |title| title.1);
    match warning {
        Warning::NeverBinds { limit, reach, unit, .. } if *unit == "mm" => {
            *limit *= INCHES;
            scale([reach], INCHES);
            *unit = "in";
        }
        Warning::Nonlinear { requirement, first_order, sd }
        | Warning::WidenedByFewReadings { requirement, first_order, sd, .. } => {
            let by = by(requirement);
            *first_order *= by;
            *sd *= by;
        }
        _ => {}
    }
}
