//! The `zonecall` program.

use std::process::ExitCode;

fn main() -> ExitCode {
    zonecall::cli::run()
}
