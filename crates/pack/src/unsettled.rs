//! Spring washers whose load their formula does not settle: proportions that it was not tested for, a handbook factor that sources do not agree on.
//!
//! What rests on such a load is shown only where it holds with another load too: by the factor that the sources differ by, both ways.

use crate::model::{Elastic, Pack, PartKind, SpringLaw, SpringWasher};
use crate::spring::wave::WAVE_FACTOR_ELSEWHERE;
use crate::warning::{PackWarning, of_washer};

/// A disc outside the proportions that its formula was tested for: how far its load may be off is not published in a form that could be computed
/// (`docs/disc-spring.md`). A tenth is several times the few per cent within the tested range; our own, no source.
const UNTESTED_DISC: f64 = 1.1;

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
        PackWarning::OutsideTested { .. } => Some(UNTESTED_DISC),
        PackWarning::WaveFactor { factor, .. } => {
            Some((factor / WAVE_FACTOR_ELSEWHERE).max(WAVE_FACTOR_ELSEWHERE / factor))
        }
        _ => None,
    }
}
