//! What the reviewer may ask of a study of lots.

use crate::LotError;
use crate::error::{not_negative, share};
use crate::posterior::SpecificationLimits;
use crate::readings::Drawing;
use packdrift_numerics::normal;
use packdrift_numerics::stream::DEFAULT_SEED;

/// What is known of the instrument, mm.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Instrument {
    /// Standard uncertainty u of one reading, calibration and all; None where not stated. Guard bands rest on it, and the bounds hold with all readings off
    /// by what of it is the same each time.
    pub uncertainty: Option<f64>,
    /// Standard deviation of repeated readings of one part (repeatability and, where operators changed, reproducibility); None: from
    /// repeat readings in the table, if there are any. The lot's sd is corrected for it. The constant part of u scatters nothing and is
    /// not taken off.
    pub repeatability: Option<f64>,
    /// Whether a study of the gauge found that repeatability. What is only stated makes no lot acceptable that is not without it.
    pub repeatability_shown: bool,
    /// Step in which it reads; None: found from the readings.
    pub step: Option<f64>,
}

impl Instrument {
    /// By how much all readings may be off alike, mm, one-sided with the confidence: the part of u that is not its repeatability (mm) is the same each time
    /// and averages away in no lot, k·√(u² − repeatability²) with the normal k (JCGM 100:2008, 4.3 and 6.3). 0 where no u is stated.
    pub fn common_error(&self, repeatability: f64, confidence: f64) -> f64 {
        let u = self.uncertainty.unwrap_or(0.0);
        normal::quantile(confidence) * (u * u - repeatability * repeatability).max(0.0).sqrt()
    }
}

/// In which order the parts were made.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Order {
    /// By the numbers of the parts, where all of a lot's parts are numbered; otherwise unknown.
    ByNumber,
    /// As the rows stand in the file.
    AsListed,
    /// Unknown: no charts. Numbers given at a bench are not the order made, so this is what holds unless somebody says otherwise.
    #[default]
    Unknown,
}

/// What is known of the shape of the lots' scatter.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum ShapeKnowledge {
    /// Nothing: whatever the readings do not rule out counts.
    #[default]
    Unknown,
    /// All lots of the table scatter alike, so that their readings together tell the shape.
    Alike,
    /// Normal, known from long experience with such parts. Readings that contradict it are believed instead.
    Normal,
}

/// A lot sorted piece by piece through the drawing's limits before it was delivered.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Sorting {
    /// Standard uncertainty of the sorting gauge by a study of it, mm; None: not known, taken as a sixtieth of the distance of the limits, and no lot is shown
    /// by that. One below half of that sixtieth is taken for no statement either. Above a quarter of the distance of the limits the sorting counts for nothing.
    pub uncertainty: Option<f64>,
}

/// The sorting gauge is taken to spread over a tenth of the tolerance, six standard uncertainties: one that is just good enough (common practice).
const ASSUMED_SORTING: f64 = 1.0 / 60.0;

/// Of the assumed uncertainty, what a stated one is not believed below: six of them a twentieth of the tolerance, a gauge twice as good as one that is just good
/// enough. Common practice, no source.
const FINEST_SORTING: f64 = 0.5;

/// Of the distance of the limits: a gauge that errs by more sorts hardly at all, and the model's integral over its error would be taken over sizes that no part
/// has. The sorting then counts for nothing. Our own figure.
const COARSEST_SORTING: f64 = 0.25;

/// With one limit there is no distance of limits: six standard deviations of the readings stand for it, what such a lot spreads over.
const SPREAD: f64 = 6.0;

/// The sorting gauge's standard uncertainty as a verdict uses it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SortingError {
    /// mm. With one limit and nothing stated, infinite: nothing is known of what slips through.
    pub(super) u: f64,
    /// Whether it was taken for want of a stated one, or of one that can be believed: no lot is shown by it.
    pub(super) assumed: bool,
    /// What was stated, where it is smaller than is believed, mm.
    pub(super) claimed: Option<f64>,
    /// Whether a gauge that errs so much sorts hardly at all, so that the lot is judged as if it had not been sorted.
    pub(super) too_coarse: bool,
}

impl Sorting {
    /// `seen` is the error of the readings themselves, mm: their step's rounding, their repeatability. Nothing is believed below it, nor below the
    /// instrument's own u: the parts outside that a finer figure denies are parts that such readings would not show. That says nothing of the gauge that
    /// sorted, so a statement below what is credible of any gauge stands for none. `sd` is that of the readings, mm.
    pub(super) fn error(
        &self,
        instrument: &Instrument,
        limits: SpecificationLimits,
        seen: f64,
        sd: f64,
    ) -> SortingError {
        let between = limits.lower.zip(limits.upper).map(|(l, u)| u - l);
        let width = between.unwrap_or(SPREAD * sd);
        let credible = FINEST_SORTING * ASSUMED_SORTING * width;
        let least = seen.max(credible).max(instrument.uncertainty.unwrap_or(0.0));
        let (u, assumed, claimed) = match self.uncertainty {
            // Rounding of the limits' difference is no claim.
            Some(stated) => {
                let below = |floor: f64| stated < floor * (1.0 - 1e-9);
                (stated.max(least), below(credible), below(least).then_some(stated))
            }
            None => (between.map_or(f64::INFINITY, |w| ASSUMED_SORTING * w).max(least), true, None),
        };
        SortingError { u, assumed, claimed, too_coarse: u.is_nan() || u > COARSEST_SORTING * width }
    }
}

/// Which scatter a chart of subgroups follows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum ChartScatter {
    /// Ranges up to subgroups of 10, standard deviations above (ISO 7870-2).
    #[default]
    BySize,
    /// Ranges.
    Range,
    /// Standard deviations.
    Sd,
}

/// Options of [`super::study`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LotOptions {
    /// Size and limits, for lots whose own the table does not give.
    pub drawing: Drawing,
    /// Largest acceptable share outside the limits.
    pub max_out: f64,
    /// Of every interval and bound.
    pub confidence: f64,
    /// Share of the lot a tolerance interval is to cover; None: 1 − `max_out`.
    pub content: Option<f64>,
    /// The gauge.
    pub instrument: Instrument,
    /// Chance at which a reading counts as proof of conformance (ISO 14253-1: 0.95).
    pub conformance_probability: f64,
    /// Chance with which a normal lot may be called not normal.
    pub shape_level: f64,
    /// Chance with which some reading of a normal lot may be called an outlier.
    pub outlier_level: f64,
    /// Order of manufacture.
    pub order: Order,
    /// What is known of the shape.
    pub shape: ShapeKnowledge,
    /// Whether the lots were sorted through their limits; None: no.
    pub sorting: Option<Sorting>,
    /// Size of consecutive subgroups; None: individual readings.
    pub subgroup: Option<usize>,
    /// Scatter of subgroups.
    pub chart_scatter: ChartScatter,
    /// Of all random numbers.
    pub seed: u64,
}

impl Default for LotOptions {
    fn default() -> Self {
        Self {
            drawing: Drawing::default(),
            max_out: 0.0027,
            confidence: 0.95,
            content: None,
            instrument: Instrument::default(),
            conformance_probability: 0.95,
            shape_level: 0.05,
            outlier_level: 0.05,
            order: Order::default(),
            shape: ShapeKnowledge::default(),
            sorting: None,
            subgroup: None,
            chart_scatter: ChartScatter::default(),
            seed: DEFAULT_SEED,
        }
    }
}

impl LotOptions {
    /// Share to be covered by tolerance intervals.
    pub fn content(&self) -> f64 {
        self.content.unwrap_or(1.0 - self.max_out)
    }

    /// Refuses options without sense.
    ///
    /// # Errors
    /// Limits the wrong way round; a share or level not strictly between 0 and 1; an acceptable share outside of one half or more; a confidence below 0.75; a
    /// negative or infinite figure of the instrument; a step of 0.
    pub fn check(&self) -> Result<(), LotError> {
        self.drawing.check()?;
        share("the largest acceptable share outside", self.max_out)?;
        // A lot of which half may be outside has no limits.
        if self.max_out >= 0.5 {
            let expected = "below 0.5: a lot of which half may be outside has no limits".to_owned();
            let what = "the largest acceptable share outside".to_owned();
            return Err(LotError::OutOfRange { what, value: self.max_out, expected });
        }
        crate::error::confidence(self.confidence)?;
        share("the content of tolerance intervals", self.content())?;
        share("the conformance probability", self.conformance_probability)?;
        share("the level of the shape tests", self.shape_level)?;
        share("the level of the outlier test", self.outlier_level)?;
        for (what, value) in [
            ("the instrument's standard uncertainty", self.instrument.uncertainty),
            ("the instrument's repeatability", self.instrument.repeatability),
            ("the instrument's step", self.instrument.step),
            ("the sorting gauge's standard uncertainty", self.sorting.and_then(|s| s.uncertainty)),
        ] {
            if let Some(value) = value {
                not_negative(what, value)?;
            }
        }
        if self.instrument.step == Some(0.0) {
            return Err(LotError::OutOfRange {
                what: "the instrument's step".into(),
                value: 0.0,
                expected: "above 0 mm".into(),
            });
        }
        if let Some(size) = self.subgroup.filter(|s| !(2..=100).contains(s)) {
            return Err(LotError::OutOfRange {
                what: "the subgroup size".into(),
                value: size as f64,
                expected: "from 2 to 100".into(),
            });
        }
        Ok(())
    }
}
