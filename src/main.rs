//! Parse → [`walewise::cli::run`] → exit status.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(walewise::cli::run(std::env::args_os()).code())
}
