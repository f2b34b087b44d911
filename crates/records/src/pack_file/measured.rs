//! Dimensions that were measured: a part's own readings, or the readings of its lot.

use super::Builder;
use super::dimension::Unit;
use super::known;
use crate::document::Section;
use crate::error::FaultKind;
use crate::sample::read_sample;
use crate::units::LengthUnit;
use packdrift_spread::Distribution;

impl<'d> Builder<'d> {
    pub(super) fn readings(&mut self, section: &Section<'d>, unit: Unit, of_lot: bool) -> Option<Distribution> {
        let item = section.get("readings")?;
        if of_lot {
            let help = "a reading already holds whatever its packet did to the part";
            section.get("lot")?.refuse(FaultKind::Contradiction, "no `lot` beside `readings`").help(help).done();
            return None;
        }
        let elements = item.elements("a list of readings, such as [0.402, 0.404]")?;
        let readings: Vec<Option<f64>> =
            elements.iter().map(|element| self.quantity(element, unit).map(|number| number.value)).collect();
        let readings: Vec<f64> = readings.into_iter().collect::<Option<_>>()?;
        let given = |key: &'static str| match section.get(key) {
            None => Some(None),
            Some(item) => self.width(&item, unit).map(Some),
        };
        let (u, resolution) = (given("u")?, given("resolution")?.unwrap_or(0.0));
        if readings.is_empty() {
            item.refuse(FaultKind::OutOfRange, "at least one reading").done();
            return None;
        }
        if readings.len() == 1 && u.is_none() {
            let help = "one reading alone does not tell how far off it may be";
            section.missing("u", "the instrument's standard uncertainty").help(help).done();
            return None;
        }
        Some(known::measured(&readings, u.unwrap_or(0.0), resolution))
    }

    pub(super) fn sample(&mut self, section: &Section<'d>, unit: Unit) -> Option<Distribution> {
        let file = section.get("sample")?;
        let name = file.text()?;
        let column = match section.get("column") {
            Some(item) => item.text()?.value,
            None => "reading".to_owned(),
        };
        let resolution = match section.get("resolution") {
            Some(item) => self.width(&item, unit)?,
            None => 0.0,
        };
        let scale = if unit == Unit::Length { self.units } else { LengthUnit::Millimetre };
        let sample = file.named_file(&name.value, |path| read_sample(path, &column, scale))?;
        for input in sample.inputs {
            if !self.inputs_read.contains(&input) {
                self.inputs_read.push(input);
            }
        }
        self.notices.extend(sample.notices);
        if sample.value.len() < 2 {
            file.refuse(FaultKind::OutOfRange, "a sample of at least two readings").done();
            return None;
        }
        Some(known::sampled(sample.value.into(), resolution))
    }
}
