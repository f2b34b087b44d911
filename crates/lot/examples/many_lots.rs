//! How long ten thousand lots of fifty readings take, everything but the pack: `cargo run --release -p packdrift-lot --example many_lots`.
//!
//! The readings are invented: normal lots with a bias of their own, read in steps of a micrometre. Prints seconds, lots judged and a checksum
//! of the verdicts so that no work can be left out. `benches/many_lots.py` does what pandas and scipy offer of the same.

use packdrift_lot::{Drawing, Instrument, LotOptions, Readings, study};
use packdrift_numerics::stream::Key;
use std::time::Instant;

#[allow(clippy::print_stdout, reason = "an example that reports to the terminal")]
fn main() -> Result<(), packdrift_lot::LotError> {
    let lots: u32 = std::env::args().nth(1).and_then(|a| a.parse().ok()).unwrap_or(10_000);
    let n: u32 = 50;
    let key = Key::new(1, "many lots");
    let mut table = Readings {
        lots: (0..lots).map(|l| format!("lot {l}")).collect(),
        parts: (1..=n).map(|p| p.to_string()).collect(),
        ..Readings::default()
    };
    for lot in 0..lots {
        let mut stream = key.stream(u64::from(lot));
        let mean = 0.4 + 0.003 * stream.normal();
        for part in 0..n {
            table.lot.push(lot);
            table.part.push(part);
            table.reading.push(((mean + 0.006 * stream.normal()) * 1000.0).round() / 1000.0);
            table.line.push(lot * n + part + 2);
        }
    }
    let options = LotOptions {
        drawing: Drawing { nominal: Some(0.4), lower: Some(0.37), upper: Some(0.43) },
        instrument: Instrument {
            uncertainty: Some(0.002),
            repeatability: Some(0.001),
            step: None,
            ..Instrument::default()
        },
        ..LotOptions::default()
    };
    let start = Instant::now();
    let result = study(&table, &options)?;
    let seconds = start.elapsed().as_secs_f64();
    let acceptable =
        result.lots.iter().filter(|l| l.verdict.as_ref().is_some_and(packdrift_verdict::Verdict::is_shown)).count();
    let odd = result.lots.iter().filter(|l| l.shape.contradicts_normal()).count();
    println!("{seconds:.2} s, {} lots of {n}: {acceptable} acceptable, {odd} not normal", result.lots.len());
    Ok(())
}
