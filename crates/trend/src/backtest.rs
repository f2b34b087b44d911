//! Rolling-origin check of forecasts against readings that were hidden.

/// What a backtest found for one feature and model.
#[derive(Debug, Clone, PartialEq)]
pub struct BacktestFeature {
    /// Feature name.
    pub feature: String,
    /// One per model tried.
    pub models: Vec<BacktestModel>,
}

/// Scores of one model.
#[derive(Debug, Clone, PartialEq)]
pub struct BacktestModel {
    /// In words.
    pub model: String,
    /// Hidden readings that were forecast.
    pub forecasts: usize,
    /// Share of them inside the 50 % prediction interval.
    pub coverage50: f64,
    /// Inside the 80 % interval.
    pub coverage80: f64,
    /// Inside the 95 % interval.
    pub coverage95: f64,
    /// Standard errors of the three shares (binomial; readings of one valve are not quite independent).
    pub coverage_se: [f64; 3],
    /// Histogram of the probability integral transform in ten equal bins; flat where forecasts are honest.
    pub pit: [usize; 10],
    /// Mean continuous ranked probability score, in the feature's unit: smaller is better.
    pub crps: f64,
    /// Mean logarithmic score (−ln density): smaller is better.
    pub log_score: f64,
    /// Root mean square error of the forecast's middle.
    pub rmse: f64,
}
