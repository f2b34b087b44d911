//! From a feature's segments to the fitted variances: what the data can carry, the search, and the verdict in words.

use super::identifiability::Identifiability;
use crate::families::FitFailure;
use crate::kernel::{Dual, Problem, Profile, Shape, Theta, evaluate};
use crate::optimise;
use crate::options::Estimator;
use crate::result::FitStatus;

/// A fitted model of the straight-line family, in its frame.
#[derive(Debug, Clone)]
pub(crate) struct Fitted {
    pub(crate) shape: Shape,
    /// Free parameters of `shape`.
    pub(crate) x: Vec<f64>,
    pub(crate) theta: Theta<f64>,
    pub(crate) profile: Profile<f64>,
    pub(crate) status: FitStatus,
    /// In words; empty where all is well.
    pub(crate) reason: String,
    pub(crate) evaluations: usize,
    pub(crate) decrement: f64,
}

/// A start from the scatter within and among segments: parameters relative to the reading error.
fn start(problem: &Problem, shape: Shape, support: &Identifiability) -> Vec<f64> {
    // In the frame the readings scatter by 1 about the mean line.
    let sigma2 = match shape.known_sd {
        Some(sd) => (sd / problem.frame.scale).powi(2).clamp(1e-10, 0.9),
        None if support.spare > 0 => (support.within / support.spare as f64).clamp(1e-12, 0.9),
        None => 0.3,
    };
    let l = ((1.0 - sigma2) / (2.0 * sigma2)).sqrt().clamp(0.2, 1e5);
    let mut x = Vec::new();
    // Scatter of slopes is a segment's own and its valve's in like parts at first.
    let own = if shape.valve { 0.7 * l } else { l };
    for (present, value) in [
        (shape.intercept, l),
        (shape.corr, 0.0),
        (shape.slope, own),
        (shape.wander, 0.5),
        (shape.engine, 0.5 * l),
        (shape.valve, 0.7 * l),
    ] {
        if present {
            x.push(value);
        }
    }
    x
}

/// Deviance and gradient at x, by the width of the gradient.
fn gradient(problem: &Problem, shape: Shape, estimator: Estimator, x: &[f64]) -> Option<(f64, Vec<f64>)> {
    fn run<const N: usize>(
        problem: &Problem,
        shape: Shape,
        estimator: Estimator,
        x: &[f64],
    ) -> Option<(f64, Vec<f64>)> {
        let theta = shape.spread(|k| Dual::<N>::parameter(x[k], k));
        let p = evaluate(problem, shape, &theta, estimator)?;
        p.deviance.d.iter().all(|d| d.is_finite()).then(|| (p.deviance.v, p.deviance.d.to_vec()))
    }
    match x.len() {
        0 => run::<0>(problem, shape, estimator, x),
        1 => run::<1>(problem, shape, estimator, x),
        2 => run::<2>(problem, shape, estimator, x),
        3 => run::<3>(problem, shape, estimator, x),
        4 => run::<4>(problem, shape, estimator, x),
        5 => run::<5>(problem, shape, estimator, x),
        _ => run::<6>(problem, shape, estimator, x),
    }
}

/// Fleets above this many segments are first fitted on a sample of about [`SAMPLE`].
const SAMPLE_ABOVE: usize = 20_000;
const SAMPLE: usize = 3000;

/// Fits `shape`; `warm` is a start of the right length, from an earlier fit in nearly the same frame.
pub(crate) fn fit(
    problem: &Problem,
    shape: Shape,
    estimator: Estimator,
    support: &Identifiability,
    warm: Option<&[f64]>,
) -> Result<Fitted, FitFailure> {
    let mut shape = shape;
    let mut notes: Vec<String> = Vec::new();
    // Readings nearer to their lines than 1e-5 of the fleet's scatter leave the likelihood no digits; real ones never are.
    if shape.known_sd.is_none() && support.spare > 0 && support.within < 1e-10 * support.spare as f64 {
        let sd = 1e-3 * problem.frame.scale;
        shape.known_sd = Some(sd);
        notes.push(format!("readings lie exactly on their segments' lines; a reading error of {sd:.1e} was assumed"));
    }
    // A large fleet's search begins where that of a few of its engines ended.
    let sampled = (warm.is_none() && problem.segments() > SAMPLE_ABOVE)
        .then(|| problem.sample(SAMPLE))
        .and_then(|few| fit(&few, shape, estimator, &Identifiability::of(&few), None).ok())
        .filter(|f| f.shape == shape)
        .map(|f| f.x);
    let warm = warm.or(sampled.as_deref());
    let first =
        warm.filter(|w| w.len() == shape.free()).map_or_else(|| start(problem, shape, support), <[f64]>::to_vec);
    // Precise readings make the relative scatter large; the search works in units of its start.
    let unit = start(problem, shape, support).iter().copied().fold(1.0, f64::max);
    let mut evaluations = 0;
    let mut search = |shape: Shape, from: &[f64]| {
        let mut f = |z: &[f64]| {
            let x: Vec<f64> = z.iter().map(|z| z * unit).collect();
            let (value, g) = gradient(problem, shape, estimator, &x)?;
            Some((value, g.iter().map(|g| g * unit).collect()))
        };
        let from: Vec<f64> = from.iter().map(|x| x / unit).collect();
        let mut found = optimise::minimise(&mut f, &from, true);
        if let Some(o) = &mut found {
            evaluations += o.evaluations;
            for x in &mut o.x {
                *x *= unit;
            }
        }
        found
    };
    let Some(mut best) = search(shape, &first) else {
        return Err(FitFailure::not_estimable(
            "the readings do not determine the mean line: a second reading of some valve at other hours is needed",
        ));
    };
    // Parameters near 0: the model without them is taken where it is as likely. The deviance is even in each, so the search may sit
    // at 0 or at either sign.
    let mut boundary = false;
    while let Some((k, reduced, words)) = candidate(shape, &best.x) {
        let from: Vec<f64> = best.x.iter().enumerate().filter(|(i, _)| !k.contains(i)).map(|(_, x)| *x).collect();
        match search(reduced, &from) {
            Some(o) if o.value <= best.value + 1e-6 => {
                best = o;
                shape = reduced;
                boundary = true;
                notes.push(words.to_owned());
            }
            _ => break,
        }
    }
    // σ runs to 0 where the scatter of segments explains every reading: the deviance then has no minimum.
    if best.x.iter().any(|x| x.abs() > 1e7) {
        return Err(FitFailure::not_estimable(
            "the scatter of valves explains every reading, so the reading error cannot be told; give `reading_sd` in the policy",
        ));
    }
    if !best.converged() {
        return Err(FitFailure {
            status: FitStatus::NotConverged,
            reason: format!(
                "the search stopped after {evaluations} evaluations with {:.1e} of the deviance still to gain; give `reading_sd` in the \
                 policy, or fit fewer features of the scatter (`--model random-slope`)",
                best.decrement
            ),
        });
    }
    let theta = shape.spread(|k| best.x[k]);
    let profile =
        evaluate(problem, shape, &theta, estimator).ok_or_else(|| FitFailure::not_estimable("no mean line"))?;
    Ok(Fitted {
        shape,
        x: best.x,
        theta,
        profile,
        status: if boundary { FitStatus::Boundary } else { FitStatus::Ok },
        reason: notes.join("; "),
        evaluations,
        decrement: best.decrement,
    })
}

/// The first parameter small enough to try without: its positions in x, the smaller shape, and what it means if that is as likely.
fn candidate(shape: Shape, x: &[f64]) -> Option<(Vec<usize>, Shape, &'static str)> {
    const SMALL: f64 = 0.05;
    let mut k = 0;
    let mut position = |present: bool| {
        present.then(|| {
            k += 1;
            k - 1
        })
    };
    let (l0, l1, l2) = (position(shape.intercept), position(shape.corr), position(shape.slope));
    let (omega, gamma, kappa) = (position(shape.wander), position(shape.engine), position(shape.valve));
    // What it means that a segment's own slope does not scatter.
    let alike = if shape.valve {
        "the scatter of slopes from one re-shim of a valve to its next is estimated as 0: a valve keeps its slope"
    } else {
        "the scatter of slopes is estimated as 0: all valves of a group drift alike"
    };
    let small = |i: Option<usize>| i.filter(|i| x[*i].abs() < SMALL);
    if let Some(i) = small(omega) {
        return Some((
            vec![i],
            Shape { wander: false, ..shape },
            "the wander is estimated as 0: results equal the model without it",
        ));
    }
    if let Some(i) = small(gamma) {
        return Some((
            vec![i],
            Shape { engine: false, ..shape },
            "the engines' shared slope is estimated as 0: results equal the model without it",
        ));
    }
    if let Some(i) = small(kappa) {
        return Some((
            vec![i],
            Shape { valve: false, ..shape },
            "the slope that a valve keeps through its re-shims is estimated as 0: results equal the model without it",
        ));
    }
    if let Some(i) = small(l0) {
        // Without scatter of starts nothing is left to correlate; what λ₁ carried is λ₂'s.
        return Some((
            std::iter::once(i).chain(l1).collect(),
            Shape { intercept: false, corr: false, ..shape },
            "the scatter of starts is estimated as 0: all segments start alike",
        ));
    }
    if let Some(i) = small(l2) {
        if let Some(j) = l1 {
            if x[j].abs() < SMALL {
                return Some((vec![j, i], Shape { corr: false, slope: false, ..shape }, alike));
            }
            return Some((
                vec![i],
                Shape { slope: false, ..shape },
                "start and slope are estimated as fully correlated: a segment's start tells its slope",
            ));
        }
        return Some((vec![i], Shape { slope: false, ..shape }, alike));
    }
    if shape.corr
        && !shape.slope
        && let Some(j) = small(l1)
    {
        return Some((vec![j], Shape { corr: false, ..shape }, alike));
    }
    None
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;
    use crate::fixtures;
    use crate::kernel::frame::Clock;
    use crate::segments::Segments;

    /// sleepstudy as segments: subject, hours = days.
    fn sleepstudy() -> Segments {
        let text = include_str!("../../../tests/data/sleepstudy.csv");
        let rows: Vec<Vec<&str>> = text.lines().skip(2).map(|line| line.split(',').collect()).collect();
        let read = |cells: &Vec<&str>| (cells[1].parse().unwrap(), cells[0].parse().unwrap());
        fixtures::segments(rows.chunk_by(|a, b| a[2] == b[2]).map(|subject| subject.iter().map(read).collect()))
    }

    fn close(found: f64, expected: f64, relative: f64) {
        assert!((found - expected).abs() <= relative * expected.abs(), "{found} against {expected}");
    }

    /// Variances, covariance and residual variance in the data's units.
    fn variances(problem: &Problem, f: &Fitted) -> [f64; 4] {
        let (s2, t) = (problem.frame.scale * problem.frame.scale * f.profile.sigma2, problem.frame.time);
        let [a, b, c] = f.theta.l;
        [s2 * a * a, s2 * (b * b + c * c) / (t * t), s2 * a * b / t, s2]
    }

    #[test]
    fn sleepstudy_reml_and_ml_equal_the_balanced_closed_form() {
        // Exact values of the balanced design's closed form (lme4 itself is good to 1e-6 on variances).
        let s = sleepstudy();
        let problem = Problem::of_readings(&s, &[], Clock::PLAIN, false, true);
        let support = Identifiability::of(&problem);
        let (shape, note) = support.shape(1, None);
        assert_eq!(note, None);
        let f = fit(&problem, shape, Estimator::Reml, &support, None).unwrap();
        assert_eq!((f.status, f.reason.as_str()), (FitStatus::Ok, ""));
        let [v0, v1, cov, res] = variances(&problem, &f);
        close(v0, 612.08993866252545, 1e-9);
        close(v1, 35.07166049831739, 1e-9);
        close(cov, 9.60433331674409, 1e-8);
        close(res, 654.94102707229882, 1e-9);
        let deviance = evaluate(&problem, f.shape, &f.theta, Estimator::Reml).unwrap().deviance;
        close(-0.5 * deviance, -871.81413597924538, 1e-12);
        let f = fit(&problem, shape, Estimator::Ml, &support, None).unwrap();
        let [v0, v1, cov, _] = variances(&problem, &f);
        close(v0, 565.51536680311880, 1e-9);
        close(v1, 32.68219718640932, 1e-9);
        close(cov, 11.05542902259860, 1e-8);
        let deviance = evaluate(&problem, f.shape, &f.theta, Estimator::Ml).unwrap().deviance;
        close(-0.5 * deviance, -875.96967223159881, 1e-12);
        assert!(f.evaluations < 80, "{}", f.evaluations);
    }
}
