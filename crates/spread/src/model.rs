//! What uncertainty is carried through: a function from input values to responses. A pack with its requirements is one
//! ([`crate::PackModel`]); a closure is another ([`Function`]), so that published examples run through the same code as packs.

use packdrift_pack::Outcome;
use std::any::Any;

/// A response that is linear in the inputs, y = constant + Σ coefficient·x, wherever every guard is positive.
#[derive(Debug, Clone, PartialEq)]
pub struct Linear {
    /// The plane.
    pub plane: Plane,
    /// Conditions g(x) > 0 under which the plane is the response: the bay is not loose, no spring washer is flat. Empty where it
    /// always is. The probability that one fails bounds the error of whatever is computed from the plane alone.
    pub guards: Vec<Plane>,
}

/// constant + Σ coefficient·x, one coefficient per input.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    /// Value where every input is 0.
    pub constant: f64,
    /// One per input of the model.
    pub coefficients: Vec<f64>,
}

impl Plane {
    /// The value at x.
    pub fn at(&self, x: &[f64]) -> f64 {
        self.coefficients.iter().zip(x).map(|(c, x)| c * x).sum::<f64>() + self.constant
    }
}

/// Where a bay stands between loose and too long.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Margins {
    /// D, the parts' length less the span, mm; the bay is loose where it is not above 0.
    pub interference: f64,
    /// D less what the spring washers can take, mm; it cannot be assembled where this is above 0. Infinite where a spring washer cannot
    /// exist.
    pub excess: f64,
}

/// Where a bay stands in each trial of a block.
#[derive(Debug, Default)]
pub struct BlockMargins {
    /// See [`Margins::interference`].
    pub interference: Vec<f64>,
    /// See [`Margins::excess`].
    pub excess: Vec<f64>,
    /// Further squeeze up to the largest load of the first disc whose load falls again, mm; below 0 it has passed it.
    pub to_peak: Vec<f64>,
    scratch: Option<Box<dyn Any + Send>>,
}

impl BlockMargins {
    /// Zeros for `trials` trials.
    pub fn new(trials: usize) -> Self {
        let zeros = || vec![0.0; trials];
        Self { interference: zeros(), excess: zeros(), to_peak: zeros(), scratch: None }
    }

    /// The model's working memory, as [`Responses::take`].
    pub fn take<T: Any + Send>(&mut self, make: impl FnOnce() -> T) -> Box<T> {
        let kept = self.scratch.take().and_then(|scratch| scratch.downcast().ok());
        kept.unwrap_or_else(|| Box::new(make()))
    }

    /// Keeps working memory for the next block.
    pub fn keep<T: Any + Send>(&mut self, scratch: Box<T>) {
        self.scratch = Some(scratch);
    }
}

/// Why a model has no response at some inputs.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ModelError {
    /// The model says so itself, in its own words.
    #[error("{0}")]
    Response(String),
    /// A response that is not a number.
    #[error("response {response} is {value} at {}", list(.at))]
    NotFinite {
        /// Index of the response.
        response: usize,
        /// NaN or an infinity.
        value: f64,
        /// The input values.
        at: Vec<f64>,
    },
}

fn list(values: &[f64]) -> String {
    let words: Vec<String> = values.iter().map(f64::to_string).collect();
    format!("[{}]", words.join(", "))
}

/// A function from input values to responses, in single points and in blocks of trials.
pub trait Model: Sync {
    /// Number of inputs.
    fn inputs(&self) -> usize;

    /// Number of responses.
    fn responses(&self) -> usize;

    /// All responses at `x` (one value per input) into `out` (one place per response).
    ///
    /// # Errors
    /// Where the model has no response at `x`.
    fn respond(&self, x: &[f64], out: &mut [Outcome]) -> Result<(), ModelError>;

    /// One response at `x`.
    ///
    /// # Errors
    /// Where the model has none.
    fn respond_one(&self, response: usize, x: &[f64]) -> Result<Outcome, ModelError> {
        let mut outcomes = vec![Outcome::CannotAssemble; self.responses()];
        self.respond(x, &mut outcomes)?;
        Ok(outcomes[response])
    }

    /// How far the bay of a response is from being loose and from being too long at `x`; None where a model knows no such thing.
    fn margins(&self, _response: usize, _x: &[f64]) -> Option<Margins> {
        None
    }

    /// [`Model::margins`] of a block of trials, and how far each is from a disc's largest load. False where the model knows no such thing;
    /// `out` is then left as it is.
    fn block_margins(&self, response: usize, x: &Columns, out: &mut BlockMargins) -> bool {
        let mut row = vec![0.0; self.inputs()];
        for trial in 0..x.trials() {
            x.row(trial, &mut row);
            let Some(margins) = self.margins(response, &row) else { return false };
            (out.interference[trial], out.excess[trial], out.to_peak[trial]) =
                (margins.interference, margins.excess, f64::INFINITY);
        }
        true
    }

    /// Whether, with inputs between `lower` and `upper`, a spring washer of a response's bay may pass a largest load, beyond which the
    /// response may jump.
    fn may_pass_a_peak(&self, _response: usize, _lower: &[f64], _upper: &[f64]) -> bool {
        false
    }

    /// Inputs by which a bay that is too long can be made to fit without changing its springs: thicknesses, widths, the span.
    fn relief(&self, _response: usize) -> Vec<usize> {
        Vec::new()
    }

    /// Groups of inputs that a response and its margins know only by a weighted sum of each group: in a long pack the solids on one side of the
    /// rocker. An input is in one group at most; the flag says that its weight is negative. What is in no group may act in any way.
    fn alike(&self, _response: usize) -> Vec<Vec<(usize, bool)>> {
        Vec::new()
    }

    /// All responses of all trials of a block. A trial in which the model has no response gets [`Responses::fail`], and the
    /// caller counts it.
    fn respond_block(&self, x: &Columns, out: &mut Responses) {
        let mut row = vec![0.0; self.inputs()];
        let mut outcomes = vec![Outcome::CannotAssemble; self.responses()];
        for trial in 0..x.trials() {
            x.row(trial, &mut row);
            match self.respond(&row, &mut outcomes) {
                Ok(()) => {
                    for (response, &outcome) in outcomes.iter().enumerate() {
                        out.set(response, trial, outcome);
                    }
                }
                Err(_) => (0..self.responses()).for_each(|response| out.fail(response, trial)),
            }
        }
    }

    /// Partial derivatives of one response (of a range: of its middle) at `x`, one per input, into `out`. `scale` holds a length
    /// over which each input scatters (its standard deviation, 0 where it is exact), for models that have to take differences:
    /// the default takes central ones with steps of ε^⅓ of it, good to about 1e-10 of the scatter. A model that knows its
    /// derivatives ignores it.
    ///
    /// # Errors
    /// Where the model has no response at `x` or beside it, or cannot be assembled there.
    fn gradient(&self, response: usize, x: &[f64], scale: &[f64], out: &mut [f64]) -> Result<(), ModelError> {
        let mut outcomes = vec![Outcome::CannotAssemble; self.responses()];
        let mut at = x.to_vec();
        for (k, slope) in out.iter_mut().enumerate() {
            let length = if scale[k] > 0.0 { scale[k] } else { x[k].abs().max(f64::MIN_POSITIVE.sqrt()) };
            // Never so small that x ± step rounds away.
            let step = f64::EPSILON.cbrt() * length.max(f64::EPSILON.cbrt() * x[k].abs());
            let mut beside = |value: f64| -> Result<f64, ModelError> {
                at[k] = value;
                self.respond(&at, &mut outcomes)?;
                at[k] = x[k];
                middle(outcomes[response])
                    .ok_or_else(|| ModelError::Response(format!("input {k} at {value}: the pack cannot be assembled")))
            };
            let (high, low) = (x[k] + step, x[k] - step);
            *slope = (beside(high)? - beside(low)?) / (high - low);
        }
        Ok(())
    }

    /// The response as a linear function, where it is one.
    fn linear(&self, _response: usize) -> Option<Linear> {
        None
    }
}

/// The value, or the middle of a range; None where there is neither.
pub fn middle(outcome: Outcome) -> Option<f64> {
    match outcome {
        Outcome::Value(value) => Some(value),
        Outcome::Range { low, high } => Some(0.5 * (low + high)),
        Outcome::CannotAssemble => None,
    }
}

/// Input values of a block of trials, one column per input. A column may be marked as constant: every trial has its first value.
#[derive(Debug, Clone, PartialEq)]
pub struct Columns {
    values: Vec<f64>,
    constant: Vec<bool>,
    trials: usize,
}

impl Columns {
    /// Zeros.
    pub fn new(columns: usize, trials: usize) -> Self {
        Self { values: vec![0.0; columns * trials], constant: vec![false; columns], trials }
    }

    /// Number of trials, the length of each column.
    pub fn trials(&self) -> usize {
        self.trials
    }

    /// Number of columns.
    pub fn columns(&self) -> usize {
        self.constant.len()
    }

    /// The values of one input in all trials.
    pub fn column(&self, input: usize) -> &[f64] {
        &self.values[input * self.trials..(input + 1) * self.trials]
    }

    /// The values of one input: one for all trials where it is constant, else one per trial.
    pub fn compact(&self, input: usize) -> &[f64] {
        let column = self.column(input);
        if self.constant[input] { &column[..1.min(column.len())] } else { column }
    }

    /// The same, to be written; the column is no longer taken as constant.
    pub fn column_mut(&mut self, input: usize) -> &mut [f64] {
        self.constant[input] = false;
        &mut self.values[input * self.trials..(input + 1) * self.trials]
    }

    /// Gives a column one value for every trial.
    pub fn set_constant(&mut self, input: usize, value: f64) {
        // A block is filled again and again with the same exact dimensions: they are written once.
        if self.constant[input] && self.column(input).first().is_none_or(|known| known.to_bits() == value.to_bits()) {
            return;
        }
        self.column_mut(input).fill(value);
        self.constant[input] = true;
    }

    /// The values of one trial.
    pub fn row(&self, trial: usize, out: &mut [f64]) {
        for (value, column) in out.iter_mut().zip(self.values.chunks_exact(self.trials)) {
            *value = column[trial];
        }
    }
}

/// Responses of a block of trials: for each response the low and the high end, equal for a single value.
///
/// A trial that cannot be assembled has the ends −∞ and ∞ (so it is outside every limit, and its middle is no number); a trial
/// in which the model failed has NaN for both.
///
/// It also carries what memory the model works in, so that a block costs no allocation; each thread has its own.
#[derive(Debug)]
pub struct Responses {
    low: Columns,
    high: Columns,
    scratch: Option<Box<dyn Any + Send>>,
}

impl Responses {
    /// Zeros.
    pub fn new(responses: usize, trials: usize) -> Self {
        Self { low: Columns::new(responses, trials), high: Columns::new(responses, trials), scratch: None }
    }

    /// Number of trials.
    pub fn trials(&self) -> usize {
        self.low.trials
    }

    /// Number of responses.
    pub fn responses(&self) -> usize {
        self.low.columns()
    }

    /// Low and high ends of one response in all trials.
    pub fn ends(&self, response: usize) -> (&[f64], &[f64]) {
        (self.low.column(response), self.high.column(response))
    }

    /// The same, to be written.
    pub fn ends_mut(&mut self, response: usize) -> (&mut [f64], &mut [f64]) {
        (self.low.column_mut(response), self.high.column_mut(response))
    }

    /// The model's working memory, taken out (give it back by [`Responses::keep`]); made anew where there is none of that kind.
    pub fn take<T: Any + Send>(&mut self, make: impl FnOnce() -> T) -> Box<T> {
        let kept = self.scratch.take().and_then(|scratch| scratch.downcast().ok());
        kept.unwrap_or_else(|| Box::new(make()))
    }

    /// Keeps working memory for the next block.
    pub fn keep<T: Any + Send>(&mut self, scratch: Box<T>) {
        self.scratch = Some(scratch);
    }

    /// One outcome.
    pub fn set(&mut self, response: usize, trial: usize, outcome: Outcome) {
        let (low, high) = match outcome {
            Outcome::Value(value) => (value, value),
            Outcome::Range { low, high } => (low, high),
            Outcome::CannotAssemble => (f64::NEG_INFINITY, f64::INFINITY),
        };
        self.low.column_mut(response)[trial] = low;
        self.high.column_mut(response)[trial] = high;
    }

    /// The model has no response in this trial.
    pub fn fail(&mut self, response: usize, trial: usize) {
        self.low.column_mut(response)[trial] = f64::NAN;
        self.high.column_mut(response)[trial] = f64::NAN;
    }

    /// The outcome of one trial; None where the model failed.
    pub fn outcome(&self, response: usize, trial: usize) -> Option<Outcome> {
        let (low, high) = (self.low.column(response)[trial], self.high.column(response)[trial]);
        if low.is_nan() || high.is_nan() {
            None
        } else if low == f64::NEG_INFINITY && high == f64::INFINITY {
            Some(Outcome::CannotAssemble)
        } else if low < high {
            Some(Outcome::Range { low, high })
        } else {
            Some(Outcome::Value(low))
        }
    }
}

/// A model made of a closure with one response.
///
/// ```
/// use packdrift_spread::{Function, Model};
/// let sum = Function::new(3, |x: &[f64]| x.iter().sum());
/// let mut slopes = [0.0; 3];
/// sum.gradient(0, &[1.0, 2.0, 3.0], &[0.1; 3], &mut slopes).unwrap();
/// assert!(slopes.iter().all(|s| (s - 1.0).abs() < 1e-9));
/// ```
pub struct Function<F> {
    inputs: usize,
    law: F,
    linear: Option<Plane>,
}

impl<F: Fn(&[f64]) -> f64 + Sync> Function<F> {
    /// A function of `inputs` values.
    pub fn new(inputs: usize, function: F) -> Self {
        Self { inputs, law: function, linear: None }
    }

    /// The same, with the promise that it is this plane everywhere.
    #[must_use]
    pub fn with_plane(mut self, plane: Plane) -> Self {
        self.linear = Some(plane);
        self
    }
}

impl<F: Fn(&[f64]) -> f64 + Sync> Model for Function<F> {
    fn inputs(&self) -> usize {
        self.inputs
    }

    fn responses(&self) -> usize {
        1
    }

    fn respond(&self, x: &[f64], out: &mut [Outcome]) -> Result<(), ModelError> {
        let value = (self.law)(x);
        if !value.is_finite() {
            return Err(ModelError::NotFinite { response: 0, value, at: x.to_vec() });
        }
        out[0] = Outcome::Value(value);
        Ok(())
    }

    fn linear(&self, _response: usize) -> Option<Linear> {
        self.linear.clone().map(|plane| Linear { plane, guards: Vec::new() })
    }
}
