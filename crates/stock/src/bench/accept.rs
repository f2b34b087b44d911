//! What to read after a build: what is expected, what the limits are where it is read, and which readings are accepted at once.

use super::judge::Yardstick;
use super::{Bench, Build, Measured};
use crate::error::StockError;

/// What a valve's offset is to read after a build, in the condition in which it is read.
#[derive(Debug, Clone, PartialEq)]
pub struct Acceptance {
    /// The valve.
    pub valve: String,
    /// Whether it was asked for; else it is another rocker of the bay.
    pub named: bool,
    /// What it is expected to read, mm.
    pub expected: f64,
    /// Standard deviation of that reading: of the parts and of the gauge, mm.
    pub sd: f64,
    /// Limits of the reading for every limit of the offset to be kept, mm.
    pub limits: (Option<f64>, Option<f64>),
    /// Readings with which the build is done, the other valves reading what is expected of them, mm. None: no single reading shows it done.
    pub accepted: Option<(f64, f64)>,
}

/// Steps that an end of the accepted readings is halved in: a micrometre of a range of 2 mm.
const HALVINGS: usize = 11;

impl Bench {
    /// What the rockers of the bay are to read after a build. `measured`: the valves asked for, with the uncertainty of their readings.
    ///
    /// # Errors
    ///
    /// [`StockError`]: an uncertainty that cannot be, a bay that cannot be assembled by the model.
    pub fn acceptance(&self, build: &Build, measured: &[Measured], enough: f64) -> Result<Vec<Acceptance>, StockError> {
        let yardstick = Yardstick::new(enough, &self.now()?, self.has_spring());
        let fitted = self.fit(build);
        let u = measured.first().map_or(0.0, |m| m.u);
        let bay = &self.pack.bays[self.bay];
        let mut all = Vec::new();
        for (target, &named) in self.layout.targets.iter().zip(&self.named) {
            let valve = &bay.valves[target.valve].name;
            let expected = fitted.predict(valve, measured.iter().find(|m| m.valve == *valve).map_or(u, |m| m.u))?;
            let accepted = if named { fitted.accepted(valve, measured, &yardstick)? } else { None };
            all.push(Acceptance {
                valve: valve.clone(),
                named,
                expected: expected.expected,
                sd: expected.sd,
                limits: fitted.read_limits(valve),
                accepted,
            });
        }
        all.sort_by_key(|one| !one.named);
        Ok(all)
    }

    /// The readings of a valve with which the state is done.
    fn accepted(
        &self,
        valve: &str,
        measured: &[Measured],
        yardstick: &Yardstick,
    ) -> Result<Option<(f64, f64)>, StockError> {
        let mut read = Vec::new();
        for m in measured {
            read.push(Measured { readings: vec![self.predict(&m.valve, m.u)?.expected], ..m.clone() });
        }
        let Some(at) = read.iter().position(|m| m.valve == valve) else { return Ok(None) };
        let (middle, sd) = (read[at].readings[0], self.predict(valve, read[at].u)?.sd);
        let quick = yardstick.without_more_draws();
        let mut done = |reading: f64| {
            read[at].readings[0] = reading;
            self.look(&read, &quick).map(|after| after.done)
        };
        if !done(middle)? {
            return Ok(None);
        }
        let mut edge = |outward: f64| {
            let (mut inside, mut outside) = (middle, middle + outward);
            for _ in 0..HALVINGS {
                let half = 0.5 * (inside + outside);
                if done(half)? { inside = half } else { outside = half }
            }
            Ok::<f64, StockError>(inside)
        };
        let reach = (super::readings::SURPRISING + 0.1) * sd;
        Ok(Some((edge(-reach)?, edge(reach)?)))
    }
}
