//! What tightening a tolerance costs.

use super::Builder;
use super::dimension::Unit;
use crate::document::Item;
use crate::error::FaultKind;
use crate::units::{LengthUnit, MILLIMETRES_PER_INCH};
use packdrift_spread::Cost;

impl<'d> Builder<'d> {
    /// `cost = { fixed, scale, exponent }`, or `cost = { grades = [{ tol, price }, …] }`.
    pub(super) fn cost(&self, item: &Item<'d>, unit: Unit) -> Option<Cost> {
        let section = item.section()?;
        let Some(grades) = section.get("grades") else {
            let number = |key: &'static str, default: Option<f64>, least: f64, expected: &str| {
                let item = match default {
                    Some(_) => section.get(key),
                    None => section.require(key, expected),
                };
                let Some(item) = item else { return default };
                let number = item.number()?;
                if number.value < least || (least == 0.0 && default.is_none() && number.value == 0.0) {
                    item.refuse(FaultKind::OutOfRange, expected).done();
                    return None;
                }
                Some(number.value)
            };
            let fixed = number("fixed", Some(0.0), 0.0, "a price of 0 or more");
            let scale = number("scale", None, 0.0, "b of the cost a + b/tol^k, above 0");
            let exponent = number("exponent", Some(1.0), 0.1, "k of the cost a + b/tol^k, 0.1 or more");
            section.finish();
            let (fixed, scale, exponent) = (fixed?, scale?, exponent?);
            // b/tol^k with tol in inches is b·25.4^k/tol^k with tol in mm.
            let inches = unit == Unit::Length && self.units == LengthUnit::Inch;
            let scale = if inches { scale * MILLIMETRES_PER_INCH.powf(exponent) } else { scale };
            return Some(Cost::Power { fixed, scale, exponent });
        };
        let mut list: Vec<(f64, f64)> = Vec::new();
        let mut sound = true;
        for grade in grades.sections() {
            let tol = grade.require("tol", "the grade's tolerance").and_then(|item| self.width(&item, unit));
            let price = grade.require("price", "the grade's price").and_then(|item| {
                let price = item.number()?;
                if price.value >= 0.0 {
                    return Some(price.value);
                }
                item.refuse(FaultKind::OutOfRange, "a price of 0 or more").done();
                None
            });
            let span = grade.span();
            grade.finish();
            let Some((tol, price)) = tol.zip(price) else {
                sound = false;
                continue;
            };
            #[allow(clippy::float_cmp, reason = "the same number written twice")]
            if list.iter().any(|(other, _)| *other == tol) {
                let found = format!("a second grade of tol {tol}");
                self.document.report(FaultKind::DuplicateName, span, grades.key(), found, "each tolerance once").done();
                sound = false;
            }
            list.push((tol, price));
        }
        section.finish();
        if list.is_empty() && sound {
            grades.refuse(FaultKind::OutOfRange, "at least one grade").done();
            sound = false;
        }
        list.sort_by(|a, b| a.0.total_cmp(&b.0));
        sound.then_some(Cost::Grades(list))
    }
}
