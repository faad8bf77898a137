//! Parse → [`walewise::cli::run`] → exit status.

#![forbid(unsafe_code)]

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(walewise::cli::run(std::env::args_os()).code())
}
