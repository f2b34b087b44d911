//! Files in and out: TOML, CSV, Parquet, XLSX. The one place that knows formats and places in files.
//!
//! Readers give [`Loaded`] values of the other crates' types ([`read_stack`], [`read_inspections`], …) or refuse a file with
//! *all* its mistakes ([`InputError`]), each with its place, what was found and what was expected. What is no mistake but may
//! surprise comes back as [`Notice`]s. Writers ([`mod@write`]) put files in place whole or not at all.
//!
//! This crate computes nothing and prints nothing.

mod brackets;
mod cell;
mod check;
mod demand;
mod document;
mod drawer;
mod error;
mod fingerprint;
mod gauge_result;
mod guard;
mod inspections;
mod kept;
pub mod limits;
mod loaded;
mod loose;
mod options;
mod outside;
mod pack_file;
mod picture;
mod policy_file;
mod readings;
mod sample;
mod scenario_file;
mod source;
mod suggest;
mod sums;
mod table;
mod tidy;
mod units;
pub mod write;

pub use check::{Checked, FileKind, check, checked, column_names};
pub use demand::{demand_from, read_demand};
pub use drawer::{drawer_from, read_drawer};
pub use error::{Error, Fault, FaultKind, InputError, Machine, Notice, Place, Subject};
pub use fingerprint::{sha256_of_bytes, sha256_of_file, sha256_up_to};
pub use gauge_result::{gauge_from, read_gauge, read_repeatability, repeatability_from};
pub use guard::{is_guarding, try_parquet_first};
pub use inspections::{inspections_from, read_inspections};
pub use kept::KEPT_FAULTS;
pub use loaded::Loaded;
pub use loose::{DateOrder, DecimalSign};
pub use options::{Options, TableOptions, Watch};
pub use outside::{ONLY_BELOW, allow_files_outside};
pub use pack_file::{PackFile, pack_from, read_pack, read_stack, stack_from};
pub use policy_file::{policy_from, read_policy, read_policy_in};
pub use readings::{Study, drawing_from, history_from, read_drawing, read_history, read_readings, readings_from};
pub use sample::{read_sample, sample_from};
pub use scenario_file::{ScenarioTerms, read_scenario, scenario_from};
pub use source::{InputFile, Source};
pub use sums::{read_sums, sums_from};
pub use table::decode_parquet;
pub use tidy::{Change, Tidied, tidied};
pub use units::{LengthUnit, MILLIMETRES_PER_INCH};
