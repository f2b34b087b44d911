//! What will be asked of the drawer: corrections, by how often and how large.
//!
//! New builds bring a stream whose corrections scatter as the stack's offset does about its aim; a forecast of re-shimming brings one stream a valve, or a
//! list. Whatever the source, a [`Demand`] is a sum of independent Poisson streams.

use super::bay::StockingBay;
use crate::error::{StockError, within};
use packdrift_numerics::normal;
use packdrift_numerics::stream::{BLOCK, Key};

/// How large the corrections of a stream are, mm.
#[derive(Debug, Clone, PartialEq)]
pub enum Corrections {
    /// N(mean, sd²): an expected correction and how sure it is.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation; 0: exactly the mean.
        sd: f64,
    },
    /// Each value equally likely.
    List(Vec<f64>),
}

impl Corrections {
    /// The value with share `p` below it, 0 < p < 1.
    fn quantile(&self, p: f64) -> f64 {
        match self {
            Self::Normal { mean, sd } => mean + sd * normal::quantile(p),
            Self::List(values) => values[((p * values.len() as f64) as usize).min(values.len() - 1)],
        }
    }

    fn check(&self, of: &str) -> Result<(), StockError> {
        let fits = |what: &str, value: f64| {
            within(format!("{what} of \"{of}\""), value, "mm", -20.0..=20.0, "between -20 and 20")
        };
        match self {
            Self::Normal { mean, sd } => {
                fits("mean correction", *mean)?;
                within(format!("scatter of the corrections of \"{of}\""), *sd, "mm", 0.0..=20.0, "between 0 and 20")?;
            }
            Self::List(values) => {
                if values.is_empty() {
                    return Err(StockError::Count { what: "corrections in a list", count: 0, expected: "at least 1" });
                }
                for &value in values {
                    fits("a correction", value)?;
                }
            }
        }
        Ok(())
    }
}

/// Jobs of one kind, arriving at random at a steady rate.
#[derive(Debug, Clone, PartialEq)]
pub struct Stream {
    /// What it is: `new builds`, `re-shims`, a valve's name.
    pub name: String,
    /// Jobs a day.
    pub rate_per_day: f64,
    /// How far the rocker has to move to its aim, mm, signed like the offset.
    pub correction: Corrections,
    /// How much the sum of the pieces has to grow (a set spring washer, worn faces), mm.
    pub squeeze: Corrections,
    /// Share of a correction towards the spring washer that makes up for worn faces: the sum has to grow by as much again, besides
    /// [`Stream::squeeze`]. 0: the sum is kept.
    pub worn_faces: f64,
}

/// All that is asked of the drawer.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Demand {
    /// Independent of each other.
    pub streams: Vec<Stream>,
}

/// One job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Job {
    /// How far the rocker has to move, mm.
    pub correction: f64,
    /// How much the sum has to grow, mm.
    pub squeeze: f64,
    /// Share of a correction towards the spring washer by which it has to grow besides.
    pub worn_faces: f64,
}

impl Corrections {
    fn scaled(&self, by: f64) -> Self {
        match self {
            Self::Normal { mean, sd } => Self::Normal { mean: mean * by, sd: sd * by },
            Self::List(values) => Self::List(values.iter().map(|value| value * by).collect()),
        }
    }

    /// The largest that is expected, mm, whatever its sign.
    fn size(&self) -> f64 {
        match self {
            Self::Normal { mean, .. } => mean.abs(),
            Self::List(values) => values.iter().fold(0.0, |most, value| value.abs().max(most)),
        }
    }
}

/// No rocker is corrected by more than this, mm; and corrections that are all smaller than this share of the limits are none.
const MOST_CORRECTED: f64 = 4.0;
const LEAST_CORRECTED: f64 = 0.1;

/// Questions corrections that cannot be in the unit that they were read in.
///
/// # Errors
///
/// [`StockError::CorrectionsOutOfScale`] where one is beyond 4 mm, or all are smaller than a tenth of half the width of the offset's limits.
pub fn question_the_corrections(demand: &Demand, bay: &StockingBay) -> Result<(), StockError> {
    let largest = demand.streams.iter().map(|stream| stream.correction.size()).fold(0.0, f64::max);
    let half = 0.5 * (bay.offset.1 - bay.offset.0);
    let tiny = half.is_finite() && largest < LEAST_CORRECTED * half;
    if demand.streams.is_empty() || (largest <= MOST_CORRECTED && !tiny) {
        return Ok(());
    }
    Err(StockError::CorrectionsOutOfScale { largest })
}

impl Demand {
    /// The same with every length times a factor: inches made mm.
    #[must_use]
    pub fn scaled(&self, by: f64) -> Self {
        let stream = |stream: &Stream| Stream {
            correction: stream.correction.scaled(by),
            squeeze: stream.squeeze.scaled(by),
            ..stream.clone()
        };
        Self { streams: self.streams.iter().map(stream).collect() }
    }

    /// Jobs a day, all streams together.
    pub fn rate_per_day(&self) -> f64 {
        self.streams.iter().map(|stream| stream.rate_per_day).sum()
    }

    /// # Errors
    ///
    /// [`StockError`]: no streams, rates that are negative or all zero, corrections beyond 20 mm, NaN.
    pub fn check(&self) -> Result<(), StockError> {
        for stream in &self.streams {
            let of = &stream.name;
            within(format!("rate of \"{of}\""), stream.rate_per_day, "jobs a day", 0.0..=1e6, "between 0 and 1000000")?;
            stream.correction.check(of)?;
            stream.squeeze.check(of)?;
            let worn = format!("share of worn faces in the corrections of \"{of}\"");
            within(worn, stream.worn_faces, "", 0.0..=1.0, "between 0 and 1")?;
        }
        let rate = self.rate_per_day();
        within("rate of all jobs together", rate, "jobs a day", f64::MIN_POSITIVE..=1e9, "above 0")?;
        Ok(())
    }

    /// `count` jobs as the demand brings them. The first n of them are the same whatever the count.
    ///
    /// # Errors
    ///
    /// As [`Demand::check`].
    pub fn jobs(&self, count: usize, seed: u64) -> Result<Vec<Job>, StockError> {
        self.jobs_for("stock/jobs", count, seed)
    }

    /// Jobs that have no part in those of [`Demand::jobs`]: what was chosen by the one is judged by the other.
    ///
    /// # Errors
    ///
    /// As [`Demand::check`].
    pub fn fresh_jobs(&self, count: usize, seed: u64) -> Result<Vec<Job>, StockError> {
        self.jobs_for("stock/jobs, fresh", count, seed)
    }

    fn jobs_for(&self, purpose: &str, count: usize, seed: u64) -> Result<Vec<Job>, StockError> {
        self.check()?;
        let mut upto = Vec::with_capacity(self.streams.len());
        let mut sum = 0.0;
        for stream in &self.streams {
            sum += stream.rate_per_day;
            upto.push(sum);
        }
        let key = Key::new(seed, purpose);
        let mut jobs = Vec::with_capacity(count);
        for block in 0..count.div_ceil(BLOCK) {
            let mut stream = key.stream(block as u64);
            for _ in 0..BLOCK.min(count - jobs.len()) {
                let pick = stream.uniform() * sum;
                let at = upto.partition_point(|&u| u <= pick).min(self.streams.len() - 1);
                let from = &self.streams[at];
                let correction = from.correction.quantile(stream.uniform());
                let squeeze = from.squeeze.quantile(stream.uniform());
                jobs.push(Job { correction, squeeze, worn_faces: from.worn_faces });
            }
        }
        Ok(jobs)
    }
}
