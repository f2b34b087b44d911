//! Which parameters the readings can tell at all, before any search.

use crate::kernel::frame::Clock;
use crate::kernel::{Problem, Shape};
use crate::segments::Segments;

/// Counts of what tells each parameter.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Identifiability {
    pub(crate) segments: usize,
    pub(crate) readings: usize,
    /// Segments read at two different hours or more.
    pub(crate) with_slope: usize,
    /// Readings beyond a line of their own, over all segments.
    pub(crate) spare: usize,
    /// Sum of squares about each segment's own line, in the frame.
    pub(crate) within: f64,
    /// Readings of the longest segment.
    pub(crate) longest: usize,
    /// Engines with two segments or more, and all engines.
    pub(crate) shared_engines: usize,
    pub(crate) engines: usize,
    /// Sets of a valve's parts that outlasted a re-shim, with a slope to tell on either side of it.
    pub(crate) kept_parts: usize,
    /// Groups of which no line can be told.
    pub(crate) poor_groups: usize,
}

impl Identifiability {
    /// Of segments, every reading counting.
    pub(crate) fn of_segments(segments: &Segments) -> Self {
        Self::of(&Problem::of_readings(segments, &[], Clock::PLAIN, false, false))
    }

    pub(crate) fn of(problem: &Problem) -> Self {
        let mut out = Self { segments: problem.segments(), readings: problem.readings, ..Self::default() };
        let mut group_spread = vec![0.0; problem.groups];
        let mut mean = vec![(0.0, 0.0); problem.groups];
        for (m, g) in problem.moments.iter().zip(&problem.group) {
            let n = m.readings as usize;
            out.longest = out.longest.max(n);
            if m.tt > 0.0 {
                out.with_slope += 1;
                out.spare += n.saturating_sub(2);
                out.within += (m.yy - m.ty * m.ty / m.tt).max(0.0);
            } else {
                out.spare += n.saturating_sub(1);
                out.within += m.yy;
            }
            let g = *g as usize;
            group_spread[g] += m.tt;
            mean[g].0 += m.weight;
        }
        out.poor_groups = group_spread.iter().filter(|s| **s <= 0.0).count();
        let mut told = 0;
        for (s, m) in problem.moments.iter().enumerate() {
            told = usize::from(m.tt > 0.0) + if problem.goes_on(s) { told } else { 0 };
            out.kept_parts += usize::from(told == 2 && m.tt > 0.0);
        }
        for run in problem.engine.chunk_by(|a, b| a == b) {
            out.engines += 1;
            out.shared_engines += usize::from(run.len() > 1);
        }
        out
    }

    /// The richest random-slope shape that the data carry, and what was left out, in words.
    pub(crate) fn shape(&self, groups: usize, known_sd: Option<f64>) -> (Shape, Option<&'static str>) {
        let intercept = self.segments > groups;
        // Without a third reading in some segment, a segment's own slope cannot be told from reading error.
        let slope = self.with_slope > groups && (self.spare > 0 || known_sd.is_some());
        let corr = intercept && slope && self.with_slope > groups + 1;
        let shape = Shape { intercept, corr, slope, wander: false, engine: false, valve: false, known_sd };
        let note = if !intercept {
            Some(
                "there is one segment only, so nothing tells how valves differ; its forecast is its own least-squares line",
            )
        } else if !slope {
            Some(
                "no segment has a third reading, so a valve's own slope cannot be told from reading error; all valves get the mean slope \
                 (give `reading_sd` in the policy, or read again)",
            )
        } else {
            None
        };
        (shape, note)
    }

    /// Whether a wander can be told from reading error and from the scatter of slopes.
    pub(crate) fn carries_wander(&self) -> bool {
        self.longest >= 4 && self.spare >= 8
    }

    /// Whether the slope that a valve keeps through its re-shims can be told from one that begins anew.
    pub(crate) fn carries_valve(&self) -> bool {
        self.kept_parts >= 3 && self.with_slope >= 6
    }

    /// Whether an engine's shared slope can be told from its valves' own.
    pub(crate) fn carries_engine(&self) -> bool {
        self.shared_engines >= 3 && self.engines >= 4
    }
}
