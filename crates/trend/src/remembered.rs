//! Fits that are asked for more than once, made once: the last look for jumps is the answer's own fit, and the answer without a jump is the fit
//! that told whether the jump stands.

use crate::families::{Family, FamilyFit, FitFailure, FitQuestion};
use crate::segments::Segments;
use crate::watch::Share;
use std::sync::Mutex;

/// Points of all prospects of a fit that is kept: a fit of a large fleet is as dear to hold as to make.
const LARGEST: usize = 1 << 20;

/// A family that remembers its fits of one feature under one policy and one set of options: questions differ in what is believed alone.
pub(crate) struct Remembered<'a> {
    family: &'a dyn Family,
    /// Whether any fit is wanted with the true values at past readings; then every one has them.
    figures: bool,
    known: Mutex<Vec<Known>>,
    /// Told of each fit that is made.
    share: Option<&'a Share<'a>>,
}

/// One question and its answer.
struct Known {
    segments: Segments,
    weights: Vec<f64>,
    confirmed: Vec<bool>,
    fit: FamilyFit,
}

impl<'a> Remembered<'a> {
    pub(crate) fn new(family: &'a dyn Family, figures: bool) -> Self {
        Self { family, figures, known: Mutex::new(Vec::new()), share: None }
    }

    /// With somebody who is told of each fit.
    pub(crate) fn watched(self, share: &'a Share<'a>) -> Self {
        Self { share: Some(share), ..self }
    }
}

impl Family for Remembered<'_> {
    fn fit(&self, question: &FitQuestion<'_>) -> Result<FamilyFit, FitFailure> {
        let same = |k: &Known| {
            k.weights == question.weights && k.confirmed == question.confirmed && k.segments == *question.segments
        };
        if let Ok(known) = self.known.lock()
            && let Some(found) = known.iter().find(|k| same(k))
        {
            return Ok(found.fit.clone());
        }
        let fit = self.family.fit(&FitQuestion { figures: self.figures, ..*question })?;
        if let Some(share) = self.share {
            share.fitted();
        }
        let points: usize = fit.current.iter().map(|own| own.prospect.points()).sum();
        if points <= LARGEST
            && let Ok(mut known) = self.known.lock()
        {
            known.push(Known {
                segments: question.segments.clone(),
                weights: question.weights.to_vec(),
                confirmed: question.confirmed.to_vec(),
                fit: fit.clone(),
            });
        }
        Ok(fit)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]
    use super::*;
    use crate::believe::Believed;
    use crate::decisions::table;
    use crate::families::random_slope::RandomSlope;
    use crate::integrated::made::{Truth, fleet};
    use crate::options::Options;
    use std::sync::atomic::{AtomicUsize, Ordering};

    /// Counts how often it is asked.
    struct Counting(AtomicUsize);

    impl Family for Counting {
        fn fit(&self, question: &FitQuestion<'_>) -> Result<FamilyFit, FitFailure> {
            self.0.fetch_add(1, Ordering::Relaxed);
            RandomSlope.fit(question)
        }
    }

    #[test]
    fn the_same_question_is_answered_once_and_another_anew() {
        let table = table(&fleet(Truth::Straight, 8, 5, 1));
        let believed = Believed::all(&table, 0).unwrap();
        let options = Options { average_points: 1, ..Options::default() };
        let question = FitQuestion {
            segments: &believed.segments,
            weights: &believed.weights,
            confirmed: &believed.confirmed,
            zone: None,
            known_sd: None,
            options: &options,
            figures: false,
        };
        let counting = Counting(AtomicUsize::new(0));
        let fits = Remembered::new(&counting, false);
        let first = fits.fit(&question).unwrap();
        assert!(fits.fit(&question).unwrap() == first && counting.0.load(Ordering::Relaxed) == 1);
        // A reading set aside, one confirmed, one moved: each is another question.
        let mut weights = believed.weights.clone();
        weights[3] = 0.0;
        let mut confirmed = believed.confirmed.clone();
        confirmed[3] = true;
        let mut moved = believed.segments.clone();
        moved.value[3] += 0.001;
        let others = [
            FitQuestion { weights: &weights, ..question },
            FitQuestion { confirmed: &confirmed, ..question },
            FitQuestion { segments: &moved, ..question },
        ];
        for (k, other) in others.iter().enumerate() {
            fits.fit(other).unwrap();
            assert_eq!(counting.0.load(Ordering::Relaxed), 2 + k);
        }
    }
}
