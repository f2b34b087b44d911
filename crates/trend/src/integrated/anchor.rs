//! The anchor: the readings that are left out as gross errors while single changes are summed over ([`super::gross`]).

use super::frame::Frame;
use super::gross::{Changes, changes};
use super::likelihood::{Lines, solve};
use super::priors::Theta;
use super::sampler::Scratch;
use rayon::prelude::*;

/// A kept reading is left out above the first chance, a left-out one is taken back below the second. Between them the sum over single changes
/// serves either way.
const LEAVE_OUT: f64 = 0.6;
const TAKE_BACK: f64 = 0.4;

/// Parameters at which readings are judged, equally likely.
pub(crate) struct Judges<'a> {
    pub(crate) thetas: &'a [Theta],
    /// The blocks that tell the mean lines.
    pub(crate) lines_from: &'a [usize],
}

/// By block of `blocks`: the mean chance of each reading to be a gross error.
fn chances(frame: &Frame, blocks: &[usize], judges: &Judges<'_>) -> Vec<Vec<f64>> {
    let lines: Vec<(Theta, Lines)> = {
        let mut scratch = Scratch::of(frame);
        let solved = judges.thetas.iter().filter_map(|theta| {
            let Scratch { work, totals, .. } = &mut scratch;
            solve(frame, judges.lines_from, theta, work, totals).map(|l| (*theta, l))
        });
        solved.collect()
    };
    blocks
        .par_iter()
        .with_min_len(4)
        .map_init(
            || Scratch::of(frame),
            |scratch, &b| {
                let block = &frame.blocks[b];
                let kept: Vec<bool> = block.cases.iter().flat_map(|c| c.entries.iter().map(|e| e.kept)).collect();
                let mut sum = vec![0.0; kept.len()];
                let mut own = Changes::default();
                for (theta, lines) in &lines {
                    changes(block, &frame.shares, theta, lines, &mut scratch.work, &mut scratch.seen, &mut own);
                    for (k, (sum, kept)) in sum.iter_mut().zip(&kept).enumerate() {
                        *sum += own.chance(k, *kept);
                    }
                }
                sum.iter_mut().for_each(|s| *s /= lines.len().max(1) as f64);
                sum
            },
        )
        .collect()
}

/// Changes the anchor of some blocks until no reading asks for it; says whether anything changed.
///
/// One reading a block at a time, and in a small fleet one in all: what looks gross beside a gross error may be sound without it.
pub(crate) fn revise(frame: &mut Frame, blocks: &[usize], judges: &Judges<'_>) -> bool {
    let mut changed = false;
    for _ in 0..8 {
        let found = chances(frame, blocks, judges);
        // (how far past its bound, block, reading)
        let mut wanted: Vec<(f64, usize, usize)> = Vec::new();
        for (chances, &b) in found.iter().zip(blocks) {
            let entries = frame.blocks[b].cases.iter().flat_map(|c| &c.entries);
            let own = entries.zip(chances).enumerate().map(|(k, (e, chance))| {
                let past = if e.kept { chance - LEAVE_OUT } else { TAKE_BACK - chance };
                (past, b, k)
            });
            let first = own.filter(|w| w.0 > 0.0).fold(None, |best: Option<(f64, usize, usize)>, w| match best {
                Some(before) if before.0 >= w.0 => Some(before),
                _ => Some(w),
            });
            wanted.extend(first);
        }
        if wanted.is_empty() {
            break;
        }
        wanted.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        wanted.truncate((blocks.len() / 8).max(1));
        for (_, b, changing) in wanted {
            let block = &frame.blocks[b];
            let starts = starts(block);
            frame.blocks[b] =
                block.with_kept(|c, k, entry| if starts[c] + k == changing { !entry.kept } else { entry.kept });
        }
        changed = true;
    }
    changed
}

/// Number of a block's first reading of each case, counted through the block.
pub(crate) fn starts(block: &super::frame::Block) -> Vec<usize> {
    let mut next = 0;
    let place = |case: &super::frame::Case| {
        let start = next;
        next += case.entries.len();
        start
    };
    block.cases.iter().map(place).collect()
}
