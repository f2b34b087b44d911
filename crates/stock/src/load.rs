//! A load that sources differ on: what every word of this crate that rests on one says.

use packdrift_pack::UnsettledLoad;
use packdrift_verdict::{Verdict, load_not_settled};

/// Not shown, and that the load is to be measured. `why` gets how far the sources differ: `up to 55 % more or 36 % less`.
pub(crate) fn not_settled(load: &UnsettledLoad, why: impl FnOnce(&str) -> String) -> Verdict {
    let range =
        format!("up to {:.0} % more or {:.0} % less", 100.0 * (load.factor - 1.0), 100.0 * (1.0 - 1.0 / load.factor));
    load_not_settled(format!("the load of {} is not settled: {}", load.path, why(&range)))
}

/// Builds and jobs are done by sums of pieces that keep the preload, and these sums rest on the load.
pub(crate) fn sums_not_settled(load: &UnsettledLoad) -> Verdict {
    not_settled(load, |range| {
        format!("other sources give {range} than its formula, and which sums keep the preload rests on it")
    })
}
