//! Scores of forecasts of readings that were hidden.

/// What a backtest found for one feature.
#[derive(Debug, Clone, PartialEq)]
pub struct BacktestFeature {
    /// Feature name.
    pub feature: String,
    /// One per model tried.
    pub models: Vec<BacktestModel>,
}

/// Scores of one model. Without a single forecast the shares and scores are None.
#[derive(Debug, Clone, PartialEq)]
pub struct BacktestModel {
    /// In words.
    pub model: String,
    /// Hidden readings that were forecast.
    pub forecasts: usize,
    /// The scores.
    pub scores: Option<Scores>,
    /// Why a round could not be fitted; empty where all were.
    pub note: String,
}

/// Scores over all hidden readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Scores {
    /// Share inside the 50 % prediction interval.
    pub coverage50: f64,
    /// Share inside the 80 % interval.
    pub coverage80: f64,
    /// Share inside the 95 % interval.
    pub coverage95: f64,
    /// Standard errors of the three shares, were all readings independent.
    pub coverage_se: [f64; 3],
    /// Histogram of the probability integral transform in ten equal bins; flat where forecasts are honest.
    pub pit: [usize; 10],
    /// Mean continuous ranked probability score, in the feature's unit: smaller is better.
    pub crps: f64,
    /// Mean logarithmic score (−ln density): smaller is better.
    pub log_score: f64,
    /// Root mean square error of the forecast's mean.
    pub rmse: f64,
}
