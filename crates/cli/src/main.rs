//! The `packdrift` program. All of it is in the library beside this file.

use std::process::ExitCode;

fn main() -> ExitCode {
    packdrift_cli::program()
}
