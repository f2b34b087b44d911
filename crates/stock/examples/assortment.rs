//! How long the best assortment takes, and nothing else: `cargo run --release -p packdrift-stock --example assortment`.
//!
//! Ten thousand invented re-shims of one rocker, each of which needs its offset moved, a catalogue of twelve sizes, five of them held. Prints the
//! seconds, the assortment, and of every group of jobs that are alike the smallest sets of sizes that do them, as JSON:
//! `benches/assortment.py` looks for the best assortment among the same jobs in two other ways.

use packdrift_numerics::stream::Key;
use packdrift_pack::SolidKind::{Shim, Washer};
use packdrift_stock::{Coverage, Job, Size, StockError, StockingBay};
use std::time::Instant;

const SIZES: [f64; 12] = [0.10, 0.15, 0.20, 0.25, 0.30, 0.40, 0.50, 0.60, 0.80, 1.00, 1.20, 1.50];
const HELD: usize = 5;

#[allow(clippy::print_stdout, reason = "an example that reports to the terminal")]
fn main() -> Result<(), StockError> {
    let count: usize = std::env::args().nth(1).and_then(|a| a.parse().ok()).unwrap_or(10_000);
    let mut bay = StockingBay::sketch(&[(Washer, 1.20), (Shim, 0.40)], &[(Washer, 1.20)], &[(Washer, 1.20)]);
    (bay.offset, bay.sum) = ((-0.05, 0.05), (-0.06, 0.05));
    let size = |&thickness: &f64| Size {
        name: format!("{thickness:.2}"),
        thickness,
        bias: 0.0,
        between: 0.006,
        within: 0.006,
        cost: 0.9,
        lead_days: 14.0,
    };
    let sizes: Vec<Size> = SIZES.iter().map(size).collect();
    let mut stream = Key::new(1, "assortment").stream(0);
    let job = |_| Job { correction: 0.25 + 0.15 * stream.normal(), squeeze: 0.0, worn_faces: 0.0 };
    let jobs: Vec<Job> = (0..count).map(job).collect();
    let start = Instant::now();
    let coverage = Coverage::new(&bay, &sizes, &jobs)?;
    let solved = start.elapsed().as_secs_f64();
    let best = coverage.best(HELD)?;
    let seconds = start.elapsed().as_secs_f64();
    let groups: Vec<String> = coverage.groups().iter().map(|(sets, jobs)| format!("[{sets:?}, {jobs}]")).collect();
    println!(
        "{{\"jobs\": {count}, \"sizes\": {}, \"held\": {HELD}, \"seconds\": {seconds}, \"seconds_to_solve_the_jobs\": {solved}, \
         \"best\": {:?}, \"coverage\": {}, \"proven\": {}, \"groups\": [{}]}}",
        SIZES.len(),
        best.sizes,
        best.coverage,
        best.proven,
        groups.join(", ")
    );
    Ok(())
}
