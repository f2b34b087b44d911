//! Whole jobs, from drawing the parts to the last reading: what is said to be done is inside, in every case of `common/jobs.rs`.
//!
//! A few a case here; `cargo run --release -p packdrift-stock --example jobs` counts 300, the figures of docs/picking.md.
#![allow(clippy::unwrap_used, reason = "a test")]

mod common;
#[path = "common/jobs.rs"]
mod jobs;

use jobs::{CASES, Case, count};

/// Jobs a case.
const JOBS: usize = 20;

#[test]
fn what_is_said_to_be_done_is_inside() {
    for case in CASES {
        let c = count(case, JOBS);
        assert!(2 * c.done > c.jobs, "{case:?}: {} of {} done", c.done, c.jobs);
        // Three standard errors of the count about what was said; 95 % were wanted of every job.
        let (n, p) = (c.done as f64, if case == Case::AsAssumed { c.said } else { 0.95 });
        let floor = n * p - 3.0 * (n * p * (1.0 - p)).max(1.0).sqrt();
        assert!(c.inside as f64 >= floor, "{case:?}: {} of {} inside, said {:.3}", c.inside, c.done, c.said);
        let n = c.done_all as f64;
        let most = n * 0.05 + 3.0 * (n * 0.05).max(1.0).sqrt();
        assert!(c.pushed_out as f64 <= most, "{case:?}: {} of {} pushed another rocker out", c.pushed_out, c.done_all);
    }
}
