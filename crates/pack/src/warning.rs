//! What is not wrong but should be known: where a law is used near or beyond the reach of its formula.

use crate::model::{Pack, PartKind, SpringLaw, SpringWasher};
use crate::spring::disc::Disc;
use crate::spring::wave::{WAVE_FACTOR_ELSEWHERE, wave_factor};
use crate::spring::{Spring, at};

/// Each says what happened, what it means for the result, and what to do.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum PackWarning {
    /// A disc with h0/t > √2: its load rises to a peak and falls again before it is flat.
    LoadFalls {
        /// Path of the part.
        path: String,
        /// h0/t.
        ratio: f64,
        /// Deflection of the largest load, mm.
        deflection: f64,
        /// The largest load, N.
        load: f64,
    },
    /// The equilibrium lies on the falling branch of such a disc.
    OnFallingBranch {
        /// Path of the part.
        path: String,
        /// Where.
        condition: String,
        /// mm.
        deflection: f64,
        /// Deflection of the largest load, mm.
        peak: f64,
    },
    /// A disc pressed beyond 0.75·h0: real discs roll over their edges and the load exceeds the formula.
    NearFlat {
        /// Path of the part.
        path: String,
        /// Where.
        condition: String,
        /// mm.
        deflection: f64,
        /// h0 (with its set), mm.
        cone_height: f64,
    },
    /// The flat worn onto an adjuster's tip is wider than the contact patch of the unworn tip.
    WornFlat {
        /// Path of the valve.
        path: String,
        /// Where.
        condition: String,
        /// Radius of the flat, mm.
        flat: f64,
        /// Radius of the unworn tip's contact patch, mm.
        patch: f64,
    },
    /// A disc of proportions for which the formula was not tested.
    OutsideTested {
        /// Path of the part.
        path: String,
        /// De/Di.
        diameter_ratio: f64,
        /// De/t.
        slenderness: f64,
        /// h0/t.
        cone_ratio: f64,
    },
    /// A wave washer with the factor of its handbook formula taken from a table, which not all sources share.
    WaveFactor {
        /// Path of the part.
        path: String,
        /// Number of waves.
        waves: u32,
        /// K.
        factor: f64,
    },
    /// A spring washer pressed flat while others go on.
    PressedFlat {
        /// Path of the part.
        path: String,
        /// Where.
        condition: String,
    },
}

/// De/Di, De/t and h0/t for which the standards' formulas for discs are tested: published guidance to EN 16984 (from memory).
pub(crate) const TESTED: [(f64, f64); 3] = [(1.75, 2.5), (16.0, 40.0), (0.4, 1.3)];

/// Share of h0 up to which EN 16983 states loads, and beyond which the formula is too soft.
const STATED_SHARE: f64 = 0.75;

impl std::fmt::Display for PackWarning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::LoadFalls { path, ratio, deflection, load } => write!(
                f,
                "{path}: with h0/t = {ratio:.3}, above 1.414, the load stops rising at {deflection:.3} mm ({load:.1} N) and \
                 falls again; with other spring washers in the bay the first, rising branch is used as far as it goes. \
                 Choose a thicker or flatter disc, or keep the bay below that deflection"
            ),
            Self::OnFallingBranch { path, condition, deflection, peak } => write!(
                f,
                "{path}: in condition {condition} the disc is pressed {deflection:.3} mm, past its largest load at \
                 {peak:.3} mm: squeezing the pack further lowers the preload, and a soft partner may let the disc snap flat. \
                 Take thickness out of the bay"
            ),
            Self::NearFlat { path, condition, deflection, cone_height } => write!(
                f,
                "{path}: in condition {condition} the disc is pressed {deflection:.3} mm, more than three quarters of its \
                 cone height of {cone_height:.3} mm: real discs carry more there than the formula says. Take thickness out \
                 of the bay, or measure the disc and give its table"
            ),
            Self::WornFlat { path, condition, flat, patch } => write!(
                f,
                "{path}: in condition {condition} the flat worn onto the adjuster's tip (radius {flat:.3} mm) is wider than the \
                 contact patch of an unworn tip ({patch:.3} mm): the contact pressure shown is that of the unworn tip, and the \
                 rim of the flat may carry more. Dress or replace the adjuster"
            ),
            Self::OutsideTested { path, diameter_ratio, slenderness, cone_ratio } => {
                let outside: Vec<String> = ["De/Di", "De/t", "h0/t"]
                    .iter()
                    .zip([diameter_ratio, slenderness, cone_ratio])
                    .zip(TESTED)
                    .filter(|((_, value), range)| !within(**value, *range))
                    .map(|((name, value), (low, high))| format!("{name} = {value:.3}, tested from {low} to {high}"))
                    .collect();
                write!(
                    f,
                    "{path}: the disc's proportions lie outside those that the load formula was tested for ({}): there \
                     real loads may differ from it by more than its usual few per cent. Measure the \
                     load and give the disc's table, or choose a disc inside the range",
                    outside.join("; ")
                )
            }
            Self::WaveFactor { path, waves, factor } => write!(
                f,
                "{path}: the load of a washer of {waves} waves rests on the factor K = {factor} of a handbook table; other printed \
                 forms imply K = {WAVE_FACTOR_ELSEWHERE}, {:+.0} % of the load. Measure the rate (law = \"linear\") or the load (law = \
                 \"table\"), or give the maker's `factor`",
                100.0 * (factor / WAVE_FACTOR_ELSEWHERE - 1.0)
            ),
            Self::PressedFlat { path, condition } => write!(
                f,
                "{path}: in condition {condition} the washer is pressed flat and acts as a solid; the others of its bay carry \
                 on alone. A washer kept flat sets: take thickness out of the bay, or use a stiffer washer"
            ),
        }
    }
}

pub(crate) fn within(value: f64, (low, high): (f64, f64)) -> bool {
    // A ratio of drawn dimensions at the very end of the range is in it, whatever binary makes of it.
    value >= low * (1.0 - 1e-9) && value <= high * (1.0 + 1e-9)
}

/// What holds of a washer in every condition: its proportions and where its law comes from.
pub(crate) fn of_washer(washer: &SpringWasher, path: &str, x: &[f64]) -> Vec<PackWarning> {
    let mut warnings = Vec::new();
    match &washer.law {
        SpringLaw::Disc { outer_diameter, inner_diameter, thickness, cone_height, .. } => {
            // At the reference temperature: a disc's proportions do not change with it.
            let [outer, inner, t, h0] = [outer_diameter, inner_diameter, thickness, cone_height].map(|id| at(x, *id));
            let ratios = [outer / inner, outer / t, h0 / t];
            if !ratios.iter().zip(TESTED).all(|(ratio, range)| within(*ratio, range)) {
                let [diameter_ratio, slenderness, cone_ratio] = ratios;
                let path = path.to_owned();
                warnings.push(PackWarning::OutsideTested { path, diameter_ratio, slenderness, cone_ratio });
            }
            if let Some(spring) = Spring::new(washer, 1.0, x).filter(Spring::falls) {
                warnings.push(PackWarning::LoadFalls {
                    path: path.to_owned(),
                    ratio: spring.room / spring.flat_height,
                    deflection: spring.peak,
                    load: spring.peak_load,
                });
            }
        }
        #[allow(clippy::float_cmp, reason = "a copy of the table's value")]
        SpringLaw::Wave { waves, factor, .. } if *factor == wave_factor(*waves) => {
            warnings.push(PackWarning::WaveFactor { path: path.to_owned(), waves: *waves, factor: *factor });
        }
        _ => {}
    }
    warnings
}

impl Pack {
    /// What should be known of the pack at one vector of dimension values, over all bays and conditions.
    ///
    /// Bays that are loose or cannot be assembled are results, not warnings, and give none of their own.
    pub fn warnings(&self, x: &[f64]) -> Vec<PackWarning> {
        let mut warnings = Vec::new();
        for (index, bay) in self.bays.iter().enumerate() {
            for part in &bay.parts {
                let PartKind::Spring(washer) = &part.kind else { continue };
                let path = format!("{}/{}", bay.name, part.name);
                warnings.extend(of_washer(washer, &path, x));
            }
            for (k, condition) in self.conditions.iter().enumerate() {
                for valve in &bay.valves {
                    let Some(contact) = &valve.contact else { continue };
                    let (flat, patch) = self.contact_values(contact, k, x).flat_and_patch();
                    if flat > patch {
                        let path = format!("{}/{}", bay.name, valve.name);
                        warnings.push(PackWarning::WornFlat { path, condition: condition.name.clone(), flat, patch });
                    }
                }
                let Ok(equilibrium) = self.equilibrium(index, k, x) else { continue };
                for state in &equilibrium.springs {
                    let part = &bay.parts[state.part];
                    let PartKind::Spring(washer) = &part.kind else { continue };
                    let path = format!("{}/{}", bay.name, part.name);
                    let condition = condition.name.clone();
                    let peak = Spring::new(washer, self.part_growth(index, state.part, k), x)
                        .filter(Spring::falls)
                        .map(|spring| spring.peak);
                    let deflection = state.deflection;
                    if state.flat {
                        warnings.push(PackWarning::PressedFlat { path, condition });
                    } else if let Some(peak) = peak.filter(|peak| deflection > *peak) {
                        warnings.push(PackWarning::OnFallingBranch { path, condition, deflection, peak });
                    } else if matches!(washer.law, SpringLaw::Disc { .. }) && deflection > STATED_SHARE * state.room {
                        let cone_height = state.room;
                        warnings.push(PackWarning::NearFlat { path, condition, deflection, cone_height });
                    }
                }
            }
        }
        warnings
    }

    /// The disc of a part at a condition's temperature, with its set, for stresses and drawings; None where the part is no
    /// disc. A friction factor acts on the load, not on the stresses.
    ///
    /// # Panics
    ///
    /// If an index is not of this pack.
    pub fn disc(&self, bay: usize, part: usize, condition: usize, x: &[f64]) -> Option<Disc> {
        let PartKind::Spring(washer) = &self.bays[bay].parts[part].kind else { return None };
        crate::stress::disc_of(washer, self.part_growth(bay, part, condition), x)
    }

    pub(crate) fn part_growth(&self, bay: usize, part: usize, condition: usize) -> f64 {
        crate::equilibrium::growth(
            self.bays[bay].parts[part].expansion,
            &self.conditions[condition],
            self.reference_temperature,
        )
    }
}
