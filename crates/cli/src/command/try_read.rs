//! A Parquet file read in a process of its own: a damaged one can make the library that reads it ask for more memory than there is, which ends
//! the process. The run that wants the file then says that it is damaged, and goes on telling what else is wrong.

use crate::exit::{Failure, Verdict};
use clap::Args;
use packdrift_records as records;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Options of `try-read`.
#[derive(Debug, Args)]
pub(crate) struct TryRead {
    /// The file.
    file: PathBuf,
}

impl TryRead {
    #[allow(clippy::unnecessary_wraps, reason = "every command runs alike")]
    pub(crate) fn run(self) -> Result<Verdict, Failure> {
        // What is wrong with it is told by the run that asked.
        let _ = records::decode_parquet(&self.file);
        Ok(Verdict::Acceptable)
    }
}

/// Whether another process of this program lives through reading the file. What is no file (bytes that came through a pipe) is not tried.
pub(super) fn is_survived(path: &Path) -> bool {
    if !path.is_file() {
        return true;
    }
    let Ok(program) = std::env::current_exe() else { return true };
    let mut trial = Command::new(program);
    let trial =
        trial.arg("try-read").arg("--").arg(path).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    trial.status().is_ok_and(|status| status.success())
}
