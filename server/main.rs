//! The program: reads the command line, runs a command, says what went wrong.

use std::process::ExitCode;

fn main() -> ExitCode {
    weighhouse::cli::run()
}
