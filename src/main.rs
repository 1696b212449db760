//! The `lampwright` command: a door to the library, nothing more.

use std::process::ExitCode;

fn main() -> ExitCode {
    lampwright::run(std::env::args_os())
}
