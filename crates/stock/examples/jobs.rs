//! Whole jobs at the bench, many of each case: what was said beside what came true.
//!
//! `cargo run --release -p packdrift-stock --example jobs [JOBS [CASE]]`: 300 jobs of every case, unless said otherwise. Prints the table of
//! docs/picking.md. Ends with status 1 where of those said to be done fewer are inside than the 95 % that were asked for, by more than chance.
#![allow(clippy::print_stdout, reason = "an example that reports to the terminal")]

#[path = "../tests/common/mod.rs"]
mod common;
#[path = "../tests/common/jobs.rs"]
mod jobs;

use jobs::{CASES, count};
use std::process::ExitCode;
use std::time::Instant;

fn main() -> ExitCode {
    let jobs: usize = std::env::args().nth(1).and_then(|a| a.parse().ok()).unwrap_or(300);
    let only = std::env::args().nth(2);
    println!(
        "| case | said to be done | chance said | inside | gave up | other rocker pushed out | builds | readings | s |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    let mut short = false;
    for case in CASES.into_iter().filter(|case| only.as_ref().is_none_or(|name| format!("{case:?}") == *name)) {
        let started = Instant::now();
        let c = count(case, jobs);
        let share = |k: usize, n: usize| 100.0 * k as f64 / n.max(1) as f64;
        println!(
            "| {} | {} of {} | {:.1} % | {} ({:.1} %) | {} | {} of {} | {:.1} | {:.1} | {:.0} |",
            case.words(),
            c.done,
            c.jobs,
            100.0 * c.said,
            c.inside,
            share(c.inside, c.done),
            c.nothing_fits,
            c.pushed_out,
            c.done_all,
            c.builds,
            c.readings,
            started.elapsed().as_secs_f64()
        );
        let (n, p) = (c.done as f64, 0.95);
        short |= (c.inside as f64) < n * p - 3.0 * (n * p * (1.0 - p)).max(1.0).sqrt();
    }
    if short { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}
