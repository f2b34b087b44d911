//! Spring washers whose load their formula does not settle: proportions that it was not tested for, a handbook factor that sources do not agree on.
//!
//! What rests on such a load is shown only where it holds with another load too: by the factor that the sources differ by, both ways.

use crate::model::{Elastic, Pack, PartKind, SpringLaw, SpringWasher};
use crate::spring::wave::WAVE_FACTOR_ELSEWHERE;
use crate::warning::{PackWarning, TESTED, of_washer, within};

/// A disc outside the proportions that its formula was tested for: how far its load may be off is not published in a form that could be computed
/// (`docs/disc-spring.md`). A tenth is several times the few per cent within the tested range; our own, no source.
const UNTESTED_DISC: f64 = 1.1;

/// The flattest discs of the tables of EN 16983, series A: their printed loads are the formula's to 1.3 % (`crates/pack/tests/laws.rs`), although the guidance
/// for tested proportions begins at h0/t = 0.4.
const FLATTEST_IN_TABLES: f64 = 0.36;

/// A spring washer whose load is known but roughly.
#[derive(Debug, Clone, PartialEq)]
pub struct UnsettledLoad {
    /// Index of its bay.
    pub bay: usize,
    /// Index of its part.
    pub part: usize,
    /// Path of the part.
    pub path: String,
    /// Its load may be this many times as large, or as small a part; above 1.
    pub factor: f64,
}

impl Pack {
    /// The spring washers of the pack whose load their formula does not settle, at one vector of dimension values.
    pub fn unsettled_loads(&self, x: &[f64]) -> Vec<UnsettledLoad> {
        let mut unsettled = Vec::new();
        for (bay, data) in self.bays.iter().enumerate() {
            for (part, of_part) in data.parts.iter().enumerate() {
                let PartKind::Spring(washer) = &of_part.kind else { continue };
                let path = format!("{}/{}", data.name, of_part.name);
                let factor = of_washer(washer, &path, x).iter().find_map(factor_of).filter(|factor| *factor > 1.0);
                unsettled.extend(factor.map(|factor| UnsettledLoad { bay, part, path, factor }));
            }
        }
        unsettled
    }

    /// The same pack with the load and the stress of one spring washer times a factor; nothing changes where its law is a rate or a table.
    #[must_use]
    pub fn with_load_times(mut self, bay: usize, part: usize, factor: f64) -> Self {
        if let Some(PartKind::Spring(SpringWasher { law, .. })) =
            self.bays.get_mut(bay).and_then(|bay| bay.parts.get_mut(part)).map(|part| &mut part.kind)
        {
            match law {
                // Loads and stresses go with Young's modulus.
                SpringLaw::Disc { elastic: Elastic { youngs_modulus, .. }, .. }
                | SpringLaw::Wave { elastic: Elastic { youngs_modulus, .. }, .. }
                | SpringLaw::Curved { elastic: Elastic { youngs_modulus, .. }, .. } => *youngs_modulus *= factor,
                SpringLaw::Linear { .. } | SpringLaw::Table { .. } => {}
            }
        }
        self
    }
}

fn factor_of(warning: &PackWarning) -> Option<f64> {
    match warning {
        PackWarning::OutsideTested { diameter_ratio, slenderness, cone_ratio, .. } => {
            let [of_diameters, of_slenderness, (_, tallest)] = TESTED;
            let in_tables = within(*diameter_ratio, of_diameters)
                && within(*slenderness, of_slenderness)
                && within(*cone_ratio, (FLATTEST_IN_TABLES, tallest));
            (!in_tables).then_some(UNTESTED_DISC)
        }
        PackWarning::WaveFactor { factor, .. } => {
            Some((factor / WAVE_FACTOR_ELSEWHERE).max(WAVE_FACTOR_ELSEWHERE / factor))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(diameter_ratio: f64, slenderness: f64, cone_ratio: f64) -> Option<f64> {
        factor_of(&PackWarning::OutsideTested { path: String::new(), diameter_ratio, slenderness, cone_ratio })
    }

    #[test]
    fn the_flat_discs_of_the_standard_are_settled() {
        // De 25, series A of EN 16983 (from memory): 25 × 12.2 × 1.5, h0 0.55.
        assert_eq!(of(25.0 / 12.2, 25.0 / 1.5, 0.55 / 1.5), None);
        // Flatter, taller, wider or thinner ones are in no table.
        for (diameters, slenderness, cone) in [(2.0, 20.0, 0.3), (2.0, 20.0, 1.4), (1.5, 20.0, 0.38), (2.0, 50.0, 0.38)]
        {
            assert_eq!(of(diameters, slenderness, cone), Some(UNTESTED_DISC));
        }
    }
}
