//! The main job held against the outside: values that general-purpose libraries computed for the same question, frozen in
//! `tests/reference/*.json` by the scripts in `tests/outside/*.py` (`./test.sh` runs those again and compares).
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test may fail by panicking")]

#[path = "../end_to_end/program.rs"]
mod program;

mod mixed_models;
mod pack_numpy;
