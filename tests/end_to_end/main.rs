//! The program as its users run it: arguments in, files and exit status out. One module a theme.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test may fail by panicking")]

#[path = "../../crates/records/tests/support/parquet_file.rs"]
mod parquet_file;
mod program;

mod allocate;
mod backtest;
mod border;
mod demo;
mod due;
mod formats;
mod kept;
mod limits;
mod lots;
mod metamorphic;
mod meters;
mod options;
mod other_kinds;
mod replay;
mod shards;
mod shims;
mod stack;
mod stocking;
mod sums;
mod trade;
mod written;
