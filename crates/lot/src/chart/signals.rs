//! Patterns that a steady process seldom shows.

/// A pattern, and the point (from 0) that completes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signal {
    /// Which pattern.
    pub kind: SignalKind,
    /// Index of the point that completes it.
    pub point: usize,
}

/// The patterns looked for. On the trace of ranges or standard deviations only the first, since their distribution is skew.
///
/// For independent normal points around a known centre each has a chance below 0.4 % to be completed by a given point, so one in some
/// eighty points of a steady process signals something.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SignalKind {
    /// Beyond a control limit.
    BeyondLimit,
    /// The ninth in a row on one side of the centre line.
    OneSide,
    /// The sixth in a row, each above (or each below) the one before: a steady drift.
    Drift,
    /// Two of three in a row beyond two standard errors on the same side.
    NearLimit,
}

pub(super) fn find(points: &[f64], centre: f64, error: f64, lower: f64, upper: f64, runs: bool) -> Vec<Signal> {
    let mut signals = Vec::new();
    let (mut side_run, mut side) = (0_usize, 0.0_f64);
    let (mut drift_run, mut drift) = (1_usize, 0.0_f64);
    for (i, &x) in points.iter().enumerate() {
        if x > upper || x < lower {
            signals.push(Signal { kind: SignalKind::BeyondLimit, point: i });
        }
        if !runs {
            continue;
        }
        let here = sign(x - centre);
        side_run = if here != 0.0 && here.total_cmp(&side).is_eq() { side_run + 1 } else { usize::from(here != 0.0) };
        side = here;
        if side_run == 9 {
            signals.push(Signal { kind: SignalKind::OneSide, point: i });
        }
        if i > 0 {
            let step = sign(x - points[i - 1]);
            drift_run = if step == 0.0 {
                1
            } else if step.total_cmp(&drift).is_eq() {
                drift_run + 1
            } else {
                2
            };
            drift = step;
            if drift_run == 6 {
                signals.push(Signal { kind: SignalKind::Drift, point: i });
            }
        }
        let far = |j: usize| {
            error > 0.0 && sign(points[j] - centre).total_cmp(&here).is_eq() && (points[j] - centre).abs() > 2.0 * error
        };
        if here != 0.0 && far(i) && (i.saturating_sub(2)..i).any(far) {
            signals.push(Signal { kind: SignalKind::NearLimit, point: i });
        }
    }
    signals
}

fn sign(x: f64) -> f64 {
    if x > 0.0 {
        1.0
    } else if x < 0.0 {
        -1.0
    } else {
        0.0
    }
}
